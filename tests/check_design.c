/*
 * check_design.c - columns into a model matrix: names, centring, levels,
 * what is dropped and how it is said, where terms ended up.
 */
#include "stats/design.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static pd_arena *arena;
static pd_frame *frame;
static pd_error err;

static const double age[] = { 31, 47.5, 52, 68, 74.5, 39, 61, 55 };
static const double volume[] = { 2, 4, 8, 4, 16, 2, 8, 32 };
static const char *const operator_[] = { "B", "A", "B", "C",
	                                 "A", "C", "B", "A" };

static void add_real(const char *name, const double *x)
{
	pd_column *c = pd_frame_add_real(frame, name);

	ck_assert_ptr_nonnull(c);
	memcpy(c->real, x, 8 * sizeof *x);
}

static void add_factor(const char *name, const char *const *word)
{
	pd_column *c = pd_frame_add_factor(frame, name);

	ck_assert_ptr_nonnull(c);
	for (int i = 0; i < 8; i++)
		c->code[i] = pd_frame_level(frame, c, word[i]);
	ck_assert(pd_column_sort_levels(c, 8) == PD_OK);
}

static void set_up(void)
{
	arena = pd_arena_new();
	frame = pd_frame_new(8);
	ck_assert(arena && frame);
	add_real("age_y", age);
	add_real("volume_ml", volume);
	add_factor("operator", operator_);
}

static void tear_down(void)
{
	pd_frame_free(frame);
	pd_arena_free(arena);
}

static pd_design build(const pd_term *t, size_t n)
{
	pd_design d;
	pd_status st = pd_design_build(arena, frame, t, n, &d, &err);

	ck_assert_msg(st == PD_OK, "%s", err.text);
	return d;
}

static double at(const pd_design *d, size_t i, size_t j)
{
	return d->x[i * d->p + j];
}

/* ---- what stands in the matrix -------------------------------------------- */

START_TEST(names_and_values)
{
	pd_term t[] = { { .column = "age_y", .step = 10 },
		        { .column = "operator", .label = "hand" },
		        { .column = "volume_ml",
		          .transform = PD_LOG_CENTRED,
		          .step = 0.69314718055994530942 } };
	static const char *const want[] = { "intercept", "age_y", "hand B",
		                            "hand C", "volume_ml" };
	pd_design d = build(t, 3);
	double mean_age = 53.5; /* of the eight ages */

	ck_assert_uint_eq(d.n, 8);
	ck_assert_uint_eq(d.p, 5);
	ck_assert_uint_eq(d.n_dropped, 0);
	for (size_t j = 0; j < 5; j++)
		ck_assert_str_eq(d.name[j], want[j]);
	ck_assert_double_eq_tol(d.centre[0], mean_age, 1e-13);
	/* log2 of 2 4 8 4 16 2 8 32 has mean 21 / 8 */
	ck_assert_double_eq_tol(d.centre[2], 21.0 / 8 * log(2), 1e-13);
	for (size_t i = 0; i < 8; i++) {
		ck_assert(at(&d, i, 0) == 1);
		ck_assert_double_eq_tol(at(&d, i, 1), (age[i] - mean_age) / 10,
		                        1e-13);
		ck_assert(at(&d, i, 2) == (operator_[i][0] == 'B'));
		ck_assert(at(&d, i, 3) == (operator_[i][0] == 'C'));
		ck_assert_double_eq_tol(at(&d, i, 4),
		                        log2(volume[i]) - 21.0 / 8, 1e-13);
	}
}
END_TEST

START_TEST(terms_find_their_columns)
{
	pd_term t[] = { { .column = "operator", .reference = "B" },
		        { .column = "age_y", .transform = PD_AS_IS } };
	pd_design d = build(t, 2);

	ck_assert_uint_eq(d.n_terms, 2);
	ck_assert(d.first[0] == 1 && d.count[0] == 2);
	ck_assert(d.first[1] == 3 && d.count[1] == 1);
	ck_assert(d.column[0][0] == 1);            /* A */
	ck_assert(d.column[0][1] == PD_NO_COLUMN); /* B, the reference */
	ck_assert(d.column[0][2] == 2);            /* C */
	ck_assert(d.column[1][0] == 3);
	ck_assert_str_eq(d.name[1], "operator A");
	ck_assert(d.centre[0] == 0 && d.centre[1] == 0);
	for (size_t i = 0; i < 8; i++)
		ck_assert(at(&d, i, 3) == age[i]);
}
END_TEST

