/*
 * compose_question.c - one question in full: what was found, the data by
 * level, the effect, how it was judged, the flow of the records, other ways
 * to the same answer, diagnostics and cautions.
 */
#include "report/compose_parts.h"

#include <math.h>

static void found(pd_doc *d, const pd_review *r, const pd_answer *a)
{
	if (a->refusal || a->n_effects == 0) {
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "%s. Why: %s",
		                 pd_say_verdict(a, PD_NO_ANSWER),
		                 a->refusal ? pd_say_stop(d, a->refusal)
		                            : "no effect could be estimated."));
		return;
	}
	for (size_t k = 0; k < a->n_effects; k++) {
		const pd_effect *e = &a->effect[k];
		const char *number =
		    pd_say_span(d, a, e->value, e->low, e->high, true);
		const char *arms = pd_say_arms(d, a, e);

		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "%s %s. %s: %s %s. %s",
		                 pd_verdict_sign(e->verdict),
		                 pd_say_supported(d, a, e->verdict),
		                 pd_say_upper(d, arms),
		                 a->scale == PD_RATIO
		                     ? "ratio"
		                     : "difference in percentage points",
		                 number ? number : "not estimable",
		                 pd_say_beyond(d, e->sentence, arms)));
	}
	if (a->adds_burden && !a->events)
		pd_doc_paragraph(d, PD_NOTE, pd_say_harm(d, r));
	if (pd_say_beside(d, r, a))
		pd_doc_paragraph(d, PD_NOTE, pd_say_beside(d, r, a));
	if (a->unsupported)
		pd_doc_paragraph(d, PD_NOTE,
		                 "A control question of this review "
		                 "did not show its known effect. A \"no "
		                 "difference\" here is not supported.");
}

static void terms(pd_doc *d, const pd_answer *a)
{
	pd_block *list = pd_doc_definitions(d);

	pd_doc_define(d, list, "Judged", pd_say_judged(d, a));
	pd_doc_define(d, list, "Compared", a->parameter_words);
	pd_doc_define(d, list, "Role", pd_say_role(a->role));
	pd_doc_define(d, list, "Margin", pd_say_margin(d, a));
	pd_doc_define(d, list, "Declared", a->declared);
	if (a->n_looks)
		pd_doc_define(d, list, "Readings so far, this one included",
		              pd_doc_print(d, "%u", a->n_looks));
	if (a->looks_paid)
		pd_doc_define(d, list, "Interval", pd_say_looks(d, a));
}

/* The states a level can count beside its results; a column only where one
 * of the levels has any. */
struct state {
	const char *head;
	size_t (*count)(const pd_level *l);
};

static size_t zeros(const pd_level *l)
{
	return l->n_zero;
}

static size_t belows(const pd_level *l)
{
	return l->n_below;
}

static size_t aboves(const pd_level *l)
{
	return l->n_above;
}

static size_t failures(const pd_level *l)
{
	return l->n_failed;
}

static const struct state states[] = {
	{ "Zero", zeros },
	{ "Below detection", belows },
	{ "Above range", aboves },
	{ "Failed, not counted in results", failures },
};

enum { N_STATES = 4, FIXED = 7 };

/* Where a result is of a whole case, sites are not counted: that is no 0. */
static const char *sites(pd_doc *d, size_t n_sites, size_t n_rows)
{
	return n_sites || !n_rows ? pd_say_count(d, n_sites) : NULL;
}

static bool any_without_sites(const pd_answer *a)
{
	for (size_t i = 0; i < a->n_levels; i++)
		if (!a->levels[i].n_sites && a->levels[i].n_rows)
			return true;
	return false;
}

static void level_row(pd_doc *d, pd_table *t, const pd_level *l,
                      const struct state *const *shown, size_t n_shown)
{
	const char **cell = pd_doc_row(d, t, NULL);

	if (!cell)
		return;
	cell[0] = pd_doc_text(d, l->name);
	cell[1] = pd_say_count(d, l->n_patients);
	cell[2] = pd_say_count(d, l->n_cases);
	cell[3] = sites(d, l->n_sites, l->n_rows);
	cell[4] = pd_say_count(d, l->n_rows);
	cell[5] = pd_say_centre(d, l->centre, l->centre_low, l->centre_high);
	cell[6] = isfinite(l->spread) ? pd_say_short(d, l->spread) : NULL;
	for (size_t k = 0; k < n_shown; k++)
		cell[FIXED + k] = pd_say_count(d, shown[k]->count(l));
}

