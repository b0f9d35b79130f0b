/*
 * compose_paper_sheets.c - the sheet of observational reporting: item by item
 * what the data and the plan can say, the rest left to the author. Numbers of
 * items by the standards; the wording is our own reading of them.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <math.h>
#include <string.h>

/* One item: what it wants, and who says it from the data (NULL: the author). */
struct item {
	const char *standard, *number, *words;
	const char *(*say)(pd_paper_doc *w);
};

static const char *table_words(pd_paper_doc *w, const char *lead, unsigned n)
{
	return n ? pd_doc_print(w->d, "%sTable %u", lead, n) : NULL;
}

static const pd_answer *main_answer(pd_paper_doc *w)
{
	return &w->p->review.answer[w->p->table.answer];
}

static const pd_paper_question *main_question(pd_paper_doc *w)
{
	return &w->p->question[w->p->table.answer];
}

/* --- what is said -------------------------------------------------------- */

static const char *design(pd_paper_doc *w)
{
	(void)w;
	return "observational, past draws of one clinic; name it in the title";
}

static const char *objectives(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	pd_buf b;

	pd_buf_init(&b);
	for (size_t i = 0; i < r->n_answers; i++) {
		const pd_answer *a = &r->answer[i];

		if (a->role == PD_PRIMARY)
			pd_buf_print(&b, "%s%s", b.length ? " / " : "Primary: ",
			             a->title ? a->title : a->name);
	}
	if (!b.length)
		pd_buf_add(&b, "no primary question was declared");
	return pd_doc_take(w->d, &b);
}

static const char *dates(pd_paper_doc *w)
{
	const char *years = pd_paper_years(w->d, &w->p->review);

	return years ? pd_doc_print(w->d,
	                            "draws of %s; place and clinic: the "
	                            "author",
	                            years)
	             : NULL;
}

static const char *eligibility(pd_paper_doc *w)
{
	const char *where = main_question(w)->where;

	return where ? pd_doc_print(w->d, "draws where %s", where)
	             : "all draws of the database";
}

static const char *matching(pd_paper_doc *w)
{
	const char *within = main_question(w)->within;

	return within ? pd_doc_print(w->d, "levels compared inside the same %s",
	                             within)
	              : "no matching";
}

static const char *variables(pd_paper_doc *w)
{
	return table_words(w, "outcomes and what is held equal: ", w->held);
}

static const char *measurement(pd_paper_doc *w)
{
	const pd_paper_table *t = &w->p->table;
	size_t n = 0;

	for (size_t i = 0; !t->none && i < t->n_rows; i++)
		n += strcmp(t->row[i].column, "method_version") == 0;
	if (!n)
		return NULL;
	return n == 1 ? "results of one laboratory method version"
	              : pd_doc_print(w->d,
	                             "results of %zu laboratory method "
	                             "versions; comparability: the author",
	                             n);
}

static const char *bias(pd_paper_doc *w)
{
	return w->ways ? pd_doc_print(w->d,
	                              "what was held equal: Table %u; "
	                              "other ways: Table %u",
	                              w->held, w->ways)
	               : table_words(w, "what was held equal: ", w->held);
}

static const char *size(pd_paper_doc *w)
{
	const pd_answer *a = main_answer(w);
	const char *way =
	    a->scale == PD_RATIO ? "a ratio of " : "a difference of ";

	if (!pd_paper_answered(a) || !isfinite(a->effect[0].detectable))
		return "all eligible draws; no number was set beforehand";
	return pd_doc_print(w->d,
	                    "all eligible draws; these data would have "
	                    "shown %s%s 4 times in 5",
	                    way,
	                    a->scale == PD_RATIO
	                        ? pd_say_fixed(w->d, a->effect[0].detectable, 2)
	                        : pd_say_short(w->d, a->effect[0].detectable));
}

static const char *quantities(pd_paper_doc *w)
{
	return main_answer(w)->scale == PD_RATIO
	           ? "outcome on the natural logarithm; no cut-points but "
	             "those a question names"
	           : "outcome as it is; no cut-points but those a question "
	             "names";
}

static const char *methods(pd_paper_doc *w)
{
	(void)w;
	return "see the methods text";
}

static const char *interactions(pd_paper_doc *w)
{
	size_t n = 0;

	for (size_t i = 0; i < w->p->review.n_answers; i++)
		n += w->p->question[i].differs;
	return n ? pd_doc_print(w->d,
	                        "%zu question%s whether an effect "
	                        "differs by a modifier",
	                        n, n == 1 ? " asks" : "s ask")
	         : "no subgroup or interaction was asked for";
}

static const char *missing(pd_paper_doc *w)
{
	(void)w;
	return "complete cases for what is held equal; limits of results kept "
	       "as limits; see the methods text";
}

