/*
 * missing.h - missing results by outcome, operator and year, and whether they
 * depend on how rich the draw was (docs/methods/missing.md).
 */
#ifndef PERDRAW_PLAN_MISSING_H
#define PERDRAW_PLAN_MISSING_H

#include "base/missing.h"
#include "plan/run.h"

/*
 * All outcomes of which the store holds any result. Dependence: of each
 * patient the first pull of the first case (lowest site number, then pull
 * number) with a measured TNC, logistic regression of "without a result" on
 *   1, log2 TNC, operators, calendar time
 * (operators and time left out where they cannot be borne), Wald limits on the
 * log odds. Not tested with fewer than PD_MISSING_LEAST pulls on either side.
 */
enum { PD_MISSING_LEAST = 10 };
pd_status pd_missing_run(pd_store *s, const pd_run_options *options,
                         double level, pd_arena *arena,
                         pd_missing_answer *out, pd_error *err);

#endif
