/*
 * check_figures.c - axes, and marks that stay inside their scene.
 */
#include "report/block.h"
#include "report_read.h"
#include "scene_read.h"
#include "report_sample.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

/* ---- figures ------------------------------------------------------------ */

START_TEST(ratio_axis_range)
{
	pd_bar bar[2] = { { .value = 1.1, .low = 0.01, .high = 90 },
		          { .value = NAN, .low = NAN, .high = NAN } };
	pd_bars b = { .log = true, .n = 2, .bar = bar };

	pd_bars_scale(&b);
	ck_assert_double_eq(b.from, 0.25);
	ck_assert_double_eq(b.to, 4);
	ck_assert_uint_eq(b.n_ticks, 5);
	ck_assert_double_eq(b.tick[1], 0.5);
	bar[0].value = 5.2;
	bar[1].value = 0.11;
	pd_bars_scale(&b);
	ck_assert_double_eq(b.from, 0.0625);
	ck_assert_double_eq(b.to, 8);
	bar[0].value = 1e9;
	pd_bars_scale(&b);
	ck_assert_double_eq(b.to, 16);
	b.log = false;
	bar[0] =
	    (pd_bar){ .value = 1, .low = -1.3, .high = 7.1, .margin_high = 5 };
	b.n = 1;
	pd_bars_scale(&b);
	ck_assert_double_eq(b.from, -b.to);
	ck_assert_double_ge(b.to, 7.1);
	ck_assert_uint_ge(b.n_ticks, 3);
}
END_TEST

static const struct {
	bool log;
	double low, high;
} reaches[] = {
	{ false, 0, 1 },     { false, -3.7, 1250 },
	{ false, 7, 7 },     { false, 1e-7, 3e-7 },
	{ true, 0.3, 42 },   { true, 29.1, 31.7 },
	{ true, 1e-4, 2e7 }, { true, 5, 5 },
	{ true, 1, 1e30 },   { false, NAN, NAN },
	{ true, 0, 3 },      { true, INFINITY, -INFINITY },
};

START_TEST(axis_ticks)
{
	double tick[PD_MOST_TICKS];
	pd_axis a = pd_axis_over(reaches[_i].log, reaches[_i].low,
	                         reaches[_i].high, 10, 250);
	size_t n = pd_axis_ticks(&a, tick);

	ck_assert_double_lt(a.from, a.to);
	ck_assert_uint_ge(n, 2);
	ck_assert_uint_le(n, PD_MOST_TICKS);
	for (size_t i = 0; i < n; i++) {
		double at = pd_axis_at(&a, tick[i]);

		ck_assert_double_ge(at, 10);
		ck_assert_double_le(at, 250);
		if (i)
			ck_assert_double_gt(at, pd_axis_at(&a, tick[i - 1]));
	}
	ck_assert_double_eq(pd_axis_at(&a, NAN), 10);
	ck_assert_double_eq(pd_axis_at(&a, -1e300), 10);
	ck_assert_double_eq(pd_axis_at(&a, 1e300), 250);
}
END_TEST

static unsigned all_inside(const pd_doc *d)
{
	unsigned n = 0;

	for (const pd_block *b = d->first; b; b = b->next) {
		if (b->kind != PD_BLOCK_FIGURE)
			continue;
		scene_sound(b->figure->scene, b->figure->title);
		scene_sound(b->figure->narrow, b->figure->title);
		ck_assert_double_le(b->figure->narrow->width, 360);
		n++;
	}
	return n;
}

/* The same results in another unit: larger numbers beside the axis. */
static void scale_points(pd_answer *a, double by)
{
	double *const list[] = { (double *)a->points.pair_first,
		                 (double *)a->points.pair_second,
		                 (double *)a->points.point_value,
		                 (double *)a->points.y,
		                 (double *)a->points.line_y,
		                 (double *)a->points.line_low,
		                 (double *)a->points.line_high };
	const size_t n[] = { a->points.n_pairs,  a->points.n_pairs,
		             a->points.n_points, a->points.n_xy,
		             a->points.n_line,   a->points.n_line,
		             a->points.n_line };

	for (size_t i = 0; i < COUNT(list); i++)
		for (size_t k = 0; k < n[i]; k++)
			list[i][k] *= by;
}

START_TEST(figures_stay_inside)
{
	static const double by[] = { 1, 1000, 1e-6 };
	struct report r;

	report_open(&r);
	for (size_t k = 0; k < COUNT(by); k++) {
		for (size_t i = 0; i < r.review->n_answers; i++)
			if (r.review->answer[i].scale == PD_RATIO)
				scale_points(&r.review->answer[i], by[k]);
		report_compose(&r);
		ck_assert_uint_eq(all_inside(r.doc), 13);
	}
	report_close(&r);
}
END_TEST

/* An interval that leaves the axis ends in arrows, one that does not in
 * caps: counted as filled triangles beside the sign. */
START_TEST(clipped_intervals_end_in_arrows)
{
	static const struct {
		double low, high;
		size_t areas;
	} row[] = {
		{ 0.5, 2, 1 }, { 0.1, 2, 2 }, { 0.5, 9, 2 }, { 0.01, 90, 3 }
	};

	for (size_t k = 0; k < COUNT(row); k++) {
		pd_arena *arena = pd_arena_new();
		pd_bar bar = { .label = "Q1 x",
			       .number = "1",
			       .words = "w",
			       .value = 1.2,
			       .low = row[k].low,
			       .high = row[k].high,
			       .margin_low = NAN,
			       .margin_high = NAN,
			       .verdict = PD_NO_MATTER };
		pd_bars b = {
			.log = true, .n = 1, .bar = &bar, .axis_words = "ratio"
		};
		size_t areas = 0;

		pd_bars_scale(&b);
		pd_scene *s = pd_figure_forest(arena, &b, k % 2);

		for (size_t i = 0; i < s->n_marks; i++)
			areas += s->mark[i].kind == PD_MARK_AREA;
		ck_assert_uint_eq(areas, row[k].areas);
		pd_arena_free(arena);
	}
}
END_TEST

/* Zeros have no place on a log axis: drawn on its low end and counted. */
START_TEST(zeros_are_counted)
{
	struct report r;
	pd_answer *a;
	pd_buf b;

	report_open(&r);
	a = &r.review->answer[SAMPLE_SECOND_PULL];
	((double *)a->points.pair_first)[0] = 0;
	((double *)a->points.pair_second)[7] = 0;
	a = &r.review->answer[SAMPLE_NEEDLE];
	((double *)a->points.point_value)[3] = 0;
	report_compose(&r);
	report_write(r.doc, 0, &b);
	const char *text = pd_buf_text(&b);

	ck_assert_ptr_nonnull(strstr(text, "2 pairs with a zero"));
	ck_assert_ptr_nonnull(strstr(text, "without a ratio, for a zero"));
	ck_assert_ptr_nonnull(strstr(text, "1 result of zero has no place"));
	pd_buf_clear(&b);
	report_close(&r);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("figures");
	TCase *t = tcase_create("figures");

	tcase_set_timeout(t, 60);
	tcase_add_test(t, ratio_axis_range);
	tcase_add_loop_test(t, axis_ticks, 0, COUNT(reaches));
	tcase_add_test(t, figures_stay_inside);
	tcase_add_test(t, clipped_intervals_end_in_arrows);
	tcase_add_test(t, zeros_are_counted);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);
	int passed = srunner_ntests_run(r) - failed;

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
