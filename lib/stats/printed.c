/*
 * printed.c - see printed.h.
 */
#include "stats/printed.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>

static pd_status above_zero(const char *what, double x, pd_error *err)
{
	if (x > 0 && isfinite(x))
		return PD_OK;
	return pd_fail(err, PD_DATA, "the %s must be a number above 0, got %g",
	               what, x);
}

static pd_status enough(size_t n, pd_error *err)
{
	if (n >= 2)
		return PD_OK;
	return pd_fail(err, PD_DATA, "a group needs 2 values or more, got %zu",
	               n);
}

static pd_status level_is(double level, pd_error *err)
{
	if (level > 0 && level < 1)
		return PD_OK;
	return pd_fail(err, PD_DATA, "level must be between 0 and 1, got %g",
	               level);
}

/* ---- one group -------------------------------------------------------- */

/* n times the variance of log_mean found from mean and sd. */
static double through_moments(double c)
{
	double f = 1 + c, k = (1 + 2 * c) / f, g1 = (c + 3) * sqrt(c);
	double g2 = f * f * f * f + 2 * f * f * f + 3 * f * f - 6;

	return k * k * c + (g2 + 2) * c * c / (4 * f * f) -
	       k * g1 * c * sqrt(c) / f;
}

pd_status pd_printed_mean_sd(double mean, double sd, size_t n,
                             pd_printed *out, pd_error *err)
{
	pd_status st = above_zero("mean", mean, err);
	double c = sd / mean * (sd / mean), square;

	if (st == PD_OK)
		st = above_zero("standard deviation", sd, err);
	if (st == PD_OK)
		st = enough(n, err);
	if (st != PD_OK)
		return st;
	square = log1p(c);
	*out = (pd_printed){ .log_mean = log(mean) - 0.5 * square,
	                     .log_sd = sqrt(square), .n = n,
	                     .df = (double)n - 1 };
	out->log_se = sqrt(through_moments(c) / (double)n);
	if (!isfinite(out->log_se))
		return pd_fail(err, PD_DATA, "a standard deviation of %g is "
		               "out of all proportion to a mean of %g", sd,
		               mean);
	return PD_OK;
}

double pd_printed_sd_of_se(double se, size_t n)
{
	return n >= 2 && se > 0 ? se * sqrt((double)n) : NAN;
}

double pd_printed_sd_of_interval(double low, double high, double level,
                                 size_t n)
{
	if (n < 2 || !(low < high) || !(level > 0 && level < 1))
		return NAN;
	return sqrt((double)n) * (high - low) /
	       (2 * pd_t_quantile(0.5 + 0.5 * level, (double)n - 1));
}

static pd_status ordered(double middle, double lower, double upper,
                         const char *name, pd_error *err)
{
	pd_status st = above_zero(name, middle, err);

	if (st == PD_OK)
		st = above_zero("lower limit", lower, err);
	if (st == PD_OK)
		st = above_zero("upper limit", upper, err);
	if (st == PD_OK && !(lower <= middle && middle <= upper &&
	                     lower < upper))
		st = pd_fail(err, PD_DATA, "%g is not between %g and %g, or "
		             "these are not in order", middle, lower, upper);
	return st;
}

static double skew(double middle, double lower, double upper)
{
	return (log(upper / middle) - log(middle / lower)) /
	       log(upper / lower);
}

static pd_status about_median(double median, double lower, double upper,
                              double place, size_t n, pd_printed *out,
                              pd_error *err)
{
	pd_status st = ordered(median, lower, upper, "median", err);

	if (st == PD_OK)
		st = enough(n, err);
	if (st != PD_OK)
		return st;
	*out = (pd_printed){ .log_mean = log(median), .n = n,
	                     .df = (double)n - 1,
	                     .skew = skew(median, lower, upper) };
	out->log_sd = log(upper / lower) / (2 * pd_normal_quantile(place));
	out->log_se = out->log_sd * sqrt(M_PI / (2 * (double)n));
	return pd_check_results(&out->log_sd, 1, err);
}

pd_status pd_printed_quartiles(double median, double lower, double upper,
                               size_t n, pd_printed *out, pd_error *err)
{
	double m = (double)n;

	return about_median(median, lower, upper,
	                    (0.75 * m - 0.125) / (m + 0.25), n, out, err);
}

pd_status pd_printed_range(double median, double lowest, double largest,
                           size_t n, pd_printed *out, pd_error *err)
{
	double m = (double)n;

	return about_median(median, lowest, largest,
	                    (m - 0.375) / (m + 0.25), n, out, err);
}

pd_status pd_printed_geometric(double mean, double low, double high,
                               double level, size_t n, int normal,
                               pd_printed *out, pd_error *err)
{
	pd_status st = ordered(mean, low, high, "geometric mean", err);
	double df = normal ? INFINITY : (double)n - 1;

	if (st == PD_OK)
		st = level_is(level, err);
	if (st == PD_OK)
		st = enough(n, err);
	if (st != PD_OK)
		return st;
	*out = (pd_printed){ .log_mean = log(mean), .n = n, .df = df,
	                     .skew = skew(mean, low, high) };
	out->log_se = log(high / low) /
	              (2 * pd_t_quantile(0.5 + 0.5 * level, df));
	out->log_sd = out->log_se * sqrt((double)n);
	return pd_check_results(&out->log_sd, 1, err);
}

