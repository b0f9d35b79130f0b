/*
 * compose_paper_harvest.c - the sheet of what a report of a bone-marrow harvest
 * should say, item by item: what the data say, and of how many it is not
 * recorded. Items after the aspirate part of MIBO; the wording is our own
 * reading of them.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <string.h>

enum { MOST_WORDS = 4 }; /* of a characteristic, named one by one */

/* column: of the characteristics; field: of the dictionary, for what they do
 * not hold; outcome: brief name of a laboratory outcome, or a condition of the
 * cultures. None: the database has no place for it. */
static const struct item {
	const char *area, *words, *column, *field, *outcome;
} items[] = {
	{ "Patients", "Age", "age_y", "age_y", NULL },
	{ NULL, "Sex", "sex", "sex", NULL },
	{ NULL, "Body mass index", "bmi", "bmi", NULL },
	{ NULL, "Diagnosis and comorbidity", NULL, NULL, NULL },
	{ NULL, "Medication, anticoagulants and NSAID among it", NULL, NULL,
	  NULL },
	{ "Harvest", "Bone and landmark", "landmark", "landmark", NULL },
	{ NULL, "Side", "side_word", "side", NULL },
	{ NULL, "Position of the patient", NULL, NULL, NULL },
	{ NULL, "Guidance (landmarks, fluoroscopy, ultrasound)", NULL, NULL,
	  NULL },
	{ NULL, "Anaesthesia", NULL, NULL, NULL },
	{ NULL, "Needle geometry", "needle_geometry", "needle_geometry", NULL },
	{ NULL, "Needle gauge", "needle_gauge", "needle_gauge", NULL },
	{ NULL, "Needle, by name", "needle", "needle", NULL },
	{ NULL, "Syringe size, mL", "syringe_ml", "syringe_ml", NULL },
	{ NULL, "Entries in the bone, a case", "n_sites", NULL, NULL },
	{ NULL, "Pulls, a site", "n_aliquots", NULL, NULL },
	{ NULL,
	  "Distance to the entry before, mm (a first entry "
	  "has none)",
	  "distance_mm", "distance_mm", NULL },
	{ NULL, "Needle moves between pulls", "move", "move", NULL },
	{ NULL, "Pull style", "pull_style", "pull_style", NULL },
	{ NULL, "Volume of a pull, mL", "volume_ml", "volume_ml", NULL },
	{ NULL, "Total volume, a case, mL", "total_ml", NULL, NULL },
	{ NULL, "Anticoagulant", "anticoagulant", "anticoagulant", NULL },
	{ NULL, "Anticoagulant volume, mL", "anticoagulant_ml",
	  "anticoagulant_ml", NULL },
	{ "Processing", "Time to the laboratory, min", "time_to_lab_min",
	  "time_to_lab_min", NULL },
	{ NULL, "Temperature until processing", NULL, NULL, NULL },
	{ NULL, "Filtration", NULL, NULL, NULL },
	{ NULL, "Concentration step, volumes before and after", NULL, NULL,
	  NULL },
	{ "Characterisation of the aspirate", "Nucleated cells", NULL, NULL,
	  "TNC" },
	{ NULL, "Mononuclear cells", NULL, NULL, "MNC" },
	{ NULL, "Viability", NULL, NULL, "Viable" },
	{ NULL, "Colony-forming units (CFU-F)", NULL, NULL, "CFU-F" },
	{ NULL, "CFU-F: cells plated", NULL, NULL, "cells_plated" },
	{ NULL, "CFU-F: days in culture", NULL, NULL, "culture_days" },
	{ NULL, "CFU-F: smallest colony counted", NULL, NULL,
	  "colony_threshold" },
	{ NULL, "CD34+ cells", NULL, NULL, "CD34+" },
	{ NULL, "CD271bright CD45low cells", NULL, NULL, "CD271+" },
	{ NULL, "Platelets", NULL, NULL, "Platelets" },
	{ NULL, "Red cells", NULL, NULL, "RBC" },
	{ NULL, "Haematocrit of the aspirate", NULL, NULL, "Hct" },
	{ NULL, "Laboratory, counter and reagents (method version)",
	  "method_version", "method_version", NULL },
	{ "Delivery", "Volume and cell dose given", NULL, NULL, NULL },
	{ "Outcome at the harvest site", "Adverse events", "adverse_event",
	  "adverse_event", NULL },
	{ NULL, "Pain score", "pain_score", "pain_score", NULL },
};

