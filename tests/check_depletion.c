/*
 * check_depletion.c - pulls and sites side by side: cells by hand with patients
 * as units, each side against its own first pull, needles that moved, and which
 * questions ask for it.
 */
#include "answer_help.h"
#include "plan/depletion.h"
#include "plan/run.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

static pd_arena *arena;

static void setup(void)
{
	pd_base_init();
	arena = pd_arena_new();
}

static void teardown(void)
{
	pd_arena_free(arena);
}

/* --- by hand ------------------------------------------------------------ */

/* Patient, side, site in it, pull, y. Patient 0 has two sides, patient 2 no
 * first pull; patient 1's first pull was counted twice. */
static const struct {
	int32_t patient, side;
	double hole, pull, y;
} made[] = {
	{ 0, 0, 1, 1, 3.10 }, { 0, 0, 1, 2, 2.40 }, { 0, 0, 2, 1, 2.95 },
	{ 0, 1, 1, 1, 3.30 }, { 0, 1, 1, 2, 2.90 }, { 1, 2, 1, 1, 2.00 },
	{ 1, 2, 1, 1, 2.20 }, { 1, 2, 1, 2, 1.75 }, { 1, 2, 5, 1, 1.00 },
	{ 2, 3, 1, 2, 2.62 }, { 3, 4, 1, 1, 2.71 }, { 3, 4, 1, 2, 1.93 },
	{ 3, 4, 1, 6, 1.11 },
};

static void cells(pd_scale scale, pd_depletion *d)
{
	enum { N = COUNT(made) };
	static int32_t patient[N], side[N];
	static double y[N], hole[N], pull[N];
	pd_rows r = { .n = N, .depth = 2,
		      .level_name = { "patient", "side" },
		      .group = { patient, side }, .n_groups = { 4, 5 } };
	pd_error err = { 0 };

	for (size_t i = 0; i < N; i++) {
		patient[i] = made[i].patient;
		side[i] = made[i].side;
		y[i] = made[i].y;
		hole[i] = made[i].hole;
		pull[i] = made[i].pull;
	}
	*d = (pd_depletion){ .scale = scale, .level = 0.95, .least = 3 };
	ck_assert_int_eq(pd_depletion_cells(&r, y, hole, pull, arena, arena, d,
	                                    &err), PD_OK);
}

/*
 * By hand. Pull 1 of site 1: patients' means 3.20 (two sides), 2.10 (counted
 * twice), 2.71; pull 2: 2.65, 1.75, 2.62, 1.93. Against the first pull of the
 * own side: patient 0 the mean of -0.70 and -0.40, patient 1 -0.35, patient 3
 * -0.78; patient 2 has none. t quantiles at 95 %: 4.302653 (2), 3.182446 (3).
 */
START_TEST(by_hand)
{
	pd_depletion d;

	cells(PD_RATIO, &d);
	const pd_depletion_cell *c = &d.cell[0][0];

	ck_assert_uint_eq(c->n_patients, 3);
	ck_assert_uint_eq(c->n_results, 5);
	ck_assert_double_eq_tol(log(c->centre), 2.67, 1e-12);
	/* sd 0.551090 of three: 2.67 -+ 4.302653 * 0.551090 / sqrt(3) */
	ck_assert_double_eq_tol(log(c->low), 2.67 - 1.368985, 2e-6);
	ck_assert_double_eq_tol(log(c->high), 2.67 + 1.368985, 2e-6);
	ck_assert(isnan(c->ratio));
	ck_assert_uint_eq(c->n_both, 0);
	ck_assert_double_eq_tol(c->point[1], exp(2.10), 1e-12);
	c = &d.cell[0][1];
	ck_assert_uint_eq(c->n_patients, 4);
	ck_assert_uint_eq(c->n_results, 5);
	ck_assert_double_eq_tol(log(c->centre), 2.2375, 1e-12);
	ck_assert_uint_eq(c->n_both, 3);
	/* -0.55, -0.35, -0.78: mean -0.56, sd 0.215174 */
	ck_assert_double_eq_tol(log(c->ratio), -0.56, 1e-12);
	ck_assert_double_eq_tol(log(c->ratio_low), -0.56 - 0.534522, 2e-6);
	ck_assert_double_eq_tol(log(c->ratio_high), -0.56 + 0.534522, 2e-6);
	/* one patient: a number without an interval */
	c = &d.cell[1][0];
	ck_assert_uint_eq(c->n_patients, 1);
	ck_assert_double_eq_tol(c->centre, exp(2.95), 1e-12);
	ck_assert(isnan(c->low) && isnan(c->high));
	ck_assert_double_eq_tol(c->ratio, exp(-0.15), 1e-12);
	ck_assert(isnan(c->ratio_low));
	/* site 5 and pull 6 are counted, not shown */
	ck_assert_uint_eq(d.n_further, 2);
	ck_assert_uint_eq(d.n_holes, 2);
	ck_assert_uint_eq(d.n_pulls, 2);
	ck_assert_uint_eq(d.cell[3][3].n_patients, 0);
	ck_assert(isnan(d.cell[3][3].centre));
}
END_TEST

