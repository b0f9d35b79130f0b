/*
 * compose_figure.c - the figure of one question with the table that holds
 * its numbers in words: pairs, a slope, or points by level.
 */
#include "report/compose_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Length of a figure's value axis, in scene units. */
enum { AXIS_ROOM = 250 };

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Value of sorted x[n], n > 0, below which the share q lies: linear between
 * order statistics at (n - 1) q. */
static double quantile(const double *x, size_t n, double q)
{
	double h = (double)(n - 1) * q;
	size_t i = (size_t)h;

	return i + 1 < n ? x[i] + (h - (double)i) * (x[i + 1] - x[i]) : x[i];
}

static const char *unit_words(pd_doc *d, const pd_answer *a)
{
	const char *unit = pd_say_unit(d, a->unit);

	return unit ? unit : "";
}

/* What a figure's value axis measures: "TNC, x10^6/mL"; the unit alone where
 * it names the outcome ("CFU-F/mL") or the two would not fit. */
static const char *value_axis(pd_doc *d, const pd_answer *a)
{
	const char *words = a->outcome_words ? a->outcome_words : "";
	const char *open = strchr(words, '(');
	const char *close = open ? strchr(open, ')') : NULL;
	const char *unit = unit_words(d, a);

	/* "colony-forming units (CFU-F)": the short form fits an axis. */
	if (open && close && close[1] == '\0')
		words =
		    pd_doc_print(d, "%.*s", (int)(close - open - 1), open + 1);
	if (!*unit)
		return words;
	if (*words && strncmp(unit, words, strlen(words)) == 0)
		return unit;
	words = pd_doc_print(d, "%s, %s", words, unit);
	return pd_text_width(words, 13) <= AXIS_ROOM ? words : unit;
}

static const char *left_out(pd_doc *d, const pd_answer *a)
{
	if (!a->points.n_left_out)
		return "";
	return pd_doc_print(d,
	                    " %s further points are not drawn, to keep the "
	                    "picture readable; all numbers include them.",
	                    pd_say_count(d, a->points.n_left_out));
}

static const char *axis_kind(const pd_answer *a)
{
	return a->scale == PD_RATIO ? "logarithmic" : "linear";
}

/* Zeros have no place on a log axis: how many, of what. */
static const char *at_the_edge(pd_doc *d, const pd_answer *a, size_t n,
                               const char *one, const char *many)
{
	if (!n || a->scale != PD_RATIO)
		return "";
	return pd_doc_print(d,
	                    " %zu %s no place on a logarithmic axis and %s on "
	                    "its low end.",
	                    n, n == 1 ? one : many, n == 1 ? "lies" : "lie");
}

static const char *zero_results(pd_doc *d, const pd_answer *a, size_t n)
{
	return at_the_edge(d, a, n, "result of zero has",
	                   "results of zero have");
}

static const char *zero_pairs(pd_doc *d, const pd_answer *a, size_t n)
{
	return at_the_edge(d, a, n, "pair with a zero has",
	                   "pairs with a zero have");
}

static void add_measure(pd_doc *d, pd_table *t, const char *name,
                        const char *value)
{
	const char **cell = pd_doc_row(d, t, NULL);

	if (!cell)
		return;
	cell[0] = name;
	cell[1] = value;
}

struct pair_counts {
	size_t more, less, equal, not_drawn;
	size_t n; /* usable effects in `effect`, sorted */
	double *effect;
};

static bool count_pairs(pd_doc *d, const pd_answer *a, struct pair_counts *c)
{
	const pd_points *p = &a->points;

	memset(c, 0, sizeof *c);
	c->effect = PD_NEW(d->arena, double, p->n_pairs);
	if (!c->effect) {
		d->failed = true;
		return false;
	}
	for (size_t i = 0; i < p->n_pairs; i++) {
		double x = p->pair_first[i], y = p->pair_second[i];

		c->more += x > y;
		c->less += x < y;
		c->equal += x == y;
		if (a->scale == PD_DIFFERENCE && isfinite(x - y))
			c->effect[c->n++] = x - y;
		else if (a->scale == PD_RATIO && x > 0 && y > 0)
			c->effect[c->n++] = x / y;
		else
			c->not_drawn++;
	}
	qsort(c->effect, c->n, sizeof *c->effect, ascending);
	return true;
}

static const char *pair_number(pd_doc *d, const pd_answer *a, double x)
{
	return a->scale == PD_RATIO ? pd_say_span(d, a, x, NAN, NAN, false)
	                            : pd_say_short(d, x);
}

