/*
 * claim_own.h - what the rooms of a claim share.
 *
 *   claim_file.c     the file: sections, keys, values
 *   claim_check.c    what only the whole file can tell; units, wording
 *   claim_rebuild.c  printed arms as ratios
 *   claim_words.c    words, ratios and P values; what the study could show
 *   claim_usual.c    the comparator against this clinic's practice
 *   claim_trial.c    the spread between two sides, sizes, allocation
 *   claim_cost.c     what more cells cost
 *   claim.c          all of it, in order
 */
#ifndef PERDRAW_PLAN_CLAIM_OWN_H
#define PERDRAW_PLAN_CLAIM_OWN_H

#include "base/claim.h"
#include "plan/claim_file.h"
#include "plan/question_own.h"
#include "data/store.h"

/* claim_check.c: after the last line. */
pd_status pd_claim_check(pd_arena *arena, pd_claim_file *f, pd_error *err);

struct claim {
	pd_store *store;
	const pd_claim_file *file;
	pd_arena *arena;
	pd_claim_answer *a;
	const char *asked_sha256; /* of the question here, NULL: none          */
};

static inline pd_status pd_claim_no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory judging a claim");
}

/* value, low, high of r->log; the verdict against `margin` (NaN: none). */
void pd_claim_measure(pd_claim_ratio *r, double margin);
/* Difference of two logs with both errors, Satterthwaite's df; an error that
 * is not known (se NaN) is taken as none. */
pd_estimate pd_claim_difference(const pd_estimate *a, const pd_estimate *b,
                                double level);

/* A reading more; NULL when memory or room runs out. */
pd_claim_reading *pd_claim_add_reading(struct claim *c, const char *words,
                                       const pd_estimate *e);
pd_status pd_claim_word_readings(struct claim *c, pd_error *err);
pd_status pd_claim_ratio_reading(struct claim *c, pd_error *err);
/* Fill arm[], reading[], exact_p, wording; no store. */
pd_status pd_claim_rebuild(struct claim *c, pd_error *err);
/* After the spread here is known: what the printed study could show. */
void pd_claim_power(struct claim *c);

/* Beside age: nothing, the claim's adjusters, or the mL of a case (in a column
 * "log total_ml"). */
typedef enum pd_claim_beside {
	PD_CLAIM_AGE_ALONE, PD_CLAIM_ADJUSTERS, PD_CLAIM_TOTAL_ML
} pd_claim_beside;

/* A question like the claim's about age: the model of ordinary practice.
 * matched: rows drawn as the comparator was; version: of the laboratory, or
 * NULL. *out lives in the arena. */
pd_status pd_claim_usual_question(struct claim *c, bool matched,
                                  pd_claim_beside beside, const char *version,
                                  pd_question **out, pd_error *err);
pd_status pd_claim_usual_all(struct claim *c, pd_error *err);
pd_status pd_claim_trial_all(struct claim *c, pd_error *err);
pd_status pd_claim_costs(struct claim *c, pd_error *err);

#endif
