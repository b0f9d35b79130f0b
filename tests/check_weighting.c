/*
 * check_weighting.c - weights from the chance of an arm and the difference of
 * means under them. Values marked R: R 4.2.2, glm; intervals from equations
 * stacked there with numeric derivatives and dense matrices; the error with
 * chances as known, without patients, is HC2 of sandwich 3.0-2.
 */
#include "stats/paired.h"
#include "stats/stream.h"
#include "stats/summary.h"
#include "weighting_draws.h"

#include <stdio.h>
#include <stdlib.h>

/* ---- weights ---------------------------------------------------------- */

/* Under overlap weights the arms' means of every column are equal. */
START_TEST(overlap_balances)
{
	enum { ROWS = 90 };
	double x[ROWS * 4], w[ROWS];
	int32_t arm[ROWS];

	for (uint64_t seed = 1; seed <= 40; seed++) {
		pd_stream s;
		pd_logistic *f;
		pd_weights k;
		pd_logistic_data d = { ROWS, 4, x, arm, NULL };

		pd_stream_init(&s, seed, 5);
		for (int i = 0; i < ROWS; i++) {
			double *r = x + 4 * i, lean;

			r[0] = 1;
			r[1] = 30 + 20 * pd_stream_normal(&s);
			r[2] = exp(pd_stream_normal(&s));
			r[3] = pd_stream_uniform(&s) < 0.3;
			lean = -1 + 0.03 * r[1] + 0.2 * r[2] - 0.7 * r[3];
			arm[i] = pd_stream_uniform(&s) < 1 / (1 + exp(-lean));
		}
		f = fitted(&d);
		ck_assert_int_eq(pd_weights_make(f, arm, PD_TARGET_OVERLAP, 0,
		                                 w, &k, NULL), PD_OK);
		for (int j = 0; j < 4; j++) {
			double m[2] = { 0, 0 };

			for (int i = 0; i < ROWS; i++)
				m[arm[i]] += w[i] * x[4 * i + j];
			near_to("mean", m[1], m[0], 1e-12);
		}
		pd_logistic_free(f);
	}
}
END_TEST

/* R: effective numbers, by target. */
static const double effective[3][2] = {
	{ 16.4941902123, 19.1791232139 }, { 13.7230951854, 21.4776327912 },
	{ 8.64452198058, 25 },
};

START_TEST(weights_known)
{
	struct data t;
	pd_logistic *f;
	double w[N];
	pd_weights k;

	fill(&t, 1);
	f = fitted(&t.d);
	for (int target = 0; target < 3; target++) {
		ck_assert_int_eq(pd_weights_make(f, t.arm, (pd_target)target,
		                                 0, w, &k, NULL), PD_OK);
		for (int a = 0; a < 2; a++)
			near_to("effective", k.effective[a],
			        effective[target][a], 1e-11);
		ck_assert_uint_eq(k.used[0], 19);
		ck_assert_uint_eq(k.used[1], 25);
	}
	near_to("heaviest of equals", k.largest[1], 1.0 / 25, 1e-14);
	ck_assert_int_eq(pd_weights_make(f, t.arm, PD_TARGET_ALL, 0.3, w, &k,
	                                 NULL), PD_OK);
	ck_assert_uint_gt(k.n_trimmed, 0);
	ck_assert_uint_eq(k.used[0] + k.used[1] + k.n_trimmed, N);
	for (int i = 0; i < N; i++)
		ck_assert((w[i] > 0) == (f->chance[i] >= 0.3 &&
		                         f->rest[i] >= 0.3));
	ck_assert_int_eq(pd_weights_make(f, t.arm, PD_TARGET_ALL, 0.5, w, &k,
	                                 NULL), PD_DATA);
	ck_assert_int_eq(pd_weights_make(f, t.arm, PD_TARGET_ALL, NAN, w, &k,
	                                 NULL), PD_DATA);
	ck_assert_int_eq(pd_weights_make(f, t.arm, PD_TARGET_ALL, 0.499, w,
	                                 &k, NULL), PD_REFUSED);
	pd_logistic_free(f);
}
END_TEST

/* ---- the difference --------------------------------------------------- */

