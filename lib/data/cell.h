/*
 * cell.h - one cell's text into one typed value. An intake is the way from a
 * column of the file into a field: unit, dictionary, pseudonym, and a memory
 * of the last cell, for neighbours in a file are often equal.
 */
#ifndef PERDRAW_DATA_CELL_H
#define PERDRAW_DATA_CELL_H

#include "data/map.h"
#include "data/rules.h"

typedef struct pd_value {
	double number;       /* NaN when blank or without a number            */
	const char *text;    /* NULL when blank                               */
	uint32_t length;
	uint8_t state;       /* pd_state; PD_BLANK when blank                 */
	int8_t code;         /* -1 when blank                                 */
} pd_value;

enum { PD_WORD_SLOTS = 16, PD_WORD_LENGTH = 31, PD_LABEL_LENGTH = 200 };

typedef struct pd_word_slot {
	uint8_t length;
	int8_t code;
	char word[PD_WORD_LENGTH];
} pd_word_slot;

typedef struct pd_intake {
	uint32_t column;     /* in the file, from 0                            */
	pd_field field;
	pd_field_kind kind;
	pd_unit unit;
	const pd_map_value *values;
	bool pseudonym, needed;
	/* the last cell that raised nothing; NULL: none                       */
	const char *last;
	uint32_t last_length;
	pd_value last_value;
	pd_word_slot slot[PD_WORD_SLOTS];
	/* all-digit labels: widest with leading zeros; narrower ones by width */
	uint8_t zero_width;
	uint32_t narrow[21], narrow_line[21];
	size_t narrow_offset[21];
} pd_intake;

/* Room for labels that live until the next batch. */
typedef struct pd_labels {
	char **chunk;
	size_t n, room, now, used;
} pd_labels;
void pd_labels_reset(pd_labels *l);
void pd_labels_clear(pd_labels *l);

typedef struct pd_cell_rules {
	const pd_map *map;
	const unsigned char *key;
	pd_labels labels;
	bool missing_first[256]; /* first bytes of the map's missing codes     */
	bool nd_told;
	bool no_memory;
	char expected[512];      /* words for the last rule, "" for its default */
} pd_cell_rules;

/*
 * Read a trimmed cell. PD_RULE_NONE, or the rule that it breaks: with an
 * error level the value is blank, else it stands. No memory: c->no_memory.
 */
pd_rule pd_cell_read(pd_cell_rules *c, pd_intake *in, const char *s,
                     uint32_t n, pd_value *out);
/* true when the rule's finding must not repeat the cell's text. */
bool pd_rule_is_private(pd_rule rule);

#endif
