/*
 * check_paper_words.c - the words of a manuscript: over thousands of made-up
 * papers the methods text names each method used and no other, its sources are
 * numbered in order and listed once, a margin's words agree with the interval
 * and the verdict; hostile text stays text.
 */
#include "base/paper.h"
#include "report/compose.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAPERS = 3000, MOST = 4 };

static unsigned long long state;

static unsigned draw(unsigned n)
{
	state = state * 6364136223846793005ULL + 1442695040888963407ULL;
	return (unsigned)(state >> 33) % n;
}

static bool coin(void)
{
	return draw(2) == 1;
}

/* --- made-up papers ------------------------------------------------------------- */

struct made {
	pd_paper paper;
	pd_answer answer[MOST];
	pd_effect effect[MOST];
	pd_sensitivity way[MOST][PD_N_SENSES];
	pd_flow flow[MOST];
	pd_paper_question question[MOST];
};

static void make_effect(pd_answer *a, pd_effect *e)
{
	double centre = 0.3 * ((double)draw(200) / 100 - 1);
	double half = 0.01 + 0.3 * (double)draw(100) / 100;

	*e = (pd_effect){ .label = "x against y", .first = "x", .second = "y",
		          .value = exp(centre), .low = exp(centre - half),
		          .high = exp(centre + half), .p_adjusted = 0.2,
		          .p_margin = NAN, .detectable = 1.3,
		          .sentence = "s", .single_low = NAN,
		          .single_high = NAN };
	e->log = (pd_estimate){ centre, half / 2, 20, centre - half,
		                centre + half, 0.95, 0.2 };
	bool inside = isfinite(a->margin) && e->low >= a->margin &&
	              e->high <= 1 / a->margin;

	e->verdict = inside && coin() ? PD_NO_MATTER
	             : e->low > 1     ? PD_BETTER
	             : e->high < 1    ? PD_WORSE
	                              : PD_NOT_SETTLED;
}

static void make_answer(struct made *m, size_t i)
{
	static const char *const reason[MOST] = { "reason 0", "reason 1",
		                                  "reason 2", "reason 3" };
	pd_answer *a = &m->answer[i];

	*a = (pd_answer){ .name = "q", .title = "Is it so?",
		          .role = (pd_role)draw(4), .outcome_words = "cells",
		          .judge_words = "concentration", .unit = "10^6/mL",
		          .parameter_words = "technique", .level = 0.95,
		          .margin = coin() ? 0.8 : NAN,
		          .effect = &m->effect[i], .flow = &m->flow[i],
		          .n_flow = 1, .sensitivity = m->way[i],
		          .n_levels = 0 };
	m->flow[i] = (pd_flow){ "recorded", 40, 30, 20, 10 };
	m->question[i] = (pd_paper_question){ .grain = "pull",
		                              .first_read = "2026-01-05",
		                              .within = "site",
		                              .margin_reason = reason[i] };
	if (draw(5) == 0) {
		a->refusal = "too few";
		return;
	}
	a->n_effects = 1;
	a->share = draw(6) == 0;
	a->used = coin() ? PD_USED_PAIRS : PD_USED_MODEL;
	if (draw(5) == 0)
		a->used = coin() ? PD_USED_EXACT : PD_USED_LOGISTIC;
	if (a->used & PD_USED_MODEL)
		a->used |= draw(16) << 2;
	a->adjusters = coin() ? "age" : NULL;
	a->looks_paid = a->role == PD_PRIMARY;
	a->looks_planned = a->looks_paid && coin() ? 8 : 0;
	make_effect(a, &m->effect[i]);
	for (int k = 0; k < PD_N_SENSES; k++)
		if (draw(3) == 0)
			m->way[i][a->n_sensitivity++] = (pd_sensitivity){
				.name = "way", .way = (pd_sense_way)k,
				.done = coin(), .value = 1, .low = 0.9,
				.high = 1.1, .p = 0.5
			};
}

