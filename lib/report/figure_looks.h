/*
 * figure_looks.h - the readings of one question over the information they had
 * (inside the report room only). Data of answer->reading.
 */
#ifndef PERDRAW_REPORT_FIGURE_LOOKS_H
#define PERDRAW_REPORT_FIGURE_LOOKS_H

#include "report/figure.h"

/*
 * Above: the estimate of each reading with the interval it was printed with,
 * no effect and the margin; below: the estimate in standard errors and the
 * boundary of that reading on either side. Across: information from 0. The
 * newest carries its verdict's sign, every reading its number where there is
 * room. Readings without information, finite and above 0, are not drawn.
 */
pd_scene *pd_figure_looks(pd_arena *arena, const pd_answer *a,
                          const char *value_axis, bool narrow);

#endif
