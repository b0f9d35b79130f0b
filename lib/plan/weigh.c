/*
 * weigh.c - chances of an arm from the columns held equal, weights from them,
 * the balance they reach and the difference under them.
 */
#include "plan/weigh.h"
#include "plan/notes.h"
#include "plan/words.h"
#include "stats/design.h"
#include "stats/evalue.h"
#include "stats/weighting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_COLUMNS = 64 };

struct weigh {
	const pd_question *q;
	const pd_rows *rows;
	const double *outcome;   /* of all rows                                */
	double level;
	pd_arena *arena, *scratch;
	pd_weighing *to;
	/* the rows used: n of them, each row[i] of rows */
	size_t n, *row;
	int32_t *arm, *patient;
	size_t n_patients;
	double *y;
	pd_frame *frame;
	size_t n_columns;
	const pd_column *column[MOST_COLUMNS];
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory weighing two levels");
}

static const char *column_name(struct weigh *w, size_t k)
{
	return k < w->q->n_adjust ? pd_rows_adjuster(w->arena, w->q, k)
	                          : "method_version";
}

/* The adjusters, and the method version where it is none of them nor what is
 * compared. */
static size_t n_names(const struct weigh *w)
{
	if (strcmp(w->q->parameter, "method_version") == 0)
		return w->q->n_adjust;
	for (size_t k = 0; k < w->q->n_adjust; k++)
		if (strcmp(w->q->adjust[k], "method_version") == 0)
			return w->q->n_adjust;
	return w->q->n_adjust + 1;
}

/* Rows whose level of some factor occurs in one arm alone have nobody to be
 * held against. One pass a factor until nothing more falls out. */
static pd_status keep_shared(struct weigh *w, unsigned char *keep,
                             pd_error *err)
{
	const pd_rows *r = w->rows;
	bool moved = true;

	while (moved) {
		moved = false;
		for (size_t k = 0; k < n_names(w); k++) {
			const pd_column *f = pd_frame_find(r->model,
			                                   column_name(w, k));

			if (!f || f->kind != PD_FACTOR)
				continue;
			unsigned char *in = PD_NEW(w->scratch, unsigned char,
			                           2 * f->n_levels + 1);

			if (!in)
				return no_memory(err);
			for (size_t i = 0; i < r->n; i++)
				if (keep[i])
					in[2 * (size_t)f->code[i] +
					   (size_t)r->arm[i]] = 1;
			for (size_t i = 0; i < r->n; i++) {
				const unsigned char *two =
				    &in[2 * (size_t)f->code[i]];

				if (!keep[i] || (two[0] && two[1]))
					continue;
				keep[i] = 0;
				moved = true;
			}
		}
	}
	return PD_OK;
}

static pd_status choose(struct weigh *w, pd_error *err)
{
	const pd_rows *r = w->rows;
	unsigned char *keep = PD_NEW(w->scratch, unsigned char, r->n + 1);

	w->row = PD_NEW(w->scratch, size_t, r->n + 1);
	w->arm = PD_NEW(w->scratch, int32_t, r->n + 1);
	w->patient = PD_NEW(w->scratch, int32_t, r->n + 1);
	w->y = PD_NEW(w->scratch, double, r->n + 1);
	if (!keep || !w->row || !w->arm || !w->patient || !w->y)
		return no_memory(err);
	memset(keep, 1, r->n);
	pd_status st = keep_shared(w, keep, err);

	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < r->n; i++) {
		if (!keep[i])
			continue;
		w->row[w->n] = i;
		w->y[w->n] = w->outcome[i];
		w->arm[w->n] = r->arm[i] == 0; /* the first level is arm 1 */
		w->patient[w->n++] = r->group[0][i];
	}
	w->n_patients = pd_rows_dense(w->patient, w->n, w->patient);
	if (w->n < r->n) {
		w->to->left_out = pd_arena_print(
		    w->arena, "%zu of %zu results left out: drawn under a "
		    "level of an adjuster that only one arm has", r->n - w->n,
		    r->n);
		if (!w->to->left_out)
			return no_memory(err);
	}
	return w->n_patients == (size_t)-1 ? no_memory(err) : PD_OK;
}

/* Adjusters of the rows used, as a frame of their own. */
static pd_status take_columns(struct weigh *w, pd_error *err)
{
	w->frame = pd_frame_new(w->n);
	if (!w->frame)
		return no_memory(err);
	for (size_t k = 0; k < n_names(w) && w->n_columns < MOST_COLUMNS; k++) {
		const char *name = column_name(w, k);
		const pd_column *s = pd_frame_find(w->rows->model, name);
		bool moves = false;

		if (!s)
			continue;
		for (size_t i = 1; i < w->n && !moves; i++)
			moves = s->kind == PD_REAL
			    ? s->real[w->row[i]] != s->real[w->row[0]]
			    : s->code[w->row[i]] != s->code[w->row[0]];
		if (!moves)
			continue;
		pd_column *d = s->kind == PD_REAL
		                   ? pd_frame_add_real(w->frame, name)
		                   : pd_frame_add_factor(w->frame, name);

		if (!d)
			return no_memory(err);
		for (size_t i = 0; i < w->n; i++) {
			size_t at = w->row[i];

			if (s->kind == PD_REAL)
				d->real[i] = s->real[at];
			else if ((d->code[i] = pd_frame_level(
			              w->frame, d, s->level[s->code[at]])) < 0)
				return no_memory(err);
		}
		if (s->kind == PD_FACTOR && pd_column_sort_levels(d, w->n))
			return no_memory(err);
		w->column[w->n_columns++] = d;
	}
	return PD_OK;
}

