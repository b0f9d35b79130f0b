/*
 * crossed_tangent.c - the walks of crossed_pass.c differentiated along one
 * element f of one level's T. Nothing inside that level moves, so only it and
 * the levels above are walked; symmetry gives the rest. Formulas, a prime for
 * the derivative (letters: crossed_border.h):
 *   D' = G T'G' at f's level, -D C'_SS D above it
 *   C1' = C' - C'_S D C_S' - C_S D'C_S' - C_S D C'_S'
 *   B1' = B' - (C'_S D + C_S D') B_S - C_S D B'_S
 *   H' = B1'_S - C1'_S E - C1_S E',  K' from C1, O the same way
 *   E' <- E' + S [D'(B_S - C_S E) + D (B'_S - C'_S E - C_S E')]
 *   O' <- F'O F' + F O'F' + F O F'' + S D'S',  F' = -S (D'C_S + D C'_S)
 */
#include "stats/crossed_border.h"

#include <string.h>

/* One node's places. */
struct spot {
	const struct pd_border_node *nd;
	const struct pd_level *lv;
	size_t r, q, w, width, full;
	const double *c, *c1, *d, *g, *b;
	double *dc, *dc1, *dd, *db;
};

static struct spot spot_of(const struct pd_nested *m, struct pd_border *s,
                           size_t k)
{
	const struct pd_border_node *nd = &s->node[k];
	size_t rr = m->r * m->r;

	return (struct spot){
		.nd = nd, .lv = &m->level[nd->level], .r = m->r,
		.q = m->level[nd->level].q, .w = m->w,
		.width = m->w + nd->n_touch,
		.full = m->w + s->node[nd->root].n_touch,
		.c = s->c + k * rr, .c1 = s->c1 + k * rr,
		.d = s->d + k * PD_MAX_BLOCK, .g = s->g + k * PD_MAX_BLOCK,
		.b = s->b + nd->b, .dc = s->dc + k * rr,
		.dc1 = s->dc1 + k * rr, .dd = s->dd + k * PD_MAX_BLOCK,
		.db = s->db + nd->b
	};
}

/* D' at the level of f = (a, b): G T' G'. */
static void own_dd(const struct spot *t, size_t a, size_t b)
{
	size_t q = t->q;

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			double v = t->g[i * q + a] * t->g[j * q + b];

			if (a != b)
				v += t->g[i * q + b] * t->g[j * q + a];
			t->dd[i * q + j] = v;
		}
}

/* D' above it: -D C'_SS D. */
static void upper_dd(const struct spot *t)
{
	const size_t *col = t->lv->col;
	size_t q = t->q, r = t->r;

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			double v = 0.0;

			for (size_t a = 0; a < q; a++)
				for (size_t b = 0; b < q; b++)
					v -= t->d[i * q + a] *
					     t->dc[col[a] * r + col[b]] *
					     t->d[b * q + j];
			t->dd[i * q + j] = v;
		}
}

static void make_dc1(const struct spot *t)
{
	const size_t *col = t->lv->col;
	size_t q = t->q, r = t->r;

	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < r; b++) {
			double v = t->dc[a * r + b];

			for (size_t i = 0; i < q; i++)
			for (size_t j = 0; j < q; j++) {
				double ca = t->c[a * r + col[i]];
				double cb = t->c[b * r + col[j]];
				double d = t->d[i * q + j];

				v -= t->dc[a * r + col[i]] * d * cb +
				     ca * t->dd[i * q + j] * cb +
				     ca * d * t->dc[b * r + col[j]];
			}
			t->dc1[a * r + b] = v;
		}
}

/* Row a of B1', over the node's own touch. */
static void b1_row(const struct spot *t, size_t a, double *out)
{
	const size_t *col = t->lv->col;
	size_t q = t->q, r = t->r, width = t->width;

	memcpy(out, t->db + a * width, width * sizeof *out);
	for (size_t j = 0; j < q; j++) {
		double by_b = 0.0, by_db = 0.0;
		const double *b = t->b + col[j] * width;
		const double *db = t->db + col[j] * width;

		for (size_t i = 0; i < q; i++) {
			by_b += t->dc[a * r + col[i]] * t->d[i * q + j] +
			        t->c[a * r + col[i]] * t->dd[i * q + j];
			by_db += t->c[a * r + col[i]] * t->d[i * q + j];
		}
		for (size_t c = 0; c < width; c++)
			out[c] -= by_b * b[c] + by_db * db[c];
	}
}

/* C1' and B1' join the parent's. */
static void hand_up(struct pd_border *s, const struct spot *t)
{
	const struct pd_border_node *up = &s->node[t->nd->parent];
	const uint32_t *at = s->in_parent + t->nd->touch;
	size_t r = t->r, w = t->w;
	double *row = s->wide;

	for (size_t i = 0; i < r * r; i++)
		s->dc[t->nd->parent * r * r + i] += t->dc1[i];
	for (size_t a = 0; a < r; a++) {
		double *to = s->db + up->b + a * (w + up->n_touch);

		b1_row(t, a, row);
		for (size_t j = 0; j < w; j++)
			to[j] += row[j];
		for (size_t j = w; j < t->width; j++)
			to[w + at[j - w]] += row[j];
	}
}

