/*
 * check_curve.c - nonlinear least squares, bends and plateaus. Certified
 * values: NIST/ITL Statistical Reference Datasets (StRD), public domain, data
 * and both starts as printed there. Values marked R: R 4.2.2, nls polished by
 * Gauss-Newton steps.
 */
#include "curve_models.h"
#include "stats/curve.h"
#include "stats/linear.h"
#include "stats/quantile.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void near_to(const char *what, double got, double want, double relative)
{
	ck_assert_msg(fabs(got - want) <= relative * fmax(fabs(want), want == 0),
	              "%s: got %.17g, wanted %.17g", what, got, want);
}

static const char *const names[] = { "b1", "b2", "b3", "b4" };

/* ---- certified sets --------------------------------------------------- */

static const double boxbod_y[] = { 109, 149, 149, 191, 213, 224 };
static const double boxbod_x[] = { 1, 2, 3, 5, 7, 10 };
static const double danwood_y[] = { 2.138, 3.421, 3.597, 4.34, 4.882, 5.66 };
static const double danwood_x[] = { 1.309, 1.471, 1.49, 1.565, 1.611, 1.68 };
static const double rat42_y[] = { 8.93,  10.8,  18.59, 22.33, 39.35,
	                          56.11, 61.73, 64.62, 67.08 };
static const double rat42_x[] = { 9, 14, 21, 28, 42, 57, 63, 70, 79 };
static const double mgh09_y[] = { 0.1957, 0.1947, 0.1735, 0.16,
	                          0.0844, 0.0627, 0.0456, 0.0342,
	                          0.0323, 0.0235, 0.0246 };
static const double mgh09_x[] = { 4,      2,   1,      0.5,    0.25,  0.167,
	                          0.125, 0.1, 0.0833, 0.0714, 0.0625 };

static const struct {
	const char *name;
	pd_curve_model *model;
	size_t n, p;
	const double *x, *y;
	double start[2][4], theta[4], se[4], ss, sd;
} certified[] = {
	{ "BoxBOD", curve_rise, 6, 2, boxbod_x, boxbod_y,
	  { { 1, 1 }, { 100, 0.75 } },
	  { 2.1380940889E+02, 5.4723748542E-01 },
	  { 1.2354515176E+01, 1.0455993237E-01 },
	  1.1680088766E+03, 1.7088072423E+01 },
	{ "DanWood", curve_power, 6, 2, danwood_x, danwood_y,
	  { { 1, 5 }, { 0.7, 4 } },
	  { 7.6886226176E-01, 3.8604055871E+00 },
	  { 1.8281973860E-02, 5.1726610913E-02 },
	  4.3173084083E-03, 3.2853114039E-02 },
	{ "Rat42", curve_logistic, 9, 3, rat42_x, rat42_y,
	  { { 100, 1, 0.1 }, { 75, 2.5, 0.07 } },
	  { 7.2462237576E+01, 2.6180768402E+00, 6.7359200066E-02 },
	  { 1.7340283401E+00, 8.8295217536E-02, 3.4465663377E-03 },
	  8.0565229338E+00, 1.1587725499E+00 },
	{ "MGH09", curve_enzyme, 11, 4, mgh09_x, mgh09_y,
	  { { 25, 39, 41.5, 39 }, { 0.25, 0.39, 0.415, 0.39 } },
	  { 1.9280693458E-01, 1.9128232873E-01, 1.2305650693E-01,
	    1.3606233068E-01 },
	  { 1.1435312227E-02, 1.9633220911E-01, 8.0842031232E-02,
	    9.0025542308E-02 },
	  3.0750560385E-04, 6.6279236551E-03 },
};
enum { CERTIFIED = sizeof certified / sizeof *certified };

