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
 *
 * Blocks. The triangle of theta begins with the largest variance and goes on
 * with the largest that is left (perm), so that what vanishes comes last:
 * were the first pivot to vanish, the rest of its column would turn freely
 * into the next.
 */
#include "stats/nested_dense.h"
#include "stats/nested_search.h"

#include <math.h>
#include <string.h>

enum { MAX_CUTS = 40 };

void pd_bound_theta(const struct pd_level *lv, const double *t, double *theta)
{
	double l[PD_MAX_BLOCK];
	size_t a, b, q = lv->q;

	for (a = 0; a < q; a++)
		for (b = 0; b < q; b++)
			l[a * q + b] = t[lv->perm[a] * q + lv->perm[b]];
	pd_chol_semi(l, q, q, 1e-14);
	for (size_t e = 0; e < lv->n_elements; e++) {
		pd_element(lv, e, &a, &b);
		theta[lv->first + e] = l[a * q + b];
	}
}

/* T of a level from theta. */
static void t_of(const struct pd_level *lv, const double *theta, double *t)
{
	double l[PD_MAX_BLOCK] = { 0.0 };
	size_t q = lv->q, a, b;

	for (size_t e = 0; e < lv->n_elements; e++) {
		pd_element(lv, e, &a, &b);
		l[lv->perm[a] * q + b] = theta[lv->first + e];
	}
	for (a = 0; a < q; a++)
		for (b = 0; b < q; b++) {
			t[a * q + b] = 0.0;
			for (size_t c = 0; c < q; c++)
				t[a * q + b] += l[a * q + c] * l[b * q + c];
		}
}

/* The order in which what is left of the diagonal is always largest. */
static void largest_first(const double *t, size_t q, size_t *perm)
{
	double left[PD_MAX_BLOCK];

	memcpy(left, t, q * q * sizeof *left);
	for (size_t j = 0; j < q; j++) {
		size_t best = j, swap, p;

		for (size_t i = j + 1; i < q; i++)
			if (left[perm[i] * (q + 1)] >
			    4.0 * left[perm[best] * (q + 1)])
				best = i;
		swap = perm[j];
		perm[j] = p = perm[best];
		perm[best] = swap;
		for (size_t a = j + 1; a < q && left[p * (q + 1)] > 0.0; a++)
			for (size_t b = j + 1; b < q; b++)
				left[perm[a] * q + perm[b]] -=
					left[perm[a] * q + p] *
					left[p * q + perm[b]] /
					left[p * (q + 1)];
	}
}

bool pd_bound_pivot(struct pd_nested *m, double *theta, bool natural)
{
	bool moved = false;

	for (size_t k = 0; k < m->depth; k++) {
		struct pd_level *lv = &m->level[k];
		double t[PD_MAX_BLOCK];
		size_t perm[PD_NESTED_BLOCK] = { 0, 1, 2 };

		if (lv->q == 1)
			continue;
		t_of(lv, theta, t);
		if (!natural) {
			memcpy(perm, lv->perm, sizeof perm);
			largest_first(t, lv->q, perm);
		}
		if (memcmp(perm, lv->perm, lv->q * sizeof *perm) == 0)
			continue;
		memcpy(lv->perm, perm, sizeof perm);
		pd_bound_theta(lv, t, theta);
		moved = true;
	}
	return moved;
}

/* Is pivot j of theta already a trifle beside the residual's variance? */
static bool small(const struct pd_nested *m, const struct pd_level *lv,
                  size_t j, const double *theta, double share)
{
	double pivot = theta[diagonal(lv, j)];

	return pivot * pivot * fabs(m->d_log_det[diagonal(lv, lv->perm[j])]) <
	       share * (double)lv->n_groups;
}

void pd_bound_clip(const struct pd_nested *m, const double *from,
                   double *theta)
{
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];
		double t[PD_MAX_BLOCK];
		bool cut = false;

		for (size_t j = 0; j < lv->q; j++) {
			size_t d = diagonal(lv, j);
			bool trifle = small(m, lv, j, from, 0.05);

			if (!(theta[d] < (trifle ? 1e-3 : 0.1) * from[d]))
				continue;
			theta[d] = trifle ? 0.0 : 0.25 * from[d];
			cut = cut || trifle;
		}
		if (cut) {
			t_of(lv, theta, t);
			pd_bound_theta(lv, t, theta);
		}
	}
}

/* Columns of theta from j on to 0. */
static void zero_from(const struct pd_level *lv, size_t j, double *theta)
{
	size_t a, b;

	for (size_t e = 0; e < lv->n_elements; e++) {
		pd_element(lv, e, &a, &b);
		if (b >= j)
			theta[lv->first + e] = 0.0;
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

		for (size_t j = 0; j < lv->q; j++) {
			size_t d = diagonal(lv, lv->perm[j]);
			double was = pow(theta[diagonal(lv, j)], 2.0);

			if (!(was > 0.0) || !small(m, lv, j, theta, 1e-4) ||
			    s->at.grad_t[d] - was *
			    s->at.hess_t[d * (m->n_elements + 1)] < 0.0)
				continue;
			zero_from(lv, j, theta); /* later ones are smaller */
			any = true;
		}
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
	for (a = 0; a < q; a++)
		for (b = 0; b < q; b++)
			if (kept_zero(s->m, lv, a) || kept_zero(s->m, lv, b))
				n[a * q + b] = 0.0;
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
		if (kept_zero(s->m, lv, a))
			u[a] = 0.0; /* of rounding's size before */
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
