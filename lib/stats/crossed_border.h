/*
 * crossed_border.h - inside the model with crossed factors: a tree whose
 * sums carry, beside X and y, a thin share of many indicator columns.
 * Used by crossed*.c, nested_conditional.c and nested_deviance.c only.
 * Letters as in nested_tree.h, and
 *   W           here the rc indicator columns of all levels of all factors,
 *               one factor after the other (nested_tree.h's W is [X y] here)
 *   T_c         rc * rc diagonal, the variance of a column's effect over s^2
 *   V_t, V      covariance from the tree and the residual; V_t + W T_c W'
 *   A           [X y W]'V_t^-1 [X y W], dim * dim, dim = w + rc
 *   M_WW        the W rows and columns of such a matrix; M_W the W rows and
 *               the [X y] columns, rc * w
 * A node's B needs only the columns of W its own rows touch (its *touch*),
 * and R_S'V_t^-1[X y W] only those its outermost group touches: all sums over
 * nodes are made on such short rows. The border is then finished densely:
 *   N = (T_c^-1 + A_WW)^-1 = K (I + K A_WW K)^-1 K,   K K = T_c
 *   U = I - N A_WW,  J = N A_W,  H_c = A_W - A_WW J,  P = [I; -J]
 *   log|V| = log|V_t| + log|I + K A_WW K|
 *   [X y]'V^-1[X y] = A_[Xy][Xy] - A_W'J,  W'V^-1W = C_c = A_WW U
 * Derivatives by a tree element e and by the variance of factor j (columns j),
 * A_e that of A, Y_e = (A_e P)_W:
 *   log|V|_e = log|V_t|_e + <N, A_e>        [Xy]'V^-1[Xy]_e = P'A_e P
 *   log|V|_j = sum of C_c over its diagonal j,  [..]_j = - H_c,j'H_c,j
 *   log|V|_ef = log|V_t|_ef + <N, A_ef> - tr N A_e N A_f
 *   log|V|_ej = sum over l in j of (U'A_e U)_ll
 *   log|V|_jk = - sum over j, k of C_c,jk squared
 *   [..]_ef = P'A_ef P - (Y_e'N Y_f + its transpose)
 *   [..]_ej = - (H_c,j'(U'Y_e)_j + its transpose)
 *   [..]_jk = H_c,j'C_c,jk H_c,k + its transpose
 * Down the tree, for a node g (before its own effect C, B; after it C1, B1),
 * E = what its ancestors' effects are predicted to be for each column, in R's
 * columns, and O the covariance of that prediction's error (both 0 at a root):
 *   H = R_S'V_t^-1[X y W] = B1_S - C1_S E
 *   K = R_S'V_t^-1 R_S = C1_SS - C1_S O C1_S'
 *   E <- E + S D (B_S - C_S E),   O <- F O F' + S D S',   F = I - S D C_S
 *   A_e = - sum (H_a'H_b + H_b'H_a) (once for a = b)
 * Source: the block elimination of Henderson's mixed model equations
 * (Henderson 1953, Biometrics 9, 226-252), the tree first, then the border;
 * derivatives worked out here. From memory.
 */
#ifndef PERDRAW_STATS_CROSSED_BORDER_H
#define PERDRAW_STATS_CROSSED_BORDER_H

#include "stats/nested_tree.h"

enum { PD_BORDER_FACTORS = 4, PD_BORDER_COLUMNS = 2000 };

/* Nodes stand in preorder: a node before what lies inside it. */
struct pd_border_node {
	uint32_t level, group;
	uint32_t parent, root;  /* among the nodes; a root is its own        */
	uint32_t n_touch;
	size_t touch;           /* its place in column, in_parent, in_root   */
	size_t b;               /* .. in b, db: r * (w + n_touch)            */
	size_t h;               /* .. in h, hn: q * (w + root's n_touch)     */
};

