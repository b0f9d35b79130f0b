/*
 * cmd_load.c - files of draws and lab results into the clinic's database, one
 * transaction a file. Findings go to stderr, one a line, where an editor can
 * jump to them; the account of what was stored goes to standard output.
 */
#include "command.h"
#include "day.h"
#include "listing.h"
#include "progress.h"
#include "say.h"

#include <string.h>

struct load_options {
	const char *db, *map, *key, *reason, *date;
	bool make_key, dry_run, supersede, all;
};

#define AT(member) offsetof(struct load_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE",
	  "the clinic's database, made when missing" },
	{ "map", 'm', OPT_TEXT, false, AT(map), "FILE",
	  "what the columns are: see perdraw-map(5)" },
	{ "key", 'k', OPT_TEXT, false, AT(key), "FILE",
	  "key for pseudonyms, kept outside the database" },
	{ "make-key", 0, OPT_FLAG, false, AT(make_key), NULL,
	  "make the file of --key first; it must not exist" },
	{ "dry-run", 'n', OPT_FLAG, false, AT(dry_run), NULL,
	  "check everything, store nothing" },
	{ "supersede", 's', OPT_FLAG, false, AT(supersede), NULL,
	  "rows may replace stored rows of the same key" },
	{ "reason", 'r', OPT_TEXT, false, AT(reason), "TEXT",
	  "why, for the audit; --supersede needs it" },
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the load instead of today's (ISO)" },
	{ "all", 'a', OPT_FLAG, false, AT(all), NULL,
	  "list every finding, not only the first 50" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static void print_count(const char *words, size_t n)
{
	if (n)
		printf("  %-22s%zu\n", words, n);
}

static void print_report(const struct load_options *o, const char *path,
                         const pd_load_report *r, size_t warnings,
                         bool refused)
{
	say_clean(path, stdout);
	if (r->already_loaded) {
		printf(": loaded before, nothing done\n  sha256                %s\n",
		       r->sha256);
		return;
	}
	printf(": %s\n", refused      ? "refused, nothing stored"
	                 : o->dry_run ? "checked, nothing stored (dry run)"
	                              : "stored");
	printf("  rows read             %zu = %zu accepted + %zu rejected\n",
	       r->n_rows, r->n_accepted, r->n_rows - r->n_accepted);
	print_count("new patients", r->n_patients);
	print_count("new cases", r->n_cases);
	print_count("new sites", r->n_sites);
	print_count("new aliquots", r->n_aliquots);
	print_count("new results", r->n_results);
	print_count("rows superseded", r->n_superseded);
	print_count("warnings", warnings);
	if (r->sha256[0])
		printf("  sha256                %s\n", r->sha256);
}

/* Rows of a refused file that have no error of their own are not stored
 * either: the account counts them as rejected. */
static pd_status load_one(const struct load_options *o, pd_store *store,
                          const char *path, bool quiet, const char *date,
                          pd_error *err)
{
	pd_load_request request = {
		.path = path, .map_path = o->map, .key_path = o->key,
		.date = date, .reason = o->reason,
		.supersede = o->supersede, .dry_run = o->dry_run
	};
	pd_load_report report = { 0 };
	pd_findings *findings = pd_findings_new();

	if (!findings)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_status st = pd_load_file(store, &request, findings, &report, err);
	size_t errors = pd_findings_count(findings, PD_ERROR);

	progress_end();
	listing_findings(findings, path, o->all, quiet, stderr);
	if (!quiet && (st == PD_OK || errors))
		print_report(o, path, &report,
		             pd_findings_count(findings, PD_WARNING),
		             st != PD_OK);
	if (st == PD_DATA && errors)
		pd_fail_at(err, st, path, 0, 0,
		           "%zu error%s; nothing of this file is stored",
		           errors, errors == 1 ? "" : "s");
	pd_findings_free(findings);
	return st;
}

static pd_status check(const struct load_options *o, pd_error *err)
{
	if (o->supersede && !o->reason)
		return pd_fail(err, PD_USAGE,
		               "'--supersede' wants '--reason TEXT' for the "
		               "audit");
	if (o->make_key && !o->key)
		return pd_fail(err, PD_USAGE, "'--make-key' wants '--key FILE'");
	return PD_OK;
}

static int load_run(const void *options, const struct operands *files)
{
	const struct load_options *o = options;
	pd_error err = { 0 };
	pd_store *store = NULL;
	struct day day;
	pd_status st = check(o, &err);

	if (st == PD_OK)
		st = day_choose(o->date, &day, &err);
	if (st == PD_OK && o->make_key)
		st = pd_key_create(o->key, &err);
	if (st == PD_OK)
		st = pd_store_open_on(o->db, PD_OPEN_CREATE, day.iso, &store,
		                      &err);
	size_t done = 0;

	while (st == PD_OK && done < files->n) {
		progress_begin("load", files->quiet);
		st = load_one(o, store, files->at[done++], files->quiet,
		              day.iso, &err);
	}
	pd_store_close(store);
	if (st == PD_OK)
		return 0;
	int status = say_failure(st, &err);

	if (done && done < files->n)
		say_error("%zu further file%s not tried", files->n - done,
		          files->n - done == 1 ? "" : "s");
	return status;
}

const struct command cmd_load = {
	.name = "load",
	.summary = "a file of draws or lab results into the database",
	.operands = "FILE.csv...",
	.fewest = 1,
	.most = (size_t)-1,
	.about =
	    "Loads each CSV file whole or not at all. Every finding is listed as\n"
	    "FILE:LINE:COLUMN with what was found and what was expected; one error\n"
	    "and nothing of that file is stored (exit status 65). A file loaded\n"
	    "before is left alone. Names, birth dates and record numbers are refused\n"
	    "unless the map turns them into pseudonyms.\n",
	.examples =
	    "  perdraw load --db clinic.db draws-2025.csv lab-2025.csv\n"
	    "  perdraw load --db clinic.db --map ward.map --dry-run export.csv\n"
	    "  perdraw load --db clinic.db --supersede --reason \"lab recount\" fix.csv\n",
	.opts = opts,
	.size = sizeof(struct load_options),
	.run = load_run
};
