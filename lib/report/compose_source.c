/*
 * compose_source.c - what a report is about and where its numbers come from:
 * common to every command that reads the clinic's store.
 */
#include "report/compose_parts.h"

static const char *text_or(const char *text, const char *other)
{
	return text && *text ? text : other;
}

void pd_part_clinic(pd_doc *d, const pd_review *r)
{
	pd_buf b;

	pd_doc_date(d, r->date);
	pd_buf_init(&b);
	if (r->plan_name)
		pd_buf_print(&b, "Plan %s, read on %s. ", r->plan_name,
		             text_or(r->date, "(no date)"));
	else
		pd_buf_print(&b, "Read on %s. ",
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

void pd_part_sources(pd_doc *d, const pd_review *r)
{
	pd_block *list;

	pd_doc_heading(d, 2, "sources", "Where the numbers come from");
	list = pd_doc_definitions(d);
	if (r->plan_name) {
		pd_doc_define(d, list, "Plan", r->plan_name);
		pd_doc_define(d, list, "SHA-256 of the plan", r->plan_sha256);
	}
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

pd_status pd_part_hand_out(pd_doc *d, pd_doc **out, pd_error *err)
{
	pd_status st = pd_doc_status(d, err);

	if (st == PD_OK)
		*out = d;
	else
		pd_doc_free(d);
	return st;
}
