/*
 * question.c - reads what a question's keys say. One row of `keys` a key;
 * each reader takes the value's text and either fills the question or names
 * what was expected.
 */
#include "plan/question_own.h"
#include "plan/keyfile.h"
#include "base/near.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* --- one reader a key ---------------------------------------------------- */

static pd_status set_title(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                           pd_error *err)
{
	return pd_key_text(a, e, &q->title, err);
}

static pd_status set_outcome(pd_arena *a, pd_question *q,
                             const pd_plan_entry *e, pd_error *err)
{
	return pd_key_text(a, e, &q->outcome, err);
}

static const struct judge {
	const char *words, *judge;
	pd_grain grain;
	pd_scale scale;
} judges[] = {
	{ "concentration", "concentration", PD_BY_ALIQUOT, PD_RATIO },
	{ "prevalence", "prevalence", PD_BY_ALIQUOT, PD_RATIO },
	{ "yield per pull", "yield", PD_BY_ALIQUOT, PD_RATIO },
	{ "yield per site", "yield", PD_BY_SITE, PD_RATIO },
	{ "yield per case", "yield", PD_BY_CASE, PD_RATIO },
	{ "percent", "percent", PD_BY_ALIQUOT, PD_DIFFERENCE },
	{ "risk per case", "risk", PD_BY_CASE, PD_DIFFERENCE },
	{ "risk per site", "risk", PD_BY_SITE, PD_DIFFERENCE },
};

static pd_status set_judge(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                           pd_error *err)
{
	(void)a;
	for (size_t i = 0; i < sizeof judges / sizeof *judges; i++) {
		if (strcmp(e->value, judges[i].words) != 0)
			continue;
		q->judge = judges[i].judge;
		q->grain = judges[i].grain;
		q->scale = judges[i].scale;
		return PD_OK;
	}
	return pd_key_bad(err, e,
	           "concentration, prevalence, yield per pull, yield per site, "
	           "yield per case, percent, risk per case or risk per site");
}

static pd_status set_within(pd_arena *a, pd_question *q,
                            const pd_plan_entry *e, pd_error *err)
{
	static const char *const known[] = { "patient", "case", "side",
		                             "site" };

	for (size_t i = 0; i < 4; i++)
		if (strcmp(e->value, known[i]) == 0)
			return pd_key_text(a, e, &q->within, err);
	return pd_key_bad(err, e, "patient, case, side or site");
}

static size_t count_char(const char *text, char c)
{
	size_t n = 0;

	for (; *text; text++)
		n += *text == c;
	return n;
}

static pd_status set_adjust(pd_arena *a, pd_question *q,
                            const pd_plan_entry *e, pd_error *err)
{
	size_t room = count_char(e->value, ',') + 1;
	const char *at = e->value;

	q->adjust = PD_NEW(a, const char *, room);
	q->adjust_log = PD_NEW(a, bool, room);
	if (!q->adjust || !q->adjust_log)
		return pd_key_no_memory(err);
	for (size_t i = 0; i < room; i++) {
		size_t n = strcspn(at, ",");
		char *word = pd_key_trimmed(a, at, n);

		if (!word)
			return pd_key_no_memory(err);
		if (strncmp(word, "log ", 4) == 0) {
			q->adjust_log[i] = true;
			word = pd_key_trimmed(a, word + 4, strlen(word + 4));
			if (!word)
				return pd_key_no_memory(err);
		}
		if (!*word || strpbrk(word, " \t"))
			return pd_key_bad(err, e, "column names joined by commas, "
			                   "each may follow 'log'");
		for (size_t k = 0; k < i; k++)
			if (strcmp(q->adjust[k], word) == 0)
				return pd_key_bad(err, e, "each column once");
		q->adjust[i] = word;
		at += n + 1;
	}
	q->n_adjust = room;
	return PD_OK;
}

