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
 *
 * Columns that are far from dependent go a quicker way, y beside them, in two
 * passes over the rows: where the first column is constant the first row is
 * taken off all others (exactly, for close numbers), Cholesky's R of their
 * cross-products is U, and rows times R^-1 are [Q y~]. Q'Q is then n I but for
 * some 1e-12, which is as good: the likelihood uses the cross-products as they
 * come out. Whatever is not plainly safe (a column whose own share of its
 * length is below quick_floor, a number that is not finite, squares out of
 * range) is left to Gram-Schmidt.
 */
#include "stats/nested_dense.h"
#include "stats/nested_tree.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Below this share of its length a column lies in the span of earlier ones. */
static const double rank_floor = 1e-10;
/* Below this share the quicker way is not taken. */
static const double quick_floor = 0.02;

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

static bool only_ones(const struct pd_nested *m, const pd_nested_spec *spec)
{
	for (size_t k = 0; k < m->depth; k++)
		if (spec->z[k])
			return false;
	return true;
}

/* R of intercepts alone: its root mean square is 1. */
static pd_status ones(struct pd_nested *m, pd_error *err)
{
	m->r = 1;
	m->scale[0] = 1.0;
	m->random = pd_tree_room(m, m->n);
	if (!m->random)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows",
		               m->n);
	for (size_t i = 0; i < m->n; i++)
		m->random[i] = 1.0;
	return PD_OK;
}

