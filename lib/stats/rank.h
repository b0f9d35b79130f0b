/*
 * rank.h - the parts pd_signed_rank and pd_rank_sum (paired.h) are made of,
 * for callers that want another treatment of zeros, a one-sided p or the
 * normal approximation itself.
 */
#ifndef PERDRAW_STATS_RANK_H
#define PERDRAW_STATS_RANK_H

#include "base/status.h"
#include <stddef.h>

/* Zeros: left out before ranking (Wilcoxon 1945) or ranked with the others and
 * left out after (Pratt 1959, JASA 54, 655-667). */
typedef enum pd_zeros { PD_ZEROS_DROPPED, PD_ZEROS_RANKED } pd_zeros;

/*
 * V = sum of the midranks of |d| over positive d; under the null hypothesis
 * each rank is positive with chance 1/2: mean = sum r / 2, variance =
 * sum r^2 / 4 (which holds the correction for ties and zeros).
 */
typedef struct pd_signed_test {
	double v, mean, variance;
	double p, p_above, p_below; /* exact; NaN when not asked or too large */
	double mid_p;               /* the same, P(V = v) counted half        */
	size_t n_used, n_zero;
	int ties, exact;
} pd_signed_test;
pd_status pd_signed_rank_test(const double *diff, size_t n, pd_zeros zeros,
                              pd_signed_test *out, pd_error *err);

/* Two-sided normal p of a statistic, its distance from the mean made smaller
 * by `correction` (0, or 0.5 for whole-numbered statistics). */
double pd_normal_p(double statistic, double mean, double variance,
                   double correction);

#endif
