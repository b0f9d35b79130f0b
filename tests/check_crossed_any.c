/*
 * check_crossed_any.c - what must hold for the mixed model with crossed
 * factors whatever the data, and everything it refuses.
 */
#include "crossed_model.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- what holds for any data ------------------------------------------- */

/* Same answers of two fits; y of the second is y of the first times scale. */
static void same(pd_crossed *a, pd_crossed *b, double scale, double tolerance)
{
	pd_estimate x, y;
	double rows = (double)pd_crossed_rows(a);

	if (pd_crossed_n_theta(a) == 4) /* a restricted fit of variant 5 */
		rows -= P;
	near("deviance", pd_crossed_record(b)->deviance,
	     pd_crossed_record(a)->deviance + 2.0 * rows * log(scale),
	     tolerance);
	for (size_t k = 0; k < 3; k++) {
		const double c[P] = { k == 0, k == 1, k == 2 };

		for (int how = 0; how < 2; how++) {
			pd_df_method d = how ? PD_SATTERTHWAITE :
			                 PD_KENWARD_ROGER;

			ck_assert(pd_crossed_contrast(a, c, 0.95, d, &x,
			                              NULL) == PD_OK);
			ck_assert(pd_crossed_contrast(b, c, 0.95, d, &y,
			                              NULL) == PD_OK);
			near("value", y.value / scale, x.value, tolerance);
			near("error", y.se / scale, x.se, tolerance);
			near("df", y.df, x.df, 10.0 * tolerance);
		}
	}
}

/* Rows in another order, names changed, factors swapped. */
START_TEST(order_and_names)
{
	struct crossed_data c, o;
	pd_crossed_spec s;
	pd_crossed *a, *b;
	double mean[2][9];
	size_t n;

	make_crossed(&c, 3, crossed_sds);
	n = c.d.n;
	o = c;
	for (size_t i = 0; i < n; i++) {
		size_t from = (i * 29 + 11) % n; /* 29 and 69 have no divisor */

		o.d.y[i] = c.d.y[from];
		for (size_t k = 0; k < P; k++)
			o.d.x[i * P + k] = c.d.x[from * P + k];
		for (size_t k = 0; k < 2; k++)
			o.d.group[k][i] = c.d.group[k][from] * 7919 % 100003;
		for (size_t j = 0; j < FACTORS; j++)
			o.factor[j][i] = 1999999999 - c.factor[j][from];
	}
	s = crossed_spec(&c, &crossed_variants[5]);
	a = fitted_crossed(&s);
	s = crossed_spec(&o, &crossed_variants[5]);
	s.factor[0] = o.factor[1];
	s.factor[1] = o.factor[0];
	b = fitted_crossed(&s);
	same(a, b, 1.0, 1e-9);
	near("theta", pd_crossed_theta(b)[2], pd_crossed_theta(a)[3], 1e-8);
	ck_assert(pd_crossed_factor_conditional(a, 1, true, mean[0], NULL,
	                                        NULL) == PD_OK);
	ck_assert(pd_crossed_factor_conditional(b, 0, true, mean[1], NULL,
	                                        NULL) == PD_OK);
	for (size_t l = 0; l < 9; l++) /* names run the other way */
		near("mean", mean[1][8 - l], mean[0][l], 1e-8);
	pd_crossed_free(a);
	pd_crossed_free(b);
}
END_TEST

START_TEST(units)
{
	static const double scales[] = { 1024.0, 1e-9, 1e9, 60.0 };
	struct crossed_data c, o;
	pd_crossed_spec s;
	pd_crossed *a, *b;

	make_crossed(&c, 3, crossed_sds);
	o = c;
	for (size_t i = 0; i < c.d.n; i++)
		o.d.y[i] *= scales[_i];
	s = crossed_spec(&c, &crossed_variants[5]);
	a = fitted_crossed(&s);
	s = crossed_spec(&o, &crossed_variants[5]);
	b = fitted_crossed(&s);
	same(a, b, scales[_i], _i == 0 ? 1e-15 : 1e-9);
	pd_crossed_free(a);
	pd_crossed_free(b);
}
END_TEST

