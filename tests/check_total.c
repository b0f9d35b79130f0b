/*
 * check_total.c - totals of correlated log-normal yields: Student's predictive
 * law for one pull, exact mean and variance of a sum, common numbers, errors.
 */
#include "stats/total.h"
#include "stats/quantile.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DRAWS = 40000 };

static const double one_x[] = { 1 };
static const double two_x[] = { 1, 0, 1, 0.7 };
static const double no_error[] = { 0, 0, 0, 0 };

static pd_status draw(const pd_total_law *w, const pd_total_layout *l,
                      size_t n, size_t draws, uint64_t seed, double *out)
{
	pd_error err = { 0 };

	return pd_total_draw(w, l, n, draws, seed, out, &err);
}

/* One pull: x'b + sqrt(x'Cx + v) t_df, at its own quantiles. */
START_TEST(one_pull)
{
	static const double beta[] = { 1.37, -0.6 };
	static const double cov[] = { 0.031, -0.012, -0.012, 0.045 };
	static const double df[] = { 4, 17, 250, INFINITY };
	static const double q[] = { 0.025, 0.1, 0.5, 0.9, 0.975 };
	pd_total_law w = { 2, 2, two_x, beta, cov, 0.33, 0.12, 0.15, 0.2,
		           df[_i] };
	pd_total_pull p = { 1, 0, 0, 0 };
	pd_total_layout l = { 1, &p };
	double *t = calloc(DRAWS, sizeof *t);
	double mean = 1.37 - 0.6 * 0.7;
	double v = 0.031 - 2 * 0.7 * 0.012 + 0.49 * 0.045 + 0.33 * 0.33 +
	           0.12 * 0.12 + 0.15 * 0.15 + 0.2 * 0.2;

	ck_assert_ptr_nonnull(t);
	ck_assert_int_eq(draw(&w, &l, 1, DRAWS, 31, t), PD_OK);
	for (size_t k = 0; k < 5; k++) {
		double exact = exp(mean + sqrt(v) * pd_t_quantile(q[k], df[_i]));
		size_t below = 0;

		for (size_t r = 0; r < DRAWS; r++)
			below += t[r] < exact;
		double se = sqrt(q[k] * (1 - q[k]) / DRAWS);

		ck_assert_msg(fabs((double)below / DRAWS - q[k]) < 4 * se,
		              "df %g: below %g are %zu", df[_i], q[k], below);
	}
	free(t);
}
END_TEST

/*
 * Mean and variance of a sum of log-normals with b known:
 *   E T = sum exp(m_i + v / 2),
 *   Var T = sum_ij exp(m_i + m_j + v) (exp(c_ij) - 1),
 * c_ij the variances that pulls i and j share.
 */
START_TEST(sum_moments)
{
	static const double beta[] = { 0.4, -0.9 };
	static const pd_total_pull p[] = { { 0, 0, 0, 0 }, { 1, 0, 0, 1 },
		                           { 0, 0, 1, 2 }, { 1, 1, 2, 3 } };
	pd_total_law w = { 2, 2, two_x, beta, no_error, 0.25, 0.15, 0.1, 0.2,
		           INFINITY };
	pd_total_layout l = { 4, p };
	double m[2] = { 0.4, 0.4 - 0.9 * 0.7 }, mean = 0, var = 0;
	double total = 0.0625 + 0.0225 + 0.01 + 0.04;
	double sum = 0, square = 0;
	double *t = calloc(5 * DRAWS, sizeof *t);

	ck_assert_ptr_nonnull(t);
	for (size_t i = 0; i < 4; i++) {
		mean += exp(m[p[i].row] + total / 2);
		for (size_t j = 0; j < 4; j++) {
			double c = 0.0625 + 0.0225 * (p[i].side == p[j].side) +
			           0.01 * (p[i].site == p[j].site) +
			           0.04 * (i == j);

			var += exp(m[p[i].row] + m[p[j].row] + total) *
			       expm1(c);
		}
	}
	ck_assert_double_eq_tol(pd_total_mean(&w, &l), mean, 1e-12 * mean);
	ck_assert_int_eq(draw(&w, &l, 1, 5 * DRAWS, 77, t), PD_OK);
	for (size_t r = 0; r < 5 * DRAWS; r++) {
		sum += t[r];
		square += t[r] * t[r];
	}
	sum /= 5 * DRAWS;
	square = square / (5 * DRAWS) - sum * sum;
	ck_assert_double_eq_tol(sum, mean, 4 * sqrt(var / (5 * DRAWS)));
	ck_assert_double_eq_tol(square, var, 0.03 * var);
	free(t);
}
END_TEST

/* A layout meets the same numbers whatever else is asked, and more sites of
 * the same are never less. */
