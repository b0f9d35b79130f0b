/*
 * run.h - questions asked of a store: frame, design, fit, answer.
 */
#ifndef PERDRAW_PLAN_RUN_H
#define PERDRAW_PLAN_RUN_H

#include "base/answer.h"
#include "data/store.h"
#include "plan/plan.h"

typedef struct pd_run_options {
	const char *date;        /* ISO date of the reading                    */
	bool write_ledger;       /* store plan and looks                       */
	/* progress: called before each question; may be NULL                  */
	void (*progress)(void *user, size_t done, size_t of, const char *name);
	void *user;
} pd_run_options;

/* A review without questions: plan, clinic, sources, cautions. PD_DATA for a
 * store without a case. */
pd_status pd_run_context(pd_store *s, const pd_plan *plan,
                         const pd_run_options *options, pd_arena *arena,
                         pd_review *out, pd_error *err);
/* All questions; everything in `arena`. A question that cannot be answered
 * is an answer with `refusal`, not a failure. */
pd_status pd_run_review(pd_store *s, const pd_plan *plan,
                        const pd_run_options *options, pd_arena *arena,
                        pd_review *out, pd_error *err);
/* One question; the review's context with one answer. */
pd_status pd_run_question(pd_store *s, const pd_plan *plan,
                          const pd_question *question,
                          const pd_run_options *options, pd_arena *arena,
                          pd_review *out, pd_error *err);

#endif
