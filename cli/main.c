/*
 * main.c - the command: picks a sub-command, reads its options, runs it and
 * turns its end into an exit status. No work of its own.
 */
#include "command.h"
#include "complete.h"
#include "out.h"
#include "progress.h"
#include "running.h"
#include "say.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char intro[] =
    "usage: perdraw COMMAND [OPTION...] [FILE...]\n"
    "\n"
    "Turns a clinic's history of bone-marrow draws into effect sizes with\n"
    "confidence intervals and a verdict in words.\n"
    "\n"
    "commands\n";

static const char outro[] =
    "\n"
    "examples\n"
    "  perdraw load --db clinic.db draws-2025.csv\n"
    "  perdraw review --db clinic.db --plan quarter.plan\n"
    "  perdraw review --help\n"
    "  perdraw --completion-for bash\n"
    "\n"
    "exit status\n"
    "  0 done, 1 no answer from these data, 2 recomputed and different,\n"
    "  3 audit chain broken, 64 wrong use, 65 error in the data, 66 no\n"
    "  input, 70 internal error, 71 out of memory, 73 cannot create, 74 read\n"
    "  or write error, 75 database in use, 76 numerical failure, 77\n"
    "  permission denied, 78 error in the plan\n"
    "\n"
    "Results describe one clinic's past draws. They do not tell what to do\n"
    "for a patient: local codes, device instructions and licensed clinical\n"
    "judgement come first.\n";

static int general_help(void)
{
	fputs(intro, stdout);
	for (size_t i = 0; commands[i]; i++)
		printf("  %-10s%s\n", commands[i]->name, commands[i]->summary);
	fputs(outro, stdout);
	return 0;
}

static int command_help(const struct command *c)
{
	printf("usage: perdraw %s [OPTION...]%s%s\n\n%s\noptions\n", c->name,
	       c->operands[0] ? " " : "", c->operands, c->about);
	opt_help(c->opts, stdout);
	printf("\nexamples\n%s", c->examples);
	return 0;
}

static int version(void)
{
	puts("perdraw " PD_VERSION);
	return 0;
}

/* perdraw --completion-for SHELL */
static int completion(int argc, char **argv)
{
	const char *shell = argc == 3 ? argv[2] : "";

	if (complete_print(shell, stdout))
		return 0;
	say_error("option '--completion-for' wants one of bash, zsh, fish, "
	          "found '%s'", shell);
	return pd_status_exit(PD_USAGE);
}

static const struct command *find(const char *name)
{
	for (size_t i = 0; commands[i]; i++)
		if (strcmp(commands[i]->name, name) == 0)
			return commands[i];
	return NULL;
}

static int no_such_command(const char *name)
{
	pd_near near = { .given = name };

	for (size_t i = 0; commands[i]; i++)
		pd_near_try(&near, commands[i]->name);
	if (near.best)
		say_error("there is no command '%s'%s", name,
		          pd_near_words(&near));
	else
		say_error("there is no command '%s'; perdraw --help lists them",
		          name);
	return pd_status_exit(PD_USAGE);
}

static int wrong_operands(const struct command *c,
                          const struct operands *operands)
{
	if (operands->n < c->fewest)
		say_error("'%s' wants %s; see perdraw %s --help", c->name,
		          c->operands, c->name);
	else
		say_error("'%s' takes no further word, found '%s'", c->name,
		          operands->at[c->most]);
	return pd_status_exit(PD_USAGE);
}

static int run(const struct command *c, char **argv, size_t n)
{
	struct operands operands;
	void *options = calloc(1, c->size);
	int status = pd_status_exit(PD_USAGE);

	if (!options) {
		say_error("out of memory");
		return pd_status_exit(PD_NO_MEMORY);
	}
	switch (opt_parse(c->opts, options, argv, n, &operands)) {
	case OPT_HELP:
		status = command_help(c);
		break;
	case OPT_VERSION:
		status = version();
		break;
	case OPT_WRONG:
		break;
	case OPT_RUN:
		running_begin(c, options, &operands, false);
		progress_begin(c->name, operands.quiet);
		status = operands.n < c->fewest || operands.n > c->most
		             ? wrong_operands(c, &operands)
		             : c->run(options, &operands);
		break;
	}
	progress_end();
	running_end();
	free(options);
	return status;
}

/* A file opened later must never land on a standard stream's number. */
static void hold_standard_streams(void)
{
	for (int fd = 0; fd <= 2; fd++)
		if (fcntl(fd, F_GETFD) == -1)
			(void)!open("/dev/null", fd == 0 ? O_WRONLY : O_RDONLY);
}

static int start(int argc, char **argv)
{
	const char *first = argc > 1 ? argv[1] : NULL;

	if (!first) {
		say_error("a command is missing; perdraw --help lists them");
		return pd_status_exit(PD_USAGE);
	}
	if (strcmp(first, "--help") == 0 || strcmp(first, "-h") == 0)
		return general_help();
	if (strcmp(first, "--version") == 0 || strcmp(first, "-V") == 0)
		return version();
	if (strcmp(first, "--completion-for") == 0)
		return completion(argc, argv);
	if (strcmp(first, "help") == 0 && argc == 2)
		return general_help();
	if (strcmp(first, "help") == 0) {
		const struct command *c = find(argv[2]);

		return c ? command_help(c) : no_such_command(argv[2]);
	}
	if (first[0] == '-') {
		say_error("the command comes first, found '%s'; perdraw --help "
		          "lists them", first);
		return pd_status_exit(PD_USAGE);
	}
	const struct command *c = find(first);

	return c ? run(c, argv + 2, (size_t)argc - 2) : no_such_command(first);
}

int main(int argc, char **argv)
{
	hold_standard_streams();
	umask(077);
	pd_base_init();
	return out_finish(start(argc, argv));
}
