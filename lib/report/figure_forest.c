/*
 * figure_forest.c - all effects on one axis. Each row carries its label, its
 * bar over its own margin band, what left and right mean in its own words,
 * the number and the verdict in words, so that nothing is told by colour or
 * place alone. An interval cut off by the axis ends in an arrow.
 */
#include "base/buf.h"
#include "report/figure.h"
#include "report/number.h"

#include <math.h>

/* Where things lie, in scene units. */
struct layout {
	bool narrow;
	double width, text, small, step, small_step;
	double label_width; /* wrapped label                      */
	double plot, plot_to;
	double number_x, words_x, words_width;
};

/* The wide one is 174 mm on a page: its small text is then 7 points high. */
static const struct layout wide_layout = { false, 940, 14.2, 13.4, 17.5, 15.5,
	                                   250,   262, 608, 624,  792, 148 };
static const struct layout narrow_layout = { true, 360, 14,  11.5, 17, 14,
	                                     356,  14,  346, 0,    0,  340 };

void pd_bars_scale(pd_bars *b)
{
	pd_axis axis;
	double far = 0;

	if (b->log) {
		b->from = 0.25;
		b->to = 4;
		for (size_t i = 0; i < b->n; i++) {
			double v = b->bar[i].value;

			while (v > 0 && v < b->from && b->from > 0.0626)
				b->from /= 2;
			while (isfinite(v) && v > b->to && b->to < 15.9)
				b->to *= 2;
		}
		b->n_ticks = 0;
		for (double t = b->from; t < b->to * 1.01; t *= 2)
			b->tick[b->n_ticks++] = t;
		b->null = 1;
		return;
	}
	for (size_t i = 0; i < b->n; i++) {
		const double x[] = { b->bar[i].low, b->bar[i].high,
			             b->bar[i].margin_high };

		for (size_t j = 0; j < 3; j++)
			if (isfinite(x[j]) && fabs(x[j]) > far)
				far = fabs(x[j]);
	}
	far = far > 0 ? 1.1 * far : 1;
	b->from = -far;
	b->to = far;
	b->null = 0;
	axis = (pd_axis){ false, -far, far, 0, 1 };
	b->n_ticks = pd_axis_ticks(&axis, b->tick);
}

static size_t lines(const char *text, double height, double width)
{
	return text ? pd_scene_wrapped(NULL, PD_INK_TEXT, height, PD_START,
	                               false, 0, 0, 0, width, text)
	            : 0;
}

static size_t most(size_t a, size_t b)
{
	return a > b ? a : b;
}

static pd_ink bar_ink(const pd_bar *b)
{
	return b->unsupported ? PD_INK_OPEN
	                      : pd_verdict_ink(b->verdict, b->neutral);
}

/* Room for words left (way -1) or right (way 1) of no effect. */
static double side_width(const struct layout *l, double null, double way)
{
	return (way < 0 ? null - l->plot : l->plot_to - null) - 6;
}

static double row_height(const struct layout *l, double null, const pd_bar *b)
{
	size_t sides = most(lines(b->less, l->small, side_width(l, null, -1)),
	                    lines(b->more, l->small, side_width(l, null, 1)));
	double below = (double)sides * l->small_step;
	double label = (double)lines(b->label, l->text, l->label_width);
	double words = (double)lines(b->words, l->text, l->words_width);

	if (l->narrow)
		return (label + words + (b->number ? 1 : 0)) * l->step + 24 +
		       below + 16;
	return fmax(fmax(label, words) * l->step, 26 + below) + 16;
}

static void draw_interval(pd_scene *s, const pd_axis *a, const pd_bar *b,
                          double y)
{
	pd_ink ink = bar_ink(b);
	double x0, x1;

	if (isnan(b->value))
		return;
	x0 = pd_axis_at(a, isnan(b->low) ? b->value : b->low);
	x1 = pd_axis_at(a, isnan(b->high) ? b->value : b->high);
	pd_scene_line(s, ink, 2.4, false, x0, y, x1, y);
	if (b->low < a->from)
		pd_scene_arrow(s, ink, a->place, y, -1, 0);
	else if (!isnan(b->low))
		pd_scene_line(s, ink, 2.4, false, x0, y - 6, x0, y + 6);
	if (b->high > a->to)
		pd_scene_arrow(s, ink, a->place_to, y, 1, 0);
	else if (!isnan(b->high))
		pd_scene_line(s, ink, 2.4, false, x1, y - 6, x1, y + 6);
	/* A value outside the axis has no place: its arrow stands for it. */
	if (b->value >= a->from && b->value <= a->to)
		pd_scene_sign(s, b->verdict, ink, pd_axis_at(a, b->value), y,
		              5);
}

