/*
 * count_mixed_small.c - limits of a contrast with few groups.
 */
#include "stats/count_mixed.h"
#include "stats/count_small.h"

#include <math.h>
#include <string.h>

/* What rows of the same group say. */
struct within {
	size_t p, rank;
	double *sum, *scale;   /* p square, p                                */
	double *mean, *weight; /* groups * p, groups                         */
};

static size_t group_of(const pd_mixed_fit *fit, int32_t code)
{
	size_t low = 0, high = fit->n_groups;

	while (high - low > 1) {
		size_t middle = low + (high - low) / 2;

		if (fit->code[middle] <= code)
			low = middle;
		else
			high = middle;
	}
	return low;
}

static double weight_of(const pd_mixed_spec *spec, const pd_mixed_fit *fit,
                        size_t i, size_t group)
{
	const pd_count_spec *rows = &spec->rows;
	double e = (rows->offset ? rows->offset[i] : 0) + fit->effect[group];
	double mu;

	for (size_t j = 0; j < rows->p; j++)
		e += rows->x[i * rows->p + j] * fit->beta[j];
	mu = exp(e);
	return mu / (1 + mu / fit->theta);
}

static pd_status gather(pd_arena *arena, const pd_mixed_spec *spec,
                        const pd_mixed_fit *fit, struct within *w,
                        pd_error *err)
{
	const pd_count_spec *rows = &spec->rows;
	size_t p = w->p = rows->p, n = rows->n;
	size_t *group = PD_NEW(arena, size_t, n);
	double *weight = PD_NEW(arena, double, n);

	w->sum = PD_NEW(arena, double, p * p);
	w->scale = PD_NEW(arena, double, p);
	w->mean = PD_NEW(arena, double, fit->n_groups * p);
	w->weight = PD_NEW(arena, double, fit->n_groups);
	if (!group || !weight || !w->sum || !w->scale || !w->mean ||
	    !w->weight)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++) {
		size_t g = group[i] = group_of(fit, spec->group[i]);

		weight[i] = weight_of(spec, fit, i, g);
		w->weight[g] += weight[i];
		for (size_t j = 0; j < p; j++) {
			double x = rows->x[i * p + j];

			w->mean[g * p + j] += weight[i] * x;
			w->scale[j] += weight[i] * x * x;
		}
	}
	for (size_t g = 0; g < fit->n_groups; g++)
		for (size_t j = 0; j < p; j++)
			w->mean[g * p + j] /= w->weight[g];
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			for (size_t k = 0; k < p; k++)
				w->sum[j * p + k] += weight[i] *
				    (rows->x[i * p + j] -
				     w->mean[group[i] * p + j]) *
				    (rows->x[i * p + k] -
				     w->mean[group[i] * p + k]);
	for (size_t j = 0; j < p; j++)
		w->scale[j] = sqrt(w->scale[j]);
	for (size_t j = 0; j < p; j++)
		for (size_t k = 0; k < p; k++)
			w->sum[j * p + k] /= w->scale[j] * w->scale[k];
	return PD_OK;
}

pd_status pd_count_mixed_small(const pd_mixed_spec *spec,
                               const pd_mixed_fit *fit, const double *c,
                               double level, pd_estimate *out,
                               pd_mixed_side *side, pd_error *err)
{
	pd_arena *arena;
	struct within w = { 0 };
	double variance = 0, groups;
	pd_estimate e;
	pd_status st = pd_count_mixed_contrast(fit, c, level, &e, err);

	if (st != PD_OK)
		return st;
	arena = pd_arena_new();
	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = gather(arena, spec, fit, &w, err);
	if (st == PD_OK)
		st = pd_count_side(w.p, w.sum, w.scale, c, &w.rank, &variance,
		                   err);
	pd_arena_free(arena);
	if (st != PD_OK)
		return st;
	groups = (double)fit->n_groups;
	if (variance <= PD_COUNT_NOT_MUCH * e.se * e.se) {
		*side = PD_MIXED_WITHIN;
		st = pd_count_t_limits((double)fit->n - groups -
		                       (double)w.rank, 0, level, &e, err);
	} else {
		*side = PD_MIXED_BETWEEN;
		st = pd_count_t_limits(groups - (double)(w.p - w.rank), groups,
		                       level, &e, err);
	}
	if (st == PD_OK)
		*out = e;
	return st;
}
