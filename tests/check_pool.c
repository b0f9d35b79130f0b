/*
 * check_pool.c - pools of studies and regressions on them.
 *
 * Known answers: metafor 3.8-1 under R 4.2.2 ("metafor"; it stops its search
 * for REML and ML early, hence four digits there), closed forms for equal
 * variances, and a walk over the likelihood.
 */
#include "stats/pool.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)
enum { N = 6, WAYS = PD_POOL_WEIGHTED + 1 };

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static const double y[N] = { 0.31, -0.12, 0.57, 0.08, 0.94, 0.23 };
static const double v[N] = { 0.041, 0.083, 0.029, 0.112, 0.067, 0.019 };

/* ---- known answers ---------------------------------------------------- */

/* metafor 3.8-1: rma(y, v), and its Knapp-Hartung test at the same tau2. */
static const struct {
	const char *name;
	pd_pool_way way;
	double tau2, mu, se, low, high, knapp_low, knapp_high, knapp_p, i2, h2;
	double tolerance;
} pools[] = {
	{ "common", PD_POOL_COMMON, 0, 0.356969919256, 0.0823647454238,
	  0.19553798463, 0.518401853883, 0.0434078722091, 0.670531966303,
	  0.032767835681, 0, 1, 1e-10 },
	{ "moments", PD_POOL_MOMENTS, 0.0525803252651, 0.357145694236,
	  0.13048946558, 0.101391041337, 0.612900347134, -0.00387223951215,
	  0.718163627983, 0.0517039707144, 54.406954011, 2.1933169375, 1e-9 },
	{ "REML", PD_POOL_REML, 0.055463483467, 0.356834969052, 0.132459364262,
	  0.0972193856845, 0.61645055242, -0.00523111636423, 0.718901054469,
	  0.0523100359873, 55.7277366229, 2.25875056688, 1e-4 },
	{ "ML", PD_POOL_ML, 0.0303609763742, 0.359475302712, 0.113787003306,
	  0.136456874323, 0.5824937311, 0.00948630711336, 0.70946429831,
	  0.0459620039647, 40.7949843381, 1.68904608642, 1e-4 },
	{ "matched", PD_POOL_MATCHED, 0.0713349400838, 0.355196610421,
	  0.142709812832, 0.075490517029, 0.634902703812, -0.011650642213,
	  0.722043863054, 0.0552325261446, 61.81683478, 2.61895522343, 1e-7 },
	{ "unweighted", PD_POOL_UNWEIGHTED, 0.08249, 0.354139628422,
	  0.149413335265, 0.0612948724927, 0.646984384352, -0.0153129704706,
	  0.723592227315, 0.0569455480598, 65.1825214822, 2.87212067781, 1e-9 },
	{ "two step", PD_POOL_TWO_STEP, 0.0881700349998, 0.353633675553,
	  0.15269445499, 0.0543580431341, 0.652909307971, -0.0169676222653,
	  0.72423497337, 0.0577308652028, 66.6781046238, 3.0010297695, 1e-9 },
	{ "weighted", PD_POOL_WEIGHTED, 0.0336930685914, 0.359158592275,
	  0.116498947796, 0.130824850357, 0.587492334193, 0.00708202352788,
	  0.711235161022, 0.0469678815647, 43.3321274081, 1.76466832839, 1e-9 },
};

START_TEST(known_pools)
{
	double t = pools[_i].tolerance;
	pd_pool p;

	ck_assert_int_eq(pd_pool_fit(y, v, N, pools[_i].way, 0.95, &p, NULL),
	                 PD_OK);
	near("tau2", p.spread.tau2, pools[_i].tau2, t);
	near("mu", p.normal.value, pools[_i].mu, t);
	near("se", p.normal.se, pools[_i].se, t);
	near("low", p.normal.low, pools[_i].low, t);
	near("high", p.normal.high, pools[_i].high, t);
	near("knapp low", p.knapp.low, pools[_i].knapp_low, 10 * t);
	near("knapp high", p.knapp.high, pools[_i].knapp_high, t);
	near("knapp p", p.knapp.p, pools[_i].knapp_p, t);
	near("i2", p.spread.i2, pools[_i].i2, t);
	near("h2", p.spread.h2, pools[_i].h2, t);
	near("q", p.spread.q, 10.9665846875121584, 1e-13);
	near("q p", p.spread.q_p, 0.0520465506864105, 1e-12);
	ck_assert_double_eq(p.knapp.df, N - 1);
	ck_assert(isinf(p.normal.df));
}
END_TEST

