/*
 * missing.h - which results are missing, with whom and when, and whether that
 * depends on the draw. Plain structs the plan room fills and the report room
 * words.
 */
#ifndef PERDRAW_BASE_MISSING_H
#define PERDRAW_BASE_MISSING_H

#include "base/answer.h"

enum { PD_MISSING_OUTCOMES = 9, PD_MISSING_THIRDS = 3 };

typedef struct pd_missing_share {
	size_t n, n_without;       /* pulls; those without a result            */
} pd_missing_share;

/* One outcome. A pull has a result when any method version read a number or
 * a limit of it (zero, below, above, too many to count). */
typedef struct pd_missing_outcome {
	const char *words, *brief; /* in full; a column's head                 */
	size_t n_pulls, n_value, n_limit;
	size_t n_failed, n_not_ordered, n_blank;
	double low, high;          /* exact limits of the share without        */
	/* Of each patient the first pull, where its nucleated cells are known,
	 * by thirds of these, from poorest to richest. */
	pd_missing_share third[PD_MISSING_THIRDS];
	const char *not_tested;    /* why there is no test, or NULL            */
	const char *held;          /* held equal: "operator and year"          */
	double odds, odds_low, odds_high, p; /* of being without, for twice
	                              the nucleated cells                      */
	double p_adjusted;         /* Holm, over the outcomes tested           */
} pd_missing_outcome;

/* Pulls by operator, or by year: a row a name. */
typedef struct pd_missing_group {
	size_t n, room;
	const char **name;
	pd_missing_share *share;   /* n * PD_MISSING_OUTCOMES                  */
} pd_missing_group;

typedef struct pd_missing_answer {
	pd_review context;
	double level;
	size_t n_outcomes;         /* with any result in the store             */
	pd_missing_outcome outcome[PD_MISSING_OUTCOMES];
	pd_missing_group operator_, year;
	double cut[2];             /* of the thirds, 10^6/mL; NaN without      */
} pd_missing_answer;

#endif
