/*
 * control_run.c - mean run lengths of charts by integral equations, and the
 * limits that give a wanted one; see control.h.
 */
#include "stats/control.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <gsl/gsl_integration.h>
#include <gsl/gsl_linalg.h>
#include <math.h>

/* Powers of two: the library stores these nodes to full precision and finds
 * others to ten digits only. */
enum { FIRST_NODES = 32, LAST_NODES = 1024 };
/* An answer is settled when it moves by less than SETTLED + ROUNDING run of
 * itself: the equation is as near to singular as the run is long. */
static const double SETTLED = 1e-9, ROUNDING = 1e-13, LONGEST = 1e8;

/* What one equation needs; node[n] and weight[n] on [low, high]. */
struct equation {
	double k, h, lambda, shift; /* h: limit of the sum or of the average */
	double low, high;
	size_t n;
	gsl_integration_glfixed_table *table;
	gsl_matrix *a;              /* identity less the kernel              */
	gsl_vector *one, *run;      /* right side, solution                  */
	gsl_permutation *order;
};

static double density(double x)
{
	return exp(-0.5 * x * x) / sqrt(2 * M_PI);
}

static void equation_clear(struct equation *e)
{
	gsl_integration_glfixed_table_free(e->table);
	gsl_matrix_free(e->a);
	gsl_vector_free(e->one);
	gsl_vector_free(e->run);
	gsl_permutation_free(e->order);
}

/* Room for n nodes and `more` unknowns beside them. */
static int equation_init(struct equation *e, size_t n, size_t more)
{
	e->n = n;
	e->table = gsl_integration_glfixed_table_alloc(n);
	e->a = gsl_matrix_alloc(n + more, n + more);
	e->one = gsl_vector_alloc(n + more);
	e->run = gsl_vector_alloc(n + more);
	e->order = gsl_permutation_alloc(n + more);
	return e->table && e->a && e->one && e->run && e->order;
}

static double node(const struct equation *e, size_t i, double *weight)
{
	double x;

	gsl_integration_glfixed_point(e->low, e->high, i, &x, weight, e->table);
	return x;
}

static int solve(struct equation *e)
{
	int sign;

	gsl_vector_set_all(e->one, 1);
	return !gsl_linalg_LU_decomp(e->a, e->order, &sign) &&
	       !gsl_linalg_LU_solve(e->a, e->order, e->one, e->run);
}

/*
 * Cumulative sum: run(u) = 1 + run(0) F(k - u - shift) +
 *   int_0^h run(x) f(x + k - u - shift) dx; unknown 0 is run(0).
 */
static double sum_run(struct equation *e)
{
	double w, v;

	for (size_t i = 0; i <= e->n; i++) {
		double u = i ? node(e, i - 1, &v) : 0;

		gsl_matrix_set(e->a, i, 0, (i == 0) -
		               pd_normal_cdf(e->k - u - e->shift));
		for (size_t j = 0; j < e->n; j++) {
			double x = node(e, j, &w);

			gsl_matrix_set(e->a, i, j + 1, (i == j + 1) -
			               w * density(x + e->k - u - e->shift));
		}
	}
	return solve(e) ? gsl_vector_get(e->run, 0) : NAN;
}

/*
 * Weighted average: run(u) = 1 + int_-h^h run(x)
 *   f((x - (1 - lambda) u) / lambda - shift) / lambda dx; the answer is run(0).
 */
static double average_kernel(const struct equation *e, double u, double x)
{
	return density((x - (1 - e->lambda) * u) / e->lambda - e->shift) /
	       e->lambda;
}

static double average_run(struct equation *e)
{
	double w, v, run = 1;

	for (size_t i = 0; i < e->n; i++) {
		double u = node(e, i, &v);

		for (size_t j = 0; j < e->n; j++) {
			double x = node(e, j, &w);

			gsl_matrix_set(e->a, i, j, (i == j) -
			               w * average_kernel(e, u, x));
		}
	}
	if (!solve(e))
		return NAN;
	for (size_t j = 0; j < e->n; j++) {
		double x = node(e, j, &w);

		run += w * gsl_vector_get(e->run, j) * average_kernel(e, 0, x);
	}
	return run;
}

/* Twice the nodes until the answer stays. */
static pd_status settle(struct equation like, double (*run)(struct equation *),
                        size_t more, double *out, pd_error *err)
{
	double before = NAN;

	for (size_t n = FIRST_NODES; n <= LAST_NODES; n *= 2) {
		struct equation e = like;
		int good = equation_init(&e, n, more);

		*out = good ? run(&e) : NAN;
		equation_clear(&e);
		if (!good)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		if (*out >= 1 && *out <= LONGEST &&
		    fabs(*out - before) <=
		        (SETTLED + ROUNDING * *out) * *out)
			return PD_OK;
		before = *out;
	}
	return pd_fail(err, PD_NUMERIC, "the run length did not settle: %g "
	               "and changing", *out);
}

