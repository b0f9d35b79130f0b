/*
 * check_summary.c - families of p values, sums and spreads, groups, the effect
 * data could have shown. "R" is R 4.2.2: p.adjust, t.test, pt.
 */
#include "stats/detect.h"
#include "stats/multiple.h"
#include "stats/summary.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

/* ---- families, summaries ---------------------------------------------- */

/* R, p.adjust (Sidak by its formula); one value missing, two tied. */
static const struct {
	pd_adjust how;
	double want[7];
} rules[] = {
	{ PD_HOLM, { 0.62, 0.06, NAN, 0.06, 0.0042, 0.92, 0.132 } },
	{ PD_HOCHBERG, { 0.62, 0.048, NAN, 0.048, 0.0042, 0.92, 0.132 } },
	{ PD_HOMMEL, { 0.62, 0.048, NAN, 0.048, 0.0042, 0.92, 0.132 } },
	{ PD_BENJAMINI_HOCHBERG,
	  { 0.372, 0.024, NAN, 0.024, 0.0042, 0.92, 0.066 } },
	{ PD_BENJAMINI_YEKUTIELI,
	  { 0.9114, 0.0588, NAN, 0.0588, 0.01029, 1, 0.1617 } },
	{ PD_BONFERRONI, { 1, 0.072, NAN, 0.072, 0.0042, 1, 0.264 } },
	{ PD_SIDAK,
	  { 0.892081836919, 0.06987425045000606, NAN, 0.06987425045000606,
	    0.00419265685639969, 0.999999737856, 0.23660844080103038 } },
};

START_TEST(families)
{
	double p[7] = { 0.31, 0.012, NAN, 0.012, 0.0007, 0.92, 0.044 }, got[7];

	ck_assert(pd_adjust_p(p, 7, rules[_i].how, got, NULL) == PD_OK);
	for (int i = 0; i < 7; i++)
		if (isnan(p[i]))
			ck_assert(isnan(got[i]));
		else
			near("adjusted", got[i], rules[_i].want[i], 1e-13);
	ck_assert(pd_adjust_p(p, 7, rules[_i].how, p, NULL) == PD_OK);
	for (int i = 0; i < 7; i++)
		ck_assert(isnan(p[i]) ? isnan(got[i]) : p[i] == got[i]);
	ck_assert(pd_adjust_p(p, 0, rules[_i].how, got, NULL) == PD_OK);
	p[0] = 0.031;
	ck_assert(pd_adjust_p(p, 1, rules[_i].how, got, NULL) == PD_OK);
	near("a family of one", got[0], 0.031, 1e-14);
}
END_TEST

/* Hommel by definition: the largest Simes p over all sets a p value is in. */
START_TEST(hommel_is_the_closed_test)
{
	static const double p[] = { 0.021, 0.31, 0.0123, 0.044, 0.0141,
		                    0.72, 0.021, 0.029 };
	enum { M = ROWS(p) };
	double got[M], want[M] = { 0 };

	ck_assert(pd_adjust_p(p, M, PD_HOMMEL, got, NULL) == PD_OK);
	for (unsigned set = 1; set < 1u << M; set++) {
		double simes = 1;
		int size = __builtin_popcount(set);

		for (int i = 0; i < M; i++) {
			int rank = 0; /* the last among its ties */

			if (!(set >> i & 1))
				continue;
			for (int j = 0; j < M; j++)
				rank += (set >> j & 1) && p[j] <= p[i];
			simes = fmin(simes, size * p[i] / rank);
		}
		for (int i = 0; i < M; i++)
			if (set >> i & 1)
				want[i] = fmax(want[i], simes);
	}
	for (int i = 0; i < M; i++)
		near("Hommel", got[i], want[i], 1e-14);
}
END_TEST

START_TEST(families_refuse)
{
	double p[2] = { 0.2, 1.2 }, got[2] = { 7, 7 };
	pd_error err;

	ck_assert(pd_adjust_p(p, 2, PD_HOLM, got, &err) == PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "p value 2 is 1.2"));
	ck_assert(got[0] == 7 && got[1] == 7);
}
END_TEST

