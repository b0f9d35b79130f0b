/*
 * effects.c - every effect of a reading, kept with the look it was read at
 * (ledger.c). A store of a version before the third knows the first alone.
 */
#include "data/effects.h"
#include "data/audit.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static double number_or_nan(sqlite3_stmt *q, int k)
{
	return sqlite3_column_type(q, k) == SQLITE_NULL
	           ? (double)NAN
	           : sqlite3_column_double(q, k);
}

pd_status pd_effects_add(pd_store *s, const pd_look *look, pd_error *err)
{
	sqlite3_stmt *q;
	pd_status st = pd_db_prepare(s, pd_sql_look_effect_add, &q, err);

	for (size_t k = 0; st == PD_OK && k < look->n_effects; k++) {
		const pd_look_effect *e = &look->effect[k];
		const double number[] = { e->estimate, e->se, e->low,
			                  e->high };

		sqlite3_bind_int64(q, 1, (int64_t)k);
		pd_db_bind_text(q, 2, e->label);
		for (int j = 0; j < 4; j++)
			pd_db_bind_real(q, 3 + j, number[j]);
		st = pd_db_do(s, q, err);
	}
	sqlite3_finalize(q);
	return st;
}

/* A statement on one effect, bound. */
static pd_status about_effect(pd_store *s, const char *sql, const char *hash,
                              const char *label, char state[65],
                              sqlite3_stmt **q, pd_error *err)
{
	pd_status st = pd_audit_data_state(s, state, err);

	*q = NULL;
	if (st == PD_OK)
		st = pd_db_prepare(s, sql, q, err);
	if (st == PD_OK) {
		pd_db_bind_text(*q, 1, hash);
		pd_db_bind_text(*q, 2, state);
		pd_db_bind_text(*q, 3, label);
	}
	return st;
}

static pd_status push(double **to, size_t *n, size_t *room, double x,
                      pd_error *err)
{
	if (*n == *room) {
		size_t more = *room ? 2 * *room : 16;
		double *grown = realloc(*to, more * sizeof *grown);

		if (!grown)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		*to = grown;
		*room = more;
	}
	(*to)[(*n)++] = x;
	return PD_OK;
}

pd_status pd_store_earlier_effects(pd_store *s, const char *question_sha256,
                                   const char *label, double **se, size_t *n,
                                   pd_error *err)
{
	char state[65];
	sqlite3_stmt *q;
	size_t room = 0;
	pd_status st = pd_db_begin_read(s, err);
	bool row = true;

	*n = 0;
	*se = NULL;
	if (st != PD_OK)
		return st;
	st = about_effect(s, s->version >= 3 ? pd_sql_effect_earlier
	                                     : pd_sql_first_earlier,
	                  question_sha256, label, state, &q, err);
	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && row)
			st = push(se, n, &room, sqlite3_column_double(q, 0),
			          err);
	}
	sqlite3_finalize(q);
	st = pd_db_end(s, st, err);
	if (st != PD_OK || *n == 0) {
		free(*se);
		*se = NULL;
		*n = 0;
	}
	return st;
}

pd_status pd_store_last_effect(pd_store *s, const char *question_sha256,
                               const char *label, size_t effect_no,
                               pd_look_effect *out, pd_error *err)
{
	char state[65];
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_begin_read(s, err);

	memset(out, 0, sizeof *out);
	if (st != PD_OK)
		return st;
	st = about_effect(s, s->version >= 3 ? pd_sql_effect_last
	                                     : pd_sql_first_last,
	                  question_sha256, label, state, &q, err);
	if (st == PD_OK) {
		sqlite3_bind_int64(q, 4, (int64_t)effect_no);
		st = pd_db_step(s, q, &row, err);
	}
	if (st == PD_OK && row)
		*out = (pd_look_effect){ label, number_or_nan(q, 0),
			                 number_or_nan(q, 1),
			                 number_or_nan(q, 2),
			                 number_or_nan(q, 3) };
	sqlite3_finalize(q);
	return pd_db_end(s, st, err);
}
