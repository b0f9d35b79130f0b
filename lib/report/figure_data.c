/*
 * figure_data.c - one question's data: pairs with their ratios, points by
 * level, points along a slope. Results of zero have no place on a log axis:
 * they lie on its low end and the figure's description counts them.
 */
#include "report/figure.h"
#include "report/figure_axes.h"

#include <math.h>

enum { WIDTH = 440, PAIR_NAME = 92 };

static bool is_log(const pd_answer *a)
{
	return a->scale == PD_RATIO;
}

/* Evenly spread places for crowded points, the same on every run: the
 * golden-ratio sequence in (-1/2, 1/2). */
static double spread(size_t i)
{
	double v = (double)(i + 1) * 0.6180339887498949;

	return v - floor(v) - 0.5;
}

/* First against second of pair i, as the effect reads it. */
static double pair_effect(const pd_answer *a, size_t i)
{
	double x = a->points.pair_first[i], y = a->points.pair_second[i];

	if (!is_log(a))
		return x - y;
	return x > 0 && y > 0 ? x / y : NAN;
}

static void draw_pair_lines(pd_scene *s, const pd_answer *a,
                            const pd_axis *axis, double x0, double x1)
{
	const pd_points *p = &a->points;
	double *xy = PD_NEW(s->arena, double, 4 * p->n_pairs);

	if (!xy) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < p->n_pairs; i++) {
		xy[4 * i] = x0;
		xy[4 * i + 1] = pd_axis_at(axis, p->pair_second[i]);
		xy[4 * i + 2] = x1;
		xy[4 * i + 3] = pd_axis_at(axis, p->pair_first[i]);
	}
	pd_scene_lines(s, PD_INK_DATA, p->n_pairs > 60 ? 0.7 : 1.2,
	               2 * p->n_pairs, xy);
	pd_scene_dots(s, PD_INK_DATA, p->n_pairs > 60 ? 3 : 5, 2 * p->n_pairs,
	              xy);
}

/* Height of the names below the foot, the longest of them told by lines. */
static double names_height(size_t lines)
{
	return 20 + 15 * (double)(lines ? lines : 1);
}

static size_t name_lines(const char *name, double width)
{
	return pd_text_width(name, PD_FIGURE_TEXT) <= width
	           ? 1
	           : pd_scene_wrapped(NULL, PD_INK_TEXT, PD_FIGURE_SMALL,
	                              PD_MIDDLE, true, 0, 0, 0, width, name);
}

/* Centred text in as many lines as the width asks for. */
static void draw_name(pd_scene *s, double x, double y, double width,
                      const char *name)
{
	double own = pd_text_width(name, PD_FIGURE_TEXT);

	if (own <= width)
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_MIDDLE, true,
		              x, y, name);
	else
		pd_scene_wrapped(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_MIDDLE,
		                 true, x, y, 15, width, name);
}

/* The axis of the right panel: every pair's ratio, the effect, no effect. */
static pd_axis pair_axis(const pd_answer *a, double top, double foot)
{
	const pd_effect *e = &a->effect[0];
	const double limits[] = { e->value, e->low, e->high };
	double low = is_log(a) ? 1 : 0, high = low;

	for (size_t i = 0; i < a->points.n_pairs; i++) {
		double v = pair_effect(a, i);

		pd_reach(is_log(a), &v, 1, &low, &high);
	}
	pd_reach(is_log(a), limits, 3, &low, &high);
	return pd_axis_over(is_log(a), low, high, foot, top);
}

static void draw_pair_margin(pd_scene *s, const pd_answer *a,
                             const pd_axis *axis, double x0, double x1)
{
	double low = is_log(a) ? a->margin : -a->margin;
	double high = is_log(a) ? 1 / a->margin : a->margin;

	if (isfinite(a->margin))
		pd_scene_box(s, PD_INK_BAND, x0, pd_axis_at(axis, high), x1,
		             pd_axis_at(axis, low));
}

