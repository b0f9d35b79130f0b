/*
 * count_groups.h - the likelihood of grouped counts by adaptive quadrature:
 * the groups' integrals (count_unit.h) added up.
 * Not for callers outside the count rooms.
 */
#ifndef PERDRAW_STATS_COUNT_GROUPS_H
#define PERDRAW_STATS_COUNT_GROUPS_H

#include "stats/count_unit.h"

typedef struct pd_count_groups {
	size_t n, p, n_groups, longest; /* rows of the longest group         */
	size_t *first;           /* n_groups + 1: rows of group g            */
	int32_t *code;           /* n_groups, ascending                      */
	/* Rows sorted by group: */
	size_t *from;            /* n: the row of the caller's               */
	double *offset, *y;      /* n, n                                     */
	pd_count_columns x;      /* the model's                               */
	unsigned char *at_least; /* n                                        */
	unsigned char *cut;      /* n_groups: some row is cut off            */
	int any_cut;
	pd_count_table table;
	pd_count_rule rule;
	double *mode;            /* n_groups: where the last search ended    */
	bool free_theta;         /* ln theta is parameter p + 1              */
	bool exact;              /* Hessian of the rule itself; otherwise
	                            that of the integral, for searching      */
	bool rough;              /* a Hessian good enough to begin a search
	                            with: by the shares of a rule of 5 nodes
	                            (of nested groups: differences to one
	                            side)                                    */
	pd_count_rule shares;    /* that rule                                */
	/* Scratch: */
	pd_count_desk desk;
	pd_count_spread spread;  /* over the rows of a group                 */
	pd_count_spread alone;   /* over the one row of a sum: p 1, x 1      */
	double alone_room[4 + 3 + 3 + 9];
	double *linear, *mean, *weight, *bend; /* n                          */
	double *unit_weight;     /* longest                                  */
	double *bar;             /* p                                        */
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
 * approximated log-likelihood and its gradient, both analytic. The Hessian
 * where `exact` by central differences of the gradient (of whole Poisson
 * counts: of the two slopes of each group's own integral), else by the shares
 * of the nodes, `rough` by those of a rule of 5 nodes in place of that in use.
 */
void pd_count_groups_likelihood(void *with, const double *par, double *value,
                                double *gradient, double *hessian);

/*
 * n rows made a unit at their predictors linear[n]; mean[n] takes exp of them.
 * Whole Poisson rows (`cut` 0, theta INFINITY) become their sum, held by `one`,
 * and 1 is returned; 0 where the unit is the rows themselves.
 */
typedef struct pd_count_one {
	double e, mu, y;
} pd_count_one;
int pd_count_unit_make(const pd_count_desk *d, size_t n,
                       const double *linear, double *mean, const double *y,
                       const unsigned char *at_least, int cut,
                       pd_count_one *one, pd_count_unit *out);

#endif
