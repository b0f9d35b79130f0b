/*
 * check_step.c - one change of level at an unknown time. The yearly flow of
 * the Nile at Aswan, 1871-1970, is the series known as Nile in R's datasets
 * (r-base-core 4.2.2, GPL-2 or later); its drop after 1898, row 28, is
 * published (Cobb 1978, Biometrika 65, 243-251). R: R 4.2.2, lm over every
 * row; the set of strucchange 1.5-3 reaches from 25 to 32.
 */
#include "stats/step.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void near_to(const char *what, double got, double want,
                    double relative)
{
	double room = relative * fmax(fabs(want), want == 0);

	ck_assert_msg(fabs(got - want) <= room, "%s: got %.17g, wanted %.17g",
	              what, got, want);
}

enum { YEARS = 100 };
static const double flow[YEARS] = {
	1120, 1160, 963,  1210, 1160, 1160, 813,  1230, 1370, 1140, 995, 935,
	1110, 994,  1020, 960,  1180, 799,  958,  1140, 1100, 1210, 1150,
	1250, 1260, 1220, 1030, 1100, 774,  840,  874,  694,  940,  833, 701,
	916,  692,  1020, 1050, 969,  831,  726,  456,  824,  702,  1120,
	1100, 832,  764,  821,  768,  845,  864,  862,  698,  845,  744, 796,
	1040, 759,  781,  865,  845,  944,  984,  897,  822,  1010, 771, 676,
	649,  846,  812,  742,  801,  1040, 860,  874,  848,  890,  744, 749,
	838,  1050, 918,  986,  797,  923,  975,  815,  1020, 906,  901, 1170,
	912,  746,  919,  718,  714,  740 };

static const pd_step_search usual = { .edge = 2, .level = 0.95, .seed = 3 };

START_TEST(step_known)
{
	pd_step o;
	double p[YEARS];

	ck_assert_int_eq(pd_step_find(flow, YEARS, &usual, p, &o, NULL),
	                 PD_OK);
	ck_assert_uint_eq(o.after, 28);
	near_to("explained", o.explained, 0.436554188954651, 1e-12);
	near_to("step", o.step.value, -247.777777777778, 1e-12);
	near_to("se", o.step.se, 28.4352016922122, 1e-12);
	near_to("low", o.step.low, -304.206510098358, 1e-11);
	near_to("high", o.step.high, -191.349045457198, 1e-11);
	near_to("sd", o.sd, 127.673738947287, 1e-12);
	near_to("before", o.mean_before, 1097.75, 1e-13);
	near_to("after", o.mean_after, 1097.75 - 247.777777777778, 1e-12);
	near_to("lag one", o.lag_one, 0.159856152157063, 1e-11);
	near_to("stretch", o.stretch, sqrt(1.159856152157063 /
	                                   0.840143847842937), 1e-11);
	near_to("p", o.p, 1.0 / 1000, 1e-12);
	ck_assert(o.set_first >= 24 && o.set_first <= 27);
	ck_assert(o.set_last >= 29 && o.set_last <= 34);
	ck_assert(o.low < o.step.low && o.low > -340);
	ck_assert(o.high > o.step.high && o.high < -150);
	ck_assert(isnan(p[0]) && isnan(p[98]) && p[1] > 0 && p[27] == 1);
}
END_TEST

/* The next order in dictionary order; 0 after the last. */
static int next_order(double *v, size_t n)
{
	size_t i = n - 1, j = n - 1;
	double t;

	while (i && v[i - 1] >= v[i])
		i--;
	if (!i)
		return 0;
	while (v[j] <= v[i - 1])
		j--;
	t = v[i - 1];
	v[i - 1] = v[j];
	v[j] = t;
	for (j = n - 1; i < j; i++, j--) {
		t = v[i];
		v[i] = v[j];
		v[j] = t;
	}
	return 1;
}

