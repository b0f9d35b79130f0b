/*
 * multiple.h - adjusting a family of p values. p[n] in, adjusted[n] out, same
 * order; NaN entries are left out of the family and stay NaN. An adjusted p at
 * or below alpha means rejected at family level alpha.
 *
 * With p(1) <= ... <= p(m) the m values that are there:
 *   Holm (1979)         max over k <= i of (m - k + 1) p(k)
 *   Hochberg (1988)     min over k >= i of (m - k + 1) p(k)
 *   Hommel (1988)       closed test with Simes' inequality
 *   Benjamini-Hochberg (1995)    min over k >= i of m p(k) / k
 *   Benjamini-Yekutieli (2001)   the same times 1 + 1/2 + ... + 1/m
 *   Bonferroni  m p;    Sidak (1967)  1 - (1 - p)^m
 * each at most 1. The first three, Bonferroni and Sidak bound the chance of
 * any false claim (Hochberg, Hommel and Sidak under non-negative dependence
 * or independence), the Benjamini rules the share of false claims.
 */
#ifndef PERDRAW_STATS_MULTIPLE_H
#define PERDRAW_STATS_MULTIPLE_H

#include "base/status.h"

typedef enum pd_adjust {
	PD_HOLM, PD_HOCHBERG, PD_BENJAMINI_HOCHBERG, PD_BENJAMINI_YEKUTIELI,
	PD_BONFERRONI, PD_SIDAK, PD_HOMMEL
} pd_adjust;

/* PD_DATA for a p outside 0 to 1; `adjusted` is then untouched. It may be the
 * same array as p. */
pd_status pd_adjust_p(const double *p, size_t n, pd_adjust how,
                      double *adjusted, pd_error *err);

#endif
