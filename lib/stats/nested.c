/*
 * nested.c - the linear mixed model down a tree: making it, reading it.
 * How it works, in reading order:
 *   nested_tree.h     the letters and the elimination step
 *   nested_columns.c  X made orthogonal, y freed of it
 *   nested_tree.c     groups, nesting, the sums
 *   nested_shape.c    what may be worked out once for many nodes
 *   nested_pass.c     value and first derivatives in one walk up and down
 *   nested_tangent.c  second derivatives
 *   nested_deviance.c the deviance from these
 *   nested_start.c    where the search begins in a large tree
 *   nested_fit.c      the search; nested_bound.c: variances of exactly 0
 *   kenward.c         small-sample matrices; wald.c: intervals and tests
 */
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/nested_kernel.h"
#include "stats/nested_search.h"
#include "stats/nested_tree.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static pd_status check_spec(const pd_nested_spec *s, pd_error *err)
{
	if (s->depth > PD_NESTED_LEVELS)
		return pd_fail(err, PD_USAGE, "%zu levels, expected at most %d",
		               s->depth, PD_NESTED_LEVELS);
	if (s->n == 0 || s->p == 0 || !s->x || !s->y)
		return pd_fail(err, PD_USAGE, "no rows, no fixed columns or "
		               "no outcome");
	if (s->n > UINT32_MAX / 2)
		return pd_fail(err, PD_USAGE, "%zu rows, expected below 2^31",
		               s->n);
	for (size_t k = 0; k < s->depth; k++) {
		if (!s->group[k])
			return pd_fail(err, PD_USAGE, "level %zu has no group "
			               "codes", k + 1);
		if (s->n_random[k] > PD_NESTED_BLOCK ||
		    (s->n_random[k] > 1 && !s->z[k]))
			return pd_fail(err, PD_USAGE, "level %zu: %zu random "
			               "columns, expected 1 to %d, given in z "
			               "when more than 1", k + 1,
			               s->n_random[k], PD_NESTED_BLOCK);
	}
	return PD_OK;
}

static bool room(struct pd_nested *m)
{
	size_t p = m->p, ld = m->ld, ne = m->n_elements, ll = ld * ld;
	struct { double **at; size_t n; } want[] = {
		{ &m->cross, ll }, { &m->a, ll }, { &m->d_log_det, ne }, { &m->da, ne * ll },
		{ &m->dd_log_det, ne * ne }, { &m->dda, ne * ne * ll },
		{ &m->wide, PD_MAX_R * ld },
		{ &m->accum, PD_MAX_BLOCK * ll }, { &m->chol, p * p },
		{ &m->phi, p * p }, { &m->work, 4 * p * p },
		{ &m->vec, 4 * ld }, { &m->theta_out, ne }, { &m->beta, p },
		{ &m->covariance, p * p }, { &m->beta_q, p },
	};

	for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
		*want[i].at = PD_NEW(m->arena, double, want[i].n);
		if (!*want[i].at)
			return false;
	}
	return true;
}

static struct pd_nested *start(const pd_nested_spec *s)
{
	struct pd_nested *m = calloc(1, sizeof *m);

	if (!m)
		return NULL;
	m->arena = pd_arena_new();
	m->n = s->n;
	m->p = s->p;
	m->w = s->p + 1;
	m->ld = (m->w + 3) / 4 * 4;
	m->depth = s->depth;
	m->reml = !s->ml;
	for (size_t k = 0; k < m->depth; k++) {
		struct pd_level *lv = &m->level[k];

		lv->q = s->n_random[k] ? s->n_random[k] : 1;
		lv->n_elements = lv->q * (lv->q + 1) / 2;
		lv->first = m->n_elements;
		for (size_t i = 0; i < lv->q; i++)
			lv->perm[i] = i;
		m->n_elements += lv->n_elements;
	}
	if (!m->arena || !room(m)) {
		pd_nested_free(m);
		return NULL;
	}
	return m;
}

pd_status pd_nested_new(const pd_nested_spec *spec, pd_nested **out,
                        pd_error *err)
{
	struct pd_nested *m;
	pd_status st = check_spec(spec, err);

	*out = NULL;
	pd_base_init();
	if (st != PD_OK)
		return st;
	m = start(spec);
	if (!m)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a model of "
		               "%zu rows", spec->n);
	st = pd_columns_make(m, spec, err);
	if (st == PD_OK)
		st = pd_tree_groups(m, spec, err);
	if (st == PD_OK && !(m->y_scale > 0.0))
		st = pd_columns_outcome(m, spec->y, err);
	if (st == PD_OK)
		st = pd_tree_grow(m, err);
	if (st != PD_OK) {
		pd_nested_free(m);
		return st;
	}
	*out = m;
	return PD_OK;
}

