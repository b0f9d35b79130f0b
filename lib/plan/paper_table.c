/*
 * paper_table.c - the characteristics of the units of each arm: numbers by
 * mean and SD or median and quartiles, words by counts, standardised
 * differences between two arms (docs/methods/characteristics.md).
 */
#include "data/query.h"
#include "plan/paper_own.h"
#include "plan/words.h"
#include "stats/summary.h"
#include "stats/total.h"
#include "stats/weighting.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef enum kind {
	NUMBER,
	STEPS, /* a number with few values: shown value by value            */
	YEAR,  /* the year of a decimal date                                */
	FLAG,  /* 0 or 1: how many are 1                                    */
	WORD
} kind;

enum { MOST_WORDS = 12, MOST_STEPS = 8, MOST_ROWS = 200 };
static const double LEANING = 1; /* skewness past which a median is given */

static const struct spec {
	pd_paper_level level;
	const char *column, *name, *unit;
	kind kind;
	bool aside;
} specs[] = {
	{ PD_PAPER_PATIENT, "age_y", "Age", "years", NUMBER, false },
	{ PD_PAPER_PATIENT, "sex", "Sex", NULL, WORD, false },
	{ PD_PAPER_CASE, "bmi", "Body mass index", "kg/m\xc2\xb2", NUMBER, false },
	{ PD_PAPER_CASE, "case_date", "Year of the case", NULL, YEAR, false },
	{ PD_PAPER_CASE, "repeat_case", "Later case of a patient", NULL, FLAG,
	  false },
	{ PD_PAPER_CASE, "operator", "Operator", NULL, WORD, false },
	{ PD_PAPER_CASE, "n_sites", "Sites", NULL, NUMBER, false },
	{ PD_PAPER_CASE, "total_ml", "Total volume drawn", "mL", NUMBER,
	  false },
	{ PD_PAPER_CASE, "blood_wbc", "Blood white cells", "10^9/L", NUMBER,
	  true },
	{ PD_PAPER_CASE, "blood_rbc", "Blood red cells", "10^12/L", NUMBER,
	  true },
	{ PD_PAPER_CASE, "blood_hct", "Blood haematocrit", "%", NUMBER, true },
	{ PD_PAPER_SITE, "landmark", "Bone landmark", NULL, WORD, false },
	{ PD_PAPER_SITE, "side_word", "Side", NULL, WORD, false },
	{ PD_PAPER_SITE, "needle_geometry", "Needle geometry", NULL, WORD,
	  false },
	{ PD_PAPER_SITE, "needle_gauge", "Needle gauge", NULL, STEPS, false },
	{ PD_PAPER_SITE, "needle", "Needle", NULL, WORD, false },
	{ PD_PAPER_SITE, "site_ml", "Volume drawn", "mL", NUMBER, false },
	{ PD_PAPER_SITE, "n_aliquots", "Pulls", NULL, NUMBER, false },
	{ PD_PAPER_SITE, "distance_mm", "Distance to the entry before", "mm",
	  NUMBER, true },
	{ PD_PAPER_SITE, "adverse_event", "Adverse event", NULL, WORD, true },
	{ PD_PAPER_SITE, "pain_score", "Pain score, 0 to 10", NULL, NUMBER,
	  true },
	{ PD_PAPER_PULL, "volume_ml", "Volume", "mL", NUMBER, false },
	{ PD_PAPER_PULL, "syringe_ml", "Syringe", "mL", STEPS, false },
	{ PD_PAPER_PULL, "aliquot_no", "Pull number", NULL, STEPS, false },
	{ PD_PAPER_PULL, "move", "Needle move before the pull", NULL, WORD,
	  false },
	{ PD_PAPER_PULL, "pull_style", "Pull style", NULL, WORD, false },
	{ PD_PAPER_PULL, "anticoagulant", "Anticoagulant", NULL, WORD, false },
	{ PD_PAPER_PULL, "anticoagulant_ml", "Anticoagulant in the syringe",
	  "mL", NUMBER, false },
	{ PD_PAPER_PULL, "time_to_lab_min", "Time to the laboratory", "min",
	  NUMBER, false },
	{ PD_PAPER_RESULT, "method_version", "Laboratory method version", NULL,
	  WORD, false },
};
enum { N_SPECS = sizeof specs / sizeof *specs };

