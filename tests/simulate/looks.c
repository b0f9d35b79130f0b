/*
 * looks.c - simulation cells of several looks at growing data: how often
 * something is claimed at any of them when there is nothing.
 */
#include "cell.h"

#include "stats/anytime.h"
#include "stats/paired.h"
#include "stats/quantile.h"
#include "stats/sequential.h"

#include <math.h>
#include <pthread.h>

enum { MOST_LOOKS = 12, A_LOOK = 10, MOST_PAIRS = MOST_LOOKS * A_LOOK };

typedef struct design {
	size_t looks;
	int known;      /* the spread is known                               */
	size_t slot;
} design;

/* Boundaries, made once for each number of looks. */
static struct bounds {
	int made;
	pd_status status;
	double cautious[MOST_LOOKS], even[MOST_LOOKS];
} bound[3];
static pthread_mutex_t door = PTHREAD_MUTEX_INITIALIZER;

static const struct bounds *bounds_of(const design *d)
{
	static const pd_spending_plan cautious = {
		PD_SPEND_OBRIEN_FLEMING, 0, 0.025, 2 };
	static const pd_spending_plan even = { PD_SPEND_POCOCK, 0, 0.025, 2 };
	struct bounds *b = &bound[d->slot];
	double t[MOST_LOOKS];

	pthread_mutex_lock(&door);
	if (!b->made) {
		for (size_t k = 0; k < d->looks; k++)
			t[k] = (double)(k + 1);
		b->status = pd_sequential_bounds(&cautious, t, d->looks,
		                                 t[d->looks - 1], 1,
		                                 b->cautious, NULL);
		if (b->status == PD_OK)
			b->status = pd_sequential_bounds(&even, t, d->looks,
			                                 t[d->looks - 1], 1,
			                                 b->even, NULL);
		b->made = 1;
	}
	pthread_mutex_unlock(&door);
	return b;
}

/* The standardised mean of the first n pairs. */
static pd_status standardised(const double *x, size_t n, int known, double *z,
                              pd_estimate *e)
{
	pd_status st = pd_paired_mean(x, n, 0.95, e, NULL);

	if (st == PD_OK && known) {
		e->se = 1 / sqrt((double)n);
		*z = e->value / e->se;
	} else if (st == PD_OK) {
		double tail = pd_t_upper(fabs(e->value) / e->se, e->df);

		*z = copysign(-pd_normal_quantile(tail), e->value);
	}
	return st;
}

static void any_look(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	const design *d = cell->with;
	const struct bounds *b = bounds_of(d);
	double x[MOST_PAIRS], r = pd_anytime_tuning(4 * A_LOOK, 0.05);
	int claim[4] = { 0 };
	pd_status st = b->status;

	(void)arena;
	for (size_t k = 0; st == PD_OK && k < d->looks; k++) {
		double z = 0;
		pd_estimate e = { 0 };

		for (size_t i = k * A_LOOK; i < (k + 1) * A_LOOK; i++)
			x[i] = pd_stream_normal(s);
		st = standardised(x, (k + 1) * A_LOOK, d->known, &z, &e);
		pd_estimate a = pd_anytime_interval(e.value, e.se, r, 0.95);

		claim[0] |= fabs(z) >= b->cautious[k];
		claim[1] |= fabs(z) >= b->even[k];
		claim[2] |= a.low > 0 || a.high < 0;
		claim[3] |= fabs(z) >= 1.959963984540054;
	}
	for (size_t k = 0; k < 4; k++)
		sim_claim(&out[k], st, claim[k]);
}

static const design four = { 4, 1, 0 }, eight = { 8, 1, 1 },
	twelve = { 12, 1, 2 }, four_own = { 4, 0, 0 }, eight_own = { 8, 0, 1 },
	twelve_own = { 12, 0, 2 };

#define LOOKS { { "O'Brien-Fleming spending", SIM_MOST, 0.05, 0, NULL },   \
                { "Pocock spending", SIM_MOST, 0.05, 0, NULL },            \
                { "interval for any time", SIM_MOST, 0.05, 0, NULL },      \
                { "each look at 5 %", SIM_SHOWN, 0.05, 0, NULL } }

static const sim_cell cells[] = {
	{ "4 looks, spread known", any_look, &four, 2000, 0, 4, LOOKS },
	{ "8 looks, spread known", any_look, &eight, 2000, 0, 4, LOOKS },
	{ "12 looks, spread known", any_look, &twelve, 2000, 0, 4, LOOKS },
	{ "4 looks, 10 pairs each", any_look, &four_own, 2000, 0, 4, LOOKS },
	{ "8 looks, 10 pairs each", any_look, &eight_own, 2000, 0, 4, LOOKS },
	{ "12 looks, 10 pairs each", any_look, &twelve_own, 2000, 0, 4,
	  LOOKS },
};
const sim_list sim_looks = SIM_LIST(cells);
