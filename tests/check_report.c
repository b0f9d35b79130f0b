/*
 * check_report.c - numbers as journals write them, text that cannot break its
 * page, two writers that say the same, and whole reports against the files of
 * tests/golden-report. After a change that is meant:
 *   PERDRAW_GOLDEN=refresh tests/check_report
 * then read the difference before it is committed.
 */
#include "report/clean.h"
#include "report/compose.h"
#include "report/compose_words.h"
#include "report/number.h"
#include "report/svg.h"
#include "report_read.h"
#include "report_sample.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define MINUS    "\xe2\x88\x92"
#define THIN     "\xe2\x80\xaf"

/* ---- numbers ---------------------------------------------------------- */

/* The style: AMA and SAMPL as told in number.h. */
static const struct {
	pd_span s;
	const char *with, *without;
} spans[] = {
	{ { PD_SPAN_RATIO, 1.2431, 1.0512, 1.4633, 0.95 },
	  "1.24 (95% CI, 1.05 to 1.46)",
	  "1.24 (1.05 to 1.46)" },
	{ { PD_SPAN_RATIO, 0.913, 0.834, 0.9973, 0.95 },
	  "0.913 (95% CI, 0.834 to 0.997)",
	  "0.913 (0.834 to 0.997)" },
	{ { PD_SPAN_RATIO, 1.1, 1.0021, 1.2, 0.9 },
	  "1.100 (90% CI, 1.002 to 1.200)",
	  "1.100 (1.002 to 1.200)" },
	{ { PD_SPAN_RATIO, 1.1, 1.00003, 1.2, 0.975 },
	  "1.10000 (97.5% CI, 1.00003 to 1.20000)",
	  "1.10000 (1.00003 to 1.20000)" },
	{ { PD_SPAN_RATIO, 1, 1, 1, 0.95 },
	  "1.00 (95% CI, 1.00 to 1.00)",
	  "1.00 (1.00 to 1.00)" },
	{ { PD_SPAN_RATIO, 2.0013, 2.0011, 2.0019, 0.95 },
	  "2.0013 (95% CI, 2.0011 to 2.0019)",
	  "2.0013 (2.0011 to 2.0019)" },
	{ { PD_SPAN_RATIO, 0.5651, 0.5589, 0.5713, 0.95 },
	  "0.565 (95% CI, 0.559 to 0.571)",
	  "0.565 (0.559 to 0.571)" },
	{ { PD_SPAN_RATIO, 0.0041, 0.0012, 0.0131, 0.95 },
	  "0.004 (95% CI, 0.001 to 0.013)",
	  "0.004 (0.001 to 0.013)" },
	{ { PD_SPAN_RATIO, 14213.7, 9120.2, 22151.9, 0.95 },
	  "14" THIN "214 (95% CI, 9120 to 22" THIN "152)",
	  "14" THIN "214 (9120 to 22" THIN "152)" },
	{ { PD_SPAN_RATIO, 1.31, NAN, NAN, 0.95 }, "1.31", "1.31" },
	{ { PD_SPAN_RATIO, NAN, NAN, 0.4213, 0.95 },
	  "not estimable (upper limit 0.42)",
	  "not estimable (upper limit 0.42)" },
	{ { PD_SPAN_RATIO, NAN, 3.107, INFINITY, 0.95 },
	  "not estimable (lower limit 3.11)",
	  "not estimable (lower limit 3.11)" },
	{ { PD_SPAN_RATIO, 3.2, 1.1, INFINITY, 0.95 },
	  "3.20 (95% CI, 1.10 to no bound)",
	  "3.20 (1.10 to no bound)" },
	{ { PD_SPAN_DIFFERENCE, -0.61, -1.43, 0.21, 0.95 },
	  MINUS "0.6 (95% CI, " MINUS "1.4 to 0.2)",
	  MINUS "0.6 (" MINUS "1.4 to 0.2)" },
	{ { PD_SPAN_DIFFERENCE, 1.3, 0.004, 2.6, 0.95 },
	  "1.300 (95% CI, 0.004 to 2.600)",
	  "1.300 (0.004 to 2.600)" },
	{ { PD_SPAN_DIFFERENCE, -14.2, -31.3, 2.9, 0.95 },
	  MINUS "14 (95% CI, " MINUS "31 to 3)",
	  MINUS "14 (" MINUS "31 to 3)" },
	{ { PD_SPAN_MEAN, 30.17, 27.83, 32.91, 0.95 },
	  "30.2 (95% CI, 27.8 to 32.9)",
	  "30.2 (27.8 to 32.9)" },
	{ { PD_SPAN_MEAN, 912.4, 841.3, 989.5, 0.95 },
	  "912 (95% CI, 841 to 990)",
	  "912 (841 to 990)" },
	{ { PD_SPAN_MEAN, 0.0312, 0.0301, 0.0324, 0.95 },
	  "0.0312 (95% CI, 0.0301 to 0.0324)",
	  "0.0312 (0.0301 to 0.0324)" },
};

