/*
 * nested_fit.c - the search for the least deviance over theta.
 *
 * Newton's method on theta with the exact Hessian; far from the minimum, where
 * the Hessian is not positive, Fisher scoring in T. Where scoring does not
 * help, directions of negative curvature are turned round (their eigenvalue
 * enters by size) and steps are cut back until the deviance falls.
 *
 * Boundary. The deviance is even in a diagonal theta, so theta = 0 is always
 * stationary in theta; whether it is the minimum is seen from the slope in T.
 * Once a variance is a trifle beside the residual's, a step past 0 or one that
 * shrinks theta a thousandfold sets it to exactly 0 and its column is held. A held column is kept while the slope of the
 * deviance is >= 0 in every direction T may grow (the Karush-Kuhn-Tucker
 * condition: smallest eigenvalue of N on the null space of T, where N_aa =
 * d_aa and N_ab = d_ab / 2), else T grows along the steepest one.
 *
 * A search that ends on the boundary or not at all is tried from a second
 * start; the lower deviance stands.
 */
#include "stats/nested_dense.h"
#include "stats/nested_tree.h"

#include <math.h>
#include <string.h>

enum { MAX_STEPS = 80, MAX_CUTS = 40 };
static const double step_wanted = 1e-8; /* relative Newton step at the stop */
static const double theta_most = 1e4;   /* beyond, s^2 drowns in rounding   */

enum ending { RUNNING, DONE, STUCK, FLAT, RUNAWAY };

struct search {
	struct pd_nested *m;
	struct pd_point at, trial;
	size_t free[PD_MAX_E], n_free;
	double step[PD_MAX_E]; /* of the free thetas                         */
	double relative;       /* largest relative Newton step               */
	bool curved;           /* Hessian of the free thetas is positive     */
	unsigned iterations;
	enum ending end;
};

/* Place of L_jj among the elements of a level with q columns. */
static size_t diagonal(const struct pd_level *lv, size_t j)
{
	return lv->first + j * lv->q - j * (j - 1) / 2;
}

/* The size against which a step of theta e is judged. */
static double size_of(const struct pd_nested *m, const double *theta, size_t e)
{
	const struct pd_level *lv = m->level;
	double sum = 0.0;

	while (e >= lv->first + lv->n_elements)
		lv++;
	for (size_t i = lv->first; i < lv->first + lv->n_elements; i++)
		sum += theta[i] * theta[i];
	return sqrt(sum);
}

static void find_free(struct search *s)
{
	const struct pd_nested *m = s->m;

	s->n_free = 0;
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];

		for (size_t e = 0; e < lv->n_elements; e++) {
			size_t a, b;

			pd_element(lv, e, &a, &b);
			if (s->at.theta[diagonal(lv, b)] > 0.0)
				s->free[s->n_free++] = lv->first + e;
		}
	}
}

/* theta of one level from its T; pivots of rounding's size become exact 0. */
static void theta_of_t(const struct pd_level *lv, const double *t,
                       double *theta)
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

/*
 * Diagonals that shrink past a tenth: to exactly 0 where the variance was a
 * trifle anyway (T kept otherwise), else a quarter of what they were.
 */
static void clip(const struct pd_nested *m, const double *from, double *theta)
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
		theta_of_t(lv, t, theta);
	}
}

