/*
 * check_linear.c - least squares, robust regression and series in time.
 * Values marked R are from R 4.2.2 (robust ones from its package MASS
 * 7.3-58.2); the other sources stand beside the numbers.
 */
#include "stats/linear.h"
#include "stats/robust.h"
#include "stats/series.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void near_to(const char *what, double got, double want, double relative)
{
	double allowed = relative * fmax(fabs(want), want == 0);

	ck_assert_msg(fabs(got - want) <= allowed,
	              "%s: got %.17g, wanted %.17g", what, got, want);
}

/* ---- draws of invention: yield by volume and haematocrit -------------- */

enum { N = 12 };
static const double ml[N] = { 2, 4, 4.5, 6, 7.5, 8, 10, 12, 15, 16, 18, 20 };
static const double hct[N] = { 31, 44, 37, 29, 41, 35.5,
	                       38, 27, 33, 40, 36.5, 30 };
static const double yield[N] = { 61.2, 52.8, 55.1, 47.9, 44.6, 43.2,
	                         39.9, 33.1, 29.4, 30.2, 26.3, 24.9 };
static const double weights[N] = { 1, 2, 1, 0.5, 3, 1, 2, 1.5, 1, 0, 2.5, 1 };
static const pd_regressor draw[] = { { "ml", ml, NULL },
	                             { "hct", hct, NULL } };

static pd_linear_data draws(const double *y, const double *weight)
{
	return (pd_linear_data){ .n = N, .y = y, .weight = weight,
		                 .intercept = 1, .n_columns = 2,
		                 .column = draw };
}

START_TEST(weighted_fit)
{
	/* R: lm with weights */
	static const double coef[] = { 60.641717517396415, -1.9728246233755258,
		                       -0.0012496065972549388 };
	static const double se[] = { 6.9876577014887493, 0.15869804045610975,
		                     0.16967039537172274 };
	static const double leverage[N] = {
		0.38172668457289616, 0.43602462212706988, 0.12905498770975837,
		0.15421498788248975, 0.33682848059297910, 0.076298220509138537,
		0.13585327147545023, 0.41136521238446566, 0.11733750751051325,
		0, 0.53730296032546398, 0.28399306490977494
	};
	pd_linear_data d = draws(yield, weights);
	pd_linear_fit *f;
	pd_estimate e;

	ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
	for (size_t j = 0; j < 3; j++) {
		near_to("coef", f->coef[j], coef[j], 2e-12);
		near_to("se", f->se[j], se[j], 1e-13);
	}
	for (size_t i = 0; i < N; i++)
		near_to("leverage", f->leverage[i], leverage[i], 1e-12);
	near_to("residual 3", f->residual[2], 3.3822287318918813, 1e-13);
	near_to("residual 10", f->residual[9], 1.1734607205021952, 1e-12);
	near_to("sd", f->residual_sd, 3.2332619185426705, 1e-14);
	near_to("ss", f->residual_ss, 83.631861071185867, 1e-14);
	near_to("r2", f->r_squared, 0.95780092746094803, 1e-14);
	near_to("f", f->f, 90.788813102427852, 1e-13);
	near_to("df", f->residual_df, 8, 0);
	ck_assert_uint_eq(f->m, 11);
	e = pd_linear_contrast(f, (double[]){ 1, 9, 36 }, 0.95);
	near_to("at 9 ml", e.value, 42.841310069515508, 1e-14);
	near_to("its se", e.se, 0.82042192849130191, 1e-12);
	near_to("its low", e.low, 40.949413709802393, 1e-13);
	near_to("its high", e.high, 44.733206429228623, 1e-13);
	pd_linear_free(f);
}
END_TEST

/* ---- near-singular polynomials ---------------------------------------- */

enum { POINTS = 23, DEGREE = 10 };

