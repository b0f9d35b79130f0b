/*
 * cmd_review.c - the quarterly technique review: all questions of a plan.
 */
#include "command.h"
#include "progress.h"
#include "reading.h"
#include "show.h"

struct review_options {
	const char *db, *plan, *date;
	bool no_ledger;
	struct show show;
};

#define AT(member) offsetof(struct review_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "plan", 'p', OPT_TEXT, true, AT(plan), "FILE",
	  "the questions: see perdraw-plan(5)" },
	SHOW_OPTS(struct review_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ "no-ledger", 0, OPT_FLAG, false, AT(no_ledger), NULL,
	  "do not record that these questions were read" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status review(const void *options, const struct operands *operands,
                        const char *date, pd_arena *arena, bool *refused,
                        pd_error *err)
{
	const struct review_options *o = options;
	pd_plan plan;
	pd_review result = { 0 };
	pd_store *store = NULL;
	pd_run_options run = { .date = date, .write_ledger = !o->no_ledger,
		               .progress = progress_step };
	pd_doc *doc = NULL;
	pd_status st = pd_plan_read(arena, o->plan, &plan, err);

	(void)operands;
	(void)refused; /* a question without an answer is part of a review */
	if (st == PD_OK)
		st = pd_store_open(o->db,
		                   o->no_ledger ? PD_OPEN_READ : PD_OPEN_WRITE,
		                   &store, err);
	if (st == PD_OK)
		st = pd_run_review(store, &plan, &run, arena, &result, err);
	if (st == PD_OK)
		st = pd_compose_review(&result, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, &result, err);
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

static int review_run(const void *options, const struct operands *operands)
{
	const struct review_options *o = options;
	const char *const inputs[] = { o->db, o->plan };
	pd_error err = { 0 };
	pd_status st = show_check(&o->show, inputs, 2, &err);

	return reading_run(review, o, operands, o->date, st, &err);
}

const struct command cmd_review = {
	.name = "review",
	.summary = "the quarterly technique review: all questions of a plan",
	.operands = "",
	.about =
	    "Asks every question of a plan and writes one review: the verdicts and\n"
	    "cautions first, then a section a question. Each reading is recorded in\n"
	    "the database; reading the same question again on the same data counts\n"
	    "once.\n",
	.examples =
	    "  perdraw review --db clinic.db --plan quarter.plan\n"
	    "  perdraw review --db clinic.db --plan quarter.plan --text review.txt \\\n"
	    "      --html review.html --first-page\n",
	.opts = opts,
	.size = sizeof(struct review_options),
	.run = review_run
};
