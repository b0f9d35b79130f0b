/*
 * anytime.h - an interval that may be read at any time, as often as one
 * likes: looks need not be planned, counted or spaced.
 */
#ifndef PERDRAW_STATS_ANYTIME_H
#define PERDRAW_STATS_ANYTIME_H

#include "base/estimate.h"

/*
 * Half-width, in standard errors, of the interval for an estimate with
 * information v = 1 / se^2:
 *   sqrt((1 + r / v) (2 ln(1 / alpha) + ln((v + r) / r))),
 * r > 0 the tuning information. Normal data with known spread: the chance that
 * the interval ever misses the truth, over all v > 0, is at most alpha (equal
 * to it for a path watched without a break). With an estimated spread it holds
 * in the limit only. NaN unless v, r > 0 and 0 < alpha < 1.
 * Source: Robbins (1970), Ann. Math. Statist. 41, 1397-1409, normal mixture;
 * Howard et al. (2021), Ann. Statist. 49, 1055-1080.
 */
double pd_anytime_width(double v, double r, double alpha);

/*
 * The tuning information that makes the interval shortest at information v:
 * r = v / y, y the root above 0 of y - ln(1 + y) = 2 ln(1 / alpha). To be
 * chosen before the first look. NaN outside the domain.
 */
double pd_anytime_tuning(double v, double alpha);

/*
 * The smallest alpha whose interval leaves out `null`: with v = 1 / se^2 and
 * z = (value - null) / se
 *   min(1, sqrt((v + r) / r) exp(-z^2 v / (2 (v + r)))),
 * one over the mixture's likelihood ratio (its betting value). It holds at
 * every look and may be read at all of them. NaN unless se, r > 0.
 */
double pd_anytime_p(double value, double null, double se, double r);

/* value -+ width * se at level 1 - alpha, p = pd_anytime_p against 0. All NaN
 * for se <= 0. */
pd_estimate pd_anytime_interval(double value, double se, double r,
                                double level);

#endif
