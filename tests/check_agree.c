/*
 * check_agree.c - limits of agreement, lines with error in both, concordance,
 * correlation, repeatability.
 *
 * Known answers: R 4.2.2 ("R"), hand calculation, the definition over again
 * (one point left out by a call on the others), and coverage in simulated
 * samples for the two intervals that rest on an approximation.
 */
#include "stats/agree.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)
enum { N = 7, TIMES = 4000 };

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static const double x[N] = { 12.1, 15.3, 9.8, 20.4, 17.7, 11.2, 14.9 };
static const double y[N] = { 11.7, 16.1, 10.4, 19.2, 18.8, 10.1, 15.5 };

/* ---- limits of agreement ---------------------------------------------- */

/* d = 0.4 -0.8 -0.6 1.2 -1.1 1.1 -0.6: sum -0.4, sum of squares 5.38;
 * t(6) 2.446911851, chi-square(6) 14.449375 and 1.237344 (printed tables). */
START_TEST(limits_by_hand)
{
	double mean = -0.4 / 7, sd = sqrt((5.38 - 0.16 / 7) / 6);
	double half = 2.446911851 * sd / sqrt(7);
	double out = hypot(half, 1.96 * sd * (sqrt(6 / 1.237344) - 1));
	double in = hypot(half, 1.96 * sd * (1 - sqrt(6 / 14.449375)));
	pd_limits l;

	ck_assert_int_eq(pd_agree_limits(x, y, N, 1.96, 0.95, &l, NULL), PD_OK);
	near("bias", l.bias.value, mean, 1e-12);
	near("sd", l.sd, sd, 1e-13);
	near("bias low", l.bias.low, mean - half, 1e-9);
	near("low", l.low, mean - 1.96 * sd, 1e-13);
	near("high", l.high, mean + 1.96 * sd, 1e-13);
	near("se", l.se, sd * sqrt(1.0 / 7 + 1.96 * 1.96 / 12), 1e-13);
	near("low from", l.low_from, l.low - out, 1e-6);
	near("low to", l.low_to, l.low + in, 1e-6);
	near("high from", l.high_from, l.high - in, 1e-6);
	near("high to", l.high_to, l.high + out, 1e-6);
}
END_TEST

/* Exchanging the two turns the signs; a unit moves a ratio and nothing else. */
START_TEST(exchange_and_unit)
{
	double in_other[N];
	pd_limits a, b, c;

	for (size_t i = 0; i < N; i++)
		in_other[i] = 0.0347 * x[i];
	ck_assert_int_eq(pd_agree_ratio(x, y, N, 2, 0.9, &a, NULL), PD_OK);
	ck_assert_int_eq(pd_agree_ratio(y, x, N, 2, 0.9, &b, NULL), PD_OK);
	ck_assert_int_eq(pd_agree_ratio(in_other, y, N, 2, 0.9, &c, NULL),
	                 PD_OK);
	near("bias", b.bias.value, -a.bias.value, 1e-12);
	near("low from", b.low_from, -a.high_to, 1e-12);
	near("high from", b.high_from, -a.low_to, 1e-12);
	near("trend", b.trend, -a.trend, 1e-12);
	near("unit", c.bias.value, a.bias.value + log(0.0347), 1e-12);
	near("unit high", c.high_to, a.high_to + log(0.0347), 1e-12);
	near("unit sd", c.sd, a.sd, 1e-12);
}
END_TEST

/* The published interval of the upper limit is an approximation: from samples
 * of 8 it holds mu + 1.96 sigma a little oftener than the 95 of 100 it claims,
 * measured 96.4 with this seed (0.0035 is the standard error of the share). */
