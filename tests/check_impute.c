/*
 * check_impute.c - values known only to lie between limits: agreement with
 * the plain fit where all is measured, with maximum likelihood where there is
 * one level, and with the truth in simulated nested data.
 */
#include "stats/impute.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = 400 };

static void near(const char *what, double got, double want, double tolerance)
{
	if (fabs(got - want) <= tolerance)
		return;
	ck_abort_msg("%s: got %.10g, wanted %.10g within %.3g", what, got,
	             want, tolerance);
}

/* patient > case, rows alternate between two arms */
struct data {
	size_t n;
	double x[2 * ROWS], y[ROWS], low[ROWS], high[ROWS];
	int32_t group[2][ROWS];
};

/* sd: patient, case, residual; below `limit` nothing is measured. */
static void make(struct data *d, uint64_t seed, const double sd[3],
                 double effect, double limit)
{
	pd_stream s;

	memset(d, 0, sizeof *d);
	pd_stream_init(&s, seed, 11);
	for (int32_t a = 0; a < 30; a++) {
		double ua = sd[0] * pd_stream_normal(&s);

		for (int32_t b = 0; b < 2; b++) {
			double ub = sd[1] * pd_stream_normal(&s);

			for (int r = 0; r < 4; r++, d->n++) {
				size_t i = d->n;

				d->x[2 * i] = 1.0;
				d->x[2 * i + 1] = r % 2;
				d->y[i] = 0.5 + effect * (r % 2) + ua + ub +
					sd[2] * pd_stream_normal(&s);
				d->low[i] = d->high[i] = d->y[i];
				if (d->y[i] < limit) {
					d->low[i] = -INFINITY;
					d->high[i] = limit;
				}
				d->group[0][i] = a;
				d->group[1][i] = 2 * a + b;
			}
		}
	}
}

static pd_impute_spec spec_of(const struct data *d, uint64_t seed)
{
	pd_impute_spec s = { .model = { .n = d->n, .p = 2, .x = d->x,
	                                .depth = 2 },
	                     .low = d->low, .high = d->high, .seed = seed };

	s.model.group[0] = d->group[0];
	s.model.group[1] = d->group[1];
	return s;
}

static pd_impute *fitted(const pd_impute_spec *s)
{
	pd_impute *m = NULL;
	pd_error err = { 0 };

	if (pd_impute_fit(s, &m, &err) != PD_OK)
		ck_abort_msg("impute: %s", err.text);
	return m;
}

static pd_estimate second(pd_impute *m)
{
	static const double c[2] = { 0.0, 1.0 };
	pd_estimate e;
	pd_error err = { 0 };

	if (pd_impute_contrast(m, c, 0.95, PD_KENWARD_ROGER, &e, &err) !=
	    PD_OK)
		ck_abort_msg("contrast: %s", err.text);
	return e;
}

/* The plain fit's difference, from complete y. */
static pd_estimate plain(const struct data *d, const double *y)
{
	static const double c[2] = { 0.0, 1.0 };
	pd_impute_spec s = spec_of(d, 0);
	pd_nested *m = NULL;
	pd_estimate e;
	pd_error err = { 0 };

	s.model.y = y;
	if (pd_nested_new(&s.model, &m, &err) != PD_OK ||
	    pd_nested_fit(m, &err) != PD_OK ||
	    pd_nested_contrast(m, c, 0.95, PD_KENWARD_ROGER, &e, &err) !=
	    PD_OK)
		ck_abort_msg("plain: %s", err.text);
	pd_nested_free(m);
	return e;
}

static const double usual[3] = { 0.6, 0.4, 0.7 };

START_TEST(all_measured_is_the_plain_fit)
{
	struct data d;
	pd_impute_spec s;
	pd_impute *m;
	pd_estimate a, b;
	double y[ROWS], r[ROWS], beta[2];
	pd_error err;

	make(&d, 1, usual, 0.5, -INFINITY);
	s = spec_of(&d, 3);
	m = fitted(&s);
	a = second(m);
	b = plain(&d, d.y);
	ck_assert_mem_eq(&a, &b, sizeof a);
	ck_assert_uint_eq(pd_impute_censored(m), 0);
	ck_assert(pd_impute_completed(m, y, r, &err) == PD_OK);
	ck_assert_mem_eq(y, d.y, d.n * sizeof *y);
	pd_impute_beta(m, beta);
	near("beta", beta[1], b.value, 1e-12);
	near("residual sd", pd_impute_residual_sd(m),
	     pd_nested_residual_sd(pd_impute_first(m)), 1e-12);
	pd_impute_free(m);
}
END_TEST

