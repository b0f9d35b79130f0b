/*
 * compose_looks.c - the readings of a primary question, one after the other:
 * the figure and the table with its numbers.
 */
#include "report/compose_parts.h"
#include "report/figure_looks.h"

#include <math.h>

static const char *numbers_of(pd_doc *d, double x)
{
	return isfinite(x) ? pd_say_fixed(d, x, 2) : NULL;
}

static void table(pd_doc *d, const pd_answer *a)
{
	const pd_cell_column column[] = {
		{ "No.", NULL, false },
		{ "Date", NULL, false },
		{ "Patients", NULL, true },
		{ pd_doc_print(d, "%s (%s CI)",
		               a->scale == PD_RATIO ? "Ratio" : "Difference",
		               pd_say_level(d, a)),
		  a->scale == PD_RATIO ? NULL : "percentage points", true },
		{ "Information", "1/SE\xc2\xb2", true },
		{ "Estimate", "SE", true },
		{ "Boundary", "SE", true },
	};
	pd_table *t = pd_doc_table(d, "This question, reading by reading", 7,
	                           column, "not kept");

	for (size_t k = 0; k < a->n_readings; k++) {
		const pd_reading *r = &a->reading[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_say_count(d, k + 1);
		cell[1] = pd_doc_text(d, r->date);
		cell[2] = pd_say_count(d, r->n_patients);
		cell[3] = pd_say_span(d, a, r->value, r->low, r->high, false);
		cell[4] = isfinite(r->information)
		              ? pd_say_short(d, r->information)
		              : NULL;
		cell[5] = numbers_of(d, r->z);
		cell[6] = numbers_of(d, r->bound);
	}
	pd_doc_table_note(d, t,
	                  a->scale == PD_RATIO
	                      ? "SE: standard error of the natural log of the "
	                        "ratio. An estimate further from 0 than the "
	                        "boundary shows an effect at that reading."
	                      : "SE: standard error of the difference. An "
	                        "estimate further from 0 than the boundary "
	                        "shows an effect at that reading.");
}

void pd_part_looks(pd_doc *d, const pd_answer *a)
{
	const char *paid =
	    a->looks_planned
	        ? pd_doc_print(d, "for the %u readings planned",
	                       a->looks_planned)
	        : "for any number of readings";

	if (a->n_readings < 2 || !a->n_effects)
		return;
	pd_doc_heading(d, 3, NULL, "Reading by reading");
	pd_figure *f = pd_doc_figure(
	    d,
	    pd_doc_print(d, "%s at every reading",
	                 pd_say_upper(d, pd_say_label(d, a, &a->effect[0]))),
	    pd_doc_print(
	        d,
	        "Above: the estimate with its interval as each of %zu readings "
	        "gave it, numbered, the newest with its sign; on a %s axis with "
	        "no effect as a thick line and the margin shaded. Below: the "
	        "estimate in standard errors (SE); broken lines are the boundary "
	        "that holds %s. Across: information, which grows with the number "
	        "of patients. A reading is of new data; the same data read again "
	        "are none.",
	        a->n_readings,
	        a->scale == PD_RATIO ? "logarithmic" : "linear", paid),
	    pd_figure_looks(d->arena, a,
	                    a->scale == PD_RATIO ? "ratio" : "points", false),
	    pd_figure_looks(d->arena, a,
	                    a->scale == PD_RATIO ? "ratio" : "points", true));

	if (f)
		f->table = d->n_tables + 1;
	table(d, a);
}
