/*
 * compose_paper_effects.c - every question of the plan in one table, without
 * and with what the plan holds equal; what that is; and the other ways.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <math.h>

const char *pd_paper_margin(pd_doc *d, const pd_answer *a)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_margin_add(&b, a);
	return pd_doc_take(d, &b);
}

bool pd_paper_answered(const pd_answer *a)
{
	return !a->refusal && a->n_effects > 0;
}

static const pd_sensitivity *unadjusted_line(const pd_answer *a)
{
	for (size_t i = 0; i < a->n_sensitivity; i++)
		if (a->sensitivity[i].way == PD_SENSE_UNADJUSTED ||
		    a->sensitivity[i].way == PD_SENSE_EXACT)
			return &a->sensitivity[i];
	return NULL;
}

/* The first effect without adjusters and across patients; where the plan has
 * neither it is the plan's own. */
static const char *unadjusted(pd_doc *d, const pd_answer *a, size_t k)
{
	const pd_sensitivity *s = unadjusted_line(a);
	const pd_effect *e = &a->effect[k];

	if (s)
		return k == 0 && s->done
		           ? pd_say_span(d, a, s->value, s->low, s->high, false)
		           : NULL;
	return a->adjusters || a->used & (PD_USED_SPLIT | PD_USED_PAIRS |
	                                  PD_USED_CALENDAR)
	           ? NULL
	           : pd_say_span(d, a, e->value, e->low, e->high, false);
}

/* What of the data the answer rests on: the last step of its flow. */
static const pd_flow *used(const pd_answer *a)
{
	return a->n_flow ? &a->flow[a->n_flow - 1] : NULL;
}

static void put_counts(pd_doc *d, const pd_flow *f, const char **cell)
{
	if (!f)
		return;
	cell[0] = pd_say_count(d, f->n_patients);
	cell[1] = pd_say_count(d, f->n_cases);
	cell[2] = f->n_sites || !f->n_rows ? pd_say_count(d, f->n_sites) : NULL;
	cell[3] = pd_say_count(d, f->n_rows);
}

static const char *question_words(pd_doc *d, const pd_answer *a, size_t i)
{
	return pd_doc_print(d, "Q%zu. %s (%s)", i + 1,
	                    a->title ? a->title : a->name,
	                    pd_say_role(a->role));
}

static const char *effect_words(pd_doc *d, const pd_answer *a,
                                const pd_effect *e)
{
	const char *label = pd_say_upper(d, pd_say_label(d, a, e));

	return a->scale == PD_RATIO
	           ? label
	           : pd_doc_print(d, "%s, percentage points", label);
}

static void effect_rows(pd_paper_doc *w, pd_table *t, size_t i)
{
	const pd_answer *a = &w->p->review.answer[i];
	size_t n = pd_paper_answered(a) ? a->n_effects : 1;

	for (size_t k = 0; k < n; k++) {
		const pd_effect *e =
		    pd_paper_answered(a) ? &a->effect[k] : NULL;
		const char **cell =
		    pd_doc_row(w->d, t, k ? NULL : question_words(w->d, a, i));

		if (!cell)
			return;
		put_counts(w->d, used(a), cell + 1);
		if (!e) {
			cell[0] = "Not answered, see below";
			continue;
		}
		cell[0] = effect_words(w->d, a, e);
		cell[5] = unadjusted(w->d, a, k);
		cell[6] =
		    pd_say_span(w->d, a, e->value, e->low, e->high, false);
		cell[7] = pd_say_p(w->d, e->log.p);
		if (a->role == PD_SECONDARY || a->role == PD_EXPLORATORY)
			cell[8] = pd_say_p(w->d, e->p_adjusted);
	}
}

static void effect_notes(pd_paper_doc *w, pd_table *t)
{
	const pd_review *r = &w->p->review;
	bool looks = false;

	for (size_t i = 0; i < r->n_answers; i++)
		looks = looks || r->answer[i].looks_paid;
	pd_doc_table_note(
	    w->d, t,
	    "Effects are ratios unless percentage points are named. As "
	    "planned: inside the unit and with what the next table "
	    "names held equal. Unadjusted: across patients, nothing "
	    "held equal but the patient tree; of several effects of a "
	    "question the first.");
	pd_doc_table_note(
	    w->d, t,
	    "P: against no effect. P, adjusted: for the number of "
	    "questions of the same role (secondary: Holm; exploratory: "
	    "Benjamini-Hochberg); primary and control questions are "
	    "not adjusted.");
	if (looks)
		pd_doc_table_note(
		    w->d, t,
		    "Intervals and P of primary questions as planned "
		    "hold for repeated readings of growing data; the "
		    "unadjusted ones for a single reading.");
	pd_doc_table_note(w->d, t,
	                  "Results: rows of the analysis, a pull, a "
	                  "site or a case each as the question "
	                  "judges.");
}

static void refusals(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	pd_block *list = NULL;

	for (size_t i = 0; i < r->n_answers; i++) {
		const pd_answer *a = &r->answer[i];

		if (pd_paper_answered(a))
			continue;
		if (!list)
			list = pd_doc_box(
			    w->d, PD_NOTE,
			    "Questions of the plan without an "
			    "answer, to be reported with the reason");
		pd_doc_item(
		    w->d, list,
		    pd_doc_print(w->d, "Q%zu: %s", i + 1,
		                 a->refusal ? pd_say_stop(w->d, a->refusal)
		                            : "no effect could be estimated."));
	}
}