/* R: means, plain se, se, se with chances as known, df, limits. */
static const struct {
	pd_target target;
	int clusters;
	double m1, m0, plain, se, known, df, low, high;
} difference[] = {
	{ PD_TARGET_OVERLAP, 0, 5.90787920035667, 5.91977602220476,
	  0.181585092588543, 0.188195953741263, 0.204772523336442,
	  23.4159008580489, -0.400827548843917, 0.377033905147729 },
	{ PD_TARGET_OVERLAP, 1, 5.90787920035667, 5.91977602220476,
	  0.173163945163173, 0.182347334745014, 0.206817912702558,
	  17.6856799082117, -0.395482979028261, 0.371689335332074 },
	{ PD_TARGET_ALL, 0, 5.91070393758176, 5.88488040281968,
	  0.177204332474966, 0.185240563059161, 0.211256514871427,
	  14.3552093438868, -0.370557632929253, 0.422204702453409 },
	{ PD_TARGET_ALL, 1, 5.91070393758176, 5.88488040281968,
	  0.167198521781758, 0.176180814620114, 0.203226480374047,
	  12.0782473465799, -0.357765854511292, 0.409412924035449 },
	{ PD_TARGET_ARM_ONE, 0, 5.85856, 5.85197333910255,
	  0.201718829560068, 0.218194115308416, 0.242932929944081,
	  5.41277847544391, -0.541674911283544, 0.554848233078439 },
	{ PD_TARGET_ARM_ONE, 1, 5.85856, 5.85197333910255,
	  0.194540929173225, 0.210199913972375, 0.232111717251303,
	  4.93226386726547, -0.535989009272898, 0.549162331067792 },
};

static pd_weighted ask(struct data *t, const pd_logistic *f, pd_target target,
                       int clusters)
{
	pd_weighted_data q = { .model = &t->d, .fit = f, .y = t->y,
		               .cluster = clusters ? t->patient : NULL,
		               .n_clusters = PATIENTS, .target = target,
		               .level = 0.95 };
	pd_weighted out;
	pd_error err = { .text = "" };

	ck_assert_msg(pd_weighted_contrast(&q, &out, &err) == PD_OK, "%s",
	              err.text);
	return out;
}

START_TEST(difference_known)
{
	struct data t;
	pd_logistic *f;
	pd_weighted o;

	fill(&t, 1);
	f = fitted(&t.d);
	o = ask(&t, f, difference[_i].target, difference[_i].clusters);
	near_to("arm 1", o.mean[1], difference[_i].m1, 1e-11);
	near_to("arm 0", o.mean[0], difference[_i].m0, 1e-11);
	near_to("plain", o.plain_se, difference[_i].plain, 1e-8);
	near_to("se", o.estimate.se, difference[_i].se, 1e-8);
	near_to("known", o.known.se, difference[_i].known, 1e-10);
	near_to("df", o.estimate.df, difference[_i].df, 1e-10);
	near_to("low", o.estimate.low, difference[_i].low, 1e-8);
	near_to("high", o.estimate.high, difference[_i].high, 1e-8);
	pd_logistic_free(f);
}
END_TEST

/* Nothing to adjust for: Welch; one row a patient in each arm: pairs. */
START_TEST(difference_unadjusted)
{
	static const double a[] = { 5.1, 6.02, 4.7, 6.6, 5.55, 5.9 };
	static const double b[] = { 4.4, 5.97, 4.1, 5.8, 5.21, 5.3 };
	double y[12], diff[6], x[12];
	int32_t arm[12], patient[12];
	pd_logistic_data d = { 12, 1, x, arm, NULL };
	pd_weighted_data q = { .model = &d, .y = y, .level = 0.9 };
	pd_estimate welch, pairs;
	pd_weighted o;
	pd_logistic *f;

	for (int i = 0; i < 12; i++) {
		x[i] = 1;
		arm[i] = i < 6;
		y[i] = i < 6 ? a[i] : b[i - 6];
		patient[i] = i % 6;
		if (i < 6)
			diff[i] = a[i] - b[i];
	}
	f = fitted(&d);
	q.fit = f;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, NULL), PD_OK);
	ck_assert_int_eq(pd_welch(a, 6, b, 6, 0.9, &welch, NULL), PD_OK);
	near_to("value", o.estimate.value, welch.value, 1e-12);
	near_to("se", o.estimate.se, welch.se, 1e-12);
	near_to("df", o.estimate.df, welch.df, 1e-12);
	near_to("low", o.estimate.low, welch.low, 1e-11);
	near_to("p", o.estimate.p, welch.p, 1e-10);
	q.cluster = patient;
	q.n_clusters = 6;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, NULL), PD_OK);
	ck_assert_int_eq(pd_paired_mean(diff, 6, 0.9, &pairs, NULL), PD_OK);
	near_to("value", o.estimate.value, pairs.value, 1e-12);
	near_to("se", o.estimate.se, pairs.se, 1e-12);
	near_to("df", o.estimate.df, 5, 1e-11);
	near_to("high", o.estimate.high, pairs.high, 1e-11);
	pd_logistic_free(f);
}
END_TEST