/*
 * x = 16 .. 38 and y = 1 + x + ... + x^10 (below 2^53: exact), in odd rounds
 * with the alternating binomials (-1)^i C(22, i) added. These are orthogonal
 * to every polynomial of degree below 22 on evenly spaced points, so every
 * coefficient stays 1 and the residual is what was added, with the sum of
 * squares C(44, 22) = 2104098963720. The last coefficient's variance is
 * s^2 over the squared norm of the monic Gram polynomial of degree k on N
 * points, (k!)^4 / ((2k)! (2k + 1)!) N prod_{j=1..k} (N^2 - j^2).
 */
START_TEST(degree_ten)
{
	double x[POINTS], y[POINTS], binomial = 1, norm = POINTS;
	pd_linear_fit *f;

	for (int i = 0; i < POINTS; i++) {
		double sum = 0;

		x[i] = 16 + i;
		for (int k = 0; k <= DEGREE; k++)
			sum = sum * x[i] + 1;
		y[i] = sum + (_i ? (i % 2 ? -binomial : binomial) : 0);
		binomial = binomial * (22 - i) / (i + 1);
	}
	for (int j = 1; j <= DEGREE; j++)
		norm *= (double)(POINTS * POINTS - j * j) * j * j * j * j;
	for (int j = 1; j <= 2 * DEGREE; j++)
		norm /= (double)j * (j + 1);
	ck_assert_int_eq(pd_polynomial(x, y, POINTS, DEGREE, 1, &f, NULL),
	                 PD_OK);
	/* y of 6e15 in 32 digits is good to 3e-16; what that moves */
	for (size_t k = 0; k <= DEGREE; k++)
		near_to("coef", f->coef[k], 1,
		        1e-15 + 0x1p-104 * y[POINTS - 1] *
		                    sqrt(f->unscaled[k * (DEGREE + 2)]));
	near_to("constant", f->coef[0], 1, 5e-12);
	near_to("ss", f->residual_ss + 1, _i ? 2104098963721.0 : 1, 1e-15);
	near_to("unscaled", f->unscaled[(DEGREE + 1) * (DEGREE + 1) - 1],
	        1 / norm, 1e-14);
	ck_assert_msg(f->condition > 1e10, "condition %g", f->condition);
	for (int i = 0; i < POINTS && _i; i++)
		ck_assert(f->residual[i] == rint(f->residual[i]) ||
		          fabs(f->residual[i] - rint(f->residual[i])) < 1e-9);
	pd_linear_free(f);
}
END_TEST

/* Far from 0 the powers are parallel to 15 digits and more; still exact. */
START_TEST(far_from_zero)
{
	double x[9], y[9];
	pd_linear_fit *f;

	for (int i = 0; i < 9; i++) {
		x[i] = 4000000 + i;
		y[i] = (double)((i - 4) * (i - 4) * (i - 4));
	}
	/* (x - c)^3, c = 4000004: 1, -3c, 3c^2, -c^3 */
	ck_assert_int_eq(pd_polynomial(x, y, 9, 3, 1, &f, NULL), PD_OK);
	near_to("x^3", f->coef[3], 1, 1e-8);
	near_to("x^2", f->coef[2], -3 * 4000004.0, 1e-8);
	near_to("x", f->coef[1], 3 * 4000004.0 * 4000004.0, 1e-8);
	pd_linear_free(f);
}
END_TEST

/* ---- refusals --------------------------------------------------------- */

static void refused(const pd_linear_data *d, pd_status st, const char *words)
{
	pd_linear_fit *f = NULL;
	pd_error err = { 0 };

	ck_assert_int_eq(pd_linear(d, &f, &err), st);
	ck_assert_ptr_null(f);
	ck_assert_msg(strstr(err.text, words), "'%s' lacks '%s'", err.text,
	              words);
}

