/*
 * check_claim_file.c - a claim file: strict keys with places, what wording can
 * mean, units and materials that do not match, damaged text.
 */
#include "claim_help.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* --- wording ------------------------------------------------------------- */

START_TEST(words_and_their_ratios)
{
	static const struct {
		const char *text;
		size_t n;
		double one, two;
	} known[] = {
		{ "300 % higher", 2, 4, 3 },      { "50 % more", 1, 1.5, 0 },
		{ "100 percent increase", 1, 2, 0 }, { "110% higher", 2, 2.1, 1.1 },
		{ "40 % lower", 1, 0.6, 0 },      { "3 times higher", 2, 3, 4 },
		{ "3 times as many", 1, 3, 0 },   { "1.8-fold", 1, 1.8, 0 },
		{ "2-fold increase", 2, 2, 3 },   { "2 times fewer", 2, 0.5, 1 / 3. },
	};
	static const char *const bad[] = {
		"", "higher", "300", "300 %", "0 % higher", "100 % lower",
		"250 % fewer", "-5 % higher", "3 times more or less", "x2",
		"1e3 % higher", "5 cats higher",
	};

	for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
		pd_wording w;
		double r[2];

		ck_assert_msg(pd_claim_wording(known[i].text, &w), "%s",
		              known[i].text);
		ck_assert_uint_eq(pd_claim_meanings(&w, r), known[i].n);
		ck_assert_double_eq_tol(r[0], known[i].one, 1e-12);
		if (known[i].n == 2)
			ck_assert_double_eq_tol(r[1], known[i].two, 1e-12);
	}
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		pd_wording w;

		ck_assert_msg(!pd_claim_wording(bad[i], &w), "%s", bad[i]);
	}
}
END_TEST

/* --- units and what does not match --------------------------------------- */

START_TEST(units_change_nothing)
{
	claim_rebuild("[claim]\ntitle = t\noutcome = tnc\njudge = concentration\n"
	        "[device]\nn = 20\nmean = 30\nsd = 12\nunit = 10^3/uL\n"
	        "material = aspirate\n[comparator]\nn = 20\nmean = 0.2\n"
	        "sd = 0.08\nunit = 10^8/mL\nmaterial = aspirate\n");
	ck_assert_double_eq_tol(claim_answer.reading[0].claim.value, 1.5, 1e-12);
	ck_assert_double_eq_tol(claim_answer.arm[1].centre[0] * sqrt(1.16), 20, 1e-9);
	pd_claim_ratio one = claim_answer.reading[0].claim;

	claim_rebuild(claim_arms(CLAIM_TNC, "n = 20\nmean = 30\nsd = 12\n",
	             "n = 20\nmean = 20\nsd = 8\n"));
	ck_assert_double_eq_tol(claim_answer.reading[0].claim.low, one.low, 1e-12);
}
END_TEST

START_TEST(what_cannot_be_held_together)
{
	static const struct {
		const char *device, *comparator, *words;
	} bad[] = {
		{ "unit = per 10^6\nmaterial = aspirate\n",
		  "unit = /mL\nmaterial = aspirate\n", "per million cells" },
		{ "unit = /mL\nmaterial = concentrate\n",
		  "unit = /mL\nmaterial = aspirate\n", "of concentrate" },
		{ "unit = /mL\nmaterial = aspirate\njudge = yield per site\n",
		  "unit = /mL\nmaterial = aspirate\n", "yield per site" },
	};
	char text[800];

	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		snprintf(text, sizeof text,
		         CLAIM_CFU "[device]\nn = 12\nmean = 900\nsd = 400\n%s"
		         "[comparator]\nn = 12\nmean = 500\nsd = 200\n%s",
		         bad[i].device, bad[i].comparator);
		claim_rebuild(text);
		ck_assert_ptr_nonnull(claim_file.refusal);
		ck_assert_msg(strstr(claim_file.refusal, bad[i].words) != NULL, "%s",
		              claim_file.refusal);
		ck_assert_uint_eq(claim_answer.n_readings, 0);
	}
	claim_rebuild(CLAIM_CFU "ratio = 2\n[device]\nmaterial = concentrate\n");
	ck_assert_ptr_null(claim_file.refusal);
	ck_assert_ptr_nonnull(claim_file.elsewhere);
}
END_TEST

/* --- bad files ----------------------------------------------------------- */

