/*
 * check_risk.c - two shares of events.
 *
 * "R": R 4.2.2, base: the likelihood under H0 maximised numerically
 * (optimize), every table listed (outer, dbinom), 1001 or 4001 values of the
 * open share, limits by uniroot. "Newcombe": Stat. Med. 17 (1998) 873-890,
 * table II, method of Miettinen & Nurminen (four digits, from memory; R above
 * agrees). "Chan": Stat. Med. 17 (1998) 1403-1413, nephroblastoma, exact p
 * 0.0017 (from memory).
 */
#include "stats/quantile.h"
#include "stats/risk.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance)
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static pd_risk risk(size_t x1, size_t n1, size_t x2, size_t n2,
                    pd_risk_kind kind, double level)
{
	pd_two_shares d = { x1, n1, x2, n2 };
	pd_error err;
	pd_risk r;

	ck_assert_int_eq(pd_risk_compare(&d, kind, level, &r, &err), PD_OK);
	return r;
}

/* ---- known answers ---- */

static const struct {
	pd_two_shares d;
	double low, high;      /* R, score limits of the difference         */
	double four_low, four_high; /* Newcombe; NAN where not remembered   */
} scores[] = {
	{ { 56, 70, 48, 80 }, 0.0528297, 0.3381729, 0.0528, 0.3382 },
	{ { 9, 10, 3, 10 }, 0.1700250, 0.8406495, 0.1700, 0.8406 },
	{ { 6, 7, 2, 7 }, 0.0341755, 0.8534053, 0.0342, 0.8534 },
	{ { 5, 56, 0, 29 }, -0.0325966, 0.1933310, -0.0326, 0.1933 },
	{ { 3, 52, 16, 120 }, -0.1607634, 0.0336297, NAN, NAN },
};

START_TEST(score_limits)
{
	pd_error err;
	pd_risk r;

	ck_assert_int_eq(pd_risk_score_limits(&scores[_i].d,
	                                      PD_RISK_DIFFERENCE, 0.95, &r,
	                                      &err), PD_OK);
	near("low", r.low, scores[_i].low, 6e-7);
	near("high", r.high, scores[_i].high, 6e-7);
	if (!isnan(scores[_i].four_low)) {
		near("Newcombe, low", r.low, scores[_i].four_low, 6e-5);
		near("Newcombe, high", r.high, scores[_i].four_high, 6e-5);
	}
}
END_TEST

static const struct {
	pd_two_shares d;
	double null, above, below; /* R */
} tests[] = {
	{ { 9, 10, 3, 10 }, 0, 0.00397878, 1 },
	{ { 9, 10, 3, 10 }, 0.2, 0.03702798, 0.99363162 },
	{ { 5, 56, 0, 29 }, 0, 0.05318459, 1 },
	{ { 7, 15, 1, 15 }, 0.05, 0.01672477, 0.99994819 },
	{ { 2, 12, 1, 17 }, -0.1, 0.05661250, 0.99982713 },
	{ { 0, 14, 3, 11 }, -0.6, 0.02928248, 0.99407655 },
};

START_TEST(exact_chances)
{
	double above, below;
	pd_error err;

	ck_assert_int_eq(pd_risk_test(&tests[_i].d, PD_RISK_DIFFERENCE,
	                              tests[_i].null, &above, &below, &err),
	                 PD_OK);
	near("above", above, tests[_i].above, 2e-8);
	near("below", below, tests[_i].below, 1.1e-6);
}
END_TEST

START_TEST(exact_limits)
{
	static const struct {
		pd_two_shares d;
		double low, high; /* R */
	} row[] = {
		{ { 9, 10, 3, 10 }, 0.160764, 0.879475 },
		{ { 7, 15, 1, 15 }, 0.065308, 0.679736 },
		{ { 2, 12, 1, 17 }, -0.148568, 0.426170 },
	};
	double above, below;
	pd_two_shares chan = { 83, 88, 69, 76 };
	pd_error err;

	for (int k = 0; k < ROWS(row); k++) {
		pd_risk r = risk(row[k].d.x1, row[k].d.n1, row[k].d.x2,
		                 row[k].d.n2, PD_RISK_DIFFERENCE, 0.95);

		near("low", r.low, row[k].low, 1e-5);
		near("high", r.high, row[k].high, 1e-5);
	}
	ck_assert_int_eq(pd_risk_test(&chan, PD_RISK_DIFFERENCE, -0.1, &above,
	                              &below, &err), PD_OK);
	near("Chan", above, 0.0017, 5e-5);
}
END_TEST

/* ---- against every table ---- */

