/*
 * check_count_nested.c - counts with two nested random intercepts.
 *
 * Known answers: a plain trapezoid over both random effects, written here with
 * other formulas; R 4.2.2 with lme4 1.1-31 (Laplace) on the same made-up
 * counts.
 */
#include "stats/count_mixed.h"
#include "stats/count_nested.h"
#include "stats/newton.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static pd_arena *arena;
static pd_error err;

static void close_to(const char *what, double got, double want, double margin)
{
	if (fabs(got - want) <= margin)
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static void set_up(void)
{
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
}

static void take_down(void)
{
	pd_arena_free(arena);
}

/* ---- made-up patients --------------------------------------------------- */

enum { PATIENTS = 16, CASES = 3, DISHES = 3,
       ALL = PATIENTS * CASES * DISHES };

static struct {
	double x[ALL * 2], y[ALL], offset[ALL];
	int32_t outer[ALL], inner[ALL];
	unsigned char cut[ALL];
} made;

static double log_mass(double y, double mu, double theta)
{
	if (isinf(theta))
		return (y > 0 ? y * log(mu) : 0) - mu - lgamma(y + 1);
	return lgamma(y + theta) - lgamma(theta) - lgamma(y + 1) +
	       theta * log(theta / (theta + mu)) +
	       (y > 0 ? y * log(mu / (theta + mu)) : 0);
}

static double draw(pd_stream *s, double mu)
{
	double u = pd_stream_uniform(s), sum = 0, y = 0;

	while ((sum += exp(log_mass(y, mu, INFINITY))) < u && y < 2000)
		y++;
	return y;
}

/* Uneven: patient k has 1 + k % CASES cases, every fourth row is left out. */
static pd_count_nested_spec make(uint64_t seed, double mean, double outer,
                                 double inner, double theta)
{
	pd_stream s;
	size_t n = 0;

	pd_stream_init(&s, seed, 0);
	memset(made.cut, 0, sizeof made.cut);
	for (size_t k = 0; k < PATIENTS; k++) {
		double z = pd_stream_normal(&s);

		for (size_t c = 0; c < CASES; c++) {
			double w = pd_stream_normal(&s);

			for (size_t d = 0; d < DISHES; d++) {
				double o = 0.2 * (double)((k + d) % 3);
				double x = (double)c - 0.25 * (double)d;
				double mu = mean * exp(outer * z + inner * w +
				                       o - 0.15 * x);

				if (theta > 0)
					mu *= pd_stream_chisq(&s, 2 * theta) /
					      (2 * theta);
				double y = draw(&s, mu);

				if (c > k % CASES || (k + c + d) % 7 == 6)
					continue;
				made.x[2 * n] = 1;
				made.x[2 * n + 1] = x;
				made.offset[n] = o;
				made.outer[n] = (int32_t)(2 * k + 1);
				made.inner[n] = (int32_t)(5 * c);
				made.y[n++] = y;
			}
		}
	}
	return (pd_count_nested_spec){
		.rows = { .n = n, .p = 2, .x = made.x, .y = made.y,
		          .offset = made.offset, .extra = theta > 0 },
		.outer = made.outer, .inner = made.inner,
	};
}

/* ---- brute force -------------------------------------------------------- */

enum { GRID = 240 };
static const double REACH = 8;

static double log_tail(double y, double mu, double theta)
{
	double sum = 0, first = log_mass(y, mu, theta);

	for (double k = 0; k < y; k++)
		sum += exp(log_mass(k, mu, theta));
	if (sum < 0.9)
		return log1p(-sum);
	sum = 0;
	for (double k = y; k < y + 4e5; k++) {
		double term = exp(log_mass(k, mu, theta) - first);

		sum += term;
		if (term < 1e-19 * sum && k > mu)
			break;
	}
	return first + log(sum);
}

static double log_sum(const double *l, int n, double step)
{
	double top = -INFINITY, sum = 0;

	for (int k = 0; k < n; k++)
		top = fmax(top, l[k]);
	for (int k = 0; k < n; k++)
		sum += exp(l[k] - top);
	return top + log(sum * step);
}

/* Of the rows of patient and case at z: the integral over w. */
static double over_w(const pd_count_nested_spec *m, int32_t outer,
                     int32_t inner, const double *beta, double at, double sd,
                     double theta)
{
	double l[GRID + 1], step = 2 * REACH / GRID;
	int any = 0;

	for (int k = 0; k <= GRID; k++) {
		double w = -REACH + step * k;

		l[k] = -0.5 * w * w - 0.5 * log(2 * M_PI);
		for (size_t i = 0; i < m->rows.n; i++) {
			if (m->outer[i] != outer || m->inner[i] != inner)
				continue;
			any = 1;
			double mu = exp(beta[0] + beta[1] * m->rows.x[2 * i + 1]
			                + m->rows.offset[i] + at + sd * w);

			l[k] += m->rows.at_least && m->rows.at_least[i]
			            ? log_tail(m->rows.y[i], mu, theta)
			            : log_mass(m->rows.y[i], mu, theta);
		}
	}
	return any ? log_sum(l, GRID + 1, step) : 0;
}

static double brute(const pd_count_nested_spec *m, const double *beta,
                    double outer, double inner, double theta)
{
	double total = 0, step = 2 * REACH / GRID;

	for (int32_t k = 0; k < PATIENTS; k++) {
		double l[GRID + 1];

		for (int j = 0; j <= GRID; j++) {
			double z = -REACH + step * j;

			l[j] = -0.5 * z * z - 0.5 * log(2 * M_PI);
			for (int32_t c = 0; c < CASES; c++)
				l[j] += over_w(m, 2 * k + 1, 5 * c, beta,
				               outer * z, inner, theta);
		}
		total += log_sum(l, GRID + 1, step);
	}
	return total;
}

static const struct {
	double mean, beta[2], outer, inner, theta;
	int cut;
} points[] = {
	{ 6, { 1.7, -0.13 }, 0.6, 0.35, INFINITY, 0 },
	{ 0.8, { -0.1, -0.2 }, 0.9, 0.7, INFINITY, 0 },
	{ 30, { 3.4, -0.15 }, 0.5, 0.25, INFINITY, 0 },
	{ 6, { 1.8, -0.1 }, 0.7, 0.4, 3.3, 0 },
	{ 7, { 1.9, -0.1 }, 0.7, 0.5, INFINITY, 1 },
	{ 5, { 1.6, -0.1 }, 0.5, 0.3, 2.1, 1 },
};

static pd_count_nested_spec point(int i)
{
	pd_count_nested_spec m = make(61, points[i].mean, points[i].outer,
	                              points[i].inner,
	                              isinf(points[i].theta)
	                                  ? 0 : points[i].theta);

	for (size_t k = 0; points[i].cut && k < m.rows.n; k++)
		if (made.y[k] >= 11) {
			made.y[k] = 11;
			made.cut[k] = 1;
			m.rows.at_least = made.cut;
		}
	return m;
}

START_TEST(integral_by_force)
{
	pd_count_nested_spec m = point(_i);
	double value, want = brute(&m, points[_i].beta, points[_i].outer,
	                           points[_i].inner, points[_i].theta);

	ck_assert(!points[_i].cut || m.rows.at_least);
	ck_assert_int_eq(pd_count_nested_likelihood(
	    &m, points[_i].beta, points[_i].outer, points[_i].inner,
	    points[_i].theta, 41, &value, NULL, &err), PD_OK);
	close_to("integral", value, want, points[_i].cut ? 5e-7 : 1e-7);
}
END_TEST

/* The slopes are those of the approximation, whatever its nodes. */
START_TEST(slopes_of_the_rule)
{
	static const unsigned rule[] = { 1, 2, 3, 7 };
	double d = 1e-5;

	for (int r = 0; r < ROWS(rule); r++) {
		pd_count_nested_spec m = point(_i);
		double theta = points[_i].theta, value, slope[5];
		double par[5] = { points[_i].beta[0], points[_i].beta[1],
			log(points[_i].outer), log(points[_i].inner),
			log(theta) };

		ck_assert_int_eq(pd_count_nested_likelihood(
		    &m, par, exp(par[2]), exp(par[3]), exp(par[4]), rule[r],
		    &value, slope, &err), PD_OK);
		for (int j = 0; j < (isinf(theta) ? 4 : 5); j++) {
			double end[2];

			for (int k = 0; k < 2; k++) {
				par[j] += k ? 2 * d : -d;
				pd_count_nested_likelihood(
				    &m, par, exp(par[2]), exp(par[3]),
				    exp(par[4]), rule[r], &end[k], NULL,
				    &err);
			}
			par[j] -= d;
			close_to("slope", slope[j],
			         (end[1] - end[0]) / (2 * d),
			         2e-6 * (1 + fabs(slope[j])));
		}
	}
}
END_TEST

/* ---- fits --------------------------------------------------------------- */

/*
 * R 4.2.2, lme4 1.1-31, glmer(y ~ x + offset(o) + (1 | outer) +
 * (1 | outer:inner), poisson), bobyqa with rhoend 1e-10 and tolPwrss 1e-13, on
 * the same counts: coefficients and their errors, sds, log-likelihood.
 */
static const struct {
	uint64_t seed;
	double mean, outer, inner, beta[2], se[2], sd_outer, sd_inner, value;
} laplace[] = {
	{ 31, 6, 0.7, 0.4, { 1.9011021538592, -0.0322601906164 },
	  { 0.16626352, 0.09778178 }, 0.5799591447826, 0.3184861315188,
	  -223.1299154652313 },
	{ 33, 3, 0.8, 0.6, { 1.3839067589534, -0.1535313698545 },
	  { 0.2792259, 0.1616670 }, 0.9040278446699, 0.7035401948976,
	  -229.6054873644159 },
};

START_TEST(laplace_as_others)
{
	pd_count_nested_spec m = make(laplace[_i].seed, laplace[_i].mean,
	                              laplace[_i].outer, laplace[_i].inner, 0);
	pd_count_nested_fit f;
	double there;

	m.nodes = 1;
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_uint_eq(f.nodes, 1);
	close_to("outer sd", f.sd_outer, laplace[_i].sd_outer, 3e-7);
	close_to("inner sd", f.sd_inner, laplace[_i].sd_inner, 3e-7);
	for (size_t j = 0; j < 2; j++) {
		close_to("coefficient", f.beta[j], laplace[_i].beta[j], 3e-7);
		close_to("its error", sqrt(f.covariance[(f.n_free + 1) * j]),
		         laplace[_i].se[j], 5e-7);
	}
	close_to("value", f.log_likelihood, laplace[_i].value, 1e-9);
	ck_assert_int_eq(pd_count_nested_likelihood(
	    &m, laplace[_i].beta, laplace[_i].sd_outer, laplace[_i].sd_inner,
	    INFINITY, 1, &there, NULL, &err), PD_OK);
	close_to("value there", there, laplace[_i].value, 1e-9);
	ck_assert_double_ge(f.log_likelihood, there - 1e-11);
}
END_TEST

/*
 * Where the approximate negative binomial fit of R 4.2.2, lme4 1.1-31,
 * glmer.nb with its defaults, stops on these counts (it says it has not
 * converged): by the integral it stands lower than our top, and so does
 * Laplace's.
 */
START_TEST(higher_than_the_approximate_fit)
{
	pd_count_nested_spec m = make(35, 9, 0.7, 0.5, 2.5);
	const double beta[2] = { 2.2908620692181, -0.0220892516386 };
	pd_count_nested_fit f, rough;
	double top, there, approximate;

	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_double_le(f.node_change, 1e-6);
	top = brute(&m, f.beta, f.sd_outer, f.sd_inner, f.theta);
	close_to("integral", f.log_likelihood, top, 1e-6);
	there = brute(&m, beta, 0.8524532478333, 0.0495053122314,
	              3.2523485377575);
	ck_assert_double_gt(top, there + 0.005);
	m.nodes = 1;
	ck_assert_int_eq(pd_count_nested(arena, &m, &rough, &err), PD_OK);
	approximate = brute(&m, rough.beta, rough.sd_outer, rough.sd_inner,
	                    rough.theta);
	ck_assert_double_gt(top, approximate);
	/* The value it reports for itself, -288.4272524, is not the
	 * integral's either. */
	ck_assert_double_gt(rough.log_likelihood, -288.4272524440527);
}
END_TEST

static const struct {
	uint64_t seed;
	double mean, outer, inner, theta;
} tops[] = {
	{ 31, 6, 0.7, 0.4, 0 }, { 33, 3, 0.8, 0.6, 0 }, { 52, 8, 0.7, 0.9, 4 },
};

/* No neighbour stands higher; the stop is stationary; contrasts add up. */
START_TEST(highest_of_all)
{
	pd_count_nested_spec m = make(tops[_i].seed, tops[_i].mean,
	                              tops[_i].outer, tops[_i].inner,
	                              tops[_i].theta);
	double slope[5], value, c[2] = { 0.7, -1.3 }, variance = 0;
	pd_count_nested_fit f;
	pd_estimate e;
	pd_stream s;

	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert(f.sd_outer > 0 && f.sd_inner > 0);
	close_to("integral", f.log_likelihood,
	         brute(&m, f.beta, f.sd_outer, f.sd_inner, f.theta), 2e-6);
	ck_assert_int_eq(pd_count_nested_likelihood(
	    &m, f.beta, f.sd_outer, f.sd_inner, f.theta, f.nodes, &value,
	    slope, &err), PD_OK);
	close_to("value", value, f.log_likelihood, 1e-9);
	for (size_t j = 0; j < f.n_free; j++)
		close_to("slope", slope[j], 0, 1e-5);
	pd_stream_init(&s, 6, 0);
	for (int k = 0; k < 1000; k++) {
		double size = k % 2 ? 0.3 : 0.02, b[2];

		b[0] = f.beta[0] + size * pd_stream_normal(&s);
		b[1] = f.beta[1] + 0.3 * size * pd_stream_normal(&s);
		ck_assert_int_eq(pd_count_nested_likelihood(
		    &m, b, f.sd_outer * exp(size * pd_stream_normal(&s)),
		    f.sd_inner * exp(size * pd_stream_normal(&s)),
		    f.theta * exp(size * pd_stream_normal(&s)), f.nodes,
		    &value, NULL, &err), PD_OK);
		ck_assert_double_lt(value, f.log_likelihood);
	}
	for (size_t a = 0; a < 2; a++)
		for (size_t b = 0; b < 2; b++)
			variance += c[a] * c[b] *
			            f.covariance[f.n_free * a + b];
	ck_assert_int_eq(pd_count_nested_contrast(&f, c, 0.9, &e, &err),
	                 PD_OK);
	close_to("contrast", e.value, 0.7 * f.beta[0] - 1.3 * f.beta[1],
	         1e-12);
	close_to("its error", e.se, sqrt(variance), 1e-12);
}
END_TEST

/* Levels that do not differ: the sd is 0 exactly, and the fit is the one with
 * one level. */
START_TEST(variance_at_zero)
{
	pd_count_nested_spec m = _i ? make(39, 6, 0, 0.5, 0)
	                            : make(37, 6, 0.7, 0, 0);
	pd_mixed_spec flat = { m.rows, made.outer, 0 };
	int32_t id[ALL];
	pd_count_nested_fit f;
	pd_mixed_fit g;
	double ratio, p;

	for (size_t i = 0; _i && i < m.rows.n; i++)
		id[i] = 100 * made.outer[i] + made.inner[i];
	if (_i)
		flat.group = id;
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_int_eq(pd_count_mixed(arena, &flat, &g, &err), PD_OK);
	ck_assert_double_eq(_i ? f.sd_outer : f.sd_inner, 0);
	ck_assert(isnan(_i ? f.se_log_outer : f.se_log_inner));
	ck_assert_uint_eq(f.n_free, 3);
	ck_assert_double_eq(f.log_likelihood, g.log_likelihood);
	close_to("sd", _i ? f.sd_inner : f.sd_outer, g.sd, 1e-12);
	close_to("slope", f.beta[1], g.beta[1], 1e-12);
	pd_count_nested_test(&f, _i, &ratio, &p);
	ck_assert_double_eq(p, 1);
	ck_assert_double_eq(ratio, 0);
	pd_count_nested_test(&f, !_i, &ratio, &p);
	ck_assert_double_gt(ratio, 8);
	ck_assert_double_lt(p, 0.003);
}
END_TEST

/* Both 0: the plain fit; and a Poisson truth leaves theta infinite. */
START_TEST(both_at_zero)
{
	pd_count_nested_spec m = make(7, 8, 0, 0, 0);
	pd_count_nested_fit f;
	pd_count_fit plain;

	for (size_t i = 0; i < m.rows.n; i++)
		made.y[i] = 7 + (double)(i % 3 == 2);
	m.rows.extra = true;
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_double_eq(f.sd_outer, 0);
	ck_assert_double_eq(f.sd_inner, 0);
	ck_assert(isinf(f.theta));
	ck_assert_uint_eq(f.n_free, 2);
	ck_assert_int_eq(pd_count_regression(arena, &m.rows, &plain, &err),
	                 PD_OK);
	close_to("slope", f.beta[1], plain.beta[1], 1e-12);
}
END_TEST

/* Too numerous to count in some dishes. */
START_TEST(too_numerous)
{
	pd_count_nested_spec m = make(31, 9, 0.7, 0.4, 0);
	pd_count_nested_fit f, blind;

	for (size_t i = 0; i < m.rows.n; i++)
		if (made.y[i] >= 15) {
			made.y[i] = 15;
			made.cut[i] = 1;
		}
	ck_assert_int_eq(pd_count_nested(arena, &m, &blind, &err), PD_OK);
	m.rows.at_least = made.cut;
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_uint_gt(f.n_cut, 3);
	close_to("integral", f.log_likelihood,
	         brute(&m, f.beta, f.sd_outer, f.sd_inner, f.theta), 2e-6);
	ck_assert_double_gt(f.sd_outer, blind.sd_outer);
}
END_TEST

/* Rows in another order, other codes, other units. */
START_TEST(same_when_renamed)
{
	pd_count_nested_spec a = make(33, 5, 0.8, 0.6, 0), b = a;
	double x[ALL * 2], y[ALL], offset[ALL];
	int32_t outer[ALL], inner[ALL];
	pd_count_nested_fit f, g;
	size_t n = a.rows.n, step = 29;

	ck_assert_uint_ne(n % step, 0);
	for (size_t i = 0; i < n; i++) {
		size_t k = (step * i + 11) % n;

		x[2 * i] = 1;
		x[2 * i + 1] = made.x[2 * k + 1] / 30;
		y[i] = made.y[k];
		offset[i] = made.offset[k] + log(7);
		outer[i] = 500 - made.outer[k];
		inner[i] = 1000 * made.outer[k] + made.inner[k];
	}
	b.rows.x = x;
	b.rows.y = y;
	b.rows.offset = offset;
	b.outer = outer;
	b.inner = inner;
	ck_assert_int_eq(pd_count_nested(arena, &a, &f, &err), PD_OK);
	ck_assert_int_eq(pd_count_nested(arena, &b, &g, &err), PD_OK);
	ck_assert_uint_eq(f.n_inner, g.n_inner);
	close_to("slope", g.beta[1] / 30, f.beta[1], 1e-8);
	close_to("intercept", g.beta[0], f.beta[0] - log(7), 1e-8);
	close_to("outer sd", g.sd_outer, f.sd_outer, 1e-8);
	close_to("inner sd", g.sd_inner, f.sd_inner, 1e-8);
	close_to("value", g.log_likelihood, f.log_likelihood, 1e-9);
	close_to("se", sqrt(g.covariance[g.n_free + 1]) / 30,
	         sqrt(f.covariance[f.n_free + 1]), 1e-6);
}
END_TEST

/* ---- profile limits ----------------------------------------------------- */

/* All of (beta, ln sds[, ln theta]) but one, through the public likelihood. */
struct held {
	const pd_count_nested_spec *m;
	unsigned nodes;
	size_t n, which;
	double at;
};

static void at_held(void *with, const double *par, double *value,
                    double *gradient, double *hessian)
{
	const struct held *h = with;
	double all[5] = { 0, 0, 0, 0, INFINITY }, slope[5], d = 1e-4;
	size_t m = h->n - 1;

	for (size_t j = 0, r = 0; j < h->n; j++)
		all[j] = j == h->which ? h->at : par[r++];
	if (pd_count_nested_likelihood(h->m, all, exp(all[2]), exp(all[3]),
	                               exp(all[4]), h->nodes, value, slope,
	                               &err) != PD_OK)
		*value = NAN;
	for (size_t j = 0, r = 0; j < h->n; j++)
		if (j != h->which)
			gradient[r++] = slope[j];
	for (size_t j = 0; hessian && j < m; j++) {
		double to[4], v, up[4], low[4];

		memcpy(to, par, m * sizeof *to);
		to[j] = par[j] + d;
		at_held(with, to, &v, up, NULL);
		to[j] = par[j] - d;
		at_held(with, to, &v, low, NULL);
		for (size_t k = 0; k < m; k++)
			hessian[m * j + k] = (up[k] - low[k]) / (2 * d);
	}
}

static double loss(const pd_count_nested_spec *m, const pd_count_nested_fit *f,
                   size_t which, double at)
{
	struct held h = { m, f->nodes, f->n_free, which, at };
	double all[5] = { f->beta[0], f->beta[1], log(f->sd_outer),
	                  log(f->sd_inner), log(f->theta) };
	double par[4], g[4], hess[16];
	pd_newton_record record;

	for (size_t j = 0, r = 0; j < h.n; j++)
		if (j != which)
			par[r++] = all[j];
	ck_assert_int_eq(pd_newton_search(arena, at_held, &h, h.n - 1, par, g,
	                                  hess, &record, &err), PD_OK);
	ck_assert_int_eq(record.end, PD_NEWTON_TOP);
	return 2 * (f->log_likelihood - record.value);
}

/* At each limit the rest, fitted anew, loses the chi-square quantile. */
START_TEST(profile_loses_enough)
{
	static const double quantile = 3.841458820694124, c[2] = { 0, 1 };
	pd_count_nested_spec m = _i ? make(90, 9, 0.9, 0.7, 6)
	                            : make(33, 3, 0.8, 0.6, 0);
	double low, high;
	pd_count_nested_fit f;

	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_int_eq(pd_count_nested_profile(&m, &f, c, 0.95, &low, &high,
	                                         &err), PD_OK);
	ck_assert(low < f.beta[1] && f.beta[1] < high);
	close_to("slope, low", loss(&m, &f, 1, low), quantile, 1e-6);
	close_to("slope, high", loss(&m, &f, 1, high), quantile, 1e-6);
	for (int outer = 0; outer < 2; outer++) {
		size_t which = outer ? 2 : 3;

		ck_assert_int_eq(pd_count_nested_sd_limits(
		    &m, &f, outer, 0.95, &low, &high, &err), PD_OK);
		close_to("sd, high", loss(&m, &f, which, log(high)), quantile,
		         1e-6);
		if (low > 0)
			close_to("sd, low", loss(&m, &f, which, log(low)),
			         quantile, 1e-6);
		else
			ck_assert_double_le(2 * (f.log_likelihood - (outer
			    ? f.log_likelihood_inner
			    : f.log_likelihood_outer)), quantile);
	}
	ck_assert_int_eq(pd_count_nested_alpha_limits(&m, &f, 0.95, &low,
	                                              &high, &err),
	                 _i ? PD_OK : PD_USAGE);
	if (!_i)
		return;
	ck_assert(0 < low && low < f.alpha && f.alpha < high);
	close_to("alpha, low", loss(&m, &f, 4, -log(low)), quantile, 1e-6);
	close_to("alpha, high", loss(&m, &f, 4, -log(high)), quantile, 1e-6);
}
END_TEST

/* R 4.2.2, lme4 1.1-31: confint(, method = "profile") of the second Laplace
 * fit above, whose points are joined by a spline. */
START_TEST(profile_as_others)
{
	static const double want[2][2] = { { 0.7691610596, 1.9440015566 },
	                                   { -0.4919256466, 0.1416846995 } };
	pd_count_nested_spec m = make(33, 3, 0.8, 0.6, 0);
	double low, high;
	pd_count_nested_fit f;

	m.nodes = 1;
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	for (int j = 0; j < 2; j++) {
		double c[2] = { !j, j };

		ck_assert_int_eq(pd_count_nested_profile(
		    &m, &f, c, 0.95, &low, &high, &err), PD_OK);
		close_to("low", low, want[j][0], 1e-4);
		close_to("high", high, want[j][1], 1e-4);
	}
	ck_assert_int_eq(pd_count_nested_sd_limits(&m, &f, 0, 0.95, &low,
	                                           &high, &err), PD_OK);
	close_to("inner sd, low", low, 0.4301121728, 1e-4);
	close_to("inner sd, high", high, 1.1902232278, 1e-4);
}
END_TEST

/* A variance at 0 reaches down to it; limits of the rest still come. */
START_TEST(limits_at_zero)
{
	pd_count_nested_spec m = make(37, 6, 0.7, 0, 0);
	const double c[2] = { 0, 1 };
	double low, high;
	pd_count_nested_fit f;
	pd_estimate e;

	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_OK);
	ck_assert_double_eq(f.sd_inner, 0);
	ck_assert_int_eq(pd_count_nested_sd_limits(&m, &f, 0, 0.95, &low,
	                                           &high, &err), PD_OK);
	ck_assert_double_eq(low, 0);
	ck_assert(high > 0.05 && high < 0.6);
	ck_assert_int_eq(pd_count_nested_sd_limits(&m, &f, 1, 0.95, &low,
	                                           &high, &err), PD_OK);
	ck_assert(low > 0.2 && low < f.sd_outer && f.sd_outer < high);
	ck_assert_int_eq(pd_count_nested_profile(&m, &f, c, 0.95, &low, &high,
	                                         &err), PD_OK);
	pd_count_nested_contrast(&f, c, 0.95, &e, &err);
	ck_assert(low <= e.low + 0.02 && high >= e.high - 0.02);
	ck_assert_int_eq(pd_count_nested_sd_limits(&m, &f, 1, 0, &low, &high,
	                                           &err), PD_DATA);
}
END_TEST

