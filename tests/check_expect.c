/*
 * check_expect.c - expected yields against clinics of known truth: yields and
 * chances against direct simulation, prediction intervals against new
 * patients, units, order of rows.
 */
#include "expect_help.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double mls[] = { 2, 4, 6, 10 };
/* Spread and slopes as published summaries suggest for TNC: docs/methods. */
static const struct truth tnc = {
	.centre = 3.97, .age_10y = -0.06, .female = -0.05, .log_ml = 0.65,
	.later_site = -0.03, .pull_2 = -0.51, .patient = 0.33, .side = 0.1,
	.site = 0.11, .pull = 0.11
};

static pd_arena *arena;
static pd_store *store;

static void setup(void)
{
	expect_setup();
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
	store = NULL;
}

static void teardown(void)
{
	pd_store_close(store);
	pd_arena_free(arena);
	expect_teardown();
}

static struct clinic usual(int patients)
{
	return (struct clinic){ .t = tnc, .patients = patients, .most_sites = 6,
		                .two_sides = 1, .pulls = 1, .ml = mls,
		                .n_ml = 4, .syringes = 1, .seed = 20 };
}

static pd_status ask(const pd_expect_request *r, pd_expect_answer *a)
{
	pd_run_options o = { .date = "2025-01-02" };
	pd_error err = { 0 };

	return pd_expect_run(store, r, &o, arena, a, &err);
}

static void grid(pd_expect_request *r, size_t n, const size_t *sites, size_t m,
                 const double *ml)
{
	r->n_sites = n;
	memcpy(r->sites, sites, n * sizeof *sites);
	r->n_ml = m;
	memcpy(r->ml, ml, m * sizeof *ml);
}

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* --- against the truth --------------------------------------------------- */

/* Mean, middle, limits and chance of 100,000 cases straight from the truth. */
START_TEST(against_truth)
{
	enum { N = 100000 };
	static const struct { int pulls; size_t sites, sides; double ml; } at[] = {
		{ 1, 4, 2, 6 }, { 1, 1, 2, 4 }, { 1, 6, 2, 10 }, { 2, 3, 2, 8 },
	};
	struct clinic c = usual(600);
	pd_expect_request r = expect_request();
	static pd_expect_answer a;
	double *t = calloc(N, sizeof *t), mean = 0;
	size_t reach = 0;

	c.pulls = at[_i].pulls;
	store = expect_clinic(&c, false);
	grid(&r, 1, &at[_i].sites, 1, &at[_i].ml);
	ck_assert_ptr_nonnull(t);
	for (size_t k = 0; k < N; k++) {
		t[k] = expect_case(&tnc, 50, true, at[_i].sites, at[_i].sides,
		                   (size_t)at[_i].pulls, at[_i].ml, 99, k);
		mean += t[k] / N;
	}
	qsort(t, N, sizeof *t, ascending);
	r.target = t[(size_t)(0.35 * N)];
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_msg(!a.refusal && !a.cell[0].refused, "%s %s",
	              a.refusal ? a.refusal : "",
	              a.cell[0].refused ? a.cell[0].refused : "");
	ck_assert_uint_eq(a.pulls, (size_t)at[_i].pulls);
	ck_assert_uint_eq(a.sides, 2);
	for (size_t k = 0; k < N; k++)
		reach += t[k] >= r.target;
	/* the estimates of 600 patients are good to a few per cent */
	const pd_expect_cell *e = &a.cell[0];

	ck_assert_double_eq_tol(e->mean / mean, 1, 0.06);
	ck_assert_double_eq_tol(e->median / t[N / 2], 1, 0.06);
	ck_assert_double_eq_tol(e->low_80 / t[N / 10], 1, 0.08);
	ck_assert_double_eq_tol(e->high_80 / t[N - N / 10], 1, 0.08);
	ck_assert_double_eq_tol(e->low / t[N / 40], 1, 0.1);
	ck_assert_double_eq_tol(e->high / t[N - N / 40], 1, 0.1);
	ck_assert_double_eq_tol(e->chance, (double)reach / N, 0.06);
	ck_assert_double_le(e->chance_low, (double)reach / N);
	ck_assert_double_ge(e->chance_high, (double)reach / N);
	ck_assert_double_lt(e->chance_high - e->chance_low, 0.2);
	free(t);
}
END_TEST

