/*
 * release_policy.c - what may go out, and as what. The table of rules has a
 * row for every field of the vocabulary (a test goes through it); a field
 * without one is undecided and no column is made of it. Letters in brackets
 * are the elements of 45 CFR 164.514(b)(2)(i).
 */
#include "data/release_own.h"
#include "base/scan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

struct rule {
	pd_release_rule rule;
	const char *what, *why;
};

static const char code_why[] =
    "a name of the clinic's own is a unique code (R)";
static const char kept_why[] = "tells how it was drawn or counted, not whom";
static const char laid_why[] = "the tables have columns of their own for it";

#define KEPT { PD_RELEASE_KEPT, "kept", kept_why }
#define CODED { PD_RELEASE_CODED, "new random code", code_why }
#define LAID_OUT { PD_RELEASE_LAID_OUT, "written anew", laid_why }

static const struct rule rules[PD_N_FIELDS] = {
	[PD_F_PATIENT] = { PD_RELEASE_CODED, "new random code",
	                   "no hash of a record number, which could be "
	                   "guessed again (H, R)" },
	[PD_F_SEX] = { PD_RELEASE_COARSE, "kept, blanked in small groups",
	               "tells patients apart together with the others" },
	[PD_F_BIRTH_YEAR] = { PD_RELEASE_LEFT_OUT, "left out",
	                      "with the year of the visit it tells an age "
	                      "above 89 (C); the age band stands for it" },
	[PD_F_CASE] = CODED,
	[PD_F_CASE_DATE] = { PD_RELEASE_COARSE, "cut to the year",
	                     "day and month, and so quarters, are elements "
	                     "of dates (C)" },
	[PD_F_AGE] = { PD_RELEASE_COARSE, "in bands or whole years, 90+ above "
	               "89", "ages above 89 are one code (C); blanked in "
	               "small groups" },
	[PD_F_BMI] = { PD_RELEASE_COARSE, "in bands",
	               "a number with a decimal is nearly a name (R); blanked "
	               "in small groups" },
	[PD_F_OPERATOR] = { PD_RELEASE_CODED, "new random code",
	                    "personal data of the staff, no identifier of a "
	                    "patient" },
	[PD_F_BLOOD_WBC] = KEPT, [PD_F_BLOOD_RBC] = KEPT,
	[PD_F_BLOOD_HCT] = KEPT, [PD_F_SIDE] = KEPT, [PD_F_SITE_NO] = KEPT,
	[PD_F_LANDMARK] = { PD_RELEASE_COARSE, "kept, blanked in small groups",
	                    "a rare landmark tells a patient (R)" },
	[PD_F_DISTANCE] = KEPT, [PD_F_GAUGE] = KEPT, [PD_F_GEOMETRY] = KEPT,
	[PD_F_NEEDLE] = { PD_RELEASE_CODED, "new random code",
	                  "a local name may hold a lot or serial number (M); "
	                  "gauge and geometry stay" },
	[PD_F_ADVERSE] = { PD_RELEASE_COARSE, "kept, rare kinds merged",
	                   "a rare event tells a patient (R)" },
	[PD_F_PAIN] = KEPT, [PD_F_ALIQUOT_NO] = KEPT, [PD_F_VOLUME] = KEPT,
	[PD_F_SYRINGE] = KEPT, [PD_F_MOVE] = KEPT,
	[PD_F_ANTICOAGULANT] = KEPT, [PD_F_ANTICOAG_ML] = KEPT,
	[PD_F_PULL_STYLE] = KEPT, [PD_F_TIME_TO_LAB] = KEPT,
	[PD_F_SAMPLE] = { PD_RELEASE_CODED, "new random code",
	                  "a label may be a bar code or hold a date (C, M, "
	                  "R)" },
	[PD_F_POOL] = { PD_RELEASE_KEPT, "kept, as sides, sites and pulls",
	                kept_why },
	[PD_F_MATERIAL] = KEPT,
	[PD_F_METHOD_VERSION] = { PD_RELEASE_CODED, "new random code, or kept "
	                          "by choice", "a laboratory's name is a place "
	                          "(B) and may hold a lot number (M)" },
	[PD_F_TNC] = KEPT, [PD_F_MNC] = KEPT, [PD_F_VIABILITY] = KEPT,
	[PD_F_HCT] = KEPT, [PD_F_RBC] = KEPT, [PD_F_PLATELETS] = KEPT,
	[PD_F_CD34] = KEPT, [PD_F_CD271] = KEPT, [PD_F_CFU_F] = KEPT,
	[PD_F_CFU_F_E6] = KEPT, [PD_F_CELLS_PLATED] = KEPT,
	[PD_F_DISH_1] = KEPT, [PD_F_DISH_2] = KEPT, [PD_F_DISH_3] = KEPT,
	[PD_F_DISH_4] = KEPT, [PD_F_DISH_5] = KEPT, [PD_F_DISH_6] = KEPT,
	[PD_F_CULTURE_DAYS] = KEPT, [PD_F_THRESHOLD] = KEPT,
	[PD_F_OUTCOME] = LAID_OUT, [PD_F_VALUE] = LAID_OUT,
	[PD_F_UNIT] = LAID_OUT,
};

