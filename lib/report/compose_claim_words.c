/*
 * compose_claim_words.c - the first page of a claim: what was printed, what
 * its comparator is worth, what this clinic sees, what the study could show,
 * what a fair trial needs and what a gain costs, a sentence or two each.
 */
#include "report/compose_claim.h"

#include <math.h>

const char *pd_claim_ratio_text(pd_doc *d, const pd_claim_ratio *r, double level,
                                bool with_level)
{
	pd_span s = { PD_SPAN_RATIO, r->value, r->low, r->high, level };
	pd_buf b;

	if (!(r->value > 0))
		return NULL;
	if (isnan(r->low) || isnan(r->high))
		s.low = s.high = NAN;
	pd_buf_init(&b);
	pd_number_span(&b, &s, with_level);
	return pd_doc_take(d, &b);
}

const char *pd_claim_count(pd_doc *d, double n)
{
	return isfinite(n) ? pd_say_count(d, (size_t)n) : NULL;
}

/* A price or an amount: three significant digits, two decimals at most. */
const char *pd_claim_money(pd_doc *d, double x)
{
	pd_buf b;

	if (!isfinite(x))
		return NULL;
	pd_buf_init(&b);
	if (fabs(x) >= 100 || x == floor(x))
		pd_number_fixed(&b, x, 0);
	else if (fabs(x) >= 0.1)
		pd_number_fixed(&b, x, fabs(x) < 10 ? 2 : 1);
	else
		pd_number_short(&b, x);
	return pd_doc_take(d, &b);
}

/* --- what was printed ---------------------------------------------------- */

static void say_print(pd_doc *d, pd_block *list, const pd_claim_answer *a)
{
	pd_buf b;

	if (a->refusal) {
		pd_doc_define(d, list, "The print",
		              pd_doc_print(d, "No ratio can be made of it: %s",
		                           pd_say_stop(d, a->refusal)));
		return;
	}
	if (a->n_readings == 0) {
		pd_doc_define(d, list, "The print", "It holds no ratio.");
		return;
	}
	pd_buf_init(&b);
	for (size_t i = 0; i < a->n_readings; i++) {
		const pd_claim_reading *r = &a->reading[i];
		const char *n = pd_claim_ratio_text(d, &r->claim, a->level,
		                                    i == 0);

		pd_buf_print(&b, "%s%s: ratio %s", i ? "; " : "",
		             i ? r->words : pd_say_upper(d, r->words),
		             n ? n : "not estimable");
	}
	pd_buf_add(&b, ".");
	if (a->n_readings > 1)
		pd_buf_add(&b, " The print does not say which of these it "
		               "means; none is preferred here.");
	if (a->unequal)
		pd_buf_print(&b, " %s.", a->unequal);
	if (a->volume_words) {
		const char *n = pd_claim_ratio_text(d, &a->volume, a->level,
		                                    false);

		pd_buf_print(&b, " In this clinic %s alone goes with a ratio "
		             "of %s.", a->volume_words, n ? n : "?");
	}
	pd_doc_define(d, list, "The print", pd_doc_take(d, &b));
}

/* --- the comparator ------------------------------------------------------ */

pd_claim_strength pd_claim_comparator(const pd_claim_answer *a, size_t *n_weak,
                                      size_t *n_judged)
{
	size_t same = 0;

	*n_weak = *n_judged = 0;
	for (size_t i = 0; i < a->n_usuals; i++) {
		const pd_claim_usual *u = &a->usual[i];

		for (size_t k = 0; !u->refusal && k < a->arm[1].n_centres;
		     k++) {
			++*n_judged;
			*n_weak += u->comparator[k].verdict == PD_WORSE;
			same += u->comparator[k].verdict == PD_NO_MATTER ||
			        u->comparator[k].verdict == PD_BETTER;
		}
	}
	return *n_judged == 0          ? PD_CLAIM_NOT_JUDGED
	       : *n_weak == *n_judged  ? PD_CLAIM_WEAK
	       : *n_weak               ? PD_CLAIM_DEPENDS
	       : same == *n_judged     ? PD_CLAIM_FAIR
	                               : PD_CLAIM_OPEN;
}

/* The version with the most patients: the one that is quoted. */
static const pd_claim_usual *main_usual(const pd_claim_answer *a)
{
	const pd_claim_usual *best = NULL;

	for (size_t i = 0; i < a->n_usuals; i++)
		if (!a->usual[i].refusal &&
		    (!best || a->usual[i].n_patients > best->n_patients))
			best = &a->usual[i];
	return best;
}

static const char *why_not_judged(const pd_claim_answer *a)
{
	if (a->refusal)
		return "the print cannot be put together";
	if (a->arm[1].n_centres == 0)
		return "no numbers of the comparator are printed";
	for (size_t i = 0; i < a->n_usuals; i++)
		if (a->usual[i].refusal)
			return a->usual[i].refusal;
	return a->here_refusal ? a->here_refusal
	                       : "no draw of this clinic was made like that";
}

