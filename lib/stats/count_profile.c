/*
 * count_profile.c - profile likelihood limits of a coefficient and of theta.
 */
#include "stats/count.h"
#include "stats/count_fit.h"
#include "stats/count_limit.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

/* A profile: the largest log-likelihood at one value of the parameter. */
struct profile {
	pd_count_search s;
	double *column;    /* of the coefficient held; NULL: ln theta is      */
	double *offset;    /* before the held coefficient is added            */
	double theta;      /* of an NB2 fit whose coefficient is profiled     */
	bool free_theta;
	double cut;        /* the log-likelihood at the limits                */
};

static pd_status height(void *with, double at, double *out, pd_error *err)
{
	struct profile *f = with;
	pd_count_search *s = &f->s;
	pd_status st;

	if (f->column) {
		for (size_t i = 0; i < s->n; i++)
			s->offset[i] = f->offset[i] + at * f->column[i];
		st = pd_count_climb(s, f->theta, f->free_theta, err);
		if (f->free_theta && st == PD_OK)
			f->theta = exp(s->par[s->p]);
	} else {
		st = pd_count_climb(s, exp(at), false, err);
	}
	if (st == PD_OK && s->record.end != PD_NEWTON_TOP)
		st = pd_fail(err, PD_NUMERIC, "no convergence on the way to "
		             "a profile limit, at %g", at);
	*out = st == PD_OK ? s->record.value - f->cut : NAN;
	return st;
}

static pd_status theta_limits(pd_arena *arena, const pd_count_spec *spec,
                              const pd_count_fit *fit, double level,
                              double *low, double *high, pd_error *err)
{
	struct profile f = { .cut = fit->log_likelihood -
	                     0.5 * pd_chisq_quantile(level, 1) };
	pd_status st = pd_count_begin(arena, spec, &f.s, err);
	double top, step = 0.3, furthest;

	if (st == PD_OK)
		st = pd_count_climb(&f.s, INFINITY, false, err);
	if (st != PD_OK)
		return st;
	furthest = pd_count_furthest_theta(&f.s);
	top = isinf(fit->theta) ? furthest : log(fit->theta);
	if (isfinite(fit->se_log_theta))
		step = fit->se_log_theta;
	st = pd_count_limit(height, &f, top, -step, -40, low, err);
	*low = exp(*low);
	*high = INFINITY;
	if (st == PD_OK && fit->log_likelihood_poisson < f.cut) {
		st = pd_count_limit(height, &f, top, step, furthest, high, err);
		*high = exp(*high);
	}
	return st;
}

pd_status pd_count_theta_limits(const pd_count_spec *spec,
                                const pd_count_fit *fit, double level,
                                double *low, double *high, pd_error *err)
{
	pd_arena *arena;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	if (!spec->extra)
		return pd_fail(err, PD_USAGE, "a Poisson fit has no theta");
	arena = pd_arena_new();
	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = theta_limits(arena, spec, fit, level, low, high, err);
	pd_arena_free(arena);
	return st;
}

/* The model without column j, that column in f. With no column left, a
 * column of its own cannot be fitted: the likelihood is taken as it is. */
static pd_status without(pd_arena *arena, const pd_count_spec *spec, size_t j,
                         struct profile *f, pd_error *err)
{
	size_t n = spec->n, p = spec->p, w = 0;
	pd_count_spec rest = *spec;
	double *x = PD_NEW(arena, double, n * (p - 1) + 1);
	pd_status st;

	f->column = PD_NEW(arena, double, n);
	f->offset = PD_NEW(arena, double, n);
	if (!x || !f->column || !f->offset)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < p; k++) {
			if (k == j)
				f->column[i] = spec->x[i * p + k];
			else
				x[w++] = spec->x[i * p + k];
		}
	rest.x = x;
	rest.p = p - 1;
	st = pd_count_begin(arena, &rest, &f->s, err);
	if (st == PD_OK)
		memcpy(f->offset, f->s.offset, n * sizeof *f->offset);
	return st;
}

static pd_status profile(pd_arena *arena, const pd_count_spec *spec,
                         const pd_count_fit *fit, size_t j, double level,
                         double *low, double *high, pd_error *err)
{
	struct profile f = { .theta = fit->theta,
	                     .free_theta = isfinite(fit->theta) };
	double se = sqrt(fit->covariance[j * fit->p + j]);
	pd_status st = without(arena, spec, j, &f, err);

	f.cut = fit->log_likelihood - 0.5 * pd_chisq_quantile(level, 1);
	if (st == PD_OK)
		st = pd_count_limit(height, &f, fit->beta[j], -se, -INFINITY,
		                    low, err);
	f.theta = fit->theta;
	if (st == PD_OK)
		st = pd_count_limit(height, &f, fit->beta[j], se, INFINITY,
		                    high, err);
	return st;
}

pd_status pd_count_profile(const pd_count_spec *spec, const pd_count_fit *fit,
                           size_t column, double level, double *low,
                           double *high, pd_error *err)
{
	pd_arena *arena;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	if (column >= spec->p)
		return pd_fail(err, PD_USAGE, "there is no column %zu",
		               column + 1);
	arena = pd_arena_new();
	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = profile(arena, spec, fit, column, level, low, high, err);
	pd_arena_free(arena);
	return st;
}
