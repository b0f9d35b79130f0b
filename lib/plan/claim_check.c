/*
 * claim_check.c - what only a whole claim file can tell: which numbers each
 * arm prints, units that cannot be held together, and what is missing.
 */
#include "plan/claim_own.h"
#include "data/query.h"
#include "data/units.h"

#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

/* --- wording ------------------------------------------------------------- */

static bool has(const char *text, const char *const *words)
{
	for (; *words; words++)
		if (strstr(text, *words))
			return true;
	return false;
}

bool pd_claim_wording(const char *text, pd_wording *out)
{
	static const char *const up[] = { "higher", "more", "greater",
		                          "increase", "above", NULL };
	static const char *const down[] = { "lower", "less", "fewer",
		                            "decrease", "below", NULL };
	static const char *const even[] = { "as many", "as high", "as much",
		                            "that of", NULL };
	char number[40];
	size_t n = strspn(text, "0123456789.");
	const char *rest = text + n;

	if (n == 0 || n >= sizeof number)
		return false;
	memcpy(number, text, n);
	number[n] = '\0';
	rest += strspn(rest, " -");
	memset(out, 0, sizeof *out);
	if (!pd_plan_number(number, &out->amount) || out->amount <= 0)
		return false;
	out->less = has(rest, down);
	bool more = has(rest, up);

	if (*rest == '%' || strncmp(rest, "percent", 7) == 0 ||
	    strncmp(rest, "per cent", 8) == 0) {
		out->kind = PD_WORDING_PERCENT;
		return more != out->less && !(out->less && out->amount >= 100);
	}
	if (strncmp(rest, "times", 5) != 0 && strncmp(rest, "fold", 4) != 0)
		return false;
	out->kind = more || out->less ? PD_WORDING_TIMES : PD_WORDING_FOLD;
	return !(more && out->less) &&
	       (more || out->less || has(rest, even) ||
	        strcmp(rest, "fold") == 0 || strcmp(rest, "times") == 0);
}

size_t pd_claim_meanings(const pd_wording *w, double out[2])
{
	double x = w->amount;

	switch (w->kind) {
	case PD_WORDING_NONE:
		return 0;
	case PD_WORDING_FOLD:
		out[0] = x;
		return 1;
	case PD_WORDING_TIMES:
		out[0] = w->less ? 1 / x : x;
		out[1] = w->less ? 1 / (1 + x) : 1 + x;
		return 2;
	case PD_WORDING_PERCENT:
		break;
	}
	out[0] = w->less ? 1 - x / 100 : 1 + x / 100;
	out[1] = x / 100;
	return !w->less && x > 100 ? 2 : 1;
}

/* --- which numbers an arm prints ----------------------------------------- */

static const struct print {
	pd_print_kind kind;
	const char *first, *second, *third;
} prints[] = {
	{ PD_PRINT_MEAN_SD, "mean", "sd", NULL },
	{ PD_PRINT_MEAN_SE, "mean", "se", NULL },
	{ PD_PRINT_MEAN_EITHER, "mean", "plus_minus", NULL },
	{ PD_PRINT_QUARTILES, "median", "lower", "upper" },
	{ PD_PRINT_RANGE, "median", "lowest", "largest" },
	{ PD_PRINT_GEOMETRIC, "geometric_mean", "low", "high" },
	{ PD_PRINT_COUNTS, "colonies", "cells", NULL },
};

static size_t given(const pd_print_arm *a, const char *names[16])
{
	const struct {
		const char *name;
		double x;
	} all[] = {
		{ "mean", a->mean }, { "sd", a->sd }, { "se", a->se },
		{ "plus_minus", a->plus_minus }, { "median", a->median },
		{ "lower", a->lower }, { "upper", a->upper },
		{ "lowest", a->lowest }, { "largest", a->largest },
		{ "geometric_mean", a->geometric_mean }, { "low", a->low },
		{ "high", a->high }, { "colonies", a->colonies },
		{ "cells", a->cells },
	};
	size_t n = 0;

	for (size_t i = 0; i < sizeof all / sizeof *all; i++)
		if (!isnan(all[i].x))
			names[n++] = all[i].name;
	return n;
}

static bool among(const char *word, const char *const *names, size_t n)
{
	for (size_t i = 0; word && i < n; i++)
		if (strcmp(names[i], word) == 0)
			return true;
	return false;
}

