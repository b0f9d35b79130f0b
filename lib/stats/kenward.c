/*
 * kenward.c - what intervals and tests need when groups are few: Kenward and
 * Roger's and Satterthwaite's matrices. Asking them questions is wald.c.
 *
 * Kenward & Roger (1997), Biometrics 53, 983-997. Parameters are the
 * variances themselves (elements of each level's T, residual last), so that
 * V = sum of s_i V_i and second derivatives of V vanish. With s^2 = 1:
 *   P_i  = - X'V^-1 V_i V^-1 X               = A_i (first derivative of A)
 *   Q_ij = X'V^-1 V_i V^-1 V_j V^-1 X,  Q_ij + Q_ij' = A_ij
 *   E_ij = [tr V^-1 V_i V^-1 V_j - 2 tr Phi Q_ij + tr Phi P_i Phi P_j] / 2
 *   W = E^-1,  Phi_A = Phi + 2 Phi {sum W_ij (Q_ij - P_i Phi P_j)} Phi
 * tr V^-1 V_i V^-1 V_j is minus the second derivative of log|V|. The passes
 * over the tree give all of these for the levels; for the residual, V_0 = I
 * is V less the levels' share (Euler), with t_e the elements of T:
 *   P_0 = -(A + sum t_e A_e),
 *   Q_0f + Q_0f' = -2 A_f - sum t_e A_ef,
 *   Q_00 + Q_00' = 2 A + 4 sum t_e A_e + sum t_e t_f A_ef,
 *   tau_0f = log|V|_f - sum t_e tau_ef,
 *   tau_00 = n - 2 sum t_e log|V|_e + sum t_e t_f tau_ef.
 *
 * Satterthwaite needs V, the inverse observed information of the elements
 * and s^2.
 *
 * Variances estimated as 0 are taken out first: the model is then the smaller
 * one that was in effect fitted. Effects that came out perfectly correlated
 * stay in; the deviance is not stationary in their elements, so the observed
 * information means nothing there and Satterthwaite uses the expected one.
 */
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/nested_tree.h"

#include <math.h>
#include <string.h>

/* The elements of T in use, and their values. */
struct used {
	size_t n, e[PD_MAX_E];
	double t[PD_MAX_E];
	bool singular;         /* a correlation of 1 or -1 among them        */
};

static struct used find_used(const struct pd_nested *m)
{
	struct used u = { 0 };

	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];
		size_t a, b, q = lv->q;

		for (size_t e = 0; e < lv->n_elements; e++) {
			pd_element(lv, e, &a, &b);
			if (!(lv->T[a * q + a] > 0.0) ||
			    !(lv->T[b * q + b] > 0.0))
				continue;
			if (a == b && !(lv->L[a * q + a] > 0.0))
				u.singular = true;
			u.t[u.n] = lv->T[a * q + b];
			u.e[u.n++] = lv->first + e;
		}
	}
	return u;
}

/* out += f * x[p*p of an ld matrix] */
static void add(double *out, double f, const double *x, size_t p, size_t ld)
{
	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j < p; j++)
			out[i * p + j] += f * x[i * ld + j];
}

/* Derivative matrices and numbers by parameter, the residual being u->n. */
struct derived {
	const struct pd_nested *m;
	const struct used *u;
};

static const double *second(const struct derived *d, size_t i, size_t j)
{
	size_t e = d->u->e[i], f = d->u->e[j], ll = d->m->ld * d->m->ld;

	if (e > f) {
		size_t swap = e;

		e = f;
		f = swap;
	}
	return d->m->dda + (e * d->m->n_elements + f) * ll;
}

static double tau_levels(const struct derived *d, size_t i, size_t j)
{
	size_t e = d->u->e[i], f = d->u->e[j], ne = d->m->n_elements;

	return -d->m->dd_log_det[e < f ? e * ne + f : f * ne + e];
}