/* Slopes, orders and spread of the fit against what was put in. */
START_TEST(fit_against_truth)
{
	struct clinic c = usual(600);
	pd_expect_request r = expect_request();
	static pd_expect_answer a;

	static const double many[] = { 1.5, 2, 3, 4, 5, 6, 8, 10 };

	c.pulls = 2;
	c.ml = many;
	c.n_ml = 8;
	store = expect_clinic(&c, false);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_ptr_null(a.refusal);
	ck_assert_double_eq_tol(a.volume.value, 0.65, 4 * a.volume.se);
	ck_assert_double_lt(a.volume.se, 0.05);
	ck_assert_uint_eq(a.n_orders, 3);
	ck_assert_double_eq_tol(a.order[0].log_ratio.value, -0.03,
	                        4 * a.order[0].log_ratio.se);
	ck_assert_double_eq_tol(a.order[2].log_ratio.value, -0.51,
	                        4 * a.order[2].log_ratio.se);
	ck_assert_str_eq(a.order[2].name, "pull 2 or later");
	ck_assert_double_eq_tol(a.component_sd[0], 0.33, 0.05);
	ck_assert_uint_eq(a.ml_curve.k, 3);
	ck_assert_uint_eq(a.age_curve.k, 4);
}
END_TEST

/* Share of new patients inside the two intervals; 0 where the cell was not
 * seen in that clinic. */
static int clinic_cover(int patients, const struct truth *truth, double age,
                        uint64_t seed, size_t new_ones, double *in_80,
                        double *in_95)
{
	static const size_t sites = 4;
	static const double ml = 6;
	static pd_expect_answer a;
	struct clinic c = usual(patients);
	pd_expect_request r = expect_request();
	const pd_expect_cell *e = &a.cell[0];

	c.t = *truth;
	c.seed = r.seed = seed;
	r.draws = 4000;
	r.age_y = age;
	grid(&r, 1, &sites, 1, &ml);
	store = expect_clinic(&c, false);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	pd_store_close(store);
	store = NULL;
	*in_80 = *in_95 = 0;
	if (a.refusal)
		return 0;
	for (size_t j = 0; j < new_ones; j++) {
		double t = expect_case(truth, age, true, 4, 2, 1, 6,
		                       500 + seed, j);

		*in_80 += (t >= e->low_80 && t <= e->high_80) /
		          (double)new_ones;
		*in_95 += (t >= e->low && t <= e->high) / (double)new_ones;
	}
	return 1;
}

static void judge_cover(int patients, double level, const double *in, int n)
{
	double mean = 0, square = 0;

	for (int k = 0; k < n; k++) {
		mean += in[k] / n;
		square += in[k] * in[k] / n;
	}
	double se = sqrt((square - mean * mean) / (n - 1));

	printf("%d patients: %.3f of new patients inside %g (standard error "
	       "%.3f, %d clinics)\n", patients, mean, level, se, n);
	ck_assert_msg(fabs(mean - level) < 4 * se, "%d patients: %g inside %g, "
	              "se %g", patients, mean, level, se);
}

/* Shares within 4 standard errors of their level, clinics as units. */
START_TEST(cover)
{
	enum { CLINICS = 24, NEW = 60 };
	static const int patients[] = { 30, 100 };
	double in_80[CLINICS], in_95[CLINICS];
	int n = 0;

	for (uint64_t k = 0; k < CLINICS; k++)
		n += clinic_cover(patients[_i], &tnc, 55, 1000 + k, NEW,
		                  &in_80[n], &in_95[n]);
	ck_assert_int_ge(n, CLINICS / 2);
	judge_cover(patients[_i], 0.8, in_80, n);
	judge_cover(patients[_i], 0.95, in_95, n);
}
END_TEST

/*
 * A curved truth: no fall with age up to 55, four in ten lost each ten years
 * after it, patients alike but for that. A straight line through it is a fifth
 * too low at 55 and as much too high at 78; the intervals have to hold there
 * all the same.
 */
START_TEST(cover_curved)
{
	enum { CLINICS = 20, NEW = 60 };
	static const double ages[] = { 40, 55, 78 };
	struct truth bent = tnc;
	double in_80[CLINICS], in_95[CLINICS];
	int n = 0;

	bent.age_10y = 0;
	bent.bend_10y = -0.5;
	for (uint64_t k = 0; k < CLINICS; k++)
		n += clinic_cover(160, &bent, ages[_i], 3000 + k, NEW,
		                  &in_80[n], &in_95[n]);
	ck_assert_int_ge(n, CLINICS / 2);
	printf("curved truth, age %g, ", ages[_i]);
	judge_cover(160, 0.8, in_80, n);
	judge_cover(160, 0.95, in_95, n);
}
END_TEST

