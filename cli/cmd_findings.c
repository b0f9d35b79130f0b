/*
 * cmd_findings.c - what was noticed in the data when it was loaded, how far
 * each field is filled, and what each field means.
 */
#include "command.h"
#include "listing.h"
#include "say.h"

#include <string.h>

struct findings_options {
	const char *db, *source;
	int level;
	bool fields, dictionary, summary;
};

#define AT(member) offsetof(struct findings_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, false, AT(db), "FILE", "the clinic's database" },
	{ "source", 's', OPT_TEXT, false, AT(source), "NAME",
	  "only findings of the file of that name" },
	{ "level", 'l', OPT_CHOICE, false, AT(level), "warning|note",
	  "only findings of that level" },
	{ "summary", 0, OPT_FLAG, false, AT(summary), NULL,
	  "how many of each code, no lines" },
	{ "fields", 0, OPT_FLAG, false, AT(fields), NULL,
	  "how far each field is filled" },
	{ "dictionary", 0, OPT_FLAG, false, AT(dictionary), NULL,
	  "what each field means; needs no database" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

/* ---- the list -------------------------------------------------------- */

enum { MOST_CODES = 256 };

struct list {
	const char *level;     /* NULL: every level                            */
	bool summary;
	size_t n;              /* findings that passed                         */
	size_t n_codes;
	struct { char code[64], level[16]; size_t n; } code[MOST_CODES];
};

static void count_code(struct list *l, const char *code, const char *level)
{
	size_t i = 0;

	while (i < l->n_codes && strcmp(l->code[i].code, code) != 0)
		i++;
	if (i == MOST_CODES)
		return;
	if (i == l->n_codes) {
		snprintf(l->code[i].code, sizeof l->code[i].code, "%s", code);
		snprintf(l->code[i].level, sizeof l->code[i].level, "%s",
		         level);
		l->n_codes++;
	}
	l->code[i].n++;
}

static void one_finding(void *user, const char *source, const char *code,
                        const char *level, size_t line, size_t column,
                        const char *found, const char *expected)
{
	struct list *l = user;

	if (l->level && strcmp(level, l->level) != 0)
		return;
	l->n++;
	if (l->summary)
		count_code(l, code, level);
	else
		listing_line(source, line, column, level, code, found, expected,
		             stdout);
}

static pd_status list_findings(const struct findings_options *o,
                               pd_store *store, pd_error *err)
{
	static const char *const levels[] = { NULL, "warning", "note" };
	struct list l = { .level = levels[o->level], .summary = o->summary };
	pd_status st =
	    pd_store_findings(store, o->source, one_finding, &l, err);

	for (size_t i = 0; st == PD_OK && i < l.n_codes; i++)
		printf("%7zu  %-8s %s\n", l.code[i].n, l.code[i].level,
		       l.code[i].code);
	if (st == PD_OK && l.n == 0)
		puts("no findings");
	return st;
}

/* ---- fields ---------------------------------------------------------- */

static void one_coverage(void *user, const char *field, const char *words,
                         const char *unit, size_t filled, size_t of)
{
	(void)user;
	if (of)
		printf("%-22s %5.1f%%  %9zu of %-9zu  %s", field,
		       100.0 * (double)filled / (double)of, filled, of, words);
	else
		printf("%-22s      -          0 of 0          %s", field,
		       words);
	if (unit && *unit)
		printf(", %s", unit);
	putchar('\n');
}

static const char *kind_words(pd_field_kind kind)
{
	switch (kind) {
	case PD_FIELD_TEXT:
		return "text";
	case PD_FIELD_WORD:
		return "one of";
	case PD_FIELD_WHOLE:
		return "whole number";
	case PD_FIELD_NUMBER:
		return "number";
	case PD_FIELD_DATE:
		return "date, 2025-10-01";
	case PD_FIELD_RESULT:
		return "number, 0, <LIMIT, >LIMIT, TNTC, ND, failed, "
		       "not ordered or blank";
	case PD_FIELD_POOL:
		return "draws in a pool: case, L, L1, L1.2, joined by +";
	}
	return "";
}

static const char *record_words(pd_level_of of)
{
	static const char *const words[] = { "patient", "case",  "site",
		                             "aliquot", "assay", "long row" };

	return words[of];
}

static void print_words(pd_field f)
{
	const char *const *w = pd_vocab_words(f);

	for (size_t i = 0; w && w[i]; i++)
		printf("%s%s", i ? ", " : " ", w[i]);
}

static void print_dictionary(void)
{
	puts("A blank result, 0, <LIMIT, >LIMIT, TNTC, failed and not ordered "
	     "mean seven\ndifferent things and stay different.\n");
	for (int i = 0; i < PD_N_FIELDS; i++) {
		const pd_field_info *f = pd_field_about((pd_field)i);

		printf("%s\n    %s%s%s; a field of the %s\n    %s", f->header,
		       f->words, f->unit[0] ? ", " : "", f->unit,
		       record_words(f->of), kind_words(f->kind));
		if (f->kind == PD_FIELD_WORD)
			print_words((pd_field)i);
		putchar('\n');
	}
}

static int findings_run(const void *options, const struct operands *operands)
{
	const struct findings_options *o = options;
	pd_error err = { 0 };
	pd_store *store = NULL;
	pd_status st;

	(void)operands;
	if (o->dictionary)
		print_dictionary();
	if (o->dictionary && !o->db)
		return 0;
	if (!o->db) {
		say_error("option '--db FILE' is missing");
		return pd_status_exit(PD_USAGE);
	}
	st = pd_store_open(o->db, PD_OPEN_READ, &store, &err);
	if (st == PD_OK && o->fields)
		st = pd_store_coverage(store, one_coverage, NULL, &err);
	else if (st == PD_OK && !o->dictionary)
		st = list_findings(o, store, &err);
	pd_store_close(store);
	return st == PD_OK ? 0 : say_failure(st, &err);
}

const struct command cmd_findings = {
	.name = "findings",
	.summary = "what was noticed in the data; coverage; the dictionary",
	.operands = "",
	.about =
	    "Lists what was noticed when the files were loaded, as FILE:LINE:COLUMN\n"
	    "with what was found and what was expected. With --fields: how far each\n"
	    "field is filled. With --dictionary: what each field means, its unit and\n"
	    "its words.\n",
	.examples =
	    "  perdraw findings --db clinic.db --summary\n"
	    "  perdraw findings --db clinic.db --source draws-2025.csv\n"
	    "  perdraw findings --dictionary\n",
	.opts = opts,
	.size = sizeof(struct findings_options),
	.run = findings_run
};
