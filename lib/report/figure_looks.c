/* figure_looks.c - see figure_looks.h. */
#include "report/figure_looks.h"
#include "report/figure_axes.h"

#include <math.h>
#include <stdio.h>

enum { TOP = 22, PANEL = 160, BETWEEN = 20, BELOW = 130 };

struct panels {
	const pd_answer *a;
	bool ratio;
	pd_axis x, value, z;
	double left, right;
};

static bool drawn(const pd_reading *r)
{
	return isfinite(r->information) && r->information > 0;
}

static double null_of(const struct panels *p)
{
	return p->ratio ? 1 : 0;
}

static pd_axis value_axis(const struct panels *p)
{
	const pd_answer *a = p->a;
	double low = null_of(p), high = low, margin[2];

	for (size_t k = 0; k < a->n_readings; k++)
		pd_reach(p->ratio, &a->reading[k].value, 1, &low, &high);
	pd_margin_limits(a, &margin[0], &margin[1]);
	pd_reach_margin(p->ratio, margin, &low, &high);
	for (size_t k = 0; k < a->n_readings; k++) {
		const double ends[] = { a->reading[k].low,
			                a->reading[k].high };

		pd_reach_limits(p->ratio, ends, 2, &low, &high);
	}
	return pd_axis_over(p->ratio, low, high, TOP + PANEL, TOP);
}

/* Estimates and boundaries, on both sides of none. */
static pd_axis z_axis(const struct panels *p)
{
	double low = 0, high = 0, top = TOP + PANEL + BETWEEN;

	for (size_t k = 0; k < p->a->n_readings; k++) {
		const pd_reading *r = &p->a->reading[k];
		const double v[] = { r->z, r->bound, -r->bound };

		pd_reach(false, v, 3, &low, &high);
	}
	return pd_axis_over(false, low, high, top + BELOW, top);
}

static double place(const struct panels *p, size_t k)
{
	return pd_axis_at(&p->x, p->a->reading[k].information);
}

static void draw_values(pd_scene *s, const struct panels *p,
                        const char *title)
{
	const pd_answer *a = p->a;
	double null = pd_axis_at(&p->value, null_of(p)), margin[2];

	pd_margin_limits(a, &margin[0], &margin[1]);
	if (isfinite(a->margin))
		pd_scene_box(s, PD_INK_BAND, p->left,
		             pd_axis_at(&p->value, margin[1]), p->right,
		             pd_axis_at(&p->value, margin[0]));
	pd_draw_value_axis(s, &p->value, p->left, p->right, title);
	pd_scene_line(s, PD_INK_AXIS, 1.6, false, p->left, null, p->right,
	              null);
	for (size_t k = 0; k < a->n_readings; k++) {
		const pd_reading *r = &a->reading[k];
		bool newest = k + 1 == a->n_readings;
		double x = place(p, k), y = pd_axis_at(&p->value, r->value);

		if (!drawn(r) || !isfinite(r->value))
			continue;
		pd_draw_limits(s, newest ? pd_effect_ink(a, &a->effect[0]) : PD_INK_FIT, &p->value,
		               x, r->low, r->high);
		if (newest)
			pd_scene_sign(s, a->effect[0].verdict, pd_effect_ink(a, &a->effect[0]), x,
			              y, 7);
		else
			pd_draw_centre(s, x, y, 3.5);
	}
}

/* The boundary as a dash at every reading, joined while information rises. */
static void draw_bounds(pd_scene *s, const struct panels *p, double sign)
{
	const pd_reading *before = NULL;

	for (size_t k = 0; k < p->a->n_readings; k++) {
		const pd_reading *r = &p->a->reading[k];
		double x = place(p, k);
		double y = pd_axis_at(&p->z, sign * r->bound);

		if (!drawn(r) || !isfinite(r->bound)) {
			before = NULL;
			continue;
		}
		pd_scene_line(s, PD_INK_AXIS, 1.6, false, x - 4, y,
		              fmin(x + 4, s->width), y);
		if (before && before->information < r->information)
			pd_scene_line(
			    s, PD_INK_AXIS, 1.2, true,
			    pd_axis_at(&p->x, before->information),
			    pd_axis_at(&p->z, sign * before->bound), x, y);
		before = r;
	}
}

