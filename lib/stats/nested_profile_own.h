/*
 * nested_profile_own.h - inside nested_profile*.c: a model lent to a profile,
 * and points of the profile.
 */
#ifndef PERDRAW_STATS_NESTED_PROFILE_OWN_H
#define PERDRAW_STATS_NESTED_PROFILE_OWN_H

#include "stats/nested_profile.h"
#include "stats/nested_search.h"

/* The least deviance over everything, by ML [0] and by REML [1]. */
struct pd_least {
	bool made[2];
	double deviance[2];
	double theta[2][PD_MAX_E];
};

struct pd_profiled {
	struct pd_nested *m;
	struct pd_least *least;
	bool reml;
	double theta[PD_MAX_E], x; /* the last point, and where it was       */
	double best, s;            /* x of the least deviance; s there       */
	double want;               /* rise at the limits                     */
	unsigned fits;
	bool lower;                /* a point below the least was met        */
	pd_arena_mark mark;
	/* the model's own, to be put back */
	bool own_reml;
	pd_nested_fit_record record;
	double own_theta[PD_MAX_E], hessian[PD_MAX_E * PD_MAX_E];
};

/* The model lent for a profile at `level`, its least deviance known; given
 * back (also after a failure) it answers as before. */
pd_status pd_held_borrow(struct pd_profiled *f, struct pd_nested *m, bool reml,
                         double level, pd_error *err);
void pd_held_return(struct pd_profiled *f);
/* Least deviance over everything, from `start`. */
pd_status pd_held_least(struct pd_profiled *f, const double *start,
                        pd_error *err);
/* The passes at the least deviance, nothing held; f->theta and s of it. */
void pd_held_stand(struct pd_profiled *f);
/* T_aa of the effect whose SD is held, at the levels' present point. */
double *pd_held_own_t(const struct pd_profiled *f);
/* rise with what m->held says, from f->theta; around: other starts as well,
 * where there may be two hollows. */
pd_status pd_held_measure(struct pd_profiled *f, bool around, double *rise,
                          pd_error *err);
/* rise at x; m->held.slope is left. */
pd_status pd_held_reach(struct pd_profiled *f, double x, bool around,
                        double *rise, pd_error *err);
/*
 * The limit on one side: from the estimate by `step`, further until the rise
 * is passed, then within the two ends. edge: where the rise is known to be
 * passed already (0 for an SD), infinite when there is no such place.
 */
pd_status pd_held_limit(struct pd_profiled *f, enum pd_holding kind,
                        double step, double edge, double *limit,
                        pd_error *err);

#endif
