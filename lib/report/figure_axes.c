/* figure_axes.c - see figure_axes.h. */
#include "report/figure_axes.h"
#include "base/buf.h"
#include "report/number.h"

#include <math.h>
#include <stdio.h>

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

void pd_reach_limits(bool logarithmic, const double *x, size_t n, double *low,
                     double *high)
{
	double from = *low, to = *high, span;

	if (!isfinite(from) || !isfinite(to)) {
		pd_reach(logarithmic, x, n, low, high);
		return;
	}
	span = logarithmic ? fmax(to / from, 2) : fmax(to - from, fabs(to) / 2);
	if (span <= 0)
		span = 1;
	double least = logarithmic ? from / span : from - span;
	double most = logarithmic ? to * span : to + span;

	for (size_t i = 0; i < n; i++) {
		double v = isnan(x[i]) ? x[i] : fmin(fmax(x[i], least), most);

		pd_reach(logarithmic, &v, 1, low, high);
	}
}

void pd_reach_margin(bool logarithmic, const double ends[2], double *low,
                     double *high)
{
	double from = *low, to = *high, wide, own;

	pd_reach(logarithmic, ends, 2, &from, &to);
	wide = logarithmic ? log(to / from) : to - from;
	own = logarithmic ? log(*high / *low) : *high - *low;
	if (own > 0 && wide > 6 * own)
		pd_reach_limits(logarithmic, ends, 2, low, high);
	else if (isfinite(from) && isfinite(to)) {
		*low = from;
		*high = to;
	}
}

/* "0.5", "2000"; from a milliard up and below a hundred thousandth with a
 * power of ten, so that no tick is as long as its number. */
static void tick_words(pd_buf *text, double tick)
{
	double size = fabs(tick);
	char power[16];

	pd_buf_reset(text);
	if (!isfinite(tick) || !(size > 0) || (size < 1e9 && size >= 1e-5)) {
		pd_number_short(text, tick);
		return;
	}
	double e = floor(log10(size) + 1e-12);

	pd_number_short(text, tick / pow(10, e));
	if (e < 0)
		pd_buf_add(text, "\xc3\x97" "10\xe2\x81\xbb"); /* x 10 to - */
	snprintf(power, sizeof power, e < 0 ? "^%d" : "10^%d", (int)fabs(e));
	pd_number_unit(text, power);
}

/* Tick label in `text`; false (scene marked) when memory ran out. */
static bool label(pd_scene *s, pd_buf *text, double tick)
{
	tick_words(text, tick);
	if (!pd_buf_ok(text))
		s->failed = true;
	return pd_buf_ok(text);
}

double pd_value_axis_room(const pd_axis *a)
{
	double tick[PD_MOST_TICKS], widest = 0;
	size_t n = pd_axis_ticks(a, tick);
	pd_buf text;
	char room[64]; /* the only failure there is could not be told */

	pd_buf_init_in(&text, room, sizeof room);
	for (size_t i = 0; i < n; i++) {
		tick_words(&text, tick[i]);
		widest = fmax(
		    widest, pd_text_width(pd_buf_text(&text), PD_FIGURE_TEXT));
	}
	pd_buf_clear(&text);
	return widest + 13 + PD_FIGURE_TEXT;
}

/* "CFU-F/mL, log axis", in `length`. */
static const char *title_of(pd_scene *s, const pd_axis *a, const char *title,
                            double length)
{
	const char *tail = ", log axis", *text;
	double own = pd_text_width(title, PD_FIGURE_TEXT);

	if (!a->log)
		return pd_scene_fitted(s, title, PD_FIGURE_TEXT, length);
	if (own + pd_text_width(tail, PD_FIGURE_TEXT) > length)
		tail = ", log";
	text = pd_arena_print(
	    s->arena, "%s%s",
	    pd_scene_fitted(s, title, PD_FIGURE_TEXT,
	                    length - pd_text_width(tail, PD_FIGURE_TEXT)),
	    tail);
	s->failed = s->failed || !text;
	return text ? text : "";
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
		pd_scene_side_text(
		    s, PD_INK_TEXT, PD_FIGURE_TEXT, x0 - 13 - widest,
		    (a->place + a->place_to) / 2,
		    title_of(s, a, title, fabs(a->place - a->place_to)));
}

