/* size_spread.c - how the clinic's own draws scatter: the spread of a trial. */
#include "plan/size_own.h"
#include "plan/fit.h"
#include "plan/method.h"
#include "plan/pairs.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <string.h>

enum { LEAST_PAIRS = 5 };

struct work {
	const pd_plan *plan;
	const pd_question *q;
	size_t pulls;
	pd_arena *arena, *scratch;
	pd_rows rows;
	pd_fit fit;
	size_t unit;             /* level both arms share, PD_ROWS_DEPTH: none */
	struct pd_size_spread *out;
	pd_size_answer *a;
};

static double not_shared(const struct pd_size_spread *s, double m)
{
	double v = s->rest * s->rest / m;

	for (size_t k = s->shared; k < s->n; k++)
		v += s->sd[k] * s->sd[k];
	return v;
}

double pd_size_spread(const struct pd_size_spread *s, size_t m)
{
	double v = not_shared(s, (double)m);

	return sqrt(s->paired ? 2 * v + s->own : v);
}

static void set_limits(pd_size_answer *a)
{
	double tail = (1 - a->level) / 2;

	a->sd_low = a->sd * sqrt(a->sd_df /
	                         pd_chisq_quantile(1 - tail, a->sd_df));
	a->sd_high = a->sd * sqrt(a->sd_df / pd_chisq_quantile(tail, a->sd_df));
}

/* Rows of each patient at each arm: out[2 * n_patients]. */
static pd_status count_rows(struct work *w, double *out, pd_error *err)
{
	if (!out)
		return no_memory(err);
	for (size_t i = 0; i < w->rows.n; i++)
		out[2 * (size_t)w->rows.group[0][i] + (size_t)w->rows.arm[i]]++;
	return PD_OK;
}

/*
 * What patients' differences should scatter by the components alone, given
 * how many pulls each had: mean of v (1 / n1 + 1 / n2), v the variance below
 * the unit. Pulls that share a level below it make it larger, so `own` errs to
 * the large side.
 */
static double expected(const struct work *w, const double *count)
{
	double v = not_shared(w->out, 1), sum = 0, n = 0;

	for (size_t p = 0; p < w->rows.n_groups[0]; p++) {
		const double *c = count + 2 * p;

		if (c[0] > 0 && c[1] > 0) {
			sum += v * (1 / c[0] + 1 / c[1]);
			n++;
		}
	}
	return n > 0 ? sum / n : 0;
}

static pd_status spread_of_pairs(struct work *w, pd_error *err)
{
	double *y = PD_NEW(w->scratch, double, w->rows.n + 1);
	double *residual = PD_NEW(w->scratch, double, w->rows.n + 1);
	double *count = PD_NEW(w->scratch, double,
	                       2 * w->rows.n_groups[0] + 1);
	pd_pairs pairs;
	pd_size_answer *a = w->a;
	pd_status st = count_rows(w, count, err);

	if (st == PD_OK && (!y || !residual))
		st = no_memory(err);
	if (st == PD_OK)
		st = pd_impute_completed(w->fit.model, y, residual, err);
	if (st == PD_OK)
		st = pd_pairs_make(&w->rows, w->unit, y, w->scratch, &pairs,
		                   err);
	if (st != PD_OK)
		return st;
	a->n_have = pairs.n;
	if (pairs.n < LEAST_PAIRS)
		return pd_size_refuse(a, pd_arena_print(
		    w->arena, "only %zu patients have both levels inside one %s: "
		    "too few to know how their differences scatter", pairs.n,
		    w->q->within), err);
	double sd = pd_summarise(pairs.diff, pairs.n).sd;

	w->out->own = fmax(sd * sd - expected(w, count), 0);
	a->sd_df = (double)pairs.n - 1;
	a->sd_words = pd_arena_print(
	    w->arena, "the %zu patients who have both inside one %s, brought "
	    "to %zu pull%s in each arm by the spreads below", pairs.n,
	    w->q->within, w->pulls, w->pulls == 1 ? "" : "s");
	return a->sd_words ? PD_OK : no_memory(err);
}

static pd_status spread_of_patients(struct work *w, pd_error *err)
{
	pd_size_answer *a = w->a;

	a->n_have = w->rows.n_groups[0];
	a->sd_df = (double)a->n_have - 2;
	a->sd_words = pd_arena_print(
	    w->arena, "the mixed model of %zu patients, adjusted as the "
	    "question says: the spreads below, with %zu pull%s a patient",
	    a->n_have, w->pulls, w->pulls == 1 ? "" : "s");
	return a->sd_words ? PD_OK : no_memory(err);
}

