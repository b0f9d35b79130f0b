/*
 * bridge.h - two laboratory method versions on the same pulls: plain structs
 * the plan room fills and the report room words. On the PD_RATIO scale all
 * numbers are ratios of second over first, else differences second less first.
 */
#ifndef PERDRAW_BASE_BRIDGE_H
#define PERDRAW_BASE_BRIDGE_H

#include "base/answer.h"

enum { PD_BRIDGE_PLACES = 3 };

/* What stands in for a reading of the first: low, middle, high. */
typedef struct pd_bridge_place {
	double first;            /* the outcome's unit                         */
	double factor, low, high; /* second over first (or less first) there   */
} pd_bridge_place;

typedef struct pd_bridge_answer {
	pd_review context;
	const char *outcome_words, *judge_words, *unit;
	const char *first, *second; /* method versions                         */
	pd_scale scale;
	double level, margin;
	const char *refusal;
	size_t n_pulls, n_patients;
	size_t n_left_out;       /* pulls with a limit by either version       */
	double bias, bias_low, bias_high, bias_p;
	double limit_low, limit_low_from, limit_low_to;
	double limit_high, limit_high_from, limit_high_to;
	double trend_p;          /* does the difference change with the level  */
	/* lines of the logs (or values), patients' means */
	double slope, slope_low, slope_high;
	double ranks_slope, ranks_low, ranks_high; /* NaN: not told            */
	const char *ranks_refusal;
	double same, same_low, same_high; /* concordance                       */
	pd_bridge_place place[PD_BRIDGE_PLACES];
	pd_points points;        /* n_xy: middle and second over first         */
} pd_bridge_answer;

#endif
