/*
 * check_nested_large.c - what the nested model does where there is much of it:
 * sums four at a time, columns taken the quick way, a search that begins by
 * scoring. Each beside the plain way, which check_nested.c holds against dense
 * algebra.
 */
#include "stats/nested_dense.h"
#include "stats/nested_search.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void near_to(const char *what, double got, double want, double tol)
{
	if (!(fabs(got - want) <= tol * fabs(want)))
		ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

/* ---- sums ------------------------------------------------------------- */

enum { CHUNK = 128, LONG = 3 * CHUNK + 7, WIDTH = 20 };

static double random_rows[LONG * WIDTH], more_rows[LONG * WIDTH], by[LONG];

static void fill(void)
{
	pd_stream r;

	pd_stream_init(&r, 5, 0);
	for (size_t i = 0; i < LONG * WIDTH; i++) {
		random_rows[i] = pd_stream_normal(&r);
		more_rows[i] = pd_stream_normal(&r);
	}
	for (size_t i = 0; i < LONG; i++)
		by[i] = pd_stream_normal(&r);
}

/* acc + sum of (w y) x, a chunk at a time, as pd_cross_add's header says. */
static double plain(double acc, const double *x, const double *y,
                    const double *w, size_t rows, size_t step)
{
	for (size_t k = 0; k < rows; k += CHUNK) {
		double t = 0.0;

		for (size_t i = k; i < rows && i < k + CHUNK; i++)
			t += x[i * step] * (w ? y[i * step] * w[i]
			                      : y[i * step]);
		acc += t;
	}
	return acc;
}

static const size_t widths[] = { 4, 8, 12, 16, 20 };
static const size_t heights[] = { 0, 1, 3, 127, 128, 129, 131, LONG };
enum { WIDTHS = sizeof widths / sizeof *widths,
       HEIGHTS = sizeof heights / sizeof *heights };

static void same_bytes(double got, double want)
{
	ck_assert_mem_eq(&got, &want, sizeof want);
}

/* mode & 1: weighted; mode & 2: x with itself */
static void cross_is_plain(const pd_dense_kernel *kernel, size_t ld,
                           size_t rows, int mode)
{
	const double *w = mode & 1 ? by : NULL;
	const double *y = mode & 2 ? random_rows : more_rows;
	double acc[WIDTH * WIDTH];

	for (size_t i = 0; i < ld * ld; i++)
		acc[i] = 0.25;
	kernel->cross_add(acc, random_rows, ld, y, ld, w, rows, ld);
	for (size_t i = 0; i < ld; i++)
		for (size_t j = mode & 2 ? i : 0; j < ld; j++) {
			double want = plain(0.25, random_rows + i, y + j, w,
			                    rows, ld);

			same_bytes(acc[i * ld + j], want);
			if (mode & 2)
				same_bytes(acc[j * ld + i], want);
		}
}

static void turn_is_plain(const pd_dense_kernel *kernel, size_t ld, size_t rows)
{
	static double x[LONG * WIDTH];
	double t[WIDTH * WIDTH] = { 0.0 };

	for (size_t i = 0; i < ld; i++)
		for (size_t j = i; j < ld; j++)
			t[i * ld + j] = more_rows[i * ld + j];
	memcpy(x, random_rows, sizeof x);
	kernel->rows_turn(x, rows, t, ld);
	for (size_t i = 0; i < LONG; i++)
		for (size_t j = 0; j < ld; j++) {
			double want = 0.0;

			for (size_t k = 0; k <= j; k++)
				want += random_rows[i * ld + k] *
				        t[k * ld + j];
			if (i >= rows)
				want = random_rows[i * ld + j];
			same_bytes(x[i * ld + j], want);
		}
}

static void column_is_plain(const pd_dense_kernel *kernel, size_t ld,
                            size_t rows)
{
	double sum[WIDTH] = { 0.0 };

	kernel->column_add(sum, random_rows, rows, 1, ld);
	for (size_t j = 0; j < ld; j++)
		same_bytes(sum[j], plain(0.0, random_rows + 1, random_rows + j,
		                         NULL, rows, ld));
}

/* The very bytes that one number at a time gives, whatever the processor. */
START_TEST(sums_are_plain)
{
	const pd_dense_kernel *kernel;

	fill();
	for (size_t k = 0; (kernel = pd_dense_kernel_at(k)); k++)
		for (size_t i = 0; i < HEIGHTS; i++) {
			for (int mode = 0; mode < 4; mode++)
				cross_is_plain(kernel, widths[_i], heights[i],
				               mode);
			turn_is_plain(kernel, widths[_i], heights[i]);
			column_is_plain(kernel, widths[_i], heights[i]);
		}
}
END_TEST

/* ---- a large tree ------------------------------------------------------- */

enum { TOPS = 900, MOST = TOPS * 3 * 3, P = 4 };

struct tree {
	size_t n;
	double x[MOST * P], y[MOST];
	int32_t top[MOST], mid[MOST];
};

static struct tree *grow(uint64_t seed, double sd_top, double sd_mid)
{
	struct tree *t = calloc(1, sizeof *t);
	pd_stream r;
	int32_t mids = 0;

	ck_assert_ptr_nonnull(t);
	pd_stream_init(&r, seed, 0);
	for (int32_t g = 0; g < TOPS; g++) {
		double u = sd_top * pd_stream_normal(&r);

		for (int k = 0; k < 2 + g % 2; k++, mids++) {
			double v = sd_mid * pd_stream_normal(&r);

			for (int i = 0; i < 2 + (g + k) % 2; i++, t->n++) {
				double *x = t->x + t->n * P;

				x[0] = 1.0;
				x[1] = pd_stream_normal(&r);
				x[2] = k;
				x[3] = 40.0 + 12.0 * pd_stream_normal(&r);
				t->top[t->n] = g;
				t->mid[t->n] = mids;
				t->y[t->n] = 3.0 + 0.4 * x[1] - 0.2 * x[2] +
				             0.01 * x[3] + u + v +
				             0.8 * pd_stream_normal(&r);
			}
		}
	}
	return t;
}

static pd_nested *made(const struct tree *t)
{
	pd_nested_spec s = { .n = t->n, .p = P, .x = t->x, .y = t->y,
		             .depth = 2, .group = { t->top, t->mid } };
	pd_nested *m;
	pd_error err;

	ck_assert_msg(pd_nested_new(&s, &m, &err) == PD_OK, "%s", err.text);
	return m;
}

/* Scoring first comes to the same end as Newton's method from afar. */
START_TEST(same_end)
{
	static const double sd[][2] = { { 0.9, 0.5 }, { 3.0, 0.2 },
		                        { 0.15, 1.7 }, { 0.4, 0.0 },
		                        { 0.0, 0.3 }, { 60.0, 20.0 } };
	struct tree *t = grow(11 + (uint64_t)_i, sd[_i][0], sd[_i][1]);
	pd_nested *a = made(t), *b = made(t);
	double far[PD_MAX_E] = { 1.0, 1.0 }, gradient[2];
	pd_error err;

	ck_assert(pd_nested_fit(a, &err) == PD_OK);
	ck_assert(pd_nested_fit_from(b, far, &err) == PD_OK);
	for (int k = 0; k < 2; k++) {
		double x = pd_nested_theta(a)[k], y = pd_nested_theta(b)[k];

		ck_assert(x == y || fabs(x - y) < 1e-7 * y);
	}
	near_to("deviance", pd_nested_record(a)->deviance,
	        pd_nested_record(b)->deviance, 1e-12);
	for (size_t j = 0; j < P; j++)
		near_to("effect", pd_nested_beta(a)[j], pd_nested_beta(b)[j],
		        1e-7);
	pd_nested_deviance(a, pd_nested_theta(a), gradient);
	for (int k = 0; k < 2; k++)
		if (pd_nested_theta(a)[k] > 0.0)
			ck_assert(fabs(gradient[k]) < 1e-4);
	if (sd[_i][0] > 0.3 && sd[_i][1] > 0.3) /* it did begin so */
		ck_assert_uint_gt(pd_start_scored(a, far), 0);
	pd_nested_free(a);
	pd_nested_free(b);
	free(t);
}
END_TEST

/*
 * The same space by other columns: x3 + c x1 in the place of x1 is far enough
 * from x3 for the quick way, or not (Gram-Schmidt), by c. All but the effects'
 * own scale must stay: V, the residual, the rest of the effects; the deviance
 * moves by 2 log c.
 */
START_TEST(quick_is_slow)
{
	static const double c[] = { 9.0, 1.0, 0.5, 0.3, 0.1, 0.01, 1e-4 };
	struct tree *t = grow(31, 0.9, 0.5), *o = grow(31, 0.9, 0.5);
	pd_nested *a, *b;
	pd_error err;
	double by_c = c[_i];

	for (size_t i = 0; i < t->n; i++) {
		o->x[i * P + 1] = t->x[i * P + 3];
		o->x[i * P + 3] = t->x[i * P + 3] + by_c * t->x[i * P + 1];
	}
	a = made(t);
	b = made(o);
	ck_assert_int_eq(a->have_cross, true);
	if (by_c > 0.4 || by_c < 0.2) /* in between, as the first row is */
		ck_assert_int_eq(b->have_cross, by_c > 0.3);
	ck_assert(pd_nested_fit(a, &err) == PD_OK);
	ck_assert(pd_nested_fit(b, &err) == PD_OK);
	for (int k = 0; k < 2; k++)
		near_to("theta", pd_nested_theta(b)[k], pd_nested_theta(a)[k],
		        1e-9);
	near_to("residual", pd_nested_residual_sd(b), pd_nested_residual_sd(a),
	        1e-10);
	near_to("deviance", pd_nested_record(b)->deviance - 2.0 * log(by_c),
	        pd_nested_record(a)->deviance, 1e-10);
	near_to("x1", by_c * pd_nested_beta(b)[3], pd_nested_beta(a)[1], 1e-9);
	near_to("x2", pd_nested_beta(b)[2], pd_nested_beta(a)[2], 1e-9);
	near_to("its error", sqrt(pd_nested_covariance(b)[2 * P + 2]),
	        sqrt(pd_nested_covariance(a)[2 * P + 2]), 1e-9);
	pd_nested_free(a);
	pd_nested_free(b);
	free(t);
	free(o);
}
END_TEST

/* No constant first, offsets of 1e9, scales of 1e-9: same answers. */
START_TEST(offsets)
{
	struct tree *t = grow(47, 0.9, 0.5), *o = grow(47, 0.9, 0.5);
	pd_nested *a, *b;
	pd_error err;

	for (size_t i = 0; i < t->n; i++) {
		double *x = o->x + i * P, k;

		/* on a grid that 1e9 leaves exact */
		t->x[i * P + 3] = x[3] = round(x[3] * 64.0) / 64.0;
		t->y[i] = o->y[i] = round(t->y[i] * 65536.0) / 65536.0;
		x[3] += 1e9;
		if (_i == 1) {
			x[1] *= 1e-9;
			x[0] = 7.0;
		} else if (_i == 2) { /* the constant last */
			k = x[0];
			x[0] = x[1];
			x[1] = x[2];
			x[2] = k;
			x[3] -= 1e9;
		} else if (_i == 3) {
			o->y[i] += 1e9;
		}
	}
	a = made(t);
	b = made(o);
	ck_assert(pd_nested_fit(a, &err) == PD_OK);
	ck_assert(pd_nested_fit(b, &err) == PD_OK);
	for (int k = 0; k < 2; k++)
		near_to("theta", pd_nested_theta(b)[k], pd_nested_theta(a)[k],
		        1e-9);
	near_to("x3", pd_nested_beta(b)[3], pd_nested_beta(a)[3], 1e-8);
	near_to("x1", pd_nested_beta(b)[_i == 2 ? 0 : 1] *
	        (_i == 1 ? 1e-9 : 1.0), pd_nested_beta(a)[1], 1e-9);
	near_to("its error",
	        sqrt(pd_nested_covariance(b)[_i == 2 ? 0 : P + 1]) *
	        (_i == 1 ? 1e-9 : 1.0),
	        sqrt(pd_nested_covariance(a)[P + 1]), 1e-9);
	pd_nested_free(a);
	pd_nested_free(b);
	free(t);
	free(o);
}
END_TEST

/* A number that is not finite is named, quick way or not. */
START_TEST(not_finite)
{
	struct tree *t = grow(5, 0.9, 0.5);
	pd_nested_spec s = { .n = t->n, .p = P, .x = t->x, .y = t->y,
		             .depth = 2, .group = { t->top, t->mid } };
	pd_nested *m;
	pd_error err;

	t->x[100 * P + 2] = NAN;
	ck_assert(pd_nested_new(&s, &m, &err) == PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 101 column 3"));
	t->x[100 * P + 2] = 1.0;
	t->y[7] = INFINITY;
	ck_assert(pd_nested_new(&s, &m, &err) == PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "outcome, row 8"));
	free(t);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("nested, large");
	TCase *t = tcase_create("all");

	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, sums_are_plain, 0, WIDTHS);
	tcase_add_loop_test(t, same_end, 0, 6);
	tcase_add_loop_test(t, quick_is_slow, 0, 7);
	tcase_add_loop_test(t, offsets, 0, 4);
	tcase_add_test(t, not_finite);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());
	int passed, failed;

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	failed = srunner_ntests_failed(r);
	passed = srunner_ntests_run(r) - failed;
	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
