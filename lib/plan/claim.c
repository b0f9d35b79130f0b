/*
 * claim.c - a claim from its print to what it is worth here, in order: the
 * print rebuilt, this clinic's ordinary practice, the effect here, the trial,
 * the costs.
 */
#include "plan/claim.h"
#include "plan/claim_own.h"
#include "data/claims.h"
#include "data/query.h"
#include "plan/changes.h"

#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

/* --- the questions ------------------------------------------------------- */

/* What a question says, for the ledger: its hash tells two apart. */
static const char *question_text(pd_arena *a, const pd_question *q)
{
	const char *adjust = "";

	for (size_t i = 0; adjust && i < q->n_adjust; i++)
		adjust = pd_arena_print(a, "%s%s%s%s", adjust, i ? ", " : "",
		                        q->adjust_log[i] ? "log " : "",
		                        q->adjust[i]);
	if (!adjust)
		return NULL;
	return pd_arena_print(
	    a, "[%s]\noutcome = %s\njudge = %s %d\ncompare = %s %s against %s\n"
	    "step = %g\nwithin = %s\nadjust = %s\nwhere = %s\nmargin = %g\n"
	    "role = %d", q->name, q->outcome, q->judge, (int)q->grain,
	    q->parameter, q->first ? q->first : "",
	    q->second ? q->second : "", q->step, q->within ? q->within : "",
	    adjust, q->where_text ? q->where_text : "", q->margin,
	    (int)q->role);
}

static pd_status seal(pd_arena *a, const pd_plan *plan, pd_question *q,
                      pd_error *err)
{
	unsigned char hash[crypto_hash_sha256_BYTES];
	char *hex = pd_arena_alloc(a, 2 * sizeof hash + 1, 1);

	q->text = question_text(a, q);
	const char *whole = q->text
	    ? pd_arena_print(a, "level %.17g, patients %zu, looks %zu\n%s",
	                     plan->level, plan->min_patients, plan->looks,
	                     q->text)
	    : NULL;

	if (!hex || !whole || sodium_init() < 0)
		return pd_claim_no_memory(err);
	crypto_hash_sha256(hash, (const unsigned char *)whole, strlen(whole));
	q->sha256 = sodium_bin2hex(hex, 2 * sizeof hash + 1, hash, sizeof hash);
	return PD_OK;
}

/* TNC beside colonies and the other way round, for the costs. */
static bool other_outcome(const pd_claim_file *f, pd_question *q)
{
	const char *own = f->question->outcome;
	bool wanted = !isnan(f->arm[0].price) &&
	              strcmp(f->question->judge, "prevalence") != 0;

	if (!wanted)
		return false;
	*q = *f->question;
	q->outcome = strcmp(own, "tnc") == 0 ? "cfu_f" : "tnc";
	q->name = q->outcome;
	q->title = strcmp(own, "tnc") == 0
	               ? "Beside the claim: colony-forming cells"
	               : "Beside the claim: nucleated cells";
	q->known_as = q->title;
	q->role = PD_EXPLORATORY;
	return pd_query_unit(q->outcome, q->judge) != NULL;
}

static double middle(const pd_print_range *r)
{
	return sqrt(r->low * r->high);
}

/* Which printed volume differs by more than a tenth; NULL: none. */
static const char *unequal_volume(const pd_claim_file *f, double *doublings)
{
	const pd_print_arm *a = f->arm;
	const struct {
		const char *column;
		pd_print_range one, two;
	} all[] = {
		{ "volume_ml", a[0].volume_ml, a[1].volume_ml },
		{ "site_ml", a[0].site_ml, a[1].site_ml },
		{ "total_ml", a[0].total_ml, a[1].total_ml },
	};

	for (size_t i = 0; i < sizeof all / sizeof *all; i++) {
		double ratio = middle(&all[i].one) / middle(&all[i].two);

		if (!isnan(ratio) && (ratio < 0.9 || ratio > 1.1)) {
			*doublings = log2(ratio);
			return all[i].column;
		}
	}
	return NULL;
}

