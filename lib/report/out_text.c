/*
 * out_text.c - the document as plain text: verdict board first, nothing wider
 * than the page, emphasis only where a terminal wants it.
 */
#include "report/out_text.h"
#include "report/clean.h"

#include <stdio.h>
#include <string.h>

enum { LEAST_WIDTH = 40, MOST_WIDTH = 200, USUAL_WIDTH = 80, TEXT_WIDTH = 100 };

size_t pd_page_longest_word(const char *text)
{
	size_t longest = 0, n = 0;

	for (uint32_t c; (c = pd_clean_next(&text));) {
		n = c == ' ' ? 0 : n + pd_clean_columns(c);
		if (n > longest)
			longest = n;
	}
	return longest;
}

/* Columns of the word at `text`, which starts with no blank; *end past it. */
static size_t word_columns(const char *text, const char **end)
{
	size_t n = 0;
	const char *p = text;

	for (;;) {
		*end = p;
		uint32_t c = pd_clean_next(&p);

		if (c == 0 || c == ' ')
			return n;
		n += pd_clean_columns(c);
	}
}

static void skip_blanks(const char **text)
{
	const char *p = *text;

	while (pd_clean_next(&p) == ' ')
		*text = p;
}

/* As much of a too long word as fits. */
static void cut_word(const char **text, size_t width, pd_buf *line)
{
	for (size_t n = 0;;) {
		const char *p = *text;
		uint32_t c = pd_clean_next(&p);

		if (c == 0 || c == ' ' || n + pd_clean_columns(c) > width)
			return;
		n += pd_clean_columns(c);
		pd_clean_put(line, c);
		*text = p;
	}
}

bool pd_page_line(const char **text, size_t width, pd_buf *line)
{
	size_t used = 0;

	skip_blanks(text);
	if (!**text)
		return false;
	while (**text) {
		const char *end;
		size_t n = word_columns(*text, &end);

		if (used == 0 && n > width) {
			cut_word(text, width, line);
			return true;
		}
		if (used && used + 1 + n > width)
			return true;
		if (used) {
			pd_buf_char(line, ' ');
			used++;
		}
		while (*text < end)
			pd_clean_put(line, pd_clean_next(text));
		used += n;
		skip_blanks(text);
	}
	return true;
}

void pd_page_weight(pd_page *p, pd_weight weight)
{
	static const char *const code[] = { "", "\x1b[1m", "\x1b[2m",
		                            "\x1b[1;36m" };

	if (p->colour)
		pd_buf_add(p->out, code[weight]);
}

void pd_page_end_weight(pd_page *p, pd_weight weight)
{
	if (p->colour && weight != PD_NORMAL)
		pd_buf_add(p->out, "\x1b[0m");
}

void pd_page_blank(pd_page *p)
{
	pd_buf_char(p->out, '\n');
}

/* Running text is easier to read when lines are not too long. */
static size_t text_width(const pd_page *p)
{
	return p->width < TEXT_WIDTH ? p->width : TEXT_WIDTH;
}

void pd_page_wrapped(pd_page *p, size_t indent, const char *lead,
                     pd_weight weight, const char *text)
{
	size_t hang = indent + pd_clean_width(lead);
	size_t room = text_width(p) > hang + 8 ? text_width(p) - hang : 8;
	bool first = true;
	pd_buf line;

	pd_buf_init(&line);
	while (pd_page_line(&text, room, &line)) {
		pd_buf_repeat(p->out, " ", first ? indent : hang);
		if (first && *lead) {
			pd_page_weight(p, PD_STRONG);
			pd_clean_add(p->out, lead);
			pd_page_end_weight(p, PD_STRONG);
		}
		first = false;
		pd_page_weight(p, weight);
		pd_buf_add(p->out, pd_buf_text(&line));
		pd_page_end_weight(p, weight);
		pd_buf_char(p->out, '\n');
		if (!pd_buf_ok(&line)) {
			p->failed = true;
			break;
		}
		pd_buf_reset(&line);
	}
	pd_buf_clear(&line);
}

static void rule(pd_page *p, const char *mark, size_t n)
{
	pd_buf_repeat(p->out, mark, n);
	pd_buf_char(p->out, '\n');
}

static void heading(pd_page *p, const pd_block *b)
{
	size_t n = pd_clean_width(b->text);

	if (p->out->length)
		pd_page_blank(p);
	if (b->level == 1) {
		pd_page_wrapped(p, 0, "", PD_ACCENT, b->text);
		rule(p, "\xe2\x95\x90", n < text_width(p) ? n : text_width(p));
		return;
	}
	if (b->level == 2)
		pd_page_blank(p);
	pd_page_wrapped(p, 0, "", b->level == 2 ? PD_ACCENT : PD_STRONG,
	                b->text);
	if (b->level == 2)
		rule(p, "\xe2\x94\x80", n < text_width(p) ? n : text_width(p));
}

static void paragraph(pd_page *p, const pd_block *b)
{
	static const pd_weight weight[] = { PD_NORMAL, PD_STRONG, PD_FAINT,
		                            PD_NORMAL, PD_NORMAL };
	const char *lead =
	    b->tone == PD_NOTE || b->tone == PD_CAUTION ? "! " : "";

	pd_page_wrapped(p, 0, lead, weight[b->tone], b->text);
	pd_page_blank(p);
}

