/*
 * check_stopped.c - p, estimate and interval after looking has ended; p that
 * may be read at every look, planned or not.
 *
 * Values marked "R" were computed with R 4.2.2 and package mvtnorm 1.1.3
 * (TVPACK, 1e-15) and a root search over the effect.
 */
#include "stats/anytime.h"
#include "stats/quantile.h"
#include "stats/sequential.h"
#include "stats/stopped.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static const double looks[] = { 7.3, 19.1, 33.7 };
static const double upper[] = { 3.1, 2.4, 2.05 };
static const double lower[] = { -3.1, -2.4, -2.05 };
static const double none[] = { -INFINITY, -INFINITY, -INFINITY };

/* ---- stage-wise --------------------------------------------------------- */

static const struct {
	const double *low;
	size_t k;
	double z, above, value, from, to; /* R */
} known[] = {
	{ none, 1, 3.4, 0.0003369292656768811, 1.258396457335929,
	  0.5329812412620419, 1.983811673409816 },
	{ none, 2, 2.6, 0.005376435513319233, 0.5921074193521255,
	  0.1391514091954879, 1.041768246788553 },
	{ none, 3, 2.2, 0.01926712483229465, 0.3695596924717065,
	  0.02011280222624739, 0.7109240169012858 },
	{ none, 3, -0.4, 0.6554361532736057, -0.06891174550061223,
	  -0.4065470568154226, 0.2687152070995215 },
	{ lower, 2, 2.6, 0.005376435511442533, 0.592107419399283,
	  0.1391514092283456, 1.04176824686248 },
	{ lower, 2, -2.5, 0.9931156886836099, -0.5697421460409294,
	  -1.019175052090525, -0.1177007780546606 },
};

START_TEST(stopped_known)
{
	pd_stopped r;

	ck_assert_int_eq(pd_stopped_estimate(looks, known[_i].low, upper,
	                 known[_i].k, known[_i].z, 0.95, &r, NULL), PD_OK);
	near("p above", r.p_above, known[_i].above, 1e-10);
	near("estimate", r.e.value, known[_i].value, 1e-9);
	near("low", r.e.low, known[_i].from, 1e-9);
	near("high", r.e.high, known[_i].to, 1e-9);
	near("p", r.e.p, 2 * fmin(r.p_above, 1 - r.p_above), 1e-14);
	near("plain", r.plain, known[_i].z / sqrt(looks[known[_i].k - 1]),
	     1e-15);
}
END_TEST

/* One look: the plain test, estimate and interval. */
START_TEST(stopped_once)
{
	for (double z = -4; z < 5; z += 0.7) {
		pd_stopped r;
		double se = 1 / sqrt(7.3), c = -pd_normal_quantile(0.05);

		ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, 1, z,
		                                     0.9, &r, NULL), PD_OK);
		ck_assert_double_eq_tol(r.e.value, z * se, 1e-12);
		ck_assert_double_eq_tol(r.e.low, (z - c) * se, 1e-12);
		ck_assert_double_eq_tol(r.e.high, (z + c) * se, 1e-12);
		near("p", r.e.p, 2 * pd_normal_upper(fabs(z)), 1e-12);
		near("se", r.e.se, se, 1e-15);
	}
}
END_TEST

/* Turned round; in another unit; interval and p agree; a higher outcome is
 * estimated higher; limits past the stop are not read. */
START_TEST(stopped_properties)
{
	double t[3], before = -INFINITY;
	pd_stopped r, o;

	for (int j = 0; j < 3; j++)
		t[j] = looks[j] / 16;
	for (double z = -4; z < 4.5; z += 0.4) {
		double odd[] = { 3.1, 2.4, -7 };

		ck_assert_int_eq(pd_stopped_estimate(looks, lower, odd, 3, z,
		                                     0.95, &r, NULL), PD_OK);
		ck_assert_int_eq(pd_stopped_estimate(t, lower, upper, 3, -z,
		                                     0.95, &o, NULL), PD_OK);
		near("mirror", o.p_above, 1 - r.p_above, 1e-9);
		ck_assert_double_eq_tol(o.e.value, -4 * r.e.value, 1e-9);
		ck_assert_double_eq_tol(o.e.low, -4 * r.e.high, 1e-9);
		ck_assert_int_eq(r.e.low > 0 || r.e.high < 0, r.e.p < 0.05);
		ck_assert_double_gt(r.e.value, before);
		ck_assert(r.e.low < r.e.value && r.e.value < r.e.high);
		before = r.e.value;
	}
	/* an early stop is higher than any later one, and the estimate is
	 * nearer to 0 than the plain one */
	ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, 1, 3.2, 0.95,
	                                     &o, NULL), PD_OK);
	ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, 2, 4.4, 0.95,
	                                     &r, NULL), PD_OK);
	ck_assert_double_lt(o.p_above, r.p_above);
	ck_assert_double_lt(r.e.value, r.plain);
}
END_TEST

