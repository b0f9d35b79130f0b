/*
 * paired.h - pairs: mean difference with t interval, exact signed-rank with
 * Hodges-Lehmann interval, sign-flip permutation. All take the plain array of
 * differences (for ratios: of logs), one a unit, units independent.
 */
#ifndef PERDRAW_STATS_PAIRED_H
#define PERDRAW_STATS_PAIRED_H

#include "base/estimate.h"
#include "base/status.h"
#include <stdint.h>

/* PD_REFUSED for n < 2 or when all differences are equal ("no variation"). */
pd_status pd_paired_mean(const double *diff, size_t n, double level,
                         pd_estimate *out, pd_error *err);

/* Exact for n <= 50 with ties (conditional distribution of the midranks) and
 * for any n <= 1000 without; normal approximation with tie and continuity
 * correction beyond, said in `exact`. Zeros: dropped before ranking, counted. */
typedef struct pd_rank_result {
	double v;                /* sum of the positive ranks                  */
	double p;                /* two-sided                                  */
	double value, low, high; /* Hodges-Lehmann and its interval            */
	double achieved;         /* exact level of the interval                */
	size_t n_zero;
	int exact;
} pd_rank_result;
pd_status pd_signed_rank(const double *diff, size_t n, double level,
                         pd_rank_result *out, pd_error *err);
/* Two independent samples; normal approximation beyond 40 a side. Shift is
 * first minus second. */
pd_status pd_rank_sum(const double *a, size_t n, const double *b, size_t m,
                      double level, pd_rank_result *out, pd_error *err);

/* Two-sided p of the mean under sign flips: all 2^n patterns for n <= 20,
 * else `draws` counter-based draws, (1 + hits) / (1 + draws). */
typedef struct pd_flip_result {
	double p;
	double hits, patterns;   /* |sum| >= observed among all patterns       */
	int exact;
} pd_flip_result;
pd_status pd_sign_flip(const double *diff, size_t n, size_t draws,
                       uint64_t seed, pd_flip_result *out, pd_error *err);

#endif
