/* compose_verified.c - same, different, and where. */
#include "report/compose.h"
#include "report/compose_parts.h"

/* Above that many outputs the sound ones are not listed. */
enum { MOST_LISTED = 20 };

static void lead(pd_doc *d, const pd_verified *v)
{
	size_t changed = 0, other = 0, there = 0;

	for (size_t i = 0; i < v->n_outputs; i++) {
		other += !v->output[i].same;
		changed += v->output[i].file == PD_FILE_CHANGED;
		there += v->output[i].file != PD_FILE_ABSENT;
	}
	if (v->files_only) {
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "%s: %s of %s files are as the manifest "
		                 "records them, byte for byte.",
		                 v->same ? "The same" : "Different",
		                 pd_say_count(d, v->n_outputs - other),
		                 pd_say_count(d, v->n_outputs)));
		pd_doc_paragraph(
		    d, PD_PLAIN,
		    "The manifest was made for others and names no database: "
		    "the files were compared with it, nothing was recomputed. "
		    "It is not signed: whoever changed both would not be seen.");
		return;
	}
	if (v->same)
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "The same: %s recomputed, every byte as "
		                 "recorded. Of %s, %s lie beside the manifest "
		                 "as files, unchanged.",
		                 v->n_outputs == 1 ? "the output was"
		                                   : "all outputs were",
		                 pd_say_count(d, v->n_outputs),
		                 pd_say_count(d, there)));
	else
		pd_doc_paragraph(
		    d, PD_LEAD,
		    pd_doc_print(d, "Different: %s of %s outputs recomputed to "
		                 "other bytes, %s of their files changed "
		                 "since, %s of the %s lines of the manifest would be "
		                 "others today.", pd_say_count(d, other),
		                 pd_say_count(d, v->n_outputs),
		                 pd_say_count(d, changed),
		                 pd_say_count(d, v->n_different),
		                 pd_say_count(d, v->n_lines)));
	if (v->chain)
		pd_doc_paragraph(d, PD_PLAIN, v->chain);
}

static void outputs(pd_doc *d, const pd_verified *v)
{
	static const char *const files[] = { "not there", "as recorded",
		                             "changed since" };
	static const pd_cell_column column[] = {
		{ "Output", NULL, false },
		{ "Recomputed", NULL, false },
		{ "File beside the manifest", NULL, false },
		{ "First difference between them", NULL, false },
	};
	bool many = v->n_outputs > MOST_LISTED;
	pd_table *t;

	if (many && v->same)
		return;
	t = pd_doc_table(d, many ? "Outputs that differ or have no file beside "
	                           "the manifest"
	                         : "Outputs", 4, column,
	                 "no difference, or no file to compare");
	for (size_t i = 0; i < v->n_outputs; i++) {
		const pd_verified_output *o = &v->output[i];
		bool sound = o->same && o->file == PD_FILE_SAME;
		const char **cell = sound && many ? NULL
		                                  : pd_doc_row(d, t, NULL);

		if (!cell)
			continue;
		cell[0] = o->name[0] == '-' && !o->name[1] ? "standard output"
		                                           : o->name;
		cell[1] = v->files_only ? "not done"
		          : o->same     ? "the same"
		                        : "different";
		cell[2] = files[o->file];
		cell[3] = o->where;
	}
}

static void lines(pd_doc *d, const pd_verified *v)
{
	static const pd_cell_column column[] = {
		{ "Line", NULL, false },
		{ "Recorded", NULL, false },
		{ "Now", NULL, false },
	};
	pd_table *t;

	if (!v->n_different)
		return;
	t = pd_doc_table(d, "Lines of the manifest that differ", 3, column,
	                 "no such line");
	for (size_t i = 0; i < v->n_different; i++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = v->different[i].what;
		cell[1] = v->different[i].recorded;
		cell[2] = v->different[i].now;
	}
}

pd_status pd_compose_verified(const pd_verified *v, pd_doc **out, pd_error *err)
{
	const char *title = v->files_only ? "Files held against their manifest"
	                                  : "Outputs recomputed";
	pd_doc *d = pd_doc_new(title, "en");
	pd_block *list;

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", title);
	lead(d, v);
	pd_doc_page_end(d);
	outputs(d, v);
	lines(d, v);
	pd_doc_heading(d, 2, "manifest", "The manifest");
	list = pd_doc_definitions(d);
	pd_doc_define(d, list, "Manifest", v->manifest);
	pd_doc_define(d, list, "Command", v->command);
	if (v->date)
		pd_doc_define(d, list, "Date of the reading", v->date);
	pd_doc_define(d, list, "Program",
	              pd_doc_print(d, "perdraw %s", v->version));
	return pd_part_hand_out(d, out, err);
}