START_TEST(limits_cover)
{
	size_t hits = 0;

	for (uint64_t k = 0; k < TIMES; k++) {
		double a[8], b[8] = { 0 };
		pd_stream s;
		pd_limits l;

		pd_stream_init(&s, 471, k);
		for (size_t i = 0; i < 8; i++)
			a[i] = 0.6 + 1.7 * pd_stream_normal(&s);
		ck_assert_int_eq(pd_agree_limits(a, b, 8, 1.96, 0.95, &l, NULL),
		                 PD_OK);
		hits += l.high_from <= 0.6 + 1.96 * 1.7 &&
		        l.high_to >= 0.6 + 1.96 * 1.7;
	}
	ck_assert_double_ge((double)hits / TIMES, 0.95 - 0.0105);
	ck_assert_double_le((double)hits / TIMES, 0.975);
}
END_TEST

/* ---- Deming ----------------------------------------------------------- */

/* One point left out by a call on the others. */
START_TEST(deming_left_out)
{
	const double ratio = 2.3;
	double b[N], mean = 0, square = 0;
	pd_line all, less;

	ck_assert_int_eq(pd_agree_deming(x, y, N, ratio, 0.95, &all, NULL),
	                 PD_OK);
	for (size_t k = 0; k < N; k++) {
		double p[N - 1], q[N - 1];

		for (size_t i = 0, m = 0; i < N; i++)
			if (i != k) {
				p[m] = x[i];
				q[m++] = y[i];
			}
		ck_assert_int_eq(pd_agree_deming(p, q, N - 1, ratio, 0.95,
		                                 &less, NULL), PD_OK);
		b[k] = N * all.slope.value - (N - 1) * less.slope.value;
		mean += b[k] / N;
	}
	for (size_t k = 0; k < N; k++)
		square += (b[k] - mean) * (b[k] - mean);
	near("se", all.slope.se, sqrt(square / (N - 1) / N), 1e-10);
	near("df", all.slope.df, N - 2, 0);
}
END_TEST

/* x and y exchanged with the ratio turned over: the same line. */
START_TEST(deming_exchanged)
{
	pd_line a, b;

	ck_assert_int_eq(pd_agree_deming(x, y, N, 0.4, 0.95, &a, NULL), PD_OK);
	ck_assert_int_eq(pd_agree_deming(y, x, N, 2.5, 0.95, &b, NULL), PD_OK);
	near("slope", b.slope.value, 1 / a.slope.value, 1e-13);
	near("intercept", b.intercept.value,
	     -a.intercept.value / a.slope.value, 1e-11);
}
END_TEST

/* Points on a falling line, far from the origin. */
START_TEST(lines_through_points)
{
	double a[9], b[9], c[9];
	pd_line l;

	for (size_t i = 0; i < 9; i++) {
		a[i] = 1e4 + (double)(i * i);
		b[i] = 311 - 0.7 * a[i];
		c[i] = -18.5 + 1.3 * a[i];
	}
	ck_assert_int_eq(pd_agree_deming(a, b, 9, 1, 0.95, &l, NULL), PD_OK);
	near("slope", l.slope.value, -0.7, 1e-10);
	near("intercept", l.intercept.value, 311, 1e-8);
	ck_assert_double_lt(l.slope.se, 1e-9);
	ck_assert_int_eq(pd_agree_ranks(a, c, 9, 0.95, &l, NULL), PD_OK);
	near("rank slope", l.slope.value, 1.3, 1e-9);
	near("rank low", l.slope.low, 1.3, 1e-9);
	near("rank intercept", l.intercept.value, -18.5, 1e-5);
}
END_TEST

/* ---- ranked slopes ---------------------------------------------------- */

/*
 * Five points by hand.
 *   points (1,1) (2,2) (3,5) (4,2) (4,6): slopes 1, 2, 1/3, 5/3, 3, 0, 2, -3,
 *   1, infinite; in order -3 0 1/3 1 1 5/3 2 2 3 inf: N = 10, K = 1, median of
 *   the 6th and 7th = (5/3 + 2) / 2.
 * C = 1.959964 sqrt(5 4 15 / 18) = 8.0015, M1 = 1: limits 0 (2nd) and beyond
 * the 10th, infinite.
 */
