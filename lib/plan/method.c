/*
 * method.c - facts about the rows, a table from facts to a method, and the
 * reasons for which nothing can answer.
 */
#include "plan/method.h"
#include "plan/notes.h"
#include "plan/pairs.h"

#include <math.h>
#include <string.h>

/* What the table looks at. */
struct facts {
	int levels;    /* two levels are compared (not a slope, not each)     */
	int within;    /* the plan asks for a comparison inside a unit        */
	int censored;  /* some results are known only between limits          */
	int varying;   /* an adjuster or the method version changes inside it */
	int versions;  /* the method version does                             */
	int differs;   /* the effect is asked to differ by something          */
};

enum { NO = 0, YES = 1, ANY = 2 };

static const struct rule {
	int levels, within, censored, varying;
	pd_way way;
	const char *why;
} table[] = {
	{ YES, YES, NO, NO, PD_WAY_PAIRED,
	  "Both levels were drawn inside the same %s and every result is a "
	  "number, so each patient is compared with themselves: mean of the "
	  "patients' paired differences with a t interval" },
	{ ANY, YES, ANY, ANY, PD_WAY_WITHIN,
	  "Only differences inside the same %s speak; a mixed model is used "
	  "because %s" },
	{ ANY, NO, ANY, ANY, PD_WAY_BETWEEN,
	  "The levels are compared across patients, so a mixed "
	  "model with the patient tree as random effects adjusts for what is "
	  "named" },
};

static int fits(int wanted, int fact)
{
	return wanted == ANY || wanted == (fact != 0);
}

static const struct rule *pick(const struct facts *f)
{
	for (size_t i = 0; i < sizeof table / sizeof *table; i++)
		if (fits(table[i].levels, f->levels) &&
		    fits(table[i].within, f->within) &&
		    fits(table[i].censored, f->censored) &&
		    fits(table[i].varying, f->varying))
			return &table[i];
	return NULL; /* the last two rows take everything */
}

/* Does the column change inside any unit? */
static int column_varies(const pd_column *c, const pd_rows *r, size_t unit,
                         size_t *first)
{
	for (size_t g = 0; g < r->n_groups[unit]; g++)
		first[g] = (size_t)-1;
	for (size_t i = 0; i < r->n; i++) {
		size_t *f = &first[r->group[unit][i]];

		if (*f == (size_t)-1)
			*f = i;
		else if (c->kind == PD_REAL ? c->real[i] != c->real[*f]
		                            : c->code[i] != c->code[*f])
			return 1;
	}
	return 0;
}

static int any_varies(const pd_question *q, const pd_rows *r, size_t unit,
                      pd_arena *arena)
{
	size_t *first = PD_NEW(arena, size_t, r->n_groups[unit] + 1);

	for (size_t k = 0; first && k < q->n_adjust; k++) {
		const char *name = pd_rows_adjuster(arena, q, k);
		const pd_column *c = name ? pd_frame_find(r->model, name)
		                          : NULL;

		if (c && column_varies(c, r, unit, first))
			return 1;
	}
	return 0;
}

/* Does the laboratory's method version, where it is not what is judged? A
 * pair of one count by each would take the laboratory's step for the
 * technique's. */
static int version_varies(const pd_question *q, const pd_rows *r, size_t unit,
                          pd_arena *arena)
{
	const pd_column *v = pd_frame_find(r->model, "method_version");
	size_t *first = PD_NEW(arena, size_t, r->n_groups[unit] + 1);

	return v && first && v->n_levels > 1 &&
	       strcmp(q->parameter, "method_version") != 0 &&
	       column_varies(v, r, unit, first);
}

/* Distinct patients among rows of each arm (or all rows for a slope). */
static size_t fewest_patients(const pd_rows *r, size_t *worst_arm,
                              pd_arena *arena)
{
	size_t arms = r->arm ? r->n_arms : 1, fewest = (size_t)-1;

	*worst_arm = 0;
	for (size_t a = 0; a < arms; a++) {
		unsigned char *seen =
		    PD_NEW(arena, unsigned char, r->n_groups[0] + 1);
		size_t n = 0;

		for (size_t i = 0; seen && i < r->n; i++) {
			if (r->arm && (size_t)r->arm[i] != a)
				continue;
			n += !seen[r->group[0][i]];
			seen[r->group[0][i]] = 1;
		}
		if (n < fewest) {
			fewest = n;
			*worst_arm = a;
		}
	}
	return fewest;
}

/* Patients in whom the slope's parameter changes inside a unit. */
static size_t moving_patients(const pd_rows *r, size_t unit, pd_arena *arena)
{
	double *first = PD_NEW(arena, double, r->n_groups[unit] + 1);
	unsigned char *has = PD_NEW(arena, unsigned char, r->n_groups[0] + 1);
	size_t n = 0;

	if (!first || !has)
		return 0;
	for (size_t g = 0; g < r->n_groups[unit]; g++)
		first[g] = NAN;
	for (size_t i = 0; i < r->n; i++) {
		double *f = &first[r->group[unit][i]];

		if (isnan(*f))
			*f = r->x[i];
		else if (r->x[i] != *f)
			has[r->group[0][i]] = 1;
	}
	for (size_t p = 0; p < r->n_groups[0]; p++)
		n += has[p];
	return n;
}

