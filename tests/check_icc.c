/*
 * check_icc.c - how alike results of one unit are.
 *
 * Known answers: aov, qf of R 4.2.2 ("R"). The first table is the worked
 * example of Shrout & Fleiss (1979), printed there as .17 and .71 (values of
 * the table and the two results from memory; all further digits from R).
 */
#include "stats/icc.h"
#include "stats/nested_profile.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <gsl/gsl_multimin.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static void near(const char *what, double got, double want, double tolerance)
{
	if (!(fabs(got - want) <= tolerance * fmax(1, fabs(want))))
		ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static const double judges[] = {
	9, 2, 5, 8,  6, 1, 3, 2,  8, 4, 6, 8,
	7, 1, 2, 6,  10, 5, 6, 9, 6, 2, 4, 7
};
static const double sides[] = {
	3.31, 3.12, 2.87, 3.01, 3.92, 3.55, 3.05, 3.20, 2.64, 2.31, 3.48, 3.60,
	3.77, 3.49
};
static const double against[] = {
	1.31, 2.42, 2.87, 1.11, 1.92, 2.35, 2.05, 1.70
};

static const struct known {
	const char *name;
	const double *v;
	size_t n, k;
	pd_icc_kind kind;
	double f, df1, df2, icc, low, high, between, within;
} known[] = {
	{ "four judges, one way", judges, 6, 4, PD_ICC_ONE_WAY,
	  1.794678492239, 5, 18, 0.165741768405, -0.132932324875,
	  0.722560062328, 1.115546702045, 2.502776236280 },
	{ "four judges, consistent", judges, 6, 4, PD_ICC_CONSISTENT,
	  11.027247956403, 5, 15, 0.714840714841, 0.342464765034,
	  0.945858259955, 1.598610507771, 1.009675415391 },
	{ "pairs, one way", sides, 7, 2, PD_ICC_ONE_WAY,
	  13.168586052463, 6, 7, 0.858842654264, 0.440198448617,
	  0.973684658248, 0.425603213378, 0.172543990250 },
	{ "pairs, consistent", sides, 7, 2, PD_ICC_CONSISTENT,
	  14.073504273504, 6, 6, 0.867316851894, 0.414901697402,
	  0.975875819066, 0.426726186325, 0.166904592079 },
	{ "against each other, one way", against, 4, 2, PD_ICC_ONE_WAY,
	  0.0547684256683, 3, 4, -0.8961508055503, -0.9890833952517,
	  -0.0946566925836, 0, 0.7613392804788 },
	{ "against each other, consistent", against, 4, 2, PD_ICC_CONSISTENT,
	  0.0418086536615, 3, 3, -0.9197383252394, -0.9945987109515,
	  -0.2154423686970, 0, 0.8713853912018 },
};

START_TEST(known_answers)
{
	const struct known *w = &known[_i];
	pd_error err = { 0 };
	pd_icc g;

	ck_assert_msg(pd_icc_of(w->v, w->n, w->k, w->kind, 0.95, &g, &err) ==
	              PD_OK, "%s: %s", w->name, err.text);
	near(w->name, g.f, w->f, 1e-10);
	near(w->name, g.df1, w->df1, 0);
	near(w->name, g.df2, w->df2, 0);
	near(w->name, g.value, w->icc, 1e-10);
	near(w->name, g.low, w->low, 1e-10);
	near(w->name, g.high, w->high, 1e-10);
	near(w->name, g.between, w->between, 1e-10);
	near(w->name, g.within, w->within, 1e-10);
}
END_TEST

/* Printed in the paper to two digits. */
START_TEST(as_published)
{
	pd_error err = { 0 };
	pd_icc g;

	ck_assert(pd_icc_of(judges, 6, 4, PD_ICC_ONE_WAY, 0.95, &g, &err) ==
	          PD_OK);
	near("ICC(1,1)", g.value, 0.17, 0.005);
	ck_assert(pd_icc_of(judges, 6, 4, PD_ICC_CONSISTENT, 0.95, &g,
	                    &err) == PD_OK);
	near("ICC(3,1)", g.value, 0.71, 0.005);
}
END_TEST

/* Order of units, unit of measurement and a change of sign change nothing; a
 * column that is higher throughout changes the one way alone; a wider level
 * holds the narrower. */
START_TEST(properties)
{
	double v[14], w[14];
	pd_error err = { 0 };
	pd_icc one, two, g;

	for (size_t i = 0; i < 7; i++)
		for (size_t j = 0; j < 2; j++) {
			v[2 * i + j] = -3.7 * sides[2 * (6 - i) + j] + 11;
			w[2 * i + j] = sides[2 * i + j] + 5. * (double)j;
		}
	for (int kind = 0; kind < 2; kind++) {
		ck_assert(pd_icc_of(sides, 7, 2, (pd_icc_kind)kind, 0.9, &one,
		                    &err) == PD_OK);
		ck_assert(pd_icc_of(v, 7, 2, (pd_icc_kind)kind, 0.9, &two,
		                    &err) == PD_OK);
		near("turned", two.value, one.value, 1e-12);
		near("turned, low", two.low, one.low, 1e-12);
		near("turned, within", two.within, 3.7 * one.within, 1e-12);
		ck_assert(pd_icc_of(sides, 7, 2, (pd_icc_kind)kind, 0.99, &two,
		                    &err) == PD_OK);
		ck_assert(two.low < one.low && one.high < two.high);
		ck_assert(pd_icc_of(w, 7, 2, (pd_icc_kind)kind, 0.9, &g,
		                    &err) == PD_OK);
		if (kind == PD_ICC_CONSISTENT)
			near("shifted", g.value, one.value, 1e-12);
		else
			ck_assert(g.value < one.value - 0.5);
	}
}
END_TEST

/* Consistent pairs are a mixed model with the columns as fixed: the same SDs
 * by restricted likelihood. */
START_TEST(as_the_mixed_model)
{
	double x[28];
	int32_t unit[14];
	pd_error err = { 0 };
	pd_icc g;
	pd_nested *m = NULL;
	pd_nested_spec spec = { .n = 14, .p = 2, .x = x, .y = sides,
		                .depth = 1, .group = { unit } };
	double v;

	for (size_t i = 0; i < 14; i++) {
		x[2 * i] = 1;
		x[2 * i + 1] = (double)(i % 2);
		unit[i] = (int32_t)(i / 2);
	}
	ck_assert(pd_icc_of(sides, 7, 2, PD_ICC_CONSISTENT, 0.95, &g, &err) ==
	          PD_OK);
	ck_assert(pd_nested_new(&spec, &m, &err) == PD_OK);
	ck_assert(pd_nested_fit(m, &err) == PD_OK);
	pd_nested_level_covariance(m, 0, &v);
	near("between", sqrt(v), g.between, 1e-7);
	near("within", pd_nested_residual_sd(m), g.within, 1e-7);
	pd_nested_free(m);
}
END_TEST

/* ---- limits of the share in a tree: by a simplex on the plane ----------- */

enum { OUTER = 9, INNER = 3, EACH = 2, TREE = OUTER * INNER * EACH };

/* The model of a tree of two levels. */
static pd_nested *fitted(const double *y)
{
	static double x[TREE];
	int32_t group[2][TREE];
	pd_error err = { 0 };
	pd_nested *m = NULL;
	pd_nested_spec spec = { .n = TREE, .p = 1, .x = x, .y = y, .depth = 2,
		                .group = { group[0], group[1] } };

	for (int k = 0; k < TREE; k++) {
		x[k] = 1;
		group[0][k] = k / (INNER * EACH);
		group[1][k] = k / EACH;
	}
	ck_assert_msg(pd_nested_new(&spec, &m, &err) == PD_OK, "%s", err.text);
	ck_assert_msg(pd_nested_fit(m, &err) == PD_OK, "%s", err.text);
	return m;
}

/* The same of drawn rows, the spread of both levels as asked. */
static pd_nested *tree(double outer, double inner, uint64_t seed)
{
	double y[TREE], a = 0, b = 0;
	pd_stream stream;

	pd_stream_init(&stream, seed, 0);
	for (int k = 0; k < TREE; k++) {
		if (k % (INNER * EACH) == 0)
			a = outer * pd_stream_normal(&stream);
		if (k % EACH == 0)
			b = inner * pd_stream_normal(&stream);
		y[k] = a + b + pd_stream_normal(&stream);
	}
	return fitted(y);
}

struct held { pd_nested *m; size_t at; double rho; };

/* t of both levels on the plane of rho, from one free number: its square is
 * the variance of the inner level over the residual's (at = 0), or the share
 * of the outer one in both (at = 1). */
static void on_plane(const struct held *h, double free_, double *theta)
{
	double odds = h->rho / (1 - h->rho), in = free_ * free_;

	if (h->at == 0) {
		theta[0] = sqrt(odds * (1 + in));
		theta[1] = fabs(free_);
	} else {
		double part = in / (1 + in);

		theta[0] = sqrt(odds * part);
		theta[1] = sqrt(odds * (1 - part));
	}
}

static double along(const gsl_vector *v, void *with)
{
	const struct held *h = with;
	double theta[2];

	on_plane(h, gsl_vector_get(v, 0), theta);
	return pd_nested_deviance(h->m, theta, NULL);
}

/* Least deviance on the plane, of several starts. */
static double least_on(struct held *h)
{
	gsl_multimin_function f = { along, 1, h };
	gsl_multimin_fminimizer *s =
	    gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2, 1);
	gsl_vector *x = gsl_vector_alloc(1), *size = gsl_vector_alloc(1);
	double best = INFINITY;

	for (double start = 0.01; start < 20; start *= 3) {
		gsl_vector_set(x, 0, start);
		gsl_vector_set(size, 0, 0.3 * start);
		gsl_multimin_fminimizer_set(s, &f, x, size);
		for (int i = 0; i < 300; i++)
			gsl_multimin_fminimizer_iterate(s);
		best = fmin(best, s->fval);
	}
	gsl_multimin_fminimizer_free(s);
	gsl_vector_free(x);
	gsl_vector_free(size);
	return best;
}