/* A billion added to y and to a column costs what rounding them costs. */
START_TEST(far_off)
{
	struct crossed_data c, o;
	pd_crossed_spec s;
	pd_crossed *a, *b;
	pd_estimate x, y;
	const double arm[P] = { 0.0, 0.0, 1.0 };

	make_crossed(&c, 3, crossed_sds);
	for (size_t i = 0; i < c.d.n; i++) { /* without digits to lose */
		c.d.y[i] = round(c.d.y[i] * 1024.0) / 1024.0;
		c.d.x[i * P + 1] = round(c.d.x[i * P + 1] * 64.0) / 64.0;
	}
	o = c;
	for (size_t i = 0; i < c.d.n; i++) {
		o.d.y[i] += 1e9;
		o.d.x[i * P + 1] += 1e6;
	}
	s = crossed_spec(&c, &crossed_variants[5]);
	a = fitted_crossed(&s);
	s = crossed_spec(&o, &crossed_variants[5]);
	b = fitted_crossed(&s);
	ck_assert(pd_crossed_contrast(a, arm, 0.95, PD_KENWARD_ROGER, &x,
	                              NULL) == PD_OK);
	ck_assert(pd_crossed_contrast(b, arm, 0.95, PD_KENWARD_ROGER, &y,
	                              NULL) == PD_OK);
	near("value", y.value, x.value, 1e-6);
	near("error", y.se, x.se, 1e-6);
	near("df", y.df, x.df, 1e-5);
	pd_crossed_free(a);
	pd_crossed_free(b);
}
END_TEST

/* A factor that happens to be nested is a level of the tree. */
START_TEST(nested_factor)
{
	struct crossed_data c;
	pd_crossed_spec s;
	pd_crossed *m;
	pd_nested *t;
	pd_estimate x, y;
	double mean[2][ROWS], variance[2][ROWS];
	pd_profile limits[2];

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[5]);
	t = fitted(&s.tree);
	s.tree.depth = (size_t)_i; /* 1: patients stay a tree; 0: both are */
	s.n_factors = 2 - (size_t)_i;
	s.factor[0] = _i ? c.d.group[1] : c.d.group[0];
	s.factor[1] = c.d.group[1];
	m = fitted_crossed(&s);
	near("deviance", pd_crossed_record(m)->deviance,
	     pd_nested_record(t)->deviance, 1e-12);
	for (size_t k = 0; k < 3; k++) {
		const double w[P] = { k == 0, k == 1, k == 2 };
		pd_df_method d = k == 2 ? PD_SATTERTHWAITE : PD_KENWARD_ROGER;

		ck_assert(pd_crossed_contrast(m, w, 0.9, d, &x, NULL) == PD_OK);
		ck_assert(pd_nested_contrast(t, w, 0.9, d, &y, NULL) == PD_OK);
		near("value", x.value, y.value, 1e-10);
		near("error", x.se, y.se, 1e-9);
		near("df", x.df, y.df, 1e-7);
	}
	ck_assert(pd_crossed_factor_conditional(m, _i ? 0 : 1, true, mean[0],
	                                        variance[0], NULL) == PD_OK);
	ck_assert(pd_nested_conditional(t, 1, mean[1], NULL) == PD_OK);
	ck_assert(pd_nested_conditional_variance(t, 1, true, variance[1],
	                                         NULL) == PD_OK);
	for (size_t l = 0; l < pd_nested_groups(t, 1); l++) {
		near("mean", mean[0][l], mean[1][l], 1e-8);
		near("variance", variance[0][l], variance[1][l], 1e-8);
	}
	for (int reml = 0; reml < 2; reml++) {
		ck_assert(pd_crossed_profile_sd(m, 1, 0, reml, 0.8, &limits[0],
		                                NULL) == PD_OK);
		ck_assert(pd_nested_profile_sd(t, 1, 0, reml, 0.8, &limits[1],
		                               NULL) == PD_OK);
		near("lower limit", limits[0].e.low, limits[1].e.low, 1e-6);
		near("upper limit", limits[0].e.high, limits[1].e.high, 1e-6);
	}
	pd_crossed_free(m);
	pd_nested_free(t);
}
END_TEST

