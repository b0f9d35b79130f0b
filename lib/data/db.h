/*
 * db.h - the store's own view of SQLite: its handle, and statements whose
 * failures are told in our words. Only rooms of lib/data that own SQL use it.
 */
#ifndef PERDRAW_DATA_DB_H
#define PERDRAW_DATA_DB_H

#include "base/status.h"
#include "data/store.h"

#include <sqlite3.h>
#include <stdbool.h>

enum { PD_DB_BUSY_MS = 5000 };

struct pd_store {
	sqlite3 *db;
	char *path;       /* as given by the caller, for messages           */
	bool writable;
	int version;      /* of its tables; below ours only where it is read */
	const char *made_on; /* date of the first row of a new store, or ""  */
	bool wal;         /* the write-ahead log is what is wanted here     */
	struct q_tree *tree;  /* the draws as last read (query_tree.c)      */
	char tree_state[65];  /* audit hash of the data it was read from   */
	char held_state[65];  /* the same, of the rows last held (content.c) */
};

/* Give back what was read for frames. */
void q_tree_free(struct q_tree *t); /* NULL is welcome */

/* Status and sentence for the library's code rc on this store. */
pd_status pd_db_fail(const pd_store *s, int rc, pd_error *err);
/* Run a text of one or more statements that give no rows. */
pd_status pd_db_run(pd_store *s, const char *sql, pd_error *err);
/* The caller finalizes *out (sqlite3_finalize takes NULL). */
pd_status pd_db_prepare(pd_store *s, const char *sql, sqlite3_stmt **out,
                        pd_error *err);
/* Step to the next row: *row says whether there is one. */
pd_status pd_db_step(pd_store *s, sqlite3_stmt *q, bool *row, pd_error *err);
/* Step a statement that gives no row, and make it ready for the next. */
pd_status pd_db_do(pd_store *s, sqlite3_stmt *q, pd_error *err);
/* First column of the first row of `sql`, a number; 0 where there is none. */
pd_status pd_db_number(pd_store *s, const char *sql, sqlite3_int64 *out,
                       pd_error *err);

/* Text that lives until the statement is stepped; NULL binds NULL. */
void pd_db_bind_text(sqlite3_stmt *q, int at, const char *text);
/* NULL where x is not finite. */
void pd_db_bind_real(sqlite3_stmt *q, int at, double x);
/* "" where the column is NULL; good until the next step. */
const char *pd_db_text(sqlite3_stmt *q, int column);

pd_status pd_db_begin_write(pd_store *s, pd_error *err);
pd_status pd_db_begin_read(pd_store *s, pd_error *err);
/* Commit when st is PD_OK, else roll back; the first failure is returned. */
pd_status pd_db_end(pd_store *s, pd_status st, pd_error *err);

/* schema.c: tables made, brought up to date, and compared with ours. */
pd_status pd_schema_prepare(pd_store *s, bool create, pd_error *err);

#endif