/* R, row-major, each column over its root mean square. */
static pd_status random_columns(struct pd_nested *m, const pd_nested_spec *spec,
                                pd_error *err)
{
	size_t n = m->n, total = 0;
	double *columns;
	pd_status st = PD_OK;

	if (only_ones(m, spec))
		return ones(m, err);
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
	m->random = pd_tree_room(m, n * m->r);
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

/* ---- the quicker way --------------------------------------------------- */

enum { CHUNK = 256 }; /* rows that stay near from step to step */

/* to = x - shift */
PD_INLINE void less(double *to, const double *x, const double *shift,
                    size_t n)
{
	size_t j = 0;

	for (; j + PD_PAIR <= n; j += PD_PAIR)
		*(pd_pair *)(to + j) = *(const pd_pair *)(x + j) -
		                        *(const pd_pair *)(shift + j);
	for (; j < n; j++)
		to[j] = x[j] - shift[j];
}

/* [X y] - shift into the rows, their cross-products into g(ld*ld). False when
 * the first column is not constant but a shift supposes it. */
static bool take_rows(struct pd_nested *m, const pd_nested_spec *spec,
                      const double *shift, bool constant, double *g)
{
	size_t p = m->p, ld = m->ld;

	memset(g, 0, ld * ld * sizeof *g);
	for (size_t k = 0; k < m->n; k += CHUNK) {
		size_t end = m->n - k < CHUNK ? m->n : k + CHUNK;

		for (size_t i = k; i < end; i++) {
			const double *x = spec->x + i * p;
			double *row = m->rows + i * ld;

			if (constant && (x[0] < *spec->x || x[0] > *spec->x))
				return false;
			less(row, x, shift, p);
			row[p] = spec->y[i] - shift[p];
		}
		pd_cross_add(g, m->rows + k * ld, ld, m->rows + k * ld, ld,
		             NULL, end - k, ld);
	}
	return true;
}

/* shift: the first row, but nothing of the first column. */
static void first_row(const struct pd_nested *m, const pd_nested_spec *spec,
                      double *shift)
{
	memcpy(shift, spec->x, m->p * sizeof *shift);
	shift[0] = 0.0;
	shift[m->p] = spec->y[0];
}

/* l(w*w, rows ld apart) = chol(g); false when a column lies near the span of
 * those before it or is out of range. */
static bool well_apart(const double *g, size_t w, size_t ld, double *l)
{
	for (size_t j = 0; j < w; j++)
		if (!(g[j * (ld + 1)] > 1e-200) || !(g[j * (ld + 1)] < 1e200))
			return false;
	memcpy(l, g, ld * ld * sizeof *l);
	if (!pd_chol(l, w, ld))
		return false;
	for (size_t j = 0; j < w; j++) {
		double own = l[j * (ld + 1)];

		if (!(own * own > quick_floor * quick_floor *
		      g[j * (ld + 1)]))
			return false;
	}
	return true;
}

/* t(ld*ld) = f (l')^-1, upper triangular, zeros elsewhere. */
static void turning(const double *l, size_t w, size_t ld, double f, double *t)
{
	memset(t, 0, ld * ld * sizeof *t);
	for (size_t j = 0; j < w; j++)
		for (size_t i = j + 1; i-- > 0;) {
			double s = i == j ? f : 0.0;

			for (size_t k = i + 1; k <= j; k++)
				s -= l[k * ld + i] * t[k * ld + j];
			t[i * ld + j] = s / l[i * ld + i];
		}
}

/* U, gamma and y's scale from chol(g) and the shift; false when one of them
 * is of rounding's size beside the column as it was given. */
static bool take_factor(struct pd_nested *m, const double *l,
                        const double *shift, double first)
{
	size_t p = m->p, ld = m->ld;
	double root_n = sqrt((double)m->n);

	m->log_det_u = 0.0;
	for (size_t j = 0; j <= p; j++) {
		double own = l[j * (ld + 1)] / root_n, sum = 0.0;

		for (size_t i = 0; i <= j; i++) {
			double u = l[j * ld + i] / root_n;

			if (i == 0 && j > 0)
				u += shift[j] / first * m->u[0];
			sum += u * u;
			if (j == p && i < p)
				m->gamma[i] = u;
			else if (j < p)
				m->u[i * p + j] = u;
		}
		if (!(own > rank_floor * sqrt(sum)))
			return false;
		if (j < p)
			m->log_det_u += 2.0 * log(own);
		else
			m->y_scale = own;
	}
	return true;
}

/* Rows, U, gamma, y's scale and cross at once; false: nothing is done. */
static bool quick(struct pd_nested *m, const pd_nested_spec *spec)
{
	size_t p = m->p, ld = m->ld, ll = ld * ld;
	double *g = m->accum, *l = g + ll, *t = l + ll, *shift = m->vec;
	double first = spec->x[0];
	bool done;

	memset(shift, 0, ld * sizeof *shift);
	done = fabs(first) > 0.0 && isfinite(first);
	if (done) {
		first_row(m, spec, shift);
		done = take_rows(m, spec, shift, true, g);
	}
	if (!done) {
		memset(shift, 0, ld * sizeof *shift);
		first = 1.0;
		take_rows(m, spec, shift, false, g);
	}
	if (!well_apart(g, p + 1, ld, l) ||
	    !take_factor(m, l, shift, first)) {
		memset(m->u, 0, p * p * sizeof *m->u);
		m->y_scale = 0.0;
		return false;
	}
	turning(l, p + 1, ld, sqrt((double)m->n), t);
	for (size_t k = 0; k < m->n; k += CHUNK) {
		size_t rows = m->n - k < CHUNK ? m->n - k : CHUNK;
		double *at = m->rows + k * ld;

		pd_rows_turn(at, rows, t, ld);
		pd_cross_add(m->cross, at, ld, at, ld, NULL, rows, ld);
	}
	m->have_cross = true;
	return true;
}

static pd_status check_columns(const struct pd_nested *m,
                               const pd_nested_spec *spec, pd_error *err)
{
	pd_status st = all_finite(spec->x, spec->n, spec->p, "fixed columns",
	                          err);

	for (size_t k = 0; st == PD_OK && k < m->depth; k++)
		if (spec->z[k])
			st = all_finite(spec->z[k], spec->n, m->level[k].q,
			                "random columns", err);
	return st;
}

pd_status pd_columns_make(struct pd_nested *m, const pd_nested_spec *spec,
                          pd_error *err)
{
	pd_status st = PD_OK;

	if (spec->n <= spec->p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu fixed "
		               "columns, expected more rows than columns",
		               spec->n, spec->p);
	m->rows = pd_tree_room(m, m->n * m->ld);
	m->u = PD_NEW(m->arena, double, m->p * m->p);
	m->gamma = PD_NEW(m->arena, double, m->p);
	if (!m->rows || !m->u || !m->gamma)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows",
		               m->n);
	if (!quick(m, spec)) {
		st = check_columns(m, spec, err);
		if (st == PD_OK)
			st = fixed_columns(m, spec->x, err);
	} else if (!only_ones(m, spec)) {
		st = check_columns(m, spec, err);
	}
	if (st == PD_OK && m->depth > 0)
		st = random_columns(m, spec, err);
	return st;
}

/* ---- the outcome -------------------------------------------------------- */

/* gamma += Q'y~/n, y~ -= Q (Q'y~/n): once for the fit, once for rounding. */
static void sweep_out(struct pd_nested *m, double *step)
{
	size_t p = m->p, ld = m->ld;

	memset(step, 0, ld * sizeof *step);
	pd_column_add(step, m->rows, m->n, p, ld);
	for (size_t j = 0; j < p; j++) {
		step[j] /= (double)m->n;
		m->gamma[j] += step[j];
	}
	for (size_t i = 0; i < m->n; i++) {
		double *row = m->rows + i * ld, sum = 0.0;

		for (size_t j = 0; j < p; j++)
			sum += row[j] * step[j];
		row[p] -= sum;
	}
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
