/*
 * check_stream.c - random streams: the generator's own test vectors, streams
 * that do not depend on each other, the laws of what is drawn.
 */
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

#define ROWS(table) (int)(sizeof table / sizeof *table)

/* Test vectors published with the generator (quoted from memory; a wrong digit
 * could not agree by chance). */
static const struct {
	uint32_t counter[4], key[2], out[4];
} philox[] = {
	{ { 0, 0, 0, 0 }, { 0, 0 },
	  { 0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8 } },
	{ { 0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff },
	  { 0xffffffff, 0xffffffff },
	  { 0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd } },
	{ { 0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344 },
	  { 0xa4093822, 0x299f31d0 },
	  { 0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1 } },
};

START_TEST(philox_vectors)
{
	uint32_t out[4];

	pd_stream_block(philox[_i].counter, philox[_i].key, out);
	for (int k = 0; k < 4; k++)
		ck_assert_uint_eq(out[k], philox[_i].out[k]);
}
END_TEST

START_TEST(streams_stand_alone)
{
	pd_stream a, b, c;
	uint64_t first[5];

	pd_stream_init(&a, 20251125, 3);
	for (int k = 0; k < 5; k++)
		first[k] = pd_stream_bits(&a);
	pd_stream_init(&b, 20251125, 4);
	pd_stream_init(&c, 20251126, 3);
	ck_assert(pd_stream_bits(&b) != first[0]);
	ck_assert(pd_stream_bits(&c) != first[0]);
	pd_stream_init(&b, 20251125, 3); /* the same again, interleaved */
	for (int k = 0; k < 5; k++) {
		pd_stream_bits(&c);
		ck_assert(pd_stream_bits(&b) == first[k]);
	}
}
END_TEST

/* Sample mean and variance within 4.5 standard errors of the law's. */
static void moments(const char *what, const double *x, int n, double mean,
                    double variance, double fourth)
{
	double m = 0, v = 0;

	for (int i = 0; i < n; i++)
		m += x[i] / n;
	for (int i = 0; i < n; i++)
		v += (x[i] - mean) * (x[i] - mean) / n;
	ck_assert_msg(fabs(m - mean) < 4.5 * sqrt(variance / n),
	              "%s: mean %g, wanted %g", what, m, mean);
	ck_assert_msg(fabs(v - variance) <
	                  4.5 * sqrt((fourth - variance * variance) / n),
	              "%s: variance %g, wanted %g", what, v, variance);
}

START_TEST(laws_of_the_draws)
{
	enum { N = 20000 };
	static double x[N];
	pd_stream s;

	pd_stream_init(&s, 7, 0);
	for (int i = 0; i < N; i++) {
		x[i] = pd_stream_uniform(&s);
		ck_assert(x[i] > 0 && x[i] < 1);
	}
	moments("uniform", x, N, 0.5, 1.0 / 12, 1.0 / 80);
	for (int i = 0; i < N; i++)
		x[i] = pd_stream_normal(&s);
	moments("normal", x, N, 0, 1, 3);
	for (int i = 0; i < N; i++)
		x[i] = pd_stream_chisq(&s, 4.4);
	moments("chi-square", x, N, 4.4, 8.8, 12 * 4.4 * (4.4 + 4));
	for (int i = 0; i < N; i++)
		x[i] = (double)pd_stream_below(&s, 7);
	moments("below", x, N, 3, 4, 28);
	ck_assert(pd_stream_below(&s, 0) == 0 && pd_stream_below(&s, 1) == 0);
}
END_TEST

/* Standard normal between a and b, mean by the usual formula. */
static const struct {
	double a, b, mean;
} cut[] = {
	{ -INFINITY, -0.3, -1 }, { 1.7, INFINITY, 1 }, { -0.4, 2.2, 0 },
	{ 8.5, 8.9, 1 }, { 33, INFINITY, 33.0302478 }, { -45.1, -45, -45.0211 },
};

START_TEST(truncated_draws)
{
	enum { N = 4000 };
	double a = cut[_i].a, b = cut[_i].b, sum = 0, want = cut[_i].mean;
	pd_stream s;

	if (fabs(want) < 2) { /* closed form, no underflow here */
		double mass = pd_normal_upper(a) - pd_normal_upper(b);
		double top = exp(-a * a / 2) - exp(-b * b / 2);

		want = top / sqrt(2 * M_PI) / mass;
	}
	pd_stream_init(&s, 11, (uint64_t)_i);
	for (int i = 0; i < N; i++) {
		double x = pd_stream_truncated(&s, 5, 2, 5 + 2 * a, 5 + 2 * b);

		ck_assert(x > 5 + 2 * a && x < 5 + 2 * b); /* none clipped */
		sum += (x - 5) / 2;
	}
	/* no such law has an SD above 1, half its width, or the exponential's */
	double sd = fmin(fmin(1, (b - a) / 2), 1 / fmin(fabs(a), fabs(b)));

	ck_assert_msg(fabs(sum / N - want) < 5 * sd / sqrt(N),
	              "mean %.7g, wanted %.7g", sum / N, want);
}
END_TEST

START_TEST(truncated_ends)
{
	pd_stream s;

	pd_stream_init(&s, 1, 1);
	ck_assert(pd_stream_truncated(&s, 0, 1, 2.5, 2.5) == 2.5);
	ck_assert(pd_stream_truncated(&s, 9, 0, 2.5, 3.5) == 3.5);
	ck_assert(isnan(pd_stream_truncated(&s, 0, 1, 3, 2)));
	ck_assert(isnan(pd_stream_truncated(&s, 0, -1, 2, 3)));
	ck_assert(isnan(pd_stream_truncated(&s, NAN, 1, 2, 3)));
}
END_TEST

int main(void)
{
	Suite *s = suite_create("stream");
	TCase *t = tcase_create("all");

	tcase_add_loop_test(t, philox_vectors, 0, ROWS(philox));
	tcase_add_test(t, streams_stand_alone);
	tcase_add_test(t, laws_of_the_draws);
	tcase_add_loop_test(t, truncated_draws, 0, ROWS(cut));
	tcase_add_test(t, truncated_ends);
	suite_add_tcase(s, t);
	SRunner *run = srunner_create(s);

	srunner_run_all(run, CK_NORMAL);
	int failed = srunner_ntests_failed(run);

	printf("%d passed, %d failed\n", srunner_ntests_run(run) - failed,
	       failed);
	srunner_free(run);
	return failed ? 1 : 0;
}
