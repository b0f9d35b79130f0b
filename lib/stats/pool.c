/*
 * pool.c - coefficients, intervals and limits of tau2 from the fits of
 * pool_between.c; see pool.h.
 */
#include "stats/pool.h"
#include "stats/pool_own.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

static pd_status check(const double *y, const double *v, size_t n, double level,
                       pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", level);
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(y[i]))
			return pd_fail(err, PD_DATA, "study %zu: its value is "
			               "not a finite number", i + 1);
		if (!(v[i] > 0) || !isfinite(v[i]))
			return pd_fail(err, PD_DATA, "study %zu: its variance "
			               "must be above 0, got %g", i + 1, v[i]);
	}
	return PD_OK;
}

/* What sum w r^2 may be when all residuals are 0 but for rounding. */
static double rounding(const struct pd_pool_work *m)
{
	double square = 0;

	for (size_t i = 0; i < m->n; i++)
		square += m->w[i] * m->y[i] * m->y[i];
	return 1e-24 * square;
}

static void spread(struct pd_pool_work *m, double tau2, pd_pool_way way,
                   pd_spread *out)
{
	double df = (double)(m->n - m->p), typical;

	pd_pool_at(m, 0);
	typical = df / m->trace;
	*out = (pd_spread){ .tau2 = tau2, .q = m->fit, .q_df = df };
	out->q_p = pd_chisq_upper(out->q, df);
	out->i2 = 100 * tau2 / (tau2 + typical);
	out->h2 = 1 + tau2 / typical;
	pd_pool_at(m, tau2);
	out->scale = m->fit > rounding(m) ? m->fit / df : 0;
	out->loglik = m->loglik[way == PD_POOL_ML];
}

static pd_estimate estimate(double value, double se, double df, double level)
{
	pd_estimate e = { .value = value, .se = se, .df = df, .level = level };
	double half = se * pd_t_quantile(0.5 + 0.5 * level, df);

	e.low = value - half;
	e.high = value + half;
	e.p = isinf(df) ? 2 * pd_normal_upper(fabs(value / se))
	                : pd_t_two_sided(value / se, df);
	return e;
}

/* Column j of the inverse of r into out[p], j rows of it filled. */
static void inverse_column(const struct pd_pool_work *m, size_t j, double *out)
{
	size_t p = m->p;

	for (size_t i = j + 1; i-- > 0;) {
		double sum = i == j;

		for (size_t k = i + 1; k <= j; k++)
			sum -= m->r[i * p + k] * out[k];
		out[i] = sum / m->r[i * p + i];
	}
}

/* var[j] = sum over k of (r^-1)[j][k]^2. */
static pd_status variances(const struct pd_pool_work *m, double *var,
                           pd_error *err)
{
	double *column = calloc(m->p, sizeof *column);

	if (!column)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t j = 0; j < m->p; j++)
		var[j] = 0;
	for (size_t k = 0; k < m->p; k++) {
		inverse_column(m, k, column);
		for (size_t j = 0; j <= k; j++)
			var[j] += column[j] * column[j];
	}
	free(column);
	return PD_OK;
}

/*
 * Wald statistic of the coefficients but the first: the part of the fit that
 * columns 2 .. p add, |q_j' sqrt(W) y|^2 summed over j >= 2, for q_1 spans the
 * first column.
 */
static double wald(struct pd_pool_work *m)
{
	double sum = 0;

	for (size_t j = 1; j < m->p; j++) {
		for (size_t i = 0; i < m->n; i++)
			m->term[i] = m->q[i * m->p + j] * sqrt(m->w[i]) *
			             m->y[i];
		double part = pd_sum(m->term, m->n);

		sum += part * part;
	}
	return sum;
}

static pd_status report(struct pd_pool_work *m, double level,
                        const pd_spread *s, pd_estimate *normal,
                        pd_estimate *knapp, pd_error *err)
{
	double *var = calloc(m->p, sizeof *var);
	pd_status st = var ? variances(m, var, err)
	                   : pd_fail(err, PD_NO_MEMORY, "out of memory");

	for (size_t j = 0; st == PD_OK && j < m->p; j++) {
		double se = sqrt(var[j]);

		if (normal)
			normal[j] = estimate(m->beta[j], se, INFINITY, level);
		if (knapp)
			knapp[j] = estimate(m->beta[j],
			                    s->scale > 0
			                        ? se * sqrt(s->scale) : NAN,
			                    s->q_df, level);
	}
	free(var);
	return st;
}

