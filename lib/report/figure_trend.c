/*
 * figure_trend.c - quarter by quarter: nucleated cells above, colony-forming
 * units below, each with its interval; a quarter with a note (a change of lab
 * method, a new needle) is marked and lettered as in the table.
 */
#include "report/figure.h"
#include "report/figure_axes.h"

#include <math.h>
#include <string.h>

enum { PANEL = 150, TOP = 20, BETWEEN = 26 };

/* Where the quarters lie. */
struct across {
	double left, right;
	size_t n;
};

static double quarter_x(const struct across *x, size_t i)
{
	double room = x->right - x->left - 20;

	return x->left + 10 +
	       room * (x->n > 1 ? (double)i / (double)(x->n - 1) : 0.5);
}

/* The three numbers of one panel. */
static void panel_numbers(const pd_trend *t, bool cfu, double v[3])
{
	v[0] = cfu ? t->cfu : t->tnc;
	v[1] = cfu ? t->cfu_low : t->tnc_low;
	v[2] = cfu ? t->cfu_high : t->tnc_high;
}

static pd_axis panel_axis(const pd_trend *t, size_t n, bool cfu, double top)
{
	double low = INFINITY, high = -INFINITY, v[3];

	for (size_t i = 0; i < n; i++) {
		panel_numbers(&t[i], cfu, v);
		pd_reach(true, v, 1, &low, &high);
	}
	for (size_t i = 0; i < n; i++) {
		panel_numbers(&t[i], cfu, v);
		pd_reach_limits(true, v + 1, 2, &low, &high);
	}
	return pd_axis_over(true, low, high, top + PANEL, top);
}

static void draw_panel(pd_scene *s, const pd_trend *t, const struct across *at,
                       bool cfu, const pd_axis *a)
{
	double size = at->n > 24 ? 2.6 : 4, v[3];
	double before[2] = { NAN, NAN };

	pd_draw_value_axis(s, a, at->left, at->right,
	                   cfu ? "CFU-F per mL"
	                       : "TNC, \xc3\x97"
	                         "10\xe2\x81\xb6/mL");
	for (size_t i = 0; i < at->n; i++) {
		double x = quarter_x(at, i), y;

		panel_numbers(&t[i], cfu, v);
		if (!(v[0] > 0) || !isfinite(v[0])) {
			before[0] = NAN;
			continue;
		}
		y = pd_axis_at(a, v[0]);
		if (!isnan(before[0]))
			pd_scene_line(s, PD_INK_DATA, 1.4, false, before[0],
			              before[1], x, y);
		pd_draw_limits(s, PD_INK_FIT, a, x, v[1], v[2]);
		pd_draw_centre(s, x, y, size);
		before[0] = x;
		before[1] = y;
	}
}

/* Year below the first quarter seen of it. */
static void draw_years(pd_scene *s, const pd_trend *t, const struct across *at,
                       double y)
{
	double free_from = 0;

	for (size_t i = 0; i < at->n; i++) {
		char year[8] = "";
		double x = quarter_x(at, i), half;

		if (i > 0 && strncmp(t[i].quarter, t[i - 1].quarter, 4) == 0)
			continue;
		strncpy(year, t[i].quarter, 4);
		half = pd_text_width(year, PD_FIGURE_SMALL) / 2;
		pd_scene_line(s, PD_INK_AXIS, 1, false, x, y, x, y + 5);
		if (x - half < free_from)
			continue;
		pd_scene_text(s, PD_INK_MUTED, PD_FIGURE_SMALL, PD_MIDDLE,
		              false, x, y + 19, year);
		free_from = x + half + 3;
	}
}

static void draw_notes(pd_scene *s, const pd_trend *t, const struct across *at,
                       double top, double foot)
{
	pd_letters letters = { 0 };

	for (size_t i = 0; i < at->n; i++)
		if (t[i].note && *t[i].note)
			pd_draw_lettered(s, &letters, quarter_x(at, i), top,
			                 foot);
}

pd_scene *pd_figure_trend(pd_arena *arena, const pd_trend *t, size_t n,
                          bool narrow)
{
	double second = TOP + PANEL + BETWEEN, foot = second + PANEL;
	double width = narrow ? PD_FIGURE_NARROW : PD_FIGURE_WIDE;
	pd_axis cells = panel_axis(t, n, false, TOP);
	pd_axis colonies = panel_axis(t, n, true, second);
	struct across at = { fmax(pd_value_axis_room(&cells),
		                  pd_value_axis_room(&colonies)),
		             width - 6, n };
	pd_scene *s = pd_scene_new(arena, width, foot + 30);

	if (!s)
		return NULL;
	draw_notes(s, t, &at, TOP, foot);
	draw_panel(s, t, &at, false, &cells);
	draw_panel(s, t, &at, true, &colonies);
	pd_scene_line(s, PD_INK_AXIS, 1, false, at.left, foot, at.right, foot);
	draw_years(s, t, &at, foot);
	return s;
}
