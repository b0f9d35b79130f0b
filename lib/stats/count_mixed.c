/*
 * count_mixed.c - the search, the number of nodes, and the answer.
 */
#include "stats/count_mixed.h"
#include "stats/count_fit.h"
#include "stats/count_groups.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

/* Rules tried in turn, and the change of log-likelihood that is none. */
static const unsigned ladder[] = { 5, 9, 15, 25, 41, 61, 91, 121, 161 };
enum { RUNGS = sizeof ladder / sizeof *ladder, FIRST_NODES = 9,
       FEWEST_SHARES = 5 };
static const double NO_CHANGE = 1e-7;
static const double FIRST_SD = 0.5, LEAST_SD = 0.3, MOST_SD = 2;
static const double FIRST_THETA = 100;
static const double SMALL_SD = -7; /* ln                                 */

struct mixed {
	pd_arena *arena;
	const pd_mixed_spec *spec;
	pd_count_search plain; /* sd 0                                       */
	double plain_theta, plain_value;
	pd_count_groups g;
	double *par, *gradient, *hessian; /* p + 2 and its square            */
	pd_newton_record record;
	int at_zero;           /* the fit is the plain one                   */
	double node_change;
};

static size_t n_free(const struct mixed *m)
{
	return m->g.p + 1 + m->g.free_theta;
}

static pd_status check_groups(const pd_count_groups *g, pd_error *err)
{
	if (g->n_groups < 2)
		return pd_fail(err, PD_REFUSED, "all rows belong to one group: "
		               "how groups differ cannot be told");
	if (g->longest < 2)
		return pd_fail(err, PD_REFUSED, "no group has 2 rows: groups "
		               "cannot be told from rows");
	return PD_OK;
}

