/*
 * joint.h - the largest of several correlated comparisons, whatever their
 * correlation: simultaneous limits and adjusted chances of any set of
 * contrasts. (range.h does all pairs and many to one in balanced layouts, to
 * more digits.)
 *
 *   T_i = Z_i / S, i < k, Z normal with mean 0, variance 1 and correlation R,
 *   df S^2 ~ chi-square(df), independent of Z; df INFINITY: S = 1.
 *   M = max |T_i| (sides 2) or max T_i (sides 1)
 *
 * R = L L' with the largest variance left taken first; R may be singular (all
 * pairs of four groups: six comparisons, rank three). The comparisons that
 * depend on the first j variables alone bound the j-th, so P(M > c) becomes
 * an integral over the unit cube of r - 1 (+ 1 for S) dimensions, r the rank.
 * It is a mean over a lattice of points folded at 1/2, under 10 shifts drawn
 * from a fixed seed: the same input gives the same digits. Their spread gives
 * the error; the lattice grows (4,093 to 262,139 points) until it will do.
 * Sources: Genz (1992), J. Comp. Graph. Stat. 1, 141-149; Genz & Bretz (2002),
 * same 11, 950-971; lattices by Nuyens & Cools (2006), Math. Comp. 75, 903-920.
 */
#ifndef PERDRAW_STATS_JOINT_H
#define PERDRAW_STATS_JOINT_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

enum { PD_JOINT_MOST = 500 };

typedef struct pd_joint pd_joint; /* a law: R taken apart, S tabulated */

/*
 * k comparisons, 1 to 500; covariance[k*k] row-major of which only the
 * correlation counts; df >= 0.1; sides 1 or 2. The caller frees *out.
 * PD_USAGE: k, df or sides out of range. PD_DATA: not finite, not symmetric,
 * or no covariance (a negative eigenvalue beyond rounding). PD_REFUSED: a
 * comparison without variance. PD_NO_MEMORY.
 */
pd_status pd_joint_new(const double *covariance, size_t k, double df,
                       int sides, pd_joint **out, pd_error *err);
void pd_joint_free(pd_joint *j); /* NULL is welcome */

typedef struct pd_joint_value {
	double value;
	double error;  /* half a 99 % interval from the shifts, absolute; 0
	                  where the value is exact (one comparison)          */
	double points; /* evaluations spent                                  */
} pd_joint_value;

/*
 * P(M > c), error at most `tolerance` (0: 1e-5, 5e-5 for more than ten
 * comparisons) or what the largest lattice leaves. Held between the chance of
 * one comparison and k times that. PD_USAGE: c is NaN or, on two sides, below
 * 0; tolerance below 0.
 */
pd_status pd_joint_upper(const pd_joint *j, double c, double tolerance,
                         pd_joint_value *out, pd_error *err);

/*
 * c with P(M <= c) = p, 0 < p < 1 (PD_USAGE otherwise): the root on a lattice
 * whose chance is good to `tolerance` (0: as above); value, and error on the
 * scale of c. PD_NUMERIC: no root.
 */
pd_status pd_joint_quantile(const pd_joint *j, double p, double tolerance,
                            pd_joint_value *out, pd_error *err);

/*
 * Simultaneous limits of k estimates value[k] with covariance[k*k] on df:
 * out[i].low, high = value -+ c se (sides 1: high is INFINITY), p adjusted:
 * P(M > |t_i|) (sides 1: t_i) to 1e-5 (5e-5) or a five-hundredth of itself,
 * se, df, level. *critical (NULL is welcome): c with its error. An interval
 * excludes 0 when its p is below 1 - level, but for the error. PD_DATA: a
 * value is not finite. PD_USAGE: level outside 0 to 1. Others as above.
 */
pd_status pd_joint_limits(const double *value, const double *covariance,
                          size_t k, double df, int sides, double level,
                          pd_estimate *out, pd_joint_value *critical,
                          pd_error *err);

#endif
