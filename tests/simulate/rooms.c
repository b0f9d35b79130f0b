/*
 * rooms.c - simulation cells of mixed models beyond the tree: operators that
 * meet all patients, profile limits, errors robust to what patients share,
 * methods that scatter unequally, two nested scatters of counts, limits of
 * detection with patients, arms made alike by weights.
 */
#include "cell.h"

#include "stats/censored_mixed.h"
#include "stats/count_nested.h"
#include "stats/crossed.h"
#include "stats/nested_profile.h"
#include "stats/nested_spread.h"
#include "stats/quantile.h"
#include "stats/robust_cluster.h"
#include "stats/weighting.h"

#include <math.h>

static const double arm[2] = { 0, 1 };

/* ---- operators across patients ------------------------------------------ */

enum { OPERATORS = 5 };

static void operators(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                      sim_answer *out)
{
	static const pd_df_method how[] = { PD_KENWARD_ROGER,
	                                    PD_SATTERTHWAITE };
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	int32_t who[SIM_ROWS];
	double effect[OPERATORS];
	pd_crossed *c = NULL;
	pd_crossed_spec spec = { .n_factors = 1, .factor = { who } };
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	for (int k = 0; k < OPERATORS; k++)
		effect[k] = plan->extra * pd_stream_normal(s);
	for (size_t i = 0; st == PD_OK && i < t->n; i++) {
		who[i] = (int32_t)pd_stream_below(s, OPERATORS);
		t->y[i] += effect[who[i]];
	}
	if (st == PD_OK) {
		spec.tree = (pd_nested_spec){ .n = t->n, .p = 2, .x = t->x,
		                              .y = t->y, .depth = 1 };
		spec.tree.group[0] = t->patient;
		st = pd_crossed_new(&spec, &c, NULL);
	}
	if (st == PD_OK)
		st = pd_crossed_fit(c, NULL);
	for (size_t k = 0; k < 2; k++) {
		pd_estimate e = { 0 };
		pd_status one = st;

		if (one == PD_OK)
			one = pd_crossed_contrast(c, arm, 0.95, how[k], &e,
			                          NULL);
		sim_estimate(&out[k], one, &e, sim_effect);
	}
	pd_crossed_free(c);
}

/* ---- profile limits and robust errors ----------------------------------- */

static pd_status fit(const sim_tree *t, pd_nested **out)
{
	pd_nested_spec spec = { .n = t->n, .p = 2, .x = t->x, .y = t->y,
	                        .depth = 1 };
	pd_nested *m = NULL;

	spec.group[0] = t->patient;
	pd_status st = pd_nested_new(&spec, &m, NULL);

	if (st == PD_OK)
		st = pd_nested_fit(m, NULL);
	*out = m;
	return st;
}

static void profiles(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_nested *m = NULL;
	pd_status st = t ? fit(t, &m) : PD_NO_MEMORY, one = st;
	pd_profile p = { 0 };

	if (one == PD_OK)
		one = pd_nested_profile_contrast(m, arm, 0.95, &p, NULL);
	sim_estimate(&out[0], one, &p.e, sim_effect);
	for (size_t at = 0; at < 2; at++) {
		one = st;
		if (one == PD_OK)
			one = pd_nested_profile_sd(m, at, 0, true, 0.95, &p,
			                           NULL);
		sim_estimate(&out[1 + at], one, &p.e, plan->sd[2 * at]);
	}
	pd_nested_free(m);
}

/* Rows of arm 1 scatter three times as much, and the scatter is shared: no
 * model here is right about it. */
static void clustered(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                      sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_clustered *c = NULL;
	pd_nested *m = NULL;
	pd_estimate e = { 0 };
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	for (size_t i = 0; st == PD_OK && i < t->n; i++) {
		double extra = t->x[2 * i + 1] > 0 ? 2 : 0;

		t->y[i] += extra * plan->sd[2] * pd_stream_normal(s);
	}
	if (st == PD_OK) {
		pd_clustered_spec spec = { .n = t->n, .p = 2, .x = t->x,
		                           .y = t->y,
		                           .cluster = t->patient };
		st = pd_clustered_new(&spec, &c, NULL);
	}
	if (st == PD_OK)
		st = pd_clustered_contrast(c, arm, 0.95, &e, NULL);
	sim_estimate(&out[0], st, &e, sim_effect);
	pd_clustered_free(c);
	c = NULL;
	st = t ? fit(t, &m) : PD_NO_MEMORY;
	if (st == PD_OK)
		st = pd_clustered_nested(m, NULL, &c, NULL);
	if (st == PD_OK)
		st = pd_clustered_contrast(c, arm, 0.95, &e, NULL);
	sim_estimate(&out[1], st, &e, sim_effect);
	pd_clustered_free(c);
	pd_nested_free(m);
}

/* ---- method versions that scatter unequally ----------------------------- */

