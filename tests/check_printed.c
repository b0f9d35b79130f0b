/*
 * check_printed.c - ratios from printed summaries, colonies as rates. Checked
 * by values worked out by hand, by metafor 3.8-1 and base functions of R
 * 4.2.2 (R), and against made-up samples.
 */
#include "stats/colony.h"
#include "stats/control.h"
#include "stats/paired.h"
#include "stats/printed.h"
#include "stats/quantile.h"
#include "stats/stream.h"
#include "stats/summary.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static void near_to(const char *what, double got, double want,
                    double relative)
{
	double room = relative * fmax(fabs(want), want == 0);

	ck_assert_msg(fabs(got - want) <= room, "%s: got %.17g, wanted %.17g",
	              what, got, want);
}

/* ---- one group -------------------------------------------------------- */

/* Printed mean and sd; sd of logs and geometric mean (R). */
static const struct {
	double mean, sd, log_sd, middle;
} moments[] = {
	{ 35.2, 17.1, 0.460302197258275, 31.6616771300498 },
	{ 2885, 1716, 0.550369411539072, 2479.53651942124 },
	{ 23.1, 28.2, 0.955198382782684, 14.6381427960462 },
};

START_TEST(moments_known)
{
	pd_printed p;
	double mean = moments[_i].mean, sd = moments[_i].sd;

	ck_assert_int_eq(pd_printed_mean_sd(mean, sd, 12, &p, NULL), PD_OK);
	near_to("sd of logs", p.log_sd, moments[_i].log_sd, 1e-13);
	near_to("geometric mean", exp(p.log_mean), moments[_i].middle, 1e-13);
	/* and back: the mean and sd of that log-normal */
	near_to("mean", exp(p.log_mean + 0.5 * p.log_sd * p.log_sd), mean,
	        1e-13);
	near_to("sd", mean * sqrt(expm1(p.log_sd * p.log_sd)), sd, 1e-12);
	ck_assert(p.log_se > p.log_sd / sqrt(12));
	ck_assert_double_eq(p.df, 11);
}
END_TEST

/* Of made-up samples of 20 with sd of logs 0.95 only mean and sd are kept:
 * intervals that hold the geometric mean, and those of log_sd / sqrt(n). */
START_TEST(moments_cover)
{
	enum { SETS = 4000, N = 20 };
	double t = pd_t_quantile(0.975, N - 1);
	int held = 0, plain = 0;

	for (uint64_t k = 0; k < SETS; k++) {
		double v[N];
		pd_stream g;
		pd_summary s;
		pd_printed p;

		pd_stream_init(&g, 41, k);
		for (int i = 0; i < N; i++)
			v[i] = exp(3 + 0.95 * pd_stream_normal(&g));
		s = pd_summarise(v, N);
		ck_assert_int_eq(pd_printed_mean_sd(s.mean, s.sd, N, &p,
		                                    NULL), PD_OK);
		held += fabs(p.log_mean - 3) < t * p.log_se;
		plain += fabs(p.log_mean - 3) < t * p.log_sd / sqrt(N);
	}
	printf("geometric mean from mean and sd: held %d of %d times, %d by "
	       "the plain formula\n", held, SETS, plain);
	ck_assert(held > 0.94 * SETS && plain < 0.90 * SETS);
}
END_TEST

START_TEST(quartiles_known)
{
	pd_printed p;
	pd_control_factors f;

	ck_assert_int_eq(pd_printed_quartiles(51.2, 31, 88, 23, &p, NULL),
	                 PD_OK);
	near_to("middle", exp(p.log_mean), 51.2, 1e-14);
	near_to("from quartiles", p.log_sd, 0.824426120913821, 1e-12); /* R */
	near_to("se", p.log_se, p.log_sd * sqrt(M_PI / 46), 1e-14);
	near_to("skew", p.skew, (log(88) + log(31) - 2 * log(51.2)) /
	        log(88.0 / 31), 1e-13);
	ck_assert_int_eq(pd_printed_range(51.2, 12, 190, 23, &p, NULL), PD_OK);
	near_to("from range", p.log_sd, 0.716042805478698, 1e-12); /* R */
	/* the mean range of 23 normal values, exactly */
	ck_assert_int_eq(pd_control_factors_of(23, &f, NULL), PD_OK);
	near_to("exact", p.log_sd, log(190.0 / 12) / f.d2, 0.005);
	/* without limit of n: the quartiles of the normal law */
	ck_assert_int_eq(pd_printed_quartiles(20, 10, 40, 1000000, &p, NULL),
	                 PD_OK);
	near_to("of many", p.log_sd, log(4) / (2 * 0.674489750196082), 1e-5);
	ck_assert_double_eq(p.skew, 0);
}
END_TEST

