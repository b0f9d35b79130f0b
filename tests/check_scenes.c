/*
 * check_scenes.c - the figures of readings, likeness, slopes and depletion read
 * back: places agree with numbers through the axis, nothing lies on anything,
 * nothing leaves the scene, whatever the numbers.
 */
#include "report/figure_alike.h"
#include "report/figure_axes.h"
#include "report/figure_depletion.h"
#include "report/figure_looks.h"
#include "scene_read.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

static pd_arena *arena;

static void setup(void)
{
	arena = pd_arena_new();
}

static void teardown(void)
{
	pd_arena_free(arena);
}

/* Places of the boxes (four-cornered areas) of an ink: the middle of box k. */
static bool box_middle(const pd_scene *s, pd_ink ink, size_t k, double xy[2])
{
	for (size_t i = 0; i < s->n_marks; i++) {
		const pd_mark *m = &s->mark[i];

		if (m->kind != PD_MARK_AREA || m->ink != ink || m->n != 4)
			continue;
		if (k--)
			continue;
		xy[0] = (m->xy[0] + m->xy[4]) / 2;
		xy[1] = (m->xy[1] + m->xy[5]) / 2;
		return true;
	}
	return false;
}

/* Two ticks of an axis tell its scale: the number and the place of each. */
struct scale {
	bool log;
	double v[2], at[2];
};

static double tick_value(const char *text)
{
	char plain[32];
	size_t n = 0;

	for (; *text && n < sizeof plain - 1; text++) {
		unsigned char c = (unsigned char)*text;

		/* U+2212 is E2 88 92; the space between thousands E2 80 AF */
		if (c == 0xe2) {
			if ((unsigned char)text[1] == 0x88)
				plain[n++] = '-';
			text += 2;
		} else {
			plain[n++] = (char)c;
		}
	}
	plain[n] = '\0';
	return strtod(plain, NULL);
}

/* The first and last number at the foot (or, upright, beside the axis). */
static struct scale read_scale(const pd_scene *s, bool log, bool foot,
                               double top, double bottom)
{
	struct scale a = { .log = log };
	size_t n = 0;

	for (size_t i = 0; i < s->n_marks; i++) {
		const pd_mark *m = &s->mark[i];

		if (m->kind != PD_MARK_TEXT || m->ink != PD_INK_MUTED ||
		    m->size != PD_FIGURE_TEXT || m->xy[1] < top ||
		    m->xy[1] > bottom ||
		    (foot ? m->anchor != PD_MIDDLE : m->anchor != PD_END))
			continue;
		a.v[n > 0] = tick_value(m->text);
		a.at[n > 0] = foot ? m->xy[0] : m->xy[1] - 4.5;
		n++;
	}
	ck_assert_uint_ge(n, 2);
	return a;
}

static double on_scale(const struct scale *a, double v)
{
	double x = a->log ? log(v) : v;
	double v0 = a->log ? log(a->v[0]) : a->v[0];
	double v1 = a->log ? log(a->v[1]) : a->v[1];

	return a->at[0] + (x - v0) / (v1 - v0) * (a->at[1] - a->at[0]);
}

/* --- readings ----------------------------------------------------------- */

static pd_answer *read_answer(size_t n, pd_reading *r, pd_scale scale)
{
	pd_answer *a = PD_NEW(arena, pd_answer, 1);

	a->effect = PD_NEW(arena, pd_effect, 1);
	a->effect[0].verdict = PD_NO_MATTER;
	a->n_effects = 1;
	a->scale = scale;
	a->margin = scale == PD_RATIO ? 0.8 : 2;
	a->n_readings = n;
	a->reading = r;
	return a;
}

static const struct {
	double value, half, information;
} looked[] = {
	{ 0.31, 0.55, 24 }, { 0.12, 0.40, 57 }, { 0.17, 0.31, 81 },
	{ 0.083, 0.22, 160 }
};

