/* dense_model.c - see dense_model.h. */
#include "dense_model.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

void near(const char *what, double got, double want, double tolerance)
{
	if (fabs(got - want) <= tolerance * fmax(1.0, fabs(want)))
		return;
	ck_abort_msg("%s: got %.15g, wanted %.15g", what, got, want);
}

void make(struct data *d, uint64_t seed, const double sd[4])
{
	pd_stream s;
	int32_t n_case = 0, n_site = 0;

	memset(d, 0, sizeof *d);
	pd_stream_init(&s, seed, 7);
	for (int32_t a = 0; a < 14; a++) {
		double ua = sd[0] * pd_stream_normal(&s);
		double slope = 0.31 * pd_stream_normal(&s);
		uint64_t cases = 1 + pd_stream_below(&s, 3);

		for (uint64_t b = 0; b < cases; b++, n_case++) {
			double ub = sd[1] * pd_stream_normal(&s);
			uint64_t sites = 1 + pd_stream_below(&s, 3);

			for (uint64_t c = 0; c < sites; c++, n_site++) {
				double uc = sd[2] * pd_stream_normal(&s);
				uint64_t rows = 1 + pd_stream_below(&s, 3);

				for (uint64_t r = 0; r < rows; r++) {
					size_t i = d->n;
					double t = 5.0 * pd_stream_uniform(&s);

					if (i == ROWS)
						return;
					d->x[i * P] = 1.0;
					d->x[i * P + 1] = t - 2.3;
					d->x[i * P + 2] = a % 2;
					d->z[i * 2] = 1.0;
					d->z[i * 2 + 1] = t;
					d->y[i] = 3.7 + 0.53 * t -
						1.2 * d->x[i * P + 2] + ua +
						ub + uc + slope * t * sd[0] +
						sd[3] * pd_stream_normal(&s);
					d->group[0][i] = a;
					d->group[1][i] = n_case;
					d->group[2][i] = n_site;
					d->n++;
				}
			}
		}
	}
}

const double sds[4] = { 0.9, 0.5, 0.7, 1.1 };

const struct variant variants[VARIANTS] = {
	{ "intercepts", 3, { 1, 1, 1 }, false },
	{ "intercepts, ML", 3, { 1, 1, 1 }, true },
	{ "slope of the patient", 3, { 2, 1, 1 }, false },
	{ "slope of the site", 3, { 1, 1, 2 }, false },
	{ "slopes at both ends, ML", 3, { 2, 1, 2 }, true },
	{ "one level", 1, { 1, 0, 0 }, false },
	{ "one level with a slope", 1, { 2, 0, 0 }, false },
	{ "no level", 0, { 0, 0, 0 }, false },
};

pd_nested_spec spec_of(const struct data *d, const struct variant *v)
{
	pd_nested_spec s = { .n = d->n, .p = P, .x = d->x, .y = d->y,
	                     .depth = v->depth, .ml = v->ml };

	for (size_t k = 0; k < v->depth; k++) {
		s.group[k] = d->group[k];
		s.n_random[k] = v->q[k];
		s.z[k] = v->q[k] == 2 ? d->z : NULL;
	}
	return s;
}

pd_nested *new_model(const pd_nested_spec *s)
{
	pd_nested *m = NULL;
	pd_error err = { 0 };

	if (pd_nested_new(s, &m, &err) != PD_OK)
		ck_abort_msg("new: %s", err.text);
	return m;
}

pd_nested *fitted(const pd_nested_spec *s)
{
	pd_nested *m = new_model(s);
	pd_error err = { 0 };

	if (pd_nested_fit(m, &err) != PD_OK)
		ck_abort_msg("fit: %s", err.text);
	return m;
}

/* ---- the dense model, from the definitions ----------------------------- */

double invert(double *a, size_t n)
{
	double log_det = 0.0;

	for (size_t k = 0; k < n; k++) {
		double pivot = a[k * n + k];

		ck_assert(pivot > 0.0);
		log_det += log(pivot);
		a[k * n + k] = 1.0;
		for (size_t j = 0; j < n; j++)
			a[k * n + j] /= pivot;
		for (size_t i = 0; i < n; i++) {
			double f = a[i * n + k];

			if (i == k)
				continue;
			a[i * n + k] = 0.0;
			for (size_t j = 0; j < n; j++)
				a[i * n + j] -= f * a[k * n + j];
		}
	}
	return log_det;
}