START_TEST(geometric_known)
{
	pd_printed p, q;

	ck_assert_int_eq(pd_printed_geometric(40, 32, 50, 0.95, 16, 0, &p,
	                                      NULL), PD_OK);
	near_to("se", p.log_se, log(50.0 / 32) / 2 / 2.13144954555978, 1e-12);
	near_to("sd", p.log_sd, 4 * p.log_se, 1e-14);
	ck_assert(fabs(p.skew) < 1e-14);
	ck_assert_int_eq(pd_printed_geometric_sd(40, exp(p.log_sd), 16, &q,
	                                         NULL), PD_OK);
	near_to("same se", q.log_se, p.log_se, 1e-13);
	near_to("same df", q.df, p.df, 0);
	near_to("sd of se", pd_printed_sd_of_se(2.5, 49), 17.5, 1e-14);
	near_to("sd of interval", pd_printed_sd_of_interval(30, 50, 0.95, 16),
	        4 * 20 / 2 / 2.13144954555978, 1e-12);
	ck_assert(isnan(pd_printed_sd_of_interval(50, 30, 0.95, 16)));
	ck_assert(isnan(pd_printed_sd_of_interval(30, 50, 1, 16)));
	ck_assert(isnan(pd_printed_sd_of_se(0, 16)));
	ck_assert(isnan(pd_printed_sd_of_se(1, 1)));
}
END_TEST

/* ---- two groups ------------------------------------------------------- */

/* Two printed geometric means with normal limits; ratio and limits by hand:
 * ln ratio -+ root of the sum of the squared half widths. */
static const struct {
	double a, a_low, a_high, b, b_low, b_high, ratio, low, high;
} printed[] = {
	{ 27.8, 25.4, 30.5, 20.1, 18.7, 21.7, 1.383, 1.229, 1.556 },
	{ 185, 161, 213, 114, 96, 134, 1.623, 1.305, 2.017 },
};

START_TEST(ratio_known)
{
	pd_printed a, b;
	pd_estimate e, back;

	pd_printed_geometric(printed[_i].a, printed[_i].a_low,
	                     printed[_i].a_high, 0.95, 75, 1, &a, NULL);
	pd_printed_geometric(printed[_i].b, printed[_i].b_low,
	                     printed[_i].b_high, 0.95, 85, 1, &b, NULL);
	ck_assert_int_eq(pd_printed_ratio(&a, &b, 0.95, &e, NULL), PD_OK);
	ck_assert_double_eq_tol(exp(e.value), printed[_i].ratio, 6e-4);
	ck_assert_double_eq_tol(exp(e.low), printed[_i].low, 6e-4);
	ck_assert_double_eq_tol(exp(e.high), printed[_i].high, 6e-4);
	ck_assert(isinf(e.df));
	ck_assert_int_eq(pd_printed_ratio(&b, &a, 0.95, &back, NULL), PD_OK);
	ck_assert_double_eq_tol(back.low, -e.high, 1e-14);
}
END_TEST

/* From geometric means and sds printed in full: Welch on the logs, and pairs
 * with their own correlation. */
START_TEST(ratio_of_data)
{
	static const double x[] = { 5.1, 6.02, 4.7, 6.6, 5.55, 5.9, 6.13 };
	static const double y[] = { 4.4, 5.97, 4.1, 5.8, 5.21, 5.3, 5.77 };
	double diff[7];
	pd_summary s = pd_summarise(x, 7), t = pd_summarise(y, 7);
	pd_estimate e, welch, pairs;
	pd_printed a, b;

	pd_printed_geometric_sd(exp(s.mean), exp(s.sd), 7, &a, NULL);
	pd_printed_geometric_sd(exp(t.mean), exp(t.sd), 7, &b, NULL);
	ck_assert_int_eq(pd_printed_ratio(&a, &b, 0.9, &e, NULL), PD_OK);
	ck_assert_int_eq(pd_welch(x, 7, y, 7, 0.9, &welch, NULL), PD_OK);
	near_to("value", e.value, welch.value, 1e-12);
	near_to("df", e.df, welch.df, 1e-12);
	near_to("low", e.low, welch.low, 1e-11);
	near_to("p", e.p, welch.p, 1e-11);
	for (int i = 0; i < 7; i++)
		diff[i] = x[i] - y[i];
	ck_assert_int_eq(pd_printed_paired_ratio(&a, &b,
	                                         pd_correlation(x, y, 7), 0.9,
	                                         &e, NULL), PD_OK);
	ck_assert_int_eq(pd_paired_mean(diff, 7, 0.9, &pairs, NULL), PD_OK);
	near_to("value", e.value, pairs.value, 1e-12);
	near_to("se", e.se, pairs.se, 1e-11);
	near_to("df", e.df, 6, 0);
	near_to("high", e.high, pairs.high, 1e-11);
}
END_TEST

