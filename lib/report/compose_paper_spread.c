/*
 * compose_paper_spread.c - where the spread of each modelled question comes
 * from: the SDs of its levels, a column a level.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <string.h>

/* The names of components as the answers have them, outermost first. */
static const struct level {
	const char *name, *head;
} levels[] = {
	{ "between patients", "Patients" }, { "between cases", "Cases" },
	{ "between sides", "Sides" },       { "between sites", "Sites" },
	{ "between pulls", "Pulls" },
	{ "within, and laboratory", "Within, and laboratory" },
};
enum { N_LEVELS = sizeof levels / sizeof *levels };

static void put(pd_doc *d, const pd_answer *a, const char **cell)
{
	for (size_t i = 0; i < a->n_components; i++)
		for (size_t k = 0; k < N_LEVELS; k++)
			if (strcmp(levels[k].name, a->component_name[i]) == 0)
				cell[k] = pd_say_fixed(d, a->component_sd[i],
				                       2);
}

static pd_table *begin(pd_doc *d)
{
	pd_cell_column column[N_LEVELS + 1] = { { "Question", NULL, false } };

	for (size_t k = 0; k < N_LEVELS; k++)
		column[k + 1] = (pd_cell_column){ levels[k].head, NULL, true };
	pd_table *t = pd_doc_table(
	    d, "Where the spread comes from, SD by level", N_LEVELS + 1, column,
	    "not a level of the model");

	pd_doc_table_note(d, t,
	                  "SDs of the random intercepts and of the rest, on the "
	                  "natural logarithm or, of percentages, in points. Of "
	                  "an SD s on the logarithm two units differ by up to a "
	                  "factor exp(2.77 s) 19 times in 20. 0.00: could not "
	                  "be told from none.");
	return t;
}

void pd_paper_spread(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	pd_table *t = NULL;

	for (size_t i = 0; i < r->n_answers; i++) {
		const pd_answer *a = &r->answer[i];
		const char **cell;

		if (!pd_paper_answered(a) || !a->n_components)
			continue;
		t = t ? t : begin(w->d);
		cell = t ? pd_doc_row(w->d, t, NULL) : NULL;
		if (!cell)
			return;
		cell[0] = pd_doc_print(w->d, "Q%zu", i + 1);
		put(w->d, a, cell + 1);
	}
}