struct pd_border {
	size_t n_tree, n_factors; /* levels of the tree; pseudo levels after */
	size_t n_e;            /* variance elements of the tree              */
	size_t rc, dim, widest; /* widest: w + the largest touch             */
	size_t first[PD_BORDER_FACTORS + 1]; /* columns of factor j          */
	const uint32_t *code[PD_BORDER_FACTORS]; /* level of each row        */
	size_t n_nodes;
	struct pd_border_node *node;
	uint32_t *column;      /* touched columns of W, ascending            */
	uint32_t *in_parent, *in_root; /* where those stand among theirs     */
	double *b, *db;        /* B; tangent                                 */
	double *c, *c1, *dc, *dc1; /* n_nodes * r*r                          */
	double *d, *g, *dd;    /* n_nodes * q*q: D, (I + T C_SS)^-1          */
	double *h, *hn;        /* H; its W part times N                      */
	double *hp;            /* H P: R_S'V^-1[X y], r * w a node           */
	double *k;             /* n_nodes * q*q: R_S'V_t^-1 R_S              */
	double *e, *de;        /* one a level of the path: r * widest        */
	double *o, *od;        /* r*r the same                               */
	double *gram;          /* sums of one root, by element               */
	double *wide;          /* 4 * PD_NESTED_BLOCK * widest               */
	double *cross;         /* dim*dim: [X y W]'[X y W]                   */
	double *a;             /* dim*dim: A                                 */
	double *ae;            /* n_e * dim*dim: A_e                         */
	double *n, *u, *cc;    /* rc*rc: N, U, C_c                           */
	double *j, *hc;        /* rc*w: J, H_c                               */
	double *x, *y, *z;     /* n_e * rc*rc: N A_e; n_e * rc*w: Y_e, U'Y_e */
	double *t;             /* 2 * rc*rc, work                            */
	double ld_e[PD_MAX_E]; /* log|V_t|_e                                 */
};

/* crossed_build.c: the nodes of m's first n_tree levels and their sums; all
 * memory from `arena`. code[j][n] counts from 0 without gaps to n_levels[j]. */
pd_status pd_border_new(const struct pd_nested *m, pd_arena *arena,
                        size_t n_tree, size_t n_factors,
                        const uint32_t *const *code, const size_t *n_levels,
                        struct pd_border **out, pd_error *err);

/* crossed_pass.c: A (and log|V_t|) going up, A_e, log|V_t|_e, H, K going
 * down; false when not positive definite. */
bool pd_border_tree_up(const struct pd_nested *m, struct pd_border *s,
                       double *log_det);
void pd_border_tree_down(const struct pd_nested *m, struct pd_border *s);

/* The node's element (a, b) of T's block counts once or twice. */
static inline double pd_border_times(size_t a, size_t b)
{
	return a == b ? 1.0 : 2.0;
}

/* to(w*w corner of ld*ld) += f (x'y + y'x), x and y rows * w. */
static inline void pd_border_pair(double *to, size_t ld, size_t w, double f,
                                  const double *x, const double *y,
                                  size_t rows)
{
	for (size_t l = 0; l < rows; l++)
		for (size_t a = 0; a < w; a++)
			for (size_t b = 0; b < w; b++)
				to[a * ld + b] += f *
					(x[l * w + a] * y[l * w + b] +
					 y[l * w + a] * x[l * w + b]);
}

/* crossed_tangent.c: log|V_t|_ef + <N, A_ef> into dd_log_det and P'A_ef P
 * into dda, for tree elements e <= f. */
void pd_border_tree_tangent(struct pd_nested *m, struct pd_border *s, size_t f);

/* crossed_dense.c: what nested_pass.c is to a tree alone. */
bool pd_border_up(struct pd_nested *m);
void pd_border_down(struct pd_nested *m);
void pd_border_second(struct pd_nested *m);

/*
 * Covariance q*q of one node's effects about their conditional means, over
 * s^2, fixed effects known, at the last pass down; phi: what not knowing them
 * adds, when not NULL ((X'V^-1X)^-1, p*p).
 */
void pd_border_node_covariance(const struct pd_nested *m,
                               const struct pd_border *s, size_t node,
                               const double *phi, double *out);

#endif