START_TEST(errors_have_a_place)
{
	static const struct {
		const char *text;
		size_t line, column;
		const char *words;
	} bad[] = {
		{ "", 1, 1, "no section [claim]" },
		{ "x = 1\n", 1, 1, "before the first section" },
		{ "[claims]\n", 1, 1, "expected [claim]" },
		{ "[claim]\n[claim]\n", 2, 1, "stands twice" },
		{ "[claim]\ntitel = t\n", 2, 1, "unknown key 'titel'" },
		{ "[claim]\ntitle = t\ntitle = u\n", 3, 1, "stands twice" },
		{ "[claim]\n  ratio  =  -2\n", 2, 13, "above 0" },
		{ "[claim]\nratio = 1e999\n", 2, 9, "above 0" },
		{ "[claim]\nratio = nan\n", 2, 9, "above 0" },
		{ "[claim]\npaired = maybe\n", 2, 10, "yes or no" },
		{ "[claim]\ncorrelation = 1\n", 2, 15, "a correlation" },
		{ "[claim]\ncorrelation = 0.8 to 0.2\n", 2, 15,
		  "a correlation" },
		{ "[claim]\np = 0\n", 2, 5, "a P value" },
		{ "[claim]\nwording = lots more\n", 2, 11, "300 % higher" },
		{ "[claim]\noutcome = tnc\njudge = percent\ntitle = t\n"
		  "ratio = 2\n", 1, 1, "found percent," },
		{ "[claim]\noutcome = adverse_event\njudge = risk per case\n"
		  "title = t\nratio = 2\n", 1, 1, "found risk per case," },
		{ "[claim]\noutcome = adverse_event\njudge = risk per site\n"
		  "title = t\nratio = 2\n", 1, 1, "found risk per site," },
		{ "[claim]\ntitle = t\noutcome = tnc\njudge = concentration\n",
		  1, 1, "'wording' or 'ratio'" },
		{ CLAIM_TNC "ratio = 2\nlow = 2.5\nhigh = 3\n", 1, 1,
		  "low < ratio < high" },
		{ CLAIM_TNC "ratio = 2\nn = 12\n", 1, 1, "paired = yes" },
		{ CLAIM_TNC "[device]\nmean = 3\nmaterial = aspirate\n", 5, 1,
		  "mean with sd, se" },
		{ CLAIM_TNC "[device]\nmean = 3\nsd = 1\nse = 1\n", 5, 1,
		  "mean with sd, se" },
		{ CLAIM_TNC "[device]\nmean = 3\nsd = 1\nn = 5\nunit = 10^6/mL\n", 5,
		  1, "no 'material'" },
		{ CLAIM_TNC "[device]\nmean = 3\nsd = 1\nmaterial = aspirate\n", 5, 1,
		  "no 'n'" },
		{ CLAIM_TNC "[device]\nmean = 3\nsd = 1\nn = 1\n", 8, 5,
		  "a whole number from 2" },
		{ CLAIM_TNC "[device]\nmaterial = water\n", 6, 12,
		  "aspirate or concentrate" },
		{ CLAIM_TNC "[device]\nmean = 3\nsd = 1\nn = 5\n"
		  "material = aspirate\n", 5, 1, "no 'unit'" },
		{ CLAIM_TNC "[device]\nmean = 3\nsd = 1\nn = 5\nunit = buckets\n"
		  "material = aspirate\n", 9, 8, "found 'buckets'" },
		{ CLAIM_TNC "[device]\nmedian = 3\nlower = 4\nupper = 5\nn = 5\n"
		  "unit = 10^6/mL\nmaterial = aspirate\n", 5, 1,
		  "limits on both sides" },
		{ CLAIM_TNC "ratio = 2\n[clinic]\nadjust = age_y\n", 1, 1,
		  "without 'compare'" },
		{ CLAIM_TNC "ratio = 2\n[clinic]\nwhere = moon is full\n", 1, 1,
		  "'moon'" },
		{ CLAIM_TNC "ratio = 2\n[trial]\npower = 0.2\n", 7, 9,
		  "from 0.5 to 0.99" },
		{ CLAIM_TNC "ratio = 2\n[trial]\nsites_per_side = 0\n", 7, 18,
		  "from 1 to 12" },
		{ CLAIM_TNC "ratio = 2\n\x01\n", 6, 1, "control character" },
	};

	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		pd_error err;

		ck_assert_msg(claim_parse(bad[i].text, &err) == PD_PLAN, "%zu: %s", i,
		              bad[i].text);
		ck_assert_msg(strstr(err.text, bad[i].words) != NULL,
		              "%zu: %s", i, err.text);
		ck_assert_msg(err.line == bad[i].line &&
		                  err.column == bad[i].column,
		              "%zu: %zu:%zu: %s", i, err.line, err.column,
		              err.text);
	}
}
END_TEST

