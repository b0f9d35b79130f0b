/*
 * check_answer.c - questions asked of a small store: the numbers against a
 * direct computation, the method by the rows, refusals, order of rows, looks.
 * Data are written as CSV and go through the real loader.
 */
#include "answer_help.h"
#include "data/load.h"
#include "plan/run.h"
#include "stats/quantile.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PATIENTS = 24 };

static const char second_pull[] =
    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
    "compare = aliquot_no 2 against 1\nwithin = site\nmargin = 0.80\n";

static void two_pulls(double *log_ratio)
{
	for (int p = 0; p < PATIENTS; p++) {
		double base = exp(3 + 0.5 * answer_noise(p, 1)), t[2];

		for (int k = 0; k < 2; k++) {
			t[k] = base * exp(-0.4 * k + 0.2 * answer_noise(p, 10 + k));
			t[k] = round(t[k] * 1e6) / 1e6;
			answer_add((struct pull){ .patient = p, .site = 1,
			                   .aliquot = k + 1, .syringe = 10,
			                   .age = 40 + p, .volume = 5,
			                   .tnc = t[k], .dish_1 = 10,
			                   .dish_2 = 12 });
		}
		log_ratio[p] = log(t[1]) - log(t[0]);
	}
}

static bool says(const char *const *list, size_t n, const char *words)
{
	for (size_t i = 0; i < n; i++)
		if (strstr(list[i], words))
			return true;
	return false;
}

/* The paired answer is the t interval of the patients' log ratios, and the
 * model split inside the unit says the same on balanced data. */
START_TEST(pairs_by_hand)
{
	double d[PATIENTS], mean = 0, ss = 0;

	two_pulls(d);
	for (int p = 0; p < PATIENTS; p++)
		mean += d[p] / PATIENTS;
	for (int p = 0; p < PATIENTS; p++)
		ss += (d[p] - mean) * (d[p] - mean);
	double se = sqrt(ss / (PATIENTS - 1) / PATIENTS);
	double t = pd_t_quantile(0.975, PATIENTS - 1);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena, second_pull);

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_uint_eq(a->n_effects, 1);
	ck_assert_double_eq_tol(a->effect[0].value, exp(mean), 1e-9);
	ck_assert_double_eq_tol(a->effect[0].low, exp(mean - t * se), 1e-9);
	ck_assert_double_eq_tol(a->effect[0].high, exp(mean + t * se), 1e-9);
	ck_assert_double_eq_tol(a->effect[0].log.df, PATIENTS - 1, 1e-12);
	ck_assert_int_eq(a->effect[0].verdict, PD_WORSE);
	ck_assert_str_eq(a->effect[0].first, "pull 2");
	ck_assert_uint_eq(a->levels[0].n_patients, PATIENTS);
	ck_assert_uint_eq(a->points.n_pairs, PATIENTS);
	const pd_sensitivity *m = answer_line(a, "mixed model inside");

	ck_assert_ptr_nonnull(m);
	ck_assert_msg(m->done, "%s", m->note);
	ck_assert_double_eq_tol(m->value, exp(mean), 1e-7);
	ck_assert_double_eq_tol(m->low, exp(mean - t * se), 1e-6);
	ck_assert_double_eq_tol(m->high, exp(mean + t * se), 1e-6);
	/* the differences' SD is that of one result within a pair by root 2 */
	ck_assert_uint_eq(a->n_components, 2);
	ck_assert_double_eq_tol(a->component_sd[1], se * sqrt(PATIENTS / 2.),
	                        1e-12);
	double b2 = pow(a->component_sd[0], 2), w2 = pow(a->component_sd[1], 2);
	double f = 1 + 2 * b2 / w2;
	double fq = pd_f_quantile(0.975, PATIENTS - 1, PATIENTS - 1);

	ck_assert(b2 > 0);
	ck_assert_double_eq_tol(a->component_icc[0], b2 / (b2 + w2), 1e-12);
	ck_assert_double_eq_tol(a->component_icc_low[0],
	                        (f / fq - 1) / (f / fq + 1), 1e-9);
	ck_assert_double_eq_tol(a->component_icc_high[0],
	                        (f * fq - 1) / (f * fq + 1), 1e-9);
	ck_assert(isnan(a->component_icc[1]) && isnan(a->component_icc_low[1]));
	ck_assert(says(a->diagnostics, a->n_diagnostics, "Agreement: "));
	/* one more patient: t limits of a single difference */
	char words[200];

	snprintf(words, sizeof words, "between %.2f and %.2f (95 %% limits",
	         exp(mean - t * se * sqrt(PATIENTS + 1.0)),
	         exp(mean + t * se * sqrt(PATIENTS + 1.0)));
	ck_assert_msg(says(a->diagnostics, a->n_diagnostics, words), "%s", words);
	int half = 0;

	for (int p = 0; p < PATIENTS; p++)
		half += d[p] < -log(2);
	snprintf(words, sizeof words, ", %d less than half and ", half);
	ck_assert_msg(says(a->diagnostics, a->n_diagnostics, words), "%s", words);
	/* patients drawn anew: the same mean, an interval near that of the
	 * normal law with the sample's own spread (docs/methods/bootstrap.md) */
	const pd_sensitivity *drawn = answer_line(a, "bootstrap");
	double z = 1.959964 * se * sqrt((PATIENTS - 1.0) / PATIENTS);

	ck_assert_ptr_nonnull(drawn);
	ck_assert_msg(drawn->done, "%s", drawn->note);
	ck_assert_double_eq_tol(drawn->value, exp(mean), 1e-12);
	ck_assert_double_eq_tol(log(drawn->high / drawn->low), 2 * z, 0.2 * z);
	ck_assert_int_eq(strstr(drawn->note, "too narrow") != NULL,
	                 PATIENTS <= 30);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Few pairs of which one in eight stands far out: said; none far out: not. */
