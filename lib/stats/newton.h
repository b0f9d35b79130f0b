/*
 * newton.h - the top of a log-likelihood by guarded Newton steps.
 *
 * Each step solves (-H + k D) step = g, D the sizes of H's diagonal, k 0
 * unless -H is not positive definite; it is shortened until the value does
 * not fall. Parameters are expected to be of order 1 (see basis.h). The
 * search tells three ends apart: a top; a likelihood that goes on rising
 * towards infinite parameters, each step gaining less than the one before
 * while the steps do not shrink (separation); and no convergence.
 */
#ifndef PERDRAW_STATS_NEWTON_H
#define PERDRAW_STATS_NEWTON_H

#include "base/arena.h"
#include "base/estimate.h"
#include "base/status.h"

/*
 * Value, gradient[p] and, unless NULL, hessian[p*p] (symmetric) at par[p].
 * A value that is not finite says that the likelihood cannot be computed
 * there; gradient and hessian are then not read.
 */
typedef void pd_newton_function(void *with, const double *par, double *value,
                                double *gradient, double *hessian);

typedef enum pd_newton_end {
	PD_NEWTON_TOP, PD_NEWTON_RUNAWAY, PD_NEWTON_STUCK
} pd_newton_end;

typedef struct pd_newton_record {
	pd_newton_end end;
	unsigned iterations;
	double value;     /* at par                                          */
	double step;      /* largest |part| of the last step / (1 + |par|)   */
	size_t furthest;  /* the parameter it belongs to                     */
	double gain;      /* g'(-H)^-1 g, twice the gain the step promises   */
} pd_newton_record;

/*
 * par[p]: start in, end out; hessian[p*p] and gradient[p] at the end. A top
 * is called so when no part of the step is above 1e-9 (1 + |par|), taken and
 * followed by a last evaluation. PD_OK with record->end said in every case but:
 * PD_NUMERIC, the start has no finite value; PD_NO_MEMORY.
 */
pd_status pd_newton_search(pd_arena *arena, pd_newton_function *f, void *with,
                           size_t p, double *par, double *gradient,
                           double *hessian, pd_newton_record *record,
                           pd_error *err);

/*
 * The same where a curvature costs many evaluations: asked for at the start,
 * then mended by what the gradient changed along each step (Broyden, Fletcher,
 * Goldfarb and Shanno's update), and asked for again where a step had to be
 * shortened, the gain did not fall for several steps, or the search would end
 * in anything but a top. hessian at the end is what the search went by.
 * Source: Nocedal and Wright (2006), Numerical Optimization, section 6.1; from
 * memory.
 */
pd_status pd_newton_thrifty(pd_arena *arena, pd_newton_function *f,
                            void *with, size_t p, double *par,
                            double *gradient, double *hessian,
                            pd_newton_record *record, pd_error *err);

/* covariance[p*p] = (-hessian)^-1. PD_NUMERIC: not positive definite. */
pd_status pd_newton_covariance(pd_arena *arena, const double *hessian,
                               size_t p, double *covariance, pd_error *err);

/*
 * c'beta with normal limits: c[p], beta[p], covariance whose rows are `width`
 * long, level in (0, 1). PD_USAGE: c is all 0; PD_DATA: level.
 */
pd_status pd_newton_contrast(const double *beta, const double *covariance,
                             size_t p, size_t width, const double *c,
                             double level, pd_estimate *out, pd_error *err);

#endif