/* Verdict, number and arms: on one line where the page is wide enough. */
static void board_line(pd_page *p, const pd_board_line *l)
{
	pd_buf lead, rest;

	pd_buf_init(&lead);
	pd_buf_init(&rest);
	pd_buf_print(&lead, "%s %s  ", pd_verdict_sign(l->verdict), l->words);
	pd_buf_print(&rest, "%s%s%s", l->arms ? l->arms : "",
	             l->number && l->arms ? "; " : "",
	             l->number ? l->number : "");
	if (!pd_buf_ok(&lead) || !pd_buf_ok(&rest)) {
		p->failed = true;
	} else if (rest.length &&
	           pd_clean_width(pd_buf_text(&lead)) <= p->width / 4) {
		pd_page_wrapped(p, 4, pd_buf_text(&lead), PD_NORMAL,
		                pd_buf_text(&rest));
	} else {
		pd_page_wrapped(p, 4, "", PD_STRONG, pd_buf_text(&lead));
		pd_page_wrapped(p, 6, "", PD_NORMAL, pd_buf_text(&rest));
	}
	pd_buf_clear(&lead);
	pd_buf_clear(&rest);
}

static void board_row(pd_page *p, const pd_board_row *r)
{
	char tag[24];
	size_t n = strlen(r->tag);

	/* A tag is short and ours ("Q12"); the column is four wide. */
	snprintf(tag, sizeof tag, "%s%*s", r->tag, n < 4 ? (int)(4 - n) : 1,
	         "");
	pd_page_wrapped(p, 0, tag, PD_STRONG, r->question);
	for (size_t i = 0; i < r->n_lines; i++)
		board_line(p, &r->line[i]);
	if (r->sentence)
		pd_page_wrapped(p, 4, "", PD_NORMAL, r->sentence);
	if (r->judged)
		pd_page_wrapped(p, 4, "", PD_FAINT, r->judged);
	if (r->note)
		pd_page_wrapped(p, 4, "! ", PD_NORMAL, r->note);
	if (r->harm)
		pd_page_wrapped(p, 4, "! ", PD_NORMAL, r->harm);
	pd_page_blank(p);
}

static void board(pd_page *p, const pd_board *b)
{
	for (size_t g = 0; g < b->n_groups; g++) {
		pd_page_wrapped(p, 0, "", PD_ACCENT, b->group[g].title);
		pd_page_wrapped(p, 0, "", PD_FAINT, b->group[g].rule);
		pd_page_blank(p);
		for (size_t i = 0; i < b->group[g].n_rows; i++)
			board_row(p, &b->group[g].row[i]);
	}
}

static void list(pd_page *p, const pd_block *b)
{
	if (b->kind == PD_BLOCK_BOX)
		pd_page_wrapped(p, 0, b->tone == PD_CAUTION ? "! " : "",
		                PD_STRONG, b->text);
	for (size_t i = 0; i < b->n_items; i++)
		pd_page_wrapped(p, 2, "\xe2\x80\xa2 ", PD_NORMAL, b->item[i]);
	if (b->n_items)
		pd_page_blank(p);
}

static void definitions(pd_page *p, const pd_block *b)
{
	pd_buf line;

	pd_buf_init(&line);
	for (size_t i = 0; i < b->n_items; i++) {
		pd_buf_reset(&line);
		pd_buf_print(&line, "%s: %s", b->definition[i].term,
		             b->definition[i].text);
		if (!pd_buf_ok(&line))
			p->failed = true;
		pd_page_wrapped(p, 0, "  ", PD_NORMAL, pd_buf_text(&line));
	}
	pd_buf_clear(&line);
	pd_page_blank(p);
}

static void figure(pd_page *p, const pd_figure *f)
{
	pd_buf line;

	pd_buf_init(&line);
	pd_buf_print(&line, "Figure %u. %s", f->number, f->title);
	pd_page_wrapped(p, 0, "", PD_STRONG, pd_buf_text(&line));
	pd_buf_reset(&line);
	pd_buf_add(&line, f->description);
	if (f->table)
		pd_buf_print(&line, " Numbers: Table %u.", f->table);
	pd_page_wrapped(p, 0, "", PD_FAINT, pd_buf_text(&line));
	if (!pd_buf_ok(&line))
		p->failed = true;
	pd_buf_clear(&line);
	pd_page_blank(p);
	if (f->bars) {
		pd_page_bars(p, f->bars);
		pd_page_blank(p);
	}
}

static void footer(pd_page *p, const pd_block *b)
{
	rule(p, "\xe2\x94\x80", text_width(p));
	pd_page_wrapped(p, 0, "", PD_NORMAL, b->text);
}

static void block(pd_page *p, const pd_block *b)
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
		pd_page_table(p, b->table);
		pd_page_blank(p);
		break;
	case PD_BLOCK_FIGURE:
		figure(p, b->figure);
		break;
	case PD_BLOCK_BOX:
	case PD_BLOCK_LIST:
		list(p, b);
		break;
	case PD_BLOCK_DEFINITIONS:
		definitions(p, b);
		break;
	case PD_BLOCK_FOOTER:
		footer(p, b);
		break;
	case PD_BLOCK_PAGE_END:
		break;
	}
}

pd_status pd_doc_write_text(const pd_doc *d, const pd_text_style *style,
                            pd_buf *out, pd_error *err)
{
	pd_page p = { out, style->width ? style->width : USUAL_WIDTH,
		      style->colour, false };

	if (p.width < LEAST_WIDTH)
		p.width = LEAST_WIDTH;
	if (p.width > MOST_WIDTH)
		p.width = MOST_WIDTH;
	for (const pd_block *b = d->first; b; b = b->next) {
		if (style->first_page && b->kind == PD_BLOCK_PAGE_END)
			break;
		block(&p, b);
	}
	if (p.failed || !pd_buf_ok(out))
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	return PD_OK;
}