START_TEST(span_words)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_span(&b, &spans[_i].s, true);
	ck_assert_str_eq(pd_buf_text(&b), spans[_i].with);
	pd_buf_reset(&b);
	pd_number_span(&b, &spans[_i].s, false);
	ck_assert_str_eq(pd_buf_text(&b), spans[_i].without);
	pd_buf_clear(&b);
}
END_TEST

static const struct {
	double p;
	const char *column, *words;
} p_values[] = {
	{ 0, "<.001", "P < .001" },
	{ 0.00099999, "<.001", "P < .001" },
	{ 0.001, ".001", "P = .001" },
	{ 0.00731, ".007", "P = .007" },
	{ 0.00999, ".010", "P = .010" },
	{ 0.01, ".01", "P = .01" },
	{ 0.0314, ".03", "P = .03" },
	{ 0.0449, ".04", "P = .04" },
	{ 0.0463, ".046", "P = .046" },
	{ 0.0496, ".0496", "P = .0496" },
	{ 0.04997, ".04997", "P = .04997" },
	{ 0.05, ".05", "P = .05" },
	{ 0.0512, ".051", "P = .051" },
	{ 0.0551, ".06", "P = .06" },
	{ 0.1, ".10", "P = .10" },
	{ 0.6443, ".64", "P = .64" },
	{ 0.99, ".99", "P = .99" },
	{ 0.9901, ">.99", "P > .99" },
	{ 1, ">.99", "P > .99" },
};

START_TEST(p_words)
{
	pd_buf b;

	pd_buf_init(&b);
	ck_assert(pd_number_p(&b, p_values[_i].p));
	ck_assert_str_eq(pd_buf_text(&b), p_values[_i].column);
	pd_buf_reset(&b);
	ck_assert(pd_number_p_words(&b, p_values[_i].p));
	ck_assert_str_eq(pd_buf_text(&b), p_values[_i].words);
	pd_buf_reset(&b);
	ck_assert(!pd_number_p(&b, NAN));
	ck_assert_uint_eq(b.length, 0);
	pd_buf_clear(&b);
}
END_TEST

static const struct {
	double x;
	int decimals;
	const char *fixed, *place, *brief;
} plain[] = {
	{ 0, 2, "0.00", "0", "0" },
	{ -0.0, 1, "0.0", "0", "0" },
	{ -0.004, 2, "0.00", "0", MINUS "0.004" },
	{ 3.14159, 3, "3.142", "3.14", "3.14" },
	{ -3.1, 1, MINUS "3.1", "-3.1", MINUS "3.1" },
	{ 1234.5, 0, "1234", "1234.5", "1234" },
	{ 12345.6, 1, "12" THIN "345.6", "12345.6", "12" THIN "346" },
	{ 1234567, 0, "1" THIN "234" THIN "567", "1234567",
	  "1" THIN "234" THIN "567" },
	{ 0.25, 2, "0.25", "0.25", "0.25" },
	{ 100, 0, "100", "100", "100" },
	{ 0.0625, 4, "0.0625", "0.06", "0.0625" },
	{ NAN, 2, "not known", "0", "not known" },
	{ INFINITY, 2, "no bound", "0", "no bound" },
};

START_TEST(plain_numbers)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_fixed(&b, plain[_i].x, plain[_i].decimals);
	ck_assert_str_eq(pd_buf_text(&b), plain[_i].fixed);
	pd_buf_reset(&b);
	pd_number_place(&b, plain[_i].x);
	ck_assert_str_eq(pd_buf_text(&b), plain[_i].place);
	pd_buf_reset(&b);
	pd_number_short(&b, plain[_i].x);
	ck_assert_str_eq(pd_buf_text(&b), plain[_i].brief);
	pd_buf_clear(&b);
}
END_TEST

