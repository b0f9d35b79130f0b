/*
 * design.c - terms into columns, columns checked against those before them.
 *
 * The check needs the lengths of what each column adds. They are found from
 * the triangular factor of the matrix, made in blocks of rows by Householder
 * reflections (no second n * p array, no squares of the data), by modified
 * Gram-Schmidt on its columns, orthogonalised twice.
 */
#include "stats/design.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_ROWS = 256 };
static const double ALIAS = 1e-10, CONSTANT = 1e-12;

/* A candidate column: where it came from. */
struct candidate {
	size_t term, code;
	const char *name;
	int constant, dropped;
};

struct build {
	pd_arena *arena;
	const pd_frame *frame;
	const pd_term *terms;
	pd_design *out;
	struct candidate *all;
	size_t n_all;    /* candidates, the intercept first            */
	size_t width;    /* room in `all` and row length of out->x     */
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

static const char *label_of(const pd_term *t)
{
	return t->label ? t->label : t->column;
}

/* ---- terms into candidate columns ------------------------------------- */

/* value[n] of a numeric term, transformed but not centred. */
static pd_status read_numbers(const pd_term *t, const pd_column *c, size_t n,
                              double *value, pd_error *err)
{
	int log_scale = t->transform == PD_LOG ||
	                t->transform == PD_LOG_CENTRED;
	double step = t->step == 0 ? 1 : t->step;

	if (!(step > 0) || isinf(step))
		return pd_fail(err, PD_DATA, "step of '%s' must be above 0, "
		               "got %g", label_of(t), t->step);
	for (size_t i = 0; i < n; i++) {
		double x = c->real[i];

		if (!isfinite(x))
			return pd_fail(err, PD_DATA, "row %zu: '%s' is missing "
			               "or not finite", i + 1, t->column);
		if (log_scale && x <= 0)
			return pd_fail(err, PD_DATA, "row %zu: '%s' must be "
			               "above 0 for a log, got %g", i + 1,
			               t->column, x);
		value[i] = (log_scale ? log(x) : x) / step;
	}
	return PD_OK;
}

static pd_status add_candidate(struct build *b, size_t term, size_t code,
                               const char *name, pd_error *err)
{
	if (!name)
		return no_memory(err);
	b->all[b->n_all++] = (struct candidate){ term, code, name, 0, 0 };
	return PD_OK;
}

static pd_status add_numbers(struct build *b, size_t term, const pd_column *c,
                             double *value, pd_error *err)
{
	const pd_term *t = &b->terms[term];
	size_t n = b->out->n, at = b->n_all;
	pd_status st = read_numbers(t, c, n, value, err);
	double centre = 0;
	pd_summary s;

	if (st == PD_OK)
		st = add_candidate(b, term, 0,
		                   pd_arena_copy(b->arena, label_of(t)), err);
	if (st != PD_OK)
		return st;
	s = pd_summarise(value, n);
	if (t->transform == PD_CENTRED || t->transform == PD_LOG_CENTRED)
		centre = s.mean;
	b->out->centre[term] = centre * (t->step == 0 ? 1 : t->step);
	b->all[at].constant = !(s.high - s.low >
	                        CONSTANT * fmax(fabs(s.low), fabs(s.high)));
	for (size_t i = 0; i < n; i++)
		b->out->x[i * b->width + at] = value[i] - centre;
	return PD_OK;
}

/* Rows a level has, by code; PD_DATA for a missing row. */
static pd_status count_levels(const pd_column *c, size_t n, size_t *seen,
                              pd_error *err)
{
	for (size_t i = 0; i < n; i++) {
		if (c->code[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu: '%s' is missing",
			               i + 1, c->name);
		seen[c->code[i]]++;
	}
	return PD_OK;
}

static pd_status find_reference(const pd_term *t, const pd_column *c,
                                const size_t *seen, size_t *code,
                                pd_error *err)
{
	for (size_t k = 0; k < c->n_levels; k++) {
		*code = k;
		if (t->reference ? !strcmp(c->level[k], t->reference) : seen[k])
			break;
		*code = PD_NO_COLUMN;
	}
	if (t->reference && (*code == PD_NO_COLUMN || !seen[*code]))
		return pd_fail(err, PD_DATA, "no row has '%s' for '%s'",
		               t->reference, t->column);
	return PD_OK;
}

static pd_status add_levels(struct build *b, size_t term, const pd_column *c,
                            pd_error *err)
{
	const pd_term *t = &b->terms[term];
	size_t n = b->out->n, reference = PD_NO_COLUMN, first = b->n_all;
	size_t *seen = PD_NEW(b->arena, size_t, c->n_levels + 1);
	pd_status st = seen ? count_levels(c, n, seen, err) : no_memory(err);

	if (st == PD_OK)
		st = find_reference(t, c, seen, &reference, err);
	for (size_t k = 0; st == PD_OK && k < c->n_levels; k++) {
		if (k == reference || !seen[k])
			continue;
		for (size_t i = 0; i < n; i++)
			b->out->x[i * b->width + b->n_all] =
			    c->code[i] == (int32_t)k;
		st = add_candidate(b, term, k,
		                   pd_arena_print(b->arena, "%s %s",
		                                  label_of(t), c->level[k]),
		                   err);
	}
	if (st == PD_OK && b->n_all == first) { /* one level: say so */
		st = add_candidate(b, term, PD_NO_COLUMN,
		                   pd_arena_copy(b->arena, label_of(t)), err);
		b->all[first].constant = 1;
	}
	return st;
}

static pd_status add_term(struct build *b, size_t term, double *value,
                          pd_error *err)
{
	const pd_column *c = pd_frame_find(b->frame, b->terms[term].column);
	size_t levels;

	if (!c)
		return pd_fail(err, PD_DATA, "no column '%s'",
		               b->terms[term].column);
	levels = c->kind == PD_FACTOR ? c->n_levels : 1;
	b->out->column[term] = PD_NEW(b->arena, size_t, levels + 1);
	if (!b->out->column[term])
		return no_memory(err);
	for (size_t k = 0; k < levels; k++)
		b->out->column[term][k] = PD_NO_COLUMN;
	return c->kind == PD_REAL ? add_numbers(b, term, c, value, err)
	                          : add_levels(b, term, c, err);
}

/* ---- which columns add something -------------------------------------- */

/* Householder on a (column-major, rows * p): its triangle, the rest zeroed. */
static void triangulate(double *a, size_t rows, size_t p)
{
	for (size_t j = 0; j < p && j < rows; j++) {
		double *v = a + j * rows, size = 0, head;

		for (size_t i = j; i < rows; i++)
			size = hypot(size, v[i]);
		if (size == 0)
			continue;
		head = v[j] > 0 ? -size : size;
		v[j] -= head;
		for (size_t k = j + 1; k < p; k++) {
			double *w = a + k * rows, dot = 0;

			for (size_t i = j; i < rows; i++)
				dot += v[i] * w[i];
			dot /= -head * v[j]; /* v'v / 2 */
			for (size_t i = j; i < rows; i++)
				w[i] -= dot * v[i];
		}
		v[j] = head;
		for (size_t i = j + 1; i < rows; i++)
			v[i] = 0;
	}
}

/* The p * p triangle of x (n rows of `width`, first p columns), column-major
 * with p + BLOCK_ROWS rows of which the first p matter. */
static double *triangle_of(const double *x, size_t n, size_t width, size_t p)
{
	size_t rows = p + BLOCK_ROWS;
	double *a = calloc(rows * p, sizeof *a);

	if (!a)
		return NULL;
	for (size_t from = 0; from < n; from += BLOCK_ROWS) {
		for (size_t i = 0; i < BLOCK_ROWS && from + i < n; i++)
			for (size_t j = 0; j < p; j++)
				a[j * rows + p + i] =
				    x[(from + i) * width + j];
		triangulate(a, rows, p);
	}
	return a;
}

static double length(const double *v, size_t p)
{
	double s = 0;

	for (size_t i = 0; i < p; i++)
		s = hypot(s, v[i]);
	return s;
}

/* Take the kept columns' directions out of v, twice. */
static void take_out(double *v, const double *a, size_t rows, size_t p,
                     const struct candidate *all, size_t n_before)
{
	for (int pass = 0; pass < 2; pass++)
		for (size_t k = 0; k < n_before; k++) {
			const double *q = a + k * rows;
			double dot = 0;

			if (all[k].dropped)
				continue;
			for (size_t i = 0; i < p; i++)
				dot += q[i] * v[i];
			for (size_t i = 0; i < p; i++)
				v[i] -= dot * q[i];
		}
}

static pd_status mark_dropped(struct build *b, pd_error *err)
{
	size_t p = b->n_all, rows = p + BLOCK_ROWS;
	double *a = triangle_of(b->out->x, b->out->n, b->width, p);

	if (!a)
		return no_memory(err);
	for (size_t j = 0; j < p; j++) {
		double *v = a + j * rows, before = length(v, p), left;

		if (b->all[j].constant || before == 0) {
			b->all[j].dropped = b->all[j].constant = 1;
			continue;
		}
		for (size_t i = 0; i < p; i++)
			v[i] /= before;
		take_out(v, a, rows, p, b->all, j);
		left = length(v, p);
		if (!(left > ALIAS)) {
			b->all[j].dropped = 1;
			continue;
		}
		for (size_t i = 0; i < p; i++)
			v[i] /= left;
	}
	free(a);
	return PD_OK;
}

/* ---- the finished matrix ---------------------------------------------- */

static pd_status say_dropped(struct build *b, const struct candidate *c,
                             pd_error *err)
{
	const char *text =
	    pd_arena_print(b->arena, c->constant
	                                 ? "%s: the same in all rows"
	                                 : "%s: a sum of the columns before it",
	                   c->name);

	if (!text)
		return no_memory(err);
	b->out->dropped[b->out->n_dropped++] = text;
	return PD_OK;
}

/* Names and positions of the kept columns. */
static pd_status place_columns(struct build *b, pd_error *err)
{
	pd_design *d = b->out;
	pd_status st = PD_OK;

	for (size_t j = 0; st == PD_OK && j < b->n_all; j++) {
		const struct candidate *c = &b->all[j];

		if (c->dropped) {
			st = say_dropped(b, c, err);
			continue;
		}
		d->name[d->p] = c->name;
		if (j > 0) {
			if (!d->count[c->term]++)
				d->first[c->term] = d->p;
			d->column[c->term][c->code] = d->p;
		}
		d->p++;
	}
	return st;
}

/* Rows of `width` become rows of p, in place. */
static void close_ranks(struct build *b)
{
	double *to = b->out->x;

	for (size_t i = 0; i < b->out->n; i++)
		for (size_t j = 0; j < b->n_all; j++)
			if (!b->all[j].dropped)
				*to++ = b->out->x[i * b->width + j];
}

/* Room for every column the terms could make. */
static pd_status make_room(struct build *b, size_t n_terms, pd_error *err)
{
	pd_design *d = b->out;

	b->width = 1;
	for (size_t t = 0; t < n_terms; t++) {
		const pd_column *c = pd_frame_find(b->frame,
		                                   b->terms[t].column);

		b->width += c && c->kind == PD_FACTOR ? c->n_levels + 1 : 1;
	}
	d->n = pd_frame_rows(b->frame);
	d->n_terms = n_terms;
	d->x = pd_arena_alloc(b->arena, d->n * b->width, sizeof *d->x);
	d->name = PD_NEW(b->arena, const char *, b->width);
	d->dropped = PD_NEW(b->arena, const char *, b->width);
	d->first = PD_NEW(b->arena, size_t, n_terms + 1);
	d->count = PD_NEW(b->arena, size_t, n_terms + 1);
	d->column = PD_NEW(b->arena, size_t *, n_terms + 1);
	d->centre = PD_NEW(b->arena, double, n_terms + 1);
	b->all = PD_NEW(b->arena, struct candidate, b->width);
	if (!d->x || !d->name || !d->dropped || !d->first || !d->count ||
	    !d->column || !d->centre || !b->all)
		return no_memory(err);
	return PD_OK;
}

pd_status pd_design_build(pd_arena *arena, const pd_frame *frame,
                          const pd_term *terms, size_t n_terms,
                          pd_design *out, pd_error *err)
{
	struct build b = { arena, frame, terms, out, NULL, 1, 0 };
	double *value;
	pd_status st;

	memset(out, 0, sizeof *out);
	if (!pd_frame_rows(frame))
		return pd_fail(err, PD_DATA, "no rows for a model");
	st = make_room(&b, n_terms, err);
	value = malloc(pd_frame_rows(frame) * sizeof *value);
	if (st == PD_OK && !value)
		st = no_memory(err);
	if (st == PD_OK) {
		b.all[0].name = "intercept";
		for (size_t i = 0; i < out->n; i++)
			out->x[i * b.width] = 1;
	}
	for (size_t t = 0; st == PD_OK && t < n_terms; t++)
		st = add_term(&b, t, value, err);
	if (st == PD_OK)
		st = mark_dropped(&b, err);
	if (st == PD_OK)
		st = place_columns(&b, err);
	if (st == PD_OK)
		close_ranks(&b);
	free(value);
	return st;
}

/* ---- helpers ---------------------------------------------------------- */

pd_status pd_split_within(const double *x, const int32_t *group, size_t n,
                          size_t n_groups, double *within, double *between,
                          pd_error *err)
{
	double *mean = calloc(n_groups ? n_groups : 1, 2 * sizeof *mean);
	double *size = mean + n_groups;

	if (!mean)
		return no_memory(err);
	for (size_t i = 0; i < n; i++) {
		if (group[i] < 0 || (size_t)group[i] >= n_groups ||
		    !isfinite(x[i])) {
			free(mean);
			return pd_fail(err, PD_DATA, "row %zu: no group or no "
			               "value to split", i + 1);
		}
		size[group[i]]++; /* running mean: no large sums */
		mean[group[i]] += (x[i] - mean[group[i]]) / size[group[i]];
	}
	pd_status st = PD_OK;

	for (size_t i = 0; i < n; i++) {
		between[i] = mean[group[i]];
		within[i] = x[i] - between[i];
		if (!isfinite(within[i]))
			st = PD_NUMERIC;
	}
	free(mean);
	return st == PD_OK ? st : pd_fail(err, st, "values to split lie so "
	                                  "far apart that their differences "
	                                  "are out of range");
}

pd_status pd_frame_complete(const pd_frame *frame, const char *const *names,
                            size_t n_names, unsigned char *keep,
                            size_t *n_kept, pd_error *err)
{
	size_t n = pd_frame_rows(frame);

	*n_kept = 0;
	memset(keep, 1, n);
	for (size_t j = 0; j < n_names; j++) {
		const pd_column *c = pd_frame_find(frame, names[j]);

		if (!c)
			return pd_fail(err, PD_DATA, "no column '%s'",
			               names[j]);
		for (size_t i = 0; i < n; i++)
			if (c->kind == PD_REAL ? isnan(c->real[i])
			                       : c->code[i] < 0)
				keep[i] = 0;
	}
	for (size_t i = 0; i < n; i++)
		*n_kept += keep[i];
	return PD_OK;
}
