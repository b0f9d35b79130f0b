/*
 * check_censored_mixed.c - values known by limits, with patients that differ.
 *
 * Known answers: R 4.2.2, survival 3.5-3 survreg (no patients) and the
 * integral by a sum over 2,401 points from -9 to 9 with optim and Newton steps
 * (patients); exact rows: the mixed model of nested.h; simulation with a known
 * truth.
 */
#include "stats/censored_mixed.h"
#include "stats/nested.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { GROUPS = 14, EACH = 4, N = GROUPS * EACH, P = 3 };

static pd_arena *arena;
static pd_error err;
static double x[N * P], value[N], low[N], high[N];
static int32_t group[N];

static void near_to(const char *what, double got, double want, double tol)
{
	if (got == want || fabs(got - want) <= tol * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static double spread_out(int k, double shift)
{
	double at = (k + 1) * 0.6180339887498949 + shift;

	return pd_normal_quantile((at - floor(at)) * 0.98 + 0.01);
}

static void limit_to(double from, double to)
{
	for (int i = 0; i < N; i++) {
		low[i] = high[i] = value[i];
		if (value[i] < from) {
			low[i] = 0;
			high[i] = from;
		} else if (value[i] > to) {
			low[i] = to;
			high[i] = INFINITY;
		} else if (i % 5 == 3) {
			low[i] = floor(value[i]);
			high[i] = low[i] + 1;
		}
	}
}

static void set_up(void)
{
	pd_base_init();
	arena = pd_arena_new();
	for (int i = 0; i < N; i++) {
		double *r = x + i * P, y;

		group[i] = i / EACH;
		r[0] = 1;
		r[1] = i % 2;
		r[2] = (i * 5 % 9) / 4.0;
		y = 0.9 + 0.35 * r[1] + 0.2 * r[2] +
		    0.7 * spread_out(group[i], 0.13) +
		    0.5 * spread_out(i * 7 % N, 0.41);
		value[i] = exp(y);
	}
	limit_to(2, 9);
}

static void take_down(void)
{
	pd_arena_free(arena);
}

static pd_censored_mixed_spec spec_of(const double *from, const double *to,
                                      bool ml)
{
	return (pd_censored_mixed_spec){
		.rows = { N, P, x, from, to, true }, .group = group, .ml = ml,
	};
}

static pd_censored_mixed_fit fit_of(const pd_censored_mixed_spec *spec)
{
	pd_censored_mixed_fit fit;

	if (pd_censored_mixed(arena, spec, &fit, &err) != PD_OK)
		ck_abort_msg("%s", err.text);
	return fit;
}

/* ---- known answers ------------------------------------------------------ */

static const double known_beta[] = { 1.02126009902, -0.025782958214,
	                             0.257630399923 };
static const double known_se[] = { 0.250980935729, 0.177180493675,
	                           0.147107117542, 0.15020215243,
	                           0.261131881427 };
static const double known_scale = 0.607919151709, known_sd = 0.597037367404;
static const double known_value = -103.367986625;

START_TEST(mixed_known)
{
	pd_censored_mixed_spec spec = spec_of(low, high, true);
	pd_censored_mixed_fit f = fit_of(&spec);

	ck_assert_uint_eq(f.n_below, 14);
	ck_assert_uint_eq(f.n_above, 9);
	ck_assert_uint_eq(f.n_between, 8);
	ck_assert_uint_eq(f.n_exact, 25);
	ck_assert_uint_eq(f.n_groups, GROUPS);
	for (size_t j = 0; j < P; j++)
		near_to("beta", f.beta[j], known_beta[j], 2e-9);
	near_to("scale", f.scale, known_scale, 2e-9);
	near_to("sd", f.sd, known_sd, 2e-9);
	near_to("likelihood", f.log_likelihood, known_value, 2e-11);
	for (size_t j = 0; j < P + 2; j++)
		near_to("se", sqrt(f.covariance[j * (P + 3)]), known_se[j],
		        2e-6); /* R's by differences */
	/* survreg */
	near_to("plain", f.log_likelihood_fixed, -110.445488238, 1e-11);
	ck_assert(f.nodes >= 9 && f.node_change <= 1e-9);
}
END_TEST

START_TEST(likelihood_known)
{
	static const double beta[] = { 0.8, 0.3, 0.25 };
	static const double plain[] = { 1.06120461929, -0.00987678909094,
		                        0.221084467927 };
	pd_censored_mixed_spec spec = spec_of(low, high, true);
	double v, up, down, g[P + 2], at[P + 2];

	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, beta, 0.45, 0.9,
	                                              41, &v, g, &err), PD_OK);
	near_to("likelihood", v, -110.646760083, 1e-11);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, beta, 0.45, 0.9,
	                                              0, &v, NULL, &err),
	                 PD_OK);
	near_to("by even points", v, -110.646760083, 1e-11);
	for (size_t j = 0; j < P + 2; j++) {
		for (int side = 0; side < 2; side++) {
			double d = side ? 1e-5 : -1e-5;

			memcpy(at, beta, sizeof beta);
			at[P] = log(0.45);
			at[P + 1] = log(0.9);
			at[j] += d;
			ck_assert_int_eq(pd_censored_mixed_likelihood(
			    &spec, at, exp(at[P]), exp(at[P + 1]), 41,
			    side ? &up : &down, NULL, &err), PD_OK);
		}
		ck_assert(fabs(g[j] - (up - down) / 2e-5) <
		          1e-6 * (1 + fabs(g[j])));
	}
	/* survreg: no patients */
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, plain,
	                                              0.868542823171, 0, 1, &v,
	                                              g, &err), PD_OK);
	near_to("survreg", v, -110.445488238, 1e-11);
	for (size_t j = 0; j < P + 1; j++)
		ck_assert(fabs(g[j]) < 1e-8);
}
END_TEST

