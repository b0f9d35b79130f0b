/*
 * robust.c - M-estimation by repeated weighted least squares; formulas in
 * robust.h.
 */
#include "stats/robust.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_ROUNDS = 10000 };

static const double huber_bend = 1.345, bisquare_end = 4.685;

static double weight(pd_robust_rule rule, double u)
{
	double a = fabs(u), t;

	if (rule == PD_HUBER)
		return a <= huber_bend ? 1 : huber_bend / a;
	if (a >= bisquare_end)
		return 0;
	t = a / bisquare_end;
	return (1 - t * t) * (1 - t * t);
}

/* d (u weight(u)) / du */
static double slope(pd_robust_rule rule, double u)
{
	double t = u / bisquare_end;

	if (rule == PD_HUBER)
		return fabs(u) <= huber_bend;
	return fabs(t) >= 1 ? 0 : (1 - t * t) * (1 - 5 * t * t);
}

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* median |r| / 0.6745; room[n]. */
static double scale_of(const double *r, size_t n, double *room)
{
	for (size_t i = 0; i < n; i++)
		room[i] = fabs(r[i]);
	qsort(room, n, sizeof *room, ascending);
	return (room[(n - 1) / 2] + room[n / 2]) / 2 / 0.6745;
}

void pd_robust_free(pd_robust_fit *f)
{
	if (!f)
		return;
	free(f->coef);
	free(f);
}

static pd_robust_fit *fit_new(size_t n, size_t p)
{
	pd_robust_fit *f = calloc(1, sizeof *f);

	if (!f)
		return NULL;
	f->n = n;
	f->p = p;
	f->coef = calloc(2 * p + p * p + 2 * n, sizeof *f->coef);
	if (!f->coef) {
		free(f);
		return NULL;
	}
	f->se = f->coef + p;
	f->covariance = f->se + p;
	f->residual = f->covariance + p * p;
	f->weight = f->residual + n;
	return f;
}

/* Covariance from the last residuals and inv(X'X) of the plain fit. */
static void spread(pd_robust_fit *f, pd_robust_rule rule,
                   const double *unscaled)
{
	double n = (double)f->n, p = (double)f->p;
	double mean = 0, var = 0, square = 0, k, factor;

	for (size_t i = 0; i < f->n; i++)
		mean += slope(rule, f->residual[i] / f->scale) / n;
	for (size_t i = 0; i < f->n; i++) {
		double d = slope(rule, f->residual[i] / f->scale) - mean;
		double r = f->residual[i] * f->weight[i];

		var += d * d / (n - 1);
		square += r * r / (n - p);
	}
	k = 1 + p * var / (n * mean * mean);
	factor = square * (k / mean) * (k / mean);
	for (size_t i = 0; i < f->p * f->p; i++)
		f->covariance[i] = factor * unscaled[i];
	for (size_t j = 0; j < f->p; j++)
		f->se[j] = sqrt(f->covariance[j * f->p + j]);
}

/* Largest move of a residual against the scale. */
static double moved(const double *a, const double *b, size_t n, double scale)
{
	double most = 0;

	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(a[i] - b[i]));
	return most / scale;
}

/* Scale and weights from the residuals; whether they can be used. */
static pd_status weigh(pd_robust_fit *f, pd_robust_rule rule, double size,
                       double *room, pd_error *err)
{
	f->scale = scale_of(f->residual, f->n, room);
	if (!(f->scale > 1e-13 * size))
		return pd_fail(err, PD_REFUSED, "half the rows or more lie on "
		               "the fit, so their spread is 0");
	f->rejected = 0;
	for (size_t i = 0; i < f->n; i++) {
		f->weight[i] = weight(rule, f->residual[i] / f->scale);
		f->rejected += f->weight[i] == 0;
	}
	return PD_OK;
}

static pd_status repeat(const pd_linear_data *d, pd_robust_rule rule,
                        pd_robust_fit *f, double *room, pd_error *err)
{
	pd_linear_data weighted = *d;
	double size = 0;

	for (size_t i = 0; i < d->n; i++)
		size = fmax(size, fabs(d->y[i]));
	weighted.weight = f->weight;
	for (int k = 0; k < MOST_ROUNDS; k++) {
		pd_linear_fit *l;
		pd_status st = weigh(f, rule, size, room, err);
		double move;

		if (st == PD_OK)
			st = pd_linear(&weighted, &l, err);
		if (st != PD_OK)
			return st;
		move = moved(l->residual, f->residual, f->n, f->scale);
		memcpy(f->coef, l->coef, f->p * sizeof *f->coef);
		memcpy(f->residual, l->residual, f->n * sizeof *f->residual);
		pd_linear_free(l);
		if (move < 1e-13)
			return weigh(f, rule, size, room, err);
	}
	return pd_fail(err, PD_NUMERIC, "no convergence after %d rounds",
	               (int)MOST_ROUNDS);
}

pd_status pd_robust(const pd_linear_data *d, pd_robust_rule rule,
                    pd_robust_fit **out, pd_error *err)
{
	pd_linear_fit *plain;
	pd_robust_fit *f;
	double *room;
	pd_status st;

	*out = NULL;
	if (d->weight)
		return pd_fail(err, PD_DATA, "weights given to a method that "
		               "makes its own");
	st = pd_linear(d, &plain, err);
	if (st != PD_OK)
		return st;
	f = fit_new(plain->n, plain->p);
	room = calloc(plain->n, sizeof *room);
	if (!f || !room) {
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	} else {
		f->df = plain->residual_df;
		memcpy(f->residual, plain->residual, f->n * sizeof *room);
		st = repeat(d, rule, f, room, err);
	}
	if (st == PD_OK) {
		spread(f, rule, plain->unscaled);
		st = pd_check_results(f->se, f->p, err);
	}
	if (st == PD_OK)
		*out = f;
	else
		pd_robust_free(f);
	free(room);
	pd_linear_free(plain);
	return st;
}
