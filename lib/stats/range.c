/*
 * range.c - see range.h.
 */
#include "stats/range.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <math.h>

enum { MOST_GROUPS = 500 };

static const double LEAST_DF = 0.1;
/* Trapezoidal step for one standard normal; k of them make it sqrt(k) finer
 * (the error is then exp(-2 pi^2 / 0.49) = 3e-18). */
static const double STEP = 0.7;
/* Squared slope, on the log scale, of the chance given the spread: it rises
 * over about 1 at a limit of at most 7. */
static const double SLOPE2 = 50;

static double density(double z)
{
	return 0.398942280401432677939946059934381868 * exp(-0.5 * z * z);
}

/* ---- the range -------------------------------------------------------- */

struct range {
	double q;
	size_t k;
};

/* P(range of k normals > w) = k integral phi(z) {a^m - (a - b)^m} dz with
 * a = Phi(z), b = Phi(z - w), m = k - 1: the terms centre at w / 2 or above. */
static double range_above(double s, const void *with)
{
	const struct range *r = with;
	double w = r->q * s, m = (double)(r->k - 1);
	double step = STEP / sqrt((double)r->k), sum = 0;

	if (w <= 0)
		return 1;
	for (double z = 0.5 * w - 7; z < 0.5 * w + 10; z += step) {
		double a = pd_normal_cdf(z), b = pd_normal_cdf(z - w);

		if (a > 0)
			sum += density(z) * pow(a, m) *
			       -expm1(m * log1p(-b / a));
	}
	return fmin(1, step * (double)r->k * sum);
}

static double range_below(double s, const void *with)
{
	const struct range *r = with;
	double w = r->q * s, m = (double)(r->k - 1);
	double step = STEP / sqrt((double)r->k), sum = 0;

	if (w <= 0)
		return 0;
	for (double z = -10; z < 10; z += step)
		sum += density(z) * pow(pd_normal_between(z - w, z), m);
	return fmin(1, step * (double)r->k * sum);
}

static int range_known(double q, size_t k, double df)
{
	return !isnan(q) && k >= 2 && k <= MOST_GROUPS && df >= LEAST_DF;
}

double pd_range_upper(double q, size_t k, double df)
{
	struct range r = { q, k };

	if (!range_known(q, k, df))
		return NAN;
	if (q <= 0 || isinf(q))
		return q <= 0;
	return pd_over_scale(range_above, &r, df,
	                     1 / sqrt(1 + 0.5 * q / df * q), SLOPE2);
}

static double range_lower(double q, size_t k, double df)
{
	struct range r = { q, k };

	return pd_over_scale(range_below, &r, df,
	                     sqrt(1 + (double)(k - 1) / df /
	                              (1 + 0.5 * q * q)), SLOPE2);
}

double pd_range_cdf(double q, size_t k, double df)
{
	double upper;

	if (!range_known(q, k, df))
		return NAN;
	if (q <= 0 || isinf(q))
		return q > 0;
	upper = pd_range_upper(q, k, df);
	return upper < 0.5 ? 1 - upper : range_lower(q, k, df);
}

/* ---- many to one ------------------------------------------------------ */

struct many {
	double c;
	const double *load;
	size_t k;
	int sides;
	double step, reach; /* on the z scale; largest load                  */
};

/* Chance that at least one of the k is beyond its limit, given z. */
static double any_beyond(const struct many *m, double limit, double z)
{
	double ln_none = 0;

	for (size_t i = 0; i < m->k; i++) {
		double own = sqrt(1 - m->load[i] * m->load[i]);
		double at = m->load[i] * z;
		double out = pd_normal_upper((limit - at) / own);

		if (m->sides == 2)
			out += pd_normal_cdf((-limit - at) / own);
		if (out >= 1)
			return 1;
		ln_none += log1p(-out);
	}
	return -expm1(ln_none);
}

