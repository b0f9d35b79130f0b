/*
 * pool.h - one answer from several studies (or sites, or batches), each with
 * its own estimate and the variance of that estimate, taken as known.
 *   y_i = x_i' beta + u_i + e_i,  var(u_i) = tau2,  var(e_i) = v_i
 *   w_i = 1 / (v_i + tau2),  beta = (X'WX)^-1 X'Wy,  cov = (X'WX)^-1
 * A pool is the regression on a column of ones. Shapes: y[n], v[n] (unit of y
 * squared), x[n * p] by rows. For ratios y is a difference of logs.
 */
#ifndef PERDRAW_STATS_POOL_H
#define PERDRAW_STATS_POOL_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

/*
 * How tau2 is found; Q(t) = sum w r^2 at tau2 = t, P = W - WX(X'WX)^-1 X'W.
 *   COMMON        0: one true value shared by all
 *   MOMENTS       (Q(0) - (n - p)) / tr P(0)
 *                 (DerSimonian & Laird 1986, Control. Clin. Trials 7, 177-188)
 *   REML, ML      the highest point of the (restricted) likelihood, found by
 *                 every change of sign of its slope (Harville 1977, JASA 72,
 *                 320-338)
 *   MATCHED       Q(tau2) = n - p (Paule & Mandel 1982, J. Res. NBS 87,
 *                 377-385); the empirical Bayes estimate of Morris (1983, JASA
 *                 78, 47-55) is the same
 *   UNWEIGHTED    (RSS - sum v_i (1 - h_i)) / (n - p), ordinary residuals and
 *                 leverages (Hedges & Olkin 1985)
 *   TWO_STEP      t0 Q(t0) / (n - p), t0 = sum (y - mean)^2 / n
 *                 (Sidik & Jonkman 2005, Appl. Stat. 54, 367-384); never 0
 *   WEIGHTED      (Q(0) - n) / sum 1 / v_i  (Hunter & Schmidt 1990)
 * A negative value becomes 0.
 */
typedef enum pd_pool_way {
	PD_POOL_COMMON, PD_POOL_MOMENTS, PD_POOL_REML, PD_POOL_ML,
	PD_POOL_MATCHED, PD_POOL_UNWEIGHTED, PD_POOL_TWO_STEP, PD_POOL_WEIGHTED
} pd_pool_way;

/* What a fit says beside its coefficients. */
typedef struct pd_spread {
	double tau2;
	double q, q_df, q_p;     /* Q(0) = sum r^2 / v, df n - p, chi-square  */
	double i2, h2;           /* 100 tau2 / (tau2 + s2), 1 + tau2 / s2,    */
	                         /* s2 = (n - p) / tr P(0)                    */
	double scale;            /* sum w r^2 / (n - p) at tau2               */
	double loglik;           /* at tau2; restricted unless the way is ML  */
} pd_spread;

/*
 * `normal` uses se = sqrt(cov) and the normal law; `knapp` se times
 * sqrt(scale) and t on n - p df (Hartung & Knapp 2001, Stat. Med. 20,
 * 3875-3889; not cut at 1, so it can be the narrower one: see scale; NaN when
 * all residuals are 0, for an interval of width 0 would claim certainty).
 * The prediction limits are those of a further study's true value,
 *   mu -+ q sqrt(se^2 + tau2), q and se of the interval they stand beside.
 */
typedef struct pd_pool {
	size_t n;
	pd_spread spread;
	pd_estimate normal, knapp;
	double predict_low, predict_high;             /* beside normal */
	double knapp_predict_low, knapp_predict_high; /* beside knapp  */
} pd_pool;

/*
 * Errors: PD_DATA for values not finite, v <= 0 or a level outside (0, 1);
 * PD_REFUSED for fewer than 2 studies; PD_NO_MEMORY; PD_NUMERIC.
 */
pd_status pd_pool_fit(const double *y, const double *v, size_t n,
                      pd_pool_way way, double level, pd_pool *out,
                      pd_error *err);

/*
 * Regression of the studies' values on x[n * p] (first column usually ones).
 * normal[p] and knapp[p] are filled when not NULL. *q_model is the Wald
 * statistic of all coefficients but the first, chi-square on p - 1 df (0 for
 * p = 1). PD_REFUSED also when n <= p or a column depends on those before it
 * (its number named, from 1).
 */
pd_status pd_pool_regress(const double *y, const double *v, const double *x,
                          size_t n, size_t p, pd_pool_way way, double level,
                          pd_estimate *normal, pd_estimate *knapp,
                          double *q_model, pd_spread *out, pd_error *err);

/*
 * Limits of tau2: the t with Q(t) at the chi-square quantiles of n - 1 df
 * (Viechtbauer 2007, Stat. Med. 26, 37-52); 0 where Q(0) is below one.
 */
pd_status pd_pool_spread_limits(const double *y, const double *v, size_t n,
                                double level, double *low, double *high,
                                pd_error *err);

#endif
