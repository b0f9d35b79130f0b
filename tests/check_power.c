/*
 * check_power.c - quadrature, the noncentral t law, power and sizes.
 *
 * Known answers marked "mp" were computed with mpmath 1.3.0 at 25 to 30 digits
 * from the defining integrals, those marked "R" with R 4.2.2
 * (power.t.test(strict = TRUE), which is good to about 1e-9).
 */
#include "stats/detect.h"
#include "stats/incomplete.h"
#include "stats/noncentral.h"
#include "stats/power.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

/* ---- quadrature ------------------------------------------------------- */

START_TEST(nodes_are_exact)
{
	double x[40], w[40];

	for (size_t n = 1; n <= 40; n++) {
		pd_legendre(n, x, w);
		for (size_t power = 0; power < 2 * n; power++) {
			double sum = 0, want = power % 2 ? 0
			                       : 2 / ((double)power + 1);

			for (size_t i = 0; i < n; i++)
				sum += w[i] * pow(x[i], (double)power);
			ck_assert_double_eq_tol(sum, want, 2e-14);
		}
	}
}
END_TEST

static double one(double s, const void *with)
{
	(void)with;
	return s > 0;
}

static double square(double s, const void *with)
{
	(void)with;
	return s * s;
}

/* The law of S is a law, and E S^2 = 1, for any df. */
START_TEST(scale_law)
{
	for (double df = 0.1; df < 1e15; df *= 1.37) {
		near("mass", pd_over_scale(one, NULL, df, 1, 0), 1, 1e-13);
		near("square", pd_over_scale(square, NULL, df, 1, 0), 1,
		     2e-13);
	}
	ck_assert_double_eq(pd_over_scale(square, NULL, INFINITY, 1, 0), 1);
	ck_assert_double_nan(pd_over_scale(one, NULL, 0, 1, 0));
	ck_assert_double_nan(pd_over_scale(one, NULL, -3, 1, 0));
	ck_assert_double_nan(pd_over_scale(one, NULL, 1e-4, 1, 0));
	/* density of chi with 3 df at s = 1.1: closed form */
	near("density", exp(pd_scale_log_density(1.1, 3)),
	     sqrt(2 / M_PI) * sqrt(27) * 1.1 * 1.1 * exp(-1.5 * 1.21), 1e-14);
}
END_TEST

static double cubic(double x, const void *with)
{
	return x * x * x - *(const double *)with;
}

START_TEST(roots)
{
	double target = 0.31;

	near("cube root", pd_root(cubic, &target, -3, 40, 0), cbrt(0.31),
	     1e-15);
	ck_assert_double_nan(pd_root(cubic, &target, 1, 2, 0));
	target = NAN;
	ck_assert_double_nan(pd_root(cubic, &target, 0, 2, 0));
	near("far", pd_normal_between(9, 9.5), pd_normal_upper(9) -
	     pd_normal_upper(9.5), 1e-15);
	near("far left", pd_normal_between(-9.5, -9), pd_normal_between(9, 9.5),
	     1e-15);
	ck_assert_double_eq(pd_normal_between(2, 1), 0);
	ck_assert_double_nan(pd_normal_between(NAN, 1));
}
END_TEST

/* ---- noncentral t ----------------------------------------------------- */

static const struct {
	double t, df, delta, upper; /* mp */
} noncentral[] = {
	{ 40, 5, 30, 0.2717029388394330156459 },
	{ 3, 12, -4, 4.908136101913717494143e-10 },
	{ -1, 3, 2, 0.9969947524046014940032 },
	{ 90, 50, 20, 4.53737744768906388366611e-23 },
	{ 7.5, 3, 1, 0.0121352711094496705619462 },
	{ 25, 2, 3.3, 0.0187870446564539880439439 },
	{ -2.6, 6, -0.4, 0.956395778836394198643086 },
};

START_TEST(noncentral_known)
{
	double t = noncentral[_i].t, df = noncentral[_i].df;
	double delta = noncentral[_i].delta, upper = noncentral[_i].upper;

	near("upper", pd_noncentral_t_upper(t, df, delta), upper, 1e-12);
	near("lower of the mirror", pd_noncentral_t_cdf(-t, df, -delta), upper,
	     1e-12);
	near("lower", pd_noncentral_t_cdf(t, df, delta), 1 - upper, 1e-12);
}
END_TEST

