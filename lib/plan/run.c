/* run.c - the context of a review, its questions, and the ledger of looks. */
#include "plan/run.h"
#include "base/version.h"
#include "data/query.h"
#include "plan/answer_one.h"
#include "plan/changes.h"
#include "plan/depletion.h"
#include "plan/events.h"
#include "plan/looks.h"
#include "plan/trend.h"
#include "plan/verdict.h"
#include "plan/words.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const cautions[] = {
	"These results describe one clinic's past draws; they do not say what "
	"to do for a patient.",
	"Comparisons of what was done in the past can be confounded by who was "
	"drawn, by whom, when and why.",
	"More punctures or more volume mean more bleeding, pain and blood loss; "
	"patients with bleeding risk are not cleared by any number here.",
	"Cell and colony counts are not outcomes: nothing here shows that a "
	"higher count helps a patient.",
	"'Not settled' is not 'no difference': read the interval against the "
	"margin.",
	"Sterility, viability and release decisions are not made from this "
	"report.",
	"The analysis supports review by licensed clinicians; it does not "
	"replace clinical judgement, the devices' instructions for use, the "
	"laboratory's procedures or local regulation.",
};

struct work {
	pd_store *store;
	const pd_plan *plan;
	const pd_run_options *options;
	pd_arena *arena;
	pd_review *r;
	size_t source_room;
	int no_memory;           /* a visitor ran out                         */
	char plan_first[11];     /* ISO date the plan was first read          */
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory in the review");
}

/* --- context ---------------------------------------------------------------- */

static void add_source(void *user, const char *name, const char *sha256,
                       size_t rows)
{
	struct work *w = user;
	char *line = pd_arena_print(w->arena, "%s, %zu rows, SHA-256 %.12s...",
	                            name, rows, sha256);

	if (!line || w->r->n_sources == w->source_room) {
		w->no_memory |= !line;
		return;
	}
	w->r->source[w->r->n_sources++] = line;
}

static pd_status set_counts(struct work *w, pd_error *err)
{
	pd_store_counts c;
	pd_review *r = w->r;
	pd_status st = pd_store_count(w->store, &c, err);

	if (st != PD_OK)
		return st;
	r->n_patients = c.n_patients;
	r->n_cases = c.n_cases;
	r->n_sites = c.n_sites;
	r->n_aliquots = c.n_aliquots;
	r->n_results = c.n_results;
	r->n_warnings = c.n_warnings;
	r->first_case = pd_arena_copy(w->arena, c.first_case);
	r->last_case = pd_arena_copy(w->arena, c.last_case);
	r->audit_head = pd_arena_copy(w->arena, c.audit_head);
	w->source_room = c.n_sources;
	r->source = PD_NEW(w->arena, const char *, c.n_sources + 1);
	if (!r->first_case || !r->last_case || !r->audit_head || !r->source)
		return no_memory(err);
	st = pd_store_sources(w->store, add_source, w, err);
	return st == PD_OK && w->no_memory ? no_memory(err) : st;
}

static pd_status set_harm(struct work *w, pd_error *err)
{
	pd_harm harm = { 0 };
	pd_status st = pd_query_harm(w->store, &harm, err);

	w->r->n_harm_cases = harm.n_cases;
	w->r->n_harm_events = harm.n_events;
	w->r->harm_low = w->r->harm_high = NAN;
	if (st == PD_OK && harm.n_cases)
		pd_binomial_limits((double)harm.n_events, (double)harm.n_cases,
		                   w->plan->level, &w->r->harm_low,
		                   &w->r->harm_high);
	return st;
}

static pd_status context(struct work *w, pd_error *err)
{
	pd_review *r = w->r;
	const pd_plan *p = w->plan;
	pd_status st;

	memset(r, 0, sizeof *r);
	r->title = p->title ? p->title : "Technique review";
	r->plan_name = p->name;
	r->plan_sha256 = p->sha256;
	r->date = w->options->date;
	r->version = PD_VERSION;
	r->seed = p->seed;
	r->n_cautions = sizeof cautions / sizeof *cautions;
	r->cautions = PD_NEW(w->arena, const char *, r->n_cautions);
	if (!r->cautions)
		return no_memory(err);
	memcpy(r->cautions, cautions, sizeof cautions);
	st = set_counts(w, err);
	if (st == PD_OK)
		st = set_harm(w, err);
	if (st == PD_OK && w->options->write_ledger)
		st = pd_store_plan(w->store, p->name, p->sha256, p->text,
		                   w->options->date, w->plan_first, err);
	return st;
}

/* --- the ledger ----------------------------------------------------------------- */

/*
 * Since when the margin has stood, against when the data came: only files
 * loaded after the first reading can be judged by a margin set before them.
 */
