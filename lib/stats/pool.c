/*
 * pool.c - see pool.h. For a given tau2 the weighted columns are made
 * orthonormal (Gram-Schmidt, twice), which gives coefficients, leverages and
 * all traces; the ways of finding tau2 are functions of that.
 */
#include "stats/pool.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

enum { GRID = 240, HALVINGS = 200 };

/* Data that stay; below them what one tau2 gives. */
struct work {
	const double *y, *v, *x;
	size_t n, p;
	double *q;               /* n * p by rows: orthonormal sqrt(W) X      */
	double *r;               /* p * p: upper triangle, sqrt(W) X = q r    */
	double *beta;            /* p                                         */
	double *w, *rest, *term; /* n each                                    */
	double fit, fit2;        /* sum w rest^2, sum w^2 rest^2              */
	double trace;            /* tr P                                      */
	double loglik[2];        /* restricted, full                          */
	int singular;
};

static void work_clear(struct work *m)
{
	free(m->q);
	free(m->r);
	free(m->beta);
	free(m->w);
}

static pd_status work_init(struct work *m, pd_error *err)
{
	m->q = calloc(m->n * m->p, sizeof *m->q);
	m->r = calloc(m->p * m->p, sizeof *m->r);
	m->beta = calloc(m->p, sizeof *m->beta);
	m->w = calloc(3 * m->n, sizeof *m->w);
	if (!m->q || !m->r || !m->beta || !m->w)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	m->rest = m->w + m->n;
	m->term = m->rest + m->n;
	return PD_OK;
}

/* Take column k of q out of column j; returns what was there of it. */
static double project(struct work *m, size_t k, size_t j)
{
	double dot = 0;

	for (size_t i = 0; i < m->n; i++)
		dot += m->q[i * m->p + k] * m->q[i * m->p + j];
	for (size_t i = 0; i < m->n; i++)
		m->q[i * m->p + j] -= dot * m->q[i * m->p + k];
	return dot;
}

static double length(const struct work *m, size_t j)
{
	double square = 0;

	for (size_t i = 0; i < m->n; i++)
		square += m->q[i * m->p + j] * m->q[i * m->p + j];
	return sqrt(square);
}

static void orthonormal(struct work *m)
{
	size_t p = m->p;

	m->singular = 0;
	for (size_t i = 0; i < m->n; i++)
		for (size_t j = 0; j < p; j++)
			m->q[i * p + j] = sqrt(m->w[i]) * m->x[i * p + j];
	for (size_t j = 0; j < p; j++) {
		double before = length(m, j), after;

		for (size_t k = 0; k < j; k++)
			m->r[k * p + j] = project(m, k, j);
		for (size_t k = 0; k < j; k++)
			m->r[k * p + j] += project(m, k, j);
		after = length(m, j);
		if (!(after > 1e-10 * before)) {
			m->singular = 1;
			return;
		}
		m->r[j * p + j] = after;
		for (size_t i = 0; i < m->n; i++)
			m->q[i * p + j] /= after;
	}
}

/* beta solves r beta = q' sqrt(W) y, last coefficient first. */
static void coefficients(struct work *m)
{
	size_t p = m->p;

	for (size_t j = p; j-- > 0;) {
		double sum = 0;

		for (size_t i = 0; i < m->n; i++)
			m->term[i] = m->q[i * p + j] * sqrt(m->w[i]) * m->y[i];
		sum = pd_sum(m->term, m->n);
		for (size_t k = j + 1; k < p; k++)
			sum -= m->r[j * p + k] * m->beta[k];
		m->beta[j] = sum / m->r[j * p + j];
	}
}

static double leverage(const struct work *m, size_t i)
{
	double h = 0;

	for (size_t j = 0; j < m->p; j++)
		h += m->q[i * m->p + j] * m->q[i * m->p + j];
	return h;
}

static void likelihoods(struct work *m)
{
	double log_w = 0, log_r = 0, n = (double)m->n, p = (double)m->p;

	for (size_t i = 0; i < m->n; i++)
		log_w += log(m->w[i]);
	for (size_t j = 0; j < m->p; j++)
		log_r += log(m->r[j * m->p + j]);
	m->loglik[1] = 0.5 * (log_w - m->fit - n * log(2 * M_PI));
	m->loglik[0] = 0.5 * (log_w - 2 * log_r - m->fit -
	                      (n - p) * log(2 * M_PI));
}

