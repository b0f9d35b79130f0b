/*
 * query_column.c - the columns a frame can carry: one table gives their
 * names, grain, words and where the value stands. A column of a finer grain
 * than the frame holds the value all rows below share, missing where they
 * differ.
 */
#include "base/scan.h"
#include "data/query_own.h"
#include "data/vocab.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef enum column {
	DATE_DECIMAL, DATE_DAYS, QUARTER, SEX, AGE, BMI, OPERATOR, REPEAT,
	N_SITES, TOTAL_ML, BLOOD_WBC, BLOOD_RBC, BLOOD_HCT, METHOD, MATERIAL,
	SIDE_WORD, SITE_NO, LANDMARK, DISTANCE, GAUGE, GEOMETRY, NEEDLE,
	ADVERSE, PAIN, IN_SIDE, ML_BEFORE, SITE_ML, N_ALIQUOTS,
	ALIQUOT_NO, VOLUME, SYRINGE, MOVE, MOVED, ANTICOAGULANT, ANTICOAG_ML, STYLE,
	TIME_TO_LAB, PATIENT, CASE, SIDE, SITE
} column;

/* Where a column stands: of the case, its site, its aliquot, or the row. */
typedef enum place { OF_CASE, OF_SITE, OF_ALIQUOT, OF_ROW } place;

static const struct about {
	const char *name;
	column column;
	pd_kind kind;
	place place;
	pd_field words_of; /* closed list of words, PD_N_FIELDS: none */
	const char *words;
} columns[] = {
#define NO PD_N_FIELDS
	{ "patient", PATIENT, PD_FACTOR, OF_CASE, NO, "patient" },
	{ "case", CASE, PD_FACTOR, OF_CASE, NO, "case" },
	{ "side", SIDE, PD_FACTOR, OF_SITE, NO, "side of a case" },
	{ "site", SITE, PD_FACTOR, OF_SITE, NO, "site" },
	{ "case_date", DATE_DECIMAL, PD_REAL, OF_CASE, NO,
	  "calendar time, years" },
	{ "date", DATE_DAYS, PD_REAL, OF_CASE, NO, "date, days" },
	{ "quarter", QUARTER, PD_FACTOR, OF_CASE, NO, "calendar quarter" },
	{ "sex", SEX, PD_FACTOR, OF_CASE, PD_F_SEX, "sex" },
	{ "age_y", AGE, PD_REAL, OF_CASE, NO, "age at the case, years" },
	{ "bmi", BMI, PD_REAL, OF_CASE, NO, "body mass index, kg/m2" },
	{ "operator", OPERATOR, PD_FACTOR, OF_CASE, NO, "operator" },
	{ "repeat_case", REPEAT, PD_REAL, OF_CASE, NO,
	  "a later case of the same patient" },
	{ "n_sites", N_SITES, PD_REAL, OF_CASE, NO, "sites of the case" },
	{ "total_ml", TOTAL_ML, PD_REAL, OF_CASE, NO,
	  "volume drawn in the case, mL" },
	{ "blood_wbc", BLOOD_WBC, PD_REAL, OF_CASE, NO,
	  "same-day blood white cells, 10^9/L" },
	{ "blood_rbc", BLOOD_RBC, PD_REAL, OF_CASE, NO,
	  "same-day blood red cells, 10^12/L" },
	{ "blood_hct", BLOOD_HCT, PD_REAL, OF_CASE, NO,
	  "same-day blood haematocrit, %" },
	{ "method_version", METHOD, PD_FACTOR, OF_ROW, NO,
	  "laboratory method version" },
	{ "material", MATERIAL, PD_FACTOR, OF_ROW, PD_F_MATERIAL,
	  "aspirate or concentrate" },
	{ "side_word", SIDE_WORD, PD_FACTOR, OF_SITE, PD_F_SIDE,
	  "side of the body" },
	{ "site_no", SITE_NO, PD_REAL, OF_SITE, NO, "site number in time" },
	{ "landmark", LANDMARK, PD_FACTOR, OF_SITE, PD_F_LANDMARK,
	  "bone landmark" },
	{ "distance_mm", DISTANCE, PD_REAL, OF_SITE, NO,
	  "distance to the previous entry, mm" },
	{ "needle_gauge", GAUGE, PD_REAL, OF_SITE, NO, "needle gauge" },
	{ "needle_geometry", GEOMETRY, PD_FACTOR, OF_SITE, PD_F_GEOMETRY,
	  "needle geometry" },
	{ "needle", NEEDLE, PD_FACTOR, OF_SITE, NO, "needle, local name" },
	{ "adverse_event", ADVERSE, PD_FACTOR, OF_SITE, PD_F_ADVERSE,
	  "adverse event at the site" },
	{ "pain_score", PAIN, PD_REAL, OF_SITE, NO, "pain score, 0 to 10" },
	{ "site_in_side", IN_SIDE, PD_REAL, OF_SITE, NO,
	  "order of the site within its side" },
	{ "ml_before_side", ML_BEFORE, PD_REAL, OF_SITE, NO,
	  "drawn from earlier sites of the side, mL" },
	{ "site_ml", SITE_ML, PD_REAL, OF_SITE, NO, "drawn at the site, mL" },
	{ "n_aliquots", N_ALIQUOTS, PD_REAL, OF_SITE, NO, "pulls" },
	{ "aliquot_no", ALIQUOT_NO, PD_REAL, OF_ALIQUOT, NO,
	  "pull number at the site" },
	{ "volume_ml", VOLUME, PD_REAL, OF_ALIQUOT, NO, "volume drawn, mL" },
	{ "syringe_ml", SYRINGE, PD_REAL, OF_ALIQUOT, NO, "syringe size, mL" },
	{ "move", MOVE, PD_FACTOR, OF_ALIQUOT, PD_F_MOVE,
	  "needle move before the pull" },
	{ "needle_moved", MOVED, PD_REAL, OF_ALIQUOT, NO,
	  "needle moved in the hole, at the pull or before" },
	{ "anticoagulant", ANTICOAGULANT, PD_FACTOR, OF_ALIQUOT,
	  PD_F_ANTICOAGULANT, "anticoagulant" },
	{ "anticoagulant_ml", ANTICOAG_ML, PD_REAL, OF_ALIQUOT, NO,
	  "anticoagulant in the syringe, mL" },
	{ "pull_style", STYLE, PD_FACTOR, OF_ALIQUOT, PD_F_PULL_STYLE,
	  "pull style" },
	{ "time_to_lab_min", TIME_TO_LAB, PD_REAL, OF_ALIQUOT, NO,
	  "time to the laboratory, min" },
#undef NO
};
enum { N_COLUMNS = sizeof columns / sizeof *columns };

