/*
 * equivalence.c - see equivalence.h. Everything ends in pd_equivalence_of.
 */
#include "stats/equivalence.h"
#include "stats/paired.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

static const double ROUNDING = 1e-12;

/* ---- what is asked ------------------------------------------------------ */

static pd_status check_alpha(double alpha, pd_error *err)
{
	if (alpha > 0 && alpha < 0.5)
		return PD_OK;
	return pd_fail(err, PD_DATA, "level of each one-sided test must be "
	               "between 0 and 0.5, got %g", alpha);
}

pd_status pd_margin_check(const pd_margin *margin, double alpha,
                          pd_error *err)
{
	if (!(margin->low > 0) || !isfinite(margin->high))
		return pd_fail(err, PD_DATA, "limits of equivalence are "
		               "ratios and must be finite and above 0, got %g "
		               "to %g", margin->low, margin->high);
	if (!(margin->low < 1 && margin->high > 1))
		return pd_fail(err, PD_DATA, "limits of equivalence must have "
		               "1 (no difference) between them, got %g to %g",
		               margin->low, margin->high);
	return check_alpha(alpha, err);
}

static pd_status check_estimate(const pd_estimate *e, pd_error *err)
{
	if (!isfinite(e->value) || isnan(e->se) || isinf(e->se) ||
	    !(e->df > 0))
		return pd_fail(err, PD_DATA, "expected an estimate with a "
		               "finite value and standard error and degrees of "
		               "freedom above 0, got %g, %g, %g", e->value,
		               e->se, e->df);
	if (!(e->se > ROUNDING * (1 + fabs(e->value))))
		return pd_fail(err, PD_REFUSED, "a standard error of %g beside "
		               "a value of %g is not more than rounding",
		               e->se, e->value);
	return PD_OK;
}

/* ---- the tests ---------------------------------------------------------- */

/* p on the side of alpha where the interval puts it. */
static double agreeing(double p, double alpha, bool shown)
{
	if (shown)
		return fmin(p, alpha);
	return p > alpha ? p : nextafter(alpha, 1);
}

pd_status pd_equivalence_of(const pd_estimate *log_ratio,
                            const pd_margin *margin, double alpha,
                            pd_equivalence *out, pd_error *err)
{
	const pd_estimate *b = log_ratio;
	pd_status st = pd_margin_check(margin, alpha, err);
	double half;

	if (st == PD_OK)
		st = check_estimate(b, err);
	if (st != PD_OK)
		return st;
	half = -pd_t_quantile(alpha, b->df) * b->se;
	*out = (pd_equivalence){ .alpha = alpha, .ratio = exp(b->value) };
	out->log = (pd_estimate){ b->value, b->se, b->df, b->value - half,
	                          b->value + half, 1 - 2 * alpha,
	                          pd_t_two_sided(b->value / b->se, b->df) };
	out->ratio_low = exp(out->log.low);
	out->ratio_high = exp(out->log.high);
	out->t_low = (b->value - log(margin->low)) / b->se;
	out->t_high = (b->value - log(margin->high)) / b->se;
	if (isnan(half) || isnan(out->t_low) || isnan(out->t_high))
		return pd_fail(err, PD_NUMERIC, "Student's law could not be "
		               "computed at %g degrees of freedom", b->df);
	out->not_below = out->ratio_low >= margin->low;
	out->not_above = out->ratio_high <= margin->high;
	out->inside = out->not_below && out->not_above;
	out->p_low = agreeing(pd_t_upper(out->t_low, b->df), alpha,
	                      out->not_below);
	out->p_high = agreeing(pd_t_cdf(out->t_high, b->df), alpha,
	                       out->not_above);
	out->p = fmax(out->p_low, out->p_high);
	return PD_OK;
}

