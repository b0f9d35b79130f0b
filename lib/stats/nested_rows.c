/*
 * nested_rows.c - the walk that keeps every group apart. The steps are those
 * of nested_pass.c: up C, B, D, F; down E, Omega.
 */
#include "stats/nested_rows.h"
#include "stats/nested_kernel.h"

#include <math.h>
#include <stdlib.h>

/* One level's groups, one after the other. */
struct walk {
	double *c, *b;         /* r*r, r*ld before; after pass up C_n, B_n   */
	double *d, *f;         /* q*q, r*r                                   */
	double *e, *omega;     /* r*ld, r*r: handed down, own effect in      */
};

static bool walk_room(pd_arena *arena, const struct pd_nested *m, size_t k,
                      struct walk *w)
{
	size_t g = m->level[k].n_groups, q = m->level[k].q, rr = m->r * m->r;

	w->c = PD_NEW(arena, double, g * rr);
	w->b = PD_NEW(arena, double, g * m->r * m->ld);
	w->d = PD_NEW(arena, double, g * q * q);
	w->f = PD_NEW(arena, double, g * rr);
	w->e = PD_NEW(arena, double, g * m->r * m->ld);
	w->omega = PD_NEW(arena, double, g * rr);
	return w->c && w->b && w->d && w->f && w->e && w->omega;
}

static void leaves(const struct pd_nested *m, struct walk *w)
{
	const struct pd_level *lv = &m->level[m->depth - 1];
	size_t r = m->r, ld = m->ld;

	for (size_t i = 0; i < m->n; i++) {
		const double *z = m->random + i * r;

		rows_add(w->b + lv->row_group[i] * r * ld, 1.0, z, r, 1,
		         m->rows + i * ld, ld);
		mul_t_add(1.0, z, z, r, 1, r, w->c + lv->row_group[i] * r * r);
	}
}

/* D = L (I + L'C_SS L)^-1 L' */
static bool make_d(const struct pd_level *lv, size_t r, const double *c,
                   double *d)
{
	size_t q = lv->q;
	double css[PD_MAX_BLOCK], cl[PD_MAX_BLOCK], k[PD_MAX_BLOCK];
	double x[PD_NESTED_BLOCK], y[PD_MAX_BLOCK];

	block_of(lv, r, c, css);
	mul(css, lv->L, q, q, q, cl);
	t_mul(lv->L, cl, q, q, q, k);
	for (size_t a = 0; a < q; a++)
		k[a * q + a] += 1.0;
	if (!pd_chol(k, q, q))
		return false;
	for (size_t a = 0; a < q; a++) { /* column a of k^-1 L' */
		for (size_t b = 0; b < q; b++)
			x[b] = lv->L[a * q + b];
		pd_chol_solve(k, q, q, x);
		for (size_t b = 0; b < q; b++)
			y[b * q + a] = x[b];
	}
	mul(lv->L, y, q, q, q, d);
	return true;
}

/* D, F of a group; C and B become C_n and B_n. */
static bool group_up(const struct pd_nested *m, const struct pd_level *lv,
                     struct walk *w, size_t g)
{
	size_t r = m->r, q = lv->q, ld = m->ld;
	double *c = w->c + g * r * r, *b = w->b + g * r * ld;
	double *d = w->d + g * q * q, *f = w->f + g * r * r;
	double cs[PD_MAX_R * PD_NESTED_BLOCK];
	double gain[PD_MAX_R * PD_NESTED_BLOCK];
	double *bs = m->wide;

	if (!make_d(lv, r, c, d))
		return false;
	columns_of(lv, r, c, cs);
	mul(cs, d, r, q, q, gain);
	for (size_t a = 0; a < r; a++) {
		f[a * r + a] = 1.0;
		for (size_t j = 0; j < q; j++)
			f[a * r + lv->col[j]] -= gain[a * q + j];
	}
	mul_t_add(-1.0, gain, cs, r, q, r, c);
	rows_of(lv, b, ld, bs);
	rows_add(b, -1.0, gain, r, q, bs, ld);
	return true;
}

static bool walk_up(const struct pd_nested *m, struct walk *w)
{
	size_t rr = m->r * m->r, rl = m->r * m->ld;

	leaves(m, &w[m->depth - 1]);
	for (size_t k = m->depth; k-- > 0;) {
		const struct pd_level *lv = &m->level[k];

		for (size_t g = 0; g < lv->n_groups; g++) {
			size_t up;

			if (!group_up(m, lv, &w[k], g))
				return false;
			if (k == 0)
				continue;
			up = lv->group_parent[g];
			for (size_t i = 0; i < rr; i++)
				w[k - 1].c[up * rr + i] +=
					w[k].c[g * rr + i];
			for (size_t i = 0; i < rl; i++)
				w[k - 1].b[up * rl + i] +=
					w[k].b[g * rl + i];
		}
	}
	return true;
}

