/*
 * check_adjusted.c - adjusted means and their comparisons, against packages
 * emmeans 1.8.4-1, lme4 1.1-31, pbkrtest 0.5.2, multcomp 1.4-22 and mvtnorm
 * 1.1-3 of R 4.2.2 on data made by a formula, and against the one-way rooms.
 */
#include "stats/adjusted.h"
#include "stats/quantile.h"
#include "stats/range.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MEANS = 4, PAIRS = 6, MOST_P = 12 };

static pd_arena *arena;
static pd_frame *frame;
static pd_error err;
static pd_design design;
static pd_nested *model;
static double *y;

static void near(const char *what, double got, double want, double tolerance)
{
	if (fabs(got - want) <= tolerance * fmax(1, fabs(want)))
		return;
	ck_abort_msg("%s: got %.12g, wanted %.12g", what, got, want);
}

static void good(pd_status st)
{
	ck_assert_msg(st == PD_OK, "%s", err.text);
}

/* ---- data -------------------------------------------------------------- */

static const pd_term terms[] = {
	{ .column = "arm", .reference = "0" },
	{ .column = "op", .reference = "0" },
	{ .column = "vol", .transform = PD_AS_IS },
};

static bool kept(int i)
{
	static const int out[] = { 3, 10, 11, 29, 47, 48, 49, 50, 70, 71, 90 };

	for (size_t k = 0; k < sizeof out / sizeof *out; k++)
		if (out[k] == i)
			return false;
	return true;
}

/* 85 rows of 8 patients and 16 cases; arm and op unbalanced across them. */
static void set_up(void)
{
	static const double arm_effect[] = { 0, 0.35, 0.5, -0.2 };
	static const double op_effect[] = { 0, -0.2, 0.3 };
	int32_t patient[96], place[96];
	pd_column *arm, *op, *vol;
	pd_nested_spec s = { .depth = 2, .group = { patient, place } };
	size_t n = 0;

	arena = pd_arena_new();
	frame = pd_frame_new(85);
	ck_assert(arena && frame);
	arm = pd_frame_add_factor(frame, "arm");
	op = pd_frame_add_factor(frame, "op");
	vol = pd_frame_add_real(frame, "vol");
	y = PD_NEW(arena, double, 96);
	for (int k = 0; k < 4; k++)
		pd_frame_level(frame, arm, (const char *[]){ "0", "1", "2",
		               "3" }[k]);
	for (int k = 0; k < 3; k++)
		pd_frame_level(frame, op, (const char *[]){ "0", "1", "2" }[k]);
	for (int i = 0; i < 96; i++) {
		if (!kept(i))
			continue;
		arm->code[n] = (i * 5 + i / 7) % 4;
		op->code[n] = (i / 3 + i / 11) % 3;
		vol->real[n] = 2 + 7 * (double)i / 3;
		patient[n] = i / 12;
		place[n] = i / 6;
		y[n] = 2 + arm_effect[arm->code[n]] + op_effect[op->code[n]] +
			0.05 * vol->real[n] + 0.9 * sin(3.7 * patient[n] + 1) +
			0.8 * sin(5.1 * place[n] + 2) +
			0.6 * sin(11.9 * i + 0.4);
		n++;
	}
	ck_assert_uint_eq(n, 85);
	good(pd_design_build(arena, frame, terms, 3, &design, &err));
	s.n = n;
	s.p = design.p;
	s.x = design.x;
	s.y = y;
	good(pd_nested_new(&s, &model, &err));
	good(pd_nested_fit(model, &err));
}

static void tear_down(void)
{
	pd_nested_free(model);
	pd_frame_free(frame);
	pd_arena_free(arena);
}

static void arm_rows(const pd_hold *hold, size_t n_hold, double *rows)
{
	int32_t code[MEANS];
	size_t n;

	good(pd_adjusted_rows(&design, frame, terms, 0, hold, n_hold, rows,
	                      code, &n, &err));
	ck_assert_uint_eq(n, MEANS);
	for (int k = 0; k < MEANS; k++)
		ck_assert_int_eq(code[k], k);
}

static pd_fitted kenward(void)
{
	return pd_fitted_nested(model, design.p, PD_KENWARD_ROGER);
}

