/*
 * compose_paper_table.c - the table of characteristics, in the style of
 * medical journals: numbers as mean (SD) or median (IQR), words as n/N (%),
 * what is missing as counts.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <math.h>
#include <string.h>

enum { MOST_NAMED = 8 }; /* small cells named one by one */
enum { MOST_DECIMALS = 2 };

const char *pd_paper_share(pd_doc *d, size_t k, size_t n)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_count(&b, k);
	pd_buf_char(&b, '/');
	pd_number_count(&b, n);
	if (n) {
		int places = n < 100 ? 0 : 1;
		double share = 100 * (double)k / (double)n;
		double least = places ? 0.05 : 0.5;

		pd_buf_add(&b, " (");
		if (k && share < least) { /* some, but none as rounded */
			pd_buf_char(&b, '<');
			share = 2 * least;
		} else if (k < n && share >= 100 - least) {
			pd_buf_char(&b, '>');
			share = 100 - 2 * least;
		}
		pd_number_fixed(&b, share, places);
		pd_buf_add(&b, "%)");
	}
	return pd_doc_take(d, &b);
}

/* Quartiles of whole numbers, but of years, take a decimal where they fall
 * between two. */
static int quartile_decimals(const pd_paper_row *r, const pd_paper_cell *c)
{
	const double x[] = { c->median, c->low, c->high };

	if (r->decimals || strcmp(r->column, "case_date") == 0)
		return r->decimals;
	for (size_t i = 0; i < 3; i++)
		if (fabs(x[i] - round(x[i])) > 1e-6 * fmax(1, fabs(x[i])))
			return 1;
	return r->decimals;
}

static const char *number(pd_doc *d, const pd_paper_row *r,
                          const pd_paper_cell *c)
{
	int places = r->skewed                     ? quartile_decimals(r, c)
	             : r->decimals < MOST_DECIMALS ? r->decimals + 1
	                                           : MOST_DECIMALS;
	pd_buf b;

	if (!c->n)
		return NULL;
	pd_buf_init(&b);
	pd_number_fixed(&b, r->skewed ? c->median : c->mean, places);
	if (r->skewed) {
		pd_buf_add(&b, " (");
		pd_number_fixed(&b, c->low, places);
		pd_buf_add(&b, " to ");
		pd_number_fixed(&b, c->high, places);
		pd_buf_char(&b, ')');
	} else if (isfinite(c->sd)) {
		pd_buf_add(&b, " (");
		pd_number_fixed(&b, c->sd, places);
		pd_buf_char(&b, ')');
	}
	return pd_doc_take(d, &b);
}

const char *pd_paper_number(pd_doc *d, const pd_paper_row *r, size_t arm)
{
	return number(d, r, &r->cell[arm]);
}

/* --- rows ---------------------------------------------------------------- */

static const char *const level_group[] = {
	"Patients, each counted once a column", "Cases (visits)",
	"Sites (entries in the bone)", "Pulls (syringes)", "Laboratory results"
};
static const char *const level_word[] = { "Patients", "Cases", "Sites", "Pulls",
	                                  "Results" };

static void count_row(pd_paper_doc *w, pd_table *t, pd_paper_level level)
{
	const pd_paper_table *c = &w->p->table;
	const char **cell = pd_doc_row(w->d, t, level_group[level]);

	if (!cell)
		return;
	cell[0] = pd_doc_print(w->d, "%s, No.", level_word[level]);
	for (size_t a = 0; a <= c->n_arms; a++)
		cell[a + 1] = pd_say_count(w->d, c->n[level][a]);
}

static const char *row_words(pd_doc *d, const pd_paper_row *r)
{
	const char *unit = r->unit ? pd_say_unit(d, r->unit) : NULL;

	if (r->category && strcmp(r->category, "yes") == 0)
		return r->name;
	if (r->category)
		return pd_doc_print(d, "%s: %s%s%s", r->name, r->category,
		                    unit ? " " : "", unit ? unit : "");
	return pd_doc_print(d, "%s%s%s, %s", r->name, unit ? ", " : "",
	                    unit ? unit : "",
	                    r->skewed ? "median (IQR)" : "mean (SD)");
}

