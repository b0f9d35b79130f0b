/*
 * compose_paper_spread.c - where the spread of each modelled question comes
 * from: the SD of each level of its tree, with limits.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <math.h>

static pd_table *begin(pd_paper_doc *w)
{
	const pd_cell_column column[] = {
		{ "Level", NULL, false },
		{ pd_doc_print(w->d, "SD (%s CI)",
		               pd_say_review_level(w->d, &w->p->review)),
		  NULL, true },
		{ pd_say_shared_head(w->d, pd_say_review_level(
		                               w->d, &w->p->review)),
		  NULL, true },
	};

	return pd_doc_table(w->d, "Where the spread comes from", 3, column,
	                    "shared by no two");
}

static bool has_limits(const pd_answer *a)
{
	for (size_t i = 0; a->component_low && i < a->n_components; i++)
		if (!isnan(a->component_low[i]))
			return true;
	return false;
}

static void question_rows(pd_paper_doc *w, pd_table *t, size_t i)
{
	const pd_answer *a = &w->p->review.answer[i];
	const char *scale =
	    a->scale == PD_RATIO ? "natural logarithm" : "percentage points";

	for (size_t k = 0; k < a->n_components; k++) {
		const char **cell = pd_doc_row(
		    w->d, t,
		    k ? NULL : pd_doc_print(w->d, "Q%zu, %s", i + 1, scale));

		if (!cell)
			return;
		cell[0] = pd_say_upper(w->d, a->component_name[k]);
		cell[1] = pd_say_spread(w->d, a, k);
		cell[2] = pd_say_shared(w->d, a, k);
	}
}

/* Limits of an SD by question: a model gives them, pairs do not. */
static void notes(pd_paper_doc *w, pd_table *t, bool limits, bool pairs)
{
	pd_doc_table_note(
	    w->d, t,
	    "SDs of the random intercepts and of the rest. On the logarithm "
	    "two units of SD s differ by up to a factor exp(2.77 s) 19 times "
	    "in 20. An SD of 0 could not be told from none. ICC: two results that "
	    "share what the line names and all above it.");
	if (limits)
		pd_doc_table_note(
		    w->d, t,
		    pd_doc_print(w->d,
		                 "Limits: profile of the restricted likelihood "
		                 "%s; none where results are known as limits.",
		                 pd_paper_cite(w, PD_CITED_VENZON)));
	if (pairs)
		pd_doc_table_note(
		    w->d, t,
		    "Pairs: each patient once by the mean of each level, the "
		    "difference between the levels taken off; limits of the "
		    "correlation by the F law.");
}

void pd_paper_spread(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	pd_table *t = NULL;
	bool limits = false, pairs = false;

	for (size_t i = 0; i < r->n_answers; i++) {
		const pd_answer *a = &r->answer[i];

		if (!pd_paper_answered(a) || !a->n_components)
			continue;
		t = t ? t : begin(w);
		limits = limits || has_limits(a);
		pairs = pairs || (a->used & PD_USED_PAIRS);
		question_rows(w, t, i);
	}
	if (t)
		notes(w, t, limits, pairs);
}
