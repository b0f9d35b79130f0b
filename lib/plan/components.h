/*
 * components.h - where the spread of an answer comes from: the standard
 * deviation of each level of its tree and how much two results that share it
 * are alike (intraclass correlation), both with limits where there are any.
 * Fills component_* of the answer; naming spreads of 0 is diagnose.c's.
 */
#ifndef PERDRAW_PLAN_COMPONENTS_H
#define PERDRAW_PLAN_COMPONENTS_H

#include "plan/fit.h"
#include "plan/pairs.h"

/* Of a mixed model: profile limits of the restricted likelihood, none where
 * results are known between limits (one completed set knows too much); those
 * of a correlation neither for a share that reaches a floor. */
pd_status pd_components_fit(const pd_rows *rows, pd_fit *fit,
                            pd_arena *arena, pd_answer *answer,
                            pd_error *err);
/*
 * Of pairs, a patient once by the means of its two arms, the arms' difference
 * taken off: stats/icc.h, consistent; limits of the correlation by the F law.
 * *agreement is the sentence on the same two as repeats of one number (one
 * way), NULL where pairs cannot tell.
 */
pd_status pd_components_pairs(const pd_pairs *pairs, pd_arena *arena,
                              pd_answer *answer, const char **agreement,
                              pd_error *err);

#endif
