/*
 * method.h - which method answers a question, by a visible table.
 */
#ifndef PERDRAW_PLAN_METHOD_H
#define PERDRAW_PLAN_METHOD_H

#include "plan/rows.h"

typedef enum pd_way {
	PD_WAY_PAIRED,  /* mean of patients' paired differences, t interval   */
	PD_WAY_WITHIN,  /* mixed model, effect split inside the unit          */
	PD_WAY_BETWEEN  /* mixed model, adjusted                              */
} pd_way;

typedef struct pd_method {
	pd_way way;
	size_t unit;             /* level index of `within`, else PD_ROWS_DEPTH */
	size_t n_pair_patients;  /* with both arms inside one unit            */
	size_t n_bridges;        /* with both arms on one pull                */
	const char *sentence;    /* which and why                             */
	size_t n_refused;
	const char *refused[4];  /* "method: reason"                          */
	const char *refusal;     /* no method can answer, and why             */
} pd_method;

pd_status pd_method_choose(const pd_plan *plan, const pd_question *q,
                           const pd_rows *rows, pd_arena *arena,
                           pd_arena *scratch, pd_method *out, pd_error *err);

#endif