START_TEST(combinations_named)
{
	double a[N], b[N], c[N], zero[N] = { 0 }, same[N], third[N];
	pd_linear_data d = { .n = N, .y = yield, .intercept = 1 };

	for (int i = 0; i < N; i++) {
		a[i] = i % 3 == 0;
		b[i] = i % 3 == 1;
		c[i] = i % 3 == 2;
		same[i] = 7;
		third[i] = 0.1 * ml[i] - 0.7 * hct[i] + 1e3;
	}
	const pd_regressor arms[] = { { "left", a, NULL }, { "mid", b, NULL },
		                      { "ml", ml, NULL },
		                      { "right", c, NULL } };
	const pd_regressor two[] = { { "none", zero, NULL },
		                     { "constant", same, NULL } };
	const pd_regressor mixed[] = { draw[0], draw[1],
		                       { "mixed", third, NULL } };

	d.column = arms;
	d.n_columns = 4;
	refused(&d, PD_REFUSED, "before them: 'right' (of 'intercept', "
	        "'left', 'mid')");
	d.column = two;
	d.n_columns = 2;
	refused(&d, PD_REFUSED, "'none' (all zero), 'constant' (of "
	        "'intercept')");
	d.column = mixed;
	d.n_columns = 3;
	refused(&d, PD_REFUSED, "'mixed' (of 'intercept', 'ml', 'hct')");
	/* a hundred millionth of its own is enough to stay */
	third[4] += 1e-5;
	pd_linear_fit *f;

	ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
	pd_linear_free(f);
}
END_TEST

START_TEST(bad_rows)
{
	double y[N], x[N], w[N];
	pd_linear_data d = { .n = N, .y = y, .weight = w, .intercept = 1,
		             .n_columns = 1 };
	const pd_regressor column = { "ml", x, NULL };
	pd_linear_fit *f;

	memcpy(y, yield, sizeof y);
	memcpy(x, ml, sizeof x);
	memcpy(w, weights, sizeof w);
	d.column = &column;
	y[6] = NAN;
	refused(&d, PD_DATA, "row 7 of the outcome is nan");
	y[6] = 1;
	x[2] = INFINITY;
	refused(&d, PD_DATA, "row 3 of column 'ml' is inf");
	x[2] = 4.5;
	w[11] = -1;
	refused(&d, PD_DATA, "weight of row 12 is -1");
	memset(w, 0, sizeof w);
	w[0] = w[5] = 1;
	refused(&d, PD_REFUSED, "2 rows for 2 coefficients");
	d.n_columns = 0;
	d.intercept = 0;
	refused(&d, PD_REFUSED, "no column");
	ck_assert_int_eq(pd_polynomial(x, y, N, 0, 1, &f, NULL), PD_DATA);
	ck_assert_int_eq(pd_polynomial(x, y, N, 64, 1, &f, NULL), PD_DATA);
	for (int i = 0; i < N; i++) {
		y[i] = 1e200 * i;
		w[i] = 1;
	}
	d.n_columns = 1;
	refused(&d, PD_NUMERIC, "out of range");
}
END_TEST

START_TEST(limits_of_fit)
{
	double y[N];
	pd_linear_data d = draws(y, NULL);
	pd_linear_fit *f;

	for (int i = 0; i < N; i++)
		y[i] = 3 + 2 * ml[i];
	ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
	near_to("r2", f->r_squared, 1, 1e-15);
	ck_assert(f->f > 1e25 && f->f_p >= 0 && f->f_p < 1e-90);
	pd_linear_free(f);
	for (int i = 0; i < N; i++)
		y[i] = 0;
	ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
	near_to("r2", f->r_squared, 0, 0);
	near_to("f", f->f, 0, 0);
	near_to("p", f->f_p, 1, 0);
	pd_linear_free(f);
}
END_TEST

/* ---- properties ------------------------------------------------------- */

