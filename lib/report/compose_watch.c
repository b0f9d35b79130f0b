/*
 * compose_watch.c - charts, signals and operators, as a document.
 */
#include "report/compose.h"
#include "report/compose_parts.h"
#include "report/figure_watch.h"

#include <math.h>

static const char *effect(pd_doc *d, const pd_watch_answer *a, double value,
                          double low, double high, bool with_level)
{
	pd_span s = { a->scale == PD_RATIO ? PD_SPAN_RATIO : PD_SPAN_DIFFERENCE,
		      value, low, high, a->level };
	pd_buf b;

	pd_buf_init(&b);
	pd_number_span(&b, &s, with_level);
	return pd_doc_take(d, &b);
}

static const char *fixed(pd_doc *d, double x, int decimals)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_fixed(&b, x, decimals);
	return pd_doc_take(d, &b);
}

static const char *plural(size_t n)
{
	return n == 1 ? "" : "s";
}

static const char *stands(const pd_signal *s)
{
	return s->state == PD_SHIFT_HELD   ? "it lasted"
	       : s->state == PD_SHIFT_PASSED ? "it passed"
	                                     : "too recent to tell whether it "
	                                       "lasts";
}

static const char *shift_words(pd_doc *d, const pd_watch_answer *a,
                               const pd_signal *s)
{
	return pd_doc_print(d, "found on %s, likely begun about %s: %s %s; %s"
	                    "%s%s",
	                    s->date, s->since,
	                    effect(d, a, s->change, s->low, s->high, true),
	                    a->scale == PD_RATIO ? "of what came before"
	                                         : "points from before",
	                    stands(s), s->beside ? "; beside it: " : "",
	                    s->beside ? s->beside : "");
}

static void list_shifts(pd_doc *d, const pd_watch_answer *a)
{
	pd_block *list = pd_doc_list(d);

	for (size_t k = 0; k < a->n_signals; k++)
		if (a->signal[k].group == a->chart[0].group)
			pd_doc_item(d, list, shift_words(d, a, &a->signal[k]));
}

static void lead(pd_doc *d, const pd_watch_answer *a)
{
	size_t all = 0, passed = 0;

	if (a->refusal) {
		pd_doc_paragraph(d, PD_LEAD,
		                 pd_doc_print(d, "Cannot be watched. Why: %s",
		                              pd_say_stop(d, a->refusal)));
		return;
	}
	for (size_t k = 0; k < a->n_signals; k++) {
		if (a->signal[k].group != a->chart[0].group)
			continue;
		all++;
		passed += a->signal[k].state == PD_SHIFT_PASSED;
	}
	if (!all)
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "No shift found among all cases since the "
		                 "baseline ended on %s.", a->base_until));
	else {
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "Among all cases %s shift%s found since the "
		                 "baseline ended on %s%s.%s",
		                 pd_say_count(d, all), all == 1 ? " was" : "s "
		                 "were", a->base_until,
		                 passed ? pd_doc_print(d, ", of which %s passed",
		                                       pd_say_count(d, passed))
		                        : "",
		                 isnan(a->now) ? "" : pd_doc_print(
		                     d, " Since the last that lasted: %s %s "
		                     "the baseline.",
		                     effect(d, a, a->now, a->now_low,
		                            a->now_high, true),
		                     a->scale == PD_RATIO ? "of"
		                                          : "points from")));
		list_shifts(d, a);
	}
	if (a->n_signals > all)
		pd_doc_paragraph(
		    d, PD_PLAIN,
		    pd_doc_print(d, "Of single operators or method versions, "
		                 "against all cases of the time: %s shift%s; see "
		                 "the table.", pd_say_count(d, a->n_signals - all),
		                 plural(a->n_signals - all)));
	pd_doc_paragraph(
	    d, PD_PLAIN,
	    pd_doc_print(d, "Where nothing changes, all charts together find a "
	                 "false shift once in about %s quarters. A shift does "
	                 "not say why: look at the laboratory, the patients and "
	                 "the technique of that time, in this order.",
	                 fixed(d, a->quarters, a->quarters < 10)));
}

