/*
 * check_range.c - laws of the largest comparison and comparisons of groups.
 *
 * Known answers marked "mp" were computed with mpmath 1.3.0 at 22 digits by
 * nested Gauss-Legendre quadrature, those marked "R" with R 4.2.2 (TukeyHSD;
 * multivariate t of package mvtnorm).
 */
#include "stats/contrast.h"
#include "stats/quantile.h"
#include "stats/range.h"
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

/* ---- laws ------------------------------------------------------------- */

START_TEST(range_known)
{
	/* mp */
	near("middle", pd_range_upper(4.1, 5, 8), 0.1068415248084819324711,
	     1e-13);
	near("tail", pd_range_upper(12, 6, 66), 5.364539163260428327485e-11,
	     1e-12);
	near("infinite df", pd_range_quantile(0.95, 3, INFINITY),
	     3.31449315539812098, 1e-13);
}
END_TEST

static const struct {
	double c, load[3], df;
	int sides;
	double upper; /* mp */
} many[] = {
	{ 2.3, { 0.3, 0.6, 0.8 }, 7, 2, 0.1355146075558794664157 },
	{ 9, { 0.3, 0.6, 0.8 }, 30, 1, 7.500357110168670609341e-10 },
	{ -0.4, { 0.3, 0.6, 0.8 }, 7, 1, 0.9061292744037360937202 },
};

START_TEST(many_known)
{
	near("many", pd_many_upper(many[_i].c, many[_i].load, 3, many[_i].df,
	                           many[_i].sides), many[_i].upper, 1e-12);
}
END_TEST

/* Simultaneous t: the largest |t| of k independent estimates (load 0: the
 * studentized maximum modulus) or of equally correlated ones (load the root of
 * the correlation). R: integrate() over the spread, and over the common part. */
static const struct {
	size_t k;
	double df, correlation, point; /* R, 95 % */
} modulus[] = {
	{ 3, 10, 0, 2.8288552302248 }, { 8, 5, 0, 4.1447301092302 },
	{ 2, 24, 0, 2.3802882439153 }, { 15, 40, 0, 3.0999095606652 },
	{ 5, 9, 0.37, 3.106005322346 },
};

START_TEST(simultaneous_t)
{
	double load[15], point, df = modulus[_i].df;
	size_t k = modulus[_i].k;

	for (size_t i = 0; i < k; i++)
		load[i] = sqrt(modulus[_i].correlation);
	point = pd_many_quantile(0.95, load, k, df, 2);
	near("point", point, modulus[_i].point, 1e-10);
	near("back", pd_many_upper(point, load, k, df, 2), 0.05, 1e-11);
	/* independent estimates share the spread only: between one t and
	 * Bonferroni's */
	ck_assert_double_gt(point, -pd_t_quantile(0.025, df));
	ck_assert_double_lt(point, -pd_t_quantile(0.025 / (double)k, df));
}
END_TEST

/* Two groups: the range is sqrt(2) |t|; one comparison: t itself. */
START_TEST(one_pair_is_student)
{
	for (double df = 0.3; df < 1e12; df *= 19)
		for (double q = 1e-3; q < 3000; q *= 3.1)
			for (double load = 0.2; load < 0.99; load += 0.7) {
				double p = pd_t_two_sided(q / sqrt(2), df);

				if (p < 1e-300)
					break;
				near("range", pd_range_upper(q, 2, df), p,
				     2e-12);
				p = pd_t_two_sided(q, df);
				if (p < 1e-300)
					continue;
				near("two sides", pd_many_upper(q, &load, 1,
				     df, 2), p, 2e-12);
				near("one side", pd_many_upper(q, &load, 1, df,
				     1), p / 2, 2e-12);
			}
}
END_TEST

/* Both tails add to 1; more groups, a larger range; inside Bonferroni. */
START_TEST(range_properties)
{
	for (double df = 1; df < 1e6; df *= 31)
		for (double q = 0.11; q < 40; q *= 3.7) {
			double before = 0;

			for (size_t k = 2; k <= 200; k = 4 * k + 1) {
				double up = pd_range_upper(q, k, df);
				double pair = pd_range_upper(q, 2, df);
				double pairs = (double)(k * (k - 1) / 2);

				near("sum", up + pd_range_cdf(q, k, df), 1,
				     1e-12);
				ck_assert_double_ge(up, before * (1 - 1e-12));
				ck_assert_double_le(up, pair * pairs *
				                    (1 + 1e-12));
				before = up;
			}
		}
}
END_TEST

