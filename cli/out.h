/*
 * out.h - results to where they belong. A file appears under its name only
 * when it is whole: written beside it under a temporary name, synced, then
 * renamed. An existing file is kept unless the user says --force. Standard
 * output is checked for write errors at the end.
 */
#ifndef PERDRAW_CLI_OUT_H
#define PERDRAW_CLI_OUT_H

#include "perdraw.h"

/*
 * Before the work: may `path` be written? PD_CANNOT_CREATE when it is there
 * and force is false, when it is not a regular file, or when it is the same
 * file as one of keep[0 .. n-1] (the inputs; NULL entries are skipped).
 */
pd_status out_check(const char *path, bool force, const char *const *keep,
                    size_t n, pd_error *err);
/* Are both there, and one file? */
bool out_same_file(const char *a, const char *b);
/* The whole text to `path`, or to standard output when path is NULL or "-";
 * noted for the manifest. Of a run that is recomputed nothing is written. */
pd_status out_write(const char *path, bool force, const char *text,
                    size_t length, pd_error *err);
/* A set of files in one folder, all of them or none: all are written under
 * temporary names before the first gets its own. noted: its name in the
 * manifest. A folder that is not there is made, and goes with a failure.
 */
struct out_file {
	const char *path, *noted, *text;
	size_t length;
};
pd_status out_write_set(const struct out_file *file, size_t n,
                        const char *folder, bool force, pd_error *err);
/* The same to a file, mode 0600, and not noted: what belongs to no manifest. */
pd_status out_apart(const char *path, bool force, const char *text,
                    size_t length, pd_error *err);
/* All bytes to a file or a pipe; -1 with errno set where they are not. */
int out_all(int fd, const void *bytes, size_t length);
/* All bytes onto the disk; -1 with errno set where they are not. */
int out_bytes(int fd, const char *text, size_t length);
/* Flush standard output; the exit status: `status`, or that of PD_IO when it
 * was 0 and output was lost (said on stderr, but not for a closed pipe). */
int out_finish(int status);

#endif
