/*
 * compose_changes.c - this review beside the ones before it: verdicts that
 * moved and why, what is open and about when it may be settled, drift.
 */
#include "base/changes.h"
#include "report/compose_parts.h"

#include <math.h>

/* --- since the last reading ------------------------------------------------ */

static bool has_moved(const pd_moved *m)
{
	return m->now != m->then;
}

/* "better": a verdict's word inside a sentence. */
static const char *word(pd_doc *d, const pd_answer *a, pd_verdict v)
{
	const char *text = pd_say_verdict(a, v);

	return pd_doc_print(d, "%c%s", text[0] - 'A' + 'a', text + 1);
}

static size_t count_moved(const pd_changes *c)
{
	size_t n = 0;

	for (size_t i = 0; i < c->n_moved; i++)
		n += has_moved(&c->moved[i]);
	return n;
}

static const char *plural(size_t n)
{
	return n == 1 ? "" : "s";
}

static void new_questions(pd_doc *d, const pd_changes *c, pd_buf *b)
{
	if (!c->n_new)
		return;
	pd_buf_print(b, " %s question%s had no earlier reading on other data",
	             pd_say_count(d, c->n_new), plural(c->n_new));
	if (c->n_reworded)
		pd_buf_print(b, ", %s of them read before in other words",
		             pd_say_count(d, c->n_reworded));
	pd_buf_char(b, '.');
}

void pd_part_moved(pd_doc *d, const pd_review *r)
{
	const pd_changes *c = r->changes;
	size_t n = c ? count_moved(c) : 0;
	pd_buf b;

	if (!c || !c->n_moved)
		return;
	pd_buf_init(&b);
	pd_buf_print(&b, "Since the last reading %s of %s verdict%s moved",
	             n ? pd_say_count(d, n) : "none",
	             pd_say_count(d, c->n_moved), plural(c->n_moved));
	for (size_t i = 0, k = 0; i < c->n_moved; i++) {
		const pd_moved *m = &c->moved[i];

		if (!has_moved(m))
			continue;
		/* once a question, however many of its effects moved */
		if (k != m->answer + 1)
			pd_buf_print(&b, "%sQ%zu", k ? ", " : ": ",
			             m->answer + 1);
		k = m->answer + 1;
	}
	pd_buf_char(&b, '.');
	new_questions(d, c, &b);
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_take(d, &b));
}

/* What lies between the two readings, as far as the ledger can tell. */
static const char *why(pd_doc *d, const pd_answer *a, const pd_moved *m)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_print(&b, "%s file%s loaded since", pd_say_count(d, m->n_loads),
	             plural(m->n_loads));
	if (m->n_corrections)
		pd_buf_print(&b, ", %s of them a correction of earlier rows",
		             pd_say_count(d, m->n_corrections));
	if (!m->refused && m->n_patients_now >= m->n_patients)
		pd_buf_print(&b, "; %s more patient%s",
		             pd_say_count(d, m->n_patients_now - m->n_patients),
		             plural(m->n_patients_now - m->n_patients));
	else if (!m->refused)
		pd_buf_print(&b, "; %s fewer patient%s",
		             pd_say_count(d, m->n_patients - m->n_patients_now),
		             plural(m->n_patients - m->n_patients_now));
	if (m->by_looks) {
		const pd_effect *e = &a->effect[m->effect];

		pd_buf_print(&b, "; read once, today's interval would be %s: "
		             "it is the repeated reading that decides",
		             pd_say_span(d, a, e->value, e->single_low,
		                         e->single_high, false));
	}
	return pd_doc_take(d, &b);
}

/* The question's words; which of its effects, where it has several. */
static const char *named(pd_doc *d, const pd_answer *a, const pd_effect *e)
{
	const char *title = a->title ? a->title : a->name;

	return e && a->n_effects > 1
	           ? pd_doc_print(d, "%s (%s)", title, pd_say_label(d, a, e))
	           : title;
}

