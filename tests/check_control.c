/*
 * check_control.c - control charts, their factors and their run lengths.
 *
 * Known answers: R 4.2.2 (adaptive integration), closed forms of the normal
 * law, hand calculation, and simulated charts.
 */
#include "stats/control.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)
enum { N = 8, TIMES = 20000 };

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

/* ---- factors ---------------------------------------------------------- */

/* R 4.2.2: integrate() over 1 - F^n - (1 - F)^n and, for d3, over the law of
 * the range n int f(x) (F(x + r) - F(x))^(n - 1) dx. */
START_TEST(factors_known)
{
	static const struct {
		size_t n;
		double d2, d3;
	} row[] = {
		{ 10, 3.0775054616703, 0.7970506735194 },
		{ 25, 3.9306292195071, 0.70844076588863 },
	};
	pd_control_factors f;

	for (int k = 0; k < ROWS(row); k++) {
		double n = (double)row[k].n;

		ck_assert_int_eq(pd_control_factors_of(row[k].n, &f, NULL),
		                 PD_OK);
		near("d2", f.d2, row[k].d2, 1e-12);
		near("d3", f.d3, row[k].d3, 1e-10);
		near("c4", f.c4, sqrt(2 / (n - 1)) * tgamma(n / 2) /
		     tgamma((n - 1) / 2), 1e-13);
		near("low", f.d3_low, 1 - 3 * f.d3 / f.d2, 1e-14);
		near("high", f.d4_high, 1 + 3 * f.d3 / f.d2, 1e-14);
	}
}
END_TEST

/* Two values: d2 = 2 / sqrt(pi), d3 = sqrt(2 - 4 / pi). */
START_TEST(factors_of_two)
{
	pd_control_factors f;

	ck_assert_int_eq(pd_control_factors_of(2, &f, NULL), PD_OK);
	near("d2", f.d2, 2 / sqrt(M_PI), 1e-13);
	near("d3", f.d3, sqrt(2 - 4 / M_PI), 1e-12);
	near("c4", f.c4, sqrt(2 / M_PI), 1e-14);
	ck_assert_double_eq(f.d3_low, 0);
	ck_assert_int_eq(pd_control_factors_of(1, &f, NULL), PD_DATA);
	ck_assert_int_eq(pd_control_factors_of(101, &f, NULL), PD_DATA);
}
END_TEST

/* ---- charts ----------------------------------------------------------- */

static const double x[N] = { 10.3, 9.1, 11.2, 10.0, 9.6, 10.9, 14.2, 18.7 };

/* First five: mean 10.04, ranges 1.2 2.1 1.2 0.4, mean 1.225. */
START_TEST(individuals_by_hand)
{
	double sigma = 1.225 * sqrt(M_PI) / 2;
	pd_control_single s;

	ck_assert_int_eq(pd_control_individuals(x, N, 5, &s, NULL), PD_OK);
	near("centre", s.centre, 10.04, 1e-14);
	near("range", s.range_mean, 1.225, 1e-13);
	near("sigma", s.sigma, sigma, 1e-13);
	near("high", s.high, 10.04 + 3 * sigma, 1e-13);
	near("low", s.low, 10.04 - 3 * sigma, 1e-13);
	ck_assert_uint_eq(s.n_beyond, 2);
}
END_TEST

/* Centre 10, sigma 2, weight 0.3: by hand 10.09, 9.793, 10.2151. */
START_TEST(average_by_hand)
{
	double z[N], half[N];
	size_t first;

	ck_assert_int_eq(pd_control_average(x, N, 10, 2, 0.3, 2.7, z, half,
	                                    &first, NULL), PD_OK);
	near("1", z[0], 10.09, 1e-14);
	near("2", z[1], 9.793, 1e-14);
	near("3", z[2], 10.2151, 1e-14);
	near("half 1", half[0], 2.7 * 2 * 0.3, 1e-13);
	near("half 2", half[1], 2.7 * 2 * 0.3 * sqrt(1 + 0.49), 1e-13);
	ck_assert_uint_eq(first, 8);
}
END_TEST

/* Weight 1 is the chart of single values itself. */
START_TEST(average_of_weight_one)
{
	double z[N], half[N];
	size_t first;

	ck_assert_int_eq(pd_control_average(x, N, 10, 2, 1, 3, z, half, &first,
	                                    NULL), PD_OK);
	for (size_t i = 0; i < N; i++) {
		ck_assert_double_eq(z[i], x[i]);
		near("half", half[i], 6, 1e-15);
	}
	ck_assert_uint_eq(first, 8);
}
END_TEST

