/*
 * counts.c - simulation cells of colony counts: patients that differ, sparse
 * and plentiful dishes, rows without patients, one or two single counts.
 */
#include "cell.h"

#include "stats/count_mixed.h"
#include "stats/counts.h"
#include "stats/quantile.h"

#include <math.h>

static const double arm[2] = { 0, 1 };

static void count_rows(const sim_plan *plan, sim_tree *t, pd_stream *s)
{
	for (size_t i = 0; i < t->n; i++)
		t->y[i] = sim_negative_binomial(
			s, plan->mean * exp(t->mean[i]), plan->theta);
}

static void with_patients(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                          sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_mixed_fit fit;
	pd_mixed_spec spec = { .rows = { .p = 2,
	                                 .extra = isfinite(plan->theta) } };
	pd_mixed_side side;
	pd_estimate e = { 0 };
	pd_status st = t ? PD_OK : PD_NO_MEMORY, one;

	if (st == PD_OK) {
		count_rows(plan, t, s);
		spec.rows.n = t->n;
		spec.rows.x = t->x;
		spec.rows.y = t->y;
		spec.group = t->patient;
		st = pd_count_mixed(arena, &spec, &fit, NULL);
	}
	one = st;
	if (one == PD_OK)
		one = pd_count_mixed_small(&spec, &fit, arm, 0.95, &e, &side,
		                           NULL);
	sim_estimate(&out[0], one, &e, sim_effect);
	if (st == PD_OK)
		st = pd_count_mixed_contrast(&fit, arm, 0.95, &e, NULL);
	sim_estimate(&out[1], st, &e, sim_effect);
}

static void without_patients(const sim_cell *cell, pd_stream *s,
                             pd_arena *arena, sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_count_fit fit;
	pd_estimate e = { 0 };
	double low = 0, high = 0;
	pd_status st = t ? PD_OK : PD_NO_MEMORY, profile;
	pd_count_spec spec = { .p = 2, .extra = isfinite(plan->theta) };

	if (st == PD_OK) {
		count_rows(plan, t, s);
		spec.n = t->n;
		spec.x = t->x;
		spec.y = t->y;
		st = pd_count_regression(arena, &spec, &fit, NULL);
	}
	profile = st;
	if (st == PD_OK) {
		st = pd_count_contrast(&fit, arm, 0.95, &e, NULL);
		profile = pd_count_profile(&spec, &fit, 1, 0.95, &low, &high,
		                           NULL);
	}
	sim_interval(&out[0], profile, low, high, sim_effect);
	sim_estimate(&out[1], st, &e, sim_effect);
}

static void two_counts(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                       sim_answer *out)
{
	const sim_plan *plan = cell->with;
	double y = sim_poisson(s, plan->mean * 2);
	double x = sim_poisson(s, plan->mean * exp(sim_effect));
	pd_two_counts r = pd_compare_two_counts(x, 1, y, 2, 0.95);

	(void)arena;
	/* two zeros say nothing: the room answers NaN, as its header says */
	sim_interval(&out[0], x + y > 0 ? PD_OK : PD_REFUSED, r.low, r.high,
	             exp(sim_effect));
}

static void one_count(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                      sim_answer *out)
{
	const sim_plan *plan = cell->with;
	double low, high, k = sim_poisson(s, plan->mean), of = 0;

	(void)arena;
	pd_poisson_limits(k, 1, 0.95, &low, &high);
	sim_interval(&out[0], PD_OK, low, high, plan->mean);
	for (int i = 0; i < 20; i++)
		of += pd_stream_uniform(s) < plan->share;
	pd_binomial_limits(of, 20, 0.95, &low, &high);
	sim_interval(&out[1], PD_OK, low, high, plan->share);
	pd_wilson_limits(of, 20, 0.95, &low, &high);
	sim_interval(&out[2], PD_OK, low, high, plan->share);
}

static void dishes(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                   sim_answer *out)
{
	const sim_plan *plan = cell->with;
	double k[4];

	(void)arena;
	for (int i = 0; i < 4; i++)
		k[i] = sim_poisson(s, plan->mean);
	pd_dispersion d = pd_count_dispersion(k, 4);

	sim_claim(&out[0], isnan(d.p) ? PD_REFUSED : PD_OK, d.p < 0.05);
}

#define PATIENTS(mu) { .patients = 20, .cases_low = 1, .cases_high = 1,    \
	.rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0 }, .mean = mu,    \
	.theta = 20 }
static const sim_plan nb_1 = PATIENTS(1), nb_5 = PATIENTS(5),
	nb_30 = PATIENTS(30);