static void fill(pd_reading *r)
{
	for (size_t k = 0; k < COUNT(looked); k++) {
		double v = looked[k].value, h = looked[k].half;
		double se = 1 / sqrt(looked[k].information);

		r[k] = (pd_reading){ "2026-01-05",       40 + k,
			             exp(v),             exp(v - h),
			             exp(v + h),         looked[k].information,
			             v / se,             h / se };
	}
}

/* Squares lie where ratio, information and standard errors say. */
START_TEST(readings_lie_where_they_say)
{
	pd_reading r[COUNT(looked)];

	fill(r);
	pd_answer *a = read_answer(COUNT(r), r, PD_RATIO);
	pd_scene *s = pd_figure_looks(arena, a, "ratio", _i);
	double foot = s->height - 46, at[2];

	scene_sound(s, "readings");
	struct scale ratio = read_scale(s, true, false, 20, 190);
	struct scale z = read_scale(s, false, false, 201, foot + 4);
	struct scale x = read_scale(s, false, true, foot + 10, foot + 20);

	for (size_t k = 0; k + 1 < COUNT(r); k++) {
		ck_assert(box_middle(s, PD_INK_FIT, k, at));
		ck_assert_double_eq_tol(at[0], on_scale(&x, r[k].information),
		                        0.6);
		ck_assert_double_eq_tol(at[1], on_scale(&ratio, r[k].value),
		                        0.6);
	}
	for (size_t k = 0; k < COUNT(r); k++) {
		ck_assert(box_middle(s, PD_INK_FIT, COUNT(r) - 1 + k, at));
		ck_assert_double_eq_tol(at[1], on_scale(&z, r[k].z), 0.6);
	}
	/* the newest carries its sign, and is numbered */
	ck_assert(box_middle(s, PD_INK_SAME, 0, at));
	ck_assert_double_eq_tol(at[1], on_scale(&ratio, r[3].value), 0.6);
	ck_assert_ptr_nonnull(scene_text(s, "4"));
	ck_assert_ptr_nonnull(scene_text(s, "ratio, log axis"));
	ck_assert_uint_eq(scene_arrows(s), 0);
}
END_TEST

/* A z beyond its boundary is beyond it in the picture, and only then. */
START_TEST(boundary_divides)
{
	pd_reading r[COUNT(looked)];

	fill(r);
	for (int past = 0; past < 2; past++) {
		double at[2];

		r[0].z = past ? 3.4 : 2.6;
		r[0].bound = 3.01;
		pd_scene *s = pd_figure_looks(
		    arena, read_answer(1, r, PD_RATIO), "ratio", false);
		struct scale z =
		    read_scale(s, false, false, 201, s->height - 42);
		ck_assert(box_middle(s, PD_INK_FIT, 0, at));
		ck_assert_int_eq(at[1] < on_scale(&z, r[0].bound), past);
	}
}
END_TEST

static const double strange[] = { NAN,   INFINITY, -INFINITY, 0,  1e300,
	                          1e-300, -4,      1e9,       40, 1 };

/* Any numbers at all: sound, or nothing drawn. */
START_TEST(hostile_readings)
{
	enum { N = 60 };
	pd_reading r[N];
	size_t n = COUNT(strange);

	for (size_t k = 0; k < N; k++)
		r[k] = (pd_reading){ "", k, strange[k % n],
			             strange[k / 2 % n], strange[k / 3 % n],
			             strange[k / 5 % n], strange[k / 7 % n],
			             strange[k / 11 % n] };
	for (size_t from = 0; from < N; from += 7)
		for (int narrow = 0; narrow < 2; narrow++)
			for (int scale = 0; scale < 2; scale++) {
				pd_answer *a =
				    read_answer(N - from, r + from,
				                scale ? PD_RATIO
				                      : PD_DIFFERENCE);

				a->margin = strange[from % n];
				scene_sound(pd_figure_looks(arena, a,
				                            "a long title "
				                            "that no axis "
				                            "will ever hold "
				                            "in whole",
				                            narrow),
				            "hostile readings");
			}
}
END_TEST

