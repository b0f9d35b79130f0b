/*
 * reader.h - a CSV file and its map in, typed batches and findings out.
 * The whole file lies in memory (the loader owns the bytes); the reader
 * walks it once. Row-level rules run here; rules that need other rows or the
 * clinic's history run in the loader.
 */
#ifndef PERDRAW_DATA_READER_H
#define PERDRAW_DATA_READER_H

#include "base/buf.h"
#include "base/status.h"
#include "data/batch.h"
#include "data/finding.h"

typedef struct pd_map pd_map; /* declared columns, units, dictionaries */

/* name: for messages. NULL text gives the canonical map (no declarations). */
pd_status pd_map_parse(const char *text, size_t size, const char *name,
                       pd_map **out, pd_error *err);
void pd_map_free(pd_map *m);

typedef struct pd_reader pd_reader;

/*
 * bytes[size] stay the caller's and must outlive the reader. `key` (32 bytes)
 * is the pseudonym key, NULL where the map does not ask for pseudonyms.
 * Fails only on lack of memory; what is wrong with the file are findings.
 */
pd_status pd_reader_open(const char *bytes, size_t size, const pd_map *map,
                         const unsigned char *key, pd_findings *findings,
                         pd_reader **out, pd_error *err);
/* *batch is the reader's, good until the next call; n_rows 0 at the end.
 * Rows with an error-level finding are not in the batch. */
pd_status pd_reader_next(pd_reader *r, const pd_batch **batch, pd_error *err);
/* Records read so far, without the header. */
size_t pd_reader_rows(const pd_reader *r);
void pd_reader_close(pd_reader *r); /* NULL is welcome */

/*
 * Where field f of the record that starts on `record_line` (a batch's line)
 * stands: physical line and column for a finding, columns counted in
 * characters from 1. Column 0 when the file has no such column. Good for all
 * records read so far; some microseconds a call.
 */
void pd_reader_place(pd_reader *r, uint32_t record_line, pd_field f,
                     uint32_t *line, uint32_t *column);
/*
 * What may be kept of the file: its records with the cells of ignored columns
 * emptied and pseudonymised cells replaced by their pseudonym, physical lines
 * in place, as UTF-8. Equal to the file's own bytes when nothing of that kind
 * is in it. Append to *out; only after the reader has reached the end.
 */
pd_status pd_reader_keepable(pd_reader *r, pd_buf *out, pd_error *err);
/* true when the map asks for pseudonyms, so that a key is needed. */
int pd_map_wants_key(const pd_map *m);

#endif