static const sim_plan
	poisson_8 = { .patients = 8, .cases_low = 1, .cases_high = 1,
	              .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0 },
	              .mean = 5, .theta = INFINITY },
	out_8 = { .patients = 8, .cases_low = 1, .cases_high = 1,
	          .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0 },
	          .mean = 5, .theta = 20, .between = 1 },
	out_12 = { .patients = 12, .cases_low = 1, .cases_high = 1,
	           .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0 },
	           .mean = 5, .theta = 20, .between = 1 },
	out_20 = { .patients = 20, .cases_low = 1, .cases_high = 1,
	           .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0 },
	           .mean = 5, .theta = 20, .between = 1 },
	out_40 = { .patients = 40, .cases_low = 1, .cases_high = 1,
	           .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0 },
	           .mean = 5, .theta = 20, .between = 1 },
	rows_16 = { .patients = 16, .cases_low = 1, .cases_high = 1,
	            .rows_low = 1, .rows_high = 1, .between = 1, .mean = 8,
	            .theta = 5 },
	rows_40 = { .patients = 40, .cases_low = 1, .cases_high = 1,
	            .rows_low = 1, .rows_high = 1, .between = 1, .mean = 8,
	            .theta = 5 },
	poisson_12 = { .patients = 12, .cases_low = 1, .cases_high = 1,
	               .rows_low = 1, .rows_high = 1, .between = 1, .mean = 8,
	               .theta = INFINITY },
	few = { .mean = 6, .share = 0.15 }, more = { .mean = 25, .share = 0.4 };

#define WALD { { "t for few patients", SIM_NEAR, 0.95, 0, NULL },          \
               { "normal law", SIM_NEAR, 0.95, 0, NULL } }
#define BOTH { { "profile of the likelihood", SIM_NEAR, 0.95, 0, NULL },   \
               { "normal law", SIM_SHOWN, 0.95, 0, NULL } }
#define EXACT { { "exact ratio of two counts", SIM_LEAST, 0.95, 0, NULL } }
#define SINGLE { { "exact limits of a count", SIM_LEAST, 0.95, 0, NULL },  \
                 { "exact limits of a share", SIM_LEAST, 0.95, 0, NULL },  \
                 { "score limits of a share", SIM_SHOWN, 0.95, 0, NULL } }
#define DISHES { { "dishes scatter too much", SIM_MOST, 0.05, 0, NULL } }

static const char few_rows[] =
	"the extra scatter of the negative binomial law is taken as known at "
	"its estimate, which from so few rows is too low; 40 rows are enough";
static const char few_patients[] =
	"a comparison between patients rests on the scatter between them, "
	"which maximum likelihood puts too low from few patients and the "
	"normal law takes as known; the t interval for few patients is there "
	"for this";
static const char wide[] =
	"few patients with few colonies: the t interval is meant to be wide "
	"rather than narrow there";
#define BETWEEN(known) { { "t for few patients", SIM_NEAR, 0.95, 0, NULL }, \
	{ "normal law", SIM_NEAR, 0.95, known, few_patients } }

static const sim_cell cells[] = {
	{ "20 patients, mean 1 colony", with_patients, &nb_1, 1200, 0, 2,
	  { { "t for few patients", SIM_NEAR, 0.95, 0.9606, wide },
	    { "normal law", SIM_NEAR, 0.95, 0, NULL } } },
	{ "20 patients, mean 5 colonies", with_patients, &nb_5, 1200, 0, 2,
	  WALD },
	{ "20 patients, mean 30 colonies", with_patients, &nb_30, 1200, 0, 2,
	  WALD },
	{ "8 patients, counts, arms inside", with_patients, &poisson_8, 1200, 0,
	  2, { { "t for few patients", SIM_NEAR, 0.95, 0.9657, wide },
	       { "normal law", SIM_NEAR, 0.95, 0, NULL } } },
	{ "8 patients, counts, 4 an arm", with_patients, &out_8, 1200, 0, 2,
	  { { "t for few patients", SIM_NEAR, 0.95, 0.9617, wide },
	    { "normal law", SIM_NEAR, 0.95, 0.8705, few_patients } } },
	{ "12 patients, counts, 6 an arm", with_patients, &out_12, 1200, 0, 2,
	  BETWEEN(0.8968) },
	{ "20 patients, counts, 10 an arm", with_patients, &out_20, 1200, 0, 2,
	  BETWEEN(0.9223) },
	{ "40 patients, counts, 20 an arm", with_patients, &out_40, 1200, 0, 2,
	  BETWEEN(0.934) },
	{ "16 rows of counts, 8 an arm", without_patients, &rows_16, 1200, 0,
	  2, { { "profile of the likelihood", SIM_NEAR, 0.95, 0.924,
	         few_rows },
	       { "normal law", SIM_SHOWN, 0.95, 0, NULL } } },
	{ "40 rows of counts, 20 an arm", without_patients, &rows_40, 1200, 0,
	  2, BOTH },
	{ "12 rows of plain counts", without_patients, &poisson_12, 1200, 0, 2,
	  BOTH },
	{ "two counts, 6 against 12", two_counts, &few, 2000, 0, 1, EXACT },
	{ "two counts, 25 against 50", two_counts, &more, 2000, 0, 1, EXACT },
	{ "one count near 6; 15 % of 20", one_count, &few, 2000, 0, 3,
	  SINGLE },
	{ "one count near 25; 40 % of 20", one_count, &more, 2000, 0, 3,
	  SINGLE },
	{ "four dishes near 6", dishes, &few, 2000, 0, 1, DISHES },
	{ "four dishes near 25", dishes, &more, 2000, 0, 1, DISHES },
};
const sim_list sim_counts = SIM_LIST(cells);
