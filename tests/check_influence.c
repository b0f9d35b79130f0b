/*
 * check_influence.c - groups left out and residuals judged. Brute force: the
 * dense model of dense_model.c on the rows that stay, variances held.
 */
#include "dense_model.h"
#include "stats/nested_influence.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Rows of d whose patient is not g. */
static void drop(const struct data *d, int32_t g, struct data *out)
{
	memset(out, 0, sizeof *out);
	for (size_t i = 0; i < d->n; i++) {
		size_t k = out->n;

		if (d->group[0][i] == g)
			continue;
		memcpy(out->x + k * P, d->x + i * P, P * sizeof *d->x);
		memcpy(out->z + k * 2, d->z + i * 2, 2 * sizeof *d->z);
		out->y[k] = d->y[i];
		for (int l = 0; l < 3; l++)
			out->group[l][k] = d->group[l][i];
		out->n++;
	}
}

static void dense_of(struct dense *e, const struct data *d,
                     const struct variant *v, const pd_nested *m)
{
	double s = pd_nested_residual_sd(m);

	dense_new(e, d, v);
	dense_theta(e, v, pd_nested_theta(m), s * s);
	dense_at(e, d);
}

static pd_influence *influence(pd_nested *m)
{
	pd_influence *o = NULL;
	pd_error err = { 0 };

	if (pd_nested_influence(m, &o, &err) != PD_OK)
		ck_abort_msg("influence: %s", err.text);
	return o;
}

static double log_det(const double *a)
{
	double b[P * P];

	memcpy(b, a, sizeof b);
	return invert(b, P);
}

/* V of the rows of d from the dense parts. */
static double v_at(const struct dense *e, size_t i, size_t j)
{
	double s = 0.0;

	for (size_t k = 0; k < e->k; k++)
		s += e->s[k] * e->v[k * e->n * e->n + i * e->n + j];
	return s;
}

/* r_(i)' W_i^-1 r_(i) and leverage from the definitions. */
static void by_definition(const struct data *d, const struct dense *all,
                          const struct dense *less, int32_t g,
                          double *distance, double *leverage)
{
	size_t at[ROWS], n = 0;
	double *w, r[ROWS];

	for (size_t i = 0; i < d->n; i++)
		if (d->group[0][i] == g)
			at[n++] = i;
	w = calloc(n * n, sizeof *w);
	*leverage = *distance = 0.0;
	for (size_t i = 0; i < n; i++) {
		const double *x = d->x + at[i] * P;

		r[i] = d->y[at[i]];
		for (int a = 0; a < P; a++)
			r[i] -= x[a] * less->beta[a];
		for (size_t j = 0; j < n; j++) {
			const double *z = d->x + at[j] * P;

			w[i * n + j] = v_at(all, at[i], at[j]);
			for (int a = 0; a < P; a++)
				for (int b = 0; b < P; b++) {
					w[i * n + j] += x[a] * z[b] *
						less->phi[a * P + b];
					*leverage += x[a] * z[b] *
						all->phi[a * P + b] *
						all->inverse[at[i] * d->n +
						             at[j]];
				}
		}
	}
	invert(w, n);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			*distance += r[i] * w[i * n + j] * r[j];
	free(w);
}