/* ---- refusals ----------------------------------------------------------- */

START_TEST(refusals)
{
	pd_count_nested_spec m = make(31, 6, 0.7, 0.4, 0), bad = m;
	int32_t one[ALL] = { 0 }, many[ALL];
	double value, beta[2] = { 1, 0 };
	pd_count_nested_fit f;

	for (int32_t i = 0; i < ALL; i++)
		many[i] = i;
	bad.outer = one;
	ck_assert_int_eq(pd_count_nested(arena, &bad, &f, &err), PD_REFUSED);
	bad = m;
	bad.inner = one;
	ck_assert_int_eq(pd_count_nested(arena, &bad, &f, &err), PD_REFUSED);
	ck_assert_msg(strstr(err.text, "no outer group has 2") != NULL,
	              "said: %s", err.text);
	bad = m;
	bad.inner = many;
	ck_assert_int_eq(pd_count_nested(arena, &bad, &f, &err), PD_REFUSED);
	bad = m;
	bad.nodes = PD_COUNT_NESTED_NODES + 1;
	ck_assert_int_eq(pd_count_nested(arena, &bad, &f, &err), PD_DATA);
	bad = m;
	bad.rows.p = 0;
	ck_assert_int_eq(pd_count_nested(arena, &bad, &f, &err), PD_REFUSED);
	one[3] = -1;
	bad = m;
	bad.inner = one;
	ck_assert_int_eq(pd_count_nested(arena, &bad, &f, &err), PD_DATA);
	ck_assert_msg(strstr(err.text, "row 4") != NULL, "said: %s", err.text);
	made.y[2] = 2.5;
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_DATA);
	made.y[2] = 2;
	beta[0] = 1e6;
	ck_assert_int_eq(pd_count_nested_likelihood(&m, beta, 1, 1, INFINITY,
	                                            5, &value, NULL, &err),
	                 PD_NUMERIC);
	memset(made.y, 0, sizeof made.y);
	ck_assert_int_eq(pd_count_nested(arena, &m, &f, &err), PD_REFUSED);
}
END_TEST

