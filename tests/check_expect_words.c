/*
 * check_expect_words.c - expected yields: what was not seen is refused by
 * name, results between limits, options, and the words of the document.
 */
#include "expect_help.h"
#include "report/compose.h"
#include "stats/quantile.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double mls[] = { 2, 4, 6, 10 };
/* Spread and slopes as published summaries suggest for TNC: docs/methods. */
static const struct truth tnc = {
	.centre = 3.97, .age_10y = -0.06, .female = -0.05, .log_ml = 0.65,
	.later_site = -0.03, .pull_2 = -0.51, .patient = 0.33, .side = 0.1,
	.site = 0.11, .pull = 0.11
};

static pd_arena *arena;
static pd_store *store;

static void setup(void)
{
	expect_setup();
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
	store = NULL;
}

static void teardown(void)
{
	pd_store_close(store);
	pd_arena_free(arena);
	expect_teardown();
}

static struct clinic usual(int patients)
{
	return (struct clinic){ .t = tnc, .patients = patients, .most_sites = 6,
		                .two_sides = 1, .pulls = 1, .ml = mls,
		                .n_ml = 4, .syringes = 1, .seed = 20 };
}

static pd_status ask(const pd_expect_request *r, pd_expect_answer *a)
{
	pd_run_options o = { .date = "2025-01-02" };
	pd_error err = { 0 };

	return pd_expect_run(store, r, &o, arena, a, &err);
}

static void grid(pd_expect_request *r, size_t n, const size_t *sites, size_t m,
                 const double *ml)
{
	r->n_sites = n;
	memcpy(r->sites, sites, n * sizeof *sites);
	r->n_ml = m;
	memcpy(r->ml, ml, m * sizeof *ml);
}

/* --- not seen ------------------------------------------------------------ */

static void refused_with(pd_expect_request r, const char *words)
{
	static pd_expect_answer a;

	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_ptr_nonnull(a.refusal);
	ck_assert_msg(strstr(a.refusal, words) != NULL, "'%s' lacks '%s'",
	              a.refusal, words);
}

START_TEST(patient_not_seen)
{
	struct clinic c = usual(60);
	pd_expect_request r = expect_request();

	store = expect_clinic(&c, false);
	r.age_y = 91;
	refused_with(r, "age 91 was not seen: 0 patients of that age or older");
	r.age_y = 16;
	refused_with(r, "age 16 was not seen");
	r = expect_request();
	r.landmark = "asis";
	refused_with(r, "0 patients have total nucleated cells of single pulls");
	r = expect_request();
	r.outcome = "cfu_f";
	refused_with(r, "0 patients have colony-forming units");
	r = expect_request();
	r.n_sites = r.n_ml = 1;
	r.sites[0] = 12;
	r.ml[0] = 5;
	refused_with(r, "none of these numbers of sites and mL was seen; the "
	                "first: fewer than 5 patients had 12 sites or more on "
	                "two sides");
}
END_TEST

START_TEST(few_patients)
{
	struct clinic c = usual(9);

	store = expect_clinic(&c, false);
	refused_with(expect_request(), "9 patients have total nucleated cells");
}
END_TEST

static void cell_refused(const pd_expect_answer *a, size_t k, const char *words)
{
	ck_assert_ptr_nonnull(a->cell[k].refused);
	ck_assert_msg(strstr(a->cell[k].refused, words) != NULL,
	              "'%s' lacks '%s'", a->cell[k].refused, words);
	ck_assert(isnan(a->cell[k].mean) && isnan(a->cell[k].chance));
}

START_TEST(cells_not_seen)
{
	struct clinic c = usual(150);
	pd_expect_request r = expect_request();
	static const size_t sites[] = { 2, 7 };
	static const double ml[] = { 1, 4, 9.9, 11 };
	static pd_expect_answer a;

	store = expect_clinic(&c, false);
	r.target = 100;
	r.total_ml = 18;
	grid(&r, 2, sites, 4, ml);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_ptr_null(a.refusal);
	cell_refused(&a, 0, "2 sites or more on two sides of 1 mL or less");
	ck_assert_ptr_null(a.cell[2].refused);
	cell_refused(&a, 3, "7 sites or more on two sides");
	cell_refused(&a, 4, "above the 18 mL given");
	ck_assert(a.cell[4].over && !a.cell[3].over);
	cell_refused(&a, 6, "of 11 mL or more");
	/* 18 mL by 2 and by 7 */
	ck_assert_uint_eq(a.n_shared, 2);
	ck_assert_ptr_null(a.shared[0].refused);
	ck_assert_double_eq_tol(a.shared[0].site_ml, 9, 1e-12);
	ck_assert_ptr_nonnull(a.shared[1].refused);
	/* the next mL past the range is not told */
	r.total_ml = NAN;
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert(isnan(a.cell[4].next_ml) && !isnan(a.cell[2].next_ml));
	ck_assert(!isnan(a.cell[2].next_site));
	/* pulls and sides that nobody had */
	r.pulls = 2;
	r.n_ml = 1;
	r.ml[0] = 8;
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_ptr_nonnull(strstr(a.refusal, "had 2 pulls at a site"));
	r.pulls = 1;
	r.sides = 1;
	r.sites[0] = 5;
	r.n_sites = 1;
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_ptr_nonnull(strstr(a.refusal, "5 sites or more on one side"));
}
END_TEST

