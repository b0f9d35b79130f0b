/*
 * count_limit.h - where a profile log-likelihood comes down to a given height.
 * Not for callers outside the count rooms.
 */
#ifndef PERDRAW_STATS_COUNT_LIMIT_H
#define PERDRAW_STATS_COUNT_LIMIT_H

#include "base/status.h"

/* The largest log-likelihood with the parameter held at `at`, less the height
 * asked for. */
typedef pd_status pd_count_height(void *with, double at, double *out,
                                  pd_error *err);

/*
 * From `top`, where the profile is above, in steps that double from `step`
 * (its sign is the way) to `furthest` at most; then false position, the held
 * end's height halved (Illinois), until the two ends meet. Infinite, with the
 * sign of the step, where the profile stays above.
 */
pd_status pd_count_limit(pd_count_height *height, void *with, double top,
                         double step, double furthest, double *limit,
                         pd_error *err);
/* PD_DATA unless 0 < level < 1. */
pd_status pd_count_check_level(double level, pd_error *err);

#endif
