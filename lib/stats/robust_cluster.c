/*
 * robust_cluster.c - robust_cluster.h for least squares: clusters of rows,
 * columns made orthogonal by nested_columns.c (sqrt(W) X = Q U), what every
 * cluster adds, the covariance. robust_cluster_blocks.c: one cluster's
 * adjustment; robust_cluster_nested.c: the mixed model; robust_cluster_test.c:
 * intervals and tests.
 */
#include "stats/nested_tree.h"
#include "stats/robust_cluster_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST = 2000 }; /* rows of a cluster whose V_i is not v I        */

/* ---- clusters ----------------------------------------------------------- */

struct coded {
	int32_t code;
	size_t row;
};

static int cmp_coded(const void *a, const void *b)
{
	const struct coded *x = a, *y = b;

	if (x->code != y->code)
		return x->code < y->code ? -1 : 1;
	return (x->row > y->row) - (x->row < y->row);
}

pd_status pd_cluster_sort(pd_arena *arena, const int32_t *code, size_t n,
                          struct pd_cluster_sort *out, pd_error *err)
{
	struct coded *at = PD_NEW(arena, struct coded, n);

	*out = (struct pd_cluster_sort){ .n = n };
	out->row = PD_NEW(arena, size_t, n);
	out->start = PD_NEW(arena, size_t, n + 1);
	if (!at || !out->row || !out->start)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows", n);
	for (size_t i = 0; i < n; i++) {
		if (code[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu: cluster code "
			               "%ld, expected 0 or more", i + 1,
			               (long)code[i]);
		at[i] = (struct coded){ code[i], i };
	}
	qsort(at, n, sizeof *at, cmp_coded);
	for (size_t i = 0; i < n; i++) {
		if (i == 0 || at[i].code != at[i - 1].code)
			out->start[out->clusters++] = i;
		out->row[i] = at[i].row;
	}
	out->start[out->clusters] = n;
	for (size_t i = 0; i < out->clusters; i++)
		if (out->start[i + 1] - out->start[i] > out->longest)
			out->longest = out->start[i + 1] - out->start[i];
	if (out->clusters < 2)
		return pd_fail(err, PD_REFUSED, "a single cluster, expected "
		               "at least 2");
	return PD_OK;
}

struct pd_clustered *pd_clustered_start(size_t p, size_t clusters)
{
	struct pd_clustered *r = calloc(1, sizeof *r);
	size_t each = 3 * p * p + p;
	double *all;

