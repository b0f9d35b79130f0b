/*
 * check_crossed_values.c - the mixed model with crossed factors against values
 * computed by lme4 1.1-31, lmerTest 3.1-3 and pbkrtest 0.5-2 (R 4.2.2) on data
 * of the plain generator in crossed_model.c, seed 3 (69 rows), and against the
 * mean squares of a full table. Their optimiser stops near 1e-8 of a theta,
 * hence the tolerances.
 */
#include "crossed_model.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- another library's values ------------------------------------------ */

struct fitted_values {
	size_t variant;
	double deviance, theta[4], beta[P], se[P], residual_sd;
	double satterthwaite[2];        /* df of columns 2, 3                 */
	double kr_se[2], kr_df[2];      /* 0: not compared                    */
	double sf[2], kf[3];            /* F, df2; F, df2, scaling: both cols */
	double residual[3];
};

/* Zero variances stay among pbkrtest's parameters and leave ours: "four
 * factors" (room: 0) is therefore not compared by Kenward-Roger. */
static const struct fitted_values values[] = {
	{ 0, 282.0003153, { 0.3707874482, 0.1298395335 },
	  { 4.959107997, 0.7409660026, -1.408930731 },
	  { 0.4264381208, 0.166270991, 0.4526025497 }, 1.797565876,
	  { 62.06808177, 64.51264303 }, { 0.1723260178, 0.4744205785 },
	  { 62.40417341, 64.68366826 }, { 16.81768997, 63.33934607 },
	  { 15.59893053, 64.08210556, 0.9996533238 },
	  { -2.409542904, 0.09812063042, 1.042144108 } },
	{ 1, 280.1207089, { 0.3049052923, 0.08110126855 },
	  { 4.960701913, 0.7508089454, -1.37969311 },
	  { 0.3856024433, 0.1631574596, 0.4442577084 }, 1.780538535,
	  { 64.49181319, 67.3297471 }, { 0 }, { 0 },
	  { 17.48708346, 65.93976661 }, { 0 },
	  { -2.495930382, 0.2158158154, 1.140185864 } },
	{ 2, 274.2383402, { 0.4801075054, 0.1199718051, 0, 0.5554060275 },
	  { 4.944013388, 0.6759114063, -1.655385299 },
	  { 0.5859611153, 0.1539058241, 0.4180434076 }, 1.597573141,
	  { 60.61402754, 61.52780668 }, { 0 }, { 0 },
	  { 19.29903471, 61.12691674 }, { 0 },
	  { -1.783331344, 0.5268774933, 0.09408782959 } },
	{ 3, 277.3928288, { 0.5286922694, 0.3902905344 },
	  { 4.924771477, 0.7001037221, -1.242817747 },
	  { 0.5187010559, 0.1537411226, 0.6578226095 }, 1.632434971,
	  { 59.09982416, 10.33281507 }, { 0.1591263814, 0.6714200444 },
	  { 58.7532874, 9.954819044 }, { 12.66511422, 16.57489076 },
	  { 11.46896943, 21.51984886, 0.9717559409 },
	  { -1.773525163, 0.8601558604, 1.914922267 } },
	{ 4, 276.9959344, { 0.5523315626, 0.5289200044, 0.3438796789 },
	  { 4.884642745, 0.7312131115, -1.116374445 },
	  { 0.5335824891, 0.1434914697, 0.7169587441 }, 1.51806668,
	  { 48.00542287, 8.690197517 }, { 0.1481592116, 0.7416824671 },
	  { 50.92623977, 9.72062095 }, { 14.6426304, 13.70222565 },
	  { 13.29601269, 20.70662853, 0.970333436 },
	  { -1.15808491, 0.3793342568, 1.14685711 } },
	{ 5, 274.0540048,
	  { 0.4708862183, 0.6467322498, 0.4856487615, 0.3085228612 },
	  { 4.860657924, 0.6710511412, -1.216525344 },
	  { 0.5655101642, 0.1435463374, 0.6640879162 }, 1.41132517,
	  { 51.00910608, 8.872075893 }, { 0.1518468273, 0.6944767233 },
	  { 51.81146038, 9.207512949 }, { 13.1646058, 14.08484321 },
	  { 11.38493507, 19.62850613, 0.9692461298 },
	  { -1.07033637, -0.1154585606, 0.9351258847 } },
	{ 6, 273.1373922,
	  { 0.3646758232, 0.6511279883, 0.4497344154, 0.2919690835 },
	  { 4.863439029, 0.6776429597, -1.219507301 },
	  { 0.5250702064, 0.1418727069, 0.6131065653 }, 1.402982371,
	  { 52.26357027, 10.06617058 }, { 0 }, { 0 },
	  { 14.09377872, 15.95171305 }, { 0 },
	  { -1.161498913, -0.1358250834, 0.8990009128 } },
	/* their search stopped about 2e-6 short on this flat slope */
	{ 7, 277.3511961,
	  { 0.5923579132, -0.03504480195, 0.05261551687, 0.403884484 },
	  { 4.933615294, 0.6953244002, -1.235204214 },
	  { 0.5191421075, 0.1570669099, 0.6504302456 }, 1.626641742,
	  { 7.770957144, 9.658960397 }, { 0.171857997, 0.7386837671 },
	  { 9.539274925, 9.954639024 }, { 12.07270164, 8.559329481 },
	  { 9.265459724, 12.10563872, 0.9496254592 },
	  { -1.763393388, 0.8629019554, 1.834736426 } },
};
enum { VALUES = sizeof values / sizeof *values };