START_TEST(quantiles_go_back)
{
	static const double p[] = { 1e-6, 0.05, 0.5, 0.51, 0.95, 0.999,
	                            1 - 1e-9 };
	double load[6];

	for (int i = 0; i < ROWS(load); i++)
		load[i] = 0.97 * (i + 0.5) / ROWS(load);
	for (double df = 1; df < 1e5; df *= 41)
		for (int i = 0; i < ROWS(p); i++) {
			for (size_t k = 2; k < 30; k = 4 * k + 1) {
				double q = pd_range_quantile(p[i], k, df);

				if (p[i] > 0.5)
					near("range", pd_range_upper(q, k, df),
					     1 - p[i], 1e-10);
				else
					near("range", pd_range_cdf(q, k, df),
					     p[i], 1e-9);
			}
			for (int sides = 1; sides <= 2; sides++) {
				double c = pd_many_quantile(p[i], load,
				                            ROWS(load), df,
				                            sides);

				near("many", pd_many_upper(c, load, ROWS(load),
				     df, sides), 1 - p[i], 1e-10);
			}
		}
}
END_TEST

START_TEST(laws_outside)
{
	double load[] = { 0.5, 1 };

	ck_assert_double_nan(pd_range_upper(3, 1, 10));
	ck_assert_double_nan(pd_range_upper(3, 501, 10));
	ck_assert_double_nan(pd_range_upper(3, 3, 0));
	ck_assert_double_nan(pd_range_upper(NAN, 3, 10));
	ck_assert_double_nan(pd_range_quantile(1.1, 3, 10));
	ck_assert_double_nan(pd_many_upper(2, load, 2, 10, 2));
	ck_assert_double_nan(pd_many_upper(2, load, 1, 10, 3));
	ck_assert_double_nan(pd_many_quantile(1, load, 1, 10, 2));
	ck_assert_double_eq(pd_range_upper(-1, 3, 10), 1);
	ck_assert_double_eq(pd_range_cdf(0, 3, 10), 0);
	ck_assert_double_eq(pd_range_upper(INFINITY, 3, 10), 0);
	ck_assert_double_eq(pd_range_quantile(0, 3, 10), 0);
	ck_assert_double_eq(pd_many_upper(-1, load, 1, 10, 2), 1);
}
END_TEST

/* ---- groups ----------------------------------------------------------- */

static const double y[] = { 4.31, 3.97, 5.12, 4.66, 6.02, 5.48, 6.91, 3.3,
                            4.05, 2.87, 3.61, 3.99, 3.12, 5.5, 5.05 };
static const int32_t by[] = { 0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2, 2, 2, 3, 3 };

/* R: TukeyHSD, whose law is good to about 1e-9 */
static const struct {
	size_t a, b;
	double value, low, high, p;
} pairs[] = {
	{ 1, 0, 1.621666666666670, 0.420149170780485, 2.82318416255285420,
	  0.008658874567245 },
	{ 2, 0, -1.024999999999999, -2.040467623778961, -0.00953237622103709,
	  0.047704582469621 },
	{ 2, 1, -2.646666666666669, -3.759055714586482, -1.53427761874685498,
	  0.000092674241462 },
	{ 3, 0, 0.760000000000002, -0.602392781431963, 2.12239278143196586,
	  0.378635686111092 },
	{ 3, 1, -0.861666666666668, -2.297754752365656, 0.57442141903231958,
	  0.321119417870402 },
	{ 3, 2, 1.785000000000001, 0.500523767479809, 3.06947623252019230,
	  0.007109382948276 },
};

START_TEST(all_pairs_known)
{
	pd_comparison out[6];

	ck_assert_int_eq(pd_all_pairs(y, by, 15, 4, 0.95, out, NULL, NULL),
	                 PD_OK);
	for (int i = 0; i < 6; i++) {
		ck_assert_uint_eq(out[i].a, pairs[i].a);
		ck_assert_uint_eq(out[i].b, pairs[i].b);
		near("value", out[i].e.value, pairs[i].value, 1e-13);
		near("low", out[i].e.low, pairs[i].low, 1e-8);
		near("high", out[i].e.high, pairs[i].high, 1e-8);
		ck_assert_double_eq_tol(out[i].e.p, pairs[i].p, 1e-9);
		ck_assert_int_eq(out[i].e.p < 0.05, out[i].e.low > 0 ||
		                                    out[i].e.high < 0);
		ck_assert_double_eq(out[i].e.df, 11);
	}
}
END_TEST

