/* db.c - statements, transactions and what the library's codes mean to us. */
#include "data/db.h"
#include "data/sql_text.h"

#include <math.h>

pd_status pd_db_fail(const pd_store *s, int rc, pd_error *err)
{
	pd_status st;

	switch (rc & 0xff) {
	case SQLITE_OK:
	case SQLITE_ROW:
	case SQLITE_DONE:
		return PD_OK;
	case SQLITE_BUSY:
	case SQLITE_LOCKED:
		st = PD_BUSY;
		break;
	case SQLITE_READONLY:
	case SQLITE_PERM:
	case SQLITE_AUTH:
		st = PD_NO_PERMISSION;
		break;
	case SQLITE_NOMEM:
		st = PD_NO_MEMORY;
		break;
	case SQLITE_FULL:
	case SQLITE_IOERR:
		st = PD_IO;
		break;
	case SQLITE_CORRUPT:
	case SQLITE_NOTADB:
	case SQLITE_CONSTRAINT:
		st = PD_DATA;
		break;
	case SQLITE_CANTOPEN:
		st = PD_NO_INPUT;
		break;
	default:
		st = PD_INTERNAL;
	}
	return pd_fail_at(err, st, s->path, 0, 0, "%s",
	                  s->db ? sqlite3_errmsg(s->db) : sqlite3_errstr(rc));
}

pd_status pd_db_run(pd_store *s, const char *sql, pd_error *err)
{
	return pd_db_fail(s, sqlite3_exec(s->db, sql, NULL, NULL, NULL), err);
}

pd_status pd_db_prepare(pd_store *s, const char *sql, sqlite3_stmt **out,
                        pd_error *err)
{
	*out = NULL;
	return pd_db_fail(s, sqlite3_prepare_v3(s->db, sql, -1,
	                                        SQLITE_PREPARE_PERSISTENT, out,
	                                        NULL), err);
}

pd_status pd_db_step(pd_store *s, sqlite3_stmt *q, bool *row, pd_error *err)
{
	int rc = sqlite3_step(q);

	*row = rc == SQLITE_ROW;
	return pd_db_fail(s, rc, err);
}

pd_status pd_db_do(pd_store *s, sqlite3_stmt *q, pd_error *err)
{
	int rc = sqlite3_step(q);
	pd_status st = pd_db_fail(s, rc, err);

	sqlite3_reset(q);
	return st;
}

pd_status pd_db_number(pd_store *s, const char *sql, sqlite3_int64 *out,
                       pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, sql, &q, err);

	*out = 0;
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (row)
		*out = sqlite3_column_int64(q, 0);
	sqlite3_finalize(q);
	return st;
}

void pd_db_bind_text(sqlite3_stmt *q, int at, const char *text)
{
	sqlite3_bind_text(q, at, text, -1, SQLITE_STATIC);
}

void pd_db_bind_real(sqlite3_stmt *q, int at, double x)
{
	if (isfinite(x))
		sqlite3_bind_double(q, at, x);
	else
		sqlite3_bind_null(q, at);
}

const char *pd_db_text(sqlite3_stmt *q, int column)
{
	const char *text = (const char *)sqlite3_column_text(q, column);

	return text ? text : "";
}

pd_status pd_db_begin_write(pd_store *s, pd_error *err)
{
	if (!s->writable)
		return pd_fail_at(err, PD_NO_PERMISSION, s->path, 0, 0,
		                  "database was opened for reading only");
	return pd_db_run(s, pd_sql_begin_write, err);
}

pd_status pd_db_begin_read(pd_store *s, pd_error *err)
{
	return pd_db_run(s, pd_sql_begin_read, err);
}

pd_status pd_db_end(pd_store *s, pd_status st, pd_error *err)
{
	if (st == PD_OK)
		st = pd_db_run(s, pd_sql_commit, err);
	if (st != PD_OK && !sqlite3_get_autocommit(s->db))
		sqlite3_exec(s->db, pd_sql_rollback, NULL, NULL, NULL);
	return st;
}
