/*
 * quantile.c - normal, Student's t, F, chi-square, beta and gamma laws and
 * their quantiles, over the tails of incomplete.c. Limits for counts are in
 * counts.c.
 */
#include "stats/quantile.h"
#include "stats/incomplete.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

static const double SQRT_TWO_PI = 2.506628274631000502415765284811045253;
static const double SQRT_HALF = 0.707106781186547524400844362104849039;

/* Above this many df the t law is the normal law of a transformed argument. */
static const double MANY_DF = 1e6;
/* Above this many denominator df, F is a chi-square over its df. */
static const double ENDLESS_DF = 1e10;

double pd_normal_cdf(double x)
{
	return 0.5 * erfc(-x * SQRT_HALF);
}

double pd_normal_upper(double x)
{
	return 0.5 * erfc(x * SQRT_HALF);
}

/* x >= 0 with P(Z > x) = p, p <= 1/2: a rational start and one step by
 * Halley's rule; near the middle on the probability between 0 and x. */
static double normal_point(double p)
{
	double x = -gsl_cdf_ugaussian_Pinv(p), miss, e;

	if (!isfinite(x) || p < 1e-300)
		return x;
	miss = p > 0.25 ? (0.5 - p) - 0.5 * erf(x * SQRT_HALF)
	                : pd_normal_upper(x) - p;
	e = miss * SQRT_TWO_PI * exp(0.5 * x * x);
	return x + e / (1 - 0.5 * x * e);
}

double pd_normal_quantile(double p)
{
	if (!(p >= 0 && p <= 1))
		return NAN;
	if (p == 0 || p == 1)
		return p == 0 ? -INFINITY : INFINITY;
	if (p == 0.5)
		return 0;
	return p < 0.5 ? -normal_point(p) : normal_point(1 - p);
}

double pd_normal_quantile_near(double p)
{
	return gsl_cdf_ugaussian_Pinv(p);
}

/* Hill (1970), Comm. ACM 13, 617-619: z with P(Z > z) = P(T > t) for many
 * df; the first term left out is below 1e-16 from a million df up. */
static double hill(double t, double df)
{
	double a = df - 0.5, b = 48 * a * a;
	double z2 = a * log1p(t / df * t), z = sqrt(z2);

	return z + z * (z2 + 3) / b -
	       z * (((4 * z2 + 33) * z2 + 240) * z2 + 855) /
	               (10 * b * (b + 0.8 * z2 * z2 + 100));
}

/* The other way: the Cornish-Fisher expansion of t in 1 / df. */
static double t_from_normal(double z, double df)
{
	double q = z * z;

	return z + z * ((q + 1) / 4 + ((5 * q + 16) * q + 3) / (96 * df) +
	                (((3 * q + 19) * q + 17) * q - 15) / (384 * df * df)) /
	                   df;
}

/* ln of the constant C in P(|T| > t) = C (t^2 / df)^(-df / 2) for t beyond
 * 1e145, where odds no longer fit a double. */
static double power_tail(double df)
{
	double b = 0.5 * df;

	return pd_ln_gamma(b + 0.5) - pd_ln_gamma(b) - pd_ln_gamma(0.5) - log(b);
}

double pd_t_two_sided(double t, double df)
{
	t = fabs(t);
	if (isnan(t) || !(df > 0))
		return NAN;
	if (isinf(df))
		return erfc(t * SQRT_HALF);
	if (isinf(t))
		return 0;
	if (df > MANY_DF)
		return 2 * pd_normal_upper(hill(t, df));
	if (t > 1e145)
		return exp(power_tail(df) - 0.5 * df * (2 * log(t) - log(df)));
	return pd_beta_tails(t / df * t, 0.5, 0.5 * df).upper;
}

double pd_t_upper(double t, double df)
{
	double half = 0.5 * pd_t_two_sided(t, df);

	return t < 0 ? 1 - half : half;
}

double pd_t_cdf(double t, double df)
{
	return pd_t_upper(-t, df);
}

/* t > 0 with P(T > t) = q, q < 1/2; near the middle the probability between
 * 0 and t is the better target. */
static double t_point(double q, double df)
{
	double r;

	if (isinf(df))
		return normal_point(q);
	if (df > MANY_DF)
		return t_from_normal(normal_point(q), df);
	if (q > 0.25)
		r = pd_beta_odds(1 - 2 * q, 0, 0.5, 0.5 * df);
	else
		r = pd_beta_odds(2 * q, 1, 0.5, 0.5 * df);
	if (r > 1e290)
		return exp((power_tail(df) - log(2 * q)) / df + 0.5 * log(df));
	return sqrt(df) * sqrt(r);
}

double pd_t_quantile(double p, double df)
{
	if (!(p >= 0 && p <= 1 && df > 0))
		return NAN;
	if (p == 0 || p == 1)
		return p == 0 ? -INFINITY : INFINITY;
	if (p == 0.5)
		return 0;
	return p < 0.5 ? -t_point(p, df) : t_point(1 - p, df);
}

double pd_f_upper(double f, double df1, double df2)
{
	if (isnan(f) || !(df1 > 0 && df2 > 0) || isinf(df1))
		return NAN;
	if (f <= 0)
		return 1;
	if (df2 > ENDLESS_DF)
		return pd_chisq_upper(f * df1, df1);
	return pd_beta_tails(df1 / df2 * f, 0.5 * df1, 0.5 * df2).upper;
}

/* The point at which the smaller of the two tails is met. */
static double beta_odds(double p, double a, double b)
{
	return p <= 0.5 ? pd_beta_odds(p, 0, a, b)
	                : pd_beta_odds(1 - p, 1, a, b);
}

double pd_f_quantile(double p, double df1, double df2)
{
	if (!(p >= 0 && p <= 1 && df1 > 0 && df2 > 0) || isinf(df1))
		return NAN;
	if (p == 0 || p == 1)
		return p == 0 ? 0 : INFINITY;
	if (df2 > ENDLESS_DF)
		return pd_chisq_quantile(p, df1) / df1;
	return df2 / df1 * beta_odds(p, 0.5 * df1, 0.5 * df2);
}

double pd_chisq_upper(double x, double df)
{
	if (isnan(x) || !(df > 0))
		return NAN;
	return x <= 0 ? 1 : pd_gamma_tails(0.5 * x, 0.5 * df).upper;
}

double pd_gamma_quantile(double p, double shape, double scale)
{
	if (!(p >= 0 && p <= 1 && shape > 0 && scale > 0) || isinf(scale))
		return NAN;
	if (p == 0 || p == 1)
		return p == 0 ? 0 : INFINITY;
	return scale * (p <= 0.5 ? pd_gamma_point(p, 0, shape)
	                         : pd_gamma_point(1 - p, 1, shape));
}

double pd_chisq_quantile(double p, double df)
{
	return pd_gamma_quantile(p, 0.5 * df, 2);
}

double pd_beta_quantile(double p, double a, double b)
{
	double r;

	if (!(p >= 0 && p <= 1 && a > 0 && b > 0) || isinf(a) || isinf(b))
		return NAN;
	if (p == 0 || p == 1)
		return p;
	r = beta_odds(p, a, b);
	return r > 1 ? 1 / (1 + 1 / r) : r / (1 + r);
}
