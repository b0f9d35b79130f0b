/*
 * check_page_figures.c - figures on a sheet: how a scene lies on it, what a PNG
 * says beside its dots, which files there are; and that the drawing survives
 * whatever its words are. What is drawn is read back by figure_files.sh.
 */
#include "report/block.h"
#include "report/page_figure.h"
#include "report/png_chunk.h"
#include "report_read.h"
#include "report_sample.h"

#include <check.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

static const struct {
	double width, text, mm;
	double scale, text_pt, left_pt;
} fits[] = {
	/* 85 mm are 240.9449 points, 174 mm 493.2283; by hand */
	{ 300, 12, 85, 0.803150, 9.637795, 0 },
	{ 940, 13.4, 174, 0.524711, 7.031127, 0 },
	/* not blown up: 10 points, and in the middle */
	{ 300, 12, 174, 0.833333, 10, 121.614173 },
	{ 100, 20, 85, 0.5, 10, 95.472441 },
};

START_TEST(sheet_fit)
{
	pd_arena *arena = pd_arena_new();
	pd_scene *s = pd_scene_new(arena, fits[_i].width, 77);

	pd_scene_text(s, PD_INK_TEXT, fits[_i].text + 3, PD_START, false, 0, 9,
	              "larger");
	pd_scene_text(s, PD_INK_TEXT, fits[_i].text, PD_START, false, 0, 9, "x");
	pd_fit f = pd_page_fit(s, fits[_i].mm);

	ck_assert_double_eq_tol(f.scale, fits[_i].scale, 1e-6);
	ck_assert_double_eq_tol(f.text_pt, fits[_i].text_pt, 1e-6);
	ck_assert_double_eq_tol(f.left_pt, fits[_i].left_pt, 1e-6);
	ck_assert_double_eq_tol(f.height_pt, 77 * f.scale, 1e-9);
	ck_assert_double_eq_tol(f.width_pt, fits[_i].mm * 72 / 25.4, 1e-9);
	pd_arena_free(arena);
}
END_TEST

START_TEST(sheet_without_text)
{
	pd_arena *arena = pd_arena_new();
	pd_scene *s = pd_scene_new(arena, 50, 20);
	pd_fit f = pd_page_fit(s, 85);

	ck_assert_double_eq_tol(f.scale, 240.944882 / 50, 1e-6);
	ck_assert(isinf(f.text_pt));
	pd_arena_free(arena);
}
END_TEST

/* Known sums: that of "123456789" under this CRC (catalogues of CRCs, its
 * check value), and that every PNG ends with. */
START_TEST(png_sums)
{
	ck_assert_uint_eq(pd_png_crc("123456789", 9), 0xcbf43926u);
	ck_assert_uint_eq(pd_png_crc("IEND", 4), 0xae426082u);
	ck_assert_uint_eq(pd_png_crc("", 0), 0);
}
END_TEST

/* The head of a picture of 1 x 1 dot, and its end. */
static const char small_png[] =
    "\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x8\2\0\0\0\x90\x77\x53\xde"
    "\0\0\0\0IEND\xae\x42\x60\x82";

START_TEST(png_words)
{
	static const char want[] =
	    "\0\0\0\x9pHYs\0\0\x5c\x46\0\0\x5c\x46\1";
	pd_buf out;

	pd_buf_init(&out);
	ck_assert(pd_png_describe(small_png, sizeof small_png - 1, 600, "a",
	                          "", &out));
	/* 600 dots an inch are 23622 (0x5c46) a metre */
	ck_assert_mem_eq(out.data, small_png, 33);
	ck_assert_mem_eq(out.data + 33, want, sizeof want - 1);
	/* pHYs: 9 bytes of data, iTXt: "Title", 5 zeros and a letter; 12 of
	 * each chunk beside; no description, as it is empty */
	ck_assert_uint_eq(out.length, sizeof small_png - 1 + 21 + 23);
	ck_assert_mem_eq(out.data + 54, "\0\0\0\x0b" "iTXtTitle\0\0\0\0\0a", 19);
	ck_assert_mem_eq(out.data + out.length - 12, small_png + 33, 12);
	pd_buf_clear(&out);
	ck_assert(!pd_png_describe(small_png, 20, 600, "a", "b", &out));
	ck_assert(!pd_png_describe("GIF89a.............................", 35,
	                           600, "a", "b", &out));
}
END_TEST