pd_status pd_noninferiority_of(const pd_estimate *log_ratio, double margin,
                               double alpha, pd_noninferiority *out,
                               pd_error *err)
{
	const pd_estimate *b = log_ratio;
	double side = margin < 1 ? 1 : -1, half, p;
	pd_status st = check_alpha(alpha, err);

	if (st == PD_OK && (!(margin > 0) || isinf(margin) || margin == 1))
		st = pd_fail(err, PD_DATA, "margin must be a finite ratio "
		             "above 0 and other than 1, got %g", margin);
	if (st == PD_OK)
		st = check_estimate(b, err);
	if (st != PD_OK)
		return st;
	*out = (pd_noninferiority){ .ratio = exp(b->value), .margin = margin,
	                            .alpha = alpha };
	half = -pd_t_quantile(alpha, b->df) * b->se;
	out->limit = exp(b->value - side * half);
	out->t = (b->value - log(margin)) / b->se;
	p = pd_t_upper(side * out->t, b->df);
	if (isnan(half) || isnan(p))
		return pd_fail(err, PD_NUMERIC, "Student's law could not be "
		               "computed at %g degrees of freedom", b->df);
	out->shown = side > 0 ? out->limit >= margin : out->limit <= margin;
	out->p = agreeing(p, alpha, out->shown);
	return PD_OK;
}

/* ---- from results ------------------------------------------------------- */

/* Logarithms of x[n]; `what` names a value that has none. */
static pd_status logs(const double *x, size_t n, const char *what, double *out,
                      pd_error *err)
{
	for (size_t i = 0; i < n; i++) {
		if (!(x[i] > 0) || isinf(x[i]))
			return pd_fail(err, PD_DATA, "%s result %zu: a ratio "
			               "needs finite results above 0, got %g",
			               what, i + 1, x[i]);
		out[i] = log(x[i]);
	}
	return PD_OK;
}

pd_status pd_equivalence_paired(const double *test, const double *reference,
                                size_t n, const pd_margin *margin,
                                double alpha, pd_equivalence *out,
                                pd_error *err)
{
	double *d = malloc((2 * n + 1) * sizeof *d);
	pd_status st = pd_margin_check(margin, alpha, err);
	pd_estimate e = { 0 };

	if (st == PD_OK && !d)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = logs(test, n, "test", d, err);
	if (st == PD_OK)
		st = logs(reference, n, "reference", d + n, err);
	for (size_t i = 0; st == PD_OK && i < n; i++)
		d[i] -= d[n + i];
	if (st == PD_OK)
		st = pd_paired_mean(d, n, 1 - 2 * alpha, &e, err);
	free(d);
	return st == PD_OK ? pd_equivalence_of(&e, margin, alpha, out, err)
	                   : st;
}

/* Mean of a[n] less mean of b[m], one variance for both. */
static pd_status pooled(const double *a, size_t n, const double *b, size_t m,
                        pd_estimate *out, pd_error *err)
{
	pd_summary sa = pd_summarise(a, n), sb = pd_summarise(b, m);
	double df = (double)n + (double)m - 2;

	if (!n || !m || df < 1)
		return pd_fail(err, PD_REFUSED, "two groups with at least 3 "
		               "results together are needed, got %zu and %zu",
		               n, m);
	if (!(sa.square + sb.square > 0))
		return pd_fail(err, PD_REFUSED, "no variation in either group");
	*out = (pd_estimate){ .value = sa.mean - sb.mean, .df = df };
	out->se = sqrt((sa.square + sb.square) / df *
	               (1 / (double)n + 1 / (double)m));
	return PD_OK;
}

pd_status pd_equivalence_groups(const double *test, size_t n,
                                const double *reference, size_t m,
                                pd_variances variances, const pd_margin *margin,
                                double alpha, pd_equivalence *out,
                                pd_error *err)
{
	double *a = malloc((n + m + 1) * sizeof *a), *b = a ? a + n : NULL;
	pd_status st = pd_margin_check(margin, alpha, err);
	pd_estimate e = { 0 };

	if (st == PD_OK && !a)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK && variances != PD_VARIANCES_APART &&
	    variances != PD_VARIANCES_POOLED)
		st = pd_fail(err, PD_DATA, "unknown treatment of variances %d",
		             (int)variances);
	if (st == PD_OK)
		st = logs(test, n, "test", a, err);
	if (st == PD_OK)
		st = logs(reference, m, "reference", b, err);
	if (st == PD_OK)
		st = variances == PD_VARIANCES_POOLED
		         ? pooled(a, n, b, m, &e, err)
		         : pd_welch(a, n, b, m, 1 - 2 * alpha, &e, err);
	free(a);
	return st == PD_OK ? pd_equivalence_of(&e, margin, alpha, out, err)
	                   : st;
}