START_TEST(unequal_pairs_and_kinds)
{
	pd_error err;

	ck_assert_int_eq(claim_parse(claim_arms(CLAIM_TNC "paired = yes\n",
	                            "n = 12\nmean = 3\nsd = 1\n",
	                            "n = 11\nmean = 3\nsd = 1\n"), &err),
	                 PD_PLAN);
	ck_assert(strstr(err.text, "pairs of 12 and 11") != NULL);
	ck_assert_int_eq(claim_parse(claim_arms(CLAIM_TNC, "n = 12\nmean = 3\nsd = 1\n",
	                            "n = 11\nmean = 3\nse = 1\n"), &err),
	                 PD_PLAN);
	ck_assert(strstr(err.text, "the same kind") != NULL);
}
END_TEST

/* A middle off the centre of its quartiles is said; numbers beyond the range
 * of doubles are an error at the arm's line. */
START_TEST(numbers_that_no_law_fits)
{
	pd_error err;

	claim_rebuild(claim_arms(CLAIM_TNC, "n = 20\nmedian = 30\nlower = 20\nupper = 45\n",
	             "n = 20\nmedian = 20\nlower = 13\nupper = 31\n"));
	ck_assert(!claim_answer.skewed);
	claim_rebuild(claim_arms(CLAIM_TNC, "n = 20\nmedian = 43\nlower = 20\nupper = 45\n",
	             "n = 20\nmedian = 20\nlower = 13\nupper = 31\n"));
	ck_assert(claim_answer.skewed);
	ck_assert_int_eq(claim_parse(claim_arms(CLAIM_TNC, "n = 20\nmean = 1e-300\nsd = 1e300\n",
	                            "n = 20\nmean = 20\nsd = 8\n"), &err),
	                 PD_OK);
	memset(&claim_answer, 0, sizeof claim_answer);
	claim_work = (struct claim){ NULL, &claim_file, claim_arena, &claim_answer };
	ck_assert_int_eq(pd_claim_rebuild(&claim_work, &err), PD_PLAN);
	ck_assert_uint_eq(err.line, 5);
}
END_TEST

/* Text with a few bytes changed is read or refused with a place, and what is
 * read can be rebuilt or refused, never anything else. */
START_TEST(damaged_files)
{
	static const char whole[] =
	    CLAIM_CFU "wording = 110 % higher\npaired = yes\ncorrelation = 0 to 0.6\n"
	    "p = < 0.05\nmargin = 0.8\n[device]\nn = 14\nmean = 1470\n"
	    "plus_minus = 610\nunit = /mL\nmaterial = aspirate\n"
	    "volume_ml = 3 to 5\nprice = 9\n[comparator]\nn = 14\n"
	    "mean = 700\nplus_minus = 310\nunit = /mL\n"
	    "material = aspirate\n[clinic]\nwhere = n_sites is 2\n"
	    "[trial]\npower = 0.8\n";
	static const char bytes[] = "019.-= \n[]#%<ez\t";
	char text[sizeof whole];
	size_t read = 0;

	for (unsigned i = 0; i < 4000; i++) {
		unsigned x = i * 2654435761u;
		pd_error err;

		memcpy(text, whole, sizeof whole);
		for (unsigned k = 0; k <= i % 3; k++) {
			x = x * 1664525u + 1013904223u;
			text[(x >> 8) % (sizeof whole - 1)] =
			    bytes[(x >> 24) % (sizeof bytes - 1)];
		}
		pd_status st = claim_parse(text, &err);

		ck_assert_msg(st == PD_OK || (st == PD_PLAN && err.text[0]),
		              "%s", text);
		if (st != PD_OK)
			continue;
		read++;
		memset(&claim_answer, 0, sizeof claim_answer);
		claim_answer.level = claim_file.plan.level;
		claim_answer.margin = claim_file.question->margin;
		claim_work = (struct claim){ NULL, &claim_file, claim_arena, &claim_answer };
		st = pd_claim_rebuild(&claim_work, &err);
		ck_assert_msg(st == PD_OK || st == PD_PLAN, "%s", err.text);
		for (size_t r = 0; st == PD_OK && r < claim_answer.n_readings; r++)
			ck_assert(claim_answer.reading[r].claim.value > 0);
	}
	ck_assert_uint_gt(read, 100);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("claim file");
	TCase *c = tcase_create("all");

	tcase_set_timeout(c, 60);
	tcase_add_checked_fixture(c, claim_setup, claim_teardown);
	tcase_add_test(c, words_and_their_ratios);
	tcase_add_test(c, units_change_nothing);
	tcase_add_test(c, what_cannot_be_held_together);
	tcase_add_test(c, errors_have_a_place);
	tcase_add_test(c, unequal_pairs_and_kinds);
	tcase_add_test(c, numbers_that_no_law_fits);
	tcase_add_test(c, damaged_files);
	suite_add_tcase(s, c);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	printf("%d passed, %d failed\n", srunner_ntests_run(r) - failed, failed);
	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
