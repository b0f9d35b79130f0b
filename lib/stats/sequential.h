/*
 * sequential.h - several looks at growing data with one overall error.
 * Looks are at information t[0] < t[1] < ... (1 / se^2 of the estimate, in any
 * unit); under the usual theory the standardised estimates Z_k are jointly
 * normal with corr(Z_j, Z_k) = sqrt(t_j / t_k) and mean theta sqrt(t_k).
 * Probabilities come from recursive integration of the density of
 * X_k = Z_k sqrt(t_k), whose steps are independent, over the region where the
 * trial goes on (Armitage, McPherson & Rowe 1969, JRSS A 132, 235-244), by
 * Gauss and Legendre's rule on panels of 16 nodes no wider than 3 standard
 * deviations of the next or last step: 9 or more digits.
 */
#ifndef PERDRAW_STATS_SEQUENTIAL_H
#define PERDRAW_STATS_SEQUENTIAL_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

/* How the error is spent as information grows from 0 to 1; a = alpha. */
typedef enum pd_spending {
	PD_SPEND_OBRIEN_FLEMING, /* 2 - 2 Phi(z(1 - a / 2) / sqrt(t))         */
	PD_SPEND_POCOCK,         /* a ln(1 + (e - 1) t)                       */
	PD_SPEND_POWER           /* a t^power                                 */
} pd_spending;

/* Source: Lan & DeMets (1983), Biometrika 70, 659-663; power family: Kim &
 * DeMets (1987), Biometrika 74, 149-154. */
typedef struct pd_spending_plan {
	pd_spending spending;
	double power;   /* of the power family, > 0; ignored otherwise        */
	double alpha;   /* on each side, 0 < alpha < 0.5                      */
	int sides;      /* 1: upper boundary alone; 2: symmetrical, each side
	                   spends alpha                                       */
} pd_spending_plan;

/* Error spent on a side by information fraction t; all of it from 1 on, 0 up
 * to 0. NaN for a plan or t outside its domain. */
double pd_spent(const pd_spending_plan *plan, double t);

/*
 * Upper boundaries z[k] (the lower one is -z with 2 sides) for k looks at
 * information t[k]; fractions are t / planned. A look at or past the planned
 * information spends what is left; `last` non-zero makes the last look do so
 * wherever it falls. z is INFINITY where the look has nothing to spend (an
 * increment below 1e-30). Later looks do not change earlier boundaries.
 * PD_DATA: plan outside its domain, t not positive and rising, or a look after
 * one that spent everything; PD_REFUSED: more than 200 looks or information
 * growing by less than a ten-thousandth; PD_NO_MEMORY; PD_NUMERIC.
 */
pd_status pd_sequential_bounds(const pd_spending_plan *plan, const double *t,
                               size_t k, double planned, int last, double *z,
                               pd_error *err);

/*
 * The same where the share of the error is not told by information: fraction[k]
 * of each look (of the planned looks, or of calendar time; Lan & DeMets 1989,
 * Stat. Med. 8, 1191-1198), information only giving the correlations. PD_DATA
 * also for a fraction that is NaN; the rest as above.
 */
pd_status pd_sequential_shares(const pd_spending_plan *plan, const double *t,
                               const double *fraction, size_t k, double *z,
                               pd_error *err);

/*
 * Chance that Z first leaves low[j] .. high[j] upward (above[j]) or downward
 * (below[j]) at look j, when the mean of Z at the last look is `drift`
 * (theta sqrt(t[k - 1])). Limits may be infinite; either output may be NULL.
 * Errors as above, PD_DATA also for low >= high at a look but the last.
 */
pd_status pd_sequential_chances(const double *t, const double *low,
                                const double *high, size_t k, double drift,
                                double *above, double *below, pd_error *err);

/*
 * The drift at which the boundaries `high` (and low) are crossed upward with
 * chance `power`. The information a trial needs, over that of one with a
 * single look at the same alpha, is (drift / (z(1 - alpha) + z(power)))^2.
 * PD_REFUSED unless the chance at drift 0 < power < 1.
 */
pd_status pd_sequential_drift(const double *t, const double *low,
                              const double *high, size_t k, double power,
                              double *drift, pd_error *err);

/*
 * Classical two-sided boundaries |Z_j| > c (t_j / t_K)^(shape - 1/2) with
 * overall error alpha: shape 1/2 is Pocock's (1977, Biometrika 64, 191-199),
 * 0 O'Brien & Fleming's (1979, Biometrics 35, 549-556), between them Wang &
 * Tsiatis (1987, Biometrics 43, 193-199). -0.5 <= shape <= 1.
 */
pd_status pd_classical_constant(const double *t, size_t k, double shape,
                                double alpha, double *c, pd_error *err);

/*
 * Interval for the estimate at a look with boundary z: value -+ z se, which
 * holds at all looks together with chance 1 - 2 alpha (2 sides). p is NaN: the
 * nominal one does not count the looks. NaN throughout for z or se <= 0.
 * Source: Jennison & Turnbull (1989), JRSS B 51, 305-361.
 */
pd_estimate pd_repeated_interval(double value, double se, double z,
                                 double level);

#endif