/* ---- means ------------------------------------------------------------- */

/* emmeans(m, "arm", lmer.df = "kenward-roger"), then with at = list(vol = 4);
 * df by pbkrtest. */
static const double mean_of[2][MEANS][5] = {
	{ { 7.8612066809, 0.40998126022, 6.477306182, 6.8756684635,
	    8.8467448983 },
	  { 8.2276251231, 0.41092890209, 6.533688945, 7.2416958448,
	    9.2135544014 },
	  { 8.347703911, 0.41001889813, 6.483560425, 7.3622859845,
	    9.3331218376 },
	  { 7.6849809612, 0.42310802734, 7.341588066, 6.6938492256,
	    8.6761126969 } },
	{ { 2.4903045535, 0.75385110399, 9.056979987, 0.78660891426,
	    4.1940001928 },
	  { 2.8567229958, 0.75242572145, 9.056256828, 1.1562281531,
	    4.5572178385 },
	  { 2.9768017837, 0.75768944369, 9.061362624, 1.2645568879,
	    4.6890466794 },
	  { 2.3140788339, 0.76451152129, 9.542142015, 0.5994965964,
	    4.0286610713 } },
};

START_TEST(means_known)
{
	const pd_hold hold = { 2, 4 };
	double rows[MEANS * MOST_P];
	const pd_fitted f = kenward();
	pd_estimate e[MEANS];

	arm_rows(&hold, (size_t)_i, rows);
	good(pd_adjusted_means(&f, rows, MEANS, 0.95, e, &err));
	for (int k = 0; k < MEANS; k++) {
		const double *w = mean_of[_i][k];

		near("mean", e[k].value, w[0], 2e-8);
		near("se", e[k].se, w[1], 2e-7);
		near("df", e[k].df, w[2], 2e-6);
		near("low", e[k].low, w[3], 1e-6);
		near("high", e[k].high, w[4], 1e-6);
	}
}
END_TEST

/* Rows by hand: equal weights over the operators, the number at its mean. */
START_TEST(rows_by_hand)
{
	const pd_column *vol = pd_frame_find(frame, "vol");
	double rows[MEANS * MOST_P], mean = 0;
	const pd_hold hold = { 2, 8 };
	const pd_term logs[] = {
		{ .column = "op" },
		{ .column = "vol", .transform = PD_LOG_CENTRED, .step = 0.5 },
	};
	const pd_hold at = { 1, 3.3 };
	pd_design d;
	int32_t code[3];
	size_t n;

	for (size_t i = 0; i < 85; i++)
		mean += vol->real[i] / 85;
	arm_rows(NULL, 0, rows);
	for (size_t k = 0; k < MEANS; k++) {
		const double *r = rows + k * design.p;

		near("one", r[0], 1, 0);
		for (size_t j = 1; j < 4; j++)
			near("own", r[j], j == k, 0);
		near("op 1", r[4], 1.0 / 3, 1e-15);
		near("op 2", r[5], 1.0 / 3, 1e-15);
		near("vol", r[6], mean, 1e-13);
	}
	arm_rows(&hold, 1, rows);
	near("held", rows[6], 8, 1e-14);
	good(pd_design_build(arena, frame, logs, 2, &d, &err));
	good(pd_adjusted_rows(&d, frame, logs, 0, NULL, 0, rows, code, &n,
	                      &err));
	ck_assert_uint_eq(n, 3);
	near("centred", rows[d.p - 1], 0, 1e-13);
	good(pd_adjusted_rows(&d, frame, logs, 0, &at, 1, rows, code, &n,
	                      &err));
	mean = 0;
	for (size_t i = 0; i < 85; i++)
		mean += log(vol->real[i]) / 85;
	near("log held", rows[d.p - 1], (log(3.3) - mean) / 0.5, 1e-12);
}
END_TEST

/* ---- comparisons ------------------------------------------------------- */

/* summary(pairs(e, reverse = TRUE), infer = TRUE, adjust = ...): value, se,
 * df, low, high, p. */
