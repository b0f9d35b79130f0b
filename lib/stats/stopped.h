/*
 * stopped.h - what may be said once looking has ended: p, estimate and interval
 * that count the looks, by the stage-wise order of outcomes; and a p that may
 * be read at every look. Boundaries come from sequential.h, the letters too.
 */
#ifndef PERDRAW_STATS_STOPPED_H
#define PERDRAW_STATS_STOPPED_H

#include "base/estimate.h"
#include "base/status.h"
#include "stats/sequential.h"
#include <stddef.h>

/*
 * Looks at information t[0] < ... < t[k - 1], in units of 1 / se^2 of the
 * estimate; at looks 1 .. k - 1 Z stayed between low[j] and high[j] (limits may
 * be infinite; those of look k are not read), at look k it was z. Leaving
 * upward at an earlier look counts as higher than anything later, and at the
 * same look a larger Z as higher, so with theta the true effect
 *   H(theta) = sum_{j < k} P(leaves upward first at j)
 *              + P(reaches look k, Z_k >= z),
 *   p_above = H(0), p = 2 min(p_above, 1 - p_above),
 *   estimate where H = 1/2 (median-unbiased), limits where H = (1 - level) / 2
 *   and (1 + level) / 2; se that of the plain estimate, 1 / sqrt(t[k - 1]).
 * With k = 1 these are the plain test, estimate and interval. Fewer or more
 * looks afterwards would not have changed them. An interval excludes 0 exactly
 * when p < 1 - level.
 * Too little information at the end: as it is (boundaries with `last`). Results
 * that came in after the look that stopped: leave that look out and give the
 * final information and z as the last one (deletion: Whitehead 1992).
 * PD_DATA: level, z not finite, limits out of order; PD_REFUSED and others as
 * pd_sequential_chances; PD_NUMERIC: an estimate beyond 1000 drifts.
 * Source: Armitage (1957), Biometrika 44, 9-26; Tsiatis, Rosner & Mehta
 * (1984), Biometrics 40, 797-803; Whitehead (1992), Stat. Med. 11, 1109-1119.
 */
typedef struct pd_stopped {
	pd_estimate e;           /* p two-sided                               */
	double p_above;          /* one-sided, for an effect above 0          */
	double plain;            /* z / sqrt(t[k - 1]): biased after a stop   */
} pd_stopped;
pd_status pd_stopped_estimate(const double *t, const double *low,
                              const double *high, size_t k, double z,
                              double level, pd_stopped *out, pd_error *err);

/*
 * The smallest overall error at which the plan would have stopped at the k-th
 * look with |z| (z with one side): an a with boundary z_k(a) = |z|, times the
 * sides; 1 where even an error of a half a side would not have stopped, never
 * below 1e-15. It may be reported at every look; the smallest so far holds for
 * all of them. plan->alpha is not read. Errors as pd_sequential_bounds; PD_DATA
 * for z not finite.
 * Source: Jennison & Turnbull (1989), JRSS B 51, 305-361.
 */
pd_status pd_repeated_p(const pd_spending_plan *plan, const double *t,
                        size_t k, double planned, int last, double z,
                        double *p, pd_error *err);

#endif