void pd_nested_free(pd_nested *m)
{
	if (!m)
		return;
	pd_tree_free(m);
	pd_arena_free(m->arena);
	free(m);
}

size_t pd_nested_n_theta(const pd_nested *m)
{
	return m->n_elements;
}

/* What divides an internal theta to give the user's: R was scaled. */
static double theta_scale(const struct pd_nested *m, size_t e)
{
	const struct pd_level *lv = m->level;
	size_t a, b;

	while (e >= lv->first + lv->n_elements)
		lv++;
	pd_element(lv, e - lv->first, &a, &b);
	return m->scale[lv->col[a]];
}

double pd_nested_deviance(pd_nested *m, const double *theta, double *gradient)
{
	struct pd_point pt;
	unsigned evaluations = m->record.evaluations;

	for (size_t e = 0; e < m->n_elements; e++)
		pt.theta[e] = theta[e] * theta_scale(m, e);
	m->settled = false;
	pd_point_at(m, &pt, gradient ? 1 : 0);
	m->record.evaluations = evaluations;
	for (size_t e = 0; gradient && e < m->n_elements; e++)
		gradient[e] = isfinite(pt.value) ?
			pt.grad[e] * theta_scale(m, e) : NAN;
	return pt.value;
}

/* beta = U^-1 (gamma + y_scale beta_q) and its covariance. */
static void go_back(struct pd_nested *m)
{
	size_t p = m->p;
	double *u = m->u, *inverse = m->work, *x = inverse + p * p;
	double scale = m->sigma2 * m->y_scale * m->y_scale;

	memset(inverse, 0, p * p * sizeof *inverse);
	for (size_t j = 0; j < p; j++)
		for (size_t i = j + 1; i-- > 0;) {
			double s = i == j ? 1.0 : 0.0;

			for (size_t k = i + 1; k <= j; k++)
				s -= u[i * p + k] * inverse[k * p + j];
			inverse[i * p + j] = s / u[i * p + i];
		}
	for (size_t i = p; i-- > 0;) {
		double s = m->gamma[i] + m->y_scale * m->beta_q[i];

		for (size_t k = i + 1; k < p; k++)
			s -= u[i * p + k] * m->beta[k];
		m->beta[i] = s / u[i * p + i];
	}
	pd_product(inverse, m->phi, p, x);
	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j < p; j++) {
			double s = 0.0;

			for (size_t k = 0; k < p; k++)
				s += x[i * p + k] * inverse[j * p + k];
			m->covariance[i * p + j] = scale * s;
		}
}

/* The numbers of the fit from the passes, which stand at the solution. */
static void settle(struct pd_nested *m)
{
	m->sigma2 = pd_point_sigma2(m);
	for (size_t i = 0; i < m->p; i++)
		m->beta_q[i] = -m->vec[i];
	for (size_t e = 0; e < m->n_elements; e++)
		m->theta_out[e] = m->theta[e] / theta_scale(m, e);
	pd_chol_inverse(m->chol, m->p, m->p, m->phi);
	go_back(m);
	m->settled = true;
}

pd_status pd_nested_fit_from(struct pd_nested *m, const double *at,
                             pd_error *err)
{
	pd_status st = pd_fit_search(m, at, err);

	m->fitted = st == PD_OK;
	m->parts = NULL;
	if (m->fitted)
		settle(m);
	return st;
}

pd_status pd_nested_fit(pd_nested *m, pd_error *err)
{
	return pd_nested_fit_from(m, NULL, err);
}

/* From `at` on by scoring, as far as that goes, to an end off the boundary. */
static bool fit_scored(struct pd_nested *m, const double *at)
{
	double theta[PD_MAX_E] = { 0.0 };
	unsigned scored;
	pd_error unheard;

	for (size_t e = 0; e < m->n_elements; e++) {
		theta[e] = at[e];
		if (!(at[e] > 0.0))
			return false;
	}
	scored = pd_start_scored(m, theta);
	if (!scored || pd_nested_fit_from(m, theta, &unheard) != PD_OK ||
	    m->record.n_at_zero)
		return false;
	m->record.iterations += scored;
	return true;
}

