/*
 * curve_mixed.h - a yield that stops growing with the dose, inside the mixed
 * model: the curves of curve.h for rows that share patients.
 *
 *   y = X b + f(v; turn) + sum over levels of Z u + e   (nested.h), with f
 *   PD_CURVE_LEVEL     slope min(v - turn, 0)
 *   PD_CURVE_SLOPE     slope (v - turn) + change max(v - turn, 0)
 *   PD_CURVE_APPROACH  rise (1 - exp(-v / turn)), turn > 0: the pace
 *
 * Held at one turn the model is linear: its maximum likelihood deviance D is
 * the profile. A bend is sought from the second to the last but one distinct
 * dose: D at every one of them and between (every so many, with more than
 * 100), then in every stretch that holds a low point, by Gauss-Newton steps
 * along df/dturn. A pace is sought from 1/64 to 16 times the largest dose, in
 * steps of a quarter power of 2.
 */
#ifndef PERDRAW_STATS_CURVE_MIXED_H
#define PERDRAW_STATS_CURVE_MIXED_H

#include "base/arena.h"
#include "stats/nested.h"

typedef enum pd_curve_shape {
	PD_CURVE_LEVEL, PD_CURVE_SLOPE, PD_CURVE_APPROACH
} pd_curve_shape;

typedef enum pd_curve_cut {
	PD_CUT_SMALL, /* (df + q) ln(1 + F(level; 1, df) / df)               */
	PD_CUT_LARGE  /* chi-square(level; 1)                                */
} pd_curve_cut;

/* model.x: the other columns. For a bend they must span the constant, whose
 * coefficient is then the height at the bend. model.ml is not read. */
typedef struct pd_curve_mixed_spec {
	pd_nested_spec model;
	const double *v;      /* n doses; not below 0 for an approach         */
	pd_curve_shape shape;
	double level;
	pd_curve_cut cut;
} pd_curve_mixed_spec;

/*
 * turn.value: the least D. turn.low, turn.high: the outermost turns with
 * D <= deviance + cut. `pieces` counts the separate stretches of them (more
 * than one: values between the limits are excluded too). An end reaches the
 * outermost dose where the data do not close it inside, and is -INFINITY or
 * INFINITY where the model without that turn (no curve; a straight line) is
 * within the cut. turn.p is NaN.
 *
 * The other estimates: values of the maximum likelihood fit; se, df and
 * Student t limits by Kenward-Roger (REML) in the model made linear at the
 * turn, with df/dturn as one more column, so that not knowing the turn is
 * counted in; so are turn.se and turn.df. Of cut, df is turn.df and q the
 * number of mean parameters, p + 2 or 3: without random effects the limits of
 * curve.h.
 */
typedef struct pd_curve_mixed {
	pd_estimate turn;
	pd_estimate slope;    /* before the bend; at v = 0 (rise / pace)     */
	pd_estimate change;   /* at the bend; LEVEL: -slope; APPROACH: zeros */
	pd_estimate after;    /* slope after the bend; SLOPE only            */
	pd_estimate rise;     /* APPROACH only                               */
	size_t p;
	pd_estimate *other;   /* p: coefficients of X                        */
	size_t pieces;
	double deviance;      /* -2 log-likelihood at turn.value             */
	double straight;      /* the same with a straight line for f         */
	double flat;          /* the same without f                          */
	double cut;
	double residual_sd;   /* maximum likelihood, as are these:           */
	double covariance[PD_NESTED_LEVELS][PD_NESTED_BLOCK * PD_NESTED_BLOCK];
	unsigned fits;        /* of the linear model, in all                 */
} pd_curve_mixed;

/*
 * out->other lives in the arena. PD_DATA: a dose that is not finite (or below
 * 0 for an approach: row named), level. PD_USAGE: no constant among X for a
 * bend. PD_REFUSED: fewer than four distinct doses; no turn at all (the
 * straight line is as good); and as pd_nested_new. PD_NUMERIC: as
 * pd_nested_fit, when no turn could be fitted.
 * Sources: Hudson (1966), JASA 61, 1097-1129; Muggeo (2003), Stat. Med. 22,
 * 3055-3071 (the step); Pinheiro & Bates (2000), Mixed-Effects Models, 7-8.
 */
pd_status pd_curve_mixed_fit(pd_arena *arena, const pd_curve_mixed_spec *spec,
                             pd_curve_mixed *out, pd_error *err);

/* D at one turn: for a figure of the profile, and for tests. */
pd_status pd_curve_mixed_deviance(const pd_curve_mixed_spec *spec, double turn,
                                  double *value, pd_error *err);

#endif
