/*
 * curve_mixed_numbers.c - what else is said of the curve at the turn found:
 * values of the maximum likelihood fit, errors of the model made linear.
 */
#include "stats/curve_mixed_own.h"
#include "stats/kenward.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* c'b of the model made linear: error and df by Kenward-Roger, the value
 * given. */
static pd_status estimate(pd_nested *m, const double *c, double value,
                          double level, pd_estimate *out, pd_error *err)
{
	pd_estimate e;
	pd_status st = pd_nested_contrast(m, c, level, PD_KENWARD_ROGER, &e,
	                                  err);

	if (st == PD_OK)
		st = pd_df_estimate(value, e.se * e.se, e.df, level, out, err);
	return st;
}

static pd_estimate turned(pd_estimate e)
{
	double low = e.low;

	e.value = -e.value;
	e.low = -e.high;
	e.high = -low;
	return e;
}

/* slope, change and so on; b: of the maximum likelihood fit, c: p + q + 1
 * zeros. */
static pd_status curve_numbers(const struct pd_curve_at *w, pd_nested *m,
                               const double *b, double *c, pd_curve_mixed *o,
                               pd_error *err)
{
	size_t p = w->p;
	double level = w->spec->level, k = o->turn.value;
	pd_status st;

	c[p] = 1;
	st = estimate(m, c, b[p], level, &o->slope, err);
	if (w->spec->shape == PD_CURVE_LEVEL)
		o->change = turned(o->slope);
	if (st == PD_OK && w->spec->shape == PD_CURVE_SLOPE) {
		c[p + 1] = 1;
		st = estimate(m, c, b[p] + b[p + 1], level, &o->after, err);
		c[p] = 0;
		if (st == PD_OK)
			st = estimate(m, c, b[p + 1], level, &o->change, err);
	}
	if (st == PD_OK && w->spec->shape == PD_CURVE_APPROACH) {
		c[p] = k; /* rise = slope * pace */
		c[p + 1] = b[p];
		st = estimate(m, c, b[p] * k, level, &o->rise, err);
	}
	memset(c + p, 0, 3 * sizeof *c);
	return st;
}

static pd_status tangent_fit(struct pd_curve_at *w, const double *b,
                             pd_curve_mixed *o, pd_error *err)
{
	size_t p = w->p, q = w->q;
	double *c = calloc(p + PD_CURVE_MOST_COLUMNS, sizeof *c);
	pd_nested *m = NULL;
	pd_error why = { 0 };
	pd_status st = c ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");

	if (st == PD_OK)
		st = pd_curve_at_fit(w, PD_WITH_TANGENT, o->turn.value, b + p,
		                     false, &m, &why);
	if (st != PD_OK && st != PD_NO_MEMORY)
		st = pd_fail(err, PD_REFUSED, "the turn %g is too little "
		             "supported for errors: %.400s", o->turn.value,
		             why.text);
	for (size_t j = 0; st == PD_OK && j < p; j++) {
		c[j] = 1;
		st = estimate(m, c, b[j], w->spec->level, &o->other[j], err);
		c[j] = 0;
	}
	if (st == PD_OK)
		st = curve_numbers(w, m, b, c, o, err);
	if (st == PD_OK) {
		c[p + q] = 1;
		st = estimate(m, c, o->turn.value, w->spec->level, &o->turn,
		              err);
		o->turn.p = NAN;
	}
	pd_nested_free(m);
	free(c);
	return st;
}

/* The maximum likelihood fit at the turn; its coefficients into b. */
static pd_status best_fit(struct pd_curve_at *w, double *b, pd_curve_mixed *o,
                          pd_error *err)
{
	pd_nested *m;
	pd_status st = pd_curve_at_fit(w, PD_WITH_CURVE, o->turn.value, NULL,
	                               true, &m, err);

	if (st != PD_OK)
		return st;
	memcpy(b, w->beta, (w->p + w->q) * sizeof *b);
	o->residual_sd = pd_nested_residual_sd(m);
	for (size_t k = 0; k < w->spec->model.depth; k++)
		pd_nested_level_covariance(m, k, o->covariance[k]);
	pd_nested_free(m);
	return PD_OK;
}

pd_status pd_curve_at_numbers(struct pd_curve_at *w, double *b,
                              pd_curve_mixed *o, pd_error *err)
{
	pd_status st = best_fit(w, b, o, err);

	return st == PD_OK ? tangent_fit(w, b, o, err) : st;
}