static void pair_table(pd_doc *d, const pd_answer *a,
                       const struct pair_counts *c)
{
	const pd_effect *e = &a->effect[0];
	const char *first = pd_say_arm(d, a, e->first);
	const char *second = pd_say_arm(d, a, e->second);
	const char *kind = a->scale == PD_RATIO ? "ratio" : "difference";
	const pd_cell_column column[] = {
		{ "Within the pairs drawn", NULL, false },
		{ "Value", NULL, true },
	};
	static const struct {
		const char *words;
		double q;
	} at[] = { { "lower quarter", 0.25 },
		   { "middle", 0.5 },
		   { "upper quarter", 0.75 } };
	pd_table *t = pd_doc_table(
	    d, pd_doc_print(d, "Pairs: %s against %s", first, second), 2,
	    column, "no pair to take it from");

	add_measure(d, t, "pairs", pd_say_count(d, a->points.n_pairs));
	add_measure(d, t, pd_doc_print(d, "more with %s", first),
	            pd_say_count(d, c->more));
	add_measure(d, t, pd_doc_print(d, "more with %s", second),
	            pd_say_count(d, c->less));
	add_measure(d, t, "equal", pd_say_count(d, c->equal));
	if (c->not_drawn)
		add_measure(d, t,
		            pd_doc_print(d, "without a %s, for a zero", kind),
		            pd_say_count(d, c->not_drawn));
	for (size_t i = 0; i < 3; i++)
		add_measure(
		    d, t, pd_doc_print(d, "%s, %s", kind, at[i].words),
		    c->n ? pair_number(d, a, quantile(c->effect, c->n, at[i].q))
		         : NULL);
}

/* "2 over 1"; plain words where the arms' names are long. */
static const char *ratio_axis(pd_doc *d, const pd_answer *a)
{
	bool ratio = a->scale == PD_RATIO;
	const char *text =
	    pd_doc_print(d, ratio ? "%s over %s" : "%s less %s",
	                 a->effect[0].first, a->effect[0].second);

	if (pd_text_width(text, 13) <= AXIS_ROOM)
		return text;
	return ratio ? "ratio within the pair" : "difference within the pair";
}

static void pair_figure(pd_doc *d, const pd_answer *a)
{
	const pd_effect *e = &a->effect[0];
	const char *first = pd_say_arm(d, a, e->first);
	const char *second = pd_say_arm(d, a, e->second);
	bool ratio = a->scale == PD_RATIO;
	pd_figure_words w = { value_axis(d, a), NULL, first, second,
		              ratio_axis(d, a) };
	struct pair_counts c;
	pd_figure *f;

	if (!count_pairs(d, a, &c))
		return;
	f = pd_doc_figure(
	    d,
	    pd_say_upper(d, pd_doc_print(d, "%s against %s, pair by pair",
	                                 first, second)),
	    pd_doc_print(
	        d,
	        "First panel: one line joins the two results of one pair, %s on the left "
	        "and %s on the right, on a %s axis; a rising line means more with "
	        "%s. %zu of %zu lines rise, %zu fall. Second panel: the %s of each pair "
	        "as a dot, with the estimate and its interval; the shaded band is "
	        "the margin.%s%s",
	        second, first, axis_kind(a), first, c.more, a->points.n_pairs,
	        c.less, ratio ? "ratio" : "difference",
	        zero_pairs(d, a, c.not_drawn), left_out(d, a)),
	    pd_figure_pairs(d->arena, a, &w, false),
	    pd_figure_pairs(d->arena, a, &w, true));
	if (f)
		f->table = d->n_tables + 1;
	pair_table(d, a, &c);
}

static void level_figure(pd_doc *d, const pd_answer *a)
{
	pd_figure_words w = { value_axis(d, a), NULL, NULL, NULL, NULL };
	size_t zeros = 0;

	for (size_t i = 0; i < a->points.n_points; i++)
		zeros += a->points.point_value[i] <= 0;
	pd_figure *f = pd_doc_figure(
	    d, pd_doc_print(d, "Results by %s", pd_say_parameter(d, a)),
	    pd_doc_print(
	        d,
	        "One dot a patient (the mean of their results at that level), on "
	        "a %s axis; with the dots of each level a "
	        "square with its interval marks the %s, patients as units.%s%s%s",
	        axis_kind(a), a->scale == PD_RATIO ? "geometric mean" : "mean",
	        a->adjusters && *a->adjusters
	            ? " Nothing is held equal in this picture, as it is in the "
	              "effect: the two may differ."
	            : "",
	        zero_results(d, a, zeros), left_out(d, a)),
	    pd_figure_levels(d->arena, a, &w, false),
	    pd_figure_levels(d->arena, a, &w, true));

	/* The numbers stand in the table by level, the last one before. */
	if (f)
		f->table = d->n_tables;
}

