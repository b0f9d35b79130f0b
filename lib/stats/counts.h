/*
 * counts.h - small questions about counts that quantile.h does not hold:
 * the score interval of a proportion and whether replicate dishes scatter
 * more than counting alone explains. (Exact limits and the comparison of two
 * counts are declared in quantile.h and live in counts.c.)
 */
#ifndef PERDRAW_STATS_COUNTS_H
#define PERDRAW_STATS_COUNTS_H

#include <stddef.h>

/*
 * Score limits (Wilson 1927, JASA 22, 209-212) of the proportion k / n:
 *   (k + z^2/2 -+ z sqrt(k (n - k) / n + z^2/4)) / (n + z^2),
 * z the normal quantile at (1 + level) / 2. Exactly 0 at k = 0 and 1 at k = n.
 * NaN unless 0 <= k <= n, n > 0 and 0 < level < 1.
 */
void pd_wilson_limits(double k, double n, double level, double *low,
                      double *high);

/*
 * Index of dispersion of counts on equal exposure (dishes of one sample):
 *   sum (k - mean)^2 / mean on n - 1 df, p from the upper chi-square tail
 * (Fisher 1950, Biometrics 6, 17-24). NaN for n < 2 or when all are 0.
 */
typedef struct pd_dispersion {
	double index, df, p;
} pd_dispersion;
pd_dispersion pd_count_dispersion(const double *count, size_t n);

/*
 * Chance of k or more marked ones among n drawn from `all`, `marked` of which
 * are marked (Fisher's exact test of a table of four, one side):
 *   sum over x >= k of C(marked, x) C(all - marked, n - x) / C(all, n).
 * Whole numbers; NaN unless 0 <= n, marked <= all.
 */
double pd_hypergeometric_upper(double k, double n, double marked, double all);

#endif
