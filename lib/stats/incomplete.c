/*
 * incomplete.c - incomplete beta and gamma functions and their inverses.
 */
#include "stats/incomplete.h"

#include <float.h>
#include <math.h>

enum { MOST_TERMS = 3000000, MOST_STEPS = 400 };

static const double HALF_LN_2PI = 0.918938533204672741780329736405617640;
static const double TWO_PI = 6.283185307179586476925286766559005768;

static const pd_tails NO_TAILS = { NAN, NAN, NAN };

/*
 * ln Gamma(k + 1) less Stirling's (k + 1/2) ln k - k + ln(2 pi) / 2, k > 0.
 * From 15 up the asymptotic series, its first left-out term below 1e-17.
 */
static double stirling_rest(double k)
{
	static const double c[] = {
		1.0 / 12, -1.0 / 360, 1.0 / 1260, -1.0 / 1680, 1.0 / 1188,
		-691.0 / 360360, 1.0 / 156,
	};
	double q = 1 / (k * k), sum = 0;

	if (k < 15)
		return pd_ln_gamma(k + 1) - (k + 0.5) * log(k) + k - HALF_LN_2PI;
	for (int i = (int)(sizeof c / sizeof *c) - 1; i >= 0; i--)
		sum = sum * q + c[i];
	return sum / k;
}

/* k ln(k / m) + m - k >= 0, without cancellation when k is near m. */
static double deviance(double k, double m)
{
	double d = k - m, v, term, sum, next;

	if (!(fabs(d) < 0.1 * (k + m)))
		return k * log(k / m) - d;
	v = d / (k + m);
	sum = d * v;
	term = 2 * k * v;
	for (int i = 1; i < 100; i++) {
		term *= v * v;
		next = sum + term / (2 * i + 1);
		if (next == sum)
			break;
		sum = next;
	}
	return sum;
}

/* x^a y^b / B(a, b) with y = 1 - x given, both without rounding trouble. */
static double beta_slope(double x, double y, double a, double b)
{
	double n = a + b;
	double e = stirling_rest(n) - stirling_rest(a) - stirling_rest(b) -
	           deviance(a, n * x) - deviance(b, n * y);

	return exp(e) * sqrt(a / n * b / TWO_PI);
}

static double not_zero(double v)
{
	return fabs(v) < DBL_MIN / DBL_EPSILON ? DBL_MIN / DBL_EPSILON : v;
}

/*
 * The fraction h in I_x(a, b) = x^a y^b h / B(a, b), in the form that takes
 * both x and y (Didonato & Morris 1992, ACM TOMS 18, 360-373, eq. 9), so that
 * an x near 1 keeps its precision; by Lentz's method. All its leading terms
 * are positive for x < (a + 1) / (a + b + 2), where it is used.
 */
static double beta_fraction(double x, double y, double a, double b)
{
	double lambda = a * y - b * x;
	double f = a / (a + 1) * (lambda + 1), c = f, d = 0;

	for (int i = 1; i <= MOST_TERMS; i++) {
		double m = i, e = a + 2 * m - 1, w = m * (b - m) * x;
		double alpha = (a + m - 1) / e * ((a + b + m - 1) / e) * w * x;
		double beta = m + w / e +
		              (a + m) / (e + 2) * (lambda + 1 + m * (1 + y));
		double step;

		d = 1 / not_zero(beta + alpha * d);
		c = not_zero(beta + alpha / c);
		step = c * d;
		f *= step;
		if (fabs(step - 1) <= DBL_EPSILON)
			return 1 / f;
	}
	return NAN;
}

pd_tails pd_beta_tails(double r, double a, double b)
{
	double x, y;
	pd_tails t;

	if (!(r >= 0 && a > 0 && b > 0) || isinf(a) || isinf(b))
		return NO_TAILS;
	if (r == 0)
		return (pd_tails){ 0, 1, 0 };
	if (isinf(r))
		return (pd_tails){ 1, 0, 0 };
	x = r > 1 ? 1 / (1 + 1 / r) : r / (1 + r);
	y = 1 / (1 + r);
	t.slope = beta_slope(x, y, a, b);
	if (x < (a + 1) / (a + b + 2)) {
		t.lower = t.slope > 0
		                ? t.slope * beta_fraction(x, y, a, b) : 0;
		t.upper = 1 - t.lower;
	} else {
		t.upper = t.slope > 0
		                ? t.slope * beta_fraction(y, x, b, a) : 0;
		t.lower = 1 - t.upper;
	}
	return t;
}

