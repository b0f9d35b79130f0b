/*
 * nested_deviance.c - the profiled deviance at a point, its gradient and
 * Hessian. Letters: nested_tree.h. With nu = n - p (REML) or n (ML),
 *   Phi = (X'V^-1 X)^-1,  b = Phi X'V^-1 y,  v = (-b, 1),  rss = v'A v
 *   d   = log|V| + [log|X'V^-1 X|] + nu (1 + log(2 pi rss / nu))
 * the bracket for REML only; s^2 = rss / nu. Subscripts are derivatives by
 * elements e, f of the T matrices (A_e is da, A_ef is dda):
 *   d_e  = log|V|_e + [tr Phi A_e] + nu v'A_e v / rss
 *   d_ef = log|V|_ef + [tr Phi A_ef - tr Phi A_e Phi A_f]
 *          + nu (rss_ef / rss - rss_e rss_f / rss^2),
 *   rss_ef = v'A_ef v - 2 (A_e v)_X' Phi (A_f v)_X
 * whose expectation (for scoring) keeps the determinants with their sign
 * turned and profiles s^2 out:
 *   E d_ef = - log|V|_ef - [tr Phi A_ef - tr Phi A_e Phi A_f] - u_e u_f / nu,
 *   u_e = log|V|_e + [tr Phi A_e]
 * and by theta, T = L L', through dt_ab/dL_ic = [a=i] L_bc + [b=i] L_ac.
 * Something held (pd_held):
 *   c'b = h        b moves by Phi c (h - c'b) / c'Phi c, and Phi in rss_ef is
 *                  Phi - Phi c c'Phi / c'Phi c; the rest stays as it is.
 *   SD of an effect = g: s^2 = g^2 / t with t its T_aa, no longer profiled:
 *     d    = log|V| + [log|X'V^-1 X|] + nu log(2 pi s^2) + rss / s^2
 *     d_e  = log|V|_e + [..] + rss_e / s^2, and (rss / s^2 - nu) / t for T_aa
 *     d_ef = .. + rss_ef / s^2, rss_f / (s^2 t) where e is T_aa, rss_e where
 *            f is, nu / t^2 where both are
 *   SD of the residual = g: s^2 = g^2, d as above, nothing for T_aa.
 * Source: Lindstrom & Bates (1988), J. Am. Stat. Assoc. 83, 1014-1022, with
 * V eliminated down the tree instead of by groups.
 */
#include "stats/crossed_border.h"
#include "stats/nested_dense.h"
#include "stats/nested_search.h"

#include <math.h>
#include <string.h>

/* L (a triangle, column by column in theta) and T = L L' of every level. */
void pd_levels_at(struct pd_nested *m, const double *theta)
{
	for (size_t k = 0; k < m->depth; k++) {
		struct pd_level *lv = &m->level[k];
		size_t q = lv->q, a, b;

		memset(lv->L, 0, sizeof lv->L);
		for (size_t e = 0; e < lv->n_elements; e++) {
			pd_element(lv, e, &a, &b);
			lv->L[lv->perm[a] * q + b] = theta[lv->first + e];
		}
		for (a = 0; a < q; a++)
			for (b = 0; b < q; b++) {
				double s = 0.0;

				for (size_t c = 0; c < q; c++)
					s += lv->L[a * q + c] *
					     lv->L[b * q + c];
				lv->T[a * q + b] = s;
			}
	}
}

static double nu_of(const struct pd_nested *m)
{
	return (double)(m->reml ? m->n - m->p : m->n);
}

double pd_point_sigma2(const struct pd_nested *m)
{
	if (m->held.kind == PD_HELD_SD)
		return m->held.s2;
	return pd_form(m->vec, m->a, m->ld, m->vec, m->w) / nu_of(m);
}

/* v with c'b at its held value. */
static void hold_contrast(struct pd_nested *m)
{
	struct pd_held *h = &m->held;
	double by = h->at;

	memcpy(h->span, h->c, m->p * sizeof *h->span);
	pd_chol_solve(m->chol, m->p, m->p, h->span);
	h->bend = 0.0;
	for (size_t i = 0; i < m->p; i++) {
		h->bend += h->c[i] * h->span[i];
		by += h->c[i] * m->vec[i];
	}
	for (size_t i = 0; i < m->p; i++)
		m->vec[i] -= h->span[i] * by / h->bend;
	h->slope = 2.0 * by / h->bend; /* of rss */
}

/* The T_aa whose SD is held; NULL: the residual's. */
static const double *held_t(const struct pd_nested *m)
{
	const struct pd_level *lv = &m->level[m->held.level];

	return m->held.level < m->depth ? &lv->T[m->held.column * (lv->q + 1)]
	                                : NULL;
}

