/*
 * nested_kernel.h - inside the nested model: the few small products its two
 * passes are made of. Letters: nested_tree.h.
 */
#ifndef PERDRAW_STATS_NESTED_KERNEL_H
#define PERDRAW_STATS_NESTED_KERNEL_H

#include "stats/nested_dense.h"
#include "stats/nested_tree.h"

#include <string.h>

/* y(r*ld) += f * M(r*q) X, row j of X being x + col[j]*ld (col NULL: j). */
static inline void rows_add(double *restrict y, double f, const double *m, size_t r,
                     size_t q, const double *restrict x, const size_t *col,
                     size_t ld)
{
	for (size_t i = 0; i < r; i++)
		for (size_t j = 0; j < q; j++) {
			const double *row = x + (col ? col[j] : j) * ld;
			double a = f * m[i * q + j];

			for (size_t c = 0; c < ld; c++)
				y[i * ld + c] += a * row[c];
		}
}

/* out(a*b) = x(a*k) y(k*b) */
static inline void mul(const double *x, const double *y, size_t a, size_t k, size_t b,
                double *out)
{
	for (size_t i = 0; i < a; i++)
		for (size_t j = 0; j < b; j++) {
			double s = 0.0;

			for (size_t l = 0; l < k; l++)
				s += x[i * k + l] * y[l * b + j];
			out[i * b + j] = s;
		}
}

/* out(a*b) += f * x(a*k) y(b*k)' */
static inline void mul_t_add(double f, const double *x, const double *y, size_t a,
                      size_t k, size_t b, double *out)
{
	for (size_t i = 0; i < a; i++)
		for (size_t j = 0; j < b; j++) {
			double s = 0.0;

			for (size_t l = 0; l < k; l++)
				s += x[i * k + l] * y[j * k + l];
			out[i * b + j] += f * s;
		}
}

/* Columns S of c(r*r) into out(r*q). */
static inline void columns(const struct pd_level *lv, size_t r, const double *c,
                    double *out)
{
	for (size_t i = 0; i < r; i++)
		for (size_t j = 0; j < lv->q; j++)
			out[i * lv->q + j] = c[i * r + lv->col[j]];
}

/* Rows S of x(r*k) into out(q*k). */
static inline void rows_of(const struct pd_level *lv, const double *x, size_t k,
                    double *out)
{
	for (size_t j = 0; j < lv->q; j++)
		memcpy(out + j * k, x + lv->col[j] * k, k * sizeof *out);
}

/* out(r*r)[S, S] += f * x(q*q) */
static inline void spread(const struct pd_level *lv, size_t r, double f,
                   const double *x, double *out)
{
	for (size_t i = 0; i < lv->q; i++)
		for (size_t j = 0; j < lv->q; j++)
			out[lv->col[i] * r + lv->col[j]] +=
				f * x[i * lv->q + j];
}

/*
 * Rows on their way into acc[i][j] += x_i' y_j: gathered PD_CHUNK nodes at a
 * time so that the sums stay in registers. y == x for squares.
 */
struct gather {
	struct pd_nested *m;
	size_t q, n;
	double *x, *y;
	bool square;
};

static inline struct gather gather_start(struct pd_nested *m, size_t q, bool square)
{
	struct gather g = { m, q, 0, m->buffer, m->buffer, square };

	if (!square)
		g.y += PD_NESTED_BLOCK * PD_CHUNK * m->ld;
	memset(m->accum, 0, q * q * m->ld * m->ld * sizeof(double));
	return g;
}

static inline void gather_flush(struct gather *g)
{
	size_t ld = g->m->ld, step = PD_CHUNK * ld;

	for (size_t i = 0; i < g->q; i++)
		for (size_t j = g->square ? i : 0; j < g->q; j++)
			pd_cross_add(g->m->accum + (i * g->q + j) * ld * ld,
			             g->x + i * step, g->y + j * step, g->n,
			             ld, g->square && i == j);
	g->n = 0;
}

/* The place for one node's q rows: row i at the pointer + i*PD_CHUNK*ld. */
static inline size_t gather_next(struct gather *g)
{
	if (g->n == PD_CHUNK)
		gather_flush(g);
	return g->n++ * g->m->ld;
}

/* Lower part of a square block from its upper. */
static inline void fill_lower(double *a, size_t ld)
{
	for (size_t i = 0; i < ld; i++)
		for (size_t j = 0; j < i; j++)
			a[i * ld + j] = a[j * ld + i];
}

/* P = I - S gain' */
static inline void make_p(const struct pd_level *lv, size_t r, const double *gain,
                   double *p)
{
	for (size_t i = 0; i < r; i++)
		for (size_t j = 0; j < r; j++)
			p[i * r + j] = i == j ? 1.0 : 0.0;
	for (size_t a = 0; a < lv->q; a++)
		for (size_t j = 0; j < r; j++)
			p[lv->col[a] * r + j] -= gain[j * lv->q + a];
}

/* accum[i][j] += sum over shapes of (X within Y')[i][j], X, Y q*q by shape. */
static inline void add_within(struct pd_nested *m, const struct pd_level *lv,
                       size_t shape, const double *x, const double *y)
{
	size_t q = lv->q, ll = m->ld * m->ld;
	const double *in = lv->within + shape * q * q * ll;

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++)
			for (size_t a = 0; a < q; a++)
				for (size_t b = 0; b < q; b++) {
					double f = x[i * q + a] * y[j * q + b];
					double *to = m->accum +
					             (i * q + j) * ll;

					for (size_t c = 0; c < ll; c++)
						to[c] += f * in[(a * q + b) *
						                ll + c];
				}
}

/* I - C_SS D of a shape, q*q */
static inline void own_f(const struct pd_level *lv, size_t r, size_t s, double *f)
{
	rows_of(lv, lv->s.gain + s * r * lv->q, lv->q, f);
	for (size_t k = 0; k < lv->q * lv->q; k++)
		f[k] = (k % (lv->q + 1) == 0 ? 1.0 : 0.0) - f[k];
}

/* Element derivatives of A from accum: -(sum_ab + sum_ba), half if a = b. */
static inline void element_from(const struct pd_nested *m, size_t q, size_t a,
                         size_t b, double *out)
{
	size_t ld = m->ld;
	size_t lo = a < b ? a : b, hi = a < b ? b : a;
	const double *s = m->accum + (lo * q + hi) * ld * ld;

	for (size_t i = 0; i < ld; i++)
		for (size_t j = 0; j < ld; j++)
			out[i * ld + j] = a == b ? -s[i * ld + j] :
				-(s[i * ld + j] + s[j * ld + i]);
}

static inline void pass_omega(struct pd_nested *m, struct pd_level *lv,
                       const double *below, double *omega)
{
	size_t rr = m->r * m->r;
	struct pd_level *next = lv + 1;

	memset(omega, 0, next->n_shapes * rr * sizeof *omega);
	for (size_t i = 0; i < next->n_nodes; i++) {
		const double *from = below + next->parent[i] * rr;
		double *to = omega + next->shape[i] * rr;

		for (size_t c = 0; c < rr; c++)
			to[c] += next->mult[i] * from[c];
	}
}

#endif