pd_status pd_printed_geometric_sd(double mean, double sd, size_t n,
                                  pd_printed *out, pd_error *err)
{
	pd_status st = above_zero("geometric mean", mean, err);

	if (st == PD_OK && (!(sd >= 1) || isinf(sd)))
		st = pd_fail(err, PD_DATA, "a geometric standard deviation is "
		             "a factor of 1 or more, got %g", sd);
	if (st == PD_OK)
		st = enough(n, err);
	if (st != PD_OK)
		return st;
	*out = (pd_printed){ .log_mean = log(mean), .log_sd = log(sd),
	                     .n = n, .df = (double)n - 1 };
	out->log_se = out->log_sd / sqrt((double)n);
	return PD_OK;
}

/* ---- two groups ------------------------------------------------------- */

static pd_status answer(double value, double variance, double df, double level,
                        pd_estimate *out, pd_error *err)
{
	double half;

	if (!(variance > 0))
		return pd_fail(err, PD_REFUSED, "no spread in either group: "
		               "the ratio has no interval");
	*out = (pd_estimate){ .value = value, .se = sqrt(variance), .df = df,
	                      .level = level };
	half = out->se * pd_t_quantile(0.5 + 0.5 * level, df);
	out->low = value - half;
	out->high = value + half;
	out->p = pd_t_two_sided(value / out->se, df);
	return PD_OK;
}

/* Satterthwaite's df of a sum of two variances. */
static double joint_df(double v1, double df1, double v2, double df2)
{
	double sum = v1 + v2;

	v1 /= sum;
	v2 /= sum;
	return 1 / (v1 * v1 / df1 + v2 * v2 / df2);
}

/* The three numbers a ratio is made of. */
static pd_status look(const pd_printed *p, pd_error *err)
{
	if (isfinite(p->log_mean) && p->log_se >= 0 && isfinite(p->log_se) &&
	    p->df >= 1)
		return PD_OK;
	return pd_fail(err, PD_DATA, "a group has the mean of logs %g, its "
	               "standard error %g and %g degrees of freedom, expected "
	               "numbers", p->log_mean, p->log_se, p->df);
}

pd_status pd_printed_ratio(const pd_printed *a, const pd_printed *b,
                           double level, pd_estimate *out, pd_error *err)
{
	pd_status st = level_is(level, err);
	double va = a->log_se * a->log_se, vb = b->log_se * b->log_se;

	if (st == PD_OK)
		st = look(a, err);
	if (st == PD_OK)
		st = look(b, err);
	if (st != PD_OK)
		return st;
	return answer(a->log_mean - b->log_mean, va + vb,
	              joint_df(va, a->df, vb, b->df), level, out, err);
}

static pd_status pairs(size_t n_a, size_t n_b, double r, double level,
                       pd_error *err)
{
	if (!(r > -1 && r < 1))
		return pd_fail(err, PD_DATA, "a correlation is between -1 and "
		               "1, got %g", r);
	if (n_a != n_b)
		return pd_fail(err, PD_DATA, "pairs have the same number in "
		               "both groups, got %zu and %zu", n_a, n_b);
	return level_is(level, err);
}

pd_status pd_printed_paired_ratio(const pd_printed *a, const pd_printed *b,
                                  double r, double level, pd_estimate *out,
                                  pd_error *err)
{
	pd_status st = pairs(a->n, b->n, r, level, err);
	double variance;

	if (st == PD_OK)
		st = look(a, err);
	if (st == PD_OK)
		st = look(b, err);
	if (st != PD_OK)
		return st;
	variance = a->log_se * a->log_se + b->log_se * b->log_se -
	           2 * r * a->log_se * b->log_se;
	return answer(a->log_mean - b->log_mean, variance,
	              fmin(a->df, b->df), level, out, err);
}

/* The squared coefficient of variation. */
static pd_status relative(const pd_printed_mean *g, double *c, pd_error *err)
{
	pd_status st = above_zero("mean", g->mean, err);

	if (st == PD_OK && (!(g->sd >= 0) || isinf(g->sd)))
		st = pd_fail(err, PD_DATA, "a standard deviation is a number "
		             "of 0 or more, got %g", g->sd);
	if (st == PD_OK)
		st = enough(g->n, err);
	*c = g->sd / g->mean * (g->sd / g->mean);
	return st;
}

pd_status pd_printed_means_ratio(const pd_printed_mean *a,
                                 const pd_printed_mean *b, double level,
                                 pd_estimate *out, pd_error *err)
{
	pd_status st = level_is(level, err);
	double ca = 0, cb = 0, na = (double)a->n, nb = (double)b->n;

	if (st == PD_OK)
		st = relative(a, &ca, err);
	if (st == PD_OK)
		st = relative(b, &cb, err);
	if (st != PD_OK)
		return st;
	return answer(log(a->mean / b->mean), ca / na + cb / nb,
	              joint_df(ca / na, na - 1, cb / nb, nb - 1), level, out,
	              err);
}

pd_status pd_printed_paired_means_ratio(const pd_printed_mean *a,
                                        const pd_printed_mean *b, double r,
                                        double level, pd_estimate *out,
                                        pd_error *err)
{
	pd_status st = pairs(a->n, b->n, r, level, err);
	double ca = 0, cb = 0, n = (double)a->n;

	if (st == PD_OK)
		st = relative(a, &ca, err);
	if (st == PD_OK)
		st = relative(b, &cb, err);
	if (st != PD_OK)
		return st;
	return answer(log(a->mean / b->mean),
	              (ca + cb - 2 * r * sqrt(ca * cb)) / n, n - 1, level, out,
	              err);
}
