/*
 * figure_flow.c - the flow of records as boxes and arrows, told by lines and
 * words alone: what stays has a full outline, what leaves a dashed one.
 */
#include "report/figure_flow.h"
#include "report/figure_axes.h"

#include <math.h>

enum { EDGE = 2, PAD = 9, STEP = 17, GAP = 30 };

struct layout {
	bool narrow;
	double width;       /* of the drawing                            */
	double left, right; /* of what stays                             */
	double out_left, out_right; /* of what leaves                         */
};

static const struct layout wide_layout = { false, 720, EDGE, 372, 414, 718 };
static const struct layout narrow_layout = { true, 300, EDGE, 298, 36, 298 };

/* Lines of a title and of counts, each wrapped to the box. */
static double box_height(double width, const char *title, const char *counts)
{
	size_t n = pd_scene_wrapped(NULL, PD_INK_TEXT, PD_FIGURE_TEXT, PD_START,
	                            true, 0, 0, STEP, width - 2 * PAD, title);

	n += pd_scene_wrapped(NULL, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START,
	                      false, 0, 0, STEP, width - 2 * PAD, counts);
	return 2 * PAD + STEP * (double)n - 3;
}

static void outline(pd_scene *s, bool dashed, double x0, double y0, double x1,
                    double y1)
{
	double width = dashed ? 1.2 : 1.6;

	pd_scene_line(s, PD_INK_AXIS, width, dashed, x0, y0, x1, y0);
	pd_scene_line(s, PD_INK_AXIS, width, dashed, x1, y0, x1, y1);
	pd_scene_line(s, PD_INK_AXIS, width, dashed, x1, y1, x0, y1);
	pd_scene_line(s, PD_INK_AXIS, width, dashed, x0, y1, x0, y0);
}

static void draw_box(pd_scene *s, bool leaves, double x0, double x1, double y,
                     const char *title, const char *counts)
{
	double height = box_height(x1 - x0, title, counts);
	double at = y + PAD + 10;

	outline(s, leaves, x0, y, x1, y + height);
	at += STEP * (double)pd_scene_wrapped(s, PD_INK_TEXT, PD_FIGURE_TEXT,
	                                      PD_START, !leaves, x0 + PAD, at,
	                                      STEP, x1 - x0 - 2 * PAD, title);
	pd_scene_wrapped(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START, false,
	                 x0 + PAD, at, STEP, x1 - x0 - 2 * PAD, counts);
}

/* An arrow whose head ends at (x1, y1), down or to the right. */
static void arrow(pd_scene *s, double x0, double y0, double x1, double y1)
{
	bool down = y1 > y0;

	pd_scene_line(s, PD_INK_AXIS, 1.4, false, x0, y0, down ? x1 : x1 - 8,
	              down ? y1 - 8 : y1);
	pd_scene_arrow(s, PD_INK_AXIS, x1, y1, down ? 0 : 1, down ? 1 : 0);
}

/* What leaves between two boxes that stay; returns where the next starts. */
static double draw_out(pd_scene *s, const struct layout *l,
                       const pd_flow_box *b, double y, double x)
{
	double height =
	    box_height(l->out_right - l->out_left, b->out, b->out_counts);
	double top = y + (l->narrow ? 12 : 14), middle = top + height / 2;
	double foot = top + height + (l->narrow ? 14 : 16);

	if (s) {
		draw_box(s, true, l->out_left, l->out_right, top, b->out,
		         b->out_counts);
		arrow(s, x, middle, l->out_left, middle);
		arrow(s, x, y, x, foot);
	}
	return foot;
}

static double draw_arms(pd_scene *s, const struct layout *l,
                        const pd_flow_chart *c, double y, double x)
{
	double n = (double)c->n_arms, room = l->width - 2 * EDGE;
	double width = l->narrow ? room - 38 : (room - 14 * (n - 1)) / n;
	double height = 0, foot = y;

	for (size_t k = 0; k < c->n_arms; k++)
		height = fmax(height,
		              box_height(width, c->arm[k], c->arm_counts[k]));
	for (size_t k = 0; k < c->n_arms; k++) {
		double left = l->narrow ? 40 : EDGE + (double)k * (width + 14);
		double top = l->narrow ? foot + 12 : y + GAP;

		foot = top + (l->narrow ? box_height(width, c->arm[k],
		                                     c->arm_counts[k])
		                        : height);
		if (!s)
			continue;
		draw_box(s, false, left, left + width, top, c->arm[k],
		         c->arm_counts[k]);
		if (l->narrow) {
			pd_scene_line(s, PD_INK_AXIS, 1.4, false, x, y, x,
			              top + 14);
			arrow(s, x, top + 14, left, top + 14);
		} else {
			pd_scene_line(s, PD_INK_AXIS, 1.4, false, x,
			              y + GAP / 2, left + width / 2,
			              y + GAP / 2);
			arrow(s, left + width / 2, y + GAP / 2,
			      left + width / 2, top);
		}
	}
	if (s && !l->narrow && c->n_arms)
		pd_scene_line(s, PD_INK_AXIS, 1.4, false, x, y, x, y + GAP / 2);
	return foot;
}

/* Draws into s, or only measures where it is NULL; the height. */
static double draw(pd_scene *s, const struct layout *l, const pd_flow_chart *c)
{
	double y = EDGE, x = l->narrow ? 20 : (l->left + l->right) / 2;

	for (size_t i = 0; i < c->n; i++) {
		const pd_flow_box *b = &c->box[i];

		if (i && b->out) {
			y = draw_out(s, l, b, y, x);
		} else if (i) {
			if (s)
				arrow(s, x, y, x, y + GAP);
			y += GAP;
		}
		if (s)
			draw_box(s, false, l->left, l->right, y, b->title,
			         b->counts);
		y += box_height(l->right - l->left, b->title, b->counts);
	}
	return draw_arms(s, l, c, y, x) + EDGE;
}

pd_scene *pd_figure_flow(pd_arena *arena, const pd_flow_chart *c, bool narrow)
{
	const struct layout *l = narrow ? &narrow_layout : &wide_layout;
	pd_scene *s = pd_scene_new(arena, l->width, draw(NULL, l, c));

	if (s)
		draw(s, l, c);
	return s;
}
