/*
 * check_count.c - regression of counts.
 *
 * Known answers: R 4.2.2 glm and MASS 7.3-58.2 glm.nb on a published table of
 * colonies; closed forms; sums over the whole distribution, written here.
 */
#include "stats/count.h"
#include "stats/count_row.h"

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

/* A mean that is no number ends at once and says so. */
START_TEST(row_too_far)
{
	pd_count_table table;
	pd_count_slopes s;

	ck_assert_int_eq(pd_count_table_new(arena, 9, &table, &err), PD_OK);
	for (int k = 0; k < 4; k++) {
		pd_count_table_set(&table, k < 2 ? INFINITY : 1.7);
		pd_count_row(&table, 2, k % 2, 2363.5, &s);
		ck_assert(isnan(s.l) && isnan(s.e) && isnan(s.ee));
		pd_count_row(&table, 2, k % 2, -800, &s);
		ck_assert(!isnan(s.e) && s.l < -700);
	}
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

/* ---- refusals ----------------------------------------------------------- */

static pd_count_spec spoiled;
static double bad_x[10], bad_y[5];

static void spoil(void)
{
	static const double y[] = { 4, 0, 7, 2, 5 };

	for (size_t i = 0; i < 5; i++) {
		bad_x[2 * i] = 1;
		bad_x[2 * i + 1] = (double)(i == 1);
		bad_y[i] = y[i];
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

	for (int extra = 0; extra < 2; extra++) {
		spoil();
		bad[_i].make();
		spoiled.extra = extra;
		ck_assert_int_eq(pd_count_regression(arena, &spoiled, &f,
		                                     &err),
		                 bad[_i].status);
		ck_assert_msg(strstr(err.text, bad[_i].says) != NULL,
		              "said: %s", err.text);
	}
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
	tcase_add_test(t, row_too_far);
	tcase_add_test(t, published_dishes);
	tcase_add_test(t, one_rate);
	tcase_add_loop_test(t, score_is_zero, 0, 2);
	tcase_add_test(t, no_extra_scatter);
	tcase_add_loop_test(t, too_numerous, 0, 2);
	tcase_add_test(t, same_in_other_units);
	tcase_add_loop_test(t, refusals, 0, ROWS(bad));
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
