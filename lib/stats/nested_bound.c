/*
 * nested_bound.c - variances of exactly 0.
 *
 * The deviance is even in a diagonal theta, so theta = 0 is always stationary
 * in theta; whether it is the minimum is seen from the slope in T. Once a
 * variance is a trifle beside the residual's, a step past 0 or one that
 * shrinks theta a thousandfold sets it to exactly 0, and its column is held.
 * A held column stays while the slope of the deviance is >= 0 in every
 * direction T may grow (the Karush-Kuhn-Tucker condition: smallest eigenvalue
 * of N on the null space of T, N_aa = d_aa, N_ab = d_ab / 2), else T grows
 * along the steepest one.
 */
#include "stats/nested_dense.h"
#include "stats/nested_search.h"

#include <math.h>
#include <string.h>

enum { MAX_CUTS = 40 };

void pd_bound_theta(const struct pd_level *lv, const double *t, double *theta)
{
	double l[PD_MAX_BLOCK];
	size_t a, b;

	memcpy(l, t, lv->q * lv->q * sizeof *l);
	pd_chol_semi(l, lv->q, lv->q, 1e-14);
	for (size_t e = 0; e < lv->n_elements; e++) {
		pd_element(lv, e, &a, &b);
		theta[lv->first + e] = l[a * lv->q + b];
	}
}

/* Is the variance of theta at `d` already a trifle beside the residual's? */
static bool small(const struct pd_nested *m, const struct pd_level *lv,
                  size_t d, const double *theta)
{
	return theta[d] * theta[d] * fabs(m->d_log_det[d]) <
	       0.05 * (double)lv->n_groups;
}

void pd_bound_clip(const struct pd_nested *m, const double *from,
                   double *theta)
{
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];
		size_t q = lv->q;
		double l[PD_MAX_BLOCK] = { 0.0 }, t[PD_MAX_BLOCK] = { 0.0 };
		bool cut = false;

		for (size_t j = 0; j < q; j++) {
			size_t d = diagonal(lv, j);
			bool trifle = small(m, lv, d, from);

			if (!(theta[d] < (trifle ? 1e-3 : 0.1) * from[d]))
				continue;
			theta[d] = trifle ? 0.0 : 0.25 * from[d];
			cut = cut || trifle;
		}
		for (size_t e = 0; cut && e < lv->n_elements; e++) {
			size_t a, b;

			pd_element(lv, e, &a, &b);
			l[a * q + b] = theta[lv->first + e];
		}
		if (!cut)
			continue;
		for (size_t a = 0; a < q; a++)
			for (size_t b = 0; b < q; b++)
				for (size_t c = 0; c < q; c++)
					t[a * q + b] += l[a * q + c] *
					                l[b * q + c];
		pd_bound_theta(lv, t, theta);
	}
}

bool pd_bound_settle(struct pd_search *s)
{
	const struct pd_nested *m = s->m;
	double theta[PD_MAX_E];
	bool any = false;

	memcpy(theta, s->at.theta, sizeof theta);
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];
		size_t q = lv->q;
		double t[PD_MAX_BLOCK];
		bool here = false;

		memcpy(t, lv->T, q * q * sizeof *t);
		for (size_t j = 0; j < q; j++) {
			size_t d = diagonal(lv, j);
			double was = theta[d] * theta[d];

			if (!(was > 0.0) ||
			    was * fabs(m->d_log_det[d]) >
			    1e-4 * (double)lv->n_groups ||
			    s->at.grad_t[d] - was *
			    s->at.hess_t[d * (m->n_elements + 1)] < 0.0)
				continue;
			t[j * q + j] -= was;
			here = true;
		}
		if (here)
			pd_bound_theta(lv, t, theta);
		any = any || here;
	}
	if (!any)
		return false;
	memcpy(s->trial.theta, theta, sizeof theta);
	pd_point_at(s->m, &s->trial, 0);
	if (!(s->trial.value < s->at.value + 1e-10 * fabs(s->at.value)))
		return false;
	memcpy(s->at.theta, theta, sizeof theta);
	return true;
}

/*
 * Smallest slope of the deviance over the directions u u' in which the T of
 * a level with held columns may grow; u[q] is filled. 0 with nothing held.
 */
