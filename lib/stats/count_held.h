/*
 * count_held.h - profile log-likelihoods of grouped counts, one level or two:
 * a contrast, an sd or theta held, everything else fitted anew.
 * Not for callers outside the count rooms.
 */
#ifndef PERDRAW_STATS_COUNT_HELD_H
#define PERDRAW_STATS_COUNT_HELD_H

#include "stats/basis.h"
#include "stats/count_groups.h"
#include "stats/newton.h"

enum { PD_COUNT_MOST_SDS = 2 };

/* The fit whose limits are wanted. */
typedef struct pd_count_known {
	const pd_count_spec *rows;
	const double *beta;    /* rows->p                                    */
	size_t sds;            /* 1 or 2                                     */
	double sd[PD_COUNT_MOST_SDS], se_log_sd[PD_COUNT_MOST_SDS];
	double without[PD_COUNT_MOST_SDS]; /* log-likelihood with that sd 0  */
	double theta, se_log_theta;
	double log_likelihood, level;
} pd_count_known;

/*
 * Parameters: coefficients of what columns are left, ln of each sd, ln theta.
 * `g` carries rows, flags and rule of the model, which may be more than that.
 */
typedef struct pd_count_held {
	pd_arena *arena;
	pd_newton_function *likelihood;
	void *model;
	pd_count_groups *g;
	pd_basis basis;
	pd_count_spec rows;    /* columns left, offset as given              */
	size_t p, sds;
	double *pivot, *offset; /* n, in the order of g: column of a held
	                          contrast, offset without it                */
	double *rest;          /* beta of the columns left                   */
	double *par;           /* p + sds + 1: all of them                   */
	unsigned char held[PD_COUNT_MOST_SDS + 1];
	size_t which;          /* the sd that is held                        */
	bool theta_free;       /* as asked for; g->free_theta: as it stands  */
	double furthest_theta, cut;
	double *part, *gradient, *hessian, *all_gradient, *all_hessian;
} pd_count_held;

/* Sets arena, rows, basis and what belongs to a held contrast (c NULL: none);
 * the caller makes its model of `rows` and basis.q, sets likelihood, model and
 * g, and calls pd_count_held_start. */
pd_status pd_count_held_columns(pd_arena *arena, const pd_count_known *known,
                                const double *c, pd_count_held *f,
                                pd_error *err);
pd_status pd_count_held_start(pd_count_held *f, const pd_count_known *known,
                              pd_error *err);

/* The caller's part between the two, in one function. */
typedef pd_status pd_count_held_begin(void *with, pd_arena *arena,
                                      const double *c, pd_count_held *f,
                                      pd_error *err);

pd_status pd_count_held_contrast(pd_count_held_begin *begin, void *with,
                                 const double *c, double value, double se,
                                 double *low, double *high, pd_error *err);
pd_status pd_count_held_sd(pd_count_held_begin *begin, void *with,
                           const pd_count_known *known, size_t which,
                           double *low, double *high, pd_error *err);
pd_status pd_count_held_alpha(pd_count_held_begin *begin, void *with,
                              const pd_count_known *known, double *low,
                              double *high, pd_error *err);

#endif
