/*
 * count_fit.h - what the parts of the count room share: a likelihood ready to
 * be searched. Not for callers outside.
 */
#ifndef PERDRAW_STATS_COUNT_FIT_H
#define PERDRAW_STATS_COUNT_FIT_H

#include "stats/basis.h"
#include "stats/count.h"
#include "stats/count_row.h"
#include "stats/count_wide.h"
#include "stats/newton.h"

typedef struct pd_count_search {
	pd_arena *arena;
	pd_basis basis;
	size_t n, p, n_cut;
	size_t *y;
	double *offset; /* n, zeros where the caller gave none               */
	const unsigned char *at_least;
	pd_count_table table;
	pd_count_columns x; /* basis.q by columns                            */
	double *linear, *mean, *slope, *bend, *mixed; /* n, scratch          */
	bool free_theta; /* ln theta is parameter p                          */
	double *par, *gradient, *hessian; /* p + 1 and its square            */
	pd_newton_record record;
} pd_count_search;

/* Check spec (no columns are allowed here) and copy what is needed; par
 * starts from the logs of the counts, theta from INFINITY. */
pd_status pd_count_begin(pd_arena *arena, const pd_count_spec *spec,
                         pd_count_search *s, pd_error *err);
/* Search with theta held at `theta`, or free from there (finite). */
pd_status pd_count_climb(pd_count_search *s, double theta, bool free_theta,
                         pd_error *err);
/* ln theta beyond which the data cannot tell NB2 from Poisson. */
double pd_count_furthest_theta(const pd_count_search *s);
/* PD_OK at a top; else the refusal or failure in words. */
pd_status pd_count_check_top(const pd_count_search *s, pd_error *err);
/* The Poisson fit, and after it NB2 where `extra`: *theta INFINITY where the
 * counts do not scatter more. *poisson_value: log-likelihood of the first. */
pd_status pd_count_climb_all(pd_count_search *s, bool extra, double *theta,
                             double *poisson_value, pd_error *err);
/* Linear predictor of row i at par. */
double pd_count_linear(const pd_count_search *s, size_t i);

#endif
