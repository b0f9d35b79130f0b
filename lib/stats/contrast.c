/*
 * contrast.c - see contrast.h.
 */
#include "stats/contrast.h"
#include "stats/range.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_GROUPS = 500 };

static const double SQRT_TWO = 1.414213562373095048801688724209698079;

/* ---- from summaries --------------------------------------------------- */

static pd_status check(const pd_layout *l, double level, pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", level);
	if (l->k < 2 || l->k > MOST_GROUPS)
		return pd_fail(err, PD_REFUSED, "comparing groups needs 2 to "
		               "%d of them, got %zu", MOST_GROUPS, l->k);
	for (size_t i = 0; i < l->k; i++) {
		if (!(l->size[i] > 0))
			return pd_fail(err, PD_REFUSED, "group %zu of %zu has "
			               "no results", i + 1, l->k);
		if (!isfinite(l->mean[i]) || !isfinite(l->size[i]))
			return pd_fail(err, PD_DATA, "mean or size of group "
			               "%zu is not a number", i + 1);
	}
	if (!(l->df >= 1))
		return pd_fail(err, PD_REFUSED, "no group has a second result: "
		               "spread within groups is not known");
	if (!(l->variance > 0) || !isfinite(l->variance))
		return pd_fail(err, PD_REFUSED, "results do not vary within "
		               "groups");
	return PD_OK;
}

static void compare(const pd_layout *l, size_t a, size_t b, double level,
                    double half, pd_comparison *out)
{
	pd_estimate *e = &out->e;

	out->a = a;
	out->b = b;
	e->value = l->mean[a] - l->mean[b];
	e->se = sqrt(l->variance * (1 / l->size[a] + 1 / l->size[b]));
	e->df = l->df;
	e->level = level;
	e->low = e->value - half * e->se;
	e->high = e->value + half * e->se;
	out->t = e->value / e->se;
}

static pd_status settled(double critical, const pd_comparison *out, size_t n,
                         double *wanted, pd_error *err)
{
	int lost = !isfinite(critical);

	for (size_t i = 0; i < n; i++)
		lost |= isnan(out[i].e.p);
	if (wanted)
		*wanted = critical;
	if (lost)
		return pd_fail(err, PD_NUMERIC, "law of the largest comparison "
		               "could not be computed");
	return PD_OK;
}

pd_status pd_all_pairs_of(const pd_layout *layout, double level,
                          pd_comparison *out, double *critical, pd_error *err)
{
	pd_status st = check(layout, level, err);
	size_t n = 0;
	double q;

	if (st != PD_OK)
		return st;
	q = pd_range_quantile(level, layout->k, layout->df);
	for (size_t a = 1; a < layout->k; a++)
		for (size_t b = 0; b < a; b++, n++) {
			compare(layout, a, b, level, q / SQRT_TWO, &out[n]);
			out[n].e.p = pd_range_upper(SQRT_TWO * fabs(out[n].t),
			                            layout->k, layout->df);
		}
	return settled(q, out, n, critical, err);
}

pd_status pd_many_to_one_of(const pd_layout *layout, size_t control, int sides,
                            double level, pd_comparison *out, double *critical,
                            pd_error *err)
{
	pd_status st = check(layout, level, err);
	double load[MOST_GROUPS], c;
	size_t n = 0;

	if (st != PD_OK)
		return st;
	if (control >= layout->k || (sides != 1 && sides != 2))
		return pd_fail(err, PD_DATA, "expected a control below %zu and "
		               "1 or 2 sides, got %zu and %d", layout->k,
		               control, sides);
	for (size_t i = 0; i < layout->k; i++)
		if (i != control)
			load[n++] = sqrt(layout->size[i] /
			                 (layout->size[i] +
			                  layout->size[control]));
	c = pd_many_quantile(level, load, n, layout->df, sides);
	n = 0;
	for (size_t i = 0; i < layout->k; i++) {
		pd_comparison *o = &out[n];

		if (i == control)
			continue;
		compare(layout, i, control, level, c, o);
		if (sides == 1)
			o->e.high = INFINITY;
		o->e.p = pd_many_upper(sides == 2 ? fabs(o->t) : o->t, load,
		                       layout->k - 1, layout->df, sides);
		n++;
	}
	return settled(c, out, n, critical, err);
}

