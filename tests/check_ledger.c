/*
 * check_ledger.c - readings kept in a store and paid for, end to end: every
 * effect of a question, claims, and twelve quarterly readings of nothing.
 */
#include "answer_help.h"
#include "base/changes.h"
#include "plan/changes.h"
#include "plan/claim.h"
#include "plan/looks.h"
#include "report/compose.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void review(pd_store *s, pd_arena *a, const char *text,
                   const char *date, pd_review *r)
{
	pd_plan *plan = PD_NEW(a, pd_plan, 1);
	pd_error err = { 0 };
	pd_run_options o = { .date = date, .write_ledger = true };

	ck_assert_msg(pd_plan_parse(a, text, strlen(text), "t.plan", plan,
	                            &err) == PD_OK, "%s", err.text);
	ck_assert_msg(pd_run_review(s, plan, &o, a, r, &err) == PD_OK, "%s",
	              err.text);
}

/* ---- every effect ----------------------------------------------------------- */

static const char levels_plan[] =
    "[plan]\nlooks = 4\nmin_patients = 5\n"
    "[operators]\ntitle = t\noutcome = tnc\njudge = concentration\n"
    "compare = operator each against the mean\nmargin = 0.80\n"
    "role = primary\n";

/* Operators in turn, op-c's results lower by `low` on the log scale; op-a has
 * twice the cases of the others, so that errors differ. */
static void operators(int from, int to, double low)
{
	static const char *const op[] = { "op-a", "op-b", "op-a", "op-c" };

	for (int p = from; p < to; p++)
		answer_add((struct pull){
		    .patient = p, .site = 1, .aliquot = 1, .syringe = 10,
		    .age = 50, .volume = 5, .dish_1 = 10, .dish_2 = 12,
		    .operator = op[p % 4],
		    .tnc = exp(3 + 0.3 * answer_noise(p, 1) -
		               (p % 4 == 3 ? low : 0)) });
}

/* Each effect is held against itself at the reading before, and its interval
 * is the one its own two readings cost. */
START_TEST(every_effect)
{
	pd_arena *a = pd_arena_new();
	pd_review one, two;

	operators(0, 60, 0);
	pd_store *s = answer_load();

	review(s, a, levels_plan, "2024-04-01", &one);
	ck_assert_uint_eq(one.answer[0].n_effects, 3);
	ck_assert_uint_eq(one.changes->n_moved, 0);
	pd_store_close(s);
	answer_no_pulls();
	operators(100, 220, 0.6);
	s = answer_load();
	review(s, a, levels_plan, "2024-07-01", &two);
	ck_assert_uint_eq(two.answer[0].n_effects, 3);
	ck_assert_uint_eq(two.changes->n_moved, 3);
	for (size_t k = 0; k < 3; k++) {
		const pd_moved *m = &two.changes->moved[k];
		const pd_effect *then = &one.answer[0].effect[k];
		const pd_effect *now = &two.answer[0].effect[k];
		pd_looks l = { &then->log.se, 1, 4, 0.95 };
		double p, width, half = log(now->single_high / now->value);
		pd_estimate e = now->log;

		ck_assert_uint_eq(m->answer, 0);
		ck_assert_uint_eq(m->effect, k);
		ck_assert_double_eq_tol(m->value, then->value, 1e-12);
		ck_assert_double_eq_tol(m->low, then->low, 1e-12);
		ck_assert_int_eq(m->now, now->verdict);
		e.low = e.value - half;
		e.high = e.value + half;
		ck_assert_int_eq(pd_looks_widen(&l, NAN, &e, &p, &width, NULL),
		                 PD_OK);
		ck_assert_double_eq_tol(exp(e.high), now->high, 1e-9);
	}
	/* op-c, the third, fell; that is told of it and of no other's place */
	ck_assert_int_eq(two.changes->moved[2].now, PD_WORSE);
	ck_assert_int_ne(two.changes->moved[2].then, PD_WORSE);
	pd_store_close(s);
	pd_arena_free(a);
}
END_TEST

