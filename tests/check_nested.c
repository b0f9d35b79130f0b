/*
 * check_nested.c - the linear mixed model against dense algebra.
 *
 * Small unbalanced trees are fitted twice: by the room, which never forms a
 * matrix of the number of rows, and here, from the definitions, by forming
 * V = s^2 (I + sum Z T Z') and inverting it. Where a number comes from
 * elsewhere its source stands beside it. Values of other libraries on real
 * data sets are checked by reference_nested.c.
 */
#include "dense_model.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- likelihood -------------------------------------------------------- */

START_TEST(deviance_is_dense)
{
	const struct variant *v = &variants[_i];
	struct data d;
	struct dense e;
	pd_nested_spec s;
	pd_nested *m;
	pd_stream r;

	make(&d, 3, sds);
	s = spec_of(&d, v);
	m = new_model(&s);
	dense_new(&e, &d, v);
	pd_stream_init(&r, 91, 0);
	for (int k = 0; k < 5; k++) {
		double theta[MOST], nu, s2;

		for (size_t i = 0; i < pd_nested_n_theta(m); i++)
			theta[i] = 0.6 + 0.4 * pd_stream_normal(&r);
		dense_theta(&e, v, theta, 1.0);
		dense_at(&e, &d);
		nu = (double)(v->ml ? d.n : d.n - P);
		s2 = e.rss / nu; /* profiled */
		dense_theta(&e, v, theta, s2);
		dense_at(&e, &d);
		near(v->name, pd_nested_deviance(m, theta, NULL),
		     dense_deviance(&e, v->ml), 1e-10);
	}
	dense_free(&e);
	pd_nested_free(m);
}
END_TEST

START_TEST(gradient_is_slope)
{
	const struct variant *v = &variants[_i];
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_stream r;
	double theta[MOST], g[MOST], h = 1e-4;

	make(&d, 4, sds);
	s = spec_of(&d, v);
	m = new_model(&s);
	pd_stream_init(&r, 92, 0);
	for (size_t i = 0; i < pd_nested_n_theta(m); i++)
		theta[i] = 0.7 + 0.3 * pd_stream_normal(&r);
	pd_nested_deviance(m, theta, g);
	for (size_t i = 0; i < pd_nested_n_theta(m); i++) {
		double at = theta[i], f[4];

		for (int k = 0; k < 4; k++) {
			theta[i] = at + h * (k < 2 ? k - 2 : k - 1);
			f[k] = pd_nested_deviance(m, theta, NULL);
		}
		theta[i] = at; /* five-point rule: error of order h^4 */
		near(v->name, g[i], (f[0] - 8.0 * f[1] + 8.0 * f[2] - f[3]) /
		     (12.0 * h), 1e-7);
	}
	pd_nested_free(m);
}
END_TEST

START_TEST(fit_is_stationary)
{
	const struct variant *v = &variants[_i];

	for (uint64_t seed = 10; seed < 30; seed++) {
		struct data d;
		pd_nested_spec s;
		pd_nested *m;
		double theta[MOST], g[MOST], least;
		const pd_nested_fit_record *r;

		make(&d, seed, sds);
		s = spec_of(&d, v);
		m = fitted(&s);
		r = pd_nested_record(m);
		ck_assert(r->newton_step <= 1e-8);
		memcpy(theta, pd_nested_theta(m), pd_nested_n_theta(m) *
		       sizeof *theta);
		least = pd_nested_deviance(m, theta, g);
		near("deviance of the record", r->deviance, least, 1e-12);
		for (size_t i = 0; i < pd_nested_n_theta(m); i++) {
			near(v->name, g[i], 0.0, 1e-5);
			for (int k = -1; k <= 1; k += 2) {
				double at = theta[i];

				theta[i] = at + 0.02 * k;
				ck_assert(pd_nested_deviance(m, theta, NULL) >
				          least - 1e-9);
				theta[i] = at;
			}
		}
		pd_nested_free(m);
	}
}
END_TEST

/* No variance between groups: exact zeros, and growing from there costs. */
START_TEST(boundary_is_zero)
{
	const double small[4] = { 0.0, 0.8, 0.0, 1.3 };
	size_t zeros = 0;

	for (uint64_t seed = 40; seed < 60; seed++) {
		struct data d;
		pd_nested_spec s;
		pd_nested *m;
		double theta[MOST], v;
		size_t here = 0;

		make(&d, seed, small);
		s = spec_of(&d, &variants[0]);
		m = fitted(&s);
		memcpy(theta, pd_nested_theta(m), 3 * sizeof *theta);
		for (size_t k = 0; k < 3; k++) {
			if (theta[k] > 0.0)
				continue;
			here++;
			pd_nested_level_covariance(m, k, &v);
			ck_assert(!(v > 0.0) && !(v < 0.0));
			for (double t = 1e-8; t < 1.0; t *= 100.0) {
				theta[k] = sqrt(t);
				ck_assert(pd_nested_deviance(m, theta, NULL) >
				          pd_nested_record(m)->deviance -
				          1e-9);
			}
			theta[k] = 0.0;
		}
		ck_assert_uint_eq(here, pd_nested_record(m)->n_at_zero);
		zeros += here;
		pd_nested_free(m);
	}
	ck_assert_uint_gt(zeros, 10);
}
END_TEST

