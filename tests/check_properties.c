/*
 * check_properties.c - what must hold for any data, of the linear, the nested
 * and the censored model. Counts are in check_property_counts.c, the smaller
 * rooms in check_property_small.c.
 *
 * Each property is tried on the designs of property_data.h. How many digits
 * may move is said beside each.
 */
#include "property_data.h"

#include "stats/censored.h"
#include "stats/linear.h"
#include "stats/nested.h"
#include "stats/stream.h"

#include <math.h>
#include <string.h>

/* ---- linear -------------------------------------------------------------- */

static pd_linear_fit *linear(const data *d, int constant)
{
	static double column[P][ROWS];
	pd_regressor c[P] = { { "arm", column[0], NULL },
	                      { "age", column[1], NULL },
	                      { "batch", column[2], NULL } };
	pd_linear_data l = { .n = d->n, .y = d->y, .intercept = 1,
	                     .n_columns = constant ? 3 : 2, .column = c };
	pd_linear_fit *f = NULL;

	for (size_t i = 0; i < d->n; i++) {
		column[0][i] = d->x[P * i + 1];
		column[1][i] = d->x[P * i + 2];
		column[2][i] = 3.25;
	}
	if (constant)
		refused_by_name(pd_linear(&l, &f, &err), "'batch'");
	else
		ok("linear", pd_linear(&l, &f, &err));
	return f;
}

/* Powers of 2 bit for bit; others, and row order, 1e-12. */
START_TEST(linear_for_any_data)
{
	data *d = make(_i, 11);
	pd_linear_fit *f = linear(d, 0), *g;

	scale(d->y, d->n, 0x1p-40);
	g = linear(d, 0);
	for (size_t j = 0; j < P; j++) {
		ck_assert(g->coef[j] == 0x1p-40 * f->coef[j]);
		ck_assert(g->se[j] == 0x1p-40 * f->se[j]);
	}
	ck_assert(g->r_squared == f->r_squared && g->f_p == f->f_p);
	pd_linear_free(g);
	scale(d->y, d->n, 0x1p40 * 1e-9);
	g = linear(shuffled(d, 3), 0);
	for (size_t j = 0; j < P; j++) {
		near("unit", g->coef[j], 1e-9 * f->coef[j], 1e-12);
		near("unit, se", g->se[j], 1e-9 * f->se[j], 1e-12);
	}
	pd_linear_free(g);
	scale(d->y, d->n, 1e9);
	swap_arms(d);
	g = linear(d, 0);
	near("arms", g->coef[1], -f->coef[1], 1e-12);
	near("arms, se", g->se[1], f->se[1], 1e-12);
	near("arms, base", g->coef[0], f->coef[0] + f->coef[1], 1e-12);
	pd_linear_free(g);
	ck_assert_ptr_null(linear(d, 1));
	pd_linear_free(f);
}
END_TEST

/* The same rows twice: sums double, df do not. */
START_TEST(linear_twice_and_beside)
{
	data *d = make(_i, 12);
	pd_linear_fit *f = linear(d, 0), *g = linear(doubled(d), 0);
	double n = (double)d->n;
	pd_stream s;

	for (size_t j = 0; j < P; j++) {
		near("twice", g->coef[j], f->coef[j], 1e-12);
		near("twice, se", g->se[j],
		     f->se[j] * sqrt((n - P) / (2 * n - P)), 1e-12);
	}
	near("twice, squares", g->residual_ss, 2 * f->residual_ss, 1e-12);
	pd_stream_init(&s, 13, (uint64_t)_i);
	for (int k = 0; k < PERTURBED; k++) {
		double b[P], ss = 0, far = pow(10, -(k % 6));

		for (size_t j = 0; j < P; j++)
			b[j] = f->coef[j] +
				far * f->se[j] * pd_stream_normal(&s);
		for (size_t i = 0; i < d->n; i++) {
			const double *x = d->x + P * i;
			double e = d->y[i] - b[0] * x[0] - b[1] * x[1] -
				b[2] * x[2];

			ss += e * e;
		}
		ck_assert(ss >= f->residual_ss * (1 - 1e-13));
	}
	pd_linear_free(f);
	pd_linear_free(g);
}
END_TEST

/* ---- nested -------------------------------------------------------------- */

typedef struct nested_answer {
	double theta[2], beta[P], se, deviance;
	pd_nested *m;
} nested_answer;

