/*
 * count_groups.h - the likelihood of grouped counts by adaptive quadrature.
 * Not for callers outside the count rooms.
 */
#ifndef PERDRAW_STATS_COUNT_GROUPS_H
#define PERDRAW_STATS_COUNT_GROUPS_H

#include "stats/count_mixed.h"
#include "stats/count_row.h"

typedef struct pd_count_groups {
	size_t n, p, n_groups, longest; /* rows of the longest group         */
	size_t *first;           /* n_groups + 1: rows of group g            */
	int32_t *code;           /* n_groups, ascending                      */
	/* Rows sorted by group: */
	double *q, *offset;      /* n*p columns, n                           */
	size_t *y;
	unsigned char *at_least;
	pd_count_table table;
	unsigned nodes;
	double node[PD_COUNT_MOST_NODES];       /* x_k                       */
	double log_weight[PD_COUNT_MOST_NODES]; /* ln w_k + x_k^2            */
	double *mode;            /* n_groups: where the last search ended    */
	bool free_theta;         /* ln theta is parameter p + 1              */
	/* Scratch: */
	double *linear;          /* longest                                  */
	pd_count_slopes *row;    /* longest                                  */
	double *part, *shift, *spread, *sum; /* p + 2 each                   */
	double log_part[PD_COUNT_MOST_NODES];
	double *hessian_low, *hessian_high, *moved; /* p + 2 each            */
} pd_count_groups;

/* q: n*p row-major, any columns (the rows' own or standardised). */
pd_status pd_count_groups_new(pd_arena *arena, const pd_mixed_spec *spec,
                              const double *q, pd_count_groups *out,
                              pd_error *err);
/* Nodes of the rule in use: 1 .. PD_COUNT_MOST_NODES. */
pd_status pd_count_groups_nodes(pd_count_groups *g, unsigned nodes,
                                pd_error *err);
/*
 * pd_newton_function over (coefficients of q, ln sd[, ln theta]): the
 * approximated log-likelihood and its gradient, both analytic; the Hessian by
 * central differences of the gradient.
 */
void pd_count_groups_likelihood(void *with, const double *par, double *value,
                                double *gradient, double *hessian);

#endif