/* Rows turned by 5, columns in units of 1/1024 and 8, y in units of 1/4. */
START_TEST(order_and_units)
{
	double y[N], a[N], b[N], sum = 0;
	const pd_regressor column[] = { { "ml", a, NULL }, { "hct", b, NULL } };
	pd_linear_data d = draws(yield, NULL), e = draws(y, NULL);
	pd_linear_fit *f, *g;

	for (int i = 0; i < N; i++) {
		int k = (i + 5) % N;

		y[i] = 4 * yield[k];
		a[i] = 1024 * ml[k];
		b[i] = hct[k] / 8;
	}
	e.column = column;
	ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
	ck_assert_int_eq(pd_linear(&e, &g, NULL), PD_OK);
	near_to("intercept", g->coef[0], 4 * f->coef[0], 4e-16);
	near_to("ml", g->coef[1], f->coef[1] / 256, 4e-16);
	near_to("hct", g->coef[2], f->coef[2] * 32, 4e-16);
	near_to("se ml", g->se[1], f->se[1] / 256, 1e-15);
	near_to("ss", g->residual_ss, 16 * f->residual_ss, 1e-15);
	near_to("f", g->f, f->f, 1e-15);
	near_to("condition", g->condition, f->condition, 1e-13);
	for (int i = 0; i < N; i++)
		sum += f->leverage[i];
	near_to("leverages", sum, 3, 1e-14);
	pd_linear_free(f);
	pd_linear_free(g);
}
END_TEST

/* A weight of 2 gives the coefficients of the row written twice. */
START_TEST(weight_is_repetition)
{
	double y[2 * N], a[2 * N], b[2 * N], w[N];
	size_t n = 0;
	pd_linear_fit *f, *g;

	for (size_t i = 0; i < N; i++) {
		w[i] = i % 3 == 0 ? 2 : 1;
		for (int k = 0; k < (int)w[i]; k++) {
			y[n] = yield[i];
			a[n] = ml[i];
			b[n++] = hct[i];
		}
	}
	const pd_regressor column[] = { { "ml", a, NULL }, { "hct", b, NULL } };
	pd_linear_data d = draws(yield, w), e = draws(y, NULL);

	e.n = n;
	e.column = column;
	ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
	ck_assert_int_eq(pd_linear(&e, &g, NULL), PD_OK);
	for (size_t j = 0; j < 3; j++)
		near_to("coef", f->coef[j], g->coef[j], 1e-14);
	near_to("ss", f->residual_ss, g->residual_ss, 1e-14);
	near_to("r2", f->r_squared, g->r_squared, 1e-14);
	pd_linear_free(f);
	pd_linear_free(g);
}
END_TEST

/* ---- robust ----------------------------------------------------------- */

static const struct {
	pd_robust_rule rule;
	double coef[3], se[3], scale, weight[N];
	size_t rejected;
} robust[] = {
	{ PD_HUBER,
	  { 55.939547334645795, -2.0304152467676944, 0.1801409276745978 },
	  { 8.4765059211750149, 0.19692615818364761, 0.22221299137088626 },
	  4.0563220248748069,
	  { 1, 1, 1, 1, 0.12512394851112049, 1, 1, 1, 1, 1, 1, 1 },
	  0 },
	{ PD_BISQUARE,
	  { 59.219449458666525, -1.9932007617520200, 0.057920174993073913 },
	  { 7.4028013140476041, 0.17198185621867315, 0.19406564919744854 },
	  2.9375933165769643,
	  { 0.82470279748445308, 0.98957073047860344, 0.92412623903135516,
	    0.98861340042403523, 0, 0.95266767467648994, 0.97353635463609678,
	    0.85593150680860386, 0.96484467218289749, 0.99675069168608144,
	    0.99249112430429909, 0.85282206186501885 },
	  1 },
};

