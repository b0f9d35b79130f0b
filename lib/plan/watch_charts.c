/*
 * watch_charts.c - scores of values by their rank among those before them,
 * two charts of the scores, and where a shift they find began.
 */
#include "plan/watch.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Counts of ranks, added one by one and summed from below (Fenwick 1994,
 * Softw. Pract. Exp. 24, 327-336); places 1 .. n. */
struct counts {
	size_t n, *sum;
};

static void add(struct counts *c, size_t place)
{
	for (; place <= c->n; place += place & -place)
		c->sum[place]++;
}

static size_t below(const struct counts *c, size_t place)
{
	size_t all = 0;

	for (; place; place -= place & -place)
		all += c->sum[place];
	return all;
}

/* Standard errors the cases after a signal must stay away: a shift of 0.4
 * standard deviations passes for over in 1 of 9, no shift for held in 1 of 6. */
static const double STAYS = 1;

struct sorted {
	double v;
	size_t i;
};

static int by_value(const void *a, const void *b)
{
	const struct sorted *x = a, *y = b;

	if (x->v < y->v || x->v > y->v)
		return x->v < y->v ? -1 : 1;
	return x->i < y->i ? -1 : x->i > y->i;
}

struct run {
	size_t n, *rank;         /* dense rank of each value, from 1           */
	double *whole;           /* normal score of each among all             */
	struct counts seen;      /* ranks of the regime so far                 */
	size_t regime;           /* its first case                             */
	struct sorted *order;
};

static void run_clear(struct run *r)
{
	free(r->rank);
	free(r->whole);
	free(r->seen.sum);
	free(r->order);
}

static pd_status run_init(struct run *r, const double *v, size_t n,
                          pd_error *err)
{
	size_t dense = 0, from = 0;

	r->n = r->seen.n = n;
	r->rank = calloc(n + 1, sizeof *r->rank);
	r->whole = calloc(n + 1, sizeof *r->whole);
	r->seen.sum = calloc(n + 1, sizeof *r->seen.sum);
	r->order = calloc(n + 1, sizeof *r->order);
	if (!r->rank || !r->whole || !r->seen.sum || !r->order)
		return pd_fail(err, PD_NO_MEMORY, "out of memory charting");
	for (size_t i = 0; i < n; i++)
		r->order[i] = (struct sorted){ v[i], i };
	qsort(r->order, n, sizeof *r->order, by_value);
	for (size_t i = 0; i < n; i++) {
		dense += i == 0 || r->order[i].v > r->order[i - 1].v;
		r->rank[r->order[i].i] = dense;
	}
	/* ties share the middle of their places */
	for (size_t i = 1; i <= n; i++) {
		if (i < n && !(r->order[i].v > r->order[from].v))
			continue;
		double middle = 0.5 * (double)(from + i) / (double)n;

		for (; from < i; from++)
			r->whole[r->order[from].i] = pd_normal_quantile(middle);
	}
	return PD_OK;
}

/* The score of case i, which joins its regime. */
static double score(struct run *r, size_t i)
{
	add(&r->seen, r->rank[i]);
	double less = (double)below(&r->seen, r->rank[i] - 1);
	double same = (double)below(&r->seen, r->rank[i]) - less;

	return pd_normal_quantile((less + 0.5 * same) /
	                          (double)(i - r->regime + 1));
}

/* Where the regime up to case `at` parts best; later than its first case. */
static size_t likely_start(const struct run *r, size_t at)
{
	size_t m = at - r->regime + 1, best = at;
	double all = 0, before = 0, most = -1;

	for (size_t i = r->regime; i <= at; i++)
		all += r->whole[i];
	for (size_t i = r->regime; i < at; i++) {
		double n1 = (double)(i - r->regime + 1), n2 = (double)m - n1;

		before += r->whole[i];
		double apart = (all - before) / n2 - before / n1;
		double gain = apart * apart * n1 * n2 / (double)m;

		if (gain > most) {
			most = gain;
			best = i + 1;
		}
	}
	return best;
}

/* Cases from..at are the first of the new regime. */
static void renew(struct run *r, size_t from, size_t at)
{
	memset(r->seen.sum, 0, (r->n + 1) * sizeof *r->seen.sum);
	r->regime = from;
	for (size_t i = from; i <= at; i++)
		add(&r->seen, r->rank[i]);
}

static double mean_score(const struct run *r, size_t from, size_t to)
{
	double all = 0;

	for (size_t i = from; i < to; i++)
		all += r->whole[i];
	return all / (double)(to - from);
}

/* Did cases at+1 .. i stay where from .. at had gone, away from old .. from-1?
 * All normal scores have a standard deviation of 1. */
static bool stayed(const struct run *r, size_t old, const pd_watch_found *f,
                   size_t i)
{
	double before = mean_score(r, old, f->from);
	double moved = mean_score(r, f->from, f->at + 1) - before;
	double since = mean_score(r, f->at + 1, i + 1) - before;
	double se = sqrt(1 / (double)(i - f->at) + 1 / (double)(f->from - old));

	return (moved > 0 ? since : -since) > STAYS * se;
}

static size_t later(size_t a, size_t b)
{
	return a > b ? a : b;
}

pd_status pd_watch_chart(const double *v, size_t n, const pd_watch_limits *l,
                         double *up, double *down, double *average,
                         pd_watch_found *found, size_t room, size_t *n_found,
                         pd_error *err)
{
	struct run r = { 0 };
	double high = 0, low = 0, mean = 0;
	double half = l->limit * sqrt(l->lambda / (2 - l->lambda));
	size_t start = later(l->n_base, l->learn), old = 0, judged = 0;
	pd_watch_found last = { 0 };
	pd_status st = run_init(&r, v, n, err);

	*n_found = 0;
	for (size_t i = 0; st == PD_OK && i < n; i++) {
		double s = score(&r, i);

		if (judged && i == judged) {
			judged = 0;
			last.state = stayed(&r, old, &last, i) ? PD_SHIFT_HELD
			                                       : PD_SHIFT_PASSED;
			if (*n_found <= room)
				found[*n_found - 1].state = last.state;
			if (last.state == PD_SHIFT_PASSED)
				renew(&r, old, i);
		} else if (i >= start) {
			high = fmax(0, high + s - l->k);
			low = fmax(0, low - s - l->k);
			mean = l->lambda * s + (1 - l->lambda) * mean;
		}
		up[i] = high;
		down[i] = low;
		average[i] = mean;
		bool sums = high > l->h || low > l->h;
		bool far = fabs(mean) > half;

		if (!sums && !far)
			continue;
		last = (pd_watch_found){ i, likely_start(&r, i), sums, far,
			                 PD_SHIFT_RECENT };
		if (*n_found < room)
			found[*n_found] = last;
		++*n_found;
		old = r.regime;
		renew(&r, last.from, i);
		judged = i + l->learn;
		start = judged + 1;
		high = low = mean = 0;
	}
	run_clear(&r);
	return st;
}
