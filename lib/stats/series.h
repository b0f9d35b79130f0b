/*
 * series.h - values in the order of time: how far each follows the one
 * before, and whether they drift. No missing values; equal steps except where
 * times are given.
 */
#ifndef PERDRAW_STATS_SERIES_H
#define PERDRAW_STATS_SERIES_H

#include "base/status.h"
#include <stddef.h>

/*
 * Autocorrelations at lags 1 .. lags into acf[lags]:
 *   r_k = sum_{i <= n-k} (x_i - m)(x_{i+k} - m) / sum (x_i - m)^2,
 * m the mean of all. Partial ones into pacf[lags] (NULL: not wanted) by the
 * recursion of Durbin (1960) and Levinson (1947):
 *   f_11 = r_1,  f_kk = (r_k - sum_j f_{k-1,j} r_{k-j}) /
 *                       (1 - sum_j f_{k-1,j} r_j),
 *   f_kj = f_{k-1,j} - f_kk f_{k-1,k-j}.
 * PD_DATA: a value not finite, lags 0 or n and more; PD_REFUSED: no variation;
 * PD_NUMERIC: a denominator of the recursion is 0.
 */
pd_status pd_autocorrelation(const double *x, size_t n, size_t lags,
                             double *acf, double *pacf, pd_error *err);

/*
 * Test that the first `lags` autocorrelations are 0; chi-square with `lags`
 * df. Ljung and Box (1978), Biometrika 65, 297-303:
 *   n (n + 2) sum r_k^2 / (n - k);
 * Box and Pierce (1970), JASA 65, 1509-1526: n sum r_k^2.
 * Errors of pd_autocorrelation.
 */
typedef struct pd_portmanteau {
	double ljung_box, ljung_box_p, box_pierce, box_pierce_p;
} pd_portmanteau;
pd_status pd_portmanteau_test(const double *x, size_t n, size_t lags,
                              pd_portmanteau *out, pd_error *err);

/* sum (e_{i+1} - e_i)^2 / sum e_i^2, 0 to 4, near 2 without autocorrelation
 * (Durbin and Watson 1950); NaN where all e are 0 or n < 2. */
double pd_durbin_watson(const double *e, size_t n);

/*
 * Mann-Kendall test of a drift and the slope of Theil and Sen, at times t[n]
 * (NULL: 1, 2, ... n).
 *   s     sum over pairs with t_i < t_j of sign(x_j - x_i)
 *   var_s [n(n-1)(2n+5) - sum g(g-1)(2g+5)] / 18 over the tie groups of x
 *   z     (s - sign(s)) / sqrt(var_s); p two-sided, normal law
 *   tau_b s / sqrt(P (P - T)), P = n(n-1)/2, T = sum g(g-1)/2
 *   slope median over pairs of (x_j - x_i) / (t_j - t_i)
 *   low, high: limits of the slope at `level`, the ordered pair slopes at
 *         places (P -+ z sqrt(var_s)) / 2, moved outward to whole places
 * Sources: Mann (1945), Econometrica 13, 245-259; Kendall, Rank Correlation
 * Methods; Theil (1950); Sen (1968), JASA 63, 1379-1389.
 * PD_DATA: a value not finite, times not strictly ascending, level outside 0
 * to 1; PD_REFUSED: n < 3, n above 8,000 (all pairs are held), or all x equal;
 * PD_NUMERIC: a slope out of the range of doubles.
 */
typedef struct pd_drift {
	double s, var_s, z, p, tau_b;
	double slope, low, high, level;
} pd_drift;
pd_status pd_drift_test(const double *x, const double *t, size_t n,
                        double level, pd_drift *out, pd_error *err);

#endif