	if (!r)
		return NULL;
	r->p = p;
	r->clusters = clusters;
	r->arena = pd_arena_new();
	if (r->arena) {
		r->u = PD_NEW(r->arena, double, 5 * p * p + p);
		r->part = PD_NEW(r->arena, struct pd_cluster_part, clusters);
	}
	all = r->arena ? PD_NEW(r->arena, double, clusters * each) : NULL;
	if (!all || !r->u || !r->part) {
		pd_clustered_free(r);
		return NULL;
	}
	r->covariance = r->u + p * p;
	r->bread = r->covariance + p * p;
	r->model = r->bread + p * p;
	r->robust = r->model + p * p;
	r->beta = r->robust + p * p;
	for (size_t i = 0; i < clusters; i++, all += each)
		r->part[i] = (struct pd_cluster_part){
			all, all + p * p, all + 2 * p * p, all + 3 * p * p
		};
	return r;
}

void pd_clustered_free(pd_clustered *c)
{
	if (!c)
		return;
	pd_arena_free(c->arena);
	free(c);
}

/* x(p) <- U^-1 x */
static void back(const struct pd_clustered *r, double *x)
{
	for (size_t i = r->p; i-- > 0;) {
		for (size_t k = i + 1; k < r->p; k++)
			x[i] -= r->u[i * r->p + k] * x[k];
		x[i] /= r->u[i * r->p + i];
	}
}

void pd_clustered_finish(struct pd_clustered *r)
{
	size_t p = r->p;
	double y2 = r->y_scale * r->y_scale;

	memset(r->robust, 0, p * p * sizeof *r->robust);
	for (size_t g = 0; g < r->clusters; g++) {
		double *z = r->part[g].score, *x = r->covariance;

		for (size_t i = 0; i < p; i++) { /* a cluster's pull on b */
			x[i] = 0.0;
			for (size_t j = 0; j < p; j++)
				x[i] += r->bread[i * p + j] * z[j];
		}
		for (size_t i = 0; i < p; i++)
			for (size_t j = 0; j < p; j++)
				r->robust[i * p + j] += x[i] * x[j];
	}
	memcpy(r->covariance, r->robust, p * p * sizeof *r->robust);
	for (int side = 0; side < 2; side++) {
		for (size_t i = 0; i < p; i++)
			back(r, r->covariance + i * p);
		for (size_t i = 0; i < p; i++)
			for (size_t j = 0; j < i; j++) {
				double *x = &r->covariance[i * p + j];
				double *y = &r->covariance[j * p + i], t = *x;

				*x = *y;
				*y = t;
			}
	}
	for (size_t i = 0; i < p * p; i++)
		r->covariance[i] *= y2;
}

/* ---- least squares ------------------------------------------------------ */

static pd_status check(const pd_clustered_spec *s, pd_error *err)
{
	const double *list[] = { s->weight, s->variance };
	const char *const name[] = { "weight", "working variance" };

	if (s->n == 0 || s->p == 0 || !s->x || !s->y || !s->cluster)
		return pd_fail(err, PD_USAGE, "no rows, no columns, no "
		               "outcome or no clusters");
	for (size_t k = 0; k < 2; k++)
		for (size_t i = 0; list[k] && i < s->n; i++)
			if (!(list[k][i] > 0.0) || !isfinite(list[k][i]))
				return pd_fail(err, PD_DATA, "row %zu: %s %g, "
				               "expected above 0", i + 1,
				               name[k], list[k][i]);
	return PD_OK;
}

/* A model without levels of sqrt(w) X and sqrt(w) y, for Q and U. */
static pd_status least_squares(const pd_clustered_spec *s, pd_arena *work,
                               pd_nested **out, pd_error *err)
{
	size_t n = s->n, p = s->p;
	double *x = PD_NEW(work, double, n * p), *y = PD_NEW(work, double, n);
	pd_nested_spec spec = { .n = n, .p = p, .x = x, .y = y };

	*out = NULL;
	if (!x || !y)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows", n);
	for (size_t i = 0; i < n; i++) {
		double root = s->weight ? sqrt(s->weight[i]) : 1.0;

		y[i] = root * s->y[i];
		for (size_t j = 0; j < p; j++)
			x[i * p + j] = root * s->x[i * p + j];
	}
	return pd_nested_new(&spec, out, err);
}

struct least {
	const pd_clustered_spec *s;
	const struct pd_nested *m;
	struct pd_cluster_rows at;
	double *v;
};

static double weight_of(const pd_clustered_spec *s, size_t i)
{
	return s->weight ? s->weight[i] : 1.0;
}

static double variance_of(const pd_clustered_spec *s, size_t i)
{
	return s->variance ? s->variance[i] : 1.0;
}

/* B = I / n; M = B X'W V W X B */
static void breads(const struct least *l, struct pd_clustered *r)
{
	size_t n = l->s->n, p = r->p;
	const struct pd_nested *m = l->m;

	for (size_t j = 0; j < p; j++)
		r->bread[j * p + j] = 1.0 / (double)n;
	for (size_t i = 0; i < n; i++) {
		const double *q = m->rows + i * m->ld;
		double f = weight_of(l->s, i) * variance_of(l->s, i) /
		           ((double)n * (double)n);

		for (size_t a = 0; a < p; a++)
			for (size_t b = 0; b < p; b++)
				r->model[a * p + b] += f * q[a] * q[b];
	}
	memcpy(r->u, m->u, p * p * sizeof *r->u);
	memcpy(r->beta, m->gamma, p * sizeof *r->beta);
	back(r, r->beta);
	r->y_scale = m->y_scale;
}

static bool same_within(const pd_clustered_spec *s, const size_t *row,
                        size_t n)
{
	for (size_t i = 1; i < n; i++)
		if (weight_of(s, row[i]) != weight_of(s, row[0]) ||
		    variance_of(s, row[i]) != variance_of(s, row[0]))
			return false;
	return true;
}

static void least_rows(struct least *l, const size_t *row, size_t n)
{
	struct pd_cluster_rows *c = &l->at;
	size_t p = l->m->p;
	bool same = same_within(l->s, row, n);

	c->n = n;
	c->v = same ? NULL : l->v;
	c->variance = variance_of(l->s, row[0]);
	if (!same)
		memset(l->v, 0, n * n * sizeof *l->v);
	for (size_t i = 0; i < n; i++) {
		const double *q = l->m->rows + row[i] * l->m->ld;
		double w = weight_of(l->s, row[i]), root = sqrt(w);
		double v = variance_of(l->s, row[i]);

		for (size_t j = 0; j < p; j++) {
			c->x[i * p + j] = q[j] / root;
			c->wx[i * p + j] = q[j] * root;
			c->fx[i * p + j] = q[j] * root * v;
		}
		c->e[i] = q[p] / root;
		if (!same)
			l->v[i * n + i] = v;
	}
}

static pd_status least_clusters(struct least *l, pd_arena *work,
                                const struct pd_cluster_sort *sort,
                                struct pd_clustered *r, pd_error *err)
{
	size_t np = sort->longest * r->p, wide = 0;
	pd_status st = PD_OK;

