/*
 * check_influence_values.c - influence and refits against values of other
 * programs, named beside them.
 */
#include "dense_model.h"
#include "stats/nested_influence.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

static pd_influence *influence(pd_nested *m)
{
	pd_influence *o = NULL;
	pd_error err = { 0 };

	if (pd_nested_influence(m, &o, &err) != PD_OK)
		ck_abort_msg("influence: %s", err.text);
	return o;
}

/* ---- values from elsewhere ---------------------------------------------- */

enum { N = 47 };

/* Nine groups of 1 to 10 rows by rule. */
static void rule(double *x, double *y, int32_t *group)
{
	static const int size[] = { 1, 2, 3, 9, 4, 7, 5, 6, 10 };
	int i = 0;

	for (int c = 1; c <= 9; c++)
		for (int k = 0; k < size[c - 1]; k++, i++) {
			double x1 = i * 37 % 23 / 7.0 - 1.3;

			x[i * P] = 1.0;
			x[i * P + 1] = x1;
			x[i * P + 2] = c % 2;
			group[i] = c;
			y[i] = 2.1 + 0.63 * x1 - 0.47 * (c % 2) +
			       1.1 * (c * 29 % 11) / 11.0 +
			       i * 53 % 31 / 13.0;
		}
}

/* R 4.2.2, lm(): cooks.distance, hatvalues, rstandard, dfbeta. */
START_TEST(least_squares_elsewhere)
{
	static const size_t row[] = { 0, 7, 22, 46 };
	static const double cook[] = { 0.103119043549299, 0.039692282265865,
		                       0.00943071088020311,
		                       0.00738806042813946 };
	static const double hat[] = { 0.0932617357543099, 0.0543853375587456,
		                      0.043953178444961, 0.09326173575431 };
	static const double std[] = { -1.73428029657857, 1.43889746514827,
		                      0.784471699422877, 0.464210619561138 };
	static const double shift[] = { 0.0542163271556132, -0.0197963147878896,
		                        -0.0508103773442806 };
	double x[N * P], y[N];
	int32_t group[N];
	pd_nested_spec s = { .n = N, .p = P, .x = x, .y = y };
	pd_nested *m;
	pd_influence *o;

	rule(x, y, group);
	m = fitted(&s);
	o = influence(m);
	for (size_t k = 0; k < 4; k++) {
		near("cook", o->group[row[k]].cook, cook[k], 1e-13);
		near("hat", o->group[row[k]].leverage, hat[k], 1e-13);
		near("z", o->conditional_z[row[k]], std[k], 1e-12);
		near("the same z", o->marginal_z[row[k]], std[k], 1e-12);
	}
	for (size_t a = 0; a < P; a++)
		near("shift", o->shift[7 * P + a], shift[a], 1e-13);
	pd_influence_free(o);
	pd_nested_free(m);
}
END_TEST

/* R, lme4 1.1-31: lmer(y ~ x1 + arm + (1 | group)) without group 4 and 9, and
 * without 4 at the theta of all (its devFunOnly). */
START_TEST(mixed_elsewhere)
{
	static const size_t which[] = { 3, 8 };
	static const double beta[2][P] = {
		{ 3.73978527362436, 0.488198587792261, -0.354447538476798 },
		{ 3.815831212215, 0.590443290772591, -0.605109435313235 }
	};
	static const double var[2][2] = {
		{ 0.107957785902425, 0.535896233087901 },
		{ 0.0630047782319017, 0.574376612720409 }
	};
	static const double deviance[2] = { 90.4398762499332,
		                            89.12722491945 };
	static const double held[P] = { 3.74203089371237, 0.486339864725659,
		                        -0.341195515659496 };
	double x[N * P], y[N];
	int32_t group[N];
	pd_nested_spec s = { .n = N, .p = P, .x = x, .y = y, .depth = 1,
		             .group = { group } };
	pd_nested *m;
	pd_influence *o;
	pd_refit fit[2];

	rule(x, y, group);
	m = fitted(&s);
	o = influence(m);
	near("residual", o->conditional[7], 1.00876267293344, 1e-6);
	for (size_t a = 0; a < P; a++)
		near("held", pd_nested_beta(m)[a] - o->shift[3 * P + a],
		     held[a], 1e-6);
	ck_assert_int_eq(pd_influence_refit(m, o, which, 2, fit, NULL), PD_OK);
	for (size_t k = 0; k < 2; k++) {
		near("deviance", fit[k].deviance, deviance[k], 1e-11);
		near("level", fit[k].variance[0], var[k][0], 1e-5);
		near("residual", fit[k].variance[1], var[k][1], 1e-5);
		for (size_t a = 0; a < P; a++)
			near("beta", fit[k].beta[a], beta[k][a], 1e-5);
	}
	pd_influence_free(o);
	pd_nested_free(m);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("influence values");
	TCase *t = tcase_create("left out");

	tcase_add_test(t, least_squares_elsewhere);
	tcase_add_test(t, mixed_elsewhere);
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
