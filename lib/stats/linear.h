/*
 * linear.h - least squares for y = X b + error, to the last digits the data
 * carry. The factorisation X = Q R (Householder) is made in numbers of about
 * 32 digits (twofold.h), the solution is refined once with its own residual.
 * What is left of error in coefficient j is about 1e-32 times the largest |y|
 * times root(unscaled_jj): nothing, in a double, for designs whose condition
 * number stays below 1e15 or so. What a column loses by being rounded to
 * double before it is handed in (x^10, say) no solver brings back: such
 * columns take a second part, and pd_polynomial makes powers that way.
 *
 * Sources: Golub (1965), Numerische Mathematik 7, 206-216; Bjorck (1967), BIT
 * 7, 257-278 (refinement).
 */
#ifndef PERDRAW_STATS_LINEAR_H
#define PERDRAW_STATS_LINEAR_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

/* One column of n numbers; the number in row i is value[i] + rest[i]. */
typedef struct pd_regressor {
	const char *name;    /* for messages                                  */
	const double *value; /* n                                             */
	const double *rest;  /* n, |rest| below an ulp of value; NULL: zeros  */
} pd_regressor;

typedef struct pd_linear_data {
	size_t n;                  /* rows                                    */
	const double *y;           /* n                                       */
	const double *weight;      /* n, >= 0, proportional to 1 / variance;
	                              NULL: all 1. Rows of weight 0 are not
	                              counted.                                */
	int intercept;             /* non-zero: a column of 1 stands first    */
	size_t n_columns;
	const pd_regressor *column;
} pd_linear_data;

/*
 * p = n_columns + (intercept ? 1 : 0) coefficients, the intercept first; m =
 * rows of weight above 0; w = weight.
 *   residual_ss   sum w (y - X b)^2, df m - p
 *   total_ss      sum w (y - mean)^2 with an intercept, sum w y^2 without
 *   regression_ss total_ss - residual_ss, summed on its own; df p - 1 or p
 *   r_squared     regression_ss / total_ss (0 where y does not vary)
 *   f             (regression_ss / its df) / (residual_ss / its df): INFINITY
 *                 for an exact fit, 0 when there is nothing but an intercept;
 *                 f_p its upper tail
 *   covariance    residual_sd^2 inv(X' W X), p x p; se its root diagonal
 *   unscaled      inv(X' W X), p x p
 *   residual      y - X b, n;  leverage: diagonal of the hat matrix, n
 *   condition     |R|_1 |inv R|_1 with the columns scaled to length 1
 */
typedef struct pd_linear_fit {
	size_t n, p, m;
	double *coef, *se;
	double *covariance, *unscaled;
	double *residual, *leverage;
	double residual_ss, residual_df, residual_sd;
	double total_ss, regression_ss, regression_df;
	double r_squared, f, f_p;
	double condition;
} pd_linear_fit;

/*
 * Fit. *out is the caller's to free (NULL after a failure).
 * PD_DATA: a value that is not finite, a weight below 0 (row and column are
 * named). PD_REFUSED: no more rows than coefficients; columns that are
 * combinations of those before them, each named with those it is made of. A
 * column counts as a combination when what it has of its own is no more than
 * rounding of the numbers in the combination explains (8 ulp of their sizes).
 * PD_NUMERIC: out of the range of doubles. PD_NO_MEMORY.
 */
pd_status pd_linear(const pd_linear_data *d, pd_linear_fit **out,
                    pd_error *err);
void pd_linear_free(pd_linear_fit *f); /* NULL is welcome */

/*
 * y on 1, x, ..., x^degree (x, ..., x^degree without intercept), the powers
 * good to 32 digits; degree at least 1 and below 64 (PD_DATA otherwise).
 */
pd_status pd_polynomial(const double *x, const double *y, size_t n,
                        size_t degree, int intercept, pd_linear_fit **out,
                        pd_error *err);

/*
 * c' b for c[p]: se = sqrt(c' covariance c), limits by Student's t at `level`
 * on residual_df, p against 0 (exact fit: p 0, or 1 where c' b is 0).
 */
pd_estimate pd_linear_contrast(const pd_linear_fit *f, const double *c,
                               double level);

#endif
