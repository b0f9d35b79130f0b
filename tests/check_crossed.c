/*
 * check_crossed.c - the mixed model with crossed factors against dense
 * algebra (V formed and inverted), against the model of a tree where a factor
 * happens to be nested, and against the mean squares of a full table. Values
 * of another library: check_crossed_values.c.
 */
#include "crossed_model.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- likelihood -------------------------------------------------------- */

START_TEST(deviance_is_dense)
{
	const struct crossed_variant *v = &crossed_variants[_i];
	struct crossed_data c;
	struct dense e;
	pd_crossed_spec s;
	pd_crossed *m;
	pd_stream r;

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, v);
	m = new_crossed(&s);
	crossed_dense(&e, &c, v);
	pd_stream_init(&r, 91, 0);
	for (int k = 0; k < 5; k++) {
		double theta[MOST], nu, s2;

		for (size_t i = 0; i < pd_crossed_n_theta(m); i++)
			theta[i] = 0.6 + 0.4 * pd_stream_normal(&r);
		if (k == 4) /* one factor away */
			theta[pd_crossed_n_theta(m) - 1] = 0.0;
		crossed_dense_theta(&e, v, theta, 1.0);
		dense_at(&e, &c.d);
		nu = (double)(v->ml ? c.d.n : c.d.n - P);
		s2 = e.rss / nu; /* profiled */
		crossed_dense_theta(&e, v, theta, s2);
		dense_at(&e, &c.d);
		near(v->name, pd_crossed_deviance(m, theta, NULL),
		     dense_deviance(&e, v->ml), 1e-11);
	}
	dense_free(&e);
	pd_crossed_free(m);
}
END_TEST

START_TEST(gradient_is_slope)
{
	const struct crossed_variant *v = &crossed_variants[_i];
	struct crossed_data c;
	pd_crossed_spec s;
	pd_crossed *m;
	pd_stream r;
	double theta[MOST], g[MOST], h = 1e-4;

	make_crossed(&c, 4, crossed_sds);
	s = crossed_spec(&c, v);
	m = new_crossed(&s);
	pd_stream_init(&r, 92, 0);
	for (size_t i = 0; i < pd_crossed_n_theta(m); i++)
		theta[i] = 0.7 + 0.3 * pd_stream_normal(&r);
	pd_crossed_deviance(m, theta, g);
	for (size_t i = 0; i < pd_crossed_n_theta(m); i++) {
		double at = theta[i], f[4];

		for (int k = 0; k < 4; k++) {
			theta[i] = at + h * (k < 2 ? k - 2 : k - 1);
			f[k] = pd_crossed_deviance(m, theta, NULL);
		}
		theta[i] = at; /* five-point rule: error of order h^4 */
		near(v->name, g[i], (f[0] - 8.0 * f[1] + 8.0 * f[2] - f[3]) /
		     (12.0 * h), 1e-7);
	}
	pd_crossed_free(m);
}
END_TEST

/* No slope left, and none of 1,000 points around is lower. */
START_TEST(fit_is_least)
{
	const struct crossed_variant *v = &crossed_variants[_i];

	for (uint64_t seed = 10; seed < 18; seed++) {
		struct crossed_data c;
		pd_crossed_spec s;
		pd_crossed *m;
		pd_stream r;
		double theta[MOST], at[MOST], g[MOST], least;
		size_t nt;

		make_crossed(&c, seed, crossed_sds);
		s = crossed_spec(&c, v);
		m = fitted_crossed(&s);
		nt = pd_crossed_n_theta(m);
		memcpy(at, pd_crossed_theta(m), nt * sizeof *at);
		least = pd_crossed_deviance(m, at, g);
		near("deviance of the record", pd_crossed_record(m)->deviance,
		     least, 1e-12);
		ck_assert(pd_crossed_record(m)->newton_step <= 1e-8);
		for (size_t i = 0; i < nt; i++)
			near(v->name, g[i], 0.0, 1e-5);
		pd_stream_init(&r, seed, 5);
		for (int k = 0; k < 125; k++) {
			double size = pow(10.0, -4.0 * pd_stream_uniform(&r));

			for (size_t i = 0; i < nt; i++)
				theta[i] = at[i] + size * pd_stream_normal(&r);
			ck_assert(pd_crossed_deviance(m, theta, NULL) >
			          least - 1e-9);
		}
		pd_crossed_free(m);
	}
}
END_TEST