/* Centre 10, sigma 2, k 0.25, s = 0.15 -0.45 0.6 0 -0.2 0.45 2.1 4.35:
 * up 0 0 0.35 0.1 0 0.2 2.05 6.15, down 0 0.2 0 0 0 0 0 0. */
START_TEST(sums_by_hand)
{
	static const double want_up[N] = { 0, 0, 0.35, 0.1, 0, 0.2, 2.05,
	                                   6.15 };
	static const double want_down[N] = { 0, 0.2, 0, 0, 0, 0, 0, 0 };
	double up[N], down[N];
	size_t first;

	ck_assert_int_eq(pd_control_sums(x, N, 10, 2, 0.25, 2, up, down,
	                                 &first, NULL), PD_OK);
	for (size_t i = 0; i < N; i++) {
		ck_assert_double_eq_tol(up[i], want_up[i], 1e-12);
		ck_assert_double_eq_tol(down[i], want_down[i], 1e-12);
	}
	ck_assert_uint_eq(first, 7);
}
END_TEST

/* Values turned about and in another unit: sums change sides, rows stay. */
START_TEST(mirrored)
{
	double m[N], up[N], down[N], up2[N], down2[N];
	size_t first, second;

	for (size_t i = 0; i < N; i++)
		m[i] = -0.37 * x[i] + 4;
	ck_assert_int_eq(pd_control_sums(x, N, 10, 2, 0.25, 2, up, down,
	                                 &first, NULL), PD_OK);
	ck_assert_int_eq(pd_control_sums(m, N, 0.3, 0.74, 0.25, 2, up2, down2,
	                                 &second, NULL), PD_OK);
	ck_assert_uint_eq(first, second);
	for (size_t i = 0; i < N; i++) {
		ck_assert_double_eq_tol(up2[i], down[i], 1e-12);
		ck_assert_double_eq_tol(down2[i], up[i], 1e-12);
	}
}
END_TEST

/* ---- run lengths ------------------------------------------------------ */

/* Weight 1: 1 / P(|Z + shift| > L), in closed form. */
START_TEST(run_of_single_values)
{
	for (double shift = 0; shift < 2.5; shift += 0.7) {
		double run, p = pd_normal_upper(3 - shift) +
		                pd_normal_upper(3 + shift);

		ck_assert_int_eq(pd_control_average_run(1, 3, shift, &run,
		                                        NULL), PD_OK);
		near("run", run, 1 / p, 1e-9);
	}
}
END_TEST

/* One chart until it signals. */
static double one_run(uint64_t k, int sums, double shift)
{
	const double limit = 2.4 * sqrt(0.15 / 1.85);
	double up = 0, down = 0, z = 0;
	pd_stream s;

	pd_stream_init(&s, 60309, k);
	for (double run = 1;; run++) {
		double v = shift + pd_stream_normal(&s);

		up = fmax(0, up + v - 0.4);
		down = fmax(0, down - v - 0.4);
		z = 0.15 * v + 0.85 * z;
		if (sums ? up > 3.1 || down > 3.1 : fabs(z) > limit)
			return run;
	}
}

/* The mean of simulated charts is within four of its standard errors. */
START_TEST(simulated_runs)
{
	static const double shift[] = { 0, 0.6, -1.3 };
	int sums = _i % 2;
	double d = shift[_i / 2], sum = 0, square = 0, want, upper, mean, se;

	for (uint64_t k = 0; k < TIMES; k++) {
		double run = one_run(k, sums, d);

		sum += run;
		square += run * run;
	}
	mean = sum / TIMES;
	se = sqrt((square / TIMES - mean * mean) / TIMES);
	ck_assert_int_eq(sums ? pd_control_sums_run(0.4, 3.1, d, &upper, &want,
	                                            NULL)
	                      : pd_control_average_run(0.15, 2.4, d, &want,
	                                               NULL), PD_OK);
	ck_assert_double_eq_tol(mean, want, 4 * se);
}
END_TEST

/* Both sums do not mind the sign of a shift; far ones end in one value. */
START_TEST(symmetry_and_ends)
{
	double upper, a, b;

	ck_assert_int_eq(pd_control_sums_run(0.5, 4, 0.7, &upper, &a, NULL),
	                 PD_OK);
	ck_assert_int_eq(pd_control_sums_run(0.5, 4, -0.7, &upper, &b, NULL),
	                 PD_OK);
	near("sign", a, b, 1e-8);
	ck_assert_int_eq(pd_control_sums_run(0.5, 4, 10, &upper, &a, NULL),
	                 PD_OK);
	near("far", a, 1, 1e-6);
	ck_assert_int_eq(pd_control_sums_run(0.5, 4, -4, &upper, NULL, NULL),
	                 PD_NUMERIC);
}
END_TEST

