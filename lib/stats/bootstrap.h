/*
 * bootstrap.h - an interval for any statistic, by drawing the units anew with
 * replacement. Units are what is independent: patients, never their rows; a
 * unit comes or goes with all its rows. Draw k is made from stream k of the
 * seed, so any number of threads gives the same bytes.
 */
#ifndef PERDRAW_STATS_BOOTSTRAP_H
#define PERDRAW_STATS_BOOTSTRAP_H

#include "base/status.h"
#include <stddef.h>
#include <stdint.h>

/*
 * The statistic when row i counts weight[i] times (whole numbers, 0 with the
 * unit left out), i < n_rows. Called from several threads at once: it must
 * only read `data`. NaN where it cannot be computed.
 */
typedef double pd_boot_statistic(const double *weight, size_t n_rows,
                                 const void *data);

typedef struct pd_boot_plan {
	size_t n_rows, n_units;
	const int32_t *unit;     /* code of each row, 0 .. n_units - 1; NULL: */
	                         /* every row is a unit, n_units not read     */
	pd_boot_statistic *statistic;
	const void *data;
	double level;            /* 0 < level < 1                             */
	size_t draws;            /* 0: 9999; at most 10 million               */
	uint64_t seed;
	unsigned threads;        /* 0: 1; at most 64                          */
	int sampled;             /* draw even where all samples can be listed */
	int below_only;          /* z0 from P(<) alone, see below             */
} pd_boot_plan;

/*
 * t0 the estimate, t_(-i) with unit i left out, n units, their mean t_.:
 *   d_i = t_. - t_(-i),  acceleration a = sum d^3 / (6 (sum d^2)^1.5)
 *   jackknife se = sqrt((n - 1) / n sum d^2), bias = (n - 1) (t_. - t0)
 *   z0 = quantile of P(t* < t0) + P(t* = t0) / 2 under the normal law
 *        (below_only: of P(t* < t0), as the first papers have it)
 *   levels Phi(z0 + (z0 + z) / (1 - a (z0 + z))), z at (1 -+ level) / 2
 * Limits: the smallest value at which the cumulative probability reaches that
 * level; percentile limits: the same at (1 -+ level) / 2 (Efron 1987, JASA 82,
 * 171-185; Efron & Tibshirani 1993, chapters 11 and 14). Values within 1e-10
 * of the range of t* count as equal to t0.
 *
 * Up to 11 units (352716 samples) the law of t* is complete: every sample with
 * its multinomial probability n! / (n^n prod k!), and `exact` is set. Beyond,
 * `draws` of them; `edge` is set when a limit is the first or last draw.
 * n_failed samples gave NaN and are left out.
 */
typedef struct pd_boot {
	double estimate, mean, se;          /* mean and sd of t*              */
	double jack_se, jack_bias, acceleration;
	double p_below, p_equal, z0;
	double level_low, level_high;       /* adjusted                       */
	double low, high;                   /* the interval                   */
	double percentile_low, percentile_high;
	size_t n_units, n_samples, n_failed;
	int exact, edge;
} pd_boot;

/*
 * PD_DATA for a level outside (0, 1) or a unit code out of range; PD_REFUSED
 * for fewer than 3 units, more than one sample in 20 failed, a statistic
 * without variation or that cannot be computed with one unit left out, or all
 * of t* on one side of t0; PD_NO_MEMORY.
 */
pd_status pd_bootstrap(const pd_boot_plan *plan, pd_boot *out, pd_error *err);

/*
 * A ratio of totals, base + sum w_i top_i / sum w_i bottom_i (bottom NULL: 1
 * each, the mean): the statistic pd_boot_ratio, data a pd_boot_totals. Given
 * to pd_bootstrap with unit NULL it takes a short way whose draws are the same
 * bytes; values with one unit left out then come from the totals less that
 * unit, equal but for rounding. Sums run over eight lanes, i mod 8.
 */
typedef struct pd_boot_totals {
	const double *top, *bottom;
	double base;
} pd_boot_totals;
double pd_boot_ratio(const double *weight, size_t n_rows, const void *totals);

/*
 * The mean of x[n_rows], or sum top / sum bottom, with whole units drawn: rows
 * are added up a unit once, about the overall value so that a large common
 * part costs no digits. plan->statistic and data are not read. PD_DATA also
 * for a value that is not finite, PD_REFUSED when the bottoms add to 0;
 * otherwise as pd_bootstrap.
 */
pd_status pd_bootstrap_mean(const pd_boot_plan *plan, const double *x,
                            pd_boot *out, pd_error *err);
pd_status pd_bootstrap_ratio(const pd_boot_plan *plan, const double *top,
                             const double *bottom, pd_boot *out,
                             pd_error *err);

#endif
