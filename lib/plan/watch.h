/*
 * watch.h - charts of case residuals: what remains of a case's results after
 * age, volume and places of the pulls are accounted for, in the order of time
 * (docs/methods/watch.md).
 */
#ifndef PERDRAW_PLAN_WATCH_H
#define PERDRAW_PLAN_WATCH_H

#include "base/watch.h"
#include "plan/run.h"

typedef struct pd_watch_request {
	const char *outcome, *judge;
	const char *adjust;      /* names parted by commas; NULL: the usual    */
	const char *where;       /* as in a plan, NULL: all draws              */
	const char *base_until;  /* ISO date; NULL: the first third of cases   */
	double level, run_length, shift, lambda;
	unsigned long long seed;
} pd_watch_request;

/*
 * r_c = mean over a case's rows of y - X b; z_c = (r_c - centre) / (sd s_c),
 * s_c the spread a case of that many pulls has by the model, centre and sd of
 * the baseline's cases. Charts: cumulative sums with k = shift / 2 and
 * weighted average, both limits designed for run_length (control.h); set back
 * after a signal. PD_USAGE for an unknown outcome, adjuster or date; what
 * cannot be watched is an answer with refusal.
 */
pd_status pd_watch_run(pd_store *s, const pd_watch_request *request,
                       const pd_run_options *options, pd_arena *arena,
                       pd_watch_answer *out, pd_error *err);

/*
 * Signals of z[n] in order: cumulative sums up and down, set back to 0 after
 * each. at[]: places of the signals, from[]: where the run began; returns how
 * many, at most `room` are written. up[n], down[n] as drawn.
 */
size_t pd_watch_sums(const double *z, size_t n, double k, double h, double *up,
                     double *down, size_t *at, size_t *from, size_t room);
/* The same of the weighted average; half[n]: its limits about 0. */
size_t pd_watch_average(const double *z, size_t n, double lambda, double limit,
                        double *average, double *half, size_t *at,
                        size_t *from, size_t room);

#endif