/* Order of rows, patients' codes, names of arms, unit of y. */
START_TEST(difference_invariant)
{
	struct data t, u;
	pd_logistic *f, *g;

	fill(&t, 1);
	fill(&u, 15);
	for (int i = 0; i < N; i++)
		u.patient[i] = PATIENTS - 1 - u.patient[i];
	f = fitted(&t.d);
	g = fitted(&u.d);
	for (int target = 0; target < 3; target++) {
		pd_weighted a = ask(&t, f, (pd_target)target, 1);
		pd_weighted b = ask(&u, g, (pd_target)target, 1);

		near_to("value", b.estimate.value, a.estimate.value, 1e-9);
		near_to("se", b.estimate.se, a.estimate.se, 1e-11);
		near_to("df", b.estimate.df, a.estimate.df, 1e-11);
	}
	pd_logistic_free(g);
	for (int i = 0; i < N; i++) {
		u.arm[i] = 1 - u.arm[i];
		u.y[i] *= 1024;
	}
	g = fitted(&u.d);
	for (int target = 0; target < 2; target++) {
		pd_weighted a = ask(&t, f, (pd_target)target, 1);
		pd_weighted b = ask(&u, g, (pd_target)target, 1);

		near_to("swapped", b.estimate.value,
		        -1024 * a.estimate.value, 1e-9);
		near_to("its se", b.estimate.se, 1024 * a.estimate.se, 1e-11);
		near_to("its low", b.estimate.low, -1024 * a.estimate.high,
		        1e-9);
	}
	pd_logistic_free(f);
	pd_logistic_free(g);
}
END_TEST

START_TEST(difference_refused)
{
	struct data t;
	pd_logistic *f;
	pd_weighted o;
	pd_error err;
	pd_weighted_data q;

	fill(&t, 1);
	f = fitted(&t.d);
	q = (pd_weighted_data){ &t.d, f, t.y, t.patient, PATIENTS,
		                PD_TARGET_OVERLAP, 0, 0.95 };
	t.y[4] = INFINITY;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, &err), PD_DATA);
	ck_assert(strstr(err.text, "row 5: the outcome is inf"));
	for (int i = 0; i < N; i++)
		t.y[i] = 3.7;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, &err), PD_REFUSED);
	ck_assert(strstr(err.text, "no variation"));
	fill(&t, 1);
	t.patient[2] = PATIENTS;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, NULL), PD_DATA);
	fill(&t, 1);
	q.level = 1;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, NULL), PD_DATA);
	q.level = 0.95;
	q.trim = 0.7;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, NULL), PD_DATA);
	q.trim = 0;
	for (int i = 0; i < N; i++)
		if (t.arm[i])
			t.patient[i] = 3;
	ck_assert_int_eq(pd_weighted_contrast(&q, &o, &err), PD_REFUSED);
	ck_assert(strstr(err.text, "weight of arm 1 lies in one patient"));
	pd_logistic_free(f);
}
END_TEST

/* Confounded patients with two draws each; the truth is 0.3. */
enum { UNITS = 40, MOST_UNITS = 200 };
struct clinic {
	double x[4 * MOST_UNITS], y[2 * MOST_UNITS];
	int32_t arm[2 * MOST_UNITS], unit[2 * MOST_UNITS];
	size_t units;
	pd_logistic_data d;
};

static void make_clinic(struct clinic *c, uint64_t k, size_t units)
{
	pd_stream s;

	pd_stream_init(&s, 97, k);
	c->units = units;
	for (size_t i = 0; i < 2 * units; i++) {
		double own;

		if (i % 2 == 0) {
			c->x[2 * i + 1] = pd_stream_normal(&s);
			c->arm[i] = pd_stream_uniform(&s) <=
			            1 / (1 + exp(-0.8 * c->x[2 * i + 1]));
			own = 0.4 * pd_stream_normal(&s) -
			      0.5 * c->x[2 * i + 1];
			c->y[i] = c->y[i + 1] = own + 0.3 * c->arm[i];
			c->arm[i + 1] = c->arm[i];
			c->x[2 * i + 3] = c->x[2 * i + 1];
		}
		c->unit[i] = (int32_t)(i / 2);
		c->x[2 * i] = 1;
		c->y[i] += 0.3 * pd_stream_normal(&s);
	}
	c->d = (pd_logistic_data){ 2 * units, 2, c->x, c->arm, NULL };
}