/* ---- what is refused --------------------------------------------------- */

static void refused(const pd_crossed_spec *s, pd_status want, const char *words)
{
	pd_crossed *m = (pd_crossed *)(uintptr_t)1;
	pd_error err = { 0 };

	ck_assert_int_eq(pd_crossed_new(s, &m, &err), want);
	ck_assert_ptr_null(m);
	if (!strstr(err.text, words))
		ck_abort_msg("'%s' does not say '%s'", err.text, words);
}

START_TEST(refused_use)
{
	struct crossed_data c;
	pd_crossed_spec s, t;

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[5]);
	t = s;
	t.n_factors = 0;
	refused(&t, PD_USAGE, "0 crossed factors");
	t.n_factors = 5;
	refused(&t, PD_USAGE, "5 crossed factors");
	t.n_factors = 3;
	refused(&t, PD_USAGE, "crossed factor 3 has no codes");
	t = s;
	t.tree.depth = 5;
	refused(&t, PD_USAGE, "5 levels and 2 crossed factors");
	t = s;
	t.tree.p = 0;
	refused(&t, PD_USAGE, "no fixed columns");
	c.factor[1][20] = -4;
	refused(&s, PD_DATA, "crossed factor 2, row 21: code -4");
	c.factor[1][20] = 1;
	c.d.y[7] = NAN;
	refused(&s, PD_DATA, "outcome, row 8");
}
END_TEST

START_TEST(refused_data)
{
	struct crossed_data c;
	pd_crossed_spec s;
	int32_t other[ROWS];

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[5]);
	s.factor[1] = other;
	for (size_t i = 0; i < c.d.n; i++)
		other[i] = 12;
	refused(&s, PD_REFUSED, "crossed factor 2 has a single level");
	for (size_t i = 0; i < c.d.n; i++)
		other[i] = (int32_t)i;
	refused(&s, PD_REFUSED, "crossed factor 2 has one row a level");
	for (size_t i = 0; i < c.d.n; i++)
		other[i] = 900 - 7 * c.d.group[1][i];
	refused(&s, PD_REFUSED, "crossed factor 2 and level 2 have the same");
	for (size_t i = 0; i < c.d.n; i++)
		other[i] = 3 + (c.factor[0][i] + 4) % 6;
	refused(&s, PD_REFUSED, "crossed factors 1 and 2 have the same");
	for (size_t i = 0; i < c.d.n; i++)
		other[i] = c.d.group[0][i] % 2 ? 5 : 2;
	refused(&s, PD_REFUSED, "crossed factor 2 is explained by the fixed "
	        "columns (column 3");
	for (size_t i = 0; i < c.d.n; i++) { /* any two levels, turned round */
		other[i] = c.factor[0][i] < 3;
		c.d.x[i * P + 1] = other[i] + 2.0 * c.d.x[i * P + 2];
	}
	refused(&s, PD_REFUSED, "the fixed columns together explain all of "
	        "crossed factor 2");
	for (size_t i = 0; i < c.d.n; i++)
		c.d.x[i * P + 1] = 4.0;
	refused(&s, PD_NUMERIC, "fixed column 2");
}
END_TEST

START_TEST(too_many_levels)
{
	enum { LONG = 5002 };
	double *x = calloc(LONG, sizeof *x), *y = calloc(LONG, sizeof *y);
	int32_t *code = calloc(LONG, sizeof *code);
	pd_crossed_spec s = { .n_factors = 1 };

	s.tree = (pd_nested_spec){ .n = LONG, .p = 1, .x = x, .y = y };
	s.factor[0] = code;
	for (size_t i = 0; i < LONG; i++) {
		x[i] = 1.0;
		y[i] = (double)(i * i % 97);
		code[i] = (int32_t)(i / 2);
	}
	refused(&s, PD_REFUSED, "2501 levels, expected at most 2000");
	free(x);
	free(y);
	free(code);
}
END_TEST

