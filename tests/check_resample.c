/*
 * check_resample.c - the fast ways of resampling against the plain ones, byte
 * by byte where the headers promise it; mid-p; permutation of whole units and
 * within strata.
 *
 * Values marked "R": R 4.2.2; ranks by dsignrank(), pwilcox() and dwilcox(),
 * patterns and deals by listing them with expand.grid() and combn().
 */
#include "stats/bootstrap.h"
#include "stats/permute.h"
#include "stats/quantile.h"
#include "stats/rank.h"
#include "stats/stream.h"
#include "stats/stream_wide.h"
#include "stats/threads.h"

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

static void fill_normal(double *x, size_t n, double mean, uint64_t stream)
{
	pd_stream s;

	pd_stream_init(&s, 2025, stream);
	for (size_t i = 0; i < n; i++)
		x[i] = mean + pd_stream_normal(&s);
}

/* ---- numbers in bulk ---------------------------------------------------- */

/* Each kernel the processor has, over counters that carry into the high word,
 * streams and seeds of 64 bits. */
START_TEST(kernels_agree)
{
	const pd_wide_kernel *plain = pd_wide_kernel_at(0);
	static const uint64_t first[] = { 0, 24, 0xffffffe9u, 0x7fffffff0u };

	ck_assert_str_eq(plain->name, "plain");
	for (size_t i = 1; pd_wide_kernel_at(i); i++)
		for (int k = 0; k < ROWS(first); k++) {
			const pd_wide_kernel *wide = pd_wide_kernel_at(i);
			uint64_t seed = 0x0123456789abcdefu * (unsigned)(k + 1);
			uint64_t stream = 0xfedcba9876543210u + first[k];
			uint64_t a[2][2 * PD_WIDE_BLOCKS];
			uint64_t p[2][PD_WIDE_GROUPS][PD_WIDE_WORDS];
			uint32_t passed[2][PD_WIDE_GROUPS];

			plain->bits(seed, stream, first[k], a[0]);
			wide->bits(seed, stream, first[k], a[1]);
			ck_assert_mem_eq(a[0], a[1], sizeof a[0]);
			plain->pairs(seed, stream, first[k], 8190, 900000000,
			             p[0], passed[0]);
			wide->pairs(seed, stream, first[k], 8190, 900000000,
			            p[1], passed[1]);
			ck_assert_mem_eq(p[0], p[1], sizeof p[0]);
			ck_assert_mem_eq(passed[0], passed[1],
			                 sizeof passed[0]);
			ck_assert_uint_ne(passed[0][0] | passed[0][1], 0);
		}
}
END_TEST

START_TEST(bits_in_bulk)
{
	uint64_t want[300], got[300];
	pd_stream s;

	pd_stream_init(&s, 11, 1ull << 45);
	for (int i = 0; i < 300; i++)
		want[i] = pd_stream_bits(&s);
	for (size_t block = 0; block < 40; block += 13)
		for (size_t n = 0; n + 2 * block <= 300; n += 7) {
			memset(got, 0, sizeof got);
			pd_stream_fill(11, 1ull << 45, block, got, n);
			ck_assert_mem_eq(got, want + 2 * block,
			                 n * sizeof *got);
			ck_assert(n == 300 || got[n] == 0);
		}
}
END_TEST

/* The header's definition of an index, word by word. */
static void counts_defined(uint64_t seed, uint64_t stream, uint32_t n,
                           size_t draws, uint32_t *count)
{
	uint64_t word[32], two32 = 1ull << 32;
	int paired = n <= PD_STREAM_PAIRED;
	uint64_t range = paired ? (uint64_t)n * n : n;

	for (uint64_t group = 0; draws; group++) {
		uint64_t bits[16];

		pd_stream_fill(seed, stream, 8 * group, bits, 16);
		for (unsigned b = 0; b < 8; b++)
			for (unsigned j = 0; j < 4; j++)
				word[paired ? 8 * j + b : 4 * b + j] =
				    (uint32_t)(bits[2 * b + j / 2] >>
				               32 * (j % 2));
		for (unsigned k = 0; k < 32 && draws; k++) {
			/* w range = value 2^32 + rest, without overflow */
			uint64_t value = word[k] * range / two32;

			if (word[k] * range % two32 < two32 % range)
				continue;
			count[paired ? value / n : value]++;
			if (--draws && paired) {
				count[value % n]++;
				draws--;
			}
		}
	}
}

