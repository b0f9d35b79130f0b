/*
 * anytime.c - see anytime.h.
 */
#include "stats/anytime.h"
#include "stats/quadrature.h"

#include <math.h>

double pd_anytime_width(double v, double r, double alpha)
{
	if (!(v > 0 && r > 0 && alpha > 0 && alpha < 1) || isinf(v) ||
	    isinf(r))
		return NAN;
	return sqrt((1 + r / v) * (log1p(v / r) - 2 * log(alpha)));
}

static double tuning_miss(double y, const void *with)
{
	const double *wanted = with;

	return y - log1p(y) - *wanted;
}

double pd_anytime_tuning(double v, double alpha)
{
	double wanted;

	if (!(v > 0 && alpha > 0 && alpha < 1) || isinf(v))
		return NAN;
	wanted = -2 * log(alpha);
	/* y - ln(1 + y) is below wanted at the lower end, above at the other */
	return v / pd_root(tuning_miss, &wanted, wanted,
	                   2 * wanted + 4 + 4 * sqrt(wanted), 0);
}

double pd_anytime_p(double value, double null, double se, double r)
{
	double v = 1 / (se * se), z = (value - null) / se;

	if (!(se > 0 && r > 0) || isinf(r) || isinf(v) || !(v > 0) ||
	    isnan(z))
		return NAN;
	return fmin(1, exp(0.5 * log1p(v / r) - 0.5 * z * z * (v / (v + r))));
}

pd_estimate pd_anytime_interval(double value, double se, double r,
                                double level)
{
	pd_estimate e = { value, se, INFINITY, NAN, NAN, level, NAN };

	if (se > 0) {
		double half = se * pd_anytime_width(1 / (se * se), r,
		                                    1 - level);

		e.low = value - half;
		e.high = value + half;
		e.p = pd_anytime_p(value, 0, se, r);
	}
	return e;
}