/* Operators and lots alike: some variances exactly 0, and growing costs. */
START_TEST(boundary_is_zero)
{
	const double small[7] = { 0.8, 0.5, 0.0, 0.0, 0.0, 0.0, 1.3 };
	size_t zeros = 0;

	for (uint64_t seed = 40; seed < 60; seed++) {
		const struct crossed_variant *v = &crossed_variants[5];
		struct crossed_data c;
		pd_crossed_spec s;
		pd_crossed *m;
		double theta[MOST], mean[9], variance[9];
		size_t here = 0;

		make_crossed(&c, seed, small);
		s = crossed_spec(&c, v);
		m = fitted_crossed(&s);
		memcpy(theta, pd_crossed_theta(m), 4 * sizeof *theta);
		for (size_t k = 0; k < 4; k++) {
			if (theta[k] > 0.0)
				continue;
			here++;
			for (double t = 1e-8; t < 1.0; t *= 100.0) {
				theta[k] = sqrt(t);
				ck_assert(pd_crossed_deviance(m, theta, NULL) >
				          pd_crossed_record(m)->deviance -
				          1e-9);
			}
			theta[k] = 0.0;
			if (k < 2)
				continue;
			near("variance", pd_crossed_factor_variance(m, k - 2),
			     0.0, 0.0);
			ck_assert_int_eq(pd_crossed_factor_conditional(m,
				k - 2, true, mean, variance, NULL), PD_OK);
			near("mean", mean[1], 0.0, 0.0);
			near("its variance", variance[1], 0.0, 0.0);
			zeros++;
		}
		ck_assert_uint_eq(here, pd_crossed_record(m)->n_at_zero);
		pd_crossed_free(m);
	}
	ck_assert_uint_gt(zeros, 10);
}
END_TEST

/* None of 30 points anywhere is lower than where the search ended. */
static void least_of_all(pd_crossed *m, uint64_t seed)
{
	double theta[MOST], least = pd_crossed_record(m)->deviance;
	pd_stream r;

	pd_stream_init(&r, seed, 4);
	for (int t = 0; t < 30; t++) {
		for (size_t i = 0; i < pd_crossed_n_theta(m); i++)
			theta[i] = pd_stream_below(&r, 4) == 0 ? 0.0 :
			           exp(1.5 * pd_stream_normal(&r));
		ck_assert(pd_crossed_deviance(m, theta, NULL) > least - 1e-8);
	}
}

/* Variances far apart, some 0: an answer, or words why not. */
START_TEST(odd_variances)
{
	for (uint64_t seed = 200; seed < 440; seed++) {
		const struct crossed_variant *v =
			&crossed_variants[seed % CROSSED];
		struct crossed_data c;
		pd_crossed_spec s;
		pd_crossed *m;
		pd_stream r;
		double sd[7];
		pd_error err = { 0 };
		pd_status st;
		bool slopes = v->q[0] > 1;

		pd_stream_init(&r, seed, 3);
		for (size_t k = 0; k < 7; k++)
			sd[k] = exp(1.5 * pd_stream_normal(&r)) *
			        (k == 6 || pd_stream_below(&r, 4) > 0 ? 1 : 0);
		make_crossed(&c, seed, sd);
		s = crossed_spec(&c, v);
		m = new_crossed(&s);
		st = pd_crossed_fit(m, &err);
		if (st == PD_OK) {
			ck_assert(pd_crossed_record(m)->newton_step <= 1e-8);
			for (size_t a = 0; a < P; a++)
				ck_assert(isfinite(pd_crossed_beta(m)[a]) &&
				          pd_crossed_covariance(m)[a * P + a] >
				          0.0);
			least_of_all(m, seed);
		} else if (!slopes || st != PD_NUMERIC || !err.text[0]) {
			ck_abort_msg("seed %d, %s: %s", (int)seed, v->name,
			             err.text);
		}
		pd_crossed_free(m);
	}
}
END_TEST

/* ---- effects, covariance, conditional means ---------------------------- */

/* Of effects with columns z[n*q] and covariance g[q*q], from definitions:
 * mean[q], variance[q*q] with b known and with b estimated. */
