/*
 * paired.c - the mean of differences, and permutation of signs and labels.
 */
#include "stats/paired.h"
#include "stats/quantile.h"
#include "stats/stream.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FLIPPED = 30, USUAL_DRAWS = 9999 };
static const double MOST_SPLITS = 2e6;
static const double SAME = 1e-12; /* see paired.h */

pd_status pd_paired_mean(const double *diff, size_t n, double level,
                         pd_estimate *out, pd_error *err)
{
	pd_status st = pd_check_finite(diff, n, err);
	pd_summary s;
	double half;

	if (st != PD_OK)
		return st;
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "interval level %g is outside 0 "
		               "to 1", level);
	if (n < 2)
		return pd_fail(err, PD_REFUSED, "at least 2 differences are "
		               "needed, got %zu", n);
	s = pd_summarise(diff, n);
	if (s.high - s.low <= SAME * fmax(fabs(s.low), fabs(s.high)))
		return pd_fail(err, PD_REFUSED, "no variation: all %zu "
		               "differences are equal", n);
	*out = (pd_estimate){ .value = s.mean, .level = level };
	out->se = s.sd / sqrt((double)n);
	out->df = (double)(n - 1);
	half = out->se * pd_t_quantile(0.5 + 0.5 * level, out->df);
	out->low = out->value - half;
	out->high = out->value + half;
	out->p = pd_t_two_sided(out->value / out->se, out->df);
	return PD_OK;
}

/* ---- signs flipped ------------------------------------------------------ */

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* All 2^n signed sums of x[n], ascending. */
static double *signed_sums(const double *x, size_t n)
{
	size_t size = (size_t)1 << n;
	double *sum = malloc(size * sizeof *sum);

	if (!sum)
		return NULL;
	for (size_t k = 0; k < size; k++) {
		sum[k] = 0;
		for (size_t i = 0; i < n; i++)
			sum[k] += k >> i & 1 ? x[i] : -x[i];
	}
	qsort(sum, size, sizeof *sum, ascending);
	return sum;
}

/* Pairs with u + v >= bound, u and v ascending: v's pointer only falls. */
static double pairs_above(const double *u, size_t n, const double *v, size_t m,
                          double bound)
{
	double pairs = 0;
	size_t j = m;

	for (size_t i = 0; i < n; i++) {
		while (j > 0 && u[i] + v[j - 1] >= bound)
			j--;
		pairs += (double)(m - j);
	}
	return pairs;
}

/* Every pattern, met in the middle: the sums of two halves. The set of sums
 * is symmetric about 0, so both tails hold the same number. */
static pd_status flip_all(const double *diff, size_t n, double observed,
                          double slack, pd_flip_result *out, pd_error *err)
{
	size_t half = n / 2, u_size = (size_t)1 << half;
	size_t v_size = (size_t)1 << (n - half);
	double *u = signed_sums(diff, half);
	double *v = signed_sums(diff + half, n - half);
	pd_status st = PD_OK;

	if (u && v) {
		double bound = fabs(observed) - slack;

		out->patterns = ldexp(1, (int)n);
		out->hits_above = pairs_above(u, u_size, v, v_size,
		                              observed - slack);
		out->hits = bound > 0 ? 2 * pairs_above(u, u_size, v, v_size,
		                                        bound)
		                      : out->patterns;
		out->p = out->hits / out->patterns;
		out->exact = 1;
	} else {
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	free(u);
	free(v);
	return st;
}

static double one_flip(const double *diff, size_t n, uint64_t seed,
                       uint64_t draw)
{
	pd_stream s;
	uint64_t bits = 0;
	double sum = 0;

	pd_stream_init(&s, seed, draw);
	for (size_t i = 0; i < n; i++) {
		if (i % 64 == 0)
			bits = pd_stream_bits(&s);
		sum += bits & 1 ? diff[i] : -diff[i];
		bits >>= 1;
	}
	return sum;
}

/* Count a drawn statistic; the observed one is counted at the end. */
static void count_hit(pd_flip_result *out, double sum, double observed,
                      double slack)
{
	out->hits += fabs(sum) >= fabs(observed) - slack;
	out->hits_above += sum >= observed - slack;
}

static void finish_draws(pd_flip_result *out, size_t draws)
{
	out->patterns = (double)draws;
	out->p = (1 + out->hits) / (1 + out->patterns);
}

pd_status pd_sign_flip(const double *diff, size_t n, size_t draws,
                       uint64_t seed, pd_flip_result *out, pd_error *err)
{
	pd_status st = pd_check_finite(diff, n, err);
	double size = 0, observed, slack;

	*out = (pd_flip_result){ 0 };
	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < n; i++)
		size += fabs(diff[i]);
	if (size == 0)
		return pd_fail(err, PD_REFUSED, "no difference other than 0");
	observed = pd_sum(diff, n);
	slack = SAME * size;
	if (n <= MOST_FLIPPED)
		return flip_all(diff, n, observed, slack, out, err);
	if (!draws)
		draws = USUAL_DRAWS;
	for (size_t k = 0; k < draws; k++)
		count_hit(out, one_flip(diff, n, seed, k), observed, slack);
	finish_draws(out, draws);
	return PD_OK;
}

