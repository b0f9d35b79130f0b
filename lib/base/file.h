/*
 * file.h - a finished file under its own name, whole or not at all.
 */
#ifndef PERDRAW_BASE_FILE_H
#define PERDRAW_BASE_FILE_H

#include <stdbool.h>

/*
 * Give the finished file `temporary` the name `path` in one step and sync the
 * folder. replace false: a file of that name stays, even one that came a
 * moment ago. 0, or -1 with errno set (EEXIST where one was there); then
 * `temporary` is still there.
 */
int pd_file_settle(const char *temporary, const char *path, bool replace);

#endif