static const struct about *find(const char *name)
{
	for (int k = 0; name && k < N_COLUMNS; k++)
		if (strcmp(columns[k].name, name) == 0)
			return &columns[k];
	return NULL;
}

/* Sides and sites are units: at case grain there is no one of them. */
static bool is_at(const struct about *c, pd_grain grain)
{
	return grain != PD_BY_CASE || (c->column != SIDE && c->column != SITE);
}

int pd_query_has(const char *name, pd_grain grain, pd_kind *kind)
{
	const struct about *c = find(name);

	if (!c || !is_at(c, grain))
		return 0;
	if (kind)
		*kind = c->kind;
	return 1;
}

const char *pd_query_name(size_t k, pd_grain grain)
{
	for (int i = 0; i < N_COLUMNS; i++)
		if (is_at(&columns[i], grain) && k-- == 0)
			return columns[i].name;
	return NULL;
}

const char *const *pd_query_levels(const char *name)
{
	const struct about *c = find(name);

	return c && c->words_of != PD_N_FIELDS ? pd_vocab_words(c->words_of)
	                                       : NULL;
}

const char *q_column_words(const char *name)
{
	const struct about *c = find(name);

	return c ? c->words : NULL;
}

void q_column_names(pd_grain grain, char *buf, size_t size)
{
	size_t n = 0;

	buf[0] = '\0';
	for (int k = 0; k < N_COLUMNS && n < size; k++)
		if (is_at(&columns[k], grain))
			n += (size_t)snprintf(buf + n, size - n, "%s%s",
			                      n ? ", " : "", columns[k].name);
}

/* ---- values ---- */

/* Age as written down, or the middle of the year it must lie in. */
double q_case_age(const struct q_tree *t, const struct q_case *c)
{
	double born = t->patient[c->patient].birth_year;
	int year, month, day;

	if (!isnan(c->age) || isnan(born) || isnan(c->date))
		return c->age;
	pd_date_of((int32_t)c->date, &year, &month, &day);
	return year + (month - 0.5) / 12 - (born + 0.5);
}

/* Year with the part of it that passed before the day. */
static double decimal_year(double days)
{
	int year, month, day;

	if (isnan(days))
		return NAN;
	pd_date_of((int32_t)days, &year, &month, &day);
	double first = pd_days_of(year, 1, 1);

	return year + (days - first) / (pd_days_of(year + 1, 1, 1) - first);
}

static double code(int32_t x)
{
	return x < 0 ? (double)NAN : x;
}

