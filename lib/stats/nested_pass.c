/*
 * nested_pass.c - the recursion: leaves up, root down.
 * Letters and the elimination step: nested_tree.h.
 *
 * Up (value). At each node, with F = I - C_S D S',
 *   C_n = F C,   B_n = F B                    (V_g now has its own effect)
 * go to the parent. log|V| and A collect what each node contributes.
 *
 * Down (first derivatives). For any element t of T at level k,
 *   d log|V| = sum_g tr(dT K_g),   K_g = R_S'V^-1 R_S on the rows of g,
 *   d A      = - sum_g H_g' dT H_g,   H_g = R_S'V^-1 W on the rows of g,
 * V now being the whole covariance. What lies above node g enters through
 *   E:     V^-1 W on the rows of g is V_g^-1 (W - R E), E the sum over the
 *          ancestors of S T S'H, so  H = (B_n)_S - (C_n)_S. E
 *   Omega: V^-1 on the block of g is V_g^-1 - V_g^-1 R Omega R'V_g^-1, so
 *          K = (C_n - C_n Omega C_n)_SS,  and for the children
 *          Omega_child = S D S' + F' Omega F
 * K is linear in Omega, so nodes of one shape add their Omegas up first.
 *
 * The tangent of both passes (second derivatives) is in nested_tangent.c.
 */
#include "stats/nested_kernel.h"

#include <math.h>

/* ---- up ---------------------------------------------------------------- */

/* C of an upper shape: the sum of its children's C_n. */
static void collect_c(struct pd_nested *m, struct pd_level *lv)
{
	size_t rr = m->r * m->r;

	memset(lv->s.c, 0, lv->s.n * rr * sizeof(double));
	for (size_t i = 0; i < lv->s.n; i++)
		for (size_t j = lv->s.start[i]; j < lv->s.start[i + 1]; j++)
			for (size_t c = 0; c < rr; c++)
				lv->s.c[i * rr + c] += lv->s.times[j] *
					lv[1].s.cn[lv->s.child[j] * rr + c];
}

/* D = root'root, root = (chol(I + L'C_SS L))^-1 L'; adds to log|V|. */
static bool make_d(struct pd_nested *m, struct pd_level *lv, double count,
                   const double *css, double *d)
{
	size_t q = lv->q;
	double cl[PD_MAX_BLOCK], k[PD_MAX_BLOCK], root[PD_MAX_BLOCK];

	mul(css, lv->L, q, q, q, cl);
	t_mul(lv->L, cl, q, q, q, k);
	for (size_t a = 0; a < q; a++)
		k[a * q + a] += 1.0;
	if (!pd_chol(k, q, q))
		return false;
	m->log_det += count * pd_chol_log_det(k, q, q);
	for (size_t b = 0; b < q; b++)
		for (size_t a = 0; a < q; a++) {
			double s = lv->L[b * q + a];

			for (size_t l = 0; l < a; l++)
				s -= k[a * q + l] * root[l * q + b];
			root[a * q + b] = s / k[a * q + a];
		}
	t_mul(root, root, q, q, q, d);
	return true;
}

/* D, F, C_n of one shape; false when not positive definite. */
static bool shape_up(struct pd_nested *m, struct pd_level *lv, size_t i)
{
	size_t r = m->r, q = lv->q;
	const double *c = lv->s.c + i * r * r;
	double *d = lv->s.d + i * q * q, *f = lv->s.f + i * r * r;
	double cs[PD_MAX_R * PD_NESTED_BLOCK];
	double gain[PD_MAX_R * PD_NESTED_BLOCK], css[PD_MAX_BLOCK];

	block_of(lv, r, c, css);
	if (!make_d(m, lv, lv->s.count[i], css, d))
		return false;
	columns_of(lv, r, c, cs);
	mul(cs, d, r, q, q, gain);
	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < r; b++)
			f[a * r + b] = a == b ? 1.0 : 0.0;
	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < q; b++)
			f[a * r + lv->col[b]] -= gain[a * q + b];
	memcpy(lv->s.cn + i * r * r, c, r * r * sizeof *c);
	mul_t_add(-1.0, gain, cs, r, q, r, lv->s.cn + i * r * r);
	return true;
}