/* Anything at all: an answer that is finite, or a status. */
START_TEST(random_counts)
{
	pd_stream s;
	int answered = 0;

	pd_stream_init(&s, 2719, 0);
	for (int k = 0; k < 120; k++) {
		pd_count_nested_spec m = {
			{ .n = 8 + pd_stream_below(&s, 20), .p = 2,
			  .x = made.x, .y = made.y, .extra = k % 2 },
			made.outer, made.inner, k % 4 ? 0 : 1 };
		double scale = pow(10, 3 * pd_stream_uniform(&s) - 1);
		pd_count_nested_fit f;

		for (size_t i = 0; i < m.rows.n; i++) {
			double u = pd_stream_uniform(&s);

			made.x[2 * i] = 1;
			made.x[2 * i + 1] = pd_stream_normal(&s);
			made.y[i] = floor(scale * -log(u) *
			                  (double)pd_stream_below(&s, 3));
			made.outer[i] = (int32_t)pd_stream_below(&s, 4);
			made.inner[i] = (int32_t)pd_stream_below(&s, 3);
		}
		if (pd_count_nested(arena, &m, &f, &err) != PD_OK)
			continue;
		answered++;
		ck_assert(isfinite(f.beta[0]) && isfinite(f.beta[1]));
		ck_assert(isfinite(f.sd_outer) && isfinite(f.sd_inner));
		ck_assert(f.covariance[0] > 0 && isfinite(f.covariance[0]));
		ck_assert(f.log_likelihood >= f.log_likelihood_outer &&
		          f.log_likelihood >= f.log_likelihood_inner);
	}
	ck_assert_int_gt(answered, 90);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("count nested");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 600);
	tcase_add_loop_test(t, integral_by_force, 0, ROWS(points));
	tcase_add_loop_test(t, slopes_of_the_rule, 0, ROWS(points));
	tcase_add_loop_test(t, laplace_as_others, 0, ROWS(laplace));
	tcase_add_test(t, higher_than_the_approximate_fit);
	tcase_add_loop_test(t, highest_of_all, 0, ROWS(tops));
	tcase_add_loop_test(t, variance_at_zero, 0, 2);
	tcase_add_test(t, both_at_zero);
	tcase_add_test(t, too_numerous);
	tcase_add_test(t, same_when_renamed);
	tcase_add_loop_test(t, profile_loses_enough, 0, 2);
	tcase_add_test(t, profile_as_others);
	tcase_add_test(t, limits_at_zero);
	tcase_add_test(t, refusals);
	tcase_add_test(t, random_counts);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
