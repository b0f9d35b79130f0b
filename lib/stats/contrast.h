/*
 * contrast.h - comparisons of several groups with one error rate for all of
 * them: every pair, or every group with a control. One-way layouts with a
 * common variance; groups may differ in size.
 */
#ifndef PERDRAW_STATS_CONTRAST_H
#define PERDRAW_STATS_CONTRAST_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>
#include <stdint.h>

/* Groups by their summaries: k means, sizes, and the pooled variance. */
typedef struct pd_layout {
	size_t k;
	const double *mean, *size; /* k each; size > 0                       */
	double variance, df;       /* within groups, > 0                     */
} pd_layout;

/*
 * e.value = mean of group `a` less mean of group `b`, e.se its standard error
 * sqrt(variance (1 / n_a + 1 / n_b)), e.low and e.high simultaneous at
 * e.level, e.p adjusted for the family (an interval excludes 0 exactly when
 * p < 1 - level). t = value / se.
 */
typedef struct pd_comparison {
	size_t a, b;
	double t;
	pd_estimate e;
} pd_comparison;

/*
 * All k (k - 1) / 2 pairs, a > b, ordered by a then b: half-width
 * q(level, k, df) / sqrt(2) * se and p = P(Q > sqrt(2) |t|), Q the studentized
 * range (range.h). Exact for equal sizes, a little wide otherwise (Hayter
 * 1984, Ann. Statist. 12, 61-75). *critical (NULL is welcome): q.
 * Source: Tukey (1953); Kramer (1956), Biometrics 12, 307-310.
 * PD_REFUSED: fewer than 2 groups, an empty group, no df or no variation
 * within; PD_DATA: level outside (0, 1), numbers not finite; PD_NUMERIC.
 */
pd_status pd_all_pairs_of(const pd_layout *layout, double level,
                          pd_comparison *out, double *critical, pd_error *err);

/*
 * The k - 1 groups other than `control` (in order) against it; half-width
 * c * se with c the point of the largest |T| (sides 2) or T (sides 1: only
 * "above the control"; high is INFINITY) at correlations from the sizes.
 * Source: Dunnett (1955), JASA 50, 1096-1121. Errors as above; PD_DATA for
 * sides or control out of range.
 */
pd_status pd_many_to_one_of(const pd_layout *layout, size_t control, int sides,
                            double level, pd_comparison *out, double *critical,
                            pd_error *err);

/* The same from results y[n] with group codes group[n] in 0 .. n_groups - 1.
 * PD_DATA: code out of range or y not finite (with the row); PD_NO_MEMORY. */
pd_status pd_all_pairs(const double *y, const int32_t *group, size_t n,
                       size_t n_groups, double level, pd_comparison *out,
                       double *critical, pd_error *err);
pd_status pd_many_to_one(const double *y, const int32_t *group, size_t n,
                         size_t n_groups, size_t control, int sides,
                         double level, pd_comparison *out, double *critical,
                         pd_error *err);

#endif
