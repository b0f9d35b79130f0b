/*
 * paired.c - the mean of differences; permutation for plain arrays.
 */
#include "stats/paired.h"
#include "stats/permute.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

static const double SAME = 1e-12; /* see paired.h */

pd_status pd_paired_mean(const double *diff, size_t n, double level,
                         pd_estimate *out, pd_error *err)
{
	pd_status st = pd_check_finite(diff, n, err);
	pd_summary s;
	double half;

	if (st != PD_OK)
		return st;
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "interval level %g is outside 0 "
		               "to 1", level);
	if (n < 2)
		return pd_fail(err, PD_REFUSED, "at least 2 differences are "
		               "needed, got %zu", n);
	s = pd_summarise(diff, n);
	if (s.high - s.low <= SAME * fmax(fabs(s.low), fabs(s.high)))
		return pd_fail(err, PD_REFUSED, "no variation: all %zu "
		               "differences are equal", n);
	*out = (pd_estimate){ .value = s.mean, .level = level };
	out->se = s.sd / sqrt((double)n);
	out->df = (double)(n - 1);
	half = out->se * pd_t_quantile(0.5 + 0.5 * level, out->df);
	out->low = out->value - half;
	out->high = out->value + half;
	out->p = pd_t_two_sided(out->value / out->se, out->df);
	return pd_check_estimate(out, err);
}

pd_status pd_sign_flip(const double *diff, size_t n, size_t draws,
                       uint64_t seed, pd_flip_result *out, pd_error *err)
{
	pd_permute_plan plan = { .n_rows = n, .value = diff, .draws = draws,
	                         .seed = seed };
	pd_permutation result;
	pd_status st = pd_permute(&plan, &result, err);

	*out = result.flip;
	return st;
}

pd_status pd_relabel(const double *a, size_t n, const double *b, size_t m,
                     size_t draws, uint64_t seed, pd_flip_result *out,
                     pd_error *err)
{
	double *x = malloc((n + m + 1) * sizeof *x);
	int32_t *arm = calloc(n + m + 1, sizeof *arm);
	pd_permute_plan plan = { .n_rows = n + m, .value = x, .arm = arm,
	                         .draws = draws, .seed = seed };
	pd_permutation result = { 0 };
	pd_status st = PD_OK;

	if (!x || !arm)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; st == PD_OK && i < n + m; i++) {
		x[i] = i < n ? a[i] : b[i - n];
		arm[i] = i >= n;
	}
	if (st == PD_OK)
		st = pd_permute(&plan, &result, err);
	*out = result.flip;
	free(x);
	free(arm);
	return st;
}
