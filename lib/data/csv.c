/*
 * csv.c - finding records, cells and their places in one walk.
 * A record without a quote is split here: 64 bytes at a time give a mask of
 * delimiters, line ends and quotes, and cells are slices of the file. A
 * record with a quote is measured by `walk`, which knows what may stand where
 * and so can say what is wrong and at which byte; its cells are then unquoted
 * by libcsv. libcsv alone took a third of the time the whole reader may take
 * and tells no places. tests/check_reading.c holds both ways against each
 * other on random records.
 */
#include "data/csv.h"
#include "base/buf.h"
#include "base/scan.h"
#include "data/rules.h"

#include <csv.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#ifdef __SSE2__
#include <emmintrin.h>
#endif

enum { LF = 1, CRLF = 2, CR = 4 };

struct pd_csv {
	const char *text;
	size_t size;
	char delimiter;
	bool library_only;
	pd_findings *findings;
	/* where we are */
	size_t at;
	uint32_t line;
	size_t block;     /* start of the 64 bytes the mask stands for         */
	uint64_t mask;    /* their delimiters, line ends and quotes not used   */
	/* what the last record was made of */
	pd_csv_cell *cell;
	size_t n_cells, cell_room;
	pd_buf unquoted;
	size_t *unquoted_at; /* start and length of each unquoted cell         */
	size_t n_unquoted, unquoted_room;
	struct csv_parser parser;
	bool failed;      /* out of memory inside a callback                   */
	/* told at the end */
	unsigned line_ends;
	uint32_t mixed_line, blank_line;
	size_t n_blank;
};

