/*
 * out_json.c - the whole document as JSON (RFC 8259), by the schema that is
 * published with the program (docs/perdraw.schema.json). Numbers of tables are
 * those that are printed; the effects of a review stand at its end at full
 * precision.
 */
#include "base/version.h"
#include "report/grid.h"
#include "report/json_text.h"


static void add_text(pd_buf *out, const char *name, const char *text)
{
	pd_json_key(out, name);
	pd_json_string(out, text);
}

static void add_real(pd_buf *out, const char *name, double x)
{
	pd_json_key(out, name);
	pd_json_number(out, x);
}

static void add_count(pd_buf *out, const char *name, size_t n)
{
	pd_json_key(out, name);
	pd_buf_print(out, "%zu", n);
}

static void add_flag(pd_buf *out, const char *name, bool on)
{
	pd_json_key(out, name);
	pd_buf_add(out, on ? "true" : "false");
}

/* Digits that are known to be a JSON number, or null. */
static void add_digits(pd_buf *out, const char *name, const char *digits)
{
	pd_json_key(out, name);
	pd_buf_add(out, digits ? digits : "null");
}

static void add_texts(pd_buf *out, const char *name, const char *const *text,
                      size_t n)
{
	pd_json_key(out, name);
	pd_buf_char(out, '[');
	for (size_t i = 0; i < n; i++) {
		if (i)
			pd_buf_add(out, ", ");
		pd_json_string(out, text[i]);
	}
	pd_buf_char(out, ']');
}

static const char *tone_name(pd_tone tone)
{
	static const char *const name[] = { "plain", "lead", "quiet", "note",
		                            "caution" };

	return name[tone];
}

static const char *verdict_name(pd_verdict v, bool events)
{
	switch (v) {
	case PD_BETTER:
		return events ? "more events" : "better";
	case PD_WORSE:
		return events ? "fewer events" : "worse";
	case PD_NO_MATTER:
		return "no difference that matters";
	case PD_NOT_SETTLED:
		return "not settled";
	case PD_NO_ANSWER:
		break;
	}
	return "no answer";
}

static void add_board_line(pd_buf *out, const pd_board_line *l)
{
	pd_buf_char(out, '{');
	add_text(out, "verdict", verdict_name(l->verdict, l->events));
	add_flag(out, "not_a_choice", l->neutral);
	add_flag(out, "unsupported", l->unsupported);
	add_text(out, "words", l->words);
	add_text(out, "arms", l->arms);
	add_text(out, "number", l->number);
	pd_buf_char(out, '}');
}

static void add_board_row(pd_buf *out, const pd_board_row *r)
{
	pd_buf_char(out, '{');
	add_text(out, "tag", r->tag);
	add_text(out, "question", r->question);
	add_text(out, "judged", r->judged);
	add_text(out, "sentence", r->sentence);
	add_text(out, "note", r->note);
	add_text(out, "harm", r->harm);
	pd_json_key(out, "lines");
	pd_buf_char(out, '[');
	for (size_t i = 0; i < r->n_lines; i++) {
		if (i)
			pd_buf_add(out, ",\n      ");
		add_board_line(out, &r->line[i]);
	}
	pd_buf_add(out, "]}");
}

static void add_board(pd_buf *out, const pd_board *b)
{
	pd_json_key(out, "groups");
	pd_buf_char(out, '[');
	for (size_t g = 0; g < b->n_groups; g++) {
		pd_buf_add(out, g ? ",\n    {" : "\n    {");
		add_text(out, "title", b->group[g].title);
		add_text(out, "rule", b->group[g].rule);
		pd_json_key(out, "rows");
		pd_buf_char(out, '[');
		for (size_t i = 0; i < b->group[g].n_rows; i++) {
			pd_buf_add(out, i ? ",\n     " : "\n     ");
			add_board_row(out, &b->group[g].row[i]);
		}
		pd_buf_add(out, "]}");
	}
	pd_buf_char(out, ']');
}

