/*
 * crossed_pass.c - up and down the tree with its touched columns. Letters and
 * formulas: crossed_border.h.
 */
#include "stats/crossed_border.h"
#include "stats/nested_dense.h"

#include <math.h>
#include <string.h>

/* out(q*q) = (I + T C_SS)^-1, by Gauss-Jordan with row pivots; adds the log
 * determinant. False when it is not positive. */
static bool solve_block(const struct pd_level *lv, const double *css,
                        double *out, double *log_det)
{
	size_t q = lv->q;
	double a[PD_MAX_BLOCK], det = 1.0;

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			a[i * q + j] = out[i * q + j] = i == j ? 1.0 : 0.0;
			for (size_t k = 0; k < q; k++)
				a[i * q + j] += lv->T[i * q + k] *
				                css[k * q + j];
		}
	for (size_t k = 0; k < q; k++) {
		size_t best = k;

		for (size_t i = k + 1; i < q; i++)
			if (fabs(a[i * q + k]) > fabs(a[best * q + k]))
				best = i;
		for (size_t j = 0; best != k && j < q; j++) {
			double x = a[k * q + j], y = out[k * q + j];

			a[k * q + j] = a[best * q + j];
			out[k * q + j] = out[best * q + j];
			a[best * q + j] = x;
			out[best * q + j] = y;
		}
		double pivot = a[k * q + k];

		det *= best == k ? pivot : -pivot;
		if (!(fabs(pivot) > 0.0))
			return false;
		for (size_t j = 0; j < q; j++) {
			a[k * q + j] /= pivot;
			out[k * q + j] /= pivot;
		}
		for (size_t i = 0; i < q; i++) {
			double f = a[i * q + k];

			for (size_t j = 0; i != k && j < q; j++) {
				a[i * q + j] -= f * a[k * q + j];
				out[i * q + j] -= f * out[k * q + j];
			}
		}
	}
	*log_det += log(det);
	return det > 0.0 && isfinite(det);
}

/* D, G, C1 of node k; log|V_t| grows. */
static bool eliminate(const struct pd_nested *m, struct pd_border *s, size_t k,
                      double *log_det)
{
	const struct pd_level *lv = &m->level[s->node[k].level];
	size_t r = m->r, q = lv->q;
	const double *c = s->c + k * r * r;
	double *c1 = s->c1 + k * r * r, *d = s->d + k * PD_MAX_BLOCK;
	double *g = s->g + k * PD_MAX_BLOCK, css[PD_MAX_BLOCK], x[PD_MAX_BLOCK];

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++)
			css[i * q + j] = c[lv->col[i] * r + lv->col[j]];
	if (!solve_block(lv, css, g, log_det))
		return false;
	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			x[i * q + j] = 0.0;
			for (size_t l = 0; l < q; l++)
				x[i * q + j] += g[i * q + l] *
				                lv->T[l * q + j];
		}
	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++)
			d[i * q + j] = 0.5 * (x[i * q + j] + x[j * q + i]);
	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < r; b++) {
			double v = c[a * r + b];

			for (size_t i = 0; i < q; i++)
				for (size_t j = 0; j < q; j++)
					v -= c[a * r + lv->col[i]] *
					     d[i * q + j] *
					     c[lv->col[j] * r + b];
			c1[a * r + b] = v;
		}
	return true;
}

/* db(q*width) = D B_S */
static void d_times_b(const struct pd_nested *m, const struct pd_border *s,
                      size_t k, double *out)
{
	const struct pd_border_node *nd = &s->node[k];
	const struct pd_level *lv = &m->level[nd->level];
	size_t width = m->w + nd->n_touch, q = lv->q;
	const double *b = s->b + nd->b, *d = s->d + k * PD_MAX_BLOCK;

	for (size_t i = 0; i < q; i++) {
		memset(out + i * width, 0, width * sizeof *out);
		for (size_t j = 0; j < q; j++)
			for (size_t c = 0; c < width; c++)
				out[i * width + c] += d[i * q + j] *
					b[lv->col[j] * width + c];
	}
}

/* Lower triangle of A -= B_S' (D B_S). */
static void take_from_a(const struct pd_nested *m, struct pd_border *s,
                        size_t k, const double *db)
{
	const struct pd_border_node *nd = &s->node[k];
	const struct pd_level *lv = &m->level[nd->level];
	const uint32_t *column = s->column + nd->touch;
	size_t w = m->w, width = w + nd->n_touch;

	for (size_t i = 0; i < width; i++) {
		size_t to = i < w ? i : w + column[i - w];
		double *a = s->a + to * s->dim;
		size_t dense = i < w ? i + 1 : w;

		for (size_t p = 0; p < lv->q; p++) {
			double f = s->b[nd->b + lv->col[p] * width + i];
			const double *x = db + p * width;

			for (size_t j = 0; j < dense; j++)
				a[j] -= f * x[j];
			for (size_t j = w; j <= i; j++)
				a[w + column[j - w]] -= f * x[j];
		}
	}
}