/* A limit out of all proportion ends in an arrow and leaves the rest room. */
START_TEST(vast_interval_has_an_arrow)
{
	pd_reading r[COUNT(looked)];
	double at[2][2];

	fill(r);
	r[0].high = 1e8;
	pd_scene *s = pd_figure_looks(arena, read_answer(4, r, PD_RATIO),
	                              "ratio", false);

	ck_assert_uint_eq(scene_arrows(s), 1);
	ck_assert(box_middle(s, PD_INK_FIT, 0, at[0]));
	ck_assert(box_middle(s, PD_INK_FIT, 1, at[1]));
	ck_assert_double_gt(fabs(at[0][1] - at[1][1]), 10);
}
END_TEST

/* --- likeness ----------------------------------------------------------- */

static pd_alike alike[] = {
	{ "age", 61.2, 58.7, 0.213, 0.0004 },
	{ "sex: male", 0.48, 0.51, -0.061, -0.012 },
	{ "laboratory method version: lab-b 1", 0.9, 0.1, 1.83, 0 },
	{ "a column with a name as long as a whole sentence of a report, and "
	  "then some more", 1, 2, -0.4, 0.09 },
};

static pd_weighing weighing(size_t n)
{
	return (pd_weighing){ .n_alike = n, .alike = alike };
}

START_TEST(likeness_lies_where_it_says)
{
	pd_weighing w = weighing(COUNT(alike));
	pd_scene *s = pd_figure_alike(arena, &w, "a less b, SD", _i);
	double at[2];

	scene_sound(s, "likeness");
	struct scale x = read_scale(s, false, true, s->height - 36,
	                            s->height - 26);

	for (size_t i = 0; i < COUNT(alike); i++) {
		/* the key's square comes first, on a phone or not */
		ck_assert(box_middle(s, PD_INK_FIT, i + 1, at));
		ck_assert_double_eq_tol(at[0], on_scale(&x, alike[i].after),
		                        0.6);
		const pd_mark *ring =
		    scene_mark(s, PD_MARK_CHAIN, PD_INK_FIT, i + 1);

		ck_assert_ptr_nonnull(ring);
		ck_assert_double_eq_tol(ring->xy[0] - 4.6,
		                        on_scale(&x, alike[i].before), 0.6);
	}
	/* the band reaches 0.1 to either side */
	ck_assert(box_middle(s, PD_INK_BAND, 0, at));
	ck_assert_double_eq_tol(at[0], on_scale(&x, 0), 0.6);
	const pd_mark *band = scene_mark(s, PD_MARK_AREA, PD_INK_BAND, 0);

	ck_assert_double_eq_tol(band->xy[2], on_scale(&x, 0.1), 0.6);
	ck_assert_uint_eq(scene_arrows(s), 0);
}
END_TEST

START_TEST(hostile_likeness)
{
	pd_alike rows[64];
	pd_weighing w = { .alike = rows };
	size_t n = COUNT(strange);

	for (size_t i = 0; i < COUNT(rows); i++)
		rows[i] = (pd_alike){ i % 3 ? "x" : alike[3].name, 0, 0,
			              strange[i % n], strange[i / n % n] };
	for (w.n_alike = 0; w.n_alike <= COUNT(rows); w.n_alike += 16)
		for (int narrow = 0; narrow < 2; narrow++)
			scene_sound(pd_figure_alike(arena, &w,
			                            alike[3].name, narrow),
			            "hostile likeness");
	rows[0] = (pd_alike){ "far", 0, 0, -7, 2.5 };
	rows[1] = (pd_alike){ "none", 0, 0, NAN, NAN };
	w.n_alike = 2;
	pd_scene *s = pd_figure_alike(arena, &w, "SD", false);

	ck_assert_uint_eq(scene_arrows(s), 2);
	ck_assert_ptr_nonnull(scene_text(s, "no spread"));
}
END_TEST

