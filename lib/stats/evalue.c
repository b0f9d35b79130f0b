/*
 * evalue.c - see evalue.h.
 */
#include "stats/evalue.h"

#include <math.h>

double pd_evalue(double ratio)
{
	double r = ratio < 1 ? 1 / ratio : ratio;

	if (!(ratio >= 0))
		return NAN;
	return isinf(r) ? INFINITY : r + sqrt(r) * sqrt(r - 1);
}

static double as_risk(double ratio, pd_ratio_kind kind)
{
	switch (kind) {
	case PD_RATIO_ODDS:
		return sqrt(ratio);
	case PD_RATIO_HAZARD: /* 1 - 0.5^t = -expm1(-t ln 2) */
		return expm1(-M_LN2 * sqrt(ratio)) /
		       expm1(-M_LN2 / sqrt(ratio));
	default:
		return ratio;
	}
}

static void fill(pd_evalues *out)
{
	double near = out->ratio >= 1 ? out->low : out->high;
	int beyond = out->ratio >= 1 ? near > 1 : near < 1;

	out->estimate = pd_evalue(out->ratio);
	out->limit = beyond ? pd_evalue(near) : 1;
}

pd_status pd_evalue_ratio(double ratio, double low, double high,
                          pd_ratio_kind kind, pd_evalues *out, pd_error *err)
{
	if (!(low > 0 && low <= ratio && ratio <= high && isfinite(high)))
		return pd_fail(err, PD_DATA, "a ratio and its limits must be "
		               "above 0 and in order, got %g (%g to %g)",
		               ratio, low, high);
	*out = (pd_evalues){ .ratio = as_risk(ratio, kind),
	                     .low = as_risk(low, kind),
	                     .high = as_risk(high, kind) };
	fill(out);
	return PD_OK;
}

pd_status pd_evalue_means(const pd_estimate *e, double sd, pd_evalues *out,
                          pd_error *err)
{
	double d = e->value / sd, se = e->se / sd;

	if (!(sd > 0) || !isfinite(sd))
		return pd_fail(err, PD_DATA, "the sd of the outcome must be "
		               "above 0, got %g", sd);
	if (!isfinite(e->value) || !(e->se >= 0) || isinf(e->se))
		return pd_fail(err, PD_DATA, "the difference and its standard "
		               "error must be finite, got %g and %g", e->value,
		               e->se);
	*out = (pd_evalues){ .ratio = exp(0.91 * d),
	                     .low = exp(0.91 * d - 1.78 * se),
	                     .high = exp(0.91 * d + 1.78 * se) };
	fill(out);
	return PD_OK;
}