static void compare_intervals(pd_crossed *m, const struct fitted_values *w,
                              double tolerance)
{
	static const double both[2 * P] = { 0, 1, 0, 0, 0, 1 };
	pd_estimate e;
	pd_f_test f;
	pd_error err = { 0 };

	for (size_t k = 0; k < 2; k++) {
		const double *c = both + k * P;

		ck_assert_int_eq(pd_crossed_contrast(m, c, 0.95,
			PD_SATTERTHWAITE, &e, &err), PD_OK);
		near("Satterthwaite df", e.df, w->satterthwaite[k],
		     10.0 * tolerance);
		near("error", e.se, w->se[k + 1], tolerance);
		if (!(w->kr_df[k] > 0.0))
			continue;
		ck_assert_int_eq(pd_crossed_contrast(m, c, 0.95,
			PD_KENWARD_ROGER, &e, &err), PD_OK);
		near("Kenward-Roger error", e.se, w->kr_se[k], tolerance);
		near("Kenward-Roger df", e.df, w->kr_df[k], 10.0 * tolerance);
	}
	ck_assert_int_eq(pd_crossed_f_test(m, both, 2, PD_SATTERTHWAITE, &f,
	                                   &err), PD_OK);
	near("F, Satterthwaite", f.f, w->sf[0], tolerance);
	near("its df", f.df2, w->sf[1], 10.0 * tolerance);
	if (!(w->kf[0] > 0.0))
		return;
	ck_assert_int_eq(pd_crossed_f_test(m, both, 2, PD_KENWARD_ROGER, &f,
	                                   &err), PD_OK);
	near("F, Kenward-Roger", f.f, w->kf[0], tolerance);
	near("its df", f.df2, w->kf[1], 10.0 * tolerance);
	near("its scaling", f.scaling, w->kf[2], tolerance);
}

