/*
 * rank.c - signed rank and rank sum: midranks, exact null distributions by
 * convolution, intervals from the order of all means of two (pairwise.c).
 */
#include "stats/rank.h"
#include "stats/paired.h"
#include "stats/pairwise.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_TIED = 500, MOST_EXACT = 1000, MOST_A_SIDE = 40 };
static const double SAME = 1e-12; /* see paired.h */

/* ---- ranks --------------------------------------------------------------- */

struct ranked {
	double size;   /* what is ranked: |d|, or the value                  */
	int first;     /* d > 0, or a member of the first sample             */
	int zero;
	long rank2;    /* twice the midrank                                  */
};

static int by_size(const void *a, const void *b)
{
	double x = ((const struct ranked *)a)->size;
	double y = ((const struct ranked *)b)->size;

	return (x > y) - (x < y);
}

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Sort and give twice the midranks; values within `same` of their neighbour
 * are tied. Returns whether any are. */
static int rank_all(struct ranked *r, size_t n, double same)
{
	int ties = 0;

	qsort(r, n, sizeof *r, by_size);
	for (size_t i = 0, j; i < n; i = j) {
		for (j = i + 1; j < n && r[j].size - r[j - 1].size <= same;)
			j++;
		ties |= j > i + 1;
		for (size_t k = i; k < j; k++)
			r[k].rank2 = (long)(i + j + 1);
	}
	return ties;
}

double pd_normal_p(double statistic, double mean, double variance,
                   double correction)
{
	double off = fabs(statistic - mean) - correction;

	return off <= 0 ? 1 : 2 * pd_normal_upper(off / sqrt(variance));
}

/*
 * P(S <= s), s = 0 .. top, for S the sum of independent terms, term i
 * weight[i] or 0 with chance 1/2: by convolution, only as far as top. NULL
 * without memory; the caller frees it.
 */
static double *half_below(const long *weight, size_t n, long top)
{
	double *f = calloc((size_t)top + 1, sizeof *f);
	long end = 0; /* the largest sum so far, at most top */

	if (!f)
		return NULL;
	f[0] = 1;
	for (size_t i = 0; i < n; i++) {
		long w = weight[i];

		end = end + w < top ? end + w : top;
		for (long s = end; s >= w; s--)
			f[s] = 0.5 * (f[s] + f[s - w]);
		for (long s = w - 1 < end ? w - 1 : end; s >= 0; s--)
			f[s] *= 0.5;
	}
	for (long s = 1; s <= top; s++)
		f[s] += f[s - 1];
	return f;
}

/* Twice the ranks of r that take part, halved again where all are even. */
static size_t weights_of(const struct ranked *r, size_t n, long *weight,
                         long *unit)
{
	size_t used = 0;

	*unit = 1;
	for (size_t i = 0; i < n; i++) {
		if (r[i].zero)
			continue;
		weight[used++] = r[i].rank2;
		if (r[i].rank2 % 2)
			*unit = 2;
	}
	if (*unit == 1)
		for (size_t i = 0; i < used; i++)
			weight[i] /= 2;
	return used;
}

/* Two-sided: twice the smaller tail, `equal` of each left out. */
static double doubled(double below, double above, double equal)
{
	return fmin(1, 2 * (fmin(below, above) - equal));
}

/* Exact p values of V = v from the ranks in r; 0 without memory. */
static int exact_signed(const struct ranked *r, size_t n, pd_signed_test *t)
{
	long *weight = malloc((n ? n : 1) * sizeof *weight), unit, v, total = 0;
	double *below = NULL, at, more, equal;
	size_t used;
	int mirrored;

	if (!weight)
		return 0;
	used = weights_of(r, n, weight, &unit);
	for (size_t i = 0; i < used; i++)
		total += weight[i];
	v = lrint(t->v * (double)unit);
	mirrored = 2 * v > total; /* P(V >= v) = P(V <= total - v) */
	v = mirrored ? total - v : v;
	below = half_below(weight, used, v);
	free(weight);
	if (!below)
		return 0;
	at = below[v];
	more = v > 0 ? 1 - below[v - 1] : 1;
	equal = v > 0 ? at - below[v - 1] : at;
	free(below);
	t->p_below = mirrored ? more : at;
	t->p_above = mirrored ? at : more;
	t->p = doubled(at, more, 0);
	t->mid_p = doubled(at, more, 0.5 * equal);
	t->exact = 1;
	return 1;
}

