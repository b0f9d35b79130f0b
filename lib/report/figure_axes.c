/* figure_axes.c - see figure_axes.h. */
#include "report/figure_axes.h"
#include "base/buf.h"
#include "report/number.h"

#include <math.h>

void pd_reach(bool logarithmic, const double *x, size_t n, double *low,
              double *high)
{
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(x[i]) || (logarithmic && x[i] <= 0))
			continue;
		if (x[i] < *low)
			*low = x[i];
		if (x[i] > *high)
			*high = x[i];
	}
}

/* Tick label in `text`; false (scene marked) when memory ran out. */
static bool label(pd_scene *s, pd_buf *text, double tick)
{
	pd_buf_reset(text);
	pd_number_short(text, tick);
	if (!pd_buf_ok(text))
		s->failed = true;
	return pd_buf_ok(text);
}

double pd_value_axis_room(const pd_axis *a)
{
	double tick[PD_MOST_TICKS], widest = 0;
	size_t n = pd_axis_ticks(a, tick);
	pd_buf text;

	pd_buf_init(&text);
	for (size_t i = 0; i < n; i++) {
		pd_buf_reset(&text);
		pd_number_short(&text, tick[i]);
		widest = fmax(
		    widest, pd_text_width(pd_buf_text(&text), PD_FIGURE_TEXT));
	}
	pd_buf_clear(&text);
	return widest + 13 + PD_FIGURE_TEXT;
}

void pd_draw_value_axis(pd_scene *s, const pd_axis *a, double x0, double x1,
                        const char *title)
{
	double tick[PD_MOST_TICKS], widest = 0;
	size_t n = pd_axis_ticks(a, tick);
	pd_buf text;

	pd_buf_init(&text);
	for (size_t i = 0; i < n && label(s, &text, tick[i]); i++) {
		double y = pd_axis_at(a, tick[i]);
		double w = pd_text_width(pd_buf_text(&text), PD_FIGURE_TEXT);

		widest = fmax(widest, w);
		pd_scene_line(s, PD_INK_GRID, 0.8, false, x0, y, x1, y);
		pd_scene_text(s, PD_INK_MUTED, PD_FIGURE_TEXT, PD_END, false,
		              x0 - 6, y + 4.5, pd_buf_text(&text));
	}
	pd_buf_clear(&text);
	pd_scene_line(s, PD_INK_AXIS, 1, false, x0, a->place, x0, a->place_to);
	if (title)
		pd_scene_side_text(s, PD_INK_TEXT, PD_FIGURE_TEXT,
		                   x0 - 13 - widest,
		                   (a->place + a->place_to) / 2, title);
}

void pd_draw_foot_axis(pd_scene *s, const pd_axis *a, double y, double top,
                       const char *title)
{
	double tick[PD_MOST_TICKS];
	size_t n = pd_axis_ticks(a, tick);
	pd_buf text;

	pd_buf_init(&text);
	for (size_t i = 0; i < n && label(s, &text, tick[i]); i++) {
		double x = pd_axis_at(a, tick[i]);

		pd_scene_line(s, PD_INK_GRID, 0.8, false, x, y, x, top);
		pd_scene_text(s, PD_INK_MUTED, PD_FIGURE_TEXT, PD_MIDDLE, false,
		              x, y + 17, pd_buf_text(&text));
	}
	pd_buf_clear(&text);
	pd_scene_line(s, PD_INK_AXIS, 1, false, a->place, y, a->place_to, y);
	if (title)
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_MIDDLE, false,
		              (a->place + a->place_to) / 2, y + 36, title);
}

void pd_draw_limits(pd_scene *s, pd_ink ink, const pd_axis *a, double x,
                    double low, double high)
{
	double y0 = pd_axis_at(a, low), y1 = pd_axis_at(a, high);

	if (isnan(low) || isnan(high))
		return;
	pd_scene_line(s, ink, 2.2, false, x, y0, x, y1);
	pd_scene_line(s, ink, 2.2, false, x - 5, y0, x + 5, y0);
	pd_scene_line(s, ink, 2.2, false, x - 5, y1, x + 5, y1);
}

void pd_draw_centre(pd_scene *s, double x, double y, double r)
{
	pd_scene_box(s, PD_INK_FIT, x - r, y - r, x + r, y + r);
}
