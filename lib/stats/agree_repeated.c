/*
 * agree_repeated.c - see agree_repeated.h.
 */
#include "stats/agree_repeated.h"
#include "base/arena.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <string.h>

/* Readings of one kind, by unit. */
struct by_unit {
	double *mean;    /* n_units, NaN where a unit has none             */
	size_t *count;
	size_t n_units, units;
	double within;   /* sum of squares about the units' means          */
	double df;
	double inverse;  /* 1/h                                            */
};

static pd_status look(const pd_readings *r, size_t n_units, double level,
                      const char *what, pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", level);
	for (size_t i = 0; i < r->n; i++) {
		if (!isfinite(r->value[i]))
			return pd_fail(err, PD_DATA, "%s %zu is %g, expected a "
			               "finite number", what, i + 1,
			               r->value[i]);
		if (r->unit[i] < 0 || (size_t)r->unit[i] >= n_units)
			return pd_fail(err, PD_DATA, "%s %zu has the unit code "
			               "%d, expected 0 or more and below %zu",
			               what, i + 1, (int)r->unit[i], n_units);
	}
	return PD_OK;
}

/* Means about a unit's first reading, so that an offset costs nothing. */
static pd_status group(pd_arena *arena, const pd_readings *r, size_t n_units,
                       struct by_unit *g, pd_error *err)
{
	double *first = PD_NEW(arena, double, n_units);

	*g = (struct by_unit){ .mean = PD_NEW(arena, double, n_units),
	                       .count = PD_NEW(arena, size_t, n_units),
	                       .n_units = n_units };
	if (!first || !g->mean || !g->count)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < r->n; i++) {
		size_t u = (size_t)r->unit[i];

		if (!g->count[u]++)
			first[u] = r->value[i];
		g->mean[u] += r->value[i] - first[u];
	}
	for (size_t u = 0; u < n_units; u++) {
		double m = (double)g->count[u];

		g->mean[u] = m > 0 ? first[u] + g->mean[u] / m : NAN;
		g->units += m > 0;
		g->inverse += m > 0 ? 1 / m : 0;
	}
	for (size_t i = 0; i < r->n; i++) {
		double off = r->value[i] - g->mean[r->unit[i]];

		g->within += off * off;
	}
	g->inverse /= (double)g->units;
	g->df = (double)r->n - (double)g->units;
	return PD_OK;
}

/* ---- limits of agreement ---------------------------------------------- */

/* A variance that is part of sd^2: share * s2 on df. */
struct part {
	double share, s2, df;
};

static double sum_parts(const struct part *p, size_t n)
{
	double sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += p[i].share * p[i].s2;
	return sum;
}

/* The limits of sd^2, and the variance of sd. */
static void spread(const struct part *p, size_t n, double level, double *low,
                   double *high, double *variance)
{
	double a = 0.5 - 0.5 * level, down = 0, up = 0, sum = sum_parts(p, n);

	*variance = 0;
	for (size_t i = 0; i < n; i++) {
		double t = p[i].share * p[i].s2;

		if (!(t > 0))
			continue;
		down = hypot(down, t * (1 - p[i].df /
		                        pd_chisq_quantile(1 - a, p[i].df)));
		up = hypot(up, t * (p[i].df /
		                    pd_chisq_quantile(a, p[i].df) - 1));
		*variance += 2 * t * t / p[i].df;
	}
	*variance /= 4 * sum;
	*low = fmax(0, sum - down);
	*high = sum + up;
}

static void limits(const pd_summary *s, const struct part *p, size_t n_parts,
                   double k, double level, pd_limits *l)
{
	double n = (double)s->n, half, low, high, variance, inner, outer;

	*l = (pd_limits){ .n = s->n, .k = k, .se_1986 = NAN };
	l->sd = sqrt(sum_parts(p, n_parts));
	l->bias = (pd_estimate){ .value = s->mean, .se = s->sd / sqrt(n),
	                         .df = n - 1, .level = level };
	half = l->bias.se * pd_t_quantile(0.5 + 0.5 * level, n - 1);
	l->bias.low = s->mean - half;
	l->bias.high = s->mean + half;
	l->bias.p = l->bias.se > 0 ?
	            pd_t_two_sided(s->mean / l->bias.se, n - 1) : NAN;
	l->low = s->mean - k * l->sd;
	l->high = s->mean + k * l->sd;
	spread(p, n_parts, level, &low, &high, &variance);
	l->se = sqrt(s->sd * s->sd / n + k * k * variance);
	inner = hypot(half, k * (l->sd - sqrt(low)));
	outer = hypot(half, k * (sqrt(high) - l->sd));
	l->low_from = l->low - outer;
	l->low_to = l->low + inner;
	l->high_from = l->high - inner;
	l->high_to = l->high + outer;
}

