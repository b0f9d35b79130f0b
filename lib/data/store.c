/*
 * store.c - opening a clinic's database defensively, and closing it.
 *
 * The order matters (docs/store.md): nothing is read from a file before its
 * marks say that it is ours, no trigger or view runs before its text was
 * compared with ours. What the tables hold belongs to schema.c.
 */
#include "data/content.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statfs.h>
#include <unistd.h>

/* Numbers of statfs(2) for file systems that several machines share: locks
 * and the write-ahead log's shared memory do not work across machines. */
static bool is_network(unsigned long type)
{
	static const unsigned long shared[] = {
		0x6969,     /* NFS  */
		0x517b,     /* SMB  */
		0xff534d42, /* CIFS */
		0xfe534d42, /* SMB2 */
		0x5346414f, /* AFS  */
		0x73757245, /* Coda */
	};

	for (size_t i = 0; i < sizeof shared / sizeof *shared; i++)
		if ((type & 0xffffffff) == shared[i])
			return true;
	return false;
}

static const unsigned long FUSE = 0x65735546;

/*
 * Directory of `path` made absolute without links, the last part kept as it
 * is, so that a link in its place is still refused. The caller frees *out.
 */
static pd_status real_place(const char *path, bool create, char **out,
                            pd_error *err)
{
	const char *slash = strrchr(path, '/');
	const char *base = slash ? slash + 1 : path;
	char *folder = slash ? strndup(path, (size_t)(slash - path) + 1)
	                     : strdup(".");
	char *real = folder ? realpath(folder, NULL) : NULL;
	size_t size = (real ? strlen(real) : 0) + strlen(base) + 2;

	*out = NULL;
	free(folder);
	if (!*base || !real) {
		free(real);
		return pd_fail_at(err, create ? PD_CANNOT_CREATE : PD_NO_INPUT,
		                  path, 0, 0,
		                  "no such folder for the database");
	}
	*out = malloc(size);
	if (*out)
		snprintf(*out, size, "%s/%s", real, base);
	free(real);
	return *out ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* Make the file with mode 0600 when it is missing; *made says so. */
static pd_status make_file(const char *path, const char *place, bool *made,
                           pd_error *err)
{
	int fd = open(place, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC,
	              0600);

	*made = fd >= 0;
	if (fd >= 0) {
		close(fd);
		return PD_OK;
	}
	if (errno == EEXIST)
		return PD_OK;
	return pd_fail_at(err, errno == EACCES || errno == EROFS ?
	                  PD_NO_PERMISSION : PD_CANNOT_CREATE, path, 0, 0,
	                  "cannot create database: %s", strerror(errno));
}

/* A regular file on this machine; *fuse where it lies on a user's one. */
static pd_status look_at(const char *path, const char *place, bool *fuse,
                         pd_error *err)
{
	struct stat file;
	struct statfs fs;

	if (lstat(place, &file) != 0)
		return pd_fail_at(err, errno == EACCES ? PD_NO_PERMISSION :
		                  PD_NO_INPUT, path, 0, 0,
		                  "cannot open database: %s", strerror(errno));
	if (S_ISLNK(file.st_mode))
		return pd_fail_at(err, PD_NO_INPUT, path, 0, 0,
		                  "database is a symbolic link, name the "
		                  "file itself");
	if (!S_ISREG(file.st_mode))
		return pd_fail_at(err, PD_NO_INPUT, path, 0, 0,
		                  "database is not a regular file");
	if (statfs(place, &fs) != 0)
		return pd_fail_at(err, PD_IO, path, 0, 0, "%s",
		                  strerror(errno));
	*fuse = (unsigned long)fs.f_type == FUSE;
	if (is_network((unsigned long)fs.f_type))
		return pd_fail_at(err, PD_IO, path, 0, 0,
		                  "database lies on a network file system, "
		                  "where it can be damaged; keep it on a disk "
		                  "of this machine");
	return PD_OK;
}

/* "file:" + percent-encoded path + "?immutable=1"; the caller frees it. */
static char *immutable_name(const char *place)
{
	static const char plain[] = "abcdefghijklmnopqrstuvwxyz"
	                            "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/._-";
	char *name = malloc(3 * strlen(place) + 32), *to = name;

	if (!name)
		return NULL;
	to += sprintf(to, "file:");
	for (; *place; place++) {
		if (strchr(plain, *place))
			*to++ = *place;
		else
			to += sprintf(to, "%%%02X", (unsigned char)*place);
	}
	strcpy(to, "?immutable=1");
	return name;
}

/*
 * A write-ahead log needs a writable folder. Where there is none, the file
 * is read as one that cannot change, unless work is left in its log.
 */
static pd_status read_flags(pd_store *s, const char *place, char **name,
                            int *flags, pd_error *err)
{
	static const char *const logs[] = { "wal", "journal" };
	char log[PATH_MAX];
	struct stat left;
	const char *slash = strrchr(place, '/');
	char *folder = strndup(place, (size_t)(slash - place) + 1);
	bool can_write = folder && access(folder, W_OK) == 0 &&
	                 access(place, W_OK) == 0;

	free(folder);
	*flags = SQLITE_OPEN_READONLY;
	if (can_write)
		return PD_OK;
	for (int k = 0; k < 2; k++)
		if ((size_t)snprintf(log, sizeof log, "%s-%s", place, logs[k])
		    < sizeof log && stat(log, &left) == 0 && left.st_size > 0)
			return pd_fail_at(err, PD_NO_PERMISSION, s->path, 0, 0,
			                  "database has unfinished work in "
			                  "'%s-%s' and cannot be written; "
			                  "open it once where it can", s->path,
			                  logs[k]);
	*name = immutable_name(place);
	*flags |= SQLITE_OPEN_URI;
	return *name ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* What is switched off before the first byte is read. */
static int defend(sqlite3 *db)
{
	static const struct {
		int option, value;
	} option[] = {
		{ SQLITE_DBCONFIG_DEFENSIVE, 1 },
		{ SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0 },
		{ SQLITE_DBCONFIG_DQS_DML, 0 },
		{ SQLITE_DBCONFIG_DQS_DDL, 0 },
		{ SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0 },
		{ SQLITE_DBCONFIG_ENABLE_TRIGGER, 0 },
		{ SQLITE_DBCONFIG_ENABLE_VIEW, 0 },
	};
	static const struct {
		int id, most;
	} limit[] = {
		{ SQLITE_LIMIT_SQL_LENGTH, 100000 },
		{ SQLITE_LIMIT_COLUMN, 100 },
		{ SQLITE_LIMIT_EXPR_DEPTH, 100 },
		{ SQLITE_LIMIT_COMPOUND_SELECT, 10 },
		{ SQLITE_LIMIT_VDBE_OP, 50000 },
		{ SQLITE_LIMIT_FUNCTION_ARG, 100 },
		{ SQLITE_LIMIT_ATTACHED, 0 },
		{ SQLITE_LIMIT_LIKE_PATTERN_LENGTH, 100 },
		{ SQLITE_LIMIT_TRIGGER_DEPTH, 10 },
		{ SQLITE_LIMIT_WORKER_THREADS, 0 },
	};
	int rc = SQLITE_OK;

	for (size_t i = 0; rc == SQLITE_OK &&
	     i < sizeof option / sizeof *option; i++)
		rc = sqlite3_db_config(db, option[i].option, option[i].value,
		                       (int *)NULL);
	for (size_t i = 0; i < sizeof limit / sizeof *limit; i++)
		sqlite3_limit(db, limit[i].id, limit[i].most);
	sqlite3_busy_timeout(db, PD_DB_BUSY_MS);
	return rc;
}

/* The handle, with everything dangerous off; tables are not looked at yet. */
static pd_status connect_to(pd_store *s, const char *place, pd_error *err)
{
	char *name = NULL;
	int flags = SQLITE_OPEN_READWRITE;
	pd_status st = s->writable ? PD_OK :
	               read_flags(s, place, &name, &flags, err);

	if (st == PD_OK) {
		int rc = sqlite3_open_v2(name ? name : place, &s->db,
		                         flags | SQLITE_OPEN_NOFOLLOW |
		                         SQLITE_OPEN_NOMUTEX |
		                         SQLITE_OPEN_EXRESCODE, NULL);

		if (rc == SQLITE_OK)
			rc = defend(s->db);
		st = pd_db_fail(s, rc, err);
	}
	if (st == PD_OK && s->writable && sqlite3_db_readonly(s->db, "main"))
		st = pd_fail_at(err, PD_NO_PERMISSION, s->path, 0, 0,
		                "database cannot be written");
	free(name);
	return st;
}

/* As long as it costs little beside an answer; a load, which would sign what
 * it finds, history and backup look at any size. */
static const sqlite3_int64 MOST_VERIFIED = 64 << 20;

static pd_status verify_rows(pd_store *s, pd_error *err)
{
	sqlite3_int64 size = 0;
	pd_status st = pd_db_number(s, pd_sql_page_bytes, &size, err);

	if (st == PD_OK && size <= MOST_VERIFIED)
		st = pd_content_verify(s, err);
	return st;
}

pd_status pd_store_open(const char *path, pd_open_mode mode, pd_store **out,
                        pd_error *err)
{
	return pd_store_open_on(path, mode, "", out, err);
}

pd_status pd_store_open_on(const char *path, pd_open_mode mode,
                           const char *date, pd_store **out, pd_error *err)
{
	pd_store *s = calloc(1, sizeof *s);
	char *place = NULL;
	bool made = false, fuse = false;
	pd_status st;

	*out = NULL;
	pd_base_init();
	if (!s || !(s->path = strdup(path))) {
		free(s);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	s->writable = mode == PD_OPEN_WRITE || mode == PD_OPEN_CREATE;
	s->made_on = date ? date : "";
	st = real_place(path, mode == PD_OPEN_CREATE, &place, err);
	if (st == PD_OK && mode == PD_OPEN_CREATE)
		st = make_file(path, place, &made, err);
	if (st == PD_OK)
		st = look_at(path, place, &fuse, err);
	if (st == PD_OK)
		st = connect_to(s, place, err);
	if (st == PD_OK)
		s->wal = s->writable && !fuse;
	if (st == PD_OK)
		st = pd_schema_prepare(s, mode == PD_OPEN_CREATE, err);
	s->made_on = ""; /* the caller's, for this call */
	if (st == PD_OK && mode != PD_OPEN_INSPECT)
		st = pd_store_audit_verify(s, err);
	if (st == PD_OK && mode != PD_OPEN_INSPECT)
		st = verify_rows(s, err);
	if (st != PD_OK) {
		pd_store_close(s);
		s = NULL;
		if (made)
			unlink(place);
	}
	free(place);
	*out = s;
	return st;
}

void pd_store_close(pd_store *s)
{
	if (!s)
		return;
	q_tree_free(s->tree);
	sqlite3_close(s->db);
	free(s->path);
	free(s);
}
