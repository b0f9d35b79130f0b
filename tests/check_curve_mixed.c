/*
 * check_curve_mixed.c - bends and plateaus for rows that share patients.
 *
 * Known answers: R 4.2.2 with lme4 1.1-31 (the bend by a grid and a line
 * search), pbkrtest 0.5.2, nlme 3.1-162; without patients the rooms of
 * curve.h; simulation with a known truth.
 */
#include "stats/curve.h"
#include "stats/curve_mixed.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { GROUPS = 12, EACH = 6, N = GROUPS * EACH, P = 2 };

static pd_arena *arena;
static pd_error err;
static double x[N * P], v[N], y[N];
static int32_t group[N];

static void near_to(const char *what, double got, double want, double tol)
{
	if (got == want || fabs(got - want) <= tol * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static double spread_out(int k, double shift)
{
	double at = (k + 1) * 0.6180339887498949 + shift;

	return pd_normal_quantile((at - floor(at)) * 0.98 + 0.01);
}

static double mean_of(int shape, double dose)
{
	switch (shape) {
	case PD_CURVE_LEVEL:
		return 3 + 0.11 * fmin(dose - 17.5, 0);
	case PD_CURVE_SLOPE:
		return 3 + 0.12 * (dose - 15) - 0.09 * fmax(dose - 15, 0);
	default:
		return 1 - 2.6 * expm1(-dose / 9);
	}
}

static void make(int shape)
{
	for (int i = 0; i < N; i++) {
		int g = i / EACH;
		double at = i * (i % 41) * 0.3819660113 + 0.27 * g;

		group[i] = g;
		v[i] = floor(2 + 34 * (at - floor(at)));
		x[i * P] = 1;
		x[i * P + 1] = (i + g) % 2;
		y[i] = mean_of(shape, v[i]) + 0.3 * x[i * P + 1] +
		       0.4 * spread_out(g, 0.31) +
		       0.18 * spread_out(i * 11 % N, 0.77);
	}
}

static void set_up(void)
{
	pd_base_init();
	arena = pd_arena_new();
}

static void take_down(void)
{
	pd_arena_free(arena);
}

static pd_curve_mixed_spec spec_of(int shape, pd_curve_cut cut)
{
	return (pd_curve_mixed_spec){
		.model = { .n = N, .p = P, .x = x, .y = y, .depth = 1,
		           .group = { group } },
		.v = v, .shape = (pd_curve_shape)shape, .level = 0.95,
		.cut = cut,
	};
}

static pd_curve_mixed fit_of(const pd_curve_mixed_spec *spec)
{
	pd_curve_mixed o;

	if (pd_curve_mixed_fit(arena, spec, &o, &err) != PD_OK)
		ck_abort_msg("%s", err.text);
	return o;
}

/* ---- known answers ------------------------------------------------------ */

static const struct known {
	double turn, deviance, beta[4], sd, scale, low, high;
	double se[5], df[5];   /* constant, other, slope[, change], turn      */
	double straight, flat;
} known[] = {
	{ 17.56441777124, -11.86321822483,
	  { 3.010991997209, 0.2958955739261, 0.1179566604437 },
	  0.3663585496459, 0.1680688985039, 16.48618248568, 18.72190269946,
	  { 0.1161410452099, 0.04081629120254, 0.007286446253296,
	    0.6641582597123 },
	  { 12.47956173943, 57.00405222596, 57.67766481245, 57.81980606993 },
	  75.96542105444, 156.0149610575 },
	{ 15.5123080336, -12.01437113804,
	  { 3.023311826379, 0.2954438443268, 0.1250447915579,
	    -0.09445339465727 },
	  0.3659170509602, 0.1678976053351, 13.75138323172, 17.65728338578,
	  { 0.133785785765, 0.04113483212061, 0.008887270884885,
	    0.01024639340828, 0.9588729514144 },
	  { 21.27885887315, 56.00338947193, 56.95566581837, 56.84640405846,
	    56.73272407367 },
	  50.69554030526, 166.2313319813 },
	{ 9.442590673123, -11.49539922819, /* nlme, but the limits and errors */
	  { 0.8801035373277, 0.2963645372037, 0.2931229376938 },
	  0.3665381, 0.1685655135086, 7.793124711206, 11.69003543591,
	  { 0.1730564597432, 0.04092067311519, 0.03711403751414,
	    0.9898428585533 },
	  { 44.74355239168, 57.00437789981, 57.7228473253, 57.69912891203 },
	  61.35098474019, 153.9951478679 },
};

START_TEST(mixed_known)
{
	const struct known *r = &known[_i];
	size_t last = _i == PD_CURVE_SLOPE ? 4 : 3;
	pd_curve_mixed_spec spec;
	pd_curve_mixed o;

	make(_i);
	spec = spec_of(_i, PD_CUT_LARGE);
	o = fit_of(&spec);
	near_to("turn", o.turn.value, r->turn, 1e-6);
	near_to("deviance", o.deviance, r->deviance, 2e-8);
	near_to("straight", o.straight, r->straight, 1e-9);
	near_to("flat", o.flat, r->flat, 1e-9);
	near_to("constant", o.other[0].value, r->beta[0], 1e-6);
	near_to("other", o.other[1].value, r->beta[1], 1e-6);
	near_to("slope", o.slope.value, r->beta[2], 1e-6);
	near_to("sd", sqrt(o.covariance[0][0]), r->sd, 1e-6);
	near_to("scale", o.residual_sd, r->scale, 1e-6);
	near_to("low", o.turn.low, r->low, 1e-6);
	near_to("high", o.turn.high, r->high, 1e-6);
	near_to("constant se", o.other[0].se, r->se[0], 1e-5);
	near_to("constant df", o.other[0].df, r->df[0], 1e-5);
	near_to("other se", o.other[1].se, r->se[1], 1e-5);
	near_to("slope se", o.slope.se, r->se[2], 1e-5);
	near_to("slope df", o.slope.df, r->df[2], 1e-5);
	near_to("turn se", o.turn.se, r->se[last], 1e-5);
	near_to("turn df", o.turn.df, r->df[last], 1e-5);
	if (_i == PD_CURVE_SLOPE) {
		near_to("change", o.change.value, r->beta[3], 1e-6);
		near_to("change se", o.change.se, r->se[3], 1e-5);
		near_to("after", o.after.value, r->beta[2] + r->beta[3], 1e-6);
	}
	if (_i == PD_CURVE_APPROACH)
		near_to("rise", o.rise.value, r->beta[2] * r->turn, 1e-6);
}
END_TEST

/* ---- no patients: the rooms of curve.h ---------------------------------- */

START_TEST(without_patients)
{
	double ones[N];
	pd_curve_mixed_spec spec;
	pd_curve_mixed o;
	pd_breakpoint b;
	double tight = 1e-7;

	make(_i);
	for (int i = 0; i < N; i++)
		ones[i] = 1;
	spec = spec_of(_i, PD_CUT_SMALL);
	spec.model.depth = 0;
	spec.model.x = ones;
	spec.model.p = 1;
	o = fit_of(&spec);
	ck_assert_int_eq(pd_breakpoint_fit(v, y, N, _i == PD_CURVE_LEVEL ?
	                                   PD_BEND_LEVEL : PD_BEND_SLOPE, 0.95,
	                                   &b, &err), PD_OK);
	/* at a bend on a dose the line's own errors take the scatter left
	 * with the bend free to move: a little smaller */
	for (int i = 0; i < N; i++)
		tight = v[i] == b.bend.value ? 2e-2 : tight;
	near_to("bend", o.turn.value, b.bend.value, 1e-8);
	near_to("se", o.turn.se, b.bend.se, tight);
	near_to("df", o.turn.df, b.bend.df, 1e-7);
	near_to("low", o.turn.low, b.bend.low, 1e-8);
	near_to("high", o.turn.high, b.bend.high, 1e-8);
	near_to("slope", o.slope.value, b.slope.value, 1e-8);
	near_to("slope se", o.slope.se, b.slope.se, tight);
	near_to("change", o.change.value, b.change.value, 1e-8);
	near_to("change se", o.change.se, b.change.se, tight);
	near_to("height", o.other[0].value, b.level.value, 1e-8);
	if (_i == PD_CURVE_LEVEL)
		near_to("height se", o.other[0].se, b.level.se, tight);
	near_to("deviance", o.deviance,
	        N * (log(2 * M_PI * b.residual_ss / N) + 1), 1e-10);
}
END_TEST

START_TEST(plateau_without_patients)
{
	double ones[N];
	pd_curve_mixed_spec spec;
	pd_curve_mixed o;
	pd_plateau b;

	make(PD_CURVE_APPROACH);
	for (int i = 0; i < N; i++)
		ones[i] = 1;
	spec = spec_of(PD_CURVE_APPROACH, PD_CUT_SMALL);
	spec.model.depth = 0;
	spec.model.x = ones;
	spec.model.p = 1;
	o = fit_of(&spec);
	ck_assert_int_eq(pd_plateau_fit(v, y, N, 1, 0.95, &b, &err), PD_OK);
	near_to("pace", o.turn.value, b.wald[PD_PLATEAU_PACE].value, 1e-7);
	near_to("se", o.turn.se, b.wald[PD_PLATEAU_PACE].se, 1e-6);
	near_to("low", o.turn.low, b.profile[PD_PLATEAU_PACE].low, 1e-7);
	near_to("high", o.turn.high, b.profile[PD_PLATEAU_PACE].high, 1e-7);
	near_to("rise", o.rise.value, b.wald[PD_PLATEAU_RISE].value, 1e-7);
	near_to("rise se", o.rise.se, b.wald[PD_PLATEAU_RISE].se, 1e-6);
	near_to("base", o.other[0].value, b.wald[PD_PLATEAU_BASE].value, 1e-7);
	near_to("base se", o.other[0].se, b.wald[PD_PLATEAU_BASE].se, 1e-6);
}
END_TEST

/* ---- properties --------------------------------------------------------- */

/* The lowest point of a fine grid of the profile; the limits stand at the cut;
 * nothing within the cut beyond them. */
START_TEST(profile_on_a_grid)
{
	pd_curve_mixed_spec spec;
	pd_curve_mixed o;
	double d;

	make(_i);
	spec = spec_of(_i, _i ? PD_CUT_LARGE : PD_CUT_SMALL);
	o = fit_of(&spec);
	ck_assert(o.pieces == 1 && o.deviance < o.straight &&
	          o.straight < o.flat);
	for (double t = 3; t < 34; t += 0.083) {
		ck_assert_int_eq(pd_curve_mixed_deviance(&spec, t, &d, &err),
		                 PD_OK);
		ck_assert(d >= o.deviance - 1e-9);
		if (t < o.turn.low || t > o.turn.high)
			ck_assert(d > o.deviance + o.cut);
		else
			ck_assert(d < o.deviance + o.cut);
	}
	for (int side = 0; side < 2; side++) {
		ck_assert_int_eq(pd_curve_mixed_deviance(
		    &spec, side ? o.turn.high : o.turn.low, &d, &err), PD_OK);
		ck_assert(fabs(d - o.deviance - o.cut) < 1e-6);
	}
}
END_TEST

START_TEST(order_and_units)
{
	pd_curve_mixed_spec spec, other;
	pd_curve_mixed a, b;
	double ox[N * P], ov[N], oy[N];
	int32_t og[N];
	double shift = _i == PD_CURVE_APPROACH ? 0 : 1e6;

	make(_i);
	spec = spec_of(_i, PD_CUT_SMALL);
	a = fit_of(&spec);
	for (int i = 0; i < N; i++) {
		int k = (i * 23 + 5) % N;

		ox[i * P] = 1;
		ox[i * P + 1] = 1 - x[k * P + 1];
		ov[i] = shift + v[k] / 1000;
		oy[i] = 1e-9 * (5 - y[k]);
		og[i] = 77 - 3 * group[k];
	}
	other = spec;
	other.model.x = ox;
	other.model.y = oy;
	other.model.group[0] = og;
	other.v = ov;
	b = fit_of(&other);
	near_to("turn", 1000 * (b.turn.value - shift), a.turn.value, 3e-6);
	near_to("low", 1000 * (b.turn.low - shift), a.turn.low, 3e-6);
	near_to("high", 1000 * (b.turn.high - shift), a.turn.high, 3e-6);
	near_to("se", 1000 * b.turn.se, a.turn.se, 1e-5);
	near_to("slope", 1e6 * b.slope.value, -a.slope.value, 1e-5);
	near_to("swap", 1e9 * b.other[1].value, a.other[1].value, 1e-5);
	near_to("swap df", b.other[1].df, a.other[1].df, 1e-4);
}
END_TEST

/* Values that a curve does not bend: open ends or refused. */
START_TEST(open_ends)
{
	pd_curve_mixed_spec spec;
	pd_curve_mixed o;
	pd_status st;

	make(0);
	for (int i = 0; i < N; i++)
		y[i] = 2 + 0.05 * v[i] + 0.4 * spread_out(group[i], 0.31) +
		       0.3 * spread_out(i * 11 % N, 0.77);
	spec = spec_of(PD_CURVE_LEVEL, PD_CUT_SMALL);
	o = fit_of(&spec);
	ck_assert(isinf(o.turn.high) && o.turn.high > 0);
	ck_assert(o.turn.low > v[0] - 100);
	spec = spec_of(PD_CURVE_APPROACH, PD_CUT_SMALL);
	st = pd_curve_mixed_fit(arena, &spec, &o, &err);
	ck_assert(st == PD_REFUSED || (st == PD_OK && isinf(o.turn.high)));
	for (int i = 0; i < N; i++)
		y[i] = 2 + 0.4 * spread_out(group[i], 0.31) +
		       0.3 * spread_out(i * 11 % N, 0.77);
	spec = spec_of(PD_CURVE_SLOPE, PD_CUT_SMALL);
	st = pd_curve_mixed_fit(arena, &spec, &o, &err);
	if (st == PD_OK)
		ck_assert(isinf(o.turn.low) && isinf(o.turn.high));
	else
		ck_assert_int_eq(st, PD_REFUSED);
}
END_TEST

/* Two bends far apart: the set of turns is in two pieces, and said to be. */
START_TEST(two_valleys)
{
	pd_curve_mixed_spec spec;
	pd_curve_mixed o;
	double d;

	make(0);
	for (int i = 0; i < N; i++)
		y[i] = 3 + 0.12 * fmin(v[i], 10) +
		       0.105 * fmax(v[i] - 26, 0) +
		       0.4 * spread_out(group[i], 0.31) +
		       0.2 * spread_out(i * 11 % N, 0.77);
	spec = spec_of(PD_CURVE_SLOPE, PD_CUT_SMALL);
	o = fit_of(&spec);
	ck_assert_int_eq(pd_curve_mixed_deviance(&spec, 18, &d, &err), PD_OK);
	ck_assert(d > o.deviance + o.cut);
	ck_assert_uint_eq(o.pieces, 2);
	ck_assert(o.turn.low < 10 && o.turn.high > 26);
}
END_TEST

/* Patients that do not differ: variance 0, the curve of single rows. */
START_TEST(zero_variance)
{
	pd_curve_mixed_spec spec, plain;
	pd_curve_mixed o, q;

	make(_i);
	for (int i = 0; i < N; i++) /* the same scatter in every patient */
		y[i] = mean_of(_i, v[i]) +
		       0.2 * spread_out((i + i / EACH) % EACH, 0.4);
	spec = spec_of(_i, PD_CUT_LARGE);
	plain = spec;
	plain.model.depth = 0;
	o = fit_of(&spec);
	q = fit_of(&plain);
	if (o.covariance[0][0] == 0) {
		near_to("deviance", o.deviance, q.deviance, 1e-10);
		near_to("turn", o.turn.value, q.turn.value, 1e-8);
		near_to("low", o.turn.low, q.turn.low, 1e-7);
	}
	ck_assert(o.covariance[0][0] == 0);
}
END_TEST

/* Many rows: fits that begin where the last one ended give the same. */
START_TEST(many_rows)
{
	enum { MANY = 400, ALL = MANY * EACH };
	double *mx = calloc(ALL * P, sizeof *mx);
	double *mv = calloc(2 * ALL, sizeof *mv), *my = mv + ALL, d;
	int32_t *mg = calloc(ALL, sizeof *mg);
	pd_curve_mixed_spec spec = spec_of(_i, PD_CUT_LARGE);
	pd_curve_mixed o;
	static const double truth[] = { 17.5, 15, 9 };
	pd_stream draw;

	ck_assert(mx && mv && mg);
	pd_stream_init(&draw, 3, (uint64_t)_i);
	for (int g = 0; g < MANY; g++) {
		double u = 0.4 * pd_stream_normal(&draw);

		for (int i = g * EACH; i < (g + 1) * EACH; i++) {
			mg[i] = g;
			mx[i * P] = 1;
			mx[i * P + 1] = i % 2;
			mv[i] = 2 + 34 * pd_stream_uniform(&draw);
			my[i] = mean_of(_i, mv[i]) + u +
			        0.2 * pd_stream_normal(&draw);
		}
	}
	spec.model.n = ALL;
	spec.model.x = mx;
	spec.model.y = my;
	spec.model.group[0] = mg;
	spec.v = mv;
	o = fit_of(&spec);
	ck_assert(fabs(o.turn.value - truth[_i]) < 4 * o.turn.se);
	for (int side = -1; side <= 1; side++) {
		double at = side < 0 ? o.turn.low : side ? o.turn.high
		                                         : o.turn.value;

		ck_assert_int_eq(pd_curve_mixed_deviance(&spec, at, &d, &err),
		                 PD_OK);
		ck_assert(fabs(d - o.deviance - (side ? o.cut : 0)) < 1e-5);
	}
	free(mx);
	free(mv);
	free(mg);
}
END_TEST

/* ---- does the interval hold the truth? ----------------------------------- */

static int held_of(int shape, pd_curve_cut cut, double truth, int sets)
{
	int held = 0;

	make(shape);
	for (int s = 0; s < sets; s++) {
		pd_curve_mixed_spec spec = spec_of(shape, cut);
		pd_arena_mark mark = pd_arena_here(arena);
		pd_stream draw;
		double u[GROUPS];
		pd_curve_mixed o;
		pd_status st;

		pd_stream_init(&draw, 90 + (uint64_t)shape, (uint64_t)s);
		for (int g = 0; g < GROUPS; g++)
			u[g] = 0.4 * pd_stream_normal(&draw);
		for (int i = 0; i < N; i++)
			y[i] = mean_of(shape, v[i]) + u[group[i]] +
			       0.3 * x[i * P + 1] +
			       0.25 * pd_stream_normal(&draw);
		st = pd_curve_mixed_fit(arena, &spec, &o, &err);
		ck_assert_msg(st == PD_OK, "set %d: %s", s, err.text);
		held += o.turn.low <= truth && truth <= o.turn.high;
		pd_arena_rewind(arena, mark);
	}
	return held;
}

START_TEST(coverage)
{
	enum { SETS = 200 };
	static const double truth[] = { 17.5, 15, 9 };
	int held = held_of(_i, PD_CUT_SMALL, truth[_i], SETS);

	/* 3 standard errors of 200 sets at 0.95: 0.046 */
	printf("shape %d: the interval holds the turn in %d of %d sets\n", _i,
	       held, SETS);
	ck_assert_int_ge(held, (int)(0.904 * SETS));
	ck_assert_int_le(held, (int)(0.996 * SETS));
}
END_TEST

/* ---- refused ------------------------------------------------------------ */

START_TEST(refused)
{
	pd_curve_mixed_spec spec = spec_of(PD_CURVE_LEVEL, PD_CUT_SMALL);
	pd_curve_mixed o;
	double d;

	make(0);
	spec.level = 1;
	ck_assert_int_eq(pd_curve_mixed_fit(arena, &spec, &o, &err), PD_DATA);
	spec.level = 0.95;
	v[8] = NAN;
	ck_assert_int_eq(pd_curve_mixed_fit(arena, &spec, &o, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 9"));
	v[8] = -2;
	spec.shape = PD_CURVE_APPROACH;
	ck_assert_int_eq(pd_curve_mixed_fit(arena, &spec, &o, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 9"));
	make(0);
	ck_assert_int_eq(pd_curve_mixed_deviance(&spec, -1, &d, &err),
	                 PD_DATA);
	spec.shape = PD_CURVE_LEVEL;
	for (int i = 0; i < N; i++)
		x[i * P] = v[i];
	ck_assert_int_eq(pd_curve_mixed_fit(arena, &spec, &o, &err), PD_USAGE);
	make(0);
	for (int i = 0; i < N; i++)
		v[i] = 10 * (i % 3);
	ck_assert_int_eq(pd_curve_mixed_fit(arena, &spec, &o, &err),
	                 PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "3 distinct"));
	make(0);
	for (int i = 0; i < N; i++)
		group[i] = i;
	ck_assert_int_eq(pd_curve_mixed_fit(arena, &spec, &o, &err),
	                 PD_REFUSED);
	make(0);
	y[3] = INFINITY;
	ck_assert_int_eq(pd_curve_mixed_fit(arena, &spec, &o, &err), PD_DATA);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("curve mixed");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, mixed_known, 0, 3);
	tcase_add_loop_test(t, without_patients, 0, 2);
	tcase_add_test(t, plateau_without_patients);
	tcase_add_loop_test(t, profile_on_a_grid, 0, 3);
	tcase_add_loop_test(t, order_and_units, 0, 3);
	tcase_add_test(t, open_ends);
	tcase_add_test(t, two_valleys);
	tcase_add_loop_test(t, zero_variance, 0, 3);
	tcase_add_loop_test(t, many_rows, 0, 3);
	tcase_add_loop_test(t, coverage, 0, 3);
	tcase_add_test(t, refused);
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
