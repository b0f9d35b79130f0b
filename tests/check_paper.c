/*
 * check_paper.c - the numbers of a manuscript: characteristics of a clinic
 * counted by hand and by R, totals against the answer's own flow, what the plan
 * said, and the ledger.
 */
#include "answer_help.h"
#include "plan/paper.h"
#include "report/compose.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ARM = 12 };
static const double age_10[ARM] = { 31, 37, 42, 44, 49, 53,
	                            55, 58, 61, 66, 70, 73 };
static const double age_50[ARM] = { 40, 45, 47, 52, 57, 59,
	                            63, 64, 68, 71, 75, 79 };
static const double ml_10[ARM] = { 2, 2, 3, 3, 3, 4, 4, 5, 6, 8, 10, 12 };
static const double ml_50[ARM] = { 2, 3, 3, 4, 5, 5, 6, 7, 9, 12, 20, 45 };
/* Odd patients are women. */
static const int who_10[ARM] = { 1, 3, 5, 7, 9, 11, 13, 2, 4, 6, 8, 10 };
static const int who_50[ARM] = { 21, 23, 25, 27, 22, 24, 26, 28, 30, 32, 34,
	                         36 };
static const char *const op_10[ARM] = { "a", "a", "a", "a", "a", "a",
	                                "b", "b", "b", "b", "c", "c" };
static const char *const op_50[ARM] = { "a", "a", "a", "b", "b", "b",
	                                "c", "c", "c", "c", "c", "c" };

static const char by_syringe[] =
    "[s]\ntitle = A?\noutcome = tnc\njudge = concentration\n"
    "compare = syringe_ml 10 against 50\nrole = primary\n"
    "assigned = operator choice\n";

static pd_arena *arena;
static pd_store *store;

static void setup(void)
{
	answer_setup();
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
	store = NULL;
}

static void teardown(void)
{
	pd_store_close(store);
	pd_arena_free(arena);
	answer_teardown();
}

static pd_plan *plan_of(const char *text)
{
	pd_plan *plan = PD_NEW(arena, pd_plan, 1);
	pd_error err = { 0 };

	ck_assert_msg(pd_plan_parse(arena, text, strlen(text), "t.plan", plan,
	                            &err) == PD_OK, "%s", err.text);
	return plan;
}

static pd_paper *paper_of(const char *text, const char *by, bool ledger)
{
	pd_paper *p = PD_NEW(arena, pd_paper, 1);
	pd_run_options o = { .date = answer_ask_date, .write_ledger = ledger };
	pd_error err = { 0 };

	ck_assert_msg(pd_paper_run(store, plan_of(text), by, 5, &o, arena, p,
	                           &err) == PD_OK, "%s", err.text);
	return p;
}

static void draw(int patient, int syringe, double age, double ml,
                 const char *op, int site, int aliquot)
{
	answer_add((struct pull){
	    .patient = patient, .site = site, .aliquot = aliquot,
	    .syringe = syringe, .age = age, .volume = ml, .operator = op,
	    .tnc = exp(3 + 0.3 * answer_noise(patient, 10 * site + aliquot)),
	    .dish_1 = 20 + (int)(9 * answer_noise(patient, site)),
	    .dish_2 = 22 });
}

static void two_arms(void)
{
	for (int i = 0; i < ARM; i++) {
		draw(who_10[i], 10, age_10[i], ml_10[i], op_10[i], 1, 1);
		draw(who_50[i], 50, age_50[i], ml_50[i], op_50[i], 1, 1);
	}
}

static const pd_paper_row *row(const pd_paper_table *t, const char *column,
                               const char *category)
{
	for (size_t i = 0; i < t->n_rows; i++)
		if (strcmp(t->row[i].column, column) == 0 &&
		    (!category || (t->row[i].category &&
		                   strcmp(t->row[i].category, category) == 0)))
			return &t->row[i];
	ck_abort_msg("no row %s", column);
	return NULL;
}

/* R 4.2.2: mean, sd, quantile(type = 7); |m1 - m2| / sqrt((v1 + v2) / 2);
 * shares with p (1 - p); sqrt(T' S^-1 T) of the operators' shares (Yang &
 * Dalton 2012). */