START_TEST(lopsided_pairs)
{
	for (int far = 0; far < 2; far++) {
		answer_no_pulls();
		for (int p = 0; p < PATIENTS; p++)
			for (int k = 0; k < 2; k++)
				answer_add((struct pull){ .patient = p,
				    .site = 1, .aliquot = k + 1, .syringe = 10,
				    .age = 40, .volume = 5, .dish_1 = 10,
				    .dish_2 = 12,
				    .tnc = exp(3 + 0.1 * answer_noise(p, k) +
				               (far && k && p % 8 == 0 ? 1.5
				                                       : 0)) });
		pd_store *s = answer_load();
		pd_arena *arena = pd_arena_new();
		pd_answer *a = answer_ask(s, arena, second_pull);

		ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
		ck_assert_int_eq(says(a->diagnostics, a->n_diagnostics,
		                      "Lopsided"), far);
		pd_arena_free(arena);
		pd_store_close(s);
		answer_no_store();
	}
}
END_TEST

/* Swapping arms inverts the ratio; the unit of the outcome does not matter;
 * nor does the order of rows. */
START_TEST(order_of_rows)
{
	double d[PATIENTS];

	two_pulls(d);
	answer_shuffle();
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena, second_pull);
	pd_answer *b = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	    "compare = aliquot_no 1 against 2\nwithin = site\n");
	double mean = 0;

	for (int p = 0; p < PATIENTS; p++)
		mean += d[p] / PATIENTS;
	ck_assert_double_eq_tol(a->effect[0].value, exp(mean), 1e-9);
	ck_assert_double_eq_tol(a->effect[0].value * b->effect[0].value, 1,
	                        1e-12);
	ck_assert_double_eq_tol(a->effect[0].low * b->effect[0].high, 1, 1e-12);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Patients drawn one way only, and better marrow for the first syringe:
 * across patients the syringes differ, inside them they do not. */
