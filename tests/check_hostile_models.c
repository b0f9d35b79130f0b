/*
 * check_hostile_models.c - the models and the rooms of single numbers, handed
 * what nobody should hand in: outcomes and columns of every kind of
 * hostile.h, as many columns as rows, no rows, groups of one, one group.
 *
 * Allowed beside finite numbers, as the headers say: linear f INFINITY for an
 * exact fit; theta INFINITY (a Poisson law) and then se_log_theta NaN; se of
 * ln sd NaN where sd is 0; nested F test df2 INFINITY.
 */
#include "hostile.h"

#include "stats/censored.h"
#include "stats/count_mixed.h"
#include "stats/control.h"
#include "stats/design.h"
#include "stats/impute.h"
#include "stats/linear.h"
#include "stats/power.h"
#include "stats/robust.h"
#include "stats/sequential.h"

#include <check.h>
#include <math.h>
#include <stdio.h>

#define ERR &hostile_err

/* y, a column beside the ones, groups; p columns in x (1 .. n). */
typedef struct rows {
	size_t n, p;
	double y[HOSTILE_MOST], v[HOSTILE_MOST];
	double x[HOSTILE_MOST * 3];
	int32_t group[HOSTILE_MOST], inner[HOSTILE_MOST];
} rows;

typedef void attempt(const rows *r);

static void numbers(const char *room, const char *field, const double *v,
                    size_t n, int may)
{
	for (size_t i = 0; i < n; i++)
		hostile_number(room, field, v[i], may);
}

static void linear(const rows *r)
{
	pd_regressor c[2] = { { "v", r->v, NULL }, { "w", r->y, NULL } };
	pd_linear_data d = { .n = r->n, .y = r->y, .intercept = 1,
	                     .n_columns = r->p - 1, .column = c };
	pd_linear_fit *f = NULL;
	pd_robust_fit *g = NULL;

	if (hostile_status("linear", pd_linear(&d, &f, ERR))) {
		numbers("linear", "coef", f->coef, f->p, FINITE);
		numbers("linear", "se", f->se, f->p, FINITE);
		numbers("linear", "leverage", f->leverage, f->n, FINITE);
		hostile_number("linear", "f", f->f, MAY_INF);
		hostile_number("linear", "f_p", f->f_p, FINITE);
		hostile_number("linear", "r_squared", f->r_squared, FINITE);
		hostile_number("linear", "condition", f->condition, FINITE);
	}
	pd_linear_free(f);
	f = NULL;
	if (hostile_status("polynomial", pd_polynomial(
		    r->v, r->y, r->n, 2, 1, &f, ERR))) {
		numbers("polynomial", "coef", f->coef, f->p, FINITE);
		numbers("polynomial", "se", f->se, f->p, FINITE);
	}
	pd_linear_free(f);
	for (int rule = 0; rule < 2; rule++) {
		if (hostile_status("robust", pd_robust(
			    &d, rule ? PD_BISQUARE : PD_HUBER, &g, ERR))) {
			numbers("robust", "coef", g->coef, g->p, FINITE);
			numbers("robust", "se", g->se, g->p, FINITE);
			hostile_number("robust", "scale", g->scale, FINITE);
		}
		pd_robust_free(g);
	}
}

static pd_nested_spec spec_of(const rows *r, size_t depth)
{
	pd_nested_spec s = { .n = r->n, .p = r->p, .x = r->x, .y = r->y,
	                     .depth = depth };

	s.group[0] = r->group;
	s.group[1] = r->inner;
	return s;
}

