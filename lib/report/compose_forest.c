/*
 * compose_forest.c - all effects on one scale, and the trend by quarter.
 * Ratios and differences are two figures, for they share no axis.
 */
#include "report/compose_parts.h"

#include <math.h>

static size_t rows_of(const pd_answer *a)
{
	return a->refusal || a->n_effects == 0 ? 1 : a->n_effects;
}

static void fill_bar(pd_doc *d, const pd_answer *a, size_t i, size_t k,
                     pd_bar *bar)
{
	if (a->refusal || a->n_effects == 0) {
		bar->label =
		    pd_doc_print(d, "Q%zu  %s", i + 1, pd_say_parameter(d, a));
		bar->value = bar->low = bar->high = NAN;
		bar->margin_low = bar->margin_high = NAN;
		bar->verdict = PD_NO_ANSWER;
		bar->words = pd_say_verdict(a, PD_NO_ANSWER);
		return;
	}
	const pd_effect *e = &a->effect[k];

	bar->label = pd_doc_print(d, "Q%zu  %s", i + 1, pd_say_label(d, a, e));
	bar->number = pd_say_span(d, a, e->value, e->low, e->high, false);
	bar->less = pd_say_less(d, a, e);
	bar->more = pd_say_more(d, a, e);
	bar->words = pd_say_supported(d, a, e->verdict);
	bar->value = e->value;
	bar->low = e->low;
	bar->high = e->high;
	bar->verdict = e->verdict;
	bar->neutral = a->not_a_choice;
	bar->unsupported = pd_is_unsupported(a, e->verdict);
	pd_margin_limits(a, &bar->margin_low, &bar->margin_high);
}

/* The bars of one scale; NULL when there are none (or memory ran out). */
static pd_bars *make_bars(pd_doc *d, const pd_review *r, size_t n_answers,
                          pd_scale scale)
{
	pd_bars *b = PD_NEW(d->arena, pd_bars, 1);
	size_t n = 0;

	for (size_t i = 0; i < n_answers; i++)
		if (r->answer[i].scale == scale)
			n += rows_of(&r->answer[i]);
	if (b && n)
		b->bar = PD_NEW(d->arena, pd_bar, n);
	if (!b || (n && !b->bar)) {
		d->failed = true;
		return NULL;
	}
	if (!n)
		return NULL;
	for (size_t i = 0; i < n_answers; i++)
		for (size_t k = 0;
		     r->answer[i].scale == scale && k < rows_of(&r->answer[i]);
		     k++)
			fill_bar(d, &r->answer[i], i, k, &b->bar[b->n++]);
	b->log = scale == PD_RATIO;
	b->axis_words = b->log ? "ratio, logarithmic axis"
	                       : "difference, percentage points";
	pd_bars_scale(b);
	return b;
}

static void forest_table(pd_doc *d, const pd_review *r, size_t n_answers,
                         pd_scale scale)
{
	const char *level = pd_say_level(d, &r->answer[0]);
	const pd_cell_column column[] = {
		{ "Comparison", NULL, false },
		{ pd_doc_print(d, "%s (%s CI)",
		               scale == PD_RATIO ? "Ratio" : "Difference",
		               level),
		  scale == PD_RATIO ? NULL : "percentage points", true },
		{ "Verdict", NULL, false },
		{ "Judged", NULL, false },
	};
	pd_table *t = pd_doc_table(d,
	                           scale == PD_RATIO
	                               ? "All effects judged as a ratio"
	                               : "All effects judged as a difference",
	                           4, column,
	                           "not estimated; the question's own section "
	                           "says why");

	for (size_t i = 0; i < n_answers; i++) {
		const pd_answer *a = &r->answer[i];
		bool refused = a->refusal || a->n_effects == 0;

		for (size_t k = 0; a->scale == scale && k < rows_of(a); k++) {
			const char **cell = pd_doc_row(d, t, NULL);
			const pd_effect *e = refused ? NULL : &a->effect[k];

			if (!cell)
				return;
			cell[0] = e ? pd_doc_print(d, "Q%zu %s", i + 1,
			                           pd_say_arms(d, a, e))
			            : pd_doc_print(d, "Q%zu %s", i + 1,
			                           pd_say_parameter(d, a));
			cell[3] = pd_say_judged(d, a);
			cell[1] = e ? pd_say_span(d, a, e->value, e->low,
			                          e->high, false)
			            : NULL;
			cell[2] = e ? pd_say_supported(d, a, e->verdict)
			            : pd_say_verdict(a, PD_NO_ANSWER);
		}
	}
}

/* Effects of one scale by verdict; [1] those that are shares of events, where
 * up is not better. */
static void count_verdicts(const pd_review *r, size_t n_answers, pd_scale scale,
                           size_t n[2][PD_NO_ANSWER + 1], bool *events)
{
	for (size_t i = 0; i < n_answers; i++) {
		const pd_answer *a = &r->answer[i];
		bool refused = a->refusal || a->n_effects == 0;

		if (a->scale != scale)
			continue;
		*events = *events || a->events;
		for (size_t k = 0; k < rows_of(a); k++)
			n[a->events != NULL][refused ? PD_NO_ANSWER
			                     : a->effect[k].verdict]++;
	}
}

