/*
 * figure_watch.h - a chart of cases in time and operators beside each other
 * (inside the report room only). Data of base/watch.h.
 */
#ifndef PERDRAW_REPORT_FIGURE_WATCH_H
#define PERDRAW_REPORT_FIGURE_WATCH_H

#include "base/watch.h"
#include "report/figure.h"

/*
 * The first chart of the answer, which has a case or more: weighted average
 * with its limits above, cumulative sums below, signals as arrow heads that
 * point the way the cases moved, method versions as lettered lines. Of a long
 * history each step across shows the case furthest from 0. NULL when memory
 * runs out, here and below.
 */
pd_scene *pd_figure_watch(pd_arena *arena, const pd_watch_answer *a,
                          bool narrow);
/* figure_funnel.c: operators' own means (dots) and partially pooled ones with
 * limits over their number of cases; lines: limits of chance at that number. */
pd_scene *pd_figure_funnel(pd_arena *arena, const pd_watch_answer *a,
                           bool narrow);

#endif