/* --- depletion ---------------------------------------------------------- */

/* Two sites of three pulls; site 2's third pull rests on few, site 1's second
 * has its patients as points. */
static void fill_depletion(pd_depletion *d, const double *point)
{
	*d = (pd_depletion){ .scale = PD_RATIO, .level = 0.95, .least = 10,
		             .n_holes = 2, .n_pulls = 3 };
	for (size_t h = 0; h < PD_DEPLETION_HOLES; h++)
		for (size_t k = 0; k < PD_DEPLETION_PULLS; k++) {
			pd_depletion_cell *c = &d->cell[h][k];
			double v = 310 * pow(0.43, (double)k) *
			           pow(0.81, (double)h);

			c->ratio = c->ratio_low = c->ratio_high = NAN;
			c->centre = c->low = c->high = NAN;
			if (h >= 2 || k >= 3)
				continue;
			c->n_patients = c->n_results = 200;
			c->centre = v;
			c->low = v / 1.13;
			c->high = v * 1.13;
			if (h + k == 0)
				continue;
			c->n_both = 200;
			c->ratio = v / 310;
			c->ratio_low = v / 310 / 1.07;
			c->ratio_high = v / 310 * 1.07;
		}
	d->cell[1][2].n_patients = d->cell[1][2].n_both = 4;
	d->cell[0][1].n_patients = 3;
	d->cell[0][1].point = point;
}

static const pd_depletion_words spoken = { "CFU-F/mL", "to the first",
	                                   "fewer than 10 patients" };

START_TEST(depletion_lies_where_it_says)
{
	static const double point[] = { 97, 133, 171 };
	pd_depletion d;
	double at[2];

	fill_depletion(&d, point);
	pd_scene *s = pd_figure_depletion(arena, &d, &spoken, _i);
	double foot = s->height - 66;

	scene_sound(s, "depletion");
	struct scale value = read_scale(s, true, false, 24, 196);
	struct scale ratio = read_scale(s, true, false, 216, foot + 5);

	/* full squares: site 1 pulls 1 and 3 above (2 is few), site 2 pulls 1
	 * and 2; below site 1 pulls 2 and 3, site 2 pulls 1 and 2 */
	static const struct { size_t hole, pull; bool lower; } full[] = {
		{ 0, 0, false }, { 0, 2, false }, { 1, 0, false },
		{ 1, 1, false }, { 0, 1, true },  { 0, 2, true },
		{ 1, 0, true },  { 1, 1, true }
	};

	for (size_t k = 0; k < COUNT(full); k++) {
		const pd_depletion_cell *c =
		    &d.cell[full[k].hole][full[k].pull];

		ck_assert(box_middle(s, PD_INK_FIT, k, at));
		ck_assert_double_eq_tol(
		    at[1],
		    full[k].lower ? on_scale(&ratio, c->ratio)
		                  : on_scale(&value, c->centre),
		    0.6);
	}
	ck_assert(!box_middle(s, PD_INK_FIT, COUNT(full), at));
	/* empty ones: site 1 pull 2, site 2 pull 3 twice, and the key's */
	ck_assert(box_middle(s, PD_INK_PAGE, 0, at));
	ck_assert_double_eq_tol(at[1], on_scale(&value, d.cell[0][1].centre),
	                        0.6);
	ck_assert(box_middle(s, PD_INK_PAGE, 3, at));
	ck_assert(!box_middle(s, PD_INK_PAGE, 4, at));
	/* the points of the small cell */
	const pd_mark *dots = scene_mark(s, PD_MARK_DOTS, PD_INK_DATA, 0);

	ck_assert_uint_eq(dots->n, 3);
	ck_assert_double_eq_tol(dots->xy[3], on_scale(&value, 133), 0.6);
	ck_assert_uint_eq(scene_count(s, PD_MARK_DOTS, PD_INK_DATA), 1);
	ck_assert_ptr_nonnull(scene_text(s, "site 2"));
	ck_assert_ptr_nonnull(scene_text(s, "CFU-F/mL, log axis"));
	ck_assert_uint_eq(scene_arrows(s), 0);
}
END_TEST