static double of_case(const struct q_tree *t, uint32_t k, column c)
{
	const struct q_case *it = &t->case_[k];

	switch (c) {
	case DATE_DECIMAL: return decimal_year(it->date);
	case DATE_DAYS: return it->date;
	case SEX: return code(t->patient[it->patient].sex);
	case AGE: return q_case_age(t, it);
	case BMI: return it->bmi;
	case OPERATOR: return code(it->operator_);
	case REPEAT: return it->repeat;
	case N_SITES: return it->n_sites;
	case TOTAL_ML: return it->total_ml;
	case BLOOD_WBC: return it->blood_wbc;
	case BLOOD_RBC: return it->blood_rbc;
	case BLOOD_HCT: return it->blood_hct;
	default: return NAN;
	}
}

static double of_site(const struct q_tree *t, uint32_t k, column c)
{
	const struct q_site *s = &t->site[k];

	switch (c) {
	case SIDE_WORD: return code((int32_t)s->side - 1);
	case SITE_NO: return s->no;
	case LANDMARK: return code(s->landmark);
	case DISTANCE: return s->distance;
	case GAUGE: return s->gauge;
	case GEOMETRY: return code(s->geometry);
	case NEEDLE: return code(s->needle);
	case ADVERSE: return code(s->adverse);
	case PAIN: return s->pain;
	case IN_SIDE: return s->in_side;
	case ML_BEFORE: return s->ml_before;
	case SITE_ML: return s->ml;
	case N_ALIQUOTS: return s->n_aliquots;
	default: return NAN;
	}
}

/* Has a pull of the hole up to k a recorded move that leaves the place drawn
 * from before, other than the hole's own beginning? */
static bool moved_by(const struct q_tree *t, uint32_t k)
{
	const char *const *words = pd_vocab_words(PD_F_MOVE);

	for (uint32_t i = t->site[t->aliquot[k].site].first_aliquot; i <= k;
	     i++) {
		int8_t move = t->aliquot[i].move;

		if (move >= 0 && strcmp(words[move], "none") != 0 &&
		    strcmp(words[move], "new hole") != 0)
			return true;
	}
	return false;
}

static double of_aliquot(const struct q_tree *t, uint32_t k, column c)
{
	const struct q_aliquot *a = &t->aliquot[k];

	switch (c) {
	case ALIQUOT_NO: return (double)(a->id & 255);
	case VOLUME: return a->ml;
	case SYRINGE: return a->syringe;
	case MOVE: return code(a->move);
	case MOVED: return moved_by(t, k);
	case ANTICOAGULANT: return code(a->anticoagulant);
	case ANTICOAG_ML: return a->anticoagulant_ml;
	case STYLE: return code(a->style);
	case TIME_TO_LAB: return a->time_to_lab;
	default: return NAN;
	}
}

typedef double value_of(const struct q_tree *t, uint32_t k, column c);

/* The value records from..to-1 share, NaN where they differ or miss it. */
static double shared(const struct q_tree *t, value_of *value, uint32_t from,
                     uint32_t to, column c)
{
	double x = from < to ? value(t, from, c) : NAN;

	for (uint32_t k = from + 1; k < to; k++)
		if (value(t, k, c) != x)
			return NAN;
	return x;
}

static double value_at(const struct q_tree *t, const struct q_row *r,
                       const struct about *a)
{
	const struct q_case *c = &t->case_[r->case_];
	const struct q_site *s = r->site == NOWHERE ? NULL : &t->site[r->site];

	if (a->place == OF_CASE)
		return of_case(t, r->case_, a->column);
	if (a->column == N_ALIQUOTS && !s)
		return c->n_aliquots;
	if (a->place == OF_SITE)
		return s ? of_site(t, r->site, a->column) :
		       shared(t, of_site, c->first_site,
		              c->first_site + c->n_sites, a->column);
	if (r->aliquot != NOWHERE)
		return of_aliquot(t, r->aliquot, a->column);
	return s ? shared(t, of_aliquot, s->first_aliquot,
	                  s->first_aliquot + s->n_aliquots, a->column) :
	       shared(t, of_aliquot, c->first_aliquot,
	              c->first_aliquot + c->n_aliquots, a->column);
}

/* ---- factors ---- */

/* Words by number of the columns whose values are numbers of words. */
static const char *word_of(const struct q_tree *t, const struct about *a,
                           size_t k)
{
	int which = a->column == OPERATOR ? Q_OPERATORS :
	            a->column == NEEDLE ? Q_DEVICES : Q_METHODS;

	if (a->words_of != PD_N_FIELDS)
		return pd_vocab_words(a->words_of)[k];
	return k < t->n_names[which] ? t->name[which][k] : NULL;
}