pd_release_rule pd_release_of_field(pd_field f)
{
	return f < PD_N_FIELDS ? rules[f].rule : PD_RELEASE_UNDECIDED;
}

/* ---- bands --------------------------------------------------------------- */

static const char *const age_words[] = {
	"under 18", "18 to 29", "30 to 39", "40 to 49", "50 to 59", "60 to 69",
	"70 to 79", "80 to 89", "90+",
};
static const char *const bmi_words[] = {
	"under 18.5", "18.5 to below 25", "25 to below 30", "30 to below 35",
	"35 to below 40", "40 and above",
};
enum { N_BMI = sizeof bmi_words / sizeof *bmi_words, OLDEST = 90 };

uint8_t rl_age_of(const pd_release_request *ask, double age)
{
	if (isnan(age) || age < 0)
		return RL_BLANK;
	unsigned y = age >= OLDEST ? OLDEST : (unsigned)age;

	if (ask->whole_years)
		return (uint8_t)y;
	return (uint8_t)(y < 18 ? 0 : y < 30 ? 1 : y / 10 - 1);
}

uint8_t rl_bmi_of(double bmi)
{
	static const double from[] = { 18.5, 25, 30, 35, 40 };
	uint8_t k = 0;

	if (isnan(bmi))
		return RL_BLANK;
	while (k < N_BMI - 1 && bmi >= from[k])
		k++;
	return k;
}

const char *rl_age_word(const pd_release_work *w, unsigned age)
{
	if (age == RL_BLANK)
		return NULL;
	if (!w->ask.whole_years)
		return age_words[age];
	return age >= OLDEST ? "90+" : pd_arena_print(w->arena, "%u", age);
}

const char *rl_bmi_word(unsigned bmi)
{
	return bmi < N_BMI ? bmi_words[bmi] : NULL;
}

const char *rl_mark(uint64_t states, int outcome, double value)
{
	switch (states >> 4 * outcome & 15) {
	case PD_MEASURED:
		return isnan(value) ? NULL : value == 0 ? "zero" : "measured";
	case PD_BELOW: return "below";
	case PD_ABOVE: return "above";
	case PD_UNCOUNTABLE: return "too many to count";
	case PD_FAILED: return "failed";
	case PD_NOT_ORDERED: return "not ordered";
	case PD_NOT_DETECTED: return "not detected";
	default: return NULL;
	}
}

/* ---- columns ------------------------------------------------------------- */

enum { IN_LONG = 1, IN_WIDE = 2, IN_BOTH = 3 };

struct about {
	int id;
	const char *name;
	pd_field field;        /* PD_N_FIELDS: a column of our own           */
	const char *words, *derived;
	uint8_t in;
	bool number, tells;
};

static const char as_is[] = "as it was written down";
static const char new_code[] = "a random code, no computation from a name";
static const char marks[] = "measured|zero|below|above|too many to count|"
                            "failed|not ordered|not detected";

#define OF_AGE                                                                 \
	"the age at the case or, where none was written down, of the middle "  \
	"of what year of birth and date allow; 90+ above 89 years; empty "     \
	"also where blanked"
static const char age_in_years[] = "whole years of " OF_AGE;
static const char age_in_bands[] = "band of " OF_AGE;

#define OWN(id, name, in, number, words, derived)                              \
	{ id, name, PD_N_FIELDS, words, derived, in, number, false }
