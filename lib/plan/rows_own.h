/*
 * rows_own.h - what choosing and laying out share.
 */
#ifndef PERDRAW_PLAN_ROWS_OWN_H
#define PERDRAW_PLAN_ROWS_OWN_H

#include "plan/rows.h"

/* The choosing in progress: the whole frame and which rows are still in. */
struct choice {
	const pd_question *q;
	pd_arena *arena, *scratch;
	pd_frame *frame;
	size_t n;
	unsigned char *keep;
	const pd_column *param, *low, *high, *state;
	pd_rows *out;
	bool named;              /* rows keep the names of their records      */
};

/* rows.c: arm of row i of the whole frame, -1 when at no compared level. */
int32_t pd_choice_arm(const struct choice *c, size_t i);
/* Columns the model frame takes wherever the grain has them; ends with NULL. */
extern const char *const pd_choice_always[];
/* rows_lay.c: the kept rows into c->out. */
pd_status pd_choice_lay_out(struct choice *c, pd_error *err);

static inline pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory choosing rows");
}

#endif
