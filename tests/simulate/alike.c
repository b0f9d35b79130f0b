/*
 * alike.c - simulation cells of the intraclass correlation: exact limits of
 * pairs, profile limits down a tree.
 */
#include "cell.h"

#include "stats/icc.h"
#include "stats/nested_profile.h"

#include <math.h>

enum { MOST = 64 };

typedef struct design {
	size_t n;
	double icc, shift; /* of a pair; of the second arm throughout         */
	int tails;         /* patients and differences are t, 5 df            */
} design;

static double scatter(pd_stream *s, int tails)
{
	double z = pd_stream_normal(s);

	return tails ? z / sqrt(pd_stream_chisq(s, 5) / 3) : z;
}

static void of_pairs(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	static const pd_icc_kind kind[] = { PD_ICC_CONSISTENT,
		                            PD_ICC_ONE_WAY };
	const design *d = cell->with;
	double v[2 * MOST], between = sqrt(d->icc), within = sqrt(1 - d->icc);

	(void)arena;
	for (size_t i = 0; i < d->n; i++) {
		double patient = between * scatter(s, d->tails);

		for (size_t j = 0; j < 2; j++)
			v[2 * i + j] = patient + d->shift * (double)j +
			               within * scatter(s, d->tails);
	}
	for (size_t k = 0; k < cell->n_methods; k++) {
		pd_icc g = { 0 };
		pd_status st = pd_icc_of(v, d->n, 2, kind[k], 0.95, &g, NULL);

		sim_interval(&out[k], st, g.low, g.high, d->icc);
	}
}

/* Shares of patients, and of patients and cases, of a tree. */
static void of_tree(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                    sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_nested *m = NULL;
	pd_status st = PD_NO_MEMORY;
	double v[3], sum = 0;

	if (t) {
		pd_nested_spec spec = { .n = t->n, .p = 2, .x = t->x,
			                .y = t->y, .depth = 2,
			                .group = { t->patient, t->visit } };

		st = pd_nested_new(&spec, &m, NULL);
		if (st == PD_OK)
			st = pd_nested_fit(m, NULL);
	}
	for (size_t k = 0; k < 3; k++)
		sum += v[k] = plan->sd[k] * plan->sd[k];
	for (size_t k = 0; k < cell->n_methods; k++) {
		pd_profile p = { 0 };
		pd_status one = st == PD_OK
		    ? pd_nested_profile_share(m, k, true, 0.95, &p, NULL) : st;

		sim_interval(&out[k], one, p.e.low, p.e.high,
		             (v[0] + (k ? v[1] : 0)) / sum);
	}
	pd_nested_free(m);
}

static const design twelve = { 12, 0.7, 0, 0 }, forty = { 40, 0.3, 0, 0 },
	shifted = { 12, 0.7, 0.8, 0 }, tails = { 40, 0.7, 0, 1 };
static const sim_plan thirty = { .patients = 30, .cases_low = 2,
	                         .cases_high = 2, .rows_low = 2,
	                         .rows_high = 3, .sd = { 0.45, 0.2, 0.3 } };

#define BOTH { { "F limits, level taken off", SIM_NEAR, 0.95, 0, NULL },    \
               { "F limits, one way", SIM_NEAR, 0.95, 0, NULL } }

static const char long_tails[] =
	"the F law is that of normal patients and differences; with long tails "
	"the limits are too narrow and more patients do not mend it";

static const sim_cell cells[] = {
	{ "12 pairs, correlation 0.7", of_pairs, &twelve, 2000, 0, 2, BOTH },
	{ "40 pairs, correlation 0.3", of_pairs, &forty, 2000, 0, 2, BOTH },
	{ "12 pairs, one level higher", of_pairs, &shifted, 2000, 0, 1,
	  { { "F limits, level taken off", SIM_NEAR, 0.95, 0, NULL } } },
	{ "40 pairs alike, heavy tails", of_pairs, &tails, 2000, 0, 1,
	  { { "F limits, level taken off", SIM_NEAR, 0.95, 0.87, long_tails } } },
	{ "30 patients, 2 cases each", of_tree, &thirty, 1200, 5, 2,
	  { { "profile, patients' share", SIM_NEAR, 0.95, 0, NULL },
	    { "profile, patients and cases", SIM_NEAR, 0.95, 0, NULL } } },
};
const sim_list sim_alike = SIM_LIST(cells);
