/*
 * check_profile.c - profile limits of the nested model against refits with the
 * effect moved to the outcome and against values of R 4.2.2 with lme4 1.1-31.
 * Standard deviations by brute force: check_profile_sd.c.
 */
#include "dense_model.h"
#include "stats/nested_profile.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double Q95 = 3.84145882069412447634; /* chi-square, 1 df */

static pd_profile contrast_of(pd_nested *m, const double *c, double level)
{
	pd_profile p;
	pd_error err = { 0 };

	if (pd_nested_profile_contrast(m, c, level, &p, &err) != PD_OK)
		ck_abort_msg("contrast: %s", err.text);
	return p;
}

static pd_profile sd_of(pd_nested *m, size_t at, size_t column, bool reml)
{
	pd_profile p;
	pd_error err = { 0 };

	if (pd_nested_profile_sd(m, at, column, reml, 0.95, &p, &err) != PD_OK)
		ck_abort_msg("SD of level %zu: %s", at, err.text);
	return p;
}

/* ---- values from elsewhere -------------------------------------------- */

/* 64 rows of 6 patients, 12 cases, by a formula both programs know. */
static void waves(struct data *d)
{
	memset(d, 0, sizeof *d);
	for (int i = 0; i < 72; i++) {
		int patient = i / 12, place = i / 6;
		double *x = d->x + d->n * P;

		if (i == 3 || i == 10 || i == 11 || i == 29 ||
		    (i >= 47 && i <= 50))
			continue;
		x[0] = 1;
		x[1] = i % 3;
		x[2] = patient % 2;
		d->y[d->n] = 2 + 0.3 * x[1] - 0.5 * x[2] +
			0.9 * sin(3.7 * patient + 1) +
			0.8 * sin(5.1 * place + 2) +
			0.35 * sin(7.3 * (i / 3)) + 0.6 * sin(11.9 * i + 0.4);
		d->group[0][d->n] = patient;
		d->group[1][d->n++] = place;
	}
}

/*
 * Contrasts: refits of lmer (bobyqa stopped at 1e-11) with the effect moved to
 * the outcome, uniroot; SDs: the deviance from its definition in R, minimised
 * by optim at each value, uniroot. Its confint(method = "profile") agrees to
 * 1e-4 (it draws splines through a few points).
 */
static const struct known {
	const char *name;
	size_t level;          /* 9: the contrast of column `column`         */
	size_t column;
	bool reml;
	double low, high, tolerance;
} known[] = {
	{ "x1", 9, 1, false, 0.226477459951, 0.444277826354, 1e-9 },
	{ "x2", 9, 2, false, -3.32151316526, 0.890594269702, 1e-9 },
	{ "patient, ML", 0, 0, false, 0.647448676445, 2.21783682658, 1e-7 },
	{ "case, ML", 1, 0, false, 0.112412672578, 0.639017729739, 1e-7 },
	{ "residual, ML", 2, 0, false, 0.292075142032, 0.430653735539, 1e-7 },
	{ "patient, REML", 0, 0, true, 0.738043864593, 3.33149525943, 1e-7 },
	{ "case, REML", 1, 0, true, 0.110762110162, 0.640481602029, 1e-7 },
	{ "residual, REML", 2, 0, true, 0.294376624047, 0.43560393726, 1e-7 },
};

START_TEST(known_limits)
{
	const struct known *k = &known[_i];
	static const struct variant v = { "two", 2, { 1, 1, 0 }, false };
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_profile p;

	waves(&d);
	ck_assert_uint_eq(d.n, 64);
	s = spec_of(&d, &v);
	m = fitted(&s);
	if (k->level == 9) {
		double c[P] = { 0 };

		c[k->column] = 1;
		p = contrast_of(m, c, 0.95);
		near("value", p.e.value, k->column == 1 ? 0.3356866
		                                        : -1.2158914, 5e-8);
	} else {
		p = sd_of(m, k->level, k->column, k->reml);
		near("deviance", p.deviance, k->reml ? 85.9541353402 :
		     84.2621127633, 1e-10);
	}
	near(k->name, p.e.low, k->low, k->tolerance);
	near(k->name, p.e.high, k->high, k->tolerance);
	ck_assert(!p.low_at_zero);
	pd_nested_free(m);
}
END_TEST

