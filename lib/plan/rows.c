/*
 * rows.c - chooses a question's rows and lays them out for the methods.
 */
#include "plan/rows_own.h"
#include "data/query.h"
#include "plan/notes.h"
#include "plan/question.h"
#include "plan/words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_COLUMNS = 64 };

/* --- counting a step at every level --------------------------------------- */

/* Distinct codes among kept rows into *count; 0 for a column that is not
 * there. */
static pd_status distinct(const struct choice *c, const char *name,
                          size_t *count, pd_error *err)
{
	const pd_column *col = pd_frame_find(c->frame, name);
	unsigned char *seen = col ? calloc(col->n_levels + 1, 1) : NULL;

	*count = 0;
	if (!col)
		return PD_OK;
	if (!seen)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++) {
		if (!c->keep[i] || col->code[i] < 0 || seen[col->code[i]])
			continue;
		seen[col->code[i]] = 1;
		++*count;
	}
	free(seen);
	return PD_OK;
}

static pd_status add_step(struct choice *c, const char *words, pd_error *err)
{
	pd_flow *f = &c->out->flow[c->out->n_flow++];
	pd_status st;

	f->step = words;
	if (!words)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++)
		f->n_rows += c->keep[i];
	st = distinct(c, "site", &f->n_sites, err);
	if (st == PD_OK)
		st = distinct(c, "case", &f->n_cases, err);
	return st == PD_OK ? distinct(c, "patient", &f->n_patients, err) : st;
}

/* --- the frame -------------------------------------------------------------- */

static void want(const char **names, size_t *n, const char *name)
{
	for (size_t i = 0; i < *n; i++)
		if (strcmp(names[i], name) == 0)
			return;
	if (*n < MOST_COLUMNS)
		names[(*n)++] = name;
}

/* Beside what the question names: what the sensitivity set and the method
 * version rule need, where the grain has it. */
const char *const pd_choice_always[] = { "operator", "method_version",
	                                 "case_date", "repeat_case",
	                                 "volume_ml", NULL };

int pd_rows_of_events(const pd_question *q)
{
	return strcmp(q->judge, "risk") == 0;
}

static pd_status query(pd_store *store, struct choice *c, pd_error *err)
{
	const pd_question *q = c->q;
	const char *names[MOST_COLUMNS];
	size_t n = 0;
	pd_kind kind;
	pd_query_flow flow = { 0 };

	want(names, &n, q->parameter);
	for (size_t i = 0; i < q->n_adjust; i++)
		want(names, &n, q->adjust[i]);
	for (size_t i = 0; i < q->n_where; i++)
		want(names, &n, q->where[i].column);
	if (q->differs_by)
		want(names, &n, q->differs_by);
	for (size_t i = 0; pd_choice_always[i]; i++)
		if (pd_query_has(pd_choice_always[i], q->grain, &kind))
			want(names, &n, pd_choice_always[i]);
	if (q->grain == PD_BY_ALIQUOT)
		want(names, &n, "aliquot_no");
	if (pd_rows_of_events(q) && q->grain == PD_BY_SITE)
		want(names, &n, "site_no");
	if (n == MOST_COLUMNS)
		return pd_fail(err, PD_PLAN, "question '%s' names more than "
		               "%d columns", q->name, MOST_COLUMNS);
	pd_query_request request = { q->outcome, q->judge, q->grain, NULL,
		                     names, n, q->events, q->n_events };
	pd_status st = pd_query_frame(store, &request, &c->frame, &flow, err);

	if (st != PD_OK)
		return st;
	c->n = pd_frame_rows(c->frame);
	pd_column *param = pd_frame_find(c->frame, q->parameter);

	if (param && param->kind == PD_FACTOR &&
	    pd_column_sort_levels(param, c->n) != PD_OK)
		return no_memory(err);
	c->param = param;
	c->low = pd_frame_find(c->frame, "low");
	c->high = pd_frame_find(c->frame, "high");
	c->state = pd_frame_find(c->frame, "state");
	c->keep = PD_NEW(c->scratch, unsigned char, c->n);
	if (!c->keep)
		return no_memory(err);
	if (!c->param || !c->low || !c->high || !c->state)
		return pd_fail(err, PD_INTERNAL, "frame lacks a column");
	memset(c->keep, 1, c->n);
	pd_flow *f = &c->out->flow[c->out->n_flow++];

	*f = (pd_flow){ "recorded", flow.recorded_rows, flow.recorded_sites,
		        flow.recorded_cases, flow.recorded_patients };
	return pd_note_left_out(q, &flow, c->arena, c->out, err);
}

