/*
 * compose_paper_flow.c - what became of the records of one question, as a
 * figure and as the table with its numbers: what is left after each step, and
 * what each left out and why.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"
#include "report/figure_flow.h"

#include <string.h>

enum { MOST_DRAWN = 4 }; /* arms with a box of their own */

/* A step's words as the plan room has them, what is left, what left. */
static const struct step {
	const char *step, *title, *out;
} steps[] = {
	{ "recorded", "Recorded in the database", NULL },
	{ "with a result", "Measured: with a result",
	  "No result: not ordered, failed, blank, or of a pool" },
	{ "at a compared level", "At a compared level",
	  "Not at a compared level, or not recorded" },
	{ "with the parameter recorded", "With what is judged recorded",
	  "What is judged is not recorded" },
	{ "with every adjuster recorded", "With every adjuster recorded",
	  "An adjuster is not recorded" },
	{ "in a pair", "In a pair", "Not in a pair" },
	{ "with adverse_event recorded", "With adverse events recorded",
	  "Whether there was an adverse event is not recorded" },
	{ "the first of each patient", "The first of each patient",
	  "A later one of the same patient" },
};

static const struct step *known(const char *words)
{
	for (size_t i = 0; i < sizeof steps / sizeof *steps; i++)
		if (strcmp(steps[i].step, words) == 0)
			return &steps[i];
	return NULL;
}

static const char *title_of(pd_paper_doc *w, const pd_answer *a, size_t i)
{
	const struct step *s = known(a->flow[i].step);
	const char *words = s ? s->title : pd_say_upper(w->d, a->flow[i].step);

	if (strncmp(a->flow[i].step, "where ", 6) == 0)
		words = pd_doc_print(w->d, "Eligible: %s",
		                     w->p->question[w->p->table.answer].where);
	return i && i + 1 == a->n_flow && pd_paper_answered(a)
	           ? pd_doc_print(
	                 w->d, "Used: %s%s",
	                 pd_doc_print(w->d, "%c",
	                              words[0] >= 'A' && words[0] <= 'Z'
	                                  ? words[0] - 'A' + 'a'
	                                  : words[0]),
	                 words + 1)
	           : words;
}

static const char *reason_of(pd_paper_doc *w, const char *step,
                             const char *grain)
{
	const struct step *s = known(step);

	if (strcmp(step, "with a result") == 0 && strcmp(grain, "pull") != 0)
		return "No result, or results that do not cover every mL once";
	if (s && s->out)
		return s->out;
	if (strncmp(step, "where ", 6) == 0)
		return "Not eligible: conditions not met or not recorded";
	return pd_doc_print(w->d, "Not %s", step);
}

/* --- counts -------------------------------------------------------------- */

static void add(pd_buf *b, size_t n, const char *one, const char *many)
{
	pd_buf_add(b, b->length ? ", " : "");
	pd_number_count(b, n);
	pd_buf_print(b, " %s", n == 1 ? one : many);
}

/* "1346 patients, 1402 cases, 3876 sites, 4758 pull records"; no sites where
 * a record is a case. */
static const char *counts(pd_paper_doc *w, const pd_flow *f, const char *grain)
{
	bool site = strcmp(grain, "site") == 0,
	     kase = strcmp(grain, "case") == 0;
	pd_buf b;

	pd_buf_init(&b);
	add(&b, f->n_patients, "patient", "patients");
	add(&b, f->n_cases, "case", "cases");
	if (!kase)
		add(&b, f->n_sites, "site", "sites");
	if (!kase && !site)
		add(&b, f->n_rows, "pull record", "pull records");
	return pd_doc_take(w->d, &b);
}

static size_t less(size_t a, size_t b)
{
	return a > b ? a - b : 0;
}

static pd_flow left_out(const pd_answer *a, size_t i)
{
	const pd_flow *x = &a->flow[i - 1], *y = &a->flow[i];

	return (pd_flow){ y->step, less(x->n_rows, y->n_rows),
		          less(x->n_sites, y->n_sites),
		          less(x->n_cases, y->n_cases),
		          less(x->n_patients, y->n_patients) };
}

/* --- the figure ---------------------------------------------------------- */

static bool fill_boxes(pd_paper_doc *w, const pd_answer *a, const char *grain,
                       pd_flow_chart *c)
{
	pd_flow_box *box = PD_NEW(w->d->arena, pd_flow_box, a->n_flow + 1);

	for (size_t i = 0; box && i < a->n_flow; i++) {
		box[i].title = title_of(w, a, i);
		box[i].counts = counts(w, &a->flow[i], grain);
		if (!i)
			continue;
		pd_flow out = left_out(a, i);

		/* at case grain sites are not counted after the first step */
		if (out.n_rows || out.n_cases || out.n_patients) {
			box[i].out = reason_of(w, a->flow[i].step, grain);
			box[i].out_counts = counts(w, &out, grain);
		}
	}
	c->n = a->n_flow;
	c->box = box;
	return box != NULL;
}

