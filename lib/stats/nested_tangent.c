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
 *   dD   = (I - D C_SS) dT (I - C_SS D) - D dC_SS D
 *   dC_n = F dC F' - C_nS dT C_nS',            F = I - gain S'
 *   dB_n = F (dB - dC_S D B_S) - C_nS dT (B_n)_S
 * Down:
 *   dP     = - S dgain',  dgain = dC_S D + C_S dD
 *   dOmega_child = S dD S' + dP Omega P' + P Omega dP' + P dOmega P'
 *   dK     = dC_n - dC_n Omega C_n - C_n Omega dC_n - C_n dOmega C_n  (_SS)
 *   dH     = (dB_n)_S - (dC_n)_S. E - (C_n)_S. dE
 *   dE_child = dE + S T dH
 *   d^2 log|V| = sum tr(dT_e dK),  d^2 A = - sum (dH' dT_e H + H' dT_e dH)
 */
#include "stats/nested_kernel.h"

struct tangent {
	struct pd_nested *m;
	size_t k;              /* level of f                                */
	double dt[PD_MAX_BLOCK];
};

/* dD and dC_n of one shape. */
static void shape_up(const struct tangent *t, struct pd_level *lv, size_t i)
{
	size_t r = t->m->r, q = lv->q;
	const double *dc = lv->s.dc + i * r * r, *d = lv->s.d + i * q * q;
	double *dd = lv->s.dd + i * q * q, *dcn = lv->s.dcn + i * r * r;
	double cs[PD_MAX_R * PD_NESTED_BLOCK], css[PD_MAX_BLOCK];
	double x[PD_MAX_R * PD_MAX_R], y[PD_MAX_R * PD_MAX_R];

	memset(dd, 0, q * q * sizeof *dd);
	if (lv == &t->m->level[t->k]) {
		own_f(lv, r, i, x); /* I - C_SS D, and its transpose on the left */
		for (size_t a = 0; a < q; a++)
			for (size_t b = 0; b < q; b++)
				css[a * q + b] = x[b * q + a];
		mul(css, t->dt, q, q, q, y);
		mul(y, x, q, q, q, dd);
		columns(lv, r, lv->s.cn + i * r * r, cs);
		mul(cs, t->dt, r, q, q, x);
		memset(dcn, 0, r * r * sizeof *dcn);
		mul_t_add(-1.0, x, cs, r, q, r, dcn);
		return;
	}
	columns(lv, r, dc, cs);
	rows_of(lv, cs, q, css);
	mul(d, css, q, q, q, x);
	mul_t_add(-1.0, x, d, q, q, q, dd);
	make_p(lv, r, lv->s.gain + i * r * q, x); /* P = F' */
	mul(dc, x, r, r, r, y);
	for (size_t a = 0; a < r; a++)
		for (size_t b = 0; b < r; b++) {
			double s = 0.0;

			for (size_t l = 0; l < r; l++)
				s += x[l * r + a] * y[l * r + b];
			dcn[a * r + b] = s;
		}
}

/* db of node i becomes dB_n. */
static void node_up(const struct tangent *t, struct pd_level *lv, size_t i)
{
	size_t r = t->m->r, q = lv->q, ld = t->m->ld, s = lv->shape[i];
	const double *b = lv->b + i * r * ld;
	double *db = lv->db + i * r * ld;
	double f[PD_MAX_BLOCK], cs[PD_MAX_R * PD_NESTED_BLOCK];
	double x[PD_MAX_R * PD_NESTED_BLOCK], y[PD_MAX_R * PD_NESTED_BLOCK];

	if (lv == &t->m->level[t->k]) {
		own_f(lv, r, s, f);
		columns(lv, r, lv->s.cn + s * r * r, cs);
		mul(cs, t->dt, r, q, q, x);
		mul(x, f, r, q, q, y);
		memset(db, 0, r * ld * sizeof *db);
		rows_add(db, -1.0, y, r, q, b, lv->col, ld);
		return;
	}
	columns(lv, r, lv->s.dc + s * r * r, cs);
	mul(cs, lv->s.d + s * q * q, r, q, q, x);
	rows_add(db, -1.0, x, r, q, b, lv->col, ld);
	rows_of(lv, db, ld, t->m->node_work); /* F db needs rows S as they are */
	rows_add(db, -1.0, lv->s.gain + s * r * q, r, q, t->m->node_work, NULL, ld);
}

