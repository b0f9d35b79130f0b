/*
 * check_words.c - thousands of random answers, settled and written: the
 * verdict's word against interval, margin and P worked out anew here, the
 * direction in words against the sign of the estimate, and the numbers of the
 * prose against those of the tables. Nothing is read from verdict.c's own
 * helpers: what must hold is written down again.
 */
#include "base/changes.h"
#include "plan/verdict.h"
#include "report/compose.h"
#include "report/compose_words.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { REVIEWS = 600, MOST_ANSWERS = 8, MOST_EFFECTS = 4 };

/* ---- random answers ------------------------------------------------------- */

struct made {
	pd_arena *arena;
	pd_review r;
	int expect[MOST_ANSWERS];
	pd_stream s;
};

static double between(pd_stream *s, double low, double high)
{
	return low + (high - low) * pd_stream_uniform(s);
}

static size_t below(pd_stream *s, size_t n)
{
	return (size_t)(pd_stream_uniform(s) * (double)n);
}

/* Estimates near no effect, near the margin, far away; errors from tiny to
 * huge; few and many degrees of freedom. */
static void make_effect(struct made *m, pd_answer *a, pd_effect *e)
{
	double unit = a->scale == PD_RATIO ? 1 : 10;
	double d = isnan(a->margin) ? unit * 0.2
	           : a->scale == PD_RATIO ? -log(a->margin) : a->margin;
	double centre[] = { 0, d, -d, 2 * d, -3 * d };
	double se = unit * pow(10, between(&m->s, -3, 0.3));
	double df = below(&m->s, 4) ? between(&m->s, 2, 300)
	                            : (double)INFINITY;
	double b = centre[below(&m->s, 5)] + 2 * se * pd_stream_normal(&m->s);
	double t = pd_t_quantile((1 + a->level) / 2, df);

	memset(e, 0, sizeof *e);
	e->log = (pd_estimate){ .value = b, .se = se, .df = df,
		                .low = b - t * se, .high = b + t * se,
		                .level = a->level,
		                .p = pd_t_two_sided(b / se, df) };
	e->single_low = e->single_high = NAN;
	pd_verdict_measure(e, a->scale, a->margin, a->level);
}

/* What paying for looks does to an effect: wider, P to match. */
static void pay(struct made *m, pd_answer *a)
{
	double width = between(&m->s, 1.05, 2);

	a->looks_paid = true;
	a->looks_width = width;
	a->looks_planned = (unsigned)below(&m->s, 2) * 12;
	for (size_t k = 0; k < a->n_effects; k++) {
		pd_effect *e = &a->effect[k];
		pd_estimate *b = &e->log;
		double half = (b->high - b->low) / 2 * width;
		double d = a->scale == PD_RATIO ? -log(a->margin) : a->margin;

		e->single_low = e->low;
		e->single_high = e->high;
		b->low = b->value - half;
		b->high = b->value + half;
		b->p = pd_t_two_sided(b->value / (b->se * width), b->df);
		pd_verdict_measure(e, a->scale, a->margin, a->level);
		if (!isnan(a->margin))
			e->p_margin = fmax(
			    pd_t_upper((b->value + d) / (b->se * width), b->df),
			    pd_t_upper((d - b->value) / (b->se * width), b->df));
	}
}

/* What kind of question: names of arms as the plan room would give them. */
enum shape { ARMS, HOLES, EACH, SLOPE, CURVE, DIFFERS, SHARE, SHAPES };

static void name(struct made *m, pd_answer *a, pd_effect *e, enum shape shape,
                 size_t k)
{
	static const char *const arms[] = { "op-a", "op-b", "op-c", "op-d" };

	switch (shape) {
	case ARMS:
	case SHARE:
		e->first = "10 mL syringe";
		e->second = "50 mL syringe";
		break;
	case HOLES:
		e->first = "4 sites";
		e->second = "2 sites";
		break;
	case EACH:
		e->first = arms[k];
		e->second = "the mean of all";
		break;
	case CURVE:
		e->first = "20 mL per site";
		e->second = "5 mL per site";
		break;
	case SLOPE:
		e->first = a->parameter_words;
		e->label = "per doubling";
		return;
	default:
		e->first = a->parameter_words;
		e->label = "with female against male";
		return;
	}
	e->label = pd_arena_print(m->arena, "%s against %s", e->first,
	                          e->second);
}

