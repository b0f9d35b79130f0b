/*
 * check_equivalence.c - two one-sided tests on the ratio scale: known answers,
 * and that the claim, the interval and every p agree on whatever comes.
 *
 * Values marked "R": R 4.2.2, t.test() twice against the log limits and once
 * for the interval at 1 - 2 alpha.
 */
#include "stats/equivalence.h"
#include "stats/nested.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static const double a[] = { 12.3, 9.81, 15.7, 11.2, 13.9 };
static const double b[] = { 10.4, 14.1, 9.2, 12.8, 11.6, 13.3, 10.9 };
static const pd_margin wide = { 0.75, 1.4 };

/* ---- known answers ------------------------------------------------------ */

enum { PAIRED, POOLED, APART };

static pd_status run(int kind, const double *x, size_t n, const double *y,
                     size_t m, const pd_margin *margin, double alpha,
                     pd_equivalence *out, pd_error *err)
{
	if (kind == PAIRED)
		return pd_equivalence_paired(x, y, n, margin, alpha, out, err);
	return pd_equivalence_groups(x, n, y, m,
	                             kind == POOLED ? PD_VARIANCES_POOLED
	                                            : PD_VARIANCES_APART,
	                             margin, alpha, out, err);
}

static const struct {
	const char *name;
	int kind;
	double df, t_low, t_high, p_low, p_high, low, high; /* R */
} known[] = {
	{ "pairs", PAIRED, 4, 2.39144578142538, -1.69741506969892,
	  0.0375249190365975, 0.0824268006878521, 0.780317071651726,
	  1.49598842740394 },
	{ "pooled", POOLED, 10, 3.65573728323568, -2.83211433732282,
	  0.00221007034284241, 0.00889364762477834, 0.895518520436319,
	  1.26918883685503 },
	{ "apart", APART, 7.61231709751979, 3.52799080210324,
	  -2.73314862596911, 0.00419970486735839, 0.0134737901761157,
	  0.884625115418741, 1.28481781663717 },
};

START_TEST(known_answers)
{
	const char *name = known[_i].name;
	pd_equivalence e;

	ck_assert_int_eq(run(known[_i].kind, a, 5, b, 7, &wide, 0.05, &e,
	                     NULL), PD_OK);
	near(name, e.log.df, known[_i].df, 1e-12);
	near(name, e.t_low, known[_i].t_low, 1e-12);
	near(name, e.t_high, known[_i].t_high, 1e-12);
	near(name, e.p_low, known[_i].p_low, 1e-11);
	near(name, e.p_high, known[_i].p_high, 1e-11);
	near(name, e.ratio_low, known[_i].low, 1e-12);
	near(name, e.ratio_high, known[_i].high, 1e-12);
	ck_assert_double_eq(e.p, fmax(e.p_low, e.p_high));
	ck_assert_double_eq(e.log.level, 0.9);
	ck_assert_int_eq(e.inside, e.p <= 0.05);
}
END_TEST

START_TEST(noninferior_known)
{
	pd_equivalence e;
	pd_noninferiority q;

	ck_assert_int_eq(run(APART, a, 5, b, 7, &wide, 0.05, &e, NULL), PD_OK);
	ck_assert_int_eq(pd_noninferiority_of(&e.log, 0.8, 0.025, &q, NULL),
	                 PD_OK);
	/* R */
	near("t", q.t, 2.88057929913039, 1e-12);
	near("p", q.p, 0.0107974537833915, 1e-11);
	near("limit", q.limit, 0.845421700607777, 1e-12);
	ck_assert_int_eq(q.shown, q.p <= 0.025);
}
END_TEST

/* A contrast of the mixed model over pairs is the paired test. */
START_TEST(mixed_is_paired)
{
	double y[10], x[20];
	int32_t patient[10];
	pd_nested_spec s = { .n = 10, .p = 2, .x = x, .y = y, .depth = 1 };
	pd_nested *m = NULL;
	pd_equivalence e, want;
	pd_estimate c;

	for (int i = 0; i < 10; i++) {
		patient[i] = i % 5;
		y[i] = log(i < 5 ? a[i] : b[i - 5]);
		x[2 * i] = 1;
		x[2 * i + 1] = i < 5;
	}
	/* patients that differ, so that their variance is above 0 */
	for (int i = 0; i < 10; i++)
		y[i] += 0.6 * (i % 5);
	s.group[0] = patient;
	ck_assert_int_eq(pd_nested_new(&s, &m, NULL), PD_OK);
	ck_assert_int_eq(pd_nested_fit(m, NULL), PD_OK);
	ck_assert_int_eq(pd_nested_contrast(m, (double[]){ 0, 1 }, 0.95,
	                                    PD_KENWARD_ROGER, &c, NULL),
	                 PD_OK);
	pd_nested_free(m);
	ck_assert_int_eq(pd_equivalence_of(&c, &wide, 0.05, &e, NULL), PD_OK);
	ck_assert_int_eq(run(PAIRED, a, 5, b, 5, &wide, 0.05, &want, NULL),
	                 PD_OK);
	near("df", e.log.df, 4, 1e-6);
	near("p", e.p, want.p, 1e-6);
	near("low", e.ratio_low, want.ratio_low, 1e-7);
	near("high", e.ratio_high, want.ratio_high, 1e-7);
}
END_TEST