/* Without an effect it is Student's; both tails add to 1. */
START_TEST(noncentral_central)
{
	for (double df = 0.3; df < 1e9; df *= 2.3)
		for (double t = 1e-3; t < 2000; t *= 1.9) {
			double want = pd_t_upper(t, df);

			if (want > 1e-300)
				near("central", pd_noncentral_t_upper(t, df, 0),
				     want, 2e-12);
			double delta = 0.7 * t - 3;

			if (delta > 40)
				break;
			near("sum", pd_noncentral_t_upper(t, df, delta) +
			     pd_noncentral_t_cdf(t, df, delta), 1, 1e-12);
		}
}
END_TEST

/*
 * A second method: for t > 0 the mixture of beta laws
 *   P(T <= t) = Phi(-d) + (1/2) sum p_j I(j + 1/2) + q_j I(j + 1),
 * p_j = exp(-d^2/2) (d^2/2)^j / j!, q_j = d / sqrt 2 exp(-d^2/2) (d^2/2)^j /
 * Gamma(j + 3/2), I(a) = I_x(a, df/2), x = t^2 / (df + t^2)
 * (Lenth 1989, Appl. Statist. 38, 185-189).
 */
static double by_series(double t, double df, double d)
{
	double h = 0.5 * d * d, sum = 0;

	for (int j = 0; j < 2000; j++) {
		double p = exp(-h + j * log(h) - lgamma(j + 1));
		double q = d / sqrt(2) *
		           exp(-h + j * log(h) - lgamma(j + 1.5));
		double r = t * t / df;

		sum += 0.5 * (p * pd_beta_tails(r, j + 0.5, 0.5 * df).lower +
		              q * pd_beta_tails(r, j + 1, 0.5 * df).lower);
		if (j > h && p < 1e-20)
			break;
	}
	return pd_normal_cdf(-d) + sum;
}

START_TEST(noncentral_series)
{
	for (double df = 1; df < 3000; df *= 2.7)
		for (double d = 0.2; d < 20; d *= 1.7)
			for (double t = 0.1; t < 60; t *= 1.6) {
				double want = by_series(t, df, d);
				double got = pd_noncentral_t_cdf(t, df, d);

				if (fabs(got - want) > 2e-12)
					ck_abort_msg("t %g df %g d %g: %.17g, "
					             "%.17g", t, df, d, got,
					             want);
			}
}
END_TEST

START_TEST(noncentral_quantiles)
{
	static const double p[] = { 1e-12, 1e-5, 0.02, 0.3, 0.5, 0.7, 0.99,
	                            0.999999 };

	for (double df = 1; df < 1e6; df *= 3.7)
		for (double d = -8; d < 9; d += 2.3)
			for (int i = 0; i < ROWS(p); i++) {
				double q = p[i];
				double t = pd_noncentral_t_quantile(q, df, d);

				if (p[i] > 0.5)
					near("back", pd_noncentral_t_upper(
					     t, df, d), 1 - p[i], 1e-10);
				else
					near("back", pd_noncentral_t_cdf(
					     t, df, d), p[i], 1e-10);
			}
	ck_assert_double_nan(pd_noncentral_t_quantile(0, 5, 1));
	ck_assert_double_nan(pd_noncentral_t_quantile(0.5, -5, 1));
}
END_TEST

START_TEST(noncentral_outside)
{
	ck_assert_double_nan(pd_noncentral_t_upper(NAN, 5, 1));
	ck_assert_double_nan(pd_noncentral_t_upper(1, 0, 1));
	ck_assert_double_nan(pd_noncentral_t_upper(1, 5, 2e4));
	ck_assert_double_eq(pd_noncentral_t_upper(INFINITY, 5, 1), 0);
	ck_assert_double_eq(pd_noncentral_t_upper(-INFINITY, 5, 1), 1);
	near("normal", pd_noncentral_t_upper(2.1, INFINITY, 0.4),
	     pd_normal_upper(1.7), 1e-15);
}
END_TEST

/* ---- power ------------------------------------------------------------ */

