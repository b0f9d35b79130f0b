/*
 * linear_more.c - polynomials and contrasts over linear.c; a fit's end.
 */
#include "stats/linear.h"
#include "stats/quantile.h"
#include "stats/twofold.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { MOST_DEGREE = 64 };

void pd_linear_free(pd_linear_fit *f)
{
	free(f);
}

/* Powers of x in 32 digits: value and rest of degree k at k * n. */
static void powers(const double *x, size_t n, size_t degree, double *value,
                   double *rest)
{
	for (size_t i = 0; i < n; i++) {
		tf power = tf_of(1);

		for (size_t k = 0; k < degree; k++) {
			power = tf_mul(power, tf_of(x[i]));
			value[k * n + i] = power.hi;
			rest[k * n + i] = power.lo;
		}
	}
}

pd_status pd_polynomial(const double *x, const double *y, size_t n,
                        size_t degree, int intercept, pd_linear_fit **out,
                        pd_error *err)
{
	char name[MOST_DEGREE][8];
	pd_regressor column[MOST_DEGREE];
	double *value;
	pd_status st;

	*out = NULL;
	if (degree < 1 || degree >= MOST_DEGREE)
		return pd_fail(err, PD_DATA, "degree of a polynomial is %zu, "
		               "expected 1 to %d", degree, MOST_DEGREE - 1);
	value = calloc(n ? 2 * n * degree : 1, sizeof *value);
	if (!value)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	powers(x, n, degree, value, value + n * degree);
	for (size_t k = 0; k < degree; k++) {
		snprintf(name[k], sizeof name[k], k ? "x^%zu" : "x", k + 1);
		column[k] = (pd_regressor){ name[k], value + k * n,
			                    value + n * degree + k * n };
	}
	const pd_linear_data d = { .n = n, .y = y, .intercept = intercept,
		                   .n_columns = degree, .column = column };
	st = pd_linear(&d, out, err);
	free(value);
	return st;
}

pd_estimate pd_linear_contrast(const pd_linear_fit *f, const double *c,
                               double level)
{
	pd_estimate e = { .df = f->residual_df, .level = level };
	tf value = tf_of(0), variance = tf_of(0);
	double t = pd_t_quantile(0.5 + level / 2, e.df);

	for (size_t i = 0; i < f->p; i++) {
		value = tf_add(value, tf_product(c[i], f->coef[i]));
		for (size_t j = 0; j < f->p; j++)
			variance = tf_add(variance,
			                  tf_mul(tf_product(c[i], c[j]),
			                         tf_of(f->covariance[i * f->p +
			                                             j])));
	}
	e.value = tf_double(value);
	e.se = sqrt(fmax(0, tf_double(variance)));
	e.low = e.value - t * e.se;
	e.high = e.value + t * e.se;
	e.p = e.se > 0 ? pd_t_two_sided(e.value / e.se, e.df)
	               : e.value == 0;
	return e;
}