static pd_nested_spec nested_spec(const data *d)
{
	pd_nested_spec spec = { .n = d->n, .p = P, .x = d->x, .y = d->y,
	                        .depth = 2 };

	spec.group[0] = d->patient;
	spec.group[1] = d->visit;
	return spec;
}

static nested_answer nested(const data *d, bool ml)
{
	static const double c[P] = { 0, 1, 0 };
	nested_answer a = { .m = NULL };
	pd_nested_spec spec = nested_spec(d);
	pd_estimate e;

	spec.ml = ml;
	ok("nested", pd_nested_new(&spec, &a.m, &err));
	ok("nested", pd_nested_fit(a.m, &err));
	ok("contrast", pd_nested_contrast(a.m, c, 0.95, ml ? PD_NORMAL
	                                  : PD_KENWARD_ROGER, &e, &err));
	memcpy(a.theta, pd_nested_theta(a.m), sizeof a.theta);
	memcpy(a.beta, pd_nested_beta(a.m), sizeof a.beta);
	a.se = e.se;
	a.deviance = pd_nested_deviance(a.m, a.theta, NULL);
	return a;
}

static void same_nested(const char *what, const nested_answer *a,
                        const nested_answer *b, double unit, double sign,
                        double digits)
{
	close_to(what, b->theta[0], a->theta[0], digits);
	close_to(what, b->theta[1], a->theta[1], digits);
	close_to(what, b->beta[1], sign * unit * a->beta[1],
	         digits * unit * a->se);
	close_to(what, b->beta[2], unit * a->beta[2], digits * unit * a->se);
	near(what, b->se, unit * a->se, digits);
}

/* Powers of 2 bit for bit; other units, order, names and arms 1e-11 (of a
 * standard error, for effects; absolute, for ratios of spread). */
START_TEST(nested_for_any_data)
{
	data *d = make(_i, 21);
	nested_answer a = nested(d, false), b;

	scale(d->y, d->n, 0x1p-40);
	b = nested(d, false);
	ck_assert(b.theta[0] == a.theta[0] && b.theta[1] == a.theta[1]);
	for (size_t j = 0; j < P; j++)
		ck_assert(b.beta[j] == 0x1p-40 * a.beta[j]);
	ck_assert(b.se == 0x1p-40 * a.se);
	pd_nested_free(b.m);
	scale(d->y, d->n, 0x1p40 * 1e-9);
	b = nested(d, false);
	same_nested("unit", &a, &b, 1e-9, 1, 1e-11);
	pd_nested_free(b.m);
	scale(d->y, d->n, 1e9);
	b = nested(shuffled(d, 5), false);
	same_nested("order", &a, &b, 1, 1, 1e-11);
	pd_nested_free(b.m);
	rename_groups(d);
	b = nested(d, false);
	same_nested("names", &a, &b, 1, 1, 1e-11);
	pd_nested_free(b.m);
	swap_arms(d);
	b = nested(d, false);
	same_nested("arms", &a, &b, 1, -1, 1e-11);
	pd_nested_free(b.m);
	pd_nested_spec spec = nested_spec(d);

	spec.x = with_constant(d);
	spec.p = P + 1;
	refused_by_name(pd_nested_new(&spec, &b.m, &err), "column 4");
	pd_nested_free(a.m);
}
END_TEST

/* Every patient twice, maximum likelihood: the same variances and effects,
 * twice the log-likelihood. And no neighbour of the optimum is better. */
START_TEST(nested_twice_and_beside)
{
	data *d = make(_i, 22);
	nested_answer a = nested(d, true), b = nested(doubled(d), true);
	pd_stream s;

	b.se *= sqrt(2);
	same_nested("twice", &a, &b, 1, 1, 1e-7);
	close_to("twice, deviance", b.deviance, 2 * a.deviance,
	         1e-9 * (1 + fabs(a.deviance)));
	pd_nested_free(a.m);
	pd_nested_free(b.m);
	a = nested(d, false);
	pd_stream_init(&s, 23, (uint64_t)_i);
	for (int k = 0; k < PERTURBED; k++) {
		double far = pow(10, -(k % 6)), t[2];

		for (size_t j = 0; j < 2; j++)
			t[j] = fabs(a.theta[j] +
			            far * pd_stream_normal(&s));
		ck_assert(pd_nested_deviance(a.m, t, NULL) >=
		          a.deviance - 1e-10 * (1 + fabs(a.deviance)));
	}
	pd_nested_free(a.m);
}
END_TEST

/* ---- known by limits --------------------------------------------------- */

