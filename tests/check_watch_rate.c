/*
 * check_watch_rate.c - how often the charts of a clinic are wrong, and how
 * soon they are right: simulated clinics of several operators and two method
 * versions, whose cases move or do not.
 */
#include "plan/watch_own.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CASES = 900, BASE = 300, OPERATORS = 4, YEARS = 9 };

/* How a simulated clinic's cases are drawn. */
struct clinic {
	double shape;            /* of a gamma law; 0: normal                  */
	double neighbours;       /* correlation of a case with the one before  */
	double moved;            /* SDs, from case `from` on                   */
	size_t base, from, until;
	int several_a_day;
};

static double draw(pd_stream *s, double shape)
{
	if (shape > 0)
		return (pd_stream_gamma(s, shape) - shape) / sqrt(shape);
	return pd_stream_normal(s);
}

static void make(const struct clinic *c, pd_stream *s,
                 struct pd_watch_cases *out, pd_arena *arena)
{
	static const char *op[] = { "a", "b", "c", "d" };
	static const char *version[] = { "lab 1", "lab 2" };
	double before = 0, rho = c->neighbours;

	memset(out, 0, sizeof *out);
	out->n = CASES;
	out->n_base = c->base;
	out->item = PD_NEW(arena, struct pd_watch_case, CASES);
	out->z = PD_NEW(arena, double, CASES);
	out->operator_ = op;
	out->n_operators = OPERATORS;
	out->version = version;
	out->n_versions = 2;
	out->sd = 0.5;
	for (size_t i = 0; i < CASES; i++) {
		struct pd_watch_case *it = &out->item[i];
		double z = rho * before + sqrt(1 - rho * rho) *
		                              draw(s, c->shape);
		size_t day = c->several_a_day ? i / 4 * 4 : i;

		before = z;
		it->time = 2015 + YEARS * (double)day / CASES;
		it->operator_ = (int32_t)pd_stream_below(s, OPERATORS);
		it->version = i % 3 == 0; /* two laboratories */
		it->order = i;
		if (i >= c->from && i < c->until)
			z += c->moved;
		out->z[i] = z;
		it->r = 0.5 * z;
		it->spread = 0.5;
	}
	pd_watch_free_neighbours(out);
}

static void watch(const struct pd_watch_cases *cases, double quarters,
                  pd_watch_answer *a, pd_arena *arena, pd_arena *scratch)
{
	memset(a, 0, sizeof *a);
	a->level = 0.95;
	a->shift = 0.5;
	a->lambda = 0.05;
	a->quarters = quarters;
	a->scale = PD_RATIO;
	ck_assert_int_eq(pd_watch_signals(cases, arena, scratch, a, NULL),
	                 PD_OK);
}

/* ---- nothing moves ---------------------------------------------------------- */

/*
 * 160 clinics of six years (24 quarters) after the baseline, a false shift of
 * all charts together promised in 20 quarters: 192 expected of them, standard
 * error 0.08 of the promise. Charts begin at 0 and are silent while a regime is
 * young, so that somewhat fewer come. A baseline of thirty cases, a skewed law
 * or several cases a day change nothing: scores are ranks. Where neighbours are
 * correlated by 0.3 they are freed of it.
 */
static const struct {
	const char *name;
	struct clinic clinic;
	double least, most;
} still[] = {
	{ "normal", { 0, 0, 0, BASE, CASES, CASES, 0 }, 0.60, 1.15 },
	{ "skewed", { 1, 0, 0, BASE, CASES, CASES, 0 }, 0.60, 1.15 },
	{ "baseline of 30", { 0, 0, 0, 30, CASES, CASES, 0 }, 0.60, 1.15 },
	{ "four a day", { 0, 0, 0, BASE, CASES, CASES, 1 }, 0.60, 1.15 },
	{ "neighbours", { 0, 0.3, 0, BASE, CASES, CASES, 0 }, 0.60, 1.30 },
};