START_TEST(counts_shares_units)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_count(&b, 9999);
	pd_buf_char(&b, '|');
	pd_number_count(&b, 420000);
	pd_buf_char(&b, '|');
	pd_number_share(&b, 7, 57, "cases");
	pd_buf_char(&b, '|');
	pd_number_share(&b, 3, 523, "cases");
	pd_buf_char(&b, '|');
	pd_number_share(&b, 0, 0, "cases");
	ck_assert_str_eq(pd_buf_text(&b),
	                 "9999|420" THIN "000|7 of 57 cases (12%)|"
	                 "3 of 523 cases (0.6%)|0 of 0 cases");
	pd_buf_reset(&b);
	/* 3 of 523: 0.12% to 1.67%, domain notes, exact binomial. */
	pd_number_share_limits(&b, 0.001184, 0.016684);
	pd_buf_char(&b, '|');
	pd_number_share_limits(&b, 0, 0.0182);
	pd_buf_char(&b, '|');
	pd_number_share_limits(&b, 0.0001, 0.0182);
	pd_buf_char(&b, '|');
	pd_number_share_limits(&b, 0.112, 0.341);
	ck_assert_str_eq(pd_buf_text(&b), "0.1% to 1.7%|0.0% to 1.8%|"
	                                  "0.01% to 1.82%|11% to 34%");
	pd_buf_reset(&b);
	pd_number_unit(&b, "10^6/mL");
	pd_buf_char(&b, '|');
	pd_number_unit(&b, "10^12/L");
	pd_buf_char(&b, '|');
	pd_number_unit(&b, "per mL");
	pd_buf_char(&b, '|');
	pd_number_unit(&b, "kg/m^2");
	ck_assert_str_eq(pd_buf_text(&b),
	                 "\xc3\x97"
	                 "10\xe2\x81\xb6/mL|\xc3\x97"
	                 "10\xc2\xb9\xc2\xb2/L|per mL|kg/m\xc2\xb2");
	pd_buf_clear(&b);
}
END_TEST

static uint32_t random_state = 7;

static double random_unit(void)
{
	random_state = random_state * 1664525u + 1013904223u;
	return ((double)(random_state >> 8) + 0.5) / 16777216.0;
}

/* Reads the limits back: a limit that is not the null never reads as it, and
 * never lies on the other side of it; limits that differ look different. */
START_TEST(rounding_never_misleads)
{
	for (int k = 0; k < 20000; k++) {
		double middle = 0.4 * (random_unit() - 0.5);
		double half = exp(-9 * random_unit());
		pd_span s = { PD_SPAN_RATIO, exp(middle), exp(middle - half),
			      exp(middle + half), 0.95 };
		double low, high;
		pd_buf b;

		pd_buf_init(&b);
		pd_number_span(&b, &s, false);
		const char *open = strchr(pd_buf_text(&b), '(');

		ck_assert_ptr_nonnull(open);
		ck_assert_int_eq(sscanf(open, "(%lf to %lf)", &low, &high), 2);
		pd_buf_clear(&b);
		ck_assert_double_lt(low, high);
		if (fabs(s.low - 1) > 1e-6)
			ck_assert((low < 1) == (s.low < 1) && low != 1);
		if (fabs(s.high - 1) > 1e-6)
			ck_assert((high > 1) == (s.high > 1) && high != 1);
	}
}
END_TEST

/* ---- text that is fit to show ----------------------------------------- */

#define SHOWN "\xef\xbf\xbd" /* U+FFFD */

