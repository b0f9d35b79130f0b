/* backup.c - copied page by page, checked as a stranger's file, then named. */
#include "data/backup.h"
#include "base/file.h"
#include "data/audit.h"
#include "data/content.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <sodium.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { PAGES_A_STEP = 512 };

/* An empty file of mode 0600 beside `path`; the caller frees *temporary. */
static pd_status make_place(const char *path, char **temporary, pd_error *err)
{
	struct stat there;
	int fd;

	*temporary = NULL;
	if (lstat(path, &there) == 0)
		return pd_fail_at(err, PD_CANNOT_CREATE, path, 0, 0,
		                  "is there already, and a copy never replaces "
		                  "a file; name a new one");
	if (asprintf(temporary, "%s.part-XXXXXX", path) < 0) {
		*temporary = NULL;
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	fd = mkstemp(*temporary);
	if (fd >= 0) {
		close(fd);
		return PD_OK;
	}
	int why = errno;

	free(*temporary);
	*temporary = NULL;
	return pd_fail_at(err, why == EACCES || why == EPERM || why == EROFS
	                           ? PD_NO_PERMISSION : PD_CANNOT_CREATE,
	                  path, 0, 0, "cannot create the copy: %s",
	                  strerror(why));
}

/* ---- the pages ----------------------------------------------------------- */

struct copy {
	pd_store *from;
	pd_store to;             /* only what pd_db_fail needs */
	pd_backup_progress progress;
	void *user;
};

static pd_status copy_pages(struct copy *c, pd_error *err)
{
	sqlite3_backup *b = sqlite3_backup_init(c->to.db, "main", c->from->db,
	                                        "main");
	int rc = SQLITE_OK;

	if (!b)
		return pd_db_fail(&c->to, sqlite3_errcode(c->to.db), err);
	while (rc == SQLITE_OK) {
		rc = sqlite3_backup_step(b, PAGES_A_STEP);
		if (c->progress) {
			int all = sqlite3_backup_pagecount(b);

			c->progress(c->user,
			            (size_t)(all - sqlite3_backup_remaining(b)),
			            (size_t)all);
		}
	}
	int end = sqlite3_backup_finish(b);

	if (rc == SQLITE_DONE)
		rc = end;
	/* whose failure it was, the library does not say: words of the code */
	if (rc == SQLITE_OK)
		return PD_OK;
	pd_status st = pd_db_fail(&c->to, rc, err);

	return pd_fail_at(err, st, c->to.path, 0, 0, "cannot copy: %s",
	                  sqlite3_errstr(rc));
}

/*
 * One reading transaction holds the moment while the pages are copied, so
 * that a writer can neither change what is copied nor start it over.
 */
static pd_status copy(struct copy *c, const char *temporary, char head[65],
                      pd_error *err)
{
	int64_t n;
	pd_status st = pd_db_begin_read(c->from, err);
	int rc;

	if (st == PD_OK)
		st = pd_audit_head(c->from, head, &n, err);
	if (st != PD_OK)
		return pd_db_end(c->from, st, err);
	rc = sqlite3_open_v2(temporary, &c->to.db,
	                     SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOFOLLOW |
	                     SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE, NULL);
	st = pd_db_fail(&c->to, rc, err);
	if (st == PD_OK)
		st = copy_pages(c, err);
	st = pd_db_end(c->from, st, err);
	/* one file, with nothing beside it */
	if (st == PD_OK)
		st = pd_db_run(&c->to, pd_sql_one_file, err);
	rc = sqlite3_close(c->to.db);
	c->to.db = NULL;
	return st == PD_OK ? pd_db_fail(&c->to, rc, err) : st;
}

/* ---- the checks ---------------------------------------------------------- */

static pd_status whole_check(pd_store *s, pd_error *err)
{
	sqlite3_stmt *q;
	sqlite3_int64 lost = 0;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_whole_check, &q, err);

	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (st == PD_OK && (!row || strcmp(pd_db_text(q, 0), "ok") != 0))
		st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                "the copy is damaged, and so is the database: "
		                "%s", row ? pd_db_text(q, 0) : "no answer");
	sqlite3_finalize(q);
	if (st == PD_OK)
		st = pd_db_number(s, pd_sql_lost_parents, &lost, err);
	if (st == PD_OK && lost)
		st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                "%lld rows of the copy have no parent row",
		                (long long)lost);
	return st;
}

