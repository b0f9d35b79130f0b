/*
 * summary.c - see summary.h.
 */
#include "stats/summary.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>

/* A sum and what rounding has taken from it so far. */
struct total {
	double sum, lost;
};

static void add(struct total *t, double x)
{
	double to = t->sum + x;

	if (fabs(t->sum) >= fabs(x))
		t->lost += (t->sum - to) + x;
	else
		t->lost += (x - to) + t->sum;
	t->sum = to;
}

static double value(struct total t)
{
	return t.sum + t.lost;
}

double pd_sum(const double *x, size_t n)
{
	struct total t = { 0, 0 };

	for (size_t i = 0; i < n; i++)
		add(&t, x[i]);
	return value(t);
}

/* The mean, and in *rest what the double nearest to it leaves out. */
static double mean_of(const double *x, size_t n, double *rest)
{
	struct total t = { 0, 0 };
	double mean = pd_sum(x, n) / (double)n;

	for (size_t i = 0; i < n; i++)
		add(&t, x[i] - mean);
	*rest = value(t) / (double)n;
	return mean;
}

pd_summary pd_summarise(const double *x, size_t n)
{
	pd_summary s = { n, NAN, NAN, NAN, NAN, NAN };
	struct total square = { 0, 0 };
	double rest;

	if (!n)
		return s;
	s.mean = mean_of(x, n, &rest);
	s.low = s.high = x[0];
	for (size_t i = 0; i < n; i++) {
		double d = x[i] - s.mean - rest;

		add(&square, d * d);
		s.low = fmin(s.low, x[i]);
		s.high = fmax(s.high, x[i]);
	}
	s.square = value(square);
	s.mean += rest;
	if (n > 1)
		s.sd = sqrt(s.square / (double)(n - 1));
	return s;
}

double pd_lag_one(const double *x, size_t n)
{
	struct total product = { 0, 0 }, square = { 0, 0 };
	double rest, mean, before = 0;

	if (n < 2)
		return NAN;
	mean = mean_of(x, n, &rest);
	for (size_t i = 0; i < n; i++) {
		double d = x[i] - mean - rest;

		if (i)
			add(&product, before * d);
		add(&square, d * d);
		before = d;
	}
	return value(product) / value(square);
}

double pd_correlation(const double *x, const double *y, size_t n)
{
	struct total xx = { 0, 0 }, yy = { 0, 0 }, xy = { 0, 0 };
	double rest_x, rest_y, mx, my;

	if (n < 2)
		return NAN;
	mx = mean_of(x, n, &rest_x);
	my = mean_of(y, n, &rest_y);
	for (size_t i = 0; i < n; i++) {
		double dx = x[i] - mx - rest_x, dy = y[i] - my - rest_y;

		add(&xx, dx * dx);
		add(&yy, dy * dy);
		add(&xy, dx * dy);
	}
	return value(xy) / (sqrt(value(xx)) * sqrt(value(yy)));
}

pd_status pd_welch(const double *a, size_t n, const double *b, size_t m,
                   double level, pd_estimate *out, pd_error *err)
{
	pd_status st = pd_check_finite(a, n, err);
	pd_summary sa, sb;
	double va, vb, half, share;

	if (st == PD_OK)
		st = pd_check_finite(b, m, err);
	if (st != PD_OK)
		return st;
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "interval level %g is outside 0 "
		               "to 1", level);
	if (n < 2 || m < 2)
		return pd_fail(err, PD_REFUSED, "two groups of at least 2 "
		               "values are needed, got %zu and %zu", n, m);
	sa = pd_summarise(a, n);
	sb = pd_summarise(b, m);
	va = sa.square / (double)(n - 1) / (double)n;
	vb = sb.square / (double)(m - 1) / (double)m;
	if (!(sa.high > sa.low) && !(sb.high > sb.low))
		return pd_fail(err, PD_REFUSED, "no variation in either group");
	share = va / (va + vb);
	out->value = sa.mean - sb.mean;
	out->se = sqrt(va + vb);
	out->df = 1 / (share * share / (double)(n - 1) +
	               (1 - share) * (1 - share) / (double)(m - 1));
	out->level = level;
	half = out->se * pd_t_quantile(0.5 + 0.5 * level, out->df);
	out->low = out->value - half;
	out->high = out->value + half;
	out->p = pd_t_two_sided(out->value / out->se, out->df);
	return pd_check_estimate(out, err);
}

