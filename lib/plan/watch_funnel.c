/* watch_funnel.c - operators beside each other, partially pooled. */
#include "plan/watch_own.h"
#include "stats/pool.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { LEAST_CASES = 10 };
static const double FAR = 0.998;

struct sums {
	double n, sum, square;
};

static double shown(const pd_watch_answer *a, double d)
{
	return a->scale == PD_RATIO ? exp(d) : d;
}

/* Pooled SD of cases within operators; sums about each one's mean. */
static double within(const struct sums *s, size_t n)
{
	double ss = 0, df = 0;

	for (size_t k = 0; k < n; k++)
		if (s[k].n > 1) {
			ss += s[k].square - s[k].sum * s[k].sum / s[k].n;
			df += s[k].n - 1;
		}
	return sqrt(ss / df);
}

static void fill(pd_watch_answer *a, const struct sums *s, size_t n,
                 const char *const *name, double sd, double mu, double tau2)
{
	double near = pd_normal_quantile((1 + a->level) / 2);
	double far = pd_normal_quantile((1 + FAR) / 2);

	for (size_t k = 0; k < n; k++) {
		if (s[k].n < LEAST_CASES)
			continue;
		pd_funnel_row *f = &a->funnel[a->n_funnel++];
		double v = sd * sd / s[k].n, d = s[k].sum / s[k].n - mu;
		double kept = tau2 / (tau2 + v), se = sqrt(kept * v);

		f->name = name[k];
		f->n = (size_t)s[k].n;
		f->mean = shown(a, d);
		f->shrunk = shown(a, kept * d);
		f->low = shown(a, kept * d - near * se);
		f->high = shown(a, kept * d + near * se);
		f->limit_low = shown(a, -near * sqrt(v));
		f->limit_high = shown(a, near * sqrt(v));
		f->far_low = shown(a, -far * sqrt(v));
		f->far_high = shown(a, far * sqrt(v));
		f->outside = fabs(d) > far * sqrt(v);
	}
}

pd_status pd_watch_funnel(const struct pd_watch_cases *c, pd_arena *arena,
                          pd_watch_answer *a, pd_error *err)
{
	size_t n = c->n_operators, used = 0;
	struct sums *s = PD_NEW(arena, struct sums, n + 1);
	double *y = PD_NEW(arena, double, n + 1), *v = PD_NEW(arena, double,
	                                                     n + 1);
	pd_pool pool;

	a->funnel = PD_NEW(arena, pd_funnel_row, n + 1);
	if (!s || !y || !v || !a->funnel)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++) {
		const struct pd_watch_case *it = &c->item[i];

		if (it->operator_ < 0)
			continue;
		s[it->operator_].n++;
		s[it->operator_].sum += it->r;
		s[it->operator_].square += it->r * it->r;
	}
	double sd = within(s, n);

	for (size_t k = 0; k < n; k++) {
		if (s[k].n < LEAST_CASES) {
			a->n_left_out += s[k].n > 0;
			continue;
		}
		y[used] = s[k].sum / s[k].n;
		v[used++] = sd * sd / s[k].n;
	}
	if (used < 3)
		return PD_OK; /* too few to pool */
	pd_status st = pd_pool_fit(y, v, used, PD_POOL_REML, a->level, &pool,
	                           err);

	if (st != PD_OK)
		return st;
	a->funnel_sd = sqrt(pool.spread.tau2);
	fill(a, s, n, c->operator_, sd, pool.normal.value, pool.spread.tau2);
	return PD_OK;
}
