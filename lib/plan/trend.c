/*
 * trend.c - the trend table is a comparison of each quarter, described but
 * not tested: the same rows, fit (for results between limits) and level table
 * as a question.
 */
#include "plan/trend.h"
#include "plan/completed.h"
#include "plan/describe.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { QUARTERS = 12 };

/* The outcome described by quarter. */
struct series {
	pd_answer answer;        /* levels only                               */
	pd_rows rows;
};

static pd_status describe(pd_store *store, const pd_plan *plan,
                          const char *outcome, pd_arena *arena,
                          pd_arena *scratch, struct series *s, pd_error *err)
{
	pd_question q = { .name = "trend", .title = "", .outcome = outcome,
		          .judge = "concentration", .grain = PD_BY_ALIQUOT,
		          .scale = PD_RATIO, .kind = PD_COMPARE_EACH,
		          .parameter = "quarter", .margin = NAN, .step = NAN,
		          .change = NAN, .floor = NAN,
		          .differs_step = NAN,
		          .role = PD_EXPLORATORY };
	pd_status st = pd_rows_take(store, &q, arena, scratch, &s->rows, err);

	if (st != PD_OK || s->rows.n == 0)
		return st;
	double *y = PD_NEW(scratch, double, s->rows.n);
	bool told;

	if (!y)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_completed(plan, &q, &s->rows, false, scratch, y, &told, err);
	if (st == PD_OK && !told)
		return PD_OK;
	return st == PD_OK ? pd_describe(&q, &s->rows, y, NULL, NULL,
	                                 plan->level, arena, scratch,
	                                 &s->answer, err)
	                   : st;
}

/* The first quarter (arm) each method version was used in. */
static void first_use(const pd_rows *r, const pd_column *v, size_t *first)
{
	for (size_t k = 0; k < v->n_levels; k++)
		first[k] = (size_t)-1;
	for (size_t i = 0; i < r->n; i++)
		if ((size_t)r->arm[i] < first[v->code[i]])
			first[v->code[i]] = (size_t)r->arm[i];
}

static const char *note_of(const pd_rows *r, size_t quarter, pd_arena *arena,
                           pd_arena *scratch)
{
	const pd_column *v = pd_frame_find(r->model, "method_version");
	size_t *first = v ? PD_NEW(scratch, size_t, v->n_levels + 1) : NULL;
	const char *note = NULL;

	if (!first || quarter == 0)
		return NULL;
	first_use(r, v, first);
	for (size_t k = 0; k < v->n_levels; k++)
		if (first[k] == quarter)
			note = pd_arena_print(arena, "%s%smethod version '%s' "
			                      "begins", note ? note : "",
			                      note ? "; " : "", v->level[k]);
	return note;
}

static const pd_level *find_level(const struct series *s, const char *name)
{
	for (size_t k = 0; k < s->answer.n_levels; k++)
		if (strcmp(s->answer.levels[k].name, name) == 0)
			return &s->answer.levels[k];
	return NULL;
}

static pd_status fill(const struct series *tnc, const struct series *cfu,
                      pd_arena *arena, pd_arena *scratch, pd_review *out,
                      pd_error *err)
{
	size_t n = tnc->answer.n_levels, from = n > QUARTERS ? n - QUARTERS : 0;

	out->trend = PD_NEW(arena, pd_trend, n - from);
	if (!out->trend)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t k = from; k < n; k++) {
		const pd_level *t = &tnc->answer.levels[k];
		const pd_level *c = find_level(cfu, t->name);
		pd_trend *row = &out->trend[out->n_trends++];

		row->quarter = t->name;
		row->n_cases = t->n_cases;
		row->n_patients = t->n_patients;
		row->tnc = t->centre;
		row->tnc_low = t->centre_low;
		row->tnc_high = t->centre_high;
		row->cfu = c ? c->centre : NAN;
		row->cfu_low = c ? c->centre_low : NAN;
		row->cfu_high = c ? c->centre_high : NAN;
		row->note = note_of(&tnc->rows, k, arena, scratch);
	}
	return PD_OK;
}

pd_status pd_trend_table(pd_store *store, const pd_plan *plan, pd_arena *arena,
                         pd_review *out, pd_error *err)
{
	struct series tnc = { .rows = { .n = 0 } }, cfu = { .rows = { .n = 0 } };
	pd_arena *scratch = pd_arena_new();
	pd_status st = scratch ? describe(store, plan, "tnc", arena, scratch,
	                                  &tnc, err)
	                       : pd_fail(err, PD_NO_MEMORY, "out of memory");

	if (st == PD_OK)
		st = describe(store, plan, "cfu_f", arena, scratch, &cfu, err);
	if (st == PD_OK)
		st = fill(&tnc, &cfu, arena, scratch, out, err);
	pd_rows_clear(&tnc.rows);
	pd_rows_clear(&cfu.rows);
	pd_arena_free(scratch);
	return st;
}
