/*
 * censored_groups.h - the likelihood of grouped values known by limits, by
 * adaptive quadrature. Not for callers outside the censored rooms.
 *
 * Of one group, with u_i = q_i'd + w z, z its standard normal effect:
 *   G(z) = sum_i l_i(u_i, h) - z^2/2 - ln(2 pi)/2,   l_i of censored_row.h,
 *   mode m: G'(m) = w sum l_u - m = 0,   H = -G''(m) = 1 - w^2 sum l_uu,
 *   L = ln sum_k w_k exp(x_k^2 + G(m + r x_k)) + ln r,   r = sqrt(2 / H).
 * or, where limits cut an integrand off so sharply that Hermite's nodes take
 * long to settle, by evenly spaced points m + k t outward until nothing is
 * left, t a part of the least width 1 / sqrt(1 + w^2 n) the integrand of a
 * group of n rows can have (|l_uu| <= 1): L = ln sum_k t exp(G(m + k t)), whose
 * error for such integrands falls like exp(-2 (pi / part)^2) (Trefethen &
 * Weideman 2014, SIAM Review 56, 385-458).
 * With P_k the share of node k in the sum (Louis 1982, JRSS B 44, 226-233):
 *   dL/da = sum_k P_k G_a(z_k),
 *   d2L/da db = sum_k P_k (G_ab + G_a G_b) - dL/da dL/db.
 * G is concave in z.
 */
#ifndef PERDRAW_STATS_CENSORED_GROUPS_H
#define PERDRAW_STATS_CENSORED_GROUPS_H

#include "base/arena.h"
#include "base/status.h"
#include "stats/censored_row.h"

#include <stdbool.h>
#include <stdint.h>

enum { PD_CENSORED_MOST_NODES = 161 };

typedef struct pd_censored_groups {
	size_t n, p, n_groups, longest; /* rows of the longest group         */
	size_t *first;           /* n_groups + 1: rows of group g            */
	size_t *row;             /* n: the caller's row of each row here     */
	int32_t *code;           /* n_groups, ascending                      */
	double *q, *low, *high;  /* n*p, n, n, sorted by group               */
	double *mode;            /* n_groups: where the last search ended    */
	unsigned nodes;          /* of Hermite's rule; 0: evenly spaced      */
	double part;             /* t over the least width                   */
	unsigned points;         /* most of them in a group, last time       */
	double node[PD_CENSORED_MOST_NODES];       /* x_k                    */
	double log_weight[PD_CENSORED_MOST_NODES]; /* ln w_k + x_k^2         */
	bool free_sd;            /* ln w is parameter p + 1; false: w is 0   */
	/* Scratch: */
	double *linear;          /* longest                                  */
	pd_censored_slopes *slopes, *sum; /* longest; weighted over nodes    */
	double *part_of_g, *mean, *second; /* p + 2, p + 2, (p + 2)^2        */
} pd_censored_groups;

/* q[n*p], low[n], high[n], group[n]: the caller's order; copied. PD_DATA:
 * negative group code (row named). PD_NO_MEMORY. */
pd_status pd_censored_groups_new(pd_arena *arena, size_t n, size_t p,
                                 const double *q, const double *low,
                                 const double *high, const int32_t *group,
                                 pd_censored_groups *out, pd_error *err);
/* The rule in use: 1 .. PD_CENSORED_MOST_NODES nodes, else PD_DATA; or points
 * evenly spaced at part (above 0, below 1) of the least width. */
pd_status pd_censored_groups_nodes(pd_censored_groups *g, unsigned nodes,
                                   pd_error *err);
void pd_censored_groups_even(pd_censored_groups *g, double part);
/*
 * pd_newton_function over (d[p], h[, ln w]): value, gradient and (unless NULL)
 * Hessian, p + 1 + free_sd parameters, of the exact likelihood by the rule.
 */
void pd_censored_groups_likelihood(void *with, const double *par,
                                   double *value, double *gradient,
                                   double *hessian);

#endif
