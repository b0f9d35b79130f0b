/*
 * depletion.h - pulls and holes side by side, as drawn: no adjustment, but
 * each later pull also held against the first of the same side.
 */
#ifndef PERDRAW_PLAN_DEPLETION_H
#define PERDRAW_PLAN_DEPLETION_H

#include "base/depletion.h"
#include "data/store.h"
#include "plan/plan.h"
#include "plan/rows.h"

/* Does the question compare, or follow, pulls of a hole or holes of a side? */
bool pd_depletion_asked(const pd_question *q);

/*
 * One depletion for each outcome (PD_DEPLETIONS at the most) that questions
 * [n] ask about by pull or hole, in their order, judged as a concentration (a
 * percentage as itself), from the draws of the first such question: its
 * conditions without those on pull, hole or move. A hole counts until its
 * needle is moved. Cell by cell (s hole, k pull, i patient):
 *   m_isk = mean over i's results there of the working-scale y; centre and
 *     interval by pd_paired_mean of m_isk over i
 *   r_isk = mean over i's sides with both of (mean y there - mean y at pull 1
 *     of hole 1 of that side); interval likewise
 * Results between limits come from pd_completed. An outcome that no model can
 * complete, or without a result, has no depletion. Into out->depletion.
 */
pd_status pd_depletion_find(pd_store *store, const pd_plan *plan,
                            const pd_question *question, size_t n,
                            pd_arena *arena, pd_review *out, pd_error *err);

/* One outcome's cells from rows: hole[rows->n] and pull[rows->n] numbered from
 * 1, y[rows->n] on the working scale. The caller has set scale and level. */
pd_status pd_depletion_cells(const pd_rows *rows, const double *y,
                             const double *hole, const double *pull,
                             pd_arena *arena, pd_arena *scratch,
                             pd_depletion *out, pd_error *err);

#endif
