/*
 * check_pages.c - whole reports: two writers that say the same, pages that
 * hold their width and their tags whatever the words, and the files of
 * tests/golden-report. After a change that is meant:
 *   PERDRAW_GOLDEN=refresh tests/check_pages
 * then read the difference before it is committed.
 */
#include "report/clean.h"
#include "report/compose.h"
#include "report_read.h"
#include "report_sample.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

/* ---- whole reports ------------------------------------------------------ */

/* No line wider than the page, no trailing blank, no control character. */
static void fits(const char *text, size_t width)
{
	for (const char *p = text; *p;) {
		size_t n = strcspn(p, "\n");
		char line[4096];

		ck_assert_uint_lt(n, sizeof line);
		memcpy(line, p, n);
		line[n] = '\0';
		ck_assert_msg(pd_clean_width(line) <= width,
		              "wider than %zu: %s", width, line);
		ck_assert_msg(!n || line[n - 1] != ' ', "blank end: %s|", line);
		for (size_t i = 0; i < n; i++)
			ck_assert_msg((unsigned char)line[i] >= 0x20 &&
			                  line[i] != 0x7f,
			              "control character in: %s", line);
		p += n + (p[n] == '\n');
	}
}

START_TEST(text_fits_every_width)
{
	static const unsigned widths[] = {
		40, 47, 60, 72, 80, 99, 120, 163, 200
	};
	struct report r;

	report_open(&r);
	report_compose(&r);
	for (size_t i = 0; i < COUNT(widths); i++) {
		pd_buf b;

		report_write(r.doc, widths[i], &b);
		fits(pd_buf_text(&b), widths[i]);
		pd_buf_clear(&b);
	}
	report_close(&r);
}
END_TEST

START_TEST(text_widths_are_held_in_bounds)
{
	struct report r;
	pd_buf a, b;

	report_open(&r);
	report_compose(&r);
	report_write(r.doc, 12, &a);
	report_write(r.doc, 40, &b);
	ck_assert_str_eq(pd_buf_text(&a), pd_buf_text(&b));
	pd_buf_clear(&a);
	pd_buf_clear(&b);
	report_write(r.doc, 1000, &a);
	report_write(r.doc, 200, &b);
	ck_assert_str_eq(pd_buf_text(&a), pd_buf_text(&b));
	pd_buf_clear(&a);
	pd_buf_clear(&b);
	report_close(&r);
}
END_TEST

/* With colour the same text, and nothing but emphasis sequences beside it. */
START_TEST(colour_adds_only_emphasis)
{
	struct report r;
	pd_text_style style = { 80, true, false };
	pd_buf with, without, stripped;
	pd_error err;

	report_open(&r);
	report_compose(&r);
	report_write(r.doc, 80, &without);
	pd_buf_init(&with);
	pd_buf_init(&stripped);
	ck_assert_int_eq(pd_doc_write_text(r.doc, &style, &with, &err), PD_OK);
	for (const char *p = pd_buf_text(&with); *p; p++) {
		if (*p != '\x1b') {
			pd_buf_char(&stripped, *p);
			continue;
		}
		ck_assert_int_eq(p[1], '[');
		p += 2 + strspn(p + 2, "0123456789;");
		ck_assert_int_eq(*p, 'm');
	}
	ck_assert_uint_gt(with.length, without.length);
	ck_assert_str_eq(pd_buf_text(&stripped), pd_buf_text(&without));
	pd_buf_clear(&with);
	pd_buf_clear(&without);
	pd_buf_clear(&stripped);
	report_close(&r);
}
END_TEST

