/*
 * crossed_dense.c - the border finished: from the tree's A and its
 * derivatives to those of the whole likelihood, and N, J, H_c for conditional
 * means. Letters and formulas: crossed_border.h.
 */
#include "stats/crossed_border.h"
#include "stats/nested_dense.h"

#include <math.h>
#include <string.h>

/* out(n*k) = a(n*n) b(n*k), rows of b b_step apart */
static void times(const double *a, const double *b, size_t b_step, size_t n,
                  size_t k, double *out)
{
	memset(out, 0, n * k * sizeof *out);
	for (size_t i = 0; i < n; i++)
		for (size_t l = 0; l < n; l++) {
			double f = a[i * n + l];
			const double *x = b + l * b_step;

			for (size_t j = 0; j < k; j++)
				out[i * k + j] += f * x[j];
		}
}

/* Square root of the variance ratio of column l. */
static double root_of(const struct pd_nested *m, const struct pd_border *s,
                      size_t l)
{
	size_t j = 0;

	while (l >= s->first[j + 1])
		j++;
	return fabs(m->level[s->n_tree + j].L[0]);
}

/* out(n*k) <- (L L')^-1 out, a row at a time. */
static void solve_rows(const double *l, size_t n, size_t k, double *out)
{
	for (size_t i = 0; i < n; i++) {
		for (size_t p = 0; p < i; p++)
			for (size_t j = 0; j < k; j++)
				out[i * k + j] -= l[i * n + p] *
				                  out[p * k + j];
		for (size_t j = 0; j < k; j++)
			out[i * k + j] /= l[i * n + i];
	}
	for (size_t i = n; i-- > 0;) {
		for (size_t j = 0; j < k; j++)
			out[i * k + j] /= l[i * n + i];
		for (size_t p = 0; p < i; p++)
			for (size_t j = 0; j < k; j++)
				out[p * k + j] -= l[i * n + p] *
				                  out[i * k + j];
	}
}

/* J, and the factor of I + K A_WW K left in s->t with the diagonal of K
 * behind it; its log determinant is added. */
static bool border(const struct pd_nested *m, struct pd_border *s,
                   double *log_det)
{
	size_t rc = s->rc, w = m->w, dim = s->dim;
	double *g = s->t, *root = s->t + rc * rc;
	const double *aw = s->a + w * dim; /* the rows of W */

	for (size_t i = 0; i < rc; i++)
		root[i] = root_of(m, s, i);
	for (size_t i = 0; i < rc; i++)
		for (size_t k = 0; k < rc; k++)
			g[i * rc + k] = (i == k ? 1.0 : 0.0) + root[i] *
				aw[i * dim + w + k] * root[k];
	if (!pd_chol(g, rc, rc))
		return false;
	*log_det += pd_chol_log_det(g, rc, rc);
	for (size_t i = 0; i < rc; i++)
		for (size_t k = 0; k < w; k++)
			s->j[i * w + k] = root[i] * aw[i * dim + k];
	solve_rows(g, rc, w, s->j);
	for (size_t i = 0; i < rc * w; i++)
		s->j[i] *= root[i / w];
	return true;
}

/* N = K (L L')^-1 K from what border() left: X = L^-1, then X'X. */
static void make_n(struct pd_border *s)
{
	size_t rc = s->rc;
	const double *l = s->t, *root = s->t + rc * rc;
	double *x = s->u, *n = s->n;

	for (size_t i = 0; i < rc; i++) {
		double *row = x + i * rc;

		memset(row, 0, rc * sizeof *row);
		row[i] = 1.0;
		for (size_t k = 0; k < i; k++)
			for (size_t j = 0; j <= k; j++)
				row[j] -= l[i * rc + k] * x[k * rc + j];
		for (size_t j = 0; j <= i; j++)
			row[j] /= l[i * rc + i];
	}
	memset(n, 0, rc * rc * sizeof *n);
	for (size_t k = 0; k < rc; k++)
		for (size_t i = 0; i <= k; i++)
			for (size_t j = 0; j <= i; j++)
				n[i * rc + j] += x[k * rc + i] * x[k * rc + j];
	for (size_t i = 0; i < rc; i++)
		for (size_t j = 0; j <= i; j++)
			n[i * rc + j] = n[j * rc + i] =
				root[i] * n[i * rc + j] * root[j];
}