/* NULL, or the arms share no method version, so that the laboratory's change
 * and the technique's cannot be told apart. */
static const char *split_versions(const pd_question *q, const pd_rows *r,
                                  pd_arena *arena)
{
	const pd_column *v = pd_frame_find(r->model, "method_version");

	if (!v || !r->arm || r->n_arms != 2 || v->n_levels < 2 ||
	    strcmp(q->parameter, "method_version") == 0)
		return NULL;
	unsigned char *in = PD_NEW(arena, unsigned char, 2 * v->n_levels);

	for (size_t i = 0; in && i < r->n; i++)
		in[2 * (size_t)v->code[i] + (size_t)r->arm[i]] = 1;
	for (size_t k = 0; in && k < v->n_levels; k++)
		if (in[2 * k] && in[2 * k + 1])
			return NULL;
	return "no laboratory method version counted both levels, so a change "
	       "of method and a change of technique cannot be told apart; "
	       "count some samples by both versions first";
}

/* A curve says nothing outside the values seen. */
static const char *outside(const pd_question *q, const pd_rows *r,
                           pd_arena *arena)
{
	double low = INFINITY, high = -INFINITY;

	for (size_t i = 0; i < r->n; i++) {
		low = fmin(low, r->raw[i]);
		high = fmax(high, r->raw[i]);
	}
	if (fmin(q->from, q->to) >= low && fmax(q->from, q->to) <= high)
		return NULL;
	return pd_arena_print(arena, "%s against %s lies outside the values "
	                      "seen, %g to %g", q->first, q->second, low, high);
}

enum { LEAST_AT_FLOOR = 5 };

/* A share whose interval rests on a handful of rows is not given. */
static const char *few_at_floor(const pd_question *q, const pd_rows *r,
                                pd_arena *arena)
{
	size_t arms = r->arm ? r->n_arms : 1;

	for (size_t a = 0; a < arms; a++) {
		size_t n = 0, reached = 0;

		for (size_t i = 0; i < r->n; i++) {
			if (r->arm && (size_t)r->arm[i] != a)
				continue;
			n++;
			reached += r->low[i] > 0;
		}
		if (reached >= LEAST_AT_FLOOR && n - reached >= LEAST_AT_FLOOR)
			continue;
		return pd_arena_print(
		    arena, "%zu of %zu results%s%s reach the floor of %g: an "
		    "interval needs at least %d that do and %d that do not",
		    reached, n, r->arm ? " at " : "",
		    r->arm ? r->arm_name[a] : "", q->floor, LEAST_AT_FLOOR,
		    LEAST_AT_FLOOR);
	}
	return NULL;
}

/* Two method versions are compared and no pull was counted by both: their
 * patients and their time cannot be told from the laboratory. */
static const char *no_bridge(const pd_question *q, const pd_rows *r,
                             const pd_method *m)
{
	if (strcmp(q->parameter, "method_version") != 0 ||
	    q->kind != PD_COMPARE_LEVELS || !r->arm || r->n_arms != 2 ||
	    m->n_bridges > 0)
		return NULL;
	return "no pull was counted by both method versions, so the "
	       "laboratory's step cannot be told from that of the patients and "
	       "the time; have some samples counted by both, then see 'perdraw "
	       "agree'";
}

static const char *find_refusal(const pd_plan *plan, const pd_question *q,
                                const pd_rows *r, pd_method *m,
                                pd_arena *arena, pd_arena *scratch)
{
	size_t worst, n;

	if (r->n == 0)
		return pd_note_no_rows(r, arena);
	if (r->arm && r->n_arms < 2 && q->kind == PD_COMPARE_EACH)
		return "only one level of the parameter occurs";
	n = fewest_patients(r, &worst, scratch);
	if (n < plan->min_patients)
		return r->arm
		    ? pd_arena_print(arena, "'%s' was drawn in %zu patient%s, "
		                     "the plan asks for at least %zu",
		                     r->arm_name[worst], n,
		                     n == 1 ? "" : "s", plan->min_patients)
		    : pd_arena_print(arena, "patients: %zu, the plan asks for "
		                     "at least %zu", n, plan->min_patients);
	if (q->within) {
		n = r->arm ? m->n_pair_patients
		           : moving_patients(r, m->unit, scratch);
		if (n < plan->min_patients)
			return pd_arena_print(
			    arena, "only %zu patients have %s inside one %s, "
			    "the plan asks for at least %zu", n,
			    r->arm ? "both levels" : "different values",
			    q->within, plan->min_patients);
	}
	if (q->kind == PD_COMPARE_CURVE) {
		const char *beyond = outside(q, r, arena);

		if (beyond)
			return beyond;
	}
	if (!isnan(q->floor)) {
		const char *few = few_at_floor(q, r, arena);

		if (few)
			return few;
	}
	if (2 * r->n_censored > r->n)
		return pd_arena_print(
		    arena, "%zu of %zu results are zero, below detection or "
		    "too many to count: more than half, so a ratio would rest "
		    "on what was not measured", r->n_censored, r->n);
	if (no_bridge(q, r, m))
		return no_bridge(q, r, m);
	return split_versions(q, r, scratch);
}

