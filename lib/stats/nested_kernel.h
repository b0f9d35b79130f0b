/*
 * nested_kernel.h - inside the nested model: the few small products its
 * passes are made of. Letters: nested_tree.h.
 */
#ifndef PERDRAW_STATS_NESTED_KERNEL_H
#define PERDRAW_STATS_NESTED_KERNEL_H

#include "stats/nested_dense.h"
#include "stats/nested_tree.h"

#include <string.h>

/* y(ld) += s x(ld), ld a multiple of 4 */
PD_INLINE void row_add(double *restrict y, double s, const double *restrict x,
                       size_t ld)
{
	for (size_t c = 0; c < ld; c += 4) {
		*(pd_pair *)(y + c) += s * *(const pd_pair *)(x + c);
		*(pd_pair *)(y + c + 2) += s * *(const pd_pair *)(x + c + 2);
	}
}

/* y(a*ld) += f M(a*b) X(b*ld) */
PD_INLINE void rows_add(double *restrict y, double f, const double *m,
                        size_t a, size_t b, const double *restrict x,
                        size_t ld)
{
	for (size_t i = 0; i < a; i++)
		for (size_t j = 0; j < b; j++)
			row_add(y + i * ld, f * m[i * b + j], x + j * ld, ld);
}

/* out(a*b) = x(a*k) y(k*b) */
static inline void mul(const double *x, const double *y, size_t a, size_t k,
                       size_t b, double *out)
{
	for (size_t i = 0; i < a; i++)
		for (size_t j = 0; j < b; j++) {
			double s = 0.0;

			for (size_t l = 0; l < k; l++)
				s += x[i * k + l] * y[l * b + j];
			out[i * b + j] = s;
		}
}

/* out(a*b) += f x(a*k) y(b*k)' */
static inline void mul_t_add(double f, const double *x, const double *y,
                             size_t a, size_t k, size_t b, double *out)
{
	for (size_t i = 0; i < a; i++)
		for (size_t j = 0; j < b; j++) {
			double s = 0.0;

			for (size_t l = 0; l < k; l++)
				s += x[i * k + l] * y[j * k + l];
			out[i * b + j] += f * s;
		}
}

/* out(a*b) = x(k*a)' y(k*b) */
static inline void t_mul(const double *x, const double *y, size_t a, size_t k,
                         size_t b, double *out)
{
	for (size_t i = 0; i < a; i++)
		for (size_t j = 0; j < b; j++) {
			double s = 0.0;

			for (size_t l = 0; l < k; l++)
				s += x[l * a + i] * y[l * b + j];
			out[i * b + j] = s;
		}
}

/* Columns S of c(r*r) into out(r*q). */
static inline void columns_of(const struct pd_level *lv, size_t r,
                              const double *c, double *out)
{
	for (size_t i = 0; i < r; i++)
		for (size_t j = 0; j < lv->q; j++)
			out[i * lv->q + j] = c[i * r + lv->col[j]];
}

/* Rows S of x(r*k) into out(q*k). */
static inline void rows_of(const struct pd_level *lv, const double *x,
                           size_t k, double *out)
{
	for (size_t j = 0; j < lv->q; j++)
		memcpy(out + j * k, x + lv->col[j] * k, k * sizeof *out);
}

/* [S, S] of c(r*r) into out(q*q). */
static inline void block_of(const struct pd_level *lv, size_t r,
                            const double *c, double *out)
{
	for (size_t i = 0; i < lv->q; i++)
		for (size_t j = 0; j < lv->q; j++)
			out[i * lv->q + j] = c[lv->col[i] * r + lv->col[j]];
}

/* out(r*r)[S, S] += f x(q*q) */
static inline void spread(const struct pd_level *lv, size_t r, double f,
                          const double *x, double *out)
{
	for (size_t i = 0; i < lv->q; i++)
		for (size_t j = 0; j < lv->q; j++)
			out[lv->col[i] * r + lv->col[j]] +=
				f * x[i * lv->q + j];
}

/*
 * accum[i][j] += X within[shape] Y' for one shape: what its leaves add about
 * their bundle means, H of a leaf being X (or Y) B_S there.
 */
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
		double *to = m->accum + (i * q + j) * ll;

		for (size_t c = 0; c < ll; c++)
			to[c] += f * in[(a * q + b) * ll + c];
	}
}

/* Derivative of A by element (a, b) from accum[i][j] = sum H_i' H_j. */
static inline void element_from(const struct pd_nested *m, size_t q, size_t a,
                                size_t b, double *out)
{
	size_t ll = m->ld * m->ld;
	const double *x = m->accum + (a * q + b) * ll;
	const double *y = m->accum + (b * q + a) * ll;

	for (size_t c = 0; c < ll; c++)
		out[c] = a == b ? -x[c] : -(x[c] + y[c]);
}

/* The same of log|V| from k[i][j] = sum K_ij. */
static inline double element_sum(const double *k, size_t q, size_t a, size_t b)
{
	return a == b ? k[a * q + a] : k[a * q + b] + k[b * q + a];
}

#endif