static void make(struct made *m)
{
	pd_review *r = &m->paper.review;

	memset(m, 0, sizeof *m);
	r->plan_name = "t.plan";
	r->plan_sha256 = r->audit_head = "0123456789abcdef0123456789abcdef";
	r->date = "2026-01-05";
	r->version = "0";
	r->first_case = "2019-02-03";
	r->last_case = "2021-02-03";
	r->n_answers = 1 + draw(MOST);
	r->answer = m->answer;
	m->paper.question = m->question;
	m->paper.table.none = "not made here";
	m->paper.min_patients = 10;
	m->paper.looks = 8;
	for (size_t i = 0; i < r->n_answers; i++)
		make_answer(m, i);
}

static char *form_of(const struct made *m, bool html)
{
	pd_doc *d = NULL;
	pd_buf b;
	pd_error err = { 0 };
	pd_text_style style = { .width = 200 };

	pd_buf_init(&b);
	ck_assert_msg(pd_compose_paper(&m->paper, &d, &err) == PD_OK, "%s",
	              err.text);
	ck_assert_int_eq(html ? pd_doc_write_html(d, &b, &err)
	                      : pd_doc_write_text(d, &style, &b, &err),
	                 PD_OK);
	pd_doc_free(d);
	char *text = strdup(pd_buf_text(&b));

	pd_buf_clear(&b);
	ck_assert_ptr_nonnull(text);
	return text;
}

static char *text_of(const struct made *m)
{
	return form_of(m, false);
}

/* The methods text, lines joined by blanks; the caller frees it. */
static char *methods_of(const char *text)
{
	const char *from = strstr(text, "\nMethods text\n");
	const char *to = from ? strstr(from, "\nSoftware and data\n") : NULL;

	ck_assert_ptr_nonnull(to);
	char *out = strndup(from, (size_t)(to - from));

	ck_assert_ptr_nonnull(out);
	for (char *p = out; *p; p++)
		if (*p == '\n')
			*p = ' ';
	return out;
}

/* --- what is named --------------------------------------------------------------- */

typedef bool fact(const pd_answer *a);

static bool pairs(const pd_answer *a)
{
	return a->used & PD_USED_PAIRS;
}

static bool model(const pd_answer *a)
{
	return a->used & PD_USED_MODEL;
}

static bool split(const pd_answer *a)
{
	return a->used & PD_USED_SPLIT;
}

static bool limits(const pd_answer *a)
{
	return a->used & PD_USED_LIMITS;
}

static bool curve(const pd_answer *a)
{
	return a->used & PD_USED_CURVE;
}

static bool calendar(const pd_answer *a)
{
	return a->used & PD_USED_CALENDAR;
}

static bool exact(const pd_answer *a)
{
	return a->used & (PD_USED_EXACT | PD_USED_LOGISTIC);
}

static bool logistic(const pd_answer *a)
{
	return a->used & PD_USED_LOGISTIC;
}

static bool share(const pd_answer *a)
{
	return a->share;
}

static bool margin(const pd_answer *a)
{
	return isfinite(a->margin);
}

static bool secondary(const pd_answer *a)
{
	return a->role == PD_SECONDARY;
}

static bool exploratory(const pd_answer *a)
{
	return a->role == PD_EXPLORATORY;
}

static bool planned(const pd_answer *a)
{
	return a->looks_planned > 0;
}

static bool any_number(const pd_answer *a)
{
	return a->looks_paid && !a->looks_planned;
}

static bool adjusted(const pd_answer *a)
{
	return a->adjusters != NULL;
}

/* A method, the words that name it, its source by its first words. */
static const struct named {
	fact *holds;
	const char *words, *source;
} named[] = {
	{ pairs, "Student's t", "Student. The" },
	{ model, "restricted maximum likelihood [", "Harville" },
	{ model, "Kenward and Roger", "Kenward" },
	{ split, "parted into what differs inside and between", "Neuhaus" },
	{ limits, "drawn repeatedly from the fitted model", "Rubin DB. Mul" },
	{ limits, "the fits combined", "Barnard" },
	{ curve, "restricted cubic splines", "Durrleman" },
	{ calendar, "steady calendar slope held equal", "Wagner" },
	{ exact, "exact limits by the score", "Chan ISF" },
	{ logistic, "chances of a logistic model", "Peduzzi" },
	{ share, "linear model of the chance", "Cox DR" },
	{ margin, "two one-sided tests", "Schuirmann" },
	{ secondary, "Holm's rule", "Holm S" },
	{ exploratory, "Benjamini and Hochberg", "Benjamini" },
	{ planned, "spend the error over all", "Pocock SJ. G" },
	{ any_number, "hold for any number of them", "Robbins" },
	{ adjusted, "complete cases", NULL },
};

