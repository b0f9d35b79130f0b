/*
 * nonlinear.c - nonlinear least squares, its errors and profile limits;
 * formulas in nonlinear.h.
 */
#include "stats/nonlinear.h"
#include "stats/linear.h"
#include "stats/nonlinear_search.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void pd_nonlinear_free(pd_nonlinear_fit *f)
{
	if (!f)
		return;
	free(f->theta);
	free(f);
}

static pd_nonlinear_fit *fit_new(size_t n, size_t p)
{
	pd_nonlinear_fit *f = calloc(1, sizeof *f);

	if (!f)
		return NULL;
	f->n = n;
	f->p = p;
	f->theta = calloc(2 * p + p * p + n, sizeof *f->theta);
	if (!f->theta) {
		free(f);
		return NULL;
	}
	f->se = f->theta + p;
	f->covariance = f->se + p;
	f->residual = f->covariance + p * p;
	return f;
}

static pd_status look(const pd_nonlinear_data *d, const double *start,
                      pd_error *err)
{
	if (!d->p || d->n <= d->p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu parameters, "
		               "expected more rows than parameters", d->n,
		               d->p);
	for (size_t i = 0; i < d->n; i++)
		if (!isfinite(d->y[i]))
			return pd_fail(err, PD_DATA, "row %zu of the outcome "
			               "is %g, expected a finite number",
			               i + 1, d->y[i]);
	for (size_t j = 0; j < d->p; j++)
		if (!isfinite(start[j]))
			return pd_fail(err, PD_DATA, "start of '%s' is %g, "
			               "expected a finite number", d->name[j],
			               start[j]);
	return PD_OK;
}

/* Errors from the gradient at theta; refuses parameters told apart by
 * nothing. */
