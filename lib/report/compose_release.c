/*
 * compose_release.c - what left the clinic in a de-identified data set, and
 * what did not.
 */
#include "report/compose_release.h"
#include "report/compose_parts.h"
#include "report/release_words.h"

/* ---- the answer ------------------------------------------------------- */

/* The smaller of what the two files tell. */
static size_t reached(const pd_release *r)
{
	size_t a = r->groups[0].smallest, b = r->groups[1].smallest;

	return a < b ? a : b;
}

static void lead(pd_doc *d, const pd_release *r)
{
	const pd_release_groups *g = &r->groups[PD_RELEASE_WIDE];

	pd_doc_paragraph(
	    d, PD_LEAD,
	    pd_doc_print(d, "The smallest group of patients of whom the files "
	                 "tell the same sex, age, body mass index, year and "
	                 "landmarks holds %s patients, counted again from the "
	                 "written "
	                 "files; the rule was %s or more.",
	                 pd_say_count(d, reached(r)),
	                 pd_say_count(d, r->smallest)));
	pd_doc_paragraph(
	    d, PD_PLAIN,
	    pd_doc_print(d, "%s patients with a draw, %s rows in long.csv, %s "
	                 "rows in wide.csv.", pd_say_count(d, g->n_patients),
	                 pd_say_count(d, r->table[PD_RELEASE_LONG].n_rows),
	                 pd_say_count(d, r->table[PD_RELEASE_WIDE].n_rows)));
	if (reached(r) < r->smallest)
		pd_doc_paragraph(
		    d, PD_CAUTION,
		    pd_doc_print(d, "Small groups were only to be told, not "
		                 "blanked: %s patients are in groups of "
		                 "fewer than %s. Each may be known to "
		                 "somebody.",
		                 pd_say_count(d, g->small_patients),
		                 pd_say_count(d, r->smallest)));
}

static void box(pd_doc *d, pd_tone tone, const char *title,
                const char *const *line)
{
	pd_block *b = pd_doc_box(d, tone, title);

	for (; *line; line++)
		pd_doc_item(d, b, *line);
}

static void notices(pd_doc *d, const pd_release *r)
{
	pd_block *b;

	if (!r->n_notices)
		return;
	b = pd_doc_box(d, PD_CAUTION, "Left as it is: somebody has to look");
	for (size_t i = 0; i < r->n_notices; i++)
		pd_doc_item(d, b,
		            pd_doc_print(d, "%s: %s",
		                         pd_say_upper(d, r->notice[i].what),
		                         pd_say_stop(d, r->notice[i].words)));
}

/* ---- tables ----------------------------------------------------------- */

static const char *count(pd_doc *d, size_t n)
{
	return pd_say_count(d, n);
}

