/*
 * map.h - what a parsed map holds, for the rooms that read a file by it.
 * The file's format is in docs/map-file.md; parsing is declared in reader.h.
 */
#ifndef PERDRAW_DATA_MAP_H
#define PERDRAW_DATA_MAP_H

#include "base/arena.h"
#include "base/scan.h"
#include "data/reader.h"
#include "data/text.h"
#include "data/units.h"

enum { PD_MAP_TARGETS = 4 }; /* fields one column may feed */

/* One line of [columns]. */
typedef struct pd_map_column {
	const char *header;
	uint32_t line;
	size_t n_targets;         /* 0: `ignore`                             */
	pd_field field[PD_MAP_TARGETS];
	pd_unit unit[PD_MAP_TARGETS];
} pd_map_column;

/* One line of [values FIELD]: how a cell's text is to be read. */
typedef struct pd_map_value {
	const char *from;
	size_t length;
	bool blank;               /* `missing`                               */
	int8_t code;              /* WORD                                    */
	uint8_t state;            /* RESULT                                  */
	double number;            /* WHOLE, NUMBER                           */
	const char *text;         /* TEXT                                    */
	const struct pd_map_value *next;
} pd_map_value;

typedef struct pd_map_constant {
	bool set;
	int8_t code;
	double number;
	const char *text;
	uint32_t line;
} pd_map_constant;

struct pd_map {
	pd_arena *arena;
	const char *name;
	char delimiter, decimal;  /* ',' and '.' unless declared             */
	bool delimiter_set;
	pd_date_form dates;
	pd_encoding encoding;
	int kind;                 /* 0 any, 1 draws, 2 results, 3 both       */
	size_t n_missing;
	const char **missing;
	bool pseudonym[PD_N_FIELDS];
	size_t n_columns, column_room;
	pd_map_column *column;
	const pd_map_value *values[PD_N_FIELDS]; /* in order of the file     */
	pd_map_constant constant[PD_N_FIELDS];
};

/* The line for a header (letters folded), NULL when there is none. */
pd_map_column *pd_map_find(const pd_map *m, const char *header, size_t n);
/* NULL when the dictionary of the field does not have that text. */
const pd_map_value *pd_map_lookup(const pd_map_value *list, const char *s,
                                  size_t n);
/* The known header closest in spelling, for messages. */
const char *pd_nearest_header(const char *s, size_t n);
/* "year-month-day" into out; returns out. */
const char *pd_date_form_words(const pd_date_form *form, char out[40]);
/* A state's word in result cells and dictionaries ("TNTC", "failed" ...);
 * PD_MEASURED when the text is none of them. Synonyms are known. */
pd_state pd_state_by_word(const char *s, size_t n);

#endif
