/*
 * series.c - autocorrelation and drift of values in time; formulas in
 * series.h.
 */
#include "stats/series.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_DRIFT = 8000 };

static pd_status look(const double *x, size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(x[i]))
			return pd_fail(err, PD_DATA, "value %zu is %g, expected"
			               " a finite number", i + 1, x[i]);
	return PD_OK;
}

/* ---- autocorrelation -------------------------------------------------- */

/* acf at 1 .. lags; room[n]. 0 without variation. */
static int correlate(const double *x, size_t n, size_t lags, double *acf,
                     double *room)
{
	double mean = pd_sum(x, n) / (double)n, square;

	for (size_t i = 0; i < n; i++)
		room[i] = (x[i] - mean) * (x[i] - mean);
	square = pd_sum(room, n);
	for (size_t k = 1; k <= lags; k++) {
		for (size_t i = 0; i + k < n; i++)
			room[i] = (x[i] - mean) * (x[i + k] - mean);
		acf[k - 1] = pd_sum(room, n - k) / square;
	}
	return square > 0;
}

/* f[lags] and next[lags] are room. */
static pd_status partial(const double *r, size_t lags, double *pacf, double *f,
                         double *next, pd_error *err)
{
	for (size_t k = 0; k < lags; k++) {
		double above = r[k], below = 1;

		for (size_t j = 0; j < k; j++) {
			above -= f[j] * r[k - 1 - j];
			below -= f[j] * r[j];
		}
		if (!(fabs(below) > 0))
			return pd_fail(err, PD_NUMERIC, "partial "
			               "autocorrelation at lag %zu is not "
			               "defined", k + 1);
		pacf[k] = above / below;
		for (size_t j = 0; j < k; j++)
			next[j] = f[j] - pacf[k] * f[k - 1 - j];
		for (size_t j = 0; j < k; j++)
			f[j] = next[j];
		f[k] = pacf[k];
	}
	return PD_OK;
}

pd_status pd_autocorrelation(const double *x, size_t n, size_t lags,
                             double *acf, double *pacf, pd_error *err)
{
	pd_status st = look(x, n, err);
	pd_summary s;
	double *room;

	if (st != PD_OK)
		return st;
	if (lags < 1 || lags >= n)
		return pd_fail(err, PD_DATA, "%zu lags of %zu values, expected "
		               "1 to one less than the values", lags, n);
	s = pd_summarise(x, n);
	if (!(s.high > s.low))
		return pd_fail(err, PD_REFUSED, "values do not vary");
	room = calloc(2 * n, sizeof *room);
	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (!correlate(x, n, lags, acf, room))
		st = pd_fail(err, PD_REFUSED, "values do not vary");
	else if (pacf)
		st = partial(acf, lags, pacf, room, room + n, err);
	free(room);
	return st;
}

pd_status pd_portmanteau_test(const double *x, size_t n, size_t lags,
                              pd_portmanteau *out, pd_error *err)
{
	double *r = calloc(lags ? lags : 1, sizeof *r), m = (double)n;
	pd_portmanteau b = { 0 };
	pd_status st = r ? pd_autocorrelation(x, n, lags, r, NULL, err)
	                 : pd_fail(err, PD_NO_MEMORY, "out of memory");

	for (size_t k = 0; st == PD_OK && k < lags; k++) {
		b.ljung_box += m * (m + 2) * r[k] * r[k] / (m - 1 - (double)k);
		b.box_pierce += m * r[k] * r[k];
	}
	free(r);
	if (st != PD_OK)
		return st;
	b.ljung_box_p = pd_chisq_upper(b.ljung_box, (double)lags);
	b.box_pierce_p = pd_chisq_upper(b.box_pierce, (double)lags);
	*out = b;
	return PD_OK;
}

double pd_durbin_watson(const double *e, size_t n)
{
	double above = 0, below = 0;

	for (size_t i = 0; i < n; i++) {
		below += e[i] * e[i];
		if (i)
			above += (e[i] - e[i - 1]) * (e[i] - e[i - 1]);
	}
	return n > 1 && below > 0 ? above / below : NAN;
}