static pd_status take_components(struct work *w, pd_error *err)
{
	pd_size_answer *a = w->a;
	size_t n = w->fit.depth;
	const char **name = PD_NEW(w->arena, const char *, n + 1);
	double *sd = PD_NEW(w->arena, double, n + 1);

	if (!name || !sd)
		return no_memory(err);
	for (size_t k = 0; k < n; k++) {
		name[k] = pd_arena_print(w->arena, "between %ss",
		                         w->rows.level_name[w->fit.level[k]]);
		sd[k] = w->out->sd[k];
		if (!name[k])
			return no_memory(err);
	}
	name[n] = "within, and laboratory";
	sd[n] = w->out->rest;
	a->n_components = n + 1;
	a->component_name = name;
	a->component_sd = sd;
	return PD_OK;
}

/* Patients a year with a row of the question, over the last two years. */
static pd_status take_rate(struct work *w, pd_error *err)
{
	const pd_column *date = pd_frame_find(w->rows.model, "case_date");
	unsigned char *seen =
	    PD_NEW(w->scratch, unsigned char, w->rows.n_groups[0] + 1);
	double last = -INFINITY, n = 0;

	w->a->per_year = NAN;
	if (!seen)
		return no_memory(err);
	for (size_t i = 0; date && i < w->rows.n; i++)
		last = fmax(last, date->real[i]);
	for (size_t i = 0; date && i < w->rows.n; i++) {
		unsigned char *s = &seen[w->rows.group[0][i]];

		if (date->real[i] > last - 2 && !*s) {
			*s = 1;
			n++;
		}
	}
	if (n > 0)
		w->a->per_year = n / 2;
	return PD_OK;
}

static pd_status fit_rows(struct work *w, pd_error *err)
{
	pd_fit_ask ask = { .adjust = true, .within = w->q->within != NULL };
	pd_status st = pd_fit_run(w->plan, w->q, &w->rows, &ask, w->arena,
	                          w->scratch, &w->fit, err);

	w->a->refusal = w->fit.refusal;
	return st;
}

/* The levels' spreads; both arms of a pair share the unit and all above. */
static void read_components(struct work *w)
{
	struct pd_size_spread *s = w->out;

	s->paired = w->a->paired;
	s->n = w->fit.depth;
	s->rest = pd_impute_residual_sd(w->fit.model);
	for (size_t k = 0; k < s->n; k++) {
		s->sd[k] = pd_impute_level_sd(w->fit.model, k);
		if (s->paired && w->fit.level[k] <= w->unit)
			s->shared = k + 1;
	}
}

static pd_status spread(struct work *w, pd_error *err)
{
	pd_size_answer *a = w->a;
	pd_method m;
	pd_status st = pd_method_choose(w->plan, w->q, &w->rows, w->arena,
	                                w->scratch, &m, err);

	if (st != PD_OK)
		return st;
	w->unit = m.unit;
	a->refusal = m.refusal;
	if (!a->refusal)
		st = fit_rows(w, err);
	if (st != PD_OK || a->refusal)
		return st;
	read_components(w);
	st = take_components(w, err);
	if (st == PD_OK)
		st = a->paired ? spread_of_pairs(w, err)
		               : spread_of_patients(w, err);
	if (st == PD_OK && !a->refusal)
		st = take_rate(w, err);
	a->sd = pd_size_spread(w->out, w->pulls);
	if (st == PD_OK && !a->refusal && !(a->sd > 0))
		st = pd_size_refuse(a, "these results do not scatter at all", err);
	if (st == PD_OK && !a->refusal)
		set_limits(a);
	return st;
}

pd_status pd_size_measure(pd_store *store, const pd_plan *plan,
                          const pd_question *q, size_t pulls, pd_arena *arena,
                          pd_arena *scratch, struct pd_size_spread *out,
                          pd_size_answer *answer, pd_error *err)
{
	struct work w = { .plan = plan, .q = q, .pulls = pulls, .arena = arena,
		          .scratch = scratch, .unit = PD_ROWS_DEPTH,
		          .out = out, .a = answer };

	memset(out, 0, sizeof *out);
	pd_status st = pd_rows_take(store, q, arena, scratch, &w.rows, err);

	if (st == PD_OK)
		st = spread(&w, err);
	pd_fit_clear(&w.fit);
	pd_rows_clear(&w.rows);
	return st;
}