static int ascending(const void *a, const void *b)
{
	double u = *(const double *)a, v = *(const double *)b;

	return (u > v) - (u < v);
}

/* R by its other form, the difference of two means. */
static double explained(const double *v, size_t n, size_t k)
{
	double a = 0, b = 0, m = (double)k, rest = (double)(n - k);

	for (size_t i = 0; i < n; i++)
		*(i < k ? &a : &b) += v[i];
	a = a / m - b / rest;
	return a * a * m * rest / (m + rest);
}

static double most(const double *v, size_t n)
{
	double best = 0;

	for (size_t k = 2; k + 2 <= n; k++)
		best = fmax(best, explained(v, n, k));
	return best;
}

/* p of every row from all orders on both its sides, and of all rows. */
START_TEST(step_by_all_orders)
{
	enum { N = 8 };
	static const double v[N] = { 3.1, 2.6, 3.4, 4.9, 2.9, 4.4, 5.2, 4.7 };
	const pd_step_search how = { .edge = 2, .level = 0.9, .seed = 8,
		                     .draws = 20000 };
	double p[N], orders = 0, hits = 0, w[N];
	pd_step o;

	ck_assert_int_eq(pd_step_find(v, N, &how, p, &o, NULL), PD_OK);
	memcpy(w, v, sizeof w);
	qsort(w, N, sizeof *w, ascending);
	do {
		orders++;
		hits += most(w, N) >= most(v, N) - 1e-9;
	} while (next_order(w, N));
	ck_assert_double_eq(orders, 40320);
	ck_assert_double_eq_tol(o.p, hits / orders,
	                        4 * sqrt(0.25 / 20000));
	for (size_t k = 2; k + 2 <= N; k++) {
		double excess = most(v, N) - explained(v, N, k);

		memcpy(w, v, sizeof w);
		qsort(w, k, sizeof *w, ascending);
		orders = hits = 0;
		do {
			qsort(w + k, N - k, sizeof *w, ascending);
			do {
				orders++;
				hits += most(w, N) - explained(v, N, k) >=
				        excess - 1e-9;
			} while (next_order(w + k, N - k));
		} while (next_order(w, k));
		ck_assert_double_eq_tol(p[k - 1], hits / orders,
		                        4 * sqrt(0.25 / 20000));
	}
}
END_TEST

/* Unit, sign, a common part: the same rows, scaled steps. Time reversed: the
 * rows from the other end. */
START_TEST(step_invariant)
{
	double v[YEARS], w[YEARS];
	pd_step o, t, r, far;

	for (int i = 0; i < YEARS; i++) {
		v[i] = -0.125 * flow[i];
		w[i] = flow[YEARS - 1 - i];
	}
	ck_assert_int_eq(pd_step_find(flow, YEARS, &usual, NULL, &o, NULL),
	                 PD_OK);
	ck_assert_int_eq(pd_step_find(v, YEARS, &usual, NULL, &t, NULL),
	                 PD_OK);
	ck_assert_int_eq(pd_step_find(w, YEARS, &usual, NULL, &r, NULL),
	                 PD_OK);
	for (int i = 0; i < YEARS; i++)
		v[i] = 1e9 + flow[i];
	ck_assert_int_eq(pd_step_find(v, YEARS, &usual, NULL, &far, NULL),
	                 PD_OK);
	ck_assert_uint_eq(t.after, o.after);
	ck_assert_uint_eq(t.set_first, o.set_first);
	ck_assert_uint_eq(t.set_last, o.set_last);
	near_to("low", t.low, -0.125 * o.high, 1e-12);
	near_to("high", t.high, -0.125 * o.low, 1e-12);
	near_to("p", t.p, o.p, 0);
	ck_assert_uint_eq(r.after, YEARS - o.after);
	near_to("reversed", r.step.value, -o.step.value, 1e-12);
	near_to("lag one", r.lag_one, o.lag_one, 1e-11);
	near_to("with an offset", far.step.value, o.step.value, 1e-9);
	near_to("its low", far.low, o.low, 1e-9);
	ck_assert_uint_eq(far.set_first, o.set_first);
}
END_TEST

