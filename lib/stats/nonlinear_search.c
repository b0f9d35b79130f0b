/*
 * nonlinear_search.c - trust region searches and the steps that polish them;
 * see nonlinear.h.
 */
#include "stats/nonlinear_search.h"
#include "stats/linear.h"
#include "stats/twofold.h"

#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_multifit_nlinear.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_STEPS = 2000, MOST_POLISH = 400 };

/* Stands for a residual outside the model's domain: never a step taken. */
static const double far_off = 1e150;

double pd_nonlinear_square(const pd_nonlinear_data *d, const double *theta,
                           double *r)
{
	tf s = tf_of(0);

	if (d->model(theta, d->context, r, NULL))
		return INFINITY;
	for (size_t i = 0; i < d->n; i++) {
		r[i] = d->y[i] - r[i];
		if (!(fabs(r[i]) < far_off))
			return INFINITY;
		s = tf_add(s, tf_product(r[i], r[i]));
	}
	return tf_double(s);
}

/* ---- the library's search --------------------------------------------- */

static int residuals(const gsl_vector *theta, void *context, gsl_vector *out)
{
	const pd_nonlinear_data *d = context;
	int bad = d->model(theta->data, d->context, out->data, NULL);

	for (size_t i = 0; i < d->n; i++) {
		out->data[i] -= d->y[i];
		if (bad || !(fabs(out->data[i]) < far_off))
			out->data[i] = far_off;
	}
	return GSL_SUCCESS;
}

static int gradient(const gsl_vector *theta, void *context, gsl_matrix *out)
{
	const pd_nonlinear_data *d = context;
	double *value = malloc(d->n * sizeof *value);
	int bad = !value ||
	          d->model(theta->data, d->context, value, out->data);

	free(value);
	for (size_t k = 0; !bad && k < d->n * d->p; k++)
		bad = !isfinite(out->data[k]);
	return bad ? GSL_EBADFUNC : GSL_SUCCESS;
}

/* The rules of the region tried in turn. */
static gsl_multifit_nlinear_parameters rule(size_t k)
{
	gsl_multifit_nlinear_parameters g =
	    gsl_multifit_nlinear_default_parameters();

	switch (k) {
	case 0:
		break;
	case 1:
		g.trs = gsl_multifit_nlinear_trs_ddogleg;
		break;
	case 2:
		g.scale = gsl_multifit_nlinear_scale_levenberg;
		break;
	case 3:
		g.trs = gsl_multifit_nlinear_trs_subspace2D;
		break;
	case 4:
		g.scale = gsl_multifit_nlinear_scale_marquardt;
		break;
	default:
		g.trs = gsl_multifit_nlinear_trs_dogleg;
		g.scale = gsl_multifit_nlinear_scale_levenberg;
		break;
	}
	g.solver = gsl_multifit_nlinear_solver_qr;
	return g;
}

enum { RULES = 6 };

/* theta[p] to where the library's search by rule k ends. */
static pd_status region(const pd_nonlinear_data *d, size_t k, double *theta)
{
	gsl_multifit_nlinear_parameters g = rule(k);
	gsl_multifit_nlinear_fdf f = { .f = residuals, .df = gradient,
		                       .n = d->n, .p = d->p,
		                       .params = (void *)(uintptr_t)d };
	gsl_vector_view start = gsl_vector_view_array(theta, d->p);
	gsl_multifit_nlinear_workspace *w =
	    gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &g, d->n,
	                               d->p);
	int info;

	if (!w)
		return PD_NO_MEMORY;
	if (gsl_multifit_nlinear_init(&start.vector, &f, w) == GSL_SUCCESS) {
		const gsl_vector *end = gsl_multifit_nlinear_position(w);

		gsl_multifit_nlinear_driver(MOST_STEPS, 1e-14, 0, 0, NULL,
		                            NULL, &info, w);
		for (size_t j = 0; j < d->p; j++)
			if (isfinite(gsl_vector_get(end, j)))
				theta[j] = gsl_vector_get(end, j);
	}
	gsl_multifit_nlinear_free(w);
	return PD_OK;
}

/* ---- polishing -------------------------------------------------------- */

struct room {
	double *r, *value, *gradient, *column, *next;
	pd_regressor *regressor;
};

static void room_free(struct room *m)
{
	free(m->r);
	free(m->regressor);
}

