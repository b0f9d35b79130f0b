/*
 * check_size.c - sizes from a small store whose pairs scatter by a known
 * amount: against the exact power room, brute averages, printed factors.
 */
#include "answer_help.h"
#include "plan/size.h"
#include "stats/power.h"
#include "stats/quantile.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATIENTS = 40 };

#define PAIRS                                                                  \
	"[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"               \
	"compare = aliquot_no 2 against 1\nwithin = site\nmargin = 0.80\n"

/* Two pulls a patient; returns the SD of the log ratios. */
static double pairs(void)
{
	double d[PATIENTS], mean = 0, ss = 0;

	for (int p = 0; p < PATIENTS; p++) {
		double base = exp(3 + 0.6 * answer_noise(p, 1)), t[2];

		for (int k = 0; k < 2; k++) {
			t[k] = base * exp(-0.4 * k + 0.5 * answer_noise(p, 5 + k));
			t[k] = round(t[k] * 1e6) / 1e6;
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 40,
			    .volume = 5, .tnc = t[k], .dish_1 = 10,
			    .dish_2 = 12 });
		}
		d[p] = log(t[1] / t[0]);
		mean += d[p] / PATIENTS;
	}
	for (int p = 0; p < PATIENTS; p++)
		ss += (d[p] - mean) * (d[p] - mean);
	return sqrt(ss / (PATIENTS - 1));
}

static pd_size_answer *size(pd_store *s, pd_arena *arena, const char *text,
                            pd_size_request ask)
{
	pd_plan *plan = PD_NEW(arena, pd_plan, 1);
	pd_size_answer *a = PD_NEW(arena, pd_size_answer, 1);
	pd_run_options o = { .date = "2024-07-01" };
	pd_error err = { 0 };

	if (ask.power <= 0)
		ask.power = 0.8;
	ck_assert_msg(pd_plan_parse(arena, text, strlen(text), "t.plan", plan,
	                            &err) == PD_OK, "%s", err.text);
	ck_assert_msg(pd_size_run(s, plan, &plan->question[0], &ask, &o, arena,
	                          a, &err) == PD_OK, "%s", err.text);
	return a;
}

