/*
 * nonlinear.h - least squares for y = m(theta) + error with a model given by
 * its values and its gradient. A trust region search (GSL's, several rules of
 * the region one after another until two agree) is followed by Gauss-Newton
 * steps solved with the 32-digit factors of linear.h, until the parameters
 * stand still.
 *
 * Convergence is the relative offset of Bates and Watts (1981), Technometrics
 * 23, 179-183: the residual's part in the tangent plane against the part
 * outside, each by its df, at most 1e-6; or parameters moving by less than
 * 1e-10 of their size (models that fit to rounding).
 */
#ifndef PERDRAW_STATS_NONLINEAR_H
#define PERDRAW_STATS_NONLINEAR_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

/*
 * Values at theta into value[n]; unless gradient is NULL, d value[i] / d
 * theta[j] into gradient[i * p + j]. 0: done; anything else (or a value that
 * is not finite): theta is outside the model's domain.
 */
typedef int pd_curve_model(const double *theta, void *context, double *value,
                           double *gradient);

typedef struct pd_nonlinear_data {
	size_t n, p;
	const double *y;         /* n                                         */
	pd_curve_model *model;
	void *context;
	const char *const *name; /* p names of parameters, for messages       */
} pd_nonlinear_data;

/*
 * theta, se (p); covariance p x p = residual_sd^2 inv(J'J), J the gradient at
 * theta; residual (n); residual_sd^2 = residual_ss / residual_df, df = n - p.
 * offset: the relative offset where the search ended.
 */
typedef struct pd_nonlinear_fit {
	size_t n, p;
	double *theta, *se, *covariance, *residual;
	double residual_ss, residual_df, residual_sd, offset;
} pd_nonlinear_fit;

/*
 * Fit from start[p]. *out is the caller's to free (NULL after a failure).
 * PD_DATA: an outcome or start that is not finite, or a start outside the
 * model's domain. PD_REFUSED: no more rows than parameters, or parameters that
 * the data cannot tell apart at the end (named). PD_NUMERIC: no convergence.
 * A search finds the lowest valley it meets, not surely the lowest there is:
 * compare fits from several starts.
 */
pd_status pd_nonlinear(const pd_nonlinear_data *d, const double *start,
                       pd_nonlinear_fit **out, pd_error *err);
void pd_nonlinear_free(pd_nonlinear_fit *f); /* NULL is welcome */

/* theta[j] with Student t limits theta +- t se on residual_df; p against 0. */
pd_estimate pd_nonlinear_wald(const pd_nonlinear_fit *f, size_t j,
                              double level);

/*
 * theta[j] with profile limits: the values v at which the least residual sum
 * of squares over the other parameters is
 *   residual_ss (1 + F(level; 1, df) / df),
 * the nearest on either side. An end the data do not close is -INFINITY or
 * INFINITY. se and p as in pd_nonlinear_wald. Source: Bates and Watts,
 * Nonlinear Regression Analysis, 1988, 6.1 (from memory).
 * PD_NUMERIC when a fit on the way does not converge.
 */
pd_status pd_nonlinear_profile(const pd_nonlinear_data *d,
                               const pd_nonlinear_fit *f, size_t j,
                               double level, pd_estimate *out, pd_error *err);

#endif