START_TEST(certified_sets)
{
	struct curve_x at = { certified[_i].n, certified[_i].x, NULL };
	const pd_nonlinear_data d = { certified[_i].n, certified[_i].p,
		                      certified[_i].y, certified[_i].model,
		                      &at, names };

	for (int s = 0; s < 2; s++) {
		pd_nonlinear_fit *f = NULL;
		pd_error err = { 0 };

		ck_assert_msg(pd_nonlinear(&d, certified[_i].start[s], &f,
		                           &err) == PD_OK,
		              "%s from %d: %s", certified[_i].name, s + 1,
		              err.text);
		for (size_t j = 0; j < d.p; j++) {
			near_to("theta", f->theta[j], certified[_i].theta[j],
			        1e-10);
			near_to("se", f->se[j], certified[_i].se[j], 1e-10);
		}
		near_to("ss", f->residual_ss, certified[_i].ss, 1e-10);
		near_to("sd", f->residual_sd, certified[_i].sd, 1e-10);
		ck_assert(f->offset < 1e-6);
		pd_nonlinear_free(f);
	}
}
END_TEST

/* The sum of squares at the limits of b2, the rest of BoxBOD's curve being
 * linear there, is the one the definition asks for. */
START_TEST(profile_by_hand)
{
	struct curve_x at = { 6, boxbod_x, NULL };
	const pd_nonlinear_data d = { 6, 2, boxbod_y, curve_rise, &at, names };
	double part[6], cut, limit[2];
	pd_nonlinear_fit *f;
	pd_estimate e;

	ck_assert_int_eq(pd_nonlinear(&d, certified[0].start[1], &f, NULL),
	                 PD_OK);
	ck_assert_int_eq(pd_nonlinear_profile(&d, f, 1, 0.9, &e, NULL), PD_OK);
	cut = f->residual_ss * (1 + pd_f_quantile(0.9, 1, 4) / 4);
	limit[0] = e.low;
	limit[1] = e.high;
	ck_assert(e.low < e.value && e.value < e.high);
	for (int k = 0; k < 2; k++) {
		const pd_regressor column = { "part", part, NULL };
		const pd_linear_data l = { .n = 6, .y = boxbod_y,
			                   .n_columns = 1, .column = &column };
		pd_linear_fit *g;

		for (int i = 0; i < 6; i++)
			part[i] = -expm1(-limit[k] * boxbod_x[i]);
		ck_assert_int_eq(pd_linear(&l, &g, NULL), PD_OK);
		near_to("ss at the limit", g->residual_ss, cut, 1e-10);
		pd_linear_free(g);
	}
	/* at 99.9 % the curve may rise at once: no upper end */
	ck_assert_int_eq(pd_nonlinear_profile(&d, f, 1, 0.999, &e, NULL),
	                 PD_OK);
	ck_assert(isinf(e.high) && e.high > 0);
	pd_nonlinear_free(f);
}
END_TEST

static int two_of_one(const double *b, void *context, double *value,
                      double *gradient)
{
	const struct curve_x *c = context;

	for (size_t i = 0; i < c->n; i++) {
		value[i] = (b[0] + b[1]) * c->x[i];
		if (gradient)
			gradient[2 * i] = gradient[2 * i + 1] = c->x[i];
	}
	return 0;
}

