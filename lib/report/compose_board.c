/*
 * compose_board.c - the first screen: one row a question with its verdict in
 * words, grouped by role, then how many tests were run and whether the
 * controls worked.
 */
#include "report/compose_parts.h"

#include <math.h>
#include <string.h>

static const struct {
	pd_role role;
	const char *title, *rule;
} groups[] = {
	{ PD_PRIMARY, "Primary questions", "each judged at the full level" },
	{ PD_SECONDARY, "Secondary questions",
	  "P adjusted together by Holm's rule" },
	{ PD_EXPLORATORY, "Exploratory questions",
	  "P adjusted together by the Benjamini-Hochberg rule; for ideas, "
	  "not for decisions" },
	{ PD_CONTROL, "Control questions",
	  "known effects that the data ought to show" },
};

static const char unsupported_words[] =
    "A control question did not show its known effect, so this \"no "
    "difference\" is not supported.";

static void fill_line(pd_doc *d, const pd_answer *a, const pd_effect *e,
                      pd_board_line *line)
{
	const char *number = pd_say_span(d, a, e->value, e->low, e->high, true);

	line->verdict = e->verdict;
	line->neutral = a->not_a_choice;
	line->events = a->events != NULL;
	line->words = pd_say_supported(d, a, e->verdict);
	line->arms = pd_say_upper(d, pd_say_arms(d, a, e));
	line->unsupported = pd_is_unsupported(a, e->verdict);
	if (number)
		line->number =
		    a->scale == PD_RATIO
		        ? pd_doc_print(d, "ratio %s", number)
		        : pd_doc_print(d, "difference %s percentage points",
		                       number);
}

/* "4 comparisons: 1 higher, 2 not settled, 1 lower." */
static const char *count_verdicts(pd_doc *d, const pd_answer *a)
{
	static const pd_verdict order[] = { PD_BETTER, PD_WORSE, PD_NO_MATTER,
		                            PD_NOT_SETTLED, PD_NO_ANSWER };
	static const char *const choice[] = { "better", "worse",
		                              "with no difference that matters",
		                              "not settled",
		                              "that cannot be answered" };
	static const char *const plain[] = { "higher", "lower",
		                             "with no difference that matters",
		                             "not settled",
		                             "that cannot be answered" };
	const char *mark = ":";
	pd_buf b;

	pd_buf_init(&b);
	pd_number_count(&b, a->n_effects);
	pd_buf_add(&b, " comparisons");
	for (size_t k = 0; k < sizeof order / sizeof order[0]; k++) {
		size_t n = 0;

		for (size_t i = 0; i < a->n_effects; i++)
			n += a->effect[i].verdict == order[k];
		if (!n)
			continue;
		pd_buf_print(&b, "%s %zu %s", mark, n,
		             a->not_a_choice ? plain[k] : choice[k]);
		mark = ",";
	}
	pd_buf_char(&b, '.');
	return pd_doc_take(d, &b);
}

/* The first number in a name ("2 sites", "pull 1"), NaN without one. */
static double number_in(const char *name)
{
	double value = 0, place = 1;
	const char *p = name + strcspn(name, "0123456789");

	if (!*p)
		return NAN;
	for (; *p >= '0' && *p <= '9'; p++)
		value = 10 * value + (*p - '0');
	if (*p == '.')
		for (p++; *p >= '0' && *p <= '9'; p++)
			value += (*p - '0') * (place /= 10);
	return value;
}

/* Does the arm that burdens more give more? Where the names do not tell which
 * arm that is, either may be. */
static bool is_gain(const pd_effect *e)
{
	if (e->verdict != PD_BETTER && e->verdict != PD_WORSE)
		return false;
	if (!e->first || !e->second)
		return e->verdict == PD_BETTER;
	double first = number_in(e->first), second = number_in(e->second);

	if (isnan(first) || isnan(second) || first == second)
		return true;
	return (e->verdict == PD_BETTER) == (first > second);
}

/* Is a gain shown that costs the patient punctures or blood? The harm line
 * stands once for all below the board and in the question's own section. */
static bool shows_gain(const pd_answer *a)
{
	for (size_t k = 0; k < a->n_effects; k++)
		if (is_gain(&a->effect[k]))
			return true;
	return false;
}

