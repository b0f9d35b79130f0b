/*
 * answer_one.h - one question, from the store to an answer without verdict.
 */
#ifndef PERDRAW_PLAN_ANSWER_ONE_H
#define PERDRAW_PLAN_ANSWER_ONE_H

#include "base/answer.h"
#include "data/store.h"
#include "plan/plan.h"

/* Words and results into `arena`; what the data cannot answer becomes
 * answer->refusal. Verdicts need the other answers: pd_verdict_settle. */
pd_status pd_answer_one(pd_store *store, const pd_plan *plan,
                        const pd_question *q, pd_arena *arena,
                        pd_answer *out, pd_error *err);

#endif
