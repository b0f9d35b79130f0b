/*
 * check_count_small.c - limits of grouped counts with few groups: sides,
 * degrees of freedom, and how often they cover.
 */
#include "stats/count_mixed.h"
#include "stats/count_nested.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static pd_arena *arena;
static pd_error err;

static void close_to(const char *what, double got, double want, double margin)
{
	if (fabs(got - want) <= margin)
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static void set_up(void)
{
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
}

static void take_down(void)
{
	pd_arena_free(arena);
}

/* Patients with 6 dishes each; columns: 1, a half of the patients, every
 * other dish. Truth: 0.2 and -0.15. */
enum { MOST = 20, EACH = 6, P = 3 };

static struct {
	double x[MOST * EACH * P], y[MOST * EACH];
	int32_t group[MOST * EACH];
} made;

static pd_mixed_spec make(uint64_t seed, uint64_t set, size_t groups,
                          double mean, double sd)
{
	pd_stream s;
	double z = 0;
	size_t n = groups * EACH;

	pd_stream_init(&s, seed, set);
	for (size_t i = 0; i < n; i++) {
		size_t g = i / EACH;
		double mu, u, sum, y = 0, *x = made.x + P * i;

		if (i % EACH == 0)
			z = sd * pd_stream_normal(&s);
		x[0] = 1;
		x[1] = (double)(g % 2);
		x[2] = (double)(i % 2);
		mu = mean * exp(z + 0.2 * x[1] - 0.15 * x[2]);
		u = pd_stream_uniform(&s);
		for (sum = exp(-mu); sum < u && y < 3000; y++)
			sum += exp((y + 1) * log(mu) - mu - lgamma(y + 2));
		made.y[i] = y;
		made.group[i] = (int32_t)(7 * ((3 * g) % groups));
	}
	return (pd_mixed_spec){ { .n = n, .p = P, .x = made.x, .y = made.y },
	                        made.group, 9 };
}

static pd_mixed_fit fit(const pd_mixed_spec *m)
{
	pd_mixed_fit f;

	if (pd_count_mixed(arena, m, &f, &err) != PD_OK)
		ck_abort_msg("%s", err.text);
	return f;
}

static const struct {
	double c[P];
	pd_mixed_side side;
	double df; /* of 10 patients, 60 rows; 1 within column, 2 between */
} sides[] = {
	{ { 0, 1, 0 }, PD_MIXED_BETWEEN, 8 },
	{ { 1, 0, 0 }, PD_MIXED_BETWEEN, 8 },
	{ { 1, 1, 0.5 }, PD_MIXED_BETWEEN, 8 },
	{ { 0, 0, -2 }, PD_MIXED_WITHIN, 49 },
	{ { 0, 1e-9, 1 }, PD_MIXED_WITHIN, 49 },
};

START_TEST(sides_and_df)
{
	pd_mixed_spec m = make(3, 0, 10, 5, 0.6);
	pd_mixed_fit f = fit(&m);
	pd_estimate plain, e;
	pd_mixed_side side;
	double more = sides[_i].side == PD_MIXED_BETWEEN ? sqrt(10 / 8.0) : 1;

	ck_assert_int_eq(pd_count_mixed_contrast(&f, sides[_i].c, 0.9, &plain,
	                                         &err), PD_OK);
	ck_assert_int_eq(pd_count_mixed_small(&m, &f, sides[_i].c, 0.9, &e,
	                                      &side, &err), PD_OK);
	ck_assert_int_eq(side, sides[_i].side);
	close_to("df", e.df, sides[_i].df, 0);
	close_to("value", e.value, plain.value, 0);
	close_to("error", e.se, more * plain.se, 1e-14);
	/* R 4.2.2: qt(0.95, c(8, 49)) */
	close_to("t", (e.high - e.value) / e.se,
	         e.df < 10 ? 1.8595480375 : 1.6765508920, 1e-9);
	close_to("other side", e.value - e.low, e.high - e.value, 1e-12);
	ck_assert_double_gt(e.high - e.low, plain.high - plain.low);
	ck_assert_double_ge(e.p, plain.p);
}
END_TEST

/* A column that moves in one dish of one patient only rests on the patients
 * all the same. */
START_TEST(nearly_constant)
{
	pd_mixed_spec m = make(3, 1, 10, 5, 0.6);
	const double c[P] = { 0, 1, 0 };
	pd_mixed_side side;
	pd_mixed_fit f;
	pd_estimate e;

	made.x[1] = 1;
	f = fit(&m);
	ck_assert_int_eq(pd_count_mixed_small(&m, &f, c, 0.95, &e, &side,
	                                      &err), PD_OK);
	ck_assert_int_eq(side, PD_MIXED_BETWEEN);
	close_to("df", e.df, 9, 0);
}
END_TEST

/* Rows in another order, other codes, columns in other units. */
START_TEST(same_in_other_units)
{
	static const double unit[] = { 1e9, 1e-9 };
	pd_mixed_spec a = make(3, 2, 10, 5, 0.6), b = a;
	size_t n = a.rows.n;
	double x[10 * EACH * P], y[10 * EACH];
	int32_t group[10 * EACH];
	double c[P] = { 0, 1, 0 }, d[P] = { 0, unit[_i], 0 };
	pd_mixed_side side[2];
	pd_estimate e[2];

	for (size_t i = 0; i < n; i++) {
		size_t k = (7 * i + 5) % n;

		for (size_t j = 0; j < P; j++)
			x[P * i + j] = made.x[P * k + j] *
			               (j == 1 ? unit[_i] : 1);
		y[i] = made.y[k];
		group[i] = 900 - made.group[k];
	}
	b.rows.x = x;
	b.rows.y = y;
	b.group = group;
	for (int k = 0; k < 2; k++) {
		pd_mixed_fit f = fit(k ? &b : &a);

		ck_assert_int_eq(pd_count_mixed_small(k ? &b : &a, &f,
		                                      k ? d : c, 0.95, &e[k],
		                                      &side[k], &err), PD_OK);
	}
	ck_assert_int_eq(side[0], side[1]);
	close_to("df", e[1].df, e[0].df, 0);
	close_to("low", e[1].low, e[0].low, 1e-8);
	close_to("high", e[1].high, e[0].high, 1e-8);
}
END_TEST

START_TEST(refusals)
{
	pd_mixed_spec m = make(3, 3, 2, 5, 0.6);
	double c[P] = { 0, 1, 0 };
	pd_mixed_fit f = fit(&m);
	pd_mixed_side side;
	pd_estimate e;

	ck_assert_int_eq(pd_count_mixed_small(&m, &f, c, 0.95, &e, &side,
	                                      &err), PD_REFUSED);
	ck_assert_msg(strstr(err.text, "too few") != NULL, "said: %s",
	              err.text);
	ck_assert_int_eq(pd_count_mixed_small(&m, &f, c, 1.5, &e, &side,
	                                      &err), PD_DATA);
	c[1] = 0;
	ck_assert_int_eq(pd_count_mixed_small(&m, &f, c, 0.95, &e, &side,
	                                      &err), PD_USAGE);
}
END_TEST

/* 95 % limits cover: 400 sets, counting error of 95 % 1.1 points; 91 to 98.5
 * are let pass. The normal limits between 8 patients do not. */
static const struct {
	size_t groups;
	double mean;
} cells[] = { { 8, 1 }, { 8, 5 }, { 8, 30 }, { 20, 1 }, { 20, 5 } };

START_TEST(coverage)
{
	enum { SETS = 400 };
	static const double truth[2] = { 0.2, -0.15 };
	int covered[2] = { 0, 0 }, normal = 0, sets = 0;

	for (uint64_t k = 0; k < SETS; k++) {
		pd_arena_mark mark = pd_arena_here(arena);
		pd_mixed_spec m = make(41, k, cells[_i].groups,
		                       cells[_i].mean, 0.5);
		pd_mixed_fit f;

		if (pd_count_mixed(arena, &m, &f, &err) != PD_OK)
			continue;
		sets++;
		for (int j = 0; j < 2; j++) {
			double c[P] = { 0, j == 0, j == 1 };
			pd_mixed_side side;
			pd_estimate e;

			ck_assert_int_eq(pd_count_mixed_small(
			    &m, &f, c, 0.95, &e, &side, &err), PD_OK);
			covered[j] += e.low <= truth[j] && truth[j] <= e.high;
			pd_count_mixed_contrast(&f, c, 0.95, &e, &err);
			normal += !j && e.low <= truth[j] &&
			          truth[j] <= e.high;
		}
		pd_arena_rewind(arena, mark);
	}
	ck_assert_int_ge(sets, SETS - 2);
	for (int j = 0; j < 2; j++)
		ck_assert_msg(covered[j] >= 0.91 * sets &&
		              covered[j] <= 0.985 * sets,
		              "%s: %d of %d", j ? "within" : "between",
		              covered[j], sets);
	if (cells[_i].groups == 8)
		ck_assert_int_lt(normal, (int)(0.91 * sets));
}
END_TEST

/* ---- two levels --------------------------------------------------------- */

/* Patients of 3 cases of 4 dishes; columns: 1, half of the patients, some
 * cases of each, every other dish. */
enum { CASES = 3, DISHES = 4, Q = 4, ROOM = 8 * CASES * DISHES };

static struct {
	double x[ROOM * Q], y[ROOM];
	int32_t outer[ROOM], inner[ROOM];
} deep;

static const double deep_truth[Q] = { 0, 0.2, -0.15, 0.1 };

static pd_count_nested_spec make_deep(uint64_t set, double mean)
{
	pd_stream s;
	double z = 0, w = 0;

	pd_stream_init(&s, 77, set);
	for (size_t i = 0; i < ROOM; i++) {
		size_t g = i / (CASES * DISHES), c = i / DISHES % CASES;
		double mu, u, sum, y = 0, *x = deep.x + Q * i;

		if (i % (CASES * DISHES) == 0)
			z = 0.5 * pd_stream_normal(&s);
		if (i % DISHES == 0)
			w = 0.3 * pd_stream_normal(&s);
		x[0] = 1;
		x[1] = (double)(g % 2);
		x[2] = (double)((g + c) % 2);
		x[3] = (double)(i % 2);
		mu = z + w;
		for (size_t j = 1; j < Q; j++)
			mu += deep_truth[j] * x[j];
		mu = mean * exp(mu);
		u = pd_stream_uniform(&s);
		for (sum = exp(-mu); sum < u && y < 3000; y++)
			sum += exp((y + 1) * log(mu) - mu - lgamma(y + 2));
		deep.y[i] = y;
		deep.outer[i] = (int32_t)g;
		deep.inner[i] = (int32_t)c;
	}
	return (pd_count_nested_spec){
		{ .n = ROOM, .p = Q, .x = deep.x, .y = deep.y },
		deep.outer, deep.inner, 5 };
}

static const struct {
	double c[Q];
	pd_nested_side side;
	double df, groups; /* 96 rows, 24 cases, 8 patients; 2 columns of
	                      patients, 1 of cases, 1 of dishes */
} deep_sides[] = {
	{ { 0, 1, 0, 0 }, PD_NESTED_OUTER, 6, 8 },
	{ { 1, 0, 0, 0 }, PD_NESTED_OUTER, 6, 8 },
	{ { 0, 0, -3, 0 }, PD_NESTED_INNER, 15, 16 },
	{ { 0, 0, 0, 2 }, PD_NESTED_ROWS, 71, 71 },
	{ { 0, 0, 1, 1 }, PD_NESTED_INNER, 15, 16 },
};

START_TEST(sides_of_two_levels)
{
	pd_count_nested_spec m = make_deep(3, 6);
	pd_count_nested_fit f;
	pd_nested_side side;
	pd_estimate plain, e;

	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_int_eq(pd_count_nested_contrast(&f, deep_sides[_i].c, 0.95,
	                                          &plain, &err), PD_OK);
	ck_assert_int_eq(pd_count_nested_small(&m, &f, deep_sides[_i].c, 0.95,
	                                       &e, &side, &err), PD_OK);
	ck_assert_int_eq(side, deep_sides[_i].side);
	close_to("df", e.df, deep_sides[_i].df, 0);
	close_to("error", e.se, plain.se * sqrt(deep_sides[_i].groups /
	                                        deep_sides[_i].df), 1e-14);
	close_to("limit", e.high, e.value + e.se *
	         pd_t_quantile(0.975, e.df), 1e-13);
	m.rows.n = 3 * CASES * DISHES; /* 3 patients: 1 df */
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	double c[Q] = { 0, 1, 0, 0 };

	ck_assert_int_eq(pd_count_nested_small(&m, &f, c, 0.95, &e, &side,
	                                       &err), PD_OK);
	close_to("df", e.df, 1, 0);
	m.rows.n = 2 * CASES * DISHES;
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_int_eq(pd_count_nested_small(&m, &f, c, 0.95, &e, &side,
	                                       &err), PD_REFUSED);
}
END_TEST

START_TEST(coverage_of_two_levels)
{
	enum { SETS = 200 };
	int covered[Q] = { 0 }, sets = 0;

	for (uint64_t k = 0; k < SETS; k++) {
		pd_arena_mark mark = pd_arena_here(arena);
		pd_count_nested_spec m = make_deep(100 + k, 5);
		pd_count_nested_fit f;

		if (pd_count_nested(arena, &m, &f, &err) != PD_OK)
			continue;
		sets++;
		for (int j = 1; j < Q; j++) {
			double c[Q] = { 0, j == 1, j == 2, j == 3 };
			pd_nested_side side;
			pd_estimate e;

			ck_assert_int_eq(pd_count_nested_small(
			    &m, &f, c, 0.95, &e, &side, &err), PD_OK);
			covered[j] += e.low <= deep_truth[j] &&
			              deep_truth[j] <= e.high;
		}
		pd_arena_rewind(arena, mark);
	}
	ck_assert_int_ge(sets, SETS - 2);
	for (int j = 1; j < Q; j++) /* counting error 1.5 points */
		ck_assert_msg(covered[j] >= 0.9 * sets,
		              "column %d: %d of %d", j + 1, covered[j], sets);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("count small");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 600);
	tcase_add_loop_test(t, sides_and_df, 0,
	                    (int)(sizeof sides / sizeof *sides));
	tcase_add_test(t, nearly_constant);
	tcase_add_loop_test(t, same_in_other_units, 0, 2);
	tcase_add_test(t, refusals);
	tcase_add_loop_test(t, coverage, 0,
	                    (int)(sizeof cells / sizeof *cells));
	tcase_add_loop_test(t, sides_of_two_levels, 0,
	                    (int)(sizeof deep_sides / sizeof *deep_sides));
	tcase_add_test(t, coverage_of_two_levels);
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
