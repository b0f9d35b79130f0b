/*
 * cmd_claim.c - a maker's or a paper's numbers held against this clinic.
 */
#include "command.h"
#include "progress.h"
#include "reading.h"
#include "say.h"
#include "show.h"

struct claim_options {
	const char *db, *date;
	bool no_ledger;
	struct show show;
};

#define AT(member) offsetof(struct claim_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	SHOW_OPTS(struct claim_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ "no-ledger", 0, OPT_FLAG, false, AT(no_ledger), NULL,
	  "do not record that the effect here was read" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status judge(const void *options, const struct operands *operands,
                       const char *date, pd_arena *arena, bool *refused,
                       pd_error *err)
{
	const struct claim_options *o = options;
	const char *path = operands->at[0];
	pd_claim_file file;
	pd_claim_answer answer;
	pd_store *store = NULL;
	pd_run_options run = { .date = date, .write_ledger = !o->no_ledger,
		               .progress = progress_step };
	pd_doc *doc = NULL;

	pd_status st = pd_claim_read(arena, path, &file, err);

	if (st == PD_OK)
		st = pd_store_open(o->db,
		                   o->no_ledger ? PD_OPEN_READ : PD_OPEN_WRITE,
		                   &store, err);
	if (st == PD_OK)
		st = pd_claim_run(store, &file, &run, arena, &answer, err);
	if (st == PD_OK)
		st = pd_compose_claim(&answer, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	*refused = st == PD_OK && answer.refusal;
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

static int claim_run(const void *options, const struct operands *operands)
{
	const struct claim_options *o = options;
	const char *const inputs[] = { o->db, operands->at[0] };
	pd_error err = { 0 };
	pd_status st = show_check(&o->show, inputs, 2, &err);

	return reading_run(judge, o, operands, o->date, st, &err);
}

const struct command cmd_claim = {
	.name = "claim",
	.summary = "a maker's printed claim held against this clinic's draws",
	.operands = "FILE.claim",
	.fewest = 1,
	.most = 1,
	.about =
	    "Reads what a brochure or a paper prints (perdraw-claim(1) lists the keys)\n"
	    "and says what it is worth here: the ratio with every meaning the print\n"
	    "allows, whether its comparator is weaker than ordinary practice, the effect\n"
	    "in this clinic's own draws, what the printed study could not have shown,\n"
	    "the size and allocation list of a fair trial, and what a gain costs. Exit\n"
	    "status 1 says that no ratio can be made of the print.\n",
	.examples =
	    "  perdraw claim --db clinic.db needle.claim\n"
	    "  perdraw claim --db clinic.db needle.claim --html needle.html\n",
	.opts = opts,
	.size = sizeof(struct claim_options),
	.run = claim_run
};
