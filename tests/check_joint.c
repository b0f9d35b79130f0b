/*
 * check_joint.c - chances and limits of correlated comparisons, against the
 * laws range.h has to many digits, against closed forms, and against package
 * mvtnorm 1.1-3 of R 4.2.2.
 */
#include "stats/joint.h"
#include "stats/quantile.h"
#include "stats/range.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 24 };

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance)
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static pd_joint *law(const double *v, size_t k, double df, int sides)
{
	pd_joint *j = NULL;
	pd_error err = { 0 };

	if (pd_joint_new(v, k, df, sides, &j, &err) != PD_OK)
		ck_abort_msg("law: %s", err.text);
	return j;
}

static pd_joint_value upper(const double *v, size_t k, double df, int sides,
                            double c, double tolerance)
{
	pd_joint *j = law(v, k, df, sides);
	pd_joint_value p;

	ck_assert_int_eq(pd_joint_upper(j, c, tolerance, &p, NULL), PD_OK);
	pd_joint_free(j);
	return p;
}

static pd_joint_value point(const double *v, size_t k, double df, int sides,
                            double level)
{
	pd_joint *j = law(v, k, df, sides);
	pd_joint_value c;

	ck_assert_int_eq(pd_joint_quantile(j, level, 0, &c, NULL), PD_OK);
	pd_joint_free(j);
	return c;
}

/* ---- other laws ------------------------------------------------------- */

/* Covariance of all differences of g means with variances u[g]. */
static size_t all_pairs(const double *u, size_t g, double *v)
{
	size_t a[MOST], b[MOST], k = 0;

	for (size_t i = 0; i < g; i++)
		for (size_t j = i + 1; j < g; j++, k++) {
			a[k] = i;
			b[k] = j;
		}
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++)
			v[i * k + j] = (a[i] == a[j] ? u[a[i]] : 0) +
			               (b[i] == b[j] ? u[b[i]] : 0) -
			               (a[i] == b[j] ? u[a[i]] : 0) -
			               (b[i] == a[j] ? u[b[i]] : 0);
	return k;
}

static const double some_df[] = { 3, 17, INFINITY };

START_TEST(pairs_are_the_range)
{
	static const double ones[5] = { 2.3, 2.3, 2.3, 2.3, 2.3 };
	double v[MOST * MOST], df = some_df[_i % 3];
	size_t g = 3 + (size_t)_i / 3, k = all_pairs(ones, g, v);
	pd_joint_value p = upper(v, k, df, 2, 2.9, 0), c;

	near("chance", p.value, pd_range_upper(2.9 * sqrt(2), g, df), 1e-5);
	ck_assert(p.error > 0 && p.error <= 1e-5 && p.points > 4e4);
	c = point(v, k, df, 2, 0.95);
	near("point", c.value, pd_range_quantile(0.95, g, df) / sqrt(2),
	     2 * 2 * fmax(c.error, 1e-6));
	ck_assert(c.error < 4e-4);
}
END_TEST

START_TEST(many_to_one)
{
	static const size_t sizes[] = { 2, 4, 6 };
	double v[MOST * MOST], load[MOST], df = some_df[_i % 3];
	size_t k = sizes[_i / 3];

	for (size_t i = 0; i < k; i++)
		load[i] = sqrt((double)(i + 2) / (double)(i + 9));
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++)
			v[i * k + j] = (i == j ? 1 : load[i] * load[j]) *
				(double)((i + 1) * (j + 1)); /* any scale */
	for (int sides = 1; sides <= 2; sides++) {
		pd_joint_value p = upper(v, k, df, sides, 2.4, 0), c;

		near("chance", p.value, pd_many_upper(2.4, load, k, df, sides),
		     1e-5);
		ck_assert(p.error <= 1e-5);
		c = point(v, k, df, sides, 0.9);
		near("point", c.value, pd_many_quantile(0.9, load, k, df,
		     sides), 2 * fmax(c.error, 1e-6));
	}
}
END_TEST

START_TEST(ten_with_one_control)
{
	double v[100], load[10];
	pd_joint_value p;

	for (size_t i = 0; i < 10; i++)
		load[i] = sqrt(0.5 + 0.03 * (double)i);
	for (size_t i = 0; i < 100; i++)
		v[i] = i / 10 == i % 10 ? 1 : load[i / 10] * load[i % 10];
	p = upper(v, 10, 21, 2, 2.8, 0);
	near("chance", p.value, pd_many_upper(2.8, load, 10, 21, 2), 1e-5);
	ck_assert(p.error <= 1e-5);
}
END_TEST