START_TEST(confounding_between_patients)
{
	for (int p = 0; p < 60; p++) {
		double base = 3 + 0.1 * answer_noise(p, 2) + (p < 20 ? 1.0 : 0.0);

		for (int k = 0; k < 2; k++) {
			int syringe = p < 20 ? 10 : p < 40 ? 50 : k ? 50 : 10;

			answer_add((struct pull){ .patient = p, .site = k + 1,
			    .aliquot = 1, .syringe = syringe, .age = 50,
			    .volume = 5, .dish_1 = 10, .dish_2 = 9,
			    .tnc = exp(base + 0.5 * answer_noise(p, 20 + k)) });
		}
	}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *within = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	    "compare = syringe_ml 10 against 50\nwithin = patient\n"
	    "adjust = site_no\nmargin = 0.80\n");
	pd_answer *across = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	    "compare = syringe_ml 10 against 50\nmargin = 0.80\n");

	ck_assert_msg(within->refusal == NULL, "%s", within->refusal);
	/* site 1 is always the 10 mL syringe in the 20 patients with both */
	ck_assert_double_gt(across->effect[0].low, 1.02);
	ck_assert_double_lt(within->effect[0].low, 1.0);
	ck_assert_double_gt(within->effect[0].high, 1.0);
	/* the same coefficient, its error from the patients' own scatter */
	const pd_sensitivity *robust = answer_line(across, "errors counted");
	double width = across->effect[0].log.high - across->effect[0].log.low;

	ck_assert_ptr_nonnull(robust);
	ck_assert_msg(robust->done, "%s", robust->note);
	ck_assert_double_eq_tol(robust->value, across->effect[0].value, 1e-7);
	ck_assert_double_gt(log(robust->high / robust->low), 0.5 * width);
	ck_assert_double_lt(log(robust->high / robust->low), 2 * width);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Zero colonies stay: counted at their level, in the model, and the answer
 * differs from the one that leaves them out. */
START_TEST(zeros_stay)
{
	double sum[2] = { 0 };

	for (int p = 0; p < 60; p++)
		for (int k = 0; k < 2; k++) {
			double m = 6 * exp(0.5 * answer_noise(p, 3)) * (k ? 0.35 : 1);
			int a = (int)(m * (1 + answer_noise(p, 30 + k)));
			int b = (int)(m * (1 + answer_noise(p, 40 + k)));

			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .tnc = 30, .dish_1 = a < 0 ? 0 : a,
			    .dish_2 = b < 0 ? 0 : b });
			sum[k] += (a < 0 ? 0 : a) + (b < 0 ? 0 : b);
		}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = cfu_f\njudge = concentration\n"
	    "compare = aliquot_no 2 against 1\nwithin = site\n");

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_uint_gt(a->levels[0].n_zero, 0);
	ck_assert_uint_eq(a->levels[0].n_rows, 60);
	const pd_sensitivity *dropped = answer_line(a, "zeros and limits left");

	ck_assert_ptr_nonnull(dropped);
	ck_assert(dropped->done);
	/* leaving the poorer arm's zeros out flatters it */
	ck_assert_double_gt(dropped->value, a->effect[0].value);
	/* as counts: at the same exposure hardly another ratio than that of
	 * all colonies (exactly that under a Poisson law) */
	const pd_sensitivity *counts = answer_line(a, "colonies as counts");

	ck_assert_ptr_nonnull(counts);
	ck_assert(counts->done);
	ck_assert_double_eq_tol(counts->value, sum[1] / sum[0], 0.02);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Old patients at one level, young ones at the other, and a yield that falls
 * with age: the difference of ages by its formula, 0 under overlap weights,
 * and by them the model's effect (the truth is 1.5). */
START_TEST(made_alike)
{
	double sum[2] = { 0, 0 }, square[2] = { 0, 0 };

	for (int p = 0; p < 80; p++) {
		int arm = p % 2;
		int age = 40 + p / 4 + 8 * arm;

		sum[arm] += age / 40.0;
		square[arm] += age * age / 40.0;
		answer_add((struct pull){ .patient = p, .site = 1, .aliquot = 1,
		    .syringe = arm ? 10 : 50, .age = age, .volume = 5,
		    .dish_1 = 10, .dish_2 = 9,
		    .tnc = exp(4 - 0.03 * age + (arm ? log(1.5) : 0) +
		               0.1 * answer_noise(p, 3)) });
	}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	    "compare = syringe_ml 10 against 50\nadjust = age_y\n");
	double v1 = (square[1] - sum[1] * sum[1]) * 40 / 39;
	double v0 = (square[0] - sum[0] * sum[0]) * 40 / 39;
	const pd_weighing *w = a->weighing;

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_ptr_nonnull(w);
	ck_assert_msg(w->refusal == NULL, "%s", w->refusal);
	ck_assert_uint_eq(w->n_alike, 1);
	ck_assert_double_eq_tol(w->alike[0].first, sum[1], 1e-9);
	ck_assert_double_eq_tol(w->alike[0].second, sum[0], 1e-9);
	ck_assert_double_eq_tol(w->alike[0].before, (sum[1] - sum[0]) /
	                        sqrt((v1 + v0) / 2), 1e-9);
	ck_assert_double_eq_tol(w->alike[0].after, 0, 1e-8);
	const pd_sensitivity *l = answer_line(a, "made alike");

	ck_assert_ptr_nonnull(l);
	ck_assert_double_eq_tol(log(l->value), w->effect.value, 1e-12);
	ck_assert_double_eq_tol(log(l->value), log(1.5), 0.1);
	/* without either, age hides a fifth of it */
	const pd_sensitivity *raw = answer_line(a, "unadjusted");

	ck_assert_ptr_nonnull(raw);
	ck_assert_double_lt(raw->value, 0.9 * l->value);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

