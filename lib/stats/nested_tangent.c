/*
 * nested_tangent.c - second derivatives: both passes of nested_pass.c
 * differentiated by hand along one element f of T, which belongs to level
 * k_f. Letters: nested_tree.h and nested_pass.c; d is the derivative by f.
 *
 * Levels deeper than k_f do not see f on the way up. The second derivatives
 * are symmetric, so on the way down only levels up to k_f are visited: row f
 * of the result holds the elements e of these levels.
 *
 * Up, dT being the unit matrix of f and present at k_f only:
 *   dD   = F_SS' dT F_SS - D dC_SS D,   F_SS = I - C_SS D
 *   dF   = - (dC_S D + C_S dD) S'
 *   dC_n = F dC F' - C_nS dT C_nS'
 *   dB_n = F dB + dF B
 * Down:
 *   dOmega_child = S dD S' + dF' Omega F + F' Omega dF + F' dOmega F
 *   dK     = dC_n - dC_n Omega C_n - C_n Omega dC_n - C_n dOmega C_n  (_SS)
 *   dH     = (dB_n)_S - (dC_n)_S. E - (C_n)_S. dE
 *   dE_child = dE + S T dH                          (used above k_f only)
 *   d^2 log|V| = sum tr(dT_e dK),  d^2 A = - sum (dH' dT_e H + H' dT_e dH)
 */
#include "stats/nested_kernel.h"

struct tangent {
	struct pd_nested *m;
	size_t k;              /* level of f                                 */
	bool shapes_only;      /* log|V| is wanted, A is not                 */
	double dt[PD_MAX_BLOCK];
};

/* dC of an upper shape: the sum of its children's dC_n. */
static void collect_dc(struct pd_nested *m, struct pd_level *lv)
{
	size_t rr = m->r * m->r;

	memset(lv->s.dc, 0, lv->s.n * rr * sizeof(double));
	for (size_t i = 0; i < lv->s.n; i++)
		for (size_t j = lv->s.start[i]; j < lv->s.start[i + 1]; j++)
			for (size_t c = 0; c < rr; c++)
				lv->s.dc[i * rr + c] += lv->s.times[j] *
					lv[1].s.dcn[lv->s.child[j] * rr + c];
}

/* dD, dF and dC_n of one shape. */
static void shape_up(const struct tangent *t, struct pd_level *lv, size_t i)
{
	size_t r = t->m->r, q = lv->q, rr = r * r;
	bool own = lv == &t->m->level[t->k];
	const double *f = lv->s.f + i * rr, *d = lv->s.d + i * q * q;
	const double *dc = lv->s.dc + i * rr;
	double *dd = lv->s.dd + i * q * q, *df = lv->s.df + i * rr;
	double *dcn = lv->s.dcn + i * rr;
	double cs[PD_MAX_R * PD_NESTED_BLOCK];
	double gain[PD_MAX_R * PD_NESTED_BLOCK];
	double x[PD_MAX_R * PD_MAX_R], y[PD_MAX_R * PD_MAX_R];

	memset(dcn, 0, rr * sizeof *dcn);
	memset(gain, 0, r * q * sizeof *gain);
	if (own) {
		block_of(lv, r, f, x);
		mul(t->dt, x, q, q, q, y);
		t_mul(x, y, q, q, q, dd);
		columns_of(lv, r, lv->s.cn + i * rr, cs);
		mul(cs, t->dt, r, q, q, x);
		mul_t_add(-1.0, x, cs, r, q, r, dcn);
	} else {
		block_of(lv, r, dc, x);
		mul(x, d, q, q, q, y);
		mul(d, y, q, q, q, dd);
		for (size_t a = 0; a < q * q; a++)
			dd[a] = -dd[a];
		mul(f, dc, r, r, r, x);
		mul_t_add(1.0, x, f, r, r, r, dcn);
		columns_of(lv, r, dc, cs);
		mul(cs, d, r, q, q, gain);
	}
	columns_of(lv, r, lv->s.c + i * rr, cs);
	mul_t_add(1.0, cs, dd, r, q, q, gain); /* dd is symmetric */
	memset(df, 0, rr * sizeof *df);
	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < q; b++)
			df[a * r + lv->col[b]] = -gain[a * q + b];
}

