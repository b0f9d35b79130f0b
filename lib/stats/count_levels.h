/*
 * count_levels.h - the likelihood of counts with two nested random intercepts.
 * Not for callers outside the count rooms.
 *
 * Of one outer group (a patient), c its inner groups, L_c(a) the inner
 * integral at shift a (count_unit.h), s1 and s2 the sds:
 *   L = ln sum_k w_k exp(x_k^2 + sum_c L_c(s1 z_k) - z_k^2/2 - ln(2 pi)/2)
 *       + ln r,   z_k = z + r x_k,   r = sqrt(2 / H).
 * z and the inner modes w_c are those of the joint integrand, H the curvature
 * that is left to z once each w_c follows: with A, -B, C the sums of l', l'',
 * l''' at the joint mode and D = 1 + s2^2 B,
 *   s2 A = w,   s1 sum_c A = z,   H = 1 + s1^2 sum_c B / D.
 * One node in each place is Laplace's approximation at the joint mode. For a
 * parameter b, with A_b, B_b at fixed predictors and T = s1_b z + 2 s2_b w +
 * s2^2 A_b, the rule moves by
 *   dz = [s1_b sum A + s1 sum (A_b - B T / D)] / H,
 *   dB = B_b - C (T + s1 dz) / D,
 *   dH = 2 s1 s1_b sum B / D + s1^2 sum (dB - 2 s2 s2_b B^2) / D^2.
 */
#ifndef PERDRAW_STATS_COUNT_LEVELS_H
#define PERDRAW_STATS_COUNT_LEVELS_H

#include "stats/count_groups.h"
#include "stats/count_nested.h"

/* One inner group at the joint mode. */
typedef struct pd_count_inner {
	pd_count_unit unit;
	pd_count_one one;
	int summed;
	size_t first, n;       /* its rows                                   */
	pd_count_sums a;
	double d;              /* D                                          */
	double *weight;        /* of its rows (one of a sum)                 */
	double *node_weight;
	double *ee, *eee;      /* of its rows at the mode                    */
} pd_count_inner;

typedef struct pd_count_levels {
	pd_count_groups g;     /* by inner group, those of an outer together;
	                          free_theta: ln theta is parameter p + 2;
	                          exact: Hessian with the rule in use, not a
	                          small one                                  */
	size_t n_outer;
	size_t *first;         /* n_outer + 1: inner groups of outer group k */
	int32_t *outer_code;   /* n_outer, ascending                         */
	double *outer_mode;    /* n_outer                                    */
	pd_count_rule small;
	const pd_count_rule *rule;
	/* Scratch: */
	pd_count_inner *inner; /* most inner groups of an outer one          */
	double *linear, *mean, *weight, *node_weight, *ee, *eee; /* n        */
	double *low, *high, *moved; /* p + 3                                 */
} pd_count_levels;

pd_status pd_count_levels_new(pd_arena *arena,
                              const pd_count_nested_spec *spec,
                              const double *q, pd_count_levels *out,
                              pd_error *err);
/* pd_newton_function over (coefficients of q, ln s1, ln s2[, ln theta]). The
 * gradient is that of the approximation; the Hessian by central differences
 * of the gradient, of a 3-node rule unless `exact`. */
void pd_count_levels_likelihood(void *with, const double *par, double *value,
                                double *gradient, double *hessian);

#endif