START_TEST(first_page_holds_the_verdicts)
{
	struct report r;
	pd_text_style style = { 80, false, true };
	pd_buf page, whole;
	pd_error err;

	report_open(&r);
	report_compose(&r);
	report_write(r.doc, 80, &whole);
	pd_buf_init(&page);
	ck_assert_int_eq(pd_doc_write_text(r.doc, &style, &page, &err), PD_OK);
	ck_assert(
	    strncmp(pd_buf_text(&whole), pd_buf_text(&page), page.length) == 0);
	for (size_t i = 0; i < r.review->n_answers; i++) {
		char tag[32];

		snprintf(tag, sizeof tag, "\nQ%zu ", i + 1);
		ck_assert_ptr_nonnull(strstr(pd_buf_text(&page), tag));
	}
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&page), "Before acting"));
	ck_assert_ptr_nonnull(
	    strstr(pd_buf_text(&page), "13 effects were tested"));
	ck_assert_ptr_null(strstr(pd_buf_text(&page), "Table 1"));
	pd_buf_clear(&page);
	pd_buf_clear(&whole);
	report_close(&r);
}
END_TEST

/* Both writers: the same words and numbers, each as often. */
START_TEST(both_writers_say_the_same)
{
	struct report r;
	pd_buf text, html;
	struct words a, b;

	report_open(&r);
	report_compose(&r);
	report_write(r.doc, 200, &text);
	report_write(r.doc, 0, &html);
	words_of_text(pd_buf_text(&text), &a);
	words_of_html(pd_buf_text(&html), &b);
	ck_assert_uint_gt(a.n, 2500);
	for (size_t i = 0; i < a.n && i < b.n; i++)
		ck_assert_msg(strcmp(a.word[i], b.word[i]) == 0,
		              "'%s' in the text, '%s' in the HTML", a.word[i],
		              b.word[i]);
	ck_assert_uint_eq(a.n, b.n);
	words_clear(&a);
	words_clear(&b);
	pd_buf_clear(&text);
	pd_buf_clear(&html);
	report_close(&r);
}
END_TEST

/* Narrow pages set tables row by row: no word may be lost by that. Words
 * longer than a narrow column are cut, so hashes are left out. */
START_TEST(narrow_text_loses_no_word)
{
	struct report r;
	pd_buf wide, narrow;
	struct words a, b;

	report_open(&r);
	r.review->plan_sha256 = r.review->audit_head = NULL;
	report_compose(&r);
	report_write(r.doc, 200, &wide);
	report_write(r.doc, 40, &narrow);
	words_of_text(pd_buf_text(&wide), &a);
	words_of_text(pd_buf_text(&narrow), &b);
	for (size_t i = 0; i < a.n; i++)
		ck_assert_msg(words_hold(&b, a.word[i]), "'%s' is lost",
		              a.word[i]);
	words_clear(&a);
	words_clear(&b);
	pd_buf_clear(&wide);
	pd_buf_clear(&narrow);
	report_close(&r);
}
END_TEST

START_TEST(html_is_one_sound_page)
{
	static const char csp[] =
	    "<meta http-equiv=\"Content-Security-Policy\" content=\""
	    "default-src 'none'; style-src 'unsafe-inline'; "
	    "img-src data:\">";
	struct report r;
	pd_buf html;
	struct tags t;

	report_open(&r);
	report_compose(&r);
	report_write(r.doc, 0, &html);
	const char *text = pd_buf_text(&html);

	tags_read(text, &t);
	ck_assert_msg(!*t.trouble, "%s", t.trouble);
	ck_assert_ptr_nonnull(strstr(text, csp));
	ck_assert_ptr_nonnull(strstr(text, "<html lang=\"en\">"));
	ck_assert_uint_eq(tags_count(&t, "h1"), 1);
	ck_assert_uint_eq(tags_count(&t, "main"), 1);
	ck_assert_uint_eq(tags_count(&t, "nav"), 1);
	ck_assert_uint_eq(tags_count(&t, "header"), 1);
	ck_assert_uint_eq(tags_count(&t, "footer"), 1);
	ck_assert_uint_eq(tags_count(&t, "script"), 0);
	ck_assert_uint_eq(tags_count(&t, "img"), 0);
	ck_assert_uint_eq(tags_count(&t, "link"), 0);
	ck_assert_uint_eq(tags_count(&t, "iframe"), 0);
	ck_assert_uint_eq(tags_count(&t, "caption"), tags_count(&t, "table"));
	ck_assert_uint_gt(tags_count(&t, "svg"), 10);
	ck_assert_uint_eq(tags_count(&t, "desc"), tags_count(&t, "svg"));
	ck_assert_uint_eq(tags_count(&t, "title"), tags_count(&t, "svg") + 1);
	ck_assert_ptr_null(strstr(text, "://"));
	ck_assert_ptr_null(strstr(text, "url("));
	ck_assert_ptr_null(strstr(text, "@import"));
	ck_assert_ptr_null(strstr(text, " on"
	                                "click"));
	tags_clear(&t);
	pd_buf_clear(&html);
	report_close(&r);
}
END_TEST

