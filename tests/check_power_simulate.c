/*
 * check_power_simulate.c - power by doing the trial many times, against the
 * exact formulas of balanced layouts, each within 4 Monte Carlo errors; large
 * counts against the normal law; that nothing is dropped in silence.
 */
#include "stats/noncentral.h"
#include "stats/power.h"
#include "stats/power_simulate.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

enum { TRIALS = 3000 };

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

/* 14 patients, one side each way. */
static pd_sim_plan pairs(void)
{
	return (pd_sim_plan){
		.n = { [PD_SIM_PATIENT] = 14, [PD_SIM_SIDE] = 2 },
		.alternate = PD_SIM_SIDE,
		.sd = { [PD_SIM_PATIENT] = 0.9, [PD_SIM_ALIQUOT] = 0.31 },
		.ratio = 1.37, .alpha = 0.05, .trials = TRIALS, .seed = 41,
		.threads = 2,
	};
}

/* 12 patients in two groups, two cases each, three aliquots a case. */
static pd_sim_plan groups(void)
{
	return (pd_sim_plan){
		.n = { [PD_SIM_PATIENT] = 12, [PD_SIM_CASE] = 2,
		       [PD_SIM_ALIQUOT] = 3 },
		.alternate = PD_SIM_PATIENT,
		.sd = { [PD_SIM_PATIENT] = 0.63, [PD_SIM_CASE] = 0.35,
		        [PD_SIM_ALIQUOT] = 0.22 },
		.ratio = 2.6, .alpha = 0.05, .trials = TRIALS, .seed = 42,
		.threads = 2,
	};
}

static pd_sim_plan colonies(void)
{
	return (pd_sim_plan){
		.n = { [PD_SIM_PATIENT] = 20, [PD_SIM_ALIQUOT] = 4 },
		.n_dishes = 3, .alternate = PD_SIM_ALIQUOT,
		.sd = { [PD_SIM_PATIENT] = 0.7 }, .colonies = 27,
		.theta = INFINITY, .ratio = 1.08, .alpha = 0.05,
		.trials = 400, .seed = 43, .threads = 2,
	};
}

static void agrees(const pd_sim_power *r, double want)
{
	double error = sqrt(want * (1 - want) / (double)r->trials);

	if (fabs(r->power - want) > 4 * error + 1e-12)
		ck_abort_msg("power %g, exact %g, error %g", r->power, want,
		             error);
	ck_assert_uint_eq(r->failed, 0);
	ck_assert_str_eq(r->why, "");
}

/* ---- exact cases -------------------------------------------------------- */

static const pd_df_method rules[] = { PD_KENWARD_ROGER, PD_SATTERTHWAITE };

START_TEST(pairs_superior)
{
	pd_sim_plan p = pairs();
	pd_trial t = { PD_TRIAL_PAIRS, log(1.37), 0.31 * sqrt(2), 0.05, 2, 0,
	               0, 0 };
	pd_sim_power r;

	p.method = rules[_i];
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	agrees(&r, pd_power_t(&t, 14));
	ck_assert_uint_eq(r.n_rows, 28);
	ck_assert_double_eq_tol(r.mean, log(1.37), 0.01);
	near("sd", r.sd, 0.31 * sqrt(2.0 / 14), 0.06);
	near("mean se", r.mean_se, r.sd, 0.06);
	near("error", r.mc_se, sqrt(r.power * (1 - r.power) / TRIALS), 1e-12);
	ck_assert(r.low < r.power && r.power < r.high);
	near("power", r.power, (double)r.claims / TRIALS, 1e-15);
}
END_TEST

START_TEST(pairs_not_inferior)
{
	pd_sim_plan p = pairs();
	pd_trial t = { PD_TRIAL_PAIRS, log(1.04), 0.31 * sqrt(2), 0.025, 1,
	               log(0.8), 0, 0 };
	pd_sim_power r;

	p.question = PD_SIM_NOT_INFERIOR;
	p.ratio = 1.04;
	p.alpha = 0.025;
	p.margin = (pd_margin){ 0.8, 0 };
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	agrees(&r, pd_power_t(&t, 14));
	/* less is better: the mirror */
	p.ratio = 1 / 1.04;
	p.margin = (pd_margin){ 0, 1.25 };
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	agrees(&r, pd_power_t(&t, 14));
}
END_TEST

