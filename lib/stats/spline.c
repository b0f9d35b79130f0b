/*
 * spline.c - knots, what the data show between them, and the columns.
 */
#include "stats/spline.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double place_3[] = { 0.10, 0.50, 0.90 };
static const double place_4[] = { 0.05, 0.35, 0.65, 0.95 };
static const double place_5[] = { 0.05, 0.275, 0.50, 0.725, 0.95 };
static const double place_6[] = { 0.05, 0.23, 0.41, 0.59, 0.77, 0.95 };
static const double place_7[] = { 0.025, 0.1833, 0.3417, 0.50, 0.6583,
	                          0.8167, 0.975 };
static const double *const places[] = { place_3, place_4, place_5, place_6,
	                                place_7 };

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static pd_status check_count(size_t k, size_t n, pd_error *err)
{
	if (k < PD_SPLINE_LEAST || k > PD_SPLINE_MOST)
		return pd_fail(err, PD_USAGE, "%zu knots, expected %d to %d",
		               k, PD_SPLINE_LEAST, PD_SPLINE_MOST);
	if (n <= k)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu knots, "
		               "expected more rows than knots", n, k);
	return PD_OK;
}

/* v in ascending order; the caller frees it. */
static pd_status sorted(const double *v, size_t n, double **out,
                        pd_error *err)
{
	*out = NULL;
	for (size_t i = 0; i < n; i++)
		if (!isfinite(v[i]))
			return pd_fail(err, PD_DATA, "row %zu: the dose is "
			               "%g, expected a finite number", i + 1,
			               v[i]);
	*out = malloc(n * sizeof **out);
	if (!*out)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu doses",
		               n);
	memcpy(*out, v, n * sizeof **out);
	qsort(*out, n, sizeof **out, ascending);
	return PD_OK;
}

/* The stretch of v, see spline.h. */
static size_t stretch(const pd_spline *s, double v)
{
	size_t j = 0;

	if (v >= s->knot[s->k - 1])
		return s->k;
	while (v > s->knot[j])
		j++;
	return j;
}

/* A dose on an inner knot lies strictly between no two. */
static int on_inner_knot(const pd_spline *s, double v)
{
	for (size_t j = 1; j + 1 < s->k; j++)
		if (v == s->knot[j])
			return 1;
	return 0;
}

static size_t count(const double *sorted_v, size_t n, pd_spline *s)
{
	size_t all = 0;

	for (size_t i = 0; i < n; i++) {
		int fresh = !i || sorted_v[i] > sorted_v[i - 1];
		size_t j = stretch(s, sorted_v[i]);

		all += (size_t)fresh;
		if (on_inner_knot(s, sorted_v[i]))
			continue;
		s->rows[j]++;
		s->distinct[j] += (size_t)fresh;
	}
	return all;
}

static pd_status supported(const pd_spline *s, size_t distinct, pd_error *err)
{
	size_t k = s->k;

	if (!s->distinct[0])
		return pd_fail(err, PD_REFUSED, "no dose at or below the "
		               "first knot %g", s->knot[0]);
	if (!s->distinct[k])
		return pd_fail(err, PD_REFUSED, "no dose at or above the last "
		               "knot %g", s->knot[k - 1]);
	for (size_t j = 1; j < k; j++)
		if (!s->distinct[j])
			return pd_fail(err, PD_REFUSED, "no dose between "
			               "knots %g and %g: the data cannot show "
			               "how the curve bends there",
			               s->knot[j - 1], s->knot[j]);
	if (distinct <= k)
		return pd_fail(err, PD_REFUSED, "%zu distinct doses for %zu "
		               "knots, expected more doses than knots",
		               distinct, k);
	return PD_OK;
}

/* The columns hold cubes of doses over a square of the knots' span. */
static pd_status within_range(const pd_spline *s, double largest,
                              pd_error *err)
{
	double span = s->knot[s->k - 1] - s->knot[0];
	double cube = pow(fmax(largest - s->knot[0], span), 3);
	double made[] = { cube, 1 / (span * span * span) };

	return pd_check_results(made, 2, err);
}