static void make_answer(struct made *m, size_t i)
{
	static const double margins[] = { 0.8, 0.9, 0.95, 0.6 };
	pd_answer *a = &m->r.answer[i];
	enum shape shape = (enum shape)below(&m->s, SHAPES);

	memset(a, 0, sizeof *a);
	a->name = pd_arena_print(m->arena, "question-%zu", i);
	a->title = pd_arena_print(m->arena, "Question number %zu?", i);
	a->outcome_words = "total nucleated cells";
	a->judge_words = "concentration, per mL of undiluted marrow";
	a->parameter_words = "mL per site";
	a->unit = "10^6/mL";
	a->role = (pd_role)below(&m->s, 4);
	a->scale = shape == SHARE || below(&m->s, 3) == 0 ? PD_DIFFERENCE
	                                                  : PD_RATIO;
	a->share = shape == SHARE;
	a->not_a_choice = shape == EACH || shape == DIFFERS ||
	                  below(&m->s, 4) == 0;
	a->level = m->r.n_answers && i ? m->r.answer[0].level
	                               : (below(&m->s, 2) ? 0.95 : 0.9);
	a->margin = below(&m->s, 5) == 0 ? (double)NAN
	            : a->scale == PD_RATIO ? margins[below(&m->s, 4)]
	                                   : between(&m->s, 0.5, 5);
	a->n_effects = shape == EACH ? MOST_EFFECTS : 1;
	a->effect = PD_NEW(m->arena, pd_effect, MOST_EFFECTS);
	a->flow = PD_NEW(m->arena, pd_flow, 1);
	a->flow[0] = (pd_flow){ "used", 40, 30, 25, 20 };
	a->n_flow = 1;
	a->method = "made up";
	a->declared = "made up";
	for (size_t k = 0; k < a->n_effects; k++) {
		make_effect(m, a, &a->effect[k]);
		name(m, a, &a->effect[k], shape, k);
	}
	if (a->role == PD_PRIMARY && below(&m->s, 2))
		pay(m, a);
	m->expect[i] = below(&m->s, 2) ? 1 : -1;
	if (below(&m->s, 12) == 0) {
		a->refusal = "too few patients";
		a->looks_paid = false;
		a->n_effects = 0;
	}
}

static void make(struct made *m, int seed)
{
	pd_error err = { 0 };

	memset(m, 0, sizeof *m);
	m->arena = pd_arena_new();
	ck_assert_ptr_nonnull(m->arena);
	pd_stream_init(&m->s, 20260105, (uint64_t)seed);
	m->r = (pd_review){ .title = "Review", .plan_name = "p.plan",
		            .plan_sha256 = "0", .audit_head = "0",
		            .date = "2026-01-05", .first_case = "2020-01-01",
		            .last_case = "2025-12-31", .version = "0",
		            .n_patients = 100, .n_cases = 110,
		            .harm_low = NAN, .harm_high = NAN };
	m->r.n_answers = 1 + below(&m->s, MOST_ANSWERS);
	m->r.answer = PD_NEW(m->arena, pd_answer, m->r.n_answers);
	for (size_t i = 0; i < m->r.n_answers; i++)
		make_answer(m, i);
	ck_assert_msg(pd_verdict_settle(&m->r, m->expect, m->arena, &err) ==
	                  PD_OK, "%s", err.text);
}

/* ---- the word against the interval ---------------------------------------- */

static void limits(const pd_answer *a, double *none, double *low, double *high)
{
	*none = a->scale == PD_RATIO ? 1 : 0;
	*low = a->scale == PD_RATIO ? a->margin : -a->margin;
	*high = a->scale == PD_RATIO ? 1 / a->margin : a->margin;
}

