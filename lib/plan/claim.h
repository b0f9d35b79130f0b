/*
 * claim.h - a printed claim held against this clinic's own draws.
 */
#ifndef PERDRAW_PLAN_CLAIM_H
#define PERDRAW_PLAN_CLAIM_H

#include "base/claim.h"
#include "plan/claim_file.h"
#include "plan/run.h"

/*
 * Everything in `arena`. What the print or the data cannot tell is a refusal
 * in words inside the answer. The effect here is read as a primary question
 * of the claim file (and written to the ledger when options say so), what is
 * asked beside it as exploratory. PD_DATA for a store without a case.
 */
pd_status pd_claim_run(pd_store *s, const pd_claim_file *file,
                       const pd_run_options *options, pd_arena *arena,
                       pd_claim_answer *out, pd_error *err);

#endif
