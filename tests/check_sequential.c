/*
 * check_sequential.c - looks at growing data: boundaries, chances, and the
 * interval that may be read at any time.
 *
 * Known answers marked "R" were computed with R 4.2.2 and package mvtnorm
 * (three-dimensional normal integrals to 1e-14 one-sided, 1e-8 two-sided).
 * Classical constants: Jennison & Turnbull (2000), Group Sequential Methods
 * with Applications to Clinical Trials, tables 2.1 and 2.3, from memory.
 */
#include "stats/anytime.h"
#include "stats/quantile.h"
#include "stats/sequential.h"
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

static const pd_spending_plan plans[] = {
	{ PD_SPEND_OBRIEN_FLEMING, 0, 0.025, 2 },
	{ PD_SPEND_POCOCK, 0, 0.025, 2 },
	{ PD_SPEND_POWER, 1, 0.025, 2 },
	{ PD_SPEND_POWER, 2.3, 0.05, 1 },
	{ PD_SPEND_OBRIEN_FLEMING, 0, 0.05, 1 },
	{ PD_SPEND_POCOCK, 0, 0.01, 1 },
};

/* Unequal information, in a unit of its own. */
static const double uneven[] = { 7.3, 11.9, 12.6, 25, 26.1, 40.2, 55, 55.9,
                                 71, 90.3, 91.4, 117 };

static void lower_limits(const pd_spending_plan *p, const double *z, size_t k,
                         double *low)
{
	for (size_t j = 0; j < k; j++)
		low[j] = p->sides == 2 ? -z[j] : -INFINITY;
}

/* ---- chances ---------------------------------------------------------- */

static const double looks[] = { 0.21, 0.55, 1 }, limits[] = { 3.1, 2.4, 2.05 };

static const struct {
	double drift;
	int sides;
	double out[3], tolerance; /* R: leaving at each look, either way */
} chances[] = {
	{ 0, 1, { 0.000967603213218315, 0.007861681337373638,
	          0.016133132868319189 }, 1e-11 },
	{ 2.7, 1, { 0.0312519218224256, 0.3176649386394275,
	            0.4034907458413720 }, 1e-12 },
	{ 0, 2, { 0.001935206426437, 0.015723362657689, 0.032266209211359 },
	  1e-7 },
	{ 2.7, 2, { 0.03125913415634, 0.31767012643826, 0.40349122367734 },
	  1e-7 },
};

START_TEST(chances_known)
{
	static const double none[] = { -INFINITY, -INFINITY, -INFINITY };
	double low[3], above[3], below[3];

	for (int j = 0; j < 3; j++)
		low[j] = -limits[j];
	ck_assert_int_eq(pd_sequential_chances(looks,
	                 chances[_i].sides == 2 ? low : none, limits, 3,
	                 chances[_i].drift, above, below, NULL), PD_OK);
	for (int j = 0; j < 3; j++)
		near("leaving", above[j] + below[j], chances[_i].out[j],
		     chances[_i].tolerance);
}
END_TEST

/* Turned round; in another unit; a limit that nothing meets changes nothing. */
START_TEST(chances_properties)
{
	double low[12], high[12], turned[12], above[12], below[12], other[12];
	double back[12], t[12];

	for (int j = 0; j < 12; j++) {
		high[j] = 2.2 + 0.05 * j;
		low[j] = -1.4 - 0.1 * j;
		turned[j] = -low[j];
		back[j] = -high[j];
		t[j] = 0.013 * uneven[j];
	}
	ck_assert_int_eq(pd_sequential_chances(uneven, low, high, 12, 1.7,
	                 above, below, NULL), PD_OK);
	ck_assert_int_eq(pd_sequential_chances(t, back, turned, 12, -1.7,
	                 NULL, other, NULL), PD_OK);
	for (int j = 0; j < 12; j++)
		near("mirror and unit", other[j], above[j], 1e-12);
	double sum = 0;

	for (int j = 0; j < 12; j++)
		sum += above[j] + below[j];
	ck_assert_double_gt(sum, 0.3);
	ck_assert_double_le(sum, 1);
	high[3] = low[3] = 0;
	ck_assert_int_eq(pd_sequential_chances(uneven, low, high, 12, 0, above,
	                 below, NULL), PD_DATA);
	/* deciding at the last look: everything leaves */
	for (int j = 0; j < 12; j++) {
		high[j] = 3;
		low[j] = -1 + 0.1 * j;
	}
	high[11] = low[11] = 1.9;
	ck_assert_int_eq(pd_sequential_chances(uneven, low, high, 12, 1.1,
	                 above, below, NULL), PD_OK);
	sum = 0;
	for (int j = 0; j < 12; j++)
		sum += above[j] + below[j];
	near("all decided", sum, 1, 1e-10);
}
END_TEST

