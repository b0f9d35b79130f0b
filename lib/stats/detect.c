/* detect.c - see detect.h. */
#include "stats/detect.h"
#include "stats/quantile.h"

#include <math.h>

double pd_detectable(double se, double df, double alpha, double chance)
{
	if (!(se > 0 && alpha > 0 && alpha < 1 && chance > 0 && chance < 1))
		return NAN;
	return se * (pd_t_quantile(1 - 0.5 * alpha, df) +
	             pd_t_quantile(chance, df));
}
