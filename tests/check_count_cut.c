/*
 * check_count_cut.c - series of counts cut off above against the tails summed
 * place by place.
 */
#include "stats/count_row.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

static pd_arena *arena;
static pd_error err;

static void set_up(void)
{
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
}

static void take_down(void)
{
	pd_arena_free(arena);
}

static const size_t counts[] = { 1, 2, 3, 7, 20, 61, 150, 300, 1000 };
static const double thetas[] = { 0.05, 0.3, 0.9, 2.3, 7.1, 31, 240, 3100,
                                 INFINITY };
enum { COUNTS = sizeof counts / sizeof *counts,
       THETAS = sizeof thetas / sizeof *thetas };

static pd_count_table table_of(size_t most, size_t cut)
{
	pd_count_table t;
	double y = (double)cut;
	unsigned char at_least = 1;

	ck_assert_int_eq(pd_count_table_new(arena, most, &t, &err), PD_OK);
	if (cut)
		ck_assert_int_eq(pd_count_table_cut(arena, &t, &y, &at_least,
		                                    1, &err), PD_OK);
	return t;
}

static void close_to(const char *what, size_t y, double theta, double e,
                     double got, double want, double most)
{
	if (fabs(got - want) <= most * (1 + fabs(want)) ||
	    (isnan(got) && isnan(want)))
		return;
	ck_abort_msg("%s of %zu, theta %g, e %.17g: got %.17g, wanted %.17g",
	             what, y, theta, e, got, want);
}

/* What the sums themselves lose to rounding: slopes in t as theta grows; all
 * where a lower tail leaves little; those in e as h^2 and h^3 cancel. */
static void compare(const pd_count_table *series, const pd_count_table *exact,
                    size_t y, double e)
{
	double theta = exact->theta, k = (double)y;
	double noise = isinf(theta) ? 1 : fmax(1, theta / 30);
	double kept = 1 / (1 + exp(e) / theta);
	pd_count_slopes a, b;

	pd_count_row(series, y, 1, e, &a);
	pd_count_row(exact, y, 1, e, &b);
	if (kept < 0.01)
		noise = fmax(noise, 1e-2 * k * exp(fmin(-b.l, log(1e2))));
	close_to("l", y, theta, e, a.l, b.l, 1e-12 * noise);
	close_to("l_e", y, theta, e, a.e, b.e, (1e-12 + 3e-15 * k) * noise);
	close_to("l_ee", y, theta, e, a.ee, b.ee,
	         (1e-11 + 3e-15 * k * k) * noise);
	close_to("l_eee", y, theta, e, a.eee, b.eee,
	         (1e-10 + 3e-15 * k * k * k) * noise);
	close_to("l_t", y, theta, e, a.t, b.t, 1e-11 * noise);
	close_to("l_tt", y, theta, e, a.tt, b.tt, 1e-10 * noise);
	close_to("l_et", y, theta, e, a.et, b.et, 1e-10 * noise);
	close_to("l_eet", y, theta, e, a.eet, b.eet,
	         (1e-9 + 3e-13 * k * k) * noise);
}

START_TEST(sweep)
{
	size_t y = counts[_i / THETAS];
	double theta = thetas[_i % THETAS], middle = log((double)y);
	double scale = fmin(1, sqrt(1 / (double)y + 1 / theta));
	pd_count_table series = table_of(y, y), exact = table_of(y, 0);

	pd_count_table_set(&series, theta);
	pd_count_table_set(&exact, theta);
	for (double x = -12; x <= 9; x += 0.0137)
		compare(&series, &exact, y, middle + scale * x);
	for (double x = -9; x <= 5; x += 0.0613)
		compare(&series, &exact, y, middle + x);
}
END_TEST

/* Series are dropped with their theta, and where their room is taken. */
START_TEST(anew)
{
	pd_count_table series = table_of(40, 40), exact = table_of(40, 0);

	for (int k = 0; k < 60; k++) {
		double theta = k % 3 ? 0.7 * exp(0.01 * (k / 2)) : INFINITY;

		pd_count_table_set(&series, theta);
		pd_count_table_set(&exact, theta);
		for (double e = -30; e < 12; e += 0.731)
			compare(&series, &exact, 40, e + 0.01 * k);
	}
	pd_count_table_set(&series, 1e-3);
	pd_count_table_set(&exact, 1e-3);
	compare(&series, &exact, 40, 30); /* a tail too long: NaN in both */
}
END_TEST

/* More counts than series are kept of, whole ones, none above 0. */
START_TEST(many)
{
	enum { N = 90 };
	pd_count_table series = table_of(N, 0), exact = table_of(N, 0);
	double y[N];
	unsigned char at_least[N];

	for (int i = 0; i < N; i++) {
		y[i] = i;
		at_least[i] = i % 7 != 3;
	}
	for (int k = 0; k < 2; k++)
		ck_assert_int_eq(pd_count_table_cut(arena, &series, y,
		                                    at_least, N, &err), PD_OK);
	ck_assert_uint_eq(series.n_cut, PD_COUNT_MOST_CUT);
	ck_assert_ptr_null(series.cut[0]);
	ck_assert_ptr_null(series.cut[3]);
	ck_assert_ptr_nonnull(series.cut[5]);
	ck_assert_ptr_null(series.cut[89]);
	pd_count_table_set(&series, 1.9);
	pd_count_table_set(&exact, 1.9);
	for (size_t i = 0; i < N; i++)
		compare(&series, &exact, i, log(1.3 * (double)i + 2));
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("count cut");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 600);
	tcase_add_loop_test(t, sweep, 0, COUNTS * THETAS);
	tcase_add_test(t, anew);
	tcase_add_test(t, many);
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