START_TEST(ranks_by_hand)
{
	static const double a[5] = { 1, 2, 3, 4, 4 }, b[5] = { 1, 2, 5, 2, 6 };
	double slope = (5.0 / 3 + 2) / 2;
	pd_line l;

	ck_assert_int_eq(pd_agree_ranks(a, b, 5, 0.95, &l, NULL), PD_OK);
	ck_assert_uint_eq(l.n_slopes, 10);
	ck_assert_uint_eq(l.offset, 1);
	near("slope", l.slope.value, slope, 1e-14);
	ck_assert_double_eq(l.slope.low, 0);
	ck_assert(isinf(l.slope.high) && l.slope.high > 0);
	/* y - slope x: -0.8333 -1.6667 -0.5 -5.3333 -1.3333 */
	near("intercept", l.intercept.value, 6 - 4 * slope, 1e-12);
	ck_assert_double_eq(l.intercept.high, 2);
	ck_assert(isinf(l.intercept.low) && l.intercept.low < 0);
}
END_TEST

/* Equal points and a slope of exactly -1 say nothing. */
START_TEST(ranks_leave_out)
{
	static const double a[6] = { 1, 1, 2.5, 3.5, 5, 7 };
	static const double b[6] = { 2, 2, 4, 3, 6.5, 7.5 };
	pd_line l;

	ck_assert_int_eq(pd_agree_ranks(a, b, 6, 0.95, &l, NULL), PD_OK);
	ck_assert_uint_eq(l.n_slopes, 13);
	ck_assert_uint_eq(l.offset, 0);
}
END_TEST

/* Exchanging x and y turns slope and limits over (an odd number of slopes:
 * 7 points, 21); turning rows round changes nothing. */
START_TEST(ranks_exchanged)
{
	double a[N], b[N];
	pd_line l, m;

	for (size_t i = 0; i < N; i++) {
		a[i] = x[(i + 3) % N];
		b[i] = y[(i + 3) % N];
	}
	ck_assert_int_eq(pd_agree_ranks(x, y, N, 0.9, &l, NULL), PD_OK);
	ck_assert_int_eq(pd_agree_ranks(a, b, N, 0.9, &m, NULL), PD_OK);
	near("turned", m.slope.value, l.slope.value, 1e-14);
	ck_assert_int_eq(pd_agree_ranks(b, a, N, 0.9, &m, NULL), PD_OK);
	near("slope", m.slope.value, 1 / l.slope.value, 1e-12);
	near("low", m.slope.low, 1 / l.slope.high, 1e-12);
	near("high", m.slope.high, 1 / l.slope.low, 1e-12);
}
END_TEST

/* ---- coefficients ----------------------------------------------------- */

/* R 4.2.2, cor.test(x, y). */
START_TEST(correlation_known)
{
	pd_estimate e;

	ck_assert_int_eq(pd_agree_correlation(x, y, N, 0.95, &e, NULL), PD_OK);
	near("r", e.value, 0.969189241068794449, 1e-13);
	near("low", e.low, 0.800058434352743597, 1e-12);
	near("high", e.high, 0.995601675593205893, 1e-13);
	near("p", e.p, 0.000314777388384258, 1e-11);
}
END_TEST

/* x = 1 2 3 4, y = 2 2 4 5: sxx 5, syy 6.75, sxy 5.5, (2.5 - 3.25)^2 4 = 2.25;
 * 11 / 14. */