static void nested(const rows *r)
{
	static const double c[3] = { 0.4, 0.7, 0.2 };
	static const pd_df_method how[] = { PD_KENWARD_ROGER,
	                                    PD_SATTERTHWAITE, PD_NORMAL };

	for (size_t depth = 0; depth < 3; depth++) {
		pd_nested_spec s = spec_of(r, depth);
		pd_nested *m = NULL;
		pd_status st = pd_nested_new(&s, &m, ERR);

		if (st == PD_OK)
			st = pd_nested_fit(m, ERR);
		if (!hostile_status("nested", st)) {
			pd_nested_free(m);
			continue;
		}
		numbers("nested", "beta", pd_nested_beta(m), r->p, FINITE);
		numbers("nested", "covariance", pd_nested_covariance(m),
		        r->p * r->p, FINITE);
		hostile_number("nested", "sd", pd_nested_residual_sd(m),
		               FINITE);
		for (size_t k = 0; k < 3; k++) {
			pd_estimate e;
			pd_f_test f;

			if (hostile_status("contrast", pd_nested_contrast(
				    m, c, 0.95, how[k], &e, ERR)))
				hostile_estimate("contrast", &e, FINITE);
			if (hostile_status("F test", pd_nested_f_test(
				    m, c, 1, how[k], &f, ERR))) {
				hostile_number("F test", "f", f.f, FINITE);
				hostile_number("F test", "p", f.p, FINITE);
				hostile_number("F test", "df2", f.df2,
				               MAY_INF);
			}
		}
		pd_nested_free(m);
	}
}

static void imputed(const rows *r)
{
	static const double c[3] = { 0.4, 0.7, 0.2 };
	double low[HOSTILE_MOST], high[HOSTILE_MOST];
	pd_impute *m = NULL;
	pd_estimate e;

	for (size_t i = 0; i < r->n; i++) {
		low[i] = i % 5 == 1 ? -INFINITY : r->y[i];
		high[i] = r->y[i];
	}
	pd_impute_spec s = { .model = spec_of(r, 1), .low = low, .high = high,
	                     .draws = 3, .seed = 9 };
	if (hostile_status("imputed", pd_impute_fit(&s, &m, ERR)) &&
	    hostile_status("imputed", pd_impute_contrast(
		    m, c, 0.95, PD_KENWARD_ROGER, &e, ERR)))
		hostile_estimate("imputed", &e, FINITE);
	pd_impute_free(m);
}

static void counts(const rows *r)
{
	static const double c[3] = { 0.4, 0.7, 0.2 };
	pd_arena *arena = pd_arena_new();
	pd_mixed_spec s = { .rows = { .n = r->n, .p = r->p, .x = r->x,
	                              .y = r->y },
	                    .group = r->group, .nodes = 5 };

	ck_assert_ptr_nonnull(arena);
	for (int extra = 0; extra < 2; extra++) {
		pd_count_fit f;
		pd_mixed_fit g;
		pd_estimate e;
		double low, high;

		s.rows.extra = extra != 0;
		if (hostile_status("counts", pd_count_regression(
			    arena, &s.rows, &f, ERR))) {
			numbers("counts", "beta", f.beta, r->p, FINITE);
			hostile_number("counts", "theta", f.theta, MAY_INF);
			hostile_number("counts", "deviance", f.deviance,
			               FINITE);
			if (hostile_status("counts", pd_count_contrast(
				    &f, c, 0.95, &e, ERR)))
				hostile_estimate("counts", &e, FINITE);
			if (hostile_status("profile", pd_count_profile(
				    &s.rows, &f, 0, 0.95, &low, &high, ERR))) {
				hostile_number("profile", "low", low, MAY_INF);
				hostile_number("profile", "high", high,
				               MAY_INF);
			}
		}
		if (hostile_status("patients", pd_count_mixed(
			    arena, &s, &g, ERR))) {
			numbers("patients", "beta", g.beta, r->p, FINITE);
			hostile_number("patients", "sd", g.sd, FINITE);
			hostile_number("patients", "value", g.log_likelihood,
			               FINITE);
			if (hostile_status("patients", pd_count_mixed_contrast(
				    &g, c, 0.95, &e, ERR)))
				hostile_estimate("patients", &e, FINITE);
		}
	}
	pd_arena_free(arena);
}