static pd_status declare(struct work *w, const pd_question *q, pd_answer *a,
                         pd_error *err)
{
	const char *reason = q->margin_reason ? q->margin_reason : "";
	const char *lead = q->margin_reason ? " Reason given: " : "";
	const char *stop = q->margin_reason ? "." : "";
	char first[11] = "";
	size_t after = 0;
	pd_status st = pd_store_first_look(w->store, q->sha256, first, err);

	if (!first[0])
		snprintf(first, sizeof first, "%s", w->options->date);
	if (st == PD_OK)
		st = pd_store_sources_after(w->store, first, &after, err);
	if (st != PD_OK)
		return st;
	if (isnan(q->margin))
		a->declared = "No margin was declared, so 'no difference that "
		              "matters' cannot be said.";
	else if (after == 0)
		a->declared = pd_arena_print(
		    w->arena, "The margin was first read on %s, with all these "
		    "data already loaded; unless it was fixed in writing "
		    "before, read it as set afterwards.%s%s%s", first, lead,
		    reason, stop);
	else
		a->declared = pd_arena_print(
		    w->arena, "Question and margin have stood unchanged since "
		    "they were first read on %s; %zu of %zu files were loaded "
		    "after that day. For the data before it, read the margin "
		    "as set afterwards unless it was fixed in writing."
		    "%s%s%s", first, after, w->r->n_sources, lead, reason,
		    stop);
	return a->declared ? PD_OK : no_memory(err);
}

static pd_status look(struct work *w, const pd_question *q, pd_answer *a,
                      pd_error *err)
{
	pd_status st = declare(w, q, a, err);

	if (st == PD_OK)
		st = pd_looks_pay(w->store, w->plan, q, w->options->date,
		                  w->arena, a, err);
	if (st != PD_OK || a->n_effects == 0)
		return st;
	const pd_effect *e = &a->effect[0];
	size_t last = a->n_flow - 1;
	pd_look_effect *all = PD_NEW(w->arena, pd_look_effect, a->n_effects);
	pd_look l = { q->known_as ? q->known_as : q->name, q->sha256,
		      w->options->date, e->log.value, e->log.se, e->log.low,
		      e->log.high,
		      a->flow[last].n_rows, a->flow[last].n_patients,
		      a->n_effects, all };

	for (size_t k = 0; all && k < a->n_effects; k++) {
		const pd_estimate *x = &a->effect[k].log;

		all[k] = (pd_look_effect){
			pd_looks_label(w->arena, &a->effect[k]), x->value,
			x->se, x->low, x->high };
		if (!all[k].label)
			return no_memory(err);
	}
	if (!all)
		return no_memory(err);

	return pd_store_look(w->store, &l, &a->n_looks, err);
}

/* --- questions -------------------------------------------------------------------- */

static pd_status ask_all(struct work *w, const pd_question *q, size_t n,
                         pd_error *err)
{
	const pd_run_options *o = w->options;
	pd_status st = PD_OK;
	int *expect = calloc(n + 1, sizeof *expect);

	w->r->answer = PD_NEW(w->arena, pd_answer, n);
	if (!expect || !w->r->answer)
		st = no_memory(err);
	for (size_t i = 0; st == PD_OK && i < n; i++) {
		if (o->progress)
			o->progress(o->user, i, n, q[i].name);
		expect[i] = q[i].expect;
		st = pd_answer_one(w->store, w->plan, &q[i], w->arena,
		                   &w->r->answer[i], err);
		w->r->n_answers += st == PD_OK;
		if (st == PD_OK)
			st = look(w, &q[i], &w->r->answer[i], err);
	}
	if (st == PD_OK && o->progress)
		o->progress(o->user, n, n, "");
	if (st == PD_OK)
		st = pd_verdict_settle(w->r, expect, w->arena, err);
	if (st == PD_OK)
		st = pd_events_beside(q, w->r, w->arena, err);
	free(expect);
	return st;
}

static pd_status run(struct work *w, const pd_question *q, size_t n,
                     bool trend, pd_error *err)
{
	pd_status st;

	pd_base_init();
	st = context(w, err);
	if (st == PD_OK && w->r->n_cases == 0)
		return pd_fail(err, PD_DATA, "the database holds no case; "
		               "load a file first");
	if (st == PD_OK && trend)
		st = pd_trend_table(w->store, w->plan, w->arena, w->r, err);
	return st == PD_OK ? ask_all(w, q, n, err) : st;
}

pd_status pd_run_context(pd_store *s, const pd_plan *plan,
                         const pd_run_options *options, pd_arena *arena,
                         pd_review *out, pd_error *err)
{
	struct work w = { .store = s, .plan = plan, .options = options,
		          .arena = arena, .r = out };

	pd_base_init();
	pd_status st = context(&w, err);

	return st == PD_OK && out->n_cases == 0
	           ? pd_fail(err, PD_DATA, "the database holds no case; load a "
	                                   "file first")
	           : st;
}

pd_status pd_run_review(pd_store *s, const pd_plan *plan,
                        const pd_run_options *options, pd_arena *arena,
                        pd_review *out, pd_error *err)
{
	struct work w = { .store = s, .plan = plan, .options = options,
		          .arena = arena, .r = out };

	pd_status st = run(&w, plan->question, plan->n_questions, true, err);

	if (st == PD_OK)
		st = pd_depletion_find(s, plan, plan->question,
		                       plan->n_questions, arena, out, err);
	return st == PD_OK ? pd_changes_find(s, plan, options, arena, out, err)
	                   : st;
}

pd_status pd_run_question(pd_store *s, const pd_plan *plan,
                          const pd_question *question,
                          const pd_run_options *options, pd_arena *arena,
                          pd_review *out, pd_error *err)
{
	struct work w = { .store = s, .plan = plan, .options = options,
		          .arena = arena, .r = out };

	pd_status st = run(&w, question, 1, false, err);

	return st == PD_OK
	           ? pd_depletion_find(s, plan, question, 1, arena, out, err)
	           : st;
}
