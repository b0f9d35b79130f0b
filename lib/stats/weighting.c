/*
 * weighting.c - weights and the weighted difference; see weighting.h. The
 * balance table is in balance.c.
 */
#include "stats/weighting.h"
#include "base/arena.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>

/* ---- weights ---------------------------------------------------------- */

static double raw_weight(double chance, double rest, int arm, pd_target target)
{
	switch (target) {
	case PD_TARGET_ALL:
		return 1 / (arm ? chance : rest);
	case PD_TARGET_ARM_ONE:
		return arm ? 1 : chance / rest;
	default:
		return arm ? rest : chance;
	}
}

/* d ln(weight) / d(x'beta). */
static double slope_of(double chance, double rest, int arm, pd_target target)
{
	switch (target) {
	case PD_TARGET_ALL:
		return arm ? -rest : chance;
	case PD_TARGET_ARM_ONE:
		return arm ? 0 : 1;
	default:
		return arm ? -chance : rest;
	}
}

pd_status pd_weights_make(const pd_logistic *f, const int32_t *arm,
                          pd_target target, double trim, double *weight,
                          pd_weights *out, pd_error *err)
{
	double sum[2] = { 0, 0 }, square[2] = { 0, 0 };

	*out = (pd_weights){ .n_trimmed = 0 };
	if (!(trim >= 0 && trim < 0.5))
		return pd_fail(err, PD_DATA, "chances are trimmed at 0 or more "
		               "and below 0.5, got %g", trim);
	for (size_t i = 0; i < f->n; i++) {
		int a = arm[i] == 1;

		weight[i] = 0;
		if (f->chance[i] < trim || f->rest[i] < trim) {
			out->n_trimmed++;
			continue;
		}
		weight[i] = raw_weight(f->chance[i], f->rest[i], a, target);
		sum[a] += weight[i];
		out->used[a] += weight[i] > 0;
	}
	for (int a = 0; a < 2; a++)
		if (out->used[a] < 2 || !isfinite(sum[a]))
			return pd_fail(err, PD_REFUSED, "%zu rows with a "
			               "weight are left in arm %d, expected at "
			               "least 2", out->used[a], a);
	for (size_t i = 0; i < f->n; i++) {
		int a = arm[i] == 1;

		weight[i] /= sum[a];
		square[a] += weight[i] * weight[i];
		out->largest[a] = fmax(out->largest[a], weight[i]);
	}
	for (int a = 0; a < 2; a++)
		out->effective[a] = 1 / square[a];
	return PD_OK;
}

/* ---- the weighted difference ------------------------------------------ */

/* What a cluster adds: see weighting.h; square is sum w^2. */
struct part {
	double a[2], weight[2], square[2], chance;
};

struct work {
	const pd_weighted_data *d;
	double *weight;         /* n                                          */
	double mean[2], variance[2], square[2];
	struct part *part;      /* n_parts                                    */
	size_t n_parts;
};

static size_t cluster_of(const struct work *w, size_t i)
{
	return w->d->cluster ? (size_t)w->d->cluster[i] : i;
}

