/*
 * check_robust_cluster.c - the cluster sandwich against the definitions,
 * written with matrices of the number of rows, and against R: clubSandwich
 * 0.5.8 on data made by a rule.
 */
#include "dense_sandwich.h"
#include "sandwich_values.h"
#include "stats/quantile.h"
#include "stats/robust_cluster.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { N = 47 };

struct set {
	size_t n;
	double x[ROWS * P], y[ROWS], weight[ROWS], by_cluster[ROWS];
	double inverse[ROWS];
	int32_t cluster[ROWS];
};

/* The rule of the outside values. */
static void rule(struct set *s)
{
	static const int size[] = { 1, 2, 3, 9, 4, 7, 5, 6, 10 };
	int i = 0;

	memset(s, 0, sizeof *s);
	s->n = N;
	for (int c = 1; c <= 9; c++)
		for (int k = 0; k < size[c - 1]; k++, i++) {
			double x1 = i * 37 % 23 / 7.0 - 1.3;

			s->x[i * P] = 1.0;
			s->x[i * P + 1] = x1;
			s->x[i * P + 2] = c % 2;
			s->cluster[i] = c;
			s->y[i] = 2.1 + 0.63 * x1 - 0.47 * (c % 2) +
			          1.1 * (c * 29 % 11) / 11.0 +
			          i * 53 % 31 / 13.0;
			s->weight[i] = 0.4 + i * 17 % 13 / 5.0;
			s->inverse[i] = 1.0 / s->weight[i];
			s->by_cluster[i] = 0.3 + c / 4.0;
		}
}

static pd_clustered_spec spec(const struct set *s, const double *weight,
                              const double *variance)
{
	return (pd_clustered_spec){ s->n, P, s->x, s->y, weight, variance,
		                    s->cluster };
}

static pd_clustered *made(const pd_clustered_spec *s)
{
	pd_clustered *r = NULL;
	pd_error err = { 0 };

	if (pd_clustered_new(s, &r, &err) != PD_OK)
		ck_abort_msg("clustered: %s", err.text);
	return r;
}

/* ---- against the definitions ------------------------------------------- */

static void compare(const struct direct *d, const pd_clustered *r,
                    const int32_t *cluster)
{
	static const double c[4][P] = { { 1, 0, 0 }, { 0, 1, 0 }, { 0, 0, 1 },
		                        { 0.3, 1.7, -0.6 } };
	pd_estimate e;
	pd_error err = { 0 };

	for (size_t i = 0; i < P * P; i++)
		near("covariance", pd_clustered_covariance(r)[i], d->cov[i],
		     1e-9);
	for (size_t k = 0; k < 4; k++) {
		double value = 0.0, var = 0.0, df, t;

		for (size_t a = 0; a < P; a++) {
			value += c[k][a] * d->beta[a];
			for (size_t b = 0; b < P; b++)
				var += c[k][a] * c[k][b] * d->cov[a * P + b];
		}
		if (pd_clustered_contrast(r, c[k], 0.9, &e, &err) != PD_OK)
			ck_abort_msg("contrast: %s", err.text);
		df = direct_df(d, c[k], cluster);
		t = pd_t_quantile(0.95, df) * sqrt(var);
		near("value", e.value, value, 1e-10);
		near("se", e.se, sqrt(var), 1e-9);
		near("df", e.df, df, 1e-8);
		near("low", e.low, value - t, 1e-8);
		near("high", e.high, value + t, 1e-8);
		near("p", e.p, pd_t_two_sided(value / sqrt(var), df), 1e-8);
	}
}

/* Weights none, by row or by cluster; working variances none, by row or the
 * inverse weights. */
START_TEST(least_squares_by_definition)
{
	struct set s;
	struct direct d;
	pd_clustered_spec sp;
	pd_clustered *r;
	const double *w, *v;

	rule(&s);
	w = _i % 3 == 0 ? NULL : _i % 3 == 1 ? s.weight : s.by_cluster;
	v = _i / 3 == 0 ? NULL : _i / 3 == 1 ? s.inverse : s.by_cluster;
	sp = spec(&s, w, v);
	r = made(&sp);
	direct_new(&d, s.n);
	for (size_t i = 0; i < s.n; i++) {
		d.w[i * s.n + i] = w ? w[i] : 1.0;
		d.v[i * s.n + i] = v ? v[i] : 1.0;
	}
	direct_at(&d, s.x, s.y, s.cluster);
	compare(&d, r, s.cluster);
	ck_assert_uint_eq(pd_clustered_clusters(r), 9);
	free(d.w);
	pd_clustered_free(r);
}
END_TEST