static void censored(const rows *r)
{
	static const double c[3] = { 0.4, 0.7, 0.2 };
	double low[HOSTILE_MOST];
	pd_arena *arena = pd_arena_new();

	ck_assert_ptr_nonnull(arena);
	for (int log = 0; log < 2; log++) {
		pd_censored_fit f;
		pd_estimate e;

		for (size_t i = 0; i < r->n; i++)
			low[i] = i % 5 == 1 ? log ? 0 : -INFINITY : r->y[i];
		pd_censored_spec s = { .n = r->n, .p = r->p, .x = r->x,
		                       .low = low, .high = r->y,
		                       .log = log != 0 };
		if (!hostile_status("censored", pd_censored_regression(
			    arena, &s, &f, ERR)))
			continue;
		numbers("censored", "beta", f.beta, r->p, FINITE);
		hostile_number("censored", "scale", f.scale, FINITE);
		if (hostile_status("censored", pd_censored_contrast(
			    &f, c, 0.95, &e, ERR)))
			hostile_estimate("censored", &e, FINITE);
	}
	pd_arena_free(arena);
}

static void split(const rows *r)
{
	double within[HOSTILE_MOST + 1], between[HOSTILE_MOST + 1];

	if (hostile_status("split", pd_split_within(
		    r->y, r->group, r->n, HOSTILE_MOST, within, between,
		    ERR))) {
		numbers("split", "within", within, r->n, FINITE);
		numbers("split", "between", between, r->n, FINITE);
	}
}

static attempt *const rooms[] = { linear, nested, imputed, counts, censored,
                                  split };
enum { ROOMS = sizeof rooms / sizeof *rooms };

/* Groups: 0 in threes, 1 all one, 2 each its own, 3 of uneven size. */
static void fill(rows *r, size_t n, size_t p, unsigned kind, unsigned other,
                 int grouping)
{
	r->n = n;
	r->p = p;
	hostile_fill(r->y, n, kind, 5);
	hostile_fill(r->v, n, other, 6);
	for (size_t i = 0; i < n; i++) {
		double row[3] = { 1, r->v[i], (double)(i * i % 7) };

		for (size_t j = 0; j < p; j++)
			r->x[p * i + j] = row[j];
		r->group[i] = (int32_t)(grouping == 0 ? i / 6 :
		                        grouping == 1 ? 0 :
		                        grouping == 2 ? i : i * i / 40);
		r->inner[i] = (int32_t)(100 * r->group[i] +
		                        (int32_t)(i / 2 % 3));
	}
}

START_TEST(models)
{
	static const size_t sizes[] = { 0, 1, 2, 3, 5, 12, 31 };
	static rows r;
	char now[160];
	unsigned before = hostile_wrong();

	hostile_now = now;
	for (unsigned kind = 0; kind < HOSTILE_KINDS; kind++)
		for (size_t k = 0; k < 7; k++)
			for (unsigned c = 0; c < 8; c++) {
				unsigned other = c < 4 ? 15 : kind;
				int grouping = (int)(c % 4);
				size_t p = 1 + (c + k) % 3;

				fill(&r, sizes[k], p, c == 7 ? 0 : kind, other,
				     grouping);
				snprintf(now, sizeof now, "%zu rows, %zu "
				         "columns, %s on %s, grouping %d",
				         sizes[k], p,
				         hostile_name(c == 7 ? 0 : kind),
				         hostile_name(other), grouping);
				rooms[_i](&r);
			}
	ck_assert_uint_gt(hostile_seen(), 100);
	ck_assert_uint_eq(hostile_wrong(), before);
}
END_TEST

/* ---- single numbers ---------------------------------------------------- */

static const double odd[] = { 0, -1, 1, 0.05, 0.5, 2, 30, 1e5, 1e308, 1e-308,
                              -1e308, NAN, INFINITY, -INFINITY };
enum { ODD = sizeof odd / sizeof *odd };