START_TEST(by_hand)
{
	two_arms();
	store = answer_load();
	const pd_paper_table *t = &paper_of(by_syringe, NULL, false)->table;
	const pd_paper_row *age = row(t, "age_y", NULL);
	const pd_paper_row *ml = row(t, "volume_ml", NULL);
	const pd_paper_row *sex = row(t, "sex", "female");
	const pd_paper_row *op = row(t, "operator", "a");

	ck_assert_uint_eq(t->n_arms, 2);
	ck_assert_str_eq(t->arm[0], "10 mL syringe");
	ck_assert_uint_eq(age->cell[0].n, ARM);
	ck_assert(!age->skewed && age->decimals == 0);
	ck_assert_double_eq_tol(age->cell[0].mean, 53.25, 1e-12);
	ck_assert_double_eq_tol(age->cell[0].sd, 13.171077128590, 1e-11);
	ck_assert_double_eq_tol(age->cell[1].mean, 60, 1e-12);
	ck_assert_double_eq_tol(age->cell[1].sd, 12.299297836573, 1e-11);
	ck_assert_double_eq_tol(age->difference, 0.529717341507, 1e-11);
	ck_assert_uint_eq(sex->cell[0].count, 7);
	ck_assert_uint_eq(sex->cell[1].count, 4);
	ck_assert_uint_eq(sex->cell[2].count, 11);
	ck_assert_double_eq_tol(sex->difference, 0.518321055349, 1e-11);
	ck_assert_double_eq_tol(op->difference, 0.776363140565, 1e-11);
	ck_assert(isnan(row(t, "operator", "b")->difference));
	ck_assert(ml->skewed);
	ck_assert_double_eq_tol(ml->cell[0].median, 4, 1e-12);
	ck_assert_double_eq_tol(ml->cell[0].low, 3, 1e-12);
	ck_assert_double_eq_tol(ml->cell[0].high, 6.5, 1e-12);
	ck_assert_double_eq_tol(ml->cell[1].low, 3.75, 1e-12);
	ck_assert_double_eq_tol(ml->cell[1].high, 9.75, 1e-12);
	ck_assert_double_eq_tol(ml->cell[2].high, 8.25, 1e-12);
	ck_assert_double_eq_tol(ml->difference, 0.556284306548, 1e-11);
	/* what parts the arms is kept for the sheets only */
	ck_assert(row(t, "syringe_ml", NULL)->aside);
	ck_assert_uint_eq(t->n_both, 0);
}
END_TEST

START_TEST(missing_values_are_counted)
{
	two_arms();
	for (int i = 0; i < 4; i++) /* no operator, another arm's patient */
		answer_add((struct pull){ .patient = 40 + i, .site = 1,
		                          .aliquot = 1, .syringe = 50,
		                          .age = 60, .volume = 5, .tnc = 20,
		                          .operator = "", .dish_1 = 9,
		                          .dish_2 = 8 });
	store = answer_load();
	const pd_paper_table *t = &paper_of(by_syringe, NULL, false)->table;
	const pd_paper_row *op = row(t, "operator", "a");

	ck_assert_uint_eq(op->cell[1].n, ARM);
	ck_assert_uint_eq(op->cell[1].missing, 4);
	ck_assert_uint_eq(op->cell[0].missing, 0);
	ck_assert_uint_eq(t->n[PD_PAPER_PATIENT][1], ARM + 4);
	ck_assert_double_eq_tol(op->difference, 0.776363140565, 1e-11);
}
END_TEST

/* --- totals ---------------------------------------------------------------- */

static void many(int patients)
{
	for (int p = 1; p <= patients; p++)
		for (int site = 1; site <= 1 + p % 3; site++)
			for (int k = 1; k <= 1 + (p + site) % 2; k++)
				draw(p, (p + site) % 2 ? 10 : 50,
				     40 + 30 * answer_noise(p, 1),
				     5 + site + answer_noise(p, site), "op-a",
				     site, k);
}

static const char four[] =
    "[plan]\nmin_patients = 5\n"
    "[pair]\ntitle = B?\noutcome = tnc\njudge = concentration\n"
    "compare = aliquot_no 2 against 1\nwithin = site\nrole = primary\n"
    "[inside]\ntitle = C?\noutcome = cfu_f\njudge = concentration\n"
    "compare = syringe_ml 10 against 50\nwithin = case\nadjust = log volume_ml\n"
    "role = secondary\n"
    "[slope]\ntitle = D?\noutcome = tnc\njudge = yield per site\n"
    "slope = site_ml per doubling\nadjust = age_y\n"
    "[case]\ntitle = E?\noutcome = tnc\njudge = yield per case\n"
    "slope = n_sites per doubling\nadjust = sex\n"
    "[curve]\ntitle = F?\noutcome = tnc\njudge = concentration\n"
    "curve = age_y 60 against 40\n"
    "[none]\ntitle = G?\noutcome = tnc\njudge = concentration\n"
    "compare = syringe_ml 5 against 20\n";

