/*
 * check_count.c - regression of counts, without and with groups.
 *
 * Known answers: R 4.2.2 glm and MASS 7.3-58.2 glm.nb on a published table of
 * colonies; closed forms; sums over the whole distribution and a plain
 * trapezoid over the random effect, both written here.
 */
#include "stats/count.h"
#include "stats/count_mixed.h"
#include "stats/count_row.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

static pd_arena *arena;
static pd_error err;

static void near(const char *what, double got, double want, double tolerance)
{
	if (got == want || fabs(got - want) <= tolerance * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

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

/* ---- one row ------------------------------------------------------------ */

/* ln p(y), straight from the gamma function. */
static double log_mass(double y, double mu, double theta)
{
	if (isinf(theta))
		return y * log(mu) - mu - lgamma(y + 1);
	return lgamma(y + theta) - lgamma(theta) - lgamma(y + 1) +
	       theta * log(theta / (theta + mu)) +
	       (y > 0 ? y * log(mu / (theta + mu)) : 0);
}

/* ln P(Y >= y): what is left of the counts below, or summed upwards until
 * nothing is added. */
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

static const struct {
	size_t y;
	int at_least;
	double mu, theta;
} places[] = {
	{ 0, 0, 3.7, INFINITY }, { 13, 0, 9.1, INFINITY },
	{ 0, 0, 3.7, 0.83 },     { 13, 0, 9.1, 1.7 },
	{ 13, 0, 9.1, 4.1e5 },   { 211, 0, 87.3, 0.21 },
	{ 150, 1, 61.3, INFINITY }, { 150, 1, 149.2, INFINITY },
	{ 150, 1, 233.1, INFINITY }, { 1, 1, 0.017, INFINITY },
	{ 150, 1, 61.3, 2.7 },   { 150, 1, 149.2, 0.6 },
	{ 150, 1, 310.7, 2.7 },  { 150, 1, 9.4, 31.1 },
	{ 0, 1, 5.9, 1.3 },      { 40, 1, 7.3, 0.11 },
};

static pd_count_slopes slopes_at(int i, double d_e, double d_t)
{
	pd_count_table table;
	pd_count_slopes s;

	ck_assert_int_eq(pd_count_table_new(arena, 400, &table, &err), PD_OK);
	pd_count_table_set(&table, places[i].theta * exp(d_t));
	pd_count_row(&table, places[i].y, places[i].at_least,
	             log(places[i].mu) + d_e, &s);
	return s;
}

START_TEST(row_value)
{
	double y = (double)places[_i].y;
	double want = places[_i].at_least
	                  ? log_tail(y, places[_i].mu, places[_i].theta)
	                  : log_mass(y, places[_i].mu, places[_i].theta);

	close_to("ln p", slopes_at(_i, 0, 0).l, want,
	         places[_i].theta > 1e5 ? 1e-8 : 1e-10 * (1 + fabs(want)));
}
END_TEST

/* Every slope is the difference of the one below it. */
START_TEST(row_slopes)
{
	double d = 1e-5, m = 2e-7;
	pd_count_slopes s = slopes_at(_i, 0, 0);
	pd_count_slopes a = slopes_at(_i, -d, 0), b = slopes_at(_i, d, 0);
	double size = 1 + fabs(s.e) + fabs(s.ee) + fabs(s.eee) + fabs(s.l);

	close_to("e", s.e, (b.l - a.l) / (2 * d), m * size);
	close_to("ee", s.ee, (b.e - a.e) / (2 * d), m * size);
	close_to("eee", s.eee, (b.ee - a.ee) / (2 * d), m * size);
	ck_assert_double_le(s.ee, 0);
	if (isinf(places[_i].theta)) {
		ck_assert_double_eq(s.t, 0);
		return;
	}
	a = slopes_at(_i, 0, -d);
	b = slopes_at(_i, 0, d);
	close_to("t", s.t, (b.l - a.l) / (2 * d), m * size);
	close_to("tt", s.tt, (b.t - a.t) / (2 * d), m * size);
	close_to("et", s.et, (b.e - a.e) / (2 * d), m * size);
	close_to("eet", s.eet, (b.ee - a.ee) / (2 * d), m * size);
}
END_TEST

/* ---- without groups ----------------------------------------------------- */

/* Colonies by dose: Margolin et al. 1981, PNAS 78, 3779-3783. */
static const double dose[] = { 0, 0, 0, 10, 10, 10, 33, 33, 33, 100, 100, 100,
                               333, 333, 333, 1000, 1000, 1000 };
static const double colonies[] = { 15, 21, 29, 16, 18, 21, 16, 26, 33, 27, 41,
                                   60, 33, 38, 41, 20, 27, 42 };
enum { DISHES = 18 };

static double dish_x[DISHES * 3];

static pd_count_spec dishes(bool extra)
{
	for (size_t i = 0; i < DISHES; i++) {
		dish_x[3 * i] = 1;
		dish_x[3 * i + 1] = log(dose[i] + 10);
		dish_x[3 * i + 2] = dose[i];
	}
	return (pd_count_spec){ .n = DISHES, .p = 3, .x = dish_x,
	                        .y = colonies, .extra = extra };
}

/* R 4.2.2 glm and MASS 7.3-58.2 glm.nb, digits as those print them. */
START_TEST(published_dishes)
{
	pd_count_spec poisson = dishes(false), nb = dishes(true);
	pd_count_fit f;
	double low, high, ratio, p;

	ck_assert_int_eq(pd_count_regression(arena, &poisson, &f, &err),
	                 PD_OK);
	close_to("intercept", f.beta[0], 2.172773, 1e-6);
	close_to("per ln dose", f.beta[1], 0.3198249, 1e-7);
	close_to("deviance", f.deviance, 43.715749, 1e-6);
	close_to("null deviance", f.null_deviance, 78.357580, 1e-6);
	close_to("dispersion", f.dispersion, 3.0847112, 1e-7);
	ck_assert_int_eq(pd_count_profile(&poisson, &f, 1, 0.95, &low, &high,
	                                  &err), PD_OK);
	close_to("profile, low", low, 0.2085681, 1e-7);
	close_to("profile, high", high, 0.4321109, 1e-7);
	ck_assert_int_eq(pd_count_regression(arena, &nb, &f, &err), PD_OK);
	close_to("intercept", f.beta[0], 2.1976273, 1e-7);
	close_to("theta", f.theta, 20.505083, 1e-6);
	close_to("log-likelihood", f.log_likelihood, -62.88958, 1e-5);
	ck_assert_int_eq(pd_count_theta_limits(&nb, &f, 0.95, &low, &high,
	                                       &err), PD_OK);
	close_to("theta, low", low, 7.2786269, 1e-6);
	close_to("theta, high", high, 81.633233, 1e-5);
	pd_count_extra_test(&f, &ratio, &p);
	close_to("ratio", ratio, 10.472829, 1e-6);
	close_to("p", p, 0.0006057, 1e-7);
}
END_TEST

/* One rate: total over exposure, its information the total. */
START_TEST(one_rate)
{
	static const double y[] = { 14, 22, 18, 0, 7 };
	static const double plated[] = { 5, 5, 5, 0.5, 2.5 };
	double ones[] = { 1, 1, 1, 1, 1 }, offset[5], c = 1;
	pd_count_spec spec = { .n = 5, .p = 1, .x = ones, .y = y,
	                       .offset = offset };
	pd_count_fit f;
	pd_estimate e;

	for (size_t i = 0; i < 5; i++)
		offset[i] = log(plated[i]);
	ck_assert_int_eq(pd_count_regression(arena, &spec, &f, &err), PD_OK);
	near("rate", exp(f.beta[0]), 61.0 / 18, 1e-13);
	ck_assert_int_eq(pd_count_contrast(&f, &c, 0.95, &e, &err), PD_OK);
	near("se", e.se, 1 / sqrt(61), 1e-12);
	near("high", e.high, log(61.0 / 18) + 1.959963984540054 / sqrt(61),
	     1e-12);
}
END_TEST

/* X'(y - mu) / (1 + mu / theta) = 0 and theta's own equation. */
START_TEST(score_is_zero)
{
	pd_count_spec spec = dishes(_i);
	pd_count_fit f;

	ck_assert_int_eq(pd_count_regression(arena, &spec, &f, &err), PD_OK);
	for (size_t j = 0; j < 3; j++) {
		double score = 0, size = 0;

		for (size_t i = 0; i < DISHES; i++) {
			double part = dish_x[3 * i + j] *
			              (colonies[i] - f.fitted[i]) /
			              (1 + f.fitted[i] * f.alpha);

			score += part;
			size += fabs(part);
		}
		close_to("score", score, 0, 1e-11 * size);
	}
	for (size_t d = 0; _i && d < 2; d++) {
		double moved = 0, theta = f.theta * (d ? 1.001 : 0.999);

		for (size_t i = 0; i < DISHES; i++)
			moved += log_mass(colonies[i], f.fitted[i], theta);
		ck_assert_double_lt(moved, f.log_likelihood);
	}
}
END_TEST

/* Counts that scatter less than Poisson: theta is INFINITY, said so. */
START_TEST(no_extra_scatter)
{
	static const double y[] = { 11, 12, 12, 11, 13, 12, 11, 12 };
	double ones[] = { 1, 1, 1, 1, 1, 1, 1, 1 }, low, high, ratio, p;
	pd_count_spec spec = { .n = 8, .p = 1, .x = ones, .y = y,
	                       .extra = true };
	pd_count_fit f;

	ck_assert_int_eq(pd_count_regression(arena, &spec, &f, &err), PD_OK);
	ck_assert(isinf(f.theta));
	ck_assert_double_eq(f.alpha, 0);
	near("mean", exp(f.beta[0]), 94.0 / 8, 1e-13);
	ck_assert_double_eq(f.log_likelihood, f.log_likelihood_poisson);
	pd_count_extra_test(&f, &ratio, &p);
	ck_assert_double_eq(p, 1);
	ck_assert_int_eq(pd_count_theta_limits(&spec, &f, 0.95, &low, &high,
	                                       &err), PD_OK);
	ck_assert(isinf(high) && low > 1 && isfinite(low));
	/* At the limit the loss is 3.841459 / 2. */
	double at = 0;

	for (size_t i = 0; i < 8; i++)
		at += log_mass(y[i], 94.0 / 8, low);
	close_to("loss", 2 * (f.log_likelihood - at), 3.841458820694124, 1e-8);
}
END_TEST

/* Too numerous to count: one rate from counts and cut-off counts. */
START_TEST(too_numerous)
{
	static const double y[] = { 112, 150, 97, 150, 150, 141, 128 };
	static const unsigned char cut[] = { 0, 1, 0, 1, 1, 0, 0 };
	double ones[] = { 1, 1, 1, 1, 1, 1, 1 };
	double theta = _i ? 1 : INFINITY, value[3] = { 0, 0, 0 };
	pd_count_spec spec = { .n = 7, .p = 1, .x = ones, .y = y,
	                       .at_least = cut, .extra = _i };
	pd_count_fit f;

	ck_assert_int_eq(pd_count_regression(arena, &spec, &f, &err), PD_OK);
	ck_assert_uint_eq(f.n_cut, 3);
	ck_assert(isnan(f.deviance));
	if (_i)
		theta = f.theta;
	for (size_t i = 0; i < 7; i++)
		for (int d = -1; d < 2; d++) {
			double mu = exp(f.beta[0] + 1e-3 * d);

			value[d + 1] += cut[i] ? log_tail(y[i], mu, theta)
			                       : log_mass(y[i], mu, theta);
		}
	close_to("log-likelihood", f.log_likelihood, value[1], 1e-9);
	close_to("slope", (value[2] - value[0]) / 2e-3, 0, 2e-4);
	ck_assert_double_lt(value[0], value[1]);
	ck_assert_double_lt(value[2], value[1]);
	/* Above the mean of the counts as they stand. */
	ck_assert_double_gt(exp(f.beta[0]), 928.0 / 7);
}
END_TEST

/* Other units of a column, other exposure, other order: the same fit. */
START_TEST(same_in_other_units)
{
	pd_count_spec a = dishes(true), b = a;
	double x[DISHES * 3], y[DISHES], offset[DISHES];
	pd_count_fit f, g;

	for (size_t i = 0; i < DISHES; i++) {
		size_t k = (7 * i + 3) % DISHES;

		y[i] = colonies[k];
		offset[i] = log(250);
		for (size_t j = 0; j < 3; j++)
			x[3 * i + j] = dish_x[3 * k + j] *
			               (j == 2 ? 1e-6 : 1);
	}
	b.x = x;
	b.y = y;
	b.offset = offset;
	ck_assert_int_eq(pd_count_regression(arena, &a, &f, &err), PD_OK);
	ck_assert_int_eq(pd_count_regression(arena, &b, &g, &err), PD_OK);
	near("intercept", g.beta[0], f.beta[0] - log(250), 1e-11);
	near("slope", g.beta[2], 1e6 * f.beta[2], 1e-9);
	near("theta", g.theta, f.theta, 1e-9);
	near("log-likelihood", g.log_likelihood, f.log_likelihood, 1e-13);
}
END_TEST

/* ---- with groups -------------------------------------------------------- */

enum { GROUPS = 14, EACH = 5, ALL = GROUPS * EACH };

static struct {
	double x[ALL * 2], y[ALL], offset[ALL];
	int32_t group[ALL];
	unsigned char cut[ALL];
} grouped;

/* Counts of patients that differ by sd, scattered by theta (0: not). */
static pd_mixed_spec made_up(uint64_t seed, double mean, double sd,
                             double theta)
{
	pd_stream s;

	pd_stream_init(&s, seed, 0);
	memset(grouped.cut, 0, sizeof grouped.cut);
	for (size_t i = 0; i < ALL; i++) {
		size_t g = i / EACH;
		static double z;

		if (i % EACH == 0)
			z = pd_stream_normal(&s);
		grouped.group[i] = (int32_t)(3 * ((5 * g) % GROUPS) + 2);
		grouped.x[2 * i] = 1;
		grouped.x[2 * i + 1] = (double)(i % EACH);
		grouped.offset[i] = 0.1 * (double)(i % 3);
		double mu = mean * exp(sd * z - 0.15 * (double)(i % EACH) +
		                       grouped.offset[i]);

		if (theta > 0)
			mu *= pd_stream_chisq(&s, 2 * theta) / (2 * theta);
		double u = pd_stream_uniform(&s), sum = 0, y = 0;

		while ((sum += exp(log_mass(y, mu, INFINITY))) < u && y < 900)
			y++;
		grouped.y[i] = y;
	}
	return (pd_mixed_spec){
		.rows = { .n = ALL, .p = 2, .x = grouped.x, .y = grouped.y,
		          .offset = grouped.offset, .extra = theta > 0 },
		.group = grouped.group,
	};
}

/* The integral over each group's z by a plain trapezoid on -9 .. 9. */
static double brute(const pd_mixed_spec *m, const double *beta, double sd,
                    double theta)
{
	double total = 0, step = 18.0 / 6000;

	for (int32_t g = 0; g < 3 * GROUPS + 3; g++) {
		double sum = 0, top = -INFINITY, l[6001];
		int any = 0;

		for (int k = 0; k <= 6000; k++) {
			double z = -9 + step * k;

			l[k] = -0.5 * z * z - 0.5 * log(2 * M_PI);
			for (size_t i = 0; i < ALL; i++) {
				if (m->group[i] != g)
					continue;
				any = 1;
				double mu = exp(beta[0] + m->rows.offset[i] +
				                beta[1] * m->rows.x[2 * i + 1] +
				                sd * z);

				l[k] += m->rows.at_least &&
				        m->rows.at_least[i]
				            ? log_tail(m->rows.y[i], mu, theta)
				            : log_mass(m->rows.y[i], mu, theta);
			}
			if (!any)
				break;
			top = fmax(top, l[k]);
		}
		for (int k = 0; any && k <= 6000; k++)
			sum += exp(l[k] - top);
		if (any)
			total += top + log(sum * step);
	}
	return total;
}

static const struct {
	double mean, sd, theta, beta[2], at_sd, at_theta;
} integrals[] = {
	{ 6, 0.6, 0, { 1.7, -0.13 }, 0.55, INFINITY },
	{ 0.7, 1.1, 0, { -0.2, -0.2 }, 1.3, INFINITY },
	{ 30, 0.8, 0, { 3.5, -0.15 }, 0.9, INFINITY },
	{ 6, 0.6, 2.5, { 1.7, -0.1 }, 0.7, 3.3 },
	{ 30, 0.3, 1.2, { 3.2, -0.2 }, 0.4, 0.9 },
};

/* Many nodes give the integral; the slopes are those of the integral. */
START_TEST(integral_by_force)
{
	pd_mixed_spec m = made_up(31, integrals[_i].mean, integrals[_i].sd,
	                          integrals[_i].theta);
	double b[2] = { integrals[_i].beta[0], integrals[_i].beta[1] };
	double sd = integrals[_i].at_sd, theta = integrals[_i].at_theta;
	double value, slope[4], d = 1e-4, want, low, high;

	want = brute(&m, b, sd, theta);
	ck_assert_int_eq(pd_count_mixed_likelihood(&m, b, sd, theta, 61,
	                                           &value, slope, &err),
	                 PD_OK);
	close_to("integral", value, want, 1e-8);
	b[1] += d;
	high = brute(&m, b, sd, theta);
	b[1] -= 2 * d;
	low = brute(&m, b, sd, theta);
	b[1] += d;
	close_to("slope", slope[1], (high - low) / (2 * d), 1e-4);
	high = brute(&m, b, sd * exp(d), theta);
	low = brute(&m, b, sd * exp(-d), theta);
	close_to("slope, sd", slope[2], (high - low) / (2 * d), 1e-4);
	if (isinf(theta))
		return;
	high = brute(&m, b, sd, theta * exp(d));
	low = brute(&m, b, sd, theta * exp(-d));
	close_to("slope, theta", slope[3], (high - low) / (2 * d), 1e-4);
}
END_TEST

/* With few nodes the slopes are those of the approximation itself. */
START_TEST(slopes_of_the_rule)
{
	static const unsigned rule[] = { 1, 2, 3, 7 };
	pd_mixed_spec m = made_up(47, 4, 0.9, 1.9);
	double par[4] = { 1.2, -0.1, log(0.8), log(2.2) }, value, slope[4];
	double low, high, d = 1e-5;

	for (size_t i = 0; i < ALL; i += 11)
		grouped.cut[i] = 1;
	m.rows.at_least = grouped.cut;
	ck_assert_int_eq(pd_count_mixed_likelihood(&m, par, exp(par[2]),
	                                           exp(par[3]), rule[_i],
	                                           &value, slope, &err),
	                 PD_OK);
	for (size_t j = 0; j < 4; j++) {
		par[j] += d;
		pd_count_mixed_likelihood(&m, par, exp(par[2]), exp(par[3]),
		                          rule[_i], &high, NULL, &err);
		par[j] -= 2 * d;
		pd_count_mixed_likelihood(&m, par, exp(par[2]), exp(par[3]),
		                          rule[_i], &low, NULL, &err);
		par[j] += d;
		close_to("slope", slope[j], (high - low) / (2 * d), 1e-6);
	}
}
END_TEST

/* The top of the integral, not of the approximation: no neighbour and none
 * of the approximate fits stands higher. */
START_TEST(highest_of_all)
{
	pd_mixed_spec m = made_up(77, 5, 0.8, _i ? 2.1 : 0);
	pd_mixed_fit f, rough;
	pd_stream s;
	double top, value;

	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_OK);
	ck_assert_uint_ge(f.nodes, 5);
	ck_assert_double_le(f.node_change, 1e-7);
	ck_assert_double_gt(f.sd, 0);
	top = brute(&m, f.beta, f.sd, f.theta);
	close_to("integral", f.log_likelihood, top, 2e-7);
	double c[2] = { 0.7, -1.3 }, variance = 0;
	pd_estimate e;

	for (int a = 0; a < 2; a++)
		for (int b = 0; b < 2; b++)
			variance += c[a] * c[b] *
				    f.covariance[f.n_free * (size_t)a +
				                 (size_t)b];
	ck_assert_int_eq(pd_count_mixed_contrast(&f, c, 0.9, &e, &err), PD_OK);
	close_to("contrast", e.value, 0.7 * f.beta[0] - 1.3 * f.beta[1], 1e-12);
	close_to("its error", e.se, sqrt(variance), 1e-12);
	close_to("its limit", e.high, e.value + 1.6448536269514722 * e.se,
	         1e-12);
	m.nodes = 1;
	ck_assert_int_eq(pd_count_mixed(arena, &m, &rough, &err), PD_OK);
	ck_assert_uint_eq(rough.nodes, 1);
	ck_assert_double_lt(brute(&m, rough.beta, rough.sd, rough.theta), top);
	pd_stream_init(&s, 5, 0);
	for (int k = 0; k < 1000; k++) {
		double size = k % 2 ? 0.3 : 0.01, b[2];

		b[0] = f.beta[0] + size * pd_stream_normal(&s);
		b[1] = f.beta[1] + 0.3 * size * pd_stream_normal(&s);
		ck_assert_int_eq(pd_count_mixed_likelihood(
		    &m, b, f.sd * exp(size * pd_stream_normal(&s)),
		    f.theta * (_i ? exp(size * pd_stream_normal(&s)) : 1), 61,
		    &value, NULL, &err), PD_OK);
		ck_assert_double_lt(value, top);
	}
}
END_TEST

/* Too numerous to count in a model with patients, against the integral. */
START_TEST(too_numerous_in_groups)
{
	pd_mixed_spec m = made_up(91, 9, 0.7, 0);
	pd_mixed_fit f, blind;

	for (size_t i = 0; i < ALL; i++)
		if (grouped.y[i] >= 15) {
			grouped.y[i] = 15;
			grouped.cut[i] = 1;
		}
	ck_assert_int_eq(pd_count_mixed(arena, &m, &blind, &err), PD_OK);
	m.rows.at_least = grouped.cut;
	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_OK);
	ck_assert_uint_gt(f.n_cut, 3);
	close_to("integral", f.log_likelihood,
	         brute(&m, f.beta, f.sd, f.theta), 1e-6);
	/* The ceiling read as a count flattens the patients. */
	ck_assert_double_gt(f.sd, blind.sd);
}
END_TEST

