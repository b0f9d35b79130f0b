/*
 * cmd_expect.c - what a draw may yield: expected yield, prediction interval
 * and chance of a dose by number of sites and mL a site, for a patient of an
 * age and sex, inside the range of the clinic's own draws.
 */
#include "command.h"
#include "reading.h"
#include "show.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct expect_options {
	const char *db, *date;
	const char *outcome, *sex, *landmark, *adjust, *seed;
	const char *sites, *ml;
	double age, total_ml, target, weight, level, syringe;
	unsigned pulls, sides;
	struct show show;
};

#define AT(member) offsetof(struct expect_options, member)

static const struct opt opts[] = {
	{ "db", 'd', OPT_TEXT, true, AT(db), "FILE", "the clinic's database" },
	{ "outcome", 0, OPT_TEXT, true, AT(outcome), "NAME",
	  "tnc, mnc, cd34, cd271 or cfu_f" },
	{ "age", 0, OPT_REAL, true, AT(age), "YEARS", "age of such patients" },
	{ "sex", 0, OPT_TEXT, true, AT(sex), "WORD", "female or male" },
	{ "target", 0, OPT_REAL, false, AT(target), "X",
	  "dose to reach, in the unit of the yield" },
	{ "sites", 0, OPT_TEXT, false, AT(sites), "NUMBERS",
	  "numbers of sites, as '1 2 4', else those seen" },
	{ "ml-per-site", 0, OPT_TEXT, false, AT(ml), "NUMBERS",
	  "mL at every site, as '5 10', else those usual" },
	{ "total-ml", 0, OPT_REAL, false, AT(total_ml), "ML",
	  "most to be drawn; also shared by the sites" },
	{ "pulls", 0, OPT_WHOLE, false, AT(pulls), "N",
	  "pulls at every site, else the commonest number" },
	{ "syringe", 0, OPT_REAL, false, AT(syringe), "ML",
	  "syringe size, else that of most patients" },
	{ "sides", 0, OPT_WHOLE, false, AT(sides), "1|2",
	  "sides the sites are shared by, else as usual" },
	{ "landmark", 0, OPT_TEXT, false, AT(landmark), "WORDS",
	  "bone landmark, else the one of most patients" },
	{ "adjust", 0, OPT_TEXT, false, AT(adjust), "NAMES",
	  "what else to hold equal, parted by commas" },
	{ "weight", 0, OPT_REAL, false, AT(weight), "KG",
	  "body weight, for the share of blood drawn" },
	{ "level", 0, OPT_REAL, false, AT(level), "P",
	  "level of the wide interval, 0.95 unless given" },
	{ "seed", 0, OPT_TEXT, false, AT(seed), "N",
	  "number all simulated draws come from, 0 unless given" },
	SHOW_OPTS(struct expect_options, show),
	{ "date", 0, OPT_TEXT, false, AT(date), "DATE",
	  "date of the reading instead of today's (ISO)" },
	{ NULL, 0, OPT_FLAG, false, 0, NULL, NULL }
};

/* NaN: not given. */
static pd_status within(const char *option, double x, double low, double high,
                        pd_error *err)
{
	return isnan(x) || (x >= low && x <= high)
	           ? PD_OK
	           : pd_fail(err, PD_USAGE,
	                     "option '--%s' wants a number from %g to %g, "
	                     "found '%g'", option, low, high, x);
}

static pd_status check(const struct expect_options *o, pd_error *err)
{
	pd_status st = within("age", o->age, 0, 120, err);

	if (st == PD_OK)
		st = within("target", o->target, 1e-9, 1e15, err);
	if (st == PD_OK)
		st = within("total-ml", o->total_ml, 0.1, 5000, err);
	if (st == PD_OK)
		st = within("weight", o->weight, 2, 400, err);
	if (st == PD_OK)
		st = within("level", o->level, 0.5, 0.999, err);
	if (st == PD_OK)
		st = within("syringe", o->syringe, 0.1, 500, err);
	if (st == PD_OK && o->pulls > 20)
		st = pd_fail(err, PD_USAGE,
		             "option '--pulls' wants 1 to 20, found '%u'",
		             o->pulls);
	if (st == PD_OK && o->sides > 2)
		st = pd_fail(err, PD_USAGE,
		             "option '--sides' wants 1 or 2, found '%u'",
		             o->sides);
	return st;
}