static const struct {
	const char *name;
	pd_trial trial;
	double n, power; /* R */
} t_powers[] = {
	{ "pairs", { PD_TRIAL_PAIRS, 1.3, 1.7, 0.03, 2, 0, 0, 0 }, 7,
	  0.297982394030739 },
	{ "groups", { PD_TRIAL_GROUPS, 0.41, 0.63, 0.01, 2, 0, 0, 0 }, 23,
	  0.325766581222482 },
	{ "two pairs", { PD_TRIAL_PAIRS, 0.9, 0.7, 0.05, 2, 0, 0, 0 }, 2,
	  0.11515223343458 },
	{ "one side", { PD_TRIAL_GROUPS, 0.22, 1, 0.05, 1, 0, 0, 0 }, 310,
	  0.862390931639714 },
	{ "against a margin",
	  { PD_TRIAL_GROUPS, 0.09, 1, 0.05, 1, -0.13, 0, 0 }, 310,
	  0.862390931639714 },
	{ "downward", { PD_TRIAL_PAIRS, -1.3, 1.7, 0.03, 2, 0, 0, 0 }, 7,
	  0.297982394030739 },
};

START_TEST(t_power_known)
{
	near(t_powers[_i].name, pd_power_t(&t_powers[_i].trial,
	                                   t_powers[_i].n),
	     t_powers[_i].power, 1e-8);
}
END_TEST

static const struct {
	pd_trial trial;
	double n, power; /* mp */
} equivalences[] = {
	{ { PD_TRIAL_PAIRS, 0.03, 0.12, 0.05, 1, 0, -0.31, 0.27 }, 2,
	  0.3046186178607457462 },
	{ { PD_TRIAL_PAIRS, 0.03, 0.22, 0.05, 1, 0, -0.31, 0.27 }, 9,
	  0.9037591228090097153 },
	{ { PD_TRIAL_GROUPS, -0.06, 0.35, 0.025, 1, 0, -0.22, 0.25 }, 40,
	  0.4981397719574916231 },
	{ { PD_TRIAL_CROSSOVER, 0, 0.5, 0.05, 1, 0, -0.22, 0.22 }, 6,
	  0.003472977753446959884 },
};

START_TEST(equivalence_known)
{
	near("equivalence", pd_power_equivalence(&equivalences[_i].trial,
	                                         equivalences[_i].n),
	     equivalences[_i].power, 1e-11);
}
END_TEST

/* Units cancel; turning everything round changes nothing; at a limit the
 * chance comes to alpha from below; a wider margin never hurts. */
START_TEST(equivalence_properties)
{
	pd_trial a = equivalences[2].trial, b = a;
	double p, before = 0;

	b.effect *= 3.7;
	b.sd *= 3.7;
	b.low *= 3.7;
	b.high *= 3.7;
	p = pd_power_equivalence(&a, 40);
	near("unit", pd_power_equivalence(&b, 40), p, 1e-13);
	b = a;
	b.effect = -a.effect;
	b.low = -a.high;
	b.high = -a.low;
	near("mirror", pd_power_equivalence(&b, 40), p, 1e-13);
	b = a;
	b.effect = a.high;
	ck_assert_double_le(pd_power_equivalence(&b, 40), a.alpha);
	near("at the limit", pd_power_equivalence(&b, 3e5), a.alpha, 1e-9);
	for (double high = 0.01; high < 2; high *= 1.3) {
		b = a;
		b.high = high;
		p = pd_power_equivalence(&b, 40);
		ck_assert_double_ge(p, before);
		before = p;
	}
}
END_TEST

/* The claim itself, made from drawn means and spreads. */
START_TEST(equivalence_simulated)
{
	enum { DRAWS = 200000 };
	const pd_trial *t = &equivalences[1].trial;
	double n = 9, se = t->sd / sqrt(n), c = pd_t_quantile(0.95, n - 1);
	double want = equivalences[1].power, hits = 0;
	pd_stream s;

	pd_stream_init(&s, 20, 3);
	for (int i = 0; i < DRAWS; i++) {
		double m = t->effect + se * pd_stream_normal(&s);
		double square_sum = 0;

		for (int j = 0; j < 8; j++) {
			double z = pd_stream_normal(&s);

			square_sum += z * z;
		}
		double half = c * se * sqrt(square_sum / (n - 1));

		hits += m - half > t->low && m + half < t->high;
	}
	ck_assert_double_eq_tol(hits / DRAWS, want,
	                        4 * sqrt(want * (1 - want) / DRAWS));
}
END_TEST