#define FIELD(id, field, number)                                               \
	{ id, NULL, field, NULL, as_is, IN_BOTH, number, false }
#define WITH_CODE(id, field)                                                   \
	{ id, NULL, field, NULL, new_code, IN_BOTH, false, false }

static const struct about columns[] = {
	WITH_CODE(RL_C_PATIENT, PD_F_PATIENT),
	WITH_CODE(RL_C_CASE, PD_F_CASE),
	OWN(RL_C_VISIT, "visit_no", IN_BOTH, true,
	    "number of the visit among the patient's in these data",
	    "rank of the date of the case; empty without a date"),
	OWN(RL_C_DAYS, "days_since_first", IN_BOTH, true,
	    "days since the patient's first visit in these data",
	    "difference of the dates of the cases"),
	{ RL_C_YEAR, "year", PD_F_CASE_DATE, "year of the case",
	  "the date without month and day; empty also where blanked",
	  IN_BOTH, true, true },
	{ RL_C_SEX, NULL, PD_F_SEX, NULL,
	  "as it was written down; empty also where blanked", IN_BOTH, false,
	  true },
	{ RL_C_AGE, "age", PD_F_AGE, NULL, NULL, IN_BOTH, false, true },
	{ RL_C_BMI, "bmi_band", PD_F_BMI, NULL,
	  "band of the body mass index; empty also where blanked", IN_BOTH,
	  false, true },
	WITH_CODE(RL_C_OPERATOR, PD_F_OPERATOR),
	FIELD(RL_C_BLOOD_WBC, PD_F_BLOOD_WBC, true),
	FIELD(RL_C_BLOOD_RBC, PD_F_BLOOD_RBC, true),
	FIELD(RL_C_BLOOD_HCT, PD_F_BLOOD_HCT, true),
	FIELD(RL_C_SIDE, PD_F_SIDE, false),
	FIELD(RL_C_SITE_NO, PD_F_SITE_NO, true),
	{ RL_C_LANDMARK, NULL, PD_F_LANDMARK, NULL,
	  "as it was written down; empty also where blanked", IN_BOTH, false,
	  true },
	FIELD(RL_C_DISTANCE, PD_F_DISTANCE, true),
	FIELD(RL_C_GAUGE, PD_F_GAUGE, true),
	FIELD(RL_C_GEOMETRY, PD_F_GEOMETRY, false),
	WITH_CODE(RL_C_NEEDLE, PD_F_NEEDLE),
	{ RL_C_ADVERSE, NULL, PD_F_ADVERSE, NULL,
	  "as it was written down; 'event' is one of a kind that is too rare "
	  "to be named; all empty where events are too rare at all",
	  IN_BOTH, false, false },
	FIELD(RL_C_PAIN, PD_F_PAIN, true),
	FIELD(RL_C_ALIQUOT_NO, PD_F_ALIQUOT_NO, true),
	FIELD(RL_C_VOLUME, PD_F_VOLUME, true),
	FIELD(RL_C_SYRINGE, PD_F_SYRINGE, true),
	FIELD(RL_C_MOVE, PD_F_MOVE, false),
	FIELD(RL_C_ANTICOAGULANT, PD_F_ANTICOAGULANT, false),
	FIELD(RL_C_ANTICOAG_ML, PD_F_ANTICOAG_ML, true),
	FIELD(RL_C_STYLE, PD_F_PULL_STYLE, false),
	FIELD(RL_C_TIME_TO_LAB, PD_F_TIME_TO_LAB, true),
	WITH_CODE(RL_C_SAMPLE, PD_F_SAMPLE),
	{ RL_C_POOL, NULL, PD_F_POOL, NULL,
	  "of a pooled sample: its draws as side, site, pull, joined by '+' "
	  "(L left, R right, N no side stated; L1.2 is pull 2 of site 1); "
	  "empty for a single pull", IN_BOTH, false, false },
	FIELD(RL_C_MATERIAL, PD_F_MATERIAL, false),
	WITH_CODE(RL_C_METHOD, PD_F_METHOD_VERSION),
	OWN(RL_C_SOURCE, "source", IN_BOTH, false,
	    "file the result was loaded from", new_code),
	OWN(RL_C_OUTCOME, "outcome", IN_LONG, false,
	    "what was counted or measured; empty where a pull has no result of "
	    "its own", "name of the result field"),
	OWN(RL_C_VALUE, "value", IN_LONG, true,
	    "the result, or the limit that 'mark' speaks of",
	    "as the laboratory reported it, in 'unit'; not corrected for "
	    "anticoagulant"),
	OWN(RL_C_MARK, "mark", IN_LONG, false, "what 'value' is",
	    "what stood in the result's cell: 'below' and 'above' a stated "
	    "limit, 'not detected' below one that is not stated; zero is a "
	    "measured zero"),
	OWN(RL_C_UNIT, "unit", IN_LONG, false, "unit of 'value'",
	    "UCUM code of the outcome"),
	FIELD(RL_C_PLATED, PD_F_CELLS_PLATED, true),
	FIELD(RL_C_CULTURE_DAYS, PD_F_CULTURE_DAYS, true),
	FIELD(RL_C_THRESHOLD, PD_F_THRESHOLD, true),
};
enum { N_COLUMNS = sizeof columns / sizeof *columns };

