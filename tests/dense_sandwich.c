/* dense_sandwich.c - see dense_sandwich.h. */
#include "dense_sandwich.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Pseudo-inverse root of a symmetric a[n*n] in place, by rotations. */
static void inverse_root(double *a, size_t n)
{
	double *v = calloc(n * n, sizeof *v), *d = calloc(n, sizeof *d);
	double most = 0.0;

	for (size_t i = 0; i < n; i++)
		v[i * n + i] = 1.0;
	for (int sweep = 0; sweep < 60; sweep++)
		for (size_t p = 0; p < n; p++)
		for (size_t q = p + 1; q < n; q++) {
			double t = 0.5 * atan2(2.0 * a[p * n + q],
			                       a[p * n + p] - a[q * n + q]);
			double c = cos(t), s = sin(t);

			for (size_t k = 0; k < n; k++) {
				double x = a[k * n + p], y = a[k * n + q];

				a[k * n + p] = c * x + s * y;
				a[k * n + q] = c * y - s * x;
				x = v[k * n + p];
				y = v[k * n + q];
				v[k * n + p] = c * x + s * y;
				v[k * n + q] = c * y - s * x;
			}
			for (size_t k = 0; k < n; k++) {
				double x = a[p * n + k], y = a[q * n + k];

				a[p * n + k] = c * x + s * y;
				a[q * n + k] = c * y - s * x;
			}
		}
	for (size_t i = 0; i < n; i++) {
		d[i] = a[i * n + i];
		most = fmax(most, d[i]);
	}
	memset(a, 0, n * n * sizeof *a);
	for (size_t k = 0; k < n; k++)
		for (size_t i = 0; d[k] > 1e-10 * most && i < n * n; i++)
			a[i] += v[i / n * n + k] * v[i % n * n + k] /
			        sqrt(d[k]);
	free(v);
	free(d);
}

static void multiply(const double *a, const double *b, size_t n, double *out)
{
	memset(out, 0, n * n * sizeof *out);
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++)
			for (size_t j = 0; j < n; j++)
				out[i * n + j] += a[i * n + k] * b[k * n + j];
}

static void turn_over(const double *a, size_t n, double *out)
{
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			out[j * n + i] = a[i * n + j];
}

void direct_new(struct direct *d, size_t n)
{
	d->n = n;
	d->w = calloc(7 * n * n, sizeof *d->w);
	d->v = d->w + n * n;
	d->left = d->v + n * n;
	d->middle = d->left + n * n;
	d->adjust = d->middle + n * n;
	d->t = d->adjust + n * n;
	d->s = d->t + n * n;
}

/* A, block by block, the root D of V the symmetric one (any will do). */
static void adjustments(struct direct *d, const int32_t *cluster)
{
	size_t n = d->n, at[ROWS];

	for (int32_t c = 0; c < 200; c++) {
		size_t k = 0;
		double *g, *v, *root, *t, *u;

		for (size_t i = 0; i < n; i++)
			if (cluster[i] == c)
				at[k++] = i;
		if (k == 0)
			continue;
		g = calloc(5 * k * k, sizeof *g);
		v = g + k * k;
		root = v + k * k;
		t = root + k * k;
		u = t + k * k;
		for (size_t i = 0; i < k * k; i++) {
			size_t cell = at[i / k] * n + at[i % k];

			g[i] = d->middle[cell];
			v[i] = root[i] = d->v[cell];
		}
		inverse_root(root, k);
		multiply(v, root, k, t); /* V^(1/2) */
		memcpy(root, t, k * k * sizeof *t);
		multiply(root, g, k, t);
		multiply(t, root, k, u);
		inverse_root(u, k);
		multiply(root, u, k, t);
		multiply(t, root, k, u);
		for (size_t i = 0; i < k * k; i++)
			d->adjust[at[i / k] * n + at[i % k]] = u[i];
		free(g);
	}
}

void direct_at(struct direct *d, const double *x, const double *y,
               const int32_t *cluster)
{
	size_t n = d->n;
	double wx[ROWS * P] = { 0.0 };

	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			for (size_t a = 0; a < P; a++)
				wx[i * P + a] += d->w[i * n + j] *
				                 x[j * P + a];
	memset(d->bread, 0, sizeof d->bread);
	for (size_t i = 0; i < n; i++)
		for (size_t a = 0; a < P; a++)
			for (size_t b = 0; b < P; b++)
				d->bread[a * P + b] += x[i * P + a] *
				                       wx[i * P + b];
	invert(d->bread, P);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++) {
			double h = 0.0;

			for (size_t a = 0; a < P; a++)
				for (size_t b = 0; b < P; b++)
					h += x[i * P + a] * wx[j * P + b] *
					     d->bread[a * P + b];
			d->left[i * n + j] = (i == j) - h;
		}
	multiply(d->left, d->v, n, d->t);
	turn_over(d->left, n, d->s);
	multiply(d->t, d->s, n, d->middle);
	memset(d->adjust, 0, n * n * sizeof *d->adjust);
	adjustments(d, cluster);
	for (size_t a = 0; a < P; a++) {
		d->beta[a] = 0.0;
		for (size_t i = 0; i < n * P; i++)
			d->beta[a] += d->bread[a * P + i % P] * wx[i] *
			              y[i / P];
	}
	for (size_t i = 0; i < n; i++) {
		d->e[i] = 0.0;
		for (size_t j = 0; j < n; j++)
			d->e[i] += d->left[i * n + j] * y[j];
	}
	/* t = A'W X B, n*P */
	memset(d->s, 0, n * P * sizeof *d->s);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			for (size_t a = 0; a < P; a++)
				d->s[i * P + a] += d->adjust[j * n + i] *
				                   wx[j * P + a];
	memset(d->t, 0, n * P * sizeof *d->t);
	for (size_t i = 0; i < n; i++)
		for (size_t a = 0; a < P; a++)
			for (size_t b = 0; b < P; b++)
				d->t[i * P + a] += d->s[i * P + b] *
				                   d->bread[b * P + a];
	memset(d->cov, 0, sizeof d->cov);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			for (size_t a = 0; cluster[i] == cluster[j] && a < P;
			     a++)
				for (size_t b = 0; b < P; b++)
					d->cov[a * P + b] += d->t[i * P + a] *
						d->e[i] * d->e[j] *
						d->t[j * P + b];
}

double direct_df(const struct direct *d, const double *c,
                 const int32_t *cluster)
{
	size_t n = d->n, k = 0;
	double *p = calloc(n * n, sizeof *p), *vp = calloc(n * n, sizeof *vp);
	double sum = 0.0, squares = 0.0;

	for (int32_t g = 0; g < 200; g++) {
		bool any = false;

		for (size_t i = 0; i < n; i++) {
			double f = 0.0;

			if (cluster[i] != g)
				continue;
			any = true;
			for (size_t a = 0; a < P; a++)
				f += d->t[i * P + a] * c[a];
			for (size_t j = 0; j < n; j++)
				p[k * n + j] += f * d->left[i * n + j];
		}
		k += any;
	}
	for (size_t g = 0; g < k; g++)
		for (size_t i = 0; i < n; i++)
			for (size_t j = 0; j < n; j++)
				vp[g * n + i] += d->v[i * n + j] * p[g * n + j];
	for (size_t g = 0; g < k; g++)
		for (size_t h = 0; h < k; h++) {
			double s = 0.0;

			for (size_t i = 0; i < n; i++)
				s += p[g * n + i] * vp[h * n + i];
			sum += g == h ? s : 0.0;
			squares += s * s;
		}
	free(p);
	free(vp);
	return sum * sum / squares;
}
