/*
 * figure_depletion.h - pulls of a hole and holes of a side (inside the report
 * room only). Data of base/depletion.h.
 */
#ifndef PERDRAW_REPORT_FIGURE_DEPLETION_H
#define PERDRAW_REPORT_FIGURE_DEPLETION_H

#include "base/depletion.h"
#include "report/figure.h"

typedef struct pd_depletion_words {
	const char *value_axis;  /* "CFU-F/mL"                                */
	const char *ratio_axis;  /* "ratio to pull 1, hole 1"                 */
	const char *small;       /* what an empty square means, or NULL       */
} pd_depletion_words;

/*
 * A panel a hole, pulls across. Above: centres with their intervals, joined;
 * patients as points where they are few; a square is empty where the patients
 * are fewer than d->least. Below, where any is known: the same against pull 1
 * of hole 1 in the same side, 1 (or 0) as a thick line.
 */
pd_scene *pd_figure_depletion(pd_arena *arena, const pd_depletion *d,
                              const pd_depletion_words *w, bool narrow);

#endif
