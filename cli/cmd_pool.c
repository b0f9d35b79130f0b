/*
 * cmd_pool.c - ratios others have printed, pooled with a range for a further
 * comparison, and the clinic's own ratio beside them.
 */
#include "command.h"
#include "reading.h"
#include "running.h"
#include "show.h"

#include <math.h>
#include <string.h>

struct pool_options {
	const char *printed, *outcome, *judge, *first, *second;
	const char *db, *plan, *date;
	double level;
	bool with_own;
	struct show show;
};

#define AT(member) offsetof(struct pool_options, member)

static const struct opt opts[] = {
	{ "printed", 0, OPT_TEXT, true, AT(printed), "FILE.csv",
	  "printed ratios with their intervals" },
	{ "outcome", 0, OPT_TEXT, false, AT(outcome), "NAME",
	  "which outcome of the file, its first unless given" },
	{ "judge", 0, OPT_TEXT, false, AT(judge), "WORD",
	  "concentration, prevalence or yield" },
	{ "first", 0, OPT_TEXT, false, AT(first), "ARM",
	  "the arm above the line, as the file has it" },
	{ "second", 0, OPT_TEXT, false, AT(second), "ARM",
	  "the arm below the line" },
	{ "level", 0, OPT_REAL, false, AT(level), "P",
	  "level of the intervals, 0.95 unless given" },
	{ "db", 'd', OPT_TEXT, false, AT(db), "FILE",
	  "the clinic's database, for question NAME of the plan" },
	{ "plan", 'p', OPT_TEXT, false, AT(plan), "FILE",
	  "plan that holds the question NAME" },
	{ "with-own", 0, OPT_FLAG, false, AT(with_own), NULL,
	  "pool the clinic's own ratio too" },
	SHOW_OPTS(struct pool_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status check(const struct pool_options *o,
                       const struct operands *operands, pd_error *err)
{
	bool own = operands->n > 0;

	if (own != (o->db != NULL) || own != (o->plan != NULL))
		return pd_fail(err, PD_USAGE,
		               "the clinic's own ratio wants '--db', '--plan' "
		               "and the NAME of a question, all or none");
	if (o->with_own && !own)
		return pd_fail(err, PD_USAGE,
		               "'--with-own' wants a question of the clinic's");
	if (!isnan(o->level) && !(o->level > 0.5 && o->level < 1))
		return pd_fail(err, PD_USAGE,
		               "option '--level' wants a number between 0.5 "
		               "and 1, found '%g'", o->level);
	return PD_OK;
}

static pd_status open_own(const struct pool_options *o, const char *name,
                          pd_arena *arena, pd_plan *plan,
                          pd_pooled_request *ask, pd_error *err)
{
	pd_status st = pd_plan_read(arena, o->plan, plan, err);

	if (st != PD_OK)
		return st;
	ask->plan = plan;
	st = pd_plan_question(plan, name, &ask->question, err);
	if (st != PD_OK)
		return st;
	/* reading the clinic's own ratio is a look */
	return pd_store_open(o->db, running_now()->recomputed ? PD_OPEN_READ
	                                                      : PD_OPEN_WRITE,
	                     &ask->store, err);
}

static pd_status pool(const void *options, const struct operands *operands,
                      const char *date, pd_arena *arena, bool *refused,
                      pd_error *err)
{
	const struct pool_options *o = options;
	const char *name = operands->n ? operands->at[0] : NULL;
	pd_run_options run = { .date = date,
		               .write_ledger = !running_now()->recomputed };
	pd_pooled_request ask = { .path = o->printed, .outcome = o->outcome,
		                  .judge = o->judge, .first = o->first,
		                  .second = o->second,
		                  .level = isnan(o->level) ? 0.95 : o->level,
		                  .with_house = o->with_own, .options = &run };
	pd_plan plan;
	pd_pooled_answer answer;
	pd_doc *doc = NULL;
	pd_status st = name ? open_own(o, name, arena, &plan, &ask, err)
	                    : PD_OK;

	if (st == PD_OK)
		st = pd_pooled_run(&ask, arena, &answer, err);
	if (st == PD_OK)
		st = pd_compose_pooled(&answer, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	*refused = st == PD_OK && answer.refusal;
	pd_doc_free(doc);
	pd_store_close(ask.store);
	return st;
}

static int pool_run(const void *options, const struct operands *operands)
{
	const struct pool_options *o = options;
	const char *const inputs[] = { o->printed, o->db, o->plan };
	pd_error err = { 0 };
	pd_status st = check(o, operands, &err);

	if (st == PD_OK)
		st = show_check(&o->show, inputs, o->db ? 3 : 1, &err);
	return reading_run(pool, o, operands, o->date, st, &err);
}

const struct command cmd_pool = {
	.name = "pool",
	.summary = "ratios others printed, pooled, and the clinic's own beside them",
	.operands = "[NAME]",
	.fewest = 0,
	.most = 1,
	.about =
	    "Pools printed ratios of one comparison with random effects and says in\n"
	    "what range a further comparison would be expected. Only rows of the same\n"
	    "outcome, judged the same way, between the same arms go together. With\n"
	    "question NAME of a plan the clinic's own ratio stands beside them, and\n"
	    "in the pool only when asked.\n",
	.examples =
	    "  perdraw pool --printed published.csv --outcome cd34\n"
	    "  perdraw pool --printed published.csv --db clinic.db \\\n"
	    "      --plan quarter.plan second-pull\n",
	.opts = opts,
	.size = sizeof(struct pool_options),
	.run = pool_run
};