/* ---- agreement ---------------------------------------------------------- */

/* What the header promises of every answer; the unmoved p differ from the
 * given ones by rounding only. */
static void agrees(const pd_equivalence *e, const pd_margin *m)
{
	double low = pd_t_upper(e->t_low, e->log.df);
	double high = pd_t_cdf(e->t_high, e->log.df);

	ck_assert_int_eq(e->not_below, e->ratio_low >= m->low);
	ck_assert_int_eq(e->not_above, e->ratio_high <= m->high);
	ck_assert_int_eq(e->not_below, e->p_low <= e->alpha);
	ck_assert_int_eq(e->not_above, e->p_high <= e->alpha);
	ck_assert_int_eq(e->inside, e->not_below && e->not_above);
	ck_assert_int_eq(e->inside, e->p <= e->alpha);
	near("p below", e->p_low, low, 1e-3);
	near("p above", e->p_high, high, 1e-3);
	if (e->log.se > 1e-6) {
		near("p below", e->p_low, low, 1e-9);
		near("p above", e->p_high, high, 1e-9);
	}
}

START_TEST(agreement_on_anything)
{
	enum { TRIES = 40000 };
	pd_stream s;
	size_t inside = 0;

	pd_stream_init(&s, 31, (uint64_t)_i);
	for (int i = 0; i < TRIES; i++) {
		pd_margin m = { exp(-0.8 * pd_stream_uniform(&s)),
		                exp(0.8 * pd_stream_uniform(&s)) };
		double alpha = 0.2 * pd_stream_uniform(&s);
		pd_estimate g = { .value = 0.3 * pd_stream_normal(&s) };
		pd_equivalence e;

		g.se = exp(-12 * pd_stream_uniform(&s));
		g.df = i % 7 ? 1 + 40 * pd_stream_uniform(&s) : INFINITY;
		ck_assert_int_eq(pd_equivalence_of(&g, &m, alpha, &e, NULL),
		                 PD_OK);
		agrees(&e, &m);
		inside += e.inside;
		ck_assert_int_eq(e.inside, e.not_below && e.not_above);
	}
	ck_assert_uint_gt(inside, TRIES / 20);
	ck_assert_uint_lt(inside, TRIES - TRIES / 20);
}
END_TEST

/* The interval's end laid on the margin and one double to either side: wide
 * and narrow errors, where rounding decides. */
START_TEST(agreement_at_the_margin)
{
	pd_stream s;
	size_t shown = 0, ties = 0;

	pd_stream_init(&s, 32, (uint64_t)_i);
	for (int i = 0; i < 20000; i++) {
		double alpha = 0.01 + 0.1 * pd_stream_uniform(&s), half;
		pd_estimate g = { .value = 0.1 * pd_stream_normal(&s) };
		pd_equivalence e;
		pd_noninferiority q;
		pd_margin m = { 0.5, 100 };

		g.se = exp(-20 * pd_stream_uniform(&s));
		g.df = 2 + 30 * pd_stream_uniform(&s);
		half = -pd_t_quantile(alpha, g.df) * g.se;
		g.value -= 0.4 + half;
		m.low = exp(g.value - half);
		if (i % 3)
			m.low = nextafter(m.low, i % 3 == 1 ? 0 : 1);
		if (!(m.low < 1))
			continue;
		ck_assert_int_eq(pd_equivalence_of(&g, &m, alpha, &e, NULL),
		                 PD_OK);
		agrees(&e, &m);
		ties += e.ratio_low == m.low;
		shown += e.not_below;
		ck_assert_int_eq(pd_noninferiority_of(&g, m.low, alpha, &q,
		                                      NULL), PD_OK);
		ck_assert_double_eq(q.limit, e.ratio_low);
		ck_assert_double_eq(q.p, e.p_low);
		ck_assert_int_eq(q.shown, q.p <= alpha);
		ck_assert_int_eq(q.shown, q.limit >= m.low);
	}
	ck_assert_uint_gt(ties, 5000);
	ck_assert_uint_gt(shown, 12000);
}
END_TEST

/* ---- properties --------------------------------------------------------- */