START_TEST(hostile_depletion)
{
	size_t n = COUNT(strange);
	pd_depletion d;

	for (size_t turn = 0; turn < 80; turn++) {
		d = (pd_depletion){ .scale = turn % 2 ? PD_RATIO
			                              : PD_DIFFERENCE,
			            .least = 10, .n_holes = turn % 5,
			            .n_pulls = turn / 5 % 5 };
		for (size_t k = 0; k < 16; k++) {
			pd_depletion_cell *c = &d.cell[k / 4][k % 4];

			*c = (pd_depletion_cell){
				k, k, strange[(k + turn) % n],
				strange[(2 * k + turn) % n],
				strange[(3 * k + turn) % n],
				k % 3 ? NULL : strange, k,
				strange[(5 * k + turn) % n],
				strange[(7 * k + turn) % n],
				strange[(k * k + turn) % n] };
			if (c->n_patients > n)
				c->point = NULL;
		}
		for (int narrow = 0; narrow < 2; narrow++)
			scene_sound(pd_figure_depletion(arena, &d, &spoken,
			                                narrow),
			            "hostile depletion");
	}
}
END_TEST

/* Without a second pull of a side there is no lower row. */
START_TEST(one_cell_is_one_row)
{
	pd_depletion d;

	fill_depletion(&d, NULL);
	d.n_holes = d.n_pulls = 1;
	pd_scene *s = pd_figure_depletion(arena, &d, &spoken, false);

	scene_sound(s, "one cell");
	ck_assert_double_le(s->height, 270);
	ck_assert_ptr_null(scene_text(s, "to the first, log axis"));
}
END_TEST

/* --- slopes ------------------------------------------------------------- */

static pd_answer *slope_answer(size_t n, const pd_strip *strip)
{
	static const double x[] = { 2, 4, 8 }, y[] = { 30, 21, 15 };
	static const double low[] = { 26, 20, 11 }, high[] = { 35, 22, 20 };
	pd_answer *a = PD_NEW(arena, pd_answer, 1);

	a->log_x = true;
	a->points = (pd_points){ .n_xy = 3, .x = x, .y = y, .n_line = 3,
		                 .line_x = x, .line_y = y, .line_low = low,
		                 .line_high = high, .n_strip = n,
		                 .strip = strip };
	return a;
}

/* Bars as wide and as high as cells say; the line through its places. */
START_TEST(strip_lies_under_its_line)
{
	static const pd_strip strip[] = {
		{ 1.2, 2, 1.5, 13, 13, NAN, NAN, NAN },
		{ 2, 4, 2.8, 71, 60, 26, 24, 28 },
		{ 4, 8, 5.7, 142, 99, 18, 16, 20 },
	};
	pd_answer *a = slope_answer(COUNT(strip), strip);
	pd_figure_words w = { "CFU-F/mL", "mL per site", NULL, NULL, NULL };
	pd_scene *s = pd_figure_slope(arena, a, &w, _i);

	scene_sound(s, "strip");
	double foot = s->height - 50;
	struct scale x = read_scale(s, true, true, foot + 10, foot + 20);
	struct scale y = read_scale(s, true, false, 10, 270);
	const pd_mark *tall = scene_mark(s, PD_MARK_AREA, PD_INK_DATA, 2);
	const pd_mark *half = scene_mark(s, PD_MARK_AREA, PD_INK_DATA, 1);
	const pd_mark *line = scene_mark(s, PD_MARK_CHAIN, PD_INK_FIT, 2);

	ck_assert_double_eq_tol(tall->xy[0], on_scale(&x, 4) + 0.5, 0.6);
	ck_assert_double_eq_tol(tall->xy[2], on_scale(&x, 8) - 0.5, 0.6);
	ck_assert_double_eq_tol((foot - half->xy[1]) / (foot - tall->xy[1]),
	                        0.5, 0.01);
	ck_assert_ptr_nonnull(scene_text(s, "142"));
	for (size_t k = 0; k < 3; k++) {
		ck_assert_double_eq_tol(line->xy[2 * k],
		                        on_scale(&x, a->points.line_x[k]),
		                        0.6);
		ck_assert_double_eq_tol(line->xy[2 * k + 1],
		                        on_scale(&y, a->points.line_y[k]),
		                        0.6);
	}
	ck_assert_uint_eq(scene_arrows(s), 0);
}
END_TEST