START_TEST(values_of_others)
{
	const struct fitted_values *w = &values[_i];
	const struct crossed_variant *v = &crossed_variants[w->variant];
	double tolerance = w->variant == 7 ? 3e-6 : 2e-7, residual[ROWS];
	struct crossed_data c;
	pd_crossed_spec s;
	pd_crossed *m;

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, v);
	m = fitted_crossed(&s);
	near("deviance", pd_crossed_record(m)->deviance, w->deviance, 1e-9);
	for (size_t k = 0; k < pd_crossed_n_theta(m); k++)
		near("theta", pd_crossed_theta(m)[k], w->theta[k],
		     5.0 * tolerance);
	for (size_t a = 0; a < P; a++) {
		near("effect", pd_crossed_beta(m)[a], w->beta[a], tolerance);
		near("its error", sqrt(pd_crossed_covariance(m)[a * (P + 1)]),
		     w->se[a], tolerance);
	}
	near("residual SD", pd_crossed_residual_sd(m), w->residual_sd,
	     tolerance);
	compare_intervals(m, w, tolerance);
	ck_assert_int_eq(pd_crossed_residuals(m, residual, NULL), PD_OK);
	for (size_t i = 0; i < 3; i++)
		near("residual", residual[i], w->residual[i],
		     5.0 * tolerance);
	pd_crossed_free(m);
}
END_TEST

/* lme4's ranef with condVar: effects given y and b; the first three. */
struct effect_values {
	size_t variant, level;
	bool factor;
	double mean[3], variance[3];
};
static const struct effect_values effects[] = {
	{ 0, 1, true, { 0.06287864216, -0.1670286243, 0.07556238453 },
	  { 0.04742233058, 0.04854159981, 0.04600618941 } },
	{ 0, 0, true, { 0.5698913309, 0.07226042902, -0.156526756 },
	  { 0.1807871522, 0.149209571, 0.1713798808 } },
	{ 2, 3, true, { 1.050924395, 0.62618906, -0.7250526749 },
	  { 0.1772511712, 0.1817673203, 0.2365353823 } },
	{ 2, 2, true, { 0, 0, 0 }, { 0, 0, 0 } },
	{ 3, 0, false, { -0.7082012667, -0.7235966757, -0.4424511191 },
	  { 0.2476837436, 0.1995252614, 0.4912120747 } },
	{ 3, 0, true, { 0.4831687396, 0.02510630312, 0.04200277489 },
	  { 0.1824530214, 0.1483387184, 0.1707072584 } },
	{ 5, 1, false, { -0.4476816761, 0.4316651704, -0.7309069031 },
	  { 0.6252182437, 0.4659593115, 0.422997515 } },
	{ 5, 0, false, { -0.3959670011, -0.3622086865, -0.3074909985 },
	  { 0.2614134802, 0.2393544634, 0.3457456415 } },
	{ 5, 1, true, { 0.2446261771, -0.4696710567, 0.3185270193 },
	  { 0.1170034538, 0.1255610015, 0.1079527491 } },
	{ 5, 0, true, { 0.520678835, 0.0006443830033, 0.1468494724 },
	  { 0.1891217373, 0.1515494761, 0.1845085039 } },
	{ 6, 0, false, { -0.2867695467, -0.2686648491, -0.2039619793 },
	  { 0.1846308481, 0.1731352234, 0.2241856808 } },
};
enum { EFFECTS = sizeof effects / sizeof *effects };

START_TEST(effects_of_others)
{
	const struct effect_values *w = &effects[_i];
	struct crossed_data c;
	pd_crossed_spec s;
	pd_crossed *m;
	double mean[ROWS], variance[ROWS];

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[w->variant]);
	m = fitted_crossed(&s);
	/* asking elsewhere first must not matter */
	pd_crossed_deviance(m, (const double[4]){ 1, 1, 1, 1 }, NULL);
	ck_assert_int_eq(w->factor ?
		pd_crossed_factor_conditional(m, w->level, false, mean,
		                              variance, NULL) :
		pd_crossed_conditional(m, w->level, false, mean, variance,
		                       NULL), PD_OK);
	for (size_t l = 0; l < 3; l++) {
		near("mean", mean[l], w->mean[l], 5e-7);
		near("variance", variance[l], w->variance[l], 5e-7);
	}
	pd_crossed_free(m);
}
END_TEST

