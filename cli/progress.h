/*
 * progress.h - a sign of life for work that lasts: nothing in the first two
 * seconds; then, on a terminal, one line on stderr that is rewritten once a
 * second and wiped before anything else is written; elsewhere one single line,
 * and only for work that is counted. The program begins it for every command.
 * There is one in a process.
 */
#ifndef PERDRAW_CLI_PROGRESS_H
#define PERDRAW_CLI_PROGRESS_H

#include <stdbool.h>
#include <stddef.h>

/* name: of the command, borrowed until progress_end. quiet: no line at all. */
void progress_begin(const char *name, bool quiet);
/* pd_run_options.progress: question `name` is next after done of `of`; user is
 * not used. */
void progress_step(void *user, size_t done, size_t of, const char *name);
/* The same of things that have no name: what is "page". */
void progress_count(const char *what, size_t done, size_t of);
/* Wipes the line, for good. Welcome at any time, also twice. */
void progress_end(void);

#endif
