/*
 * compose_claim_tables.c - the print rebuilt, the clinic's ordinary practice
 * beside it, and the effect here beside the claim.
 */
#include "report/compose_claim.h"

#include <math.h>

static const char *level_text(pd_doc *d, const pd_claim_answer *a)
{
	pd_answer like = { .level = a->level };

	return pd_say_level(d, &like);
}

/* --- the print ----------------------------------------------------------- */

static void arm_table(pd_doc *d, const pd_claim_answer *a)
{
	static const char *const who[2] = { "Device", "Comparator" };
	size_t n_centres = a->arm[0].n_centres;
	pd_cell_column column[7] = {
		{ "Arm", NULL, false },  { "As printed", NULL, false },
		{ "Material", NULL, false }, { "Patients", NULL, true },
		{ "Drawn", NULL, false },
	};

	for (size_t k = 0; k < n_centres; k++)
		column[5 + k] = (pd_cell_column){
			n_centres == 1
			    ? pd_doc_print(d, "Geometric mean (%s CI)",
			                   level_text(d, a))
			    : pd_doc_print(d, "Geometric mean (%s CI), %s",
			                   level_text(d, a),
			                   a->arm[0].centre_words[k]),
			pd_say_unit(d, a->unit), true
		};
	pd_table *t = pd_doc_table(d, "What is printed", 5 + n_centres, column,
	                           "not printed");

	for (int k = 0; k < 2; k++) {
		const pd_claim_arm *m = &a->arm[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_print(d, "%s: %s", who[k], m->name);
		cell[1] = m->printed;
		cell[2] = m->material;
		cell[3] = a->n_patients[k]
		              ? pd_say_count(d, a->n_patients[k]) : NULL;
		cell[4] = m->draw;
		for (size_t i = 0; i < m->n_centres && i < n_centres; i++)
			cell[5 + i] = pd_say_centre(d, m->centre[i],
			                            m->centre_low[i],
			                            m->centre_high[i]);
	}
}

static void reading_table(pd_doc *d, const pd_claim_answer *a)
{
	const pd_cell_column column[] = {
		{ "What the print can mean", NULL, false },
		{ pd_doc_print(d, "Ratio (%s CI)", level_text(d, a)), NULL,
		  true },
		{ "What the interval rests on", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "The claim as a ratio, device over "
	                           "comparator", 3, column, "not estimable");

	for (size_t i = 0; i < a->n_readings; i++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_say_upper(d, a->reading[i].words);
		cell[1] = pd_claim_ratio_text(d, &a->reading[i].claim, a->level,
		                              false);
		cell[2] = a->reading[i].doubt ? a->reading[i].doubt
		                              : "the printed numbers";
	}
}

/* The spreads that the readings imply, beside that of this clinic: no choice
 * is made, but one of them may not be credible. */
static void spreads(pd_doc *d, const pd_claim_answer *a)
{
	pd_buf b;

	if (a->arm[0].n_centres < 2 || a->paired || !(a->trial.sd_result > 0))
		return;
	pd_buf_init(&b);
	pd_buf_add(&b, "The readings imply these standard deviations of single "
	               "results, natural log:");
	for (size_t i = 0; i < a->n_readings; i++)
		if (!isnan(a->reading[i].sd) && !a->reading[i].sd_borrowed)
			pd_buf_print(&b, " %s (%s),",
			             pd_say_fixed(d, a->reading[i].sd, 2),
			             a->reading[i].words);
	pd_buf_print(&b, " and here they have %s. A spread far from that is a "
	             "reason to ask the maker, not a proof of either reading.",
	             pd_say_fixed(d, a->trial.sd_result, 2));
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_take(d, &b));
}

void pd_claim_print_section(pd_doc *d, const pd_claim_answer *a)
{
	pd_doc_heading(d, 2, "print", "The print, rebuilt");
	if (a->refusal)
		pd_doc_paragraph(d, PD_LEAD, pd_doc_print(
		    d, "No ratio can be made of these numbers: %s",
		    pd_say_stop(d, a->refusal)));
	if (a->wording)
		pd_doc_paragraph(d, PD_PLAIN, a->wording);
	arm_table(d, a);
	if (a->n_readings)
		reading_table(d, a);
	spreads(d, a);
	if (a->unequal)
		pd_doc_paragraph(d, PD_NOTE, pd_doc_print(
		    d, "%s. Smaller draws are richer per mL whatever the "
		    "needle.%s", a->unequal,
		    a->volume_words
		        ? pd_doc_print(d, " By this clinic's own draws %s alone "
		                       "goes with a ratio of %s (the section on "
		                       "it is below); %s is what that leaves of "
		                       "the claim.", a->volume_words,
		                       pd_claim_ratio_text(d, &a->volume,
		                                           a->level, true),
		                       a->n_readings
		                           ? pd_say_fixed(
		                                 d, a->reading[0].claim.value /
		                                        a->volume.value, 2)
		                           : "nothing")
		        : ""));
}

/* --- ordinary practice --------------------------------------------------- */

static void usual_row(pd_doc *d, pd_table *t, const pd_claim_answer *a,
                      const pd_claim_usual *u)
{
	const char **cell = pd_doc_row(d, t, NULL);

	if (!cell)
		return;
	cell[0] = u->version;
	cell[1] = pd_say_count(d, u->n_patients);
	cell[2] = pd_say_count(d, u->n_rows);
	if (u->refusal)
		return;
	cell[3] = pd_say_centre(d, u->centre, u->low, u->high);
	cell[4] = pd_doc_print(d, "%s to %s", pd_say_short(d, u->patient_low),
	                       pd_say_short(d, u->patient_high));
	(void)a;
}

static void usual_table(pd_doc *d, const pd_claim_answer *a)
{
	const char *unit = pd_say_unit(d, a->unit);
	const pd_cell_column column[] = {
		{ "Laboratory method version", NULL, false },
		{ "Patients", NULL, true },
		{ "Results", NULL, true },
		{ pd_doc_print(d, "Geometric mean (%s CI)", level_text(d, a)),
		  unit, true },
		{ "9 of 10 patients", unit, true },
	};
	pd_table *t = pd_doc_table(d, "Ordinary practice here, drawn as the "
	                           "comparator was", 5, column,
	                           "not estimated, see the notes");

	for (size_t i = 0; i < a->n_usuals; i++)
		usual_row(d, t, a, &a->usual[i]);
	for (size_t i = 0; i < a->n_usuals; i++)
		if (a->usual[i].refusal)
			pd_doc_table_note(d, t, pd_doc_print(
			    d, "%s: %s", a->usual[i].version,
			    pd_say_stop(d, a->usual[i].refusal)));
	pd_doc_table_note(d, t, "Mixed model of logs with age, patients as the "
	                        "units; 9 of 10 patients: 5th to 95th of a "
	                        "hundred patients' own means.");
}

static void comparator_table(pd_doc *d, const pd_claim_answer *a)
{
	const pd_cell_column column[] = {
		{ "Laboratory method version", NULL, false },
		{ "Print read as", NULL, false },
		{ pd_doc_print(d, "Comparator over ordinary practice (%s CI)",
		               level_text(d, a)), NULL, true },
		{ "Patients here below the comparator", "%", true },
		{ "The comparator is", NULL, false },
		{ pd_doc_print(d, "Printed device arm over ordinary practice "
		               "(%s CI)", level_text(d, a)), NULL, true },
	};
	pd_table *t = pd_doc_table(d, "The printed arms beside ordinary "
	                           "practice", 6, column, "not estimable");

	for (size_t i = 0; i < a->n_usuals; i++)
		for (size_t k = 0; !a->usual[i].refusal &&
		                   k < a->arm[1].n_centres; k++) {
			const pd_claim_usual *u = &a->usual[i];
			const char **cell = pd_doc_row(d, t, NULL);

			if (!cell)
				return;
			cell[0] = u->version;
			cell[1] = a->arm[1].centre_words[k];
			cell[2] = pd_claim_ratio_text(d, &u->comparator[k],
			                              a->level, false);
			cell[3] = pd_say_fixed(d, 100 * u->share_below[k], 0);
			cell[4] = u->comparator[k].verdict == PD_WORSE
			              ? "weak: below ordinary practice"
			          : u->comparator[k].verdict == PD_BETTER
			              ? "above ordinary practice"
			          : u->comparator[k].verdict == PD_NO_MATTER
			              ? "as ordinary practice, within the margin"
			              : "not settled";
			cell[5] = pd_claim_ratio_text(d, &u->device[k], a->level,
			                              false);
		}
	pd_doc_table_note(d, t, "Differences of logs with the errors of print "
	                        "and clinic. Two laboratories lie between the "
	                        "two levels: read this as a question to the "
	                        "maker, not as a measurement.");
}

void pd_claim_usual_section(pd_doc *d, const pd_claim_answer *a)
{
	size_t weak, judged;

	pd_doc_heading(d, 2, "usual", "Is the comparator worse than what is "
	                              "ordinary here?");
	if (a->n_usuals == 0) {
		pd_doc_paragraph(d, PD_PLAIN,
		                 a->here_refusal
		                     ? pd_say_whole(d, a->here_refusal)
		                     : "Not asked.");
		return;
	}
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
	    d, "Draws of this clinic taken as ordinary practice: %s.%s%s%s",
	    a->usual_rows,
	    isnan(a->usual_age)
	        ? "" : pd_doc_print(d, " Geometric means are those at the "
	                            "printed age of %g.", a->usual_age),
	    a->unmatched ? " Not matched, because it is not printed: " : "",
	    a->unmatched ? pd_say_stop(d, a->unmatched) : ""));
	usual_table(d, a);
	pd_claim_comparator(a, &weak, &judged);
	if (judged)
		comparator_table(d, a);
	else if (a->arm[1].n_centres == 0)
		pd_doc_paragraph(d, PD_NOTE,
		                 "The comparator's numbers are not printed, so "
		                 "whether it was a weak one cannot be judged. Ask "
		                 "for them.");
}