static double largest(const double *x, size_t n)
{
	double most = 0;

	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(x[i]));
	return most;
}

pd_status pd_signed_rank_test(const double *diff, size_t n, pd_zeros zeros,
                              pd_signed_test *out, pd_error *err)
{
	pd_status st = pd_check_finite(diff, n, err);
	double same = SAME * largest(diff, n);
	struct ranked *r;
	size_t m = 0;

	*out = (pd_signed_test){ .p = NAN, .p_above = NAN, .p_below = NAN,
	                         .mid_p = NAN };
	if (st != PD_OK)
		return st;
	r = calloc(n ? n : 1, sizeof *r);
	if (!r)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++) {
		int zero = fabs(diff[i]) <= same;

		out->n_zero += zero ? 1 : 0;
		if (!zero || zeros == PD_ZEROS_RANKED)
			r[m++] = (struct ranked){ zero ? 0 : fabs(diff[i]),
			                          diff[i] > 0, zero, 0 };
	}
	out->n_used = n - out->n_zero;
	out->ties = rank_all(r, m, same);
	for (size_t i = 0; i < m; i++) {
		double rank = 0.5 * (double)r[i].rank2;

		if (r[i].zero)
			continue;
		out->v += r[i].first ? rank : 0;
		out->mean += rank / 2;
		out->variance += rank * rank / 4;
	}
	if (out->n_used <= (out->ties ? MOST_TIED : MOST_EXACT) &&
	    !exact_signed(r, m, out))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	free(r);
	return st;
}

/* ---- intervals ----------------------------------------------------------- */

/*
 * The order index q and the achieved level, from below[s] = P(S <= s), s =
 * 0 .. top, or (below NULL) from the normal law of the given mean and variance.
 */
static double order_index(const double *below, long top, double mean,
                          double variance, double level, double *achieved)
{
	double tail = 0.5 * (1 - level), q = 1, z;

	if (below) {
		long s = 0;

		while (s < top && below[s] < tail)
			s++;
		q = s > 0 ? (double)s : 1;
		*achieved = fmax(0, 1 - 2 * below[(long)q - 1]);
		return q;
	}
	z = pd_normal_quantile(1 - tail);
	q = fmax(1, ceil(mean - 0.5 - z * sqrt(variance)));
	*achieved = 1 - 2 * pd_normal_cdf((q - 0.5 - mean) / sqrt(variance));
	return q;
}

/* P(V <= s) for untied signed ranks 1 .. n, s = 0 .. top. */
static double *signed_below(size_t n, long top)
{
	long *rank = malloc((n ? n : 1) * sizeof *rank);
	double *below = NULL;

	for (size_t i = 0; rank && i < n; i++)
		rank[i] = (long)i + 1;
	if (rank)
		below = half_below(rank, n, top);
	free(rank);
	return below;
}

/* Middle and q-th from each end of `pairs` ordered means or differences. */
static void place_interval(const double *a, size_t n, const double *b,
                           size_t m, double pairs, double q,
                           pd_rank_result *out)
{
	double at[4] = { floor((pairs + 1) / 2), ceil((pairs + 1) / 2), q,
	                 pairs + 1 - q };
	double v[4];

	for (int i = 0; i < 4; i++)
		v[i] = b ? pd_difference_at(a, n, b, m, at[i])
		         : pd_walsh_at(a, n, at[i]);
	out->value = 0.5 * v[0] + 0.5 * v[1];
	out->low = v[2];
	out->high = v[3];
}

static double *sorted(const double *x, size_t n)
{
	double *y = malloc((n ? n : 1) * sizeof *y);

	if (y) {
		memcpy(y, x, n * sizeof *y);
		qsort(y, n, sizeof *y, ascending);
	}
	return y;
}