/* Everything at the weights that stand in m->w. */
static void weighted(struct work *m)
{
	orthonormal(m);
	if (m->singular)
		return;
	coefficients(m);
	for (size_t i = 0; i < m->n; i++) {
		m->rest[i] = m->y[i];
		for (size_t j = 0; j < m->p; j++)
			m->rest[i] -= m->x[i * m->p + j] * m->beta[j];
		m->term[i] = m->w[i] * m->rest[i] * m->rest[i];
	}
	m->fit = pd_sum(m->term, m->n);
	m->fit2 = m->trace = 0;
	for (size_t i = 0; i < m->n; i++) {
		m->fit2 += m->w[i] * m->term[i];
		m->trace += m->w[i] * (1 - leverage(m, i));
	}
	likelihoods(m);
}

static void at(struct work *m, double tau2)
{
	for (size_t i = 0; i < m->n; i++)
		m->w[i] = 1 / (m->v[i] + tau2);
	weighted(m);
}

/* ---- tau2 ------------------------------------------------------------- */

/* Twice the slope of the log likelihood, or Q(t) - goal. */
static double slope(struct work *m, pd_pool_way way, double goal, double tau2)
{
	double sum_w = 0;

	at(m, tau2);
	if (way == PD_POOL_MATCHED)
		return m->fit - goal;
	if (way == PD_POOL_REML)
		return m->fit2 - m->trace;
	for (size_t i = 0; i < m->n; i++)
		sum_w += m->w[i];
	return m->fit2 - sum_w;
}

/* The slope is positive at low and not at high: the place between. */
static double halve(struct work *m, pd_pool_way way, double goal, double low,
                    double high)
{
	for (int k = 0; k < HALVINGS; k++) {
		double mid = 0.5 * (low + high);

		if (mid <= low || mid >= high)
			break;
		if (slope(m, way, goal, mid) > 0)
			low = mid;
		else
			high = mid;
	}
	return 0.5 * (low + high);
}

static double square_of_rest(const struct work *m)
{
	double square = 0;

	for (size_t i = 0; i < m->n; i++)
		square += m->rest[i] * m->rest[i];
	return square;
}

/* Ordinary least squares; the sum of squares of its residuals. */
static double unweighted(struct work *m)
{
	for (size_t i = 0; i < m->n; i++)
		m->w[i] = 1;
	weighted(m);
	return square_of_rest(m);
}

/*
 * The highest of the likelihood's summits, 0 counted. Beyond
 * RSS / (n - p) + max v the slope is negative: with o the smallest, O the
 * largest v, fit2 <= RSS / (t + o)^2 and tr P >= (n - p) / (t + O).
 */
static double summit(struct work *m, pd_pool_way way, double rss)
{
	double most = 0, top, best = 0, height, from = 0, before;
	int full = way == PD_POOL_ML;

	for (size_t i = 0; i < m->n; i++)
		most = fmax(most, m->v[i]);
	top = rss / (double)(m->n - m->p) + most;
	before = slope(m, way, 0, 0);
	height = before > 0 ? -INFINITY : m->loglik[full];
	for (int k = 0; k <= GRID; k++) {
		double to = top * exp(-20.0 * (GRID - k) / GRID);
		double now = slope(m, way, 0, to);

		if (before > 0 && !(now > 0)) {
			double t = halve(m, way, 0, from, to);

			at(m, t);
			if (m->loglik[full] > height) {
				height = m->loglik[full];
				best = t;
			}
		}
		from = to;
		before = now;
	}
	return best;
}

/* The t with Q(t) = goal, 0 when Q(0) is not above it. Q(t) <= RSS / t. */
static double matched(struct work *m, double rss, double goal)
{
	if (!(slope(m, PD_POOL_MATCHED, goal, 0) > 0))
		return 0;
	return halve(m, PD_POOL_MATCHED, goal, 0, rss / goal);
}

static double two_step(struct work *m)
{
	double mean = pd_summarise(m->y, m->n).square / (double)m->n;

	if (!(mean > 0))
		return 0;
	at(m, mean);
	return mean * m->fit / (double)(m->n - m->p);
}

