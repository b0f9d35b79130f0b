/*
 * question_check.c - what only the whole section of a question can tell: keys
 * that are missing or do not go together, columns that do not exist.
 */
#include "plan/question_own.h"
#include "base/near.h"
#include "data/vocab.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static pd_status missing(pd_error *err, const char *file,
                         const pd_question *q, const char *what)
{
	return pd_fail_at(err, PD_PLAN, file, q->line, 1,
	                  "question '%s' has no %s", q->name, what);
}

pd_status pd_key_judged(const char *outcome, const char *judge,
                        const char *who, const char *file, size_t line,
                        pd_error *err)
{
	const char *const *words = pd_vocab_words(PD_F_OUTCOME);
	pd_near near = { .given = outcome };
	bool known = false;

	if (pd_query_unit(outcome, judge))
		return PD_OK;
	for (size_t i = 0; words[i]; i++) {
		known = known || strcmp(words[i], outcome) == 0;
		if (pd_query_unit(words[i], judge))
			pd_near_try(&near, words[i]);
	}
	return known ? pd_fail_at(err, PD_PLAN, file, line, line > 0,
	                          "%s'%s' cannot be judged by %s", who, outcome,
	                          judge)
	             : pd_fail_at(err, PD_PLAN, file, line, line > 0,
	                          "%s'%s' cannot be judged by %s: there is no "
	                          "such outcome%s", who, outcome, judge,
	                          pd_near_words(&near));
}

/* A word of a closed list of levels; any word where the list is open. */
static pd_status known_level(const pd_question *q, const char *file,
                             const char *column, const char *level,
                             pd_error *err)
{
	const char *const *words = pd_query_levels(column);
	pd_near near = { .given = level };

	for (size_t i = 0; words && words[i]; i++) {
		if (strcmp(words[i], level) == 0)
			return PD_OK;
		pd_near_try(&near, words[i]);
	}
	return words ? pd_fail_at(err, PD_PLAN, file, q->line, 1,
	                          "question '%s': '%s' is never '%s'%s", q->name,
	                          column, level, pd_near_words(&near))
	             : PD_OK;
}

/* A result, whichever way it is judged. */
static bool is_outcome(const char *name)
{
	return pd_query_unit(name, "concentration") ||
	       pd_query_unit(name, "percent");
}

static pd_status known_column(const pd_question *q, const char *file,
                              const char *name, const char *key,
                              pd_kind *kind, pd_error *err)
{
	static const char *const grains[] = { "pull", "site", "case" };

	if (pd_query_has(name, q->grain, kind))
		return PD_OK;
	pd_near near = { .given = name };
	const char *known;

	for (size_t k = 0; (known = pd_query_name(k, q->grain)); k++)
		pd_near_try(&near, known);
	return pd_fail_at(err, PD_PLAN, file, q->line, 1,
	                  "question '%s': '%s' names '%s', which a row for "
	                  "each %s does not have%s", q->name, key, name,
	                  grains[q->grain], is_outcome(name)
	                      ? ": a result is judged; held against another "
	                        "result of the same draw, that draw's error "
	                        "would stand on both sides"
	                      : pd_near_words(&near));
}

static pd_status check_columns(const pd_question *q, const char *file,
                               pd_error *err)
{
	pd_kind kind = PD_REAL;
	pd_status st = known_column(q, file, q->parameter, "what is compared",
	                            &kind, err);
	double number;

	if (st == PD_OK && kind != PD_REAL &&
	    (q->kind == PD_COMPARE_SLOPE || q->kind == PD_COMPARE_CURVE))
		st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                "question '%s': '%s' holds words, a %s needs "
		                "a number", q->name, q->parameter,
		                q->kind == PD_COMPARE_SLOPE ? "slope"
		                                            : "curve");
	if (st == PD_OK && q->kind == PD_COMPARE_LEVELS && kind == PD_REAL &&
	    isnan(q->change) &&
	    (!pd_plan_number(q->first, &number) ||
	     !pd_plan_number(q->second, &number)))
		st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                "question '%s': '%s' holds numbers, found '%s "
		                "against %s'", q->name, q->parameter, q->first,
		                q->second);
	if (st == PD_OK && q->kind == PD_COMPARE_LEVELS && isnan(q->change))
		st = known_level(q, file, q->parameter, q->first, err);
	if (st == PD_OK && q->kind == PD_COMPARE_LEVELS && isnan(q->change))
		st = known_level(q, file, q->parameter, q->second, err);
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
		for (size_t k = 0; st == PD_OK && k < c->n_values; k++)
			st = known_level(q, file, c->column, c->value[k], err);
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

