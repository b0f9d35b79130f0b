/*
 * nested_pass.c - the recursion: leaves up, root down.
 * Letters and the elimination step: nested_tree.h.
 *
 * Up (value). At each node, D, gain = C_S D and
 *   C_n = C - gain C_S',   B_n = B - gain B_S   (V_g now has its own effect)
 * go to the parent. log|V| and A collect what each node contributes; with
 * root'root = D the contribution to A is the cross-product of root B_S.
 *
 * Down (first derivatives). For any element t of T at level k,
 *   d log|V| = sum_g tr(dT K_g),   K_g = R_S'V^-1 R_S on the rows of g,
 *   d A      = - sum_g H_g' dT H_g,   H_g = R_S'V^-1 W on the rows of g,
 * V now being the whole covariance. What lies above node g enters through
 *   E:     V^-1 W on the rows of g is V_g^-1 (W - R E), E the sum over the
 *          ancestors of S T S'H, so  H = (B_n)_S - (C_n)_S. E
 *   Omega: V^-1 on the block of g is V_g^-1 - V_g^-1 R Omega R'V_g^-1, so
 *          K = (C_n - C_n Omega C_n)_SS,  and for the children
 *          Omega_child = S D S' + P Omega P',   P = I - S gain'
 * K is linear in Omega, so nodes of one shape add their Omegas up first.
 * The tangent of both passes (second derivatives) is in nested_tangent.c.
 */
#include "stats/nested_kernel.h"

#include <math.h>
#include <string.h>

/* ---- up ---------------------------------------------------------------- */

/* D, root, gain, C_n of one shape; false when not positive definite. */
static bool shape_up(struct pd_nested *m, struct pd_level *lv, size_t i)
{
	size_t r = m->r, q = lv->q;
	const double *c = lv->s.c + i * r * r;
	double *d = lv->s.d + i * q * q, *root = lv->s.root + i * q * q;
	double *gain = lv->s.gain + i * r * q, *cn = lv->s.cn + i * r * r;
	double cs[PD_MAX_R * PD_NESTED_BLOCK], css[PD_MAX_BLOCK];
	double tmp[PD_MAX_BLOCK], k[PD_MAX_BLOCK];

	columns(lv, r, c, cs);
	rows_of(lv, cs, q, css);
	mul(css, lv->L, q, q, q, tmp);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			double s = a == b ? 1.0 : 0.0;

			for (size_t l = 0; l < q; l++)
				s += lv->L[l * q + a] * tmp[l * q + b];
			k[a * q + b] = s;
		}
	if (!pd_chol(k, q, q))
		return false;
	m->log_det += lv->count[i] * pd_chol_log_det(k, q, q);
	for (size_t b = 0; b < q; b++) /* root = k^-1 L' */
		for (size_t a = 0; a < q; a++) {
			double s = lv->L[b * q + a];

			for (size_t l = 0; l < a; l++)
				s -= k[a * q + l] * root[l * q + b];
			root[a * q + b] = s / k[a * q + a];
		}
	memset(d, 0, q * q * sizeof *d);
	for (size_t l = 0; l < q; l++)
		for (size_t a = 0; a < q; a++)
			for (size_t b = 0; b < q; b++)
				d[a * q + b] += root[l * q + a] *
				                root[l * q + b];
	mul(cs, d, r, q, q, gain);
	memcpy(cn, c, r * r * sizeof *cn);
	mul_t_add(-1.0, gain, cs, r, q, r, cn);
	return true;
}

/* What a node hands to its parent. */
static void node_up(struct pd_nested *m, struct pd_level *lv, size_t i)
{
	size_t r = m->r, ld = m->ld, s = lv->shape[i];
	const double *b = lv->b + i * r * ld;
	struct pd_level *up = lv - 1;
	double *pb = up->b + lv->parent[i] * r * ld;
	double *pc = up->s.c + lv->parent[i] * r * r;
	double f = lv->mult[i];

	for (size_t c = 0; c < r * ld; c++)
		pb[c] += f * b[c];
	rows_add(pb, -f, lv->s.gain + s * r * lv->q, r, lv->q, b, lv->col, ld);
	for (size_t c = 0; c < r * r; c++)
		pc[c] += f * lv->s.cn[s * r * r + c];
}

/* A -= sum over the nodes of B_S' D B_S */
static void take_from_a(struct pd_nested *m, struct pd_level *lv)
{
	size_t q = lv->q, ld = m->ld, r = m->r;
	struct gather g;

	if (lv->presummed) {
		for (size_t s = 0; s < lv->n_shapes; s++)
			for (size_t ij = 0; ij < q * q; ij++) {
				double d = lv->s.d[s * q * q + ij];
				const double *t = lv->total +
				                  (s * q * q + ij) * ld * ld;

				for (size_t c = 0; c < ld * ld; c++)
					m->a[c] -= d * t[c];
			}
		return;
	}
	g = gather_start(m, 1, true);
	for (size_t i = 0; i < lv->n_nodes; i++)
		for (size_t a = 0; a < q; a++) {
			size_t at = gather_next(&g);

			memset(g.x + at, 0, ld * sizeof(double));
			rows_add(g.x + at, sqrt(lv->mult[i]), lv->s.root +
			         lv->shape[i] * q * q + a * q, 1, q,
			         lv->b + i * r * ld, lv->col, ld);
		}
	gather_flush(&g);
	fill_lower(m->accum, ld);
	for (size_t c = 0; c < ld * ld; c++)
		m->a[c] -= m->accum[c];
}

