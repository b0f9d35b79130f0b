/*
 * check_words_more.c - thousands of random answers of the other commands in
 * the words that are printed: shifts of watch, verdicts that moved, claims
 * kept, the clinic's own ratio beside a pool, sizes. What must hold is worked
 * out anew here. Questions: check_words.c; claims: check_claim.c; expected
 * yields: check_expect_words.c.
 */
#include "base/changes.h"
#include "base/pooled.h"
#include "base/size.h"
#include "report/compose.h"
#include "report/compose_words.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EACH = 1500 };

static pd_arena *arena;
static pd_stream s;

static void setup(void)
{
	arena = pd_arena_new();
	pd_stream_init(&s, 20261129, 0);
}

static void teardown(void)
{
	pd_arena_free(arena);
}

static size_t below(size_t n)
{
	return (size_t)pd_stream_below(&s, n);
}

/* A log ratio with its interval, near no effect or far from it. */
static void ratio(double *value, double *low, double *high)
{
	double b = pd_stream_normal(&s) * (below(2) ? 0.05 : 0.5);
	double h = exp(-4 + 4 * pd_stream_uniform(&s));

	*value = exp(b);
	*low = exp(b - h);
	*high = exp(b + h);
}

/* The text of a document, line ends and runs of blanks as one blank; the
 * document is freed. */
static char *words(pd_doc *d)
{
	pd_text_style style = { .width = 200 };
	pd_error err;
	size_t to = 0;
	pd_buf b;

	pd_buf_init(&b);
	ck_assert_int_eq(pd_doc_write_text(d, &style, &b, &err), PD_OK);
	pd_doc_free(d);
	char *out = pd_arena_copy(arena, pd_buf_text(&b));

	pd_buf_clear(&b);
	for (char *p = out; *p; p++) {
		char c = *p == '\n' ? ' ' : *p;

		if (c != ' ' || !to || out[to - 1] != ' ')
			out[to++] = c;
	}
	out[to] = '\0';
	return out;
}

static size_t times(const char *text, const char *part)
{
	size_t n = 0;

	for (const char *p = text; (p = strstr(p, part)); p += strlen(part))
		n++;
	return n;
}

static pd_review context(void)
{
	return (pd_review){ .title = "t", .plan_name = "p.plan",
		            .plan_sha256 = "0", .audit_head = "0",
		            .date = "2026-01-05", .first_case = "2020-01-01",
		            .last_case = "2025-12-31", .version = "0",
		            .n_patients = 100, .n_cases = 110,
		            .harm_low = NAN, .harm_high = NAN };
}

/* ---- watch --------------------------------------------------------------------- */

static pd_watch_answer shifts(pd_signal *g, pd_chart *c, size_t n)
{
	static const double time[2] = { 2020, 2021 }, none[2];
	pd_watch_answer a = {
		.context = context(), .outcome_words = "cells",
		.judge_words = "concentration", .adjusters = "age_y",
		.scale = PD_RATIO, .level = 0.95, .quarters = 20,
		.run_length = 900, .shift = 0.5, .lambda = 0.05,
		.base_until = "2020-12-31", .n_charts = 1, .chart = c,
		.n_signals = n, .signal = g, .now = NAN,
	};

	*c = (pd_chart){ "all cases", 2, 1, 5, 3, time, none, none, none, none,
		         n };
	for (size_t k = 0; k < n; k++) {
		g[k] = (pd_signal){ .state = (pd_shift)below(3),
			            .chart = "both", .group = c->group,
			            .time = 2021, .date = "2021-05-04",
			            .since = "2021-03-02", .n_since = 9,
			            .n_before = 90, .n_after = 40 };
		ratio(&g[k].change, &g[k].low, &g[k].high);
		if (g[k].state == PD_SHIFT_HELD)
			ratio(&a.now, &a.now_low, &a.now_high);
	}
	return a;
}

/* As many shifts as there are, each with its own state and size, in the list
 * and in the table; a level now only where one lasted. */