/* Arms exchanged and limits turned over; another unit; another order. */
START_TEST(swap_unit_order)
{
	const pd_margin turned = { 1 / 1.4, 1 / 0.75 };
	double ua[5], ub[7], ra[5], rb[7];
	pd_equivalence e, o;

	for (int i = 0; i < 7; i++) {
		if (i < 5) {
			ua[i] = 1024 * a[i];
			ra[i] = a[(i + 2) % 5];
		}
		ub[i] = 1024 * b[i];
		rb[i] = b[_i == PAIRED ? (i + 2) % 5 : (i + 3) % 7];
	}
	ck_assert_int_eq(run(_i, a, 5, b, 7, &wide, 0.05, &e, NULL), PD_OK);
	if (_i == PAIRED)
		ck_assert_int_eq(run(_i, b, 5, a, 5, &turned, 0.05, &o, NULL),
		                 PD_OK);
	else
		ck_assert_int_eq(run(_i, b, 7, a, 5, &turned, 0.05, &o, NULL),
		                 PD_OK);
	near("swap", o.p_low, e.p_high, 1e-11);
	near("swap", o.p_high, e.p_low, 1e-11);
	near("swap", o.ratio_low, 1 / e.ratio_high, 1e-13);
	ck_assert_int_eq(run(_i, ua, 5, ub, 7, &wide, 0.05, &o, NULL), PD_OK);
	near("unit", o.p, e.p, 1e-11);
	near("unit", o.ratio_high, e.ratio_high, 1e-13);
	ck_assert_int_eq(run(_i, ra, 5, rb, 7, &wide, 0.05, &o, NULL), PD_OK);
	near("order", o.p, e.p, 1e-12);
	/* far off and tiny units */
	for (int i = 0; i < 5; i++)
		ua[i] = 1e-9 * a[i];
	for (int i = 0; i < 7; i++)
		ub[i] = 1e9 * b[i];
	ck_assert_int_eq(run(_i, ua, 5, ub, 7, &wide, 0.05, &o, NULL), PD_OK);
	near("ratio", o.ratio, 1e-18 * e.ratio, 1e-11);
	ck_assert(!o.inside && o.not_above && !o.not_below);
}
END_TEST

/* A wider margin never loses the claim; both margins of non-inferiority. */
START_TEST(monotone)
{
	const pd_estimate g = { .value = 0.04, .se = 0.07, .df = 11 };
	const pd_estimate back = { .value = -0.04, .se = 0.07, .df = 11 };
	pd_noninferiority up, down;
	pd_equivalence e;
	int before = 0;

	for (double w = 1.01; w < 2; w *= 1.01) {
		pd_margin m = { 1 / w, w };

		ck_assert_int_eq(pd_equivalence_of(&g, &m, 0.05, &e, NULL),
		                 PD_OK);
		ck_assert(e.inside || !before);
		before = e.inside;
		ck_assert_int_eq(pd_noninferiority_of(&g, w, 0.05, &up, NULL),
		                 PD_OK);
		ck_assert_int_eq(pd_noninferiority_of(&back, 1 / w, 0.05,
		                                      &down, NULL), PD_OK);
		near("mirror", up.p, down.p, 1e-11);
		near("mirror", up.limit, 1 / down.limit, 1e-14);
		ck_assert_int_eq(up.shown, e.not_above);
	}
	ck_assert(before);
}
END_TEST

/* At the edge of the margin the claim is made in alpha of trials. */
START_TEST(size_at_the_margin)
{
	enum { TRIALS = 20000, N = 12 };
	double claims = 0, x[N], y[N];
	const pd_margin m = { 0.8, 1.25 };
	pd_stream s;

	pd_stream_init(&s, 33, 1);
	for (int i = 0; i < TRIALS; i++) {
		pd_equivalence e;

		for (int j = 0; j < N; j++) {
			y[j] = exp(2 + 0.5 * pd_stream_normal(&s));
			x[j] = 0.8 * y[j] * exp(0.1 * pd_stream_normal(&s));
		}
		ck_assert_int_eq(run(PAIRED, x, N, y, N, &m, 0.05, &e, NULL),
		                 PD_OK);
		claims += e.inside;
	}
	ck_assert_double_eq_tol(claims / TRIALS, 0.05, 0.0062);
}
END_TEST

/* ---- refusals ----------------------------------------------------------- */

