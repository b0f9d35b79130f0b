/*
 * propensity.h - the chance of being in one arm rather than the other, given
 * what was known beforehand: logistic regression
 *
 *   ln(e_i / (1 - e_i)) = x_i'beta,   arm_i = 1 with chance e_i
 *
 * by Newton steps on columns at right angles (basis.h), so that units and
 * large offsets of the columns cost no digits. What is done with the chances
 * belongs to weighting.h.
 */
#ifndef PERDRAW_STATS_PROPENSITY_H
#define PERDRAW_STATS_PROPENSITY_H

#include "base/status.h"
#include <stddef.h>
#include <stdint.h>

typedef struct pd_logistic_data {
	size_t n, p;
	const double *x;         /* n * p by rows, a column of ones first     */
	const int32_t *arm;      /* n, 1 or 0                                 */
	const char *const *name; /* p words for messages; NULL: "column 3"    */
} pd_logistic_data;

/*
 *   covariance      (X' diag(e (1 - e)) X)^-1, p * p; se its root diagonal
 *   chance, rest    e and 1 - e, n each; both to full relative precision
 *   q               columns at right angles that span those of x, n * p;
 *   q_covariance    (q' diag(e (1 - e)) q)^-1, p * p
 *   log_likelihood  sum over arm 1 of ln e + sum over arm 0 of ln(1 - e)
 */
typedef struct pd_logistic {
	size_t n, p, n_first; /* rows, columns, rows with arm = 1             */
	double *coef, *se, *covariance;
	double *chance, *rest;
	double *q, *q_covariance;
	double log_likelihood;
	unsigned iterations;
} pd_logistic;

/*
 * Fit. *out is the caller's to free (NULL after a failure).
 * PD_DATA: a value not finite (row and column named), an arm other than 0 and
 * 1. PD_REFUSED: all rows in one arm; p 0 or not below n; a column that adds
 * nothing to those before it (named); arms that are separated, in whole or in
 * part - a column, or a sum of columns, beyond whose value only one arm lies,
 * so that some coefficient runs to infinity: "perfectly separated by", with
 * the names. PD_NUMERIC: no convergence; PD_NO_MEMORY.
 *
 * Separation (Albert & Anderson 1984, Biometrika 71, 1-10): no highest point
 * exists exactly when some d has x_i'd >= 0 in arm 1 and <= 0 in arm 0, not
 * all 0. Newton's steps then run along such a d; each step is tested for it
 * once some |x_i'beta| passes 12.
 */
pd_status pd_logistic_fit(const pd_logistic_data *d, pd_logistic **out,
                          pd_error *err);
void pd_logistic_free(pd_logistic *f); /* NULL is welcome */

#endif
