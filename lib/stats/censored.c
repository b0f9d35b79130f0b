/*
 * censored.c - normal and log-normal regression with limits.
 *
 * Least squares of stand-in values first; the search is for what is left,
 * divided by its spread, so that its parameters are of order 1:
 *   y = x'b0 + scale0 * r,  u = q'gamma, gamma and h of r.
 */
#include "stats/censored.h"
#include "stats/basis.h"
#include "stats/censored_row.h"
#include "stats/newton.h"

#include <math.h>
#include <string.h>

/* Spread of the stand-in values over the scale found, above which the exact
 * values are fitted without scatter and the likelihood has no top. */
static const double MOST_EXACT = 1e6;

struct search {
	pd_arena *arena;
	size_t n, p;
	pd_basis basis;
	double *low, *high;   /* n: what is left of the limits               */
	double *gamma0;       /* p: least squares of the stand-in values     */
	double scale0;
	double constant;      /* added to the log-likelihood found           */
	double *par, *gradient, *hessian; /* p + 1, its square               */
	pd_newton_record record;
};

/* ---- reading the rows --------------------------------------------------- */

static pd_status check_row(const pd_censored_spec *spec, size_t i,
                           pd_error *err)
{
	double low = spec->low[i], high = spec->high[i];

	if (!(low <= high) || (isinf(low) && low > 0) ||
	    (isinf(high) && high < 0))
		return pd_fail(err, PD_DATA, "row %zu: limits %g to %g, "
		               "expected the lower one first", i + 1, low,
		               high);
	if (spec->log && (!(high > 0) || (low <= 0 && low == high)))
		return pd_fail(err, PD_DATA, "row %zu: %g is not above 0 and "
		               "has no logarithm", i + 1, high);
	if (isinf(high) && (isinf(low) || (spec->log && low <= 0)))
		return pd_fail(err, PD_DATA, "row %zu has no limit at all",
		               i + 1);
	return PD_OK;
}

/* Limits on the scale of the model, and counts by kind. */
static pd_status take_rows(struct search *s, const pd_censored_spec *spec,
                           pd_censored_fit *fit, pd_error *err)
{
	for (size_t i = 0; i < s->n; i++) {
		double low = spec->low[i], high = spec->high[i];
		pd_status st = check_row(spec, i, err);

		if (st != PD_OK)
			return st;
		if (spec->log) {
			low = low > 0 ? log(low) : -INFINITY;
			high = log(high);
		}
		s->low[i] = low;
		s->high[i] = high;
		if (spec->low[i] == spec->high[i]) {
			fit->n_exact++;
			if (spec->log)
				s->constant -= low;
		} else if (isinf(low)) {
			fit->n_below++;
		} else if (isinf(high)) {
			fit->n_above++;
		} else {
			fit->n_between++;
		}
	}
	if (!fit->n_exact && !fit->n_between)
		return pd_fail(err, PD_REFUSED, "all %zu rows lie beyond a "
		               "limit: no value to fit", s->n);
	return PD_OK;
}

static double stand_in(const struct search *s, size_t i)
{
	if (isinf(s->low[i]))
		return s->high[i];
	return isinf(s->high[i]) ? s->low[i]
	                         : 0.5 * s->low[i] + 0.5 * s->high[i];
}

static double from_columns(const struct search *s, const double *gamma,
                           size_t i)
{
	double sum = 0;

	for (size_t j = 0; j < s->p; j++)
		sum += s->basis.q[i * s->p + j] * gamma[j];
	return sum;
}

