/*
 * doc.c - the document: a chain of blocks in an arena. It numbers tables and
 * figures and copies what it is given; what is said belongs to compose*.c,
 * how it looks to out_*.c.
 */
#include "report/block.h"

#include <stdlib.h>

pd_doc *pd_doc_new(const char *title, const char *language)
{
	pd_doc *d = calloc(1, sizeof *d);

	if (!d)
		return NULL;
	d->arena = pd_arena_new();
	if (!d->arena) {
		free(d);
		return NULL;
	}
	d->title = pd_doc_text(d, title);
	d->language = pd_doc_text(d, language);
	return d;
}

void pd_doc_free(pd_doc *d)
{
	if (!d)
		return;
	pd_arena_free(d->arena);
	free(d);
}

pd_status pd_doc_status(const pd_doc *d, pd_error *err)
{
	if (d->failed)
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	return PD_OK;
}

void pd_doc_date(pd_doc *d, const char *date)
{
	d->date = date && *date ? pd_doc_text(d, date) : NULL;
}

const char *pd_doc_text(pd_doc *d, const char *text)
{
	const char *copy = pd_arena_copy(d->arena, text ? text : "");

	if (!copy)
		d->failed = true;
	return copy ? copy : "";
}

const char *pd_doc_print(pd_doc *d, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	const char *text = pd_arena_vprint(d->arena, fmt, ap);

	va_end(ap);
	if (!text)
		d->failed = true;
	return text ? text : "";
}

const char *pd_doc_take(pd_doc *d, pd_buf *b)
{
	const char *text = NULL;

	if (!pd_buf_ok(b))
		d->failed = true;
	else if (b->length)
		text = pd_doc_text(d, pd_buf_text(b));
	pd_buf_clear(b);
	return text;
}

/* Room for one more of `size` bytes in a growing array of the arena. */
static void *grown(pd_doc *d, void *old, size_t n, size_t *room, size_t size)
{
	if (n < *room)
		return old;
	size_t more = *room ? *room * 2 : 8;
	unsigned char *p = pd_arena_alloc(d->arena, more, size);

	if (!p) {
		d->failed = true;
		return NULL;
	}
	for (size_t i = 0; i < n * size; i++)
		p[i] = ((unsigned char *)old)[i];
	*room = more;
	return p;
}

static pd_block *add(pd_doc *d, pd_block_kind kind)
{
	pd_block *b = PD_NEW(d->arena, pd_block, 1);

	if (!b) {
		d->failed = true;
		return NULL;
	}
	b->kind = kind;
	if (d->last)
		d->last->next = b;
	else
		d->first = b;
	d->last = b;
	return b;
}

static pd_block *add_text(pd_doc *d, pd_block_kind kind, const char *text)
{
	pd_block *b = add(d, kind);

	if (b)
		b->text = pd_doc_text(d, text);
	return b;
}

void pd_doc_heading(pd_doc *d, unsigned level, const char *id, const char *text)
{
	pd_block *b = add_text(d, PD_BLOCK_HEADING, text);

	if (!b)
		return;
	b->level = level;
	b->id = id ? pd_doc_text(d, id) : NULL;
}

void pd_doc_paragraph(pd_doc *d, pd_tone tone, const char *text)
{
	pd_block *b;

	if (!text || !*text)
		return;
	b = add_text(d, PD_BLOCK_PARAGRAPH, text);
	if (b)
		b->tone = tone;
}

void pd_doc_footer(pd_doc *d, const char *text)
{
	add_text(d, PD_BLOCK_FOOTER, text);
}

void pd_doc_page_end(pd_doc *d)
{
	add(d, PD_BLOCK_PAGE_END);
}

void pd_doc_board(pd_doc *d, pd_board *board)
{
	pd_block *b = add(d, PD_BLOCK_BOARD);

	if (b)
		b->board = board;
}

pd_block *pd_doc_box(pd_doc *d, pd_tone tone, const char *title)
{
	pd_block *b = add_text(d, PD_BLOCK_BOX, title);

	if (b)
		b->tone = tone;
	return b;
}

pd_block *pd_doc_list(pd_doc *d)
{
	return add(d, PD_BLOCK_LIST);
}

void pd_doc_item(pd_doc *d, pd_block *list, const char *text)
{
	if (!list || !text || !*text)
		return;
	const char **item =
	    grown(d, list->item, list->n_items, &list->room, sizeof *item);

	if (!item)
		return;
	list->item = item;
	item[list->n_items++] = pd_doc_text(d, text);
}

