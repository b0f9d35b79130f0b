/*
 * permute_own.h - inside the permutation room: how a sum is counted, and the
 * two ways of making the sums of flipped signs.
 */
#ifndef PERDRAW_STATS_PERMUTE_OWN_H
#define PERDRAW_STATS_PERMUTE_OWN_H

#include "stats/permute.h"

struct pd_permute_task {
	const double *x;         /* n values, one a unit                       */
	size_t n;
	double observed, slack;
	size_t draws;
	uint64_t seed;
	unsigned threads;
};

/* Every one of the 2^n patterns, n <= 30, counted into hits, equal ... */
pd_status pd_flip_all(const struct pd_permute_task *t, pd_flip_result *out,
                      pd_error *err);

/* sum[k] under the signs of stream k of the seed: bit i set keeps x[i]. */
pd_status pd_flip_sums(const struct pd_permute_task *t, double *sum,
                       pd_error *err);

#endif
