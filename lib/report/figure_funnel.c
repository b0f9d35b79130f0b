/* figure_funnel.c - operators over their number of cases; figure_watch.h. */
#include "report/figure_axes.h"
#include "report/figure_watch.h"

#include <math.h>

enum { TOP = 16, FOOT = 246, STEPS = 40, TRIES = 14 };

struct funnel {
	pd_scene *s;
	const pd_watch_answer *a;
	bool ratio;
	pd_axis x, y;
	double left, right;
	/* boxes that hold text or a bar already: x0, y0, x1, y1 each */
	size_t n_taken;
	double *taken;
};

/* Limits of chance at n cases, from one row's: they go as 1 / root n. */
static double limit_at(const struct funnel *f, double limit, double n)
{
	const pd_funnel_row *row = &f->a->funnel[0];
	double unit = (f->ratio ? log(limit) : limit) * sqrt((double)row->n);
	double v = unit / sqrt(n);

	return f->ratio ? exp(v) : v;
}

static void limit_line(const struct funnel *f, double limit, bool dashed)
{
	const pd_axis *x = &f->x;
	double before[2] = { NAN, NAN };

	for (int k = 0; k <= STEPS; k++) {
		double n = exp(log(x->from) +
		               (log(x->to) - log(x->from)) * k / STEPS);
		double px = pd_axis_at(x, n);
		double py = pd_axis_at(&f->y, limit_at(f, limit, n));

		if (isnan(limit))
			return;
		if (k)
			pd_scene_line(f->s, PD_INK_AXIS, 1.2, dashed, before[0],
			              before[1], px, py);
		before[0] = px;
		before[1] = py;
	}
}

/* Everything drawn, the limits as wide as they are at the fewest cases. */
static void set_axes(struct funnel *f, double place, double place_to)
{
	double low = INFINITY, high = -INFINITY, few = INFINITY, many = 0;

	for (size_t k = 0; k < f->a->n_funnel; k++) {
		const pd_funnel_row *r = &f->a->funnel[k];
		const double v[] = { r->mean, r->shrunk };

		pd_reach(f->ratio, v, 2, &low, &high);
		few = fmin(few, (double)r->n);
		many = fmax(many, (double)r->n);
	}
	f->x = pd_axis_over(true, few, many, place, place_to);
	const pd_funnel_row *r = &f->a->funnel[0];
	const double far[] = { limit_at(f, r->far_low, f->x.from),
		               limit_at(f, r->far_high, f->x.from) };

	pd_reach(f->ratio, far, 2, &low, &high);
	for (size_t k = 0; k < f->a->n_funnel; k++) {
		const double v[] = { f->a->funnel[k].low,
			             f->a->funnel[k].high };

		pd_reach_limits(f->ratio, v, 2, &low, &high);
	}
	f->y = pd_axis_over(f->ratio, low, high, FOOT, TOP);
}

static void take(struct funnel *f, double x0, double y0, double x1, double y1)
{
	double *t = f->taken + 4 * f->n_taken++;

	t[0] = x0;
	t[1] = y0;
	t[2] = x1;
	t[3] = y1;
}

static bool is_free(const struct funnel *f, double x0, double y0, double x1,
                    double y1)
{
	if (x0 < f->left + 2 || x1 > f->right || y0 < TOP - 4 || y1 > FOOT - 2)
		return false;
	for (size_t k = 0; k < f->n_taken; k++) {
		const double *t = f->taken + 4 * k;

		if (x0 < t[2] && x1 > t[0] && y0 < t[3] && y1 > t[1])
			return false;
	}
	return true;
}

static void draw_row(struct funnel *f, const pd_funnel_row *r)
{
	double px = pd_axis_at(&f->x, (double)r->n);
	double own[2] = { px, pd_axis_at(&f->y, r->mean) };
	double middle = pd_axis_at(&f->y, r->shrunk);

	pd_draw_limits(f->s, PD_INK_FIT, &f->y, px, r->low, r->high);
	pd_draw_centre(f->s, px, middle, 4);
	pd_scene_dots(f->s, PD_INK_DATA, 6, 1, own);
	take(f, px - 6, fmin(pd_axis_at(&f->y, r->high), middle) - 2, px + 6,
	     fmax(pd_axis_at(&f->y, r->low), middle) + 2);
}

/* The name right or left of its bar, moved up or down until it touches
 * nothing; not at all where there is no room. */
static void draw_name(struct funnel *f, const pd_funnel_row *r)
{
	const char *name =
	    pd_scene_fitted(f->s, r->name, PD_FIGURE_SMALL, 110);
	double w = pd_text_width(name, PD_FIGURE_SMALL);
	double px = pd_axis_at(&f->x, (double)r->n);
	double middle = pd_axis_at(&f->y, r->shrunk) + 4;

	for (int k = 0; k < TRIES; k++) {
		int step = (k / 2 + 1) / 2 * (k / 2 % 2 ? -1 : 1);
		double x0 = k % 2 ? px - 9 - w : px + 9;
		double y = middle + 14 * step;

		if (!is_free(f, x0, y - 10, x0 + w, y + 3))
			continue;
		pd_scene_box(f->s, PD_INK_PAGE, x0 - 1, y - 10, x0 + w + 1,
		             y + 3);
		pd_scene_text(f->s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START,
		              false, x0, y, name);
		take(f, x0, y - 10, x0 + w, y + 3);
		return;
	}
}

pd_scene *pd_figure_funnel(pd_arena *arena, const pd_watch_answer *a,
                           bool narrow)
{
	double width = narrow ? PD_FIGURE_NARROW : PD_FIGURE_WIDE;
	struct funnel f = { .s = pd_scene_new(arena, width, FOOT + 50),
		            .a = a, .ratio = a->scale == PD_RATIO,
		            .taken = PD_NEW(arena, double,
		                            8 * a->n_funnel + 1) };

	if (!f.s || !f.taken || !a->n_funnel)
		return f.taken ? f.s : NULL;
	set_axes(&f, 0, 1);
	f.left = pd_value_axis_room(&f.y);
	f.right = width - 6;
	set_axes(&f, f.left, f.right);
	const pd_funnel_row *row = &a->funnel[0];
	double null = pd_axis_at(&f.y, f.ratio ? 1 : 0);

	pd_draw_value_axis(f.s, &f.y, f.left, f.right,
	                   f.ratio ? "ratio against all"
	                           : "points against all");
	pd_draw_foot_axis(f.s, &f.x, FOOT, FOOT, "cases");
	pd_scene_line(f.s, PD_INK_AXIS, 1.6, false, f.left, null, f.right,
	              null);
	limit_line(&f, row->limit_low, true);
	limit_line(&f, row->limit_high, true);
	limit_line(&f, row->far_low, false);
	limit_line(&f, row->far_high, false);
	for (size_t k = 0; k < a->n_funnel; k++)
		draw_row(&f, &a->funnel[k]);
	for (size_t k = 0; k < a->n_funnel; k++)
		draw_name(&f, &a->funnel[k]);
	return f.s;
}
