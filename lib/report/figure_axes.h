/*
 * figure_axes.h - axes and frames the data figures share (inside the report
 * room only).
 */
#ifndef PERDRAW_REPORT_FIGURE_AXES_H
#define PERDRAW_REPORT_FIGURE_AXES_H

#include "report/figure.h"

enum {
	PD_FIGURE_TEXT = 13, PD_FIGURE_SMALL = 12,
	PD_FIGURE_WIDE = 440, PD_FIGURE_NARROW = 300 /* of a scene            */
};

/* The least and greatest of x that an axis can show; log: positive ones.
 * Start with low = INFINITY, high = -INFINITY. */
void pd_reach(bool log, const double *x, size_t n, double *low, double *high);
/* The same for limits of intervals, which may be vast: on each side no further
 * than what is reached already is wide, so that points keep half the axis; an
 * arrow then stands for the rest. */
void pd_reach_limits(bool log, const double *x, size_t n, double *low,
                     double *high);
/* A margin's two ends: whole where it leaves what is reached already a sixth
 * of the axis, else as limits. */
void pd_reach_margin(bool log, const double ends[2], double *low,
                     double *high);

/* Space a value axis takes left of its line: title, gap, widest tick. */
double pd_value_axis_room(const pd_axis *a);
/* Value axis at x0 with grid lines to x1, ticks, and its title turned. A log
 * axis says so in its title; a title too long for the axis is cut. */
void pd_draw_value_axis(pd_scene *s, const pd_axis *a, double x0, double x1,
                        const char *title);
/* Axis along the foot at y, ticks below it, grid lines up to `top`; the title
 * as above. Ticks that would touch the one before have no number. */
void pd_draw_foot_axis(pd_scene *s, const pd_axis *a, double y, double top,
                       const char *title);
/* A vertical interval bar with caps, or arrows where it leaves the axis; one
 * along a row. NaN limits draw nothing. */
void pd_draw_limits(pd_scene *s, pd_ink ink, const pd_axis *a, double x,
                    double low, double high);
void pd_draw_limits_along(pd_scene *s, pd_ink ink, const pd_axis *a, double y,
                          double low, double high);
/* A centre (a mean, a geometric mean): a plain square, no verdict's sign. */
void pd_draw_centre(pd_scene *s, double x, double y, double radius);
/* A square outline: a centre that rests on few. */
void pd_draw_hollow(pd_scene *s, double x, double y, double radius);

/* An empty circle on the page's own ground. */
void pd_draw_ring(pd_scene *s, pd_ink ink, double x, double y, double radius);

/* Evenly spread places for crowded points, the same on every run: the
 * golden-ratio sequence in (-1/2, 1/2). */
double pd_spread(size_t i);

/* Dashed upright lines with a letter above, "a" first, "z" for all that follow
 * it; a letter that would touch the one before is left out. Begins as { 0 }. */
typedef struct pd_letters {
	size_t n;
	double free_from;
} pd_letters;
void pd_draw_lettered(pd_scene *s, pd_letters *l, double x, double top,
                      double foot);

/* Lines a name takes that is centred in `width`, and the name, strong, its
 * first line at y, the next 15 below. */
size_t pd_name_lines(const char *name, double width);
void pd_draw_name(pd_scene *s, double x, double y, double width,
                  const char *name);

#endif