static void check_group(const struct data *d, const struct variant *v,
                        const pd_nested *m, const struct dense *all,
                        const pd_influence *o, int32_t g)
{
	struct data few;
	struct dense e;
	double cook = 0.0, distance, leverage, info[P * P];
	const pd_left_out *w = &o->group[g];

	drop(d, g, &few);
	dense_of(&e, &few, v, m);
	by_definition(d, all, &e, g, &distance, &leverage);
	memcpy(info, all->phi, sizeof info);
	invert(info, P);
	for (int a = 0; a < P; a++) {
		near("shift", o->shift[g * P + a], all->beta[a] - e.beta[a],
		     1e-9);
		near("over se", o->shift_se[g * P + a] *
		     sqrt(all->phi[a * P + a]), all->beta[a] - e.beta[a],
		     1e-9);
		for (int b = 0; b < P; b++)
			cook += (all->beta[a] - e.beta[a]) * info[a * P + b] *
			        (all->beta[b] - e.beta[b]) / P;
	}
	ck_assert(w->determined && w->group == (size_t)g);
	ck_assert_uint_eq(w->rows, d->n - few.n);
	near("cook", w->cook, cook, 1e-9);
	near("ratio", log(w->cov_ratio), log_det(e.phi) - log_det(all->phi),
	     1e-8);
	near("leverage", w->leverage, leverage, 1e-9);
	near("distance", w->distance, distance, 1e-8);
	dense_free(&e);
}

static void check_rows(const struct data *d, const struct dense *e,
                       const pd_influence *o)
{
	size_t n = d->n;
	double *l = calloc(n * n, sizeof *l), r[ROWS], part;

	for (size_t i = 0; i < n; i++) {
		r[i] = d->y[i];
		for (size_t a = 0; a < P; a++)
			r[i] -= d->x[i * P + a] * e->beta[a];
		near("marginal", o->marginal[i], r[i], 1e-9);
	}
	for (size_t i = 0; i < n; i++) {
		double lean = 0.0, q[P] = { 0.0 }, var, s2 = e->s[e->k - 1];

		part = 0.0;
		for (size_t j = 0; j < n; j++) {
			part += s2 * e->inverse[i * n + j] * r[j];
			for (size_t a = 0; a < P; a++)
				q[a] += e->inverse[i * n + j] * d->x[j * P + a];
		}
		near("conditional", o->conditional[i], part, 1e-9);
		var = s2 * s2 * e->inverse[i * n + i];
		for (size_t a = 0; a < P; a++)
			for (size_t b = 0; b < P; b++) {
				var -= s2 * s2 * q[a] * q[b] *
				       e->phi[a * P + b];
				lean += d->x[i * P + a] * d->x[i * P + b] *
				        e->phi[a * P + b];
			}
		near("conditional z", o->conditional_z[i], part / sqrt(var),
		     1e-8);
		near("marginal z", o->marginal_z[i],
		     r[i] / sqrt(v_at(e, i, i) - lean), 1e-8);
	}
	for (size_t i = 0; i < n; i++) { /* L^-1 r, V = L L', by hand */
		double s = r[i];

		for (size_t j = 0; j <= i; j++) {
			double c = v_at(e, i, j);

			for (size_t k = 0; k < j; k++)
				c -= l[i * n + k] * l[j * n + k];
			l[i * n + j] = i == j ? sqrt(c) : c / l[j * n + j];
		}
		for (size_t j = 0; j < i; j++)
			s -= l[i * n + j] * o->independent[j];
		near("independent", o->independent[i], s / l[i * n + i], 1e-8);
	}
	free(l);
}

START_TEST(against_the_definitions)
{
	const struct variant *v = &variants[_i];
	struct data d;
	struct dense e;
	pd_nested_spec s;
	pd_nested *m;
	pd_influence *o;
	double sum = 0.0, contrast[P] = { 0.0, 1.7, -0.6 }, c[14], se;

	make(&d, 31, sds);
	s = spec_of(&d, v);
	m = fitted(&s);
	dense_of(&e, &d, v, m);
	o = influence(m);
	ck_assert_uint_eq(o->groups, 14);
	for (int32_t g = 0; g < 14; g++) {
		check_group(&d, v, m, &e, o, g);
		sum += o->group[g].leverage;
		ck_assert(g == 0 || o->group[o->order[g - 1]].cook >=
		          o->group[o->order[g]].cook);
	}
	near("leverages", sum, P, 1e-10);
	check_rows(&d, &e, o);
	ck_assert_int_eq(pd_influence_contrast(o, contrast, c, &se, NULL),
	                 PD_OK);
	for (int g = 0; g < 14; g++)
		near("contrast", c[g], 1.7 * o->shift[g * P + 1] -
		     0.6 * o->shift[g * P + 2], 1e-11);
	ck_assert(o->judged && o->shape.n == d.n && se > 0.0);
	pd_influence_free(o);
	dense_free(&e);
	pd_nested_free(m);
}
END_TEST