static const struct way_named {
	pd_sense_way way;
	const char *words, *source;
} ways[] = {
	{ PD_SENSE_UNADJUSTED, "an unadjusted analysis", NULL },
	{ PD_SENSE_SIGNED_RANK, "signed-rank test", "Wilcoxon" },
	{ PD_SENSE_RANK_SUM, "rank-sum test", "Mann HB" },
	{ PD_SENSE_FLIPS, "permutation test", "Phipson" },
	{ PD_SENSE_DRAWN, "bootstrap", "Efron" },
	{ PD_SENSE_MODEL, "in place of pairs", NULL },
	{ PD_SENSE_WEIGHTS, "overlap weights", "Li F" },
	{ PD_SENSE_CALENDAR, "calendar slope added", NULL },
	{ PD_SENSE_NO_CALENDAR, "calendar slope left out", NULL },
	{ PD_SENSE_MEASURED, "zeros and limits left out", NULL },
	{ PD_SENSE_ROBUST, "errors robust", "Pustejovsky" },
	{ PD_SENSE_COUNTS, "negative binomial", "Lawless" },
	{ PD_SENSE_FIRST_CASES, "first case of each patient", NULL },
	{ PD_SENSE_WITHOUT_OPERATOR, "each operator left out", NULL },
	{ PD_SENSE_EXACT, "events unadjusted", NULL },
	{ PD_SENSE_SCORE, "score limits of shares", "Miettinen" },
};

static void said(const char *methods, const char *all, bool holds,
                 const char *words, const char *source)
{
	const char *list = strstr(all, "\nPublished sources named above\n");

	ck_assert_msg((strstr(methods, words) != NULL) == holds,
	              "'%s' %s:\n%s", words, holds ? "is missing" : "is said",
	              methods);
	if (source)
		ck_assert_msg((list && strstr(list, source) != NULL) == holds,
		              "%s: %d", source, holds);
}

static bool any_answered(const struct made *m, fact *holds)
{
	for (size_t i = 0; i < m->paper.review.n_answers; i++)
		if (m->answer[i].n_effects && holds(&m->answer[i]))
			return true;
	return false;
}

static bool any_way(const struct made *m, pd_sense_way way)
{
	for (size_t i = 0; i < m->paper.review.n_answers; i++)
		for (size_t k = 0; k < m->answer[i].n_sensitivity; k++)
			if (m->way[i][k].way == way && m->way[i][k].done)
				return true;
	return false;
}

START_TEST(each_method_used_and_no_other)
{
	struct made *m = calloc(1, sizeof *m);

	ck_assert_ptr_nonnull(m);
	state = 20260105;
	for (int n = 0; n < PAPERS; n++) {
		make(m);
		char *text = text_of(m), *methods = methods_of(text);

		for (size_t k = 0; k < sizeof named / sizeof *named; k++)
			said(methods, text, any_answered(m, named[k].holds),
			     named[k].words, named[k].source);
		for (size_t k = 0; k < sizeof ways / sizeof *ways; k++)
			said(methods, text, any_way(m, ways[k].way),
			     ways[k].words, ways[k].source);
		for (size_t i = 0; i < m->paper.review.n_answers; i++) {
			char why[40];

			snprintf(why, sizeof why, ", because reason %zu", i);
			ck_assert_int_eq(
			    strstr(methods, why) != NULL,
			    m->answer[i].n_effects && margin(&m->answer[i]) &&
			        m->answer[i].role == PD_PRIMARY);
		}
		free(methods);
		free(text);
	}
	free(m);
}
END_TEST

/* Numbers in brackets first appear as 1, 2, 3 ..., each is listed once and the
 * list has no other. */