/* P_i into out[p*p] */
static void make_p(const struct derived *d, size_t i, double *out)
{
	size_t p = d->m->p, ld = d->m->ld, ll = ld * ld;

	memset(out, 0, p * p * sizeof *out);
	if (i < d->u->n) {
		add(out, 1.0, d->m->da + d->u->e[i] * ll, p, ld);
		return;
	}
	add(out, -1.0, d->m->a, p, ld);
	for (size_t e = 0; e < d->u->n; e++)
		add(out, -d->u->t[e], d->m->da + d->u->e[e] * ll, p, ld);
}

/* (Q_ij + Q_ij') / 2 into out[p*p], i <= j */
static void make_q(const struct derived *d, size_t i, size_t j, double *out)
{
	size_t p = d->m->p, ld = d->m->ld, ll = ld * ld, n = d->u->n;
	const double *t = d->u->t;

	memset(out, 0, p * p * sizeof *out);
	if (j < n) {
		add(out, 0.5, second(d, i, j), p, ld);
		return;
	}
	if (i < n) {
		add(out, -1.0, d->m->da + d->u->e[i] * ll, p, ld);
		for (size_t e = 0; e < n; e++)
			add(out, -0.5 * t[e], second(d, e, i), p, ld);
		return;
	}
	add(out, 1.0, d->m->a, p, ld);
	for (size_t e = 0; e < n; e++) {
		add(out, 2.0 * t[e], d->m->da + d->u->e[e] * ll, p, ld);
		for (size_t f = 0; f < n; f++)
			add(out, 0.5 * t[e] * t[f], second(d, e, f), p, ld);
	}
}

/* tr V^-1 V_i V^-1 V_j, i <= j */
static double tau(const struct derived *d, size_t i, size_t j)
{
	size_t n = d->u->n;
	double s;

	if (j < n)
		return tau_levels(d, i, j);
	if (i < n) {
		s = d->m->d_log_det[d->u->e[i]];
		for (size_t e = 0; e < n; e++)
			s -= d->u->t[e] * tau_levels(d, e, i);
		return s;
	}
	s = (double)d->m->n;
	for (size_t e = 0; e < n; e++) {
		s -= 2.0 * d->u->t[e] * d->m->d_log_det[d->u->e[e]];
		for (size_t f = 0; f < n; f++)
			s += d->u->t[e] * d->u->t[f] * tau_levels(d, e, f);
	}
	return s;
}

/* Inverse of a positive definite k*k, in place; false when it is not. */
static bool invert(double *a, size_t k, double *work)
{
	memcpy(work, a, k * k * sizeof *a);
	for (size_t i = 0; i < k; i++) /* unit diagonal, against scale */
		for (size_t j = 0; j < k; j++)
			work[i * k + j] /= sqrt(a[i * k + i]) *
			                   sqrt(a[j * k + j]);
	if (!pd_chol(work, k, k))
		return false;
	for (size_t i = 0; i < k; i++)
		if (!(work[i * k + i] > 1e-6))
			return false;
	double *root = work + k * k; /* k */

	for (size_t i = 0; i < k; i++)
		root[i] = sqrt(a[i * k + i]);
	pd_chol_inverse(work, k, k, a);
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++)
			a[i * k + j] /= root[i] * root[j];
	return true;
}

/* Expected information into w, then inverted. pp[i] = Phi P_i. */
static bool expected(const struct derived *d, struct pd_df_parts *out,
                     const double *pp)
{
	size_t p = out->p, k = out->k;
	double *q = out->work;

	for (size_t i = 0; i < k; i++)
		for (size_t j = i; j < k; j++) {
			double s = tau(d, i, j);

			make_q(d, i, j, q);
			s -= 2.0 * pd_inner(out->phi, p, q, p, p);
			s += pd_trace(pp + i * p * p, pp + j * p * p, p);
			out->w[i * k + j] = out->w[j * k + i] = 0.5 * s;
		}
	return invert(out->w, k, out->work);
}

