/*
 * check_count_wide.c - the inner loops of count regressions: against the
 * rows one by one and plain loops, and the same bytes from every kernel.
 */
#include "stats/count_row.h"
#include "stats/count_wide.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

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

START_TEST(wide_exp)
{
	double x[1003], got[1003], again[1003];
	pd_stream s;

	pd_stream_init(&s, 8, 0);
	for (size_t i = 0; i < 1003; i++)
		x[i] = i % 3 ? 40 * (pd_stream_uniform(&s) - 0.5)
		             : 1390 * (pd_stream_uniform(&s) - 0.5);
	pd_count_kernel_at(0)->exp(x, got, 1003);
	for (size_t i = 0; i < 1003; i++)
		near("exp", got[i], exp(x[i]), 4e-16);
	for (size_t k = 1; pd_count_kernel_at(k); k++) {
		pd_count_kernel_at(k)->exp(x, again, 1003);
		ck_assert_mem_eq(got, again, sizeof got);
	}
	x[5] = 800; /* out of the fast range: still right */
	x[7] = -800;
	pd_count_kernel_best()->exp(x, x, 8);
	ck_assert(isinf(x[5]) && x[7] == 0);
}
END_TEST

/* Columns: against plain loops, and the same bytes from each kernel. */
START_TEST(wide_columns)
{
	enum { N = 301, COLUMNS = 4 };
	double column[N * COLUMNS], w[N], offset[N], out[2][N];
	double cross[2][COLUMNS], squares[2][COLUMNS * 6];
	const double par[COLUMNS] = { 0.3, -1.1, 0.7, 2.9 };
	const pd_count_columns x = { N, COLUMNS, column };
	pd_stream s;

	pd_stream_init(&s, 10, 0);
	for (size_t i = 0; i < N * COLUMNS; i++)
		column[i] = pd_stream_normal(&s);
	for (size_t i = 0; i < N; i++) {
		w[i] = pd_stream_uniform(&s);
		offset[i] = pd_stream_normal(&s);
	}
	for (size_t k = 0; k < 2; k++) {
		const pd_count_kernel *kernel = pd_count_kernel_at(k);

		if (!kernel)
			kernel = pd_count_kernel_at(0);
		memset(cross[k], 0, sizeof cross[k]);
		memset(squares[k], 0, sizeof squares[k]);
		kernel->linear(&x, par, offset, out[k]);
		kernel->cross(&x, w, cross[k]);
		kernel->squares(&x, w, squares[k], 6);
	}
	ck_assert_mem_eq(out[0], out[1], sizeof out[0]);
	ck_assert_mem_eq(cross[0], cross[1], sizeof cross[0]);
	ck_assert_mem_eq(squares[0], squares[1], sizeof squares[0]);
	for (size_t i = 0; i < N; i++) {
		double sum = offset[i];

		for (size_t j = 0; j < COLUMNS; j++)
			sum += par[j] * column[j * N + i];
		close_to("linear", out[0][i], sum, 1e-14);
	}
	for (size_t j = 0; j < COLUMNS; j++) {
		double sum = 0;

		for (size_t i = 0; i < N; i++)
			sum += column[j * N + i] * w[i];
		close_to("cross", cross[0][j], sum, 1e-12);
		for (size_t k = 0; k <= j; k++) {
			sum = 0;
			for (size_t i = 0; i < N; i++)
				sum += w[i] * column[j * N + i] *
				       column[k * N + i];
			close_to("squares", squares[0][6 * j + k], sum, 1e-12);
		}
	}
}
END_TEST

/* Sums of an NB2 unit against its rows, and the same bytes from each kernel. */
START_TEST(wide_rows)
{
	enum { N = 23 };
	double mu[N], y[N], room[2][5][N], theta = _i ? 3.4 : 2.7e5;
	pd_count_block b[2];
	pd_count_table table;
	pd_count_slopes sum = { 0 };
	pd_stream s;

	ck_assert_int_eq(pd_count_table_new(arena, 90, &table, &err), PD_OK);
	pd_count_table_set(&table, theta);
	pd_stream_init(&s, 9, 0);
	for (size_t i = 0; i < N; i++) {
		mu[i] = exp(4 * pd_stream_uniform(&s));
		y[i] = floor(90 * pd_stream_uniform(&s));
	}
	for (size_t k = 0; k < 2; k++) {
		const pd_count_kernel *kernel = pd_count_kernel_at(k);

		if (!kernel)
			kernel = pd_count_kernel_at(0);
		b[k] = (pd_count_block){ .n = N, .mu = mu, .y = y,
			.theta = theta, .factor = 1.7 / theta,
			.e = room[k][0], .ee = room[k][1],
			.eee = room[k][2], .et = room[k][3],
			.eet = room[k][4] };
		kernel->scattered(&b[k], PD_COUNT_ALL);
	}
	ck_assert_mem_eq(room[0], room[1], sizeof room[0]);
	ck_assert_mem_eq(&b[0].sum_e, &b[1].sum_e, 8 * sizeof(double));
	for (size_t i = 0; i < N; i++) {
		pd_count_slopes row;
		double share;

		pd_count_row(&table, (size_t)y[i], 0, log(1.7 * mu[i]), &row);
		close_to("e", room[0][0][i], row.e, 1e-11);
		close_to("ee", room[0][1][i], row.ee, 1e-11);
		close_to("eee", room[0][2][i], row.eee, 1e-10);
		close_to("et", room[0][3][i], row.et, 1e-9);
		close_to("eet", room[0][4][i], row.eet, 1e-9);
		sum.e += row.e;
		sum.ee += row.ee;
		share = 1.7 * mu[i] / theta;
		sum.l += log1p(share);
		sum.t += y[i] * log1p(share);
	}
	close_to("sum e", b[0].sum_e, sum.e, 1e-10);
	close_to("sum ee", b[0].sum_ee, sum.ee, 1e-9);
	near("logs", b[0].log, sum.l, 1e-14);
	near("counted", b[0].counted, sum.t, 1e-14);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("count wide");
	TCase *t = tcase_create("all");

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 600);
	tcase_add_test(t, wide_exp);
	tcase_add_test(t, wide_columns);
	tcase_add_loop_test(t, wide_rows, 0, 2);
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