/* metafor 3.8-1, its log likelihood under ML and its limits of tau2. */
START_TEST(likelihood_and_limits)
{
	double low, high;
	pd_pool p;

	ck_assert_int_eq(pd_pool_fit(y, v, N, PD_POOL_ML, 0.95, &p, NULL),
	                 PD_OK);
	near("loglik", p.spread.loglik, -1.62864444378787, 1e-9);
	ck_assert_int_eq(pd_pool_spread_limits(y, v, N, 0.95, &low, &high,
	                                       NULL), PD_OK);
	ck_assert_double_eq(low, 0);
	near("high", high, 0.776331184199316, 1e-10);
}
END_TEST

/* metafor 3.8-1: three columns; y three times and v half of the above on two
 * (tau2, coefficients, QE, QM, I2). */
static const struct {
	const char *name;
	pd_pool_way way;
	size_t p;
	double tau2, beta[3], se[3], q, q_model, i2, knapp_low, tolerance;
} lines[] = {
	{ "REML", PD_POOL_REML, 3, 0.0820051876766,
	  { 0.512457515043, -0.102173549345, 0.175063752791 },
	  { 0.406864673323, 0.124228243695, 0.318786254247 }, 6.92990901033,
	  1.47890663321, 58.9796477212, -0.81698700079, 1e-4 },
	{ "moments", PD_POOL_MOMENTS, 3, 0.0747136199402,
	  { 0.51028650119, -0.1008762926, 0.175059457367 },
	  { 0.395103450484, 0.120400823108, 0.310224340422 }, 6.92990901033,
	  1.55741609256, 56.7093883119, -0.813078698451, 1e-9 },
	{ "matched", PD_POOL_MATCHED, 3, 0.0901871446463,
	  { 0.514655392042, -0.103485810214, 0.175072962048 },
	  { 0.419656187329, 0.128380881218, 0.328103432336 }, 6.92990901033,
	  1.40027200212, 61.2593837522, -0.820877890814, 1e-7 },
	{ "unweighted", PD_POOL_UNWEIGHTED, 3, 0.0952662966086,
	  { 0.515909003871, -0.104233836005, 0.175080342692 },
	  { 0.42739800613, 0.130889593229, 0.333745268147 }, 6.92990901033,
	  1.35575816359, 62.5513620527, -0.823067607088, 1e-9 },
	{ "two step", PD_POOL_TWO_STEP, 3, 0.10028953914,
	  { 0.517074432228, -0.104928956938, 0.175088558586 },
	  { 0.434914907749, 0.133322385062, 0.339225277862 }, 6.92990901033,
	  1.31457308202, 63.7470690192, -0.825084086223, 1e-9 },
	{ "weighted", PD_POOL_WEIGHTED, 3, 0.00630845742901,
	  { 0.4690769961, -0.0759761667134, 0.176165291551 },
	  { 0.258231879024, 0.0745239089257, 0.210626504132 }, 6.92990901033,
	  3.45394145462, 9.95919028248, -0.726265614493, 1e-9 },
	{ "ML on two", PD_POOL_ML, 2, 0.741341250236,
	  { 2.06060270015, -0.434935594682, 0 },
	  { 0.804496539739, 0.29874931028, 0 }, 139.043564873, 2.11951297757,
	  96.4453977509, -0.684767663184, 1e-4 },
	{ "moments on two", PD_POOL_MOMENTS, 2, 0.922447315979,
	  { 2.06264511253, -0.436131234047, 0 },
	  { 0.895388786619, 0.332476043503, 0 }, 139.043564873, 1.72073370301,
	  97.1232037933, -0.688578793905, 1e-9 },
};

static const double x1[N] = { 1.2, 3.4, 0.7, 2.9, 2.2, 4.1 };
static const double x2[N] = { 0, 1, 1, 0, 1, 0 };

