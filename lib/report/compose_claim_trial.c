/*
 * compose_claim_trial.c - what the printed study could show, a fair trial in
 * this clinic with its allocation list, and what a gain costs.
 */
#include "report/compose_claim.h"

#include <math.h>

/* --- the printed study --------------------------------------------------- */

/* A chance in per cent, never rounded up to 100. */
static const char *chance(pd_doc *d, double p)
{
	return isnan(p) ? NULL
	                : pd_say_fixed(d, fmin(floor(100 * p + 0.5), 99), 0);
}

void pd_claim_study_section(pd_doc *d, const pd_claim_answer *a)
{
	const pd_cell_column column[] = {
		{ "Print read as", NULL, false },
		{ a->paired ? "SD of a pair's difference" : "SD of a result",
		  "natural log", true },
		{ "Found 4 times in 5 from", NULL, true },
		{ "Chance to find the smallest ratio that matters", "%", true },
	};
	bool borrowed = false;

	pd_doc_heading(d, 2, "study", "What the printed study could show");
	if (!a->n_patients[0] || a->n_readings == 0) {
		pd_doc_paragraph(d, PD_PLAIN, a->n_readings == 0
		    ? "There is no claimed ratio."
		    : "The number of patients is not printed.");
		return;
	}
	pd_table *t = pd_doc_table(d, "Smallest true ratio found 4 times in 5",
	                           4, column, "no spread is printed, or no "
	                                      "margin declared");

	for (size_t i = 0; i < a->n_readings; i++) {
		const pd_claim_reading *r = &a->reading[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		borrowed = borrowed || r->sd_borrowed;
		cell[0] = pd_say_upper(d, r->words);
		cell[1] = isnan(r->sd) ? NULL
		          : pd_doc_print(d, "%s%s", pd_say_fixed(d, r->sd, 2),
		                         r->sd_borrowed ? " (this clinic's)" : "");
		cell[2] = pd_say_fixed(d, r->detectable, 2);
		cell[3] = chance(d, r->power_margin);
	}
	pd_doc_table_note(d, t, pd_doc_print(
	    d, "Exact power of the two-sided t test of logs at %s. The same "
	    "holds for losses: a ratio of 1 over the number.",
	    pd_say_fixed(d, 1 - a->level, 2)));
	if (borrowed)
		pd_doc_table_note(d, t, a->paired
		    ? "This clinic's: the print gives no spread, that between "
		      "two sides of a patient here stands in for it."
		    : "This clinic's: the print gives no spread, that between "
		      "single results of different patients here stands in for "
		      "it.");
	if (!isnan(a->exact_p))
		pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
		    d, "The smallest two-sided P that an exact test of %s can "
		    "give is %s, whatever is seen.",
		    a->paired
		        ? pd_doc_print(d, "%zu pairs", a->n_patients[0])
		        : pd_doc_print(d, "%zu and %zu patients",
		                       a->n_patients[0], a->n_patients[1]),
		    a->exact_p >= 0.0001 ? pd_say_fixed(d, a->exact_p, 4)
		                         : "below .0001"));
}

/* --- the trial ----------------------------------------------------------- */

static void part_table(pd_doc *d, const pd_claim_trial *t)
{
	const pd_cell_column column[] = {
		{ "Spread", NULL, false },
		{ "SD, natural log scale", NULL, true },
	};
	pd_table *p = pd_doc_table(d, "Where the spread of ordinary draws comes "
	                           "from", 2, column, "not estimated");

	for (size_t i = 0; i < t->n_parts; i++) {
		const char **cell = pd_doc_row(d, p, NULL);

		if (!cell)
			return;
		cell[0] = t->part[i];
		cell[1] = pd_say_fixed(d, t->part_sd[i], 3);
	}
	pd_doc_table_note(d, p, pd_doc_print(
	    d, "%s results of %s patients drawn the usual way, the claim's "
	    "adjusters held equal.", pd_say_count(d, t->n_rows),
	    pd_say_count(d, t->n_patients)));
}

static void size_table(pd_doc *d, const pd_claim_trial *t)
{
	const pd_cell_column column[] = {
		{ "Aim", NULL, false },
		{ pd_doc_print(d, "Patients for a power of %s",
		               pd_say_fixed(d, t->power, 2)), NULL, true },
		{ "Power then", NULL, true },
		{ "Power with one fewer", NULL, true },
		{ "Patients for 0.90", NULL, true },
		{ "Patients if the spread is at its upper limit", NULL, true },
	};
	pd_table *p = pd_doc_table(d, "Patients of a trial paired by side", 6,
	                           column, "no size is enough, or no smaller "
	                                   "one exists");

	for (size_t i = 0; i < t->n_sizes; i++) {
		const pd_claim_size *s = &t->size[i];
		const char **cell = pd_doc_row(d, p, NULL);

		if (!cell)
			return;
		cell[0] = pd_say_upper(d, s->aim);
		cell[1] = pd_claim_count(d, s->n);
		cell[2] = pd_say_fixed(d, s->power, 4);
		cell[3] = pd_say_fixed(d, s->power_before, 4);
		cell[4] = pd_claim_count(d, s->n_more);
		cell[5] = pd_claim_count(d, s->n_wide);
		if (s->none)
			pd_doc_table_note(d, p, pd_say_whole(d, s->none));
	}
	pd_doc_table_note(d, p, "Exact, for t tests of the log ratio. Patients "
	                        "with a result on both sides; add those who will "
	                        "lack one.");
}

