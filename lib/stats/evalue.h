/*
 * evalue.h - how strong would something unrecorded have to be to explain an
 * observed ratio away? The least ratio with which it would have to go both
 * with the arm and with the outcome, beyond all that is adjusted for
 * (VanderWeele & Ding 2017, Ann. Intern. Med. 167, 268-274):
 *
 *   E = r + sqrt(r (r - 1)),  r the risk ratio or, below 1, its inverse
 *
 * for the estimate and for the limit of its interval nearer to 1; 1 where the
 * interval holds 1.
 */
#ifndef PERDRAW_STATS_EVALUE_H
#define PERDRAW_STATS_EVALUE_H

#include "base/estimate.h"
#include "base/status.h"

/* E for a risk ratio; NaN unless above 0, infinite for an infinite one and
 * where E is past the largest double. */
double pd_evalue(double ratio);

/*
 *   RISK      a ratio of risks, or of rates: as it is. Odds and hazard ratios
 *             of outcomes rarer than 15 in 100 too
 *   ODDS      an odds ratio of a common outcome: its root
 *   HAZARD    a hazard ratio of a common outcome:
 *             (1 - 0.5^sqrt(h)) / (1 - 0.5^sqrt(1 / h))
 */
typedef enum pd_ratio_kind {
	PD_RATIO_RISK, PD_RATIO_ODDS, PD_RATIO_HAZARD
} pd_ratio_kind;

typedef struct pd_evalues {
	double ratio, low, high;   /* as a risk ratio                         */
	double estimate, limit;    /* the E values                            */
} pd_evalues;

/* From a ratio and its limits, 0 < low <= ratio <= high (PD_DATA else). */
pd_status pd_evalue_ratio(double ratio, double low, double high,
                          pd_ratio_kind kind, pd_evalues *out, pd_error *err);

/*
 * From a difference of means on the scale of e (for a ratio of geometric
 * means: of logs) and the sd of the outcome on it:
 *   d = value / sd, ratio = exp(0.91 d), limits exp(0.91 d -+ 1.78 se / sd)
 * as the paper gives it (1.78 = 0.91 x 1.96, so that the limits are those of
 * 95 % whatever e->level). An approximation: it takes the outcome as normal,
 * cut at its middle. PD_DATA: sd not above 0, value or se not finite, se < 0.
 */
pd_status pd_evalue_means(const pd_estimate *e, double sd, pd_evalues *out,
                          pd_error *err);

#endif