/* Ratio of means: value and variance of metafor's escalc, ROM and ROMC. */
START_TEST(means_known)
{
	pd_printed_mean a = { 23.1, 28.2, 14 }, b = { 11, 12, 19 };
	pd_estimate e, back;

	ck_assert_int_eq(pd_printed_means_ratio(&a, &b, 0.95, &e, NULL),
	                 PD_OK);
	near_to("value", e.value, 0.741937344729377, 1e-13);
	near_to("variance", e.se * e.se, 0.169086064799374, 1e-12);
	ck_assert_int_eq(pd_printed_means_ratio(&b, &a, 0.95, &back, NULL),
	                 PD_OK);
	near_to("inverse", back.high, -e.low, 1e-13);
	a.mean *= 1e-9;
	a.sd *= 1e-9;
	b.mean *= 1e-9;
	b.sd *= 1e-9;
	ck_assert_int_eq(pd_printed_means_ratio(&a, &b, 0.95, &back, NULL),
	                 PD_OK);
	near_to("unit", back.low, e.low, 1e-12);
	a = (pd_printed_mean){ 35.2, 17.1, 17 };
	b = (pd_printed_mean){ 28.4, 12.9, 17 };
	ck_assert_int_eq(pd_printed_paired_means_ratio(&a, &b, 0.6, 0.95, &e,
	                                               NULL), PD_OK);
	near_to("value", e.value, 0.214656937436891, 1e-13);
	near_to("variance", e.se * e.se, 0.0104426564990667, 1e-12);
	ck_assert_double_eq(e.df, 16);
}
END_TEST

#define DATA(call) ck_assert_int_eq(call, PD_DATA)

START_TEST(printed_refused)
{
	pd_printed p, q;
	pd_printed_mean a = { 23.1, 28.2, 14 }, b = { 11, 12, 19 };
	pd_estimate e;
	pd_error err;

	DATA(pd_printed_mean_sd(0, 3, 9, &p, NULL));
	DATA(pd_printed_mean_sd(2, -3, 9, &p, NULL));
	DATA(pd_printed_mean_sd(2, NAN, 9, &p, NULL));
	DATA(pd_printed_mean_sd(2, 3, 1, &p, &err));
	ck_assert(strstr(err.text, "2 values or more, got 1"));
	DATA(pd_printed_mean_sd(1e-200, 1e200, 9, &p, NULL));
	DATA(pd_printed_quartiles(9, 10, 40, 9, &p, &err));
	ck_assert(strstr(err.text, "9 is not between 10 and 40"));
	DATA(pd_printed_quartiles(9, 9, 9, 9, &p, NULL));
	DATA(pd_printed_range(9, 0, 40, 9, &p, NULL));
	DATA(pd_printed_geometric(9, 8, 10, 1, 9, 0, &p, NULL));
	DATA(pd_printed_geometric(9, 8, INFINITY, 0.9, 9, 0, &p, NULL));
	DATA(pd_printed_geometric_sd(9, 0.9, 9, &p, NULL));
	ck_assert_int_eq(pd_printed_geometric_sd(9, 1, 9, &p, NULL), PD_OK);
	ck_assert_int_eq(pd_printed_geometric_sd(8, 1, 9, &q, NULL), PD_OK);
	ck_assert_int_eq(pd_printed_ratio(&p, &q, 0.95, &e, NULL),
	                 PD_REFUSED);
	DATA(pd_printed_ratio(&p, &q, 0, &e, NULL));
	q.log_se = NAN;
	DATA(pd_printed_ratio(&p, &q, 0.9, &e, NULL));
	DATA(pd_printed_paired_ratio(&p, &p, 1, 0.9, &e, NULL));
	q.n = 8;
	DATA(pd_printed_paired_ratio(&p, &q, 0.3, 0.9, &e, NULL));
	DATA(pd_printed_paired_means_ratio(&a, &b, 0.3, 0.9, &e, NULL));
	a.mean = 0;
	DATA(pd_printed_means_ratio(&a, &b, 0.9, &e, NULL));
	a = b;
	a.sd = b.sd = 0;
	ck_assert_int_eq(pd_printed_means_ratio(&a, &b, 0.9, &e, NULL),
	                 PD_REFUSED);
}
END_TEST

/* ---- colonies --------------------------------------------------------- */

/* By hand; limits from exact Poisson tables (54: 40.5665 to 70.4584; 0: ln 40
 * two-sided, ln 20 one-sided). */