/* Words of a list joined by '|'; NULL without memory. */
static const char *joined(pd_arena *arena, const char *const *word, size_t n,
                          const char *more)
{
	pd_buf b;

	pd_buf_init(&b);
	for (size_t i = 0; i < n && word[i]; i++)
		pd_buf_print(&b, "%s%s", i ? "|" : "", word[i]);
	pd_buf_add(&b, more);
	const char *text = pd_buf_ok(&b) ? pd_arena_copy(arena, pd_buf_text(&b))
	                                 : NULL;

	pd_buf_clear(&b);
	return text;
}

/* The words a column may hold, NULL where it is free; false: no memory. */
static bool codes_of(const pd_release_work *w, const struct about *a,
                     const char **out)
{
	const char *const *words = a->field == PD_N_FIELDS
	                               ? NULL : pd_vocab_words(a->field);
	const char *more = "";
	size_t n = 99;

	*out = NULL;
	if (a->id == RL_C_MARK) {
		*out = marks;
		return true;
	}
	if (a->id == RL_C_AGE) {
		words = w->ask.whole_years ? NULL : age_words;
		n = 9;
	} else if (a->id == RL_C_BMI) {
		words = bmi_words;
		n = N_BMI;
	} else if (a->id == RL_C_OUTCOME) {
		words = pd_vocab_words(PD_F_OUTCOME);
		n = RL_OUTCOMES;
	} else if (a->id == RL_C_ADVERSE) {
		n = RL_EVENT;
		more = "|event";
	}
	if (words)
		*out = joined(w->arena, words, n, more);
	return !words || *out;
}

static bool is_wanted(const pd_release_work *w, const struct about *a,
                      int table)
{
	if ((a->id == RL_C_DAYS && !w->ask.days) ||
	    (a->id == RL_C_SOURCE && !w->ask.batches))
		return false;
	if (a->field != PD_N_FIELDS &&
	    (rules[a->field].rule == PD_RELEASE_UNDECIDED ||
	     rules[a->field].rule == PD_RELEASE_LEFT_OUT))
		return false;
	return a->in & (table == PD_RELEASE_LONG ? IN_LONG : IN_WIDE);
}

static bool column_of(const pd_release_work *w, const struct about *a,
                      pd_release_column *out)
{
	const pd_field_info *f = a->field == PD_N_FIELDS
	                             ? NULL : pd_field_about(a->field);
	pd_release_column c = {
		.name = a->name ? a->name : f->header,
		.words = a->words ? a->words : f->words,
		.unit = a->id == RL_C_DAYS ? "d" : f ? f->unit : "",
		.derived = a->derived, .number = a->number, .tells = a->tells,
	};
	bool ok = codes_of(w, a, &c.codes);

	if (a->derived == as_is && *c.unit)
		c.derived = "as it was written down, in this unit";
	if (a->id == RL_C_AGE)
		c.derived = w->ask.whole_years ? age_in_years : age_in_bands;
	if (a->id == RL_C_YEAR)
		c.unit = "a";
	if (a->id == RL_C_METHOD && w->ask.method_names)
		c.derived = "as it was written down, kept by choice";
	*out = c;
	return ok;
}