/*
 * One level, limits on all sides. Maximum likelihood by survival 3.5-3 (R
 * 4.2.2), survreg with Surv(type = "interval2") on the same formula data:
 * 1.0350626 (0.1192333), 0.3996715 (0.0646222), scale 0.8436499. The mean of
 * the draws differs from it by O(1/n) and by chance of the draws.
 */
START_TEST(one_level_is_maximum_likelihood)
{
	struct data d = { .n = 200 };
	pd_impute_spec s = { .low = d.low, .high = d.high, .draws = 100,
	                     .seed = 17 };
	static const double c[2] = { 1.0, 0.0 };
	pd_impute *m;
	pd_estimate e;
	pd_error err;

	s.model = (pd_nested_spec){ .n = 200, .p = 2, .x = d.x };
	for (size_t i = 0; i < d.n; i++) {
		double k = (double)(i + 1);
		double y = 1.0 + 0.4 * fmod(k, 7.0) / 2.0 + 0.9 *
			pd_normal_quantile(fmod(k * 0.6180339887498949, 1.0));

		d.x[2 * i] = 1.0;
		d.x[2 * i + 1] = fmod(k, 7.0) / 2.0;
		d.low[i] = y < 1.1 ? -INFINITY : y > 3.1 ? 3.1 :
		           y > 1.6 && y < 1.9 ? 1.6 : y;
		d.high[i] = y < 1.1 ? 1.1 : y > 3.1 ? INFINITY :
		            y > 1.6 && y < 1.9 ? 1.9 : y;
	}
	m = fitted(&s);
	ck_assert_uint_eq(pd_impute_censored(m), 56 + 16 + 19);
	e = second(m);
	near("slope", e.value, 0.3996715, 0.15 * 0.0646222);
	near("its error", e.se / 0.0646222, 1.0, 0.08);
	ck_assert(pd_impute_contrast(m, c, 0.95, PD_NORMAL, &e, &err) ==
	          PD_OK);
	near("intercept", e.value, 1.0350626, 0.15 * 0.1192333);
	near("its error", e.se / 0.1192333, 1.0, 0.08);
	near("scale", pd_impute_residual_sd(m) / 0.8436499, 1.0, 0.04);
	pd_impute_free(m);
}
END_TEST

/* t statistic of n numbers given by sum and sum of squares. */
static double t_of(double sum, double squares, double n)
{
	double mean = sum / n;

	return mean / sqrt((squares / n - mean * mean) / (n - 1.0));
}

/*
 * Three rows in ten below the limit. Against the same data had they all been
 * measured, drawing is off by chance only; half the limit is not.
 */
START_TEST(draws_recover_the_effect)
{
	enum { TIMES = 60 };
	static const double sd[3] = { 0.9, 0.6, 1.0 };
	double drawn = 0.0, drawn2 = 0.0, half = 0.0, half2 = 0.0;
	double share = 0.0;
	int covered = 0;

	for (uint64_t k = 0; k < TIMES; k++) {
		struct data d;
		pd_impute_spec s;
		pd_impute *m;
		pd_estimate e;
		double y[ROWS], whole, x;

		make(&d, 100 + k, sd, 0.9, 0.1);
		whole = plain(&d, d.y).value;
		s = spec_of(&d, k);
		m = fitted(&s);
		share += (double)pd_impute_censored(m) / (double)d.n / TIMES;
		e = second(m);
		covered += e.low < 0.9 && 0.9 < e.high;
		x = e.value - whole;
		drawn += x;
		drawn2 += x * x;
		pd_impute_free(m);
		for (size_t i = 0; i < d.n; i++)
			y[i] = d.low[i] < d.high[i] ? 0.1 - log(2.0) : d.y[i];
		x = plain(&d, y).value - whole;
		half += x;
		half2 += x * x;
	}
	near("share below the limit", share, 0.3, 0.05);
	ck_assert(fabs(t_of(drawn, drawn2, TIMES)) < 3.0);
	ck_assert(t_of(half, half2, TIMES) < -8.0);
	/* 95 %: 57 of 60 expected, below 52 once in 200 tries */
	ck_assert_int_ge(covered, 52);
}
END_TEST

