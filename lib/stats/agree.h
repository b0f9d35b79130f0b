/*
 * agree.h - do two ways of measuring the same thing agree? x[n] and y[n] are
 * one pair a unit (units independent), in the same unit of measurement; for
 * agreement as a ratio give logs and read exp() of bias and limits.
 * All: PD_DATA for values not finite or a level outside (0, 1), PD_REFUSED
 * where said, PD_NUMERIC where results are out of the range of doubles,
 * PD_NO_MEMORY.
 */
#ifndef PERDRAW_STATS_AGREE_H
#define PERDRAW_STATS_AGREE_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

/*
 * Limits of agreement: d = x - y, bias = mean d with t interval (df n - 1),
 * limits bias -+ k sd (Bland & Altman 1986, Lancet i, 307-310; k 1.96 or 2).
 * se of a limit: sd sqrt(1/n + k^2 / (2 (n - 1))) (1999, Stat. Methods Med.
 * Res. 8, 135-160); the paper of 1986 rounds it to sqrt(3 sd^2 / n).
 * Interval of a limit by recovering the variances of bias and sd (Zou 2013,
 * Stat. Methods Med. Res. 22, 630-642): with the two limits l, u of
 * the mean and L, U of the sd (chi-square),
 *   bias + k sd:  from  - sqrt((bias - l)^2 + k^2 (sd - L)^2)
 *                 to    + sqrt((u - bias)^2 + k^2 (U - sd)^2)
 * PD_REFUSED for n < 3, no variation of d, or k <= 0.
 */
typedef struct pd_limits {
	size_t n;
	pd_estimate bias;
	double sd, k;
	double low, high;             /* the limits of agreement              */
	double se, se_1986;           /* of either limit                      */
	double low_from, low_to;      /* interval of the lower limit          */
	double high_from, high_to;    /* interval of the upper limit          */
	double trend, trend_p;        /* correlation of d with (x + y) / 2,   */
	                              /* two-sided p by t; NaN: no spread     */
} pd_limits;
pd_status pd_agree_limits(const double *x, const double *y, size_t n, double k,
                          double level, pd_limits *out, pd_error *err);
/* The same of natural logs; PD_DATA where a value is not above 0. */
pd_status pd_agree_ratio(const double *x, const double *y, size_t n, double k,
                         double level, pd_limits *out, pd_error *err);

/* A straight line y = intercept + slope x with error in both. */
typedef struct pd_line {
	pd_estimate slope, intercept;
	size_t n_slopes, offset;      /* pd_agree_ranks only                  */
} pd_line;

/*
 * Deming's line, variance of the errors of y over that of x = ratio > 0:
 *   slope = (d + sqrt(d^2 + 4 ratio sxy^2)) / (2 sxy), d = syy - ratio sxx
 * se from leave-one-out pseudo-values, interval with t on n - 2 df (Linnet
 * 1993, Clin. Chem. 39, 424-432). Points exactly on a line leave no se: p is
 * 0, or 1 for an estimate of 0. PD_REFUSED for n < 4 or when x and y do not
 * vary together (sxy = 0, with all points or with one left out).
 */
pd_status pd_agree_deming(const double *x, const double *y, size_t n,
                          double ratio, double level, pd_line *out,
                          pd_error *err);

/*
 * Passing & Bablok's line (1983, J. Clin. Chem. Clin. Biochem. 21, 709-720):
 * the N slopes of all pairs of points, equal points and slopes of -1 left out,
 * equal x an infinite slope, in order; K of them are below -1. slope: their
 * median moved up by K. Limits at M1 + K and N - M1 + 1 + K with
 * M1 = round((N - C) / 2), C = z sqrt(n (n - 1) (2 n + 5) / 18); infinite when
 * the order runs out. intercept: median of y - slope x. Differences within
 * 1e-12 of the largest value are 0. se, df and p are NaN.
 * PD_REFUSED for n < 5, n > 5000, no slopes, or when the points do not rise
 * together (half or more of the slopes below -1, or the median is infinite).
 */
pd_status pd_agree_ranks(const double *x, const double *y, size_t n,
                         double level, pd_line *out, pd_error *err);

/*
 * Concordance 2 sxy / (sxx + syy + (mean x - mean y)^2), n denominators, with
 * Lin's interval by the inverse hyperbolic tangent (1989, Biometrics 45,
 * 255-268, variance as corrected 2000, Biometrics 56, 324-325). df INFINITY;
 * se on the scale of the coefficient; p NaN. PD_REFUSED for n < 4 or when x or
 * y does not vary; the interval is NaN where x and y are uncorrelated or equal.
 */
pd_status pd_agree_concordance(const double *x, const double *y, size_t n,
                               double level, pd_estimate *out, pd_error *err);

/*
 * Product-moment correlation with Fisher's interval tanh(atanh r -+
 * z / sqrt(n - 3)) (1921, Metron 1, 3-32); p by t on n - 2 df, se NaN.
 * PD_REFUSED for n < 4 or when x or y does not vary.
 */
pd_status pd_agree_correlation(const double *x, const double *y, size_t n,
                               double level, pd_estimate *out, pd_error *err);

/*
 * Two measurements of each unit by the same way: within-unit sd
 * sw = sqrt(sum d^2 / (2 n)), limits by chi-square on n df; two measurements
 * of one unit differ by at most coefficient = 1.96 sqrt(2) sw in 95 of 100
 * cases (British Standard 5497 as used by Bland & Altman 1986, who also give
 * 2 sqrt(sum d^2 / n)). PD_REFUSED for n < 2 or all d = 0.
 */
typedef struct pd_repeat {
	size_t n;
	double sw, sw_low, sw_high;
	double coefficient, coefficient_1986;
} pd_repeat;
pd_status pd_agree_repeat(const double *x, const double *y, size_t n,
                          double level, pd_repeat *out, pd_error *err);

#endif
