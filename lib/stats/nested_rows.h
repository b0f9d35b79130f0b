/*
 * nested_rows.h - inside the nested model: what a fit says row by row, from
 * one more walk over the tree that keeps every group apart (the walks of the
 * likelihood treat groups of one shape together). Letters: nested_tree.h.
 *
 * With E and Omega of the deepest group of a row (its own effect included),
 * R_r the row's random columns and W_r = [x_r y~_r], s^2 = 1:
 *   (V^-1 W)_r  = W_r - R_r E
 *   (V^-1)_rr   = 1 - R_r Omega R_r'
 * O(n depth r^2 w): linear in the rows, however large a group is.
 */
#ifndef PERDRAW_STATS_NESTED_ROWS_H
#define PERDRAW_STATS_NESTED_ROWS_H

#include "stats/nested_tree.h"

struct pd_rows {
	double *vw;      /* n*ld: V^-1 W                                     */
	double *inverse; /* n: (V^-1)_rr                                     */
	double *total;   /* n: V_rr                                          */
	double *raw;     /* n: y~ - Q b~, marginal residual                  */
	double *part;    /* n: (V^-1 raw)_r, conditional residual            */
	double *fixed;   /* n: (V^-1 X Phi X'V^-1)_rr                        */
	double *lean;    /* n: (X Phi X')_rr                                 */
	double *chol;    /* p*p: X'V^-1 X = chol chol'                       */
};

/* At the fit (the passes are brought back to it); memory from `arena`.
 * PD_USAGE: not fitted; PD_NO_MEMORY; PD_NUMERIC. */
pd_status pd_rows_make(struct pd_nested *m, pd_arena *arena,
                       struct pd_rows *out, pd_error *err);

/*
 * out[n]: raw residuals made independent, y~ units over s: each row less what
 * the rows before it in its outermost group foretell of it, over the sd of
 * what is left. Rows count from the first on, groups inside a group by code.
 * raw[n] as in pd_rows. At known b and V they are independent standard normal.
 */
pd_status pd_rows_independent(const struct pd_nested *m, const double *raw,
                              double *out, pd_error *err);

/* x[p] <- chol^-1 x */
void pd_rows_forward(const double *chol, size_t p, double *x);
/* x[p] <- chol'^-1 x */
void pd_rows_backward(const double *chol, size_t p, double *x);

#endif
