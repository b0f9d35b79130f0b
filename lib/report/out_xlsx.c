/*
 * out_xlsx.c - the document as a workbook (Office Open XML, ISO/IEC 29500):
 * a sheet of notes with all words, then a sheet a table with numbers as
 * numbers and its heads frozen. Text is written as text, so nothing in it is
 * computed. The bytes depend on the document only: the creation date is that
 * of the reading.
 *
 * Compiled empty where PD_XLSX is not defined (configure --without-xlsx).
 */
#include "report/clean.h"
#include "report/grid.h"

#ifndef PD_XLSX

pd_status pd_doc_write_xlsx(const pd_doc *d, pd_buf *out, pd_error *err)
{
	(void)d;
	(void)out;
	return pd_fail(err, PD_USAGE,
	               "this perdraw was built without the .xlsx form");
}

#else

#include "base/scan.h"
#include "base/version.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <xlsxwriter.h>

/* Places a number is shown with; characters a column and a cell may have
 * (the format ends at 32 767). */
enum { MOST_PLACES = 9, WIDEST = 60, NARROWEST = 8, LONGEST = 32767 };

struct book {
	lxw_workbook *workbook;
	lxw_worksheet *notes;
	lxw_row_t row; /* of the notes                                        */
	lxw_format *head, *strong, *wrap, *place[MOST_PLACES + 1];
	bool failed, too_long;
};

static void check(struct book *k, lxw_error e)
{
	if (e == LXW_ERROR_MAX_STRING_LENGTH_EXCEEDED)
		k->too_long = true;
	else if (e != LXW_NO_ERROR)
		k->failed = true;
}

/* A text, clean. The format takes "_x0041_" for a letter: its first sign is
 * written in that way, so that it reads back as it is. */
static void write_text(struct book *k, lxw_worksheet *s, lxw_row_t row,
                       lxw_col_t column, const char *text, lxw_format *form)
{
	pd_buf clean, out;

	pd_buf_init(&clean);
	pd_buf_init(&out);
	pd_clean_add(&clean, text);
	for (const char *p = pd_buf_text(&clean); *p; p++) {
		if (p[0] == '_' && p[1] == 'x' && strlen(p) >= 7 &&
		    p[6] == '_' &&
		    strspn(p + 2, "0123456789abcdefABCDEF") == 4)
			pd_buf_add(&out, "_x005F");
		pd_buf_char(&out, *p);
	}
	if (!pd_buf_ok(&clean) || !pd_buf_ok(&out))
		k->failed = true;
	else if (out.length > LONGEST)
		k->too_long = true;
	else
		check(k, worksheet_write_string(s, row, column,
		                                pd_buf_text(&out), form));
	pd_buf_clear(&clean);
	pd_buf_clear(&out);
}

/* Digits of a grid, shown with the places they have. */
static void write_digits(struct book *k, lxw_worksheet *s, lxw_row_t row,
                         lxw_col_t column, const char *digits)
{
	const char *point = strchr(digits, '.');
	size_t places = point ? strlen(point + 1) : 0;
	double x;

	if (!pd_scan_number(digits, strlen(digits), '.', 0, &x)) {
		write_text(k, s, row, column, digits, NULL);
		return;
	}
	if (places > MOST_PLACES)
		places = MOST_PLACES;
	check(k, worksheet_write_number(s, row, column, x, k->place[places]));
}

/* ---- notes: what, and its words */

static void note(struct book *k, const char *what, const char *words,
                 lxw_format *form)
{
	if (!words || !*words)
		return;
	write_text(k, k->notes, k->row, 0, what, k->strong);
	write_text(k, k->notes, k->row++, 1, words, form ? form : k->wrap);
}

static void note_table(struct book *k, const pd_table *t)
{
	char name[32];

	snprintf(name, sizeof name, "Table %u", t->number);
	note(k, name, t->caption, k->strong);
	if (pd_table_has_dash(t))
		note(k, "Empty cells", t->dash_key, NULL);
	for (size_t i = 0; i < t->n_notes; i++)
		note(k, "", t->note[i], NULL);
}

static void note_figure(struct book *k, const pd_figure *f)
{
	char name[32], where[48];

	snprintf(name, sizeof name, "Figure %u", f->number);
	note(k, name, f->title, k->strong);
	note(k, "", f->description, NULL);
	snprintf(where, sizeof where, "Numbers: Table %u.", f->table);
	if (f->table)
		note(k, "", where, NULL);
}

