/*
 * control.c - charts and their constants; run lengths are in control_run.c.
 */
#include "stats/control.h"
#include "stats/incomplete.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdlib.h>

/* ---- constants -------------------------------------------------------- */

/* Nodes a panel (32 of which the library stores to full precision), panels,
 * and where the normal law ends for our purpose. */
enum { NODES = 32, PANELS = 12, INNER = 8, MOST = 100 };
static const double END = 8.6;

/* Node i of n nodes on each of `panels` parts of [a, b]. */
static void node(const gsl_integration_glfixed_table *t, double a, double b,
                 size_t panels, size_t i, double *x, double *w)
{
	double step = (b - a) / (double)panels;
	double from = a + step * (double)(i / NODES);

	gsl_integration_glfixed_point(from, from + step, i % NODES, x, w, t);
}

static double mean_range(const gsl_integration_glfixed_table *t, double n)
{
	double sum = 0, x, w;

	for (size_t i = 0; i < NODES * PANELS; i++) {
		node(t, -END, END, PANELS, i, &x, &w);
		sum += w * (1 - pow(pd_normal_cdf(x), n) -
		            pow(pd_normal_upper(x), n));
	}
	return sum;
}

/* Half of the mean squared range. */
static double half_square(const gsl_integration_glfixed_table *t, double n)
{
	double sum = 0, x, y, w, v;

	for (size_t i = 0; i < NODES * PANELS; i++) {
		double below, part = 0;

		node(t, -END, END, PANELS, i, &x, &w);
		below = pow(pd_normal_upper(x), n);
		for (size_t j = 0; j < NODES * INNER; j++) {
			node(t, x, END, INNER, j, &y, &v);
			part += v * (1 - pow(pd_normal_cdf(y), n) - below +
			             pow(fmax(0, pd_normal_upper(x) -
			                      pd_normal_upper(y)), n));
		}
		sum += w * part;
	}
	return sum;
}

pd_status pd_control_factors_of(size_t n, pd_control_factors *out,
                                pd_error *err)
{
	gsl_integration_glfixed_table *t;
	double m = (double)n;

	if (n < 2 || n > MOST)
		return pd_fail(err, PD_DATA, "control chart factors are made "
		               "for 2 to %d values, got %zu", MOST, n);
	t = gsl_integration_glfixed_table_alloc(NODES);
	if (!t)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	out->d2 = mean_range(t, m);
	out->d3 = sqrt(2 * half_square(t, m) - out->d2 * out->d2);
	gsl_integration_glfixed_table_free(t);
	out->c4 = sqrt(2 / (m - 1)) * exp(pd_ln_gamma(m / 2) - pd_ln_gamma((m - 1) / 2));
	out->a2 = 3 / (out->d2 * sqrt(m));
	out->d3_low = fmax(0, 1 - 3 * out->d3 / out->d2);
	out->d4_high = 1 + 3 * out->d3 / out->d2;
	out->e2 = 3 / out->d2;
	return PD_OK;
}

/* ---- charts ----------------------------------------------------------- */

static pd_status all_finite(const double *x, size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(x[i]))
			return pd_fail(err, PD_DATA, "value %zu of the chart "
			               "is not a finite number", i + 1);
	return PD_OK;
}

pd_status pd_control_individuals(const double *x, size_t n, size_t n_base,
                                 pd_control_single *out, pd_error *err)
{
	const double d2 = 2 / sqrt(M_PI), d3 = sqrt(2 - 4 / M_PI);
	pd_status st = all_finite(x, n, err);
	double *range;

	if (st != PD_OK)
		return st;
	if (n_base < 2 || n_base > n)
		return pd_fail(err, PD_REFUSED, "the baseline needs 2 to %zu "
		               "values, got %zu", n, n_base);
	range = malloc(n_base * sizeof *range);
	if (!range)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 1; i < n_base; i++)
		range[i - 1] = fabs(x[i] - x[i - 1]);
	*out = (pd_control_single){ .centre = pd_summarise(x, n_base).mean };
	out->range_mean = pd_summarise(range, n_base - 1).mean;
	free(range);
	if (!(out->range_mean > 0))
		return pd_fail(err, PD_REFUSED, "no variation: all values of "
		               "the baseline are equal");
	out->sigma = out->range_mean / d2;
	out->low = out->centre - 3 * out->sigma;
	out->high = out->centre + 3 * out->sigma;
	out->range_high = out->range_mean * (1 + 3 * d3 / d2);
	for (size_t i = 0; i < n; i++)
		out->n_beyond += x[i] < out->low || x[i] > out->high;
	double made[] = { out->centre, out->low, out->high, out->range_high };

	return pd_check_results(made, sizeof made / sizeof *made, err);
}

static pd_status scale(const double *x, size_t n, double centre, double sigma,
                       pd_error *err)
{
	if (!isfinite(centre) || !isfinite(sigma) || !(sigma > 0))
		return pd_fail(err, PD_DATA, "a chart needs a centre and a "
		               "sigma above 0, got %g and %g", centre, sigma);
	return all_finite(x, n, err);
}

pd_status pd_control_average(const double *x, size_t n, double centre,
                             double sigma, double lambda, double limit,
                             double *z, double *half, size_t *first,
                             pd_error *err)
{
	pd_status st = scale(x, n, centre, sigma, err);
	double at = centre, keep = 1 - lambda;

	if (st != PD_OK)
		return st;
	if (!(lambda > 0 && lambda <= 1) || !(limit > 0))
		return pd_fail(err, PD_DATA, "a weighted average needs a "
		               "weight of 0 to 1 and a limit above 0, got %g "
		               "and %g", lambda, limit);
	*first = 0;
	for (size_t i = 0; i < n; i++) {
		double done = 1 - pow(keep, 2 * ((double)i + 1));

		z[i] = at = lambda * x[i] + keep * at;
		half[i] = limit * sigma * sqrt(lambda / (2 - lambda) * done);
		if (!*first && fabs(at - centre) > half[i])
			*first = i + 1;
	}
	st = pd_check_results(z, n, err);
	return st == PD_OK ? pd_check_results(half, n, err) : st;
}

pd_status pd_control_sums(const double *x, size_t n, double centre,
                          double sigma, double k, double h, double *up,
                          double *down, size_t *first, pd_error *err)
{
	pd_status st = scale(x, n, centre, sigma, err);
	double above = 0, below = 0;

	if (st != PD_OK)
		return st;
	if (!(k >= 0) || !(h > 0))
		return pd_fail(err, PD_DATA, "cumulative sums need an "
		               "allowance of 0 or more and a limit above 0, "
		               "got %g and %g", k, h);
	*first = 0;
	for (size_t i = 0; i < n; i++) {
		double s = (x[i] - centre) / sigma;

		up[i] = above = fmax(0, above + s - k);
		down[i] = below = fmax(0, below - s - k);
		if (!*first && (above > h || below > h))
			*first = i + 1;
	}
	st = pd_check_results(up, n, err);
	return st == PD_OK ? pd_check_results(down, n, err) : st;
}