static const struct {
	const char *name;
	bool ours;
} names[] = {
	{ "figure-1.svg", true },          { "figure-12-85mm.pdf", true },
	{ "figure-3-174mm.png", true },    { "figures.txt", true },
	{ "figure-.svg", false },          { "figure-1.pdf", false },
	{ "figure-1-85mm.svg", false },    { "figure-1-86mm.pdf", false },
	{ "figure-1-85mm.pdf.x", false },  { "Figure-1.svg", false },
	{ "", false },                     { "figure-", false },
	{ "figure-1a.svg", false },
};

START_TEST(picture_names)
{
	ck_assert_int_eq(pd_picture_name(names[_i].name), names[_i].ours);
}
END_TEST

/* Every figure of the sample has every file, and its name is one. */
START_TEST(pictures_of_a_document)
{
	struct report r;
	pd_picture p;
	size_t n = 0;

	report_open(&r);
	report_compose(&r);
	ck_assert_uint_ge(pd_doc_figures(r.doc), 13);
	for (size_t i = 0; i < pd_doc_figures(r.doc) * PD_PICTURE_FILES; i++) {
		bool made = pd_doc_picture(r.doc, i, &p);

		ck_assert_msg(made, "%s is not made", p.name);
		ck_assert(pd_picture_name(p.name));
		n += made;
	}
	ck_assert_uint_eq(n, pd_doc_figures(r.doc) * PD_PICTURE_FILES);
	ck_assert(!pd_doc_picture(r.doc, n, &p));
	report_close(&r);
}
END_TEST

/* What is too small to be read at a width, or too high, is not made. */
START_TEST(pictures_left_out)
{
	pd_doc *d = pd_doc_new("t", "en");
	pd_scene *wide = pd_scene_new(d->arena, 2000, 100);
	pd_scene *high = pd_scene_new(d->arena, 300, 3000);
	bool made[PD_PICTURE_FILES];
	pd_picture p;
	pd_error err = { 0 };
	pd_buf out;

	pd_scene_text(wide, PD_INK_TEXT, 12, PD_START, false, 0, 20, "wide");
	pd_scene_text(high, PD_INK_TEXT, 12, PD_START, false, 0, 20, "high");
	ck_assert_ptr_nonnull(pd_doc_figure(d, "one", "words", wide, wide));
	ck_assert_ptr_nonnull(pd_doc_figure(d, "two", "words", wide, high));
	for (size_t i = 0; i < PD_PICTURE_FILES; i++)
		made[i] = pd_doc_picture(d, i, &p);
	ck_assert(made[0] && !made[1] && !made[2] && !made[3] && !made[4]);
	for (size_t i = 0; i < PD_PICTURE_FILES; i++)
		made[i] = pd_doc_picture(d, PD_PICTURE_FILES + i, &p);
	ck_assert(made[0] && made[1] && made[2] && !made[3] && !made[4]);
	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_picture_list(d, &out, &err), PD_OK);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&out),
	                             "none 174 mm wide as PDF: its text would "
	                             "be too small"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&out), "none 85 mm wide as "
	                             "PNG: it would be too high"));
	ck_assert_ptr_null(strstr(pd_buf_text(&out), "figure-1-85mm"));
	pd_buf_reset(&out);
	p = (pd_picture){ .figure = 1, .form = PD_PICTURE_PDF, .width_mm = 85 };
	ck_assert_int_eq(pd_doc_write_picture(d, &p, &out, &err), PD_USAGE);
	p.figure = 3;
	ck_assert_int_eq(pd_doc_write_picture(d, &p, &out, &err), PD_USAGE);
	pd_buf_clear(&out);
	pd_doc_free(d);
}
END_TEST

/* The standalone drawing says all itself, and words stay words. */
START_TEST(svg_file)
{
	pd_doc *d = pd_doc_new("t", "en");
	pd_scene *s = pd_scene_new(d->arena, 100, 50);
	const pd_picture p = { .figure = 1, .form = PD_PICTURE_SVG };
	pd_error err = { 0 };
	pd_buf out;

	pd_scene_text(s, PD_INK_LOSS, 12, PD_END, true, 9, 20, "<&\"'>\x01");
	pd_scene_box(s, PD_INK_BAND, 1, 2, 3, 4);
	pd_scene_sign(s, PD_NOT_SETTLED, PD_INK_OPEN, 5, 5, 3);
	ck_assert_ptr_nonnull(pd_doc_figure(d, "a < b", "]]>", s, s));
	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_picture(d, &p, &out, &err), PD_OK);
	const char *text = pd_buf_text(&out);
	static const char *const holds[] = {
		"<?xml version=\"1.0\" encoding=\"UTF-8\"?>",
		"xmlns=\"http://www.w3.org/2000/svg\"",
		"role=\"img\"", "xml:lang=\"en\"",
		"<title id=\"figure-t\">a &lt; b</title>",
		"<desc id=\"figure-d\">]]&gt;</desc>",
		"fill=\"#a33f00\" font-weight=\"bold\"",
		"stroke-dasharray=\"2 3\"",
		"fill=\"#ffffff\" stroke=\"#574b73\"", "&lt;&amp;",
	};

	for (size_t i = 0; i < COUNT(holds); i++)
		ck_assert_msg(strstr(text, holds[i]), "no %s", holds[i]);
	ck_assert_ptr_null(strstr(text, "class="));
	ck_assert_ptr_null(strchr(text, '\x01'));
	pd_buf_clear(&out);
	pd_doc_free(d);
}
END_TEST

