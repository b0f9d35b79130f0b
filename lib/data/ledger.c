/* ledger.c - what a store holds, what was noticed, what was asked of it. */
#include "data/audit.h"
#include "data/db.h"
#include "data/effects.h"
#include "data/sql_text.h"
#include "data/vocab.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

pd_status pd_store_count(pd_store *s, pd_store_counts *out, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_read_counts, &q, err);

	memset(out, 0, sizeof *out);
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (row) {
		size_t *n[] = { &out->n_patients, &out->n_cases,
			        &out->n_sites, &out->n_aliquots,
			        &out->n_results, &out->n_sources,
			        &out->n_warnings };

		for (int k = 0; k < 7; k++)
			*n[k] = (size_t)sqlite3_column_int64(q, k);
		snprintf(out->first_case, sizeof out->first_case, "%.10s",
		         pd_db_text(q, 7));
		snprintf(out->last_case, sizeof out->last_case, "%.10s",
		         pd_db_text(q, 8));
	}
	sqlite3_finalize(q);
	return st == PD_OK ? pd_audit_data_state(s, out->audit_head, err) : st;
}

pd_status pd_store_sources(pd_store *s, pd_source_visit visit, void *user,
                           pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_status st = pd_db_prepare(s, pd_sql_read_sources, &q, err);

	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && row)
			visit(user, pd_db_text(q, 0), pd_db_text(q, 1),
			      (size_t)sqlite3_column_int64(q, 2));
	}
	sqlite3_finalize(q);
	return st;
}

pd_status pd_store_findings(pd_store *s, const char *source,
                            pd_finding_visit visit, void *user, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_status st = pd_db_prepare(s, pd_sql_read_findings, &q, err);

	if (st == PD_OK)
		pd_db_bind_text(q, 1, source);
	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && row)
			visit(user, pd_db_text(q, 0), pd_db_text(q, 1),
			      pd_db_text(q, 2),
			      (size_t)sqlite3_column_int64(q, 3),
			      (size_t)sqlite3_column_int64(q, 4),
			      pd_db_text(q, 5), pd_db_text(q, 6));
	}
	sqlite3_finalize(q);
	return st;
}

/* Fields of each coverage statement, after the number of records. */
static const struct cover {
	const char *sql, *by_year;
	pd_field field[21];
	int n;
} covers[] = {
	{ pd_sql_cover_patients, pd_sql_year_patients, { PD_F_SEX, PD_F_BIRTH_YEAR }, 2 },
	{ pd_sql_cover_cases, pd_sql_year_cases, { PD_F_CASE_DATE, PD_F_AGE, PD_F_BMI,
	  PD_F_OPERATOR, PD_F_BLOOD_WBC, PD_F_BLOOD_RBC, PD_F_BLOOD_HCT }, 7 },
	{ pd_sql_cover_sites, pd_sql_year_sites, { PD_F_LANDMARK, PD_F_DISTANCE, PD_F_GAUGE,
	  PD_F_GEOMETRY, PD_F_NEEDLE, PD_F_ADVERSE, PD_F_PAIN }, 7 },
	{ pd_sql_cover_aliquots, pd_sql_year_aliquots, { PD_F_VOLUME, PD_F_SYRINGE, PD_F_MOVE,
	  PD_F_ANTICOAGULANT, PD_F_ANTICOAG_ML, PD_F_PULL_STYLE,
	  PD_F_TIME_TO_LAB }, 7 },
	{ pd_sql_cover_assays, pd_sql_year_assays, { PD_F_TNC, PD_F_MNC, PD_F_VIABILITY, PD_F_HCT,
	  PD_F_RBC, PD_F_PLATELETS, PD_F_CD34, PD_F_CD271, PD_F_CFU_F,
	  PD_F_CFU_F_E6, PD_F_DISH_1, PD_F_DISH_2, PD_F_DISH_3, PD_F_DISH_4,
	  PD_F_DISH_5, PD_F_DISH_6, PD_F_CELLS_PLATED, PD_F_CULTURE_DAYS,
	  PD_F_THRESHOLD, PD_F_METHOD_VERSION }, 20 },
};