static void group_down(const struct pd_nested *m, const struct pd_level *lv,
                       struct walk *w, size_t g, const struct walk *up)
{
	size_t r = m->r, q = lv->q, ld = m->ld, rr = r * r;
	size_t above = up ? lv->group_parent[g] : 0;
	double *e = w->e + g * r * ld, *omega = w->omega + g * rr;
	const double *f = w->f + g * rr;
	double cs[PD_NESTED_BLOCK * PD_MAX_R], x[PD_MAX_R * PD_MAX_R];
	double *h = m->wide;

	rows_of(lv, w->b + g * r * ld, ld, h); /* B_n after the way up */
	if (up) {
		memcpy(e, up->e + above * r * ld, r * ld * sizeof *e);
		rows_of(lv, w->c + g * rr, r, cs);
		rows_add(h, -1.0, cs, q, r, e, ld);
		mul(up->omega + above * rr, f, r, r, r, x);
		t_mul(f, x, r, r, r, omega);
	}
	for (size_t a = 0; a < q; a++)
		rows_add(e + lv->col[a] * ld, 1.0, lv->T + a * q, 1, q, h,
		         ld);
	spread(lv, r, 1.0, w->d + g * q * q, omega);
}

/* vw, inverse and total of every row. */
static void rows_down(const struct pd_nested *m, const struct walk *w,
                      struct pd_rows *out)
{
	size_t r = m->r, ld = m->ld;

	for (size_t i = 0; i < m->n; i++) {
		double *vw = out->vw + i * ld;

		memcpy(vw, m->rows + i * ld, ld * sizeof *vw);
		out->inverse[i] = out->total[i] = 1.0;
		if (m->depth == 0)
			continue;
		const double *z = m->random + i * r;
		size_t g = m->level[m->depth - 1].row_group[i];

		rows_add(vw, -1.0, z, 1, r, w->e + g * r * ld, ld);
		out->inverse[i] -= pd_form(z, w->omega + g * r * r, r, z, r);
		for (size_t k = 0; k < m->depth; k++) {
			const struct pd_level *lv = &m->level[k];
			double zs[PD_NESTED_BLOCK];

			rows_of(lv, z, 1, zs);
			out->total[i] += pd_form(zs, lv->T, lv->q, zs, lv->q);
		}
	}
}

void pd_rows_forward(const double *chol, size_t p, double *x)
{
	for (size_t i = 0; i < p; i++) {
		for (size_t j = 0; j < i; j++)
			x[i] -= chol[i * p + j] * x[j];
		x[i] /= chol[i * p + i];
	}
}

void pd_rows_backward(const double *chol, size_t p, double *x)
{
	for (size_t i = p; i-- > 0;) {
		for (size_t j = i + 1; j < p; j++)
			x[i] -= chol[j * p + i] * x[j];
		x[i] /= chol[i * p + i];
	}
}

static double square(const double *x, size_t p)
{
	double s = 0.0;

	for (size_t j = 0; j < p; j++)
		s += x[j] * x[j];
	return s;
}

/* What needs b and Phi; x[p] is work. */
static bool finish(const struct pd_nested *m, struct pd_rows *out, double *x)
{
	size_t p = m->p, ld = m->ld;

	for (size_t i = 0; i < m->n; i++)
		for (size_t a = 0; a < p; a++)
			for (size_t b = 0; b < p; b++)
				out->chol[a * p + b] += m->rows[i * ld + a] *
				                        out->vw[i * ld + b];
	if (!pd_chol(out->chol, p, p))
		return false;
	for (size_t i = 0; i < m->n; i++) {
		const double *row = m->rows + i * ld, *vw = out->vw + i * ld;

		out->raw[i] = row[p];
		out->part[i] = vw[p];
		for (size_t j = 0; j < p; j++) {
			out->raw[i] -= row[j] * m->beta_q[j];
			out->part[i] -= vw[j] * m->beta_q[j];
		}
		memcpy(x, row, p * sizeof *x);
		pd_rows_forward(out->chol, p, x);
		out->lean[i] = square(x, p);
		memcpy(x, vw, p * sizeof *x);
		pd_rows_forward(out->chol, p, x);
		out->fixed[i] = square(x, p);
	}
	return true;
}

static bool rows_room(pd_arena *arena, const struct pd_nested *m,
                      struct pd_rows *o)
{
	o->vw = PD_NEW(arena, double, m->n * m->ld);
	o->inverse = PD_NEW(arena, double, m->n);
	o->total = PD_NEW(arena, double, m->n);
	o->raw = PD_NEW(arena, double, m->n);
	o->part = PD_NEW(arena, double, m->n);
	o->fixed = PD_NEW(arena, double, m->n);
	o->lean = PD_NEW(arena, double, m->n);
	o->chol = PD_NEW(arena, double, m->p * m->p);
	return o->vw && o->inverse && o->total && o->raw && o->part &&
	       o->fixed && o->lean && o->chol;
}