START_TEST(many_to_one_known)
{
	/* R: t; p by mvtnorm at absolute 1e-9 (quasi-random) and, one-sided,
	 * 1e-13 (three-dimensional quadrature) */
	static const double t[] = { 4.06193285709151, -3.03779899209260,
	                            1.67885236966099 };
	static const double p[] = { 0.00506869788, 0.0293934079, 0.27685231 };
	pd_comparison out[3];
	double c;

	ck_assert_int_eq(pd_many_to_one(y, by, 15, 4, 0, 2, 0.95, out, &c,
	                                NULL), PD_OK);
	/* mp: the chance beyond this point is 0.050000000000000015 */
	near("critical", c, 2.7307756899643336, 1e-12);
	for (int i = 0; i < 3; i++) {
		near("t", out[i].t, t[i], 1e-13);
		ck_assert_double_eq_tol(out[i].e.p, p[i], 2e-6);
		ck_assert_int_eq(out[i].e.p < 0.05, out[i].e.low > 0 ||
		                                    out[i].e.high < 0);
	}
	ck_assert_int_eq(pd_many_to_one(y, by, 15, 4, 0, 1, 0.95, out, NULL,
	                                NULL), PD_OK);
	near("one side", out[0].e.p, 0.0025365175221619, 1e-10);
	ck_assert(isinf(out[0].e.high));
}
END_TEST

/* Rows in another order, another unit, groups by other numbers. */
START_TEST(groups_properties)
{
	pd_comparison a[6], b[6];
	double scaled[15];
	int32_t turned[15];

	ck_assert_int_eq(pd_all_pairs(y, by, 15, 4, 0.9, a, NULL, NULL), PD_OK);
	for (int i = 0; i < 15; i++) {
		scaled[i] = 3.7 * y[(i * 7) % 15];
		turned[i] = 3 - by[(i * 7) % 15];
	}
	ck_assert_int_eq(pd_all_pairs(scaled, turned, 15, 4, 0.9, b, NULL,
	                              NULL), PD_OK);
	for (int i = 0; i < 6; i++) {
		const pd_comparison *o = NULL;

		for (int j = 0; j < 6; j++)
			if (b[j].a == 3 - a[i].b && b[j].b == 3 - a[i].a)
				o = &b[j];
		ck_assert_ptr_nonnull(o);
		near("value", o->e.value, -3.7 * a[i].e.value, 1e-13);
		near("se", o->e.se, 3.7 * a[i].e.se, 1e-13);
		near("low", o->e.low, -3.7 * a[i].e.high, 1e-11);
		near("p", o->e.p, a[i].e.p, 1e-11);
	}
}
END_TEST

/* Of 4,000 layouts without a difference, 5 % find any; unequal sizes find
 * fewer for all pairs, never more than chance allows. */
