/*
 * events_adjust.h - a share of events with other columns held equal, where
 * there are events enough.
 */
#ifndef PERDRAW_PLAN_EVENTS_ADJUST_H
#define PERDRAW_PLAN_EVENTS_ADJUST_H

#include "plan/rows.h"

/*
 * Logistic regression of the event on intercept, adjusters and the level of
 * the rows marked in first[rows->n] that are recorded and have every adjuster:
 *   difference = mean_i e_i(first level) - mean_i e_i(second level),
 * variance by the delta method from the coefficients' covariance (the
 * patients' own scatter is not in it), normal limits. *used and e->adjusted
 * are set where min(events, non-events) >= 10 (p - 1) and the model can be
 * fitted; else e->not_adjusted says why not.
 */
pd_status pd_events_adjust(const pd_plan *plan, const pd_question *q,
                           const pd_rows *rows, const unsigned char *first,
                           pd_arena *arena, pd_arena *scratch, pd_events *e,
                           pd_estimate *used, pd_error *err);
/* "age, sex"; NULL when memory runs out. */
const char *pd_events_adjusters(const pd_question *q, pd_arena *arena);

#endif
