/*
 * bridge.h - do two laboratory method versions agree on the same pulls, and
 * what turns one into the other (docs/methods/agreement.md).
 */
#ifndef PERDRAW_PLAN_BRIDGE_H
#define PERDRAW_PLAN_BRIDGE_H

#include "base/bridge.h"
#include "plan/run.h"

typedef struct pd_bridge_request {
	const char *outcome, *judge, *first, *second;
	double level, margin;    /* margin NaN: none; ratio, or points         */
	double error_ratio;      /* variance of the second's errors over that
	                            of the first's; 0: 1                       */
	unsigned long long seed;
} pd_bridge_request;

/*
 * Pulls counted by both: limits of agreement with patients as units
 * (agree_repeated.h, linked pairs), lines and concordance from patients' means,
 * the factor at the 10th, 50th and 90th of a hundred first readings from
 * Deming's line with a BCa interval over patients. A pull with a limit or a
 * zero by either is left out and counted. PD_USAGE: unknown outcome or judge;
 * what cannot be told is an answer with refusal.
 */
pd_status pd_bridge_run(pd_store *s, const pd_bridge_request *request,
                        const pd_run_options *options, pd_arena *arena,
                        pd_bridge_answer *out, pd_error *err);

#endif