/* rise(0) of the same R code: 7.28283440017 for the case's SD. */
START_TEST(chance_at_zero)
{
	static const struct variant v = { "two", 2, { 1, 1, 0 }, false };
	struct data d;
	pd_nested_spec s;
	pd_nested *m;

	waves(&d);
	s = spec_of(&d, &v);
	m = fitted(&s);
	near("half a tail", sd_of(m, 1, 0, false).e.p,
	     0.5 * pd_chisq_upper(7.28283440017, 1), 1e-8);
	ck_assert(isnan(sd_of(m, 2, 0, false).e.p));
	pd_nested_free(m);
}
END_TEST

/* ---- contrasts by refitting ------------------------------------------- */

/* Least ML deviance with b1 - f b2 = at: y - at x1 on 1 and x2 + f x1. */
static double refit(const struct data *d, const struct variant *v, double f,
                    double at)
{
	struct variant ml = *v;
	double *x = calloc(d->n * 2, sizeof *x), *y = calloc(d->n, sizeof *y);
	pd_nested_spec s;
	pd_nested *m;
	double out;

	ml.ml = true;
	s = spec_of(d, &ml);
	for (size_t i = 0; i < d->n; i++) {
		x[2 * i] = 1;
		x[2 * i + 1] = d->x[i * P + 2] + f * d->x[i * P + 1];
		y[i] = d->y[i] - at * d->x[i * P + 1];
	}
	s.p = 2;
	s.x = x;
	s.y = y;
	m = fitted(&s);
	out = pd_nested_record(m)->deviance;
	pd_nested_free(m);
	free(x);
	free(y);
	return out;
}

START_TEST(refits_agree)
{
	const struct variant *v = &variants[_i];
	static const double level[] = { 0.5, 0.95, 0.999 };

	for (uint64_t seed = 100; seed < 104; seed++) {
		double f = seed % 2 ? 0.43 : 0, c[P] = { 0, 1, -f };
		struct data d;
		pd_nested_spec s;
		pd_nested *m;

		make(&d, seed, sds);
		s = spec_of(&d, v);
		m = fitted(&s);
		for (int k = 0; k < 3; k++) {
			pd_profile p = contrast_of(m, c, level[k]);
			double q = pd_chisq_quantile(level[k], 1), rise, chance;

			near("low", refit(&d, v, f, p.e.low) - p.deviance, q,
			     1e-8);
			near("high", refit(&d, v, f, p.e.high) - p.deviance, q,
			     1e-8);
			near("best", refit(&d, v, f, p.e.value), p.deviance,
			     1e-11);
			ck_assert_int_eq(pd_nested_profile_test(m, c, p.e.high,
			                 &rise, &chance, NULL), PD_OK);
			near("test", rise, q, 1e-8);
			near("chance", chance, 1 - level[k], 1e-8);
		}
		pd_nested_free(m);
	}
}
END_TEST

/* Least squares: limits b -+ se root((n - p) (exp(q / n) - 1)). */
START_TEST(least_squares)
{
	const double c[P] = { 0.3, 1, -0.4 };
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_estimate e;
	pd_profile p;
	double half, n, u = 0, r;

	make(&d, 8, sds);
	s = spec_of(&d, &variants[7]);
	m = fitted(&s);
	ck_assert_int_eq(pd_nested_contrast(m, c, 0.95, PD_NORMAL, &e, NULL),
	                 PD_OK);
	p = contrast_of(m, c, 0.95);
	n = (double)d.n;
	half = e.se * sqrt((n - P) * expm1(Q95 / n));
	near("low", p.e.low, e.value - half, 1e-10);
	near("high", p.e.high, e.value + half, 1e-10);
	/* residual: n (u - 1 - ln u) = q with u = s^2 / sd^2 */
	p = sd_of(m, 0, 0, false);
	r = pd_nested_residual_sd(m) * sqrt((n - P) / n);
	near("sd", p.e.value, r, 1e-12);
	for (int side = 0; side < 2; side++) {
		u = pow(r / (side ? p.e.high : p.e.low), 2);
		near("rise", n * (u - 1 - log(u)), Q95, 1e-8);
	}
	pd_nested_free(m);
}
END_TEST

