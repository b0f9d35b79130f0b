/*
 * robust_cluster_own.h - inside robust_cluster*.c. Coordinates: X = Q U as in
 * nested_columns.c, Q standing for X below; y scaled, s^2 left out (A_i and df
 * do not depend on it).
 */
#ifndef PERDRAW_STATS_ROBUST_CLUSTER_OWN_H
#define PERDRAW_STATS_ROBUST_CLUSTER_OWN_H

#include "base/arena.h"
#include "stats/robust_cluster.h"

/* What a cluster adds, E_i = A_i'W_i X_i (n_i*p). */
struct pd_cluster_part {
	double *xe;            /* p*p: X_i'E_i                                */
	double *fe;            /* p*p: X_i'W_i V_i E_i                        */
	double *ve;            /* p*p: E_i'V_i E_i                            */
	double *score;         /* p: E_i'e_i                                  */
};

struct pd_clustered {
	pd_arena *arena;
	size_t p, clusters;
	double *u;             /* p*p upper                                   */
	double *beta, *covariance;  /* data units                             */
	double *bread;         /* p*p: B                                      */
	double *model;         /* p*p: M = B X'W V W X B                      */
	double *robust;        /* p*p: covariance, scaled y                   */
	double y_scale;
	struct pd_cluster_part *part; /* clusters                             */
};

/* One cluster's rows. v NULL: V_i is `variance` (all its rows the same, as
 * are their weights) times the identity. */
struct pd_cluster_rows {
	size_t n;
	double *x, *wx, *fx;   /* n*p: X_i, W_i X_i, V_i W_i X_i              */
	double *e;             /* n: residuals                                */
	double *v;             /* n*n                                         */
	double variance;
};

/* Clusters of rows: row[start[i]] .. row[start[i + 1] - 1], in order of code,
 * rows as they come. PD_DATA: a code below 0; PD_REFUSED: a single one. */
struct pd_cluster_sort {
	size_t n, clusters, longest, *row, *start;
};
pd_status pd_cluster_sort(pd_arena *arena, const int32_t *code, size_t n,
                          struct pd_cluster_sort *out, pd_error *err);

/* part from rows; bread and model of r must stand. PD_NUMERIC, PD_NO_MEMORY. */
pd_status pd_cluster_adjust(const struct pd_clustered *r,
                            const struct pd_cluster_rows *rows,
                            struct pd_cluster_part *part, pd_error *err);

/* A new one with its room; NULL without memory. */
struct pd_clustered *pd_clustered_start(size_t p, size_t clusters);
/* robust, and covariance in data units, from the scores of all parts. */
void pd_clustered_finish(struct pd_clustered *r);

#endif
