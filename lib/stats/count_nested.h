/*
 * count_nested.h - regression of counts with two nested random intercepts.
 *
 *   ln mu_icj = x_icj' b + o_icj + s1 z_i + s2 w_ic,
 *   z_i, w_ic standard normal, i a patient, c a case or aliquot of it,
 *   Var(y | z, w) = mu  or  mu + mu^2 / theta (NB2),
 *
 * by maximum likelihood. The inner integrals are done by Gauss-Hermite nodes
 * about each one's mode for every node of the outer, which lie about the mode
 * of the joint integrand (adaptive nested quadrature: Pinheiro & Bates 1995,
 * J Comput Graph Stat 4, 12-35; one node at each level is Laplace's
 * approximation). Whole Poisson rows cost nothing more than their sum.
 */
#ifndef PERDRAW_STATS_COUNT_NESTED_H
#define PERDRAW_STATS_COUNT_NESTED_H

#include "stats/count.h"

#include <stdint.h>

typedef struct pd_count_nested_spec {
	pd_count_spec rows;
	const int32_t *outer; /* n codes >= 0, in any order                  */
	const int32_t *inner; /* n codes >= 0; the same code under another
	                         outer one is another inner group            */
	unsigned nodes;       /* at each level, 1: Laplace; 0: chosen so that
	                         the log-likelihood no longer changes        */
} pd_count_nested_spec;

typedef struct pd_count_nested_fit {
	size_t n, p, n_outer, n_inner, n_cut;
	double *beta;         /* p: effects for given groups                 */
	size_t n_free;        /* p, and 1 for each sd above 0, and 1 for
	                         ln theta where theta is finite              */
	double *covariance;   /* n_free square, observed information of beta
	                         [, ln sd_outer] [, ln sd_inner] [, ln theta] */
	double sd_outer, sd_inner; /* 0: at the boundary                     */
	double se_log_outer, se_log_inner; /* NaN where the sd is 0          */
	double theta, alpha;  /* INFINITY and 0: Poisson                     */
	double se_log_theta;  /* NaN where theta is INFINITY                 */
	double log_likelihood;       /* all constants kept                   */
	double log_likelihood_outer; /* sd_inner 0, the rest fitted anew     */
	double log_likelihood_inner; /* sd_outer 0, the rest fitted anew     */
	double log_likelihood_fixed; /* both 0                               */
	unsigned nodes;       /* used at each level                          */
	double node_change;   /* |change of the log-likelihood| with the next
	                         larger rule                                 */
	unsigned iterations;
	double newton_step;
} pd_count_nested_fit;

/*
 * Everything in *out lives in the arena. Refuses what pd_count_regression
 * does, and PD_REFUSED: fewer than 2 outer groups, no outer group with 2 inner
 * ones, no inner group of 2 rows (scatter of single rows is what `extra` is
 * for); PD_DATA: negative code, nodes above PD_COUNT_NESTED_NODES;
 * PD_NUMERIC: no convergence of the search or of the quadrature.
 */
enum { PD_COUNT_NESTED_NODES = 61 };
pd_status pd_count_nested(pd_arena *arena, const pd_count_nested_spec *spec,
                          pd_count_nested_fit *out, pd_error *err);

/*
 * The log-likelihood at beta[p], sds >= 0, theta (INFINITY: Poisson) with the
 * given nodes; gradient, unless NULL, of (beta, ln sd_outer, ln sd_inner,
 * ln theta where theta is finite). No search.
 */
pd_status pd_count_nested_likelihood(const pd_count_nested_spec *spec,
                                     const double *beta, double sd_outer,
                                     double sd_inner, double theta,
                                     unsigned nodes, double *value,
                                     double *gradient, pd_error *err);

/* c'beta, normal limits; as pd_count_contrast. */
pd_status pd_count_nested_contrast(const pd_count_nested_fit *fit,
                                   const double *c, double level,
                                   pd_estimate *out, pd_error *err);

/*
 * c'beta with Student's t limits, for few groups: as pd_count_mixed_small, the
 * sides tried in turn being rows (what rows of the same inner group say), inner
 * groups (what rows of the same outer group say beside, scatter of the inner
 * ones counted) and outer groups. With r1 and r2 the ranks of the first two,
 *   rows:  df = n - n_inner - r1,
 *   inner: df = n_inner - n_outer - (r2 - r1), variance times
 *          (n_inner - n_outer) / df,
 *   outer: df = n_outer - (p - r2), variance times n_outer / df.
 * Weights at the mean over groups, exp(x'b + o + (s1^2 + s2^2) / 2).
 */
typedef enum pd_nested_side {
	PD_NESTED_ROWS, PD_NESTED_INNER, PD_NESTED_OUTER
} pd_nested_side;
pd_status pd_count_nested_small(const pd_count_nested_spec *spec,
                                const pd_count_nested_fit *fit,
                                const double *c, double level,
                                pd_estimate *out, pd_nested_side *side,
                                pd_error *err);

/*
 * Profile likelihood limits of c'beta, of one sd (`outer` 0: the inner one) and
 * of alpha, as those of pd_count_mixed (count_mixed.h), with the number of
 * nodes of the fit (9 where an sd is 0).
 */
pd_status pd_count_nested_profile(const pd_count_nested_spec *spec,
                                  const pd_count_nested_fit *fit,
                                  const double *c, double level, double *low,
                                  double *high, pd_error *err);
pd_status pd_count_nested_sd_limits(const pd_count_nested_spec *spec,
                                    const pd_count_nested_fit *fit, int outer,
                                    double level, double *low, double *high,
                                    pd_error *err);
pd_status pd_count_nested_alpha_limits(const pd_count_nested_spec *spec,
                                       const pd_count_nested_fit *fit,
                                       double level, double *low,
                                       double *high, pd_error *err);

/* Likelihood ratio of sd_inner > 0 against 0 given the outer groups
 * (`outer` 0), or of sd_outer given the inner ones; p half the chi-square tail
 * (1 df), 1 where the sd is 0. */
void pd_count_nested_test(const pd_count_nested_fit *fit, int outer,
                          double *ratio, double *p);

#endif
