/*
 * trend.h - the last quarters side by side, as drawn: no adjustment.
 */
#ifndef PERDRAW_PLAN_TREND_H
#define PERDRAW_PLAN_TREND_H

#include "base/answer.h"
#include "data/store.h"
#include "plan/plan.h"

/* Geometric means of TNC and CFU-F concentration by calendar quarter of the
 * case, patients as units; the newest 12 quarters, oldest first. */
pd_status pd_trend_table(pd_store *store, const pd_plan *plan, pd_arena *arena,
                         pd_review *out, pd_error *err);

#endif
