/*
 * kenward.h - inside the nested model: what small-sample inference needs from
 * one fit, kept apart from the tree so that several fits can be combined.
 * Everything is in the coordinates of Q (X = Q U): a contrast c'b enters as
 * c~ = U'^-1 c.
 */
#ifndef PERDRAW_STATS_KENWARD_H
#define PERDRAW_STATS_KENWARD_H

#include "base/arena.h"
#include "stats/nested.h"

struct pd_nested;

struct pd_df_parts {
	size_t p, k;           /* fixed columns; variance parameters, the
	                          residual last, those at 0 left out         */
	bool reml;
	double *beta;          /* p: U b, data units                         */
	double scale2;         /* s^2 in data units                          */
	double *phi;           /* p*p: (Q'V^-1 Q)^-1, s^2 = 1                */
	double *adjusted;      /* p*p: Kenward-Roger's Phi_A, s^2 = 1        */
	double *phi_p;         /* k * p*p: Phi P_i Phi                       */
	double *w;             /* k*k: inverse expected information          */
	double *v;             /* k*k: inverse observed information          */
	bool observed;         /* false: v is w, the observed one not > 0    */
	double *work;          /* 6*p*p + 4*k*k                              */
};

/* From a fitted model; all memory from `arena`. */
pd_status pd_df_make(const struct pd_nested *m, pd_arena *arena,
                     struct pd_df_parts *out, pd_error *err);
/* Value, variance and df of c~'(U b); df INFINITY for the normal law. */
pd_status pd_df_one(const struct pd_df_parts *d, const double *c,
                    pd_df_method method, double *value, double *variance,
                    double *df, pd_error *err);
/* Wald F test of C~ (U b) = 0, C~ rows*p row-major. */
pd_status pd_df_joint(const struct pd_df_parts *d, const double *c,
                      size_t rows, pd_df_method method, pd_f_test *out,
                      pd_error *err);
/* Covariance of C~ (U b), rows*rows, data units: adjusted when method says. */
void pd_df_covariance(const struct pd_df_parts *d, const double *c,
                      size_t rows, pd_df_method method, double *out);
/* c~ = U'^-1 c for `rows` contrasts, each p long. */
void pd_df_turn(const struct pd_nested *m, const double *c, size_t rows,
                double *out);
/* Interval and two-sided p of value with its variance and df. */
pd_status pd_df_estimate(double value, double variance, double df,
                         double level, pd_estimate *out, pd_error *err);

#endif
