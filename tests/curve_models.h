/*
 * curve_models.h - the curves nonlinear least squares is tried on.
 */
#ifndef PERDRAW_TESTS_CURVE_MODELS_H
#define PERDRAW_TESTS_CURVE_MODELS_H

#include "stats/nonlinear.h"

/* Context of every model: x[n], and for the last two a 0/1 column. */
struct curve_x {
	size_t n;
	const double *x, *group;
};

/* Formulas beside the functions; parameters b1, b2, ... in order. */
pd_curve_model curve_rise;      /* b1 (1 - exp(-b2 x))                      */
pd_curve_model curve_chwirut;   /* exp(-b1 x) / (b2 + b3 x)                 */
pd_curve_model curve_decays;    /* three times b exp(-b' x)                 */
pd_curve_model curve_peaks;     /* decay and two bell shapes                */
pd_curve_model curve_power;     /* b1 x^b2                                  */
pd_curve_model curve_root;      /* b1 (1 - (1 + 2 b2 x)^-1/2)               */
pd_curve_model curve_ratio;     /* (b1 + b2 x + b3 x^2) / (1 + b4 x + b5 x^2) */
pd_curve_model curve_enzyme;    /* b1 (x^2 + b2 x) / (x^2 + b3 x + b4)      */
pd_curve_model curve_logistic;  /* b1 / (1 + exp(b2 - b3 x))                */
pd_curve_model curve_bell;      /* b1 / b2 exp(-((x - b3) / b2)^2 / 2)      */
pd_curve_model curve_saturates; /* b1 x / (b2 + x)                          */
pd_curve_model curve_saturates_two; /* (b1 + b2 group) x / (b3 + x)         */

#endif