static void moved_item(pd_doc *d, const pd_review *r, const pd_moved *m,
                       pd_block *list)
{
	const pd_answer *a = &r->answer[m->answer];
	const pd_effect *e = m->refused ? NULL : &a->effect[m->effect];
	const char *today;

	if (m->refused)
		today = pd_doc_print(d, "no answer today: %s",
		                     a->refusal ? a->refusal
		                                : "no effect could be estimated");
	else
		today = pd_doc_print(d, "%s today, %s",
		                     word(d, a, m->now),
		                     pd_say_span(d, a, e->value, e->low,
		                                 e->high, false));
	pd_doc_item(d, list,
	            pd_doc_print(d, "Q%zu, %s: %s on %s, %s; %s. %s.",
	                         m->answer + 1, named(d, a, e),
	                         word(d, a, m->then), m->date,
	                         pd_say_span(d, a, m->value, m->low, m->high,
	                                     false),
	                         today,
	                         pd_say_upper(d, why(d, a, m))));
}

static const char *unit_of(const pd_answer *a)
{
	return a->scale == PD_RATIO ? "ratio" : "points";
}

static void reading_row(pd_doc *d, pd_table *t, const char *group,
                        const pd_answer *a, const char *date, size_t n,
                        const char *number, pd_verdict v)
{
	const char **cell = pd_doc_row(d, t, group);

	if (!cell)
		return;
	cell[0] = date;
	cell[1] = pd_say_count(d, n);
	cell[2] = number ? pd_doc_print(d, "%s %s", unit_of(a), number) : NULL;
	cell[3] = pd_say_verdict(a, v);
}

static void readings_table(pd_doc *d, const pd_review *r, const pd_changes *c)
{
	static const pd_cell_column column[] = {
		{ "Read on", NULL, false },
		{ "Patients", NULL, true },
		{ "Effect", NULL, true },
		{ "Interval alone", NULL, false },
	};
	pd_table *t = pd_doc_table(d, "The last reading and this one", 4,
	                           column, "no effect could be estimated");

	for (size_t i = 0; i < c->n_moved; i++) {
		const pd_moved *m = &c->moved[i];
		const pd_answer *a = &r->answer[m->answer];
		const pd_effect *e = m->refused ? NULL : &a->effect[m->effect];
		const char *group = pd_doc_print(d, "Q%zu %s", m->answer + 1,
		                                 named(d, a, e));

		reading_row(d, t, group, a, m->date, m->n_patients,
		            pd_say_span(d, a, m->value, m->low, m->high, false),
		            m->then);
		reading_row(d, t, NULL, a, r->date, m->n_patients_now,
		            e ? pd_say_span(d, a, e->value, e->low, e->high,
		                            false)
		              : NULL,
		            m->now);
	}
	pd_doc_table_note(d, t,
	                  "Words are of the printed interval and the margin "
	                  "alone, as the ledger keeps the interval of each "
	                  "reading; the verdicts above also allow for the "
	                  "other tests. Of a question with several effects "
	                  "each is compared with itself.");
}

/* Files since the oldest of the last readings. */
static const char *loads(pd_doc *d, const pd_changes *c)
{
	size_t n = 0, fixed = 0;

	for (size_t i = 0; i < c->n_moved; i++) {
		n = c->moved[i].n_loads > n ? c->moved[i].n_loads : n;
		fixed = c->moved[i].n_corrections > fixed
		            ? c->moved[i].n_corrections
		            : fixed;
	}
	return pd_doc_print(
	    d, "%s file%s loaded since%s.", pd_say_count(d, n),
	    n == 1 ? " was" : "s were",
	    fixed ? pd_doc_print(d, ", %s of them to correct earlier rows",
	                         pd_say_count(d, fixed))
	          : "");
}

static void since_last(pd_doc *d, const pd_review *r, const pd_changes *c)
{
	pd_block *list;

	pd_doc_heading(d, 2, "changed", "What changed since the last review");
	if (!c->n_moved) {
		pd_doc_paragraph(
		    d, PD_PLAIN,
		    c->n_reworded
		        ? "No question was read in these words on other data "
		          "before; some were in other words, and count as new."
		        : "No question of this plan was read on other data "
		          "before: there is nothing to hold it against yet.");
		return;
	}
	size_t n = count_moved(c);

	pd_doc_paragraph(
	    d, PD_LEAD,
	    pd_doc_print(d, "%s of %s verdict%s moved. %s",
	                 n ? pd_say_count(d, n) : "None",
	                 pd_say_count(d, c->n_moved), plural(c->n_moved),
	                 loads(d, c)));
	if (n) {
		list = pd_doc_list(d);
		for (size_t i = 0; i < c->n_moved; i++)
			if (has_moved(&c->moved[i]))
				moved_item(d, r, &c->moved[i], list);
	}
	readings_table(d, r, c);
}

