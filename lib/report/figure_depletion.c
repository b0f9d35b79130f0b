/* figure_depletion.c - see figure_depletion.h. */
#include "report/figure_depletion.h"
#include "report/figure_axes.h"

#include <math.h>
#include <stdio.h>

enum { TOP = 24, UPPER = 170, BETWEEN = 18, LOWER = 130, GAP = 10 };

/* The three numbers of a cell in the upper or the lower row of panels. */
struct shown {
	double value, low, high;
	bool few;
};

struct chart {
	pd_scene *s;
	const pd_depletion *d;
	bool ratio;
	double left, right, panel; /* of all panels; width of one             */
};

static struct shown shown_at(const pd_depletion *d, size_t hole, size_t pull,
                             bool lower)
{
	const pd_depletion_cell *c = &d->cell[hole][pull];

	if (lower)
		return (struct shown){ c->ratio, c->ratio_low, c->ratio_high,
			               c->n_both < d->least };
	return (struct shown){ c->centre, c->low, c->high,
		               c->n_patients < d->least };
}

/* Is there a number to draw? On a log axis it has to be above 0. */
static bool drawable(const struct chart *c, double v)
{
	return isfinite(v) && (!c->ratio || v > 0);
}

static bool any_ratio(const struct chart *c)
{
	for (size_t h = 0; h < c->d->n_holes; h++)
		for (size_t k = 0; k < c->d->n_pulls; k++)
			if (drawable(c, c->d->cell[h][k].ratio))
				return true;
	return false;
}

static pd_axis row_axis(const struct chart *c, bool lower, double top,
                        double foot)
{
	const pd_depletion *d = c->d;
	double low = INFINITY, high = -INFINITY;
	const double none = c->ratio ? 1 : 0;

	if (lower)
		pd_reach(c->ratio, &none, 1, &low, &high);
	for (size_t h = 0; h < d->n_holes; h++)
		for (size_t k = 0; k < d->n_pulls; k++) {
			struct shown v = shown_at(d, h, k, lower);
			const pd_depletion_cell *cell = &d->cell[h][k];

			pd_reach(c->ratio, &v.value, 1, &low, &high);
			if (!lower && cell->point)
				pd_reach(c->ratio, cell->point,
				         cell->n_patients, &low, &high);
		}
	for (size_t h = 0; h < d->n_holes; h++)
		for (size_t k = 0; k < d->n_pulls; k++) {
			struct shown v = shown_at(d, h, k, lower);
			const double ends[] = { v.low, v.high };

			pd_reach_limits(c->ratio, ends, 2, &low, &high);
		}
	return pd_axis_over(c->ratio, low, high, foot, top);
}

static double pull_x(const struct chart *c, size_t hole, size_t pull)
{
	double slot = (c->panel - GAP) / (double)c->d->n_pulls;

	return c->left + c->panel * (double)hole + GAP / 2.0 +
	       slot * ((double)pull + 0.5);
}

static void draw_points(const struct chart *c, const pd_axis *y, size_t hole,
                        size_t pull)
{
	const pd_depletion_cell *cell = &c->d->cell[hole][pull];
	size_t n = cell->point ? cell->n_patients : 0, used = 0;
	double *xy = PD_NEW(c->s->arena, double, 2 * n + 1);
	double slot = (c->panel - GAP) / (double)c->d->n_pulls;

	if (!xy) {
		c->s->failed = true;
		return;
	}
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(cell->point[i]))
			continue;
		xy[2 * used] = pull_x(c, hole, pull) +
		               0.5 * slot * pd_spread(i);
		xy[2 * used++ + 1] = pd_axis_at(y, cell->point[i]);
	}
	pd_scene_dots(c->s, PD_INK_DATA, 3, used, xy);
}

static void draw_cell(const struct chart *c, const pd_axis *y, double x,
                      const struct shown *v)
{
	double at = pd_axis_at(y, v->value);

	pd_draw_limits(c->s, PD_INK_FIT, y, x, v->low, v->high);
	if (v->few)
		pd_draw_hollow(c->s, x, at, 4);
	else
		pd_draw_centre(c->s, x, at, 4);
}