START_TEST(sources_are_numbered_in_order)
{
	struct made *m = calloc(1, sizeof *m);

	ck_assert_ptr_nonnull(m);
	state = 77;
	for (int n = 0; n < 300; n++) {
		make(m);
		char *text = text_of(m);
		char *list = strstr(text, "\nPublished sources named above\n");
		unsigned seen = 0, listed = 0;

		ck_assert_ptr_nonnull(list);
		for (char *p = text; p < list; p++) {
			if (*p != '[' || p[1] < '0' || p[1] > '9')
				continue;
			for (char *q = p; *q == '[' || *q == ',';) {
				unsigned k = (unsigned)strtoul(q + 1, &q, 10);

				ck_assert_uint_le(k, seen + 1);
				seen = k > seen ? k : seen;
			}
		}
		char *end = strstr(list, "\nCautions in full\n");

		for (char *p = list; (p = strstr(p, "[")) && p < end; p++)
			ck_assert_uint_eq(strtoul(p + 1, NULL, 10), ++listed);
		ck_assert_uint_eq(seen, listed);
		free(text);
	}
	free(m);
}
END_TEST

/* --- margins --------------------------------------------------------------------- */

START_TEST(margins_agree_with_verdicts)
{
	struct made *m = calloc(1, sizeof *m);

	ck_assert_ptr_nonnull(m);
	state = 5;
	for (int n = 0; n < PAPERS; n++) {
		make(m);
		m->paper.review.n_answers = 1;
		pd_answer *a = &m->answer[0];

		if (!a->n_effects || isnan(a->margin))
			continue;
		const pd_effect *e = &a->effect[0];
		char *text = form_of(m, true);
		char *sheet = strstr(text, "Effects against their margins");
		double low = a->margin, high = 1 / a->margin;

		ck_assert_ptr_nonnull(sheet);
		bool same = strstr(sheet, "wholly inside: equivalent") != NULL;
		bool apart = strstr(sheet, "margin: different") != NULL;

		ck_assert_int_eq(same, e->verdict == PD_NO_MATTER);
		ck_assert_int_eq(apart, e->low > high || e->high < low);
		ck_assert_int_eq(strstr(sheet, "lower limit inside") != NULL,
		                 e->low >= low && e->low <= high &&
		                     e->high > high);
		ck_assert_int_eq(strstr(sheet, "across the margin") != NULL,
		                 e->low < low && e->high > high);
		free(text);
	}
	free(m);
}
END_TEST

/* --- characteristics in print ------------------------------------------------------ */

static char *table_text(pd_paper_row *row, size_t n, size_t least)
{
	static const char *const arm[] = { "x", "y" };
	static size_t units[] = { 200, 3, 203 };
	struct made *m = calloc(1, sizeof *m);

	ck_assert_ptr_nonnull(m);
	state = 1;
	do
		make(m);
	while (!m->answer[0].n_effects);
	pd_paper_table *t = &m->paper.table;

	*t = (pd_paper_table){ .n_arms = 2, .arm = (const char **)arm,
		               .n_rows = n, .row = row };
	for (int k = 0; k < PD_PAPER_LEVELS; k++)
		t->n[k] = units;
	m->paper.least = least;
	char *text = form_of(m, true);

	free(m);
	return text;
}

START_TEST(cells_in_print)
{
	pd_paper_cell age[] = { { .n = 200, .mean = 63.246, .sd = 11.4 },
		                { .n = 2, .missing = 1, .mean = 50, .sd = 2 },
		                { .n = 202, .missing = 1, .mean = 63.1,
		                  .sd = 11.5 } };
	pd_paper_cell ml[] = { { .n = 200, .median = 5, .low = 4, .high = 8.5 },
		               { .n = 3, .median = 12345, .low = 2, .high = 7 },
		               { .n = 203, .median = 5, .low = 4, .high = 8 } };
	pd_paper_cell sex[] = { { .n = 200, .count = 199 },
		                { .n = 3, .count = 0 },
		                { .n = 203, .count = 1 } };
	pd_paper_row row[] = {
		{ .level = PD_PAPER_PATIENT, .column = "age_y", .name = "Age",
		  .unit = "years", .first = true, .cell = age,
		  .difference = 0.123 },
		{ .level = PD_PAPER_PULL, .column = "ml", .name = "Volume",
		  .unit = "mL", .first = true, .skewed = true, .cell = ml,
		  .difference = NAN },
		{ .level = PD_PAPER_PATIENT, .column = "sex", .name = "Sex",
		  .category = "other", .first = true, .cell = sex,
		  .difference = 0 },
	};
	char *text = table_text(row, 3, 5);

	ck_assert_ptr_nonnull(strstr(text, "Age, years, mean (SD)"));
	ck_assert_ptr_nonnull(strstr(text, "63.2 (11.4)"));
	ck_assert_ptr_nonnull(strstr(text, "0.12"));
	ck_assert_ptr_nonnull(strstr(text, "Age: missing, No."));
	ck_assert_ptr_nonnull(strstr(text, "5.0 (4.0 to 8.5)"));
	ck_assert_ptr_nonnull(strstr(text, "12\xe2\x80\xaf" "345 (2 to 7)"));
	ck_assert_ptr_nonnull(strstr(text, "199/200 (99.5%)"));
	ck_assert_ptr_nonnull(strstr(text, "0/3 (0%)"));
	ck_assert_ptr_nonnull(strstr(text, "1/203 (0.5%)"));
	/* fewer than five: two ages and three volumes of y, one other of all */
	ck_assert_ptr_nonnull(strstr(text, "3 cells of Table 1"));
	ck_assert_ptr_nonnull(strstr(text, "Sex: other in &#39;All&#39;"));
	free(text);
	text = table_text(row, 3, 0);
	ck_assert_ptr_null(strstr(text, "of Table 1 hold"));
	free(text);
}
END_TEST

