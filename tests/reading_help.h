/*
 * reading_help.h - what the tests of the reader share: a generator of our own,
 * a whole file read at once, and files found beside the sources.
 */
#ifndef TESTS_READING_HELP_H
#define TESTS_READING_HELP_H

#include "base/buf.h"
#include "base/scan.h"
#include "data/map.h"
#include "data/privacy.h"
#include "data/reader.h"
#include "data/rules.h"
#include "data/units.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The columns every draws file needs, 46 bytes, and a row of them, 25. */
#define H "patient,case,case_date,side,site_no,aliquot_no"
#define K "P1,C1,2024-03-05,left,1,1"

static const unsigned char test_key[PD_KEY_BYTES] = {
	3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9, 3,
	2, 3, 8, 4, 6, 2, 6, 4, 3, 3, 8, 3, 2, 7, 9, 5,
};

static inline unsigned next_below(uint64_t *s, unsigned n)
{
	*s ^= *s << 13;
	*s ^= *s >> 7;
	*s ^= *s << 17;
	return (unsigned)(*s >> 33) % n;
}

static uint64_t state = 88172645463325252u;
static inline unsigned below(unsigned n)
{
	return next_below(&state, n);
}

/* Rounds of a property: without forks (valgrind) a sample of them. */
static inline int rounds(int n)
{
	const char *fork = getenv("CK_FORK");

	return fork && strcmp(fork, "no") == 0 ? n / 20 : n;
}

/* All of a batch as text: %a for numbers, so that equal means equal. */
static inline void dump_batch(const pd_batch *b, bool places, pd_buf *out)
{
	for (size_t i = 0; i < b->n_rows; i++) {
		if (places)
			pd_buf_print(out, "@%u", b->line[i]);
		for (int f = 0; f < PD_N_FIELDS; f++) {
			const pd_cells *c = &b->cell[f];

			if (c->text)
				pd_buf_print(out, " %d:'%s'%u", f,
				             c->text[i] ? c->text[i] : "-",
				             c->length[i]);
			if (c->code)
				pd_buf_print(out, " %d:#%d", f, c->code[i]);
			if (c->number)
				pd_buf_print(out, " %d:%a", f, c->number[i]);
			if (c->state)
				pd_buf_print(out, "/%d", c->state[i]);
		}
		pd_buf_char(out, '\n');
	}
}

/* Read a file; rows into `rows` and findings as line:column:code. */
static inline size_t read_all(const char *map, const char *csv, size_t size,
                       const unsigned char *key, pd_buf *rows, pd_buf *told,
                       pd_buf *kept)
{
	pd_map *m = NULL;
	pd_reader *r = NULL;
	pd_findings *f = pd_findings_new();
	const pd_batch *b = NULL;
	pd_error err = { 0 };
	size_t n = 0;

	ck_assert_msg(pd_map_parse(map, map ? strlen(map) : 0, "map", &m,
	                           &err) == PD_OK, "%s", err.text);
	ck_assert_int_eq(pd_reader_open(csv, size, m, key, f, &r, &err),
	                 PD_OK);
	do {
		ck_assert_msg(pd_reader_next(r, &b, &err) == PD_OK, "%s",
		              err.text);
		n += b->n_rows;
		if (rows)
			dump_batch(b, false, rows);
	} while (b->n_rows);
	ck_assert(pd_reader_rows(r) >= n);
	if (kept)
		ck_assert_int_eq(pd_reader_keepable(r, kept, &err), PD_OK);
	pd_findings_sort(f);
	for (size_t i = 0; told && i < pd_findings_stored(f); i++) {
		const pd_finding *x = pd_findings_at(f, i);

		pd_buf_print(told, "%s%u:%u:%s", i ? " " : "", x->line,
		             x->column, x->code);
		ck_assert(x->found[0] && x->expected[0]);
	}
	pd_reader_close(r);
	pd_findings_free(f);
	pd_map_free(m);
	return n;
}

/* A file below the source folder, NUL-ended; the caller frees it. */
static inline char *slurp(const char *name, size_t *size)
{
	const char *root = getenv("srcdir");
	char path[600];
	FILE *f;
	char *text;

	snprintf(path, sizeof path, "%s/%s", root ? root : ".", name);
	f = fopen(path, "rb");
	ck_assert_msg(f != NULL, "cannot open %s", path);
	fseek(f, 0, SEEK_END);
	*size = (size_t)ftell(f);
	rewind(f);
	text = malloc(*size + 1);
	ck_assert_uint_eq(fread(text, 1, *size, f), *size);
	text[*size] = '\0';
	fclose(f);
	return text;
}

#endif
