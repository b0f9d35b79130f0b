/*
 * sense.h - the same effect another way: does the answer lean on a choice?
 * Each line refits or retests the first effect with one thing changed.
 */
#ifndef PERDRAW_PLAN_SENSE_H
#define PERDRAW_PLAN_SENSE_H

#include "plan/fit.h"
#include "plan/method.h"
#include "plan/pairs.h"

/* Fills answer->sensitivity. pairs: NULL unless the answer is paired,
 * fit: the answer's own, NULL where it is. */
pd_status pd_sense(const pd_plan *plan, const pd_question *q,
                   const pd_rows *rows, const pd_method *method,
                   const pd_pairs *pairs, pd_fit *fit, pd_arena *arena,
                   pd_arena *scratch, pd_answer *answer, pd_error *err);

#endif