static const char *forest_description(pd_doc *d, const pd_review *r,
                                      size_t n_answers, pd_scale scale)
{
	size_t n[2][PD_NO_ANSWER + 1] = { { 0 } };
	bool events = false;
	const char *more = "", *fewer = "";

	count_verdicts(r, n_answers, scale, n, &events);
	if (events) {
		more = pd_doc_print(d, ", %zu with more adverse events",
		                    n[1][PD_BETTER]);
		fewer = pd_doc_print(d, ", %zu with fewer adverse events",
		                     n[1][PD_WORSE]);
	}
	return pd_doc_print(
	    d,
	    "One row an effect: the sign is the estimate, the line its "
	    "interval, the thick upright line no effect, the shaded band the "
	    "margin inside which a difference does not change practice. An "
	    "arrow means that the interval goes on past the axis. Triangle "
	    "up: %zu better or higher%s; triangle down: %zu worse or lower%s; "
	    "square: %zu with no difference that matters; hollow diamond: "
	    "%zu not settled; without a bar: %zu that cannot be answered.",
	    n[0][PD_BETTER], more, n[0][PD_WORSE], fewer,
	    n[0][PD_NO_MATTER] + n[1][PD_NO_MATTER],
	    n[0][PD_NOT_SETTLED] + n[1][PD_NOT_SETTLED],
	    n[0][PD_NO_ANSWER] + n[1][PD_NO_ANSWER]);
}

static void forest_of(pd_doc *d, const pd_review *r, size_t n_answers,
                      pd_scale scale)
{
	pd_bars *b = make_bars(d, r, n_answers, scale);
	pd_figure *f;

	if (!b)
		return;
	f = pd_doc_figure(
	    d,
	    scale == PD_RATIO ? "Effects as ratios" : "Effects as differences",
	    forest_description(d, r, n_answers, scale),
	    pd_figure_forest(d->arena, b, false),
	    pd_figure_forest(d->arena, b, true));
	if (f) {
		f->bars = b;
		f->table = d->n_tables + 1;
	}
	forest_table(d, r, n_answers, scale);
}

void pd_part_forest(pd_doc *d, const pd_review *r, size_t n_answers)
{
	if (!n_answers)
		return;
	pd_doc_heading(d, 2, "effects", "All effects on one scale");
	forest_of(d, r, n_answers, PD_RATIO);
	forest_of(d, r, n_answers, PD_DIFFERENCE);
}

static void trend_table(pd_doc *d, const pd_review *r)
{
	const char *level = pd_say_review_level(d, r);
	const pd_cell_column column[] = {
		{ "Quarter", NULL, false },
		{ "Cases", NULL, true },
		{ "Patients", NULL, true },
		{ pd_doc_print(d, "TNC, geometric mean (%s CI)", level),
		  pd_say_unit(d, "10^6/mL"), true },
		{ pd_doc_print(d, "CFU-F, geometric mean (%s CI)", level),
		  "per mL", true },
		{ "What changed", NULL, false },
	};
	bool any = false;
	char letter = 'a';

	for (size_t i = 0; i < r->n_trends; i++)
		any = any || (r->trend[i].note && *r->trend[i].note);
	pd_table *t =
	    pd_doc_table(d, "Concentration by calendar quarter", any ? 6 : 5,
	                 column, "too few results, or nothing to note");

	for (size_t i = 0; i < r->n_trends; i++) {
		const pd_trend *q = &r->trend[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, q->quarter);
		cell[1] = pd_say_count(d, q->n_cases);
		cell[2] = pd_say_count(d, q->n_patients);
		cell[3] = pd_say_centre(d, q->tnc, q->tnc_low, q->tnc_high);
		cell[4] = pd_say_centre(d, q->cfu, q->cfu_low, q->cfu_high);
		if (any && q->note && *q->note) {
			cell[5] = pd_doc_print(d, "%c: %s", letter, q->note);
			letter = letter < 'z' ? (char)(letter + 1) : 'z';
		}
	}
	pd_doc_table_note(d, t,
	                  "Not adjusted: patients, operators and "
	                  "technique differ between quarters.");
}

void pd_part_trend(pd_doc *d, const pd_review *r)
{
	pd_figure *f;

	if (!r->n_trends)
		return;
	pd_doc_heading(d, 2, "trend", "Trend by quarter");
	f = pd_doc_figure(
	    d, "Concentration by quarter",
	    pd_doc_print(
	        d,
	        "Geometric means with their %s intervals on logarithmic axes "
	        "from %s to %s: nucleated cells above, colony-forming units "
	        "below. A dashed upright line with a letter marks a quarter in "
	        "which something changed; the table says what.",
	        pd_say_review_level(d, r), r->trend[0].quarter,
	        r->trend[r->n_trends - 1].quarter),
	    pd_figure_trend(d->arena, r->trend, r->n_trends, false),
	    pd_figure_trend(d->arena, r->trend, r->n_trends, true));
	if (f)
		f->table = d->n_tables + 1;
	trend_table(d, r);
}