static void trend(const double *d, const double *middle, size_t n,
                  pd_limits *l)
{
	double df = (double)n - 2, r = pd_correlation(d, middle, n);

	l->trend = r;
	l->trend_p = pd_t_two_sided(r * sqrt(df / ((1 - r) * (1 + r))), df);
}

/* d[n], middle[n] by unit; the variances within follow in p[1 ..]. */
static pd_status answer(const double *d, const double *middle, size_t n,
                        struct part *p, size_t n_parts, double k, double level,
                        pd_limits_repeated *out, pd_error *err)
{
	pd_summary s = pd_summarise(d, n);
	double own, most = fmax(fabs(s.low), fabs(s.high));

	if (n < 3)
		return pd_fail(err, PD_REFUSED, "agreement needs at least 3 "
		               "units, got %zu", n);
	if (!(k > 0))
		return pd_fail(err, PD_REFUSED, "the limits need a multiple of "
		               "the sd above 0, got %g", k);
	p[0] = (struct part){ 1, s.sd * s.sd, (double)n - 1 };
	if (!(s.high - s.low > 1e-12 * most))
		p[0].s2 = 0;
	own = p[0].s2;
	if (!(sum_parts(p, n_parts) > 1e-24 * most * most))
		return pd_fail(err, PD_REFUSED, "no variation: all differences "
		               "are equal");
	limits(&s, p, n_parts, k, level, &out->limits);
	trend(d, middle, n, &out->limits);
	out->sd_means = s.sd;
	for (size_t i = 1; i < n_parts; i++) {
		out->sd_within[i - 1] = p[i].df > 0 ? sqrt(p[i].s2) : NAN;
		own -= (1 - p[i].share) * p[i].s2;
	}
	out->sd_between = sqrt(fmax(0, own));
	return PD_OK;
}

static struct part part_of(const struct by_unit *g)
{
	return (struct part){ 1 - g->inverse,
	                      g->df > 0 ? g->within / g->df : 0, g->df };
}

pd_status pd_agree_linked(const double *x, const double *y,
                          const int32_t *unit, size_t n, size_t n_units,
                          double k, double level, pd_limits_repeated *out,
                          pd_error *err)
{
	pd_readings a = { x, unit, n }, b = { y, unit, n };
	pd_status st = look(&a, n_units, level, "first value", err);
	struct by_unit g, m;
	struct part p[2];
	pd_arena *arena;
	size_t used = 0;

	if (st == PD_OK)
		st = look(&b, n_units, level, "second value", err);
	if (st != PD_OK)
		return st;
	*out = (pd_limits_repeated){ .rows = { n, 0 },
	                             .sd_within = { NAN, NAN } };
	arena = pd_arena_new();
	double *d = arena ? PD_NEW(arena, double, n) : NULL;
	double *middle = arena ? PD_NEW(arena, double, n) : NULL;

	if (!d || !middle)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n && st == PD_OK; i++) {
		d[i] = x[i] - y[i];
		middle[i] = 0.5 * x[i] + 0.5 * y[i];
	}
	a.value = d;
	b.value = middle;
	if (st == PD_OK)
		st = group(arena, &a, n_units, &g, err);
	if (st == PD_OK)
		st = group(arena, &b, n_units, &m, err);
	for (size_t u = 0; u < n_units && st == PD_OK; u++)
		if (g.count[u]) {
			d[used] = g.mean[u];
			middle[used++] = m.mean[u];
		}
	if (st == PD_OK) {
		p[1] = part_of(&g);
		st = answer(d, middle, used, p, 2, k, level, out, err);
	}
	pd_arena_free(arena);
	return st;
}

/* The units' differences and middles into d and middle. */
static pd_status pair_units(const struct by_unit *x, const struct by_unit *y,
                            double *d, double *middle, size_t *used,
                            pd_error *err)
{
	*used = 0;
	for (size_t u = 0; u < x->n_units; u++) {
		if (!x->count[u] && !y->count[u])
			continue;
		if (!x->count[u] || !y->count[u])
			return pd_fail(err, PD_DATA, "unit %zu was read by one "
			               "way only", u);
		d[*used] = x->mean[u] - y->mean[u];
		middle[(*used)++] = 0.5 * x->mean[u] + 0.5 * y->mean[u];
	}
	return PD_OK;
}