bool pd_border_up(struct pd_nested *m)
{
	struct pd_border *s = m->border;
	size_t w = m->w, ld = m->ld, dim = s->dim;

	if (!pd_border_tree_up(m, s, &m->log_det) ||
	    !border(m, s, &m->log_det))
		return false;
	for (size_t a = 0; a < w; a++)
		for (size_t b = 0; b <= a; b++) {
			double v = s->a[a * dim + b];

			for (size_t l = 0; l < s->rc; l++)
				v -= s->a[(w + l) * dim + a] * s->j[l * w + b];
			m->a[a * ld + b] = m->a[b * ld + a] = v;
		}
	return true;
}

/* H_c, U, C_c */
static void after_border(const struct pd_nested *m, struct pd_border *s)
{
	size_t rc = s->rc, w = m->w, dim = s->dim;
	const double *aw = s->a + w * dim;
	double *aww = s->t;

	for (size_t i = 0; i < rc; i++)
		memcpy(aww + i * rc, aw + i * dim + w, rc * sizeof *aww);
	times(aww, s->j, w, rc, w, s->hc);
	for (size_t i = 0; i < rc; i++)
		for (size_t k = 0; k < w; k++)
			s->hc[i * w + k] = aw[i * dim + k] - s->hc[i * w + k];
	times(s->n, aww, rc, rc, rc, s->u);
	for (size_t i = 0; i < rc * rc; i++)
		s->u[i] = (i % (rc + 1) == 0 ? 1.0 : 0.0) - s->u[i];
	times(aww, s->u, rc, rc, rc, s->cc);
}

/* P'A_e P for a tree element; leaves Y_e. */
static void tree_first(struct pd_nested *m, struct pd_border *s, size_t e)
{
	size_t rc = s->rc, w = m->w, dim = s->dim, ld = m->ld;
	const double *ae = s->ae + e * dim * dim;
	double *y = s->y + e * rc * w, *out = m->da + e * ld * ld;

	m->d_log_det[e] = s->ld_e[e];
	for (size_t i = 0; i < rc; i++) {
		const double *row = ae + (w + i) * dim;

		memcpy(y + i * w, row, w * sizeof *y);
		for (size_t l = 0; l < rc; l++) {
			m->d_log_det[e] += s->n[i * rc + l] * row[w + l];
			for (size_t k = 0; k < w; k++)
				y[i * w + k] -= row[w + l] * s->j[l * w + k];
		}
	}
	for (size_t a = 0; a < w; a++)
		for (size_t b = 0; b <= a; b++) {
			double v = ae[a * dim + b];

			for (size_t l = 0; l < rc; l++)
				v -= ae[(w + l) * dim + a] * s->j[l * w + b] +
				     s->j[l * w + a] * y[l * w + b];
			out[a * ld + b] = out[b * ld + a] = v;
		}
}

static void factor_first(struct pd_nested *m, struct pd_border *s, size_t j)
{
	size_t w = m->w, ld = m->ld, e = s->n_e + j;
	double *out = m->da + e * ld * ld;

	m->d_log_det[e] = 0.0;
	memset(out, 0, ld * ld * sizeof *out);
	for (size_t l = s->first[j]; l < s->first[j + 1]; l++) {
		const double *h = s->hc + l * w;

		m->d_log_det[e] += s->cc[l * (s->rc + 1)];
		for (size_t a = 0; a < w; a++)
			for (size_t b = 0; b < w; b++)
				out[a * ld + b] -= h[a] * h[b];
	}
}

void pd_border_down(struct pd_nested *m)
{
	struct pd_border *s = m->border;

	make_n(s);
	pd_border_tree_down(m, s);
	after_border(m, s);
	for (size_t e = 0; e < s->n_e; e++)
		tree_first(m, s, e);
	for (size_t j = 0; j < s->n_factors; j++)
		factor_first(m, s, j);
}

/* H P and (H)_W N of every node. */
static void node_products(const struct pd_nested *m, struct pd_border *s)
{
	size_t w = m->w, rc = s->rc;

	for (size_t k = 0; k < s->n_nodes; k++) {
		const struct pd_border_node *nd = &s->node[k];
		const struct pd_border_node *root = &s->node[nd->root];
		const uint32_t *column = s->column + root->touch;
		size_t full = w + root->n_touch;

		for (size_t i = 0; i < m->level[nd->level].q; i++) {
			const double *h = s->h + nd->h + i * full;
			double *n = s->hn + nd->h + i * full;
			double *p = s->hp + (k * PD_NESTED_BLOCK + i) * w;

			memset(n, 0, full * sizeof *n);
			memcpy(p, h, w * sizeof *p);
			for (size_t c = w; c < full; c++) {
				const double *row = s->n +
					column[c - w] * rc;
				const double *j = s->j + column[c - w] * w;

				for (size_t l = w; l < full; l++)
					n[l] += h[c] * row[column[l - w]];
				for (size_t l = 0; l < w; l++)
					p[l] -= h[c] * j[l];
			}
		}
	}
}

