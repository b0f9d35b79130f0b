/*
 * figure_flow.h - what became of the records, step by step: a box what is
 * left, beside it what was left out and why, at the foot a box an arm.
 */
#ifndef PERDRAW_REPORT_FIGURE_FLOW_H
#define PERDRAW_REPORT_FIGURE_FLOW_H

#include "report/figure.h"

typedef struct pd_flow_box {
	const char *title, *counts;
	const char *out, *out_counts; /* left out before it; NULL: nothing    */
} pd_flow_box;

typedef struct pd_flow_chart {
	size_t n;
	const pd_flow_box *box;
	size_t n_arms;                /* 0: none drawn                        */
	const char *const *arm, *const *arm_counts;
} pd_flow_chart;

/* narrow: one column, for a phone. NULL when memory runs out. */
pd_scene *pd_figure_flow(pd_arena *arena, const pd_flow_chart *c, bool narrow);

#endif