/* No levels: the textbook's leave-one-out of least squares. */
START_TEST(rows_one_by_one)
{
	const struct variant *v = &variants[VARIANTS - 1];
	struct data d, few;
	struct dense e, f;
	pd_nested_spec s;
	pd_nested *m;
	pd_influence *o;

	make(&d, 12, sds);
	s = spec_of(&d, v);
	m = fitted(&s);
	dense_of(&e, &d, v, m);
	o = influence(m);
	ck_assert_uint_eq(o->groups, d.n);
	check_rows(&d, &e, o);
	for (size_t i = 0; i < d.n; i += 7) {
		double h = o->group[i].leverage, z = o->conditional_z[i];

		near("cook", o->group[i].cook, z * z * h / (1 - h) / P, 1e-10);
		for (size_t j = 0; j < d.n; j++)
			d.group[0][j] = j == i;
		drop(&d, 1, &few);
		dense_of(&f, &few, v, m);
		for (size_t a = 0; a < P; a++)
			near("shift", o->shift[i * P + a],
			     e.beta[a] - f.beta[a], 1e-10);
		dense_free(&f);
	}
	pd_influence_free(o);
	dense_free(&e);
	pd_nested_free(m);
}
END_TEST

START_TEST(refits)
{
	const struct variant *v = &variants[_i];
	struct data d, few;
	pd_nested_spec s;
	pd_nested *m;
	pd_influence *o;
	pd_refit fit[2];

	make(&d, 31, sds);
	for (size_t i = 0; i < d.n; i++)
		d.y[i] = 40.0 + 12.5 * d.y[i];
	s = spec_of(&d, v);
	m = fitted(&s);
	o = influence(m);
	ck_assert_int_eq(pd_influence_refit(m, o, o->order, 2, fit, NULL),
	                 PD_OK);
	for (int k = 0; k < 2; k++) {
		pd_nested *f;
		size_t at = 0;
		double cov[4], sd;

		drop(&d, (int32_t)o->order[k], &few);
		s = spec_of(&few, v);
		f = fitted(&s);
		ck_assert_int_eq(fit[k].status, PD_OK);
		near("deviance", fit[k].deviance, pd_nested_record(f)->deviance,
		     1e-10);
		for (int a = 0; a < P; a++)
			near("beta", fit[k].beta[a], pd_nested_beta(f)[a],
			     1e-7);
		for (size_t l = 0; l < v->depth; l++) {
			size_t q = v->q[l];

			pd_nested_level_covariance(f, l, cov);
			for (size_t b = 0; b < q; b++)
				for (size_t a = b; a < q; a++)
					near("variance", fit[k].variance[at++],
					     cov[a * q + b], 1e-6);
		}
		sd = pd_nested_residual_sd(f);
		near("residual", fit[k].variance[at++], sd * sd, 1e-7);
		ck_assert_uint_eq(fit[k].n_variance, at);
		pd_nested_free(f);
	}
	pd_influence_free(o);
	pd_nested_free(m);
}
END_TEST

/* The third column marks patient 5: without it nobody knows its coefficient,
 * and the others are those of the fit without the column. */