/* R, MASS: rlm to convergence; row 5 is wild. */
START_TEST(wild_row)
{
	double y[N];
	pd_linear_data d = draws(y, NULL);
	pd_robust_fit *f;

	memcpy(y, yield, sizeof y);
	y[4] = 91.7;
	ck_assert_int_eq(pd_robust(&d, robust[_i].rule, &f, NULL), PD_OK);
	for (size_t j = 0; j < 3; j++) {
		near_to("coef", f->coef[j], robust[_i].coef[j], 1e-9);
		near_to("se", f->se[j], robust[_i].se[j], 1e-9);
	}
	for (size_t i = 0; i < N; i++)
		near_to("weight", f->weight[i], robust[_i].weight[i], 1e-9);
	near_to("scale", f->scale, robust[_i].scale, 1e-9);
	ck_assert_uint_eq(f->rejected, robust[_i].rejected);
	near_to("df", f->df, 9, 0);
	pd_robust_free(f);
}
END_TEST

/* Twice as wild changes the rejected row's residual and nothing else. */
START_TEST(wilder_row)
{
	double y[N];
	pd_linear_data d = draws(y, NULL);
	pd_robust_fit *f, *g;

	memcpy(y, yield, sizeof y);
	y[4] = 91.7;
	ck_assert_int_eq(pd_robust(&d, PD_BISQUARE, &f, NULL), PD_OK);
	y[4] = 102.3;
	ck_assert_int_eq(pd_robust(&d, PD_BISQUARE, &g, NULL), PD_OK);
	for (size_t j = 0; j < 3; j++)
		near_to("coef", g->coef[j], f->coef[j], 1e-10);
	near_to("scale", g->scale, f->scale, 1e-10);
	near_to("residual", g->residual[4] - f->residual[4], 10.6, 1e-9);
	pd_robust_free(f);
	pd_robust_free(g);
}
END_TEST

START_TEST(robust_refused)
{
	double y[N];
	pd_linear_data d = draws(y, NULL);
	pd_robust_fit *f = NULL;
	pd_error err = { 0 };

	for (int i = 0; i < N; i++)
		y[i] = 3 + 2 * ml[i];
	y[3] += 40;
	ck_assert_int_eq(pd_robust(&d, PD_BISQUARE, &f, &err), PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "spread is 0"));
	d.weight = weights;
	ck_assert_int_eq(pd_robust(&d, PD_HUBER, &f, &err), PD_DATA);
	d.weight = NULL;
	y[0] = NAN;
	ck_assert_int_eq(pd_robust(&d, PD_HUBER, &f, &err), PD_DATA);
	ck_assert_ptr_null(f);
}
END_TEST

/* ---- series ----------------------------------------------------------- */

enum { M = 11 };
static const double weekly[M] = { 4.1, 3.8, 4.4, 4.1, 5.2, 4.9,
	                          4.1, 5.6, 5.1, 6.3, 5.9 };

START_TEST(serial)
{
	/* R: acf, pacf, Box.test's statistics, upper tails of pchisq */
	static const double r[] = { 0.40700856734888141, 0.26990718705378386,
		                    0.10283198476915760 };
	static const double f[] = { 0.40700856734888119, 0.12494991262192347,
		                    -0.053757413188091428 };
	double acf[3], pacf[3];
	pd_portmanteau b;

	ck_assert_int_eq(pd_autocorrelation(weekly, M, 3, acf, pacf, NULL),
	                 PD_OK);
	for (int k = 0; k < 3; k++) {
		near_to("acf", acf[k], r[k], 1e-13);
		near_to("pacf", pacf[k], f[k], 1e-12);
	}
	ck_assert_int_eq(pd_portmanteau_test(weekly, M, 3, &b, NULL), PD_OK);
	near_to("Ljung-Box", b.ljung_box, 3.7154019340079882, 1e-13);
	near_to("its p", b.ljung_box_p, 0.29388083765112394, 1e-12);
	near_to("Box-Pierce", b.box_pierce, 2.7398830867126343, 1e-13);
	near_to("its p", b.box_pierce_p, 0.43349207501396569, 1e-12);
	/* by hand: (16 + 9 + 0.25) / (1 + 9 + 0 + 0.25) */
	near_to("Durbin-Watson",
	        pd_durbin_watson((double[]){ -1, 3, 0, 0.5 }, 4),
	        25.25 / 10.25, 1e-15);
	ck_assert(isnan(pd_durbin_watson((double[]){ 0, 0 }, 2)));
}
END_TEST

