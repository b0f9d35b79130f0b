/*
 * check_hostile.c - no room of plain arrays answers PD_OK with a number that
 * is not one. Every public function that takes an array is tried with none,
 * one, two and more values, all equal, NaN, infinite, near the largest and
 * the smallest doubles; levels outside 0 to 1 are refused.
 *
 * Allowed beside finite numbers, as the headers say: df INFINITY (normal
 * law); agree: trend and trend_p NaN without spread of (x + y) / 2, rank line
 * se, df and p NaN and infinite ends, concordance p NaN and its interval NaN
 * for uncorrelated or equal x and y, correlation se NaN; pool: `knapp` NaN
 * when all residuals are 0; linear: f INFINITY for an exact fit; signed-rank
 * test: p NaN where exactness was too large; breakpoint and plateau: ends
 * infinite where the data do not close them.
 */
#include "hostile.h"

#include "stats/agree.h"
#include "stats/bootstrap.h"
#include "stats/contrast.h"
#include "stats/control.h"
#include "stats/curve.h"
#include "stats/multiple.h"
#include "stats/paired.h"
#include "stats/pool.h"
#include "stats/rank.h"
#include "stats/series.h"
#include "stats/summary.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

#define ERR &hostile_err

typedef void attempt(const double *a, const double *b, size_t n, double level);

static void mean(const double *a, const double *b, size_t n, double level)
{
	pd_estimate e;

	(void)b;
	if (hostile_status("mean", pd_paired_mean(a, n, level, &e, ERR)))
		hostile_estimate("mean", &e, FINITE);
	if (hostile_status("welch", pd_welch(a, n, b, n ? n - 1 : 0, level, &e,
	                                     ERR)))
		hostile_estimate("welch", &e, FINITE);
}

static void rank_fields(const char *room, const pd_rank_result *r)
{
	hostile_number(room, "v", r->v, FINITE);
	hostile_number(room, "p", r->p, FINITE);
	hostile_number(room, "value", r->value, FINITE);
	hostile_number(room, "low", r->low, FINITE);
	hostile_number(room, "high", r->high, FINITE);
	hostile_number(room, "achieved", r->achieved, FINITE);
}

static void ranks(const double *a, const double *b, size_t n, double level)
{
	pd_rank_result r;
	pd_signed_test t;

	if (hostile_status("ranks", pd_signed_rank(a, n, level, &r, ERR)))
		rank_fields("ranks", &r);
	if (hostile_status("two ranks", pd_rank_sum(a, n, b, n, level, &r,
	                                            ERR)))
		rank_fields("two ranks", &r);
	if (hostile_status("rank test", pd_signed_rank_test(
		    a, n, PD_ZEROS_RANKED, &t, ERR))) {
		hostile_number("rank test", "v", t.v, FINITE);
		hostile_number("rank test", "variance", t.variance, FINITE);
		hostile_number("rank test", "p", t.p, MAY_NAN);
	}
}

static void flips(const double *a, const double *b, size_t n, double level)
{
	pd_flip_result f;

	(void)level;
	if (n > 12)
		return;
	if (hostile_status("flips", pd_sign_flip(a, n, 99, 1, &f, ERR)))
		hostile_number("flips", "p", f.p, FINITE);
	if (hostile_status("labels", pd_relabel(a, n, b, n / 2, 99, 1, &f,
	                                        ERR)))
		hostile_number("labels", "p", f.p, FINITE);
}

static void limits(const double *a, const double *b, size_t n, double level)
{
	pd_limits l;
	pd_repeat r;

	for (int ratio = 0; ratio < 2; ratio++) {
		pd_status st = ratio ?
			pd_agree_ratio(a, b, n, 1.96, level, &l, ERR) :
			pd_agree_limits(a, b, n, 1.96, level, &l, ERR);

		if (!hostile_status("limits", st))
			continue;
		hostile_estimate("limits", &l.bias, FINITE);
		hostile_number("limits", "sd", l.sd, FINITE);
		hostile_number("limits", "low_from", l.low_from, FINITE);
		hostile_number("limits", "low_to", l.low_to, FINITE);
		hostile_number("limits", "high_from", l.high_from, FINITE);
		hostile_number("limits", "high_to", l.high_to, FINITE);
		hostile_number("limits", "se", l.se, FINITE);
		hostile_number("limits", "trend", l.trend, MAY_NAN);
	}
	if (hostile_status("repeats", pd_agree_repeat(a, b, n, level, &r,
	                                              ERR))) {
		hostile_number("repeats", "sw", r.sw, FINITE);
		hostile_number("repeats", "sw_high", r.sw_high, FINITE);
		hostile_number("repeats", "coefficient", r.coefficient,
		               FINITE);
	}
}