/* Few digits are lost to S when the law is smooth and small. */
START_TEST(digits_on_request)
{
	const double v[4] = { 1, 0.4, 0.4, 1 }, load[2] = { sqrt(0.4),
	                                                    sqrt(0.4) };
	pd_joint_value p = upper(v, 2, 11, 2, 2.2, 1e-8);

	near("chance", p.value, pd_many_upper(2.2, load, 2, 11, 2), 2e-8);
}
END_TEST

/* ---- closed forms ----------------------------------------------------- */

START_TEST(orthants)
{
	double a = 0.61, b = -0.23, c = 0.37;
	const double two[4] = { 1, a, a, 1 };
	const double three[9] = { 1, a, b, a, 1, c, b, c, 1 };

	/* P(all <= 0), whatever S is (Sheppard 1899) */
	for (int d = 1; d < 3; d++) {
		near("two", upper(two, 2, some_df[d], 1, 0, 1e-6).value,
		     1 - (0.25 + asin(a) / (2 * M_PI)), 2e-6);
		near("three", upper(three, 3, some_df[d], 1, 0, 2e-6).value,
		     1 - (0.125 + (asin(a) + asin(b) + asin(c)) / (4 * M_PI)),
		     4e-6);
	}
}
END_TEST

START_TEST(independent)
{
	double v[36] = { 0 };
	pd_joint_value p;

	for (size_t i = 0; i < 6; i++)
		v[i * 7] = 0.3 + (double)i;
	p = upper(v, 6, INFINITY, 2, 2.31, 0);
	near("two sides", p.value, -expm1(6 * log1p(-2 *
	     pd_normal_upper(2.31))), 1e-13);
	p = upper(v, 6, INFINITY, 1, -0.4, 0);
	near("one side", p.value, 1 - pow(pd_normal_cdf(-0.4), 6), 1e-13);
	/* deep in the tail the digits are still there */
	p = upper(v, 6, INFINITY, 2, 9, 0);
	near("tail", p.value / (12 * pd_normal_upper(9)), 1, 1e-12);
}
END_TEST

/* The same comparison several times, either way round, is one comparison. */
START_TEST(copies)
{
	const double v[9] = { 4, -2, 4, -2, 1, -2, 4, -2, 4 };
	const double turned[4] = { 1, -1, -1, 1 };
	pd_joint_value p = upper(v, 3, 12, 2, 2.1, 0), c;

	near("chance", p.value, pd_t_two_sided(2.1, 12), 1e-6);
	c = point(v, 3, 12, 2, 0.95);
	near("point", c.value, pd_t_quantile(0.975, 12), 2e-5);
	p = upper(v, 1, 12, 2, 2.1, 0);
	ck_assert_double_eq(p.value, pd_t_two_sided(2.1, 12));
	ck_assert(p.error == 0);
	near("opposite, one side", upper(turned, 2, INFINITY, 1, 1.3, 0).value,
	     2 * pd_normal_upper(1.3), 1e-12);
}
END_TEST

/*
 * v = A A' with A_im = sin(2.3 i + 1.7 m^2), i to k, m to r, 0.15 i / k more
 * on the diagonal. pmvt with GenzBretz(maxpts 2e7, abseps 2e-7), and the error
 * it gives; df 0 is the normal law there.
 */
static const struct known {
	size_t k, r;
	double df, two, two_error, one, one_error;
} known[] = {
	{ 3, 2, 5, 0.133417081384, 3.2e-7, 0.0901394253339, 8.2e-7 },
	{ 3, 2, 23, 0.0627021880516, 2.5e-7, 0.0372492867896, 5.6e-7 },
	{ 3, 2, INFINITY, 0.0434239499845, 1.9e-7, 0.0245857371243, 1.1e-7 },
	{ 5, 3, 5, 0.151701299256, 1.7e-6, 0.11592541605, 3.6e-6 },
	{ 5, 3, 23, 0.0759155159955, 1.5e-6, 0.051832316282, 2.8e-6 },
	{ 5, 3, INFINITY, 0.054308192828, 8.8e-7, 0.0352524154224, 1.3e-6 },
	{ 8, 4, 5, 0.165238463095, 8.4e-6, 0.139964539072, 1.6e-5 },
};

START_TEST(known_chances)
{
	const struct known *w = &known[_i];
	double v[MOST * MOST] = { 0 }, wish;
	size_t k = w->k;

	for (size_t i = 0; i < k; i++) {
		for (size_t j = 0; j < k; j++)
			for (size_t m = 1; m <= w->r; m++)
				v[i * k + j] += sin(2.3 * (double)(i + 1) +
					1.7 * (double)(m * m)) *
					sin(2.3 * (double)(j + 1) +
					1.7 * (double)(m * m));
		v[i * k + i] += 0.15 * (double)(i + 1) / (double)k;
	}
	wish = k > 3 ? 5e-5 : 0;
	near("two sides", upper(v, k, w->df, 2, 2.4, wish).value, w->two,
	     fmax(wish, 1e-5) + w->two_error);
	near("one side", upper(v, k, w->df, 1, 2.4, wish).value, w->one,
	     fmax(wish, 1e-5) + w->one_error);
}
END_TEST

