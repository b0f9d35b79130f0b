/*
 * out_html.c - the document as one page of HTML that needs nothing else: no
 * script, no outside reference, readable by eye, by screen reader and on
 * paper. Every text goes through pd_clean_add_html.
 */
#include "report/block.h"
#include "report/clean.h"
#include "report/html_style.h"
#include "report/svg.h"

#include <stdio.h>
#include <string.h>

/* A scene wider than this stretches over the page, beyond a column of text. */
enum { SHORT_TABLE = 12, PLAIN_WIDTH = 640 };

struct page {
	pd_buf *out;
	const pd_doc *doc;
	bool in_main, in_section;
	unsigned n_headings, n_boxes;
};

static void put(struct page *p, const char *markup)
{
	pd_buf_add(p->out, markup);
}

static void text(struct page *p, const char *words)
{
	pd_clean_add_html(p->out, words);
}

/* <open>words</close> on one line. */
static void element(struct page *p, const char *open, const char *words,
                    const char *close)
{
	put(p, open);
	text(p, words);
	put(p, close);
	put(p, "\n");
}

static void begin_page(struct page *p)
{
	put(p, "<!DOCTYPE html>\n<html lang=\"");
	text(p, p->doc->language);
	put(p, "\">\n<head>\n<meta charset=\"utf-8\">\n"
	       "<meta http-equiv=\"Content-Security-Policy\" content=\""
	       "default-src 'none'; style-src 'unsafe-inline'; "
	       "img-src data:\">\n"
	       "<meta name=\"viewport\" content=\"width=device-width, "
	       "initial-scale=1\">\n"
	       "<meta name=\"color-scheme\" content=\"light dark\">\n");
	element(p, "<title>", p->doc->title, "</title>");
	put(p, "<style>\n");
	put(p, pd_html_style);
	put(p, "</style>\n</head>\n<body>\n"
	       "<a class=\"skip\" href=\"#main\">Skip to the result</a>\n"
	       "<header>\n");
}

/* "Q3. Does ..." is linked as "Q3" under its full name. */
static size_t tag_length(const char *heading)
{
	size_t n = heading[0] == 'Q' ? strspn(heading + 1, "0123456789") : 0;

	return n && heading[n + 1] == '.' ? n + 1 : 0;
}

static void contents_link(struct page *p, const pd_block *b)
{
	size_t tag = tag_length(b->text);

	put(p, "<li><a href=\"#");
	text(p, b->id);
	put(p, "\"");
	if (tag) {
		put(p, " aria-label=\"");
		text(p, b->text);
		put(p, "\">");
		pd_buf_add_n(p->out, b->text, tag);
	} else {
		put(p, ">");
		text(p, b->text);
	}
	put(p, "</a></li>\n");
}

static void contents(struct page *p)
{
	put(p, "<nav aria-label=\"Parts of this report\">\n<ul>\n");
	for (const pd_block *b = p->doc->first; b; b = b->next)
		if (b->kind == PD_BLOCK_HEADING && b->level == 2 && b->id)
			contents_link(p, b);
	put(p, "</ul>\n</nav>\n");
}

static void begin_main(struct page *p)
{
	if (p->in_main)
		return;
	put(p, "</header>\n");
	contents(p);
	put(p, "<main id=\"main\">\n");
	p->in_main = true;
}

static void end_section(struct page *p)
{
	if (p->in_section)
		put(p, "</section>\n");
	p->in_section = false;
}

static void heading(struct page *p, const pd_block *b)
{
	unsigned n = ++p->n_headings;

	if (b->level == 1) {
		element(p, "<h1>", b->text, "</h1>");
		return;
	}
	if (b->level > 2) {
		element(p, "<h3>", b->text, "</h3>");
		return;
	}
	begin_main(p);
	end_section(p);
	put(p, "<section");
	if (b->id) {
		put(p, " id=\"");
		text(p, b->id);
		put(p, "\"");
	}
	pd_buf_print(p->out, " aria-labelledby=\"h-%u\">\n<h2 id=\"h-%u\">", n,
	             n);
	element(p, "", b->text, "</h2>");
	p->in_section = true;
}

static void paragraph(struct page *p, const pd_block *b)
{
	static const char *const open[] = { "<p>", "<p class=\"lead\">",
		                            "<p class=\"quiet\">",
		                            "<p class=\"note\">",
		                            "<p class=\"note\">" };

	element(p, open[b->tone], b->text, "</p>");
}