static const char *const words[] = {
	"plain", "", " ", "<b>&amp;</b>", "ffi fl \xc3\xa9\xc3\x9f",
	"\xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d", /* Hebrew */
	"\xe4\xb8\xad\xe6\x96\x87",         /* not in the font */
	"\xf0\x9f\x98\x80", "\xff\xfe broken \xc3", "a\x01\n\tb",
	"e\xcc\x81\xcc\x81\xcc\x81\xcc\x81",
	"a very long word that has to be set much narrower than it likes to be",
};

/* Any words, PDF and PNG: drawn, and the same bytes twice. */
START_TEST(page_takes_any_words)
{
	const pd_sheet sheet = { 85, words[0], words[0], "2026-01-05" };
	pd_arena *arena = pd_arena_new();
	pd_scene *s = pd_scene_new(arena, 300, 120);
	pd_error err = { 0 };
	pd_buf out[4];

	if (pd_page_ready(&err) != PD_OK) {
		ck_assert(err.status == PD_USAGE || err.status == PD_NO_INPUT);
		pd_arena_free(arena);
		return;
	}
	pd_scene_text(s, PD_INK_TEXT, 12, PD_MIDDLE, true, 150, 40, words[_i]);
	pd_scene_side_text(s, PD_INK_MUTED, 12, 20, 60, words[_i]);
	pd_scene_line(s, PD_INK_AXIS, 1, true, 0, 0, 300, 120);
	for (size_t k = 0; k < 4; k++) {
		pd_buf_init(&out[k]);
		ck_assert_int_eq((k < 2 ? pd_page_pdf : pd_page_png)(
		                     s, &sheet, &out[k], &err), PD_OK);
	}
	for (size_t k = 0; k < 4; k += 2) {
		ck_assert_uint_gt(out[k].length, 1000);
		ck_assert_uint_eq(out[k].length, out[k + 1].length);
		ck_assert_mem_eq(out[k].data, out[k + 1].data, out[k].length);
	}
	ck_assert_mem_eq(out[0].data, "%PDF-1.", 7);
	ck_assert_mem_eq(out[2].data, small_png, 16);
	for (size_t k = 0; k < 4; k++)
		pd_buf_clear(&out[k]);
	pd_arena_free(arena);
}
END_TEST

START_TEST(page_refuses_the_too_high)
{
	const pd_sheet sheet = { 85, "t", "d", NULL };
	pd_arena *arena = pd_arena_new();
	pd_scene *s = pd_scene_new(arena, 100, 700);
	pd_error err = { 0 };
	pd_buf out;

	pd_buf_init(&out);
	ck_assert_int_ne(pd_page_png(s, &sheet, &out, &err), PD_OK);
	ck_assert_uint_eq(out.length, 0);
	pd_buf_clear(&out);
	pd_arena_free(arena);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("page figures");
	TCase *t = tcase_create("page figures");

	tcase_set_timeout(t, 60);
	/* so that the checks of memory see what is ours */
	tcase_add_checked_fixture(t, NULL, pd_picture_release);
	tcase_add_loop_test(t, sheet_fit, 0, COUNT(fits));
	tcase_add_test(t, sheet_without_text);
	tcase_add_test(t, png_sums);
	tcase_add_test(t, png_words);
	tcase_add_loop_test(t, picture_names, 0, COUNT(names));
	tcase_add_test(t, pictures_of_a_document);
	tcase_add_test(t, pictures_left_out);
	tcase_add_test(t, svg_file);
	tcase_add_loop_test(t, page_takes_any_words, 0, COUNT(words));
	tcase_add_test(t, page_refuses_the_too_high);
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
