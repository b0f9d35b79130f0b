/*
 * check_looks.c - what reading a primary question again and again costs:
 * false alarms over twelve quarters, words that agree with intervals.
 */
#include "plan/looks.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { LOOKS = 12, PATHS = 20000, EACH = 25 };

static pd_estimate single(double value, double se, double df)
{
	double t = pd_t_quantile(0.975, df);

	return (pd_estimate){ value, se, df, value - t * se, value + t * se,
		              0.95, pd_t_two_sided(value / se, df) };
}

/* Half-width over se at look k of equal quarters. */
static double cost(size_t k, size_t planned, double df)
{
	double se[LOOKS], p_margin, width;

	for (size_t j = 0; j <= k; j++)
		se[j] = 1 / sqrt((double)(EACH * (j + 1)));
	pd_looks l = { se, k, planned, 0.95 };
	pd_estimate e = single(0, se[k], df);

	ck_assert_int_eq(pd_looks_widen(&l, NAN, &e, &p_margin, &width, NULL),
	                 PD_OK);
	ck_assert(isnan(p_margin));
	ck_assert_double_eq_tol(width * pd_t_quantile(0.975, df),
	                        e.high / se[k], 1e-12);
	return e.high / se[k];
}

/* Shares of PATHS of no effect at all that ever leave an interval. */
static double false_alarms(const double *c)
{
	pd_stream s;
	size_t hits = 0;

	for (size_t path = 0; path < PATHS; path++) {
		double sum = 0;
		int out = 0;

		pd_stream_init(&s, 20261125, path);
		for (size_t k = 0; k < LOOKS; k++) {
			double n = (double)(EACH * (k + 1));

			/* a quarter's patients, added up */
			sum += sqrt(EACH) * pd_stream_normal(&s);
			out |= fabs(sum / sqrt(n)) > c[k];
		}
		hits += (size_t)out;
	}
	return (double)hits / PATHS;
}

/*
 * Twelve quarterly readings of a comparison in which nothing differs. The
 * share for plain intervals is that of Armitage, McPherson & Rowe (1969), JRSS A
 * 132, 235-244: 0.193 for 10 looks, 0.21 for 12 (interpolated).
 */
START_TEST(twelve_quarters)
{
	double plain[LOOKS], planned[LOOKS], any[LOOKS];

	for (size_t k = 0; k < LOOKS; k++) {
		plain[k] = pd_normal_quantile(0.975);
		planned[k] = cost(k, LOOKS, INFINITY);
		any[k] = cost(k, 0, INFINITY);
	}
	double naive = false_alarms(plain), even = false_alarms(planned),
	       ever = false_alarms(any), sd = sqrt(0.05 * 0.95 / PATHS);

	printf("false alarms in 12 looks: plain %.4f, planned %.4f, "
	       "any number %.4f\n", naive, even, ever);
	ck_assert(naive > 0.19 && naive < 0.23);
	ck_assert(fabs(even - 0.05) < 4 * sd);
	ck_assert(ever < 0.05);
}
END_TEST

/* By hand: the first of 12 looks spends 0.025 ln(1 + (e - 1) / 12) a side. */
START_TEST(first_look)
{
	double spent = 0.025 * log1p((M_E - 1) / 12);

	ck_assert_double_eq_tol(cost(0, 12, INFINITY),
	                        -pd_normal_quantile(spent), 1e-9);
	ck_assert_double_eq_tol(cost(0, 12, 7), pd_t_quantile(1 - spent, 7),
	                        1e-9);
}
END_TEST

START_TEST(one_planned_look_costs_nothing)
{
	pd_looks l = { NULL, 0, 1, 0.95 };
	pd_estimate e = single(0.3, 0.2, 12), same = e;
	double p, width;

	ck_assert_int_eq(pd_looks_widen(&l, 0.2, &e, &p, &width, NULL), PD_OK);
	ck_assert_double_eq(width, 1);
	ck_assert_double_eq(e.low, same.low);
	ck_assert_double_eq(e.p, same.p);
	ck_assert_double_eq_tol(p, pd_t_upper(-0.5, 12), 1e-15);
}
END_TEST

/* More looks than planned: the interval for any number of them. */
START_TEST(more_than_planned)
{
	ck_assert_double_eq(cost(4, 4, 30), cost(4, 0, 30));
	ck_assert(cost(4, 5, 30) < cost(4, 0, 30));
}
END_TEST

/* Interval and p cannot part: p <= 0.05 where the interval leaves 0 out, and
 * p_margin <= 0.025 where it lies inside the margin. */
START_TEST(p_agrees)
{
	pd_stream s;
	size_t n_out = 0, n_inside = 0;

	pd_stream_init(&s, 7, 0);
	for (size_t i = 0; i < 120; i++) {
		double se[4], p, width, d = 0.05 + 0.4 * pd_stream_uniform(&s);
		double df = i % 5 ? 5 + 60 * pd_stream_uniform(&s) : INFINITY;
		pd_looks l = { se, i % 4, i % 3 ? 6 : 0, 0.95 };

		for (size_t j = 0; j <= l.n; j++)
			se[j] = (0.03 + 0.1 * pd_stream_uniform(&s));
		pd_estimate e = single(0.15 * pd_stream_normal(&s), se[l.n],
		                       df);

		ck_assert_int_eq(pd_looks_widen(&l, d, &e, &p, &width, NULL),
		                 PD_OK);
		int out = e.low > 0 || e.high < 0;
		int inside = e.low >= -d && e.high <= d;

		ck_assert_msg(width > 1, "row %zu: width %g", i, width);
		ck_assert_msg(out == (e.p <= 0.05), "row %zu: p %.12g, %g to "
		              "%g", i, e.p, e.low, e.high);
		ck_assert_msg(inside == (p <= 0.025), "row %zu: p %.12g", i, p);
		n_out += (size_t)out;
		n_inside += (size_t)inside;
	}
	ck_assert(n_out > 20 && n_inside > 20);
}
END_TEST

/* A correction of the data can take information away. */
START_TEST(information_lost)
{
	double se[] = { 0.1, 0.08, 0.11 };
	pd_looks l = { se, 2, 12, 0.95 };
	pd_estimate e = single(0.2, se[2], 40);
	double p, width;

	ck_assert_int_eq(pd_looks_widen(&l, NAN, &e, &p, &width, NULL), PD_OK);
	ck_assert(isfinite(e.low) && isfinite(e.p) && width > 1.2);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("looks");
	TCase *c = tcase_create("price");
	SRunner *r;
	int run, failed;

	pd_base_init();
	tcase_set_timeout(c, 60);
	tcase_add_test(c, twelve_quarters);
	tcase_add_test(c, first_look);
	tcase_add_test(c, one_planned_look_costs_nothing);
	tcase_add_test(c, more_than_planned);
	tcase_add_test(c, p_agrees);
	tcase_add_test(c, information_lost);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
