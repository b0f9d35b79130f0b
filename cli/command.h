/*
 * command.h - a command is one const entry in its own file. main.c finds it
 * by name, reads its options into a zeroed struct of `size` bytes and runs it.
 */
#ifndef PERDRAW_CLI_COMMAND_H
#define PERDRAW_CLI_COMMAND_H

#include "opt.h"

struct command {
	const char *name;
	const char *summary;       /* one line, for `perdraw --help`           */
	const char *operands;      /* "FILE.csv..." for the usage line, or ""  */
	size_t fewest, most;       /* operands                                 */
	const char *about;         /* a few lines on what it does              */
	const char *examples;      /* lines starting with "  perdraw"          */
	const struct opt *opts;
	size_t size;
	/* Exit status; 0 done. Standard output is checked by the caller. */
	int (*run)(const void *options, const struct operands *operands);
};

extern const struct command cmd_claim;
extern const struct command cmd_expect;
extern const struct command cmd_load, cmd_findings, cmd_ask, cmd_review;
extern const struct command cmd_agree, cmd_paper, cmd_pool, cmd_size, cmd_watch;
extern const struct command cmd_history, cmd_backup, cmd_verify;
extern const struct command cmd_release;
/* In the order of work; NULL-ended. */
extern const struct command *const commands[];

#endif
