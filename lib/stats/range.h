/*
 * range.h - laws of the largest of several comparisons that share one
 * estimate of spread: the studentized range (all pairs) and the largest of
 * many comparisons with one control.
 * Both are double integrals, worked out by the trapezoidal rule over analytic,
 * rapidly falling integrands with positive terms only: 12 digits in the
 * middle, 10 or more in the upper tail down to 1e-300. NaN outside the domain.
 */
#ifndef PERDRAW_STATS_RANGE_H
#define PERDRAW_STATS_RANGE_H

#include <stddef.h>

/*
 * Q = (max - min of k standard normals) / S, S^2 ~ chi-square(df) / df:
 *   P(Q <= q) = E_S k integral phi(z) [Phi(z) - Phi(z - q S)]^(k-1) dz.
 * 2 <= k <= 500, df >= 0.1 (INFINITY: S = 1). The lower tail loses digits
 * below q = 1e-3 (absolute error stays below 1e-14).
 * Source: Hartley (1942), Biometrika 32, 334-348; Harter (1960), Ann. Math.
 * Statist. 31, 1122-1147.
 */
double pd_range_cdf(double q, size_t k, double df);
double pd_range_upper(double q, size_t k, double df); /* P(Q > q) */
/* 0 <= p <= 1; p below 1e-12 or above 1 - 1e-15 is not kept to 10 digits. */
double pd_range_quantile(double p, size_t k, double df);

/*
 * T_i = (Z_i / S), i < k, with corr(Z_i, Z_j) = load[i] load[j]; a comparison
 * of group i (n_i) with the control (n_0) has load sqrt(n_i / (n_i + n_0)).
 * Chance that the largest T_i (sides 1) or |T_i| (sides 2) exceeds c:
 *   E_S integral phi(z) (1 - prod_i P(within | z, S)) dz,
 *   within: Z_i <= c S (sides 1) or |Z_i| <= c S,
 *   Z_i = load[i] z + sqrt(1 - load[i]^2) e_i.
 * 1 <= k <= 500, 0 <= load[i] <= 0.9999, df >= 0.1 (INFINITY: S = 1).
 * Source: Dunnett (1955), JASA 50, 1096-1121; (1964) Biometrics 20, 482-491.
 */
double pd_many_upper(double c, const double *load, size_t k, double df,
                     int sides);
/* c with pd_many_upper(c) = 1 - p, 0 < p < 1. */
double pd_many_quantile(double p, const double *load, size_t k, double df,
                        int sides);

#endif
