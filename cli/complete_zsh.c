/* complete_zsh.c - the scripts for zsh and fish: see complete.h. */
#include "complete.h"
#include "command.h"

#include <string.h>

/* ---- zsh ------------------------------------------------------------- */

static const char zsh_start[] =
    "#compdef perdraw\n"
    "# zsh completion of perdraw, made from its option tables\n"
    "_perdraw_questions() {\n"
    "\tlocal plan=${(Q)${opt_args[--plan]:-$opt_args[-p]}} expl\n"
    "\tlocal -a names\n"
    "\tplan=${plan/#\\~\\//$HOME/}\n"
    "\t[[ -f $plan && -r $plan ]] || return 1\n"
    "\tnames=(${(f)\"$(sed -n \\\n"
    "\t\t's/^[[:blank:]]*\\[\\([a-z0-9_-]*\\)\\].*/\\1/p' < $plan)\"})\n"
    "\tnames=(${names:#plan})\n"
    "\t_wanted questions expl question compadd -a names\n"
    "}\n"
    "\n"
    "_perdraw() {\n"
    "\tlocal curcontext=$curcontext command=$words[2] expl\n"
    "\tlocal -A opt_args\n"
    "\tlocal -a names shells\n"
    "\tshells=(bash zsh fish)\n"
    "\tnames=(\n";

static const char zsh_line[] =
    "\t)\n"
    "\tif (( CURRENT == 2 )); then\n"
    "\t\tif [[ $PREFIX == -* ]]; then\n"
    "\t\t\t_wanted options expl option compadd -- \\\n"
    "\t\t\t\t--help --version --completion-for\n"
    "\t\telse\n"
    "\t\t\tnames+=('help:what a command does')\n"
    "\t\t\t_describe -t commands command names\n"
    "\t\tfi\n"
    "\t\treturn\n"
    "\tfi\n"
    "\tshift words\n"
    "\t(( CURRENT-- ))\n"
    "\tcase $command in\n"
    "\thelp) _describe -t commands command names ;;\n"
    "\t--completion-for) _wanted shells expl shell compadd -a shells ;;\n";

static const char zsh_end[] =
    "\tesac\n"
    "}\n"
    "\n"
    "if [[ $funcstack[1] == _perdraw ]]; then\n"
    "\t_perdraw \"$@\"\n"
    "else\n"
    "\tcompdef _perdraw perdraw\n"
    "fi\n";

/* Text inside '...' of a script; signs of `meaning` get a backslash. */
static void quoted(const char *text, const char *quote, const char *meaning,
                   FILE *to)
{
	for (const char *c = text; *c; c++) {
		if (strchr(meaning, *c))
			fputc('\\', to);
		if (*c == '\'')
			fputs(quote, to);
		else
			fputc(*c, to);
	}
}

static void zsh_text(const char *text, const char *meaning, FILE *to)
{
	quoted(text, "'\\''", meaning, to);
}

/* ":FILE:_files" after an option or before an operand. */
static void zsh_action(const struct opt *o, FILE *to)
{
	if (o->kind == OPT_FLAG)
		return;
	bool words = complete_words(o, NULL);

	fputc(':', to);
	zsh_text(words ? o->name : o->value, ":\\", to);
	switch (complete_value(o)) {
	case COMPLETE_FILES:
		fputs(":_files", to);
		break;
	case COMPLETE_FOLDERS:
		fputs(":_files -/", to);
		break;
	case COMPLETE_QUESTIONS:
		fputs(":_perdraw_questions", to);
		break;
	case COMPLETE_WORDS:
		fputs(":(", to);
		complete_words(o, to);
		fputc(')', to);
		break;
	default:
		fputs(": ", to);
	}
}

static void zsh_option(const struct opt *o, FILE *to)
{
	const char *takes[] = { o->kind == OPT_FLAG ? "" : "+",
		                o->kind == OPT_FLAG ? "" : "=" };

	for (int form = o->letter ? 0 : 1; form < 2; form++) {
		fputs(" \\\n\t\t\t'", to);
		if (o->letter)
			fprintf(to, "(-%c --%s)", o->letter, o->name);
		if (form == 0)
			fprintf(to, "-%c%s[", o->letter, takes[0]);
		else
			fprintf(to, "--%s%s[", o->name, takes[1]);
		zsh_text(o->words, "[]:\\", to);
		fputc(']', to);
		zsh_action(o, to);
		fputc('\'', to);
	}
}

static void zsh_command(const struct command *c, FILE *to)
{
	enum complete_kind operands = complete_operands(c->operands);

	fprintf(to, "\t%s)\n\t\t_arguments -s -S", c->name);
	for (const struct opt *o = c->opts; o->name; o++)
		zsh_option(o, to);
	for (const struct opt *o = opt_common; o->name; o++)
		zsh_option(o, to);
	if (operands == COMPLETE_QUESTIONS)
		fprintf(to, " \\\n\t\t\t'1%s:question:_perdraw_questions'",
		        c->fewest ? "" : ":");
	else if (operands == COMPLETE_FILES)
		fprintf(to, " \\\n\t\t\t'%s:file:_files'",
		        c->most > 1 ? "*" : "1");
	fputs(" ;;\n", to);
}

