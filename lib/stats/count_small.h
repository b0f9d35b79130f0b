/*
 * count_small.h - what the limits for few groups share.
 * Not for callers outside the count rooms.
 */
#ifndef PERDRAW_STATS_COUNT_SMALL_H
#define PERDRAW_STATS_COUNT_SMALL_H

#include "base/estimate.h"
#include "base/status.h"

/* One side says nearly all where its own error is no more than 1.1 times the
 * fit's: this on the variance. */
#define PD_COUNT_NOT_MUCH 1.21

/*
 * sum[p*p]: what one side says about beta, an information matrix whose rows and
 * columns were divided by scale[p]; destroyed. *variance of c'beta by it,
 * INFINITY where it does not reach c; *rank its rank. PD_NO_MEMORY.
 */
pd_status pd_count_side(size_t p, double *sum, const double *scale,
                        const double *c, size_t *rank, double *variance,
                        pd_error *err);
/*
 * Student's t limits of *e (value and se set) on df; its variance multiplied
 * by groups / df first, unless groups is 0. PD_REFUSED: df below 1.
 */
pd_status pd_count_t_limits(double df, double groups, double level,
                            pd_estimate *e, pd_error *err);

#endif