START_TEST(pairs_as_the_power_room_says)
{
	double sd = pairs();
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_size_answer *a = size(s, arena, PAIRS,
	                         (pd_size_request){ .truth = NAN });
	pd_trial t = { .kind = PD_TRIAL_PAIRS, .effect = log(1.25), .sd = sd,
		       .alpha = 0.05, .sides = 2 };
	pd_trial_size want;

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_double_eq_tol(a->sd, sd, 1e-6);
	ck_assert_double_eq(a->sd_df, PATIENTS - 1);
	ck_assert_double_eq_tol(a->sd_low, sd * sqrt(39 / 58.12005973), 1e-6);
	ck_assert_uint_eq(a->n_have, PATIENTS);
	ck_assert_double_eq(a->per_year, PATIENTS / 2.0);
	ck_assert_int_eq(pd_size_t(&t, 0.8, &want, NULL), PD_OK);
	ck_assert_double_eq_tol(a->line[1].truth, 1.25, 1e-12);
	ck_assert_double_eq(a->line[1].n, want.n);
	ck_assert_double_eq_tol(a->line[1].power, want.power, 1e-6);
	ck_assert_double_eq_tol(a->line[1].power_before, want.power_before,
	                        1e-6);
	/* two pulls an arm: half the variance, all of it is within */
	ck_assert_double_eq_tol(a->pulls[1].sd, sd / sqrt(2), 1e-6);
	for (size_t k = 1; k < a->n_lines; k++)
		ck_assert(a->line[k].n <= a->line[k - 1].n);
	for (size_t k = 0; k < a->n_lines; k++) {
		ck_assert(a->line[k].power >= 0.8);
		ck_assert(!(a->line[k].power_before >= 0.8));
		ck_assert(a->line[k].n_assured >= a->line[k].n - 1);
	}
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* The average over the spread against sums over its quantiles. */
START_TEST(assurance_by_brute_force)
{
	static const double df[] = { 7, 39, 400 };

	for (size_t k = 0; k < 3; k++) {
		pd_size_answer a = { .aim = PD_AIM_DIFFERENCE, .level = 0.95,
			             .power = 0.8, .paired = true,
			             .margin = NAN, .sd = 0.5,
			             .sd_df = df[k] };
		double n = 42, sum = 0;
		enum { STEPS = 4000 };

		for (int i = 0; i < STEPS; i++) {
			double q = pd_chisq_quantile((i + 0.5) / STEPS, df[k]);
			pd_trial t = { .kind = PD_TRIAL_PAIRS,
				       .effect = log(1.25),
				       .sd = 0.5 * sqrt(df[k] / q),
				       .alpha = 0.05, .sides = 2 };

			sum += pd_power_t(&t, n) / STEPS;
		}
		ck_assert_double_eq_tol(pd_size_assurance(&a, 1.25, n), sum,
		                        2e-4);
	}
}
END_TEST

/* Equal looks, error spent evenly, power 0.8 at 0.05: Pocock's own boundary
 * needs 1.202 times as many for 4 looks and 1.279 for 12 (Jennison & Turnbull
 * 2000, Group Sequential Methods, table 2.1, from memory); spending his way
 * comes within two hundredths. */
START_TEST(looks_cost)
{
	pairs();
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_size_answer *a = size(s, arena, PAIRS,
	                         (pd_size_request){ .truth = 1.25 });

	ck_assert_uint_eq(a->n_looks, 4);
	ck_assert_double_eq(a->looks[0].factor, 1);
	ck_assert_double_eq_tol(a->looks[1].factor, 1.202, 0.02);
	ck_assert_double_eq_tol(a->looks[3].factor, 1.279, 0.04);
	ck_assert_double_eq(a->looks[1].n,
	                    ceil(a->line[0].n * a->looks[1].factor));
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Not worse and the same: the trial's own rules, one-sided at (1 - level) / 2. */
START_TEST(aims)
{
	double sd = pairs();
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_size_answer *worse = size(s, arena, PAIRS, (pd_size_request){
	    .aim = PD_AIM_NOT_WORSE, .truth = 1 });
	pd_size_answer *same = size(s, arena, PAIRS, (pd_size_request){
	    .aim = PD_AIM_SAME, .truth = 1 });
	pd_trial t = { .kind = PD_TRIAL_PAIRS, .effect = 0, .sd = sd,
		       .alpha = 0.025, .sides = 1, .null = log(0.8),
		       .low = log(0.8), .high = -log(0.8) };
	pd_trial_size want;

	ck_assert_int_eq(pd_size_t(&t, 0.8, &want, NULL), PD_OK);
	ck_assert_double_eq(worse->line[0].n, want.n);
	ck_assert_int_eq(pd_size_equivalence(&t, 0.8, &want, NULL), PD_OK);
	ck_assert_double_eq(same->line[0].n, want.n);
	ck_assert(same->line[0].n > worse->line[0].n);
	pd_size_answer *hopeless = size(s, arena, PAIRS, (pd_size_request){
	    .aim = PD_AIM_SAME, .truth = 1.3 });

	ck_assert(isnan(hopeless->line[0].n));
	ck_assert_ptr_nonnull(hopeless->line[0].why_none);
	ck_assert_uint_eq(hopeless->n_looks, 0);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Two groups: the spreads of the model together, both its patients and what is
 * within (one row a patient: no patient level, all is within). */
START_TEST(groups)
{
	double x[PATIENTS], mean[2] = { 0 }, ss = 0;

	for (int p = 0; p < PATIENTS; p++) {
		x[p] = round(exp(3 + 0.5 * answer_noise(p, 3)) * 1e6) / 1e6;
		answer_add((struct pull){ .patient = p, .site = 1, .aliquot = 1,
		    .syringe = p % 2 ? 10 : 50, .age = 40, .volume = 5,
		    .tnc = x[p], .dish_1 = 10, .dish_2 = 12 });
		x[p] = log(x[p]);
		mean[p % 2] += x[p] / (PATIENTS / 2);
	}
	for (int p = 0; p < PATIENTS; p++)
		ss += (x[p] - mean[p % 2]) * (x[p] - mean[p % 2]);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_size_answer *a = size(s, arena,
	    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	    "compare = syringe_ml 10 against 50\n",
	    (pd_size_request){ .truth = 1.5 });

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert(!a->paired);
	ck_assert_double_eq_tol(a->sd, sqrt(ss / (PATIENTS - 2)), 1e-8);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

static const struct {
	const char *plan, *words;
	pd_aim aim;
} refused[] = {
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "slope = volume_ml per 1\n", "compares two levels",
	  PD_AIM_DIFFERENCE },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "change = 2024-03-10\n", "compares two levels", PD_AIM_DIFFERENCE },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "compare = aliquot_no 2 against 1\nwithin = site\n",
	  "no margin is declared", PD_AIM_SAME },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "compare = aliquot_no 3 against 1\nwithin = site\n",
	  "drawn in 0 patients", PD_AIM_DIFFERENCE },
};

START_TEST(refusals)
{
	pairs();
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_size_answer *a = size(s, arena, refused[_i].plan,
	                         (pd_size_request){ .aim = refused[_i].aim,
	                                            .truth = NAN });

	ck_assert_ptr_nonnull(a->refusal);
	ck_assert_msg(strstr(a->refusal, refused[_i].words) != NULL, "%s",
	              a->refusal);
	ck_assert_uint_eq(a->n_lines, 0);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("size");
	TCase *c = tcase_create("size");
	SRunner *r;
	int run, failed;

	tcase_add_checked_fixture(c, answer_setup, answer_teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, pairs_as_the_power_room_says);
	tcase_add_test(c, assurance_by_brute_force);
	tcase_add_test(c, looks_cost);
	tcase_add_test(c, aims);
	tcase_add_test(c, groups);
	tcase_add_loop_test(c, refusals, 0,
	                    sizeof refused / sizeof *refused);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
