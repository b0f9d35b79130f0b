/*
 * censored_mixed_own.h - what censored_mixed.c and censored_adjust.c share.
 *
 * Both work on standardised rows: the fit without groups is taken off the
 * limits, what is left is divided by its scale (scale0), and X is replaced by
 * the columns q of a pd_basis:
 *   y = x'beta0 + scale0 (q'gamma + (w / h) z + e / h),
 *   d = gamma h,  h = scale0 / scale,  w = sd / scale.
 */
#ifndef PERDRAW_STATS_CENSORED_MIXED_OWN_H
#define PERDRAW_STATS_CENSORED_MIXED_OWN_H

#include "stats/basis.h"
#include "stats/censored_groups.h"
#include "stats/censored_mixed.h"
#include "stats/newton.h"

struct pd_censored_search {
	pd_arena *arena;
	const pd_censored_mixed_spec *spec;
	pd_censored_fit plain;   /* without groups                           */
	pd_basis basis;
	double scale0, constant; /* constant: added to the log-likelihood    */
	pd_censored_groups g;
	double *par, *gradient, *hessian; /* p + 2: d, h, ln w; its square   */
	double *logs, *log_slope, *log_bend; /* the same by gamma, ln h and
	                            ln (w / h), in which the search goes     */
	double plain_value, ml_value;     /* without `constant`              */
	pd_newton_record record;
	unsigned calls;          /* of the likelihood in this search         */
	bool adjusted;           /* par is of the adjusted profile           */
	size_t rung;             /* of the ladder of rules                   */
	double node_change;
};

/* The rule with just enough nodes at s->par: s->rung, s->node_change. */
pd_status pd_censored_choose(struct pd_censored_search *s, pd_error *err);
/* Scale and sd of the adjusted profile likelihood into s->par and
 * s->g.free_sd, from the maximum likelihood fit there, which stays where the
 * adjusted profile has no top; s->adjusted says which. */
pd_status pd_censored_adjust(struct pd_censored_search *s, pd_error *err);
/* beta, scale, sd, covariances and slopes at s->par. */
pd_status pd_censored_answer(struct pd_censored_search *s,
                             pd_censored_mixed_fit *fit, pd_error *err);

#endif