static void refuse(pd_method *m, const char *words)
{
	if (words && m->n_refused < sizeof m->refused / sizeof *m->refused)
		m->refused[m->n_refused++] = words;
}

static void name_refused(const pd_question *q, const pd_rows *r,
                         const struct facts *f, pd_method *m, pd_arena *arena)
{
	if (q->within && m->way != PD_WAY_PAIRED && f->censored)
		refuse(m, pd_arena_print(
		    arena, "paired differences: %zu results are limits, not "
		    "numbers, and a pair needs two numbers", r->n_censored));
	if (q->within && m->way != PD_WAY_PAIRED && f->differs)
		refuse(m, "paired differences: they cannot tell by what the "
		          "effect differs");
	else if (q->within && m->way != PD_WAY_PAIRED && f->varying)
		refuse(m, f->versions
		              ? "paired differences: the laboratory's method "
		                "version changes inside the unit"
		              : "paired differences: an adjuster changes inside "
		                "the unit");
	if (q->within && f->levels == 0)
		refuse(m, q->kind == PD_COMPARE_CURVE
		              ? "paired differences: a curve has no two arms"
		              : "paired differences: a slope has no two arms");
	if (f->censored)
		refuse(m, "a model of the measured results alone: leaving "
		          "zeros and limits out would raise the mean of the "
		          "poorer arm");
	if (!q->within && f->levels && m->n_pair_patients == 0)
		refuse(m, "pairing: no patient has both levels");
}

static const char *word_rule(const struct rule *rule, const pd_question *q,
                             const struct facts *f, pd_arena *arena)
{
	const char *because =
	    f->differs    ? "the effect may differ from patient to patient"
	    : f->versions ? "the laboratory's method version changes inside it"
	    : f->varying  ? "an adjuster changes inside it"
	    : f->censored ? "some results are limits, not numbers"
	    : !f->levels  ? q->kind == PD_COMPARE_CURVE
	                        ? "a curve is asked for"
	                        : "a slope is asked for"
	                  : "it takes all pulls at once";

	if (rule->way == PD_WAY_PAIRED)
		return pd_arena_print(arena, rule->why, q->within);
	if (rule->way == PD_WAY_WITHIN)
		return pd_arena_print(arena, rule->why, q->within, because);
	if (!f->levels)
		return q->kind == PD_COMPARE_CURVE
		    ? "A curve over all patients is asked for, so a mixed "
		      "model with a restricted cubic spline (four knots, three "
		      "where the values bear no more) and the patient tree as "
		      "random effects adjusts for what is named"
		    : q->kind == PD_COMPARE_SLOPE
		    ? "A slope over all patients is asked for, so a mixed "
		      "model with the patient tree as random effects adjusts "
		      "for what is named"
		    : "Several levels are compared at once, so a mixed model "
		      "with the patient tree as random effects adjusts for "
		      "what is named";
	return pd_arena_copy(arena, rule->why);
}

pd_status pd_method_choose(const pd_plan *plan, const pd_question *q,
                           const pd_rows *rows, pd_arena *arena,
                           pd_arena *scratch, pd_method *out, pd_error *err)
{
	struct facts f = { .levels = q->kind == PD_COMPARE_LEVELS,
		           .within = q->within != NULL,
		           .censored = rows->n_censored > 0 };

	memset(out, 0, sizeof *out);
	out->unit = q->within ? pd_rows_level(rows, q->within) : PD_ROWS_DEPTH;
	if (f.within) {
		f.versions = version_varies(q, rows, out->unit, scratch);
		f.differs = q->differs_by != NULL;
		f.varying = f.differs || f.versions ||
		            any_varies(q, rows, out->unit, scratch);
	}
	if (f.levels && rows->n_arms == 2)
		out->n_pair_patients = pd_pairs_patients(
		    rows, f.within ? out->unit : 0, scratch);
	if (f.levels && rows->n_arms == 2 && rows->depth == PD_ROWS_DEPTH)
		out->n_bridges = pd_pairs_patients(rows, PD_ROWS_DEPTH - 1,
		                                   scratch);
	out->refusal = find_refusal(plan, q, rows, out, arena, scratch);
	if (out->refusal)
		return PD_OK;
	const struct rule *rule = pick(&f);

	if (!rule)
		return pd_fail(err, PD_INTERNAL, "no method for '%s'", q->name);
	out->way = rule->way;
	out->sentence = word_rule(rule, q, &f, arena);
	name_refused(q, rows, &f, out, arena);
	return out->sentence ? PD_OK
	                     : pd_fail(err, PD_NO_MEMORY, "out of memory");
}
