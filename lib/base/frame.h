/*
 * frame.h - typed columns: the only thing that passes from data to stats.
 * A real column holds doubles, NaN where missing. A factor column holds a
 * code per row, -1 where missing, and the words the codes stand for, in the
 * order the first row met them unless sorted. All memory is the frame's.
 */
#ifndef PERDRAW_BASE_FRAME_H
#define PERDRAW_BASE_FRAME_H

#include "base/status.h"
#include <stdint.h>

typedef enum pd_kind { PD_REAL, PD_FACTOR } pd_kind;

typedef struct pd_column {
	const char *name;
	pd_kind kind;
	double *real;       /* PD_REAL: one a row, NaN where missing         */
	int32_t *code;      /* PD_FACTOR: 0 .. n_levels-1, -1 where missing  */
	const char **level; /* PD_FACTOR: n_levels words                     */
	size_t n_levels;
} pd_column;

typedef struct pd_frame pd_frame;

#define PD_NO_COLUMN ((size_t)-1)

/* NULL when memory runs out. */
pd_frame *pd_frame_new(size_t n_rows);
void pd_frame_free(pd_frame *f); /* NULL is welcome */
size_t pd_frame_rows(const pd_frame *f);
size_t pd_frame_columns(const pd_frame *f);

/*
 * Add a column named `name` (copied); rows start missing. The pointer stays
 * good for the frame's life. NULL when memory runs out or the name is taken.
 */
pd_column *pd_frame_add_real(pd_frame *f, const char *name);
pd_column *pd_frame_add_factor(pd_frame *f, const char *name);
/* Code of `word` in a factor column, added as a new level when not there yet;
 * -1 when memory runs out. Constant time on average. */
int32_t pd_frame_level(pd_frame *f, pd_column *c, const char *word);

/* Position of a column, PD_NO_COLUMN when there is none of that name. */
size_t pd_frame_column(const pd_frame *f, const char *name);
/* Borrowed for the frame's life; NULL when `i` is past the last / no name. */
pd_column *pd_frame_at(const pd_frame *f, size_t i);
pd_column *pd_frame_find(const pd_frame *f, const char *name);

/* Sort a factor's levels in byte order of their words, codes renumbered. */
pd_status pd_column_sort_levels(pd_column *c, size_t n_rows);

/*
 * A new frame with the rows where keep[i] is non-zero, in order; factor
 * levels are kept as they are. The caller frees *out.
 */
pd_status pd_frame_select(const pd_frame *f, const unsigned char *keep,
                          pd_frame **out, pd_error *err);

#endif