START_TEST(words_of_watch)
{
	for (int i = 0; i < EACH; i++) {
		pd_signal g[4];
		pd_chart c;
		size_t n = below(5), held = 0, passed = 0;
		pd_watch_answer a = shifts(g, &c, n);
		pd_doc *d = NULL;
		pd_error err;
		char lead[80];

		ck_assert_int_eq(pd_compose_watch(&a, &d, &err), PD_OK);
		char *text = words(d);

		for (size_t k = 0; k < n; k++) {
			held += g[k].state == PD_SHIFT_HELD;
			passed += g[k].state == PD_SHIFT_PASSED;
		}
		ck_assert_int_eq(strstr(text, "No shift found") != NULL,
		                 n == 0);
		snprintf(lead, sizeof lead, "all cases %zu shift%s found", n,
		         n == 1 ? " was" : "s were");
		ck_assert_int_eq(strstr(text, lead) != NULL, n > 0);
		snprintf(lead, sizeof lead, "of which %zu passed", passed);
		ck_assert_int_eq(strstr(text, lead) != NULL, passed > 0);
		ck_assert_uint_eq(times(text, "; it lasted"), held);
		ck_assert_uint_eq(times(text, "; it passed"), passed);
		ck_assert_uint_eq(times(text, "too recent to tell"),
		                  2 * (n - held - passed));
		ck_assert_int_eq(strstr(text, "Since the last that lasted") !=
		                     NULL, held > 0);
		ck_assert_ptr_null(strstr(text, "nan"));
	}
}
END_TEST

/* ---- a review beside the one before ------------------------------------------- */

/* The word of an interval by itself, written down again. */
static const char *word(double low, double high, double margin)
{
	if (!isnan(margin) && low >= margin && high <= 1 / margin)
		return "no difference that matters";
	return low > 1 ? "better" : high < 1 ? "worse" : "not settled";
}

static pd_verdict verdict_of(const char *w)
{
	return *w == 'b' ? PD_BETTER : *w == 'w' ? PD_WORSE
	       : strcmp(w, "not settled") ? PD_NO_MATTER : PD_NOT_SETTLED;
}

static void one_answer(pd_answer *a, pd_effect *e, double margin)
{
	*a = (pd_answer){ .name = "q", .title = "Which?",
		          .outcome_words = "cells",
		          .judge_words = "concentration",
		          .parameter_words = "syringe", .unit = "10^6/mL",
		          .scale = PD_RATIO, .level = 0.95, .margin = margin,
		          .method = "m", .declared = "d", .n_effects = 1,
		          .effect = e };
	*e = (pd_effect){ .label = "a against b", .first = "a", .second = "b",
		          .single_low = NAN, .single_high = NAN,
		          .p_adjusted = 0.5, .p_margin = NAN,
		          .detectable = NAN, .sentence = "s" };
	ratio(&e->value, &e->low, &e->high);
	e->log = (pd_estimate){ .value = log(e->value), .se = 0.1,
		                .df = INFINITY, .low = log(e->low),
		                .high = log(e->high), .level = 0.95, .p = 0.5 };
}

/* Then and now in the words of their own intervals, listed where they differ
 * and only there; the counts of the first line. */