static const struct pair {
	double value, se, df, range[3], holm[3];
} pair_of[PAIRS] = {
	{ 0.36641844223, 0.12679548294, 64.280803622,
	  { 0.031991264029, 0.700845620422, 0.02631315072374 },
	  { 0.02123528840, 0.711601596052, 0.0157494238005 } },
	{ 0.48649723013, 0.12720331513, 64.396870722,
	  { 0.151010390136, 0.821984070125, 0.00166063235319 },
	  { 0.14022365946, 0.832770800799, 0.0014914462893 } },
	{ 0.12007878790, 0.12822269775, 64.194064380,
	  { -0.218124813793, 0.458282389602, 0.78538168085589 },
	  { -0.22900476241, 0.469162338220, 0.5985397639009 } },
	{ -0.17622571969, 0.16840915839, 64.593813329,
	  { -0.620353329878, 0.267901890508, 0.72291110077825 },
	  { -0.63462569622, 0.282174256849, 0.5985397639009 } },
	{ -0.54264416191, 0.16786934874, 64.556783863,
	  { -0.985354879280, -0.099933444542, 0.01018531871867 },
	  { -0.99958310229, -0.085705221527, 0.0077353822927 } },
	{ -0.66272294982, 0.15968434150, 64.264331796,
	  { -1.083898411867, -0.241547487764, 0.00056542958123 },
	  { -1.09744501309, -0.228000886542, 0.0005976408930 } },
};

START_TEST(pairs_known)
{
	const pd_comparing how = { _i ? PD_TOGETHER_HOLM : PD_TOGETHER_RANGE,
	                           2, 0.95 };
	double rows[MEANS * MOST_P], c;
	const pd_fitted f = kenward();
	pd_comparison o[PAIRS];

	arm_rows(NULL, 0, rows);
	good(pd_compare_pairs(&f, rows, MEANS, &how, o, &c, &err));
	for (size_t k = 0; k < PAIRS; k++) {
		const struct pair *w = &pair_of[k];
		const double *limit = _i ? w->holm : w->range;

		near("value", o[k].e.value, w->value, 2e-8);
		near("se", o[k].e.se, w->se, 2e-8);
		near("df", o[k].e.df, w->df, 1e-6);
		near("low", o[k].e.low, limit[0], 2e-8);
		near("high", o[k].e.high, limit[1], 2e-8);
		near("p", o[k].e.p, limit[2], 2e-8);
		near("t", o[k].t, w->value / w->se, 1e-6);
	}
	ck_assert(o[0].a == 1 && o[0].b == 0 && o[5].a == 3 && o[5].b == 2);
	near("critical", c * o[0].e.se, o[0].e.high - o[0].e.value, 1e-14);
}
END_TEST

/* Satterthwaite: emmeans(m, "arm", lmer.df = "satterthwaite"), last pair. */
START_TEST(other_df)
{
	const pd_comparing how = { PD_TOGETHER_RANGE, 2, 0.95 };
	const pd_fitted f = pd_fitted_nested(model, design.p,
	                                     PD_SATTERTHWAITE);
	double rows[MEANS * MOST_P];
	pd_comparison o[PAIRS];

	arm_rows(NULL, 0, rows);
	good(pd_compare_pairs(&f, rows, MEANS, &how, o, NULL, &err));
	near("df", o[5].e.df, 64.655517881, 2e-5);
	near("low", o[5].e.low, -1.083272836535, 1e-6);
	near("p", o[5].e.p, 0.00055191773687, 1e-8);
}
END_TEST

/*
 * With arm 1 for control. pmvt and qmvt (maxpts 5e5, abseps 1e-6) take whole
 * df; at 64 and 65 they give points 2.41590312 and 2.41499693, the chances
 * below at 64. Ours stand at 64.194, the smallest df of the three.
 */
