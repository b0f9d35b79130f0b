/*
 * describe.h - the data behind an answer: level table and figure points.
 */
#ifndef PERDRAW_PLAN_DESCRIBE_H
#define PERDRAW_PLAN_DESCRIBE_H

#include "plan/fit.h"
#include "plan/pairs.h"

/*
 * Fills answer->levels and ->points. y[rows->n]: the outcome on the working
 * scale with limits completed by the fit. fit: NULL for paired answers;
 * pairs: NULL otherwise. Patients are the units of each level's interval:
 * t interval of the patients' means (pd_paired_mean).
 */
pd_status pd_describe(const pd_question *q, const pd_rows *rows,
                      const double *y, pd_fit *fit, const pd_pairs *pairs,
                      double level, pd_arena *arena, pd_arena *scratch,
                      pd_answer *answer, pd_error *err);

#endif