START_TEST(known_lines)
{
	size_t p = lines[_i].p;
	double x[3 * N], a[N], w[N], q_model, t = lines[_i].tolerance;
	pd_estimate e[3], k[3];
	pd_spread s;

	for (size_t i = 0; i < N; i++) {
		a[i] = p == 3 ? y[i] : 3 * y[i];
		w[i] = p == 3 ? v[i] : v[i] / 2;
		x[p * i] = 1;
		x[p * i + 1] = x1[i];
		if (p == 3)
			x[p * i + 2] = x2[i];
	}
	ck_assert_int_eq(pd_pool_regress(a, w, x, N, p, lines[_i].way, 0.95, e,
	                                 k, &q_model, &s, NULL), PD_OK);
	near("tau2", s.tau2, lines[_i].tau2, t);
	for (size_t j = 0; j < p; j++) {
		near("beta", e[j].value, lines[_i].beta[j], t);
		near("se", e[j].se, lines[_i].se[j], t);
	}
	near("q", s.q, lines[_i].q, 1e-10);
	near("q model", q_model, lines[_i].q_model, 2 * t);
	near("i2", s.i2, lines[_i].i2, t);
	near("knapp low", k[0].low, lines[_i].knapp_low, t);
}
END_TEST

/* ---- properties ------------------------------------------------------- */

/* Equal variances: the mean, and tau2 = s^2 - v (ML: with n below). */
START_TEST(equal_variances)
{
	double w[N], mean = 0, square = 0;
	pd_pool p;

	for (size_t i = 0; i < N; i++) {
		w[i] = 0.037;
		mean += y[i] / N;
	}
	for (size_t i = 0; i < N; i++)
		square += (y[i] - mean) * (y[i] - mean);
	for (int way = 0; way < WAYS; way++) {
		double df = way == PD_POOL_ML || way == PD_POOL_WEIGHTED ? N
		                                                          : N - 1;
		double tau2 = way == PD_POOL_COMMON ? 0 : square / df - 0.037;

		if (way == PD_POOL_TWO_STEP) {
			double t0 = square / N;

			tau2 = t0 * square / (t0 + 0.037) / (N - 1);
		}
		ck_assert_int_eq(pd_pool_fit(y, w, N, (pd_pool_way)way, 0.9,
		                             &p, NULL), PD_OK);
		near("tau2", p.spread.tau2, tau2, 1e-10);
		near("mu", p.normal.value, mean, 1e-13);
		near("se", p.normal.se, sqrt((0.037 + tau2) / N), 1e-10);
		near("knapp se", p.knapp.se, sqrt(square / (N - 1) / N), 1e-12);
	}
}
END_TEST

/* y to c y + a, v to c^2 v, rows turned round. */
START_TEST(shift_scale_shuffle)
{
	const double a = 41.3, c = -7.9;
	double b[N], w[N];
	pd_pool p, q;

	for (size_t i = 0; i < N; i++) {
		b[i] = c * y[(i + 4) % N] + a;
		w[i] = c * c * v[(i + 4) % N];
	}
	for (int way = 0; way < WAYS; way++) {
		pd_pool_way as = (pd_pool_way)way;

		ck_assert_int_eq(pd_pool_fit(y, v, N, as, 0.95, &p, NULL),
		                 PD_OK);
		ck_assert_int_eq(pd_pool_fit(b, w, N, as, 0.95, &q, NULL),
		                 PD_OK);
		near("tau2", q.spread.tau2, c * c * p.spread.tau2, 1e-9);
		near("mu", q.normal.value, c * p.normal.value + a, 1e-10);
		near("se", q.normal.se, -c * p.normal.se, 1e-9);
		near("low", q.knapp.low, c * p.knapp.high + a, 1e-9);
		near("predict", q.predict_low, c * p.predict_high + a, 1e-9);
		near("predict", q.knapp_predict_high,
		     c * p.knapp_predict_low + a, 1e-9);
	}
}
END_TEST

/* The restricted log likelihood of tau2 = t: a common value at v + t. */
static double restricted(const double *b, const double *w, double t)
{
	double sum[N];
	pd_pool p;

	for (size_t i = 0; i < N; i++)
		sum[i] = w[i] + t;
	ck_assert_int_eq(pd_pool_fit(b, sum, N, PD_POOL_COMMON, 0.95, &p,
	                             NULL), PD_OK);
	return p.spread.loglik;
}

