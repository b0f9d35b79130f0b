/*
 * count_nested.c - two nested levels: the search, the number of nodes, which
 * variances are 0, and the answer.
 */
#include "stats/count_nested.h"
#include "stats/count_fit.h"
#include "stats/count_levels.h"
#include "stats/count_mixed.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

static const unsigned ladder[] = { 5, 9, 15, 25, 41, 61 };
enum { RUNGS = sizeof ladder / sizeof *ladder };
static const double NO_CHANGE = 1e-6;
static const double LEAST_SD = 0.2, FIRST_THETA = 100;
static const double SMALL_SD = -7; /* ln                                 */
static const double FURTHEST_THETA = 1e6; /* over the largest mean         */

struct nested {
	pd_arena *arena;
	const pd_count_nested_spec *spec;
	pd_basis basis;
	pd_count_levels l;
	int32_t *id;                  /* n: inner groups, numbered           */
	pd_mixed_fit outer, inner;    /* with one sd held at 0               */
	double *par, *gradient, *hessian;
	pd_newton_record record;
	double node_change;
	int left;                     /* one sd at least is 0                */
};

static size_t n_free(const struct nested *m)
{
	return m->l.g.p + 2 + m->l.g.free_theta;
}

static pd_status check_groups(const pd_count_levels *l, pd_error *err)
{
	if (l->n_outer < 2)
		return pd_fail(err, PD_REFUSED, "all rows belong to one outer "
		               "group: how they differ cannot be told");
	if (l->g.n_groups == l->n_outer)
		return pd_fail(err, PD_REFUSED, "no outer group has 2 inner "
		               "ones: the levels cannot be told apart");
	if (l->g.longest < 2)
		return pd_fail(err, PD_REFUSED, "no inner group has 2 rows: "
		               "groups cannot be told from rows");
	return PD_OK;
}

/* ---- one sd at 0 -------------------------------------------------------- */

/* The inner groups' numbers back in the caller's order of rows. */
static pd_status number_rows(struct nested *m, pd_error *err)
{
	const pd_count_groups *g = &m->l.g;

	m->id = PD_NEW(m->arena, int32_t, g->n);
	if (!m->id)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t k = 0; k < g->n_groups; k++)
		for (size_t i = g->first[k]; i < g->first[k + 1]; i++)
			m->id[g->from[i]] = g->code[k];
	return PD_OK;
}

static pd_status fit_edges(struct nested *m, pd_error *err)
{
	pd_mixed_spec flat = { m->spec->rows, m->spec->outer,
	                       m->spec->nodes };
	pd_status st = number_rows(m, err);

	if (st == PD_OK)
		st = pd_count_mixed_top(m->arena, &flat, &m->outer, err);
	flat.group = m->id;
	if (st == PD_OK)
		st = pd_count_mixed_top(m->arena, &flat, &m->inner, err);
	return st;
}

static pd_status begin(struct nested *m, pd_error *err)
{
	const pd_count_spec *rows = &m->spec->rows;
	size_t p = rows->p;
	pd_count_search plain;
	pd_status st;

	if (!p)
		return pd_fail(err, PD_REFUSED, "the model has no columns");
	if (m->spec->nodes > PD_COUNT_NESTED_NODES)
		return pd_fail(err, PD_DATA, "%u quadrature nodes, expected 1 "
		               "to %d", m->spec->nodes,
		               PD_COUNT_NESTED_NODES);
	st = pd_count_begin(m->arena, rows, &plain, err); /* checks the rows */
	if (st != PD_OK)
		return st;
	m->basis = plain.basis;
	st = pd_count_levels_new(m->arena, m->spec, m->basis.q, &m->l, err);
	if (st == PD_OK)
		st = check_groups(&m->l, err);
	if (st == PD_OK)
		st = fit_edges(m, err);
	m->par = PD_NEW(m->arena, double, p + 3);
	m->gradient = PD_NEW(m->arena, double, p + 3);
	m->hessian = PD_NEW(m->arena, double, (p + 3) * (p + 3));
	if (st == PD_OK && (!m->par || !m->gradient || !m->hessian))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return st;
}

/* ---- both free ---------------------------------------------------------- */