/* A trial drawn step by step until it leaves. */
static pd_stopped one_trial(pd_stream *s, double theta, double level)
{
	double x = 0, before = 0, z = 0;
	pd_stopped r;
	size_t j;

	for (j = 0; j < 3; j++) {
		x += theta * (looks[j] - before) +
		     sqrt(looks[j] - before) * pd_stream_normal(s);
		before = looks[j];
		z = x / sqrt(before);
		if (z > upper[j] || z < lower[j] || j == 2)
			break;
	}
	ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, j + 1, z,
	                                     level, &r, NULL), PD_OK);
	return r;
}

/* Without an effect p above is even over 0 to 1; with one the interval holds
 * it as often as said and the estimate is above it half of the time. */
START_TEST(stopped_simulated)
{
	enum { TRIALS = 1500, CELLS = 10 };
	double cell[CELLS] = { 0 }, square = 0, held = 0, high = 0;
	double theta = 0.42, want = 0.9, error;
	pd_stream s;

	pd_stream_init(&s, 17, 2);
	for (int i = 0; i < TRIALS; i++)
		cell[(int)(CELLS * one_trial(&s, 0, 0.5).p_above)]++;
	for (int c = 0; c < CELLS; c++)
		square += pow(cell[c] - TRIALS / CELLS, 2) / (TRIALS / CELLS);
	ck_assert_double_lt(square, 9 + 4.5 * sqrt(18));
	for (int i = 0; i < TRIALS; i++) {
		pd_stopped r = one_trial(&s, theta, want);

		held += r.e.low <= theta && theta <= r.e.high;
		high += r.e.value > theta;
	}
	error = 4 / sqrt(TRIALS);
	ck_assert_double_eq_tol(held / TRIALS, want,
	                        error * sqrt(want * (1 - want)));
	ck_assert_double_eq_tol(high / TRIALS, 0.5, 0.5 * error);
}
END_TEST

START_TEST(stopped_refuses)
{
	static const double back[] = { 5, 4 }, crossed[] = { 3.5, 0, 0 };
	pd_error err = { 0 };
	pd_stopped r;

	ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, 3, NAN, 0.9,
	                                     &r, &err), PD_DATA);
	ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, 3, 301, 0.9,
	                                     &r, &err), PD_DATA);
	ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, 3, 1, 1, &r,
	                                     &err), PD_DATA);
	ck_assert_int_eq(pd_stopped_estimate(looks, lower, upper, 0, 1, 0.9,
	                                     &r, &err), PD_REFUSED);
	ck_assert_int_eq(pd_stopped_estimate(back, lower, upper, 2, 1, 0.9, &r,
	                                     &err), PD_DATA);
	ck_assert_int_eq(pd_stopped_estimate(looks, crossed, upper, 2, 1, 0.9,
	                                     &r, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "look 1: lower limit"));
}
END_TEST

/* ---- p at every look ---------------------------------------------------- */

static const pd_spending_plan plans[] = {
	{ PD_SPEND_OBRIEN_FLEMING, 0, 0.025, 2 },
	{ PD_SPEND_POCOCK, 0, 0.025, 2 },
	{ PD_SPEND_POWER, 2.3, 0.05, 1 },
};

/* At the boundary itself p is the overall error; beyond it less; with a single
 * look it is the plain p. */
START_TEST(repeated_p_known)
{
	const pd_spending_plan *plan = &plans[_i];
	double z[3], p, before = 1, overall = plan->alpha * plan->sides;

	ck_assert_int_eq(pd_sequential_bounds(plan, looks, 3, 40, 0, z, NULL),
	                 PD_OK);
	for (size_t k = 1; k <= 3; k++) {
		ck_assert_int_eq(pd_repeated_p(plan, looks, k, 40, 0, z[k - 1],
		                               &p, NULL), PD_OK);
		near("at the boundary", p, overall, 1e-8);
	}
	for (double at = 0.5; at < 5; at += 0.3) {
		ck_assert_int_eq(pd_repeated_p(plan, looks, 3, 40, 1, at, &p,
		                               NULL), PD_OK);
		ck_assert_double_le(p, before);
		before = p;
	}
	ck_assert_double_lt(p, 1e-4);
	ck_assert_int_eq(pd_repeated_p(plan, looks, 1, 7.3, 0, 2.2, &p, NULL),
	                 PD_OK);
	near("one look", p, plan->sides * pd_normal_upper(2.2), 1e-9);
	ck_assert_int_eq(pd_repeated_p(plan, looks, 3, 40, 0, 0, &p, NULL),
	                 PD_OK);
	near("nothing", p, 1, 1e-6);
	if (plan->sides == 2) {
		double q;

		ck_assert_int_eq(pd_repeated_p(plan, looks, 3, 40, 0, 1.9, &p,
		                               NULL), PD_OK);
		ck_assert_int_eq(pd_repeated_p(plan, looks, 3, 40, 0, -1.9, &q,
		                               NULL), PD_OK);
		near("sign", q, p, 1e-12);
	}
}
END_TEST

