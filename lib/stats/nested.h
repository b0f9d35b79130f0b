/*
 * nested.h - the linear mixed model with random effects down a tree.
 *
 *   y = X b + sum over levels k of Z_k u_k + e,   e normal, covariance s^2 I
 *   u_k normal, covariance s^2 T_k, independent between the nodes of level k,
 *   T_k = L_k L_k', L_k lower triangular with elements theta (relative
 *   Cholesky factor), blocks of q_k = 1..3 columns (intercept, slopes).
 *
 * The nodes of level k+1 lie inside nodes of level k (patient > case > side >
 * site). From per-leaf cross-products of [Z X y], made once in one pass over
 * the rows, the random effects are eliminated recursively from the leaves up;
 * one evaluation of the profiled deviance and its analytic gradient costs
 * O(leaves * p^2) and forms no n x n matrix.
 */
#ifndef PERDRAW_STATS_NESTED_H
#define PERDRAW_STATS_NESTED_H

#include "base/estimate.h"
#include "base/status.h"
#include <stdbool.h>
#include <stdint.h>

enum { PD_NESTED_LEVELS = 6, PD_NESTED_BLOCK = 3 };

typedef struct pd_nested_spec {
	size_t n, p;         /* rows; fixed columns (full rank)           */
	const double *x;     /* n * p row-major                           */
	const double *y;     /* n, finite                                 */
	size_t depth;        /* levels, outermost first; 0: least squares */
	const int32_t *group[PD_NESTED_LEVELS]; /* n codes >= 0 each      */
	size_t n_random[PD_NESTED_LEVELS]; /* q_k: 0 is read as 1         */
	const double *z[PD_NESTED_LEVELS]; /* n * q_k row-major; NULL: 1s */
	bool ml;             /* maximum likelihood instead of REML        */
} pd_nested_spec;

typedef struct pd_nested pd_nested; /* opaque: cross-products and factors */

typedef enum pd_df_method {
	PD_KENWARD_ROGER, PD_SATTERTHWAITE, PD_NORMAL
} pd_df_method;

/*
 * spec arrays are copied or consumed: they need not outlive the call.
 * PD_DATA: groups do not nest, non-finite value; PD_NUMERIC: rank deficient
 * (message names the column number). PD_REFUSED (message names the level):
 * no more rows than columns, y explained exactly, a level of one group, a
 * level with one row a group or with the groups of the level above. The
 * caller leaves such a level out.
 */
pd_status pd_nested_new(const pd_nested_spec *spec, pd_nested **out,
                        pd_error *err);
void pd_nested_free(pd_nested *m);

/* theta: level by level, each L column by column from its diagonal down
 * (L11 L21 L31 L22 L32 L33). */
size_t pd_nested_n_theta(const pd_nested *m);
/*
 * Profiled REML (or ML) deviance, -2 log-likelihood with all constants, at
 * theta[n_theta]; gradient[n_theta] is filled unless NULL. No search, no
 * change of the fitted state: tests ask "is this stationary?".
 */
double pd_nested_deviance(pd_nested *m, const double *theta, double *gradient);

/* Search; on PD_OK the parts below are defined. Variances at the boundary
 * come out exactly 0. Stationary to a relative Newton step <= 1e-8.
 * PD_NUMERIC: no convergence (with the gradient left), variances the data
 * cannot tell apart, residual variance below 1e-8 of a level's. */
pd_status pd_nested_fit(pd_nested *m, pd_error *err);

typedef struct pd_nested_fit_record {
	double deviance, log_likelihood;
	unsigned evaluations, iterations;
	double newton_step;  /* largest relative Newton step left         */
	double gradient;     /* largest |gradient| over free theta        */
	size_t n_at_zero;    /* variances estimated as exactly 0          */
} pd_nested_fit_record;
const pd_nested_fit_record *pd_nested_record(const pd_nested *m);

/* Borrowed until free. beta[p]; covariance[p*p] = s^2 (X'V^-1 X)^-1 (not
 * Kenward-Roger adjusted). */
const double *pd_nested_beta(const pd_nested *m);
const double *pd_nested_covariance(const pd_nested *m);
double pd_nested_residual_sd(const pd_nested *m);
size_t pd_nested_rows(const pd_nested *m);
size_t pd_nested_groups(const pd_nested *m, size_t level);
/* Covariance matrix of level's random effects, q_k * q_k, data units. */
void pd_nested_level_covariance(const pd_nested *m, size_t level, double *out);
const double *pd_nested_theta(const pd_nested *m);

/*
 * Contrast c'b with interval. c[p]; level 0 < level < 1.
 * Kenward-Roger (1997) adjusted covariance and df, components at the boundary
 * removed first (the choice is documented); Satterthwaite; or normal.
 * PD_USAGE: not fitted, c zero, Kenward-Roger after a maximum likelihood fit.
 */
pd_status pd_nested_contrast(pd_nested *m, const double *c, double level,
                             pd_df_method method, pd_estimate *out,
                             pd_error *err);
/* Wald F test of C b = 0, C rows*p row-major. Kenward-Roger scaled F. */
typedef struct pd_f_test {
	double f, df1, df2, p, scaling;
} pd_f_test;
pd_status pd_nested_f_test(pd_nested *m, const double *c, size_t rows,
                           pd_df_method method, pd_f_test *out, pd_error *err);

/* Conditional means of the random effects of a level: out[groups * q_k], in
 * order of code; residuals[n] conditional (y - Xb - Zu), data units. */
pd_status pd_nested_conditional(pd_nested *m, size_t level, double *out,
                                pd_error *err);
pd_status pd_nested_residuals(pd_nested *m, double *residual, pd_error *err);
/* Variances of the conditional means, out[groups * q_k * q_k], data units:
 * s^2 (T - T Z'V^-1 Z T) of the effects given y and b; with_fixed: of the
 * error of prediction, + s^2 (T Z'V^-1 X)(X'V^-1 X)^-1(T Z'V^-1 X)', b being
 * estimated too. Variance parameters are taken as known. */
pd_status pd_nested_conditional_variance(pd_nested *m, size_t level,
                                         bool with_fixed, double *out,
                                         pd_error *err);

#endif