static void judge(const pd_answer *a, const pd_effect *e)
{
	double none, low, high;
	double alpha = 1 - a->level;

	limits(a, &none, &low, &high);
	ck_assert(e->low <= e->value && e->value <= e->high);
	switch (e->verdict) {
	case PD_BETTER:
		ck_assert(e->low > none && e->value > none);
		ck_assert(e->p_adjusted <= alpha);
		break;
	case PD_WORSE:
		ck_assert(e->high < none && e->value < none);
		ck_assert(e->p_adjusted <= alpha);
		break;
	case PD_NO_MATTER:
		ck_assert(!isnan(a->margin));
		ck_assert(e->low >= low && e->high <= high);
		ck_assert(e->p_margin <= alpha / 2 * (1 + 1e-6));
		break;
	case PD_NOT_SETTLED:
		/* open by itself, or held open by the other tests */
		if (e->low <= none && e->high >= none)
			break;
		ck_assert(e->p_adjusted > alpha);
		break;
	default:
		ck_abort_msg("an effect without a word");
	}
	/* a primary question of one effect pays nothing to other tests */
	if ((a->role == PD_PRIMARY || a->role == PD_CONTROL) &&
	    a->n_effects == 1 && e->verdict == PD_NOT_SETTLED) {
		ck_assert(e->low <= none * (1 + 1e-9) + 1e-12 &&
		          e->high >= none * (1 - 1e-9) - 1e-12);
		ck_assert(isnan(a->margin) || e->low < low * (1 + 1e-6) + 1e-9 ||
		          e->high > high * (1 - 1e-6) - 1e-9);
	}
}

START_TEST(word_and_interval)
{
	struct made m;

	make(&m, _i);
	for (size_t i = 0; i < m.r.n_answers; i++)
		for (size_t k = 0; k < m.r.answer[i].n_effects; k++)
			judge(&m.r.answer[i], &m.r.answer[i].effect[k]);
	pd_arena_free(m.arena);
}
END_TEST

/* ---- sentences -------------------------------------------------------------- */

static bool has(const char *text, const char *part)
{
	return strstr(text, part) != NULL;
}

static void said(const pd_answer *a, const pd_effect *e)
{
	double none, low, high;

	limits(a, &none, &low, &high);
	if (has(e->sentence, "wholly beyond") ||
	    has(e->sentence, "lies beyond the margin"))
		ck_assert(e->low >= high || e->high <= low);
	if (has(e->sentence, "lies inside the margin"))
		ck_assert(e->low >= low && e->high <= high);
	if (has(e->sentence, "small difference is shown"))
		ck_assert(e->low > none || e->high < none);
	if (has(e->sentence, "may be smaller"))
		ck_assert(e->low < high && e->high > low);
	if (has(e->sentence, "A loss beyond the margin is excluded"))
		ck_assert(e->low >= low && e->high > high);
	if (has(e->sentence, "A gain beyond the margin is excluded"))
		ck_assert(e->high <= high && e->low < low);
	if (has(e->sentence, "Both a gain and a loss"))
		ck_assert(e->low < low && e->high > high);
	if (has(e->sentence, "No margin was declared"))
		ck_assert(isnan(a->margin));
	if (has(e->sentence, "Alone this interval would settle"))
		ck_assert(e->low > none || e->high < none);
	ck_assert(*e->sentence);
}

/* The words between the arms point where the estimate points. */
static void pointed(pd_doc *d, const pd_answer *a, const pd_effect *e)
{
	double none = a->scale == PD_RATIO ? 1 : 0;
	const char *arms = pd_say_arms(d, a, e);
	const char *word = pd_say_verdict(a, e->verdict);
	bool up = has(arms, "gives more") || has(arms, " give more") || has(arms, "higher") ||
	          has(arms, "more often") || has(arms, ": more ");
	bool down = has(arms, "gives less") || has(arms, " give less") || has(arms, "lower") ||
	            has(arms, "less often") || has(arms, ": less ");

	ck_assert_msg(!(up && down), "%s", arms);
	ck_assert_int_eq(up, e->verdict == PD_BETTER);
	ck_assert_int_eq(down, e->verdict == PD_WORSE);
	if (up)
		ck_assert(e->value > none);
	if (down)
		ck_assert(e->value < none);
	if (e->verdict == PD_BETTER)
		ck_assert_str_eq(word, a->not_a_choice ? "Higher" : "Better");
	if (e->verdict == PD_WORSE)
		ck_assert_str_eq(word, a->not_a_choice ? "Lower" : "Worse");
	if (a->share && (up || down))
		ck_assert_msg(has(arms, "reaches the floor"), "%s", arms);
	if (a->not_a_choice && !a->share)
		ck_assert_msg(!has(arms, "gives"), "%s", arms);
}

