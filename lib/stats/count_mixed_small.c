/*
 * count_mixed_small.c - limits of a contrast with few groups.
 */
#include "stats/count_mixed.h"
#include "stats/quantile.h"

#include <gsl/gsl_eigen.h>
#include <math.h>
#include <string.h>

static const double NOT_MUCH_LARGER = 1.21; /* variance; error 1.1 times  */
static const double NO_PART = 1e-9;  /* of an eigenvalue, columns scaled  */
static const double NO_LENGTH = 1e-6; /* of a contrast                    */

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

/* The variance of c'beta from within alone, INFINITY where it says nothing;
 * sets the rank. */
static pd_status variance_within(struct within *w, const double *c,
                                 double *variance, pd_error *err)
{
	size_t p = w->p;
	gsl_matrix_view a = gsl_matrix_view_array(w->sum, p, p);
	gsl_eigen_symmv_workspace *room = gsl_eigen_symmv_alloc(p);
	gsl_vector *value = gsl_vector_alloc(p);
	gsl_matrix *vector = gsl_matrix_alloc(p, p);
	double length = 0, lost = 0;
	int ready = room && value && vector;

	*variance = 0;
	if (ready)
		gsl_eigen_symmv(&a.matrix, value, vector, room);
	for (size_t k = 0; ready && k < p; k++) {
		double part = 0, size = gsl_vector_get(value, k);

		for (size_t j = 0; j < p; j++)
			part += gsl_matrix_get(vector, j, k) * c[j] /
			        w->scale[j];
		length += part * part;
		if (size > NO_PART) {
			w->rank++;
			*variance += part * part / size;
		} else {
			lost += part * part;
		}
	}
	if (lost > NO_LENGTH * NO_LENGTH * length)
		*variance = INFINITY;
	gsl_eigen_symmv_free(room);
	gsl_vector_free(value);
	gsl_matrix_free(vector);
	return ready ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

static pd_status limits(const pd_mixed_fit *fit, const struct within *w,
                        double level, pd_mixed_side side, pd_estimate *e,
                        pd_error *err)
{
	double groups = (double)fit->n_groups, t;
	double between = groups - (double)(fit->p - w->rank);

	e->df = side == PD_MIXED_BETWEEN
	            ? between : (double)fit->n - groups - (double)w->rank;
	if (!(e->df >= 1))
		return pd_fail(err, PD_REFUSED, "%zu groups and %zu rows leave "
		               "no degree of freedom to this contrast",
		               fit->n_groups, fit->n);
	if (side == PD_MIXED_BETWEEN)
		e->se *= sqrt(groups / between);
	t = pd_t_quantile(0.5 + 0.5 * level, e->df);
	e->low = e->value - t * e->se;
	e->high = e->value + t * e->se;
	e->p = pd_t_two_sided(e->value / e->se, e->df);
	return PD_OK;
}

pd_status pd_count_mixed_small(const pd_mixed_spec *spec,
                               const pd_mixed_fit *fit, const double *c,
                               double level, pd_estimate *out,
                               pd_mixed_side *side, pd_error *err)
{
	pd_arena *arena;
	struct within w = { 0 };
	double variance = 0;
	pd_estimate e;
	pd_status st = pd_count_mixed_contrast(fit, c, level, &e, err);

	if (st != PD_OK)
		return st;
	arena = pd_arena_new();
	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = gather(arena, spec, fit, &w, err);
	if (st == PD_OK)
		st = variance_within(&w, c, &variance, err);
	pd_arena_free(arena);
	if (st != PD_OK)
		return st;
	*side = variance <= NOT_MUCH_LARGER * e.se * e.se ? PD_MIXED_WITHIN
	                                                  : PD_MIXED_BETWEEN;
	st = limits(fit, &w, level, *side, &e, err);
	if (st == PD_OK)
		*out = e;
	return st;
}
