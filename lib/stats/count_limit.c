/*
 * count_limit.c - a profile followed down to a height.
 */
#include "stats/count_limit.h"

#include <math.h>

enum { MOST_DOUBLINGS = 60, MOST_CUTS = 200 };

/* Between `in` (above) and `out` (below). */
static pd_status meet(pd_count_height *height, void *with, double in,
                      double in_height, double out, double out_height,
                      double scale, double *limit, pd_error *err)
{
	int side = 0;

	for (int k = 0; k < MOST_CUTS; k++) {
		double at = in + (out - in) * in_height /
		                     (in_height - out_height), h;
		pd_status st;

		if (fabs(out - in) <= 1e-13 * (fabs(in) + scale) ||
		    at == in || at == out)
			break;
		st = height(with, at, &h, err);
		if (st != PD_OK)
			return st;
		if (h > 0) {
			in = at;
			in_height = h;
			out_height /= side == 1 ? 2 : 1;
			side = 1;
		} else {
			out = at;
			out_height = h;
			in_height /= side == 2 ? 2 : 1;
			side = 2;
		}
		if (fabs(h) < 1e-12)
			break;
	}
	*limit = fabs(in_height) < fabs(out_height) ? in : out;
	return PD_OK;
}

pd_status pd_count_limit(pd_count_height *height, void *with, double top,
                         double step, double furthest, double *limit,
                         pd_error *err)
{
	double in = top, in_height = 0, at, h, scale = fabs(step);
	pd_status st = height(with, top, &in_height, err);

	for (int k = 0; st == PD_OK && k < MOST_DOUBLINGS; k++, step *= 2) {
		at = in + step;
		if (step > 0 ? at > furthest : at < furthest)
			break;
		st = height(with, at, &h, err);
		if (st != PD_OK)
			break;
		if (h <= 0)
			return meet(height, with, in, in_height, at, h, scale,
			            limit, err);
		in = at;
		in_height = h;
	}
	*limit = step > 0 ? INFINITY : -INFINITY;
	return st;
}

pd_status pd_count_check_level(double level, pd_error *err)
{
	if (level > 0 && level < 1)
		return PD_OK;
	return pd_fail(err, PD_DATA, "interval level %g is outside 0 to 1",
	               level);
}