static void level_table(pd_doc *d, const pd_answer *a)
{
	bool ratio = a->scale == PD_RATIO;
	const char *level = pd_say_level(d, a);
	pd_cell_column column[FIXED + N_STATES] = {
		{ "Level", NULL, false },
		{ "Patients", NULL, true },
		{ "Cases", NULL, true },
		{ "Sites", NULL, true },
		{ "Results", NULL, true },
		{ pd_doc_print(
		      d, ratio ? "Geometric mean (%s CI)" : "Mean (%s CI)",
		      level),
		  pd_say_unit(d, a->unit), true },
		{ ratio ? "Spread, geometric SD" : "Spread, SD", NULL, true },
	};
	const struct state *shown[N_STATES];
	size_t n_shown = 0;

	for (size_t k = 0; k < N_STATES; k++) {
		size_t n = 0;

		for (size_t i = 0; i < a->n_levels; i++)
			n += states[k].count(&a->levels[i]);
		if (!n)
			continue;
		column[FIXED + n_shown] =
		    (pd_cell_column){ states[k].head, NULL, true };
		shown[n_shown++] = &states[k];
	}
	pd_table *t = pd_doc_table(
	    d, pd_doc_print(d, "Data by %s", pd_say_parameter(d, a)),
	    FIXED + n_shown, column,
	    any_without_sites(a) ? "too few patients; or sites, where a result "
	                           "is of a whole case"
	                         : "too few patients");

	for (size_t i = 0; i < a->n_levels; i++)
		level_row(d, t, &a->levels[i], shown, n_shown);
	pd_doc_table_note(
	    d, t,
	    ratio
	        ? "Intervals count patients as units. A geometric SD of 1.5 means "
	          "that about two thirds of results lie within the mean divided "
	          "by 1.5 and times 1.5."
	        : "Intervals count patients as units.");
	if (n_shown < N_STATES)
		pd_doc_table_note(d, t,
		                  "A state that no result has (zero, "
		                  "below detection, above range, failed) has "
		                  "no column.");
}

/* "1.23 (or 0.81)": the effect that would have been shown, either way. */
static const char *detectable(pd_doc *d, const pd_answer *a, double x)
{
	pd_buf b;

	if (!isfinite(x) || x <= 0)
		return NULL;
	pd_buf_init(&b);
	if (a->scale == PD_RATIO) {
		pd_number_fixed(&b, x, 2);
		pd_buf_add(&b, " (or ");
		pd_number_fixed(&b, 1 / x, 2);
		pd_buf_char(&b, ')');
	} else {
		pd_number_short(&b, x);
		pd_buf_add(&b, " (or ");
		pd_number_short(&b, -x);
		pd_buf_char(&b, ')');
	}
	return pd_doc_take(d, &b);
}