pd_status pd_pool_regress(const double *y, const double *v, const double *x,
                          size_t n, size_t p, pd_pool_way way, double level,
                          pd_estimate *normal, pd_estimate *knapp,
                          double *q_model, pd_spread *out, pd_error *err)
{
	struct pd_pool_work m = { .y = y, .v = v, .x = x, .n = n, .p = p };
	pd_status st = check(y, v, n, level, err);

	if (st != PD_OK)
		return st;
	if (!p || n <= p)
		return pd_fail(err, PD_REFUSED, "a regression on %zu columns "
		               "needs more studies than columns, got %zu", p,
		               n);
	for (size_t i = 0; i < n * p; i++)
		if (!isfinite(x[i]))
			return pd_fail(err, PD_DATA, "study %zu: column %zu "
			               "is not a finite number", i / p + 1,
			               i % p + 1);
	st = pd_pool_work_init(&m, err);
	if (st == PD_OK) {
		pd_pool_unweighted(&m);
		if (m.singular)
			st = pd_fail(err, PD_REFUSED, "column %zu of the "
			             "regression is a combination of those "
			             "before it", m.singular);
	}
	if (st == PD_OK) {
		spread(&m, pd_pool_between(&m, way), way, out);
		if (m.singular || !isfinite(m.fit))
			st = pd_fail(err, PD_NUMERIC, "the variances of the "
			             "studies are too unlike to be pooled");
	}
	if (st == PD_OK)
		st = report(&m, level, out, normal, knapp, err);
	if (st == PD_OK && q_model)
		*q_model = wald(&m);
	pd_pool_work_clear(&m);
	return st;
}

/* n ones, or NULL. */
static double *ones(size_t n)
{
	double *x = malloc(n * sizeof *x);

	for (size_t i = 0; x && i < n; i++)
		x[i] = 1;
	return x;
}

static void predict(const pd_estimate *e, double tau2, double *low,
                    double *high)
{
	double half = pd_t_quantile(0.5 + 0.5 * e->level, e->df) *
	              sqrt(e->se * e->se + tau2);

	*low = e->value - half;
	*high = e->value + half;
}

pd_status pd_pool_fit(const double *y, const double *v, size_t n,
                      pd_pool_way way, double level, pd_pool *out,
                      pd_error *err)
{
	double *x;
	pd_status st;

	*out = (pd_pool){ .n = n };
	if (n < 2)
		return pd_fail(err, PD_REFUSED, "a pool needs at least 2 "
		               "studies, got %zu", n);
	x = ones(n);
	if (!x)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_pool_regress(y, v, x, n, 1, way, level, &out->normal,
	                     &out->knapp, NULL, &out->spread, err);
	free(x);
	if (st != PD_OK)
		return st;
	predict(&out->normal, out->spread.tau2, &out->predict_low,
	        &out->predict_high);
	predict(&out->knapp, out->spread.tau2, &out->knapp_predict_low,
	        &out->knapp_predict_high);
	return PD_OK;
}

pd_status pd_pool_spread_limits(const double *y, const double *v, size_t n,
                                double level, double *low, double *high,
                                pd_error *err)
{
	struct pd_pool_work m = { .y = y, .v = v, .n = n, .p = 1 };
	pd_status st = check(y, v, n, level, err);
	double *x, rss, df = (double)n - 1;

	if (st == PD_OK && n < 2)
		st = pd_fail(err, PD_REFUSED, "a pool needs at least 2 "
		             "studies, got %zu", n);
	if (st != PD_OK)
		return st;
	m.x = x = ones(n);
	if (!x)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_pool_work_init(&m, err);
	if (st == PD_OK) {
		rss = pd_pool_unweighted(&m);
		*low = pd_pool_matched(&m, rss,
		               pd_chisq_quantile(0.5 + 0.5 * level, df));
		*high = pd_pool_matched(&m, rss,
		                pd_chisq_quantile(0.5 - 0.5 * level, df));
		double made[] = { *low, *high };

		st = pd_check_results(made, 2, err);
	}
	pd_pool_work_clear(&m);
	free(x);
	return st;
}
