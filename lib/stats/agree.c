/*
 * agree.c - see agree.h. The rank line is in agree_ranks.c.
 */
#include "stats/agree.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

static pd_status check(const double *x, const double *y, size_t n, size_t least,
                       double level, pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", level);
	for (size_t i = 0; i < n; i++)
		if (!isfinite(x[i]) || !isfinite(y[i]))
			return pd_fail(err, PD_DATA, "pair %zu holds a value "
			               "that is not a finite number", i + 1);
	if (n < least)
		return pd_fail(err, PD_REFUSED, "agreement needs at least %zu "
		               "pairs, got %zu", least, n);
	return PD_OK;
}

/* ---- limits of agreement ---------------------------------------------- */

/* Intervals of the limits from those of mean and sd. */
static void recover(pd_limits *l, double level)
{
	double df = (double)l->n - 1, a = 0.5 - 0.5 * level;
	double from = l->sd * sqrt(df / pd_chisq_quantile(1 - a, df));
	double to = l->sd * sqrt(df / pd_chisq_quantile(a, df));
	double mean = l->bias.high - l->bias.value;
	double inner = hypot(mean, l->k * (l->sd - from));
	double outer = hypot(mean, l->k * (to - l->sd));

	l->low_from = l->low - outer;
	l->low_to = l->low + inner;
	l->high_from = l->high - inner;
	l->high_to = l->high + outer;
}

static void trend(const double *x, const double *y, double *d, double *middle,
                  pd_limits *l)
{
	double df = (double)l->n - 2, r;

	for (size_t i = 0; i < l->n; i++)
		middle[i] = 0.5 * x[i] + 0.5 * y[i];
	l->trend = r = pd_correlation(d, middle, l->n);
	l->trend_p = pd_t_two_sided(r * sqrt(df / ((1 - r) * (1 + r))), df);
}

static void limits(pd_summary s, double k, double level, pd_limits *l)
{
	double n = (double)s.n, half;

	l->n = s.n;
	l->sd = s.sd;
	l->k = k;
	l->bias = (pd_estimate){ .value = s.mean, .se = s.sd / sqrt(n),
	                         .df = n - 1, .level = level };
	half = l->bias.se * pd_t_quantile(0.5 + 0.5 * level, n - 1);
	l->bias.low = s.mean - half;
	l->bias.high = s.mean + half;
	l->bias.p = pd_t_two_sided(s.mean / l->bias.se, n - 1);
	l->low = s.mean - k * s.sd;
	l->high = s.mean + k * s.sd;
	l->se = s.sd * sqrt(1 / n + k * k / (2 * (n - 1)));
	l->se_1986 = sqrt(3 * s.sd * s.sd / n);
	recover(l, level);
}

pd_status pd_agree_limits(const double *x, const double *y, size_t n, double k,
                          double level, pd_limits *out, pd_error *err)
{
	pd_status st = check(x, y, n, 3, level, err);
	pd_summary s;
	double *d, most;

	if (st != PD_OK)
		return st;
	if (!(k > 0))
		return pd_fail(err, PD_REFUSED, "the limits need a multiple of "
		               "the sd above 0, got %g", k);
	d = malloc(2 * n * sizeof *d);
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++)
		d[i] = x[i] - y[i];
	s = pd_summarise(d, n);
	most = fmax(fabs(s.low), fabs(s.high));
	if (!(s.high - s.low > 1e-12 * most)) {
		st = pd_fail(err, PD_REFUSED, "no variation: all differences "
		             "are equal");
	} else {
		limits(s, k, level, out);
		trend(x, y, d, d + n, out);
		st = pd_check_estimate(&out->bias, err);
	}
	if (st == PD_OK) {
		double made[] = { out->se, out->se_1986, out->low_from,
		                  out->low_to, out->high_from, out->high_to };

		st = pd_check_results(made, sizeof made / sizeof *made, err);
	}
	free(d);
	return st;
}

