/*
 * check_kenward.c - Kenward and Roger's and Satterthwaite's intervals against
 * their formulas written with dense matrices, and against designs whose exact
 * answer is known.
 */
#include "dense_model.h"
#include "stats/quantile.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- Kenward-Roger and Satterthwaite from the definitions -------------- */

struct small_sample {
	double p[MOST][P * P], q[MOST][MOST][P * P], w[MOST * MOST];
	double v[MOST * MOST], adjusted[P * P];
};

/* out(P*P) = x y */
static void times(const double *x, const double *y, double *out)
{
	for (size_t i = 0; i < P; i++)
		for (size_t j = 0; j < P; j++) {
			out[i * P + j] = 0.0;
			for (size_t k = 0; k < P; k++)
				out[i * P + j] += x[i * P + k] * y[k * P + j];
		}
}

static double trace(const double *x, size_t n)
{
	double t = 0.0;

	for (size_t i = 0; i < n; i++)
		t += x[i * n + i];
	return t;
}

/* Kenward & Roger (1997): P_i, Q_ij, expected information, Phi_A. */
static void kenward(const struct dense *e, const struct data *d,
                    struct small_sample *o)
{
	size_t n = e->n, nn = n * n;
	double *vw = calloc(e->k * nn, sizeof *vw); /* V^-1 V_i */
	double (*g)[ROWS * P] = calloc(e->k, sizeof *g); /* V_i V^-1 X */
	double a[P * P], b[P * P], sum[P * P] = { 0.0 };

	for (size_t k = 0; k < e->k; k++) {
		const double *v = e->v + k * nn;

		for (size_t i = 0; i < n; i++)
			for (size_t l = 0; l < n; l++)
				for (size_t j = 0; j < n; j++)
					vw[k * nn + i * n + j] +=
						e->inverse[i * n + l] *
						v[l * n + j];
		for (size_t i = 0; i < n; i++)
			for (size_t c = 0; c < P; c++)
				for (size_t j = 0; j < n; j++)
					g[k][i * P + c] += vw[k * nn + j * n +
						i] * d->x[j * P + c];
	}
	for (size_t k = 0; k < e->k; k++) {
		memset(o->p[k], 0, sizeof o->p[k]);
		for (size_t i = 0; i < n; i++)
			for (size_t j = 0; j < n; j++)
				for (size_t c = 0; c < P * P; c++)
					o->p[k][c] -= d->x[i * P + c / P] *
						e->inverse[i * n + j] *
						g[k][j * P + c % P];
		for (size_t l = 0; l < e->k; l++) {
			memset(o->q[k][l], 0, sizeof o->q[k][l]);
			for (size_t i = 0; i < n; i++)
				for (size_t j = 0; j < n; j++)
					for (size_t c = 0; c < P * P; c++)
						o->q[k][l][c] +=
							g[k][i * P + c / P] *
							e->inverse[i * n + j] *
							g[l][j * P + c % P];
		}
	}
	for (size_t k = 0; k < e->k; k++)
		for (size_t l = 0; l < e->k; l++) {
			double t = 0.0;

			for (size_t i = 0; i < n; i++)
				for (size_t j = 0; j < n; j++)
					t += vw[k * nn + i * n + j] *
					     vw[l * nn + j * n + i];
			times(e->phi, o->q[k][l], a);
			t -= 2.0 * trace(a, P);
			times(e->phi, o->p[k], a);
			times(e->phi, o->p[l], b);
			times(a, b, sum);
			o->w[k * e->k + l] = 0.5 * (t + trace(sum, P));
		}
	invert(o->w, e->k);
	memset(sum, 0, sizeof sum);
	for (size_t k = 0; k < e->k; k++)
		for (size_t l = 0; l < e->k; l++) {
			times(e->phi, o->p[l], a);
			times(o->p[k], a, b);
			for (size_t c = 0; c < P * P; c++)
				sum[c] += o->w[k * e->k + l] *
				          (o->q[k][l][c] - b[c]);
		}
	times(e->phi, sum, a);
	times(a, e->phi, b);
	for (size_t c = 0; c < P * P; c++)
		o->adjusted[c] = e->phi[c] + 2.0 * b[c];
	free(vw);
	free(g);
}

