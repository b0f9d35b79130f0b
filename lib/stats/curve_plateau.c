/*
 * curve_plateau.c - an exponential approach to a plateau; formulas in
 * curve.h.
 */
#include "stats/curve.h"
#include "stats/linear.h"
#include "stats/nonlinear.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct plateau {
	const double *v, *y;
	size_t n;
	int with_base;
};

static int values(const double *theta, void *context, double *value,
                  double *gradient)
{
	const struct plateau *w = context;
	double rise = theta[PD_PLATEAU_RISE], pace = theta[PD_PLATEAU_PACE];
	double base = w->with_base ? theta[PD_PLATEAU_BASE] : 0;
	size_t p = w->with_base ? 3 : 2;

	if (!(pace > 0))
		return 1;
	for (size_t i = 0; i < w->n; i++) {
		double part = -expm1(-w->v[i] / pace);

		value[i] = base + rise * part;
		if (!gradient)
			continue;
		gradient[i * p] = part;
		gradient[i * p + 1] =
		    -rise * exp(-w->v[i] / pace) * w->v[i] / (pace * pace);
		if (w->with_base)
			gradient[i * p + 2] = 1;
	}
	return 0;
}

/* Best of paces from 1/64 to 16 of the width of v, the rest being linear. */
static pd_status begin(const struct plateau *w, double *theta, pd_error *err)
{
	double low = INFINITY, high = -INFINITY, best = INFINITY;
	double *part = calloc(w->n, sizeof *part);
	pd_regressor column = { "rise", part, NULL };
	pd_linear_data d = { .n = w->n, .y = w->y, .intercept = w->with_base,
		             .n_columns = 1, .column = &column };

	if (!part)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < w->n; i++) {
		low = fmin(low, fmin(w->v[i], 0));
		high = fmax(high, w->v[i]);
	}
	for (int k = -24; k <= 16; k++) {
		double pace = (high - low) * exp2(k / 4.0);
		pd_linear_fit *f;

		for (size_t i = 0; i < w->n; i++)
			part[i] = -expm1(-w->v[i] / pace);
		if (pd_linear(&d, &f, NULL) != PD_OK)
			continue;
		if (f->residual_ss < best) {
			best = f->residual_ss;
			theta[PD_PLATEAU_PACE] = pace;
			theta[PD_PLATEAU_RISE] = f->coef[f->p - 1];
			theta[PD_PLATEAU_BASE] = w->with_base ? f->coef[0] : 0;
		}
		pd_linear_free(f);
	}
	free(part);
	if (isinf(best))
		return pd_fail(err, PD_REFUSED, "a curve needs more than one "
		               "value of v");
	return PD_OK;
}

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static pd_status look(const struct plateau *w, double level, pd_error *err)
{
	size_t p = w->with_base ? 3 : 2, distinct = 1;
	double *room;

	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level is %g, expected between 0 "
		               "and 1", level);
	for (size_t i = 0; i < w->n; i++)
		if (!isfinite(w->v[i]) || !isfinite(w->y[i]))
			return pd_fail(err, PD_DATA, "row %zu is %g, %g, "
			               "expected finite numbers", i + 1,
			               w->v[i], w->y[i]);
	if (w->n <= p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu parameters, "
		               "expected more rows than parameters", w->n, p);
	room = calloc(w->n, sizeof *room);
	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	memcpy(room, w->v, w->n * sizeof *room);
	qsort(room, w->n, sizeof *room, ascending);
	for (size_t i = 1; i < w->n; i++)
		distinct += room[i] > room[i - 1];
	free(room);
	if (distinct < p)
		return pd_fail(err, PD_REFUSED, "%zu distinct values for %zu "
		               "parameters", distinct, p);
	return PD_OK;
}

pd_status pd_plateau_fit(const double *v, const double *y, size_t n,
                         int with_base, double level, pd_plateau *out,
                         pd_error *err)
{
	static const char *const name[] = { "rise", "pace", "base" };
	struct plateau w = { v, y, n, with_base };
	size_t p = with_base ? 3 : 2;
	const pd_nonlinear_data d = { n, p, y, values, &w, name };
	double theta[PD_PLATEAU_N] = { 0 };
	pd_plateau o = { 0 };
	pd_nonlinear_fit *f = NULL;
	pd_status st = look(&w, level, err);

	if (st == PD_OK)
		st = begin(&w, theta, err);
	if (st == PD_OK)
		st = pd_nonlinear(&d, theta, &f, err);
	for (size_t j = 0; st == PD_OK && j < p; j++) {
		o.wald[j] = pd_nonlinear_wald(f, j, level);
		st = pd_nonlinear_profile(&d, f, j, level, &o.profile[j], err);
	}
	if (st == PD_OK) {
		o.residual_ss = f->residual_ss;
		o.residual_df = f->residual_df;
		o.residual_sd = f->residual_sd;
		*out = o;
	}
	pd_nonlinear_free(f);
	return st;
}
