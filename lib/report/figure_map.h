/*
 * figure_map.h - a map of cells: one thing across, one down, a number in every
 * cell and four greys behind it (inside the report room only).
 */
#ifndef PERDRAW_REPORT_FIGURE_MAP_H
#define PERDRAW_REPORT_FIGURE_MAP_H

#include "report/figure.h"

typedef struct pd_map_cell {
	double shade;            /* 0 to 1; NaN: crossed out                   */
	const char *text;        /* words may be parted into two lines         */
} pd_map_cell;

typedef struct pd_map {
	size_t n_across, n_down;
	const char *const *across, *const *down; /* names                      */
	const char *across_words, *down_words;
	const pd_map_cell *cell; /* cell[j * n_across + i]                     */
	const char *key[4];      /* what the greys stand for, light to dark    */
	const double *step;      /* three shades at which the next one begins  */
} pd_map;

/* narrow: for a phone. NULL when memory runs out. */
pd_scene *pd_figure_map(pd_arena *arena, const pd_map *m, bool narrow);

#endif
