/* sense.c - one function a line of the sensitivity set, and their order. */
#include "plan/sense.h"
#include "plan/notes.h"
#include "stats/bootstrap.h"
#include "stats/paired.h"
#include "stats/robust_cluster.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_LINES = 20, MOST_OPERATORS = 8, FLIPS = 20000, DRAWS = 9999 };
enum { FEW_UNITS = 30 }; /* docs/coverage.md: 93.4 % at 30 where 95 is asked */

struct work {
	const pd_plan *plan;
	const pd_question *q;
	const pd_rows *r;
	const pd_method *m;
	const pd_pairs *pairs;
	pd_arena *arena, *scratch;
	pd_answer *a;
};

static pd_sensitivity *line(struct work *w, pd_sense_way way,
                            const char *name)
{
	pd_sensitivity *s = &w->a->sensitivity[w->a->n_sensitivity++];

	s->way = way;
	s->name = name;
	s->value = s->low = s->high = s->p = NAN;
	return s;
}

static double shown(const struct work *w, double y)
{
	return w->q->scale == PD_RATIO ? exp(y) : y;
}

static void fill(struct work *w, pd_sensitivity *s, const pd_estimate *e)
{
	s->done = true;
	s->value = shown(w, e->value);
	s->low = shown(w, e->low);
	s->high = shown(w, e->high);
	s->p = e->p;
}

static void fill_rank(struct work *w, pd_sensitivity *s,
                      const pd_rank_result *r)
{
	s->done = true;
	s->value = shown(w, r->value);
	s->low = shown(w, r->low);
	s->high = shown(w, r->high);
	s->p = r->p;
}

/* One refit; what the data cannot tell becomes the line's note. */
static pd_status refit(struct work *w, pd_sense_way way, const char *name,
                       pd_fit_ask ask, const char *note, pd_error *err)
{
	pd_sensitivity *s = line(w, way, name);
	pd_arena *scratch = pd_arena_new();
	pd_fit fit;

	if (!scratch)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	ask.light = true;
	pd_status st = pd_fit_run(w->plan, w->q, w->r, &ask, w->arena, scratch,
	                          &fit, err);

	if (st == PD_OK) {
		s->note = fit.refusal ? fit.refusal : note;
		if (!fit.refusal)
			fill(w, s, &fit.effect[0]);
		pd_fit_clear(&fit);
	}
	pd_arena_free(scratch);
	return st;
}

/*
 * Colonies as counts, in the model of the answer's columns: how much does it
 * matter that the main model takes their logarithms?
 */
static pd_status as_counts(struct work *w, pd_fit_ask ask, pd_error *err)
{
	if (!w->r->counted)
		return PD_OK;
	/* the deeper level that scatters most in the answer's own model */
	for (size_t k = 1; k + 1 < w->a->n_components; k++)
		if (w->a->component_sd[k] > 0 &&
		    (!ask.inner || w->a->component_sd[k] >
		                       w->a->component_sd[ask.inner]))
			ask.inner = k;
	ask.counts = true;
	return refit(w, PD_SENSE_COUNTS,
	             "colonies as counts: negative binomial", ask,
	             "zeros and dishes too many to count are in it as counted",
	             err);
}

/* --- paired answers ----------------------------------------------------------- */

static pd_status signed_rank(struct work *w, pd_error *err)
{
	pd_sensitivity *s = line(w, PD_SENSE_SIGNED_RANK,
	                         "rank-based: signed-rank with "
	                         "Hodges-Lehmann interval");
	pd_rank_result r;
	pd_error inner = { 0 };
	pd_status st = pd_signed_rank(w->pairs->diff, w->pairs->n,
	                              w->plan->level, &r, &inner);

	st = pd_note_refusal(st, &inner, w->arena, &s->note, err);
	if (st != PD_OK || s->note)
		return st;
	fill_rank(w, s, &r);
	s->note = r.exact ? "exact" : "large-sample normal law";
	return PD_OK;
}

static pd_status sign_flip(struct work *w, pd_error *err)
{
	pd_sensitivity *s = line(w, PD_SENSE_FLIPS,
	                         "permutation: signs of the differences");
	pd_flip_result r;
	pd_error inner = { 0 };
	pd_status st = pd_sign_flip(w->pairs->diff, w->pairs->n, FLIPS,
	                            w->plan->seed, &r, &inner);

	st = pd_note_refusal(st, &inner, w->arena, &s->note, err);
	if (st != PD_OK || s->note)
		return st;
	s->done = true;
	s->p = r.p;
	s->note = r.exact ? "all sign patterns"
	                  : pd_arena_print(w->arena, "%d random sign patterns",
	                                   FLIPS);
	return PD_OK;
}