/* `NAME is A or B` */
static pd_status read_is(pd_arena *a, pd_condition *c, char *rest)
{
	size_t room = 1;

	for (const char *p = rest; (p = strstr(p, " or ")); p += 4)
		room++;
	c->value = PD_NEW(a, const char *, room);
	if (!c->value)
		return PD_NO_MEMORY;
	while (rest) {
		char *or = strstr(rest, " or ");
		size_t n = or ? (size_t)(or - rest) : strlen(rest);
		char *word = pd_key_trimmed(a, rest, n);

		if (!word)
			return PD_NO_MEMORY;
		if (!*word)
			return PD_PLAN;
		c->value[c->n_values++] = word;
		rest = or ? or + 4 : NULL;
	}
	return PD_OK;
}

/* `NAME from X to Y`, `NAME at least X`, `NAME at most Y` */
static pd_status read_range(pd_arena *a, pd_condition *c, const char *word,
                            char *rest)
{
	if (strcmp(word, "from") == 0) {
		char *to = strstr(rest, " to ");
		char *low = to ? pd_key_trimmed(a, rest, (size_t)(to - rest)) : NULL;
		char *high = to ? pd_key_trimmed(a, to + 4, strlen(to + 4)) : NULL;

		return low && high && pd_plan_number(low, &c->low) &&
		               pd_plan_number(high, &c->high) &&
		               c->low <= c->high
		           ? PD_OK
		           : PD_PLAN;
	}
	if (strcmp(word, "at") != 0)
		return PD_PLAN;
	if (strncmp(rest, "least ", 6) == 0)
		return pd_plan_number(rest + 6, &c->low) ? PD_OK : PD_PLAN;
	if (strncmp(rest, "most ", 5) == 0)
		return pd_plan_number(rest + 5, &c->high) ? PD_OK : PD_PLAN;
	return PD_PLAN;
}

static pd_status read_condition(pd_arena *a, pd_condition *c, char *text)
{
	char *space = strpbrk(text, " \t");

	c->low = -INFINITY;
	c->high = INFINITY;
	if (!space)
		return PD_PLAN;
	c->column = pd_key_trimmed(a, text, (size_t)(space - text));
	char *word = space + strspn(space, " \t");
	char *end = strpbrk(word, " \t");

	if (!c->column || !end)
		return PD_PLAN;
	*end = '\0';
	char *rest = end + 1 + strspn(end + 1, " \t");

	return strcmp(word, "is") == 0 ? read_is(a, c, rest)
	                               : read_range(a, c, word, rest);
}

static pd_status set_where(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                           pd_error *err)
{
	size_t room = count_char(e->value, ';') + 1;
	const char *at = e->value;

	q->where = PD_NEW(a, pd_condition, room);
	if (!q->where)
		return pd_key_no_memory(err);
	for (size_t i = 0; i < room; i++) {
		size_t n = strcspn(at, ";");
		char *text = pd_key_trimmed(a, at, n);

		if (!text)
			return pd_key_no_memory(err);
		pd_status st = read_condition(a, &q->where[i], text);

		if (st == PD_NO_MEMORY)
			return pd_key_no_memory(err);
		if (st != PD_OK)
			return pd_key_bad(err, e,
			           "conditions joined by ';', each 'NAME is A "
			           "or B', 'NAME from X to Y', 'NAME at least "
			           "X' or 'NAME at most Y'");
		at += n + 1;
	}
	q->n_where = room;
	return pd_key_text(a, e, &q->where_text, err);
}

/* Kept as written until the scale is known: see pd_question_check. */
static pd_status set_margin(pd_arena *a, pd_question *q,
                            const pd_plan_entry *e, pd_error *err)
{
	size_t n = strlen(e->value);
	int points = n > 7 && strcmp(e->value + n - 7, " points") == 0;
	char *number = pd_key_trimmed(a, e->value, points ? n - 7 : n);

	if (!number)
		return pd_key_no_memory(err);
	if (!pd_plan_number(number, &q->margin) || q->margin <= 0 ||
	    (!points && (q->margin >= 1)) || (points && q->margin >= 100))
		return pd_key_bad(err, e, "a ratio between 0 and 1 such as 0.80, or "
		                   "'2 points' for a percentage");
	if (points)
		q->margin = -q->margin; /* the sign marks points until checked */
	return PD_OK;
}

