/*
 * compose_dishes.c - do the dishes of one sample agree, quarter by quarter?
 */
#include "report/compose_parts.h"

#include <math.h>

static const char *share(pd_doc *d, double value, double low, double high)
{
	if (isnan(value))
		return NULL;
	return pd_doc_print(d, "%s (%s to %s)", pd_say_fixed(d, value, 1),
	                    pd_say_fixed(d, low, 1), pd_say_fixed(d, high, 1));
}

static const char *level_words(pd_doc *d, const pd_dish_watch *w)
{
	return pd_doc_print(d, "%g%%", 100 * w->level);
}

/* More than fair dishes let fail? */
static const char *against_chance(const pd_dish_watch *w)
{
	if (w->low > 100 * w->at)
		return "That is more than chance explains: dilution, spreading "
		       "or reading differ between dishes of one sample.";
	return "That is no more than chance explains.";
}

static const char *between_dishes(pd_doc *d, const pd_dish_watch *w)
{
	if (isnan(w->cv))
		return "";
	if (!(w->cv > 0))
		return " Over all samples dishes vary no more than counts do.";
	return pd_doc_print(d, " Over all samples dishes vary by a coefficient "
	                       "of variation of %s%% beyond counting error.",
	                    pd_say_fixed(d, w->cv, 1));
}

static const char *quarters_out(pd_doc *d, const pd_dish_watch *w)
{
	size_t out = 0;

	for (size_t k = 0; k < w->n; k++)
		out += w->row[k].stands_out;
	if (w->n_quarters < 2)
		return "There is one quarter only: nothing says whether it is "
		       "stable.";
	if (!out)
		return pd_doc_print(d, "No quarter stands out: none of %s has "
		                       "more uneven samples than the others by "
		                       "more than chance; a small change can "
		                       "go unseen.",
		                    pd_say_count(d, w->n_quarters));
	return pd_doc_print(d, "Not stable: %s of %s quarters %s more uneven "
	                       "samples than the others; see the table.",
	                    pd_say_count(d, out),
	                    pd_say_count(d, w->n_quarters),
	                    out == 1 ? "has" : "have");
}

static void lead(pd_doc *d, const pd_dish_watch *w)
{
	pd_doc_paragraph(
	    d, PD_PLAIN,
	    pd_doc_print(
	        d, "In %s of %s samples (%s%%; exact %s limits %s%% to %s%%) the "
	        "dishes differ more than counting explains (P below .001). Of "
	        "dishes that differ by counting alone 1 sample in 1000 would, "
	        "or fewer. %s%s", pd_say_count(d, w->n_failing),
	        pd_say_count(d, w->n_samples), pd_say_fixed(d, w->share, 2),
	        level_words(d, w), pd_say_fixed(d, w->low, 2),
	        pd_say_fixed(d, w->high, 2), against_chance(w),
	        between_dishes(d, w)));
	pd_doc_paragraph(d, PD_PLAIN, quarters_out(d, w));
}

static void row(pd_doc *d, pd_table *t, const pd_dish_quarter *r,
                const char *group)
{
	const char **cell = pd_doc_row(d, t, group);

	if (!cell)
		return;
	cell[0] = r->quarter ? r->quarter : "all";
	cell[1] = pd_say_count(d, r->n_samples);
	cell[2] = pd_say_count(d, r->n_dishes);
	cell[3] = r->cv > 0 ? pd_say_fixed(d, r->cv, 1)
	          : isnan(r->cv) ? NULL : "none seen";
	cell[4] = pd_say_count(d, r->n_failing);
	cell[5] = share(d, r->share, r->low, r->high);
	cell[6] = r->stands_out ? "stands out" : NULL;
}

static void notes(pd_doc *d, pd_table *t, const pd_dish_watch *w)
{
	pd_doc_table_note(
	    d, t,
	    "CV beyond counting: coefficient of variation between dishes of one "
	    "sample, pooled over samples, counting error taken off; none seen: "
	    "they vary no more than counts do. Uneven: samples whose index of "
	    "dispersion has a P below .001; limits of their share are exact.");
	pd_doc_table_note(
	    d, t,
	    "Stands out: more uneven samples than in all other quarters "
	    "together (Fisher's exact test, one side, allowing for the number "
	    "of quarters). All cultures of the clinic, of both materials and "
	    "of pools, whatever draws are watched above.");
	if (w->n_single || w->n_empty || w->n_cut)
		pd_doc_table_note(
		    d, t,
		    pd_doc_print(d, "Not in the table: %s sample%s with fewer "
		                 "than two counted dishes, %s without a colony; "
		                 "%s dish%s without a number (too many to "
		                 "count, or a limit).",
		                 pd_say_count(d, w->n_single),
		                 w->n_single == 1 ? "" : "s",
		                 pd_say_count(d, w->n_empty),
		                 pd_say_count(d, w->n_cut),
		                 w->n_cut == 1 ? "" : "es"));
}

static void table(pd_doc *d, const pd_dish_watch *w)
{
	const pd_cell_column column[] = {
		{ "Quarter", NULL, false },
		{ "Samples", NULL, true },
		{ "Dishes", NULL, true },
		{ "CV beyond counting", "%", true },
		{ "Uneven", NULL, true },
		{ pd_doc_print(d, "Share uneven (%s CI)", level_words(d, w)),
		  "%", true },
		{ "Noticed", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "Dishes of one sample, by method version "
	                              "and quarter", 7, column, "nothing");
	const char *version = NULL;

	for (size_t k = 0; k < w->n; k++) {
		const pd_dish_quarter *r = &w->row[k];

		row(d, t, r, version == r->version ? NULL
		             : pd_doc_print(d, "Method version %s",
		                            pd_doc_text(d, r->version)));
		version = r->version;
	}
	notes(d, t, w);
}

void pd_part_dishes(pd_doc *d, const pd_dish_watch *w)
{
	pd_doc_heading(d, 2, "dishes", "Do the dishes of one sample agree?");
	if (!w->n_samples) {
		pd_doc_paragraph(d, PD_PLAIN,
		                 "Not known: no sample has two counted dishes "
		                 "with a colony on them.");
		return;
	}
	lead(d, w);
	table(d, w);
}