/* One hole in one row: the pulls that are there, joined. */
static void draw_hole(const struct chart *c, const pd_axis *y, size_t hole,
                      bool lower)
{
	double before[2] = { NAN, NAN };

	for (size_t k = 0; !lower && k < c->d->n_pulls; k++)
		draw_points(c, y, hole, k);
	for (size_t k = 0; k < c->d->n_pulls; k++) {
		struct shown v = shown_at(c->d, hole, k, lower);
		double x = pull_x(c, hole, k);
		double at = pd_axis_at(y, v.value);

		/* the first pull is what the others are held against */
		if (lower && hole + k == 0) {
			before[0] = x;
			before[1] = pd_axis_at(y, c->ratio ? 1 : 0);
			continue;
		}
		if (!drawable(c, v.value))
			continue;
		if (!isnan(before[0]))
			pd_scene_line(c->s, PD_INK_DATA, 1.2, false, before[0],
			              before[1], x, at);
		before[0] = x;
		before[1] = at;
	}
	for (size_t k = 0; k < c->d->n_pulls; k++) {
		struct shown v = shown_at(c->d, hole, k, lower);

		if (drawable(c, v.value) && !(lower && hole + k == 0))
			draw_cell(c, y, pull_x(c, hole, k), &v);
	}
}

static void draw_row(const struct chart *c, const pd_axis *y, bool lower,
                     const char *title)
{
	double top = y->place_to, foot = y->place, null;

	pd_draw_value_axis(c->s, y, c->left, c->right, title);
	if (lower) {
		null = pd_axis_at(y, c->ratio ? 1 : 0);
		pd_scene_line(c->s, PD_INK_AXIS, 1.6, false, c->left, null,
		              c->right, null);
	}
	for (size_t h = 0; h < c->d->n_holes; h++) {
		double x = c->left + c->panel * (double)h;

		if (h)
			pd_scene_line(c->s, PD_INK_MUTED, 0.8, false, x, top, x,
			              foot);
		draw_hole(c, y, h, lower);
	}
	pd_scene_line(c->s, PD_INK_AXIS, 1, false, c->left, foot, c->right,
	              foot);
}

/* "site 1" over its panel, the pulls' numbers below. */
static void draw_names(const struct chart *c, double foot)
{
	char text[32];

	for (size_t h = 0; h < c->d->n_holes; h++) {
		snprintf(text, sizeof text, "site %zu", h + 1);
		pd_scene_text(c->s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_MIDDLE,
		              true, c->left + c->panel * ((double)h + 0.5),
		              TOP - 8, text);
		for (size_t k = 0; k < c->d->n_pulls; k++) {
			snprintf(text, sizeof text, "%zu", k + 1);
			pd_scene_text(c->s, PD_INK_MUTED, PD_FIGURE_TEXT,
			              PD_MIDDLE, false, pull_x(c, h, k),
			              foot + 17, text);
		}
	}
	pd_scene_text(c->s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_MIDDLE, false,
	              (c->left + c->right) / 2, foot + 36,
	              "pull number at the site");
}

static void draw_key(const struct chart *c, const char *small, double y)
{
	pd_draw_hollow(c->s, 12, y - 4, 4);
	pd_scene_text(c->s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START, false, 24,
	              y,
	              pd_scene_fitted(c->s, small, PD_FIGURE_SMALL,
	                              c->s->width - 28));
}

pd_scene *pd_figure_depletion(pd_arena *arena, const pd_depletion *d,
                              const pd_depletion_words *w, bool narrow)
{
	double width = narrow ? PD_FIGURE_NARROW : PD_FIGURE_WIDE;
	struct chart c = { .d = d, .ratio = d->scale == PD_RATIO,
		           .right = width - 6 };
	bool lower = any_ratio(&c);
	double second = TOP + UPPER + BETWEEN;
	double foot = lower ? second + LOWER : TOP + UPPER;
	pd_axis values = row_axis(&c, false, TOP, TOP + UPPER);
	pd_axis ratios = row_axis(&c, true, second, second + LOWER);

	c.s = pd_scene_new(arena, width, foot + (w->small ? 66 : 46));
	if (!c.s || !d->n_holes || !d->n_pulls)
		return c.s;
	c.left = pd_value_axis_room(&values);
	if (lower)
		c.left = fmax(c.left, pd_value_axis_room(&ratios));
	c.panel = (c.right - c.left) / (double)d->n_holes;
	draw_row(&c, &values, false, w->value_axis);
	if (lower)
		draw_row(&c, &ratios, true, w->ratio_axis);
	draw_names(&c, foot);
	if (w->small)
		draw_key(&c, w->small, foot + 58);
	return c.s;
}