/* A result's two columns of the wide table. */
static bool add_result(pd_release_work *w, int k, pd_release_table *t, int *id)
{
	const pd_field_info *f = pd_field_about(pd_outcome_field(k));
	const char *name = pd_vocab_words(PD_F_OUTCOME)[k];
	const char *mark = pd_arena_print(w->arena, "%s_mark", name);
	const char *words = pd_arena_print(w->arena, "what '%s' is",
	                                   f->header);

	id[t->n_columns] = RL_C_RESULT + k;
	t->column[t->n_columns++] = (pd_release_column){
		.name = f->header, .words = f->words, .unit = f->unit,
		.derived = "as the laboratory reported it, in this unit; a "
		           "limit where its mark says so; not corrected for "
		           "anticoagulant", .number = true };
	id[t->n_columns] = RL_C_RESULT_MARK + k;
	t->column[t->n_columns++] = (pd_release_column){
		.name = mark, .words = words, .unit = "",
		.derived = "what stood in the result's cell; zero is a "
		           "measured zero", .codes = marks };
	return mark && words;
}

static bool make_table(pd_release_work *w, int which)
{
	const size_t most = (size_t)N_COLUMNS + 2 * (size_t)RL_OUTCOMES;
	pd_release_table *t = &w->told.table[which];
	int *id = PD_NEW(w->arena, int, most);

	t->column = PD_NEW(w->arena, pd_release_column, most);
	w->column_id[which] = id;
	if (!t->column || !id)
		return false;
	for (int k = 0; k < N_COLUMNS; k++) {
		/* results stand where the long table has its outcome */
		if (columns[k].id == RL_C_PLATED && which == PD_RELEASE_WIDE)
			for (int o = 0; o < RL_OUTCOMES; o++)
				if (!add_result(w, o, t, id))
					return false;
		if (!is_wanted(w, &columns[k], which))
			continue;
		id[t->n_columns] = columns[k].id;
		if (!column_of(w, &columns[k], &t->column[t->n_columns++]))
			return false;
	}
	return true;
}

bool rl_columns_make(pd_release_work *w)
{
	w->told.table[PD_RELEASE_LONG] = (pd_release_table){
		.file = "long.csv", .title = "Results, one a row",
		.row = "one result of one sample by one method version; a pull "
		       "without a result of its own has one row without "
		       "outcome",
	};
	w->told.table[PD_RELEASE_WIDE] = (pd_release_table){
		.file = "wide.csv", .title = "Samples, one a row",
		.row = "one sample as one method version read it, all results "
		       "side by side; a pull without a sample of its own has "
		       "one row without results",
	};
	return make_table(w, PD_RELEASE_LONG) && make_table(w, PD_RELEASE_WIDE);
}

/* ---- what became of it --------------------------------------------------- */

/* Values of a field in the store, at its own record. */
static size_t count_of(const pd_release_work *w, pd_field f)
{
	const struct q_tree *t = w->t;
	size_t n = 0;

	switch (f) {
	case PD_F_PATIENT: return t->n_patients;
	case PD_F_CASE: return t->n_cases;
	case PD_F_SAMPLE: return w->n_samples;
	case PD_F_SEX: case PD_F_BIRTH_YEAR:
		for (size_t i = 0; i < t->n_patients; i++)
			if (f == PD_F_SEX ? t->patient[i].sex >= 0
			                  : !isnan(t->patient[i].birth_year))
				n++;
		return n;
	case PD_F_CASE_DATE: case PD_F_AGE: case PD_F_BMI: case PD_F_OPERATOR:
		for (size_t i = 0; i < t->n_cases; i++)
			if (f == PD_F_AGE ? !isnan(t->case_[i].age)
			    : f == PD_F_BMI ? !isnan(t->case_[i].bmi)
			    : f == PD_F_OPERATOR ? t->case_[i].operator_ >= 0
			                         : !isnan(t->case_[i].date))
				n++;
		return n;
	case PD_F_LANDMARK: case PD_F_NEEDLE: case PD_F_ADVERSE:
		for (size_t i = 0; i < t->n_sites; i++)
			if (f == PD_F_LANDMARK ? t->site[i].landmark >= 0
			    : f == PD_F_NEEDLE ? t->site[i].needle >= 0
			                       : t->site[i].adverse >= 0)
				n++;
		return n;
	case PD_F_METHOD_VERSION:
		for (size_t i = 0; i < w->n_assays; i++)
			n += (w->assay[i].id & 8191) != 0;
		return n;
	default: return 0;
	}
}