static pd_weighted ask_clinic(struct clinic *c, const pd_logistic *f)
{
	pd_weighted_data q = { .model = &c->d, .fit = f, .y = c->y,
		               .cluster = c->unit, .n_clusters = c->units,
		               .level = 0.95 };
	pd_weighted o;

	ck_assert_int_eq(pd_weighted_contrast(&q, &o, NULL), PD_OK);
	return o;
}

/* One patient left out at a time, chances fitted anew (brute force): the
 * scatter of those answers has the variance of the formula. */
START_TEST(difference_left_out)
{
	static struct clinic all, c;
	double left[MOST_UNITS];
	pd_logistic *f;
	pd_weighted o;
	pd_summary s;

	make_clinic(&all, 5, MOST_UNITS);
	for (size_t k = 0; k < MOST_UNITS; k++) {
		size_t from = 2 * k + 2, rows = 2 * MOST_UNITS - from;

		c = all;
		memmove(c.x + 4 * k, all.x + 2 * from,
		        2 * rows * sizeof *c.x);
		memmove(c.y + 2 * k, all.y + from, rows * sizeof *c.y);
		memmove(c.arm + 2 * k, all.arm + from, rows * sizeof *c.arm);
		memmove(c.unit + 2 * k, all.unit + from,
		        rows * sizeof *c.unit);
		c.d = (pd_logistic_data){ 2 * MOST_UNITS - 2, 2, c.x, c.arm,
			                  NULL };
		f = fitted(&c.d);
		left[k] = ask_clinic(&c, f).estimate.value;
		pd_logistic_free(f);
	}
	f = fitted(&all.d);
	o = ask_clinic(&all, f);
	s = pd_summarise(left, MOST_UNITS);
	near_to("se", o.estimate.se,
	        sqrt((MOST_UNITS - 1.0) / MOST_UNITS * s.square), 0.02);
	ck_assert(o.known.se > 1.3 * o.estimate.se);
	pd_logistic_free(f);
}
END_TEST

/* Intervals that hold the true difference, weighted and plain. */
START_TEST(difference_covers)
{
	enum { SETS = 1000 };
	static struct clinic c;
	int held = 0, plain = 0, sets = 0;

	for (uint64_t k = 0; k < SETS; k++) {
		double side[2][2 * UNITS];
		size_t n[2] = { 0, 0 };
		pd_weighted o;
		pd_estimate e;
		pd_logistic *f;

		make_clinic(&c, k, UNITS);
		for (int i = 0; i < 2 * UNITS; i++)
			side[c.arm[i]][n[c.arm[i]]++] = c.y[i];
		if (pd_logistic_fit(&c.d, &f, NULL) != PD_OK)
			continue;
		o = ask_clinic(&c, f);
		ck_assert_int_eq(pd_welch(side[1], n[1], side[0], n[0], 0.95,
		                          &e, NULL), PD_OK);
		sets++;
		held += o.estimate.low < 0.3 && o.estimate.high > 0.3;
		plain += e.low < 0.3 && e.high > 0.3;
		pd_logistic_free(f);
	}
	printf("weighted interval held the truth %d of %d times, the plain "
	       "one %d\n", held, sets, plain);
	ck_assert_int_ge(sets, SETS - 10);
	ck_assert(held > 0.93 * sets && held < 0.97 * sets);
	ck_assert(plain < 0.5 * sets);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("weighting");
	TCase *t;

	t = tcase_create("weights");
	tcase_add_test(t, overlap_balances);
	tcase_add_test(t, weights_known);
	suite_add_tcase(s, t);
	t = tcase_create("difference");
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, difference_known, 0,
	                    sizeof difference / sizeof *difference);
	tcase_add_test(t, difference_unadjusted);
	tcase_add_test(t, difference_invariant);
	tcase_add_test(t, difference_left_out);
	tcase_add_test(t, difference_refused);
	tcase_add_test(t, difference_covers);
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