static double by_moments(struct work *m, pd_pool_way way)
{
	double df = (double)(m->n - m->p), sum = 0, rss;

	if (way == PD_POOL_UNWEIGHTED) {
		rss = unweighted(m);
		for (size_t i = 0; i < m->n; i++)
			sum += m->v[i] * (1 - leverage(m, i));
		return (rss - sum) / df;
	}
	at(m, 0);
	if (way == PD_POOL_MOMENTS)
		return (m->fit - df) / m->trace;
	for (size_t i = 0; i < m->n; i++)
		sum += m->w[i];
	return (m->fit - (double)m->n) / sum;
}

static double between(struct work *m, pd_pool_way way)
{
	double rss;

	switch (way) {
	case PD_POOL_COMMON:
		return 0;
	case PD_POOL_REML:
	case PD_POOL_ML:
		rss = unweighted(m);
		return summit(m, way, rss);
	case PD_POOL_MATCHED:
		rss = unweighted(m);
		return matched(m, rss, (double)(m->n - m->p));
	case PD_POOL_TWO_STEP:
		return two_step(m);
	default:
		return fmax(0, by_moments(m, way));
	}
}

/* ---- results ---------------------------------------------------------- */

static pd_status check(const double *y, const double *v, size_t n, double level,
                       pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", level);
	for (size_t i = 0; i < n; i++) {
		if (!isfinite(y[i]))
			return pd_fail(err, PD_DATA, "study %zu: its value is "
			               "not a finite number", i + 1);
		if (!(v[i] > 0) || !isfinite(v[i]))
			return pd_fail(err, PD_DATA, "study %zu: its variance "
			               "must be above 0, got %g", i + 1, v[i]);
	}
	return PD_OK;
}

static void spread(struct work *m, double tau2, pd_pool_way way, pd_spread *out)
{
	double df = (double)(m->n - m->p), typical;

	at(m, 0);
	typical = df / m->trace;
	*out = (pd_spread){ .tau2 = tau2, .q = m->fit, .q_df = df };
	out->q_p = pd_chisq_upper(out->q, df);
	out->i2 = 100 * tau2 / (tau2 + typical);
	out->h2 = 1 + tau2 / typical;
	at(m, tau2);
	out->scale = m->fit / df;
	out->loglik = m->loglik[way == PD_POOL_ML];
}

static pd_estimate estimate(double value, double se, double df, double level)
{
	pd_estimate e = { .value = value, .se = se, .df = df, .level = level };
	double half = se * pd_t_quantile(0.5 + 0.5 * level, df);

	e.low = value - half;
	e.high = value + half;
	e.p = isinf(df) ? 2 * pd_normal_upper(fabs(value / se))
	                : pd_t_two_sided(value / se, df);
	return e;
}

/* Column j of the inverse of r into out[p], j rows of it filled. */
static void inverse_column(const struct work *m, size_t j, double *out)
{
	size_t p = m->p;

	for (size_t i = j + 1; i-- > 0;) {
		double sum = i == j;

		for (size_t k = i + 1; k <= j; k++)
			sum -= m->r[i * p + k] * out[k];
		out[i] = sum / m->r[i * p + i];
	}
}

/* var[j] = sum over k of (r^-1)[j][k]^2. */
static pd_status variances(const struct work *m, double *var, pd_error *err)
{
	double *column = calloc(m->p, sizeof *column);

	if (!column)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t j = 0; j < m->p; j++)
		var[j] = 0;
	for (size_t k = 0; k < m->p; k++) {
		inverse_column(m, k, column);
		for (size_t j = 0; j <= k; j++)
			var[j] += column[j] * column[j];
	}
	free(column);
	return PD_OK;
}

/*
 * Wald statistic of the coefficients but the first: the part of the fit that
 * columns 2 .. p add, |q_j' sqrt(W) y|^2 summed over j >= 2, for q_1 spans the
 * first column.
 */
static double wald(struct work *m)
{
	double sum = 0;

	for (size_t j = 1; j < m->p; j++) {
		for (size_t i = 0; i < m->n; i++)
			m->term[i] = m->q[i * m->p + j] * sqrt(m->w[i]) *
			             m->y[i];
		double part = pd_sum(m->term, m->n);

		sum += part * part;
	}
	return sum;
}