/* --- steps ------------------------------------------------------------------ */

/* With a floor a result whose limits lie on both sides of it says nothing. */
static void keep_results(struct choice *c)
{
	double floor_at = c->q->floor;
	size_t astride = 0;

	for (size_t i = 0; i < c->n; i++) {
		double low = c->low->real[i], high = c->high->real[i];

		if (isnan(low) || isnan(high)) {
			c->keep[i] = 0;
		} else if (c->keep[i] && low < floor_at && high > floor_at) {
			c->keep[i] = 0;
			astride++;
		}
	}
	if (astride)
		c->out->floor_note = pd_arena_print(
		    c->arena, "Floor: %zu result%s known only to lie between "
		    "limits on both sides of the floor %s left out.", astride,
		    astride == 1 ? "" : "s", astride == 1 ? "is" : "are");
}

int pd_rows_equal(double x, const char *word)
{
	double number;

	return pd_plan_number(word, &number) &&
	       fabs(x - number) <= 1e-9 * fabs(number);
}

static int meets(const pd_condition *w, const pd_column *col, size_t i)
{
	if (col->kind == PD_FACTOR) {
		if (col->code[i] < 0)
			return 0;
		for (size_t k = 0; k < w->n_values; k++)
			if (strcmp(col->level[col->code[i]], w->value[k]) == 0)
				return 1;
		return 0;
	}
	if (isnan(col->real[i]))
		return 0;
	for (size_t k = 0; k < w->n_values; k++)
		if (pd_rows_equal(col->real[i], w->value[k]))
			return 1;
	return w->n_values == 0 && col->real[i] >= w->low &&
	       col->real[i] <= w->high;
}

static void keep_conditions(struct choice *c)
{
	for (size_t k = 0; k < c->q->n_where; k++) {
		const pd_condition *w = &c->q->where[k];
		const pd_column *col = pd_frame_find(c->frame, w->column);

		for (size_t i = 0; i < c->n; i++)
			if (c->keep[i] && !(col && meets(w, col, i)))
				c->keep[i] = 0;
	}
}

int32_t pd_choice_arm(const struct choice *c, size_t i)
{
	const pd_question *q = c->q;
	const char *const word[2] = { q->first, q->second };

	if (!isnan(q->change))
		return isnan(c->param->real[i])
		           ? -1
		           : c->param->real[i] < q->change;
	if (c->param->kind == PD_FACTOR) {
		int32_t code = c->param->code[i];

		if (q->kind == PD_COMPARE_EACH || code < 0)
			return code;
		for (int32_t k = 0; k < 2; k++)
			if (strcmp(c->param->level[code], word[k]) == 0)
				return k;
		return -1;
	}
	for (int32_t k = 0; k < 2; k++)
		if (pd_rows_equal(c->param->real[i], word[k]))
			return k;
	return -1;
}

static void keep_parameter(struct choice *c)
{
	int doubling = c->q->kind == PD_COMPARE_SLOPE && isnan(c->q->step);

	for (size_t i = 0; i < c->n; i++) {
		if (!c->keep[i])
			continue;
		if (c->q->kind != PD_COMPARE_SLOPE &&
		    c->q->kind != PD_COMPARE_CURVE)
			c->keep[i] = pd_choice_arm(c, i) >= 0;
		else
			c->keep[i] = isfinite(c->param->real[i]) &&
			             (!doubling || c->param->real[i] > 0);
	}
}

static int at_level(const pd_column *col, size_t i, const char *word)
{
	return strcmp(col->level[col->code[i]], word) == 0;
}

/* Rows whose modifier is known, and at one of its two levels. */
static void keep_modifier(struct choice *c)
{
	const pd_question *q = c->q;
	const pd_column *col = pd_frame_find(c->frame, q->differs_by);

	for (size_t i = 0; i < c->n; i++)
		if (col->kind == PD_REAL)
			c->keep[i] &= isfinite(col->real[i]) != 0;
		else if (c->keep[i])
			c->keep[i] = col->code[i] >= 0 &&
			             (at_level(col, i, q->differs_first) ||
			              at_level(col, i, q->differs_second));
}