START_TEST(no_terms_is_an_intercept)
{
	pd_design d = build(NULL, 0);

	ck_assert(d.p == 1 && d.n == 8 && d.x[7] == 1);
	ck_assert_str_eq(d.name[0], "intercept");
}
END_TEST

/* A level that no row has makes no column, whether first or last. */
START_TEST(absent_levels)
{
	unsigned char keep[8];
	pd_frame *all = frame;
	pd_term t = { .column = "operator" };
	pd_design d;

	for (int i = 0; i < 8; i++)
		keep[i] = operator_[i][0] != 'A';
	ck_assert(pd_frame_select(all, keep, &frame, &err) == PD_OK);
	d = build(&t, 1);
	ck_assert(d.p == 2 && d.n == 5 && d.n_dropped == 0);
	ck_assert_str_eq(d.name[1], "operator C");
	ck_assert(d.column[0][0] == PD_NO_COLUMN);
	ck_assert(d.column[0][1] == PD_NO_COLUMN && d.column[0][2] == 1);
	t.reference = "A";
	ck_assert(pd_design_build(arena, frame, &t, 1, &d, &err) == PD_DATA);
	ck_assert_str_eq(err.text, "no row has 'A' for 'operator'");
	pd_frame_free(frame);
	frame = all;
}
END_TEST

/* ---- what is left out -------------------------------------------------------- */

START_TEST(constants_are_named)
{
	static const double flat[] = { 7.3, 7.3, 7.3, 7.3, 7.3, 7.3, 7.3, 7.3 };
	static const char *const one[] = { "left", "left", "left", "left",
		                           "left", "left", "left", "left" };
	pd_term t[] = { { .column = "flat" },
		        { .column = "side" },
		        { .column = "flat", .transform = PD_AS_IS },
		        { .column = "age_y" } };
	pd_design d;

	add_real("flat", flat);
	add_factor("side", one);
	d = build(t, 4);
	ck_assert(d.p == 2 && d.n_dropped == 3);
	ck_assert_str_eq(d.dropped[0], "flat: the same in all rows");
	ck_assert_str_eq(d.dropped[1], "side: the same in all rows");
	ck_assert_str_eq(d.dropped[2], "flat: the same in all rows");
	ck_assert(d.count[0] == 0 && d.count[1] == 0 && d.count[2] == 0);
	ck_assert(d.first[3] == 1 && d.count[3] == 1);
	ck_assert_double_eq_tol(at(&d, 0, 1), 31 - 53.5, 1e-13);
}
END_TEST

/* Needles that changed hands with the operator; a sum in another unit. The
 * later column is the one that goes. */
START_TEST(sums_are_named)
{
	static const char *const needle[] = { "n2", "n1", "n2", "n3",
		                              "n1", "n3", "n2", "n1" };
	double mixed[8];
	pd_term t[] = { { .column = "operator" }, { .column = "age_y" },
		        { .column = "needle" },   { .column = "volume_ml" },
		        { .column = "mixed" } };
	pd_design d;

	for (int i = 0; i < 8; i++)
		mixed[i] = 4.1e6 - 3e5 * age[i] + 7e4 * volume[i] +
		           9e5 * (operator_[i][0] == 'C');
	add_factor("needle", needle);
	add_real("mixed", mixed);
	d = build(t, 5);
	ck_assert_uint_eq(d.p, 5);
	ck_assert_uint_eq(d.n_dropped, 3);
	ck_assert_str_eq(d.dropped[0],
	                 "needle n2: a sum of the columns before it");
	ck_assert_str_eq(d.dropped[1],
	                 "needle n3: a sum of the columns before it");
	ck_assert_str_eq(d.dropped[2], "mixed: a sum of the columns before it");
	ck_assert(d.count[2] == 0 && d.count[4] == 0);
	ck_assert(d.first[3] == 4 && d.column[3][0] == 4);
	ck_assert(d.column[2][1] == PD_NO_COLUMN);
	t[4] = t[0]; /* mixed first: now something of it must stay */
	t[0] = (pd_term){ .column = "mixed" };
	d = build(t, 5);
	ck_assert_str_eq(d.name[1], "mixed");
	ck_assert_uint_eq(d.p, 5);
}
END_TEST

