/* compose_missing.c - see compose_missing.h. */
#include "report/compose_missing.h"
#include "report/compose_parts.h"

#include <math.h>

static size_t without(const pd_missing_outcome *o)
{
	return o->n_failed + o->n_not_ordered + o->n_blank;
}

/* "12.3", percent; NULL of nothing. */
static const char *percent(pd_doc *d, size_t k, size_t n)
{
	pd_buf b;

	if (!n)
		return NULL;
	pd_buf_init(&b);
	pd_number_fixed(&b, 100.0 * (double)k / (double)n, 1);
	return pd_doc_take(d, &b);
}

static const char *span(pd_doc *d, const pd_missing_answer *a,
                        const pd_missing_outcome *o, bool with_level)
{
	pd_span s = { PD_SPAN_RATIO, o->odds, o->odds_low, o->odds_high,
		      a->level };
	pd_buf b;

	if (isnan(o->odds))
		return NULL;
	pd_buf_init(&b);
	pd_number_span(&b, &s, with_level);
	return pd_doc_take(d, &b);
}

static bool depends(const pd_missing_answer *a, const pd_missing_outcome *o)
{
	return !isnan(o->p) && o->p_adjusted <= 1 - a->level;
}

static const char *p_words(pd_doc *d, double p)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_p_words(&b, p);
	return pd_doc_take(d, &b);
}

static void lead(pd_doc *d, const pd_missing_answer *a)
{
	size_t n_tested = 0, n_depend = 0;
	pd_block *list;

	for (size_t k = 0; k < a->n_outcomes; k++) {
		n_tested += a->outcome[k].not_tested == NULL;
		n_depend += depends(a, &a->outcome[k]);
	}
	if (!n_tested) {
		pd_doc_paragraph(d, PD_LEAD,
		                 "Too few results are missing, or too few are "
		                 "there, to ask whether it depends on the draw.");
		return;
	}
	pd_doc_paragraph(
	    d, PD_LEAD,
	    pd_doc_print(d, "In %s of %s outcomes a missing result goes with how "
	                 "rich the first pull was.",
	                 n_depend ? pd_say_count(d, n_depend) : "none",
	                 pd_say_count(d, n_tested)));
	list = pd_doc_list(d);
	for (size_t k = 0; k < a->n_outcomes; k++) {
		const pd_missing_outcome *o = &a->outcome[k];

		if (!depends(a, o))
			continue;
		pd_doc_item(
		    d, list,
		    pd_doc_print(d, "%s: for twice the nucleated cells the odds "
		                 "of being without a result are %s times as "
		                 "high, %s%s. Results that are there speak "
		                 "for %s marrow than was drawn.",
		                 pd_say_upper(d, o->words), span(d, a, o, true),
		                 p_words(d, o->p_adjusted),
		                 o->held ? pd_doc_print(d, ", %s held equal",
		                                        o->held)
		                         : "",
		                 o->odds < 1 ? "richer" : "poorer"));
	}
}

static void outcome_table(pd_doc *d, const pd_missing_answer *a)
{
	const pd_cell_column column[] = {
		{ "Outcome", NULL, false },   { "Pulls", NULL, true },
		{ "Value", NULL, true },      { "Limit", NULL, true },
		{ "Failed", NULL, true },     { "Not ordered", NULL, true },
		{ "Blank", NULL, true },      { "Without", "%", true },
	};
	pd_table *t = pd_doc_table(d, "Results by outcome", 8, column, NULL);

	for (size_t k = 0; k < a->n_outcomes; k++) {
		const pd_missing_outcome *o = &a->outcome[k];
		const size_t n[] = { o->n_pulls, o->n_value, o->n_limit,
			             o->n_failed, o->n_not_ordered,
			             o->n_blank };
		const char **cell = pd_doc_row(d, t, NULL);
		pd_buf b;

		if (!cell)
			return;
		cell[0] = o->brief;
		for (int c = 0; c < 6; c++)
			cell[1 + c] = pd_say_count(d, n[c]);
		pd_buf_init(&b);
		pd_number_fixed(&b, 100.0 * (double)without(o) /
		                        (double)o->n_pulls, 1);
		pd_buf_add(&b, " (");
		pd_number_fixed(&b, 100 * o->low, 1);
		pd_buf_add(&b, " to ");
		pd_number_fixed(&b, 100 * o->high, 1);
		pd_buf_char(&b, ')');
		cell[7] = pd_doc_take(d, &b);
	}
	pd_doc_table_note(d, t,
	                  "A pull has a result when any method version read a "
	                  "number (value) or zero, a limit or too many to count "
	                  "(limit) of it. A pull of which only a pool was "
	                  "counted stands as blank. 95% limits of the share are "
	                  "exact for independent pulls; pulls of a case are "
	                  "not, so they are somewhat short.");
}