/* Patients that do not differ: sd is 0 exactly and the plain fit stands. */
START_TEST(no_group_scatter)
{
	pd_mixed_spec m = made_up(7, 8, 0, 0);
	pd_mixed_fit f;
	pd_count_fit plain;
	double ratio, p;

	for (size_t i = 0; i < ALL; i++)
		grouped.y[i] = 7 + (double)(i % EACH == 2);
	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_OK);
	ck_assert_double_eq(f.sd, 0);
	ck_assert(isnan(f.se_log_sd));
	ck_assert_uint_eq(f.n_free, 2);
	ck_assert_int_eq(pd_count_regression(arena, &m.rows, &plain, &err),
	                 PD_OK);
	near("slope", f.beta[1], plain.beta[1], 1e-12);
	near("variance", f.covariance[3], plain.covariance[3], 1e-12);
	pd_count_mixed_test(&f, &ratio, &p);
	ck_assert_double_eq(p, 1);
}
END_TEST

/* Rows in another order, patients with other codes, other units. */
START_TEST(same_with_groups_renamed)
{
	pd_mixed_spec a = made_up(123, 7, 0.6, 3), b = a;
	double x[ALL * 2], y[ALL], offset[ALL];
	int32_t group[ALL];
	pd_mixed_fit f, g;

	for (size_t i = 0; i < ALL; i++) {
		size_t k = (29 * i + 11) % ALL;

		x[2 * i] = 1;
		x[2 * i + 1] = grouped.x[2 * k + 1] / 30;
		y[i] = grouped.y[k];
		offset[i] = grouped.offset[k] + log(7);
		group[i] = 1000 - grouped.group[k];
	}
	b.rows.x = x;
	b.rows.y = y;
	b.rows.offset = offset;
	b.group = group;
	ck_assert_int_eq(pd_count_mixed(arena, &a, &f, &err), PD_OK);
	ck_assert_int_eq(pd_count_mixed(arena, &b, &g, &err), PD_OK);
	near("slope", g.beta[1], 30 * f.beta[1], 1e-8);
	near("intercept", g.beta[0], f.beta[0] - log(7), 1e-8);
	near("sd", g.sd, f.sd, 1e-8);
	near("theta", g.theta, f.theta, 1e-7);
	near("se", sqrt(g.covariance[g.n_free + 1]),
	     30 * sqrt(f.covariance[f.n_free + 1]), 1e-6);
	ck_assert_int_eq(f.code[0], 2);
	near("effect", g.effect[GROUPS - 1], f.effect[0], 1e-6);
}
END_TEST