/* nodes_up where r = q = 1 */
static void ones_up(const struct tangent *t, struct pd_level *lv)
{
	size_t ld = t->m->ld;
	bool own = lv == &t->m->level[t->k], top = lv == t->m->level;

	if (!top)
		memset(lv[-1].db, 0, lv[-1].n_nodes * ld * sizeof(double));
	for (size_t i = 0; i < lv->n_nodes; i++) {
		double f = lv->s.f[lv->shape[i]], df = lv->s.df[lv->shape[i]];
		double mult = lv->mult ? lv->mult[i] : 1.0;
		double *up = top ? NULL : lv[-1].db + lv->parent[i] * ld;

		for (size_t k = 0; k < ld; k += PD_PAIR) {
			pd_pair *db = (pd_pair *)(lv->db + i * ld + k), x;

			x = df * *(const pd_pair *)(lv->b + i * ld + k);
			if (!own)
				x += f * *db;
			*db = x;
			if (up)
				*(pd_pair *)(up + k) += mult * x;
		}
	}
}

/* dB of every node becomes dB_n, and goes to the parents. */
static void nodes_up(const struct tangent *t, struct pd_level *lv)
{
	size_t r = t->m->r, ld = t->m->ld, rl = r * ld;
	bool own = lv == &t->m->level[t->k], top = lv == t->m->level;
	double *keep = t->m->wide;

	if (!top)
		memset(lv[-1].db, 0, lv[-1].n_nodes * rl * sizeof(double));
	for (size_t i = 0; i < lv->n_nodes; i++) {
		double *db = lv->db + i * rl;
		double mult = lv->mult ? lv->mult[i] : 1.0;
		double *up = top ? NULL : lv[-1].db + lv->parent[i] * rl;

		if (!own)
			memcpy(keep, db, rl * sizeof *db);
		memset(db, 0, rl * sizeof *db);
		rows_add(db, 1.0, lv->s.df + lv->shape[i] * r * r, r, r,
		         lv->b + i * rl, ld);
		if (!own)
			rows_add(db, 1.0, lv->s.f + lv->shape[i] * r * r, r,
			         r, keep, ld);
		if (!top)
			row_add(up, mult, db, rl);
	}
}

/* out(r*r) += f x y z */
static void add_xyz(double f, const double *x, const double *y,
                    const double *z, size_t r, double *out)
{
	double xy[PD_MAX_R * PD_MAX_R], xyz[PD_MAX_R * PD_MAX_R];

	mul(x, y, r, r, r, xy);
	mul(xy, z, r, r, r, xyz);
	for (size_t c = 0; c < r * r; c++)
		out[c] += f * xyz[c];
}

/* dK of a shape's nodes, added to dk(q*q). */
static void add_dk(const struct pd_nested *m, const struct pd_level *lv,
                   size_t i, double *dk)
{
	size_t r = m->r, q = lv->q, rr = r * r;
	const double *cn = lv->s.cn + i * rr, *dcn = lv->s.dcn + i * rr;
	double x[PD_MAX_R * PD_MAX_R] = { 0.0 };

	add_xyz(-1.0, dcn, lv->s.omega + i * rr, cn, r, x);
	add_xyz(-1.0, cn, lv->s.omega + i * rr, dcn, r, x);
	add_xyz(-1.0, cn, lv->s.domega + i * rr, cn, r, x);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			size_t at = lv->col[a] * r + lv->col[b];

			dk[a * q + b] += lv->s.count[i] * dcn[at] + x[at];
		}
}

