/*
 * figure_levels.c - points by level with each level's centre and interval:
 * columns on a page, rows on a phone. Results of zero have no place on a log
 * axis: they lie on its low end and the figure's description counts them.
 */
#include "report/figure.h"
#include "report/figure_axes.h"

#include <math.h>

enum { MANY = 120, SLOT = 66, ROW = 52 };

static bool is_log(const pd_answer *a)
{
	return a->scale == PD_RATIO;
}

/* Axis over points and centres of all levels, their intervals where they
 * leave the points room. */
static pd_axis level_axis(const pd_answer *a, double place, double place_to)
{
	double low = INFINITY, high = -INFINITY;

	pd_reach(is_log(a), a->points.point_value, a->points.n_points, &low,
	         &high);
	for (size_t i = 0; i < a->n_levels; i++)
		pd_reach(is_log(a), &a->levels[i].centre, 1, &low, &high);
	for (size_t i = 0; i < a->n_levels; i++) {
		const double x[] = { a->levels[i].centre_low,
			             a->levels[i].centre_high };

		pd_reach_limits(is_log(a), x, 2, &low, &high);
	}
	return pd_axis_over(is_log(a), low, high, place, place_to);
}

/* The level's points, `along` its own line at `at`, spread over `slot`. */
static void draw_points(pd_scene *s, const pd_answer *a, const pd_axis *axis,
                        size_t level, bool along, double at, double slot)
{
	const pd_points *p = &a->points;
	double *xy = PD_NEW(s->arena, double, 2 * p->n_points);
	size_t n = 0;

	if (!xy) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < p->n_points; i++) {
		if (p->point_level[i] != level || !isfinite(p->point_value[i]))
			continue;
		xy[2 * n + along] = at + slot * pd_spread(n);
		xy[2 * n++ + !along] = pd_axis_at(axis, p->point_value[i]);
	}
	pd_scene_dots(s, PD_INK_DATA, p->n_points > MANY ? 3 : 4.5, n, xy);
}

static void draw_column(pd_scene *s, const pd_answer *a, const pd_axis *axis,
                        size_t level, double x, double slot)
{
	const pd_level *l = &a->levels[level];
	double at = x + 0.3 * slot;

	draw_points(s, a, axis, level, false, x - 0.1 * slot, 0.5 * slot);
	if (!isfinite(l->centre))
		return;
	pd_draw_limits(s, PD_INK_FIT, axis, at, l->centre_low, l->centre_high);
	pd_draw_centre(s, at, pd_axis_at(axis, l->centre), 3.5);
}

static void draw_row(pd_scene *s, const pd_answer *a, const pd_axis *axis,
                     size_t level, double y)
{
	const pd_level *l = &a->levels[level];

	draw_points(s, a, axis, level, true, y, 14);
	if (!isfinite(l->centre))
		return;
	pd_draw_limits_along(s, PD_INK_FIT, axis, y + 17, l->centre_low,
	                     l->centre_high);
	pd_draw_centre(s, pd_axis_at(axis, l->centre), y + 17, 3.5);
}

static pd_scene *columns(pd_arena *arena, const pd_answer *a,
                         const pd_figure_words *w)
{
	double top = 14, foot = 262;
	pd_axis axis = level_axis(a, foot, top);
	double left = pd_value_axis_room(&axis);
	double width = fmax(PD_FIGURE_WIDE,
	                    left + 6 + SLOT * (double)a->n_levels);
	double slot = (width - left - 6) / (double)a->n_levels;
	size_t lines = 1;

	for (size_t i = 0; i < a->n_levels; i++) {
		size_t own = pd_name_lines(a->levels[i].name, slot - 4);

		lines = own > lines ? own : lines;
	}
	pd_scene *s = pd_scene_new(arena, width,
	                           foot + 20 + 15 * (double)lines);

	if (!s)
		return NULL;
	pd_draw_value_axis(s, &axis, left, width - 6, w->value_axis);
	for (size_t i = 0; i < a->n_levels; i++) {
		double x = left + slot * ((double)i + 0.5);

		draw_column(s, a, &axis, i, x, slot);
		pd_draw_name(s, x, foot + 20, slot - 4, a->levels[i].name);
	}
	return s;
}

static size_t name_lines(const char *name)
{
	return pd_scene_wrapped(NULL, PD_INK_TEXT, PD_FIGURE_TEXT, PD_START,
	                        true, 0, 0, 0, PD_FIGURE_NARROW - 8, name);
}

/* Rows: the name, then the points, then the centre below them. */
static pd_scene *rows(pd_arena *arena, const pd_answer *a,
                      const pd_figure_words *w)
{
	pd_axis axis = level_axis(a, 12, PD_FIGURE_NARROW - 12);
	double foot = 4;

	for (size_t i = 0; i < a->n_levels; i++)
		foot += ROW + 16 * (double)name_lines(a->levels[i].name);
	pd_scene *s = pd_scene_new(arena, PD_FIGURE_NARROW, foot + 46);

	if (!s)
		return NULL;
	pd_draw_foot_axis(s, &axis, foot, 4, w->value_axis);
	double y = 4;

	for (size_t i = 0; i < a->n_levels; i++) {
		double n = (double)pd_scene_wrapped(
		    s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_START, true, 4, y + 13,
		    16, PD_FIGURE_NARROW - 8, a->levels[i].name);

		draw_row(s, a, &axis, i, y + 16 * n + 14);
		y += ROW + 16 * n;
	}
	return s;
}

pd_scene *pd_figure_levels(pd_arena *arena, const pd_answer *a,
                           const pd_figure_words *w, bool narrow)
{
	return narrow ? rows(arena, a, w) : columns(arena, a, w);
}