bool pd_pass_up(struct pd_nested *m)
{
	m->log_det = 0.0;
	memcpy(m->a, m->cross, m->ld * m->ld * sizeof(double));
	for (size_t k = m->depth; k-- > 0;) {
		struct pd_level *lv = &m->level[k];

		for (size_t s = 0; s < lv->n_shapes; s++)
			if (!shape_up(m, lv, s))
				return false;
		take_from_a(m, lv);
		if (k == 0)
			break;
		memset(lv[-1].b, 0, lv[-1].n_nodes * m->r * m->ld *
		       sizeof(double));
		memset(lv[-1].s.c, 0, lv[-1].n_nodes * m->r * m->r *
		       sizeof(double));
		for (size_t i = 0; i < lv->n_nodes; i++)
			node_up(m, lv, i);
	}
	return true;
}

/* ---- down -------------------------------------------------------------- */

/* Omega for the children of shape i, and its K into k_sum(q*q). */
static void shape_down(struct pd_nested *m, struct pd_level *lv, size_t i,
                       double *k_sum)
{
	size_t r = m->r, q = lv->q;
	const double *cn = lv->s.cn + i * r * r;
	const double *omega = lv->s.omega + i * r * r;
	double *below = lv->s.below + i * r * r;
	double x[PD_MAX_R * PD_MAX_R], y[PD_MAX_R * PD_MAX_R];

	mul(cn, omega, r, r, r, x);
	mul(x, cn, r, r, r, y);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			size_t at = lv->col[a] * r + lv->col[b];

			k_sum[a * q + b] += lv->count[i] * cn[at] - y[at];
		}
	if (lv + 1 == m->level + m->depth)
		return;
	make_p(lv, r, lv->s.gain + i * r * q, x);
	mul(x, omega, r, r, r, y);
	memset(below, 0, r * r * sizeof *below);
	mul_t_add(1.0, y, x, r, r, r, below);
	spread(lv, r, 1.0, lv->s.d + i * q * q, below);
}

/* H of node i and the E it hands to its children. */
static void node_down(struct pd_nested *m, struct pd_level *lv, size_t i)
{
	size_t r = m->r, q = lv->q, ld = m->ld, s = lv->shape[i];
	const double *b = lv->b + i * r * ld;
	double *h = lv->h + i * q * ld, *e = lv->e + i * r * ld;
	bool top = lv == m->level, deepest = lv + 1 == m->level + m->depth;
	const double *above = top ? NULL : lv[-1].e + lv->parent[i] * r * ld;
	double part[PD_NESTED_BLOCK * PD_MAX_R];

	rows_of(lv, b, ld, h);
	rows_of(lv, lv->s.gain + s * r * q, q, part);
	rows_add(h, -1.0, part, q, q, b, lv->col, ld);
	if (!top) {
		rows_of(lv, lv->s.cn + s * r * r, r, part);
		rows_add(h, -1.0, part, q, r, above, NULL, ld);
	}
	if (deepest)
		return;
	if (top)
		memset(e, 0, r * ld * sizeof *e);
	else
		memcpy(e, above, r * ld * sizeof *e);
	for (size_t a = 0; a < q; a++)
		rows_add(e + lv->col[a] * ld, 1.0, lv->T + a * q, 1, q, h,
		         NULL, ld);
}

/* accum[i][j] = sum over the level's groups of H_i' H_j, i <= j */
static void square_h(struct pd_nested *m, struct pd_level *lv)
{
	size_t q = lv->q, ld = m->ld;
	struct gather g = gather_start(m, q, true);
	double f[PD_MAX_BLOCK];

	for (size_t i = 0; i < lv->n_nodes; i++) {
		const double *h = lv->h + i * q * ld;
		double root = sqrt(lv->mult[i]);
		size_t at = gather_next(&g);

		for (size_t a = 0; a < q; a++)
			for (size_t c = 0; c < ld; c++)
				g.x[a * PD_CHUNK * ld + at + c] =
					root * h[a * ld + c];
	}
	gather_flush(&g);
	for (size_t a = 0; a < q; a++)
		fill_lower(m->accum + (a * q + a) * ld * ld, ld);
	for (size_t s = 0; lv->presummed && s < lv->n_shapes; s++) {
		own_f(lv, m->r, s, f);
		add_within(m, lv, s, f, f);
	}
}

void pd_element(const struct pd_level *lv, size_t e, size_t *a, size_t *b)
{
	size_t left = lv->q;

	*b = 0;
	while (e >= left) {
		e -= left--;
		(*b)++;
	}
	*a = *b + e;
}

void pd_pass_down(struct pd_nested *m)
{
	size_t ld = m->ld;

	for (size_t k = 0; k < m->depth; k++) {
		struct pd_level *lv = &m->level[k];
		double k_sum[PD_MAX_BLOCK] = { 0.0 };

		for (size_t s = 0; s < lv->n_shapes; s++)
			shape_down(m, lv, s, k_sum);
		for (size_t i = 0; i < lv->n_nodes; i++)
			node_down(m, lv, i);
		square_h(m, lv);
		for (size_t e = 0; e < lv->n_elements; e++) {
			size_t a, b;

			pd_element(lv, e, &a, &b);
			m->d_log_det[lv->first + e] = a == b ?
				k_sum[a * lv->q + a] :
				k_sum[a * lv->q + b] + k_sum[b * lv->q + a];
			element_from(m, lv->q, a, b,
			             m->da + (lv->first + e) * ld * ld);
		}
		if (k + 1 < m->depth)
			pass_omega(m, lv, lv->s.below, lv[1].s.omega);
	}
}
