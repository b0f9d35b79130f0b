/*
 * answer_one.c - rows, method, fit, then the parts of the answer in the order
 * a reader meets them. Arrays live in a scratch arena of this question.
 */
#include "plan/answer_one.h"
#include "data/query.h"
#include "plan/describe.h"
#include "plan/diagnose.h"
#include "plan/events.h"
#include "plan/fit.h"
#include "plan/method.h"
#include "plan/notes.h"
#include "plan/pairs.h"
#include "plan/sense.h"
#include "plan/weigh.h"
#include "plan/verdict.h"
#include "plan/words.h"
#include "stats/paired.h"

#include <math.h>
#include <string.h>

struct work {
	const pd_plan *plan;
	const pd_question *q;
	pd_arena *arena, *scratch;
	pd_rows rows;
	pd_method method;
	pd_pairs pairs;
	pd_fit fit;
	pd_answer *a;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory answering");
}

static pd_status head(struct work *w, pd_error *err)
{
	const pd_question *q = w->q;
	pd_answer *a = w->a;

	memset(a, 0, sizeof *a);
	a->name = q->name;
	a->title = q->title;
	a->role = q->role;
	a->outcome_words = pd_query_words(q->outcome);
	a->judge_words = isnan(q->floor) ? pd_words_judge(q)
	                                 : pd_words_share(w->arena, q);
	a->unit = isnan(q->floor) ? pd_query_unit(q->outcome, q->judge) : "%";
	a->parameter_words = q->differs_by ? pd_words_effect(w->arena, q)
	                                   : pd_words_parameter(q->parameter);
	a->log_x = q->kind == PD_COMPARE_SLOPE && isnan(q->step);
	a->not_a_choice = pd_words_not_a_choice(q->parameter) ||
	                  pd_words_not_a_gain(q->outcome) || q->differs_by;
	a->adds_burden = pd_words_adds_burden(q->parameter);
	a->share = !isnan(q->floor);
	a->scale = q->scale;
	a->margin = q->margin;
	a->level = w->plan->level;
	return a->judge_words && a->parameter_words ? PD_OK : no_memory(err);
}

static pd_status take_flow(struct work *w, pd_error *err)
{
	pd_answer *a = w->a;

	a->flow = PD_NEW(w->arena, pd_flow, w->rows.n_flow + 2);
	if (!a->flow)
		return no_memory(err);
	memcpy(a->flow, w->rows.flow, w->rows.n_flow * sizeof *a->flow);
	a->n_flow = w->rows.n_flow;
	return PD_OK;
}

static pd_status take_method(struct work *w, pd_error *err)
{
	pd_answer *a = w->a;
	size_t n = w->method.n_refused;

	a->method = w->method.sentence;
	a->refusal = w->method.refusal;
	a->refused = PD_NEW(w->arena, const char *, n + 1);
	if (!a->refused)
		return no_memory(err);
	for (size_t i = 0; i < n; i++)
		a->refused[a->n_refused++] = w->method.refused[i];
	return PD_OK;
}

/* Names of effect k's arms and its label. */
static pd_status name_effect(struct work *w, size_t k, pd_effect *e,
                             pd_error *err)
{
	const pd_question *q = w->q;

	if (q->differs_by) {
		e->first = w->a->parameter_words;
		e->label = pd_words_modifier(w->arena, q);
	} else if (q->kind == PD_COMPARE_SLOPE) {
		e->first = pd_words_parameter(q->parameter);
		e->label = pd_words_step(w->arena, q);
	} else if (q->kind == PD_COMPARE_CURVE) {
		e->first = pd_words_arm(w->arena, q->parameter, q->first);
		e->second = pd_words_arm(w->arena, q->parameter, q->second);
		if (!e->first || !e->second)
			return no_memory(err);
		e->label = pd_arena_print(w->arena, "%s against %s", e->first,
		                          e->second);
	} else {
		e->first = w->rows.arm_name[k];
		e->second = q->kind == PD_COMPARE_EACH ? "the mean of all"
		                                       : w->rows.arm_name[1];
		e->label = pd_arena_print(w->arena, "%s against %s", e->first,
		                          e->second);
	}
	return e->label ? PD_OK : no_memory(err);
}

static pd_status set_effects(struct work *w, const pd_estimate *est, size_t n,
                             pd_error *err)
{
	pd_answer *a = w->a;
	pd_status st = PD_OK;

	a->effect = PD_NEW(w->arena, pd_effect, n);
	if (!a->effect)
		return no_memory(err);
	a->n_effects = n;
	for (size_t k = 0; st == PD_OK && k < n; k++) {
		a->effect[k].log = est[k];
		pd_verdict_measure(&a->effect[k], a->scale, a->margin,
		                   a->level);
		st = name_effect(w, k, &a->effect[k], err);
	}
	return st;
}

static pd_status answer_paired(struct work *w, pd_error *err)
{
	pd_estimate e;
	pd_error inner = { 0 };
	pd_status st = pd_pairs_make(&w->rows, w->method.unit, w->rows.low,
	                             w->scratch, &w->pairs, err);

	if (st != PD_OK)
		return st;
	st = pd_paired_mean(w->pairs.diff, w->pairs.n, w->plan->level, &e,
	                    &inner);
	st = pd_note_refusal(st, &inner, w->arena, &w->a->refusal, err);
	if (st != PD_OK || w->a->refusal)
		return st;
	w->a->flow[w->a->n_flow++] =
	    (pd_flow){ "in a pair", w->pairs.n_rows, w->pairs.n_sites,
		       w->pairs.n_cases, w->pairs.n };
	w->a->used = PD_USED_PAIRS;
	return set_effects(w, &e, 1, err);
}

