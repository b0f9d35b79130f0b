/*
 * reader_parts.h - the inside of a reader, shared by the files that make it:
 * reader.c (rows), header.c (columns), place.c (places and what may be kept).
 */
#ifndef PERDRAW_DATA_READER_PARTS_H
#define PERDRAW_DATA_READER_PARTS_H

#include "data/cell.h"
#include "data/csv.h"
#include "data/reader.h"
#include "data/text.h"

/* Where a batch's first record stood, to find later ones from. */
typedef struct pd_checkpoint {
	size_t offset;
	uint32_t line;
} pd_checkpoint;

struct pd_reader {
	const pd_map *map;
	pd_findings *findings;
	pd_text text;
	pd_csv *csv;
	pd_arena *arena;
	bool dead;               /* no usable header: there are no rows        */
	bool ended;              /* the last record was read                   */
	/* the header */
	size_t width;
	const char **header;     /* width names, NUL-ended                     */
	uint32_t header_line;
	size_t header_offset;
	bool *hide;              /* width: ignored or pseudonymised            */
	pd_intake *intake;       /* fields fed by columns, VALUE last          */
	size_t n_intakes;
	pd_intake *of[PD_N_FIELDS];
	pd_cell_rules cells;
	/* the batch being filled */
	pd_batch batch;
	size_t *offset;          /* of each row's record                       */
	bool *bad;
	size_t n_rows;           /* records so far                             */
	size_t n_empty;
	uint32_t empty_line;
	pd_checkpoint *checkpoint;
	size_t n_checkpoints, checkpoint_room;
	/* unit of long rows: the last one looked up */
	char unit_text[64];
	int8_t unit_outcome;
	bool unit_known;
	pd_unit unit;
	pd_field unit_field;
	pd_status st;            /* first failure of memory                    */
};

/* Read the header record and make the intakes; findings for what is wrong. */
pd_status pd_reader_header(pd_reader *r, pd_error *err);
/* A finding at a cell of a record; expected NULL: the rule's own words. */
void pd_reader_tell(pd_reader *r, pd_rule rule, size_t offset, uint32_t line,
                    size_t column, const char *expected);
/* A finding in free words at a place. */
void pd_reader_say(pd_reader *r, pd_rule rule, uint32_t line, uint32_t column,
                   const char *found, const char *expected);
/* A record of the wrong width. */
void pd_reader_ragged(pd_reader *r, const pd_csv_record *rec);
/* What only the end of the file shows. */
void pd_reader_finish(pd_reader *r);

#endif