/* ---- from results ----------------------------------------------------- */

struct groups {
	double *mean, *size, *sorted;
	size_t *end;
	pd_layout layout;
};

static void release(struct groups *g)
{
	free(g->mean);
	free(g->size);
	free(g->sorted);
	free(g->end);
}

static pd_status inspect(const double *y, const int32_t *group, size_t n,
                         size_t n_groups, pd_error *err)
{
	for (size_t i = 0; i < n; i++) {
		if (group[i] < 0 || (size_t)group[i] >= n_groups)
			return pd_fail(err, PD_DATA, "row %zu: group code %d "
			               "is not below %zu", i + 1,
			               (int)group[i], n_groups);
		if (!isfinite(y[i]))
			return pd_fail(err, PD_DATA, "row %zu: result is not a "
			               "number", i + 1);
	}
	return PD_OK;
}

/* Results side by side by group, then mean and square of each. */
static void summarise(const double *y, const int32_t *group, size_t n,
                      struct groups *g)
{
	size_t k = g->layout.k, at = 0;
	double square = 0;

	for (size_t i = 0; i < n; i++)
		g->end[group[i]]++;
	for (size_t j = 0; j < k; j++) {
		size_t count = g->end[j];

		g->end[j] = at;
		at += count;
	}
	for (size_t i = 0; i < n; i++)
		g->sorted[g->end[group[i]]++] = y[i];
	at = 0;
	for (size_t j = 0; j < k; j++) {
		pd_summary s = pd_summarise(g->sorted + at, g->end[j] - at);

		g->mean[j] = s.mean;
		g->size[j] = (double)s.n;
		if (s.n)
			square += s.square;
		at = g->end[j];
	}
	g->layout.mean = g->mean;
	g->layout.size = g->size;
	g->layout.df = (double)n - (double)k;
	g->layout.variance = square / g->layout.df;
}

static pd_status make(const double *y, const int32_t *group, size_t n,
                      size_t n_groups, struct groups *g, pd_error *err)
{
	pd_status st = inspect(y, group, n, n_groups, err);
	size_t room = n_groups + 1;

	*g = (struct groups){ .layout.k = n_groups };
	if (st != PD_OK)
		return st;
	g->mean = calloc(room, sizeof *g->mean);
	g->size = calloc(room, sizeof *g->size);
	g->end = calloc(room, sizeof *g->end);
	g->sorted = calloc(n + 1, sizeof *g->sorted);
	if (!g->mean || !g->size || !g->end || !g->sorted)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu groups",
		               n_groups);
	summarise(y, group, n, g);
	return PD_OK;
}

pd_status pd_all_pairs(const double *y, const int32_t *group, size_t n,
                       size_t n_groups, double level, pd_comparison *out,
                       double *critical, pd_error *err)
{
	struct groups g;
	pd_status st = make(y, group, n, n_groups, &g, err);

	if (st == PD_OK)
		st = pd_all_pairs_of(&g.layout, level, out, critical, err);
	release(&g);
	return st;
}

pd_status pd_many_to_one(const double *y, const int32_t *group, size_t n,
                         size_t n_groups, size_t control, int sides,
                         double level, pd_comparison *out, double *critical,
                         pd_error *err)
{
	struct groups g;
	pd_status st = make(y, group, n, n_groups, &g, err);

	if (st == PD_OK)
		st = pd_many_to_one_of(&g.layout, control, sides, level, out,
		                       critical, err);
	release(&g);
	return st;
}