static pd_status signed_interval(const double *diff, size_t n, double level,
                                 pd_rank_result *out)
{
	double pairs = (double)n * (double)(n + 1) / 2, q, *x = sorted(diff, n);
	double *below = NULL;
	long top = (long)(pairs / 2);
	pd_status st = PD_OK;

	if (n <= MOST_EXACT)
		below = signed_below(n, top);
	if (!x || (n <= MOST_EXACT && !below)) {
		st = PD_NO_MEMORY;
	} else {
		q = order_index(below, top, pairs / 2,
		                pairs * (double)(2 * n + 1) / 12, level,
		                &out->achieved);
		place_interval(x, n, NULL, 0, pairs, q, out);
	}
	free(below);
	free(x);
	return st;
}

static pd_status check_level(double level, pd_error *err)
{
	if (level > 0 && level < 1)
		return PD_OK;
	return pd_fail(err, PD_DATA, "interval level %g is outside 0 to 1",
	               level);
}

/* Differences of huge values may leave the range of doubles. */
static pd_status settle(pd_status st, const pd_rank_result *r, pd_error *err)
{
	double made[] = { r->value, r->low, r->high };

	if (st != PD_OK)
		return pd_fail(err, st, "out of memory");
	return pd_check_results(made, 3, err);
}

pd_status pd_signed_rank(const double *diff, size_t n, double level,
                         pd_rank_result *out, pd_error *err)
{
	pd_signed_test t;
	pd_status st = check_level(level, err);

	if (st == PD_OK)
		st = pd_signed_rank_test(diff, n, PD_ZEROS_DROPPED, &t, err);
	if (st != PD_OK)
		return st;
	if (n < 2)
		return pd_fail(err, PD_REFUSED, "at least 2 differences are "
		               "needed, got %zu", n);
	if (!t.n_used)
		return pd_fail(err, PD_REFUSED, "all %zu differences are 0", n);
	*out = (pd_rank_result){ .v = t.v, .p = t.p, .mid_p = t.mid_p,
	                         .n_zero = t.n_zero, .exact = t.exact };
	if (!t.exact) {
		out->p = pd_normal_p(t.v, t.mean, t.variance, 0.5);
		out->mid_p = pd_normal_p(t.v, t.mean, t.variance, 0);
	}
	st = signed_interval(diff, n, level, out);
	return settle(st, out, err);
}

/* ---- two samples --------------------------------------------------------- */

/*
 * P(S <= s), s = 0 .. top, for S the sum of `n` of the `all` weights, every
 * choice alike: counts by number chosen and sum. NULL without memory.
 */
static double *choice_below(const long *weight, size_t all, size_t n, long top)
{
	size_t width = (size_t)top + 1;
	double *f = calloc((n + 1) * width, sizeof *f), total = 1, *last;

	if (!f)
		return NULL;
	f[0] = 1;
	for (size_t i = 0; i < all; i++)
		for (size_t k = i + 1 < n ? i + 1 : n; k > 0; k--)
			for (long s = top; s >= weight[i]; s--)
				f[k * width + (size_t)s] +=
				    f[(k - 1) * width + (size_t)(s - weight[i])];
	for (size_t i = 1; i <= n; i++)
		total = total * (double)(all - n + i) / (double)i;
	last = f + n * width;
	for (size_t s = 0; s < width; s++)
		f[s] = (s ? f[s - 1] : 0) + last[s] / total;
	return f;
}

/* Exact two-sided p of the first sample's rank sum; NaN without memory. The
 * upper tail is the lower tail of the mirrored ranks. */
static double exact_sum_p(const struct ranked *r, size_t n, size_t m,
                          double *mid_p)
{
	size_t all = n + m;
	long weight[2 * MOST_A_SIDE] = { 0 }, mirror[2 * MOST_A_SIDE] = { 0 };
	long v = 0, u = 0;
	double *f, below, above, equal;

	for (size_t i = 0; i < all; i++) {
		weight[i] = r[i].rank2;
		mirror[i] = 2 * (long)(all + 1) - r[i].rank2;
		v += r[i].first ? weight[i] : 0;
		u += r[i].first ? mirror[i] : 0;
	}
	f = choice_below(weight, all, n, v);
	below = f ? f[v] : NAN;
	equal = f && v > 0 ? below - f[v - 1] : below;
	free(f);
	f = choice_below(mirror, all, n, u);
	above = f ? f[u] : NAN;
	free(f);
	if (isnan(below + above))
		return NAN;
	*mid_p = doubled(below, above, 0.5 * equal);
	return doubled(below, above, 0);
}