static double held_slope(const struct pd_search *s, const struct pd_level *lv,
                         double *u)
{
	size_t q = lv->q, held = 0, null[PD_NESTED_BLOCK];
	double t[PD_MAX_BLOCK], v[PD_MAX_BLOCK], n[PD_MAX_BLOCK];
	double value[PD_NESTED_BLOCK], sub[PD_MAX_BLOCK], w[PD_MAX_BLOCK];
	size_t a, b, least = 0;

	for (size_t e = 0; e < lv->n_elements; e++) {
		pd_element(lv, e, &a, &b);
		n[a * q + b] = n[b * q + a] = s->at.grad_t[lv->first + e] *
		                              (a == b ? 1.0 : 0.5);
	}
	for (size_t j = 0; j < q; j++)
		held += !(s->at.theta[diagonal(lv, j)] > 0.0);
	if (held == 0)
		return 0.0;
	memcpy(t, lv->T, q * q * sizeof *t);
	pd_eigen(t, q, value, v);
	for (size_t h = 0; h < held; h++) { /* the `held` least eigenvalues */
		null[h] = 0;
		for (size_t j = 0; j < q; j++)
			if (value[j] < value[null[h]])
				null[h] = j;
		value[null[h]] = INFINITY;
	}
	for (size_t g = 0; g < held; g++)
		for (size_t h = 0; h < held; h++) {
			double sum = 0.0;

			for (a = 0; a < q; a++)
				for (b = 0; b < q; b++)
					sum += v[a * q + null[g]] *
					       n[a * q + b] *
					       v[b * q + null[h]];
			sub[g * held + h] = sum;
		}
	pd_eigen(sub, held, value, w);
	for (size_t h = 1; h < held; h++)
		if (value[h] < value[least])
			least = h;
	for (a = 0; a < q; a++) {
		u[a] = 0.0;
		for (size_t h = 0; h < held; h++)
			u[a] += v[a * q + null[h]] * w[h * held + least];
	}
	return value[least];
}

/* Grow T of a level by t u u', t from the parabola, smaller until it pays. */
static bool grow(struct pd_search *s, const struct pd_level *lv,
                 const double *u, double slope, double weight)
{
	size_t q = lv->q, ne = s->m->n_elements, a, b;
	double curve = 0.0, c[PD_MAX_E], t0[PD_MAX_BLOCK], t1[PD_MAX_BLOCK], t;

	memcpy(t0, lv->T, q * q * sizeof *t0);
	for (size_t e = 0; e < lv->n_elements; e++) {
		pd_element(lv, e, &a, &b);
		c[e] = u[a] * u[b];
	}
	for (size_t e = 0; e < lv->n_elements; e++)
		for (size_t f = 0; f < lv->n_elements; f++)
			curve += c[e] * c[f] *
			         s->at.hess_t[(lv->first + e) * ne +
			                      lv->first + f];
	t = curve > 0.0 ? -slope / curve : (double)lv->n_groups / weight;
	for (int cut = 0; cut < MAX_CUTS; cut++, t *= 0.25) {
		memcpy(s->trial.theta, s->at.theta, sizeof s->at.theta);
		for (a = 0; a < q; a++)
			for (b = 0; b < q; b++)
				t1[a * q + b] = t0[a * q + b] + t * u[a] * u[b];
		pd_bound_theta(lv, t1, s->trial.theta);
		pd_point_at(s->m, &s->trial, 0);
		if (s->trial.value < s->at.value) {
			memcpy(s->at.theta, s->trial.theta,
			       sizeof s->at.theta);
			return true;
		}
	}
	return false;
}

bool pd_bound_release(struct pd_search *s)
{
	for (size_t k = 0; k < s->m->depth; k++) {
		const struct pd_level *lv = &s->m->level[k];
		double u[PD_NESTED_BLOCK] = { 0.0 };
		double slope = held_slope(s, lv, u), weight = 0.0;

		for (size_t j = 0; j < lv->q; j++)
			weight += fabs(s->m->d_log_det[diagonal(lv, j)]);
		if (slope < -1e-9 * weight && grow(s, lv, u, slope, weight))
			return true;
	}
	return false;
}
