/* figure_watch.c - cases in time; see figure_watch.h. */
#include "report/figure_watch.h"
#include "report/figure_axes.h"

#include <math.h>

enum { PANEL = 140, TOP = 20, BETWEEN = 26, MOST_PLACES = 300 };

/* One panel: its axes and where its lines run. */
struct panel {
	const pd_chart *c;
	pd_axis x, y;
	double left, right;
};

static double largest(const double *v, size_t n, double at_least)
{
	for (size_t i = 0; i < n; i++)
		if (isfinite(v[i]))
			at_least = fmax(at_least, fabs(v[i]));
	return at_least;
}

/* sign * v over time; of each step of a long history the value furthest from
 * 0, so that nothing that left its limits is lost. */
static void chain(pd_scene *s, const struct panel *p, pd_ink ink,
                  double width, const double *v, double sign)
{
	const pd_chart *c = p->c;
	size_t step = c->n / MOST_PLACES + 1, n = 0;
	double *xy = PD_NEW(s->arena, double, 2 * (c->n / step + 2));

	if (!xy) {
		s->failed = true;
		return;
	}
	for (size_t i = 0; i < c->n; i += step, n++) {
		size_t far = i;

		for (size_t k = i; k < i + step && k < c->n; k++)
			if (fabs(v[k]) > fabs(v[far]))
				far = k;
		xy[2 * n] = pd_axis_at(&p->x, c->time[far]);
		xy[2 * n + 1] = pd_axis_at(&p->y, sign * v[far]);
	}
	pd_scene_chain(s, ink, width, n, xy);
}

static void limit_line(pd_scene *s, const struct panel *p, double from,
                       double v)
{
	pd_scene_line(s, PD_INK_AXIS, 1.2, true, pd_axis_at(&p->x, from),
	              pd_axis_at(&p->y, v), p->right, pd_axis_at(&p->y, v));
}

/* Arrow heads at the panel's edges for the signals of one kind. */
static void draw_signals(pd_scene *s, const struct panel *p,
                         const pd_watch_answer *a, char kind)
{
	double none = a->scale == PD_RATIO ? 1 : 0;

	for (size_t k = 0; k < a->n_signals; k++) {
		const pd_signal *g = &a->signal[k];
		bool more = g->change >= none;

		if (g->group == p->c->group &&
		    (g->chart[0] == kind || g->chart[0] == 'b'))
			pd_scene_arrow(s, PD_INK_TEXT,
			               pd_axis_at(&p->x, g->time),
			               more ? p->y.place_to : p->y.place, 0,
			               more ? -1 : 1);
	}
}

static void average_panel(pd_scene *s, struct panel *p,
                          const pd_watch_answer *a, double top)
{
	const pd_chart *c = p->c;
	double far = 1.2 * largest(c->average, c->n,
	                           largest(c->half, c->n, 0.5));
	double limit = largest(c->half, c->n, 0);
	double from = c->time[c->n_base < c->n ? c->n_base : c->n - 1];

	p->y = pd_axis_over(false, -far, far, top + PANEL, top);
	pd_draw_value_axis(s, &p->y, p->left, p->right, "average, SD");
	limit_line(s, p, from, limit);
	limit_line(s, p, from, -limit);
	chain(s, p, PD_INK_FIT, 1, c->average, 1);
	draw_signals(s, p, a, 'w');
}

static void sum_panel(pd_scene *s, struct panel *p, const pd_watch_answer *a,
                      double top)
{
	const pd_chart *c = p->c;
	double far = 1.2 * fmax(largest(c->up, c->n, c->limit_sum),
	                        largest(c->down, c->n, 0));
	double from = c->time[c->n_base < c->n ? c->n_base : c->n - 1];

	p->y = pd_axis_over(false, -far, far, top + PANEL, top);
	pd_draw_value_axis(s, &p->y, p->left, p->right, "sums, SD");
	limit_line(s, p, from, c->limit_sum);
	limit_line(s, p, from, -c->limit_sum);
	chain(s, p, PD_INK_FIT, 1, c->up, 1);
	chain(s, p, PD_INK_FIT, 1, c->down, -1);
	draw_signals(s, p, a, 'c');
}

static void draw_marks(pd_scene *s, const pd_watch_answer *a,
                       const pd_axis *x, double top, double foot)
{
	pd_letters letters = { 0 };

	for (size_t k = 0; k < a->n_marks; k++)
		pd_draw_lettered(s, &letters, pd_axis_at(x, a->mark[k].time),
		                 top, foot);
}

/* Room for the wider of the two value axes. */
static double axis_room(const pd_chart *c)
{
	double far[] = { 1.2 * largest(c->average, c->n,
		                       largest(c->half, c->n, 0.5)),
		         1.2 * fmax(largest(c->up, c->n, c->limit_sum),
		                    largest(c->down, c->n, 0)) };
	double room = 0;

	for (size_t k = 0; k < 2; k++) {
		pd_axis y = pd_axis_over(false, -far[k], far[k], PANEL, 0);

		room = fmax(room, pd_value_axis_room(&y));
	}
	return room;
}

pd_scene *pd_figure_watch(pd_arena *arena, const pd_watch_answer *a,
                          bool narrow)
{
	const pd_chart *c = &a->chart[0];
	double second = TOP + PANEL + BETWEEN, foot = second + PANEL;
	double width = narrow ? PD_FIGURE_NARROW : PD_FIGURE_WIDE;
	struct panel p = { .c = c, .left = axis_room(c), .right = width - 6 };
	pd_scene *s = pd_scene_new(arena, width, foot + 40);

	if (!s)
		return NULL;
	p.x = pd_axis_over(false, c->time[0], c->time[c->n - 1], p.left,
	                   p.right);
	double base =
	    pd_axis_at(&p.x, c->time[c->n_base ? c->n_base - 1 : 0]);

	pd_scene_box(s, PD_INK_BAND, p.left, TOP, base, TOP + PANEL);
	pd_scene_box(s, PD_INK_BAND, p.left, second, base, foot);
	if (base - p.left > pd_text_width("baseline", PD_FIGURE_SMALL) + 10)
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START, false,
		              p.left + 5, TOP + 15, "baseline");
	pd_draw_foot_axis(s, &p.x, foot, foot, "year");
	average_panel(s, &p, a, TOP);
	sum_panel(s, &p, a, second);
	draw_marks(s, a, &p.x, TOP, foot);
	return s;
}