static void same_totals(const pd_paper *p)
{
	const pd_paper_table *t = &p->table;
	const pd_answer *a = &p->review.answer[t->answer];
	const pd_flow *f = &a->flow[a->n_flow - 1];

	ck_assert_msg(!t->none, "%s: %s", a->name, t->none);
	ck_assert_uint_eq(t->n[PD_PAPER_PATIENT][t->n_arms], f->n_patients);
	ck_assert_uint_eq(t->n[PD_PAPER_CASE][t->n_arms], f->n_cases);
	if (f->n_sites)
		ck_assert_uint_eq(t->n[PD_PAPER_SITE][t->n_arms], f->n_sites);
	ck_assert_uint_eq(t->n[PD_PAPER_RESULT][t->n_arms], f->n_rows);
	for (size_t k = 0; k < t->n_arms; k++) {
		ck_assert_uint_le(t->n[PD_PAPER_PULL][k],
		                  t->n[PD_PAPER_PULL][t->n_arms]);
		if (!(a->used & PD_USED_PAIRS)) {
			ck_assert_uint_eq(t->n[PD_PAPER_PATIENT][k],
			                  a->levels[k].n_patients);
			ck_assert_uint_eq(t->n[PD_PAPER_RESULT][k],
			                  a->levels[k].n_rows);
		}
	}
	for (size_t i = 0; i < t->n_rows; i++)
		for (size_t k = 0; k <= t->n_arms; k++)
			ck_assert_uint_eq(t->row[i].cell[k].n +
			                      t->row[i].cell[k].missing,
			                  t->n[t->row[i].level][k]);
}

START_TEST(totals_are_the_answers)
{
	static const char *const names[] = { "pair", "inside", "slope", "case",
		                             "curve" };

	many(60);
	store = answer_load();
	for (size_t i = 0; i < 5; i++) {
		pd_paper *p = paper_of(four, names[i], false);

		same_totals(p);
		ck_assert_uint_eq(p->table.n_arms, i < 2 ? 2 : 0);
		ck_assert((p->table.no_arms != NULL) == (i >= 2));
		if (i == 0) {
			ck_assert_uint_eq(p->review.answer[0].used,
			                  PD_USED_PAIRS);
			ck_assert(p->table.no_difference &&
			          p->table.deepest == PD_PAPER_SITE);
			ck_assert(isnan(row(&p->table, "age_y",
			                    NULL)->difference));
			ck_assert(isfinite(row(&p->table, "volume_ml",
			                       NULL)->difference));
			/* every pair has both: the same in all columns */
			ck_assert_uint_eq(p->table.n_both,
			                  p->table.n[0][2]);
		}
		if (i == 1)
			ck_assert(p->review.answer[1].used & PD_USED_SPLIT);
	}
}
END_TEST

/* Words of each characteristic add up to the units with a value. */
START_TEST(words_add_up)
{
	size_t sum = 0, n = 0;

	many(60);
	store = answer_load();
	const pd_paper_table *t = &paper_of(four, "inside", false)->table;

	for (size_t i = 0; i < t->n_rows; i++) {
		const pd_paper_row *r = &t->row[i];

		if (!r->category || strcmp(r->category, "yes") == 0)
			continue;
		if (r->first) {
			ck_assert_uint_eq(sum, n);
			sum = 0;
		}
		sum += r->cell[1].count;
		n = r->cell[1].n;
	}
	ck_assert_uint_eq(sum, n);
	ck_assert_uint_gt(n, 0);
}
END_TEST

START_TEST(shuffled_rows_change_nothing)
{
	many(40);
	store = answer_load();
	const pd_paper_table *a = &paper_of(four, "inside", false)->table;

	pd_store_close(store);
	answer_no_store();
	answer_shuffle();
	store = answer_load();
	const pd_paper_table *b = &paper_of(four, "inside", false)->table;

	ck_assert_uint_eq(a->n_rows, b->n_rows);
	for (size_t i = 0; i < a->n_rows; i++)
		for (size_t k = 0; k <= a->n_arms; k++) {
			const pd_paper_cell *x = &a->row[i].cell[k];
			const pd_paper_cell *y = &b->row[i].cell[k];

			ck_assert_uint_eq(x->n, y->n);
			ck_assert_uint_eq(x->count, y->count);
			if (!a->row[i].category && x->n)
				ck_assert_double_eq_tol(x->mean, y->mean,
				                        1e-12 * fabs(x->mean));
		}
}
END_TEST

