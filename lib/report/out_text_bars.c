/*
 * out_text_bars.c - a forest of characters: a row an effect on one axis, in a
 * frame. Band of the margin dotted, no effect a broken upright line, an
 * interval that goes on past the axis ends in an arrow.
 */
#include "report/clean.h"
#include "report/number.h"
#include "report/out_text.h"

#include <math.h>

enum { NARROW = 72, LABEL = 34, MOST_PLOT = 90 };

struct grid {
	size_t label, plot; /* columns                                        */
	pd_axis axis;       /* to 0 .. plot - 1                               */
};

static size_t column(const struct grid *g, double x)
{
	return (size_t)(pd_axis_at(&g->axis, x) + 0.5);
}

static void start(pd_page *p)
{
	pd_buf_add(p->out, "\xe2\x94\x82 "); /* U+2502 */
}

/* The mark of one place of a bar. */
static const char *mark_at(const struct grid *g, const pd_bars *b,
                           const pd_bar *bar, size_t at)
{
	size_t low = column(g, isnan(bar->low) ? bar->value : bar->low);
	size_t high = column(g, isnan(bar->high) ? bar->value : bar->high);
	bool inside = bar->value >= b->from && bar->value <= b->to;

	if (!isnan(bar->value)) {
		if (inside && at == column(g, bar->value))
			return pd_verdict_sign(bar->verdict);
		if (at == low && bar->low < b->from)
			return "\xe2\x97\x82"; /* U+25C2 */
		if (at == high && bar->high > b->to)
			return "\xe2\x96\xb8"; /* U+25B8 */
		if (at == low && low != high)
			return "\xe2\x94\x9c"; /* U+251C */
		if (at == high && low != high)
			return "\xe2\x94\xa4"; /* U+2524 */
		if (at > low && at < high)
			return "\xe2\x94\x80"; /* U+2500 */
	}
	if (at == column(g, b->null))
		return "\xe2\x94\x8a"; /* U+250A */
	if (isfinite(bar->margin_low) && at >= column(g, bar->margin_low) &&
	    at <= column(g, bar->margin_high))
		return "\xc2\xb7"; /* U+00B7 */
	return " ";
}

static void plot(pd_page *p, const struct grid *g, const pd_bars *b,
                 const pd_bar *bar)
{
	size_t end = g->plot;

	while (end && *mark_at(g, b, bar, end - 1) == ' ')
		end--;
	for (size_t i = 0; i < end; i++)
		pd_buf_add(p->out, mark_at(g, b, bar, i));
}

static void row(pd_page *p, const struct grid *g, const pd_bars *b,
                const pd_bar *bar)
{
	const char *left = bar->label;
	bool beside = g->label > 0, drawn = false;
	pd_buf line;

	pd_buf_init(&line);
	while (pd_page_line(&left, beside ? g->label : p->width - 2, &line) &&
	       pd_buf_ok(&line)) {
		start(p);
		pd_buf_add(p->out, pd_buf_text(&line));
		if (beside && !drawn) {
			pd_buf_repeat(p->out, " ",
			              g->label + 2 -
			                  pd_clean_width(pd_buf_text(&line)));
			plot(p, g, b, bar);
			drawn = true;
		}
		pd_buf_char(p->out, '\n');
		pd_buf_reset(&line);
	}
	if (!pd_buf_ok(&line))
		p->failed = true;
	pd_buf_clear(&line);
	if (!drawn) {
		start(p);
		plot(p, g, b, bar);
		pd_buf_char(p->out, '\n');
	}
}

/* Tick values above the plot, each centred on its place where there is room;
 * a value that would touch the one before is left out. */
static void ticks(pd_page *p, const struct grid *g, const pd_bars *b)
{
	size_t offset = g->label ? g->label + 2 : 0, used = 0;
	pd_buf text;

	start(p);
	pd_buf_init(&text);
	for (size_t i = 0; i < b->n_ticks; i++) {
		pd_buf_reset(&text);
		pd_number_short(&text, b->tick[i]);
		if (!pd_buf_ok(&text)) {
			p->failed = true;
			break;
		}
		size_t n = pd_clean_width(pd_buf_text(&text));
		size_t at = offset + column(g, b->tick[i]);
		size_t from = at > n / 2 ? at - n / 2 : 0;

		if (from + n > offset + g->plot)
			from = offset + g->plot - n;
		if (used && from < used + 1)
			continue;
		pd_buf_repeat(p->out, " ", from - used);
		pd_buf_add(p->out, pd_buf_text(&text));
		used = from + n;
	}
	pd_buf_clear(&text);
	pd_buf_char(p->out, '\n');
}

static void frame(pd_page *p, const char *corner)
{
	pd_buf_add(p->out, corner);
	pd_buf_repeat(p->out, "\xe2\x94\x80", p->width > 1 ? p->width - 1 : 0);
	pd_buf_char(p->out, '\n');
}

static void key(pd_page *p, const char *text)
{
	pd_buf line;

	pd_buf_init(&line);
	while (pd_page_line(&text, p->width - 2, &line) && pd_buf_ok(&line)) {
		start(p);
		pd_buf_add(p->out, pd_buf_text(&line));
		pd_buf_char(p->out, '\n');
		pd_buf_reset(&line);
	}
	if (!pd_buf_ok(&line))
		p->failed = true;
	pd_buf_clear(&line);
}

void pd_page_bars(pd_page *p, const pd_bars *b)
{
	struct grid g = { p->width < NARROW ? 0 : LABEL, 0, { 0 } };

	g.plot = p->width - 2 - (g.label ? g.label + 2 : 0);
	if (g.plot > MOST_PLOT)
		g.plot = MOST_PLOT;
	g.axis = (pd_axis){ b->log, b->from, b->to, 0, (double)(g.plot - 1) };
	frame(p, "\xe2\x94\x8c");
	ticks(p, &g, b);
	for (size_t i = 0; i < b->n; i++)
		row(p, &g, b, &b->bar[i]);
	ticks(p, &g, b);
	key(p, b->axis_words);
	key(p, "left of the broken line: less with the first-named, or "
	       "falling; right of it: more with the first-named, or rising");
	frame(p, "\xe2\x94\x94");
}