START_TEST(repeated_p_refuses)
{
	pd_spending_plan bad = { PD_SPEND_POWER, -1, 0.025, 2 };
	pd_error err = { 0 };
	double p;

	ck_assert_int_eq(pd_repeated_p(&bad, looks, 3, 40, 0, 2, &p, &err),
	                 PD_DATA);
	ck_assert_int_eq(pd_repeated_p(&plans[0], looks, 3, 40, 0, NAN, &p,
	                               &err), PD_DATA);
	ck_assert_int_eq(pd_repeated_p(&plans[0], looks, 0, 40, 0, 2, &p,
	                               &err), PD_REFUSED);
	ck_assert_int_eq(pd_repeated_p(&plans[0], looks, 3, 15, 0, 2, &p,
	                               &err), PD_DATA);
	ck_assert_int_eq(pd_repeated_p(&plans[0], looks, 3, 0, 0, 2, &p, &err),
	                 PD_DATA);
}
END_TEST

/* The last look past the plan, short of it, or unplanned: all that is left is
 * spent, neither more nor less. */
START_TEST(information_off_plan)
{
	static const double planned[] = { 20, 33.7, 400 };

	for (int i = 0; i < ROWS(planned); i++) {
		double z[3], low[3], above[3], sum = 0;

		ck_assert_int_eq(pd_sequential_bounds(&plans[0], looks, 3,
		                 planned[i], planned[i] > 33.7, z, NULL),
		                 PD_OK);
		for (int j = 0; j < 3; j++)
			low[j] = -z[j];
		ck_assert_int_eq(pd_sequential_chances(looks, low, z, 3, 0,
		                                       above, NULL, NULL),
		                 PD_OK);
		for (int j = 0; j < 3; j++)
			sum += above[j];
		near("spent", sum, 0.025, 1e-9);
	}
}
END_TEST

/* ---- at any time -------------------------------------------------------- */

/* p and interval are two sides of one: at level 1 - p the interval ends at 0;
 * p falls with z; nothing seen is no evidence. */
START_TEST(anytime_p)
{
	for (double v = 0.1; v < 1e5; v *= 3.3)
		for (double r = 0.2; r < 1e3; r *= 4.1)
			for (double z = -8; z < 8.1; z += 1.6) {
				double se = 1 / sqrt(v);
				double p = pd_anytime_p(z * se, 0, se, r);
				pd_estimate e;

				ck_assert(p > 0 && p <= 1);
				ck_assert_double_ge(p, fmin(1, 2 *
				    pd_normal_upper(fabs(z))));
				if (p == 1)
					continue;
				e = pd_anytime_interval(z * se, se, r, 1 - p);
				if (p > 1e-8)
					ck_assert_double_eq_tol(
					    z > 0 ? e.low : e.high, 0,
					    1e-6 * se);
				near("p of the interval", e.p, p, 1e-14);
				near("shift", pd_anytime_p(z * se + 3, 3, se,
				     r), p, 1e-9);
			}
	ck_assert_double_eq(pd_anytime_p(0, 0, 0.1, 5), 1);
	ck_assert_double_nan(pd_anytime_p(1, 0, 0, 5));
	ck_assert_double_nan(pd_anytime_p(1, 0, 0.1, 0));
	ck_assert_double_nan(pd_anytime_p(NAN, 0, 0.1, 5));
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("stopped");
	TCase *t = tcase_create("looks");

	tcase_set_timeout(t, 240);
	tcase_add_loop_test(t, stopped_known, 0, ROWS(known));
	tcase_add_test(t, stopped_once);
	tcase_add_test(t, stopped_properties);
	tcase_add_test(t, stopped_simulated);
	tcase_add_test(t, stopped_refuses);
	tcase_add_loop_test(t, repeated_p_known, 0, ROWS(plans));
	tcase_add_test(t, repeated_p_refuses);
	tcase_add_test(t, information_off_plan);
	tcase_add_test(t, anytime_p);
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
