/*
 * place.c - saying where: findings at cells, places asked for by the loader;
 * and the file without what must not be kept.
 */
#include "data/damage.h"
#include "data/privacy.h"
#include "data/reader_parts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A copy that is UTF-8 and without control characters: '?' for the rest. */
static const char *printable(const char *text, char *out, size_t size)
{
	size_t n = strlen(text), bad;

	n = n < size ? n : size - 1;
	memcpy(out, text, n);
	out[n] = '\0';
	for (size_t at = 0; at < n; at = bad + 1) {
		bad = at + pd_utf8_bad(out + at, n - at);
		if (bad < n)
			out[bad] = '?';
	}
	for (size_t i = 0; i < n; i++) {
		unsigned char c = (unsigned char)out[i];

		if (c < 0x20 || c == 0x7f)
			out[i] = '?';
		else if (c == 0xc2 && (unsigned char)out[i + 1] < 0xa0)
			out[i] = out[i + 1] = '?';
	}
	return out;
}

void pd_reader_say(pd_reader *r, pd_rule rule, uint32_t line, uint32_t column,
                   const char *found, const char *expected)
{
	const pd_rule_info *i = pd_rule_about(rule);
	char a[600], b[700];
	pd_status st = pd_findings_add(
	    r->findings, i->code, i->level, line, column,
	    printable(found ? found : i->what, a, sizeof a),
	    printable(expected ? expected : i->why, b, sizeof b));

	if (r->st == PD_OK)
		r->st = st;
}

/* At most 60 bytes of a cell, cut between characters. */
static void show(const char *s, size_t n, char out[80])
{
	size_t k = 0;

	for (; k < n && k < 60; k++)
		out[k] = s[k] ? s[k] : '?';
	if (k < n) {
		while (k && ((unsigned char)out[k - 1] & 0xc0) == 0x80)
			k--;
		if (k && (unsigned char)out[k - 1] >= 0xc0)
			k--;
		memcpy(out + k, "...", 3);
		k += 3;
	}
	out[k] = '\0';
}

void pd_reader_tell(pd_reader *r, pd_rule rule, size_t offset, uint32_t line,
                    size_t column, const char *expected)
{
	uint32_t at_line, at;
	size_t n;
	char found[220], cell[80];
	const char *header = column < r->width ? r->header[column] : "";
	const char *raw = pd_csv_raw(r->csv, offset, column, &n);

	pd_csv_place(r->csv, offset, line, column, &at_line, &at);
	show(raw, n, cell);
	if (pd_rule_is_private(rule) || (column < r->width && r->hide[column]))
		snprintf(found, sizeof found, "%.80s: %s", header,
		         pd_rule_about(rule)->what);
	else if (n == 0)
		snprintf(found, sizeof found, "%.80s is blank", header);
	else
		snprintf(found, sizeof found, "%.80s '%s': %s", header, cell,
		         pd_rule_about(rule)->what);
	pd_reader_say(r, rule, at_line, at, found, expected);
}

void pd_reader_ragged(pd_reader *r, const pd_csv_record *rec)
{
	char found[80], expected[160];
	uint32_t line, column;
	size_t at = rec->n < r->width ? rec->n : r->width;

	if (pd_damage_quotes(r->text.data + rec->offset, rec->length)) {
		pd_reader_say(r, PD_RULE_SMART_QUOTE, rec->line, 1,
		              "typographic quotes, and the wrong number of "
		              "cells", NULL);
		return;
	}
	pd_csv_place(r->csv, rec->offset, rec->line, at, &line, &column);
	snprintf(found, sizeof found, "%zu cell%s", rec->n,
	         rec->n == 1 ? "" : "s");
	snprintf(expected, sizeof expected,
	         "%zu as in the header%s", r->width,
	         rec->n > r->width
	             ? "; a cell that holds the delimiter goes in double quotes"
	             : "");
	pd_reader_say(r, PD_RULE_RAGGED, line, column, found, expected);
}

static void tell_zeros(pd_reader *r)
{
	char found[160];

	for (size_t k = 0; k < r->n_intakes; k++) {
		const pd_intake *in = &r->intake[k];
		uint32_t line, column;

		for (unsigned n = 1; n < in->zero_width; n++) {
			if (!in->narrow[n])
				continue;
			pd_csv_place(r->csv, in->narrow_offset[n],
			             in->narrow_line[n], in->column, &line,
			             &column);
			snprintf(found, sizeof found,
			         "%.60s: %u label%s of %u digits in a column "
			         "of %u with leading zeros",
			         r->header[in->column], in->narrow[n],
			         in->narrow[n] == 1 ? "" : "s, the first here,",
			         n, in->zero_width);
			pd_reader_say(r, PD_RULE_LOST_ZEROS, line, column,
			              found, NULL);
		}
	}
}

