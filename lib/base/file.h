/*
 * file.h - a finished file under its own name, whole or not at all; the bytes
 * of a small file.
 */
#ifndef PERDRAW_BASE_FILE_H
#define PERDRAW_BASE_FILE_H

#include "base/arena.h"
#include "base/status.h"

#include <stdbool.h>
#include <stddef.h>

/*
 * Give the finished file `temporary` the name `path` in one step and sync the
 * folder. replace false: a file of that name stays, even one that came a
 * moment ago. 0, or -1 with errno set (EEXIST where one was there); then
 * `temporary` is still there.
 */
int pd_file_settle(const char *temporary, const char *path, bool replace);

/*
 * *text: the *n bytes of the file at `path`, which the caller frees; NULL after
 * failure. PD_NO_INPUT (not to be opened), PD_IO; of a file larger than `most`
 * bytes there are most + 1, so that the caller can say what is too large.
 */
pd_status pd_file_read(const char *path, size_t most, char **text, size_t *n,
                       pd_error *err);
/* The name of a file without its folder, in the arena: reports name files so. */
pd_status pd_file_name(pd_arena *arena, const char *path, const char **name,
                       pd_error *err);

#endif
