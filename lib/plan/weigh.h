/*
 * weigh.h - two levels across patients made alike by overlap weights from the
 * question's adjusters (stats/weighting.h), the balance they reach, and how
 * strong something unrecorded would have to be to explain the effect.
 */
#ifndef PERDRAW_PLAN_WEIGH_H
#define PERDRAW_PLAN_WEIGH_H

#include "plan/rows.h"

/*
 * rows: of two arms. y[rows->n]: the outcome on the working scale, limits
 * completed. Rows under a word of an adjuster that one arm alone has are left out
 * and counted in out->left_out. out->effect: first level less second, working
 * scale, patients as clusters, 0 < level < 1. out->refusal in words where the
 * arms cannot be weighed; then the rest is empty. The E-values are NaN for a
 * share. PD_NO_MEMORY; errors of pd_weighted_contrast.
 */
pd_status pd_weigh(const pd_question *q, const pd_rows *rows, const double *y,
                   double level, pd_arena *arena, pd_weighing *out,
                   pd_error *err);

#endif
