/*
 * check_simulate.c - the machinery that judges coverage: binomial sums, the
 * bounds of the quick run, the same counts on any number of threads, kept
 * counts and the page.
 *
 * Binomial values: exact fractions worked out by hand.
 */
#include "simulate/run.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

START_TEST(binomial_by_hand)
{
	/* (1 + 3) / 8; 0.7^3; 1 - 0.3^4; 0.9^5 + 5 0.1 0.9^4 */
	ck_assert_double_eq_tol(sim_binomial(1, 3, 0.5), 0.5, 1e-14);
	ck_assert_double_eq_tol(sim_binomial(0, 3, 0.3), 0.343, 1e-14);
	ck_assert_double_eq_tol(sim_binomial(3, 4, 0.3), 0.9919, 1e-14);
	ck_assert_double_eq_tol(sim_binomial(1, 5, 0.1), 0.91854, 1e-14);
	ck_assert_double_eq_tol(sim_binomial(10000, 10000, 0.95), 1, 1e-9);
}
END_TEST

/* The bounds let a true 95 % pass and stop 90 %, both by their own sums. */
START_TEST(bounds)
{
	static const uint64_t n[] = { 1200, 1500, 2000 };
	sim_method m = { "m", SIM_NEAR, 0.95, 0, NULL };
	uint64_t least, most;
	double weak;

	sim_limits_of(&m, n[_i], &least, &most, &weak);
	ck_assert(sim_binomial(least - 1, n[_i], 0.95) <= 1e-4);
	ck_assert(sim_binomial(least, n[_i], 0.95) > 1e-4);
	ck_assert(1 - sim_binomial(most, n[_i], 0.95) <= 1.1e-4);
	ck_assert_double_eq_tol(weak, 1 - sim_binomial(least - 1, n[_i], 0.9),
	                        1e-9);
	ck_assert(weak < 0.01);
	m.rule = SIM_MOST;
	m.asked = 0.05;
	sim_limits_of(&m, n[_i], &least, &most, &weak);
	ck_assert_uint_eq(least, 0);
	ck_assert(1 - sim_binomial(most, n[_i], 0.05) <= 1.1e-4);
	ck_assert(weak < 0.01);
	m.rule = SIM_SHOWN;
	sim_limits_of(&m, n[_i], &least, &most, &weak);
	ck_assert(least == 0 && most == n[_i]);
}
END_TEST

/* A true share of 0.9 (claims: 0.1) is held to miss, 0.95 (0.05) to keep. */
START_TEST(judged)
{
	sim_method near = { "m", SIM_NEAR, 0.95, 0, NULL };
	sim_method least = { "m", SIM_LEAST, 0.95, 0, NULL };
	sim_method most = { "m", SIM_MOST, 0.05, 0, NULL };
	sim_count c = { .sets = 10000, .answered = 10000, .hits = 9000 };

	ck_assert_int_eq(sim_judge(&near, &c), SIM_MISSES);
	ck_assert_int_eq(sim_judge(&least, &c), SIM_MISSES);
	c.hits = 9400;
	ck_assert_int_eq(sim_judge(&near, &c), SIM_KEEPS);
	c.hits = 9399;
	ck_assert_int_eq(sim_judge(&near, &c), SIM_MISSES);
	c.hits = 9990;
	ck_assert_int_eq(sim_judge(&near, &c), SIM_MISSES);
	ck_assert_int_eq(sim_judge(&least, &c), SIM_KEEPS);
	c.hits = 560;
	ck_assert_int_eq(sim_judge(&most, &c), SIM_KEEPS);
	c.hits = 580; /* 3.7 standard errors beyond */
	ck_assert_int_eq(sim_judge(&most, &c), SIM_MISSES);
	c.answered = 0;
	ck_assert_int_eq(sim_judge(&near, &c), SIM_MISSES);
}
END_TEST