static pd_status look(const pd_weighted_data *d, pd_error *err)
{
	if (!(d->level > 0 && d->level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", d->level);
	for (size_t i = 0; i < d->fit->n; i++) {
		if (!isfinite(d->y[i]))
			return pd_fail(err, PD_DATA, "row %zu: the outcome is "
			               "%g, expected a finite number", i + 1,
			               d->y[i]);
		if (d->cluster && (d->cluster[i] < 0 ||
		                   (size_t)d->cluster[i] >= d->n_clusters))
			return pd_fail(err, PD_DATA, "row %zu: patient code %d "
			               "is not between 0 and %zu", i + 1,
			               (int)d->cluster[i], d->n_clusters - 1);
	}
	return PD_OK;
}

/* Means about the first value of each arm, so that an offset costs nothing. */
static void means(struct work *w)
{
	const pd_weighted_data *d = w->d;
	double from[2] = { NAN, NAN };

	for (size_t i = 0; i < d->fit->n; i++) {
		int a = d->model->arm[i];

		if (isnan(from[a]))
			from[a] = d->y[i];
		w->mean[a] += w->weight[i] * (d->y[i] - from[a]);
		w->square[a] += w->weight[i] * w->weight[i];
	}
	for (int a = 0; a < 2; a++)
		w->mean[a] += from[a];
	for (size_t i = 0; i < d->fit->n; i++) {
		int a = d->model->arm[i];
		double off = d->y[i] - w->mean[a];

		w->variance[a] += w->weight[i] * off * off /
		                  (1 - w->square[a]);
	}
}

/* way[p] = I^-1 H in the basis of the fit; h[p] is room. */
static void towards(const struct work *w, double *h, double *way)
{
	const pd_logistic *f = w->d->fit;
	size_t p = f->p;

	for (size_t i = 0; i < f->n; i++) {
		int a = w->d->model->arm[i];
		double t = w->weight[i] * (w->d->y[i] - w->mean[a]) *
		           slope_of(f->chance[i], f->rest[i], a,
		                    w->d->target);

		for (size_t j = 0; j < p; j++)
			h[j] += (a ? t : -t) * f->q[i * p + j];
	}
	for (size_t j = 0; j < p; j++)
		for (size_t k = 0; k < p; k++)
			way[j] += f->q_covariance[j * p + k] * h[k];
}

static void gather(struct work *w, const double *way)
{
	const pd_logistic *f = w->d->fit;

	for (size_t i = 0; i < f->n; i++) {
		struct part *c = &w->part[cluster_of(w, i)];
		int a = w->d->model->arm[i];
		double wt = w->weight[i], along = 0;

		c->a[a] += wt * (w->d->y[i] - w->mean[a]);
		c->weight[a] += wt;
		c->square[a] += wt * wt;
		for (size_t j = 0; j < f->p; j++)
			along += f->q[i * f->p + j] * way[j];
		c->chance += along * (a ? f->rest[i] : -f->chance[i]);
	}
}

static double root_left(const struct part *c, int a)
{
	return sqrt(1 - c->weight[a]);
}

/*
 * Satterthwaite's df of sum U^2, U = B y with row c of B: (1 / root) (w_i -
 * W_c w) in each arm, signs as they are, rows independent, variance v_a.
 *   B V B' = D - sum_a (b t' + t b' - q t t'),  D_c = sum_a v_a w2_ca / left_ca
 *   t_c = W_ca / root_ca, b_c = v_a w2_ca / root_ca, q = v_a sum w^2
 * df = (tr)^2 / tr of the square, from D and the 4 by 4 products of the t, b.
 */
static double satterthwaite(const struct work *w)
{
	double k[4][4] = { { 0 } }, g[4][4] = { { 0 } }, m[4][4] = { { 0 } };
	double dg[4][4] = { { 0 } };
	double both = w->variance[0] + w->variance[1];
	const double share[2] = { w->variance[0] / both,
	                          w->variance[1] / both };
	double trace = 0, square = 0;

	for (size_t c = 0; c < w->n_parts; c++) {
		const struct part *u = &w->part[c];
		double v[4], diagonal = 0;

		for (int a = 0; a < 2; a++) {
			double root = root_left(u, a);
			double b = share[a] * u->square[a];

			v[2 * a] = b / root;
			v[2 * a + 1] = u->weight[a] / root;
			diagonal += b / (root * root);
		}
		trace += diagonal;
		square += diagonal * diagonal;
		for (int i = 0; i < 4; i++)
			for (int j = 0; j < 4; j++) {
				g[i][j] += v[i] * v[j];
				dg[i][j] += diagonal * v[i] * v[j];
			}
	}
	for (int a = 0; a < 2; a++) {
		k[2 * a][2 * a + 1] = k[2 * a + 1][2 * a] = -1;
		k[2 * a + 1][2 * a + 1] = share[a] * w->square[a];
	}
	for (int i = 0; i < 4; i++)
		for (int j = 0; j < 4; j++) {
			trace += k[i][j] * g[i][j];
			square += 2 * k[i][j] * dg[i][j];
			for (int l = 0; l < 4; l++)
				m[i][j] += k[i][l] * g[l][j];
		}
	for (int i = 0; i < 4; i++)
		for (int j = 0; j < 4; j++)
			square += m[i][j] * m[j][i];
	return trace * trace / square;
}

static pd_estimate estimate(const struct work *w, double variance, double df)
{
	pd_estimate e = { .value = w->mean[1] - w->mean[0],
	                  .se = sqrt(variance), .df = df,
	                  .level = w->d->level };
	double half = e.se * pd_t_quantile(0.5 + 0.5 * e.level, df);

	e.low = e.value - half;
	e.high = e.value + half;
	e.p = pd_t_two_sided(e.value / e.se, df);
	return e;
}

static pd_status answer(const struct work *w, pd_weighted *out, pd_error *err)
{
	double with = 0, without = 0, plain = 0, df;

	for (size_t c = 0; c < w->n_parts; c++) {
		const struct part *u = &w->part[c];
		double y, t;

		for (int a = 0; a < 2; a++) {
			out->clusters[a] += u->weight[a] > 0;
			if (!(1 - u->weight[a] > 1e-12))
				return pd_fail(err, PD_REFUSED, "all the "
				               "weight of arm %d lies in one "
				               "patient", a);
		}
		y = u->a[1] / root_left(u, 1) - u->a[0] / root_left(u, 0);
		t = u->a[1] - u->a[0] + u->chance;
		with += (y + u->chance) * (y + u->chance);
		without += y * y;
		plain += t * t;
	}
	if (!(without > 0) || !(with > 0) || !isfinite(with))
		return pd_fail(err, PD_REFUSED, "no variation of the outcome "
		               "within the arms");
	df = satterthwaite(w);
	if (!(df > 0) || !isfinite(df))
		return pd_fail(err, PD_NUMERIC, "the degrees of freedom cannot "
		               "be computed");
	out->estimate = estimate(w, with, df);
	out->known = estimate(w, without, df);
	out->plain_se = sqrt(plain);
	for (int a = 0; a < 2; a++)
		out->mean[a] = w->mean[a];
	return PD_OK;
}

/* Two values a few rounding errors apart are equal. */
static int varies(const struct work *w)
{
	double most = fmax(fabs(w->mean[0]), fabs(w->mean[1]));

	return sqrt(w->variance[0] + w->variance[1]) > 1e-13 * most;
}

pd_status pd_weighted_contrast(const pd_weighted_data *d, pd_weighted *out,
                               pd_error *err)
{
	pd_status st = look(d, err);
	struct work w = { .d = d };
	pd_arena *arena;
	double *h, *way;

	if (st != PD_OK)
		return st;
	*out = (pd_weighted){ .plain_se = NAN };
	arena = pd_arena_new();
	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	w.n_parts = d->cluster ? d->n_clusters : d->fit->n;
	w.weight = PD_NEW(arena, double, d->fit->n);
	w.part = PD_NEW(arena, struct part, w.n_parts);
	h = PD_NEW(arena, double, d->fit->p);
	way = PD_NEW(arena, double, d->fit->p);
	if (!w.weight || !w.part || !h || !way)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = pd_weights_make(d->fit, d->model->arm, d->target, d->trim,
		                     w.weight, &out->weights, err);
	if (st == PD_OK) {
		means(&w);
		if (!varies(&w))
			st = pd_fail(err, PD_REFUSED, "no variation of the "
			             "outcome within the arms");
	}
	if (st == PD_OK) {
		towards(&w, h, way);
		gather(&w, way);
		st = answer(&w, out, err);
	}
	pd_arena_free(arena);
	return st;
}
