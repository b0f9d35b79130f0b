/*
 * curve.h - how a yield grows with a dose (a drawn volume, say) and where it
 * stops growing: a line with one bend, and an exponential approach to a
 * plateau.
 */
#ifndef PERDRAW_STATS_CURVE_H
#define PERDRAW_STATS_CURVE_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

typedef enum pd_bend {
	PD_BEND_LEVEL, /* y = intercept + slope min(v, c)                     */
	PD_BEND_SLOPE  /* y = intercept + slope v + change max(v - c, 0)      */
} pd_bend;

/*
 * bend.value is c, the least squares bend over all parameters (p = 3 or 4 of
 * them), sought from the second to the last but one distinct v. bend.low and
 * bend.high are the outermost c at which the residual sum of squares, least
 * over the other parameters, is
 *   residual_ss (1 + F(level; 1, n - p) / (n - p));
 * an end reaches the outermost v when the data do not close it inside, and is
 * -INFINITY or INFINITY when a fit without a bend is as good. The other limits
 * and the se, bend.se too, come from the curve's gradient (Student t, n - p
 * df). change is the slope after the bend less the one before; level is the
 * height of the plateau (PD_BEND_SLOPE: the height at the bend).
 */
typedef struct pd_breakpoint {
	pd_estimate bend, intercept, slope, change, level;
	double residual_ss, residual_df, residual_sd;
} pd_breakpoint;

/*
 * Fit to v[n], y[n] in any order. Between neighbouring v the residual sum of
 * squares is yy - (a + b c)^2 / (d + 2 e c + f c^2): its least value and where
 * it meets the limit are found in closed form, so nothing is missed between
 * points of a grid. Hudson (1966), JASA 61, 1097-1129.
 * PD_DATA: not finite, or level outside 0 to 1. PD_REFUSED: n <= p, fewer than
 * four distinct v, or no change of slope at all.
 */
pd_status pd_breakpoint_fit(const double *v, const double *y, size_t n,
                            pd_bend shape, double level, pd_breakpoint *out,
                            pd_error *err);

/*
 * y = base + rise (1 - exp(-v / pace)), pace > 0; base 0 unless with_base.
 * Estimates by nonlinear least squares (nonlinear.h) from the best of a row of
 * paces; `wald` has Student t limits, `profile` limits by the profile of the
 * residual sum of squares (INFINITY: not closed by the data). Index
 * PD_PLATEAU_...; the base's are 0 when there is none. At v = pace ln 10 nine
 * tenths of the rise are reached.
 */
enum { PD_PLATEAU_RISE, PD_PLATEAU_PACE, PD_PLATEAU_BASE, PD_PLATEAU_N };
typedef struct pd_plateau {
	pd_estimate wald[PD_PLATEAU_N], profile[PD_PLATEAU_N];
	double residual_ss, residual_df, residual_sd;
} pd_plateau;

/* PD_DATA: not finite, or level outside 0 to 1. Else as pd_nonlinear and
 * pd_nonlinear_profile; PD_REFUSED also with fewer distinct v than parameters
 * or when y does not bend within the data (the pace runs away). */
pd_status pd_plateau_fit(const double *v, const double *y, size_t n,
                         int with_base, double level, pd_plateau *out,
                         pd_error *err);

#endif