START_TEST(one_knows_alone)
{
	const struct variant *v = &variants[0];
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_influence *o;
	pd_refit fit;
	double c[P] = { 0.0, 0.0, 2.5 }, shift[14], b[14];

	make(&d, 31, sds);
	for (size_t i = 0; i < d.n; i++)
		d.x[i * P + 2] = d.group[0][i] == 5;
	s = spec_of(&d, v);
	m = fitted(&s);
	o = influence(m);
	ck_assert(!o->group[5].determined && isinf(o->group[5].cook));
	ck_assert(isinf(o->group[5].cov_ratio) && o->order[0] == 5);
	ck_assert(isnan(o->shift[5 * P + 2]) && isnan(o->shift_se[5 * P + 2]));
	/* the column has taken the patient out already, but for what its rows
	 * say of the slope */
	for (int a = 0; a < 2; a++) {
		struct data few;
		struct dense e;
		double beta[2], a00 = 0, a01 = 0, a11 = 0, g0 = 0, g1 = 0;

		drop(&d, 5, &few);
		for (size_t i = 0; i < few.n; i++)
			few.x[i * P + 2] = few.z[i * 2 + 1] * few.z[i * 2 + 1];
		dense_of(&e, &few, v, m);
		for (size_t i = 0; i < few.n; i++)
			for (size_t j = 0; j < few.n; j++) {
				double w = e.inverse[i * few.n + j];
				double t = few.x[i * P + 1];

				a00 += w;
				a01 += w * few.x[j * P + 1];
				a11 += w * t * few.x[j * P + 1];
				g0 += w * few.y[j];
				g1 += w * t * few.y[j];
			}
		beta[0] = (a11 * g0 - a01 * g1) / (a00 * a11 - a01 * a01);
		beta[1] = (a00 * g1 - a01 * g0) / (a00 * a11 - a01 * a01);
		near("left", pd_nested_beta(m)[a] - o->shift[5 * P + a],
		     beta[a], 1e-9);
		dense_free(&e);
	}
	near("df", o->group[5].distance_df, (double)o->group[5].rows - 1, 0);
	ck_assert_int_eq(pd_influence_contrast(o, c, shift, NULL, NULL),
	                 PD_OK);
	c[2] = 0.0;
	c[1] = -1.0;
	ck_assert_int_eq(pd_influence_contrast(o, c, b, NULL, NULL), PD_OK);
	for (int g = 0; g < 14; g++)
		ck_assert(isnan(shift[g]) == (g == 5) && isfinite(b[g]));
	ck_assert_int_eq(pd_influence_refit(m, o, o->order, 1, &fit, NULL),
	                 PD_OK);
	ck_assert_int_eq(fit.status, PD_NUMERIC);
	ck_assert_msg(strstr(fit.text, "fixed column 3"), "%s", fit.text);
	pd_influence_free(o);
	pd_nested_free(m);
}
END_TEST

/* A far-off zero moves nothing but the intercept. */
START_TEST(far_off)
{
	struct data d;
	pd_nested_spec s;
	pd_nested *m[2];
	pd_influence *o[2];

	make(&d, 77, sds);
	s = spec_of(&d, &variants[0]);
	for (int k = 0; k < 2; k++) {
		m[k] = fitted(&s);
		o[k] = influence(m[k]);
		for (size_t i = 0; i < d.n; i++)
			d.y[i] += 1e9;
	}
	for (size_t g = 0; g < o[0]->groups; g++) {
		near("cook", o[1]->group[g].cook, o[0]->group[g].cook, 1e-5);
		near("shift", o[1]->shift[g * P], o[0]->shift[g * P], 1e-5);
	}
	for (int k = 0; k < 2; k++) {
		pd_influence_free(o[k]);
		pd_nested_free(m[k]);
	}
}
END_TEST

