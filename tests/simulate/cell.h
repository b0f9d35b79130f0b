/*
 * cell.h - what a simulation cell is: data made anew many times with a known
 * truth, and the methods whose intervals (or claims) are counted on them.
 *
 * To add a cell: write a trial (it makes one data set from the stream and
 * fills one answer a method), put a row into the table of its file, and set
 * the names of its methods. The seed of a cell is made of its name, set i is
 * made from stream i, so that cells and threads do not disturb one another.
 */
#ifndef PERDRAW_TESTS_CELL_H
#define PERDRAW_TESTS_CELL_H

#include "base/arena.h"
#include "base/estimate.h"
#include "base/status.h"
#include "stats/stream.h"

#include <stdint.h>

enum { SIM_METHODS = 4 };

/* What is asked of a method over many sets. */
typedef enum sim_rule {
	SIM_NEAR,  /* covers the asked share, within one percent             */
	SIM_LEAST, /* covers at least that share (exact, so often more)      */
	SIM_MOST,  /* claims something false in at most that share           */
	SIM_SHOWN  /* nothing: stands there for comparison                   */
} sim_rule;

typedef struct sim_method {
	const char *name;
	sim_rule rule;
	double asked;     /* share, 0 to 1                                   */
	double known;     /* share of the full run where the rule is missed; */
	                  /* 0: the rule is kept                             */
	const char *note; /* why it is missed; NULL                          */
} sim_method;

/* One method on one set. hit: the truth was covered (or, for SIM_MOST, the
 * false claim was made). length: of the interval; NaN where none is meant. */
typedef struct sim_answer {
	pd_status status;
	int hit;
	double length;
	int not_finite; /* an end that is NaN though the status is PD_OK     */
} sim_answer;

typedef struct sim_cell sim_cell;
typedef void sim_trial(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                       sim_answer *out);

struct sim_cell {
	const char *name;
	sim_trial *trial;
	const void *with;   /* the trial's own numbers                       */
	unsigned quick;     /* sets in the quick run, 0: full run alone      */
	unsigned full_part; /* full run: one in so many sets; 0: all         */
	size_t n_methods;
	sim_method method[SIM_METHODS];
};

typedef struct sim_list {
	const sim_cell *cell;
	size_t n;
} sim_list;

#define SIM_LIST(table) { table, sizeof(table) / sizeof *(table) }

extern const sim_list sim_pairs, sim_groups, sim_mixed, sim_counts,
	sim_limits, sim_looks, sim_studies, sim_rooms, sim_curves,
	sim_bends, sim_alike;

/* ---- answers (cell.c) -------------------------------------------------- */

/* low .. high against truth; an infinite end is allowed. */
void sim_interval(sim_answer *a, pd_status st, double low, double high,
                  double truth);
void sim_estimate(sim_answer *a, pd_status st, const pd_estimate *e,
                  double truth);
/* A claim that would be false. */
void sim_claim(sim_answer *a, pd_status st, int made);

/* ---- numbers (cell.c) -------------------------------------------------- */

/* Poisson by inversion; mean up to 500. */
double sim_poisson(pd_stream *s, double mean);
/* Negative binomial, variance mean + mean^2 / theta. */
double sim_negative_binomial(pd_stream *s, double mean, double theta);

/* ---- marrow draws down a tree (cell.c) --------------------------------- */

enum { SIM_ROWS = 400 };

/* Two arms; an arm changes from row to row (0) or from patient to patient
 * (1). Counts of cases and rows are drawn between their ends. */
typedef struct sim_plan {
	size_t patients;
	unsigned cases_low, cases_high, rows_low, rows_high;
	double sd[3];  /* patient, case, residual; natural log scale         */
	int between;
	double slope_sd; /* of the arm's effect between patients             */
	double mean, theta; /* counts: mean of arm 0, NB size                */
	double share;  /* of values below the limit of detection             */
	double extra;  /* what a trial wants besides                         */
} sim_plan;

typedef struct sim_tree {
	size_t n, n_cases, n_arm[2];
	double x[2 * SIM_ROWS], y[SIM_ROWS], mean[SIM_ROWS];
	int32_t patient[SIM_ROWS], visit[SIM_ROWS];
} sim_tree;

extern const double sim_effect; /* of arm 1, ln 0.7                      */

/* y = effect x arm + patient + case + residual; mean is y without residual.
 * NULL when memory runs out. */
sim_tree *sim_grow(const sim_plan *plan, pd_stream *s, pd_arena *arena);
/* Doses v[n] of 1 to 9 mL in the place of arms: y follows height(v). */
void sim_doses(sim_tree *t, double (*height)(double), double *v,
               pd_stream *s);

#endif
