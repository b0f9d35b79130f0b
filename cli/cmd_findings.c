/*
 * cmd_findings.c - what was noticed in the data when it was loaded, how far
 * each field is filled, and what each field means.
 */
#include "command.h"
#include "listing.h"
#include "progress.h"
#include "reading.h"
#include "say.h"
#include "show.h"

#include <stdlib.h>
#include <string.h>

struct findings_options {
	const char *db, *source, *date;
	int level;
	bool fields, years, dictionary, summary, missing, all;
	struct show show;
};

#define AT(member) offsetof(struct findings_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, false, AT(db), "FILE", "the clinic's database" },
	{ "source", 's', OPT_TEXT, false, AT(source), "NAME",
	  "only findings of the file of that name" },
	{ "level", 'l', OPT_CHOICE, false, AT(level), "warning|note",
	  "only findings of that level" },
	{ "all", 'a', OPT_FLAG, false, AT(all), NULL,
	  "every finding, also where there are many of one code" },
	{ "summary", 0, OPT_FLAG, false, AT(summary), NULL,
	  "how many of each code, no lines" },
	{ "fields", 0, OPT_FLAG, false, AT(fields), NULL,
	  "how far each field is filled" },
	{ "years", 0, OPT_FLAG, false, AT(years), NULL,
	  "the same year by year" },
	{ "missing", 0, OPT_FLAG, false, AT(missing), NULL,
	  "missing results, and whether they depend on the draw" },
	{ "dictionary", 0, OPT_FLAG, false, AT(dictionary), NULL,
	  "what each field means; needs no database" },
	SHOW_OPTS(struct findings_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date on the report instead of today's (ISO)" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

/* ---- the list -------------------------------------------------------- */

enum { MOST_CODES = 256, MOST_LINES = 20 };

struct list {
	const char *level;     /* NULL: every level                            */
	bool summary;
	size_t most;           /* lines of one code that are shown             */
	size_t n;              /* findings that passed                         */
	size_t n_codes;
	struct { char code[64], level[16]; size_t n; } code[MOST_CODES];
};

/* How many of the code there have been, this one too. */
static size_t count_code(struct list *l, const char *code, const char *level)
{
	size_t i = 0;

	while (i < l->n_codes && strcmp(l->code[i].code, code) != 0)
		i++;
	if (i == MOST_CODES)
		return 1;
	if (i == l->n_codes) {
		snprintf(l->code[i].code, sizeof l->code[i].code, "%s", code);
		snprintf(l->code[i].level, sizeof l->code[i].level, "%s",
		         level);
		l->n_codes++;
	}
	return ++l->code[i].n;
}

static void one_finding(void *user, const char *source, const char *code,
                        const char *level, size_t line, size_t column,
                        const char *found, const char *expected)
{
	struct list *l = user;

	if (l->level && strcmp(level, l->level) != 0)
		return;
	l->n++;
	if (count_code(l, code, level) <= l->most && !l->summary)
		listing_line(source, line, column, level, code, found, expected,
		             stdout);
}

static pd_status list_findings(const struct findings_options *o,
                               pd_store *store, pd_error *err)
{
	static const char *const levels[] = { NULL, "warning", "note" };
	struct list l = { .level = levels[o->level], .summary = o->summary,
		          .most = o->all ? (size_t)-1 : MOST_LINES };
	pd_status st =
	    pd_store_findings(store, o->source, one_finding, &l, err);

	for (size_t i = 0; st == PD_OK && i < l.n_codes; i++) {
		if (l.summary)
			printf("%7zu  %-8s %s\n", l.code[i].n,
			       l.code[i].level, l.code[i].code);
		else if (l.code[i].n > l.most)
			printf("%zu more of %s %s: --all shows them\n",
			       l.code[i].n - l.most, l.code[i].level,
			       l.code[i].code);
	}
	if (st == PD_OK && l.n == 0)
		puts("no findings");
	return st;
}

struct file {
	const char *given;
	bool found;
	pd_near near;
	char best[64];           /* near.best, whose own words do not last     */
};

static void one_source(void *user, const char *name, const char *sha256,
                       size_t rows)
{
	struct file *f = user;

	(void)sha256;
	(void)rows;
	f->found = f->found || strcmp(name, f->given) == 0;
	pd_near_try(&f->near, name);
	if (f->near.best == name) {
		snprintf(f->best, sizeof f->best, "%s", name);
		f->near.best = f->best;
	}
}

/* A name that was never loaded is a slip, not a file without findings. */
static pd_status known_source(const char *given, pd_store *store, pd_error *err)
{
	struct file f = { .given = given, .near = { .given = given } };
	pd_status st = given ? pd_store_sources(store, one_source, &f, err)
	                     : PD_OK;

	if (st == PD_OK && given && !f.found)
		st = pd_fail(err, PD_USAGE, "no file '%s' was loaded%s", given,
		             pd_near_words(&f.near));
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

/* Shares filled, of each field in each year. */
enum { MOST_YEARS = 60, MOST_FIELDS = 64 };

struct years {
	size_t n_fields, n_years;
	int year[MOST_YEARS];
	const char *field[MOST_FIELDS];
	double share[MOST_FIELDS][MOST_YEARS]; /* percent + 1; 0: no record */
};

static void one_year(void *user, const char *field, int year, size_t filled,
                     size_t of)
{
	struct years *y = user;
	size_t i = 0, k = 0;

	while (i < y->n_fields && strcmp(y->field[i], field) != 0)
		i++;
	while (k < y->n_years && y->year[k] != year)
		k++;
	if (i == MOST_FIELDS || k == MOST_YEARS)
		return;
	y->n_fields += i == y->n_fields;
	y->n_years += k == y->n_years;
	y->field[i] = field;
	y->year[k] = year;
	y->share[i][k] = 1 + 100.0 * (double)filled / (double)of;
}

static void print_years(const struct years *y)
{
	printf("%-22s", "percent filled");
	for (size_t k = 0; k < y->n_years; k++)
		printf(" %5d", y->year[k]);
	putchar('\n');
	for (size_t i = 0; i < y->n_fields; i++) {
		printf("%-22s", y->field[i]);
		for (size_t k = 0; k < y->n_years; k++)
			if (y->share[i][k] > 0)
				printf(" %5.1f", y->share[i][k] - 1);
			else
				printf("     -");
		putchar('\n');
	}
}

static pd_status list_years(pd_store *store, pd_error *err)
{
	struct years *y = calloc(1, sizeof *y);
	pd_status st = y ? pd_store_coverage_years(store, one_year, y, err)
	                 : pd_fail(err, PD_NO_MEMORY, "out of memory");

	if (st == PD_OK && y->n_years)
		print_years(y);
	else if (st == PD_OK)
		puts("no dated case");
	free(y);
	return st;
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

/* ---- missing results ------------------------------------------------- */

static pd_status missing(const void *options, const struct operands *operands,
                         const char *date, pd_arena *arena, bool *refused,
                         pd_error *err)
{
	const struct findings_options *o = options;
	pd_run_options run = { .date = date };
	pd_missing_answer answer;
	pd_store *store = NULL;
	pd_doc *doc = NULL;
	pd_status st = pd_store_open(o->db, PD_OPEN_READ, &store, err);

	(void)operands;
	(void)refused;
	if (st == PD_OK)
		st = pd_missing_run(store, &run, 0.95, arena, &answer, err);
	if (st == PD_OK)
		st = pd_compose_missing(&answer, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

/* Options that say where a document goes are for '--missing' alone. */
static pd_status together(const struct findings_options *o, pd_error *err)
{
	const struct show *s = &o->show;
	static const struct show unsaid;
	bool shown = o->date || memcmp(s, &unsaid, sizeof unsaid) != 0;

	if (shown && !o->missing)
		return pd_fail(err, PD_USAGE, "'--format', '--out', '--date' and "
		               "the like go with '--missing' only");
	if (o->missing && (o->fields || o->years || o->dictionary ||
	                   o->summary || o->source || o->level || o->all))
		return pd_fail(err, PD_USAGE, "'--missing' stands alone");
	return show_check(s, &o->db, 1, err);
}

static pd_status list(const struct findings_options *o, pd_error *err)
{
	pd_store *store = NULL;
	pd_status st = pd_store_open(o->db, PD_OPEN_READ, &store, err);

	progress_end();
	if (st == PD_OK && o->years)
		st = list_years(store, err);
	else if (st == PD_OK && o->fields)
		st = pd_store_coverage(store, one_coverage, NULL, err);
	else if (st == PD_OK && !o->dictionary) {
		st = known_source(o->source, store, err);
		if (st == PD_OK)
			st = list_findings(o, store, err);
	}
	pd_store_close(store);
	return st;
}

static int findings_run(const void *options, const struct operands *operands)
{
	const struct findings_options *o = options;
	pd_error err = { 0 };
	pd_status st = together(o, &err);

	if (st == PD_OK && !o->db && !o->dictionary)
		st = pd_fail(&err, PD_USAGE, "option '--db FILE' is missing");
	if (o->missing)
		return reading_run(missing, o, operands, o->date, st, &err);
	if (st == PD_OK && o->dictionary)
		print_dictionary();
	if (st == PD_OK && o->db)
		st = list(o, &err);
	return st == PD_OK ? 0 : say_failure(st, &err);
}

const struct command cmd_findings = {
	.name = "findings",
	.summary = "what was noticed in the data; coverage; the dictionary",
	.operands = "",
	.about =
	    "Lists what was noticed when the files were loaded, as FILE:LINE:COLUMN\n"
	    "with what was found and what was expected. With --fields: how far each\n"
	    "field is filled, with --years in each year. With --missing: pulls without\n"
	    "a result by outcome, operator and year, and whether a missing result goes\n"
	    "with poor marrow. With --dictionary: what each field means, its unit and\n"
	    "its words.\n",
	.examples =
	    "  perdraw findings --db clinic.db --summary\n"
	    "  perdraw findings --db clinic.db --source draws-2025.csv\n"
	    "  perdraw findings --db clinic.db --missing --html missing.html\n"
	    "  perdraw findings --dictionary\n",
	.opts = opts,
	.size = sizeof(struct findings_options),
	.run = findings_run
};
