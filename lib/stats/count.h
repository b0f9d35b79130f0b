/*
 * count.h - regression of counts: Poisson and negative binomial (NB2).
 *
 *   ln mu_i = x_i' b + o_i,   Var y = mu  or  mu + mu^2 / theta,
 *
 * o the logarithm of exposure (cells plated, volume). Maximum likelihood by
 * Newton steps with analytic first and second derivatives, for NB2 jointly in
 * (b, ln theta); zeros are counts like others. Where the counts do not
 * scatter more than a Poisson law, theta comes out INFINITY exactly.
 * Sources: McCullagh & Nelder, Generalized Linear Models, 1989, chapter 6;
 * Lawless 1987, Can J Stat 15, 209-225 (NB2).
 */
#ifndef PERDRAW_STATS_COUNT_H
#define PERDRAW_STATS_COUNT_H

#include "base/arena.h"
#include "base/estimate.h"
#include "base/status.h"
#include <stdbool.h>

typedef struct pd_count_spec {
	size_t n, p;
	const double *x;       /* n*p row-major, columns independent         */
	const double *y;       /* n whole numbers, 0 .. 1,000,000            */
	const double *offset;  /* n; NULL: none                              */
	const unsigned char *at_least; /* n; non-zero: the count is only known
	                          to be y or more (too numerous to count);
	                          NULL: all were counted                     */
	bool extra;            /* NB2 instead of Poisson                     */
} pd_count_spec;

typedef struct pd_count_fit {
	size_t n, p, n_cut;    /* n_cut: rows known only as "at least"       */
	double *beta;          /* p                                          */
	double *covariance;    /* p*p, observed information; for NB2 of
	                          (beta, ln theta) together                  */
	double *fixed;         /* p*p, information with theta held: expected,
	                          observed where rows are cut off            */
	double *fitted;        /* n: mu, of all rows                         */
	double theta, alpha;   /* alpha = 1/theta; INFINITY and 0: Poisson   */
	double se_log_theta;   /* NaN where theta is INFINITY                */
	double log_likelihood; /* all constants kept                         */
	double log_likelihood_poisson; /* the same rows, theta INFINITY      */
	/* NaN where rows are cut off: */
	double deviance, null_deviance; /* null: constant and offset, theta
	                          of this fit                                */
	double pearson;        /* sum (y - mu)^2 / (mu + mu^2 / theta)       */
	double dispersion;     /* pearson / (n - p)                          */
	unsigned iterations;
	double newton_step;    /* largest part of the last step, standardised
	                          columns                                    */
} pd_count_fit;

/*
 * Everything in *out lives in the arena. PD_DATA: a value that is not finite
 * or no count (row named); PD_REFUSED: n <= p, dependent columns, all counts
 * 0, or no maximum because the rows with counts above 0 leave an estimate
 * free to run to infinity (separation; column named); PD_NUMERIC: no
 * convergence; PD_NO_MEMORY.
 */
pd_status pd_count_regression(pd_arena *arena, const pd_count_spec *spec,
                              pd_count_fit *out, pd_error *err);

/* c'beta, normal limits, from `covariance`. level in (0, 1). PD_USAGE: c is
 * all 0; PD_DATA: level. */
pd_status pd_count_contrast(const pd_count_fit *fit, const double *c,
                            double level, pd_estimate *out, pd_error *err);

/*
 * Profile likelihood limits: the values at which twice the loss of
 * log-likelihood, everything else fitted anew, is the chi-square quantile
 * (1 df). Of coefficient `column` (counted from 0), or of theta, whose upper
 * limit is INFINITY where Poisson loses less (its lower limit is then of use
 * alone). -INFINITY or INFINITY where the likelihood stays above on that side.
 * PD_USAGE: theta of a Poisson fit, no such column; PD_DATA: level; PD_NUMERIC.
 */
pd_status pd_count_profile(const pd_count_spec *spec, const pd_count_fit *fit,
                           size_t column, double level, double *low,
                           double *high, pd_error *err);
pd_status pd_count_theta_limits(const pd_count_spec *spec,
                                const pd_count_fit *fit, double level,
                                double *low, double *high, pd_error *err);

/*
 * Likelihood ratio of NB2 against Poisson; alpha = 0 lies on the boundary, so
 * p is half the chi-square tail (1 df), 1 where theta is INFINITY (Self &
 * Liang 1987, JASA 82, 605-610).
 */
void pd_count_extra_test(const pd_count_fit *fit, double *ratio, double *p);

#endif
