/*
 * sequential.c - see sequential.h. The letters: x is on the scale of
 * X = Z sqrt(t), `step` the variance of the next increment, f the density of X
 * over the looks that went on.
 */
#include "stats/sequential.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>

enum { NODES = 16, MOST_LOOKS = 200, MOST_PANELS = 100000 };

/* Beyond this many standard deviations nothing is left (exp(-72)). */
static const double FAR = 12;
static const double PANEL = 3; /* in standard deviations of a step         */
static const double LEAST_GROWTH = 1e-4;
static const double LEAST_SPENT = 1e-30;
static const double ROOT_TWO_PI = 2.506628274631000502415765284811045253;

/* ---- spending --------------------------------------------------------- */

static int plan_fits(const pd_spending_plan *p)
{
	return p->alpha > 0 && p->alpha < 0.5 &&
	       (p->sides == 1 || p->sides == 2) &&
	       (p->spending == PD_SPEND_OBRIEN_FLEMING ||
	        p->spending == PD_SPEND_POCOCK ||
	        (p->spending == PD_SPEND_POWER && p->power > 0 &&
	         isfinite(p->power)));
}

double pd_spent(const pd_spending_plan *plan, double t)
{
	double a = plan->alpha;

	if (isnan(t) || !plan_fits(plan))
		return NAN;
	if (t <= 0 || t >= 1)
		return t <= 0 ? 0 : a;
	switch (plan->spending) {
	case PD_SPEND_OBRIEN_FLEMING:
		return 2 * pd_normal_upper(-pd_normal_quantile(0.5 * a) /
		                           sqrt(t));
	case PD_SPEND_POCOCK:
		return a * log1p((exp(1) - 1) * t);
	default:
		return a * pow(t, plan->power);
	}
}

/* ---- recursive integration -------------------------------------------- */

/* Density times weight at nodes in ascending order; t 0: all mass at 0. */
struct front {
	double t;
	size_t n;
	double *x, *f;
	double node[NODES], weight[NODES];
};

static void front_init(struct front *w)
{
	*w = (struct front){ 0 };
	pd_legendre(NODES, w->node, w->weight);
}

static void front_clear(struct front *w)
{
	free(w->x);
	free(w->f);
}

/* Chance of X beyond x_limit (side 1: above, -1: below) at information t. */
static double beyond(const struct front *w, double t, double theta,
                     double x_limit, int side)
{
	double sd = sqrt(t - w->t), shift = theta * (t - w->t), sum = 0;

	if (w->t == 0)
		return pd_normal_upper(side * (x_limit - shift) / sd);
	for (size_t i = 0; i < w->n; i++)
		sum += w->f[i] * pd_normal_upper(
		           side * (x_limit - w->x[i] - shift) / sd);
	return sum;
}

/* Density at x after a step; from[] is where the nodes within reach begin. */
static double density(const struct front *w, double x, double sd, double shift,
                      size_t *from)
{
	double sum = 0, z;

	if (w->t == 0) {
		z = (x - shift) / sd;
		return exp(-0.5 * z * z);
	}
	while (*from < w->n && w->x[*from] < x - shift - FAR * sd)
		++*from;
	for (size_t i = *from; i < w->n; i++) {
		z = (x - shift - w->x[i]) / sd;
		if (z < -FAR)
			break;
		sum += w->f[i] * exp(-0.5 * z * z);
	}
	return sum;
}

/*
 * The front moves to information t, keeping low < x < high; `after` is the
 * step that will follow (0: none), which decides how fine the nodes are.
 */
static pd_status advance(struct front *w, double t, double theta, double low,
                         double high, double after, pd_error *err)
{
	double sd = sqrt(t - w->t), shift = theta * (t - w->t);
	double wide = PANEL * (after > 0 ? fmin(sd, sqrt(after)) : sd), half;
	double *x = NULL, *f = NULL;
	size_t n_panels = 0, n = 0, from = 0;

	low = fmax(low, theta * t - FAR * sqrt(t));
	high = fmin(high, theta * t + FAR * sqrt(t));
	if (low < high) {
		double panels = ceil((high - low) / wide);

		if (panels > MOST_PANELS)
			return pd_fail(err, PD_REFUSED, "looks are too close");
		n_panels = (size_t)panels;
	}
	x = calloc(n_panels * NODES + 1, sizeof *x);
	f = calloc(n_panels * NODES + 1, sizeof *f);
	if (!x || !f) {
		free(x);
		free(f);
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu nodes",
		               n_panels * NODES);
	}
	half = n_panels ? 0.5 * (high - low) / (double)n_panels : 0;
	for (size_t i = 0; i < n_panels; i++)
		for (size_t j = 0; j < NODES; j++, n++) {
			x[n] = low + half * ((double)(2 * i + 1) + w->node[j]);
			f[n] = half * w->weight[j] / (ROOT_TWO_PI * sd) *
			       density(w, x[n], sd, shift, &from);
		}
	front_clear(w);
	w->x = x;
	w->f = f;
	w->n = n;
	w->t = t;
	return PD_OK;
}

