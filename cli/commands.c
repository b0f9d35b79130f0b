/* commands.c - the list of commands, for main.c and for the tests. */
#include "command.h"

const struct command *const commands[] = {
	&cmd_load, &cmd_findings, &cmd_ask, &cmd_review, &cmd_claim, &cmd_size, &cmd_expect, &cmd_watch, &cmd_agree, &cmd_pool, &cmd_paper, &cmd_release, &cmd_verify, &cmd_history, &cmd_backup, NULL
};
