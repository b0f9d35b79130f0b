/*
 * cmd_agree.c - two laboratory method versions on the pulls both counted.
 */
#include "command.h"
#include "reading.h"
#include "show.h"

#include <math.h>
#include <string.h>

struct agree_options {
	const char *db, *outcome, *judge, *first, *second, *date;
	double level, margin, error_ratio;
	unsigned seed;
	struct show show;
};

#define AT(member) offsetof(struct agree_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "outcome", 0, OPT_TEXT, true, AT(outcome), "NAME",
	  "tnc, mnc, cfu_f, cd34, viability ..." },
	{ "judge", 0, OPT_TEXT, true, AT(judge), "WORD",
	  "concentration, prevalence or percent" },
	{ "first", 0, OPT_TEXT, true, AT(first), "VERSION",
	  "the method version compared with" },
	{ "second", 0, OPT_TEXT, true, AT(second), "VERSION",
	  "the method version that is judged" },
	{ "margin", 0, OPT_REAL, false, AT(margin), "M",
	  "ratio (or points) below which they count as the same" },
	{ "error-ratio", 0, OPT_REAL, false, AT(error_ratio), "R",
	  "error variance, second over first, 1 unless given" },
	{ "level", 0, OPT_REAL, false, AT(level), "P",
	  "level of the intervals, 0.95 unless given" },
	{ "seed", 0, OPT_WHOLE, false, AT(seed), "N",
	  "number all resampling comes from, 0 unless given" },
	SHOW_OPTS(struct agree_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

static pd_status check(const struct agree_options *o, pd_error *err)
{
	bool percent = strcmp(o->judge, "percent") == 0;

	if (!isnan(o->level) && !(o->level > 0.5 && o->level < 1))
		return pd_fail(err, PD_USAGE,
		               "option '--level' wants a number between 0.5 "
		               "and 1, found '%g'", o->level);
	if (!isnan(o->margin) &&
	    !(o->margin > 0 && o->margin < (percent ? 100 : 1)))
		return pd_fail(err, PD_USAGE,
		               "option '--margin' wants %s, found '%g'",
		               percent ? "points above 0"
		                       : "a ratio between 0 and 1", o->margin);
	if (!isnan(o->error_ratio) && !(o->error_ratio > 0 &&
	                                isfinite(o->error_ratio)))
		return pd_fail(err, PD_USAGE,
		               "option '--error-ratio' wants a number above 0, "
		               "found '%g'", o->error_ratio);
	return PD_OK;
}

static pd_status agree(const void *options, const struct operands *operands,
                       const char *date, pd_arena *arena, bool *refused,
                       pd_error *err)
{
	const struct agree_options *o = options;
	pd_run_options run = { .date = date };
	pd_bridge_request ask = { o->outcome, o->judge, o->first, o->second,
		                  isnan(o->level) ? 0.95 : o->level, o->margin,
		                  isnan(o->error_ratio) ? 1 : o->error_ratio,
		                  o->seed };
	pd_store *store = NULL;
	pd_bridge_answer answer;
	pd_doc *doc = NULL;
	pd_status st = pd_store_open(o->db, PD_OPEN_READ, &store, err);

	(void)operands;
	if (st == PD_OK)
		st = pd_bridge_run(store, &ask, &run, arena, &answer, err);
	if (st == PD_OK)
		st = pd_compose_bridge(&answer, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	*refused = st == PD_OK && answer.refusal;
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

static int agree_run(const void *options, const struct operands *operands)
{
	const struct agree_options *o = options;
	pd_error err = { 0 };
	pd_status st = check(o, &err);

	if (st == PD_OK)
		st = show_check(&o->show, &o->db, 1, &err);
	return reading_run(agree, o, operands, o->date, st, &err);
}

const struct command cmd_agree = {
	.name = "agree",
	.summary = "two laboratory method versions on the same pulls",
	.operands = "",
	.about =
	    "Takes the pulls that both method versions counted and says what one\n"
	    "reads of the other, how far single pulls may lie apart, and the factor\n"
	    "from one to the other at low, middle and high readings. Exit status 1\n"
	    "says that too few pulls were counted by both.\n",
	.examples =
	    "  perdraw agree --db clinic.db --outcome tnc --judge concentration \\\n"
	    "      --first 'lab-a 1' --second 'lab-c 1' --margin 0.90\n",
	.opts = opts,
	.size = sizeof(struct agree_options),
	.run = agree_run
};
