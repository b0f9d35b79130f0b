/*
 * check_plan.c - plans read strictly, and intervals turned into words.
 */
#include "plan/plan.h"
#include "plan/question.h"
#include "plan/verdict.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A plan that reads well, with one line free. */
#define HEAD "[plan]\ntitle = T\nlevel = 0.9\nseed = 7\nmin_patients = 12\n"
#define BODY                                                                   \
	"[second-pull]\ntitle = Second pull?\noutcome = cfu_f\n"               \
	"judge = concentration\ncompare = aliquot_no 2 against 1\n"            \
	"within = site\nmargin = 0.80\nrole = primary\n"

#define ASK                                                                    \
	"[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"

static pd_status parse(pd_arena *a, const char *text, pd_plan *plan,
                       pd_error *err)
{
	return pd_plan_parse(a, text, strlen(text), "t.plan", plan, err);
}

START_TEST(reads_a_plan)
{
	pd_arena *a = pd_arena_new();
	pd_plan plan;
	pd_error err = { 0 };
	const char *text =
	    "# a comment\n" HEAD BODY
	    "[by-age]   # another\n"
	    "title = Age\r\noutcome = tnc\njudge = yield per site\n"
	    "slope = age_y per 10\nadjust = sex, log site_ml\n"
	    "where = landmark is posterior iliac crest or proximal tibia; "
	    "site_ml from 2 to 20; n_sites at most 6\n";

	ck_assert_msg(parse(a, text, &plan, &err) == PD_OK, "%s", err.text);
	ck_assert_str_eq(plan.title, "T");
	ck_assert_double_eq(plan.level, 0.9);
	ck_assert_uint_eq(plan.seed, 7);
	ck_assert_uint_eq(plan.min_patients, 12);
	ck_assert_uint_eq(plan.n_questions, 2);
	const pd_question *q = pd_plan_find(&plan, "second-pull");

	ck_assert_ptr_nonnull(q);
	ck_assert_str_eq(q->parameter, "aliquot_no");
	ck_assert_str_eq(q->first, "2");
	ck_assert_str_eq(q->second, "1");
	ck_assert_str_eq(q->within, "site");
	ck_assert_double_eq(q->margin, 0.80);
	ck_assert_int_eq(q->role, PD_PRIMARY);
	ck_assert_int_eq(q->grain, PD_BY_ALIQUOT);
	ck_assert_uint_eq(strlen(q->sha256), 64);
	q = pd_plan_find(&plan, "by-age");
	ck_assert_ptr_nonnull(q);
	ck_assert_int_eq(q->kind, PD_COMPARE_SLOPE);
	ck_assert_double_eq(q->step, 10);
	ck_assert_int_eq(q->grain, PD_BY_SITE);
	ck_assert_int_eq(q->role, PD_EXPLORATORY);
	ck_assert_uint_eq(q->n_adjust, 2);
	ck_assert_str_eq(q->adjust[1], "site_ml");
	ck_assert(q->adjust_log[1] && !q->adjust_log[0]);
	ck_assert_uint_eq(q->n_where, 3);
	ck_assert_uint_eq(q->where[0].n_values, 2);
	ck_assert_str_eq(q->where[0].value[1], "proximal tibia");
	ck_assert_double_eq(q->where[1].low, 2);
	ck_assert_double_eq(q->where[1].high, 20);
	ck_assert_double_eq(q->where[2].high, 6);
	ck_assert(isinf(q->where[2].low));
	ck_assert(isnan(q->margin));
	pd_arena_free(a);
}
END_TEST

/* The hash of a question follows its words, the level and the fewest patients,
 * nothing else. */
START_TEST(question_hash)
{
	pd_arena *a = pd_arena_new();
	pd_plan one, two, three, four, five;
	pd_error err = { 0 };

	ck_assert_int_eq(parse(a, HEAD BODY, &one, &err), PD_OK);
	ck_assert_int_eq(parse(a, "[plan]\nseed = 8\nlevel = 0.9\n"
	                 "min_patients = 12\n\n" BODY "\n\n", &two, &err),
	                 PD_OK);
	ck_assert_int_eq(parse(a, HEAD BODY "where = aliquot_no at most 2\n",
	                       &three, &err), PD_OK);
	ck_assert_str_eq(one.question[0].sha256, two.question[0].sha256);
	ck_assert_str_ne(one.question[0].sha256, three.question[0].sha256);
	ck_assert_int_eq(parse(a, "[plan]\nmin_patients = 12\n\n" BODY, &four,
	                       &err),
	                 PD_OK);
	ck_assert_int_eq(parse(a, "[plan]\nlevel = 0.9\n\n" BODY, &five,
	                       &err), PD_OK);
	ck_assert_str_ne(one.question[0].sha256, four.question[0].sha256);
	ck_assert_str_ne(one.question[0].sha256, five.question[0].sha256);
	ck_assert_str_ne(one.sha256, two.sha256);
	pd_arena_free(a);
}
END_TEST

