/*
 * check_missing.c - missing results counted by hand; the odds ratio of two
 * richnesses against that of the table of four.
 */
#include "answer_help.h"
#include "plan/missing.h"
#include "report/compose_missing.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Patients with TNC 10 and 20; of each so many without a viability. */
enum { POOR = 40, RICH = 44, POOR_WITHOUT = 15, RICH_WITHOUT = 6 };

static void one(int patient, double tnc, bool without, const char *op,
                const char *date)
{
	for (int k = 1; k <= 2; k++)
		answer_add((struct pull){
		    .patient = patient, .site = 1, .aliquot = k, .syringe = 10,
		    .age = 50, .volume = 5, .tnc = k == 1 ? tnc : tnc / 2,
		    .viability = k == 1 && without ? "" : "95",
		    .operator = op, .date = date, .dish_1 = 10, .dish_2 = 9 });
}

static pd_missing_answer *ask(pd_store *s, pd_arena *a)
{
	pd_missing_answer *m = PD_NEW(a, pd_missing_answer, 1);
	pd_run_options o = { .date = "2024-06-01" };
	pd_error err = { 0 };

	ck_assert_msg(pd_missing_run(s, &o, 0.95, a, m, &err) == PD_OK, "%s",
	              err.text);
	return m;
}

static const pd_missing_outcome *find(const pd_missing_answer *m,
                                      const char *brief)
{
	for (size_t k = 0; k < m->n_outcomes; k++)
		if (strcmp(m->outcome[k].brief, brief) == 0)
			return &m->outcome[k];
	ck_abort_msg("no outcome %s", brief);
	return NULL;
}

static void table(int poor_without, int rich_without)
{
	for (int p = 0; p < POOR; p++)
		one(p, 10, p < poor_without, "op-a", "2024-03-05");
	for (int p = 0; p < RICH; p++)
		one(100 + p, 20, p < rich_without, "op-a", "2024-03-05");
}

/* log odds ratio = ln(a d / (b c)), se = sqrt(1/a + 1/b + 1/c + 1/d)
 * (Woolf 1955): the model is saturated, one operator on one day. */
START_TEST(table_of_four)
{
	double a = RICH_WITHOUT, b = RICH - a, c = POOR_WITHOUT, d = POOR - c;
	double odds = a * d / (b * c);
	double se = sqrt(1 / a + 1 / b + 1 / c + 1 / d);
	pd_arena *arena = pd_arena_new();

	table(POOR_WITHOUT, RICH_WITHOUT);
	pd_store *s = answer_load();
	pd_missing_answer *m = ask(s, arena);
	const pd_missing_outcome *v = find(m, "Viable");

	ck_assert_ptr_null(v->not_tested);
	ck_assert_ptr_null(v->held);
	ck_assert_double_eq_tol(v->odds, odds, 1e-9);
	ck_assert_double_eq_tol(v->odds_low,
	                        odds * exp(-1.959963984540054 * se), 1e-9);
	ck_assert_double_eq_tol(v->odds_high,
	                        odds * exp(1.959963984540054 * se), 1e-8);
	ck_assert_double_eq_tol(v->p, erfc(fabs(log(odds)) / se / sqrt(2)),
	                        1e-9);
	ck_assert_double_eq(v->p, v->p_adjusted); /* the only one tested */
	ck_assert_uint_eq(v->n_pulls, 2 * (POOR + RICH));
	ck_assert_uint_eq(v->n_blank, POOR_WITHOUT + RICH_WITHOUT);
	ck_assert_uint_eq(v->n_value + v->n_blank, v->n_pulls);
	ck_assert_uint_eq(v->third[1].n, POOR);
	ck_assert_uint_eq(v->third[1].n_without, POOR_WITHOUT);
	ck_assert_uint_eq(v->third[2].n_without, RICH_WITHOUT);
	ck_assert_ptr_nonnull(find(m, "TNC")->not_tested);
	ck_assert_ptr_nonnull(find(m, "CFU-F")->not_tested);
	pd_store_close(s);
	pd_arena_free(arena);
}
END_TEST

/* Order of rows and the unit of richness do not matter; a case's second pull
 * is no second witness. */