static const char *tone_class(const pd_board_line *l)
{
	switch (l->verdict) {
	case PD_BETTER:
		return l->neutral ? "v-plain" : "v-gain";
	case PD_WORSE:
		return l->neutral ? "v-plain" : "v-loss";
	case PD_NO_MATTER:
		return l->unsupported ? "v-open" : "v-same";
	case PD_NOT_SETTLED:
	case PD_NO_ANSWER:
		break;
	}
	return "v-open";
}

static void board_line(struct page *p, const pd_board_line *l)
{
	pd_buf_print(p->out,
	             "<li class=\"%s\"><span class=\"word\">"
	             "<span aria-hidden=\"true\">%s</span> ",
	             tone_class(l), pd_verdict_sign(l->verdict));
	text(p, l->words);
	put(p, "</span>");
	if (l->arms) {
		put(p, "\n<span class=\"arms\">");
		text(p, l->arms);
		put(p, "</span>");
	}
	if (l->number) {
		put(p, "\n<span class=\"number\">");
		text(p, l->number);
		put(p, "</span>");
	}
	put(p, "</li>\n");
}

static void board_row(struct page *p, const pd_board_row *r)
{
	put(p, "<li>\n<p class=\"ask\"><a href=\"#");
	text(p, r->target);
	put(p, "\">");
	text(p, r->tag);
	put(p, " ");
	text(p, r->question);
	put(p, "</a></p>\n<ul class=\"verdicts\">\n");
	for (size_t i = 0; i < r->n_lines; i++)
		board_line(p, &r->line[i]);
	put(p, "</ul>\n");
	if (r->sentence)
		element(p, "<p class=\"say\">", r->sentence, "</p>");
	if (r->judged)
		element(p, "<p class=\"judged\">", r->judged, "</p>");
	if (r->note || r->harm) {
		put(p, "<div class=\"notes\">\n");
		if (r->note)
			element(p, "<p>", r->note, "</p>");
		if (r->harm)
			element(p, "<p>", r->harm, "</p>");
		put(p, "</div>\n");
	}
	put(p, "</li>\n");
}

static void board(struct page *p, const pd_board *b)
{
	put(p, "<div class=\"board\">\n");
	for (size_t g = 0; g < b->n_groups; g++) {
		element(p, "<h3>", b->group[g].title, "</h3>");
		element(p, "<p class=\"quiet\">", b->group[g].rule, "</p>");
		put(p, "<ol class=\"rows\">\n");
		for (size_t i = 0; i < b->group[g].n_rows; i++)
			board_row(p, &b->group[g].row[i]);
		put(p, "</ol>\n");
	}
	put(p, "</div>\n");
}

static void table_head(struct page *p, const pd_table *t)
{
	put(p, "<thead>\n<tr>");
	for (size_t j = 0; j < t->n_columns; j++) {
		put(p, t->column[j].right && j
		           ? "<th scope=\"col\" class=\"r\">"
		           : "<th scope=\"col\">");
		text(p, t->column[j].head);
		if (t->column[j].unit) {
			put(p, ", ");
			text(p, t->column[j].unit);
		}
		put(p, "</th>");
	}
	put(p, "</tr>\n</thead>\n");
}

static void table_row(struct page *p, const pd_table *t, const pd_cell_row *r)
{
	if (r->group) {
		pd_buf_print(p->out,
		             "<tr><th scope=\"rowgroup\" "
		             "colspan=\"%zu\">",
		             t->n_columns);
		element(p, "", r->group, "</th></tr>");
	}
	put(p, "<tr>");
	for (size_t j = 0; j < t->n_columns; j++) {
		const char *cell =
		    r->cell[j] ? r->cell[j] : "\xe2\x80\x94"; /* U+2014 */

		put(p, j == 0               ? "<th scope=\"row\">"
		       : t->column[j].right ? "<td class=\"r\">"
		                            : "<td class=\"t\">");
		text(p, cell);
		put(p, j == 0 ? "</th>" : "</td>");
	}
	put(p, "</tr>\n");
}

static void table_keys(struct page *p, const pd_table *t)
{
	bool dash = pd_table_has_dash(t);

	if (!dash && !t->n_notes)
		return;
	put(p, "<div class=\"keys\">\n");
	if (dash)
		element(p, "<p>\xe2\x80\x94: ", t->dash_key, ".</p>");
	for (size_t i = 0; i < t->n_notes; i++)
		element(p, "<p>", t->note[i], "</p>");
	put(p, "</div>\n");
}