START_TEST(control_known)
{
	static const double p64[] = { 0.01473851, 0.68276439, 0.00554940 };
	static const double p65[] = { 0.01467661, 0.68273725, 0.00551474 };
	const pd_comparing how = { PD_TOGETHER_JOINT, 2, 0.95 };
	double rows[MEANS * MOST_P], c;
	const pd_fitted f = kenward();
	pd_comparison o[MEANS];
	double part = 0.194064380;

	arm_rows(NULL, 0, rows);
	good(pd_compare_control(&f, rows, MEANS, 1, &how, o, &c, &err));
	near("critical", c, 2.41590312 + part * (2.41499693 - 2.41590312),
	     4e-5);
	for (size_t k = 0; k < 3; k++) {
		near("p", o[k].e.p, p64[k] + part * (p65[k] - p64[k]),
		     2e-5 + 0.002 * p64[k]);
		near("low", o[k].e.low, o[k].e.value - c * o[k].e.se, 1e-14);
		near("df", o[k].e.df, 64.194064380, 1e-6);
		ck_assert(o[k].b == 1);
	}
	near("value", o[0].e.value, -0.36641844223, 2e-8);
	ck_assert(o[0].a == 0 && o[1].a == 2 && o[2].a == 3);
}
END_TEST

/* glht(lm(y ~ arm + op + vol), three rows) of multcomp, calpha by qmvt and
 * chances by pmvt as above, 78 df. */
START_TEST(rows_known)
{
	static const double want[3][4] = {
		{ 0.1129589368, -0.6774259087, 0.9033437822, 0.95925053 },
		{ -0.1560776898, -0.9707173449, 0.6585619653, 0.91580034 },
		{ -0.1329790921, -1.1824620696, 0.9165038854, 0.97024531 },
	};
	const double c[21] = { 0, 1, -0.5, -0.5, 0, 0, 0, 0, 1, -1, 0, 0, 0, 0,
	                       0, 0, 0, 1, 0, 0, 0.3 };
	const pd_comparing how = { PD_TOGETHER_JOINT, 2, 0.95 };
	const pd_nested_spec s = { .n = 85, .p = 7, .x = design.x, .y = y };
	pd_comparison o[3];
	pd_nested *flat;
	pd_fitted f;
	double at;

	good(pd_nested_new(&s, &flat, &err));
	good(pd_nested_fit(flat, &err));
	f = pd_fitted_nested(flat, 7, PD_SATTERTHWAITE);
	good(pd_compare_rows(&f, c, 3, &how, o, &at, &err));
	near("calpha", at, 2.369030228, 5e-5);
	for (int k = 0; k < 3; k++) {
		near("value", o[k].e.value, want[k][0], 1e-9);
		near("low", o[k].e.low, want[k][1], 5e-5);
		near("high", o[k].e.high, want[k][2], 5e-5);
		near("p", o[k].e.p, want[k][3], 0.002);
		near("df", o[k].e.df, 78, 1e-9);
	}
	pd_nested_free(flat);
}
END_TEST

/* Adding the joint law to all pairs: never wider than the range by much,
 * never narrower than one t. */
START_TEST(families_are_ordered)
{
	static const pd_together all[] = { PD_TOGETHER_NONE, PD_TOGETHER_JOINT,
	                                   PD_TOGETHER_RANGE,
	                                   PD_TOGETHER_HOLM };
	double rows[MEANS * MOST_P], c[4];
	const pd_fitted f = kenward();
	pd_comparison o[4][PAIRS];

	arm_rows(NULL, 0, rows);
	for (size_t k = 0; k < 4; k++) {
		pd_comparing how = { all[k], 2, 0.95 };

		good(pd_compare_pairs(&f, rows, MEANS, &how, o[k], &c[k],
		                      &err));
	}
	ck_assert(c[0] < c[1] && c[1] < c[2] + 1e-4 && c[2] < c[3]);
	near("alone", c[0], pd_t_quantile(0.975, o[0][0].e.df), 1e-12);
	for (size_t k = 0; k < PAIRS; k++) {
		ck_assert(o[0][k].e.p <= o[1][k].e.p + 1e-5);
		ck_assert(o[1][k].e.p <= o[2][k].e.p * 1.003 + 2e-5);
	}
}
END_TEST

/* ---- plain coefficients ------------------------------------------------- */

