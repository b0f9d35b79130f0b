/*
 * censored.h - regression of values partly known only by limits.
 *
 *   y_i = x_i' b + s e_i,  e standard normal; y the value or its natural logarithm.
 *
 * A row is known exactly, or only to lie below, above or between limits (a
 * detection limit, an instrument's ceiling, a rounded report). Its part of the
 * likelihood is the density, or the probability of what is known. Searched in
 * (b / s, 1 / s), in which the log-likelihood is concave (Olsen 1978,
 * Econometrica 46, 1211-1215; Burridge 1981, JRSS B 43, 41-45 for intervals),
 * by Newton steps with analytic derivatives.
 */
#ifndef PERDRAW_STATS_CENSORED_H
#define PERDRAW_STATS_CENSORED_H

#include "base/arena.h"
#include "base/estimate.h"
#include "base/status.h"
#include <stdbool.h>

typedef struct pd_censored_spec {
	size_t n, p;
	const double *x;   /* n*p row-major, columns independent             */
	const double *low; /* n; low = high: the value itself. -INFINITY (or
	                      0 where logarithms are taken): below high      */
	const double *high;/* n; INFINITY: above low                         */
	bool log;          /* ln y is normal; limits are given as measured   */
} pd_censored_spec;

typedef struct pd_censored_fit {
	size_t n, p;
	size_t n_exact, n_below, n_above, n_between;
	double *beta;       /* p, on the log scale where `log`               */
	double *covariance; /* (p + 1) square, observed information of
	                       (beta, ln scale)                              */
	double scale;       /* s, maximum likelihood: no correction for p    */
	double se_log_scale;
	double log_likelihood; /* of y as measured: with -ln y for each exact
	                          row where `log`                            */
	unsigned iterations;
	double newton_step;
} pd_censored_fit;

/*
 * Everything in *out lives in the arena. PD_DATA: low above high, NaN, a row
 * without any limit, not positive where logarithms are taken (row named);
 * PD_REFUSED: n <= p, dependent columns, no maximum (all rows of a column
 * beyond a limit on the same side: column named; or the exact values fitted
 * without any scatter); PD_NUMERIC; PD_NO_MEMORY.
 */
pd_status pd_censored_regression(pd_arena *arena, const pd_censored_spec *spec,
                                 pd_censored_fit *out, pd_error *err);

/* c'beta, normal limits. PD_USAGE: c is all 0; PD_DATA: level. */
pd_status pd_censored_contrast(const pd_censored_fit *fit, const double *c,
                               double level, pd_estimate *out, pd_error *err);

#endif