START_TEST(concordance_by_hand)
{
	static const double a[4] = { 1, 2, 3, 4 }, b[4] = { 2, 2, 4, 5 };
	pd_estimate e, f;

	ck_assert_int_eq(pd_agree_concordance(a, b, 4, 0.95, &e, NULL), PD_OK);
	near("concordance", e.value, 11.0 / 14, 1e-14);
	ck_assert_double_lt(e.low, e.value);
	ck_assert_double_gt(e.high, e.value);
	ck_assert_int_eq(pd_agree_concordance(b, a, 4, 0.95, &f, NULL), PD_OK);
	near("exchanged", f.low, e.low, 1e-13);
	ck_assert_int_eq(pd_agree_concordance(a, a, 4, 0.95, &f, NULL), PD_OK);
	ck_assert_double_eq(f.value, 1);
	ck_assert(isnan(f.low));
}
END_TEST

/* Samples of 60 with correlation 0.8, a shift and a scale: the coefficient is
 * 2 0.8 1.2 / (1 + 1.44 + 0.09) and the interval holds it in 95 of 100. */
START_TEST(concordance_covers)
{
	const double rho = 0.8, truth = 2 * rho * 1.2 / (1 + 1.44 + 0.09);
	size_t hits = 0;

	for (uint64_t k = 0; k < TIMES; k++) {
		double a[60], b[60];
		pd_stream s;
		pd_estimate e;

		pd_stream_init(&s, 9157, k);
		for (size_t i = 0; i < 60; i++) {
			a[i] = pd_stream_normal(&s);
			b[i] = 0.3 + 1.2 * (rho * a[i] + sqrt(1 - rho * rho) *
			                    pd_stream_normal(&s));
		}
		ck_assert_int_eq(pd_agree_concordance(a, b, 60, 0.95, &e,
		                                      NULL), PD_OK);
		hits += e.low <= truth && truth <= e.high;
	}
	ck_assert_double_eq_tol((double)hits / TIMES, 0.95, 0.015);
}
END_TEST

/* sum d^2 = 5.38, 7 pairs; chi-square(7) 16.012764 and 1.689869 (printed). */
START_TEST(repeat_by_hand)
{
	pd_repeat r;

	ck_assert_int_eq(pd_agree_repeat(x, y, N, 0.95, &r, NULL), PD_OK);
	near("sw", r.sw, sqrt(5.38 / 14), 1e-13);
	near("low", r.sw_low, sqrt(2.69 / 16.012764), 1e-6);
	near("high", r.sw_high, sqrt(2.69 / 1.689869), 1e-6);
	near("coefficient", r.coefficient, 1.96 * sqrt(2 * 5.38 / 14), 1e-13);
	near("of 1986", r.coefficient_1986, 2 * sqrt(5.38 / 7), 1e-13);
}
END_TEST

/* ---- bad input -------------------------------------------------------- */

enum { LIMITS = 1, RATIO = 2, DEMING = 4, RANKS = 8, LIN = 16, FISHER = 32,
       REPEAT = 64, ALL = 127 };

static const struct {
	const char *name;
	int which;
	double x0, step_x, step_y, level;
	size_t n;
	pd_status want;
	const char *words;
} bad[] = {
	{ "value", ALL & ~RATIO, NAN, 1, 1, 0.95, 8, PD_DATA, "pair 1 holds" },
	{ "endless", ALL & ~RATIO, INFINITY, 1, 1, 0.95, 8, PD_DATA, "pair 1" },
	{ "ratio of 0", RATIO, 0, 1, 1, 0.95, 8, PD_DATA, "above 0" },
	{ "ratio below", RATIO, -3, 1, 1, 0.95, 8, PD_DATA, "above 0" },
	{ "no number", RATIO, NAN, 1, 1, 0.95, 8, PD_DATA, "above 0" },
	{ "level 0", ALL, 3, 1, 1, 0, 8, PD_DATA, "level" },
	{ "level nan", ALL, 3, 1, 1, NAN, 8, PD_DATA, "level" },
	{ "one pair", ALL, 3, 1, 1, 0.95, 1, PD_REFUSED, "pairs" },
	{ "none", ALL, 3, 1, 1, 0.95, 0, PD_REFUSED, "pairs" },
	{ "same gaps", LIMITS, 8, 1, 1, 0.95, 8, PD_REFUSED, "no variation" },
	{ "flat x", DEMING | RANKS | LIN | FISHER, 3, 0, 1, 0.95, 8,
	  PD_REFUSED, "" },
	{ "flat y", DEMING | LIN | FISHER, 3, 1, 0, 0.95, 8, PD_REFUSED, "" },
	{ "falling", RANKS, 3, 1, -2, 0.95, 8, PD_REFUSED, "rise" },
	{ "equal", REPEAT, 8, 1, 1, 0.95, 8, PD_REFUSED, "no variation" },
};

