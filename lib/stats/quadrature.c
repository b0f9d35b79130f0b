/*
 * quadrature.c - see quadrature.h.
 */
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <float.h>
#include <math.h>

enum { MOST_TERMS = 40000, MOST_STEPS = 300, QUIET_TERMS = 3 };

static const double TWO_PI = 6.283185307179586476925286766559005768;
static const double PI = 3.141592653589793238462643383279502884;

/* Above this many df the spread is known. */
static const double KNOWN_DF = 1e16;
/* Below this many df the sum would be too long. */
static const double LEAST_DF = 0.02;
/* Widest step on the u scale, and steps in a standard deviation of g. */
static const double WIDEST = 0.1;
static const double FINENESS = 0.45;

/* ---- averages over the spread ----------------------------------------- */

/* b^b exp(-b) / Gamma(b): Stirling's series from 15 up, its first term left
 * out below 1e-17. */
static double leading(double b)
{
	static const double c[] = {
		1.0 / 12, -1.0 / 360, 1.0 / 1260, -1.0 / 1680, 1.0 / 1188,
		-691.0 / 360360, 1.0 / 156,
	};
	double q = 1 / (b * b), sum = 0;

	if (b < 15)
		return pow(b / exp(1), b) / tgamma(b);
	for (int i = (int)(sizeof c / sizeof *c) - 1; i >= 0; i--)
		sum = sum * q + c[i];
	return sqrt(b / TWO_PI) * exp(-sum / b);
}

/* v - (exp(v) - 1), by its series where the two are nearly the same. */
static double bend(double v)
{
	if (fabs(v) > 0.01)
		return v - expm1(v);
	return -0.5 * v * v *
	       (1 + v / 3 * (1 + v / 4 * (1 + v / 5 * (1 + v / 6 *
	                                               (1 + v / 7)))));
}

double pd_scale_log_density(double s, double df)
{
	double b = 0.5 * df, u = log(s);

	return log(2 * leading(b)) - u + b * bend(2 * u);
}

struct average {
	pd_function *f;
	const void *with;
	double b, step;
};

/* Terms from u in steps of `by`, until they no longer add to base + sum. */
static double walk(const struct average *a, double u, double by, double base)
{
	double sum = 0;
	int quiet = 0;

	for (int i = 0; i < MOST_TERMS; i++, u += by) {
		double e = a->b * bend(2 * u);
		double term = exp(e) * a->f(exp(u), a->with);

		sum += term;
		if (term <= 1e-18 * (base + sum)) {
			if (++quiet == QUIET_TERMS)
				return sum;
		} else {
			quiet = 0;
		}
	}
	return NAN;
}

double pd_over_scale(pd_function *f, const void *with, double df, double mode,
                     double steepness)
{
	struct average a = { f, with, 0.5 * df, WIDEST };
	double u = log(mode), up, down;

	if (!(df >= LEAST_DF) || !isfinite(u))
		return NAN;
	if (df > KNOWN_DF)
		return f(1, with);
	a.step = fmin(WIDEST, FINENESS / sqrt(2 * df + steepness));
	up = walk(&a, u, a.step, 0);
	down = walk(&a, u - a.step, -a.step, up);
	return 2 * leading(a.b) * a.step * (up + down);
}

double pd_normal_between(double low, double high)
{
	if (!(low < high))
		return low >= high ? 0 : NAN;
	return low > 0 ? pd_normal_upper(low) - pd_normal_upper(high)
	               : pd_normal_cdf(high) - pd_normal_cdf(low);
}

/* ---- nodes ------------------------------------------------------------ */

/* P_n at x and, in *slope, its derivative. */
static double legendre(size_t n, double x, double *slope)
{
	double before = 1, here = x;

	for (size_t k = 2; k <= n; k++) {
		double m = (double)k;
		double next = ((2 * m - 1) * x * here - (m - 1) * before) / m;

		before = here;
		here = next;
	}
	*slope = (double)n * (x * here - before) / (x * x - 1);
	return here;
}

void pd_legendre(size_t n, double *x, double *w)
{
	for (size_t i = 0; i < n; i++) {
		double slope, at = -cos(PI * ((double)i + 0.75) /
		                        ((double)n + 0.5));

		if (2 * i + 1 == n)
			at = 0;
		for (int k = 0; k < 8; k++)
			at -= legendre(n, at, &slope) / slope;
		legendre(n, at, &slope);
		x[i] = at;
		w[i] = 2 / ((1 - at * at) * slope * slope);
	}
}

/* ---- roots ------------------------------------------------------------ */

double pd_root(pd_function *f, const void *with, double low, double high,
               double tolerance)
{
	double a = high, b = low, c, fa = f(a, with), fb = f(b, with), fc;
	double t = 0.5;

	if (fa == 0)
		return a;
	if (fb == 0)
		return b;
	if (!(fa * fb < 0 || (fa < 0) != (fb < 0)) || isnan(fa) || isnan(fb))
		return NAN;
	for (int i = 0; i < MOST_STEPS; i++) {
		double x = a + t * (b - a), fx = f(x, with);

		if (isnan(fx))
			return NAN;
		if ((fx < 0) == (fa < 0)) {
			c = a;
			fc = fa;
		} else {
			c = b;
			fc = fb;
			b = a;
			fb = fa;
		}
		a = x;
		fa = fx;
		double best = fabs(fa) < fabs(fb) ? a : b;
		double room = 2 * DBL_EPSILON * fabs(best) + 0.5 * tolerance;
		double part = room / fabs(b - c);

		if (part > 0.5 || fa == 0 || fabs(b - a) <= 2 * room)
			return best;
		double xi = (a - b) / (c - b), phi = (fa - fb) / (fc - fb);

		if (phi * phi < xi && (1 - phi) * (1 - phi) < 1 - xi)
			t = fa / (fb - fa) * fc / (fb - fc) +
			    (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb);
		else
			t = 0.5;
		t = fmin(1 - part, fmax(part, t));
	}
	return NAN;
}