static pd_status drawn_anew(struct work *w, pd_error *err)
{
	pd_sensitivity *s = line(w, PD_SENSE_DRAWN,
	                         "bootstrap: patients drawn anew");
	pd_boot_plan plan = { .n_rows = w->pairs->n, .n_units = w->pairs->n,
		              .level = w->plan->level, .draws = DRAWS,
		              .seed = w->plan->seed };
	pd_boot b;
	pd_error inner = { 0 };
	pd_status st = pd_bootstrap_mean(&plan, w->pairs->diff, &b, &inner);

	st = pd_note_refusal(st, &inner, w->arena, &s->note, err);
	if (st != PD_OK || s->note)
		return st;
	s->done = true;
	s->value = shown(w, b.estimate);
	s->low = shown(w, b.low);
	s->high = shown(w, b.high);
	s->note = w->pairs->n <= FEW_UNITS
	    ? "too narrow: few patients"
	    : pd_arena_print(w->arena, "%zu samples", b.n_samples);
	return s->note ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* --- the model's effect with errors that do not rest on the model -------------- */

/* Borrowed model m; the words of a refusal, or the line filled. */
static pd_status robust_line(struct work *w, pd_sensitivity *s, pd_nested *m,
                             const double *contrast, pd_error *err)
{
	pd_clustered *robust = NULL;
	pd_estimate e;
	pd_error inner = { 0 };
	pd_status st = pd_clustered_nested(m, NULL, &robust, &inner);

	if (st == PD_OK)
		st = pd_clustered_contrast(robust, contrast, w->plan->level, &e,
		                           &inner);
	pd_clustered_free(robust);
	st = pd_note_refusal(st, &inner, w->arena, &s->note, err);
	if (st != PD_OK || s->note)
		return st;
	fill(w, s, &e);
	s->note = "holds whatever the results of one patient share";
	return PD_OK;
}

static pd_status robust_errors(struct work *w, pd_fit *fit, pd_error *err)
{
	pd_sensitivity *s = line(w, PD_SENSE_ROBUST,
	                         "errors counted by patient, not by the model");

	if (w->r->n_censored)
		s->note = "some results are limits; these errors want numbers";
	else if (fit->depth == 0)
		s->note = "one result a patient: nothing is shared";
	else
		return robust_line(w, s, pd_impute_first(fit->model),
		                   fit->contrast, err);
	return PD_OK;
}

/* Made alike in the adjusters by weights, not by the model's columns. */
static void weighed(struct work *w)
{
	const pd_weighing *g = w->a->weighing;

	if (!g)
		return;
	pd_sensitivity *s = line(w, PD_SENSE_WEIGHTS,
	                         "made alike by overlap weights");

	s->note = g->refusal ? g->refusal : g->left_out;
	if (!g->refusal)
		fill(w, s, &g->effect);
}

/* --- unpaired: patients in one arm only, rank-sum of their means --------------- */

static size_t one_arm_means(struct work *w, size_t arm, double *out)
{
	size_t np = w->r->n_groups[0], n = 0;
	double *sum = calloc(2 * np + 1, sizeof *sum);
	double *count = calloc(2 * np + 1, sizeof *count);

	for (size_t i = 0; sum && count && i < w->r->n; i++) {
		size_t at = 2 * (size_t)w->r->group[0][i] +
		            (size_t)w->r->arm[i];

		sum[at] += w->r->low[i];
		count[at] += 1;
	}
	for (size_t p = 0; sum && count && p < np; p++)
		if (count[2 * p + arm] > 0 && count[2 * p + 1 - arm] == 0)
			out[n++] = sum[2 * p + arm] / count[2 * p + arm];
	free(sum);
	free(count);
	return n;
}

static pd_status rank_sum(struct work *w, pd_error *err)
{
	pd_sensitivity *s = line(w, PD_SENSE_RANK_SUM,
	                         "rank-based, unadjusted: rank-sum of "
	                         "patients with one level only");
	double *a = PD_NEW(w->scratch, double, w->r->n_groups[0]);
	double *b = PD_NEW(w->scratch, double, w->r->n_groups[0]);
	pd_rank_result r;
	pd_error inner = { 0 };

	if (!a || !b)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (w->r->n_censored) {
		s->note = "some results are limits, so patients' means "
		          "cannot be ranked";
		return PD_OK;
	}
	size_t n = one_arm_means(w, 0, a), m = one_arm_means(w, 1, b);

	if (n < 5 || m < 5) {
		s->note = pd_arena_print(w->arena, "only %zu and %zu patients "
		                         "have one level only", n, m);
		return PD_OK;
	}
	pd_status st = pd_rank_sum(a, n, b, m, w->plan->level, &r, &inner);

	st = pd_note_refusal(st, &inner, w->arena, &s->note, err);
	if (st != PD_OK || s->note)
		return st;
	fill_rank(w, s, &r);
	s->note = "not adjusted: shows what the raw data say";
	return PD_OK;
}

/* --- subsets ----------------------------------------------------------------------- */

static pd_status first_cases(struct work *w, pd_fit_ask ask, pd_error *err)
{
	const pd_column *c = pd_frame_find(w->r->model, "repeat_case");
	unsigned char *keep = PD_NEW(w->scratch, unsigned char, w->r->n + 1);
	size_t n = 0;

	if (!c || !keep)
		return PD_OK;
	for (size_t i = 0; i < w->r->n; i++)
		n += keep[i] = c->real[i] == 0;
	if (n == w->r->n || n == 0)
		return PD_OK;
	ask.keep = keep;
	return refit(w, PD_SENSE_FIRST_CASES,
	             "first case of each patient only", ask, NULL, err);
}

static pd_status without_operators(struct work *w, pd_fit_ask ask,
                                   pd_error *err)
{
	const pd_column *c = pd_frame_find(w->r->model, "operator");
	pd_status st = PD_OK;

	if (!c || strcmp(w->q->parameter, "operator") == 0 ||
	    c->n_levels < 2 || c->n_levels > MOST_OPERATORS)
		return PD_OK;
	for (size_t k = 0; st == PD_OK && k < c->n_levels; k++) {
		unsigned char *keep =
		    PD_NEW(w->scratch, unsigned char, w->r->n + 1);
		char *name = pd_arena_print(w->arena, "without operator %s",
		                            c->level[k]);

		if (!keep || !name)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		for (size_t i = 0; i < w->r->n; i++)
			keep[i] = c->code[i] != (int32_t)k;
		ask.keep = keep;
		st = refit(w, PD_SENSE_WITHOUT_OPERATOR, name, ask, NULL, err);
	}
	return st;
}

static pd_status mixed_lines(struct work *w, pd_fit_ask ask, pd_error *err)
{
	pd_fit_ask other = ask;
	pd_status st = PD_OK;

	if (w->q->n_adjust || w->m->way == PD_WAY_WITHIN) {
		other.adjust = other.within = false;
		st = refit(w, PD_SENSE_UNADJUSTED,
		           "unadjusted, across patients", other,
		           "shows what adjusting changed", err);
	}
	if (st == PD_OK && w->r->arm && w->r->n_arms == 2 &&
	    w->m->way == PD_WAY_BETWEEN && !w->q->differs_by)
		st = rank_sum(w, err);
	if (st == PD_OK)
		weighed(w);
	if (st == PD_OK && ask.calendar) {
		other = ask;
		other.calendar = false;
		st = refit(w, PD_SENSE_NO_CALENDAR,
		           "without the calendar slope", other,
		           "a drift over the years counts as the change", err);
	}
	if (st == PD_OK && w->m->way == PD_WAY_BETWEEN && !ask.calendar &&
	    strcmp(w->q->parameter, "case_date") != 0) {
		other = ask;
		other.calendar = true;
		st = refit(w, PD_SENSE_CALENDAR, "with a calendar slope added",
		           other,
		           "a drift over the years is taken out", err);
	}
	if (st == PD_OK && w->r->n_censored) {
		other = ask;
		other.measured_only = true;
		st = refit(w, PD_SENSE_MEASURED,
		           "zeros and limits left out (biased)", other,
		           "only to see how much they matter", err);
	}
	return st;
}

pd_status pd_sense(const pd_plan *plan, const pd_question *q,
                   const pd_rows *rows, const pd_method *method,
                   const pd_pairs *pairs, pd_fit *fit, pd_arena *arena,
                   pd_arena *scratch, pd_answer *answer, pd_error *err)
{
	struct work w = { plan, q, rows, method, pairs, arena, scratch,
		          answer };
	pd_fit_ask ask = { .adjust = true, .calendar = !isnan(q->change),
		           .within = method->way != PD_WAY_BETWEEN };
	pd_status st = PD_OK;

	answer->sensitivity = PD_NEW(arena, pd_sensitivity, MOST_LINES);
	if (!answer->sensitivity)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (pairs) {
		if (isnan(q->floor)) /* ranks of shares are mostly ties */
			st = signed_rank(&w, err);
		if (st == PD_OK)
			st = sign_flip(&w, err);
		if (st == PD_OK)
			st = drawn_anew(&w, err);
		if (st == PD_OK)
			st = refit(&w, PD_SENSE_MODEL, "mixed model inside the unit",
			           ask,
			           "weights patients by their pulls", err);
		ask.adjust = ask.within = false;
		if (st == PD_OK)
			st = refit(&w, PD_SENSE_UNADJUSTED,
			           "unadjusted, across patients", ask,
			           "shows what pairing changed", err);
		ask.adjust = ask.within = true;
	} else {
		st = mixed_lines(&w, ask, err);
		if (st == PD_OK)
			st = robust_errors(&w, fit, err);
	}
	if (st == PD_OK)
		st = as_counts(&w, ask, err);
	if (st == PD_OK)
		st = first_cases(&w, ask, err);
	return st == PD_OK ? without_operators(&w, ask, err) : st;
}