START_TEST(sentences_hold)
{
	struct made m;
	pd_doc *d = pd_doc_new("t", "en");

	make(&m, _i);
	for (size_t i = 0; i < m.r.n_answers; i++)
		for (size_t k = 0; k < m.r.answer[i].n_effects; k++) {
			said(&m.r.answer[i], &m.r.answer[i].effect[k]);
			pointed(d, &m.r.answer[i], &m.r.answer[i].effect[k]);
		}
	pd_doc_free(d);
	pd_arena_free(m.arena);
}
END_TEST

/* Swapped arms: the mirror of word and sentence. */
START_TEST(mirrored)
{
	static const pd_verdict mirror[] = { PD_WORSE, PD_BETTER, PD_NO_MATTER,
		                             PD_NOT_SETTLED, PD_NO_ANSWER };
	struct made m;
	pd_verdict was[MOST_ANSWERS][MOST_EFFECTS];
	pd_error err = { 0 };

	make(&m, _i);
	for (size_t i = 0; i < m.r.n_answers; i++) {
		pd_answer *a = &m.r.answer[i];

		for (size_t k = 0; k < a->n_effects; k++) {
			pd_effect *e = &a->effect[k];
			double low = e->log.low, p_margin = e->p_margin;

			was[i][k] = e->verdict;
			e->log.value = -e->log.value;
			e->log.low = -e->log.high;
			e->log.high = -low;
			pd_verdict_measure(e, a->scale, a->margin, a->level);
			e->p_margin = p_margin;
		}
		m.expect[i] = -m.expect[i];
	}
	ck_assert_int_eq(pd_verdict_settle(&m.r, m.expect, m.arena, &err),
	                 PD_OK);
	for (size_t i = 0; i < m.r.n_answers; i++)
		for (size_t k = 0; k < m.r.answer[i].n_effects; k++)
			ck_assert_int_eq(m.r.answer[i].effect[k].verdict,
			                 mirror[was[i][k]]);
	pd_arena_free(m.arena);
}
END_TEST

/* ---- controls ---------------------------------------------------------------- */

START_TEST(controls_take_support)
{
	struct made m;
	size_t failed = 0;

	make(&m, _i);
	for (size_t i = 0; i < m.r.n_answers; i++) {
		const pd_answer *a = &m.r.answer[i];

		if (a->role != PD_CONTROL) {
			ck_assert_int_eq(a->control, PD_CONTROL_NOT_SAID);
			continue;
		}
		bool shown = a->n_effects == 1 &&
		             a->effect[0].verdict ==
		                 (m.expect[i] > 0 ? PD_BETTER : PD_WORSE);

		ck_assert_int_eq(a->control, shown ? PD_CONTROL_WORKED
		                                   : PD_CONTROL_FAILED);
		failed += !shown;
	}
	for (size_t i = 0; i < m.r.n_answers; i++) {
		const pd_answer *a = &m.r.answer[i];
		bool none = false;

		for (size_t k = 0; k < a->n_effects; k++)
			none = none || a->effect[k].verdict == PD_NO_MATTER;
		ck_assert_int_eq(a->unsupported, failed && none &&
		                                     a->role != PD_CONTROL);
	}
	pd_arena_free(m.arena);
}
END_TEST

/* ---- the written page --------------------------------------------------------- */

/* Blanks of any kind and line ends as one blank, so that wrapped text can be
 * searched; borders of the page are not met inside a number. */