/* Variances far apart, some 0, slopes or not: an answer, or words why not;
 * random intercepts on trees like these always have an answer. */
START_TEST(odd_variances)
{
	for (uint64_t seed = 200; seed < 500; seed++) {
		const struct variant *v = &variants[seed % VARIANTS];
		struct data d;
		pd_nested_spec s;
		pd_nested *m;
		pd_stream r;
		double sd[4];
		pd_error err = { 0 };
		pd_status st;
		bool slopes = false;

		pd_stream_init(&r, seed, 3);
		for (size_t k = 0; k < 4; k++)
			sd[k] = exp(1.5 * pd_stream_normal(&r)) *
			        (k == 3 || pd_stream_below(&r, 4) > 0 ? 1 : 0);
		for (size_t k = 0; k < v->depth; k++)
			slopes = slopes || v->q[k] > 1;
		make(&d, seed, sd);
		s = spec_of(&d, v);
		m = new_model(&s);
		st = pd_nested_fit(m, &err);
		if (st == PD_OK) {
			ck_assert(pd_nested_record(m)->newton_step <= 1e-8);
			for (size_t a = 0; a < P; a++)
				ck_assert(isfinite(pd_nested_beta(m)[a]) &&
				          pd_nested_covariance(m)[a * P + a] >
				          0.0);
		} else if (!slopes || st != PD_NUMERIC || !err.text[0]) {
			ck_abort_msg("seed %d, %s: %s", (int)seed, v->name,
			             err.text);
		}
		pd_nested_free(m);
	}
}
END_TEST

/* ---- effects, covariance, conditional means ---------------------------- */

START_TEST(estimates_are_dense)
{
	const struct variant *v = &variants[_i];
	struct data d;
	struct dense e;
	pd_nested_spec s;
	pd_nested *m;
	double s2, residual[ROWS], fit[ROWS], u[2 * ROWS];
	pd_error err;

	make(&d, 5, sds);
	s = spec_of(&d, v);
	m = fitted(&s);
	s2 = pow(pd_nested_residual_sd(m), 2.0);
	dense_new(&e, &d, v);
	dense_theta(&e, v, pd_nested_theta(m), s2);
	dense_at(&e, &d);
	for (size_t a = 0; a < P; a++) {
		near("effect", pd_nested_beta(m)[a], e.beta[a], 1e-8);
		for (size_t b = 0; b < P; b++)
			near("covariance", pd_nested_covariance(m)[a * P + b],
			     e.phi[a * P + b], 1e-8);
	}
	near("deviance", pd_nested_record(m)->deviance,
	     dense_deviance(&e, v->ml), 1e-11);
	ck_assert(pd_nested_residuals(m, residual, &err) == PD_OK);
	for (size_t i = 0; i < d.n; i++) { /* s^2 V^-1 (y - X b) */
		double want = 0.0;

		fit[i] = d.y[i] - residual[i];
		for (size_t j = 0; j < d.n; j++) {
			double r = d.y[j];

			for (size_t a = 0; a < P; a++)
				r -= d.x[j * P + a] * e.beta[a];
			want += s2 * e.inverse[i * d.n + j] * r;
		}
		near("residual", residual[i], want, 1e-8);
		for (size_t a = 0; a < P; a++)
			fit[i] -= d.x[i * P + a] * pd_nested_beta(m)[a];
	}
	for (size_t k = 0; k < v->depth; k++) { /* what is left is Z u */
		ck_assert(pd_nested_conditional(m, k, u, &err) == PD_OK);
		for (size_t i = 0; i < d.n; i++)
			for (size_t a = 0; a < v->q[k]; a++)
				fit[i] -= d.z[i * 2 + a] *
					u[(size_t)d.group[k][i] * v->q[k] + a];
	}
	for (size_t i = 0; i < d.n; i++)
		near("sum of effects", fit[i], 0.0, 1e-8);
	dense_free(&e);
	pd_nested_free(m);
}
END_TEST

/* ---- properties -------------------------------------------------------- */

