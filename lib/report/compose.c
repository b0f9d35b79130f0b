/*
 * compose.c - a review, or one answer, as a document. The order is the
 * reader's: verdicts first, then everything that stands behind them.
 */
#include "report/compose.h"
#include "report/compose_parts.h"

static const char *text_or(const char *text, const char *other)
{
	return text && *text ? text : other;
}

/* What the report is about: plan, date, and how much data. */
static void clinic_line(pd_doc *d, const pd_review *r)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_print(&b, "Plan %s, read on %s. ",
	             text_or(r->plan_name, "(not named)"),
	             text_or(r->date, "(no date)"));
	pd_number_count(&b, r->n_patients);
	pd_buf_add(&b, " patients, ");
	pd_number_count(&b, r->n_cases);
	pd_buf_print(&b, " cases from %s to %s, ",
	             text_or(r->first_case, "(no date)"),
	             text_or(r->last_case, "(no date)"));
	pd_number_count(&b, r->n_sites);
	pd_buf_add(&b, " sites, ");
	pd_number_count(&b, r->n_aliquots);
	pd_buf_add(&b, " aliquots, ");
	pd_number_count(&b, r->n_results);
	pd_buf_add(&b, " laboratory results.");
	if (r->n_warnings) {
		pd_buf_char(&b, ' ');
		pd_number_count(&b, r->n_warnings);
		pd_buf_add(&b, r->n_warnings == 1
		                   ? " warning about the data is open."
		                   : " warnings about the data are open.");
	}
	pd_doc_paragraph(d, PD_QUIET, pd_doc_take(d, &b));
}

static void provenance(pd_doc *d, const pd_review *r)
{
	pd_block *list;

	pd_doc_heading(d, 2, "sources", "Where the numbers come from");
	list = pd_doc_definitions(d);
	pd_doc_define(d, list, "Plan", r->plan_name);
	pd_doc_define(d, list, "SHA-256 of the plan", r->plan_sha256);
	pd_doc_define(d, list, "Head of the audit chain", r->audit_head);
	pd_doc_define(d, list, "Seed of random numbers",
	              pd_doc_print(d, "%llu", r->seed));
	pd_doc_define(d, list, "Program",
	              pd_doc_print(d, "perdraw %s", text_or(r->version, "")));
	pd_doc_define(d, list, "Date of the review", r->date);
	pd_doc_define(d, list, "Open warnings", pd_say_count(d, r->n_warnings));
	pd_doc_paragraph(d, PD_PLAIN,
	                 r->n_sources == 1
	                     ? "One file was loaded:"
	                     : pd_doc_print(d, "%s files were loaded:",
	                                    pd_say_count(d, r->n_sources)));
	list = pd_doc_list(d);
	for (size_t i = 0; i < r->n_sources; i++)
		pd_doc_item(d, list, r->source[i]);
}

/* A document is handed out whole or not at all. */
static pd_status hand_out(pd_doc *d, pd_doc **out, pd_error *err)
{
	pd_status st = pd_doc_status(d, err);

	if (st == PD_OK)
		*out = d;
	else
		pd_doc_free(d);
	return st;
}

static pd_doc *begin(const pd_review *r, const char *title, size_t n_answers)
{
	pd_doc *d = pd_doc_new(title, "en");

	if (!d)
		return NULL;
	pd_doc_heading(d, 1, "top", title);
	clinic_line(d, r);
	pd_doc_heading(d, 2, "verdicts", "What these draws say");
	pd_part_board(d, r, n_answers);
	pd_part_tests(d, r, n_answers);
	pd_part_short_cautions(d);
	pd_doc_page_end(d);
	return d;
}

pd_status pd_compose_review(const pd_review *review, pd_doc **out,
                            pd_error *err)
{
	*out = NULL;
	pd_doc *d = begin(review, text_or(review->title, "Technique review"),
	                  review->n_answers);

	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_part_forest(d, review, review->n_answers);
	pd_part_trend(d, review);
	for (size_t i = 0; i < review->n_answers; i++)
		pd_part_question(d, review, i, NULL);
	provenance(d, review);
	pd_part_cautions(d, review, review->n_answers);
	pd_part_closing(d);
	return hand_out(d, out, err);
}

pd_status pd_compose_answer(const pd_review *review, pd_doc **out,
                            pd_error *err)
{
	*out = NULL;
	if (review->n_answers == 0)
		return pd_fail(err, PD_INTERNAL, "no answer to write about");
	const pd_answer *a = &review->answer[0];
	pd_doc *d = begin(review, text_or(a->title, a->name), 1);

	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_part_question(d, review, 0, "The answer in full");
	provenance(d, review);
	pd_part_cautions(d, review, 1);
	pd_part_closing(d);
	return hand_out(d, out, err);
}