/* Patients far apart, rows alike: many patients without a measured row. */
START_TEST(groups_without_a_measured_row)
{
	static const double sd[3] = { 1.5, 0.2, 0.3 };
	double patient = 0.0, whole = 0.0;

	for (uint64_t k = 0; k < 20; k++) {
		struct data d;
		pd_impute_spec s;
		pd_impute *m;
		pd_nested *full = NULL;
		double v;
		pd_error err;

		make(&d, 300 + k, sd, 0.4, -0.5);
		s = spec_of(&d, k);
		m = fitted(&s);
		patient += pd_impute_level_sd(m, 0) / 20.0;
		pd_impute_free(m);
		s.model.y = d.y;
		ck_assert(pd_nested_new(&s.model, &full, &err) == PD_OK);
		ck_assert(pd_nested_fit(full, &err) == PD_OK);
		pd_nested_level_covariance(full, 0, &v);
		whole += sqrt(v) / 20.0;
		pd_nested_free(full);
	}
	near("patients' sd", patient / whole, 1.0, 0.1);
}
END_TEST

START_TEST(same_seed_same_bytes)
{
	struct data d;
	pd_impute_spec s;
	pd_impute *m[3];
	pd_estimate e[3];
	double y[ROWS], r[ROWS];
	pd_error err;

	make(&d, 2, usual, 0.5, 0.1);
	for (int k = 0; k < 3; k++) {
		s = spec_of(&d, k < 2 ? 5 : 6);
		m[k] = fitted(&s);
		e[k] = second(m[k]);
	}
	ck_assert_mem_eq(&e[0], &e[1], sizeof e[0]);
	ck_assert(e[0].value < e[2].value || e[0].value > e[2].value);
	near("another seed", e[2].value, e[0].value, 0.3 * e[0].se);
	ck_assert(pd_impute_completed(m[0], y, r, &err) == PD_OK);
	for (size_t i = 0; i < d.n; i++) {
		ck_assert(y[i] >= d.low[i] && y[i] <= d.high[i]);
		if (!(d.low[i] < d.high[i]))
			near("measured", y[i], d.y[i], 0.0);
	}
	for (int k = 0; k < 3; k++)
		pd_impute_free(m[k]);
}
END_TEST

/* Upside down: the effect changes its sign, as far as chance allows. */
START_TEST(upside_down)
{
	struct data d;
	pd_impute_spec s;
	pd_impute *m;
	pd_estimate a, b;

	make(&d, 4, usual, 0.5, 0.1);
	s = spec_of(&d, 1);
	s.draws = 60;
	m = fitted(&s);
	a = second(m);
	pd_impute_free(m);
	for (size_t i = 0; i < d.n; i++) {
		double low = d.low[i];

		d.low[i] = -d.high[i];
		d.high[i] = -low;
	}
	m = fitted(&s);
	b = second(m);
	pd_impute_free(m);
	near("value", a.value, -b.value, 0.15 * a.se);
	near("error", a.se / b.se, 1.0, 0.05);
}
END_TEST

