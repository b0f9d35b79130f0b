/* check_normality.c - do skew and tails come out as elsewhere? */
#include "stats/normality.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

static void near(const char *what, double got, double want, double tolerance)
{
	ck_assert_msg(fabs(got - want) <=
	                      tolerance * fmax(1.0, fabs(want)),
	              "%s: got %.15g, wanted %.15g", what, got, want);
}

static const double leaning[] = {
	0.31, -1.27, 2.14, 0.07, -0.66, 1.93, 0.42, -0.18, 5.61, -0.92, 0.74,
	-2.05, 1.11, 0.28, -0.49, 0.96, -1.54, 3.37, 0.15, -0.81, 0.53, -0.37,
	1.68
};
enum { LEANING = sizeof leaning / sizeof *leaning };

START_TEST(skew_and_tails)
{
	pd_normality o, t;
	double x[LEANING];

	ck_assert_int_eq(pd_normality_test(leaning, LEANING, &o, NULL), PD_OK);
	/* scipy 1.10.1: stats.skew, kurtosis, skewtest, kurtosistest,
	 * normaltest */
	near("skew", o.skew, 1.2692082310387895, 1e-14);
	near("tails", o.tails, 5.016968008632653, 1e-14);
	near("z skew", o.z_skew, 2.62502673742433, 1e-12);
	near("p skew", o.p_skew, 0.008664216326217443, 1e-14);
	near("z tails", o.z_tails, 2.1882419221236495, 1e-12);
	near("p tails", o.p_tails, 0.02865198490396582, 1e-13);
	near("joint", o.joint, 11.679168081932028, 1e-11);
	near("p joint", o.p_joint, 0.002910052836862895, 1e-14);
	for (int i = 0; i < LEANING; i++)
		x[i] = 1e6 - 512.0 * leaning[LEANING - 1 - i];
	ck_assert_int_eq(pd_normality_test(x, LEANING, &t, NULL), PD_OK);
	near("turned skew", t.z_skew, -o.z_skew, 1e-9);
	near("turned tails", t.z_tails, o.z_tails, 1e-9);
	/* D'Agostino, Belanger & D'Agostino (1990), Am. Statist. 44, 316-321:
	 * 62 cholesterol values, printed to two places (from memory) */
	pd_normality_from(62, 1.02, 4.58, &o);
	near("printed skew", o.z_skew, 3.14, 0.005);
	near("printed tails", o.z_tails, 2.21, 0.005);
	near("printed joint", o.joint, 14.75, 0.006);
}
END_TEST

START_TEST(shape_refused)
{
	double x[24] = { 0.0 };
	pd_normality o;
	pd_error err = { 0 };

	ck_assert_int_eq(pd_normality_test(x, 24, &o, &err), PD_REFUSED);
	ck_assert_int_eq(pd_normality_test(leaning, 19, &o, &err), PD_REFUSED);
	x[3] = INFINITY;
	ck_assert_int_eq(pd_normality_test(x, 24, &o, &err), PD_DATA);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("normality");
	TCase *t = tcase_create("moments");

	tcase_add_test(t, skew_and_tails);
	tcase_add_test(t, shape_refused);
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