static void say_comparator(pd_doc *d, pd_block *list, const pd_claim_answer *a)
{
	size_t weak, judged;
	pd_claim_strength s = pd_claim_comparator(a, &weak, &judged);
	const pd_claim_usual *u = main_usual(a);
	const char *unit = pd_say_unit(d, a->unit), *words;

	if (s == PD_CLAIM_NOT_JUDGED || !u) {
		pd_doc_define(d, list, "Its comparator",
		              pd_doc_print(d, "Cannot be judged: %s",
		                           pd_say_stop(d, why_not_judged(a))));
		return;
	}
	words = s == PD_CLAIM_WEAK
	            ? "Weak: it lies below what this clinic draws anyway"
	        : s == PD_CLAIM_FAIR
	            ? "Not weak: it lies no lower than what this clinic draws "
	              "anyway, or not by an amount that matters"
	        : s == PD_CLAIM_DEPENDS
	            ? pd_doc_print(d, "Depends: below this clinic's ordinary "
	                           "draws in %zu of %zu readings", weak, judged)
	            : "Not settled whether it lies below what this clinic "
	              "draws anyway";
	pd_doc_define(
	    d, list, "Its comparator",
	    pd_doc_print(
	        d, "%s. Printed %s %s, here %s %s in %s patients drawn like it "
	        "(%s): ratio %s.%s%s%s", words, pd_say_short(d, a->arm[1].centre[0]),
	        unit ? unit : "", pd_say_centre(d, u->centre, u->low, u->high),
	        unit ? unit : "", pd_say_count(d, u->n_patients), u->version,
	        pd_claim_ratio_text(d, &u->comparator[0], a->level, true),
	        a->arm[0].n_centres
	            ? pd_doc_print(d, " The printed device arm stands at %s of "
	                           "ordinary practice.",
	                           pd_claim_ratio_text(d, &u->device[0],
	                                               a->level, false))
	            : "",
	        a->unmatched ? " Not printed and so not matched: " : "",
	        a->unmatched ? pd_say_stop(d, a->unmatched) : ""));
}

/* --- here ---------------------------------------------------------------- */

/* One word for all readings; NULL: they do not agree. */
static const char *against_words(const pd_claim_answer *a)
{
	pd_verdict v = a->n_readings ? a->reading[0].against.verdict
	                             : PD_NO_ANSWER;

	for (size_t i = 1; i < a->n_readings; i++)
		if (a->reading[i].against.verdict != v)
			return NULL;
	switch (v) {
	case PD_BETTER:
		return "More than claimed";
	case PD_WORSE:
		return "Less than claimed";
	case PD_NO_MATTER:
		return "As claimed, within the margin";
	case PD_NOT_SETTLED:
		return "Not settled whether it is as large as claimed";
	case PD_NO_ANSWER:
		break;
	}
	return "There is no claimed ratio to hold it against";
}

static void say_against(pd_doc *d, pd_block *list, const pd_claim_answer *a)
{
	const char *words = against_words(a);
	pd_buf b;

	if (a->n_readings == 0)
		return;
	pd_buf_init(&b);
	pd_buf_print(&b, "%s. Ratio of the effect here to the claim:",
	             words ? words : "Depends on what the print means");
	for (size_t i = 0; i < a->n_readings; i++) {
		const pd_claim_reading *r = &a->reading[i];
		const char *n = pd_claim_ratio_text(d, &r->against, a->level,
		                                    i == 0);

		pd_buf_print(&b, "%s %s (%s)", i ? ";" : "", n ? n : "?",
		             r->words);
	}
	pd_buf_char(&b, '.');
	pd_doc_define(d, list, "Here against the claim", pd_doc_take(d, &b));
}

static void say_here(pd_doc *d, pd_block *list, const pd_claim_answer *a)
{
	if (!a->here) {
		pd_doc_define(d, list, "Seen here",
		              pd_doc_print(d, "No effect of this clinic's own: "
		                           "%s", pd_say_stop(d,
		                                             a->here_refusal)));
		return;
	}
	const pd_effect *e = &a->here->effect[0];
	const char *arms = pd_say_arms(d, a->here, e);

	pd_doc_define(d, list, "Seen here",
	              pd_doc_print(
	                  d, "%s %s. %s: ratio %s. %s",
	                  pd_verdict_sign(e->verdict),
	                  pd_say_verdict(a->here, e->verdict),
	                  pd_say_upper(d, arms),
	                  pd_say_span(d, a->here, e->value, e->low, e->high,
	                              true),
	                  pd_say_beyond(d, e->sentence, arms)));
	say_against(d, list, a);
}

/* --- the study, the trial, the cost -------------------------------------- */