void dense_new(struct dense *e, const struct data *d,
                      const struct variant *v)
{
	size_t n = d->n, k = 0;

	memset(e, 0, sizeof *e);
	e->n = n;
	e->v = calloc(MOST * n * n, sizeof *e->v);
	e->inverse = calloc(n * n, sizeof *e->inverse);
	for (size_t l = 0; l < v->depth; l++)
		for (size_t b = 0; b < v->q[l]; b++)
			for (size_t a = b; a < v->q[l]; a++, k++)
				for (size_t i = 0; i < n * n; i++) {
					const double *x = d->z + i / n * 2;
					const double *y = d->z + i % n * 2;

					if (d->group[l][i / n] !=
					    d->group[l][i % n])
						continue;
					e->v[k * n * n + i] = a == b ?
						x[a] * y[a] :
						x[a] * y[b] + x[b] * y[a];
				}
	for (size_t i = 0; i < n; i++)
		e->v[k * n * n + i * n + i] = 1.0;
	e->k = k + 1;
}

void dense_free(struct dense *e)
{
	free(e->v);
	free(e->inverse);
}

void dense_at(struct dense *e, const struct data *d)
{
	size_t n = e->n;
	double vx[ROWS * P], vy[ROWS], *w = e->inverse;

	memset(w, 0, n * n * sizeof *w);
	for (size_t k = 0; k < e->k; k++)
		for (size_t i = 0; i < n * n; i++)
			w[i] += e->s[k] * e->v[k * n * n + i];
	e->log_det = invert(w, n);
	for (size_t i = 0; i < n; i++) {
		vy[i] = 0.0;
		for (size_t j = 0; j < n; j++)
			vy[i] += w[i * n + j] * d->y[j];
		for (size_t c = 0; c < P; c++) {
			vx[i * P + c] = 0.0;
			for (size_t j = 0; j < n; j++)
				vx[i * P + c] += w[i * n + j] *
				                 d->x[j * P + c];
		}
	}
	memset(e->phi, 0, sizeof e->phi);
	for (size_t i = 0; i < n; i++)
		for (size_t a = 0; a < P; a++)
			for (size_t b = 0; b < P; b++)
				e->phi[a * P + b] += d->x[i * P + a] *
				                     vx[i * P + b];
	e->log_det_x = invert(e->phi, P);
	for (size_t a = 0; a < P; a++) {
		e->beta[a] = 0.0;
		for (size_t b = 0; b < P; b++)
			for (size_t i = 0; i < n; i++)
				e->beta[a] += e->phi[a * P + b] *
				              d->x[i * P + b] * vy[i];
	}
	e->rss = 0.0;
	for (size_t i = 0; i < n; i++) {
		double r = d->y[i];

		for (size_t a = 0; a < P; a++)
			r -= d->x[i * P + a] * e->beta[a];
		e->rss += vy[i] * r;
	}
}

double dense_deviance(const struct dense *e, bool ml)
{
	double nu = (double)(ml ? e->n : e->n - P);

	return nu * log(2.0 * M_PI) + e->log_det + e->rss +
	       (ml ? 0.0 : e->log_det_x);
}

void dense_theta(struct dense *e, const struct variant *v,
                        const double *theta, double s2)
{
	size_t k = 0;

	for (size_t l = 0; l < v->depth; l++, theta += v->q[l - 1] == 2 ? 3 : 1)
		if (v->q[l] == 2) {
			e->s[k++] = s2 * theta[0] * theta[0];
			e->s[k++] = s2 * theta[0] * theta[1];
			e->s[k++] = s2 * (theta[1] * theta[1] +
			                  theta[2] * theta[2]);
		} else {
			e->s[k++] = s2 * theta[0] * theta[0];
		}
	e->s[k] = s2;
}