static pd_status report(struct work *m, double level, const pd_spread *s,
                        pd_estimate *normal, pd_estimate *knapp, pd_error *err)
{
	double *var = calloc(m->p, sizeof *var);
	pd_status st = var ? variances(m, var, err)
	                   : pd_fail(err, PD_NO_MEMORY, "out of memory");

	for (size_t j = 0; st == PD_OK && j < m->p; j++) {
		double se = sqrt(var[j]);

		if (normal)
			normal[j] = estimate(m->beta[j], se, INFINITY, level);
		if (knapp)
			knapp[j] = estimate(m->beta[j],
			                    s->scale > 0
			                        ? se * sqrt(s->scale) : NAN,
			                    s->q_df, level);
	}
	free(var);
	return st;
}

pd_status pd_pool_regress(const double *y, const double *v, const double *x,
                          size_t n, size_t p, pd_pool_way way, double level,
                          pd_estimate *normal, pd_estimate *knapp,
                          double *q_model, pd_spread *out, pd_error *err)
{
	struct work m = { .y = y, .v = v, .x = x, .n = n, .p = p };
	pd_status st = check(y, v, n, level, err);

	if (st != PD_OK)
		return st;
	if (!p || n <= p)
		return pd_fail(err, PD_REFUSED, "a regression on %zu columns "
		               "needs more studies than columns, got %zu", p,
		               n);
	for (size_t i = 0; i < n * p; i++)
		if (!isfinite(x[i]))
			return pd_fail(err, PD_DATA, "study %zu: column %zu "
			               "is not a finite number", i / p + 1,
			               i % p + 1);
	st = work_init(&m, err);
	if (st == PD_OK) {
		unweighted(&m);
		if (m.singular)
			st = pd_fail(err, PD_REFUSED, "a column of the "
			             "regression is a combination of others");
	}
	if (st == PD_OK) {
		spread(&m, between(&m, way), way, out);
		if (m.singular || !isfinite(m.fit))
			st = pd_fail(err, PD_NUMERIC, "the variances of the "
			             "studies are too unlike to be pooled");
	}
	if (st == PD_OK)
		st = report(&m, level, out, normal, knapp, err);
	if (st == PD_OK && q_model)
		*q_model = wald(&m);
	work_clear(&m);
	return st;
}

/* n ones, or NULL. */
static double *ones(size_t n)
{
	double *x = malloc(n * sizeof *x);

	for (size_t i = 0; x && i < n; i++)
		x[i] = 1;
	return x;
}

static void predict(const pd_estimate *e, double tau2, double *low,
                    double *high)
{
	double half = pd_t_quantile(0.5 + 0.5 * e->level, e->df) *
	              sqrt(e->se * e->se + tau2);

	*low = e->value - half;
	*high = e->value + half;
}

pd_status pd_pool_fit(const double *y, const double *v, size_t n,
                      pd_pool_way way, double level, pd_pool *out,
                      pd_error *err)
{
	double *x;
	pd_status st;

	*out = (pd_pool){ .n = n };
	if (n < 2)
		return pd_fail(err, PD_REFUSED, "a pool needs at least 2 "
		               "studies, got %zu", n);
	x = ones(n);
	if (!x)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_pool_regress(y, v, x, n, 1, way, level, &out->normal,
	                     &out->knapp, NULL, &out->spread, err);
	free(x);
	if (st != PD_OK)
		return st;
	predict(&out->normal, out->spread.tau2, &out->predict_low,
	        &out->predict_high);
	predict(&out->knapp, out->spread.tau2, &out->knapp_predict_low,
	        &out->knapp_predict_high);
	return PD_OK;
}

pd_status pd_pool_spread_limits(const double *y, const double *v, size_t n,
                                double level, double *low, double *high,
                                pd_error *err)
{
	struct work m = { .y = y, .v = v, .n = n, .p = 1 };
	pd_status st = check(y, v, n, level, err);
	double *x, rss, df = (double)n - 1;

	if (st == PD_OK && n < 2)
		st = pd_fail(err, PD_REFUSED, "a pool needs at least 2 "
		             "studies, got %zu", n);
	if (st != PD_OK)
		return st;
	m.x = x = ones(n);
	if (!x)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = work_init(&m, err);
	if (st == PD_OK) {
		rss = unweighted(&m);
		*low = matched(&m, rss,
		               pd_chisq_quantile(0.5 + 0.5 * level, df));
		*high = matched(&m, rss,
		                pd_chisq_quantile(0.5 - 0.5 * level, df));
	}
	work_clear(&m);
	free(x);
	return st;
}