struct summary {
	double beta[P], se[P], df[P], sd[4], deviance;
};

static struct summary summarise(const pd_nested_spec *s)
{
	pd_nested *m = fitted(s);
	struct summary o = { .deviance = pd_nested_record(m)->deviance };
	pd_error err;

	for (size_t a = 0; a < P; a++) {
		double c[P] = { 0.0 };
		pd_estimate e;

		c[a] = 1.0;
		ck_assert(pd_nested_contrast(m, c, 0.95, PD_KENWARD_ROGER, &e,
		                             &err) == PD_OK);
		o.beta[a] = e.value;
		o.se[a] = e.se;
		o.df[a] = e.df;
	}
	for (size_t k = 0; k < s->depth; k++) {
		double v[4];

		pd_nested_level_covariance(m, k, v);
		o.sd[k] = sqrt(v[0]);
	}
	o.sd[3] = pd_nested_residual_sd(m);
	pd_nested_free(m);
	return o;
}

static void same(const struct summary *a, const struct summary *b,
                 double y_unit, const double *x_unit, double tolerance)
{
	for (size_t k = 0; k < P; k++) {
		near("effect", b->beta[k], a->beta[k] * y_unit / x_unit[k],
		     tolerance);
		near("error", b->se[k] * x_unit[k] / y_unit, a->se[k],
		     tolerance);
		near("df", b->df[k], a->df[k], tolerance);
	}
	for (size_t k = 0; k < 4; k++)
		near("sd", b->sd[k] / y_unit, a->sd[k], tolerance);
}

static const double ones[P] = { 1.0, 1.0, 1.0 };

START_TEST(row_order_is_nothing)
{
	struct data d, e;
	pd_stream r;
	pd_nested_spec s, t;
	struct summary a, b;

	make(&d, 21, sds);
	e = d;
	pd_stream_init(&r, 5, 5);
	for (size_t i = d.n; i-- > 1;) {
		size_t j = (size_t)pd_stream_below(&r, i + 1);
		double y = e.y[i];

		e.y[i] = e.y[j];
		e.y[j] = y;
		for (size_t c = 0; c < P; c++) {
			double x = e.x[i * P + c];

			e.x[i * P + c] = e.x[j * P + c];
			e.x[j * P + c] = x;
		}
		for (size_t k = 0; k < 3; k++) {
			int32_t g = e.group[k][i];

			e.group[k][i] = e.group[k][j];
			e.group[k][j] = g;
		}
	}
	s = spec_of(&d, &variants[0]);
	t = spec_of(&e, &variants[0]);
	a = summarise(&s);
	b = summarise(&t);
	same(&a, &b, 1.0, ones, 1e-8);
	near("deviance", a.deviance, b.deviance, 1e-12);
}
END_TEST

START_TEST(group_names_are_nothing)
{
	struct data d, e;
	pd_nested_spec s, t;
	struct summary a, b;

	make(&d, 22, sds);
	e = d;
	for (size_t k = 0; k < 3; k++) /* others, in another order, far apart */
		for (size_t i = 0; i < d.n; i++)
			e.group[k][i] = 2000000000 - 7919 * d.group[k][i];
	s = spec_of(&d, &variants[0]);
	t = spec_of(&e, &variants[0]);
	a = summarise(&s);
	b = summarise(&t);
	same(&a, &b, 1.0, ones, 1e-8);
	near("deviance", a.deviance, b.deviance, 1e-12);
}
END_TEST

START_TEST(units_are_only_units)
{
	const double unit[P] = { 1.0, 365.25, 1e-3 };
	struct data d, e;
	pd_nested_spec s, t;
	struct summary a, b;

	make(&d, 23, sds);
	e = d;
	for (size_t i = 0; i < d.n; i++) {
		e.y[i] *= 1e6;
		for (size_t c = 0; c < P; c++)
			e.x[i * P + c] *= unit[c];
	}
	s = spec_of(&d, &variants[0]);
	t = spec_of(&e, &variants[0]);
	a = summarise(&s);
	b = summarise(&t);
	same(&a, &b, 1e6, unit, 1e-8);
}
END_TEST