/* Percentages: the same numbers, not as logs. */
START_TEST(differences)
{
	pd_depletion d;

	cells(PD_DIFFERENCE, &d);
	ck_assert_double_eq_tol(d.cell[0][0].centre, 2.67, 1e-12);
	ck_assert_double_eq_tol(d.cell[0][1].ratio, -0.56, 1e-12);
}
END_TEST

/* --- from a store ------------------------------------------------------- */

static const char plan_text[] =
    "[plan]\nmin_patients = 5\n"
    "[one]\ntitle = A\noutcome = tnc\njudge = concentration\n"
    "compare = aliquot_no 2 against 1\nwithin = site\nmargin = 0.80\n"
    "where = aliquot_no is 1 or 2; operator is op-a\n"
    "[two]\ntitle = B\noutcome = tnc\njudge = concentration\n"
    "slope = ml_before_side per 10\nmargin = 0.80\n"
    "[three]\ntitle = C\noutcome = viability\njudge = percent\n"
    "compare = site_in_side 2 against 1\nwithin = side\n"
    "margin = 2 points\n"
    "[four]\ntitle = D\noutcome = cfu_f\njudge = concentration\n"
    "compare = operator op-a against op-b\nmargin = 0.80\n";

static void review(pd_store *s, const char *text, pd_review *r)
{
	pd_plan *plan = PD_NEW(arena, pd_plan, 1);
	pd_error err = { 0 };
	pd_run_options o = { .date = "2024-07-01" };

	ck_assert_msg(pd_plan_parse(arena, text, strlen(text), "t.plan", plan,
	                            &err) == PD_OK, "%s", err.text);
	ck_assert_msg(pd_run_review(s, plan, &o, arena, r, &err) == PD_OK,
	              "%s", err.text);
}

/* Pulls halve from one to the next and sites lose a fifth; of patient 1 the
 * needle is moved before pull 2, of patient 2 before pull 3. */
static void add_clinic(int patients)
{
	for (int p = 0; p < patients; p++)
		for (int site = 1; site <= 2; site++)
			for (int k = 1; k <= 3; k++)
				answer_add((struct pull){
				    .patient = p, .site = site, .aliquot = k,
				    .syringe = 10, .age = 40 + p % 30,
				    .volume = 5, .dish_1 = 10, .dish_2 = 12,
				    .operator = p % 4 == 3 ? "op-b" : "op-a",
				    .move = p == 1 && k == 2   ? "rotate"
				            : p == 2 && k == 3 ? "advance"
				                               : "none",
				    .tnc = exp(4 + 0.3 * answer_noise(p, 1)) *
				           pow(0.5, k - 1) *
				           pow(0.8, site - 1) });
}