/* --- here ---------------------------------------------------------------- */

static void against_table(pd_doc *d, const pd_claim_answer *a)
{
	const pd_effect *e = &a->here->effect[0];
	const char *level = level_text(d, a);
	const pd_cell_column column[] = {
		{ "Claim read as", NULL, false },
		{ pd_doc_print(d, "Claimed ratio (%s CI)", level), NULL, true },
		{ pd_doc_print(d, "Ratio here (%s CI)", level), NULL, true },
		{ pd_doc_print(d, "Here over claim (%s CI)", level), NULL,
		  true },
		{ "P", NULL, true },
		{ "The effect here is", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "The effect here against the claim", 6,
	                           column, "not estimable");

	for (size_t i = 0; i < a->n_readings; i++) {
		const pd_claim_reading *r = &a->reading[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_say_upper(d, r->words);
		cell[1] = pd_claim_ratio_text(d, &r->claim, a->level, false);
		cell[2] = pd_say_span(d, a->here, e->value, e->low, e->high,
		                      false);
		cell[3] = pd_claim_ratio_text(d, &r->against, a->level, false);
		cell[4] = pd_say_p(d, r->against.log.p);
		cell[5] = r->against.verdict == PD_WORSE    ? "less than claimed"
		          : r->against.verdict == PD_BETTER ? "more than claimed"
		          : r->against.verdict == PD_NO_MATTER
		              ? "as claimed, within the margin"
		              : "not settled";
	}
	pd_doc_table_note(d, t, "Difference of the two logs with both errors; "
	                        "where the claim prints none, with the error "
	                        "here alone. P: against equal ratios.");
}

static void weighted(pd_doc *d, const pd_claim_answer *a)
{
	const pd_weighing *w = &a->weighted.by;

	pd_doc_heading(d, 3, NULL, "A second look by overlap weights");
	if (w->refusal) {
		pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
		    d, "Not done: %s", pd_say_stop(d, w->refusal)));
		return;
	}
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
	    d, "Draws that could as well have been made with the other "
	    "instrument weigh most. Ratio %s, from %s patients with the device "
	    "and %s with the usual one, worth %s and %s of equal weight.%s%s",
	    pd_claim_ratio_text(d, &a->weighted.ratio, a->level, true),
	    pd_say_count(d, w->n_patients[0]), pd_say_count(d, w->n_patients[1]),
	    pd_say_short(d, w->effective[0]), pd_say_short(d, w->effective[1]),
	    w->left_out ? " " : "",
	    w->left_out ? pd_say_whole(d, w->left_out) : ""));
	pd_part_alike(d, w, "Device", "Usual");
}

void pd_claim_here_section(pd_doc *d, const pd_claim_answer *a)
{
	pd_doc_heading(d, 2, "here", "The effect here against the claim");
	if (!a->here) {
		pd_doc_paragraph(d, PD_PLAIN, pd_say_whole(d, a->here_refusal));
		return;
	}
	if (a->n_readings)
		against_table(d, a);
	if (a->weighted_tried)
		weighted(d, a);
	else
		pd_doc_paragraph(d, PD_PLAIN, "Both instruments were used inside "
		                 "the same unit, so no weights are needed.");
}
