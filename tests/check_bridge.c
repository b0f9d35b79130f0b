/*
 * check_bridge.c - two method versions on the same pulls: which pulls count,
 * numbers against the agreement room, the factor against the planted one.
 */
#include "answer_help.h"
#include "plan/bridge.h"
#include "report/compose.h"
#include "stats/agree_repeated.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATIENTS = 24 };

static double x[2 * PATIENTS], y[2 * PATIENTS];
static int32_t who[2 * PATIENTS];

/* Two pulls a patient, each counted by both: the second reads factor times the
 * first, with noise of its own. */
static void counted_by_both(double factor)
{
	for (int p = 0; p < PATIENTS; p++)
		for (int k = 0; k < 2; k++) {
			double base = exp(3 + 0.5 * answer_noise(p, 1) - 0.3 * k);
			double t[2];

			for (int v = 0; v < 2; v++) {
				t[v] = base * (v ? factor : 1) *
				       exp(0.1 * answer_noise(p, 10 + 2 * k + v));
				t[v] = round(t[v] * 1e6) / 1e6;
				answer_add((struct pull){ .patient = p,
				    .site = 1, .aliquot = k + 1, .syringe = 10,
				    .age = 40, .volume = 5, .tnc = t[v],
				    .dish_1 = 0, .dish_2 = 0,
				    .version = v ? "lab-b 1" : "lab-a 1" });
			}
			x[2 * p + k] = log(t[0]);
			y[2 * p + k] = log(t[1]);
			who[2 * p + k] = p;
		}
}

static pd_bridge_answer *bridge(pd_store *s, pd_arena *arena,
                                pd_bridge_request ask)
{
	pd_bridge_answer *a = PD_NEW(arena, pd_bridge_answer, 1);
	pd_run_options o = { .date = "2024-07-01" };
	pd_error err = { 0 };

	ask.level = 0.95;
	ck_assert_msg(pd_bridge_run(s, &ask, &o, arena, a, &err) == PD_OK, "%s",
	              err.text);
	return a;
}

#define TNC .outcome = "tnc", .judge = "concentration"

START_TEST(planted_factor)
{
	counted_by_both(1.2);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_bridge_answer *a = bridge(s, arena, (pd_bridge_request){ TNC,
	    .first = "lab-a 1", .second = "lab-b 1", .margin = NAN });
	pd_limits_repeated want;

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_uint_eq(a->n_pulls, 2 * PATIENTS);
	ck_assert_uint_eq(a->n_patients, PATIENTS);
	ck_assert_int_eq(pd_agree_linked(y, x, who, 2 * PATIENTS, PATIENTS, 1.96,
	                                 0.95, &want, NULL), PD_OK);
	ck_assert_double_eq_tol(log(a->bias), want.limits.bias.value, 1e-9);
	ck_assert_double_eq_tol(log(a->bias_low), want.limits.bias.low, 1e-9);
	ck_assert_double_eq_tol(log(a->limit_high), want.limits.high, 1e-9);
	ck_assert(a->bias_low < 1.2 && a->bias_high > 1.2);
	for (size_t k = 0; k < PD_BRIDGE_PLACES; k++) {
		ck_assert_double_eq_tol(a->place[k].factor, 1.2, 0.08);
		ck_assert(a->place[k].low < a->place[k].factor &&
		          a->place[k].high > a->place[k].factor);
	}
	ck_assert(a->place[0].first < a->place[1].first &&
	          a->place[1].first < a->place[2].first);
	ck_assert_double_eq_tol(a->slope, 1, 0.1);
	ck_assert(a->same > 0.6 && a->same < 1);
	ck_assert_uint_eq(a->points.n_xy, 2 * PATIENTS);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* The other way round everything turns over. */
START_TEST(turned_over)
{
	counted_by_both(1.2);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_bridge_answer *a = bridge(s, arena, (pd_bridge_request){ TNC,
	    .first = "lab-a 1", .second = "lab-b 1", .margin = NAN });
	pd_bridge_answer *b = bridge(s, arena, (pd_bridge_request){ TNC,
	    .first = "lab-b 1", .second = "lab-a 1", .margin = NAN });

	ck_assert_double_eq_tol(a->bias * b->bias, 1, 1e-12);
	ck_assert_double_eq_tol(a->limit_low * b->limit_high, 1, 1e-10);
	ck_assert_double_eq_tol(a->slope * b->slope, 1, 1e-10);
	ck_assert_double_eq_tol(a->same, b->same, 1e-12);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Viability: differences in points. */
START_TEST(points)
{
	for (int p = 0; p < PATIENTS; p++)
		for (int v = 0; v < 2; v++) {
			static char cell[2 * PATIENTS][16];
			char *at = cell[2 * p + v];

			snprintf(at, sizeof cell[0], "%.1f", 90 + p % 5 -
			         2.5 * v + (p * 7 % 3) * 0.3 * v);
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = 1, .syringe = 10, .age = 40,
			    .volume = 5, .tnc = 30, .dish_1 = 3, .dish_2 = 4,
			    .viability = at,
			    .version = v ? "lab-b 1" : "lab-a 1" });
		}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_bridge_answer *a = bridge(s, arena, (pd_bridge_request){
	    .outcome = "viability", .judge = "percent", .first = "lab-a 1",
	    .second = "lab-b 1", .margin = NAN });

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_int_eq(a->scale, PD_DIFFERENCE);
	/* -2.5 and the mean of 0, 0.3, 0.6 */
	ck_assert_double_eq_tol(a->bias, -2.2, 1e-9);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Zero colonies by either: left out and counted. */
START_TEST(limits_left_out)
{
	for (int p = 0; p < PATIENTS; p++)
		for (int v = 0; v < 2; v++)
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = 1, .syringe = 10, .age = 40,
			    .volume = 5, .tnc = 30,
			    .dish_1 = v && p % 6 == 0 ? 0 : 9 + p % 7 + v,
			    .dish_2 = v && p % 6 == 0 ? 0 : 8 + p % 5,
			    .version = v ? "lab-b 1" : "lab-a 1" });
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_bridge_answer *a = bridge(s, arena, (pd_bridge_request){
	    .outcome = "cfu_f", .judge = "concentration", .first = "lab-a 1",
	    .second = "lab-b 1", .margin = NAN });

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_uint_eq(a->n_pulls, PATIENTS - 4);
	ck_assert_uint_eq(a->n_left_out, 4);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

