/*
 * check_hostile_rooms.c - the newer rooms of stats, handed what nobody should
 * hand in: see hostile.h and check_hostile.c.
 *
 * Allowed beside finite numbers, as the headers say: balance: standardised
 * differences infinite without spread, NaN for factors, ratio NaN; influence:
 * cook and cov_ratio INFINITY and shift NaN where a group alone knows a
 * coefficient; profile: se and p NaN; repeated readings: se_1986, trend and
 * the within-unit sd NaN, same's se, df and p NaN; equivalence: ratio_high
 * INFINITY past the largest double, E values likewise; colonies NaN where tnc
 * or mL is not known.
 */
#include "hostile.h"

#include "stats/agree_repeated.h"
#include "stats/bootstrap.h"
#include "stats/censored_mixed.h"
#include "stats/colony.h"
#include "stats/count_nested.h"
#include "stats/crossed.h"
#include "stats/equivalence.h"
#include "stats/evalue.h"
#include "stats/nested_influence.h"
#include "stats/nested_profile.h"
#include "stats/normality.h"
#include "stats/permute.h"
#include "stats/printed.h"
#include "stats/robust_cluster.h"
#include "stats/spline.h"
#include "stats/step.h"
#include "stats/weighting.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define ERR &hostile_err

static const double arm_2[2] = { 0, 1 };

typedef struct rows {
	size_t n;
	double y[HOSTILE_MOST], v[HOSTILE_MOST], x[2 * HOSTILE_MOST];
	int32_t group[HOSTILE_MOST], inner[HOSTILE_MOST], arm[HOSTILE_MOST];
} rows;

typedef void attempt(const rows *r);

static void numbers(const char *room, const char *field, const double *v,
                    size_t n, int may)
{
	for (size_t i = 0; i < n; i++)
		hostile_number(room, field, v[i], may);
}

static pd_nested_spec tree(const rows *r, size_t depth)
{
	pd_nested_spec s = { .n = r->n, .p = 2, .x = r->x, .y = r->y,
	                     .depth = depth };

	s.group[0] = r->group;
	s.group[1] = r->inner;
	return s;
}

static void crossed(const rows *r)
{
	pd_crossed_spec s = { .tree = tree(r, 1), .n_factors = 1,
	                      .factor = { r->arm } };
	pd_crossed *c = NULL;
	pd_estimate e;
	pd_status st = pd_crossed_new(&s, &c, ERR);

	if (st == PD_OK)
		st = pd_crossed_fit(c, ERR);
	if (hostile_status("crossed", st)) {
		numbers("crossed", "beta", pd_crossed_beta(c), 2, FINITE);
		for (int k = PD_KENWARD_ROGER; k <= (int)PD_NORMAL; k++)
			if (hostile_status("crossed", pd_crossed_contrast(
				    c, arm_2, 0.95, (pd_df_method)k, &e,
				    ERR)))
				hostile_estimate("crossed", &e, FINITE);
	}
	pd_crossed_free(c);
}

static void influence(pd_nested *m, const rows *r)
{
	pd_influence *f = NULL;

	if (!hostile_status("influence", pd_nested_influence(m, &f, ERR)))
		return;
	for (size_t g = 0; g < f->groups; g++) {
		const pd_left_out *o = &f->group[g];

		hostile_number("influence", "leverage", o->leverage, FINITE);
		hostile_number("influence", "cook", o->cook,
		               o->determined ? FINITE : MAY_INF);
		hostile_number("influence", "distance", o->distance, FINITE);
	}
	numbers("influence", "marginal z", f->marginal_z, r->n, FINITE);
	numbers("influence", "conditional z", f->conditional_z, r->n, FINITE);
	numbers("influence", "independent", f->independent, r->n, FINITE);
	pd_influence_free(f);
}

