/*
 * nested_influence.h - who and what moves a fit of the nested model: every
 * outermost group (patient) left out in turn by closed form, every row's
 * residual against its own sd, and exact refits without the groups that
 * matter most.
 *
 * With the variance parameters held at the fit, r_i = y_i - X_i b,
 *   A = X'V^-1 X,  A_i = X_i'V_i^-1 X_i,  g_i = X_i'V_i^-1 r_i,
 *   b - b_(i) = (A - A_i)^-1 g_i        (s^2 = 1 in V throughout)
 * A_i and g_i of all groups come from one walk over the tree, O(rows), and
 * everything below from them, O(groups p^3): no refits.
 * Without levels every row is a group of its own.
 * Source: Christensen, Pearson & Johnson (1992), Technometrics 34, 38-45;
 * Zewotir & Galpin (2005), J. Data Sci. 3, 153-177.
 */
#ifndef PERDRAW_STATS_NESTED_INFLUENCE_H
#define PERDRAW_STATS_NESTED_INFLUENCE_H

#include "base/arena.h"
#include "stats/nested.h"
#include "stats/normality.h"

/* One outermost group, numbered from 0 in order of its code. */
typedef struct pd_left_out {
	size_t group, rows;
	bool determined;     /* false: some coefficient rests on this group
	                        alone; cook and cov_ratio are then INFINITY   */
	double leverage;     /* tr A^-1 A_i; all groups add up to p           */
	double cook;         /* (b - b_(i))' A (b - b_(i)) / (p s^2)          */
	double cov_ratio;    /* |(A - A_i)^-1| / |A^-1|, >= 1                 */
	double distance;     /* r_(i)' W_i^-1 r_(i), r_(i) = y_i - X_i b_(i),
	                        W_i its covariance                            */
	double distance_df;  /* rows, less directions not determined          */
	double distance_p;   /* chi-square; exact if the variances were known */
	double marginal_mean, marginal_rms;   /* of y - Xb, data units        */
	double conditional_rms;               /* of y - Xb - Zu               */
} pd_left_out;

typedef struct pd_influence {
	size_t n, p, groups;
	pd_left_out *group;  /* groups                                        */
	size_t *order;       /* groups: by falling cook, ties by group        */
	double *shift;       /* groups * p: b - b_(i), data units; NaN exactly
	                        for coefficients that are not determined      */
	double *shift_se;    /* the same over each coefficient's se           */
	/* by row, in the order of the data */
	double *marginal;    /* y - Xb                                        */
	double *conditional; /* y - Xb - Zu                                   */
	double *marginal_z, *conditional_z; /* over their own sd, that of b
	                        included; 0 where the fit leaves no freedom   */
	double *independent; /* decorrelated, see below; about N(0, 1)        */
	bool judged;         /* shape below is filled (20 rows or more)       */
	pd_normality shape;  /* of `independent`                              */
	struct pd_influence_own *own;
	pd_arena *arena;     /* holds all of it                            */
} pd_influence;

/*
 * independent[r]: the row less what the rows before it in its patient foretell
 * of it, over the sd of what is left (residuals made independent by a
 * triangular root of V, as Houseman, Ryan & Coull 2004, JASA 99, 383-394).
 * They depend on the order of rows inside a group; all else does not.
 * PD_USAGE: not fitted; PD_NO_MEMORY; PD_NUMERIC. *out is freed with
 * pd_influence_free and does not need m any more.
 */
pd_status pd_nested_influence(pd_nested *m, pd_influence **out,
                              pd_error *err);
void pd_influence_free(pd_influence *i); /* NULL is welcome */

/* shift[groups] of the contrast c[p]: c'b - c'b_(i); NaN where not determined
 * (so count them). *se (NULL is welcome): of c'b, all rows in. PD_USAGE: c
 * zero or not finite. */
pd_status pd_influence_contrast(const pd_influence *i, const double *c,
                                double *shift, double *se, pd_error *err);

/* The model fitted again without one group, variances included. */
typedef struct pd_refit {
	size_t group;
	pd_status status;    /* of this refit; text says why                  */
	char text[768];
	double *beta;        /* p, data units                                 */
	double *variance;    /* per level its covariance's lower triangle,
	                        column by column as theta; residual last      */
	size_t n_variance;
	double deviance;     /* of the smaller data                           */
} pd_refit;

/*
 * Refits without the groups listed in which[count] (such as i->order), into
 * out[count]; arrays live as long as i. A model that cannot be fitted without
 * a group is told in its status and does not end the call. PD_USAGE: no such
 * group, no levels, m not the model of i (by its sizes); PD_NO_MEMORY.
 */
pd_status pd_influence_refit(pd_nested *m, pd_influence *i,
                             const size_t *which, size_t count, pd_refit *out,
                             pd_error *err);

#endif