START_TEST(refusals)
{
	counted_by_both(1.2);
	/* a third version, of pulls that no other counted */
	answer_add((struct pull){ .patient = PATIENTS, .site = 1, .aliquot = 1,
	    .syringe = 10, .age = 40, .volume = 5, .tnc = 21.5, .dish_1 = 0,
	    .dish_2 = 0, .version = "lab-c 1" });
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_bridge_answer *a = bridge(s, arena, (pd_bridge_request){ TNC,
	    .first = "lab-a 1", .second = "lab-c 1", .margin = NAN });
	pd_run_options o = { .date = "2024-07-01" };
	pd_bridge_request same = { TNC, .first = "lab-a 1",
		                   .second = "lab-a 1", .level = 0.95 };
	pd_bridge_request luck = { .outcome = "luck", .judge = "percent",
		                   .first = "a", .second = "b", .level = 0.95 };
	pd_bridge_request never = { TNC, .first = "lab-a 1",
		                    .second = "lab-d 1", .level = 0.95 };
	pd_bridge_answer out;
	pd_error err = { .text = "" };

	ck_assert_int_eq(pd_bridge_run(s, &never, &o, arena, &out, &err),
	                 PD_USAGE);
	ck_assert_msg(strstr(err.text, "no method version 'lab-d 1'") != NULL,
	              "%s", err.text);
	ck_assert_ptr_nonnull(a->refusal);
	ck_assert_ptr_nonnull(strstr(a->refusal, "0 pulls of 0 patients"));
	ck_assert_int_eq(pd_bridge_run(s, &same, &o, arena, &out, NULL),
	                 PD_USAGE);
	ck_assert_int_eq(pd_bridge_run(s, &luck, &o, arena, &out, NULL),
	                 PD_USAGE);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* The lead sentence and the margin say what the numbers say. */
START_TEST(words)
{
	static const struct {
		double factor, margin;
		const char *words;
	} row[] = {
		{ 1.2, 0.95, "They differ by more than the margin" },
		{ 1.0, 0.80, "On average and pull by pull" },
		{ 1.0, 0.95, "single pulls do not" },
		{ 1.06, 0.95, "is not settled" },
	};
	pd_arena *arena = pd_arena_new();
	pd_buf text;
	pd_doc *d;

	counted_by_both(row[_i].factor);
	pd_store *s = answer_load();
	pd_bridge_answer *a = bridge(s, arena, (pd_bridge_request){ TNC,
	    .first = "lab-a 1", .second = "lab-b 1",
	    .margin = row[_i].margin });

	ck_assert_int_eq(pd_compose_bridge(a, &d, NULL), PD_OK);
	pd_buf_init(&text);
	ck_assert_int_eq(pd_doc_write_tsv(d, &text, NULL), PD_OK);
	ck_assert_msg(strstr(pd_buf_text(&text), row[_i].words) != NULL, "%s",
	              pd_buf_text(&text));
	pd_buf_clear(&text);
	pd_doc_free(d);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("bridge");
	TCase *c = tcase_create("bridge");
	SRunner *r;
	int run, failed;

	tcase_add_checked_fixture(c, answer_setup, answer_teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, planted_factor);
	tcase_add_test(c, turned_over);
	tcase_add_test(c, points);
	tcase_add_test(c, limits_left_out);
	tcase_add_test(c, refusals);
	tcase_add_loop_test(c, words, 0, 4);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
