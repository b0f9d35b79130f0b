/*
 * watch_own.h - what the rooms of watching share.
 *
 *   watch_cases.c   rows, model, one value a case in the order of time
 *   watch_charts.c  the charts' recursions
 *   watch_signals.c charts of all cases and of groups, their signals in words
 *   watch_funnel.c  operators beside each other
 *   watch_dishes.c  do dishes of one sample agree?
 *   watch.c         all of it
 */
#ifndef PERDRAW_PLAN_WATCH_OWN_H
#define PERDRAW_PLAN_WATCH_OWN_H

#include "base/arena.h"
#include "plan/watch.h"

/* One case. */
struct pd_watch_case {
	double time;             /* decimal year                               */
	double r;                /* residual, working scale                    */
	double spread;           /* SD such a case has by the model            */
	int32_t patient;         /* code, -1: not told                         */
	int32_t operator_, version; /* codes of the names below, -1            */
	size_t order;            /* in key order, for equal days               */
};

struct pd_watch_cases {
	size_t n, n_base;
	struct pd_watch_case *item; /* by time                                 */
	double *z;               /* n: standard values, see watch_cases.c      */
	double centre, sd;       /* of the model's standard values in the
	                            baseline                                   */
	double patient_var;      /* between patients, working scale            */
	double correlation;      /* of neighbours in the baseline              */
	bool freed;              /* z were freed of it                         */
	size_t n_returning;
	const char **operator_, **version;
	size_t n_operators, n_versions;
	const char *refusal, *adjusters;
};

/* base_until: decimal year, NaN: the first third. */
pd_status pd_watch_cases_take(pd_store *store, const pd_plan *plan,
                              double base_until, pd_arena *arena,
                              pd_arena *scratch, struct pd_watch_cases *out,
                              pd_error *err);

/*
 * Where a case follows the one before it by more than chance (correlation rho
 * of the baseline above two standard errors, 2 / sqrt(n_base)), what that one
 * tells is taken off: z_i = (z_i - rho z_{i-1}) / sqrt(1 - rho^2).
 */
void pd_watch_free_neighbours(struct pd_watch_cases *o);

/* "2024-03-17" of a decimal year. */
const char *pd_watch_date(pd_arena *arena, double time);

pd_status pd_watch_signals(const struct pd_watch_cases *c, pd_arena *arena,
                           pd_arena *scratch, pd_watch_answer *a,
                           pd_error *err);
pd_status pd_watch_funnel(const struct pd_watch_cases *c, pd_arena *arena,
                          pd_watch_answer *a, pd_error *err);

/* Of all cultures of the clinic; limits of shares at `level`. */
pd_status pd_watch_dishes(pd_store *store, pd_arena *arena, double level,
                          const pd_dish_watch **out, pd_error *err);

static inline pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory watching");
}

#endif
