/* compose_alike.c - how alike two levels are, and what weights make of it. */
#include "report/compose_parts.h"
#include "report/compose_words.h"
#include "report/figure_alike.h"

#include <math.h>

static const char *decimals(pd_doc *d, double x)
{
	return isfinite(x) ? pd_say_fixed(d, x, 2) : NULL;
}

static const char *unrecorded(pd_doc *d, const pd_weighing *w)
{
	return pd_doc_print(
	    d, "Something not recorded would have to go with the level and with "
	    "the result by a ratio of %s each, beyond what is weighed for, to "
	    "explain the weighed effect away, and of %s to move its interval to "
	    "no effect.", decimals(d, w->evalue), decimals(d, w->evalue_limit));
}

/* Beyond 0.1 before and after, of those that have a spread. */
static const char *described(pd_doc *d, const pd_weighing *w)
{
	size_t n = 0, before = 0, after = 0;

	for (size_t i = 0; i < w->n_alike; i++) {
		n += isfinite(w->alike[i].before) && isfinite(w->alike[i].after);
		before += fabs(w->alike[i].before) > 0.1;
		after += fabs(w->alike[i].after) > 0.1;
	}
	return pd_doc_print(
	    d,
	    "One row a column known beforehand: a ring is the difference between "
	    "the two levels before weighting, a square the same after it, in "
	    "standard deviations (SD). The thick upright line is no difference, "
	    "the shaded band reaches 0.1 to either side; an arrow means that a "
	    "difference lies past the axis. Beyond the band: %zu of %zu before, "
	    "%zu after.",
	    before, n, after);
}

static void figure(pd_doc *d, const pd_weighing *w, const pd_table *t,
                   const char *first, const char *second)
{
	const char *axis = pd_doc_print(d, "%s less %s, SD", first, second);

	if (pd_text_width(axis, 13) > 240)
		axis = "first level less second, SD";
	pd_figure *f = pd_doc_figure(
	    d, "How alike the two levels are, before and after weighting",
	    described(d, w), pd_figure_alike(d->arena, w, axis, false),
	    pd_figure_alike(d->arena, w, axis, true));

	if (f && t)
		f->table = t->number;
}

void pd_part_alike(pd_doc *d, const pd_weighing *w, const char *first,
                   const char *second)
{
	const pd_cell_column column[] = {
		{ "Held equal", NULL, false },
		{ first, NULL, true },
		{ second, NULL, true },
		{ "Difference before", "SD", true },
		{ "Difference after", "SD", true },
	};
	pd_table *t = pd_doc_table(d, "How alike the two levels are, before and "
	                           "after weighting", 5, column,
	                           "no spread to measure by");

	for (size_t i = 0; i < w->n_alike; i++) {
		const pd_alike *b = &w->alike[i];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, b->name);
		cell[1] = pd_say_short(d, b->first);
		cell[2] = pd_say_short(d, b->second);
		cell[3] = decimals(d, b->before);
		cell[4] = decimals(d, b->after);
	}
	pd_doc_table_note(d, t, "Means of results, or shares with a word. "
	                        "Differences within 0.1 standard deviations are "
	                        "taken as balanced; overlap weights bring those "
	                        "in the model of the chances to 0.");
	if (isfinite(w->evalue) && isfinite(w->evalue_limit))
		pd_doc_table_note(d, t, unrecorded(d, w));
	figure(d, w, t, first, second);
}