static double many_beyond(double s, const void *with)
{
	const struct many *m = with;
	double limit = m->c * s, sum = 0;
	double far = 10 + m->reach * fmax(0, fmin(limit, 40));

	if (limit <= 0 && m->sides == 2)
		return 1;
	/* two sides: the same at z and -z; half weight at 0 */
	if (m->sides == 2)
		sum = 0.5 * density(0) * any_beyond(m, limit, 0);
	for (double z = m->sides == 2 ? m->step : -far; z < far; z += m->step)
		sum += density(z) * any_beyond(m, limit, z);
	return fmin(1, m->step * (m->sides == 2 ? 2 : 1) * sum);
}

static int many_known(const double *load, size_t k, double df, int sides)
{
	if (k < 1 || k > MOST_GROUPS || !(df >= LEAST_DF) ||
	    (sides != 1 && sides != 2))
		return 0;
	for (size_t i = 0; i < k; i++)
		if (!(load[i] >= 0 && load[i] <= 0.9999))
			return 0;
	return 1;
}

double pd_many_upper(double c, const double *load, size_t k, double df,
                     int sides)
{
	struct many m = { c, load, k, sides, 1, 0 };
	double growth = 1, mode;

	if (isnan(c) || !many_known(load, k, df, sides))
		return NAN;
	if (isinf(c) || (c <= 0 && sides == 2))
		return c <= 0;
	for (size_t i = 0; i < k; i++) {
		double l2 = load[i] * load[i];

		growth += l2 / (1 - l2);
		m.reach = fmax(m.reach, load[i]);
	}
	m.step = STEP / sqrt(growth);
	mode = c > 0 ? 1 / sqrt(1 + c / df * c) : 1;
	return pd_over_scale(many_beyond, &m, df, mode, SLOPE2);
}

/* ---- quantiles -------------------------------------------------------- */

struct sought {
	double p, df;
	size_t k;
	const double *load; /* NULL: the range                               */
	int sides;
};

/* ln of the smaller tail against its target, as a function of the point's
 * logarithm: nearly straight for few df. */
static double range_miss(double ln_q, const void *with)
{
	const struct sought *f = with;
	double q = exp(ln_q);

	if (f->p > 0.5)
		return log(1 - f->p) - log(pd_range_upper(q, f->k, f->df));
	return log(range_lower(q, f->k, f->df)) - log(f->p);
}

/* The same; with one side, where it need not be positive, of the point. */
static double many_miss(double x, const void *with)
{
	const struct sought *f = with;
	double c = f->sides == 2 ? exp(x) : x;

	return log(1 - f->p) -
	       log(pd_many_upper(c, f->load, f->k, f->df, f->sides));
}

double pd_range_quantile(double p, size_t k, double df)
{
	struct sought f = { p, df, k, NULL, 2 };
	double high, low;

	if (!(p >= 0 && p <= 1) || !range_known(1, k, df))
		return NAN;
	if (p == 0 || p == 1)
		return p > 0 ? INFINITY : 0;
	/* one pair's point is below, that of a level split over all pairs
	 * above: Bonferroni */
	low = sqrt(2) * pd_t_quantile(0.5 + 0.5 * p, df);
	high = sqrt(2) * -pd_t_quantile((1 - p) / (double)(k * (k - 1)), df);
	return exp(pd_root(range_miss, &f, log(low) - 1e-6, log(high) + 1e-6,
	                   0));
}

double pd_many_quantile(double p, const double *load, size_t k, double df,
                        int sides)
{
	struct sought f = { p, df, k, load, sides };
	double low, high, least;

	if (!(p > 0 && p < 1) || !many_known(load, k, df, sides))
		return NAN;
	/* between one comparison's point and Bonferroni's */
	low = -pd_t_quantile((1 - p) / sides, df);
	high = -pd_t_quantile((1 - p) / (sides * (double)k), df);
	if (sides == 2)
		return exp(pd_root(many_miss, &f, log(low) - 1e-6,
		                   log(high) + 1e-6, 0));
	least = 1e-6 * (fabs(low) + fabs(high)) + 1e-9;
	return pd_root(many_miss, &f, low - least, high + least, 0);
}
