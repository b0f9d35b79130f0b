/*
 * watch_cases.c - one residual a case, what it should scatter, in time.
 * A later visit is freed of what the patient's earlier ones tell of the
 * patient: with v the variance between patients and u_j that of case j less v,
 *   m = v sum(r_j / u_j) / (1 + v sum 1 / u_j) over the earlier cases j,
 *   z = (r - m) / sqrt(u + v / (1 + v sum 1 / u_j))
 * which for a first visit is r / spread. Then centre and sd of the baseline are
 * taken off, and where neighbours of the baseline are correlated, that too.
 */
#include "plan/watch_own.h"
#include "base/scan.h"
#include "plan/fit.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_BASE = 30, LEAST_AFTER = 10 };

struct work {
	pd_arena *arena, *scratch;
	pd_rows rows;
	pd_fit fit;
	struct pd_watch_cases *out;
};

const char *pd_watch_date(pd_arena *arena, double time)
{
	int year = (int)floor(time);
	int32_t first = pd_days_of(year, 1, 1);
	double days = pd_days_of(year + 1, 1, 1) - first;
	char text[11];

	return pd_arena_copy(arena, pd_date_print(
	    first + (int32_t)floor((time - year) * days + 0.5), text));
}

/* y less the fixed part, for every row. */
static pd_status residuals(struct work *w, double *r, pd_error *err)
{
	const pd_design *d = &w->fit.design;
	double *beta = PD_NEW(w->scratch, double, d->p);
	double *y = PD_NEW(w->scratch, double, w->fit.n + 1);
	double *inner = PD_NEW(w->scratch, double, w->fit.n + 1);

	if (!beta || !y || !inner)
		return no_memory(err);
	pd_impute_beta(w->fit.model, beta);
	pd_status st = pd_impute_completed(w->fit.model, y, inner, err);

	for (size_t i = 0; st == PD_OK && i < w->fit.n; i++) {
		r[i] = y[i];
		for (size_t j = 0; j < d->p; j++)
			r[i] -= d->x[i * d->p + j] * beta[j];
	}
	return st;
}

/* Distinct codes of level k among the rows of each case: count[n_cases]. */
static pd_status distinct(struct work *w, const int32_t *code, size_t n_codes,
                          size_t n_cases, double *count, pd_error *err)
{
	unsigned char *seen = calloc(n_codes + 1, 1);

	if (!seen)
		return no_memory(err);
	memset(count, 0, n_cases * sizeof *count);
	/* levels lie inside cases: a code belongs to one case */
	for (size_t i = 0; i < w->rows.n; i++)
		if (!seen[code[i]]) {
			seen[code[i]] = 1;
			count[w->rows.case_code[i]]++;
		}
	free(seen);
	return PD_OK;
}

/*
 * SD of a case's mean residual: the spread between patients and cases whole,
 * that of deeper levels over the number the case has of each.
 */
static pd_status spreads(struct work *w, struct pd_watch_case *c, size_t n,
                         double *rows_of, pd_error *err)
{
	double rest = pd_impute_residual_sd(w->fit.model);
	double *count = PD_NEW(w->scratch, double, n + 1);
	pd_status st = PD_OK;

	if (!count)
		return no_memory(err);
	for (size_t i = 0; i < n; i++)
		c[i].spread = rest * rest / rows_of[i];
	for (size_t k = 0; st == PD_OK && k < w->fit.depth; k++) {
		size_t level = w->fit.level[k];
		double sd = pd_impute_level_sd(w->fit.model, k);

		if (strcmp(w->rows.level_name[level], "patient") == 0)
			w->out->patient_var = sd * sd;
		if (level >= 2)
			st = distinct(w, w->rows.group[level],
			              w->rows.n_groups[level], n, count, err);
		for (size_t i = 0; st == PD_OK && i < n; i++)
			c[i].spread += sd * sd / (level >= 2 ? count[i] : 1);
	}
	for (size_t i = 0; i < n; i++)
		c[i].spread = sqrt(c[i].spread);
	return st;
}

static int32_t code_at(const pd_column *col, size_t i)
{
	return col && col->kind == PD_FACTOR ? col->code[i] : -1;
}

static int by_time(const void *a, const void *b)
{
	const struct pd_watch_case *x = a, *y = b;

	if (x->time < y->time || x->time > y->time)
		return x->time < y->time ? -1 : 1;
	return x->order < y->order ? -1 : 1;
}

static pd_status make_cases(struct work *w, pd_error *err)
{
	size_t n = 0;
	const pd_column *date = pd_frame_find(w->rows.model, "case_date");
	const pd_column *op = pd_frame_find(w->rows.model, "operator");
	const pd_column *version =
	    pd_frame_find(w->rows.model, "method_version");
	double *r = PD_NEW(w->scratch, double, w->rows.n + 1);
	size_t patient = pd_rows_level(&w->rows, "patient");

	for (size_t i = 0; i < w->rows.n; i++)
		if ((size_t)w->rows.case_code[i] >= n)
			n = (size_t)w->rows.case_code[i] + 1;
	struct pd_watch_case *c = PD_NEW(w->arena, struct pd_watch_case, n + 1);
	double *rows_of = PD_NEW(w->scratch, double, n + 1);

	if (!r || !c || !rows_of || !date)
		return no_memory(err);
	pd_status st = residuals(w, r, err);

	for (size_t i = 0; st == PD_OK && i < w->rows.n; i++) {
		struct pd_watch_case *at = &c[w->rows.case_code[i]];

		at->r += r[i];
		rows_of[w->rows.case_code[i]]++;
		at->time = date->real[i];
		at->operator_ = code_at(op, i);
		at->version = code_at(version, i);
		at->patient = patient < w->rows.depth
		                  ? w->rows.group[patient][i]
		                  : -1;
		at->order = (size_t)w->rows.case_code[i];
	}
	for (size_t i = 0; st == PD_OK && i < n; i++)
		c[i].r /= rows_of[i];
	if (st == PD_OK)
		st = spreads(w, c, n, rows_of, err);
	if (st != PD_OK)
		return st;
	size_t kept = 0;

	for (size_t i = 0; i < n; i++)
		if (isfinite(c[i].time))
			c[kept++] = c[i];
	qsort(c, kept, sizeof *c, by_time);
	w->out->item = c;
	w->out->n = kept;
	return PD_OK;
}

