/*
 * count_mixed.h - regression of counts with a random intercept.
 *
 *   ln mu_ij = x_ij' b + o_ij + sd z_i,   z_i standard normal, i a patient,
 *   Var(y | z) = mu  or  mu + mu^2 / theta (NB2),
 *
 * by maximum likelihood. The integral over z_i is done by Gauss-Hermite
 * nodes laid around the mode of each group's integrand and scaled by the
 * curvature there (Liu & Pierce 1994, Biometrika 81, 624-629; one node is
 * Laplace's approximation). The gradient is that of the approximated
 * likelihood itself: the mode and the scale move with the parameters.
 */
#ifndef PERDRAW_STATS_COUNT_MIXED_H
#define PERDRAW_STATS_COUNT_MIXED_H

#include "stats/count.h"

#include <stdint.h>

enum { PD_COUNT_MOST_NODES = 161 };

typedef struct pd_mixed_spec {
	pd_count_spec rows;
	const int32_t *group; /* n codes >= 0, in any order                  */
	unsigned nodes;       /* per group; 0: chosen so that the
	                         log-likelihood no longer changes            */
} pd_mixed_spec;

typedef struct pd_mixed_fit {
	size_t n, p, n_groups, n_cut;
	double *beta;         /* p: effects for a given patient              */
	size_t n_free;        /* p, and 1 for ln sd where sd is above 0, and
	                         1 for ln theta where theta is finite        */
	double *covariance;   /* n_free square, observed information of beta
	                         [, ln sd] [, ln theta]                      */
	double sd;            /* of the random intercept; 0: at the boundary */
	double se_log_sd;     /* NaN where sd is 0                           */
	double theta, alpha;  /* INFINITY and 0: Poisson                     */
	double se_log_theta;  /* NaN where theta is INFINITY                 */
	double log_likelihood;       /* all constants kept                   */
	double log_likelihood_fixed; /* sd 0, the rest fitted anew           */
	unsigned nodes;       /* used                                        */
	double node_change;   /* |change of the log-likelihood| with the next
	                         larger rule                                 */
	double *effect;       /* n_groups: sd z at the mode, by group in
	                         ascending order of code                     */
	int32_t *code;        /* n_groups: the codes                         */
	unsigned iterations;
	double newton_step;
} pd_mixed_fit;

/*
 * Everything in *out lives in the arena. Refuses what pd_count_regression
 * does, and: PD_REFUSED for fewer than 2 groups or no group of 2 rows (groups
 * cannot be told from rows); PD_DATA: negative group code,
 * nodes above PD_COUNT_MOST_NODES; PD_NUMERIC: no convergence of the search
 * or of the quadrature (the change left is named).
 */
pd_status pd_count_mixed(pd_arena *arena, const pd_mixed_spec *spec,
                         pd_mixed_fit *out, pd_error *err);

/* The same without a covariance, which costs as much as the search: covariance
 * NULL, the standard errors NaN. */
pd_status pd_count_mixed_top(pd_arena *arena, const pd_mixed_spec *spec,
                             pd_mixed_fit *out, pd_error *err);

/*
 * The log-likelihood at beta[p], sd >= 0, theta (INFINITY: Poisson) with the
 * given nodes; gradient, unless NULL, of (beta, ln sd, ln theta where theta is
 * finite). No search: tests ask "is this stationary?" and "is it higher?".
 */
pd_status pd_count_mixed_likelihood(const pd_mixed_spec *spec,
                                    const double *beta, double sd,
                                    double theta, unsigned nodes,
                                    double *value, double *gradient,
                                    pd_error *err);

/* c'beta, normal limits; as pd_count_contrast. */
pd_status pd_count_mixed_contrast(const pd_mixed_fit *fit, const double *c,
                                  double level, pd_estimate *out,
                                  pd_error *err);

/*
 * c'beta with limits for few groups: Student's t instead of the normal law.
 * What the rows of the same group say about c'beta by themselves has variance
 *   v = c' (sum w (x - m)(x - m)')^-1 c,  w = mu / (1 + mu / theta),
 * mu at the groups' modes, m the groups' means weighted by w. Where v is no
 * more than 1.21 times the fit's own variance (an error 10 % larger), the
 * contrast counts as within groups: df = n - groups - within columns. Else it
 * is between groups: df = groups - between columns, and the variance is
 * multiplied by groups / df, as the sd by maximum likelihood comes out too
 * small by about that. Within columns: the rank of the sum; between columns:
 * p less that. PD_REFUSED: no degree of freedom is left; else as
 * pd_count_mixed_contrast. docs/methods/count-mixed.md: how often they cover.
 */
typedef enum pd_mixed_side {
	PD_MIXED_WITHIN, PD_MIXED_BETWEEN
} pd_mixed_side;
pd_status pd_count_mixed_small(const pd_mixed_spec *spec,
                               const pd_mixed_fit *fit, const double *c,
                               double level, pd_estimate *out,
                               pd_mixed_side *side, pd_error *err);

/*
 * Profile likelihood limits, everything else fitted anew with the number of
 * nodes of the fit (15 where its sd is 0): where twice the loss of
 * log-likelihood is the chi-square quantile (1 df).
 * - of c'beta, c[p] not all 0;
 * - of the sd: *low 0 where sd 0 loses less;
 * - of alpha = 1 / theta, NB2: *low 0 where Poisson loses less.
 * INFINITY or -INFINITY where the likelihood stays above on that side. At the
 * ends sd 0 and alpha 0 the chi-square law is too wide, the limits cautious.
 * PD_USAGE: c is all 0, alpha of a Poisson model; PD_DATA: level; PD_NUMERIC.
 */
pd_status pd_count_mixed_profile(const pd_mixed_spec *spec,
                                 const pd_mixed_fit *fit, const double *c,
                                 double level, double *low, double *high,
                                 pd_error *err);
pd_status pd_count_mixed_sd_limits(const pd_mixed_spec *spec,
                                   const pd_mixed_fit *fit, double level,
                                   double *low, double *high, pd_error *err);
pd_status pd_count_mixed_alpha_limits(const pd_mixed_spec *spec,
                                      const pd_mixed_fit *fit, double level,
                                      double *low, double *high,
                                      pd_error *err);

/* Likelihood ratio of sd > 0 against sd = 0, p half the chi-square tail
 * (1 df), 1 where sd is 0. */
void pd_count_mixed_test(const pd_mixed_fit *fit, double *ratio, double *p);

#endif