static void effect_table(pd_doc *d, const pd_answer *a)
{
	const pd_cell_column column[] = {
		{ "Comparison", NULL, false },
		{ pd_doc_print(d, "%s (%s CI)",
		               a->scale == PD_RATIO ? "Ratio" : "Difference",
		               pd_say_level(d, a)),
		  a->scale == PD_RATIO ? NULL : "percentage points", true },
		{ "df", NULL, true },
		{ "P", NULL, true },
		{ "P, adjusted", NULL, true },
		{ "P, outside the margin", NULL, true },
		{ "Could have shown", NULL, true },
		{ "Verdict", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "Estimate, tests and verdict", 8, column,
	                           "the method has none, or no margin was "
	                           "declared");

	for (size_t k = 0; k < a->n_effects; k++) {
		const pd_effect *e = &a->effect[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_say_label(d, a, e);
		cell[1] = pd_say_span(d, a, e->value, e->low, e->high, false);
		cell[2] = isfinite(e->log.df) && e->log.df > 0
		              ? pd_say_short(d, e->log.df)
		              : NULL;
		cell[3] = pd_say_p(d, e->log.p);
		cell[4] = pd_say_p(d, e->p_adjusted);
		cell[5] = pd_say_p(d, e->p_margin);
		cell[6] = detectable(d, a, e->detectable);
		cell[7] = pd_say_supported(d, a, e->verdict);
	}
	pd_doc_table_note(
	    d, t,
	    "P: against no effect. P, adjusted: after the "
	    "rule for this question's role. P, outside the margin: the larger "
	    "of two one-sided tests; small means the effect lies inside the "
	    "margin.");
	pd_doc_table_note(
	    d, t,
	    "Could have shown: a true effect of this size "
	    "or beyond would have been told from none 4 times in 5.");
}

static void component_notes(pd_doc *d, pd_table *t, const pd_answer *a)
{
	if (a->used & PD_USED_PAIRS)
		pd_doc_table_note(
		    d, t,
		    "Of the pairs, each patient once by the mean of each "
		    "level, the difference between the levels taken off. "
		    "Limits of the correlation: F law, exact if the "
		    "differences and the patients are normal; below 0 the "
		    "two of a pair are less alike than any two.");
	else
		pd_doc_table_note(
		    d, t,
		    "Limits: profile of the restricted likelihood. Two of the "
		    "same: two results that share what the line names and all "
		    "above it.");
	if (a->no_icc_limits)
		pd_doc_table_note(d, t,
		                  pd_doc_print(d, "A correlation without "
		                               "limits: %s.",
		                               a->no_icc_limits));
}

static void component_table(pd_doc *d, const pd_answer *a)
{
	bool ratio = a->scale == PD_RATIO;
	const char *level = pd_say_level(d, a);
	const pd_cell_column column[] = {
		{ "Spread", NULL, false },
		{ pd_doc_print(d, ratio ? "SD, natural log scale (%s CI)"
		                        : "SD (%s CI)", level),
		  ratio ? NULL : "percentage points", true },
		{ "Two differ up to, 19 times in 20", NULL, true },
		{ pd_say_shared_head(d, level), NULL, true },
	};
	bool zero = false;
	pd_table *t = pd_doc_table(d, "Where the spread comes from", 4, column,
	                           "not estimated, or shared by no two");

	for (size_t i = 0; i < a->n_components; i++) {
		const char **cell = pd_doc_row(d, t, NULL);
		double sd = a->component_sd[i];
		double far = 1.96 * sqrt(2) * sd;

		if (!cell)
			return;
		zero = zero || sd == 0;
		cell[0] = pd_doc_text(d, a->component_name[i]);
		cell[1] = pd_say_spread(d, a, i);
		cell[3] = pd_say_shared(d, a, i);
		cell[2] = isnan(sd) ? NULL
		          : sd == 0 ? "none seen"
		          : ratio   ? pd_doc_print(d, "%s-fold",
		                                   pd_say_short(d, exp(far)))
		                    : pd_say_short(d, far);
	}
	component_notes(d, t, a);
	if (zero)
		pd_doc_table_note(d, t,
		                  "0: this spread could not be told from "
		                  "none in these data; that does not prove "
		                  "there is none.");
}

static void how(pd_doc *d, const pd_answer *a)
{
	if (a->method)
		pd_doc_paragraph(d, PD_PLAIN, pd_say_whole(d, a->method));
	if (a->adjusters && *a->adjusters)
		pd_doc_paragraph(
		    d, PD_PLAIN,
		    pd_doc_print(d, "Adjusted for: %s.", a->adjusters));
	if (a->n_refused) {
		pd_block *list = pd_doc_box(d, PD_NOTE, "Not used, and why");

		for (size_t i = 0; i < a->n_refused; i++)
			pd_doc_item(d, list, pd_say_whole(d, a->refused[i]));
	}
	if (a->n_components)
		component_table(d, a);
}

static void flow(pd_doc *d, const pd_answer *a)
{
	const pd_cell_column column[] = {
		{ "Step", NULL, false },   { "Patients", NULL, true },
		{ "Cases", NULL, true },   { "Sites", NULL, true },
		{ a->events ? "Units" : "Results", NULL, true },
	};
	pd_table *t = pd_doc_table(d, "From recorded to used", 5, column,
	                           "not counted at this level");

	for (size_t i = 0; i < a->n_flow; i++) {
		const pd_flow *f = &a->flow[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, f->step);
		cell[1] = pd_say_count(d, f->n_patients);
		cell[2] = pd_say_count(d, f->n_cases);
		cell[3] = sites(d, f->n_sites, f->n_rows);
		cell[4] = pd_say_count(d, f->n_rows);
	}
}

static void sensitivity(pd_doc *d, const pd_answer *a)
{
	const pd_cell_column column[] = {
		{ "Way", NULL, false },
		{ pd_doc_print(d, "%s (%s CI)",
		               a->scale == PD_RATIO ? "Ratio" : "Difference",
		               pd_say_level(d, a)),
		  a->scale == PD_RATIO ? NULL : "percentage points", true },
		{ "P", NULL, true },
		{ "Note", NULL, false },
	};
	pd_table *t = pd_doc_table(
	    d,
	    pd_doc_print(d, "Other ways to the same answer%s%s",
	                 a->n_effects > 1 && a->effect[0].label ? ": " : "",
	                 a->n_effects > 1 && a->effect[0].label
	                     ? a->effect[0].label
	                     : ""),
	    4, column, "the way has none, was not possible, or needs no note");
	const char **cell = a->n_effects ? pd_doc_row(d, t, NULL) : NULL;

	if (cell) {
		const pd_effect *e = &a->effect[0];

		cell[0] = "as judged above";
		cell[1] = pd_say_span(d, a, e->value, e->low, e->high, false);
		cell[2] = pd_say_p(d, e->log.p);
		if (a->looks_paid)
			cell[3] = "holds for all readings; the other ways for "
			          "a single one";
	}
	for (size_t i = 0; i < a->n_sensitivity; i++) {
		const pd_sensitivity *s = &a->sensitivity[i];

		cell = pd_doc_row(d, t, NULL);
		if (!cell)
			return;
		cell[0] = pd_doc_text(d, s->name);
		if (s->done) {
			cell[1] =
			    pd_say_span(d, a, s->value, s->low, s->high, false);
			cell[2] = pd_say_p(d, s->p);
		}
		if (s->note && *s->note)
			cell[3] = pd_doc_print(
			    d, s->done ? "%s" : "not done: %s", s->note);
		else if (!s->done)
			cell[3] = "not done";
	}
}

void pd_part_question(pd_doc *d, const pd_review *r, size_t i,
                      const char *heading)
{
	const pd_answer *a = &r->answer[i];
	const char *title = a->title ? a->title : a->name;

	pd_doc_heading(d, 2, pd_doc_print(d, "q%zu", i + 1),
	               heading ? heading
	                       : pd_doc_print(d, "Q%zu. %s", i + 1, title));
	found(d, r, a);
	terms(d, a);
	if (a->events) {
		pd_doc_heading(d, 3, NULL, "The data");
		pd_part_events(d, a);
	}
	if (a->n_levels || a->points.n_xy || a->points.n_pairs) {
		pd_doc_heading(d, 3, NULL, "The data");
		if (a->n_levels)
			level_table(d, a);
		pd_part_figure(d, a); /* names the table of levels, the last */
		if (a->n_effects && a->weighing && a->weighing->n_alike)
			pd_part_alike(d, a->weighing, a->effect[0].first,
			              a->effect[0].second);
	}
	if (a->n_effects && !a->refusal) {
		pd_doc_heading(d, 3, NULL, "The effect");
		effect_table(d, a);
		pd_part_looks(d, a);
	}
	if (a->method || a->n_refused || a->n_components) {
		pd_doc_heading(d, 3, NULL, "How it was judged");
		how(d, a);
	}
	if (a->n_flow) {
		pd_doc_heading(d, 3, NULL, "What became of the records");
		flow(d, a);
	}
	if (a->n_sensitivity && !a->refusal) {
		pd_doc_heading(d, 3, NULL, "Would another way say the same?");
		sensitivity(d, a);
	}
	if (a->n_diagnostics) {
		pd_block *list;

		pd_doc_heading(d, 3, NULL, "How far to trust the fit");
		list = pd_doc_list(d);
		for (size_t k = 0; k < a->n_diagnostics; k++)
			pd_doc_item(d, list,
			            pd_say_whole(d, a->diagnostics[k]));
	}
	if (a->n_cautions) {
		pd_block *box =
		    pd_doc_box(d, PD_CAUTION, "Cautions of this question");

		for (size_t k = 0; k < a->n_cautions; k++)
			pd_doc_item(d, box, pd_say_whole(d, a->cautions[k]));
	}
}
