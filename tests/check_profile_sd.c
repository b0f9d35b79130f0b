/*
 * check_profile_sd.c - profile limits of standard deviations by brute force:
 * one-way layouts written out by sums of squares, and dense algebra under a
 * simplex search.
 */
#include "dense_model.h"
#include "stats/nested_profile.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <gsl/gsl_multimin.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double Q95 = 3.84145882069412447634; /* chi-square, 1 df */

static pd_profile sd_of(pd_nested *m, size_t at, size_t column, bool reml)
{
	pd_profile p;
	pd_error err = { 0 };

	if (pd_nested_profile_sd(m, at, column, reml, 0.95, &p, &err) != PD_OK)
		ck_abort_msg("SD of level %zu: %s", at, err.text);
	return p;
}

enum { K = 7, EACH = 4 };

struct layout { double within, between; bool reml; };

/* Deviance of a balanced one-way layout by its sums of squares. */
static double one_way(const struct layout *l, double t2, double s2)
{
	double sum = s2 + EACH * t2, d;

	d = K * (EACH - 1) * log(s2) + l->within / s2 + l->between / sum +
	    (K - (l->reml ? 1 : 0)) * log(sum);
	if (l->reml)
		return d + log(K * EACH) + (K * EACH - 1) * log(2 * M_PI);
	return d + K * EACH * log(2 * M_PI);
}

/* Least over the other of the two, by thirds on its logarithm. */
static double one_way_held(const struct layout *l, bool residual, double sd)
{
	double a = -14, b = 8;

	for (int i = 0; i < 200; i++) {
		double x = a + (b - a) / 3, y = b - (b - a) / 3;
		double fx = residual ? one_way(l, exp(x), sd * sd)
		                     : one_way(l, sd * sd, exp(x));
		double fy = residual ? one_way(l, exp(y), sd * sd)
		                     : one_way(l, sd * sd, exp(y));

		if (fx < fy)
			b = y;
		else
			a = x;
	}
	return residual ? fmin(one_way(l, exp(a), sd * sd),
	                       one_way(l, 0, sd * sd))
	                : one_way(l, sd * sd, exp(a));
}

/* A layout, its sums of squares and the model of it. */
static pd_nested *layout(uint64_t seed, double spread, struct layout *l)
{
	double y[K * EACH], x[K * EACH], mean[K] = { 0 }, all = 0;
	int32_t code[K * EACH];
	pd_nested_spec s = { .n = K * EACH, .p = 1, .x = x, .y = y,
	                     .depth = 1, .group = { code } };
	pd_stream r;

	pd_stream_init(&r, seed, 3);
	*l = (struct layout){ 0 };
	for (int g = 0; g < K; g++) {
		double u = spread * pd_stream_normal(&r);

		for (int j = 0; j < EACH; j++) {
			int i = g * EACH + j;

			x[i] = 1;
			code[i] = g;
			y[i] = 11.3 + u + 0.71 * pd_stream_normal(&r);
			mean[g] += y[i] / EACH;
			all += y[i] / (K * EACH);
		}
	}
	for (int i = 0; i < K * EACH; i++) {
		l->within += pow(y[i] - mean[code[i]], 2);
		l->between += pow(mean[code[i]] - all, 2);
	}
	return fitted(&s);
}

START_TEST(one_way_by_hand)
{
	bool reml = _i % 2;
	size_t zero = 0;

	for (uint64_t seed = 1; seed < 25; seed++) {
		struct layout l;
		pd_nested *m = layout(seed, (double)(seed % 3) * 0.35, &l);

		l.reml = reml;
		for (size_t k = 0; k < 2; k++) {
			pd_profile p = sd_of(m, k, 0, reml);
			double least = one_way_held(&l, k, p.e.value);

			near("high", one_way_held(&l, k, p.e.high) - least, Q95,
			     1e-8);
			near("deviance", p.deviance, least, 1e-10);
			if (p.low_at_zero) {
				zero++;
				ck_assert(k == 0 && p.e.low == 0.0);
				ck_assert(one_way_held(&l, 0, 0) - least <
				          Q95);
				near("p", p.e.p, fmin(1, p.e.value == 0 ? 1 :
				     0.5 * pd_chisq_upper(one_way_held(&l, 0,
				     0) - least, 1)), 1e-7);
			} else {
				near("low", one_way_held(&l, k, p.e.low) -
				     least, Q95, 1e-8);
			}
		}
		pd_nested_free(m);
	}
	ck_assert(zero >= 4 && zero < 24);
}
END_TEST

/* What the simplex search is given. */
struct held {
	struct data *d;
	struct dense *e;
	const struct variant *v;
	size_t place;          /* theta whose row's SD is held               */
	size_t second;         /* rest of that row, 0: there is none         */
	double sd;
};

