/*
 * plan.h - a plan file: questions declared before the data are read.
 * Strict: an unknown or repeated key, a bad number, an unknown outcome is an
 * error with line and column.
 */
#ifndef PERDRAW_PLAN_PLAN_H
#define PERDRAW_PLAN_PLAN_H

#include "base/answer.h"
#include "base/arena.h"
#include "base/status.h"
#include "data/query.h"

typedef enum pd_compare_kind {
	PD_COMPARE_LEVELS,   /* `compare = PARAM A against B`                  */
	PD_COMPARE_EACH,     /* `compare = PARAM each against the mean`        */
	PD_COMPARE_SLOPE,    /* `slope = PARAM per STEP` or `per doubling`     */
	PD_COMPARE_CURVE     /* `curve = PARAM A against B`                    */
} pd_compare_kind;

/* One condition of `where`: PARAM is A[, B ...] | from LOW to HIGH. */
typedef struct pd_condition {
	const char *column;
	size_t n_values;
	const char **value;
	double low, high;        /* -INFINITY/INFINITY where open              */
} pd_condition;

typedef struct pd_question {
	const char *name, *title;
	const char *known_as;    /* in the ledger; NULL: name                  */
	size_t line;             /* of the section, in the plan                */
	const char *outcome;     /* tnc, mnc, cfu_f, cd34, viability ...       */
	const char *judge;       /* concentration, prevalence, yield, percent,
	                            risk                                       */
	pd_grain grain;          /* what one row of the comparison is          */
	pd_scale scale;          /* difference for percentages, else ratio     */
	pd_compare_kind kind;
	const char *parameter, *first, *second;
	double step;             /* slope: parameter units; per doubling: NaN  */
	double from, to;         /* curve: `second` and `first` as numbers     */
	double change;           /* day cases are parted at; NaN: no `change`  */
	size_t n_events;         /* of outcome adverse_event: the kinds ...    */
	const char **events;     /* ... that count, NULL: any                  */
	double floor;            /* share of rows that reach it; NaN: none     */
	const char *differs_by;  /* the effect's own modifier, or NULL ...     */
	const char *differs_first, *differs_second; /* ... its two levels, or  */
	double differs_step;     /* ... a step of it, NaN with levels          */
	const char *within;      /* patient, case, side, site or NULL          */
	size_t n_adjust;
	const char **adjust;     /* column names; "log " prefix taken off:     */
	bool *adjust_log;        /* ... and kept here                          */
	size_t n_where;
	pd_condition *where;
	const char *where_text;  /* as written, for the report                 */
	double margin;           /* NaN: none declared                         */
	const char *margin_reason;
	const char *assigned;    /* how the arms came about, in words, or NULL */
	pd_role role;
	int expect;              /* control: +1 above no effect, -1 below      */
	const char *text;        /* section as written                         */
	const char *sha256;      /* of it, the level and min_patients          */
} pd_question;

typedef struct pd_plan {
	const char *name, *sha256, *text, *title;
	double level;            /* 0.95 unless the plan says                  */
	unsigned long long seed;
	size_t min_patients;     /* fewest patients a level or pairing needs   */
	size_t looks;            /* readings planned, 0: not said              */
	size_t n_questions;
	pd_question *question;
} pd_plan;

/* Everything lives in the arena. */
pd_status pd_plan_parse(pd_arena *arena, const char *text, size_t size,
                        const char *name, pd_plan *out, pd_error *err);
pd_status pd_plan_read(pd_arena *arena, const char *path, pd_plan *out,
                       pd_error *err);
/* A plan made of a command's options: no file the user could look into, so an
 * error is PD_USAGE and has no place. */
pd_status pd_plan_options(pd_arena *arena, const char *text, size_t size,
                          pd_plan *out, pd_error *err);
const pd_question *pd_plan_find(const pd_plan *plan, const char *name);
/* The same; PD_USAGE with the nearest name where there is none. */
pd_status pd_plan_question(const pd_plan *plan, const char *name,
                           const pd_question **out, pd_error *err);

#endif