/* ---- refusals ----------------------------------------------------------- */

static pd_count_spec spoiled;
static double bad_x[10], bad_y[5];
static int32_t bad_group[5];

static void spoil(void)
{
	static const double y[] = { 4, 0, 7, 2, 5 };

	for (size_t i = 0; i < 5; i++) {
		bad_x[2 * i] = 1;
		bad_x[2 * i + 1] = (double)(i == 1);
		bad_y[i] = y[i];
		bad_group[i] = (int32_t)(i / 2);
	}
	spoiled = (pd_count_spec){ .n = 5, .p = 2, .x = bad_x, .y = bad_y };
}

static void dependent(void)
{
	for (int i = 0; i < 5; i++)
		bad_x[2 * i + 1] = 3;
}

static void all_zero(void)
{
	memset(bad_y, 0, sizeof bad_y);
}

static void half_count(void)
{
	bad_y[3] = 2.5;
}

static void below_zero(void)
{
	bad_y[3] = -1;
}

static void not_finite(void)
{
	bad_x[7] = INFINITY;
}

/* The one row of column 2 has count 0 as it stands. */
static void set_apart(void)
{
	bad_y[1] = 0;
}

static void reference_apart(void)
{
	for (int i = 0; i < 5; i++)
		bad_x[2 * i + 1] = i != 1;
}

