/* stopped.c - see stopped.h. */
#include "stats/stopped.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>

static const double MOST_DRIFT = 999;
static const double LEAST_ALPHA = 1e-15, MOST_ALPHA = 0.4999999;

/* ---- stage-wise order --------------------------------------------------- */

struct outcome {
	const double *t;
	size_t k;
	double *low, *high, *above; /* k each; the last limit is z           */
	double target;
	pd_status *st;
	pd_error *err;
};

/* H at drift theta sqrt(t[k - 1]). */
static double higher(const struct outcome *o, double drift)
{
	double sum = 0;

	*o->st = pd_sequential_chances(o->t, o->low, o->high, o->k, drift,
	                               o->above, NULL, o->err);
	if (*o->st != PD_OK)
		return NAN;
	for (size_t j = 0; j < o->k; j++)
		sum += o->above[j];
	return sum;
}

static double target_miss(double drift, const void *with)
{
	const struct outcome *o = with;

	return higher(o, drift) - o->target;
}

/* The drift with H = target: H rises with it. */
static pd_status solve(struct outcome *o, double target, double *drift,
                       pd_error *err)
{
	double z = o->high[o->k - 1], low = z - 4, high = z + 4, wide = 8;

	o->target = target;
	while (target_miss(low, o) > 0 && low > -MOST_DRIFT) {
		low = fmax(low - wide, -MOST_DRIFT);
		wide *= 2;
	}
	wide = 8;
	while (*o->st == PD_OK && target_miss(high, o) < 0 &&
	       high < MOST_DRIFT) {
		high = fmin(high + wide, MOST_DRIFT);
		wide *= 2;
	}
	*drift = *o->st == PD_OK ? pd_root(target_miss, o, low, high, 1e-13)
	                         : NAN;
	if (*o->st != PD_OK)
		return *o->st;
	if (isnan(*drift))
		return pd_fail(err, PD_NUMERIC, "no effect within %g standard "
		               "errors has a chance of %g of a higher outcome",
		               MOST_DRIFT, target);
	return PD_OK;
}

static pd_status estimate(struct outcome *o, double level, pd_stopped *out,
                          pd_error *err)
{
	double root = sqrt(o->t[o->k - 1]);
	pd_estimate *e = &out->e;
	pd_status st;

	*e = (pd_estimate){ .se = 1 / root, .df = INFINITY, .level = level };
	out->p_above = higher(o, 0);
	st = *o->st;
	if (st == PD_OK)
		st = solve(o, 0.5, &e->value, err);
	if (st == PD_OK)
		st = solve(o, 0.5 * (1 - level), &e->low, err);
	if (st == PD_OK)
		st = solve(o, 0.5 * (1 + level), &e->high, err);
	e->value /= root;
	e->low /= root;
	e->high /= root;
	e->p = fmin(1, 2 * fmin(out->p_above, 1 - out->p_above));
	return st;
}

pd_status pd_stopped_estimate(const double *t, const double *low,
                              const double *high, size_t k, double z,
                              double level, pd_stopped *out, pd_error *err)
{
	pd_status st = PD_OK, inner = PD_OK;
	double *room;
	struct outcome o = { .t = t, .k = k, .st = &inner, .err = err };

	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", level);
	if (!(fabs(z) <= 300))
		return pd_fail(err, PD_DATA, "Z of the last look must be "
		               "within 300 of 0, got %g", z);
	if (k < 1)
		return pd_fail(err, PD_REFUSED, "at least one look is needed");
	room = calloc(3 * k, sizeof *room);
	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu looks",
		               k);
	o.low = room;
	o.high = room + k;
	o.above = room + 2 * k;
	for (size_t j = 0; j + 1 < k; j++) {
		o.low[j] = low[j];
		o.high[j] = high[j];
	}
	o.low[k - 1] = -INFINITY;
	o.high[k - 1] = z;
	*out = (pd_stopped){ 0 };
	st = estimate(&o, level, out, err);
	if (st == PD_OK)
		out->plain = z / sqrt(t[k - 1]);
	free(room);
	return st;
}

/* ---- p at every look ---------------------------------------------------- */

struct error_sought {
	pd_spending_plan plan;
	const double *t;
	size_t k;
	double planned, z;
	int last;
	double *bound;
	pd_status *st;
	pd_error *err;
};

/* How far the boundary at ln alpha lies above z. */
static double bound_over(double ln_alpha, const void *with)
{
	const struct error_sought *s = with;
	pd_spending_plan plan = s->plan;

	plan.alpha = exp(ln_alpha);
	*s->st = pd_sequential_bounds(&plan, s->t, s->k, s->planned, s->last,
	                              s->bound, s->err);
	if (*s->st != PD_OK)
		return NAN;
	return fmin(s->bound[s->k - 1], 1e6) - s->z;
}

pd_status pd_repeated_p(const pd_spending_plan *plan, const double *t,
                        size_t k, double planned, int last, double z,
                        double *p, pd_error *err)
{
	pd_status st = PD_OK;
	struct error_sought s = { *plan, t, k, planned, z, last, NULL, &st,
	                          err };
	double least = log(LEAST_ALPHA), most = log(MOST_ALPHA), ln_alpha;

	if (!isfinite(z))
		return pd_fail(err, PD_DATA, "Z must be finite, got %g", z);
	if (k < 1)
		return pd_fail(err, PD_REFUSED, "at least one look is needed");
	if (plan->sides == 2)
		s.z = fabs(z);
	s.bound = calloc(k, sizeof *s.bound);
	if (!s.bound)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu looks",
		               k);
	if (bound_over(most, &s) > 0)
		ln_alpha = 0;
	else if (st == PD_OK && bound_over(least, &s) <= 0)
		ln_alpha = least;
	else
		ln_alpha = st == PD_OK ? pd_root(bound_over, &s, least, most,
		                                 1e-12) : NAN;
	free(s.bound);
	if (st != PD_OK)
		return st;
	*p = fmin(1, exp(ln_alpha) * (ln_alpha < 0 ? plan->sides : 1));
	return isnan(*p) ? pd_fail(err, PD_NUMERIC, "no overall error has its "
	                           "boundary at %g", s.z) : PD_OK;
}