START_TEST(words_of_moved)
{
	for (int i = 0; i < EACH; i++) {
		double margin = below(3) ? 0.8 : (double)NAN;
		pd_flow flow = { "used", 40, 30, 25, 20 };
		pd_review r = context();
		pd_changes c = { .n_moved = 1 };
		pd_moved m = { .date = "2025-10-01", .n_patients = 15,
			       .n_rows = 30, .n_rows_now = 40,
			       .n_patients_now = 20, .n_loads = 2 };
		pd_answer a;
		pd_effect e;
		pd_doc *d = NULL;
		pd_error err;
		char part[120];

		one_answer(&a, &e, margin);
		ratio(&m.value, &m.low, &m.high);
		const char *then = word(m.low, m.high, margin);
		const char *now = word(e.low, e.high, margin);

		a.n_flow = 1;
		a.flow = &flow;
		m.then = verdict_of(then);
		m.now = e.verdict = verdict_of(now);
		c.moved = &m;
		r.n_answers = 1;
		r.answer = &a;
		r.changes = &c;
		ck_assert_int_eq(pd_compose_review(&r, &d, &err), PD_OK);
		char *text = words(d);
		bool moved = strcmp(then, now) != 0;

		ck_assert_int_eq(strstr(text, "1 of 1 verdict moved") != NULL,
		                 moved);
		ck_assert_int_eq(strstr(text, "None of 1 verdict moved") !=
		                     NULL, !moved);
		snprintf(part, sizeof part, ": %s on 2025-10-01", then);
		ck_assert_msg((strstr(text, part) != NULL) == moved, "%s", part);
		snprintf(part, sizeof part, "; %s today", now);
		ck_assert_msg((strstr(text, part) != NULL) == moved, "%s", part);
	}
}
END_TEST

/* Claims: "more" only above no effect, "less than printed" only below all the
 * print can mean, as many open as said. */
START_TEST(words_of_claims)
{
	for (int i = 0; i < EACH; i++) {
		pd_review r = context();
		pd_changes c = { .n_claims = 1 + below(3) };
		pd_claim_kept k[3] = { { 0 } };
		size_t open = 0, more = 0, less = 0, same = 0, fall_short = 0;
		pd_doc *d = NULL;
		pd_error err;
		char part[80];

		for (size_t j = 0; j < c.n_claims; j++) {
			pd_claim_kept *x = &k[j];

			*x = (pd_claim_kept){ .name = "n.claim", .title = "t",
				.date = "2025-10-01", .n_meanings = 2,
				.n_rows = 1, .n_patients = 30,
				.open = { .state = PD_OPEN_FAR } };
			ratio(&x->here, &x->here_low, &x->here_high);
			ratio(&x->printed, &x->printed_low, &x->printed_high);
			x->least = x->printed * (below(2) ? 1 : 0.7);
			x->most = x->printed * 1.3;
			const char *w = word(x->here_low, x->here_high, 0.8);

			x->verdict = verdict_of(w);
			x->state = x->verdict == PD_NOT_SETTLED
			               ? PD_KEPT_OPEN : PD_KEPT_SETTLED;
			open += x->state == PD_KEPT_OPEN;
			more += *w == 'b';
			less += *w == 'w';
			same += strcmp(w, "no difference that matters") == 0;
			fall_short += *w == 'b' &&
			              x->here_high < x->printed_low &&
			              x->here_high < x->least;
		}
		c.claim = k;
		r.changes = &c;
		ck_assert_int_eq(pd_compose_review(&r, &d, &err), PD_OK);
		char *text = words(d);

		snprintf(part, sizeof part, "%zu of %zu claim%s %s not "
		         "settled here", open, c.n_claims,
		         c.n_claims == 1 ? "" : "s", open == 1 ? "is" : "are");
		ck_assert_int_eq(strstr(text, part) != NULL, open > 0);
		ck_assert_int_eq(strstr(text, "No claim waits") != NULL,
		                 open == 0);
		ck_assert_uint_eq(times(text, "more with the device"), more);
		ck_assert_uint_eq(times(text, "less with the device"), less);
		ck_assert_uint_eq(times(text, "less than printed"),
		                  fall_short);
		ck_assert_uint_ge(times(text, "no difference that matters"),
		                  same);
		ck_assert_uint_eq(times(text, "not within ten years"), open);
	}
}
END_TEST

/* ---- pool, size ------------------------------------------------------------------ */