static double pooled_sd(const struct weigh *w)
{
	double sum[2] = { 0, 0 }, n[2] = { 0, 0 }, square = 0;

	for (size_t i = 0; i < w->n; i++) {
		sum[w->arm[i]] += w->y[i];
		n[w->arm[i]] += 1;
	}
	for (size_t i = 0; i < w->n; i++) {
		double d = w->y[i] - sum[w->arm[i]] / n[w->arm[i]];

		square += d * d;
	}
	return sqrt(square / ((double)w->n - 2));
}

static const char *balance_name(pd_arena *a, const pd_balance *b)
{
	bool log = strncmp(b->name, "log ", 4) == 0;
	const char *name = pd_words_parameter(log ? b->name + 4 : b->name);

	if (b->level)
		return pd_arena_print(a, "%s: %s", name, b->level);
	return log ? pd_arena_print(a, "%s (geometric mean)", name)
	           : pd_arena_copy(a, name);
}

/* A mean of logs is shown as the geometric mean it is the log of. */
static double shown(const pd_balance *b, int arm)
{
	return strncmp(b->name, "log ", 4) == 0 ? exp(b->mean[arm])
	                                        : b->mean[arm];
}

static pd_status take_balance(struct weigh *w, const pd_logistic *f,
                              pd_error *err)
{
	pd_weighing *to = w->to;
	double *weight = PD_NEW(w->scratch, double, w->n + 1);
	pd_weights made;
	pd_balance *b = NULL;
	size_t n = 0;

	if (!weight)
		return no_memory(err);
	pd_status st = pd_weights_make(f, w->arm, PD_TARGET_OVERLAP, 0, weight,
	                               &made, err);

	if (st == PD_OK)
		st = pd_balance_table(w->column, w->n_columns, w->arm, weight,
		                      w->n, &b, &n, err);
	to->alike = PD_NEW(w->arena, pd_alike, n + 1);
	if (st == PD_OK && !to->alike)
		st = no_memory(err);
	for (size_t i = 0; st == PD_OK && i < n; i++) {
		pd_alike *k = &to->alike[to->n_alike];

		if (isnan(b[i].mean[0])) /* a factor as a whole */
			continue;
		*k = (pd_alike){ balance_name(w->arena, &b[i]),
			                 shown(&b[i], 1), shown(&b[i], 0), b[i].before,
			                 b[i].after };
		if (!k->name)
			st = no_memory(err);
		to->n_alike++;
	}
	free(b);
	return st;
}

static void count_patients(struct weigh *w)
{
	pd_weighing *to = w->to;
	unsigned char *seen = PD_NEW(w->scratch, unsigned char,
	                             2 * w->n_patients + 1);

	for (size_t i = 0; seen && i < w->n; i++) {
		size_t arm = w->arm[i] ? 0 : 1; /* first level first */
		unsigned char *s = &seen[2 * (size_t)w->patient[i] + arm];

		to->n_rows[arm]++;
		to->n_patients[arm] += !*s;
		*s = 1;
	}
}

static pd_status weigh(struct weigh *w, pd_error *err)
{
	pd_design design;
	pd_term term[MOST_COLUMNS] = { { 0 } };
	pd_logistic *f = NULL;
	pd_weighted out;
	pd_evalues e = { .estimate = NAN, .limit = NAN };
	pd_status st;

	for (size_t k = 0; k < w->n_columns; k++)
		term[k].column = w->column[k]->name;
	st = pd_design_build(w->scratch, w->frame, term, w->n_columns, &design,
	                     err);
	if (st != PD_OK)
		return st;
	pd_logistic_data model = { w->n, design.p, design.x, w->arm,
		                   design.name };

	st = pd_logistic_fit(&model, &f, err);
	pd_weighted_data d = { &model, f, w->y, w->patient, w->n_patients,
		               PD_TARGET_OVERLAP, 0, w->level };

	if (st == PD_OK)
		st = pd_weighted_contrast(&d, &out, err);
	if (st == PD_OK)
		st = take_balance(w, f, err);
	if (st == PD_OK && w->q->scale == PD_RATIO)
		st = pd_evalue_means(&out.estimate, pooled_sd(w), &e, err);
	pd_logistic_free(f);
	if (st != PD_OK)
		return st;
	count_patients(w);
	w->to->effective[0] = out.weights.effective[1];
	w->to->effective[1] = out.weights.effective[0];
	w->to->effect = out.estimate;
	w->to->evalue = e.estimate;
	w->to->evalue_limit = e.limit;
	return PD_OK;
}

static pd_status all(struct weigh *w, pd_error *err)
{
	pd_status st = choose(w, err);

	if (st == PD_OK && w->n == 0) {
		w->to->refusal = "every result was drawn under a level of an "
		                 "adjuster that only one arm has";
		return PD_OK;
	}
	if (st == PD_OK)
		st = take_columns(w, err);
	if (st == PD_OK && w->n_columns == 0) {
		w->to->refusal = "there is nothing to weigh by: no adjuster "
		                 "differs among these results";
		return PD_OK;
	}
	if (st != PD_OK)
		return st;
	pd_error inner = { 0 };

	st = weigh(w, &inner);
	return pd_note_refusal(st == PD_NUMERIC ? PD_REFUSED : st, &inner,
	                       w->arena, &w->to->refusal, err);
}

pd_status pd_weigh(const pd_question *q, const pd_rows *rows, const double *y,
                   double level, pd_arena *arena, pd_weighing *out,
                   pd_error *err)
{
	struct weigh w = { .q = q, .rows = rows, .outcome = y, .level = level,
		           .arena = arena, .to = out };

	memset(out, 0, sizeof *out);
	w.scratch = pd_arena_new();
	if (!w.scratch)
		return no_memory(err);
	pd_status st = all(&w, err);

	pd_frame_free(w.frame);
	pd_arena_free(w.scratch);
	return st;
}