static void lines(const double *a, const double *b, size_t n, double level)
{
	pd_line l;
	pd_estimate e;

	if (hostile_status("deming", pd_agree_deming(a, b, n, 1, level, &l,
	                                             ERR))) {
		hostile_estimate("deming slope", &l.slope, FINITE);
		hostile_estimate("deming base", &l.intercept, FINITE);
	}
	if (hostile_status("rank line", pd_agree_ranks(a, b, n, level, &l,
	                                               ERR))) {
		hostile_number("rank line", "slope", l.slope.value, FINITE);
		hostile_number("rank line", "base", l.intercept.value, FINITE);
		hostile_number("rank line", "low", l.slope.low, MAY_INF);
		hostile_number("rank line", "high", l.slope.high, MAY_INF);
	}
	if (hostile_status("concordance", pd_agree_concordance(
		    a, b, n, level, &e, ERR)))
		hostile_number("concordance", "value", e.value, FINITE);
	if (hostile_status("correlation", pd_agree_correlation(
		    a, b, n, level, &e, ERR))) {
		hostile_number("correlation", "value", e.value, FINITE);
		hostile_number("correlation", "low", e.low, FINITE);
		hostile_number("correlation", "high", e.high, FINITE);
		hostile_number("correlation", "p", e.p, FINITE);
	}
}

static void pools(const double *a, const double *b, size_t n, double level)
{
	double low, high, x[2 * HOSTILE_MOST], q;
	pd_pool p;
	pd_estimate e[2], k[2];
	pd_spread s;

	for (int way = PD_POOL_COMMON; way <= (int)PD_POOL_WEIGHTED; way++) {
		if (!hostile_status("pool", pd_pool_fit(
			    a, b, n, (pd_pool_way)way, level, &p, ERR)))
			continue;
		hostile_estimate("pool", &p.normal, FINITE);
		hostile_estimate("pool knapp", &p.knapp, MAY_NAN);
		hostile_number("pool", "tau2", p.spread.tau2, FINITE);
		hostile_number("pool", "q_p", p.spread.q_p, FINITE);
		hostile_number("pool", "i2", p.spread.i2, FINITE);
		hostile_number("pool", "h2", p.spread.h2, FINITE);
		hostile_number("pool", "predict", p.predict_low, FINITE);
	}
	if (hostile_status("pool limits", pd_pool_spread_limits(
		    a, b, n, level, &low, &high, ERR))) {
		hostile_number("pool limits", "low", low, FINITE);
		hostile_number("pool limits", "high", high, FINITE);
	}
	for (size_t i = 0; i < n; i++) {
		x[2 * i] = 1;
		x[2 * i + 1] = (double)(i * i);
	}
	if (hostile_status("pool lines", pd_pool_regress(
		    a, b, x, n, 2, PD_POOL_REML, level, e, k, &q, &s, ERR))) {
		hostile_estimate("pool lines", &e[1], FINITE);
		hostile_number("pool lines", "q", q, FINITE);
	}
}