/* Every row its own cluster, so many that sums go by clusters; the joint test
 * in another basis. */
START_TEST(many_clusters)
{
	static const double two[2][2 * P] = {
		{ 0, 1, 0, 0, 0, 1 }, { 0, 2.5, -1e3, 0, 0.31, 470 }
	};
	struct data d;
	struct direct f;
	int32_t cluster[ROWS];
	pd_clustered_spec sp = { .p = P, .x = d.x, .y = d.y,
		                 .cluster = cluster };
	pd_clustered *r;
	pd_f_test a, b;

	make(&d, 43, sds);
	ck_assert_uint_gt(d.n, 90);
	sp.n = d.n;
	direct_new(&f, d.n);
	for (size_t i = 0; i < d.n; i++) {
		cluster[i] = (int32_t)i;
		f.w[i * d.n + i] = f.v[i * d.n + i] = 1.0;
	}
	r = made(&sp);
	direct_at(&f, d.x, d.y, cluster);
	compare(&f, r, cluster);
	ck_assert_int_eq(pd_clustered_f_test(r, two[0], 2, &a, NULL), PD_OK);
	ck_assert_int_eq(pd_clustered_f_test(r, two[1], 2, &b, NULL), PD_OK);
	near("F", a.f, b.f, 1e-9);
	near("df", a.df2, b.df2, 1e-8);
	pd_clustered_free(r);
	free(f.w);
}
END_TEST

/* The mixed model, clusters the patients or pairs of patients. */
START_TEST(mixed_by_definition)
{
	const struct variant *v = &variants[_i / 2];
	struct data d;
	struct dense e;
	struct direct f;
	int32_t cluster[ROWS];
	pd_nested_spec s;
	pd_nested *m;
	pd_clustered *r = NULL;
	pd_error err = { 0 };
	double sd;

	make(&d, 43, sds);
	for (size_t i = 0; i < d.n; i++)
		cluster[i] = _i % 2 ? d.group[0][i] / 2 * 3 : d.group[0][i];
	s = spec_of(&d, v);
	m = fitted(&s);
	sd = pd_nested_residual_sd(m);
	dense_new(&e, &d, v);
	dense_theta(&e, v, pd_nested_theta(m), sd * sd);
	dense_at(&e, &d);
	direct_new(&f, d.n);
	for (size_t i = 0; i < d.n * d.n; i++) {
		f.w[i] = e.inverse[i];
		for (size_t k = 0; k < e.k; k++)
			f.v[i] += e.s[k] * e.v[k * d.n * d.n + i];
	}
	direct_at(&f, d.x, d.y, cluster);
	if (pd_clustered_nested(m, _i % 2 ? cluster : NULL, &r, &err) != PD_OK)
		ck_abort_msg("nested: %s", err.text);
	compare(&f, r, cluster);
	for (size_t a = 0; a < P; a++)
		near("beta", pd_clustered_beta(r)[a], e.beta[a], 1e-10);
	pd_clustered_free(r);
	dense_free(&e);
	free(f.w);
	pd_nested_free(m);
}
END_TEST

/* ---- outside values ----------------------------------------------------- */

static void close_to(const char *what, double got, double want, double rel)
{
	ck_assert_msg(fabs(got - want) <= rel * fabs(want),
	              "%s: got %.16g, wanted %.16g", what, got, want);
}

static void against(const struct outside *o, const pd_clustered *r, double tol)
{
	static const double c[P * P] = { 1, 0, 0, 0, 1, 0, 0, 0, 1 };
	static const double lc[P] = { 0.3, 1.7, -0.6 };
	const double *v = pd_clustered_covariance(r);
	pd_estimate e;
	pd_f_test f;
	size_t k = 0;

	for (size_t a = 0; a < P; a++) {
		close_to("beta", pd_clustered_beta(r)[a], o->beta[a], tol);
		for (size_t b = a; b < P; b++)
			close_to("v", v[a * P + b], o->v[k++], tol);
		ck_assert_int_eq(pd_clustered_contrast(r, c + a * P, 0.95, &e,
		                                       NULL), PD_OK);
		close_to("df", e.df, o->df[a], tol);
		close_to("p", e.p, o->p[a], 10 * tol);
	}
	ck_assert_int_eq(pd_clustered_contrast(r, lc, 0.95, &e, NULL), PD_OK);
	if (o->lc[1] > 0.0) {
		close_to("value", e.value, o->lc[0], tol);
		close_to("se", e.se, o->lc[1], tol);
		close_to("df", e.df, o->lc[2], tol);
		close_to("low", e.low, o->lc[3], tol);
		close_to("high", e.high, o->lc[4], tol);
	}
	ck_assert_int_eq(pd_clustered_f_test(r, c + P, 2, &f, NULL), PD_OK);
	close_to("F", f.f, o->f, tol);
	close_to("scaling", f.scaling, o->scaling, tol);
	close_to("df2", f.df2, o->df2, tol);
	close_to("p of F", f.p, o->p_f, 10 * tol);
}

