/*
 * figure_pairs.c - the two results of each pair joined by a line, and every
 * pair's ratio (or difference) with the effect. Beside each other on a page,
 * one below the other on a phone. Results of zero have no place on a log axis:
 * they lie on its low end and the figure's description counts them.
 */
#include "report/figure.h"
#include "report/figure_axes.h"

#include <math.h>

enum { NAME = 92, MANY = 60 };

/* Where the two panels lie; the names of the arms below the first. */
struct panels {
	double width, height;
	double left, right, top, foot;
	double left_2, right_2, top_2, foot_2;
	double in; /* from the panel's edge to its columns            */
};

static bool is_log(const pd_answer *a)
{
	return a->scale == PD_RATIO;
}

/* First against second of pair i, as the effect reads it. */
static double pair_effect(const pd_answer *a, size_t i)
{
	double x = a->points.pair_first[i], y = a->points.pair_second[i];

	if (!is_log(a))
		return x - y;
	return x > 0 && y > 0 ? x / y : NAN;
}

static void draw_lines(pd_scene *s, const pd_answer *a, const pd_axis *axis,
                       double x0, double x1)
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
	pd_scene_lines(s, PD_INK_DATA, p->n_pairs > MANY ? 0.7 : 1.2,
	               2 * p->n_pairs, xy);
	pd_scene_dots(s, PD_INK_DATA, p->n_pairs > MANY ? 3 : 5,
	              2 * p->n_pairs, xy);
}

static pd_axis value_axis(const pd_answer *a, double top, double foot)
{
	double low = INFINITY, high = -INFINITY;

	pd_reach(is_log(a), a->points.pair_first, a->points.n_pairs, &low,
	         &high);
	pd_reach(is_log(a), a->points.pair_second, a->points.n_pairs, &low,
	         &high);
	return pd_axis_over(is_log(a), low, high, foot, top);
}

/* Every pair's ratio, the effect, no effect and the whole margin. */
static pd_axis effect_axis(const pd_answer *a, double top, double foot)
{
	const pd_effect *e = &a->effect[0];
	const double ends[] = { e->low, e->high };
	double low = is_log(a) ? 1 : 0, high = low, margin[2];

	for (size_t i = 0; i < a->points.n_pairs; i++) {
		double v = pair_effect(a, i);

		pd_reach(is_log(a), &v, 1, &low, &high);
	}
	pd_reach(is_log(a), &e->value, 1, &low, &high);
	pd_margin_limits(a, &margin[0], &margin[1]);
	pd_reach_margin(is_log(a), margin, &low, &high);
	pd_reach_limits(is_log(a), ends, 2, &low, &high);
	return pd_axis_over(is_log(a), low, high, foot, top);
}

static void draw_effect(pd_scene *s, const pd_answer *a, const pd_axis *axis,
                        double x)
{
	const pd_effect *e = &a->effect[0];
	pd_ink ink = pd_effect_ink(a, e);

	if (isnan(e->value))
		return;
	pd_draw_limits(s, ink, axis, x, e->low, e->high);
	pd_scene_sign(s, e->verdict, ink, x, pd_axis_at(axis, e->value), 7);
}

/* Each pair's ratio, the effect and the margin band. */
static void draw_ratios(pd_scene *s, const pd_answer *a, const pd_axis *axis,
                        const struct panels *p, const char *title)
{
	size_t n = a->points.n_pairs, used = 0;
	double *xy = PD_NEW(s->arena, double, 2 * n);
	double null = pd_axis_at(axis, is_log(a) ? 1 : 0);
	double wide = p->right_2 - p->left_2, margin[2];

	if (!xy) {
		s->failed = true;
		return;
	}
	pd_margin_limits(a, &margin[0], &margin[1]);
	if (isfinite(a->margin))
		pd_scene_box(s, PD_INK_BAND, p->left_2,
		             pd_axis_at(axis, margin[1]), p->right_2,
		             pd_axis_at(axis, margin[0]));
	pd_draw_value_axis(s, axis, p->left_2, p->right_2, title);
	pd_scene_line(s, PD_INK_AXIS, 1.6, false, p->left_2, null, p->right_2,
	              null);
	for (size_t i = 0; i < n; i++) {
		double v = pair_effect(a, i);

		if (isnan(v))
			continue;
		xy[2 * used] = p->left_2 + wide * (0.35 + 0.4 * pd_spread(i));
		xy[2 * used++ + 1] = pd_axis_at(axis, v);
	}
	pd_scene_dots(s, PD_INK_DATA, n > MANY ? 3 : 5, used, xy);
	draw_effect(s, a, axis, p->left_2 + wide * 0.8);
}

/* Height of the names below the foot, the longest of them told by lines. */
static double names_height(const pd_figure_words *w)
{
	size_t first = pd_name_lines(w->first, NAME);
	size_t second = pd_name_lines(w->second, NAME);
	size_t lines = first > second ? first : second;

	return 20 + 15 * (double)(lines ? lines : 1);
}

static struct panels lay_out(const pd_answer *a, const pd_figure_words *w,
                             bool narrow)
{
	enum { PANEL = 164, RATIOS = 112 };
	struct panels p = { .top = 14, .foot = 262, .in = 34 };
	double names = names_height(w);
	pd_axis values = value_axis(a, 14, 262);
	pd_axis effects = effect_axis(a, 14, 262);
	double room = pd_value_axis_room(&values);
	double room_2 = pd_value_axis_room(&effects);

	if (narrow) {
		p.width = PD_FIGURE_NARROW;
		p.left = p.left_2 = fmax(room, room_2);
		p.right = p.right_2 = p.width - 6;
		p.foot = 264;
		p.top_2 = p.foot + names + 12;
		p.foot_2 = p.top_2 + 240;
		p.height = p.foot_2 + 12;
		p.in = fmax(34, (p.right - p.left) / 4);
		return p;
	}
	p.left = room;
	p.right = p.left + PANEL;
	p.left_2 = p.right + 24 + room_2;
	p.right_2 = p.left_2 + RATIOS;
	p.top_2 = p.top;
	p.foot_2 = p.foot;
	p.width = p.right_2 + 6;
	p.height = p.foot + names;
	return p;
}

pd_scene *pd_figure_pairs(pd_arena *arena, const pd_answer *a,
                          const pd_figure_words *w, bool narrow)
{
	struct panels p = lay_out(a, w, narrow);
	pd_axis values = value_axis(a, p.top, p.foot);
	pd_axis effects = effect_axis(a, p.top_2, p.foot_2);
	pd_scene *s = pd_scene_new(arena, p.width, p.height);

	if (!s)
		return NULL;
	pd_draw_value_axis(s, &values, p.left, p.right, w->value_axis);
	draw_lines(s, a, &values, p.left + p.in, p.right - p.in);
	pd_draw_name(s, p.left + p.in, p.foot + 20, NAME, w->second);
	pd_draw_name(s, p.right - p.in, p.foot + 20, NAME, w->first);
	draw_ratios(s, a, &effects, &p, w->ratio_axis);
	return s;
}