START_TEST(hostile_slopes)
{
	enum { N = 30 };
	size_t n = COUNT(strange);
	double v[6][N];
	pd_strip strip[14];
	pd_figure_words w = { "", "x", NULL, NULL, NULL };

	for (size_t turn = 0; turn < 60; turn++) {
		pd_answer a = { .scale = turn % 2 ? PD_RATIO : PD_DIFFERENCE,
			        .log_x = turn / 2 % 2 };

		for (size_t k = 0; k < N; k++)
			for (size_t j = 0; j < 6; j++)
				v[j][k] = strange[(k * (j + 1) + turn) % n];
		for (size_t k = 0; k < COUNT(strip); k++)
			strip[k] = (pd_strip){ strange[(k + turn) % n],
				               strange[(3 * k + turn) % n],
				               strange[k % n], k * turn, 1,
				               NAN, NAN, NAN };
		a.points = (pd_points){ .n_xy = turn % N, .x = v[0],
			                .y = v[1], .n_line = turn / 2 % N,
			                .line_x = v[2], .line_y = v[3],
			                .line_low = v[4], .line_high = v[5],
			                .n_strip = turn % COUNT(strip),
			                .strip = strip };
		for (int narrow = 0; narrow < 2; narrow++)
			scene_sound(pd_figure_slope(arena, &a, &w, narrow),
			            "hostile slope");
	}
}
END_TEST

/* Limits of the band that leave the axis end in an arrow. */
START_TEST(band_past_the_axis_has_an_arrow)
{
	double x[] = { 1, 2, 3 }, y[] = { 10, 11, 12 };
	double low[] = { 9, 10, 1e-7 }, high[] = { 11, 12, 1e9 };
	pd_answer a = { .points = { .n_line = 3, .line_x = x, .line_y = y,
		                    .line_low = low, .line_high = high } };
	pd_figure_words w = { "v", "x", NULL, NULL, NULL };

	ck_assert_uint_eq(
	    scene_arrows(pd_figure_slope(arena, &a, &w, false)), 2);
	high[2] = 13;
	ck_assert_uint_eq(
	    scene_arrows(pd_figure_slope(arena, &a, &w, false)), 1);
	low[2] = 11;
	ck_assert_uint_eq(
	    scene_arrows(pd_figure_slope(arena, &a, &w, false)), 0);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("scenes");
	TCase *t = tcase_create("scenes");

	tcase_set_timeout(t, 60);
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(t, readings_lie_where_they_say, 0, 2);
	tcase_add_test(t, boundary_divides);
	tcase_add_test(t, hostile_readings);
	tcase_add_test(t, vast_interval_has_an_arrow);
	tcase_add_loop_test(t, likeness_lies_where_it_says, 0, 2);
	tcase_add_test(t, hostile_likeness);
	tcase_add_loop_test(t, depletion_lies_where_it_says, 0, 2);
	tcase_add_test(t, hostile_depletion);
	tcase_add_test(t, one_cell_is_one_row);
	tcase_add_loop_test(t, strip_lies_under_its_line, 0, 2);
	tcase_add_test(t, hostile_slopes);
	tcase_add_test(t, band_past_the_axis_has_an_arrow);
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