static const uint32_t sizes[] = { 1, 2, 3, 17, 64, 1000, 3500, 8191, 8192,
                                  8193, 65537, 1000003 };

START_TEST(counts_as_defined)
{
	uint32_t n = sizes[_i];
	uint32_t *want = calloc(n, sizeof *want), *got = calloc(n, sizeof *got);
	static const size_t draws[] = { 0, 1, 2, 63, 64, 65, 257, 5001 };
	size_t total = 0;

	for (int k = 0; k < ROWS(draws); k++) {
		counts_defined(77, (uint64_t)k, n, draws[k], want);
		pd_stream_counts(77, (uint64_t)k, n, draws[k], got);
		total += draws[k];
	}
	ck_assert_mem_eq(got, want, n * sizeof *got);
	for (uint32_t i = 0; i < n; i++)
		total -= got[i];
	ck_assert_uint_eq(total, 0);
	free(want);
	free(got);
}
END_TEST

/* All alike: chi-square within 4.5 standard deviations of its mean. */
START_TEST(counts_even)
{
	static const uint32_t few[] = { 2, 7, 100, 3000, 9000 };
	uint32_t n = few[_i], *count = calloc(n, sizeof *count);
	double want = 3000000.0 / n, square = 0;

	for (uint64_t k = 0; k < 300; k++)
		pd_stream_counts(3, k, n, 10000, count);
	for (uint32_t i = 0; i < n; i++)
		square += (count[i] - want) * (count[i] - want) / want;
	ck_assert_double_eq_tol(square, n - 1, 4.5 * sqrt(2.0 * (n - 1)) + 3);
	free(count);
}
END_TEST

/* ---- threads ------------------------------------------------------------ */

static void mark(void *with, void *room, size_t from, size_t to)
{
	int *hit = with;
	unsigned char *own = room;

	for (int i = 0; i < 24; i++)
		ck_assert_uint_eq(own[i], 0);
	own[0] = 1;
	for (size_t i = from; i < to; i++)
		hit[i]++;
}

START_TEST(parts_cover)
{
	static const unsigned threads[] = { 0, 1, 2, 3, 7, 64, 1000 };
	int hit[101];

	for (size_t n = 0; n <= 101; n++)
		for (int t = 0; t < ROWS(threads); t++) {
			memset(hit, 0, sizeof hit);
			ck_assert_int_eq(pd_share_out(n, threads[t], 24, mark,
			                              hit, NULL), PD_OK);
			for (size_t i = 0; i < 101; i++)
				ck_assert_int_eq(hit[i], i < n);
			if (n > 3)
				n = n < 60 ? n + 11 : 101;
		}
}
END_TEST

/* ---- bootstrap of a mean or ratio --------------------------------------- */

/* The same numbers by the general way: pd_bootstrap does not know it. */
static double the_long_way(const double *w, size_t n, const void *data)
{
	return pd_boot_ratio(w, n, data);
}

static void same_draws(const pd_boot *a, const pd_boot *b)
{
	ck_assert_double_eq(a->estimate, b->estimate);
	ck_assert_double_eq(a->mean, b->mean);
	ck_assert_double_eq(a->se, b->se);
	ck_assert_double_eq(a->p_below, b->p_below);
	ck_assert_double_eq(a->p_equal, b->p_equal);
	ck_assert_double_eq(a->z0, b->z0);
	ck_assert_double_eq(a->percentile_low, b->percentile_low);
	ck_assert_double_eq(a->percentile_high, b->percentile_high);
	ck_assert_double_eq(a->low, b->low);
	ck_assert_double_eq(a->high, b->high);
	near("jackknife", a->jack_se, b->jack_se, 1e-11);
	near("acceleration", a->acceleration, b->acceleration, 1e-9);
	ck_assert_double_eq_tol(a->level_low, b->level_low, 1e-10);
}

static const size_t lengths[] = { 12, 15, 16, 23, 121, 1003 };

START_TEST(short_way_same_bytes)
{
	size_t n = lengths[_i];
	double x[1003], below[1003];
	pd_boot_totals t = { x, NULL, 0.31 };
	pd_boot_plan p = { .n_rows = n, .data = &t, .level = 0.9, .draws = 600,
	                   .seed = 5 + (uint64_t)_i, .threads = 2 };
	pd_boot fast, slow;

	fill_normal(x, n, 0.2, 1);
	fill_normal(below, n, 6, 2);
	for (int k = 0; k < 2; k++) {
		t.bottom = k ? below : NULL;
		p.statistic = pd_boot_ratio;
		ck_assert_int_eq(pd_bootstrap(&p, &fast, NULL), PD_OK);
		p.statistic = the_long_way;
		ck_assert_int_eq(pd_bootstrap(&p, &slow, NULL), PD_OK);
		same_draws(&fast, &slow);
	}
}
END_TEST

