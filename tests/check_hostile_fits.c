/*
 * check_hostile_fits.c - curves and unequal scatter inside the mixed model,
 * small-sample limits of counts, dishes, joint and adjusted comparisons,
 * totals and limits of the spread between studies, handed what nobody should
 * hand in: see hostile.h and check_hostile.c.
 *
 * Allowed beside finite numbers, as the headers say: ends of a turn, of
 * profile limits and of a ratio of scatters infinite; rates and chances NaN of
 * samples with nothing counted.
 */
#include "hostile.h"

#include "stats/adjusted.h"
#include "stats/count_mixed.h"
#include "stats/curve_mixed.h"
#include "stats/dishes.h"
#include "stats/joint.h"
#include "stats/nested_spread.h"
#include "stats/pool_limits.h"
#include "stats/total.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

#define ERR &hostile_err

static const double arm_2[2] = { 0, 1 };

typedef struct rows {
	size_t n;
	double y[HOSTILE_MOST], v[HOSTILE_MOST], x[2 * HOSTILE_MOST];
	int32_t group[HOSTILE_MOST], class_of[HOSTILE_MOST];
} rows;

typedef void attempt(const rows *r, pd_arena *arena);

static void curves(const rows *r, pd_arena *arena)
{
	double one[HOSTILE_MOST];
	pd_curve_mixed c;

	for (size_t i = 0; i < r->n; i++)
		one[i] = 1;
	for (int shape = PD_CURVE_LEVEL; shape <= (int)PD_CURVE_APPROACH;
	     shape++) {
		pd_curve_mixed_spec s = {
			.model = { .n = r->n, .p = 1, .x = one, .y = r->y,
			           .depth = 1 },
			.v = r->v, .shape = (pd_curve_shape)shape,
			.level = 0.95 };

		s.model.group[0] = r->group;
		if (!hostile_status("turn", pd_curve_mixed_fit(arena, &s, &c,
		                                               ERR)))
			continue;
		hostile_number("turn", "value", c.turn.value, FINITE);
		hostile_number("turn", "low", c.turn.low, MAY_INF);
		hostile_number("turn", "high", c.turn.high, MAY_INF);
		hostile_estimate("slope", &c.slope, FINITE);
		hostile_number("turn", "deviance", c.deviance, FINITE);
	}
}

static void unequal(const rows *r, pd_arena *arena)
{
	pd_nested_spec s = { .n = r->n, .p = 2, .x = r->x, .y = r->y,
	                     .depth = 1 };
	pd_unequal *u = NULL;
	pd_estimate e;

	(void)arena;
	s.group[0] = r->group;
	if (hostile_status("classes", pd_nested_unequal(
		    &s, r->class_of, 2, 0.95, &u, ERR))) {
		const pd_estimate *l = &u->by_class[1].log_ratio;

		hostile_number("classes", "ratio", l->value, FINITE);
		hostile_number("classes", "low", l->low, MAY_INF);
		hostile_number("classes", "high", l->high, MAY_INF);
		hostile_number("classes", "p", u->p, FINITE);
		if (hostile_status("classes", pd_unequal_contrast(
			    u, arm_2, 0.95, PD_KENWARD_ROGER, &e, ERR)))
			hostile_estimate("classes", &e, FINITE);
	}
	pd_unequal_free(u);
}

static void few_counts(const rows *r, pd_arena *arena)
{
	pd_mixed_spec s = { .rows = { .n = r->n, .p = 2, .x = r->x,
	                              .y = r->y, .extra = true },
	                    .group = r->group, .nodes = 5 };
	pd_mixed_side side;
	pd_mixed_fit f;
	pd_estimate e;
	double low, high;

	if (!hostile_status("counts", pd_count_mixed(arena, &s, &f, ERR)))
		return;
	if (hostile_status("few", pd_count_mixed_small(
		    &s, &f, arm_2, 0.95, &e, &side, ERR)))
		hostile_estimate("few", &e, FINITE);
	if (hostile_status("profile", pd_count_mixed_profile(
		    &s, &f, arm_2, 0.95, &low, &high, ERR))) {
		hostile_number("profile", "low", low, MAY_INF);
		hostile_number("profile", "high", high, MAY_INF);
	}
	if (hostile_status("sd", pd_count_mixed_sd_limits(
		    &s, &f, 0.95, &low, &high, ERR))) {
		hostile_number("sd", "low", low, FINITE);
		hostile_number("sd", "high", high, MAY_INF);
	}
}

static void dishes(const rows *r, pd_arena *arena)
{
	pd_dishes_spec s = { .n = r->n, .count = r->y, .sample = r->group,
	                     .draws = 99 };
	pd_dishes d;

	for (int plated = 0; plated < 2; plated++) {
		s.exposure = plated ? r->v : NULL;
		if (!hostile_status("dishes", pd_dishes_test(arena, &s, &d,
		                                             ERR)))
			continue;
		hostile_number("dishes", "index", d.index, FINITE);
		hostile_number("dishes", "p", d.p, FINITE);
		hostile_number("dishes", "p_chisq", d.p_chisq, FINITE);
		hostile_number("dishes", "factor", d.factor, FINITE);
	}
}