static void time_series(const double *a, const double *b, size_t n,
                        double level)
{
	double acf[8], pacf[8];
	pd_portmanteau t;
	pd_drift d;

	if (hostile_status("series", pd_autocorrelation(a, n, 3, acf, pacf,
	                                                ERR)))
		for (int k = 0; k < 3; k++) {
			hostile_number("series", "acf", acf[k], FINITE);
			hostile_number("series", "pacf", pacf[k], FINITE);
		}
	if (hostile_status("portmanteau", pd_portmanteau_test(a, n, 3, &t,
	                                                      ERR))) {
		hostile_number("portmanteau", "p", t.ljung_box_p, FINITE);
		hostile_number("portmanteau", "p", t.box_pierce_p, FINITE);
	}
	for (int timed = 0; timed < 2; timed++) {
		if (!hostile_status("drift", pd_drift_test(
			    a, timed ? b : NULL, n, level, &d, ERR)))
			continue;
		hostile_number("drift", "z", d.z, FINITE);
		hostile_number("drift", "p", d.p, FINITE);
		hostile_number("drift", "slope", d.slope, FINITE);
		hostile_number("drift", "low", d.low, FINITE);
		hostile_number("drift", "high", d.high, FINITE);
		hostile_number("drift", "tau_b", d.tau_b, FINITE);
	}
}

static void charts(const double *a, const double *b, size_t n, double level)
{
	double up[HOSTILE_MOST + 1], down[HOSTILE_MOST + 1];
	size_t first;
	pd_control_single c;

	(void)b;
	(void)level;
	if (hostile_status("chart", pd_control_individuals(a, n, n / 2, &c,
	                                                   ERR))) {
		hostile_number("chart", "sigma", c.sigma, FINITE);
		hostile_number("chart", "low", c.low, FINITE);
		hostile_number("chart", "high", c.high, FINITE);
		hostile_number("chart", "range", c.range_high, FINITE);
	}
	if (hostile_status("averages", pd_control_average(
		    a, n, 2, 1, 0.2, 3, up, down, &first, ERR)))
		for (size_t i = 0; i < n; i++)
			hostile_number("averages", "z", up[i], FINITE);
	if (hostile_status("sums", pd_control_sums(a, n, 2, 1, 0.5, 4, up,
	                                           down, &first, ERR)))
		for (size_t i = 0; i < n; i++) {
			hostile_number("sums", "up", up[i], FINITE);
			hostile_number("sums", "down", down[i], FINITE);
		}
}

static void curves(const double *a, const double *b, size_t n, double level)
{
	pd_breakpoint p;
	pd_plateau q;

	for (int shape = 0; shape < 2; shape++)
		if (hostile_status("bend", pd_breakpoint_fit(
			    a, b, n, shape ? PD_BEND_SLOPE : PD_BEND_LEVEL,
			    level, &p, ERR))) {
			hostile_number("bend", "bend", p.bend.value, FINITE);
			hostile_number("bend", "low", p.bend.low, MAY_INF);
			hostile_number("bend", "high", p.bend.high, MAY_INF);
			hostile_estimate("bend slope", &p.slope, FINITE);
			hostile_estimate("bend level", &p.level, FINITE);
		}
	if (hostile_status("plateau", pd_plateau_fit(a, b, n, 0, level, &q,
	                                             ERR))) {
		hostile_estimate("plateau", &q.wald[PD_PLATEAU_PACE], FINITE);
		hostile_number("plateau", "low",
		               q.profile[PD_PLATEAU_PACE].low, MAY_INF);
	}
}

static void families(const double *a, const double *b, size_t n, double level)
{
	int32_t group[HOSTILE_MOST];
	pd_comparison c[3];
	pd_one_way w;
	double p[HOSTILE_MOST + 1];

	(void)b;
	for (size_t i = 0; i < n; i++)
		group[i] = (int32_t)(i % 3);
	if (hostile_status("pairs", pd_all_pairs(a, group, n, 3, level, c,
	                                         NULL, ERR)))
		for (int k = 0; k < 3; k++)
			hostile_estimate("pairs", &c[k].e, FINITE);
	if (hostile_status("to one", pd_many_to_one(a, group, n, 3, 1, 2,
	                                            level, c, NULL, ERR)))
		for (int k = 0; k < 2; k++)
			hostile_estimate("to one", &c[k].e, FINITE);
	if (hostile_status("one way", pd_one_way_fit(a, group, n, 3, &w,
	                                             ERR))) {
		hostile_number("one way", "p", w.p, FINITE);
		hostile_number("one way", "f", w.f, MAY_INF);
		hostile_number("one way", "between", w.between, FINITE);
		hostile_number("one way", "r_squared", w.r_squared, FINITE);
	}
	for (int how = PD_HOLM; how <= (int)PD_HOMMEL; how++)
		if (hostile_status("family", pd_adjust_p(
			    a, n, (pd_adjust)how, p, ERR)))
			for (size_t i = 0; i < n; i++)
				hostile_number("family", "p", p[i],
				               isnan(a[i]) ? MAY_NAN
				                           : FINITE);
}

