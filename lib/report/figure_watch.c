/* figure_watch.c - see figure_watch.h. */
#include "report/figure_watch.h"
#include "report/figure_axes.h"

#include <math.h>
#include <stdio.h>

enum { WIDTH = 440, LEFT = 64, PANEL = 140, MOST_PLACES = 600, FUNNEL = 230 };

/* Every so manieth case, so that a long history stays drawable. */
static size_t stride(const pd_chart *c)
{
	return c->n / MOST_PLACES + 1;
}

static void chain(pd_scene *s, pd_ink ink, double width, const pd_chart *c,
                  const double *v, double sign, const pd_axis *x,
                  const pd_axis *y)
{
	size_t step = stride(c), n = 0;
	double *xy = PD_NEW(s->arena, double, 2 * (c->n / step + 2));

	if (!xy) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < c->n; i += step, n++) {
		xy[2 * n] = pd_axis_at(x, c->time[i]);
		xy[2 * n + 1] = pd_axis_at(y, sign * v[i]);
	}
	pd_scene_chain(s, ink, width, n, xy);
}

static double largest(const double *v, size_t n, double at_least)
{
	for (size_t i = 0; i < n; i++)
		at_least = fmax(at_least, fabs(v[i]));
	return at_least;
}

static void level_line(pd_scene *s, const pd_axis *y, double v)
{
	pd_scene_line(s, PD_INK_LOSS, 1.2, true, LEFT, pd_axis_at(y, v),
	              WIDTH - 6, pd_axis_at(y, v));
}

static void average_panel(pd_scene *s, const pd_chart *c, const pd_axis *x,
                          double top)
{
	double far = 1.1 * largest(c->average, c->n,
	                           largest(c->half, c->n, 0.5));
	pd_axis y = pd_axis_over(false, -far, far, top + PANEL, top);

	pd_draw_value_axis(s, &y, LEFT, WIDTH - 6, "average");
	chain(s, PD_INK_LOSS, 1, c, c->half, 1, x, &y);
	chain(s, PD_INK_LOSS, 1, c, c->half, -1, x, &y);
	chain(s, PD_INK_DATA, 1.4, c, c->average, 1, x, &y);
}

static void sum_panel(pd_scene *s, const pd_chart *c, const pd_axis *x,
                      double top)
{
	double far = 1.1 * fmax(largest(c->up, c->n, c->limit_sum),
	                        largest(c->down, c->n, 0));
	pd_axis y = pd_axis_over(false, -far, far, top + PANEL, top);

	pd_draw_value_axis(s, &y, LEFT, WIDTH - 6, "sums");
	level_line(s, &y, c->limit_sum);
	level_line(s, &y, -c->limit_sum);
	chain(s, PD_INK_DATA, 1.4, c, c->up, 1, x, &y);
	chain(s, PD_INK_FIT, 1.4, c, c->down, -1, x, &y);
}

pd_scene *pd_figure_watch(pd_arena *arena, const pd_chart *c,
                          const pd_mark_at *mark, size_t n_marks)
{
	double top = 20, second = top + PANEL + 24, foot = second + PANEL;
	pd_scene *s = pd_scene_new(arena, WIDTH, foot + 40);
	pd_axis x = pd_axis_over(false, c->time[0], c->time[c->n - 1],
	                         LEFT + 6, WIDTH - 10);
	char letter[2] = "a";

	if (!s)
		return NULL;
	double base = pd_axis_at(&x, c->time[c->n_base ? c->n_base - 1 : 0]);

	pd_scene_box(s, PD_INK_BAND, LEFT, top, base, foot);
	pd_draw_foot_axis(s, &x, foot, foot, "year");
	average_panel(s, c, &x, top);
	sum_panel(s, c, &x, second);
	for (size_t k = 0; k < n_marks; k++) {
		double at = pd_axis_at(&x, mark[k].time);

		pd_scene_line(s, PD_INK_MUTED, 1.2, true, at, top, at, foot);
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_MIDDLE, true,
		              at, top - 5, letter);
		if (*letter < 'z')
			++*letter;
	}
	return s;
}

/* --- operators ----------------------------------------------------------------- */

/* Limits of chance at n cases, scaled from one row's: they go as 1 / root n. */
static void funnel_line(pd_scene *s, const pd_watch_answer *a,
                        const pd_funnel_row *row, double limit, double from,
                        double to, bool dashed, const pd_axis *x,
                        const pd_axis *y)
{
	enum { STEPS = 40 };
	bool ratio = a->scale == PD_RATIO;
	double unit = (ratio ? log(limit) : limit) * sqrt((double)row->n);
	double before[2] = { NAN, NAN };

	for (int k = 0; k <= STEPS; k++) {
		double n = exp(log(from) + (log(to) - log(from)) * k / STEPS);
		double v = unit / sqrt(n);
		double px = pd_axis_at(x, n);
		double py = pd_axis_at(y, ratio ? exp(v) : v);

		if (k)
			pd_scene_line(s, PD_INK_AXIS, 1.2, dashed, before[0],
			              before[1], px, py);
		before[0] = px;
		before[1] = py;
	}
}

pd_scene *pd_figure_funnel(pd_arena *arena, const pd_watch_answer *a)
{
	double low = INFINITY, high = -INFINITY, few = INFINITY, many = 0;
	bool ratio = a->scale == PD_RATIO;
	pd_scene *s = pd_scene_new(arena, WIDTH, FUNNEL + 60);

	if (!s || !a->n_funnel)
		return s;
	for (size_t k = 0; k < a->n_funnel; k++) {
		const pd_funnel_row *f = &a->funnel[k];
		const double v[] = { f->mean, f->low, f->high, f->far_low,
			             f->far_high };

		pd_reach(ratio, v, 5, &low, &high);
		few = fmin(few, (double)f->n);
		many = fmax(many, (double)f->n);
	}
	pd_axis x = pd_axis_over(true, few, many, LEFT + 14, WIDTH - 20);
	pd_axis y = pd_axis_over(ratio, low, high, FUNNEL, 16);
	const pd_funnel_row *row = &a->funnel[0];

	pd_draw_value_axis(s, &y, LEFT, WIDTH - 6,
	                   ratio ? "against all, ratio"
	                         : "against all, points");
	pd_draw_foot_axis(s, &x, FUNNEL, FUNNEL, "cases, logarithmic axis");
	pd_scene_line(s, PD_INK_AXIS, 1.6, false, LEFT,
	              pd_axis_at(&y, ratio ? 1 : 0), WIDTH - 6,
	              pd_axis_at(&y, ratio ? 1 : 0));
	funnel_line(s, a, row, row->limit_low, few, many, true, &x, &y);
	funnel_line(s, a, row, row->limit_high, few, many, true, &x, &y);
	funnel_line(s, a, row, row->far_low, few, many, false, &x, &y);
	funnel_line(s, a, row, row->far_high, few, many, false, &x, &y);
	for (size_t k = 0; k < a->n_funnel; k++) {
		const pd_funnel_row *f = &a->funnel[k];
		double px = pd_axis_at(&x, (double)f->n);
		double own[2] = { px, pd_axis_at(&y, f->mean) };

		pd_draw_limits(s, PD_INK_FIT, &y, px, f->low, f->high);
		pd_draw_centre(s, px, pd_axis_at(&y, f->shrunk), 4);
		pd_scene_dots(s, PD_INK_DATA, 6, 1, own);
		int right = px < WIDTH - 80;

		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL,
		              right ? PD_START : PD_END, false,
		              right ? px + 8 : px - 8,
		              pd_axis_at(&y, f->shrunk) + 4, f->name);
	}
	return s;
}
