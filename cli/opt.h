/*
 * opt.h - options as tables. One table a command gives the parser, the help
 * text and the test that names are unique. Names are exact: no abbreviation
 * is taken, so that a new option never changes what an old script means; a
 * near miss is suggested instead.
 */
#ifndef PERDRAW_CLI_OPT_H
#define PERDRAW_CLI_OPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

enum opt_kind {
	OPT_FLAG,   /* bool, false unless given                                */
	OPT_TEXT,   /* const char *, NULL unless given                         */
	OPT_REAL,   /* double, NaN unless given                                */
	OPT_WHOLE,  /* unsigned, 0 unless given (so 0 itself is refused)       */
	OPT_CHOICE  /* int: 0 unless given, else 1 + place of the word in the
	               table's `value`, whose words are parted by '|'          */
};

struct opt {
	const char *name;  /* long name without dashes; NULL ends the table    */
	char letter;       /* one-letter form, or 0                            */
	enum opt_kind kind;
	bool must;         /* the command cannot run without it                */
	size_t offset;     /* of the field in the command's own struct         */
	const char *value; /* word for the value in the help text              */
	const char *words; /* what it does, in one line                        */
};

/* What is not an option, in order; points into argv. quiet: --quiet, which
 * every command takes as it takes --help and --version. */
struct operands {
	size_t n;
	char **at;
	bool quiet;
};

enum opt_end { OPT_RUN, OPT_HELP, OPT_VERSION, OPT_WRONG };

/* --quiet, --help and --version, which every command takes. */
extern const struct opt opt_common[];

/*
 * Reads argv[0 .. n-1], operands moved to its front (operands->at). `into`
 * is the command's zeroed struct. OPT_WRONG: the message is on stderr.
 */
enum opt_end opt_parse(const struct opt *opts, void *into, char **argv,
                       size_t n, struct operands *operands);

/* The option of that long name, here or in opt_common; NULL when none. */
const struct opt *opt_find(const struct opt *opts, const char *name);
/* One line an option, as --help prints them. */
void opt_help(const struct opt *opts, FILE *to);

#endif