static const struct { double outer, inner; } spreads[] = {
	{ 1.3, 0.8 }, { 0.2, 1.1 }, { 2.5, 0.1 }, { 0.0, 0.0 }, { 6.0, 3.0 },
};

START_TEST(share_by_simplex)
{
	double want = pd_chisq_quantile(0.95, 1), v[2], s2;
	pd_nested *m = tree(spreads[_i].outer, spreads[_i].inner,
	                    31 + (uint64_t)_i);
	double least = pd_nested_record(m)->deviance;

	pd_nested_level_covariance(m, 0, &v[0]);
	pd_nested_level_covariance(m, 1, &v[1]);
	s2 = pow(pd_nested_residual_sd(m), 2);
	for (size_t at = 0; at < 2; at++) {
		pd_error err = { 0 };
		pd_profile p;
		struct held h = { m, at, 0 };

		ck_assert_msg(pd_nested_profile_share(m, at, true, 0.95, &p,
		                                      &err) == PD_OK, "%s",
		              err.text);
		near("share", p.e.value, (v[0] + (at ? v[1] : 0)) /
		     (v[0] + v[1] + s2), 1e-6);
		near("least", p.deviance, least, 1e-8);
		h.rho = p.e.high;
		near("high", least_on(&h) - least, want, 1e-6);
		h.rho = p.e.low;
		if (p.low_at_zero) {
			near("low", p.e.low, 0, 0);
			ck_assert(least_on(&h) - least < want);
		} else {
			near("low", least_on(&h) - least, want, 1e-6);
		}
	}
	ck_assert_double_eq(pd_nested_record(m)->deviance, least);
	pd_nested_free(m);
}
END_TEST

