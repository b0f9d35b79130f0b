/*
 * paired.h - pairs: mean difference with t interval, exact signed-rank with
 * Hodges-Lehmann interval, sign-flip permutation. All take the plain array of
 * differences (for ratios: of logs), one a unit, units independent.
 *
 * Differences of logs carry rounding: two values that agree within 1e-12 of
 * the largest |difference| are taken as tied, and one that small as zero.
 * Errors of all: PD_DATA for a value that is not finite or a level outside
 * (0, 1), PD_REFUSED where said, PD_NUMERIC where results are out of the range
 * of doubles, PD_NO_MEMORY.
 */
#ifndef PERDRAW_STATS_PAIRED_H
#define PERDRAW_STATS_PAIRED_H

#include "base/estimate.h"
#include "base/status.h"
#include <stdint.h>

/* mean -+ t(df = n - 1) sd / sqrt(n) and the two-sided p against 0.
 * PD_REFUSED for n < 2 or when all differences are equal ("no variation"). */
pd_status pd_paired_mean(const double *diff, size_t n, double level,
                         pd_estimate *out, pd_error *err);

/* Exact for n <= 500 with ties (conditional distribution of the midranks) and
 * for any n <= 1000 without; normal approximation with tie and continuity
 * correction beyond, said in `exact`. Zeros: dropped before ranking, counted.
 * The interval runs between the q-th smallest and q-th largest mean of two
 * (Walsh average, zeros kept), q the smallest rank sum with P(V <= q) >=
 * (1 - level) / 2 without ties, at least 1; `achieved` is its true level,
 * below the asked one when n is small (n <= 5 at 95 %).
 * PD_REFUSED for n < 2 or when all differences are 0. */
typedef struct pd_rank_result {
	double v;                /* sum of the positive ranks                  */
	double p;                /* two-sided                                  */
	double mid_p;            /* the observed value counted half; beyond the
	                            exact range p without the correction       */
	double value, low, high; /* Hodges-Lehmann and its interval            */
	double achieved;         /* exact level of the interval                */
	size_t n_zero;
	int exact;
} pd_rank_result;
pd_status pd_signed_rank(const double *diff, size_t n, double level,
                         pd_rank_result *out, pd_error *err);
/* Two independent samples; exact (ties too) up to 40 a side, normal
 * approximation with tie and continuity correction beyond. v counts the pairs
 * with a > b, ties half. Shift is first minus second: the median of all
 * differences a - b, interval from their order as above; n_zero is 0.
 * PD_REFUSED for an empty side or when all values are equal. */
pd_status pd_rank_sum(const double *a, size_t n, const double *b, size_t m,
                      double level, pd_rank_result *out, pd_error *err);

/*
 * Two-sided p of the mean under sign flips: all 2^n patterns for n <= 30, else
 * `draws` (0: 9999, at most 10 million) counter-based draws, the observed
 * pattern counted as one more; draw k is made from stream k of the seed, so
 * any thread may make any part (permute.h has threads, strata, patients).
 * With H patterns at least as far out and E of them just as far, of N (drawn:
 * each with the observed one added):
 *   p = H / N,   mid-p = (H - E / 2) / N.
 * Mid-p is nearer to the nominal level on average but does not guarantee it.
 * PD_REFUSED for n < 1 or when all differences are 0.
 * Source: Lancaster (1961), JASA 56, 223-234; Phipson & Smyth (2010), Stat.
 * Appl. Genet. Mol. Biol. 9, art. 39.
 */
typedef struct pd_flip_result {
	double p;
	double hits, patterns;   /* |sum| >= observed among all patterns       */
	double hits_above;       /* sum >= observed, with its sign             */
	int exact;
	double mid_p;
	double p_above, mid_above;   /* one-sided, of hits_above               */
	double equal, equal_above;   /* of the hits, those as far as observed  */
} pd_flip_result;
pd_status pd_sign_flip(const double *diff, size_t n, size_t draws,
                       uint64_t seed, pd_flip_result *out, pd_error *err);

/* Two-sided p of the difference of two means when the labels are dealt out
 * anew: every split when there are at most 2 million, else draws as above.
 * PD_REFUSED for an empty side or when all values are equal. */
pd_status pd_relabel(const double *a, size_t n, const double *b, size_t m,
                     size_t draws, uint64_t seed, pd_flip_result *out,
                     pd_error *err);

#endif
