/*
 * check_dishes.c - replicate dishes: the pooled index of dispersion.
 *
 * Known answers: R 4.2.2 chisq.test, pchisq and dmultinom; laws of sums worked
 * out here by convolution.
 */
#include "stats/counts.h"
#include "stats/dish_spread.h"
#include "stats/dishes.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

static pd_dishes test(const pd_dishes_spec *s)
{
	pd_dishes d;
	pd_status st = pd_dishes_test(arena, s, &d, &err);

	if (st != PD_OK)
		ck_abort_msg("%s", err.text);
	return d;
}

/* Three samples, one with a dish too numerous to count, one with a single
 * dish, one empty. R 4.2.2: sums of (x - m)^2 / m, pchisq. */
static const double many[] = { 14, 22, 18, 5, 31, 18, 9, 12, 300, 7, 0, 0 };
static const double on[] = { 1, 1, 1, 1, 2, 1.5, 0.5, 0.7, 1, 2, 1, 1 };
static const unsigned char over[] = { 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0 };
static const int32_t from[] = { 4, 4, 4, 2, 2, 2, 9, 9, 9, 11, 13, 13 };

static pd_dishes_spec known(void)
{
	return (pd_dishes_spec){ .n = 12, .count = many, .exposure = on,
	                         .at_least = over, .sample = from };
}

START_TEST(pooled)
{
	pd_dishes_spec s = known();
	pd_dishes d = test(&s);

	ck_assert_uint_eq(d.n_samples, 3);
	ck_assert_uint_eq(d.n_dishes, 8);
	ck_assert_uint_eq(d.n_single, 1);
	ck_assert_uint_eq(d.n_empty, 1);
	ck_assert_uint_eq(d.n_all, 5);
	ck_assert_uint_eq(d.n_cut, 1);
	ck_assert_uint_eq(d.cut[0], 8);
	ck_assert_int_eq(d.law, PD_DISHES_CHISQ);
	close_to("index", d.index, 7.91502267573696, 1e-12);
	close_to("df", d.df, 5, 0);
	close_to("factor", d.factor, 7.91502267573696 / 5, 1e-12);
	close_to("p", d.p, 0.16098149622513, 1e-13);
	ck_assert_double_eq(d.p, d.p_chisq);
	ck_assert_double_eq(d.p_error, 0);
	close_to("mean", d.mean, 129.0 / 8, 1e-13);
	/* chisq.test(c(5, 31, 18), p = c(1, 2, 1.5) / 4.5) */
	ck_assert_int_eq(d.sample[0].code, 2);
	close_to("one sample", d.sample[0].index, 6.125, 1e-13);
	close_to("its rate", d.sample[0].rate, 54 / 4.5, 1e-13);
	ck_assert_uint_eq(d.sample[2].cut, 1);
	ck_assert(isnan(d.sample[3].index) && isnan(d.sample[4].p));
}
END_TEST

/* Between samples: R 4.2.2, as above with the samples' totals. */
START_TEST(samples_differ)
{
	pd_dishes_spec s = known();
	pd_dishes d;

	s.n = 9;
	d = test(&s);
	close_to("between", d.between, 5.0406976744186061, 1e-12);
	close_to("its df", d.between_df, 2, 0);
	close_to("its p", d.between_p, 0.0804315443397432, 1e-13);
	s.n = 3;
	ck_assert(isnan(test(&s).between));
}
END_TEST

/* 14, 22, 18 as counting scatters; 5, 31, 18 not. */
START_TEST(one_sample)
{
	static const double bad[] = { 5, 31, 18 };
	static const int32_t one[3] = { 0 };
	pd_dishes_spec s = { .n = 3, .count = many, .sample = one };

	close_to("index", test(&s).index, 16.0 / 9, 1e-13);
	close_to("p", test(&s).p, exp(-8.0 / 9), 1e-13);
	s.count = bad;
	close_to("index", test(&s).index, 169.0 / 9, 1e-12);
	close_to("p", test(&s).p, exp(-169.0 / 18), 1e-15);
}
END_TEST

/* Few colonies: R 4.2.2, dmultinom over all ways to share 5 among three equal
 * dishes and 3 among two of exposures 1 and 2. */