/* "3" or "2.1 to 3.4": a cell of the strip. */
static const char *cell_words(pd_doc *d, const pd_strip *c)
{
	return c->to > c->from
	           ? pd_doc_print(d, "%s to %s", pd_say_short(d, c->from),
	                          pd_say_short(d, c->to))
	           : pd_say_short(d, c->at);
}

static void strip_table(pd_doc *d, const pd_answer *a)
{
	const pd_points *p = &a->points;
	bool ranges = false;
	const pd_cell_column column[] = {
		{ a->parameter_words ? a->parameter_words : "Value", NULL,
		  true },
		{ "Results", NULL, true },
		{ "Patients", NULL, true },
		{ pd_doc_print(d, "Fitted there (%s CI)", pd_say_level(d, a)),
		  a->unit ? unit_words(d, a) : NULL, true },
	};
	pd_table *t = pd_doc_table(
	    d, pd_doc_print(d, "The fitted line, and how the results lie along %s",
	                    pd_say_parameter(d, a)), 4, column,
	    "beyond the line, which runs over the middle 96 of 100 results");

	for (size_t k = 0; k < p->n_strip; k++) {
		const pd_strip *c = &p->strip[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		ranges = ranges || c->to > c->from;
		cell[0] = cell_words(d, c);
		cell[1] = pd_say_count(d, c->n_rows);
		cell[2] = pd_say_count(d, c->n_patients);
		if (isfinite(c->fitted))
			cell[3] = pd_say_centre(d, c->fitted, c->low, c->high);
	}
	if (ranges)
		pd_doc_table_note(d, t, "Fitted there: at the middle of the "
		                        "range, what is held equal at its mean.");
}

static void line_table(pd_doc *d, const pd_answer *a)
{
	const pd_points *p = &a->points;
	const pd_cell_column column[] = {
		{ a->parameter_words ? a->parameter_words : "Value", NULL,
		  true },
		{ pd_doc_print(d, "Fitted (%s CI)", pd_say_level(d, a)),
		  a->unit ? unit_words(d, a) : NULL, true },
	};
	size_t rows = p->n_line < 5 ? p->n_line : 5;
	pd_table *t =
	    pd_doc_table(d, "The fitted line", 2, column, "not estimated");

	for (size_t i = 0; i < rows; i++) {
		size_t at = rows > 1 ? i * (p->n_line - 1) / (rows - 1) : 0;

		add_measure(d, t, pd_say_short(d, p->line_x[at]),
		            pd_say_centre(d, p->line_y[at], p->line_low[at],
		                          p->line_high[at]));
	}
}

static const char *strip_words(pd_doc *d, const pd_points *p)
{
	size_t most = 0;

	for (size_t k = 0; k < p->n_strip; k++)
		if (p->strip[k].n_rows > most)
			most = p->strip[k].n_rows;
	if (!most)
		return "";
	return pd_doc_print(d,
	                    " The bars at the foot count the results there, %s "
	                    "where most lie.",
	                    pd_say_count(d, most));
}

static void slope_figure(pd_doc *d, const pd_answer *a)
{
	pd_figure_words w = { value_axis(d, a), a->parameter_words, NULL, NULL,
		              NULL };
	const pd_points *p = &a->points;
	size_t zeros = 0;
	pd_figure *f;

	for (size_t i = 0; i < p->n_xy; i++)
		zeros += p->y[i] <= 0;
	f = pd_doc_figure(
	    d, pd_doc_print(d, "Results along %s", pd_say_parameter(d, a)),
	    pd_doc_print(
	        d,
	        "One dot a result; across: %s, on a %s axis; upwards: the result, "
	        "on a %s axis. The line is the fit, the band around it its "
	        "interval.%s%s%s",
	        a->parameter_words ? a->parameter_words : "",
	        a->log_x ? "logarithmic" : "linear", axis_kind(a),
	        strip_words(d, p),
	        zero_results(d, a, zeros), left_out(d, a)),
	    pd_figure_slope(d->arena, a, &w, false),
	    pd_figure_slope(d->arena, a, &w, true));
	if (f && (p->n_line || p->n_strip))
		f->table = d->n_tables + 1;
	if (p->n_strip)
		strip_table(d, a);
	else if (p->n_line)
		line_table(d, a);
}

void pd_part_figure(pd_doc *d, const pd_answer *a)
{
	const pd_points *p = &a->points;

	if (p->n_pairs && a->n_effects && a->effect[0].first &&
	    a->effect[0].second)
		pair_figure(d, a);
	else if (p->n_xy)
		slope_figure(d, a);
	else if (p->n_points && a->n_levels)
		level_figure(d, a);
}
