/*
 * running.h - the command that is being run, the day of its reading and what
 * it put out: what a manifest is made of. There is one in a process. When a
 * run is recomputed (perdraw verify) its outputs are kept here and nothing is
 * written.
 */
#ifndef PERDRAW_CLI_RUNNING_H
#define PERDRAW_CLI_RUNNING_H

#include "command.h"
#include "perdraw.h"

/* One output, by the name of its file without a folder; "-": standard
 * output; of a folder's files "folder/file". text: its bytes, only when recomputed. */
struct output {
	char *name, *text;
	size_t length;
	char sha256[65];
};

struct running {
	const struct command *command;
	const void *options;
	const struct operands *operands;
	char day[11];          /* "" where the command has no day             */
	bool recomputed;       /* nothing is written                          */
	size_t n_outputs;
	struct output *output; /* in the order written                        */
};

/* A command starts; what was noted of another is forgotten. */
void running_begin(const struct command *c, const void *options,
                   const struct operands *operands, bool recomputed);
void running_day(const char *iso);
/* Note an output; PD_USAGE where another of this run has that name. */
pd_status running_output(const char *path, const char *text, size_t length,
                         pd_error *err);
/* The same by the name it is noted under, which may hold a folder. */
pd_status running_noted(const char *name, const char *text, size_t length,
                        pd_error *err);
const struct running *running_now(void);
void running_end(void);

/* A path without its folder. */
const char *name_of_path(const char *path);
/* The last name of a folder's path without slashes at its end, "" where that
 * is no name (".", "..", "/"); false when `to` is too small. */
bool name_of_folder(const char *path, char *to, size_t size);

#endif
