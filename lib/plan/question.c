/*
 * question.c - reads what a question's keys say. One row of `keys` a key;
 * each reader takes the value's text and either fills the question or names
 * what was expected.
 */
#include "plan/question.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static pd_status bad(pd_error *err, const pd_plan_entry *e, const char *want)
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

static char *trimmed(pd_arena *a, const char *from, size_t n)
{
	while (n && (*from == ' ' || *from == '\t'))
		from++, n--;
	while (n && (from[n - 1] == ' ' || from[n - 1] == '\t'))
		n--;
	return pd_arena_copy_n(a, from, n);
}

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory reading the plan");
}

/* --- one reader a key ---------------------------------------------------- */

static pd_status read_text(pd_arena *a, const pd_plan_entry *e,
                           const char **out, pd_error *err)
{
	if (!*e->value)
		return bad(err, e, "some words");
	*out = pd_arena_copy(a, e->value);
	return *out ? PD_OK : no_memory(err);
}

static pd_status set_title(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                           pd_error *err)
{
	return read_text(a, e, &q->title, err);
}

static pd_status set_outcome(pd_arena *a, pd_question *q,
                             const pd_plan_entry *e, pd_error *err)
{
	return read_text(a, e, &q->outcome, err);
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
	return bad(err, e,
	           "concentration, prevalence, yield per pull, yield per site, "
	           "yield per case or percent");
}

/* `PARAM A against B` or `PARAM each against the mean`. */
static pd_status set_compare(pd_arena *a, pd_question *q,
                             const pd_plan_entry *e, pd_error *err)
{
	static const char each[] = "each against the mean";
	const char *space = strpbrk(e->value, " \t");
	const char *against = space ? strstr(space, " against ") : NULL;

	if (!against)
		return bad(err, e, "'PARAMETER A against B' or "
		                   "'PARAMETER each against the mean'");
	q->parameter = trimmed(a, e->value, (size_t)(space - e->value));
	const char *rest = space + strspn(space, " \t");

	if (strcmp(rest, each) == 0) {
		q->kind = PD_COMPARE_EACH;
		return q->parameter ? PD_OK : no_memory(err);
	}
	if (rest > against)
		return bad(err, e, "a level before 'against'");
	q->kind = PD_COMPARE_LEVELS;
	q->first = trimmed(a, rest, (size_t)(against - rest));
	against += strlen(" against ");
	q->second = trimmed(a, against, strlen(against));
	if (!q->parameter || !q->first || !q->second)
		return no_memory(err);
	if (!*q->first || !*q->second)
		return bad(err, e, "a level on both sides of 'against'");
	if (strcmp(q->first, q->second) == 0)
		return bad(err, e, "two different levels");
	return PD_OK;
}

/* `PARAM per STEP` or `PARAM per doubling`. */
static pd_status set_slope(pd_arena *a, pd_question *q, const pd_plan_entry *e,
                           pd_error *err)
{
	const char *per = strstr(e->value, " per ");
	double step = NAN;

	if (!per || per == e->value)
		return bad(err, e, "'PARAMETER per STEP' or "
		                   "'PARAMETER per doubling'");
	q->kind = PD_COMPARE_SLOPE;
	q->parameter = trimmed(a, e->value, (size_t)(per - e->value));
	char *what = trimmed(a, per + 5, strlen(per + 5));

	if (!q->parameter || !what)
		return no_memory(err);
	if (strcmp(what, "doubling") != 0 &&
	    (!pd_plan_number(what, &step) || step == 0))
		return bad(err, e, "a step other than 0, or 'doubling'");
	q->step = step;
	return PD_OK;
}