/* The integral by a sum, written with other formulas; 500 neighbours lower. */
static double by_sum(const double *beta, double scale, double sd)
{
	double total = 0;

	for (int k = 0; k < GROUPS; k++) {
		double sum = 0;

		for (double z = -9; z < 9.001; z += 0.0075) {
			double product = 0.0075 * exp(-z * z / 2) /
			                 sqrt(2 * M_PI);

			for (int i = k * EACH; i < (k + 1) * EACH; i++) {
				double m = sd * z, a, b;

				for (int j = 0; j < P; j++)
					m += x[i * P + j] * beta[j];
				a = (log(low[i]) - m) / scale;
				b = (log(high[i]) - m) / scale;
				if (low[i] == high[i])
					product *= exp(-a * a / 2) / scale /
					           low[i] / sqrt(2 * M_PI);
				else if (a > 0)
					product *= pd_normal_upper(a) -
					           pd_normal_upper(b);
				else
					product *= pd_normal_cdf(b) -
					           pd_normal_cdf(a);
			}
			sum += product;
		}
		total += log(sum);
	}
	return total;
}

START_TEST(top_of_the_integral)
{
	pd_censored_mixed_spec spec = spec_of(low, high, true);
	pd_censored_mixed_fit f = fit_of(&spec);
	double beta[P], v;
	pd_stream draw;

	near_to("at the top", by_sum(f.beta, f.scale, f.sd), f.log_likelihood,
	        1e-11);
	pd_stream_init(&draw, 7, 1);
	for (int k = 0; k < 500; k++) {
		double far = k % 2 ? 0.2 : 0.003;
		double scale = f.scale * exp(far * pd_stream_normal(&draw));
		double sd = f.sd * exp(far * pd_stream_normal(&draw));

		for (int j = 0; j < P; j++)
			beta[j] = f.beta[j] + far * pd_stream_normal(&draw);
		ck_assert_int_eq(pd_censored_mixed_likelihood(
		    &spec, beta, scale, sd, 25, &v, NULL, &err), PD_OK);
		ck_assert(v < f.log_likelihood);
	}
}
END_TEST

/* Patients wholly beyond a limit and an sd many times the scale: Hermite's
 * nodes are off, evenly spaced points are not. */
START_TEST(sharp_integrand)
{
	pd_censored_mixed_spec spec = spec_of(low, high, true);
	double exact, even, hermite;

	for (int i = 0; i < N; i++)
		if (group[i] < 3) {
			low[i] = 0;
			high[i] = 2 + 0.3 * (i % 4);
		}
	exact = by_sum(known_beta, 0.12, 1.5);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, known_beta, 0.12,
	                                              1.5, 0, &even, NULL,
	                                              &err), PD_OK);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, known_beta, 0.12,
	                                              1.5, 41, &hermite,
	                                              NULL, &err), PD_OK);
	near_to("even", even, exact, 1e-12);
	ck_assert(fabs(hermite - exact) > 1e-3); /* 9 nodes: 0.33 */
}
END_TEST