/* The better of the two fits with one sd at 0. */
static const pd_mixed_fit *better(const struct nested *m)
{
	return m->inner.log_likelihood > m->outer.log_likelihood ? &m->inner
	                                                         : &m->outer;
}

static void start(struct nested *m, bool free_theta)
{
	size_t p = m->l.g.p;
	const pd_mixed_fit *f = better(m);
	double outer = m->outer.sd, inner = m->inner.sd;

	for (size_t j = 0; j < p; j++) {
		m->par[j] = 0;
		for (size_t k = j; k < p; k++)
			m->par[j] += m->basis.r[j * p + k] * f->beta[k];
	}
	/* The inner fit's variance is about the sum of both. */
	inner = sqrt(fmax(inner * inner - outer * outer, 0));
	m->par[p] = log(fmax(outer, LEAST_SD));
	m->par[p + 1] = log(fmax(inner, LEAST_SD));
	m->par[p + 2] = log(isinf(f->theta) ? FIRST_THETA : f->theta);
	m->l.g.free_theta = free_theta;
	memset(m->l.g.mode, 0, m->l.g.n_groups * sizeof *m->l.g.mode);
	memset(m->l.outer_mode, 0, m->l.n_outer * sizeof *m->l.outer_mode);
	if (!free_theta)
		pd_count_table_set(&m->l.g.table, INFINITY);
}

static pd_status climb(struct nested *m, pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(m->arena);
	pd_status st;

	m->l.g.exact = false;
	m->l.g.rough = true;
	st = pd_newton_thrifty(m->arena, pd_count_levels_likelihood, &m->l,
	                       n_free(m), m->par, m->gradient, m->hessian,
	                       &m->record, err);
	m->l.g.exact = true;
	m->l.g.rough = false;
	if (st == PD_OK && m->record.end == PD_NEWTON_STUCK)
		st = pd_newton_search(m->arena, pd_count_levels_likelihood,
		                      &m->l, n_free(m), m->par, m->gradient,
		                      m->hessian, &m->record, err);
	pd_arena_rewind(m->arena, mark);
	return st;
}

static double furthest_theta(const struct nested *m)
{
	double largest = 1;

	for (size_t i = 0; i < m->l.g.n; i++)
		largest = fmax(largest, m->l.g.y[i]);
	return log(FURTHEST_THETA * largest);
}

static int theta_left(const struct nested *m)
{
	size_t t = m->l.g.p + 2;

	return m->l.g.free_theta &&
	       (m->par[t] > furthest_theta(m) ||
	        (m->record.end == PD_NEWTON_RUNAWAY &&
	         m->record.furthest == t && m->par[t] > 0));
}

static pd_status no_top(const struct nested *m, pd_error *err)
{
	return pd_fail(err, PD_NUMERIC, "the count regression with nested "
	               "groups did not converge in %u steps (last step %g, "
	               "%u nodes)", m->record.iterations, m->record.step,
	               m->l.g.rule.nodes);
}

/* A top, or an sd that has gone to 0, near which the search may also wander in
 * rounding. */
static pd_status find_end(struct nested *m, pd_error *err)
{
	size_t p = m->l.g.p, far = m->record.furthest;

	m->left = (m->record.end == PD_NEWTON_RUNAWAY &&
	           (far == p || far == p + 1) && m->par[far] < 0) ||
	          (m->record.end == PD_NEWTON_STUCK &&
	           fmin(m->par[p], m->par[p + 1]) < SMALL_SD);
	return m->left || m->record.end == PD_NEWTON_TOP ? PD_OK
	                                                 : no_top(m, err);
}

/* Settles which of the sds and theta stand at their ends. */
static pd_status climb_free(struct nested *m, pd_error *err)
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

static pd_status value_with(struct nested *m, unsigned nodes, double *value,
                            pd_error *err)
{
	pd_status st = pd_count_groups_nodes(&m->l.g, nodes, err);

	if (st == PD_OK)
		pd_count_levels_likelihood(&m->l, m->par, value, m->gradient,
		                           NULL);
	if (st == PD_OK && !isfinite(*value))
		return pd_fail(err, PD_NUMERIC, "the likelihood cannot be "
		               "computed with %u nodes", nodes);
	return st;
}

