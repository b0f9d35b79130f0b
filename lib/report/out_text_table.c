/*
 * out_text_table.c - tables of characters. Columns get what their words need
 * and then share the page; numbers are never broken, long words of text wrap
 * between words. A table too wide for the page is set row by row instead.
 */
#include "report/clean.h"
#include "report/out_text.h"

#include <stdlib.h>

static const char dash[] = "\xe2\x80\x94"; /* U+2014 */

enum { GAP = 2, EASY = 14 };

struct layout {
	size_t n;
	size_t *have, *want;
	pd_buf *head; /* head and unit of each column, joined */
};

static const char *cell_text(const char *cell)
{
	return cell ? cell : dash;
}

static size_t most(size_t a, size_t b)
{
	return a > b ? a : b;
}

static size_t least(size_t a, size_t b)
{
	return a < b ? a : b;
}

/* What column j needs at the least, and what it would like. */
static void measure(const pd_table *t, struct layout *l, size_t j)
{
	const char *head = pd_buf_text(&l->head[j]);
	size_t cells = 0, word = 0;

	for (size_t i = 0; i < t->n_rows; i++) {
		const char *text = cell_text(t->row[i].cell[j]);

		cells = most(cells, pd_clean_width(text));
		word = most(word, pd_page_longest_word(text));
	}
	l->want[j] = most(cells, pd_clean_width(head));
	l->have[j] =
	    most(pd_page_longest_word(head),
	         t->column[j].right ? cells : most(word, least(cells, EASY)));
}

static size_t total(const struct layout *l)
{
	size_t sum = l->n ? GAP * (l->n - 1) : 0;

	for (size_t j = 0; j < l->n; j++)
		sum += l->have[j];
	return sum;
}

/* Give spare columns, one by one, to whoever lacks most. */
static void share_out(struct layout *l, size_t width)
{
	for (size_t spare = width - total(l); spare; spare--) {
		size_t best = 0, lack = 0;

		for (size_t j = 0; j < l->n; j++)
			if (l->want[j] > l->have[j] + lack) {
				best = j;
				lack = l->want[j] - l->have[j];
			}
		if (!lack)
			return;
		l->have[best]++;
	}
}

static void pad(pd_page *p, size_t n)
{
	pd_buf_repeat(p->out, " ", n);
}

/*
 * One line of cells, each from where it was left; trailing blanks are not
 * written. `bottom`: how many lines each cell still waits before it starts
 * (heads stand on the foot of their row), or NULL.
 */
static bool line_of_cells(pd_page *p, const pd_table *t, const struct layout *l,
                          const char **left, size_t *wait, pd_weight weight)
{
	size_t owed = 0;
	bool any = false;
	pd_buf piece;

	pd_buf_init(&piece);
	for (size_t j = 0; j < l->n; j++) {
		bool got = false;

		pd_buf_reset(&piece);
		if (wait && wait[j])
			wait[j]--, any = true;
		else
			got = pd_page_line(&left[j], l->have[j], &piece);
		if (!pd_buf_ok(&piece))
			p->failed = true;
		if (got) {
			size_t n = pd_clean_width(pd_buf_text(&piece));
			size_t free_ = l->have[j] - n;

			pad(p, owed + (t->column[j].right ? free_ : 0));
			pd_page_weight(p, weight);
			pd_buf_add(p->out, pd_buf_text(&piece));
			pd_page_end_weight(p, weight);
			owed = t->column[j].right ? 0 : free_;
			any = true;
		} else {
			owed += l->have[j];
		}
		owed += GAP;
	}
	pd_buf_clear(&piece);
	if (any)
		pd_buf_char(p->out, '\n');
	return any;
}

static size_t count_lines(pd_page *p, const char *text, size_t width)
{
	size_t n = 0;
	pd_buf line;

	pd_buf_init(&line);
	while (pd_page_line(&text, width, &line) && pd_buf_ok(&line)) {
		pd_buf_reset(&line);
		n++;
	}
	if (!pd_buf_ok(&line))
		p->failed = true;
	pd_buf_clear(&line);
	return n;
}

