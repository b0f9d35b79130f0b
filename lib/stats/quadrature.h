/*
 * quadrature.h - the three integrations the distribution rooms rest on: a
 * probability given the estimated spread, averaged over that spread; nodes
 * and weights of Gauss and Legendre; a bracketed root.
 */
#ifndef PERDRAW_STATS_QUADRATURE_H
#define PERDRAW_STATS_QUADRATURE_H

#include <stddef.h>

/* A function of one number and of what it was given besides. */
typedef double pd_function(double x, const void *with);

/*
 * E f(S), S = sqrt(chi-square(df) / df), f bounded and >= 0. With u = ln s and
 * b = df / 2 the weight is
 *   g(u) = 2 b^b exp(-b) / Gamma(b) exp(b (2 u - (exp(2 u) - 1))),
 * summed by the trapezoidal rule, whose error falls exponentially for such
 * integrands, outward from u = ln(mode) until the terms no longer count: all
 * terms are positive, so a small result keeps its digits. `mode` > 0 is about
 * where g f is largest; `steepness` is the largest squared slope of f's own
 * rise on the u scale (0 where f is smooth), which makes the step finer.
 * df >= 0.02; INFINITY or above 1e16: f(1). NaN for df below 0.02.
 * Source: Trefethen & Weideman (2014), SIAM Review 56, 385-458.
 */
double pd_over_scale(pd_function *f, const void *with, double df, double mode,
                     double steepness);

/*
 * ln of the density of S at s > 0, 0 < df < INFINITY:
 *   ln(2 b^b exp(-b) / Gamma(b)) + (df - 1) ln s - b (s^2 - 1).
 */
double pd_scale_log_density(double s, double df);

/* Nodes x[n] (ascending) and weights w[n] on (-1, 1), n >= 1: roots of the
 * Legendre polynomial by Newton's method; exact for degree 2 n - 1. */
void pd_legendre(size_t n, double *x, double *w);

/*
 * A root of f between low and high: bisection made faster by inverse
 * quadratic steps (Chandrupatla 1997, Adv. Eng. Software 28, 145-149), until
 * the bracket is within 4 ulp or `tolerance` (absolute) wide. NaN when f has
 * the same sign at both ends or is NaN somewhere.
 */
double pd_root(pd_function *f, const void *with, double low, double high,
               double tolerance);

/* Phi(high) - Phi(low) without cancellation in either tail; 0 if high < low. */
double pd_normal_between(double low, double high);

#endif
