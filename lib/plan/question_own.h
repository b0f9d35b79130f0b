/*
 * question_own.h - what the readers of a question's keys share.
 *
 *   question.c        the table of keys and the plain ones
 *   question_kind.c   what is asked: compare, slope, curve, change, ...
 *   question_check.c  the section as a whole
 */
#ifndef PERDRAW_PLAN_QUESTION_OWN_H
#define PERDRAW_PLAN_QUESTION_OWN_H

#include "plan/question.h"

/* PD_PLAN at the value's place: found it, expected `want`. */
pd_status pd_key_bad(pd_error *err, const pd_plan_entry *e, const char *want);
pd_status pd_key_no_memory(pd_error *err);
/* from[n] without blanks at its ends; NULL when memory runs out. */
char *pd_key_trimmed(pd_arena *a, const char *from, size_t n);
/* The whole value, some words. */
pd_status pd_key_text(pd_arena *a, const pd_plan_entry *e, const char **out,
                      pd_error *err);

/* PD_PLAN at line `line` of `file` (none: no place) unless the outcome can be
 * judged so; `who` begins the message, the nearest outcome ends it. */
pd_status pd_key_judged(const char *outcome, const char *judge,
                        const char *who, const char *file, size_t line,
                        pd_error *err);

typedef pd_status pd_key_reader(pd_arena *a, pd_question *q,
                                const pd_plan_entry *e, pd_error *err);
pd_key_reader pd_key_compare, pd_key_slope, pd_key_curve, pd_key_change,
    pd_key_differs_by, pd_key_floor, pd_key_event;

#endif
