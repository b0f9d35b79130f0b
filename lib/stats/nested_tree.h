/*
 * nested_tree.h - inside the nested model: the tree of groups and what each
 * node holds. Used by nested*.c, kenward.c and impute.c, by nobody else.
 *
 * Letters, used the same way in all of these files (scaled units, s^2 = 1):
 *   W = [X y]   fixed columns and outcome, w = p + 1 of them; X is replaced
 *               by Q (X = Q U, Q'Q = n I), y by its least squares residual
 *               over its root mean square: products then lose no digits
 *   R           the r distinct columns all random effects are made of (ones,
 *               slopes), each over its root mean square
 *   S           the q of them that one level uses; m_S is "columns S of m"
 *   T = L L'    q * q, covariance of one level's effects over s^2
 *   V_g         covariance of the rows of node g from everything inside the
 *               node (residual, deeper levels), before or after its own effect
 *   C = R'V_g^-1 R (r*r),  B = R'V_g^-1 W (r*w)   before its own effect
 *   A = W'V^-1 W of all rows; it ends as the whole likelihood needs it
 *
 * Adding the node's own effect (Woodbury):
 *   D = L (I + L'C_SS L)^-1 L',    V_g^-1 <- V_g^-1 - V_g^-1 R_S D R_S'V_g^-1
 * so that
 *   C <- C - C_S D C_S',   B <- B - C_S D B_S,   A <- A - B_S' D B_S
 *   log|V| += log|I + L'C_SS L|
 * and C and B of a node are the sums of its children's.
 *
 * Leaves (the deepest level) do not know the parameters in their C and B, so
 * all leaves with the same C have the same D at every point: a *shape*. Nodes
 * further up whose children have the same shapes, equally often, are of one
 * shape too. C, D and all that follows from them are worked out once a shape,
 * B once a node. Leaves of one shape under one parent act as one *bundle*
 * (mean B, multiplicity), and the sums of B_S'B_S over the leaves of a shape
 * are made once. Upper nodes are their own bundle.
 *
 * Crossed factors add their indicator columns beside X in W: after the pass A
 * holds their cross-products, dense but small, and one more Woodbury step on A
 * itself finishes the likelihood. crossed_border.h does that with passes of
 * its own, which know that a group touches few of those columns.
 */
#ifndef PERDRAW_STATS_NESTED_TREE_H
#define PERDRAW_STATS_NESTED_TREE_H

#include "base/arena.h"
#include "stats/nested.h"

enum {
	PD_MAX_R = PD_NESTED_LEVELS * PD_NESTED_BLOCK,
	PD_MAX_BLOCK = PD_NESTED_BLOCK * PD_NESTED_BLOCK,
	PD_MAX_E = PD_NESTED_LEVELS * PD_NESTED_BLOCK *
	           (PD_NESTED_BLOCK + 1) / 2
};

/* What all nodes of one shape share, one after the other by shape. */
struct pd_shapes {
	size_t n;
	double *count;         /* nodes (leaves) of the shape                */
	size_t *start;         /* n + 1: its children are start[i] ..        */
	uint32_t *child;       /* .. shape of a child, one level down        */
	double *times;         /* .. and how often it has one                */
	double *c;             /* r*r, before the own effect                 */
	double *d;             /* q*q                                        */
	double *f;             /* r*r, F = I - C_S D S'                      */
	double *cn;            /* r*r, F C: after the own effect             */
	double *omega;         /* r*r, what lies above, summed over its nodes */
	double *dc, *dd, *df, *dcn, *domega; /* tangents of the above        */
};

