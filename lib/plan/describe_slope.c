/* describe_slope.c - see describe_slope.h. */
#include "plan/describe_slope.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_XY = 400, LINE_POINTS = 25 };

struct work {
	const pd_question *q;
	const pd_rows *r;
	const double *y;
	double level;
	pd_arena *arena;
	pd_fit *fit;
	double *mean, *c;        /* of the design's columns; a contrast        */
	double *sorted;          /* x of all rows                              */
	double low, high;        /* the line's reach, working axis             */
	pd_points *to;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory describing a slope");
}

static int by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static double shown(const struct work *w, double y)
{
	return w->q->scale == PD_RATIO ? exp(y) : y;
}

/* The parameter as recorded, from the working axis. */
static double recorded(const struct work *w, double x)
{
	return w->q->kind == PD_COMPARE_CURVE ? x
	       : isnan(w->q->step)            ? exp2(x)
	                                      : x * w->q->step;
}

/* --- the line ----------------------------------------------------------- */

static void column_means(struct work *w)
{
	size_t p = w->fit->design.p, n = w->fit->n;

	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			w->mean[j] += w->fit->design.x[i * p + j] / (double)n;
}

/* The line at x of the working axis, as shown: value, low, high. */
static pd_status line_at(struct work *w, double x, double *value, double *low,
                         double *high, pd_error *err)
{
	pd_estimate e;

	memcpy(w->c, w->mean, w->fit->design.p * sizeof *w->c);
	pd_fit_place(w->fit, x, w->c);
	pd_status st = pd_impute_contrast(w->fit->model, w->c, w->level,
	                                  PD_SATTERTHWAITE, &e, err);

	if (st != PD_OK)
		return st;
	*value = shown(w, e.value);
	*low = shown(w, e.low);
	*high = shown(w, e.high);
	return PD_OK;
}

static pd_status draw_line(struct work *w, pd_error *err)
{
	double *out[4];
	pd_status st = PD_OK;

	for (size_t k = 0; k < 4; k++) {
		out[k] = PD_NEW(w->arena, double, LINE_POINTS);
		if (!out[k])
			return no_memory(err);
	}
	for (size_t k = 0; st == PD_OK && k < LINE_POINTS; k++) {
		double x = w->low +
		           (w->high - w->low) * (double)k / (LINE_POINTS - 1);

		out[0][k] = recorded(w, x);
		st = line_at(w, x, &out[1][k], &out[2][k], &out[3][k], err);
	}
	w->to->n_line = LINE_POINTS;
	w->to->line_x = out[0];
	w->to->line_y = out[1];
	w->to->line_low = out[2];
	w->to->line_high = out[3];
	return st;
}

/* --- the strip ---------------------------------------------------------- */

/* Cells on the working axis; n of them. */
struct cells {
	size_t n;
	double from[PD_STRIP_CELLS + 2], to[PD_STRIP_CELLS + 2];
};

/* One cell a value; false when there are too many values. */
static bool each_value(const struct work *w, struct cells *c)
{
	for (size_t i = 0; i < w->r->n; i++) {
		double x = w->sorted[i];

		if (c->n && !(x > c->to[c->n - 1]))
			continue;
		if (c->n == PD_STRIP_CELLS) {
			c->n = 0;
			return false;
		}
		c->from[c->n] = c->to[c->n] = x;
		c->n++;
	}
	return true;
}

static void add_cell(struct cells *c, double from, double to)
{
	if (!(to > from))
		return;
	c->from[c->n] = from;
	c->to[c->n++] = to;
}

/* The first is closed below, every one above. */
static void equal_cells(const struct work *w, struct cells *c)
{
	double step = (w->high - w->low) / PD_STRIP_CELLS;

	add_cell(c, w->sorted[0], w->low);
	for (size_t k = 0; k < PD_STRIP_CELLS; k++)
		add_cell(c, w->low + (double)k * step,
		         k + 1 == PD_STRIP_CELLS
		             ? w->high
		             : w->low + (double)(k + 1) * step);
	add_cell(c, w->high, w->sorted[w->r->n - 1]);
}