/* Made-up series of 24 with and without a step of 1.5 sd after row 9: how
 * often the set holds the row, the limits the step, and p is below 0.05. */
START_TEST(step_covers)
{
	enum { SETS = 400, N = 24, ROW = 9 };
	const pd_step_search how = { .edge = 2, .level = 0.95, .draws = 199 };
	int row = 0, size = 0, known = 0, alarms = 0;

	for (uint64_t k = 0; k < SETS; k++) {
		double v[N], p[N];
		pd_stream s;
		pd_step o;

		pd_stream_init(&s, 23, k);
		for (int i = 0; i < N; i++)
			v[i] = 5 + pd_stream_normal(&s);
		ck_assert_int_eq(pd_step_find(v, N, &how, NULL, &o, NULL),
		                 PD_OK);
		alarms += o.p <= 0.05;
		for (int i = ROW; i < N; i++)
			v[i] += 1.5;
		ck_assert_int_eq(pd_step_find(v, N, &how, p, &o, NULL),
		                 PD_OK);
		row += p[ROW - 1] > 0.05;
		size += o.low < 1.5 && 1.5 < o.high;
		known += o.step.low < 1.5 && 1.5 < o.step.high;
	}
	printf("of %d: row in the set %d, step within the limits %d (time as "
	       "known: %d), false steps %d\n", SETS, row, size, known, alarms);
	ck_assert(row > 0.92 * SETS);
	ck_assert(size > 0.95 * SETS);
	ck_assert(alarms < 0.08 * SETS && alarms > 0.02 * SETS);
}
END_TEST

START_TEST(step_refused)
{
	static const double flat[12] = { 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7 };
	static const double two[12] = { 1, 1, 1, 1, 1, 4, 4, 4, 4, 4, 4, 4 };
	pd_step_search how = usual;
	double v[12];
	pd_step o;
	pd_error err;

	ck_assert_int_eq(pd_step_find(flat, 12, &how, NULL, &o, &err),
	                 PD_REFUSED);
	ck_assert(strstr(err.text, "all 12 values are equal"));
	ck_assert_int_eq(pd_step_find(two, 12, &how, NULL, &o, &err),
	                 PD_REFUSED);
	ck_assert(strstr(err.text, "within the two levels"));
	ck_assert(strstr(err.text, "row 5"));
	ck_assert_int_eq(pd_step_find(flow, 5, &how, NULL, &o, &err),
	                 PD_REFUSED);
	ck_assert(strstr(err.text, "6 to 1000 values, got 5"));
	memcpy(v, flow, sizeof v);
	v[3] = NAN;
	ck_assert_int_eq(pd_step_find(v, 12, &how, NULL, &o, NULL), PD_DATA);
	how.edge = 1;
	ck_assert_int_eq(pd_step_find(flow, 12, &how, NULL, &o, NULL),
	                 PD_DATA);
	how = usual;
	how.level = 1;
	ck_assert_int_eq(pd_step_find(flow, 12, &how, NULL, &o, NULL),
	                 PD_DATA);
	how = usual;
	how.draws = 38;
	ck_assert_int_eq(pd_step_find(flow, 12, &how, NULL, &o, &err),
	                 PD_DATA);
	ck_assert(strstr(err.text, "at least 39"));
	how.draws = 39;
	ck_assert_int_eq(pd_step_find(flow, 12, &how, NULL, &o, NULL), PD_OK);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("step");
	TCase *t = tcase_create("step");

	tcase_set_timeout(t, 120);
	tcase_add_test(t, step_known);
	tcase_add_test(t, step_by_all_orders);
	tcase_add_test(t, step_invariant);
	tcase_add_test(t, step_covers);
	tcase_add_test(t, step_refused);
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