static void dense_effect(const struct dense *e, const struct data *d,
                         const double *z, size_t q, const double *g,
                         double *mean, double *known, double *estimated)
{
	size_t n = d->n;
	double zx[2 * P] = { 0 }, zr[2] = { 0 }, zz[4] = { 0 }, k[4];

	for (size_t a = 0; a < q; a++)
		for (size_t i = 0; i < n; i++)
			for (size_t j = 0; j < n; j++) {
				double f = z[i * q + a] * e->inverse[i * n + j];
				double r = d->y[j];

				for (size_t c = 0; c < P; c++) {
					r -= d->x[j * P + c] * e->beta[c];
					zx[a * P + c] += f * d->x[j * P + c];
				}
				zr[a] += f * r;
				for (size_t b = 0; b < q; b++)
					zz[a * q + b] += f * z[j * q + b];
			}
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			k[a * q + b] = zz[a * q + b];
			for (size_t c = 0; c < P * P; c++)
				k[a * q + b] -= zx[a * P + c / P] * e->phi[c] *
				                zx[b * P + c % P];
		}
	for (size_t a = 0; a < q; a++) {
		mean[a] = 0.0;
		for (size_t b = 0; b < q; b++) {
			mean[a] += g[a * q + b] * zr[b];
			known[a * q + b] = estimated[a * q + b] = g[a * q + b];
			for (size_t c = 0; c < q * q; c++) {
				double f = g[a * q + c / q] * g[c % q * q + b];

				known[a * q + b] -= f * zz[c];
				estimated[a * q + b] -= f * k[c];
			}
		}
	}
}

/* Every level of a factor or group of a level of the tree. */
static void effects_are_dense(const struct dense *e, const struct data *d,
                              const int32_t *code, size_t q, const double *g,
                              size_t groups, const double *mean,
                              const double *known, const double *estimated)
{
	double *z = calloc(d->n * q, sizeof *z), want[3][4];

	for (size_t l = 0; l < groups; l++) {
		for (size_t i = 0; i < d->n * q; i++)
			z[i] = code[i / q] != (int32_t)l ? 0.0 :
			       i % q == 1 ? d->z[i / q * 2 + 1] : 1.0;
		dense_effect(e, d, z, q, g, want[0], want[1], want[2]);
		for (size_t a = 0; a < q; a++)
			near("mean", mean[l * q + a], want[0][a], 1e-8);
		for (size_t a = 0; a < q * q; a++) {
			near("variance, b known", known[l * q * q + a],
			     want[1][a], 1e-8);
			near("variance, b estimated", estimated[l * q * q + a],
			     want[2][a], 1e-8);
		}
	}
	free(z);
}

START_TEST(estimates_are_dense)
{
	const struct crossed_variant *v = &crossed_variants[_i];
	struct crossed_data c;
	struct dense e;
	pd_crossed_spec s;
	pd_crossed *m;
	double mean[2 * ROWS], known[4 * ROWS], estimated[4 * ROWS], g[4];
	double residual[ROWS];
	pd_error err;

	make_crossed(&c, 8, crossed_sds);
	s = crossed_spec(&c, v);
	m = fitted_crossed(&s);
	crossed_dense(&e, &c, v);
	crossed_dense_theta(&e, v, pd_crossed_theta(m),
	                    pow(pd_crossed_residual_sd(m), 2.0));
	dense_at(&e, &c.d);
	for (size_t a = 0; a < P; a++)
		near("effect", pd_crossed_beta(m)[a], e.beta[a], 1e-10);
	for (size_t a = 0; a < P * P; a++)
		near("covariance", pd_crossed_covariance(m)[a], e.phi[a],
		     1e-9);
	for (size_t k = 0; k < v->depth; k++) {
		pd_crossed_level_covariance(m, k, g);
		ck_assert(pd_crossed_conditional(m, k, false, mean, known,
		                                 &err) == PD_OK);
		ck_assert(pd_crossed_conditional(m, k, true, mean, estimated,
		                                 &err) == PD_OK);
		effects_are_dense(&e, &c.d, c.d.group[k], v->q[k], g,
		                  pd_crossed_groups(m, k), mean, known,
		                  estimated);
	}
	for (size_t j = 0; j < v->n_factors; j++) {
		g[0] = pd_crossed_factor_variance(m, j);
		ck_assert(pd_crossed_factor_conditional(m, j, false, mean,
		                                        known, &err) == PD_OK);
		ck_assert(pd_crossed_factor_conditional(m, j, true, mean,
			estimated, &err) == PD_OK);
		effects_are_dense(&e, &c.d, c.factor[v->factor[j]], 1, g,
		                  pd_crossed_factor_levels(m, j), mean, known,
		                  estimated);
	}
	ck_assert(pd_crossed_residuals(m, residual, &err) == PD_OK);
	for (size_t i = 0; i < c.d.n; i++) { /* s^2 V^-1 (y - X b) */
		double want = 0.0;

		for (size_t j = 0; j < c.d.n; j++) {
			double r = c.d.y[j];

			for (size_t a = 0; a < P; a++)
				r -= c.d.x[j * P + a] * e.beta[a];
			want += e.inverse[i * c.d.n + j] * r;
		}
		near("residual", residual[i], e.s[e.k - 1] * want, 1e-9);
	}
	dense_free(&e);
	pd_crossed_free(m);
}
END_TEST