/* A modifier is a number with a step or words with two levels. */
static pd_status check_modifier(const pd_question *q, const char *file,
                                pd_error *err)
{
	pd_kind kind = PD_REAL;

	if (!q->differs_by)
		return PD_OK;
	if (q->kind == PD_COMPARE_EACH || q->kind == PD_COMPARE_CURVE)
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': 'differs_by' needs two levels "
		                  "or a slope", q->name);
	if (strcmp(q->differs_by, q->parameter) == 0)
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': '%s' cannot differ by itself",
		                  q->name, q->parameter);
	pd_status st = known_column(q, file, q->differs_by, "differs_by", &kind,
	                            err);

	if (st == PD_OK && kind == PD_REAL && q->differs_first)
		st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                "question '%s': '%s' holds numbers, expected "
		                "'%s per STEP'", q->name, q->differs_by,
		                q->differs_by);
	if (st == PD_OK && kind == PD_FACTOR && !q->differs_first)
		st = pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                "question '%s': '%s' holds words, expected "
		                "'%s A against B'", q->name, q->differs_by,
		                q->differs_by);
	return st;
}

static pd_status check_change(const pd_question *q, const char *file,
                              pd_error *err)
{
	if (isnan(q->change))
		return PD_OK;
	for (size_t i = 0; i < q->n_adjust; i++)
		if (strcmp(q->adjust[i], "case_date") == 0)
			return pd_fail_at(err, PD_PLAN, file, q->line, 1,
			                  "question '%s': 'change' holds the "
			                  "calendar equal by itself, take "
			                  "'case_date' out of 'adjust'",
			                  q->name);
	return q->within ? pd_fail_at(err, PD_PLAN, file, q->line, 1,
	                              "question '%s': a change on a day lies "
	                              "between cases, not within a %s",
	                              q->name, q->within)
	                 : PD_OK;
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

/* A share of events compares two levels and nothing more. */
static pd_status check_risk(const pd_question *q, const char *file,
                            pd_error *err)
{
	bool risk = strcmp(q->judge, "risk") == 0;
	const char *no = q->kind != PD_COMPARE_LEVELS || !isnan(q->change)
	                     ? "it asks 'compare = PARAMETER A against B' only"
	                 : q->within     ? "'within' has no place in it"
	                 : q->differs_by ? "'differs_by' has no place in it"
	                 : !isnan(q->floor) ? "'floor' has no place in it"
	                                    : NULL;

	if (q->n_events && !risk)
		return pd_fail_at(err, PD_PLAN, file, q->line, 1,
		                  "question '%s': 'event' belongs to outcome "
		                  "adverse_event", q->name);
	return risk && no ? pd_fail_at(err, PD_PLAN, file, q->line, 1,
	                               "question '%s': a share of adverse "
	                               "events: %s", q->name, no)
	                  : PD_OK;
}

/* The blood count is part of a share of blood: the same number must not stand
 * on both sides. */
static pd_status check_share(const pd_question *q, const char *file,
                             pd_error *err)
{
	static const char *const parts[] = { "blood_wbc", "blood_rbc",
		                             "blood_hct" };
	size_t n = q->n_adjust + 1;

	if (strcmp(q->outcome, "blood_share") != 0)
		return PD_OK;
	for (size_t i = 0; i < n; i++) {
		const char *name = i ? q->adjust[i - 1] : q->parameter;

		for (size_t k = 0; k < 3; k++)
			if (strcmp(name, parts[k]) == 0)
				return pd_fail_at(
				    err, PD_PLAN, file, q->line, 1,
				    "question '%s': '%s' is part of the share "
				    "of blood: the same number would stand on "
				    "both sides", q->name, name);
	}
	return PD_OK;
}

pd_status pd_question_check(pd_question *q, const char *file, pd_error *err)
{
	pd_status st;

	char who[80];

	if (!q->title)
		return missing(err, file, q, "'title'");
	if (!q->outcome)
		return missing(err, file, q, "'outcome'");
	if (!q->judge)
		return missing(err, file, q, "'judge'");
	if (!q->parameter)
		return missing(err, file, q,
		               "'compare', 'slope', 'curve' or 'change'");
	snprintf(who, sizeof who, "question '%.60s': ", q->name);
	pd_status judged = pd_key_judged(q->outcome, q->judge, who, file,
	                                 q->line, err);

	if (judged != PD_OK)
		return judged;
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
	if (!isnan(q->floor))
		q->scale = PD_DIFFERENCE; /* a share, in points */
	st = check_margin(q, file, err);
	if (st == PD_OK)
		st = check_risk(q, file, err);
	if (st == PD_OK)
		st = check_share(q, file, err);
	if (st == PD_OK)
		st = check_change(q, file, err);
	if (st == PD_OK)
		st = check_modifier(q, file, err);
	return st == PD_OK ? check_columns(q, file, err) : st;
}
