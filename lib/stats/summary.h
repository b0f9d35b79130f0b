/*
 * summary.h - means, spreads and the classical comparisons of a few groups,
 * computed so that a large common part of the data costs no digits: sums are
 * compensated (Neumaier 1974) and squares are taken about the mean.
 * No missing values: the caller leaves them out.
 */
#ifndef PERDRAW_STATS_SUMMARY_H
#define PERDRAW_STATS_SUMMARY_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>
#include <stdint.h>

/* Sum of x[n]; error of order 2^-52 |sum| + n 2^-105 sum |x|. */
double pd_sum(const double *x, size_t n);

typedef struct pd_summary {
	size_t n;
	double mean, sd;        /* NaN for n = 0; sd (n - 1) NaN for n < 2    */
	double square;          /* sum (x - mean)^2                           */
	double low, high;       /* smallest and largest, NaN for n = 0        */
} pd_summary;
pd_summary pd_summarise(const double *x, size_t n);

/* sum (x_i - m)(x_{i+1} - m) / sum (x_i - m)^2; NaN without variation. */
double pd_lag_one(const double *x, size_t n);

/* Product-moment correlation of x[n] and y[n]; NaN when n < 2 or either does
 * not vary. */
double pd_correlation(const double *x, const double *y, size_t n);

/*
 * Mean of a[n] less mean of b[m], unequal variances (Welch 1947, Biometrika
 * 34, 28-35; df of Satterthwaite 1946). PD_DATA for a value that is not finite
 * or a level outside (0, 1); PD_REFUSED for fewer than 2 a side or no variation
 * on both sides; PD_NUMERIC out of the range of doubles.
 */
pd_status pd_welch(const double *a, size_t n, const double *b, size_t m,
                   double level, pd_estimate *out, pd_error *err);

/*
 * One-way analysis of variance of y[n] by group codes group[n] in
 * 0 .. n_groups-1. Empty groups are not counted. f is INFINITY and p 0 where
 * groups differ and nothing varies inside them. PD_REFUSED for fewer than two
 * groups, no df within or no variation at all; PD_DATA for a code out of range
 * or a value that is not finite; PD_NUMERIC out of the range of doubles;
 * PD_NO_MEMORY.
 */
typedef struct pd_one_way {
	double between, within;       /* sums of squares                      */
	double df_between, df_within;
	double f, p, residual_sd, r_squared;
} pd_one_way;
pd_status pd_one_way_fit(const double *y, const int32_t *group, size_t n,
                         size_t n_groups, pd_one_way *out, pd_error *err);

/* PD_DATA naming the first value of x[n] that is not a finite number. */
pd_status pd_check_finite(const double *x, size_t n, pd_error *err);

/* Of results: PD_NUMERIC ("out of the range of doubles") unless all of v[n]
 * are finite; what comes of data whose squares overflow. And of an estimate:
 * value, limits and p finite, se above 0 (squares may vanish, too). */
pd_status pd_check_results(const double *v, size_t n, pd_error *err);
pd_status pd_check_estimate(const pd_estimate *e, pd_error *err);

#endif