static size_t number_of_words(const struct q_tree *t, const struct about *a)
{
	size_t n = 0;

	if (a->words_of != PD_N_FIELDS) {
		while (pd_vocab_words(a->words_of)[n])
			n++;
		return n;
	}
	return t->n_names[a->column == OPERATOR ? Q_OPERATORS :
	                  a->column == NEEDLE ? Q_DEVICES : Q_METHODS];
}

/* Levels come in the order rows meet them; words are looked up once each. */
static bool fill_numbered(const struct q_tree *t, const struct q_rows *rows,
                          const struct about *a, pd_frame *f, pd_column *c)
{
	size_t n = number_of_words(t, a);
	int32_t *level = malloc((n ? n : 1) * sizeof *level);
	bool ok = level != NULL;

	for (size_t k = 0; ok && k < n; k++)
		level[k] = -1;
	for (size_t i = 0; ok && i < rows->n; i++) {
		const struct q_row *r = &rows->item[i];
		double x = a->column == METHOD ? code(r->method)
		                               : value_at(t, r, a);
		const char *word;
		size_t k = isnan(x) ? 0 : (size_t)x;

		/* the nameless method version is no level */
		if (isnan(x) || k >= n || !(word = word_of(t, a, k)) || !*word)
			continue;
		if (level[k] < 0)
			level[k] = pd_frame_level(f, c, word);
		c->code[i] = level[k];
		ok = level[k] >= 0;
	}
	free(level);
	return ok;
}

static void label_of(const struct q_tree *t, const struct q_row *r, column c,
                     char *buf, size_t size)
{
	static const char *const side[] = { "-", "left", "right", "-" };
	const struct q_case *it = &t->case_[r->case_];
	const struct q_site *s = r->site == NOWHERE ? NULL : &t->site[r->site];
	int year, month, day;

	buf[0] = '\0';
	if (c == PATIENT)
		snprintf(buf, size, "%s", t->patient[it->patient].label);
	else if (c == CASE)
		snprintf(buf, size, "%s", it->label);
	else if (c == SIDE && s)
		snprintf(buf, size, "%s %s", it->label, side[s->side]);
	else if (c == SITE && s)
		snprintf(buf, size, "%s %s %u", it->label, side[s->side],
		         s->no);
	else if (c == QUARTER && !isnan(it->date)) {
		pd_date_of((int32_t)it->date, &year, &month, &day);
		snprintf(buf, size, "%d Q%d", year, (month - 1) / 3 + 1);
	}
}

/* Does the next row belong to the same unit of the column? */
static bool same_unit(const struct q_tree *t, const struct q_row *a,
                      const struct q_row *b, column c)
{
	if (c == PATIENT)
		return t->case_[a->case_].patient == t->case_[b->case_].patient;
	if (c == CASE || c == QUARTER || a->case_ != b->case_)
		return a->case_ == b->case_;
	if (a->site == b->site || a->site == NOWHERE || b->site == NOWHERE)
		return a->site == b->site;
	return c == SIDE && t->site[a->site].side == t->site[b->site].side;
}

/* Rows come in order of key, so a unit's rows are together. */
static bool fill_labels(const struct q_tree *t, const struct q_rows *rows,
                        const struct about *a, pd_frame *f, pd_column *c)
{
	char label[300];

	for (size_t i = 0; i < rows->n; i++) {
		const struct q_row *r = &rows->item[i];

		if (i && same_unit(t, r - 1, r, a->column)) {
			c->code[i] = c->code[i - 1];
			continue;
		}
		label_of(t, r, a->column, label, sizeof label);
		if (!*label)
			continue;
		c->code[i] = pd_frame_level(f, c, label);
		if (c->code[i] < 0)
			return false;
	}
	return true;
}

pd_status q_column_fill(const struct q_tree *t, const struct q_rows *rows,
                        const char *name, pd_grain grain, pd_frame *f,
                        pd_error *err)
{
	const struct about *a = find(name);
	char names[700];
	pd_column *c;
	bool ok = true;

	if (!a || !is_at(a, grain)) {
		q_column_names(grain, names, sizeof names);
		return pd_fail(err, PD_USAGE, "no column '%s' here; there are "
		               "%s", name ? name : "", names);
	}
	if (pd_frame_find(f, name) || a->column == MATERIAL)
		return PD_OK;
	c = a->kind == PD_REAL ? pd_frame_add_real(f, name)
	                       : pd_frame_add_factor(f, name);
	if (!c)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (a->kind == PD_REAL)
		for (size_t i = 0; i < rows->n; i++)
			c->real[i] = value_at(t, &rows->item[i], a);
	else if (a->words_of != PD_N_FIELDS || a->column == OPERATOR ||
	         a->column == NEEDLE || a->column == METHOD)
		ok = fill_numbered(t, rows, a, f, c);
	else
		ok = fill_labels(t, rows, a, f, c);
	return ok ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}