static void say_study(pd_doc *d, pd_block *list, const pd_claim_answer *a)
{
	double low = INFINITY, high = 0;
	bool borrowed = false;
	const char *unit = a->paired ? "pairs" : "patients";
	pd_buf b;

	if (!a->n_patients[0]) {
		pd_doc_define(d, list, "What its study could show",
		              "The number of patients is not printed.");
		return;
	}
	for (size_t i = 0; i < a->n_readings; i++)
		if (a->reading[i].detectable > 1) {
			borrowed = borrowed || a->reading[i].sd_borrowed;
			low = fmin(low, a->reading[i].detectable);
			high = fmax(high, a->reading[i].detectable);
		}
	pd_buf_init(&b);
	if (a->paired)
		pd_buf_print(&b, "%zu %s", a->n_patients[0], unit);
	else
		pd_buf_print(&b, "%zu and %zu %s", a->n_patients[0],
		             a->n_patients[1], unit);
	if (high > 0) {
		pd_buf_print(&b, " find a true ratio 4 times in 5%s only from ",
		             borrowed ? ", with this clinic's spread," : "");
		pd_number_fixed(&b, low, 2);
		if (high > low * 1.005) {
			pd_buf_add(&b, " (or, as the print may be read, ");
			pd_number_fixed(&b, high, 2);
			pd_buf_char(&b, ')');
		}
		pd_buf_add(&b, " up: a smaller gain, or a loss as large, would "
		               "mostly have gone unseen.");
	} else {
		pd_buf_add(&b, ": no spread is printed, so what they could "
		               "show is not known.");
	}
	if (a->exact_p > 0.001) {
		pd_buf_add(&b, " The smallest exact P they can reach is ");
		pd_buf_add(&b, pd_say_fixed(d, a->exact_p, 4));
		pd_buf_add(&b, a->exact_p > 1 - a->level
		                   ? ": no result could have been told from none."
		                   : ".");
	}
	pd_doc_define(d, list, "What its study could show", pd_doc_take(d, &b));
}

static void say_trial(pd_doc *d, pd_block *list, const pd_claim_answer *a)
{
	const pd_claim_trial *t = &a->trial;
	pd_buf b;

	if (t->refusal || t->n_sizes == 0) {
		pd_doc_define(d, list, "A fair trial here",
		              pd_doc_print(d, "Cannot be sized: %s",
		                           t->refusal
		                               ? pd_say_stop(d, t->refusal)
		                               : "neither a claim nor a margin "
		                                 "says what to find."));
		return;
	}
	pd_buf_init(&b);
	pd_buf_add(&b, "Patients, one side with the device and the other as "
	               "usual:");
	for (size_t i = 0; i < t->n_sizes; i++) {
		const pd_claim_size *s = &t->size[i];
		const char *n = pd_claim_count(d, s->n);

		pd_buf_print(&b, "%s %s %s", i ? ";" : "",
		             n ? n : "no number is enough", s->aim);
	}
	pd_buf_print(&b, "; at a power of %s.",
	             pd_say_fixed(d, t->power, 2));
	pd_doc_define(d, list, "A fair trial here", pd_doc_take(d, &b));
}

const char *pd_claim_cost_text(pd_doc *d, const pd_claim_answer *a,
                               const pd_claim_cost *c)
{
	const char *low = pd_claim_money(d, c->cost_low);

	if (c->refusal)
		return pd_doc_print(d, "%s: not known, %s", c->outcome_words,
		                    pd_say_stop(d, c->refusal));
	if (c->no_gain && !(c->gain_high > 0))
		return pd_doc_print(d, "%s: these draws show no gain, so there "
		                    "is nothing to buy.",
		                    pd_say_upper(d, c->outcome_words));
	if (c->no_gain)
		return pd_doc_print(
		    d, "%s: the interval includes no gain at all, so no price "
		    "can be named; at best %s %s an extra %s.",
		    pd_say_upper(d, c->outcome_words), low ? low : "?",
		    a->currency, c->unit);
	return pd_doc_print(d, "%s: %s (%s to %s) %s an extra %s.",
	                    pd_say_upper(d, c->outcome_words),
	                    pd_claim_money(d, c->cost), low ? low : "?",
	                    pd_claim_money(d, c->cost_high), a->currency,
	                    c->unit);
}

static void say_cost(pd_doc *d, pd_block *list, const pd_claim_answer *a)
{
	pd_buf b;

	if (a->cost_refusal) {
		pd_doc_define(d, list, "Cost",
		              pd_say_whole(d, a->cost_refusal));
		return;
	}
	if (isnan(a->price_more) || a->n_costs == 0)
		return;
	pd_buf_init(&b);
	for (size_t i = 0; i < a->n_costs; i++)
		pd_buf_print(&b, "%s%s", i ? " " : "",
		             pd_claim_cost_text(d, a, &a->cost[i]));
	pd_doc_define(d, list, "Cost of a gain", pd_doc_take(d, &b));
}

void pd_claim_summary(pd_doc *d, const pd_claim_answer *a)
{
	pd_block *list;

	pd_doc_heading(d, 2, "worth", "What the claim is worth here");
	list = pd_doc_definitions(d);
	say_print(d, list, a);
	say_comparator(d, list, a);
	say_here(d, list, a);
	say_study(d, list, a);
	say_trial(d, list, a);
	say_cost(d, list, a);
}