/* ---- boundaries ------------------------------------------------------- */

/* The error spent at each look is what the plan says. */
START_TEST(bounds_spend)
{
	const pd_spending_plan *p = &plans[_i];
	double z[12], low[12], above[12], t0 = 0;

	ck_assert_int_eq(pd_sequential_bounds(p, uneven, 12, uneven[11], 0, z,
	                                      NULL), PD_OK);
	lower_limits(p, z, 12, low);
	ck_assert_int_eq(pd_sequential_chances(uneven, low, z, 12, 0, above,
	                                       NULL, NULL), PD_OK);
	for (int j = 0; j < 12; j++) {
		double spent = pd_spent(p, uneven[j] / uneven[11]);

		ck_assert_double_eq_tol(above[j], spent - t0, 1e-10);
		t0 = spent;
	}
	near("all", t0, p->alpha, 1e-15);
}
END_TEST

/* Later looks and units change nothing; one look is the fixed test; a look
 * past the plan or called the last spends the rest. */
START_TEST(bounds_properties)
{
	const pd_spending_plan *p = &plans[_i];
	double z[12], part[12], t[12];

	ck_assert_int_eq(pd_sequential_bounds(p, uneven, 12, uneven[11], 0, z,
	                                      NULL), PD_OK);
	for (int j = 0; j < 12; j++)
		t[j] = uneven[j] / 3.7;
	ck_assert_int_eq(pd_sequential_bounds(p, t, 7, uneven[11] / 3.7, 0,
	                                      part, NULL), PD_OK);
	for (int j = 0; j < 7; j++)
		near("part", part[j], z[j], 1e-10);
	ck_assert_int_eq(pd_sequential_bounds(p, uneven, 1, 200, 1, part,
	                                      NULL), PD_OK);
	near("one look", part[0], -pd_normal_quantile(p->alpha), 1e-12);
	ck_assert_int_eq(pd_sequential_bounds(p, uneven, 5, 200, 1, part,
	                                      NULL), PD_OK);
	ck_assert_int_eq(pd_sequential_bounds(p, uneven, 5, 20, 0, z, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_sequential_bounds(p, uneven, 4, 20, 0, z, NULL),
	                 PD_OK);
	double low[12], above[12], sum = 0;

	for (int which = 0; which < 2; which++) {
		size_t k = which ? 4 : 5;
		const double *b = which ? z : part;

		lower_limits(p, b, k, low);
		ck_assert_int_eq(pd_sequential_chances(uneven, low, b, k, 0,
		                                       above, NULL, NULL),
		                 PD_OK);
		sum = 0;
		for (size_t j = 0; j < k; j++)
			sum += above[j];
		near("rest", sum, p->alpha, 1e-9);
	}
}
END_TEST

/* Early looks with next to nothing to spend; many looks; close looks. */
START_TEST(bounds_extreme)
{
	static const double early[] = { 0.002, 0.01, 0.05, 0.0501, 1 };
	double z[200], t[200], low[200], above[200], sum = 0;

	ck_assert_int_eq(pd_sequential_bounds(&plans[0], early, 5, 1, 1, z,
	                                      NULL), PD_OK);
	ck_assert(isinf(z[0]) && isinf(z[1]) && z[2] > 9 && z[3] > 9);
	/* nothing was spent before: the last look is the fixed test */
	near("last", z[4], -pd_normal_quantile(0.025), 1e-9);
	for (int j = 0; j < 200; j++)
		t[j] = j + 1;
	ck_assert_int_eq(pd_sequential_bounds(&plans[1], t, 200, 200, 0, z,
	                                      NULL), PD_OK);
	lower_limits(&plans[1], z, 200, low);
	ck_assert_int_eq(pd_sequential_chances(t, low, z, 200, 0, above, NULL,
	                                       NULL), PD_OK);
	for (int j = 0; j < 200; j++)
		sum += above[j];
	near("200 looks", sum, 0.025, 1e-8);
}
END_TEST

START_TEST(spending)
{
	for (int i = 0; i < ROWS(plans); i++) {
		double before = 0;

		ck_assert_double_eq(pd_spent(&plans[i], 0), 0);
		ck_assert_double_eq(pd_spent(&plans[i], -1), 0);
		ck_assert_double_eq(pd_spent(&plans[i], 1.3), plans[i].alpha);
		for (double t = 0.01; t < 1; t += 0.01) {
			double s = pd_spent(&plans[i], t);

			ck_assert_double_ge(s, before);
			before = s;
		}
		near("full", pd_spent(&plans[i], 1 - 1e-12), plans[i].alpha,
		     1e-10);
	}
	ck_assert_double_nan(pd_spent(&plans[0], NAN));
	ck_assert_double_nan(pd_spent(&(pd_spending_plan){
	    PD_SPEND_POWER, 0, 0.025, 2 }, 0.5));
}
END_TEST

/* ---- classical -------------------------------------------------------- */

static const struct {
	size_t k;
	double shape, c; /* alpha 0.05; three printed decimals */
} classical[] = {
	{ 1, 0.5, 1.960 }, { 1, 0, 1.960 }, { 4, 0.5, 2.361 },
	{ 4, 0, 2.024 }, { 10, 0.5, 2.555 }, { 10, 0, 2.087 },
	{ 20, 0.5, 2.672 }, { 20, 0, 2.126 },
};

START_TEST(classical_known)
{
	double t[20], c;

	for (int j = 0; j < 20; j++)
		t[j] = 2.5 * (j + 1);
	ck_assert_int_eq(pd_classical_constant(t, classical[_i].k,
	                 classical[_i].shape, 0.05, &c, NULL), PD_OK);
	ck_assert_double_eq_tol(c, classical[_i].c, 0.00051);
}
END_TEST

/* ---- drift and intervals ---------------------------------------------- */

START_TEST(drift_gives_power)
{
	double z[12], low[12], above[12], drift, sum = 0;
	const pd_spending_plan *p = &plans[_i];

	ck_assert_int_eq(pd_sequential_bounds(p, uneven, 12, uneven[11], 0, z,
	                                      NULL), PD_OK);
	lower_limits(p, z, 12, low);
	ck_assert_int_eq(pd_sequential_drift(uneven, low, z, 12, 0.83, &drift,
	                                     NULL), PD_OK);
	ck_assert_int_eq(pd_sequential_chances(uneven, low, z, 12, drift,
	                                       above, NULL, NULL), PD_OK);
	for (int j = 0; j < 12; j++)
		sum += above[j];
	near("power", sum, 0.83, 1e-10);
	/* looking costs information */
	ck_assert_double_gt(drift, pd_normal_quantile(0.83) -
	                           pd_normal_quantile(p->alpha));
	ck_assert_int_eq(pd_sequential_drift(uneven, low, z, 12, 0.001, &drift,
	                                     NULL), PD_REFUSED);
	ck_assert_int_eq(pd_sequential_drift(uneven, low, z, 12, 1, &drift,
	                                     NULL), PD_REFUSED);
}
END_TEST

/*
 * False alarms, and intervals that ever miss, among 100,000 trials drawn step
 * by step: 4, 8 and 12 looks at unequal information.
 */
START_TEST(overall_error)
{
	enum { TRIALS = 100000 };
	static const size_t n_looks[] = { 4, 8, 12 };
	const pd_spending_plan *p = &plans[_i];

	for (int m = 0; m < ROWS(n_looks); m++) {
		size_t k = n_looks[m];
		const double *t = uneven + 12 - k;
		double z[12], alarms = 0, missed = 0;
		double want = p->alpha * p->sides;
		pd_stream s;

		pd_stream_init(&s, 5, (uint64_t)(10 * _i + m));
		ck_assert_int_eq(pd_sequential_bounds(p, t, k, t[k - 1], 0, z,
		                                      NULL), PD_OK);
		for (int i = 0; i < TRIALS; i++) {
			double x = 0, before = 0, theta = 0.21;
			int alarm = 0, miss = 0;

			for (size_t j = 0; j < k; j++) {
				x += sqrt(t[j] - before) * pd_stream_normal(&s);
				before = t[j];
				double at = x / sqrt(before);
				pd_estimate e = pd_repeated_interval(
				    theta + x / before, 1 / sqrt(before), z[j],
				    1 - 2 * p->alpha);

				alarm |= at > z[j] ||
				         (p->sides == 2 && at < -z[j]);
				miss |= e.low > theta ||
				        (p->sides == 2 && e.high < theta);
			}
			alarms += alarm;
			missed += miss;
		}
		ck_assert_double_eq_tol(alarms / TRIALS, want,
		                        4 * sqrt(want * (1 - want) / TRIALS));
		ck_assert_double_eq_tol(missed, alarms, 1);
	}
}
END_TEST

START_TEST(interval_outside)
{
	pd_estimate e = pd_repeated_interval(0.3, 0.2, 2.5, 0.95);

	near("low", e.low, -0.2, 1e-14);
	near("high", e.high, 0.8, 1e-14);
	ck_assert_double_nan(e.p);
	ck_assert_double_nan(pd_repeated_interval(0.3, 0, 2.5, 0.95).low);
	ck_assert_double_nan(pd_repeated_interval(0.3, 0.2, 0, 0.95).high);
	e = pd_repeated_interval(0.3, 0.2, INFINITY, 0.95);
	ck_assert(isinf(e.low) && isinf(e.high));
}
END_TEST

static const struct {
	const char *words;
	double t[3];
	size_t k;
	pd_status status;
} refused[] = {
	{ "look 2: information must be above", { 0.5, 0.5, 1 }, 3, PD_DATA },
	{ "look 1: information must be above", { 0, 0.5, 1 }, 3, PD_DATA },
	{ "look 3: information must be above", { 0.2, 0.5, NAN }, 3, PD_DATA },
	{ "look 2 adds less", { 0.5, 0.500001, 1 }, 3, PD_REFUSED },
	{ "1 to 200 looks", { 0.5, 0.6, 1 }, 0, PD_REFUSED },
	{ "1 to 200 looks", { 0.5, 0.6, 1 }, 201, PD_REFUSED },
};

START_TEST(looks_refused)
{
	double z[3], low[] = { -3, -3, -3 }, high[] = { 3, 3, 3 }, c;
	const double *t = refused[_i].t;
	size_t k = refused[_i].k;
	pd_error err[4];

	ck_assert_int_eq(pd_sequential_bounds(&plans[0], t, k, 1, 0, z,
	                                      &err[0]), refused[_i].status);
	ck_assert_int_eq(pd_sequential_chances(t, low, high, k, 0, NULL, NULL,
	                                       &err[1]), refused[_i].status);
	ck_assert_int_eq(pd_sequential_drift(t, low, high, k, 0.8, &c, &err[2]),
	                 refused[_i].status);
	ck_assert_int_eq(pd_classical_constant(t, k, 0, 0.05, &c, &err[3]),
	                 refused[_i].status);
	for (int i = 0; i < 4; i++)
		ck_assert_ptr_nonnull(strstr(err[i].text, refused[_i].words));
}
END_TEST

START_TEST(plans_refused)
{
	static const pd_spending_plan bad[] = {
		{ PD_SPEND_POCOCK, 0, 0, 2 },
		{ PD_SPEND_POCOCK, 0, 0.5, 2 },
		{ PD_SPEND_POCOCK, 0, 0.025, 3 },
		{ PD_SPEND_POWER, 0, 0.025, 2 },
		{ PD_SPEND_POWER, INFINITY, 0.025, 2 },
		{ (pd_spending)9, 1, 0.025, 2 },
	};
	double z[3], c;

	for (int i = 0; i < ROWS(bad); i++)
		ck_assert_int_eq(pd_sequential_bounds(&bad[i], looks, 3, 1, 0,
		                                      z, NULL), PD_DATA);
	ck_assert_int_eq(pd_sequential_bounds(&plans[0], looks, 3, 0, 0, z,
	                                      NULL), PD_DATA);
	ck_assert_int_eq(pd_sequential_chances(looks, limits, limits, 3, 0, z,
	                                       NULL, NULL), PD_DATA);
	ck_assert_int_eq(pd_sequential_chances(looks, limits, limits, 3, NAN,
	                                       z, NULL, NULL), PD_DATA);
	ck_assert_int_eq(pd_classical_constant(looks, 3, 2, 0.05, &c, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_classical_constant(looks, 3, 0, 1, &c, NULL),
	                 PD_DATA);
}
END_TEST

/* ---- at any time ------------------------------------------------------ */

/* The tuning is the best one; the half-width is wider than any single look's;
 * watched at 400 moments over four decades of information it misses less often
 * than alpha, but not by much. */
START_TEST(at_any_time)
{
	enum { TRIALS = 20000, MOMENTS = 400 };
	double alpha = 0.05, r = pd_anytime_tuning(50, alpha), missed = 0;
	double best = pd_anytime_width(50, r, alpha), y = 50 / r;
	pd_stream s;

	near("root", y - log1p(y), -2 * log(alpha), 1e-13);
	ck_assert_double_lt(best, pd_anytime_width(50, 1.02 * r, alpha));
	ck_assert_double_lt(best, pd_anytime_width(50, r / 1.02, alpha));
	ck_assert_double_gt(best, 1.96);
	pd_stream_init(&s, 8, 1);
	for (int i = 0; i < TRIALS; i++) {
		double x = 0, v = 0, to = 0.05;
		int miss = 0;

		for (int j = 0; j < MOMENTS; j++, to *= 1.0233) {
			x += sqrt(to - v) * pd_stream_normal(&s);
			v = to;
			pd_estimate e = pd_anytime_interval(0.4 + x / v,
			    1 / sqrt(v), r, 1 - alpha);

			miss |= e.low > 0.4 || e.high < 0.4;
		}
		missed += miss;
	}
	ck_assert_double_le(missed / TRIALS, 0.05);
	ck_assert_double_ge(missed / TRIALS, 0.02);
	ck_assert_double_nan(pd_anytime_width(0, 1, 0.05));
	ck_assert_double_nan(pd_anytime_width(1, 0, 0.05));
	ck_assert_double_nan(pd_anytime_width(1, 1, 1));
	ck_assert_double_nan(pd_anytime_tuning(-1, 0.05));
	ck_assert_double_nan(pd_anytime_interval(1, 0, 1, 0.95).low);
	/* alpha over the whole range: the root is always found */
	for (double a = 1e-300; a < 0.9999; a = a < 1e-3 ? 10 * a : a + 0.003) {
		y = 1 / pd_anytime_tuning(1, a);
		near("sweep", y - log1p(y), -2 * log(a), 1e-9);
	}
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("sequential");
	TCase *t = tcase_create("looks");

	tcase_set_timeout(t, 240);
	tcase_add_loop_test(t, chances_known, 0, ROWS(chances));
	tcase_add_test(t, chances_properties);
	tcase_add_loop_test(t, bounds_spend, 0, ROWS(plans));
	tcase_add_loop_test(t, bounds_properties, 0, ROWS(plans));
	tcase_add_test(t, bounds_extreme);
	tcase_add_test(t, spending);
	tcase_add_loop_test(t, classical_known, 0, ROWS(classical));
	tcase_add_loop_test(t, drift_gives_power, 0, ROWS(plans));
	tcase_add_loop_test(t, overall_error, 0, ROWS(plans));
	tcase_add_test(t, interval_outside);
	tcase_add_loop_test(t, looks_refused, 0, ROWS(refused));
	tcase_add_test(t, plans_refused);
	tcase_add_test(t, at_any_time);
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
