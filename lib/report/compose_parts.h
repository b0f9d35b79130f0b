/*
 * compose_parts.h - the parts a report is put together from, one file each
 * (inside the report room only). Each appends to the document; failures are
 * kept in it.
 */
#ifndef PERDRAW_REPORT_COMPOSE_PARTS_H
#define PERDRAW_REPORT_COMPOSE_PARTS_H

#include "base/changes.h"
#include "base/dishes.h"
#include "report/block.h"
#include "report/compose_words.h"

/* compose_source.c: plan, date and how much data, in a line; plan, seed, audit
 * head, version and files, in a section; the finished document, whole or not
 * at all. */
void pd_part_clinic(pd_doc *d, const pd_review *r);
void pd_part_sources(pd_doc *d, const pd_review *r);
pd_status pd_part_hand_out(pd_doc *d, pd_doc **out, pd_error *err);

/* compose_board.c: a row a question, in plan order within its role. */
void pd_part_board(pd_doc *d, const pd_review *r, size_t n_answers);
/* Number of tests, multiplicity, controls, harm; short cautions. */
void pd_part_tests(pd_doc *d, const pd_review *r, size_t n_answers);

/* compose_changes.c: verdicts that moved since the last reading, in a line of
 * the first page; the section with drift and what is open. Nothing where the
 * review was not held against the ledger. */
void pd_part_moved(pd_doc *d, const pd_review *r);
void pd_part_claims(pd_doc *d, const pd_review *r);
/* "in about 3 years", "not within ten years" ... */
const char *pd_say_when(pd_doc *d, const pd_open *o);
void pd_part_changes(pd_doc *d, const pd_review *r);

/* compose_forest.c */
void pd_part_forest(pd_doc *d, const pd_review *r, size_t n_answers);
void pd_part_trend(pd_doc *d, const pd_review *r);

/* compose_depletion.c: pulls and holes side by side, an outcome each. */
void pd_part_depletion(pd_doc *d, const pd_review *r);

/* compose_figure.c: the figure of one question and the table with its
 * numbers; nothing when the answer holds no points. */
void pd_part_figure(pd_doc *d, const pd_answer *a);

/* compose_alike.c: a row a column known beforehand; the levels' names. */
void pd_part_alike(pd_doc *d, const pd_weighing *w, const char *first,
                   const char *second);

/* compose_looks.c: the readings of a primary question, where there were two
 * or more. */
void pd_part_looks(pd_doc *d, const pd_answer *a);

/* compose_events.c: counts of adverse events at the levels of a->events; the
 * gain beside them, or the events beside a gain (NULL: nothing asks). */
void pd_part_events(pd_doc *d, const pd_answer *a);
const char *pd_say_beside(pd_doc *d, const pd_review *r, const pd_answer *a);

/* compose_question.c: the section of answer i. `heading` NULL: its title. */
void pd_part_question(pd_doc *d, const pd_review *r, size_t i,
                      const char *heading);

/* compose_caution.c */
void pd_part_short_cautions(pd_doc *d);
void pd_part_cautions(pd_doc *d, const pd_review *r, size_t n_answers);
void pd_part_closing(pd_doc *d);

/* compose_dishes.c: do the dishes of one sample agree? */
void pd_part_dishes(pd_doc *d, const pd_dish_watch *w);

#endif