/* Two means, plain coefficients: the first of y and v as they come. */
static void compared(const rows *r, pd_arena *arena)
{
	static const double c[4] = { 1, 0, 0, 1 };
	double b[2] = { r->n ? r->y[0] : 0, r->n > 1 ? r->y[1] : 1 };
	double v = r->n > 2 ? r->v[2] : 1, cov[4] = { v, v / 3, v / 3, v };
	pd_plain plain = { 2, b, cov, (double)r->n };
	pd_fitted f = pd_fitted_plain(&plain);
	pd_estimate e[2];

	(void)arena;
	for (int how = PD_TOGETHER_HOLM; how <= (int)PD_TOGETHER_NONE;
	     how++) {
		pd_comparing way = { (pd_together)how, 2, 0.95 };
		pd_comparison o[1];

		/* the lattice of the joint law takes its time */
		if (how == (int)PD_TOGETHER_JOINT && r->n != 3)
			continue;
		if (hostile_status("compared", pd_compare_pairs(
			    &f, c, 2, &way, o, NULL, ERR)))
			hostile_estimate("compared", &o[0].e, FINITE);
	}
	if (r->n == 5 && hostile_status("joint", pd_joint_limits(
		    b, cov, 2, (double)r->n, 2, 0.95, e, NULL, ERR)))
		for (int i = 0; i < 2; i++)
			hostile_estimate("joint", &e[i], FINITE);
}

static void totals(const rows *r, pd_arena *arena)
{
	static const pd_total_pull pull[2] = { { 0, 0, 0, 0 },
	                                       { 0, 0, 1, 1 } };
	const pd_total_layout layout = { 2, pull };
	double x[1] = { 1 }, beta[1], cov[1], out[20];
	pd_total_law law = { .p = 1, .n_rows = 1, .x = x, .beta = beta,
	                     .covariance = cov, .df = 8 };

	(void)arena;
	beta[0] = r->n ? r->y[0] : 0;
	cov[0] = r->n > 1 ? r->v[1] : 0.1;
	law.case_sd = r->n > 2 ? r->v[2] : 0.3;
	if (hostile_status("total", pd_total_draw(&law, &layout, 1, 20, 4,
	                                          out, ERR)))
		for (int i = 0; i < 20; i++)
			hostile_number("total", "draw", out[i], FINITE);
}

static void studies(const rows *r, pd_arena *arena)
{
	pd_pool_limits l;

	(void)arena;
	if (!hostile_status("studies", pd_pool_limits_of(
		    r->y, r->v, NULL, r->n, 1, 0.95, &l, ERR)))
		return;
	hostile_number("studies", "low", l.tau2_low, FINITE);
	hostile_number("studies", "high", l.tau2_high, FINITE);
	hostile_number("studies", "i2", l.i2_high, FINITE);
	hostile_number("studies", "h2", l.h2_high, FINITE);
}

static attempt *const rooms[] = { curves, unequal, few_counts, dishes,
                                  compared, totals, studies };
enum { ROOMS = sizeof rooms / sizeof *rooms };

static void fill(rows *r, size_t n, unsigned kind, unsigned other,
                 int grouping)
{
	r->n = n;
	hostile_fill(r->y, n, kind, 7);
	hostile_fill(r->v, n, other, 8);
	for (size_t i = 0; i < n; i++) {
		r->x[2 * i] = 1;
		r->x[2 * i + 1] = r->v[i];
		r->group[i] = (int32_t)(grouping == 0 ? i / 6 :
		                        grouping == 1 ? 0 :
		                        grouping == 2 ? i : i * i / 40);
		r->class_of[i] = (int32_t)((i + i / 3) % 2);
	}
}

START_TEST(fits)
{
	static const size_t sizes[] = { 0, 1, 2, 3, 5, 12, 31 };
	static rows r;
	char now[160];
	unsigned before = hostile_wrong();

	hostile_now = now;
	for (unsigned kind = 0; kind < HOSTILE_KINDS; kind++)
		for (size_t k = 0; k < 7; k++)
			for (unsigned c = 0; c < 8; c++) {
				unsigned y = c == 7 ? 0 : kind;
				unsigned x = c < 4 ? 15 : kind;
				pd_arena *arena = pd_arena_new();

				ck_assert_ptr_nonnull(arena);
				fill(&r, sizes[k], y, x, (int)(c % 4));
				snprintf(now, sizeof now, "%zu rows, %s on "
				         "%s, grouping %u", sizes[k],
				         hostile_name(y), hostile_name(x),
				         c % 4);
				rooms[_i](&r, arena);
				pd_arena_free(arena);
			}
	ck_assert_uint_gt(hostile_seen(), 100);
	ck_assert_uint_eq(hostile_wrong(), before);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("hostile data, fits");
	TCase *t = tcase_create("fits");

	pd_base_init();
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, fits, 0, ROOMS);
	suite_add_tcase(s, t);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