/* Close is not the same: a part in 10^8 of its own is kept, none is not; and
 * more rows than one block, more columns than rows. */
START_TEST(how_close_is_a_sum)
{
	enum { N = 1000 };
	pd_frame *big = pd_frame_new(N), *old = frame;
	pd_term t[] = { { .column = "x" }, { .column = "near" },
		        { .column = "same" } };
	pd_column *x, *near, *same;
	pd_design d;

	frame = big;
	x = pd_frame_add_real(big, "x");
	near = pd_frame_add_real(big, "near");
	same = pd_frame_add_real(big, "same");
	ck_assert(x && near && same);
	for (int i = 0; i < N; i++) {
		x->real[i] = 1e4 + sin(1.3 * i);
		near->real[i] = x->real[i] + 1e-8 * cos(0.7 * i);
		same->real[i] = 3.7 - 0.41 * x->real[i];
	}
	d = build(t, 3);
	ck_assert(d.p == 3 && d.n_dropped == 1);
	ck_assert_str_eq(d.dropped[0], "same: a sum of the columns before it");
	pd_frame_free(big);
	frame = old;
}
END_TEST

START_TEST(more_columns_than_rows)
{
	pd_term t[12];
	char name[12][16];
	double x[8];
	pd_design d;

	for (int k = 0; k < 12; k++) {
		for (int i = 0; i < 8; i++)
			x[i] = sin(1.1 * (i + 1) * (k + 1));
		snprintf(name[k], sizeof name[k], "c%d", k);
		add_real(name[k], x);
		t[k] = (pd_term){ .column = name[k] };
	}
	d = build(t, 12);
	ck_assert(d.p == 8 && d.n_dropped == 5);
	ck_assert_str_eq(d.dropped[0], "c7: a sum of the columns before it");
}
END_TEST

/* Units and row order change nothing of what is kept. */
START_TEST(units_and_order)
{
	static const double scale[] = { 1e-9, 1, 1e9 };
	pd_term t[] = { { .column = "age_y" }, { .column = "scaled" },
		        { .column = "operator" } };
	double scaled[8];
	pd_column *c;

	for (int i = 0; i < 8; i++)
		scaled[i] = scale[_i] * volume[7 - i];
	add_real("scaled", scaled);
	pd_design d = build(t, 3);

	ck_assert(d.p == 5 && d.n_dropped == 0);
	c = pd_frame_find(frame, "scaled");
	for (int i = 0; i < 8; i++)
		c->real[i] = scale[_i] * (3 - 2 * age[i]);
	d = build(t, 3);
	ck_assert(d.p == 4 && d.n_dropped == 1);
}
END_TEST

/* ---- bad input ------------------------------------------------------------------ */

