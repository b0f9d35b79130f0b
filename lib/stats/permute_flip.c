/*
 * permute_flip.c - sums under flipped signs: all of them, met in the middle,
 * or drawn, eight signs at a time out of tables.
 */
#include "stats/permute_own.h"
#include "stats/stream.h"
#include "stats/threads.h"

#include <math.h>
#include <stdlib.h>

/* ---- every pattern ------------------------------------------------------ */

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

/* The sums of two halves; each pattern is one u[i] + v[j]. */
struct halves {
	double *u, *v;
	size_t n, m;
};

/* Pairs with u + v >= bound, u and v ascending: v's pointer only falls. */
static double pairs_above(const struct halves *h, double bound)
{
	double pairs = 0;
	size_t j = h->m;

	for (size_t i = 0; i < h->n; i++) {
		while (j > 0 && h->u[i] + h->v[j - 1] >= bound)
			j--;
		pairs += (double)(h->m - j);
	}
	return pairs;
}

/* The set of sums is symmetric about 0, so both tails hold the same number. */
static void count_halves(const struct halves *h,
                         const struct pd_permute_task *t, pd_flip_result *out)
{
	double far = fabs(t->observed), further;

	out->hits_above = pairs_above(h, t->observed - t->slack);
	out->equal_above = out->hits_above -
	                   pairs_above(h, t->observed + t->slack);
	further = 2 * pairs_above(h, far + t->slack);
	out->hits = far > t->slack ? 2 * pairs_above(h, far - t->slack)
	                           : out->patterns;
	out->equal = out->hits - further;
}

pd_status pd_flip_all(const struct pd_permute_task *t, pd_flip_result *out,
                      pd_error *err)
{
	size_t half = t->n / 2;
	struct halves h = { signed_sums(t->x, half),
	                    signed_sums(t->x + half, t->n - half),
	                    (size_t)1 << half, (size_t)1 << (t->n - half) };
	pd_status st = PD_OK;

	out->patterns = ldexp(1, (int)t->n);
	out->exact = 1;
	if (h.u && h.v)
		count_halves(&h, t, out);
	else
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	free(h.u);
	free(h.v);
	return st;
}

/* ---- drawn patterns ----------------------------------------------------- */

/*
 * Units go in slabs small enough that a slab's tables fit in fast memory; a
 * table holds the 256 signed sums of eight units. A batch of draws goes over a
 * few tables at a time while they are near.
 */
enum {
	EIGHT = 8, PATTERNS = 1 << EIGHT, NEAR = 8, BATCH = 128,
	SLAB = 4096 * EIGHT, APART = 8
};

struct slab {
	const struct pd_permute_task *task;
	double (*table)[PATTERNS];
	size_t first, n_tables;  /* unit; tables filled up to a whole NEAR    */
	double *sum;             /* a draw: grows from slab to slab           */
};

/* Words of signs a draw, a little apart so that draws do not fall on the same
 * place of the cache. */
static size_t stride(const struct slab *s)
{
	return s->n_tables / EIGHT + APART;
}

/* Entry k keeps the units whose bit is set; past the last unit there is 0. */
static void fill_tables(struct slab *s)
{
	const struct pd_permute_task *t = s->task;

	for (size_t i = 0; i < s->n_tables; i++) {
		double *entry = s->table[i];
		size_t size = 1;

		entry[0] = 0;
		for (size_t j = 0; j < EIGHT; j++, size *= 2) {
			size_t at = s->first + EIGHT * i + j;
			double x = at < t->n ? t->x[at] : 0;

			for (size_t k = 0; k < size; k++) {
				entry[size + k] = entry[k] + x;
				entry[k] -= x;
			}
		}
	}
}

static inline double entry_of(const double table[PATTERNS], uint64_t bits)
{
	return table[bits & (PATTERNS - 1)];
}

/* The sum of NEAR tables under one word of signs. */
static inline double look_up(double (*const t)[PATTERNS], uint64_t bits)
{
	return ((entry_of(t[0], bits) + entry_of(t[1], bits >> 8)) +
	        (entry_of(t[2], bits >> 16) + entry_of(t[3], bits >> 24))) +
	       ((entry_of(t[4], bits >> 32) + entry_of(t[5], bits >> 40)) +
	        (entry_of(t[6], bits >> 48) + entry_of(t[7], bits >> 56)));
}

static void draw_batch(const struct slab *s, uint64_t *bits, size_t from,
                       size_t n)
{
	size_t wide = stride(s);

	for (size_t k = 0; k < n; k++)
		pd_stream_fill(s->task->seed, from + k, s->first / 128,
		               bits + wide * k, s->n_tables / EIGHT);
	for (size_t i = 0; i < s->n_tables; i += NEAR)
		for (size_t k = 0; k < n; k++)
			s->sum[from + k] +=
			    look_up(s->table + i, bits[wide * k + i / EIGHT]);
}

static void draw_part(void *with, void *room, size_t from, size_t to)
{
	const struct slab *s = with;

	for (size_t k = from; k < to; k += BATCH)
		draw_batch(s, room, k, to - k < BATCH ? to - k : BATCH);
}

pd_status pd_flip_sums(const struct pd_permute_task *t, double *sum,
                       pd_error *err)
{
	size_t most = t->n < SLAB ? t->n : SLAB;
	size_t tables = (most + EIGHT * NEAR - 1) / (EIGHT * NEAR) * NEAR;
	struct slab s = { .task = t, .sum = sum };
	pd_status st = PD_OK;

	s.table = malloc(tables * sizeof *s.table);
	if (!s.table)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t k = 0; k < t->draws; k++)
		sum[k] = 0;
	for (; s.first < t->n && st == PD_OK; s.first += SLAB) {
		size_t left = t->n - s.first < SLAB ? t->n - s.first : SLAB;

		s.n_tables = (left + EIGHT * NEAR - 1) / (EIGHT * NEAR) * NEAR;
		fill_tables(&s);
		st = pd_share_out(t->draws, t->threads,
		                  BATCH * stride(&s) * sizeof(uint64_t),
		                  draw_part, &s, err);
	}
	free(s.table);
	return st;
}
