/*
 * figure_watch.h - a chart of cases in time and operators beside each other
 * (inside the report room only). Data of base/watch.h.
 */
#ifndef PERDRAW_REPORT_FIGURE_WATCH_H
#define PERDRAW_REPORT_FIGURE_WATCH_H

#include "base/watch.h"
#include "report/figure.h"

/* Weighted average with its limits above, cumulative sums below, method
 * versions as lettered lines. NULL when memory runs out. */
pd_scene *pd_figure_watch(pd_arena *arena, const pd_chart *c,
                          const pd_mark_at *mark, size_t n_marks);
/* Operators' own means (hollow) and partially pooled ones with limits over
 * their number of cases; lines: limits of chance at that number. */
pd_scene *pd_figure_funnel(pd_arena *arena, const pd_watch_answer *a);

#endif