START_TEST(common_numbers)
{
	static const double beta[] = { 2.1, 0.3 };
	static const double cov[] = { 0.02, 0.001, 0.001, 0.01 };
	static const pd_total_pull p[] = { { 0, 0, 0, 0 }, { 1, 1, 1, 1 },
		                           { 1, 0, 2, 2 }, { 0, 1, 3, 3 } };
	pd_total_law w = { 2, 2, two_x, beta, cov, 0.3, 0.1, 0.1, 0.2, 20 };
	pd_total_layout all[] = { { 1, p }, { 2, p }, { 4, p } };
	double alone[500], together[1500];

	ck_assert_int_eq(draw(&w, &all[1], 1, 500, 5, alone), PD_OK);
	ck_assert_int_eq(draw(&w, all, 3, 500, 5, together), PD_OK);
	ck_assert_mem_eq(alone, together + 500, sizeof alone);
	for (size_t r = 0; r < 500; r++) {
		ck_assert_double_gt(together[500 + r], together[r]);
		ck_assert_double_gt(together[1000 + r], together[500 + r]);
	}
	/* another seed, other numbers; the first draws of more are the same */
	ck_assert_int_eq(draw(&w, &all[1], 1, 500, 6, alone), PD_OK);
	ck_assert_int_ne(memcmp(alone, together + 500, sizeof alone), 0);
	ck_assert_int_eq(draw(&w, &all[1], 1, 200, 5, alone), PD_OK);
	ck_assert_mem_eq(alone, together + 500, 200 * sizeof *alone);
}
END_TEST

/* Another unit of yield: every total times the factor. */
START_TEST(unit)
{
	double beta[] = { 1.1 }, other[] = { 1.1 + log(1000) };
	static const double cov[] = { 0.01 };
	static const pd_total_pull p[] = { { 0, 0, 0, 0 }, { 0, 0, 1, 1 } };
	pd_total_layout l = { 2, p };
	pd_total_law w = { 1, 1, one_x, beta, cov, 0.3, 0.1, 0.1, 0.2, 12 };
	double a[300], b[300];

	ck_assert_int_eq(draw(&w, &l, 1, 300, 9, a), PD_OK);
	w.beta = other;
	ck_assert_int_eq(draw(&w, &l, 1, 300, 9, b), PD_OK);
	for (size_t r = 0; r < 300; r++)
		ck_assert_double_eq_tol(b[r], 1000 * a[r], 1e-11 * b[r]);
}
END_TEST

/* A direction without variance is no failure; a negative one is. */
START_TEST(covariances)
{
	static const double beta[] = { 0.5, 0.2 };
	static const double flat[] = { 0.04, 0.02, 0.02, 0.01 };
	static const double negative[] = { 0.01, 0.03, 0.03, 0.01 };
	pd_total_pull p = { 1, 0, 0, 0 };
	pd_total_layout l = { 1, &p };
	pd_total_law w = { 2, 2, two_x, beta, flat, 0, 0, 0, 0, INFINITY };
	double t[2000], sum = 0, square = 0;
	double v = 0.04 + 2 * 0.7 * 0.02 + 0.49 * 0.01;

	ck_assert_int_eq(draw(&w, &l, 1, 2000, 3, t), PD_OK);
	for (size_t r = 0; r < 2000; r++) {
		double y = log(t[r]) - 0.64;

		sum += y / 2000;
		square += y * y / 2000;
	}
	ck_assert_double_eq_tol(sum, 0, 4 * sqrt(v / 2000));
	ck_assert_double_eq_tol(square, v, 4 * v * sqrt(2 / 2000.0));
	w.covariance = no_error;
	ck_assert_int_eq(draw(&w, &l, 1, 10, 3, t), PD_OK);
	for (size_t r = 0; r < 10; r++)
		ck_assert_double_eq_tol(t[r], exp(0.64), 1e-12);
	w.covariance = negative;
	ck_assert_int_eq(draw(&w, &l, 1, 10, 3, t), PD_NUMERIC);
}
END_TEST

START_TEST(bad_input)
{
	double beta[] = { 1.1 }, t[20];
	static const double cov[] = { 0.01 };
	pd_total_pull p = { 0, 0, 0, 0 };
	pd_total_layout l = { 1, &p };
	const pd_total_law good = { 1, 1, one_x, beta, cov, 0.3, 0.1, 0.1,
		                    0.2, 12 };
	pd_total_law w = good;

	ck_assert_int_eq(draw(&w, &l, 1, 0, 1, t), PD_USAGE);
	ck_assert_int_eq(draw(&w, &l, 0, 20, 1, t), PD_USAGE);
	w.df = 0;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_USAGE);
	w = good;
	w.site_sd = -0.1;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_USAGE);
	w.site_sd = NAN;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_USAGE);
	w = good;
	beta[0] = NAN;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_DATA);
	beta[0] = 720;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_NUMERIC);
	beta[0] = 1.1;
	p.row = 1;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_DATA);
	p.row = 0;
	p.slot = PD_TOTAL_PLACES;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_DATA);
	p.slot = 0;
	w.n_rows = 0;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_USAGE);
	w = good;
	ck_assert_int_eq(draw(&w, &l, 1, 20, 1, t), PD_OK);
}
END_TEST