/* Observed information by (t, s^2) at s^2 = 1, inverted into v. */
static bool observed(const struct derived *d, struct pd_df_parts *out)
{
	const struct pd_nested *m = d->m;
	size_t k = out->k, n = d->u->n, ld = m->ld, ne = m->n_elements;
	double s2 = m->sigma2, nu = (double)(m->reml ? m->n - m->p : m->n);
	double *v = out->v, slope[PD_MAX_E + 1];

	if (d->u->singular)
		return false;
	for (size_t i = 0; i < n; i++)
		slope[i] = pd_form(m->vec, m->da + d->u->e[i] * ld * ld, ld,
		                   m->vec, m->w) / s2;
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			v[i * k + j] = 0.5 * (m->hessian[d->u->e[i] * ne +
			                                 d->u->e[j]] +
			                      slope[i] * slope[j] / nu);
	for (size_t i = 0; i < n; i++)
		v[i * k + n] = v[n * k + i] = -0.5 * slope[i];
	v[n * k + n] = 0.5 * nu;
	for (size_t i = 0; i < k; i++)
		if (!(v[i * k + i] > 0.0))
			return false;
	return invert(v, k, out->work);
}

/* Phi_A = Phi + 2 Phi {sum W_ij (Q_ij - P_i Phi P_j)} Phi */
static void adjust(const struct derived *d, struct pd_df_parts *out,
                   const double *pp)
{
	size_t p = out->p, k = out->k, pq = p * p;
	double *q = out->work, *sum = q + pq, *x = sum + pq, *y = x + pq;

	memset(sum, 0, pq * sizeof *sum);
	for (size_t i = 0; i < k; i++)
		for (size_t j = i; j < k; j++) {
			double f = out->w[i * k + j] * (i == j ? 1.0 : 2.0);

			make_q(d, i, j, q);
			make_p(d, i, y);
			pd_product(y, pp + j * pq, p, x); /* P_i Phi P_j */
			for (size_t a = 0; a < p; a++)
				for (size_t b = 0; b < p; b++)
					sum[a * p + b] += f *
						(q[a * p + b] - 0.5 *
						 (x[a * p + b] + x[b * p + a]));
		}
	pd_product(out->phi, sum, p, x);
	pd_product(x, out->phi, p, y);
	for (size_t a = 0; a < pq; a++)
		out->adjusted[a] = out->phi[a] + 2.0 * y[a];
}

static bool df_room(struct pd_df_parts *o, pd_arena *arena)
{
	size_t p = o->p, k = o->k;

	o->beta = PD_NEW(arena, double, p);
	o->phi = PD_NEW(arena, double, p * p);
	o->adjusted = PD_NEW(arena, double, p * p);
	o->phi_p = PD_NEW(arena, double, 2 * k * p * p);
	o->w = PD_NEW(arena, double, k * k);
	o->v = PD_NEW(arena, double, k * k);
	o->work = PD_NEW(arena, double, 6 * p * p + 4 * k * k);
	return o->beta && o->phi && o->adjusted && o->phi_p && o->w && o->v &&
	       o->work;
}

pd_status pd_df_make(const struct pd_nested *m, pd_arena *arena,
                     struct pd_df_parts *out, pd_error *err)
{
	struct used u = find_used(m);
	struct derived d = { m, &u };
	size_t p = m->p, pq = p * p;
	double *pp;

	*out = (struct pd_df_parts){ .p = p, .k = u.n + 1, .reml = m->reml };
	if (!df_room(out, arena))
		return pd_fail(err, PD_NO_MEMORY, "no memory for intervals");
	pp = out->phi_p + out->k * pq;
	out->scale2 = m->sigma2 * m->y_scale * m->y_scale;
	for (size_t i = 0; i < p; i++)
		out->beta[i] = m->gamma[i] + m->y_scale * m->beta_q[i];
	memcpy(out->phi, m->phi, pq * sizeof(double));
	for (size_t i = 0; i < out->k; i++) {
		make_p(&d, i, out->work);
		pd_product(out->phi, out->work, p, pp + i * pq);
		pd_product(pp + i * pq, out->phi, p, out->phi_p + i * pq);
	}
	if (!expected(&d, out, pp))
		return pd_fail(err, PD_NUMERIC, "the variances cannot be told "
		               "apart: their expected information is not "
		               "positive definite");
	out->observed = observed(&d, out);
	if (!out->observed)
		memcpy(out->v, out->w, out->k * out->k * sizeof(double));
	adjust(&d, out, pp);
	return PD_OK;
}