/* 1 + x / (a + 1) + x^2 / ((a + 1)(a + 2)) + ... for x < a + 1. */
static double gamma_series(double x, double a)
{
	double term = 1, sum = 1;

	for (int i = 1; i <= MOST_TERMS; i++) {
		term *= x / (a + i);
		sum += term;
		if (term <= sum * (DBL_EPSILON / 4))
			return sum;
	}
	return NAN;
}

/* h in Q(a, x) = x^a exp(-x) h / Gamma(a), by Lentz's method, x >= a + 1. */
static double gamma_fraction(double x, double a)
{
	double b = x + 1 - a, c = 1 / DBL_MIN, d = 1 / b, h = d;

	for (int i = 1; i <= MOST_TERMS; i++) {
		double t = -i * (i - a), step;

		b += 2;
		d = 1 / not_zero(t * d + b);
		c = not_zero(b + t / c);
		step = d * c;
		h *= step;
		if (fabs(step - 1) <= DBL_EPSILON)
			return h;
	}
	return NAN;
}

pd_tails pd_gamma_tails(double x, double shape)
{
	pd_tails t;

	if (!(x >= 0 && shape > 0) || isinf(shape))
		return NO_TAILS;
	if (x == 0)
		return (pd_tails){ 0, 1, 0 };
	if (isinf(x))
		return (pd_tails){ 1, 0, 0 };
	t.slope = exp(-stirling_rest(shape) - deviance(shape, x)) *
	          sqrt(shape / TWO_PI);
	if (x < shape + 1) {
		t.lower = t.slope > 0
		                ? t.slope * gamma_series(x, shape) / shape : 0;
		t.upper = 1 - t.lower;
	} else {
		t.upper = t.slope > 0 ? t.slope * gamma_fraction(x, shape) : 0;
		t.lower = 1 - t.upper;
	}
	return t;
}

/* ---- the way back ------------------------------------------------------- */

/* A law on (0, infinity): b > 0: odds of Beta(a, b); b = 0: Gamma(a). */
struct law {
	double a, b;
	int upper; /* the tail that is to be p */
};

static double tail_at(const struct law *w, double r, double *slope)
{
	pd_tails t = w->b > 0 ? pd_beta_tails(r, w->a, w->b)
	                      : pd_gamma_tails(r, w->a);

	*slope = w->upper ? -t.slope : t.slope;
	return w->upper ? t.upper : t.lower;
}

/* The next point: Newton's where it stays in the bracket, else its middle on
 * the log scale, else a growing stride towards the open side. */
static double next_point(double r, double step, double low, double high,
                         double *stride, int up)
{
	double to = r * exp(step);

	if (isfinite(step) && fabs(step) <= 2 * *stride && to > low &&
	    to < high) {
		*stride = fmax(fabs(step), 1e-3);
		return to;
	}
	if (low > 0 && isfinite(high))
		return sqrt(low) * sqrt(high);
	*stride *= 2;
	return up ? r * exp(*stride) : r * exp(-*stride);
}

/* r > 0 at which the law's tail is p; see incomplete.h. */
static double find(const struct law *w, double p, double start)
{
	double r = start, low = 0, high = INFINITY, stride = 1;

	for (int i = 0; i < MOST_STEPS; i++) {
		double slope, t = tail_at(w, r, &slope);
		double miss = log(t / p), step = -miss * t / slope;
		int up = w->upper ? t > p : t < p;

		if (isnan(t))
			return NAN;
		if (t > 0 && isfinite(t / p) && fabs(step) < 1e-10) {
			r *= 1 + step; /* quadratic: now exact to rounding */
			t = tail_at(w, r, &slope);
			return fabs(t / p - 1) < 1e-10 ? r : NAN;
		}
		if (up)
			low = r;
		else
			high = r;
		if (high / low <= 1 + 2 * DBL_EPSILON)
			return fabs(miss) < 1e-10 ? r : NAN;
		r = next_point(r, step, low, high, &stride, up);
		if (r < DBL_MIN || isnan(r))
			return 0;
		if (r > DBL_MAX)
			return INFINITY;
	}
	return NAN;
}

double pd_beta_odds(double p, int upper, double a, double b)
{
	struct law w = { a, b, upper };

	if (!(p > 0 && p < 1 && a > 0 && b > 0) || isinf(a) || isinf(b))
		return NAN;
	return find(&w, p, a / b);
}

double pd_gamma_point(double p, int upper, double shape)
{
	struct law w = { shape, 0, upper };

	if (!(p > 0 && p < 1 && shape > 0) || isinf(shape))
		return NAN;
	return find(&w, p, shape);
}
