/*
 * power.h - how likely a trial is to find what is there, and how large it must
 * be. Exact for normal data: noncentral t for a difference, the joint law of
 * mean and spread for equivalence. On the log scale differences are ln ratios.
 * Choosing the true effect and the margin belongs to the plan, not here.
 */
#ifndef PERDRAW_STATS_POWER_H
#define PERDRAW_STATS_POWER_H

#include "base/status.h"

typedef enum pd_trial_kind {
	PD_TRIAL_PAIRS,    /* n pairs; sd of one within-patient difference:
	                      se = sd / sqrt(n), df = n - 1                  */
	PD_TRIAL_GROUPS,   /* n in each of two groups; sd of one result:
	                      se = sd sqrt(2 / n), df = 2 n - 2              */
	PD_TRIAL_CROSSOVER /* n in all (even), two periods in two orders; sd
	                      of one result within a patient:
	                      se = sd sqrt(2 / n), df = n - 2                */
} pd_trial_kind;

typedef struct pd_trial {
	pd_trial_kind kind;
	double effect;    /* true difference                                 */
	double sd;        /* > 0, same unit; see above                       */
	double alpha;     /* level of the test (of each of the two one-sided
	                     tests for equivalence), 0 < alpha < 0.5         */
	int sides;        /* of the t test: 2, or 1: claims only above `null`*/
	double null;      /* t test: the difference tested against (0; the
	                     margin for non-inferiority)                     */
	double low, high; /* equivalence: limits, low < high                 */
} pd_trial;

/*
 * Power of the t test at size n: with delta = (effect - null) / se,
 *   P(T > t) + P(T < -t), t = t(1 - alpha / 2, df)   (sides 2)
 *   P(T > t),             t = t(1 - alpha, df)       (sides 1)
 * T noncentral t. n at least 2 (crossover 4), need not be whole. NaN for
 * arguments outside their domain or |delta| > 1e4.
 */
double pd_power_t(const pd_trial *trial, double n);

/*
 * Power of two one-sided t tests: chance that the 1 - 2 alpha interval lies
 * inside low .. high. Given S = s / sd with df S^2 ~ chi-square(df),
 *   P(S) = Phi(b - t S) - Phi(a + t S) while positive,
 *   a = (low - effect) / se, b = (high - effect) / se, t = t(1 - alpha, df),
 * integrated over S by Gauss and Legendre's rule on 48 panels of 16 nodes.
 * Source: Owen (1965), Biometrika 52, 437-446; Phillips (1990), J.
 * Pharmacokinet. Biopharm. 18, 137-144.
 */
double pd_power_equivalence(const pd_trial *trial, double n);

typedef struct pd_trial_size {
	double n, power;               /* smallest size with enough power    */
	double n_before, power_before; /* the size before it; NaN at the
	                                  smallest possible trial            */
} pd_trial_size;

/*
 * Smallest size (even for a crossover) with at least `power`. PD_REFUSED, with
 * the reason, where no size gives it: power not between alpha and 1, the true
 * difference at (or on the wrong side of) what is tested, the true difference
 * not inside the limits, or more than 10 million needed. PD_DATA for numbers
 * outside their domain.
 */
pd_status pd_size_t(const pd_trial *trial, double power, pd_trial_size *out,
                    pd_error *err);
pd_status pd_size_equivalence(const pd_trial *trial, double power,
                              pd_trial_size *out, pd_error *err);

/*
 * The smallest distance of the true difference from `null` that the t test of
 * size n finds with the given power (trial->effect is ignored). Exact, unlike
 * pd_detectable. PD_REFUSED when power is not between alpha and 1.
 */
pd_status pd_power_detectable(const pd_trial *trial, double n, double power,
                              double *distance, pd_error *err);

#endif
