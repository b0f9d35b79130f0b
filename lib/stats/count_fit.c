/*
 * count_fit.c - the count likelihood set up and searched.
 */
#include "stats/count_fit.h"

#include <math.h>
#include <string.h>

static pd_status check_rows(const pd_count_spec *spec, pd_count_search *s,
                            pd_error *err)
{
	size_t most, n_above = 0;
	pd_status st = pd_count_whole(spec->y, s->n, s->y, &most, err);

	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < s->n; i++) {
		s->offset[i] = spec->offset ? spec->offset[i] : 0;
		if (!isfinite(s->offset[i]))
			return pd_fail(err, PD_DATA, "row %zu: the offset is "
			               "not a finite number (exposure must be "
			               "above 0)", i + 1);
		n_above += s->y[i] > 0;
		s->n_cut += s->at_least && s->at_least[i];
	}
	if (!n_above)
		return pd_fail(err, PD_REFUSED, "all %zu counts are 0: no rate "
		               "can be fitted, only an upper limit", s->n);
	if (s->n_cut == s->n)
		return pd_fail(err, PD_REFUSED, "all %zu counts are cut off "
		               "above: no rate can be fitted, only a lower "
		               "limit", s->n);
	st = pd_count_table_new(s->arena, most, &s->table, err);
	if (st != PD_OK || !s->at_least)
		return st;
	return pd_count_table_cut(s->arena, &s->table, spec->y, s->at_least,
	                          s->n, err);
}

/* Least squares of the logs of the counts. */
static void start(pd_count_search *s)
{
	for (size_t j = 0; j < s->p; j++) {
		double sum = 0;

		for (size_t i = 0; i < s->n; i++)
			sum += s->basis.q[i * s->p + j] *
			       (log((double)s->y[i] + 0.5) - s->offset[i]);
		s->par[j] = sum / (double)s->n;
	}
}

pd_status pd_count_begin(pd_arena *arena, const pd_count_spec *spec,
                         pd_count_search *s, pd_error *err)
{
	size_t n = spec->n, p = spec->p;
	pd_status st;

	*s = (pd_count_search){ .arena = arena, .n = n, .p = p,
	                        .at_least = spec->at_least };
	if (n <= p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu columns: "
		               "more rows than columns are needed", n, p);
	s->basis = (pd_basis){ .n = n };
	st = p ? pd_basis_new(arena, spec->x, n, p, &s->basis, err) : PD_OK;
	if (st != PD_OK)
		return st;
	s->y = PD_NEW(arena, size_t, n);
	s->offset = PD_NEW(arena, double, n);
	s->x = (pd_count_columns){ n, p, PD_NEW(arena, double, n * p + 1) };
	s->linear = PD_NEW(arena, double, n);
	s->mean = PD_NEW(arena, double, n);
	s->slope = PD_NEW(arena, double, n);
	s->bend = PD_NEW(arena, double, n);
	s->mixed = PD_NEW(arena, double, spec->extra ? n : 1);
	s->par = PD_NEW(arena, double, p + 1);
	s->gradient = PD_NEW(arena, double, p + 1);
	s->hessian = PD_NEW(arena, double, (p + 1) * (p + 1));
	if (!s->y || !s->offset || !s->x.column || !s->linear || !s->mean ||
	    !s->slope || !s->bend || !s->mixed || !s->par || !s->gradient ||
	    !s->hessian)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			s->x.column[j * n + i] = s->basis.q[i * p + j];
	st = check_rows(spec, s, err);
	if (st == PD_OK)
		start(s);
	return st;
}

double pd_count_linear(const pd_count_search *s, size_t i)
{
	double e = s->offset[i];

	for (size_t j = 0; j < s->p; j++)
		e += s->basis.q[i * s->p + j] * s->par[j];
	return e;
}

/* The slopes of row i; the predictors are in s->linear, and for a whole
 * Poisson count, which needs no logarithm, the means in s->mean. */
static void row_at(const pd_count_search *s, size_t i, pd_count_slopes *row)
{
	size_t y = s->y[i];
	int cut = s->at_least && s->at_least[i];
	double e = s->linear[i];

	if (cut || isfinite(s->table.theta)) {
		pd_count_row(&s->table, y, cut, e, row);
		return;
	}
	row->l = (y ? (double)y * e : 0) - s->table.log_factorial[y] -
	         s->mean[i];
	row->e = (double)y - s->mean[i];
	row->ee = -s->mean[i];
	row->t = row->tt = row->et = 0;
}

/* Value, weights of the rows, and what is beside the columns. */
static void all_rows(pd_count_search *s, size_t m, double *value,
                     double *gradient, double *hessian)
{
	size_t p = s->p;

	for (size_t i = 0; i < s->n; i++) {
		pd_count_slopes row;

		row_at(s, i, &row);
		*value += row.l;
		s->slope[i] = row.e;
		s->bend[i] = row.ee;
		if (!s->free_theta)
			continue;
		s->mixed[i] = row.et;
		gradient[p] += row.t;
		if (hessian)
			hessian[p * m + p] += row.tt;
	}
}