static pd_status set_margin_reason(pd_arena *a, pd_question *q,
                                   const pd_plan_entry *e, pd_error *err)
{
	return pd_key_text(a, e, &q->margin_reason, err);
}

static pd_status set_assigned(pd_arena *a, pd_question *q,
                              const pd_plan_entry *e, pd_error *err)
{
	return pd_key_text(a, e, &q->assigned, err);
}

static pd_status set_role(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                          pd_error *err)
{
	static const char *const words[] = { "primary", "secondary",
		                             "exploratory", "control" };

	(void)a;
	for (int i = 0; i < 4; i++)
		if (strcmp(e->value, words[i]) == 0) {
			q->role = (pd_role)i;
			return PD_OK;
		}
	return pd_key_bad(err, e, "primary, secondary, exploratory or control");
}

static pd_status set_expect(pd_arena *a, pd_question *q,
                            const pd_plan_entry *e, pd_error *err)
{
	static const struct {
		const char *words;
		int sign;
	} known[] = { { "above 1", 1 }, { "below 1", -1 },
		      { "above 0", 1 }, { "below 0", -1 } };

	(void)a;
	for (size_t i = 0; i < 4; i++)
		if (strcmp(e->value, known[i].words) == 0) {
			q->expect = known[i].sign;
			return PD_OK;
		}
	return pd_key_bad(err, e, "'above 1' or 'below 1' (for a percentage 'above "
	                   "0' or 'below 0')");
}

static const struct key {
	const char *name;
	pd_status (*set)(pd_arena *, pd_question *, const pd_plan_entry *,
	                 pd_error *);
} keys[] = {
	{ "title", set_title },     { "outcome", set_outcome },
	{ "judge", set_judge },     { "floor", pd_key_floor },
	{ "event", pd_key_event },
	{ "compare", pd_key_compare }, { "slope", pd_key_slope },
	{ "curve", pd_key_curve },  { "change", pd_key_change },
	{ "differs_by", pd_key_differs_by }, { "within", set_within },
	{ "adjust", set_adjust },   { "where", set_where },
	{ "margin", set_margin },   { "margin_reason", set_margin_reason },
	{ "assigned", set_assigned }, { "role", set_role },
	{ "expect", set_expect },
};

static pd_status unknown_key(const pd_plan_entry *e, pd_error *err)
{
	enum { N = sizeof keys / sizeof *keys };
	const char *name[N];
	pd_near near = { .given = e->key };
	char known[240];

	for (size_t i = 0; i < N; i++) {
		name[i] = keys[i].name;
		pd_near_try(&near, name[i]);
	}
	return pd_fail_at(err, PD_PLAN, e->file, e->line, e->key_column,
	                  "unknown key '%s', expected %s%s", e->key,
	                  pd_keyfile_names(name, N, known, sizeof known),
	                  pd_near_words(&near));
}

pd_status pd_question_set(pd_arena *arena, pd_question *q,
                          const pd_plan_entry *e, pd_error *err)
{
	static const char *const asked[] = { "compare", "slope", "curve",
		                             "change" };

	for (size_t i = 0; q->parameter && i < 4; i++)
		if (strcmp(e->key, asked[i]) == 0)
			return pd_fail_at(err, PD_PLAN, e->file, e->line,
			                  e->key_column,
			                  "'%s': a question has one of "
			                  "'compare', 'slope', 'curve' and "
			                  "'change', once", e->key);
	for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
		if (strcmp(e->key, keys[i].name) == 0)
			return keys[i].set(arena, q, e, err);
	return unknown_key(e, err);
}