/* No point of a walk over tau2 lies above the one found: 300 sets, among them
 * studies of very unlike precision, where the likelihood has two summits. */
START_TEST(highest_summit)
{
	size_t inside = 0;

	for (uint64_t k = 0; k < 300; k++) {
		double b[N], w[N], best;
		pd_stream s;
		pd_pool p;

		pd_stream_init(&s, 20260309, k);
		for (size_t i = 0; i < N; i++) {
			w[i] = exp(2.5 * pd_stream_normal(&s) - 3);
			b[i] = pd_stream_normal(&s) * sqrt(w[i] + 0.1);
		}
		ck_assert_int_eq(pd_pool_fit(b, w, N, PD_POOL_REML, 0.95, &p,
		                             NULL), PD_OK);
		best = restricted(b, w, p.spread.tau2);
		near("loglik", p.spread.loglik, best, 1e-12);
		for (double t = 1e-7; t < 100; t *= 1.05)
			ck_assert_double_le(restricted(b, w, t), best + 1e-10);
		ck_assert_double_le(restricted(b, w, 0), best + 1e-10);
		inside += p.spread.tau2 > 0;
	}
	ck_assert_uint_gt(inside, 100);
	ck_assert_uint_lt(inside, 300);
}
END_TEST

/* Studies closer than chance: no way but the two-step one finds a spread. */
START_TEST(no_spread)
{
	static const double b[4] = { 0.31, 0.29, 0.33, 0.30 };
	static const double w[4] = { 0.04, 0.05, 0.06, 0.07 };
	double low, high;
	pd_pool p, same;

	ck_assert_int_eq(pd_pool_fit(b, w, 4, PD_POOL_COMMON, 0.95, &same,
	                             NULL), PD_OK);
	for (int way = 0; way < WAYS; way++) {
		if (way == PD_POOL_TWO_STEP)
			continue;
		ck_assert_int_eq(pd_pool_fit(b, w, 4, (pd_pool_way)way, 0.95,
		                             &p, NULL), PD_OK);
		ck_assert_double_eq(p.spread.tau2, 0);
		near("se", p.normal.se, same.normal.se, 1e-15);
		ck_assert_double_lt(p.spread.scale, 1);
		ck_assert_double_lt(p.knapp.se, p.normal.se);
	}
	ck_assert_int_eq(pd_pool_spread_limits(b, w, 4, 0.95, &low, &high,
	                                       NULL), PD_OK);
	ck_assert_double_eq(low, 0);
	ck_assert_double_eq(high, 0);
}
END_TEST

/* Two studies, by hand: w = 1/0.5, 1/0.25; mu = (2 0.3 + 4 1.5) / 6 = 1.1,
 * Q = 2 0.64 + 4 0.16 = 1.92, tau2 = 0.92 / (6 - 20 / 6) = 0.345. */
START_TEST(two_studies)
{
	static const double b[2] = { 0.3, 1.5 }, w[2] = { 0.5, 0.25 };
	pd_pool p;

	ck_assert_int_eq(pd_pool_fit(b, w, 2, PD_POOL_COMMON, 0.95, &p, NULL),
	                 PD_OK);
	near("mu", p.normal.value, 1.1, 1e-14);
	near("q", p.spread.q, 1.92, 1e-14);
	ck_assert_int_eq(pd_pool_fit(b, w, 2, PD_POOL_MOMENTS, 0.95, &p, NULL),
	                 PD_OK);
	near("tau2", p.spread.tau2, 0.345, 1e-14);
}
END_TEST

/* Q at the limits is the quantile of chi-square on 5 df: 12.8325 and 0.831212
 * (printed tables, from memory). */
START_TEST(limits_give_q_back)
{
	double b[N], sum[N], t[2];
	static const double want[2] = { 12.8325, 0.831212 };
	pd_pool p;

	for (size_t i = 0; i < N; i++)
		b[i] = 2 * y[i];
	ck_assert_int_eq(pd_pool_spread_limits(b, v, N, 0.95, &t[0], &t[1],
	                                       NULL), PD_OK);
	for (int k = 0; k < 2; k++) {
		for (size_t i = 0; i < N; i++)
			sum[i] = v[i] + t[k];
		ck_assert_int_eq(pd_pool_fit(b, sum, N, PD_POOL_COMMON, 0.95,
		                             &p, NULL), PD_OK);
		near("q", p.spread.q, want[k], 1e-5);
	}
}
END_TEST