/* ---- labels dealt anew -------------------------------------------------- */

/* The pooled values less their mean, so that the first sample's sum is the
 * whole statistic: mean a - mean b = sum * (1/n + 1/m). */
static double *pool(const double *a, size_t n, const double *b, size_t m,
                    int *varies)
{
	double *x = malloc((n + m) * sizeof *x);
	pd_summary s;

	if (!x)
		return NULL;
	memcpy(x, a, n * sizeof *x);
	memcpy(x + n, b, m * sizeof *x);
	s = pd_summarise(x, n + m);
	*varies = s.high - s.low > SAME * fmax(fabs(s.low), fabs(s.high));
	for (size_t i = 0; i < n + m; i++)
		x[i] -= s.mean;
	return x;
}

static double splits(size_t n, size_t m)
{
	double c = 1;

	for (size_t i = 1; i <= n && c <= MOST_SPLITS; i++)
		c = c * (double)(m + i) / (double)i;
	return c;
}

/* The next choice of n places out of `all`, in lexical order; 0 at the end. */
static int next_choice(size_t *at, size_t n, size_t all)
{
	size_t i = n;

	while (i > 0 && at[i - 1] == all - n + i - 1)
		i--;
	if (i == 0)
		return 0;
	at[i - 1]++;
	for (; i < n; i++)
		at[i] = at[i - 1] + 1;
	return 1;
}

static void relabel_all(const double *x, size_t n, size_t all, size_t *at,
                        double observed, double slack, pd_flip_result *out)
{
	for (size_t i = 0; i < n; i++)
		at[i] = i;
	do {
		double sum = 0;

		for (size_t i = 0; i < n; i++)
			sum += x[at[i]];
		count_hit(out, sum, observed, slack);
		out->patterns++;
	} while (next_choice(at, n, all));
	out->p = out->hits / out->patterns;
	out->exact = 1;
}

/* Sum of n values drawn without replacement: a partial shuffle of `at`, which
 * starts in order so that a draw depends on its stream alone. */
static double one_deal(const double *x, size_t n, size_t all, size_t *at,
                       uint64_t seed, uint64_t draw)
{
	pd_stream s;
	double sum = 0;

	pd_stream_init(&s, seed, draw);
	for (size_t i = 0; i < all; i++)
		at[i] = i;
	for (size_t i = 0; i < n; i++) {
		size_t j = i + (size_t)pd_stream_below(&s, all - i), t = at[i];

		at[i] = at[j];
		at[j] = t;
		sum += x[at[i]];
	}
	return sum;
}

pd_status pd_relabel(const double *a, size_t n, const double *b, size_t m,
                     size_t draws, uint64_t seed, pd_flip_result *out,
                     pd_error *err)
{
	size_t all = n + m, *at = NULL;
	double *x = NULL, size = 0, observed = 0;
	int varies = 0;
	pd_status st = pd_check_finite(a, n, err);

	*out = (pd_flip_result){ 0 };
	if (st == PD_OK)
		st = pd_check_finite(b, m, err);
	if (st == PD_OK && (!n || !m))
		st = pd_fail(err, PD_REFUSED, "two groups are needed, got %zu "
		             "and %zu values", n, m);
	if (st != PD_OK)
		return st;
	x = pool(a, n, b, m, &varies);
	at = malloc(all * sizeof *at);
	if (!x || !at)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; st == PD_OK && i < all; i++) {
		size += fabs(x[i]);
		observed += i < n ? x[i] : 0;
	}
	if (st == PD_OK && !varies)
		st = pd_fail(err, PD_REFUSED, "all values are equal");
	if (st == PD_OK && splits(n, m) <= MOST_SPLITS) {
		relabel_all(x, n, all, at, observed, SAME * size, out);
	} else if (st == PD_OK) {
		draws = draws ? draws : USUAL_DRAWS;
		for (size_t k = 0; k < draws; k++)
			count_hit(out, one_deal(x, n, all, at, seed, k),
			          observed, SAME * size);
		finish_draws(out, draws);
	}
	free(x);
	free(at);
	return st;
}
