/*
 * compose.c - a review, or one answer, as a document. The order is the
 * reader's: verdicts first, then everything that stands behind them.
 */
#include "report/compose.h"
#include "report/compose_parts.h"

static const char *text_or(const char *text, const char *other)
{
	return text && *text ? text : other;
}

static pd_doc *begin(const pd_review *r, const char *title, size_t n_answers)
{
	pd_doc *d = pd_doc_new(title, "en");

	if (!d)
		return NULL;
	pd_doc_heading(d, 1, "top", title);
	pd_part_clinic(d, r);
	pd_doc_heading(d, 2, "verdicts", "What these draws say");
	pd_part_board(d, r, n_answers);
	pd_part_moved(d, r);
	pd_part_tests(d, r, n_answers);
	pd_part_short_cautions(d);
	pd_doc_page_end(d);
	return d;
}

pd_status pd_compose_review(const pd_review *review, pd_doc **out,
                            pd_error *err)
{
	*out = NULL;
	pd_doc *d = begin(review, text_or(review->title, "Technique review"),
	                  review->n_answers);

	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_part_changes(d, review);
	pd_part_forest(d, review, review->n_answers);
	pd_part_trend(d, review);
	pd_part_depletion(d, review);
	for (size_t i = 0; i < review->n_answers; i++)
		pd_part_question(d, review, i, NULL);
	pd_part_sources(d, review);
	pd_part_cautions(d, review, review->n_answers);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}

pd_status pd_compose_answer(const pd_review *review, pd_doc **out,
                            pd_error *err)
{
	*out = NULL;
	if (review->n_answers == 0)
		return pd_fail(err, PD_INTERNAL, "no answer to write about");
	const pd_answer *a = &review->answer[0];
	pd_doc *d = begin(review, text_or(a->title, a->name), 1);

	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_part_question(d, review, 0, "The answer in full");
	pd_part_depletion(d, review);
	pd_part_sources(d, review);
	pd_part_cautions(d, review, 1);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
