/*
 * curve_mixed_own.h - what curve_mixed.c (the search), curve_mixed_at.c (the
 * model at one turn) and curve_mixed_numbers.c (the answer) share.
 */
#ifndef PERDRAW_STATS_CURVE_MIXED_OWN_H
#define PERDRAW_STATS_CURVE_MIXED_OWN_H

#include "stats/curve_mixed.h"
#include "stats/nested_tree.h"

enum { PD_CURVE_MOST_COLUMNS = 3 }; /* beside X */

struct pd_curve_at {
	const pd_curve_mixed_spec *spec;
	size_t n, p, q;     /* q: columns of f at one turn, 1 or 2           */
	double *x;          /* n * (p + 3)                                   */
	double *distinct;   /* n_distinct, ascending                         */
	size_t n_distinct;
	double centre;      /* the mean dose                                 */
	double *beta;       /* p + 3: of the last fit                        */
	double theta[PD_MAX_E]; /* a start for the next                      */
	bool warm;
	unsigned fits;
	pd_status st;       /* of the last fit that failed, */
	pd_error why;       /* and its words                                 */
};

/* What stands beside X. */
enum pd_curve_with { PD_WITH_CURVE, PD_WITH_TANGENT, PD_WITH_LINE,
	             PD_WITH_NOTHING };

pd_status pd_curve_at_new(pd_arena *arena, const pd_curve_mixed_spec *spec,
                          struct pd_curve_at *out, pd_error *err);
/*
 * Fit with X and what stands beside it; *out is the caller's to free, NULL
 * after a failure. PD_WITH_TANGENT reads slope[2] (slope, change) and adds
 * df/dturn. Coefficients stay in w->beta.
 */
pd_status pd_curve_at_fit(struct pd_curve_at *w, enum pd_curve_with with,
                          double turn, const double *slope, bool ml,
                          pd_nested **out, pd_error *err);
/* D with the same; INFINITY when it cannot be fitted, w->st and w->why say
 * why. */
double pd_curve_at_deviance(struct pd_curve_at *w, enum pd_curve_with with,
                            double turn);
/* One Gauss-Newton step of the turn from here; *value: D here. NaN: none. */
double pd_curve_at_step(struct pd_curve_at *w, double turn, double *value);
/* All of *o but the limits of the turn, at o->turn.value; b[p + 3] is room. */
pd_status pd_curve_at_numbers(struct pd_curve_at *w, double *b,
                              pd_curve_mixed *o, pd_error *err);

#endif