/* Take the least squares fit of the stand-ins off the limits. */
static pd_status reduce(struct search *s, size_t n_exact, pd_error *err)
{
	double square = 0, size = 0;

	for (size_t j = 0; j < s->p; j++) {
		double sum = 0;

		for (size_t i = 0; i < s->n; i++)
			sum += s->basis.q[i * s->p + j] * stand_in(s, i);
		s->gamma0[j] = sum / (double)s->n;
	}
	for (size_t i = 0; i < s->n; i++) {
		double fit = from_columns(s, s->gamma0, i);
		double left = stand_in(s, i) - fit;

		size += stand_in(s, i) * stand_in(s, i);
		square += left * left;
	}
	if (!(square > 1e-24 * size))
		return pd_fail(err, PD_REFUSED, "no scatter: the columns fit "
		               "the values without any error");
	s->scale0 = sqrt(square / (double)s->n);
	s->constant -= (double)n_exact * log(s->scale0);
	for (size_t i = 0; i < s->n; i++) {
		double fit = from_columns(s, s->gamma0, i);
		int same = s->low[i] == s->high[i];

		s->low[i] = (s->low[i] - fit) / s->scale0;
		s->high[i] = same ? s->low[i]
		                  : (s->high[i] - fit) / s->scale0;
	}
	return PD_OK;
}

/* ---- the likelihood ----------------------------------------------------- */

static void add_row(const struct search *s, size_t i,
                    const pd_censored_slopes *row, double *gradient,
                    double *hessian)
{
	const double *q = s->basis.q + i * s->p;
	size_t p = s->p, m = p + 1;

	for (size_t j = 0; j < p; j++)
		gradient[j] += row->u * q[j];
	gradient[p] += row->h;
	if (!hessian)
		return;
	for (size_t j = 0; j < p; j++) {
		for (size_t k = 0; k <= j; k++)
			hessian[j * m + k] += row->uu * q[j] * q[k];
		hessian[p * m + j] += row->uh * q[j];
	}
	hessian[p * m + p] += row->hh;
}

/* par: gamma / s and 1 / s. */
static void likelihood(void *with, const double *par, double *value,
                       double *gradient, double *hessian)
{
	struct search *s = with;
	size_t m = s->p + 1;
	double h = par[s->p];

	*value = h > 0 ? 0 : NAN;
	if (!(h > 0))
		return;
	memset(gradient, 0, m * sizeof *gradient);
	if (hessian)
		memset(hessian, 0, m * m * sizeof *hessian);
	for (size_t i = 0; i < s->n; i++) {
		pd_censored_slopes row;

		pd_censored_row(s->low[i], s->high[i],
		                from_columns(s, par, i), h, &row);
		*value += row.l;
		add_row(s, i, &row, gradient, hessian);
	}
	for (size_t j = 0; hessian && j < m; j++)
		for (size_t k = 0; k < j; k++)
			hessian[k * m + j] = hessian[j * m + k];
}

static pd_status begin(struct search *s, const pd_censored_spec *spec,
                       pd_censored_fit *fit, pd_error *err)
{
	size_t n = spec->n, p = spec->p;
	pd_status st;

	if (n <= p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu columns: "
		               "more rows than columns are needed", n, p);
	st = pd_basis_new(s->arena, spec->x, n, p, &s->basis, err);
	if (st != PD_OK)
		return st;
	s->n = n;
	s->p = p;
	s->low = PD_NEW(s->arena, double, n);
	s->high = PD_NEW(s->arena, double, n);
	s->gamma0 = PD_NEW(s->arena, double, p);
	s->par = PD_NEW(s->arena, double, p + 1);
	s->gradient = PD_NEW(s->arena, double, p + 1);
	s->hessian = PD_NEW(s->arena, double, (p + 1) * (p + 1));
	if (!s->low || !s->high || !s->gamma0 || !s->par || !s->gradient ||
	    !s->hessian)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = take_rows(s, spec, fit, err);
	if (st == PD_OK)
		st = reduce(s, fit->n_exact, err);
	s->par[p] = 1;
	return st;
}

/* ---- the answer --------------------------------------------------------- */

