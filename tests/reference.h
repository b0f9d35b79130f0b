/*
 * reference.h - the runner of outside checks and what its handlers share.
 *
 * The folder named by PERDRAW_REFERENCE holds checks.csv (one quantity with
 * its value, tolerance and source a row) and the data files the rows speak of.
 * A handler is offered every row; it computes the quantity or says that the
 * row is not its own. Rows nobody computes are counted as not run.
 */
#ifndef PERDRAW_TESTS_REFERENCE_H
#define PERDRAW_TESTS_REFERENCE_H

#include "base/frame.h"

/* A row of checks.csv. `tolerance` is relative, absolute where value is 0. */
struct check {
	const char *id, *method, *dataset, *spec, *quantity;
	double value, tolerance;
	const char *source, *kind;
};

/* 1: *got computed; 0: not mine / not built yet. */
typedef int reference_handler(const struct check *c, double *got);

reference_handler reference_small;  /* tests/reference_small.c  */
reference_handler reference_nested; /* tests/reference_nested.c */
reference_handler reference_blood;  /* tests/reference_blood.c  */
reference_handler reference_linear; /* tests/reference_linear.c  */
reference_handler reference_count;  /* tests/reference_count.c   */
reference_handler reference_power;  /* tests/reference_power.c   */
reference_handler reference_pool;   /* tests/reference_pool.c    */
reference_handler reference_profile; /* tests/reference_profile.c */

/*
 * A data file of the folder as a frame, read once and kept until the end:
 * columns in which every filled cell is a number are real, the others factors
 * (levels in byte order of their words); an empty cell or NA is missing. NULL
 * (after a message) when the file cannot be read. Never free it.
 */
const pd_frame *reference_data(const char *dataset);

/* A real column of a data file; NULL when there is none such. */
const double *reference_real(const char *dataset, const char *column,
                             size_t *n);

/*
 * A column as group codes 0 .. *n_groups - 1 in ascending order of its numbers
 * or words (for grouping columns stored as numbers). The caller frees it; NULL
 * when there is no such column or a cell is missing.
 */
int32_t *reference_codes(const char *dataset, const char *column, size_t *n,
                         size_t *n_groups);

/* A quantity's name and its value; NULL ends the list. */
struct named_value {
	const char *name;
	double value;
};
/* 1, and *got, when the check's quantity is in the list. */
int reference_pick(const struct check *c, const struct named_value *list,
                   double *got);

#endif
