/*
 * nested_columns.c - the columns of the nested model, made fit for sums.
 *
 * Likelihoods are built from cross-products, and cross-products of raw columns
 * lose half the digits (a year of 2024 has a square of four million). So X is
 * replaced by an orthogonal Q spanning the same space and y by what Q leaves
 * of it, and both go back at the end:
 *   X = Q U (Gram-Schmidt, each column twice), Q'Q = n I, U upper triangular
 *   y = Q gamma + y_scale y~,  mean of y~^2 = 1
 *   b = U^-1 (gamma + y_scale b~),  log|X'V^-1 X| = log|Q'V^-1 Q| + log|U'U|
 * Source: Bjorck (1994), Linear Algebra Appl. 197, 297-316 (twice is enough).
 */
#include "stats/nested_dense.h"
#include "stats/nested_tree.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Below this share of its length a column lies in the span of earlier ones. */
static const double rank_floor = 1e-10;

static double dot(const double *x, const double *y, size_t n)
{
	double s[4] = { 0.0 };
	size_t i = 0;

	for (; i + 4 <= n; i += 4)
		for (size_t k = 0; k < 4; k++)
			s[k] += x[i + k] * y[i + k];
	for (; i < n; i++)
		s[0] += x[i] * y[i];
	return (s[0] + s[1]) + (s[2] + s[3]);
}

/* Columns in q[j*n + i]; U row-major p*p; on return Q'Q = I. */
static pd_status gram_schmidt(double *q, size_t n, size_t p, double *u,
                              pd_error *err)
{
	for (size_t j = 0; j < p; j++) {
		double *x = q + j * n;
		double before = sqrt(dot(x, x, n)), after;

		for (int pass = 0; pass < 2; pass++)
			for (size_t k = 0; k < j; k++) {
				const double *e = q + k * n;
				double f = dot(e, x, n);

				u[k * p + j] += f;
				for (size_t i = 0; i < n; i++)
					x[i] -= f * e[i];
			}
		after = sqrt(dot(x, x, n));
		if (!(after > rank_floor * before))
			return pd_fail(err, PD_NUMERIC,
			               "fixed column %zu of %zu is zero or a "
			               "sum of the columns before it, expected "
			               "independent columns", j + 1, p);
		u[j * p + j] = after;
		for (size_t i = 0; i < n; i++)
			x[i] /= after;
	}
	return PD_OK;
}

static pd_status fixed_columns(struct pd_nested *m, const double *x,
                               pd_error *err)
{
	size_t n = m->n, p = m->p;
	double root_n = sqrt((double)n);
	double *q = calloc(n * p, sizeof *q);
	pd_status st;

	if (!q)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu columns",
		               p);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			q[j * n + i] = x[i * p + j];
	st = gram_schmidt(q, n, p, m->u, err);
	for (size_t i = 0; st == PD_OK && i < n; i++)
		for (size_t j = 0; j < p; j++)
			m->rows[i * m->ld + j] = q[j * n + i] * root_n;
	free(q);
	m->log_det_u = 0.0;
	for (size_t k = 0; k < p * p; k++)
		m->u[k] /= root_n;
	for (size_t j = 0; st == PD_OK && j < p; j++)
		m->log_det_u += 2.0 * log(m->u[j * p + j]);
	return st;
}

/* Place of a column among the r distinct ones, added when it is new. */
static size_t place(struct pd_nested *m, const double *z, size_t q, size_t j,
                    double *columns)
{
	size_t n = m->n, c;

	for (c = 0; c < m->r; c++) {
		const double *have = columns + c * n;
		size_t i = 0;

		while (i < n && have[i] == (z ? z[i * q + j] : 1.0))
			i++;
		if (i == n)
			return c;
	}
	for (size_t i = 0; i < n; i++)
		columns[c * n + i] = z ? z[i * q + j] : 1.0;
	m->r++;
	return c;
}

