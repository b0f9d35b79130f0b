/*
 * check_changes.c - a review beside the one before it: what the ledger gives
 * back, words of intervals then and now, and when what is open is settled.
 */
#include "answer_help.h"
#include "base/changes.h"
#include "plan/changes.h"
#include "plan/verdict.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* By hand: needed = n (h / max(|b|, d - |b|))^2. */
static const struct {
	double b, h, d;
	size_t n;
	double a_year, needed, years;
	bool inside;
	pd_open_state state;
} table[] = {
	/* d = -ln 0.8: 0.22314355 - 0.1; 100 * (0.2 / 0.12314355)^2 */
	{ 0.1, 0.2, 0.22314355, 100, 50, 263.777, 3.27554, true,
	  PD_OPEN_AT_RATE },
	{ 0.15, 0.2, 0.22314355, 100, 50, 177.778, 1.55556, false,
	  PD_OPEN_AT_RATE },
	/* without a margin only "differs" can settle it */
	{ -0.05, 0.2, NAN, 100, 50, 1600, 30, false, PD_OPEN_FAR },
	{ -0.05, 0.2, NAN, 100, 200, 1600, 7.5, false, PD_OPEN_AT_RATE },
	{ 0, 0.2, NAN, 100, 50, INFINITY, INFINITY, false, PD_OPEN_FAR },
	{ 0.3, 0.2, 0.22314355, 100, 50, 44.4444, -1.11111, false,
	  PD_OPEN_BY_TESTS },
	{ 0.1, 0.2, 0.22314355, 100, NAN, 263.777, NAN, true,
	  PD_OPEN_NO_RATE },
	{ 0.1, 0.2, 0.22314355, 100, 0, 263.777, INFINITY, true,
	  PD_OPEN_NO_RATE },
	/* beyond the margin: it can only become a difference */
	{ -1.5, 2, 1, 7, 3, 12.4444, 1.81481, false, PD_OPEN_AT_RATE },
};

static void near_to(double got, double want)
{
	if (isnan(want) || isinf(want))
		ck_assert(isnan(want) ? isnan(got) : got == want);
	else
		ck_assert_double_eq_tol(got, want, 2e-5 * fabs(want));
}

START_TEST(by_hand)
{
	pd_open o;

	pd_changes_when(table[_i].b, table[_i].h, table[_i].d, table[_i].n,
	                table[_i].a_year, &o);
	near_to(o.needed, table[_i].needed);
	near_to(o.years, table[_i].years);
	ck_assert_int_eq(o.inside, table[_i].inside);
	ck_assert_int_eq(o.state, table[_i].state);
}
END_TEST

/* A hair more than the patients needed settle it by the verdict's own rule,
 * a hair fewer do not; and it is settled the way that was said. */
START_TEST(needed_settles)
{
	pd_stream s;

	pd_stream_init(&s, 20260105, 1);

	for (int i = 0; i < 4000; i++) {
		double b = pd_stream_normal(&s) * 0.3;
		double h = fabs(b) * (1 + 3 * pd_stream_uniform(&s)) + 1e-6;
		double d = i % 5 ? 0.05 + pd_stream_uniform(&s) : (double)NAN;
		pd_open o;

		pd_changes_when(b, h, d, 500, 100, &o);
		if (o.state == PD_OPEN_BY_TESTS || !isfinite(o.needed))
			continue;
		for (int side = -1; side <= 1; side += 2) {
			double n = o.needed * (1 + side * 1e-6);
			double g = h * sqrt(500 / n);
			pd_verdict v = pd_verdict_alone(PD_DIFFERENCE, d,
			                                b - g, b + g);

			if (side < 0)
				ck_assert_int_eq(v, PD_NOT_SETTLED);
			else if (o.inside)
				ck_assert_int_eq(v, PD_NO_MATTER);
			else
				ck_assert_int_eq(v, b > 0 ? PD_BETTER
				                          : PD_WORSE);
		}
	}
}
END_TEST

static const char plan_text[] =
    "[plan]\nlooks = 4\nmin_patients = 5\n"
    "[a]\ntitle = A\noutcome = tnc\njudge = concentration\n"
    "compare = aliquot_no 2 against 1\nwithin = site\nmargin = 0.80\n"
    "role = primary\n"
    "[b]\ntitle = B\noutcome = tnc\njudge = concentration\n"
    "compare = operator op-x against op-y\nmargin = 0.80\n";

static void add(int from, int to, double effect)
{
	for (int p = from; p < to; p++) {
		double base = exp(3 + 0.4 * answer_noise(p, 1));

		for (int k = 0; k < 2; k++)
			answer_add((struct pull){
			    .patient = p, .site = 1, .aliquot = k + 1,
			    .syringe = 10, .age = 40 + p % 30, .volume = 5,
			    .tnc = base * exp(effect * k +
			                      0.3 * answer_noise(p, 9 + k)),
			    .dish_1 = 10, .dish_2 = 12 });
	}
}

static void review(pd_store *s, pd_arena *a, const char *text,
                   const char *date, pd_review *r)
{
	pd_plan *plan = PD_NEW(a, pd_plan, 1);
	pd_error err = { 0 };
	pd_run_options o = { .date = date, .write_ledger = true };

	ck_assert_msg(pd_plan_parse(a, text, strlen(text), "t.plan", plan,
	                            &err) == PD_OK, "%s", err.text);
	ck_assert_msg(pd_run_review(s, plan, &o, a, r, &err) == PD_OK, "%s",
	              err.text);
	ck_assert_ptr_nonnull(r->changes);
}