static const struct {
	const char *plan, *words;
} refused[] = {
	{ "[plan]\nmin_patients = 30\n[q]\ntitle = T\noutcome = tnc\n"
	  "judge = concentration\ncompare = aliquot_no 2 against 1\n"
	  "within = site\n", "at least 30" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "compare = aliquot_no 3 against 1\n", "'pull 3' was drawn in 0" },
	{ "[q]\ntitle = T\noutcome = cd34\njudge = concentration\n"
	  "compare = aliquot_no 2 against 1\n", "no row is left" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "slope = volume_ml per doubling\n", "does not vary" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "slope = age_y per 10\nwithin = site\n", "different values" },
	{ "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	  "compare = operator each against the mean\n", "only one level" },
};

START_TEST(refusals)
{
	double d[PATIENTS];

	two_pulls(d);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena, refused[_i].plan);

	ck_assert_ptr_nonnull(a->refusal);
	ck_assert_msg(strstr(a->refusal, refused[_i].words) != NULL, "%s",
	              a->refusal);
	ck_assert_uint_eq(a->n_effects, 0);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* A laboratory change that coincides with the technique's cannot be told
 * apart; one that does not is adjusted for. */
START_TEST(method_versions)
{
	for (int overlap = 0; overlap < 2; overlap++) {
		answer_no_pulls();
		for (int p = 0; p < 60; p++) {
			int late = p >= 30, b = overlap ? p % 3 == 0 : late;

			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = 1, .syringe = late ? 50 : 10, .age = 50,
			    .volume = 5, .dish_1 = 5, .dish_2 = 6,
			    .version = b ? "lab-b 1" : "lab-a 1",
			    .tnc = exp(3 + 0.3 * answer_noise(p, 4) + (b ? 1 : 0)) });
		}
		pd_store *s = answer_load();
		pd_arena *arena = pd_arena_new();
		pd_answer *a = answer_ask(s, arena,
		    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
		    "compare = syringe_ml 10 against 50\n");

		if (overlap) {
			ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
			ck_assert_ptr_nonnull(strstr(a->adjusters,
			                             "method version"));
			ck_assert_double_lt(fabs(log(a->effect[0].value)), 0.2);
			/* the versions themselves: nobody counted by both */
			a = answer_ask(s, arena,
			    "[r]\ntitle = T\noutcome = tnc\n"
			    "judge = concentration\n"
			    "compare = method_version lab-b 1 against lab-a 1\n");
			ck_assert_ptr_nonnull(a->refusal);
			ck_assert_ptr_nonnull(strstr(a->refusal,
			                             "counted by both"));
		} else {
			ck_assert_ptr_nonnull(a->refusal);
			ck_assert_ptr_nonnull(strstr(a->refusal,
			                             "method version"));
		}
		pd_arena_free(arena);
		pd_store_close(s);
		answer_no_store();
	}
}
END_TEST

/* Is there a diagnostic, or a caution, with these words? */
/* Most second pulls were counted by a version that reads e^0.4 higher: pairs
 * of raw counts would show no loss (0.67 * 1.49^0.8 = 0.92), so the version
 * is held equal. Noise of 0.1 in 24 pairs: within 0.12 of the truth. */
