/*
 * count_wide.h - the inner loops of count regressions, four numbers at a
 * time. Each is built for any processor and for wider ones; the arithmetic is
 * the same step by step, so that the bytes are too.
 * Not for callers outside the count rooms.
 */
#ifndef PERDRAW_STATS_COUNT_WIDE_H
#define PERDRAW_STATS_COUNT_WIDE_H

#include <stddef.h>

/* What is wanted: for the search of a mode sum_e and sum_ee; for a node these,
 * held, share, the logarithms and the rows' e; or everything. */
typedef enum pd_count_depth {
	PD_COUNT_TOP, PD_COUNT_NODE, PD_COUNT_ALL
} pd_count_depth;

/* Rows of an NB2 unit and their sums; the slopes go to the arrays of n. */
typedef struct pd_count_block {
	size_t n;
	const double *mu, *y;
	double theta, factor;  /* the rows' means are mu * theta * factor    */
	double *e, *ee, *eee, *et, *eet;
	double sum_e, sum_ee, sum_eee, sum_eet;
	double held, share;    /* theta s and y s, s = mu / (mu + theta)     */
	double log, counted;   /* ln(1 + mu / theta), y ln(1 + mu / theta)   */
} pd_count_block;

/* A model's n*p numbers, column after column. */
typedef struct pd_count_columns {
	size_t n, p;
	double *column;
} pd_count_columns;

typedef struct pd_count_kernel {
	const char *name;
	/* out[n] = exp(x[n]), the relative error below 3e-16; may be x. */
	void (*exp)(const double *x, double *out, size_t n);
	void (*scattered)(pd_count_block *b, pd_count_depth depth);
	/* out[n] = offset + x par. */
	void (*linear)(const pd_count_columns *x, const double *par,
	               const double *offset, double *out);
	/* sum[p] += x' w. */
	void (*cross)(const pd_count_columns *x, const double *w, double *sum);
	/* The lower half of the p*p, rows m long, += x' diag(w) x. */
	void (*squares)(const pd_count_columns *x, const double *w,
	                double *lower, size_t m);
} pd_count_kernel;

/* The i-th this processor can run, 0 the portable one, later ones faster;
 * NULL past the last. */
const pd_count_kernel *pd_count_kernel_at(size_t i);
/* The last of them. */
const pd_count_kernel *pd_count_kernel_best(void);

#endif
