/* claims.c - rows of claims, and the newest of each name. */
#include "data/claims.h"
#include "data/audit.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>

static pd_status seen(pd_store *s, const pd_claim_row *r, const char *sha256,
                      const char *state, bool *is, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_claim_seen, &q, err);

	if (st == PD_OK) {
		pd_db_bind_text(q, 1, sha256);
		pd_db_bind_text(q, 2, r->name);
		pd_db_bind_text(q, 3, state);
		st = pd_db_step(s, q, &row, err);
	}
	*is = row && sqlite3_column_int64(q, 0) > 0;
	sqlite3_finalize(q);
	return st;
}

static pd_status add(pd_store *s, const pd_claim_row *r, const char *sha256,
                     const char *question, const char *state, pd_error *err)
{
	const char *text[] = { sha256, r->name, state, r->title, r->date,
		               question, r->verdict };
	const double number[] = { r->printed, r->printed_low, r->printed_high,
		                  r->least, r->most, r->margin, r->here,
		                  r->here_low, r->here_high };
	sqlite3_stmt *q;
	char detail[256];
	pd_status st = pd_db_prepare(s, pd_sql_claim_add, &q, err);

	if (st == PD_OK) {
		for (int k = 0; k < 7; k++)
			pd_db_bind_text(q, 1 + k, text[k] ? text[k] : "");
		sqlite3_bind_int64(q, 8, (int64_t)r->n_meanings);
		sqlite3_bind_int64(q, 9, (int64_t)r->n_patients);
		for (int k = 0; k < 9; k++)
			pd_db_bind_real(q, 10 + k, number[k]);
		st = pd_db_do(s, q, err);
	}
	sqlite3_finalize(q);
	snprintf(detail, sizeof detail, "claim %.64s (%.100s): %s", sha256,
	         r->name, r->verdict);
	return st == PD_OK ? pd_audit_add(s, "claim", detail, r->date, err)
	                   : st;
}

pd_status pd_store_claim(pd_store *s, const pd_claim_row *r,
                         const char *plan_sha256, const char *question_sha256,
                         pd_error *err)
{
	char state[65];
	bool is = false;
	pd_status st = pd_db_begin_write(s, err);

	if (st != PD_OK)
		return st;
	st = pd_audit_data_state(s, state, err);
	if (st == PD_OK)
		st = seen(s, r, plan_sha256, state, &is, err);
	if (st == PD_OK && !is)
		st = add(s, r, plan_sha256, question_sha256, state, err);
	return pd_db_end(s, st, err);
}

static void take(sqlite3_stmt *q, pd_claim_row *r)
{
	const char **text[] = { &r->name, &r->title, &r->date, &r->verdict };
	size_t *count[] = { &r->n_meanings, &r->n_patients, &r->n_loads,
		            &r->n_corrections, &r->n_rows };
	double *number[] = { &r->printed, &r->printed_low, &r->printed_high,
		             &r->least, &r->most, &r->margin, &r->here,
		             &r->here_low, &r->here_high };

	for (int k = 0; k < 4; k++)
		*text[k] = pd_db_text(q, k);
	for (int k = 0; k < 5; k++)
		*count[k] = (size_t)sqlite3_column_int64(q, 4 + k);
	for (int k = 0; k < 9; k++)
		*number[k] = sqlite3_column_type(q, 9 + k) == SQLITE_NULL
		                 ? (double)NAN
		                 : sqlite3_column_double(q, 9 + k);
}

pd_status pd_store_claims(pd_store *s, pd_claim_visit visit, void *user,
                          pd_error *err)
{
	sqlite3_stmt *q = NULL;
	bool row = true;
	pd_status st = PD_OK;

	if (s->version < 3) /* no claims were kept then */
		return PD_OK;
	st = pd_db_prepare(s, pd_sql_claims_newest, &q, err);
	while (st == PD_OK && row) {
		pd_claim_row r = { 0 };

		st = pd_db_step(s, q, &row, err);
		if (st != PD_OK || !row)
			break;
		take(q, &r);
		st = visit(user, &r, err);
	}
	sqlite3_finalize(q);
	return st;
}