/* What is left of C and B joins the parent's. */
static void hand_up(const struct pd_nested *m, struct pd_border *s, size_t k,
                    const double *db)
{
	const struct pd_border_node *nd = &s->node[k];
	const struct pd_border_node *up = &s->node[nd->parent];
	const struct pd_level *lv = &m->level[nd->level];
	const uint32_t *at = s->in_parent + nd->touch;
	size_t r = m->r, w = m->w, width = w + nd->n_touch;
	const double *c = s->c + k * r * r;
	double *b = s->wide + PD_NESTED_BLOCK * s->widest;

	for (size_t i = 0; i < r * r; i++)
		s->c[nd->parent * r * r + i] += s->c1[k * r * r + i];
	for (size_t a = 0; a < r; a++) {
		double *to = s->b + up->b + a * (w + up->n_touch);

		memcpy(b, s->b + nd->b + a * width, width * sizeof *b);
		for (size_t i = 0; i < lv->q; i++)
			for (size_t j = 0; j < width; j++)
				b[j] -= c[a * r + lv->col[i]] *
				        db[i * width + j];
		for (size_t j = 0; j < w; j++)
			to[j] += b[j];
		for (size_t j = w; j < width; j++)
			to[w + at[j - w]] += b[j];
	}
}

bool pd_border_tree_up(const struct pd_nested *m, struct pd_border *s,
                       double *log_det)
{
	size_t r = m->r, dim = s->dim;

	*log_det = 0.0;
	memcpy(s->a, s->cross, dim * dim * sizeof *s->a);
	for (size_t k = 0; k < s->n_nodes; k++) {
		const struct pd_border_node *nd = &s->node[k];

		if (nd->level + 1 == s->n_tree)
			continue;
		memset(s->c + k * r * r, 0, r * r * sizeof *s->c);
		memset(s->b + nd->b, 0,
		       r * (m->w + nd->n_touch) * sizeof *s->b);
	}
	for (size_t k = s->n_nodes; k-- > 0;) {
		if (!eliminate(m, s, k, log_det))
			return false;
		d_times_b(m, s, k, s->wide);
		take_from_a(m, s, k, s->wide);
		if (s->node[k].parent != k)
			hand_up(m, s, k, s->wide);
	}
	for (size_t a = 0; a < dim; a++)
		for (size_t c = 0; c < a; c++)
			s->a[c * dim + a] = s->a[a * dim + c];
	return true;
}

/* H = B1_S - C1_S E of node k, q * (w + root's touch). */
static void make_h(const struct pd_nested *m, struct pd_border *s, size_t k)
{
	const struct pd_border_node *nd = &s->node[k];
	const struct pd_level *lv = &m->level[nd->level];
	const uint32_t *at = s->in_root + nd->touch;
	size_t r = m->r, q = lv->q, w = m->w, width = w + nd->n_touch;
	size_t full = w + s->node[nd->root].n_touch;
	const double *c = s->c + k * r * r, *c1 = s->c1 + k * r * r;
	const double *e = s->e + nd->level * r * s->widest;
	double *b = s->wide + PD_NESTED_BLOCK * s->widest;

	d_times_b(m, s, k, s->wide);
	for (size_t i = 0; i < q; i++) {
		double *h = s->h + nd->h + i * full;
		size_t row = lv->col[i];

		memcpy(b, s->b + nd->b + row * width, width * sizeof *b);
		for (size_t l = 0; l < q; l++)
			for (size_t j = 0; j < width; j++)
				b[j] -= c[row * r + lv->col[l]] *
				        s->wide[l * width + j];
		memset(h, 0, full * sizeof *h);
		memcpy(h, b, w * sizeof *h);
		for (size_t j = w; j < width; j++)
			h[w + at[j - w]] = b[j];
		for (size_t l = 0; nd->level > 0 && l < r; l++)
			for (size_t j = 0; j < full; j++)
				h[j] -= c1[row * r + l] * e[l * full + j];
	}
}

/* K = C1_SS - C1_S O C1_S' of node k. */
static void make_k(const struct pd_nested *m, struct pd_border *s, size_t k)
{
	const struct pd_border_node *nd = &s->node[k];
	const struct pd_level *lv = &m->level[nd->level];
	size_t r = m->r, q = lv->q;
	const double *c1 = s->c1 + k * r * r, *o = s->o + nd->level * r * r;

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			const double *x = c1 + lv->col[i] * r;
			const double *y = c1 + lv->col[j] * r;
			double v = x[lv->col[j]];

			for (size_t a = 0; a < r; a++)
				for (size_t b = 0; b < r; b++)
					v -= x[a] * o[a * r + b] * y[b];
			s->k[k * PD_MAX_BLOCK + i * q + j] = v;
		}
}

