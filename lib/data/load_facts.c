/*
 * load_facts.c - the facts of each record, and what happens when two rows
 * say different things about one of them. Every fact is held as a double:
 * codes, names by number, days and measurements alike; NaN is blank.
 */
#include "base/scan.h"
#include "data/load_own.h"
#include "data/sql_text.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* In the order of the parameters of sql/load.sql. */
static const pd_field fields[N_RECORDS][N_VALUES] = {
	[OF_PATIENT] = { PD_F_SEX, PD_F_BIRTH_YEAR },
	[OF_CASE] = { PD_F_CASE_DATE, PD_F_AGE, PD_F_BMI, PD_F_OPERATOR,
	              PD_F_BLOOD_WBC, PD_F_BLOOD_RBC, PD_F_BLOOD_HCT },
	[OF_SITE] = { PD_F_LANDMARK, PD_F_DISTANCE, PD_F_GAUGE, PD_F_GEOMETRY,
	              PD_F_NEEDLE, PD_F_ADVERSE, PD_F_PAIN },
	[OF_ALIQUOT] = { PD_F_VOLUME, PD_F_SYRINGE, PD_F_MOVE,
	                 PD_F_ANTICOAGULANT, PD_F_ANTICOAG_ML,
	                 PD_F_PULL_STYLE, PD_F_TIME_TO_LAB },
	[OF_ASSAY] = { PD_F_TNC, PD_F_MNC, PD_F_VIABILITY, PD_F_HCT, PD_F_RBC,
	               PD_F_PLATELETS, PD_F_CD34, PD_F_CD271, PD_F_CFU_F,
	               PD_F_CFU_F_E6, PD_F_DISH_1, PD_F_DISH_2, PD_F_DISH_3,
	               PD_F_DISH_4, PD_F_DISH_5, PD_F_DISH_6,
	               PD_F_CELLS_PLATED, PD_F_CULTURE_DAYS, PD_F_THRESHOLD },
};

pd_field load_fact_field(record of, int k)
{
	return fields[of][k];
}

pd_field load_value_field(int k)
{
	return fields[OF_ASSAY][k];
}

void load_fail(struct load *L, pd_status st)
{
	if (L->st == PD_OK)
		L->st = st;
}

void load_find(struct load *L, const char *code, pd_finding_level level,
               uint32_t line, pd_field f, const char *expected,
               const char *fmt, ...)
{
	char found[400];
	va_list ap;

	va_start(ap, fmt);
	vsnprintf(found, sizeof found, fmt, ap);
	va_end(ap);
	load_fail(L, pd_findings_add(L->own, code, level, line,
	                             f == PD_N_FIELDS ? 0 : (uint32_t)f + 1,
	                             found, expected));
}

double load_number(sqlite3_stmt *q, int column)
{
	return sqlite3_column_type(q, column) == SQLITE_NULL ?
	       NAN : sqlite3_column_double(q, column);
}

struct entity load_entity(const struct load *L, sqlite3_stmt *q)
{
	struct entity e = {
		.id = sqlite3_column_int64(q, 0),
		.source = (uint32_t)sqlite3_column_int64(q, 1),
		.line = (uint32_t)sqlite3_column_int64(q, 2),
		.stored = true,
	};

	if (e.source == L->source_id)
		e.source = 0;
	return e;
}

/* Number + 1 of a name in table `which`; method 0 is the nameless one. */
static double name_number(struct load *L, int which, const pd_cells *c,
                          size_t i)
{
	uint32_t k = pd_table_add(L->names[which], c->text[i], c->length[i]);

	if (k == PD_TABLE_NONE) {
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
		return NAN;
	}
	return which == 2 ? (double)k : (double)k + 1;
}

double load_cell(struct load *L, const pd_batch *b, size_t i, pd_field f)
{
	const pd_cells *c = &b->cell[f];

	switch (pd_field_about(f)->kind) {
	case PD_FIELD_WORD:
		return !c->code || c->code[i] < 0 ? NAN : c->code[i];
	case PD_FIELD_TEXT:
	case PD_FIELD_POOL:
		if (!c->text || !c->text[i])
			return NAN;
		return name_number(L, f == PD_F_OPERATOR ? 0 :
		                   f == PD_F_NEEDLE ? 1 : 2, c, i);
	case PD_FIELD_WHOLE:
	case PD_FIELD_NUMBER:
	case PD_FIELD_DATE:
	case PD_FIELD_RESULT:
		break;
	}
	return c->number ? c->number[i] : NAN;
}

const char *load_words(struct load *L, pd_field f, double fact, char *buf,
                       size_t size)
{
	const char *const *words = pd_vocab_words(f);
	char date[11];

	if (isnan(fact))
		snprintf(buf, size, "blank");
	else if (words)
		snprintf(buf, size, "'%s'", words[(int)fact]);
	else if (f == PD_F_OPERATOR || f == PD_F_NEEDLE)
		snprintf(buf, size, "'%s'",
		         pd_table_word(L->names[f == PD_F_NEEDLE],
		                       (uint32_t)fact - 1));
	else if (f == PD_F_CASE_DATE)
		snprintf(buf, size, "%s", pd_date_print((int32_t)fact, date));
	else
		snprintf(buf, size, "%.10g", fact);
	return buf;
}

const char *load_place(struct load *L, const struct entity *e, uint32_t at,
                       char *buf, size_t size)
{
	sqlite3_stmt *q = NULL;
	bool row = false;

	if (at || !e->source) {
		snprintf(buf, size, "line %u", at ? at : e->line);
		return buf;
	}
	snprintf(buf, size, "line %u of an earlier file", e->line);
	if (pd_db_prepare(L->s, pd_sql_source_name, &q, NULL) == PD_OK) {
		sqlite3_bind_int64(q, 1, e->source);
		if (pd_db_step(L->s, q, &row, NULL) == PD_OK && row)
			snprintf(buf, size, "line %u of '%s'", e->line,
			         pd_db_text(q, 0));
	}
	sqlite3_finalize(q);
	return buf;
}

static void disagree(struct load *L, const struct entity *e, double fact,
                     uint32_t at, pd_field f, double given, uint32_t line)
{
	char is[96], was[96], where[300];
	bool old = !at && e->source;

	load_find(L, old ? "differs-from-stored" : "rows-disagree", PD_ERROR,
	          line, f,
	          old ? "the stored value, or a load that supersedes" :
	                "the same value in every row of the record",
	          "%s %s, but %s at %s", pd_field_about(f)->header,
	          load_words(L, f, given, is, sizeof is),
	          load_words(L, f, fact, was, sizeof was),
	          load_place(L, e, at, where, sizeof where));
}

void load_agree(struct load *L, struct entity *e, double *fact, uint32_t *at,
                pd_field f, double given, uint32_t line)
{
	if (isnan(given) || given == *fact)
		return;
	if (isnan(*fact)) {
		e->filled = true;
	} else if (!*at && e->source && L->request->supersede) {
		e->replaced = true;
	} else {
		disagree(L, e, *fact, *at, f, given, line);
		return;
	}
	*fact = given;
	*at = line;
}

void load_agree_row(struct load *L, record of, struct entity *e, double *fact,
                    uint32_t *at, const pd_batch *b, size_t i)
{
	for (int j = 0; j < L->n_facts[of]; j++) {
		int k = L->fact[of][j];
		pd_field f = fields[of][k];

		load_agree(L, e, &fact[k], &at[k], f, load_cell(L, b, i, f),
		           b->line[i]);
	}
}