/* Newton step of the free thetas, in units that give H a unit diagonal. */
static void newton(struct search *s)
{
	size_t nf = s->n_free, ne = s->m->n_elements;
	double h[PD_MAX_E * PD_MAX_E], vector[PD_MAX_E * PD_MAX_E];
	double value[PD_MAX_E], unit[PD_MAX_E], most = 0.0;

	for (size_t i = 0; i < nf; i++) {
		unit[i] = sqrt(fabs(s->at.hess[s->free[i] * (ne + 1)]));
		most = fmax(most, unit[i]);
	}
	for (size_t i = 0; i < nf; i++)
		unit[i] = 1.0 / fmax(unit[i], 1e-6 * most + 1e-300);
	for (size_t i = 0; i < nf; i++)
		for (size_t j = 0; j < nf; j++)
			h[i * nf + j] = unit[i] * unit[j] *
				s->at.hess[s->free[i] * ne + s->free[j]];
	pd_eigen(h, nf, value, vector);
	s->curved = true;
	memset(s->step, 0, sizeof s->step);
	for (size_t k = 0; k < nf; k++) {
		double slope = 0.0, by = fmax(fabs(value[k]), 1e-9);

		s->curved = s->curved && value[k] > 1e-9;
		for (size_t i = 0; i < nf; i++)
			slope += vector[i * nf + k] * unit[i] *
			         s->at.grad[s->free[i]];
		for (size_t i = 0; i < nf; i++)
			s->step[i] -= vector[i * nf + k] * slope / by;
	}
	s->relative = 0.0;
	for (size_t i = 0; i < nf; i++) {
		s->step[i] *= unit[i];
		s->relative = fmax(s->relative, fabs(s->step[i]) /
		                   size_of(s->m, s->at.theta, s->free[i]));
	}
}

/*
 * Do the data tell the free variances apart? Their expected information must
 * be positive, also when each is measured in its own units, and not vanish
 * beside what as many independent groups would give.
 */
static bool identified(const struct search *s)
{
	const struct pd_nested *m = s->m;
	size_t nf = s->n_free, ne = m->n_elements;
	double info[PD_MAX_E * PD_MAX_E], unit[PD_MAX_E];

	for (size_t i = 0; i < nf; i++) {
		const struct pd_level *lv = m->level;
		size_t e = s->free[i];
		double k;

		while (e >= lv->first + lv->n_elements)
			lv++;
		k = m->d_log_det[e] / (double)lv->n_groups;
		unit[i] = s->at.info_t[e * (ne + 1)];
		if (!(unit[i] > 1e-7 * k * k * (double)lv->n_groups))
			return false;
		unit[i] = 1.0 / sqrt(unit[i]);
	}
	for (size_t i = 0; i < nf; i++)
		for (size_t j = 0; j < nf; j++)
			info[i * nf + j] = unit[i] * unit[j] *
				s->at.info_t[s->free[i] * ne + s->free[j]];
	if (!pd_chol(info, nf, nf))
		return false;
	for (size_t i = 0; i < nf; i++)
		if (!(info[i * (nf + 1)] > 1e-4))
			return false;
	return true;
}

/*
 * A variance that is next to nothing, and whose deviance still rises from 0
 * (slope N at t less curvature times t), goes to exactly 0 at once: theta
 * would only halve its way there. True when one went.
 */
static bool settle_zeros(struct search *s)
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
			theta_of_t(lv, t, theta);
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

/* theta of a level whose T moves by a step, halved until T stays well above
 * singular; a level with nothing to move keeps its theta. */
static void step_level(const struct pd_level *lv, const double *step,
                       const double *from, double *theta)
{
	size_t q = lv->q, a, b;
	double f = 1.0;

	for (int cut = 0; cut < MAX_CUTS; cut++, f *= 0.5) {
		double t[PD_MAX_BLOCK];
		bool well = true;

		for (size_t e = 0; e < lv->n_elements; e++) {
			pd_element(lv, e, &a, &b);
			t[a * q + b] = t[b * q + a] = lv->T[a * q + b] +
				f * step[lv->first + e];
		}
		theta_of_t(lv, t, theta);
		for (size_t j = 0; j < q; j++)
			well = well && theta[diagonal(lv, j)] >=
			               0.25 * from[diagonal(lv, j)];
		if (well)
			return;
		if (q == 1 && cut == 0) /* straight to the least allowed */
			f = -15.0 / 8.0 * lv->T[0] / step[lv->first];
	}
	for (size_t e = lv->first; e < lv->first + lv->n_elements; e++)
		theta[e] = from[e];
}

