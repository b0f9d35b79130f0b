/* folder.c - see folder.h. */
#include "folder.h"
#include "out.h"
#include "running.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static pd_status fail(pd_error *err, const char *path, const char *what)
{
	int why = errno;
	pd_status st = why == EACCES || why == EPERM || why == EROFS
	                   ? PD_NO_PERMISSION
	               : why == ENOSPC || why == EIO || why == EDQUOT ||
	                         why == EFBIG
	                   ? PD_IO
	                   : PD_CANNOT_CREATE;

	return pd_fail(err, st, "cannot %s '%s': %s", what, path,
	               strerror(why));
}

static bool is_empty(const char *path)
{
	DIR *d = opendir(path);
	const struct dirent *e;
	bool empty = d != NULL;

	while (d && (e = readdir(d)))
		if (strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0)
			empty = false;
	if (d)
		closedir(d);
	return empty;
}

pd_status folder_check(const char *path, pd_error *err)
{
	struct stat at;
	size_t n = strlen(path);

	if (running_now()->recomputed)
		return PD_OK;
	if (n == 0 || path[n - 1] == '/')
		return pd_fail(err, PD_USAGE, "'%s' is no name for a new "
		               "folder; leave out the '/' at its end", path);
	if (lstat(path, &at) != 0)
		return errno == ENOENT ? PD_OK
		                       : fail(err, path, "make the folder");
	if (!S_ISDIR(at.st_mode))
		return pd_fail(err, PD_CANNOT_CREATE,
		               "'%s' is there and is no folder", path);
	return is_empty(path)
	           ? PD_OK
	           : pd_fail(err, PD_CANNOT_CREATE, "the folder '%s' is there "
	                     "and is not empty; name a new one", path);
}

pd_status folder_begin(struct folder *f, const char *path, pd_error *err)
{
	*f = (struct folder){ .path = path };
	if (running_now()->recomputed)
		return PD_OK;
	if (asprintf(&f->temporary, "%s.part-XXXXXX", path) < 0) {
		f->temporary = NULL;
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	bool made = mkdtemp(f->temporary) != NULL;

	/* opened now: to take it away may not need memory */
	f->inside = made ? opendir(f->temporary) : NULL;
	if (f->inside)
		return PD_OK;
	pd_status st = fail(err, path, "make the folder");

	if (made)
		rmdir(f->temporary);
	free(f->temporary);
	f->temporary = NULL;
	return st;
}

static pd_status put_file(const struct folder *f, const char *name,
                          const char *text, size_t length, pd_error *err)
{
	char *path = NULL;
	pd_status st = PD_OK;

	if (asprintf(&path, "%s/%s", f->temporary, name) < 0)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);

	if (fd < 0 || out_bytes(fd, text, length) != 0)
		st = fail(err, name, "write");
	if (fd >= 0 && close(fd) != 0 && st == PD_OK)
		st = fail(err, name, "write");
	free(path);
	return st;
}

/* "release-2026/long.csv": a file as a manifest beside the folder names it. */
static bool noted_name(const struct folder *f, const char *name, char *to,
                       size_t size)
{
	int n = snprintf(to, size, "%s/%s", name_of_path(f->path), name);

	return n > 0 && (size_t)n < size;
}

pd_status folder_put(struct folder *f, const char *name, const char *text,
                     size_t length, pd_error *err)
{
	char noted[400];
	pd_status st = PD_OK;

	if (f->temporary)
		st = put_file(f, name, text, length, err);
	if (st == PD_OK && !noted_name(f, name, noted, sizeof noted))
		st = pd_fail(err, PD_USAGE, "the folder's name is too long");
	return st == PD_OK ? running_noted(noted, text, length, err) : st;
}

pd_status folder_read(const struct folder *f, const char *name, char **bytes,
                      size_t *size, pd_error *err)
{
	const struct running *r = running_now();
	char *path = NULL, noted[400];

	*bytes = NULL;
	*size = 0;
	if (f->temporary) {
		if (asprintf(&path, "%s/%s", f->temporary, name) < 0)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		pd_status st = pd_source_read(path, bytes, size, err);

		free(path);
		return st;
	}
	if (!noted_name(f, name, noted, sizeof noted))
		return pd_fail(err, PD_USAGE, "the folder's name is too long");
	for (size_t i = 0; i < r->n_outputs; i++) {
		if (strcmp(r->output[i].name, noted) != 0)
			continue;
		*size = r->output[i].length;
		*bytes = malloc(*size + 1);
		if (!*bytes)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		memcpy(*bytes, r->output[i].text, *size);
		(*bytes)[*size] = '\0';
		return PD_OK;
	}
	return pd_fail(err, PD_INTERNAL, "no output '%s'", name);
}

/* Best effort: the files themselves are synced. */
static void sync_folder(const char *path)
{
	int fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);

	if (fd >= 0) {
		fsync(fd);
		close(fd);
	}
}

/* The folder a path lies in; the caller frees it. */
static char *parent_of(const char *path)
{
	const char *slash = strrchr(path, '/');

	if (!slash)
		return strdup(".");
	return slash == path ? strdup("/")
	                     : strndup(path, (size_t)(slash - path));
}

pd_status folder_settle(struct folder *f, pd_error *err)
{
	if (!f->temporary)
		return PD_OK;
	sync_folder(f->temporary);
	/* an empty folder of that name gives way, any other stays */
	if (rename(f->temporary, f->path) != 0)
		return fail(err, f->path, "make the folder");
	closedir(f->inside);
	f->inside = NULL;
	free(f->temporary);
	f->temporary = NULL;

	char *parent = parent_of(f->path);

	if (parent)
		sync_folder(parent);
	free(parent);
	return PD_OK;
}

void folder_end(struct folder *f)
{
	const struct dirent *e;

	if (f->inside)
		rewinddir(f->inside);
	while (f->inside && (e = readdir(f->inside)))
		unlinkat(dirfd(f->inside), e->d_name, 0);
	if (f->inside)
		closedir(f->inside);
	if (f->temporary)
		rmdir(f->temporary);
	f->inside = NULL;
	free(f->temporary);
	f->temporary = NULL;
}

/* The real path of what is there already. */
static char *real_of(const char *path)
{
	char *parent, *real;

	if ((real = realpath(path, NULL)))
		return real;
	parent = parent_of(path);
	real = parent ? realpath(parent, NULL) : NULL;
	free(parent);
	if (!real)
		return NULL;

	char *whole = NULL;

	if (asprintf(&whole, "%s/%s", real, name_of_path(path)) < 0)
		whole = NULL;
	free(real);
	return whole;
}

bool folder_holds(const char *folder, const char *file)
{
	char *out = real_of(folder), *parent = parent_of(file);
	char *in = parent ? real_of(parent) : NULL;
	size_t n = out ? strlen(out) : 0;
	bool holds = out && in && strncmp(in, out, n) == 0 &&
	             (in[n] == '\0' || in[n] == '/');

	free(out);
	free(parent);
	free(in);
	return holds;
}
