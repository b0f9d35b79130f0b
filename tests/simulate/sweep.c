/*
 * sweep.c - quantiles there and back. For a probability p and the quantile x
 * found for it, the smaller tail at x must be that of p to 1e-9 of itself, or
 * p must lie between the tails two doubles either side of x (where a law is so
 * narrow, or so near an end, that no double does better); x must not fall as p
 * rises. Limits of counts are held against the tails that define them.
 */
#include "sweep.h"

#include "stats/incomplete.h"
#include "stats/noncentral.h"
#include "stats/quantile.h"
#include "stats/range.h"

#include <float.h>
#include <math.h>
#include <stdio.h>

static const double loads[8] = { 0.70710678118654757, 0.6, 0.8, 0.5,
                                 0.9, 0.7, 0.3, 0.65 };

/* lower and upper: P(X <= x), P(X > x) for parameters a and b. */
typedef struct law {
	const char *name;
	double (*quantile)(double p, double a, double b);
	void (*tails)(double x, double a, double b, double *lower,
	              double *upper);
	double a_low, a_high, b_low, b_high; /* ends of the parameters       */
	size_t a_n, b_n, p_n;                /* points in the quick sweep    */
	size_t times;                        /* as many in the full one      */
	int whole;                           /* a is a whole number          */
	double smallest;                     /* p not below this             */
} law;

/* ---- the laws ----------------------------------------------------------- */

static double q_normal(double p, double a, double b)
{
	(void)a;
	(void)b;
	return pd_normal_quantile(p);
}

static void t_normal(double x, double a, double b, double *lower,
                     double *upper)
{
	(void)a;
	(void)b;
	*lower = pd_normal_cdf(x);
	*upper = pd_normal_upper(x);
}

static double q_t(double p, double a, double b)
{
	(void)b;
	return pd_t_quantile(p, a);
}

static void t_t(double x, double a, double b, double *lower, double *upper)
{
	(void)b;
	*lower = pd_t_cdf(x, a);
	*upper = pd_t_upper(x, a);
}

static double q_chisq(double p, double a, double b)
{
	(void)b;
	return pd_chisq_quantile(p, a);
}

static void t_chisq(double x, double a, double b, double *lower,
                    double *upper)
{
	(void)b;
	*lower = pd_gamma_tails(x / 2, a / 2).lower;
	*upper = pd_chisq_upper(x, a);
}

static void t_f(double x, double a, double b, double *lower, double *upper)
{
	*lower = pd_beta_tails(x * a / b, a / 2, b / 2).lower;
	*upper = pd_f_upper(x, a, b);
}

static void t_beta(double x, double a, double b, double *lower, double *upper)
{
	pd_tails t = pd_beta_tails(x / (1 - x), a, b);

	*lower = t.lower;
	*upper = t.upper;
}

static void t_gamma(double x, double a, double b, double *lower,
                    double *upper)
{
	pd_tails t = pd_gamma_tails(x / b, a);

	*lower = t.lower;
	*upper = t.upper;
}

static double q_shifted(double p, double a, double b)
{
	return pd_noncentral_t_quantile(p, a, b - 8);
}

static void t_shifted(double x, double a, double b, double *lower,
                      double *upper)
{
	*lower = pd_noncentral_t_cdf(x, a, b - 8);
	*upper = pd_noncentral_t_upper(x, a, b - 8);
}

static double q_range(double p, double a, double b)
{
	return pd_range_quantile(p, (size_t)a, b);
}

static void t_range(double x, double a, double b, double *lower,
                    double *upper)
{
	*lower = pd_range_cdf(x, (size_t)a, b);
	*upper = pd_range_upper(x, (size_t)a, b);
}

static double q_many(double p, double a, double b)
{
	return pd_many_quantile(p, loads, (size_t)a, b, 2);
}

static void t_many(double x, double a, double b, double *lower, double *upper)
{
	*upper = pd_many_upper(x, loads, (size_t)a, b, 2);
	*lower = 1 - *upper;
}

static double q_one_side(double p, double a, double b)
{
	return pd_many_quantile(p, loads, (size_t)a, b, 1);
}

static void t_one_side(double x, double a, double b, double *lower,
                       double *upper)
{
	*upper = pd_many_upper(x, loads, (size_t)a, b, 1);
	*lower = 1 - *upper;
}

static const law laws[] = {
	{ "normal", q_normal, t_normal, 1, 1, 1, 1, 1, 1, 400, 1, 0, 1e-300 },
	{ "Student's t", q_t, t_t, 0.3, 1e7, 1, 1, 40, 1, 60, 9, 0, 1e-15 },
	{ "chi-square", q_chisq, t_chisq, 0.1, 1e7, 1, 1, 40, 1, 60, 9, 0,
	  1e-15 },
	{ "F", pd_f_quantile, t_f, 0.5, 1e3, 0.5, 1e6, 9, 12, 30, 3, 0,
	  1e-15 },
	{ "beta", pd_beta_quantile, t_beta, 0.05, 1e5, 0.05, 1e5, 12, 12, 30,
	  3, 0, 1e-15 },
	{ "gamma", pd_gamma_quantile, t_gamma, 0.02, 1e6, 1e-6, 1e6, 16, 4,
	  30, 3, 0, 1e-15 },
	{ "noncentral t", q_shifted, t_shifted, 0.5, 1e5, 1, 30, 6, 6, 8, 3, 0,
	  1e-9 },
	{ "studentized range", q_range, t_range, 2, 60, 0.7, 1e4, 5, 5, 6, 2,
	  1, 1e-4 },
	{ "largest of many, two sides", q_many, t_many, 1, 8, 0.7, 1e4, 4, 4,
	  5, 2, 1, 1e-4 },
	{ "largest of many, one side", q_one_side, t_one_side, 1, 8, 0.7, 1e4,
	  4, 4, 5, 2, 1, 1e-4 },
};