static pd_status read_seed(const char *text, unsigned long long *out,
                           pd_error *err)
{
	char *end = NULL;

	errno = 0;
	*out = text ? strtoull(text, &end, 10) : 0;
	if (text && (text[0] < '0' || text[0] > '9' || *end || errno))
		return pd_fail(err, PD_USAGE, "option '--seed' wants a whole "
		               "number from 0 up, found '%s'", text);
	return PD_OK;
}

static pd_status read_lists(const struct expect_options *o,
                            pd_expect_request *r, pd_error *err)
{
	double sites[PD_EXPECT_SITES];
	pd_status st = PD_OK;

	if (o->sites)
		st = pd_expect_numbers("sites", o->sites, true, 30,
		                       PD_EXPECT_SITES, sites, &r->n_sites,
		                       err);
	for (size_t i = 0; st == PD_OK && i < r->n_sites; i++)
		r->sites[i] = (size_t)sites[i];
	if (st == PD_OK && o->ml)
		st = pd_expect_numbers("ml-per-site", o->ml, false, 500,
		                       PD_EXPECT_DEEP, r->ml, &r->n_ml, err);
	return st;
}

static pd_status request_of(const struct expect_options *o,
                            pd_expect_request *r, pd_error *err)
{
	*r = (pd_expect_request){
		.outcome = o->outcome, .sex = o->sex, .landmark = o->landmark,
		.adjust = o->adjust, .age_y = o->age, .total_ml = o->total_ml,
		.target = o->target, .weight_kg = o->weight,
		.level = isnan(o->level) ? 0.95 : o->level,
		.syringe_ml = o->syringe, .pulls = o->pulls,
		.sides = o->sides
	};
	pd_status st = read_seed(o->seed, &r->seed, err);

	return st == PD_OK ? read_lists(o, r, err) : st;
}

/* The options, and the request made of them. */
struct asked {
	const struct expect_options *options;
	pd_expect_request ask;
};

static pd_status work_out(const void *options, const struct operands *operands,
                          const char *date, pd_arena *arena, bool *refused,
                          pd_error *err)
{
	const struct asked *a = options;
	const struct expect_options *o = a->options;
	pd_run_options run = { .date = date };
	pd_store *store = NULL;
	pd_expect_answer *answer = PD_NEW(arena, pd_expect_answer, 1);
	pd_doc *doc = NULL;
	pd_status st = answer ? pd_store_open(o->db, PD_OPEN_READ, &store, err)
	                      : pd_fail(err, PD_NO_MEMORY, "out of memory");

	(void)operands;
	if (st == PD_OK)
		st = pd_expect_run(store, &a->ask, &run, arena, answer, err);
	if (st == PD_OK)
		st = pd_compose_expect(answer, &doc, err);
	if (st == PD_OK)
		st = show_write(&o->show, doc, NULL, err);
	*refused = st == PD_OK && answer->refusal;
	pd_doc_free(doc);
	pd_store_close(store);
	return st;
}

static int expect_run(const void *options, const struct operands *operands)
{
	const struct expect_options *o = options;
	const char *const inputs[] = { o->db };
	struct asked a = { .options = o };
	pd_error err = { 0 };
	pd_status st = check(o, &err);

	if (st == PD_OK)
		st = request_of(o, &a.ask, &err);
	if (st == PD_OK)
		st = show_check(&o->show, inputs, 1, &err);
	return reading_run(work_out, &a, operands, o->date, st, &err);
}

const struct command cmd_expect = {
	.name = "expect",
	.summary = "expected yield and chance of a dose, by sites and mL",
	.operands = "",
	.fewest = 0,
	.most = 0,
	.about =
	    "From the clinic's own draws: what a case of a new patient of that age\n"
	    "and sex yields with so many sites of so many mL, with prediction\n"
	    "intervals, how many of 100 such patients would reach a target, what the\n"
	    "next site or mL adds, and harm beside it. What was not seen is not\n"
	    "foretold. Exit status 1 says that nothing can be foretold.\n",
	.examples =
	    "  perdraw expect --db clinic.db --outcome cfu_f --age 55 \\\n"
	    "      --sex female --target 20000\n"
	    "  perdraw expect --db clinic.db --outcome tnc --age 40 --sex male \\\n"
	    "      --sites '2 4 6' --ml-per-site '5 10' --total-ml 60\n",
	.opts = opts,
	.size = sizeof(struct expect_options),
	.run = expect_run
};