static double log_choose(size_t n, size_t k)
{
	return lgamma((double)n + 1) - lgamma((double)k + 1) -
	       lgamma((double)(n - k) + 1);
}

static double term(size_t n, size_t k, double p)
{
	if (p <= 0 || p >= 1)
		return (p <= 0 && k == 0) || (p >= 1 && k == n);
	return exp(log_choose(n, k) + (double)k * log(p) +
	           (double)(n - k) * log1p(-p));
}

/* The chance by listing the tables, over an even grid of the open share. */
static double listed(const pd_two_shares *d, pd_risk_kind kind, double null)
{
	double z = pd_risk_score(d, kind, null), best = 0, low, high;

	pd_binomial_limits((double)d->x2, (double)d->n2, 1 - 1e-6, &low,
	                   &high);
	for (int g = 0; g <= 500; g++) {
		double q = low + (high - low) * g / 500, sum = 0;
		double p = kind == PD_RISK_RATIO ? null * q : q + null;

		if (p < 0 || p > 1)
			continue;
		for (size_t i = 0; i <= d->n1; i++)
			for (size_t j = 0; j <= d->n2; j++) {
				pd_two_shares t = { i, d->n1, j, d->n2 };

				if (pd_risk_score(&t, kind, null) >=
				    z - 1e-9 * (1 + fabs(z)))
					sum += term(d->n1, i, p) *
					       term(d->n2, j, q);
			}
		best = fmax(best, sum);
	}
	return fmin(1, best + 1e-6);
}

START_TEST(as_listed)
{
	static const double nulls[2][4] = { { -0.3, -0.04, 0, 0.22 },
		                            { 0.3, 0.9, 1, 2.7 } };
	static const pd_two_shares row[] = {
		{ 1, 9, 3, 13 }, { 0, 8, 2, 11 }, { 7, 7, 4, 12 },
		{ 5, 16, 5, 6 },
	};
	const pd_two_shares *d = &row[_i];

	for (int kind = 0; kind < 2; kind++)
		for (int k = 0; k < 4; k++) {
			double null = nulls[kind][k], above, below;
			pd_error err;

			ck_assert_int_eq(pd_risk_test(d, (pd_risk_kind)kind,
			                              null, &above, &below,
			                              &err), PD_OK);
			double want = listed(d, (pd_risk_kind)kind, null);

			/* the grid of the listing is coarser */
			ck_assert_msg(above > want - 1e-6 &&
			              above < want + 3e-3,
			              "kind %d null %g: %.9g, listed %.9g",
			              kind, null, above, want);
		}
}
END_TEST

/* ---- properties ---- */

START_TEST(exchanged)
{
	pd_risk a = risk(3, 41, 9, 57, PD_RISK_DIFFERENCE, 0.9);
	pd_risk b = risk(9, 57, 3, 41, PD_RISK_DIFFERENCE, 0.9);

	near("value", a.value, -b.value, 1e-15);
	near("low", a.low, -b.high, 1e-9);
	near("high", a.high, -b.low, 1e-9);
	near("p", a.p, b.p, 1e-12);
	a = risk(3, 41, 9, 57, PD_RISK_RATIO, 0.9);
	b = risk(9, 57, 3, 41, PD_RISK_RATIO, 0.9);
	near("ratio", a.value * b.value, 1, 1e-12);
	near("ratio, low", a.low * b.high, 1, 1e-6);
	near("ratio, high", a.high * b.low, 1, 1e-6);
}
END_TEST

/* Interval and p never say different things of no effect. */
START_TEST(agree_with_p)
{
	pd_stream s;

	pd_stream_init(&s, 4711, (uint64_t)_i);
	for (int k = 0; k < 60; k++) {
		size_t n1 = 5 + (size_t)(pd_stream_uniform(&s) * 60);
		size_t n2 = 5 + (size_t)(pd_stream_uniform(&s) * 60);
		double p = pd_stream_uniform(&s) * 0.4;
		size_t x1 = (size_t)(pd_stream_uniform(&s) * p * 2 *
		                     (double)n1);
		size_t x2 = (size_t)(pd_stream_uniform(&s) * p * 2 *
		                     (double)n2);
		pd_risk r = risk(x1, n1, x2, n2, (pd_risk_kind)(_i % 2), 0.95);
		double none = _i % 2 ? 1 : 0;

		ck_assert(r.low <= r.high);
		if (!isnan(r.value))
			ck_assert(r.low <= r.value && r.value <= r.high);
		if (r.p > 0.05)
			ck_assert_msg(r.low <= none && none <= r.high,
			              "%zu/%zu %zu/%zu: p %g, %g to %g", x1,
			              n1, x2, n2, r.p, r.low, r.high);
		if (r.p < 0.0499)
			ck_assert_msg(r.low > none || r.high < none,
			              "%zu/%zu %zu/%zu: p %g, %g to %g", x1,
			              n1, x2, n2, r.p, r.low, r.high);
	}
}
END_TEST

