/*
 * colony.c - see colony.h.
 */
#include "stats/colony.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>

static pd_status look(const double *count, const double *cells, size_t n,
                      pd_error *err)
{
	for (size_t i = 0; i < n; i++) {
		if (!(count[i] >= 0) || isinf(count[i]) ||
		    count[i] != floor(count[i]))
			return pd_fail(err, PD_DATA, "dish %zu has %g "
			               "colonies, expected a whole number",
			               i + 1, count[i]);
		if (!(cells[i] > 0) || isinf(cells[i]))
			return pd_fail(err, PD_DATA, "dish %zu has %g cells "
			               "plated, expected a number above 0",
			               i + 1, cells[i]);
	}
	if (!n)
		return pd_fail(err, PD_REFUSED, "no dish was counted");
	return PD_OK;
}

static pd_status scale(const char *what, double x, pd_error *err)
{
	if (x < 0 || isinf(x))
		return pd_fail(err, PD_DATA, "%s is %g, expected a number of 0 "
		               "or more, or none", what, x);
	return PD_OK;
}

static pd_colony_rate times(pd_colony_rate r, double by)
{
	return (pd_colony_rate){ r.value * by, r.low * by, r.high * by,
	                         r.below * by };
}

static void scatter(const double *count, const double *cells, size_t n,
                    pd_colonies *c)
{
	double rate = c->colonies / c->cells;

	c->scatter = c->scatter_p = NAN;
	c->scatter_df = (double)n - 1;
	if (n < 2 || !(c->colonies > 0))
		return;
	c->scatter = 0;
	for (size_t i = 0; i < n; i++) {
		double e = cells[i] * rate;

		c->scatter += (count[i] - e) * (count[i] - e) / e;
	}
	c->scatter_p = pd_chisq_upper(c->scatter, c->scatter_df);
}

pd_status pd_colonies_of(const double *count, const double *cells, size_t n,
                         double tnc, double ml, double level,
                         pd_colonies *out, pd_error *err)
{
	pd_status st = look(count, cells, n, err);
	double million;

	if (st == PD_OK)
		st = scale("the nucleated count", tnc, err);
	if (st == PD_OK)
		st = scale("the volume", ml, err);
	if (st == PD_OK && !(level > 0 && level < 1))
		st = pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		             "got %g", level);
	if (st != PD_OK)
		return st;
	*out = (pd_colonies){ .level = level };
	for (size_t i = 0; i < n; i++) {
		out->colonies += count[i];
		out->cells += cells[i];
	}
	million = out->cells / 1e6;
	out->per_million.value = out->colonies / million;
	pd_poisson_limits(out->colonies, million, level,
	                  &out->per_million.low, &out->per_million.high);
	out->per_million.below =
	    pd_gamma_quantile(level, out->colonies + 1, 1 / million);
	out->per_ml = times(out->per_million, tnc);
	out->of_draw = times(out->per_ml, ml);
	scatter(count, cells, n, out);
	const pd_colony_rate *r = &out->per_million;
	const double made[] = { r->value, r->low, r->high, r->below };

	return pd_check_results(made, sizeof made / sizeof *made, err);
}