/* Three of four rows of arm 1 were read by a method with three times the
 * scatter, and one of four of arm 0. */
static void unequal(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                    sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	int32_t class_of[SIM_ROWS];
	pd_nested_spec spec = { .p = 2, .depth = 1 };
	pd_unequal *u = NULL;
	pd_nested *m = NULL;
	pd_estimate e = { 0 };
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	for (size_t i = 0; st == PD_OK && i < t->n; i++) {
		double wide = t->x[2 * i + 1] > 0 ? 0.75 : 0.25;

		class_of[i] = pd_stream_uniform(s) < wide;
		if (class_of[i])
			t->y[i] += sqrt(8) * plan->sd[2] *
				pd_stream_normal(s);
	}
	if (st == PD_OK) {
		spec.n = t->n;
		spec.x = t->x;
		spec.y = t->y;
		spec.group[0] = t->patient;
		st = pd_nested_unequal(&spec, class_of, 2, 0.95, &u, NULL);
	}
	pd_status one = st;

	if (one == PD_OK)
		one = pd_unequal_contrast(u, arm, 0.95, PD_KENWARD_ROGER, &e,
		                          NULL);
	sim_estimate(&out[0], one, &e, sim_effect);
	sim_estimate(&out[1], st, u ? &u->by_class[1].log_ratio : &e, log(3));
	pd_unequal_free(u);
	st = t ? fit(t, &m) : PD_NO_MEMORY;
	if (st == PD_OK)
		st = pd_nested_contrast(m, arm, 0.95, PD_KENWARD_ROGER, &e,
		                        NULL);
	sim_estimate(&out[2], st, &e, sim_effect);
	pd_nested_free(m);
}

/* ---- counts within cases within patients -------------------------------- */

static void two_scatters(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                         sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_count_nested_fit fitted;
	pd_estimate e = { 0 };
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	if (st == PD_OK) {
		for (size_t i = 0; i < t->n; i++)
			t->y[i] = sim_poisson(s, plan->mean *
			                      exp(t->mean[i]));
		pd_count_nested_spec spec = {
			.rows = { .n = t->n, .p = 2, .x = t->x, .y = t->y },
			.outer = t->patient, .inner = t->visit };
		st = pd_count_nested(arena, &spec, &fitted, NULL);
	}
	if (st == PD_OK)
		st = pd_count_nested_contrast(&fitted, arm, 0.95, &e, NULL);
	sim_estimate(&out[0], st, &e, sim_effect);
}

/* ---- limits of detection with patients ---------------------------------- */

static void detected(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	double low[SIM_ROWS];
	double spread = plan->sd[0] * plan->sd[0] + plan->sd[2] * plan->sd[2] +
		sim_effect * sim_effect / 4;
	double limit = sim_effect / 2 +
		sqrt(spread) * pd_normal_quantile(plan->share);
	pd_censored_mixed_fit f;
	pd_estimate e = { 0 };
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	for (size_t i = 0; st == PD_OK && i < t->n; i++) {
		low[i] = t->y[i] < limit ? -INFINITY : t->y[i];
		t->y[i] = fmax(t->y[i], limit);
	}
	if (st == PD_OK) {
		pd_censored_mixed_spec spec = {
			.rows = { .n = t->n, .p = 2, .x = t->x, .low = low,
			          .high = t->y }, .group = t->patient };
		st = pd_censored_mixed(arena, &spec, &f, NULL);
	}
	if (st == PD_OK)
		st = pd_censored_mixed_contrast(&f, arm, 0.95, &e, NULL);
	sim_estimate(&out[0], st, &e, sim_effect);
}

/* ---- arms made alike by weights ----------------------------------------- */

enum { PEOPLE = 200 };

static void weighted(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	static const pd_target target[] = { PD_TARGET_OVERLAP,
	                                    PD_TARGET_ALL };
	const sim_plan *plan = cell->with;
	size_t n = plan->patients;
	double x[2 * PEOPLE], y[PEOPLE];
	int32_t in[PEOPLE];
	pd_logistic_data model = { .n = n, .p = 2, .x = x, .arm = in };
	pd_logistic *f = NULL;

	(void)arena;
	for (size_t i = 0; i < n; i++) {
		double age = pd_stream_normal(s);
		double chance = 1 / (1 + exp(-0.8 * age));

		x[2 * i] = 1;
		x[2 * i + 1] = age;
		in[i] = pd_stream_uniform(s) < chance;
		y[i] = sim_effect * in[i] + 0.5 * age +
			0.4 * pd_stream_normal(s);
	}
	pd_status st = pd_logistic_fit(&model, &f, NULL);

	for (size_t k = 0; k < 2; k++) {
		pd_weighted_data d = { .model = &model, .fit = f, .y = y,
		                       .target = target[k], .level = 0.95 };
		pd_weighted w = { 0 };
		pd_status one = st;

		if (one == PD_OK)
			one = pd_weighted_contrast(&d, &w, NULL);
		sim_estimate(&out[k], one, &w.estimate, sim_effect);
	}
	pd_logistic_free(f);
}

