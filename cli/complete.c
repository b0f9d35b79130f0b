/*
 * complete.c - what can stand where on the command line, read off the tables,
 * and the script for bash. The scripts for zsh and fish: complete_zsh.c.
 */
#include "complete.h"
#include "command.h"
#include "perdraw.h"

#include <string.h>

enum complete_kind complete_value(const struct opt *o)
{
	if (o->kind == OPT_FLAG)
		return COMPLETE_NOTHING;
	if (strstr(o->value, "FILE"))
		return COMPLETE_FILES;
	if (strcmp(o->value, "FOLDER") == 0)
		return COMPLETE_FOLDERS;
	if (strcmp(o->value, "QUESTION") == 0)
		return COMPLETE_QUESTIONS;
	return complete_words(o, NULL) ? COMPLETE_WORDS : COMPLETE_NOTHING;
}

enum complete_kind complete_operands(const char *operands)
{
	if (strstr(operands, "NAME"))
		return COMPLETE_QUESTIONS;
	return operands[0] ? COMPLETE_FILES : COMPLETE_NOTHING;
}

bool complete_words(const struct opt *o, FILE *to)
{
	if (strcmp(o->name, "outcome") == 0) {
		const char *const *w = pd_vocab_words(PD_F_OUTCOME);

		for (size_t i = 0, n = 0; to && w[i]; i++)
			if (pd_query_unit(w[i], "concentration") ||
			    pd_query_unit(w[i], "percent"))
				fprintf(to, "%s%s", n++ ? " " : "", w[i]);
		return true;
	}
	if (!o->value || !strchr(o->value, '|'))
		return false;
	for (const char *c = o->value; to && *c; c++)
		fputc(*c == '|' ? ' ' : *c, to);
	return true;
}

bool complete_print(const char *shell, FILE *to)
{
	static const struct {
		const char *name;
		void (*print)(FILE *to);
	} shells[] = { { "bash", complete_bash },
		       { "zsh", complete_zsh },
		       { "fish", complete_fish } };

	for (size_t i = 0; i < sizeof shells / sizeof *shells; i++)
		if (strcmp(shell, shells[i].name) == 0) {
			shells[i].print(to);
			return true;
		}
	return false;
}

/* ---- bash ------------------------------------------------------------ */

/*
 * A name of the line is never evaluated: quotes and backslashes are taken off
 * the plan's name as text. File names are left to readline, which quotes them.
 */
static const char bash_start[] =
    "# bash completion of perdraw, made from its option tables\n"
    "_perdraw_questions()\n"
    "{\n"
    "\tlocal plan=${1//[\\'\\\"\\\\]/}\n"
    "\t[[ $plan == '~/'* ]] && plan=$HOME/${plan:2}\n"
    "\t[[ -f $plan && -r $plan ]] || return 0\n"
    "\tsed -n 's/^[[:blank:]]*\\[\\([a-z0-9_-]*\\)\\].*/\\1/p' < \"$plan\" |\n"
    "\t\tgrep -vx plan\n"
    "}\n"
    "\n"
    "_perdraw()\n"
    "{\n"
    "\tlocal cur=${COMP_WORDS[COMP_CWORD]} command=${COMP_WORDS[1]}\n"
    "\tlocal value=${COMP_WORDS[COMP_CWORD - 1]} options= operands=\n"
    "\tlocal kind= words= given=' ' plan= ended= w i\n"
    "\tlocal commands='";

static const char bash_line[] =
    "'\n"
    "\n"
    "\tCOMPREPLY=()\n"
    "\tif [[ $cur == '=' ]]; then\n"
    "\t\tcur=\n"
    "\telif [[ $value == '=' ]]; then\n"
    "\t\tvalue=${COMP_WORDS[COMP_CWORD - 2]}\n"
    "\tfi\n"
    "\tfor ((i = 2; i < COMP_CWORD; i++)); do\n"
    "\t\tw=${COMP_WORDS[i]}\n"
    "\t\t[[ $w == -- ]] && ended=1\n"
    "\t\t[[ $w == --?* ]] && given+=\"$w \"\n"
    "\t\tcase $w in\n"
    "\t\t--plan | -p)\n"
    "\t\t\tplan=${COMP_WORDS[i + 1]}\n"
    "\t\t\t[[ $plan == '=' ]] && plan=${COMP_WORDS[i + 2]} ;;\n"
    "\t\tesac\n"
    "\tdone\n"
    "\tif ((COMP_CWORD == 1)); then\n"
    "\t\tkind=words words=\"$commands help\"\n"
    "\t\t[[ $cur == -* ]] && words='--help --version --completion-for'\n"
    "\telif [[ $command == --completion-for ]]; then\n"
    "\t\tkind=words words='bash zsh fish'\n"
    "\telif [[ $command == help ]]; then\n"
    "\t\tkind=words words=$commands\n"
    "\tfi\n"
    "\tcase $command in\n";

static const char bash_end[] =
    "\tesac\n"
    "\tif [[ $ended || ( ! $kind && $cur != -* ) ]]; then\n"
    "\t\tkind=$operands words=\n"
    "\tfi\n"
    "\tif [[ ! $ended && ! $kind ]]; then\n"
    "\t\tfor w in $options; do\n"
    "\t\t\t[[ $given == *\" $w \"* ]] || words+=\"$w \"\n"
    "\t\tdone\n"
    "\tfi\n"
    "\tcase $kind in\n"
    "\tfiles) compopt -o default ;;\n"
    "\tfolders) compopt -o dirnames ;;\n"
    "\tquestions) words=$(_perdraw_questions \"$plan\") ;;\n"
    "\tesac\n"
    "\t[[ $words ]] &&\n"
    "\t\tmapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$cur\")\n"
    "\treturn 0\n"
    "}\n"
    "complete -F _perdraw perdraw\n";

/* By enum complete_kind, of a value; of operands none is an empty word. */
static const char *const kinds[] = { "none", "files", "folders", "words",
	                             "questions" };

static void bash_value(const struct opt *o, FILE *to)
{
	enum complete_kind kind = complete_value(o);

	if (o->kind == OPT_FLAG)
		return;
	fprintf(to, "\t\t--%s", o->name);
	if (o->letter)
		fprintf(to, " | -%c", o->letter);
	fprintf(to, ") kind=%s", kinds[kind]);
	if (kind == COMPLETE_WORDS) {
		fputs(" words='", to);
		complete_words(o, to);
		fputc('\'', to);
	}
	fputs(" ;;\n", to);
}

static void bash_command(const struct command *c, FILE *to)
{
	enum complete_kind operands = complete_operands(c->operands);

	fprintf(to, "\t%s)\n\t\toperands=%s\n\t\toptions='", c->name,
	        operands == COMPLETE_NOTHING ? "" : kinds[operands]);
	for (const struct opt *o = c->opts; o->name; o++)
		fprintf(to, "--%s ", o->name);
	for (const struct opt *o = opt_common; o->name; o++)
		fprintf(to, "--%s ", o->name);
	fputs("'\n\t\tcase $value in\n", to);
	for (const struct opt *o = c->opts; o->name; o++)
		bash_value(o, to);
	fputs("\t\tesac ;;\n", to);
}

void complete_bash(FILE *to)
{
	fputs(bash_start, to);
	for (size_t i = 0; commands[i]; i++)
		fprintf(to, "%s%s", i ? " " : "", commands[i]->name);
	fputs(bash_line, to);
	for (size_t i = 0; commands[i]; i++)
		bash_command(commands[i], to);
	fputs(bash_end, to);
}