static void up(const struct pd_nested *m, struct pd_border *s, size_t level,
               size_t a, size_t b)
{
	size_t rr = m->r * m->r;

	for (size_t k = 0; k < s->n_nodes; k++) {
		struct spot t = spot_of(m, s, k);

		if (t.nd->level > level)
			continue;
		memset(t.dc, 0, rr * sizeof *t.dc);
		memset(t.db, 0, m->r * t.width * sizeof *t.db);
	}
	for (size_t k = s->n_nodes; k-- > 0;) {
		struct spot t = spot_of(m, s, k);

		if (t.nd->level > level)
			continue;
		if (t.nd->level == level)
			own_dd(&t, a, b);
		else
			upper_dd(&t);
		make_dc1(&t);
		if (t.nd->parent != k)
			hand_up(s, &t);
	}
}

/* H' of node k into out, q * full. */
static void make_dh(const struct pd_border *s, const struct spot *t,
                    double *out)
{
	const uint32_t *at = s->in_root + t->nd->touch;
	size_t r = t->r, w = t->w, full = t->full;
	const double *e = s->e + t->nd->level * r * s->widest;
	const double *de = s->de + t->nd->level * r * s->widest;
	double *row = s->wide + PD_NESTED_BLOCK * s->widest;

	for (size_t i = 0; i < t->q; i++) {
		double *h = out + i * full;
		size_t a = t->lv->col[i];

		b1_row(t, a, row);
		memset(h, 0, full * sizeof *h);
		memcpy(h, row, w * sizeof *h);
		for (size_t j = w; j < t->width; j++)
			h[w + at[j - w]] = row[j];
		for (size_t l = 0; t->nd->level > 0 && l < r; l++)
			for (size_t j = 0; j < full; j++)
				h[j] -= t->dc1[a * r + l] * e[l * full + j] +
				        t->c1[a * r + l] * de[l * full + j];
	}
}

/* K' of node k into out, q * q. */
static void make_dk(const struct pd_border *s, const struct spot *t,
                    double *out)
{
	size_t r = t->r, q = t->q;
	const double *o = s->o + t->nd->level * r * r;
	const double *od = s->od + t->nd->level * r * r;

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			const double *x = t->c1 + t->lv->col[i] * r;
			const double *y = t->c1 + t->lv->col[j] * r;
			const double *dx = t->dc1 + t->lv->col[i] * r;
			const double *dy = t->dc1 + t->lv->col[j] * r;
			double v = dx[t->lv->col[j]];

			for (size_t a = 0; a < r; a++)
			for (size_t b = 0; b < r; b++)
				v -= dx[a] * o[a * r + b] * y[b] +
				     x[a] * od[a * r + b] * y[b] +
				     x[a] * o[a * r + b] * dy[b];
			out[i * q + j] = v;
		}
}

/* The S rows of E and E' for what lies inside. */
static void next_e(struct pd_border *s, const struct spot *t)
{
	const uint32_t *at = s->in_root + t->nd->touch;
	const size_t *col = t->lv->col;
	size_t r = t->r, q = t->q, w = t->w, full = t->full, width = t->width;
	size_t step = r * s->widest;
	const double *e = s->e + t->nd->level * step;
	const double *de = s->de + t->nd->level * step;
	double *to = s->e + (t->nd->level + 1) * step;
	double *dto = s->de + (t->nd->level + 1) * step;

	memcpy(to, e, r * full * sizeof *to);
	memcpy(dto, de, r * full * sizeof *dto);
	for (size_t i = 0; i < q; i++) {
		double *x = to + col[i] * full, *dx = dto + col[i] * full;

		for (size_t l = 0; l < r; l++) {
			double f = 0.0, df = 0.0; /* rows of D C_S, and ' */

			for (size_t j = 0; j < q; j++) {
				f += t->d[i * q + j] * t->c[col[j] * r + l];
				df += t->dd[i * q + j] * t->c[col[j] * r + l] +
				      t->d[i * q + j] * t->dc[col[j] * r + l];
			}
			for (size_t j = 0; j < full; j++) {
				x[j] -= f * e[l * full + j];
				dx[j] -= df * e[l * full + j] +
				         f * de[l * full + j];
			}
		}
		for (size_t p = 0; p < q; p++) {
			double d = t->d[i * q + p], dd = t->dd[i * q + p];
			const double *b = t->b + col[p] * width;
			const double *db = t->db + col[p] * width;

			for (size_t j = 0; j < width; j++) {
				size_t c = j < w ? j : w + at[j - w];

				x[c] += d * b[j];
				dx[c] += dd * b[j] + d * db[j];
			}
		}
	}
}