/* dOmega of the children of a shape's nodes. */
static void domega_down(const struct pd_nested *m, const struct pd_level *lv,
                        size_t i)
{
	size_t r = m->r, rr = r * r;
	const double *f = lv->s.f + i * rr, *df = lv->s.df + i * rr;
	double x[PD_MAX_R * PD_MAX_R], y[PD_MAX_R * PD_MAX_R];
	double sum[PD_MAX_R * PD_MAX_R];

	mul(lv->s.omega + i * rr, f, r, r, r, x);
	t_mul(df, x, r, r, r, y);
	for (size_t a = 0; a < r; a++) /* dF' Omega F and its transpose */
		for (size_t b = 0; b < r; b++)
			sum[a * r + b] = y[a * r + b] + y[b * r + a];
	mul(lv->s.domega + i * rr, f, r, r, r, x);
	t_mul(f, x, r, r, r, y);
	for (size_t c = 0; c < rr; c++)
		sum[c] += y[c];
	spread(lv, r, lv->s.count[i], lv->s.dd + i * lv->q * lv->q, sum);
	for (size_t j = lv->s.start[i]; j < lv->s.start[i + 1]; j++)
		for (size_t c = 0; c < rr; c++)
			lv[1].s.domega[lv->s.child[j] * rr + c] +=
				lv->s.times[j] * sum[c];
}

/* nodes_down where r = q = 1; dH takes the place of dB. */
static void ones_down(const struct tangent *t, struct pd_level *lv)
{
	size_t ld = t->m->ld;
	bool top = lv == t->m->level, own = lv == &t->m->level[t->k];

	for (size_t i = 0; i < lv->n_nodes; i++) {
		double c = lv->s.cn[lv->shape[i]], dc = lv->s.dcn[lv->shape[i]];
		size_t above = top ? 0 : lv->parent[i] * ld;

		for (size_t k = 0; k < ld; k += PD_PAIR) {
			pd_pair *dh = (pd_pair *)(lv->dh + i * ld + k);
			pd_pair h = *dh, de = { 0.0 };

			if (!top) {
				de = *(pd_pair *)(lv[-1].de + above + k);
				h -= dc * *(pd_pair *)(lv[-1].e + above + k);
				h -= c * de;
			}
			*dh = h;
			if (!own)
				*(pd_pair *)(lv->de + i * ld + k) =
					de + lv->T[0] * h;
		}
	}
}

/* dH of every node and the dE they hand to their children. */
static void nodes_down(const struct tangent *t, struct pd_level *lv)
{
	size_t r = t->m->r, q = lv->q, ld = t->m->ld, last = SIZE_MAX;
	bool top = lv == t->m->level, own = lv == &t->m->level[t->k];
	double cs[PD_NESTED_BLOCK * PD_MAX_R], dcs[PD_NESTED_BLOCK * PD_MAX_R];

	for (size_t i = 0; i < lv->n_nodes; i++) {
		double *dh = lv->dh + i * q * ld, *de;
		size_t above = top ? 0 : lv->parent[i] * r * ld;

		rows_of(lv, lv->db + i * r * ld, ld, dh);
		if (!top && lv->shape[i] != last) {
			last = lv->shape[i];
			rows_of(lv, lv->s.cn + last * r * r, r, cs);
			rows_of(lv, lv->s.dcn + last * r * r, r, dcs);
		}
		if (!top) {
			rows_add(dh, -1.0, dcs, q, r, lv[-1].e + above, ld);
			rows_add(dh, -1.0, cs, q, r, lv[-1].de + above, ld);
		}
		if (own)
			continue;
		de = lv->de + i * r * ld;
		if (top)
			memset(de, 0, r * ld * sizeof *de);
		else
			memcpy(de, lv[-1].de + above, r * ld * sizeof *de);
		for (size_t a = 0; a < q; a++)
			rows_add(de + lv->col[a] * ld, 1.0, lv->T + a * q, 1, q,
			         dh, ld);
	}
}

/* x[a,b] += y[b,a], also where x is y */
static void add_transpose(double *x, const double *y, size_t ld)
{
	for (size_t a = 0; a < ld; a++)
		for (size_t b = x == y ? a : 0; b < ld; b++) {
			double s = x[a * ld + b] + y[b * ld + a];

			x[a * ld + b] = s;
			if (x == y)
				x[b * ld + a] = s;
		}
}

