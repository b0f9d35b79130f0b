/*
 * check_inks.c - can a drawing be read in grey and by everybody? Computed from
 * the colours the writers use, as WCAG 2.2 defines it: relative luminance
 * L = 0.2126 R + 0.7152 G + 0.0722 B of linearised sRGB, contrast
 * (L1 + 0.05) / (L2 + 0.05); text 4.5 on its ground (1.4.3), marks that carry
 * meaning 3 (1.4.11). Where two inks may not differ so much in luminance, the
 * marks they are used for must differ in kind, in dash or in width.
 */
#include "report/block.h"
#include "report/figure_map.h"
#include "report/figure_watch.h"
#include "report/html_style.h"
#include "report/ink.h"
#include "report_read.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

static double linear(double v)
{
	return v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
}

static double luminance(pd_colour c)
{
	return 0.2126 * linear(c.red) + 0.7152 * linear(c.green) +
	       0.0722 * linear(c.blue);
}

static double contrast(pd_colour a, pd_colour b)
{
	double x = luminance(a), y = luminance(b);

	return (fmax(x, y) + 0.05) / (fmin(x, y) + 0.05);
}

/* a laid over b, as writers blend: share by share, in sRGB as written. */
static pd_colour over(pd_colour a, double sheer, pd_colour b)
{
	return (pd_colour){ sheer * a.red + (1 - sheer) * b.red,
		            sheer * a.green + (1 - sheer) * b.green,
		            sheer * a.blue + (1 - sheer) * b.blue };
}

/* Known answers: black on white 21, and the grey that just misses 4.5. */
START_TEST(contrast_known)
{
	const pd_colour white = { 1, 1, 1 }, black = { 0, 0, 0 };
	const double g = 0x77 / 255.0;
	const pd_colour grey = { g, g, g };

	ck_assert_double_eq_tol(contrast(white, black), 21, 1e-12);
	/* #777777 on white is 4.48:1 by the same definition */
	ck_assert_double_eq_tol(contrast(grey, white), 4.478, 1e-3);
	ck_assert_double_eq(contrast(grey, grey), 1);
}
END_TEST

/* light on the screen, dark on the screen, light on paper */
static const struct scheme {
	bool dark, paper;
} schemes[] = { { false, false }, { true, false }, { false, true } };

static pd_colour ink(const struct scheme *s, pd_ink i)
{
	return pd_ink_colour(i, s->dark, s->paper);
}

/* The grounds a mark may lie on. */
static size_t grounds(const struct scheme *s, pd_colour to[3])
{
	to[0] = ink(s, PD_INK_PAGE);
	to[1] = ink(s, PD_INK_BAND);
	to[2] = over(ink(s, PD_INK_FIT_BAND), PD_FIT_BAND_SHEER, to[0]);
	return 3;
}

static const pd_ink text_inks[] = { PD_INK_TEXT, PD_INK_MUTED, PD_INK_GAIN,
	                            PD_INK_LOSS, PD_INK_SAME, PD_INK_OPEN };

START_TEST(text_has_contrast)
{
	const struct scheme *s = &schemes[_i];
	pd_colour ground[3];
	size_t n = grounds(s, ground);

	for (size_t i = 0; i < COUNT(text_inks); i++)
		for (size_t k = 0; k < n; k++) {
			double c = contrast(ink(s, text_inks[i]), ground[k]);

			ck_assert_msg(c >= 4.5, "ink %d on ground %zu: %.2f",
			              (int)text_inks[i], k, c);
		}
	/* the greys of a map, with the numbers written on them */
	ck_assert_double_ge(contrast(ink(s, PD_INK_TEXT),
	                             ink(s, PD_INK_GRID)), 4.5);
	ck_assert_double_ge(contrast(ink(s, PD_INK_PAGE),
	                             ink(s, PD_INK_MUTED)), 4.5);
	ck_assert_double_ge(contrast(ink(s, PD_INK_PAGE),
	                             ink(s, PD_INK_AXIS)), 4.5);
}
END_TEST

