/*
 * schema.c - the tables made, brought up to date by version, and compared
 * with ours, text by text, before anything in them is believed.
 */
#include "base/buf.h"
#include "data/audit.h"
#include "data/backup.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* VERSION is what is written; a database from READABLE on can be read as it
 * is: the rooms that read what later versions brought ask for its version. */
enum { APPLICATION_ID = 1885631095, VERSION = 3, READABLE = 1 };

/* Texts that bring a database from version `from` to the next one, in order.
 * A new version adds a row here and a file sql/migrate_NNN.sql: a new
 * database goes through all of them, so that it is what an old one becomes. */
static const struct step {
	int from;
	const char *sql;
} steps[] = {
	{ 0, pd_sql_schema },
	{ 0, pd_sql_words },
	{ 0, pd_sql_triggers },
	{ 0, pd_sql_views },
	{ 1, pd_sql_migrate_002 },
	{ 2, pd_sql_migrate_003 },
};

/* Every object of the schema, one text a line, into `to`. */
static pd_status describe(pd_store *s, pd_buf *to, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_status st = pd_db_prepare(s, pd_sql_objects, &q, err);

	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && row)
			pd_buf_print(to, "%s %s on %s\n%s\n", pd_db_text(q, 0),
			             pd_db_text(q, 1), pd_db_text(q, 2),
			             pd_db_text(q, 3));
	}
	sqlite3_finalize(q);
	if (st == PD_OK && !pd_buf_ok(to))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	return st;
}

static pd_status run_steps(pd_store *s, int from, int to, pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < sizeof steps / sizeof *steps; i++)
		if (steps[i].from >= from && steps[i].from < to)
			st = pd_db_run(s, steps[i].sql, err);
	return st;
}

/* What our own texts up to that version give, made in memory. */
static pd_status describe_ours(int version, pd_buf *to, pd_error *err)
{
	pd_store ours = { .path = (char *)"own schema", .writable = true };
	int rc = sqlite3_open_v2(":memory:", &ours.db,
	                         SQLITE_OPEN_READWRITE | SQLITE_OPEN_MEMORY |
	                         SQLITE_OPEN_NOMUTEX, NULL);
	pd_status st = pd_db_fail(&ours, rc, err);

	if (st == PD_OK)
		st = run_steps(&ours, 0, version, err);
	if (st == PD_OK)
		st = describe(&ours, to, err);
	sqlite3_close(ours.db);
	return st;
}

/* Name of the first object that the two lists do not share, into `name`. */
static void first_other(const char *theirs, const char *ours, char *name,
                        size_t size)
{
	const char *line = theirs;

	/* back to the start of the line the difference lies in */
	for (size_t i = 0; theirs[i] && theirs[i] == ours[i]; i++)
		if (theirs[i] == '\n')
			line = theirs + i + 1;
	size_t n = strcspn(line, "\n");

	if (n == 0)
		n = strlen(line = "an object is missing");
	if (n >= size)
		n = size - 1;
	memcpy(name, line, n);
	name[n] = '\0';
}

static pd_status compare(pd_store *s, int version, pd_error *err)
{
	pd_buf theirs, ours;
	char name[80];

	pd_buf_init(&theirs);
	pd_buf_init(&ours);
	pd_status st = describe(s, &theirs, err);

	if (st == PD_OK)
		st = describe_ours(version, &ours, err);
	if (st == PD_OK && strcmp(pd_buf_text(&theirs), pd_buf_text(&ours))) {
		first_other(pd_buf_text(&theirs), pd_buf_text(&ours), name,
		            sizeof name);
		st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                "database holds tables, views or triggers "
		                "that are not ours, near '%s'", name);
	}
	pd_buf_clear(&theirs);
	pd_buf_clear(&ours);
	return st;
}

/*
 * The check reads every row: half a second for 60 MB. Up to there an index is
 * held against its rows as well, since an answer may come from either; above,
 * only the pages' order is. A large file that is only read from goes without;
 * its pages are still checked one by one as they are met.
 */
static const sqlite3_int64 MOST_COMPARED = 64 << 20, MOST_CHECKED = 256 << 20;

static pd_status check_pages(pd_store *s, pd_error *err)
{
	sqlite3_stmt *q = NULL;
	sqlite3_int64 size = 0;
	bool row = false;
	pd_status st = pd_db_number(s, pd_sql_page_bytes, &size, err);

	if (st == PD_OK && !s->writable && size > MOST_CHECKED)
		return PD_OK;
	if (st == PD_OK)
		st = pd_db_prepare(s, size <= MOST_COMPARED
		                          ? pd_sql_whole_check : pd_sql_check,
		                   &q, err);
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (st == PD_OK && row && strcmp(pd_db_text(q, 0), "ok") != 0)
		st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                "database is damaged: %s", pd_db_text(q, 0));
	sqlite3_finalize(q);
	return st;
}

/* application_id and user_version, the first two things read. */
static pd_status read_marks(pd_store *s, sqlite3_int64 *id,
                            sqlite3_int64 *version, pd_error *err)
{
	pd_status st = pd_db_number(s, pd_sql_application_id, id, err);

	if (st == PD_OK)
		st = pd_db_number(s, pd_sql_user_version, version, err);
	return st;
}

