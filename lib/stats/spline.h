/*
 * spline.h - a smooth curve of a dose inside any linear model: the restricted
 * cubic spline, cubic between knots and a straight line beyond the outer two.
 *
 * With knots t_1 < ... < t_k the columns of a dose v are
 *   B_1 = v - t_1
 *   B_j+1 = (cube(v - t_j) - cube(v - t_k-1) (t_k - t_j) / (t_k - t_k-1)
 *            + cube(v - t_k) (t_k-1 - t_j) / (t_k - t_k-1)) / (t_k - t_1)^2,
 *   cube(x) = max(x, 0)^3,  j = 1 .. k - 2,
 * k - 1 of them, all in the unit of v: the truncated power form. The model has
 * a constant besides; it is then the height at the first knot.
 *
 * Sources: Stone & Koo (1985), Proc. Stat. Comp. Section ASA, 45-48; Durrleman
 * & Simon (1989), Stat. Med. 8, 551-561; Harrell (2001), Regression Modeling
 * Strategies, section 2.4 (scaling, default places). From memory.
 */
#ifndef PERDRAW_STATS_SPLINE_H
#define PERDRAW_STATS_SPLINE_H

#include "base/estimate.h"
#include "base/status.h"
#include "stats/nested.h"

enum { PD_SPLINE_LEAST = 3, PD_SPLINE_MOST = 7 };

/*
 * The knots and what the data show of each stretch: number 0 up to the first
 * knot, number j strictly between knots j and j + 1, number k from the last
 * knot on (the outer knots themselves count with the outer stretches).
 */
typedef struct pd_spline {
	size_t k;
	double knot[PD_SPLINE_MOST];
	size_t distinct[PD_SPLINE_MOST + 1]; /* distinct doses               */
	size_t rows[PD_SPLINE_MOST + 1];
} pd_spline;

/*
 * k knots, 3 to 7, at quantiles of v[n] (any order; linear between the order
 * statistics at 1 + (n - 1) q):
 *   3: .10 .50 .90          4: .05 .35 .65 .95
 *   5: .05 .275 .50 .725 .95    6: .05 .23 .41 .59 .77 .95
 *   7: .025 .1833 .3417 .50 .6583 .8167 .975
 * (Harrell 2001, table 2.3.) Refuses as pd_spline_given.
 */
pd_status pd_spline_default(const double *v, size_t n, size_t k,
                            pd_spline *out, pd_error *err);
/*
 * knot[k] ascending, in the unit of v. PD_USAGE: k outside 3 to 7. PD_DATA: a
 * number that is not finite, knots not ascending (row or knot named).
 * PD_REFUSED, with knots and counts named: no dose up to the first knot, none
 * from the last on, none strictly between two neighbours, or no more distinct
 * doses than knots (nothing would show a lack of fit). PD_NUMERIC: doses whose
 * cubes are out of the range of doubles.
 */
pd_status pd_spline_given(const double *v, size_t n, const double *knot,
                          size_t k, pd_spline *out, pd_error *err);

/* The k - 1 columns at v, and their slopes by v (per unit of v). */
void pd_spline_basis(const pd_spline *s, double v, double *out);
void pd_spline_slope(const pd_spline *s, double v, double *out);
/* Columns of v[n] into x, row-major with `width` columns, from column
 * `first` on; first + k - 1 <= width. */
void pd_spline_columns(const pd_spline *s, const double *v, size_t n,
                       double *x, size_t width, size_t first);

/* ---- after a fit -------------------------------------------------------- */

/* Any fit with the spline's columns at `first` .. first + k - 2 of its p. */
typedef struct pd_spline_fit {
	size_t p, first;
	const double *beta;       /* p                                       */
	const double *covariance; /* p*p                                     */
	double df;                /* > 0; INFINITY: normal law               */
} pd_spline_fit;

/*
 * From a fitted mixed model with p fixed columns: covariance[p*p] is the
 * caller's room and receives the one of `method` (Kenward-Roger: adjusted);
 * df is the denominator of the joint F test of the spline's columns, used for
 * the whole curve. Errors as pd_nested_f_test.
 */
pd_status pd_spline_nested(const pd_spline *s, pd_nested *m, size_t p,
                           size_t first, pd_df_method method,
                           double *covariance, pd_spline_fit *out,
                           pd_error *err);

/* c[p]: contrast f(to) - f(from); for pd_nested_contrast, whose df are those
 * of the single contrast, or any other room's. */
void pd_spline_between(const pd_spline *s, size_t p, size_t first, double from,
                       double to, double *c);
/*
 * f(to) - f(from) with Student t limits on fit->df: of a log outcome exp() of
 * it is the ratio at `to` over that at `from`. PD_USAGE: to = from, level.
 */
pd_status pd_spline_contrast(const pd_spline *s, const pd_spline_fit *fit,
                             double from, double to, double level,
                             pd_estimate *out, pd_error *err);

typedef enum pd_spline_part {
	PD_SPLINE_ALL,   /* all k - 1 columns: no association at all         */
	PD_SPLINE_CURVED /* the k - 2 curved ones: a straight line           */
} pd_spline_part;
/* rows (k - 1 or k - 2) contrasts, each p long, for pd_nested_f_test. */
size_t pd_spline_rows(const pd_spline *s, size_t p, size_t first,
                      pd_spline_part part, double *c);
/* F = b'C^-1 b / rows on rows and fit->df. PD_NUMERIC: C is singular. */
pd_status pd_spline_test(const pd_spline *s, const pd_spline_fit *fit,
                         pd_spline_part part, pd_f_test *out, pd_error *err);

/* One place of the curve: pointwise limits in `at`, simultaneous beside. */
typedef struct pd_spline_point {
	double v;
	pd_estimate at;
	double low_all, high_all;
} pd_spline_point;

typedef struct pd_spline_band {
	double critical;  /* simultaneous limits are value +- critical * se  */
	double tube, scheffe; /* the two bounds, of which the smaller is used */
	double length;    /* of the curve's path on the unit sphere, radians */
	size_t rank;
} pd_spline_band;

/*
 * The curve at grid[m], ascending, with a band that holds at every dose from
 * grid[0] to grid[m - 1] at once with a chance of at least `level`.
 *   base NULL: f(v) - f(reference);  at v = reference value and limits are 0;
 *   base[p]:   base'beta + f(v), base's spline places not read: adjusted
 *              heights. reference is not used.
 * With c(v) the contrast, C = L L', u(v) = L'c / |L'c|, and K the length of
 * u's path, `tube` solves
 *   (K / pi) (1 + c^2 / df)^(-df / 2) + P(|T_df| > c) = 1 - level
 * (exp(-c^2 / 2) without df), an upper bound of the chance that the largest
 * |t| exceeds c, exact while the tube about the path does not meet itself:
 * Naiman (1986), Ann. Statist. 14, 896-906; Sun & Loader (1994), Ann. Statist.
 * 22, 1328-1345. `scheffe` is sqrt(rank F(level; rank, df)), rank k - 1, and
 * one more with a base that is not 0. PD_DATA: grid not ascending or not
 * finite; PD_USAGE: level, m 0, reference not finite; PD_NUMERIC: C not
 * positive definite.
 */
pd_status pd_spline_curve(const pd_spline *s, const pd_spline_fit *fit,
                          const double *base, double reference,
                          const double *grid, size_t m, double level,
                          pd_spline_point *out, pd_spline_band *band,
                          pd_error *err);

#endif