/* Also at the margin itself, where the chance is alpha. */
START_TEST(pairs_equivalent)
{
	pd_sim_plan p = pairs();
	pd_trial t = { PD_TRIAL_PAIRS, log(_i ? 1.25 : 1.03), 0.31 * sqrt(2),
	               0.05, 1, 0, log(0.8), log(1.25) };
	pd_sim_power r;

	p.question = PD_SIM_EQUIVALENT;
	p.n[PD_SIM_PATIENT] = 22;
	p.ratio = exp(t.effect);
	p.margin = (pd_margin){ 0.8, 1.25 };
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	agrees(&r, pd_power_equivalence(&t, 22));
}
END_TEST

/* Two groups of patients: a two-sample t test of patients' means. */
START_TEST(nested_groups)
{
	pd_sim_plan p = groups();
	double spread = sqrt(0.63 * 0.63 + 0.35 * 0.35 / 2 + 0.22 * 0.22 / 6);
	pd_trial t = { PD_TRIAL_GROUPS, log(2.6), spread, 0.05, 2, 0, 0, 0 };
	pd_sim_power r;

	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	agrees(&r, pd_power_t(&t, 6));
	ck_assert_uint_le(r.at_zero, r.trials / 20);
}
END_TEST

/* Three aliquots a side, two sides each way: sides differ too, and the means
 * of sides are pairs. Dishes read together divide their part of the scatter. */
START_TEST(nested_sides)
{
	pd_sim_plan p = pairs();
	double part = 0.4 * 0.4 + (0.25 * 0.25 + 0.5 * 0.5 / 4) / 3;
	pd_trial t = { PD_TRIAL_PAIRS, log(1.5), sqrt(2 * part), 0.05, 2, 0,
	               0, 0 };
	pd_sim_power r;

	p.n[PD_SIM_ALIQUOT] = 3;
	p.n_dishes = 4;
	p.sd[PD_SIM_SIDE] = 0.4;
	p.sd[PD_SIM_ALIQUOT] = 0.25;
	p.sd_dish = 0.5;
	p.ratio = 1.5;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	agrees(&r, pd_power_t(&t, 14));
}
END_TEST

/* Both arms in every patient: 6 aliquots each, three an arm. The arm effect
 * then has what patients and arms leave of 84 rows as its df. */
START_TEST(crossed_aliquots)
{
	pd_sim_plan p = pairs();
	double df = 84 - 14 - 1, c = pd_t_quantile(0.975, df);
	double d = log(1.2) / (0.31 * sqrt(2.0 / 42));
	pd_sim_power r;

	p.n[PD_SIM_SIDE] = 1;
	p.n[PD_SIM_ALIQUOT] = 6;
	p.alternate = PD_SIM_ALIQUOT;
	p.ratio = 1.2;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	agrees(&r, pd_noncentral_t_upper(c, df, d) +
	           pd_noncentral_t_cdf(-c, df, d));
}
END_TEST

/* Without an effect the claim is made in alpha of trials; with aliquots lost
 * the nest is unbalanced and there is no formula. */
START_TEST(size_unbalanced)
{
	pd_sim_plan p = groups();
	pd_sim_power r;

	p.ratio = 1;
	p.lost = 0.2;
	p.trials = 2000;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, NULL), PD_OK);
	ck_assert_double_eq_tol(r.power, 0.05, 0.02);
	ck_assert_uint_lt(r.failed, 20);
	ck_assert_double_eq_tol(r.mean, 0, 4 * r.sd / sqrt(2000));
}
END_TEST

/* ---- counts ------------------------------------------------------------- */

/*
 * Many colonies, both arms in every patient: given the patients the estimate
 * is nearly normal, variance 1 / sum of means of each arm (+ 1 / theta a row):
 * the mean of exp(sd z) is exp(sd^2 / 2).
 */
START_TEST(counts_normal_law)
{
	pd_sim_plan p = colonies();
	double mean = 3 * 27 * exp(0.5 * 0.49), rows = 40, variance, d;
	pd_sim_power r;

	if (_i) {
		p.theta = 9;
		p.ratio = 1.27;
		p.sd[PD_SIM_PATIENT] = 0.3;
		mean = 3 * 27 * exp(0.5 * 0.09);
	}
	variance = (1 / mean + 1 / (mean * p.ratio)) / rows +
	           (_i ? 2 / 9.0 / rows : 0);
	ck_assert_int_eq(pd_power_simulate_counts(&p, &r, NULL), PD_OK);
	d = log(p.ratio) / sqrt(variance);
	ck_assert_double_eq_tol(r.power, pd_normal_upper(1.959964 - d),
	                        4 * r.mc_se + 0.03);
	near("sd", r.sd, sqrt(variance), 0.15);
	near("mean se", r.mean_se, r.sd, 0.15);
	ck_assert_double_eq_tol(r.mean, log(p.ratio),
	                        4 * r.sd / sqrt((double)r.trials) + 0.002);
	ck_assert_uint_eq(r.failed, 0);
}
END_TEST

