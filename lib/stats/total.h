/*
 * total.h - the total of several pulls from one new patient: how a sum of
 * correlated log-normal yields scatters, when the model that gives them was
 * itself estimated.
 *
 * Pull k of a case yields exp(y_k),
 *   y_k = x_k'b + c + s_side(k) + t_site(k) + e_k,
 * c, s, t, e normal with the law's standard deviations, one c a case, one s a
 * side, one t a site, one e a pull, and T = sum over the pulls of exp(y_k).
 *
 * What the estimate does not know enters by one factor W a draw:
 *   b = beta + W L z,  L L' = covariance,  W = sqrt(df / chi-square(df)),
 * and c, s, t, e are multiplied by the same W. One y_k is then
 *   x'beta + sqrt(x'C x + v) t_df,   v = sum of the four variances,
 * Student's predictive law, exact for one mean and one variance; several y_k
 * follow a multivariate t. One df for all variances is an approximation: give
 * the df of the one that counts most, the case's (its patients less the
 * columns that differ between them).
 *
 * Common random numbers: draw r uses streams 4 r .. 4 r + 3 of the seed for W,
 * b and the case, the sides, the sites, the pulls, so that the same side, site
 * and slot meet the same number in every layout and whatever else is asked.
 * Source: Student's predictive law: Geisser (1993), Predictive Inference, from
 * memory; the sum has no closed form and is drawn.
 */
#ifndef PERDRAW_STATS_TOTAL_H
#define PERDRAW_STATS_TOTAL_H

#include "base/status.h"
#include <stdint.h>

typedef struct pd_total_law {
	size_t p, n_rows;
	const double *x;          /* n_rows * p: rows that pulls refer to      */
	const double *beta;       /* p, log scale                              */
	const double *covariance; /* p * p, of beta                            */
	double case_sd, side_sd, site_sd, pull_sd; /* >= 0, log scale          */
	double df;                /* > 0; INFINITY: W = 1                      */
} pd_total_law;

typedef struct pd_total_pull {
	size_t row;               /* of the law's x                            */
	size_t side, site, slot;  /* which s, t and e it has                   */
} pd_total_pull;

typedef struct pd_total_layout {
	size_t n;
	const pd_total_pull *pull;
} pd_total_layout;

enum { PD_TOTAL_PLACES = 4096 }; /* side, site and slot stay below it */

/*
 * out[l * draws + r]: total of layout l in draw r. PD_DATA: a row out of
 * range, a place beyond PD_TOTAL_PLACES, not finite; PD_USAGE: no draws, no
 * layout, df or an SD out of range; PD_NUMERIC: the covariance has a negative
 * direction, or a total beyond the doubles; PD_NO_MEMORY.
 */
pd_status pd_total_draw(const pd_total_law *law, const pd_total_layout *layout,
                        size_t n_layouts, size_t draws, uint64_t seed,
                        double *out, pd_error *err);

/*
 * How well the estimates know the chance P(T >= target) of each layout: in
 * every of `outer` draws of W and b the chance is the share of `inner` cases
 * (the same numbers for all of them and all layouts) at the target or above;
 * low, high: the quantiles (1 -+ level) / 2 of these chances; mean: their
 * mean, the predictive chance that pd_total_draw gives but for the error of
 * the inner cases, which all three share. out[n_layouts]. Errors as there.
 */
typedef struct pd_total_share {
	double mean, low, high;
} pd_total_share;
pd_status pd_total_chance(const pd_total_law *law,
                          const pd_total_layout *layout, size_t n_layouts,
                          double target, size_t outer, size_t inner,
                          uint64_t seed, double level,
                          pd_total_share *out, pd_error *err);

/* E T at beta and the four SDs: sum of exp(x_k'beta + v / 2). */
double pd_total_mean(const pd_total_law *law, const pd_total_layout *layout);

/*
 * Quantile q, 0 <= q <= 1, of x[n] ascending, n >= 1: linear between the order
 * statistics at 1 + (n - 1) q. se: its Monte Carlo standard error, half the
 * distance between the order statistics one binomial standard deviation,
 * sqrt(n q (1 - q)), below and above; NULL: not wanted.
 */
double pd_total_quantile(const double *x, size_t n, double q, double *se);
/* Ascending, in place. */
void pd_total_sort(double *x, size_t n);

#endif