/* Limits from lme4 1.1-31's deviance, optimize and uniroot of R 4.2.2. */
START_TEST(share_as_outside)
{
	static const double want[2][3] = {
		{ 0.735730664039, 0.4150427696, 0.9163541933 },
		{ 0.970641042556, 0.9289910686, 0.9905742515 },
	};
	double y[TREE];
	pd_nested *m;
	pd_error err = { 0 };
	pd_profile p;

	for (int k = 0; k < TREE; k++) /* sines, remade in R */
		y[k] = 2 * sin(1.7 * (k / (INNER * EACH) + 1)) +
		       sin(3.1 * (k / EACH + 1)) + 0.6 * sin(5.3 * (k + 1));
	m = fitted(y);
	for (size_t at = 0; at < 2; at++) {
		ck_assert_msg(pd_nested_profile_share(m, at, true, 0.95, &p,
		                                      &err) == PD_OK, "%s",
		              err.text);
		near("share", p.e.value, want[at][0], 1e-6);
		near("low", p.e.low, want[at][1], 1e-6);
		near("high", p.e.high, want[at][2], 1e-6);
	}
	pd_nested_free(m);
}
END_TEST

START_TEST(share_refusals)
{
	pd_nested *m = tree(1, 1, 3);
	pd_error err = { 0 };
	pd_profile p;

	ck_assert(pd_nested_profile_share(m, 2, true, 0.95, &p, &err) ==
	          PD_USAGE);
	ck_assert(pd_nested_profile_share(m, 0, true, 1.5, &p, &err) ==
	          PD_USAGE);
	pd_nested_free(m);
}
END_TEST