/* The clinic's own cases: shares near their level, totals not off. */
START_TEST(own_cases)
{
	struct clinic c = usual(_i ? 200 : 25);
	pd_expect_request r = expect_request();
	static pd_expect_answer a;

	r.age_y = 55;
	store = expect_clinic(&c, false);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_msg(!a.refusal, "%s", a.refusal);
	ck_assert_uint_eq(a.n_checked, (size_t)c.patients);
	ck_assert_uint_eq(a.parts, _i ? 10 : 25);
	ck_assert_double_le(a.in_80_low, 0.8);
	ck_assert_double_ge(a.in_80_high, 0.8);
	ck_assert_double_le(a.in_low, 0.95);
	ck_assert_double_ge(a.in_high, 0.95);
	ck_assert_double_eq_tol(a.off.value, 0, 4 * a.off.se);
	ck_assert_double_lt(a.off.se, 0.1);
}
END_TEST

/* Large syringes hold large volumes and thin the draw: held equal, the slope
 * of mL is its own; the size asked for moves the yield as it was put in. */
START_TEST(syringes)
{
	struct clinic c = usual(600);
	pd_expect_request r = expect_request();
	static pd_expect_answer small, large;

	c.syringes = 2;
	store = expect_clinic(&c, false);
	r.syringe_ml = 10;
	ck_assert_int_eq(ask(&r, &small), PD_OK);
	r.syringe_ml = 20;
	ck_assert_int_eq(ask(&r, &large), PD_OK);
	ck_assert_double_eq_tol(small.volume.value, 0.65, 4 * small.volume.se);
	ck_assert_double_eq_tol(log(large.cell[0].mean / small.cell[0].mean),
	                        -0.4, 0.12);
	r.syringe_ml = 50;
	ck_assert_int_eq(ask(&r, &large), PD_OK);
	ck_assert_ptr_nonnull(large.refusal);
	ck_assert_ptr_nonnull(strstr(large.refusal, "50 mL was not seen"));
}
END_TEST

/*
 * Published dilution: colonies from one hole follow mL^0.5 (Muench 2019: three
 * later pulls together about the first). Common practice (no source) is 3 to 5
 * sites a side and at most 10 to 15 mL a site. Drawn with that dilution, a mL
 * more at 10 mL ought to bring (10/2)^-0.5 = 0.45 of one at 2 mL, and half of
 * what a mL of a new hole brings; at 4 sites a side the next hole is still worth
 * as much as any.
 */
START_TEST(common_practice)
{
	struct clinic c = usual(800);
	pd_expect_request r = expect_request();
	static const size_t sites[] = { 2, 6, 7 };
	static const double deep[] = { 2, 9 };
	static pd_expect_answer a;

	c.t.log_ml = 0.5;
	c.t.later_site = 0;
	c.most_sites = 9;
	store = expect_clinic(&c, false);
	grid(&r, 3, sites, 2, deep);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_ptr_null(a.refusal);
	const pd_expect_cell *shallow = &a.cell[0], *at_9 = &a.cell[3];

	/* 3 mL less 2 mL and 10 mL less 9 mL, of mL^0.5 */
	ck_assert_double_eq_tol(at_9->next_ml / shallow->next_ml,
	                        (sqrt(10) - 3) / (sqrt(3) - sqrt(2)), 0.12);
	/* a mL deeper against a mL of a new hole */
	ck_assert_double_eq_tol((at_9->next_ml / 2) / (at_9->next_site / 9),
	                        (sqrt(10) - 3) / (3 / 9.0), 0.12);
	ck_assert_double_eq_tol(a.cell[4].next_site / at_9->next_site, 1, 0.1);
	/* and the means add up: 7 sites are 6 and the next */
	ck_assert_double_eq_tol(a.cell[1].mean + a.cell[1].next_site,
	                        a.cell[2].mean, 1e-9 * a.cell[2].mean);
}
END_TEST

/* --- what must not matter ------------------------------------------------ */

