/*
 * design.h - a frame's columns into a model matrix, with names.
 * Intercept first. Numbers enter centred at their mean (so the intercept is
 * the centre of the data), factors as indicators against their first level.
 * A column that carries no information beside the others (constant, or a sum
 * of earlier columns) is named and left out, never fitted in silence.
 */
#ifndef PERDRAW_STATS_DESIGN_H
#define PERDRAW_STATS_DESIGN_H

#include "base/arena.h"
#include "base/frame.h"

typedef struct pd_design {
	size_t n, p;          /* rows, columns                                 */
	double *x;            /* n * p, row-major                              */
	const char **name;    /* p words: "intercept", "age_y", "operator B"   */
	size_t n_dropped;     /* columns left out, and why                     */
	const char **dropped;
} pd_design;

#endif