/* Marks with meaning, each as sheer as it is drawn. */
static const pd_mark drawn[] = {
	{ .kind = PD_MARK_LINES, .ink = PD_INK_AXIS },
	{ .kind = PD_MARK_LINES, .ink = PD_INK_MUTED }, /* and edges */
	{ .kind = PD_MARK_LINES, .ink = PD_INK_GAIN },
	{ .kind = PD_MARK_LINES, .ink = PD_INK_LOSS },
	{ .kind = PD_MARK_AREA, .ink = PD_INK_SAME },
	{ .kind = PD_MARK_AREA, .ink = PD_INK_OPEN },
	{ .kind = PD_MARK_LINES, .ink = PD_INK_DATA },
	{ .kind = PD_MARK_CHAIN, .ink = PD_INK_DATA },
	{ .kind = PD_MARK_DOTS, .ink = PD_INK_DATA },
	{ .kind = PD_MARK_CHAIN, .ink = PD_INK_FIT },
};

START_TEST(marks_have_contrast)
{
	const struct scheme *s = &schemes[_i];
	pd_colour ground[3];
	size_t n = grounds(s, ground);

	for (size_t i = 0; i < COUNT(drawn); i++)
		for (size_t k = 0; k < n; k++) {
			pd_colour own = over(ink(s, drawn[i].ink),
			                     pd_mark_sheer(&drawn[i]),
			                     ground[k]);
			double c = contrast(own, ground[k]);

			ck_assert_msg(c >= 3, "mark %zu on ground %zu: %.2f",
			              i, k, c);
		}
}
END_TEST

/* The pale grounds are too pale for 3:1, so each has its edge. */
START_TEST(grounds_have_edges)
{
	static const double xy[] = { 0, 0, 5, 0, 5, 5, 0, 5 };
	pd_arena *arena = pd_arena_new();
	pd_scene *s = pd_scene_new(arena, 10, 10);

	for (int i = 0; i < PD_N_INKS; i++)
		pd_scene_area(s, (pd_ink)i, 4, xy);
	for (size_t i = 0; i < s->n_marks; i++) {
		pd_ink k = s->mark[i].ink;

		ck_assert_int_eq(pd_mark_edged(&s->mark[i]),
		                 k == PD_INK_BAND || k == PD_INK_FIT_BAND);
	}
	ck_assert(pd_mark_edge_dotted(&s->mark[PD_INK_BAND]));
	ck_assert(!pd_mark_edge_dotted(&s->mark[PD_INK_FIT_BAND]));
	ck_assert_ptr_nonnull(strstr(pd_html_style, ".area.i-band,"
	                             ".area.i-fitband{stroke:var(--muted)"));
	pd_arena_free(arena);
}
END_TEST

/* The style sheet of the page has these colours and no others of the names. */
START_TEST(page_has_these_colours)
{
	const char *dark = strstr(pd_html_style, "prefers-color-scheme:dark");
	char want[64];

	ck_assert_ptr_nonnull(dark);
#define IN_PAGE(name, variable, class, l, d)                                  \
	snprintf(want, sizeof want, "--%s:%s;", variable, l);                 \
	ck_assert_ptr_nonnull(strstr(pd_html_style, want));                   \
	snprintf(want, sizeof want, "--%s:%s;", variable, d);                 \
	ck_assert_ptr_nonnull(strstr(dark, want));                            \
	snprintf(want, sizeof want, ".%s{color:var(--%s)}", class, variable); \
	ck_assert_ptr_nonnull(strstr(pd_html_style, want));
	PD_INK_LIST(IN_PAGE)
#undef IN_PAGE
}
END_TEST

/* ---- two inks in one drawing -------------------------------------------- */

/* Inks that stand for something; those of the verdicts are one kind, told
 * apart by their signs. */
static int group_of(pd_ink i)
{
	return i == PD_INK_DATA  ? 1
	       : i == PD_INK_FIT ? 2
	       : i == PD_INK_GAIN || i == PD_INK_LOSS || i == PD_INK_SAME ||
	                 i == PD_INK_OPEN
	           ? 3
	           : 0;
}

/* Do two marks look the same but for their ink? */
static bool alike(const pd_mark *a, const pd_mark *b)
{
	bool line_a = a->kind == PD_MARK_LINES || a->kind == PD_MARK_CHAIN;
	bool line_b = b->kind == PD_MARK_LINES || b->kind == PD_MARK_CHAIN;

	if (a->kind == PD_MARK_TEXT || b->kind == PD_MARK_TEXT ||
	    line_a != line_b || (!line_a && a->kind != b->kind))
		return false;
	if (a->dashed != b->dashed || a->hollow != b->hollow)
		return false;
	if (a->kind == PD_MARK_AREA)
		return a->n == b->n;
	return fmax(a->size, b->size) < 1.5 * fmin(a->size, b->size);
}