/* nu log(s^2) + rss / s^2 at the s^2 a held SD makes; INFINITY for t = 0. */
static double hold_sd(struct pd_nested *m, double rss)
{
	struct pd_held *h = &m->held;
	const double *t = held_t(m);
	double nu = nu_of(m);

	if (t && !(*t > 0.0))
		return INFINITY;
	h->s2 = h->at * h->at / (t ? *t : 1.0);
	h->slope = 2.0 * (nu - rss / h->s2) / h->at;
	return nu * log(h->s2) + rss / h->s2;
}

/* chol, phi, v in vec; deviance; INFINITY when not positive definite. */
static double value(struct pd_nested *m)
{
	size_t p = m->p, ld = m->ld;
	double *v = m->vec, nu = nu_of(m), rss, d;

	for (size_t i = 0; i < p; i++) {
		for (size_t j = 0; j < p; j++)
			m->chol[i * p + j] = m->a[i * ld + j];
		v[i] = -m->a[i * ld + p];
	}
	if (!pd_chol(m->chol, p, p))
		return INFINITY;
	pd_chol_solve(m->chol, p, p, v);
	v[p] = 1.0;
	if (m->held.kind == PD_HELD_CONTRAST)
		hold_contrast(m);
	rss = pd_form(v, m->a, ld, v, m->w);
	if (!(rss > 0.0))
		return INFINITY;
	if (m->held.kind == PD_HELD_CONTRAST)
		m->held.slope *= nu / rss;
	if (m->held.kind == PD_HELD_SD)
		d = m->log_det + nu * (log(2.0 * M_PI) + 2.0 *
		                       log(m->y_scale)) + hold_sd(m, rss);
	else
		d = m->log_det + nu * (1.0 + log(2.0 * M_PI * rss / nu) +
		                       2.0 * log(m->y_scale));
	if (m->reml)
		d += pd_chol_log_det(m->chol, p, p) + m->log_det_u;
	return d;
}

static void gradient_t(struct pd_nested *m, double *grad)
{
	size_t ld = m->ld, ll = ld * ld;
	double s2 = pd_point_sigma2(m);
	const struct pd_held *h = &m->held;

	pd_chol_inverse(m->chol, m->p, m->p, m->phi);
	for (size_t i = 0; h->kind == PD_HELD_CONTRAST && i < m->p; i++)
		for (size_t j = 0; j < m->p; j++)
			m->phi[i * m->p + j] -= h->span[i] * h->span[j] /
			                        h->bend;
	for (size_t e = 0; e < m->n_elements; e++) {
		const double *a = m->da + e * ll;

		grad[e] = m->d_log_det[e] +
		          pd_form(m->vec, a, ld, m->vec, m->w) / s2;
		if (m->reml)
			grad[e] += pd_inner(m->phi, m->p, a, ld, m->p);
	}
	if (h->kind == PD_HELD_SD && held_t(m))
		grad[diagonal(&m->level[h->level], h->column)] +=
			(pd_form(m->vec, m->a, ld, m->vec, m->w) / s2 -
			 nu_of(m)) / *held_t(m);
}

/* x = A_e v (p), pa = Phi A_e (p*p) */
static void prepare(const struct pd_nested *m, size_t e, double *x, double *pa)
{
	size_t p = m->p, ld = m->ld;
	const double *a = m->da + e * ld * ld;

	for (size_t i = 0; i < p; i++) {
		x[i] = 0.0;
		for (size_t j = 0; j < m->w; j++)
			x[i] += a[i * ld + j] * m->vec[j];
		for (size_t j = 0; j < p; j++) {
			double s = 0.0;

			for (size_t l = 0; l < p; l++)
				s += m->phi[i * p + l] * a[l * ld + j];
			pa[i * p + j] = s;
		}
	}
}

/* log|V|_e + [tr Phi A_e] */
static double u_of(const struct pd_nested *m, size_t e)
{
	double u = m->d_log_det[e];

	if (m->reml)
		u += pd_inner(m->phi, m->p, m->da + e * m->ld * m->ld, m->ld,
		              m->p);
	return u;
}

/* What profiling s^2 out adds to d_ef, or holding an SD instead. */
static double from_s2(const struct pd_nested *m, size_t e, size_t f, double re,
                      double rf)
{
	const struct pd_held *h = &m->held;
	double s2 = pd_point_sigma2(m), nu = nu_of(m), t, d = 0.0;
	size_t own;

	if (h->kind != PD_HELD_SD)
		return -re * rf / (s2 * s2 * nu);
	if (!held_t(m))
		return 0.0;
	own = diagonal(&m->level[h->level], h->column);
	t = *held_t(m);
	if (e == own)
		d += rf / (s2 * t);
	if (f == own)
		d += re / (s2 * t);
	return e == own && f == own ? d + nu / (t * t) : d;
}