/* Rows shuffled, patients renumbered, other units. */
START_TEST(order_and_units)
{
	struct data d, e;
	pd_nested_spec s, t;
	pd_nested *m, *w;
	pd_influence *a, *b;

	make(&d, 77, sds);
	e = d;
	for (size_t i = 0; i < d.n; i++) {
		size_t from = (i * 37 + 5) % d.n;

		if (d.n % 37 == 0)
			from = d.n - 1 - i;
		memcpy(e.x + i * P, d.x + from * P, P * sizeof *d.x);
		e.y[i] = 1e-9 * d.y[from] + 3e-9;
		for (int l = 0; l < 3; l++)
			e.group[l][i] = d.group[l][from] * 3 + 11;
		e.z[i] = (double)from;
	}
	s = spec_of(&d, &variants[0]);
	t = spec_of(&e, &variants[0]);
	m = fitted(&s);
	a = influence(m);
	w = fitted(&t);
	b = influence(w);
	for (size_t g = 0; g < a->groups; g++) {
		near("cook", b->group[g].cook, a->group[g].cook, 1e-7);
		near("distance", b->group[g].distance, a->group[g].distance,
		     1e-6);
		near("rms", 1e9 * b->group[g].marginal_rms,
		     a->group[g].marginal_rms, 1e-7);
		near("shift", 1e9 * b->shift[g * P + 1], a->shift[g * P + 1],
		     1e-7);
		ck_assert_uint_eq(a->order[g], b->order[g]);
	}
	for (size_t i = 0; i < d.n; i++) {
		size_t from = (size_t)e.z[i];

		near("marginal z", b->marginal_z[i], a->marginal_z[from],
		     1e-6);
		near("conditional z", b->conditional_z[i],
		     a->conditional_z[from], 1e-6);
	}
	pd_influence_free(a);
	pd_influence_free(b);
	pd_nested_free(m);
	pd_nested_free(w);
}
END_TEST

/* A patient moved by 9 sd is the first of all, by every measure. */
START_TEST(a_wild_patient_is_found)
{
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_influence *o;
	size_t most = 0;

	make(&d, 5, sds);
	for (size_t i = 0; i < d.n; i++)
		d.y[i] += d.group[0][i] == 9 ? 9.0 * d.x[i * P + 1] : 0.0;
	s = spec_of(&d, &variants[0]);
	m = fitted(&s);
	o = influence(m);
	for (size_t g = 1; g < o->groups; g++)
		if (o->group[g].distance_p < o->group[most].distance_p)
			most = g;
	ck_assert_uint_eq(most, 9);
	ck_assert_uint_eq(o->order[0], 9);
	ck_assert(o->group[9].distance_p < 1e-3);
	ck_assert(o->shape.p_tails < 0.01);
	pd_influence_free(o);
	pd_nested_free(m);
}
END_TEST

START_TEST(wrong_use)
{
	struct data d;
	pd_nested_spec s;
	pd_nested *m;
	pd_influence *o = NULL;
	pd_refit fit;
	pd_error err = { 0 };
	double zero[P] = { 0.0 }, shift[14];
	size_t far = 14;

	make(&d, 5, sds);
	s = spec_of(&d, &variants[0]);
	m = new_model(&s);
	ck_assert_int_eq(pd_nested_influence(m, &o, &err), PD_USAGE);
	ck_assert_ptr_null(o);
	ck_assert_int_eq(pd_nested_fit(m, NULL), PD_OK);
	o = influence(m);
	ck_assert_int_eq(pd_influence_contrast(o, zero, shift, NULL, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_influence_refit(m, o, &far, 1, &fit, &err),
	                 PD_USAGE);
	ck_assert_ptr_nonnull(strstr(err.text, "group 15 of 14"));
	pd_influence_free(o);
	pd_nested_free(m);
	pd_influence_free(NULL);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("influence");
	TCase *t = tcase_create("left out");

	tcase_add_loop_test(t, against_the_definitions, 0, VARIANTS - 1);
	tcase_add_test(t, rows_one_by_one);
	tcase_add_loop_test(t, refits, 0, VARIANTS - 2);
	tcase_add_test(t, one_knows_alone);
	tcase_add_test(t, far_off);
	tcase_add_test(t, order_and_units);
	tcase_add_test(t, a_wild_patient_is_found);
	tcase_add_test(t, wrong_use);
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
