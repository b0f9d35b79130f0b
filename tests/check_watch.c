/*
 * check_watch.c - charts by hand, their run length, a planted shift with its
 * date and size, operators partially pooled.
 */
#include "answer_help.h"
#include "plan/watch.h"
#include "stats/control.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- recursions ---------------------------------------------------------- */

/* By hand, k = 0.5, h = 2: 1.5 -> 1, 2 -> 2.5 signal at the second; anew:
 * -1.5 -> down 1, -2.5 -> down 3 signal; 0.4 -> nothing. */
START_TEST(sums_by_hand)
{
	static const double z[] = { 1.5, 2, 0.2, -1.5, -2.5, 0.4 };
	double up[6], down[6];
	size_t at[4], from[4];

	ck_assert_uint_eq(pd_watch_sums(z, 6, 0.5, 2, up, down, at, from, 4), 2);
	ck_assert_double_eq_tol(up[0], 1, 1e-15);
	ck_assert_double_eq_tol(up[1], 2.5, 1e-15);
	ck_assert_double_eq_tol(down[3], 1, 1e-15);
	ck_assert_double_eq_tol(down[4], 3, 1e-15);
	ck_assert_double_eq(up[2], 0);
	ck_assert_uint_eq(at[0], 1);
	ck_assert_uint_eq(from[0], 0);
	ck_assert_uint_eq(at[1], 4);
	ck_assert_uint_eq(from[1], 3);
	/* more signals than room: counted, not written */
	ck_assert_uint_eq(pd_watch_sums(z, 6, 0.5, 2, up, down, at, from, 1), 2);
}
END_TEST

/* Two-sided chart of values that do not move: a signal in about 1 of 100
 * cases where designed for that; one moved by 1 SD is found in about 8. */
START_TEST(run_length)
{
	enum { N = 200000 };
	double *z = malloc(4 * N * sizeof *z), h, limit;
	size_t at[1], from[1];
	pd_stream s;

	ck_assert_ptr_nonnull(z);
	pd_stream_init(&s, 20261125, 0);
	for (size_t i = 0; i < N; i++)
		z[i] = pd_stream_normal(&s);
	ck_assert_int_eq(pd_control_sums_design(0.5, 100, &h, NULL), PD_OK);
	ck_assert_int_eq(pd_control_average_design(0.1, 100, &limit, NULL),
	                 PD_OK);
	double n = (double)pd_watch_sums(z, N, 0.5, h, z + N, z + 2 * N, at,
	                                 from, 1);

	ck_assert_double_eq_tol(N / n, 100, 5);
	/* limits widen from the first case on: a few more early signals than
	 * with the fixed limits the design takes */
	n = (double)pd_watch_average(z, N, 0.1, limit, z + N, z + 2 * N, at,
	                             from, 1);
	ck_assert_double_eq_tol(N / n, 93, 7);
	for (size_t i = 0; i < N; i++)
		z[i] += 1;
	n = (double)pd_watch_sums(z, N, 0.5, h, z + N, z + 2 * N, at, from, 1);
	ck_assert(N / n > 4 && N / n < 9);
	free(z);
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

	ask.outcome = "tnc";
	ask.judge = "concentration";
	ask.level = 0.95;
	ask.run_length = 400;
	ask.shift = 1;
	ask.lambda = 0.1;
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
	ck_assert_uint_ge(a->n_signals, 1);
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
		all += strcmp(a->signal[k].group, "all cases") == 0;
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
	ask.run_length = 400;
	ask.shift = 1;
	ask.lambda = 0.1;
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
	tcase_add_test(c, sums_by_hand);
	tcase_add_test(c, run_length);
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
