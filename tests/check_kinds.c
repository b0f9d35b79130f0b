/*
 * check_kinds.c - the kinds of question beyond two levels and a slope: a floor,
 * a change on a day, a curve between two values, an effect that differs by
 * something. Small stores with a known truth, no chance in them but a noise
 * fixed by its place.
 */
#include "answer_help.h"
#include "stats/linear.h"
#include "stats/quantile.h"
#include "stats/spline.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define OF_TNC "outcome = tnc\njudge = concentration\n"

static double six(double x)
{
	return round(x * 1e6) / 1e6;
}

/* ---- floor ---------------------------------------------------------------- */

/* Pull 1 reaches 20 in all patients but every sixth, pull 2 in all but every
 * third. */
static void floor_data(void)
{
	for (int p = 0; p < 60; p++)
		for (int k = 0; k < 2; k++) {
			int missed = k ? p % 3 == 0 : p % 6 == 0;

			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .dish_1 = 5, .dish_2 = 6,
			    .tnc = six((missed ? 10 : 30) *
			               exp(0.3 * answer_noise(p, k))) });
		}
}

/*
 * Paired by hand: 10 of 60 patients lose 100 points from pull 1 to pull 2, the
 * rest nothing: mean -100/6, sd by the same numbers.
 */
START_TEST(floor_by_hand)
{
	floor_data();
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena,
	    "[plan]\nlooks = 1\n[q]\ntitle = T\n" OF_TNC "floor = 20\n"
	    "compare = aliquot_no 2 against 1\nwithin = site\n"
	    "margin = 5 points\n");
	double mean = -1000.0 / 60;
	double sd = sqrt((10 * (-100 - mean) * (-100 - mean) +
	                  50 * mean * mean) / 59);
	double half = pd_t_quantile(0.975, 59) * sd / sqrt(60);

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert(a->share && a->scale == PD_DIFFERENCE);
	ck_assert_double_eq_tol(a->effect[0].value, mean, 1e-12);
	ck_assert_double_eq_tol(a->effect[0].low, mean - half, 1e-10);
	ck_assert_double_eq_tol(a->effect[0].high, mean + half, 1e-10);
	ck_assert_int_eq(a->effect[0].verdict, PD_WORSE);
	ck_assert_double_eq_tol(a->levels[0].centre, 200.0 / 3, 1e-10);
	ck_assert(isnan(a->levels[0].spread));
	ck_assert_str_eq(a->unit, "%");
	ck_assert_ptr_nonnull(strstr(a->judge_words, "pulls that reach 20"));
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* A result between limits on both sides of the floor is left out and said;
 * one wholly below counts as not reached. */
START_TEST(floor_and_limits)
{
	for (int p = 0; p < 48; p++)
		for (int k = 0; k < 2; k++)
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .tnc = 30,
			    .dish_1 = (p + k) % 4 ? 9 + p % 5 : 0,
			    .dish_2 = (p + k) % 4 ? 7 + p % 3 : 0 });
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	/* zero colonies on 10^6 cells at 30 x 10^6: between 0 and 30 */
	pd_answer *low = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = cfu_f\njudge = concentration\n"
	    "floor = 100\ncompare = aliquot_no 2 against 1\nwithin = site\n");
	pd_answer *astride = answer_ask(s, arena,
	    "[r]\ntitle = T\noutcome = cfu_f\njudge = concentration\n"
	    "floor = 20\ncompare = aliquot_no 2 against 1\n");

	ck_assert_msg(low->refusal == NULL, "%s", low->refusal);
	ck_assert_uint_eq(low->levels[0].n_rows, 48);
	ck_assert_double_eq_tol(low->levels[0].centre, 75, 1e-10);
	/* all that is left reaches 20 */
	ck_assert_ptr_nonnull(astride->refusal);
	ck_assert_ptr_nonnull(strstr(astride->refusal, "reach the floor of 20"));
	ck_assert_uint_eq(astride->flow[1].n_rows, 72);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* ---- change ----------------------------------------------------------------- */

/* Ten years, 8 % less each year, and a step of 1.5 on 2019-01-01. Without the
 * calendar slope the drift would swallow the step. */
