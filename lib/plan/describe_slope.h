/*
 * describe_slope.h - what the figure of a slope or a curve draws: points, the
 * fitted line with its band, and how all rows lie along the parameter.
 */
#ifndef PERDRAW_PLAN_DESCRIBE_SLOPE_H
#define PERDRAW_PLAN_DESCRIBE_SLOPE_H

#include "plan/fit.h"

enum { PD_STRIP_CELLS = 12 };

/*
 * Points (thinned to a few hundred), line and strip into *out. The line runs
 * over the middle 96 % of the rows' x, adjusters held at their means; the
 * strip has one cell a value where there are PD_STRIP_CELLS or fewer, else so
 * many of equal width on the working axis over the line's reach and one each
 * for the rows below and above it. y[rows->n]: working scale. fit NULL: no
 * line.
 */
pd_status pd_describe_slope(const pd_question *q, const pd_rows *rows,
                            const double *y, pd_fit *fit, double level,
                            pd_arena *arena, pd_points *out, pd_error *err);

#endif
