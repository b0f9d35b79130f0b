/*
 * check_report.c - numbers as journals write them, text that is fit to show,
 * verdicts and arms in words. Whole reports are checked by check_pages.c,
 * figures by check_figures.c.
 */
#include "report/clean.h"
#include "report/compose_words.h"
#include "report/number.h"

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
	{ { PD_SPAN_RATIO, 0.3154, 2.1e-7, 4.7e13, 0.95 },
	  "0.32 (95% CI, below 0.01 to above 1" THIN "000" THIN "000)",
	  "0.32 (below 0.01 to above 1" THIN "000" THIN "000)" },
	{ { PD_SPAN_RATIO, 131.2, 0.002, 5012.3, 0.95 },
	  "131 (95% CI, below 1 to 5012)",
	  "131 (below 1 to 5012)" },
	{ { PD_SPAN_RATIO, 0.31, 0.0000004, 0.9, 0.95 },
	  "0.31 (95% CI, below 0.01 to 0.90)",
	  "0.31 (below 0.01 to 0.90)" },
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
