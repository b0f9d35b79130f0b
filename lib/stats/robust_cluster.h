/*
 * robust_cluster.h - covariance of coefficients that holds whatever the rows
 * of one cluster (patient) have to do with each other: the sandwich with
 * leverage-adjusted residuals (CR2), and small-sample t and F tests for it.
 *
 *   b = B X'W y,  B = (X'W X)^-1,   V_i working covariance of cluster i
 *   A_i = D_i' [D_i (I-H)_i V (I-H)_i' D_i']^(+1/2) D_i,  V_i = D_i'D_i
 *   cov b = B {sum over i of X_i'W_i A_i e_i e_i'A_i'W_i X_i} B
 * with H = X B X'W and ^+ a pseudo-inverse (of use where a column lives in one
 * cluster alone). Unbiased when the working covariance is right, consistent
 * in the number of clusters when it is not.
 * Contrast c'b: Student's t with Satterthwaite's df under the working model,
 *   K_ij = p_i'V p_j,  p_i = (I-H)_i'A_i'W_i X_i B c,
 *   df = (sum of K_ii)^2 / sum of K_ij^2.
 * Several rows C: F = (eta - q + 1) / (eta q) (Cb)'(C cov C')^-1 (Cb) on q and
 * eta - q + 1 df, eta from the total variance of the standardised covariance.
 * Source: Bell & McCaffrey (2002), Surv. Methodol. 28, 169-181; Pustejovsky &
 * Tipton (2018), J. Bus. Econ. Stat. 36, 672-683; Tipton & Pustejovsky (2015),
 * J. Educ. Behav. Stat. 40, 604-634 (the F test).
 */
#ifndef PERDRAW_STATS_ROBUST_CLUSTER_H
#define PERDRAW_STATS_ROBUST_CLUSTER_H

#include "stats/nested.h"

typedef struct pd_clustered_spec {
	size_t n, p;
	const double *x;       /* n*p row-major, full rank                    */
	const double *y;       /* n                                           */
	const double *weight;  /* n, W's diagonal, > 0; NULL: ones            */
	const double *variance; /* n, working variances, > 0; NULL: ones.
	                          1 / weight where weights are such           */
	const int32_t *cluster; /* n codes >= 0                               */
} pd_clustered_spec;

typedef struct pd_clustered pd_clustered;

/*
 * Least squares, weighted or not, rows of one cluster uncorrelated in the
 * working model. Arrays need not outlive the call. PD_DATA: not finite,
 * weight or variance not above 0, code below 0; PD_NUMERIC: columns not
 * independent (with the number); PD_REFUSED: a single cluster, no more rows
 * than columns, y explained exactly, a cluster of over 2,000 rows that differ
 * in weight or variance; PD_NO_MEMORY.
 */
pd_status pd_clustered_new(const pd_clustered_spec *spec, pd_clustered **out,
                           pd_error *err);
/*
 * The coefficients of a fitted nested model, its V the working covariance
 * (W = V^-1). cluster[n]: codes >= 0 that keep every outermost group whole;
 * NULL: the outermost groups. PD_USAGE: not fitted, or no levels; PD_DATA: a
 * group in two clusters. Does not need m afterwards.
 */
pd_status pd_clustered_nested(pd_nested *m, const int32_t *cluster,
                              pd_clustered **out, pd_error *err);
void pd_clustered_free(pd_clustered *c); /* NULL is welcome */

size_t pd_clustered_clusters(const pd_clustered *c);
/* Borrowed until free: beta[p], covariance[p*p], data units. */
const double *pd_clustered_beta(const pd_clustered *c);
const double *pd_clustered_covariance(const pd_clustered *c);

/*
 * c'b, c[p]; 0 < level < 1. PD_USAGE: c zero or not finite, level; PD_REFUSED:
 * one cluster alone knows (a part of) c'b, so nothing can be said of its
 * variance; PD_NUMERIC: weights so unlike that df drown in rounding, or df
 * next to 0.
 */
pd_status pd_clustered_contrast(const pd_clustered *r, const double *c,
                                double level, pd_estimate *out,
                                pd_error *err);
/* C b = 0, C rows*p row-major. PD_REFUSED also: too few clusters for so many
 * rows (no df left). scaling is (eta - q + 1) / eta. */
pd_status pd_clustered_f_test(const pd_clustered *r, const double *c,
                              size_t rows, pd_f_test *out, pd_error *err);

#endif
