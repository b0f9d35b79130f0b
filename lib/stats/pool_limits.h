/*
 * pool_limits.h - how well is the spread between studies known? Limits of
 * tau2 beside a regression of studies (pool.h), and of the shares made of it.
 */
#ifndef PERDRAW_STATS_POOL_LIMITS_H
#define PERDRAW_STATS_POOL_LIMITS_H

#include "stats/pool.h"

/*
 * tau2 with Q(tau2) at the chi-square quantiles of n - p df (Viechtbauer 2007,
 * Stat. Med. 26, 37-52), 0 where Q(0) is below one; i2 = 100 tau2 / (tau2 +
 * s2) and h2 = 1 + tau2 / s2 at the same two, s2 = (n - p) / tr P(0).
 */
typedef struct pd_pool_limits {
	double tau2_low, tau2_high;
	double i2_low, i2_high, h2_low, h2_high;
} pd_pool_limits;

/* x[n * p] by rows; NULL: a column of ones, p is not read. Errors of
 * pd_pool_regress. */
pd_status pd_pool_limits_of(const double *y, const double *v, const double *x,
                            size_t n, size_t p, double level,
                            pd_pool_limits *out, pd_error *err);

#endif