static void value_row(pd_paper_doc *w, pd_table *t, const pd_paper_row *r)
{
	const pd_paper_table *c = &w->p->table;
	const char **cell = pd_doc_row(w->d, t, NULL);

	if (!cell)
		return;
	cell[0] = row_words(w->d, r);
	for (size_t a = 0; a <= c->n_arms; a++)
		cell[a + 1] =
		    !r->category ? number(w->d, r, &r->cell[a])
		    : r->cell[a].n
		        ? pd_paper_share(w->d, r->cell[a].count, r->cell[a].n)
		        : NULL;
	if (c->n_arms == 2)
		cell[c->n_arms + 2] = pd_say_fixed(w->d, r->difference, 2);
}

static void missing_row(pd_paper_doc *w, pd_table *t, const pd_paper_row *r)
{
	const pd_paper_table *c = &w->p->table;
	const char **cell;

	if (!r->cell[c->n_arms].missing)
		return;
	cell = pd_doc_row(w->d, t, NULL);
	if (!cell)
		return;
	cell[0] = pd_doc_print(w->d, "%s: missing, No.", r->name);
	for (size_t a = 0; a <= c->n_arms; a++)
		cell[a + 1] = pd_say_count(w->d, r->cell[a].missing);
}

/* The last row of its characteristic? */
static bool is_last(const pd_paper_table *c, size_t i)
{
	return i + 1 == c->n_rows || c->row[i + 1].first ||
	       c->row[i + 1].column != c->row[i].column;
}

static void level_rows(pd_paper_doc *w, pd_table *t, pd_paper_level level)
{
	const pd_paper_table *c = &w->p->table;

	count_row(w, t, level);
	for (size_t i = 0; i < c->n_rows; i++) {
		const pd_paper_row *r = &c->row[i];

		if (r->level != level || r->aside)
			continue;
		value_row(w, t, r);
		if (is_last(c, i))
			missing_row(w, t, r);
	}
}

/* --- the table ----------------------------------------------------------- */

static pd_table *begin(pd_paper_doc *w, const pd_answer *a)
{
	const pd_paper_table *c = &w->p->table;
	pd_cell_column column[PD_PAPER_ARMS + 3] = { { "Characteristic", NULL,
		                                       false } };
	size_t n = 1;

	for (size_t k = 0; k < c->n_arms; k++)
		column[n++] = (pd_cell_column){
			pd_say_upper(w->d, pd_say_arm(w->d, a, c->arm[k])),
			NULL, true
		};
	column[n++] =
	    (pd_cell_column){ c->n_arms ? "All" : "All draws", NULL, true };
	if (c->n_arms == 2)
		column[n++] =
		    (pd_cell_column){ "Standardised difference", NULL, true };
	return pd_doc_table(
	    w->d,
	    pd_doc_print(w->d, "Characteristics of the patients and draws%s%s",
	                 c->n_arms ? " by " : "",
	                 c->n_arms ? pd_say_parameter(w->d, a) : ""),
	    n, column, "no value, or no difference to be given");
}

static void difference_note(pd_paper_doc *w, pd_table *t)
{
	const pd_paper_table *c = &w->p->table;

	if (c->n_arms > 2)
		pd_doc_table_note(w->d, t,
		                  "Standardised differences are given between "
		                  "two columns only.");
	if (c->n_arms != 2)
		return;
	pd_doc_table_note(
	    w->d, t,
	    pd_doc_print(
	        w->d,
	        "Standardised difference: difference of means or shares "
	        "over their pooled SD, without sign, of each whole "
	        "characteristic %s%s.%s%s%s",
	        pd_paper_cite_two(w, PD_CITED_AUSTIN, PD_CITED_YANG),
	        c->no_difference ? "" : "; up to 0.10 is mostly taken as alike",
	        c->no_difference ? " Both columns are compared inside the same "
	                         : "",
	        c->no_difference ? c->within : "",
	        c->no_difference ? ", so none is given for what they share."
	                         : ""));
}

