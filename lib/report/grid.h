/*
 * grid.h - a table of printed cells read back into numbers, for the forms
 * that carry numbers as numbers (CSV, .xlsx, JSON). Inside the report room.
 *
 * The numbers are those that are printed, digit for digit: no form can say
 * another than the text. A table's columns become typed columns: one that
 * holds numbers only stays one column of numbers; one that holds intervals,
 * bounds ("<.001") or words among its numbers keeps its text and gets columns
 * of numbers behind it.
 */
#ifndef PERDRAW_REPORT_GRID_H
#define PERDRAW_REPORT_GRID_H

#include "report/block.h"

/* How a cell reads. */
typedef enum pd_printed_kind {
	PD_PRINTED_MISSING, /* nothing                                       */
	PD_PRINTED_TEXT,    /* words                                         */
	PD_PRINTED_NUMBER,  /* "1.24", "12 105", ".03"                       */
	PD_PRINTED_SPAN,    /* "1.24 (1.05 to 1.46)", with or without level  */
	PD_PRINTED_RANGE,   /* "0.80 to 1.25"                                */
	PD_PRINTED_BELOW,   /* "<.001"                                       */
	PD_PRINTED_ABOVE    /* ">.99"                                        */
} pd_printed_kind;

/* The digits in ASCII ("-0.02", "12105", "0.03"), in the arena; NULL where
 * there is none (a limit that reads "no bound"). */
typedef struct pd_printed {
	pd_printed_kind kind;
	const char *value, *low, *high;
} pd_printed;

typedef enum pd_grid_part {
	PD_GRID_GROUP, /* the group a row stands in                          */
	PD_GRID_TEXT,  /* as printed                                        */
	PD_GRID_VALUE, /* the number, or the bound                           */
	PD_GRID_LOW,
	PD_GRID_HIGH,
	PD_GRID_BOUND  /* "below" or "above" where the value is a bound      */
} pd_grid_part;

typedef struct pd_grid_column {
	const char *name;  /* letters, digits and '_'; once in the grid       */
	const char *title; /* head, unit, part                                */
	pd_grid_part part;
	bool number;
	size_t from; /* column of the table                                   */
} pd_grid_column;

typedef struct pd_grid {
	const pd_table *table;
	size_t n_columns;
	pd_grid_column *column;
	const char ***cell; /* [row][column]; NULL: nothing. Not yet clean  */
	pd_printed **value; /* [row][table column]                       */
} pd_grid;

/*
 * How `text` reads as a whole; every other text is PD_PRINTED_TEXT. A whole
 * part with a zero before other digits ("007") is a name, not a number. false
 * when memory ran out.
 */
bool pd_printed_read(pd_arena *arena, const char *text, pd_printed *v);

/* Everything in the arena; NULL when memory ran out. */
const pd_grid *pd_grid_make(pd_arena *arena, const pd_table *t);

#endif