static void next_o(struct pd_border *s, const struct spot *t)
{
	const size_t *col = t->lv->col;
	size_t r = t->r, q = t->q, rr = r * r;
	const double *o = s->o + t->nd->level * rr;
	const double *od = s->od + t->nd->level * rr;
	double *to = s->o + (t->nd->level + 1) * rr;
	double *dto = s->od + (t->nd->level + 1) * rr;
	double f[PD_MAX_R * PD_MAX_R], df[PD_MAX_R * PD_MAX_R];

	for (size_t a = 0; a < rr; a++) {
		f[a] = a % (r + 1) == 0 ? 1.0 : 0.0;
		df[a] = 0.0;
	}
	for (size_t i = 0; i < q; i++)
		for (size_t l = 0; l < r; l++)
			for (size_t j = 0; j < q; j++) {
				double c = t->c[col[j] * r + l];
				size_t x = col[i] * r + l;

				f[x] -= t->d[i * q + j] * c;
				df[x] -= t->dd[i * q + j] * c +
				         t->d[i * q + j] *
				         t->dc[col[j] * r + l];
			}
	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < r; b++) {
			double v = 0.0, dv = 0.0;

			for (size_t i = 0; i < r; i++)
			for (size_t j = 0; j < r; j++) {
				double fa = f[a * r + i], fb = f[b * r + j];
				double x = o[i * r + j];

				v += fa * x * fb;
				dv += df[a * r + i] * x * fb +
				      fa * od[i * r + j] * fb +
				      fa * x * df[b * r + j];
			}
			to[a * r + b] = v;
			dto[a * r + b] = dv;
		}
	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			to[col[i] * r + col[j]] += t->d[i * q + j];
			dto[col[i] * r + col[j]] += t->dd[i * q + j];
		}
}

/* dhp(q*w) = H' P: its [X y] part less its W part times J. */
static void times_p(const struct pd_border *s, const struct spot *t,
                    const double *dh, double *out)
{
	const uint32_t *column = s->column + s->node[t->nd->root].touch;
	size_t w = t->w;

	for (size_t i = 0; i < t->q; i++) {
		const double *h = dh + i * t->full;
		double *to = out + i * w;

		memcpy(to, h, w * sizeof *to);
		for (size_t c = w; c < t->full; c++)
			for (size_t j = 0; j < w; j++)
				to[j] -= h[c] * s->j[column[c - w] * w + j];
	}
}

/* What node k adds to row f of the second derivatives. */
static void add_node(struct pd_nested *m, struct pd_border *s, size_t k,
                     const struct spot *t, size_t f)
{
	size_t ld = m->ld, ne = m->n_elements, w = t->w, full = t->full;
	double *dh = s->wide + 2 * PD_NESTED_BLOCK * s->widest;
	double *dhp = s->wide, dk[PD_MAX_BLOCK];
	const double *hp = s->hp + k * PD_NESTED_BLOCK * w;
	size_t a, b;

	make_dh(s, t, dh);
	make_dk(s, t, dk);
	times_p(s, t, dh, dhp);
	for (size_t i = 0; i < t->lv->n_elements; i++) {
		size_t e = t->lv->first + i;
		double *to = m->dda + (e * ne + f) * ld * ld, sum;

		if (e > f)
			break;
		pd_element(t->lv, i, &a, &b);
		const double *na = s->hn + t->nd->h + a * full;
		const double *nb = s->hn + t->nd->h + b * full;

		sum = dk[a * t->q + b];
		for (size_t c = w; c < full; c++)
			sum -= dh[a * full + c] * nb[c] +
			       na[c] * dh[b * full + c];
		m->dd_log_det[e * ne + f] += pd_border_times(a, b) * sum;
		pd_border_pair(to, ld, w, -1.0, dhp + a * w, hp + b * w, 1);
		if (a != b)
			pd_border_pair(to, ld, w, -1.0, dhp + b * w,
			               hp + a * w, 1);
	}
}

void pd_border_tree_tangent(struct pd_nested *m, struct pd_border *s, size_t f)
{
	const struct pd_level *lv = m->level;
	size_t ne = m->n_elements, ll = m->ld * m->ld, a, b;

	while (f >= lv->first + lv->n_elements)
		lv++;
	pd_element(lv, f - lv->first, &a, &b);
	for (size_t e = 0; e <= f; e++) {
		m->dd_log_det[e * ne + f] = 0.0;
		memset(m->dda + (e * ne + f) * ll, 0, ll * sizeof *m->dda);
	}
	up(m, s, (size_t)(lv - m->level), a, b);
	for (size_t k = 0; k < s->n_nodes; k++) {
		struct spot t = spot_of(m, s, k);
		size_t rw = t.r * t.full;

		if (t.nd->level > (size_t)(lv - m->level))
			continue;
		if (t.nd->root == k) {
			memset(s->e, 0, rw * sizeof *s->e);
			memset(s->de, 0, rw * sizeof *s->de);
			memset(s->o, 0, t.r * t.r * sizeof *s->o);
			memset(s->od, 0, t.r * t.r * sizeof *s->od);
		}
		add_node(m, s, k, &t, f);
		if (t.nd->level < (size_t)(lv - m->level)) {
			next_e(s, &t);
			next_o(s, &t);
		}
	}
}