bool rl_fates_make(pd_release_work *w, const size_t left[6])
{
	const pd_release_fate whole[] = {
		{ "sample labels", "labels of the laboratory", "left out",
		  "bar codes and dates may stand in them (C, M, R)", left[0] },
		{ "pool labels", "how the clinic wrote its pools", "left out",
		  "written anew from the draws", left[1] },
		{ "files", "names, SHA-256 and bytes of files loaded",
		  "left out", "unique codes; the bytes hold everything (R)",
		  w->n_sources },
		{ "findings", "what was noticed in the files", "left out",
		  "they cite cells of the files (R)", left[2] },
		{ "readings, plans", "the ledger of looks and the plans",
		  "left out", "dates and the clinic's own words",
		  left[3] + left[4] },
		{ "history", "rows before they were corrected", "left out",
		  "they hold what is left out above", left[5] },
	};
	enum { N_WHOLE = sizeof whole / sizeof *whole };

	w->told.fate = PD_NEW(w->arena, pd_release_fate,
	                      (size_t)PD_N_FIELDS + N_WHOLE);
	if (!w->told.fate)
		return false;
	for (int f = 0; f < PD_N_FIELDS; f++) {
		const struct rule *r = &rules[f];
		const pd_field_info *about = pd_field_about((pd_field)f);
		bool names = f == PD_F_METHOD_VERSION && w->ask.method_names;

		if (r->rule == PD_RELEASE_KEPT ||
		    r->rule == PD_RELEASE_LAID_OUT)
			continue;
		w->told.fate[w->told.n_fates++] = (pd_release_fate){
			about->header, about->words,
			names ? "kept by choice"
			: r->what ? r->what : "left out",
			names ? "the user's choice; a laboratory's name is a "
			        "place (B)"
			: r->why ? r->why : "undecided",
			count_of(w, (pd_field)f) };
	}
	for (size_t i = 0; i < N_WHOLE; i++)
		w->told.fate[w->told.n_fates++] = whole[i];
	return true;
}

/* ---- names that would go out as they are ------------------------------ */

static bool has_word(const char *text, const char *word)
{
	size_t n = strlen(word);

	for (const char *at = text; *at; at++) {
		bool starts = at == text || !pd_is_letter(at[-1]);

		if (starts && strnlen(at, n) == n &&
		    pd_same_word(at, n, word) && !pd_is_letter(at[n]))
			return true;
	}
	return false;
}

/* What speaks against letting a name go out as it is; NULL: nothing seen. */
static const char *against(const char *s)
{
	static const char *const words[] = { "lot", "serial", "batch", "udi",
		                             "sn", "barcode", "charge", "www" };
	size_t n = strlen(s), blanks = 0, run = 0, most = 0, parted = 0;

	for (const char *c = s; *c; c++) {
		blanks += *c == ' ';
		run = pd_is_digit(*c) ? run + 1 : 0;
		most = run > most ? run : most;
		parted += strchr(".-/", *c) && c > s && pd_is_digit(c[-1]) &&
		         pd_is_digit(c[1]);
	}
	if (n > 60 || blanks > 5 || strpbrk(s, ";?!\"\n\r\t") ||
	    strstr(s, ". "))
		return "free text";
	if (strchr(s, '@') || strstr(s, "://"))
		return "an address";
	if (parted >= 2 || most >= 6)
		return "a date, an address or the number of a device or lot";
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (has_word(s, words[i]))
			return "the number of a device or lot, or an address";
	return NULL;
}

pd_status rl_names_check(const pd_release_work *w, pd_error *err)
{
	const struct q_tree *t = w->t;

	if (!w->ask.method_names)
		return PD_OK;
	for (size_t k = 0; k < t->n_names[Q_METHODS]; k++) {
		const char *name = t->name[Q_METHODS][k];
		const char *why = name ? against(name) : NULL;

		if (why)
			return pd_fail(err, PD_REFUSED, "field "
			               "'method_version' cannot go out as it "
			               "is: "
			               "'%.60s' reads like %s; leave the "
			               "option "
			               "out and it is coded", name, why);
	}
	return PD_OK;
}