static const char *clustering(pd_paper_doc *w)
{
	(void)w;
	return "repeated draws of a patient handled by pairs or by the "
	       "patient tree; see the methods text";
}

static const char *sensitivity(pd_paper_doc *w)
{
	return table_words(w, "", w->ways);
}

static const char *flow_table(pd_paper_doc *w)
{
	return table_words(w, "", w->flow);
}

static const char *flow_figure(pd_paper_doc *w)
{
	return w->figure ? pd_doc_print(w->d, "Figure %u", w->figure) : NULL;
}

static const char *characteristics(pd_paper_doc *w)
{
	return table_words(w, "", w->characteristics);
}

static const char *missing_counts(pd_paper_doc *w)
{
	return table_words(w, "rows 'missing' of ", w->characteristics);
}

static const char *outcome_data(pd_paper_doc *w)
{
	const pd_answer *a = main_answer(w);
	pd_buf b;

	if (!pd_paper_answered(a) || !a->n_levels)
		return NULL;
	pd_buf_init(&b);
	for (size_t i = 0; i < a->n_levels && i < 6; i++) {
		pd_buf_print(&b, "%s%s: ", i ? "; " : "", a->levels[i].name);
		pd_number_count(&b, a->levels[i].n_rows);
		pd_buf_add(&b, " results");
	}
	return pd_doc_take(w->d, &b);
}

static const char *estimates(pd_paper_doc *w)
{
	return table_words(w, "unadjusted and as planned: ", w->effects);
}

static const char *others(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	size_t n = 0;

	for (size_t i = 0; i < r->n_answers; i++)
		n += r->answer[i].role == PD_EXPLORATORY;
	return pd_doc_print(w->d,
	                    "%zu effects tested in all, %zu exploratory "
	                    "questions; all in Table %u",
	                    r->n_tests, n, w->effects);
}

/* Characteristics of the main comparison that are out of balance. */
static const char *limitations(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	const pd_paper_table *t = &w->p->table;
	size_t apart = 0, of = 0, open = 0;

	for (size_t i = 0; !t->none && i < t->n_rows; i++) {
		if (t->row[i].aside || isnan(t->row[i].difference))
			continue;
		of++;
		apart += t->row[i].difference > 0.1;
	}
	for (size_t i = 0; i < r->n_answers; i++)
		for (size_t k = 0; k < r->answer[i].n_effects; k++)
			open +=
			    r->answer[i].effect[k].verdict == PD_NOT_SETTLED;
	return pd_doc_print(w->d,
	                    "records, not a trial; %s%zu effects not "
	                    "settled; %zu warnings about values open; counts "
	                    "are not patients' outcomes",
	                    of ? pd_doc_print(w->d,
	                                      "%zu of %zu "
	                                      "characteristics apart by more "
	                                      "than 0.1 SD; ",
	                                      apart, of)
	                       : "",
	                    open, r->n_warnings);
}

static const char *one_clinic(pd_paper_doc *w)
{
	(void)w;
	return "one clinic's draws; nothing outside the range of its data";
}

static const char *data_type(pd_paper_doc *w)
{
	(void)w;
	return "routinely recorded draws and laboratory results of a clinic";
}

static const char *linkage(pd_paper_doc *w)
{
	return w->p->n_sources > 1
	           ? pd_doc_print(w->d,
	                          "%zu files joined by pseudonym, case, "
	                          "side, site and pull",
	                          w->p->n_sources)
	           : "no linkage: one file";
}

static const char *cleaning(pd_paper_doc *w)
{
	return pd_doc_print(w->d,
	                    "fixed rules on loading, a file whole or not "
	                    "at all; %zu warnings open (perdraw findings)",
	                    w->p->review.n_warnings);
}

static const char *codes(pd_paper_doc *w)
{
	(void)w;
	return "perdraw findings --dictionary; the plan";
}

static const char *access_to(pd_paper_doc *w)
{
	return pd_doc_print(w->d, "plan SHA-256 %.16s...; perdraw %s",
	                    w->p->review.plan_sha256, w->p->review.version);
}

static const char *assigned(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	pd_buf b;

	pd_buf_init(&b);
	for (size_t i = 0; i < r->n_answers; i++)
		if (w->p->question[i].assigned)
			pd_buf_print(&b, "%sQ%zu: %s", b.length ? "; " : "",
			             i + 1, w->p->question[i].assigned);
	return pd_doc_take(w->d, &b);
}

static const char *analysis_unit(pd_paper_doc *w)
{
	return pd_doc_print(w->d,
	                    "a row is a %s; patients are the units of "
	                    "uncertainty",
	                    main_question(w)->grain);
}

static const char *equivalence(pd_paper_doc *w)
{
	return w->p->table.n_arms == 2 && !w->p->table.none
	           ? table_words(w, "standardised differences in ",
	                         w->characteristics)
	           : NULL;
}

