/*
 * nested_fit.c - the search for the least deviance over theta.
 *
 * Newton's method on theta with the exact Hessian; far from the minimum, where
 * the Hessian is not positive, Fisher scoring in T. Where scoring does not
 * help, directions of negative curvature are turned round (their eigenvalue
 * enters by size) and steps are cut back until the deviance falls.
 *
 * Variances of exactly 0 are nested_bound.c's.
 *
 * A search that ends on the boundary or not at all is tried from a second
 * start; the lower deviance stands.
 */
#include "stats/nested_dense.h"
#include "stats/nested_search.h"

#include <math.h>
#include <string.h>

enum { MAX_STEPS = 80, MAX_CUTS = 40 };
static const double step_wanted = 1e-8; /* relative Newton step at the stop */
static const double theta_most = 1e4;   /* beyond, s^2 drowns in rounding   */
static const double held_most = 1e7;    /* where a held value asks for it   */

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

static void find_free(struct pd_search *s)
{
	const struct pd_nested *m = s->m;

	s->n_free = 0;
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];

		for (size_t e = 0; e < lv->n_elements; e++) {
			size_t a, b;

			pd_element(lv, e, &a, &b);
			if (s->at.theta[diagonal(lv, b)] > 0.0 &&
			    !kept_zero(m, lv, lv->perm[a]))
				s->free[s->n_free++] = lv->first + e;
		}
	}
}

/* Newton step of the free thetas, in units that give H a unit diagonal. */
static void newton(struct pd_search *s)
{
	size_t nf = s->n_free, ne = s->m->n_elements;
	double h[PD_MAX_E * PD_MAX_E], vector[PD_MAX_E * PD_MAX_E];
	double value[PD_MAX_E], unit[PD_MAX_E], most = 0.0;

	for (size_t i = 0; i < nf; i++) {
		unit[i] = sqrt(fabs(s->at.hess[s->free[i] * (ne + 1)]));
		most = fmax(most, unit[i]);
	}
	for (size_t i = 0; i < nf; i++)
		unit[i] = most > 0.0 ? 1.0 / fmax(unit[i], 1e-6 * most) : 1.0;
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

/* Elements of T whose variances are not 0. */
static size_t find_used(const struct pd_nested *m, size_t *used)
{
	size_t n = 0, a, b;

	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];

		for (size_t e = 0; e < lv->n_elements; e++) {
			pd_element(lv, e, &a, &b);
			if (lv->T[a * (lv->q + 1)] > 0.0 &&
			    lv->T[b * (lv->q + 1)] > 0.0)
				used[n++] = lv->first + e;
		}
	}
	return n;
}

/*
 * Do the data tell the variances apart? Their expected information must be
 * positive, also when each is measured in its own units, and not vanish
 * beside what as many independent groups would give.
 */
static bool identified(const struct pd_search *s)
{
	const struct pd_nested *m = s->m;
	size_t used[PD_MAX_E], n = find_used(m, used), ne = m->n_elements;
	double info[PD_MAX_E * PD_MAX_E], unit[PD_MAX_E];

	if (m->held.kind != PD_HELD_NOTHING) /* asked before it was held */
		return true;
	for (size_t i = 0; i < n; i++) {
		const struct pd_level *lv = m->level;
		size_t e = used[i];
		double k;

		while (e >= lv->first + lv->n_elements)
			lv++;
		k = m->d_log_det[e] / (double)lv->n_groups;
		unit[i] = s->at.info_t[e * (ne + 1)];
		if (!(unit[i] > 1e-7 * k * k * (double)lv->n_groups))
			return false;
		unit[i] = 1.0 / sqrt(unit[i]);
	}
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			info[i * n + j] = unit[i] * unit[j] *
				s->at.info_t[used[i] * ne + used[j]];
	if (!pd_chol(info, n, n))
		return false;
	for (size_t i = 0; i < n; i++)
		if (!(info[i * (n + 1)] > 1e-4))
			return false;
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
		pd_bound_theta(lv, t, theta);
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
static bool score(struct pd_search *s)
{
	const struct pd_nested *m = s->m;
	size_t used[PD_MAX_E], n = find_used(m, used), ne = m->n_elements;
	double info[PD_MAX_E * PD_MAX_E], step[PD_MAX_E], all[PD_MAX_E] = { 0 };

	for (size_t i = 0; i < n; i++) {
		step[i] = -s->at.grad_t[used[i]];
		for (size_t j = 0; j < n; j++)
			info[i * n + j] = s->at.info_t[used[i] * ne + used[j]];
	}
	if (n == 0 || m->held.kind != PD_HELD_NOTHING || !pd_chol(info, n, n))
		return false; /* what is held is not in the information */
	pd_chol_solve(info, n, n, step);
	for (size_t i = 0; i < n; i++)
		all[used[i]] = step[i];
	memcpy(s->trial.theta, s->at.theta, sizeof s->at.theta);
	for (size_t k = 0; k < m->depth; k++)
		step_level(&m->level[k], all, s->at.theta, s->trial.theta);
	s->known = pd_point_at(s->m, &s->trial, 2);
	if (!(s->trial.value < s->at.value))
		return s->known = false;
	s->at = s->trial;
	return true;
}

/* Try points at + f * step for f = 1, 1/2, ... until the deviance falls; of
 * the whole step, which mostly does, the derivatives at once. */
static bool walk(struct pd_search *s)
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
		pd_bound_clip(s->m, s->at.theta, s->trial.theta);
		s->known = pd_point_at(s->m, &s->trial, cut ? 0 : 2) && !cut;
		if (s->trial.value < s->at.value + (near ? slack : 0.0))
			break;
		if (cut > 8 && s->trial.value < s->at.value + slack)
			break;
	}
	if (!(s->trial.value < s->at.value + slack))
		return s->known = false;
	s->at = s->trial;
	return true;
}