void complete_zsh(FILE *to)
{
	fputs(zsh_start, to);
	for (size_t i = 0; commands[i]; i++) {
		fprintf(to, "\t\t'%s:", commands[i]->name);
		zsh_text(commands[i]->summary, ":\\", to);
		fputs("'\n", to);
	}
	fputs(zsh_line, to);
	for (size_t i = 0; commands[i]; i++)
		zsh_command(commands[i], to);
	fputs(zsh_end, to);
}

/* ---- fish ------------------------------------------------------------ */

static const char fish_start[] =
    "# fish completion of perdraw, made from its option tables\n"
    "function __perdraw_first\n"
    "\ttest (count (commandline -opc)) -eq 1\n"
    "end\n"
    "\n"
    "function __perdraw_is\n"
    "\tset -l words (commandline -opc)\n"
    "\ttest (count $words) -ge 2; and contains -- $words[2] $argv\n"
    "end\n"
    "\n"
    "function __perdraw_questions\n"
    "\tset -l words (commandline -opc)\n"
    "\tset -l plan\n"
    "\tfor i in (seq 2 (count $words))\n"
    "\t\tswitch $words[$i]\n"
    "\t\t\tcase -p --plan\n"
    "\t\t\t\tset plan $words[(math $i + 1)]\n"
    "\t\t\tcase '--plan=*'\n"
    "\t\t\t\tset plan (string replace -- --plan= '' $words[$i])\n"
    "\t\tend\n"
    "\tend\n"
    "\tset plan (string replace -r '^~/' $HOME/ -- $plan)\n"
    "\ttest -f \"$plan\" -a -r \"$plan\"; or return 0\n"
    "\tstring replace -rf '^\\s*\\[([a-z0-9_-]*)\\].*' '$1' < $plan |\n"
    "\t\tstring match -v plan\n"
    "end\n"
    "\n"
    "complete -c perdraw -f\n"
    "complete -c perdraw -n __perdraw_first -l help -s h -d 'show the help'\n"
    "complete -c perdraw -n __perdraw_first -l version -s V"
    " -d 'show the version'\n"
    "complete -c perdraw -n '__perdraw_first;"
    " or __perdraw_is --completion-for' -l completion-for -x"
    " -a 'bash zsh fish' -d 'print a completion script'\n"
    "complete -c perdraw -n __perdraw_first -a help"
    " -d 'what a command does'\n";

static void fish_text(const char *text, FILE *to)
{
	fputs(" -d '", to);
	quoted(text, "\\'", "\\", to);
	fputs("'\n", to);
}

static void fish_option(const char *command, const struct opt *o, FILE *to)
{
	fprintf(to, "complete -c perdraw -n '__perdraw_is %s' -l %s", command,
	        o->name);
	if (o->letter)
		fprintf(to, " -s %c", o->letter);
	if (o->kind != OPT_FLAG) {
		switch (complete_value(o)) {
		case COMPLETE_FILES:
			fputs(" -r -F", to);
			break;
		case COMPLETE_FOLDERS:
			fputs(" -x -a '(__fish_complete_directories)'", to);
			break;
		case COMPLETE_WORDS:
			fputs(" -x -a '", to);
			complete_words(o, to);
			fputc('\'', to);
			break;
		case COMPLETE_QUESTIONS:
			fputs(" -x -a '(__perdraw_questions)'", to);
			break;
		default:
			fputs(" -x", to);
		}
	}
	fish_text(o->words, to);
}

static void fish_command(const struct command *c, FILE *to)
{
	fprintf(to, "complete -c perdraw -n '__perdraw_first;"
	        " or __perdraw_is help' -a %s", c->name);
	fish_text(c->summary, to);
	for (const struct opt *o = c->opts; o->name; o++)
		fish_option(c->name, o, to);
	for (const struct opt *o = opt_common; o->name; o++)
		fish_option(c->name, o, to);
	switch (complete_operands(c->operands)) {
	case COMPLETE_QUESTIONS:
		fprintf(to, "complete -c perdraw -n '__perdraw_is %s'"
		        " -a '(__perdraw_questions)'\n", c->name);
		break;
	case COMPLETE_FILES:
		fprintf(to, "complete -c perdraw -n '__perdraw_is %s' -F\n",
		        c->name);
		break;
	default:
		break;
	}
}

void complete_fish(FILE *to)
{
	fputs(fish_start, to);
	for (size_t i = 0; commands[i]; i++)
		fish_command(commands[i], to);
}