/* What stands in the file, where the error is, and a word of it. */
static const struct {
	const char *text;
	size_t line, column;
	const char *words;
} bad[] = {
	{ "", 1, 1, "asks no question" },
	{ "[plan]\n", 2, 1, "asks no question" },
	{ "title = x\n", 1, 1, "before the first section" },
	{ "[plan]\nlevel = 95\n", 2, 9, "0.5 to 0.999" },
	{ "[plan]\nlevel = 0,95\n", 2, 9, "0.5 to 0.999" },
	{ "[plan]\nseed = -1\n", 2, 8, "whole number" },
	{ "[plan]\nmin_patients = 2\n", 2, 16, "3 or more" },
	{ "[plan]\ncolour = red\n", 2, 1, "unknown key 'colour'" },
	{ "[plan]\nseed = 1\nseed = 1\n", 3, 1, "twice" },
	{ HEAD "[plan]\n", 6, 1, "once" },
	{ BODY "[plan]\n", 9, 1, "first section" },
	{ "[Upper]\n", 1, 2, "lower-case" },
	{ "[a b]\n", 1, 3, "lower-case" },
	{ "[a\n", 1, 1, "expected '[name]'" },
	{ "[]\n", 1, 1, "expected '[name]'" },
	{ BODY "nonsense\n", 9, 1, "key = value" },
	{ BODY "  = 3\n", 9, 3, "key = value" },
	{ BODY "colour = red\n", 9, 1, "unknown key" },
	{ BODY "title = again\n", 9, 1, "twice" },
	{ BODY "slope = age_y per 10\n", 9, 1, "one of" },
	{ BODY "curve = age_y 30 against 20\n", 9, 1, "one of" },
	{ ASK "change = last summer\n", 5, 10, "a day such as" },
	{ ASK "change = 2024-02-30\n", 5, 10, "a day such as" },
	{ ASK "change = 2024-06-01\nwithin = patient\n", 1, 1,
	  "lies between cases" },
	{ ASK "change = 2024-06-01\nadjust = case_date\n", 1, 1,
	  "by itself" },
	{ ASK "curve = volume_ml ten against 4\n", 5, 9, "two numbers" },
	{ ASK "curve = volume_ml 4 against 4\n", 5, 9, "two different" },
	{ ASK "curve = move none against redirect\n", 5, 9, "two numbers" },
	{ ASK "curve = operator 1 against 2\n", 1, 1, "a curve needs" },
	{ ASK "compare = aliquot_no 2 against 1\nfloor = none\n", 6, 9,
	  "a number above 0" },
	{ ASK "compare = aliquot_no 2 against 1\nfloor = 5\nmargin = 0.8\n",
	  1, 1, "2 points" },
	{ ASK "compare = aliquot_no 2 against 1\ndiffers_by = age_y\n", 6, 14,
	  "'A against B'" },
	{ ASK "compare = aliquot_no 2 against 1\ndiffers_by = age_y per 0\n",
	  6, 14, "PARAMETER per STEP" },
	{ ASK "compare = aliquot_no 2 against 1\n"
	      "differs_by = age_y old against young\n", 1, 1,
	  "expected 'age_y per STEP'" },
	{ ASK "compare = aliquot_no 2 against 1\ndiffers_by = sex per 1\n", 1,
	  1, "expected 'sex A against B'" },
	{ ASK "compare = aliquot_no 2 against 1\n"
	      "differs_by = aliquot_no per 1\n", 1, 1, "by itself" },
	{ ASK "curve = volume_ml 10 against 4\ndiffers_by = age_y per 10\n",
	  1, 1, "two levels or a slope" },
	{ BODY BODY, 9, 2, "already on line 1" },
	{ BODY "expect = below 1\n", 1, 1, "role control" },
	{ BODY "adjust = age_y,\n", 9, 10, "column names" },
	{ BODY "adjust = age_y, age_y\n", 9, 10, "once" },
	{ BODY "adjust = colour\n", 1, 1, "'colour'" },
	{ BODY "adjust = aliquot_no\n", 1, 1, "both judged and adjusted" },
	{ BODY "adjust = log operator\n", 1, 1, "no log" },
	{ BODY "where = aliquot_no\n", 9, 9, "conditions" },
	{ BODY "where = aliquot_no from 3 to 2\n", 9, 9, "conditions" },
	{ BODY "where = aliquot_no is two\n", 1, 1, "found 'two'" },
	{ BODY "where = operator at least 3\n", 1, 1, "holds words" },
	{ BODY "where = colour is red\n", 1, 1, "'colour'" },
	{ BODY "\x01\n", 9, 1, "control character 0x01" },
	{ "[q]\ntitle = T\noutcome = cfu_f\njudge = richness\n", 4, 9,
	  "yield per site" },
	{ "[q]\ntitle = T\noutcome = cfu_f\njudge = concentration\n", 1, 1,
	  "no 'compare', 'slope', 'curve' or 'change'" },
	{ "[q]\noutcome = cfu_f\njudge = concentration\n", 1, 1, "no 'title'" },
	{ "[q]\ntitle = T\njudge = concentration\n", 1, 1, "no 'outcome'" },
	{ "[q]\ntitle = T\noutcome = luck\njudge = concentration\n"
	  "slope = age_y per 10\n", 1, 1, "'luck' cannot be judged" },
	{ "[q]\ntitle = T\noutcome = viability\njudge = prevalence\n"
	  "slope = age_y per 10\n", 1, 1, "cannot be judged" },
	{ "[q]\ntitle =\n", 2, 8, "some words" },
	{ "[q]\ncompare = aliquot_no 2 to 1\n", 2, 11, "against" },
	{ "[q]\ncompare = aliquot_no against 1\n", 2, 11, "before 'against'" },
	{ "[q]\ncompare = aliquot_no 2 against 2\n", 2, 11, "two different" },
	{ "[q]\nslope = age_y\n", 2, 9, "per STEP" },
	{ "[q]\nslope = age_y per 0\n", 2, 9, "other than 0" },
	{ "[q]\nslope = age_y per nan\n", 2, 9, "other than 0" },
	{ "[q]\nslope = age_y per 1e999\n", 2, 9, "other than 0" },
	{ "[q]\nwithin = town\n", 2, 10, "patient, case" },
	{ "[q]\nmargin = 1.25\n", 2, 10, "between 0 and 1" },
	{ "[q]\nmargin = 0\n", 2, 10, "between 0 and 1" },
	{ "[q]\nmargin = 0x1p-1\n", 2, 10, "between 0 and 1" },
	{ "[q]\nrole = main\n", 2, 8, "primary" },
	{ "[q]\nexpect = more\n", 2, 10, "above 1" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "slope = age_y per 10\nrole = control\n", 1, 1, "'expect'" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "slope = operator per 10\n", 1, 1, "a slope needs a number" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "compare = aliquot_no two against one\n", 1, 1, "holds numbers" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "compare = aliquot_no each against the mean\n", 1, 1, "needs words" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "compare = operator each against the mean\nwithin = case\n", 1, 1,
	  "two levels" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = yield per case\n"
	  "slope = n_sites per 1\nwithin = case\n", 1, 1, "one row is a case" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = yield per site\n"
	  "slope = colour per 1\n", 1, 1, "each site does not have" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "slope = age_y per 10\nmargin = 2 points\n", 1, 1,
	  "a number between 0 and 1" },
	{ "[q]\ntitle = T\noutcome = viability\njudge = percent\n"
	  "slope = age_y per 10\nmargin = 0.9\n", 1, 1, "2 points" },
};