/* CD34+ of these files is 5 per 1000 of TNC: another unit but for the name. */
START_TEST(units)
{
	struct clinic c = usual(120);
	pd_expect_request r = expect_request();
	static pd_expect_answer a, b;

	store = expect_clinic(&c, false);
	r.target = 700;
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	r.outcome = "cd34";
	r.target = 3500;
	ck_assert_int_eq(ask(&r, &b), PD_OK);
	ck_assert_str_eq(a.unit, "10^6");
	ck_assert_str_eq(b.unit, "10^3");
	ck_assert_uint_eq(a.n_across, b.n_across);
	ck_assert_uint_eq(a.n_down, b.n_down);
	for (size_t k = 0; k < a.n_across * a.n_down; k++) {
		const pd_expect_cell *x = &a.cell[k], *y = &b.cell[k];

		ck_assert_int_eq(!x->refused, !y->refused);
		if (x->refused)
			continue;
		ck_assert_double_eq_tol(y->mean / x->mean, 5, 1e-6);
		ck_assert_double_eq_tol(y->low / x->low, 5, 1e-6);
		ck_assert_double_eq_tol(y->high_80 / x->high_80, 5, 1e-6);
		ck_assert_int_eq(isnan(y->next_ml), isnan(x->next_ml));
		if (!isnan(x->next_ml))
			ck_assert_double_eq_tol(y->next_ml / x->next_ml, 5,
			                        1e-5);
		ck_assert_double_eq_tol(y->chance, x->chance, 2e-4);
	}
	ck_assert_uint_eq(a.n_in_80, b.n_in_80);
}
END_TEST

START_TEST(row_order)
{
	struct clinic c = usual(60);
	pd_expect_request r = expect_request();
	static pd_expect_answer a, b;

	store = expect_clinic(&c, false);
	r.target = 500;
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	pd_store_close(store);
	store = expect_clinic(&c, true);
	ck_assert_int_eq(ask(&r, &b), PD_OK);
	for (size_t k = 0; k < a.n_across * a.n_down; k++) {
		const pd_expect_cell *x = &a.cell[k], *y = &b.cell[k];

		ck_assert_int_eq(!x->refused, !y->refused);
		if (x->refused)
			continue;
		ck_assert_double_eq_tol(y->median / x->median, 1, 1e-9);
		ck_assert_double_eq_tol(y->chance, x->chance, 1e-12);
	}
	ck_assert_uint_eq(a.n_in_80, b.n_in_80);
}
END_TEST

/* The same cell whatever else is asked; monotone in sites; a seed its own. */
START_TEST(neighbours)
{
	struct clinic c = usual(80);
	pd_expect_request r = expect_request();
	static const size_t sites[] = { 1, 2, 3, 4, 5 };
	static const double ml[] = { 2, 4, 6 };
	static pd_expect_answer a, b;

	store = expect_clinic(&c, false);
	r.target = 400;
	grid(&r, 5, sites, 3, ml);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	grid(&r, 1, &sites[2], 1, &ml[1]);
	ck_assert_int_eq(ask(&r, &b), PD_OK);
	ck_assert_double_eq_tol(a.cell[5 + 2].median, b.cell[0].median, 1e-12);
	ck_assert_double_eq_tol(a.cell[5 + 2].chance, b.cell[0].chance, 1e-12);
	for (size_t j = 0; j < 3; j++)
		for (size_t i = 1; i < 5; i++) {
			const pd_expect_cell *x = &a.cell[5 * j + i];

			if (x->refused || x[-1].refused)
				continue;
			ck_assert_double_ge(x->chance, x[-1].chance);
			ck_assert_double_gt(x->mean, x[-1].mean);
			ck_assert_double_gt(x->low, x[-1].low);
		}
	r.seed++;
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_double_ne(a.cell[0].median, b.cell[0].median);
	ck_assert_double_eq_tol(a.cell[0].median / b.cell[0].median, 1, 0.03);
	ck_assert_double_eq_tol(a.cell[0].mean, b.cell[0].mean, 1e-9);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("expect");
	TCase *c = tcase_create("expect");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 300);
	tcase_add_loop_test(c, against_truth, 0, 4);
	tcase_add_test(c, fit_against_truth);
	tcase_add_loop_test(c, cover, 0, 2);
	tcase_add_loop_test(c, cover_curved, 0, 3);
	tcase_add_loop_test(c, own_cases, 0, 2);
	tcase_add_test(c, syringes);
	tcase_add_test(c, common_practice);
	tcase_add_test(c, units);
	tcase_add_test(c, row_order);
	tcase_add_test(c, neighbours);
	suite_add_tcase(s, c);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r), all = srunner_ntests_run(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", all - failed, failed);
	return failed != 0;
}