pd_status pd_csv_new(const char *text, size_t size, char delimiter,
                     pd_findings *findings, pd_csv **out, pd_error *err)
{
	pd_csv *c = calloc(1, sizeof *c);

	*out = NULL;
	if (!c || csv_init(&c->parser, CSV_STRICT | CSV_STRICT_FINI) != 0) {
		free(c);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	csv_set_delim(&c->parser, (unsigned char)delimiter);
	pd_buf_init(&c->unquoted);
	c->text = text;
	c->size = size;
	c->delimiter = delimiter;
	c->findings = findings;
	c->line = 1;
	c->block = SIZE_MAX;
	*out = c;
	return PD_OK;
}

void pd_csv_free(pd_csv *c)
{
	if (!c)
		return;
	csv_free(&c->parser);
	pd_buf_clear(&c->unquoted);
	free(c->unquoted_at);
	free(c->cell);
	free(c);
}

void pd_csv_force_library(pd_csv *c, bool on)
{
	c->library_only = on;
}

/* One bit a byte: delimiter, LF, CR or quote. */
static uint64_t special_bits(const char *p, char delimiter)
{
	uint64_t bits = 0;
#ifdef __SSE2__
	const __m128i d = _mm_set1_epi8(delimiter), lf = _mm_set1_epi8('\n'),
	              cr = _mm_set1_epi8('\r'), q = _mm_set1_epi8('"');

	for (int k = 0; k < 4; k++) {
		__m128i v = _mm_loadu_si128((const __m128i *)(p + 16 * k));
		__m128i hit = _mm_or_si128(
		    _mm_or_si128(_mm_cmpeq_epi8(v, d), _mm_cmpeq_epi8(v, lf)),
		    _mm_or_si128(_mm_cmpeq_epi8(v, cr), _mm_cmpeq_epi8(v, q)));

		bits |= (uint64_t)(uint32_t)_mm_movemask_epi8(hit) << (16 * k);
	}
#else
	for (int k = 0; k < 64; k++)
		bits |= (uint64_t)(p[k] == delimiter || p[k] == '\n' ||
		                   p[k] == '\r' || p[k] == '"')
		        << k;
#endif
	return bits;
}

static void load_block(pd_csv *c, size_t block)
{
	char tail[64] = { 0 };

	c->block = block;
	if (c->size - block >= 64) {
		c->mask = special_bits(c->text + block, c->delimiter);
	} else {
		memcpy(tail, c->text + block, c->size - block);
		c->mask = special_bits(tail, c->delimiter);
	}
}

/* Next delimiter, line end or quote at or after the last; size at the end. */
static inline size_t next_special(pd_csv *c)
{
	while (c->mask == 0) {
		if (c->size - c->block <= 64)
			return c->size;
		load_block(c, c->block + 64);
	}
	size_t at = c->block + (size_t)__builtin_ctzll(c->mask);

	c->mask &= c->mask - 1;
	return at;
}

static void restart(pd_csv *c, size_t at)
{
	c->at = at;
	if (at < c->size)
		load_block(c, at);
}

static bool more_cells(pd_csv *c)
{
	size_t room = c->cell_room ? 2 * c->cell_room : 64;
	pd_csv_cell *cell = realloc(c->cell, room * sizeof *cell);

	if (!cell)
		return false;
	c->cell = cell;
	c->cell_room = room;
	return true;
}

static inline bool is_blank(char x)
{
	return x == ' ' || x == '\t';
}

/* A cell written at [from, to), outer blanks left out of its text. */
static inline bool add_cell(pd_csv *c, size_t record, size_t from, size_t to)
{
	const char *s = c->text + from, *e = c->text + to;

	if (c->n_cells == c->cell_room && !more_cells(c))
		return false;
	while (s < e && is_blank(*s))
		s++;
	while (s < e && is_blank(e[-1]))
		e--;
	c->cell[c->n_cells++] = (pd_csv_cell){
		s, (uint32_t)(e - s), (uint32_t)(from - record),
		(uint32_t)(to - from)
	};
	return true;
}

/* Past the line end at `at`; keeps count of lines and kinds of line end. */
static size_t end_line(pd_csv *c, size_t at)
{
	unsigned kind = LF;
	size_t length = 1;

	if (at >= c->size)
		return at;
	if (c->text[at] == '\r') {
		kind = at + 1 < c->size && c->text[at + 1] == '\n' ? CRLF : CR;
		length = kind == CRLF ? 2 : 1;
	}
	if (!(c->line_ends & kind)) {
		if (c->line_ends && !c->mixed_line)
			c->mixed_line = c->line;
		c->line_ends |= kind;
	}
	c->line++;
	return at + length;
}

/* What a careful walk over one record found. */
struct walk {
	size_t end, next;   /* past the last cell; start of the next record    */
	pd_rule bad;
	size_t bad_at;      /* where the finding points                        */
	size_t anchor;      /* reading goes on with the line after this one    */
	size_t cell_at, cell_raw; /* of the cell asked for                     */
	size_t n;
};

/* A quoted cell that opens at s; returns the place past it or sets w->bad. */
static size_t walk_quoted(const pd_csv *c, size_t s, struct walk *w)
{
	size_t open = s++, most = open + 1 + PD_CSV_CELL;

	w->anchor = open;
	most = most < c->size ? most : c->size;
	for (;;) {
		const char *q = s < most ? memchr(c->text + s, '"', most - s)
		                         : NULL;

		if (!q) {
			w->bad = most == c->size ? PD_RULE_QUOTE_OPEN
			                         : PD_RULE_CELL_LONG;
			w->bad_at = open;
			return most;
		}
		s = (size_t)(q - c->text) + 1;
		if (s < c->size && c->text[s] == '"') {
			s++;
			continue;
		}
		break;
	}
	while (s < c->size && c->text[s] != c->delimiter &&
	       is_blank(c->text[s]))
		s++;
	if (s < c->size && c->text[s] != c->delimiter && c->text[s] != '\n' &&
	    c->text[s] != '\r') {
		w->bad = PD_RULE_QUOTE_AFTER;
		w->bad_at = s;
	}
	return s;
}

static size_t walk_plain(const pd_csv *c, size_t s, struct walk *w)
{
	for (; s < c->size; s++) {
		char x = c->text[s];

		if (x == c->delimiter || x == '\n' || x == '\r')
			break;
		if (x == '"') {
			w->bad = PD_RULE_QUOTE_INSIDE;
			w->bad_at = w->anchor = s;
			break;
		}
	}
	return s;
}

/*
 * The record at `offset`, byte by byte. Cells go to `into` (may be NULL);
 * the place of cell `wanted` is kept. False: out of memory.
 */
static bool walk(const pd_csv *c, size_t offset, size_t wanted, pd_csv *into,
                 struct walk *w)
{
	size_t s = offset;

	*w = (struct walk){ .bad = PD_RULE_NONE, .anchor = offset };
	for (;;) {
		size_t from = s;

		while (s < c->size && c->text[s] != c->delimiter &&
		       is_blank(c->text[s]))
			s++;
		size_t first = s;

		s = s < c->size && c->text[s] == '"' ? walk_quoted(c, s, w)
		                                     : walk_plain(c, s, w);
		if (w->n == wanted || w->n < wanted) {
			w->cell_at = w->n == wanted ? first : s;
			w->cell_raw = w->n == wanted ? s - first : 0;
		}
		w->n++;
		if (into && !add_cell(into, offset, from, s))
			return false;
		if (w->bad >= 0 || s >= c->size || c->text[s] != c->delimiter)
			break;
		s++;
	}
	w->end = w->next = s;
	if (w->bad >= 0) { /* go on behind the line that went wrong */
		w->next = w->anchor;
		while (w->next < c->size && c->text[w->next] != '\n' &&
		       c->text[w->next] != '\r')
			w->next++;
		w->end = w->next;
	}
	return true;
}

/* Physical lines that begin in [from, to), moving `line` along. */
static uint32_t count_lines(const char *text, size_t from, size_t to)
{
	uint32_t n = 0;

	for (size_t i = from; i < to; i++)
		n += text[i] == '\n' ||
		     (text[i] == '\r' && (i + 1 >= to || text[i + 1] != '\n'));
	return n;
}

static pd_status tell(pd_csv *c, pd_rule rule, uint32_t line, uint32_t column,
                      const char *found)
{
	const pd_rule_info *r = pd_rule_about(rule);

	if (!c->findings)
		return PD_OK;
	return pd_findings_add(c->findings, r->code, r->level, line, column,
	                       found ? found : r->what, r->why);
}

/* Line and column of a byte of the record at `offset`. */
static void place(const pd_csv *c, size_t offset, uint32_t line, size_t byte,
                  uint32_t *at_line, uint32_t *at_column)
{
	size_t start = byte;

	*at_line = line + count_lines(c->text, offset, byte);
	while (start > offset && c->text[start - 1] != '\n' &&
	       c->text[start - 1] != '\r')
		start--;
	*at_column = (uint32_t)pd_utf8_count(c->text + start, byte - start) + 1;
}

static void take_cell(void *text, size_t length, void *user)
{
	pd_csv *c = user;

	if (c->n_unquoted == c->unquoted_room) {
		size_t room = c->unquoted_room ? 2 * c->unquoted_room : 64;
		size_t *at = realloc(c->unquoted_at, 2 * room * sizeof *at);

		if (!at) {
			c->failed = true;
			return;
		}
		c->unquoted_at = at;
		c->unquoted_room = room;
	}
	c->unquoted_at[2 * c->n_unquoted] = c->unquoted.length;
	c->unquoted_at[2 * c->n_unquoted++ + 1] = length;
	pd_buf_add_n(&c->unquoted, text, length);
}

static void take_row(int end, void *user)
{
	(void)end;
	(void)user;
}

/* Have the library unquote the measured record and set the cells' texts. */
static pd_status unquote(pd_csv *c, size_t offset, size_t end, pd_error *err)
{
	size_t n = end - offset;

	pd_buf_reset(&c->unquoted);
	c->n_unquoted = 0;
	bool ok = csv_parse(&c->parser, c->text + offset, n, take_cell,
	                    take_row, c) == n;

	ok = csv_fini(&c->parser, take_cell, take_row, c) == 0 && ok;
	if (c->failed || !pd_buf_ok(&c->unquoted) ||
	    (!ok && csv_error(&c->parser) == CSV_ENOMEM))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (!ok || c->n_unquoted != c->n_cells)
		return pd_fail(err, PD_INTERNAL,
		               "line %u: the splitter saw %zu cells, the "
		               "library %zu", c->line, c->n_cells,
		               c->n_unquoted);
	for (size_t i = 0; i < c->n_cells; i++) {
		c->cell[i].text =
		    pd_buf_text(&c->unquoted) + c->unquoted_at[2 * i];
		c->cell[i].length = (uint32_t)c->unquoted_at[2 * i + 1];
	}
	return PD_OK;
}

/* A record with a quote in it. */
static pd_status quoted_record(pd_csv *c, pd_csv_record *out, pd_error *err)
{
	struct walk w;
	uint32_t line, column;
	size_t offset = out->offset;
	pd_status st = PD_OK;

	c->n_cells = 0;
	if (!walk(c, offset, SIZE_MAX, c, &w))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	out->quoted = true;
	out->length = w.end - offset;
	out->bad = w.bad >= 0;
	if (out->bad) {
		place(c, offset, out->line, w.bad_at, &line, &column);
		st = tell(c, w.bad, line, column, NULL);
	} else {
		st = unquote(c, offset, w.end, err);
	}
	c->line += count_lines(c->text, offset, w.end);
	restart(c, end_line(c, w.next));
	return st;
}

/* Limits of size; the fast path comes here for long records only. */
static pd_status check_size(pd_csv *c, pd_csv_record *out)
{
	pd_rule rule = PD_RULE_NONE;
	uint32_t line = out->line, column = 0;

	if (out->length > PD_CSV_RECORD)
		rule = PD_RULE_RECORD_LONG;
	else if (c->n_cells > PD_CSV_COLUMNS)
		rule = PD_RULE_COLUMNS_MANY;
	for (size_t i = 0; rule < 0 && i < c->n_cells; i++)
		if (c->cell[i].raw > PD_CSV_CELL) {
			rule = PD_RULE_CELL_LONG;
			place(c, out->offset, out->line,
			      out->offset + c->cell[i].at, &line, &column);
		}
	if (rule < 0)
		return PD_OK;
	out->bad = true;
	return tell(c, rule, line, column ? column : 1, NULL);
}

/* Cells up to the line end; *quote when a quote was met on the way. */
static bool plain_record(pd_csv *c, pd_csv_record *out, bool *quote)
{
	size_t from = out->offset;

	c->n_cells = 0;
	*quote = false;
	for (;;) {
		size_t at = next_special(c);
		char x = at < c->size ? c->text[at] : '\n';

		if (x == '"') {
			*quote = true;
			return true;
		}
		if (!add_cell(c, out->offset, from, at))
			return false;
		if (x == c->delimiter) {
			from = at + 1;
			continue;
		}
		out->length = at - out->offset;
		c->at = end_line(c, at);
		if (c->at == at + 2)
			next_special(c); /* the LF of a CRLF */
		return true;
	}
}

static pd_status one_record(pd_csv *c, pd_csv_record *out, pd_error *err)
{
	bool quote = c->library_only;
	pd_status st = PD_OK;

	*out = (pd_csv_record){ .offset = c->at, .line = c->line };
	if (!quote && !plain_record(c, out, &quote))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (c->library_only) { /* a blank line is no record there */
		size_t s = c->at;

		while (s < c->size && is_blank(c->text[s]) &&
		       c->text[s] != c->delimiter)
			s++;
		if (s >= c->size || c->text[s] == '\n' || c->text[s] == '\r') {
			restart(c, end_line(c, s));
			c->n_cells = 0;
			return PD_OK;
		}
	}
	if (quote)
		st = quoted_record(c, out, err);
	if (st == PD_OK && !out->bad &&
	    (out->length > PD_CSV_CELL || c->n_cells > PD_CSV_COLUMNS))
		st = check_size(c, out);
	out->n = c->n_cells;
	out->cell = c->cell;
	return st;
}

bool pd_csv_next(pd_csv *c, pd_csv_record *out, pd_status *st, pd_error *err)
{
	*st = PD_OK;
	if (c->block == SIZE_MAX)
		restart(c, 0);
	while (c->at < c->size && *st == PD_OK) {
		*st = one_record(c, out, err);
		if (*st != PD_OK)
			return false;
		if (out->bad || out->quoted || out->n > 1 ||
		    (out->n == 1 && out->cell[0].length > 0))
			return true;
		if (c->n_blank++ == 0)
			c->blank_line = out->line;
	}
	return false;
}

pd_status pd_csv_finish(pd_csv *c)
{
	char found[64];
	pd_status st = PD_OK;

	if (c->n_blank) {
		snprintf(found, sizeof found, "%zu blank line%s", c->n_blank,
		         c->n_blank == 1 ? "" : "s, the first here");
		st = tell(c, PD_RULE_BLANK_LINES, c->blank_line, 1, found);
	}
	if (st == PD_OK && c->mixed_line)
		st = tell(c, PD_RULE_NEWLINES, c->mixed_line, 1, NULL);
	return st;
}

void pd_csv_place(const pd_csv *c, size_t offset, uint32_t line, size_t cell,
                  uint32_t *at_line, uint32_t *at_column)
{
	struct walk w;

	walk(c, offset, cell, NULL, &w);
	place(c, offset, line, w.cell_at, at_line, at_column);
}

const char *pd_csv_raw(const pd_csv *c, size_t offset, size_t cell,
                       size_t *length)
{
	struct walk w;

	walk(c, offset, cell, NULL, &w);
	while (w.cell_raw && is_blank(c->text[w.cell_at + w.cell_raw - 1]))
		w.cell_raw--;
	*length = w.cell_raw;
	return c->text + w.cell_at;
}

size_t pd_csv_seek(const pd_csv *c, size_t offset, uint32_t from,
                   uint32_t line)
{
	while (from < line && offset < c->size) {
		char x = c->text[offset++];

		if (x == '\r' && offset < c->size && c->text[offset] == '\n')
			offset++;
		from += x == '\n' || x == '\r';
	}
	return offset;
}