START_TEST(bad_input)
{
	static const double with_zero[] = { 2, 4, 0, 4, 16, 2, 8, 32 };
	pd_term t = { .column = "weight" };
	pd_frame *empty = pd_frame_new(0);
	pd_design d;

	ck_assert(pd_design_build(arena, frame, &t, 1, &d, &err) == PD_DATA);
	ck_assert_str_eq(err.text, "no column 'weight'");
	t = (pd_term){ .column = "zeros", .transform = PD_LOG };
	add_real("zeros", with_zero);
	ck_assert(pd_design_build(arena, frame, &t, 1, &d, &err) == PD_DATA);
	ck_assert_str_eq(err.text, "row 3: 'zeros' must be above 0 for a log, "
	                           "got 0");
	t = (pd_term){ .column = "age_y", .step = -2 };
	ck_assert(pd_design_build(arena, frame, &t, 1, &d, &err) == PD_DATA);
	ck_assert_str_eq(err.text, "step of 'age_y' must be above 0, got -2");
	pd_frame_find(frame, "age_y")->real[4] = NAN;
	t = (pd_term){ .column = "age_y" };
	ck_assert(pd_design_build(arena, frame, &t, 1, &d, &err) == PD_DATA);
	ck_assert_str_eq(err.text, "row 5: 'age_y' is missing or not finite");
	pd_frame_find(frame, "operator")->code[1] = -1;
	t = (pd_term){ .column = "operator" };
	ck_assert(pd_design_build(arena, frame, &t, 1, &d, &err) == PD_DATA);
	ck_assert_str_eq(err.text, "row 2: 'operator' is missing");
	ck_assert(pd_design_build(arena, empty, NULL, 0, &d, &err) == PD_DATA);
	pd_frame_free(empty);
}
END_TEST

START_TEST(complete_rows)
{
	static const char *const both[] = { "age_y", "operator" };
	static const char *const wrong[] = { "age_y", "weight" };
	unsigned char keep[8];
	size_t n;

	pd_frame_find(frame, "age_y")->real[4] = NAN;
	pd_frame_find(frame, "operator")->code[1] = -1;
	ck_assert(pd_frame_complete(frame, both, 2, keep, &n, &err) == PD_OK);
	ck_assert_uint_eq(n, 6);
	for (int i = 0; i < 8; i++)
		ck_assert_int_eq(keep[i], i != 4 && i != 1);
	ck_assert(pd_frame_complete(frame, both, 0, keep, &n, &err) == PD_OK);
	ck_assert_uint_eq(n, 8);
	ck_assert(pd_frame_complete(frame, wrong, 2, keep, &n, &err) ==
	          PD_DATA);
	ck_assert_str_eq(err.text, "no column 'weight'");
}
END_TEST

/* x back from its parts; deviations sum to 0 in every group. */
START_TEST(within_and_between)
{
	static const int32_t group[] = { 2, 0, 2, 1, 0, 2, 0, 2 };
	double within[8], between[8], sum[4] = { 0 };

	ck_assert(pd_split_within(age, group, 8, 4, within, between, &err) ==
	          PD_OK);
	for (int i = 0; i < 8; i++) {
		ck_assert_double_eq_tol(within[i] + between[i], age[i], 1e-13);
		sum[group[i]] += within[i];
	}
	for (int k = 0; k < 4; k++)
		ck_assert(fabs(sum[k]) < 1e-12);
	ck_assert_double_eq_tol(between[1], (47.5 + 74.5 + 61) / 3, 1e-12);
	ck_assert(between[3] == 68 && within[3] == 0);
	ck_assert(pd_split_within(age, group, 8, 2, within, between, &err) ==
	          PD_DATA);
	ck_assert_str_eq(err.text, "row 1: no group or no value to split");
}
END_TEST

int main(void)
{
	Suite *s = suite_create("design");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, tear_down);
	tcase_add_test(t, names_and_values);
	tcase_add_test(t, terms_find_their_columns);
	tcase_add_test(t, no_terms_is_an_intercept);
	tcase_add_test(t, absent_levels);
	tcase_add_test(t, constants_are_named);
	tcase_add_test(t, sums_are_named);
	tcase_add_test(t, how_close_is_a_sum);
	tcase_add_test(t, more_columns_than_rows);
	tcase_add_loop_test(t, units_and_order, 0, 3);
	tcase_add_test(t, bad_input);
	tcase_add_test(t, complete_rows);
	tcase_add_test(t, within_and_between);
	suite_add_tcase(s, t);
	SRunner *run = srunner_create(s);

	srunner_run_all(run, CK_NORMAL);
	int failed = srunner_ntests_failed(run);

	printf("%d passed, %d failed\n", srunner_ntests_run(run) - failed,
	       failed);
	srunner_free(run);
	return failed ? 1 : 0;
}