/* Draws of counts: mean and variance of Poisson and of gamma mixtures. */
START_TEST(count_draws)
{
	static const double means[] = { 0, 0.3, 4, 199, 201, 3000 };
	enum { DRAWS = 40000 };

	for (int i = 0; i < ROWS(means); i++) {
		double sum = 0, square = 0, m = means[i], z;
		pd_stream s;

		pd_stream_init(&s, 6, (uint64_t)i);
		for (int k = 0; k < DRAWS; k++) {
			double y = pd_stream_poisson(&s, m);

			ck_assert(y == floor(y) && y >= 0);
			sum += y;
			square += (y - m) * (y - m);
		}
		z = sqrt(m / DRAWS);
		ck_assert_double_eq_tol(sum / DRAWS, m, 4.5 * z + 1e-12);
		ck_assert_double_eq_tol(square / DRAWS, m,
		                        4.5 * sqrt((2 * m * m + m) / DRAWS) +
		                        1e-12);
	}
	pd_stream s;
	double sum = 0, square = 0;

	pd_stream_init(&s, 6, 99);
	for (int k = 0; k < 4000; k++) {
		double g = pd_stream_gamma(&s, 1.7);

		sum += g / 4000;
		square += (g - 1.7) * (g - 1.7) / 4000;
	}
	ck_assert_double_eq_tol(sum, 1.7, 4.5 * sqrt(1.7 / 4000));
	ck_assert_double_eq_tol(square, 1.7, 0.35);
	ck_assert_double_nan(pd_stream_poisson(&s, -1));
	ck_assert_double_nan(pd_stream_poisson(&s, NAN));
	ck_assert_double_nan(pd_stream_poisson(&s, 2e6));
}
END_TEST

/* ---- properties --------------------------------------------------------- */

START_TEST(same_bytes)
{
	static const unsigned some[] = { 1, 3, 64 };
	pd_sim_plan p = _i ? colonies() : groups();
	pd_sim_power a, b;

	p.trials = _i ? 24 : 150;
	p.lost = 0.1;
	for (int k = 0; k < ROWS(some); k++) {
		memset(&b, 0, sizeof b);
		p.threads = some[k];
		ck_assert_int_eq((_i ? pd_power_simulate_counts
		                     : pd_power_simulate_mixed)(&p, &b, NULL),
		                 PD_OK);
		if (k)
			ck_assert_mem_eq(&a, &b, sizeof a);
		a = b;
	}
	p.seed++;
	ck_assert_int_eq((_i ? pd_power_simulate_counts
	                     : pd_power_simulate_mixed)(&p, &b, NULL), PD_OK);
	ck_assert_double_ne(a.mean, b.mean);
}
END_TEST

/* More trials go on from the same ones; the arms exchanged find as much. */
START_TEST(more_trials_and_mirror)
{
	pd_sim_plan p = pairs();
	pd_sim_power a, b;

	p.trials = 200;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &a, NULL), PD_OK);
	p.trials = 201;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &b, NULL), PD_OK);
	ck_assert(b.claims == a.claims || b.claims == a.claims + 1);
	p.trials = 1500;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &a, NULL), PD_OK);
	p.ratio = 1 / p.ratio;
	p.seed += 7;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &b, NULL), PD_OK);
	ck_assert_double_eq_tol(a.power, b.power, 4 * sqrt(2) * a.mc_se);
	ck_assert_double_eq_tol(a.mean, -b.mean, 6 * a.sd / sqrt(1500));
}
END_TEST

/* The size found is near the exact one, its power near the power asked; what
 * was short of it stands beside. */
