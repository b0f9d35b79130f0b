/*
 * curve_mixed_at.c - the mixed model at one turn: its columns, its fit from
 * where the last one ended, the step to a better turn.
 */
#include "stats/basis.h"
#include "stats/curve_mixed_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static pd_status check(const pd_curve_mixed_spec *s, pd_error *err)
{
	if (!(s->level > 0 && s->level < 1))
		return pd_fail(err, PD_DATA, "level is %g, expected between 0 "
		               "and 1", s->level);
	for (size_t i = 0; i < s->model.n; i++) {
		if (!isfinite(s->v[i]))
			return pd_fail(err, PD_DATA, "row %zu: the dose is "
			               "%g, expected a finite number", i + 1,
			               s->v[i]);
		if (s->shape == PD_CURVE_APPROACH && s->v[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu: the dose is "
			               "%g, expected 0 or more", i + 1,
			               s->v[i]);
	}
	return PD_OK;
}

/* Is the constant a sum of the columns of X? */
static pd_status check_constant(pd_arena *arena, const pd_nested_spec *m,
                                pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(arena);
	pd_basis b;
	double left = (double)m->n;
	pd_status st = m->p ? pd_basis_new(arena, m->x, m->n, m->p, &b, err)
	                    : PD_OK;

	for (size_t j = 0; st == PD_OK && j < m->p; j++) {
		double sum = 0;

		for (size_t i = 0; i < m->n; i++)
			sum += b.q[i * m->p + j];
		left -= sum * sum / (double)m->n;
	}
	if (st == PD_OK && !(left < 1e-9 * (double)m->n))
		st = pd_fail(err, PD_USAGE, "no constant among the %zu "
		             "columns: a bend needs one", m->p);
	pd_arena_rewind(arena, mark);
	return st;
}

static void find_distinct(struct pd_curve_at *w)
{
	double sum = 0;
	size_t k = 0;

	memcpy(w->distinct, w->spec->v, w->n * sizeof *w->distinct);
	qsort(w->distinct, w->n, sizeof *w->distinct, ascending);
	for (size_t i = 0; i < w->n; i++) {
		sum += w->distinct[i] - w->distinct[0];
		if (!i || w->distinct[i] > w->distinct[k - 1])
			w->distinct[k++] = w->distinct[i];
	}
	w->n_distinct = k;
	w->centre = w->distinct[0] + sum / (double)w->n;
}

pd_status pd_curve_at_new(pd_arena *arena, const pd_curve_mixed_spec *spec,
                          struct pd_curve_at *out, pd_error *err)
{
	size_t n = spec->model.n, p = spec->model.p;
	pd_status st = check(spec, err);

	*out = (struct pd_curve_at){
		.spec = spec, .n = n, .p = p,
		.q = spec->shape == PD_CURVE_SLOPE ? 2 : 1,
	};
	if (st == PD_OK && spec->shape != PD_CURVE_APPROACH)
		st = check_constant(arena, &spec->model, err);
	if (st != PD_OK)
		return st;
	out->x = PD_NEW(arena, double, n * (p + PD_CURVE_MOST_COLUMNS));
	out->distinct = PD_NEW(arena, double, n);
	out->beta = PD_NEW(arena, double, p + PD_CURVE_MOST_COLUMNS);
	if (!out->x || !out->distinct || !out->beta)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows", n);
	find_distinct(out);
	if (out->n_distinct < 4)
		return pd_fail(err, PD_REFUSED, "%zu distinct doses, expected "
		               "at least 4", out->n_distinct);
	return PD_OK;
}

/* ---- columns ------------------------------------------------------------ */

/* A dose at the turn counts as after it where only one is beyond. */
static bool is_after(const struct pd_curve_at *w, double v, double turn)
{
	if (v == turn)
		return !(w->distinct[w->n_distinct - 2] > turn);
	return v > turn;
}

/* f's columns at one dose: an approach is turn (1 - exp(-v / turn)), whose
 * coefficient, the slope at 0, stays of one size when the turn runs away. */
static void curve_columns(const struct pd_curve_at *w, double v, double turn,
                          double *out)
{
	switch (w->spec->shape) {
	case PD_CURVE_LEVEL:
		out[0] = fmin(v - turn, 0);
		break;
	case PD_CURVE_SLOPE:
		out[0] = v - turn;
		out[1] = fmax(v - turn, 0);
		break;
	case PD_CURVE_APPROACH:
		out[0] = -turn * expm1(-v / turn);
		break;
	}
}

/* df/dturn, slope[0] the slope, slope[1] the change. */
static double tangent(const struct pd_curve_at *w, double v, double turn,
                      const double *slope)
{
	double a = v / turn;

	switch (w->spec->shape) {
	case PD_CURVE_LEVEL:
		return is_after(w, v, turn) ? 0 : -slope[0];
	case PD_CURVE_SLOPE:
		return -slope[0] - (is_after(w, v, turn) ? slope[1] : 0);
	default:
		return slope[0] * (-expm1(-a) - a * exp(-a));
	}
}

static size_t columns(struct pd_curve_at *w, enum pd_curve_with with,
                      double turn, const double *slope)
{
	size_t p = w->p, width = p;

	if (with == PD_WITH_LINE)
		width = p + 1;
	else if (with != PD_WITH_NOTHING)
		width = p + w->q + (with == PD_WITH_TANGENT);
	for (size_t i = 0; i < w->n; i++) {
		double *to = w->x + i * width, v = w->spec->v[i];

		memcpy(to, w->spec->model.x + i * p, p * sizeof *to);
		if (with == PD_WITH_LINE)
			to[p] = v - w->centre;
		else if (with != PD_WITH_NOTHING)
			curve_columns(w, v, turn, to + p);
		if (with == PD_WITH_TANGENT)
			to[p + w->q] = tangent(w, v, turn, slope);
	}
	return width;
}

/* ---- fits --------------------------------------------------------------- */

/* Few rows can give a deviance two low points in the variances: there every
 * fit begins anew, so that D hangs on the turn alone. */
enum { MANY_ROWS = 2000 };

static pd_status warm_fit(struct pd_curve_at *w, pd_nested *m, pd_error *err)
{
	const double *y = w->spec->model.y;

	if (w->warm && w->n > MANY_ROWS &&
	    pd_nested_refit(m, y, w->theta, NULL) == PD_OK)
		return PD_OK;
	return pd_nested_fit(m, err);
}

pd_status pd_curve_at_fit(struct pd_curve_at *w, enum pd_curve_with with,
                          double turn, const double *slope, bool ml,
                          pd_nested **out, pd_error *err)
{
	pd_nested_spec s = w->spec->model;
	pd_nested *m;
	pd_status st;

	*out = NULL;
	s.p = columns(w, with, turn, slope);
	s.x = w->x;
	s.ml = ml;
	w->fits++;
	st = pd_nested_new(&s, &m, err);
	if (st == PD_OK)
		st = warm_fit(w, m, err);
	if (st != PD_OK) {
		pd_nested_free(m);
		return st;
	}
	memcpy(w->beta, pd_nested_beta(m), s.p * sizeof *w->beta);
	memcpy(w->theta, m->theta, sizeof w->theta);
	w->warm = true;
	*out = m;
	return PD_OK;
}

double pd_curve_at_deviance(struct pd_curve_at *w, enum pd_curve_with with,
                            double turn)
{
	pd_nested *m;
	pd_error why = { 0 };
	pd_status st = pd_curve_at_fit(w, with, turn, NULL, true, &m, &why);
	double value = INFINITY;

	if (st == PD_OK) {
		value = pd_nested_record(m)->deviance;
	} else {
		w->st = st;
		w->why = why;
	}
	pd_nested_free(m);
	return value;
}

double pd_curve_at_step(struct pd_curve_at *w, double turn, double *value)
{
	double slope[2] = { 0 }, step;
	pd_nested *m;

	*value = pd_curve_at_deviance(w, PD_WITH_CURVE, turn);
	if (!isfinite(*value))
		return NAN;
	memcpy(slope, w->beta + w->p, w->q * sizeof *slope);
	if (pd_curve_at_fit(w, PD_WITH_TANGENT, turn, slope, true, &m, NULL) !=
	    PD_OK)
		return NAN;
	step = w->beta[w->p + w->q];
	pd_nested_free(m);
	return step;
}