START_TEST(words_of_pool)
{
	for (int i = 0; i < EACH; i++) {
		double v, l, h, w = pd_stream_uniform(&s);
		pd_pooled_answer a = {
			.context = context(), .file = "f.csv",
			.file_sha256 = "0", .outcome_words = "cells",
			.judge_words = "concentration", .first = "a",
			.second = "b", .level = 0.95, .n_pooled = 3,
			.has_house = true, .house_pooled = below(4) == 0,
			.house_name = "q", .house_words = "12 pairs",
		};
		pd_doc *d = NULL;
		pd_error err;

		ratio(&v, &l, &h);
		a.pooled = (pd_estimate){ .value = log(v), .se = 0.1,
			                  .df = 3, .low = log(l),
			                  .high = log(h), .level = 0.95,
			                  .p = 0.5 };
		a.predict_low = log(l) - w;
		a.predict_high = log(h) + w;
		ratio(&v, &l, &h);
		a.house = (pd_estimate){ .value = log(v), .se = 0.1, .df = 9,
			                 .low = log(l), .high = log(h),
			                 .level = 0.95, .p = 0.5 };
		bool in = log(v) >= a.predict_low && log(v) <= a.predict_high;

		ck_assert_int_eq(pd_compose_pooled(&a, &d, &err), PD_OK);
		char *text = words(d);

		ck_assert_int_eq(strstr(text, "It lies where a further") !=
		                     NULL, in && !a.house_pooled);
		ck_assert_int_eq(strstr(text, "It lies outside of where") !=
		                     NULL, !in && !a.house_pooled);
		ck_assert_int_eq(strstr(text, "this clinic among them") !=
		                     NULL, a.house_pooled);
	}
}
END_TEST

START_TEST(words_of_size)
{
	static const char *const aims[] = { "a and b differ with",
		                            "is worse than b by",
		                            "do not differ by" };

	for (int i = 0; i < EACH; i++) {
		bool none = below(4) == 0;
		pd_size_answer a = {
			.context = context(), .name = "q", .title = "Which?",
			.outcome_words = "cells", .judge_words = "concentration",
			.unit = "10^6/mL", .first = "a", .second = "b",
			.scale = PD_RATIO, .aim = (pd_aim)below(3),
			.margin = 0.8, .level = 0.95, .power = 0.8,
			.paired = true, .unit_words = "patients",
			.sd = 0.5, .sd_low = 0.4, .sd_high = 0.6, .sd_df = 20,
			.sd_words = "pairs", .n_have = 12, .per_year = NAN,
			.n_lines = 1,
		};
		pd_size_line *l = &a.line[0];
		pd_doc *d = NULL;
		pd_error err;
		char part[80];

		*l = (pd_size_line){ .truth = 1.25, .assurance = 0.75,
			             .n_assured = NAN };
		l->n = none ? (double)NAN : (double)(3 + below(400));
		l->power = none ? (double)NAN
		                : 0.8 + 0.1999 * pd_stream_uniform(&s);
		/* often so near to the wish that it would round to it */
		l->power_before = none ? (double)NAN
		                  : 0.8 - (below(2) ? 0.001 : 0.2) *
		                              pd_stream_uniform(&s);
		l->why_none = none ? "the truth is beyond the margin" : NULL;
		ck_assert_int_eq(pd_compose_size(&a, &d, &err), PD_OK);
		char *text = words(d);

		ck_assert_int_eq(strstr(text, "No size is enough") != NULL,
		                 none);
		snprintf(part, sizeof part, "%.0f patients are needed", l->n);
		ck_assert_int_eq(strstr(text, part) != NULL, !none);
		if (!none)
			ck_assert_msg(strstr(text, aims[a.aim]) != NULL, "%s",
			              text);
		if (none)
			continue;
		/* the printed chances stand on their sides of the wish */
		double with = atof(strstr(text, "with a chance of ") + 17);
		double fewer = atof(strstr(text, "fewer the chance is ") + 20);

		ck_assert(with >= 80 && with < 100 && fewer < 80);
	}
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("words_more");
	TCase *c = tcase_create("words");
	SRunner *r;
	int run, failed;

	pd_base_init();
	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 120);
	tcase_add_test(c, words_of_watch);
	tcase_add_test(c, words_of_moved);
	tcase_add_test(c, words_of_claims);
	tcase_add_test(c, words_of_pool);
	tcase_add_test(c, words_of_size);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
