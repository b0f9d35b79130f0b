/*
 * fit.h - the adjusted mixed model of a question's rows.
 * Columns, in this order: intercept, adjusters, the unit means of the effect
 * (within only), the effect. The effect stands last, so that a pivoted
 * reduction blames it, not an adjuster, when the two cannot be told apart;
 * then there is no answer, and the words say which.
 *
 * within a unit (patient, case, side, site) the effect column x is split,
 *   x_ij = (x_ij - mean_j x) + mean_j x,
 * and the question is the coefficient of the first part: only differences
 * inside a unit speak (Neuhaus & Kalbfleisch 1998, Biometrics 54, 638-645).
 */
#ifndef PERDRAW_PLAN_FIT_H
#define PERDRAW_PLAN_FIT_H

#include "plan/rows.h"
#include "stats/design.h"
#include "stats/impute.h"
#include "stats/spline.h"

typedef struct pd_fit_ask {
	const unsigned char *keep; /* one a row; NULL: all rows               */
	bool adjust;               /* the question's adjusters and method versions */
	bool within;               /* split inside question->within           */
	bool calendar;             /* a calendar slope beside the adjusters   */
	bool measured_only;        /* leave censored rows out                 */
	bool curved;               /* add the square of a slope's x           */
	bool across_versions;      /* method versions not held equal          */
	bool counts;               /* colonies as counts: only effect[0], no
	                              model comes back ...                    */
	size_t inner;              /* ... and the level of the fit, 1 or deeper,
	                              that is random beside the outermost; 0:
	                              none                                    */
	bool light;                /* a quarter of the completed sets         */
} pd_fit_ask;

typedef struct pd_fit {
	pd_impute *model;          /* NULL when refused                       */
	pd_design design;
	size_t n, *row;            /* rows used, and which of pd_rows         */
	size_t n_effects;
	double *contrast;          /* n_effects * design.p                    */
	pd_estimate *effect;       /* n_effects, working scale                */
	pd_estimate curvature;     /* with curved                             */
	size_t x_column;           /* slope: column of the effect             */
	double x_mean;             /* slope: its centre                       */
	pd_spline *curve;          /* its knots; NULL: no curve               */
	size_t curve_column[PD_SPLINE_MOST];
	double curve_mean[PD_SPLINE_MOST]; /* of its columns, before a split  */
	size_t differs_column;     /* effect times modifier                   */
	double differs_mean;       /* of the modifier, in its steps           */
	size_t depth;              /* levels of the fit, after pruning        */
	size_t level[PD_ROWS_DEPTH]; /* their index in pd_rows                */
	size_t n_groups[PD_ROWS_DEPTH];
	const char *refusal;       /* words when the data cannot tell         */
	const char *aliased;       /* adjusters left out and why, or NULL     */
} pd_fit;

/* Words go into `arena`, arrays into `scratch`, which must outlive *out. */
pd_status pd_fit_run(const pd_plan *plan, const pd_question *q,
                     const pd_rows *rows, const pd_fit_ask *ask,
                     pd_arena *arena, pd_arena *scratch, pd_fit *out,
                     pd_error *err);
void pd_fit_clear(pd_fit *fit);

/* c[p], a row of the columns' means, moved to value x of the slope's or
 * curve's parameter. */
void pd_fit_place(const pd_fit *fit, double x, double *c);

/* Names of the adjusters of the fit in words, "age, sex"; NULL when none. */
const char *pd_fit_adjusters(const pd_question *q, const pd_rows *rows,
                             pd_arena *arena);

#endif