static size_t cell_of(const struct cells *c, double x)
{
	size_t k = 0;

	while (k + 1 < c->n && x > c->to[k])
		k++;
	return k;
}

static pd_status count_cells(const struct work *w, const struct cells *c,
                             pd_strip *strip, pd_error *err)
{
	size_t np = w->r->n_groups[0];
	unsigned char *seen = calloc(c->n * np + 1, 1);

	if (!seen)
		return no_memory(err);
	for (size_t i = 0; i < w->r->n; i++) {
		size_t k = cell_of(c, w->r->x[i]);
		unsigned char *s = &seen[k * np + (size_t)w->r->group[0][i]];

		strip[k].n_rows++;
		strip[k].n_patients += !*s;
		*s = 1;
	}
	free(seen);
	return PD_OK;
}

static pd_status draw_strip(struct work *w, pd_error *err)
{
	struct cells c = { 0 };

	if (!each_value(w, &c))
		equal_cells(w, &c);
	pd_strip *strip = PD_NEW(w->arena, pd_strip, c.n + 1);

	if (!strip)
		return no_memory(err);
	pd_status st = count_cells(w, &c, strip, err);

	for (size_t k = 0; st == PD_OK && k < c.n; k++) {
		double x = (c.from[k] + c.to[k]) / 2;

		strip[k].from = recorded(w, c.from[k]);
		strip[k].to = recorded(w, c.to[k]);
		strip[k].at = recorded(w, x);
		strip[k].fitted = strip[k].low = strip[k].high = NAN;
		if (w->fit && x >= w->low && x <= w->high)
			st = line_at(w, x, &strip[k].fitted, &strip[k].low,
			             &strip[k].high, err);
	}
	w->to->n_strip = c.n;
	w->to->strip = strip;
	return st;
}

/* --- points ------------------------------------------------------------- */

static pd_status draw_points(struct work *w, pd_error *err)
{
	size_t all = w->r->n, n = 0;
	size_t step = all > MOST_XY ? (all + MOST_XY - 1) / MOST_XY : 1;
	double *x = PD_NEW(w->arena, double, all / step + 1);
	double *y = PD_NEW(w->arena, double, all / step + 1);

	if (!x || !y)
		return no_memory(err);
	for (size_t i = 0; i < all; i += step, n++) {
		x[n] = w->r->raw[i];
		y[n] = shown(w, w->y[i]);
	}
	w->to->n_xy = n;
	w->to->x = x;
	w->to->y = y;
	w->to->n_left_out = all - n;
	return PD_OK;
}

static pd_status prepare(struct work *w, pd_error *err)
{
	size_t n = w->r->n, p = w->fit ? w->fit->design.p : 0;

	w->mean = calloc(2 * p + n + 1, sizeof *w->mean);
	if (!w->mean)
		return no_memory(err);
	w->c = w->mean + p;
	w->sorted = w->c + p;
	memcpy(w->sorted, w->r->x, n * sizeof *w->sorted);
	qsort(w->sorted, n, sizeof *w->sorted, by_number);
	w->low = w->sorted[n / 50];
	w->high = w->sorted[n - 1 - n / 50];
	if (w->fit)
		column_means(w);
	return PD_OK;
}

pd_status pd_describe_slope(const pd_question *q, const pd_rows *rows,
                            const double *y, pd_fit *fit, double level,
                            pd_arena *arena, pd_points *out, pd_error *err)
{
	struct work w = { .q = q, .r = rows, .y = y, .level = level,
		          .arena = arena, .fit = fit, .to = out };

	if (rows->n == 0)
		return PD_OK;
	pd_status st = prepare(&w, err);

	if (st == PD_OK)
		st = draw_points(&w, err);
	if (st == PD_OK && fit)
		st = draw_line(&w, err);
	if (st == PD_OK)
		st = draw_strip(&w, err);
	free(w.mean);
	return st;
}
