/*
 * folder.h - a folder of files, whole or not at all: made beside its place
 * under another name, readable by its owner alone, synced, then renamed. A
 * folder that is there must be empty. Of a run that is recomputed nothing is
 * written and files stay in memory (running.h).
 */
#ifndef PERDRAW_CLI_FOLDER_H
#define PERDRAW_CLI_FOLDER_H

#include "perdraw.h"

#include <dirent.h>

struct folder {
	const char *path;      /* its place                                  */
	char *temporary;       /* NULL: nothing is written                   */
	DIR *inside;           /* the temporary one, open                    */
};

/* May it be made? PD_CANNOT_CREATE where a file, a link or a folder that holds
 * something is there, or its parent is not. */
pd_status folder_check(const char *path, pd_error *err);
/* PD_NO_PERMISSION or PD_CANNOT_CREATE where the parent may not be written. */
pd_status folder_begin(struct folder *f, const char *path, pd_error *err);
/* A file of it; noted for the manifest. PD_IO for a full disk. */
pd_status folder_put(struct folder *f, const char *name, const char *text,
                     size_t length, pd_error *err);
/* The bytes of a file of it as they are on the disk; the caller frees them. */
pd_status folder_read(const struct folder *f, const char *name, char **bytes,
                      size_t *size, pd_error *err);
/* Give it its name. */
pd_status folder_settle(struct folder *f, pd_error *err);
/* Remove what was not settled; frees what f holds. */
void folder_end(struct folder *f);
/* Does a file of that path lie in the folder, or would it? */
bool folder_holds(const char *folder, const char *file);

#endif