START_TEST(few_colonies)
{
	static const double count[] = { 4, 0, 1, 0, 3 };
	static const double exposure[] = { 1, 1, 1, 1, 2 };
	static const int32_t sample[] = { 0, 0, 0, 1, 1 };
	pd_dishes_spec s = { .n = 5, .count = count, .exposure = exposure,
	                     .sample = sample };
	pd_dishes d = test(&s);

	ck_assert_int_eq(d.law, PD_DISHES_EXACT);
	close_to("index", d.index, 6.699999999999999, 1e-12);
	close_to("p", d.p, 0.099222679469593, 1e-13);
	ck_assert_double_gt(fabs(d.p_chisq - d.p), 0.01);
}
END_TEST

enum { SAMPLES = 12, EACH = 3, COLONIES = 4, LATTICE = 16 * SAMPLES + 1 };

/* Twelve samples of 4 colonies on 3 dishes: the sum of squares of one sample
 * is 6, 8, 10 or 16 with chances 36, 18, 24 and 3 of 81; convolved here. */
static double chance_of_squares(int at_least)
{
	static const int value[] = { 6, 8, 10, 16 };
	static const double ways[] = { 36, 18, 24, 3 };
	double law[LATTICE] = { 1 }, p = 0;

	for (int s = 0; s < SAMPLES; s++) {
		double next[LATTICE] = { 0 };

		for (int k = 0; k < LATTICE; k++)
			for (int w = 0; w < 4 && law[k] > 0; w++)
				next[k + value[w]] += law[k] * ways[w] / 81;
		memcpy(law, next, sizeof law);
	}
	for (int k = at_least; k < LATTICE; k++)
		p += law[k];
	return p;
}

START_TEST(drawn_as_convolved)
{
	double count[SAMPLES * EACH];
	int32_t sample[SAMPLES * EACH];
	pd_dishes_spec s = { .n = SAMPLES * EACH, .count = count,
	                     .sample = sample, .seed = 71 };
	int squares = 0;
	pd_dishes d, again;

	for (int k = 0; k < SAMPLES; k++) {
		static const double kind[3][3] = { { 2, 1, 1 }, { 1, 3, 0 },
		                                   { 0, 0, 4 } };

		for (int j = 0; j < EACH; j++) {
			count[EACH * k + j] = kind[k % 3][j];
			sample[EACH * k + j] = 100 - k;
			squares += (int)(kind[k % 3][j] * kind[k % 3][j]);
		}
	}
	d = test(&s);
	again = test(&s);
	ck_assert_int_eq(d.law, PD_DISHES_DRAWN);
	ck_assert_uint_eq(d.draws, 19999);
	close_to("index", d.index, squares * 3.0 / COLONIES -
	         SAMPLES * COLONIES, 1e-11);
	close_to("p", d.p, chance_of_squares(squares), 4 * d.p_error);
	ck_assert_double_eq(d.p, again.p);
	s.seed = 72;
	ck_assert_double_ne(d.p, test(&s).p);
	s.draws = 999;
	ck_assert_uint_eq(test(&s).draws, 999);
}
END_TEST

/* Patients that differ are no scatter between dishes: a set whose dishes are
 * fair is called so at the nominal rate whatever the samples' means. */
START_TEST(fair_dishes)
{
	enum { SETS = 400, N = 24 };
	double count[N], exposure[N];
	int32_t sample[N];
	pd_dishes_spec s = { .n = N, .count = count, .exposure = exposure,
	                     .sample = sample, .draws = 999 };
	pd_stream stream;
	int called = 0, sets = 0;

	pd_stream_init(&stream, 33, 0);
	for (int k = 0; k < SETS; k++) {
		pd_dishes d;
		double z = 0;

		for (int i = 0; i < N; i++) {
			double mu, u, sum, y = 0;

			if (i % 3 == 0)
				z = exp(1.1 * pd_stream_normal(&stream));
			exposure[i] = 1 + i % 2;
			mu = (_i ? 8 : 1.2) * z * exposure[i];
			u = pd_stream_uniform(&stream);
			for (sum = exp(-mu); sum < u && y < 900; y++)
				sum += exp((y + 1) * log(mu) - mu -
				           lgamma(y + 2));
			count[i] = y;
			sample[i] = i / 3;
		}
		if (pd_dishes_test(arena, &s, &d, &err) != PD_OK)
			continue;
		sets++;
		called += d.p <= 0.05;
	}
	ck_assert_int_gt(sets, SETS - 3);
	/* 5 % of 400 is 20, its standard error 4.4 */
	ck_assert(called >= 6 && called <= 34);
}
END_TEST

