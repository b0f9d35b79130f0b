/* crossed_model.c - see crossed_model.h. */
#include "crossed_model.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

double plain_uniform(uint64_t *s)
{
	*s = *s * 16807 % 2147483647;
	return (double)*s / 2147483647.0;
}

double plain_normal(uint64_t *s)
{
	double sum = -6.0;

	for (int i = 0; i < 12; i++)
		sum += plain_uniform(s);
	return sum;
}

static size_t plain_below(uint64_t *s, size_t n)
{
	return (size_t)(plain_uniform(s) * (double)n);
}

const double crossed_sds[7] = { 0.9, 0.5, 0.7, 0.6, 0.4, 0.5, 1.1 };

void make_crossed(struct crossed_data *c, uint64_t seed, const double sd[7])
{
	static const size_t levels[FACTORS] = { 6, 8, 4, 5 };
	double effect[FACTORS][9];
	uint64_t s = seed * 7919 + 17;
	int32_t n_case = 0;
	struct data *d = &c->d;

	memset(c, 0, sizeof *c);
	for (size_t j = 0; j < FACTORS; j++)
		for (size_t l = 0; l < 9; l++)
			effect[j][l] = sd[2 + j] * plain_normal(&s);
	for (int32_t a = 0; a < 13; a++) {
		double ua = sd[0] * plain_normal(&s);
		double slope = 0.31 * sd[0] * plain_normal(&s);
		size_t cases = 1 + plain_below(&s, 3);

		for (size_t b = 0; b < cases; b++, n_case++) {
			double ub = sd[1] * plain_normal(&s);
			size_t rows = 1 + plain_below(&s, 5);

			for (size_t r = 0; r < rows; r++) {
				size_t i = d->n;
				double t = 5.0 * plain_uniform(&s);

				if (i == ROWS)
					return;
				d->n++;
				d->x[i * P] = 1.0;
				d->x[i * P + 1] = t - 2.3;
				d->x[i * P + 2] = a % 2;
				d->z[i * 2] = 1.0;
				d->z[i * 2 + 1] = t;
				d->y[i] = 3.7 + 0.53 * t -
					1.2 * d->x[i * P + 2] + ua + ub +
					slope * t + sd[6] * plain_normal(&s);
				for (size_t j = 0; j < FACTORS; j++) {
					size_t l = plain_below(&s, levels[j]);

					if (j == 1 && i == 4)
						l = 8;
					c->factor[j][i] = (int32_t)l;
					d->y[i] += effect[j][l];
				}
				d->group[0][i] = a;
				d->group[1][i] = n_case;
			}
		}
	}
}

const struct crossed_variant crossed_variants[CROSSED] = {
	{ "two factors", 0, { 0, 0 }, 2, { 0, 1 }, false },
	{ "two factors, ML", 0, { 0, 0 }, 2, { 0, 1 }, true },
	{ "four factors", 0, { 0, 0 }, 4, { 0, 1, 2, 3 }, false },
	{ "patients, operators", 1, { 1, 0 }, 1, { 0 }, false },
	{ "cases in patients, lots", 2, { 1, 1 }, 1, { 1 }, false },
	{ "cases in patients, two factors", 2, { 1, 1 }, 2, { 0, 1 }, false },
	{ "the same, ML", 2, { 1, 1 }, 2, { 0, 1 }, true },
	{ "slope of the patient, operators", 1, { 2, 0 }, 1, { 0 }, false },
	{ "slopes of both, lots", 2, { 2, 2 }, 1, { 1 }, false },
};

pd_crossed_spec crossed_spec(const struct crossed_data *c,
                             const struct crossed_variant *v)
{
	const struct data *d = &c->d;
	pd_crossed_spec s = { .n_factors = v->n_factors };

	s.tree = (pd_nested_spec){ .n = d->n, .p = P, .x = d->x, .y = d->y,
	                           .depth = v->depth, .ml = v->ml };
	for (size_t k = 0; k < v->depth; k++) {
		s.tree.group[k] = d->group[k];
		s.tree.n_random[k] = v->q[k];
		s.tree.z[k] = v->q[k] == 2 ? d->z : NULL;
	}
	for (size_t j = 0; j < v->n_factors; j++)
		s.factor[j] = c->factor[v->factor[j]];
	return s;
}

pd_crossed *new_crossed(const pd_crossed_spec *s)
{
	pd_crossed *m = NULL;
	pd_error err = { 0 };

	if (pd_crossed_new(s, &m, &err) != PD_OK)
		ck_abort_msg("new: %s", err.text);
	return m;
}

pd_crossed *fitted_crossed(const pd_crossed_spec *s)
{
	pd_crossed *m = new_crossed(s);
	pd_error err = { 0 };

	if (pd_crossed_fit(m, &err) != PD_OK)
		ck_abort_msg("fit: %s", err.text);
	return m;
}