static void add_columns(pd_buf *out, const pd_table *t)
{
	pd_json_key(out, "columns");
	pd_buf_char(out, '[');
	for (size_t j = 0; j < t->n_columns; j++) {
		pd_buf_add(out, j ? ", {" : "{");
		add_text(out, "head", t->column[j].head);
		add_text(out, "unit", t->column[j].unit);
		pd_buf_char(out, '}');
	}
	pd_buf_char(out, ']');
}

/* Does any column of the grid take numbers from column j of the table? */
static bool holds_numbers(const pd_grid *g, size_t j)
{
	for (size_t k = 0; k < g->n_columns; k++)
		if (g->column[k].from == j && g->column[k].number)
			return true;
	return false;
}

static void add_cell(pd_buf *out, const char *text, const pd_printed *v,
                     bool numbers)
{
	if (!text) {
		pd_buf_add(out, "null");
		return;
	}
	pd_buf_char(out, '{');
	add_text(out, "text", text);
	if (numbers && v->kind > PD_PRINTED_TEXT) {
		add_digits(out, "value", v->value);
		if (v->kind == PD_PRINTED_SPAN || v->kind == PD_PRINTED_RANGE) {
			add_digits(out, "low", v->low);
			add_digits(out, "high", v->high);
		}
		if (v->kind == PD_PRINTED_BELOW || v->kind == PD_PRINTED_ABOVE)
			add_text(out, "bound",
			         v->kind == PD_PRINTED_BELOW ? "below"
			                                     : "above");
	}
	pd_buf_char(out, '}');
}

static void add_rows(pd_buf *out, const pd_grid *g)
{
	const pd_table *t = g->table;
	const char *group = NULL;

	pd_json_key(out, "rows");
	pd_buf_char(out, '[');
	for (size_t i = 0; i < t->n_rows; i++) {
		if (t->row[i].group)
			group = t->row[i].group;
		pd_buf_add(out, i ? ",\n    {" : "\n    {");
		add_text(out, "group", group);
		pd_json_key(out, "cells");
		pd_buf_char(out, '[');
		for (size_t j = 0; j < t->n_columns; j++) {
			if (j)
				pd_buf_add(out, ", ");
			add_cell(out, t->row[i].cell[j], &g->value[i][j],
			         holds_numbers(g, j));
		}
		pd_buf_add(out, "]}");
	}
	pd_buf_char(out, ']');
}

static void add_table(pd_buf *out, const pd_table *t)
{
	pd_arena *arena = pd_arena_new();
	const pd_grid *g = arena ? pd_grid_make(arena, t) : NULL;

	if (!g)
		out->failed = true;
	add_count(out, "number", t->number);
	add_text(out, "caption", t->caption);
	add_columns(out, t);
	if (g)
		add_rows(out, g);
	add_text(out, "missing", t->dash_key);
	add_texts(out, "notes", t->note, t->n_notes);
	pd_arena_free(arena);
}

static void add_definitions(pd_buf *out, const pd_block *b)
{
	pd_json_key(out, "items");
	pd_buf_char(out, '[');
	for (size_t i = 0; i < b->n_items; i++) {
		pd_buf_add(out, i ? ",\n    {" : "\n    {");
		add_text(out, "term", b->definition[i].term);
		add_text(out, "text", b->definition[i].text);
		pd_buf_char(out, '}');
	}
	pd_buf_char(out, ']');
}

static void add_figure(pd_buf *out, const pd_figure *f)
{
	add_count(out, "number", f->number);
	add_text(out, "title", f->title);
	add_text(out, "description", f->description);
	pd_json_key(out, "table");
	if (f->table)
		pd_buf_print(out, "%u", f->table);
	else
		pd_buf_add(out, "null");
}

static const char *kind_name(pd_block_kind kind)
{
	static const char *const name[] = {
		"heading", "paragraph", "board", "table", "figure",
		"box", "list", "definitions", "footer", NULL
	};

	return name[kind];
}