void pd_draw_foot_axis(pd_scene *s, const pd_axis *a, double y, double top,
                       const char *title)
{
	double tick[PD_MOST_TICKS], taken = -INFINITY;
	size_t n = pd_axis_ticks(a, tick);
	pd_buf text;

	pd_buf_init(&text);
	for (size_t i = 0; i < n && label(s, &text, tick[i]); i++) {
		double x = pd_axis_at(a, tick[i]);
		double half = pd_text_width(pd_buf_text(&text),
		                            PD_FIGURE_TEXT) / 2;
		double at = fmax(fmin(x, s->width - half - 1), half + 1);

		pd_scene_line(s, PD_INK_GRID, 0.8, false, x, y, x, top);
		if (at - half < taken)
			continue;
		taken = at + half + 5;
		pd_scene_text(s, PD_INK_MUTED, PD_FIGURE_TEXT, PD_MIDDLE, false,
		              at, y + 17, pd_buf_text(&text));
	}
	pd_buf_clear(&text);
	pd_scene_line(s, PD_INK_AXIS, 1, false, a->place, y, a->place_to, y);
	if (title)
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_MIDDLE, false,
		              (a->place + a->place_to) / 2, y + 36,
		              title_of(s, a, title,
		                       fabs(a->place_to - a->place)));
}

/* One end of an interval bar: a cap, or an arrow where it goes on. */
static void draw_end(pd_scene *s, pd_ink ink, bool along, double at,
                     double across, double way, bool beyond)
{
	double x = along ? at : across, y = along ? across : at;

	if (beyond)
		pd_scene_arrow(s, ink, x, y, along ? way : 0, along ? 0 : way);
	else if (along)
		pd_scene_line(s, ink, 2.2, false, x, y - 5, x, y + 5);
	else
		pd_scene_line(s, ink, 2.2, false, x - 5, y, x + 5, y);
}

static void draw_bar(pd_scene *s, pd_ink ink, const pd_axis *a, bool along,
                     double across, double low, double high)
{
	double p0 = pd_axis_at(a, low), p1 = pd_axis_at(a, high);
	double way = a->place_to > a->place ? 1 : -1;

	if (isnan(low) || isnan(high))
		return;
	if (along)
		pd_scene_line(s, ink, 2.2, false, p0, across, p1, across);
	else
		pd_scene_line(s, ink, 2.2, false, across, p0, across, p1);
	draw_end(s, ink, along, p0, across, -way, low < a->from);
	draw_end(s, ink, along, p1, across, way, high > a->to);
}

void pd_draw_limits(pd_scene *s, pd_ink ink, const pd_axis *a, double x,
                    double low, double high)
{
	draw_bar(s, ink, a, false, x, low, high);
}

void pd_draw_limits_along(pd_scene *s, pd_ink ink, const pd_axis *a, double y,
                          double low, double high)
{
	draw_bar(s, ink, a, true, y, low, high);
}

void pd_draw_centre(pd_scene *s, double x, double y, double r)
{
	pd_scene_box(s, PD_INK_FIT, x - r, y - r, x + r, y + r);
}

void pd_draw_hollow(pd_scene *s, double x, double y, double r)
{
	pd_scene_box(s, PD_INK_PAGE, x - r, y - r, x + r, y + r);
	const double side[] = { x - r, y - r, x + r, y - r, x + r, y - r,
		                x + r, y + r, x + r, y + r, x - r, y + r,
		                x - r, y + r, x - r, y - r };

	pd_scene_lines(s, PD_INK_FIT, 1.8, 8, side);
}

void pd_draw_ring(pd_scene *s, pd_ink ink, double x, double y, double r)
{
	enum { SIDES = 20 };
	double xy[2 * SIDES + 2];

	for (size_t k = 0; k <= SIDES; k++) {
		double turn = 2 * acos(-1) * (double)(k % SIDES) / SIDES;

		xy[2 * k] = x + r * cos(turn);
		xy[2 * k + 1] = y + r * sin(turn);
	}
	pd_scene_area(s, PD_INK_PAGE, SIDES, xy);
	pd_scene_chain(s, ink, 1.8, SIDES + 1, xy);
}

double pd_spread(size_t i)
{
	double v = (double)(i + 1) * 0.6180339887498949;

	return v - floor(v) - 0.5;
}

size_t pd_name_lines(const char *name, double width)
{
	return pd_text_width(name, PD_FIGURE_TEXT) <= width
	           ? 1
	           : pd_scene_wrapped(NULL, PD_INK_TEXT, PD_FIGURE_SMALL,
	                              PD_MIDDLE, true, 0, 0, 0, width, name);
}

void pd_draw_name(pd_scene *s, double x, double y, double width,
                  const char *name)
{
	double own = pd_text_width(name, PD_FIGURE_TEXT);

	if (own <= width)
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_MIDDLE, true,
		              x, y, name);
	else
		pd_scene_wrapped(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_MIDDLE,
		                 true, x, y, 15, width, name);
}

void pd_draw_lettered(pd_scene *s, pd_letters *l, double x, double top,
                      double foot)
{
	const char letter[] = { l->n < 25 ? (char)('a' + l->n) : 'z', '\0' };

	l->n++;
	pd_scene_line(s, PD_INK_MUTED, 1.2, true, x, top, x, foot);
	if (x - 4 <= l->free_from)
		return;
	pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_MIDDLE, true, x,
	              top - 5, letter);
	l->free_from = x + 6;
}