/* What only the end of the file shows. */
void pd_reader_finish(pd_reader *r)
{
	char found[64];
	pd_status st = pd_csv_finish(r->csv);

	if (r->st == PD_OK)
		r->st = st;
	if (r->n_empty) {
		snprintf(found, sizeof found, "%zu row%s without any value",
		         r->n_empty, r->n_empty == 1 ? "" : "s, the first here,");
		pd_reader_say(r, PD_RULE_EMPTY_ROWS, r->empty_line, 1, found,
		              NULL);
	}
	if (r->n_rows == 0)
		pd_reader_say(r, PD_RULE_NO_ROWS, r->header_line, 0, NULL,
		              NULL);
	tell_zeros(r);
}

/* Start of the record on `line`: from the batch at hand, else from the last
 * checkpoint before it. */
static size_t record_offset(pd_reader *r, uint32_t line)
{
	const pd_batch *b = &r->batch;
	size_t low = 0, high = b->n_rows;

	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (b->line[mid] < line)
			low = mid + 1;
		else
			high = mid;
	}
	if (low < b->n_rows && b->line[low] == line)
		return r->offset[low];
	low = 0;
	high = r->n_checkpoints;
	while (high - low > 1) {
		size_t mid = low + (high - low) / 2;

		if (r->checkpoint[mid].line <= line)
			low = mid;
		else
			high = mid;
	}
	if (r->n_checkpoints == 0)
		return 0;
	return pd_csv_seek(r->csv, r->checkpoint[low].offset,
	                   r->checkpoint[low].line, line);
}

void pd_reader_place(pd_reader *r, uint32_t record_line, pd_field f,
                     uint32_t *line, uint32_t *column)
{
	*line = record_line;
	*column = 0;
	if (r->csv && r->of[f])
		pd_csv_place(r->csv, record_offset(r, record_line), record_line,
		             r->of[f]->column, line, column);
}

/* Only the line ends of a quoted cell that is emptied stay, in quotes. */
static void add_line_ends(pd_buf *out, const char *s, size_t n)
{
	bool any = memchr(s, '\n', n) || memchr(s, '\r', n);

	if (any)
		pd_buf_char(out, '"');
	for (size_t i = 0; any && i < n; i++)
		if (s[i] == '\n' || s[i] == '\r')
			pd_buf_char(out, s[i]);
	if (any)
		pd_buf_char(out, '"');
}

static void add_hidden(pd_reader *r, const pd_csv_record *rec, size_t j,
                       pd_buf *out)
{
	const pd_csv_cell *c = &rec->cell[j];
	char pseudonym[PD_PSEUDONYM];
	bool named = false;

	for (size_t k = 0; k < r->n_intakes; k++)
		named |= r->intake[k].column == j && r->intake[k].pseudonym;
	if (named && r->cells.key && c->length) {
		pd_pseudonym(r->cells.key, c->text, c->length, pseudonym);
		pd_buf_add(out, pseudonym);
	} else {
		add_line_ends(out, r->text.data + rec->offset + c->at, c->raw);
	}
}

pd_status pd_reader_keepable(pd_reader *r, pd_buf *out, pd_error *err)
{
	pd_csv *csv = NULL;
	pd_csv_record rec;
	pd_status st;
	size_t done = 0;
	bool hidden = false;

	for (size_t j = 0; j < r->width; j++)
		hidden |= r->hide[j];
	if (r->dead || !hidden) {
		pd_buf_add_n(out, r->text.data, r->text.size);
		return pd_buf_ok(out) ? PD_OK : pd_fail(err, PD_NO_MEMORY,
		                                        "out of memory");
	}
	st = pd_csv_new(r->text.data, r->text.size, r->map->delimiter, NULL,
	                &csv, err);
	while (st == PD_OK && pd_csv_next(csv, &rec, &st, err)) {
		const char *s = r->text.data;

		if (rec.offset == r->header_offset)
			continue;
		for (size_t j = 0; !rec.bad && j < rec.n; j++) {
			size_t at = rec.offset + rec.cell[j].at;

			/* cells beyond the header are nobody's: left out */
			if (j < r->width && !r->hide[j])
				continue;
			pd_buf_add_n(out, s + done, at - done);
			if (j < r->width)
				add_hidden(r, &rec, j, out);
			done = at + rec.cell[j].raw;
		}
		if (rec.bad) { /* nobody knows where its cells end */
			pd_buf_add_n(out, s + done, rec.offset - done);
			done = rec.offset + rec.length;
		}
	}
	if (st == PD_OK) {
		pd_buf_add_n(out, r->text.data + done, r->text.size - done);
		if (!pd_buf_ok(out))
			st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	pd_csv_free(csv);
	return st;
}