void crossed_dense(struct dense *e, const struct crossed_data *c,
                   const struct crossed_variant *v)
{
	struct variant tree = { "", v->depth, { v->q[0], v->q[1], 0 }, v->ml };
	size_t n = c->d.n, nn = n * n;

	dense_new(e, &c->d, &tree); /* its residual's moves to the end */
	for (size_t j = 0; j < v->n_factors; j++) {
		const int32_t *code = c->factor[v->factor[j]];
		double *at = e->v + (e->k - 1 + j) * nn;

		memmove(at + nn, at, nn * sizeof *at);
		for (size_t i = 0; i < nn; i++)
			at[i] = code[i / n] == code[i % n] ? 1.0 : 0.0;
	}
	e->k += v->n_factors;
	ck_assert(e->k <= MOST);
}

void crossed_dense_theta(struct dense *e, const struct crossed_variant *v,
                         const double *theta, double s2)
{
	struct variant tree = { "", v->depth, { v->q[0], v->q[1], 0 }, v->ml };
	size_t k = e->k - 1 - v->n_factors;

	dense_theta(e, &tree, theta, s2);
	for (size_t j = 0; j < v->n_factors; j++)
		e->s[k + j] = s2 * theta[k + j] * theta[k + j];
	e->s[e->k - 1] = s2;
}

/* ---- Kenward-Roger from the definitions -------------------------------- */

static void product(const double *x, const double *y, double *out)
{
	for (size_t i = 0; i < P * P; i++) {
		out[i] = 0.0;
		for (size_t k = 0; k < P; k++)
			out[i] += x[i / P * P + k] * y[k * P + i % P];
	}
}

static double trace_of(const double *x)
{
	return x[0] + x[P + 1] + x[2 * P + 2];
}

/* out(n*P) = a(n*n) x(n*P) */
static void on_columns(const double *a, const double *x, size_t n, double *out)
{
	for (size_t i = 0; i < n * P; i++) {
		out[i] = 0.0;
		for (size_t j = 0; j < n; j++)
			out[i] += a[i / P * n + j] * x[j * P + i % P];
	}
}

/* out(P*P) = f x'y */
static void inner(const double *x, const double *y, size_t n, double f,
                  double *out)
{
	for (size_t c = 0; c < P * P; c++) {
		out[c] = 0.0;
		for (size_t i = 0; i < n; i++)
			out[c] += f * x[i * P + c / P] * y[i * P + c % P];
	}
}

/* tr V^-1 V_i V^-1 V_j from vw = V^-1 V_i */
static double trace_both(const double *x, const double *y, size_t n)
{
	double t = 0.0;

	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			t += x[i * n + j] * y[j * n + i];
	return t;
}


void crossed_kenward(const struct dense *e, const struct data *d,
                     struct crossed_kr *o)
{
	size_t n = e->n, nn = n * n;
	double *vw = calloc(e->k * nn, sizeof *vw), vx[ROWS * P];
	double a[P * P], b[P * P], c[P * P], sum[P * P] = { 0.0 };

	on_columns(e->inverse, d->x, n, vx);
	for (size_t k = 0; k < e->k; k++) {
		for (size_t i = 0; i < n; i++)
			for (size_t l = 0; l < n; l++)
				for (size_t j = 0; j < n; j++)
					vw[k * nn + i * n + j] +=
						e->inverse[i * n + l] *
						e->v[k * nn + l * n + j];
		on_columns(e->v + k * nn, vx, n, o->f[k]);
		on_columns(e->inverse, o->f[k], n, o->g[k]);
		inner(vx, o->f[k], n, -1.0, o->p[k]);
	}
	for (size_t k = 0; k < e->k; k++)
		for (size_t l = 0; l < e->k; l++) {
			inner(o->f[k], o->g[l], n, 1.0, o->q[k][l]);
			product(e->phi, o->q[k][l], c);
			product(e->phi, o->p[k], a);
			product(a, e->phi, b);
			product(b, o->p[l], a);
			o->w[k * e->k + l] = 0.5 *
				(trace_both(vw + k * nn, vw + l * nn, n) -
				 2.0 * trace_of(c) + trace_of(a));
		}
	invert(o->w, e->k);
	for (size_t k = 0; k < e->k; k++)
		for (size_t l = 0; l < e->k; l++) {
			product(o->p[k], e->phi, a);
			product(a, o->p[l], b);
			for (size_t i = 0; i < P * P; i++)
				sum[i] += o->w[k * e->k + l] *
				          (o->q[k][l][i] - b[i]);
		}
	product(e->phi, sum, a);
	product(a, e->phi, b);
	for (size_t i = 0; i < P * P; i++)
		o->adjusted[i] = e->phi[i] + 2.0 * b[i];
	free(vw);
}

double crossed_form(const double *c, const double *m)
{
	double s = 0.0;

	for (size_t i = 0; i < P * P; i++)
		s += c[i / P] * m[i] * c[i % P];
	return s;
}

double crossed_kr_df(const struct dense *e, const struct crossed_kr *o,
                     const double *c)
{
	double g[MOST], a[P * P], b[P * P], s = 0.0;
	double var = crossed_form(c, e->phi);

	for (size_t k = 0; k < e->k; k++) {
		product(e->phi, o->p[k], a);
		product(a, e->phi, b);
		g[k] = crossed_form(c, b);
	}
	for (size_t k = 0; k < e->k; k++)
		for (size_t l = 0; l < e->k; l++)
			s += o->w[k * e->k + l] * g[k] * g[l];
	return 2.0 * var * var / s;
}
