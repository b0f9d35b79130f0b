/*
 * limits.c - simulation cells of values below a limit of detection: the
 * censored regression, and the nested model with imputed values; half the
 * limit in their place, for comparison.
 */
#include "cell.h"

#include "stats/censored.h"
#include "stats/impute.h"
#include "stats/quantile.h"

#include <math.h>

static const double arm[2] = { 0, 1 };

/* About the value below which `share` of both arms together lies. */
static double limit_of(const sim_plan *plan)
{
	double v = sim_effect * sim_effect / 4;

	for (int k = 0; k < 3; k++)
		v += plan->sd[k] * plan->sd[k];
	return sim_effect / 2 + sqrt(v) * pd_normal_quantile(plan->share);
}

/* low[n], high[n] on the log scale; the values themselves are cut in y. */
static void cut(const sim_tree *t, double limit, double *low, double *high)
{
	for (size_t i = 0; i < t->n; i++) {
		low[i] = high[i] = t->y[i];
		if (t->y[i] < limit) {
			low[i] = -INFINITY;
			high[i] = limit;
		}
	}
}

static pd_status nested(const sim_tree *t, const double *y, pd_estimate *e)
{
	pd_nested_spec spec = { .n = t->n, .p = 2, .x = t->x, .y = y,
	                        .depth = 1 };
	pd_nested *m = NULL;

	spec.group[0] = t->patient;
	pd_status st = pd_nested_new(&spec, &m, NULL);

	if (st == PD_OK)
		st = pd_nested_fit(m, NULL);
	if (st == PD_OK)
		st = pd_nested_contrast(m, arm, 0.95, PD_KENWARD_ROGER, e,
		                        NULL);
	pd_nested_free(m);
	return st;
}

static void halves(const sim_tree *t, double limit, double *y)
{
	for (size_t i = 0; i < t->n; i++)
		y[i] = t->y[i] < limit ? limit - log(2) : t->y[i];
}

static void imputed(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                    sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	double low[SIM_ROWS], high[SIM_ROWS], half[SIM_ROWS];
	pd_impute *m = NULL;
	pd_estimate e = { 0 };

	if (!t) {
		sim_claim(&out[0], PD_NO_MEMORY, 0);
		sim_claim(&out[1], PD_NO_MEMORY, 0);
		return;
	}
	cut(t, limit_of(plan), low, high);
	pd_impute_spec spec = { .model = { .n = t->n, .p = 2, .x = t->x,
	                                   .depth = 1 },
	                        .low = low, .high = high,
	                        .seed = pd_stream_bits(s) };
	spec.model.group[0] = t->patient;
	pd_status st = pd_impute_fit(&spec, &m, NULL);

	if (st == PD_OK)
		st = pd_impute_contrast(m, arm, 0.95, PD_KENWARD_ROGER, &e,
		                        NULL);
	sim_estimate(&out[0], st, &e, sim_effect);
	pd_impute_free(m);
	halves(t, limit_of(plan), half);
	st = nested(t, half, &e);
	sim_estimate(&out[1], st, &e, sim_effect);
}

static void censored(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	const sim_plan *plan = cell->with;
	sim_tree *t = sim_grow(plan, s, arena);
	double low[SIM_ROWS], high[SIM_ROWS];
	pd_censored_fit fit;
	pd_estimate e = { 0 };
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	if (st == PD_OK) {
		cut(t, limit_of(plan), low, high);
		pd_censored_spec spec = { .n = t->n, .p = 2, .x = t->x,
		                          .low = low, .high = high };
		st = pd_censored_regression(arena, &spec, &fit, NULL);
	}
	if (st == PD_OK)
		st = pd_censored_contrast(&fit, arm, 0.95, &e, NULL);
	sim_estimate(&out[0], st, &e, sim_effect);
}

#define ROWS(k) { .patients = k, .cases_low = 1, .cases_high = 1,          \
	.rows_low = 1, .rows_high = 1, .sd = { 0, 0, 0.6 }, .share = 0.2,   \
	.between = 1 }
static const sim_plan rows_12 = ROWS(12), rows_40 = ROWS(40),
	rows_100 = ROWS(100);
static const sim_plan
	inside = { .patients = 12, .cases_low = 1, .cases_high = 1,
	           .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0.3 },
	           .share = 0.2 },
	outside = { .patients = 16, .cases_low = 1, .cases_high = 1,
	            .rows_low = 3, .rows_high = 5, .sd = { 0.45, 0, 0.3 },
	            .share = 0.2, .between = 1 },
	much = { .patients = 80, .cases_low = 1, .cases_high = 1,
	         .rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, 0.3 },
	         .share = 0.4 };

#define NORMAL_LAW { { "censored regression", SIM_NEAR, 0.95, 0, NULL } }
#define IMPUTED { { "imputed limits", SIM_NEAR, 0.95, 0, NULL },           \
                  { "half the limit put in", SIM_SHOWN, 0.95, 0, NULL } }

static const char few_rows[] =
	"maximum likelihood divides by the rows, not by what is left after "
	"the columns, and the normal law takes that scatter as known: 40 rows "
	"are enough";

static const sim_cell cells[] = {
	{ "12 rows, 20 % not detected", censored, &rows_12, 1200, 0, 1,
	  { { "censored regression", SIM_NEAR, 0.95, 0.9055, few_rows } } },
	{ "40 rows, 20 % not detected", censored, &rows_40, 1200, 0, 1,
	  NORMAL_LAW },
	{ "100 rows, 20 % not detected", censored, &rows_100, 1200, 0, 1,
	  NORMAL_LAW },
	{ "12 patients, 20 % not detected, arms inside", imputed, &inside,
	  1200, 0, 2, IMPUTED },
	{ "16 patients, 20 % not detected, 8 an arm", imputed, &outside,
	  1200, 0, 2, IMPUTED },
	{ "80 patients, 40 % not detected, arms inside", imputed, &much, 0, 0,
	  2, IMPUTED },
};
const sim_list sim_limits = SIM_LIST(cells);