START_TEST(nonlinear_refused)
{
	struct curve_x at = { 6, boxbod_x, NULL };
	double y[6] = { 1, 2, 2.5, 5, 7.5, 10 }, start[2] = { 1, NAN };
	pd_nonlinear_data d = { 6, 2, y, two_of_one, &at, names };
	pd_nonlinear_fit *f = NULL;
	pd_error err = { 0 };

	ck_assert_int_eq(pd_nonlinear(&d, start, &f, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "'b2'"));
	start[1] = 2;
	ck_assert_int_eq(pd_nonlinear(&d, start, &f, &err), PD_REFUSED);
	ck_assert_msg(strstr(err.text, "told apart") &&
	                  strstr(err.text, "'b2' (of 'b1')"),
	              "%s", err.text);
	d.model = curve_root;
	start[1] = -1;
	ck_assert_int_eq(pd_nonlinear(&d, start, &f, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "domain"));
	y[2] = INFINITY;
	ck_assert_int_eq(pd_nonlinear(&d, start, &f, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 3"));
	d.n = 2;
	ck_assert_int_eq(pd_nonlinear(&d, start, &f, &err), PD_REFUSED);
	ck_assert_ptr_null(f);
}
END_TEST

/* ---- bends ------------------------------------------------------------ */

enum { N = 16 };
static const double volume[N] = { 1, 2, 2, 3.5, 5, 6, 6, 8,
	                          9.5, 11, 12, 14, 14, 17, 20, 22 };
/* rising, then level near 9.3 ml; invented */
static const double cells[N] = { 14.1, 20.7, 18.9, 29.4, 37.2, 43.1,
	                         44.9, 55.2, 61.4, 63.7, 60.9, 62.2,
	                         65.1, 62.8, 61.5, 64.3 };

/* Least sum of squares with the bend held at c. */
static double held(pd_bend shape, double c)
{
	double bent[N];
	const pd_regressor column[] = { { "bent", bent, NULL },
		                        { "v", volume, NULL } };
	const pd_linear_data d = { .n = N, .y = cells, .intercept = 1,
		                   .n_columns = shape == PD_BEND_LEVEL ? 1 : 2,
		                   .column = column };
	pd_linear_fit *f;
	double ss;

	for (int i = 0; i < N; i++)
		bent[i] = shape == PD_BEND_LEVEL ? fmin(volume[i], c)
		                                 : fmax(volume[i] - c, 0);
	ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
	ss = f->residual_ss;
	pd_linear_free(f);
	return ss;
}

/* Against a grid of 2,000 bends: none is better, and those within the limit
 * lie within the limits. */
START_TEST(bend_on_a_grid)
{
	static const pd_bend shapes[] = { PD_BEND_LEVEL, PD_BEND_SLOPE };
	pd_bend shape = shapes[_i];
	pd_breakpoint b;
	double cut;

	ck_assert_int_eq(pd_breakpoint_fit(volume, cells, N, shape, 0.95, &b,
	                                   NULL), PD_OK);
	cut = b.residual_ss *
	      (1 + pd_f_quantile(0.95, 1, b.residual_df) / b.residual_df);
	near_to("df", b.residual_df, shape == PD_BEND_LEVEL ? 13 : 12, 0);
	near_to("ss", held(shape, b.bend.value), b.residual_ss, 1e-12);
	near_to("low", held(shape, b.bend.low), cut, 1e-10);
	near_to("high", held(shape, b.bend.high), cut, 1e-10);
	for (int k = 0; k <= 2000; k++) {
		double c = 2 + 0.009 * k, ss = held(shape, c);

		ck_assert(ss >= b.residual_ss * (1 - 1e-12));
		ck_assert_msg(ss > cut || (c >= b.bend.low - 1e-9 &&
		                           c <= b.bend.high + 1e-9),
		              "bend %g within the limit, limits %g %g", c,
		              b.bend.low, b.bend.high);
	}
	near_to("height", b.level.value,
	        b.intercept.value + b.slope.value * b.bend.value, 1e-13);
	if (shape == PD_BEND_LEVEL)
		near_to("change", b.change.value, -b.slope.value, 0);
	ck_assert(isnan(b.bend.p) && b.bend.se > 0 && b.level.se > 0);
}
END_TEST

/*
 * With the bend between two volumes the plateau's height is the mean above it
 * and its se that of a mean; the slope and its se are those of the points
 * below alone, but for the common residual sd.
 */
START_TEST(bend_by_parts)
{
	double mean = 0, n = 0;
	size_t below = 0;
	pd_breakpoint b;
	pd_linear_fit *f;

	ck_assert_int_eq(pd_breakpoint_fit(volume, cells, N, PD_BEND_LEVEL,
	                                   0.95, &b, NULL), PD_OK);
	for (size_t i = 0; i < N; i++) {
		ck_assert(fabs(volume[i] - b.bend.value) > 1e-3);
		below += volume[i] < b.bend.value;
		mean += volume[i] > b.bend.value ? cells[i] : 0;
		n += volume[i] > b.bend.value;
	}
	ck_assert(below >= 3 && n >= 3);
	near_to("height", b.level.value, mean / n, 1e-12);
	near_to("its se", b.level.se, b.residual_sd / sqrt(n), 1e-12);
	ck_assert_int_eq(pd_polynomial(volume, cells, below, 1, 1, &f,
	                               NULL), PD_OK);
	near_to("slope", b.slope.value, f->coef[1], 1e-12);
	near_to("its se", b.slope.se,
	        f->se[1] / f->residual_sd * b.residual_sd, 1e-12);
	pd_linear_free(f);
}
END_TEST

/* Rows turned, v in other units and from another zero. */
START_TEST(bend_units)
{
	static const pd_bend shapes[] = { PD_BEND_LEVEL, PD_BEND_SLOPE };
	double v[N], y[N];
	pd_breakpoint b, c;

	for (int i = 0; i < N; i++) {
		v[i] = 300 + 0.25 * volume[(i + 7) % N];
		y[i] = -3 * cells[(i + 7) % N];
	}
	ck_assert_int_eq(pd_breakpoint_fit(volume, cells, N, shapes[_i], 0.9,
	                                   &b, NULL), PD_OK);
	ck_assert_int_eq(pd_breakpoint_fit(v, y, N, shapes[_i], 0.9, &c, NULL),
	                 PD_OK);
	near_to("bend", c.bend.value - 300, b.bend.value / 4, 1e-11);
	near_to("low", c.bend.low - 300, b.bend.low / 4, 1e-11);
	near_to("high", c.bend.high - 300, b.bend.high / 4, 1e-11);
	near_to("se", c.bend.se, b.bend.se / 4, 1e-10);
	near_to("slope", c.slope.value, -12 * b.slope.value, 1e-10);
	near_to("ss", c.residual_ss, 9 * b.residual_ss, 1e-11);
}
END_TEST

START_TEST(open_ends)
{
	double y[N];
	pd_breakpoint b;
	pd_error err = { 0 };

	/* straight but for noise of a fixed pattern: nothing closes it */
	for (int i = 0; i < N; i++)
		y[i] = 5 + 2 * volume[i] + (i * 7 % 5 - 2);
	ck_assert_int_eq(pd_breakpoint_fit(volume, y, N, PD_BEND_LEVEL, 0.95,
	                                   &b, NULL), PD_OK);
	ck_assert(isinf(b.bend.high) && b.bend.high > 0);
	/* flat but for noise: no bend is as good as any */
	for (int i = 0; i < N; i++)
		y[i] = 5 + (i * 7 % 5 - 2);
	ck_assert_int_eq(pd_breakpoint_fit(volume, y, N, PD_BEND_SLOPE, 0.95,
	                                   &b, NULL), PD_OK);
	ck_assert(isinf(b.bend.low) && isinf(b.bend.high));
	for (int i = 0; i < N; i++)
		y[i] = 5;
	ck_assert_int_eq(pd_breakpoint_fit(volume, y, N, PD_BEND_LEVEL, 0.95,
	                                   &b, &err), PD_REFUSED);
	ck_assert_int_eq(pd_breakpoint_fit(volume, cells, 5, PD_BEND_LEVEL,
	                                   1.5, &b, &err), PD_DATA);
	ck_assert_int_eq(pd_breakpoint_fit(volume, cells, 4, PD_BEND_LEVEL,
	                                   0.95, &b, &err), PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "3 distinct"));
	ck_assert_int_eq(pd_breakpoint_fit(volume, cells, 3, PD_BEND_LEVEL,
	                                   0.95, &b, &err), PD_REFUSED);
	y[4] = NAN;
	ck_assert_int_eq(pd_breakpoint_fit(volume, y, N, PD_BEND_LEVEL, 0.95,
	                                   &b, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 5"));
}
END_TEST

/* ---- plateaus --------------------------------------------------------- */

/* Without noise the curve comes back. */
START_TEST(plateau_found)
{
	double y[N];
	pd_plateau o;

	for (int i = 0; i < N; i++)
		y[i] = 3.75 - 61.5 * expm1(-volume[i] / 7.25);
	ck_assert_int_eq(pd_plateau_fit(volume, y, N, 1, 0.95, &o, NULL),
	                 PD_OK);
	near_to("rise", o.wald[PD_PLATEAU_RISE].value, 61.5, 1e-12);
	near_to("pace", o.wald[PD_PLATEAU_PACE].value, 7.25, 1e-12);
	near_to("base", o.wald[PD_PLATEAU_BASE].value, 3.75, 1e-11);
}
END_TEST

START_TEST(plateau_limits)
{
	/* R: rise, pace, base */
	static const double theta[] = { 68.66557580247616, 5.111094162912271,
		                        -1.73685652965515 };
	static const double se[] = { 3.389058144063745, 0.6492286827335056,
		                     3.861496699114865 };
	pd_plateau o;
	double part[N], cut;

	ck_assert_int_eq(pd_plateau_fit(volume, cells, N, 1, 0.95, &o, NULL),
	                 PD_OK);
	near_to("ss", o.residual_ss, 132.5177024721475, 1e-13);
	for (int j = 0; j < PD_PLATEAU_N; j++) {
		near_to("theta", o.wald[j].value, theta[j], 1e-10);
		near_to("se", o.wald[j].se, se[j], 1e-10);
	}
	cut = o.residual_ss *
	      (1 + pd_f_quantile(0.95, 1, o.residual_df) / o.residual_df);
	for (int k = 0; k < 2; k++) {
		const pd_estimate *e = &o.profile[PD_PLATEAU_PACE];
		double pace = k ? e->high : e->low;
		const pd_regressor column = { "part", part, NULL };
		const pd_linear_data d = { .n = N, .y = cells, .intercept = 1,
			                   .n_columns = 1, .column = &column };
		pd_linear_fit *f;

		for (int i = 0; i < N; i++)
			part[i] = -expm1(-volume[i] / pace);
		ck_assert_int_eq(pd_linear(&d, &f, NULL), PD_OK);
		near_to("ss at the limit", f->residual_ss, cut, 1e-10);
		pd_linear_free(f);
	}
	for (int j = 0; j < PD_PLATEAU_N; j++)
		ck_assert(o.profile[j].low < o.wald[j].value &&
		          o.profile[j].high > o.wald[j].value);
	ck_assert_int_eq(pd_plateau_fit(volume, cells, N, 0, 0, &o, NULL),
	                 PD_DATA);
	ck_assert_int_eq(pd_plateau_fit(volume, cells, 2, 0, 0.9, &o, NULL),
	                 PD_REFUSED);
	ck_assert_int_eq(pd_plateau_fit(volume + 1, cells, 2, 0, 0.9, &o, NULL),
	                 PD_REFUSED);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("curve");
	TCase *t = tcase_create("nonlinear");

	tcase_add_loop_test(t, certified_sets, 0, CERTIFIED);
	tcase_add_test(t, profile_by_hand);
	tcase_add_test(t, nonlinear_refused);
	suite_add_tcase(s, t);
	t = tcase_create("bends");
	tcase_add_loop_test(t, bend_on_a_grid, 0, 2);
	tcase_add_test(t, bend_by_parts);
	tcase_add_loop_test(t, bend_units, 0, 2);
	tcase_add_test(t, open_ends);
	suite_add_tcase(s, t);
	t = tcase_create("plateaus");
	tcase_add_test(t, plateau_found);
	tcase_add_test(t, plateau_limits);
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
