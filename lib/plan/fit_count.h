/*
 * fit_count.h - a question of colonies asked of the counts themselves: the
 * columns of the mixed model, colonies as counts with what was plated as
 * exposure, negative binomial, patients and one level inside them as random
 * intercepts (stats/count_nested.h, count_mixed.h). Zeros are counts, a dish
 * too many to count is "at least". Limits by Student's t for few patients.
 */
#ifndef PERDRAW_PLAN_FIT_COUNT_H
#define PERDRAW_PLAN_FIT_COUNT_H

#include "plan/fit.h"

/*
 * fit->n, row, design and contrast are made; effect[0] comes back, ln ratio.
 * outer, inner: dense codes of two levels of the fit, NULL where there is none.
 * fit->refusal says why these rows are no counts or have no maximum.
 */
pd_status pd_fit_counts(const pd_rows *rows, const int32_t *outer,
                        const int32_t *inner, double level, pd_arena *arena,
                        pd_arena *scratch, pd_fit *fit, pd_error *err);

#endif
