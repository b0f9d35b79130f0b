/*
 * cmd_verify.c - a manifest recomputed: same, different, and where.
 */
#include "command.h"
#include "recompute.h"
#include "say.h"
#include "show.h"

struct verify_options {
	const char *db, *plan, *folder;
	struct show show;
};

#define AT(member) offsetof(struct verify_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, false, AT(db), "FILE",
	  "the clinic's database, where it is not in the folder" },
	{ "plan", 'p', OPT_TEXT, false, AT(plan), "FILE",
	  "the plan, where it is not in the folder" },
	{ "folder", 0, OPT_TEXT, false, AT(folder), "FOLDER",
	  "where inputs and outputs lie, else the manifest's" },
	SHOW_OPTS_ALONE(struct verify_options, show),
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status verify(const struct verify_options *o, const char *path,
                        pd_arena *arena, pd_verified *v, int *end,
                        pd_error *err)
{
	const struct recompute r = { .manifest = path, .db = o->db,
		                     .plan = o->plan, .folder = o->folder };
	const char *const inputs[] = { path, o->db, o->plan };
	pd_doc *doc = NULL;
	pd_status st = show_check(&o->show, inputs, 3, err);

	if (st == PD_OK)
		st = recompute(&r, arena, v, end, err);
	if (st == PD_OK && *end == 0)
		st = pd_compose_verified(v, &doc, err);
	if (st == PD_OK && *end == 0)
		st = show_write(&o->show, doc, NULL, err);
	pd_doc_free(doc);
	return st;
}

static int verify_run(const void *options, const struct operands *files)
{
	const struct verify_options *o = options;
	pd_verified v = { 0 };
	pd_error err = { 0 };
	int end = 0;
	pd_arena *arena = pd_arena_new();
	pd_status st = arena ? verify(o, files->at[0], arena, &v, &end, &err)
	                     : pd_fail(&err, PD_NO_MEMORY, "out of memory");

	pd_arena_free(arena);
	if (st != PD_OK)
		return say_failure(st, &err);
	if (end) {
		say_error("the command of the manifest could not be run again");
		return end;
	}
	return v.same ? 0 : pd_status_exit(PD_DIFFERENT);
}

const struct command cmd_verify = {
	.name = "verify",
	.summary = "recompute outputs from their manifest: same, or where not",
	.operands = "MANIFEST",
	.fewest = 1,
	.most = 1,
	.about =
	    "Runs the command of a manifest again, in memory, on today's database\n"
	    "and files, and compares every line of the manifest and every byte of\n"
	    "the outputs. Nothing is written to the database. Exit status 0 says the\n"
	    "same, 2 different: the lines that are others today are listed, and where\n"
	    "an output's file and what was recomputed first differ.\n",
	.examples =
	    "  perdraw review --db clinic.db --plan quarter.plan \\\n"
	    "      --html review.html --manifest review.manifest\n"
	    "  perdraw verify review.manifest\n"
	    "  perdraw verify --db archive/clinic.db review.manifest\n",
	.opts = opts,
	.size = sizeof(struct verify_options),
	.run = verify_run
};
