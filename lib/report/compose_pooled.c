/*
 * compose_pooled.c - printed ratios, their pool and the clinic's own ratio
 * beside it, as a document.
 */
#include "report/compose.h"
#include "report/compose_parts.h"

#include <math.h>

/* Up to here a range for a further comparison covers less than it says
 * (docs/coverage.md). */
enum { MANY_SOURCES = 10 };

static const char *ratio(pd_doc *d, const pd_pooled_answer *a, double value,
                         double low, double high, bool with_level)
{
	pd_span s = { PD_SPAN_RATIO, value, low, high, a->level };
	pd_buf b;

	pd_buf_init(&b);
	pd_number_span(&b, &s, with_level);
	return pd_doc_take(d, &b);
}

static const char *of_log(pd_doc *d, const pd_pooled_answer *a,
                          const pd_estimate *e, bool with_level)
{
	return ratio(d, a, exp(e->value), exp(e->low), exp(e->high),
	             with_level);
}

static void lead(pd_doc *d, const pd_pooled_answer *a)
{
	if (a->refusal) {
		pd_doc_paragraph(d, PD_LEAD,
		                 pd_doc_print(d, "Not pooled. Why: %s",
		                              pd_say_stop(d, a->refusal)));
		return;
	}
	pd_doc_paragraph(
	    d, PD_LEAD,
	    pd_doc_print(d, "%s against %s, pooled from %s sources%s: ratio %s. "
	                 "A further such comparison would be expected between "
	                 "%s and %s.", pd_say_upper(d, a->first), a->second,
	                 pd_say_count(d, a->n_pooled + a->house_pooled),
	                 a->house_pooled ? ", this clinic among them" : "",
	                 of_log(d, a, &a->pooled, true),
	                 pd_say_fixed(d, exp(a->predict_low), 2),
	                 pd_say_fixed(d, exp(a->predict_high), 2)));
}

/* Where the clinic's own ratio lies. */
static void house(pd_doc *d, const pd_pooled_answer *a)
{
	if (a->house_refusal)
		pd_doc_paragraph(
		    d, PD_NOTE,
		    pd_doc_print(d, "This clinic's own ratio ('%s') cannot stand "
		                 "beside it: %s", a->house_name,
		                 pd_say_stop(d, a->house_refusal)));
	if (!a->has_house)
		return;
	double v = a->house.value;
	bool inside = v >= a->predict_low && v <= a->predict_high;

	pd_doc_paragraph(
	    d, PD_LEAD,
	    pd_doc_print(d, "This clinic's own ratio (%s): %s.%s",
	                 a->house_words, of_log(d, a, &a->house, true),
	                 a->refusal || a->house_pooled ? ""
	                 : inside
	                     ? " It lies where a further comparison would be "
	                       "expected."
	                     : " It lies outside of where a further comparison "
	                       "would be expected: look for what differs here "
	                       "before trusting either."));
}

static const char *weight(pd_doc *d, double w)
{
	return isnan(w) ? NULL : pd_say_fixed(d, 100 * w, 1);
}

