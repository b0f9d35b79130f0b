/*
 * cmd_history.c - what was loaded, corrected, planned and looked at, and the
 * audit chain recomputed.
 */
#include "command.h"
#include "day.h"
#include "say.h"
#include "show.h"

#include <string.h>

struct history_options {
	const char *db, *since, *printed;
	int what;
	struct show show;
};

#define AT(member) offsetof(struct history_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "since", 0, OPT_TEXT, false, AT(since), "DATE",
	  "only what was done on that day and later (ISO)" },
	{ "what", 0, OPT_CHOICE, false, AT(what),
	  "load|supersede|plan|look|release|claim",
	  "only what was of that kind" },
	{ "printed", 0, OPT_TEXT, false, AT(printed), "HASH",
	  "a hash printed before: is it in the chain?" },
	SHOW_OPTS(struct history_options, show),
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status check(const struct history_options *o, pd_error *err)
{
	pd_status st = show_check(&o->show, &o->db, 1, err);

	if (st == PD_OK && o->since && !day_is(o->since))
		st = pd_fail(err, PD_USAGE, "option '--since' wants a date "
		             "such as 2025-10-01, found '%s'", o->since);
	if (st == PD_OK && o->printed &&
	    (strlen(o->printed) != 64 ||
	     strspn(o->printed, "0123456789abcdef") != 64))
		st = pd_fail(err, PD_USAGE, "option '--printed' wants the 64 "
		             "signs of a hash, found '%s'", o->printed);
	return st;
}

static pd_status history(const struct history_options *o, pd_arena *arena,
                         pd_history *h, pd_error *err)
{
	static const char *const kinds[] = { NULL, "load", "supersede",
		                             "plan", "look", "release",
		                             "claim" };
	pd_history_request ask = { .since = o->since, .what = kinds[o->what],
		                   .printed = o->printed };
	pd_store *store = NULL;
	pd_doc *doc = NULL;
	pd_status st = pd_store_open(o->db, PD_OPEN_INSPECT, &store, err);

	if (st == PD_OK)
		st = pd_history_read(store, &ask, arena, h, err);
	pd_store_close(store);
	if (st == PD_OK)
		st = pd_compose_history(h, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	pd_doc_free(doc);
	return st;
}

static int history_run(const void *options, const struct operands *operands)
{
	const struct history_options *o = options;
	pd_history h = { 0 };
	pd_error err = { 0 };
	pd_status st = check(o, &err);

	(void)operands;
	pd_arena *arena = pd_arena_new();

	if (st == PD_OK && !arena)
		st = pd_fail(&err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = history(o, arena, &h, &err);
	pd_arena_free(arena);
	if (st != PD_OK)
		return say_failure(st, &err);
	return h.n_broken || h.n_gaps || (o->printed && !h.printed_row)
	           ? pd_status_exit(PD_BROKEN)
	           : 0;
}

const struct command cmd_history = {
	.name = "history",
	.summary = "what was loaded, corrected and looked at; the audit chain",
	.operands = "",
	.about =
	    "Lists what was done to the database, in order, and recomputes the hash\n"
	    "of every row of its audit chain. Files, plans and questions the chain\n"
	    "names are looked up in the database, and rows that corrections moved\n"
	    "away are hashed again. Exit status 3 says that something differs, and\n"
	    "the rows are named. A reading of a broken database is refused by all\n"
	    "other commands.\n",
	.examples =
	    "  perdraw history --db clinic.db\n"
	    "  perdraw history --db clinic.db --since 2026-01-01 --what look\n"
	    "  perdraw history --db clinic.db --html history.html\n",
	.opts = opts,
	.size = sizeof(struct history_options),
	.run = history_run
};