START_TEST(outside_values)
{
	const struct outside *o = &outside[_i];
	struct set s;
	pd_clustered_spec sp;
	pd_clustered *r;

	rule(&s);
	sp = spec(&s, o->weight == 0 ? NULL : o->weight == 1 ? s.weight :
	          s.by_cluster, o->variance ? s.inverse : NULL);
	r = made(&sp);
	against(o, r, 1e-11);
	pd_clustered_free(r);
}
END_TEST

static pd_nested *mixed(const struct set *s)
{
	pd_nested_spec sp = { .n = s->n, .p = P, .x = s->x, .y = s->y,
		              .depth = 1, .group = { s->cluster } };

	return fitted(&sp);
}

START_TEST(outside_mixed)
{
	struct set s;
	pd_nested *m;
	pd_clustered *r;

	rule(&s);
	m = mixed(&s);
	ck_assert_int_eq(pd_clustered_nested(m, NULL, &r, NULL), PD_OK);
	against(&mixed_outside, r, 1e-6);
	pd_clustered_free(r);
	pd_nested_free(m);
}
END_TEST

/* ---- properties --------------------------------------------------------- */

/* One row of contrasts: t squared; any basis of the same rows: the same F. */
START_TEST(f_tests)
{
	static const double one[P] = { 0.3, 1.7, -0.6 };
	static const double two[2][2 * P] = {
		{ 0, 1, 0, 0, 0, 1 }, { 0, 2.5, -1e3, 0, 0.31, 470 }
	};
	struct set s;
	pd_clustered_spec sp;
	pd_clustered *r;
	pd_estimate e;
	pd_f_test f, g;

	rule(&s);
	sp = spec(&s, s.weight, NULL);
	r = made(&sp);
	ck_assert_int_eq(pd_clustered_contrast(r, one, 0.95, &e, NULL), PD_OK);
	ck_assert_int_eq(pd_clustered_f_test(r, one, 1, &f, NULL), PD_OK);
	near("F", f.f, e.value * e.value / (e.se * e.se), 1e-10);
	near("df", f.df2, e.df, 1e-10);
	near("p", f.p, e.p, 1e-10);
	ck_assert_int_eq(pd_clustered_f_test(r, two[0], 2, &f, NULL), PD_OK);
	ck_assert_int_eq(pd_clustered_f_test(r, two[1], 2, &g, NULL), PD_OK);
	near("F", g.f, f.f, 1e-9);
	near("df", g.df2, f.df2, 1e-9);
	pd_clustered_free(r);
}
END_TEST

/* Rows shuffled, clusters renamed, outcome in other units and far off,
 * weights ten times: the same, exactly scaled. */
START_TEST(order_and_units)
{
	struct set s, t;
	pd_clustered_spec a, b;
	pd_clustered *r, *q;
	double c[P] = { 0, 1.1, -2.3 };
	pd_estimate x, y;

	rule(&s);
	t = s;
	for (size_t i = 0; i < N; i++) {
		size_t k = (i * 10 + 3) % N;

		memcpy(t.x + i * P, s.x + k * P, P * sizeof *s.x);
		t.y[i] = 1e6 - 1e-3 * s.y[k];
		t.weight[i] = 10.0 * s.weight[k];
		t.cluster[i] = 900000 - 7 * s.cluster[k];
	}
	a = spec(&s, s.weight, NULL);
	b = spec(&t, t.weight, NULL);
	r = made(&a);
	q = made(&b);
	ck_assert_int_eq(pd_clustered_contrast(r, c, 0.9, &x, NULL), PD_OK);
	ck_assert_int_eq(pd_clustered_contrast(q, c, 0.9, &y, NULL), PD_OK);
	close_to("value", -1e3 * y.value, x.value, 1e-6);
	close_to("se", 1e3 * y.se, x.se, 1e-6);
	close_to("df", y.df, x.df, 1e-10);
	close_to("low", -1e3 * y.high, x.low, 1e-6);
	pd_clustered_free(r);
	pd_clustered_free(q);
}
END_TEST

