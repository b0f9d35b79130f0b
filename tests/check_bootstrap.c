/*
 * check_bootstrap.c - units drawn anew: complete laws against all ordered
 * samples written out, drawn ones against complete ones, clusters, threads.
 */
#include "stats/bootstrap.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { N = 5, ALL = N * N * N * N * N };

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static const double x[16] = { 0.31, 1.27, -0.44, 2.93, 0.86, 1.71, -1.02,
                              0.12, 3.38, 0.59, 1.13, -0.27, 2.04, 0.77,
                              1.96, 0.05 };

static double mean_of(const double *weight, size_t n, const void *data)
{
	const double *v = data;
	double sum = 0, count = 0;

	for (size_t i = 0; i < n; i++) {
		sum += weight[i] * v[i];
		count += weight[i];
	}
	return sum / count;
}

static double exp_mean(const double *weight, size_t n, const void *data)
{
	return exp(mean_of(weight, n, data));
}

/* NaN unless the first row is in the sample. */
static double needs_first(const double *weight, size_t n, const void *data)
{
	return weight[0] > 0 ? mean_of(weight, n, data) : NAN;
}

static double constant(const double *weight, size_t n, const void *data)
{
	(void)weight;
	(void)n;
	(void)data;
	return 4.2;
}

/* NaN in samples that hold one unit at least `n - 1` times. */
static double seldom(const double *weight, size_t n, const void *data)
{
	for (size_t i = 0; i < n; i++)
		if (weight[i] >= (double)n - 1)
			return NAN;
	return mean_of(weight, n, data);
}

static pd_boot_plan plan_of(const double *v, size_t n)
{
	return (pd_boot_plan){ .n_rows = n, .statistic = mean_of, .data = v,
	                       .level = 0.9, .seed = 77 };
}

static int ascending(const void *a, const void *b)
{
	double p = *(const double *)a, q = *(const double *)b;

	return (p > q) - (p < q);
}

/* ---- complete laws ---------------------------------------------------- */

/* Means of all 3125 ordered samples of five, in order. */
static void write_out(double *m)
{
	for (int k = 0; k < ALL; k++) {
		double w[N] = { 0 };

		for (int i = 0, rest = k; i < N; i++, rest /= N)
			w[rest % N]++;
		m[k] = mean_of(w, N, x);
	}
	qsort(m, ALL, sizeof *m, ascending);
}

START_TEST(all_samples)
{
	double m[ALL], below = 0, equal = 0, mean = 0, square = 0;
	pd_boot_plan p = plan_of(x, N);
	pd_boot b;

	write_out(m);
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
	for (int k = 0; k < ALL; k++) {
		below += m[k] < b.estimate - 1e-12;
		equal += fabs(m[k] - b.estimate) <= 1e-12;
		mean += m[k] / ALL;
	}
	for (int k = 0; k < ALL; k++)
		square += (m[k] - mean) * (m[k] - mean) / ALL;
	ck_assert(b.exact);
	ck_assert_uint_eq(b.n_samples, 126);
	near("mean", b.mean, mean, 1e-12);
	near("se", b.se, sqrt(square), 1e-12);
	near("below", b.p_below, below / ALL, 1e-12);
	near("equal", b.p_equal, equal / ALL, 1e-12);
	near("percentile low", b.percentile_low, m[156], 1e-12);
	near("percentile high", b.percentile_high, m[2968], 1e-12);
	near("low", b.low, m[(int)ceil(b.level_low * ALL) - 1], 1e-12);
	near("high", b.high, m[(int)ceil(b.level_high * ALL) - 1], 1e-12);
}
END_TEST

/* Of a mean: jackknife se = sd / sqrt(n), no bias, a = skewness / 6 sqrt(n). */
START_TEST(left_out_mean)
{
	double mean = 0, d2 = 0, d3 = 0;
	pd_boot_plan p = plan_of(x, 9);
	pd_boot b;

	for (int i = 0; i < 9; i++)
		mean += x[i] / 9;
	for (int i = 0; i < 9; i++) {
		double d = x[i] - mean;

		d2 += d * d;
		d3 += d * d * d;
	}
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
	near("jackknife", b.jack_se, sqrt(d2 / 8 / 9), 1e-12);
	near("bootstrap", b.se, sqrt(d2 / 9 / 9), 1e-12);
	near("acceleration", b.acceleration, d3 / (6 * pow(d2, 1.5)), 1e-10);
	ck_assert_double_le(fabs(b.jack_bias), 1e-14);
	ck_assert_uint_eq(b.n_samples, 24310);
}
END_TEST

/* exp() of the statistic is exp() of its percentile limits. */
START_TEST(percentiles_transform)
{
	pd_boot_plan p = plan_of(x, 8);
	pd_boot a, b;

	ck_assert_int_eq(pd_bootstrap(&p, &a, NULL), PD_OK);
	p.statistic = exp_mean;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
	near("low", b.percentile_low, exp(a.percentile_low), 1e-13);
	near("high", b.percentile_high, exp(a.percentile_high), 1e-13);
	near("z0", b.z0, a.z0, 1e-10);
}
END_TEST

