/*
 * rows.h - the rows one question is judged on, as plain arrays.
 * From the frame of the question's grain the rows are chosen step by step
 * (recorded, with a result, meeting the conditions, at a compared level, with
 * adjusters known) and every step is counted at every level of the tree.
 */
#ifndef PERDRAW_PLAN_ROWS_H
#define PERDRAW_PLAN_ROWS_H

#include "base/frame.h"
#include "data/store.h"
#include "plan/plan.h"

enum { PD_ROWS_DEPTH = 5, PD_ROWS_STEPS = 9 };

/* What stood in the result cell; the order of pd_rows_state_words. */
typedef enum pd_row_state {
	PD_ROW_MEASURED, PD_ROW_ZERO, PD_ROW_BELOW, PD_ROW_ABOVE,
	PD_ROW_UNCOUNTABLE
} pd_row_state;

typedef struct pd_rows {
	size_t n;
	/* The outcome lies in [low, high] on the working scale (log for a
	 * ratio); equal where measured. state: pd_row_state. */
	double *low, *high;
	uint8_t *state;
	size_t n_censored;
	/* Of colonies: the count each value rests on and the log of what one
	 * colony is worth in it; NULL for other outcomes, NaN where a value
	 * rests on no count. */
	double *counted, *log_worth;
	/* Levels: arm 0 is `first`, 1 `second`, or each level. Slope: x on the
	 * working axis (per step, or log2 for a doubling), raw as recorded. */
	int32_t *arm;
	size_t n_arms;
	const char **arm_name;
	size_t *arm_failed;      /* failed cultures beside each arm's rows     */
	double *x, *raw;
	/* The tree, outermost first; codes dense, in order of rows. Its leaf at
	 * aliquot grain is the pull, which several method versions may have
	 * counted: a row each. */
	size_t depth;
	const char *level_name[PD_ROWS_DEPTH];
	int32_t *group[PD_ROWS_DEPTH];
	size_t n_groups[PD_ROWS_DEPTH];
	/* The case of each row, also where it is no level of the fit. */
	int32_t *case_code;
	/* Adjusters and what the sensitivity set needs, n rows. */
	pd_frame *model;
	size_t n_flow;
	pd_flow flow[PD_ROWS_STEPS];
	const char *zero_note;   /* measured zeros without a limit, or NULL    */
	const char *floor_note;  /* results astride the floor, or NULL         */
	const char *pool_note, *incomplete_note; /* results left out, or NULL */
	const char *empty_note;  /* columns asked for with no value, or NULL  */
	const char *where_note;  /* a word of `where` no record has, or NULL  */
	const char *share_note[6]; /* of a share of blood: what is lacking,
	                              how it lies at each level                */
	size_t n_share_notes;
	const char *dilution_note, *dilution_caution; /* anticoagulant volumes
	                            not recorded; and more so at one level    */
} pd_rows;

/* Words go into `arena`, arrays into `scratch`; pd_rows_clear frees the
 * model frame. */
pd_status pd_rows_take(pd_store *store, const pd_question *question,
                       pd_arena *arena, pd_arena *scratch, pd_rows *out,
                       pd_error *err);
/* The same; the model frame also says where each row comes from: its patient,
 * case, site (not at case grain) and, at aliquot grain, aliquot_no. */
pd_status pd_rows_take_named(pd_store *store, const pd_question *question,
                             pd_arena *arena, pd_arena *scratch, pd_rows *out,
                             pd_error *err);
void pd_rows_clear(pd_rows *rows);

/* A share of adverse events: units whose field is blank stay among the rows
 * (low and high NaN), adjusters that are not recorded too; answer with
 * events.h alone. */
int pd_rows_of_events(const pd_question *q);
/* Is x the number that a plan's word says? */
int pd_rows_equal(double x, const char *word);
/* Index of a level of the tree by name, PD_ROWS_DEPTH when not there. */
size_t pd_rows_level(const pd_rows *rows, const char *name);
/* Name in rows->model of an adjuster: "age_y", or "log volume_ml". */
const char *pd_rows_adjuster(pd_arena *arena, const pd_question *q, size_t i);
/* Dense codes 0.. in order of first appearance; out[n]; returns how many,
 * (size_t)-1 when memory runs out. */
size_t pd_rows_dense(const int32_t *code, size_t n, int32_t *out);
/* A code for each pull among the kept rows of an aliquot frame (columns site
 * and aliquot_no; rows of a pull together); 0 without those columns. */
int pd_rows_pulls(const pd_frame *frame, const unsigned char *keep,
                  int32_t *out);

#endif
