/*
 * paper_own.h - between the files of the room of manuscripts.
 *
 *   paper.c         the reading, what the plan said, where numbers come from
 *   paper_units.c   which records each arm counts
 *   paper_table.c   their characteristics
 */
#ifndef PERDRAW_PLAN_PAPER_OWN_H
#define PERDRAW_PLAN_PAPER_OWN_H

#include "base/paper.h"
#include "plan/rows.h"

/* The units of every level in every arm, then of all arms together. */
struct paper_units {
	pd_frame *draws;         /* every pull recorded, in order of keys     */
	pd_rows rows;            /* of the question                           */
	size_t n_arms;
	/* First row of each unit: of `draws`, at PD_PAPER_RESULT of `rows`. */
	uint32_t *at[PD_PAPER_LEVELS][PD_PAPER_ARMS + 1];
	size_t n[PD_PAPER_LEVELS][PD_PAPER_ARMS + 1];
};

/* The question's rows by arm; pairs_only: those of units with both arms. Of
 * adverse events those that stand for their patient. Names
 * of arms and why there are none go into *t. */
pd_status pd_paper_units(pd_store *s, const pd_question *q, bool pairs_only,
                         pd_arena *arena, pd_arena *scratch,
                         struct paper_units *u, pd_paper_table *t,
                         pd_error *err);
void pd_paper_units_clear(struct paper_units *u);

/* Columns of `draws` beside its keys; ends with NULL. */
extern const char *const pd_paper_columns[];

pd_status pd_paper_table_make(pd_store *s, const pd_question *q,
                              const pd_answer *a, pd_arena *arena,
                              pd_paper_table *t, pd_error *err);

#endif