/* A slope's unit changes its variance by the square, nothing else. */
START_TEST(slope_units)
{
	struct data d, e;
	pd_nested_spec s, t;
	pd_nested *a, *b;
	double va[4], vb[4];

	make(&d, 24, sds);
	e = d;
	for (size_t i = 0; i < d.n; i++)
		e.z[2 * i + 1] *= 52.0;
	s = spec_of(&d, &variants[2]);
	t = spec_of(&e, &variants[2]);
	a = fitted(&s);
	b = fitted(&t);
	pd_nested_level_covariance(a, 0, va);
	pd_nested_level_covariance(b, 0, vb);
	near("intercept", vb[0], va[0], 1e-7);
	near("covariance", vb[1] * 52.0, va[1], 1e-7);
	near("slope", vb[3] * 52.0 * 52.0, va[3], 1e-7);
	near("deviance", pd_nested_record(a)->deviance,
	     pd_nested_record(b)->deviance, 1e-11);
	pd_nested_free(a);
	pd_nested_free(b);
}
END_TEST

/* A column far from zero: digits must not drown in its square. */
START_TEST(columns_far_from_zero)
{
	struct data d, e;
	pd_nested_spec s, t;
	struct summary a, b;

	make(&d, 25, sds);
	e = d;
	for (size_t i = 0; i < d.n; i++) { /* exact in binary */
		d.x[i * P + 1] = round(d.x[i * P + 1] * 4096) / 4096;
		e.x[i * P + 1] = d.x[i * P + 1] + 1048576.0;
	}
	s = spec_of(&d, &variants[0]);
	t = spec_of(&e, &variants[0]);
	a = summarise(&s);
	b = summarise(&t);
	near("slope", b.beta[1], a.beta[1], 1e-9);
	near("error", b.se[1], a.se[1], 1e-8);
	near("df", b.df[1], a.df[1], 1e-7);
	near("deviance", b.deviance, a.deviance, 1e-10);
}
END_TEST

/* ---- refusals ---------------------------------------------------------- */

static void refuse(const pd_nested_spec *s, pd_status want, const char *words)
{
	pd_nested *m = NULL;
	pd_error err = { 0 };
	pd_status st = pd_nested_new(s, &m, &err);

	if (st == PD_OK)
		st = pd_nested_fit(m, &err);
	if (st != want || !strstr(err.text, words))
		ck_abort_msg("wanted '%s' (%d), got '%s' (%d)", words, want,
		             err.text, st);
	pd_nested_free(m);
}

START_TEST(bad_input)
{
	struct data d, e;
	pd_nested_spec s;
	int32_t one[ROWS] = { 0 }, row[ROWS];

	make(&d, 31, sds);
	for (size_t i = 0; i < ROWS; i++)
		row[i] = (int32_t)i;
	e = d;
	e.y[7] = NAN;
	s = spec_of(&e, &variants[0]);
	refuse(&s, PD_DATA, "row 8");
	e = d;
	e.x[4 * P + 2] = INFINITY;
	s = spec_of(&e, &variants[0]);
	refuse(&s, PD_DATA, "row 5 column 3");
	e = d;
	for (size_t i = 0; i < d.n; i++)
		e.x[i * P + 2] = 3.0 * e.x[i * P + 1] - 2.0;
	s = spec_of(&e, &variants[0]);
	refuse(&s, PD_NUMERIC, "fixed column 3");
	e = d;
	for (size_t i = 0; i < d.n; i++)
		e.y[i] = 4.25;
	s = spec_of(&e, &variants[0]);
	refuse(&s, PD_REFUSED, "does not vary");
	s = spec_of(&d, &variants[0]);
	s.group[1] = d.group[0];
	s.group[0] = d.group[1];
	refuse(&s, PD_DATA, "nested");
	s = spec_of(&d, &variants[0]);
	s.group[2] = row;
	refuse(&s, PD_REFUSED, "one row a group");
	s = spec_of(&d, &variants[0]);
	s.group[0] = one;
	refuse(&s, PD_REFUSED, "single group");
	s = spec_of(&d, &variants[0]);
	s.group[1] = d.group[0];
	refuse(&s, PD_REFUSED, "same groups");
	s = spec_of(&d, &variants[0]);
	s.n = P;
	refuse(&s, PD_REFUSED, "more rows than columns");
	e = d;
	e.group[1][3] = -2;
	s = spec_of(&e, &variants[0]);
	refuse(&s, PD_DATA, "0 or more");
	s = spec_of(&d, &variants[0]);
	s.n_random[1] = 2;
	refuse(&s, PD_USAGE, "random columns");
	s = spec_of(&d, &variants[0]);
	s.depth = 7;
	refuse(&s, PD_USAGE, "levels");
}
END_TEST