static void keep_adjusters(struct choice *c)
{
	for (size_t k = 0; k < c->q->n_adjust; k++) {
		const pd_column *col =
		    pd_frame_find(c->frame, c->q->adjust[k]);

		for (size_t i = 0; i < c->n; i++) {
			if (!c->keep[i])
				continue;
			if (col->kind == PD_FACTOR)
				c->keep[i] = col->code[i] >= 0;
			else
				c->keep[i] = isfinite(col->real[i]) &&
				             (!c->q->adjust_log[k] ||
				              col->real[i] > 0);
		}
	}
}

/* Failed cultures by arm, among rows that met the conditions. */
static pd_status count_failed(struct choice *c, pd_error *err)
{
	size_t room = c->param->kind == PD_FACTOR ? c->param->n_levels + 2 : 2;

	c->out->arm_failed = PD_NEW(c->scratch, size_t, room);
	if (!c->out->arm_failed)
		return no_memory(err);
	if (c->q->kind == PD_COMPARE_SLOPE || c->q->kind == PD_COMPARE_CURVE)
		return PD_OK;
	for (size_t i = 0; i < c->n; i++) {
		int32_t code = c->state->code[i];
		int32_t arm;

		if (!c->keep[i] || code < 0 ||
		    strcmp(c->state->level[code], "failed culture") != 0)
			continue;
		arm = pd_choice_arm(c, i);
		if (arm >= 0)
			c->out->arm_failed[arm]++;
	}
	return PD_OK;
}

static pd_status take(pd_store *store, const pd_question *question,
                      bool named, pd_arena *arena, pd_arena *scratch,
                      pd_rows *out, pd_error *err)
{
	struct choice c = { .q = question, .arena = arena, .scratch = scratch,
		            .out = out, .named = named };
	pd_status st;

	memset(out, 0, sizeof *out);
	st = query(store, &c, err);
	if (st == PD_OK)
		st = pd_note_empty(question, c.frame, arena, out, err);
	if (st == PD_OK)
		st = pd_note_where(question, c.frame, arena, out, err);
	if (st == PD_OK && question->n_where) {
		keep_conditions(&c);
		st = add_step(&c, pd_arena_print(arena, "where %s",
		                                 question->where_text), err);
	}
	if (st == PD_OK)
		st = count_failed(&c, err);
	if (st == PD_OK)
		st = pd_note_lacking(question, c.frame, c.keep, arena, out,
		                     err);
	if (st == PD_OK && !pd_rows_of_events(question)) {
		keep_results(&c);
		st = add_step(&c, "with a result", err);
	}
	if (st == PD_OK) {
		keep_parameter(&c);
		st = add_step(&c, question->kind == PD_COMPARE_SLOPE ||
		                          question->kind == PD_COMPARE_CURVE
		                      ? "with the parameter recorded"
		                      : "at a compared level", err);
	}
	if (st == PD_OK && question->differs_by) {
		keep_modifier(&c);
		st = add_step(&c, pd_arena_print(arena, "with %s recorded",
		                                 pd_words_parameter(
		                                     question->differs_by)),
		              err);
	}
	if (st == PD_OK && question->n_adjust &&
	    !pd_rows_of_events(question)) {
		keep_adjusters(&c);
		st = add_step(&c, "with every adjuster recorded", err);
	}
	if (st == PD_OK)
		st = pd_choice_lay_out(&c, err);
	if (st == PD_OK)
		st = pd_note_blood(question, arena, scratch, out, err);
	pd_frame_free(c.frame);
	if (st != PD_OK)
		pd_rows_clear(out);
	return st;
}

pd_status pd_rows_take(pd_store *store, const pd_question *question,
                       pd_arena *arena, pd_arena *scratch, pd_rows *out,
                       pd_error *err)
{
	return take(store, question, false, arena, scratch, out, err);
}

pd_status pd_rows_take_named(pd_store *store, const pd_question *question,
                             pd_arena *arena, pd_arena *scratch, pd_rows *out,
                             pd_error *err)
{
	return take(store, question, true, arena, scratch, out, err);
}

void pd_rows_clear(pd_rows *rows)
{
	pd_frame_free(rows->model);
	rows->model = NULL;
}