static pd_status begin(struct mixed *m, pd_error *err)
{
	size_t p = m->spec->rows.p;
	double poisson;
	pd_status st;

	if (!p)
		return pd_fail(err, PD_REFUSED, "the model has no columns");
	st = pd_count_begin(m->arena, &m->spec->rows, &m->plain, err);
	if (st == PD_OK)
		st = pd_count_groups_new(m->arena, m->spec, m->plain.basis.q,
		                         &m->g, err);
	if (st == PD_OK)
		st = check_groups(&m->g, err);
	if (st == PD_OK)
		st = pd_count_climb_all(&m->plain, m->spec->rows.extra,
		                        &m->plain_theta, &poisson, err);
	if (st != PD_OK)
		return st;
	m->plain_value = m->plain.record.value;
	m->par = PD_NEW(m->arena, double, p + 2);
	m->gradient = PD_NEW(m->arena, double, p + 2);
	m->hessian = PD_NEW(m->arena, double, (p + 2) * (p + 2));
	if (!m->par || !m->gradient || !m->hessian)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

/* The sd that the groups' sums show beside the plain fit: Poisson sums of mean
 * M e^u scatter by M + M^2 (exp(sd^2) - 1) where u has mean exp 1. */
static double first_sd(const struct mixed *m)
{
	const pd_count_groups *g = &m->g;
	double excess = 0, square = 0, sd;

	for (size_t k = 0; k < g->n_groups; k++) {
		double sum = 0, mean = 0;

		for (size_t i = g->first[k]; i < g->first[k + 1]; i++) {
			sum += g->y[i];
			mean += exp(pd_count_linear(&m->plain, g->from[i]));
		}
		excess += (sum - mean) * (sum - mean) - mean;
		square += mean * mean;
	}
	sd = sqrt(log1p(fmax(excess / square, 0)));
	return isfinite(sd) ? fmin(fmax(sd, LEAST_SD), MOST_SD) : FIRST_SD;
}

static void start(struct mixed *m, bool free_theta)
{
	size_t p = m->g.p, n = m->g.n;
	double sd = first_sd(m);

	/* The plain fit's level is that of the mean over groups. */
	for (size_t j = 0; j < p; j++) {
		double sum = 0;

		for (size_t i = 0; i < n; i++)
			sum += m->g.x.column[j * n + i];
		m->par[j] = m->plain.par[j] - 0.5 * sd * sd * sum / (double)n;
	}
	m->par[p] = log(sd);
	m->par[p + 1] = log(isinf(m->plain_theta) ? FIRST_THETA
	                                          : 2 * m->plain_theta);
	m->g.free_theta = free_theta;
	memset(m->g.mode, 0, m->g.n_groups * sizeof *m->g.mode);
	if (!free_theta)
		pd_count_table_set(&m->g.table, INFINITY);
}

/* The curvature of the integral serves the search where the rule is close to
 * it; that of the rule itself where it is not. */
static pd_status climb(struct mixed *m, pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(m->arena);
	pd_status st;

	m->g.exact = m->g.rough = m->g.rule.nodes < FEWEST_SHARES;
	st = (m->g.exact ? pd_newton_thrifty : pd_newton_search)(
	    m->arena, pd_count_groups_likelihood, &m->g, n_free(m), m->par,
	    m->gradient, m->hessian, &m->record, err);
	m->g.rough = false;
	if (st == PD_OK && m->record.end == PD_NEWTON_STUCK) {
		m->g.exact = true;
		st = pd_newton_search(m->arena, pd_count_groups_likelihood,
		                      &m->g, n_free(m), m->par, m->gradient,
		                      m->hessian, &m->record, err);
	}
	m->g.exact = true;
	pd_arena_rewind(m->arena, mark);
	return st;
}

static int theta_left(const struct mixed *m)
{
	size_t p = m->g.p;

	return m->g.free_theta &&
	       (m->par[p + 1] > pd_count_furthest_theta(&m->plain) ||
	        (m->record.end == PD_NEWTON_RUNAWAY &&
	         m->record.furthest == p + 1 && m->par[p + 1] > 0));
}

static pd_status no_top(const struct mixed *m, pd_error *err)
{
	return pd_fail(err, PD_NUMERIC, "the count regression with groups did "
	               "not converge in %u steps (last step %g, %u nodes)",
	               m->record.iterations, m->record.step, m->g.rule.nodes);
}

/* A top above the plain fit, or an sd that has gone to 0, near which the search
 * may also wander in rounding. */
static pd_status find_end(struct mixed *m, pd_error *err)
{
	size_t p = m->g.p;

	m->at_zero = (m->record.end == PD_NEWTON_RUNAWAY &&
	              m->record.furthest == p && m->par[p] < 0) ||
	             (m->record.end == PD_NEWTON_STUCK &&
	              m->par[p] < SMALL_SD) ||
	             (m->record.end == PD_NEWTON_TOP &&
	              m->record.value < m->plain_value);
	if (m->at_zero || m->record.end == PD_NEWTON_TOP)
		return PD_OK;
	return no_top(m, err);
}

/* Search from the plain fit; settles which of sd and theta stand at their
 * ends. */
static pd_status climb_free(struct mixed *m, pd_error *err)
{
	pd_status st;

	start(m, m->spec->rows.extra);
	st = climb(m, err);
	if (st == PD_OK && theta_left(m)) {
		start(m, false);
		st = climb(m, err);
	}
	if (st != PD_OK)
		return st;
	return find_end(m, err);
}

/* ---- how many nodes ----------------------------------------------------- */

static pd_status value_with(struct mixed *m, unsigned nodes, double *value,
                            pd_error *err)
{
	pd_status st = pd_count_groups_nodes(&m->g, nodes, err);

	if (st == PD_OK)
		pd_count_groups_likelihood(&m->g, m->par, value, m->gradient,
		                           NULL);
	if (st == PD_OK && !isfinite(*value))
		return pd_fail(err, PD_NUMERIC, "the likelihood cannot be "
		               "computed with %u nodes", nodes);
	return st;
}

/* The next larger rule's log-likelihood against this one's. `fitted`: the
 * search has just ended with this rule. */
static pd_status node_change(struct mixed *m, unsigned nodes, int fitted,
                             double *change, pd_error *err)
{
	unsigned more = nodes + 2;
	double here = m->record.value, there;
	pd_status st;

	for (size_t k = RUNGS; k-- > 0;)
		if (ladder[k] > nodes)
			more = ladder[k];
	if (more > PD_COUNT_MOST_NODES)
		more = nodes - 2;
	st = value_with(m, more, &there, err);
	if (st == PD_OK && !fitted)
		st = value_with(m, nodes, &here, err);
	if (st == PD_OK)
		st = pd_count_groups_nodes(&m->g, nodes, err);
	if (st == PD_OK)
		*change = fabs(there - here);
	return st;
}

/* The first rung from `rung` on that changes nothing at this point. */
static pd_status choose(struct mixed *m, size_t *rung, pd_error *err)
{
	pd_status st = PD_OK;

	for (; st == PD_OK && *rung < RUNGS - 1; ++*rung) {
		st = node_change(m, ladder[*rung], 0, &m->node_change, err);
		if (st == PD_OK && m->node_change <= NO_CHANGE)
			return PD_OK;
	}
	if (st != PD_OK)
		return st;
	return pd_fail(err, PD_NUMERIC, "the integral over groups does not "
	               "settle: %u nodes still change the log-likelihood by "
	               "%g", ladder[RUNGS - 1], m->node_change);
}

static pd_status climb_settled(struct mixed *m, pd_error *err)
{
	size_t rung = 0;
	pd_status st = pd_count_groups_nodes(&m->g, FIRST_NODES, err);

	if (st == PD_OK)
		st = climb_free(m, err);
	while (st == PD_OK && !m->at_zero) {
		size_t before = rung;

		st = choose(m, &rung, err);
		if (st == PD_OK)
			st = climb(m, err);
		if (st == PD_OK)
			st = find_end(m, err);
		if (st != PD_OK || m->at_zero)
			break;
		st = node_change(m, ladder[rung], 1, &m->node_change, err);
		if (st != PD_OK || m->node_change <= NO_CHANGE)
			break;
		if (rung == before && ++rung == RUNGS - 1)
			return choose(m, &rung, err);
	}
	return st;
}

static pd_status climb_given(struct mixed *m, pd_error *err)
{
	unsigned nodes = m->spec->nodes;
	pd_status st = pd_count_groups_nodes(&m->g, nodes, err);

	if (st == PD_OK)
		st = climb_free(m, err);
	if (st == PD_OK && !m->at_zero)
		st = node_change(m, nodes, 1, &m->node_change, err);
	return st;
}

/* ---- the answer --------------------------------------------------------- */

static pd_status answer_plain(struct mixed *m, pd_mixed_fit *fit,
                              pd_error *err)
{
	const pd_count_search *s = &m->plain;

	fit->n_free = s->p + s->free_theta;
	fit->theta = m->plain_theta;
	fit->log_likelihood = m->plain_value;
	fit->nodes = 1;
	fit->iterations = s->record.iterations;
	fit->newton_step = s->record.step;
	memcpy(m->par, s->par, s->p * sizeof *m->par);
	return fit->covariance
	           ? pd_newton_covariance(m->arena, s->hessian, fit->n_free,
	                                  fit->covariance, err)
	           : PD_OK;
}

static pd_status answer_mixed(struct mixed *m, pd_mixed_fit *fit,
                              pd_error *err)
{
	size_t p = m->g.p;
	double value;

	pd_count_groups_likelihood(&m->g, m->par, &value, m->gradient,
	                           fit->covariance ? m->hessian : NULL);
	fit->n_free = n_free(m);
	fit->sd = exp(m->par[p]);
	fit->theta = m->g.free_theta ? exp(m->par[p + 1]) : INFINITY;
	fit->log_likelihood = m->record.value;
	fit->nodes = m->g.rule.nodes;
	fit->node_change = m->node_change;
	fit->iterations = m->record.iterations;
	fit->newton_step = m->record.step;
	for (size_t k = 0; k < m->g.n_groups; k++)
		fit->effect[k] = fit->sd * m->g.mode[k];
	return fit->covariance
	           ? pd_newton_covariance(m->arena, m->hessian, fit->n_free,
	                                  fit->covariance, err)
	           : PD_OK;
}

static void standard_errors(const struct mixed *m, pd_mixed_fit *fit)
{
	size_t p = m->g.p, f = fit->n_free;

	fit->se_log_sd = fit->se_log_theta = NAN;
	if (!fit->covariance)
		return;
	pd_basis_back_covariance(&m->plain.basis, fit->covariance, f);
	if (!m->at_zero)
		fit->se_log_sd = sqrt(fit->covariance[p * f + p]);
	if (isfinite(fit->theta))
		fit->se_log_theta = sqrt(fit->covariance[f * f - 1]);
}

static pd_status answer(struct mixed *m, int with_covariance,
                        pd_mixed_fit *fit, pd_error *err)
{
	size_t p = m->g.p;
	pd_status st;

	fit->beta = PD_NEW(m->arena, double, p);
	if (with_covariance)
		fit->covariance = PD_NEW(m->arena, double,
		                         (p + 2) * (p + 2));
	fit->effect = PD_NEW(m->arena, double, m->g.n_groups);
	if (!fit->beta || (with_covariance && !fit->covariance) ||
	    !fit->effect)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = m->at_zero ? answer_plain(m, fit, err)
	                : answer_mixed(m, fit, err);
	if (st != PD_OK)
		return st;
	standard_errors(m, fit);
	pd_basis_back(&m->plain.basis, m->par, fit->beta);
	fit->alpha = 1 / fit->theta;
	fit->log_likelihood_fixed = m->plain_value;
	fit->n_groups = m->g.n_groups;
	fit->code = m->g.code;
	fit->n_cut = m->plain.n_cut;
	return PD_OK;
}

static pd_status fit_mixed(pd_arena *arena, const pd_mixed_spec *spec,
                           int with_covariance, pd_mixed_fit *out,
                           pd_error *err)
{
	struct mixed m = { .arena = arena, .spec = spec };
	pd_mixed_fit fit = { .n = spec->rows.n, .p = spec->rows.p };
	pd_status st = begin(&m, err);

	if (st == PD_OK)
		st = spec->nodes ? climb_given(&m, err)
		                 : climb_settled(&m, err);
	if (st == PD_OK)
		st = answer(&m, with_covariance, &fit, err);
	if (st == PD_OK)
		*out = fit;
	return st;
}

pd_status pd_count_mixed(pd_arena *arena, const pd_mixed_spec *spec,
                         pd_mixed_fit *out, pd_error *err)
{
	return fit_mixed(arena, spec, 1, out, err);
}

pd_status pd_count_mixed_top(pd_arena *arena, const pd_mixed_spec *spec,
                             pd_mixed_fit *out, pd_error *err)
{
	return fit_mixed(arena, spec, 0, out, err);
}

pd_status pd_count_mixed_likelihood(const pd_mixed_spec *spec,
                                    const double *beta, double sd,
                                    double theta, unsigned nodes,
                                    double *value, double *gradient,
                                    pd_error *err)
{
	size_t p = spec->rows.p;
	pd_arena *arena = pd_arena_new();
	pd_count_groups g;
	double *par, *slope;
	pd_status st;

	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	par = PD_NEW(arena, double, p + 2);
	slope = PD_NEW(arena, double, p + 2);
	st = par && slope ? pd_count_groups_new(arena, spec, spec->rows.x, &g,
	                                        err)
	                  : pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = pd_count_groups_nodes(&g, nodes, err);
	if (st == PD_OK) {
		memcpy(par, beta, p * sizeof *par);
		par[p] = log(sd);
		par[p + 1] = log(theta);
		g.free_theta = isfinite(theta);
		pd_count_groups_likelihood(&g, par, value, slope, NULL);
		if (gradient)
			memcpy(gradient, slope,
			       (p + 1 + g.free_theta) * sizeof *slope);
		if (!isfinite(*value))
			st = pd_fail(err, PD_NUMERIC, "the likelihood cannot "
			             "be computed there");
	}
	pd_arena_free(arena);
	return st;
}

pd_status pd_count_mixed_contrast(const pd_mixed_fit *fit, const double *c,
                                  double level, pd_estimate *out,
                                  pd_error *err)
{
	return pd_newton_contrast(fit->beta, fit->covariance, fit->p,
	                          fit->n_free, c, level, out, err);
}

void pd_count_mixed_test(const pd_mixed_fit *fit, double *ratio, double *p)
{
	*ratio = fmax(0, 2 * (fit->log_likelihood -
	                      fit->log_likelihood_fixed));
	*p = fit->sd > 0 ? 0.5 * pd_chisq_upper(*ratio, 1) : 1;
}
