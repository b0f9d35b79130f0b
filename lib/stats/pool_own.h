/*
 * pool_own.h - what the files of the pool share: the fit at one tau2 and the
 * search for it.
 */
#ifndef PERDRAW_STATS_POOL_OWN_H
#define PERDRAW_STATS_POOL_OWN_H

#include "stats/pool.h"

/* Data that stay; below them what one tau2 gives. */
struct pd_pool_work {
	const double *y, *v, *x;
	size_t n, p;
	double *q;               /* n * p by rows: orthonormal sqrt(W) X      */
	double *r;               /* p * p: upper triangle, sqrt(W) X = q r    */
	double *beta;            /* p                                         */
	double *w, *rest, *term; /* n each                                    */
	double fit, fit2;        /* sum w rest^2, sum w^2 rest^2              */
	double trace;            /* tr P                                      */
	double loglik[2];        /* restricted, full                          */
	size_t singular;         /* column, from 1, that is a combination of  */
	                         /* those before it; 0: none                  */
};

/* Room for y, v, x, n and p as they stand; clear it also after a failure. */
pd_status pd_pool_work_init(struct pd_pool_work *m, pd_error *err);
void pd_pool_work_clear(struct pd_pool_work *m);

/* Everything at tau2. Without weights: the sum of squares of the residuals. */
void pd_pool_at(struct pd_pool_work *m, double tau2);
double pd_pool_unweighted(struct pd_pool_work *m);

/* tau2 by a way; the t with Q(t) = goal, 0 when Q(0) is not above it. */
double pd_pool_between(struct pd_pool_work *m, pd_pool_way way);
double pd_pool_matched(struct pd_pool_work *m, double rss, double goal);

#endif
