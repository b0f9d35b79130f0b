/*
 * missing.c - pulls of each outcome's frame, one at a time, counted; first
 * pulls of patients, tested.
 */
#include "plan/missing.h"
#include "data/query.h"
#include "plan/missing_own.h"
#include "stats/multiple.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
	const char *outcome, *judge, *brief;
} outcomes[PD_MISSING_OUTCOMES] = {
	{ "tnc", "concentration", "TNC" },
	{ "mnc", "concentration", "MNC" },
	{ "viability", "percent", "Viable" },
	{ "hct", "percent", "Hct" },
	{ "rbc", "concentration", "RBC" },
	{ "platelets", "concentration", "Platelets" },
	{ "cd34", "concentration", "CD34+" },
	{ "cd271", "concentration", "CD271+" },
	{ "cfu_f", "concentration", "CFU-F" },
};

struct work {
	pd_store *store;
	pd_arena *arena;
	pd_missing_answer *a;
	struct pd_first_pulls tnc;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* The better of two rows' states of one pull. */
enum kind { VALUE, LIMIT, FAILED, NOT_ORDERED, BLANK };

static enum kind kind_of(const pd_column *state, size_t i)
{
	static const char *const limits[] = { "zero", "below detection",
		                              "above range",
		                              "too many to count" };
	const char *word = state->code[i] < 0 ? ""
	                                      : state->level[state->code[i]];