pd_status pd_agree_ratio(const double *x, const double *y, size_t n, double k,
                         double level, pd_limits *out, pd_error *err)
{
	double *a = malloc((2 * n + 1) * sizeof *a);
	pd_status st = PD_OK;

	if (!a)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n && st == PD_OK; i++) {
		if (!(x[i] > 0) || !(y[i] > 0))
			st = pd_fail(err, PD_DATA, "pair %zu: a ratio needs "
			             "values above 0, got %g and %g", i + 1,
			             x[i], y[i]);
		else {
			a[i] = log(x[i]);
			a[n + i] = log(y[i]);
		}
	}
	if (st == PD_OK)
		st = pd_agree_limits(a, a + n, n, k, level, out, err);
	free(a);
	return st;
}

/* ---- Deming ----------------------------------------------------------- */

/* Means, squares and products about them, of n points. */
struct moments {
	double n, mx, my, xx, yy, xy;
};

static pd_status moments(const double *x, const double *y, size_t n,
                         struct moments *m, pd_error *err)
{
	pd_summary sx = pd_summarise(x, n), sy = pd_summarise(y, n);
	double *t = malloc(n * sizeof *t);

	if (!t)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++)
		t[i] = (x[i] - sx.mean) * (y[i] - sy.mean);
	*m = (struct moments){ (double)n, sx.mean, sy.mean, sx.square,
	                       sy.square, pd_sum(t, n) };
	free(t);
	return PD_OK;
}

/* The moments without the point x, y. */
static struct moments without(struct moments m, double x, double y)
{
	double dx = x - m.mx, dy = y - m.my, f = m.n / (m.n - 1);

	return (struct moments){ m.n - 1, m.mx - dx / (m.n - 1),
	                         m.my - dy / (m.n - 1), m.xx - f * dx * dx,
	                         m.yy - f * dy * dy, m.xy - f * dx * dy };
}

/* 0 when x and y do not vary together. */
static int deming(struct moments m, double ratio, double *slope,
                  double *intercept)
{
	double d = m.yy - ratio * m.xx;
	double root = sqrt(d * d + 4 * ratio * m.xy * m.xy);

	if (!(fabs(m.xy) > 1e-13 * sqrt(m.xx) * sqrt(m.yy)))
		return 0;
	*slope = d > 0 ? (d + root) / (2 * m.xy)
	               : 2 * ratio * m.xy / (root - d);
	*intercept = m.my - *slope * m.mx;
	return 1;
}

/* From the n estimates with one point left out (Linnet's pseudo-values). */
static pd_estimate jackknife(double value, double *left_out, size_t n,
                             double level)
{
	pd_estimate e = { .value = value, .level = level };
	double half;

	for (size_t i = 0; i < n; i++)
		left_out[i] = (double)n * value -
		              ((double)n - 1) * left_out[i];
	e.se = pd_summarise(left_out, n).sd / sqrt((double)n);
	e.df = (double)n - 2;
	half = e.se * pd_t_quantile(0.5 + 0.5 * level, e.df);
	e.low = value - half;
	e.high = value + half;
	if (e.se > 0)
		e.p = pd_t_two_sided(value / e.se, e.df);
	else
		e.p = value == 0;
	return e;
}

static pd_status within_range(const pd_line *l, pd_error *err)
{
	double made[] = { l->slope.value, l->slope.se, l->slope.low,
	                  l->slope.high, l->slope.p, l->intercept.value,
	                  l->intercept.se, l->intercept.low,
	                  l->intercept.high, l->intercept.p };

	return pd_check_results(made, sizeof made / sizeof *made, err);
}

pd_status pd_agree_deming(const double *x, const double *y, size_t n,
                          double ratio, double level, pd_line *out,
                          pd_error *err)
{
	pd_status st = check(x, y, n, 4, level, err);
	struct moments m;
	double slope, intercept, *b;
	int good;

	if (st == PD_OK && (!(ratio > 0) || !isfinite(ratio)))
		st = pd_fail(err, PD_DATA, "the ratio of the error variances "
		             "must be above 0, got %g", ratio);
	if (st == PD_OK)
		st = moments(x, y, n, &m, err);
	if (st != PD_OK)
		return st;
	b = malloc(2 * n * sizeof *b);
	if (!b)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	good = deming(m, ratio, &slope, &intercept);
	for (size_t i = 0; i < n && good; i++)
		good = deming(without(m, x[i], y[i]), ratio, &b[i], &b[n + i]);
	*out = (pd_line){ .n_slopes = 0 };
	if (good) {
		out->slope = jackknife(slope, b, n, level);
		out->intercept = jackknife(intercept, b + n, n, level);
		st = within_range(out, err);
	} else {
		st = pd_fail(err, PD_REFUSED, "the two measurements do not "
		             "vary together");
	}
	free(b);
	return st;
}

