/*
 * check_pool_limits.c - limits of the spread between studies. The studies are
 * made up; R: metafor 3.8-1, confint of its fit.
 */
#include "stats/pool_limits.h"
#include "stats/quantile.h"

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

enum { N = 9 };
static const double y[N] = { -0.31, 0.12, -0.68, -0.05, -1.2, -0.44, 0.2,
	                     -0.9, -0.35 };
static const double v[N] = { 0.05, 0.031, 0.11, 0.022, 0.19, 0.06, 0.043,
	                     0.08, 0.027 };
static const double line[2 * N] = { 1, 3, 1, 9, 1, 4, 1, 8, 1, 1, 1, 5, 1, 9,
	                            1, 2, 1, 6 };

/* R: tau2, i2, h2, low and high of each. */
static const double want[2][6] = {
	{ 0.0198806978395, 0.696943849314, 29.9361935322, 93.7415995945,
	  1.42727044164, 15.9785238273 },
	{ 0, 0.0677927601644, 0, 59.3705177414, 1, 2.46126690376 },
};

START_TEST(limits_known)
{
	pd_pool_limits l;

	ck_assert_int_eq(pd_pool_limits_of(y, v, _i ? line : NULL, N, 2, 0.95,
	                                   &l, NULL), PD_OK);
	near_to("tau2 low", l.tau2_low, want[_i][0], 1e-9);
	near_to("tau2 high", l.tau2_high, want[_i][1], 1e-9);
	near_to("i2 low", l.i2_low, want[_i][2], 1e-9);
	near_to("i2 high", l.i2_high, want[_i][3], 1e-9);
	near_to("h2 low", l.h2_low, want[_i][4], 1e-9);
	near_to("h2 high", l.h2_high, want[_i][5], 1e-9);
}
END_TEST

/* The same limits as of the pool alone; Q there is the quantile; a change of
 * unit. */
START_TEST(limits_hold)
{
	double sum[N], scaled[N], square[N], low, high;
	pd_pool_limits l, m;
	pd_spread s;

	ck_assert_int_eq(pd_pool_limits_of(y, v, NULL, N, 0, 0.9, &l, NULL),
	                 PD_OK);
	ck_assert_int_eq(pd_pool_spread_limits(y, v, N, 0.9, &low, &high,
	                                       NULL), PD_OK);
	near_to("low", l.tau2_low, low, 1e-13);
	near_to("high", l.tau2_high, high, 1e-13);
	ck_assert_int_eq(pd_pool_limits_of(y, v, line, N, 2, 0.9, &l, NULL),
	                 PD_OK);
	for (int i = 0; i < N; i++) {
		sum[i] = v[i] + l.tau2_high;
		scaled[i] = 3 + 512 * y[i];
		square[i] = 512 * 512 * v[i];
	}
	ck_assert_int_eq(pd_pool_regress(y, sum, line, N, 2, PD_POOL_COMMON,
	                                 0.9, NULL, NULL, NULL, &s, NULL),
	                 PD_OK);
	near_to("q", s.q, pd_chisq_quantile(0.05, N - 2), 1e-9);
	ck_assert_int_eq(pd_pool_limits_of(scaled, square, line, N, 2, 0.9,
	                                   &m, NULL), PD_OK);
	near_to("unit", m.tau2_high, 512 * 512 * l.tau2_high, 1e-9);
	near_to("share", m.i2_high, l.i2_high, 1e-9);
}
END_TEST

START_TEST(limits_refused)
{
	double bad[N];
	pd_pool_limits l;
	pd_error err;

	memcpy(bad, v, sizeof bad);
	bad[4] = 0;
	ck_assert_int_eq(pd_pool_limits_of(y, bad, NULL, N, 1, 0.95, &l, &err),
	                 PD_DATA);
	ck_assert(strstr(err.text, "study 5"));
	ck_assert_int_eq(pd_pool_limits_of(y, v, line, 2, 2, 0.95, &l, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_pool_limits_of(y, v, NULL, 1, 1, 0.95, &l, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_pool_limits_of(y, v, NULL, N, 1, 1, &l, NULL),
	                 PD_DATA);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("pool limits");
	TCase *t = tcase_create("limits");

	tcase_add_loop_test(t, limits_known, 0, 2);
	tcase_add_test(t, limits_hold);
	tcase_add_test(t, limits_refused);
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