/* X_e = N A_e,WW, Z_e = U'Y_e. */
static void tree_products(const struct pd_nested *m, struct pd_border *s,
                          size_t e)
{
	size_t rc = s->rc, w = m->w, dim = s->dim;
	double *z = s->z + e * rc * w;
	const double *y = s->y + e * rc * w;

	times(s->n, s->ae + e * dim * dim + w * dim + w, dim, rc, rc,
	      s->x + e * rc * rc);
	memset(z, 0, rc * w * sizeof *z);
	for (size_t l = 0; l < rc; l++)
		for (size_t i = 0; i < rc; i++)
			for (size_t k = 0; k < w; k++)
				z[i * w + k] += s->u[l * rc + i] *
				                y[l * w + k];
}

static void tree_tree(struct pd_nested *m, struct pd_border *s, size_t f)
{
	size_t rc = s->rc, w = m->w, ne = m->n_elements, ll = m->ld * m->ld;
	double *ny = s->t;

	times(s->n, s->y + f * rc * w, w, rc, w, ny);
	for (size_t e = 0; e <= f; e++) {
		m->dd_log_det[e * ne + f] -=
			pd_trace(s->x + e * rc * rc, s->x + f * rc * rc, rc);
		pd_border_pair(m->dda + (e * ne + f) * ll, m->ld, w, -1.0,
		               s->y + e * rc * w, ny, rc);
	}
}

/* Every factor against tree element e. */
static void tree_factor(struct pd_nested *m, struct pd_border *s, size_t e)
{
	size_t rc = s->rc, w = m->w, dim = s->dim, ne = m->n_elements;
	size_t ll = m->ld * m->ld;
	double *au = s->t; /* A_e U */

	memset(au, 0, rc * rc * sizeof *au);
	for (size_t i = 0; i < rc; i++) {
		const double *row = s->ae + e * dim * dim + (w + i) * dim + w;

		for (size_t l = 0; l < rc; l++)
			for (size_t k = 0; k < rc; k++)
				au[i * rc + k] += row[l] * s->u[l * rc + k];
	}
	for (size_t j = 0; j < s->n_factors; j++) {
		size_t at = e * ne + s->n_e + j, from = s->first[j];
		size_t levels = s->first[j + 1] - from;

		m->dd_log_det[at] = 0.0;
		for (size_t l = from; l < s->first[j + 1]; l++)
			for (size_t i = 0; i < rc; i++)
				m->dd_log_det[at] += s->u[i * rc + l] *
				                     au[i * rc + l];
		memset(m->dda + at * ll, 0, ll * sizeof *m->dda);
		pd_border_pair(m->dda + at * ll, m->ld, w, -1.0,
		               s->hc + from * w,
		               s->z + e * rc * w + from * w, levels);
	}
}

static void factor_factor(struct pd_nested *m, struct pd_border *s, size_t j,
                          size_t k)
{
	size_t rc = s->rc, w = m->w, ne = m->n_elements, ll = m->ld * m->ld;
	size_t at = (s->n_e + j) * ne + s->n_e + k;
	double *x = s->t; /* C_c,jk H_c,k, rows of factor j */

	m->dd_log_det[at] = 0.0;
	memset(m->dda + at * ll, 0, ll * sizeof *m->dda);
	for (size_t l = s->first[j]; l < s->first[j + 1]; l++) {
		memset(x, 0, w * sizeof *x);
		for (size_t i = s->first[k]; i < s->first[k + 1]; i++) {
			double c = s->cc[l * rc + i];

			m->dd_log_det[at] -= c * c;
			for (size_t a = 0; a < w; a++)
				x[a] += c * s->hc[i * w + a];
		}
		pd_border_pair(m->dda + at * ll, m->ld, w, 1.0,
		               s->hc + l * w, x, 1);
	}
}

void pd_border_second(struct pd_nested *m)
{
	struct pd_border *s = m->border;

	node_products(m, s);
	for (size_t e = 0; e < s->n_e; e++)
		tree_products(m, s, e);
	for (size_t f = 0; f < s->n_e; f++) {
		pd_border_tree_tangent(m, s, f);
		tree_tree(m, s, f);
		tree_factor(m, s, f);
	}
	for (size_t j = 0; j < s->n_factors; j++)
		for (size_t k = j; k < s->n_factors; k++)
			factor_factor(m, s, j, k);
}