static void few_rows(void)
{
	spoiled.n = 2;
}

static void no_columns(void)
{
	spoiled.p = 0;
}

static const struct {
	void (*make)(void);
	pd_status status;
	const char *says;
} bad[] = {
	{ dependent, PD_REFUSED, "column 2" },
	{ all_zero, PD_REFUSED, "all 5 counts are 0" },
	{ half_count, PD_DATA, "row 4: 2.5 is not a count" },
	{ below_zero, PD_DATA, "row 4: -1 is not a count" },
	{ not_finite, PD_DATA, "row 4, column 2" },
	{ set_apart, PD_REFUSED, "column 2 of the model runs to infinity" },
	{ reference_apart, PD_REFUSED, "runs to infinity" },
	{ few_rows, PD_REFUSED, "2 rows for 2 columns" },
	{ no_columns, PD_REFUSED, "no columns" },
};

START_TEST(refusals)
{
	pd_count_fit f;
	pd_mixed_fit g;

	for (int extra = 0; extra < 2; extra++) {
		spoil();
		bad[_i].make();
		spoiled.extra = extra;
		ck_assert_int_eq(pd_count_regression(arena, &spoiled, &f,
		                                     &err),
		                 bad[_i].status);
		ck_assert_msg(strstr(err.text, bad[_i].says) != NULL,
		              "said: %s", err.text);
		pd_mixed_spec m = { spoiled, bad_group, 0 };

		ck_assert_int_eq(pd_count_mixed(arena, &m, &g, &err),
		                 bad[_i].status);
	}
}
END_TEST

