/*
 * count_row.h - log-likelihood of one count and its slopes.
 *
 * Negative binomial, variance mu + mu^2 / theta (NB2), mu = exp(e):
 *   l = sum_{k<y} ln(1 + k/theta) - ln y! + y e - (y + theta) ln(1 + mu/theta)
 * and Poisson at theta = INFINITY. A count known only to be at least y (too
 * numerous to count) has l = ln P(Y >= y); its slopes follow from
 * dP/de = y p(y), and those in ln theta from sums over the shorter tail (or
 * series that stand for them, count_cut.h).
 * Both are concave in e.
 */
#ifndef PERDRAW_STATS_COUNT_ROW_H
#define PERDRAW_STATS_COUNT_ROW_H

#include "base/arena.h"
#include "base/status.h"
#include "stats/count_cut.h"

enum {
	PD_COUNT_MOST = 1000000, /* largest count taken                       */
	PD_COUNT_MOST_CUT = 64   /* counts of which series are kept           */
};

/* What depends on theta and count alone, for counts 0 .. most. */
typedef struct pd_count_table {
	size_t most;
	double theta;
	double *log_factorial; /* ln y!                                       */
	double *rise;          /* sum_{k<y} ln(1 + k/theta)                   */
	double *rise_t;        /* its slope in t = ln theta                   */
	double *rise_tt;       /* and the slope of that                       */
	/* Series of counts cut off above, filled where they are asked for: a
	 * table belongs to one fit, hence to one thread. */
	pd_cut **cut;          /* by count, NULL: summed anew each time       */
	pd_cut *cut_list[PD_COUNT_MOST_CUT];
	size_t n_cut;
} pd_count_table;

/* Slopes in e (ee, eee: second, third) and in t = ln theta (0 for Poisson). */
typedef struct pd_count_slopes {
	double l, e, ee, eee, t, tt, et, eet;
} pd_count_slopes;

pd_status pd_count_table_new(pd_arena *arena, size_t most,
                             pd_count_table *out, pd_error *err);
/* Keep series of the counts y[n] that are cut off (at_least[n]), whose rows
 * then cost no tail sum each: L to 1e-12 (1 + |L|), count_cut.h. */
pd_status pd_count_table_cut(pd_arena *arena, pd_count_table *t,
                             const double *y, const unsigned char *at_least,
                             size_t n, pd_error *err);
/* theta > 0, INFINITY: Poisson. */
void pd_count_table_set(pd_count_table *t, double theta);
/* y: 0 .. most; at_least non-zero: only Y >= y is known. All NaN where exp(e)
 * is not finite. */
void pd_count_row(const pd_count_table *t, size_t y, int at_least, double e,
                  pd_count_slopes *out);
/* n counts y[n] checked (whole, 0 .. PD_COUNT_MOST) and turned into whole
 * numbers, *most the largest. PD_DATA names the row. */
pd_status pd_count_whole(const double *y, size_t n, size_t *whole,
                         size_t *most, pd_error *err);

#endif