pd_status pd_agree_unlinked(const pd_readings *x, const pd_readings *y,
                            size_t n_units, double k, double level,
                            pd_limits_repeated *out, pd_error *err)
{
	pd_status st = look(x, n_units, level, "first reading", err);
	struct by_unit a, b;
	struct part p[3];
	pd_arena *arena;
	size_t used;

	if (st == PD_OK)
		st = look(y, n_units, level, "second reading", err);
	if (st != PD_OK)
		return st;
	*out = (pd_limits_repeated){ .rows = { x->n, y->n } };
	arena = pd_arena_new();
	double *d = arena ? PD_NEW(arena, double, n_units) : NULL;
	double *middle = arena ? PD_NEW(arena, double, n_units) : NULL;

	if (!d || !middle)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = group(arena, x, n_units, &a, err);
	if (st == PD_OK)
		st = group(arena, y, n_units, &b, err);
	if (st == PD_OK)
		st = pair_units(&a, &b, d, middle, &used, err);
	if (st == PD_OK) {
		p[1] = part_of(&a);
		p[2] = part_of(&b);
		st = answer(d, middle, used, p, 3, k, level, out, err);
	}
	pd_arena_free(arena);
	return st;
}

/* ---- repeatability ---------------------------------------------------- */

static pd_estimate same_share(double f, double df1, double df2, double m0,
                              double level)
{
	double a = 0.5 - 0.5 * level;
	double low = f / pd_f_quantile(1 - a, df1, df2);
	double high = f / pd_f_quantile(a, df1, df2);

	return (pd_estimate){ (f - 1) / (f + m0 - 1), NAN, NAN,
	                      (low - 1) / (low + m0 - 1),
	                      (high - 1) / (high + m0 - 1), level, NAN };
}

/* (N - sum m^2 / N) / (n - 1). */
static double mean_count(const struct by_unit *g, double n)
{
	double square = 0;

	for (size_t u = 0; u < g->n_units; u++)
		square += (double)g->count[u] * (double)g->count[u];
	return (n - square / n) / ((double)g->units - 1);
}

static pd_status repeat(const struct by_unit *g, const pd_one_way *w, size_t n,
                        double level, pd_repeat_many *out, pd_error *err)
{
	double a = 0.5 - 0.5 * level, m0 = mean_count(g, (double)n);
	double msw = g->within / g->df;
	double msb = w->between / w->df_between;

	if (!(msw > 0))
		return pd_fail(err, PD_REFUSED, "no variation within the "
		               "units");
	*out = (pd_repeat_many){ .n_units = g->units, .n = n,
	                         .df = g->df, .sw = sqrt(msw) };
	out->sw_low = out->sw * sqrt(out->df /
	                             pd_chisq_quantile(1 - a, out->df));
	out->sw_high = out->sw * sqrt(out->df /
	                              pd_chisq_quantile(a, out->df));
	out->coefficient = 1.96 * M_SQRT2 * out->sw;
	out->coefficient_low = 1.96 * M_SQRT2 * out->sw_low;
	out->coefficient_high = 1.96 * M_SQRT2 * out->sw_high;
	out->sb = sqrt(fmax(0, (msb - msw) / m0));
	out->same = same_share(msb / msw, w->df_between, g->df, m0, level);
	return PD_OK;
}

pd_status pd_agree_repeat_many(const double *x, const int32_t *unit, size_t n,
                               size_t n_units, double level,
                               pd_repeat_many *out, pd_error *err)
{
	pd_readings r = { x, unit, n };
	pd_status st = look(&r, n_units, level, "reading", err);
	pd_arena *arena;
	struct by_unit g;
	pd_one_way w;

	if (st != PD_OK)
		return st;
	arena = pd_arena_new();
	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = group(arena, &r, n_units, &g, err);
	if (st == PD_OK && (g.units < 2 || !(g.df > 0)))
		st = pd_fail(err, PD_REFUSED, "repeatability needs two units "
		             "or more and one of them read twice, got %zu "
		             "units and %zu readings", g.units, n);
	if (st == PD_OK)
		st = pd_one_way_fit(x, unit, n, n_units, &w, err);
	if (st == PD_OK)
		st = repeat(&g, &w, n, level, out, err);
	pd_arena_free(arena);
	return st;
}
