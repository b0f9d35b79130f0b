/*
 * question.h - the values of a question's keys, from words to a pd_question.
 * plan.c splits the file into sections, keys and values; each value is read
 * here, with its place for the error message.
 */
#ifndef PERDRAW_PLAN_QUESTION_H
#define PERDRAW_PLAN_QUESTION_H

#include "plan/plan.h"

/* One `key = value` of a plan file; value trimmed, comments taken off. */
typedef struct pd_plan_entry {
	const char *file;
	size_t line, key_column, value_column;
	const char *key, *value;
} pd_plan_entry;

/* PD_PLAN with the place and what was expected when the key is unknown or
 * its value does not parse. */
pd_status pd_question_set(pd_arena *arena, pd_question *q,
                          const pd_plan_entry *entry, pd_error *err);
/* What only the whole section can tell: missing keys, unknown columns, keys
 * that do not go together. */
pd_status pd_question_check(pd_question *q, const char *file, pd_error *err);

/* Whole of `text` as a finite number, locale-free; 0 when it is not one. */
int pd_plan_number(const char *text, double *out);

#endif