/* --- drift ------------------------------------------------------------------- */

static const char *drift_words(pd_doc *d, const pd_drift *x)
{
	pd_span s = { x->scale == PD_RATIO ? PD_SPAN_RATIO
	                                   : PD_SPAN_DIFFERENCE,
		      x->latest.change, x->latest.low, x->latest.high,
		      x->level };
	const char *what = pd_say_upper(d, x->outcome_words);
	pd_buf b;

	if (x->refusal)
		return pd_doc_print(d, "%s: cannot be watched. Why: %s", what,
		                    pd_say_stop(d, x->refusal));
	if (!x->latest.date)
		return pd_doc_print(d, "%s: no %sshift since the baseline ended "
		                    "on %s%s.", what,
		                    x->n_passed ? "lasting " : "",
		                    x->base_until,
		                    x->n_passed
		                        ? pd_doc_print(d, "; %s passed",
		                                       pd_say_count(
		                                           d, x->n_passed))
		                        : "");
	pd_buf_init(&b);
	pd_buf_print(&b, "%s: %s shift%s since the baseline ended on %s", what,
	             pd_say_count(d, x->n_signals), plural(x->n_signals),
	             x->base_until);
	if (x->n_passed)
		pd_buf_print(&b, ", of which %s passed",
		             pd_say_count(d, x->n_passed));
	pd_buf_print(&b, ". The latest that %s was found on %s and likely began "
	             "about %s: ", x->latest.state == PD_SHIFT_HELD
	                               ? "lasted" : "may last",
	             x->latest.date, x->latest.since);
	pd_number_span(&b, &s, true);
	pd_buf_print(&b, "%s.", x->scale == PD_RATIO ? " of what came before"
	                                             : " points from before");
	if (x->latest.beside)
		pd_buf_print(&b, " Beside it: %s.", x->latest.beside);
	return pd_doc_take(d, &b);
}

static void drift(pd_doc *d, const pd_changes *c)
{
	pd_block *list;

	if (!c->n_drifts)
		return;
	pd_doc_heading(d, 2, "drift", "Has the yield drifted?");
	list = pd_doc_list(d);
	for (size_t k = 0; k < c->n_drifts; k++)
		pd_doc_item(d, list, drift_words(d, &c->drift[k]));
	pd_doc_paragraph(
	    d, PD_QUIET,
	    "All cases, concentration (or percentage), age, volume and places of "
	    "the pulls held equal; one shift is counted once. A shift does not "
	    "say why: look at the laboratory, the patients and the technique of "
	    "that time, in this order. The command watch shows the charts and "
	    "how often they are wrong.");
}

/* --- what is open ------------------------------------------------------------ */

static const char *years_words(pd_doc *d, double years)
{
	pd_buf b;

	if (years < 0.5)
		return "within half a year";
	pd_buf_init(&b);
	pd_buf_add(&b, "in about ");
	pd_number_fixed(&b, years, years < 2 ? 1 : 0);
	pd_buf_add(&b, " years");
	return pd_doc_take(d, &b);
}

const char *pd_say_when(pd_doc *d, const pd_open *o)
{
	switch (o->state) {
	case PD_OPEN_AT_RATE:
		return years_words(d, o->years);
	case PD_OPEN_FAR:
		return "not within ten years";
	case PD_OPEN_BY_TESTS:
		return "held open by the other tests";
	case PD_OPEN_NO_RATE:
		break;
	}
	return "rate of patients not known";
}

/* Three figures: more would claim too much. */
static const char *rough(pd_doc *d, double n)
{
	double step = n > 1000 ? pow(10, floor(log10(n)) - 2) : 1;

	if (!isfinite(n) || n > 1e9)
		return NULL;
	return pd_say_count(d, (size_t)(ceil(n / step) * step));
}

