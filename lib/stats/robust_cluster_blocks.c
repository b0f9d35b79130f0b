/*
 * robust_cluster_blocks.c - one cluster's adjustment. The middle of A_i is
 *   G = V - X B F' - F B X' + X M X',   F = V W X
 * and A = D'(D G D')^(+1/2) D for any D with D'D = V; D is Cholesky's.
 * Where V = v I and the weights are equal, F = w v X and G = v I + X S X',
 * S = M - 2 w v B: A is then I but in the span of X, found from p*p numbers
 * however many rows there are.
 */
#include "stats/nested_dense.h"
#include "stats/robust_cluster_own.h"

#include <gsl/gsl_eigen.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double null_floor = 1e-10; /* of the largest eigenvalue      */
static const double span_floor = 1e-11; /* of a column's length           */

/* out(a*b) = x(k*a)' y(k*b) */
static void cross(const double *x, const double *y, size_t k, size_t a,
                  size_t b, double *out)
{
	memset(out, 0, a * b * sizeof *out);
	for (size_t l = 0; l < k; l++)
		for (size_t i = 0; i < a; i++)
			for (size_t j = 0; j < b; j++)
				out[i * b + j] += x[l * a + i] * y[l * b + j];
}

/* out(a*b) = x(a*k) y(k*b) */
static void product(const double *x, const double *y, size_t a, size_t k,
                    size_t b, double *out)
{
	memset(out, 0, a * b * sizeof *out);
	for (size_t i = 0; i < a; i++)
		for (size_t l = 0; l < k; l++)
			for (size_t j = 0; j < b; j++)
				out[i * b + j] += x[i * k + l] * y[l * b + j];
}

/* g(n*n) from v; work 2*n*p */
static void middle(const struct pd_clustered *r,
                   const struct pd_cluster_rows *c, double *g, double *work)
{
	size_t n = c->n, p = r->p;
	double *fb = work, *xm = work + n * p;

	product(c->fx, r->bread, n, p, p, fb);
	product(c->x, r->model, n, p, p, xm);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j <= i; j++) {
			double s = c->v[i * n + j];

			for (size_t k = 0; k < p; k++)
				s += xm[i * p + k] * c->x[j * p + k] -
				     fb[i * p + k] * c->x[j * p + k] -
				     fb[j * p + k] * c->x[i * p + k];
			g[i * n + j] = g[j * n + i] = s;
		}
}

/* g <- L'g L and then its pseudo-inverse root; L(n*n) lower. */
static bool inner_root(size_t n, const double *l, double *g, double *work,
                       gsl_eigen_symmv_workspace *space)
{
	gsl_matrix_view a = gsl_matrix_view_array(work, n, n);
	gsl_vector *value = gsl_vector_alloc(n);
	gsl_matrix *vector = gsl_matrix_alloc(n, n);
	bool ok = value && vector;
	double most = 0.0;

	for (size_t i = 0; ok && i < n; i++) /* g L */
		for (size_t j = 0; j < n; j++) {
			work[i * n + j] = 0.0;
			for (size_t k = j; k < n; k++)
				work[i * n + j] += g[i * n + k] * l[k * n + j];
		}
	cross(l, work, n, n, n, g);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			work[i * n + j] = 0.5 * (g[i * n + j] + g[j * n + i]);
	ok = ok && gsl_eigen_symmv(&a.matrix, value, vector, space) == 0;
	for (size_t k = 0; ok && k < n; k++)
		most = fmax(most, gsl_vector_get(value, k));
	memset(g, 0, n * n * sizeof *g);
	for (size_t k = 0; ok && k < n; k++) {
		double by = gsl_vector_get(value, k);

		if (!(by > null_floor * most))
			continue;
		by = 1.0 / sqrt(by);
		for (size_t i = 0; i < n; i++)
			for (size_t j = 0; j < n; j++)
				g[i * n + j] += by *
					gsl_matrix_get(vector, i, k) *
					gsl_matrix_get(vector, j, k);
	}
	gsl_vector_free(value);
	gsl_matrix_free(vector);
	return ok;
}

/* e(n*p) = L R L' W X, D = L' */
static void times(size_t n, size_t p, const double *l, const double *root,
                  const double *wx, double *e, double *work)
{
	double *a = work, *b = work + n * p;

	cross(l, wx, n, n, p, a);
	product(root, a, n, n, p, b);
	product(l, b, n, n, p, e);
}

static pd_status dense(const struct pd_clustered *r,
                       const struct pd_cluster_rows *c, double *e,
                       pd_error *err)
{
	size_t n = c->n, p = r->p;
	double *l = calloc(3 * n * n + 2 * n * p, sizeof *l);
	gsl_eigen_symmv_workspace *space = gsl_eigen_symmv_alloc(n);
	pd_status st = PD_OK;

	if (!l || !space) {
		st = pd_fail(err, PD_NO_MEMORY, "no memory for a cluster of "
		             "%zu rows", n);
	} else {
		double *g = l + n * n, *work = g + n * n;

		memcpy(l, c->v, n * n * sizeof *l);
		if (!pd_chol(l, n, n))
			st = pd_fail(err, PD_NUMERIC, "the working covariance "
			             "of a cluster is not positive definite");
		for (size_t i = 0; i < n; i++)
			for (size_t j = i + 1; j < n; j++)
				l[i * n + j] = 0.0;
		middle(r, c, g, work + n * n);
		if (st == PD_OK && !inner_root(n, l, g, work, space))
			st = pd_fail(err, PD_NUMERIC, "no root of a cluster's "
			             "adjustment");
		if (st == PD_OK)
			times(n, p, l, g, c->wx, e, work + n * n);
	}
	gsl_eigen_symmv_free(space);
	free(l);
	return st;
}