/* Inverse observed information by differences of the dense deviance. */
static void observed(struct dense *e, const struct data *d,
                     struct small_sample *o)
{
	double at[MOST], h[MOST];

	memcpy(at, e->s, sizeof at);
	for (size_t k = 0; k < e->k; k++)
		h[k] = 2e-3 * at[k];
	for (size_t k = 0; k < e->k; k++)
		for (size_t l = k; l < e->k; l++) {
			double sum = 0.0;

			for (int i = -1; i <= 1; i += 2)
				for (int j = -1; j <= 1; j += 2) {
					memcpy(e->s, at, sizeof at);
					e->s[k] += i * h[k];
					e->s[l] += j * h[l];
					dense_at(e, d);
					sum += i * j * dense_deviance(e, false);
				}
			o->v[k * e->k + l] = o->v[l * e->k + k] =
				sum / (8.0 * h[k] * h[l]);
		}
	memcpy(e->s, at, sizeof at);
	dense_at(e, d);
	invert(o->v, e->k);
}

static double quadratic(const double *c, const double *m)
{
	double s = 0.0;

	for (size_t i = 0; i < P; i++)
		for (size_t j = 0; j < P; j++)
			s += c[i] * m[i * P + j] * c[j];
	return s;
}

/* g' info g with g_i = c'Phi P_i Phi c */
static double weigh(const struct dense *e, const struct small_sample *o,
                    const double *c, const double *info)
{
	double g[MOST], a[P * P], b[P * P], s = 0.0;

	for (size_t k = 0; k < e->k; k++) {
		times(e->phi, o->p[k], a);
		times(a, e->phi, b);
		g[k] = quadratic(c, b);
	}
	for (size_t k = 0; k < e->k; k++)
		for (size_t l = 0; l < e->k; l++)
			s += info[k * e->k + l] * g[k] * g[l];
	return s;
}

START_TEST(small_sample_is_dense)
{
	static const double contrasts[][P] = {
		{ 0.0, 1.0, 0.0 }, { 0.0, 0.0, 1.0 }, { 1.0, 1.7, 0.31 },
	};
	const struct variant *v = &variants[_i];
	struct small_sample *o = calloc(1, sizeof *o);
	struct data d;
	struct dense e;
	pd_nested_spec s;
	pd_nested *m;

	if (v->ml) {
		free(o);
		return; /* defined for restricted likelihood only */
	}
	for (uint64_t seed = 8;; seed++) { /* no variance 0, no correlation 1 */
		double least = INFINITY;

		make(&d, seed, sds);
		s = spec_of(&d, v);
		m = fitted(&s);
		for (size_t i = 0; i < pd_nested_n_theta(m); i++)
			if (v->q[0] == 1 || i != 1) /* L21 may be < 0 */
				least = fmin(least, pd_nested_theta(m)[i]);
		if (least > 0.02)
			break;
		pd_nested_free(m);
		ck_assert(seed < 60);
	}
	dense_new(&e, &d, v);
	dense_theta(&e, v, pd_nested_theta(m),
	            pow(pd_nested_residual_sd(m), 2.0));
	dense_at(&e, &d);
	kenward(&e, &d, o);
	observed(&e, &d, o);
	for (size_t k = 0; k < 3; k++) {
		const double *c = contrasts[k];
		double var = quadratic(c, e.phi);
		pd_estimate est;
		pd_error err;

		ck_assert(pd_nested_contrast(m, c, 0.9, PD_KENWARD_ROGER, &est,
		                             &err) == PD_OK);
		near("adjusted error", est.se * est.se,
		     quadratic(c, o->adjusted), 1e-7);
		near("Kenward-Roger df", est.df,
		     2.0 * var * var / weigh(&e, o, c, o->w), 1e-7);
		near("low", est.low, est.value - est.se *
		     pd_t_quantile(0.95, est.df), 1e-12);
		ck_assert(pd_nested_contrast(m, c, 0.9, PD_SATTERTHWAITE, &est,
		                             &err) == PD_OK);
		near("error", est.se * est.se, var, 1e-8);
		/* differences of the dense deviance hold 4 to 5 digits */
		near("Satterthwaite df", est.df,
		     2.0 * var * var / weigh(&e, o, c, o->v), 2e-4);
	}
	dense_free(&e);
	pd_nested_free(m);
	free(o);
}
END_TEST