static int room_new(struct room *m, const pd_nonlinear_data *d)
{
	size_t n = d->n, p = d->p;

	m->r = calloc(2 * n + 2 * n * p + p, sizeof *m->r);
	m->regressor = calloc(p, sizeof *m->regressor);
	if (!m->r || !m->regressor)
		return 0;
	m->value = m->r + n;
	m->gradient = m->value + n;
	m->column = m->gradient + n * p;
	m->next = m->column + n * p;
	return 1;
}

/* The residuals at theta on the gradient: NULL when they cannot be fitted. */
static pd_linear_fit *tangent(const pd_nonlinear_data *d, struct room *m,
                              const double *theta)
{
	pd_linear_data l = { .n = d->n, .y = m->r, .n_columns = d->p,
		             .column = m->regressor };
	pd_linear_fit *f = NULL;

	if (isinf(pd_nonlinear_square(d, theta, m->r)) ||
	    d->model(theta, d->context, m->value, m->gradient))
		return NULL;
	for (size_t j = 0; j < d->p; j++) {
		for (size_t i = 0; i < d->n; i++)
			m->column[j * d->n + i] = m->gradient[i * d->p + j];
		m->regressor[j] = (pd_regressor){ d->name[j],
			                          m->column + j * d->n, NULL };
	}
	return pd_linear(&l, &f, NULL) == PD_OK ? f : NULL;
}

/* Largest step of a parameter against its size. */
static double step(const pd_linear_fit *f, const double *theta)
{
	double most = 0;

	for (size_t j = 0; j < f->p; j++)
		if (f->coef[j] != 0)
			most = fmax(most, fabs(f->coef[j]) /
			                      fmax(fabs(theta[j]), 1e-300));
	return most;
}

/* A rise of the sum of squares that rounding of the model explains. */
static double rounding(const pd_nonlinear_data *d, double square)
{
	double most = 0;

	for (size_t i = 0; i < d->n; i++)
		most = fmax(most, fabs(d->y[i]));
	most *= 8 * DBL_EPSILON;
	return 1e-9 * square + (double)d->n * most * most;
}

/*
 * Gauss-Newton from theta while the steps get shorter or the sum of squares
 * falls; whether the point it ends in is a least one.
 */
static int polish(const pd_nonlinear_data *d, struct room *m, double *theta,
                  double *square)
{
	double shortest = INFINITY;
	int settled = 0;

	*square = pd_nonlinear_square(d, theta, m->r);
	for (int k = 0; k < MOST_POLISH; k++) {
		pd_linear_fit *f = tangent(d, m, theta);
		double next, length;

		if (!f)
			return 0;
		length = step(f, theta);
		settled = f->f < 1e-12 || length < 1e-10;
		for (size_t j = 0; j < d->p; j++)
			m->next[j] = theta[j] + f->coef[j];
		pd_linear_free(f);
		next = pd_nonlinear_square(d, m->next, m->r);
		if (length == 0 || !(next < *square + rounding(d, *square)) ||
		    (length >= shortest && !(next < *square)))
			break;
		shortest = fmin(shortest, length);
		memcpy(theta, m->next, d->p * sizeof *theta);
		*square = next;
	}
	return settled;
}

pd_status pd_nonlinear_search(const pd_nonlinear_data *d, double *theta,
                              double *square, int *settled, pd_error *err)
{
	struct room m = { 0 };
	double *start = calloc(2 * d->p, sizeof *start), *trial;
	pd_status st = start && room_new(&m, d) ? PD_OK : PD_NO_MEMORY;
	int agree = 0;

	*settled = 0;
	*square = INFINITY;
	trial = start ? start + d->p : NULL;
	if (st == PD_OK)
		memcpy(start, theta, d->p * sizeof *start);
	for (size_t k = 0; k < RULES && st == PD_OK && agree < 2; k++) {
		double s;
		int good;

		memcpy(trial, start, d->p * sizeof *trial);
		st = region(d, k, trial);
		if (st != PD_OK)
			break;
		good = polish(d, &m, trial, &s);
		if (good && *settled && fabs(s - *square) <= 1e-9 * s)
			agree++;
		if (good > *settled || (good == *settled && s < *square)) {
			if (!*settled || s < *square * (1 - 1e-9))
				agree = good;
			memcpy(theta, trial, d->p * sizeof *theta);
			*square = s;
			*settled = good;
		}
	}
	free(start);
	room_free(&m);
	return st == PD_OK ? st : pd_fail(err, st, "out of memory");
}