/* Per group: members, mean and the mean's rounding rest. */
struct group {
	size_t n;
	struct total sum, rest;
	double mean;
};

/* Means of the groups in two passes over the rows. */
static void group_means(const double *y, const int32_t *code, size_t n,
                        struct group *g, size_t n_groups)
{
	for (size_t i = 0; i < n; i++) {
		g[code[i]].n++;
		add(&g[code[i]].sum, y[i]);
	}
	for (size_t k = 0; k < n_groups; k++)
		g[k].mean = value(g[k].sum) / (double)g[k].n;
	for (size_t i = 0; i < n; i++)
		add(&g[code[i]].rest, y[i] - g[code[i]].mean);
}

static void squares(const double *y, const int32_t *code, size_t n,
                    const struct group *g, size_t n_groups, pd_one_way *out)
{
	struct total within = { 0, 0 }, between = { 0, 0 };
	double rest, mean = mean_of(y, n, &rest);

	for (size_t i = 0; i < n; i++) {
		const struct group *mine = &g[code[i]];
		double d = y[i] - mine->mean -
		           value(mine->rest) / (double)mine->n;

		add(&within, d * d);
	}
	for (size_t k = 0; k < n_groups; k++) {
		double d;

		if (!g[k].n)
			continue;
		d = g[k].mean - mean +
		    (value(g[k].rest) / (double)g[k].n - rest);
		add(&between, (double)g[k].n * d * d);
		out->df_between++;
	}
	out->within = value(within);
	out->between = value(between);
}

pd_status pd_one_way_fit(const double *y, const int32_t *group, size_t n,
                         size_t n_groups, pd_one_way *out, pd_error *err)
{
	pd_status st = pd_check_finite(y, n, err);
	struct group *g;

	if (st != PD_OK)
		return st;
	*out = (pd_one_way){ .df_between = -1 };
	for (size_t i = 0; i < n; i++)
		if (group[i] < 0 || (size_t)group[i] >= n_groups)
			return pd_fail(err, PD_DATA, "row %zu: group code %ld "
			               "is outside 0 to %zu", i + 1,
			               (long)group[i], n_groups - 1);
	g = calloc(n_groups ? n_groups : 1, sizeof *g);
	if (!g)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	group_means(y, group, n, g, n_groups);
	squares(y, group, n, g, n_groups, out);
	free(g);
	out->df_within = (double)n - out->df_between - 1;
	if (out->df_between < 1 || out->df_within < 1)
		return pd_fail(err, PD_REFUSED, "an analysis between groups "
		               "needs two groups and more values than groups");
	if (!(out->between + out->within > 0))
		return pd_fail(err, PD_REFUSED, "no variation: all %zu values "
		               "are equal", n);
	out->residual_sd = sqrt(out->within / out->df_within);
	out->f = out->between / out->df_between /
	         (out->within / out->df_within);
	out->p = pd_f_upper(out->f, out->df_between, out->df_within);
	out->r_squared = out->between / (out->between + out->within);
	double made[] = { out->between, out->within, out->p, out->r_squared };

	return pd_check_results(made, sizeof made / sizeof *made, err);
}

pd_status pd_check_finite(const double *x, size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(x[i]))
			return pd_fail(err, PD_DATA, "value %zu is not a "
			               "finite number", i + 1);
	return PD_OK;
}

pd_status pd_check_results(const double *v, size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(v[i]))
			return pd_fail(err, PD_NUMERIC, "the values are so "
			               "large, small or far apart that their "
			               "squares are out of the range of "
			               "doubles");
	return PD_OK;
}

pd_status pd_check_estimate(const pd_estimate *e, pd_error *err)
{
	double made[] = { e->value, e->se > 0 ? e->se : NAN, e->low, e->high,
	                  e->p };

	return pd_check_results(made, sizeof made / sizeof *made, err);
}