/* By hand: 55 pairs, 44 up, 8 down, 4.1 three times. */
START_TEST(drift)
{
	double t[M], turned[M];
	pd_drift d, e;

	ck_assert_int_eq(pd_drift_test(weekly, NULL, M, 0.95, &d, NULL), PD_OK);
	near_to("tau_b (R)", d.tau_b, 0.63576395320575096, 1e-14);
	near_to("s", d.s, 34, 0);
	near_to("var_s", d.var_s, (11 * 10 * 27 - 3 * 2 * 11) / 18.0, 1e-15);
	near_to("z", d.z, 33 / sqrt(d.var_s), 1e-15);
	ck_assert(d.low < d.slope && d.slope < d.high && d.low > 0);
	/* half the step, y upside down: slopes times -2 */
	for (int i = 0; i < M; i++) {
		t[i] = 7 + i / 2.0;
		turned[i] = -weekly[i];
	}
	ck_assert_int_eq(pd_drift_test(turned, t, M, 0.95, &e, NULL), PD_OK);
	near_to("slope", e.slope, -2 * d.slope, 1e-14);
	near_to("low", e.low, -2 * d.high, 1e-14);
	near_to("high", e.high, -2 * d.low, 1e-14);
	near_to("s", e.s, -d.s, 0);
	near_to("p", e.p, d.p, 1e-15);
}
END_TEST

START_TEST(bad_series)
{
	static double many[8001];
	double x[M], r[M];
	pd_drift d;
	pd_portmanteau b;

	memcpy(x, weekly, sizeof x);
	ck_assert_int_eq(pd_autocorrelation(x, M, 0, r, NULL, NULL), PD_DATA);
	ck_assert_int_eq(pd_autocorrelation(x, M, M, r, NULL, NULL), PD_DATA);
	ck_assert_int_eq(pd_portmanteau_test(x, M, 0, &b, NULL), PD_DATA);
	ck_assert_int_eq(pd_drift_test(x, NULL, 2, 0.95, &d, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_drift_test(x, NULL, 0, 0.95, &d, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_drift_test(x, NULL, M, 1, &d, NULL), PD_DATA);
	ck_assert_int_eq(pd_drift_test(many, NULL, 8001, 0.95, &d, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_drift_test(x, x, M, 0.95, &d, NULL), PD_DATA);
	x[3] = NAN;
	ck_assert_int_eq(pd_autocorrelation(x, M, 2, r, NULL, NULL), PD_DATA);
	for (int i = 0; i < M; i++)
		x[i] = 4.1;
	ck_assert_int_eq(pd_autocorrelation(x, M, 2, r, NULL, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_drift_test(x, NULL, M, 0.95, &d, NULL),
	                 PD_REFUSED);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("linear");
	TCase *t = tcase_create("least squares");

	tcase_add_test(t, weighted_fit);
	tcase_add_loop_test(t, degree_ten, 0, 2);
	tcase_add_test(t, far_from_zero);
	tcase_add_test(t, combinations_named);
	tcase_add_test(t, bad_rows);
	tcase_add_test(t, limits_of_fit);
	tcase_add_test(t, order_and_units);
	tcase_add_test(t, weight_is_repetition);
	suite_add_tcase(s, t);
	t = tcase_create("robust");
	tcase_add_loop_test(t, wild_row, 0, sizeof robust / sizeof *robust);
	tcase_add_test(t, wilder_row);
	tcase_add_test(t, robust_refused);
	suite_add_tcase(s, t);
	t = tcase_create("series");
	tcase_add_test(t, serial);
	tcase_add_test(t, drift);
	tcase_add_test(t, bad_series);
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