/* Groups whose variance the fixed columns take away; rows all alike. */
START_TEST(not_to_be_told)
{
	double x[60] = { 0.0 }, y[20];
	int32_t g[20];
	pd_stream r;
	pd_nested_spec s = { .n = 20, .p = 3, .x = x, .y = y, .depth = 1,
	                     .group = { g } };

	pd_stream_init(&r, 8, 8);
	for (int i = 0; i < 20; i++) {
		g[i] = i % 3;
		x[3 * i + g[i]] = 1.0;
		y[i] = pd_stream_normal(&r);
	}
	refuse(&s, PD_NUMERIC, "flat");
	s.p = 1;
	for (int i = 0; i < 20; i++) {
		x[i] = 1.0;
		g[i] = i / 4;
		y[i] = g[i] * 1.7 + (i % 4) * 1e-9;
	}
	refuse(&s, PD_NUMERIC, "hardly differ");
}
END_TEST

START_TEST(bad_questions)
{
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_estimate e;
	pd_f_test f;
	pd_error err;
	double c[P] = { 0.0 }, two[2 * P] = { 0, 1, 0, 0, 2, 0 }, u[ROWS];

	make(&d, 33, sds);
	s = spec_of(&d, &variants[0]);
	m = new_model(&s);
	ck_assert(pd_nested_contrast(m, c, 0.95, PD_NORMAL, &e, &err) ==
	          PD_USAGE);
	ck_assert(pd_nested_fit(m, &err) == PD_OK);
	ck_assert(pd_nested_contrast(m, c, 0.95, PD_NORMAL, &e, &err) ==
	          PD_USAGE);
	c[1] = 1.0;
	ck_assert(pd_nested_contrast(m, c, 1.5, PD_NORMAL, &e, &err) ==
	          PD_USAGE);
	ck_assert(pd_nested_f_test(m, two, 2, PD_KENWARD_ROGER, &f, &err) ==
	          PD_USAGE);
	ck_assert(pd_nested_f_test(m, two, 0, PD_KENWARD_ROGER, &f, &err) ==
	          PD_USAGE);
	ck_assert(pd_nested_conditional(m, 3, u, &err) == PD_USAGE);
	pd_nested_free(m);
	s.ml = true;
	m = fitted(&s);
	ck_assert(pd_nested_contrast(m, c, 0.95, PD_KENWARD_ROGER, &e, &err) ==
	          PD_USAGE);
	ck_assert(pd_nested_contrast(m, c, 0.95, PD_SATTERTHWAITE, &e, &err) ==
	          PD_OK);
	pd_nested_free(m);
	pd_nested_free(NULL);
}
END_TEST

/* Looking at another point must not disturb what was fitted. */
START_TEST(looking_changes_nothing)
{
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_estimate a, b;
	pd_error err;
	double c[P] = { 0.0, 1.0, 0.0 }, far[3] = { 2.0, 0.1, 1.4 };
	double u[ROWS], v[ROWS];

	make(&d, 34, sds);
	s = spec_of(&d, &variants[0]);
	m = fitted(&s);
	pd_nested_deviance(m, far, NULL);
	ck_assert(pd_nested_contrast(m, c, 0.95, PD_KENWARD_ROGER, &a, &err) ==
	          PD_OK);
	ck_assert(pd_nested_residuals(m, u, &err) == PD_OK);
	pd_nested_free(m);
	m = fitted(&s);
	ck_assert(pd_nested_contrast(m, c, 0.95, PD_KENWARD_ROGER, &b, &err) ==
	          PD_OK);
	pd_nested_deviance(m, far, u + 100);
	ck_assert(pd_nested_residuals(m, v, &err) == PD_OK);
	ck_assert_mem_eq(&a, &b, sizeof a);
	for (size_t i = 0; i < 100 && i < d.n; i++)
		near("residual", u[i], v[i], 1e-12);
	pd_nested_free(m);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("nested");
	TCase *t = tcase_create("likelihood");

	tcase_add_loop_test(t, deviance_is_dense, 0, VARIANTS);
	tcase_add_loop_test(t, gradient_is_slope, 0, VARIANTS);
	tcase_add_loop_test(t, fit_is_stationary, 0, VARIANTS);
	tcase_add_test(t, boundary_is_zero);
	tcase_add_test(t, odd_variances);
	suite_add_tcase(s, t);
	t = tcase_create("answers");
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, estimates_are_dense, 0, VARIANTS);
	suite_add_tcase(s, t);
	t = tcase_create("properties");
	tcase_add_test(t, row_order_is_nothing);
	tcase_add_test(t, group_names_are_nothing);
	tcase_add_test(t, units_are_only_units);
	tcase_add_test(t, slope_units);
	tcase_add_test(t, columns_far_from_zero);
	tcase_add_test(t, looking_changes_nothing);
	suite_add_tcase(s, t);
	t = tcase_create("refusals");
	tcase_add_test(t, bad_input);
	tcase_add_test(t, not_to_be_told);
	tcase_add_test(t, bad_questions);
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
