/*
 * control.h - has a process moved away from its baseline? Charts of single
 * values x[n] in time order (for marrow draws: residuals of cases, adjusted
 * for what is known), their constants and how long they run between signals.
 * Shifts, k, h and limits L are in units of sigma. The run lengths hold for
 * independent normal values with centre and sigma known: with both estimated
 * from a short baseline false signals come more often.
 * All: PD_DATA for values not finite or arguments out of range, PD_REFUSED
 * where said, PD_NO_MEMORY, PD_NUMERIC.
 */
#ifndef PERDRAW_STATS_CONTROL_H
#define PERDRAW_STATS_CONTROL_H

#include "base/status.h"
#include <stddef.h>

/*
 * Normal theory of n values, 2 <= n <= 100: d2 and d3 mean and sd of the range
 * over sigma, by Gauss-Legendre integration of
 *   d2 = int 1 - F^n - (1 - F)^n dx
 *   d2^2 + d3^2 = 2 int int_{x < y} 1 - F(y)^n - (1 - F(x))^n
 *                                   + (F(y) - F(x))^n dy dx
 * (Tippett 1925, Biometrika 17, 364-387); c4 the mean of the sd over sigma.
 * Factors of the charts' limits at three sigma, named as the trade has them.
 */
typedef struct pd_control_factors {
	double d2, d3, c4;
	double a2;               /* 3 / (d2 sqrt(n))                          */
	double d3_low, d4_high;  /* trade: D3, D4: max(0, 1 -+ 3 d3 / d2)     */
	double e2;               /* 3 / d2                                    */
} pd_control_factors;
pd_status pd_control_factors_of(size_t n, pd_control_factors *out,
                                pd_error *err);

/*
 * Individuals and moving range (Shewhart 1931): from the first n_base values
 * centre = mean, sigma = mean |x_i - x_{i-1}| / d2(2), limits centre -+ 3
 * sigma, limit of the moving range mean (1 + 3 d3 / d2). n_beyond: values of
 * all n outside their limits. PD_REFUSED for n_base < 2 or > n or no movement.
 */
typedef struct pd_control_single {
	double centre, sigma, low, high;
	double range_mean, range_high;
	size_t n_beyond;
} pd_control_single;
pd_status pd_control_individuals(const double *x, size_t n, size_t n_base,
                                 pd_control_single *out, pd_error *err);

/*
 * Exponentially weighted average z_i = lambda x_i + (1 - lambda) z_{i-1}, z_0 =
 * centre; limits centre -+ half_i, half_i = L sigma sqrt(lambda / (2 - lambda)
 * (1 - (1 - lambda)^(2 i)))  (Roberts 1959, Technometrics 1, 239-250).
 * z[n] and half[n] are filled; *first: the first row (from 1) beyond its
 * limits, 0 if none. 0 < lambda <= 1, L > 0, sigma > 0.
 */
pd_status pd_control_average(const double *x, size_t n, double centre,
                             double sigma, double lambda, double limit,
                             double *z, double *half, size_t *first,
                             pd_error *err);

/*
 * Cumulative sums of s = (x - centre) / sigma: up_i = max(0, up + s - k),
 * down_i = max(0, down - s - k), a signal when either is above h; not set back
 * after one (Page 1954, Biometrika 41, 100-115). up[n], down[n] are filled;
 * *first as above. k >= 0, h > 0, sigma > 0.
 */
pd_status pd_control_sums(const double *x, size_t n, double centre,
                          double sigma, double k, double h, double *up,
                          double *down, size_t *first, pd_error *err);

/*
 * Mean number of values until a signal, after the mean has moved by `shift`
 * sigma, chart started at its centre: Fredholm's integral equation of the
 * second kind by Gauss-Legendre nodes, doubled until the answer moves by less
 * than 1e-9 + 1e-13 run of itself. Cumulative sums: Goel & Wu 1971,
 * Technometrics 13, 221-230; average with its fixed limits
 * L sqrt(lambda / (2 - lambda)): Crowder 1987, Technometrics 29, 401-407.
 * *both (may be NULL): 1 / (1 / upper + 1 / lower), with that of the lower sum.
 * PD_NUMERIC when it does not settle or is above 1e8.
 * 0 <= k <= 5, 0 < h <= 50; 0.01 <= lambda <= 1, 0 < L <= 6; |shift| <= 10.
 */
pd_status pd_control_sums_run(double k, double h, double shift, double *upper,
                              double *both, pd_error *err);
pd_status pd_control_average_run(double lambda, double limit, double shift,
                                 double *run, pd_error *err);

/*
 * The h (two-sided) or L that gives `run` values, 2 <= run <= 1e5, between
 * false signals. PD_NUMERIC when none in the ranges above does.
 */
pd_status pd_control_sums_design(double k, double run, double *h,
                                 pd_error *err);
pd_status pd_control_average_design(double lambda, double run, double *limit,
                                    pd_error *err);

#endif