static void heads(pd_page *p, const pd_table *t, const struct layout *l,
                  const char **left, size_t *wait)
{
	size_t lines = 0;

	for (size_t j = 0; j < l->n; j++) {
		left[j] = pd_buf_text(&l->head[j]);
		wait[j] = count_lines(p, left[j], l->have[j]);
		lines = most(lines, wait[j]);
	}
	for (size_t j = 0; j < l->n; j++)
		wait[j] = lines - wait[j];
	for (size_t k = 0; k < lines; k++)
		line_of_cells(p, t, l, left, wait, PD_FAINT);
	pd_buf_repeat(p->out, "\xe2\x94\x80", total(l));
	pd_buf_char(p->out, '\n');
}

static void side_by_side(pd_page *p, const pd_table *t, struct layout *l,
                         const char **left)
{
	share_out(l, p->width);
	heads(p, t, l, left, l->want);
	for (size_t i = 0; i < t->n_rows; i++) {
		if (t->row[i].group)
			pd_page_wrapped(p, 0, "", PD_STRONG, t->row[i].group);
		for (size_t j = 0; j < l->n; j++)
			left[j] = cell_text(t->row[i].cell[j]);
		while (line_of_cells(p, t, l, left, NULL, PD_NORMAL))
			;
	}
}

/* Row by row: the first cell, then a line a column. */
static void stacked(pd_page *p, const pd_table *t, const struct layout *l)
{
	pd_buf line;

	pd_buf_init(&line);
	for (size_t i = 0; i < t->n_rows; i++) {
		if (t->row[i].group)
			pd_page_wrapped(p, 0, "", PD_STRONG, t->row[i].group);
		for (size_t j = 0; j < t->n_columns; j++) {
			pd_buf_reset(&line);
			pd_buf_print(&line, "%s: %s", pd_buf_text(&l->head[j]),
			             cell_text(t->row[i].cell[j]));
			if (!pd_buf_ok(&line))
				p->failed = true;
			pd_page_wrapped(p, j ? 2 : 0, j ? "  " : "",
			                j ? PD_NORMAL : PD_STRONG,
			                pd_buf_text(&line));
		}
	}
	pd_buf_clear(&line);
}

static bool make_layout(const pd_table *t, struct layout *l)
{
	l->n = t->n_columns;
	l->have = calloc(l->n, sizeof *l->have);
	l->want = calloc(l->n, sizeof *l->want);
	l->head = calloc(l->n, sizeof *l->head);
	if (!l->have || !l->want || !l->head)
		return false;
	for (size_t j = 0; j < l->n; j++) {
		pd_buf_add(&l->head[j], t->column[j].head);
		if (t->column[j].unit)
			pd_buf_print(&l->head[j], ", %s", t->column[j].unit);
		if (!pd_buf_ok(&l->head[j]))
			return false;
		measure(t, l, j);
	}
	return true;
}

static void clear_layout(struct layout *l)
{
	for (size_t j = 0; l->head && j < l->n; j++)
		pd_buf_clear(&l->head[j]);
	free(l->have);
	free(l->want);
	free(l->head);
}

static void notes(pd_page *p, const pd_table *t)
{
	pd_buf line;

	if (pd_table_has_dash(t)) {
		pd_buf_init(&line);
		pd_buf_print(&line, "%s: %s.", dash, t->dash_key);
		if (!pd_buf_ok(&line))
			p->failed = true;
		pd_page_wrapped(p, 0, "", PD_FAINT, pd_buf_text(&line));
		pd_buf_clear(&line);
	}
	for (size_t i = 0; i < t->n_notes; i++)
		pd_page_wrapped(p, 0, "", PD_FAINT, t->note[i]);
}

void pd_page_table(pd_page *p, const pd_table *t)
{
	struct layout l = { 0 };
	const char **left = calloc(t->n_columns, sizeof *left);
	pd_buf caption;

	if (!left || !make_layout(t, &l)) {
		p->failed = true;
		free(left);
		clear_layout(&l);
		return;
	}
	pd_buf_init(&caption);
	pd_buf_print(&caption, "Table %u. %s", t->number, t->caption);
	if (!pd_buf_ok(&caption))
		p->failed = true;
	pd_page_wrapped(p, 0, "", PD_STRONG, pd_buf_text(&caption));
	pd_buf_clear(&caption);
	if (total(&l) <= p->width)
		side_by_side(p, t, &l, left);
	else
		stacked(p, t, &l);
	notes(p, t);
	free(left);
	clear_layout(&l);
}