START_TEST(order_does_not_matter)
{
	pd_arena *arena = pd_arena_new();
	double odds[2];

	for (int i = 0; i < 2; i++) {
		if (i) {
			answer_no_store();
			answer_shuffle();
		} else {
			table(POOR_WITHOUT, RICH_WITHOUT);
		}
		pd_store *s = answer_load();

		odds[i] = find(ask(s, arena), "Viable")->odds;
		pd_store_close(s);
	}
	ck_assert_double_eq_tol(odds[0], odds[1], 1e-12);
	pd_arena_free(arena);
}
END_TEST

START_TEST(too_few)
{
	pd_arena *arena = pd_arena_new();

	table(5, 4);
	pd_store *s = answer_load();
	const pd_missing_outcome *v = find(ask(s, arena), "Viable");

	ck_assert_str_eq(v->not_tested,
	                 "fewer than 10 first pulls are without it");
	ck_assert(isnan(v->odds) && isnan(v->p));
	pd_store_close(s);
	pd_arena_free(arena);
}
END_TEST

/* All the poor without, all the rich with: no odds exist. */
START_TEST(parted)
{
	pd_arena *arena = pd_arena_new();

	table(POOR, 0);
	pd_store *s = answer_load();
	const pd_missing_outcome *v = find(ask(s, arena), "Viable");

	ck_assert_ptr_nonnull(v->not_tested);
	ck_assert(isnan(v->odds));
	pd_store_close(s);
	pd_arena_free(arena);
}
END_TEST

/* The habit of one operator is not a dependence on the draw. */
START_TEST(operators_and_years)
{
	pd_arena *arena = pd_arena_new();

	for (int p = 0; p < 200; p++) {
		bool b = p % 2;
		double tnc = (b ? 10 : 20) * exp(0.4 * answer_noise(p, 3));

		one(p, tnc, answer_noise(p, 4) < (b ? 0.4 : -0.6),
		    b ? "op-b" : "op-a", p % 4 < 2 ? "2023-05-02" : "2024-03-05");
	}
	pd_store *s = answer_load();
	pd_missing_answer *m = ask(s, arena);
	const pd_missing_outcome *v = find(m, "Viable");

	ck_assert_str_eq(v->held, "operator and year");
	ck_assert_msg(v->p > 0.05, "P %g, odds %g", v->p, v->odds);
	ck_assert_uint_eq(m->operator_.n, 2);
	ck_assert_str_eq(m->operator_.name[0], "op-a");
	ck_assert_uint_eq(m->year.n, 2);
	ck_assert_str_eq(m->year.name[0], "2023");
	for (size_t k = 0; k < m->n_outcomes; k++) {
		size_t n = 0, without = 0;

		for (size_t i = 0; i < m->year.n; i++) {
			n += m->year.share[i * PD_MISSING_OUTCOMES + k].n;
			without += m->year.share[i * PD_MISSING_OUTCOMES + k]
			               .n_without;
		}
		ck_assert_uint_eq(n, m->outcome[k].n_pulls);
		ck_assert_uint_eq(without, m->outcome[k].n_failed +
		                               m->outcome[k].n_not_ordered +
		                               m->outcome[k].n_blank);
	}
	pd_store_close(s);
	pd_arena_free(arena);
}
END_TEST

START_TEST(in_words)
{
	pd_arena *arena = pd_arena_new();
	pd_text_style style = { .width = 200 };
	pd_error err = { 0 };
	pd_doc *d = NULL;
	pd_buf b;

	table(POOR_WITHOUT, RICH_WITHOUT);
	pd_store *s = answer_load();

	ck_assert_int_eq(pd_compose_missing(ask(s, arena), &d, &err), PD_OK);
	pd_buf_init(&b);
	ck_assert_int_eq(pd_doc_write_text(d, &style, &b, &err), PD_OK);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "In 1 of 1 outcomes"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "0.26 (95% CI,"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "0.26 (0.09 to 0.77)"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "richer marrow"));
	pd_buf_clear(&b);
	pd_doc_free(d);
	pd_store_close(s);
	pd_arena_free(arena);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("missing");
	TCase *t = tcase_create("missing");

	tcase_add_checked_fixture(t, answer_setup, answer_teardown);
	tcase_add_test(t, table_of_four);
	tcase_add_test(t, order_does_not_matter);
	tcase_add_test(t, too_few);
	tcase_add_test(t, parted);
	tcase_add_test(t, operators_and_years);
	tcase_add_test(t, in_words);
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