/* "more with B" to the left of no effect, "more with A" to its right. */
static void draw_sides(pd_scene *s, const struct layout *l, double null,
                       const pd_bar *b, double y)
{
	if (b->less)
		pd_scene_wrapped(s, PD_INK_MUTED, l->small, PD_END, false,
		                 null - 6, y, l->small_step,
		                 side_width(l, null, -1), b->less);
	if (b->more)
		pd_scene_wrapped(s, PD_INK_MUTED, l->small, PD_START, false,
		                 null + 6, y, l->small_step,
		                 side_width(l, null, 1), b->more);
}

/* Grid and the line of no effect behind one row. */
static void draw_grid(pd_scene *s, const pd_bars *b, const pd_axis *a,
                      double top, double foot)
{
	double null = pd_axis_at(a, b->null);

	for (size_t i = 0; i < b->n_ticks; i++) {
		double x = pd_axis_at(a, b->tick[i]);

		pd_scene_line(s, PD_INK_GRID, 0.8, false, x, top, x, foot);
	}
	pd_scene_line(s, PD_INK_AXIS, 1.6, false, null, top, null, foot);
}

static void draw_row(pd_scene *s, const struct layout *l, const pd_bars *all,
                     const pd_axis *a, const pd_bar *b, double top,
                     double height)
{
	double y = top + l->step, bar = top + 12;
	double null = pd_axis_at(a, all->null);
	pd_ink ink = bar_ink(b);
	size_t n = pd_scene_wrapped(s, PD_INK_TEXT, l->text, PD_START, false, 0,
	                            y, l->step, l->label_width, b->label);

	if (l->narrow) {
		y += (double)n * l->step;
		if (b->number) {
			pd_scene_text(s, PD_INK_TEXT, l->text, PD_START, true,
			              0, y, b->number);
			y += l->step;
		}
		n = pd_scene_wrapped(s, ink, l->text, PD_START, true, 0, y,
		                     l->step, l->words_width, b->words);
		bar = y + ((double)n - 1) * l->step + 18;
	} else {
		if (b->number)
			pd_scene_text(s, PD_INK_TEXT, l->text, PD_START, true,
			              l->number_x, y, b->number);
		pd_scene_wrapped(s, ink, l->text, PD_START, true, l->words_x, y,
		                 l->step, l->words_width, b->words);
	}
	if (isfinite(b->margin_low) && isfinite(b->margin_high))
		pd_scene_box(s, PD_INK_BAND, pd_axis_at(a, b->margin_low),
		             bar - 9, pd_axis_at(a, b->margin_high), bar + 9);
	if (!l->narrow)
		draw_grid(s, all, a, top, top + height);
	else if (!isnan(b->value))
		draw_grid(s, all, a, bar - 12, bar + 30);
	draw_interval(s, a, b, bar);
	if (!isnan(b->value))
		draw_sides(s, l, null, b, bar + 25);
	pd_scene_line(s, PD_INK_GRID, 0.6, false, 0, top + height, l->width,
	              top + height);
}

static void draw_axis(pd_scene *s, const struct layout *l, const pd_bars *b,
                      const pd_axis *a, double top, double bottom)
{
	pd_buf text;

	pd_buf_init(&text);
	for (size_t i = 0; i < b->n_ticks; i++) {
		double x = pd_axis_at(a, b->tick[i]);

		pd_buf_reset(&text);
		pd_number_short(&text, b->tick[i]);
		if (!pd_buf_ok(&text)) {
			s->failed = true;
			break;
		}
		pd_scene_text(s, PD_INK_MUTED, l->text, PD_MIDDLE, false, x,
		              top - 6, pd_buf_text(&text));
		pd_scene_text(s, PD_INK_MUTED, l->text, PD_MIDDLE, false, x,
		              bottom + 17, pd_buf_text(&text));
	}
	pd_buf_clear(&text);
	pd_scene_text(s, PD_INK_MUTED, l->text, PD_MIDDLE, false,
	              (l->plot + l->plot_to) / 2, bottom + 37, b->axis_words);
}

pd_scene *pd_figure_forest(pd_arena *arena, const pd_bars *b, bool narrow)
{
	const struct layout *l = narrow ? &narrow_layout : &wide_layout;
	pd_axis a = { b->log, b->from, b->to, l->plot, l->plot_to };
	double top = 26, bottom = top, null = pd_axis_at(&a, b->null);

	for (size_t i = 0; i < b->n; i++)
		bottom += row_height(l, null, &b->bar[i]);
	pd_scene *s = pd_scene_new(arena, l->width, bottom + 46);

	if (!s)
		return NULL;
	draw_axis(s, l, b, &a, top, bottom);
	for (size_t i = 0; i < b->n; i++) {
		double h = row_height(l, null, &b->bar[i]);

		draw_row(s, l, b, &a, &b->bar[i], top, h);
		top += h;
	}
	return s;
}