/* ---- sizes ------------------------------------------------------------ */

typedef double power_at(const pd_trial *trial, double n);
typedef pd_status size_for(const pd_trial *trial, double power,
                           pd_trial_size *out, pd_error *err);

/* Enough at n, not at the size before, and at none below (counted one by one
 * while that is cheap). */
static void smallest(power_at *at, size_for *size, const pd_trial *t,
                     double power)
{
	double step = t->kind == PD_TRIAL_CROSSOVER ? 2 : 1;
	double least = t->kind == PD_TRIAL_CROSSOVER ? 4 : 2;
	pd_trial_size s;
	pd_error err;

	if (size(t, power, &s, &err) != PD_OK)
		ck_abort_msg("%s", err.text);
	ck_assert_double_eq(s.power, at(t, s.n));
	ck_assert_double_ge(s.power, power);
	ck_assert_double_eq(fmod(s.n - least, step), 0);
	if (s.n == least) {
		ck_assert_double_nan(s.n_before);
		ck_assert_double_nan(s.power_before);
		return;
	}
	ck_assert_double_eq(s.n_before, s.n - step);
	ck_assert_double_eq(s.power_before, at(t, s.n_before));
	ck_assert_double_lt(s.power_before, power);
	for (double n = least; n < fmin(s.n, 150); n += step)
		ck_assert_double_lt(at(t, n), power);
}

START_TEST(sizes_are_smallest)
{
	static const double effect[] = { 0.05, 0.31, 0.8, 4 };
	static const double power[] = { 0.11, 0.8, 0.95 };

	for (int kind = 0; kind < 3; kind++)
		for (int i = 0; i < ROWS(effect); i++)
			for (int j = 0; j < ROWS(power); j++) {
				pd_trial t = {
					(pd_trial_kind)kind, effect[i], 1.1,
					0.05, 2 - j % 2, 0, 0, 0
				};

				smallest(pd_power_t, pd_size_t, &t, power[j]);
				t.effect = 0.05;
				t.low = -effect[i];
				t.high = 0.1 + effect[i];
				smallest(pd_power_equivalence,
				         pd_size_equivalence, &t, power[j]);
			}
	pd_trial t = { PD_TRIAL_PAIRS, 0.37, 0.92, 0.05, 2, 0, 0, 0 };
	pd_trial_size s;

	ck_assert_int_eq(pd_size_t(&t, 0.85, &s, NULL), PD_OK);
	ck_assert_double_eq(s.n, 58); /* R: 57.462 */
}
END_TEST

static const struct {
	const char *words;
	int equivalence;
	pd_trial trial;
	double power;
	pd_status status;
} impossible[] = {
	{ "equals the tested one", 0,
	  { PD_TRIAL_PAIRS, 0.2, 1, 0.05, 2, 0.2, 0, 0 }, 0.8, PD_REFUSED },
	{ "is below the tested one", 0,
	  { PD_TRIAL_PAIRS, -0.2, 1, 0.05, 1, 0, 0, 0 }, 0.8, PD_REFUSED },
	{ "is not above the level", 0,
	  { PD_TRIAL_PAIRS, 0.2, 1, 0.05, 2, 0, 0, 0 }, 0.05, PD_REFUSED },
	{ "no trial has a power of 1", 0,
	  { PD_TRIAL_PAIRS, 0.2, 1, 0.05, 2, 0, 0, 0 }, 1, PD_REFUSED },
	{ "more than 10000000", 0,
	  { PD_TRIAL_GROUPS, 1e-5, 1, 0.05, 2, 0, 0, 0 }, 0.8, PD_REFUSED },
	{ "standard deviation must be above 0", 0,
	  { PD_TRIAL_PAIRS, 0.2, 0, 0.05, 2, 0, 0, 0 }, 0.8, PD_DATA },
	{ "level of the test", 0,
	  { PD_TRIAL_PAIRS, 0.2, 1, 0.5, 2, 0, 0, 0 }, 0.8, PD_DATA },
	{ "1 or 2 sides", 0,
	  { PD_TRIAL_PAIRS, 0.2, 1, 0.05, 3, 0, 0, 0 }, 0.8, PD_DATA },
	{ "standard deviations of 0", 0,
	  { PD_TRIAL_PAIRS, 2000, 1, 0.05, 2, 0, 0, 0 }, 0.8, PD_DATA },
	{ "is not inside the limits", 1,
	  { PD_TRIAL_PAIRS, 0.2, 1, 0.05, 2, 0, -0.2, 0.2 }, 0.8, PD_REFUSED },
	{ "is not inside the limits", 1,
	  { PD_TRIAL_PAIRS, -0.9, 1, 0.05, 2, 0, -0.2, 0.2 }, 0.8, PD_REFUSED },
	{ "finite and in order", 1,
	  { PD_TRIAL_PAIRS, 0, 1, 0.05, 2, 0, 0.2, -0.2 }, 0.8, PD_DATA },
	{ "unknown kind", 1,
	  { (pd_trial_kind)7, 0, 1, 0.05, 2, 0, -0.2, 0.2 }, 0.8, PD_DATA },
};

