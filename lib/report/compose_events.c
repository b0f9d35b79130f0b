/*
 * compose_events.c - adverse events at two levels: the counts with their exact
 * limits, what is not recorded, the ratio; and the gain of the same technique
 * beside them, or the events beside a gain.
 */
#include "report/compose_parts.h"

#include <math.h>

static const char *share(pd_doc *d, double x)
{
	pd_buf b;

	if (!isfinite(x))
		return NULL;
	pd_buf_init(&b);
	pd_number_fixed(&b, x, x < 10 ? 2 : 1);
	return pd_doc_take(d, &b);
}

static const char *of(pd_doc *d, size_t k, size_t n)
{
	return pd_doc_print(d, "%s of %s", pd_say_count(d, k),
	                    pd_say_count(d, n));
}

static const char *limits(pd_doc *d, const pd_event_level *l)
{
	return pd_doc_print(d, "%s (%s to %s)", share(d, l->share),
	                    share(d, l->low), share(d, l->high));
}

static void row(pd_doc *d, pd_table *t, const pd_answer *a,
                const pd_event_level *l)
{
	const char **cell = pd_doc_row(d, t, NULL);

	if (!cell)
		return;
	cell[0] = pd_say_arm(d, a, pd_doc_text(d, l->name));
	cell[1] = of(d, l->n_events, l->n);
	cell[2] = limits(d, l);
	cell[3] = pd_say_count(d, l->n_blank);
	cell[4] = pd_say_count(d, l->n_in_part);
	cell[5] = share(d, l->worst);
	cell[6] = of(d, l->n_unit_events, l->n_units);
}

static const char *ratio(pd_doc *d, const pd_answer *a)
{
	const pd_events *e = a->events;
	pd_span s = { PD_SPAN_RATIO, e->ratio, e->ratio_low, e->ratio_high,
		      a->level };
	pd_buf b;

	if (isnan(e->ratio))
		return "No event at either level: there is no ratio.";
	pd_buf_init(&b);
	pd_buf_add(&b, "Ratio of the shares: ");
	if (isfinite(e->ratio))
		pd_number_span(&b, &s, true);
	else {
		pd_buf_print(&b, "no event at the second level, so no number; "
		                 "at least ");
		pd_number_fixed(&b, e->ratio_low, 2);
		pd_buf_print(&b, " (%s limit)", pd_say_level(d, a));
	}
	pd_buf_add(&b, ", exact and unadjusted.");
	return pd_doc_take(d, &b);
}

void pd_part_events(pd_doc *d, const pd_answer *a)
{
	const pd_events *e = a->events;
	const pd_cell_column column[] = {
		{ "Level", NULL, false },
		{ "Patients with an event", NULL, true },
		{ pd_doc_print(d, "Share (exact %s limits)",
		               pd_say_level(d, a)), "%", true },
		{ "Not recorded", "patients", true },
		{ "Recorded in part", "patients", true },
		{ "Share if these were all events", "%", true },
		{ pd_doc_print(d, "Of all recorded %s", e->units), NULL, true },
	};
	pd_table *t = pd_doc_table(
	    d, pd_doc_print(d, "Adverse events by %s%s%s",
	                    pd_say_parameter(d, a), e->kinds ? ": " : "",
	                    e->kinds ? e->kinds : ""),
	    7, column, NULL);

	for (int k = 0; k < 2; k++)
		row(d, t, a, &e->level[k]);
	pd_doc_table_note(d, t, pd_doc_print(
	    d, "A patient counts once, by the first of their %s at a compared "
	    "level with the field filled. Recorded in part: no event seen, but "
	    "the field of some site is blank.", e->units));
	pd_doc_table_note(d, t, ratio(d, a));
}

/* "Q3: Better, ratio 1.37 (95% CI, 1.21 to 1.55)" of the first effect. */
static const char *one(pd_doc *d, const pd_review *r, size_t k)
{
	const pd_answer *a = &r->answer[k];
	const pd_effect *e = a->n_effects ? &a->effect[0] : NULL;
	const char *number = e ? pd_say_span(d, a, e->value, e->low, e->high,
	                                     true) : NULL;

	if (!e || a->refusal)
		return pd_doc_print(d, "Q%zu: %s", k + 1,
		                    pd_say_verdict(a, PD_NO_ANSWER));
	return pd_doc_print(
	    d, "Q%zu: %s, %s, %s %s%s", k + 1, pd_say_supported(d, a, e->verdict),
	    pd_say_label(d, a, e),
	    a->scale == PD_RATIO ? "ratio" : "difference",
	    number ? number : "not estimable",
	    a->scale == PD_RATIO ? "" : " percentage points");
}

const char *pd_say_beside(pd_doc *d, const pd_review *r, const pd_answer *a)
{
	const char *lead = a->events ? "The gain of the same technique"
	                             : "Adverse events of the same technique";
	pd_buf b;

	if (!a->n_beside)
		return a->events ? "What the same technique gains is not asked "
		                   "beside this question: put it into the plan."
		                 : NULL;
	pd_buf_init(&b);
	pd_buf_print(&b, "%s: ", lead);
	for (size_t k = 0; k < a->n_beside; k++)
		pd_buf_print(&b, "%s%s", k ? "; " : "", one(d, r, a->beside[k]));
	pd_buf_char(&b, '.');
	return pd_doc_take(d, &b);
}
