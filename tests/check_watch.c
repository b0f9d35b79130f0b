/*
 * check_watch.c - a chart by hand, a planted shift with its date and size,
 * operators partially pooled. How often charts are wrong: check_watch_rate.c.
 */
#include "answer_help.h"
#include "plan/watch.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- one chart ------------------------------------------------------------ */

/* By hand: values rise, so each is the greatest so far and its score is
 * Phi^-1((m - 1/2) / m): 0.67449 for m = 2, 0.96742 for 3, 1.15035 for 4. */
START_TEST(chart_by_hand)
{
	static const double v[] = { 1, 2, 3, 4, 2.5 };
	pd_watch_limits l = { .k = 0.25, .h = 2, .lambda = 0.5, .limit = 2,
		              .n_base = 1, .learn = 1 };
	pd_watch_found f[2];
	double up[5], down[5], mean[5];
	size_t n;

	ck_assert_int_eq(pd_watch_chart(v, 5, &l, up, down, mean, f, 2, &n,
	                                NULL), PD_OK);
	ck_assert_double_eq(up[0], 0);
	ck_assert_double_eq_tol(up[1], 0.42449, 1e-5);
	ck_assert_double_eq_tol(up[2], 1.14191, 1e-5);
	ck_assert_double_eq_tol(up[3], 2.04226, 1e-5);
	ck_assert_double_eq_tol(mean[2], 0.65233, 1e-5);
	ck_assert_double_eq(down[3], 0);
	/* the sum passes 2 at the fourth; half = 2 sqrt(1/3) = 1.15 is not
	 * passed. Of (-1.28, -0.52, 0.52, 1.28), its ranks without the last
	 * value as normal scores of five, the parting is in the middle. */
	ck_assert_uint_eq(n, 1);
	ck_assert_uint_eq(f[0].at, 3);
	ck_assert_uint_eq(f[0].from, 2);
	ck_assert(f[0].sums && !f[0].average);
	/* one case after it, below: it did not stay */
	ck_assert_int_eq(f[0].state, PD_SHIFT_PASSED);
}
END_TEST

/* Only the order counts: any rising function of the values gives the same. */
START_TEST(order_alone)
{
	enum { N = 400 };
	double v[N], w[N], up[2][N], down[N], mean[N];
	pd_watch_limits l = { .k = 0.25, .h = 6, .lambda = 0.05, .limit = 2.5,
		              .n_base = 50, .learn = 30 };
	pd_watch_found f[2][20];
	size_t n[2];
	pd_stream s;

	pd_stream_init(&s, 4, 0);
	for (size_t i = 0; i < N; i++) {
		v[i] = pd_stream_normal(&s) + (i >= 200 ? 0.8 : 0);
		w[i] = exp(3 * v[i]) - 7;
	}
	ck_assert_int_eq(pd_watch_chart(v, N, &l, up[0], down, mean, f[0], 20,
	                                &n[0], NULL), PD_OK);
	ck_assert_int_eq(pd_watch_chart(w, N, &l, up[1], down, mean, f[1], 20,
	                                &n[1], NULL), PD_OK);
	ck_assert_uint_ge(n[0], 1);
	ck_assert_uint_eq(n[0], n[1]);
	for (size_t k = 0; k < n[0]; k++) {
		ck_assert_uint_eq(f[0][k].at, f[1][k].at);
		ck_assert_uint_eq(f[0][k].from, f[1][k].from);
	}
	ck_assert_mem_eq(up[0], up[1], sizeof up[0]);
	/* more shifts than room: counted, not written */
	ck_assert_int_eq(pd_watch_chart(v, N, &l, up[0], down, mean, f[1], 0,
	                                &n[1], NULL), PD_OK);
	ck_assert_uint_eq(n[1], n[0]);
}
END_TEST

/* ---- a clinic -------------------------------------------------------------- */

/* 240 cases over 8 years, one a patient, every ninth day or so; from `move` on
 * results are `factor` times what they were, counted by another version. */
static void clinic(size_t move, double factor)
{
	static char date[240][16];
	static const char *const op[] = { "op-a", "op-b", "op-c", "op-d" };

	for (size_t c = 0; c < 240; c++) {
		int p = (int)c, year = 2016 + p / 30, month = 1 + p % 30 * 2 / 5,
		    day = 1 + p % 30 * 29 / 30;
		int age = 30 + p * 7 % 40;

		snprintf(date[c], sizeof date[0], "%d-%02d-%02d", year,
		         month > 12 ? 12 : month, day > 28 ? 28 : day);
		for (int k = 0; k < 2; k++)
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = age,
			    .volume = 4 + p % 5, .dish_1 = 5, .dish_2 = 6,
			    .date = date[c], .operator = op[p * 3 % 4],
			    .version = c >= move ? "lab-b 1" : "lab-a 1",
			    .tnc = round(exp(3.4 - 0.01 * (age - 50) -
			                     0.2 * log(4 + p % 5) - 0.1 * k +
			                     0.5 * answer_noise(p, 3) +
			                     0.1 * answer_noise(p, 7 + k)) *
			                 (c >= move ? factor : 1) * 1e6) / 1e6 });
	}
}