static pd_status spread(const pd_nonlinear_data *d, pd_nonlinear_fit *f,
                        pd_error *err)
{
	size_t n = d->n, p = d->p;
	double *room = calloc(n + 2 * n * p, sizeof *room);
	pd_regressor *column = calloc(p, sizeof *column);
	pd_linear_fit *l = NULL;
	pd_error why = { 0 };
	pd_status st;

	if (!room || !column) {
		free(room);
		free(column);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	d->model(f->theta, d->context, room, room + n);
	for (size_t j = 0; j < p; j++) {
		double *x = room + n + n * p + j * n;

		for (size_t i = 0; i < n; i++)
			x[i] = room[n + i * p + j];
		column[j] = (pd_regressor){ d->name[j], x, NULL };
	}
	const pd_linear_data at = { .n = n, .y = f->residual, .n_columns = p,
		                    .column = column };
	st = pd_linear(&at, &l, &why);
	if (st == PD_REFUSED)
		pd_fail(err, st, "parameters cannot be told apart: %s",
		        why.text);
	else if (st != PD_OK)
		pd_fail(err, st, "%s", why.text);
	for (size_t k = 0; st == PD_OK && k < p * p; k++)
		f->covariance[k] = f->residual_sd * f->residual_sd *
		                   l->unscaled[k];
	for (size_t j = 0; st == PD_OK && j < p; j++)
		f->se[j] = f->residual_sd * sqrt(l->unscaled[j * p + j]);
	if (st == PD_OK)
		f->offset = isinf(l->f) ? 0 : sqrt(l->f);
	if (st == PD_OK)
		st = pd_check_results(f->se, p, err);
	pd_linear_free(l);
	free(room);
	free(column);
	return st;
}

pd_status pd_nonlinear(const pd_nonlinear_data *d, const double *start,
                       pd_nonlinear_fit **out, pd_error *err)
{
	pd_status st = look(d, start, err);
	pd_nonlinear_fit *f;
	int settled = 0;

	*out = NULL;
	if (st != PD_OK)
		return st;
	f = fit_new(d->n, d->p);
	if (!f)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	memcpy(f->theta, start, d->p * sizeof *start);
	if (isinf(pd_nonlinear_square(d, f->theta, f->residual)))
		st = pd_fail(err, PD_DATA,
		             "start values are outside the model's domain");
	if (st == PD_OK)
		st = pd_nonlinear_search(d, f->theta, &f->residual_ss,
		                         &settled, err);
	if (st == PD_OK) {
		pd_nonlinear_square(d, f->theta, f->residual);
		f->residual_df = (double)(d->n - d->p);
		f->residual_sd = sqrt(f->residual_ss / f->residual_df);
		st = spread(d, f, err);
	}
	if (st == PD_OK && !settled)
		st = pd_fail(err, PD_NUMERIC, "no convergence: relative offset "
		             "%g, expected at most 1e-6", f->offset);
	if (st == PD_OK)
		*out = f;
	else
		pd_nonlinear_free(f);
	return st;
}

pd_estimate pd_nonlinear_wald(const pd_nonlinear_fit *f, size_t j,
                              double level)
{
	pd_estimate e = { .value = f->theta[j], .se = f->se[j],
		          .df = f->residual_df, .level = level };
	double t = pd_t_quantile(0.5 + level / 2, e.df);

	e.low = e.value - t * e.se;
	e.high = e.value + t * e.se;
	e.p = e.se > 0 ? pd_t_two_sided(e.value / e.se, e.df) : e.value == 0;
	return e;
}

/* ---- profile ---------------------------------------------------------- */

/* The model with parameter j held; `full` is room for all of them. */
struct held {
	const pd_nonlinear_data *d;
	size_t j;
	double *full, *wide; /* p; n * p */
};

static int held_model(const double *theta, void *context, double *value,
                      double *gradient)
{
	struct held *h = context;
	size_t p = h->d->p, at = 0;
	int bad;

	for (size_t k = 0; k < p; k++)
		if (k != h->j)
			h->full[k] = theta[at++];
	bad = h->d->model(h->full, h->d->context, value,
	                  gradient ? h->wide : NULL);
	at = 0;
	for (size_t i = 0; gradient && !bad && i < h->d->n; i++)
		for (size_t k = 0; k < p; k++)
			if (k != h->j)
				gradient[at++] = h->wide[i * p + k];
	return bad;
}

struct profile {
	pd_nonlinear_data rest; /* p - 1 parameters */
	struct held held;
	double *best;  /* p - 1: where the last fit inside ended */
	double *trial; /* p - 1 */
	double *r;     /* n */
	double cut;    /* sum of squares at the limit */
};

/* Least sum of squares with the parameter at v, less the cut. */
static pd_status above(struct profile *q, double v, double *out, pd_error *err)
{
	int settled = 1;
	double square;

	q->held.full[q->held.j] = v;
	memcpy(q->trial, q->best, q->rest.p * sizeof *q->best);
	square = pd_nonlinear_square(&q->rest, q->trial, q->r);
	if (q->rest.p && isfinite(square)) {
		pd_status st = pd_nonlinear_search(&q->rest, q->trial, &square,
		                                   &settled, err);

		if (st != PD_OK)
			return st;
	}
	*out = square - q->cut;
	if (!settled && *out > 0)
		return pd_fail(err, PD_NUMERIC, "no convergence of the fit "
		               "with '%s' held at %g",
		               q->held.d->name[q->held.j], v);
	if (*out < 0)
		memcpy(q->best, q->trial, q->rest.p * sizeof *q->best);
	return PD_OK;
}

/* The limit between `in` (below the cut) and `past` (above). */
static pd_status close_in(struct profile *q, double in, double past,
                          double *limit, pd_error *err)
{
	for (int k = 0; k < 200; k++) {
		double mid = in + (past - in) / 2, g;
		pd_status st;

		if (mid == in || mid == past ||
		    fabs(past - in) <= 1e-12 * fabs(mid))
			break;
		st = above(q, mid, &g, err);
		if (st != PD_OK)
			return st;
		if (g < 0)
			in = mid;
		else
			past = mid;
	}
	*limit = in + (past - in) / 2;
	return PD_OK;
}

/* Walk from the estimate in steps of `width`, doubled each time. */
static pd_status walk(struct profile *q, double from, double width,
                      double *limit, pd_error *err)
{
	double in = from;

	for (int k = 0; k < 24; k++, width *= 2) {
		double past = from + width, g;
		pd_status st = above(q, past, &g, err);

		if (st != PD_OK)
			return st;
		if (g >= 0)
			return close_in(q, in, past, limit, err);
		in = past;
	}
	*limit = width > 0 ? INFINITY : -INFINITY;
	return PD_OK;
}

pd_status pd_nonlinear_profile(const pd_nonlinear_data *d,
                               const pd_nonlinear_fit *f, size_t j,
                               double level, pd_estimate *out, pd_error *err)
{
	size_t n = d->n, p = d->p, at = 0;
	double *room = calloc(n + n * p + 5 * p, sizeof *room);
	const char **name = calloc(p, sizeof *name);
	pd_estimate e = pd_nonlinear_wald(f, j, level);
	double width = pd_t_quantile(0.5 + level / 2, f->residual_df) * e.se;
	struct profile q = {
		.rest = { n, p - 1, d->y, held_model, &q.held, name },
		.held = { d, j, NULL, NULL },
		.cut = f->residual_ss *
		       (1 + pd_f_quantile(level, 1, f->residual_df) /
		                f->residual_df),
	};
	pd_status st = PD_OK;

	if (!room || !name)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (int side = -1; st == PD_OK && width > 0 && side <= 1; side += 2) {
		q.r = room;
		q.held.wide = q.r + n;
		q.held.full = q.held.wide + n * p;
		q.best = q.held.full + p;
		q.trial = q.best + p;
		at = 0;
		for (size_t k = 0; k < p; k++)
			if (k != j) {
				name[at] = d->name[k];
				q.best[at++] = f->theta[k];
			}
		st = walk(&q, e.value, side * width,
		          side < 0 ? &e.low : &e.high, err);
	}
	if (st == PD_OK)
		*out = e;
	free(room);
	free(name);
	return st;
}
