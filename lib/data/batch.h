/*
 * batch.h - some thousand typed rows of a file, the unit that passes from the
 * reader (csv, map, rules: what the file says) to the loader (what is stored).
 * One column a field; a column the file does not have is NULL.
 */
#ifndef PERDRAW_DATA_BATCH_H
#define PERDRAW_DATA_BATCH_H

#include "data/vocab.h"
#include <stdint.h>

enum { PD_BATCH_ROWS = 4096 };

typedef struct pd_cells {
	double *number;      /* WHOLE, NUMBER, DATE (days), RESULT; NaN blank  */
	uint8_t *state;      /* RESULT: pd_state                               */
	const char **text;   /* TEXT, POOL: NUL-ended, NULL blank; until the
	                        next batch                                     */
	uint32_t *length;    /* TEXT, POOL: bytes of text                      */
	int8_t *code;        /* WORD: code in pd_vocab_words, -1 blank         */
} pd_cells;

typedef struct pd_batch {
	size_t n_rows;
	uint32_t *line;      /* physical line each record starts on, from 1    */
	pd_cells cell[PD_N_FIELDS];
	/* Ordinal of the field's column in the file, from 1; 0: not there or
	 * a constant of the map. For a finding: pd_reader_place (reader.h).   */
	uint32_t column[PD_N_FIELDS];
} pd_batch;

#endif