static pd_censored_fit censored(const data *d)
{
	pd_censored_spec spec = { .n = d->n, .p = P, .x = d->x,
	                          .low = d->low, .high = d->high };
	pd_censored_fit f;

	ok("censored", pd_censored_regression(arena, &spec, &f, &err));
	return f;
}

/* From the definition. */
static double likelihood_at(const data *d, const double *b, double scale)
{
	double sum = 0;

	for (size_t i = 0; i < d->n; i++) {
		const double *x = d->x + P * i;
		double fit = b[0] * x[0] + b[1] * x[1] + b[2] * x[2];
		double u = (d->low[i] - fit) / scale;
		double v = (d->high[i] - fit) / scale;

		if (u == v)
			sum -= 0.5 * u * u + log(scale) +
				0.5 * log(2 * acos(-1));
		else if (u > 0)
			sum += log((erfc(u / sqrt(2)) - erfc(v / sqrt(2))) /
			           2);
		else
			sum += log((erfc(-v / sqrt(2)) -
			            erfc(-u / sqrt(2))) / 2);
	}
	return sum;
}

static void same_censored(const char *what, const pd_censored_fit *a,
                          const pd_censored_fit *b, double sign, double unit)
{
	close_to(what, b->beta[1] / unit, sign * a->beta[1], 1e-9);
	close_to(what, b->beta[2] / unit, a->beta[2], 1e-9);
	near(what, b->scale, unit * a->scale, 1e-9);
	near(what, b->covariance[P + 2], unit * unit * a->covariance[P + 2],
	     1e-8);
}

START_TEST(censored_for_any_data)
{
	data *d = make(_i, 51);
	pd_censored_fit a = censored(d), b;

	b = censored(shuffled(d, 7));
	same_censored("order", &a, &b, 1, 1);
	scale(d->low, d->n, 0x1p-30);
	scale(d->high, d->n, 0x1p-30);
	b = censored(d);
	for (size_t j = 0; j < P; j++)
		ck_assert(b.beta[j] == 0x1p-30 * a.beta[j]);
	ck_assert(b.scale == 0x1p-30 * a.scale);
	scale(d->low, d->n, 0x1p30);
	scale(d->high, d->n, 0x1p30);
	scale(d->low, d->n, 1e-9);
	scale(d->high, d->n, 1e-9);
	b = censored(d);
	same_censored("unit", &a, &b, 1, 1e-9);
	scale(d->low, d->n, 1e9);
	scale(d->high, d->n, 1e9);
	swap_arms(d);
	b = censored(d);
	close_to("arms", b.beta[1], -a.beta[1], 1e-9);
	near("arms, scale", b.scale, a.scale, 1e-9);
	pd_censored_spec spec = { .n = d->n, .p = P + 1,
	                          .x = with_constant(d), .low = d->low,
	                          .high = d->high };

	refused_by_name(pd_censored_regression(arena, &spec, &b, &err),
	                "column 4");
}
END_TEST

START_TEST(censored_twice_and_beside)
{
	data *d = make(_i, 52);
	pd_censored_fit a = censored(d), b = censored(doubled(d));
	pd_stream s;

	near("twice", b.log_likelihood, 2 * a.log_likelihood, 1e-12);
	near("twice, scale", b.scale, a.scale, 1e-9);
	near("twice, se", b.covariance[P + 2] * 2, a.covariance[P + 2], 1e-8);
	near("definition", a.log_likelihood,
	     likelihood_at(d, a.beta, a.scale), 1e-11);
	pd_stream_init(&s, 53, (uint64_t)_i);
	for (int k = 0; k < PERTURBED; k++) {
		double far = pow(10, -(k % 6)), beta[P];

		for (size_t j = 0; j < P; j++)
			beta[j] = a.beta[j] + far * pd_stream_normal(&s);
		ck_assert(likelihood_at(d, beta, a.scale *
		                        exp(far * pd_stream_normal(&s))) <=
		          a.log_likelihood + 1e-10 *
		          (1 + fabs(a.log_likelihood)));
	}
}
END_TEST

int main(void)
{
	Suite *s = suite_create("properties of models");

	pd_base_init();
	pair_of(s, "linear", linear_for_any_data, linear_twice_and_beside);
	pair_of(s, "nested", nested_for_any_data, nested_twice_and_beside);
	pair_of(s, "censored", censored_for_any_data,
	        censored_twice_and_beside);
	return run_suite(s);
}