static const struct {
	const char *dirty, *clean, *html;
	size_t width;
} dirt[] = {
	{ "plain", "plain", "plain", 5 },
	{ "a\tb\nc\rd", "a b c d", "a b c d", 7 },
	{ "\x1b[31mred\x07", SHOWN "[31mred" SHOWN, SHOWN "[31mred" SHOWN, 9 },
	{ "\x7f\xc2\x9b", SHOWN SHOWN, SHOWN SHOWN, 2 },
	{ "<script>&\"'", "<script>&\"'", "&lt;script&gt;&amp;&quot;&#39;",
	  11 },
	{ "a\xe2\x80\xae"
	  "b\xe2\x81\xa6",
	  "a" SHOWN "b" SHOWN, "a" SHOWN "b" SHOWN, 4 },
	{ "\xe2\x80\x8b\xef\xbb\xbf\xe2\x80\xa8", SHOWN SHOWN SHOWN,
	  SHOWN SHOWN SHOWN, 3 },
	{ "\xc0\xaf", SHOWN SHOWN, SHOWN SHOWN, 2 }, /* overlong '/' */
	{ "\xed\xa0\x80", SHOWN SHOWN SHOWN, SHOWN SHOWN SHOWN, 3 },
	{ "\xe2\x82", SHOWN SHOWN, SHOWN SHOWN, 2 }, /* cut short    */
	{ "\xf4\x90\x80\x80", SHOWN SHOWN SHOWN SHOWN, SHOWN SHOWN SHOWN SHOWN,
	  4 }, /* past U+10FFFF */
	{ "e\xcc\x81\xe6\xbc\xa2", "e\xcc\x81\xe6\xbc\xa2",
	  "e\xcc\x81\xe6\xbc\xa2", 3 }, /* e', wide Han */
	{ "\xc3\x97"
	  "10\xe2\x81\xb6",
	  "\xc3\x97"
	  "10\xe2\x81\xb6",
	  "\xc3\x97"
	  "10\xe2\x81\xb6",
	  4 },
	{ "\xf0\x9d\x94\xbc", "\xf0\x9d\x94\xbc", "\xf0\x9d\x94\xbc", 1 },
};

START_TEST(cleaned)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_clean_add(&b, dirt[_i].dirty);
	ck_assert_str_eq(pd_buf_text(&b), dirt[_i].clean);
	pd_buf_reset(&b);
	pd_clean_add_html(&b, dirt[_i].dirty);
	ck_assert_str_eq(pd_buf_text(&b), dirt[_i].html);
	pd_buf_clear(&b);
	ck_assert_uint_eq(pd_clean_width(dirt[_i].dirty), dirt[_i].width);
}
END_TEST

/* Any bytes: the result is UTF-8 that a second pass leaves alone, and no
 * control character is in it. */
START_TEST(cleaned_bytes)
{
	for (int k = 0; k < 3000; k++) {
		char raw[24];
		size_t n = (size_t)(random_unit() * 23);
		pd_buf once, twice;

		for (size_t i = 0; i < n; i++)
			raw[i] = (char)(1 + (int)(random_unit() * 255));
		raw[n] = '\0';
		pd_buf_init(&once);
		pd_buf_init(&twice);
		pd_clean_add(&once, raw);
		pd_clean_add(&twice, pd_buf_text(&once));
		ck_assert_str_eq(pd_buf_text(&once), pd_buf_text(&twice));
		for (size_t i = 0; i < once.length; i++)
			ck_assert((unsigned char)once.data[i] >= 0x20 &&
			          once.data[i] != 0x7f);
		pd_buf_clear(&once);
		pd_buf_clear(&twice);
	}
}
END_TEST

/* ---- wording ----------------------------------------------------------- */

static const struct {
	const char *first, *second, *label;
	bool not_a_choice;
	pd_verdict verdict;
	const char *arms, *less, *more;
} arms[] = {
	{ "pull 2", "pull 1", NULL, false, PD_WORSE,
	  "pull 2 gives less than pull 1", "more with pull 1",
	  "more with pull 2" },
	{ "pull 2", "pull 1", NULL, false, PD_BETTER,
	  "pull 2 gives more than pull 1", "more with pull 1",
	  "more with pull 2" },
	{ "pull 2", "pull 1", NULL, false, PD_NOT_SETTLED,
	  "pull 2 against pull 1", "more with pull 1", "more with pull 2" },
	{ "2", "1", NULL, false, PD_WORSE,
	  "pull number 2 gives less than pull number 1",
	  "more with pull number 1", "more with pull number 2" },
	{ "operator C", "the mean", NULL, true, PD_WORSE,
	  "operator C lower than the mean", "below the mean",
	  "above the mean" },
	{ "2025", "2024", NULL, true, PD_BETTER,
	  "pull number 2025 higher than pull number 2024",
	  "higher with pull number 2024", "higher with pull number 2025" },
	{ "10 years", NULL, "per 10 years", true, PD_WORSE,
	  "pull number: lower per 10 years", "falls per 10 years",
	  "rises per 10 years" },
	{ "x", NULL, "per doubling", false, PD_BETTER,
	  "pull number: more per doubling", "falls per doubling",
	  "rises per doubling" },
	{ "x", NULL, "per doubling", false, PD_NO_MATTER,
	  "pull number: per doubling", "falls per doubling",
	  "rises per doubling" },
};

