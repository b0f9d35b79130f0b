/*
 * compose_claims_kept.c - the claims held against this clinic so far: what was
 * printed, what was seen here when they were last read, what came since, and
 * about when an open one may be settled.
 */
#include "base/changes.h"
#include "report/compose_parts.h"

#include <math.h>

static const char *span(pd_doc *d, double value, double low, double high)
{
	pd_span s = { PD_SPAN_RATIO, value, low, high, NAN };
	pd_buf b;

	if (isnan(value))
		return NULL;
	pd_buf_init(&b);
	pd_number_span(&b, &s, false);
	return pd_doc_take(d, &b);
}

/* The first thing the print can mean, and how far the others reach. */
static const char *printed(pd_doc *d, const pd_claim_kept *c)
{
	const char *first = span(d, c->printed, c->printed_low,
	                         c->printed_high);

	if (!first || c->n_meanings < 2 || !(c->least < c->most))
		return first;
	return pd_doc_print(d, "%s; other readings %s to %s", first,
	                    span(d, c->least, NAN, NAN),
	                    span(d, c->most, NAN, NAN));
}

static const char *verdict(const pd_claim_kept *c)
{
	switch (c->state) {
	case PD_KEPT_NOT_ASKED:
		return "not asked of this clinic";
	case PD_KEPT_NO_ANSWER:
		return "no answer from these data";
	case PD_KEPT_OPEN:
		return "not settled";
	case PD_KEPT_SETTLED:
		break;
	}
	bool short_of = c->here_high < c->least &&
	                c->here_high < c->printed_low;

	return c->verdict == PD_WORSE ? "less with the device"
	       : c->verdict == PD_NO_MATTER
	           ? "no difference that matters"
	       : short_of ? "more with the device, but less than printed"
	                  : "more with the device";
}

static const char *since(pd_doc *d, const pd_claim_kept *c)
{
	if (!c->n_loads)
		return "nothing was loaded";
	return pd_doc_print(d, "%s file%s%s", pd_say_count(d, c->n_loads),
	                    c->n_loads == 1 ? "" : "s",
	                    c->n_corrections
	                        ? pd_doc_print(d, ", %s of them to correct",
	                                       pd_say_count(d,
	                                                    c->n_corrections))
	                        : "");
}

static void row(pd_doc *d, pd_table *t, const pd_claim_kept *c)
{
	const char **cell = pd_doc_row(d, t, NULL);
	bool open = c->state == PD_KEPT_OPEN;

	if (!cell)
		return;
	cell[0] = *c->title ? pd_doc_print(d, "%s (%s)", c->title, c->name)
	                    : pd_doc_text(d, c->name);
	cell[1] = c->n_rows > 1
	              ? pd_doc_print(d, "%s, time %s", c->date,
	                             pd_say_count(d, c->n_rows))
	              : pd_doc_text(d, c->date);
	cell[2] = printed(d, c);
	cell[3] = span(d, c->here, c->here_low, c->here_high);
	cell[4] = verdict(c);
	cell[5] = since(d, c);
	cell[6] = open ? pd_say_when(d, &c->open) : NULL;
}

static size_t count_open(const pd_changes *c)
{
	size_t n = 0;

	for (size_t k = 0; k < c->n_claims; k++)
		n += c->claim[k].state == PD_KEPT_OPEN;
	return n;
}

void pd_part_claims(pd_doc *d, const pd_review *r)
{
	static const pd_cell_column column[] = {
		{ "Claim", NULL, false },
		{ "Last read", NULL, false },
		{ "Printed", "ratio", false },
		{ "Here then", "ratio", true },
		{ "Stands", NULL, false },
		{ "Loaded since", NULL, false },
		{ "Settled about when", NULL, false },
	};
	const pd_changes *c = r->changes;
	size_t open;

	if (!c || !c->n_claims)
		return;
	open = count_open(c);
	pd_doc_heading(d, 2, "claims", "Claims held against this clinic");
	pd_doc_paragraph(
	    d, PD_LEAD,
	    !open ? "No claim waits for more draws of this clinic."
	          : pd_doc_print(d, "%s of %s claim%s %s not settled here.",
	                         pd_say_count(d, open),
	                         pd_say_count(d, c->n_claims),
	                         c->n_claims == 1 ? "" : "s",
	                         open == 1 ? "is" : "are"));
	pd_table *t = pd_doc_table(d, "Claims, as each was last read", 7,
	                           column, "not printed, not known, or not "
	                           "open");

	for (size_t k = 0; k < c->n_claims; k++)
		row(d, t, &c->claim[k]);
	pd_doc_table_note(
	    d, t, "Here then: in this clinic's own draws on that day, with the "
	          "claim file's own margin. This review does not read a claim "
	          "again: each reading costs some of what it could show. The "
	          "command claim does, worth it about when the last column "
	          "says, taken as for the open questions above. A file of "
	          "the same name takes the place of the one before; the "
	          "command history keeps both.");
}