static double by_dense(const gsl_vector *x, void *with)
{
	const struct held *h = with;
	double theta[MOST], t;

	for (size_t i = 0; i < x->size; i++) {
		theta[i] = gsl_vector_get(x, i);
		if (fabs(theta[i]) > 50)
			return 1e6;
	}
	t = pow(theta[h->place], 2) +
	    (h->second ? pow(theta[h->second], 2) : 0);
	if (!(t > 1e-12))
		return 1e6;
	dense_theta(h->e, h->v, theta, h->sd * h->sd / t);
	dense_at(h->e, h->d);
	return dense_deviance(h->e, h->v->ml);
}

static double simplex(struct held *h, size_t n)
{
	gsl_multimin_function f = { by_dense, n, h };
	gsl_multimin_fminimizer *s =
		gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2,
		                              n);
	gsl_vector *x = gsl_vector_alloc(n), *step = gsl_vector_alloc(n);
	double best = 1e9;

	gsl_vector_set_all(x, 0.7);
	for (int round = 0; round < 6; round++) {
		gsl_vector_set_all(step, round ? 0.1 : 0.4);
		gsl_multimin_fminimizer_set(s, &f, x, step);
		for (int k = 0; k < 600 &&
		     gsl_multimin_fminimizer_size(s) > 1e-7; k++)
			gsl_multimin_fminimizer_iterate(s);
		best = fmin(best, s->fval);
		gsl_vector_memcpy(x, s->x);
	}
	gsl_vector_free(x);
	gsl_vector_free(step);
	gsl_multimin_fminimizer_free(s);
	return best;
}

/* One level with a slope: SD of the intercept and of the slope. */
START_TEST(slope_by_dense)
{
	const struct variant *v = &variants[6];
	struct data d;
	struct dense e;
	pd_nested_spec s;
	pd_nested *m;

	make(&d, 5, sds);
	d.n = 40;
	s = spec_of(&d, v);
	m = fitted(&s);
	dense_new(&e, &d, v);
	for (size_t column = 0; column < 2; column++) {
		pd_profile p = sd_of(m, 0, column, !v->ml);
		/* theta: L11 L21 L22; row 2 holds L21 and L22 */
		struct held h = { &d, &e, v, column ? 1 : 0, column ? 2 : 0,
		                  p.e.high };

		ck_assert(p.e.value > 0);
		near("high", simplex(&h, 3) - p.deviance, Q95, 1e-6);
		h.sd = p.low_at_zero ? 0.02 : p.e.low;
		if (p.low_at_zero)
			ck_assert(simplex(&h, 3) - p.deviance < Q95 + 0.02);
		else
			near("low", simplex(&h, 3) - p.deviance, Q95, 1e-6);
	}
	dense_free(&e);
	pd_nested_free(m);
}
END_TEST

/* Two groups whose rows hardly differ: the limits of their SD lie where the
 * ratio of SDs is above what a fit itself may reach. */
START_TEST(two_groups)
{
	double x[8], y[8] = { 1.001, 0.999, 1.0005, 0.9993, 3.1002, 3.0996,
	                      3.1009, 3.0991 };
	int32_t code[8] = { 0, 0, 0, 0, 1, 1, 1, 1 };
	const pd_nested_spec s = { .n = 8, .p = 1, .x = x, .y = y, .depth = 1,
	                           .group = { code } };
	struct layout l = { 0, 0, true };
	pd_nested *m;
	pd_profile p;
	double mean[2] = { 0 }, z, d[2];

	for (int i = 0; i < 8; i++) {
		x[i] = 1;
		mean[i / 4] += y[i] / 4;
	}
	for (int i = 0; i < 8; i++)
		l.within += pow(y[i] - mean[i / 4], 2);
	l.between = pow(mean[1] - mean[0], 2) / 2;
	m = fitted(&s);
	p = sd_of(m, 0, 0, true);
	/* REML with two groups: d = 6 ln s2 + W / s2 + ln v + B / v with
	 * v = s2 + 4 t2 and s2 hardly moved */
	z = l.within / 6;
	for (int k = 0; k < 2; k++) {
		double t = k ? p.e.high : p.e.value, v = z + 4 * t * t;

		d[k] = log(v) + 4 * l.between / v;
	}
	near("rise", d[1] - d[0], Q95, 1e-3);
	ck_assert(p.e.high > 10 * p.e.value && p.e.low > 0);
	pd_nested_free(m);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("profile_sd");
	TCase *t = tcase_create("limits");

	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, one_way_by_hand, 0, 2);
	tcase_add_test(t, slope_by_dense);
	tcase_add_test(t, two_groups);
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
