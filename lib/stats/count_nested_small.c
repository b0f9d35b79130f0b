/*
 * count_nested_small.c - limits of a contrast with few groups at two levels.
 */
#include "stats/count_levels.h"
#include "stats/count_small.h"

#include <math.h>
#include <string.h>

/*
 * Rows weigh w; those of an inner group share scatter s2^2, so that their
 * inverse variance is W - W 1 1' W k, k = s2^2 / (1 + s2^2 sum w). Within the
 * inner group k is 1 / sum w: its level is free. Within the outer group the
 * level of all of them together is free.
 */
struct sides {
	size_t p;
	double *rows, *inner;  /* p square: what each says                   */
	double *scale;         /* p                                          */
	double *cross, *level; /* p: x'W 1 of an inner group, x'V^-1 1 of the
	                          outer one                                  */
};

static double weight_at(const pd_count_levels *l, const pd_count_nested_fit *f,
                        size_t i)
{
	double e = l->g.offset[i] + 0.5 * (f->sd_outer * f->sd_outer +
	                                   f->sd_inner * f->sd_inner), mu;

	for (size_t j = 0; j < l->g.p; j++)
		e += l->g.x.column[j * l->g.n + i] * f->beta[j];
	mu = exp(e);
	return mu / (1 + mu / f->theta);
}

static void add_product(double *sum, const double *a, double times, size_t p)
{
	for (size_t j = 0; j < p; j++)
		for (size_t k = 0; k < p; k++)
			sum[j * p + k] += times * a[j] * a[k];
}

/* One inner group; returns 1'V^-1 1 of it. */
static double add_inner(const pd_count_levels *l, const pd_count_nested_fit *f,
                        size_t group, struct sides *s)
{
	size_t p = s->p, n = l->g.n;
	const double *x = l->g.x.column;
	double total = 0, s2 = f->sd_inner * f->sd_inner, k;

	memset(s->cross, 0, p * sizeof *s->cross);
	for (size_t i = l->g.first[group]; i < l->g.first[group + 1]; i++) {
		double w = weight_at(l, f, i);

		total += w;
		for (size_t j = 0; j < p; j++) {
			double part = w * x[j * n + i];

			s->cross[j] += part;
			for (size_t h = 0; h < p; h++) {
				s->rows[j * p + h] += part * x[h * n + i];
				s->inner[j * p + h] += part * x[h * n + i];
			}
			s->scale[j] += part * x[j * n + i];
		}
	}
	k = s2 / (1 + s2 * total);
	add_product(s->rows, s->cross, -1 / total, p);
	add_product(s->inner, s->cross, -k, p);
	for (size_t j = 0; j < p; j++)
		s->level[j] += s->cross[j] * (1 - k * total);
	return total * (1 - k * total);
}

static void add_outer(const pd_count_levels *l, const pd_count_nested_fit *f,
                      size_t outer, struct sides *s)
{
	double total = 0;

	memset(s->level, 0, s->p * sizeof *s->level);
	for (size_t k = l->first[outer]; k < l->first[outer + 1]; k++)
		total += add_inner(l, f, k, s);
	add_product(s->inner, s->level, -1 / total, s->p);
}

static pd_status gather(pd_arena *arena, const pd_count_nested_spec *spec,
                        const pd_count_nested_fit *fit, struct sides *s,
                        pd_error *err)
{
	size_t p = s->p = spec->rows.p;
	pd_count_levels l;
	pd_status st = pd_count_levels_new(arena, spec, spec->rows.x, &l, err);

	if (st != PD_OK)
		return st;
	s->rows = PD_NEW(arena, double, p * p);
	s->inner = PD_NEW(arena, double, p * p);
	s->scale = PD_NEW(arena, double, p);
	s->cross = PD_NEW(arena, double, p);
	s->level = PD_NEW(arena, double, p);
	if (!s->rows || !s->inner || !s->scale || !s->cross || !s->level)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t k = 0; k < l.n_outer; k++)
		add_outer(&l, fit, k, s);
	for (size_t j = 0; j < p; j++)
		s->scale[j] = sqrt(s->scale[j]);
	for (size_t j = 0; j < p; j++)
		for (size_t k = 0; k < p; k++) {
			s->rows[j * p + k] /= s->scale[j] * s->scale[k];
			s->inner[j * p + k] /= s->scale[j] * s->scale[k];
		}
	return PD_OK;
}

/* Side, degrees of freedom and the groups behind them. */
static pd_status settle(const pd_count_nested_fit *fit, struct sides *s,
                        const double *c, double variance, pd_nested_side *side,
                        double *df, double *groups, pd_error *err)
{
	double rows = 0, inner = 0, n_inner = (double)fit->n_inner;
	double n_outer = (double)fit->n_outer;
	size_t r1 = 0, r2 = 0;
	pd_status st = pd_count_side(s->p, s->rows, s->scale, c, &r1, &rows,
	                             err);

	if (st == PD_OK)
		st = pd_count_side(s->p, s->inner, s->scale, c, &r2, &inner,
		                   err);
	*groups = 0;
	if (rows <= PD_COUNT_NOT_MUCH * variance) {
		*side = PD_NESTED_ROWS;
		*df = (double)fit->n - n_inner - (double)r1;
	} else if (inner <= PD_COUNT_NOT_MUCH * variance) {
		*side = PD_NESTED_INNER;
		*groups = n_inner - n_outer;
		*df = *groups - (double)(r2 - r1);
	} else {
		*side = PD_NESTED_OUTER;
		*groups = n_outer;
		*df = n_outer - (double)(s->p - r2);
	}
	return st;
}

pd_status pd_count_nested_small(const pd_count_nested_spec *spec,
                                const pd_count_nested_fit *fit,
                                const double *c, double level,
                                pd_estimate *out, pd_nested_side *side,
                                pd_error *err)
{
	pd_arena *arena;
	struct sides s = { 0 };
	double df = 0, groups = 0;
	pd_estimate e;
	pd_status st = pd_count_nested_contrast(fit, c, level, &e, err);

	if (st != PD_OK)
		return st;
	arena = pd_arena_new();
	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = gather(arena, spec, fit, &s, err);
	if (st == PD_OK)
		st = settle(fit, &s, c, e.se * e.se, side, &df, &groups, err);
	if (st == PD_OK)
		st = pd_count_t_limits(df, groups, level, &e, err);
	pd_arena_free(arena);
	if (st == PD_OK)
		*out = e;
	return st;
}