/* Some, but none as rounded: never printed as 0 or as 100. */
START_TEST(shares_never_round_to_nobody)
{
	pd_paper_cell sex[] = { { .n = 4000, .count = 1 },
		                { .n = 4000, .count = 3999 },
		                { .n = 8000, .count = 4000 } };
	pd_paper_row row = { .level = PD_PAPER_PATIENT, .column = "sex",
		             .name = "Sex", .category = "other",
		             .first = true, .cell = sex, .difference = NAN };
	char *text = table_text(&row, 1, 0);

	ck_assert_ptr_nonnull(strstr(text, "1/4000 (&lt;0.1%)"));
	ck_assert_ptr_nonnull(strstr(text, "3999/4000 (&gt;99.9%)"));
	ck_assert_ptr_nonnull(strstr(text, "4000/8000 (50.0%)"));
	free(text);
}
END_TEST

/* --- what files may hold -------------------------------------------------------------- */

START_TEST(hostile_text_stays_text)
{
	static const char bad[] = "<script>&amp;</td> \\input{x} 50% $a_b$ "
	                          "=1+1 \x1b[31m \"q\"";
	struct made *m = calloc(1, sizeof *m);
	pd_doc *d = NULL;
	pd_buf b;
	pd_error err = { 0 };

	ck_assert_ptr_nonnull(m);
	state = 3;
	do
		make(m);
	while (!m->answer[0].n_effects);
	m->answer[0].title = bad;
	m->answer[0].margin = 0.8;
	m->paper.review.title = bad;
	m->question[0].margin_reason = m->question[0].assigned = bad;
	m->question[0].where = m->question[0].held = bad;
	m->flow[0].step = bad;
	pd_buf_init(&b);
	ck_assert_int_eq(pd_compose_paper(&m->paper, &d, &err), PD_OK);
	ck_assert_int_eq(pd_doc_write_html(d, &b, &err), PD_OK);
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "<script"));
	ck_assert_ptr_nonnull(strstr(pd_buf_text(&b), "&lt;script&gt;"));
	pd_buf_reset(&b);
	ck_assert_int_eq(pd_doc_write_latex(d, 0, &b, &err), PD_OK);
	ck_assert_ptr_null(strstr(pd_buf_text(&b), "\\input"));
	ck_assert_ptr_null(strchr(pd_buf_text(&b), '\x1b'));
	pd_doc_free(d);
	pd_buf_clear(&b);
	free(m);
}
END_TEST

static Suite *words_suite(void)
{
	Suite *s = suite_create("paper_words");
	TCase *c = tcase_create("words");

	tcase_set_timeout(c, 120);
	tcase_add_test(c, each_method_used_and_no_other);
	tcase_add_test(c, sources_are_numbered_in_order);
	tcase_add_test(c, margins_agree_with_verdicts);
	tcase_add_test(c, cells_in_print);
	tcase_add_test(c, shares_never_round_to_nobody);
	tcase_add_test(c, hostile_text_stays_text);
	suite_add_tcase(s, c);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(words_suite());

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
