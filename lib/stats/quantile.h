/*
 * quantile.h - distribution functions and their quantiles.
 * Quantiles are found by bracketed search over the forward function and
 * checked by going back (the library's inverse functions return NaN inside our
 * range). All return NaN for arguments outside their domain.
 */
#ifndef PERDRAW_STATS_QUANTILE_H
#define PERDRAW_STATS_QUANTILE_H

#include <stddef.h>

double pd_normal_cdf(double x);
double pd_normal_upper(double x);
double pd_normal_quantile(double p);
/* To 1e-14 of its size and at a fifth of the cost: for random numbers. */
double pd_normal_quantile_near(double p);
/* Student's t, df > 0 (INFINITY: normal). upper: P(T > t). */
double pd_t_cdf(double t, double df);
double pd_t_upper(double t, double df);
double pd_t_two_sided(double t, double df);
double pd_t_quantile(double p, double df);
double pd_f_upper(double f, double df1, double df2);
double pd_f_quantile(double p, double df1, double df2);
double pd_chisq_upper(double x, double df);
double pd_chisq_quantile(double p, double df);
double pd_beta_quantile(double p, double a, double b);
double pd_gamma_quantile(double p, double shape, double scale);

/* Exact limits, level in (0,1). Poisson: count events at exposure > 0
 * (Garwood 1936). Binomial: k of n (Clopper & Pearson 1934). */
void pd_poisson_limits(double count, double exposure, double level,
                       double *low, double *high);
void pd_binomial_limits(double k, double n, double level, double *low,
                        double *high);
/*
 * Ratio of two Poisson rates x/e1 over y/e2, conditional on x+y: limits from
 * Clopper-Pearson of x in x+y, two-sided exact p doubling the smaller tail.
 */
typedef struct pd_two_counts {
	double ratio, low, high, p;
} pd_two_counts;
pd_two_counts pd_compare_two_counts(double x, double e1, double y, double e2,
                                    double level);
#endif
