/*
 * figure_alike.h - how alike two levels are before and after weighting (inside
 * the report room only). Data of answer->weighing.
 */
#ifndef PERDRAW_REPORT_FIGURE_ALIKE_H
#define PERDRAW_REPORT_FIGURE_ALIKE_H

#include "report/figure.h"

/* Differences further from 0 than this end in arrows. */
#define PD_ALIKE_FAR 2.0

/*
 * A row a column: its standardised difference before weighting (ring) and
 * after (square) on one axis, 0 as a thick line and the band within 0.1. A row
 * whose differences are no numbers says so. narrow: names above their rows.
 */
pd_scene *pd_figure_alike(pd_arena *arena, const pd_weighing *w,
                          const char *axis_words, bool narrow);

#endif
