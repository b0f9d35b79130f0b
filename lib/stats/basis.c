/*
 * basis.c - Gram-Schmidt, each column twice, and the way back.
 */
#include "stats/basis.h"

#include <math.h>

static const double LEAST_LEFT = 1e-10; /* of a column's length */

static double dot(const double *q, size_t n, size_t p, size_t a, size_t b)
{
	double sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += q[i * p + a] * q[i * p + b];
	return sum;
}

/* Take the earlier columns off column j, all at once; part[j]: scratch. */
static void project(pd_basis *b, size_t j, double *part)
{
	size_t p = b->p;

	for (size_t k = 0; k < j; k++)
		part[k] = 0;
	for (size_t i = 0; i < b->n; i++)
		for (size_t k = 0; k < j; k++)
			part[k] += b->q[i * p + k] * b->q[i * p + j];
	for (size_t k = 0; k < j; k++) {
		part[k] /= (double)b->n;
		b->r[k * p + j] += part[k];
	}
	for (size_t i = 0; i < b->n; i++)
		for (size_t k = 0; k < j; k++)
			b->q[i * p + j] -= part[k] * b->q[i * p + k];
}

static int take_column(pd_basis *b, const double *x, size_t j, double *part)
{
	size_t p = b->p;
	double largest = 0, length, left;

	for (size_t i = 0; i < b->n; i++)
		largest = fmax(largest, fabs(x[i * p + j]));
	if (!(largest > 0))
		return 0;
	for (size_t i = 0; i < b->n; i++)
		b->q[i * p + j] = x[i * p + j] / largest;
	length = sqrt(dot(b->q, b->n, p, j, j));
	project(b, j, part);
	project(b, j, part);
	left = sqrt(dot(b->q, b->n, p, j, j));
	if (!(left > LEAST_LEFT * length))
		return 0;
	left /= sqrt((double)b->n);
	for (size_t i = 0; i < b->n; i++)
		b->q[i * p + j] /= left;
	for (size_t k = 0; k < j; k++)
		b->r[k * p + j] *= largest;
	b->r[j * p + j] = left * largest;
	return 1;
}

pd_status pd_basis_new(pd_arena *arena, const double *x, size_t n, size_t p,
                       pd_basis *out, pd_error *err)
{
	double *part;

	if (!p || p > n)
		return pd_fail(err, PD_REFUSED, "%zu columns for %zu rows: at "
		               "least one column and no fewer rows are "
		               "needed", p, n);
	for (size_t i = 0; i < n * p; i++)
		if (!isfinite(x[i]))
			return pd_fail(err, PD_DATA, "row %zu, column %zu of "
			               "the model is not a finite number",
			               i / p + 1, i % p + 1);
	*out = (pd_basis){ n, p, PD_NEW(arena, double, n * p),
	                   PD_NEW(arena, double, p * p) };
	part = PD_NEW(arena, double, p);
	if (!out->q || !out->r || !part)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t j = 0; j < p; j++)
		if (!take_column(out, x, j, part))
			return pd_fail(err, PD_REFUSED, "column %zu of the "
			               "model is a sum of the columns before "
			               "it", j + 1);
	return PD_OK;
}

void pd_basis_back(const pd_basis *b, const double *gamma, double *beta)
{
	size_t p = b->p;

	for (size_t j = p; j-- > 0;) {
		double sum = gamma[j];

		for (size_t k = j + 1; k < p; k++)
			sum -= b->r[j * p + k] * beta[k];
		beta[j] = sum / b->r[j * p + j];
	}
}

/* Column of a row-major matrix through R^-1, rows 0 .. p - 1 of it. */
static void solve_column(const pd_basis *b, double *v, size_t step)
{
	size_t p = b->p;

	for (size_t j = p; j-- > 0;) {
		double sum = v[j * step];

		for (size_t k = j + 1; k < p; k++)
			sum -= b->r[j * p + k] * v[k * step];
		v[j * step] = sum / b->r[j * p + j];
	}
}

void pd_basis_back_covariance(const pd_basis *b, double *v, size_t m)
{
	for (size_t c = 0; c < m; c++)
		solve_column(b, v + c, m);
	for (size_t r = 0; r < m; r++)
		solve_column(b, v + r * m, 1);
}