/* ---- limits ----------------------------------------------------------- */

START_TEST(limits_agree_with_their_chances)
{
	static const double u[4] = { 0.2, 0.31, 0.17, 0.26 };
	static const double mean[4] = { 3.1, 4.9, 3.4, 5.6 };
	double v[MOST * MOST], value[6], turned[36];
	size_t k = all_pairs(u, 4, v), at = 0;
	pd_estimate e[6], f[6];
	pd_joint_value c, d;

	for (size_t a = 0; a < 4; a++)
		for (size_t b = a + 1; b < 4; b++)
			value[at++] = mean[a] - mean[b];
	for (int sides = 1; sides <= 2; sides++) {
		ck_assert_int_eq(pd_joint_limits(value, v, k, 14, sides, 0.95,
		                                 e, &c, NULL), PD_OK);
		for (size_t i = 0; i < k; i++) {
			double t = value[i] / sqrt(v[i * k + i]);
			double alone = sides == 2 ?
				pd_t_two_sided(t, 14) : pd_t_upper(t, 14);
			bool out = e[i].low > 0 || e[i].high < 0;

			near("low", e[i].low, value[i] - c.value * e[i].se,
			     1e-14);
			ck_assert(e[i].p >= alone &&
			          e[i].p <= fmin(1, (double)k * alone));
			ck_assert(out == (e[i].p < 0.05));
			ck_assert(e[i].df == 14 && e[i].level == 0.95);
			ck_assert(sides == 2 || isinf(e[i].high));
		}
	}
	/* the last first, each in half units with its sign turned */
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++)
			turned[i * k + j] = v[(k - 1 - i) * k + k - 1 - j] / 4;
	for (size_t i = 0; i < k / 2; i++) {
		double swap = value[i];

		value[i] = value[k - 1 - i];
		value[k - 1 - i] = swap;
	}
	for (size_t i = 0; i < k; i++)
		value[i] *= -0.5;
	ck_assert_int_eq(pd_joint_limits(value, turned, k, 14, 2, 0.95, f, &d,
	                                 NULL), PD_OK);
	for (size_t i = 0; i < k; i++) {
		near("high", -2 * f[k - 1 - i].high, e[i].low,
		     2 * (c.error + d.error));
		near("chance", f[k - 1 - i].p, e[i].p, 2e-5 + 4e-3 * e[i].p);
	}
	/* the same digits again */
	ck_assert_int_eq(pd_joint_limits(value, turned, k, 14, 2, 0.95, e, &c,
	                                 NULL), PD_OK);
	ck_assert_mem_eq(e, f, sizeof e);
	ck_assert(c.value == d.value);
}
END_TEST

/* A law by simulation: 40,000 draws of five comparisons of rank three. */
START_TEST(by_simulation)
{
	double a[15], v[25] = { 0 }, sd[5], c = 2.2, hits = 0, p;
	enum { DRAWS = 40000 };
	pd_stream s;

	pd_stream_init(&s, 41, 0);
	for (int i = 0; i < 15; i++)
		a[i] = pd_stream_normal(&s);
	for (size_t i = 0; i < 25; i++)
		for (size_t m = 0; m < 3; m++)
			v[i] += a[i / 5 * 3 + m] * a[i % 5 * 3 + m];
	for (size_t i = 0; i < 5; i++)
		sd[i] = sqrt(v[i * 6]);
	for (int n = 0; n < DRAWS; n++) {
		double y[3], spread = sqrt(pd_stream_chisq(&s, 6) / 6);
		bool out = false;

		for (int m = 0; m < 3; m++)
			y[m] = pd_stream_normal(&s);
		for (int i = 0; i < 5; i++) {
			double t = (a[i * 3] * y[0] + a[i * 3 + 1] * y[1] +
			            a[i * 3 + 2] * y[2]) / sd[i] / spread;

			out = out || fabs(t) > c;
		}
		hits += out;
	}
	p = upper(v, 5, 6, 2, c, 0).value;
	near("share", hits / DRAWS, p, 4 * sqrt(p * (1 - p) / DRAWS));
}
END_TEST