/* Is the file at `path` a copy of s as it is? */
static bool is_copy_of(pd_store *s, const char *path)
{
	char ours[65], theirs[65];
	int64_t n = 0, m = 0;
	pd_store *copy = NULL;
	bool same = pd_store_open(path, PD_OPEN_READ, &copy, NULL) == PD_OK &&
	            pd_audit_head(copy, theirs, &m, NULL) == PD_OK &&
	            pd_audit_head(s, ours, &n, NULL) == PD_OK && n == m &&
	            strcmp(ours, theirs) == 0 && copy->version == s->version;

	pd_store_close(copy);
	return same;
}

/*
 * Before an old database is changed: a checked copy of it beside it,
 * PATH.version-N. One that is there already serves where it is the same, left
 * by a change that did not come to its end.
 */
static pd_status keep_copy(pd_store *s, pd_error *err)
{
	pd_backup made;
	char *path;
	pd_error inner = { 0 };

	if (asprintf(&path, "%s.version-%d", s->path, s->version) < 0)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_status st = pd_store_backup(s, path, NULL, NULL, &made, &inner);

	if (st == PD_CANNOT_CREATE && is_copy_of(s, path))
		st = PD_OK;
	if (st != PD_OK)
		st = pd_fail_at(err, st, s->path, 0, 0, "not brought from "
		                "version %d to %d, as it could not be copied "
		                "first: %s", s->version, VERSION, inner.text);
	free(path);
	return st;
}

/* Bring the database to VERSION in one transaction. */
static pd_status migrate(pd_store *s, pd_error *err)
{
	sqlite3_int64 id, version, bad = 0;
	char now[32];
	pd_status st = pd_db_begin_write(s, err);

	snprintf(now, sizeof now, "version %d", VERSION);
	if (st == PD_OK)
		st = read_marks(s, &id, &version, err);
	/* another process may have been first */
	if (st == PD_OK && version < VERSION) {
		st = run_steps(s, (int)version, VERSION, err);
		if (st == PD_OK)
			st = pd_db_run(s, pd_sql_stamp, err);
		if (st == PD_OK)
			st = pd_audit_add(s, version ? "migrate" : "create",
			                  now, s->made_on, err);
		if (st == PD_OK)
			st = pd_db_number(s, pd_sql_lost_parents, &bad, err);
		if (st == PD_OK && bad)
			st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
			                "%lld rows lost their parent rows in "
			                "the change of version",
			                (long long)bad);
	}
	return pd_db_end(s, st, err);
}

/* Is this file one of ours, or empty and to be made? */
static pd_status judge(pd_store *s, bool create, sqlite3_int64 id,
                       sqlite3_int64 version, bool *empty, pd_error *err)
{
	sqlite3_int64 n = 0;
	pd_status st = PD_OK;

	*empty = false;
	if (id == 0 && version == 0) {
		st = pd_db_number(s, pd_sql_count_objects, &n, err);
		*empty = st == PD_OK && n == 0;
	}
	if (st != PD_OK || (*empty && create))
		return st;
	if (*empty)
		return pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                  "file holds no database yet");
	if (id != APPLICATION_ID)
		return pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                  "not a perdraw database");
	if (version > VERSION || version < READABLE)
		return pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                  "database is of version %lld, this program "
		                  "reads up to version %d", (long long)version,
		                  VERSION);
	return PD_OK;
}

/*
 * The journal is changed at once or not at all: SQLite does not wait for it.
 * While another program fills the store its kind stands; the next to open
 * the store changes it.
 */
static pd_status set_journal(pd_store *s, pd_error *err)
{
	pd_error inner = { 0 };
	pd_status st = pd_db_run(s, s->wal ? pd_sql_journal
	                                   : pd_sql_rollback_journal, &inner);

	if (st == PD_BUSY)
		return PD_OK;
	if (st != PD_OK && err)
		*err = inner;
	return st;
}

pd_status pd_schema_prepare(pd_store *s, bool create, pd_error *err)
{
	sqlite3_int64 id, version;
	bool empty = false;
	pd_status st = pd_db_run(s, pd_sql_defend, err);

	if (st == PD_OK)
		st = read_marks(s, &id, &version, err);
	if (st == PD_OK)
		st = judge(s, create, id, version, &empty, err);
	if (st == PD_OK && !empty)
		st = check_pages(s, err);
	if (st == PD_OK && s->writable)
		st = set_journal(s, err);
	if (st == PD_OK)
		s->version = (int)version;
	/* what is to be changed must be ours first */
	if (st == PD_OK && !empty && version < VERSION)
		st = compare(s, (int)version, err);
	if (st == PD_OK && s->writable && !empty && version < VERSION)
		st = keep_copy(s, err);
	if (st == PD_OK && s->writable && (empty || version < VERSION)) {
		sqlite3_db_config(s->db, SQLITE_DBCONFIG_ENABLE_TRIGGER, 1,
		                  (int *)NULL);
		st = migrate(s, err);
		s->version = VERSION;
	}
	if (st == PD_OK)
		st = compare(s, s->writable ? VERSION : (int)version, err);
	if (st == PD_OK) {
		sqlite3_db_config(s->db, SQLITE_DBCONFIG_ENABLE_TRIGGER, 1,
		                  (int *)NULL);
		sqlite3_db_config(s->db, SQLITE_DBCONFIG_ENABLE_VIEW, 1,
		                  (int *)NULL);
	}
	return st;
}
