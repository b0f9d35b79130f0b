/*
 * release_files.c - tables, dictionary and description of a released data
 * set. Metadata Vocabulary for Tabular Data, W3C Recommendation of 17 December
 * 2015, as we know it: names, titles, datatypes with the words a coded column
 * may hold, what an empty field means, the unit as text.
 */
#include "report/release_files.h"
#include "report/csv_text.h"
#include "report/json_text.h"

#include <stdio.h>
#include <string.h>

void pd_release_csv_head(const pd_release_table *t, pd_buf *out)
{
	for (size_t k = 0; k < t->n_columns; k++) {
		if (k)
			pd_buf_char(out, ',');
		pd_csv_field(out, t->column[k].name, false);
	}
	pd_buf_add(out, "\r\n");
}

void pd_release_csv_row(const pd_release_table *t, const char *const *cell,
                        pd_buf *out)
{
	for (size_t k = 0; k < t->n_columns; k++) {
		if (k)
			pd_buf_char(out, ',');
		pd_csv_field(out, cell[k], t->column[k].number);
	}
	pd_buf_add(out, "\r\n");
}

/* ---- the dictionary ------------------------------------------------------ */

static const struct {
	const char *name, *words;
	bool number;
} heads[] = {
	{ "file", "file the column is in", false },
	{ "column", "name of the column", false },
	{ "meaning", "what it holds", false },
	{ "kind", "number or text", false },
	{ "unit", "UCUM code of the unit; empty where there is none", false },
	{ "values", "words it may hold, parted by |; empty where any may "
	  "stand there", false },
	{ "derived", "how it came about", false },
	{ "filled", "rows of the file with a value", true },
	{ "rows", "rows of the file", true },
};
enum { N_HEADS = sizeof heads / sizeof *heads };

static void dictionary_row(const pd_release_table *t,
                           const pd_release_column *c, pd_buf *out)
{
	char filled[24], rows[24];
	const char *const cell[N_HEADS] = {
		t->file, c->name, c->words, c->number ? "number" : "text",
		*c->unit ? c->unit : NULL, c->codes, c->derived, filled, rows,
	};

	snprintf(filled, sizeof filled, "%zu", c->filled);
	snprintf(rows, sizeof rows, "%zu", t->n_rows);
	for (int k = 0; k < N_HEADS; k++) {
		if (k)
			pd_buf_char(out, ',');
		pd_csv_field(out, cell[k], heads[k].number);
	}
	pd_buf_add(out, "\r\n");
}

static pd_status done(const pd_buf *out, pd_error *err)
{
	return pd_buf_ok(out) ? PD_OK
	                      : pd_fail(err, PD_NO_MEMORY,
	                                "out of memory while writing the "
	                                "release");
}

pd_status pd_release_dictionary(const pd_release *r, pd_buf *out,
                                pd_error *err)
{
	for (int k = 0; k < N_HEADS; k++)
		pd_buf_print(out, "%s%s", k ? "," : "", heads[k].name);
	pd_buf_add(out, "\r\n");
	for (int t = 0; t < PD_RELEASE_TABLES; t++)
		for (size_t k = 0; k < r->table[t].n_columns; k++)
			dictionary_row(&r->table[t], &r->table[t].column[k],
			               out);
	return done(out, err);
}

/* ---- the description -------------------------------------------------- */

/* The words as a regular expression, which is what a format of text is. */
static void add_pattern(pd_buf *out, const char *codes)
{
	pd_buf b;

	pd_buf_init(&b);
	for (const char *c = codes; *c; c++) {
		if (strchr(".+*?()[]{}^$\\", *c))
			pd_buf_char(&b, '\\');
		pd_buf_char(&b, *c);
	}
	pd_json_string(out, pd_buf_text(&b));
	if (!pd_buf_ok(&b))
		out->failed = true;
	pd_buf_clear(&b);
}

static void add_datatype(pd_buf *out, bool number, const char *codes)
{
	pd_buf_add(out, ",\n         \"datatype\": ");
	if (number) {
		pd_buf_add(out, "\"double\"");
	} else if (codes) {
		pd_buf_add(out, "{\"base\": \"string\", \"format\": ");
		add_pattern(out, codes);
		pd_buf_add(out, "}");
	} else {
		pd_buf_add(out, "\"string\"");
	}
}

static void add_column(pd_buf *out, bool first, const char *name,
                       const char *words, const char *unit,
                       const char *derived)
{
	pd_buf b;

	pd_buf_print(out, "%s\n        {\"name\": \"%s\", \"titles\": \"%s\"",
	             first ? "" : ",", name, name);
	pd_buf_add(out, ",\n         \"dc:title\": ");
	pd_json_string(out, words);
	pd_buf_init(&b);
	if (unit && *unit)
		pd_buf_print(&b, "Unit (UCUM): %s. ", unit);
	if (derived)
		pd_buf_print(&b, "How it came about: %s.", derived);
	if (b.length) {
		pd_buf_add(out, ",\n         \"dc:description\": ");
		pd_json_string(out, pd_buf_text(&b));
	}
	if (!pd_buf_ok(&b))
		out->failed = true;
	pd_buf_clear(&b);
}

static void open_table(pd_buf *out, bool first, const char *file,
                       const char *title, const char *row)
{
	pd_buf_print(out, "%s\n    {\"url\": ", first ? "" : ",");
	pd_csv_url(out, file);
	pd_buf_add(out, ",\n     \"dc:title\": ");
	pd_json_string(out, title);
	pd_buf_add(out, ",\n     \"dc:description\": ");
	pd_json_string(out, row);
	pd_buf_add(out, ",\n     \"tableSchema\": {\"columns\": [");
}

static void add_table(pd_buf *out, const pd_release_table *t, bool first)
{
	open_table(out, first, t->file, t->title, t->row);
	for (size_t k = 0; k < t->n_columns; k++) {
		const pd_release_column *c = &t->column[k];

		add_column(out, k == 0, c->name, c->words, c->unit,
		           c->derived);
		add_datatype(out, c->number, c->codes);
		pd_buf_add(out, ", \"null\": \"\"}");
	}
	pd_buf_add(out, "\n     ]}}");
}

static void add_dictionary(pd_buf *out)
{
	open_table(out, false, "dictionary.csv", "Dictionary",
	           "one column of one of the other files");
	for (int k = 0; k < N_HEADS; k++) {
		add_column(out, k == 0, heads[k].name, heads[k].words, NULL,
		           NULL);
		add_datatype(out, heads[k].number, NULL);
		pd_buf_add(out, ", \"null\": \"\"}");
	}
	pd_buf_add(out, "\n     ]}}");
}

pd_status pd_release_csv_about(const pd_release *r, pd_buf *out, pd_error *err)
{
	pd_buf_add(out, "{\n  \"@context\": [\"http://www.w3.org/ns/csvw\", "
	                "{\"language\": \"en\"}],\n"
	                "  \"dc:title\": \"Draws of bone-marrow aspirate and "
	                "what the laboratory counted, de-identified\",\n"
	                "  \"dialect\": {\"encoding\": \"utf-8\", "
	                "\"lineTerminators\": [\"\\r\\n\"], "
	                "\"header\": true},\n"
	                "  \"tables\": [");
	for (int t = 0; t < PD_RELEASE_TABLES; t++)
		add_table(out, &r->table[t], t == 0);
	add_dictionary(out);
	pd_buf_add(out, "\n  ]\n}\n");
	return done(out, err);
}
