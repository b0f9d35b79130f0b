/*
 * figure_slope.c - points along a parameter with the fitted line, its band,
 * and at the foot how many results lie where: a line without results under it
 * is to be believed less. Results of zero have no place on a log axis: they
 * lie on its low end and the figure's description counts them.
 */
#include "base/buf.h"
#include "report/figure.h"
#include "report/figure_axes.h"
#include "report/number.h"

#include <math.h>

enum { MANY = 150, STRIP = 40 };

static bool is_log(const pd_answer *a)
{
	return a->scale == PD_RATIO;
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
	pd_scene_dots(s, PD_INK_DATA, n > MANY ? 3 : 4.5, n, xy);
}

/* --- the line and its band ---------------------------------------------- */

static bool drawable(const pd_points *p, size_t i)
{
	return isfinite(p->line_x[i]) && isfinite(p->line_y[i]) &&
	       !isnan(p->line_low[i]) && !isnan(p->line_high[i]);
}

/* An arrow in the middle of every run of the band's edge past the axis. */
static void draw_beyond(pd_scene *s, const pd_points *p, const pd_axis *x,
                        const pd_axis *y, const double *edge, double way)
{
	size_t run = 0;

	for (size_t i = 0; i <= p->n_line; i++) {
		bool out = i < p->n_line && (way > 0 ? edge[i] > y->to
		                                     : edge[i] < y->from);

		if (!out && run) {
			double at = pd_axis_at(x, p->line_x[i - 1 - run / 2]);

			pd_scene_arrow(s, PD_INK_FIT, at,
			               way > 0 ? y->place_to : y->place, 0,
			               way > 0 ? -1 : 1);
		}
		run = out ? run + 1 : 0;
	}
}

static void draw_line(pd_scene *s, const pd_points *p, const pd_axis *x,
                      const pd_axis *y)
{
	size_t n = 0, m = p->n_line;
	double *band = PD_NEW(s->arena, double, 4 * m + 4);
	double *line = PD_NEW(s->arena, double, 2 * m + 2);
	double *low = PD_NEW(s->arena, double, 2 * m + 2);

	if (!band || !line || !low) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < m; i++) {
		if (!drawable(p, i))
			continue;
		double at = pd_axis_at(x, p->line_x[i]);

		band[2 * n] = line[2 * n] = low[2 * n] = at;
		band[2 * n + 1] = pd_axis_at(y, p->line_high[i]);
		low[2 * n + 1] = pd_axis_at(y, p->line_low[i]);
		line[2 * n++ + 1] = pd_axis_at(y, p->line_y[i]);
	}
	if (n < 2)
		return;
	for (size_t i = 0; i < n; i++) {
		band[2 * (n + i)] = low[2 * (n - 1 - i)];
		band[2 * (n + i) + 1] = low[2 * (n - 1 - i) + 1];
	}
	pd_scene_area(s, PD_INK_FIT_BAND, 2 * n, band);
	pd_scene_chain(s, PD_INK_FIT, 0.8, n, band);
	pd_scene_chain(s, PD_INK_FIT, 0.8, n, low);
	pd_scene_chain(s, PD_INK_FIT, 2.4, n, line);
	draw_beyond(s, p, x, y, p->line_high, 1);
	draw_beyond(s, p, x, y, p->line_low, -1);
}

/* --- where the results lie ---------------------------------------------- */

static size_t tallest(const pd_points *p)
{
	size_t most = 0;

	for (size_t k = 0; k < p->n_strip; k++)
		if (p->strip[k].n_rows > most)
			most = p->strip[k].n_rows;
	return most;
}

/* Half the width of a bar that stands for one value: as narrow as the two
 * nearest values ask for. */
static double half_width(const pd_points *p, const pd_axis *x)
{
	double least = 24;

	for (size_t k = 1; k < p->n_strip; k++)
		least = fmin(least, fabs(pd_axis_at(x, p->strip[k].at) -
		                         pd_axis_at(x, p->strip[k - 1].at)));
	return 0.35 * least;
}

static void draw_strip(pd_scene *s, const pd_points *p, const pd_axis *x,
                       double foot)
{
	size_t most = tallest(p);
	double half = half_width(p, x);
	pd_buf text;

	if (!most)
		return;
	for (size_t k = 0; k < p->n_strip; k++) {
		const pd_strip *c = &p->strip[k];
		bool one = !(c->to > c->from);
		double x0 = pd_axis_at(x, c->from), x1 = pd_axis_at(x, c->to);
		double high = (STRIP - 4) * (double)c->n_rows / (double)most;

		if (c->n_rows)
			pd_scene_box(s, PD_INK_DATA, one ? x0 - half : x0 + 0.5,
			             foot - fmax(high, 1),
			             one ? x1 + half : x1 - 0.5, foot);
	}
	pd_buf_init(&text);
	pd_number_count(&text, most);
	if (!pd_buf_ok(&text))
		s->failed = true;
	else
		pd_scene_text(s, PD_INK_MUTED, PD_FIGURE_SMALL, PD_END, false,
		              x->place - 6, foot - STRIP + 13,
		              pd_buf_text(&text));
	pd_buf_clear(&text);
}

pd_scene *pd_figure_slope(pd_arena *arena, const pd_answer *a,
                          const pd_figure_words *w, bool narrow)
{
	const pd_points *p = &a->points;
	double x_low = INFINITY, x_high = -INFINITY;
	double y_low = INFINITY, y_high = -INFINITY;
	double strip = p->n_strip ? STRIP + 12 : 0, foot = 262 + strip;
	double width = narrow ? PD_FIGURE_NARROW : PD_FIGURE_WIDE;
	pd_scene *s = pd_scene_new(arena, width, foot + 50);

	if (!s)
		return NULL;
	pd_reach(a->log_x, p->x, p->n_xy, &x_low, &x_high);
	pd_reach(a->log_x, p->line_x, p->n_line, &x_low, &x_high);
	for (size_t k = 0; k < p->n_strip; k++) {
		const double ends[] = { p->strip[k].from, p->strip[k].to };

		pd_reach(a->log_x, ends, 2, &x_low, &x_high);
	}
	pd_reach(is_log(a), p->y, p->n_xy, &y_low, &y_high);
	pd_reach(is_log(a), p->line_y, p->n_line, &y_low, &y_high);
	pd_reach_limits(is_log(a), p->line_low, p->n_line, &y_low, &y_high);
	pd_reach_limits(is_log(a), p->line_high, p->n_line, &y_low, &y_high);
	pd_axis y = pd_axis_over(is_log(a), y_low, y_high, 262, 14);
	double left = pd_value_axis_room(&y);
	pd_axis x = pd_axis_over(a->log_x, x_low, x_high, left, width - 8);

	pd_draw_value_axis(s, &y, left, width - 8, w->value_axis);
	pd_draw_foot_axis(s, &x, foot, 14, w->x_axis);
	if (strip > 0)
		pd_scene_line(s, PD_INK_AXIS, 1, false, left, 262, width - 8,
		              262);
	draw_cloud(s, p, &x, &y);
	if (p->n_line)
		draw_line(s, p, &x, &y);
	draw_strip(s, p, &x, foot);
	return s;
}