START_TEST(version_inside_a_unit)
{
	for (int p = 0; p < PATIENTS; p++)
		for (int k = 0; k < 2; k++) {
			int b = k == 1 ? p % 5 != 0 : p % 5 == 1;

			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .dish_1 = 5, .dish_2 = 6,
			    .version = b ? "lab-b 1" : "lab-a 1",
			    .tnc = exp(3 + 0.5 * answer_noise(p, 1) - 0.4 * k + 0.4 * b
			               + 0.1 * answer_noise(p, 10 + k)) });
		}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena, second_pull);

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_double_eq_tol(log(a->effect[0].value), -0.4, 0.12);
	ck_assert_ptr_nonnull(strstr(a->adjusters, "method version"));
	ck_assert(says(a->refused, a->n_refused, "method version changes"));
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Counting every pull a second time, by a second version that reads e^0.5
 * higher and agrees otherwise to 2 %, teaches nothing of the pulls: the
 * interval stays as wide as from the first counts alone. */
START_TEST(counted_twice)
{
	double width[2];

	for (int twice = 0; twice < 2; twice++) {
		answer_no_pulls();
		for (int i = 0; i < PATIENTS * 2 * (1 + twice); i++) {
			int p = i / 2 % PATIENTS, k = i % 2;
			int b = i >= 2 * PATIENTS;

			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .dish_1 = 5, .dish_2 = 6,
			    .version = b ? "lab-b 1" : "lab-a 1",
			    .tnc = exp(3 + 0.5 * answer_noise(p, 1) - 0.4 * k + 0.5 * b
			               + 0.3 * answer_noise(p, 10 + k)
			               + 0.02 * answer_noise(p, 20 + k + 2 * b)) });
		}
		pd_store *s = answer_load();
		pd_arena *arena = pd_arena_new();
		pd_answer *a = answer_ask(s, arena,
		    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
		    "compare = aliquot_no 2 against 1\n");

		ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
		ck_assert_uint_eq(a->flow[a->n_flow - 1].n_rows, answer_n_pulls());
		width[twice] = a->effect[0].log.high - a->effect[0].log.low;
		if (twice) {
			a = answer_ask(s, arena,
			    "[r]\ntitle = T\noutcome = tnc\n"
			    "judge = concentration\n"
			    "compare = method_version lab-b 1 against lab-a 1\n");
			ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
		}
		pd_arena_free(arena);
		pd_store_close(s);
		answer_no_store();
	}
	ck_assert_double_eq_tol(width[1] / width[0], 1, 0.03);
}
END_TEST

/* What would make a number lean: dilution known at one level only, a word of
 * `where` that no record has; and the units behind the pairs. */
START_TEST(notes)
{
	for (int p = 0; p < PATIENTS; p++)
		for (int k = 0; k < 2; k++)
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .dish_1 = 5, .dish_2 = 6,
			    .last = k ? "ACD-A,,33" : p % 2 ? "none,,29.5"
			                            : "ACD-A,1.25,29.5",
			    .tnc = exp(3 + 0.1 * answer_noise(p, k)) });
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = tnc\njudge = concentration\n"
	    "compare = aliquot_no 2 against 1\nwithin = site\n"
	    "where = operator is op-a or op-A; sex is female or male\n");

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert(says(a->diagnostics, a->n_diagnostics,
	               "for 24 of 48 results the anticoagulant"));
	ck_assert(says(a->cautions, a->n_cautions, "24 of 24 results at 'pull 2'"
	               " and 0 of 24 at 'pull 1'"));
	ck_assert(says(a->diagnostics, a->n_diagnostics,
	               "no record meets operator is 'op-A';"));
	const pd_flow *pairs = &a->flow[a->n_flow - 1];

	ck_assert_str_eq(pairs->step, "in a pair");
	ck_assert_uint_eq(pairs->n_patients, PATIENTS);
	ck_assert_uint_eq(pairs->n_cases, PATIENTS);
	ck_assert_uint_eq(pairs->n_sites, PATIENTS);
	ck_assert_uint_eq(pairs->n_rows, 2 * PATIENTS);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* More haematocrit in a draw is more blood: higher, never better. And a
 * viability above 90 is one from 90 to 100: its mean cannot pass 100. */