static void open_row(pd_doc *d, const pd_review *r, const pd_open *o,
                     pd_table *t)
{
	const pd_answer *a = &r->answer[o->answer];
	const char **cell = pd_doc_row(d, t, NULL);
	bool told = o->state == PD_OPEN_AT_RATE || o->state == PD_OPEN_FAR;

	if (!cell)
		return;
	cell[0] = pd_doc_print(d, "Q%zu %s", o->answer + 1,
	                       pd_say_label(d, a, &a->effect[o->effect]));
	cell[1] = pd_say_count(d, o->n_patients);
	cell[2] = o->state == PD_OPEN_BY_TESTS ? NULL : rough(d, o->needed);
	cell[3] = told ? pd_say_short(d, o->a_year) : NULL;
	cell[4] = o->state == PD_OPEN_BY_TESTS
	              ? NULL
	              : (o->inside ? "inside the margin" : "a difference");
	cell[5] = pd_say_when(d, o);
}

static void open_questions(pd_doc *d, const pd_review *r, const pd_changes *c)
{
	static const pd_cell_column column[] = {
		{ "Not settled", NULL, false },
		{ "Patients", NULL, true },
		{ "Needed", NULL, true },
		{ "A year", NULL, true },
		{ "It would show", NULL, false },
		{ "About when", NULL, false },
	};
	pd_table *t;

	if (!c->n_open)
		return;
	pd_doc_heading(d, 2, "open", "Not settled, and about when");
	t = pd_doc_table(d, "Open questions at the present rate of patients", 6,
	                 column, "does not apply, or beyond any number");
	for (size_t k = 0; k < c->n_open; k++)
		open_row(d, r, &c->open[k], t);
	pd_doc_table_note(
	    d, t,
	    "A projection, not a promise: it takes the estimate to stay where it "
	    "is and the interval to narrow with the square root of the number of "
	    "patients. The estimate will move, so at that number the chance of "
	    "a settled answer is about one in two; where the difference is close "
	    "to nothing or to the margin it may stay open for ever. It is of the "
	    "interval alone: other tests adjusted with it can hold it open "
	    "longer.");
	pd_doc_table_note(
	    d, t,
	    "A year: new patients of the last two years, in the question's "
	    "present share of all. A planned comparison can be much quicker: "
	    "the command size tells how many it needs.");
}

/* --- read outside this plan ----------------------------------------------------- */

static void outside(pd_doc *d, const pd_changes *c)
{
	static const char *const stands[] = {
		"open: holds no effect", "above no effect", "below no effect",
		"no answer"
	};
	static const pd_cell_column column[] = {
		{ "Question", NULL, false },
		{ "Last read", NULL, false },
		{ "Readings", NULL, true },
		{ "Patients then", NULL, true },
		{ "Its interval", NULL, false },
	};
	pd_table *t;

	if (!c->n_outside)
		return;
	pd_doc_heading(d, 2, "outside", "Read here, but not in this plan");
	t = pd_doc_table(d, "Claims, and questions of other plans or given by "
	                 "options", 5, column, "");
	for (size_t k = 0; k < c->n_outside; k++) {
		const pd_outside *o = &c->outside[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, o->name);
		cell[1] = pd_doc_text(d, o->date);
		cell[2] = pd_say_count(d, o->n_readings);
		cell[3] = pd_say_count(d, o->n_patients);
		cell[4] = stands[o->state];
	}
	if (c->n_outside_all > c->n_outside)
		pd_doc_table_note(d, t, pd_doc_print(
		    d, "The newest %s of %s.", pd_say_count(d, c->n_outside),
		    pd_say_count(d, c->n_outside_all)));
	pd_doc_table_note(d, t, "Each reading is one more chance to be misled: "
	                        "a finding among many is worth less than one "
	                        "asked for beforehand. What a claim is worth is "
	                        "printed by the command claim.");
}

void pd_part_changes(pd_doc *d, const pd_review *r)
{
	if (!r->changes)
		return;
	since_last(d, r, r->changes);
	open_questions(d, r, r->changes);
	pd_part_claims(d, r);
	drift(d, r->changes);
	outside(d, r->changes);
}