static pd_status find_kind(pd_print_arm *a, const char *section,
                           const char *file, pd_error *err)
{
	const char *names[16];
	size_t n = given(a, names);

	if (n == 0)
		return PD_OK;
	for (size_t i = 0; i < sizeof prints / sizeof *prints; i++) {
		const struct print *p = &prints[i];

		if (n == (p->third ? 3u : 2u) && among(p->first, names, n) &&
		    among(p->second, names, n) &&
		    (!p->third || among(p->third, names, n))) {
			a->kind = p->kind;
			return PD_OK;
		}
	}
	char found[200] = "";

	for (size_t i = 0, at = 0; i < n; i++)
		at += (size_t)snprintf(found + at, sizeof found - at, "%s%s",
		                       i ? ", " : "", names[i]);
	return pd_fail_at(err, PD_PLAN, file, a->line, 1,
	                  "[%s] has %s, expected mean with sd, se or (when "
	                  "the print does not say which) plus_minus; median "
	                  "with lower and upper quartile, or with lowest and "
	                  "largest; geometric_mean with low and high; or "
	                  "colonies with cells", section, found);
}

static pd_status check_order(const pd_print_arm *a, const char *section,
                             const char *file, pd_error *err)
{
	double low = NAN, mid = NAN, high = NAN;

	if (a->kind == PD_PRINT_QUARTILES)
		low = a->lower, mid = a->median, high = a->upper;
	else if (a->kind == PD_PRINT_RANGE)
		low = a->lowest, mid = a->median, high = a->largest;
	else if (a->kind == PD_PRINT_GEOMETRIC)
		low = a->low, mid = a->geometric_mean, high = a->high;
	else
		return PD_OK;
	return low < high && low <= mid && mid <= high
	           ? PD_OK
	           : pd_fail_at(err, PD_PLAN, file, a->line, 1,
	                        "[%s]: found %g with limits %g and %g, "
	                        "expected the limits on both sides of it",
	                        section, mid, low, high);
}

/* --- units --------------------------------------------------------------- */

static const struct unit_field {
	const char *outcome, *judge;
	pd_field field;
} unit_fields[] = {
	{ "tnc", "concentration", PD_F_TNC },
	{ "mnc", "concentration", PD_F_MNC },
	{ "cd34", "concentration", PD_F_CD34 },
	{ "cd271", "concentration", PD_F_CD271 },
	{ "cfu_f", "concentration", PD_F_CFU_F },
	{ "platelets", "concentration", PD_F_PLATELETS },
	{ "rbc", "concentration", PD_F_RBC },
	{ "cfu_f", "prevalence", PD_F_CFU_F_E6 },
	{ "mnc", "prevalence", PD_F_CFU_F_E6 },
	{ "cd34", "prevalence", PD_F_CFU_F_E6 },
	{ "cd271", "prevalence", PD_F_CFU_F_E6 },
};

static pd_field field_of(const pd_question *q, const char *judge)
{
	for (size_t i = 0; i < sizeof unit_fields / sizeof *unit_fields; i++)
		if (strcmp(unit_fields[i].outcome, q->outcome) == 0 &&
		    strcmp(unit_fields[i].judge, judge) == 0)
			return unit_fields[i].field;
	return PD_N_FIELDS;
}

static bool unit_fits(pd_field f, const char *text, double *times)
{
	const char *why = NULL;
	pd_unit u;

	if (f == PD_N_FIELDS || !pd_unit_find(f, text, strlen(text), &u, &why))
		return false;
	if (u.way != PD_WAY_SHIFT && u.way != PD_WAY_TIMES)
		return false;
	*times = pow(10, u.shift) * (u.way == PD_WAY_TIMES ? u.times : 1);
	return true;
}

/* A unit of the judge: PD_OK. One of the other judge, where the numbers
 * cannot be what is judged: PD_REFUSED. Neither: PD_PLAN with the place. */
static pd_status check_unit(const pd_question *q, pd_print_arm *a,
                            const char *section, const char *file,
                            pd_error *err)
{
	const char *own = pd_query_unit(q->outcome, q->judge);
	const char *other = strcmp(q->judge, "prevalence") == 0
	                        ? "concentration" : "prevalence";
	pd_field f = field_of(q, q->judge);
	char list[300] = "";
	double ignored;

	if (!a->unit)
		return pd_fail_at(err, PD_PLAN, file, a->line, 1,
		                  "[%s] has numbers and no 'unit', expected one "
		                  "such as %s", section, own);
	if (strcmp(a->unit, own) == 0 || unit_fits(f, a->unit, &a->times))
		return PD_OK;
	if (unit_fits(field_of(q, other), a->unit, &ignored) ||
	    unit_fits(field_of(q, "concentration"), a->unit, &ignored))
		return PD_REFUSED;
	if (f != PD_N_FIELDS)
		pd_unit_list(f, list, sizeof list);
	return pd_fail_at(err, PD_PLAN, file, a->unit_line, a->unit_column,
	                  "'unit': found '%s', expected %s", a->unit,
	                  *list ? list : own);
}

