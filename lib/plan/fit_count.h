/*
 * fit_count.h - a question of colonies asked of the counts themselves: the
 * columns of the mixed model, colonies as counts with what was plated as
 * exposure, negative binomial, patients as random intercepts
 * (stats/count_mixed.h). Zeros are counts, a dish too many to count is "at
 * least".
 */
#ifndef PERDRAW_PLAN_FIT_COUNT_H
#define PERDRAW_PLAN_FIT_COUNT_H

#include "plan/fit.h"

/*
 * fit->n, row, design and contrast are made; effect[0] comes back, ln ratio.
 * group: dense codes of the outermost level of the fit, NULL where there is
 * none. fit->refusal says why these rows are no counts or have no maximum.
 */
pd_status pd_fit_counts(const pd_rows *rows, const int32_t *group, double level,
                        pd_arena *arena, pd_arena *scratch, pd_fit *fit,
                        pd_error *err);

#endif