static pd_status ask(int which, const double *a, const double *b, size_t n,
                     double level, pd_error *err)
{
	pd_limits l;
	pd_line line;
	pd_estimate e;
	pd_repeat r;

	switch (which) {
	case LIMITS:
		return pd_agree_limits(a, b, n, 2, level, &l, err);
	case RATIO:
		return pd_agree_ratio(a, b, n, 2, level, &l, err);
	case DEMING:
		return pd_agree_deming(a, b, n, 1, level, &line, err);
	case RANKS:
		return pd_agree_ranks(a, b, n, level, &line, err);
	case LIN:
		return pd_agree_concordance(a, b, n, level, &e, err);
	case FISHER:
		return pd_agree_correlation(a, b, n, level, &e, err);
	default:
		return pd_agree_repeat(a, b, n, level, &r, err);
	}
}

START_TEST(refuses)
{
	double a[8], b[8];

	for (size_t i = 0; i < 8; i++) {
		a[i] = (i ? 8 : bad[_i].x0) + bad[_i].step_x * (double)i;
		b[i] = 8 + bad[_i].step_y * (double)i;
	}
	if (bad[_i].step_x == 0)
		a[0] = a[1];
	for (int which = LIMITS; which < ALL; which *= 2) {
		pd_error err = { 0 };

		if (!(bad[_i].which & which))
			continue;
		ck_assert_msg(ask(which, a, b, bad[_i].n, bad[_i].level,
		                  &err) == bad[_i].want, "%s, %d: %s",
		              bad[_i].name, which, err.text);
		ck_assert_msg(strstr(err.text, bad[_i].words) != NULL,
		              "%s, %d: %s", bad[_i].name, which, err.text);
	}
}
END_TEST

START_TEST(refuses_ratio_and_multiple)
{
	pd_line l;
	pd_limits a;

	ck_assert_int_eq(pd_agree_deming(x, y, N, 0, 0.95, &l, NULL), PD_DATA);
	ck_assert_int_eq(pd_agree_deming(x, y, N, NAN, 0.95, &l, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_agree_limits(x, y, N, 0, 0.95, &a, NULL),
	                 PD_REFUSED);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("agree");
	TCase *t = tcase_create("limits");

	tcase_set_timeout(t, 60);
	tcase_add_test(t, limits_by_hand);
	tcase_add_test(t, exchange_and_unit);
	tcase_add_test(t, limits_cover);
	suite_add_tcase(s, t);
	t = tcase_create("lines");
	tcase_add_test(t, deming_left_out);
	tcase_add_test(t, deming_exchanged);
	tcase_add_test(t, lines_through_points);
	tcase_add_test(t, ranks_by_hand);
	tcase_add_test(t, ranks_leave_out);
	tcase_add_test(t, ranks_exchanged);
	suite_add_tcase(s, t);
	t = tcase_create("coefficients");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, correlation_known);
	tcase_add_test(t, concordance_by_hand);
	tcase_add_test(t, concordance_covers);
	tcase_add_test(t, repeat_by_hand);
	suite_add_tcase(s, t);
	t = tcase_create("refusals");
	tcase_add_loop_test(t, refuses, 0, ROWS(bad));
	tcase_add_test(t, refuses_ratio_and_multiple);
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
