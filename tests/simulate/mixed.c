/*
 * mixed.c - simulation cells of the nested model: few patients, uneven trees,
 * a patient variance of zero, comparisons inside and between patients,
 * slopes that differ, and equivalence by the mixed model at the margin.
 */
#include "cell.h"

#include "stats/equivalence.h"
#include "stats/nested.h"

#include <math.h>

static pd_status fit(const sim_plan *plan, const sim_tree *t, int depth,
                     pd_nested **out)
{
	pd_nested_spec spec = { .n = t->n, .p = 2, .x = t->x, .y = t->y,
	                        .depth = (size_t)depth };
	pd_nested *m = NULL;

	*out = NULL;
	spec.group[0] = t->patient;
	if (depth > 1)
		spec.group[1] = t->visit;
	if (plan->slope_sd > 0) {
		spec.n_random[0] = 2;
		spec.z[0] = t->x;
	}
	pd_status st = pd_nested_new(&spec, &m, NULL);

	if (st == PD_OK)
		st = pd_nested_fit(m, NULL);
	if (st == PD_OK)
		*out = m;
	else
		pd_nested_free(m);
	return st;
}

static void contrast(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	static const pd_df_method how[] = { PD_KENWARD_ROGER, PD_SATTERTHWAITE,
	                                    PD_NORMAL };
	static const double c[2] = { 0, 1 };
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_nested *m = NULL;
	pd_status st = t ? fit(plan, t, plan->cases_high > 1 ? 2 : 1, &m)
	                 : PD_NO_MEMORY;

	for (size_t k = 0; k < cell->n_methods; k++) {
		pd_estimate e = { 0 };
		pd_status one = st;

		if (one == PD_OK)
			one = pd_nested_contrast(m, c, 0.95, how[k], &e, NULL);
		sim_estimate(&out[k], one, &e, sim_effect);
	}
	pd_nested_free(m);
}

/* The true ratio, 0.7, stands on the lower margin. */
static void on_margin(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                      sim_answer *out)
{
	static const double c[2] = { 0, 1 };
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	pd_nested *m = NULL;
	const pd_margin margin = { exp(sim_effect), exp(-sim_effect) };
	pd_estimate e = { 0 };
	pd_equivalence q = { 0 };
	pd_status st = t ? fit(plan, t, 2, &m) : PD_NO_MEMORY;

	if (st == PD_OK)
		st = pd_nested_contrast(m, c, 0.90, PD_KENWARD_ROGER, &e,
		                        NULL);
	if (st == PD_OK)
		st = pd_equivalence_of(&e, &margin, 0.05, &q, NULL);
	sim_claim(&out[0], st, q.inside);
	pd_nested_free(m);
}

static const sim_plan
	inside_8 = { .patients = 8, .cases_low = 2, .cases_high = 2,
	             .rows_low = 2, .rows_high = 2, .sd = { 0.45, 0.2, 0.2 } },
	between_8 = { .patients = 8, .cases_low = 2, .cases_high = 2,
	              .rows_low = 2, .rows_high = 2, .between = 1,
	              .sd = { 0.45, 0.2, 0.2 } },
	once_8 = { .patients = 8, .cases_low = 1, .cases_high = 1,
	           .rows_low = 4, .rows_high = 4, .between = 1,
	           .sd = { 0.45, 0, 0.2 } },
	uneven_in = { .patients = 10, .cases_low = 1, .cases_high = 3,
	              .rows_low = 1, .rows_high = 5, .sd = { 0.45, 0.2, 0.2 } },
	uneven_out = { .patients = 12, .cases_low = 1, .cases_high = 3,
	               .rows_low = 1, .rows_high = 5, .between = 1,
	               .sd = { 0.45, 0.2, 0.2 } },
	zero_in = { .patients = 12, .cases_low = 2, .cases_high = 2,
	            .rows_low = 2, .rows_high = 2, .sd = { 0, 0.2, 0.2 } },
	zero_out = { .patients = 12, .cases_low = 2, .cases_high = 2,
	             .rows_low = 2, .rows_high = 2, .between = 1,
	             .sd = { 0, 0.2, 0.2 } },
	zero_uneven = { .patients = 12, .cases_low = 1, .cases_high = 4,
	                .rows_low = 1, .rows_high = 4, .between = 1,
	                .sd = { 0, 0, 0.2 } },
	slopes = { .patients = 15, .cases_low = 1, .cases_high = 1,
	           .rows_low = 6, .rows_high = 6, .slope_sd = 0.25,
	           .sd = { 0.45, 0, 0.2 } },
	many = { .patients = 40, .cases_low = 1, .cases_high = 3,
	         .rows_low = 1, .rows_high = 4, .between = 1,
	         .sd = { 0.45, 0.2, 0.2 } };

#define DF_THREE { { "Kenward-Roger", SIM_NEAR, 0.95, 0, NULL },           \
                   { "Satterthwaite", SIM_NEAR, 0.95, 0, NULL },           \
                   { "normal law", SIM_SHOWN, 0.95, 0, NULL } }

static const char at_zero[] =
	"a variance that is 0 is estimated above 0 in about half of the sets "
	"and the comparison is then taken as less certain than it is: the "
	"interval is wide, never narrow";
#define AT_ZERO(kr, sat) { { "Kenward-Roger", SIM_NEAR, 0.95, kr, at_zero }, \
	{ "Satterthwaite", SIM_NEAR, 0.95, sat, at_zero },                   \
	{ "normal law", SIM_SHOWN, 0.95, 0, NULL } }

static const sim_cell cells[] = {
	{ "8 patients, arms inside visits", contrast, &inside_8, 1500, 0, 3,
	  DF_THREE },
	{ "8 patients, 4 an arm, two visits", contrast, &between_8, 1500, 0, 3,
	  DF_THREE },
	{ "8 patients, 4 an arm, four draws", contrast, &once_8, 1500, 0, 3,
	  DF_THREE },
	{ "10 patients, uneven, arms inside", contrast, &uneven_in, 1500, 0, 3,
	  DF_THREE },
	{ "12 patients, uneven, 6 an arm", contrast, &uneven_out, 1500, 0, 3,
	  DF_THREE },
	{ "no patient variance, arms inside", contrast, &zero_in, 1500, 0, 3,
	  DF_THREE },
	{ "no patient variance, 6 an arm", contrast, &zero_out, 1500, 0, 3,
	  AT_ZERO(0.9628, 0.9628) },
	{ "no variance but rows', uneven", contrast, &zero_uneven, 1500, 0, 3,
	  AT_ZERO(0.9695, 0.969) },
	{ "15 patients, effects that differ", contrast, &slopes, 1500, 0, 3,
	  DF_THREE },
	{ "40 patients, uneven, 20 an arm", contrast, &many, 1200, 0, 3,
	  DF_THREE },
	{ "8 patients on the margin", on_margin, &inside_8, 1500, 0, 1,
	  { { "claim of equivalence", SIM_MOST, 0.05, 0, NULL } } },
};
const sim_list sim_mixed = SIM_LIST(cells);
