/* compose_claim.c - a claim as a document: the first page, then what stands
 * behind each of its sentences. */
#include "report/compose.h"
#include "report/compose_claim.h"

#include <math.h>

/* --- all ratios on one axis ---------------------------------------------- */

static void add_bar(pd_doc *d, pd_bars *b, const pd_claim_answer *a,
                    const char *label, const pd_claim_ratio *r,
                    const char *words)
{
	pd_bar *to = &b->bar[b->n];

	if (!(r->value > 0) || !label)
		return;
	b->n++;
	to->label = label;
	to->number = pd_claim_ratio_text(d, r, a->level, false);
	to->less = "less";
	to->more = "more";
	to->words = words;
	to->value = r->value;
	to->low = isnan(r->low) ? r->value : r->low;
	to->high = isnan(r->high) ? r->value : r->high;
	to->margin_low = isnan(a->margin) ? NAN : a->margin;
	to->margin_high = isnan(a->margin) ? NAN : 1 / a->margin;
	to->verdict = r->verdict;
	to->neutral = true;
}

static pd_claim_ratio as_ratio(const pd_effect *e)
{
	return (pd_claim_ratio){ e->log, e->value, e->low, e->high, e->verdict };
}

static pd_bars *make_bars(pd_doc *d, const pd_claim_answer *a)
{
	pd_bars *b = PD_NEW(d->arena, pd_bars, 1);
	size_t room = a->n_readings + 3 + 2 * a->n_usuals;

	if (b)
		b->bar = PD_NEW(d->arena, pd_bar, room + 1);
	if (!b || !b->bar) {
		d->failed = true;
		return NULL;
	}
	for (size_t i = 0; i < a->n_readings; i++)
		add_bar(d, b, a, pd_doc_print(d, "Claim: %s",
		                              a->reading[i].words),
		        &a->reading[i].claim, "as printed");
	if (a->volume_words)
		add_bar(d, b, a, pd_doc_print(d, "Here: %s alone",
		                              a->volume_words),
		        &a->volume, "this clinic");
	if (a->here) {
		pd_claim_ratio r = as_ratio(&a->here->effect[0]);

		add_bar(d, b, a, "Here: the device's effect", &r,
		        pd_say_verdict(a->here, r.verdict));
	}
	if (a->weighted_tried && !a->weighted.by.refusal)
		add_bar(d, b, a, "Here, by overlap weights",
		        &a->weighted.ratio, "a second look");
	for (size_t i = 0; i < a->n_usuals; i++)
		for (size_t k = 0; !a->usual[i].refusal &&
		                   k < a->arm[1].n_centres; k++)
			add_bar(d, b, a,
			        pd_doc_print(d, "Printed comparator over "
			                     "ordinary practice, %s%s%s",
			                     a->usual[i].version,
			                     a->arm[1].n_centres > 1 ? ", " : "",
			                     a->arm[1].n_centres > 1
			                         ? a->arm[1].centre_words[k]
			                         : ""),
			        &a->usual[i].comparator[k],
			        a->usual[i].comparator[k].verdict == PD_WORSE
			            ? "weak" : "");
	b->log = true;
	b->axis_words = "ratio, logarithmic axis";
	pd_bars_scale(b);
	return b->n ? b : NULL;
}

static void figure(pd_doc *d, const pd_claim_answer *a)
{
	const pd_cell_column column[] = {
		{ "Ratio of", NULL, false },
		{ "Ratio (interval)", NULL, true },
	};
	pd_bars *b = make_bars(d, a);

	if (!b)
		return;
	pd_doc_heading(d, 2, "scale", "Claim and clinic on one scale");
	pd_figure *f = pd_doc_figure(
	    d, "Ratios of the claim and of this clinic",
	    "One row a ratio: the sign is the estimate, the line its interval, "
	    "the thick upright line no effect, the shaded band the margin inside "
	    "which a difference does not change practice. A sign without a line: "
	    "nothing printed says how uncertain it is.",
	    pd_figure_forest(d->arena, b, false),
	    pd_figure_forest(d->arena, b, true));

	if (f) {
		f->bars = b;
		f->table = d->n_tables + 1;
	}
	pd_table *t = pd_doc_table(d, "The ratios of the figure", 2, column,
	                           "not estimable");

	for (size_t i = 0; i < b->n; i++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = b->bar[i].label;
		cell[1] = b->bar[i].number;
	}
	pd_doc_table_note(d, t, pd_doc_print(
	    d, "Intervals at %s.", pd_say_level(d, &(pd_answer){
	        .level = a->level })));
}

/* --- the document -------------------------------------------------------- */

static void intro(pd_doc *d, const pd_claim_answer *a)
{
	pd_doc_paragraph(
	    d, PD_QUIET,
	    pd_doc_print(d, "Claim file %s%s%s. Judged: %s, %s.", a->name,
	                 a->source ? "; source: " : "",
	                 a->source ? a->source : "",
	                 a->outcome_words ? a->outcome_words : "",
	                 a->judge_words));
}

static void claim_cautions(pd_doc *d, const pd_claim_answer *a)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "Cautions of this claim");

	for (size_t i = 0; i < a->n_cautions; i++)
		pd_doc_item(d, box, pd_say_whole(d, a->caution[i]));
	pd_doc_item(d, box, pd_say_harm(d, &a->review));
}

pd_status pd_compose_claim(const pd_claim_answer *a, pd_doc **out,
                           pd_error *err)
{
	*out = NULL;
	pd_doc *d = pd_doc_new(a->title, "en");

	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", a->title);
	pd_part_clinic(d, &a->review);
	intro(d, a);
	pd_claim_summary(d, a);
	claim_cautions(d, a);
	pd_part_short_cautions(d);
	pd_doc_page_end(d);
	figure(d, a);
	pd_claim_print_section(d, a);
	pd_claim_usual_section(d, a);
	pd_claim_here_section(d, a);
	pd_claim_study_section(d, a);
	pd_claim_trial_section(d, a);
	pd_claim_cost_section(d, a);
	for (size_t i = 0; i < a->review.n_answers; i++)
		pd_part_question(d, &a->review, i,
		                 i == 0 && a->asked ? "The effect here in full"
		                                    : NULL);
	pd_part_sources(d, &a->review);
	pd_part_cautions(d, &a->review, a->review.n_answers);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