static pd_status place(const double *sorted_v, size_t n, const double *knot,
                       size_t k, pd_spline *out, pd_error *err)
{
	pd_spline s = { .k = k };
	pd_status st;

	for (size_t j = 0; j < k; j++) {
		s.knot[j] = knot[j];
		if (!isfinite(knot[j]))
			return pd_fail(err, PD_DATA, "knot %zu is %g, expected "
			               "a finite number", j + 1, knot[j]);
		if (j && !(knot[j] > knot[j - 1]))
			return pd_fail(err, PD_DATA, "knot %zu is %g after "
			               "%g, expected a larger one", j + 1,
			               knot[j], knot[j - 1]);
	}
	st = supported(&s, count(sorted_v, n, &s), err);
	if (st == PD_OK)
		st = within_range(&s, sorted_v[n - 1], err);
	if (st == PD_OK)
		*out = s;
	return st;
}

pd_status pd_spline_given(const double *v, size_t n, const double *knot,
                          size_t k, pd_spline *out, pd_error *err)
{
	double *at = NULL;
	pd_status st = check_count(k, n, err);

	if (st == PD_OK)
		st = sorted(v, n, &at, err);
	if (st == PD_OK)
		st = place(at, n, knot, k, out, err);
	free(at);
	return st;
}

static double quantile(const double *sorted_v, size_t n, double q)
{
	double where = (double)(n - 1) * q, whole = floor(where);
	size_t i = (size_t)whole;

	if (i + 1 >= n)
		return sorted_v[n - 1];
	return sorted_v[i] + (where - whole) * (sorted_v[i + 1] - sorted_v[i]);
}

pd_status pd_spline_default(const double *v, size_t n, size_t k,
                            pd_spline *out, pd_error *err)
{
	double *at = NULL, knot[PD_SPLINE_MOST];
	pd_status st = check_count(k, n, err);

	if (st == PD_OK)
		st = sorted(v, n, &at, err);
	for (size_t j = 0; st == PD_OK && j < k; j++) {
		knot[j] = quantile(at, n, places[k - PD_SPLINE_LEAST][j]);
		if (j && !(knot[j] > knot[j - 1]))
			st = pd_fail(err, PD_REFUSED, "knots %zu and %zu both "
			             "fall on the dose %g: too few distinct "
			             "doses for %zu knots, ask for fewer or "
			             "name them", j, j + 1, knot[j], k);
	}
	if (st == PD_OK)
		st = place(at, n, knot, k, out, err);
	free(at);
	return st;
}

/* ---- columns ------------------------------------------------------------ */

static double above(double v, double knot)
{
	return v > knot ? v - knot : 0;
}

/* Beyond c the cubes cancel: (b - a) (c - a) (3 v - a - b - c) is left. */
void pd_spline_basis(const pd_spline *s, double v, double *out)
{
	size_t k = s->k;
	double b = s->knot[k - 2], c = s->knot[k - 1];
	double width = c - s->knot[0], scale = 1 / (width * width);

	out[0] = v - s->knot[0];
	for (size_t j = 0; j + 2 < k; j++) {
		double a = s->knot[j], x = above(v, a), y = above(v, b);

		if (v >= c)
			out[j + 1] = (b - a) * (c - a) * scale *
			             ((v - a) + (v - b) + (v - c));
		else
			out[j + 1] = scale * (x * x * x - y * y * y *
			                      ((c - a) / (c - b)));
	}
}

void pd_spline_slope(const pd_spline *s, double v, double *out)
{
	size_t k = s->k;
	double b = s->knot[k - 2], c = s->knot[k - 1];
	double width = c - s->knot[0], scale = 3 / (width * width);

	out[0] = 1;
	for (size_t j = 0; j + 2 < k; j++) {
		double a = s->knot[j], x = above(v, a), y = above(v, b);

		out[j + 1] = v >= c ? scale * (b - a) * (c - a)
		                    : scale * (x * x - y * y *
		                               ((c - a) / (c - b)));
	}
}

void pd_spline_columns(const pd_spline *s, const double *v, size_t n,
                       double *x, size_t width, size_t first)
{
	for (size_t i = 0; i < n; i++)
		pd_spline_basis(s, v[i], x + i * width + first);
}