static void signal_table(pd_doc *d, const pd_watch_answer *a)
{
	const pd_cell_column column[] = {
		{ "Chart of", NULL, false },
		{ "Found", NULL, false },
		{ "Likely start", NULL, false },
		{ "Cases to find it", NULL, true },
		{ "Before, after", "cases", true },
		{ a->scale == PD_RATIO ? "Ratio" : "Difference",
		  a->scale == PD_RATIO ? NULL : "points", true },
		{ "Since then", NULL, false },
		{ "Beside it", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "Shifts", 8, column,
	                           "one case alone has no interval; or nothing "
	                           "begins there");

	for (size_t k = 0; k < a->n_signals; k++) {
		const pd_signal *s = &a->signal[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, s->group);
		cell[1] = s->date;
		cell[2] = s->since;
		cell[3] = pd_say_count(d, s->n_since);
		cell[4] = pd_doc_print(d, "%s, %s", pd_say_count(d, s->n_before),
		                       pd_say_count(d, s->n_after));
		cell[5] = effect(d, a, s->change, s->low, s->high, false);
		cell[6] = stands(s);
		cell[7] = s->beside;
	}
	pd_doc_table_note(d, t,
	                  "One shift is one row: the chart goes on about the "
	                  "new level, or about the old one where the next 30 "
	                  "cases, which had no part in the signal, did not stay "
	                  "away from it (it passed). Ratio (or difference): "
	                  "cases from the likely start to the next shift that "
	                  "lasted (of one that passed: to the signal) against "
	                  "those before. Intervals take the start as "
	                  "known; it was found by looking, so they are somewhat "
	                  "short. Operators and method versions are charted "
	                  "about the level of all cases at the time.");
	if (a->n_not_shown)
		pd_doc_table_note(d, t,
		                  pd_doc_print(d, "%s further shifts are not "
		                               "shown.",
		                               pd_say_count(d, a->n_not_shown)));
}

static void charts_table(pd_doc *d, const pd_watch_answer *a)
{
	const pd_cell_column column[] = {
		{ "Chart of", NULL, false },
		{ "Cases", NULL, true },
		{ "Baseline", "cases", true },
		{ "Shifts", NULL, true },
	};
	pd_table *t = pd_doc_table(d, "Charts kept", 4, column, NULL);

	for (size_t k = 0; k < a->n_charts; k++) {
		const pd_chart *c = &a->chart[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, c->group);
		cell[1] = pd_say_count(d, c->n);
		cell[2] = pd_say_count(d, c->n_base);
		cell[3] = pd_say_count(d, c->n_signals);
	}
	pd_doc_table_note(
	    d, t,
	    pd_doc_print(d, "Where nothing changes each chart finds a false "
	                 "shift once in about %s cases, all %s together once in "
	                 "about %s quarters of this clinic.",
	                 fixed(d, a->run_length, 0),
	                 pd_say_count(d, a->n_charts),
	                 fixed(d, a->quarters, a->quarters < 10)));
	if (a->n_charts_left)
		pd_doc_table_note(d, t, pd_doc_print(
		    d, "%s further operators or method versions are not charted.",
		    pd_say_count(d, a->n_charts_left)));
}

/* The chart as it stood at the last case of each year. */
static void years_table(pd_doc *d, const pd_chart *c)
{
	static const pd_cell_column column[] = {
		{ "At the end of", NULL, false },
		{ "Cases", NULL, true },
		{ "Average", "SD", true },
		{ "Its limits", "SD", true },
		{ "Sum, gains", "SD", true },
		{ "Sum, losses", "SD", true },
	};
	pd_table *t = pd_doc_table(d, "The chart of all cases, year by year", 6,
	                           column, "baseline: nothing is charted yet");

	for (size_t i = 0; i < c->n; i++) {
		bool charted = i >= c->n_base;

		if (i + 1 < c->n && floor(c->time[i + 1]) <= floor(c->time[i]))
			continue;
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_print(d, "%.0f", floor(c->time[i]));
		cell[1] = pd_say_count(d, i + 1);
		if (!charted)
			continue;
		cell[2] = fixed(d, c->average[i], 2);
		cell[3] = pd_doc_print(d, "\xc2\xb1%s",
		                       fixed(d, c->half[i], 2));
		cell[4] = fixed(d, c->up[i], 2);
		cell[5] = fixed(d, c->down[i], 2);
	}
	pd_doc_table_note(
	    d, t,
	    pd_doc_print(d, "The sums signal at %s. After a signal average and "
	                 "sums begin at 0.",
	                 fixed(d, c->limit_sum, 2)));
}

static void chart_figure(pd_doc *d, const pd_watch_answer *a)
{
	pd_buf b;
	char letter = 'a';

	pd_buf_init(&b);
	pd_buf_add(&b,
	           "Across: time. Above: the weighted average of the cases' "
	           "scores, in standard deviations (SD). Below: cumulative sums, "
	           "upwards for gains and downwards for losses. Broken lines are "
	           "the limits; an arrow head at the edge marks a signal and "
	           "points the way the cases had moved. After it both begin anew "
	           "about the new level. The shaded part is the baseline.");
	for (size_t k = 0; k < a->n_marks; k++) {
		pd_buf_print(&b, " %c: %s.", letter, a->mark[k].words);
		if (letter < 'z')
			letter++;
	}
	pd_figure *f = pd_doc_figure(
	    d, pd_doc_print(d, "Cases in time: %s", a->chart[0].group),
	    pd_doc_take(d, &b),
	    pd_figure_watch(d->arena, a, false),
	    pd_figure_watch(d->arena, a, true));

	if (f)
		f->table = d->n_tables + 1;
	years_table(d, &a->chart[0]);
}

static void funnel(pd_doc *d, const pd_watch_answer *a)
{
	const pd_cell_column column[] = {
		{ "Operator", NULL, false },
		{ "Cases", NULL, true },
		{ a->scale == PD_RATIO ? "Own mean against all"
		                       : "Own mean less that of all",
		  NULL, true },
		{ "Partially pooled, with limits", NULL, true },
		{ "Limits of chance at that number", NULL, true },
	};

	pd_doc_heading(d, 2, "operators", "Operators beside each other");
	if (!a->n_funnel) {
		pd_doc_paragraph(d, PD_PLAIN,
		                 "Fewer than three operators have ten cases or "
		                 "more: none are shown beside each other.");
		return;
	}
	pd_table *t = pd_doc_table(d, "Operators, in the order of their names",
	                           5, column, NULL);

	for (size_t k = 0; k < a->n_funnel; k++) {
		const pd_funnel_row *r = &a->funnel[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, r->name);
		cell[1] = pd_say_count(d, r->n);
		cell[2] = effect(d, a, r->mean, NAN, NAN, false);
		cell[3] = effect(d, a, r->shrunk, r->low, r->high, false);
		cell[4] = pd_doc_print(d, "%s to %s%s", fixed(d, r->limit_low, 2),
		                       fixed(d, r->limit_high, 2),
		                       r->outside ? "; outside of 99.8%" : "");
	}
	pd_doc_table_note(d, t,
	                  "Partially pooled: the fewer cases, the more an "
	                  "operator's mean is drawn to that of all; read this "
	                  "one. Operators' patients differ: this is no ranking "
	                  "and no measure of skill.");
	if (a->n_left_out)
		pd_doc_table_note(d, t,
		                  pd_doc_print(d, "%s operators with fewer than "
		                               "ten cases are left out.",
		                               pd_say_count(d, a->n_left_out)));
	pd_figure *f = pd_doc_figure(
	    d, "Operators over their number of cases",
	    "Across: cases; upwards: cases' residuals against those of all. Dots: "
	    "an operator's own mean; squares: partially pooled, with limits. Lines: "
	    "where means lie by chance alone, 95 in 100 (broken) and 998 in 1000. "
	    "A name without room is left out here; the table has all.",
	    pd_figure_funnel(d->arena, a, false),
	    pd_figure_funnel(d->arena, a, true));

	if (f)
		f->table = d->n_tables;
}

static void how(pd_doc *d, const pd_watch_answer *a)
{
	pd_block *list = pd_doc_definitions(d);

	pd_doc_define(d, list, "Judged",
	              pd_doc_print(d, "%s: %s", a->outcome_words,
	                           a->judge_words));
	pd_doc_define(d, list, "Held equal", a->adjusters);
	if (a->where_text)
		pd_doc_define(d, list, "Draws", a->where_text);
	if (a->refusal)
		return;
	pd_doc_define(d, list, "Baseline",
	              pd_doc_print(d, "%s cases until %s",
	                           pd_say_count(d, a->chart[0].n_base),
	                           a->base_until));
	pd_doc_define(d, list, "Cumulative sum",
	              pd_doc_print(d, "for a shift of %s standard deviations, "
	                           "limit %s", fixed(d, a->shift, 2),
	                           fixed(d, a->chart[0].limit_sum, 2)));
	pd_doc_define(d, list, "Weighted average",
	              pd_doc_print(d, "weight of the newest case %s, limit %s "
	                           "standard deviations",
	                           fixed(d, a->lambda, 2),
	                           fixed(d, a->chart[0].limit_average, 2)));
	pd_doc_define(d, list, "Scores",
	              "a case's rank among those since the last shift, as a "
	              "value of the normal law: the limits hold whatever the "
	              "results' own distribution and however few cases the "
	              "baseline has");
	if (a->n_returning)
		pd_doc_define(d, list, "Returning patients",
		              pd_doc_print(d, "%s later visit%s, freed of what "
		                           "the patient's earlier ones tell",
		                           pd_say_count(d, a->n_returning),
		                           plural(a->n_returning)));
	if (a->freed)
		pd_doc_define(d, list, "Neighbours",
		              pd_doc_print(d, "a case of the baseline follows the "
		                           "one before it (correlation %s); each is "
		                           "freed of it", fixed(d, a->correlation,
		                                                2)));
}

static void cautions(pd_doc *d)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "Before acting on a shift");

	pd_doc_item(d, box,
	            "Charts watch the process, not a patient, and find false "
	            "shifts now and then by design.");
	pd_doc_item(d, box,
	            "A changed mix of patients that age and volume do not tell "
	            "can raise one too.");
	pd_doc_item(d, box,
	            "Cell counts are not a patient's outcome; release decisions "
	            "are not made from this report. Local codes and licensed "
	            "judgement come first.");
}

pd_status pd_compose_watch(const pd_watch_answer *a, pd_doc **out,
                           pd_error *err)
{
	pd_doc *d = pd_doc_new("Has the yield moved?", "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "Has the yield moved?");
	pd_part_clinic(d, &a->context);
	pd_doc_heading(d, 2, "answer", "Shifts since the baseline");
	lead(d, a);
	cautions(d);
	pd_doc_page_end(d);
	if (!a->refusal && a->n_signals)
		signal_table(d, a);
	if (!a->refusal) {
		charts_table(d, a);
		if (a->chart[0].n)
			chart_figure(d, a);
	}
	how(d, a);
	if (!a->refusal)
		funnel(d, a);
	if (a->dishes)
		pd_part_dishes(d, a->dishes);
	pd_part_sources(d, &a->context);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