static void fitted(const rows *r)
{
	pd_nested_spec s = tree(r, 1);
	pd_nested *m = NULL;
	pd_status st = pd_nested_new(&s, &m, ERR);
	pd_profile p;
	pd_clustered *c = NULL;
	pd_estimate e;

	if (st == PD_OK)
		st = pd_nested_fit(m, ERR);
	if (hostile_status("nested", st)) {
		if (hostile_status("profile", pd_nested_profile_contrast(
			    m, arm_2, 0.95, &p, ERR))) {
			hostile_number("profile", "low", p.e.low, FINITE);
			hostile_number("profile", "high", p.e.high, FINITE);
		}
		for (size_t at = 0; at < 2; at++)
			if (hostile_status("sd", pd_nested_profile_sd(
				    m, at, 0, true, 0.95, &p, ERR))) {
				hostile_number("sd", "low", p.e.low, FINITE);
				hostile_number("sd", "high", p.e.high,
				               FINITE);
			}
		if (hostile_status("robust", pd_clustered_nested(
			    m, NULL, &c, ERR)) &&
		    hostile_status("robust", pd_clustered_contrast(
			    c, arm_2, 0.95, &e, ERR)))
			hostile_estimate("robust", &e, FINITE);
		influence(m, r);
	}
	pd_clustered_free(c);
	pd_nested_free(m);
}

static void clustered(const rows *r)
{
	pd_clustered_spec s = { .n = r->n, .p = 2, .x = r->x, .y = r->y,
	                        .cluster = r->group };
	pd_clustered *c = NULL;
	pd_estimate e;

	if (hostile_status("clusters", pd_clustered_new(&s, &c, ERR)) &&
	    hostile_status("clusters", pd_clustered_contrast(
		    c, arm_2, 0.95, &e, ERR)))
		hostile_estimate("clusters", &e, FINITE);
	pd_clustered_free(c);
}

static void counts(const rows *r)
{
	pd_arena *arena = pd_arena_new();
	pd_count_nested_spec s = { .rows = { .n = r->n, .p = 2, .x = r->x,
	                                     .y = r->y },
	                           .outer = r->group, .inner = r->inner,
	                           .nodes = 3 };
	pd_count_nested_fit f;
	pd_estimate e;

	if (arena && r->n < 20 &&
	    hostile_status("counts", pd_count_nested(arena, &s, &f, ERR))) {
		hostile_number("counts", "sd", f.sd_outer, FINITE);
		hostile_number("counts", "value", f.log_likelihood, FINITE);
		if (hostile_status("counts", pd_count_nested_contrast(
			    &f, arm_2, 0.95, &e, ERR)))
			hostile_estimate("counts", &e, FINITE);
	}
	pd_arena_free(arena);
}

static void limits(const rows *r)
{
	pd_arena *arena = pd_arena_new();
	double low[HOSTILE_MOST];
	pd_censored_mixed_fit f;
	pd_estimate e;

	for (size_t i = 0; i < r->n; i++)
		low[i] = i % 5 == 1 ? -INFINITY : r->y[i];
	pd_censored_mixed_spec s = { .rows = { .n = r->n, .p = 2, .x = r->x,
	                                       .low = low, .high = r->y },
	                             .group = r->group };
	if (arena && r->n < 20 &&
	    hostile_status("limits", pd_censored_mixed(arena, &s, &f, ERR))) {
		hostile_number("limits", "scale", f.scale, FINITE);
		if (hostile_status("limits", pd_censored_mixed_contrast(
			    &f, arm_2, 0.95, &e, ERR)))
			hostile_estimate("limits", &e, FINITE);
	}
	pd_arena_free(arena);
}

static void weights(const rows *r)
{
	pd_logistic_data d = { .n = r->n, .p = 2, .x = r->x, .arm = r->arm };
	pd_logistic *f = NULL;
	pd_balance *b = NULL;
	double even[HOSTILE_MOST], y[HOSTILE_MOST];
	size_t lines = 0;

	for (size_t i = 0; i < r->n; i++) {
		even[i] = 1;
		y[i] = r->y[i];
	}
	pd_column column = { .name = "y", .kind = PD_REAL, .real = y };
	const pd_column *columns[] = { &column };

	if (hostile_status("balance", pd_balance_table(
		    columns, 1, r->arm, even, r->n, &b, &lines, ERR)))
		for (size_t k = 0; k < lines; k++) {
			hostile_number("balance", "mean", b[k].mean[0],
			               FINITE);
			hostile_number("balance", "sd", b[k].sd[1], FINITE);
			hostile_number("balance", "before", b[k].before,
			               MAY_INF);
			hostile_number("balance", "after", b[k].after,
			               MAY_INF);
		}
	free(b);
	if (!hostile_status("chance", pd_logistic_fit(&d, &f, ERR)))
		return;
	numbers("chance", "coef", f->coef, 2, FINITE);
	numbers("chance", "se", f->se, 2, FINITE);
	for (int k = PD_TARGET_OVERLAP; k <= (int)PD_TARGET_ARM_ONE; k++) {
		pd_weighted_data w = { .model = &d, .fit = f, .y = r->y,
		                       .target = (pd_target)k, .level = 0.95 };
		pd_weighted o;

		if (hostile_status("weighted", pd_weighted_contrast(&w, &o,
		                                                    ERR))) {
			hostile_estimate("weighted", &o.estimate, FINITE);
			hostile_estimate("known", &o.known, FINITE);
		}
	}
	pd_logistic_free(f);
}