START_TEST(arm_words)
{
	pd_doc *d = pd_doc_new("t", "en");
	pd_answer a = { .parameter_words = "pull number, of the site",
		        .not_a_choice = arms[_i].not_a_choice };
	pd_effect e = { .first = arms[_i].first,
		        .second = arms[_i].second,
		        .label = arms[_i].label,
		        .verdict = arms[_i].verdict };

	ck_assert_str_eq(pd_say_arms(d, &a, &e), arms[_i].arms);
	ck_assert_str_eq(pd_say_less(d, &a, &e), arms[_i].less);
	ck_assert_str_eq(pd_say_more(d, &a, &e), arms[_i].more);
	ck_assert_int_eq(pd_doc_status(d, NULL), PD_OK);
	pd_doc_free(d);
}
END_TEST

START_TEST(verdict_words)
{
	pd_doc *d = pd_doc_new("t", "en");
	pd_answer choice = { .unsupported = true, .margin = NAN };
	pd_answer trait = { .not_a_choice = true,
		            .scale = PD_DIFFERENCE,
		            .margin = 3 };

	ck_assert_str_eq(pd_say_verdict(&choice, PD_BETTER), "Better");
	ck_assert_str_eq(pd_say_verdict(&choice, PD_WORSE), "Worse");
	ck_assert_str_eq(pd_say_verdict(&trait, PD_BETTER), "Higher");
	ck_assert_str_eq(pd_say_verdict(&trait, PD_WORSE), "Lower");
	ck_assert_str_eq(pd_say_supported(d, &choice, PD_NO_MATTER),
	                 "No difference that matters (unsupported)");
	ck_assert_str_eq(pd_say_supported(d, &choice, PD_WORSE), "Worse");
	ck_assert_str_eq(pd_say_supported(d, &trait, PD_NO_MATTER),
	                 "No difference that matters");
	ck_assert_ptr_nonnull(
	    strstr(pd_say_margin(d, &choice), "no margin was declared"));
	ck_assert_str_eq(pd_say_margin(d, &trait),
	                 "a difference from " MINUS "3 to 3 percentage points "
	                 "does not change practice");
	choice.margin = 0.8;
	ck_assert_str_eq(pd_say_margin(d, &choice),
	                 "a ratio from 0.80 to 1.25 does not change practice");
	ck_assert_str_eq(pd_say_upper(d, "pull 2"), "Pull 2");
	ck_assert_str_eq(pd_say_upper(d, "mL per site"), "mL per site");
	pd_doc_free(d);
}
END_TEST

START_TEST(harm_words)
{
	pd_doc *d = pd_doc_new("t", "en");
	pd_review r = { .n_cases = 2400,
		        .n_harm_cases = 1312,
		        .n_harm_events = 9,
		        .harm_low = 0.00314,
		        .harm_high = 0.01298 };

	ck_assert_str_eq(pd_say_harm(d, &r),
	                 "Adverse events at the site: 9 of 1312 cases (0.7%), "
	                 "exact 95% limits 0.3% to 1.3%; not recorded in 1088 "
	                 "cases.");
	r.n_harm_events = 0;
	r.harm_low = 0;
	r.harm_high = 0.002808;
	ck_assert_str_eq(pd_say_harm(d, &r),
	                 "Adverse events at the site: 0 of 1312 cases (0.0%), "
	                 "exact 95% limits 0.0% to 0.3%; not recorded in 1088 "
	                 "cases. None recorded is not the same as none "
	                 "possible: read the upper limit.");
	r.n_harm_cases = 0;
	ck_assert_str_eq(pd_say_harm(d, &r),
	                 "Adverse events at the site: not recorded in any "
	                 "case, so what a gain costs the patients is not known "
	                 "here.");
	pd_doc_free(d);
}
END_TEST

/* ---- whole reports ------------------------------------------------------ */

struct report {
	pd_arena *arena;
	pd_review *review;
	pd_doc *doc;
};

static void open_report(struct report *r)
{
	r->arena = pd_arena_new();
	r->review = sample_review(r->arena);
	r->doc = NULL;
}

