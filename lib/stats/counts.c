/*
 * counts.c - exact limits of Poisson rates and proportions, two counts held
 * against each other, the score interval, the index of dispersion. A count of
 * 0 and an exposure-free group are ordinary input here.
 */
#include "stats/counts.h"
#include "stats/incomplete.h"
#include "stats/quantile.h"

#include <math.h>

static int is_count(double k)
{
	return k >= 0 && k < 0x1p53 && floor(k) == k;
}

static int is_level(double level)
{
	return level > 0 && level < 1;
}

void pd_poisson_limits(double count, double exposure, double level,
                       double *low, double *high)
{
	double tail = 0.5 * (1 - level);

	*low = *high = NAN;
	if (!is_count(count) || !(exposure > 0) || isinf(exposure) ||
	    !is_level(level))
		return;
	*low = count > 0 ? pd_gamma_point(tail, 0, count) / exposure : 0;
	*high = pd_gamma_point(tail, 1, count + 1) / exposure;
}

/* Limits of the odds pi / (1 - pi) for k of n. */
static void odds_limits(double k, double n, double level, double *low,
                        double *high)
{
	double tail = 0.5 * (1 - level);

	*low = k > 0 ? pd_beta_odds(tail, 0, k, n - k + 1) : 0;
	*high = k < n ? pd_beta_odds(tail, 1, k + 1, n - k) : INFINITY;
}

static double share(double odds)
{
	return odds > 1 ? 1 / (1 + 1 / odds) : odds / (1 + odds);
}

void pd_binomial_limits(double k, double n, double level, double *low,
                        double *high)
{
	*low = *high = NAN;
	if (!is_count(k) || !is_count(n) || k > n || n == 0 ||
	    !is_level(level))
		return;
	odds_limits(k, n, level, low, high);
	*low = share(*low);
	*high = share(*high);
}

/* The smaller tail of x in n trials at the given odds, both ends included. */
static double smaller_tail(double x, double n, double odds)
{
	double at_most = 1, at_least = 1;

	if (x < n) /* P(X <= x) is the chance that Beta(x + 1, n - x) > pi */
		at_most = pd_beta_tails(odds, x + 1, n - x).upper;
	if (x > 0)
		at_least = pd_beta_tails(odds, x, n - x + 1).lower;
	return fmin(at_most, at_least);
}

pd_two_counts pd_compare_two_counts(double x, double e1, double y, double e2,
                                    double level)
{
	pd_two_counts r = { NAN, NAN, NAN, NAN };

	if (!is_count(x) || !is_count(y) || !(e1 > 0 && e2 > 0) || isinf(e1) ||
	    isinf(e2) || !is_level(level))
		return r;
	if (x + y == 0) { /* nothing seen: any ratio is possible */
		r.low = 0;
		r.high = INFINITY;
		r.p = 1;
		return r;
	}
	r.ratio = x / e1 / (y / e2);
	odds_limits(x, x + y, level, &r.low, &r.high);
	r.low *= e2 / e1;
	r.high *= e2 / e1;
	r.p = fmin(1, 2 * smaller_tail(x, x + y, e1 / e2));
	return r;
}

void pd_wilson_limits(double k, double n, double level, double *low,
                      double *high)
{
	double z, middle, half;

	*low = *high = NAN;
	if (!(k >= 0 && k <= n && n > 0) || isinf(n) || !is_level(level))
		return;
	z = pd_normal_quantile(0.5 + 0.5 * level);
	middle = k + 0.5 * z * z;
	half = z * sqrt(k * (n - k) / n + 0.25 * z * z);
	*low = k > 0 ? (middle - half) / (n + z * z) : 0;
	*high = k < n ? (middle + half) / (n + z * z) : 1;
}

pd_dispersion pd_count_dispersion(const double *count, size_t n)
{
	pd_dispersion d = { NAN, NAN, NAN };
	double sum = 0, square = 0, mean;

	for (size_t i = 0; i < n; i++) {
		if (!is_count(count[i]))
			return d;
		sum += count[i];
	}
	if (n < 2 || sum == 0)
		return d;
	mean = sum / (double)n;
	for (size_t i = 0; i < n; i++)
		square += (count[i] - mean) * (count[i] - mean);
	d.index = square / mean;
	d.df = (double)(n - 1);
	d.p = pd_chisq_upper(d.index, d.df);
	return d;
}

static double ln_choose(double n, double k)
{
	return pd_ln_gamma(n + 1) - pd_ln_gamma(k + 1) - pd_ln_gamma(n - k + 1);
}

double pd_hypergeometric_upper(double k, double n, double marked, double all)
{
	double sum = 0, whole, from = fmax(fmax(k, n + marked - all), 0);

	if (!(n >= 0 && n <= all && marked >= 0 && marked <= all))
		return NAN;
	whole = ln_choose(all, n);
	if (k <= fmax(n + marked - all, 0))
		return 1;
	for (double x = from; x <= fmin(n, marked); x++)
		sum += exp(ln_choose(marked, x) +
		           ln_choose(all - marked, n - x) - whole);
	return fmin(1, sum);
}
