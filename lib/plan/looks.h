/*
 * looks.h - what reading a primary question again and again costs.
 * Each new state of the data read is a look. Where the plan says how many looks
 * there will be, the error is spent evenly over them (Pocock-type, a ln(1 + (e
 * - 1) j / K) a side by look j of K; correlations from the information 1 / se^2
 * of the looks in the ledger). Where it does not, or there were more, the
 * interval is the one that holds for any number of looks (anytime.h), tuned to
 * the information of the first. Critical values are carried from the normal
 * law to Student's t by their tail chance. Only primary questions pay:
 * the others are answered for their family (docs/methods/verdicts.md).
 */
#ifndef PERDRAW_PLAN_LOOKS_H
#define PERDRAW_PLAN_LOOKS_H

#include "base/answer.h"
#include "data/store.h"
#include "plan/plan.h"

/*
 * The interval of look n + 1 after n earlier ones with standard errors
 * earlier[n], oldest first, of a plan with `planned` looks (0: none planned);
 * `e` comes with the interval of a single look and leaves with one that holds
 * for all of them, its p likewise. d: margin on the working scale, NaN: none;
 * *p_margin: two one-sided tests, NaN without. *width: how many times as wide.
 */
typedef struct pd_looks {
	const double *earlier;
	size_t n, planned;
	double level;
} pd_looks;
pd_status pd_looks_widen(const pd_looks *looks, double d, pd_estimate *e,
                         double *p_margin, double *width, pd_error *err);

/* What an effect is called in the ledger, "b against a" or "per doubling":
 * the same from reading to reading; NULL when memory runs out. */
const char *pd_looks_label(pd_arena *arena, const pd_effect *effect);

/* All effects of an answer, each for the readings of its own in the ledger;
 * the first effect's readings, today's last. */
pd_status pd_looks_pay(pd_store *store, const pd_plan *plan,
                       const pd_question *q, const char *date,
                       pd_arena *arena, pd_answer *answer, pd_error *err);

#endif