/* ---- exact rows: the mixed model ---------------------------------------- */

START_TEST(exact_rows)
{
	double y[N], shift = 0, v[1];
	const double *known;
	pd_nested_spec ns = { .n = N, .p = P, .x = x, .y = y, .depth = 1,
		              .group = { group }, .ml = _i == 0 };
	pd_nested *m;
	pd_censored_mixed_spec spec = spec_of(value, value, _i == 0);
	pd_censored_mixed_fit f = fit_of(&spec);

	for (int i = 0; i < N; i++) {
		y[i] = log(value[i]);
		shift += y[i];
	}
	ck_assert_int_eq(pd_nested_new(&ns, &m, &err), PD_OK);
	ck_assert_int_eq(pd_nested_fit(m, &err), PD_OK);
	near_to("deviance", -2 * (f.criterion + shift),
	        pd_nested_record(m)->deviance, 1e-10);
	pd_nested_level_covariance(m, 0, v);
	near_to("sd", f.sd, sqrt(v[0]), 1e-8);
	near_to("scale", f.scale, pd_nested_residual_sd(m), 1e-8);
	known = pd_nested_covariance(m);
	for (size_t j = 0; j < P * P; j++)
		near_to("covariance", f.fixed[j], known[j], 1e-7);
	for (size_t j = 0; j < P; j++) {
		double c[P] = { 0 };
		pd_estimate e, want;

		c[j] = 1;
		ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 0.9, &e,
		                                            &err), PD_OK);
		ck_assert_int_eq(pd_nested_contrast(m, c, 0.9,
		                                    PD_SATTERTHWAITE, &want,
		                                    &err), PD_OK);
		near_to("beta", e.value, want.value, 1e-8);
		near_to("df", e.df, want.df, 2e-6);
		/* with what not knowing sd and scale adds */
		ck_assert(e.se >= want.se * (1 - 1e-9));
		ck_assert(e.se < want.se * 1.001);
	}
	pd_nested_free(m);
}
END_TEST

/* Pairs without censoring: the paired t interval. */
START_TEST(pairs)
{
	enum { PAIRS = 7 };
	double px[2 * PAIRS * 2], py[2 * PAIRS], mean = 0, square = 0, half;
	int32_t pg[2 * PAIRS];
	pd_censored_mixed_spec spec = { .rows = { 2 * PAIRS, 2, px, py, py,
		                                  false }, .group = pg };
	const double c[] = { 0, 1 };
	pd_estimate e;

	for (int i = 0; i < 2 * PAIRS; i++) {
		px[2 * i] = 1;
		px[2 * i + 1] = i % 2;
		pg[i] = i / 2;
		py[i] = 3 * spread_out(i / 2, 0.2) + 0.4 * spread_out(i, 0.7);
	}
	for (int k = 0; k < PAIRS; k++)
		mean += (py[2 * k + 1] - py[2 * k]) / PAIRS;
	for (int k = 0; k < PAIRS; k++)
		square += pow(py[2 * k + 1] - py[2 * k] - mean, 2);
	half = pd_t_quantile(0.975, PAIRS - 1) *
	       sqrt(square / (PAIRS - 1) / PAIRS);
	pd_censored_mixed_fit f = fit_of(&spec);

	ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 0.95, &e, &err),
	                 PD_OK);
	near_to("difference", e.value, mean, 1e-9);
	near_to("df", e.df, PAIRS - 1, 1e-5);
	near_to("half", e.high - e.value, half, 1e-6);
}
END_TEST

/* ---- properties --------------------------------------------------------- */