struct pd_level {
	size_t q, n_elements;
	size_t col[PD_NESTED_BLOCK]; /* S: places among the r columns        */
	size_t first;          /* place of its elements among all            */
	size_t n_groups;
	uint32_t *row_group;   /* n: group of each row, in order of code     */
	uint32_t *group_parent; /* n_groups: group one level up              */
	double *group_first;   /* deepest: n_groups * r*r then r*ld, see C, B */
	/* nodes of the recursion: bundles at the deepest level, else groups */
	size_t n_nodes;
	uint32_t *parent, *shape, *bundle; /* bundle: of each leaf           */
	double *mult;          /* leaves in a bundle; NULL: all 1            */
	double *weight;        /* n_nodes, work                              */
	double *b;             /* n_nodes * r*ld, before the own effect      */
	double *h;             /* n_nodes * q*ld, R_S'V^-1 W, V whole        */
	double *e;             /* n_nodes * r*ld, see nested_pass.c          */
	double *db, *dh, *de;  /* tangents                                   */
	struct pd_shapes s;
	bool presummed;        /* leaves are bundled, the two below are used */
	double *total, *within; /* s.n * q*q * ld*ld                         */
	uint32_t *order;       /* leaves by shape                            */
	double *batch;         /* work of the sums                           */
	double L[PD_MAX_BLOCK], T[PD_MAX_BLOCK]; /* of the present point     */
	size_t perm[PD_NESTED_BLOCK]; /* row i of theta's triangle is row
	                          perm[i] of L; as they come but during a
	                          search, see nested_bound.c                 */
};

/*
 * What a profile keeps fixed while all else moves (nested_profile.c). Of the
 * scaled model: b of Q and y~, R over its root mean square.
 */
enum pd_holding {
	PD_HELD_NOTHING,
	PD_HELD_CONTRAST,      /* c'b is `at`; maximum likelihood only       */
	PD_HELD_SD,            /* the SD of an effect, or the residual's     */
	PD_HELD_ZERO           /* an effect's row of T is 0 and stays 0      */
};
struct pd_held {
	enum pd_holding kind;
	double *c, at;         /* c: p                                       */
	size_t level, column;  /* whose SD; level = depth: the residual      */
	/* of the last point */
	double *span, bend;    /* Phi c (p) and c'Phi c                      */
	double s2;             /* the s^2 a held SD makes                    */
	double slope;          /* of the deviance by `at`                    */
};

struct pd_nested {
	pd_arena *arena;
	/* what never changes after pd_nested_new */
	size_t n, p, w, ld, depth, r, n_elements;
	bool reml;
	double *rows;          /* n*ld: [Q y~]                               */
	double *random;        /* n*r: R                                     */
	double scale[PD_MAX_R]; /* root mean square taken out of R's columns */
	double *u;             /* p*p upper: X = Q U                         */
	double log_det_u;      /* log |U'U|                                  */
	double *gamma;         /* p: y = Q gamma + y_scale y~                */
	double y_scale;
	double *cross;         /* ld*ld: W'W                                 */
	bool have_cross;       /* nested_columns.c made it                   */
	struct pd_room *large; /* of nested_tree.c                           */
	struct pd_level level[PD_NESTED_LEVELS];
	/* what moves with the parameters: value and derivatives */
	double log_det;        /* log |V|                                    */
	double *a;             /* ld*ld: A                                   */
	double *d_log_det;     /* n_elements                                 */
	double *da;            /* n_elements * ld*ld                         */
	double *dd_log_det;    /* n_elements^2                               */
	double *dda;           /* n_elements^2 * ld*ld, [e][f], e <= f used  */
	double *wide;          /* PD_MAX_R*ld: one node's rows               */
	double *accum;         /* 3*3 * ld*ld                                */
	/* dense work of the likelihood */
	double *chol, *phi, *work, *vec; /* p*p, p*p, 4*p*p, 4*ld            */
	/* how it ended */
	bool fitted, settled;  /* settled: the passes stand at theta         */
	double theta[PD_MAX_E]; /* internal scale                            */
	double *theta_out;     /* the user's scale                           */
	double sigma2;         /* of y~                                      */
	double *beta, *covariance; /* the user's scale                       */
	double *beta_q;        /* p: coefficients of Q, scaled y             */
	pd_nested_fit_record record;
	struct pd_df_parts *parts; /* of kenward.c, made when first asked    */
	struct pd_held held;
	struct pd_least *least; /* of nested_profile.c, made when first asked */
	double hessian[PD_MAX_E * PD_MAX_E];
	/* crossed_border.h: crossed factors, the last of the levels; the passes
	 * are then crossed_dense.c's. NULL: a tree alone. */
	struct pd_border *border;
};