static void compose(struct report *r)
{
	pd_error err = { 0 };

	pd_doc_free(r->doc);
	ck_assert_int_eq(pd_compose_review(r->review, &r->doc, &err), PD_OK);
}

static void close_report(struct report *r)
{
	pd_doc_free(r->doc);
	pd_arena_free(r->arena);
}

/* The report as text or HTML (width 0); the caller clears the buffer. */
static void write_report(const pd_doc *d, unsigned width, pd_buf *out)
{
	pd_text_style style = { width, false, false };
	pd_error err = { 0 };

	pd_buf_init(out);
	if (width)
		ck_assert_int_eq(pd_doc_write_text(d, &style, out, &err),
		                 PD_OK);
	else
		ck_assert_int_eq(pd_doc_write_html(d, out, &err), PD_OK);
}

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

	open_report(&r);
	compose(&r);
	for (size_t i = 0; i < COUNT(widths); i++) {
		pd_buf b;

		write_report(r.doc, widths[i], &b);
		fits(pd_buf_text(&b), widths[i]);
		pd_buf_clear(&b);
	}
	close_report(&r);
}
END_TEST

START_TEST(text_widths_are_held_in_bounds)
{
	struct report r;
	pd_buf a, b;

	open_report(&r);
	compose(&r);
	write_report(r.doc, 12, &a);
	write_report(r.doc, 40, &b);
	ck_assert_str_eq(pd_buf_text(&a), pd_buf_text(&b));
	pd_buf_clear(&a);
	pd_buf_clear(&b);
	write_report(r.doc, 1000, &a);
	write_report(r.doc, 200, &b);
	ck_assert_str_eq(pd_buf_text(&a), pd_buf_text(&b));
	pd_buf_clear(&a);
	pd_buf_clear(&b);
	close_report(&r);
}
END_TEST

/* With colour the same text, and nothing but emphasis sequences beside it. */
START_TEST(colour_adds_only_emphasis)
{
	struct report r;
	pd_text_style style = { 80, true, false };
	pd_buf with, without, stripped;
	pd_error err;

	open_report(&r);
	compose(&r);
	write_report(r.doc, 80, &without);
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
	close_report(&r);
}
END_TEST

START_TEST(first_page_holds_the_verdicts)
{
	struct report r;
	pd_text_style style = { 80, false, true };
	pd_buf page, whole;
	pd_error err;

	open_report(&r);
	compose(&r);
	write_report(r.doc, 80, &whole);
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
	close_report(&r);
}
END_TEST

/* Both writers: the same words and numbers, each as often. */
START_TEST(both_writers_say_the_same)
{
	struct report r;
	pd_buf text, html;
	struct words a, b;

	open_report(&r);
	compose(&r);
	write_report(r.doc, 200, &text);
	write_report(r.doc, 0, &html);
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
	close_report(&r);
}
END_TEST

/* Narrow pages set tables row by row: no word may be lost by that. Words
 * longer than a narrow column are cut, so hashes are left out. */
START_TEST(narrow_text_loses_no_word)
{
	struct report r;
	pd_buf wide, narrow;
	struct words a, b;

	open_report(&r);
	r.review->plan_sha256 = r.review->audit_head = NULL;
	compose(&r);
	write_report(r.doc, 200, &wide);
	write_report(r.doc, 40, &narrow);
	words_of_text(pd_buf_text(&wide), &a);
	words_of_text(pd_buf_text(&narrow), &b);
	for (size_t i = 0; i < a.n; i++)
		ck_assert_msg(words_hold(&b, a.word[i]), "'%s' is lost",
		              a.word[i]);
	words_clear(&a);
	words_clear(&b);
	pd_buf_clear(&wide);
	pd_buf_clear(&narrow);
	close_report(&r);
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

	open_report(&r);
	compose(&r);
	write_report(r.doc, 0, &html);
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
	close_report(&r);
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

	open_report(&good);
	sample_replace(good.review, "harmless");
	compose(&good);
	write_report(good.doc, 0, &a);
	tags_read(pd_buf_text(&a), &s);
	open_report(&bad);
	sample_replace(bad.review, payload[_i]);
	compose(&bad);
	write_report(bad.doc, 0, &b);
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
	write_report(bad.doc, 80, &b);
	fits(pd_buf_text(&b), 80);
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "\xe2\x80\xae"));
	tags_clear(&s);
	tags_clear(&t);
	pd_buf_clear(&a);
	pd_buf_clear(&b);
	close_report(&good);
	close_report(&bad);
}
END_TEST

