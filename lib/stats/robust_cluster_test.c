/*
 * robust_cluster_test.c - intervals and tests from a sandwich. With z = B c
 * (c turned to Q's coordinates) and E_i of the own header:
 *   K_ij = [i=j] d_i + u_i'v_j,  d_i = z'E_i'V_i E_i z,
 *   u_i = (a_i, b_i),  v_j = (M a_j - B b_j, - B a_j),
 *   a_i = X_i'E_i z,  b_i = X_i'W_i V_i E_i z
 * so that sums over pairs of clusters are sums over clusters (used for many
 * clusters; a few dozen are summed pair by pair). For contrasts
 * q, r, s, t, with K^qr_ij = p_i(q)'V p_j(r),
 *   sum over i, j of K^qr_ij K^st_ij = sum over i of (d^qr d^st +
 *     d^qr u^s'v^t + d^st u^q'v^r) + tr (sum u^s u^q')(sum v^r v^t')
 * and the covariance of contrasts, standardised to an expectation of I, has
 *   total variance = sum over s, t of (K^ss_ij K^tt_ij + K^st_ij K^ts_ij),
 *   eta = q (q + 1) / total variance.
 */
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/quantile.h"
#include "stats/robust_cluster_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Expected variance over the model's: 1 but where a pseudo-inverse had to
 * leave a direction out that the contrast needs. */
static const double known_floor = 1.0 - 1e-6;
/* Up to so many clusters sums over pairs are made term by term, which loses
 * no digits to weights of very unlike size. */
enum { PLAIN = 80 };

size_t pd_clustered_clusters(const pd_clustered *c)
{
	return c->clusters;
}

const double *pd_clustered_beta(const pd_clustered *c)
{
	return c->beta;
}

const double *pd_clustered_covariance(const pd_clustered *c)
{
	return c->covariance;
}

static double dot(const double *x, const double *y, size_t n)
{
	double s = 0.0;

	for (size_t i = 0; i < n; i++)
		s += x[i] * y[i];
	return s;
}

/* out(p) = a(p*p) x */
static void times(const double *a, const double *x, size_t p, double *out)
{
	for (size_t i = 0; i < p; i++)
		out[i] = dot(a + i * p, x, p);
}

/* For `rows` contrasts: z, and by cluster u and v (2p each) and d. */
struct spread {
	size_t rows;
	double *turned, *z;    /* rows*p                                     */
	double *u, *v;         /* clusters * rows * 2p                       */
	double *d;             /* clusters * rows * rows                     */
	double *work;          /* 2 * (2p)^2 + 2p                            */
};

static bool spread_room(pd_arena *a, const pd_clustered *r, size_t rows,
                        struct spread *s)
{
	size_t p = r->p, all = r->clusters * rows;

	s->rows = rows;
	s->turned = PD_NEW(a, double, rows * p);
	s->z = PD_NEW(a, double, rows * p);
	s->u = PD_NEW(a, double, all * 2 * p);
	s->v = PD_NEW(a, double, all * 2 * p);
	s->d = PD_NEW(a, double, all * rows);
	s->work = PD_NEW(a, double, 8 * p * p + 2 * p);
	return s->turned && s->z && s->u && s->v && s->d && s->work;
}

static void spread_fill(const pd_clustered *r, struct spread *s)
{
	size_t p = r->p, rows = s->rows;
	double *t = s->work;

	for (size_t g = 0; g < r->clusters; g++)
		for (size_t k = 0; k < rows; k++) {
			double *u = s->u + (g * rows + k) * 2 * p;
			double *v = s->v + (g * rows + k) * 2 * p;
			const double *z = s->z + k * p;

			times(r->part[g].xe, z, p, u);
			times(r->part[g].fe, z, p, u + p);
			times(r->model, u, p, v);
			times(r->bread, u + p, p, t);
			for (size_t j = 0; j < p; j++)
				v[j] -= t[j];
			times(r->bread, u, p, v + p);
			for (size_t j = 0; j < p; j++)
				v[p + j] = -v[p + j];
			times(r->part[g].ve, z, p, t);
			for (size_t l = 0; l < rows; l++)
				s->d[(g * rows + k) * rows + l] =
					dot(t, s->z + l * p, p);
		}
}

/* U'^-1 c into turned, B of it into z */
static void turn(const pd_clustered *r, const double *c, size_t rows,
                 struct spread *s)
{
	size_t p = r->p;

	for (size_t k = 0; k < rows; k++) {
		double *t = s->turned + k * p;

		for (size_t i = 0; i < p; i++) {
			t[i] = c[k * p + i];
			for (size_t j = 0; j < i; j++)
				t[i] -= r->u[j * p + i] * t[j];
			t[i] /= r->u[i * p + i];
		}
		times(r->bread, t, p, s->z + k * p);
	}
}

static const double *u_at(const pd_clustered *r, const struct spread *s,
                          const double *of, size_t g, size_t k)
{
	return of + (g * s->rows + k) * 2 * r->p;
}