START_TEST(colonies_known)
{
	const double count[] = { 14, 22, 18 }, none[] = { 0, 0, 0 };
	const double cells[] = { 5e5, 5e5, 5e5 };
	pd_colonies c;

	ck_assert_int_eq(pd_colonies_of(count, cells, 3, 30, 10, 0.95, &c,
	                                NULL), PD_OK);
	near_to("per million", c.per_million.value, 36, 1e-14);
	near_to("per mL", c.per_ml.value, 1080, 1e-14);
	ck_assert_double_eq_tol(c.per_ml.low, 811.33, 0.005);
	ck_assert_double_eq_tol(c.per_ml.high, 1409.17, 0.005);
	near_to("of the draw", c.of_draw.value, 10800, 1e-14);
	near_to("scatter", c.scatter, 16.0 / 9, 1e-13);
	ck_assert_double_eq_tol(c.scatter_p, 0.4111123, 5e-8);
	ck_assert_int_eq(pd_colonies_of(none, cells, 3, 30, NAN, 0.95, &c,
	                                NULL), PD_OK);
	ck_assert_double_eq(c.per_million.value, 0);
	ck_assert_double_eq(c.per_million.low, 0);
	near_to("two-sided", c.per_million.high, log(40) / 1.5, 1e-12);
	near_to("one-sided", c.per_million.below, log(20) / 1.5, 1e-12);
	near_to("a mL", c.per_ml.below, 20 * log(20), 1e-12);
	ck_assert(isnan(c.of_draw.value) && isnan(c.scatter));
}
END_TEST

/* A dish problem (5, 31 and 18 on equal dishes); then unequal dishes, by hand:
 * 36 on twice the cells is as expected, 5 and 31 are 13 off 18. */
START_TEST(colonies_unequal)
{
	const double count[] = { 5, 31, 18 }, cells[] = { 4e5, 4e5, 4e5 };
	const double k[] = { 36, 5, 31 }, on[] = { 8e5, 4e5, 4e5 };
	const double j[] = { 5, 31, 36 }, of[] = { 4e5, 4e5, 8e5 };
	pd_colonies c, d;

	ck_assert_int_eq(pd_colonies_of(count, cells, 3, NAN, 2, 0.9, &c,
	                                NULL), PD_OK);
	ck_assert_double_eq_tol(c.scatter, 18.777778, 1e-6);
	ck_assert_double_eq_tol(c.scatter_p, 8.3648e-05, 1e-9);
	ck_assert(isnan(c.per_ml.value) && isnan(c.of_draw.low));
	ck_assert_int_eq(pd_colonies_of(k, on, 3, 5, 2, 0.9, &c, NULL), PD_OK);
	ck_assert_int_eq(pd_colonies_of(j, of, 3, 5, 2, 0.9, &d, NULL), PD_OK);
	near_to("scatter", c.scatter, 2 * 13.0 * 13 / 18, 1e-13);
	near_to("rate", c.per_million.value, 45, 1e-14);
	near_to("order", d.scatter, c.scatter, 1e-13);
	near_to("limits", d.of_draw.high, c.of_draw.high, 1e-14);
}
END_TEST

START_TEST(colonies_refused)
{
	const double count[] = { 14, 2.5 }, minus[] = { -1 };
	const double cells[] = { 5e5, 5e5 }, bad[] = { 0 };
	pd_colonies c;
	pd_error err;

	DATA(pd_colonies_of(count, cells, 2, 3, 1, 0.95, &c, &err));
	ck_assert(strstr(err.text, "dish 2 has 2.5 colonies"));
	DATA(pd_colonies_of(minus, cells, 1, 3, 1, 0.95, &c, NULL));
	DATA(pd_colonies_of(count, bad, 1, 3, 1, 0.95, &c, NULL));
	DATA(pd_colonies_of(count, cells, 1, -3, 1, 0.95, &c, NULL));
	DATA(pd_colonies_of(count, cells, 1, 3, INFINITY, 0.95, &c, NULL));
	DATA(pd_colonies_of(count, cells, 1, 3, 1, 1.5, &c, NULL));
	ck_assert_int_eq(pd_colonies_of(count, cells, 0, 3, 1, 0.95, &c, NULL),
	                 PD_REFUSED);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("printed");
	TCase *t = tcase_create("groups");

	tcase_add_loop_test(t, moments_known, 0,
	                    sizeof moments / sizeof *moments);
	tcase_add_test(t, moments_cover);
	tcase_add_test(t, quartiles_known);
	tcase_add_test(t, geometric_known);
	suite_add_tcase(s, t);
	t = tcase_create("ratios");
	tcase_add_loop_test(t, ratio_known, 0,
	                    sizeof printed / sizeof *printed);
	tcase_add_test(t, ratio_of_data);
	tcase_add_test(t, means_known);
	tcase_add_test(t, printed_refused);
	suite_add_tcase(s, t);
	t = tcase_create("colonies");
	tcase_add_test(t, colonies_known);
	tcase_add_test(t, colonies_unequal);
	tcase_add_test(t, colonies_refused);
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