/* ---- drift ------------------------------------------------------------ */

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Over the tie groups of sorted x: sum g(g-1)(2g+5), and pairs tied. */
static void ties(const double *x, size_t n, double *variance, double *pairs)
{
	*variance = *pairs = 0;
	for (size_t i = 0, j; i < n; i = j) {
		double g;

		for (j = i + 1; j < n && x[j] == x[i]; j++)
			;
		g = (double)(j - i);
		*variance += g * (g - 1) * (2 * g + 5);
		*pairs += g * (g - 1) / 2;
	}
}

/* All pair slopes, sorted; the sum of their signs into *s. */
static void slopes(const double *x, const double *t, size_t n, double *slope,
                   double *s)
{
	size_t at = 0;

	*s = 0;
	for (size_t i = 0; i < n; i++)
		for (size_t j = i + 1; j < n; j++) {
			double step = t ? t[j] - t[i] : (double)(j - i);

			*s += (x[j] > x[i]) - (x[j] < x[i]);
			slope[at++] = (x[j] - x[i]) / step;
		}
	qsort(slope, at, sizeof *slope, ascending);
}

static pd_status look_drift(const double *x, const double *t, size_t n,
                            double level, pd_error *err)
{
	pd_status st = look(x, n, err);

	if (st == PD_OK && t)
		st = look(t, n, err);
	if (st != PD_OK)
		return st;
	for (size_t i = 1; t && i < n; i++)
		if (!(t[i] > t[i - 1]))
			return pd_fail(err, PD_DATA, "time %zu is %g after %g, "
			               "expected times to ascend", i + 1, t[i],
			               t[i - 1]);
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level is %g, expected between 0 "
		               "and 1", level);
	if (n < 3 || n > MOST_DRIFT)
		return pd_fail(err, PD_REFUSED, "%zu values, expected 3 to %d",
		               n, (int)MOST_DRIFT);
	return PD_OK;
}

/* Median and limits from the sorted pair slopes. */
static void place(const double *slope, size_t pairs, double level, pd_drift *d)
{
	double half = pd_normal_quantile(0.5 + level / 2) * sqrt(d->var_s);
	double low = floor(((double)pairs - half) / 2);

	d->slope = (slope[(pairs - 1) / 2] + slope[pairs / 2]) / 2;
	d->level = level;
	d->low = low < 1 ? slope[0] : slope[(size_t)low - 1];
	d->high = low < 1 ? slope[pairs - 1] : slope[pairs - (size_t)low];
}

pd_status pd_drift_test(const double *x, const double *t, size_t n,
                        double level, pd_drift *out, pd_error *err)
{
	pd_status st = look_drift(x, t, n, level, err);
	size_t pairs = n * (n - (n > 0)) / 2;
	double m = (double)n, all = (double)pairs, tied, correction;
	pd_drift d = { 0 };
	double *room;

	if (st != PD_OK)
		return st;
	room = calloc(pairs, sizeof *room); /* pairs >= n for n >= 3 */
	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++)
		room[i] = x[i];
	qsort(room, n, sizeof *room, ascending);
	ties(room, n, &correction, &tied);
	if (tied < all) {
		slopes(x, t, n, room, &d.s);
		d.var_s = (m * (m - 1) * (2 * m + 5) - correction) / 18;
		d.z = (d.s - ((d.s > 0) - (d.s < 0))) / sqrt(d.var_s);
		d.p = fmin(1, 2 * pd_normal_upper(fabs(d.z)));
		d.tau_b = d.s / sqrt(all * (all - tied));
		place(room, pairs, level, &d);
		double made[] = { d.slope, d.low, d.high };

		*out = d;
		st = pd_check_results(made, 3, err);
	} else {
		st = pd_fail(err, PD_REFUSED, "values do not vary");
	}
	free(room);
	return st;
}
