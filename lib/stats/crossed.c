/*
 * crossed.c - the mixed model with crossed factors: making it, reading it.
 * How it works, in reading order:
 *   crossed_border.h      the letters and all formulas
 *   crossed_factor.c      codes of the factors, what is refused
 *   crossed_build.c       the tree's nodes and the columns each touches
 *   crossed_pass.c        up and down the tree; crossed_tangent.c: the same
 *                         differentiated
 *   crossed_dense.c       the border: likelihood and derivatives
 *   crossed_conditional.c conditional means and variances, residuals
 *   crossed_profile.c     profile limits
 * The factors are the last levels of an ordinary pd_nested whose passes are
 * crossed_dense.c's; deviance, search, small-sample matrices and tests are
 * those of nested_deviance.c, nested_fit.c, kenward.c and wald.c unchanged.
 */
#include "stats/crossed_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static pd_status check_spec(const pd_crossed_spec *s, pd_error *err)
{
	if (s->n_factors == 0 || s->n_factors > PD_CROSSED_FACTORS)
		return pd_fail(err, PD_USAGE, "%zu crossed factors, expected 1 "
		               "to %d", s->n_factors, PD_CROSSED_FACTORS);
	if (s->tree.depth + s->n_factors > PD_NESTED_LEVELS)
		return pd_fail(err, PD_USAGE, "%zu levels and %zu crossed "
		               "factors, expected at most %d together",
		               s->tree.depth, s->n_factors, PD_NESTED_LEVELS);
	for (size_t j = 0; j < s->n_factors; j++)
		if (!s->factor[j])
			return pd_fail(err, PD_USAGE, "crossed factor %zu has "
			               "no codes", j + 1);
	return PD_OK;
}

/* One more level of m: a factor, one intercept a level. */
static pd_status add_factor(struct pd_nested *m, const pd_crossed_spec *spec,
                            size_t j, pd_error *err)
{
	struct pd_level *lv = &m->level[m->depth];
	pd_status st = pd_crossed_number(m, spec->factor[j], j, lv, err);

	if (st != PD_OK)
		return st;
	lv->q = lv->n_elements = 1;
	lv->col[0] = m->r;
	m->scale[m->r] = 1.0;
	lv->perm[0] = 0;
	lv->first = m->n_elements;
	st = pd_crossed_check(m, spec, j, err);
	m->depth++;
	m->n_elements++;
	return st;
}

/* What nested.c sized by the variances of the tree alone. */
static pd_status make_room(struct pd_nested *m, pd_error *err)
{
	size_t ne = m->n_elements, ll = m->ld * m->ld;

	m->d_log_det = PD_NEW(m->arena, double, ne);
	m->da = PD_NEW(m->arena, double, ne * ll);
	m->dd_log_det = PD_NEW(m->arena, double, ne * ne);
	m->dda = PD_NEW(m->arena, double, ne * ne * ll);
	m->theta_out = PD_NEW(m->arena, double, ne);
	if (!m->d_log_det || !m->da || !m->dd_log_det || !m->dda ||
	    !m->theta_out)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu "
		               "variances", ne);
	return PD_OK;
}

static pd_status add_border(struct pd_crossed *c, size_t tree, pd_error *err)
{
	struct pd_nested *m = c->m;
	const uint32_t *code[PD_CROSSED_FACTORS];
	size_t levels[PD_CROSSED_FACTORS], total = 0;

	for (size_t j = 0; j < c->n_factors; j++) {
		code[j] = m->level[tree + j].row_group;
		levels[j] = m->level[tree + j].n_groups;
		total += levels[j];
		if (total > PD_BORDER_COLUMNS)
			return pd_fail(err, PD_REFUSED, "crossed factors 1 to "
			               "%zu have %zu levels, expected at most "
			               "%d in all", j + 1, total,
			               PD_BORDER_COLUMNS);
	}
	return pd_border_new(m, m->arena, tree, c->n_factors, code, levels,
	                     &m->border, err);
}

pd_status pd_crossed_new(const pd_crossed_spec *spec, pd_crossed **out,
                         pd_error *err)
{
	struct pd_crossed *c;
	pd_status st = check_spec(spec, err);

	*out = NULL;
	if (st != PD_OK)
		return st;
	c = calloc(1, sizeof *c);
	if (!c)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a model of "
		               "%zu rows", spec->tree.n);
	c->n_factors = spec->n_factors;
	st = pd_nested_new(&spec->tree, &c->m, err);
	for (size_t j = 0; st == PD_OK && j < spec->n_factors; j++)
		st = add_factor(c->m, spec, j, err);
	if (st == PD_OK)
		st = make_room(c->m, err);
	if (st == PD_OK)
		st = add_border(c, spec->tree.depth, err);
	if (st != PD_OK) {
		pd_crossed_free(c);
		return st;
	}
	*out = c;
	return PD_OK;
}

void pd_crossed_free(pd_crossed *c)
{
	if (!c)
		return;
	pd_nested_free(c->m);
	free(c);
}

size_t pd_crossed_n_theta(const pd_crossed *c)
{
	return pd_nested_n_theta(c->m);
}