START_TEST(bad_plans)
{
	pd_arena *a = pd_arena_new();
	pd_plan plan;
	pd_error err = { 0 };

	ck_assert_msg(parse(a, bad[_i].text, &plan, &err) == PD_PLAN,
	              "row %d read well:\n%s", _i, bad[_i].text);
	ck_assert_msg(strcmp(err.file, "t.plan") == 0 &&
	                  err.line == bad[_i].line &&
	                  err.column == bad[_i].column,
	              "row %d: found %zu:%zu, expected %zu:%zu: %s", _i,
	              err.line, err.column, bad[_i].line, bad[_i].column,
	              err.text);
	ck_assert_msg(strstr(err.text, bad[_i].words) != NULL,
	              "row %d: '%s' is not in: %s", _i, bad[_i].words,
	              err.text);
	pd_arena_free(a);
}
END_TEST

/* Any bytes are read or refused, never more. */
START_TEST(random_bytes)
{
	static const char pieces[][14] = { "[plan]\n", "[q]\n", "title = x\n",
		"#", "=", "\n", "slope = ", " per ", "doubling", "compare = ",
		" against ", "where = ", " is ", ";", "\r", "\xff", "0.8",
		"margin = ", " points", "adjust = ", ",", "log " };
	unsigned state = 12345;

	for (int round = 0; round < 4000; round++) {
		char text[512] = "";
		pd_arena *a = pd_arena_new();
		pd_plan plan;
		pd_error err = { 0 };

		for (int k = 0; k < 30; k++) {
			state = state * 1103515245u + 12345u;
			strcat(text, pieces[(state >> 16) % 22]);
		}
		pd_status st = parse(a, text, &plan, &err);

		ck_assert(st == PD_OK || st == PD_PLAN);
		ck_assert(st == PD_OK || err.text[0] != '\0');
		pd_arena_free(a);
	}
}
END_TEST