/* A level that comes later has had no look; the others keep theirs. */
START_TEST(a_new_level)
{
	pd_arena *a = pd_arena_new();
	pd_review one, two;

	for (int p = 0; p < 40; p++)
		answer_add((struct pull){
		    .patient = p, .site = 1, .aliquot = 1, .syringe = 10,
		    .age = 50, .volume = 5, .dish_1 = 10, .dish_2 = 12,
		    .operator = p % 2 ? "op-x" : "op-b",
		    .tnc = exp(3 + 0.3 * answer_noise(p, 1)) });
	pd_store *s = answer_load();

	review(s, a, levels_plan, "2024-04-01", &one);
	pd_store_close(s);
	answer_no_pulls();
	operators(100, 180, 0);
	s = answer_load();
	review(s, a, levels_plan, "2024-07-01", &two);
	ck_assert_uint_eq(one.answer[0].n_effects, 2);
	ck_assert_uint_eq(two.answer[0].n_effects, 4);
	ck_assert_uint_eq(two.changes->n_moved, 2);
	for (size_t k = 0; k < 2; k++) {
		size_t now = two.changes->moved[k].effect;

		ck_assert_str_eq(two.answer[0].effect[now].first,
		                 one.answer[0].effect[k].first);
		ck_assert_double_eq_tol(two.changes->moved[k].value,
		                        one.answer[0].effect[k].value, 1e-12);
	}
	pd_store_close(s);
	pd_arena_free(a);
}
END_TEST

/* ---- claims ------------------------------------------------------------------ */

static const char claim_text[] =
    "[claim]\ntitle = Smaller syringe, twice the cells\noutcome = tnc\n"
    "judge = concentration\nmargin = 0.80\n"
    "[device]\nn = 30\ngeometric_mean = 40\nlow = 36\nhigh = 44\n"
    "unit = 10^6/mL\nmaterial = aspirate\nvolume_ml = 8\n"
    "[comparator]\nn = 30\ngeometric_mean = 20\nlow = 18\nhigh = 22\n"
    "unit = 10^6/mL\nmaterial = aspirate\nvolume_ml = 8\n"
    "[clinic]\ncompare = syringe_ml 10 against 50\nadjust = age_y\n";

static void syringes(int from, int to, double gain)
{
	for (int p = from; p < to; p++)
		answer_add((struct pull){
		    .patient = p, .site = 1, .aliquot = 1,
		    .syringe = p % 2 ? 10 : 50, .age = 35 + p * 7 % 36,
		    .volume = 8, .dish_1 = 10, .dish_2 = 12,
		    .tnc = exp(3 + 0.5 * answer_noise(p, 1) +
		               (p % 2 ? gain : 0)) });
}

static void hold(pd_store *s, pd_arena *a, const char *text, const char *date,
                 pd_claim_answer *out)
{
	pd_claim_file *file = PD_NEW(a, pd_claim_file, 1);
	pd_error err = { 0 };
	pd_run_options o = { .date = date, .write_ledger = true };

	ck_assert_msg(pd_claim_parse(a, text, strlen(text), "t.claim", file,
	                             &err) == PD_OK, "%s", err.text);
	ck_assert_msg(pd_claim_run(s, file, &o, a, out, &err) == PD_OK, "%s",
	              err.text);
}

static const char small_plan[] =
    "[plan]\nmin_patients = 5\n"
    "[age]\ntitle = t\noutcome = tnc\njudge = concentration\n"
    "slope = age_y per 10\nmargin = 0.80\n";

START_TEST(claims_in_a_review)
{
	pd_arena *a = pd_arena_new();
	pd_claim_answer held;
	pd_review r;

	syringes(0, 24, 0.1);
	pd_store *s = answer_load();

	review(s, a, small_plan, "2024-04-01", &r);
	ck_assert_uint_eq(r.changes->n_claims, 0);
	hold(s, a, claim_text, "2024-04-02", &held);
	ck_assert_int_eq(held.here->effect[0].verdict, PD_NOT_SETTLED);
	review(s, a, small_plan, "2024-04-03", &r);
	ck_assert_uint_eq(r.changes->n_claims, 1);
	const pd_claim_kept *c = &r.changes->claim[0];

	ck_assert_str_eq(c->name, "t.claim");
	ck_assert_str_eq(c->date, "2024-04-02");
	ck_assert_int_eq(c->state, PD_KEPT_OPEN);
	ck_assert_double_eq_tol(c->printed, 2, 1e-12);
	ck_assert_double_eq(c->printed_low, held.reading[0].claim.low);
	ck_assert_double_eq(c->here, held.here->effect[0].value);
	ck_assert_double_eq(c->here_high, held.here->effect[0].high);
	ck_assert_uint_eq(c->n_patients, 24);
	ck_assert_uint_eq(c->n_loads, 0);
	ck_assert(c->open.needed > 24);
	/* reading the review did not read the claim: one look, still */
	hold(s, a, claim_text, "2024-04-04", &held);
	ck_assert_uint_eq(held.here->n_looks, 1);
	pd_store_close(s);
	answer_no_pulls();
	syringes(100, 300, 0.6);
	s = answer_load();
	review(s, a, small_plan, "2024-07-01", &r);
	ck_assert_uint_eq(r.changes->claim[0].n_loads, 1);
	ck_assert_int_eq(r.changes->claim[0].state, PD_KEPT_OPEN);
	hold(s, a, claim_text, "2024-07-02", &held);
	review(s, a, small_plan, "2024-07-03", &r);
	ck_assert_uint_eq(r.changes->n_claims, 1);
	c = &r.changes->claim[0];
	ck_assert_uint_eq(c->n_rows, 2);
	ck_assert_int_eq(c->state, PD_KEPT_SETTLED);
	ck_assert_int_eq(c->verdict, PD_BETTER);
	ck_assert_str_eq(c->date, "2024-07-02");
	pd_store_close(s);
	pd_arena_free(a);
}
END_TEST

