/*
 * equivalence.h - does a ratio lie where no difference matters, or not beyond
 * the one side that would do harm? Two one-sided t tests (equivalence) and one
 * of them (non-inferiority), for positive outcomes compared as logarithms.
 * Choosing the margin is not done here: it must be declared before the data.
 */
#ifndef PERDRAW_STATS_EQUIVALENCE_H
#define PERDRAW_STATS_EQUIVALENCE_H

#include "base/estimate.h"
#include "base/status.h"
#include <stdbool.h>
#include <stddef.h>

/* Limits as ratios, 0 < low < 1 < high, both finite: 0.80 to 1.25, or sides of
 * their own such as 0.90 to 1.50. */
typedef struct pd_margin {
	double low, high;
} pd_margin;

/*
 * b the estimated ln ratio, se its standard error, df (INFINITY: normal):
 *   t_low  = (b - ln low) / se,   p_low  = P(T > t_low)   "not below low"
 *   t_high = (b - ln high) / se,  p_high = P(T < t_high)  "not above high"
 *   p = the larger of the two; equivalence is claimed at p <= alpha
 *   interval  exp(b -+ t(1 - alpha, df) se), level 1 - 2 alpha
 * The claim is read off the interval as it is given, closed at its ends:
 * inside = low <= ratio_low and ratio_high <= high. Where rounding alone would
 * let a p fall on the other side of alpha it is moved to alpha, or to the next
 * double above it, so that not_below == (p_low <= alpha), not_above == (p_high
 * <= alpha) and inside == (p <= alpha) hold without exception. Ratios beyond
 * the range of doubles are 0 or INFINITY; the logarithms are not.
 * Source: Schuirmann (1987), J. Pharmacokinet. Biopharm. 15, 657-680.
 */
typedef struct pd_equivalence {
	pd_estimate log;              /* b, se, df; limits at 1 - 2 alpha; p
	                                 two-sided against no difference      */
	double ratio, ratio_low, ratio_high; /* INFINITY, 0: past the doubles */
	double t_low, t_high;
	double p_low, p_high, p;
	double alpha;                 /* of each one-sided test               */
	bool not_below, not_above, inside;
} pd_equivalence;

/*
 * From any estimate of a ln ratio that has value, se and df: a contrast of the
 * mixed model, of counts, of a pooled set. Its own interval and p are not
 * read. Errors of all functions here: PD_DATA for limits that are not
 * positive, finite and on both sides of 1, alpha outside (0, 0.5), numbers
 * that are not finite; PD_REFUSED for a standard error that is not above
 * rounding, 1e-12 (1 + |b|).
 */
pd_status pd_equivalence_of(const pd_estimate *log_ratio,
                            const pd_margin *margin, double alpha,
                            pd_equivalence *out, pd_error *err);

/* n pairs of positive results, ratio test / reference: the t law of the mean
 * difference of logs, n - 1 df. PD_DATA names a result that is not above 0;
 * PD_REFUSED as pd_paired_mean. */
pd_status pd_equivalence_paired(const double *test, const double *reference,
                                size_t n, const pd_margin *margin,
                                double alpha, pd_equivalence *out,
                                pd_error *err);

/* Two independent groups of positive results, geometric means compared:
 * pooled variance with n + m - 2 df, or each its own (Welch 1947). PD_REFUSED
 * for an empty group, no df or no variation; PD_NO_MEMORY. */
typedef enum pd_variances {
	PD_VARIANCES_APART, PD_VARIANCES_POOLED
} pd_variances;
pd_status pd_equivalence_groups(const double *test, size_t n,
                                const double *reference, size_t m,
                                pd_variances variances, const pd_margin *margin,
                                double alpha, pd_equivalence *out,
                                pd_error *err);

/*
 * One side only. A margin below 1 asks "not lower than this ratio" (more is
 * better), one above 1 "not higher" (less is better):
 *   margin < 1: p = P(T > (b - ln margin) / se), limit exp(b - t se)
 *   margin > 1: p = P(T < (b - ln margin) / se), limit exp(b + t se),
 * t = t(1 - alpha, df); shown = limit >= margin (<= margin), agreeing with
 * p <= alpha as above. `limit` is one-sided at level 1 - alpha. Errors as
 * above; PD_DATA for a margin of 1.
 */
typedef struct pd_noninferiority {
	double ratio, limit, margin;
	double t, p, alpha;
	bool shown;
} pd_noninferiority;
pd_status pd_noninferiority_of(const pd_estimate *log_ratio, double margin,
                               double alpha, pd_noninferiority *out,
                               pd_error *err);

/* PD_OK, or PD_DATA with words, for limits and level as above. */
pd_status pd_margin_check(const pd_margin *margin, double alpha,
                          pd_error *err);

#endif
