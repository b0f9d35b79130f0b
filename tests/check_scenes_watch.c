/*
 * check_scenes_watch.c - charts in time and operators beside each other read
 * back: places agree with numbers, signals are marked in their panel, names
 * never lie on each other, whatever the numbers.
 */
#include "report/figure_watch.h"
#include "scene_read.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

enum { CASES = 2000, BASE = 400, OPERATORS = 14 };

static pd_arena *arena;
static double time_[CASES], average[CASES], half[CASES], up[CASES],
    down[CASES];

static void setup(void)
{
	arena = pd_arena_new();
	for (size_t i = 0; i < CASES; i++) {
		bool on = i >= BASE;

		time_[i] = 2017 + (double)i / 250;
		average[i] = on ? 0.3 * sin((double)i / 40) : 0;
		half[i] = on ? 0.6 : 0;
		up[i] = on ? 1 + sin((double)i / 70) : 0;
		down[i] = on ? 1 - cos((double)i / 90) : 0;
	}
}

static void teardown(void)
{
	pd_arena_free(arena);
}

static pd_chart chart = { "all cases", CASES, BASE, 5, 2.7, time_, average,
	                  half, up, down, 0 };

static pd_watch_answer answer(void)
{
	return (pd_watch_answer){ .scale = PD_RATIO, .n_charts = 1,
		                  .chart = &chart };
}

/* One case far out in a long history is not thinned away, in either chart. */
START_TEST(extremes_stay)
{
	pd_watch_answer a = answer();
	double least = INFINITY;

	average[1234] = 0.58;
	pd_scene *s = pd_figure_watch(arena, &a, _i);

	scene_sound(s, "watch");
	const pd_mark *line = scene_mark(s, PD_MARK_CHAIN, PD_INK_FIT, 0);

	ck_assert_uint_lt(line->n, 400);
	for (size_t k = 0; k < line->n; k++)
		least = fmin(least, line->xy[2 * k + 1]);
	average[1234] = 0;
	s = pd_figure_watch(arena, &a, _i);
	line = scene_mark(s, PD_MARK_CHAIN, PD_INK_FIT, 0);
	for (size_t k = 0; k < line->n; k++)
		ck_assert_double_gt(line->xy[2 * k + 1], least + 5);
}
END_TEST

/* An arrow a signal, in the panel of what raised it; other groups' none. */
START_TEST(signals_are_marked)
{
	static const struct { const char *chart; size_t arrows; } row[] = {
		{ "cumulative sum", 1 }, { "weighted average", 1 },
		{ "both", 2 }
	};
	pd_watch_answer a = answer();
	pd_signal g = { .group = chart.group, .time = 2021.5, .change = 1.2 };

	a.signal = &g;
	a.n_signals = 1;
	g.chart = row[_i].chart;
	ck_assert_uint_eq(scene_arrows(pd_figure_watch(arena, &a, false)),
	                  row[_i].arrows);
	g.change = 0.8;
	ck_assert_uint_eq(scene_arrows(pd_figure_watch(arena, &a, true)),
	                  row[_i].arrows);
	g.group = "operator x";
	ck_assert_uint_eq(scene_arrows(pd_figure_watch(arena, &a, false)), 0);
}
END_TEST

/* Many method versions, close to each other; one case; all baseline. */
START_TEST(crowded_and_empty)
{
	pd_watch_answer a = answer();
	pd_mark_at mark[40];
	pd_chart small = chart;

	for (size_t k = 0; k < COUNT(mark); k++)
		mark[k] = (pd_mark_at){ 2018 + 0.01 * (double)(k * k % 300),
			                "x" };
	a.mark = mark;
	a.n_marks = COUNT(mark);
	a.chart = &small;
	for (int narrow = 0; narrow < 2; narrow++) {
		small.n = CASES;
		small.n_base = BASE;
		scene_sound(pd_figure_watch(arena, &a, narrow), "crowded");
		small.n = 1;
		small.n_base = 0;
		scene_sound(pd_figure_watch(arena, &a, narrow), "one case");
		small.n = small.n_base = 60;
		scene_sound(pd_figure_watch(arena, &a, narrow), "baseline");
	}
}
END_TEST

/* Operators as alike as they come: no name on a name, at any width. */
START_TEST(names_keep_apart)
{
	pd_watch_answer a = { .scale = _i % 2 ? PD_RATIO : PD_DIFFERENCE };
	pd_funnel_row row[OPERATORS];
	double none = _i % 2 ? 1 : 0;
	double limit[] = { _i % 2 ? 0.8 : -2, _i % 2 ? 1.25 : 2 };

	for (size_t k = 0; k < OPERATORS; k++)
		row[k] = (pd_funnel_row){
			k % 3 ? "operator with a long name" : "op",
			100 + (_i < 2 ? 0 : 3 * k), none, none,
			none * 0.97 - 0.03, none * 1.03 + 0.03, limit[0],
			limit[1], limit[0], limit[1], false };
	a.funnel = row;
	for (a.n_funnel = 0; a.n_funnel <= OPERATORS; a.n_funnel++)
		for (int narrow = 0; narrow < 2; narrow++)
			scene_sound(pd_figure_funnel(arena, &a, narrow),
			            "funnel");
	a.n_funnel = 1;
	ck_assert_ptr_nonnull(scene_text(pd_figure_funnel(arena, &a, false),
	                                 "op"));
}
END_TEST

START_TEST(hostile_funnel)
{
	static const double v[] = { NAN, INFINITY, 0, 1, -3, 1e300, 0.5, 1e-9 };
	pd_funnel_row row[OPERATORS];
	size_t n = COUNT(v);

	for (size_t turn = 0; turn < 40; turn++) {
		pd_watch_answer a = { .scale = turn % 2 ? PD_RATIO
			                                : PD_DIFFERENCE,
			              .n_funnel = OPERATORS, .funnel = row };

		for (size_t k = 0; k < OPERATORS; k++)
			row[k] = (pd_funnel_row){
				"x", k * turn, v[(k + turn) % n],
				v[(2 * k + turn) % n], v[(3 * k + turn) % n],
				v[(5 * k + turn) % n], v[turn % n],
				v[turn / 2 % n], v[turn / 3 % n],
				v[turn / 5 % n], false };
		for (int narrow = 0; narrow < 2; narrow++)
			scene_sound(pd_figure_funnel(arena, &a, narrow),
			            "hostile funnel");
	}
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("scenes_watch");
	TCase *t = tcase_create("watch");

	tcase_set_timeout(t, 60);
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(t, extremes_stay, 0, 2);
	tcase_add_loop_test(t, signals_are_marked, 0, 3);
	tcase_add_test(t, crowded_and_empty);
	tcase_add_loop_test(t, names_keep_apart, 0, 4);
	tcase_add_test(t, hostile_funnel);
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