/* ---- coefficients ----------------------------------------------------- */

static pd_status varied(const double *x, const double *y, size_t n,
                        double level, struct moments *m, pd_error *err)
{
	pd_status st = check(x, y, n, 4, level, err);

	if (st == PD_OK)
		st = moments(x, y, n, m, err);
	if (st == PD_OK && (!(m->xx > 0) || !(m->yy > 0)))
		st = pd_fail(err, PD_REFUSED, "no variation in one of the two "
		             "measurements");
	return st;
}

/* Variance of atanh(c); r the correlation, u2 the squared location shift. */
static double lin_variance(double c, double r, double u2, double n)
{
	double d = 1 - c * c;

	return ((1 - r * r) * c * c / (d * r * r) +
	        2 * c * c * c * (1 - c) * u2 / (r * d * d) -
	        c * c * c * c * u2 * u2 / (2 * r * r * d * d)) / (n - 2);
}

pd_status pd_agree_concordance(const double *x, const double *y, size_t n,
                               double level, pd_estimate *out, pd_error *err)
{
	struct moments m;
	pd_status st = varied(x, y, n, level, &m, err);
	double shift, c, r, se, z;

	if (st != PD_OK)
		return st;
	shift = m.mx - m.my;
	c = 2 * m.xy / (m.xx + m.yy + m.n * shift * shift);
	r = m.xy / (sqrt(m.xx) * sqrt(m.yy));
	*out = (pd_estimate){ c, NAN, INFINITY, NAN, NAN, level, NAN };
	if (r == 0 || !(fabs(c) < 1))
		return PD_OK;
	se = sqrt(lin_variance(c, r, m.n * shift * shift /
	                       (sqrt(m.xx) * sqrt(m.yy)), m.n));
	z = pd_normal_quantile(0.5 + 0.5 * level);
	out->se = se * (1 - c * c);
	out->low = tanh(atanh(c) - z * se);
	out->high = tanh(atanh(c) + z * se);
	return PD_OK;
}

pd_status pd_agree_correlation(const double *x, const double *y, size_t n,
                               double level, pd_estimate *out, pd_error *err)
{
	struct moments m;
	pd_status st = varied(x, y, n, level, &m, err);
	double r, half, df = (double)n - 2;

	if (st != PD_OK)
		return st;
	r = fmax(-1, fmin(1, pd_correlation(x, y, n)));
	half = pd_normal_quantile(0.5 + 0.5 * level) / sqrt((double)n - 3);
	*out = (pd_estimate){ r, NAN, df, tanh(atanh(r) - half),
	                      tanh(atanh(r) + half), level, NAN };
	out->p = pd_t_two_sided(r * sqrt(df / ((1 - r) * (1 + r))), df);
	return PD_OK;
}

pd_status pd_agree_repeat(const double *x, const double *y, size_t n,
                          double level, pd_repeat *out, pd_error *err)
{
	pd_status st = check(x, y, n, 2, level, err);
	double square = 0, df = (double)n, a = 0.5 - 0.5 * level;

	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < n; i++)
		square += (x[i] - y[i]) * (x[i] - y[i]);
	if (!(square > 0))
		return pd_fail(err, PD_REFUSED, "no variation: every pair "
		               "holds two equal values");
	out->n = n;
	out->sw = sqrt(square / df / 2);
	out->sw_low = out->sw * sqrt(df / pd_chisq_quantile(1 - a, df));
	out->sw_high = out->sw * sqrt(df / pd_chisq_quantile(a, df));
	out->coefficient = 1.96 * M_SQRT2 * out->sw;
	out->coefficient_1986 = 2 * sqrt(square / df);
	double made[] = { out->sw_low, out->sw_high, out->coefficient };

	return pd_check_results(made, sizeof made / sizeof *made, err);
}