static pd_status walk(struct pd_nested *m, struct pd_rows *out,
                      pd_error *err)
{
	struct walk w[PD_NESTED_LEVELS];
	pd_arena *work = pd_arena_new();
	double *x = work ? PD_NEW(work, double, m->p) : NULL;
	bool room = x != NULL;
	pd_status st = PD_OK;

	for (size_t k = 0; room && k < m->depth; k++)
		room = walk_room(work, m, k, &w[k]);
	if (!room)
		st = pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows",
		             m->n);
	if (st == PD_OK && m->depth > 0 && !walk_up(m, w))
		st = pd_fail(err, PD_NUMERIC, "the covariance of a group is "
		             "not positive definite");
	for (size_t k = 0; st == PD_OK && k < m->depth; k++)
		for (size_t g = 0; g < m->level[k].n_groups; g++)
			group_down(m, &m->level[k], &w[k], g,
			           k ? &w[k - 1] : NULL);
	if (st == PD_OK) {
		rows_down(m, m->depth ? &w[m->depth - 1] : NULL, out);
		if (!finish(m, out, x))
			st = pd_fail(err, PD_NUMERIC, "the fixed columns "
			             "cannot be told apart at the fit");
	}
	pd_arena_free(work);
	return st;
}

pd_status pd_rows_make(struct pd_nested *m, pd_arena *arena,
                       struct pd_rows *out, pd_error *err)
{
	pd_status st;

	if (!rows_room(arena, m, out))
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows",
		               m->n);
	/* also brings L and T of the levels back to the fit */
	st = pd_nested_residuals(m, out->part, err);
	return st == PD_OK ? walk(m, out, err) : st;
}

/* ---- independent residuals ---------------------------------------------- */

/* Mean and covariance of the effects a row has, given the rows before it. */
struct state {
	size_t n, first[PD_NESTED_LEVELS]; /* effects; where a level's begin */
	double mean[PD_MAX_R], cov[PD_MAX_R * PD_MAX_R];
};

/* Levels >= k start afresh. */
static void forget(const struct pd_nested *m, struct state *s, size_t k)
{
	size_t from = s->first[k];

	for (size_t a = from; a < s->n; a++) {
		s->mean[a] = 0.0;
		for (size_t b = 0; b < s->n; b++)
			s->cov[a * s->n + b] = s->cov[b * s->n + a] = 0.0;
	}
	for (; k < m->depth; k++)
		for (size_t a = 0; a < m->level[k].q; a++)
			for (size_t b = 0; b < m->level[k].q; b++)
				s->cov[(s->first[k] + a) * s->n +
				       s->first[k] + b] =
					m->level[k].T[a * m->level[k].q + b];
}

/* One row seen: its surprise over its sd (s^2 = 1). */
static double see(const struct pd_nested *m, struct state *s, size_t row,
                  double raw)
{
	double h[PD_MAX_R], gain[PD_MAX_R], var = 1.0;

	for (size_t k = 0; k < m->depth; k++)
		for (size_t a = 0; a < m->level[k].q; a++)
			h[s->first[k] + a] =
				m->random[row * m->r + m->level[k].col[a]];
	for (size_t a = 0; a < s->n; a++) {
		gain[a] = 0.0;
		for (size_t b = 0; b < s->n; b++)
			gain[a] += s->cov[a * s->n + b] * h[b];
		raw -= h[a] * s->mean[a];
		var += h[a] * gain[a];
	}
	for (size_t a = 0; a < s->n; a++) {
		s->mean[a] += gain[a] * raw / var;
		for (size_t b = 0; b < s->n; b++)
			s->cov[a * s->n + b] -= gain[a] * gain[b] / var;
	}
	return raw / sqrt(var);
}

/* order[n]: by group of the outermost level, then of the next ..., then as
 * the rows come; other[n] and count[most groups + 1] are work. */
static void sort_rows(const struct pd_nested *m, size_t *order, size_t *other,
                      size_t *count)
{
	for (size_t i = 0; i < m->n; i++)
		order[i] = i;
	for (size_t k = m->depth; k-- > 0;) {
		const struct pd_level *lv = &m->level[k];

		memset(count, 0, (lv->n_groups + 1) * sizeof *count);
		for (size_t i = 0; i < m->n; i++)
			count[lv->row_group[i] + 1]++;
		for (size_t g = 0; g < lv->n_groups; g++)
			count[g + 1] += count[g];
		memcpy(other, order, m->n * sizeof *other);
		for (size_t i = 0; i < m->n; i++)
			order[count[lv->row_group[other[i]]]++] = other[i];
	}
}

pd_status pd_rows_independent(const struct pd_nested *m, const double *raw,
                              double *out, pd_error *err)
{
	struct state s = { 0 };
	double sd = sqrt(m->sigma2);
	size_t *order = calloc(3 * m->n + 1, sizeof *order);

	if (!order)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows",
		               m->n);
	for (size_t k = 0; k < m->depth; k++) {
		s.first[k] = s.n;
		s.n += m->level[k].q;
	}
	sort_rows(m, order, order + m->n, order + 2 * m->n);
	for (size_t i = 0; i < m->n; i++) {
		size_t k = 0, at = order[i];

		while (i > 0 && k < m->depth &&
		       m->level[k].row_group[at] ==
		       m->level[k].row_group[order[i - 1]])
			k++;
		if (k < m->depth)
			forget(m, &s, k);
		out[at] = see(m, &s, at, raw[at]) / sd;
	}
	free(order);
	return PD_OK;
}