/*
 * How well a chance is known. One pull, b known, variance v on df: given W the
 * chance is Phi((m - ln target) / (W sd)), so that its quantiles are those of
 * W; its mean is Student's chance.
 */
START_TEST(chance_limits)
{
	double beta[] = { 1.2 };
	static const double cov[] = { 0 };
	pd_total_pull p = { 0, 0, 0, 0 };
	pd_total_layout l = { 1, &p };
	pd_total_law w = { 1, 1, one_x, beta, cov, 0.3, 0.1, 0.1, 0.2, 9 };
	double sd = sqrt(0.09 + 0.01 + 0.01 + 0.04);
	double target = exp(1.2 - 0.5 * sd); /* half an SD below the middle */
	pd_total_share s;
	pd_error err = { 0 };
	/* W small: chance near 1 */
	double w_low = sqrt(9 / pd_chisq_quantile(0.975, 9));
	double w_high = sqrt(9 / pd_chisq_quantile(0.025, 9));

	ck_assert_int_eq(pd_total_chance(&w, &l, 1, target, 4000, 4000, 12,
	                                 0.95, &s, &err), PD_OK);
	ck_assert_double_eq_tol(s.high, pd_normal_cdf(0.5 / w_low), 0.03);
	ck_assert_double_eq_tol(s.low, pd_normal_cdf(0.5 / w_high), 0.03);
	ck_assert_double_eq_tol(s.mean, pd_t_cdf(0.5, 9), 0.03);
	/* everything known: no width */
	w.df = INFINITY;
	ck_assert_int_eq(pd_total_chance(&w, &l, 1, target, 50, 2000, 12, 0.95,
	                                 &s, &err), PD_OK);
	ck_assert_double_eq_tol(s.low, s.high, 1e-12);
	ck_assert_double_eq_tol(s.mean, pd_normal_cdf(0.5), 0.04);
	ck_assert_int_eq(pd_total_chance(&w, &l, 1, target, 0, 2000, 12, 0.95,
	                                 &s, &err), PD_USAGE);
	ck_assert_int_eq(pd_total_chance(&w, &l, 1, target, 5, 20, 12, 1, &s,
	                                 &err), PD_USAGE);
}
END_TEST

START_TEST(quantiles)
{
	double x[] = { 7, 1, 3.5, 2, 9 };
	double se;

	pd_total_sort(x, 5);
	ck_assert_double_eq_tol(pd_total_quantile(x, 5, 0, NULL), 1, 1e-15);
	ck_assert_double_eq_tol(pd_total_quantile(x, 5, 0.5, NULL), 3.5, 1e-15);
	ck_assert_double_eq_tol(pd_total_quantile(x, 5, 0.9, NULL), 8.2, 1e-14);
	ck_assert_double_eq_tol(pd_total_quantile(x, 5, 1, &se), 9, 1e-15);
	ck_assert_double_eq_tol(se, 0, 1e-15);
	/* 5 * .25 = 1.25, its root 1.118: places 3.118 and .882 */
	pd_total_quantile(x, 5, 0.5, &se);
	ck_assert_double_eq_tol(se, (7 + 0.11803398875 * 2 -
	                             (1 + 0.88196601125)) / 2, 1e-9);
	ck_assert_double_eq_tol(pd_total_quantile(x, 1, 0.3, &se), 1, 1e-15);
	ck_assert_double_eq_tol(se, 0, 1e-15);
}
END_TEST

/* The Monte Carlo standard error is what repeated draws scatter. */
START_TEST(quantile_error)
{
	double beta[] = { 0 }, t[2000], sum = 0, square = 0, told = 0;
	static const double cov[] = { 0.02 };
	pd_total_pull p = { 0, 0, 0, 0 };
	pd_total_layout l = { 1, &p };
	pd_total_law w = { 1, 1, one_x, beta, cov, 0.4, 0, 0, 0.1, INFINITY };

	for (uint64_t seed = 0; seed < 200; seed++) {
		double se, at;

		ck_assert_int_eq(draw(&w, &l, 1, 2000, seed, t), PD_OK);
		pd_total_sort(t, 2000);
		at = pd_total_quantile(t, 2000, 0.9, &se);
		sum += at / 200;
		square += at * at / 200;
		told += se / 200;
	}
	ck_assert_double_eq_tol(told / sqrt(square - sum * sum), 1, 0.2);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("total");
	TCase *c = tcase_create("total");

	tcase_set_timeout(c, 120);
	tcase_add_loop_test(c, one_pull, 0, 4);
	tcase_add_test(c, sum_moments);
	tcase_add_test(c, common_numbers);
	tcase_add_test(c, unit);
	tcase_add_test(c, covariances);
	tcase_add_test(c, bad_input);
	tcase_add_test(c, chance_limits);
	tcase_add_test(c, quantiles);
	tcase_add_test(c, quantile_error);
	suite_add_tcase(s, c);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r), all = srunner_ntests_run(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", all - failed, failed);
	return failed != 0;
}