/* ---- bad input -------------------------------------------------------- */

static const struct {
	const char *name;
	double y0, v0, level, x_step;
	size_t n;
	pd_status want;
	const char *words;
} bad[] = {
	{ "value", NAN, 0.1, 0.95, 1, 6, PD_DATA, "not a finite number" },
	{ "no variance", 0.2, 0, 0.95, 1, 6, PD_DATA, "above 0" },
	{ "below 0", 0.2, -0.3, 0.95, 1, 6, PD_DATA, "above 0" },
	{ "endless", 0.2, INFINITY, 0.95, 1, 6, PD_DATA, "above 0" },
	{ "level", 0.2, 0.1, 1, 1, 6, PD_DATA, "level" },
	{ "column", 0.2, 0.1, 0.95, NAN, 6, PD_DATA, "column 2" },
	{ "few", 0.2, 0.1, 0.95, 1, 2, PD_REFUSED, "more studies" },
	{ "same column", 0.2, 0.1, 0.95, 0, 6, PD_REFUSED, "combination" },
};

START_TEST(refuses)
{
	double b[N], w[N], x[2 * N];
	pd_estimate e[2];
	pd_spread s;
	pd_error err = { 0 };

	memcpy(b, y, sizeof b);
	memcpy(w, v, sizeof w);
	b[0] = bad[_i].y0;
	w[0] = bad[_i].v0;
	for (size_t i = 0; i < N; i++) {
		x[2 * i] = 1;
		x[2 * i + 1] = 3 + bad[_i].x_step * (double)i;
	}
	ck_assert_int_eq(pd_pool_regress(b, w, x, bad[_i].n, 2, PD_POOL_REML,
	                                 bad[_i].level, e, NULL, NULL, &s,
	                                 &err), bad[_i].want);
	ck_assert_msg(strstr(err.text, bad[_i].words) != NULL, "%s: %s",
	              bad[_i].name, err.text);
}
END_TEST

START_TEST(refuses_one_study)
{
	double low, high;
	pd_pool p;

	ck_assert_int_eq(pd_pool_fit(y, v, 1, PD_POOL_REML, 0.95, &p, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_pool_fit(y, v, 0, PD_POOL_REML, 0.95, &p, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_pool_spread_limits(y, v, 1, 0.95, &low, &high,
	                                       NULL), PD_REFUSED);
}
END_TEST

/* All values the same: the normal interval stands, the other is not made. */
START_TEST(all_equal)
{
	static const double b[3] = { 0.4, 0.4, 0.4 };
	pd_pool p;

	ck_assert_int_eq(pd_pool_fit(b, v, 3, PD_POOL_REML, 0.95, &p, NULL),
	                 PD_OK);
	near("mu", p.normal.value, 0.4, 1e-15);
	ck_assert_double_gt(p.normal.high, 0.4);
	ck_assert(isnan(p.knapp.se) && isnan(p.knapp.low) &&
	          isnan(p.knapp_predict_high));
	ck_assert_double_eq(p.spread.scale, 0);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("pool");
	TCase *t = tcase_create("known answers");

	tcase_add_loop_test(t, known_pools, 0, ROWS(pools));
	tcase_add_test(t, likelihood_and_limits);
	tcase_add_loop_test(t, known_lines, 0, ROWS(lines));
	tcase_add_test(t, two_studies);
	tcase_add_test(t, limits_give_q_back);
	suite_add_tcase(s, t);
	t = tcase_create("properties");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, equal_variances);
	tcase_add_test(t, shift_scale_shuffle);
	tcase_add_test(t, highest_summit);
	tcase_add_test(t, no_spread);
	tcase_add_test(t, all_equal);
	suite_add_tcase(s, t);
	t = tcase_create("refusals");
	tcase_add_loop_test(t, refuses, 0, ROWS(bad));
	tcase_add_test(t, refuses_one_study);
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