/* Every string of the review hostile: the page keeps its tags, the text its
 * lines. */
START_TEST(hostile_words_change_nothing)
{
	static const char *const payload[] = {
		"</title></style><script>alert(1)</script>",
		"\"><img src=x onerror=alert(1)>",
		"' onmouseover='x' & &amp; &#60; ]]> <!-- -->",
		"\x1b]0;owned\x07\x1b[2J\xc2\x9b"
		"31m",
		"\xe2\x80\xae"
		"txet desrever\xe2\x81\xa9 \xff\xfe\xc0\xaf",
		"%s%n%d \\ ${x} `x`",
	};
	struct report good, bad;
	pd_buf a, b;
	struct tags s, t;

	report_open(&good);
	report_replace(good.review, "harmless");
	report_compose(&good);
	report_write(good.doc, 0, &a);
	tags_read(pd_buf_text(&a), &s);
	report_open(&bad);
	report_replace(bad.review, payload[_i]);
	report_compose(&bad);
	report_write(bad.doc, 0, &b);
	tags_read(pd_buf_text(&b), &t);
	ck_assert_msg(!*t.trouble, "%s", t.trouble);
	ck_assert_uint_eq(tags_count(&t, "script"), 0);
	/* Figures wrap long labels into more lines of text; nothing else may
	 * differ. */
	ck_assert_uint_eq(s.n - tags_count(&s, "text"),
	                  t.n - tags_count(&t, "text"));
	for (const char *p = pd_buf_text(&b); *p; p++)
		ck_assert((unsigned char)*p >= 0x20 || *p == '\n');
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "\xe2\x80\xae"));
	pd_buf_clear(&b);
	report_write(bad.doc, 80, &b);
	fits(pd_buf_text(&b), 80);
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "\xe2\x80\xae"));
	tags_clear(&s);
	tags_clear(&t);
	pd_buf_clear(&a);
	pd_buf_clear(&b);
	report_close(&good);
	report_close(&bad);
}
END_TEST

/* The harm line stands once for all, in the section of every question that
 * asks more of the patient, and on the board where more of it gives more. */
static size_t harm_lines(struct report *r)
{
	static const char harm[] = "! Adverse events at the site: 9 of 1312";
	size_t n = 0;
	pd_buf b;

	report_compose(r);
	report_write(r->doc, 200, &b);
	for (const char *p = pd_buf_text(&b); (p = strstr(p, harm)); p++)
		n++;
	pd_buf_clear(&b);
	return n;
}

static const struct {
	const char *first, *second;
	pd_verdict verdict;
	size_t on_board;
} gains[] = {
	{ "4 or more sites", "2 sites", PD_BETTER, 1 },
	{ "4 or more sites", "2 sites", PD_WORSE, 0 },
	{ "4 or more sites", "2 sites", PD_NOT_SETTLED, 0 },
	{ "2 sites", "4 or more sites", PD_WORSE, 1 },
	{ "2 sites", "4 or more sites", PD_BETTER, 0 },
	{ "2.25 mL pull", "2.5 mL pull", PD_WORSE, 1 },
	{ "many sites", "few sites", PD_BETTER, 1 },
	{ "many sites", "few sites", PD_WORSE, 1 },
	{ "many sites", "few sites", PD_NO_MATTER, 0 },
	{ "number of sites", NULL, PD_BETTER, 1 },
	{ "number of sites", NULL, PD_WORSE, 0 },
};