static bool runs_away(const struct pd_search *s)
{
	double most = s->m->held.kind == PD_HELD_NOTHING ? theta_most :
	                                                   held_most;

	for (size_t e = 0; e < s->m->n_elements; e++)
		if (!(fabs(s->at.theta[e]) < most))
			return true;
	return false;
}

/* Rows of theta in their best order, and the derivatives there. */
static bool look(struct pd_search *s, struct pd_nested *m)
{
	bool moved = pd_bound_pivot(m, s->at.theta, false);
	bool known = s->known && !moved;

	s->known = false;
	return s->iterations < MAX_STEPS &&
	       (known || pd_point_at(m, &s->at, 2));
}

static void steps(struct pd_search *s, struct pd_nested *m)
{
	bool told;

	for (s->iterations = 0; s->end == RUNNING; s->iterations++) {
		if (!look(s, m)) {
			s->end = STUCK;
			return;
		}
		if (runs_away(s)) {
			s->end = identified(s) ? RUNAWAY : FLAT;
			return;
		}
		if (pd_bound_settle(s))
			continue;
		find_free(s);
		newton(s);
		if (s->relative <= step_wanted) {
			if (pd_bound_release(s))
				continue;
			s->end = s->curved && identified(s) ? DONE : FLAT;
			return;
		}
		told = identified(s);
		if (!(s->curved && (s->iterations > 0 || s->relative < 1e-3)) &&
		    score(s))
			continue;
		if (!walk(s))
			s->end = told ? STUCK : FLAT;
	}
}

/* A search from `start`; it begins and ends with theta's rows as they come. */
static void run(struct pd_search *s, struct pd_nested *m, const double *start)
{
	memset(s, 0, sizeof *s);
	s->m = m;
	memcpy(s->at.theta, start, m->n_elements * sizeof *start);
	steps(s, m);
	pd_bound_pivot(m, s->at.theta, true);
}

static void unit_start(const struct pd_nested *m, double diag, double *theta)
{
	memset(theta, 0, PD_MAX_E * sizeof *theta);
	for (size_t k = 0; k < m->depth; k++)
		for (size_t j = 0; j < m->level[k].q; j++)
			theta[diagonal(&m->level[k], j)] = diag;
}

static pd_status explain(const struct pd_search *s, pd_error *err)
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

static void record(struct pd_nested *m, const struct pd_search *s)
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
	pd_levels_at(m, m->theta);
}

/* Any column held at zero? */
static bool on_boundary(const struct pd_search *s)
{
	return s->n_free < s->m->n_elements;
}

pd_status pd_fit_search(struct pd_nested *m, const double *start,
                        pd_error *err)
{
	struct pd_search first, second;
	const struct pd_search *best = &first;
	double theta[PD_MAX_E];
	unsigned scored = 0;
	bool two;

	m->record = (pd_nested_fit_record){ 0 };
	unit_start(m, 1.0, theta);
	if (!start)
		scored = pd_start_scored(m, theta);
	run(&first, m, start ? start : theta);
	first.iterations += scored;
	if (scored && (first.end != DONE || on_boundary(&first))) {
		unit_start(m, 1.0, theta);
		run(&first, m, theta);
	}
	/* a given start is near the end already: its boundary stands */
	two = first.end != DONE || (!start && on_boundary(&first));
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

/* What the next Newton step would take off the deviance at s->at; INFINITY
 * where that is no minimum. */
static double still_to_fall(struct pd_search *s)
{
	double fall = 0.0;

	if (!pd_point_at(s->m, &s->at, 2))
		return INFINITY;
	find_free(s);
	newton(s);
	for (size_t i = 0; i < s->n_free; i++)
		fall -= 0.5 * s->at.grad[s->free[i]] * s->step[i];
	return s->curved ? fall : INFINITY;
}

pd_status pd_fit_held(struct pd_nested *m, const double *start,
                      struct pd_point *out, pd_error *err)
{
	static const double share[] = { 1.0, 0.3, 2.0 };
	struct pd_search s;
	bool well = false;

	for (size_t k = 0; !well && k < sizeof share / sizeof *share; k++) {
		double theta[PD_MAX_E] = { 0.0 };

		for (size_t e = 0; e < m->n_elements; e++)
			theta[e] = share[k] * start[e];
		run(&s, m, theta);
		/* a step below rounding's size may never be got */
		well = s.end == DONE ||
		       (s.end == STUCK && still_to_fall(&s) < 1e-6);
	}
	*out = s.at;
	return well ? PD_OK : explain(&s, err);
}