/* The chart of a primary question holds both reviews as they were printed,
 * reading the same data again is none; other roles have none. */
static void readings(const pd_review *one, const pd_review *two)
{
	const pd_answer *a = &two->answer[0];

	ck_assert_uint_eq(one->answer[0].n_readings, 1);
	ck_assert_uint_eq(two->answer[1].n_readings, 0);
	ck_assert_uint_eq(a->n_readings, 2);
	ck_assert_str_eq(a->reading[0].date, "2024-04-01");
	ck_assert_str_eq(a->reading[1].date, "2024-07-01");
	ck_assert_uint_eq(a->reading[0].n_patients, 12);
	ck_assert_uint_eq(a->reading[1].n_patients, 72);
	for (size_t k = 0; k < 2; k++) {
		const pd_effect *e =
		    &(k ? two : one)->answer[0].effect[0];
		const pd_reading *r = &a->reading[k];

		ck_assert_double_eq_tol(r->value, e->value, 1e-12);
		ck_assert_double_eq_tol(r->low, e->low, 1e-12);
		ck_assert_double_eq_tol(r->high, e->high, 1e-12);
		ck_assert_double_eq_tol(r->information * e->log.se * e->log.se,
		                        1, 1e-12);
		ck_assert_double_eq_tol(r->z, e->log.value / e->log.se, 1e-9);
		/* beyond the boundary where the interval leaves out none */
		ck_assert_int_eq(fabs(r->z) > r->bound,
		                 e->low > 1 || e->high < 1);
		ck_assert_double_eq_tol(r->value / exp(r->bound * e->log.se),
		                        e->low, 1e-12);
	}
}

/* What the second review calls "then" is what the first one printed. */
START_TEST(second_review)
{
	pd_arena *a = pd_arena_new();
	pd_review one, again, two;

	add(0, 12, -0.12);
	pd_store *s = answer_load();

	review(s, a, plan_text, "2024-04-01", &one);
	ck_assert_uint_eq(one.changes->n_moved, 0);
	ck_assert_uint_eq(one.changes->n_new, 2);
	ck_assert_uint_eq(one.changes->n_drifts, 1);
	ck_assert_ptr_nonnull(one.changes->drift[0].refusal);
	review(s, a, plan_text, "2024-04-02", &again);
	ck_assert_uint_eq(again.changes->n_moved, 0);
	pd_store_close(s);
	answer_no_pulls();
	add(100, 160, -0.5);
	s = answer_load();
	review(s, a, plan_text, "2024-07-01", &two);
	ck_assert_uint_eq(two.changes->n_moved, 1);
	ck_assert_uint_eq(two.changes->n_new, 1);
	ck_assert_uint_eq(two.changes->n_reworded, 0);
	const pd_moved *m = &two.changes->moved[0];
	const pd_effect *then = &one.answer[0].effect[0];
	const pd_effect *now = &two.answer[0].effect[0];

	ck_assert_uint_eq(m->answer, 0);
	ck_assert_str_eq(m->date, "2024-04-01");
	ck_assert_double_eq_tol(m->value, then->value, 1e-12);
	ck_assert_double_eq_tol(m->low, then->low, 1e-12);
	ck_assert_double_eq_tol(m->high, then->high, 1e-12);
	ck_assert_int_eq(m->then, then->verdict);
	ck_assert_int_eq(m->then, PD_NOT_SETTLED);
	ck_assert_int_eq(m->now, now->verdict);
	ck_assert_int_eq(m->now, PD_WORSE);
	ck_assert_uint_eq(m->n_patients, 12);
	ck_assert_uint_eq(m->n_patients_now, 72);
	ck_assert_uint_eq(m->n_loads, 1);
	ck_assert_uint_eq(m->n_corrections, 0);
	ck_assert_uint_eq(one.changes->n_open, 1);
	ck_assert_uint_eq(two.changes->n_open, 0);
	readings(&one, &two);
	pd_store_close(s);
	pd_arena_free(a);
}
END_TEST

/* Another margin makes it another question, and that is said. */
START_TEST(other_words)
{
	pd_arena *a = pd_arena_new();
	char text[sizeof plan_text];
	pd_review one, two;

	add(0, 20, -0.3);
	pd_store *s = answer_load();

	review(s, a, plan_text, "2024-04-01", &one);
	snprintf(text, sizeof text, "%s", plan_text);
	memcpy(strstr(text, "0.80"), "0.85", 4);
	review(s, a, text, "2024-04-01", &two);
	ck_assert_uint_eq(two.changes->n_reworded, 0); /* on the same data */
	pd_store_close(s);
	answer_no_pulls();
	add(100, 104, -0.3);
	s = answer_load();
	memcpy(strstr(text, "0.85"), "0.90", 4);
	review(s, a, text, "2024-05-01", &two);
	ck_assert_uint_eq(two.changes->n_moved, 0);
	ck_assert_uint_eq(two.changes->n_reworded, 1);
	pd_store_close(s);
	pd_arena_free(a);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("changes");
	TCase *t = tcase_create("when");

	tcase_add_loop_test(t, by_hand, 0, sizeof table / sizeof *table);
	tcase_add_test(t, needed_settles);
	suite_add_tcase(s, t);
	t = tcase_create("readings");
	tcase_add_checked_fixture(t, answer_setup, answer_teardown);
	tcase_add_test(t, second_review);
	tcase_add_test(t, other_words);
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