static bool volume_question(struct claim *c, pd_question *q, double *doublings)
{
	const pd_claim_file *f = c->file;
	const char *column = unequal_volume(f, doublings);
	pd_kind kind;
	size_t n = 0;

	if (!column || !pd_query_has(column, f->question->grain, &kind))
		return false;
	*q = *f->question;
	q->kind = PD_COMPARE_SLOPE;
	q->parameter = column;
	q->step = NAN;
	q->first = q->second = q->within = NULL;
	q->name = "volume";
	q->title = "Beside the claim: what the volume alone does here";
	q->known_as = q->title;
	q->role = PD_EXPLORATORY;
	/* the volume itself is no adjuster of its own slope */
	q->adjust = PD_NEW(c->arena, const char *, q->n_adjust + 1);
	q->adjust_log = PD_NEW(c->arena, bool, q->n_adjust + 1);
	for (size_t i = 0; q->adjust && q->adjust_log &&
	                   i < f->question->n_adjust; i++) {
		if (strcmp(f->question->adjust[i], column) == 0)
			continue;
		q->adjust[n] = f->question->adjust[i];
		q->adjust_log[n++] = f->question->adjust_log[i];
	}
	q->n_adjust = q->adjust && q->adjust_log ? n : 0;
	return true;
}

/* --- the effect here ----------------------------------------------------- */

static const pd_answer *find(const pd_review *r, const char *name)
{
	for (size_t i = 0; i < r->n_answers; i++)
		if (strcmp(r->answer[i].name, name) == 0)
			return &r->answer[i];
	return NULL;
}

/* The printed ratio of volumes, at this clinic's slope. */
static void volume_alone(struct claim *c, double doublings)
{
	const pd_answer *v = find(&c->a->review, "volume");
	pd_claim_ratio *to = &c->a->volume;

	if (!v || v->refusal || v->n_effects == 0)
		return;
	to->log = v->effect[0].log;
	to->log.value *= doublings;
	to->log.se *= fabs(doublings);
	double low = v->effect[0].log.low * doublings;
	double high = v->effect[0].log.high * doublings;

	to->log.low = fmin(low, high);
	to->log.high = fmax(low, high);
	pd_claim_measure(to, c->a->margin);
	c->a->volume_words = pd_arena_print(
	    c->arena, "%g times the volume", exp2(doublings));
}

/* Here over the claim; the half-width carries what readings have cost. */
static void hold_against(struct claim *c)
{
	pd_claim_answer *a = c->a;
	const pd_effect *e = &a->here->effect[0];
	double wide = a->here->looks_paid && a->here->looks_width > 1
	                  ? a->here->looks_width : 1;

	for (size_t i = 0; i < a->n_readings; i++) {
		pd_estimate here = e->log;
		pd_claim_ratio *r = &a->reading[i].against;

		here.se *= wide;
		r->log = pd_claim_difference(&here, &a->reading[i].claim.log,
		                             a->level);
		pd_claim_measure(r, a->margin);
	}
}

static pd_status ask_here(struct claim *c, const pd_run_options *options,
                          pd_error *err)
{
	const pd_claim_file *f = c->file;
	pd_claim_answer *a = c->a;
	pd_plan plan = f->plan;
	double doublings = 0;
	pd_question *q = PD_NEW(c->arena, pd_question, PD_CLAIM_ANSWERS);
	pd_status st = PD_OK;

	if (!q)
		return pd_claim_no_memory(err);
	plan.question = q;
	plan.title = f->title;
	if (f->asks && !f->elsewhere) {
		q[plan.n_questions++] = *f->question;
		plan.n_questions += other_outcome(f, &q[plan.n_questions]);
	}
	if (!f->elsewhere)
		plan.n_questions += volume_question(c, &q[plan.n_questions],
		                                    &doublings);
	for (size_t i = 0; st == PD_OK && i < plan.n_questions; i++)
		st = seal(c->arena, &plan, &q[i], err);
	if (st != PD_OK)
		return st;
	st = plan.n_questions
	    ? pd_run_review(c->store, &plan, options, c->arena, &a->review, err)
	    : pd_run_context(c->store, &plan, options, c->arena, &a->review,
	                     err);
	if (st != PD_OK)
		return st;
	a->asked = f->asks && !f->elsewhere;
	c->asked_sha256 = a->asked ? q[0].sha256 : NULL;
	const pd_answer *own = a->asked ? &a->review.answer[0] : NULL;

	if (own && (own->refusal || own->n_effects == 0))
		a->here_refusal = own->refusal ? own->refusal
		                               : "no effect was estimated";
	else if (own)
		a->here = own;
	else
		a->here_refusal = f->elsewhere ? f->elsewhere
		    : "the claim file names no comparison of this clinic "
		      "(section [clinic], key compare)";
	if (a->here)
		hold_against(c);
	volume_alone(c, doublings);
	return PD_OK;
}