static const char *const units_word[] = { "patients", "cases", "sites", "pulls",
	                                  "results" };

/* First row of a characteristic, NULL when the table has none. */
static const pd_paper_row *find_row(const pd_paper_table *t, const char *column)
{
	for (size_t i = 0; column && i < t->n_rows; i++)
		if (t->row[i].first && strcmp(t->row[i].column, column) == 0)
			return &t->row[i];
	return NULL;
}

static const pd_paper_filled *find_field(const pd_paper *p, const char *field)
{
	for (size_t i = 0; field && i < p->n_filled; i++)
		if (strcmp(p->filled[i].field, field) == 0)
			return &p->filled[i];
	return NULL;
}

/* "open-end 120/240 (50.0%), ...", the rest counted. */
static const char *words_of(pd_paper_doc *w, const pd_paper_row *r)
{
	const pd_paper_table *t = &w->p->table;
	const pd_paper_row *end = t->row + t->n_rows;
	size_t n = 0, all = t->n_arms;
	pd_buf b;

	pd_buf_init(&b);
	for (const pd_paper_row *at = r;
	     at < end && (at == r || (!at->first && at->column == r->column));
	     at++) {
		if (n++ >= MOST_WORDS)
			continue;
		pd_buf_print(
		    &b, "%s%s: %s", n > 1 ? "; " : "", at->category,
		    pd_paper_share(w->d, at->cell[all].count, at->cell[all].n));
	}
	if (n > MOST_WORDS)
		pd_buf_print(&b, "; and %zu more", n - MOST_WORDS);
	return pd_doc_take(w->d, &b);
}

static const char *not_recorded(pd_doc *d, size_t missing, size_t of,
                                const char *units)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_count(&b, missing);
	pd_buf_add(&b, " of ");
	pd_number_count(&b, of);
	pd_buf_print(&b, " %s", units);
	return pd_doc_take(d, &b);
}

static void from_row(pd_paper_doc *w, const pd_paper_row *r, const char **cell)
{
	size_t all = w->p->table.n_arms;
	const pd_paper_cell *c = &r->cell[all];

	cell[1] = r->category
	              ? words_of(w, r)
	              : pd_doc_print(w->d, "%s %s",
	                             r->skewed ? "median (IQR)" : "mean (SD)",
	                             pd_paper_number(w->d, r, all));
	cell[2] = not_recorded(w->d, c->missing, c->n + c->missing,
	                       units_word[r->level]);
}

/* Of the whole database; what a record is goes by the field's place. */
static void from_field(pd_paper_doc *w, const pd_paper_filled *f,
                       const char **cell)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, f->n ? "recorded in " : "not recorded in ");
	pd_number_count(&b, f->n ? f->n : f->of);
	pd_buf_add(&b, " records");
	cell[1] = pd_doc_take(w->d, &b);
	cell[2] =
	    not_recorded(w->d, f->of - f->n, f->of, "records of the database");
}