/* R, row-major, each column over its root mean square. */
static pd_status random_columns(struct pd_nested *m, const pd_nested_spec *spec,
                                pd_error *err)
{
	size_t n = m->n, total = 0;
	double *columns;
	pd_status st = PD_OK;

	for (size_t k = 0; k < m->depth; k++)
		total += m->level[k].q;
	columns = calloc(total * n, sizeof *columns);
	if (!columns)
		return pd_fail(err, PD_NO_MEMORY, "no memory for the columns "
		               "of the random effects");
	for (size_t k = 0; k < m->depth; k++)
		for (size_t j = 0; j < m->level[k].q; j++)
			m->level[k].col[j] = place(m, spec->z[k],
			                           m->level[k].q, j, columns);
	m->random = PD_NEW(m->arena, double, n * m->r);
	if (!m->random)
		st = pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows", n);
	for (size_t c = 0; st == PD_OK && c < m->r; c++) {
		const double *x = columns + c * n;

		m->scale[c] = sqrt(dot(x, x, n) / (double)n);
		if (!(m->scale[c] > 0.0))
			st = pd_fail(err, PD_DATA, "a column of the random "
			             "effects is zero in all %zu rows", n);
		for (size_t i = 0; st == PD_OK && i < n; i++)
			m->random[i * m->r + c] = x[i] / m->scale[c];
	}
	free(columns);
	return st;
}

static pd_status all_finite(const double *x, size_t n, size_t p,
                            const char *what, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			if (!isfinite(x[i * p + j]))
				return pd_fail(err, PD_DATA,
				               "%s, row %zu column %zu: %g, "
				               "expected a finite number",
				               what, i + 1, j + 1,
				               x[i * p + j]);
	return PD_OK;
}

pd_status pd_columns_make(struct pd_nested *m, const pd_nested_spec *spec,
                          pd_error *err)
{
	pd_status st;

	if (spec->n <= spec->p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu fixed "
		               "columns, expected more rows than columns",
		               spec->n, spec->p);
	st = all_finite(spec->x, spec->n, spec->p, "fixed columns", err);
	for (size_t k = 0; st == PD_OK && k < m->depth; k++)
		if (spec->z[k])
			st = all_finite(spec->z[k], spec->n, m->level[k].q,
			                "random columns", err);
	m->rows = PD_NEW(m->arena, double, m->n * m->ld);
	m->u = PD_NEW(m->arena, double, m->p * m->p);
	m->gamma = PD_NEW(m->arena, double, m->p);
	if (st == PD_OK && (!m->rows || !m->u || !m->gamma))
		st = pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows",
		             m->n);
	if (st == PD_OK)
		st = fixed_columns(m, spec->x, err);
	if (st == PD_OK && m->depth > 0)
		st = random_columns(m, spec, err);
	return st;
}

/* gamma += Q'y~/n, y~ -= Q (Q'y~/n): once for the fit, once for rounding. */
static void sweep_out(struct pd_nested *m, double *step)
{
	size_t p = m->p, ld = m->ld;

	memset(step, 0, p * sizeof *step);
	for (size_t i = 0; i < m->n; i++)
		for (size_t j = 0; j < p; j++)
			step[j] += m->rows[i * ld + j] * m->rows[i * ld + p];
	for (size_t j = 0; j < p; j++) {
		step[j] /= (double)m->n;
		m->gamma[j] += step[j];
	}
	for (size_t i = 0; i < m->n; i++)
		for (size_t j = 0; j < p; j++)
			m->rows[i * ld + p] -= m->rows[i * ld + j] * step[j];
}

pd_status pd_columns_outcome(struct pd_nested *m, const double *y,
                             pd_error *err)
{
	size_t n = m->n, p = m->p, ld = m->ld;
	double largest = 0.0, sum = 0.0;
	pd_status st = all_finite(y, n, 1, "outcome", err);

	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < n; i++) {
		m->rows[i * ld + p] = y[i];
		largest = fmax(largest, fabs(y[i]));
	}
	memset(m->gamma, 0, p * sizeof *m->gamma);
	sweep_out(m, m->vec);
	sweep_out(m, m->vec);
	for (size_t i = 0; i < n; i++)
		sum += m->rows[i * ld + p] * m->rows[i * ld + p];
	m->y_scale = sqrt(sum / (double)n);
	if (!(m->y_scale > 1e-13 * largest))
		return pd_fail(err, PD_REFUSED, "the outcome does not vary "
		               "beyond what the %zu fixed columns explain "
		               "exactly", p);
	for (size_t i = 0; i < n; i++)
		m->rows[i * ld + p] /= m->y_scale;
	return PD_OK;
}