/* --- verdicts ----------------------------------------------------------------- */

/* One answer of one effect: log ratio b with standard error se. */
static pd_effect effect(double b, double se, double df, double t)
{
	pd_effect e = { .first = "A", .second = "B" };

	e.log = (pd_estimate){ b, se, df, b - t * se, b + t * se, 0.95, 0 };
	return e;
}

static const struct {
	double b, se, margin;
	pd_scale scale;
	double p;
	pd_verdict want;
} verdicts[] = {
	/* df 20, t(0.975) = 2.085963 (Student's t table) */
	{ 0.41, 0.1, 0.80, PD_RATIO, 0.0006, PD_BETTER },
	{ -0.41, 0.1, 0.80, PD_RATIO, 0.0006, PD_WORSE },
	{ 0.02, 0.05, 0.80, PD_RATIO, 0.69, PD_NO_MATTER },
	{ 0.08, 0.03, 0.80, PD_RATIO, 0.015, PD_NO_MATTER },
	{ 0.05, 0.11, 0.80, PD_RATIO, 0.65, PD_NOT_SETTLED },
	{ 0.08, 0.03, NAN, PD_RATIO, 0.015, PD_BETTER },
	{ 0.02, 0.05, NAN, PD_RATIO, 0.69, PD_NOT_SETTLED },
	{ 1.1, 0.3, 2.0, PD_DIFFERENCE, 0.0015, PD_NO_MATTER },
	{ 4.1, 0.3, 2.0, PD_DIFFERENCE, 0.0001, PD_BETTER },
	{ -4.1, 1.3, 2.0, PD_DIFFERENCE, 0.005, PD_WORSE },
};

static pd_review one_answer(pd_answer *a, pd_effect *e, double margin,
                            pd_scale scale, pd_role role)
{
	pd_review r = { .n_answers = 1, .answer = a };

	*a = (pd_answer){ .role = role, .scale = scale, .margin = margin,
		          .level = 0.95, .n_effects = 1, .effect = e };
	return r;
}

START_TEST(verdict_words)
{
	pd_arena *arena = pd_arena_new();
	pd_effect e = effect(verdicts[_i].b, verdicts[_i].se, 20, 2.085963);
	pd_answer a;
	int expect = 0;
	pd_error err = { 0 };
	pd_review r = one_answer(&a, &e, verdicts[_i].margin,
	                         verdicts[_i].scale, PD_PRIMARY);

	e.log.p = verdicts[_i].p;
	pd_verdict_measure(&e, a.scale, a.margin, a.level);
	ck_assert_int_eq(pd_verdict_settle(&r, &expect, arena, &err), PD_OK);
	ck_assert_msg(e.verdict == verdicts[_i].want, "row %d: %d", _i,
	              e.verdict);
	ck_assert_uint_gt(strlen(e.sentence), 10);
	pd_arena_free(arena);
}
END_TEST

/* Swapping the arms turns better into worse and mirrors the interval. */
START_TEST(swapping_arms)
{
	pd_arena *arena = pd_arena_new();

	for (int k = 0; k < 400; k++) {
		double b = -1 + 0.005 * k, se = 0.02 + 0.0007 * k;
		pd_effect e[2] = { effect(b, se, 20, 2.085963),
			           effect(-b, se, 20, 2.085963) };
		pd_verdict v[2];

		for (int i = 0; i < 2; i++) {
			pd_answer a;
			int expect = 0;
			pd_error err = { 0 };
			pd_review r = one_answer(&a, &e[i], 0.8, PD_RATIO,
			                         PD_PRIMARY);

			e[i].log.p = fabs(b) > 2.085963 * se ? 0.01 : 0.5;
			pd_verdict_measure(&e[i], a.scale, 0.8, 0.95);
			ck_assert_int_eq(pd_verdict_settle(&r, &expect, arena,
			                                   &err), PD_OK);
			v[i] = e[i].verdict;
		}
		ck_assert_double_eq_tol(e[0].low * e[1].high, 1, 1e-12);
		ck_assert_double_eq_tol(e[0].p_margin, e[1].p_margin, 1e-12);
		if (v[0] == PD_BETTER)
			ck_assert_int_eq(v[1], PD_WORSE);
		else if (v[0] == PD_WORSE)
			ck_assert_int_eq(v[1], PD_BETTER);
		else
			ck_assert_int_eq(v[0], v[1]);
		/* the word and two one-sided tests agree */
		ck_assert_int_eq(e[0].low >= 0.8 && e[0].high <= 1.25,
		                 e[0].p_margin <= 0.025 + 1e-9);
	}
	pd_arena_free(arena);
}
END_TEST