static void up(const struct tangent *t)
{
	struct pd_nested *m = t->m;
	size_t r = m->r, ld = m->ld;

	for (size_t k = t->k + 1; k-- > 0;) {
		struct pd_level *lv = &m->level[k], *above = lv - 1;

		for (size_t s = 0; s < lv->n_shapes; s++)
			shape_up(t, lv, s);
		if (k > 0) {
			memset(above->db, 0, above->n_nodes * r * ld *
			       sizeof(double));
			memset(above->s.dc, 0, above->n_nodes * r * r *
			       sizeof(double));
		}
		for (size_t i = 0; i < lv->n_nodes; i++) {
			const double *db = lv->db + i * r * ld;
			const double *dcn = lv->s.dcn + lv->shape[i] * r * r;
			double f = lv->mult[i];

			node_up(t, lv, i);
			if (k == 0)
				continue;
			for (size_t c = 0; c < r * ld; c++)
				above->db[lv->parent[i] * r * ld + c] +=
					f * db[c];
			for (size_t c = 0; c < r * r; c++)
				above->s.dc[lv->parent[i] * r * r + c] +=
					f * dcn[c];
		}
	}
}

/* out(r*r) += f * x y z' */
static void add_xyz(double f, const double *x, const double *y,
                    const double *z, size_t r, double *out)
{
	double xy[PD_MAX_R * PD_MAX_R];

	mul(x, y, r, r, r, xy);
	mul_t_add(f, xy, z, r, r, r, out);
}

/* dK into dk(q*q), and dOmega for the children. */
static void shape_down(const struct tangent *t, struct pd_level *lv, size_t i,
                       double *dk)
{
	size_t r = t->m->r, q = lv->q, rr = r * r;
	const double *cn = lv->s.cn + i * rr, *dcn = lv->s.dcn + i * rr;
	const double *omega = lv->s.omega + i * rr;
	const double *domega = lv->s.domega + i * rr;
	double *dbelow = lv->s.dbelow + i * rr;
	double cs[PD_MAX_R * PD_NESTED_BLOCK];
	double dgain[PD_MAX_R * PD_NESTED_BLOCK];
	double x[PD_MAX_R * PD_MAX_R] = { 0.0 }, y[PD_MAX_R * PD_MAX_R];

	add_xyz(-1.0, dcn, omega, cn, r, x);
	add_xyz(-1.0, cn, omega, dcn, r, x);
	add_xyz(-1.0, cn, domega, cn, r, x);
	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			size_t at = lv->col[a] * r + lv->col[b];

			dk[a * q + b] += lv->count[i] * dcn[at] + x[at];
		}
	if (lv == &t->m->level[t->k])
		return;
	columns(lv, r, lv->s.dc + i * rr, cs);
	mul(cs, lv->s.d + i * q * q, r, q, q, dgain);
	columns(lv, r, lv->s.c + i * rr, cs);
	mul_t_add(1.0, cs, lv->s.dd + i * q * q, r, q, q, dgain);
	make_p(lv, r, lv->s.gain + i * r * q, x);
	make_p(lv, r, dgain, y); /* dP = y - I */
	for (size_t a = 0; a < r; a++)
		y[a * r + a] -= 1.0;
	memset(dbelow, 0, rr * sizeof *dbelow);
	spread(lv, r, 1.0, lv->s.dd + i * q * q, dbelow);
	add_xyz(1.0, y, omega, x, r, dbelow);
	add_xyz(1.0, x, omega, y, r, dbelow);
	add_xyz(1.0, x, domega, x, r, dbelow);
}