START_TEST(not_a_gain)
{
	for (int p = 0; p < PATIENTS; p++)
		for (int k = 0; k < 2; k++) {
			char last[32];

			snprintf(last, sizeof last, "none,,%.1f",
			         29 + 4 * k + answer_noise(p, k));
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .tnc = 20.5, .dish_1 = 5,
			    .dish_2 = 6, .last = last,
			    .viability = p % 3 ? (p + k) % 2 ? "62" : "88"
			                       : ">90" });
		}
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();
	pd_answer *a = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = hct\njudge = percent\n"
	    "compare = aliquot_no 2 against 1\nwithin = site\n");

	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert_int_eq(a->effect[0].verdict, PD_BETTER);
	ck_assert(a->not_a_choice);
	a = answer_ask(s, arena,
	    "[q]\ntitle = T\noutcome = viability\njudge = percent\n"
	    "compare = aliquot_no 2 against 1\n");
	ck_assert_msg(a->refusal == NULL, "%s", a->refusal);
	ck_assert(!a->not_a_choice);
	for (size_t i = 0; i < a->points.n_points; i++)
		ck_assert_double_le(a->points.point_value[i], 100);
	ck_assert_double_lt(a->levels[0].centre, (16 * 75 + 8 * 100) / 24.0);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* The same reading is one look; new data make a second. */
START_TEST(looks)
{
	double d[PATIENTS];

	two_pulls(d);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();

	ck_assert_uint_eq(answer_ask(s, arena, second_pull)->n_looks, 1);
	ck_assert_uint_eq(answer_ask(s, arena, second_pull)->n_looks, 1);
	pd_store_close(s);
	answer_no_pulls();
	for (int k = 0; k < 2; k++)
		answer_add((struct pull){ .patient = 900, .site = 1, .aliquot = k + 1,
		    .syringe = 10, .age = 50, .volume = 5, .tnc = 31.7 - k,
		    .dish_1 = 4, .dish_2 = 7 });
	s = answer_load();
	ck_assert_uint_eq(answer_ask(s, arena, second_pull)->n_looks, 2);
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/* Reading a second time does not make a margin set after the data one set
 * before them; files loaded after the first reading are another matter. */
START_TEST(margin_against_data)
{
	double d[PATIENTS];

	two_pulls(d);
	pd_store *s = answer_load();
	pd_arena *arena = pd_arena_new();

	for (int k = 0; k < 2; k++) {
		ck_assert_ptr_nonnull(strstr(
		    answer_ask(s, arena, second_pull)->declared,
		    "first read on 2024-07-01, with all these data already"));
		answer_ask_date = "2024-09-01";
	}
	pd_store_close(s);
	answer_no_pulls();
	answer_load_date = "2024-08-15";
	answer_add((struct pull){ .patient = 901, .site = 1, .aliquot = 1,
	    .syringe = 10, .age = 50, .volume = 5, .tnc = 30.3,
	    .dish_1 = 4, .dish_2 = 7 });
	s = answer_load();
	ck_assert_ptr_nonnull(strstr(answer_ask(s, arena, second_pull)->declared,
	                             "1 of 2 files were loaded after"));
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("answer");
	TCase *t = tcase_create("answers");

	tcase_add_checked_fixture(t, answer_setup, answer_teardown);
	tcase_set_timeout(t, 60);
	tcase_add_test(t, pairs_by_hand);
	tcase_add_test(t, order_of_rows);
	tcase_add_test(t, confounding_between_patients);
	tcase_add_test(t, lopsided_pairs);
	tcase_add_test(t, made_alike);
	tcase_add_test(t, zeros_stay);
	tcase_add_loop_test(t, refusals, 0, sizeof refused / sizeof *refused);
	tcase_add_test(t, method_versions);
	tcase_add_test(t, version_inside_a_unit);
	tcase_add_test(t, counted_twice);
	tcase_add_test(t, notes);
	tcase_add_test(t, not_a_gain);
	tcase_add_test(t, looks);
	tcase_add_test(t, margin_against_data);
	suite_add_tcase(s, t);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);
	int passed = srunner_ntests_run(r) - failed;

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