START_TEST(asked_too_early)
{
	struct crossed_data c;
	pd_crossed_spec s;
	pd_crossed *m;
	double out[2 * ROWS];
	const double arm[P] = { 0, 0, 1 }, none[P] = { 0 };
	pd_estimate e;
	pd_f_test f;
	pd_error err;

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[5]);
	m = new_crossed(&s);
	ck_assert_int_eq(pd_crossed_contrast(m, arm, 0.9, PD_NORMAL, &e, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_crossed_f_test(m, arm, 1, PD_NORMAL, &f, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_crossed_conditional(m, 0, true, out, NULL, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_crossed_factor_conditional(m, 0, true, out, NULL,
	                                               &err), PD_USAGE);
	ck_assert_int_eq(pd_crossed_residuals(m, out, &err), PD_USAGE);
	ck_assert_int_eq(pd_crossed_fit(m, &err), PD_OK);
	ck_assert_int_eq(pd_crossed_contrast(m, none, 0.9, PD_NORMAL, &e,
	                                     &err), PD_USAGE);
	ck_assert_int_eq(pd_crossed_contrast(m, arm, 1.0, PD_NORMAL, &e, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_crossed_f_test(m, arm, 4, PD_NORMAL, &f, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_crossed_conditional(m, 2, true, out, NULL, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_crossed_factor_conditional(m, 2, true, out, NULL,
	                                               &err), PD_USAGE);
	ck_assert_uint_eq(pd_crossed_factor_levels(m, 2), 0);
	ck_assert_uint_eq(pd_crossed_groups(m, 2), 0);
	near("no such factor", pd_crossed_factor_variance(m, 2), 0.0, 0.0);
	pd_crossed_free(m);
	pd_crossed_free(NULL);
}
END_TEST

/* Four levels of which the fixed columns explain all but one contrast: what
 * is left is one degree of freedom, and an answer. */
START_TEST(nearly_explained)
{
	struct crossed_data c;
	pd_crossed_spec s;
	pd_crossed *m;
	pd_error err = { 0 };
	int32_t half[ROWS];

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[3]);
	for (size_t i = 0; i < c.d.n; i++) {
		half[i] = (int32_t)(i % 2) + 2 * (int32_t)(i / 2 % 2);
		c.d.x[i * P + 1] = (double)(i % 2);
		c.d.x[i * P + 2] = (double)(i / 2 % 2);
		c.d.group[0][i] = (int32_t)(i / 4);
	}
	s.factor[0] = half;
	m = new_crossed(&s);
	ck_assert_int_eq(pd_crossed_fit(m, &err), PD_OK);
	pd_crossed_free(m);
}
END_TEST

/* Four patients by three operators, y their sum and nothing else: the effects
 * follow every row. */
START_TEST(effects_follow_every_row)
{
	double one[12], y[12];
	int32_t patient[12], operator[12];
	pd_crossed_spec s = { .n_factors = 1, .factor = { operator } };
	pd_crossed *m;
	pd_error err = { 0 };

	for (size_t i = 0; i < 12; i++) {
		one[i] = 1.0;
		patient[i] = (int32_t)(i / 3);
		operator[i] = (int32_t)(i % 3);
		y[i] = sin(1.7 * (double)(i / 3)) + cos(2.9 * (double)(i % 3));
	}
	s.tree = (pd_nested_spec){ .n = 12, .p = 1, .x = one, .y = y,
	                           .depth = 1, .group = { patient } };
	m = new_crossed(&s);
	ck_assert_int_eq(pd_crossed_fit(m, &err), PD_NUMERIC);
	if (!strstr(err.text, "follow every row"))
		ck_abort_msg("%s", err.text);
	pd_crossed_free(m);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("crossed, any data");
	TCase *t = tcase_create("properties");

	tcase_add_test(t, order_and_names);
	tcase_add_loop_test(t, units, 0, 4);
	tcase_add_test(t, far_off);
	tcase_add_loop_test(t, nested_factor, 0, 2);
	suite_add_tcase(s, t);
	t = tcase_create("refused");
	tcase_add_test(t, refused_use);
	tcase_add_test(t, refused_data);
	tcase_add_test(t, too_many_levels);
	tcase_add_test(t, asked_too_early);
	tcase_add_test(t, nearly_explained);
	tcase_add_test(t, effects_follow_every_row);
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
