/*
 * question_kind.c - what a question asks: two levels or each, a slope, a curve
 * between two values, a change on a day; by what the effect may differ; the
 * floor that makes a share of the outcome, and the adverse events that count.
 */
#include "plan/question_own.h"
#include "base/scan.h"
#include "data/vocab.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

pd_status pd_key_bad(pd_error *err, const pd_plan_entry *e, const char *want)
{
	return pd_fail_at(err, PD_PLAN, e->file, e->line, e->value_column,
	                  "'%s': found '%s', expected %s", e->key, e->value,
	                  want);
}

int pd_plan_number(const char *text, double *out)
{
	static const char allowed[] = "0123456789.+-eE";
	char *end;

	if (!*text || strspn(text, allowed) != strlen(text))
		return 0;
	*out = strtod(text, &end); /* LC_NUMERIC is always C here */
	return *end == '\0' && isfinite(*out);
}

char *pd_key_trimmed(pd_arena *a, const char *from, size_t n)
{
	while (n && (*from == ' ' || *from == '\t'))
		from++, n--;
	while (n && (from[n - 1] == ' ' || from[n - 1] == '\t'))
		n--;
	return pd_arena_copy_n(a, from, n);
}

pd_status pd_key_no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory reading the plan");
}

pd_status pd_key_text(pd_arena *a, const pd_plan_entry *e,
                           const char **out, pd_error *err)
{
	if (!*e->value)
		return pd_key_bad(err, e, "some words");
	*out = pd_arena_copy(a, e->value);
	return *out ? PD_OK : pd_key_no_memory(err);
}

/* `PARAM A against B` or `PARAM each against the mean`. */
pd_status pd_key_compare(pd_arena *a, pd_question *q,
                             const pd_plan_entry *e, pd_error *err)
{
	static const char each[] = "each against the mean";
	const char *space = strpbrk(e->value, " \t");
	const char *against = space ? strstr(space, " against ") : NULL;

	if (!against)
		return pd_key_bad(err, e, "'PARAMETER A against B' or "
		                   "'PARAMETER each against the mean'");
	q->parameter = pd_key_trimmed(a, e->value, (size_t)(space - e->value));
	const char *rest = space + strspn(space, " \t");

	if (strcmp(rest, each) == 0) {
		q->kind = PD_COMPARE_EACH;
		return q->parameter ? PD_OK : pd_key_no_memory(err);
	}
	if (rest > against)
		return pd_key_bad(err, e, "a level before 'against'");
	q->kind = PD_COMPARE_LEVELS;
	q->first = pd_key_trimmed(a, rest, (size_t)(against - rest));
	against += strlen(" against ");
	q->second = pd_key_trimmed(a, against, strlen(against));
	if (!q->parameter || !q->first || !q->second)
		return pd_key_no_memory(err);
	if (!*q->first || !*q->second)
		return pd_key_bad(err, e, "a level on both sides of 'against'");
	if (strcmp(q->first, q->second) == 0)
		return pd_key_bad(err, e, "two different levels");
	return PD_OK;
}

/* `PARAM per STEP` or `PARAM per doubling`. */
pd_status pd_key_slope(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                           pd_error *err)
{
	const char *per = strstr(e->value, " per ");
	double step = NAN;

	if (!per || per == e->value)
		return pd_key_bad(err, e, "'PARAMETER per STEP' or "
		                   "'PARAMETER per doubling'");
	q->kind = PD_COMPARE_SLOPE;
	q->parameter = pd_key_trimmed(a, e->value, (size_t)(per - e->value));
	char *what = pd_key_trimmed(a, per + 5, strlen(per + 5));

	if (!q->parameter || !what)
		return pd_key_no_memory(err);
	if (strcmp(what, "doubling") != 0 &&
	    (!pd_plan_number(what, &step) || step == 0))
		return pd_key_bad(err, e, "a step other than 0, or 'doubling'");
	q->step = step;
	return PD_OK;
}