pd_status pd_control_sums_run(double k, double h, double shift, double *upper,
                              double *both, pd_error *err)
{
	struct equation e = { .k = k, .h = h, .high = h, .shift = shift };
	double lower;
	pd_status st;

	if (!(k >= 0 && k <= 5) || !(h > 0 && h <= 50) ||
	    !(fabs(shift) <= 10))
		return pd_fail(err, PD_DATA, "run lengths of sums take an "
		               "allowance of 0 to 5, a limit of 0 to 50 and a "
		               "shift of -10 to 10, got %g, %g and %g", k, h,
		               shift);
	st = settle(e, sum_run, 1, upper, err);
	if (st != PD_OK || !both)
		return st;
	/* A run without end on the far side adds nothing. */
	e.shift = -shift;
	if (settle(e, sum_run, 1, &lower, NULL) != PD_OK)
		lower = INFINITY;
	if (isinf(lower) && !(shift > 0))
		return pd_fail(err, PD_NUMERIC, "the run length of the lower "
		               "sum did not settle");
	*both = 1 / (1 / *upper + 1 / lower);
	return PD_OK;
}

pd_status pd_control_average_run(double lambda, double limit, double shift,
                                 double *run, pd_error *err)
{
	struct equation e = { .lambda = lambda, .shift = shift };

	if (!(lambda >= 0.01 && lambda <= 1) || !(limit > 0 && limit <= 6) ||
	    !(fabs(shift) <= 10))
		return pd_fail(err, PD_DATA, "run lengths of averages take a "
		               "weight of 0.01 to 1, a limit of 0 to 6 and a "
		               "shift of -10 to 10, got %g, %g and %g", lambda,
		               limit, shift);
	e.high = limit * sqrt(lambda / (2 - lambda));
	e.low = -e.high;
	return settle(e, average_run, 0, run, err);
}

/* ---- design ----------------------------------------------------------- */

/* Log run length without a shift at limit x; a is k or lambda. */
static pd_status log_run(int sums, double a, double x, double *out,
                         pd_error *err)
{
	double upper;
	pd_status st = sums ? pd_control_sums_run(a, x, 0, &upper, NULL, err)
	                    : pd_control_average_run(a, x, 0, &upper, err);

	*out = log(sums ? upper / 2 : upper);
	return st;
}

struct wanted {
	int sums;
	double a, log_run;
	pd_status st;
	pd_error *err;
};

static double over(double x, const void *with)
{
	/* what failed is told to the caller through the wish itself */
	struct wanted *w = *(struct wanted *const *)with;
	double now;
	pd_status st = log_run(w->sums, w->a, x, &now, w->err);

	if (st != PD_OK)
		w->st = st;
	return st == PD_OK ? now - w->log_run : (double)NAN;
}

/* Run lengths rise with the limit: grow it past the wish, then close in. */
static pd_status design(int sums, double a, double run, double most,
                        double *out, pd_error *err)
{
	struct wanted want = { sums, a, log(run), PD_OK, err }, *w = &want;
	double low = 0, high = 0.25;

	if (!(run >= 2 && run <= 1e5))
		return pd_fail(err, PD_DATA, "a chart is designed for 2 to "
		               "100000 values between false signals, got %g",
		               run);
	for (;;) {
		double now = over(high, &w);

		if (want.st != PD_OK)
			return want.st;
		if (now >= 0)
			break;
		if (high >= most)
			return pd_fail(err, PD_NUMERIC, "no limit up to %g "
			               "gives %g values between false signals",
			               most, run);
		low = high;
		high = fmin(most, 1.25 * high);
	}
	low = fmax(low, 1e-9);
	if (over(low, &w) >= 0) { /* an allowance that alone is enough */
		*out = low;
		return want.st;
	}
	*out = pd_root(over, &w, low, high, 1e-9 * high);
	if (want.st == PD_OK && isnan(*out))
		return pd_fail(err, PD_NUMERIC, "no limit gives %g values "
		               "between false signals", run);
	return want.st;
}

pd_status pd_control_sums_design(double k, double run, double *h, pd_error *err)
{
	return design(1, k, run, 50, h, err);
}

pd_status pd_control_average_design(double lambda, double run, double *limit,
                                    pd_error *err)
{
	return design(0, lambda, run, 6, limit, err);
}