START_TEST(change_and_drift)
{
	static char date[160][16];
	static const char plan[] =
	    "[q]\ntitle = T\n" OF_TNC "change = 2019-01-01\nmargin = 0.80\n";

	for (int p = 0; p < 160; p++) {
		int year = 2014 + p % 10, month = 1 + p % 12;
		double t = year + (month - 0.5) / 12;

		snprintf(date[p], sizeof date[p], "%d-%02d-15", year, month);
		answer_add((struct pull){ .patient = p, .site = 1, .aliquot = 1,
		    .syringe = 10, .age = 50, .volume = 5, .dish_1 = 5,
		    .dish_2 = 6, .date = date[p],
		    .tnc = six(exp(3.4 - 0.08 * (t - 2014) +
		                   (year >= 2019 ? log(1.5) : 0) +
		                   0.2 * answer_noise(p, 8))) });
	}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena, plan);

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_str_eq(a->effect[0].first, "from 2019-01-01 on");
	ck_assert_double_eq_tol(a->effect[0].value, 1.5, 0.15);
	ck_assert(a->effect[0].low < 1.5 && a->effect[0].high > 1.5);
	ck_assert_ptr_nonnull(strstr(a->adjusters, "calendar slope"));
	const pd_sensitivity *plain = answer_line(a, "without the calendar");

	ck_assert_ptr_nonnull(plain);
	/* half the span of the drift: exp(-0.08 * 5) */
	ck_assert_double_eq_tol(plain->value, 1.5 * exp(-0.4), 0.1);
	ck_assert_uint_eq(a->levels[0].n_rows + a->levels[1].n_rows, 160);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* ---- curve ------------------------------------------------------------------ */

static double thin(double ml)
{
	return 3.5 - 0.6 * log(ml);
}

enum { CURVE = 120 };

/* By hand: least squares on the spline's columns, 10 mL less 4 mL. */
static double curve_by_hand(const double *ml, const double *y)
{
	static double column[3][CURVE];
	double ten[3], four[3], all[3], sum = 0;
	pd_spline s;
	pd_linear_fit *fit;
	pd_regressor r[3];

	ck_assert_int_eq(pd_spline_default(ml, CURVE, 4, &s, NULL), PD_OK);
	for (size_t i = 0; i < CURVE; i++) {
		pd_spline_basis(&s, ml[i], all);
		for (int j = 0; j < 3; j++)
			column[j][i] = all[j];
	}
	for (int j = 0; j < 3; j++)
		r[j] = (pd_regressor){ "curve", column[j], NULL };
	pd_linear_data d = { CURVE, y, NULL, 1, 3, r };

	ck_assert_int_eq(pd_linear(&d, &fit, NULL), PD_OK);
	pd_spline_basis(&s, 10, ten);
	pd_spline_basis(&s, 4, four);
	for (int j = 0; j < 3; j++)
		sum += fit->coef[j + 1] * (ten[j] - four[j]);
	pd_linear_free(fit);
	return sum;
}

static void curve_data(double *volume, double *y)
{
	for (int p = 0; p < CURVE; p++) {
		double ml = 2 + 0.15 * (p * 37 % CURVE);
		double tnc = six(exp(thin(ml) + 0.3 * answer_noise(p, 5)));

		volume[p] = round(ml * 100) / 100;
		y[p] = log(tnc);
		answer_add((struct pull){ .patient = p, .site = 1, .aliquot = 1,
		    .syringe = 20, .age = 50, .volume = ml, .dish_1 = 5,
		    .dish_2 = 6, .tnc = tnc });
	}
}

START_TEST(curve_of_volume)
{
	double ml[CURVE], y[CURVE];

	curve_data(ml, y);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena,
	    "[q]\ntitle = T\n" OF_TNC "curve = volume_ml 10 against 4\n");
	pd_answer *b = answer_ask(s, arena,
	    "[r]\ntitle = T\n" OF_TNC "curve = volume_ml 4 against 10\n");
	pd_answer *beyond = answer_ask(s, arena,
	    "[t]\ntitle = T\n" OF_TNC "curve = volume_ml 40 against 4\n");
	double truth = exp(thin(10) - thin(4));

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_double_eq_tol(a->effect[0].value, truth, 0.05);
	ck_assert_double_eq_tol(a->effect[0].log.value, curve_by_hand(ml, y),
	                        1e-9);
	ck_assert_str_eq(a->effect[0].first, "10 mL pull");
	ck_assert_double_eq_tol(b->effect[0].value * a->effect[0].value, 1,
	                        1e-10);
	ck_assert_double_eq_tol(b->effect[0].low * a->effect[0].high, 1, 1e-9);
	/* the drawn line bends as the truth does */
	for (size_t i = 0; i < a->points.n_line; i++)
		ck_assert_double_eq_tol(log(a->points.line_y[i]),
		                        thin(a->points.line_x[i]), 0.2);
	ck_assert_ptr_nonnull(beyond->refusal);
	ck_assert_ptr_nonnull(strstr(beyond->refusal, "outside the values"));
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* ---- an effect that differs --------------------------------------------------- */