/* One contrast as a test of one row; several stay near their parts. */
START_TEST(joint_test)
{
	static const double one[2] = { 0.0, 1.0 };
	static const double two[4] = { 0.0, 1.0, 1.0, 0.5 };
	static const double turned[4] = { 1.0, 1.5, 1.0, -0.5 };
	struct data d;
	pd_impute_spec s;
	pd_impute *m;
	pd_estimate e;
	pd_f_test f, g;
	pd_error err;

	make(&d, 6, usual, 0.2, 0.1);
	s = spec_of(&d, 9);
	m = fitted(&s);
	e = second(m);
	ck_assert(pd_impute_f_test(m, one, 1, PD_KENWARD_ROGER, &f, &err) ==
	          PD_OK);
	near("F", f.f, e.value * e.value / (e.se * e.se), 1e-8 * f.f);
	near("df", f.df2, e.df, 1e-6 * e.df);
	near("p", f.p, e.p, 1e-8);
	ck_assert(pd_impute_f_test(m, two, 2, PD_SATTERTHWAITE, &f, &err) ==
	          PD_OK);
	ck_assert(pd_impute_f_test(m, turned, 2, PD_SATTERTHWAITE, &g, &err) ==
	          PD_OK);
	near("F of other rows, same space", g.f, f.f, 1e-8 * f.f);
	ck_assert(f.df1 > 1.5 && f.df2 > 5.0 && f.p > 0.0 && f.p < 1.0);
	ck_assert(pd_impute_f_test(m, two, 3, PD_SATTERTHWAITE, &f, &err) ==
	          PD_USAGE);
	pd_impute_free(m);
}
END_TEST

static void refuse(const pd_impute_spec *s, pd_status want, const char *words)
{
	pd_impute *m = NULL;
	pd_error err = { 0 };
	pd_status st = pd_impute_fit(s, &m, &err);

	if (st != want || !strstr(err.text, words) || m)
		ck_abort_msg("wanted '%s' (%d), got '%s' (%d)", words, want,
		             err.text, st);
}

START_TEST(bad_input)
{
	struct data d;
	pd_impute_spec s;

	make(&d, 7, usual, 0.5, 0.9);
	s = spec_of(&d, 1);
	refuse(&s, PD_REFUSED, "at most half");
	make(&d, 7, usual, 0.5, 0.0);
	s = spec_of(&d, 1);
	d.low[11] = 2.0;
	d.high[11] = 1.0;
	refuse(&s, PD_DATA, "row 12");
	d.low[11] = NAN;
	refuse(&s, PD_DATA, "row 12");
	d.low[11] = d.high[11] = INFINITY;
	refuse(&s, PD_DATA, "row 12");
	make(&d, 7, usual, 0.5, -INFINITY);
	for (size_t i = 0; i < d.n; i++)
		if (d.x[2 * i + 1] > 0.5)
			d.low[i] = -INFINITY;
	s = spec_of(&d, 1);
	refuse(&s, PD_REFUSED, "an arm");
	make(&d, 7, usual, 0.5, 0.0);
	s = spec_of(&d, 1);
	s.draws = 1;
	refuse(&s, PD_USAGE, "at least 2");
	s = spec_of(&d, 1);
	s.low = NULL;
	refuse(&s, PD_USAGE, "limits");
	pd_impute_free(NULL);
}
END_TEST

/* A random slope as well: draws of blocks. */
START_TEST(with_a_slope)
{
	struct data d;
	pd_impute_spec s;
	pd_impute *m;
	pd_estimate e, whole;

	make(&d, 12, usual, 0.5, -0.2);
	s = spec_of(&d, 2);
	s.model.n_random[0] = 2;
	s.model.z[0] = d.x;
	m = fitted(&s);
	e = second(m);
	whole = plain(&d, d.y);
	near("effect", e.value, whole.value, whole.se);
	ck_assert(e.se > 0.0 && e.df > 2.0);
	pd_impute_free(m);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("impute");
	TCase *t = tcase_create("answers");

	tcase_set_timeout(t, 120);
	tcase_add_test(t, all_measured_is_the_plain_fit);
	tcase_add_test(t, one_level_is_maximum_likelihood);
	tcase_add_test(t, draws_recover_the_effect);
	tcase_add_test(t, groups_without_a_measured_row);
	suite_add_tcase(s, t);
	t = tcase_create("properties");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, same_seed_same_bytes);
	tcase_add_test(t, upside_down);
	tcase_add_test(t, joint_test);
	tcase_add_test(t, with_a_slope);
	tcase_add_test(t, bad_input);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());
	int failed;

	srunner_run_all(r, CK_NORMAL);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
