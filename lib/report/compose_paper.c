/*
 * compose_paper.c - the pieces of a manuscript as one document: what the author
 * must know first, the tables, the figure, the texts, the sheets.
 */
#include "report/compose_paper.h"
#include "report/compose.h"
#include "report/compose_parts.h"

#include <math.h>

static void first_lines(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	const char *years = pd_paper_years(w->d, r);
	pd_buf b;

	pd_doc_date(w->d, r->date);
	pd_buf_init(&b);
	pd_buf_print(&b,
	             "Plan %s, read on %s. Draws of %s. Every number below "
	             "comes from the database; what is not in it is left to "
	             "the author.",
	             r->plan_name, r->date, years ? years : "unknown years");
	pd_doc_paragraph(w->d, PD_QUIET, pd_doc_take(w->d, &b));
}

/* Margins that stand since after all the data. */
static size_t post_hoc(const pd_paper *p)
{
	size_t n = 0;

	for (size_t i = 0; i < p->review.n_answers; i++)
		n += isfinite(p->review.answer[i].margin) &&
		     p->question[i].files_after == 0;
	return n;
}

static void refused_item(pd_paper_doc *w, pd_block *box)
{
	const pd_review *r = &w->p->review;
	size_t n = 0;

	for (size_t i = 0; i < r->n_answers; i++)
		n += !pd_paper_answered(&r->answer[i]);
	if (n)
		pd_doc_item(w->d, box,
		            pd_doc_print(w->d,
		                         "%zu question%s of the plan could "
		                         "not be answered; report %s too, with "
		                         "the reason.",
		                         n, n == 1 ? "" : "s",
		                         n == 1 ? "it" : "them"));
}

static void primary_item(pd_paper_doc *w, pd_block *box)
{
	const pd_review *r = &w->p->review;

	for (size_t i = 0; i < r->n_answers; i++)
		if (r->answer[i].role == PD_PRIMARY)
			return;
	pd_doc_item(w->d, box,
	            "The plan declares no primary question: every "
	            "result is secondary or exploratory.");
}

/* What has to be seen to before anything is sent. */
static void before_sending(pd_paper_doc *w)
{
	pd_block *box = pd_doc_box(w->d, PD_CAUTION, "Before submission");
	size_t late = post_hoc(w->p);

	pd_paper_small_cells(w, box);
	refused_item(w, box);
	primary_item(w, box);
	if (late)
		pd_doc_item(
		    w->d, box,
		    pd_doc_print(w->d,
		                 "%zu margin%s first read with all "
		                 "data already loaded: report %s as post "
		                 "hoc unless fixed in writing before.",
		                 late, late == 1 ? " was" : "s were",
		                 late == 1 ? "it" : "them"));
	pd_doc_item(w->d, box,
	            "Codes of operators, needles and method versions "
	            "are printed as stored: replace any that names "
	            "a person, a place or a maker not to be named.");
	pd_doc_item(w->d, box,
	            "Observational records of one clinic: no wording "
	            "of cause, of benefit to patients or of a "
	            "device's merit elsewhere follows from them.");
	pd_doc_item(w->d, box,
	            "Ethics approval, consent and data protection "
	            "are the author's to show.");
}

static void write_all(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;

	if (r->n_answers) {
		pd_paper_characteristics(w);
		pd_paper_effects(w);
		pd_paper_spread(w);
		pd_paper_ways(w);
		pd_paper_flow(w);
		pd_paper_methods(w);
	}
	pd_paper_statement(w);
	if (r->n_answers) {
		pd_paper_harvest(w);
		pd_paper_observation(w);
		pd_paper_margins(w);
	}
	pd_paper_sources(w);
	pd_part_cautions(w->d, r, r->n_answers);
	pd_part_closing(w->d);
}

pd_status pd_compose_paper(const pd_paper *paper, pd_doc **out, pd_error *err)
{
	const char *title = paper->review.title;
	pd_paper_doc w = { .p = paper };

	*out = NULL;
	w.d = pd_doc_new(title ? title : "Technique review", "en");
	if (!w.d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(w.d, 1, "top",
	               pd_doc_print(w.d, "%s: pieces for a manuscript",
	                            title ? title : "Technique review"));
	first_lines(&w);
	if (!paper->table.none)
		w.characteristics = 1; /* the first table there is */
	before_sending(&w);
	pd_part_short_cautions(w.d);
	pd_doc_page_end(w.d);
	write_all(&w);
	return pd_part_hand_out(w.d, out, err);
}
