/*
 * size.h - sizes for a trial of a question's two levels, from the clinic's own
 * draws. See docs/methods/size.md.
 */
#ifndef PERDRAW_PLAN_SIZE_H
#define PERDRAW_PLAN_SIZE_H

#include "base/size.h"
#include "plan/run.h"

typedef struct pd_size_request {
	pd_aim aim;
	double power;            /* 0.8 unless asked for otherwise             */
	double truth;            /* NaN: a row of truths by the aim            */
	size_t pulls;            /* an arm, 0: 1                               */
} pd_size_request;

/*
 * Power at size n averaged over what the SD may be given its estimate s on df:
 * sd = s / S, S^2 chi-square(df) / df (O'Hagan, Stevens & Campbell 2005, Pharm.
 * Stat. 4, 187-201, with the flat prior of ln sd).
 */
double pd_size_assurance(const pd_size_answer *a, double truth, double n);

/* Everything in `arena`; what cannot be sized is an answer with refusal. */
pd_status pd_size_run(pd_store *s, const pd_plan *plan,
                      const pd_question *question,
                      const pd_size_request *request,
                      const pd_run_options *options, pd_arena *arena,
                      pd_size_answer *out, pd_error *err);

#endif
