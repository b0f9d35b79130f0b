/*
 * run.c - sets of a cell on several threads, and what their counts mean.
 */
#include "run.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 25, MOST_THREADS = 16 };

/* One block of sets: summed alone, so that threads cannot change a sum. */
typedef struct block {
	sim_count count[SIM_METHODS];
	double long_n[SIM_METHODS]; /* intervals with both ends              */
} block;

typedef struct work {
	const sim_cell *cell;
	uint64_t seed, sets;
	block *block;
	size_t n_blocks, next;
	int out_of_memory;
	pthread_mutex_t door;
} work;

/* FNV-1a of the cell's name. */
static uint64_t seed_of(const char *name)
{
	uint64_t h = 1469598103934665603u;

	for (; *name; name++)
		h = (h ^ (unsigned char)*name) * 1099511628211u;
	return h;
}

static void count_one(block *b, size_t k, const sim_answer *a)
{
	sim_count *c = &b->count[k];

	c->sets++;
	if (a->status != PD_OK)
		return;
	c->answered++;
	c->hits += a->hit != 0;
	c->not_finite += a->not_finite != 0;
	if (isfinite(a->length)) {
		c->length += a->length;
		b->long_n[k]++;
	}
}

static void one_block(work *w, size_t which, pd_arena *arena)
{
	block *b = &w->block[which];
	uint64_t from = which * BLOCK, to = from + BLOCK;

	for (uint64_t i = from; i < to && i < w->sets; i++) {
		pd_arena_mark here = pd_arena_here(arena);
		sim_answer a[SIM_METHODS] = { 0 };
		pd_stream s;

		pd_stream_init(&s, w->seed, i);
		w->cell->trial(w->cell, &s, arena, a);
		for (size_t k = 0; k < w->cell->n_methods; k++)
			count_one(b, k, &a[k]);
		pd_arena_rewind(arena, here);
	}
}

static void *worker(void *with)
{
	work *w = with;
	pd_arena *arena = pd_arena_new();

	for (;;) {
		pthread_mutex_lock(&w->door);
		size_t which = w->next++;

		if (!arena)
			w->out_of_memory = 1;
		pthread_mutex_unlock(&w->door);
		if (!arena || which >= w->n_blocks)
			break;
		one_block(w, which, arena);
	}
	pd_arena_free(arena);
	return NULL;
}

static void add_up(const work *w, sim_count *out)
{
	for (size_t k = 0; k < w->cell->n_methods; k++) {
		double n = 0;

		out[k] = (sim_count){ 0 };
		for (size_t i = 0; i < w->n_blocks; i++) {
			const sim_count *c = &w->block[i].count[k];

			out[k].sets += c->sets;
			out[k].answered += c->answered;
			out[k].hits += c->hits;
			out[k].not_finite += c->not_finite;
			out[k].length += c->length;
			n += w->block[i].long_n[k];
		}
		out[k].length = n > 0 ? out[k].length / n : NAN;
	}
}

pd_status sim_run(const sim_cell *cell, uint64_t sets, unsigned threads,
                  sim_count *out)
{
	work w = { .cell = cell, .seed = seed_of(cell->name), .sets = sets,
	           .n_blocks = (size_t)((sets + BLOCK - 1) / BLOCK),
	           .door = PTHREAD_MUTEX_INITIALIZER };
	pthread_t thread[MOST_THREADS];
	unsigned started = 0;

	w.block = calloc(w.n_blocks + 1, sizeof *w.block);
	if (!w.block)
		return PD_NO_MEMORY;
	if (threads < 1 || threads > MOST_THREADS)
		threads = 1;
	while (started < threads &&
	       !pthread_create(&thread[started], NULL, worker, &w))
		started++;
	for (unsigned i = 0; i < started; i++)
		pthread_join(thread[i], NULL);
	add_up(&w, out);
	free(w.block);
	if (w.out_of_memory)
		return PD_NO_MEMORY;
	return started == threads ? PD_OK : PD_INTERNAL;
}

/* ---- what the counts mean ---------------------------------------------- */

double sim_binomial(uint64_t k, uint64_t n, double p)
{
	double sum = 0, all = lgamma((double)n + 1);

	for (uint64_t i = 0; i <= k && i <= n; i++)
		sum += exp(all - lgamma((double)i + 1) -
		           lgamma((double)(n - i) + 1) +
		           (double)i * log(p) + (double)(n - i) * log1p(-p));
	return fmin(sum, 1);
}

/* P(X >= k). */
static double at_least(uint64_t k, uint64_t n, double p)
{
	return sim_binomial(n - k, n, 1 - p);
}

sim_word sim_judge(const sim_method *m, const sim_count *c)
{
	double share = (double)c->hits / (double)c->answered;
	int keeps = 0;

	if (m->rule == SIM_SHOWN)
		return SIM_ALONE;
	if (!c->answered)
		return SIM_MISSES;
	switch (m->rule) {
	case SIM_NEAR:
		keeps = fabs(share - m->asked) <= 0.01 + 1e-12;
		break;
	case SIM_LEAST:
		keeps = sim_binomial(c->hits, c->answered, m->asked) >= 1e-3;
		break;
	case SIM_MOST:
		keeps = at_least(c->hits, c->answered, m->asked) >= 1e-3;
		break;
	case SIM_SHOWN:
		break;
	}
	return keeps ? SIM_KEEPS : SIM_MISSES;
}

/* Smallest count that is not below what chance 1e-4 allows at share p. */
static uint64_t lowest(uint64_t n, double p)
{
	uint64_t k = (uint64_t)((double)n * p);

	while (k > 0 && sim_binomial(k - 1, n, p) > 1e-4)
		k--;
	return k;
}

void sim_limits_of(const sim_method *m, uint64_t n, uint64_t *least,
                   uint64_t *most, double *weak)
{
	double low = m->asked, high = m->asked;

	if (m->known > 0) {
		low = m->known - 0.005;
		high = fmin(m->known + 0.005, 1 - 1e-9);
	}
	*least = lowest(n, low);
	*most = n - lowest(n, 1 - high);
	if (m->known <= 0 && m->rule == SIM_LEAST)
		*most = n;
	if (m->known <= 0 && m->rule == SIM_MOST)
		*least = 0;
	if (m->rule == SIM_SHOWN) {
		*least = 0;
		*most = n;
	}
	if (m->known > 0 || m->rule == SIM_SHOWN)
		*weak = 0;
	else if (m->rule == SIM_MOST)
		*weak = sim_binomial(*most, n, 2 * m->asked);
	else
		*weak = at_least(*least, n, 2 * m->asked - 1);
}