/* A -= sum over the nodes of D_ab (row a of B_S)' (row b of B_S) */
static void take_product(struct pd_nested *m, struct pd_level *lv, size_t a,
                         size_t b)
{
	size_t q = lv->q, ld = m->ld, step = m->r * ld;

	for (size_t i = 0; i < lv->n_nodes; i++)
		lv->weight[i] = -lv->s.d[lv->shape[i] * q * q + a * q + b];
	pd_cross_add(m->a, lv->b + lv->col[a] * ld, step,
	             lv->b + lv->col[b] * ld, step, lv->weight, lv->n_nodes,
	             ld);
}

/* A -= sum over the nodes of B_S' D B_S */
static void take_from_a(struct pd_nested *m, struct pd_level *lv)
{
	size_t q = lv->q, ll = m->ld * m->ld;

	if (lv->presummed) {
		for (size_t k = 0; k < lv->s.n * q * q; k++)
			row_add(m->a, -lv->s.d[k], lv->total + k * ll, ll);
		return;
	}
	for (size_t a = 0; a < q; a++) /* squares while A is symmetric */
		take_product(m, lv, a, a);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++)
			if (a != b)
				take_product(m, lv, a, b);
}

/* B of the parents from B_n of this level's nodes. */
static void hand_up(struct pd_nested *m, const struct pd_level *lv)
{
	size_t r = m->r, ld = m->ld;
	double *up = lv[-1].b;

	memset(up, 0, lv[-1].n_nodes * r * ld * sizeof *up);
	for (size_t i = 0; i < lv->n_nodes; i++)
		rows_add(up + lv->parent[i] * r * ld,
		         lv->mult ? lv->mult[i] : 1.0,
		         lv->s.f + lv->shape[i] * r * r, r, r,
		         lv->b + i * r * ld, ld);
}

bool pd_pass_up(struct pd_nested *m)
{
	m->log_det = 0.0;
	memcpy(m->a, m->cross, m->ld * m->ld * sizeof(double));
	for (size_t k = m->depth; k-- > 0;) {
		struct pd_level *lv = &m->level[k];

		if (k + 1 < m->depth)
			collect_c(m, lv);
		for (size_t s = 0; s < lv->s.n; s++)
			if (!shape_up(m, lv, s))
				return false;
		take_from_a(m, lv);
		if (k > 0)
			hand_up(m, lv);
	}
	return true;
}

/* ---- down -------------------------------------------------------------- */

/* K of a shape's nodes, added to k_sum(q*q). */
static void add_k(const struct pd_nested *m, const struct pd_level *lv,
                  size_t i, double *k_sum)
{
	size_t r = m->r, q = lv->q;
	const double *cn = lv->s.cn + i * r * r;
	double x[PD_MAX_R * PD_MAX_R], y[PD_MAX_R * PD_MAX_R];

	mul(cn, lv->s.omega + i * r * r, r, r, r, x);
	mul(x, cn, r, r, r, y);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			size_t at = lv->col[a] * r + lv->col[b];

			k_sum[a * q + b] += lv->s.count[i] * cn[at] - y[at];
		}
}

/* Omega of the children of a shape's nodes, all of them together. */
static void omega_down(const struct pd_nested *m, const struct pd_level *lv,
                       size_t i)
{
	size_t r = m->r, rr = r * r;
	const double *f = lv->s.f + i * rr;
	double x[PD_MAX_R * PD_MAX_R], y[PD_MAX_R * PD_MAX_R];

	mul(lv->s.omega + i * rr, f, r, r, r, x);
	t_mul(f, x, r, r, r, y);
	spread(lv, r, lv->s.count[i], lv->s.d + i * lv->q * lv->q, y);
	for (size_t j = lv->s.start[i]; j < lv->s.start[i + 1]; j++)
		for (size_t c = 0; c < rr; c++)
			lv[1].s.omega[lv->s.child[j] * rr + c] +=
				lv->s.times[j] * y[c];
}

