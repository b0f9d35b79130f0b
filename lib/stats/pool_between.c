/*
 * pool_between.c - for a given tau2 the weighted columns are made orthonormal
 * (Gram-Schmidt, twice), which gives coefficients, leverages and all traces;
 * the ways of finding tau2 are functions of that. See pool.h.
 */
#include "stats/pool_own.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

enum { GRID = 240, HALVINGS = 200 };

void pd_pool_work_clear(struct pd_pool_work *m)
{
	free(m->q);
	free(m->r);
	free(m->beta);
	free(m->w);
}

pd_status pd_pool_work_init(struct pd_pool_work *m, pd_error *err)
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
static double project(struct pd_pool_work *m, size_t k, size_t j)
{
	double dot = 0;

	for (size_t i = 0; i < m->n; i++)
		dot += m->q[i * m->p + k] * m->q[i * m->p + j];
	for (size_t i = 0; i < m->n; i++)
		m->q[i * m->p + j] -= dot * m->q[i * m->p + k];
	return dot;
}

static double length(const struct pd_pool_work *m, size_t j)
{
	double square = 0;

	for (size_t i = 0; i < m->n; i++)
		square += m->q[i * m->p + j] * m->q[i * m->p + j];
	return sqrt(square);
}

static void orthonormal(struct pd_pool_work *m)
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
			m->singular = j + 1;
			return;
		}
		m->r[j * p + j] = after;
		for (size_t i = 0; i < m->n; i++)
			m->q[i * p + j] /= after;
	}
}

/* beta solves r beta = q' sqrt(W) y, last coefficient first. */
static void coefficients(struct pd_pool_work *m)
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

static double leverage(const struct pd_pool_work *m, size_t i)
{
	double h = 0;

	for (size_t j = 0; j < m->p; j++)
		h += m->q[i * m->p + j] * m->q[i * m->p + j];
	return h;
}

static void likelihoods(struct pd_pool_work *m)
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
static void weighted(struct pd_pool_work *m)
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

void pd_pool_at(struct pd_pool_work *m, double tau2)
{
	for (size_t i = 0; i < m->n; i++)
		m->w[i] = 1 / (m->v[i] + tau2);
	weighted(m);
}

/* ---- tau2 ------------------------------------------------------------- */

/* Twice the slope of the log likelihood, or Q(t) - goal. */
static double slope(struct pd_pool_work *m, pd_pool_way way, double goal,
                    double tau2)
{
	double sum_w = 0;

	pd_pool_at(m, tau2);
	if (way == PD_POOL_MATCHED)
		return m->fit - goal;
	if (way == PD_POOL_REML)
		return m->fit2 - m->trace;
	for (size_t i = 0; i < m->n; i++)
		sum_w += m->w[i];
	return m->fit2 - sum_w;
}

/* The slope is positive at low and not at high: the place between. */
static double halve(struct pd_pool_work *m, pd_pool_way way, double goal,
                    double low, double high)
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

static double square_of_rest(const struct pd_pool_work *m)
{
	double square = 0;

	for (size_t i = 0; i < m->n; i++)
		square += m->rest[i] * m->rest[i];
	return square;
}

/* Ordinary least squares; the sum of squares of its residuals. */
double pd_pool_unweighted(struct pd_pool_work *m)
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
static double summit(struct pd_pool_work *m, pd_pool_way way, double rss)
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

			pd_pool_at(m, t);
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
double pd_pool_matched(struct pd_pool_work *m, double rss, double goal)
{
	if (!(slope(m, PD_POOL_MATCHED, goal, 0) > 0))
		return 0;
	return halve(m, PD_POOL_MATCHED, goal, 0, rss / goal);
}

static double two_step(struct pd_pool_work *m)
{
	double mean = pd_summarise(m->y, m->n).square / (double)m->n;

	if (!(mean > 0))
		return 0;
	pd_pool_at(m, mean);
	return mean * m->fit / (double)(m->n - m->p);
}

static double by_moments(struct pd_pool_work *m, pd_pool_way way)
{
	double df = (double)(m->n - m->p), sum = 0, rss;

	if (way == PD_POOL_UNWEIGHTED) {
		rss = pd_pool_unweighted(m);
		for (size_t i = 0; i < m->n; i++)
			sum += m->v[i] * (1 - leverage(m, i));
		return (rss - sum) / df;
	}
	pd_pool_at(m, 0);
	if (way == PD_POOL_MOMENTS)
		return (m->fit - df) / m->trace;
	for (size_t i = 0; i < m->n; i++)
		sum += m->w[i];
	return (m->fit - (double)m->n) / sum;
}

double pd_pool_between(struct pd_pool_work *m, pd_pool_way way)
{
	double rss;

	switch (way) {
	case PD_POOL_COMMON:
		return 0;
	case PD_POOL_REML:
	case PD_POOL_ML:
		rss = pd_pool_unweighted(m);
		return summit(m, way, rss);
	case PD_POOL_MATCHED:
		rss = pd_pool_unweighted(m);
		return pd_pool_matched(m, rss, (double)(m->n - m->p));
	case PD_POOL_TWO_STEP:
		return two_step(m);
	default:
		return fmax(0, by_moments(m, way));
	}
}