	if (strcmp(word, "measured") == 0)
		return VALUE;
	for (size_t k = 0; k < sizeof limits / sizeof *limits; k++)
		if (strcmp(word, limits[k]) == 0)
			return LIMIT;
	if (strcmp(word, "failed culture") == 0)
		return FAILED;
	return strcmp(word, "not ordered") == 0 ? NOT_ORDERED : BLANK;
}

static void count(pd_missing_outcome *o, enum kind k)
{
	size_t *n[] = { &o->n_value, &o->n_limit, &o->n_failed,
		        &o->n_not_ordered, &o->n_blank };

	++*n[k];
	o->n_pulls++;
}

/* Place of a name in a group, added when new; (size_t)-1 without room. */
static size_t place(pd_missing_group *g, const char *name, pd_arena *arena)
{
	size_t i = 0;

	while (i < g->n && strcmp(g->name[i], name) != 0)
		i++;
	if (i < g->n)
		return i;
	if (g->n == g->room)
		return (size_t)-1;
	g->name[g->n] = pd_arena_copy(arena, name);
	return g->name[g->n] ? g->n++ : (size_t)-1;
}

static void add_to(struct work *w, pd_missing_group *g, const char *name,
                   size_t outcome, bool without)
{
	size_t i = place(g, name, w->arena);

	if (i == (size_t)-1)
		return;
	pd_missing_share *s = &g->share[i * PD_MISSING_OUTCOMES + outcome];

	s->n++;
	s->n_without += without;
}

static void add_pull(struct work *w, const pd_frame *f, size_t i,
                     size_t outcome, enum kind k)
{
	const pd_column *op = pd_frame_find(f, "operator");
	double year = pd_frame_find(f, "case_date")->real[i];
	char text[24] = "no date";

	count(&w->a->outcome[outcome], k);
	if (!isnan(year))
		snprintf(text, sizeof text, "%.0f", floor(year));
	add_to(w, &w->a->operator_,
	       op->code[i] < 0 ? "not recorded" : op->level[op->code[i]],
	       outcome, k >= FAILED);
	add_to(w, &w->a->year, text, outcome, k >= FAILED);
}

/* kind[n] of each row: the best of its pull at its first row, -1 elsewhere. */
static void by_pull(const pd_frame *f, int *kind)
{
	const pd_column *site = pd_frame_find(f, "site");
	const pd_column *no = pd_frame_find(f, "aliquot_no");
	const pd_column *state = pd_frame_find(f, "state");
	size_t first = 0;

	for (size_t i = 0; i < pd_frame_rows(f); i++) {
		int k = (int)kind_of(state, i);

		if (i == 0 || site->code[i] != site->code[first] ||
		    no->real[i] != no->real[first]) {
			first = i;
			kind[i] = k;
			continue;
		}
		kind[i] = -1;
		if (k < kind[first])
			kind[first] = k;
	}
}

static bool any_result(const pd_frame *f)
{
	const pd_column *state = pd_frame_find(f, "state");

	for (size_t i = 0; i < pd_frame_rows(f); i++)
		if (kind_of(state, i) <= NOT_ORDERED)
			return true;
	return false;
}

static pd_status one_outcome(struct work *w, size_t k, const pd_frame *f,
                             pd_error *err)
{
	pd_missing_outcome *o = &w->a->outcome[w->a->n_outcomes];
	int *kind = malloc((pd_frame_rows(f) + 1) * sizeof *kind);
	size_t at = w->a->n_outcomes++;
	pd_status st;

	if (!kind)
		return no_memory(err);
	o->words = pd_query_words(outcomes[k].outcome);
	o->brief = outcomes[k].brief;
	by_pull(f, kind);
	for (size_t i = 0; i < pd_frame_rows(f); i++)
		if (kind[i] >= 0)
			add_pull(w, f, i, at, (enum kind)kind[i]);
	pd_binomial_limits((double)(o->n_pulls - o->n_value - o->n_limit),
	                   (double)o->n_pulls, w->a->level, &o->low, &o->high);
	for (size_t i = 0; i < pd_frame_rows(f); i++)
		kind[i] = kind[i] < 0 ? -1 : kind[i] >= FAILED;
	st = k == 0 ? pd_missing_first(f, w->arena, &w->tnc, err) : PD_OK;
	if (st == PD_OK)
		st = pd_missing_depends(f, kind, &w->tnc, k == 0, w->arena,
		                        w->a, o, err);
	free(kind);
	return st;
}

static pd_status take(struct work *w, size_t k, pd_error *err)
{
	static const char *const columns[] = { "operator", "case_date",
		                               "site_no", "aliquot_no" };
	pd_query_request ask = { .outcome = outcomes[k].outcome,
		                 .judge = outcomes[k].judge,
		                 .grain = PD_BY_ALIQUOT, .columns = columns,
		                 .n_columns = 4 };
	pd_query_flow flow;
	pd_frame *f = NULL;
	pd_status st = pd_query_frame(w->store, &ask, &f, &flow, err);

	if (st == PD_OK && any_result(f))
		st = one_outcome(w, k, f, err);
	pd_frame_free(f);
	return st;
}

/* Rows of a group by name. */
static pd_status sort_group(pd_missing_group *g, pd_arena *arena,
                            pd_error *err)
{
	size_t width = PD_MISSING_OUTCOMES;
	const char **name = PD_NEW(arena, const char *, g->n + 1);
	pd_missing_share *share = PD_NEW(arena, pd_missing_share,
	                                 g->n * width + 1);

	if (!name || !share)
		return no_memory(err);
	for (size_t i = 0; i < g->n; i++) {
		size_t before = 0;

		for (size_t j = 0; j < g->n; j++)
			before += strcmp(g->name[j], g->name[i]) < 0;
		name[before] = g->name[i];
		memcpy(share + before * width, g->share + i * width,
		       width * sizeof *share);
	}
	g->name = name;
	g->share = share;
	return PD_OK;
}

static pd_status make_group(pd_missing_group *g, size_t room, pd_arena *arena,
                            pd_error *err)
{
	size_t n = room * PD_MISSING_OUTCOMES;

	g->room = room;
	g->name = PD_NEW(arena, const char *, room);
	g->share = PD_NEW(arena, pd_missing_share, n);
	if (!g->name || !g->share)
		return no_memory(err);
	memset(g->share, 0, n * sizeof *g->share);
	return PD_OK;
}

static pd_status adjust(pd_missing_answer *a, pd_error *err)
{
	double p[PD_MISSING_OUTCOMES], adjusted[PD_MISSING_OUTCOMES];

	for (size_t k = 0; k < a->n_outcomes; k++)
		p[k] = a->outcome[k].p;
	pd_status st = pd_adjust_p(p, a->n_outcomes, PD_HOLM, adjusted, err);

	for (size_t k = 0; st == PD_OK && k < a->n_outcomes; k++)
		a->outcome[k].p_adjusted = adjusted[k];
	return st;
}

pd_status pd_missing_run(pd_store *s, const pd_run_options *options,
                         double level, pd_arena *arena,
                         pd_missing_answer *out, pd_error *err)
{
	struct work w = { .store = s, .arena = arena, .a = out };
	pd_plan plan = { .level = level };

	memset(out, 0, sizeof *out);
	out->level = level;
	out->cut[0] = out->cut[1] = NAN;
	pd_status st = pd_run_context(s, &plan, options, arena, &out->context,
	                              err);

	if (st == PD_OK)
		st = make_group(&out->operator_, 1000, arena, err);
	if (st == PD_OK)
		st = make_group(&out->year, 200, arena, err);
	for (size_t k = 0; st == PD_OK && k < PD_MISSING_OUTCOMES; k++)
		st = take(&w, k, err);
	if (st == PD_OK)
		st = adjust(out, err);
	if (st == PD_OK)
		st = sort_group(&out->operator_, arena, err);
	return st == PD_OK ? sort_group(&out->year, arena, err) : st;
}
