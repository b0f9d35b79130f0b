/*
 * cmd_backup.c - a checked copy of the clinic's database.
 */
#include "command.h"
#include "progress.h"
#include "say.h"

struct backup_options {
	const char *db;
};

#define AT(member) offsetof(struct backup_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static void step(void *user, size_t done, size_t of)
{
	(void)user;
	progress_count("page", done, of);
}

static void account(const char *path, const pd_backup *b)
{
	progress_end();
	say_clean(path, stdout);
	printf(": copied and checked\n"
	       "  patients, cases       %zu, %zu\n"
	       "  files loaded          %zu\n"
	       "  rows of audit chain   %zu, all recomputed\n"
	       "  newest row            %s\n"
	       "  bytes                 %zu\n"
	       "  sha256                %s\n",
	       b->counts.n_patients, b->counts.n_cases, b->counts.n_sources,
	       b->n_audit, b->audit_head, b->bytes, b->sha256);
}

static int backup_run(const void *options, const struct operands *files)
{
	const struct backup_options *o = options;
	pd_backup made;
	pd_error err = { 0 };
	pd_store *store = NULL;
	pd_status st = pd_store_open(o->db, PD_OPEN_READ, &store, &err);

	if (st == PD_OK)
		st = pd_store_backup(store, files->at[0], step, NULL,
		                     &made, &err);
	pd_store_close(store);
	if (st != PD_OK)
		return say_failure(st, &err);
	if (!files->quiet)
		account(files->at[0], &made);
	return 0;
}

const struct command cmd_backup = {
	.name = "backup",
	.summary = "a checked copy of the database in a new file",
	.operands = "COPY.db",
	.fewest = 1,
	.most = 1,
	.about =
	    "Copies the database as it is at one moment, while others may read it or\n"
	    "load into it. The copy is checked throughout, its audit chain is\n"
	    "recomputed, and only then it gets its name; a file that is there is\n"
	    "never replaced. Keep the printed SHA-256 apart from the copy. The key\n"
	    "of pseudonyms is not in the database: copy it yourself, elsewhere.\n",
	.examples =
	    "  perdraw backup --db clinic.db clinic-2026-01-05.db\n"
	    "  sha256sum clinic-2026-01-05.db\n",
	.opts = opts,
	.size = sizeof(struct backup_options),
	.run = backup_run
};