START_TEST(false_shifts)
{
	enum { CLINICS = 160 };
	pd_arena *arena = pd_arena_new();
	size_t all = 0, none = 0;
	double quarters = 0;
	pd_stream s;

	pd_stream_init(&s, 20261126, (uint64_t)_i);
	for (int k = 0; k < CLINICS; k++) {
		pd_arena_mark mark = pd_arena_here(arena);
		struct pd_watch_cases cases;
		pd_watch_answer a;

		make(&still[_i].clinic, &s, &cases, arena);
		watch(&cases, 20, &a, arena, arena);
		ck_assert_double_eq_tol(a.quarters, 20, 1e-9);
		all += a.n_signals;
		none += a.n_signals == 0;
		quarters += 4 * (cases.item[CASES - 1].time -
		                 cases.item[cases.n_base - 1].time);
		pd_arena_rewind(arena, mark);
	}
	double rate = (double)all / (quarters / 20);

	printf("%s: %.2f of the promised false shifts; none in %zu of %d "
	       "clinics\n", still[_i].name, rate, none, CLINICS);
	ck_assert_msg(rate > still[_i].least && rate < still[_i].most,
	              "%s: %g of the promise", still[_i].name, rate);
	pd_arena_free(arena);
}
END_TEST

/* ---- something moves ----------------------------------------------------------- */

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Cases move at case 600 for good. most: median cases until found; found: the
 * least of 100 clinics that find and keep it; near: the least whose likely
 * start lies within 40 cases of the true one. */
static const struct {
	double moved;
	double most;
	size_t found, near;
} moves[] = {
	{ 0.5, 45, 92, 70 }, { 1, 18, 97, 93 }, { -1, 18, 97, 93 },
	{ 2, 9, 98, 97 },
};

START_TEST(delays)
{
	enum { CLINICS = 100, FROM = 600 };
	struct clinic c = { 0, 0, moves[_i].moved, BASE, FROM, CASES, 0 };
	pd_arena *arena = pd_arena_new();
	double delay[CLINICS], size = 0;
	size_t found = 0, near = 0, more = 0, cover = 0;
	pd_stream s;

	pd_stream_init(&s, 20261127, (uint64_t)_i);
	for (int k = 0; k < CLINICS; k++) {
		pd_arena_mark mark = pd_arena_here(arena);
		struct pd_watch_cases cases;
		pd_watch_answer a;

		make(&c, &s, &cases, arena);
		watch(&cases, 20, &a, arena, arena);
		size_t origin = 0, hits = 0;

		for (size_t j = 0; j < a.n_signals; j++) {
			const pd_signal *g = &a.signal[j];
			size_t from = origin + g->n_before;
			size_t at = from + g->n_since - 1;

			if (strcmp(g->group, "all cases") != 0 ||
			    g->state == PD_SHIFT_PASSED)
				continue;
			origin = from;
			if (at < FROM || log(g->change) * c.moved < 0)
				continue;
			if (hits++) {
				more++;
				continue;
			}
			delay[found++] = (double)(at - FROM + 1);
			near += fabs((double)from - FROM) <= 40;
			size += log(g->change) / 0.5;
			cover += g->low < exp(0.5 * c.moved) &&
			         g->high > exp(0.5 * c.moved);
		}
		pd_arena_rewind(arena, mark);
	}
	qsort(delay, found, sizeof *delay, by_size);
	printf("moved %+.1f SD: found in %zu of %d, median delay %.0f cases, "
	       "start within 40 cases in %zu, mean size %+.2f SD, interval "
	       "holds it in %zu, found twice in %zu\n", c.moved, found,
	       CLINICS, delay[found / 2], near, size / (double)found, cover,
	       more);
	ck_assert_uint_ge(found, moves[_i].found);
	ck_assert(delay[found / 2] <= moves[_i].most);
	ck_assert_uint_ge(near, moves[_i].near);
	ck_assert_uint_le(more, CLINICS / 10);
	ck_assert_double_eq_tol(size / (double)found, c.moved, 0.1);
	pd_arena_free(arena);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("watch_rate");
	TCase *c = tcase_create("clinics");
	SRunner *r;
	int run, failed;

	pd_base_init();
	tcase_set_timeout(c, 120);
	tcase_add_loop_test(c, false_shifts, 0, sizeof still / sizeof *still);
	tcase_add_loop_test(c, delays, 0, sizeof moves / sizeof *moves);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
