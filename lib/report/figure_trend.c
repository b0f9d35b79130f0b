/*
 * figure_trend.c - quarter by quarter: nucleated cells above, colony-forming
 * units below, each with its interval; a quarter with a note (a change of lab
 * method, a new needle) is marked and lettered as in the table.
 */
#include "report/figure.h"
#include "report/figure_axes.h"

#include <math.h>
#include <string.h>

enum { WIDTH = 440, LEFT = 80, PANEL = 150 };

static double quarter_x(size_t i, size_t n)
{
	return LEFT + 10 +
	       (WIDTH - LEFT - 20) *
	           (n > 1 ? (double)i / (double)(n - 1) : 0.5);
}

/* The three numbers of one panel. */
static void panel_numbers(const pd_trend *t, bool cfu, double v[3])
{
	v[0] = cfu ? t->cfu : t->tnc;
	v[1] = cfu ? t->cfu_low : t->tnc_low;
	v[2] = cfu ? t->cfu_high : t->tnc_high;
}

static void draw_panel(pd_scene *s, const pd_trend *t, size_t n, bool cfu,
                       double top, double foot)
{
	double low = INFINITY, high = -INFINITY, v[3];

	for (size_t i = 0; i < n; i++) {
		panel_numbers(&t[i], cfu, v);
		pd_reach(true, v, 3, &low, &high);
	}
	pd_axis a = pd_axis_over(true, low, high, foot, top);
	double size = n > 24 ? 2.6 : 4;
	double before[2] = { NAN, NAN };

	pd_draw_value_axis(s, &a, LEFT, WIDTH - 6,
	                   cfu ? "CFU-F per mL"
	                       : "TNC, \xc3\x97"
	                         "10\xe2\x81\xb6/mL");
	for (size_t i = 0; i < n; i++) {
		double x = quarter_x(i, n), y;

		panel_numbers(&t[i], cfu, v);
		if (!(v[0] > 0)) {
			before[0] = NAN;
			continue;
		}
		y = pd_axis_at(&a, v[0]);
		if (!isnan(before[0]))
			pd_scene_line(s, PD_INK_DATA, 1.4, false, before[0],
			              before[1], x, y);
		if (isfinite(v[1]) && isfinite(v[2]))
			pd_scene_line(s, PD_INK_FIT, 1.4, false, x,
			              pd_axis_at(&a, v[1]), x,
			              pd_axis_at(&a, v[2]));
		pd_draw_centre(s, x, y, size);
		before[0] = x;
		before[1] = y;
	}
}

/* Year below the first quarter seen of it. */
static void draw_years(pd_scene *s, const pd_trend *t, size_t n, double y)
{
	double free_from = 0;

	for (size_t i = 0; i < n; i++) {
		char year[8] = "";
		double x = quarter_x(i, n), half;

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

static void draw_notes(pd_scene *s, const pd_trend *t, size_t n, double top,
                       double foot)
{
	char letter[2] = "a";

	for (size_t i = 0; i < n; i++) {
		double x = quarter_x(i, n);

		if (!t[i].note || !*t[i].note)
			continue;
		pd_scene_line(s, PD_INK_MUTED, 1.2, true, x, top, x, foot);
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_MIDDLE, true,
		              x, top - 4, letter);
		if (*letter < 'z')
			++*letter;
	}
}

pd_scene *pd_figure_trend(pd_arena *arena, const pd_trend *t, size_t n)
{
	double top = 20, second = top + PANEL + 26;
	pd_scene *s = pd_scene_new(arena, WIDTH, second + PANEL + 30);

	if (!s)
		return NULL;
	draw_notes(s, t, n, top, second + PANEL);
	draw_panel(s, t, n, false, top, top + PANEL);
	draw_panel(s, t, n, true, second, second + PANEL);
	pd_scene_line(s, PD_INK_AXIS, 1, false, LEFT, second + PANEL, WIDTH - 6,
	              second + PANEL);
	draw_years(s, t, n, second + PANEL);
	return s;
}
