/*
 * cmd_watch.c - has the yield drifted or shifted since a baseline?
 */
#include "command.h"
#include "reading.h"
#include "show.h"

#include <math.h>
#include <string.h>

struct watch_options {
	const char *db, *outcome, *judge, *adjust, *where, *baseline, *date;
	double level, quarters, shift, weight;
	unsigned seed;
	struct show show;
};

#define AT(member) offsetof(struct watch_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "outcome", 0, OPT_TEXT, false, AT(outcome), "NAME",
	  "what is watched, tnc unless given" },
	{ "judge", 0, OPT_TEXT, false, AT(judge), "WORDS",
	  "concentration unless given; 'yield per case' ..." },
	{ "adjust", 0, OPT_TEXT, false, AT(adjust), "NAMES",
	  "held equal beside age, else volume and places" },
	{ "where", 0, OPT_TEXT, false, AT(where), "WORDS",
	  "which draws: conditions, parted by ';'" },
	{ "baseline", 0, OPT_TEXT, false, AT(baseline), "DATE",
	  "its last day; the first third of cases if not given" },
	{ "quarters", 0, OPT_REAL, false, AT(quarters), "N",
	  "between false signals of all charts, 20 unless given" },
	{ "shift", 0, OPT_REAL, false, AT(shift), "S",
	  "shift to find soon, in SDs of a case, else 0.5" },
	{ "weight", 0, OPT_REAL, false, AT(weight), "W",
	  "of the newest case in the average, 0.05 unless given" },
	{ "level", 0, OPT_REAL, false, AT(level), "P",
	  "level of the intervals, 0.95 unless given" },
	{ "seed", 0, OPT_WHOLE, false, AT(seed), "N",
	  "number all simulated draws come from, 0 unless given" },
	SHOW_OPTS(struct watch_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status in_range(const char *name, double x, double low, double high,
                          pd_error *err)
{
	return isnan(x) || (x >= low && x <= high)
	           ? PD_OK
	           : pd_fail(err, PD_USAGE,
	                     "option '--%s' wants a number from %g to %g, found "
	                     "'%g'", name, low, high, x);
}

static pd_status check(const struct watch_options *o, pd_error *err)
{
	pd_status st = in_range("level", o->level, 0.5, 0.999, err);

	if (st == PD_OK)
		st = in_range("quarters", o->quarters, 1, 400, err);
	if (st == PD_OK)
		st = in_range("shift", o->shift, 0.2, 5, err);
	return st == PD_OK ? in_range("weight", o->weight, 0.02, 1, err) : st;
}

static double or_else(double x, double otherwise)
{
	return isnan(x) ? otherwise : x;
}

static pd_status watch(const void *options, const struct operands *operands,
                       const char *date, pd_arena *arena, bool *refused,
                       pd_error *err)
{
	const struct watch_options *o = options;
	pd_run_options run = { .date = date };
	pd_watch_request ask =
	    pd_watch_usual(o->outcome ? o->outcome : "tnc",
	                   o->judge ? o->judge : "concentration");

	ask.adjust = o->adjust;
	ask.where = o->where;
	ask.base_until = o->baseline;
	ask.seed = o->seed;
	ask.level = or_else(o->level, ask.level);
	ask.quarters = or_else(o->quarters, ask.quarters);
	ask.shift = or_else(o->shift, ask.shift);
	ask.lambda = or_else(o->weight, ask.lambda);
	pd_store *store = NULL;
	pd_watch_answer answer;
	pd_doc *doc = NULL;
	pd_status st = pd_store_open(o->db, PD_OPEN_READ, &store, err);

	(void)operands;
	if (st == PD_OK)
		st = pd_watch_run(store, &ask, &run, arena, &answer, err);
	if (st == PD_OK)
		st = pd_compose_watch(&answer, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	*refused = st == PD_OK && answer.refusal;
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

static int watch_run(const void *options, const struct operands *operands)
{
	const struct watch_options *o = options;
	pd_error err = { 0 };
	pd_status st = check(o, &err);

	if (st == PD_OK)
		st = show_check(&o->show, &o->db, 1, &err);
	return reading_run(watch, o, operands, o->date, st, &err);
}

const struct command cmd_watch = {
	.name = "watch",
	.summary = "has the yield drifted or shifted since a baseline?",
	.operands = "",
	.about =
	    "Charts what remains of each case after age, volume and places of its\n"
	    "pulls are held equal, for all cases, by operator and by method version:\n"
	    "shifts with date, likely start and size; operators beside each other,\n"
	    "partially pooled. Of cfu_f also whether the dishes of one sample agree,\n"
	    "by quarter. Exit status 1 says that there are too few cases.\n",
	.examples =
	    "  perdraw watch --db clinic.db\n"
	    "  perdraw watch --db clinic.db --outcome cfu_f --baseline 2023-12-31\n",
	.opts = opts,
	.size = sizeof(struct watch_options),
	.run = watch_run
};