pd_status pd_nested_refit(struct pd_nested *m, const double *y,
                          const double *at, pd_error *err)
{
	pd_status st = pd_nested_set_y(m, y, err);

	if (st != PD_OK || fit_scored(m, at))
		return st;
	return pd_nested_fit_from(m, at, err);
}

pd_status pd_nested_set_y(struct pd_nested *m, const double *y, pd_error *err)
{
	pd_status st = pd_columns_outcome(m, y, err);

	m->fitted = m->settled = false;
	m->parts = NULL;
	m->least = NULL;
	if (st == PD_OK)
		pd_tree_sums(m, m->p);
	return st;
}

const pd_nested_fit_record *pd_nested_record(const pd_nested *m)
{
	return &m->record;
}

const double *pd_nested_beta(const pd_nested *m)
{
	return m->beta;
}

const double *pd_nested_covariance(const pd_nested *m)
{
	return m->covariance;
}

const double *pd_nested_theta(const pd_nested *m)
{
	return m->theta_out;
}

double pd_nested_residual_sd(const pd_nested *m)
{
	return sqrt(m->sigma2) * m->y_scale;
}

size_t pd_nested_rows(const pd_nested *m)
{
	return m->n;
}

size_t pd_nested_groups(const pd_nested *m, size_t level)
{
	return level < m->depth ? m->level[level].n_groups : 0;
}

void pd_nested_level_covariance(const pd_nested *m, size_t level, double *out)
{
	const struct pd_level *lv = &m->level[level];
	double s2 = m->sigma2 * m->y_scale * m->y_scale;
	double l[PD_MAX_BLOCK] = { 0.0 };
	size_t q = lv->q, a, b;

	for (size_t e = 0; e < lv->n_elements; e++) {
		pd_element(lv, e, &a, &b);
		l[a * q + b] = m->theta_out[lv->first + e];
	}
	for (a = 0; a < q; a++)
		for (b = 0; b < q; b++) {
			double s = 0.0;

			for (size_t c = 0; c < q; c++)
				s += l[a * q + c] * l[b * q + c];
			out[a * q + b] = s2 * s;
		}
}

static pd_status need_fit(const struct pd_nested *m, pd_error *err)
{
	return m->fitted ? PD_OK :
	       pd_fail(err, PD_USAGE, "the model has not been fitted");
}

/* The passes back at the solution, after someone asked for another point. */
static void return_to_fit(struct pd_nested *m)
{
	struct pd_point pt;
	unsigned evaluations = m->record.evaluations;

	if (m->settled)
		return;
	memcpy(pt.theta, m->theta, sizeof m->theta);
	pd_point_at(m, &pt, 2);
	memcpy(m->hessian, pt.hess_t, sizeof m->hessian);
	m->record.evaluations = evaluations;
	settle(m);
}

static pd_status get_parts(struct pd_nested *m, pd_error *err)
{
	struct pd_df_parts *parts;
	pd_status st = need_fit(m, err);

	if (st != PD_OK || m->parts)
		return st;
	return_to_fit(m);
	parts = pd_arena_alloc(m->arena, 1, sizeof *parts);
	if (!parts)
		return pd_fail(err, PD_NO_MEMORY, "no memory for intervals");
	st = pd_df_make(m, m->arena, parts, err);
	if (st == PD_OK)
		m->parts = parts;
	return st;
}

void pd_df_turn(const struct pd_nested *m, const double *c, size_t rows,
                double *out)
{
	size_t p = m->p;

	for (size_t k = 0; k < rows; k++)
		for (size_t i = 0; i < p; i++) {
			double s = c[k * p + i];

			for (size_t j = 0; j < i; j++)
				s -= m->u[j * p + i] * out[k * p + j];
			out[k * p + i] = s / m->u[i * p + i];
		}
}

pd_status pd_nested_contrast(pd_nested *m, const double *c, double level,
                             pd_df_method method, pd_estimate *out,
                             pd_error *err)
{
	double value, variance, df;
	pd_status st = get_parts(m, err);

	if (st == PD_OK) {
		pd_df_turn(m, c, 1, m->work);
		st = pd_df_one(m->parts, m->work, method, &value, &variance,
		               &df, err);
	}
	if (st == PD_OK)
		st = pd_df_estimate(value, variance, df, level, out, err);
	return st;
}