static void told_apart(const pd_scene *s, const char *what)
{
	for (size_t i = 0; i < s->n_marks; i++)
		for (size_t k = 0; k < i; k++) {
			const pd_mark *a = &s->mark[i], *b = &s->mark[k];
			int ga = group_of(a->ink), gb = group_of(b->ink);

			if (!ga || !gb || ga == gb || !alike(a, b))
				continue;
			for (size_t j = 0; j < COUNT(schemes); j++) {
				const struct scheme *h = &schemes[j];
				pd_colour page = ink(h, PD_INK_PAGE);
				double c = contrast(
				    over(ink(h, a->ink), pd_mark_sheer(a), page),
				    over(ink(h, b->ink), pd_mark_sheer(b), page));

				ck_assert_msg(c >= 3, "%s: inks %d and %d are "
				              "alike in grey (%.2f)", what,
				              (int)a->ink, (int)b->ink, c);
			}
		}
}

START_TEST(inks_together_are_told_apart)
{
	struct report r;
	unsigned n = 0;

	report_open(&r);
	report_compose(&r);
	for (const pd_block *b = r.doc->first; b; b = b->next) {
		if (b->kind != PD_BLOCK_FIGURE)
			continue;
		told_apart(b->figure->scene, b->figure->title);
		told_apart(b->figure->narrow, b->figure->title);
		n++;
	}
	ck_assert_uint_ge(n, 13);
	report_close(&r);
}
END_TEST

START_TEST(charts_are_told_apart)
{
	enum { N = 40 };
	double time[N], average[N], half[N], up[N], down[N];
	const pd_funnel_row row = { "op-a", 30,  1.1, 1.05, 0.9,
		                    1.2,    0.8, 1.3, 0.7,  1.4, false };
	pd_funnel_row rows[2] = { row, row };
	pd_chart c = { "all cases", N, 12, 4.2, 2.9, time, average,
		       half, up, down, 0 };
	pd_watch_answer a = { .scale = PD_RATIO, .n_funnel = 2,
		              .funnel = rows, .n_charts = 1, .chart = &c };
	pd_arena *arena = pd_arena_new();

	rows[1].n = 95;
	for (int i = 0; i < N; i++) {
		time[i] = 2020 + i / 10.0;
		average[i] = 0.4 * sin(i / 3.0);
		half[i] = 1 - exp(-i - 1.0);
		up[i] = fmax(0, 3 * sin(i / 5.0));
		down[i] = fmax(0, -3 * sin(i / 5.0));
	}
	for (int narrow = 0; narrow < 2; narrow++) {
		told_apart(pd_figure_watch(arena, &a, narrow), "watch");
		told_apart(pd_figure_funnel(arena, &a, narrow), "operators");
	}
	pd_arena_free(arena);
}
END_TEST

/* Every verdict has a sign of its own: corners, where the first lies, hollow
 * or filled. */
START_TEST(signs_differ)
{
	static const pd_verdict v[] = { PD_BETTER, PD_WORSE, PD_NO_MATTER,
		                        PD_NOT_SETTLED };
	pd_arena *arena = pd_arena_new();
	pd_scene *s = pd_scene_new(arena, 10, 10);

	for (size_t i = 0; i < COUNT(v); i++)
		pd_scene_sign(s, v[i], PD_INK_TEXT, 5, 5, 3);
	ck_assert_uint_eq(s->n_marks, COUNT(v));
	for (size_t i = 0; i < COUNT(v); i++)
		for (size_t k = 0; k < i; k++) {
			const pd_mark *a = &s->mark[i], *b = &s->mark[k];

			ck_assert(a->n != b->n || a->hollow != b->hollow ||
			          (a->xy[1] - 5) * (b->xy[1] - 5) < 0);
		}
	pd_arena_free(arena);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("inks");
	TCase *t = tcase_create("inks");

	tcase_add_test(t, contrast_known);
	tcase_add_loop_test(t, text_has_contrast, 0, COUNT(schemes));
	tcase_add_loop_test(t, marks_have_contrast, 0, COUNT(schemes));
	tcase_add_test(t, grounds_have_edges);
	tcase_add_test(t, page_has_these_colours);
	tcase_add_test(t, inks_together_are_told_apart);
	tcase_add_test(t, charts_are_told_apart);
	tcase_add_test(t, signs_differ);
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
