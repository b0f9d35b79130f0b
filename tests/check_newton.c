/*
 * check_newton.c - searches of a log-likelihood: both find the same top, the
 * thrifty one asks for few curvatures, and both tell the ends apart.
 */
#include "stats/newton.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { P = 4, ROWS = 9 };

static pd_arena *arena;
static pd_error err;

static void set_up(void)
{
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
}

static void take_down(void)
{
	pd_arena_free(arena);
}

struct task {
	double y[ROWS]; /* counts: Poisson of exp(x'b), x = cos(j r)         */
	unsigned values, curvatures;
};

static void poisson(void *with, const double *par, double *value,
                    double *gradient, double *hessian)
{
	struct task *t = with;

	t->values++;
	t->curvatures += hessian != NULL;
	*value = 0;
	memset(gradient, 0, P * sizeof *gradient);
	if (hessian)
		memset(hessian, 0, P * P * sizeof *hessian);
	for (int r = 0; r < ROWS; r++) {
		double x[P], e = 0;

		for (int j = 0; j < P; j++) {
			x[j] = cos(j * (r + 0.3));
			e += x[j] * par[j];
		}
		*value += t->y[r] * e - exp(e);
		for (int j = 0; j < P; j++)
			gradient[j] += (t->y[r] - exp(e)) * x[j];
		for (int j = 0; hessian && j < P; j++)
			for (int k = 0; k < P; k++)
				hessian[j * P + k] -= exp(e) * x[j] * x[k];
	}
}

static const struct task counted = { { 3, 0, 7, 12, 1, 4, 4, 9, 2 }, 0, 0 };

/* From far off too, where the first steps have to be shortened. */
START_TEST(same_top)
{
	struct task a = counted, b = counted;
	double from = 1.5 * _i, at_a[P] = { from, -from, from, 0 };
	double at_b[P], gradient[P], hessian[P * P];
	pd_newton_record r;

	memcpy(at_b, at_a, sizeof at_b);
	ck_assert_int_eq(pd_newton_search(arena, poisson, &a, P, at_a,
	                                  gradient, hessian, &r, &err), PD_OK);
	ck_assert_int_eq(r.end, PD_NEWTON_TOP);
	ck_assert_uint_ge(a.curvatures, r.iterations);
	ck_assert_int_eq(pd_newton_thrifty(arena, poisson, &b, P, at_b,
	                                   gradient, hessian, &r, &err),
	                 PD_OK);
	ck_assert_int_eq(r.end, PD_NEWTON_TOP);
	for (int j = 0; j < P; j++) {
		ck_assert_double_le(fabs(at_a[j] - at_b[j]), 1e-8);
		ck_assert_double_le(fabs(gradient[j]), 1e-6);
	}
	if (_i == 0)
		ck_assert_uint_le(b.curvatures, 2);
	ck_assert_uint_lt(b.curvatures, a.curvatures);
}
END_TEST

/* A parabola: with its own curvature the first step is the last but one. */
static void parabola(void *with, const double *par, double *value,
                     double *gradient, double *hessian)
{
	unsigned *asked = with;

	*value = -par[0] * par[0] - 3 * par[1] * par[1] + par[0] * par[1] +
	         par[1];
	gradient[0] = -2 * par[0] + par[1];
	gradient[1] = -6 * par[1] + par[0] + 1;
	if (!hessian)
		return;
	++*asked;
	memcpy(hessian, (double[]){ -2, 1, 1, -6 }, 4 * sizeof *hessian);
}

START_TEST(of_a_parabola)
{
	double par[2] = { 1, 1 }, gradient[2], hessian[4];
	unsigned asked = 0;
	pd_newton_record r;

	ck_assert_int_eq(pd_newton_thrifty(arena, parabola, &asked, 2, par,
	                                   gradient, hessian, &r, &err),
	                 PD_OK);
	ck_assert_int_eq(r.end, PD_NEWTON_TOP);
	ck_assert_double_le(fabs(par[0] - 1.0 / 11), 1e-12);
	ck_assert_double_le(fabs(par[1] - 2.0 / 11), 1e-12);
	ck_assert_uint_le(asked, 2);
	ck_assert_uint_le(r.iterations, 3);
	ck_assert_double_le(fabs(hessian[0] + 2), 1e-9);
	ck_assert_double_le(fabs(hessian[3] + 6), 1e-9);
}
END_TEST

/* Rises for ever: no top; and nothing at all to begin with. */
static void rising(void *with, const double *par, double *value,
                   double *gradient, double *hessian)
{
	(void)with;
	*value = -exp(-par[0]);
	gradient[0] = exp(-par[0]);
	if (hessian)
		hessian[0] = -exp(-par[0]);
}

static void nowhere(void *with, const double *par, double *value,
                    double *gradient, double *hessian)
{
	(void)with;
	(void)gradient;
	(void)hessian;
	*value = NAN * par[0];
}

START_TEST(no_top)
{
	double par = 0.2, gradient, hessian;
	pd_newton_record r;

	ck_assert_int_eq(pd_newton_thrifty(arena, rising, NULL, 1, &par,
	                                   &gradient, &hessian, &r, &err),
	                 PD_OK);
	ck_assert_int_eq(r.end, PD_NEWTON_RUNAWAY);
	ck_assert_double_gt(par, 5);
	ck_assert_int_eq(pd_newton_thrifty(arena, nowhere, NULL, 1, &par,
	                                   &gradient, &hessian, &r, &err),
	                 PD_NUMERIC);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("newton");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_add_loop_test(t, same_top, 0, 3);
	tcase_add_test(t, of_a_parabola);
	tcase_add_test(t, no_top);
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
