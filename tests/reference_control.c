/*
 * reference_control.c - outside checks of control charts, their factors and
 * their run lengths.
 */
#include "reference_pool.h"
#include "stats/control.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 64 };

static int factors(const struct check *c, double *got)
{
	const char *at = strstr(c->spec, "subgroup size ");
	pd_control_factors f;

	if (!at || pd_control_factors_of((size_t)strtod(at + 14, NULL), &f,
	                                 NULL) != PD_OK)
		return 0;
	return reference_pick(c, (struct named_value[]){
		{ "d2", f.d2 }, { "d3", f.d3 }, { "c4", f.c4 },
		{ "D4", f.d4_high }, { "D3", f.d3_low }, { "A2", f.a2 },
		{ "E2", f.e2 }, { NULL, 0 }
	}, got);
}

/* One of two columns of a chart at the row its quantity ends with. */
static int by_row(const struct check *c, const char *begins, const double *x,
                  size_t n, double *got)
{
	size_t length = strlen(begins), row;

	if (strncmp(c->quantity, begins, length) ||
	    sscanf(c->quantity + length, "%zu", &row) != 1 || row < 1 ||
	    row > n)
		return 0;
	*got = x[row - 1];
	return 1;
}

static int average(const struct check *c, const double *x, size_t n,
                   const pd_control_single *s, double *got)
{
	double lambda, limit, z[MOST], half[MOST];
	size_t first;

	if (sscanf(strstr(c->spec, "EWMA"), "EWMA lambda=%lf L=%lf", &lambda,
	           &limit) != 2 ||
	    pd_control_average(x, n, s->centre, s->sigma, lambda, limit, z,
	                       half, &first, NULL) != PD_OK)
		return 0;
	for (size_t i = 0; i < n; i++)
		half[i] += s->centre;
	if (!strcmp(c->quantity, "first_signal")) {
		*got = (double)first;
		return 1;
	}
	return by_row(c, "ewma_", z, n, got) || by_row(c, "ucl_", half, n, got);
}

static int sums(const struct check *c, const double *x, size_t n,
                const pd_control_single *s, double *got)
{
	double k, h, up[MOST], down[MOST], most = 0;
	size_t first;

	if (sscanf(strstr(c->spec, " k="), " k=%lf, h=%lf", &k, &h) != 2 ||
	    pd_control_sums(x, n, s->centre, s->sigma, k, h, up, down, &first,
	                    NULL) != PD_OK)
		return 0;
	for (size_t i = 0; i < n; i++)
		most = fmax(most, up[i]);
	return reference_pick(c, (struct named_value[]){
		{ "first_signal", (double)first }, { "cusum_up_max", most },
		{ NULL, 0 }
	}, got) || by_row(c, "cusum_up_", up, n, got) ||
	       by_row(c, "cusum_down_", down, n, got);
}

static int chart(const struct check *c, double *got)
{
	const char *at = strstr(c->spec, "baseline rows 1-");
	pd_control_single s;
	size_t n;
	const double *x = reference_real(c->dataset, "value", &n);

	if (!at || !x || n > MOST ||
	    pd_control_individuals(x, n, (size_t)strtod(at + 16, NULL), &s,
	                           NULL) != PD_OK)
		return 0;
	if (strstr(c->spec, "EWMA"))
		return average(c, x, n, &s, got);
	if (strstr(c->spec, "CUSUM"))
		return sums(c, x, n, &s, got);
	return reference_pick(c, (struct named_value[]){
		{ "center", s.centre }, { "mr_bar", s.range_mean },
		{ "sigma", s.sigma }, { "ucl", s.high }, { "lcl", s.low },
		{ "mr_ucl", s.range_high }, { "n_beyond", (double)s.n_beyond },
		{ NULL, 0 }
	}, got);
}

static int run_length(const struct check *c, double *got)
{
	double a, b, shift, upper, both;

	if (sscanf(c->spec, "two-sided EWMA with fixed asymptotic limits, "
	           "lambda=%lf, L=%lf, mean shift %lf", &a, &b, &shift) == 3)
		return pd_control_average_run(a, b, shift, got, NULL) == PD_OK;
	if (sscanf(c->spec, "tabular CUSUM, reference k=%lf, decision h=%lf "
	           "(sigma units), mean shift %lf", &a, &b, &shift) != 3 ||
	    pd_control_sums_run(a, b, shift, &upper, &both, NULL) != PD_OK)
		return 0;
	return reference_pick(c, (struct named_value[]){
		{ "arl_upper", upper }, { "arl_two_sided", both }, { NULL, 0 }
	}, got);
}

int reference_control(const struct check *c, double *got)
{
	if (!strcmp(c->method, "control chart constant"))
		return factors(c, got);
	if (!strcmp(c->method, "control chart"))
		return chart(c, got);
	return run_length(c, got);
}