double pd_crossed_deviance(pd_crossed *c, const double *theta,
                           double *gradient)
{
	return pd_nested_deviance(c->m, theta, gradient);
}

/* The thetas of start number k: all large, or one level or factor ahead of the
 * others by its first column. False: no such start. */
static bool start_number(const struct pd_nested *m, size_t k, double *theta)
{
	size_t a, b;

	if (k > m->depth)
		return false;
	for (size_t l = 0; l < m->depth; l++)
		for (size_t e = 0; e < m->level[l].n_elements; e++) {
			pd_element(&m->level[l], e, &a, &b);
			theta[m->level[l].first + e] = a != b ? 0.0 :
				k == 0 ? 10.0 : l + 1 == k ? 3.0 : 0.1;
		}
	return true;
}

/*
 * Few rows and several factors: the deviance may have several least points.
 * The search is repeated from each start, the lowest stands.
 */
static pd_status search_wider(struct pd_nested *m, pd_error *err)
{
	double best = m->fitted ? m->record.deviance : INFINITY;
	double theta[PD_MAX_E], start[PD_MAX_E] = { 0.0 };
	bool found = false;
	struct pd_point pt;

	for (size_t k = 0; start_number(m, k, start); k++) {
		double slack = 1e-9 * fabs(best);

		if (pd_fit_held(m, start, &pt, NULL) != PD_OK ||
		    (isfinite(best) && !(pt.value < best - slack)))
			continue;
		best = pt.value;
		found = true;
		memcpy(theta, pt.theta, sizeof theta);
	}
	m->settled = false;
	return found ? pd_nested_fit_from(m, theta, err) : PD_REFUSED;
}

/*
 * Can the effects follow every row? The deviance of all thetas t grows by
 * log t^2 for each row the effects leave to the residual.
 */
static bool follows_all(struct pd_nested *m)
{
	double theta[2][PD_MAX_E], d[2];

	for (size_t e = 0; e < m->n_elements; e++)
		theta[0][e] = theta[1][e] = 0.0;
	for (size_t k = 0; k < 2; k++) {
		struct pd_point pt;

		start_number(m, 0, theta[k]);
		for (size_t e = 0; e < m->n_elements; e++)
			pt.theta[e] = theta[k][e] * (k ? 100.0 : 10.0);
		pd_point_at(m, &pt, 0);
		d[k] = pt.value;
	}
	m->settled = false;
	return d[1] - d[0] < 1.0;
}

pd_status pd_crossed_fit(pd_crossed *c, pd_error *err)
{
	struct pd_nested *m = c->m;
	pd_status st = pd_nested_fit(m, err);

	if ((st != PD_OK || m->n <= PD_CROSSED_WIDE) &&
	    search_wider(m, NULL) == PD_OK)
		st = PD_OK;
	if (st == PD_NUMERIC && follows_all(m))
		st = pd_fail(err, PD_NUMERIC, "the levels and crossed factors "
		             "together follow every row: nothing is left to "
		             "tell the residual variance");
	return st;
}

const pd_nested_fit_record *pd_crossed_record(const pd_crossed *c)
{
	return pd_nested_record(c->m);
}

const double *pd_crossed_beta(const pd_crossed *c)
{
	return pd_nested_beta(c->m);
}

const double *pd_crossed_covariance(const pd_crossed *c)
{
	return pd_nested_covariance(c->m);
}

const double *pd_crossed_theta(const pd_crossed *c)
{
	return pd_nested_theta(c->m);
}

double pd_crossed_residual_sd(const pd_crossed *c)
{
	return pd_nested_residual_sd(c->m);
}

size_t pd_crossed_rows(const pd_crossed *c)
{
	return pd_nested_rows(c->m);
}

size_t pd_crossed_groups(const pd_crossed *c, size_t level)
{
	return level < c->m->border->n_tree ?
	       pd_nested_groups(c->m, level) : 0;
}

size_t pd_crossed_factor_levels(const pd_crossed *c, size_t factor)
{
	return factor < c->n_factors ?
	       pd_nested_groups(c->m, c->m->border->n_tree + factor) : 0;
}

void pd_crossed_level_covariance(const pd_crossed *c, size_t level,
                                 double *out)
{
	pd_nested_level_covariance(c->m, level, out);
}

double pd_crossed_factor_variance(const pd_crossed *c, size_t factor)
{
	double v = 0.0;

	if (factor < c->n_factors)
		pd_nested_level_covariance(c->m, c->m->border->n_tree + factor,
		                           &v);
	return v;
}

pd_status pd_crossed_contrast(pd_crossed *c, const double *contrast,
                              double level, pd_df_method method,
                              pd_estimate *out, pd_error *err)
{
	return pd_nested_contrast(c->m, contrast, level, method, out, err);
}

pd_status pd_crossed_f_test(pd_crossed *c, const double *contrasts,
                            size_t rows, pd_df_method method, pd_f_test *out,
                            pd_error *err)
{
	return pd_nested_f_test(c->m, contrasts, rows, method, out, err);
}