/* Forty-five pairs of ten groups, twenty-five of a border of ranks. */
START_TEST(large_families)
{
	static double v[45 * 45];
	double load[40];
	static double w[40 * 40];
	size_t k = 0;
	pd_joint_value p;

	for (size_t i = 0; i < 10; i++)
		for (size_t j = i + 1; j < 10; j++) {
			size_t m = 0;

			for (size_t a = 0; a < 10; a++)
				for (size_t b = a + 1; b < 10; b++, m++)
					v[k * 45 + m] = (i == a) + (j == b) -
						(i == b) - (j == a);
			k++;
		}
	p = upper(v, 45, 40, 2, 3.3, 1e-3);
	near("pairs", p.value, pd_range_upper(3.3 * sqrt(2), 10, 40), 1e-3);
	for (size_t i = 0; i < 40; i++)
		load[i] = sqrt(0.5);
	for (size_t i = 0; i < 1600; i++)
		w[i] = i / 40 == i % 40 ? 1 : 0.5;
	p = upper(w, 40, 20, 2, 3.1, 2e-3);
	near("many", p.value, pd_many_upper(3.1, load, 40, 20, 2), 2e-3);
}
END_TEST

START_TEST(refused)
{
	double v[4] = { 1, 0.5, 0.5, 1 }, value[2] = { 1, NAN };
	const double none[9] = { 1, 0.9, -0.9, 0.9, 1, 0.9, -0.9, 0.9, 1 };
	pd_estimate e[2];
	pd_joint_value p;
	pd_error err;
	pd_joint *j;

	ck_assert_int_eq(pd_joint_new(v, 0, 5, 2, &j, &err), PD_USAGE);
	ck_assert_ptr_null(j);
	ck_assert_int_eq(pd_joint_new(v, 2, 0, 2, &j, &err), PD_USAGE);
	ck_assert_int_eq(pd_joint_new(v, 2, NAN, 2, &j, &err), PD_USAGE);
	ck_assert_int_eq(pd_joint_new(v, 2, 5, 3, &j, &err), PD_USAGE);
	ck_assert_int_eq(pd_joint_new(none, 3, 5, 2, &j, &err), PD_DATA);
	v[1] = 0.2;
	ck_assert_int_eq(pd_joint_new(v, 2, 5, 2, &j, &err), PD_DATA);
	v[1] = NAN;
	ck_assert_int_eq(pd_joint_new(v, 2, 5, 2, &j, &err), PD_DATA);
	v[1] = v[2] = 1.5;
	ck_assert_int_eq(pd_joint_new(v, 2, 5, 2, &j, &err), PD_DATA);
	v[1] = v[2] = 0;
	v[3] = 0;
	ck_assert_int_eq(pd_joint_new(v, 2, 5, 2, &j, &err), PD_REFUSED);
	v[3] = 1;
	j = law(v, 2, 5, 2);
	ck_assert_int_eq(pd_joint_upper(j, NAN, 0, &p, &err), PD_USAGE);
	ck_assert_int_eq(pd_joint_upper(j, -1, 0, &p, &err), PD_USAGE);
	ck_assert_int_eq(pd_joint_upper(j, 1, -1, &p, &err), PD_USAGE);
	ck_assert_int_eq(pd_joint_quantile(j, 1, 0, &p, &err), PD_USAGE);
	ck_assert_int_eq(pd_joint_upper(j, INFINITY, 0, &p, &err), PD_OK);
	ck_assert(p.value == 0);
	ck_assert_int_eq(pd_joint_upper(j, 0, 0, &p, &err), PD_OK);
	near("nothing within 0", p.value, 1, 1e-12);
	pd_joint_free(j);
	pd_joint_free(NULL);
	ck_assert_int_eq(pd_joint_limits(value, v, 2, 5, 2, 0.95, e, NULL,
	                                 &err), PD_DATA);
	value[1] = 2;
	ck_assert_int_eq(pd_joint_limits(value, v, 2, 5, 2, 1.5, e, NULL,
	                                 &err), PD_USAGE);
	ck_assert(err.text[0]);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("joint");
	TCase *t = tcase_create("laws");

	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, pairs_are_the_range, 0, 7);
	tcase_add_loop_test(t, many_to_one, 0, 7);
	tcase_add_test(t, ten_with_one_control);
	tcase_add_test(t, digits_on_request);
	tcase_add_test(t, orthants);
	tcase_add_test(t, independent);
	tcase_add_test(t, copies);
	tcase_add_loop_test(t, known_chances, 0, sizeof known / sizeof *known);
	tcase_add_test(t, limits_agree_with_their_chances);
	tcase_add_test(t, by_simulation);
	tcase_add_test(t, large_families);
	tcase_add_test(t, refused);
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
