/*
 * paper.c - the reading of a plan for a manuscript: the answers of a review,
 * then what was recorded, what the plan said, and where the numbers come from.
 */
#include "plan/paper.h"
#include "base/buf.h"
#include "data/libraries.h"
#include "data/query.h"
#include "data/store.h"
#include "plan/missing.h"
#include "plan/paper_own.h"

#include <gsl/gsl_version.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST_FIELDS = 64 };

struct work {
	pd_store *store;
	const pd_plan *plan;
	const pd_run_options *options;
	pd_arena *arena;
	pd_paper *p;
	size_t source_room;
	bool no_memory; /* a visitor ran out                         */
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* --- what was recorded, and where it came from --------------------------- */

static void add_filled(void *user, const char *field, const char *words,
                       const char *unit, size_t filled, size_t of)
{
	struct work *w = user;

	(void)unit;
	if (w->p->n_filled == MOST_FIELDS)
		return;
	pd_paper_filled *f = &w->p->filled[w->p->n_filled++];

	f->field = pd_arena_copy(w->arena, field);
	f->words = pd_arena_copy(w->arena, words);
	f->n = filled;
	f->of = of;
	w->no_memory |= !f->field || !f->words;
}

/* Without the file's name, which may name a clinic or a person. */
static void add_source(void *user, const char *name, const char *sha256,
                       size_t rows)
{
	struct work *w = user;

	(void)name;
	if (w->p->n_sources == w->source_room)
		return;
	const char *line =
	    pd_arena_print(w->arena, "%zu rows, SHA-256 %s", rows, sha256);

	w->no_memory |= !line;
	w->p->source[w->p->n_sources++] = line;
}

static pd_status take_records(struct work *w, pd_error *err)
{
	w->source_room = w->p->review.n_sources;
	w->p->filled = PD_NEW(w->arena, pd_paper_filled, MOST_FIELDS);
	w->p->source = PD_NEW(w->arena, const char *, w->source_room + 1);
	if (!w->p->filled || !w->p->source)
		return no_memory(err);
	pd_status st = pd_store_coverage(w->store, add_filled, w, err);

	if (st == PD_OK)
		st = pd_store_sources(w->store, add_source, w, err);
	return st == PD_OK && w->no_memory ? no_memory(err) : st;
}

/* What the numbers rest on; those that only write files are not named. */
static pd_status name_libraries(struct work *w, pd_error *err)
{
	size_t n = PD_DATA_LIBRARIES;

	w->p->library = PD_NEW(w->arena, const char *, n + 1);
	if (!w->p->library)
		return no_memory(err);
	pd_status st = pd_data_libraries(w->arena, w->p->library, err);

	w->p->library[n] = pd_arena_print(w->arena, "GNU Scientific Library %s",
	                                  gsl_version);
	w->p->n_libraries = n + 1;
	return st != PD_OK || w->p->library[n] ? st : no_memory(err);
}

/* Pulls with and without a result, outcome by outcome; written nowhere. */
static pd_status take_outcomes(struct work *w, pd_error *err)
{
	pd_run_options options = { .date = w->options->date };
	pd_missing_answer *a = PD_NEW(w->arena, pd_missing_answer, 1);
	pd_status st = a ? pd_missing_run(w->store, &options, w->plan->level,
	                                  w->arena, a, err)
	                 : no_memory(err);

	for (size_t k = 0; st == PD_OK && k < a->n_outcomes; k++)
		w->p->outcome[w->p->n_outcomes++] = a->outcome[k];
	pd_store_cultures c = { 0 };

	if (st == PD_OK)
		st = pd_store_culture_conditions(w->store, &c, err);
	w->p->n_cultured = c.n;
	w->p->n_plated = c.n_plated;
	w->p->n_days = c.n_days;
	w->p->n_threshold = c.n_threshold;
	return st;
}

/* --- what the plan said -------------------------------------------------- */

/* A column's words without their unit. */
static int word_length(const char *words)
{
	return (int)strcspn(words, ",");
}

static const char *words_of(const char *column)
{
	const char *words = pd_query_words(column);

	return words ? words : column;
}

static void say_condition(const pd_condition *c, pd_buf *b)
{
	const char *words = words_of(c->column);

	pd_buf_print(b, "%s%.*s", b->length ? "; " : "", word_length(words),
	             words);
	for (size_t k = 0; k < c->n_values; k++)
		pd_buf_print(b, " %s %s", k ? "or" : "is", c->value[k]);
	if (c->n_values)
		return;
	if (isfinite(c->low) && isfinite(c->high))
		pd_buf_print(b, " from %g to %g", c->low, c->high);
	else if (isfinite(c->low))
		pd_buf_print(b, " at least %g", c->low);
	else
		pd_buf_print(b, " at most %g", c->high);
}

/* The buffer's text in the arena, NULL when it is empty; it is cleared. */
static pd_status keep(struct work *w, pd_buf *b, const char **out,
                      pd_error *err)
{
	bool ok = pd_buf_ok(b);

	*out = ok && b->length ? pd_arena_copy(w->arena, pd_buf_text(b)) : NULL;
	ok = ok && (!b->length || *out);
	pd_buf_clear(b);
	return ok ? PD_OK : no_memory(err);
}

static pd_status say_where(struct work *w, const pd_question *q,
                           const char **out, pd_error *err)
{
	pd_buf b;

	pd_buf_init(&b);
	for (size_t k = 0; k < q->n_where; k++)
		say_condition(&q->where[k], &b);
	return keep(w, &b, out, err);
}

/* The plan's adjusters, and the method versions and the calendar slope where
 * the model took them by itself. */
static pd_status say_held(struct work *w, const pd_question *q,
                          const pd_answer *a, const char **out, pd_error *err)
{
	const char *version = pd_query_words("method_version");
	const unsigned modelled = PD_USED_MODEL | PD_USED_LOGISTIC;
	bool named = false;
	pd_buf b;

	pd_buf_init(&b);
	for (size_t k = 0; (a->used & modelled) && k < q->n_adjust; k++) {
		const char *words = words_of(q->adjust[k]);

		named |= strcmp(q->adjust[k], "method_version") == 0;
		pd_buf_print(&b, "%s%s%.*s", k ? ", " : "",
		             q->adjust_log[k] ? "log of " : "",
		             word_length(words), words);
	}
	if (!named && a->adjusters && strstr(a->adjusters, version))
		pd_buf_print(&b, "%s%s", b.length ? ", " : "", version);
	if (a->used & PD_USED_CALENDAR)
		pd_buf_print(&b, "%scalendar slope", b.length ? ", " : "");
	return keep(w, &b, out, err);
}

static pd_status say_question(struct work *w, const pd_question *q,
                              const pd_answer *a, pd_paper_question *out,
                              pd_error *err)
{
	static const char *const grain[] = { "pull", "site", "case" };
	char first[11] = "";
	pd_status st = pd_store_first_look(w->store, q->sha256, first, err);

	if (!first[0])
		snprintf(first, sizeof first, "%s", w->options->date);
	if (st == PD_OK)
		st = pd_store_sources_after(w->store, first, &out->files_after,
		                            err);
	out->first_read = pd_arena_copy(w->arena, first);
	if (st == PD_OK)
		st = say_where(w, q, &out->where, err);
	if (st == PD_OK)
		st = say_held(w, q, a, &out->held, err);
	out->within = q->within;
	out->assigned = q->assigned;
	out->margin_reason = q->margin_reason;
	out->grain = grain[q->grain];
	out->slope = q->kind == PD_COMPARE_SLOPE;
	out->per_doubling = out->slope && isnan(q->step);
	out->each = q->kind == PD_COMPARE_EACH;
	out->curve = q->kind == PD_COMPARE_CURVE;
	out->change = !isnan(q->change);
	out->differs = q->differs_by != NULL;
	out->yield = strcmp(q->judge, "yield") == 0;
	out->concentration = strcmp(q->judge, "concentration") == 0;
	return st != PD_OK || out->first_read ? st : no_memory(err);
}

static pd_status say_plan(struct work *w, pd_error *err)
{
	size_t n = w->p->review.n_answers;
	pd_status st = PD_OK;

	w->p->min_patients = w->plan->min_patients;
	w->p->looks = w->plan->looks;
	w->p->question = PD_NEW(w->arena, pd_paper_question, n + 1);
	if (!w->p->question)
		return no_memory(err);
	for (size_t i = 0; st == PD_OK && i < n; i++)
		st = say_question(w, &w->plan->question[i],
		                  &w->p->review.answer[i], &w->p->question[i],
		                  err);
	return st;
}

/* --- the question of the characteristics --------------------------------- */

/* How well an answer serves: primary and answered first. */
static int fitness(const pd_answer *a)
{
	return 2 * (a->refusal == NULL) +
	       (a->role == PD_PRIMARY && a->refusal == NULL);
}

static size_t choose(const struct work *w, const char *name)
{
	const pd_review *r = &w->p->review;
	size_t best = 0;

	for (size_t i = 0; i < r->n_answers; i++) {
		if (name && strcmp(r->answer[i].name, name) == 0)
			return i;
		if (fitness(&r->answer[i]) > fitness(&r->answer[best]))
			best = i;
	}
	return best;
}

pd_status pd_paper_run(pd_store *s, const pd_plan *plan, const char *question,
                       size_t least, const pd_run_options *options,
                       pd_arena *arena, pd_paper *out, pd_error *err)
{
	struct work w = { .store = s,
		          .plan = plan,
		          .options = options,
		          .arena = arena,
		          .p = out };

	memset(out, 0, sizeof *out);
	out->least = least;
	if (question && !pd_plan_find(plan, question))
		return pd_fail(err, PD_USAGE, "the plan has no question '%s'",
		               question);
	pd_status st =
	    pd_run_review(s, plan, options, arena, &out->review, err);

	if (st == PD_OK)
		st = take_records(&w, err);
	if (st == PD_OK)
		st = take_outcomes(&w, err);
	if (st == PD_OK)
		st = name_libraries(&w, err);
	if (st == PD_OK)
		st = say_plan(&w, err);
	if (st == PD_OK && !out->review.n_answers)
		out->table.none = "the plan has no question";
	else if (st == PD_OK) {
		out->table.answer = choose(&w, question);
		st = pd_paper_table_make(s, &plan->question[out->table.answer],
		                         &out->review.answer[out->table.answer],
		                         arena, &out->table, err);
	}
	return st;
}