/* --- words of real plans ------------------------------------------------------ */

static char *methods_of(const pd_paper *p)
{
	pd_doc *d = NULL;
	pd_buf b;
	pd_error err = { 0 };
	pd_text_style style = { .width = 200 };

	pd_buf_init(&b);
	ck_assert_int_eq(pd_compose_paper(p, &d, &err), PD_OK);
	ck_assert_int_eq(pd_doc_write_text(d, &style, &b, &err), PD_OK);
	pd_doc_free(d);
	const char *from = strstr(pd_buf_text(&b), "\nMethods text\n");
	const char *to = strstr(pd_buf_text(&b), "\nSoftware and data\n");

	ck_assert(from && to);
	char *out = strndup(from, (size_t)(to - from));

	ck_assert_ptr_nonnull(out);
	for (char *c = out; *c; c++)
		if (*c == '\n')
			*c = ' ';
	pd_buf_clear(&b);
	return out;
}

/* The answer's own sentence and its lines, by their words, against the text. */
static const struct {
	const char *of_answer, *of_paper;
} same_words[] = {
	{ "paired differences with a t interval", "Student's t" },
	{ "Kenward-Roger", "Kenward and Roger" },
	{ "Only differences inside the same", "parted into what differs" },
	{ "known only between limits are drawn", "drawn repeatedly" },
	{ "restricted cubic spline", "restricted cubic splines" },
};

static const struct {
	const char *line, *of_paper;
} same_lines[] = {
	{ "rank-based: signed-rank", "signed-rank test" },
	{ "permutation", "permutation test" },
	{ "bootstrap", "bootstrap interval" },
	{ "mixed model inside", "in place of pairs" },
	{ "unadjusted, across", "unadjusted analysis across" },
	{ "made alike by overlap", "overlap weights" },
	{ "with a calendar slope", "calendar slope added" },
	{ "zeros and limits left", "zeros and limits left out" },
	{ "errors counted by patient", "errors robust" },
	{ "colonies as counts", "negative binomial" },
	{ "first case of each", "first case of each patient" },
};

static void agrees(const char *plan)
{
	pd_paper *p = paper_of(plan, NULL, false);
	const pd_answer *a = &p->review.answer[0];
	char *text = methods_of(p);

	ck_assert_msg(!a->refusal, "%s: %s", plan, a->refusal);
	for (size_t i = 0; i < sizeof same_words / sizeof *same_words; i++)
		ck_assert_msg(
		    (strstr(a->method, same_words[i].of_answer) != NULL) ==
		        (strstr(text, same_words[i].of_paper) != NULL),
		    "'%s' of '%s' in: %s", same_words[i].of_paper, a->method,
		    text);
	for (size_t i = 0; i < sizeof same_lines / sizeof *same_lines; i++) {
		const pd_sensitivity *l = answer_line(a, same_lines[i].line);

		ck_assert_msg((l && l->done) ==
		                  (strstr(text, same_lines[i].of_paper) != NULL),
		              "'%s' in: %s", same_lines[i].of_paper, text);
	}
	free(text);
}

START_TEST(methods_change_with_the_plan)
{
	static const char *const plans[] = {
		"[a]\ntitle = A?\noutcome = tnc\njudge = concentration\n"
		"compare = aliquot_no 2 against 1\nwithin = site\n",
		"[a]\ntitle = A?\noutcome = cfu_f\njudge = concentration\n"
		"compare = syringe_ml 10 against 50\nwithin = case\n"
		"adjust = log volume_ml\nmargin = 0.8\n",
		"[a]\ntitle = A?\noutcome = cfu_f\njudge = concentration\n"
		"slope = volume_ml per 1\nadjust = age_y\nrole = secondary\n",
		"[a]\ntitle = A?\noutcome = tnc\njudge = concentration\n"
		"curve = age_y 60 against 40\nadjust = sex\n",
		"[a]\ntitle = A?\noutcome = tnc\njudge = concentration\n"
		"compare = sex female against male\nadjust = age_y\n",
	};

	many(60);
	for (int p = 101; p <= 106; p++) /* dishes without a colony */
		answer_add((struct pull){ .patient = p, .site = 9, .aliquot = 1,
		                          .syringe = 10, .age = 50,
		                          .volume = 5, .tnc = 20 });
	store = answer_load();
	for (size_t i = 0; i < sizeof plans / sizeof *plans; i++)
		agrees(plans[i]);
}
END_TEST