/*
 * Fisher scoring in T: step = -info^-1 gradient over the elements in use. One
 * such step from anywhere lands near the minimum (it is a minimum norm
 * quadratic estimate), where Newton's method from afar may wander. Each
 * level's step is cut until its T keeps a sixteenth of every pivot. False
 * when the deviance does not fall.
 */
static bool score(struct search *s)
{
	const struct pd_nested *m = s->m;
	size_t nf = s->n_free, ne = m->n_elements;
	double info[PD_MAX_E * PD_MAX_E], step[PD_MAX_E], all[PD_MAX_E] = { 0 };

	for (size_t i = 0; i < nf; i++) {
		step[i] = -s->at.grad_t[s->free[i]];
		for (size_t j = 0; j < nf; j++)
			info[i * nf + j] = s->at.info_t[s->free[i] * ne +
			                                s->free[j]];
	}
	if (nf == 0 || !pd_chol(info, nf, nf))
		return false;
	pd_chol_solve(info, nf, nf, step);
	for (size_t i = 0; i < nf; i++)
		all[s->free[i]] = step[i];
	memcpy(s->trial.theta, s->at.theta, sizeof s->at.theta);
	for (size_t k = 0; k < m->depth; k++)
		step_level(&m->level[k], all, s->at.theta, s->trial.theta);
	pd_point_at(s->m, &s->trial, 0);
	if (!(s->trial.value < s->at.value))
		return false;
	memcpy(s->at.theta, s->trial.theta, sizeof s->at.theta);
	return true;
}

/* Try points at + f * step for f = 1, 1/2, ... until the deviance falls. */
static bool walk(struct search *s)
{
	double f = 1.0, slack = 1e-10 * (1.0 + fabs(s->at.value));
	bool near = s->curved && s->relative < 1e-4;

	for (size_t i = 0; i < s->n_free; i++) { /* no leap past threefold */
		double most = 2.0 * fabs(s->at.theta[s->free[i]]) + 1.0;

		f = fmin(f, most / fmax(fabs(s->step[i]), 1e-300));
	}
	for (int cut = 0; cut < MAX_CUTS; cut++, f *= 0.5) {
		memcpy(s->trial.theta, s->at.theta, sizeof s->at.theta);
		for (size_t i = 0; i < s->n_free; i++)
			s->trial.theta[s->free[i]] += f * s->step[i];
		clip(s->m, s->at.theta, s->trial.theta);
		pd_point_at(s->m, &s->trial, 0);
		if (s->trial.value < s->at.value + (near ? slack : 0.0))
			break;
		if (cut > 8 && s->trial.value < s->at.value + slack)
			break;
	}
	if (!(s->trial.value < s->at.value + slack))
		return false;
	memcpy(s->at.theta, s->trial.theta, sizeof s->at.theta);
	return true;
}

/*
 * Smallest slope of the deviance over the directions u u' in which the T of
 * a level with held columns may grow; u[q] is filled. 0 with nothing held.
 */
static double held_slope(const struct search *s, const struct pd_level *lv,
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
static bool grow(struct search *s, const struct pd_level *lv, const double *u,
                 double slope, double weight)
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
		theta_of_t(lv, t1, s->trial.theta);
		pd_point_at(s->m, &s->trial, 0);
		if (s->trial.value < s->at.value) {
			memcpy(s->at.theta, s->trial.theta,
			       sizeof s->at.theta);
			return true;
		}
	}
	return false;
}

/* True when some held variance should not be 0 and was let go. */
static bool release(struct search *s)
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

static bool runs_away(const struct search *s)
{
	for (size_t e = 0; e < s->m->n_elements; e++)
		if (!(fabs(s->at.theta[e]) < theta_most))
			return true;
	return false;
}