START_TEST(trials)
{
	unsigned before = hostile_wrong();
	char now[160];

	hostile_now = now;
	for (size_t i = 0; i < ODD; i++)
		for (size_t j = 0; j < ODD; j++)
			for (int kind = PD_TRIAL_PAIRS;
			     kind <= (int)PD_TRIAL_CROSSOVER; kind++) {
				pd_trial t = { (pd_trial_kind)kind, 0.3, 0.5,
				               0.05, 2, 0, -0.2, 0.2 };
				pd_trial_size s;
				double d, p = 0.8;
				double *place[] = { &t.effect, &t.sd, &t.alpha,
				                    &t.low, &t.null, &p };

				*place[j % 6] = odd[i];
				snprintf(now, sizeof now, "kind %d, place "
				         "%zu, %g", kind, j % 6, odd[i]);
				if (hostile_status("size", pd_size_t(
					    &t, p, &s, ERR)))
					hostile_number("size", "n", s.n,
					               FINITE);
				if (hostile_status("equal", pd_size_equivalence(
					    &t, p, &s, ERR)))
					hostile_number("equal", "n", s.n,
					               FINITE);
				if (hostile_status("least", pd_power_detectable(
					    &t, 12, p, &d, ERR)))
					hostile_number("least", "d", d,
					               FINITE);
			}
	ck_assert_uint_eq(hostile_wrong(), before);
}
END_TEST

START_TEST(looks)
{
	unsigned before = hostile_wrong();
	char now[160];

	hostile_now = now;
	for (size_t i = 0; i < ODD; i++)
		for (size_t j = 0; j < 6; j++) {
			pd_spending_plan plan = { PD_SPEND_POWER, 2, 0.025,
			                          2 };
			double t[3] = { 1, 2, 3 }, planned = 3, z[3], c;
			double low[3] = { -2, -2, -2 }, high[3] = { 2, 2, 2 };
			double above[3], below[3], drift;
			double *place[] = { &plan.power, &plan.alpha, &t[1],
			                    &planned, &high[1], &low[2] };

			*place[j] = odd[i];
			snprintf(now, sizeof now, "place %zu, %g", j, odd[i]);
			if (hostile_status("bounds", pd_sequential_bounds(
				    &plan, t, 3, planned, 0, z, ERR)))
				numbers("bounds", "z", z, 3, MAY_INF);
			if (hostile_status("chances", pd_sequential_chances(
				    t, low, high, 3, 0.5, above, below, ERR)))
				numbers("chances", "above", above, 3, FINITE);
			if (hostile_status("drift", pd_sequential_drift(
				    t, low, high, 3, 0.8, &drift, ERR)))
				hostile_number("drift", "drift", drift,
				               FINITE);
			if (hostile_status("classical", pd_classical_constant(
				    t, 3, 0.5, plan.alpha, &c, ERR)))
				hostile_number("classical", "c", c, FINITE);
		}
	ck_assert_uint_eq(hostile_wrong(), before);
}
END_TEST

START_TEST(chart_runs)
{
	unsigned before = hostile_wrong();
	char now[160];

	hostile_now = now;
	for (size_t i = 0; i < ODD; i++)
		for (size_t j = 0; j < 4; j++) {
			double k = 0.5, h = 4, shift = 1, lambda = 0.2;
			double upper, both, run, limit;
			double *place[] = { &k, &h, &shift, &lambda };

			*place[j] = odd[i];
			snprintf(now, sizeof now, "place %zu, %g", j, odd[i]);
			if (hostile_status("sums", pd_control_sums_run(
				    k, h, shift, &upper, &both, ERR)))
				hostile_number("sums", "run", both, FINITE);
			if (hostile_status("average", pd_control_average_run(
				    lambda, h, shift, &run, ERR)))
				hostile_number("average", "run", run, FINITE);
			if (hostile_status("design", pd_control_sums_design(
				    k, 100 * shift, &limit, ERR)))
				hostile_number("design", "h", limit, FINITE);
			if (hostile_status("design", pd_control_average_design(
				    lambda, 100 * shift, &limit, ERR)))
				hostile_number("design", "L", limit, FINITE);
		}
	ck_assert_uint_eq(hostile_wrong(), before);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("hostile models");
	TCase *t = tcase_create("models");

	pd_base_init();
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, models, 0, ROOMS);
	tcase_add_test(t, trials);
	tcase_add_test(t, looks);
	tcase_add_test(t, chart_runs);
	suite_add_tcase(s, t);
	SRunner *r = srunner_create(s);

	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