/* Clusters of one row and equal weights: A_i = (1 - h_i)^(-1/2). */
START_TEST(single_rows)
{
	struct set s;
	pd_clustered_spec sp;
	pd_clustered *r;
	double xx[P * P] = { 0.0 }, meat[P * P] = { 0.0 }, cov[P * P] = { 0.0 };

	rule(&s);
	for (size_t i = 0; i < N; i++)
		s.cluster[i] = (int32_t)(i * 5 % N);
	sp = spec(&s, NULL, NULL);
	r = made(&sp);
	for (size_t i = 0; i < N * P * P; i++)
		xx[i % (P * P)] += s.x[i / (P * P) * P + i % (P * P) / P] *
		                   s.x[i / (P * P) * P + i % P];
	invert(xx, P);
	for (size_t i = 0; i < N; i++) {
		const double *x = s.x + i * P;
		double e = s.y[i], h = 0.0;

		for (size_t a = 0; a < P; a++) {
			e -= x[a] * pd_clustered_beta(r)[a];
			for (size_t b = 0; b < P; b++)
				h += x[a] * x[b] * xx[a * P + b];
		}
		for (size_t a = 0; a < P * P; a++)
			meat[a] += x[a / P] * x[a % P] * e * e / (1.0 - h);
	}
	for (size_t a = 0; a < P * P; a++)
		for (size_t b = 0; b < P * P; b++)
			cov[a] += xx[a / P * P + b / P] * meat[b] *
			          xx[b % P * P + a % P];
	for (size_t a = 0; a < P * P; a++)
		near("covariance", pd_clustered_covariance(r)[a], cov[a],
		     1e-11);
	pd_clustered_free(r);
}
END_TEST

/* Columns that mark clusters take them out of the rest: the others' covariance
 * is that without the clusters, and the marks' own is refused. */
START_TEST(column_of_one_cluster)
{
	struct set s, t;
	pd_clustered_spec a, b;
	pd_clustered *r, *q;
	double mark[P] = { 0, 0, 1 }, slope[P] = { 0, 1, 0 };
	double two[2 * P] = { 0, 0, 1, 0, 1, 0 };
	pd_estimate x, y;
	pd_f_test f;
	pd_error err = { 0 };

	rule(&s);
	for (size_t i = 0; i < N; i++)
		s.x[i * P + 2] = s.cluster[i] == 1; /* a single row */
	t = s;
	t.n = N - 1; /* which comes first */
	memmove(t.x, t.x + P, t.n * P * sizeof *t.x);
	memmove(t.y, t.y + 1, t.n * sizeof *t.y);
	memmove(t.cluster, t.cluster + 1, t.n * sizeof *t.cluster);
	for (size_t i = 0; i < t.n; i++) {
		t.x[i * 2] = 1.0;
		t.x[i * 2 + 1] = s.x[(i + 1) * P + 1];
	}
	a = spec(&s, NULL, NULL);
	b = spec(&t, NULL, NULL);
	b.p = 2;
	r = made(&a);
	q = made(&b);
	ck_assert_int_eq(pd_clustered_contrast(r, slope, 0.9, &x, NULL),
	                 PD_OK);
	ck_assert_int_eq(pd_clustered_contrast(q, slope, 0.9, &y, NULL),
	                 PD_OK);
	near("value", x.value, y.value, 1e-11);
	near("se", x.se, y.se, 1e-10);
	near("df", x.df, y.df, 1e-9);
	ck_assert_int_eq(pd_clustered_contrast(r, mark, 0.9, &x, &err),
	                 PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "one cluster alone"));
	ck_assert_int_eq(pd_clustered_f_test(r, two, 2, &f, &err), PD_REFUSED);
	pd_clustered_free(r);
	pd_clustered_free(q);
}
END_TEST

START_TEST(few_clusters)
{
	struct set s;
	pd_clustered_spec sp;
	pd_clustered *r = NULL;
	double c[P * P] = { 0, 1, 0, 0, 0, 1, 1, 0, 0 };
	pd_estimate e;
	pd_f_test f;
	pd_error err = { 0 };

	rule(&s);
	for (size_t i = 0; i < N; i++) {
		s.cluster[i] = i % 2;
		s.x[i * P + 2] = (double)(i * 11 % 7);
	}
	sp = spec(&s, NULL, NULL);
	r = made(&sp); /* 2 clusters, 3 columns */
	ck_assert_int_eq(pd_clustered_contrast(r, c, 0.95, &e, NULL), PD_OK);
	ck_assert(e.df > 0.5 && e.df < 1.5 && isfinite(e.low));
	ck_assert_int_eq(pd_clustered_f_test(r, c, 3, &f, &err), PD_REFUSED);
	ck_assert_msg(strstr(err.text, "2 clusters"), "%s", err.text);
	pd_clustered_free(r);
	for (size_t i = 0; i < N; i++)
		s.cluster[i] = 4;
	ck_assert_int_eq(pd_clustered_new(&sp, &r, &err), PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "a single cluster"));
	ck_assert_ptr_null(r);
}
END_TEST

