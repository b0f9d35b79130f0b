/* file.c - see file.h. */
#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int put_name(const char *temporary, const char *path, bool replace)
{
	if (replace)
		return rename(temporary, path);
	if (link(temporary, path) == 0)
		return unlink(temporary);
	if (errno != EPERM && errno != EOPNOTSUPP && errno != ENOSYS)
		return -1;
	/* a file system without hard links */
	return renameat2(AT_FDCWD, temporary, AT_FDCWD, path, RENAME_NOREPLACE);
}

static void sync_folder(const char *path)
{
	const char *slash = strrchr(path, '/');
	char *folder = slash ? strndup(path, (size_t)(slash - path) + 1)
	                     : strdup(".");
	int fd = folder ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;

	if (fd >= 0) {
		fsync(fd); /* best effort: the file itself is synced */
		close(fd);
	}
	free(folder);
}

int pd_file_settle(const char *temporary, const char *path, bool replace)
{
	if (put_name(temporary, path, replace) != 0)
		return -1;
	sync_folder(path);
	return 0;
}
