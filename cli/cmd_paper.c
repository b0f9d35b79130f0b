/*
 * cmd_paper.c - what goes into a manuscript: tables, the flow figure, the
 * methods text and the reporting sheets of a plan.
 */
#include "command.h"
#include "progress.h"
#include "reading.h"
#include "show.h"

struct paper_options {
	const char *db, *plan, *question, *least, *date;
	bool no_ledger;
	struct show show;
};

#define AT(member) offsetof(struct paper_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "plan", 'p', OPT_TEXT, true, AT(plan), "FILE",
	  "the questions: see perdraw-plan(5)" },
	{ "by", 0, OPT_TEXT, false, AT(question), "QUESTION",
	  "question whose levels part the characteristics" },
	{ "least", 0, OPT_TEXT, false, AT(least), "N",
	  "warn of cells of fewer than N, else 5; 0: of none" },
	SHOW_OPTS(struct paper_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ "no-ledger", 0, OPT_FLAG, false, AT(no_ledger), NULL,
	  "do not record that these questions were read" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

enum { USUAL_LEAST = 5, MOST_LEAST = 1000 };

static pd_status read_least(const char *text, size_t *out, pd_error *err)
{
	size_t n = 0;
	const char *at = text;

	*out = USUAL_LEAST;
	if (!text)
		return PD_OK;
	for (; *at >= '0' && *at <= '9' && n <= MOST_LEAST; at++)
		n = 10 * n + (size_t)(*at - '0');
	*out = n;
	return *text && !*at && n <= MOST_LEAST
	           ? PD_OK
	           : pd_fail(err, PD_USAGE, "option '--least' wants a whole "
	                     "number from 0 to %d, found '%s'", MOST_LEAST,
	                     text);
}

static pd_status work_out(const void *options, const struct operands *operands,
                          const char *date, pd_arena *arena, bool *refused,
                          pd_error *err)
{
	const struct paper_options *o = options;
	pd_run_options run = { .date = date, .write_ledger = !o->no_ledger,
		               .progress = progress_step };
	pd_store *store = NULL;
	pd_plan plan;
	pd_paper paper;
	pd_doc *doc = NULL;
	size_t least;
	pd_status st = read_least(o->least, &least, err);

	(void)operands;
	(void)refused; /* an unanswered question stands in the paper */
	if (st == PD_OK)
		st = pd_plan_read(arena, o->plan, &plan, err);
	if (st == PD_OK)
		st = pd_store_open(o->db,
		                   o->no_ledger ? PD_OPEN_READ : PD_OPEN_WRITE,
		                   &store, err);
	if (st == PD_OK)
		st = pd_paper_run(store, &plan, o->question, least, &run, arena,
		                  &paper, err);
	if (st == PD_OK)
		st = pd_compose_paper(&paper, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

static int paper_run(const void *options, const struct operands *operands)
{
	const struct paper_options *o = options;
	const char *const inputs[] = { o->db, o->plan };
	pd_error err = { 0 };
	size_t least;
	pd_status st = read_least(o->least, &least, &err);

	if (st == PD_OK)
		st = show_check(&o->show, inputs, 2, &err);
	return reading_run(work_out, o, operands, o->date, st, &err);
}

const struct command cmd_paper = {
	.name = "paper",
	.summary = "tables, figure, methods text and sheets for a manuscript",
	.operands = "",
	.about =
	    "Asks every question of a plan as the review does and writes what\n"
	    "goes into a manuscript: characteristics by the levels of the primary\n"
	    "question, estimates unadjusted and as planned, sensitivity analyses,\n"
	    "the flow of the records, the methods in words with their sources,\n"
	    "and sheets of what a report should say. The reading is recorded as\n"
	    "that of a review is.\n",
	.examples =
	    "  perdraw paper --db clinic.db --plan quarter.plan \\\n"
	    "      --html paper.html --latex paper.tex --csv paper.csv\n"
	    "  perdraw paper --db clinic.db --plan quarter.plan --by needle \\\n"
	    "      --latex table1.tex --table 1\n",
	.opts = opts,
	.size = sizeof(struct paper_options),
	.run = paper_run
};
