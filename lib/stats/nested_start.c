/*
 * nested_start.c - where the search begins in a large tree.
 *
 * The exact Hessian costs some three times what the deviance and its gradient
 * cost together, so Newton's method (nested_fit.c) is left for the end. Till
 * then Fisher scoring in the variances t, with an information that needs the
 * shapes of nodes alone:
 *   step = -J^-1 d_e,   J_ef = - log|V|_ef - log|V|_e log|V|_f / nu
 * (letters: nested_deviance.c), the expected information of a maximum
 * likelihood fit. Each step leaves of the distance some share of the order of
 * 1 / sqrt(groups), and often less: then it goes on to the end. Where it does not go that way (a variance that shrinks to
 * nothing, few groups, blocks of several columns) the search begins where it
 * always does.
 */
#include "stats/nested_dense.h"
#include "stats/nested_search.h"

#include <math.h>
#include <string.h>

enum { MOST = 12, LARGE = 2000 }; /* steps; nodes of a large tree           */
static const double near = 2e-4;   /* a step of theta after which Newton's
                                      method is better unless steps shrink */
static const double fast = 0.05;   /* to less than this share each time     */
static const double end = 3e-9;    /* what is left of the way               */

static bool suits(const struct pd_nested *m)
{
	size_t nodes = 0;

	for (size_t k = 0; k < m->depth; k++) {
		nodes += m->level[k].n_nodes;
		if (m->level[k].q > 1)
			return false;
	}
	return !m->border && m->held.kind == PD_HELD_NOTHING &&
	       nodes >= LARGE;
}

/* The step of t by scoring; false without information. */
static bool scored(struct pd_nested *m, const struct pd_point *at,
                   double *step)
{
	double info[PD_MAX_E * PD_MAX_E];
	double nu = (double)(m->reml ? m->n - m->p : m->n);
	size_t ne = m->n_elements;

	for (size_t f = 0; f < ne; f++)
		pd_pass_tangent_shapes(m, f);
	for (size_t e = 0; e < ne; e++) {
		step[e] = -at->grad_t[e];
		for (size_t f = e; f < ne; f++)
			info[e * ne + f] = info[f * ne + e] =
				-m->dd_log_det[e * ne + f] -
				m->d_log_det[e] * m->d_log_det[f] / nu;
	}
	if (!pd_chol(info, ne, ne))
		return false;
	pd_chol_solve(info, ne, ne, step);
	return true;
}

/* theta moves by a step of t, keeping a sixteenth of it (cut: it had to be
 * kept); the largest relative move of a theta. */
static double move(struct pd_point *at, const double *step, size_t ne,
                   bool *cut)
{
	double most = 0.0;

	*cut = false;
	for (size_t e = 0; e < ne; e++) {
		double was = at->theta[e], t = was * was;

		*cut = *cut || t + step[e] < t / 16.0;
		at->theta[e] = sqrt(fmax(t + step[e], t / 16.0));
		most = fmax(most, fabs(at->theta[e] - was) / was);
	}
	return most;
}

unsigned pd_start_scored(struct pd_nested *m, double *theta)
{
	struct pd_point at;
	double step[PD_MAX_E], value = INFINITY, moved = INFINITY;

	if (!suits(m))
		return 0;
	memcpy(at.theta, theta, sizeof at.theta);
	for (unsigned k = 1; k <= MOST; k++) {
		double was = moved;
		bool cut;

		if (!pd_point_at(m, &at, 1) ||
		    !(at.value < value + 1e-9 * fabs(value)) ||
		    !scored(m, &at, step))
			return 0;
		value = at.value;
		moved = move(&at, step, m->n_elements, &cut);
		if (moved < near && (moved > fast * was ||
		                     moved * moved < end * was)) {
			memcpy(theta, at.theta, sizeof at.theta);
			return k;
		}
		if (k > 3 && (cut || (moved < 0.3 && !(moved < 0.5 * was))))
			return 0;
	}
	return 0;
}