	for (size_t g = 0; g < sort->clusters; g++) {
		size_t n = sort->start[g + 1] - sort->start[g];

		if (n <= wide || same_within(l->s, sort->row + sort->start[g],
		                             n))
			continue;
		wide = n;
	}
	if (wide > LONGEST)
		return pd_fail(err, PD_REFUSED, "a cluster of %zu rows that "
		               "differ in weight or variance, at most %d",
		               wide, LONGEST);
	l->at.x = PD_NEW(work, double, 3 * np + sort->longest);
	l->v = PD_NEW(work, double, wide * wide + 1);
	if (!l->at.x || !l->v)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a cluster of "
		               "%zu rows", sort->longest);
	l->at.wx = l->at.x + np;
	l->at.fx = l->at.wx + np;
	l->at.e = l->at.fx + np;
	for (size_t g = 0; st == PD_OK && g < sort->clusters; g++) {
		least_rows(l, sort->row + sort->start[g],
		           sort->start[g + 1] - sort->start[g]);
		st = pd_cluster_adjust(r, &l->at, &r->part[g], err);
	}
	return st;
}

pd_status pd_clustered_new(const pd_clustered_spec *spec, pd_clustered **out,
                           pd_error *err)
{
	struct least l = { .s = spec };
	struct pd_cluster_sort sort;
	struct pd_clustered *r = NULL;
	pd_nested *m = NULL;
	pd_arena *work = pd_arena_new();
	pd_status st = check(spec, err);

	*out = NULL;
	if (st == PD_OK && !work)
		st = pd_fail(err, PD_NO_MEMORY, "no memory for clusters");
	if (st == PD_OK)
		st = pd_cluster_sort(work, spec->cluster, spec->n, &sort, err);
	if (st == PD_OK)
		st = least_squares(spec, work, &m, err);
	if (st == PD_OK) {
		r = pd_clustered_start(spec->p, sort.clusters);
		if (!r)
			st = pd_fail(err, PD_NO_MEMORY, "no memory for %zu "
			             "clusters", sort.clusters);
	}
	if (st == PD_OK) {
		l.m = m;
		breads(&l, r);
		st = least_clusters(&l, work, &sort, r, err);
	}
	if (st == PD_OK) {
		pd_clustered_finish(r);
		*out = r;
	} else {
		pd_clustered_free(r);
	}
	pd_nested_free(m);
	pd_arena_free(work);
	return st;
}