/* Pulls of the whole database with and without an outcome. */
static void from_outcome(pd_paper_doc *w, const pd_missing_outcome *o,
                         const char **cell)
{
	size_t with = o->n_value + o->n_limit;
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_print(&b, "a result in %s pulls",
	             pd_paper_share(w->d, with, o->n_pulls));
	if (o->n_limit) {
		pd_buf_add(&b, "; ");
		pd_number_count(&b, o->n_limit);
		pd_buf_add(&b, " of them as a limit");
	}
	if (o->n_failed) {
		pd_buf_add(&b, "; ");
		pd_number_count(&b, o->n_failed);
		pd_buf_add(&b, " failed");
	}
	if (o->n_not_ordered) {
		pd_buf_add(&b, "; ");
		pd_number_count(&b, o->n_not_ordered);
		pd_buf_add(&b, " not ordered");
	}
	cell[1] = pd_doc_take(w->d, &b);
	cell[2] = not_recorded(w->d, o->n_pulls - with, o->n_pulls,
	                       "pulls of the database");
}

static bool from_culture(pd_paper_doc *w, const char *name, const char **cell)
{
	const pd_paper *p = w->p;
	const struct {
		const char *name;
		size_t n;
	} known[] = { { "cells_plated", p->n_plated },
		      { "culture_days", p->n_days },
		      { "colony_threshold", p->n_threshold } };

	for (size_t i = 0; i < 3; i++) {
		if (strcmp(known[i].name, name) != 0)
			continue;
		cell[1] = pd_doc_print(
		    w->d, "said of %s cultures",
		    pd_paper_share(w->d, known[i].n, p->n_cultured));
		cell[2] =
		    not_recorded(w->d, p->n_cultured - known[i].n,
		                 p->n_cultured, "cultures of the database");
		return true;
	}
	return false;
}

static void from_laboratory(pd_paper_doc *w, const char *name,
                            const char **cell)
{
	for (size_t i = 0; i < w->p->n_outcomes; i++)
		if (strcmp(w->p->outcome[i].brief, name) == 0) {
			from_outcome(w, &w->p->outcome[i], cell);
			return;
		}
	if (from_culture(w, name, cell))
		return;
	cell[1] = "no result in the database";
	cell[2] =
	    not_recorded(w->d, w->p->review.n_aliquots, w->p->review.n_aliquots,
	                 "pulls of the database");
}

static void item_row(pd_paper_doc *w, pd_table *t, const struct item *it)
{
	const pd_paper_row *r =
	    w->p->table.none ? NULL : find_row(&w->p->table, it->column);
	const pd_paper_filled *f = find_field(w->p, it->field);
	const char **cell = pd_doc_row(w->d, t, it->area);

	if (!cell)
		return;
	cell[0] = it->words;
	if (r)
		from_row(w, r, cell);
	else if (f)
		from_field(w, f, cell);
	else if (it->outcome)
		from_laboratory(w, it->outcome, cell);
}

void pd_paper_harvest(pd_paper_doc *w)
{
	static const pd_cell_column column[] = {
		{ "Item", NULL, false },
		{ "What the data say", NULL, false },
		{ "Not recorded in", NULL, false },
	};

	pd_doc_heading(w->d, 2, "harvest", "Harvest sheet");
	pd_table *t = pd_doc_table(w->d,
	                           "Harvest sheet: what was recorded of "
	                           "the draws",
	                           3, column,
	                           "the database has no place for it; the "
	                           "author completes it");

	for (size_t i = 0; i < sizeof items / sizeof *items; i++)
		item_row(w, t, &items[i]);
	pd_doc_table_note(
	    w->d, t,
	    pd_doc_print(w->d,
	                 "Items after the aspirate part of MIBO %s; the "
	                 "wording is our own reading, the statement itself "
	                 "rules. Numbers are of the draws of Table 1, where it "
	                 "names the database of everything in it.",
	                 pd_paper_cite(w, PD_CITED_MIBO)));
	if (w->p->review.n_harm_cases)
		pd_doc_table_note(
		    w->d, t,
		    pd_doc_print(w->d, "%s %s",
		                 pd_say_harm(w->d, &w->p->review),
		                 pd_paper_cite(w, PD_CITED_CLOPPER)));
	else
		pd_doc_table_note(w->d, t, pd_say_harm(w->d, &w->p->review));
}