/* Rows and codes in another order, another unit, another baseline. */
START_TEST(order_and_units)
{
	pd_censored_mixed_spec spec = spec_of(low, high, _i == 0), other;
	pd_censored_mixed_fit a, b;
	double ox[N * P], ol[N], oh[N];
	int32_t og[N];
	const double c[P] = { 0, 0, 1 };
	pd_estimate e, f;

	if (_i)
		limit_to(1.5, 12);
	a = fit_of(&spec);
	ck_assert(a.adjusted == (_i == 1));
	for (int i = 0; i < N; i++) {
		int k = (i * 23 + 5) % N;

		ox[i * P] = 1;
		ox[i * P + 1] = 1 - x[k * P + 1];
		ox[i * P + 2] = 1e6 + 1000 * x[k * P + 2];
		ol[i] = low[k] / 1e9;
		oh[i] = high[k] / 1e9;
		og[i] = 900 - 7 * group[k];
	}
	other = (pd_censored_mixed_spec){ .rows = { N, P, ox, ol, oh, true },
		                          .group = og,
		                          .ml = _i == 0 };
	b = fit_of(&other);
	near_to("sd", b.sd, a.sd, 1e-8);
	near_to("scale", b.scale, a.scale, 1e-8);
	near_to("swap", b.beta[1], -a.beta[1], 1e-7);
	near_to("likelihood", b.log_likelihood,
	        a.log_likelihood + (double)a.n_exact * log(1e9), 1e-10);
	ck_assert_int_eq(pd_censored_mixed_contrast(&a, c, 0.95, &e, &err),
	                 PD_OK);
	ck_assert_int_eq(pd_censored_mixed_contrast(&b, c, 0.95, &f, &err),
	                 PD_OK);
	near_to("value", 1000 * f.value, e.value, 1e-7);
	near_to("se", 1000 * f.se, e.se, 1e-7);
	near_to("df", f.df, e.df, 1e-5);
	for (size_t k = 0; k < GROUPS; k++) {
		ck_assert_int_eq(b.code[k],
		                 900 - 7 * a.code[GROUPS - 1 - k]);
		near_to("effect", b.effect[k], a.effect[GROUPS - 1 - k], 1e-7);
	}
}
END_TEST

/* The adjusted sd is the larger one; the adjusted profile has its top there. */
START_TEST(adjusted)
{
	pd_censored_mixed_spec spec = spec_of(low, high, false);
	pd_censored_mixed_fit a = fit_of(&spec), m;
	double g[P + 2], v;

	/* 23 of 56 beyond a limit: maximum likelihood */
	ck_assert(!a.adjusted);
	near_to("too many", a.sd, known_sd, 2e-9);
	limit_to(1.5, 12);
	a = fit_of(&spec);
	ck_assert(a.adjusted && a.n_below == 9 && a.n_above == 2);
	spec.ml = true;
	m = fit_of(&spec);
	ck_assert(a.sd > m.sd && a.scale > m.scale);
	near_to("ml", a.ml_log_likelihood, m.log_likelihood, 1e-11);
	near_to("ml sd", a.ml_sd, m.sd, 1e-9);
	ck_assert(a.log_likelihood < m.log_likelihood);
	/* b is the best for this scale and sd */
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, a.beta, a.scale,
	                                              a.sd, 41, &v, g, &err),
	                 PD_OK);
	for (size_t j = 0; j < P; j++)
		ck_assert(fabs(g[j]) < 1e-7);
	near_to("value", v, a.log_likelihood, 1e-10);
}
END_TEST

/* Groups that do not differ: sd exactly 0, the fit without them. */
START_TEST(boundary)
{
	double y[N], from[N], to[N];
	pd_censored_spec rows;
	pd_censored_fit plain;
	double ratio, p;

	for (int i = 0; i < N; i++) { /* every group has the same mean */
		static const double e[] = { -0.7, 0.4, 0.9, -0.6 };

		y[i] = exp(1 + 0.3 * e[(i + i / EACH) % EACH] +
		           0.02 * spread_out(i, 0.3));
		from[i] = y[i] < 2.22 ? 0 : y[i];
		to[i] = y[i] < 2.22 ? 2.22 : y[i];
	}
	pd_censored_mixed_spec spec = spec_of(from, to, _i == 0);
	pd_censored_mixed_fit f = fit_of(&spec);

	ck_assert(f.sd == 0 && f.ml_sd == 0);
	ck_assert(isnan(f.se_log_sd) && f.n_free == P + 1);
	for (size_t k = 0; k < f.n_groups; k++)
		ck_assert(f.effect[k] == 0);
	pd_censored_mixed_test(&f, &ratio, &p);
	ck_assert(ratio == 0 && p == 1);
	rows = spec.rows;
	ck_assert_int_eq(pd_censored_regression(arena, &rows, &plain, &err),
	                 PD_OK);
	near_to("likelihood", f.ml_log_likelihood, plain.log_likelihood,
	        1e-12);
	if (_i == 0)
		for (size_t j = 0; j < P * (P + 2); j++)
			near_to("covariance", f.covariance[j],
			        plain.covariance[j], 1e-7);
	else
		ck_assert(f.adjusted && f.scale > plain.scale);
}
END_TEST