/* The limits found give the run length asked for; weight 1 in closed form. */
START_TEST(designs_give_back)
{
	double h, limit, upper, run;

	ck_assert_int_eq(pd_control_sums_design(0.5, 370.4, &h, NULL), PD_OK);
	ck_assert_int_eq(pd_control_sums_run(0.5, h, 0, &upper, &run, NULL),
	                 PD_OK);
	near("sums", run, 370.4, 1e-7);
	ck_assert_int_eq(pd_control_average_design(0.1, 500, &limit, NULL),
	                 PD_OK);
	ck_assert_int_eq(pd_control_average_run(0.1, limit, 0, &run, NULL),
	                 PD_OK);
	near("average", run, 500, 1e-7);
	ck_assert_int_eq(pd_control_average_design(1, 200, &limit, NULL),
	                 PD_OK);
	near("single", limit, pd_normal_quantile(1 - 0.5 / 200), 1e-8);
}
END_TEST

/* ---- bad input -------------------------------------------------------- */

START_TEST(refuses_charts)
{
	static const double flat[4] = { 3, 3, 3, 7 };
	double odd[N], a[N], b[N];
	size_t first;
	pd_control_single s;
	pd_error err = { 0 };

	memcpy(odd, x, sizeof odd);
	odd[5] = NAN;
	ck_assert_int_eq(pd_control_individuals(odd, N, 5, &s, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "value 6"));
	ck_assert_int_eq(pd_control_individuals(x, N, 1, &s, NULL), PD_REFUSED);
	ck_assert_int_eq(pd_control_individuals(x, N, 9, &s, NULL), PD_REFUSED);
	ck_assert_int_eq(pd_control_individuals(flat, 4, 3, &s, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_control_average(x, N, 10, 0, 0.2, 3, a, b, &first,
	                                    NULL), PD_DATA);
	ck_assert_int_eq(pd_control_average(x, N, 10, 1, 1.2, 3, a, b, &first,
	                                    NULL), PD_DATA);
	ck_assert_int_eq(pd_control_average(x, N, 10, 1, 0, 3, a, b, &first,
	                                    NULL), PD_DATA);
	ck_assert_int_eq(pd_control_average(x, N, 10, 1, 0.2, NAN, a, b,
	                                    &first, NULL), PD_DATA);
	ck_assert_int_eq(pd_control_sums(x, N, NAN, 1, 0.5, 4, a, b, &first,
	                                 NULL), PD_DATA);
	ck_assert_int_eq(pd_control_sums(x, N, 10, 1, -0.5, 4, a, b, &first,
	                                 NULL), PD_DATA);
	ck_assert_int_eq(pd_control_sums(odd, N, 10, 1, 0.5, 4, a, b, &first,
	                                 NULL), PD_DATA);
}
END_TEST

START_TEST(refuses_runs)
{
	double r;

	ck_assert_int_eq(pd_control_sums_run(-1, 4, 0, &r, NULL, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_control_sums_run(0.5, 0, 0, &r, NULL, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_control_sums_run(0.5, 4, NAN, &r, NULL, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_control_average_run(0.001, 3, 0, &r, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_control_average_run(0.2, 7, 0, &r, NULL), PD_DATA);
	ck_assert_int_eq(pd_control_sums_design(0.5, 1, &r, NULL), PD_DATA);
	ck_assert_int_eq(pd_control_average_design(0.2, 1e6, &r, NULL),
	                 PD_DATA);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("control");
	TCase *t = tcase_create("factors");

	tcase_add_test(t, factors_known);
	tcase_add_test(t, factors_of_two);
	suite_add_tcase(s, t);
	t = tcase_create("charts");
	tcase_add_test(t, individuals_by_hand);
	tcase_add_test(t, average_by_hand);
	tcase_add_test(t, average_of_weight_one);
	tcase_add_test(t, sums_by_hand);
	tcase_add_test(t, mirrored);
	suite_add_tcase(s, t);
	t = tcase_create("run lengths");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, run_of_single_values);
	tcase_add_loop_test(t, simulated_runs, 0, 6);
	tcase_add_test(t, symmetry_and_ends);
	tcase_add_test(t, designs_give_back);
	suite_add_tcase(s, t);
	t = tcase_create("refusals");
	tcase_add_test(t, refuses_charts);
	tcase_add_test(t, refuses_runs);
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