/* Variance given the ties: n m / (N (N - 1)) sum (r - mean)^2. */
static double sum_variance(const struct ranked *r, double n, double m)
{
	double all = n + m, mean = (all + 1) / 2, square = 0;

	for (size_t i = 0; i < (size_t)all; i++) {
		double d = 0.5 * (double)r[i].rank2 - mean;

		square += d * d;
	}
	return n * m / (all * (all - 1)) * square;
}

static pd_status shift_interval(const double *a, size_t n, const double *b,
                                size_t m, double level, pd_rank_result *out)
{
	double pairs = (double)n * (double)m, q;
	double *x = sorted(a, n), *y = sorted(b, m), *below = NULL;
	long weight[2 * MOST_A_SIDE], top = (long)(pairs / 2);
	long least = (long)(n * (n + 1) / 2);
	int exact = n <= MOST_A_SIDE && m <= MOST_A_SIDE;

	for (size_t i = 0; exact && i < n + m; i++)
		weight[i] = (long)i + 1;
	if (exact)
		below = choice_below(weight, n + m, n, least + top);
	if (x && y && (!exact || below)) {
		q = order_index(below ? below + least : NULL, top, pairs / 2,
		                pairs * (double)(n + m + 1) / 12, level,
		                &out->achieved);
		place_interval(x, n, y, m, pairs, q, out);
	}
	free(x);
	free(y);
	free(below);
	return x && y && (!exact || below) ? PD_OK : PD_NO_MEMORY;
}

static pd_status sum_test(struct ranked *r, size_t n, size_t m, double same,
                          pd_rank_result *out, pd_error *err)
{
	double pairs = (double)n * (double)m, v = 0;

	rank_all(r, n + m, same);
	if (r[0].rank2 == r[n + m - 1].rank2)
		return pd_fail(err, PD_REFUSED, "all values are equal");
	for (size_t i = 0; i < n + m; i++)
		v += r[i].first ? 0.5 * (double)r[i].rank2 : 0;
	*out = (pd_rank_result){ .v = v - (double)n * (double)(n + 1) / 2 };
	out->exact = n <= MOST_A_SIDE && m <= MOST_A_SIDE;
	if (out->exact) {
		out->p = exact_sum_p(r, n, m, &out->mid_p);
	} else {
		double variance = sum_variance(r, (double)n, (double)m);

		out->p = pd_normal_p(out->v, pairs / 2, variance, 0.5);
		out->mid_p = pd_normal_p(out->v, pairs / 2, variance, 0);
	}
	return isnan(out->p) ? pd_fail(err, PD_NO_MEMORY, "out of memory")
	                     : PD_OK;
}

pd_status pd_rank_sum(const double *a, size_t n, const double *b, size_t m,
                      double level, pd_rank_result *out, pd_error *err)
{
	pd_status st = check_level(level, err);
	struct ranked *r;

	if (st == PD_OK)
		st = pd_check_finite(a, n, err);
	if (st == PD_OK)
		st = pd_check_finite(b, m, err);
	if (st != PD_OK)
		return st;
	if (!n || !m)
		return pd_fail(err, PD_REFUSED, "two groups are needed, got "
		               "%zu and %zu values", n, m);
	r = calloc(n + m, sizeof *r);
	if (!r)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n + m; i++)
		r[i] = (struct ranked){ .size = i < n ? a[i] : b[i - n],
		                        .first = i < n };
	st = sum_test(r, n, m, SAME * fmax(largest(a, n), largest(b, m)), out,
	              err);
	free(r);
	if (st != PD_OK)
		return st;
	st = shift_interval(a, n, b, m, level, out);
	return settle(st, out, err);
}