static double plain_mean(const double *weight, size_t n, const void *with)
{
	const double *v = with;
	double sum = 0, total = 0;

	for (size_t i = 0; i < n; i++) {
		sum += weight[i] * v[i];
		total += weight[i];
	}
	return sum / total;
}

static void drawn(const double *a, const double *b, size_t n, double level)
{
	pd_boot_plan p = { .n_rows = n, .statistic = plain_mean, .data = a,
	                   .level = level, .draws = 199, .seed = 3 };
	pd_boot o;

	(void)b;
	if (!hostile_status("boot", pd_bootstrap(&p, &o, ERR)))
		return;
	hostile_number("boot", "se", o.se, FINITE);
	hostile_number("boot", "low", o.low, FINITE);
	hostile_number("boot", "high", o.high, FINITE);
	hostile_number("boot", "z0", o.z0, FINITE);
	hostile_number("boot", "acceleration", o.acceleration, FINITE);
}

static attempt *const rooms[] = { mean, ranks, flips, limits, lines, pools,
                                  time_series, charts, curves, families,
                                  drawn };
enum { ROOMS = sizeof rooms / sizeof *rooms };

/* Every kind against itself, against ordinary numbers, and turned round. */
START_TEST(arrays)
{
	static const size_t sizes[] = { 0, 1, 2, 3, 4, 5, 8, 13, 31 };
	double a[HOSTILE_MOST] = { 0 }, b[HOSTILE_MOST] = { 0 };
	char now[128];
	unsigned before = hostile_wrong();

	hostile_now = now;
	for (unsigned kind = 0; kind < HOSTILE_KINDS; kind++)
		for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++)
			for (unsigned other = 0; other < 3; other++) {
				size_t n = sizes[k];

				hostile_fill(a, n, other == 2 ? 0 : kind, 1);
				hostile_fill(b, n, other == 1 ? 0 : kind, 2);
				snprintf(now, sizeof now, "%zu values, %s%s",
				         n, hostile_name(kind), other == 1 ?
				         " first" : other ? " second" : "");
				rooms[_i](a, b, n, 0.95);
			}
	ck_assert_uint_gt(hostile_seen(), 100);
	ck_assert_uint_eq(hostile_wrong(), before);
}
END_TEST

START_TEST(levels)
{
	static const double bad[] = { 0, 1, -0.5, 95, NAN, INFINITY };
	double a[HOSTILE_MOST], b[HOSTILE_MOST];
	pd_estimate e;
	pd_rank_result r;
	pd_limits l;
	pd_line line;
	pd_pool p;
	pd_drift d;
	double level = bad[_i];

	hostile_fill(a, 20, 0, 1);
	hostile_fill(b, 20, 0, 2);
	for (int i = 0; i < 20; i++)
		b[i] = fabs(b[i]) + 0.1;
	ck_assert_int_eq(pd_paired_mean(a, 20, level, &e, NULL), PD_DATA);
	ck_assert_int_eq(pd_signed_rank(a, 20, level, &r, NULL), PD_DATA);
	ck_assert_int_eq(pd_rank_sum(a, 20, b, 20, level, &r, NULL), PD_DATA);
	ck_assert_int_ne(pd_welch(a, 20, b, 20, level, &e, NULL), PD_OK);
	ck_assert_int_eq(pd_agree_limits(a, b, 20, 2, level, &l, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_agree_deming(a, b, 20, 1, level, &line, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_agree_ranks(a, b, 20, level, &line, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_pool_fit(a, b, 20, PD_POOL_REML, level, &p, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_drift_test(a, NULL, 20, level, &d, NULL), PD_DATA);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("hostile arrays");
	TCase *t = tcase_create("arrays");

	pd_base_init();
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, arrays, 0, ROOMS);
	tcase_add_loop_test(t, levels, 0, 6);
	suite_add_tcase(s, t);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
