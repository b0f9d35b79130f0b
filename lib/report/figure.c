/*
 * figure.c - the scene and its axes: marks kept in order, data turned into
 * places. What is drawn for which answer stands in figure_*.c.
 */
#include "report/figure.h"
#include "report/clean.h"

#include <math.h>
#include <string.h>

pd_scene *pd_scene_new(pd_arena *arena, double width, double height)
{
	pd_scene *s = PD_NEW(arena, pd_scene, 1);

	if (!s)
		return NULL;
	s->arena = arena;
	s->width = width;
	s->height = height;
	return s;
}

/* A new mark at the end, places copied; NULL (scene marked) without memory. */
static pd_mark *add(pd_scene *s, pd_mark_kind kind, pd_ink ink, double size,
                    size_t n, const double *xy)
{
	double *copy = PD_NEW(s->arena, double, 2 * n);

	if (s->n_marks == s->room) {
		size_t more = s->room ? s->room * 2 : 32;
		pd_mark *m = PD_NEW(s->arena, pd_mark, more);

		if (m && s->n_marks)
			memcpy(m, s->mark, s->n_marks * sizeof *m);
		s->mark = m;
		s->room = m ? more : 0;
	}
	if (!copy || !s->mark) {
		s->failed = true;
		s->n_marks = s->room = 0;
		return NULL;
	}
	if (n)
		memcpy(copy, xy, 2 * n * sizeof *copy);
	pd_mark *m = &s->mark[s->n_marks++];

	m->kind = kind;
	m->ink = ink;
	m->size = size;
	m->n = n;
	m->xy = copy;
	return m;
}

void pd_scene_line(pd_scene *s, pd_ink ink, double width, bool dashed,
                   double x0, double y0, double x1, double y1)
{
	const double xy[] = { x0, y0, x1, y1 };
	pd_mark *m = add(s, PD_MARK_LINES, ink, width, 2, xy);

	if (m)
		m->dashed = dashed;
}

void pd_scene_lines(pd_scene *s, pd_ink ink, double width, size_t n,
                    const double *xy)
{
	add(s, PD_MARK_LINES, ink, width, n, xy);
}

void pd_scene_chain(pd_scene *s, pd_ink ink, double width, size_t n,
                    const double *xy)
{
	add(s, PD_MARK_CHAIN, ink, width, n, xy);
}

void pd_scene_area(pd_scene *s, pd_ink ink, size_t n, const double *xy)
{
	add(s, PD_MARK_AREA, ink, 1, n, xy);
}

void pd_scene_box(pd_scene *s, pd_ink ink, double x0, double y0, double x1,
                  double y1)
{
	const double xy[] = { x0, y0, x1, y0, x1, y1, x0, y1 };

	add(s, PD_MARK_AREA, ink, 1, 4, xy);
}

void pd_scene_dots(pd_scene *s, pd_ink ink, double diameter, size_t n,
                   const double *xy)
{
	if (n)
		add(s, PD_MARK_DOTS, ink, diameter, n, xy);
}

static pd_mark *add_text(pd_scene *s, pd_ink ink, double height,
                         pd_anchor anchor, double x, double y, const char *text,
                         size_t length)
{
	const double xy[] = { x, y };
	const char *copy = pd_arena_copy_n(s->arena, text, length);
	pd_mark *m = copy ? add(s, PD_MARK_TEXT, ink, height, 1, xy) : NULL;

	if (!m) {
		s->failed = true;
		return NULL;
	}
	m->anchor = anchor;
	m->text = copy;
	return m;
}

void pd_scene_text(pd_scene *s, pd_ink ink, double height, pd_anchor anchor,
                   bool strong, double x, double y, const char *text)
{
	pd_mark *m = add_text(s, ink, height, anchor, x, y, text, strlen(text));

	if (m)
		m->strong = strong;
}

void pd_scene_side_text(pd_scene *s, pd_ink ink, double height, double x,
                        double y, const char *text)
{
	pd_mark *m =
	    add_text(s, ink, height, PD_MIDDLE, x, y, text, strlen(text));

	if (m)
		m->turn = -90;
}

/*
 * Width of one character as a share of the text height: near the metrics of
 * the Helvetica family (and those made to match it), rounded up a little.
 */