static void hessian_t(struct pd_nested *m, double *h, double *info)
{
	size_t p = m->p, ld = m->ld, ll = ld * ld, ne = m->n_elements;
	double s2 = pd_point_sigma2(m), nu = nu_of(m);
	double *pe = m->work, *pf = pe + p * p;
	double *xe = m->vec + ld, *xf = m->vec + 2 * ld;

	for (size_t e = 0; e < ne; e++) {
		double re = pd_form(m->vec, m->da + e * ll, ld, m->vec, m->w);

		prepare(m, e, xe, pe);
		for (size_t f = e; f < ne; f++) {
			const double *a = m->dda + (e * ne + f) * ll;
			double rf = pd_form(m->vec, m->da + f * ll, ld, m->vec,
			                    m->w);
			double d = m->dd_log_det[e * ne + f];

			prepare(m, f, xf, pf);
			if (m->reml)
				d += pd_inner(m->phi, p, a, ld, p) -
				     pd_trace(pe, pf, p);
			info[e * ne + f] = info[f * ne + e] =
				-d - u_of(m, e) * u_of(m, f) / nu;
			d += (pd_form(m->vec, a, ld, m->vec, m->w) -
			      2.0 * pd_form(xe, m->phi, p, xf, p)) / s2 +
			     from_s2(m, e, f, re, rf);
			h[e * ne + f] = h[f * ne + e] = d;
		}
	}
}

/* dt_e/dtheta_i within one level, elements and thetas by (row, column). */
static double jacobian(const struct pd_level *lv, size_t e, size_t i)
{
	size_t a, b, r, c;

	pd_element(lv, e, &a, &b);
	pd_element(lv, i, &r, &c);
	r = lv->perm[r];
	return (a == r ? lv->L[b * lv->q + c] : 0.0) +
	       (b == r ? lv->L[a * lv->q + c] : 0.0);
}

/* d^2 t_e/dtheta_i dtheta_j */
static double curvature(const struct pd_level *lv, size_t e, size_t i,
                        size_t j)
{
	size_t a, b, r, c, s, d;

	pd_element(lv, e, &a, &b);
	pd_element(lv, i, &r, &c);
	pd_element(lv, j, &s, &d);
	if (c != d)
		return 0.0;
	r = lv->perm[r];
	s = lv->perm[s];
	return (a == r && b == s ? 1.0 : 0.0) + (b == r && a == s ? 1.0 : 0.0);
}

static void to_theta(const struct pd_nested *m, struct pd_point *pt)
{
	memset(pt->grad, 0, sizeof pt->grad);
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];

		for (size_t i = 0; i < lv->n_elements; i++)
			for (size_t e = 0; e < lv->n_elements; e++)
				pt->grad[lv->first + i] += jacobian(lv, e, i) *
				                pt->grad_t[lv->first + e];
	}
}

/* hess = J' hess_t J + sum over e of grad_e times the curvature of t_e */
static void hessian_theta(const struct pd_nested *m, struct pd_point *pt)
{
	size_t ne = m->n_elements;

	memset(pt->hess, 0, sizeof pt->hess);
	for (size_t k = 0; k < m->depth; k++)
		for (size_t l = 0; l < m->depth; l++) {
			const struct pd_level *x = &m->level[k];
			const struct pd_level *y = &m->level[l];

			for (size_t i = 0; i < x->n_elements; i++)
			for (size_t j = 0; j < y->n_elements; j++) {
				double s = 0.0;

				for (size_t e = 0; e < x->n_elements; e++)
				for (size_t f = 0; f < y->n_elements; f++)
					s += jacobian(x, e, i) *
					     jacobian(y, f, j) *
					     pt->hess_t[(x->first + e) * ne +
					                y->first + f];
				for (size_t e = 0; k == l &&
				                   e < x->n_elements; e++)
					s += pt->grad_t[x->first + e] *
					     curvature(x, e, i, j);
				pt->hess[(x->first + i) * ne + y->first + j] =
					s;
			}
		}
}

bool pd_point_at(struct pd_nested *m, struct pd_point *pt, int order)
{
	pd_levels_at(m, pt->theta);
	m->record.evaluations++;
	pt->value = (m->border ? pd_border_up(m) : pd_pass_up(m)) ?
	            value(m) : INFINITY;
	if (!isfinite(pt->value)) {
		pt->value = INFINITY;
		return false;
	}
	if (order < 1)
		return true;
	if (m->border)
		pd_border_down(m);
	else
		pd_pass_down(m);
	gradient_t(m, pt->grad_t);
	to_theta(m, pt);
	if (order < 2)
		return true;
	if (m->border)
		pd_border_second(m);
	for (size_t f = 0; !m->border && f < m->n_elements; f++)
		pd_pass_tangent(m, f);
	hessian_t(m, pt->hess_t, pt->info_t);
	hessian_theta(m, pt);
	return true;
}