/* The same of a tree alone. */
START_TEST(tree_variances_are_dense)
{
	const struct variant *v = &variants[_i];
	struct data d;
	struct dense e;
	pd_nested_spec s;
	pd_nested *m;
	double mean[2 * ROWS], known[4 * ROWS], estimated[4 * ROWS], g[4];
	pd_error err;

	make(&d, 3, sds);
	s = spec_of(&d, v);
	m = fitted(&s);
	dense_new(&e, &d, v);
	dense_theta(&e, v, pd_nested_theta(m),
	            pow(pd_nested_residual_sd(m), 2.0));
	dense_at(&e, &d);
	for (size_t k = 0; k < v->depth; k++) {
		pd_nested_level_covariance(m, k, g);
		ck_assert(pd_nested_conditional(m, k, mean, &err) == PD_OK);
		ck_assert(pd_nested_conditional_variance(m, k, false, known,
		                                         &err) == PD_OK);
		ck_assert(pd_nested_conditional_variance(m, k, true, estimated,
		                                         &err) == PD_OK);
		effects_are_dense(&e, &d, d.group[k], v->q[k], g,
		                  pd_nested_groups(m, k), mean, known,
		                  estimated);
	}
	ck_assert(pd_nested_conditional_variance(m, v->depth, true, known,
	                                         &err) == PD_USAGE);
	dense_free(&e);
	pd_nested_free(m);
}
END_TEST

/* ---- Kenward-Roger from the definitions -------------------------------- */

START_TEST(kenward_is_dense)
{
	static const double contrasts[][P] = {
		{ 0.0, 1.0, 0.0 }, { 0.0, 0.0, 1.0 }, { 1.0, 1.7, 0.31 },
	};
	const struct crossed_variant *v = &crossed_variants[_i];
	struct crossed_kr *o = calloc(1, sizeof *o);
	struct crossed_data c;
	struct dense e;
	pd_crossed_spec s;
	pd_crossed *m = NULL;
	pd_estimate est;
	pd_error err;
	bool inside = false;

	for (uint64_t seed = 8; !inside && seed < 80; seed++) {
		pd_crossed_free(m);
		make_crossed(&c, seed, crossed_sds);
		s = crossed_spec(&c, v);
		m = fitted_crossed(&s);
		inside = true; /* no variance 0, no correlation 1 */
		for (size_t i = 0; i < pd_crossed_n_theta(m); i++)
			inside = inside &&
			         fabs(pd_crossed_theta(m)[i]) > 0.02;
	}
	ck_assert(inside);
	crossed_dense(&e, &c, v);
	crossed_dense_theta(&e, v, pd_crossed_theta(m),
	                    pow(pd_crossed_residual_sd(m), 2.0));
	dense_at(&e, &c.d);
	crossed_kenward(&e, &c.d, o);
	for (size_t k = 0; k < 3; k++) {
		pd_status st = pd_crossed_contrast(m, contrasts[k], 0.9,
			PD_KENWARD_ROGER, &est, &err);

		if (v->ml) {
			ck_assert_int_eq(st, PD_USAGE);
			continue;
		}
		ck_assert_int_eq(st, PD_OK);
		near("adjusted error", est.se * est.se,
		     crossed_form(contrasts[k], o->adjusted), 1e-8);
		near("df", est.df, crossed_kr_df(&e, o, contrasts[k]), 1e-7);
	}
	dense_free(&e);
	pd_crossed_free(m);
	free(o);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("crossed");
	TCase *t = tcase_create("likelihood");

	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, deviance_is_dense, 0, CROSSED);
	tcase_add_loop_test(t, gradient_is_slope, 0, CROSSED);
	tcase_add_loop_test(t, fit_is_least, 0, CROSSED);
	tcase_add_test(t, boundary_is_zero);
	tcase_add_test(t, odd_variances);
	suite_add_tcase(s, t);
	t = tcase_create("estimates");
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, estimates_are_dense, 0, CROSSED);
	tcase_add_loop_test(t, tree_variances_are_dense, 0, VARIANTS);
	tcase_add_loop_test(t, kenward_is_dense, 0, CROSSED);
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