static double share(uint32_t c)
{
	if (c >= 0x300)
		return pd_clean_columns(c) == 2     ? 1.0
		       : c >= 0x2070 && c <= 0x209F ? 0.36
		       : pd_clean_columns(c)        ? 0.62
		                                    : 0;
	if (c >= 0x80)
		return 0.62;
	if (strchr("ijl'|", (int)c))
		return 0.25;
	if (strchr(" .,:;!/ftI()[]r-", (int)c))
		return 0.34;
	if (strchr("mMW@%", (int)c))
		return 0.9;
	if (c == 'w' || (c >= 'A' && c <= 'Z'))
		return 0.74;
	return 0.57;
}

double pd_text_width(const char *text, double height)
{
	double w = 0;

	for (uint32_t c; (c = pd_clean_next(&text));)
		w += share(c);
	return w * height;
}

static double width_n(const char *text, size_t n, double height)
{
	double w = 0;
	const char *end = text + n;

	while (text < end) {
		uint32_t c = pd_clean_next(&text);

		if (!c)
			break;
		w += share(c);
	}
	return w * height;
}

/* Bytes of a word too wide for a line that fit it, one character at least. */
static size_t word_part(const char *text, double height, double width)
{
	const char *end = text, *next = text;
	double w = 0;

	for (uint32_t c; (c = pd_clean_next(&next)) && c != ' '; end = next) {
		w += share(c) * height;
		if (w > width && end > text)
			break;
	}
	return (size_t)(end - text);
}

/* Bytes of `text` that fit one line: whole words, part of one at the least. */
static size_t line_length(const char *text, double height, double width)
{
	size_t best = 0, n = 0;

	while (text[n]) {
		size_t end = n + strcspn(text + n, " ");

		if (width_n(text, end, height) > width)
			break;
		best = end;
		n = end + strspn(text + end, " ");
	}
	return best ? best : word_part(text, height, width);
}

size_t pd_scene_wrapped(pd_scene *s, pd_ink ink, double height,
                        pd_anchor anchor, bool strong, double x, double y,
                        double step, double width, const char *text)
{
	size_t lines = 0;

	if (!text && s)
		s->failed = true; /* it could not be made */
	while (text && *text) {
		size_t n = line_length(text, height, width);

		if (n == 0)
			n = strlen(text);
		if (s) {
			pd_mark *m =
			    add_text(s, ink, height, anchor, x,
			             y + step * (double)lines, text, n);
			if (m)
				m->strong = strong;
		}
		lines++;
		text += n;
		text += strspn(text, " ");
	}
	return lines;
}

const char *pd_scene_fitted(pd_scene *s, const char *text, double height,
                            double width)
{
	const char *end = text, *next = text;
	double w = 0, dots = 3 * share('.') * height;

	if (pd_text_width(text, height) <= width)
		return text;
	for (uint32_t c; (c = pd_clean_next(&next)); end = next) {
		w += share(c) * height;
		if (w + dots > width)
			break;
	}
	const char *cut = pd_arena_print(s->arena, "%.*s...",
	                                 (int)(end - text), text);

	s->failed = s->failed || !cut;
	return cut ? cut : "";
}

void pd_scene_arrow(pd_scene *s, pd_ink ink, double x, double y, double dx,
                    double dy)
{
	double back_x = x - 9 * dx, back_y = y - 9 * dy;
	const double xy[] = { x,           y,           back_x - 5 * dy,
		              back_y - 5 * dx, back_x + 5 * dy, back_y + 5 * dx };

	add(s, PD_MARK_AREA, ink, 1, 3, xy);
}

pd_ink pd_verdict_ink(pd_verdict v, bool neutral)
{
	switch (v) {
	case PD_BETTER:
		return neutral ? PD_INK_TEXT : PD_INK_GAIN;
	case PD_WORSE:
		return neutral ? PD_INK_TEXT : PD_INK_LOSS;
	case PD_NO_MATTER:
		return PD_INK_SAME;
	case PD_NOT_SETTLED:
	case PD_NO_ANSWER:
		break;
	}
	return PD_INK_OPEN;
}

pd_ink pd_effect_ink(const pd_answer *a, const pd_effect *e)
{
	return a->unsupported && e->verdict == PD_NO_MATTER
	           ? PD_INK_OPEN
	           : pd_verdict_ink(e->verdict, a->not_a_choice);
}

void pd_margin_limits(const pd_answer *a, double *low, double *high)
{
	*low = a->scale == PD_RATIO ? a->margin : -a->margin;
	*high = a->scale == PD_RATIO ? 1 / a->margin : a->margin;
}