/* What the fit of the main answer rests on. */
static unsigned used_by(const struct work *w, const pd_fit_ask *ask)
{
	unsigned used = PD_USED_MODEL;

	if (ask->within)
		used |= PD_USED_SPLIT;
	if (ask->calendar)
		used |= PD_USED_CALENDAR;
	if (w->fit.curve)
		used |= PD_USED_CURVE;
	if (pd_impute_censored(w->fit.model))
		used |= PD_USED_LIMITS;
	return used;
}

static pd_status answer_mixed(struct work *w, pd_error *err)
{
	pd_fit_ask ask = { .adjust = true,
		           .calendar = !isnan(w->q->change),
		           .within = w->method.way == PD_WAY_WITHIN };
	pd_status st = pd_fit_run(w->plan, w->q, &w->rows, &ask, w->arena,
	                          w->scratch, &w->fit, err);

	if (st != PD_OK)
		return st;
	w->a->refusal = w->fit.refusal;
	if (w->fit.refusal)
		return PD_OK;
	w->a->used = used_by(w, &ask);
	w->a->adjusters = pd_fit_adjusters(w->q, &w->rows, w->arena);
	w->a->method = pd_arena_print(
	    w->arena, "%s; intervals by Student's t with Kenward-Roger "
	    "degrees of freedom%s", w->a->method,
	    pd_impute_censored(w->fit.model)
	        ? "; results known only between limits are drawn from the "
	          "model between their limits and the fits combined"
	        : "");
	return w->a->method
	           ? set_effects(w, w->fit.effect, w->fit.n_effects, err)
	           : no_memory(err);
}

/* Two levels across patients: how alike, and the effect made alike. */
static pd_status fill_weighing(struct work *w, const double *y,
                               pd_error *err)
{
	/* before and after a date: the years cannot be made alike */
	if (w->method.way != PD_WAY_BETWEEN || w->q->differs_by ||
	    w->q->kind != PD_COMPARE_LEVELS || w->rows.n_arms != 2 ||
	    !isnan(w->q->change))
		return PD_OK;
	w->a->weighing = PD_NEW(w->arena, pd_weighing, 1);
	if (!w->a->weighing)
		return no_memory(err);
	return pd_weigh(w->q, &w->rows, y, w->plan->level, w->arena,
	                w->a->weighing, err);
}

static pd_status fill_details(struct work *w, pd_error *err)
{
	int paired = w->method.way == PD_WAY_PAIRED;
	double *y = w->rows.low, *residual = NULL;
	int drawn = paired; /* the figure shows pairs */
	pd_fit *fit = paired ? NULL : &w->fit;
	const pd_pairs *pairs = paired ? &w->pairs : NULL;
	pd_status st = PD_OK;

	if (!paired) {
		y = PD_NEW(w->scratch, double, w->rows.n);
		residual = PD_NEW(w->scratch, double, w->rows.n);
		st = y && residual ? pd_impute_completed(w->fit.model, y,
		                                         residual, err)
		                   : no_memory(err);
	}
	if (st == PD_OK && w->method.way == PD_WAY_WITHIN && w->rows.arm) {
		drawn = 1;
		st = pd_pairs_make(&w->rows, w->method.unit, y, w->scratch,
		                   &w->pairs, err);
	}
	if (st == PD_OK)
		st = pd_describe(w->q, &w->rows, y, fit,
		                 drawn ? &w->pairs : NULL, w->plan->level,
		                 w->arena, w->scratch, w->a, err);
	if (st == PD_OK)
		st = fill_weighing(w, y, err);
	if (st == PD_OK)
		st = pd_diagnose(w->plan, w->q, &w->rows, &w->method, fit,
		                 pairs, residual, w->arena, w->a, err);
	if (st == PD_OK)
		st = pd_sense(w->plan, w->q, &w->rows, &w->method, pairs, fit,
		              w->arena, w->scratch, w->a, err);
	return st;
}

static pd_status answer(struct work *w, pd_store *store, pd_error *err)
{
	pd_status st = pd_rows_take(store, w->q, w->arena, w->scratch,
	                            &w->rows, err);

	if (st == PD_OK)
		st = take_flow(w, err);
	if (st == PD_OK && pd_rows_of_events(w->q))
		return pd_events_answer(w->plan, w->q, &w->rows, w->arena,
		                        w->scratch, w->a, err);
	if (st == PD_OK)
		st = pd_method_choose(w->plan, w->q, &w->rows, w->arena,
		                      w->scratch, &w->method, err);
	if (st == PD_OK)
		st = take_method(w, err);
	if (st == PD_OK && !w->a->refusal)
		st = w->method.way == PD_WAY_PAIRED ? answer_paired(w, err)
		                                    : answer_mixed(w, err);
	if (st == PD_OK && !w->a->refusal)
		st = fill_details(w, err);
	if (st == PD_OK)
		st = pd_cautions(w->q, &w->rows, &w->method, w->arena, w->a,
		                 err);
	return st;
}

pd_status pd_answer_one(pd_store *store, const pd_plan *plan,
                        const pd_question *q, pd_arena *arena,
                        pd_answer *out, pd_error *err)
{
	struct work w = { .plan = plan, .q = q, .arena = arena, .a = out };
	pd_status st;

	w.scratch = pd_arena_new();
	if (!w.scratch)
		return no_memory(err);
	st = head(&w, err);
	if (st == PD_OK)
		st = answer(&w, store, err);
	pd_fit_clear(&w.fit);
	pd_rows_clear(&w.rows);
	pd_arena_free(w.scratch);
	return st;
}