/* Opened like anybody's file: marks, tables' texts, chain. */
static pd_status check(const char *temporary, const char *head,
                       pd_backup *out, pd_error *err)
{
	pd_store *s = NULL;
	int64_t n = 0;
	pd_status st = pd_store_open(temporary, PD_OPEN_READ, &s, err);

	if (st == PD_OK)
		st = whole_check(s, err);
	if (st == PD_OK)
		st = pd_content_verify(s, err);
	if (st == PD_OK)
		st = pd_audit_head(s, out->audit_head, &n, err);
	if (st == PD_OK && strcmp(out->audit_head, head) != 0)
		st = pd_fail_at(err, PD_BROKEN, s->path, 0, 0,
		                "the copy ends its audit chain with another "
		                "row than the database");
	if (st == PD_OK)
		st = pd_store_count(s, &out->counts, err);
	out->n_audit = (size_t)n;
	pd_store_close(s);
	return st;
}

/* Onto the disk, and the SHA-256 of what is there. */
static pd_status settle(const char *temporary, pd_backup *out, pd_error *err)
{
	unsigned char piece[1 << 14];
	unsigned char hash[crypto_hash_sha256_BYTES];
	crypto_hash_sha256_state state;
	int fd = open(temporary, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
	ssize_t n = fd < 0 || fsync(fd) != 0 ? -1 : 1;

	crypto_hash_sha256_init(&state);
	while (n > 0) {
		n = read(fd, piece, sizeof piece);
		if (n < 0 && errno == EINTR)
			n = 1;
		else if (n > 0)
			crypto_hash_sha256_update(&state, piece,
			                          (unsigned long long)n);
		out->bytes += n > 0 ? (size_t)n : 0;
	}
	int why = errno;

	if (fd >= 0)
		close(fd);
	if (n < 0)
		return pd_fail_at(err, PD_IO, temporary, 0, 0,
		                  "cannot read the copy back: %s",
		                  strerror(why));
	crypto_hash_sha256_final(&state, hash);
	sodium_bin2hex(out->sha256, sizeof out->sha256, hash, sizeof hash);
	return PD_OK;
}

/* The copy and what the library may have left beside it. Asks for no memory:
 * the lack of it is one of the reasons to come here. */
static void remove_all(const char *temporary)
{
	static const char *const ends[] = { "", "-journal", "-wal", "-shm" };
	char name[PATH_MAX];

	for (size_t i = 0; i < sizeof ends / sizeof *ends; i++)
		if ((size_t)snprintf(name, sizeof name, "%s%s", temporary,
		                     ends[i]) < sizeof name)
			unlink(name);
}

pd_status pd_store_backup(pd_store *s, const char *path,
                          pd_backup_progress progress, void *user,
                          pd_backup *out, pd_error *err)
{
	struct copy c = { .from = s, .to = { .path = (char *)path },
		          .progress = progress, .user = user };
	char *temporary, head[65];
	pd_status st = make_place(path, &temporary, err);

	memset(out, 0, sizeof *out);
	if (st != PD_OK)
		return st;
	st = copy(&c, temporary, head, err);
	if (st == PD_OK)
		st = check(temporary, head, out, err);
	if (st == PD_OK)
		st = settle(temporary, out, err);
	if (st == PD_OK && pd_file_settle(temporary, path, false) != 0)
		st = pd_fail_at(err, PD_CANNOT_CREATE, path, 0, 0,
		                "cannot create the copy: %s", strerror(errno));
	if (st != PD_OK)
		remove_all(temporary);
	free(temporary);
	return st;
}
