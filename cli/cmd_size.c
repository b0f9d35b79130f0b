/*
 * cmd_size.c - how many patients or pairs a fair comparison of a question's
 * two levels needs, from what the clinic's own draws scatter.
 */
#include "command.h"
#include "reading.h"
#include "show.h"

#include <math.h>
#include <string.h>

struct size_options {
	const char *db, *plan, *date;
	int aim;                 /* pd_aim + 1, 0: not given                   */
	double power, truth;
	unsigned pulls;
	struct show show;
};

#define AT(member) offsetof(struct size_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "plan", 'p', OPT_TEXT, true, AT(plan), "FILE",
	  "plan that holds the question NAME" },
	{ "aim", 0, OPT_CHOICE, false, AT(aim), "differ|not-worse|same",
	  "what the trial shall show, 'differ' unless given" },
	{ "power", 0, OPT_REAL, false, AT(power), "P",
	  "chance of showing it, 0.8 unless given" },
	{ "truth", 0, OPT_REAL, false, AT(truth), "X",
	  "true ratio (or points) to size for; else a row" },
	{ "pulls", 0, OPT_WHOLE, false, AT(pulls), "N",
	  "pulls averaged in each arm, 1 unless given" },
	SHOW_OPTS(struct size_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status check(const struct size_options *o, pd_error *err)
{
	if (!isnan(o->power) && !(o->power > 0.05 && o->power < 0.9999))
		return pd_fail(err, PD_USAGE,
		               "option '--power' wants a chance between 0.05 "
		               "and 0.9999, found '%g'", o->power);
	if (o->pulls > 100)
		return pd_fail(err, PD_USAGE,
		               "option '--pulls' wants 1 to 100, found '%u'",
		               o->pulls);
	return PD_OK;
}

/* A ratio has to be above 0; only the question tells which it is. */
static pd_status check_truth(const struct size_options *o,
                             const pd_question *q, pd_error *err)
{
	return q->scale == PD_RATIO && o->truth <= 0
	           ? pd_fail(err, PD_USAGE, "option '--truth' wants a ratio "
	                     "above 0, found '%g'", o->truth)
	           : PD_OK;
}

static pd_status work_out(const void *options, const struct operands *operands,
                          const char *date, pd_arena *arena, bool *refused,
                          pd_error *err)
{
	const struct size_options *o = options;
	const char *name = operands->at[0];
	pd_run_options run = { .date = date };
	pd_size_request ask = { .aim = o->aim ? (pd_aim)(o->aim - 1)
		                              : PD_AIM_DIFFERENCE,
		                .power = isnan(o->power) ? 0.8 : o->power,
		                .truth = o->truth, .pulls = o->pulls };
	pd_store *store = NULL;
	pd_plan plan;
	pd_size_answer answer;
	pd_doc *doc = NULL;
	pd_status st = pd_plan_read(arena, o->plan, &plan, err);
	const pd_question *q = NULL;

	if (st == PD_OK)
		st = pd_plan_question(&plan, name, &q, err);
	if (st == PD_OK)
		st = check_truth(o, q, err);
	if (st == PD_OK)
		st = pd_store_open(o->db, PD_OPEN_READ, &store, err);
	if (st == PD_OK)
		st = pd_size_run(store, &plan, q, &ask, &run, arena, &answer,
		                 err);
	if (st == PD_OK)
		st = pd_compose_size(&answer, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	*refused = st == PD_OK && answer.refusal;
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

static int size_run(const void *options, const struct operands *operands)
{
	const struct size_options *o = options;
	const char *const inputs[] = { o->db, o->plan };
	pd_error err = { 0 };
	pd_status st = check(o, &err);

	if (st == PD_OK)
		st = show_check(&o->show, inputs, 2, &err);
	return reading_run(work_out, o, operands, o->date, st, &err);
}

const struct command cmd_size = {
	.name = "size",
	.summary = "how many patients or pairs a fair comparison needs",
	.operands = "NAME",
	.fewest = 1,
	.most = 1,
	.about =
	    "Takes the two levels of question NAME of a plan and what the clinic's\n"
	    "own draws scatter, and works out how many pairs (with 'within') or\n"
	    "patients a group are needed: the chance with that many and with one\n"
	    "fewer, what more pulls and earlier readings cost. Exit status 1 says\n"
	    "that it cannot be sized from these data.\n",
	.examples =
	    "  perdraw size --db clinic.db --plan quarter.plan syringe-10-50\n"
	    "  perdraw size --db clinic.db --plan quarter.plan --aim same \\\n"
	    "      --truth 1 redirect\n",
	.opts = opts,
	.size = sizeof(struct size_options),
	.run = size_run
};