/* The right panel: each pair's ratio, the effect and the margin band. */
static void draw_pair_ratios(pd_scene *s, const pd_answer *a,
                             const pd_axis *axis, double x0, double x1,
                             const char *title)
{
	const pd_effect *e = &a->effect[0];
	size_t n = a->points.n_pairs, used = 0;
	double *xy = PD_NEW(s->arena, double, 2 * n);
	double null = pd_axis_at(axis, is_log(a) ? 1 : 0);
	double x = x0 + (x1 - x0) * 0.8;
	pd_ink ink = a->unsupported && e->verdict == PD_NO_MATTER
	                 ? PD_INK_OPEN
	                 : pd_verdict_ink(e->verdict, a->not_a_choice);

	if (!xy) {
		s->failed = true;
		return;
	}
	draw_pair_margin(s, a, axis, x0, x1);
	pd_draw_value_axis(s, axis, x0, x1, title);
	pd_scene_line(s, PD_INK_AXIS, 1.6, false, x0, null, x1, null);
	for (size_t i = 0; i < n; i++) {
		double v = pair_effect(a, i);

		if (isnan(v))
			continue;
		xy[2 * used] = x0 + (x1 - x0) * (0.35 + 0.4 * spread(i));
		xy[2 * used++ + 1] = pd_axis_at(axis, v);
	}
	pd_scene_dots(s, PD_INK_DATA, n > 60 ? 3 : 5, used, xy);
	if (isnan(e->value))
		return;
	pd_draw_limits(s, ink, axis, x, e->low, e->high);
	pd_scene_sign(s, e->verdict, ink, x, pd_axis_at(axis, e->value), 7);
}

pd_scene *pd_figure_pairs(pd_arena *arena, const pd_answer *a,
                          const pd_figure_words *w)
{
	enum { PANEL = 164, RATIOS = 112, IN = 34 };
	const pd_points *p = &a->points;
	double low = INFINITY, high = -INFINITY;
	double top = 14, foot = 262;
	size_t lines_1 = name_lines(w->first, PAIR_NAME);
	size_t lines_2 = name_lines(w->second, PAIR_NAME);

	pd_reach(is_log(a), p->pair_first, p->n_pairs, &low, &high);
	pd_reach(is_log(a), p->pair_second, p->n_pairs, &low, &high);
	pd_axis axis = pd_axis_over(is_log(a), low, high, foot, top);
	pd_axis ratio = pair_axis(a, top, foot);
	double left = pd_value_axis_room(&axis);
	double right = left + PANEL + 24 + pd_value_axis_room(&ratio);
	pd_scene *s = pd_scene_new(
	    arena, right + RATIOS + 6,
	    foot + names_height(lines_1 > lines_2 ? lines_1 : lines_2));

	if (!s)
		return NULL;
	pd_draw_value_axis(s, &axis, left, left + PANEL, w->value_axis);
	draw_pair_lines(s, a, &axis, left + IN, left + PANEL - IN);
	draw_name(s, left + IN, foot + 20, PAIR_NAME, w->second);
	draw_name(s, left + PANEL - IN, foot + 20, PAIR_NAME, w->first);
	draw_pair_ratios(s, a, &ratio, right, right + RATIOS, w->ratio_axis);
	return s;
}

static void draw_level(pd_scene *s, const pd_answer *a, const pd_axis *axis,
                       size_t level, double x, double slot)
{
	const pd_points *p = &a->points;
	const pd_level *l = &a->levels[level];
	double *xy = PD_NEW(s->arena, double, 2 * p->n_points);
	size_t n = 0;

	if (!xy) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < p->n_points; i++) {
		if (p->point_level[i] != level || !isfinite(p->point_value[i]))
			continue;
		xy[2 * n] = x + slot * (0.5 * spread(n) - 0.1);
		xy[2 * n++ + 1] = pd_axis_at(axis, p->point_value[i]);
	}
	pd_scene_dots(s, PD_INK_DATA, p->n_points > 120 ? 3 : 4.5, n, xy);
	if (!isfinite(l->centre))
		return;
	pd_draw_limits(s, PD_INK_FIT, axis, x + 0.3 * slot, l->centre_low,
	               l->centre_high);
	pd_draw_centre(s, x + 0.3 * slot, pd_axis_at(axis, l->centre), 3.5);
}

/* Axis over points and centres of all levels. */
static pd_axis level_axis(const pd_answer *a, double top, double foot)
{
	double low = INFINITY, high = -INFINITY;

	pd_reach(is_log(a), a->points.point_value, a->points.n_points, &low,
	         &high);
	for (size_t i = 0; i < a->n_levels; i++) {
		const double x[] = { a->levels[i].centre_low,
			             a->levels[i].centre_high };

		pd_reach(is_log(a), x, 2, &low, &high);
	}
	return pd_axis_over(is_log(a), low, high, foot, top);
}

