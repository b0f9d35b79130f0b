/*
 * censored_row.c - one exact, one-sided or two-sided row.
 */
#include "stats/censored_row.h"

#include <gsl/gsl_sf_erf.h>
#include <math.h>

static const double HALF_LOG_TWO_PI = 0.918938533204672741780329736405618;
static const double SQRT_HALF = 0.707106781186547524400844362104849039;
static const double LOG_TWO = 0.693147180559945309417232121458176568;
/* Interval width times (1 + |middle|) below which the series is used. */
static const double NARROW = 1e-3;

static double log_upper(double z)
{
	return gsl_sf_log_erfc(z * SQRT_HALF) - LOG_TWO;
}

static void exact(double y, double u, double h, pd_censored_slopes *s)
{
	double z = h * y - u;

	*s = (pd_censored_slopes){
		.l = log(h) - 0.5 * z * z - HALF_LOG_TWO_PI,
		.u = z, .h = 1 / h - z * y,
		.uu = -1, .uh = y, .hh = -1 / (h * h) - y * y,
	};
}

/* Slopes in the place of one limit into slopes in u and h: d/du = -d/db,
 * d/dh = c d/db. */
static void one_limit(double c, double l, double l_b, double l_bb,
                      pd_censored_slopes *s)
{
	*s = (pd_censored_slopes){ .l = l, .u = -l_b, .h = c * l_b,
	                           .uu = l_bb, .uh = -c * l_bb,
	                           .hh = c * c * l_bb };
}

static void below(double high, double u, double h, pd_censored_slopes *s)
{
	double b = h * high - u, rate = gsl_sf_hazard(-b);

	one_limit(high, log_upper(-b), rate, -rate * (b + rate), s);
}

static void above(double low, double u, double h, pd_censored_slopes *s)
{
	double a = h * low - u, rate = gsl_sf_hazard(a);

	one_limit(low, log_upper(a), -rate, -rate * (rate - a), s);
}

/* ln of the mass within w around m is ln w - m^2/2 + w^2 (m^2 - 1) / 24. */
static void narrow(double middle, double width, double u, double h,
                   pd_censored_slopes *s)
{
	double m = h * middle - u, w = h * width;
	double part = w * w * (m * m - 1) / 24;
	double m1 = -m + w * w * m / 12, m2 = -1 + w * w / 12;
	double w1 = 1 / w + w * (m * m - 1) / 12;
	double w2 = -1 / (w * w) + (m * m - 1) / 12, mw = w * m / 6;

	s->l = log(w) - 0.5 * m * m + part - HALF_LOG_TWO_PI;
	s->u = -m1;
	s->h = middle * m1 + width * w1;
	s->uu = m2;
	s->uh = -middle * m2 - width * mw;
	s->hh = middle * middle * m2 + 2 * middle * width * mw +
	        width * width * w2;
}

/* ln(P(b) - P(a)), a < b, from the tails on the side away from 0. */
static double log_between(double a, double b)
{
	double far, near;

	if (a < 0 && b > 0)
		return log1p(-0.5 * (erfc(-a * SQRT_HALF) +
		                     erfc(b * SQRT_HALF)));
	near = log_upper(a >= 0 ? a : -b);
	far = log_upper(a >= 0 ? b : -a);
	return near + log1p(-exp(far - near));
}

static void between(double low, double high, double u, double h,
                    pd_censored_slopes *s)
{
	double a = h * low - u, b = h * high - u, l = log_between(a, b);
	double at_a = exp(-0.5 * a * a - HALF_LOG_TWO_PI - l);
	double at_b = exp(-0.5 * b * b - HALF_LOG_TWO_PI - l);
	double aa = a * at_a - at_a * at_a, bb = -b * at_b - at_b * at_b;
	double ab = at_a * at_b;

	s->l = l;
	s->u = at_a - at_b;
	s->h = high * at_b - low * at_a;
	s->uu = aa + bb + 2 * ab;
	s->uh = -low * (aa + ab) - high * (bb + ab);
	s->hh = low * low * aa + high * high * bb + 2 * low * high * ab;
}

void pd_censored_row(double low, double high, double u, double h,
                     pd_censored_slopes *out)
{
	double width = high - low, middle = low + 0.5 * width;

	if (low == high)
		exact(low, u, h, out);
	else if (isinf(low))
		below(high, u, h, out);
	else if (isinf(high))
		above(low, u, h, out);
	else if (h * width * (1 + fabs(h * middle - u)) < NARROW)
		narrow(middle, width, u, h, out);
	else
		between(low, high, u, h, out);
}