static void allocation(pd_doc *d, const pd_claim_trial *t)
{
	const pd_cell_column column[] = {
		{ "Patient", NULL, true },      { "Block", NULL, true },
		{ "Left side", NULL, false },   { "Right side", NULL, false },
		{ "Drawn first", NULL, false },
	};

	if (!t->n_list)
		return;
	pd_doc_heading(d, 3, NULL, "Allocation list");
	pd_doc_paragraph(d, PD_PLAIN, pd_say_whole(d, t->list_words));
	pd_table *p = pd_doc_table(d, "Which side gets the device, and which is "
	                           "drawn first", 5, column, "none");

	for (size_t i = 0; i < t->n_list; i++) {
		const pd_claim_patient *k = &t->list[i];
		const char **cell = pd_doc_row(d, p, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_print(d, "%u", k->number);
		cell[1] = pd_doc_print(d, "%u", k->block);
		cell[2] = k->device_left ? "device" : "usual";
		cell[3] = k->device_left ? "usual" : "device";
		cell[4] = k->left_first ? "left" : "right";
	}
}

static void blinding(pd_doc *d)
{
	static const char *const lines[] = {
		"The list is kept by somebody who neither draws nor counts, and "
		"a patient's line is opened after consent.",
		"Whoever draws cannot be blinded. Whoever counts can: samples go "
		"to the laboratory under numbers that do not tell the side's "
		"instrument, both sides of a patient in one run by one method "
		"version.",
		"Both sides get the same mL a pull, the same number of sites and "
		"pulls, the same syringe, anticoagulant and time to the "
		"laboratory.",
		"A side that gave no sample stays in the list with its reason.",
		"The margin and the number of looks are written down before the "
		"first patient.",
		"Both sides are punctured: the trial itself costs the patient "
		"pain and blood. Consent, ethical review, device instructions "
		"and local rules come first.",
	};
	pd_block *box = pd_doc_box(d, PD_NOTE, "To keep it fair");

	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
		pd_doc_item(d, box, lines[i]);
}

void pd_claim_trial_section(pd_doc *d, const pd_claim_answer *a)
{
	const pd_claim_trial *t = &a->trial;

	pd_doc_heading(d, 2, "trial", "A fair trial here");
	if (t->refusal) {
		pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
		    d, "Cannot be sized: %s", pd_say_stop(d, t->refusal)));
		if (t->n_parts)
			part_table(d, t);
		return;
	}
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
	    d, "Each patient is drawn on both sides, one with the device and one "
	    "as usual, %u site%s a side and %u pull%s a site. The difference of "
	    "the two logs is expected to have a standard deviation of %s (%s to "
	    "%s).", t->sites_per_side, t->sites_per_side == 1 ? "" : "s",
	    t->pulls_per_site, t->pulls_per_site == 1 ? "" : "s",
	    pd_say_fixed(d, t->sd, 2), pd_say_fixed(d, t->sd_low, 2),
	    pd_say_fixed(d, t->sd_high, 2)));
	pd_doc_paragraph(d, PD_QUIET, pd_doc_print(
	    d, "In %s cases that had both sides drawn the usual way the sides "
	    "differed with a standard deviation of %s (%s to %s), whatever number "
	    "of pulls each had; the limits above carry that uncertainty over.",
	    pd_say_count(d, t->n_both), pd_say_fixed(d, t->sd_both, 2),
	    pd_say_fixed(d, t->sd_both_low, 2),
	    pd_say_fixed(d, t->sd_both_high, 2)));
	part_table(d, t);
	if (t->n_sizes)
		size_table(d, t);
	blinding(d);
	allocation(d, t);
}

/* --- cost ---------------------------------------------------------------- */

static const char *span(pd_doc *d, double x, double low, double high)
{
	const char *v = pd_claim_money(d, x), *l = pd_claim_money(d, low);
	const char *h = pd_claim_money(d, high);

	if (v && l && h)
		return pd_doc_print(d, "%s (%s to %s)", v, l, h);
	return v;
}

void pd_claim_cost_section(pd_doc *d, const pd_claim_answer *a)
{
	const pd_cell_column column[] = {
		{ "Outcome", NULL, false },
		{ "Drawn a case", "mL", true },
		{ "A case now", NULL, true },
		{ "More with the device", NULL, true },
		{ pd_doc_print(d, "Cost of an extra unit, %s",
		               a->currency ? a->currency : ""), NULL, true },
		{ "Unit", NULL, false },
	};

	if (isnan(a->price_more))
		return;
	pd_doc_heading(d, 2, "cost", "What a gain costs");
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
	    d, "The device costs %s %s more a case.",
	    pd_claim_money(d, a->price_more), a->currency));
	if (a->cost_refusal) {
		pd_doc_paragraph(d, PD_PLAIN, pd_say_whole(d, a->cost_refusal));
		return;
	}
	for (size_t i = 0; i < a->n_costs; i++)
		pd_doc_paragraph(d, PD_PLAIN,
		                 pd_claim_cost_text(d, a, &a->cost[i]));
	pd_table *t = pd_doc_table(d, "Extra yield and its price", 6, column,
	                           "no price: the interval includes no gain, or "
	                           "nothing was estimated");

	for (size_t i = 0; i < a->n_costs; i++) {
		const pd_claim_cost *c = &a->cost[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = c->outcome_words;
		cell[5] = c->unit;
		if (c->refusal)
			continue;
		cell[1] = pd_claim_money(d, c->ml);
		cell[2] = span(d, c->base, c->base_low, c->base_high);
		cell[3] = span(d, c->gain, c->gain_low, c->gain_high);
		cell[4] = c->no_gain ? NULL
		                     : span(d, c->cost, c->cost_low,
		                            c->cost_high);
	}
	pd_doc_table_note(d, t, "A case now: geometric mean with the usual "
	                        "instrument times the mL of a case (median). The "
	                        "same mL are taken for the device. Where only first "
	                        "pulls are judged a case holds less than that, and "
	                        "a gain costs more. More cells are no benefit to a "
	                        "patient by themselves.");
}
