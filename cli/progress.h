/*
 * progress.h - a sign of life for work that lasts: nothing in the first two
 * seconds; then, on a terminal, one line on stderr that is rewritten at most
 * five times a second and wiped at the end; elsewhere one single line.
 */
#ifndef PERDRAW_CLI_PROGRESS_H
#define PERDRAW_CLI_PROGRESS_H

#include <stdbool.h>
#include <stddef.h>
#include <time.h>

struct progress {
	bool quiet, terminal, shown;
	struct timespec start, last;
};

void progress_init(struct progress *p, bool quiet);
/* pd_run_options.progress; user is the struct progress. */
void progress_step(void *user, size_t done, size_t of, const char *name);
void progress_clear(struct progress *p);

#endif