/* dH of node i into dh(q*ld) and the dE it hands to its children. */
static void node_down(const struct tangent *t, struct pd_level *lv, size_t i,
                      double *dh)
{
	size_t r = t->m->r, q = lv->q, ld = t->m->ld, s = lv->shape[i];
	bool top = lv == t->m->level;
	size_t above = top ? 0 : lv->parent[i] * r * ld;
	double *de = lv->de + i * r * ld;
	double part[PD_NESTED_BLOCK * PD_MAX_R];

	rows_of(lv, lv->db + i * r * ld, ld, dh);
	if (!top) {
		rows_of(lv, lv->s.dcn + s * r * r, r, part);
		rows_add(dh, -1.0, part, q, r, lv[-1].e + above, NULL, ld);
		rows_of(lv, lv->s.cn + s * r * r, r, part);
		rows_add(dh, -1.0, part, q, r, lv[-1].de + above, NULL, ld);
	}
	if (lv == &t->m->level[t->k])
		return;
	if (top)
		memset(de, 0, r * ld * sizeof *de);
	else
		memcpy(de, lv[-1].de + above, r * ld * sizeof *de);
	for (size_t a = 0; a < q; a++)
		rows_add(de + lv->col[a] * ld, 1.0, lv->T + a * q, 1, q, dh,
		         NULL, ld);
}

/* x += y', also where x is y */
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

/* accum[i][j] = sum H_i'dH_j + dH_i'H_j over the level's groups, i <= j */
static void cross_h(const struct tangent *t, struct pd_level *lv)
{
	struct pd_nested *m = t->m;
	size_t q = lv->q, ld = m->ld, ll = ld * ld;
	struct gather g = gather_start(m, q, false);
	double f[PD_MAX_BLOCK], df[PD_MAX_BLOCK], css[PD_MAX_BLOCK];
	double cs[PD_MAX_R * PD_NESTED_BLOCK];

	for (size_t i = 0; i < lv->n_nodes; i++) {
		const double *h = lv->h + i * q * ld;
		const double *dh = m->node_work;
		size_t at = gather_next(&g);

		node_down(t, lv, i, m->node_work);
		for (size_t a = 0; a < q; a++)
			for (size_t c = 0; c < ld; c++) {
				g.x[a * PD_CHUNK * ld + at + c] =
					lv->mult[i] * h[a * ld + c];
				g.y[a * PD_CHUNK * ld + at + c] =
					dh[a * ld + c];
			}
	}
	gather_flush(&g);
	for (size_t s = 0; lv->presummed && lv == &m->level[t->k] &&
	                   s < lv->n_shapes; s++) {
		own_f(lv, m->r, s, f);
		columns(lv, m->r, lv->s.c + s * m->r * m->r, cs);
		rows_of(lv, cs, q, css);
		mul(css, lv->s.dd + s * q * q, q, q, q, df);
		for (size_t a = 0; a < q * q; a++)
			df[a] = -df[a];
		add_within(m, lv, s, f, df);
	}
	for (size_t i = 0; i < q; i++)
		for (size_t j = i; j < q; j++)
			add_transpose(m->accum + (i * q + j) * ll,
			              m->accum + (j * q + i) * ll, ld);
}

void pd_pass_tangent(struct pd_nested *m, size_t f)
{
	struct tangent t = { m, 0, { 0.0 } };
	size_t a, b, ne = m->n_elements, ll = m->ld * m->ld, q;

	while (f >= m->level[t.k].first + m->level[t.k].n_elements)
		t.k++;
	q = m->level[t.k].q;
	pd_element(&m->level[t.k], f - m->level[t.k].first, &a, &b);
	t.dt[a * q + b] = t.dt[b * q + a] = 1.0;
	up(&t);
	memset(m->level[0].s.domega, 0, m->level[0].n_shapes * m->r * m->r *
	       sizeof(double));
	for (size_t k = 0; k <= t.k; k++) {
		struct pd_level *lv = &m->level[k];
		double dk[PD_MAX_BLOCK] = { 0.0 };

		q = lv->q;
		for (size_t s = 0; s < lv->n_shapes; s++)
			shape_down(&t, lv, s, dk);
		cross_h(&t, lv);
		for (size_t e = 0; e < lv->n_elements; e++) {
			size_t at = (lv->first + e) * ne + f;

			pd_element(lv, e, &a, &b);
			m->dd_log_det[at] = a == b ? dk[a * q + a] :
				dk[a * q + b] + dk[b * q + a];
			element_from(m, q, a, b, m->dda + at * ll);
		}
		if (k < t.k)
			pass_omega(m, lv, lv->s.dbelow, lv[1].s.domega);
	}
}
