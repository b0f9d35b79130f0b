/*
 * out.c - whole files or none, and a standard output that reports its losses.
 */
#include "out.h"
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

pd_status out_check(const char *path, bool force, const char *const *keep,
                    size_t n, pd_error *err)
{
	struct stat at, other;

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
		if (keep[i] && stat(keep[i], &other) == 0 &&
		    at.st_dev == other.st_dev && at.st_ino == other.st_ino)
			return pd_fail(err, PD_CANNOT_CREATE,
			               "'%s' is an input of this command, "
			               "give the output another name", path);
	if (!force)
		return pd_fail(err, PD_CANNOT_CREATE,
		               "'%s' is there already; --force replaces it",
		               path);
	return PD_OK;
}

static pd_status write_all(int fd, const char *text, size_t length)
{
	while (length) {
		ssize_t n = write(fd, text, length);

		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return PD_IO;
		text += n;
		length -= (size_t)n;
	}
	return fsync(fd) == 0 ? PD_OK : PD_IO;
}

static pd_status write_file(const char *path, bool force, const char *text,
                            size_t length, pd_error *err)
{
	char *temporary = NULL;

	if (asprintf(&temporary, "%s.part-XXXXXX", path) < 0)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	int fd = mkstemp(temporary);

	if (fd < 0) {
		pd_status st = errno == EACCES || errno == EPERM
		               ? PD_NO_PERMISSION : PD_CANNOT_CREATE;

		pd_fail(err, st, "cannot create '%s': %s", path,
		        strerror(errno));
		free(temporary);
		return st;
	}
	pd_status st = write_all(fd, text, length);

	if (st != PD_OK)
		pd_fail(err, st, "cannot write '%s': %s", path,
		        strerror(errno));
	if (close(fd) != 0 && st == PD_OK)
		st = pd_fail(err, PD_IO, "cannot write '%s': %s", path,
		             strerror(errno));
	if (st == PD_OK && pd_file_settle(temporary, path, force) != 0)
		st = pd_fail(err, PD_CANNOT_CREATE, "cannot create '%s': %s",
		             path, strerror(errno));
	if (st != PD_OK)
		unlink(temporary);
	free(temporary);
	return st;
}

pd_status out_write(const char *path, bool force, const char *text,
                    size_t length, pd_error *err)
{
	pd_status st = PD_OK;

	if (running_now()->recomputed)
		return running_output(path, text, length, err);
	if (!is_stdout(path))
		st = write_file(path, force, text, length, err);
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