/* Defaults hold nothing that the clinic did not do. */
START_TEST(defaults)
{
	struct clinic c = usual(150);
	pd_expect_request r = expect_request();
	static pd_expect_answer a;

	store = expect_clinic(&c, false);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	ck_assert_uint_eq(a.n_across, 6);
	ck_assert_uint_eq(a.across[5], 6);
	ck_assert_double_ge(a.down[0], 2);
	ck_assert_double_le(a.down[a.n_down - 1], 10);
	ck_assert_str_eq(a.landmark, "posterior iliac crest");
	for (size_t j = 0; j < a.n_down; j++)
		ck_assert_ptr_null(a.cell[j * a.n_across].refused);
}
END_TEST

/* --- results between limits, bad words ----------------------------------- */

START_TEST(limits)
{
	struct clinic c = usual(250);
	pd_expect_request r = expect_request();
	static pd_expect_answer whole, part;

	r.outcome = "cd34";
	store = expect_clinic(&c, false);
	ck_assert_int_eq(ask(&r, &whole), PD_OK);
	pd_store_close(store);
	c.below = 100; /* some in a hundred */
	store = expect_clinic(&c, false);
	ck_assert_int_eq(ask(&r, &part), PD_OK);
	ck_assert_ptr_null(part.refusal);
	for (size_t k = 0; k < whole.n_across * whole.n_down; k++)
		if (!whole.cell[k].refused && !part.cell[k].refused)
			ck_assert_double_eq_tol(part.cell[k].median /
			                            whole.cell[k].median,
			                        1, 0.05);
	ck_assert_uint_eq(part.n_checked, 250);
	ck_assert_uint_gt(part.n_unclear, 5);
	ck_assert_double_le(part.in_80_low, 0.8);
	ck_assert_double_ge(part.in_80_high, 0.8);
}
END_TEST

START_TEST(bad_words)
{
	static pd_expect_answer a;
	struct clinic c = usual(12);
	pd_expect_request r = expect_request();

	store = expect_clinic(&c, false);
	r.outcome = "viability";
	ck_assert_int_eq(ask(&r, &a), PD_USAGE);
	r.outcome = "nothing";
	ck_assert_int_eq(ask(&r, &a), PD_USAGE);
	r = expect_request();
	r.sex = "old";
	ck_assert_int_eq(ask(&r, &a), PD_USAGE);
	r = expect_request();
	r.landmark = "elbow";
	ck_assert_int_eq(ask(&r, &a), PD_USAGE);
	r = expect_request();
	r.adjust = "shoe_size";
	ck_assert_int_eq(ask(&r, &a), PD_USAGE);
	r.adjust = "bmi\nmargin = 0.9";
	ck_assert_int_eq(ask(&r, &a), PD_USAGE);
	/* what is held anyway may be named */
	r.adjust = "sex, age_y";
	ck_assert_int_eq(ask(&r, &a), PD_OK);
}
END_TEST

START_TEST(numbers)
{
	double x[8];
	size_t n;

	ck_assert_int_eq(pd_expect_numbers("o", " 1 2,4.5", false, 10, 8, x, &n,
	                                   NULL), PD_OK);
	ck_assert_uint_eq(n, 3);
	ck_assert_double_eq_tol(x[2], 4.5, 1e-15);
	static const char *const bad[] = { "", " , ", "2 1", "1 1", "0", "-1",
		                           "11", "a", "1 2 3 4 5 6 7 8 9",
		                           "1e400", "nan" };

	for (size_t k = 0; k < sizeof bad / sizeof *bad; k++)
		ck_assert_msg(pd_expect_numbers("o", bad[k], false, 10, 8, x,
		                                &n, NULL) == PD_USAGE, "'%s'",
		              bad[k]);
	ck_assert_int_eq(pd_expect_numbers("o", "1 2.5", true, 10, 8, x, &n,
	                                   NULL), PD_USAGE);
}
END_TEST

/* --- words --------------------------------------------------------------- */