START_TEST(size_near_exact)
{
	pd_sim_plan p = pairs();
	pd_trial t = { PD_TRIAL_PAIRS, log(1.37), 0.31 * sqrt(2), 0.05, 2, 0,
	               0, 0 };
	pd_trial_size want;
	pd_sim_size got;
	pd_error err = { 0 };

	p.n[PD_SIM_PATIENT] = 3;
	p.trials = 2000;
	ck_assert_int_eq(pd_size_t(&t, 0.8, &want, NULL), PD_OK);
	ck_assert_int_eq(pd_size_simulate(pd_power_simulate_mixed, &p, 0.8,
	                                  200, &got, NULL), PD_OK);
	ck_assert_double_eq_tol((double)got.patients, want.n, 1);
	ck_assert_uint_eq(got.before + 1, got.patients);
	ck_assert(got.at.power >= 0.8 && got.power_before < 0.8);
	ck_assert_uint_eq(got.at.n_rows, 2 * got.patients);
	ck_assert_uint_le(got.tried, 8);
	/* enough at once; never enough; not to be asked */
	p.n[PD_SIM_PATIENT] = 40;
	p.trials = 100;
	ck_assert_int_eq(pd_size_simulate(pd_power_simulate_mixed, &p, 0.8,
	                                  200, &got, NULL), PD_OK);
	ck_assert_uint_eq(got.patients, 40);
	ck_assert_uint_eq(got.before, 0);
	ck_assert_double_nan(got.power_before);
	p.ratio = 1;
	ck_assert_int_eq(pd_size_simulate(pd_power_simulate_mixed, &p, 0.8, 50,
	                                  &got, &err), PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "50 patients give a power of"));
	ck_assert_int_eq(pd_size_simulate(pd_power_simulate_mixed, &p, 0.8, 30,
	                                  &got, &err), PD_DATA);
	ck_assert_int_eq(pd_size_simulate(pd_power_simulate_mixed, &p, 0.05,
	                                  90, &got, &err), PD_DATA);
	/* too few to fit anything at first: half of four rows lost */
	p = pairs();
	p.n[PD_SIM_PATIENT] = 2;
	p.lost = 0.5;
	p.trials = 60;
	p.ratio = 4;
	ck_assert_int_eq(pd_size_simulate(pd_power_simulate_mixed, &p, 0.6, 64,
	                                  &got, NULL), PD_OK);
	ck_assert_uint_gt(got.patients, 4);
	/* groups of patients: both arms alike at every size */
	p = groups();
	p.n[PD_SIM_PATIENT] = 5;
	p.trials = 200;
	ck_assert_int_eq(pd_size_simulate(pd_power_simulate_mixed, &p, 0.7, 64,
	                                  &got, NULL), PD_OK);
	ck_assert_uint_eq(got.patients % 2, 0);
	ck_assert_uint_eq(got.before + 2, got.patients);
}
END_TEST

/* With two aliquots in three lost some trials cannot be fitted: they stay in
 * the count and say why. */
START_TEST(failures_are_told)
{
	pd_sim_plan p = pairs();
	pd_sim_power r;
	pd_error err = { 0 };

	p.n[PD_SIM_PATIENT] = 4;
	p.lost = 0.6;
	p.trials = 300;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, &err), PD_OK);
	ck_assert_uint_gt(r.failed, 30);
	ck_assert_uint_lt(r.failed, 300);
	ck_assert_uint_le(r.claims, r.trials - r.failed);
	near("over all trials", r.power, (double)r.claims / 300, 1e-15);
	ck_assert_uint_gt(strlen(r.why), 10);
	ck_assert(isfinite(r.mean) && isfinite(r.mean_se));
	/* counts past the million a model takes */
	p = colonies();
	p.colonies = 1e5;
	p.sd[PD_SIM_PATIENT] = 0.6;
	p.trials = 20;
	ck_assert_int_eq(pd_power_simulate_counts(&p, &r, &err), PD_OK);
	ck_assert_uint_gt(r.failed, 0);
	ck_assert_uint_lt(r.failed, 20);
	/* none can */
	p = pairs();
	p.n[PD_SIM_PATIENT] = 4;
	p.trials = 300;
	p.lost = 0.999;
	ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, &err), PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "none of 300"));
	ck_assert_uint_eq(r.failed, 300);
}
END_TEST

/* ---- refusals ----------------------------------------------------------- */