void pd_scene_sign(pd_scene *s, pd_verdict v, pd_ink ink, double x, double y,
                   double r)
{
	const double up[] = {
		x - r, y + 0.8 * r, x, y - r, x + r, y + 0.8 * r
	};
	const double down[] = {
		x - r, y - 0.8 * r, x + r, y - 0.8 * r, x, y + r
	};
	const double square[] = { x - 0.8 * r, y - 0.8 * r, x + 0.8 * r,
		                  y - 0.8 * r, x + 0.8 * r, y + 0.8 * r,
		                  x - 0.8 * r, y + 0.8 * r };
	const double diamond[] = { x, y - r, x + r, y, x, y + r, x - r, y };
	pd_mark *m;

	switch (v) {
	case PD_BETTER:
		add(s, PD_MARK_AREA, ink, 1, 3, up);
		return;
	case PD_WORSE:
		add(s, PD_MARK_AREA, ink, 1, 3, down);
		return;
	case PD_NO_MATTER:
		add(s, PD_MARK_AREA, ink, 1, 4, square);
		return;
	case PD_NOT_SETTLED:
	case PD_NO_ANSWER:
		break;
	}
	m = add(s, PD_MARK_AREA, ink, 1.8, 4, diamond);
	if (m)
		m->hollow = true;
}

double pd_axis_at(const pd_axis *a, double x)
{
	double from = a->from, to = a->to, share_;

	if (a->log) {
		x = x > 0 ? log(x) : -INFINITY;
		from = log(from);
		to = log(to);
	}
	share_ = (x - from) / (to - from);
	if (!(share_ > 0))
		share_ = 0;
	if (share_ > 1)
		share_ = 1;
	return a->place + share_ * (a->place_to - a->place);
}

pd_axis pd_axis_over(bool logarithmic, double low, double high, double place,
                     double place_to)
{
	pd_axis a = { logarithmic, low, high, place, place_to };

	if (!isfinite(low) || !isfinite(high) || low > high ||
	    (logarithmic && low <= 0)) {
		a.from = logarithmic ? 0.5 : 0;
		a.to = logarithmic ? 2 : 1;
		return a;
	}
	if (logarithmic) {
		double room = low < high ? pow(high / low, 0.06) : 1.5;

		a.from = low / room;
		a.to = high * room;
	} else {
		double room = low < high ? 0.06 * (high - low)
		              : low != 0 ? fabs(low) / 2
		                         : 1;

		a.from = low - room;
		a.to = high + room;
	}
	return a;
}

static size_t linear_ticks(const pd_axis *a, double tick[PD_MOST_TICKS])
{
	double raw = (a->to - a->from) / 5;
	double ten = pow(10, floor(log10(raw)));
	double step = raw / ten < 1.5   ? ten
	              : raw / ten < 3.5 ? 2 * ten
	              : raw / ten < 7.5 ? 5 * ten
	                                : 10 * ten;
	size_t n = 0;

	for (double k = ceil(a->from / step - 1e-9);
	     k * step <= a->to + 1e-9 * step && n < PD_MOST_TICKS; k++)
		tick[n++] = k == 0 ? 0 : k * step;
	return n;
}

/* Log ticks at the given steps within a decade. */
static size_t log_ticks(const pd_axis *a, const double *steps, size_t n_steps,
                        double tick[PD_MOST_TICKS])
{
	size_t n = 0;

	for (double e = floor(log10(a->from)); e <= ceil(log10(a->to)); e++)
		for (size_t i = 0; i < n_steps; i++) {
			double v = steps[i] * pow(10, e);

			if (v < a->from * (1 - 1e-9) || v > a->to * (1 + 1e-9))
				continue;
			if (n == PD_MOST_TICKS)
				return n + 1;
			tick[n++] = v;
		}
	return n;
}

/* Powers of ten, every so manieth, eight or so. */
static size_t decade_ticks(const pd_axis *a, double tick[PD_MOST_TICKS])
{
	double low = log10(a->from), high = log10(a->to);
	double step = ceil((high - low) / 7);
	size_t n = 0;

	for (double e = ceil(low / step - 1e-9) * step;
	     e <= high + 1e-9 && n < PD_MOST_TICKS; e += step)
		tick[n++] = pow(10, e);
	return n;
}

size_t pd_axis_ticks(const pd_axis *a, double tick[PD_MOST_TICKS])
{
	static const double steps[] = { 1, 2, 5 };
	size_t n;

	if (!a->log)
		return linear_ticks(a, tick);
	n = log_ticks(a, steps, 3, tick);
	if (n > 7)
		n = log_ticks(a, steps, 1, tick);
	if (n > 8)
		n = decade_ticks(a, tick);
	return n < 2 ? linear_ticks(a, tick) : n;
}