/* The second pull holds exp(-0.5 + 0.02 (age - 50)) of the first, and 0.7
 * times that in women (odd numbers). */
static void differs_data(void)
{
	for (int p = 0; p < 80; p++) {
		int age = 30 + p * 7 % 41;

		for (int k = 0; k < 2; k++)
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = age,
			    .volume = 5, .dish_1 = 5, .dish_2 = 6,
			    .tnc = six(exp(3.2 + 0.4 * answer_noise(p, 9) +
			                   0.05 * answer_noise(p, k) +
			                   (k ? -0.5 + 0.02 * (age - 50) +
			                            (p % 2 ? log(0.7) : 0)
			                      : 0))) });
	}
}

START_TEST(differs)
{
	differs_data();
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *age = answer_ask(s, arena,
	    "[q]\ntitle = T\n" OF_TNC "compare = aliquot_no 2 against 1\n"
	    "within = site\ndiffers_by = age_y per 10\n");
	pd_answer *sex = answer_ask(s, arena,
	    "[r]\ntitle = T\n" OF_TNC "compare = aliquot_no 2 against 1\n"
	    "within = site\ndiffers_by = sex female against male\n");
	pd_answer *swapped = answer_ask(s, arena,
	    "[t]\ntitle = T\n" OF_TNC "compare = aliquot_no 1 against 2\n"
	    "within = site\ndiffers_by = sex female against male\n");

	ck_assert_msg(age->refusal == NULL, "%s", age->refusal);
	ck_assert_double_eq_tol(age->effect[0].log.value, 0.2, 0.06);
	ck_assert_str_eq(age->effect[0].label, "per 10 years of age");
	ck_assert_ptr_nonnull(strstr(age->parameter_words, "pull 2 to pull 1"));
	ck_assert(age->not_a_choice);
	ck_assert_double_eq_tol(sex->effect[0].value, 0.7, 0.06);
	ck_assert_double_eq_tol(sex->effect[0].value *
	                            swapped->effect[0].value, 1, 1e-9);
	ck_assert_ptr_nonnull(strstr(sex->method, "may differ"));
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/*
 * The same from the pairs: the slope of the log ratios on age is what the
 * model's product comes to on balanced pairs.
 */
START_TEST(differs_from_pairs)
{
	double sx = 0, sy = 0, sxx = 0, sxy = 0, n = 80;

	differs_data();
	for (int p = 0; p < 80; p++) {
		int age = 30 + p * 7 % 41;
		double first = six(exp(3.2 + 0.4 * answer_noise(p, 9) +
		                       0.05 * answer_noise(p, 0)));
		double second = six(exp(3.2 + 0.4 * answer_noise(p, 9) +
		                        0.05 * answer_noise(p, 1) - 0.5 +
		                        0.02 * (age - 50) +
		                        (p % 2 ? log(0.7) : 0)));
		double x = age / 10.0, y = log(second) - log(first);

		sx += x;
		sy += y;
		sxx += x * x;
		sxy += x * y;
	}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena,
	    "[q]\ntitle = T\n" OF_TNC "compare = aliquot_no 2 against 1\n"
	    "within = site\ndiffers_by = age_y per 10\n");

	ck_assert_double_eq_tol(a->effect[0].log.value,
	                        (n * sxy - sx * sy) / (n * sxx - sx * sx),
	                        1e-9);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("kinds");
	TCase *c = tcase_create("kinds");
	SRunner *r;
	int run, failed;

	tcase_add_checked_fixture(c, answer_setup, answer_teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, floor_by_hand);
	tcase_add_test(c, floor_and_limits);
	tcase_add_test(c, change_and_drift);
	tcase_add_test(c, curve_of_volume);
	tcase_add_test(c, differs);
	tcase_add_test(c, differs_from_pairs);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