pd_status pd_store_coverage(pd_store *s, pd_coverage_visit visit, void *user,
                            pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < sizeof covers / sizeof *covers;
	     i++) {
		const struct cover *c = &covers[i];
		sqlite3_stmt *q;
		bool row = false;

		st = pd_db_prepare(s, c->sql, &q, err);
		if (st == PD_OK)
			st = pd_db_step(s, q, &row, err);
		for (int k = 0; row && k < c->n; k++) {
			const pd_field_info *f = pd_field_about(c->field[k]);

			visit(user, f->header, f->words, f->unit,
			      (size_t)sqlite3_column_int64(q, k + 1),
			      (size_t)sqlite3_column_int64(q, 0));
		}
		sqlite3_finalize(q);
	}
	return st;
}

pd_status pd_store_culture_conditions(pd_store *s, pd_store_cultures *out,
                                      pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_cover_cultures, &q, err);

	memset(out, 0, sizeof *out);
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (row)
		*out = (pd_store_cultures){
			(size_t)sqlite3_column_int64(q, 0),
			(size_t)sqlite3_column_int64(q, 1),
			(size_t)sqlite3_column_int64(q, 2),
			(size_t)sqlite3_column_int64(q, 3)
		};
	sqlite3_finalize(q);
	return st;
}

/* The fields of one kind of record, year after year. */
static pd_status cover_years(pd_store *s, const struct cover *c,
                             pd_year_visit visit, void *user, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_status st = pd_db_prepare(s, c->by_year, &q, err);

	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		for (int k = 0; st == PD_OK && row && k < c->n; k++)
			visit(user, pd_field_about(c->field[k])->header,
			      sqlite3_column_int(q, 0),
			      (size_t)sqlite3_column_int64(q, k + 2),
			      (size_t)sqlite3_column_int64(q, 1));
	}
	sqlite3_finalize(q);
	return st;
}

pd_status pd_store_coverage_years(pd_store *s, pd_year_visit visit, void *user,
                                  pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < sizeof covers / sizeof *covers;
	     i++)
		st = cover_years(s, &covers[i], visit, user, err);
	return st;
}

/* ---- looks and plans ---- */

static pd_status count_looks(pd_store *s, const char *sql, const char *hash,
                             const char *state, unsigned *n, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, sql, &q, err);

	*n = 0;
	if (st == PD_OK) {
		pd_db_bind_text(q, 1, hash);
		if (state)
			pd_db_bind_text(q, 2, state);
		st = pd_db_step(s, q, &row, err);
	}
	if (row)
		*n = (unsigned)sqlite3_column_int64(q, 0);
	sqlite3_finalize(q);
	return st;
}

static pd_status add_look(pd_store *s, const pd_look *look, const char *state,
                          pd_error *err)
{
	const double number[] = { look->estimate, look->se, look->low,
		                  look->high };
	sqlite3_stmt *q;
	char detail[256];
	pd_status st = pd_db_prepare(s, pd_sql_look_add, &q, err);

	if (st == PD_OK) {
		pd_db_bind_text(q, 1, look->question);
		pd_db_bind_text(q, 2, look->question_sha256);
		pd_db_bind_text(q, 3, state);
		pd_db_bind_text(q, 4, look->date ? look->date : "");
		for (int k = 0; k < 4; k++)
			pd_db_bind_real(q, 5 + k, number[k]);
		sqlite3_bind_int64(q, 9, (int64_t)look->n_rows);
		sqlite3_bind_int64(q, 10, (int64_t)look->n_patients);
		st = pd_db_do(s, q, err);
	}
	sqlite3_finalize(q);
	if (st == PD_OK)
		st = pd_effects_add(s, look, err);
	snprintf(detail, sizeof detail, "question %.64s (%.100s)",
	         look->question_sha256, look->question);
	return st == PD_OK ? pd_audit_add(s, "look", detail, look->date, err)
	                   : st;
}

pd_status pd_store_look(pd_store *s, const pd_look *look, unsigned *n_looks,
                        pd_error *err)
{
	char state[65];
	unsigned seen = 0;
	pd_status st = s->writable ? pd_db_begin_write(s, err)
	                           : pd_db_begin_read(s, err);

	*n_looks = 0;
	if (st == PD_OK)
		st = pd_audit_data_state(s, state, err);
	if (st == PD_OK)
		st = count_looks(s, pd_sql_look_seen, look->question_sha256,
		                 state, &seen, err);
	if (st == PD_OK)
		st = count_looks(s, pd_sql_look_count, look->question_sha256,
		                 NULL, n_looks, err);
	if (st == PD_OK && !seen) {
		++*n_looks;
		if (s->writable)
			st = add_look(s, look, state, err);
	}
	return pd_db_end(s, st, err);
}