START_TEST(group_refusals)
{
	pd_mixed_spec m;
	pd_mixed_fit f;

	spoil();
	bad_y[1] = 3;
	m = (pd_mixed_spec){ spoiled, bad_group, 0 };
	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_OK);
	m.nodes = PD_COUNT_MOST_NODES + 1;
	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_DATA);
	m.nodes = 0;
	for (int32_t i = 0; i < 5; i++)
		bad_group[i] = i;
	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_REFUSED);
	memset(bad_group, 0, sizeof bad_group);
	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_REFUSED);
	bad_group[2] = -1;
	ck_assert_int_eq(pd_count_mixed(arena, &m, &f, &err), PD_DATA);
}
END_TEST

/* Anything at all: an answer that is finite, or a status. */
START_TEST(random_counts)
{
	pd_stream s;
	int answered = 0;

	pd_stream_init(&s, 2718, 0);
	for (int k = 0; k < 300; k++) {
		pd_mixed_spec m = { { .n = 6 + pd_stream_below(&s, 20), .p = 2,
		                      .x = grouped.x, .y = grouped.y,
		                      .extra = k % 2 }, grouped.group, 0 };
		double scale = pow(10, 3 * pd_stream_uniform(&s) - 1);
		pd_mixed_fit f;

		for (size_t i = 0; i < m.rows.n; i++) {
			double u = pd_stream_uniform(&s);

			grouped.x[2 * i] = 1;
			grouped.x[2 * i + 1] = pd_stream_normal(&s);
			grouped.y[i] = floor(scale * -log(u) *
			                     (double)pd_stream_below(&s, 3));
			grouped.group[i] = (int32_t)pd_stream_below(&s, 5);
		}
		if (pd_count_mixed(arena, &m, &f, &err) != PD_OK)
			continue;
		answered++;
		ck_assert(isfinite(f.beta[0]) && isfinite(f.beta[1]));
		ck_assert(isfinite(f.log_likelihood) && isfinite(f.sd));
		ck_assert(f.covariance[0] > 0 && isfinite(f.covariance[0]));
		ck_assert(f.log_likelihood >= f.log_likelihood_fixed - 1e-6);
	}
	ck_assert_int_gt(answered, 240);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("count");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 600);
	tcase_add_loop_test(t, row_value, 0, ROWS(places));
	tcase_add_loop_test(t, row_slopes, 0, ROWS(places));
	tcase_add_test(t, published_dishes);
	tcase_add_test(t, one_rate);
	tcase_add_loop_test(t, score_is_zero, 0, 2);
	tcase_add_test(t, no_extra_scatter);
	tcase_add_loop_test(t, too_numerous, 0, 2);
	tcase_add_test(t, same_in_other_units);
	tcase_add_loop_test(t, integral_by_force, 0, ROWS(integrals));
	tcase_add_loop_test(t, slopes_of_the_rule, 0, 4);
	tcase_add_loop_test(t, highest_of_all, 0, 2);
	tcase_add_test(t, too_numerous_in_groups);
	tcase_add_test(t, no_group_scatter);
	tcase_add_test(t, same_with_groups_renamed);
	tcase_add_loop_test(t, refusals, 0, ROWS(bad));
	tcase_add_test(t, group_refusals);
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