static pd_status names_of(struct work *w, const char *column,
                          const char ***name, size_t *n, pd_error *err)
{
	const pd_column *c = pd_frame_find(w->rows.model, column);

	if (!c || c->kind != PD_FACTOR)
		return PD_OK;
	*n = c->n_levels;
	*name = PD_NEW(w->arena, const char *, *n + 1);
	for (size_t k = 0; *name && k < *n; k++)
		(*name)[k] = pd_arena_copy(w->arena, c->level[k]);
	return *name ? PD_OK : no_memory(err);
}

/* Standard values by the model, later visits freed of earlier ones. */
static pd_status free_of_patients(struct work *w, pd_error *err)
{
	struct pd_watch_cases *o = w->out;
	double v = o->patient_var;
	size_t room = 0;

	for (size_t i = 0; i < o->n; i++)
		if (o->item[i].patient >= 0 &&
		    (size_t)o->item[i].patient >= room)
			room = (size_t)o->item[i].patient + 1;
	double *told = PD_NEW(w->scratch, double, room + 1);
	double *weight = PD_NEW(w->scratch, double, room + 1);

	if (!told || !weight)
		return no_memory(err);
	for (size_t i = 0; i < o->n; i++) {
		const struct pd_watch_case *c = &o->item[i];
		size_t p = c->patient >= 0 ? (size_t)c->patient : room;
		double own = c->spread * c->spread - v;

		if (p == room)
			told[p] = weight[p] = 0;
		o->n_returning += weight[p] > 0;
		double left = v / (1 + v * weight[p]);

		o->z[i] = (c->r - left * told[p]) / sqrt(own + left);
		told[p] += c->r / own;
		weight[p] += 1 / own;
	}
	return PD_OK;
}

void pd_watch_free_neighbours(struct pd_watch_cases *o)
{
	double rho = pd_lag_one(o->z, o->n_base);

	o->correlation = rho;
	o->freed = rho > 2 / sqrt((double)o->n_base) && rho < 0.9;
	for (size_t i = o->n; o->freed && i-- > 1;)
		o->z[i] = (o->z[i] - rho * o->z[i - 1]) / sqrt(1 - rho * rho);
}

/* Baseline, its centre and spread, standard values. */
static pd_status standardise(struct work *w, double base_until, pd_error *err)
{
	struct pd_watch_cases *o = w->out;
	size_t n = 0;

	o->z = PD_NEW(w->arena, double, o->n + 1);
	if (!o->z)
		return no_memory(err);
	for (size_t i = 0; i < o->n; i++)
		n += isnan(base_until) || o->item[i].time <= base_until;
	o->n_base = isnan(base_until) ? o->n / 3 : n;
	if (o->n_base < LEAST_BASE || o->n - o->n_base < LEAST_AFTER) {
		o->refusal = pd_arena_print(
		    w->arena, "%zu cases, %zu of them in the baseline: a baseline "
		    "of %d and %d cases after it are needed", o->n, o->n_base,
		    LEAST_BASE, LEAST_AFTER);
		return o->refusal ? PD_OK : no_memory(err);
	}
	pd_status st = free_of_patients(w, err);

	if (st != PD_OK)
		return st;
	pd_summary s = pd_summarise(o->z, o->n_base);

	o->centre = s.mean;
	o->sd = s.sd;
	for (size_t i = 0; i < o->n; i++)
		o->z[i] = (o->z[i] - s.mean) / s.sd;
	pd_watch_free_neighbours(o);
	return PD_OK;
}

pd_status pd_watch_cases_take(pd_store *store, const pd_plan *plan,
                              double base_until, pd_arena *arena,
                              pd_arena *scratch, struct pd_watch_cases *out,
                              pd_error *err)
{
	struct work w = { .arena = arena, .scratch = scratch, .out = out };
	const pd_question *q = &plan->question[0];
	pd_fit_ask ask = { .adjust = true, .across_versions = true };
	pd_status st = pd_rows_take(store, q, arena, scratch, &w.rows, err);

	memset(out, 0, sizeof *out);
	if (st == PD_OK && w.rows.n == 0)
		out->refusal = w.rows.empty_note
		    ? w.rows.empty_note : "no result is left after the steps";
	if (st == PD_OK && !out->refusal)
		st = pd_fit_run(plan, q, &w.rows, &ask, arena, scratch, &w.fit,
		                err);
	if (st == PD_OK && !out->refusal)
		out->refusal = w.fit.refusal;
	if (st == PD_OK && !out->refusal)
		st = make_cases(&w, err);
	if (st == PD_OK && !out->refusal)
		st = names_of(&w, "operator", &out->operator_,
		              &out->n_operators, err);
	if (st == PD_OK && !out->refusal)
		st = names_of(&w, "method_version", &out->version,
		              &out->n_versions, err);
	if (st == PD_OK && !out->refusal)
		st = standardise(&w, base_until, err);
	pd_fit_clear(&w.fit);
	pd_rows_clear(&w.rows);
	return st;
}