START_TEST(refusals)
{
	static const double same[] = { 3, 3, 7.1, 7.1, 4, 4 };
	static const double shifted[] = { 3, 3.3, 7.1, 7.4, 4, 4.3 };
	static const double not_finite[] = { 1, 2, 3, NAN };
	pd_error err = { 0 };
	pd_icc g;

	ck_assert(pd_icc_of(same, 3, 2, PD_ICC_ONE_WAY, 0.95, &g, &err) ==
	          PD_REFUSED);
	ck_assert(pd_icc_of(shifted, 3, 2, PD_ICC_CONSISTENT, 0.95, &g,
	                    &err) == PD_REFUSED);
	ck_assert(pd_icc_of(shifted, 3, 2, PD_ICC_ONE_WAY, 0.95, &g, &err) ==
	          PD_OK);
	ck_assert(pd_icc_of(sides, 1, 2, PD_ICC_ONE_WAY, 0.95, &g, &err) ==
	          PD_REFUSED);
	ck_assert(pd_icc_of(sides, 7, 1, PD_ICC_ONE_WAY, 0.95, &g, &err) ==
	          PD_REFUSED);
	ck_assert(pd_icc_of(not_finite, 2, 2, PD_ICC_ONE_WAY, 0.95, &g,
	                    &err) == PD_DATA);
	ck_assert(pd_icc_of(sides, 7, 2, PD_ICC_ONE_WAY, 1, &g, &err) ==
	          PD_DATA);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("icc");
	TCase *c = tcase_create("icc");

	tcase_add_loop_test(c, known_answers, 0, ROWS(known));
	tcase_add_test(c, as_published);
	tcase_add_test(c, properties);
	tcase_add_test(c, as_the_mixed_model);
	tcase_add_test(c, refusals);
	tcase_add_loop_test(c, share_by_simplex, 0, ROWS(spreads));
	tcase_add_test(c, share_as_outside);
	tcase_add_test(c, share_refusals);
	suite_add_tcase(s, c);
	SRunner *run = srunner_create(s);

	srunner_run_all(run, CK_NORMAL);
	int failed = srunner_ntests_failed(run);

	printf("%d passed, %d failed\n", srunner_ntests_run(run) - failed,
	       failed);
	srunner_free(run);
	return failed ? 1 : 0;
}
