/*
 * claim_cost.c - what an extra million nucleated cells or thousand colonies
 * costs a case: extra price over extra yield, with the interval of the effect
 * seen here. Where that interval holds no gain there is no price.
 */
#include "plan/claim_own.h"

#include <math.h>
#include <string.h>

/*
 * gain = B (r - 1), B a case's yield with the usual technique. Limits of ln
 * gain = ln B + ln(r - 1) by recovering the variances from the limits of both
 * (Zou & Donner 2008, Stat. Med. 27, 1693-1702), B and r taken as independent:
 *   low = v - sqrt((ln B - ln B_low)^2 + (ln(r - 1) - ln(r_low - 1))^2).
 */
static void limits(pd_claim_cost *to, const pd_effect *e)
{
	double base = log(to->base), v = log(e->value - 1);
	double b_low = base - log(to->base_low);
	double b_high = log(to->base_high) - base;
	double low = v - log(e->low - 1), high = log(e->high - 1) - v;

	to->gain_low = exp(base + v - sqrt(b_low * b_low + low * low));
	to->gain_high = exp(base + v + sqrt(b_high * b_high + high * high));
}

static void price_of(pd_claim_cost *to, const pd_effect *e, double price)
{
	to->gain = to->base * (e->value - 1);
	to->no_gain = !(e->low > 1);
	if (!to->no_gain) {
		limits(to, e);
		to->cost = price / to->gain;
		to->cost_low = price / to->gain_high;
		to->cost_high = price / to->gain_low;
		return;
	}
	to->gain_low = to->base * (e->low - 1);
	to->gain_high = to->base * (e->high - 1);
	to->cost = NAN;
	to->cost_low = to->gain_high > 0 ? price / to->gain_high : INFINITY;
	to->cost_high = INFINITY;
}

static void cost_of(struct claim *c, const pd_answer *a, const char *words,
                    const char *unit, double per_unit, pd_claim_cost *to)
{
	const pd_claim_file *f = c->file;
	bool by_ml = strcmp(f->question->judge, "concentration") == 0;
	double ml = by_ml ? to->ml : 1;

	to->outcome_words = words;
	to->unit = unit;
	if (a->refusal || a->n_effects == 0 || a->n_levels < 2) {
		to->refusal = a->refusal ? a->refusal : "no effect was estimated";
		return;
	}
	const pd_level *usual = &a->levels[1];

	if (!(usual->centre_low > 0) || !(ml > 0)) {
		to->refusal = !(ml > 0) ? "the mL of a case are not recorded"
		                        : "too few patients for the yield now";
		return;
	}
	to->base = usual->centre * ml / per_unit;
	to->base_low = usual->centre_low * ml / per_unit;
	to->base_high = usual->centre_high * ml / per_unit;
	price_of(to, &a->effect[0], c->a->price_more);
}

pd_status pd_claim_costs(struct claim *c, pd_error *err)
{
	static const struct {
		const char *outcome, *words, *unit;
		double per_unit;
	} known[] = {
		{ "tnc", "nucleated cells", "million nucleated cells", 1 },
		{ "cfu_f", "colony-forming units (CFU-F)", "thousand colonies",
		  1000 },
	};
	pd_claim_answer *a = c->a;
	const pd_claim_file *f = c->file;
	const pd_question *q = f->question;
	double ml = isnan(f->ml_per_case) ? a->cost[0].ml : f->ml_per_case;

	(void)err;
	a->currency = f->currency ? f->currency : "units of money";
	if (isnan(f->arm[0].price) || !a->review.n_answers)
		return PD_OK;
	a->price_more = f->units_per_case *
	                (f->arm[0].price -
	                 (isnan(f->arm[1].price) ? 0 : f->arm[1].price));
	if (!(a->price_more > 0)) {
		a->cost_refusal = "the device costs no more than what it stands "
		                  "for, so a gain has no price";
		return PD_OK;
	}
	if (strcmp(q->judge, "concentration") != 0 &&
	    !(strcmp(q->judge, "yield") == 0 && q->grain == PD_BY_CASE)) {
		a->cost_refusal = "judge the claim by concentration or by yield "
		                  "per case: from a prevalence or a part of a "
		                  "case no yield of a case follows";
		return PD_OK;
	}
	for (size_t i = 0; i < 2; i++) {
		for (size_t k = 0; k < a->review.n_answers; k++) {
			const pd_answer *b = &a->review.answer[k];
			bool own = k == 0 && strcmp(q->outcome,
			                            known[i].outcome) == 0;

			if (!own && strcmp(b->name, known[i].outcome) != 0)
				continue;
			pd_claim_cost *to = &a->cost[a->n_costs++];

			to->ml = ml;
			cost_of(c, b, known[i].words, known[i].unit,
			        known[i].per_unit, to);
			break;
		}
	}
	return PD_OK;
}