static void likelihood(void *with, const double *par, double *value,
                       double *gradient, double *hessian)
{
	pd_count_search *s = with;
	const pd_count_kernel *kernel = pd_count_kernel_best();
	size_t m = s->p + s->free_theta;

	if (s->free_theta)
		pd_count_table_set(&s->table, exp(par[s->p]));
	kernel->linear(&s->x, par, s->offset, s->linear);
	if (isinf(s->table.theta))
		kernel->exp(s->linear, s->mean, s->n);
	*value = 0;
	memset(gradient, 0, m * sizeof *gradient);
	if (hessian)
		memset(hessian, 0, m * m * sizeof *hessian);
	all_rows(s, m, value, gradient, hessian);
	kernel->cross(&s->x, s->slope, gradient);
	if (!hessian)
		return;
	kernel->squares(&s->x, s->bend, hessian, m);
	if (s->free_theta)
		kernel->cross(&s->x, s->mixed, hessian + s->p * m);
	for (size_t j = 0; j < m; j++)
		for (size_t k = 0; k < j; k++)
			hessian[k * m + j] = hessian[j * m + k];
}

pd_status pd_count_climb(pd_count_search *s, double theta, bool free_theta,
                         pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(s->arena);
	pd_status st;

	s->free_theta = free_theta;
	pd_count_table_set(&s->table, theta);
	if (free_theta)
		s->par[s->p] = log(theta);
	st = pd_newton_search(s->arena, likelihood, s, s->p + free_theta,
	                      s->par, s->gradient, s->hessian, &s->record,
	                      err);
	pd_arena_rewind(s->arena, mark);
	return st;
}

static double theta_start(const pd_count_search *s)
{
	double square = 0, excess = 0;

	for (size_t i = 0; i < s->n; i++) {
		double mu = exp(pd_count_linear(s, i));
		double miss = (double)s->y[i] - mu;

		square += mu * mu;
		excess += miss * miss - mu;
	}
	return fmin(fmax(square / fmax(excess, 1e-3 * square), 0.1), 1e3);
}

double pd_count_furthest_theta(const pd_count_search *s)
{
	double largest = 1;

	for (size_t i = 0; i < s->n; i++)
		largest = fmax(largest, exp(pd_count_linear(s, i)));
	return log(1e6 * largest);
}

/* Names the column of X that has run furthest, each in its own spread. */
static pd_status separated(const pd_count_search *s, pd_error *err)
{
	double *beta = PD_NEW(s->arena, double, s->p + 1), far = 0;
	size_t column = 0;

	if (!beta)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_basis_back(&s->basis, s->par, beta);
	for (size_t j = 0; j < s->p; j++) {
		double run = fabs(beta[j]) * s->basis.r[j * s->p + j];

		if (run > far) {
			far = run;
			column = j;
		}
	}
	return pd_fail(err, PD_REFUSED, "no largest likelihood: the estimate "
	               "of column %zu of the model runs to infinity, because "
	               "the rows it sets apart all have count 0 (or are all "
	               "cut off above)", column + 1);
}

pd_status pd_count_check_top(const pd_count_search *s, pd_error *err)
{
	if (s->record.end == PD_NEWTON_TOP)
		return PD_OK;
	if (s->record.end == PD_NEWTON_RUNAWAY)
		return separated(s, err);
	return pd_fail(err, PD_NUMERIC, "the count regression did not converge "
	               "in %u steps (last step %g)", s->record.iterations,
	               s->record.step);
}

/* theta free, from the Poisson fit in s; INFINITY when the search leaves. */
static pd_status climb_theta(pd_count_search *s, const double *poisson,
                             double *theta, pd_error *err)
{
	double begin = theta_start(s);
	double furthest = pd_count_furthest_theta(s);
	double top = s->record.value;
	pd_status st = pd_count_climb(s, begin, false, err);

	if (st == PD_OK && s->record.end == PD_NEWTON_TOP)
		st = pd_count_climb(s, begin, true, err);
	if (st != PD_OK)
		return st;
	if (s->record.end == PD_NEWTON_TOP && s->par[s->p] < furthest &&
	    s->record.value > top) {
		*theta = exp(s->par[s->p]);
		return PD_OK;
	}
	if (s->record.end == PD_NEWTON_STUCK && s->par[s->p] < furthest)
		return pd_count_check_top(s, err);
	*theta = INFINITY;
	memcpy(s->par, poisson, s->p * sizeof *poisson);
	st = pd_count_climb(s, INFINITY, false, err);
	return st == PD_OK ? pd_count_check_top(s, err) : st;
}

pd_status pd_count_climb_all(pd_count_search *s, bool extra, double *theta,
                             double *poisson_value, pd_error *err)
{
	double *poisson = PD_NEW(s->arena, double, s->p + 1);
	pd_status st = pd_count_climb(s, INFINITY, false, err);

	if (!poisson)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = pd_count_check_top(s, err);
	if (st != PD_OK)
		return st;
	memcpy(poisson, s->par, s->p * sizeof *poisson);
	*poisson_value = s->record.value;
	*theta = INFINITY;
	return extra ? climb_theta(s, poisson, theta, err) : PD_OK;
}