/* sum over i of K^ab_ii */
static double diagonal(const pd_clustered *r, const struct spread *s,
                       size_t a, size_t b)
{
	double sum = 0.0;

	for (size_t g = 0; g < r->clusters; g++)
		sum += s->d[(g * s->rows + a) * s->rows + b] +
		       dot(u_at(r, s, s->u, g, a), u_at(r, s, s->v, g, b),
		           2 * r->p);
	return sum;
}

/* out(2p*2p) = sum over clusters of x^a y^b' */
static void outer(const pd_clustered *r, const struct spread *s,
                  const double *of, size_t a, size_t b, double *out)
{
	size_t w = 2 * r->p;

	memset(out, 0, w * w * sizeof *out);
	for (size_t g = 0; g < r->clusters; g++) {
		const double *x = u_at(r, s, of, g, a);
		const double *y = u_at(r, s, of, g, b);

		for (size_t i = 0; i < w; i++)
			for (size_t j = 0; j < w; j++)
				out[i * w + j] += x[i] * y[j];
	}
}

/* K^ab_ij */
static double cell(const pd_clustered *r, const struct spread *s, size_t a,
                   size_t b, size_t i, size_t j)
{
	return (i == j ? s->d[(i * s->rows + a) * s->rows + b] : 0.0) +
	       dot(u_at(r, s, s->u, i, a), u_at(r, s, s->v, j, b), 2 * r->p);
}

/* sum over i, j of K^ab_ij K^cd_ij, term by term */
static double pairs_plain(const pd_clustered *r, const struct spread *s,
                          size_t a, size_t b, size_t c, size_t d)
{
	double sum = 0.0;

	for (size_t i = 0; i < r->clusters; i++)
		for (size_t j = 0; j < r->clusters; j++) {
			double x = cell(r, s, a, b, i, j);

			sum += x * (a == c && b == d ? x :
			            cell(r, s, c, d, i, j));
		}
	return sum;
}

/* The same by the sums over clusters. */
static double pairs_summed(const pd_clustered *r, const struct spread *s,
                           size_t a, size_t b, size_t c, size_t d)
{
	size_t w = 2 * r->p, q = s->rows;
	double *x = s->work, *y = x + w * w, sum;

	outer(r, s, s->u, c, a, x);
	outer(r, s, s->v, b, d, y);
	sum = pd_trace(x, y, w);
	for (size_t g = 0; g < r->clusters; g++) {
		double ab = s->d[(g * q + a) * q + b];
		double cd = s->d[(g * q + c) * q + d];

		sum += ab * cd +
		       ab * dot(u_at(r, s, s->u, g, c),
		                u_at(r, s, s->v, g, d), w) +
		       cd * dot(u_at(r, s, s->u, g, a),
		                u_at(r, s, s->v, g, b), w);
	}
	return sum;
}

static double pairs(const pd_clustered *r, const struct spread *s, size_t a,
                    size_t b, size_t c, size_t d)
{
	return r->clusters > PLAIN ? pairs_summed(r, s, a, b, c, d) :
	                             pairs_plain(r, s, a, b, c, d);
}

static pd_status finite_contrasts(const double *c, size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(c[i]))
			return pd_fail(err, PD_USAGE, "a contrast is not "
			               "finite");
	return PD_OK;
}

static pd_status one(const pd_clustered *r, const double *c, double level,
                     struct spread *s, pd_estimate *out, pd_error *err)
{
	size_t p = r->p;
	double model, kept, squares, variance, df;

	turn(r, c, 1, s);
	spread_fill(r, s);
	model = pd_form(s->turned, r->model, p, s->turned, p);
	if (!(model > 0.0))
		return pd_fail(err, PD_USAGE, "a contrast is zero");
	kept = diagonal(r, s, 0, 0);
	squares = pairs(r, s, 0, 0, 0, 0);
	variance = pd_form(s->turned, r->robust, p, s->turned, p) *
	           r->y_scale * r->y_scale;
	if (!(kept > known_floor * model) || !(squares > 0.0) ||
	    !(variance > 0.0))
		return pd_fail(err, PD_REFUSED, "one cluster alone tells of "
		               "(a part of) the contrast: its variance is not "
		               "known");
	df = kept * kept / squares;
	if (!(df < (1.0 + 1e-6) * (double)r->clusters)) /* cannot be */
		return pd_fail(err, PD_NUMERIC, "the weights differ too much "
		               "for the degrees of freedom of a contrast");
	return pd_df_estimate(dot(c, r->beta, p), variance, df, level, out,
	                      err);
}