/* ---- properties -------------------------------------------------------- */

START_TEST(nothing_is_disturbed)
{
	const struct variant *v = &variants[_i];
	const double c[P] = { 0, 1, 0.2 };
	struct variant other = *v;
	struct data d;
	pd_nested_spec s;
	pd_nested *m, *ml;
	pd_estimate before, after;
	pd_nested_fit_record r;
	pd_profile p, q;
	double u[ROWS], w[ROWS];

	make(&d, 31, sds);
	s = spec_of(&d, v);
	m = fitted(&s);
	ck_assert_int_eq(pd_nested_contrast(m, c, 0.9, PD_SATTERTHWAITE,
	                                    &before, NULL), PD_OK);
	ck_assert_int_eq(pd_nested_residuals(m, u, NULL), PD_OK);
	r = *pd_nested_record(m);
	p = contrast_of(m, c, 0.95);
	for (size_t k = 0; k <= v->depth; k++)
		sd_of(m, k, 0, true);
	ck_assert_int_eq(pd_nested_contrast(m, c, 0.9, PD_SATTERTHWAITE,
	                                    &after, NULL), PD_OK);
	ck_assert_int_eq(pd_nested_residuals(m, w, NULL), PD_OK);
	near("value", after.value, before.value, 1e-14);
	near("df", after.df, before.df, 1e-12);
	near("se", after.se, before.se, 1e-14);
	ck_assert_mem_eq(&r, pd_nested_record(m), sizeof r);
	for (size_t i = 0; i < d.n; i++)
		near("residual", w[i], u[i], 1e-12);
	/* the other likelihood was fitted: the same limits */
	other.ml = !v->ml;
	s = spec_of(&d, &other);
	ml = fitted(&s);
	q = contrast_of(ml, c, 0.95);
	near("low", q.e.low, p.e.low, 1e-9);
	near("high", q.e.high, p.e.high, 1e-9);
	pd_nested_free(m);
	pd_nested_free(ml);
}
END_TEST

/* Outcome times f and shifted; rows turned round; contrast times -3. */
START_TEST(units_and_order)
{
	static const double factor[] = { 1e-9, 1e9, -4.0 };
	double f = factor[_i], shift = _i == 1 ? 1e9 : 0;
	const double c[P] = { 0, 1, 0.2 }, turned[P] = { 0, -3, -0.6 };
	struct data d, e;
	pd_nested_spec s;
	pd_nested *m, *w;
	pd_profile p, q;

	make(&d, 17, sds);
	e = d;
	for (size_t i = 0; i < d.n; i++) {
		size_t j = d.n - 1 - i;

		e.y[i] = shift + f * d.y[j];
		memcpy(e.x + i * P, d.x + j * P, P * sizeof *e.x);
		memcpy(e.z + i * 2, d.z + j * 2, 2 * sizeof *e.z);
		for (int k = 0; k < 3; k++)
			e.group[k][i] = 900 - d.group[k][j];
	}
	s = spec_of(&d, &variants[2]);
	m = fitted(&s);
	s = spec_of(&e, &variants[2]);
	w = fitted(&s);
	p = contrast_of(m, c, 0.9);
	q = contrast_of(w, turned, 0.9);
	near("low", -q.e.high / (3 * f), f > 0 ? p.e.low : p.e.high, 1e-9);
	near("high", -q.e.low / (3 * f), f > 0 ? p.e.high : p.e.low, 1e-9);
	for (size_t k = 0; k < 4; k++)
		for (size_t a = 0; a < (k ? 1 : 2); a++) {
			p = sd_of(m, k, a, true);
			q = sd_of(w, k, a, true);
			near("SD low", q.e.low / fabs(f), p.e.low, 1e-7);
			near("SD high", q.e.high / fabs(f), p.e.high, 1e-7);
			ck_assert(q.low_at_zero == p.low_at_zero);
		}
	pd_nested_free(m);
	pd_nested_free(w);
}
END_TEST