static void note_board_row(struct book *k, const pd_board_row *r)
{
	note(k, r->tag, r->question, k->strong);
	for (size_t i = 0; i < r->n_lines; i++) {
		const pd_board_line *l = &r->line[i];
		pd_buf b;

		pd_buf_init(&b);
		pd_buf_print(&b, "%s %s", pd_verdict_sign(l->verdict),
		             l->words);
		if (l->arms)
			pd_buf_print(&b, ". %s", l->arms);
		if (l->number)
			pd_buf_print(&b, ": %s", l->number);
		if (!pd_buf_ok(&b))
			k->failed = true;
		note(k, "", pd_buf_text(&b), NULL);
		pd_buf_clear(&b);
	}
	note(k, "", r->sentence, NULL);
	note(k, "Judged", r->judged, NULL);
	note(k, "", r->note, NULL);
	note(k, "", r->harm, NULL);
}

static void note_board(struct book *k, const pd_board *b)
{
	for (size_t g = 0; g < b->n_groups; g++) {
		note(k, b->group[g].title, b->group[g].rule, NULL);
		for (size_t i = 0; i < b->group[g].n_rows; i++)
			note_board_row(k, &b->group[g].row[i]);
	}
}

static void note_block(struct book *k, const pd_block *b)
{
	switch (b->kind) {
	case PD_BLOCK_HEADING:
		note(k, "", b->text, k->head);
		break;
	case PD_BLOCK_PARAGRAPH:
		note(k, "", b->text, b->tone == PD_LEAD ? k->strong : NULL);
		break;
	case PD_BLOCK_BOARD:
		note_board(k, b->board);
		break;
	case PD_BLOCK_TABLE:
		note_table(k, b->table);
		break;
	case PD_BLOCK_FIGURE:
		note_figure(k, b->figure);
		break;
	case PD_BLOCK_BOX:
		note(k, "", b->text, k->strong);
		/* fall through */
	case PD_BLOCK_LIST:
		for (size_t i = 0; i < b->n_items; i++)
			note(k, "", b->item[i], NULL);
		break;
	case PD_BLOCK_DEFINITIONS:
		for (size_t i = 0; i < b->n_items; i++)
			note(k, b->definition[i].term, b->definition[i].text,
			     NULL);
		break;
	case PD_BLOCK_FOOTER:
		note(k, "", b->text, NULL);
		break;
	case PD_BLOCK_PAGE_END:
		break;
	}
}

/* ---- a sheet a table */

static size_t column_width(const pd_grid *g, size_t j)
{
	size_t most = pd_clean_width(g->column[j].title);

	if (most > WIDEST / 3)
		most = WIDEST / 3; /* heads wrap */
	for (size_t i = 0; i < g->table->n_rows; i++) {
		size_t w = g->cell[i][j] ? pd_clean_width(g->cell[i][j]) : 0;

		most = w > most ? w : most;
	}
	most += 2;
	return most < NARROWEST ? NARROWEST : most > WIDEST ? WIDEST : most;
}

static void fill_sheet(struct book *k, lxw_worksheet *s, const pd_grid *g)
{
	for (size_t j = 0; j < g->n_columns; j++) {
		lxw_col_t column = (lxw_col_t)j;

		check(k, worksheet_set_column(s, column, column,
		                              (double)column_width(g, j),
		                              NULL));
		write_text(k, s, 0, column, g->column[j].title, k->head);
		for (size_t i = 0; i < g->table->n_rows; i++) {
			const char *cell = g->cell[i][j];

			if (!cell)
				continue;
			if (g->column[j].number)
				write_digits(k, s, (lxw_row_t)(i + 1), column,
				             cell);
			else
				write_text(k, s, (lxw_row_t)(i + 1), column,
				           cell, k->wrap);
		}
	}
	worksheet_freeze_panes(s, 1, 0);
	worksheet_repeat_rows(s, 0, 0);
}

static void add_sheet(struct book *k, const pd_table *t)
{
	char name[32];

	snprintf(name, sizeof name, "Table %u", t->number);
	lxw_worksheet *s = workbook_add_worksheet(k->workbook, name);
	pd_arena *arena = pd_arena_new();
	const pd_grid *g = arena ? pd_grid_make(arena, t) : NULL;

	if (s && g)
		fill_sheet(k, s, g);
	else
		k->failed = true;
	pd_arena_free(arena);
}

/* ---- the workbook */

static lxw_format *form(struct book *k, bool bold, bool wrap)
{
	lxw_format *f = workbook_add_format(k->workbook);

	if (!f) {
		k->failed = true;
		return NULL;
	}
	if (bold)
		format_set_bold(f);
	if (wrap)
		format_set_text_wrap(f);
	format_set_align(f, LXW_ALIGN_VERTICAL_TOP);
	return f;
}

static void add_forms(struct book *k)
{
	k->strong = form(k, true, true);
	k->wrap = form(k, false, true);
	k->head = form(k, true, true);
	if (k->head)
		format_set_bottom(k->head, LXW_BORDER_THIN);
	for (size_t n = 0; n <= MOST_PLACES; n++) {
		char shown[MOST_PLACES + 3] = "0.";

		memset(shown + 2, '0', n);
		shown[n ? n + 2 : 1] = '\0';
		k->place[n] = form(k, false, false);
		if (k->place[n])
			format_set_num_format(k->place[n], shown);
	}
}