static void fill_row(pd_doc *d, const pd_review *r, size_t i, pd_board_row *row)
{
	const pd_answer *a = &r->answer[i];
	bool refused = a->refusal || a->n_effects == 0;
	size_t n = refused ? 1 : a->n_effects;

	row->tag = pd_doc_print(d, "Q%zu", i + 1);
	row->target = pd_doc_print(d, "q%zu", i + 1);
	row->question = pd_doc_text(d, a->title ? a->title : a->name);
	row->judged = pd_say_judged(d, a);
	row->line = PD_NEW(d->arena, pd_board_line, n);
	if (!row->line) {
		d->failed = true;
		return;
	}
	row->n_lines = n;
	if (refused) {
		row->line[0].verdict = PD_NO_ANSWER;
		row->line[0].words = pd_say_verdict(a, PD_NO_ANSWER);
		if (a->role == PD_CONTROL)
			row->note = "Control: could not be judged.";
		row->sentence =
		    a->refusal
		        ? pd_doc_print(d, "Why: %s", pd_say_stop(d, a->refusal))
		        : "Why: no effect could be estimated.";
		return;
	}
	for (size_t k = 0; k < n; k++) {
		fill_line(d, a, &a->effect[k], &row->line[k]);
		if (pd_is_unsupported(a, a->effect[k].verdict))
			row->note = unsupported_words;
	}
	if (a->control == PD_CONTROL_WORKED)
		row->note = "Control: the known effect was shown.";
	if (a->control == PD_CONTROL_FAILED)
		row->note = "Control: the known effect was not shown.";
	if (n > 1)
		row->sentence = count_verdicts(d, a);
	else if (a->effect[0].sentence)
		row->sentence = pd_say_upper(d, a->effect[0].sentence);
	if (a->adds_burden && shows_gain(a) && !a->events)
		row->harm = pd_say_harm(d, r);
	if (a->n_beside || a->events)
		row->harm = row->harm
		    ? pd_doc_print(d, "%s %s", row->harm,
		                   pd_say_beside(d, r, a))
		    : pd_say_beside(d, r, a);
}

void pd_part_board(pd_doc *d, const pd_review *r, size_t n_answers)
{
	pd_board *board = PD_NEW(d->arena, pd_board, 1);

	if (!board) {
		d->failed = true;
		return;
	}
	for (size_t g = 0; g < sizeof groups / sizeof groups[0]; g++) {
		pd_board_group *group = &board->group[board->n_groups];

		group->row = PD_NEW(d->arena, pd_board_row, n_answers);
		if (!group->row) {
			d->failed = true;
			return;
		}
		for (size_t i = 0; i < n_answers; i++)
			if (r->answer[i].role == groups[g].role)
				fill_row(d, r, i, &group->row[group->n_rows++]);
		if (!group->n_rows)
			continue;
		group->title = groups[g].title;
		group->rule = groups[g].rule;
		board->n_groups++;
	}
	pd_doc_board(d, board);
}

/* Whether each control showed what it is known to show. */
static const char *controls(pd_doc *d, const pd_review *r, size_t n_answers)
{
	size_t n = 0, failed = 0, worked = 0;
	bool spoilt = false;
	pd_buf b;

	for (size_t i = 0; i < n_answers; i++) {
		const pd_answer *a = &r->answer[i];

		n += a->role == PD_CONTROL;
		spoilt = spoilt || a->unsupported;
		failed += a->control == PD_CONTROL_FAILED;
		worked += a->control == PD_CONTROL_WORKED;
	}
	if (n == 0)
		return "The plan holds no control question: nothing checks "
		       "that these data can show a known effect.";
	pd_buf_init(&b);
	pd_buf_print(&b,
	             "Control questions: %zu; the known effect was shown "
	             "in %zu, not shown in %zu",
	             n, worked, failed);
	if (n > worked + failed)
		pd_buf_print(&b, ", not judged in %zu", n - worked - failed);
	pd_buf_add(&b, failed || spoilt
	                   ? ". Every \"no difference\" in this review is "
	                     "therefore unsupported."
	                   : ".");
	return pd_doc_take(d, &b);
}

void pd_part_tests(pd_doc *d, const pd_review *r, size_t n_answers)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_count(&b, r->n_tests);
	pd_buf_add(&b, r->n_tests == 1 ? " effect was tested"
	                               : " effects were tested");
	/* The rule may start with the same count; once is enough. */
	if (r->multiplicity && pd_buf_ok(&b) &&
	    strncmp(r->multiplicity, pd_buf_text(&b), b.length) == 0)
		pd_buf_reset(&b);
	else
		pd_buf_char(&b, '.');
	if (r->multiplicity && *r->multiplicity)
		pd_buf_print(&b, "%s%s", b.length ? " " : "", r->multiplicity);
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_take(d, &b));
	pd_doc_paragraph(d, PD_PLAIN, controls(d, r, n_answers));
	pd_doc_paragraph(d, PD_NOTE, pd_say_harm(d, r));
}
