/*
 * icc.c - see icc.h.
 */
#include "stats/icc.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdbool.h>

static const double ROUNDING = 1e-12; /* of the largest value, a deviation */

static pd_status check(const double *v, size_t n, size_t k, double level,
                       pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level %g, expected above 0 and "
		               "below 1", level);
	if (n < 2 || k < 2)
		return pd_fail(err, PD_REFUSED, "%zu units of %zu results, "
		               "expected 2 of 2 or more", n, k);
	for (size_t i = 0; i < n * k; i++)
		if (!isfinite(v[i]))
			return pd_fail(err, PD_DATA, "unit %zu: result %zu is "
			               "not finite", i / k + 1, i % k + 1);
	return PD_OK;
}

static double mean_of(const double *v, size_t n, size_t step)
{
	double mean = 0;

	for (size_t i = 0; i < n; i++)
		mean += (v[i * step] - mean) / (double)(i + 1);
	return mean;
}

/* Sums of squares between units and inside them, deviations first: a column
 * that is higher by the same everywhere leaves exactly nothing. */
static void squares(const double *v, size_t n, size_t k, pd_icc_kind kind,
                    double *between, double *within)
{
	double grand = mean_of(v, n * k, 1);

	*between = *within = 0;
	for (size_t j = 0; j < k; j++) {
		double shift = kind == PD_ICC_CONSISTENT
		                   ? mean_of(v + j, n, k) - grand : 0;

		for (size_t i = 0; i < n; i++) {
			double unit = mean_of(v + i * k, k, 1);

			*between += pow(unit - grand, 2);
			*within += pow(v[i * k + j] - unit - shift, 2);
		}
	}
}

/* Deviations no larger than rounding of the largest value are none. */
static bool still(const double *v, size_t n, double within)
{
	double most = 0;

	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(v[i]));
	return !(within > (double)n * pow(ROUNDING * most, 2));
}

static double of_ratio(double f, double k)
{
	return isinf(f) ? 1 : (f - 1) / (f + k - 1);
}

pd_status pd_icc_of(const double *v, size_t n, size_t k, pd_icc_kind kind,
                    double level, pd_icc *out, pd_error *err)
{
	double between, within, kk = (double)k, a = (1 + level) / 2;
	pd_status st = check(v, n, k, level, err);

	if (st != PD_OK)
		return st;
	squares(v, n, k, kind, &between, &within);
	if (still(v, n * k, within))
		return pd_fail(err, PD_REFUSED, "the results of one unit do not "
		               "differ");
	*out = (pd_icc){ .level = level, .df1 = (double)(n - 1) };
	out->df2 = (kk - 1) * (double)(kind == PD_ICC_ONE_WAY ? n : n - 1);
	between /= out->df1;
	within /= out->df2;
	out->f = between / within;
	out->between = sqrt(fmax(0, (between - within) / kk));
	out->within = sqrt(within);
	out->value = of_ratio(out->f, kk);
	out->low = of_ratio(out->f / pd_f_quantile(a, out->df1, out->df2), kk);
	out->high = of_ratio(out->f * pd_f_quantile(a, out->df2, out->df1), kk);
	return PD_OK;
}