/* A group all below the limit, one of a single row, one far away. */
START_TEST(sparse)
{
	for (int i = 0; i < EACH; i++) {
		low[i] = 0;
		high[i] = 2;
		low[EACH + i] = 9;
		high[EACH + i] = INFINITY;
	}
	group[N - 1] = 999;
	for (int ml = 0; ml < 2; ml++) {
		pd_censored_mixed_spec spec = spec_of(low, high, ml);
		pd_censored_mixed_fit f = fit_of(&spec);
		const double c[P] = { 0, 1 };
		pd_estimate e;

		ck_assert(f.sd > 0 && isfinite(f.sd));
		ck_assert(f.effect[0] < 0 && f.effect[1] > 0);
		ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 0.95, &e,
		                                            &err), PD_OK);
		ck_assert(e.df > 1 && e.df < N && isfinite(e.low));
		ck_assert_uint_eq(f.n_groups, GROUPS + 1);
	}
}
END_TEST

/* ---- half the limit ----------------------------------------------------- */

enum { SETS = 100, CASES = 14, DRAWS = 3, ROWS = CASES * DRAWS };

struct tally {
	double mean, sd, scale;
	int held;
};

static void add(struct tally *t, const pd_censored_mixed_spec *spec,
                double truth)
{
	pd_arena_mark mark = pd_arena_here(arena);
	pd_censored_mixed_fit f = fit_of(spec);
	const double c[] = { 1, 0 };
	pd_estimate e;

	ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 0.95, &e, &err),
	                 PD_OK);
	t->mean += e.value / SETS;
	t->sd += f.sd / SETS;
	t->scale += f.scale / SETS;
	t->held += e.low <= truth && truth <= e.high;
	pd_arena_rewind(arena, mark);
}

static const double limit = 1.4; /* 63 in 100 below it */

/* Ln mean 0, sd 0.8 between and 0.6 within. */
static void draw_case(uint64_t s, int n_cases, double *from, double *to,
                      double *half, double *design, int32_t *code)
{
	pd_stream draw;

	pd_stream_init(&draw, 411, s);
	for (int k = 0; k < n_cases; k++) {
		double u = 0.8 * pd_stream_normal(&draw);

		for (int j = 0; j < DRAWS; j++) {
			int i = k * DRAWS + j;
			double y = exp(u + 0.6 * pd_stream_normal(&draw));
			int below = y < limit;

			code[i] = k;
			design[2 * i] = 1;
			design[2 * i + 1] = j - 1;
			from[i] = below ? 0 : y;
			to[i] = below ? limit : y;
			half[i] = below ? limit / 2 : y;
		}
	}
}

/* Replaced by half the limit, and as what they are: many small sets. */
START_TEST(half_the_limit)
{
	double sx[ROWS * 2], from[ROWS], to[ROWS], half[ROWS];
	int32_t sg[ROWS];
	struct tally ours = { 0 }, theirs = { 0 };
	pd_censored_mixed_spec spec = { .rows = { ROWS, 2, sx, from, to,
		                                  true }, .group = sg,
		                        .ml = true };
	pd_censored_mixed_spec wrong = { .rows = { ROWS, 2, sx, half, half,
		                                   true }, .group = sg,
		                         .ml = true };

	for (int s = 0; s < SETS; s++) {
		draw_case((uint64_t)s, CASES, from, to, half, sx, sg);
		add(&ours, &spec, 0);
		add(&theirs, &wrong, 0);
	}
	printf("half the limit: ln mean %.3f (ours %.3f), sd %.3f (%.3f), "
	       "scale %.3f (%.3f), held %.3f (%.3f)\n", theirs.mean, ours.mean,
	       theirs.sd, ours.sd, theirs.scale, ours.scale,
	       theirs.held / (double)SETS, ours.held / (double)SETS);
	ck_assert(fabs(ours.mean) < 0.12 && theirs.mean > 0.1);
	ck_assert(fabs(ours.sd - 0.8) < 0.12 && theirs.sd < 0.6);
	ck_assert(fabs(ours.scale - 0.6) < 0.05 && theirs.scale < 0.52);
	ck_assert(ours.held >= 0.92 * SETS);
}
END_TEST