/* --- the rest --------------------------------------------------------------- */

START_TEST(a_refused_question_has_no_table)
{
	many(30);
	store = answer_load();
	pd_paper *p = paper_of(four, "none", false);

	ck_assert_ptr_nonnull(p->table.none);
	ck_assert_str_eq(p->table.none,
	                 p->review.answer[p->table.answer].refusal);
	/* unasked, the first answered primary question is taken */
	ck_assert_str_eq(p->review.answer[paper_of(four, NULL, false)
	                                      ->table.answer].name, "pair");
}
END_TEST

START_TEST(an_unknown_question_is_wrong_use)
{
	pd_run_options o = { .date = answer_ask_date };
	pd_error err = { 0 };
	pd_paper p;

	many(12);
	store = answer_load();
	ck_assert_int_eq(pd_paper_run(store, plan_of(four), "nosuch", 5, &o,
	                              arena, &p, &err), PD_USAGE);
	ck_assert_ptr_nonnull(strstr(err.text, "nosuch"));
}
END_TEST

START_TEST(what_the_plan_said)
{
	two_arms();
	store = answer_load();
	pd_paper *p = paper_of(by_syringe, NULL, false);

	ck_assert_str_eq(p->question[0].assigned, "operator choice");
	ck_assert_str_eq(p->question[0].first_read, answer_ask_date);
	ck_assert_uint_eq(p->question[0].files_after, 0);
	ck_assert_ptr_null(p->question[0].where);
	ck_assert_ptr_null(p->question[0].held);
	p = paper_of("[a]\ntitle = H?\noutcome = tnc\njudge = concentration\n"
	             "slope = volume_ml per 1\nadjust = log syringe_ml, sex\n"
	             "where = side_word is left or right; age_y from 20 to 90; "
	             "volume_ml at least 2\n", NULL, false);
	ck_assert_str_eq(p->question[0].where,
	                 "side of the body is left or right; age at the case "
	                 "from 20 to 90; volume drawn at least 2");
	ck_assert_str_eq(p->question[0].held, "log of syringe size, sex");
	ck_assert_uint_eq(p->n_sources, 1);
	ck_assert_ptr_null(strstr(p->source[0], "draws.csv"));
	ck_assert_uint_gt(p->n_libraries, 3);
	ck_assert_uint_eq(p->n_cultured, 2 * ARM);
	ck_assert_uint_eq(p->n_plated, 2 * ARM);
	ck_assert_uint_eq(p->n_days, 0);
}
END_TEST

/* A paper and a review of the same plan on the same data are one look. */
START_TEST(a_paper_is_a_reading)
{
	pd_review r;
	pd_run_options o = { .date = answer_ask_date, .write_ledger = true };
	pd_error err = { 0 };

	two_arms();
	store = answer_load();
	pd_paper *p = paper_of(by_syringe, NULL, true);

	ck_assert_uint_eq(p->review.answer[0].n_looks, 1);
	ck_assert_int_eq(pd_run_review(store, plan_of(by_syringe), &o, arena,
	                               &r, &err), PD_OK);
	ck_assert_uint_eq(r.answer[0].n_looks, 1);
	ck_assert_double_eq(r.answer[0].effect[0].low,
	                    p->review.answer[0].effect[0].low);
	ck_assert_double_eq(r.answer[0].effect[0].log.p,
	                    p->review.answer[0].effect[0].log.p);
}
END_TEST

static Suite *paper_suite(void)
{
	Suite *s = suite_create("paper");
	TCase *c = tcase_create("characteristics");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 120);
	tcase_add_test(c, by_hand);
	tcase_add_test(c, missing_values_are_counted);
	tcase_add_test(c, totals_are_the_answers);
	tcase_add_test(c, words_add_up);
	tcase_add_test(c, shuffled_rows_change_nothing);
	suite_add_tcase(s, c);
	c = tcase_create("the reading");
	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 120);
	tcase_add_test(c, methods_change_with_the_plan);
	tcase_add_test(c, a_refused_question_has_no_table);
	tcase_add_test(c, an_unknown_question_is_wrong_use);
	tcase_add_test(c, what_the_plan_said);
	tcase_add_test(c, a_paper_is_a_reading);
	suite_add_tcase(s, c);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(paper_suite());

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