static pd_status looks_fit(const double *t, size_t k, pd_error *err)
{
	double before = 0;

	if (k < 1 || k > MOST_LOOKS)
		return pd_fail(err, PD_REFUSED, "expected 1 to %d looks, got "
		               "%zu", MOST_LOOKS, k);
	for (size_t j = 0; j < k; j++) {
		if (!(t[j] > before) || !isfinite(t[j]))
			return pd_fail(err, PD_DATA, "look %zu: information "
			               "must be above that of the look before "
			               "(%g), got %g", j + 1, before, t[j]);
		if (j && t[j] - before < LEAST_GROWTH * t[j])
			return pd_fail(err, PD_REFUSED, "look %zu adds less "
			               "than a ten-thousandth of the "
			               "information to the look before", j + 1);
		before = t[j];
	}
	return PD_OK;
}

/* The step that follows look j, 0 after the last. */
static double step_after(const double *t, size_t k, size_t j)
{
	return j + 1 < k ? t[j + 1] - t[j] : 0;
}

/* ---- boundaries ------------------------------------------------------- */

struct sought {
	const struct front *front;
	double t, spend;
};

static double bound_miss(double z, const void *with)
{
	const struct sought *s = with;

	return log(beyond(s->front, s->t, 0, z * sqrt(s->t), 1)) -
	       log(s->spend);
}

static double bound(const struct front *w, double t, double spend, int sides)
{
	struct sought s = { w, t, spend };

	if (spend < LEAST_SPENT)
		return INFINITY;
	return pd_root(bound_miss, &s, sides == 2 ? 0 : -FAR, FAR, 1e-14);
}

pd_status pd_sequential_shares(const pd_spending_plan *plan, const double *t,
                               const double *fraction, size_t k, double *z,
                               pd_error *err)
{
	pd_status st = looks_fit(t, k, err);
	struct front w;
	double used = 0;

	if (st != PD_OK)
		return st;
	if (!plan_fits(plan))
		return pd_fail(err, PD_DATA, "expected an error between 0 and "
		               "0.5 a side, 1 or 2 sides and a positive power");
	front_init(&w);
	for (size_t j = 0; st == PD_OK && j < k; j++) {
		double spent = pd_spent(plan, fraction[j]);

		if (isnan(spent))
			st = pd_fail(err, PD_DATA, "look %zu: no share of the "
			             "error", j + 1);
		else if (used >= plan->alpha)
			st = pd_fail(err, PD_DATA, "look %zu comes after the "
			             "one that spent all of the error", j + 1);
		if (st == PD_OK)
			z[j] = bound(&w, t[j], spent - used, plan->sides);
		if (st == PD_OK && isnan(z[j]))
			st = pd_fail(err, PD_NUMERIC, "look %zu: no boundary "
			             "spends %g", j + 1, spent - used);
		if (st == PD_OK && j + 1 < k) {
			double high = z[j] * sqrt(t[j]);

			st = advance(&w, t[j], 0, plan->sides == 2 ? -high
			                                           : -INFINITY,
			             high, step_after(t, k, j), err);
		}
		used = spent;
	}
	front_clear(&w);
	return st;
}

pd_status pd_sequential_bounds(const pd_spending_plan *plan, const double *t,
                               size_t k, double planned, int last, double *z,
                               pd_error *err)
{
	pd_status st = looks_fit(t, k, err);

	if (st != PD_OK)
		return st;
	if (!(planned > 0) || !isfinite(planned))
		return pd_fail(err, PD_DATA, "expected planned information "
		               "above 0");
	double *fraction = malloc(k * sizeof *fraction);

	if (!fraction)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t j = 0; j < k; j++)
		fraction[j] = last && j + 1 == k ? 1 : t[j] / planned;
	st = pd_sequential_shares(plan, t, fraction, k, z, err);
	free(fraction);
	return st;
}

/* ---- chances ---------------------------------------------------------- */