#define STROBE "Observational studies (STROBE)"
#define RECORD "Routinely collected data (RECORD)"
#define TREND  "Assignment without chance (TREND)"

static const struct item items[] = {
	{ STROBE, "1a", "Design named in the title or abstract", design },
	{ STROBE, "1b", "Balanced summary", NULL },
	{ STROBE, "2", "Background and reason", NULL },
	{ STROBE, "3", "Objectives", objectives },
	{ STROBE, "4", "Design early in the paper", design },
	{ STROBE, "5", "Setting, places, dates", dates },
	{ STROBE, "6a", "Who was eligible", eligibility },
	{ STROBE, "6b", "Matching", matching },
	{ STROBE, "7", "Outcomes, exposures, confounders defined", variables },
	{ STROBE, "8", "How each was measured", measurement },
	{ STROBE, "9", "Efforts against bias", bias },
	{ STROBE, "10", "How the size came about", size },
	{ STROBE, "11", "Quantities: how handled", quantities },
	{ STROBE, "12a", "Statistical methods", methods },
	{ STROBE, "12b", "Subgroups and interactions", interactions },
	{ STROBE, "12c", "Missing data", missing },
	{ STROBE, "12d", "Matching and repeated units", clustering },
	{ STROBE, "12e", "Sensitivity analyses", sensitivity },
	{ STROBE, "13a", "Numbers at each stage", flow_table },
	{ STROBE, "13b", "Reasons for leaving", flow_table },
	{ STROBE, "13c", "Flow diagram", flow_figure },
	{ STROBE, "14a", "Characteristics", characteristics },
	{ STROBE, "14b", "Missing values by variable", missing_counts },
	{ STROBE, "15", "Outcome data", outcome_data },
	{ STROBE, "16a", "Unadjusted and adjusted estimates", estimates },
	{ STROBE, "16b", "Boundaries of categories", quantities },
	{ STROBE, "16c", "Absolute in place of relative effects", NULL },
	{ STROBE, "17", "Other analyses done", others },
	{ STROBE, "18", "Key results", NULL },
	{ STROBE, "19", "Limitations", limitations },
	{ STROBE, "20", "Interpretation", NULL },
	{ STROBE, "21", "To whom it applies", one_clinic },
	{ STROBE, "22", "Funding", NULL },
	{ RECORD, "1.1", "Kind of data", data_type },
	{ RECORD, "1.2", "Region and time frame", dates },
	{ RECORD, "1.3", "Linkage", linkage },
	{ RECORD, "6.1", "How the population was selected", eligibility },
	{ RECORD, "6.2", "Validation of the selection", NULL },
	{ RECORD, "6.3", "Flow of linkage", linkage },
	{ RECORD, "7.1", "Codes and algorithms", codes },
	{ RECORD, "12.1", "Access to the database", NULL },
	{ RECORD, "12.2", "Cleaning", cleaning },
	{ RECORD, "12.3", "Level and method of linkage", linkage },
	{ RECORD, "13.1", "Selection of persons, with numbers", flow_table },
	{ RECORD, "19.1", "Data not collected for this study", limitations },
	{ RECORD, "22.1", "Access to plan, data and program", access_to },
	{ TREND, "8", "Unit and way of assignment", assigned },
	{ TREND, "10", "Unit of analysis", analysis_unit },
	{ TREND, "15", "Were the arms alike before", equivalence },
};

void pd_paper_observation(pd_paper_doc *w)
{
	static const pd_cell_column column[] = {
		{ "Item", NULL, false },
		{ "What it wants", NULL, false },
		{ "What these data and the plan say", NULL, false },
	};
	const char *group = NULL;

	pd_doc_heading(w->d, 2, "observational", "Observational sheet");
	pd_table *t =
	    pd_doc_table(w->d, "Observational reporting, item by item", 3,
	                 column, "for the author to complete");

	for (size_t i = 0; i < sizeof items / sizeof *items; i++) {
		const struct item *it = &items[i];
		const char **cell = pd_doc_row(
		    w->d, t, it->standard == group ? NULL : it->standard);

		if (!cell)
			return;
		group = it->standard;
		cell[0] = it->number;
		cell[1] = it->words;
		cell[2] = it->say ? it->say(w) : NULL;
	}
	const char *strobe = pd_paper_cite(w, PD_CITED_STROBE);
	const char *record = pd_paper_cite(w, PD_CITED_RECORD);
	const char *trend = pd_paper_cite(w, PD_CITED_TREND);

	pd_doc_table_note(
	    w->d, t,
	    pd_doc_print(w->d,
	                 "Item numbers of STROBE %s, RECORD %s and TREND "
	                 "%s; the wording is our own reading, the statements "
	                 "themselves rule.",
	                 strobe, record, trend));
}