static pd_status set_within(pd_arena *a, pd_question *q,
                            const pd_plan_entry *e, pd_error *err)
{
	static const char *const known[] = { "patient", "case", "side",
		                             "site" };

	for (size_t i = 0; i < 4; i++)
		if (strcmp(e->value, known[i]) == 0)
			return read_text(a, e, &q->within, err);
	return bad(err, e, "patient, case, side or site");
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
		return no_memory(err);
	for (size_t i = 0; i < room; i++) {
		size_t n = strcspn(at, ",");
		char *word = trimmed(a, at, n);

		if (!word)
			return no_memory(err);
		if (strncmp(word, "log ", 4) == 0) {
			q->adjust_log[i] = true;
			word = trimmed(a, word + 4, strlen(word + 4));
			if (!word)
				return no_memory(err);
		}
		if (!*word || strpbrk(word, " \t"))
			return bad(err, e, "column names joined by commas, "
			                   "each may follow 'log'");
		for (size_t k = 0; k < i; k++)
			if (strcmp(q->adjust[k], word) == 0)
				return bad(err, e, "each column once");
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
		char *word = trimmed(a, rest, n);

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
		char *low = to ? trimmed(a, rest, (size_t)(to - rest)) : NULL;
		char *high = to ? trimmed(a, to + 4, strlen(to + 4)) : NULL;

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
	c->column = trimmed(a, text, (size_t)(space - text));
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
		return no_memory(err);
	for (size_t i = 0; i < room; i++) {
		size_t n = strcspn(at, ";");
		char *text = trimmed(a, at, n);

		if (!text)
			return no_memory(err);
		pd_status st = read_condition(a, &q->where[i], text);

		if (st == PD_NO_MEMORY)
			return no_memory(err);
		if (st != PD_OK)
			return bad(err, e,
			           "conditions joined by ';', each 'NAME is A "
			           "or B', 'NAME from X to Y', 'NAME at least "
			           "X' or 'NAME at most Y'");
		at += n + 1;
	}
	q->n_where = room;
	return read_text(a, e, &q->where_text, err);
}

/* Kept as written until the scale is known: see pd_question_check. */
static pd_status set_margin(pd_arena *a, pd_question *q,
                            const pd_plan_entry *e, pd_error *err)
{
	size_t n = strlen(e->value);
	int points = n > 7 && strcmp(e->value + n - 7, " points") == 0;
	char *number = trimmed(a, e->value, points ? n - 7 : n);

	if (!number)
		return no_memory(err);
	if (!pd_plan_number(number, &q->margin) || q->margin <= 0 ||
	    (!points && (q->margin >= 1)) || (points && q->margin >= 100))
		return bad(err, e, "a ratio between 0 and 1 such as 0.80, or "
		                   "'2 points' for a percentage");
	if (points)
		q->margin = -q->margin; /* the sign marks points until checked */
	return PD_OK;
}

static pd_status set_margin_reason(pd_arena *a, pd_question *q,
                                   const pd_plan_entry *e, pd_error *err)
{
	return read_text(a, e, &q->margin_reason, err);
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
	return bad(err, e, "primary, secondary, exploratory or control");
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
	return bad(err, e, "'above 1' or 'below 1' (for a percentage 'above "
	                   "0' or 'below 0')");
}

static const struct key {
	const char *name;
	pd_status (*set)(pd_arena *, pd_question *, const pd_plan_entry *,
	                 pd_error *);
} keys[] = {
	{ "title", set_title },     { "outcome", set_outcome },
	{ "judge", set_judge },     { "compare", set_compare },
	{ "slope", set_slope },     { "within", set_within },
	{ "adjust", set_adjust },   { "where", set_where },
	{ "margin", set_margin },   { "margin_reason", set_margin_reason },
	{ "role", set_role },       { "expect", set_expect },
};

pd_status pd_question_set(pd_arena *arena, pd_question *q,
                          const pd_plan_entry *e, pd_error *err)
{
	if ((strcmp(e->key, "slope") == 0 || strcmp(e->key, "compare") == 0) &&
	    q->parameter)
		return pd_fail_at(err, PD_PLAN, e->file, e->line,
		                  e->key_column,
		                  "'%s': a question has either 'compare' or "
		                  "'slope', once", e->key);
	for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
		if (strcmp(e->key, keys[i].name) == 0)
			return keys[i].set(arena, q, e, err);
	return pd_fail_at(err, PD_PLAN, e->file, e->line, e->key_column,
	                  "unknown key '%s', expected title, outcome, judge, "
	                  "compare, slope, within, adjust, where, margin, "
	                  "margin_reason, role or expect", e->key);
}

/* --- the whole section --------------------------------------------------- */

static pd_status missing(pd_error *err, const char *file,
                         const pd_question *q, const char *what)
{
	return pd_fail_at(err, PD_PLAN, file, q->line, 1,
	                  "question '%s' has no %s", q->name, what);
}

static pd_status known_column(const pd_question *q, const char *file,
                              const char *name, const char *key,
                              pd_kind *kind, pd_error *err)
{
	static const char *const grains[] = { "pull", "site", "case" };

	if (pd_query_has(name, q->grain, kind))
		return PD_OK;
	return pd_fail_at(err, PD_PLAN, file, q->line, 1,
	                  "question '%s': '%s' names '%s', which a row for "
	                  "each %s does not have", q->name, key, name,
	                  grains[q->grain]);
}

static pd_status check_columns(const pd_question *q, const char *file,
                               pd_error *err)
{
	pd_kind kind = PD_REAL;
	pd_status st = known_column(q, file, q->parameter, "compare or slope",
	                            &kind, err);
	double number;

	if (st == PD_OK && q->kind == PD_COMPARE_SLOPE && kind != PD_REAL)
		st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                "question '%s': '%s' holds words, a slope "
		                "needs a number", q->name, q->parameter);
	if (st == PD_OK && q->kind == PD_COMPARE_LEVELS && kind == PD_REAL &&
	    (!pd_plan_number(q->first, &number) ||
	     !pd_plan_number(q->second, &number)))
		st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                "question '%s': '%s' holds numbers, found '%s "
		                "against %s'", q->name, q->parameter, q->first,
		                q->second);
	if (st == PD_OK && q->kind == PD_COMPARE_EACH && kind != PD_FACTOR)
		st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                "question '%s': '%s' holds numbers, 'each "
		                "against the mean' needs words", q->name,
		                q->parameter);
	for (size_t i = 0; st == PD_OK && i < q->n_adjust; i++) {
		st = known_column(q, file, q->adjust[i], "adjust", &kind, err);
		if (st == PD_OK && q->adjust_log[i] && kind != PD_REAL)
			st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
			                "question '%s': no log of '%s', which "
			                "holds words", q->name, q->adjust[i]);
		if (st == PD_OK && strcmp(q->adjust[i], q->parameter) == 0)
			st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
			                "question '%s': '%s' is both judged "
			                "and adjusted for", q->name,
			                q->parameter);
	}
	for (size_t i = 0; st == PD_OK && i < q->n_where; i++) {
		const pd_condition *c = &q->where[i];

		st = known_column(q, file, c->column, "where", &kind, err);
		if (st == PD_OK && kind == PD_FACTOR && c->n_values == 0)
			st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
			                "question '%s': '%s' holds words, "
			                "'where' needs 'is'", q->name,
			                c->column);
		for (size_t k = 0; st == PD_OK && kind == PD_REAL &&
		                   k < c->n_values; k++)
			if (!pd_plan_number(c->value[k], &number))
				st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
				                "question '%s': '%s' holds "
				                "numbers, found '%s'", q->name,
				                c->column, c->value[k]);
	}
	return st;
}