pd_block *pd_doc_definitions(pd_doc *d)
{
	return add(d, PD_BLOCK_DEFINITIONS);
}

void pd_doc_define(pd_doc *d, pd_block *list, const char *term,
                   const char *text)
{
	if (!list || !text || !*text)
		return;
	pd_definition *def =
	    grown(d, list->definition, list->n_items, &list->room, sizeof *def);

	if (!def)
		return;
	list->definition = def;
	def[list->n_items].term = pd_doc_text(d, term);
	def[list->n_items++].text = pd_doc_text(d, text);
}

pd_table *pd_doc_table(pd_doc *d, const char *caption, size_t n_columns,
                       const pd_cell_column *column, const char *dash_key)
{
	pd_block *b = add(d, PD_BLOCK_TABLE);
	pd_table *t = PD_NEW(d->arena, pd_table, 1);
	pd_cell_column *c = PD_NEW(d->arena, pd_cell_column, n_columns);

	if (!b || !t || !c) {
		d->failed = true;
		return NULL;
	}
	for (size_t j = 0; j < n_columns; j++) {
		c[j].head = pd_doc_text(d, column[j].head);
		c[j].unit =
		    column[j].unit ? pd_doc_text(d, column[j].unit) : NULL;
		c[j].right = column[j].right;
	}
	t->number = ++d->n_tables;
	t->caption = pd_doc_text(d, caption);
	t->n_columns = n_columns;
	t->column = c;
	t->dash_key = pd_doc_text(d, dash_key ? dash_key : "no value");
	b->table = t;
	return t;
}

const char **pd_doc_row(pd_doc *d, pd_table *t, const char *group)
{
	if (!t)
		return NULL;
	pd_cell_row *row = grown(d, t->row, t->n_rows, &t->room, sizeof *row);
	const char **cell = PD_NEW(d->arena, const char *, t->n_columns);

	if (!row || !cell) {
		d->failed = true;
		return NULL;
	}
	t->row = row;
	row[t->n_rows].group = group ? pd_doc_text(d, group) : NULL;
	row[t->n_rows++].cell = cell;
	return cell;
}

void pd_doc_table_note(pd_doc *d, pd_table *t, const char *text)
{
	if (!t || !text || !*text)
		return;
	if (t->n_notes == sizeof t->note / sizeof t->note[0]) {
		d->failed = true;
		return;
	}
	t->note[t->n_notes++] = pd_doc_text(d, text);
}

bool pd_table_has_dash(const pd_table *t)
{
	for (size_t i = 0; i < t->n_rows; i++)
		for (size_t j = 0; j < t->n_columns; j++)
			if (!t->row[i].cell[j])
				return true;
	return false;
}

const pd_table *pd_doc_table_at(const pd_doc *d, unsigned number)
{
	for (const pd_block *b = d->first; b; b = b->next)
		if (b->kind == PD_BLOCK_TABLE && b->table->number == number)
			return b->table;
	return NULL;
}

pd_status pd_doc_no_table(const pd_doc *d, unsigned number, pd_error *err)
{
	if (!d->n_tables)
		return pd_fail(err, PD_USAGE, "the result has no table");
	return pd_fail(err, PD_USAGE,
	               "the result has no table %u; its last is %u", number,
	               d->n_tables);
}

unsigned pd_doc_tables(const pd_doc *d)
{
	return d->n_tables;
}

pd_figure *pd_doc_figure(pd_doc *d, const char *title, const char *description,
                         pd_scene *scene, pd_scene *narrow)
{
	pd_block *b = add(d, PD_BLOCK_FIGURE);
	pd_figure *f = PD_NEW(d->arena, pd_figure, 1);

	if (!b || !f || !scene || scene->failed || !narrow || narrow->failed) {
		d->failed = true;
		return NULL;
	}
	f->number = ++d->n_figures;
	f->title = pd_doc_text(d, title);
	f->description = pd_doc_text(d, description);
	f->scene = scene;
	f->narrow = narrow;
	b->figure = f;
	return f;
}

const char *pd_verdict_sign(pd_verdict v)
{
	switch (v) {
	case PD_BETTER:
		return "\xe2\x96\xb2"; /* U+25B2 */
	case PD_WORSE:
		return "\xe2\x96\xbc"; /* U+25BC */
	case PD_NO_MATTER:
		return "\xe2\x96\xa0"; /* U+25A0 */
	case PD_NOT_SETTLED:
		return "\xe2\x97\x87"; /* U+25C7 */
	case PD_NO_ANSWER:
		break;
	}
	return "\xc3\x97"; /* U+00D7 */
}