/* Other order, other codes, exposures in other units. */
START_TEST(same_in_other_units)
{
	pd_dishes_spec s = known(), t = s;
	double count[12], exposure[12];
	unsigned char cut[12];
	int32_t sample[12];
	pd_dishes a = test(&s), b;

	for (size_t i = 0; i < 12; i++) {
		size_t k = (5 * i + 3) % 12;

		count[i] = many[k];
		exposure[i] = on[k] * (_i ? 0x1p30 : 0x1p-30);
		cut[i] = over[k];
		sample[i] = 1000 - 7 * from[k];
	}
	t.count = count;
	t.exposure = exposure;
	t.at_least = cut;
	t.sample = sample;
	b = test(&t);
	close_to("index", b.index, a.index, 1e-13);
	close_to("p", b.p, a.p, 1e-14);
	close_to("between", b.between, a.between, 1e-12);
	ck_assert_uint_eq(b.n_cut, 1);
	ck_assert_double_eq(many[8], count[b.cut[0]]);
}
END_TEST

START_TEST(refusals)
{
	double count[] = { 3, 4, 0, 0, 2 }, exposure[] = { 1, 2, 1, 1, 1 };
	unsigned char cut[5] = { 0 };
	int32_t sample[] = { 0, 0, 1, 1, 2 };
	pd_dishes_spec s = { .n = 5, .count = count, .exposure = exposure,
	                     .at_least = cut, .sample = sample };
	pd_dishes d;

	ck_assert_int_eq(pd_dishes_test(arena, &s, &d, &err), PD_OK);
	cut[1] = 1;
	ck_assert_int_eq(pd_dishes_test(arena, &s, &d, &err), PD_REFUSED);
	ck_assert_msg(strstr(err.text, "(1 dishes too numerous") != NULL,
	              "said: %s", err.text);
	exposure[3] = 0;
	ck_assert_int_eq(pd_dishes_test(arena, &s, &d, &err), PD_DATA);
	ck_assert_msg(strstr(err.text, "row 4: exposure 0") != NULL,
	              "said: %s", err.text);
	count[2] = 0.5;
	ck_assert_int_eq(pd_dishes_test(arena, &s, &d, &err), PD_DATA);
	ck_assert_msg(strstr(err.text, "row 3: 0.5 is not") != NULL,
	              "said: %s", err.text);
	sample[0] = -2;
	ck_assert_int_eq(pd_dishes_test(arena, &s, &d, &err), PD_DATA);
	s.n = 0;
	ck_assert_int_eq(pd_dishes_test(arena, &s, &d, &err), PD_REFUSED);
}
END_TEST

/* By hand: 14, 22, 18 have mean 18 and variance 16, 5, 31, 18 mean 18 and
 * variance 169; c^2 = 2 (16 - 18 + 169 - 18) / 2 (2 * 324 - 16/3 - 169/3)
 * = 149 / 586.333. Index 32/18 and 338/18, upper tails exp(-x/2) on 2 df. */