/* nested_tree.c */
pd_status pd_tree_groups(struct pd_nested *m, const pd_nested_spec *spec,
                         pd_error *err);
pd_status pd_tree_grow(struct pd_nested *m, pd_error *err);
/* nested_shape.c: bundles and shapes of a level, from below upwards. */
bool pd_shape_leaves(struct pd_nested *m);
bool pd_shape_upper(struct pd_nested *m, size_t k);
/* nested_tree.c: sums of columns >= from again: after y changed, from = p. */
void pd_tree_sums(struct pd_nested *m, size_t from);

/* Zeroed, until pd_tree_free; NULL without memory. Large room comes from the
 * system in large pages where it has them. */
double *pd_tree_room(struct pd_nested *m, size_t n);
void pd_tree_free(struct pd_nested *m);

/* nested_columns.c: y_scale > 0 afterwards says the outcome is in as well. */
pd_status pd_columns_make(struct pd_nested *m, const pd_nested_spec *spec,
                          pd_error *err);
/* Replace the outcome, scaled and freed of Q; PD_REFUSED without variation. */
pd_status pd_columns_outcome(struct pd_nested *m, const double *y,
                             pd_error *err);

/* nested_pass.c: at the L and T of the levels. Up gives log_det and a; down
 * (after up) d_log_det and da; tangent (after down) row f of the second. */
bool pd_pass_up(struct pd_nested *m);
void pd_pass_down(struct pd_nested *m);
void pd_pass_tangent(struct pd_nested *m, size_t f);
/* The same of log_det alone, which the shapes tell without the nodes. */
void pd_pass_tangent_shapes(struct pd_nested *m, size_t f);

/* nested_deviance.c */
struct pd_point {
	double theta[PD_MAX_E];
	double value;
	double grad_t[PD_MAX_E]; /* by elements of T                         */
	double grad[PD_MAX_E];   /* by theta                                 */
	double hess_t[PD_MAX_E * PD_MAX_E], hess[PD_MAX_E * PD_MAX_E];
	double info_t[PD_MAX_E * PD_MAX_E]; /* expectation of hess_t         */
};
/* order 0: value; 1: with gradients; 2: with Hessians. False when not
 * positive definite: value is INFINITY. Leaves chol, phi, beta_q (vec). */
bool pd_point_at(struct pd_nested *m, struct pd_point *pt, int order);
/* L and T of every level from theta. */
void pd_levels_at(struct pd_nested *m, const double *theta);
/* Row and column (a >= b) of element e within its level's block. */
void pd_element(const struct pd_level *lv, size_t e, size_t *a, size_t *b);
/* Residual variance of scaled y at the last point; v[w] = (-beta_q, 1). Where
 * something is held, value, v and derivatives are of the model so held. */
double pd_point_sigma2(const struct pd_nested *m);

/* nested_fit.c */
pd_status pd_fit_search(struct pd_nested *m, const double *start,
                        pd_error *err);
/* The same with m->held, from `start`, into *out: m's own theta stays. A point
 * within 1e-6 of the least deviance will do where rounding allows no better. */
pd_status pd_fit_held(struct pd_nested *m, const double *start,
                      struct pd_point *out, pd_error *err);

/* nested.c: another outcome in the same tree; the same, fitted from `start`
 * (internal theta, NULL: the usual start). */
pd_status pd_nested_set_y(struct pd_nested *m, const double *y, pd_error *err);
pd_status pd_nested_refit(struct pd_nested *m, const double *y,
                          const double *start, pd_error *err);
pd_status pd_nested_fit_from(struct pd_nested *m, const double *start,
                             pd_error *err);

#endif
