/*
 * property_data.c - random designs: even and uneven trees, ties, no patient
 * variance, sparse colonies, few rows.
 */
#include "property_data.h"

#include "stats/stream.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

pd_arena *arena;
pd_error err;

static void set_up(void)
{
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
}

static void take_down(void)
{
	pd_arena_free(arena);
}

void near(const char *what, double got, double want, double relative)
{
	if (got == want || fabs(got - want) <= relative * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

void close_to(const char *what, double got, double want, double margin)
{
	if (got == want || fabs(got - want) <= margin)
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

void ok(const char *what, pd_status st)
{
	if (st != PD_OK)
		ck_abort_msg("%s: %s", what, err.text);
}

/* ---- data ---------------------------------------------------------------- */

static void add_row(data *d, int design, double base, pd_stream *s)
{
	size_t i = d->n++;
	double arm = (double)(pd_stream_below(s, 2)), age, y;

	age = pd_stream_normal(s);
	y = base - 0.4 * arm + 0.2 * age + 0.3 * pd_stream_normal(s);
	if (design == 2) {
		age = rint(age);
		y = rint(4 * y) / 4;
	}
	d->x[P * i] = 1;
	d->x[P * i + 1] = arm;
	d->x[P * i + 2] = age;
	d->y[i] = y;
	d->offset[i] = log(1 + pd_stream_uniform(s));
	double mean = (design == 4 ? 0.6 : 6) * exp(y - 2 + d->offset[i]);

	d->colonies[i] = floor(mean * pd_stream_chisq(s, 6) / 6 +
	                       pd_stream_uniform(s));
	d->low[i] = d->high[i] = y;
	if (y < 1.8) {
		d->low[i] = -INFINITY;
		d->high[i] = 1.8;
	} else if (y > 2.6) {
		d->high[i] = INFINITY;
	} else if (i % 7 == 3) {
		d->low[i] = y - 0.1;
		d->high[i] = y + 0.2;
	}
}

data *make(int design, uint64_t seed)
{
	data *d = PD_NEW(arena, data, 1);
	size_t patients = design == 5 ? 6 : 15;
	int32_t visits = 0;
	pd_stream s;

	ck_assert_ptr_nonnull(d);
	pd_stream_init(&s, seed, (uint64_t)design);
	for (size_t p = 0; p < patients; p++) {
		double up = design == 3 ? 0 : 0.5 * pd_stream_normal(&s);
		uint64_t n = design == 1 ? 1 + pd_stream_below(&s, 3) : 2;

		for (uint64_t v = 0; v < n; v++, visits++) {
			uint64_t rows = design == 1 ? 1 + pd_stream_below(&s, 5)
			                            : 4;
			double uv = 0.2 * pd_stream_normal(&s);

			for (uint64_t r = 0; r < rows && d->n < MADE; r++) {
				d->patient[d->n] = (int32_t)p;
				d->visit[d->n] = visits;
				add_row(d, design, 2 + up + uv, &s);
			}
		}
	}
	d->patients = patients;
	return d;
}

data *shuffled(const data *from, uint64_t seed)
{
	data *d = PD_NEW(arena, data, 1);
	size_t place[ROWS];
	pd_stream s;

	ck_assert_ptr_nonnull(d);
	pd_stream_init(&s, seed, 99);
	for (size_t i = 0; i < from->n; i++)
		place[i] = i;
	for (size_t i = from->n; i > 1; i--) {
		size_t j = (size_t)pd_stream_below(&s, i), k = place[i - 1];

		place[i - 1] = place[j];
		place[j] = k;
	}
	d->n = from->n;
	for (size_t i = 0; i < d->n; i++) {
		size_t k = place[i];

		memcpy(d->x + P * i, from->x + P * k, P * sizeof *d->x);
		d->y[i] = from->y[k];
		d->colonies[i] = from->colonies[k];
		d->offset[i] = from->offset[k];
		d->low[i] = from->low[k];
		d->high[i] = from->high[k];
		d->patient[i] = from->patient[k];
		d->visit[i] = from->visit[k];
	}
	return d;
}

data *doubled(const data *from)
{
	data *d = PD_NEW(arena, data, 1);

	ck_assert_ptr_nonnull(d);
	ck_assert_uint_le(2 * from->n, ROWS);
	*d = *from;
	for (size_t i = 0; i < from->n; i++) {
		size_t k = d->n++;

		memcpy(d->x + P * k, from->x + P * i, P * sizeof *d->x);
		d->y[k] = from->y[i];
		d->colonies[k] = from->colonies[i];
		d->offset[k] = from->offset[i];
		d->low[k] = from->low[i];
		d->high[k] = from->high[i];
		d->patient[k] = from->patient[i] + 1000;
		d->visit[k] = from->visit[i] + 1000;
	}
	return d;
}

void rename_groups(data *d)
{
	for (size_t i = 0; i < d->n; i++) {
		d->patient[i] = 5000 - 7 * d->patient[i];
		d->visit[i] = 90000 - 13 * d->visit[i];
	}
}

void swap_arms(data *d)
{
	for (size_t i = 0; i < d->n; i++)
		d->x[P * i + 1] = 1 - d->x[P * i + 1];
}

void scale(double *v, size_t n, double by)
{
	for (size_t i = 0; i < n; i++)
		v[i] *= by;
}

double *with_constant(const data *d)
{
	double *x = PD_NEW(arena, double, (P + 1) * d->n);

	ck_assert_ptr_nonnull(x);
	for (size_t i = 0; i < d->n; i++) {
		memcpy(x + (P + 1) * i, d->x + P * i, P * sizeof *x);
		x[(P + 1) * i + P] = 3.25;
	}
	return x;
}

void refused_by_name(pd_status st, const char *name)
{
	ck_assert_int_ne(st, PD_OK);
	if (!strstr(err.text, name))
		ck_abort_msg("'%s' is not named: %s", name, err.text);
}

void pair_of(Suite *s, const char *name, const TTest *one, const TTest *two)
{
	TCase *t = tcase_create(name);

	tcase_add_checked_fixture(t, set_up, take_down);
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, one, 0, DESIGNS);
	tcase_add_loop_test(t, two, 0, DESIGNS);
	suite_add_tcase(s, t);
}

int run_suite(Suite *s)
{
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