static pd_status check_top(const struct search *s, pd_error *err)
{
	double far = 0;
	size_t column = 0;

	if (s->par[s->p] > MOST_EXACT)
		return pd_fail(err, PD_REFUSED, "no scatter: the columns fit "
		               "the values without any error");
	if (s->record.end == PD_NEWTON_TOP)
		return PD_OK;
	for (size_t j = 0; j < s->p; j++)
		if (fabs(s->par[j]) > far) {
			far = fabs(s->par[j]);
			column = j;
		}
	if (s->record.end == PD_NEWTON_RUNAWAY)
		return pd_fail(err, PD_REFUSED, "no largest likelihood: the "
		               "estimate of column %zu of the model runs to "
		               "infinity, because the rows it sets apart all "
		               "lie beyond a limit", column + 1);
	return pd_fail(err, PD_NUMERIC, "the censored regression did not "
	               "converge in %u steps (last step %g)",
	               s->record.iterations, s->record.step);
}

/*
 * The Hessian in (d, h), d = gamma / s and h = 1 / s, into that in
 * (gamma, t = ln s) at the top: d = gamma e^-t, h = e^-t, so that
 * d_gamma = h, d_t = -d, h_t = -h; the gradient there is 0.
 */
static void change_parameters(const struct search *s, double *out)
{
	size_t p = s->p, m = p + 1;
	const double *a = s->hessian;
	double h = s->par[p];

	for (size_t j = 0; j < p; j++) {
		double cross = 0;

		for (size_t k = 0; k < p; k++)
			out[j * m + k] = h * h * a[j * m + k];
		for (size_t k = 0; k < m; k++)
			cross -= h * a[j * m + k] * s->par[k];
		out[j * m + p] = out[p * m + j] = cross;
	}
	out[p * m + p] = 0;
	for (size_t j = 0; j < m; j++)
		for (size_t k = 0; k < m; k++)
			out[p * m + p] += s->par[j] * a[j * m + k] * s->par[k];
}

static pd_status answer(struct search *s, pd_censored_fit *fit, pd_error *err)
{
	size_t p = s->p, m = p + 1;
	double h = s->par[p];
	double *a = PD_NEW(s->arena, double, m * m);
	pd_status st;

	fit->beta = PD_NEW(s->arena, double, p);
	fit->covariance = PD_NEW(s->arena, double, m * m);
	if (!a || !fit->beta || !fit->covariance)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	change_parameters(s, a);
	st = pd_newton_covariance(s->arena, a, m, fit->covariance, err);
	if (st != PD_OK)
		return st;
	for (size_t j = 0; j < m; j++)
		for (size_t k = 0; k < m; k++)
			fit->covariance[j * m + k] *= (j < p ? s->scale0 : 1) *
			                              (k < p ? s->scale0 : 1);
	pd_basis_back_covariance(&s->basis, fit->covariance, m);
	for (size_t j = 0; j < p; j++)
		fit->beta[j] = s->gamma0[j] + s->scale0 * s->par[j] / h;
	pd_basis_back(&s->basis, fit->beta, fit->beta);
	fit->scale = s->scale0 / h;
	fit->se_log_scale = sqrt(fit->covariance[m * m - 1]);
	fit->log_likelihood = s->record.value + s->constant;
	fit->iterations = s->record.iterations;
	fit->newton_step = s->record.step;
	return PD_OK;
}

pd_status pd_censored_regression(pd_arena *arena, const pd_censored_spec *spec,
                                 pd_censored_fit *out, pd_error *err)
{
	struct search s = { .arena = arena };
	pd_censored_fit fit = { .n = spec->n, .p = spec->p };
	pd_status st = begin(&s, spec, &fit, err);

	if (st == PD_OK)
		st = pd_newton_search(arena, likelihood, &s, s.p + 1, s.par,
		                      s.gradient, s.hessian, &s.record, err);
	if (st == PD_OK)
		st = check_top(&s, err);
	if (st == PD_OK)
		st = answer(&s, &fit, err);
	if (st == PD_OK)
		*out = fit;
	return st;
}

pd_status pd_censored_contrast(const pd_censored_fit *fit, const double *c,
                               double level, pd_estimate *out, pd_error *err)
{
	return pd_newton_contrast(fit->beta, fit->covariance, fit->p,
	                          fit->p + 1, c, level, out, err);
}
