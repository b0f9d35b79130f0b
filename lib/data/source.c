/* source.c - reading files whole, hashing them, unpacking what was kept. */
#include "data/source.h"
#include "data/audit.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zstd.h>

static const off_t MOST_BYTES = 0x7fffffff;

/* Reads fd until size bytes are there or the file ends. */
static pd_status fill(int fd, const char *path, char *to, size_t *size,
                      pd_error *err)
{
	size_t n = 0;

	while (n < *size) {
		ssize_t got = read(fd, to + n, *size - n);

		if (got < 0 && errno == EINTR)
			continue;
		if (got < 0)
			return pd_fail_at(err, PD_IO, path, 0, 0, "%s",
			                  strerror(errno));
		if (got == 0)
			break;
		n += (size_t)got;
	}
	*size = n;
	return PD_OK;
}

pd_status pd_source_read(const char *path, char **bytes, size_t *size,
                         pd_error *err)
{
	struct stat file;
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	pd_status st = PD_OK;

	*bytes = NULL;
	*size = 0;
	if (fd < 0)
		return pd_fail_at(err, errno == EACCES ? PD_NO_PERMISSION :
		                  PD_NO_INPUT, path, 0, 0, "%s",
		                  strerror(errno));
	if (fstat(fd, &file) != 0 || !S_ISREG(file.st_mode))
		st = pd_fail_at(err, PD_NO_INPUT, path, 0, 0,
		                "not a regular file");
	else if (file.st_size > MOST_BYTES)
		st = pd_fail_at(err, PD_DATA, path, 0, 0,
		                "file is above 2 GiB, load it in pieces");
	if (st == PD_OK) {
		*size = (size_t)file.st_size;
		*bytes = malloc(*size + 1);
		st = *bytes ? fill(fd, path, *bytes, size, err) :
		     pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	if (st == PD_OK)
		(*bytes)[*size] = '\0';
	close(fd);
	if (st != PD_OK) {
		free(*bytes);
		*bytes = NULL;
	}
	return st;
}

struct pd_source_hash {
	const void *bytes;
	size_t size;
	pthread_t thread;
	bool joined;
	char sha256[65];
};

static void *run(void *user)
{
	pd_source_hash *h = user;

	pd_sha256_hex(h->bytes, h->size, h->sha256);
	return NULL;
}

pd_status pd_source_hash_begin(const void *bytes, size_t size,
                               pd_source_hash **out, pd_error *err)
{
	pd_source_hash *h = calloc(1, sizeof *h);

	*out = h;
	if (!h)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	h->bytes = bytes;
	h->size = size;
	if (pthread_create(&h->thread, NULL, run, h) != 0) {
		run(h); /* no thread to be had: now, then */
		h->joined = true;
	}
	return PD_OK;
}

void pd_source_hash_wait(pd_source_hash *h, char sha256[65])
{
	if (!h->joined)
		pthread_join(h->thread, NULL);
	h->joined = true;
	memcpy(sha256, h->sha256, sizeof h->sha256);
}

void pd_source_hash_free(pd_source_hash *h)
{
	char sha256[65];

	if (!h)
		return;
	pd_source_hash_wait(h, sha256);
	free(h);
}

static pd_status unpack(pd_store *s, sqlite3_stmt *q, pd_buf *out,
                        pd_error *err)
{
	const void *from = sqlite3_column_blob(q, 0);
	size_t n = (size_t)sqlite3_column_bytes(q, 0);
	unsigned long long size = from ? ZSTD_getFrameContentSize(from, n) :
	                          ZSTD_CONTENTSIZE_ERROR;
	char *to = size <= (unsigned long long)MOST_BYTES * 2 ?
	           malloc((size_t)size + 1) : NULL;
	size_t got = to ? ZSTD_decompress(to, (size_t)size, from, n) : 0;
	pd_status st = PD_OK;

	if (!to || ZSTD_isError(got) || got != size)
		st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                "the kept bytes of a source are damaged");
	else
		pd_buf_add_n(out, to, got);
	free(to);
	if (st == PD_OK && !pd_buf_ok(out))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	return st;
}

pd_status pd_source_bytes(pd_store *s, const char *sha256, pd_buf *out,
                          pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_read_bytes, &q, err);

	if (st == PD_OK) {
		pd_db_bind_text(q, 1, sha256);
		st = pd_db_step(s, q, &row, err);
	}
	if (st == PD_OK && !row)
		st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                "no source with SHA-256 '%.64s'", sha256);
	if (st == PD_OK)
		st = unpack(s, q, out, err);
	sqlite3_finalize(q);
	return st;
}