/* Which levels of the tree a row of each grain still has. */
static int has_level(pd_grain grain, const char *level)
{
	if (strcmp(level, "site") == 0 || strcmp(level, "side") == 0)
		return grain == PD_BY_ALIQUOT ||
		       (grain == PD_BY_SITE && strcmp(level, "side") == 0);
	return !(grain == PD_BY_CASE && strcmp(level, "case") == 0);
}

static pd_status check_margin(pd_question *q, const char *file, pd_error *err)
{
	int points = q->margin < 0;

	if (isnan(q->margin))
		return PD_OK;
	if (points != (q->scale == PD_DIFFERENCE))
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': the margin of %s is %s",
		                  q->name, points ? "a ratio" : "a percentage",
		                  points ? "a number between 0 and 1"
		                         : "written as '2 points'");
	q->margin = fabs(q->margin);
	return PD_OK;
}

pd_status pd_question_check(pd_question *q, const char *file, pd_error *err)
{
	pd_status st;

	if (!q->title)
		return missing(err, file, q, "'title'");
	if (!q->outcome)
		return missing(err, file, q, "'outcome'");
	if (!q->judge)
		return missing(err, file, q, "'judge'");
	if (!q->parameter)
		return missing(err, file, q, "'compare' or 'slope'");
	if (!pd_query_unit(q->outcome, q->judge))
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': '%s' cannot be judged by "
		                  "%s", q->name, q->outcome, q->judge);
	if (q->role == PD_CONTROL && !q->expect)
		return missing(err, file, q,
		               "'expect', which a control needs");
	if (q->role != PD_CONTROL && q->expect)
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': 'expect' belongs to role "
		                  "control", q->name);
	if (q->role == PD_CONTROL && q->kind == PD_COMPARE_EACH)
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': a control needs one effect, "
		                  "not each level", q->name);
	if (q->within && !has_level(q->grain, q->within))
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': nothing varies within a %s "
		                  "when one row is a %s", q->name, q->within,
		                  q->grain == PD_BY_SITE ? "site" : "case");
	if (q->within && q->kind == PD_COMPARE_EACH)
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': 'within' needs two levels "
		                  "or a slope", q->name);
	st = check_margin(q, file, err);
	return st == PD_OK ? check_columns(q, file, err) : st;
}