/* The answer's own overlap weights, where arms were not paired. */
static void weighted(struct claim *c)
{
	pd_claim_answer *a = c->a;

	if (!a->here || !a->here->weighing)
		return;
	a->weighted_tried = true;
	a->weighted.by = *a->here->weighing;
	if (a->weighted.by.refusal)
		return;
	a->weighted.ratio.log = a->weighted.by.effect;
	pd_claim_measure(&a->weighted.ratio, a->margin);
}

/* --- cautions ------------------------------------------------------------ */

static void caution(struct claim *c, const char *words)
{
	if (words && c->a->n_cautions < sizeof c->a->caution /
	                                     sizeof *c->a->caution)
		c->a->caution[c->a->n_cautions++] = words;
}

static void cautions(struct claim *c)
{
	const pd_claim_file *f = c->file;
	const pd_print_arm *a = f->arm;

	if (a[1].kind)
		caution(c, "Another laboratory counted the printed samples: "
		           "laboratories that plate the same inoculum differ by "
		           "a quarter and more, so a printed level beside a level "
		           "here says less than a ratio beside a ratio.");
	if (a[0].kind == PD_PRINT_MEAN_EITHER)
		caution(c, "The print does not say whether \"\xc2\xb1\" is a "
		           "standard deviation or a standard error. Ask for it; "
		           "until then both readings stand.");
	if (a[0].kind == PD_PRINT_MEAN_SD || a[0].kind == PD_PRINT_MEAN_SE ||
	    a[0].kind == PD_PRINT_MEAN_EITHER)
		caution(c, "Geometric means are worked out from means and "
		           "spreads as if results were log-normal.");
	if (c->a->skewed)
		caution(c, "A printed middle lies far off the centre of its "
		           "limits on the log scale: the results are not "
		           "log-normal, or a figure was misread.");
	if (f->paired && a[0].kind && isnan(f->correlation.low))
		caution(c, "A paired study is printed without the spread of its "
		           "pairs; intervals are given for several correlations.");
	if (!isnan(a[0].n_sites.low) && !isnan(a[1].n_sites.low) &&
	    middle(&a[0].n_sites) != middle(&a[1].n_sites))
		caution(c, "The printed arms differ in their number of sites: "
		           "the ratio is one of device and punctures together, "
		           "and more punctures cost the patient.");
	caution(c, "A maker's study and an invented or borrowed margin are no "
	           "ground for a purchase by themselves; a trial on patients "
	           "needs the review and consent that local rules ask for.");
}

static void say_unequal(struct claim *c)
{
	const pd_print_arm *a = c->file->arm;
	double doublings;
	const char *column = unequal_volume(c->file, &doublings);
	const pd_print_range *one, *two;

	if (!column)
		return;
	one = strcmp(column, "volume_ml") == 0 ? &a[0].volume_ml
	      : strcmp(column, "site_ml") == 0 ? &a[0].site_ml
	                                       : &a[0].total_ml;
	two = strcmp(column, "volume_ml") == 0 ? &a[1].volume_ml
	      : strcmp(column, "site_ml") == 0 ? &a[1].site_ml
	                                       : &a[1].total_ml;
	c->a->unequal = pd_arena_print(
	    c->arena, "The printed arms were not drawn alike: %.3g mL%s with "
	    "the device, %.3g mL with the comparator", middle(one),
	    strcmp(column, "volume_ml") == 0 ? " a pull"
	    : strcmp(column, "site_ml") == 0 ? " a site"
	                                     : " in all", middle(two));
}

