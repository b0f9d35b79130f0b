/*
 * depletion.h - how an outcome falls from pull to pull of a hole and from hole
 * to hole of a side: plain structs the plan room fills and the report room
 * words and draws.
 */
#ifndef PERDRAW_BASE_DEPLETION_H
#define PERDRAW_BASE_DEPLETION_H

#include "base/answer.h"

enum {
	PD_DEPLETION_HOLES = 4, PD_DEPLETION_PULLS = 4,
	PD_DEPLETION_POINTS = 100, /* fewer patients: each is a point         */
	PD_DEPLETIONS = 3          /* outcomes of a review                    */
};

/* One pull number of one hole of a side; numbers as printed, NaN: none. */
typedef struct pd_depletion_cell {
	size_t n_patients, n_results;
	double centre, low, high; /* geometric mean (or mean) of patients'
	                             means and its interval                   */
	const double *point;      /* patients' means, n_patients; NULL where
	                             PD_DEPLETION_POINTS or more              */
	/* against pull 1 of hole 1 of the same side of the same case, mean of
	 * a patient's sides; not of that cell itself                         */
	size_t n_both;            /* patients with both                       */
	double ratio, ratio_low, ratio_high; /* or differences                */
} pd_depletion_cell;

typedef struct pd_depletion {
	const char *outcome_words, *judge_words, *unit;
	const char *where_text;   /* which draws, NULL: all                   */
	pd_scale scale;
	double level;
	size_t least;             /* patients below which a cell is small     */
	size_t n_censored;        /* results known between limits only        */
	size_t n_further;         /* results of later holes and pulls         */
	size_t n_holes, n_pulls;  /* up to the last that has a result         */
	pd_depletion_cell cell[PD_DEPLETION_HOLES][PD_DEPLETION_PULLS];
} pd_depletion;

#endif
