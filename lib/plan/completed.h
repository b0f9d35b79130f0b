/*
 * completed.h - results known between limits only, completed by a model, for
 * tables and figures that describe and do not test.
 */
#ifndef PERDRAW_PLAN_COMPLETED_H
#define PERDRAW_PLAN_COMPLETED_H

#include "plan/fit.h"

/*
 * y[rows->n]: the outcome on the working scale; where limits differ, the first
 * set drawn by a light fit of the question (adjust: with its adjusters).
 * *told: false where no model could, and then there is no mean to show. Words
 * and arrays go into `scratch`.
 */
pd_status pd_completed(const pd_plan *plan, const pd_question *q,
                       const pd_rows *rows, bool adjust, pd_arena *scratch,
                       double *y, bool *told, pd_error *err);

#endif