/* --- the ledger ----------------------------------------------------------- */

/* What the print can mean: the first, and the reach of all. */
static void set_printed(const pd_claim_answer *a, pd_claim_row *r)
{
	r->n_meanings = a->n_readings;
	for (size_t i = 0; i < a->n_readings; i++) {
		const pd_claim_ratio *c = &a->reading[i].claim;

		if (i == 0) {
			r->printed = c->value;
			r->printed_low = c->low;
			r->printed_high = c->high;
		}
		r->least = fmin(r->least, c->value); /* fmin passes NaN over */
		r->most = fmax(r->most, c->value);
	}
}

static pd_status keep(struct claim *c, const pd_run_options *options,
                      pd_error *err)
{
	const pd_claim_file *f = c->file;
	const pd_claim_answer *a = c->a;
	pd_claim_row r = {
		.name = f->plan.name, .title = a->title ? a->title : "",
		.date = options->date, .margin = a->margin,
		.printed = NAN, .printed_low = NAN, .printed_high = NAN,
		.least = NAN, .most = NAN,
		.here = NAN, .here_low = NAN, .here_high = NAN,
	};

	if (!options->write_ledger)
		return PD_OK;
	set_printed(a, &r);
	r.verdict = pd_changes_claim_word(a->asked, PD_NO_ANSWER);
	if (a->here) {
		const pd_effect *e = &a->here->effect[0];

		r.verdict = pd_changes_claim_word(true, e->verdict);
		if (a->here->scale == PD_RATIO) {
			r.here = e->value;
			r.here_low = e->low;
			r.here_high = e->high;
		}
		r.n_patients = a->here->flow[a->here->n_flow - 1].n_patients;
	}
	return pd_store_claim(c->store, &r, f->plan.sha256,
	                      a->asked ? c->asked_sha256 : "", err);
}

/* --- all ----------------------------------------------------------------- */

static void head(struct claim *c)
{
	const pd_claim_file *f = c->file;
	const pd_question *q = f->question;
	pd_claim_answer *a = c->a;

	memset(a, 0, sizeof *a);
	a->name = f->plan.name;
	a->title = f->title;
	a->source = f->source;
	a->outcome_words = pd_query_words(q->outcome);
	a->judge_words = strcmp(q->judge, "yield") != 0 ? q->judge
	                 : q->grain == PD_BY_ALIQUOT   ? "yield per pull"
	                 : q->grain == PD_BY_SITE      ? "yield per site"
	                                               : "yield per case";
	a->unit = pd_query_unit(q->outcome, q->judge);
	a->margin = q->margin;
	a->level = f->plan.level;
	a->refusal = f->refusal;
	a->exact_p = a->usual_age = a->price_more = NAN;
	a->cost[0].ml = NAN;
}

pd_status pd_claim_run(pd_store *s, const pd_claim_file *file,
                       const pd_run_options *options, pd_arena *arena,
                       pd_claim_answer *out, pd_error *err)
{
	struct claim c = { s, file, arena, out, NULL };
	bool here = !file->elsewhere;

	pd_base_init();
	head(&c);
	pd_status st = pd_claim_rebuild(&c, err);

	if (st == PD_OK)
		st = ask_here(&c, options, err);
	if (st == PD_OK && here)
		st = pd_claim_usual_all(&c, err);
	if (st == PD_OK && here)
		st = pd_claim_trial_all(&c, err);
	else if (st == PD_OK)
		out->trial.refusal = file->elsewhere;
	pd_claim_power(&c);
	if (st == PD_OK)
		weighted(&c);
	if (st == PD_OK)
		st = pd_claim_costs(&c, err);
	if (st != PD_OK)
		return st;
	say_unequal(&c);
	cautions(&c);
	return keep(&c, options, err);
}