/* The date of the reading at noon, UTC; 1980-01-01 where there is none: a
 * clock would make every copy another file. */
static time_t created(const pd_doc *d)
{
	int32_t days = pd_days_of(1980, 1, 1);

	if (d->date)
		pd_scan_date(d->date, strlen(d->date), &pd_date_iso, &days);
	return (time_t)days * 86400 + 43200;
}

static void describe(struct book *k, const pd_doc *d)
{
	pd_buf title;

	pd_buf_init(&title);
	pd_clean_add(&title, d->title);
	lxw_doc_properties about = { .created = created(d),
		                     .comments = "perdraw " PD_VERSION };

	if (pd_buf_ok(&title) && title.length < 255)
		about.title = title.data;
	check(k, workbook_set_properties(k->workbook, &about));
	pd_buf_clear(&title);
}

static void fill_book(struct book *k, const pd_doc *d)
{
	describe(k, d);
	add_forms(k);
	k->notes = workbook_add_worksheet(k->workbook, "Notes");
	if (!k->notes) {
		k->failed = true;
		return;
	}
	check(k, worksheet_set_column(k->notes, 0, 0, 24, NULL));
	check(k, worksheet_set_column(k->notes, 1, 1, 100, NULL));
	write_text(k, k->notes, 0, 0, "Part", k->head);
	write_text(k, k->notes, 0, 1, "Words", k->head);
	k->row = 1;
	worksheet_freeze_panes(k->notes, 1, 0);
	for (const pd_block *b = d->first; b; b = b->next)
		note_block(k, b);
	for (const pd_block *b = d->first; b; b = b->next)
		if (b->kind == PD_BLOCK_TABLE)
			add_sheet(k, b->table);
}

static pd_status write_book(const pd_doc *d, const char *path, pd_error *err)
{
	struct book k = { 0 };

	k.workbook = workbook_new(path);
	if (!k.workbook)
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	fill_book(&k, d);
	lxw_error e = workbook_close(k.workbook);

	if (k.too_long)
		return pd_fail(err, PD_DATA,
		               "a text is longer than the %d bytes a sheet's "
		               "cell may hold: use another form", LONGEST);
	if (k.failed || e == LXW_ERROR_MEMORY_MALLOC_FAILED)
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	if (e != LXW_NO_ERROR)
		return pd_fail(err, PD_IO, "cannot write the workbook: %s",
		               lxw_strerror(e));
	return PD_OK;
}

static pd_status read_back(int fd, pd_buf *out, pd_error *err)
{
	char piece[16384];
	ssize_t n;

	while ((n = read(fd, piece, sizeof piece)) != 0) {
		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0)
			return pd_fail(err, PD_IO,
			               "cannot read the workbook back: %s",
			               strerror(errno));
		pd_buf_add_n(out, piece, (size_t)n);
	}
	return pd_buf_ok(out) ? PD_OK
	                      : pd_fail(err, PD_NO_MEMORY,
	                                "out of memory while writing the "
	                                "report");
}

static pd_status one_copy(const pd_doc *d, pd_buf *out, pd_error *err)
{
	const char *folder = getenv("TMPDIR");
	char *path = NULL;

	/* The library writes to a named file only. */
	if (asprintf(&path, "%s/perdraw-XXXXXX",
	             folder && *folder ? folder : "/tmp") < 0)
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	int fd = mkstemp(path);

	if (fd < 0) {
		pd_status st = pd_fail(err, PD_CANNOT_CREATE,
		                       "cannot create '%s': %s", path,
		                       strerror(errno));

		free(path);
		return st;
	}
	pd_status st = write_book(d, path, err);

	if (st == PD_OK)
		st = read_back(fd, out, err);
	close(fd);
	unlink(path);
	free(path);
	return st;
}

/*
 * The library goes through temporary files and does not say when a write to
 * them failed, nor when memory did: a cell would be missing without a word. A
 * workbook counts only when it was made twice alike.
 */
pd_status pd_doc_write_xlsx(const pd_doc *d, pd_buf *out, pd_error *err)
{
	pd_buf first, second;

	pd_buf_init(&first);
	pd_buf_init(&second);
	pd_status st = one_copy(d, &first, err);

	if (st == PD_OK)
		st = one_copy(d, &second, err);
	if (st == PD_OK && (first.length != second.length ||
	                    memcmp(pd_buf_text(&first), pd_buf_text(&second),
	                           first.length) != 0))
		st = pd_fail(err, PD_IO, "the workbook could not be written "
		             "whole: two copies of it differ");
	if (st == PD_OK)
		pd_buf_add_n(out, pd_buf_text(&first), first.length);
	pd_buf_clear(&first);
	pd_buf_clear(&second);
	return st;
}

#endif
