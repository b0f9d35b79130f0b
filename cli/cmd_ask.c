/*
 * cmd_ask.c - one question: a named one of a plan, or one given by options.
 * Options become a small plan text that goes through the plan reader, so that
 * there is one path and one set of rules. Such a question was not declared
 * before the data were seen and is exploratory.
 */
#include "command.h"
#include "progress.h"
#include "reading.h"
#include "say.h"
#include "show.h"

#include <math.h>
#include <string.h>

struct ask_options {
	const char *db, *plan, *date;
	const char *title, *outcome, *judge, *compare, *slope, *curve;
	const char *change, *differs_by, *floor, *event, *within;
	const char *adjust, *where, *margin, *seed;
	double level;
	bool no_ledger;
	struct show show;
};

#define AT(member) offsetof(struct ask_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "plan", 'p', OPT_TEXT, false, AT(plan), "FILE",
	  "plan that holds the question NAME" },
	{ "outcome", 0, OPT_TEXT, false, AT(outcome), "NAME",
	  "tnc, mnc, cfu_f, cd34, viability ..." },
	{ "judge", 0, OPT_TEXT, false, AT(judge), "WORDS",
	  "concentration, prevalence, 'yield per site' ..." },
	{ "compare", 0, OPT_TEXT, false, AT(compare), "WORDS",
	  "'PARAMETER A against B'" },
	{ "slope", 0, OPT_TEXT, false, AT(slope), "WORDS",
	  "'PARAMETER per STEP' or 'PARAMETER per doubling'" },
	{ "curve", 0, OPT_TEXT, false, AT(curve), "WORDS",
	  "'PARAMETER A against B', numbers on a smooth curve" },
	{ "change", 0, OPT_TEXT, false, AT(change), "DATE",
	  "cases from that day on against those before" },
	{ "differs-by", 0, OPT_TEXT, false, AT(differs_by), "WORDS",
	  "does the effect differ: 'PARAMETER per STEP' ..." },
	{ "floor", 0, OPT_TEXT, false, AT(floor), "X",
	  "judge the share of results that reach X" },
	{ "event", 0, OPT_TEXT, false, AT(event), "WORDS",
	  "adverse events that count, joined by 'or'" },
	{ "within", 0, OPT_TEXT, false, AT(within), "LEVEL",
	  "pair inside each patient, case, side or site" },
	{ "adjust", 0, OPT_TEXT, false, AT(adjust), "NAMES",
	  "what else to hold equal, parted by commas" },
	{ "where", 0, OPT_TEXT, false, AT(where), "WORDS",
	  "conditions, parted by ';': 'NAME is A or B' ..." },
	{ "margin", 0, OPT_TEXT, false, AT(margin), "M",
	  "smallest ratio that matters, such as 0.80" },
	{ "title", 0, OPT_TEXT, false, AT(title), "WORDS",
	  "the question in words, for the heading" },
	{ "level", 0, OPT_REAL, false, AT(level), "P",
	  "level of the interval, 0.95 unless given" },
	{ "seed", 0, OPT_TEXT, false, AT(seed), "N",
	  "number all simulated draws come from, 0 unless given" },
	SHOW_OPTS(struct ask_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ "no-ledger", 0, OPT_FLAG, false, AT(no_ledger), NULL,
	  "do not record that this question was read" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

/* ---- options into a plan --------------------------------------------- */

/* The keys of perdraw-plan(5) that have an option of the same name (a hyphen
 * for an underscore). */
static const struct {
	const char *key;
	size_t offset;
} keys[] = {
	{ "outcome", AT(outcome) }, { "judge", AT(judge) },
	{ "compare", AT(compare) }, { "slope", AT(slope) },
	{ "curve", AT(curve) },     { "change", AT(change) },
	{ "differs_by", AT(differs_by) }, { "floor", AT(floor) },
	{ "event", AT(event) },     { "within", AT(within) },
	{ "adjust", AT(adjust) },
	{ "where", AT(where) },     { "margin", AT(margin) },
};
enum { N_KEYS = sizeof keys / sizeof *keys };

static const char *value(const struct ask_options *o, size_t i)
{
	return *(const char *const *)((const char *)o + keys[i].offset);
}

/* What is asked, whichever way; NULL when nothing is. */
static const char *asked(const struct ask_options *o)
{
	return o->compare ? o->compare
	       : o->slope ? o->slope
	       : o->curve ? o->curve
	                  : o->change;
}

static bool any_key(const struct ask_options *o)
{
	for (size_t i = 0; i < N_KEYS; i++)
		if (value(o, i))
			return true;
	return o->title || o->seed || !isnan(o->level);
}

/* A line end or a comment sign would make a value more than a value. */
static pd_status plain(const char *name, const char *text, pd_error *err)
{
	for (const char *c = text; *c; c++)
		if ((unsigned char)*c < 0x20 || *c == 0x7f || *c == '#')
			return pd_fail(err, PD_USAGE,
			               "option '--%s' cannot hold control "
			               "characters or '#'", name);
	return PD_OK;
}

static pd_status option_plan(const struct ask_options *o, pd_buf *to,
                             pd_error *err)
{
	pd_status st = PD_OK;

	pd_buf_add(to, "[plan]\n");
	if (!isnan(o->level))
		pd_buf_print(to, "level = %.17g\n", o->level);
	if (o->seed)
		pd_buf_print(to, "seed = %s\n", o->seed);
	pd_buf_add(to, "\n[asked]\n");
	if (o->seed)
		st = plain("seed", o->seed, err);
	if (st == PD_OK && o->title)
		st = plain("title", o->title, err);
	if (o->title)
		pd_buf_print(to, "title = %s\n", o->title);
	else
		pd_buf_print(to, "title = %s, %s: %s\n",
		             o->outcome ? o->outcome : "",
		             o->judge ? o->judge : "",
		             asked(o) ? asked(o) : "");
	for (size_t i = 0; st == PD_OK && i < N_KEYS; i++) {
		if (!value(o, i))
			continue;
		st = plain(keys[i].key, value(o, i), err);
		pd_buf_print(to, "%s = %s\n", keys[i].key, value(o, i));
	}
	pd_buf_add(to, "role = exploratory\n");
	if (st == PD_OK && !pd_buf_ok(to))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	return st;
}

static pd_status plan_of_options(const struct ask_options *o, pd_arena *arena,
                                 pd_plan *plan, const pd_question **question,
                                 pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_status st = option_plan(o, &text, err);

	if (st == PD_OK)
		st = pd_plan_options(arena, pd_buf_text(&text), text.length,
		                     plan, err);
	if (st == PD_OK) {
		plan->question[0].known_as = plan->question[0].title;
		*question = &plan->question[0];
	}
	pd_buf_clear(&text);
	return st;
}

static pd_status plan_of_file(const struct ask_options *o, const char *name,
                              pd_arena *arena, pd_plan *plan,
                              const pd_question **question, pd_error *err)
{
	pd_status st = pd_plan_read(arena, o->plan, plan, err);

	return st == PD_OK ? pd_plan_question(plan, name, question, err) : st;
}

/* ---- the command ------------------------------------------------------ */

static pd_status check(const struct ask_options *o,
                       const struct operands *operands, pd_error *err)
{
	if (o->plan && any_key(o))
		return pd_fail(err, PD_USAGE,
		               "a question comes from '--plan FILE NAME' or "
		               "from options such as '--outcome', not from "
		               "both");
	if (o->plan && operands->n == 0)
		return pd_fail(err, PD_USAGE,
		               "'--plan FILE' wants the NAME of a question");
	if (!o->plan && operands->n)
		return pd_fail(err, PD_USAGE,
		               "question '%s' wants '--plan FILE'",
		               operands->at[0]);
	if (!o->plan && !(o->outcome && o->judge && asked(o)))
		return pd_fail(err, PD_USAGE,
		               "a question wants '--outcome', '--judge' and "
		               "'--compare', '--slope', '--curve' or "
		               "'--change'");
	return PD_OK;
}

static pd_status ask(const void *options, const struct operands *operands,
                     const char *date, pd_arena *arena, bool *refused,
                     pd_error *err)
{
	const struct ask_options *o = options;
	const char *name = operands->n ? operands->at[0] : NULL;
	pd_plan plan;
	const pd_question *question = NULL;
	pd_review result = { 0 };
	pd_store *store = NULL;
	pd_run_options run = { .date = date, .write_ledger = !o->no_ledger,
		               .progress = progress_step };
	pd_doc *doc = NULL;

	pd_status st =
	    o->plan ? plan_of_file(o, name, arena, &plan, &question, err)
	            : plan_of_options(o, arena, &plan, &question, err);

	if (st == PD_OK)
		st = pd_store_open(o->db,
		                   o->no_ledger ? PD_OPEN_READ : PD_OPEN_WRITE,
		                   &store, err);
	if (st == PD_OK)
		st = pd_run_question(store, &plan, question, &run, arena,
		                     &result, err);
	if (st == PD_OK)
		st = pd_compose_answer(&result, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, &result, err);
	pd_doc_free(doc);
	*refused = st == PD_OK && result.answer[0].refusal;
	pd_store_close(store);
	return st;
}

static int ask_run(const void *options, const struct operands *operands)
{
	const struct ask_options *o = options;
	const char *const inputs[] = { o->db, o->plan };
	pd_error err = { 0 };
	pd_status st = check(o, operands, &err);

	if (st == PD_OK)
		st = show_check(&o->show, inputs, 2, &err);
	return reading_run(ask, o, operands, o->date, st, &err);
}

const struct command cmd_ask = {
	.name = "ask",
	.summary = "one question, from a plan or given by options",
	.operands = "[NAME]",
	.fewest = 0,
	.most = 1,
	.about =
	    "Answers one question: NAME of a plan, or one given by options. A question\n"
	    "given by options was not declared before the data were seen; its answer\n"
	    "is exploratory. Exit status 1 says that these data cannot answer it.\n",
	.examples =
	    "  perdraw ask --db clinic.db --plan quarter.plan second-pull\n"
	    "  perdraw ask --db clinic.db --outcome cfu_f --judge concentration \\\n"
	    "      --compare 'aliquot_no 2 against 1' --within site --margin 0.80\n"
	    "  perdraw ask --db clinic.db --outcome tnc --judge concentration \\\n"
	    "      --slope 'volume_ml per doubling' --adjust 'age_y, operator'\n",
	.opts = opts,
	.size = sizeof(struct ask_options),
	.run = ask_run
};
