/*
 * nested_spread.h - the nested model when classes of rows (method versions)
 * scatter unequally: Var(e_row) = (s r_g)^2, g the class of the row, r_0 = 1.
 *
 * With r known, dividing y, X and Z of every row by its r_g gives the ordinary
 * model, so
 *   d(ln r) = deviance of the divided rows + 2 sum over rows of ln r_g
 * is searched over ln r by quasi-Newton steps, everything else profiled out by
 * pd_nested_fit. Its slope is exact, from the fit's own rows:
 *   d by ln r_g = 2 sum over rows of g of (P_rr - e_r^2 / s^2),
 *   P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1 (s^2 = 1; ML: without the second
 *   term), e the conditional residuals of the divided rows;
 * curvature by central differences of that slope.
 * Source: Pinheiro & Bates (2000), Mixed-Effects Models in S and S-PLUS, ch. 5
 * (model); the slope was derived here.
 */
#ifndef PERDRAW_STATS_NESTED_SPREAD_H
#define PERDRAW_STATS_NESTED_SPREAD_H

#include "base/arena.h"
#include "stats/nested.h"

enum { PD_SPREAD_CLASSES = 32 };

typedef struct pd_unequal_class {
	size_t rows;
	double freedom;      /* sum of P_rr: what tells of its scatter        */
	double sd;           /* s r_g, data units                             */
	double ratio;        /* r_g; 1 for class 0                            */
	pd_estimate log_ratio; /* ln r_g: se from the curvature, limits by the
	                        likelihood profile (an end not reached, or not
	                        within fits that succeed, is infinite),
	                        p of r_g = 1 by the likelihood ratio; df
	                        INFINITY. Class 0: all 0, p 1                 */
} pd_unequal_class;

typedef struct pd_unequal {
	size_t classes;
	pd_unequal_class *by_class; /* classes                                */
	double *covariance;  /* of ln r of classes 1 ..: (classes - 1)^2      */
	double deviance, deviance_equal;
	double chi_square, df, p; /* likelihood ratio: all r_g = 1; df =
	                        classes - 1. Under REML too: same columns     */
	double slope;        /* largest |d by ln r_g| left                    */
	unsigned fits;
	pd_nested *model;    /* the fit of the divided rows: b, covariance and
	                        level variances are in data units, residual sd
	                        is that of class 0, residuals are over r_g    */
	struct pd_unequal_own *own;
	pd_arena *arena;     /* holds all but the model                       */
} pd_unequal;

/*
 * class_of[n]: 0 .. classes - 1, 0 the one others are held against;
 * 2 <= classes <= 32. level of the intervals, 0 < level < 1. Arrays of spec
 * need not outlive the call.
 * PD_USAGE: classes, level; PD_DATA: a code out of range; PD_REFUSED: a class
 * without rows or with less than one degree of freedom for its scatter, one
 * that scatters next to nothing (ratio beyond 10,000: the likelihood has no
 * top), and whatever pd_nested_new refuses; PD_NUMERIC: no top found.
 */
pd_status pd_nested_unequal(const pd_nested_spec *spec,
                            const int32_t *class_of, size_t classes,
                            double level, pd_unequal **out, pd_error *err);
void pd_unequal_free(pd_unequal *u); /* NULL is welcome */

/*
 * Contrast c'b with the uncertainty of the ratios in its df: the inner fit's
 * own df (ratios as known) and the ratios' share joined by
 *   1 / df = 1 / df_inner + g'C g / (2 v^2),
 * v the variance of c'b, g its derivative by ln r along the profile, C the
 * covariance of ln r. Two means by least squares: Welch's df exactly.
 * Kenward-Roger: value and variance of the inner fit, df as above.
 */
pd_status pd_unequal_contrast(pd_unequal *u, const double *c, double level,
                              pd_df_method method, pd_estimate *out,
                              pd_error *err);

#endif
