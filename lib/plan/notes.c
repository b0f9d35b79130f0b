/* notes.c - counts over a question's rows, put into words. */
#include "plan/notes.h"

#include <math.h>
#include <string.h>

/* Shares of unknown dilution that differ by more than this are named. */
static const double uneven = 0.1;

static pd_status done(const char *words, const char **to, pd_error *err)
{
	*to = words;
	return words ? PD_OK
	             : pd_fail(err, PD_NO_MEMORY, "out of memory in notes");
}

pd_status pd_note_left_out(const pd_question *q, const pd_query_flow *flow,
                           pd_arena *arena, pd_rows *out, pd_error *err)
{
	pd_status st = PD_OK;

	if (flow->pooled_out)
		st = done(pd_arena_print(
		    arena, "Pools: %zu pooled results hold several pulls and "
		    "are not rows of this question.", flow->pooled_out),
		    &out->pool_note, err);
	if (st == PD_OK && flow->incomplete_out)
		st = done(pd_arena_print(
		    arena, "Coverage: %zu %s were left out because their "
		    "results do not cover every mL exactly once.",
		    flow->incomplete_out,
		    q->grain == PD_BY_CASE ? "cases" : "sites"),
		    &out->incomplete_note, err);
	return st;
}

/* Does any row of the frame hold the word? */
static int occurs(const pd_column *c, size_t n, const char *word)
{
	if (c->kind == PD_FACTOR) {
		for (size_t k = 0; k < c->n_levels; k++)
			if (strcmp(c->level[k], word) == 0)
				return 1;
		return 0;
	}
	for (size_t i = 0; i < n; i++)
		if (pd_rows_equal(c->real[i], word))
			return 1;
	return 0;
}

static int is_empty(const pd_frame *frame, const char *name)
{
	const pd_column *c = pd_frame_find(frame, name);

	for (size_t i = 0; c && i < pd_frame_rows(frame); i++)
		if (c->kind == PD_FACTOR ? c->code[i] >= 0
		                         : !isnan(c->real[i]))
			return 0;
	return c != NULL;
}

/* `words` into the list of empty columns, once. */
static pd_status add_empty(const char *words, pd_arena *arena, pd_rows *out,
                           pd_error *err)
{
	const char *had = out->empty_note;
	const char *at = had ? strstr(had, words) : NULL;
	size_t n = strlen(words);

	if (at && (at[n] == '\0' || at[n] == ',') && at[-1] == ' ')
		return PD_OK;
	return done(pd_arena_print(arena, "%s%s%s",
	                           had ? had : "Nothing is recorded of ",
	                           had ? ", " : "", words),
	            &out->empty_note, err);
}

pd_status pd_note_empty(const pd_question *q, const pd_frame *frame,
                        pd_arena *arena, pd_rows *out, pd_error *err)
{
	pd_status st = is_empty(frame, "low")
	                   ? add_empty(q->outcome, arena, out, err)
	                   : PD_OK;

	if (st == PD_OK && is_empty(frame, q->parameter))
		st = add_empty(q->parameter, arena, out, err);
	for (size_t k = 0; st == PD_OK && k < q->n_where; k++)
		if (is_empty(frame, q->where[k].column))
			st = add_empty(q->where[k].column, arena, out, err);
	/* the method version is the result's: none without one */
	for (size_t k = 0; st == PD_OK && k < q->n_adjust; k++)
		if (strcmp(q->adjust[k], "method_version") != 0 &&
		    is_empty(frame, q->adjust[k]))
			st = add_empty(q->adjust[k], arena, out, err);
	return st;
}

const char *pd_note_no_rows(const pd_rows *r, pd_arena *arena)
{
	return pd_arena_print(
	    arena, "no row is left after the steps below%s%s%s%s%s%s",
	    r->empty_note ? ". " : "", r->empty_note ? r->empty_note : "",
	    r->where_note ? ". " : "", r->where_note ? r->where_note : "",
	    r->pool_note ? ". " : "", r->pool_note ? r->pool_note : "");
}

pd_status pd_note_where(const pd_question *q, const pd_frame *frame,
                        pd_arena *arena, pd_rows *out, pd_error *err)
{
	size_t n = pd_frame_rows(frame);
	pd_status st = PD_OK;

	for (size_t w = 0; w < q->n_where; w++) {
		const pd_condition *is = &q->where[w];
		const pd_column *c = pd_frame_find(frame, is->column);

		for (size_t k = 0; st == PD_OK && c && k < is->n_values; k++) {
			if (occurs(c, n, is->value[k]) ||
			    is_empty(frame, is->column))
				continue;
			st = done(pd_arena_print(
			    arena, "%s%s%s is '%s'", out->where_note
			        ? out->where_note
			        : "Conditions: no record meets ",
			    out->where_note ? ", or " : "", is->column,
			    is->value[k]), &out->where_note, err);
		}
	}
	if (st == PD_OK && out->where_note)
		st = done(pd_arena_print(arena, "%s; see whether it is spelled "
		                         "as in the data.", out->where_note),
		          &out->where_note, err);
	return st;
}

pd_status pd_note_dilution(const pd_question *q, const pd_frame *frame,
                           const unsigned char *keep, pd_arena *arena,
                           pd_rows *out, pd_error *err)
{
	const pd_column *known = pd_frame_find(frame, "undiluted");
	double n[2] = { 0 }, not[2] = { 0 };
	size_t to = 0, all = 0;
	int two = out->arm && out->n_arms == 2;

	if (!known || (strcmp(q->judge, "concentration") != 0 &&
	               strcmp(q->judge, "yield") != 0))
		return PD_OK;
	for (size_t i = 0; i < pd_frame_rows(frame); i++) {
		if (!keep[i])
			continue;
		size_t arm = two ? (size_t)out->arm[to] : 0;

		n[arm] += 1;
		not[arm] += known->real[i] == 0;
		all += known->real[i] == 0;
		to++;
	}
	if (!all)
		return PD_OK;
	pd_status st = done(pd_arena_print(
	    arena, "Dilution: for %zu of %zu results the anticoagulant or its "
	    "volume is not recorded; they are taken as if there was none, which "
	    "is too low where there was.", all, to), &out->dilution_note, err);

	if (st != PD_OK || !two ||
	    !(fabs(not[0] / n[0] - not[1] / n[1]) > uneven))
		return st;
	return done(pd_arena_print(
	    arena, "The anticoagulant or its volume is not recorded for %.0f of "
	    "%.0f results at '%s' and %.0f of %.0f at '%s': the difference "
	    "between the levels may be one of dilution.", not[0], n[0],
	    out->arm_name[0], not[1], n[1], out->arm_name[1]),
	    &out->dilution_caution, err);
}

pd_status pd_note_refusal(pd_status st, const pd_error *inner, pd_arena *arena,
                          const char **refusal, pd_error *err)
{
	*refusal = NULL;
	if (st == PD_REFUSED) {
		*refusal = pd_arena_copy(arena, inner->text);
		return *refusal ? PD_OK
		                : pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	if (st != PD_OK && err)
		*err = *inner;
	return st;
}
