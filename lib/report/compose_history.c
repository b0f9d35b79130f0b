/*
 * compose_history.c - what was done to the database, in order, and whether
 * its audit chain holds.
 */
#include "report/compose.h"
#include "report/compose_parts.h"

#include <string.h>

static const char *act(const char *what)
{
	static const struct {
		const char *what, *words;
	} acts[] = {
		{ "create", "made" },    { "migrate", "changed in version" },
		{ "load", "loaded" },    { "supersede", "corrected" },
		{ "plan", "planned" },   { "look", "looked at" },
		{ "release", "given away" }, { "claim", "claim held" },
	};

	for (size_t i = 0; i < sizeof acts / sizeof *acts; i++)
		if (strcmp(acts[i].what, what) == 0)
			return acts[i].words;
	return what;
}

static void lead(pd_doc *d, const pd_history *h)
{
	const char *n = pd_say_count(d, h->n_rows);

	if (h->n_broken)
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "The audit chain is broken at %s of its %s "
		                 "rows. Rows from the first broken one on "
		                 "cannot be trusted.",
		                 pd_say_count(d, h->n_broken), n));
	else
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "The audit chain holds: the hashes of all "
		                 "%s rows were recomputed and agree.", n));
	if (h->n_gaps)
		pd_doc_paragraph(d, PD_LEAD,
		                 "What the chain says was done and what the "
		                 "database holds are not the same.");
}

static void what_to_do(pd_doc *d)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "What to do");

	pd_doc_item(d, box, "Leave this file as it is, and use no answer that was "
	            "read from it since.");
	pd_doc_item(d, box, "Take the newest copy whose chain holds (history "
	            "--db COPY) and that has the hash printed on your last good "
	            "review (history --db COPY --printed HASH).");
	pd_doc_item(d, box, "Load into it again the files that came after, and "
	            "repeat the readings.");
	pd_doc_item(d, box, "Find out what wrote to the file: a program other than "
	            "this one, a disk, a person.");
}

static void troubles(pd_doc *d, const pd_history *h)
{
	pd_block *box;

	if (!h->n_broken && !h->n_gaps)
		return;
	box = pd_doc_box(d, PD_CAUTION, "What differs");
	for (size_t i = 0; i < h->n_rows; i++)
		if (h->row[i].broken)
			pd_doc_item(d, box,
			            pd_doc_print(d, "Row %lld (%s): %s.",
			                         h->row[i].seq,
			                         act(h->row[i].what),
			                         h->row[i].broken));
	for (size_t i = 0; i < h->n_gaps; i++)
		pd_doc_item(d, box,
		            pd_say_upper(d, pd_say_stop(d, h->gap[i])));
	what_to_do(d);
}

static void printed(pd_doc *d, const pd_history *h)
{
	if (!h->printed)
		return;
	if (h->printed_row)
		pd_doc_paragraph(
		    d, PD_PLAIN,
		    pd_doc_print(d, "The printed hash %s is that of row %lld: "
		                 "the rows up to it are those that stood "
		                 "there when it was printed.", h->printed,
		                 h->printed_row));
	else
		pd_doc_paragraph(
		    d, PD_CAUTION,
		    pd_doc_print(d, "The printed hash %s is not in this chain: "
		                 "this is another database, or rows were "
		                 "taken out or changed since.", h->printed));
}

static const char *filter_words(pd_doc *d, const pd_history *h)
{
	return pd_doc_print(d, "What was done, in order%s%s%s%s%s",
	                    h->only ? ": only " : "",
	                    h->only ? h->only : "",
	                    h->since ? ", from " : "",
	                    h->since ? h->since : "",
	                    h->since ? " on" : "");
}

static const char *subject(pd_doc *d, const pd_history_row *r)
{
	return r->subject ? pd_doc_print(d, "%s: %s", r->subject, r->words)
	                  : r->words;
}

static void rows(pd_doc *d, const pd_history *h)
{
	static const pd_cell_column column[] = {
		{ "Row", NULL, true },   { "On", NULL, false },
		{ "Act", NULL, false },  { "What", NULL, false },
		{ "User", NULL, true },  { "Hash", NULL, false },
	};
	pd_table *t;

	if (h->n_shown == 0) {
		pd_doc_paragraph(d, PD_PLAIN,
		                 "No row of the chain is of that kind and "
		                 "time.");
		return;
	}
	t = pd_doc_table(d, filter_words(d, h), 6, column, "not recorded");
	for (size_t i = 0; i < h->n_rows; i++) {
		const pd_history_row *r = &h->row[i];
		const char **cell = r->shown ? pd_doc_row(d, t, NULL) : NULL;

		if (!cell)
			continue;
		cell[0] = pd_doc_print(d, "%lld%s", r->seq,
		                       r->broken ? " broken" : "");
		cell[1] = r->at;
		cell[2] = act(r->what);
		cell[3] = subject(d, r);
		cell[4] = r->uid < 0 ? NULL : pd_doc_print(d, "%lld", r->uid);
		cell[5] = pd_doc_print(d, "%.12s", r->hash);
	}
}

pd_status pd_compose_history(const pd_history *h, pd_doc **out, pd_error *err)
{
	pd_doc *d = pd_doc_new("History of the database", "en");
	pd_block *list;

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "History of the database");
	lead(d, h);
	troubles(d, h);
	printed(d, h);
	pd_doc_page_end(d);
	rows(d, h);
	pd_doc_heading(d, 2, "chain", "The chain");
	pd_doc_paragraph(
	    d, PD_PLAIN,
	    "Every row carries the hash of the row before it. A file's owner "
	    "can replace the whole file, or cut rows from its end: what shows "
	    "that is a hash that was printed or filed before and is no longer "
	    "in the chain.");
	list = pd_doc_definitions(d);
	pd_doc_define(d, list, "Newest row", h->head);
	pd_doc_define(d, list, "Newest row that changed data", h->data_state);
	pd_doc_define(d, list, "Program",
	              pd_doc_print(d, "perdraw %s", h->version));
	return pd_part_hand_out(d, out, err);
}
