/*
 * watch.h - has the yield drifted or shifted? Plain structs the plan room
 * fills and the report room words and draws.
 */
#ifndef PERDRAW_BASE_WATCH_H
#define PERDRAW_BASE_WATCH_H

#include "base/answer.h"
#include "base/dishes.h"

/* What the cases after a signal say of it. */
typedef enum pd_shift {
	PD_SHIFT_HELD,           /* they stayed away from the level before     */
	PD_SHIFT_PASSED,         /* they did not                               */
	PD_SHIFT_RECENT          /* too few of them yet                        */
} pd_shift;

/* One shift found by a chart, in the order of time. */
typedef struct pd_signal {
	pd_shift state;
	const char *chart;       /* what raised it: "cumulative sum", "weighted
	                            average" or "both"                         */
	const char *group;       /* "all cases", "operator op-a", ...          */
	double time;             /* of the case at which it was raised, years  */
	const char *date;        /* the same, as a date                        */
	const char *since;       /* likely start: date of the first case moved */
	size_t n_since;          /* cases from there to the signal             */
	size_t n_before, n_after; /* cases compared: from the last shift that
	                            held (or the first case) to the start; from
	                            there to the next that held (or the last
	                            case), of one that passed to the signal    */
	double change, low, high; /* after against before: ratio, or points;
	                            interval as if the start were known        */
	const char *beside;      /* a method version that begins between, or NULL */
} pd_signal;

/* A chart to draw: one place a case. */
typedef struct pd_chart {
	const char *group;
	size_t n, n_base;        /* cases; those of the baseline               */
	double limit_sum, limit_average; /* h; L of the average                */
	const double *time;      /* n, decimal years                           */
	const double *average;   /* n, of the scores                           */
	const double *half;      /* n, limits of the average about 0           */
	const double *up, *down; /* n, cumulative sums of the scores           */
	size_t n_signals;        /* of this group                              */
} pd_chart;

/* One operator beside the others. */
typedef struct pd_funnel_row {
	const char *name;
	size_t n;
	double mean;             /* of case residuals, ratio or points         */
	double shrunk, low, high; /* partially pooled, with limits             */
	double limit_low, limit_high; /* of the funnel at its n, 95 %          */
	double far_low, far_high; /* the same, 99.8 %                          */
	bool outside;            /* of the far limits                          */
} pd_funnel_row;

typedef struct pd_mark_at {
	double time;
	const char *words;       /* "method version 'lab-b 1' begins"          */
} pd_mark_at;

typedef struct pd_watch_answer {
	pd_review context;
	const char *outcome_words, *judge_words, *unit, *adjusters, *where_text;
	pd_scale scale;
	double level;
	const char *refusal;
	double quarters;         /* between false signals of all charts together,
	                            at the cases a quarter there were          */
	double run_length;       /* cases between false signals of one chart   */
	double shift;            /* SDs the cumulative sum is built for        */
	double lambda;
	const char *base_until;
	double sd;               /* of a case, working scale                   */
	double correlation;      /* of a case with the one before, baseline    */
	bool freed;              /* cases were freed of it                     */
	size_t n_returning;      /* later visits, freed of their patient's
	                            earlier ones                               */
	double now, now_low, now_high; /* all cases since the last shift that held
	                            against the baseline; NaN without          */
	size_t n_charts, n_charts_left; /* kept; groups beyond them            */
	pd_chart *chart;
	size_t n_signals, n_not_shown;
	pd_signal *signal;
	size_t n_funnel, n_left_out; /* operators; those with too few cases    */
	pd_funnel_row *funnel;
	double funnel_sd;        /* between operators, working scale           */
	size_t n_marks;
	pd_mark_at *mark;
	const pd_dish_watch *dishes; /* of colonies; NULL: another outcome     */
} pd_watch_answer;

#endif