START_TEST(spread_by_hand)
{
	static const double quiet[] = { 14, 22, 18 }, odd[] = { 5, 31, 18 };
	static const double none[] = { 0, 0, 0 };
	pd_dish_spread s = { 0 };
	pd_dispersion d = pd_count_dispersion(quiet, 3);

	ck_assert(isnan(pd_dish_spread_cv(&s)));
	close_to("index", d.index, 1.7777777777777777, 1e-12);
	close_to("p", d.p, 0.4111123, 5e-8);
	d = pd_count_dispersion(odd, 3);
	close_to("index", d.index, 18.777777777777779, 1e-12);
	close_to("p", d.p, exp(-18.777777777777779 / 2), 1e-15);
	close_to("p", d.p, 8.3648e-5, 5e-9);
	pd_dish_spread_add(&s, quiet, 3, 0.001);
	close_to("quiet", pd_dish_spread_cv(&s), 0, 0);
	ck_assert_uint_eq(s.n_failing, 0);
	pd_dish_spread_add(&s, none, 3, 0.001);
	pd_dish_spread_add(&s, odd, 1, 0.001);
	pd_dish_spread_add(&s, odd, 3, 0.001);
	close_to("both", pd_dish_spread_cv(&s),
	         sqrt(149 / (648 - 185 / 3.0)), 1e-12);
	ck_assert_uint_eq(s.n_failing, 1);
	ck_assert_uint_eq(s.n_samples, 2);
	ck_assert_uint_eq(s.n_dishes, 6);
	ck_assert_uint_eq(s.n_empty, 1);
	ck_assert_uint_eq(s.n_single, 1);
	s = (pd_dish_spread){ 0 };
	pd_dish_spread_add(&s, odd, 3, 0.001);
	close_to("odd alone", pd_dish_spread_cv(&s),
	         sqrt(151 / (324 - 169 / 3.0)), 1e-12);
}
END_TEST

/* Dishes whose rates vary by c, samples of means 4 to 60: c comes back within
 * four Monte Carlo errors, and fair dishes fail in about 1 of 1000. */
START_TEST(spread_comes_back)
{
	static const double c[] = { 0, 0.1, 0.2236068, 0.5 };
	static const double within[] = { 0.03, 0.02, 0.015, 0.02 };
	pd_stream stream;
	pd_dish_spread s = { 0 };

	pd_stream_init(&stream, 77, (uint64_t)_i);
	for (int k = 0; k < 20000; k++) {
		double mean = 4 + 56 * pd_stream_uniform(&stream), dish[3];

		for (int j = 0; j < 3; j++) {
			double rate = mean;

			if (c[_i] > 0)
				rate *= pd_stream_gamma(&stream,
				                        1 / (c[_i] * c[_i])) *
				        c[_i] * c[_i];
			dish[j] = pd_stream_poisson(&stream, rate);
		}
		pd_dish_spread_add(&s, dish, 3, 0.001);
	}
	close_to("c", pd_dish_spread_cv(&s), c[_i], within[_i]);
	if (_i == 0)
		ck_assert(s.n_failing > 5 && s.n_failing < 45);
}
END_TEST

/* phyper, fisher.test of R 4.2.2. */
START_TEST(marked_among_drawn)
{
	close_to("2 of 8", pd_hypergeometric_upper(2, 8, 7, 20),
	         0.894427244582, 1e-12);
	close_to("4 of 11", pd_hypergeometric_upper(4, 11, 9, 40),
	         0.190130533010, 1e-12);
	close_to("all", pd_hypergeometric_upper(0, 5, 3, 20), 1, 0);
	close_to("large", pd_hypergeometric_upper(21, 242, 382, 7643),
	         0.00944172503229, 1e-12);
	close_to("four", pd_hypergeometric_upper(3, 4, 4, 8),
	         0.242857142857, 1e-12);
	close_to("too many", pd_hypergeometric_upper(5, 4, 4, 8), 0, 0);
	close_to("must", pd_hypergeometric_upper(1, 5, 4, 8), 1, 1e-15);
	ck_assert(isnan(pd_hypergeometric_upper(1, 9, 4, 8)));
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("dishes");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 600);
	tcase_add_test(t, pooled);
	tcase_add_test(t, samples_differ);
	tcase_add_test(t, one_sample);
	tcase_add_test(t, few_colonies);
	tcase_add_test(t, drawn_as_convolved);
	tcase_add_loop_test(t, fair_dishes, 0, 2);
	tcase_add_loop_test(t, same_in_other_units, 0, 2);
	tcase_add_test(t, refusals);
	tcase_add_test(t, spread_by_hand);
	tcase_add_loop_test(t, spread_comes_back, 0, 4);
	tcase_add_test(t, marked_among_drawn);
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
