/*
 * risk.h - two shares of events held against each other, exactly: x1 of n1
 * against x2 of n2, independent units, by their difference and their ratio.
 *
 *   difference   H0: p1 = p2 + d,   Z = (x1/n1 - x2/n2 - d) / sqrt(V)
 *   ratio        H0: p1 = f p2,     Z = (x1/n1 - f x2/n2) / sqrt(V)
 *
 * V: the variance of the numerator at the shares that are likeliest under H0
 * (Miettinen & Nurminen 1985, Stat. Med. 4, 213-226, closed forms; without
 * their factor N / (N - 1), which orders nothing differently). A table counts
 * against H0 by the chance of one whose Z is as far or farther, the largest
 * over the share that H0 leaves open (Chan & Zhang 1999, Biometrics 55,
 * 1202-1209), sought within that share's own exact limits at level 1 - g, g
 * = 10^-6, which is added to the chance (Berger & Boos 1994, JASA 89,
 * 1012-1016): shares that the data rule out do not widen it. The limits are where each one-sided chance is (1 - level) / 2,
 * so the interval covers at least at its level however few the events; the
 * two-sided p is twice the smaller chance at no effect. Nothing is added to a
 * count of 0. The largest chance is searched on a grid and made finer.
 */
#ifndef PERDRAW_STATS_RISK_H
#define PERDRAW_STATS_RISK_H

#include "base/status.h"
#include <stddef.h>

typedef enum pd_risk_kind { PD_RISK_DIFFERENCE, PD_RISK_RATIO } pd_risk_kind;

typedef struct pd_two_shares {
	size_t x1, n1, x2, n2;
} pd_two_shares;

/* Difference in [-1, 1]. Ratio: 0 and INFINITY as value and limit where a
 * count is 0, NaN with 0 to INFINITY where both are. */
typedef struct pd_risk {
	double value, low, high, level;
	double p;                /* two-sided, at no effect                  */
} pd_risk;

/* PD_DATA: n 0 or above 1,000,000, x above n, level; PD_NO_MEMORY. */
pd_status pd_risk_compare(const pd_two_shares *d, pd_risk_kind kind,
                          double level, pd_risk *out, pd_error *err);

/*
 * The one-sided chances at `null`: *above of a Z as high or higher (small: the
 * truth lies above null), *below of one as low or lower. null in (-1, 1) for
 * a difference, above 0 and finite for a ratio.
 */
pd_status pd_risk_test(const pd_two_shares *d, pd_risk_kind kind, double null,
                       double *above, double *below, pd_error *err);

/* Z of a table under H0; 0 where numerator and variance are 0. */
double pd_risk_score(const pd_two_shares *d, pd_risk_kind kind, double null);

/*
 * Limits by the score alone, not exact: where Z, shrunk by sqrt((N - 1) / N),
 * is the normal quantile (Miettinen & Nurminen 1985). p: of that Z at no
 * effect.
 */
pd_status pd_risk_score_limits(const pd_two_shares *d, pd_risk_kind kind,
                               double level, pd_risk *out, pd_error *err);

#endif
