/*
 * complete.h - completion scripts for bash, zsh and fish, made from the option
 * tables of all commands: what is offered is what the parser takes. The build
 * runs `perdraw --completion-for SHELL` once a shell and installs the scripts.
 */
#ifndef PERDRAW_CLI_COMPLETE_H
#define PERDRAW_CLI_COMPLETE_H

#include "opt.h"

#include <stdio.h>

/* What stands on the command line at a place. */
enum complete_kind {
	COMPLETE_NOTHING,   /* a number, a date, words of the user             */
	COMPLETE_FILES,
	COMPLETE_FOLDERS,
	COMPLETE_WORDS,     /* one of the words of complete_words              */
	COMPLETE_QUESTIONS  /* a question of the line's --plan                 */
};

/* Of the value of an option, and of a command's operands ("FILE.csv..."). */
enum complete_kind complete_value(const struct opt *o);
enum complete_kind complete_operands(const char *operands);
/* The words an option's value is one of, parted by spaces; false: none. */
bool complete_words(const struct opt *o, FILE *to);

/* Writes the script of "bash", "zsh" or "fish" to `to`; false: no such one. */
bool complete_print(const char *shell, FILE *to);

void complete_bash(FILE *to);
void complete_zsh(FILE *to);
void complete_fish(FILE *to);

#endif