START_TEST(summaries)
{
	static const double x[] = { 12.1, 14.7, 9.3, 11.8 };
	static const double y[] = { 8.8, 9.9, 10.7, 7.1, 9.2 };
	static const double far[] = { 1e15 + 1, 1e15 + 3, 1e15 + 2 };
	pd_estimate e;
	pd_summary s = pd_summarise(far, 3);

	near("mean", s.mean, 1e15 + 2, 1e-16);
	near("sd", s.sd, 1, 1e-15);
	near("compensated", pd_sum((double[]){ 1e100, 1, -1e100 }, 3), 1, 0);
	ck_assert(isnan(pd_summarise(x, 0).mean));
	ck_assert(isnan(pd_summarise(x, 1).sd));
	ck_assert(isnan(pd_correlation(x, x, 1)));
	near("two points", pd_correlation(x, y + 1, 2), 1, 1e-15);
	/* deviations -1 1 -1 1: products -1 -1 -1 over squares 4 */
	near("lag one", pd_lag_one((double[]){ 2, 4, 2, 4 }, 4), -0.75, 1e-15);
	ck_assert(isnan(pd_lag_one(x, 1)) && isnan(pd_lag_one(far, 1)));
	near("with itself", pd_correlation(x, x, 4), 1, 1e-15);
	ck_assert(pd_welch(x, 4, y, 5, 0.95, &e, NULL) == PD_OK);
	near("t", e.value / e.se, 2.25286947274937166, 1e-13); /* R */
	near("df", e.df, 4.74467971032899172, 1e-13);
	near("p", e.p, 0.07687688227312475, 1e-12);
	near("low", e.low, -0.45287217201459834, 1e-12);
	near("high", e.high, 6.12287217201459644, 1e-12);
}
END_TEST

/* Exact values: roots of the noncentral t power (R 4.2.2, pt with ncp) at
 * alpha 0.05, chance 0.8; the approximation's error as its header says. */
static const struct {
	double df, exact, off;
} shown[] = {
	{ 2, 5.653489, 0.052 },   { 3, 4.255899, 0.023 },
	{ 4, 3.76106, 0.012 },    { 5, 3.513903, 0.007 },
	{ 10, 3.109968, 0.001 },  { 30, 2.895358, 0.001 },
	{ INFINITY, 2.8015852, 1e-4 }, /* z(0.975) + z(0.8), and 1e-6 */
};

START_TEST(detectable)
{
	double got = pd_detectable(0.31, shown[_i].df, 0.05, 0.8);

	near("effect", got, 0.31 * shown[_i].exact, shown[_i].off);
	ck_assert(isnan(pd_detectable(0, shown[_i].df, 0.05, 0.8)));
	ck_assert(isnan(pd_detectable(0.31, -1, 0.05, 0.8)));
	ck_assert(isnan(pd_detectable(0.31, shown[_i].df, 1, 0.8)));
	ck_assert(isnan(pd_detectable(0.31, shown[_i].df, 0, 0.8)));
	ck_assert(isnan(pd_detectable(0.31, shown[_i].df, 0.05, 0)));
	ck_assert(isnan(pd_detectable(0.31, shown[_i].df, 0.05, 1)));
}
END_TEST

START_TEST(one_way_refuses)
{
	static const double y[] = { 1, 2, 3, 4 };
	pd_one_way a;
	pd_error err;

	ck_assert(pd_one_way_fit(y, (int32_t[]){ 0, 0, 1, 2 }, 4, 2, &a, &err) ==
	          PD_DATA);
	ck_assert_str_eq(err.text, "row 4: group code 2 is outside 0 to 1");
	ck_assert(pd_one_way_fit(y, (int32_t[]){ 0, 0, 0, 0 }, 4, 2, &a, &err) ==
	          PD_REFUSED);
	ck_assert(pd_one_way_fit(y, (int32_t[]){ 0, 1, 2, 3 }, 4, 4, &a, &err) ==
	          PD_REFUSED);
	/* an empty group does not count */
	ck_assert(pd_one_way_fit(y, (int32_t[]){ 0, 0, 2, 2 }, 4, 3, &a, &err) ==
	          PD_OK);
	ck_assert(a.df_between == 1 && a.df_within == 2 && a.f == 8);
	/* means that no double holds: 1 and 4 above 1e16 */
	ck_assert(pd_one_way_fit((double[]){ 1e16, 1e16 + 2, 1e16 + 2,
	                                     1e16 + 6 },
	                         (int32_t[]){ 0, 0, 1, 1 }, 4, 2, &a, &err) ==
	          PD_OK);
	ck_assert(a.between == 9 && a.within == 10);
}
END_TEST
int main(void)
{
	Suite *s = suite_create("summary");
	TCase *t = tcase_create("all");

	tcase_add_loop_test(t, families, 0, ROWS(rules));
	tcase_add_test(t, hommel_is_the_closed_test);
	tcase_add_test(t, families_refuse);
	tcase_add_test(t, summaries);
	tcase_add_test(t, one_way_refuses);
	tcase_add_loop_test(t, detectable, 0, ROWS(shown));
	suite_add_tcase(s, t);
	SRunner *run = srunner_create(s);

	srunner_run_all(run, CK_NORMAL);
	int failed = srunner_ntests_failed(run);

	printf("%d passed, %d failed\n", srunner_ntests_run(run) - failed,
	       failed);
	srunner_free(run);
	return failed ? 1 : 0;
}