/* Four groups of unequal size, no other columns: the one-way rooms. */
START_TEST(one_way)
{
	static const double mean[] = { 3.1, 4.9, 3.4, 5.6 };
	static const double size[] = { 5, 8, 4, 7 };
	const pd_layout l = { 4, mean, size, 1.7, 20 };
	double v[16] = { 0 }, rows[16] = { 0 }, c, w;
	const pd_plain b = { 4, mean, v, 20 };
	const pd_fitted f = pd_fitted_plain(&b);
	pd_comparing how = { PD_TOGETHER_RANGE, 2, 0.9 };
	pd_comparison o[PAIRS], want[PAIRS];

	for (size_t k = 0; k < 4; k++) {
		v[k * 5] = 1.7 / size[k];
		rows[k * 5] = 1;
	}
	good(pd_compare_pairs(&f, rows, 4, &how, o, &c, &err));
	good(pd_all_pairs_of(&l, 0.9, want, &w, &err));
	near("critical", c * sqrt(2), w, 1e-12);
	for (size_t k = 0; k < PAIRS; k++) {
		ck_assert(o[k].a == want[k].a && o[k].b == want[k].b);
		near("low", o[k].e.low, want[k].e.low, 1e-12);
		near("high", o[k].e.high, want[k].e.high, 1e-12);
		near("p", o[k].e.p, want[k].e.p, 1e-12);
	}
	how.how = PD_TOGETHER_JOINT;
	for (how.sides = 1; how.sides <= 2; how.sides++) {
		good(pd_compare_control(&f, rows, 4, 2, &how, o, &c, &err));
		good(pd_many_to_one_of(&l, 2, how.sides, 0.9, want, &w, &err));
		near("point", c, w, 1e-4);
		for (size_t k = 0; k < 3; k++) {
			near("p", o[k].e.p, want[k].e.p, 2e-5 +
			     0.002 * want[k].e.p);
			near("low", o[k].e.low, want[k].e.low, 1e-4);
			ck_assert(o[k].a == want[k].a && o[k].b == 2);
			ck_assert(how.sides == 2 || isinf(o[k].e.high));
		}
	}
}
END_TEST

/* Copies of one contrast, also turned round, are one comparison. */
START_TEST(copies)
{
	const double b[2] = { 1.3, 0.4 }, v[4] = { 0.2, 0.05, 0.05, 0.3 };
	const double c[6] = { 1, 0, -2, 0, 1, 0 };
	const pd_plain plain = { 2, b, v, 9 };
	const pd_fitted f = pd_fitted_plain(&plain);
	const pd_comparing how = { PD_TOGETHER_JOINT, 2, 0.95 };
	pd_comparison o[3];
	double at;

	good(pd_compare_rows(&f, c, 3, &how, o, &at, &err));
	near("point", at, pd_t_quantile(0.975, 9), 2e-5);
	for (size_t k = 0; k < 3; k++)
		near("p", o[k].e.p, pd_t_two_sided(1.3 / sqrt(0.2), 9), 1e-5);
}
END_TEST

/* Outcome in other units: everything scales, chances stay. */
START_TEST(units)
{
	const double b[3] = { 1.3, 0.4, -0.2 };
	const double v[9] = { 0.2, 0.05, 0, 0.05, 0.3, 0.1, 0, 0.1, 0.4 };
	const double c[9] = { 1, -1, 0, 1, 0, -1, 0, 1, -1 };
	double b2[3], v2[9], f = 1e-9;
	const pd_plain one = { 3, b, v, 9 }, two = { 3, b2, v2, 9 };
	const pd_fitted x = pd_fitted_plain(&one), z = pd_fitted_plain(&two);
	pd_comparison o[3], w[3];

	for (int k = 0; k < 9; k++) {
		v2[k] = v[k] * f * f;
		b2[k % 3] = b[k % 3] * f;
	}
	for (int k = 0; k < 4; k++) {
		pd_comparing how = { (pd_together)k, 2, 0.99 };

		if (how.how == PD_TOGETHER_RANGE)
			continue;
		good(pd_compare_rows(&x, c, 3, &how, o, NULL, &err));
		good(pd_compare_rows(&z, c, 3, &how, w, NULL, &err));
		for (int i = 0; i < 3; i++) {
			near("low", w[i].e.low / f, o[i].e.low, 1e-7);
			near("p", w[i].e.p, o[i].e.p, 1e-7);
		}
	}
}
END_TEST