static const struct {
	const char *words;
	pd_margin margin;
	double alpha, value, se, df;
	pd_status status;
} refused[] = {
	{ "finite and above 0", { 0, 1.25 }, 0.05, 0, 1, 9, PD_DATA },
	{ "finite and above 0", { -0.8, 1.25 }, 0.05, 0, 1, 9, PD_DATA },
	{ "finite and above 0", { 0.8, INFINITY }, 0.05, 0, 1, 9, PD_DATA },
	{ "finite and above 0", { NAN, 1.25 }, 0.05, 0, 1, 9, PD_DATA },
	{ "1 (no difference) between", { 0.8, 1 }, 0.05, 0, 1, 9, PD_DATA },
	{ "1 (no difference) between", { 1.1, 1.3 }, 0.05, 0, 1, 9, PD_DATA },
	{ "1 (no difference) between", { 1.25, 0.8 }, 0.05, 0, 1, 9, PD_DATA },
	{ "between 0 and 0.5", { 0.8, 1.25 }, 0.5, 0, 1, 9, PD_DATA },
	{ "between 0 and 0.5", { 0.8, 1.25 }, 0, 0, 1, 9, PD_DATA },
	{ "between 0 and 0.5", { 0.8, 1.25 }, NAN, 0, 1, 9, PD_DATA },
	{ "finite value", { 0.8, 1.25 }, 0.05, NAN, 1, 9, PD_DATA },
	{ "finite value", { 0.8, 1.25 }, 0.05, 0, INFINITY, 9, PD_DATA },
	{ "finite value", { 0.8, 1.25 }, 0.05, 0, 1, 0, PD_DATA },
	{ "not more than rounding", { 0.8, 1.25 }, 0.05, 0, 0, 9, PD_REFUSED },
	{ "not more than rounding", { 0.8, 1.25 }, 0.05, 1, 1e-13, 9,
	  PD_REFUSED },
};

START_TEST(refuses)
{
	pd_estimate g = { .value = refused[_i].value, .se = refused[_i].se,
	                  .df = refused[_i].df };
	pd_equivalence e;
	pd_error err = { 0 };

	ck_assert_int_eq(pd_equivalence_of(&g, &refused[_i].margin,
	                                   refused[_i].alpha, &e, &err),
	                 refused[_i].status);
	if (!strstr(err.text, refused[_i].words))
		ck_abort_msg("'%s' lacks '%s'", err.text, refused[_i].words);
}
END_TEST

START_TEST(refuses_results)
{
	const double zero[] = { 1, 2, 0, 4, 5 }, same[] = { 3, 3, 3, 3, 3 };
	const pd_estimate g = { .value = 0.1, .se = 0.2, .df = 5 };
	pd_noninferiority q;
	pd_equivalence e;
	pd_error err = { 0 };

	for (int k = PAIRED; k <= APART; k++) {
		ck_assert_int_eq(run(k, zero, 5, b, 7, &wide, 0.05, &e, &err),
		                 PD_DATA);
		ck_assert_ptr_nonnull(strstr(err.text, "test result 3"));
		ck_assert_int_eq(run(k, a, 5, zero, 5, &wide, 0.05, &e, &err),
		                 PD_DATA);
		ck_assert_ptr_nonnull(strstr(err.text, "reference result 3"));
		ck_assert_int_eq(run(k, same, 5, same, 5, &wide, 0.05, &e,
		                     &err), PD_REFUSED);
		ck_assert_int_eq(run(k, a, 1, b, 1, &wide, 0.05, &e, &err),
		                 PD_REFUSED);
		ck_assert_int_eq(run(k, a, 0, b, 0, &wide, 0.05, &e, &err),
		                 PD_REFUSED);
		ck_assert_int_eq(run(k, a, 5, b, 7, &wide, 0.7, &e, &err),
		                 PD_DATA);
	}
	ck_assert_int_eq(pd_equivalence_groups(a, 5, b, 7, (pd_variances)7,
	                                       &wide, 0.05, &e, &err),
	                 PD_DATA);
	/* pooled: one result a group is enough when the other has more */
	ck_assert_int_eq(run(POOLED, a, 1, b, 7, &wide, 0.05, &e, &err),
	                 PD_OK);
	ck_assert_double_eq(e.log.df, 6);
	ck_assert_int_eq(pd_noninferiority_of(&g, 1, 0.05, &q, &err), PD_DATA);
	ck_assert_int_eq(pd_noninferiority_of(&g, 0, 0.05, &q, &err), PD_DATA);
	ck_assert_int_eq(pd_noninferiority_of(&g, NAN, 0.05, &q, &err),
	                 PD_DATA);
	ck_assert_int_eq(pd_noninferiority_of(&g, 0.8, 0.5, &q, &err),
	                 PD_DATA);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("equivalence");
	TCase *t = tcase_create("tests");

	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, known_answers, 0, ROWS(known));
	tcase_add_test(t, noninferior_known);
	tcase_add_test(t, mixed_is_paired);
	tcase_add_loop_test(t, agreement_on_anything, 0, 2);
	tcase_add_loop_test(t, agreement_at_the_margin, 0, 2);
	tcase_add_loop_test(t, swap_unit_order, 0, 3);
	tcase_add_test(t, monotone);
	tcase_add_test(t, size_at_the_margin);
	tcase_add_loop_test(t, refuses, 0, ROWS(refused));
	tcase_add_test(t, refuses_results);
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
