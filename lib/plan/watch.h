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
	double level, shift, lambda;
	double quarters;         /* between false signals of all charts        */
	unsigned long long seed;
} pd_watch_request;

/* What is taken where nothing is asked: 95 % intervals, a false signal of all
 * charts together in about 20 quarters, sums built for half a standard
 * deviation of a case, 0.05 the weight of the newest case. */
pd_watch_request pd_watch_usual(const char *outcome, const char *judge);

/*
 * r_c = mean over a case's rows of y - X b; z_c its standard value by the
 * model, freed of what earlier cases of the patient tell; score_c the normal
 * score of its rank among the cases of its regime so far. Charts of scores:
 * cumulative sums with k = shift / 2 and weighted average, limits designed
 * (control.h) so that all charts together raise a false signal once in
 * `quarters`. A shift found starts a new regime. PD_USAGE for an unknown
 * outcome, adjuster or date; what cannot be watched is an answer with refusal.
 */
pd_status pd_watch_run(pd_store *s, const pd_watch_request *request,
                       const pd_run_options *options, pd_arena *arena,
                       pd_watch_answer *out, pd_error *err);

/*
 * One chart of v[n] in the order of time, any continuous scale.
 *   score_i = Phi^-1((R_i - 1/2) / m),  R_i the (middle) rank of v_i among the
 *             m cases of its regime up to and with it
 * which without a shift are independent and standard normal but for their
 * grain, whatever the distribution of v (McDonald 1990). Sums and average of
 * them from case n_base (from 0) on, none before a regime has `learn` cases.
 * A signal when a sum passes h or the average half, fixed limits
 * half = limit sqrt(lambda / (2 - lambda)). The likely start is the place that
 * parts the regime so far into the two halves furthest apart,
 *   max over t of (mean after t - mean before t)^2 n1 n2 / (n1 + n2)
 * in normal scores of all n; the new regime begins there, sums and average at
 * 0. The `learn` cases after the signal, which had no part in it, then say
 * whether it held: their mean score is beyond that of the regime before, the
 * same way, by more than one standard error. If not, the regime before goes on
 * as if nothing had been. up, down, average[n] as drawn. Shifts into found, at
 * most room of them; *n_found counts all. PD_NO_MEMORY.
 */
typedef struct pd_watch_limits {
	double k, h, lambda, limit;
	size_t n_base, learn;
} pd_watch_limits;
typedef struct pd_watch_found {
	size_t at, from;         /* case of the signal, likely first one moved */
	bool sums, average;      /* what raised it                             */
	pd_shift state;
} pd_watch_found;
pd_status pd_watch_chart(const double *v, size_t n, const pd_watch_limits *l,
                         double *up, double *down, double *average,
                         pd_watch_found *found, size_t room, size_t *n_found,
                         pd_error *err);

#endif