/* nodes_down where r = q = 1 */
static void ones_down(struct pd_nested *m, struct pd_level *lv)
{
	size_t ld = m->ld;
	bool top = lv == m->level, deepest = lv + 1 == m->level + m->depth;
	double t = lv->T[0];

	for (size_t i = 0; i < lv->n_nodes; i++) {
		double f = lv->s.f[lv->shape[i]], c = lv->s.cn[lv->shape[i]];
		const double *above = top ? NULL : lv[-1].e + lv->parent[i] * ld;

		for (size_t k = 0; k < ld; k += PD_PAIR) {
			pd_pair a = { 0.0 }, h;

			h = f * *(const pd_pair *)(lv->b + i * ld + k);
			if (above) {
				a = *(const pd_pair *)(above + k);
				h -= c * a;
			}
			*(pd_pair *)(lv->h + i * ld + k) = h;
			if (!deepest)
				*(pd_pair *)(lv->e + i * ld + k) = a + t * h;
		}
	}
}

/* H of every node and the E they hand to their children. */
static void nodes_down(struct pd_nested *m, struct pd_level *lv)
{
	size_t r = m->r, q = lv->q, ld = m->ld;
	bool top = lv == m->level, deepest = lv + 1 == m->level + m->depth;
	double fs[PD_NESTED_BLOCK * PD_MAX_R], cs[PD_NESTED_BLOCK * PD_MAX_R];
	size_t last = SIZE_MAX;

	memset(lv->h, 0, lv->n_nodes * q * ld * sizeof *lv->h);
	for (size_t i = 0; i < lv->n_nodes; i++) {
		double *h = lv->h + i * q * ld, *e;
		const double *above = top ? NULL :
			lv[-1].e + lv->parent[i] * r * ld;

		if (lv->shape[i] != last) {
			last = lv->shape[i];
			rows_of(lv, lv->s.f + last * r * r, r, fs);
			rows_of(lv, lv->s.cn + last * r * r, r, cs);
		}
		rows_add(h, 1.0, fs, q, r, lv->b + i * r * ld, ld);
		if (!top)
			rows_add(h, -1.0, cs, q, r, above, ld);
		if (deepest)
			continue;
		e = lv->e + i * r * ld;
		if (top)
			memset(e, 0, r * ld * sizeof *e);
		else
			memcpy(e, above, r * ld * sizeof *e);
		for (size_t a = 0; a < q; a++)
			rows_add(e + lv->col[a] * ld, 1.0, lv->T + a * q, 1, q,
			         h, ld);
	}
}

/* accum[i][j] = sum over the level's groups of H_i' H_j */
static void square_h(struct pd_nested *m, struct pd_level *lv)
{
	size_t q = lv->q, ld = m->ld;
	double f[PD_MAX_BLOCK];

	memset(m->accum, 0, q * q * ld * ld * sizeof *m->accum);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++)
			pd_cross_add(m->accum + (a * q + b) * ld * ld,
			             lv->h + a * ld, q * ld, lv->h + b * ld,
			             q * ld, lv->mult, lv->n_nodes, ld);
	for (size_t s = 0; lv->presummed && s < lv->s.n; s++) {
		block_of(lv, m->r, lv->s.f + s * m->r * m->r, f);
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

		if (k + 1 < m->depth)
			memset(lv[1].s.omega, 0, lv[1].s.n * m->r * m->r *
			       sizeof(double));
		for (size_t s = 0; s < lv->s.n; s++) {
			add_k(m, lv, s, k_sum);
			if (k + 1 < m->depth)
				omega_down(m, lv, s);
		}
		if (m->r == 1)
			ones_down(m, lv);
		else
			nodes_down(m, lv);
		square_h(m, lv);
		for (size_t e = 0; e < lv->n_elements; e++) {
			size_t a, b;

			pd_element(lv, e, &a, &b);
			m->d_log_det[lv->first + e] =
				element_sum(k_sum, lv->q, a, b);
			element_from(m, lv->q, a, b,
			             m->da + (lv->first + e) * ld * ld);
		}
	}
}
