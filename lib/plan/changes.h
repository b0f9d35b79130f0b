/*
 * changes.h - a review beside the ones before it (docs/methods/changes.md):
 * verdicts that moved, open questions and when they may be settled, drift.
 */
#ifndef PERDRAW_PLAN_CHANGES_H
#define PERDRAW_PLAN_CHANGES_H

#include "base/changes.h"
#include "plan/run.h"

/* review->changes of a review whose answers are settled, in the arena. */
pd_status pd_changes_find(pd_store *s, const pd_plan *plan,
                          const pd_run_options *options, pd_arena *arena,
                          pd_review *review, pd_error *err);

/*
 * When would an interval of half width h about b, working scale, of n patients
 * be settled, if b stayed and h shrank as 1 / sqrt(n)? It excludes no effect
 * once its half width is below |b|, and lies inside the margin d (NaN: none)
 * once it is below d - |b|; the first of the two counts:
 *   needed = n (h / max(|b|, d - |b|))^2,   years = (needed - n) / a_year
 * More than ten years, or infinitely many patients: PD_OPEN_FAR. out->answer
 * and ->effect are left alone.
 */
void pd_changes_when(double b, double h, double d, size_t n, double a_year,
                     pd_open *out);

/* The ledger's word of a claim's verdict (data/claims.h). */
const char *pd_changes_claim_word(bool asked, pd_verdict v);

#endif
