/*
 * check_figures.c - axes, and marks that stay inside their scene.
 */
#include "base/depletion.h"
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

/* ---- the figures an ordinary sample has not ----------------------------- */

static pd_reading reading[] = {
	{ "2025-04-07", 17, 0.71, 0.38, 1.33, 42, -2.22, 2.98 },
	{ "2025-07-03", 29, 0.66, 0.47, 0.93, 118, -4.51, 2.81 },
	{ "2025-10-06", 41, 0.62, 0.50, 0.77, 190, -6.59, 2.74 },
};

static pd_alike alike[] = {
	{ "age", 61.2, 58.7, 0.213, 0.0004 },
	{ "sex: male", 0.48, 0.51, -0.061, -0.012 },
	{ "operator: op-a", 1, 1, NAN, NAN },
};

/* Readings of the first question, likeness of the needle's, pulls and sites. */
static void add_figures(struct report *r, pd_depletion *d, pd_weighing *w)
{
	pd_answer *a = &r->review->answer[SAMPLE_SECOND_PULL];

	a->n_readings = COUNT(reading);
	a->reading = reading;
	*w = (pd_weighing){ .n_alike = COUNT(alike), .alike = alike,
		            .evalue = NAN, .evalue_limit = NAN };
	r->review->answer[SAMPLE_NEEDLE].weighing = w;
	*d = (pd_depletion){ .outcome_words = "colony-forming units (CFU-F)",
		             .judge_words = "concentration",
		             .unit = "CFU-F/mL", .level = 0.95, .least = 10,
		             .where_text = "landmark is posterior iliac crest",
		             .n_censored = 3, .n_further = 7, .n_holes = 2,
		             .n_pulls = 2 };
	for (size_t h = 0; h < 2; h++)
		for (size_t k = 0; k < 2; k++)
			d->cell[h][k] = (pd_depletion_cell){
				h ? 9 : 140, 200, 531 - 217.0 * (double)k,
				401, 703, NULL, h ? 8 : 133,
				0.41 + 0.3 * (double)h, 0.37, 0.87 };
	r->review->n_depletions = 1;
	r->review->depletion = d;
}

/* Every run of blanks and line ends as one blank. */
static char *unwrapped(const char *text)
{
	char *out = malloc(strlen(text) + 1), *to = out;

	ck_assert_ptr_nonnull(out);
	for (; *text; text++) {
		bool gap = *text == ' ' || *text == '\n';

		if (!gap)
			*to++ = *text;
		else if (to > out && to[-1] != ' ')
			*to++ = ' ';
	}
	*to = '\0';
	return out;
}

/* Each is there, sound, names a table that is there, and says in both forms
 * the same words; the numbers stand in the tables. */
START_TEST(further_figures)
{
	struct report r;
	pd_depletion d;
	pd_weighing w;
	pd_buf text, html;
	struct words a, b;

	report_open(&r);
	add_figures(&r, &d, &w);
	report_compose(&r);
	ck_assert_uint_eq(all_inside(r.doc), 16);
	for (const pd_block *p = r.doc->first; p; p = p->next)
		if (p->kind == PD_BLOCK_FIGURE)
			ck_assert_ptr_nonnull(
			    pd_doc_table_at(r.doc, p->figure->table));
	report_write(r.doc, 80, &text);
	report_write(r.doc, 0, &html);
	static const char *const said[] = {
		"0.71 (0.38 to 1.33)", "2025-07-03", "118",
		"Beyond the band: 1 of 2 before, 0", "0.41 (0.37 to 0.87)",
		"7 results of later sites or pulls", "Pull by pull, site by site",
		"3 results known between limits", "fewer than 10 patients",
	};

	char *line = unwrapped(pd_buf_text(&text));

	for (size_t k = 0; k < COUNT(said); k++)
		ck_assert_msg(strstr(line, said[k]) != NULL,
		              "'%s' is not said", said[k]);
	free(line);
	words_of_text(pd_buf_text(&text), &a);
	words_of_html(pd_buf_text(&html), &b);
	for (size_t k = 0; k < a.n; k++)
		ck_assert_msg(words_hold(&b, a.word[k]), "'%s' in text only",
		              a.word[k]);
	words_clear(&a);
	words_clear(&b);
	pd_buf_clear(&text);
	pd_buf_clear(&html);
	report_close(&r);
}
END_TEST

/* One reading, no column, no cell: none of them is drawn. */
START_TEST(nothing_to_draw)
{
	struct report r;
	pd_depletion d;
	pd_weighing w;

	report_open(&r);
	add_figures(&r, &d, &w);
	r.review->answer[SAMPLE_SECOND_PULL].n_readings = 1;
	w.n_alike = 0;
	r.review->n_depletions = 0;
	report_compose(&r);
	ck_assert_uint_eq(all_inside(r.doc), 13);
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
	tcase_add_test(t, further_figures);
	tcase_add_test(t, nothing_to_draw);
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