static char *flat(const char *text)
{
	size_t n = strlen(text), to = 0;
	char *out = malloc(n + 1);

	ck_assert_ptr_nonnull(out);
	for (size_t i = 0; i < n; i++) {
		bool blank = text[i] == ' ' || text[i] == '\n';

		if (blank && to && out[to - 1] == ' ')
			continue;
		out[to++] = blank ? ' ' : text[i];
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

/* A table for programs has the plain minus and whole thousands. */
static const char *plain(pd_doc *d, const char *text)
{
	pd_buf b;

	pd_buf_init(&b);
	for (const char *p = text; *p; p++) {
		if (strncmp(p, "\xe2\x88\x92", 3) == 0) {
			pd_buf_char(&b, '-');
			p += 2;
		} else if (strncmp(p, "\xe2\x80\xaf", 3) == 0) {
			p += 2; /* thousands are not parted */
		} else {
			pd_buf_char(&b, *p);
		}
	}
	return pd_doc_take(d, &b);
}

/* The review as TSV (tables only, no line is broken) and as flat text. */
static void written(const struct made *m, char **text, char **tables)
{
	pd_text_style style = { .width = 200 };
	pd_error err = { 0 };
	pd_doc *d = NULL;
	pd_buf a, b;

	pd_buf_init(&a);
	pd_buf_init(&b);
	ck_assert_msg(pd_compose_review(&m->r, &d, &err) == PD_OK, "%s",
	              err.text);
	ck_assert_int_eq(pd_doc_write_text(d, &style, &a, &err), PD_OK);
	ck_assert_int_eq(pd_doc_write_tsv(d, &b, &err), PD_OK);
	*text = flat(pd_buf_text(&a));
	*tables = flat(pd_buf_text(&b));
	pd_buf_clear(&a);
	pd_buf_clear(&b);
	pd_doc_free(d);
}

/* The same number and interval stand in the board, in the section's first
 * sentence and in a table. */
START_TEST(prose_and_tables)
{
	struct made m;
	char *text, *tables;
	pd_doc *d = pd_doc_new("t", "en");

	make(&m, _i);
	written(&m, &text, &tables);
	for (size_t i = 0; i < m.r.n_answers; i++) {
		const pd_answer *a = &m.r.answer[i];

		for (size_t k = 0; k < a->n_effects; k++) {
			const pd_effect *e = &a->effect[k];
			const char *full = pd_say_span(d, a, e->value, e->low,
			                               e->high, true);
			const char *brief = pd_say_span(d, a, e->value, e->low,
			                                e->high, false);

			ck_assert_msg(times(text, full) >= 2,
			              "'%s' not in board and section", full);
			ck_assert_msg(times(tables, plain(d, brief)) >= 1,
			              "'%s' in no table", brief);
		}
		if (a->refusal)
			ck_assert_msg(has(text, "too few patients"),
			              "a refusal without its reason");
	}
	ck_assert(!has(text, " nan") && !has(text, "(nan"));
	ck_assert(!has(text, " inf ") && !has(text, "-nan"));
	ck_assert_msg(has(text, "Cannot be answered") ==
	                  (times(text, "too few patients") > 0),
	              "refusals and their words");
	free(text);
	free(tables);
	pd_doc_free(d);
	pd_arena_free(m.arena);
}
END_TEST

/* Unsupported, looks and controls are said when they are so, and only then. */
START_TEST(said_when_so)
{
	struct made m;
	char *text, *tables;
	size_t unsupported = 0, paid = 0, controls = 0;

	make(&m, _i);
	written(&m, &text, &tables);
	for (size_t i = 0; i < m.r.n_answers; i++) {
		unsupported += m.r.answer[i].unsupported;
		paid += m.r.answer[i].looks_paid &&
		        m.r.answer[i].n_effects > 0;
		controls += m.r.answer[i].role == PD_CONTROL;
	}
	ck_assert_int_eq(has(text, "(unsupported)"), unsupported > 0);
	ck_assert_int_eq(has(text, "times as wide as for a single reading"),
	                 paid > 0);
	ck_assert_int_eq(has(text, "The plan holds no control question"),
	                 controls == 0);
	ck_assert(has(text, "Before acting on this"));
	free(text);
	free(tables);
	pd_arena_free(m.arena);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("words");
	TCase *t = tcase_create("words");

	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, word_and_interval, 0, REVIEWS);
	tcase_add_loop_test(t, sentences_hold, 0, REVIEWS);
	tcase_add_loop_test(t, mirrored, 0, REVIEWS);
	tcase_add_loop_test(t, controls_take_support, 0, REVIEWS);
	tcase_add_loop_test(t, prose_and_tables, 0, REVIEWS / 4);
	tcase_add_loop_test(t, said_when_so, 0, REVIEWS / 4);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