START_TEST(mean_any_threads)
{
	static const unsigned some[] = { 2, 3, 64 };
	double x[400];
	pd_boot_plan p = { .n_rows = 400, .level = 0.95, .draws = 1237 };
	pd_boot a, b;

	fill_normal(x, 400, 1, 3);
	ck_assert_int_eq(pd_bootstrap_mean(&p, x, &a, NULL), PD_OK);
	for (int k = 0; k < ROWS(some); k++) {
		p.threads = some[k];
		ck_assert_int_eq(pd_bootstrap_mean(&p, x, &b, NULL), PD_OK);
		ck_assert_mem_eq(&a, &b, sizeof a);
	}
}
END_TEST

static double plain_mean(const double *w, size_t n, const void *data)
{
	const double *x = data;
	double sum = 0, count = 0;

	for (size_t i = 0; i < n; i++) {
		sum += w[i] * x[i];
		count += w[i];
	}
	return sum / count;
}

/* Patients with one to four rows: whole patients drawn, as the general way
 * does with rows; complete law (9) and drawn (40). */
START_TEST(patients_added_up)
{
	size_t n_units = _i ? 40 : 9, n = 0;
	double x[160];
	int32_t unit[160];
	pd_boot_plan p = { .unit = unit, .n_units = n_units, .level = 0.9,
	                   .statistic = plain_mean, .data = x, .draws = 3000,
	                   .seed = 8 };
	pd_boot fast, slow;

	fill_normal(x, 160, 3, 4);
	for (size_t u = 0; u < n_units; u++)
		for (size_t k = 0; k <= u % 4; k++)
			unit[n++] = (int32_t)((7 * u) % n_units);
	p.n_rows = n;
	ck_assert_int_eq(pd_bootstrap(&p, &slow, NULL), PD_OK);
	ck_assert_int_eq(pd_bootstrap_mean(&p, x, &fast, NULL), PD_OK);
	ck_assert_int_eq(fast.exact, !_i);
	near("estimate", fast.estimate, slow.estimate, 1e-13);
	near("se", fast.se, slow.se, 1e-11);
	near("low", fast.low, slow.low, 1e-12);
	near("high", fast.high, slow.high, 1e-12);
	near("jackknife", fast.jack_se, slow.jack_se, 1e-11);
	near("acceleration", fast.acceleration, slow.acceleration, 1e-9);
}
END_TEST

/* A part of a billion costs no digits; a power of two scales exactly. */
START_TEST(mean_far_and_scaled)
{
	double x[50], far[50], big[50];
	pd_boot_plan p = { .n_rows = 50, .level = 0.95, .draws = 2000 };
	pd_boot a, b, c;

	fill_normal(x, 50, 0, 5);
	for (int i = 0; i < 50; i++) {
		x[i] = round(1024 * x[i]) / 1024; /* exact beside 1e9 */
		far[i] = x[i] + 1e9;
		big[i] = 0x1p-30 * x[i];
	}
	ck_assert_int_eq(pd_bootstrap_mean(&p, x, &a, NULL), PD_OK);
	ck_assert_int_eq(pd_bootstrap_mean(&p, far, &b, NULL), PD_OK);
	ck_assert_int_eq(pd_bootstrap_mean(&p, big, &c, NULL), PD_OK);
	near("se", b.se, a.se, 1e-6);
	ck_assert_double_eq_tol(b.low - 1e9, a.low, 3e-7);
	ck_assert_double_eq_tol(b.high - 1e9, a.high, 3e-7);
	ck_assert_double_eq(c.low, 0x1p-30 * a.low);
	ck_assert_double_eq(c.se, 0x1p-30 * a.se);
	ck_assert_double_eq(c.z0, a.z0);
}
END_TEST