static void source_table(pd_doc *d, const pd_pooled_answer *a)
{
	const pd_cell_column column[] = {
		{ "Source", NULL, false },
		{ "Ratio, with the limits printed", NULL, true },
		{ "Patients", NULL, true },
		{ "Weight", "%", true },
		{ "Design and remarks", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "Printed ratios", 5, column,
	                           "not printed, or not in the pool");
	bool turned = false;

	for (size_t k = 0; k < a->n_rows; k++) {
		const pd_pooled_row *r = &a->row[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		turned = turned || r->turned;
		cell[0] = pd_doc_print(d, "%s%s", r->source,
		                       r->turned ? " (turned)" : "");
		cell[1] = ratio(d, a, r->value, r->low, r->high, false);
		cell[2] = pd_say_fixed(d, r->n, 0);
		cell[3] = weight(d, r->weight);
		cell[4] = pd_doc_print(
		    d, "%s%s%s%s%s", r->design ? r->design : "",
		    r->design && r->note ? "; " : "", r->note ? r->note : "",
		    r->left_out ? (r->design || r->note ? "; not pooled: "
		                                        : "not pooled: ")
		                : "",
		    r->left_out ? r->left_out : "");
		if (!*cell[4])
			cell[4] = NULL;
	}
	if (turned)
		pd_doc_table_note(d, t,
		                  "Turned: printed the other way round; ratio "
		                  "and limits are one over the printed ones.");
}

static void add_bar(pd_doc *d, const pd_pooled_answer *a, pd_bars *b,
                    const char *label, double value, double low, double high,
                    pd_verdict v)
{
	pd_bar *bar = &b->bar[b->n++];

	*bar = (pd_bar){ .label = label,
		         .number = ratio(d, a, value, low, high, false),
		         .less = "less", .more = "more", .words = "",
		         .value = value, .low = low, .high = high,
		         .margin_low = NAN, .margin_high = NAN, .verdict = v,
		         .neutral = true };
}

static void forest(pd_doc *d, const pd_pooled_answer *a)
{
	pd_bars *b = PD_NEW(d->arena, pd_bars, 1);

	if (b)
		b->bar = PD_NEW(d->arena, pd_bar, a->n_rows + 3);
	if (!b || !b->bar) {
		d->failed = true;
		return;
	}
	b->log = true;
	b->axis_words = pd_doc_print(d, "ratio, %s over %s, logarithmic axis",
	                             a->first, a->second);
	for (size_t k = 0; k < a->n_rows; k++)
		if (!a->row[k].left_out)
			add_bar(d, a, b, a->row[k].source, a->row[k].value,
			        a->row[k].low, a->row[k].high, PD_NOT_SETTLED);
	if (a->has_house)
		add_bar(d, a, b, "This clinic", exp(a->house.value),
		        exp(a->house.low), exp(a->house.high), PD_NOT_SETTLED);
	if (!a->refusal) {
		add_bar(d, a, b, "Pooled", exp(a->pooled.value),
		        exp(a->pooled.low), exp(a->pooled.high), PD_NO_MATTER);
		add_bar(d, a, b, "A further comparison", exp(a->pooled.value),
		        exp(a->predict_low), exp(a->predict_high),
		        PD_NO_MATTER);
	}
	if (b->n == 0)
		return;
	pd_bars_scale(b);
	pd_figure *f = pd_doc_figure(
	    d, "Printed ratios and their pool",
	    "One row a source: the sign is the ratio, the line its interval, the "
	    "thick upright line no effect. Filled squares: the pool, and the range "
	    "in which a further comparison would be expected.",
	    pd_figure_forest(d->arena, b, false),
	    pd_figure_forest(d->arena, b, true));

	if (!f)
		return;
	f->bars = b;
	f->table = d->n_tables;
}

static void details(pd_doc *d, const pd_pooled_answer *a)
{
	pd_block *list = pd_doc_definitions(d);

	pd_doc_define(d, list, "Judged",
	              pd_doc_print(d, "%s: %s", a->outcome_words,
	                           a->judge_words));
	if (a->refusal)
		return;
	pd_doc_define(
	    d, list, "How",
	    "random effects: each source has its own true ratio; spread between "
	    "sources by restricted maximum likelihood, interval by Hartung and "
	    "Knapp's rule with Student's t (the normal law where that is not "
	    "defined)");
	pd_doc_define(
	    d, list, "If all sources had one true ratio",
	    ratio(d, a, exp(a->common), exp(a->common_low),
	          exp(a->common_high), true));
	pd_doc_define(
	    d, list, "Spread between sources",
	    pd_doc_print(d, "SD %s on the natural log scale, limits %s to %s; "
	                 "%s%% of the scatter is more than chance; P for one "
	                 "true ratio %s", pd_say_short(d, a->tau),
	                 pd_say_short(d, a->tau_low),
	                 pd_say_short(d, a->tau_high), pd_say_fixed(d, a->i2, 0),
	                 pd_say_p(d, a->q_p)));
}

static void cautions(pd_doc *d, const pd_pooled_answer *a)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "Before using this");

	pd_doc_item(d, box,
	            "Printed comparisons differ in patients, volumes and "
	            "counting; those that found nothing are printed less often.");
	if (!a->refusal && a->n_pooled + a->house_pooled <= MANY_SOURCES)
		pd_doc_item(d, box,
		            "With ten sources or fewer the range of a further "
		            "comparison is poorly known and tends to be too "
		            "narrow: read the limits of the spread between "
		            "sources.");
	pd_doc_item(d, box,
	            "Cell numbers are not a patient's outcome, and no pool says "
	            "what to do for one patient. Local codes, device instructions "
	            "and licensed clinical judgement come first.");
}

pd_status pd_compose_pooled(const pd_pooled_answer *a, pd_doc **out,
                            pd_error *err)
{
	pd_doc *d = pd_doc_new("Printed ratios together", "en");
	pd_block *list;

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "Printed ratios together");
	if (a->context.plan_name)
		pd_part_clinic(d, &a->context);
	pd_doc_heading(d, 2, "answer",
	               pd_doc_print(d, "%s against %s",
	                            pd_say_upper(d, a->first), a->second));
	lead(d, a);
	house(d, a);
	cautions(d, a);
	pd_doc_page_end(d);
	source_table(d, a);
	forest(d, a);
	details(d, a);
	pd_doc_heading(d, 2, "file", "The file");
	list = pd_doc_definitions(d);
	pd_doc_define(d, list, "Printed ratios", a->file);
	pd_doc_define(d, list, "SHA-256 of the file", a->file_sha256);
	if (a->context.plan_name)
		pd_part_sources(d, &a->context);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