/* The tree alone, the same library: cases in patients, no factor. */
START_TEST(tree_effects_of_others)
{
	static const double of_case[3] = { 0.4596363185, 0.3749399129,
	                                   0.3354583816 };
	static const double of_patient[3] = { 0.2591923372, 0.2286844037,
	                                      0.3933266684 };
	struct crossed_data c;
	pd_crossed_spec s;
	pd_nested *m;
	double variance[ROWS];

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[5]);
	m = fitted(&s.tree);
	near("deviance", pd_nested_record(m)->deviance, 278.4115749, 1e-9);
	ck_assert_int_eq(pd_nested_conditional_variance(m, 1, false, variance,
	                                                NULL), PD_OK);
	for (size_t l = 0; l < 3; l++)
		near("of a case", variance[l], of_case[l], 5e-7);
	ck_assert_int_eq(pd_nested_conditional_variance(m, 0, false, variance,
	                                                NULL), PD_OK);
	for (size_t l = 0; l < 3; l++)
		near("of a patient", variance[l], of_patient[l], 5e-7);
	pd_nested_free(m);
}
END_TEST

/* lme4's profile and confint (1.1-31), cases in patients and two factors: 95
 * percent limits by maximum likelihood, read off a spline through its points,
 * which are good to some 1e-4. at: as pd_crossed_profile_sd's. */
START_TEST(profiles_of_others)
{
	static const double sd[5][2] = {
		{ 0.0, 1.48720758 }, { 0.0, 1.64060507 }, { 0.0, 1.56910682 },
		{ 0.0, 1.11372540 }, { 1.12872660, 1.80625668 },
	};
	static const double effect[P][2] = {
		{ 3.75506115, 5.95563896 }, { 0.39221707, 0.96965047 },
		{ -2.51558629, 0.13520139 },
	};
	struct crossed_data c;
	pd_crossed_spec s;
	pd_crossed *m;
	pd_profile out;
	pd_error err = { 0 };
	double before, after[ROWS];

	make_crossed(&c, 3, crossed_sds);
	s = crossed_spec(&c, &crossed_variants[5]);
	m = fitted_crossed(&s);
	before = pd_crossed_record(m)->deviance;
	for (size_t k = 0; k < 5; k++) {
		ck_assert_int_eq(pd_crossed_profile_sd(m, k, 0, false, 0.95,
		                                       &out, &err), PD_OK);
		near("lower limit", out.e.low, sd[k][0], 3e-4);
		near("upper limit", out.e.high, sd[k][1], 3e-4);
		ck_assert(out.low_at_zero == (k < 4));
	}
	for (size_t k = 0; k < P; k++) {
		const double w[P] = { k == 0, k == 1, k == 2 };

		ck_assert_int_eq(pd_crossed_profile_contrast(m, w, 0.95, &out,
		                                             &err), PD_OK);
		near("lower limit", out.e.low, effect[k][0], 3e-4);
		near("upper limit", out.e.high, effect[k][1], 3e-4);
	}
	ck_assert_int_eq(pd_crossed_profile_sd(m, 5, 0, true, 0.95, &out,
	                                       &err), PD_USAGE);
	near("fit left alone", pd_crossed_record(m)->deviance, before, 0.0);
	ck_assert_int_eq(pd_crossed_residuals(m, after, &err), PD_OK);
	near("residual", after[0], -1.07033637, 1e-6);
	pd_crossed_free(m);
}
END_TEST

/* ---- a full table: the analysis of variance is exact ------------------- */

enum { ACROSS = 8, DOWN = 5, CELLS = ACROSS * DOWN };

/* Mean square of groups of `rows` cells about their arm's mean. */
static double mean_square(const double *mean, const double *about, size_t n,
                          double rows, double df)
{
	double sum = 0.0;

	for (size_t i = 0; i < n; i++)
		sum += rows * (mean[i] - about[i]) * (mean[i] - about[i]);
	return sum / df;
}