/* Trees with a variance or two of 0: answered, ordered, or said why not. */
START_TEST(many_trees)
{
	size_t answered = 0, asked = 0, zero = 0;

	for (uint64_t seed = 300; seed < 330; seed++) {
		const struct variant *v = &variants[seed % 7];
		double sd[4] = { 0.8 * (double)(seed % 2), 0.5,
		                 0.6 * (double)(seed % 3), 1.0 };
		const double c[P] = { 1, 0, 0.5 };
		double rise, chance;
		struct data d;
		pd_nested_spec s;
		pd_nested *m;
		pd_profile p;
		pd_error err;

		make(&d, seed, sd);
		s = spec_of(&d, v);
		m = new_model(&s);
		if (pd_nested_fit(m, &err) != PD_OK) {
			pd_nested_free(m);
			continue;
		}
		p = contrast_of(m, c, 0.99);
		ck_assert(p.e.low < p.e.value && p.e.value < p.e.high);
		/* asked at once, with no limit's path behind it: the same */
		ck_assert_int_eq(pd_nested_profile_test(m, c, p.e.low, &rise,
		                 &chance, &err), PD_OK);
		near("rise", rise, pd_chisq_quantile(0.99, 1), 1e-7);
		for (size_t k = 0; k <= v->depth; k++)
			for (size_t a = 0; a < (k < v->depth ? v->q[k] : 1);
			     a++) {
				pd_status st = pd_nested_profile_sd(m, k, a,
					seed % 2, 0.95, &p, &err);

				asked++;
				answered += st == PD_OK;
				if (st != PD_OK) {
					ck_assert(err.text[0]);
					continue;
				}
				zero += p.low_at_zero;
				ck_assert(p.e.low <= p.e.value &&
				          p.e.value < p.e.high);
				ck_assert(p.low_at_zero == (p.e.low == 0.0));
			}
		pd_nested_free(m);
	}
	ck_assert(asked > 80 && zero > 20);
	ck_assert_uint_eq(answered, asked);
}
END_TEST

START_TEST(refused)
{
	double c[P] = { 0, 1, 0 }, rise, chance;
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_profile p;
	pd_error err;

	make(&d, 2, sds);
	s = spec_of(&d, &variants[0]);
	m = new_model(&s);
	ck_assert_int_eq(pd_nested_profile_contrast(m, c, 0.95, &p, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_nested_fit(m, &err), PD_OK);
	ck_assert_int_eq(pd_nested_profile_contrast(m, c, 1, &p, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_nested_profile_contrast(m, c, NAN, &p, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_nested_profile_sd(m, 4, 0, true, 0.95, &p, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_nested_profile_sd(m, 0, 1, true, 0.95, &p, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_nested_profile_test(m, c, INFINITY, &rise, &chance,
	                                        &err), PD_USAGE);
	c[1] = 0;
	ck_assert_int_eq(pd_nested_profile_contrast(m, c, 0.95, &p, &err),
	                 PD_USAGE);
	c[1] = NAN;
	ck_assert_int_eq(pd_nested_profile_contrast(m, c, 0.95, &p, &err),
	                 PD_USAGE);
	ck_assert(err.text[0]);
	c[1] = 1;
	ck_assert_int_eq(pd_nested_profile_contrast(m, c, 0.95, &p, &err),
	                 PD_OK);
	pd_nested_free(m);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("profile");
	TCase *t = tcase_create("limits");

	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, known_limits, 0, sizeof known / sizeof *known);
	tcase_add_test(t, chance_at_zero);
	tcase_add_loop_test(t, refits_agree, 0, VARIANTS);
	tcase_add_test(t, least_squares);
	tcase_add_loop_test(t, nothing_is_disturbed, 0, 6);
	tcase_add_loop_test(t, units_and_order, 0, 3);
	tcase_add_test(t, many_trees);
	tcase_add_test(t, refused);
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