START_TEST(family_error)
{
	enum { SETS = 4000 };
	static const int sizes[2][4] = { { 5, 5, 5, 5 }, { 2, 9, 4, 5 } };
	double root = sqrt(0.05 * 0.95 / SETS), x[20];
	pd_comparison out[6];
	int32_t group[20];

	for (int layout = 0; layout < 2; layout++) {
		double n_pairs = 0, n_many = 0, q, c;
		pd_stream s;
		int n = 0;

		pd_stream_init(&s, 11, (uint64_t)layout);
		for (int g = 0; g < 4; g++)
			for (int i = 0; i < sizes[layout][g]; i++)
				group[n++] = g;
		for (int set = 0; set < SETS; set++) {
			int any = 0;

			for (int i = 0; i < n; i++)
				x[i] = pd_stream_normal(&s);
			if (!set) {
				ck_assert_int_eq(pd_all_pairs(x, group, 20, 4,
				                 0.95, out, &q, NULL), PD_OK);
				ck_assert_int_eq(pd_many_to_one(x, group, 20,
				                 4, 0, 2, 0.95, out, &c, NULL),
				                 PD_OK);
			}
			double mean[4] = { 0 }, ss = 0, widest = 0, most = 0;

			for (int i = 0; i < n; i++)
				mean[group[i]] += x[i] /
				                  sizes[layout][group[i]];
			for (int i = 0; i < n; i++)
				ss += pow(x[i] - mean[group[i]], 2);
			for (int a = 1; a < 4; a++)
				for (int b = 0; b < a; b++) {
					double t = fabs(mean[a] - mean[b]) /
					    sqrt(ss / 16 *
					         (1. / sizes[layout][a] +
					          1. / sizes[layout][b]));

					widest = fmax(widest, t);
					if (!b)
						most = fmax(most, t);
				}
			any = widest > q / sqrt(2);
			n_pairs += any;
			n_many += most > c;
		}
		ck_assert_double_le(n_pairs / SETS, 0.05 + 3.5 * root);
		if (!layout)
			ck_assert_double_ge(n_pairs / SETS, 0.05 - 3.5 * root);
		ck_assert_double_eq_tol(n_many / SETS, 0.05, 3.5 * root);
	}
}
END_TEST

START_TEST(groups_refused)
{
	static const double flat[] = { 1.3, 1.3, 2.6, 2.6 };
	static const double broken[] = { 1.3, NAN, 2.6, 2.7 };
	static const int32_t two[] = { 0, 0, 1, 1 }, own[] = { 0, 1, 2, 3 };
	static const int32_t gap[] = { 0, 0, 2, 2 }, bad[] = { 0, 0, 1, -1 };
	static const struct {
		const double *y;
		const int32_t *group;
		size_t n, k, control;
		double level;
		int sides;
		pd_status status;
		const char *words;
	} row[] = {
		{ flat, two, 4, 2, 0, 0.95, 2, PD_REFUSED, "do not vary" },
		{ y, own, 4, 4, 0, 0.95, 2, PD_REFUSED, "second result" },
		{ y, gap, 4, 3, 0, 0.95, 2, PD_REFUSED, "group 2 of 3" },
		{ y, two, 2, 1, 0, 0.95, 2, PD_REFUSED, "2 to 500" },
		{ broken, two, 4, 2, 0, 0.95, 2, PD_DATA, "row 2" },
		{ y, bad, 4, 2, 0, 0.95, 2, PD_DATA, "row 4" },
		{ y, two, 4, 2, 0, 1, 2, PD_DATA, "level" },
	};
	pd_comparison out[6];
	pd_error err;

	for (int i = 0; i < ROWS(row); i++) {
		ck_assert_int_eq(pd_all_pairs(row[i].y, row[i].group, row[i].n,
		                              row[i].k, row[i].level, out, NULL,
		                              &err), row[i].status);
		ck_assert_ptr_nonnull(strstr(err.text, row[i].words));
		ck_assert_int_eq(pd_many_to_one(row[i].y, row[i].group,
		                                row[i].n, row[i].k, 0, 2,
		                                row[i].level, out, NULL, &err),
		                 row[i].status);
		ck_assert_ptr_nonnull(strstr(err.text, row[i].words));
	}
	ck_assert_int_eq(pd_many_to_one(y, by, 15, 4, 4, 2, 0.95, out, NULL,
	                                &err), PD_DATA);
	ck_assert_int_eq(pd_many_to_one(y, by, 15, 4, 0, 3, 0.95, out, NULL,
	                                &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "1 or 2 sides"));
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("range");
	TCase *t = tcase_create("laws");

	tcase_set_timeout(t, 240);
	tcase_add_test(t, range_known);
	tcase_add_loop_test(t, many_known, 0, ROWS(many));
	tcase_add_loop_test(t, simultaneous_t, 0, ROWS(modulus));
	tcase_add_test(t, one_pair_is_student);
	tcase_add_test(t, range_properties);
	tcase_add_test(t, quantiles_go_back);
	tcase_add_test(t, laws_outside);
	suite_add_tcase(s, t);
	t = tcase_create("groups");
	tcase_set_timeout(t, 240);
	tcase_add_test(t, all_pairs_known);
	tcase_add_test(t, many_to_one_known);
	tcase_add_test(t, groups_properties);
	tcase_add_test(t, family_error);
	tcase_add_test(t, groups_refused);
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