static bool fill_arms(pd_paper_doc *w, const pd_answer *a, const char *grain,
                      pd_flow_chart *c)
{
	const pd_paper_table *t = &w->p->table;
	const char **name, **words;

	if (t->none || !t->n_arms || t->n_arms > MOST_DRAWN ||
	    !pd_paper_answered(a))
		return true;
	name = PD_NEW(w->d->arena, const char *, t->n_arms);
	words = PD_NEW(w->d->arena, const char *, t->n_arms);
	if (!name || !words)
		return false;
	for (size_t k = 0; k < t->n_arms; k++) {
		pd_flow f = { NULL, t->n[PD_PAPER_RESULT][k],
			      t->n[PD_PAPER_SITE][k], t->n[PD_PAPER_CASE][k],
			      t->n[PD_PAPER_PATIENT][k] };

		name[k] = pd_say_upper(w->d, pd_say_arm(w->d, a, t->arm[k]));
		words[k] = counts(w, &f, grain);
	}
	c->n_arms = t->n_arms;
	c->arm = name;
	c->arm_counts = words;
	return true;
}

static void figure(pd_paper_doc *w, const pd_answer *a, const char *grain)
{
	pd_flow_chart c = { 0 };

	if (!fill_boxes(w, a, grain, &c) || !fill_arms(w, a, grain, &c)) {
		w->d->failed = true;
		return;
	}
	pd_figure *f = pd_doc_figure(
	    w->d, "Flow of the records",
	    pd_doc_print(w->d,
	                 "From %s recorded to %s used for the question "
	                 "\"%s\". Full boxes: what is left after each step; "
	                 "dashed boxes: what was left out before it, and "
	                 "why.%s",
	                 c.box[0].counts, c.box[c.n - 1].counts,
	                 a->title ? a->title : a->name,
	                 c.n_arms ? " At the foot: what each column of the "
	                            "characteristics holds."
	                          : ""),
	    pd_figure_flow(w->d->arena, &c, false),
	    pd_figure_flow(w->d->arena, &c, true));

	if (!f)
		return;
	f->table = w->d->n_tables + 1;
	w->figure = f->number;
}

/* --- the table ----------------------------------------------------------- */

static void put(pd_doc *d, const pd_flow *f, bool sites, const char **cell)
{
	cell[0] = pd_say_count(d, f->n_patients);
	cell[1] = pd_say_count(d, f->n_cases);
	cell[2] = sites ? pd_say_count(d, f->n_sites) : NULL;
	cell[3] = pd_say_count(d, f->n_rows);
}

static void table(pd_paper_doc *w, const pd_answer *a, bool by_case)
{
	static const pd_cell_column column[] = {
		{ "Step", NULL, false },
		{ "Patients", NULL, true },
		{ "Cases", NULL, true },
		{ "Sites", NULL, true },
		{ "Records", NULL, true },
		{ "Left out: patients", NULL, true },
		{ "Left out: cases", NULL, true },
		{ "Left out: sites", NULL, true },
		{ "Left out: records", NULL, true },
	};
	pd_table *t = pd_doc_table(w->d, "Flow of the records", 9, column,
	                           "not counted at this level, or before the "
	                           "first step");

	w->flow = w->d->n_tables;
	for (size_t i = 0; i < a->n_flow; i++) {
		const char **cell = pd_doc_row(w->d, t, NULL);

		if (!cell)
			return;
		cell[0] = title_of(w, a, i);
		put(w->d, &a->flow[i], !by_case, cell + 1);
		if (i) {
			pd_flow out = left_out(a, i);

			put(w->d, &out, !by_case, cell + 5);
		}
	}
	pd_doc_table_note(
	    w->d, t,
	    "Records: pulls with each of their results, sites or "
	    "cases, as the question judges. A patient leaves with "
	    "the last record.");
}

void pd_paper_flow(pd_paper_doc *w)
{
	size_t i = w->p->table.answer;
	const pd_answer *a = &w->p->review.answer[i];
	const char *grain = w->p->question[i].grain;

	if (!a->n_flow)
		return;
	pd_doc_heading(w->d, 2, "flow", "Flow of the records");
	figure(w, a, grain);
	table(w, a, strcmp(grain, "case") == 0);
}