pd_status pd_clustered_contrast(const pd_clustered *r, const double *c,
                                double level, pd_estimate *out,
                                pd_error *err)
{
	struct spread s;
	pd_arena *a = pd_arena_new();
	pd_status st = finite_contrasts(c, r->p, err);

	if (st == PD_OK && (!a || !spread_room(a, r, 1, &s)))
		st = pd_fail(err, PD_NO_MEMORY, "no memory for a contrast");
	if (st == PD_OK)
		st = one(r, c, level, &s, out, err);
	pd_arena_free(a);
	return st;
}

/* Contrasts recombined so that their expected covariance is I. */
static bool standardise(const pd_clustered *r, struct spread *s, double *omega)
{
	size_t q = s->rows, p = r->p;

	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++)
			omega[a * q + b] = 0.5 * (diagonal(r, s, a, b) +
			                          diagonal(r, s, b, a));
	for (size_t a = 0; a < q; a++)
		if (!(omega[a * q + a] > known_floor *
		      pd_form(s->turned + a * p, r->model, p,
		              s->turned + a * p, p)))
			return false;
	if (!pd_chol(omega, q, q))
		return false;
	for (size_t a = 0; a < q; a++)
		for (size_t j = 0; j < p; j++) {
			double *z = s->z + j;

			for (size_t b = 0; b < a; b++)
				z[a * p] -= omega[a * q + b] * z[b * p];
			z[a * p] /= omega[a * q + a];
		}
	spread_fill(r, s);
	return true;
}

/* (Cb)'(C cov C')^-1 (Cb); false when not positive definite */
static bool wald(const pd_clustered *r, const struct spread *s,
                 const double *c, double *cov, double *value, double *out)
{
	size_t q = s->rows, p = r->p;
	double y2 = r->y_scale * r->y_scale, *root = value + q;

	for (size_t a = 0; a < q; a++) {
		value[a] = dot(c + a * p, r->beta, p);
		for (size_t b = 0; b < q; b++)
			cov[a * q + b] = y2 * pd_form(s->turned + a * p,
			                              r->robust, p,
			                              s->turned + b * p, p);
	}
	for (size_t a = 0; a < q; a++) { /* unit diagonal, against scale */
		root[a] = sqrt(cov[a * q + a]);
		if (!(root[a] > 0.0))
			return false;
		value[a] /= root[a];
	}
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++)
			cov[a * q + b] /= root[a] * root[b];
	if (!pd_chol(cov, q, q))
		return false;
	for (size_t a = 0; a < q; a++)
		if (!(cov[a * q + a] > 1e-6))
			return false;
	memcpy(root, value, q * sizeof *root);
	pd_chol_solve(cov, q, q, root);
	*out = dot(value, root, q);
	return true;
}

static pd_status joint(const pd_clustered *r, const double *c,
                       struct spread *s, double *room, pd_f_test *out,
                       pd_error *err)
{
	size_t q = s->rows;
	double total = 0.0, square, eta, n = (double)q;

	turn(r, c, q, s);
	spread_fill(r, s);
	if (!wald(r, s, c, room, room + q * q, &square) ||
	    !standardise(r, s, room))
		return pd_fail(err, PD_REFUSED, "%zu clusters cannot tell %zu "
		               "contrasts apart, or a contrast is zero",
		               r->clusters, q);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++)
			total += pairs(r, s, a, a, b, b) +
			         pairs(r, s, a, b, b, a);
	/* each contrast's variance has at most a df a cluster */
	if (!(total > 2.0 * n / (double)r->clusters * known_floor))
		return pd_fail(err, PD_NUMERIC, "the weights differ too much "
		               "for the degrees of freedom of a test");
	eta = n * (n + 1.0) / total;
	if (!(eta - n + 1.0 > 0.0))
		return pd_fail(err, PD_REFUSED, "%zu clusters are too few for "
		               "a test of %zu contrasts: %.3g degrees of "
		               "freedom left", r->clusters, q, eta - n + 1.0);
	out->scaling = (eta - n + 1.0) / eta;
	out->f = out->scaling * square / n;
	out->df1 = n;
	out->df2 = eta - n + 1.0;
	out->p = pd_f_upper(out->f, out->df1, out->df2);
	return PD_OK;
}

pd_status pd_clustered_f_test(const pd_clustered *r, const double *c,
                              size_t rows, pd_f_test *out, pd_error *err)
{
	struct spread s;
	pd_arena *a = pd_arena_new();
	double *room = NULL;
	pd_status st = PD_OK;

	if (rows == 0 || rows > r->p)
		st = pd_fail(err, PD_USAGE, "%zu rows of contrasts, expected "
		             "1 to %zu", rows, r->p);
	if (st == PD_OK)
		st = finite_contrasts(c, rows * r->p, err);
	if (st == PD_OK && a && spread_room(a, r, rows, &s))
		room = PD_NEW(a, double, rows * rows + 2 * rows);
	if (st == PD_OK && !room)
		st = pd_fail(err, PD_NO_MEMORY, "no memory for contrasts");
	if (st == PD_OK)
		st = joint(r, c, &s, room, out, err);
	pd_arena_free(a);
	return st;
}