START_TEST(refuses)
{
	const struct {
		const char *words;
		size_t at;
		double value;
	} row[] = {
#define AT(field) offsetof(pd_sim_plan, field)
		{ "standard deviation 1", AT(sd[0]), -0.1 },
		{ "standard deviation 5", AT(sd[4]), NAN },
		{ "between dishes", AT(sd_dish), 11 },
		{ "true ratio", AT(ratio), 0 },
		{ "true ratio", AT(ratio), INFINITY },
		{ "without a result", AT(lost), 1 },
		{ "without a result", AT(lost), NAN },
		{ "level of the test", AT(alpha), 0.5 },
		{ "level of the power's", AT(level), 1 },
#undef AT
	};
	pd_sim_power r;

	for (int i = 0; i < ROWS(row); i++) {
		pd_sim_plan p = pairs();
		pd_error err = { 0 };

		memcpy((char *)&p + row[i].at, &row[i].value, sizeof(double));
		ck_assert_int_eq(pd_power_simulate_mixed(&p, &r, &err),
		                 PD_DATA);
		if (!strstr(err.text, row[i].words))
			ck_abort_msg("'%s' lacks '%s'", err.text,
			             row[i].words);
	}
}
END_TEST

static void refused(const pd_sim_plan *p, int counts, const char *words)
{
	pd_error err = { 0 };
	pd_sim_power r;

	ck_assert_int_eq((counts ? pd_power_simulate_counts
	                         : pd_power_simulate_mixed)(p, &r, &err),
	                 PD_DATA);
	if (!strstr(err.text, words))
		ck_abort_msg("'%s' lacks '%s'", err.text, words);
}

START_TEST(refuses_layouts)
{
	pd_sim_plan p = pairs();

	p.n[PD_SIM_PATIENT] = 2000000;
	refused(&p, 0, "at most 1000000");
	p = pairs();
	p.n[PD_SIM_SIDE] = 1;
	p.n[PD_SIM_PATIENT] = 1;
	refused(&p, 0, "nothing alternates");
	p = pairs();
	p.trials = 1000001;
	refused(&p, 0, "at most 1000000 trials");
	p = pairs();
	p.question = (pd_sim_question)7;
	refused(&p, 0, "unknown question");
	p = pairs();
	p.alternate = PD_SIM_LEVELS;
	refused(&p, 0, "unknown level");
	p = pairs();
	p.method = (pd_df_method)7;
	refused(&p, 0, "unknown rule");
	p = pairs();
	p.sd[PD_SIM_ALIQUOT] = 0;
	refused(&p, 0, "must differ");
	p = pairs();
	p.question = PD_SIM_EQUIVALENT;
	p.margin = (pd_margin){ 1.1, 1.3 };
	refused(&p, 0, "1 (no difference)");
	p.question = PD_SIM_NOT_INFERIOR;
	p.margin = (pd_margin){ 1, 0 };
	refused(&p, 0, "margin");
	p = colonies();
	p.colonies = 0;
	refused(&p, 1, "mean count");
	p = colonies();
	p.theta = 0;
	refused(&p, 1, "theta");
	p = colonies();
	p.sd[PD_SIM_SIDE] = 0.2;
	refused(&p, 1, "standard deviation 3 must be 0");
	p = colonies();
	p.sd_dish = 0.2;
	refused(&p, 1, "of dishes must be 0");
	p = colonies();
	p.n[PD_SIM_ALIQUOT] = 1;
	refused(&p, 1, "2 patients with 2 aliquots");
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("power_simulate");
	TCase *t = tcase_create("exact");

	tcase_set_timeout(t, 240);
	tcase_add_loop_test(t, pairs_superior, 0, ROWS(rules));
	tcase_add_test(t, pairs_not_inferior);
	tcase_add_loop_test(t, pairs_equivalent, 0, 2);
	tcase_add_test(t, nested_groups);
	tcase_add_test(t, nested_sides);
	tcase_add_test(t, crossed_aliquots);
	tcase_add_test(t, size_unbalanced);
	suite_add_tcase(s, t);
	t = tcase_create("counts");
	tcase_set_timeout(t, 240);
	tcase_add_loop_test(t, counts_normal_law, 0, 2);
	tcase_add_test(t, count_draws);
	suite_add_tcase(s, t);
	t = tcase_create("properties");
	tcase_set_timeout(t, 240);
	tcase_add_loop_test(t, same_bytes, 0, 2);
	tcase_add_test(t, more_trials_and_mirror);
	tcase_add_test(t, size_near_exact);
	tcase_add_test(t, failures_are_told);
	tcase_add_test(t, refuses);
	tcase_add_test(t, refuses_layouts);
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