START_TEST(wrong_use)
{
	struct set s;
	pd_clustered_spec sp;
	pd_clustered *r = NULL;
	pd_nested *m;
	pd_estimate e;
	pd_error err = { 0 };
	double zero[P] = { 0.0 }, bad[P] = { 1, NAN, 0 };

	rule(&s);
	m = mixed(&s);
	s.cluster[40] = -3;
	sp = spec(&s, s.weight, NULL);
	ck_assert_int_eq(pd_clustered_new(&sp, &r, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 41"));
	s.cluster[40] = 1; /* group 9 of the model in two clusters */
	ck_assert_int_eq(pd_clustered_nested(m, s.cluster, &r, &err), PD_DATA);
	s.weight[7] = 0.0;
	ck_assert_int_eq(pd_clustered_new(&sp, &r, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 8: weight"));
	sp.weight = NULL;
	s.y[3] = NAN;
	ck_assert_int_eq(pd_clustered_new(&sp, &r, &err), PD_DATA);
	rule(&s);
	for (size_t i = 0; i < N; i++)
		s.x[i * P + 2] = 3.0 - 2.0 * s.x[i * P + 1];
	ck_assert_int_eq(pd_clustered_new(&sp, &r, &err), PD_NUMERIC);
	ck_assert_ptr_nonnull(strstr(err.text, "column 3"));
	rule(&s);
	for (size_t i = 0; i < N; i++)
		s.y[i] = 0.31 - s.x[i * P + 1];
	ck_assert_int_eq(pd_clustered_new(&sp, &r, &err), PD_REFUSED);
	rule(&s);
	r = made(&sp);
	ck_assert_int_eq(pd_clustered_contrast(r, zero, 0.95, &e, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_clustered_contrast(r, bad, 0.95, &e, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_clustered_f_test(r, bad, 4, NULL, &err), PD_USAGE);
	bad[1] = 0.0;
	ck_assert_int_ne(pd_clustered_contrast(r, bad, 1.0, &e, &err), PD_OK);
	pd_clustered_free(r);
	pd_nested_free(m);
	pd_clustered_free(NULL);
}
END_TEST

/* 400 draws with equal correlation inside clusters of unlike sizes and a
 * column that varies between them: the nominal 95 % interval holds the truth
 * about as often as it says. */
START_TEST(covers)
{
	pd_stream g;
	int inside = 0, runs = 400;
	double c[P] = { 0, 0, 1 };

	pd_stream_init(&g, 411, 3);
	for (int k = 0; k < runs; k++) {
		struct set s;
		pd_clustered_spec sp;
		pd_clustered *r;
		pd_estimate e;
		double u = 0.0;

		rule(&s);
		for (size_t i = 0; i < N; i++) {
			if (i == 0 || s.cluster[i] != s.cluster[i - 1])
				u = pd_stream_normal(&g);
			s.y[i] = 0.7 * s.x[i * P + 2] + u +
			         0.8 * pd_stream_normal(&g);
		}
		sp = spec(&s, NULL, NULL);
		r = made(&sp);
		ck_assert_int_eq(pd_clustered_contrast(r, c, 0.95, &e, NULL),
		                 PD_OK);
		inside += e.low <= 0.7 && 0.7 <= e.high;
		pd_clustered_free(r);
	}
	ck_assert_msg(inside >= 370 && inside <= 394, "%d of %d", inside, runs);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("robust cluster");
	TCase *t = tcase_create("definitions");

	tcase_add_loop_test(t, least_squares_by_definition, 0, 9);
	tcase_add_test(t, many_clusters);
	tcase_add_loop_test(t, mixed_by_definition, 0, 2 * (VARIANTS - 1));
	tcase_set_timeout(t, 60);
	suite_add_tcase(s, t);
	t = tcase_create("outside");
	tcase_add_loop_test(t, outside_values, 0,
	                    sizeof outside / sizeof *outside);
	tcase_add_test(t, outside_mixed);
	suite_add_tcase(s, t);
	t = tcase_create("properties");
	tcase_add_test(t, f_tests);
	tcase_add_test(t, order_and_units);
	tcase_add_test(t, single_rows);
	tcase_add_test(t, column_of_one_cluster);
	tcase_add_test(t, few_clusters);
	tcase_add_test(t, wrong_use);
	tcase_add_test(t, covers);
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