/* E and O for what lies inside node k; s->wide holds D B_S. */
static void hand_down(const struct pd_nested *m, struct pd_border *s, size_t k)
{
	const struct pd_border_node *nd = &s->node[k];
	const struct pd_level *lv = &m->level[nd->level];
	const uint32_t *at = s->in_root + nd->touch;
	size_t r = m->r, q = lv->q, w = m->w, width = w + nd->n_touch;
	size_t full = w + s->node[nd->root].n_touch;
	const double *c = s->c + k * r * r, *d = s->d + k * PD_MAX_BLOCK;
	const double *e = s->e + nd->level * r * s->widest;
	double *to = s->e + (nd->level + 1) * r * s->widest;
	const double *o = s->o + nd->level * r * r;
	double *next = s->o + (nd->level + 1) * r * r;
	double f[PD_MAX_R * PD_MAX_R];

	memcpy(to, e, r * full * sizeof *to);
	for (size_t a = 0; a < r * r; a++)
		f[a] = a % (r + 1) == 0 ? 1.0 : 0.0;
	for (size_t i = 0; i < q; i++) {
		double *x = to + lv->col[i] * full;

		for (size_t l = 0; l < r; l++) {
			double dc = 0.0;

			for (size_t j = 0; j < q; j++)
				dc += d[i * q + j] * c[lv->col[j] * r + l];
			f[lv->col[i] * r + l] -= dc;
			for (size_t j = 0; j < full; j++)
				x[j] -= dc * e[l * full + j];
		}
		for (size_t j = 0; j < w; j++)
			x[j] += s->wide[i * width + j];
		for (size_t j = w; j < width; j++)
			x[w + at[j - w]] += s->wide[i * width + j];
	}
	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < r; b++) {
			double v = 0.0;

			for (size_t i = 0; i < r; i++)
				for (size_t j = 0; j < r; j++)
					v += f[a * r + i] * o[i * r + j] *
					     f[b * r + j];
			next[a * r + b] = v;
		}
	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++)
			next[lv->col[i] * r + lv->col[j]] += d[i * q + j];
}

/* H'H of node k into its elements' sums of the root. */
static void add_gram(const struct pd_nested *m, struct pd_border *s, size_t k)
{
	const struct pd_border_node *nd = &s->node[k];
	const struct pd_level *lv = &m->level[nd->level];
	size_t full = m->w + s->node[nd->root].n_touch, a, b;

	for (size_t e = 0; e < lv->n_elements; e++) {
		double *sum = s->gram + (lv->first + e) * full * full;

		pd_element(lv, e, &a, &b);
		const double *x = s->h + nd->h + a * full;
		const double *y = s->h + nd->h + b * full;

		for (size_t i = 0; i < full; i++)
			for (size_t j = 0; j <= i; j++)
				sum[i * full + j] += x[i] * y[j];
		for (size_t i = 0; a != b && i < full; i++)
			for (size_t j = 0; j <= i; j++)
				sum[i * full + j] += y[i] * x[j];
		s->ld_e[lv->first + e] += pd_border_times(a, b) *
			s->k[k * PD_MAX_BLOCK + a * lv->q + b];
	}
}

/* The sums of a root go to A_e, lower triangle. */
static void flush_gram(const struct pd_nested *m, struct pd_border *s,
                       size_t root)
{
	const uint32_t *column = s->column + s->node[root].touch;
	size_t w = m->w, full = w + s->node[root].n_touch;

	for (size_t e = 0; e < s->n_e; e++) {
		double *ae = s->ae + e * s->dim * s->dim;
		double *sum = s->gram + e * full * full;

		for (size_t i = 0; i < full; i++) {
			double *to = ae + (i < w ? i : w + column[i - w]) *
			             s->dim;

			for (size_t j = 0; j <= i; j++)
				to[j < w ? j : w + column[j - w]] -=
					sum[i * full + j];
		}
	}
}

void pd_border_tree_down(const struct pd_nested *m, struct pd_border *s)
{
	size_t r = m->r, dim = s->dim;

	memset(s->ae, 0, s->n_e * dim * dim * sizeof *s->ae);
	memset(s->ld_e, 0, sizeof s->ld_e);
	for (size_t k = 0; k < s->n_nodes; k++) {
		const struct pd_border_node *nd = &s->node[k];
		size_t full = m->w + s->node[nd->root].n_touch;

		if (nd->root == k) {
			memset(s->gram, 0, s->n_e * full * full *
			       sizeof *s->gram);
			memset(s->e, 0, r * full * sizeof *s->e);
			memset(s->o, 0, r * r * sizeof *s->o);
		}
		make_h(m, s, k);
		make_k(m, s, k);
		if (nd->level + 1 < s->n_tree)
			hand_down(m, s, k);
		add_gram(m, s, k);
		if (k + 1 == s->n_nodes || s->node[k + 1].level == 0)
			flush_gram(m, s, nd->root);
	}
	for (size_t e = 0; e < s->n_e; e++)
		for (size_t a = 0; a < dim; a++)
			for (size_t c = 0; c < a; c++)
				s->ae[(e * dim + c) * dim + a] =
					s->ae[(e * dim + a) * dim + c];
}