/* The harm line stands beside every question that asks more of the patient,
 * on the board and in its section, and once for all. */
START_TEST(harm_stands_beside_gains)
{
	struct report r;
	pd_buf b;
	size_t burdens = 0, lines = 0;

	open_report(&r);
	for (size_t i = 0; i < r.review->n_answers; i++)
		burdens += r.review->answer[i].adds_burden;
	ck_assert_uint_eq(burdens, 2);
	compose(&r);
	write_report(r.doc, 200, &b);
	for (const char *p = pd_buf_text(&b);
	     (p = strstr(p, "! Adverse events at the site: 9 of 1312")); p++)
		lines++;
	ck_assert_uint_eq(lines, 2 * burdens + 1);
	pd_buf_clear(&b);
	close_report(&r);
}
END_TEST

START_TEST(controls_are_told)
{
	static const char bad[] = "Every \"no difference\" in this review is "
	                          "therefore unsupported.";
	struct report r;
	pd_buf b;

	open_report(&r);
	compose(&r);
	write_report(r.doc, 200, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "shown in 1, not shown"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "matters (unsupported)"));
	pd_buf_clear(&b);
	r.review->answer[SAMPLE_AGE].control = PD_CONTROL_WORKED;
	r.review->answer[SAMPLE_NEIGHBOUR].unsupported = false;
	compose(&r);
	write_report(r.doc, 200, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "shown in 2, not shown "
	                                              "in 0."));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), bad));
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "unsupported)"));
	pd_buf_clear(&b);
	r.review->n_answers = SAMPLE_TIBIA;
	compose(&r);
	write_report(r.doc, 200, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "holds no control"));
	pd_buf_clear(&b);
	close_report(&r);
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

	open_report(&r);
	r.review->answer[SAMPLE_SECOND_PULL].role = PD_CONTROL;
	compose(&r);
	write_report(r.doc, 120, &b);
	at = pd_buf_text(&b);
	for (size_t i = 0; i < COUNT(order); i++) {
		char tag[16];

		snprintf(tag, sizeof tag, "\n%s", order[i]);
		at = strstr(at, tag);
		ck_assert_msg(at != NULL, "%s is not where it should be", tag);
	}
	pd_buf_clear(&b);
	close_report(&r);
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
	write_report(d, 80, &b);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "0 patients"));
	pd_buf_clear(&b);
	write_report(d, 0, &b);
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

	open_report(&r);
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
		write_report(d, 80, &b);
		fits(pd_buf_text(&b), 80);
		pd_buf_clear(&b);
		write_report(d, 0, &b);
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
	close_report(&r);
}
END_TEST

START_TEST(same_bytes_every_time)
{
	struct report r, s;
	pd_buf a, b;

	open_report(&r);
	open_report(&s);
	compose(&r);
	compose(&s);
	for (unsigned width = 0; width <= 80; width += 80) {
		write_report(r.doc, width, &a);
		write_report(s.doc, width, &b);
		ck_assert_str_eq(pd_buf_text(&a), pd_buf_text(&b));
		pd_buf_clear(&a);
		pd_buf_clear(&b);
	}
	close_report(&r);
	close_report(&s);
}
END_TEST

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

/* Every mark of every figure lies inside its scene, text with its size. */
static void inside(const pd_scene *s, unsigned figure)
{
	for (size_t i = 0; i < s->n_marks; i++) {
		const pd_mark *m = &s->mark[i];
		bool is_text = m->kind == PD_MARK_TEXT;
		double w = is_text ? pd_text_width(m->text, m->size) : 0;
		double h = is_text ? 0.75 * m->size : 0; /* above the line */
		double before = m->anchor == PD_START ? 0
		                : m->anchor == PD_END ? w
		                                      : w / 2;

		for (size_t k = 0; k < m->n; k++) {
			double x = m->xy[2 * k], y = m->xy[2 * k + 1];
			double left = m->turn != 0 ? x - h : x - before;
			double right = m->turn != 0 ? x : x - before + w;
			double top = m->turn != 0 ? y - w / 2 : y - h;
			double foot = m->turn != 0 ? y + w / 2 : y;

			ck_assert_msg(left >= -1 && right <= s->width + 1 &&
			                  top >= -1 && foot <= s->height + 1,
			              "figure %u: '%s' leaves the scene",
			              figure, m->text ? m->text : "a mark");
		}
	}
}