static void groups(pd_doc *d, const pd_release *r)
{
	static const pd_cell_column column[] = {
		{ "File", NULL, false },
		{ "Patients", NULL, true },
		{ "Groups", NULL, true },
		{ "Smallest group", "patients", true },
		{ "Groups too small", NULL, true },
		{ "Rarest adverse event", "patients", true },
	};
	pd_table *t = pd_doc_table(d, "Groups counted again from the written "
	                              "files", 6, column,
	                           "no adverse event told");

	for (int k = 0; k < PD_RELEASE_TABLES; k++) {
		const pd_release_groups *g = &r->groups[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = r->table[k].file;
		cell[1] = count(d, g->n_patients);
		cell[2] = count(d, g->n_groups);
		cell[3] = count(d, g->smallest);
		cell[4] = count(d, g->n_small);
		cell[5] = g->fewest_event ? count(d, g->fewest_event) : NULL;
	}
	pd_doc_table_note(
	    d, t, "Two patients are alike where the sets of their cases' sex, "
	          "age, band of the body mass index, year and landmarks are "
	          "the "
	          "same; an empty field counts as a value.");
}

static void blanks(pd_doc *d, const pd_release *r)
{
	static const pd_cell_column column[] = {
		{ "Column", NULL, false },
		{ "Blanked or merged", NULL, true },
		{ "Of", NULL, true },
		{ "Counted in", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "Values blanked for small groups", 4,
	                           column, "not known");

	for (size_t i = 0; i < r->n_blanks; i++) {
		const pd_release_blank *b = &r->blank[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = b->column;
		cell[1] = count(d, b->n);
		cell[2] = count(d, b->of);
		cell[3] = b->unit;
	}
	pd_doc_table_note(
	    d, t, r->only_warn
	              ? "Nothing was blanked: small groups were only to be "
	                "told."
	              : "Of patients in a group too small, these columns were "
	                "blanked one after the other, in this order, until the "
	                "group was large enough; all other columns of the rows "
	                "stay. An empty field of the released files does not "
	                "tell whether it was blanked or never written down.");
}

static void fates(pd_doc *d, const pd_release *r)
{
	static const pd_cell_column column[] = {
		{ "In the store", NULL, false },
		{ "What became of it", NULL, false },
		{ "Values", NULL, true },
		{ "Why", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "What was removed or changed", 4, column,
	                           "not known");

	for (size_t i = 0; i < r->n_fates; i++) {
		const pd_release_fate *f = &r->fate[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = f->words;
		cell[1] = f->what;
		cell[2] = count(d, f->n);
		cell[3] = f->why;
	}
	pd_doc_table_note(
	    d, t, "Letters in brackets are the elements of the table below. "
	          "Columns go out by a list of those allowed; whatever is not "
	          "on it stays.");
}

static void elements(pd_doc *d, const pd_release *r)
{
	static const pd_cell_column column[] = {
		{ "Element", NULL, false },
		{ "What it is", NULL, false },
		{ "Here", NULL, false },
	};
	pd_table *t = pd_doc_table(
	    d, "The eighteen elements of 45 CFR 164.514(b)(2)(i)", 3, column,
	    "not known");

	for (size_t i = 0; pd_release_elements[i].letter; i++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_release_elements[i].letter;
		cell[1] = pd_release_elements[i].what;
		cell[2] = r->method_names && pd_release_elements[i].named
		              ? pd_release_elements[i].named
		              : pd_release_elements[i].here;
	}
}

static void choices(pd_doc *d, const pd_release *r)
{
	pd_block *list = pd_doc_definitions(d);

	pd_doc_define(d, list, "Date", r->date);
	pd_doc_define(d, list, "Program",
	              pd_doc_print(d, "perdraw %s", r->version));
	pd_doc_define(d, list, "Fewest patients in a group",
	              pd_say_count(d, r->smallest));
	pd_doc_define(d, list, "Small groups",
	              r->only_warn ? "told" : "blanked");
	pd_doc_define(d, list, "Ages", r->whole_years
	                                   ? "whole years, 90+ above 89"
	                                   : "bands, 90+ above 89");
	pd_doc_define(d, list, "Method versions",
	              r->method_names ? "names kept by choice" : "coded");
	pd_doc_define(d, list, "Days between visits",
	              r->days ? "kept by choice" : "left out");
	pd_doc_define(d, list, "Source files",
	              r->batches ? "coded by choice" : "left out");
	pd_doc_define(d, list, "Codes",
	              r->seeded ? "drawn from a number that was given: the "
	                          "same number gives the same bytes"
	                        : "drawn from the system's random source: "
	                          "they alone differ from one run to the next");
}

pd_status pd_compose_release(const pd_release *r, pd_doc **out, pd_error *err)
{
	pd_doc *d = pd_doc_new("De-identified data set: what was "
	                       "removed", "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_date(d, r->date);
	pd_doc_heading(d, 1, "top", "De-identified data set: what was removed");
	lead(d, r);
	box(d, PD_CAUTION, "Before it leaves the clinic", pd_release_before);
	notices(d, r);
	pd_doc_page_end(d);
	pd_doc_heading(d, 2, "groups", "Groups of patients");
	groups(d, r);
	blanks(d, r);
	pd_doc_heading(d, 2, "removed", "What was removed or changed");
	fates(d, r);
	elements(d, r);
	pd_doc_heading(d, 2, "choices", "Choices");
	choices(d, r);
	pd_doc_footer(d, "This is a tool's account of its rules, no legal "
	                 "advice "
	                 "and no expert determination.");
	return pd_part_hand_out(d, out, err);
}
