/*
 * diagnose.h - what the fit and the rows say about themselves, in words:
 * variance parts, outliers, spread by arm, curvature, limits, balance; and
 * the cautions that go with the kind of question.
 */
#ifndef PERDRAW_PLAN_DIAGNOSE_H
#define PERDRAW_PLAN_DIAGNOSE_H

#include "plan/fit.h"
#include "plan/method.h"
#include "plan/pairs.h"

/* fit or pairs is NULL. residual[rows->n] may be NULL for paired answers. */
pd_status pd_diagnose(const pd_plan *plan, const pd_question *q,
                      const pd_rows *rows, const pd_method *method,
                      pd_fit *fit, const pd_pairs *pairs,
                      const double *residual, pd_arena *arena,
                      pd_answer *answer, pd_error *err);
pd_status pd_cautions(const pd_question *q, const pd_rows *rows,
                      const pd_method *method, pd_arena *arena,
                      pd_answer *answer, pd_error *err);

#endif