static void run(struct search *s, struct pd_nested *m, const double *start)
{
	memset(s, 0, sizeof *s);
	s->m = m;
	memcpy(s->at.theta, start, m->n_elements * sizeof *start);
	for (s->iterations = 0; s->end == RUNNING; s->iterations++) {
		if (runs_away(s)) {
			s->end = RUNAWAY;
			return;
		}
		if (s->iterations == MAX_STEPS ||
		    !pd_point_at(m, &s->at, 2)) {
			s->end = STUCK;
			return;
		}
		if (settle_zeros(s))
			continue;
		find_free(s);
		newton(s);
		if (s->relative <= step_wanted) {
			if (release(s))
				continue;
			s->end = s->curved && identified(s) ? DONE : FLAT;
			return;
		}
		if ((s->iterations == 0 || !s->curved) && score(s))
			continue;
		if (!walk(s))
			s->end = identified(s) ? STUCK : FLAT;
	}
}

static void unit_start(const struct pd_nested *m, double diag, double *theta)
{
	memset(theta, 0, PD_MAX_E * sizeof *theta);
	for (size_t k = 0; k < m->depth; k++)
		for (size_t j = 0; j < m->level[k].q; j++)
			theta[diagonal(&m->level[k], j)] = diag;
}

static pd_status explain(const struct search *s, pd_error *err)
{
	double most = 0.0;

	for (size_t i = 0; i < s->n_free; i++)
		most = fmax(most, fabs(s->at.grad[s->free[i]]));
	switch (s->end) {
	case FLAT:
		return pd_fail(err, PD_NUMERIC, "the data do not tell the "
		               "variances of the levels apart (flat deviance, "
		               "gradient %.3g)", most);
	case RUNAWAY:
		return pd_fail(err, PD_NUMERIC, "rows of one group hardly "
		               "differ: the residual variance is below 1e-8 "
		               "of a level's and cannot be estimated");
	default:
		return pd_fail(err, PD_NUMERIC, "no convergence after %u "
		               "steps: gradient %.3g, relative step %.3g",
		               s->iterations, most, s->relative);
	}
}

static void record(struct pd_nested *m, const struct search *s)
{
	m->record.iterations = s->iterations;
	m->record.newton_step = s->relative;
	m->record.gradient = 0.0;
	m->record.n_at_zero = 0;
	for (size_t i = 0; i < s->n_free; i++)
		m->record.gradient = fmax(m->record.gradient,
		                          fabs(s->at.grad[s->free[i]]));
	for (size_t k = 0; k < m->depth; k++)
		for (size_t j = 0; j < m->level[k].q; j++)
			if (!(m->level[k].T[j * m->level[k].q + j] > 0.0))
				m->record.n_at_zero++;
	m->record.deviance = s->at.value;
	m->record.log_likelihood = -0.5 * s->at.value;
	memcpy(m->theta, s->at.theta, sizeof m->theta);
}

/* Any column held at zero? */
static bool on_boundary(const struct search *s)
{
	return s->n_free < s->m->n_elements;
}

pd_status pd_fit_search(struct pd_nested *m, const double *start,
                        pd_error *err)
{
	struct search first, second;
	const struct search *best = &first;
	double theta[PD_MAX_E];
	bool two;

	m->record = (pd_nested_fit_record){ 0 };
	unit_start(m, 1.0, theta);
	run(&first, m, start ? start : theta);
	two = first.end != DONE || on_boundary(&first);
	if (two) {
		unit_start(m, 0.2, theta);
		run(&second, m, theta);
		if (second.end == DONE &&
		    (first.end != DONE || second.at.value < first.at.value -
		     1e-9 * fabs(first.at.value)))
			best = &second;
	}
	if (best->end != DONE)
		return explain(best, err);
	if (two) { /* the passes and their derivatives at the solution */
		second.trial = best->at;
		pd_point_at(m, &second.trial, 2);
	}
	memcpy(m->hessian, best->at.hess_t, sizeof m->hessian);
	record(m, best);
	return PD_OK;
}
