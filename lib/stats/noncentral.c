/*
 * noncentral.c - see noncentral.h.
 */
#include "stats/noncentral.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <math.h>

struct law {
	double t, df, delta;
};

static double above(double s, const void *with)
{
	const struct law *l = with;

	return pd_normal_upper(l->t * s - l->delta);
}

/*
 * Where the weighted chance is largest: at s = 1 while t s is on the near side
 * of delta, else where the derivative of
 *   df ln s - df s^2 / 2 - (t s - delta)^2 / 2
 * vanishes: (df + t^2) s^2 - t delta s - df = 0. Written with everything over
 * max(1, |t|) so that a large t does not overflow.
 */
static double mode(const struct law *l)
{
	double scale = fmax(1, fabs(l->t)), t = l->t / scale;
	double df = l->df / scale / scale, d = l->delta / scale;
	double a = df + t * t, b = t * d, root;

	if (l->t <= l->delta)
		return 1;
	root = sqrt(b * b + 4 * a * df);
	return b >= 0 ? (b + root) / (2 * a) : 2 * df / (root - b);
}

double pd_noncentral_t_upper(double t, double df, double delta)
{
	struct law l = { t, df, delta };

	if (isnan(t) || !(df >= 0.1) || !(fabs(delta) <= 1e4))
		return NAN;
	if (isinf(t))
		return t < 0;
	if (isinf(df))
		return pd_normal_upper(t - delta);
	return fmin(1, pd_over_scale(above, &l, df, mode(&l),
	                             2 * delta * delta + 4));
}

double pd_noncentral_t_cdf(double t, double df, double delta)
{
	return pd_noncentral_t_upper(-t, df, -delta);
}

struct sought {
	double p, df, delta;
};

static double miss(double t, const void *with)
{
	const struct sought *f = with;

	if (f->p > 0.5)
		return log(1 - f->p) -
		       log(pd_noncentral_t_upper(t, f->df, f->delta));
	return log(pd_noncentral_t_cdf(t, f->df, f->delta)) - log(f->p);
}

double pd_noncentral_t_quantile(double p, double df, double delta)
{
	struct sought f = { p, df, delta };
	double low = delta - 1, high = delta + 1;

	if (!(p > 0 && p < 1 && df >= 0.1 && fabs(delta) <= 1e4))
		return NAN;
	while (miss(low, &f) > 0 && low > -1e150)
		low -= high - low;
	while (miss(high, &f) < 0 && high < 1e150)
		high += high - low;
	return pd_root(miss, &f, low, high, 0);
}