START_TEST(from_a_store)
{
	pd_review r = { 0 };

	answer_setup();
	add_clinic(24);
	pd_store *s = answer_load();

	review(s, plan_text, &r);
	ck_assert_uint_eq(r.n_depletions, 2);
	const pd_depletion *d = &r.depletion[0];

	ck_assert_str_eq(d->outcome_words, "total nucleated cells");
	ck_assert_str_eq(d->where_text, "operator is op-a");
	ck_assert_uint_eq(d->least, 5);
	ck_assert_uint_eq(d->n_holes, 2);
	ck_assert_uint_eq(d->n_pulls, 3);
	/* 18 patients of op-a; those whose needle had moved are gone */
	ck_assert_uint_eq(d->cell[0][0].n_patients, 18);
	ck_assert_uint_eq(d->cell[0][1].n_patients, 17);
	ck_assert_uint_eq(d->cell[1][2].n_patients, 16);
	ck_assert_uint_eq(d->cell[1][2].n_both, 16);
	for (size_t h = 0; h < 2; h++)
		for (size_t k = 0; k < 3; k++)
			if (h + k)
				ck_assert_double_eq_tol(
				    d->cell[h][k].ratio,
				    pow(0.5, (double)k) * (h ? 0.8 : 1),
				    1e-6);
	/* viability is a difference, and of all operators */
	d = &r.depletion[1];
	ck_assert_int_eq(d->scale, PD_DIFFERENCE);
	ck_assert_ptr_null(d->where_text);
	ck_assert_uint_eq(d->cell[0][0].n_patients, 24);
	ck_assert_double_eq_tol(d->cell[1][0].ratio, 0, 1e-12);
	pd_store_close(s);
	answer_teardown();
}
END_TEST

/* Zero colonies lie between limits and stay in. */
START_TEST(zeros_stay)
{
	static const char text[] =
	    "[plan]\nmin_patients = 5\n"
	    "[one]\ntitle = A\noutcome = cfu_f\njudge = concentration\n"
	    "compare = aliquot_no 2 against 1\nwithin = site\nmargin = 0.80\n";
	pd_review r = { 0 };

	answer_setup();
	for (int p = 0; p < 30; p++)
		for (int k = 1; k <= 2; k++)
			answer_add((struct pull){
			    .patient = p, .site = 1, .aliquot = k,
			    .syringe = 10, .age = 50, .volume = 5, .tnc = 30,
			    .dish_1 = k == 2 && p % 6 == 0 ? 0 : 8 / k + p % 3,
			    .dish_2 = k == 2 && p % 6 == 0 ? 0 : 9 / k });
	pd_store *s = answer_load();

	review(s, text, &r);
	ck_assert_uint_eq(r.n_depletions, 1);
	ck_assert_uint_eq(r.depletion[0].n_censored, 5);
	ck_assert_uint_eq(r.depletion[0].cell[0][1].n_patients, 30);
	ck_assert(isfinite(r.depletion[0].cell[0][1].ratio_low));
	ck_assert_double_lt(r.depletion[0].cell[0][1].ratio_high, 1);
	pd_store_close(s);
	answer_teardown();
}
END_TEST

/* One site and one pull: a table of one cell, nothing to hold it against. */
START_TEST(one_cell)
{
	static const char text[] =
	    "[one]\ntitle = A\noutcome = tnc\njudge = concentration\n"
	    "compare = aliquot_no 2 against 1\nwithin = site\n"
	    "[no]\ntitle = B\noutcome = cd271\njudge = concentration\n"
	    "compare = aliquot_no 2 against 1\nwithin = site\n";
	pd_review r = { 0 };

	answer_setup();
	for (int p = 0; p < 8; p++)
		answer_add((struct pull){ .patient = p, .site = 1,
		                          .aliquot = 1, .syringe = 10,
		                          .age = 50, .volume = 5, .tnc = 30,
		                          .dish_1 = 3, .dish_2 = 4 });
	pd_store *s = answer_load();

	review(s, text, &r);
	ck_assert_uint_eq(r.n_depletions, 1);
	ck_assert_uint_eq(r.depletion[0].n_holes * r.depletion[0].n_pulls, 1);
	ck_assert_double_eq_tol(r.depletion[0].cell[0][0].centre, 30, 1e-9);
	pd_store_close(s);
	answer_teardown();
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("depletion");
	TCase *t = tcase_create("depletion");

	tcase_set_timeout(t, 60);
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, by_hand);
	tcase_add_test(t, differences);
	tcase_add_test(t, from_a_store);
	tcase_add_test(t, zeros_stay);
	tcase_add_test(t, one_cell);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);
	int passed = srunner_ntests_run(r) - failed;

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
