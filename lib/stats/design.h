/*
 * design.h - a frame's columns into a model matrix, with names.
 * Intercept first. Numbers enter centred at their mean (so the intercept is
 * the centre of the data), factors as indicators against their first level.
 * A column that carries no information beside the others (constant, or a sum
 * of earlier columns) is named and left out, never fitted in silence. Order
 * decides: an effect placed after its adjusters is the one dropped when the
 * data cannot tell them apart.
 */
#ifndef PERDRAW_STATS_DESIGN_H
#define PERDRAW_STATS_DESIGN_H

#include "base/arena.h"
#include "base/frame.h"

/* What is done to a number before it enters; ignored for factors. */
typedef enum pd_transform {
	PD_CENTRED,     /* (x - mean) / step                                  */
	PD_LOG_CENTRED, /* (ln x - mean ln x) / step, x > 0; step ln 2: per
	                   doubling                                           */
	PD_AS_IS,       /* x / step                                           */
	PD_LOG          /* ln x / step                                        */
} pd_transform;

/* A term zeroed but for `column` is: centred, per unit, first level. */
typedef struct pd_term {
	const char *column;
	pd_transform transform;
	double step;           /* 0: 1; else finite and above 0              */
	const char *reference; /* factor level the others are held against;
	                          NULL: the first that occurs                 */
	const char *label;     /* word in names; NULL: the column's name     */
} pd_term;

typedef struct pd_design {
	size_t n, p;          /* rows, columns                                 */
	double *x;            /* n * p, row-major                              */
	const char **name;    /* p words: "intercept", "age_y", "operator B"   */
	size_t n_dropped;     /* columns left out, and why                     */
	const char **dropped; /* "operator C: a sum of the columns before it"  */
	size_t n_terms;
	size_t *first, *count; /* columns of term t: first[t] .. + count[t] - 1;
	                          count 0 when all of it was dropped           */
	size_t **column;      /* column[t][code]: that level's column;
	                         PD_NO_COLUMN for the reference, a level that
	                         does not occur, or a dropped one. Numbers:
	                         column[t][0]                                  */
	double *centre;       /* centre[t]: what was taken off term t (on the
	                         log scale after PD_LOG_CENTRED); 0 otherwise  */
} pd_design;

/*
 * The matrix of terms[n_terms]; everything in *out lives in the arena. A
 * column is dropped when the part of it that is not a sum of the columns kept
 * before it is below 1e-10 of its length. Missing values are the caller's to
 * leave out. PD_DATA: no such column or level, missing or (for logs) not
 * positive value, with the row; PD_NO_MEMORY.
 */
pd_status pd_design_build(pd_arena *arena, const pd_frame *frame,
                          const pd_term *terms, size_t n_terms,
                          pd_design *out, pd_error *err);

/*
 * x[n] into the mean of its group (between) and the deviation from it
 * (within), group codes 0 .. n_groups - 1. Outputs may not overlap x.
 * PD_DATA: code out of range or x not finite; PD_NUMERIC: differences out of
 * the range of doubles.
 */
pd_status pd_split_within(const double *x, const int32_t *group, size_t n,
                          size_t n_groups, double *within, double *between,
                          pd_error *err);

/* keep[i] = 1 where none of the named columns is missing in row i, else 0;
 * *n_kept rows. PD_DATA: no such column. */
pd_status pd_frame_complete(const pd_frame *frame, const char *const *names,
                            size_t n_names, unsigned char *keep,
                            size_t *n_kept, pd_error *err);

#endif