pd_status pd_nested_f_test(pd_nested *m, const double *c, size_t rows,
                           pd_df_method method, pd_f_test *out, pd_error *err)
{
	pd_status st = get_parts(m, err);

	if (st == PD_OK && (rows == 0 || rows > m->p))
		st = pd_fail(err, PD_USAGE, "%zu rows of contrasts, expected "
		             "1 to %zu", rows, m->p);
	if (st == PD_OK) {
		pd_df_turn(m, c, rows, m->work);
		st = pd_df_joint(m->parts, m->work, rows, method, out, err);
	}
	return st;
}

/* H v of every group of a level, q each: v = (-b, 1), scaled units. */
static void group_h(const struct pd_nested *m, size_t k, const double *v,
                    double *out)
{
	const struct pd_level *lv = &m->level[k];
	size_t q = lv->q, r = m->r, ld = m->ld, step = r * r + r * ld;
	double f[PD_MAX_BLOCK];

	for (size_t g = 0; g < lv->n_groups; g++) {
		size_t at = lv->bundle ? lv->bundle[g] : g;
		const double *leaf = lv->group_first ?
			lv->group_first + g * step + r * r : NULL;
		const double *mean = lv->b + at * r * ld;

		for (size_t a = 0; a < q; a++) {
			const double *h = lv->h + (at * q + a) * ld;

			out[g * q + a] = 0.0;
			for (size_t c = 0; c < m->w; c++)
				out[g * q + a] += h[c] * v[c];
		}
		if (!leaf) /* an upper group is its own node */
			continue;
		/* a leaf: its bundle's mean, plus what sets it apart */
		block_of(lv, r, lv->s.f + lv->shape[at] * r * r, f);
		for (size_t b = 0; b < q; b++) {
			double apart = 0.0;

			for (size_t c = 0; c < m->w; c++)
				apart += (leaf[lv->col[b] * ld + c] -
				          mean[lv->col[b] * ld + c]) * v[c];
			for (size_t a = 0; a < q; a++)
				out[g * q + a] += f[a * q + b] * apart;
		}
	}
}

/* Conditional means in units of R and scaled y: u = T H v. */
static void conditional(const struct pd_nested *m, size_t k, double *out)
{
	const struct pd_level *lv = &m->level[k];
	size_t q = lv->q;

	group_h(m, k, m->vec, out);
	for (size_t g = 0; g < lv->n_groups; g++) {
		double h[PD_NESTED_BLOCK];

		memcpy(h, out + g * q, q * sizeof *h);
		for (size_t a = 0; a < q; a++) {
			out[g * q + a] = 0.0;
			for (size_t b = 0; b < q; b++)
				out[g * q + a] += lv->T[a * q + b] * h[b];
		}
	}
}

pd_status pd_nested_conditional(pd_nested *m, size_t level, double *out,
                                pd_error *err)
{
	pd_status st = need_fit(m, err);

	if (st == PD_OK && level >= m->depth)
		st = pd_fail(err, PD_USAGE, "level %zu of %zu", level + 1,
		             m->depth);
	if (st != PD_OK)
		return st;
	return_to_fit(m);
	conditional(m, level, out);
	for (size_t g = 0; g < m->level[level].n_groups; g++)
		for (size_t a = 0; a < m->level[level].q; a++)
			out[g * m->level[level].q + a] *= m->y_scale /
				m->scale[m->level[level].col[a]];
	return PD_OK;
}

pd_status pd_nested_residuals(pd_nested *m, double *residual, pd_error *err)
{
	pd_status st = need_fit(m, err);

	if (st != PD_OK)
		return st;
	return_to_fit(m);
	for (size_t i = 0; i < m->n; i++) {
		residual[i] = 0.0;
		for (size_t c = 0; c < m->w; c++)
			residual[i] += m->rows[i * m->ld + c] * m->vec[c];
	}
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];
		double *u = calloc(lv->n_groups * lv->q, sizeof *u);

		if (!u)
			return pd_fail(err, PD_NO_MEMORY, "no memory for "
			               "residuals");
		conditional(m, k, u);
		for (size_t i = 0; i < m->n; i++)
			for (size_t a = 0; a < lv->q; a++)
				residual[i] -= m->random[i * m->r +
				                         lv->col[a]] *
					u[lv->row_group[i] * lv->q + a];
		free(u);
	}
	for (size_t i = 0; i < m->n; i++)
		residual[i] *= m->y_scale;
	return PD_OK;
}