/* ---- designs whose answer is known by hand ----------------------------- */

/* Pairs: the mixed model's difference is the paired t interval. */
START_TEST(pairs_are_a_paired_t)
{
	static const double a[6] = { 1200, 800, 2500, 410, 1500, 950 };
	static const double b[6] = { 900, 850, 1600, 300, 1000, 700 };
	double x[24], y[12], c[2] = { 0.0, 1.0 };
	int32_t g[12];
	pd_nested_spec s = { .n = 12, .p = 2, .x = x, .y = y, .depth = 1,
	                     .group = { g } };
	pd_nested *m;
	pd_estimate e;
	pd_f_test f;
	pd_error err;

	for (int i = 0; i < 12; i++) {
		x[2 * i] = 1.0;
		x[2 * i + 1] = i < 6;
		y[i] = log(i < 6 ? a[i] : b[i - 6]);
		g[i] = i % 6;
	}
	m = fitted(&s);
	for (int k = 0; k < 2; k++) {
		ck_assert(pd_nested_contrast(m, c, 0.95, (pd_df_method)k, &e,
		                             &err) == PD_OK);
		/* reference notes, section 8: paired t of the log ratios */
		near("ratio", exp(e.value), 1.326788, 1e-6);
		near("low", exp(e.low), 1.0989709, 1e-6);
		near("high", exp(e.high), 1.6018317, 1e-6);
		near("df", e.df, 5.0, 1e-6);
		ck_assert(pd_nested_f_test(m, c, 1, (pd_df_method)k, &f,
		                           &err) == PD_OK);
		near("F", f.f, 3.8583399 * 3.8583399, 1e-6);
		near("p", f.p, e.p, 1e-10);
		near("scaling", f.scaling, 1.0, 1e-9);
	}
	pd_nested_free(m);
}
END_TEST

/* Balanced one-way layout: the mean's df are those of the groups. */
START_TEST(rails)
{
	/* travel times of a wave in six rails, three each; Devore (2000), as
	 * quoted in Pinheiro & Bates (2000); from memory. The answers are
	 * those of nlme 3.1-162 and the balanced closed form. */
	static const double travel[18] = {
		55, 53, 54, 26, 37, 32, 78, 91, 85,
		92, 100, 96, 49, 51, 50, 80, 85, 83,
	};
	double x[18], c = 1.0, v;
	int32_t g[18];
	pd_nested_spec s = { .n = 18, .p = 1, .x = x, .y = travel, .depth = 1,
	                     .group = { g } };
	pd_nested *m;
	pd_estimate e;
	pd_error err;

	for (int i = 0; i < 18; i++) {
		x[i] = 1.0;
		g[i] = 9 - i / 3;
	}
	m = fitted(&s);
	near("mean", pd_nested_beta(m)[0], 66.5, 1e-12);
	pd_nested_level_covariance(m, 0, &v);
	near("rail sd", sqrt(v), 24.805465, 1e-7);
	near("residual sd", pd_nested_residual_sd(m), 4.020779, 1e-6);
	ck_assert(pd_nested_contrast(m, &c, 0.95, PD_KENWARD_ROGER, &e,
	                             &err) == PD_OK);
	near("df", e.df, 5.0, 1e-7);
	near("low", e.low, 40.35452, 1e-6);
	near("high", e.high, 92.64548, 1e-6);
	ck_assert_uint_eq(pd_nested_groups(m, 0), 6);
	ck_assert_uint_eq(pd_nested_rows(m), 18);
	pd_nested_free(m);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("kenward");
	TCase *t = tcase_create("answers");
	SRunner *r = srunner_create(s);
	int failed;

	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, small_sample_is_dense, 0, VARIANTS);
	tcase_add_test(t, pairs_are_a_paired_t);
	tcase_add_test(t, rails);
	suite_add_tcase(s, t);
	srunner_run_all(r, CK_NORMAL);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
