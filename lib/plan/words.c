/* words.c - one row a parameter; everything else falls back to its name. */
#include "plan/words.h"
#include "data/query.h"

#include <math.h>
#include <string.h>

static const struct words {
	const char *column;
	const char *arm;   /* with one %s for the level                        */
	const char *name;  /* "The result rises with NAME"                     */
	const char *step;  /* unit of a step                                   */
	bool trait, burden;
} table[] = {
	{ "age_y", "age %s", "age", "years of age", true, false },
	{ "aliquot_no", "pull %s", "pull number", "later pulls", false, true },
	{ "anticoagulant", "%s", "anticoagulant", "", false, false },
	{ "anticoagulant_ml", "%s mL anticoagulant", "anticoagulant volume",
	  "mL", false, false },
	{ "bmi", "BMI %s", "body mass index", "kg/m2", true, false },
	{ "case_date", "date %s", "calendar time", "years", true, false },
	{ "date", "%s", "calendar", "", true, false },
	{ "distance_mm", "%s mm apart", "distance to the previous entry", "mm",
	  false, false },
	{ "landmark", "%s", "landmark", "", false, false },
	{ "method_version", "method version %s", "laboratory method version",
	  "", true, false },
	{ "ml_before_side", "%s mL drawn before",
	  "mL drawn earlier from the same side", "mL", false, true },
	{ "move", "pull after '%s'", "needle move", "", false, false },
	{ "n_aliquots", "%s pulls", "pulls per site", "pulls", false, true },
	{ "n_sites", "%s sites", "number of sites", "sites", false, true },
	{ "needle", "needle %s", "needle", "", false, false },
	{ "needle_gauge", "%s gauge", "needle gauge", "gauge", false, false },
	{ "needle_geometry", "%s needle", "needle geometry", "", false, false },
	{ "needle_moved", "needle moved: %s", "needle moved in the hole", "",
	  false, false },
	{ "operator", "operator %s", "operator", "", true, false },
	{ "pull_style", "%s pull", "pull style", "", false, false },
	{ "quarter", "%s", "quarter", "", true, false },
	{ "repeat_case", "repeat case %s", "repeat case", "", true, false },
	{ "sex", "%s", "sex", "", true, false },
	{ "side_word", "%s side", "side", "", false, false },
	{ "site_in_side", "site %s of the side", "sites before on the side",
	  "sites", false, true },
	{ "site_ml", "%s mL per site", "mL per site", "mL", false, true },
	{ "site_no", "site %s", "site number", "sites", false, true },
	{ "syringe_ml", "%s mL syringe", "syringe size", "mL", false, false },
	{ "time_to_lab_min", "%s min to the laboratory",
	  "time to the laboratory", "min", false, false },
	{ "total_ml", "%s mL in all", "total mL", "mL", false, true },
	{ "volume_ml", "%s mL pull", "mL per pull", "mL", false, true },
};

static const struct words *about(const char *column)
{
	for (size_t i = 0; i < sizeof table / sizeof *table; i++)
		if (strcmp(table[i].column, column) == 0)
			return &table[i];
	return NULL;
}

const char *pd_words_arm(pd_arena *arena, const char *parameter,
                         const char *level)
{
	const struct words *w = about(parameter);
	const char *hole = w ? strstr(w->arm, "%s") : NULL;

	if (!hole)
		return pd_arena_print(arena, "%s %s", parameter, level);
	return pd_arena_print(arena, "%.*s%s%s", (int)(hole - w->arm), w->arm,
	                      level, hole + 2);
}

static const char *step_words(pd_arena *arena, const char *parameter,
                              double step)
{
	const struct words *w = about(parameter);

	if (step == 1 && strcmp(parameter, "case_date") == 0)
		return "per year";
	if (step == 1 && strcmp(parameter, "n_sites") == 0)
		return "per further site";
	if (step == 1 && strcmp(parameter, "aliquot_no") == 0)
		return "per later pull";
	return pd_arena_print(arena, w && *w->step ? "per %g %s" : "per %g",
	                      step, w ? w->step : "");
}

const char *pd_words_step(pd_arena *arena, const pd_question *q)
{
	return isnan(q->step) ? "per doubling"
	                      : step_words(arena, q->parameter, q->step);
}

const char *pd_words_effect(pd_arena *arena, const pd_question *q)
{
	const char *what = q->scale == PD_RATIO ? "ratio" : "difference";

	if (q->kind == PD_COMPARE_SLOPE) {
		const char *step = pd_words_step(arena, q);

		return step ? pd_arena_print(arena, "effect of %s %s",
		                             pd_words_parameter(q->parameter),
		                             step)
		            : NULL;
	}
	const char *first = pd_words_arm(arena, q->parameter, q->first);
	const char *second = pd_words_arm(arena, q->parameter, q->second);

	return first && second ? pd_arena_print(arena, "%s of %s to %s", what,
	                                        first, second)
	                       : NULL;
}

const char *pd_words_modifier(pd_arena *arena, const pd_question *q)
{
	if (!q->differs_first)
		return step_words(arena, q->differs_by, q->differs_step);
	const char *a = pd_words_arm(arena, q->differs_by, q->differs_first);
	const char *b = pd_words_arm(arena, q->differs_by, q->differs_second);

	return a && b ? pd_arena_print(arena, "with %s against %s", a, b)
	              : NULL;
}

const char *pd_words_share(pd_arena *arena, const pd_question *q)
{
	static const char *const rows[] = { "pulls", "sites", "cases" };

	const char *unit = pd_query_unit(q->outcome, q->judge);

	return pd_arena_print(arena, "share of %s that reach %g %s%s (%s)",
	                      rows[q->grain], q->floor,
	                      strncmp(unit, "10^", 3) == 0 ? "x " : "", unit,
	                      pd_words_judge(q));
}

const char *pd_words_parameter(const char *parameter)
{
	const struct words *w = about(parameter);
	const char *words = w ? w->name : pd_query_words(parameter);

	return words ? words : parameter;
}

const char *pd_words_judge(const pd_question *q)
{
	static const char *const yields[] = { "yield per pull",
		                              "yield per site",
		                              "yield per case" };

	if (strcmp(q->judge, "yield") == 0)
		return yields[q->grain];
	if (strcmp(q->judge, "prevalence") == 0)
		return "prevalence, per million nucleated cells";
	if (strcmp(q->judge, "percent") == 0)
		return "percentage";
	if (strcmp(q->judge, "risk") == 0)
		return q->grain == PD_BY_SITE ? "share of sites with an event"
		                              : "share of cases with an event";
	return "concentration, per mL of undiluted marrow";
}

bool pd_words_not_a_choice(const char *parameter)
{
	const struct words *w = about(parameter);

	return w && w->trait;
}

bool pd_words_adds_burden(const char *parameter)
{
	const struct words *w = about(parameter);

	return w && w->burden;
}

bool pd_words_not_a_gain(const char *outcome)
{
	static const char *const blood[] = { "hct", "rbc", "platelets",
		                             "blood_share", "adverse_event" };

	for (size_t i = 0; i < sizeof blood / sizeof *blood; i++)
		if (strcmp(outcome, blood[i]) == 0)
			return true;
	return false;
}