/* The interval covers at its level, by the sum over all tables. */
START_TEST(covers)
{
	enum { N1 = 13, N2 = 9 };
	static const double p1[] = { 0.02, 0.1, 0.3, 0.55 };
	static double low[N1 + 1][N2 + 1], high[N1 + 1][N2 + 1];
	pd_risk_kind kind = (pd_risk_kind)_i;

	for (size_t i = 0; i <= N1; i++)
		for (size_t j = 0; j <= N2; j++) {
			pd_risk r = risk(i, N1, j, N2, kind, 0.9);

			low[i][j] = r.low;
			high[i][j] = r.high;
		}
	for (int a = 0; a < ROWS(p1); a++)
		for (int b = 1; b < 20; b++) {
			double p2 = b / 20.0, in = 0;
			double truth = kind == PD_RISK_RATIO ? p1[a] / p2
			                                     : p1[a] - p2;

			for (size_t i = 0; i <= N1; i++)
				for (size_t j = 0; j <= N2; j++)
					if (low[i][j] <= truth + 1e-9 &&
					    truth <= high[i][j] + 1e-9)
						in += term(N1, i, p1[a]) *
						      term(N2, j, p2);
			ck_assert_msg(in >= 0.9, "%g and %g: covers %g", p1[a],
			              p2, in);
		}
}
END_TEST

START_TEST(no_events)
{
	pd_risk r = risk(0, 30, 0, 45, PD_RISK_RATIO, 0.95);

	ck_assert(isnan(r.value) && r.low == 0 && isinf(r.high) && r.p == 1);
	r = risk(0, 30, 0, 45, PD_RISK_DIFFERENCE, 0.95);
	ck_assert(r.value == 0 && r.low < 0 && r.high > 0 && r.p == 1);
	r = risk(4, 30, 0, 45, PD_RISK_RATIO, 0.95);
	ck_assert(isinf(r.value) && isinf(r.high) && r.low > 1);
	r = risk(0, 30, 4, 45, PD_RISK_RATIO, 0.95);
	ck_assert(r.value == 0 && r.low == 0 && r.high > 1 && r.high < 100);
	r = risk(0, 9, 9, 9, PD_RISK_DIFFERENCE, 0.95);
	ck_assert(r.value == -1 && r.low == -1 && r.high < -0.4);
}
END_TEST

START_TEST(bad_input)
{
	static const pd_two_shares bad[] = {
		{ 0, 0, 1, 5 }, { 1, 5, 0, 0 }, { 6, 5, 1, 5 }, { 1, 5, 6, 5 },
		{ 1, 2000000, 1, 5 },
	};
	pd_two_shares good = { 1, 5, 2, 6 };
	double above, below;
	pd_error err;
	pd_risk r;

	for (int k = 0; k < ROWS(bad); k++) {
		ck_assert_int_eq(pd_risk_compare(&bad[k], PD_RISK_RATIO, 0.95,
		                                 &r, &err), PD_DATA);
		ck_assert_int_eq(pd_risk_score_limits(&bad[k], PD_RISK_RATIO,
		                                      0.95, &r, &err),
		                 PD_DATA);
		ck_assert(isnan(r.low) && isnan(r.p));
	}
	ck_assert_int_eq(pd_risk_compare(&good, PD_RISK_RATIO, 1, &r, &err),
	                 PD_DATA);
	ck_assert_int_eq(pd_risk_test(&good, PD_RISK_RATIO, 0, &above, &below,
	                              &err), PD_DATA);
	ck_assert_int_eq(pd_risk_test(&good, PD_RISK_DIFFERENCE, 1, &above,
	                              &below, &err), PD_DATA);
	ck_assert(isnan(above) && isnan(below));
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("risk");
	TCase *t = tcase_create("risk");

	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, score_limits, 0, ROWS(scores));
	tcase_add_loop_test(t, exact_chances, 0, ROWS(tests));
	tcase_add_test(t, exact_limits);
	tcase_add_loop_test(t, as_listed, 0, 4);
	tcase_add_test(t, exchanged);
	tcase_add_loop_test(t, agree_with_p, 0, 4);
	tcase_add_loop_test(t, covers, 0, 2);
	tcase_add_test(t, no_events);
	tcase_add_test(t, bad_input);
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