static void table(struct page *p, const pd_table *t)
{
	/* A short table stays on one page of paper. */
	pd_buf_print(p->out,
	             "<div class=\"scroll%s\" role=\"group\" "
	             "tabindex=\"0\" aria-labelledby=\"table-%u\">\n<table>\n"
	             "<caption id=\"table-%u\">Table %u. ",
	             t->n_rows <= SHORT_TABLE ? " short" : "", t->number,
	             t->number, t->number);
	element(p, "", t->caption, "</caption>");
	table_head(p, t);
	put(p, "<tbody>\n");
	for (size_t i = 0; i < t->n_rows; i++)
		table_row(p, t, &t->row[i]);
	put(p, "</tbody>\n</table>\n</div>\n");
	table_keys(p, t);
}

static void figure(struct page *p, const pd_figure *f)
{
	char id[32];

	pd_buf_print(p->out, "<figure>\n<figcaption><b>Figure %u. ", f->number);
	text(p, f->title);
	put(p, "</b>\n<span>");
	text(p, f->description);
	if (f->table)
		pd_buf_print(p->out, " Numbers: Table %u.", f->table);
	put(p, "</span></figcaption>\n");
	snprintf(id, sizeof id, "figure-%u", f->number);
	pd_svg_write(f->scene, id,
	             f->scene->width > PLAIN_WIDTH ? "page full" : "page",
	             f->title, f->description, p->out);
	snprintf(id, sizeof id, "figure-%u-n", f->number);
	pd_svg_write(f->narrow, id, "narrow", f->title, f->description,
	             p->out);
	put(p, "</figure>\n");
}

static void items(struct page *p, const pd_block *b)
{
	for (size_t i = 0; i < b->n_items; i++)
		element(p, "<li>", b->item[i], "</li>");
}

static void box(struct page *p, const pd_block *b)
{
	unsigned n = ++p->n_boxes;

	pd_buf_print(p->out,
	             "<div class=\"box%s\" role=\"note\" "
	             "aria-labelledby=\"box-%u\">\n<p id=\"box-%u\">",
	             b->tone == PD_CAUTION ? " caution" : "", n, n);
	element(p, "", b->text, "</p>");
	put(p, "<ul>\n");
	items(p, b);
	put(p, "</ul>\n</div>\n");
}

static void list(struct page *p, const pd_block *b)
{
	if (!b->n_items)
		return;
	put(p, "<ul class=\"plain\">\n");
	items(p, b);
	put(p, "</ul>\n");
}

static void definitions(struct page *p, const pd_block *b)
{
	if (!b->n_items)
		return;
	put(p, "<dl>\n");
	for (size_t i = 0; i < b->n_items; i++) {
		element(p, "<dt>", b->definition[i].term, "</dt>");
		element(p, "<dd>", b->definition[i].text, "</dd>");
	}
	put(p, "</dl>\n");
}

static void end_main(struct page *p)
{
	begin_main(p);
	end_section(p);
	put(p, "</main>\n");
}

static void block(struct page *p, const pd_block *b)
{
	switch (b->kind) {
	case PD_BLOCK_HEADING:
		heading(p, b);
		break;
	case PD_BLOCK_PARAGRAPH:
		paragraph(p, b);
		break;
	case PD_BLOCK_BOARD:
		board(p, b->board);
		break;
	case PD_BLOCK_TABLE:
		table(p, b->table);
		break;
	case PD_BLOCK_FIGURE:
		figure(p, b->figure);
		break;
	case PD_BLOCK_BOX:
		box(p, b);
		break;
	case PD_BLOCK_LIST:
		list(p, b);
		break;
	case PD_BLOCK_DEFINITIONS:
		definitions(p, b);
		break;
	case PD_BLOCK_FOOTER:
	case PD_BLOCK_PAGE_END:
		break;
	}
}

static void footers(struct page *p)
{
	put(p, "<footer>\n");
	for (const pd_block *b = p->doc->first; b; b = b->next)
		if (b->kind == PD_BLOCK_FOOTER)
			element(p, "<p>", b->text, "</p>");
	put(p, "</footer>\n");
}

pd_status pd_doc_write_html(const pd_doc *d, pd_buf *out, pd_error *err)
{
	struct page p = { out, d, false, false, 0, 0 };

	begin_page(&p);
	for (const pd_block *b = d->first; b; b = b->next)
		block(&p, b);
	end_main(&p);
	footers(&p);
	put(&p, "</body>\n</html>\n");
	if (!pd_buf_ok(out))
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	return PD_OK;
}
