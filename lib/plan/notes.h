/*
 * notes.h - what a reader must know about the rows of a question: results
 * left out, conditions that nothing meets, dilution that is not known.
 */
#ifndef PERDRAW_PLAN_NOTES_H
#define PERDRAW_PLAN_NOTES_H

#include "data/query.h"
#include "plan/rows.h"

/* All: words into `arena`, NULL left where there is nothing to say. PD_OK, or
 * PD_NO_MEMORY. */

/* out->pool_note and ->incomplete_note: pools, units not covered once. */
pd_status pd_note_left_out(const pd_question *q, const pd_query_flow *flow,
                           pd_arena *arena, pd_rows *out, pd_error *err);
/* out->empty_note: what the question names and no row of the frame holds:
 * outcome, parameter, conditions, adjusters. */
pd_status pd_note_empty(const pd_question *q, const pd_frame *frame,
                        pd_arena *arena, pd_rows *out, pd_error *err);
/* Why no row is left, from the notes of `rows`; NULL when memory runs out. */
const char *pd_note_no_rows(const pd_rows *rows, pd_arena *arena);
/* out->where_note: words of `where ... is` that no record of the frame has;
 * mostly a slip of the pen that would leave records out unseen. */
pd_status pd_note_where(const pd_question *q, const pd_frame *frame,
                        pd_arena *arena, pd_rows *out, pd_error *err);
/*
 * out->dilution_note: results judged per mL of undiluted marrow, or by yield,
 * whose anticoagulant volume is not recorded. ->dilution_caution: their share
 * differs by more than a tenth between two levels. After out->arm is laid;
 * keep[rows of frame].
 */
pd_status pd_note_dilution(const pd_question *q, const pd_frame *frame,
                           const unsigned char *keep, pd_arena *arena,
                           pd_rows *out, pd_error *err);

/*
 * Of outcome blood_share, out->share_note: how many results of the kept rows
 * could not be computed and for want of what (before those rows are dropped);
 * then, of the rows laid out, how the share lies at each level.
 */
pd_status pd_note_lacking(const pd_question *q, const pd_frame *frame,
                          const unsigned char *keep, pd_arena *arena,
                          pd_rows *out, pd_error *err);
pd_status pd_note_blood(const pd_question *q, pd_arena *arena,
                        pd_arena *scratch, pd_rows *out, pd_error *err);

/*
 * How a method ended: PD_REFUSED becomes words in *refusal (copied from
 * `inner`) and PD_OK; another failure goes on into *err. *refusal is NULL
 * where the method answered.
 */
pd_status pd_note_refusal(pd_status st, const pd_error *inner, pd_arena *arena,
                          const char **refusal, pd_error *err);

#endif
