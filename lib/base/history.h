/*
 * history.h - what was done to a store, in order, with its audit chain
 * recomputed: data fills it, report words it. Strings and arrays belong to the
 * arena it was made in. Nothing here is about a patient.
 */
#ifndef PERDRAW_BASE_HISTORY_H
#define PERDRAW_BASE_HISTORY_H

#include <stdbool.h>
#include <stddef.h>

typedef struct pd_history_row {
	long long seq;          /* number in the chain                        */
	long long uid;          /* system user's number; below 0: left out    */
	const char *at;         /* date, or moment in UTC                     */
	const char *what;       /* create, load, plan, look, release ...      */
	const char *subject;    /* file, plan or question, NULL: none known   */
	const char *words;      /* what came of it                            */
	const char *hash;       /* as stored                                  */
	const char *broken;     /* NULL, or what differs                      */
	bool shown;             /* passes the filter                          */
} pd_history_row;

typedef struct pd_history {
	const char *version;    /* of the program                             */
	const char *head;       /* hash of the newest row                     */
	const char *data_state; /* hash of the newest row that changed data   */
	const char *since, *only; /* the filter, NULL: all                    */
	size_t n_rows, n_shown, n_broken;
	pd_history_row *row;
	/* what the tables hold that the chain does not, or the other way     */
	size_t n_gaps;
	const char **gap;
	const char *printed;    /* hash looked for, NULL: none                */
	long long printed_row;  /* the row that has it, 0: none               */
} pd_history;

#endif
