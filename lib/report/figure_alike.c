/* figure_alike.c - see figure_alike.h. */
#include "report/figure_alike.h"
#include "report/figure_axes.h"

#include <math.h>

enum { TOP = 26, ROW = 24, STEP = 15, NAMES = 176 };

static const double balanced = 0.1;

struct rows {
	const pd_weighing *w;
	bool narrow;
	double width, plot, plot_to, names;
	pd_axis x;
};

static size_t name_lines(const struct rows *r, size_t i)
{
	return pd_scene_wrapped(NULL, PD_INK_TEXT, PD_FIGURE_TEXT, PD_START,
	                        false, 0, 0, 0, r->names,
	                        r->w->alike[i].name);
}

static double row_height(const struct rows *r, size_t i)
{
	double names = STEP * (double)name_lines(r, i);

	return r->narrow ? names + ROW : fmax(ROW, names + 9);
}

/* Symmetrical, as far as the differences go, PD_ALIKE_FAR at the most. */
static pd_axis make_axis(const struct rows *r)
{
	double far = 2.5 * balanced;

	for (size_t i = 0; i < r->w->n_alike; i++) {
		const double v[] = { r->w->alike[i].before,
			             r->w->alike[i].after };

		for (size_t k = 0; k < 2; k++)
			if (isfinite(v[k]))
				far = fmax(far, fabs(v[k]));
	}
	far = fmin(far, PD_ALIKE_FAR) * 1.08;
	return (pd_axis){ false, -far, far, r->plot, r->plot_to };
}

/* A sign at v, or the arrow of what lies past the axis. */
static void draw_sign(pd_scene *s, const pd_axis *a, double v, double y,
                      bool before)
{
	double x = pd_axis_at(a, v);

	if (v > a->to || v < a->from)
		pd_scene_arrow(s, PD_INK_FIT, x, y, v > 0 ? 1 : -1, 0);
	else if (before)
		pd_draw_ring(s, PD_INK_FIT, x, y, 4.6);
	else
		pd_draw_centre(s, x, y, 3.6);
}

/* The balanced band and no difference. */
static void draw_ground(pd_scene *s, const struct rows *r, double top,
                        double foot)
{
	double null = pd_axis_at(&r->x, 0);

	pd_scene_box(s, PD_INK_BAND, pd_axis_at(&r->x, -balanced), top,
	             pd_axis_at(&r->x, balanced), foot);
	pd_scene_line(s, PD_INK_AXIS, 1.6, false, null, top, null, foot);
}

static void draw_row(pd_scene *s, const struct rows *r, size_t i, double top)
{
	const pd_alike *b = &r->w->alike[i];
	double h = row_height(r, i);
	double y = r->narrow ? top + h - ROW / 2.0 + 2 : top + h / 2;
	double lines = (double)name_lines(r, i);
	double first = r->narrow
	                   ? top + 12
	                   : y + 4.5 - (lines - 1) * STEP / 2;

	pd_scene_wrapped(s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_START, false, 4,
	                 first, STEP, r->names, b->name);
	if (!isfinite(b->before) || !isfinite(b->after)) {
		pd_scene_text(s, PD_INK_MUTED, PD_FIGURE_SMALL, PD_START, false,
		              pd_axis_at(&r->x, 0) + 8, y + 4, "no spread");
		return;
	}
	if (r->narrow)
		draw_ground(s, r, y - 10, y + 10);
	pd_scene_line(s, PD_INK_DATA, 1.4, false, pd_axis_at(&r->x, b->before),
	              y, pd_axis_at(&r->x, b->after), y);
	draw_sign(s, &r->x, b->before, y, true);
	draw_sign(s, &r->x, b->after, y, false);
}

static void draw_key(pd_scene *s, const struct rows *r)
{
	double x = r->narrow ? 10 : r->plot + 6, y = 12;

	pd_draw_ring(s, PD_INK_FIT, x, y - 4, 4.6);
	pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START, false, x + 10,
	              y, "before");
	x += 10 + pd_text_width("before", PD_FIGURE_SMALL) + 24;
	pd_draw_centre(s, x, y - 4, 3.6);
	pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START, false, x + 10,
	              y, "after weighting");
}

pd_scene *pd_figure_alike(pd_arena *arena, const pd_weighing *w,
                          const char *axis_words, bool narrow)
{
	struct rows r = { .w = w, .narrow = narrow };
	double foot = TOP;

	r.width = narrow ? PD_FIGURE_NARROW : PD_FIGURE_WIDE;
	r.plot = narrow ? 10 : NAMES + 14;
	r.plot_to = r.width - 10;
	r.names = narrow ? r.width - 8 : NAMES;
	r.x = make_axis(&r);
	for (size_t i = 0; i < w->n_alike; i++)
		foot += row_height(&r, i);
	pd_scene *s = pd_scene_new(arena, r.width, foot + 46);

	if (!s)
		return NULL;
	if (!narrow)
		draw_ground(s, &r, TOP, foot);
	pd_draw_foot_axis(s, &r.x, foot, narrow ? foot : TOP, axis_words);
	draw_key(s, &r);
	double y = TOP;

	for (size_t i = 0; i < w->n_alike; i++) {
		draw_row(s, &r, i, y);
		y += row_height(&r, i);
	}
	return s;
}