static double number_or_nan(sqlite3_stmt *q, int k)
{
	return sqlite3_column_type(q, k) == SQLITE_NULL
	           ? (double)NAN
	           : sqlite3_column_double(q, k);
}

static void take_earlier(sqlite3_stmt *q, pd_earlier_look *out)
{
	double *number[] = { &out->estimate, &out->se, &out->low, &out->high };

	snprintf(out->date, sizeof out->date, "%.10s", pd_db_text(q, 0));
	for (int k = 0; k < 4; k++)
		*number[k] = number_or_nan(q, 1 + k);
	out->n_patients = (size_t)sqlite3_column_int64(q, 5);
}

static pd_status read_earlier(pd_store *s, const char *hash,
                              const char *state, pd_earlier_look *look,
                              size_t room, size_t *n, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_status st = pd_db_prepare(s, pd_sql_look_earlier, &q, err);

	if (st == PD_OK) {
		pd_db_bind_text(q, 1, hash);
		pd_db_bind_text(q, 2, state);
	}
	while (st == PD_OK && row && *n < room) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && row)
			take_earlier(q, &look[(*n)++]);
	}
	sqlite3_finalize(q);
	return st;
}

pd_status pd_store_earlier_looks(pd_store *s, const char *question_sha256,
                                 pd_earlier_look **out, size_t *n,
                                 pd_error *err)
{
	char state[65];
	unsigned all = 0;
	pd_status st = pd_db_begin_read(s, err);

	*out = NULL;
	*n = 0;
	if (st == PD_OK)
		st = pd_audit_data_state(s, state, err);
	if (st == PD_OK)
		st = count_looks(s, pd_sql_look_count, question_sha256, NULL,
		                 &all, err);
	if (st == PD_OK && all) {
		*out = calloc(all, sizeof **out);
		st = *out ? read_earlier(s, question_sha256, state, *out, all,
		                         n, err)
		          : pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	st = pd_db_end(s, st, err);
	if (st != PD_OK || *n == 0) {
		free(*out);
		*out = NULL;
		*n = 0;
	}
	return st;
}

static void take_look(sqlite3_stmt *q, pd_past_look *out)
{
	double *number[] = { &out->estimate, &out->se, &out->low, &out->high };
	size_t *count[] = { &out->n_rows, &out->n_patients, &out->loads,
		            &out->corrections };

	snprintf(out->date, sizeof out->date, "%.10s", pd_db_text(q, 0));
	for (int k = 0; k < 4; k++) {
		*number[k] = number_or_nan(q, 1 + k);
		*count[k] = (size_t)sqlite3_column_int64(q, 5 + k);
	}
}

static pd_status last_look(pd_store *s, const char *hash, const char *state,
                           pd_past_look *out, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_look_last, &q, err);

	if (st == PD_OK) {
		pd_db_bind_text(q, 1, hash);
		pd_db_bind_text(q, 2, state);
		st = pd_db_step(s, q, &row, err);
	}
	if (row)
		take_look(q, out);
	sqlite3_finalize(q);
	return st;
}

static pd_status reworded(pd_store *s, const char *question, const char *hash,
                          const char *state, char date[11], pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_look_reworded, &q, err);

	if (st == PD_OK) {
		pd_db_bind_text(q, 1, question);
		pd_db_bind_text(q, 2, hash);
		pd_db_bind_text(q, 3, state);
		st = pd_db_step(s, q, &row, err);
	}
	if (row)
		snprintf(date, 11, "%.10s", pd_db_text(q, 0));
	sqlite3_finalize(q);
	return st;
}