static void splines(const rows *r)
{
	pd_spline s;

	for (size_t k = 3; k < 6; k++)
		if (hostile_status("knots", pd_spline_default(
			    r->y, r->n, k, &s, ERR))) {
			double b[PD_SPLINE_MOST], d[PD_SPLINE_MOST];

			numbers("knots", "knot", s.knot, k, FINITE);
			pd_spline_basis(&s, r->y[0], b);
			pd_spline_slope(&s, r->y[0], d);
			numbers("knots", "column", b, k - 1, FINITE);
			numbers("knots", "slope", d, k - 1, FINITE);
		}
}

static void pairs(const rows *r)
{
	pd_margin m = { 0.8, 1.25 };
	pd_equivalence e;
	pd_boot b;
	pd_permutation p;
	pd_normality z;
	pd_boot_plan plan = { .n_rows = r->n, .level = 0.95, .draws = 99,
	                      .unit = r->group, .n_units = HOSTILE_MOST };
	pd_permute_plan labels = { .n_rows = r->n, .value = r->y,
	                           .arm = r->arm, .draws = 99 };

	if (hostile_status("equal", pd_equivalence_paired(
		    r->y, r->v, r->n, &m, 0.05, &e, ERR))) {
		hostile_estimate("equal", &e.log, FINITE);
		hostile_number("equal", "p", e.p, FINITE);
		hostile_number("equal", "high", e.ratio_high, MAY_INF);
	}
	if (hostile_status("equal", pd_equivalence_groups(
		    r->y, r->n, r->v, r->n, PD_VARIANCES_APART, &m, 0.05, &e,
		    ERR)))
		hostile_estimate("equal groups", &e.log, FINITE);
	if (hostile_status("drawn", pd_bootstrap_mean(&plan, r->y, &b,
	                                              ERR))) {
		hostile_number("drawn", "low", b.low, FINITE);
		hostile_number("drawn", "se", b.se, FINITE);
	}
	if (hostile_status("drawn", pd_bootstrap_ratio(&plan, r->y, r->v, &b,
	                                               ERR)))
		hostile_number("drawn ratio", "low", b.low, FINITE);
	if (hostile_status("labels", pd_permute(&labels, &p, ERR))) {
		hostile_number("labels", "p", p.flip.p, FINITE);
		hostile_number("labels", "statistic", p.statistic, FINITE);
	}
	if (hostile_status("shape", pd_normality_test(r->y, r->n, &z, ERR))) {
		hostile_number("shape", "p", z.p_joint, FINITE);
		hostile_number("shape", "skew", z.skew, FINITE);
	}
}

static void readings(const rows *r)
{
	pd_limits_repeated l;
	pd_repeat_many m;

	if (hostile_status("linked", pd_agree_linked(
		    r->y, r->v, r->group, r->n, HOSTILE_MOST, 1.96, 0.95, &l,
		    ERR))) {
		hostile_estimate("linked", &l.limits.bias, FINITE);
		hostile_number("linked", "sd", l.limits.sd, FINITE);
		hostile_number("linked", "from", l.limits.low_from, FINITE);
		hostile_number("linked", "to", l.limits.high_to, FINITE);
	}
	if (hostile_status("many", pd_agree_repeat_many(
		    r->y, r->group, r->n, HOSTILE_MOST, 0.95, &m, ERR))) {
		hostile_number("many", "sw", m.sw, FINITE);
		hostile_number("many", "sw_high", m.sw_high, FINITE);
		hostile_number("many", "same", m.same.value, FINITE);
		hostile_number("many", "same low", m.same.low, FINITE);
	}
}