static void add_block(pd_buf *out, const pd_block *b)
{
	add_text(out, "kind", kind_name(b->kind));
	switch (b->kind) {
	case PD_BLOCK_HEADING:
		add_count(out, "level", b->level);
		add_text(out, "id", b->id);
		add_text(out, "text", b->text);
		break;
	case PD_BLOCK_PARAGRAPH:
		add_text(out, "tone", tone_name(b->tone));
		add_text(out, "text", b->text);
		break;
	case PD_BLOCK_BOARD:
		add_board(out, b->board);
		break;
	case PD_BLOCK_TABLE:
		add_table(out, b->table);
		break;
	case PD_BLOCK_FIGURE:
		add_figure(out, b->figure);
		break;
	case PD_BLOCK_BOX:
		add_text(out, "tone", tone_name(b->tone));
		add_text(out, "title", b->text);
		add_texts(out, "items", b->item, b->n_items);
		break;
	case PD_BLOCK_LIST:
		add_texts(out, "items", b->item, b->n_items);
		break;
	case PD_BLOCK_DEFINITIONS:
		add_definitions(out, b);
		break;
	case PD_BLOCK_FOOTER:
		add_text(out, "text", b->text);
		break;
	case PD_BLOCK_PAGE_END:
		break;
	}
}

static void add_effect(pd_buf *out, const pd_answer *a, const pd_effect *e)
{
	add_text(out, "effect", e->label);
	add_text(out, "scale", a->scale == PD_RATIO ? "ratio" : "difference");
	add_real(out, "value", e->value);
	add_real(out, "low", e->low);
	add_real(out, "high", e->high);
	add_real(out, "level", a->level);
	add_real(out, "estimate_working", e->log.value);
	add_real(out, "se_working", e->log.se);
	add_real(out, "df", e->log.df);
	add_real(out, "p", e->log.p);
	add_real(out, "p_adjusted", e->p_adjusted);
	add_real(out, "p_margin", e->p_margin);
	add_real(out, "could_have_shown", e->detectable);
	add_text(out, "verdict", verdict_name(e->verdict, a->events != NULL));
	add_flag(out, "not_a_choice", a->not_a_choice);
	add_flag(out, "unsupported",
	         a->unsupported && e->verdict == PD_NO_MATTER);
}

static void add_answer(pd_buf *out, const pd_answer *a)
{
	pd_buf_char(out, '{');
	add_text(out, "question", a->name);
	add_text(out, "title", a->title);
	add_real(out, "margin", a->margin);
	add_text(out, "refusal", a->refusal);
	pd_json_key(out, "effects");
	pd_buf_char(out, '[');
	for (size_t k = 0; !a->refusal && k < a->n_effects; k++) {
		pd_buf_add(out, k ? ",\n    {" : "\n    {");
		add_effect(out, a, &a->effect[k]);
		pd_buf_char(out, '}');
	}
	pd_buf_add(out, "]}");
}

static void add_answers(pd_buf *out, const pd_review *r)
{
	pd_buf_add(out, ",\n\"answers\": [");
	for (size_t i = 0; i < r->n_answers; i++) {
		pd_buf_add(out, i ? ",\n  " : "\n  ");
		add_answer(out, &r->answer[i]);
	}
	pd_buf_add(out, "\n]");
}

pd_status pd_doc_write_json(const pd_doc *d, const pd_review *review,
                            pd_buf *out, pd_error *err)
{
	bool first = true;

	pd_buf_add(out, "{\n\"schema\": \"urn:perdraw:schema:document:1\",\n"
	                "\"schema_version\": \"1.0\",\n"
	                "\"tool\": \"perdraw\",\n"
	                "\"tool_version\": \"" PD_VERSION "\",\n"
	                "\"language\": ");
	pd_json_string(out, d->language);
	pd_buf_add(out, ",\n\"title\": ");
	pd_json_string(out, d->title);
	pd_buf_add(out, ",\n\"date\": ");
	pd_json_string(out, d->date);
	pd_buf_add(out, ",\n\"blocks\": [");
	for (const pd_block *b = d->first; b; b = b->next) {
		if (b->kind == PD_BLOCK_PAGE_END)
			continue;
		pd_buf_add(out, first ? "\n  {" : ",\n  {");
		first = false;
		add_block(out, b);
		pd_buf_char(out, '}');
	}
	pd_buf_add(out, "\n]");
	if (review)
		add_answers(out, review);
	pd_buf_add(out, "\n}\n");
	if (!pd_buf_ok(out))
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	return PD_OK;
}