pd_status pd_sequential_chances(const double *t, const double *low,
                                const double *high, size_t k, double drift,
                                double *above, double *below, pd_error *err)
{
	pd_status st = looks_fit(t, k, err);
	struct front w;
	double theta;

	if (st != PD_OK)
		return st;
	if (!(fabs(drift) <= 1e3))
		return pd_fail(err, PD_DATA, "drift must be within 1000 of 0, "
		               "got %g", drift);
	theta = drift / sqrt(t[k - 1]);
	front_init(&w);
	for (size_t j = 0; st == PD_OK && j < k; j++) {
		double root = sqrt(t[j]);

		if (!(low[j] < high[j]) && (j + 1 < k || low[j] != high[j]))
			st = pd_fail(err, PD_DATA, "look %zu: lower limit %g "
			             "is not below the upper one, %g", j + 1,
			             low[j], high[j]);
		if (st == PD_OK && above)
			above[j] = beyond(&w, t[j], theta, high[j] * root, 1);
		if (st == PD_OK && below)
			below[j] = beyond(&w, t[j], theta, low[j] * root, -1);
		if (st == PD_OK && j + 1 < k)
			st = advance(&w, t[j], theta, low[j] * root,
			             high[j] * root, step_after(t, k, j), err);
	}
	front_clear(&w);
	return st;
}

/* Everything a search over one number needs; a failure leaves its status. */
struct trial {
	const double *t, *low, *high;
	size_t k;
	double target, shape;
	double *work; /* 3 k: limits and chances                             */
	pd_status *st;
	pd_error *err;
};

static double total(const struct trial *r, const double *low,
                    const double *high, double drift, int both)
{
	double *above = r->work + 2 * r->k, sum = 0;

	*r->st = pd_sequential_chances(r->t, low, high, r->k, drift, above,
	                               NULL, r->err);
	if (*r->st != PD_OK)
		return NAN;
	for (size_t j = 0; j < r->k; j++)
		sum += above[j];
	return both ? 2 * sum : sum;
}

static double drift_miss(double drift, const void *with)
{
	const struct trial *r = with;

	return total(r, r->low, r->high, drift, 0) - r->target;
}

static double constant_miss(double c, const void *with)
{
	const struct trial *r = with;

	for (size_t j = 0; j < r->k; j++) {
		r->work[j] = c * pow(r->t[j] / r->t[r->k - 1],
		                     r->shape - 0.5);
		r->work[r->k + j] = -r->work[j];
	}
	return total(r, r->work + r->k, r->work, 0, 1) - r->target;
}

static pd_status search(pd_function *miss, struct trial *r, double low,
                        double high, double *out, pd_error *err)
{
	pd_status st = PD_OK;

	r->work = calloc(3 * r->k, sizeof *r->work);
	if (!r->work)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu looks",
		               r->k);
	r->st = &st;
	r->err = err;
	*out = pd_root(miss, r, low, high, 1e-13);
	free(r->work);
	if (st == PD_OK && isnan(*out))
		st = pd_fail(err, PD_REFUSED, "no boundary or drift between %g "
		             "and %g gives a chance of %g", low, high,
		             r->target);
	return st;
}

pd_status pd_sequential_drift(const double *t, const double *low,
                              const double *high, size_t k, double power,
                              double *drift, pd_error *err)
{
	struct trial r = { t, low, high, k, power, 0, NULL, NULL, NULL };
	pd_status st = looks_fit(t, k, err);

	if (st != PD_OK)
		return st;
	if (!(power > 0 && power < 1))
		return pd_fail(err, PD_REFUSED, "no trial has a power of %g; "
		               "expected a chance above 0 and below 1", power);
	return search(drift_miss, &r, 0, 40, drift, err);
}

pd_status pd_classical_constant(const double *t, size_t k, double shape,
                                double alpha, double *c, pd_error *err)
{
	struct trial r = { t, NULL, NULL, k, alpha, shape, NULL, NULL, NULL };
	pd_status st = looks_fit(t, k, err);

	if (st != PD_OK)
		return st;
	if (!(alpha > 0 && alpha < 1 && shape >= -0.5 && shape <= 1))
		return pd_fail(err, PD_DATA, "expected an error between 0 and "
		               "1 and a shape between -0.5 and 1, got %g, %g",
		               alpha, shape);
	return search(constant_miss, &r, 1e-3, FAR, c, err);
}

pd_estimate pd_repeated_interval(double value, double se, double z,
                                 double level)
{
	pd_estimate e = { value, se, INFINITY, NAN, NAN, level, NAN };

	if (se > 0 && z > 0) {
		e.low = value - z * se;
		e.high = value + z * se;
	}
	return e;
}
