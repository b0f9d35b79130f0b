/*
 * compose_release_readme.c - what whoever opens a released folder has to know,
 * and its dictionary to read.
 */
#include "report/compose_release.h"
#include "report/compose_parts.h"
#include "report/release_words.h"

static void items(pd_doc *d, const char *const *line)
{
	pd_block *list = pd_doc_list(d);

	for (; *line; line++)
		pd_doc_item(d, list, *line);
}

static void files(pd_doc *d, const pd_release *r)
{
	pd_block *list = pd_doc_definitions(d);

	for (int k = 0; k < PD_RELEASE_TABLES; k++)
		pd_doc_define(d, list, r->table[k].file,
		              pd_doc_print(d, "%s rows. A row is %s.",
		                           pd_say_count(d, r->table[k].n_rows),
		                           r->table[k].row));
	pd_doc_define(d, list, "dictionary.csv, dictionary.txt",
	              "every column: meaning, unit (UCUM code), values, how it "
	              "came about, how many rows have it.");
	pd_doc_define(d, list, "csv-metadata.json",
	              "the same for programs: CSV on the Web, W3C.");
	pd_doc_define(d, list, "report.txt",
	              "what was removed, what was blanked, the smallest group "
	              "of patients left, what to look at.");
	pd_doc_define(d, list, "manifest.tsv",
	              "SHA-256 of every file and the choices made.");
}

pd_status pd_compose_release_readme(const pd_release *r, pd_doc **out,
                                    pd_error *err)
{
	static const char title[] = "Draws of bone-marrow aspirate and what "
	                            "the "
	                            "laboratory counted";
	pd_doc *d = pd_doc_new(title, "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", title);
	pd_doc_paragraph(
	    d, PD_LEAD,
	    pd_doc_print(d, "A de-identified data set: %s patients, made on %s "
	                 "with perdraw %s. CSV files are RFC 4180, UTF-8, "
	                 "comma, "
	                 "point as decimal mark.",
	                 pd_say_count(d, r->groups[PD_RELEASE_WIDE].n_patients),
	                 r->date, r->version));
	pd_doc_paragraph(
	    d, PD_CAUTION,
	    "Pseudonymised, not anonymous: handle it as personal data on "
	    "health "
	    "unless the privacy officer of the clinic has told you otherwise.");
	pd_doc_heading(d, 2, "files", "Files");
	files(d, r);
	pd_doc_heading(d, 2, "reading", "How to read them");
	items(d, pd_release_reading);
	pd_doc_heading(d, 2, "limits", "What they can carry");
	items(d, pd_release_limits);
	return pd_part_hand_out(d, out, err);
}

/* ---- the dictionary --------------------------------------------------- */

static const char *about(pd_doc *d, const pd_release_table *t,
                         const pd_release_column *c)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_print(&b, "%s. %s", pd_say_upper(d, c->words),
	             c->number ? "Number" : "Text");
	if (*c->unit)
		pd_buf_print(&b, ", unit %s (UCUM)", c->unit);
	pd_buf_print(&b, "; %s. ", c->derived);
	if (c->codes) {
		pd_buf_add(&b, "Values: ");
		for (const char *p = c->codes; *p; p++)
			if (*p == '|')
				pd_buf_add(&b, ", ");
			else
				pd_buf_char(&b, *p);
		pd_buf_add(&b, ". ");
	}
	pd_buf_print(&b, "Filled in %s of %s rows.",
	             pd_say_count(d, c->filled), pd_say_count(d, t->n_rows));
	return pd_doc_take(d, &b);
}

pd_status pd_compose_release_dictionary(const pd_release *r, pd_doc **out,
                                        pd_error *err)
{
	pd_doc *d = pd_doc_new("Dictionary", "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "Dictionary");
	for (int t = 0; t < PD_RELEASE_TABLES; t++) {
		const pd_release_table *table = &r->table[t];
		pd_block *list;

		pd_doc_heading(d, 2, NULL, pd_doc_text(d, table->file));
		pd_doc_paragraph(d, PD_PLAIN,
		                 pd_doc_print(d, "A row is %s.", table->row));
		list = pd_doc_definitions(d);
		for (size_t k = 0; k < table->n_columns; k++)
			pd_doc_define(d, list, table->column[k].name,
			              about(d, table, &table->column[k]));
	}
	return pd_part_hand_out(d, out, err);
}
