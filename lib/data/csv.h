/*
 * csv.h - records of a delimited file, with places.
 * RFC 4180 with a chosen delimiter and any line end (LF, CRLF, CR). Blanks
 * and tabs around cells are left out unless quoted. What is wrong becomes a
 * finding and the record is marked bad; the next one is read all the same.
 */
#ifndef PERDRAW_DATA_CSV_H
#define PERDRAW_DATA_CSV_H

#include "data/finding.h"
#include <stdbool.h>
#include <stddef.h>

enum {
	PD_CSV_CELL = 64 * 1024,     /* longest cell, bytes                    */
	PD_CSV_RECORD = 1024 * 1024, /* longest record, bytes                  */
	PD_CSV_COLUMNS = 10000
};

typedef struct pd_csv_cell {
	const char *text;  /* without quotes and outer blanks, not NUL-ended   */
	uint32_t length;
	uint32_t at, raw;  /* as written: offset in the record and length      */
} pd_csv_cell;

typedef struct pd_csv_record {
	size_t n;
	const pd_csv_cell *cell; /* n, until the next call                     */
	size_t offset, length;   /* in the file's text, without the line end   */
	uint32_t line;           /* physical line of its first byte, from 1    */
	bool bad;                /* cannot be used; findings were made         */
	bool quoted;             /* holds a quote: cell texts are copies       */
} pd_csv_record;

typedef struct pd_csv pd_csv;

/* text[size] is borrowed and must be free of a byte order mark. `findings`
 * may be NULL: then nothing is told. */
pd_status pd_csv_new(const char *text, size_t size, char delimiter,
                     pd_findings *findings, pd_csv **out, pd_error *err);
void pd_csv_free(pd_csv *c);
/* false at the end; *st tells failures of memory. Blank lines are skipped. */
bool pd_csv_next(pd_csv *c, pd_csv_record *out, pd_status *st, pd_error *err);
/* Tell blank lines and mixed line ends, once, after the last record. */
pd_status pd_csv_finish(pd_csv *c);

/*
 * Place of a cell of the record at `offset` that starts on `line`: physical
 * line and column in characters, of its first character (the quote, if
 * quoted). Past the last cell: the end of the record.
 */
void pd_csv_place(const pd_csv *c, size_t offset, uint32_t line, size_t cell,
                  uint32_t *at_line, uint32_t *at_column);
/* Text of that cell as written, borrowed from the file. */
const char *pd_csv_raw(const pd_csv *c, size_t offset, size_t cell,
                       size_t *length);
/* Offset of the record that starts on `line`, looking forward from a known
 * record start at (offset, from); size of the text when there is none. */
size_t pd_csv_seek(const pd_csv *c, size_t offset, uint32_t from,
                   uint32_t line);

/* Through the library alone, for the test that both ways agree: always the
 * quoted path, whatever the record holds. */
void pd_csv_force_library(pd_csv *c, bool on);

#endif