static pd_watch_answer *watch(pd_store *s, pd_arena *arena,
                              pd_watch_request ask)
{
	pd_watch_answer *a = PD_NEW(arena, pd_watch_answer, 1);
	pd_run_options o = { .date = "2024-07-01" };
	pd_error err = { 0 };

	const char *until = ask.base_until;

	ask = pd_watch_usual("tnc", "concentration");
	ask.base_until = until;
	ck_assert_msg(pd_watch_run(s, &ask, &o, arena, a, &err) == PD_OK, "%s",
	              err.text);
	return a;
}

START_TEST(planted_shift)
{
	clinic(150, 0.6);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_watch_answer *a = watch(s, arena, (pd_watch_request){ 0 });
	const pd_signal *g = &a->signal[0];

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_uint_eq(a->chart[0].n, 240);
	ck_assert_uint_eq(a->chart[0].n_base, 80);
	ck_assert_uint_eq(a->n_marks, 1);
	ck_assert_str_eq(a->mark[0].words, "method version 'lab-b 1' begins");
	ck_assert_uint_eq(a->n_signals, 1); /* one shift, one signal */
	ck_assert_int_eq(g->state, PD_SHIFT_HELD);
	ck_assert(a->now_low < 0.6 && a->now_high > 0.6);
	ck_assert_str_eq(g->group, "all cases");
	/* case 150 stands on 2021-01-01 */
	ck_assert_msg(strncmp(g->since, "2020-1", 6) == 0 ||
	              strncmp(g->since, "2021-0", 6) == 0, "%s", g->since);
	ck_assert_msg(strncmp(g->date, "2021", 4) == 0, "%s", g->date);
	ck_assert_ptr_eq(g->beside, a->mark[0].words);
	ck_assert(g->low < 0.6 && g->high > 0.6);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

START_TEST(nothing_moved)
{
	clinic(240, 1);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_watch_answer *a = watch(s, arena, (pd_watch_request){ 0 });
	size_t all = 0;

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	for (size_t k = 0; k < a->n_signals; k++)
		all += a->signal[k].state == PD_SHIFT_HELD;
	/* 21 quarters at one false shift in 20: one may come, none stays */
	ck_assert_uint_le(a->n_signals, 2);
	ck_assert_uint_eq(all, 0);
	ck_assert_uint_eq(a->n_marks, 0);
	/* four operators, a quarter each; none apart from the others by more
	 * than chance, so that they are drawn together */
	ck_assert_uint_eq(a->n_funnel, 4);
	for (size_t k = 0; k < 4; k++) {
		const pd_funnel_row *f = &a->funnel[k];

		ck_assert_uint_eq(f->n, 60);
		ck_assert(!f->outside);
		ck_assert(fabs(log(f->shrunk)) <= fabs(log(f->mean)) + 1e-12);
		ck_assert(f->far_low < f->limit_low && f->limit_low < 1 &&
		          f->limit_high > 1 && f->far_high > f->limit_high);
	}
	ck_assert_str_eq(a->funnel[0].name, "op-a");
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

static const struct {
	pd_watch_request ask;
	pd_status st;
	const char *words;
} bad[] = {
	{ { .outcome = "luck", .judge = "concentration" }, PD_USAGE, "" },
	{ { .outcome = "tnc", .judge = "guess" }, PD_USAGE, "'judge'" },
	{ { .outcome = "tnc", .judge = "concentration", .adjust = "colour" },
	  PD_USAGE, "names 'colour'" },
	{ { .outcome = "tnc", .judge = "concentration",
	    .base_until = "last year" }, PD_USAGE, "expected a day" },
	{ { .outcome = "tnc", .judge = "concentration",
	    .base_until = "2016-02-01" }, PD_OK, "a baseline of 30" },
};

START_TEST(refusals)
{
	clinic(240, 1);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_watch_request ask = bad[_i].ask;
	pd_run_options o = { .date = "2024-07-01" };
	pd_watch_answer a;
	pd_error err = { 0 };

	ask.level = 0.95;
	ask.quarters = 20;
	ask.shift = 0.5;
	ask.lambda = 0.05;
	ck_assert_int_eq(pd_watch_run(s, &ask, &o, arena, &a, &err),
	                 bad[_i].st);
	const char *said = bad[_i].st == PD_OK ? a.refusal : err.text;

	ck_assert_ptr_nonnull(said);
	ck_assert_msg(strstr(said, bad[_i].words) != NULL, "%s", said);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("watch");
	TCase *c = tcase_create("charts"), *d = tcase_create("clinic");
	SRunner *r;
	int run, failed;

	pd_base_init();
	tcase_set_timeout(c, 60);
	tcase_add_test(c, chart_by_hand);
	tcase_add_test(c, order_alone);
	tcase_add_checked_fixture(d, answer_setup, answer_teardown);
	tcase_set_timeout(d, 60);
	tcase_add_test(d, planted_shift);
	tcase_add_test(d, nothing_moved);
	tcase_add_loop_test(d, refusals, 0, sizeof bad / sizeof *bad);
	suite_add_tcase(suite, c);
	suite_add_tcase(suite, d);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