static unsigned all_inside(const pd_doc *d)
{
	unsigned n = 0;

	for (const pd_block *b = d->first; b; b = b->next) {
		if (b->kind != PD_BLOCK_FIGURE)
			continue;
		inside(b->figure->scene, b->figure->number);
		if (b->figure->narrow)
			inside(b->figure->narrow, b->figure->number);
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

	open_report(&r);
	for (size_t k = 0; k < COUNT(by); k++) {
		for (size_t i = 0; i < r.review->n_answers; i++)
			if (r.review->answer[i].scale == PD_RATIO)
				scale_points(&r.review->answer[i], by[k]);
		compose(&r);
		ck_assert_uint_eq(all_inside(r.doc), 13);
	}
	close_report(&r);
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

	open_report(&r);
	a = &r.review->answer[SAMPLE_SECOND_PULL];
	((double *)a->points.pair_first)[0] = 0;
	((double *)a->points.pair_second)[7] = 0;
	a = &r.review->answer[SAMPLE_NEEDLE];
	((double *)a->points.point_value)[3] = 0;
	compose(&r);
	write_report(r.doc, 0, &b);
	const char *text = pd_buf_text(&b);

	ck_assert_ptr_nonnull(strstr(text, "2 pairs with a zero"));
	ck_assert_ptr_nonnull(strstr(text, "without a ratio, for a zero"));
	ck_assert_ptr_nonnull(strstr(text, "1 result of zero has no place"));
	pd_buf_clear(&b);
	close_report(&r);
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
	open_report(&r);
	if (golden[_i].answer < 0) {
		compose(&r);
	} else {
		r.review->answer += golden[_i].answer;
		r.review->n_answers = 1;
		ck_assert_int_eq(pd_compose_answer(r.review, &r.doc, &err),
		                 PD_OK);
	}
	write_report(r.doc, golden[_i].width, &got);
	if (what && strcmp(what, "refresh") == 0)
		file_write(path, &got);
	pd_buf_init(&wanted);
	ck_assert_msg(file_read(path, &wanted), "cannot read %s", path);
	size_t line = first_difference(pd_buf_text(&got), pd_buf_text(&wanted));

	ck_assert_msg(line == 0, "line %zu of %s is not what was kept", line,
	              golden[_i].file);
	pd_buf_clear(&got);
	pd_buf_clear(&wanted);
	close_report(&r);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("report");
	TCase *t = tcase_create("numbers");

	tcase_add_loop_test(t, span_words, 0, COUNT(spans));
	tcase_add_loop_test(t, p_words, 0, COUNT(p_values));
	tcase_add_loop_test(t, plain_numbers, 0, COUNT(plain));
	tcase_add_test(t, counts_shares_units);
	tcase_add_test(t, rounding_never_misleads);
	suite_add_tcase(s, t);
	t = tcase_create("words");
	tcase_add_loop_test(t, cleaned, 0, COUNT(dirt));
	tcase_add_test(t, cleaned_bytes);
	tcase_add_loop_test(t, arm_words, 0, COUNT(arms));
	tcase_add_test(t, verdict_words);
	tcase_add_test(t, harm_words);
	suite_add_tcase(s, t);
	t = tcase_create("reports");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, text_fits_every_width);
	tcase_add_test(t, text_widths_are_held_in_bounds);
	tcase_add_test(t, colour_adds_only_emphasis);
	tcase_add_test(t, first_page_holds_the_verdicts);
	tcase_add_test(t, both_writers_say_the_same);
	tcase_add_test(t, narrow_text_loses_no_word);
	tcase_add_test(t, html_is_one_sound_page);
	tcase_add_loop_test(t, hostile_words_change_nothing, 0, 6);
	tcase_add_test(t, harm_stands_beside_gains);
	tcase_add_test(t, controls_are_told);
	tcase_add_test(t, board_order);
	tcase_add_test(t, empty_review);
	tcase_add_loop_test(t, single_answers, 0, SAMPLE_N);
	tcase_add_test(t, same_bytes_every_time);
	tcase_add_loop_test(t, golden_files, 0, COUNT(golden));
	suite_add_tcase(s, t);
	t = tcase_create("figures");
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
