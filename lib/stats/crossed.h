/*
 * crossed.h - the linear mixed model with a tree of groups and, across it,
 * factors whose levels meet many groups (operators, lots of a reagent).
 *
 *   y = X b + sum over levels k of Z_k u_k + sum over factors j of W_j c_j + e
 *   u_k as in nested.h; c_j normal, variance s^2 t_j each level, t_j =
 *   theta_j^2; W_j the indicator columns of factor j's levels; e normal,
 *   variance s^2; all independent.
 *
 * The tree may have no level: crossed factors alone. It is eliminated first,
 * the factors are a dense border finished by one Cholesky step. With w = p + 1,
 * t the levels of factors one outermost group touches and rc the levels of all
 * factors, one deviance with gradient and Hessian costs
 *   O(groups * (w + t)^2 + rc^3 * (variances of the tree + 3)):
 * some milliseconds for rc of 50, a tenth of a second for 300.
 * Source: Henderson's mixed model equations, see docs/methods/crossed.md.
 */
#ifndef PERDRAW_STATS_CROSSED_H
#define PERDRAW_STATS_CROSSED_H

#include "stats/nested.h"
#include "stats/nested_profile.h"

enum { PD_CROSSED_FACTORS = 4 };

typedef struct pd_crossed_spec {
	pd_nested_spec tree;   /* rows, X, y, ml; depth 0: factors alone     */
	size_t n_factors;      /* 1 .. 4; with the tree's levels at most 6   */
	const int32_t *factor[PD_CROSSED_FACTORS]; /* n codes >= 0 each      */
} pd_crossed_spec;

typedef struct pd_crossed pd_crossed; /* opaque */

/*
 * spec arrays are copied: they need not outlive the call. What the tree
 * refuses is refused as by pd_nested_new. PD_USAGE: number of factors, codes
 * missing. PD_DATA: a code below 0. PD_REFUSED, naming the factor by its
 * number: a single level; one row a level; more than 2000 levels in all; the
 * groups of a level of the tree or of an earlier factor; no part that the
 * fixed columns do not explain (the fixed column is named when it is one).
 */
pd_status pd_crossed_new(const pd_crossed_spec *spec, pd_crossed **out,
                         pd_error *err);
void pd_crossed_free(pd_crossed *c); /* NULL is welcome */

/* theta: the tree's as in nested.h, then one for each factor. */
size_t pd_crossed_n_theta(const pd_crossed *c);
/* Profiled deviance (-2 log-likelihood, all constants) at theta[n_theta], no
 * search; gradient[n_theta] unless NULL. INFINITY where it has no value. */
double pd_crossed_deviance(pd_crossed *c, const double *theta,
                           double *gradient);

/* Search, as pd_nested_fit: exact Hessian, variances at the boundary exactly
 * 0. Up to 1000 rows, and where the first search fails, from several starts:
 * the lowest stands. PD_NUMERIC with words when the data do not tell the
 * variances apart, or the effects follow every row. */
pd_status pd_crossed_fit(pd_crossed *c, pd_error *err);

/* Borrowed until free; defined after a fit. beta[p], covariance[p*p] (not
 * Kenward-Roger adjusted), theta[n_theta]. */
const pd_nested_fit_record *pd_crossed_record(const pd_crossed *c);
const double *pd_crossed_beta(const pd_crossed *c);
const double *pd_crossed_covariance(const pd_crossed *c);
const double *pd_crossed_theta(const pd_crossed *c);
double pd_crossed_residual_sd(const pd_crossed *c);
size_t pd_crossed_rows(const pd_crossed *c);
size_t pd_crossed_groups(const pd_crossed *c, size_t level);
size_t pd_crossed_factor_levels(const pd_crossed *c, size_t factor);
/* q_k*q_k covariance of a level of the tree, data units. */
void pd_crossed_level_covariance(const pd_crossed *c, size_t level,
                                 double *out);
/* Variance of a factor's effects, data units; 0 when no such factor. */
double pd_crossed_factor_variance(const pd_crossed *c, size_t factor);

/* As pd_nested_contrast and pd_nested_f_test; the factors' variances are among
 * the parameters that degrees of freedom account for. */
pd_status pd_crossed_contrast(pd_crossed *c, const double *contrast,
                              double level, pd_df_method method,
                              pd_estimate *out, pd_error *err);
pd_status pd_crossed_f_test(pd_crossed *c, const double *contrasts,
                            size_t rows, pd_df_method method, pd_f_test *out,
                            pd_error *err);

/*
 * Profile limits, as in nested_profile.h. at: a level of the tree, then the
 * factors (at = depth of the tree + factor, column 0), then the residual (at =
 * depth + n_factors, column 0).
 */
pd_status pd_crossed_profile_contrast(pd_crossed *c, const double *contrast,
                                      double level, pd_profile *out,
                                      pd_error *err);
pd_status pd_crossed_profile_test(pd_crossed *c, const double *contrast,
                                  double x, double *rise, double *p,
                                  pd_error *err);
pd_status pd_crossed_profile_sd(pd_crossed *c, size_t at, size_t column,
                                bool reml, double level, pd_profile *out,
                                pd_error *err);

/*
 * Conditional means (best linear unbiased predictions) with their variances,
 * variance parameters taken as known:
 *   mean = T Z'V^-1 (y - X b)
 *   variance = s^2 (T - T Z'V^-1 Z T), of the effect given y and b;
 *   with_fixed: + s^2 (T Z'V^-1 X)(X'V^-1 X)^-1(T Z'V^-1 X)', of the error of
 *   prediction, b being estimated too.
 * Of a level of the tree: mean[groups*q], variance[groups*q*q] or NULL; of a
 * factor: mean[levels], variance[levels] or NULL; in order of code, data
 * units. PD_USAGE: not fitted, no such level or factor.
 */
pd_status pd_crossed_conditional(pd_crossed *c, size_t level, bool with_fixed,
                                 double *mean, double *variance,
                                 pd_error *err);
pd_status pd_crossed_factor_conditional(pd_crossed *c, size_t factor,
                                        bool with_fixed, double *mean,
                                        double *variance, pd_error *err);
/* residual[n], conditional: y - X b - Z u - W c. */
pd_status pd_crossed_residuals(pd_crossed *c, double *residual, pd_error *err);

#endif
