/*
 * censored_mixed.h - regression of values partly known only by limits, with a
 * random intercept.
 *
 *   y_ij = x_ij'b + sd z_i + scale e_ij,   z_i and e_ij standard normal, i a
 *   patient; y the value or its natural logarithm,
 *
 * rows as in censored.h. The integral over z_i is done by Gauss-Hermite nodes
 * laid around the mode of each group's integrand (Liu & Pierce 1994,
 * Biometrika 81, 624-629), more of them until the log-likelihood stands still,
 * at last by evenly spaced points (censored_groups.h).
 *
 * Where no more than a third of the rows lie below or above a limit, and `ml`
 * is not asked for, scale and sd maximise the adjusted profile likelihood
 *   l(b^, scale, sd) - ln|J_bb| / 2,   b^ the best b for this scale and sd,
 * J_bb the observed information of b there (Cox & Reid 1987, JRSS B 49, 1-39):
 * with exact rows only this is restricted maximum likelihood (REML), and with
 * some beyond limits it takes most of the bias off scale and sd in the same
 * way. With many it overshoots or has no top: maximum likelihood then, and
 * `adjusted` of the answer says which it was.
 */
#ifndef PERDRAW_STATS_CENSORED_MIXED_H
#define PERDRAW_STATS_CENSORED_MIXED_H

#include "stats/censored.h"

#include <stdint.h>

typedef struct pd_censored_mixed_spec {
	pd_censored_spec rows;
	const int32_t *group; /* n codes >= 0, in any order                  */
	bool ml;              /* maximum likelihood whatever the rows        */
} pd_censored_mixed_spec;

typedef struct pd_censored_mixed_fit {
	size_t n, p, n_groups;
	size_t n_exact, n_below, n_above, n_between;
	double *beta;        /* p, on the log scale where `log`              */
	double scale, sd;    /* within, between groups; sd 0: at the boundary */
	double se_log_scale, se_log_sd; /* se_log_sd NaN where sd is 0       */
	size_t n_free;       /* p + 1, and 1 for ln sd where sd is above 0   */
	double *covariance;  /* n_free square: b, ln scale [, ln sd]         */
	double *fixed;       /* p*p: J_bb^-1, scale and sd taken as known    */
	double *fixed_slope; /* (n_free - p) of p*p: slopes of J_bb^-1 by
	                        ln scale [, ln sd]                           */
	bool adjusted;         /* scale and sd by the adjusted profile       */
	double log_likelihood; /* at the estimates above; of y as measured:
	                          with -ln y for each exact row where `log`  */
	double criterion;      /* what was maximised: with -ln|J_bb| / 2 +
	                          p ln(2 pi) / 2 where `adjusted`            */
	double ml_log_likelihood, ml_sd;    /* of the maximum likelihood fit */
	double log_likelihood_fixed;        /* sd 0, the rest fitted anew    */
	unsigned nodes;        /* of the rule, in the group with most        */
	bool even;             /* evenly spaced points, not Hermite's nodes  */
	double node_change;    /* |change of the log-likelihood| with the next
	                          larger rule                                */
	double *effect;        /* n_groups: sd z at the mode, by group in
	                          ascending order of code                    */
	int32_t *code;         /* n_groups                                   */
	unsigned iterations;
	double newton_step;
} pd_censored_mixed_fit;

/*
 * Everything in *out lives in the arena. Refuses what pd_censored_regression
 * does, and: PD_REFUSED for fewer than 2 groups or no group of 2 rows (groups
 * cannot be told from rows); PD_DATA: negative group code; PD_NUMERIC: no
 * convergence of the search or of the quadrature (the change left is named).
 */
pd_status pd_censored_mixed(pd_arena *arena, const pd_censored_mixed_spec *spec,
                            pd_censored_mixed_fit *out, pd_error *err);

/*
 * The log-likelihood at b[p], scale > 0, sd >= 0 with the given nodes (1 to
 * 161, 1 is Laplace's approximation; 0: evenly spaced points, as good as
 * exact); gradient, unless NULL, of (b, ln scale, ln sd), p + 2 numbers, of the
 * exact likelihood by the same rule. No search.
 * PD_DATA: scale, sd, nodes or a row; PD_NUMERIC: not to be computed there.
 */
pd_status pd_censored_mixed_likelihood(const pd_censored_mixed_spec *spec,
                                       const double *beta, double scale,
                                       double sd, unsigned nodes,
                                       double *value, double *gradient,
                                       pd_error *err);

/*
 * c'b with Student t limits; variance v = c'(covariance of b)c. With f(psi) =
 * c'J_bb^-1 c, psi = (ln scale, ln sd), g its slopes and V the covariance of
 * psi from the curvature of what was maximised,
 *   df = 2 f^2 / (g'V g)   (Satterthwaite's form; Giesbrecht & Burns 1985,
 *                           Biometrics 41, 477-486),
 * with exact rows only the Satterthwaite df of the mixed model. PD_USAGE: c is
 * all 0; PD_DATA: level; PD_NUMERIC: no interval.
 */
pd_status pd_censored_mixed_contrast(const pd_censored_mixed_fit *fit,
                                     const double *c, double level,
                                     pd_estimate *out, pd_error *err);

/* Likelihood ratio of sd > 0 against sd = 0, of the maximum likelihood fits;
 * p half the chi-square tail (1 df), 1 where that sd is 0. */
void pd_censored_mixed_test(const pd_censored_mixed_fit *fit, double *ratio,
                            double *p);

#endif