static void steps(const rows *r)
{
	pd_step_search how = { .edge = 2, .draws = 99, .level = 0.95 };
	pd_step s;

	if (!hostile_status("step", pd_step_find(r->y, r->n, &how, NULL, &s,
	                                         ERR)))
		return;
	hostile_number("step", "p", s.p, FINITE);
	hostile_number("step", "low", s.low, FINITE);
	hostile_number("step", "high", s.high, FINITE);
	hostile_estimate("step", &s.step, FINITE);
	hostile_number("step", "stretch", s.stretch, FINITE);
}

/* The first values of y and v as printed numbers. */
static void prints(const rows *r)
{
	double a = r->n > 0 ? r->y[0] : 0, b = r->n > 1 ? r->y[1] : 0,
	       c = r->n > 2 ? r->v[2] : 1;
	pd_printed p, q;
	pd_estimate e;
	pd_evalues v;
	pd_colonies k;

	if (hostile_status("print", pd_printed_mean_sd(a, b, r->n, &p,
	                                               ERR))) {
		hostile_number("print", "log_mean", p.log_mean, FINITE);
		hostile_number("print", "log_se", p.log_se, FINITE);
		if (hostile_status("print", pd_printed_mean_sd(
			    c, b, 12, &q, ERR)) &&
		    hostile_status("print", pd_printed_ratio(
			    &p, &q, 0.95, &e, ERR)))
			hostile_estimate("print", &e, FINITE);
	}
	if (hostile_status("print", pd_printed_geometric(
		    b, a, c, 0.95, r->n, 0, &p, ERR)))
		hostile_number("print", "log_sd", p.log_sd, FINITE);
	if (hostile_status("evalue", pd_evalue_ratio(
		    b, a, c, PD_RATIO_RISK, &v, ERR))) {
		hostile_number("evalue", "estimate", v.estimate, MAY_INF);
		hostile_number("evalue", "limit", v.limit, MAY_INF);
	}
	if (hostile_status("colonies", pd_colonies_of(
		    r->y, r->v, r->n, fabs(a), c, 0.95, &k, ERR))) {
		hostile_number("colonies", "rate", k.per_million.value,
		               FINITE);
		hostile_number("colonies", "high", k.per_million.high,
		               FINITE);
		hostile_number("colonies", "draw", k.of_draw.high,
		               MAY_NAN);
	}
}

static attempt *const rooms[] = { crossed, fitted, clustered, counts, limits,
                                  weights, splines, pairs, readings, steps,
                                  prints };
enum { ROOMS = sizeof rooms / sizeof *rooms };

static void fill(rows *r, size_t n, unsigned kind, unsigned other,
                 int grouping)
{
	r->n = n;
	hostile_fill(r->y, n, kind, 5);
	hostile_fill(r->v, n, other, 6);
	for (size_t i = 0; i < n; i++) {
		r->x[2 * i] = 1;
		r->x[2 * i + 1] = r->v[i];
		r->group[i] = (int32_t)(grouping == 0 ? i / 6 :
		                        grouping == 1 ? 0 :
		                        grouping == 2 ? i : i * i / 40);
		r->inner[i] = (int32_t)(i / 2 % 3);
		r->arm[i] = (int32_t)((i + i / 3) % 2);
	}
}

START_TEST(newer_rooms)
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

				fill(&r, sizes[k], y, x, (int)(c % 4));
				snprintf(now, sizeof now, "%zu rows, %s on "
				         "%s, grouping %u", sizes[k],
				         hostile_name(y), hostile_name(x),
				         c % 4);
				rooms[_i](&r);
			}
	ck_assert_uint_gt(hostile_seen(), 100);
	ck_assert_uint_eq(hostile_wrong(), before);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("hostile data, newer rooms");
	TCase *t = tcase_create("rooms");

	pd_base_init();
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, newer_rooms, 0, ROOMS);
	suite_add_tcase(s, t);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