const char *const pd_paper_columns[] = { "age_y",
	                                 "sex",
	                                 "bmi",
	                                 "case_date",
	                                 "repeat_case",
	                                 "operator",
	                                 "n_sites",
	                                 "total_ml",
	                                 "blood_wbc",
	                                 "blood_rbc",
	                                 "blood_hct",
	                                 "landmark",
	                                 "side_word",
	                                 "needle_geometry",
	                                 "needle_gauge",
	                                 "needle",
	                                 "site_ml",
	                                 "n_aliquots",
	                                 "distance_mm",
	                                 "adverse_event",
	                                 "pain_score",
	                                 "volume_ml",
	                                 "syringe_ml",
	                                 "aliquot_no",
	                                 "move",
	                                 "pull_style",
	                                 "anticoagulant",
	                                 "anticoagulant_ml",
	                                 "time_to_lab_min",
	                                 NULL };

/* One characteristic being made: what each unit of each arm has. */
struct making {
	const struct paper_units *u;
	const struct spec *spec;
	const pd_column *column;
	pd_arena *arena;
	pd_paper_table *t;
	bool parts;      /* it is what the arms are made by            */
	double *x;       /* room for all units of all arms            */
	size_t n_values; /* distinct values, of words or steps        */
	double value[MOST_WORDS]; /* a step, or a word's code in the column   */
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* Value of a unit: a number, or a word's code; NaN where not recorded. */
static double value_at(const struct making *m, size_t row)
{
	const pd_column *c = m->column;

	if (c->kind == PD_REAL)
		return m->spec->kind == YEAR ? floor(c->real[row])
		                             : c->real[row];
	if (c->code[row] < 0 ||
	    (m->spec->level == PD_PAPER_RESULT &&
	     strcmp(c->level[c->code[row]], "not recorded") == 0))
		return NAN;
	return c->code[row];
}

/* Values of an arm's units into x; how many there are. */
static size_t gather(const struct making *m, size_t arm, double *x,
                     size_t *missing)
{
	const uint32_t *at = m->u->at[m->spec->level][arm];
	size_t n = 0;

	*missing = 0;
	for (size_t i = 0; i < m->u->n[m->spec->level][arm]; i++) {
		double v = value_at(m, at[i]);

		if (isnan(v))
			++*missing;
		else
			x[n++] = v;
	}
	return n;
}

/* --- words and steps ----------------------------------------------------- */

static int by_word(const struct making *m, double a, double b)
{
	return m->column->kind == PD_FACTOR
	           ? strcmp(m->column->level[(size_t)a],
	                    m->column->level[(size_t)b])
	           : (a > b) - (a < b);
}

/* The distinct values among all units, in order; false: more than `most`. */
static bool list_values(struct making *m, const double *x, size_t n,
                        size_t most)
{
	m->n_values = 0;
	for (size_t i = 0; i < n; i++) {
		size_t k = 0;

		while (k < m->n_values && by_word(m, m->value[k], x[i]) < 0)
			k++;
		if (k < m->n_values && by_word(m, m->value[k], x[i]) == 0)
			continue;
		if (m->n_values == most)
			return false;
		memmove(m->value + k + 1, m->value + k,
		        (m->n_values - k) * sizeof *m->value);
		m->value[k] = x[i];
		m->n_values++;
	}
	return true;
}

/* --- the difference ------------------------------------------------------ */

/* Units of both arms as a column without gaps, first arm as arm 1. */
static pd_status fill_column(const struct making *m, bool words, pd_column *c,
                             int32_t *arm, size_t *n, pd_error *err)
{
	static const char *const level[MOST_WORDS] = { "", "", "", "", "", "",
		                                       "", "", "", "", "", "" };

	*n = 0;
	*c = (pd_column){ .name = m->spec->column,
		          .kind = words ? PD_FACTOR : PD_REAL };
	for (size_t a = 0; a < 2; a++) {
		size_t missing, k = gather(m, a, m->x + *n, &missing);

		for (size_t i = 0; i < k; i++)
			arm[*n + i] = a == 0;
		*n += k;
	}
	c->real = words ? NULL : m->x;
	if (!words)
		return PD_OK;
	c->code = malloc((*n + 1) * sizeof *c->code);
	if (!c->code)
		return no_memory(err);
	for (size_t i = 0; i < *n; i++)
		for (size_t k = 0; k < m->n_values; k++)
			if (by_word(m, m->value[k], m->x[i]) == 0)
				c->code[i] = (int32_t)k;
	c->level = (const char **)level;
	c->n_levels = m->n_values;
	return PD_OK;
}

/* Size of the standardised difference; NaN where it cannot be said. */
static pd_status difference(const struct making *m, bool words, double *out,
                            pd_error *err)
{
	size_t room = m->u->n[m->spec->level][0] + m->u->n[m->spec->level][1];
	int32_t *arm = malloc((room + 1) * sizeof *arm);
	double *weight = malloc((room + 1) * sizeof *weight);
	pd_column c = { 0 };
	pd_balance *row = NULL;
	pd_error inner = { 0 };
	size_t n = 0, n_rows = 0;
	pd_status st = arm && weight ? fill_column(m, words, &c, arm, &n, err)
	                             : no_memory(err);

	*out = NAN;
	for (size_t i = 0; st == PD_OK && i < n; i++)
		weight[i] = 1;
	if (st == PD_OK) {
		const pd_column *one = &c;

		st = pd_balance_table(&one, 1, arm, weight, n, &row, &n_rows,
		                      &inner);
		if (st == PD_OK && n_rows && isfinite(row[0].before))
			*out = fabs(row[0].before);
		if (st == PD_REFUSED) /* an arm of one unit or none */
			st = PD_OK;
		else if (st != PD_OK && err)
			*err = inner;
	}
	free(row);
	free(c.code);
	free(arm);
	free(weight);
	return st;
}

/* --- one row ------------------------------------------------------------- */

static pd_paper_row *add_row(struct making *m, const char *category,
                             pd_error *err)
{
	pd_paper_table *t = m->t;

	if (t->n_rows == MOST_ROWS) {
		pd_fail(err, PD_INTERNAL, "too many characteristics");
		return NULL;
	}
	pd_paper_row *r = &t->row[t->n_rows];

	r->cell = PD_NEW(m->arena, pd_paper_cell, t->n_arms + 1);
	if (!r->cell) {
		no_memory(err);
		return NULL;
	}
	r->level = m->spec->level;
	r->column = m->spec->column;
	r->name = m->spec->name;
	r->unit = m->spec->unit;
	r->aside = m->spec->aside || m->parts;
	r->category = category;
	r->difference = NAN;
	t->n_rows++;
	return r;
}

/* Fewest decimals, up to 2, all values are written with. */
static int decimals_of(const double *x, size_t n)
{
	static const double step[] = { 1, 10, 100 };
	int d = 0;

	for (size_t i = 0; i < n; i++)
		while (d < 2 && fabs(x[i] * step[d] - round(x[i] * step[d])) >
		                    1e-6 * fmax(1, fabs(x[i])))
			d++;
	return d;
}

static bool leans(const double *x, size_t n)
{
	pd_summary s = pd_summarise(x, n);
	double m2 = s.square / (double)n, m3 = 0;

	for (size_t i = 0; i < n; i++)
		m3 += pow(x[i] - s.mean, 3) / (double)n;
	return m2 > 0 && fabs(m3 / pow(m2, 1.5)) > LEANING;
}

static void fill_number(const struct making *m, pd_paper_row *r)
{
	for (size_t a = 0; a <= m->t->n_arms; a++) {
		pd_paper_cell *c = &r->cell[a];

		c->n = gather(m, a, m->x, &c->missing);
		if (!c->n) {
			c->mean = c->sd = c->median = c->low = c->high = NAN;
			continue;
		}
		pd_summary s = pd_summarise(m->x, c->n);

		c->mean = s.mean;
		c->sd = s.sd;
		pd_total_sort(m->x, c->n);
		c->median = pd_total_quantile(m->x, c->n, 0.5, NULL);
		c->low = pd_total_quantile(m->x, c->n, 0.25, NULL);
		c->high = pd_total_quantile(m->x, c->n, 0.75, NULL);
	}
}

static pd_status number(struct making *m, size_t n, pd_error *err)
{
	pd_paper_row *r = add_row(m, NULL, err);

	if (!r)
		return err ? err->status : PD_NO_MEMORY;
	r->first = true;
	r->decimals = decimals_of(m->x, n);
	r->skewed = m->spec->kind == YEAR || leans(m->x, n);
	fill_number(m, r);
	return m->t->n_arms == 2 ? difference(m, false, &r->difference, err)
	                         : PD_OK;
}

static const char *value_words(const struct making *m, size_t k)
{
	return m->column->kind == PD_FACTOR
	           ? pd_arena_copy(m->arena,
	                           m->column->level[(size_t)m->value[k]])
	           : pd_arena_print(m->arena, "%g", m->value[k]);
}

static pd_status words(struct making *m, bool flag, pd_error *err)
{
	pd_status st = PD_OK;

	if (flag) { /* one row: how many are 1 */
		m->n_values = 1;
		m->value[0] = 1;
	}
	for (size_t k = 0; st == PD_OK && k < m->n_values; k++) {
		const char *category = flag ? "yes" : value_words(m, k);
		pd_paper_row *r = category ? add_row(m, category, err) : NULL;

		if (!r)
			return category && err ? err->status : no_memory(err);
		r->first = k == 0;
		for (size_t a = 0; a <= m->t->n_arms; a++) {
			pd_paper_cell *c = &r->cell[a];

			c->n = gather(m, a, m->x, &c->missing);
			for (size_t i = 0; i < c->n; i++)
				c->count +=
				    by_word(m, m->x[i], m->value[k]) == 0;
		}
		if (k == 0 && m->t->n_arms == 2 && (flag || m->n_values > 1))
			st = difference(m, !flag, &r->difference, err);
		else if (k == 0 && m->t->n_arms == 2)
			r->difference = 0; /* the same word everywhere */
	}
	return st;
}

static pd_status leave_out(struct making *m, const char *why, pd_error *err)
{
	if (m->spec->aside) /* the sheets say so by themselves */
		return PD_OK;
	const char *text =
	    pd_arena_print(m->arena, "%s: %s", m->spec->name, why);

	if (!text)
		return no_memory(err);
	m->t->blank[m->t->n_blank++] = text;
	return PD_OK;
}

static pd_status one(struct making *m, pd_error *err)
{
	size_t missing, n = gather(m, m->t->n_arms, m->x, &missing);

	if (n == 0)
		return leave_out(m, "not recorded", err);
	switch (m->spec->kind) {
	case FLAG:
		return words(m, true, err);
	case STEPS:
		return list_values(m, m->x, n, MOST_STEPS)
		           ? words(m, false, err)
		           : number(m, gather(m, m->t->n_arms, m->x, &missing),
		                    err);
	case WORD:
		return list_values(m, m->x, n, MOST_WORDS)
		           ? words(m, false, err)
		           : leave_out(m, "too many different words", err);
	case NUMBER:
	case YEAR:
		break;
	}
	return number(m, n, err);
}

/* --- the table ----------------------------------------------------------- */

/* Patients in more than one arm. */
static pd_status count_both(const struct paper_units *u, pd_arena *scratch,
                            pd_paper_table *t, pd_error *err)
{
	const pd_column *c = pd_frame_find(u->draws, "patient");
	unsigned char *in = PD_NEW(scratch, unsigned char, c->n_levels + 1);

	if (!in)
		return no_memory(err);
	for (size_t a = 0; a < u->n_arms; a++)
		for (size_t i = 0; i < u->n[PD_PAPER_PATIENT][a]; i++)
			t->n_both +=
			    ++in[c->code[u->at[PD_PAPER_PATIENT][a][i]]] == 2;
	return PD_OK;
}

static pd_status copy_counts(const struct paper_units *u, pd_arena *arena,
                             pd_paper_table *t, pd_error *err)
{
	for (int k = 0; k < PD_PAPER_LEVELS; k++) {
		t->n[k] = PD_NEW(arena, size_t, t->n_arms + 1);
		if (!t->n[k])
			return no_memory(err);
		for (size_t a = 0; a <= t->n_arms; a++)
			t->n[k][a] = u->n[k][a];
	}
	return PD_OK;
}

/* Inside a unit the arms share what lies above it: no difference is told. */
static void share_levels(const pd_question *q, pd_paper_table *t)
{
	static const struct {
		const char *word;
		pd_paper_level level;
	} known[] = { { "patient", PD_PAPER_PATIENT },
		      { "case", PD_PAPER_CASE },
		      { "side", PD_PAPER_CASE },
		      { "site", PD_PAPER_SITE } };

	t->within = q->within;
	for (size_t k = 0; q->within && k < 4; k++)
		if (strcmp(known[k].word, q->within) == 0) {
			t->no_difference = true;
			t->deepest = known[k].level;
		}
	for (size_t i = 0; t->no_difference && i < t->n_rows; i++)
		if (t->row[i].level <= t->deepest)
			t->row[i].difference = NAN;
}

static pd_status fill(const struct paper_units *u, const pd_question *q,
                      pd_arena *arena, pd_arena *scratch, pd_paper_table *t,
                      pd_error *err)
{
	struct making m = { .u = u, .arena = arena, .t = t };
	pd_status st = PD_OK;

	t->row = PD_NEW(arena, pd_paper_row, MOST_ROWS);
	t->blank = PD_NEW(arena, const char *, N_SPECS);
	m.x = PD_NEW(scratch, double,
	             2 * (pd_frame_rows(u->draws) + u->rows.n) + 2);
	if (!t->row || !t->blank || !m.x)
		return no_memory(err);
	for (size_t k = 0; st == PD_OK && k < N_SPECS; k++) {
		m.spec = &specs[k];
		m.column = pd_frame_find(
		    m.spec->level == PD_PAPER_RESULT ? u->rows.model : u->draws,
		    m.spec->column);
		m.parts =
		    t->n_arms && strcmp(q->parameter, m.spec->column) == 0;
		if (m.column)
			st = one(&m, err);
	}
	share_levels(q, t);
	return st;
}

pd_status pd_paper_table_make(pd_store *s, const pd_question *q,
                              const pd_answer *a, pd_arena *arena,
                              pd_paper_table *t, pd_error *err)
{
	struct paper_units u = { 0 };

	/* what was not answered has no arms that were compared, and may be a
	 * handful of people */
	if (a->refusal) {
		t->none = a->refusal;
		return PD_OK;
	}
	pd_arena *scratch = pd_arena_new();
	pd_status st = scratch ? pd_paper_units(s, q, a->used & PD_USED_PAIRS,
	                                        arena, scratch, &u, t, err)
	                       : no_memory(err);

	if (st == PD_OK)
		st = copy_counts(&u, arena, t, err);
	if (st == PD_OK)
		st = count_both(&u, scratch, t, err);
	if (st == PD_OK)
		st = fill(&u, q, arena, scratch, t, err);
	pd_paper_units_clear(&u);
	pd_arena_free(scratch);
	return st;
}