pd_scene *pd_figure_levels(pd_arena *arena, const pd_answer *a,
                           const pd_figure_words *w)
{
	double top = 14, foot = 262;
	pd_axis axis = level_axis(a, top, foot);
	double left = pd_value_axis_room(&axis);
	double width = fmax(WIDTH, left + 6 + 66 * (double)a->n_levels);
	double slot = (width - left - 6) / (double)a->n_levels;
	size_t lines = 1;

	for (size_t i = 0; i < a->n_levels; i++) {
		size_t own = name_lines(a->levels[i].name, slot - 4);

		lines = own > lines ? own : lines;
	}
	pd_scene *s = pd_scene_new(arena, width, foot + names_height(lines));

	if (!s)
		return NULL;
	pd_draw_value_axis(s, &axis, left, width - 6, w->value_axis);
	for (size_t i = 0; i < a->n_levels; i++) {
		double x = left + slot * ((double)i + 0.5);

		draw_level(s, a, &axis, i, x, slot);
		draw_name(s, x, foot + 20, slot - 4, a->levels[i].name);
	}
	return s;
}

/* The band as an outline: along its top, back along its foot. */
static void draw_line_band(pd_scene *s, const pd_points *p, const pd_axis *x,
                           const pd_axis *y)
{
	size_t n = p->n_line;
	double *band = PD_NEW(s->arena, double, 4 * n);
	double *line = PD_NEW(s->arena, double, 2 * n);

	if (!band || !line) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < n; i++) {
		double at = pd_axis_at(x, p->line_x[i]);

		band[2 * i] = band[2 * (2 * n - 1 - i)] = at;
		band[2 * i + 1] = pd_axis_at(y, p->line_high[i]);
		band[2 * (2 * n - 1 - i) + 1] = pd_axis_at(y, p->line_low[i]);
		line[2 * i] = at;
		line[2 * i + 1] = pd_axis_at(y, p->line_y[i]);
	}
	if (n > 1) {
		pd_scene_area(s, PD_INK_FIT_BAND, 2 * n, band);
		pd_scene_chain(s, PD_INK_FIT, 2.6, n, line);
	}
}

static void draw_cloud(pd_scene *s, const pd_points *p, const pd_axis *x,
                       const pd_axis *y)
{
	double *xy = PD_NEW(s->arena, double, 2 * p->n_xy);
	size_t n = 0;

	if (!xy) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < p->n_xy; i++) {
		if (!isfinite(p->x[i]) || !isfinite(p->y[i]))
			continue;
		xy[2 * n] = pd_axis_at(x, p->x[i]);
		xy[2 * n++ + 1] = pd_axis_at(y, p->y[i]);
	}
	pd_scene_dots(s, PD_INK_DATA, n > 150 ? 3 : 4.5, n, xy);
}

pd_scene *pd_figure_slope(pd_arena *arena, const pd_answer *a,
                          const pd_figure_words *w)
{
	const pd_points *p = &a->points;
	double x_low = INFINITY, x_high = -INFINITY;
	double y_low = INFINITY, y_high = -INFINITY;
	pd_scene *s = pd_scene_new(arena, WIDTH, 312);

	if (!s)
		return NULL;
	pd_reach(a->log_x, p->x, p->n_xy, &x_low, &x_high);
	pd_reach(a->log_x, p->line_x, p->n_line, &x_low, &x_high);
	pd_reach(is_log(a), p->y, p->n_xy, &y_low, &y_high);
	pd_reach(is_log(a), p->line_y, p->n_line, &y_low, &y_high);
	pd_axis y = pd_axis_over(is_log(a), y_low, y_high, 262, 14);
	double left = pd_value_axis_room(&y);
	pd_axis x = pd_axis_over(a->log_x, x_low, x_high, left, WIDTH - 8);

	pd_draw_value_axis(s, &y, left, WIDTH - 8, w->value_axis);
	pd_draw_foot_axis(s, &x, 262, 14, w->x_axis);
	draw_cloud(s, p, &x, &y);
	draw_line_band(s, p, &x, &y);
	return s;
}