/* ---- the sweep ---------------------------------------------------------- */

static double step(double low, double high, size_t i, size_t n)
{
	if (n < 2)
		return low;
	return low * exp(log(high / low) * (double)i / (double)(n - 1));
}

/* Both ends and the middle: smallest ... 0.5 ... 1 - smallest, ascending. */
static double chance(double smallest, size_t i, size_t n)
{
	size_t half = n / 2;

	if (i == half)
		return 0.5;
	if (i < half)
		return step(smallest, 0.45, i, half);
	return 1 - step(smallest > 1e-16 ? smallest : 1e-16, 0.45, n - 1 - i,
	                n - 1 - half);
}

static double tail(const law *l, double x, double a, double b, int upper)
{
	double lo, up;

	l->tails(x, a, b, &lo, &up);
	return upper ? up : lo;
}

static double moved(double x, int steps)
{
	for (; steps > 0; steps--)
		x = nextafter(x, INFINITY);
	for (; steps < 0; steps++)
		x = nextafter(x, -INFINITY);
	return x;
}

/* 1 when x will do for p. */
static int there_and_back(const law *l, double p, double x, double a, double b)
{
	int upper = p > 0.5;
	double want = upper ? 1 - p : p, got, below, above;

	if (isnan(x))
		return 0;
	if (x == 0 && !upper) /* the root is below the doubles */
		return tail(l, 1e10 * DBL_MIN, a, b, 0) >= p * (1 - 1e-9);
	if (isinf(x))
		return 0;
	got = tail(l, x, a, b, upper);
	if (fabs(got - want) <= 1e-9 * want)
		return 1;
	below = tail(l, moved(x, -2), a, b, upper);
	above = tail(l, moved(x, 2), a, b, upper);
	if (upper) /* NaN: past the end of the law */
		return (isnan(above) || above <= want * (1 + 1e-9)) &&
			(isnan(below) || below >= want * (1 - 1e-9));
	return (isnan(below) || below <= want * (1 + 1e-9)) &&
		(isnan(above) || above >= want * (1 - 1e-9));
}

static void one_law(const law *l, int full, size_t *passed, size_t *failed)
{
	size_t times = full ? l->times : 1, points = 0, wrong = 0;
	size_t na = l->a_n > 1 ? l->a_n * times : 1;
	size_t nb = l->b_n > 1 ? l->b_n * times : 1, np = l->p_n * times;

	for (size_t i = 0; i < na; i++)
		for (size_t j = 0; j < nb; j++) {
			double a = step(l->a_low, l->a_high, i, na);
			double b = step(l->b_low, l->b_high, j, nb);
			double before = -INFINITY;

			if (l->whole)
				a = rint(a);
			for (size_t k = 0; k < np; k++, points++) {
				double p = chance(l->smallest, k, np);
				double x = l->quantile(p, a, b);

				if (x >= before &&
				    there_and_back(l, p, x, a, b)) {
					before = x;
					continue;
				}
				if (wrong++ < 5)
					printf("  %s, %.17g and %.17g: "
					       "quantile of %.17g is %.17g\n",
					       l->name, a, b, p, x);
			}
		}
	printf("  %s%s, there and back: %zu points, %zu wrong\n",
	       wrong ? "FAIL  " : "ok    ", l->name, points, wrong);
	*passed += !wrong;
	*failed += wrong != 0;
}

/* P(X >= k) at the lower and P(X <= k) at the upper limit are half of what
 * the level leaves; relative 1e-9. */
static int limits_hold(double k, double level)
{
	double low, high, half = (1 - level) / 2, n = 2 * k + 5, x;
	int good = 1;

	pd_poisson_limits(k, 1, level, &low, &high);
	if (k > 0)
		good &= fabs(pd_gamma_tails(low, k).lower - half) <=
			1e-9 * half;
	good &= fabs(pd_gamma_tails(high, k + 1).upper - half) <= 1e-9 * half;
	pd_binomial_limits(k, n, level, &low, &high);
	x = low / (1 - low);
	if (k > 0)
		good &= fabs(pd_beta_tails(x, k, n - k + 1).lower - half) <=
			1e-9 * half;
	x = high / (1 - high);
	good &= fabs(pd_beta_tails(x, k + 1, n - k).upper - half) <=
		1e-9 * half;
	return good;
}

static void counts(int full, size_t *passed, size_t *failed)
{
	static const double level[] = { 0.5, 0.8, 0.9, 0.95, 0.99, 0.999 };
	size_t wrong = 0, points = 0;

	for (double k = 0; k <= 1e6; k = k < (full ? 2000 : 50) ? k + 1
	                                                      : ceil(1.3 * k))
		for (size_t j = 0; j < 6; j++, points++) {
			if (limits_hold(k, level[j]))
				continue;
			if (wrong++ < 5)
				printf("  limits of %g at %g\n", k, level[j]);
		}
	printf("  %slimits of counts: %zu points, %zu wrong\n",
	       wrong ? "FAIL  " : "ok    ", points, wrong);
	*passed += !wrong;
	*failed += wrong != 0;
}

void sim_sweep(int full, size_t *passed, size_t *failed)
{
	printf("quantiles, there and back\n");
	for (size_t i = 0; i < sizeof laws / sizeof *laws; i++)
		one_law(&laws[i], full, passed, failed);
	counts(full, passed, failed);
	fflush(stdout);
}
