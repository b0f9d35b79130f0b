/*
 * opt.c - the parser and the help text over a table of options.
 */
#include "opt.h"
#include "perdraw.h"
#include "say.h"

#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

const struct opt opt_common[] = {
	{ "quiet", 'q', OPT_FLAG, false, 0, NULL,
	  "results and errors only, no progress line" },
	{ "help", 'h', OPT_FLAG, false, 0, NULL, "show this text and end" },
	{ "version", 'V', OPT_FLAG, false, 0, NULL,
	  "show the version and end" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

enum { WORD_MAX = 40 };

/* ---- finding an option ----------------------------------------------- */

static const struct opt *by_name(const struct opt *opts, const char *name)
{
	for (const struct opt *o = opts; o->name; o++)
		if (strcmp(o->name, name) == 0)
			return o;
	return NULL;
}

const struct opt *opt_find(const struct opt *opts, const char *name)
{
	const struct opt *o = by_name(opts, name);

	return o ? o : by_name(opt_common, name);
}

static const struct opt *by_letter(const struct opt *opts, char letter)
{
	for (const struct opt *o = opts; o->name; o++)
		if (o->letter && o->letter == letter)
			return o;
	for (const struct opt *o = opt_common; o->name; o++)
		if (o->letter == letter)
			return o;
	return NULL;
}

static void unknown(const struct opt *opts, const char *name)
{
	pd_near near = { .given = name };

	for (const struct opt *o = opts; o->name; o++)
		pd_near_try(&near, o->name);
	for (const struct opt *o = opt_common; o->name; o++)
		pd_near_try(&near, o->name);
	if (near.best)
		say_error("there is no option '--%s'; did you mean '--%s'?",
		          name, near.best);
	else
		say_error("there is no option '--%s'; --help lists them", name);
}

/* ---- values ---------------------------------------------------------- */

static bool read_real(const char *text, double *out)
{
	char *end;

	errno = 0;
	*out = strtod(text, &end);
	return end != text && *end == '\0' && errno == 0 && isfinite(*out);
}

static bool read_whole(const char *text, unsigned *out)
{
	char *end;

	if (text[0] < '0' || text[0] > '9')
		return false;
	errno = 0;
	unsigned long v = strtoul(text, &end, 10);

	*out = (unsigned)v;
	return *end == '\0' && errno == 0 && v > 0 && v <= 1000000;
}

/* 1 + place of `text` among "a|b|c"; 0 when it is not there. */
static int read_choice(const char *words, const char *text)
{
	size_t length = strlen(text);
	int place = 1;

	for (const char *w = words; *w; place++) {
		size_t n = strcspn(w, "|");

		if (n == length && memcmp(w, text, n) == 0)
			return place;
		w += n + (w[n] == '|');
	}
	return 0;
}

static void wrong_choice(const struct opt *o, const char *text)
{
	pd_near near = { .given = text };
	char words[160], *rest;

	snprintf(words, sizeof words, "%s", o->value);
	for (char *w = strtok_r(words, "|", &rest); w;
	     w = strtok_r(NULL, "|", &rest))
		pd_near_try(&near, w);
	say_error("option '--%s' wants one of %s, found '%s'%s", o->name,
	          o->value, text, pd_near_words(&near));
}

static bool store(const struct opt *o, void *into, const char *text)
{
	char *field = (char *)into + o->offset;
	int choice;

	switch (o->kind) {
	case OPT_FLAG:
		*(bool *)field = true;
		return true;
	case OPT_TEXT:
		*(const char **)field = text;
		if (text[0])
			return true;
		say_error("option '--%s' wants %s, found nothing", o->name,
		          o->value);
		return false;
	case OPT_REAL:
		if (read_real(text, (double *)field))
			return true;
		say_error("option '--%s' wants a number, found '%s'", o->name,
		          text);
		return false;
	case OPT_WHOLE:
		if (read_whole(text, (unsigned *)field))
			return true;
		say_error("option '--%s' wants a whole number above 0%s, "
		          "found '%s'", o->name,
		          strspn(text, "0123456789") == strlen(text)
		              ? " and at most 1000000" : "", text);
		return false;
	case OPT_CHOICE:
		choice = read_choice(o->value, text);
		*(int *)field = choice;
		if (!choice)
			wrong_choice(o, text);
		return choice != 0;
	}
	return false;
}

/* ---- the walk over argv ---------------------------------------------- */

struct walk {
	const struct opt *opts;
	void *into;
	char **argv;
	size_t n, i;       /* i: the word being read                           */
	bool given[64];    /* by place in opts: no option twice                */
	enum opt_end end;
	bool quiet;
};

static bool take(struct walk *w, const struct opt *o, const char *value)
{
	if (o == &opt_common[0]) {
		if (w->quiet)
			say_error("option '--%s' is given twice", o->name);
		return !w->quiet && (w->quiet = true);
	}
	if (o == &opt_common[1] || o == &opt_common[2]) {
		if (w->end == OPT_RUN)
			w->end = o == &opt_common[1] ? OPT_HELP : OPT_VERSION;
		return true;
	}
	size_t place = (size_t)(o - w->opts);

	if (w->given[place]) {
		say_error("option '--%s' is given twice", o->name);
		return false;
	}
	w->given[place] = true;
	return store(o, w->into, value);
}

/* The value of an option that wants one: the next word of the line. */
static const char *next_value(struct walk *w, const struct opt *o)
{
	if (w->i + 1 < w->n)
		return w->argv[++w->i];
	say_error("option '--%s' wants %s, found the end of the line", o->name,
	          o->value);
	return NULL;
}

static bool long_option(struct walk *w, const char *word)
{
	char name[WORD_MAX + 1];
	size_t length = strcspn(word, "=");
	const char *value = word[length] == '=' ? word + length + 1 : NULL;

	snprintf(name, sizeof name, "%.*s",
	         (int)(length < WORD_MAX ? length : WORD_MAX), word);
	const struct opt *o = opt_find(w->opts, name);

	if (!o || length > WORD_MAX) {
		unknown(w->opts, name);
		return false;
	}
	if (o->kind == OPT_FLAG) {
		if (!value)
			return take(w, o, NULL);
		say_error("option '--%s' takes no value, found '%s'", name,
		          value);
		return false;
	}
	if (!value)
		value = next_value(w, o);
	return value && take(w, o, value);
}

/* "-q", "-qf", "-dFILE", "-d FILE". */
static bool short_options(struct walk *w, const char *letters)
{
	for (const char *c = letters; *c; c++) {
		const struct opt *o = by_letter(w->opts, *c);

		if (!o) {
			say_error("there is no option '-%c'; --help lists them",
			          *c);
			return false;
		}
		if (o->kind == OPT_FLAG) {
			if (!take(w, o, NULL))
				return false;
			continue;
		}
		const char *value = c[1] ? c + 1 : next_value(w, o);

		return value && take(w, o, value);
	}
	return true;
}

static bool all_there(const struct walk *w)
{
	for (const struct opt *o = w->opts; o->name; o++)
		if (o->must && !w->given[o - w->opts]) {
			say_error("option '--%s %s' is missing", o->name,
			          o->value);
			return false;
		}
	return true;
}

enum opt_end opt_parse(const struct opt *opts, void *into, char **argv,
                       size_t n, struct operands *operands)
{
	struct walk w = { .opts = opts, .into = into, .argv = argv, .n = n };
	bool only_operands = false;

	operands->n = 0;
	operands->at = argv;
	for (const struct opt *o = opts; o->name; o++)
		if (o->kind == OPT_REAL)
			*(double *)((char *)into + o->offset) = NAN;
	for (w.i = 0; w.i < n; w.i++) {
		char *word = argv[w.i];

		if (only_operands || word[0] != '-' || word[1] == '\0') {
			argv[operands->n++] = word;
		} else if (strcmp(word, "--") == 0) {
			only_operands = true;
		} else if (word[1] == '-') {
			if (!long_option(&w, word + 2))
				return OPT_WRONG;
		} else if (!short_options(&w, word + 1)) {
			return OPT_WRONG;
		}
	}
	operands->quiet = w.quiet;
	if (w.end == OPT_RUN && !all_there(&w))
		return OPT_WRONG;
	return w.end;
}

/* ---- help ------------------------------------------------------------ */

static void help_lines(const struct opt *opts, FILE *to)
{
	for (const struct opt *o = opts; o->name; o++) {
		char left[64];
		int n = snprintf(left, sizeof left, "  %s%c%s --%s%s%s",
		                 o->letter ? "-" : " ",
		                 o->letter ? o->letter : ' ',
		                 o->letter ? "," : " ", o->name,
		                 o->value ? " " : "", o->value ? o->value : "");

		if (n <= 27)
			fprintf(to, "%-28s%s", left, o->words);
		else
			fprintf(to, "%s\n%28s%s", left, "", o->words);
		fprintf(to, "%s\n", o->must ? " (needed)" : "");
	}
}

void opt_help(const struct opt *opts, FILE *to)
{
	help_lines(opts, to);
	help_lines(opt_common, to);
}