static const sim_plan
	across_in = { .patients = 12, .cases_low = 1, .cases_high = 1,
	              .rows_low = 3, .rows_high = 6, .sd = { 0.45, 0, 0.2 },
	              .extra = 0.12 },
	across_out = { .patients = 12, .cases_low = 1, .cases_high = 1,
	               .rows_low = 3, .rows_high = 6, .sd = { 0.45, 0, 0.2 },
	               .extra = 0.12, .between = 1 },
	ten = { .patients = 10, .cases_low = 1, .cases_high = 1,
	        .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0.2 } },
	forty = { .patients = 40, .cases_low = 1, .cases_high = 1,
	          .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0.2 } },
	shared_12 = { .patients = 12, .cases_low = 1, .cases_high = 1,
	              .rows_low = 2, .rows_high = 8, .slope_sd = 0.3,
	              .sd = { 0.45, 0, 0.2 } },
	shared_20 = { .patients = 20, .cases_low = 1, .cases_high = 1,
	              .rows_low = 2, .rows_high = 8, .between = 1,
	              .sd = { 0.45, 0, 0.2 } },
	classes = { .patients = 12, .cases_low = 1, .cases_high = 1,
	            .rows_low = 6, .rows_high = 6, .sd = { 0.45, 0, 0.15 } },
	colonies = { .patients = 15, .cases_low = 2, .cases_high = 2,
	             .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0.2, 0 },
	             .mean = 5 },
	limit_in = { .patients = 12, .cases_low = 1, .cases_high = 1,
	             .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0.3 },
	             .share = 0.2 },
	limit_out = { .patients = 16, .cases_low = 1, .cases_high = 1,
	              .rows_low = 3, .rows_high = 5, .sd = { 0.45, 0, 0.3 },
	              .share = 0.2, .between = 1 },
	people_40 = { .patients = 40 }, people_200 = { .patients = 200 };

#define DF_TWO { { "Kenward-Roger", SIM_NEAR, 0.95, 0, NULL },             \
                 { "Satterthwaite", SIM_NEAR, 0.95, 0, NULL } }
#define PROFILE { { "contrast, profile", SIM_NEAR, 0.95, 0, NULL },        \
                  { "patient sd, profile", SIM_NEAR, 0.95, 0, NULL },      \
                  { "row sd, profile", SIM_NEAR, 0.95, 0, NULL } }
#define ROBUST { { "least squares, CR2", SIM_NEAR, 0.95, 0, NULL },        \
                 { "mixed model, CR2", SIM_NEAR, 0.95, 0, NULL } }
#define UNEQUAL { { "scatter by class", SIM_NEAR, 0.95, 0, NULL },         \
                  { "ratio of the scatters", SIM_NEAR, 0.95, 0, NULL },    \
                  { "one scatter for all", SIM_SHOWN, 0.95, 0, NULL } }
#define ONE(method) { { method, SIM_NEAR, 0.95, 0, NULL } }
#define WEIGHTED { { "overlap weights", SIM_NEAR, 0.95, 0, NULL },         \
                   { "weights to everybody", SIM_NEAR, 0.95, 0, NULL } }

static const sim_cell cells[] = {
	{ "12 patients across 5 operators, arms inside", operators,
	  &across_in, 1200, 0, 2, DF_TWO },
	{ "12 patients across 5 operators, 6 an arm", operators, &across_out,
	  1200, 0, 2, DF_TWO },
	{ "10 patients, four draws, profiles", profiles, &ten, 1200, 0, 3,
	  PROFILE },
	{ "40 patients, four draws, profiles", profiles, &forty, 1200, 0, 3,
	  PROFILE },
	{ "12 patients, scatter no model knows", clustered, &shared_12, 1200,
	  0, 2, ROBUST },
	{ "20 patients, scatter no model knows, 10 an arm", clustered,
	  &shared_20, 1200, 0, 2, ROBUST },
	{ "12 patients, two methods of unequal scatter", unequal, &classes,
	  1200, 0, 3, UNEQUAL },
	{ "15 patients, 2 cases, mean 5 colonies", two_scatters, &colonies,
	  1200, 0, 1, ONE("likelihood, normal law") },
	{ "12 patients, limit with intercept, arms inside", detected,
	  &limit_in, 0, 0, 1, ONE("censored mixed model") },
	{ "16 patients, limit with intercept, 8 an arm", detected, &limit_out,
	  0, 0, 1, ONE("censored mixed model") },
	{ "40 people in two unlike arms", weighted, &people_40, 1200, 0, 2,
	  WEIGHTED },
	{ "200 people in two unlike arms", weighted, &people_200, 1200, 0, 2,
	  WEIGHTED },
};
const sim_list sim_rooms = SIM_LIST(cells);
