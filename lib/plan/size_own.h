/*
 * size_own.h - what measuring the spread and sizing share.
 *
 *   size_spread.c  how the clinic's own draws scatter
 *   size.c         trials of that spread
 */
#ifndef PERDRAW_PLAN_SIZE_OWN_H
#define PERDRAW_PLAN_SIZE_OWN_H

#include "plan/rows.h"
#include "plan/size.h"

/*
 * SDs of the fit's n levels, outermost first, of which both arms of a pair
 * share the first `shared`; rest: within; own: variance of patients' true
 * differences about their mean.
 */
struct pd_size_spread {
	double sd[PD_ROWS_DEPTH], rest, own;
	size_t n, shared;
	bool paired;
};

/*
 * SD of a patient's difference (or, unpaired, result) with m pulls in each
 * arm: with v = sum of the squared SDs of the levels not shared + rest^2 / m,
 *   sqrt(2 v + own)   paired,   sqrt(v)   unpaired (shared 0).
 */
double pd_size_spread(const struct pd_size_spread *s, size_t m);

/* Rows, model and patients' differences of a question: fills *out and the
 * spread's part of the answer, or its refusal. */
pd_status pd_size_measure(pd_store *store, const pd_plan *plan,
                          const pd_question *q, size_t pulls, pd_arena *arena,
                          pd_arena *scratch, struct pd_size_spread *out,
                          pd_size_answer *answer, pd_error *err);

static inline pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory sizing");
}

static inline pd_status pd_size_refuse(pd_size_answer *a, const char *words,
                                       pd_error *err)
{
	a->refusal = words;
	return words ? PD_OK : no_memory(err);
}

#endif