static void notes(pd_paper_doc *w, pd_table *t, const pd_answer *a)
{
	const pd_paper_table *c = &w->p->table;
	pd_buf b;

	pd_doc_table_note(
	    w->d, t,
	    pd_doc_print(w->d,
	                 "Draws used for the question \"%s\"%s%s%s. Shares "
	                 "are n/N of records with a value; IQR: quartiles, "
	                 "linear between order statistics %s. Median and IQR "
	                 "where the skewness is beyond 1, else mean and SD.",
	                 a->title ? a->title : a->name,
	                 c->no_arms ? " (not parted: " : "",
	                 c->no_arms ? c->no_arms : "", c->no_arms ? ")" : "",
	                 pd_paper_cite(w, PD_CITED_HYNDMAN)));
	pd_buf_init(&b);
	pd_buf_add(&b, "Age is that at the first case counted.");
	if (c->n_both) {
		pd_buf_char(&b, ' ');
		pd_number_count(&b, c->n_both);
		pd_buf_print(&b, c->n_both == 1
		                     ? " patient stands in more than one "
		                       "column and once under All."
		                     : " patients stand in more than one "
		                       "column and once under All.");
	}
	pd_doc_table_note(w->d, t, pd_doc_take(w->d, &b));
	difference_note(w, t);
	for (size_t i = 0; i < c->n_blank; i++)
		pd_buf_print(&b, "%s%s", i ? "; " : "Not shown: ", c->blank[i]);
	if (c->n_blank)
		pd_buf_char(&b, '.');
	pd_doc_table_note(w->d, t, pd_doc_take(w->d, &b));
	pd_doc_table_note(w->d, t,
	                  "Diagnosis, comorbidity and medication are "
	                  "not among the fields of the database; the "
	                  "author adds them.");
}

void pd_paper_characteristics(pd_paper_doc *w)
{
	const pd_paper_table *c = &w->p->table;
	const pd_answer *a = &w->p->review.answer[c->answer];

	pd_doc_heading(w->d, 2, "characteristics", "Characteristics");
	if (c->none) {
		pd_doc_paragraph(w->d, PD_NOTE,
		                 pd_doc_print(w->d, "No table: %s",
		                              pd_say_stop(w->d, c->none)));
		return;
	}
	pd_table *t = begin(w, a);

	w->characteristics = w->d->n_tables;
	for (int k = 0; k < PD_PAPER_LEVELS; k++)
		level_rows(w, t, (pd_paper_level)k);
	notes(w, t, a);
}

/* --- small cells --------------------------------------------------------- */

static bool is_small(const pd_paper *p, size_t n)
{
	return n > 0 && n < p->least;
}

static const char *cell_words(pd_paper_doc *w, const pd_paper_row *r,
                              size_t arm)
{
	const pd_paper_table *c = &w->p->table;
	const pd_answer *a = &w->p->review.answer[c->answer];

	return pd_doc_print(w->d, "%s in '%s'", row_words(w->d, r),
	                    arm < c->n_arms ? pd_say_arm(w->d, a, c->arm[arm])
	                                    : "All");
}

void pd_paper_small_cells(pd_paper_doc *w, pd_block *list)
{
	const pd_paper_table *c = &w->p->table;
	size_t n = 0;
	pd_buf b;

	pd_buf_init(&b);
	for (size_t i = 0; !c->none && i < c->n_rows; i++)
		for (size_t k = 0; !c->row[i].aside && k <= c->n_arms; k++) {
			const pd_paper_row *r = &c->row[i];
			size_t count =
			    r->category ? r->cell[k].count : r->cell[k].n;

			if (!is_small(w->p, count))
				continue;
			if (n++ < MOST_NAMED)
				pd_buf_print(&b, "%s%s", n > 1 ? "; " : "",
				             cell_words(w, r, k));
		}
	if (n > MOST_NAMED)
		pd_buf_print(&b, "; and %zu more", n - MOST_NAMED);

	const char *named = pd_doc_take(w->d, &b);

	if (n)
		pd_doc_item(
		    w->d, list,
		    pd_doc_print(w->d,
		                 "%zu cell%s of Table %u hold%s fewer than "
		                 "%zu: a person may be known by them. Join "
		                 "categories or leave them out before "
		                 "publishing: %s.",
		                 n, n == 1 ? "" : "s", w->characteristics,
		                 n == 1 ? "s" : "", w->p->least, named));
}