/* Every run of blanks and line ends as one blank. */
static void add_squeezed(pd_buf *to, const char *text)
{
	bool gap = false;

	for (; *text; text++) {
		bool blank = *text == ' ' || *text == '\n';

		if (!blank && gap)
			pd_buf_char(to, ' ');
		if (!blank)
			pd_buf_char(to, *text);
		gap = blank;
	}
}

static void text_of(const pd_expect_answer *a, pd_buf *to)
{
	pd_text_style style = { .width = 80 };
	pd_doc *d = NULL;
	pd_error err = { 0 };

	ck_assert_int_eq(pd_compose_expect(a, &d, &err), PD_OK);
	pd_buf html, lines;

	pd_buf_init(to);
	pd_buf_init(&lines);
	ck_assert_int_eq(pd_doc_write_text(d, &style, &lines, &err), PD_OK);
	add_squeezed(to, pd_buf_text(&lines));
	pd_buf_clear(&lines);
	pd_buf_init(&html);
	ck_assert_int_eq(pd_doc_write_html(d, &html, &err), PD_OK);
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&html), "<svg"));
	pd_buf_clear(&html);
	pd_doc_free(d);
}

/* Groups are spoken of, harm stands beside gain, nothing is promised. */
START_TEST(wording)
{
	static const char *const must[] = {
		"Of 100 such patients about", "not seen", "Over: above the mL given",
		"Adverse events at the site", "0.12% to 1.67%", "punctures",
		"What the next site or the next mL adds", "Nobody's own yield is foretold",
		"patients left out in 10 parts", "70 mL a kg of 70 kg", "seed 4711",
	};
	static const char *const never[] = { "you will", "guarantee", "promises",
		                             "this patient will",
		                             "significant" };
	struct clinic c = usual(150);
	pd_expect_request r = expect_request();
	static const size_t sites[] = { 1, 2, 4, 8 };
	static const double ml[] = { 4, 8 };
	static pd_expect_answer a;
	pd_buf b;

	store = expect_clinic(&c, false);
	r.target = 300;
	r.total_ml = 20;
	r.weight_kg = 70;
	grid(&r, 4, sites, 2, ml);
	ck_assert_int_eq(ask(&r, &a), PD_OK);
	text_of(&a, &b);
	for (size_t k = 0; k < sizeof must / sizeof *must; k++)
		ck_assert_msg(strstr(pd_buf_text(&b), must[k]) != NULL,
		              "no '%s'", must[k]);
	for (size_t k = 0; k < sizeof never / sizeof *never; k++)
		ck_assert_msg(strstr(pd_buf_text(&b), never[k]) == NULL,
		              "'%s'", never[k]);
	pd_buf_clear(&b);
}
END_TEST

/* "Nothing seen reaches it" counts the shared volume too, and the sentence says
 * the largest chance there is. */
START_TEST(lead_agrees)
{
	struct clinic c = usual(150);
	pd_expect_request r = expect_request();
	static const size_t sites[] = { 1, 5 };
	static const double ml[] = { 2 };
	static pd_expect_answer a;
	pd_buf b;

	store = expect_clinic(&c, false);
	r.total_ml = 25;
	r.target = 200;
	grid(&r, 2, sites, 1, ml);
	for (; r.target < 3000; r.target *= 1.15) {
		double most = 0;

		ck_assert_int_eq(ask(&r, &a), PD_OK);
		for (size_t k = 0; k < 2; k++) {
			most = fmax(most, a.cell[k].chance);
			most = fmax(most, a.shared[k].chance);
		}
		text_of(&a, &b);
		int nothing = strstr(pd_buf_text(&b), "Nothing that was seen")
		              != NULL;

		ck_assert_msg(nothing == (most < 0.8), "target %g: chance %g",
		              r.target, most);
		pd_buf_clear(&b);
	}
}
END_TEST

/* The limits printed with the published share: 3 of 523. */
START_TEST(published_harm)
{
	double low, high;

	pd_binomial_limits(3, 523, 0.95, &low, &high);
	ck_assert_double_eq_tol(low, 0.001184, 5e-7);
	ck_assert_double_eq_tol(high, 0.016671, 5e-7);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("expect words");
	TCase *c = tcase_create("words");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 300);
	tcase_add_test(c, patient_not_seen);
	tcase_add_test(c, few_patients);
	tcase_add_test(c, cells_not_seen);
	tcase_add_test(c, defaults);
	tcase_add_test(c, limits);
	tcase_add_test(c, bad_words);
	tcase_add_test(c, numbers);
	tcase_add_test(c, wording);
	tcase_add_test(c, lead_agrees);
	tcase_add_test(c, published_harm);
	suite_add_tcase(s, c);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r), all = srunner_ntests_run(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", all - failed, failed);
	return failed != 0;
}