/* The next larger rule's log-likelihood against that just found. */
static pd_status node_change(struct nested *m, pd_error *err)
{
	unsigned nodes = m->l.g.rule.nodes, more = nodes + 2;
	double there = 0;
	pd_status st;

	for (size_t k = RUNGS; k-- > 0;)
		if (ladder[k] > nodes)
			more = ladder[k];
	st = value_with(m, more, &there, err);
	if (st == PD_OK)
		st = pd_count_groups_nodes(&m->l.g, nodes, err);
	m->node_change = fabs(there - m->record.value);
	return st;
}

static pd_status climb_settled(struct nested *m, pd_error *err)
{
	pd_status st = pd_count_groups_nodes(&m->l.g, ladder[0], err);

	if (st == PD_OK)
		st = climb_free(m, err);
	for (size_t rung = 0; st == PD_OK && !m->left; rung++) {
		st = node_change(m, err);
		if (st != PD_OK || m->node_change <= NO_CHANGE)
			return st;
		if (rung + 1 == RUNGS)
			return pd_fail(err, PD_NUMERIC, "the integrals over "
			               "nested groups do not settle: %u nodes "
			               "a level still change the "
			               "log-likelihood by %g", ladder[rung],
			               m->node_change);
		st = pd_count_groups_nodes(&m->l.g, ladder[rung + 1], err);
		if (st == PD_OK)
			st = climb(m, err);
		if (st == PD_OK)
			st = find_end(m, err);
	}
	return st;
}

static pd_status climb_given(struct nested *m, pd_error *err)
{
	pd_status st = pd_count_groups_nodes(&m->l.g, m->spec->nodes, err);

	if (st == PD_OK)
		st = climb_free(m, err);
	if (st == PD_OK && !m->left)
		st = node_change(m, err);
	return st;
}

/* ---- the answer --------------------------------------------------------- */

/* The edge fitted again for its covariance. */
static pd_status answer_edge(struct nested *m, pd_count_nested_fit *fit,
                             pd_error *err)
{
	int outer = better(m) == &m->outer;
	pd_mixed_spec flat = { m->spec->rows, outer ? m->spec->outer : m->id,
	                       m->spec->nodes };
	pd_mixed_fit edge, *f = &edge;
	pd_status st = pd_count_mixed(m->arena, &flat, &edge, err);

	if (st != PD_OK)
		return st;
	fit->beta = f->beta;
	fit->covariance = f->covariance;
	fit->n_free = f->n_free;
	fit->sd_outer = outer ? f->sd : 0;
	fit->sd_inner = outer ? 0 : f->sd;
	fit->se_log_outer = outer ? f->se_log_sd : NAN;
	fit->se_log_inner = outer ? NAN : f->se_log_sd;
	fit->theta = f->theta;
	fit->se_log_theta = f->se_log_theta;
	fit->log_likelihood = f->log_likelihood;
	fit->nodes = f->nodes;
	fit->node_change = f->node_change;
	fit->iterations = f->iterations;
	fit->newton_step = f->newton_step;
	return PD_OK;
}

static pd_status answer_free(struct nested *m, pd_count_nested_fit *fit,
                             pd_error *err)
{
	size_t p = m->l.g.p, f = n_free(m);
	double value;
	pd_status st;

	fit->beta = PD_NEW(m->arena, double, p);
	fit->covariance = PD_NEW(m->arena, double, f * f);
	if (!fit->beta || !fit->covariance)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_count_levels_likelihood(&m->l, m->par, &value, m->gradient,
	                           m->hessian);
	st = pd_newton_covariance(m->arena, m->hessian, f, fit->covariance,
	                          err);
	if (st != PD_OK)
		return st;
	pd_basis_back_covariance(&m->basis, fit->covariance, f);
	pd_basis_back(&m->basis, m->par, fit->beta);
	fit->n_free = f;
	fit->sd_outer = exp(m->par[p]);
	fit->sd_inner = exp(m->par[p + 1]);
	fit->se_log_outer = sqrt(fit->covariance[p * f + p]);
	fit->se_log_inner = sqrt(fit->covariance[(p + 1) * f + p + 1]);
	fit->theta = m->l.g.free_theta ? exp(m->par[p + 2]) : INFINITY;
	fit->se_log_theta = m->l.g.free_theta
	                        ? sqrt(fit->covariance[f * f - 1]) : NAN;
	fit->log_likelihood = m->record.value;
	fit->nodes = m->l.g.rule.nodes;
	fit->node_change = m->node_change;
	fit->iterations = m->record.iterations;
	fit->newton_step = m->record.step;
	return PD_OK;
}

