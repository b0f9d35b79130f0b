/*
 * out.c - whole files or none, and a standard output that reports its losses.
 */
#include "out.h"
#include "progress.h"
#include "running.h"
#include "say.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool is_stdout(const char *path)
{
	return !path || strcmp(path, "-") == 0;
}

bool out_same_file(const char *a, const char *b)
{
	struct stat x, y;

	return stat(a, &x) == 0 && stat(b, &y) == 0 && x.st_dev == y.st_dev &&
	       x.st_ino == y.st_ino;
}

pd_status out_check(const char *path, bool force, const char *const *keep,
                    size_t n, pd_error *err)
{
	struct stat at;

	if (is_stdout(path) || running_now()->recomputed)
		return PD_OK;
	if (stat(path, &at) != 0) {
		if (errno == ENOENT)
			return PD_OK;
		return pd_fail(err, PD_CANNOT_CREATE,
		               "cannot write '%s': %s", path, strerror(errno));
	}
	if (!S_ISREG(at.st_mode))
		return pd_fail(err, PD_CANNOT_CREATE,
		               "'%s' is there and is not a plain file", path);
	for (size_t i = 0; i < n; i++)
		if (keep[i] && out_same_file(path, keep[i]))
			return pd_fail(err, PD_CANNOT_CREATE,
			               "'%s' is an input of this command, "
			               "give the output another name", path);
	if (!force)
		return pd_fail(err, PD_CANNOT_CREATE,
		               "'%s' is there already; --force replaces it",
		               path);
	return PD_OK;
}

int out_all(int fd, const void *bytes, size_t length)
{
	const char *text = bytes;

	while (length) {
		ssize_t n = write(fd, text, length);

		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return -1;
		text += n;
		length -= (size_t)n;
	}
	return 0;
}

int out_bytes(int fd, const char *text, size_t length)
{
	return out_all(fd, text, length) == 0 ? fsync(fd) : -1;
}

/* The text to a new file beside `path`; *temporary is its name, to be freed,
 * and NULL when there is none. */
static pd_status stage(const char *path, const char *text, size_t length,
                       char **temporary, pd_error *err)
{
	if (asprintf(temporary, "%s.part-XXXXXX", path) < 0) {
		*temporary = NULL;
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	int fd = mkstemp(*temporary);

	if (fd < 0) {
		pd_status st = errno == EACCES || errno == EPERM
		               ? PD_NO_PERMISSION : PD_CANNOT_CREATE;

		pd_fail(err, st, "cannot create '%s': %s", path,
		        strerror(errno));
		free(*temporary);
		*temporary = NULL;
		return st;
	}
	pd_status st = out_bytes(fd, text, length) == 0 ? PD_OK : PD_IO;

	if (st != PD_OK)
		pd_fail(err, st, "cannot write '%s': %s", path,
		        strerror(errno));
	if (close(fd) != 0 && st == PD_OK)
		st = pd_fail(err, PD_IO, "cannot write '%s': %s", path,
		             strerror(errno));
	return st;
}

static pd_status settle(const char *temporary, const char *path, bool force,
                        pd_error *err)
{
	if (pd_file_settle(temporary, path, force) == 0)
		return PD_OK;
	return pd_fail(err, PD_CANNOT_CREATE, "cannot create '%s': %s", path,
	               strerror(errno));
}

pd_status out_apart(const char *path, bool force, const char *text,
                    size_t length, pd_error *err)
{
	char *temporary;
	pd_status st = stage(path, text, length, &temporary, err);

	if (st == PD_OK)
		st = settle(temporary, path, force, err);
	if (st != PD_OK && temporary)
		unlink(temporary);
	free(temporary);
	return st;
}

/* Stage all, then settle all; of a failure nothing new is left. */
static pd_status write_set(const struct out_file *file, size_t n, bool force,
                           pd_error *err)
{
	char **temporary = calloc(n, sizeof *temporary);
	bool *was = calloc(n, sizeof *was);
	size_t settled = 0;
	pd_status st = temporary && was
	                   ? PD_OK
	                   : pd_fail(err, PD_NO_MEMORY, "out of memory");

	for (size_t i = 0; st == PD_OK && i < n; i++) {
		was[i] = access(file[i].path, F_OK) == 0;
		st = stage(file[i].path, file[i].text, file[i].length,
		           &temporary[i], err);
	}
	while (st == PD_OK && settled < n) {
		st = settle(temporary[settled], file[settled].path, force, err);
		settled += st == PD_OK;
	}
	for (size_t i = 0; temporary && i < n; i++) {
		if (st != PD_OK && i < settled && !was[i])
			unlink(file[i].path);
		else if (st != PD_OK && i >= settled && temporary[i])
			unlink(temporary[i]);
		free(temporary[i]);
	}
	free(temporary);
	free(was);
	return st;
}

pd_status out_write_set(const struct out_file *file, size_t n,
                        const char *folder, bool force, pd_error *err)
{
	bool made = false;
	pd_status st = PD_OK;

	if (!running_now()->recomputed) {
		made = mkdir(folder, 0777) == 0;
		if (!made && errno != EEXIST)
			return pd_fail(err, PD_CANNOT_CREATE,
			               "cannot create folder '%s': %s", folder,
			               strerror(errno));
		st = write_set(file, n, force, err);
	}
	if (st != PD_OK && made)
		rmdir(folder);
	for (size_t i = 0; st == PD_OK && i < n; i++)
		st = running_noted(file[i].noted, file[i].text, file[i].length,
		                   err);
	return st;
}

pd_status out_write(const char *path, bool force, const char *text,
                    size_t length, pd_error *err)
{
	pd_status st = PD_OK;

	if (running_now()->recomputed)
		return running_output(path, text, length, err);
	progress_end();
	if (!is_stdout(path))
		st = out_apart(path, force, text, length, err);
	else
		fwrite(text, 1, length, stdout); /* losses: out_finish */
	return st == PD_OK ? running_output(path, text, length, err) : st;
}

int out_finish(int status)
{
	bool lost = fflush(stdout) != 0 || ferror(stdout);
	int why = errno;

	if (!lost || status != 0)
		return status;
	if (why != EPIPE)
		say_error("cannot write to standard output: %s",
		          strerror(why));
	return pd_status_exit(PD_IO);
}
