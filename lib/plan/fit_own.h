/*
 * fit_own.h - what putting the columns together and fitting share.
 *
 *   fit_columns.c  adjusters and effects as columns of the model
 *   fit.c          rows, tree, design, fit, contrasts
 */
#ifndef PERDRAW_PLAN_FIT_OWN_H
#define PERDRAW_PLAN_FIT_OWN_H

#include "plan/fit.h"

enum { PD_BUILD_TERMS = 96 };
#define PD_BUILD_NONE ((size_t)-1)

/* The model being put together. */
struct build {
	const pd_question *q;
	const pd_rows *r;
	const pd_fit_ask *ask;
	pd_arena *arena, *scratch;
	pd_fit *fit;
	pd_frame *frame;         /* the kept rows' columns                    */
	pd_term term[PD_BUILD_TERMS];
	size_t n_terms, first_effect; /* index of the first effect term       */
	int32_t *group[PD_ROWS_DEPTH];
};

/* Several laboratory method versions are always told apart. */
int pd_build_versions(const pd_question *q, const pd_rows *r);
pd_status pd_build_adjusters(struct build *b, pd_error *err);
pd_status pd_build_effects(struct build *b, pd_error *err);
/* What a unit mean's column is named after its effect. */
extern const char pd_build_between[];

static inline pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory fitting");
}

#endif