/* Holm over secondaries: 0.03 of two stands alone but not in the family. */
START_TEST(family_pays)
{
	pd_arena *arena = pd_arena_new();
	pd_effect e[3] = { effect(0.5, 0.2, 20, 2.085963),
		           effect(0.5, 0.2, 20, 2.085963),
		           effect(0.5, 0.2, 20, 2.085963) };
	pd_answer a[3];
	int expect[3] = { 0 };
	pd_error err = { 0 };
	pd_review r = { .n_answers = 3, .answer = a };
	static const double p[3] = { 0.03, 0.04, 0.03 };

	for (int i = 0; i < 3; i++) {
		one_answer(&a[i], &e[i], 0.8, PD_RATIO,
		           i < 2 ? PD_SECONDARY : PD_PRIMARY);
		e[i].log.p = p[i];
		pd_verdict_measure(&e[i], PD_RATIO, 0.8, 0.95);
	}
	ck_assert_int_eq(pd_verdict_settle(&r, expect, arena, &err), PD_OK);
	ck_assert_double_eq_tol(e[0].p_adjusted, 0.06, 1e-12);
	ck_assert_double_eq_tol(e[1].p_adjusted, 0.06, 1e-12);
	ck_assert_double_eq_tol(e[2].p_adjusted, 0.03, 1e-12);
	ck_assert_int_eq(e[0].verdict, PD_NOT_SETTLED);
	ck_assert_int_eq(e[2].verdict, PD_BETTER);
	ck_assert_uint_eq(r.n_tests, 3);
	ck_assert_ptr_nonnull(strstr(e[0].sentence, "other tests"));
	pd_arena_free(arena);
}
END_TEST

/* A control that does not show takes the support from "no difference". */
START_TEST(failed_control)
{
	for (int fails = 0; fails < 2; fails++) {
		pd_arena *arena = pd_arena_new();
		pd_effect e[2] = { effect(0.01, 0.04, 20, 2.085963),
			           effect(fails ? -0.02 : -0.5, 0.1, 20,
			                  2.085963) };
		pd_answer a[2];
		int expect[2] = { 0, -1 };
		pd_error err = { 0 };
		pd_review r = { .n_answers = 2, .answer = a };

		one_answer(&a[0], &e[0], 0.8, PD_RATIO, PD_PRIMARY);
		one_answer(&a[1], &e[1], 0.8, PD_RATIO, PD_CONTROL);
		e[0].log.p = 0.8;
		e[1].log.p = fails ? 0.84 : 0.0001;
		for (int i = 0; i < 2; i++)
			pd_verdict_measure(&e[i], PD_RATIO, 0.8, 0.95);
		ck_assert_int_eq(pd_verdict_settle(&r, expect, arena, &err),
		                 PD_OK);
		ck_assert_int_eq(e[0].verdict, PD_NO_MATTER);
		ck_assert_int_eq(a[0].unsupported, fails);
		ck_assert_int_eq(a[1].control, fails ? PD_CONTROL_FAILED
		                                     : PD_CONTROL_WORKED);
		pd_arena_free(arena);
	}
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("plan");
	TCase *t = tcase_create("reading");

	tcase_add_test(t, reads_a_plan);
	tcase_add_test(t, question_hash);
	tcase_add_loop_test(t, bad_plans, 0, sizeof bad / sizeof *bad);
	tcase_add_test(t, random_bytes);
	suite_add_tcase(s, t);
	t = tcase_create("verdicts");
	tcase_add_loop_test(t, verdict_words, 0,
	                    sizeof verdicts / sizeof *verdicts);
	tcase_add_test(t, swapping_arms);
	tcase_add_test(t, family_pays);
	tcase_add_test(t, failed_control);
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