/* 8 patients in two arms by 5 operators, one row a cell. */
START_TEST(full_table)
{
	double x[CELLS * 2], y[CELLS], patient[ACROSS] = { 0 }, all = 0.0;
	double operator[DOWN] = { 0 }, arm[2] = { 0 }, about[CELLS];
	double fitted_cell[CELLS], ms_patient, ms_operator, ms_rest;
	int32_t code[2][CELLS];
	uint64_t g = 4711;
	double effect[ACROSS + DOWN];
	const double c[2] = { 0.0, 1.0 };
	pd_crossed_spec s = { .n_factors = 2 };
	pd_crossed *m;
	pd_estimate est;

	for (size_t k = 0; k < ACROSS + DOWN; k++)
		effect[k] = 1.3 * plain_normal(&g);
	for (size_t i = 0; i < CELLS; i++) {
		size_t a = i / DOWN, b = i % DOWN;

		x[2 * i] = 1.0;
		x[2 * i + 1] = (double)(a % 2);
		y[i] = 2.9 + 0.7 * x[2 * i + 1] + effect[a] +
		       effect[ACROSS + b] + 0.6 * plain_normal(&g);
		code[0][i] = (int32_t)a;
		code[1][i] = (int32_t)b;
		patient[a] += y[i] / DOWN;
		operator[b] += y[i] / ACROSS;
		arm[a % 2] += 2.0 * y[i] / CELLS;
		all += y[i] / CELLS;
	}
	for (size_t a = 0; a < ACROSS; a++)
		about[a] = arm[a % 2];
	ms_patient = mean_square(patient, about, ACROSS, DOWN, ACROSS - 2);
	for (size_t b = 0; b < DOWN; b++)
		about[b] = all;
	ms_operator = mean_square(operator, about, DOWN, ACROSS, DOWN - 1);
	for (size_t i = 0; i < CELLS; i++)
		fitted_cell[i] = patient[i / DOWN] + operator[i % DOWN] - all;
	ms_rest = mean_square(y, fitted_cell, CELLS, 1.0,
	                      (ACROSS - 1) * (DOWN - 1));
	ck_assert(ms_patient > ms_rest && ms_operator > ms_rest);
	s.tree = (pd_nested_spec){ .n = CELLS, .p = 2, .x = x, .y = y };
	for (int tree = 0; tree < 2; tree++) {
		s.tree.depth = (size_t)tree;
		s.n_factors = tree ? 1 : 2;
		s.tree.group[0] = code[0];
		s.factor[0] = tree ? code[1] : code[0];
		s.factor[1] = code[1];
		m = fitted_crossed(&s);
		near("residual", pow(pd_crossed_residual_sd(m), 2.0), ms_rest,
		     1e-9);
		near("operators", pd_crossed_factor_variance(m, tree ? 0 : 1),
		     (ms_operator - ms_rest) / ACROSS, 1e-9);
		for (int k = 0; k < 2; k++) {
			ck_assert(pd_crossed_contrast(m, c, 0.9, k ?
				PD_SATTERTHWAITE : PD_KENWARD_ROGER, &est,
				NULL) == PD_OK);
			near("arm", est.value, arm[1] - arm[0], 1e-11);
			near("error", est.se * est.se,
			     4.0 * ms_patient / CELLS, 1e-9);
			near("df", est.df, ACROSS - 2, 1e-6);
		}
		pd_crossed_free(m);
	}
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("crossed values");
	TCase *t = tcase_create("values");

	tcase_add_loop_test(t, values_of_others, 0, VALUES);
	tcase_add_loop_test(t, effects_of_others, 0, EFFECTS);
	tcase_add_test(t, tree_effects_of_others);
	tcase_add_test(t, profiles_of_others);
	tcase_add_test(t, full_table);
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