/* accum[i][j] = sum over the level's groups of H_i'dH_j + dH_i'H_j */
static void cross_h(const struct tangent *t, struct pd_level *lv)
{
	struct pd_nested *m = t->m;
	size_t q = lv->q, ld = m->ld, ll = ld * ld, rr = m->r * m->r;
	double f[PD_MAX_BLOCK], df[PD_MAX_BLOCK];

	memset(m->accum, 0, q * q * ll * sizeof *m->accum);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++)
			pd_cross_add(m->accum + (a * q + b) * ll,
			             lv->h + a * ld, q * ld, lv->dh + b * ld,
			             q * ld, lv->mult, lv->n_nodes, ld);
	for (size_t s = 0; lv->presummed && lv == &m->level[t->k] &&
	                   s < lv->s.n; s++) {
		block_of(lv, m->r, lv->s.f + s * rr, f);
		block_of(lv, m->r, lv->s.df + s * rr, df);
		add_within(m, lv, s, f, df);
	}
	for (size_t a = 0; a < q; a++)
		for (size_t b = a; b < q; b++) {
			double *x = m->accum + (a * q + b) * ll;
			double *y = m->accum + (b * q + a) * ll;

			add_transpose(x, y, ld);
			for (size_t i = 0; a != b && i < ld; i++)
				for (size_t j = 0; j < ld; j++)
					y[j * ld + i] = x[i * ld + j];
		}
}

static void down(const struct tangent *t, size_t f)
{
	struct pd_nested *m = t->m;
	size_t ne = m->n_elements, ll = m->ld * m->ld, rr = m->r * m->r, a, b;

	memset(m->level[0].s.domega, 0, m->level[0].s.n * rr * sizeof(double));
	for (size_t k = 0; k <= t->k; k++) {
		struct pd_level *lv = &m->level[k];
		double dk[PD_MAX_BLOCK] = { 0.0 };

		if (k < t->k)
			memset(lv[1].s.domega, 0, lv[1].s.n * rr *
			       sizeof(double));
		for (size_t s = 0; s < lv->s.n; s++) {
			add_dk(m, lv, s, dk);
			if (k < t->k)
				domega_down(m, lv, s);
		}
		if (!t->shapes_only && m->r == 1)
			ones_down(t, lv);
		else if (!t->shapes_only)
			nodes_down(t, lv);
		if (!t->shapes_only)
			cross_h(t, lv);
		for (size_t e = 0; e < lv->n_elements; e++) {
			size_t at = (lv->first + e) * ne + f;

			pd_element(lv, e, &a, &b);
			m->dd_log_det[at] = element_sum(dk, lv->q, a, b);
			if (!t->shapes_only)
				element_from(m, lv->q, a, b, m->dda + at * ll);
		}
	}
}

static void along(struct pd_nested *m, size_t f, bool shapes_only)
{
	struct tangent t = { .m = m, .shapes_only = shapes_only };
	size_t a, b, q;

	while (f >= m->level[t.k].first + m->level[t.k].n_elements)
		t.k++;
	q = m->level[t.k].q;
	pd_element(&m->level[t.k], f - m->level[t.k].first, &a, &b);
	t.dt[a * q + b] = t.dt[b * q + a] = 1.0;
	for (size_t k = t.k + 1; k-- > 0;) {
		if (k < t.k)
			collect_dc(m, &m->level[k]);
		for (size_t s = 0; s < m->level[k].s.n; s++)
			shape_up(&t, &m->level[k], s);
		if (!shapes_only && m->r == 1)
			ones_up(&t, &m->level[k]);
		else if (!shapes_only)
			nodes_up(&t, &m->level[k]);
	}
	down(&t, f);
}

void pd_pass_tangent(struct pd_nested *m, size_t f)
{
	along(m, f, false);
}

void pd_pass_tangent_shapes(struct pd_nested *m, size_t f)
{
	along(m, f, true);
}
