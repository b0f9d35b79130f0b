/*
 * compose_depletion.c - how an outcome falls from pull to pull and from site to
 * site: the figure and the table with its numbers, a pair an outcome.
 */
#include "base/depletion.h"
#include "report/compose_parts.h"
#include "report/figure_depletion.h"

#include <math.h>

static bool is_ratio(const pd_depletion *d)
{
	return d->scale == PD_RATIO;
}

static bool any_small(const pd_depletion *p)
{
	for (size_t h = 0; h < p->n_holes; h++)
		for (size_t k = 0; k < p->n_pulls; k++) {
			const pd_depletion_cell *c = &p->cell[h][k];

			if ((c->n_patients && c->n_patients < p->least) ||
			    (c->n_both && c->n_both < p->least))
				return true;
		}
	return false;
}

static const char *level_of(pd_doc *d, const pd_depletion *p)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_level(&b, p->level);
	return pd_doc_take(d, &b);
}

static const char *span_of(pd_doc *d, const pd_depletion *p, double value,
                           double low, double high)
{
	pd_span s = { is_ratio(p) ? PD_SPAN_RATIO : PD_SPAN_DIFFERENCE, value,
		      low, high, p->level };
	pd_buf b;

	if (!isfinite(value))
		return NULL;
	pd_buf_init(&b);
	pd_number_span(&b, &s, false);
	return pd_doc_take(d, &b);
}

static void cell_row(pd_doc *d, pd_table *t, const pd_depletion *p, size_t hole,
                     size_t pull, const char *group)
{
	const pd_depletion_cell *c = &p->cell[hole][pull];
	const char **cell = pd_doc_row(d, t, group);

	if (!cell)
		return;
	cell[0] = pd_say_count(d, pull + 1);
	cell[1] = pd_say_count(d, c->n_patients);
	cell[2] = pd_say_count(d, c->n_results);
	if (isfinite(c->centre))
		cell[3] = pd_say_centre(d, c->centre, c->low, c->high);
	if (hole + pull == 0)
		return;
	cell[4] = pd_say_count(d, c->n_both);
	cell[5] = span_of(d, p, c->ratio, c->ratio_low, c->ratio_high);
}

static void notes(pd_doc *d, pd_table *t, const pd_depletion *p)
{
	pd_doc_table_note(
	    d, t,
	    "Intervals count patients as units. Means are of different patients "
	    "from row to row; to the first: each later pull against the first pull "
	    "of the first site in the same side of the same visit, in as many "
	    "patients as were compared. A site counts until its needle is moved.");
	if (any_small(p))
		pd_doc_table_note(
		    d, t,
		    pd_doc_print(d, "Rows of fewer than %s patients are hints, "
		                 "no more.",
		                 pd_say_count(d, p->least)));
	if (p->n_censored)
		pd_doc_table_note(
		    d, t,
		    pd_doc_print(d, "%s results known between limits only are "
		                 "drawn from a model between them.",
		                 pd_say_count(d, p->n_censored)));
	if (p->n_further)
		pd_doc_table_note(
		    d, t,
		    pd_doc_print(d, "%s results of later sites or pulls than "
		                 "%d are not shown.",
		                 pd_say_count(d, p->n_further),
		                 PD_DEPLETION_HOLES));
}

static void table(pd_doc *d, const pd_depletion *p)
{
	const char *level = level_of(d, p);
	const pd_cell_column column[] = {
		{ "Pull", NULL, false },
		{ "Patients", NULL, true },
		{ "Results", NULL, true },
		{ pd_doc_print(d, "%s (%s CI)",
		               is_ratio(p) ? "Geometric mean" : "Mean", level),
		  pd_say_unit(d, p->unit), true },
		{ "Compared", NULL, true },
		{ pd_doc_print(d, "%s the first (%s CI)",
		               is_ratio(p) ? "To" : "Less", level),
		  is_ratio(p) ? NULL : "points", true },
	};
	pd_table *t = pd_doc_table(
	    d, pd_doc_print(d, "Pull by pull, site by site: %s",
	                    p->outcome_words),
	    6, column, "too few patients, or the first pull itself");

	for (size_t h = 0; h < p->n_holes; h++) {
		const char *group =
		    pd_doc_print(d, "Site %zu of the side", h + 1);

		for (size_t k = 0; k < p->n_pulls; k++) {
			if (!p->cell[h][k].n_results)
				continue;
			cell_row(d, t, p, h, k, group);
			group = NULL;
		}
	}
	notes(d, t, p);
}

static const char *described(pd_doc *d, const pd_depletion *p)
{
	return pd_doc_print(
	    d,
	    "One panel a site of a side, in the order they were made; across: the "
	    "pull at that site. Above: the %s of %s with its %s interval on a "
	    "%s axis, patients as units, each patient a point where they are "
	    "fewer than %d. Below: the %s of the same pull %s the first pull of "
	    "the first site in the same side, with no change as a thick line; "
	    "read this row for depletion, for above other patients stand in every "
	    "panel. An empty square rests on fewer than %s patients; an arrow "
	    "means that an interval goes on.%s",
	    is_ratio(p) ? "geometric mean" : "mean", p->outcome_words,
	    level_of(d, p), is_ratio(p) ? "logarithmic" : "linear",
	    PD_DEPLETION_POINTS, is_ratio(p) ? "ratio" : "difference",
	    is_ratio(p) ? "to" : "from", pd_say_count(d, p->least),
	    p->where_text
	        ? pd_doc_print(d, " Draws: %s.", p->where_text)
	        : "");
}

static void one(pd_doc *d, const pd_depletion *p)
{
	const char *unit = pd_say_unit(d, p->unit);
	pd_depletion_words w = {
		.value_axis = unit ? unit : "",
		.ratio_axis = is_ratio(p) ? "to the first" : "less the first",
		.small = any_small(p)
		             ? pd_doc_print(d, "fewer than %s patients",
		                            pd_say_count(d, p->least))
		             : NULL,
	};
	pd_figure *f = pd_doc_figure(
	    d,
	    pd_say_upper(d, pd_doc_print(d, "%s, pull by pull and site by site",
	                                 p->outcome_words)),
	    described(d, p), pd_figure_depletion(d->arena, p, &w, false),
	    pd_figure_depletion(d->arena, p, &w, true));

	if (f)
		f->table = d->n_tables + 1;
	table(d, p);
}

void pd_part_depletion(pd_doc *d, const pd_review *r)
{
	if (!r->n_depletions)
		return;
	pd_doc_heading(d, 2, "depletion", "Pull by pull, site by site");
	pd_doc_paragraph(
	    d, PD_PLAIN,
	    "Described, not tested: the questions on pulls and sites are answered "
	    "in their own sections.");
	for (size_t k = 0; k < r->n_depletions; k++)
		one(d, &r->depletion[k]);
}