/* ---- twelve quarters of nothing ------------------------------------------------ */

static const char null_plan[] =
    "[plan]\nlooks = 12\nmin_patients = 5\n"
    "[nothing]\ntitle = t\noutcome = tnc\njudge = concentration\n"
    "compare = aliquot_no 2 against 1\nwithin = site\nrole = primary\n";

/*
 * A clinic reads the same comparison, in which nothing differs, each quarter
 * with eight more patients, through store, loader, fit and ledger. Of 24 such
 * clinics plain intervals are left by about 5 (0.21 of them, see
 * check_looks.c), those of the ledger by about 1 (0.05): P(X > 4) of binomial
 * (24, 0.05) is 0.006, P(X < 2) of (24, 0.21) 0.026; seeds are fixed. (60
 * clinics, tried once: 15 and 2.)
 */
START_TEST(twelve_quarters)
{
	enum { CLINICS = 24, LOOKS = 12, EACH = 8 };
	size_t plain = 0, paid = 0;

	for (int c = 0; c < CLINICS; c++) {
		int left_plain = 0, left_paid = 0;
		pd_stream u;

		answer_no_store();
		pd_stream_init(&u, 20261128, (uint64_t)c);
		for (int k = 0; k < LOOKS; k++) {
			char date[16];
			pd_arena *a = pd_arena_new();
			pd_review r;

			answer_no_pulls();
			for (int p = k * EACH; p < (k + 1) * EACH; p++) {
				double own = pd_stream_normal(&u);

				for (int j = 1; j <= 2; j++)
					answer_add((struct pull){
					    .patient = p, .site = 1,
					    .aliquot = j, .syringe = 10,
					    .age = 50, .volume = 5,
					    .dish_1 = 9, .dish_2 = 8,
					    .tnc = exp(3 + 0.4 * own + 0.3 *
					               pd_stream_normal(&u)) });
			}
			pd_store *s = answer_load();

			snprintf(date, sizeof date, "20%02d-%02d-01", 24 + k / 4,
			         1 + 3 * (k % 4));
			review(s, a, null_plan, date, &r);
			const pd_answer *q = &r.answer[0];
			const pd_effect *e = &q->effect[0];

			ck_assert_uint_eq(q->n_looks, (unsigned)k + 1);
			ck_assert(q->looks_paid && q->looks_planned == LOOKS);
			left_plain |= e->single_low > 1 || e->single_high < 1;
			left_paid |= e->low > 1 || e->high < 1;
			pd_store_close(s);
			pd_arena_free(a);
		}
		plain += (size_t)left_plain;
		paid += (size_t)left_paid;
	}
	printf("twelve readings of nothing in a store, %d clinics: plain "
	       "intervals left %zu times, the ledger's %zu\n", CLINICS, plain,
	       paid);
	ck_assert_uint_ge(plain, 2);
	ck_assert_uint_le(paid, 4);
	ck_assert_uint_lt(paid, plain);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("ledger");
	TCase *c = tcase_create("ledger");
	SRunner *r = srunner_create(suite);
	int run, failed;

	pd_base_init();
	tcase_add_checked_fixture(c, answer_setup, answer_teardown);
	tcase_set_timeout(c, 240);
	tcase_add_test(c, every_effect);
	tcase_add_test(c, a_new_level);
	tcase_add_test(c, claims_in_a_review);
	tcase_add_test(c, twelve_quarters);
	suite_add_tcase(suite, c);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