static const char *judge_words(const pd_question *q)
{
	static const char *const grains[] = { "yield per pull",
		                              "yield per site",
		                              "yield per case" };

	return strcmp(q->judge, "yield") == 0 ? grains[q->grain] : q->judge;
}

static pd_status no_match(pd_arena *arena, pd_claim_file *f, const char *words,
                          pd_error *err)
{
	f->refusal = words;
	(void)arena;
	return words ? PD_OK : pd_key_no_memory(err);
}

static pd_status check_match(pd_arena *arena, pd_claim_file *f, int k,
                             const char *section, pd_error *err)
{
	pd_print_arm *a = &f->arm[k], *b = &f->arm[0];
	const char *judged = judge_words(f->question);

	if (a->judge && strcmp(a->judge, judged) != 0)
		return no_match(arena, f, pd_arena_print(
		    arena, "the %s's numbers are a %s and the claim is judged by "
		    "%s; a ratio of the two would be a ratio of volumes or of "
		    "cells as well", section, a->judge, judged), err);
	if (k == 1 && a->line && b->line && a->material && b->material &&
	    strcmp(a->material, b->material) != 0)
		return no_match(arena, f, pd_arena_print(
		    arena, "the device's numbers are of %s, the comparator's of "
		    "%s: centrifuging alone changes every number, so the two "
		    "cannot be held together", b->material, a->material), err);
	if (a->kind == PD_PRINT_NONE || a->kind == PD_PRINT_COUNTS)
		return PD_OK;
	pd_status st = check_unit(f->question, a, section, f->plan.name, err);

	return st != PD_REFUSED ? st
	    : no_match(arena, f, pd_arena_print(
	          arena, "the %s's numbers are printed as '%s', which is not a "
	          "%s: per mL and per million cells answer different "
	          "questions, and nothing printed turns one into the other",
	          section, a->unit, judged), err);
}

/* Counts are a prevalence by nature. */
static pd_status check_counts(pd_arena *arena, pd_claim_file *f, pd_error *err)
{
	bool counts = f->arm[0].kind == PD_PRINT_COUNTS ||
	              f->arm[1].kind == PD_PRINT_COUNTS;

	if (!counts || strcmp(f->question->judge, "prevalence") == 0)
		return PD_OK;
	return no_match(arena, f, pd_arena_print(
	    arena, "colonies on cells plated are a prevalence and the claim is "
	    "judged by %s", judge_words(f->question)), err);
}

static pd_status check_arms(pd_arena *arena, pd_claim_file *f, pd_error *err)
{
	static const char *const section[2] = { "device", "comparator" };
	const char *file = f->plan.name;
	pd_status st = PD_OK;

	for (int k = 0; st == PD_OK && k < 2; k++) {
		pd_print_arm *a = &f->arm[k];

		if (!a->line)
			continue;
		st = find_kind(a, section[k], file, err);
		if (st == PD_OK)
			st = check_order(a, section[k], file, err);
		if (st == PD_OK && !a->material)
			st = pd_fail_at(err, PD_PLAN, file, a->line, 1,
			                "[%s] has no 'material', expected "
			                "aspirate or concentrate", section[k]);
		if (st == PD_OK && a->kind != PD_PRINT_NONE &&
		    a->kind != PD_PRINT_COUNTS && !a->n)
			st = pd_fail_at(err, PD_PLAN, file, a->line, 1,
			                "[%s] has numbers and no 'n', the "
			                "patients behind them", section[k]);
		if (st == PD_OK && !f->refusal)
			st = check_match(arena, f, k, section[k], err);
	}
	if (st == PD_OK && f->arm[0].kind != f->arm[1].kind &&
	    f->arm[0].kind && f->arm[1].kind)
		st = pd_fail_at(err, PD_PLAN, file, f->arm[1].line, 1,
		                "[comparator] prints other numbers than "
		                "[device], expected the same kind in both");
	if (st == PD_OK && f->paired && f->arm[0].n && f->arm[1].n &&
	    f->arm[0].n != f->arm[1].n)
		st = pd_fail_at(err, PD_PLAN, file, f->arm[1].line, 1,
		                "pairs of %zu and %zu patients, expected the "
		                "same n in both arms of a paired study",
		                f->arm[0].n, f->arm[1].n);
	return st == PD_OK && !f->refusal ? check_counts(arena, f, err) : st;
}