/* "boundary" above the upper one's right end, where it has room. */
static void name_bound(pd_scene *s, const struct panels *p)
{
	const pd_reading *r = &p->a->reading[p->a->n_readings - 1];
	double y = pd_axis_at(&p->z, r->bound);

	if (drawn(r) && isfinite(r->bound) && y > p->z.place_to + 18)
		pd_scene_text(s, PD_INK_MUTED, PD_FIGURE_SMALL, PD_END, false,
		              p->right - 2, y - 5, "boundary");
}

static void draw_z(pd_scene *s, const struct panels *p)
{
	double null = pd_axis_at(&p->z, 0), before[2] = { NAN, NAN };

	pd_draw_value_axis(s, &p->z, p->left, p->right, "estimate, in SE");
	pd_scene_line(s, PD_INK_AXIS, 1.6, false, p->left, null, p->right,
	              null);
	draw_bounds(s, p, 1);
	draw_bounds(s, p, -1);
	name_bound(s, p);
	for (size_t k = 0; k < p->a->n_readings; k++) {
		const pd_reading *r = &p->a->reading[k];
		double x = place(p, k), y = pd_axis_at(&p->z, r->z);

		if (!drawn(r) || !isfinite(r->z))
			continue;
		if (!isnan(before[0]))
			pd_scene_line(s, PD_INK_DATA, 1.2, false, before[0],
			              before[1], x, y);
		before[0] = x;
		before[1] = y;
	}
	for (size_t k = 0; k < p->a->n_readings; k++) {
		const pd_reading *r = &p->a->reading[k];

		if (drawn(r) && isfinite(r->z))
			pd_draw_centre(s, place(p, k),
			               pd_axis_at(&p->z, r->z), 3.5);
	}
}

/* "1" to "12" above, as long as they do not touch; the newest always. */
static void draw_numbers(pd_scene *s, const struct panels *p)
{
	double taken = INFINITY;
	char text[24];

	for (size_t k = p->a->n_readings; k-- > 0;) {
		double x = place(p, k), half;

		snprintf(text, sizeof text, "%zu", k + 1);
		half = pd_text_width(text, PD_FIGURE_SMALL) / 2;
		if (!drawn(&p->a->reading[k]) || x + half > taken)
			continue;
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_MIDDLE, true,
		              x, TOP - 7, text);
		taken = x - half - 3;
	}
}

pd_scene *pd_figure_looks(pd_arena *arena, const pd_answer *a,
                          const char *title, bool narrow)
{
	double width = narrow ? PD_FIGURE_NARROW : PD_FIGURE_WIDE;
	double foot = TOP + PANEL + BETWEEN + BELOW, most = 0;
	struct panels p = { .a = a, .ratio = a->scale == PD_RATIO,
		            .right = width - 6 };
	pd_scene *s = pd_scene_new(arena, width, foot + 46);

	if (!s)
		return NULL;
	for (size_t k = 0; k < a->n_readings; k++)
		if (drawn(&a->reading[k]))
			most = fmax(most, a->reading[k].information);
	p.value = value_axis(&p);
	p.z = z_axis(&p);
	p.left = fmax(pd_value_axis_room(&p.value), pd_value_axis_room(&p.z));
	p.x = (pd_axis){ false, 0, most > 0 ? 1.06 * most : 1, p.left,
		         p.right };
	draw_values(s, &p, title);
	draw_z(s, &p);
	draw_numbers(s, &p);
	pd_draw_foot_axis(s, &p.x, foot, foot, "information, 1/SE\xc2\xb2");
	return s;
}