/* Covers with a chance of 0.7; one set in 10 is refused, one has no end. */
static void trial(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                  sim_answer *out)
{
	double u = pd_stream_uniform(s), v = pd_stream_uniform(s);

	(void)cell;
	(void)arena;
	sim_interval(&out[0], v < 0.1 ? PD_REFUSED : PD_OK, 0, 1 + v,
	             u < 0.7 ? 0.5 : 3);
	sim_interval(&out[1], PD_OK, u < 0.2 ? NAN : 0, INFINITY, 1);
}

static const sim_cell cell = {
	"a cell", trial, NULL, 0, 0, 2,
	{ { "one", SIM_NEAR, 0.7, 0, NULL },
	  { "two", SIM_SHOWN, 0.95, 0, NULL } } };

START_TEST(threads)
{
	sim_count a[SIM_METHODS], b[SIM_METHODS];

	ck_assert_int_eq(sim_run(&cell, 5003, 1, a), PD_OK);
	ck_assert_int_eq(sim_run(&cell, 5003, 3, b), PD_OK);
	for (int k = 0; k < 2; k++) {
		ck_assert_uint_eq(a[k].sets, 5003);
		ck_assert_uint_eq(a[k].answered, b[k].answered);
		ck_assert_uint_eq(a[k].hits, b[k].hits);
		ck_assert_uint_eq(a[k].not_finite, b[k].not_finite);
	}
	ck_assert(a[0].length == b[0].length && isnan(a[1].length));
	/* chances 0.9, 0.63 and 0.2, five standard errors */
	ck_assert_double_eq_tol((double)a[0].answered, 4503, 106);
	ck_assert_double_eq_tol((double)a[0].hits, 3152, 171);
	ck_assert_double_eq_tol((double)a[1].not_finite, 1001, 141);
	ck_assert_double_eq_tol(a[0].length, 1.55, 0.02);
}
END_TEST

START_TEST(kept_and_written)
{
	char path[] = "/tmp/simulate-XXXXXX", text[512] = "";
	int fd = mkstemp(path);
	FILE *f = fd < 0 ? NULL : fdopen(fd, "w");
	sim_count a[SIM_METHODS], b[SIM_METHODS];

	ck_assert_ptr_nonnull(f);
	ck_assert_int_eq(sim_run(&cell, 100, 2, a), PD_OK);
	sim_keep(f, &cell, a);
	fclose(f);
	ck_assert(sim_recall(path, &cell, 100, b));
	ck_assert(!sim_recall(path, &cell, 101, b));
	ck_assert_uint_eq(a[0].hits, b[0].hits);
	ck_assert(a[0].length == b[0].length);
	ck_assert(sim_page_write(path, "x", 1) != 0); /* no marks */
	f = fopen(path, "w");
	ck_assert_ptr_nonnull(f);
	fputs("before\n<!-- made by simulate_coverage: from here -->\nold\n"
	      "<!-- made by simulate_coverage: to here -->\nafter\n", f);
	fclose(f);
	ck_assert_int_eq(sim_page_write(path, "new\n", 4), 0);
	f = fopen(path, "r");
	ck_assert_ptr_nonnull(f);
	ck_assert_uint_gt(fread(text, 1, sizeof text - 1, f), 0);
	fclose(f);
	remove(path);
	ck_assert_str_eq(text, "before\n<!-- made by simulate_coverage: from "
	                 "here -->\nnew\n<!-- made by simulate_coverage: to "
	                 "here -->\nafter\n");
}
END_TEST

int main(void)
{
	Suite *s = suite_create("simulate");
	TCase *t = tcase_create("machinery");

	pd_base_init();
	tcase_add_test(t, binomial_by_hand);
	tcase_add_loop_test(t, bounds, 0, 3);
	tcase_add_test(t, judged);
	tcase_add_test(t, threads);
	tcase_add_test(t, kept_and_written);
	suite_add_tcase(s, t);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
