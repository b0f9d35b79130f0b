/*
 * check_paired.c - means of pairs, ranks, flipped signs, dealt labels.
 *
 * Known answers: the domain notes' check list (six to eight digits), R 4.2.2
 * ("R": wilcox.test, qsignrank, psignrank), brute-force enumeration
 * here, and the two open data sets of the folder named by PERDRAW_REAL (known
 * answers of the domain notes, 7.1 and 7.2).
 */
#include "stats/paired.h"
#include "stats/pairwise.h"
#include "stats/quantile.h"
#include "stats/rank.h"
#include "stats/summary.h"

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

/* shift + sin(2.3 i), i = 1 .. n: no ties, remade in R. */
static double *waves(size_t n, double shift)
{
	double *d = malloc(n * sizeof *d);

	ck_assert_ptr_nonnull(d);
	for (size_t i = 0; i < n; i++)
		d[i] = shift + sin(2.3 * (double)(i + 1));
	return d;
}

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* ---- the worked example ----------------------------------------------- */

static const double arm_x[] = { 1200, 800, 2500, 410, 1500, 950 };
static const double arm_y[] = { 900, 850, 1600, 300, 1000, 700 };

/* Domain notes, section 8. */
START_TEST(worked_example)
{
	double d[6];
	pd_estimate e;
	pd_rank_result r;
	pd_flip_result f;

	for (int i = 0; i < 6; i++)
		d[i] = log(arm_x[i] / arm_y[i]);
	ck_assert(pd_paired_mean(d, 6, 0.95, &e, NULL) == PD_OK);
	near("ratio", exp(e.value), 1.326788, 4e-7);
	near("low", exp(e.low), 1.0989709, 5e-8);
	near("high", exp(e.high), 1.6018317, 4e-8);
	near("t", e.value / e.se, 3.8583399, 2e-8);
	near("p", e.p, 0.0119, 5e-3);
	near("sd", e.se * sqrt(6), 0.17951248, 3e-8);
	ck_assert(e.df == 5 && e.level == 0.95);
	ck_assert(pd_signed_rank(d, 6, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == 20 && r.exact && r.n_zero == 0);
	near("rank p", r.p, 0.0625, 1e-14);
	near("rank ratio", exp(r.value), 1.3618964, 4e-8);
	near("rank low", exp(r.low), 0.94117647, 5e-9);
	near("rank high", exp(r.high), 1.5625, 1e-14);
	near("achieved", r.achieved, 0.96875, 1e-14);
	ck_assert(pd_sign_flip(d, 6, 0, 1, &f, NULL) == PD_OK);
	near("flip p", f.p, 0.0625, 1e-14);
	ck_assert(f.exact && f.patterns == 64);
}
END_TEST

/* ---- signed rank ------------------------------------------------------ */

static const struct {
	size_t n;
	double shift, v, p, value, low, high; /* R; NaN where not asked */
} signed_rows[] = {
	{ 60, 0.21, 1228, 2.065270152002703e-02, 2.064326369832910e-01,
	  3.298985018806144e-02, 3.854537382931406e-01 },
	{ 700, 0.06, 138355, 3.355492220045296e-03, 0.06028102592597284,
	  2.368487338206404e-02, 9.792745635616053e-02 },
	/* beyond the exact range: normal law with correction */
	{ 1500, 0.06, 634126, 2.171979652153915e-05, NAN, NAN, NAN },
};

START_TEST(signed_rank_known)
{
	size_t n = signed_rows[_i].n;
	double *d = waves(n, signed_rows[_i].shift);
	pd_rank_result r;

	ck_assert(pd_signed_rank(d, n, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == signed_rows[_i].v);
	ck_assert(r.exact == (n <= 1000));
	near("p", r.p, signed_rows[_i].p, 1e-11);
	if (!isnan(signed_rows[_i].value)) {
		near("value", r.value, signed_rows[_i].value, 1e-12);
		near("low", r.low, signed_rows[_i].low, 1e-11);
		near("high", r.high, signed_rows[_i].high, 1e-11);
	}
	ck_assert(r.low < r.value && r.value < r.high);
	ck_assert(r.achieved >= 0.95 - 1e-6 && r.achieved < 0.953);
	free(d);
}
END_TEST

/* Whole-number data: 900 values, ties and 30 zeros; R, normal law. */
START_TEST(signed_rank_many_ties)
{
	double *d = waves(900, 0.06);
	pd_rank_result r;
	pd_signed_test t;

	for (int i = 0; i < 900; i++)
		d[i] = nearbyint(10 * d[i]);
	ck_assert(pd_signed_rank(d, 900, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == 215315 && r.n_zero == 30 && !r.exact);
	near("p", r.p, 4.725456090846462e-04, 1e-11);
	ck_assert(pd_signed_rank_test(d, 400, PD_ZEROS_DROPPED, &t, NULL) ==
	          PD_OK);
	ck_assert(t.exact && t.ties); /* exact against normal, same data */
	near("exact", t.p, pd_normal_p(t.v, t.mean, t.variance, 0), 0.02);
	free(d);
}
END_TEST

/* Every sign pattern of the midranks, tied and zero values among them. */
START_TEST(signed_rank_by_enumeration)
{
	static const double set[][10] = {
		{ 1.5, -1.5, 2, 0, 3, -0.5, 0, 2, 2, -4 },
		{ 0.3, 0.1 + 0.2, -0.3, 0.6, 0.9, 1.2, -0.6, 1.5, 1.8, 2.1 },
		{ 7, 7, 7, 7, -7, 7, 7, 7, 7, 7 },
		{ 1, 2, 3, 4, 5, 6, 7, 8, -9, 10 },
	};
	const double *d = set[_i / 2];
	pd_zeros zeros = _i % 2 ? PD_ZEROS_RANKED : PD_ZEROS_DROPPED;
	double rank[10], above = 0, below = 0, v = 0;
	size_t used = 0;
	pd_signed_test t;

	for (int i = 0; i < 10; i++) { /* midrank by counting */
		double under = 0, same = 0;

		if (d[i] == 0)
			continue;
		for (int j = 0; j < 10; j++) {
			double gap = fabs(d[j]) - fabs(d[i]);

			if (d[j] == 0 && zeros == PD_ZEROS_DROPPED)
				continue;
			same += fabs(gap) < 1e-9;
			under += gap < -1e-9;
		}
		rank[used++] = under + (same + 1) / 2;
		v += d[i] > 0 ? rank[used - 1] : 0;
	}
	for (unsigned k = 0; k < 1u << used; k++) {
		double s = 0;

		for (size_t i = 0; i < used; i++)
			s += k >> i & 1 ? rank[i] : 0;
		above += s >= v - 1e-9;
		below += s <= v + 1e-9;
	}
	ck_assert(pd_signed_rank_test(d, 10, zeros, &t, NULL) == PD_OK);
	ck_assert(t.n_used == used && t.n_zero == 10 - used);
	near("v", t.v, v, 1e-14);
	near("above", t.p_above, ldexp(above, -(int)used), 1e-13);
	near("below", t.p_below, ldexp(below, -(int)used), 1e-13);
}
END_TEST

START_TEST(signed_rank_properties)
{
	double *d = waves(41, 0.13), turned[41], scaled[41];
	pd_rank_result r, back, big;

	for (int i = 0; i < 41; i++) {
		turned[i] = -d[40 - i];
		scaled[i] = 512 * d[i * 11 % 41]; /* shuffled, other unit */
	}
	ck_assert(pd_signed_rank(d, 41, 0.9, &r, NULL) == PD_OK);
	ck_assert(pd_signed_rank(turned, 41, 0.9, &back, NULL) == PD_OK);
	ck_assert(pd_signed_rank(scaled, 41, 0.9, &big, NULL) == PD_OK);
	ck_assert(back.v == 41 * 42 / 2 - r.v && back.p == r.p);
	ck_assert(back.low == -r.high && back.high == -r.low &&
	          back.value == -r.value);
	ck_assert(big.v == r.v && big.p == r.p && big.low == 512 * r.low &&
	          big.high == 512 * r.high && big.value == 512 * r.value);
	free(d);
}
END_TEST

/* Selection without forming the pairs, against forming and sorting them. */
START_TEST(pairs_in_order)
{
	enum { N = 37, M = 23 };
	double x[N], y[M], mean[N * (N + 1) / 2], diff[N * M];
	size_t n_mean = 0, n_diff = 0;

	for (int i = 0; i < N; i++) /* rounded: many ties, both signs */
		x[i] = nearbyint(8 * sin(1.7 * i)) / 8 - 0.25;
	for (int i = 0; i < M; i++)
		y[i] = cos(0.9 * i) * 1e-3;
	qsort(x, N, sizeof *x, ascending);
	qsort(y, M, sizeof *y, ascending);
	for (int i = 0; i < N; i++) {
		for (int j = i; j < N; j++)
			mean[n_mean++] = 0.5 * x[i] + 0.5 * x[j];
		for (int j = 0; j < M; j++)
			diff[n_diff++] = x[i] - y[j];
	}
	qsort(mean, n_mean, sizeof *mean, ascending);
	qsort(diff, n_diff, sizeof *diff, ascending);
	for (size_t k = 0; k < n_mean; k++)
		if (pd_walsh_at(x, N, (double)k + 1) != mean[k])
			ck_abort_msg("mean %zu", k);
	for (size_t k = 0; k < n_diff; k++)
		if (pd_difference_at(x, N, y, M, (double)k + 1) != diff[k])
			ck_abort_msg("difference %zu", k);
}
END_TEST

/* ---- rank sum --------------------------------------------------------- */

START_TEST(rank_sum_known)
{
	double a[55], b[48];
	pd_rank_result r;

	for (int i = 0; i < 55; i++)
		a[i] = 0.4 + sin(1.3 * (i + 1));
	for (int i = 0; i < 48; i++)
		b[i] = cos(0.7 * (i + 1));
	ck_assert(pd_rank_sum(a, 17, b, 23, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == 282 && r.exact); /* R, exact */
	near("p", r.p, 0.01738960409793499, 1e-12);
	near("shift", r.value, 0.54913121944911103, 1e-12);
	near("low", r.low, 0.07741786412297025, 1e-11);
	near("high", r.high, 1.15882809117699948, 1e-12);
	near("achieved", r.achieved, 0.9519694787445505, 1e-12);
	ck_assert(pd_rank_sum(a, 40, b, 40, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == 1085 && r.exact); /* the largest exact one */
	near("p", r.p, 5.742844917270432e-03, 1e-12);
	near("low", r.low, 1.333948913135015e-01, 1e-11);
	near("high", r.high, 6.787746365916446e-01, 1e-12);
	near("achieved", r.achieved, 0.95016127207226, 1e-12);
	ck_assert(pd_rank_sum(a, 41, b, 40, 0.95, &r, NULL) == PD_OK);
	ck_assert(!r.exact && r.achieved > 0.949 && r.achieved < 0.951);
	ck_assert(pd_rank_sum(a, 55, b, 48, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == 1767 && !r.exact); /* R's exact p is 0.002902 */
	near("p", r.p, 2.902037978000297e-03, 0.1);
	near("shift", r.value, 4.116177144808049e-01, 1e-12);
	near("low", r.low, 1.615991174781596e-01, 1e-11);
	near("high", r.high, 6.440227915709428e-01, 1e-12);
	for (int i = 0; i < 55; i++)
		a[i] = nearbyint(10 * (0.3 + sin(1.3 * (i + 1))));
	for (int i = 0; i < 48; i++)
		b[i] = nearbyint(10 * cos(0.7 * (i + 1)));
	ck_assert(pd_rank_sum(a, 55, b, 48, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == 1664.5); /* R, normal law with ties, corrected */
	near("p", r.p, 2.267707620686687e-02, 1e-12);
}
END_TEST

/* Every choice of 5 of 11, ties across the groups. */
START_TEST(rank_sum_by_enumeration)
{
	static const double x[11] = { 3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5 };
	double rank[11], v = 0, all = 0, above = 0, below = 0;
	pd_rank_result r, back;

	for (int i = 0; i < 11; i++) {
		double under = 0, same = 0;

		for (int j = 0; j < 11; j++) {
			under += x[j] < x[i];
			same += x[j] == x[i];
		}
		rank[i] = under + (same + 1) / 2;
		v += i < 5 ? rank[i] : 0;
	}
	for (unsigned k = 0; k < 1u << 11; k++) {
		double s = 0;

		if (__builtin_popcount(k) != 5)
			continue;
		for (int i = 0; i < 11; i++)
			s += k >> i & 1 ? rank[i] : 0;
		all++;
		above += s >= v;
		below += s <= v;
	}
	ck_assert(pd_rank_sum(x, 5, x + 5, 6, 0.9, &r, NULL) == PD_OK);
	ck_assert(pd_rank_sum(x + 5, 6, x, 5, 0.9, &back, NULL) == PD_OK);
	ck_assert(r.v == v - 15 && back.v == 30 - r.v);
	near("p", r.p, fmin(1, 2 * fmin(above, below) / all), 1e-13);
	near("p turned", back.p, r.p, 1e-13);
	ck_assert(back.low == -r.high && back.value == -r.value);
}
END_TEST

/* ---- flipped signs, dealt labels -------------------------------------- */

START_TEST(flips_by_enumeration)
{
	static const double d[11] = { 0.1, 0.2, -0.3, 0.4, 0, 0.6,
		                      -0.7, 0.8, 0.9, 1.1, -0.2 };
	pd_flip_result f;

	for (size_t n = 1; n <= 11; n++) {
		double hits = 0, above = 0, observed = 0;

		for (size_t i = 0; i < n; i++)
			observed += d[i];
		for (unsigned k = 0; k < 1u << n; k++) {
			double s = 0;

			for (size_t i = 0; i < n; i++)
				s += k >> i & 1 ? d[i] : -d[i];
			hits += fabs(s) >= fabs(observed) - 1e-9;
			above += s >= observed - 1e-9;
		}
		ck_assert(pd_sign_flip(d, n, 0, 1, &f, NULL) == PD_OK);
		ck_assert(f.exact && f.hits == hits && f.hits_above == above);
		near("p", f.p, ldexp(hits, -(int)n), 1e-15);
	}
}
END_TEST

/* Beyond 30 pairs: draws; near the exact answer of 30, the same every time,
 * another with another seed. */
START_TEST(flips_by_draws)
{
	double *d = waves(64, 0.17);
	pd_flip_result f, again, other, exact;
	pd_estimate e;

	ck_assert(pd_sign_flip(d, 64, 20000, 5, &f, NULL) == PD_OK);
	ck_assert(pd_sign_flip(d, 64, 20000, 5, &again, NULL) == PD_OK);
	ck_assert(pd_sign_flip(d, 64, 20000, 6, &other, NULL) == PD_OK);
	ck_assert(!f.exact && f.patterns == 20000);
	ck_assert(f.hits == again.hits && f.hits != other.hits);
	near("p", f.p, (1 + f.hits) / 20001, 1e-15);
	ck_assert(pd_sign_flip(d, 64, 0, 5, &again, NULL) == PD_OK);
	ck_assert(again.patterns == 9999 && again.hits <= f.hits);
	/* close to the t test's p with this many pairs */
	ck_assert(pd_paired_mean(d, 64, 0.95, &e, NULL) == PD_OK);
	ck_assert(fabs(f.p - e.p) < 0.012 && fabs(other.p - e.p) < 0.012);
	ck_assert(pd_sign_flip(d, 30, 0, 5, &exact, NULL) == PD_OK);
	ck_assert(exact.exact && exact.patterns == 1073741824);
	ck_assert(pd_paired_mean(d, 30, 0.95, &e, NULL) == PD_OK);
	ck_assert(fabs(exact.p - e.p) < 0.01);
	free(d);
}
END_TEST

START_TEST(labels_dealt)
{
	double a[40], b[40];
	pd_flip_result f, exact;
	pd_estimate e;

	for (int i = 0; i < 40; i++) {
		a[i] = 0.35 + sin(1.3 * i);
		b[i] = cos(0.7 * i);
	}
	ck_assert(pd_relabel(a, 40, b, 40, 20000, 9, &f, NULL) == PD_OK);
	ck_assert(!f.exact);
	ck_assert(pd_welch(a, 40, b, 40, 0.95, &e, NULL) == PD_OK);
	ck_assert_msg(fabs(f.p - e.p) < 0.012, "p %g, t test %g", f.p, e.p);
	/* 1, 2 against 3, 4, 5: all 10 splits, 2 as far out */
	ck_assert(pd_relabel((double[]){ 1, 2 }, 2, (double[]){ 3, 4, 5 }, 3,
	                     0, 9, &exact, NULL) == PD_OK);
	ck_assert(exact.exact && exact.patterns == 10 && exact.hits == 2);
}
END_TEST

/* ---- refusals --------------------------------------------------------- */

START_TEST(refusals)
{
	static const double same[] = { 0.4, 0.4, 0.4 }, none[3];
	static const double bad[] = { 0.4, NAN, 1 };
	double twice[3]; /* ratios of exactly 2 by logs: equal but for rounding */
	pd_estimate e;
	pd_rank_result r;
	pd_flip_result f;
	pd_error err;

	for (int i = 0; i < 3; i++)
		twice[i] = log(2.0 * (31 + 17 * i)) - log(31 + 17 * i);
	ck_assert(pd_paired_mean(same, 3, 0.95, &e, &err) == PD_REFUSED);
	ck_assert_str_eq(err.text, "no variation: all 3 differences are equal");
	ck_assert(pd_paired_mean(twice, 3, 0.95, &e, &err) == PD_REFUSED);
	ck_assert(pd_paired_mean(same, 1, 0.95, &e, &err) == PD_REFUSED);
	ck_assert(pd_paired_mean(bad, 3, 0.95, &e, &err) == PD_DATA);
	ck_assert_str_eq(err.text, "value 2 is not a finite number");
	ck_assert(pd_paired_mean(bad, 1, 1.5, &e, &err) == PD_DATA);
	ck_assert(pd_signed_rank(none, 3, 0.95, &r, &err) == PD_REFUSED);
	ck_assert(pd_signed_rank(same, 1, 0.95, &r, &err) == PD_REFUSED);
	ck_assert(pd_signed_rank(bad, 3, 0.95, &r, &err) == PD_DATA);
	ck_assert(pd_signed_rank(same, 3, 1, &r, &err) == PD_DATA);
	ck_assert(pd_sign_flip(none, 3, 0, 1, &f, &err) == PD_REFUSED);
	ck_assert(pd_sign_flip(none, 0, 0, 1, &f, &err) == PD_REFUSED);
	ck_assert(pd_sign_flip(bad, 3, 0, 1, &f, &err) == PD_DATA);
	ck_assert(pd_rank_sum(same, 3, same, 3, 0.9, &r, &err) == PD_REFUSED);
	ck_assert(pd_rank_sum(arm_x, 3, same, 0, 0.9, &r, &err) == PD_REFUSED);
	ck_assert_str_eq(err.text, "two groups are needed, got 3 and 0 values");
	ck_assert(pd_rank_sum(same, 3, bad, 3, 0.9, &r, &err) == PD_DATA);
	ck_assert(pd_relabel(same, 3, same, 2, 0, 1, &f, &err) == PD_REFUSED);
	ck_assert(pd_relabel(same, 0, same, 2, 0, 1, &f, &err) == PD_REFUSED);
	ck_assert(pd_welch(same, 3, same, 3, 0.9, &e, &err) == PD_REFUSED);
	ck_assert(pd_welch(same, 3, same, 1, 0.9, &e, &err) == PD_REFUSED);
	/* equal pairs are nothing odd for ranks: all three at one value */
	ck_assert(pd_signed_rank(twice, 3, 0.95, &r, &err) == PD_OK);
	ck_assert(r.v == 6 && r.p == 0.25 && r.achieved == 0.75);
}
END_TEST

/* ---- open data -------------------------------------------------------- */

/* A file of the folder of open data; NULL, said aloud, when there is none. */
static FILE *open_real(const char *name)
{
	const char *given = getenv("PERDRAW_REAL"), *source = getenv("srcdir");
	char path[4096];
	FILE *f;

	if (given && given[0])
		snprintf(path, sizeof path, "%s/%s", given, name);
	else
		snprintf(path, sizeof path, "%s/../shared/real/%s",
		         source && source[0] ? source : ".", name);
	f = fopen(path, "r");
	if (!f)
		printf("known answers of '%s' NOT RUN: no such file (set "
		       "PERDRAW_REAL)\n", path);
	return f;
}

/* Cells counted by two methods in 20 samples: log ratios, method 3 over 1. */
START_TEST(two_methods)
{
	FILE *f = open_real("cd34_two_methods.csv");
	double y[21][2] = { { 0 } }, d[20], a[20], b[20], sum[2] = { 0, 0 };
	char line[256];
	int count, id, method, rows = 0, up = 0;
	pd_estimate e;
	pd_rank_result r;

	if (!f)
		return;
	ck_assert_ptr_nonnull(fgets(line, sizeof line, f));
	while (fscanf(f, "%d,%d,%d", &count, &id, &method) == 3) {
		ck_assert(id >= 1 && id <= 20);
		y[id][method == 3] = count;
		sum[method == 3] += count;
		rows++;
	}
	fclose(f);
	ck_assert_int_eq(rows, 40);
	ck_assert(sum[0] == 12199 && sum[1] == 19911);
	for (int i = 0; i < 20; i++) {
		a[i] = log(y[i + 1][0]);
		b[i] = log(y[i + 1][1]);
		d[i] = b[i] - a[i];
	}
	near("mean 1", exp(pd_summarise(a, 20).mean), 402.1091, 2e-7);
	near("mean 3", exp(pd_summarise(b, 20).mean), 602.6140, 1e-7);
	near("correlation", pd_correlation(a, b, 20), 0.9600649, 6e-8);
	ck_assert(pd_paired_mean(d, 20, 0.95, &e, NULL) == PD_OK);
	near("mean", e.value, 0.40455328, 2e-8);
	near("sd", e.se * sqrt(20), 0.33589717, 2e-8);
	near("ratio", exp(e.value), 1.49863288, 4e-9);
	near("low", exp(e.low), 1.28062542, 4e-9);
	near("high", exp(e.high), 1.75375288, 4e-9);
	near("t", e.value / e.se, 5.3862, 1e-5);
	near("p", e.p, 3.38e-05, 2e-3);
	ck_assert(e.df == 19);
	ck_assert(pd_signed_rank(d, 20, 0.95, &r, NULL) == PD_OK);
	ck_assert(r.v == 196 && r.exact);
	near("rank p", r.p, 0.0002098, 3e-4);
	near("rank value", r.value, 0.4143215, 2e-7);
	near("rank low", r.low, 0.2397977, 3e-7);
	near("rank high", r.high, 0.5725133, 1e-7);
	/* 16 of 20 up: the sign test is two counts at equal exposure */
	for (int i = 0; i < 20; i++)
		up += d[i] > 0;
	ck_assert(up == 16);
	near("sign", pd_compare_two_counts(up, 1, 20 - up, 1, 0.95).p, 0.01182,
	     4e-4);
}
END_TEST

/* Field `at` (from 0) of a comma-separated line, as text of at most 31. */
static void field(const char *line, int at, char text[32])
{
	while (at-- > 0)
		line += strcspn(line, ",") + 1;
	snprintf(text, 32, "%.*s", (int)strcspn(line, ",\r\n"), line);
}

/* Log dose of cells per kg of 187 transplants, blood against marrow. */
START_TEST(transplant_doses)
{
	enum { SOURCE = 23, DOSE = 25 };
	FILE *f = open_real("transplant_doses.arff");
	double dose[2][187];
	size_t n[2] = { 0, 0 };
	char line[1024], text[32];
	int data = 0;
	pd_estimate e;
	pd_rank_result r;

	if (!f)
		return;
	while (fgets(line, sizeof line, f)) {
		if (data && line[0] > ' ') {
			field(line, SOURCE, text);
			int blood = !strcmp(text, "peripheral_blood");

			field(line, DOSE, text);
			ck_assert(n[blood] < 187);
			dose[blood][n[blood]++] = log(strtod(text, NULL));
		}
		data |= !strncmp(line, "@data", 5);
	}
	fclose(f);
	ck_assert(n[0] == 42 && n[1] == 145);
	near("marrow", exp(pd_summarise(dose[0], 42).mean), 3.3505796, 2e-8);
	near("blood", exp(pd_summarise(dose[1], 145).mean), 11.3660843, 1e-8);
	near("marrow sd", pd_summarise(dose[0], 42).sd, 0.6198018, 1e-7);
	ck_assert(pd_welch(dose[1], 145, dose[0], 42, 0.95, &e, NULL) == PD_OK);
	near("ratio", exp(e.value), 3.392274, 2e-7);
	near("low", exp(e.low), 2.715601, 2e-7);
	near("high", exp(e.high), 4.237560, 2e-7);
	near("t", e.value / e.se, 10.940984, 5e-8);
	near("df", e.df, 73.391507, 1e-8);
	ck_assert(pd_rank_sum(dose[0], 42, dose[1], 145, 0.95, &r, NULL) ==
	          PD_OK);
	ck_assert(r.v == 538 && !r.exact && r.p < 1e-12);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("paired");
	TCase *p = tcase_create("pairs"), *r = tcase_create("ranks");
	TCase *f = tcase_create("permutation"), *d = tcase_create("open data");

	tcase_add_test(p, worked_example);
	tcase_add_test(p, refusals);
	tcase_set_timeout(r, 60);
	tcase_add_loop_test(r, signed_rank_known, 0, ROWS(signed_rows));
	tcase_add_test(r, signed_rank_many_ties);
	tcase_add_loop_test(r, signed_rank_by_enumeration, 0, 8);
	tcase_add_test(r, signed_rank_properties);
	tcase_add_test(r, pairs_in_order);
	tcase_add_test(r, rank_sum_known);
	tcase_add_test(r, rank_sum_by_enumeration);
	tcase_set_timeout(f, 60);
	tcase_add_test(f, flips_by_enumeration);
	tcase_add_test(f, flips_by_draws);
	tcase_add_test(f, labels_dealt);
	tcase_add_test(d, two_methods);
	tcase_add_test(d, transplant_doses);
	suite_add_tcase(s, p);
	suite_add_tcase(s, r);
	suite_add_tcase(s, f);
	suite_add_tcase(s, d);
	SRunner *run = srunner_create(s);

	srunner_run_all(run, CK_NORMAL);
	int failed = srunner_ntests_failed(run);

	printf("%d passed, %d failed\n", srunner_ntests_run(run) - failed,
	       failed);
	srunner_free(run);
	return failed ? 1 : 0;
}