/* --- the question -------------------------------------------------------- */

static pd_status missing(pd_error *err, const pd_claim_file *f,
                         const char *what)
{
	return pd_fail_at(err, PD_PLAN, f->plan.name, f->question->line, 1,
	                  "[claim] has no %s", what);
}

static pd_status check_claim(pd_claim_file *f, pd_error *err)
{
	const pd_question *q = f->question;
	bool limits = !isnan(f->low) || !isnan(f->high);

	if (!f->title)
		return missing(err, f, "'title'");
	if (!q->outcome)
		return missing(err, f, "'outcome'");
	if (!q->judge)
		return missing(err, f, "'judge'");
	if (!f->wording.kind && isnan(f->ratio) && !f->arm[0].line)
		return missing(err, f, "'wording' or 'ratio', and there is no "
		                       "section [device] with numbers");
	if (q->scale == PD_DIFFERENCE)
		return pd_fail_at(err, PD_PLAN, f->plan.name, q->line, 1,
		                  "'judge': found %s, expected concentration, "
		                  "prevalence or a yield: a claim is held "
		                  "against this clinic as a ratio",
		                  strcmp(q->judge, "risk") != 0 ? q->judge
		                  : q->grain == PD_BY_SITE ? "risk per site"
		                                           : "risk per case");
	pd_status st = pd_key_judged(q->outcome, q->judge, "", f->plan.name,
	                             q->line, err);

	if (st != PD_OK)
		return st;
	if (limits && !(f->low < f->high && f->low <= f->ratio &&
	                f->ratio <= f->high))
		return pd_fail_at(err, PD_PLAN, f->plan.name, q->line, 1,
		                  "found ratio %g with low %g and high %g, "
		                  "expected low < ratio < high", f->ratio, f->low,
		                  f->high);
	if (f->n && !f->paired)
		return pd_fail_at(err, PD_PLAN, f->plan.name, q->line, 1,
		                  "'n' in [claim] is the number of pairs, "
		                  "expected 'paired = yes', or 'n' in [device] "
		                  "and [comparator]");
	if (f->paired && !f->n)
		f->n = f->arm[0].n ? f->arm[0].n : f->arm[1].n;
	return PD_OK;
}

/* A question of its own for the reader of rows; without `compare` it is
 * checked as one about age, so that `where` is checked all the same. */
static pd_status check_question(pd_arena *arena, pd_claim_file *f,
                                pd_error *err)
{
	pd_question *q = f->question, about_age;
	pd_status st;

	q->title = f->title;
	f->asks = q->parameter != NULL;
	if (!f->asks && (q->within || q->n_adjust))
		return pd_fail_at(err, PD_PLAN, f->plan.name, q->line, 1,
		                  "'%s' without 'compare' in [clinic]",
		                  q->within ? "within" : "adjust");
	if (f->asks && (q->kind != PD_COMPARE_LEVELS))
		return pd_fail_at(err, PD_PLAN, f->plan.name, q->line, 1,
		                  "'compare' of a claim needs 'PARAMETER A "
		                  "against B', A the device");
	about_age = *q;
	if (!f->asks) {
		about_age.kind = PD_COMPARE_SLOPE;
		about_age.parameter = "age_y";
		about_age.step = 10;
	}
	st = pd_question_check(&about_age, f->plan.name, err);
	if (st != PD_OK)
		return st;
	q->margin = about_age.margin;
	for (int k = 0; k < 2; k++)
		if (f->arm[k].material &&
		    strcmp(f->arm[k].material, "aspirate") != 0)
			f->elsewhere = "the claim is about concentrate and this "
			               "clinic's questions are about aspirate";
	(void)arena;
	return PD_OK;
}

pd_status pd_claim_check(pd_arena *arena, pd_claim_file *f, pd_error *err)
{
	pd_status st = check_claim(f, err);

	if (st == PD_OK && f->title) { /* the ledger knows it by this */
		f->question->known_as = pd_arena_print(arena, "claim: %s",
		                                       f->title);
		if (!f->question->known_as)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	if (st == PD_OK)
		st = check_question(arena, f, err);
	return st == PD_OK ? check_arms(arena, f, err) : st;
}
