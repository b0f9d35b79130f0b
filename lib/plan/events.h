/*
 * events.h - adverse events by technique: the share of patients with an event
 * at two levels, held against each other.
 *
 * A patient counts once, by the first unit (case, or site of the first case)
 * at a compared level whose field is filled, so that units are independent;
 * all recorded units are counted beside. Limits of each share by Clopper and
 * Pearson, of difference and ratio by stats/risk.h. Where adjusting is asked
 * and there are ten events and ten non-events a column (Peduzzi et al. 1996,
 * J. Clin. Epidemiol. 49, 1373-1379), the difference is that of logistic
 * chances averaged over these patients with each set to either level; else it
 * stays unadjusted and says so. What is not recorded stands apart, with the
 * difference if all of it had been events at one level and none at the other.
 */
#ifndef PERDRAW_PLAN_EVENTS_H
#define PERDRAW_PLAN_EVENTS_H

#include "plan/looks.h"
#include "plan/rows.h"

/* Everything of the answer but its head. rows: of a question for which
 * pd_rows_of_events holds. Words and results into `arena`. */
pd_status pd_events_answer(const pd_plan *plan, const pd_question *q,
                           const pd_rows *rows, pd_arena *arena,
                           pd_arena *scratch, pd_answer *answer,
                           pd_error *err);

/* keep[rows->n]: the rows that stand for their patient, and are recorded. */
pd_status pd_events_keep(const pd_question *q, const pd_rows *rows,
                         pd_arena *scratch, unsigned char *keep,
                         pd_error *err);

/* The price of the looks on an answer with ->events: its limits become those
 * at the level that the looks leave. */
pd_status pd_events_pay(const pd_looks *looks, pd_answer *answer,
                        pd_error *err);

/* answer->beside of every answer; q[review->n_answers]. */
pd_status pd_events_beside(const pd_question *q, pd_review *review,
                           pd_arena *arena, pd_error *err);

#endif
