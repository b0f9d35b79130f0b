/*
 * robust.h - linear regression that a few wild rows cannot carry away:
 * M-estimation by repeated weighted least squares.
 *
 *   scale   s = median |residual| / 0.6745, anew in every round
 *   Huber     weight(u) = min(1, 1.345 / |u|),            u = residual / s
 *   bisquare  weight(u) = (1 - (u / 4.685)^2)^2, 0 where |u| >= 4.685
 *
 * started from least squares and repeated until the coefficients stand still.
 * With psi(u) = u weight(u), n rows and p coefficients, the covariance is
 *
 *   K^2 [sum (s psi(u))^2 / (n - p)] / m^2 inv(X'X),   m = mean psi'(u),
 *   K = 1 + (p / n) var(psi'(u)) / m^2
 *
 * (var with n - 1). Both tuning constants give 95 % efficiency for a normal
 * law. Sources: Huber, Robust Statistics, 1981, 7.6; Beaton and Tukey (1974),
 * Technometrics 16, 147-185.
 */
#ifndef PERDRAW_STATS_ROBUST_H
#define PERDRAW_STATS_ROBUST_H

#include "stats/linear.h"

typedef enum pd_robust_rule { PD_HUBER, PD_BISQUARE } pd_robust_rule;

/* coef, se (p), covariance (p x p), residual and weight (n); df = n - p;
 * rejected: rows of weight 0. */
typedef struct pd_robust_fit {
	size_t n, p, rejected;
	double *coef, *se, *covariance, *residual, *weight;
	double scale, df;
} pd_robust_fit;

/*
 * Fit; d->weight must be NULL (PD_DATA). *out is the caller's to free (NULL
 * after a failure). Errors of pd_linear; PD_REFUSED also when half the rows or
 * more lie on the fit, so that the scale is 0, or when the rows the bisquare
 * keeps cannot tell the columns apart; PD_NUMERIC without convergence (the
 * bisquare has several solutions and may walk between two).
 */
pd_status pd_robust(const pd_linear_data *d, pd_robust_rule rule,
                    pd_robust_fit **out, pd_error *err);
void pd_robust_free(pd_robust_fit *f); /* NULL is welcome */

#endif