static void held_table(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	const pd_cell_column column[] = {
		{ "Question", NULL, false },
		{ "Judged", NULL, false },
		{ "Compared inside the same", NULL, false },
		{ "Held equal in the model", NULL, false },
	};
	pd_table *t = NULL;

	for (size_t i = 0; i < r->n_answers; i++) {
		const pd_answer *a = &r->answer[i];
		const char **cell;

		if (!pd_paper_answered(a))
			continue;
		if (!t)
			t = pd_doc_table(
			    w->d,
			    "What the estimates as planned "
			    "hold equal",
			    4, column,
			    "across patients, or nothing held equal");
		cell = t ? pd_doc_row(w->d, t, NULL) : NULL;
		if (!cell)
			return;
		cell[0] = pd_doc_print(w->d, "Q%zu", i + 1);
		cell[1] = pd_say_judged(w->d, a);
		cell[2] = a->used & (PD_USED_PAIRS | PD_USED_SPLIT)
		              ? w->p->question[i].within
		              : NULL;
		cell[3] = w->p->question[i].held;
	}
	w->held = t ? w->d->n_tables : 0;
}

void pd_paper_effects(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	const char *level = pd_say_review_level(w->d, r);
	const pd_cell_column column[] = {
		{ "Comparison", NULL, false },
		{ "Patients", NULL, true },
		{ "Cases", NULL, true },
		{ "Sites", NULL, true },
		{ "Results", NULL, true },
		{ pd_doc_print(w->d, "Unadjusted (%s CI)", level), NULL, true },
		{ pd_doc_print(w->d, "As planned (%s CI)", level), NULL, true },
		{ "P", NULL, true },
		{ "P, adjusted", NULL, true },
	};

	pd_doc_heading(w->d, 2, "estimates", "Estimates");
	pd_table *t = pd_doc_table(w->d,
	                           "Unadjusted estimates and estimates as "
	                           "planned",
	                           9, column,
	                           "not estimated, not counted at this level, "
	                           "or not adjusted");

	w->effects = w->d->n_tables;
	for (size_t i = 0; i < r->n_answers; i++)
		effect_rows(w, t, i);
	effect_notes(w, t);
	refusals(w);
	held_table(w);
}

/* --- other ways ---------------------------------------------------------- */

static bool is_main(const pd_answer *a)
{
	return a->role == PD_PRIMARY || a->role == PD_SECONDARY;
}

static void way_row(pd_paper_doc *w, pd_table *t, const char *group,
                    const pd_answer *a, const pd_sensitivity *s)
{
	const char **cell = pd_doc_row(w->d, t, group);

	if (!cell)
		return;
	cell[0] = pd_doc_text(w->d, pd_say_upper(w->d, s->name));
	if (s->done) {
		cell[1] =
		    pd_say_span(w->d, a, s->value, s->low, s->high, false);
		cell[2] = pd_say_p(w->d, s->p);
	}
	if (s->note && *s->note)
		cell[3] = pd_doc_print(w->d, s->done ? "%s" : "not done: %s",
		                       s->note);
	else if (!s->done)
		cell[3] = "not done";
}

static void question_ways(pd_paper_doc *w, pd_table *t, size_t i)
{
	const pd_answer *a = &w->p->review.answer[i];
	const pd_effect *e = &a->effect[0];
	const char **cell = pd_doc_row(
	    w->d, t,
	    pd_doc_print(w->d, "Q%zu. %s%s", i + 1, effect_words(w->d, a, e),
	                 a->n_effects > 1 ? " (first effect)" : ""));

	if (!cell)
		return;
	cell[0] = "As planned";
	cell[1] = pd_say_span(w->d, a, e->value, e->low, e->high, false);
	cell[2] = pd_say_p(w->d, e->log.p);
	if (a->looks_paid)
		cell[3] = "holds for repeated readings; the other ways for a "
		          "single one";
	for (size_t k = 0; k < a->n_sensitivity; k++)
		way_row(w, t, NULL, a, &a->sensitivity[k]);
}

void pd_paper_ways(pd_paper_doc *w)
{
	const pd_review *r = &w->p->review;
	const pd_cell_column column[] = {
		{ "Way", NULL, false },
		{ pd_doc_print(w->d, "Effect (%s CI)",
		               pd_say_review_level(w->d, r)),
		  NULL, true },
		{ "P", NULL, true },
		{ "Note", NULL, false },
	};
	bool main = false;
	pd_table *t = NULL;

	for (size_t i = 0; i < r->n_answers; i++)
		main = main || (is_main(&r->answer[i]) &&
		                pd_paper_answered(&r->answer[i]));
	for (size_t i = 0; i < r->n_answers; i++) {
		if (!pd_paper_answered(&r->answer[i]) ||
		    (main && !is_main(&r->answer[i])))
			continue;
		if (!t) {
			pd_doc_heading(w->d, 2, "sensitivity",
			               "Sensitivity analyses");
			t = pd_doc_table(w->d, "Sensitivity analyses", 4,
			                 column,
			                 "the way has none, was not "
			                 "possible, or needs no note");
			w->ways = w->d->n_tables;
		}
		question_ways(w, t, i);
	}
	if (t && main)
		pd_doc_table_note(w->d, t,
		                  "Primary and secondary questions; the other "
		                  "questions' are in the review of the plan.");
}