START_TEST(refused)
{
	const pd_hold factor = { 1, 2 }, nowhere = { 7, 2 }, bad = { 2, NAN };
	double rows[MEANS * MOST_P] = { 0 }, v[1] = { 0 }, b[1] = { 1 };
	const pd_plain flat = { 1, b, v, 9 };
	const pd_fitted f = kenward(), g = pd_fitted_plain(&flat);
	pd_comparing how = { PD_TOGETHER_RANGE, 1, 0.95 };
	pd_comparison o[PAIRS];
	const pd_term twice[] = { { .column = "arm" }, { .column = "twin" } };
	pd_column *arm, *twin;
	pd_estimate e;
	pd_design d;
	int32_t code[MEANS];
	size_t n;

	ck_assert_int_eq(pd_adjusted_rows(&design, frame, terms, 2, NULL, 0,
	                 rows, code, &n, &err), PD_USAGE);
	ck_assert_int_eq(pd_adjusted_rows(&design, frame, terms, 9, NULL, 0,
	                 rows, code, &n, &err), PD_USAGE);
	ck_assert_int_eq(pd_adjusted_rows(&design, frame, terms, 0, &factor, 1,
	                 rows, code, &n, &err), PD_USAGE);
	ck_assert_int_eq(pd_adjusted_rows(&design, frame, terms, 0, &nowhere,
	                 1, rows, code, &n, &err), PD_USAGE);
	ck_assert_int_eq(pd_adjusted_rows(&design, frame, terms, 0, &bad, 1,
	                 rows, code, &n, &err), PD_DATA);
	arm_rows(NULL, 0, rows);
	ck_assert_int_eq(pd_compare_pairs(&f, rows, MEANS, &how, o, NULL,
	                 &err), PD_USAGE);
	how.sides = 2;
	ck_assert_int_eq(pd_compare_control(&f, rows, MEANS, 0, &how, o, NULL,
	                 &err), PD_USAGE);
	ck_assert_int_eq(pd_compare_rows(&f, rows, MEANS, &how, o, NULL, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_compare_control(&f, rows, MEANS, 4, &how, o, NULL,
	                 &err), PD_USAGE);
	ck_assert_int_eq(pd_compare_pairs(&f, rows, 1, &how, o, NULL, &err),
	                 PD_USAGE);
	how.level = 1;
	ck_assert_int_eq(pd_compare_pairs(&f, rows, MEANS, &how, o, NULL,
	                 &err), PD_USAGE);
	how = (pd_comparing){ PD_TOGETHER_NONE, 3, 0.95 };
	ck_assert_int_eq(pd_compare_pairs(&f, rows, MEANS, &how, o, NULL,
	                 &err), PD_USAGE);
	ck_assert_int_eq(pd_adjusted_means(&g, b, 1, 0.95, &e, &err),
	                 PD_USAGE);
	/* a second factor that is the first again: its columns are dropped */
	arm = pd_frame_find(frame, "arm");
	twin = pd_frame_add_factor(frame, "twin");
	arm = pd_frame_find(frame, "arm");
	for (size_t k = 0; k < arm->n_levels; k++)
		pd_frame_level(frame, twin, arm->level[k]);
	memcpy(twin->code, arm->code, 85 * sizeof *twin->code);
	good(pd_design_build(arena, frame, twice, 2, &d, &err));
	ck_assert_int_eq(pd_adjusted_rows(&d, frame, twice, 0, NULL, 0, rows,
	                 code, &n, &err), PD_REFUSED);
	ck_assert(strstr(err.text, "twin"));
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("adjusted");
	TCase *t = tcase_create("means");

	tcase_add_checked_fixture(t, set_up, tear_down);
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, means_known, 0, 2);
	tcase_add_test(t, rows_by_hand);
	tcase_add_loop_test(t, pairs_known, 0, 2);
	tcase_add_test(t, other_df);
	tcase_add_test(t, control_known);
	tcase_add_test(t, rows_known);
	tcase_add_test(t, families_are_ordered);
	tcase_add_test(t, one_way);
	tcase_add_test(t, copies);
	tcase_add_test(t, units);
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