/* `A against B` out of e's value from `rest` on, trimmed, both not empty. */
static pd_status read_against(pd_arena *a, const pd_plan_entry *e,
                              const char *rest, const char **first,
                              const char **second, pd_error *err)
{
	const char *against = strstr(rest, " against ");

	if (!against)
		return pd_key_bad(err, e, "'A against B' after the parameter");
	*first = pd_key_trimmed(a, rest, (size_t)(against - rest));
	against += strlen(" against ");
	*second = pd_key_trimmed(a, against, strlen(against));
	if (!*first || !*second)
		return pd_key_no_memory(err);
	if (!**first || !**second)
		return pd_key_bad(err, e, "a level on both sides of 'against'");
	return strcmp(*first, *second)
	           ? PD_OK
	           : pd_key_bad(err, e, "two different levels");
}

/* First word of the value; *rest what follows. */
static char *first_word(pd_arena *a, const pd_plan_entry *e, const char **rest)
{
	size_t n = strcspn(e->value, " \t");

	*rest = e->value + n;
	return pd_key_trimmed(a, e->value, n);
}

/* `PARAM A against B`, both numbers. */
pd_status pd_key_curve(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                       pd_error *err)
{
	const char *rest;

	q->kind = PD_COMPARE_CURVE;
	q->parameter = first_word(a, e, &rest);
	if (!q->parameter)
		return pd_key_no_memory(err);
	pd_status st = read_against(a, e, rest, &q->first, &q->second, err);

	if (st == PD_OK && (!pd_plan_number(q->first, &q->to) ||
	                    !pd_plan_number(q->second, &q->from)))
		st = pd_key_bad(err, e, "two numbers, as in 'volume_ml 10 "
		                        "against 4'");
	return st;
}

/* A day: cases from then on against those before. */
pd_status pd_key_change(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                        pd_error *err)
{
	int32_t day;

	if (!pd_scan_date(e->value, strlen(e->value), &pd_date_iso, &day))
		return pd_key_bad(err, e, "a day such as 2024-06-01");
	q->kind = PD_COMPARE_LEVELS;
	q->parameter = "date";
	q->change = day;
	q->first = pd_arena_print(a, "from %s on", e->value);
	q->second = pd_arena_print(a, "before %s", e->value);
	return q->first && q->second ? PD_OK : pd_key_no_memory(err);
}

/* `PARAM per STEP` or `PARAM A against B`. */
pd_status pd_key_differs_by(pd_arena *a, pd_question *q,
                            const pd_plan_entry *e, pd_error *err)
{
	const char *per = strstr(e->value, " per "), *rest;

	q->differs_by = first_word(a, e, &rest);
	if (!q->differs_by)
		return pd_key_no_memory(err);
	if (!per || per != rest)
		return read_against(a, e, rest, &q->differs_first,
		                    &q->differs_second, err);
	char *step = pd_key_trimmed(a, per + 5, strlen(per + 5));

	if (!step)
		return pd_key_no_memory(err);
	if (!pd_plan_number(step, &q->differs_step) || q->differs_step == 0)
		return pd_key_bad(err, e, "'PARAMETER per STEP' or "
		                          "'PARAMETER A against B'");
	return PD_OK;
}

/* What a draw has to reach, in the outcome's unit. */
pd_status pd_key_floor(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                       pd_error *err)
{
	(void)a;
	if (!pd_plan_number(e->value, &q->floor) || q->floor <= 0)
		return pd_key_bad(err, e, "a number above 0");
	return PD_OK;
}

static bool is_event(const char *word)
{
	const char *const *known = pd_vocab_words(PD_F_ADVERSE);

	for (size_t k = 1; known[k]; k++) /* the first is "none" */
		if (strcmp(word, known[k]) == 0)
			return true;
	return false;
}

/* `KIND or KIND`, of the vocabulary's adverse events. */
pd_status pd_key_event(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                       pd_error *err)
{
	size_t room = 1;
	const char *at = e->value;

	for (const char *p = at; (p = strstr(p, " or ")); p += 4)
		room++;
	q->events = PD_NEW(a, const char *, room);
	if (!q->events)
		return pd_key_no_memory(err);
	while (at) {
		const char *or = strstr(at, " or ");
		char *word = pd_key_trimmed(
		    a, at, or ? (size_t)(or - at) : strlen(at));

		if (!word)
			return pd_key_no_memory(err);
		if (!is_event(word))
			return pd_key_bad(err, e,
			                  "bleeding, haematoma, infection, "
			                  "nerve symptoms, persistent pain, "
			                  "faint or other, joined by 'or'");
		q->events[q->n_events++] = word;
		at = or ? or + 4 : NULL;
	}
	return PD_OK;
}