START_TEST(impossible_requests)
{
	pd_trial_size s;
	pd_error err;
	pd_status st = (impossible[_i].equivalence ? pd_size_equivalence
	                                           : pd_size_t)(
	    &impossible[_i].trial, impossible[_i].power, &s, &err);

	ck_assert_int_eq(st, impossible[_i].status);
	if (!strstr(err.text, impossible[_i].words))
		ck_abort_msg("'%s' lacks '%s'", err.text, impossible[_i].words);
}
END_TEST

START_TEST(power_outside)
{
	pd_trial t = { PD_TRIAL_PAIRS, 0.2, 1, 0.05, 2, 0, -0.2, 0.2 };

	ck_assert_double_nan(pd_power_t(&t, 1));
	ck_assert_double_nan(pd_power_equivalence(&t, 1));
	ck_assert_double_nan(pd_power_t(&t, NAN));
	t.kind = PD_TRIAL_CROSSOVER;
	ck_assert_double_nan(pd_power_t(&t, 3));
	t.sides = 0;
	ck_assert_double_nan(pd_power_t(&t, 30));
	t.high = -0.3;
	ck_assert_double_nan(pd_power_equivalence(&t, 30));
}
END_TEST

/* What a size can find has that power; R's value; and the usual approximation
 * is as near as its page says. */
START_TEST(detectable)
{
	pd_trial t = { PD_TRIAL_PAIRS, 0, 0.31, 0.05, 2, 0, 0, 0 };
	double d;

	ck_assert_int_eq(pd_power_detectable(&t, 14, 0.9, &d, NULL), PD_OK);
	near("R", d, 0.29083737605744653, 1e-9);
	t.effect = d;
	near("back", pd_power_t(&t, 14), 0.9, 1e-12);
	near("approximation", pd_detectable(0.31 / sqrt(14), 13, 0.05, 0.9), d,
	     2e-3);
	ck_assert_int_eq(pd_power_detectable(&t, 14, 0.05, &d, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_power_detectable(&t, 1, 0.9, &d, NULL), PD_DATA);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("power");
	TCase *t = tcase_create("laws");

	tcase_set_timeout(t, 120);
	tcase_add_test(t, nodes_are_exact);
	tcase_add_test(t, scale_law);
	tcase_add_test(t, roots);
	tcase_add_loop_test(t, noncentral_known, 0, ROWS(noncentral));
	tcase_add_test(t, noncentral_central);
	tcase_add_test(t, noncentral_series);
	tcase_add_test(t, noncentral_quantiles);
	tcase_add_test(t, noncentral_outside);
	suite_add_tcase(s, t);
	t = tcase_create("power");
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, t_power_known, 0, ROWS(t_powers));
	tcase_add_loop_test(t, equivalence_known, 0, ROWS(equivalences));
	tcase_add_test(t, equivalence_properties);
	tcase_add_test(t, equivalence_simulated);
	tcase_add_test(t, sizes_are_smallest);
	tcase_add_loop_test(t, impossible_requests, 0, ROWS(impossible));
	tcase_add_test(t, power_outside);
	tcase_add_test(t, detectable);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