static void group_table(pd_doc *d, const pd_missing_answer *a,
                        const pd_missing_group *g, const char *caption,
                        const char *head)
{
	pd_cell_column column[PD_MISSING_OUTCOMES + 2] = {
		{ head, NULL, false }, { "Pulls", NULL, true }
	};
	pd_table *t;

	for (size_t k = 0; k < a->n_outcomes; k++)
		column[2 + k] = (pd_cell_column){ a->outcome[k].brief, "%",
			                          true };
	t = pd_doc_table(d, caption, 2 + a->n_outcomes, column,
	                 "no pull");
	for (size_t i = 0; i < g->n; i++) {
		const pd_missing_share *s = g->share + i * PD_MISSING_OUTCOMES;
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, g->name[i]);
		cell[1] = pd_say_count(d, s[0].n);
		for (size_t k = 0; k < a->n_outcomes; k++)
			cell[2 + k] = percent(d, s[k].n_without, s[k].n);
	}
}

static void depend_table(pd_doc *d, const pd_missing_answer *a)
{
	const pd_cell_column column[] = {
		{ "Outcome", NULL, false },  { "First pulls", NULL, true },
		{ "Poorest third", "%", true }, { "Middle", "%", true },
		{ "Richest", "%", true },
		{ "Odds ratio", "per doubling", true }, { "P", NULL, true },
	};
	pd_table *t = pd_doc_table(
	    d, "First pulls without a result, by nucleated cells", 7, column,
	    "not tested");

	for (size_t k = 0; k < a->n_outcomes; k++) {
		const pd_missing_outcome *o = &a->outcome[k];
		const char **cell = pd_doc_row(d, t, NULL);
		size_t n = 0;

		if (!cell)
			return;
		cell[0] = pd_say_upper(d, o->words);
		for (int c = 0; c < PD_MISSING_THIRDS; c++) {
			n += o->third[c].n;
			cell[2 + c] = percent(d, o->third[c].n_without,
			                      o->third[c].n);
		}
		cell[1] = n ? pd_say_count(d, n) : NULL;
		cell[5] = span(d, a, o, false);
		cell[6] = isnan(o->p) ? NULL : pd_say_p(d, o->p_adjusted);
	}
	pd_doc_table_note(
	    d, t,
	    pd_doc_print(d, "One first pull a patient, of the first case. Thirds "
	                 "part at %s and %s ×10⁶/mL. Odds of being without "
	                 "a result for twice the nucleated cells, operator and "
	                 "year held equal where the data bear it; P allows for "
	                 "all outcomes together by Holm's rule.",
	                 pd_say_short(d, a->cut[0])
	                     ? pd_say_short(d, a->cut[0]) : "(not known)",
	                 pd_say_short(d, a->cut[1])
	                     ? pd_say_short(d, a->cut[1]) : "(not known)"));
}

static void why_not(pd_doc *d, const pd_missing_answer *a)
{
	pd_block *list = NULL;

	for (size_t k = 0; k < a->n_outcomes; k++) {
		const pd_missing_outcome *o = &a->outcome[k];

		if (!o->not_tested)
			continue;
		if (!list) {
			pd_doc_paragraph(d, PD_PLAIN, "Not tested:");
			list = pd_doc_list(d);
		}
		pd_doc_item(d, list, pd_doc_print(d, "%s: %s.",
		                                  pd_say_upper(d, o->words),
		                                  o->not_tested));
	}
}

pd_status pd_compose_missing(const pd_missing_answer *a, pd_doc **out,
                             pd_error *err)
{
	pd_doc *d = pd_doc_new("Missing results", "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "Missing results");
	pd_part_clinic(d, &a->context);
	pd_doc_heading(d, 2, "depends", "Do they depend on the draw?");
	lead(d, a);
	pd_doc_paragraph(
	    d, PD_NOTE,
	    "Results that are missing more often in poor (or rich) draws make a "
	    "comparison of the results that are there misleading, also when "
	    "nothing here is shown: few missing results show little.");
	pd_doc_page_end(d);
	depend_table(d, a);
	why_not(d, a);
	pd_doc_heading(d, 2, "missing", "Which, with whom, when");
	outcome_table(d, a);
	group_table(d, a, &a->operator_, "Pulls without a result, by operator",
	            "Operator");
	group_table(d, a, &a->year, "Pulls without a result, by year", "Year");
	pd_part_sources(d, &a->context);
	pd_part_cautions(d, &a->context, 0);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
