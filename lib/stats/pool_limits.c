/*
 * pool_limits.c - see pool_limits.h.
 */
#include "stats/pool_limits.h"
#include "stats/pool_own.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>

static void shares(double tau2, double typical, double *i2, double *h2)
{
	*i2 = 100 * tau2 / (tau2 + typical);
	*h2 = 1 + tau2 / typical;
}

static pd_status limits(struct pd_pool_work *m, double level,
                        pd_pool_limits *out, pd_error *err)
{
	double df = (double)(m->n - m->p), rss = pd_pool_unweighted(m);
	double typical;

	out->tau2_low = pd_pool_matched(m, rss,
	                    pd_chisq_quantile(0.5 + 0.5 * level, df));
	out->tau2_high = pd_pool_matched(m, rss,
	                     pd_chisq_quantile(0.5 - 0.5 * level, df));
	pd_pool_at(m, 0);
	typical = df / m->trace;
	shares(out->tau2_low, typical, &out->i2_low, &out->h2_low);
	shares(out->tau2_high, typical, &out->i2_high, &out->h2_high);
	if (!isfinite(out->h2_high) || !isfinite(out->tau2_low))
		return pd_fail(err, PD_NUMERIC, "the limits of the spread "
		               "between studies cannot be computed");
	return PD_OK;
}

pd_status pd_pool_limits_of(const double *y, const double *v, const double *x,
                            size_t n, size_t p, double level,
                            pd_pool_limits *out, pd_error *err)
{
	double *ones = x ? NULL : malloc((n + 1) * sizeof *ones);
	struct pd_pool_work m = { .y = y, .v = v, .x = x ? x : ones, .n = n,
	                          .p = x ? p : 1 };
	pd_spread seen;
	pd_status st = PD_OK;

	if (!m.x)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; ones && i < n; i++)
		ones[i] = 1;
	st = pd_pool_regress(y, v, m.x, n, m.p, PD_POOL_COMMON, level, NULL,
	                     NULL, NULL, &seen, err);
	if (st == PD_OK) {
		st = pd_pool_work_init(&m, err);
		if (st == PD_OK)
			st = limits(&m, level, out, err);
		pd_pool_work_clear(&m);
	}
	free(ones);
	return st;
}
