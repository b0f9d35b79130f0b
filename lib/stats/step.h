/*
 * step.h - did the level of a series change once, when, and by how much?
 *   x_i = level + step [i > after] + e_i,  e exchangeable
 * x[n] in the order of time; for marrow draws residuals of cases adjusted for
 * what is known, logs for a ratio. Slow drifts belong to series.h, and a
 * change at a known time to a model with a column for it.
 */
#ifndef PERDRAW_STATS_STEP_H
#define PERDRAW_STATS_STEP_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>
#include <stdint.h>

/*
 * Least squares: with S_k = sum_{i <= k} (x_i - mean), the sum of squares a
 * step after row k explains is R_k = S_k^2 n / (k (n - k)); `after` is the k
 * from edge to n - edge with the largest (Hinkley 1970, Biometrika 57, 1-17;
 * the first of equal ones).
 *   p      of that largest R when there is no step: share of `draws` random
 *          orders of x with as large a one, (1 + hits) / (1 + draws)
 *   set    the k that the data do not exclude: with the order drawn anew on
 *          each side of k (which leaves R_k as it is), the largest R less R_k
 *          is as large as observed in a share p_k of (1 + draws), itself
 *          counted; k is in the set when p_k > 1 - level. By construction it
 *          holds the true k with at least `level` when values on each side
 *          are exchangeable. p_k goes into p_row[k - 1] (p_row[n], NULL: not
 *          wanted; NaN where k is within the edges).
 *   step   mean after less mean before, pooled sd, t on n - 2 df: AS IF the
 *          time had been known. The largest of many, so its interval is too
 *          narrow and its value too far from 0.
 *   low, high  limits of the step with the time unknown: the hull of the
 *          intervals at 1 - a/2 for every k of the set at 1 - a/2, a = 1 -
 *          level. Holds the true step with at least `level` (Bonferroni).
 *   lag_one  correlation of neighbours in what is left, about each side's own
 *          mean; lag_p two-sided by lag_one sqrt(n), normal law. When it is
 *          above 0 values are not exchangeable: p is too small, the set and
 *          the intervals too narrow, about by `stretch` = sqrt((1 + r) /
 *          (1 - r)), 1 for r <= 0.
 * Draw d of row k (p: row 0) uses stream k draws + d of the seed: the same
 * bytes each time. Work grows with n^2 draws.
 */
typedef struct pd_step {
	size_t n, after;          /* rows of the first level                  */
	double explained;         /* R / sum (x - mean)^2, 0 to 1             */
	double p;
	size_t n_set, set_first, set_last;
	double mean_before, mean_after, sd;
	pd_estimate step;
	double low, high, level;
	double lag_one, lag_p, stretch;
} pd_step;

typedef struct pd_step_search {
	size_t edge;              /* least rows on each side, 2 or more       */
	size_t draws;             /* 0: 999                                   */
	uint64_t seed;
	double level;
} pd_step_search;

/*
 * PD_DATA: a value not finite, level outside (0, 1), edge below 2; draws too
 * few for the level ((1 - level) / 2 (1 + draws) < 1) or above 1e6.
 * PD_REFUSED: n below 2 edge + 2 or above 1,000, no variation, or none within
 * the two levels. PD_NO_MEMORY.
 */
pd_status pd_step_find(const double *x, size_t n, const pd_step_search *how,
                       double *p_row, pd_step *out, pd_error *err);

#endif
