/*
 * noncentral.h - the noncentral t law: what Student's t becomes when there is
 * an effect. By own quadrature (quadrature.h).
 */
#ifndef PERDRAW_STATS_NONCENTRAL_H
#define PERDRAW_STATS_NONCENTRAL_H

/*
 * T = (Z + delta) / S, S^2 ~ chi-square(df) / df:
 *   P(T <= t) = E_S Phi(t S - delta),  P(T > t) = E_S Phi(delta - t S).
 * Terms are positive and summed outward from the largest, so both tails keep
 * 10 or more relative digits down to 1e-300. df >= 0.1 (INFINITY: normal),
 * |delta| <= 1e4; t may be infinite. NaN outside.
 * Source: Johnson, Kotz & Balakrishnan (1995), Continuous Univariate
 * Distributions 2, ch. 31.
 */
double pd_noncentral_t_cdf(double t, double df, double delta);
double pd_noncentral_t_upper(double t, double df, double delta);

/* t with P(T <= t) = p, 0 < p < 1, by bracketed search over the smaller tail;
 * NaN where no t within 1e150 has it. */
double pd_noncentral_t_quantile(double p, double df, double delta);

#endif