START_TEST(harm_stands_beside_gains)
{
	struct report r;
	pd_effect *e;

	report_open(&r);
	/* mL per site shows a gain: board and section; sites: section. */
	ck_assert_uint_eq(harm_lines(&r), 1 + 2 + 1);
	e = r.review->answer[SAMPLE_SITES].effect;
	e->first = gains[_i].first;
	e->second = gains[_i].second;
	e->verdict = gains[_i].verdict;
	ck_assert_uint_eq(harm_lines(&r), 1 + 2 + 1 + gains[_i].on_board);
	report_close(&r);
}
END_TEST

START_TEST(controls_are_told)
{
	static const char bad[] = "Every \"no difference\" in this review is "
	                          "therefore unsupported.";
	struct report r;
	pd_buf b;

	report_open(&r);
	report_compose(&r);
	report_write(r.doc, 200, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "shown in 1, not shown"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "matters (unsupported)"));
	pd_buf_clear(&b);
	r.review->answer[SAMPLE_AGE].control = PD_CONTROL_WORKED;
	r.review->answer[SAMPLE_NEIGHBOUR].unsupported = false;
	report_compose(&r);
	report_write(r.doc, 200, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "shown in 2, not shown "
	                                              "in 0."));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), bad));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "unsupported)"));
	pd_buf_clear(&b);
	r.review->n_answers = SAMPLE_TIBIA;
	report_compose(&r);
	report_write(r.doc, 200, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "holds no control"));
	pd_buf_clear(&b);
	report_close(&r);
}
END_TEST

/* Board rows stand by role, and within a role in the plan's order. */
START_TEST(board_order)
{
	static const char *const order[] = { "Q2 ", "Q3 ", "Q4 ", "Q5 ",
		                             "Q6 ", "Q9 ", "Q1 ", "Q11 " };
	struct report r;
	const char *at;
	pd_buf b;

	report_open(&r);
	r.review->answer[SAMPLE_SECOND_PULL].role = PD_CONTROL;
	report_compose(&r);
	report_write(r.doc, 120, &b);
	at = pd_buf_text(&b);
	for (size_t i = 0; i < COUNT(order); i++) {
		char tag[16];

		snprintf(tag, sizeof tag, "\n%s", order[i]);
		at = strstr(at, tag);
		ck_assert_msg(at != NULL, "%s is not where it should be", tag);
	}
	pd_buf_clear(&b);
	report_close(&r);
}
END_TEST

/* Nothing known, nothing answered: still two whole reports. */
START_TEST(empty_review)
{
	pd_review r = { .title = NULL };
	pd_doc *d = NULL;
	struct tags t;
	pd_error err;
	pd_buf b;

	ck_assert_int_eq(pd_compose_review(&r, &d, &err), PD_OK);
	report_write(d, 80, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "0 patients"));
	pd_buf_clear(&b);
	report_write(d, 0, &b);
	tags_read(pd_buf_text(&b), &t);
	ck_assert_msg(!*t.trouble, "%s", t.trouble);
	tags_clear(&t);
	pd_buf_clear(&b);
	pd_doc_free(d);
	ck_assert_int_eq(pd_compose_answer(&r, &d, &err), PD_INTERNAL);
	ck_assert_ptr_null(d);
}
END_TEST

/* Each answer alone, also stripped of all it may lack. */
START_TEST(single_answers)
{
	struct report r;

	report_open(&r);
	for (int bare = 0; bare < 2; bare++) {
		pd_review one = *r.review;
		pd_doc *d = NULL;
		struct tags t;
		struct words w;
		pd_error err;
		pd_buf b;

		one.answer = &r.review->answer[_i];
		one.n_answers = 1;
		if (bare) {
			pd_answer *a = one.answer;

			a->outcome_words = a->judge_words = a->unit = NULL;
			a->parameter_words = a->method = a->adjusters = NULL;
			a->margin = NAN;
			a->n_levels = a->n_flow = a->points.n_line = 0;
			for (size_t k = 0; k < a->n_effects; k++) {
				a->effect[k].label = NULL;
				a->effect[k].sentence = NULL;
				a->effect[k].low = a->effect[k].high = NAN;
				a->effect[k].p_adjusted = NAN;
				a->effect[k].detectable = NAN;
			}
		}
		ck_assert_int_eq(pd_compose_answer(&one, &d, &err), PD_OK);
		report_write(d, 80, &b);
		fits(pd_buf_text(&b), 80);
		pd_buf_clear(&b);
		report_write(d, 0, &b);
		tags_read(pd_buf_text(&b), &t);
		ck_assert_msg(!*t.trouble, "%s", t.trouble);
		ck_assert_uint_eq(tags_count(&t, "h1"), 1);
		words_of_html(pd_buf_text(&b), &w);
		ck_assert(!words_hold(&w, "null"));
		ck_assert(!words_hold(&w, "nan"));
		ck_assert(!words_hold(&w, "inf"));
		words_clear(&w);
		tags_clear(&t);
		pd_buf_clear(&b);
		pd_doc_free(d);
	}
	report_close(&r);
}
END_TEST