START_TEST(shift_and_scale)
{
	double v[8];
	pd_boot_plan p = plan_of(x, 8), q = plan_of(v, 8);
	pd_boot a, b;

	for (int i = 0; i < 8; i++)
		v[i] = 3.7 * x[(i + 3) % 8] + 250;
	ck_assert_int_eq(pd_bootstrap(&p, &a, NULL), PD_OK);
	ck_assert_int_eq(pd_bootstrap(&q, &b, NULL), PD_OK);
	near("low", b.low, 3.7 * a.low + 250, 1e-12);
	near("high", b.high, 3.7 * a.high + 250, 1e-12);
	near("se", b.se, 3.7 * a.se, 1e-11);
	near("acceleration", b.acceleration, a.acceleration, 1e-8);
}
END_TEST

/* ---- drawn laws ------------------------------------------------------- */

START_TEST(drawn_as_complete)
{
	pd_boot_plan p = plan_of(x, 9);
	pd_boot a, b;

	ck_assert_int_eq(pd_bootstrap(&p, &a, NULL), PD_OK);
	p.sampled = 1;
	p.draws = 100000;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
	ck_assert(!b.exact);
	near("se", b.se, a.se, 0.01);
	ck_assert_double_eq_tol(b.z0, a.z0, 0.016);
	ck_assert_double_eq_tol(b.low, a.low, 0.02 * (a.high - a.low));
	ck_assert_double_eq_tol(b.high, a.high, 0.02 * (a.high - a.low));
}
END_TEST

/* Any number of threads: the same bytes. Another seed: others. */
START_TEST(threads)
{
	static const unsigned some[] = { 1, 2, 3, 7, 64, 1000 };
	pd_boot_plan p = plan_of(x, 16);
	pd_boot a, b;

	p.draws = 1237;
	ck_assert_int_eq(pd_bootstrap(&p, &a, NULL), PD_OK);
	for (size_t k = 0; k < sizeof some / sizeof *some; k++) {
		p.threads = some[k];
		ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
		ck_assert_mem_eq(&a, &b, sizeof a);
	}
	p.seed++;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
	ck_assert_double_ne(a.se, b.se);
}
END_TEST

/* ---- units ------------------------------------------------------------ */

/* Three equal rows a patient: as if each patient were one row; rows drawn
 * alone would claim an error smaller by sqrt(3). */
START_TEST(patients_not_rows)
{
	double v[24];
	int32_t unit[24];
	pd_boot_plan one = plan_of(x, 8), p = plan_of(v, 24), rows = p;
	pd_boot a, b, c;

	for (int i = 0; i < 24; i++) {
		v[i] = x[i % 8];
		unit[i] = i % 8;
	}
	p.unit = unit;
	p.n_units = 8;
	ck_assert_int_eq(pd_bootstrap(&one, &a, NULL), PD_OK);
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
	ck_assert_int_eq(pd_bootstrap(&rows, &c, NULL), PD_OK);
	ck_assert_uint_eq(b.n_units, 8);
	near("low", b.low, a.low, 1e-12);
	near("high", b.high, a.high, 1e-12);
	near("se", b.se, a.se, 1e-12);
	near("rows alone", c.se, a.se / sqrt(3), 0.03);
}
END_TEST

/* ---- refusals --------------------------------------------------------- */

START_TEST(refuses)
{
	static const int32_t unit[4] = { 0, 1, 2, 3 };
	pd_boot_plan p = plan_of(x, 8);
	pd_error err = { 0 };
	pd_boot b;

	p.level = 1;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_DATA);
	p = plan_of(x, 2);
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_REFUSED);
	p = plan_of(x, 4);
	p.unit = unit;
	p.n_units = 3;
	ck_assert_int_eq(pd_bootstrap(&p, &b, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 4"));
	p = plan_of(x, 16);
	p.draws = 10000001;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_DATA);
	p = plan_of(x, 8);
	p.statistic = constant;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_REFUSED);
	p.statistic = needs_first;
	ck_assert_int_eq(pd_bootstrap(&p, &b, &err), PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "without unit 1"));
}
END_TEST

/* P(one of 5 units 4 or 5 times) = 105 / 3125; of 4 units 3 or 4: 52 / 256. */
START_TEST(some_fail)
{
	pd_boot_plan p = plan_of(x, 5);
	pd_boot b;

	p.statistic = seldom;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_OK);
	ck_assert_uint_eq(b.n_failed, 25);
	p = plan_of(x, 4);
	p.statistic = seldom;
	ck_assert_int_eq(pd_bootstrap(&p, &b, NULL), PD_REFUSED);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("bootstrap");
	TCase *t = tcase_create("laws");

	tcase_set_timeout(t, 60);
	tcase_add_test(t, all_samples);
	tcase_add_test(t, left_out_mean);
	tcase_add_test(t, percentiles_transform);
	tcase_add_test(t, shift_and_scale);
	tcase_add_test(t, drawn_as_complete);
	tcase_add_test(t, threads);
	tcase_add_test(t, patients_not_rows);
	suite_add_tcase(s, t);
	t = tcase_create("refusals");
	tcase_add_test(t, refuses);
	tcase_add_test(t, some_fail);
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
