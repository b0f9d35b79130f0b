/*
 * dish_spread.h - by how much do dishes of one sample vary, counting error
 * taken off? Many samples of their own rate, dishes of equal exposure.
 *
 * Of a sample with n_s dishes, mean k_s and variance v_s (n_s - 1):
 *   E v_s = m_s + c^2 m_s^2,   E (k_s^2 - v_s / n_s) = m_s^2
 * for counts of mean m_s whose rate varies from dish to dish with the
 * coefficient of variation c, so with d_s = n_s - 1
 *   c^2 = sum d_s (v_s - k_s) / sum d_s (k_s^2 - v_s / n_s),
 * moments pooled over samples; cut at 0 where dishes vary no more than counts
 * do. A sample fails where its index of dispersion (counts.h) has a p below
 * `at`. Source: moments of the mixed Poisson law, from memory.
 */
#ifndef PERDRAW_STATS_DISH_SPREAD_H
#define PERDRAW_STATS_DISH_SPREAD_H

#include <stdbool.h>
#include <stddef.h>

typedef struct pd_dish_spread {
	size_t n_samples, n_dishes; /* that say something                     */
	size_t n_single, n_empty;   /* fewer than 2 dishes; no colony at all  */
	size_t n_failing;
	double beyond, square;      /* both sums of c^2                       */
} pd_dish_spread;

/* count[n] of one more sample; begin with zeros. */
void pd_dish_spread_add(pd_dish_spread *s, const double *count, size_t n,
                        double at);
/* c, a share of 1; NaN where no sample says anything. */
double pd_dish_spread_cv(const pd_dish_spread *s);

#endif
