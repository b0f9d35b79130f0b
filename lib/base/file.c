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

pd_status pd_file_read(const char *path, size_t most, char **text, size_t *n,
                       pd_error *err)
{
	FILE *f = fopen(path, "rb");

	*text = NULL;
	*n = 0;
	if (!f)
		return pd_fail_at(err, PD_NO_INPUT, path, 0, 0, "%s",
		                  strerror(errno));
	char *bytes = malloc(most + 1);

	*n = bytes ? fread(bytes, 1, most + 1, f) : 0;
	int broken = ferror(f);

	fclose(f);
	if (bytes && !broken) {
		*text = bytes;
		return PD_OK;
	}
	free(bytes);
	return broken ? pd_fail_at(err, PD_IO, path, 0, 0, "cannot be read")
	              : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

pd_status pd_file_name(pd_arena *arena, const char *path, const char **name,
                       pd_error *err)
{
	const char *slash = strrchr(path, '/');

	*name = pd_arena_copy(arena, slash ? slash + 1 : path);
	return *name ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}