/* Orthonormal columns q(n*k, by column) of the span of x(n*p); returns k. */
static size_t span(const double *x, size_t n, size_t p, double *q)
{
	size_t k = 0;

	for (size_t j = 0; j < p; j++) {
		double *c = q + k * n, before = 0.0, after = 0.0;

		for (size_t i = 0; i < n; i++) {
			c[i] = x[i * p + j];
			before += c[i] * c[i];
		}
		for (int pass = 0; pass < 2; pass++)
			for (size_t h = 0; h < k; h++) {
				double s = 0.0;

				for (size_t i = 0; i < n; i++)
					s += q[h * n + i] * c[i];
				for (size_t i = 0; i < n; i++)
					c[i] -= s * q[h * n + i];
			}
		for (size_t i = 0; i < n; i++)
			after += c[i] * c[i];
		if (!(after > span_floor * span_floor * before))
			continue;
		for (size_t i = 0; i < n; i++)
			c[i] /= sqrt(after);
		k++;
	}
	return k;
}

/* Work of low_rank: q n*p, the others p*p each, column n. */
struct thin {
	double *q, *t, *s, *a, *z, *value, *column;
};

/* Eigenvalues l and vectors z of T S T', T = Q'X; returns their number. */
static size_t thin_eigen(const struct pd_clustered *r,
                         const struct pd_cluster_rows *c, double w,
                         struct thin *h)
{
	size_t n = c->n, p = r->p, k = span(c->x, n, p, h->q);

	for (size_t a = 0; a < k; a++)
		for (size_t j = 0; j < p; j++) {
			h->t[a * p + j] = 0.0;
			for (size_t i = 0; i < n; i++)
				h->t[a * p + j] += h->q[a * n + i] *
				                   c->x[i * p + j];
		}
	for (size_t i = 0; i < p * p; i++)
		h->s[i] = r->model[i] - 2.0 * w * c->variance * r->bread[i];
	product(h->t, h->s, k, p, p, h->z);
	for (size_t a = 0; a < k; a++)
		for (size_t b = 0; b < k; b++) {
			h->a[a * k + b] = 0.0;
			for (size_t j = 0; j < p; j++)
				h->a[a * k + b] += h->z[a * p + j] *
				                   h->t[b * p + j];
		}
	pd_eigen(h->a, k, h->value, h->z);
	return k;
}

/* e += by f f'W X, f column d of Q z */
static void thin_apply(const struct pd_cluster_rows *c, size_t p, size_t k,
                       size_t d, double by, struct thin *h, double *e)
{
	size_t n = c->n;
	double *f = h->column, *fx = h->s;

	memset(f, 0, n * sizeof *f);
	for (size_t a = 0; a < k; a++)
		for (size_t i = 0; i < n; i++)
			f[i] += h->q[a * n + i] * h->z[a * k + d];
	memset(fx, 0, p * sizeof *fx);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			fx[j] += f[i] * c->wx[i * p + j];
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			e[i * p + j] += by * f[i] * fx[j];
}

/* V = v I, equal weights: A = I + Q z {(v / (v + l))^(+1/2) - 1} z'Q'. */
static pd_status low_rank(const struct pd_clustered *r,
                          const struct pd_cluster_rows *c, double *e,
                          pd_error *err)
{
	size_t n = c->n, p = r->p, pp = p * p, k;
	double v = c->variance, w = 0.0;
	double *room = calloc(n * p + 5 * pp + n, sizeof *room);
	struct thin h;

	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a cluster of "
		               "%zu rows", n);
	h.q = room;
	h.t = h.q + n * p;
	h.s = h.t + pp;
	h.a = h.s + pp;
	h.z = h.a + pp;
	h.value = h.z + pp;
	h.column = h.value + pp;
	for (size_t i = 0; i < n * p && !(w > 0.0); i++)
		if (c->x[i] != 0.0)
			w = c->wx[i] / c->x[i];
	k = thin_eigen(r, c, w, &h);
	memcpy(e, c->wx, n * p * sizeof *e);
	for (size_t d = 0; d < k; d++) {
		double left = v + h.value[d];

		thin_apply(c, p, k, d,
		           (left > null_floor * v ? sqrt(v / left) : 0.0) -
		           1.0, &h, e);
	}
	free(room);
	return PD_OK;
}

pd_status pd_cluster_adjust(const struct pd_clustered *r,
                            const struct pd_cluster_rows *c,
                            struct pd_cluster_part *part, pd_error *err)
{
	size_t n = c->n, p = r->p;
	double *e = calloc(2 * n * p, sizeof *e), *ve = e + n * p;
	pd_status st;

	if (!e)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a cluster of "
		               "%zu rows", n);
	st = c->v ? dense(r, c, e, err) : low_rank(r, c, e, err);
	if (st == PD_OK) {
		if (c->v)
			product(c->v, e, n, n, p, ve);
		for (size_t i = 0; !c->v && i < n * p; i++)
			ve[i] = c->variance * e[i];
		cross(c->x, e, n, p, p, part->xe);
		cross(c->fx, e, n, p, p, part->fe);
		cross(e, ve, n, p, p, part->ve);
		cross(e, c->e, n, p, 1, part->score);
	}
	free(e);
	return st;
}