/* One large set: the truth is beyond the interval of half the limit. */
START_TEST(half_the_limit_at_large)
{
	enum { MANY = 150, ALL = MANY * DRAWS };
	double *room = calloc(5 * ALL, sizeof *room);
	double *from = room, *to = room + ALL, *half = room + 2 * ALL;
	double *design = room + 3 * ALL;
	int32_t *code = calloc(ALL, sizeof *code);
	const double c[] = { 1, 0 };
	pd_estimate e;

	ck_assert(room && code);
	draw_case(5000, MANY, from, to, half, design, code);
	pd_censored_mixed_spec spec = { .rows = { ALL, 2, design, from, to,
		                                  true }, .group = code };
	pd_censored_mixed_fit f = fit_of(&spec);

	ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 0.95, &e, &err),
	                 PD_OK);
	ck_assert(e.low < 0 && e.high > 0);
	ck_assert(fabs(log(f.sd / 0.8)) < 3 * f.se_log_sd);
	ck_assert(fabs(log(f.scale / 0.6)) < 3 * f.se_log_scale);
	spec.rows.low = spec.rows.high = half;
	f = fit_of(&spec);
	ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 0.95, &e, &err),
	                 PD_OK);
	ck_assert_double_gt(e.low, 0);
	ck_assert(log(0.8 / f.sd) > 2 * f.se_log_sd);
	ck_assert(log(0.6 / f.scale) > 2 * f.se_log_scale);
	free(room);
	free(code);
}
END_TEST

/* ---- refused ------------------------------------------------------------ */

START_TEST(refused)
{
	pd_censored_mixed_spec spec = spec_of(low, high, false);
	pd_censored_mixed_fit f;
	const double beta[P] = { 0 }, c[P] = { 0 };
	pd_estimate e;
	double v;

	group[5] = -1;
	ck_assert_int_eq(pd_censored_mixed(arena, &spec, &f, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 6"));
	for (int i = 0; i < N; i++)
		group[i] = i;
	ck_assert_int_eq(pd_censored_mixed(arena, &spec, &f, &err),
	                 PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "2 rows"));
	for (int i = 0; i < N; i++)
		group[i] = 3;
	ck_assert_int_eq(pd_censored_mixed(arena, &spec, &f, &err),
	                 PD_REFUSED);
	for (int i = 0; i < N; i++)
		group[i] = i / EACH;
	f = fit_of(&spec);
	ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 0.95, &e, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_censored_mixed_contrast(&f, c, 1.5, &e, &err),
	                 PD_DATA);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, beta, 0, 1, 9, &v,
	                                              NULL, &err), PD_DATA);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, beta, 1, -1, 9,
	                                              &v, NULL, &err),
	                 PD_DATA);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, beta, 1, 1, 200,
	                                              &v, NULL, &err),
	                 PD_DATA);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, beta, 1, 1, 162,
	                                              &v, NULL, &err),
	                 PD_DATA);
	low[2] = high[2] + 1;
	ck_assert_int_eq(pd_censored_mixed(arena, &spec, &f, &err), PD_DATA);
	ck_assert_int_eq(pd_censored_mixed_likelihood(&spec, beta, 1, 1, 9, &v,
	                                              NULL, &err), PD_DATA);
	low[2] = high[2];
	for (int i = 0; i < N; i++)
		x[i * P + 2] = 2 * x[i * P + 1];
	ck_assert_int_eq(pd_censored_mixed(arena, &spec, &f, &err),
	                 PD_REFUSED);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("censored mixed");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, mixed_known);
	tcase_add_test(t, likelihood_known);
	tcase_add_test(t, top_of_the_integral);
	tcase_add_test(t, sharp_integrand);
	tcase_add_loop_test(t, exact_rows, 0, 2);
	tcase_add_test(t, pairs);
	tcase_add_loop_test(t, order_and_units, 0, 2);
	tcase_add_test(t, adjusted);
	tcase_add_loop_test(t, boundary, 0, 2);
	tcase_add_test(t, sparse);
	tcase_add_test(t, half_the_limit);
	tcase_add_test(t, half_the_limit_at_large);
	tcase_add_test(t, refused);
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
