/*
 * figure_axes.h - axes and frames the data figures share (inside the report
 * room only).
 */
#ifndef PERDRAW_REPORT_FIGURE_AXES_H
#define PERDRAW_REPORT_FIGURE_AXES_H

#include "report/figure.h"

enum { PD_FIGURE_TEXT = 13, PD_FIGURE_SMALL = 12 };

/* The least and greatest of x that an axis can show; log: positive ones.
 * Start with low = INFINITY, high = -INFINITY. */
void pd_reach(bool log, const double *x, size_t n, double *low, double *high);

/* Space a value axis takes left of its line: title, gap, widest tick. */
double pd_value_axis_room(const pd_axis *a);
/* Value axis at x0 with grid lines to x1, ticks, and its title turned. */
void pd_draw_value_axis(pd_scene *s, const pd_axis *a, double x0, double x1,
                        const char *title);
/* Axis along the foot at y, ticks below it, grid lines up to `top`. */
void pd_draw_foot_axis(pd_scene *s, const pd_axis *a, double y, double top,
                       const char *title);
/* A vertical interval bar with caps. */
void pd_draw_limits(pd_scene *s, pd_ink ink, const pd_axis *a, double x,
                    double low, double high);
/* A centre (a mean, a geometric mean): a plain square, no verdict's sign. */
void pd_draw_centre(pd_scene *s, double x, double y, double radius);

#endif