START_TEST(ratio_refuses)
{
	double x[] = { 1, 2, 3, 4 }, zero[] = { 1, -1, 2, -2 };
	double bad[] = { 1, NAN, 3, 4 };
	int32_t unit[] = { 0, 1, 2, 3 };
	pd_boot_plan p = { .n_rows = 4, .level = 0.95, .unit = unit,
	                   .n_units = 3 };
	pd_error err = { 0 };
	pd_boot b;

	ck_assert_int_eq(pd_bootstrap_mean(&p, x, &b, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 4"));
	p.n_units = 4;
	ck_assert_int_eq(pd_bootstrap_mean(&p, bad, &b, &err), PD_DATA);
	ck_assert_int_eq(pd_bootstrap_ratio(&p, x, bad, &b, &err), PD_DATA);
	ck_assert_int_eq(pd_bootstrap_ratio(&p, x, zero, &b, &err),
	                 PD_REFUSED);
	p.level = 0;
	ck_assert_int_eq(pd_bootstrap_mean(&p, x, &b, &err), PD_DATA);
	p = (pd_boot_plan){ .n_rows = 2, .level = 0.9 };
	ck_assert_int_eq(pd_bootstrap_mean(&p, x, &b, &err), PD_REFUSED);
	p.n_rows = 0;
	ck_assert_int_eq(pd_bootstrap_mean(&p, x, &b, &err), PD_REFUSED);
}
END_TEST

/* ---- mid-p -------------------------------------------------------------- */

static const double first[] = { 12.3, 9.81, 15.7, 11.2, 13.9 };
static const double second[] = { 10.4, 14.1, 9.2, 12.8, 11.6, 13.3, 10.9 };
static const double diff[] = { 0.31, 1.27, -0.44, 2.93, 0.86, 1.71, -1.02,
                               0.12, 3.38, 0.59 };
static const double tied[] = { 1, 2, 3, -1, 2, 1, -2, 3 };

START_TEST(mid_p_known)
{
	pd_rank_result r;
	pd_flip_result f;

	ck_assert_int_eq(pd_signed_rank(diff, 10, 0.95, &r, NULL), PD_OK);
	near("signed rank", r.p, 0.064453125, 1e-13); /* R */
	near("signed rank", r.mid_p, 0.064453125 - 0.0078125, 1e-13);
	ck_assert_int_eq(pd_rank_sum(first, 5, second, 7, 0.95, &r, NULL),
	                 PD_OK);
	near("rank sum", r.p, 0.638888888888889, 1e-13); /* R */
	near("rank sum", r.mid_p, 0.638888888888889 - 0.0542929292929293,
	     1e-13);
	ck_assert_int_eq(pd_sign_flip(diff, 10, 0, 1, &f, NULL), PD_OK);
	ck_assert_double_eq(f.hits, 60); /* R, of 1024 */
	ck_assert_double_eq(f.equal, 4);
	ck_assert_double_eq(f.hits_above, 30);
	ck_assert_double_eq(f.equal_above, 2);
	ck_assert_double_eq(f.mid_p, 58.0 / 1024);
	ck_assert_double_eq(f.mid_above, 29.0 / 1024);
	ck_assert_int_eq(pd_sign_flip(tied, 8, 0, 1, &f, NULL), PD_OK);
	ck_assert_double_eq(f.hits, 44); /* R, of 256 */
	ck_assert_double_eq(f.equal, 24);
	ck_assert_double_eq(f.hits_above, 22);
	ck_assert_double_eq(f.equal_above, 12);
	ck_assert_double_eq(f.mid_p, 32.0 / 256);
}
END_TEST

/* Over all patterns the one-sided mid-p averages one half, p more. */
START_TEST(mid_p_averages_half)
{
	double d[8], sum = 0, sum_p = 0, ranks = 0;

	for (int k = 0; k < 256; k++) {
		pd_flip_result f;
		pd_signed_test t;

		for (int i = 0; i < 8; i++)
			d[i] = k >> i & 1 ? fabs(tied[i]) : -fabs(tied[i]);
		ck_assert_int_eq(pd_sign_flip(d, 8, 0, 1, &f, NULL), PD_OK);
		sum += f.mid_above / 256;
		sum_p += f.p_above / 256;
		ck_assert_double_le(f.mid_p, f.p);
		ck_assert_int_eq(pd_signed_rank_test(d, 8, PD_ZEROS_DROPPED,
		                                     &t, NULL), PD_OK);
		/* p and mid-p differ by the chance of the value itself */
		ck_assert(t.mid_p < t.p || t.p == 1);
		ranks += t.p_above + t.p_below - 1;
	}
	near("average", sum, 0.5, 1e-13);
	ck_assert_double_gt(sum_p, 0.52);
	ck_assert_double_gt(ranks, 0);
}
END_TEST

/* Turned round; beyond the exact range mid-p is p without the correction. */
START_TEST(mid_p_properties)
{
	double a[60], b[60], back[60];
	pd_rank_result r, o;
	pd_flip_result f, g;

	fill_normal(a, 60, 0.3, 6);
	fill_normal(b, 60, 0, 7);
	for (int i = 0; i < 60; i++)
		back[i] = -a[i];
	ck_assert_int_eq(pd_signed_rank(a, 60, 0.9, &r, NULL), PD_OK);
	ck_assert_int_eq(pd_signed_rank(back, 60, 0.9, &o, NULL), PD_OK);
	near("mirror", o.mid_p, r.mid_p, 1e-12);
	ck_assert_double_lt(r.mid_p, r.p);
	ck_assert_int_eq(pd_rank_sum(a, 30, b, 33, 0.9, &r, NULL), PD_OK);
	ck_assert_int_eq(pd_rank_sum(b, 33, a, 30, 0.9, &o, NULL), PD_OK);
	near("exchange", o.mid_p, r.mid_p, 1e-12);
	ck_assert_int_eq(pd_rank_sum(a, 60, b, 60, 0.9, &r, NULL), PD_OK);
	ck_assert(!r.exact);
	near("normal", r.mid_p, 2 * pd_normal_upper(fabs(r.v - 1800) /
	     sqrt(60.0 * 60 * 121 / 12)), 1e-10);
	ck_assert_double_lt(r.mid_p, r.p);
	ck_assert_int_eq(pd_sign_flip(a, 20, 0, 1, &f, NULL), PD_OK);
	ck_assert_int_eq(pd_sign_flip(back, 20, 0, 1, &g, NULL), PD_OK);
	ck_assert_double_eq(f.mid_p, g.mid_p);
	near("sides", f.mid_above + g.mid_above, 1, 1e-13);
}
END_TEST

/* ---- signs -------------------------------------------------------------- */

static const size_t flipped[] = { 31, 64, 65, 129, 1000, 32768, 40001 };

/* The definition, bit by bit: the same counts as the tables give. */
START_TEST(flips_as_defined)
{
	size_t n = flipped[_i], draws = n > 5000 ? 300 : 5000;
	double *x = malloc(n * sizeof *x), hits = 0, above = 0, obs = 0;
	pd_flip_result f;

	fill_normal(x, n, 0.9 / sqrt((double)n), 8);
	for (size_t i = 0; i < n; i++)
		obs += x[i];
	for (size_t k = 0; k < draws; k++) {
		pd_stream s;
		uint64_t bits = 0;
		double sum = 0;

		pd_stream_init(&s, 21, k);
		for (size_t i = 0; i < n; i++, bits >>= 1) {
			if (i % 64 == 0)
				bits = pd_stream_bits(&s);
			sum += bits & 1 ? x[i] : -x[i];
		}
		hits += fabs(sum) >= fabs(obs);
		above += sum >= obs;
	}
	ck_assert_int_eq(pd_sign_flip(x, n, draws, 21, &f, NULL), PD_OK);
	ck_assert_double_eq(f.hits, hits);
	ck_assert_double_eq(f.hits_above, above);
	ck_assert_double_eq(f.p, (1 + hits) / (1 + (double)draws));
	ck_assert_double_eq(f.mid_p, (0.5 + hits) / (1 + (double)draws));
	free(x);
}
END_TEST

/* ---- units, strata, threads --------------------------------------------- */

/* Three strata; the first of each are arm 0. */
static const double value[] = { 3.1, 4.7, 2.2, 3.9, 5.0, 6.1,
                                4.4, 7.3, 5.2, 1.1, 0.4, 2.0 };
static const int32_t arm[] = { 0, 0, 1, 1, 0, 0, 1, 1, 1, 0, 1, 1 };
static const int32_t stratum[] = { 0, 0, 0, 0, 1, 1, 1, 1, 1, 2, 2, 2 };

static pd_permute_plan within(void)
{
	return (pd_permute_plan){ .n_rows = 12, .value = value, .arm = arm,
	                          .stratum = stratum, .n_strata = 3 };
}

START_TEST(strata_known)
{
	pd_permute_plan p = within();
	pd_permutation r;

	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	ck_assert(r.flip.exact);
	ck_assert_double_eq(r.flip.patterns, 180); /* R */
	near("T", r.statistic, 0.683333333333334, 1e-12);
	ck_assert_double_eq(r.flip.hits, 134);
	ck_assert_double_eq(r.flip.equal, 4);
	ck_assert_double_eq(r.flip.hits_above, 65);
	ck_assert_uint_eq(r.n_strata, 3);
	ck_assert_uint_eq(r.n_idle, 0);
}
END_TEST

/* What differs between strata does not matter; a stratum with one arm is
 * idle; rows in any order. */
START_TEST(strata_properties)
{
	double v[14];
	int32_t a[14], s[14];
	pd_permute_plan p = within();
	pd_permutation r, o;

	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	for (int i = 0; i < 14; i++) {
		int from = (5 * i) % 12;

		v[i] = i < 12 ? value[from] + 64 * stratum[from] : 9.5 * i;
		a[i] = i < 12 ? arm[from] : 1;
		s[i] = i < 12 ? stratum[from] : 3;
	}
	p = (pd_permute_plan){ .n_rows = 14, .value = v, .arm = a,
	                       .stratum = s, .n_strata = 5 };
	ck_assert_int_eq(pd_permute(&p, &o, NULL), PD_OK);
	near("T", o.statistic, r.statistic, 1e-12);
	ck_assert_double_eq(o.flip.hits, r.flip.hits);
	ck_assert_double_eq(o.flip.equal, r.flip.equal);
	ck_assert_uint_eq(o.n_idle, 2);
	ck_assert_uint_eq(o.n_strata, 3);
	/* arms exchanged */
	for (int i = 0; i < 14; i++)
		a[i] = 1 - a[i];
	ck_assert_int_eq(pd_permute(&p, &o, NULL), PD_OK);
	near("T", o.statistic, -r.statistic, 1e-12);
	ck_assert_double_eq(o.flip.hits, r.flip.hits);
}
END_TEST

/* One stratum, single rows: the plain form. */
START_TEST(plain_form)
{
	double all[12];
	int32_t label[12];
	pd_permute_plan p = { .n_rows = 12, .value = all, .arm = label };
	pd_permutation r;
	pd_flip_result f;

	for (int i = 0; i < 12; i++) {
		all[i] = i < 5 ? first[i] : second[i - 5];
		label[i] = i >= 5;
	}
	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	ck_assert_int_eq(pd_relabel(first, 5, second, 7, 0, 1, &f, NULL),
	                 PD_OK);
	ck_assert_double_eq(r.flip.hits, f.hits);
	ck_assert_double_eq(r.flip.patterns, 792);
	ck_assert_double_eq(r.flip.p, f.p);
	ck_assert_double_eq(r.flip.mid_p, f.mid_p);
}
END_TEST

/* Whole patients: three equal rows a patient say no more than one; rows dealt
 * alone would claim far more. Signs and labels. */
START_TEST(patients_not_rows)
{
	double v[30], d[30], moved[10];
	int32_t unit[30], label[30];
	pd_permute_plan p = { .n_rows = 30, .unit = unit, .n_units = 10 };
	pd_permutation r, rows;
	pd_flip_result one;

	for (int i = 0; i < 30; i++) {
		unit[i] = i % 10;
		d[i] = diff[i % 10];
		moved[i % 10] = diff[i % 10] + (i % 10 < 4 ? 1.7 : 0);
		v[i] = moved[i % 10];
		label[i] = i % 10 < 4;
	}
	p.value = d;
	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	ck_assert_int_eq(pd_sign_flip(diff, 10, 0, 1, &one, NULL), PD_OK);
	ck_assert_double_eq(r.flip.hits, one.hits);
	ck_assert_double_eq(r.flip.patterns, 1024);
	near("T", r.statistic, 29.13, 1e-13);
	p.value = v;
	p.arm = label;
	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	ck_assert_int_eq(pd_relabel(moved + 4, 6, moved, 4, 0, 1, &one, NULL),
	                 PD_OK);
	ck_assert_double_eq(r.flip.hits, one.hits);
	ck_assert_double_eq(r.flip.patterns, 210);
	p.unit = NULL;
	p.draws = 20000;
	ck_assert_int_eq(pd_permute(&p, &rows, NULL), PD_OK);
	ck_assert(!rows.flip.exact);
	ck_assert_double_lt(rows.flip.p, 0.8 * r.flip.p);
	/* unequal numbers of rows: a patient's mean counts */
	p = (pd_permute_plan){ .n_rows = 3, .value = (double[]){ 1, 3, 7 },
	                       .arm = (int32_t[]){ 0, 0, 1 },
	                       .unit = (int32_t[]){ 2, 2, 0 }, .n_units = 3 };
	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	near("T", r.statistic, 2 - 4.5, 1e-14);
	ck_assert_uint_eq(r.n_idle, 1);
}
END_TEST

/* Any number of threads: the same bytes, signs and labels; strata drawn. */
START_TEST(permute_threads)
{
	static const unsigned some[] = { 2, 3, 7, 64 };
	double x[90];
	int32_t label[90], group[90];
	pd_permute_plan p = { .n_rows = 90, .value = x, .draws = 3001,
	                      .seed = 9, .stratum = group, .n_strata = 3 };
	pd_permutation a, b;

	fill_normal(x, 90, 0.1, 10);
	for (int i = 0; i < 90; i++) {
		label[i] = i % 2;
		group[i] = i % 3;
	}
	p.arm = _i ? label : NULL;
	ck_assert_int_eq(pd_permute(&p, &a, NULL), PD_OK);
	ck_assert(!a.flip.exact);
	for (int k = 0; k < ROWS(some); k++) {
		p.threads = some[k];
		ck_assert_int_eq(pd_permute(&p, &b, NULL), PD_OK);
		ck_assert_mem_eq(&a, &b, sizeof a);
	}
	p.seed++;
	ck_assert_int_eq(pd_permute(&p, &b, NULL), PD_OK);
	ck_assert_double_ne(a.flip.hits, b.flip.hits);
}
END_TEST

/* Drawn deals within strata follow their normal law: T has variance
 * sum over strata of n0 n1 / (n - 1) times the variance (divisor n). */
START_TEST(strata_drawn)
{
	double x[120], mean[3] = { 0 }, square[3] = { 0 }, variance = 0, z;
	int32_t label[120], group[120];
	pd_permute_plan p = { .n_rows = 120, .value = x, .draws = 40000,
	                      .seed = 3, .arm = label, .stratum = group,
	                      .n_strata = 3, .threads = 2 };
	pd_permutation r;

	fill_normal(x, 120, 0, 11);
	for (int i = 0; i < 120; i++) {
		group[i] = i % 3;
		label[i] = i / 3 % 4 == 0; /* 10 of 40 a stratum */
		x[i] += 3 * group[i] + 0.3 * label[i];
		mean[group[i]] += x[i] / 40;
	}
	for (int i = 0; i < 120; i++)
		square[group[i]] += (x[i] - mean[group[i]]) *
		                    (x[i] - mean[group[i]]);
	for (int s = 0; s < 3; s++)
		variance += 10.0 * 30 / (40 * 39) * square[s];
	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	z = r.statistic / sqrt(variance);
	ck_assert_double_eq_tol(r.flip.p, 2 * pd_normal_upper(fabs(z)), 0.012);
	ck_assert_double_eq_tol(r.flip.p_above, pd_normal_upper(z), 0.012);
}
END_TEST

/* Huge, tiny; codes with gaps: patients without rows change nothing. */
START_TEST(permute_extremes)
{
	double x[40], huge[] = { 1e308, 1.5e308, -1e308, 1.7e308 };
	int32_t label[] = { 0, 1, 0, 1 }, unit[10];
	pd_permute_plan p = { .n_rows = 4, .value = huge };
	pd_permutation r;
	pd_error err = { 0 };
	pd_flip_result a, b;

	ck_assert_int_eq(pd_permute(&p, &r, &err), PD_NUMERIC);
	p.arm = label;
	ck_assert_int_eq(pd_permute(&p, &r, &err), PD_NUMERIC);
	for (int i = 0; i < 10; i++) {
		x[i] = 0x1p-1040 * diff[i]; /* below the normal range */
		unit[i] = 97 * i;
	}
	ck_assert_int_eq(pd_sign_flip(x, 10, 0, 1, &a, NULL), PD_OK);
	ck_assert_double_eq(a.hits, 60);
	p = (pd_permute_plan){ .n_rows = 10, .value = diff, .unit = unit,
	                       .n_units = 1000 };
	ck_assert_int_eq(pd_permute(&p, &r, NULL), PD_OK);
	ck_assert(r.flip.exact);
	ck_assert_double_eq(r.flip.patterns, 1024);
	ck_assert_double_eq(r.flip.hits, 60);
	ck_assert_uint_eq(r.n_idle, 990);
	/* a large common part, drawn */
	fill_normal(x, 40, 0, 12);
	for (int i = 0; i < 40; i++)
		x[i] = round(4096 * x[i]) / 4096;
	ck_assert_int_eq(pd_relabel(x, 17, x + 17, 23, 500, 4, &a, NULL),
	                 PD_OK);
	for (int i = 0; i < 40; i++)
		x[i] += 1e9;
	ck_assert_int_eq(pd_relabel(x, 17, x + 17, 23, 500, 4, &b, NULL),
	                 PD_OK);
	ck_assert_double_eq(a.hits, b.hits);
}
END_TEST

/* ---- refusals ----------------------------------------------------------- */

START_TEST(permute_refuses)
{
	static const double bad[] = { 1, NAN }, none[] = { 0, 0, 0 };
	static const double same[] = { 2, 2, 5, 5 };
	static const int32_t two[] = { 0, 1, 0, 1 }, late[] = { 0, 0, 1, 1 };
	static const int32_t odd[] = { 0, 2, 0, 1 };
	const struct {
		const char *words;
		pd_status status;
		pd_permute_plan plan;
	} row[] = {
		{ "not a finite", PD_DATA, { .n_rows = 2, .value = bad } },
		{ "no difference other", PD_REFUSED,
		  { .n_rows = 3, .value = none } },
		{ "no differences or", PD_REFUSED,
		  { .n_rows = 0, .value = none } },
		{ "row 2: arm 2", PD_DATA,
		  { .n_rows = 4, .value = value, .arm = odd } },
		{ "row 2: unit 2", PD_DATA,
		  { .n_rows = 4, .value = value, .unit = odd, .n_units = 2 } },
		{ "row 2: stratum 2", PD_DATA,
		  { .n_rows = 4, .value = value, .arm = two, .stratum = odd,
		    .n_strata = 2 } },
		{ "row 2: the rows of one unit must have the same arm",
		  PD_DATA,
		  { .n_rows = 4, .value = value, .arm = two, .unit = late,
		    .n_units = 2 } },
		{ "the same stratum", PD_DATA,
		  { .n_rows = 4, .value = value, .arm = late, .unit = late,
		    .n_units = 2, .stratum = two, .n_strata = 2 } },
		{ "two groups are needed in at least one stratum", PD_REFUSED,
		  { .n_rows = 4, .value = value, .arm = late, .stratum = late,
		    .n_strata = 2 } },
		{ "two groups are needed", PD_REFUSED,
		  { .n_rows = 2, .value = value, .arm = late } },
		{ "all values of each stratum", PD_REFUSED,
		  { .n_rows = 4, .value = same, .arm = two, .stratum = late,
		    .n_strata = 2 } },
		{ "at most 10000000", PD_DATA,
		  { .n_rows = 4, .value = value, .draws = 10000001 } },
	};

	for (int i = 0; i < ROWS(row); i++) {
		pd_error err = { 0 };
		pd_permutation r;

		ck_assert_int_eq(pd_permute(&row[i].plan, &r, &err),
		                 row[i].status);
		if (!strstr(err.text, row[i].words))
			ck_abort_msg("'%s' lacks '%s'", err.text,
			             row[i].words);
	}
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("resample");
	TCase *t = tcase_create("numbers");

	tcase_set_timeout(t, 60);
	tcase_add_test(t, kernels_agree);
	tcase_add_test(t, bits_in_bulk);
	tcase_add_loop_test(t, counts_as_defined, 0, ROWS(sizes));
	tcase_add_loop_test(t, counts_even, 0, 5);
	tcase_add_test(t, parts_cover);
	suite_add_tcase(s, t);
	t = tcase_create("bootstrap");
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, short_way_same_bytes, 0, ROWS(lengths));
	tcase_add_test(t, mean_any_threads);
	tcase_add_loop_test(t, patients_added_up, 0, 2);
	tcase_add_test(t, mean_far_and_scaled);
	tcase_add_test(t, ratio_refuses);
	suite_add_tcase(s, t);
	t = tcase_create("permutation");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, mid_p_known);
	tcase_add_test(t, mid_p_averages_half);
	tcase_add_test(t, mid_p_properties);
	tcase_add_loop_test(t, flips_as_defined, 0, ROWS(flipped));
	tcase_add_test(t, strata_known);
	tcase_add_test(t, strata_properties);
	tcase_add_test(t, plain_form);
	tcase_add_test(t, patients_not_rows);
	tcase_add_loop_test(t, permute_threads, 0, 2);
	tcase_add_test(t, strata_drawn);
	tcase_add_test(t, permute_extremes);
	tcase_add_test(t, permute_refuses);
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
