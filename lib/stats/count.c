/*
 * count.c - Poisson and NB2 regression: estimates, covariance, deviance.
 * Profile limits are in count_profile.c.
 */
#include "stats/count.h"
#include "stats/count_fit.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

/* ---- measures of fit ---------------------------------------------------- */

static double row_deviance(double y, double mu, double theta)
{
	double d = y > 0 ? y * log(y / mu) : 0;

	if (isinf(theta))
		return 2 * (d - (y - mu));
	return 2 * (d - (y + theta) * log1p((y - mu) / (mu + theta)));
}

static double deviance(const pd_count_search *s, double theta)
{
	double sum = 0;

	for (size_t i = 0; i < s->n; i++)
		sum += row_deviance((double)s->y[i], exp(pd_count_linear(s, i)),
		                    theta);
	return sum;
}

/* Deviance of a constant and the offset, theta held. */
static pd_status null_deviance(const pd_count_spec *spec, double theta,
                               pd_arena *arena, double *out, pd_error *err)
{
	pd_count_spec constant = *spec;
	double *ones = PD_NEW(arena, double, spec->n);
	pd_count_search s;
	pd_status st;

	if (!ones)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < spec->n; i++)
		ones[i] = 1;
	constant.x = ones;
	constant.p = 1;
	st = pd_count_begin(arena, &constant, &s, err);
	if (st == PD_OK)
		st = pd_count_climb(&s, theta, false, err);
	if (st == PD_OK)
		st = pd_count_check_top(&s, err);
	if (st == PD_OK)
		*out = deviance(&s, theta);
	return st;
}

static pd_status measure(const pd_count_spec *spec, const pd_count_search *s,
                         pd_count_fit *fit, pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(s->arena);
	pd_status st;

	for (size_t i = 0; i < s->n; i++)
		fit->fitted[i] = exp(pd_count_linear(s, i));
	fit->deviance = fit->null_deviance = NAN;
	fit->pearson = fit->dispersion = NAN;
	if (s->n_cut)
		return PD_OK;
	fit->deviance = deviance(s, fit->theta);
	fit->pearson = 0;
	for (size_t i = 0; i < s->n; i++) {
		double mu = fit->fitted[i], miss = (double)s->y[i] - mu;

		fit->pearson += miss / mu * miss / (1 + mu * fit->alpha);
	}
	fit->dispersion = fit->pearson / (double)(s->n - s->p);
	st = null_deviance(spec, fit->theta, s->arena, &fit->null_deviance,
	                   err);
	pd_arena_rewind(s->arena, mark);
	return st;
}

/* ---- covariance --------------------------------------------------------- */

/* -information of gamma with theta held: expected where all is counted. */
static void held_information(const pd_count_search *s, double theta,
                             double *h)
{
	size_t p = s->p, m = p + s->free_theta;

	memset(h, 0, p * p * sizeof *h);
	for (size_t j = 0; s->n_cut && j < p; j++)
		memcpy(h + j * p, s->hessian + j * m, p * sizeof *h);
	for (size_t i = 0; !s->n_cut && i < s->n; i++) {
		const double *q = s->basis.q + i * p;
		double mu = exp(pd_count_linear(s, i));
		double w = mu / (1 + mu / theta);

		for (size_t j = 0; j < p; j++)
			for (size_t k = 0; k < p; k++)
				h[j * p + k] -= w * q[j] * q[k];
	}
}

static pd_status find_covariance(const pd_count_search *s, pd_count_fit *fit,
                                 pd_error *err)
{
	size_t p = s->p, m = p + s->free_theta;
	double *v = PD_NEW(s->arena, double, m * m);
	double *h = PD_NEW(s->arena, double, p * p);
	pd_status st;

	if (!v || !h)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_newton_covariance(s->arena, s->hessian, m, v, err);
	if (st != PD_OK)
		return st;
	pd_basis_back_covariance(&s->basis, v, m);
	for (size_t j = 0; j < p; j++)
		memcpy(fit->covariance + j * p, v + j * m, p * sizeof *v);
	fit->se_log_theta = s->free_theta ? sqrt(v[m * m - 1]) : NAN;
	held_information(s, fit->theta, h);
	st = pd_newton_covariance(s->arena, h, p, fit->fixed, err);
	if (st == PD_OK)
		pd_basis_back_covariance(&s->basis, fit->fixed, p);
	return st;
}

/* ---- the fit ------------------------------------------------------------ */

pd_status pd_count_regression(pd_arena *arena, const pd_count_spec *spec,
                              pd_count_fit *out, pd_error *err)
{
	pd_count_search s;
	pd_count_fit fit = { .n = spec->n, .p = spec->p };
	pd_status st;

	if (!spec->p)
		return pd_fail(err, PD_REFUSED, "the model has no columns");
	st = pd_count_begin(arena, spec, &s, err);
	if (st != PD_OK)
		return st;
	fit.n_cut = s.n_cut;
	fit.beta = PD_NEW(arena, double, fit.p);
	fit.covariance = PD_NEW(arena, double, fit.p * fit.p);
	fit.fixed = PD_NEW(arena, double, fit.p * fit.p);
	fit.fitted = PD_NEW(arena, double, fit.n);
	if (!fit.beta || !fit.covariance || !fit.fixed || !fit.fitted)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_count_climb_all(&s, spec->extra, &fit.theta,
	                        &fit.log_likelihood_poisson, err);
	fit.alpha = 1 / fit.theta;
	fit.log_likelihood = s.record.value;
	fit.iterations = s.record.iterations;
	fit.newton_step = s.record.step;
	if (st == PD_OK)
		st = find_covariance(&s, &fit, err);
	if (st == PD_OK)
		st = measure(spec, &s, &fit, err);
	if (st != PD_OK)
		return st;
	pd_basis_back(&s.basis, s.par, fit.beta);
	*out = fit;
	return PD_OK;
}

pd_status pd_count_contrast(const pd_count_fit *fit, const double *c,
                            double level, pd_estimate *out, pd_error *err)
{
	return pd_newton_contrast(fit->beta, fit->covariance, fit->p,
	                          fit->p, c, level, out, err);
}

void pd_count_extra_test(const pd_count_fit *fit, double *ratio, double *p)
{
	*ratio = fmax(0, 2 * (fit->log_likelihood -
	                      fit->log_likelihood_poisson));
	*p = isinf(fit->theta) ? 1 : 0.5 * pd_chisq_upper(*ratio, 1);
}
