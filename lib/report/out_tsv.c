/*
 * out_tsv.c - the tables of a document, parted by tabs, for a spreadsheet or
 * a script. A line that starts with '#' names what follows; numbers keep
 * their printed digits, with an ASCII minus and without parted thousands.
 */
#include "report/block.h"
#include "report/clean.h"

/* A cell's text: what would break the table becomes a blank. */
static void add_cell(pd_buf *out, const char *text)
{
	if (!text)
		return;
	for (uint32_t c; (c = pd_clean_next(&text));)
		if (c == 0x2212)
			pd_buf_char(out, '-');
		else if (c != 0x202f)
			pd_clean_put(out, c);
}

static void add_heads(pd_buf *out, const pd_table *t)
{
	for (size_t k = 0; k < t->n_columns; k++) {
		if (k)
			pd_buf_char(out, '\t');
		add_cell(out, t->column[k].head);
		if (t->column[k].unit) {
			pd_buf_add(out, ", ");
			add_cell(out, t->column[k].unit);
		}
	}
	pd_buf_char(out, '\n');
}

static void add_table(pd_buf *out, const pd_table *t)
{
	pd_buf_print(out, "# Table %u. ", t->number);
	add_cell(out, t->caption);
	pd_buf_char(out, '\n');
	add_heads(out, t);
	for (size_t i = 0; i < t->n_rows; i++) {
		for (size_t k = 0; k < t->n_columns; k++) {
			if (k)
				pd_buf_char(out, '\t');
			add_cell(out, t->row[i].cell[k]);
		}
		pd_buf_char(out, '\n');
	}
}

static void add_definitions(pd_buf *out, const pd_block *b)
{
	for (size_t i = 0; i < b->n_items; i++) {
		add_cell(out, b->definition[i].term);
		pd_buf_char(out, '\t');
		add_cell(out, b->definition[i].text);
		pd_buf_char(out, '\n');
	}
}

pd_status pd_doc_write_tsv(const pd_doc *d, pd_buf *out, pd_error *err)
{
	for (const pd_block *b = d->first; b; b = b->next) {
		if (b->kind == PD_BLOCK_TABLE)
			add_table(out, b->table);
		if (b->kind == PD_BLOCK_DEFINITIONS)
			add_definitions(out, b);
		if (b->kind == PD_BLOCK_PARAGRAPH && b->tone == PD_LEAD) {
			pd_buf_add(out, "# ");
			add_cell(out, b->text);
			pd_buf_char(out, '\n');
		}
	}
	return pd_buf_ok(out) ? PD_OK
	                      : pd_fail(err, PD_NO_MEMORY, "out of memory");
}