pd_status pd_count_nested(pd_arena *arena, const pd_count_nested_spec *spec,
                          pd_count_nested_fit *out, pd_error *err)
{
	struct nested m = { .arena = arena, .spec = spec };
	pd_count_nested_fit fit = { .n = spec->rows.n, .p = spec->rows.p };
	pd_status st = begin(&m, err);

	if (st == PD_OK)
		st = spec->nodes ? climb_given(&m, err)
		                 : climb_settled(&m, err);
	/* A top below an edge is none. */
	m.left |= st == PD_OK &&
	          m.record.value < better(&m)->log_likelihood;
	if (st == PD_OK && m.left)
		st = answer_edge(&m, &fit, err);
	else if (st == PD_OK)
		st = answer_free(&m, &fit, err);
	if (st != PD_OK)
		return st;
	fit.alpha = 1 / fit.theta;
	fit.n_outer = m.l.n_outer;
	fit.n_inner = m.l.g.n_groups;
	fit.n_cut = m.outer.n_cut;
	fit.log_likelihood_outer = m.outer.log_likelihood;
	fit.log_likelihood_inner = m.inner.log_likelihood;
	fit.log_likelihood_fixed = m.outer.log_likelihood_fixed;
	*out = fit;
	return PD_OK;
}

/* ---- at a point --------------------------------------------------------- */

static pd_status at_point(pd_arena *arena, const pd_count_nested_spec *spec,
                          double *par, unsigned nodes, bool free_theta,
                          double *value, double *slope, pd_error *err)
{
	pd_count_levels l;
	pd_status st = pd_count_levels_new(arena, spec, spec->rows.x, &l, err);

	if (st == PD_OK)
		st = pd_count_groups_nodes(&l.g, nodes, err);
	if (st != PD_OK)
		return st;
	l.g.free_theta = free_theta;
	pd_count_levels_likelihood(&l, par, value, slope, NULL);
	if (!isfinite(*value))
		return pd_fail(err, PD_NUMERIC, "the likelihood cannot be "
		               "computed there");
	return PD_OK;
}

pd_status pd_count_nested_likelihood(const pd_count_nested_spec *spec,
                                     const double *beta, double sd_outer,
                                     double sd_inner, double theta,
                                     unsigned nodes, double *value,
                                     double *gradient, pd_error *err)
{
	size_t p = spec->rows.p, m = p + 2 + (isfinite(theta) ? 1 : 0);
	pd_arena *arena = pd_arena_new();
	double *par, *slope;
	pd_status st;

	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	par = PD_NEW(arena, double, p + 3);
	slope = PD_NEW(arena, double, p + 3);
	if (par && slope) {
		memcpy(par, beta, p * sizeof *par);
		par[p] = log(sd_outer);
		par[p + 1] = log(sd_inner);
		par[p + 2] = log(theta);
		st = at_point(arena, spec, par, nodes, isfinite(theta), value,
		              slope, err);
		if (st == PD_OK && gradient)
			memcpy(gradient, slope, m * sizeof *slope);
	} else {
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	pd_arena_free(arena);
	return st;
}

pd_status pd_count_nested_contrast(const pd_count_nested_fit *fit,
                                   const double *c, double level,
                                   pd_estimate *out, pd_error *err)
{
	return pd_newton_contrast(fit->beta, fit->covariance, fit->p,
	                          fit->n_free, c, level, out, err);
}

void pd_count_nested_test(const pd_count_nested_fit *fit, int outer,
                          double *ratio, double *p)
{
	double without = outer ? fit->log_likelihood_inner
	                       : fit->log_likelihood_outer;

	*ratio = fmax(0, 2 * (fit->log_likelihood - without));
	*p = (outer ? fit->sd_outer : fit->sd_inner) > 0
	         ? 0.5 * pd_chisq_upper(*ratio, 1) : 1;
}
