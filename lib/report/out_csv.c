/*
 * out_csv.c - one table of a document as CSV (RFC 4180), and the description
 * of such files as metadata of CSV on the Web (W3C Recommendations "Model for
 * Tabular Data and Metadata on the Web" and "Metadata Vocabulary for Tabular
 * Data", 17 December 2015, as we know them). Numbers are plain; what a cell
 * looks like is csv_text.h's.
 */
#include "report/csv_text.h"
#include "report/grid.h"
#include "report/json_text.h"

#include <string.h>

static void add_grid(pd_buf *out, const pd_grid *g)
{
	for (size_t k = 0; k < g->n_columns; k++) {
		if (k)
			pd_buf_char(out, ',');
		pd_csv_field(out, g->column[k].title, false);
	}
	pd_buf_add(out, "\r\n");
	for (size_t i = 0; i < g->table->n_rows; i++) {
		for (size_t k = 0; k < g->n_columns; k++) {
			if (k)
				pd_buf_char(out, ',');
			pd_csv_field(out, g->cell[i][k], g->column[k].number);
		}
		pd_buf_add(out, "\r\n");
	}
}

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY,
	               "out of memory while writing the report");
}

pd_status pd_doc_write_csv(const pd_doc *d, unsigned number, pd_buf *out,
                           pd_error *err)
{
	const pd_table *t = pd_doc_table_at(d, number);

	if (!t)
		return pd_doc_no_table(d, number, err);
	pd_arena *arena = pd_arena_new();
	const pd_grid *g = arena ? pd_grid_make(arena, t) : NULL;

	if (g)
		add_grid(out, g);
	pd_arena_free(arena);
	return g && pd_buf_ok(out) ? PD_OK : no_memory(err);
}

static void add_columns(pd_buf *out, const pd_grid *g, const char *in)
{
	for (size_t k = 0; k < g->n_columns; k++) {
		const pd_grid_column *c = &g->column[k];

		pd_buf_print(out, "%s\n%s  {\"name\": \"%s\", \"titles\": ",
		             k ? "," : "", in, c->name);
		pd_csv_json(out, c->title);
		pd_buf_print(out, ", \"datatype\": \"%s\", \"null\": \"\"}",
		             c->number ? "decimal" : "string");
	}
}

static void add_description(pd_buf *out, const pd_table *t)
{
	pd_buf words;

	pd_buf_init(&words);
	if (pd_table_has_dash(t))
		pd_buf_print(&words, "An empty field: %s.", t->dash_key);
	for (size_t i = 0; i < t->n_notes; i++)
		pd_buf_print(&words, "%s%s", words.length ? " " : "",
		             t->note[i]);
	if (words.length) {
		pd_json_key(out, "dc:description");
		pd_json_string(out, pd_buf_text(&words));
	}
	if (!pd_buf_ok(&words))
		out->failed = true;
	pd_buf_clear(&words);
}

/* What describes one file, the inside of an object. */
static bool add_one(pd_buf *out, const pd_table *t, const char *url,
                    const char *in)
{
	pd_arena *arena = pd_arena_new();
	const pd_grid *g = arena ? pd_grid_make(arena, t) : NULL;

	if (g) {
		pd_buf_add(out, "\"url\": ");
		pd_csv_url(out, url);
		pd_buf_print(out, ",\n%s\"dc:title\": ", in);
		pd_buf title;

		pd_buf_init(&title);
		pd_buf_print(&title, "Table %u. %s", t->number, t->caption);
		pd_json_string(out, pd_buf_text(&title));
		pd_buf_clear(&title);
		add_description(out, t);
		pd_buf_print(out, ",\n%s\"tableSchema\": {\"columns\": [", in);
		add_columns(out, g, in);
		pd_buf_print(out, "\n%s]}", in);
	}
	pd_arena_free(arena);
	return g != NULL;
}

static void add_context(pd_buf *out, const pd_doc *d)
{
	pd_buf_add(out, "{\n  \"@context\": [\"http://www.w3.org/ns/csvw\", "
	                "{\"language\": ");
	pd_json_string(out, d->language);
	pd_buf_add(out, "}],\n  ");
}

pd_status pd_doc_write_csv_about(const pd_doc *d, unsigned number,
                                 const char *const *file, pd_buf *out,
                                 pd_error *err)
{
	bool good = true;

	if (number ? !pd_doc_table_at(d, number) : !d->n_tables)
		return pd_doc_no_table(d, number, err);
	add_context(out, d);
	if (number) {
		good = add_one(out, pd_doc_table_at(d, number), file[0], "  ");
	} else {
		pd_buf_add(out, "\"dc:title\": ");
		pd_json_string(out, d->title);
		pd_buf_add(out, ",\n  \"tables\": [");
		for (unsigned k = 1; good && k <= d->n_tables; k++) {
			pd_buf_add(out, k > 1 ? ", {\n    " : "{\n    ");
			good = add_one(out, pd_doc_table_at(d, k), file[k - 1],
			               "    ");
			pd_buf_add(out, "\n  }");
		}
		pd_buf_add(out, "]");
	}
	pd_buf_add(out, "\n}\n");
	return good && pd_buf_ok(out) ? PD_OK : no_memory(err);
}
