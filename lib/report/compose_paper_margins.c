/*
 * compose_paper_margins.c - every effect against its margin, the sheet of a
 * noninferiority or equivalence report.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <math.h>

/* How the interval lies to the margin, in words. */
static const char *lies(const pd_answer *a, const pd_effect *e)
{
	double low, high;

	pd_margin_limits(a, &low, &high);
	if (e->verdict == PD_NO_MATTER)
		return "wholly inside: equivalent";
	if (e->low >= low && e->high <= high)
		return "wholly inside alone, not after allowing for the other "
		       "tests: equivalence not shown";
	if (e->low > high)
		return "wholly above the margin: different";
	if (e->high < low)
		return "wholly below the margin: different";
	if (e->low >= low)
		return a->not_a_choice
		           ? "lower limit inside: not lower by the margin; "
		             "equivalence not shown"
		           : "lower limit inside: not worse by the margin; "
		             "equivalence not shown";
	if (e->high <= high)
		return a->not_a_choice
		           ? "upper limit inside: not higher by the margin; "
		             "equivalence not shown"
		           : "upper limit inside: not better by the margin; "
		             "equivalence not shown";
	return "across the margin: neither is shown";
}

static const char *when_set(pd_paper_doc *w, size_t i)
{
	const pd_paper_question *q = &w->p->question[i];

	if (q->files_after == 0)
		return pd_doc_print(w->d, "post hoc; first read %s",
		                    q->first_read);
	return pd_doc_print(w->d, "before %zu of %zu files; first read %s",
	                    q->files_after, w->p->n_sources, q->first_read);
}

static void margin_rows(pd_paper_doc *w, pd_table *t, size_t i)
{
	const pd_answer *a = &w->p->review.answer[i];

	for (size_t k = 0; k < a->n_effects; k++) {
		const pd_effect *e = &a->effect[k];
		const char **cell = pd_doc_row(w->d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_print(
		    w->d, "Q%zu (%s): %s%s", i + 1, pd_say_role(a->role),
		    pd_say_label(w->d, a, e),
		    a->scale == PD_RATIO ? "" : ", percentage points");
		cell[1] = pd_paper_margin(w->d, a);
		cell[2] = w->p->question[i].margin_reason;
		cell[3] = when_set(w, i);
		cell[4] =
		    pd_say_span(w->d, a, e->value, e->low, e->high, false);
		cell[5] = pd_say_p(w->d, e->p_margin);
		cell[6] = a->unsupported
		              ? pd_doc_print(
		                    w->d, "%s (unsupported: a control failed)",
		                    lies(a, e))
		              : lies(a, e);
	}
}

static void margin_notes(pd_paper_doc *w, pd_table *t)
{
	pd_doc_table_note(
	    w->d, t,
	    pd_doc_print(w->d,
	                 "After the extension of CONSORT to "
	                 "noninferiority and equivalence %s, as far as it "
	                 "carries over to records. Intervals are two-sided, "
	                 "of the level of the estimates; P: the larger of two "
	                 "one-sided tests.",
	                 pd_paper_cite(w, PD_CITED_PIAGGIO)));
	pd_doc_table_note(
	    w->d, t,
	    "Post hoc: all data were loaded when the question was first "
	    "read; report the margin so unless it was fixed in writing "
	    "before. Before some files: for the data of the others the same "
	    "holds.");
	pd_doc_table_note(
	    w->d, t,
	    "Where nobody was assigned by chance there are no sets by "
	    "intention and by protocol: the estimates hold all eligible "
	    "draws as they were made, and the sensitivity table restricts "
	    "them. The author names the design in the title and completes "
	    "the rest.");
}

void pd_paper_margins(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	const pd_cell_column column[] = {
		{ "Comparison", NULL, false },
		{ "Margin", NULL, true },
		{ "Reason for it", NULL, false },
		{ "When it was set", NULL, false },
		{ pd_doc_print(w->d, "Effect (%s CI)",
		               pd_say_review_level(w->d, r)),
		  NULL, true },
		{ "P, outside the margin", NULL, true },
		{ "Interval against the margin", NULL, false },
	};
	pd_table *t = NULL;

	for (size_t i = 0; i < r->n_answers; i++) {
		const pd_answer *a = &r->answer[i];

		if (!pd_paper_answered(a) || !isfinite(a->margin))
			continue;
		if (!t) {
			pd_doc_heading(w->d, 2, "margins", "Margin sheet");
			t = pd_doc_table(w->d, "Effects against their margins",
			                 7, column,
			                 "not given in the plan, or "
			                 "not estimated");
		}
		margin_rows(w, t, i);
	}
	if (t)
		margin_notes(w, t);
}
