/*
 * count_unit.h - the integral over the random intercept of one unit (the rows
 * of a patient, or of a case within one) by adaptive Gauss-Hermite quadrature.
 * Not for callers outside the count rooms.
 *
 * Of one unit, with e_j the rows' linear predictors, a a shift, s the sd:
 *   G(z) = sum_j l_j(e_j + a + s z) - z^2/2 - ln(2 pi)/2,
 *   mode m: G'(m) = s sum l' - m = 0,   H = -G''(m) = 1 - s^2 sum l'',
 *   L = ln sum_k w_k exp(x_k^2 + G(m + r x_k)) + ln r,   r = sqrt(2 / H).
 * For a parameter b, with P_k the share of node k in the sum:
 *   dL = sum_k P_k [G_b(z_k) + G'(z_k) (dm + x_k dr)] + dr / r,
 *   dm = (d/db) G'(m) / H,
 *   dr / r = -dH / (2 H),  dH = (d/db) H(m) - s^3 sum l''' dm.
 * For a coefficient this is sum_j weight_j x_j, one weight a row:
 *   weight = sum_k P_k l'(z_k) + c1 l''(m) + c2 l'''(m),
 *   c2 = (S1 + 1) s^2 / (2 H),  c1 = (s / H) (S0 + c2 s sum l'''),
 *   S0 = sum_k P_k G'(z_k),  S1 = sum_k P_k G'(z_k) x_k r,
 * and the sum of the weights is the slope in the shift a.
 */
#ifndef PERDRAW_STATS_COUNT_UNIT_H
#define PERDRAW_STATS_COUNT_UNIT_H

#include "stats/count_mixed.h"
#include "stats/count_row.h"
#include "stats/count_wide.h"

typedef struct pd_count_rule {
	unsigned nodes;
	double node[PD_COUNT_MOST_NODES];       /* x_k                       */
	double log_weight[PD_COUNT_MOST_NODES]; /* ln w_k + x_k^2            */
} pd_count_rule;

/*
 * Rows of a unit. Of whole Poisson rows the law of the sum says all there is
 * about the intercept: they are handed over as one row, y the sum of the
 * counts and mu that of the means, the rest of the likelihood in `base`.
 */
typedef struct pd_count_unit {
	size_t n;
	const double *e, *mu;    /* n: e_j and exp(e_j)                      */
	const double *y;         /* n                                        */
	const unsigned char *at_least; /* n; NULL: all rows were counted     */
	/* Of counted rows only: sums of what no intercept changes, that is
	 * rise(y) - ln y! + y e and the slopes of rise (count_row.h). */
	double base, base_t, base_tt, sum_y;
} pd_count_unit;

/* The rows' l', l'', l''' and those in t = ln theta, at one z; scratch. */
typedef struct pd_count_slots {
	double *e, *ee, *eee, *et, *eet;
} pd_count_slots;

typedef struct pd_count_desk {
	const pd_count_table *table;
	const pd_count_kernel *kernel;
	pd_count_slots at, mode; /* `longest` each                           */
} pd_count_desk;

/* The integral's logarithm and its slopes; the mode is left in *mode. */
typedef struct pd_count_integral {
	double value, shift, log_sd, t;
} pd_count_integral;

/*
 * What Newton's curvature is made of, the quadrature taken as exact (Louis
 * 1982, J R Stat Soc B 44, 226-233): E G'' + Var G' over the nodes' shares.
 */
typedef struct pd_count_spread {
	size_t p, stride;
	const double *x;      /* column k of row j at k * stride + j         */
	double *ee, *ez, *et; /* n: E l'', E s z l'', E l'_t                 */
	double *part, *first; /* p + 2                                       */
	double *second;       /* (p + 2) square, lower half: Var G', and
	                         E G'' of (ln s, t)                          */
} pd_count_spread;

/* 1 .. PD_COUNT_MOST_NODES. */
pd_status pd_count_rule_set(pd_count_rule *r, unsigned nodes, pd_error *err);
pd_status pd_count_desk_new(pd_arena *arena, const pd_count_table *table,
                            size_t longest, pd_count_desk *out,
                            pd_error *err);
/* One node: where the intercept is most likely; 0 when it cannot be found. */
int pd_count_unit_mode(const pd_count_desk *d, const pd_count_unit *u,
                       double shift, double sd, double *mode);
/*
 * The top of a concave function searched by its slope: a bracket, beginning
 * as { -INFINITY, INFINITY, INFINITY }, and the next place to look at. This is
 * Newton's, unless it leaves the bracket or the steps do not shrink.
 */
typedef struct pd_count_bracket {
	double low, high, last;
} pd_count_bracket;
double pd_count_next(pd_count_bracket *b, double z, double slope, double bend);

/*
 * weight[n] as above. *mode: where to begin in, where it is out. spread NULL:
 * not wanted. value NaN where the integral cannot be computed.
 */
pd_count_integral pd_count_unit_integral(const pd_count_desk *d,
                                         const pd_count_rule *r,
                                         const pd_count_unit *u, double shift,
                                         double sd, double *mode,
                                         double *weight,
                                         pd_count_spread *spread);

/* Sums over the rows at one shift, those that `depth` asks for (count_wide.h);
 * without the random effect's own law. */
typedef struct pd_count_sums {
	double l, e, ee, eee, t, tt, et, eet;
} pd_count_sums;
void pd_count_unit_sums(const pd_count_desk *d, const pd_count_unit *u,
                        double shift, pd_count_depth depth,
                        const pd_count_slots *slots,
                        pd_count_sums *out);

#endif