pd_status pd_store_last_look(pd_store *s, const char *question,
                             const char *question_sha256, pd_past_look *out,
                             pd_error *err)
{
	char state[65];
	pd_status st = pd_db_begin_read(s, err);

	memset(out, 0, sizeof *out);
	if (st == PD_OK)
		st = pd_audit_data_state(s, state, err);
	if (st == PD_OK)
		st = last_look(s, question_sha256, state, out, err);
	if (st == PD_OK)
		st = reworded(s, question, question_sha256, state,
		              out->reworded, err);
	return pd_db_end(s, st, err);
}

pd_status pd_store_new_patients(pd_store *s, size_t *n, double *days,
                                pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_new_patients, &q, err);

	*n = 0;
	*days = 0;
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (row) {
		*n = (size_t)sqlite3_column_int64(q, 0);
		*days = sqlite3_column_double(q, 1);
	}
	sqlite3_finalize(q);
	return st;
}

/* First column of the first row of a statement on one hash, "" without. */
static pd_status first_text(pd_store *s, const char *sql, const char *hash,
                            char out[11], pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, sql, &q, err);

	out[0] = '\0';
	if (st == PD_OK) {
		pd_db_bind_text(q, 1, hash);
		st = pd_db_step(s, q, &row, err);
	}
	if (row)
		snprintf(out, 11, "%.10s", pd_db_text(q, 0));
	sqlite3_finalize(q);
	return st;
}

pd_status pd_store_first_look(pd_store *s, const char *question_sha256,
                              char date[11], pd_error *err)
{
	return first_text(s, pd_sql_look_first, question_sha256, date, err);
}

pd_status pd_store_sources_after(pd_store *s, const char *date, size_t *n,
                                 pd_error *err)
{
	sqlite3_stmt *q = NULL;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_sources_after, &q, err);

	*n = 0;
	if (st == PD_OK) {
		pd_db_bind_text(q, 1, date);
		st = pd_db_step(s, q, &row, err);
	}
	if (st == PD_OK && row)
		*n = (size_t)sqlite3_column_int64(q, 0);
	sqlite3_finalize(q);
	return st;
}

static pd_status add_plan(pd_store *s, const char *name, const char *sha256,
                          const char *text, const char *date, pd_error *err)
{
	sqlite3_stmt *q;
	char detail[256];
	pd_status st = pd_db_prepare(s, pd_sql_plan_add, &q, err);

	if (st == PD_OK) {
		pd_db_bind_text(q, 1, name);
		pd_db_bind_text(q, 2, sha256);
		pd_db_bind_text(q, 3, text);
		pd_db_bind_text(q, 4, date ? date : "");
		st = pd_db_do(s, q, err);
	}
	sqlite3_finalize(q);
	snprintf(detail, sizeof detail, "plan %.64s (%.100s)", sha256, name);
	return st == PD_OK ? pd_audit_add(s, "plan", detail, date, err) : st;
}

pd_status pd_store_plan(pd_store *s, const char *name, const char *sha256,
                        const char *text, const char *date,
                        char first_date[11], pd_error *err)
{
	pd_status st = s->writable ? pd_db_begin_write(s, err)
	                           : pd_db_begin_read(s, err);

	first_date[0] = '\0';
	if (st == PD_OK)
		st = first_text(s, pd_sql_plan_seen, sha256, first_date, err);
	if (st == PD_OK && !*first_date) {
		snprintf(first_date, 11, "%.10s", date ? date : "");
		if (s->writable)
			st = add_plan(s, name, sha256, text, date, err);
	}
	return pd_db_end(s, st, err);
}

pd_status pd_store_looks(pd_store *s, pd_look_visit visit, void *user,
                         pd_error *err)
{
	sqlite3_stmt *q = NULL;
	char state[65];
	bool row = true;
	pd_status st = pd_audit_data_state(s, state, err);

	if (st == PD_OK)
		st = pd_db_prepare(s, pd_sql_looks_newest, &q, err);
	if (st == PD_OK)
		pd_db_bind_text(q, 1, state);
	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st != PD_OK || !row)
			break;
		pd_look_seen look = {
			pd_db_text(q, 0), pd_db_text(q, 1), pd_db_text(q, 2),
			number_or_nan(q, 3), number_or_nan(q, 4),
			(size_t)sqlite3_column_int64(q, 5),
			(size_t)sqlite3_column_int64(q, 6)
		};

		st = visit(user, &look, err);
	}
	sqlite3_finalize(q);
	return st;
}