START_TEST(same_bytes_every_time)
{
	struct report r, s;
	pd_buf a, b;

	report_open(&r);
	report_open(&s);
	report_compose(&r);
	report_compose(&s);
	for (unsigned width = 0; width <= 80; width += 80) {
		report_write(r.doc, width, &a);
		report_write(s.doc, width, &b);
		ck_assert_str_eq(pd_buf_text(&a), pd_buf_text(&b));
		pd_buf_clear(&a);
		pd_buf_clear(&b);
	}
	report_close(&r);
	report_close(&s);
}
END_TEST

/* ---- golden files -------------------------------------------------------- */

static const struct {
	const char *file;
	int answer; /* -1: the whole review */
	unsigned width;
} golden[] = {
	{ "review.txt", -1, 80 },
	{ "review-narrow.txt", -1, 44 },
	{ "review.html", -1, 0 },
	{ "answer.txt", SAMPLE_SITES, 100 },
	{ "refused.txt", SAMPLE_REDIRECT, 80 },
};

START_TEST(golden_files)
{
	const char *source = getenv("PERDRAW_SOURCE");
	const char *what = getenv("PERDRAW_GOLDEN");
	struct report r;
	char path[4096];
	pd_buf got, wanted;
	pd_error err;

	snprintf(path, sizeof path, "%s/tests/golden-report/%s",
	         source ? source : ".", golden[_i].file);
	report_open(&r);
	if (golden[_i].answer < 0) {
		report_compose(&r);
	} else {
		r.review->answer += golden[_i].answer;
		r.review->n_answers = 1;
		ck_assert_int_eq(pd_compose_answer(r.review, &r.doc, &err),
		                 PD_OK);
	}
	report_write(r.doc, golden[_i].width, &got);
	if (what && strcmp(what, "refresh") == 0)
		file_write(path, &got);
	pd_buf_init(&wanted);
	ck_assert_msg(file_read(path, &wanted), "cannot read %s", path);
	size_t line = first_difference(pd_buf_text(&got), pd_buf_text(&wanted));

	ck_assert_msg(line == 0, "line %zu of %s is not what was kept", line,
	              golden[_i].file);
	pd_buf_clear(&got);
	pd_buf_clear(&wanted);
	report_close(&r);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("pages");
	TCase *t = tcase_create("reports");

	tcase_set_timeout(t, 60);
	tcase_add_test(t, text_fits_every_width);
	tcase_add_test(t, text_widths_are_held_in_bounds);
	tcase_add_test(t, colour_adds_only_emphasis);
	tcase_add_test(t, first_page_holds_the_verdicts);
	tcase_add_test(t, both_writers_say_the_same);
	tcase_add_test(t, narrow_text_loses_no_word);
	tcase_add_test(t, html_is_one_sound_page);
	tcase_add_loop_test(t, hostile_words_change_nothing, 0, 6);
	tcase_add_loop_test(t, harm_stands_beside_gains, 0, COUNT(gains));
	tcase_add_test(t, controls_are_told);
	tcase_add_test(t, board_order);
	tcase_add_test(t, empty_review);
	tcase_add_loop_test(t, single_answers, 0, SAMPLE_N);
	tcase_add_test(t, same_bytes_every_time);
	tcase_add_loop_test(t, golden_files, 0, COUNT(golden));
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
