/*
 * power.c - see power.h.
 */
#include "stats/power.h"
#include "stats/noncentral.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <math.h>

enum { NODES = 16, PANELS = 48, TRIED_ONE_BY_ONE = 100 };

static const double MOST_N = 1e7;
static const double MOST_EFFECT = 1000; /* in sd */

/* ---- designs ---------------------------------------------------------- */

struct kind {
	double spread;       /* se = sd sqrt(spread / n)                     */
	double times, less;  /* df = times n - less                          */
	double least, step;  /* smallest size, and by how much it grows      */
};

static const struct kind kinds[] = {
	[PD_TRIAL_PAIRS] = { 1, 1, 1, 2, 1 },
	[PD_TRIAL_GROUPS] = { 2, 2, 2, 2, 1 },
	[PD_TRIAL_CROSSOVER] = { 2, 1, 2, 4, 2 },
};

static const struct kind *kind_of(const pd_trial *t)
{
	return (unsigned)t->kind < sizeof kinds / sizeof *kinds
	               ? &kinds[t->kind] : NULL;
}

static int fits(const pd_trial *t, double n)
{
	const struct kind *k = kind_of(t);

	return k && isfinite(t->effect) && t->sd > 0 && isfinite(t->sd) &&
	       t->alpha > 0 && t->alpha < 0.5 && n >= k->least && isfinite(n);
}

static double standard_error(const pd_trial *t, double n)
{
	return t->sd * sqrt(kind_of(t)->spread / n);
}

static double freedom(const pd_trial *t, double n)
{
	return kind_of(t)->times * n - kind_of(t)->less;
}

/* ---- power ------------------------------------------------------------ */

double pd_power_t(const pd_trial *trial, double n)
{
	double df, delta, t;

	if (!fits(trial, n) || !isfinite(trial->null) ||
	    (trial->sides != 1 && trial->sides != 2))
		return NAN;
	df = freedom(trial, n);
	delta = (trial->effect - trial->null) / standard_error(trial, n);
	t = -pd_t_quantile(trial->alpha / trial->sides, df);
	if (trial->sides == 1)
		return pd_noncentral_t_upper(t, df, delta);
	return fmin(1, pd_noncentral_t_upper(t, df, delta) +
	               pd_noncentral_t_cdf(-t, df, delta));
}

/* Where the law of S begins and ends to within exp(-40); see quadrature.h. */
static void scale_limits(double df, double *low, double *high)
{
	double below = sqrt(160 / df);

	*low = below < 1 ? sqrt(1 - below) : 0;
	*high = sqrt(1 + 100 / df + sqrt(200 / df));
}

double pd_power_equivalence(const pd_trial *trial, double n)
{
	double x[NODES], w[NODES], df, se, t, a, b, low, high, sum = 0;

	if (!fits(trial, n) || !(trial->low < trial->high) ||
	    !isfinite(trial->high - trial->low))
		return NAN;
	df = freedom(trial, n);
	se = standard_error(trial, n);
	t = -pd_t_quantile(trial->alpha, df);
	a = (trial->low - trial->effect) / se;
	b = (trial->high - trial->effect) / se;
	scale_limits(df, &low, &high);
	high = fmin(high, 0.5 * (b - a) / t);
	if (low >= high) /* nearly no chance: whatever there is */
		low = 0;
	pd_legendre(NODES, x, w);
	double half = 0.5 * (high - low) / PANELS;

	for (int i = 0; i < PANELS; i++)
		for (int j = 0; j < NODES; j++) {
			double s = low + half * (2 * i + 1 + x[j]);

			sum += w[j] * exp(pd_scale_log_density(s, df)) *
			       pd_normal_between(a + t * s, b - t * s);
		}
	return fmin(1, half * sum);
}

/* ---- sizes ------------------------------------------------------------ */

typedef double power_at(const pd_trial *trial, double n);

static pd_status check(const pd_trial *t, double power, pd_error *err)
{
	if (!kind_of(t))
		return pd_fail(err, PD_DATA, "unknown kind of trial %d",
		               (int)t->kind);
	if (!(t->sd > 0 && isfinite(t->sd)))
		return pd_fail(err, PD_DATA, "standard deviation must be above "
		               "0, got %g", t->sd);
	if (!(t->alpha > 0 && t->alpha < 0.5))
		return pd_fail(err, PD_DATA, "level of the test must be "
		               "between 0 and 0.5, got %g", t->alpha);
	if (!(fabs(t->effect) <= MOST_EFFECT * t->sd))
		return pd_fail(err, PD_DATA, "true difference %g is not within "
		               "%g standard deviations of 0", t->effect,
		               MOST_EFFECT);
	if (!(power > 0 && power < 1))
		return pd_fail(err, PD_REFUSED, "no trial has a power of %g; "
		               "expected a chance above 0 and below 1", power);
	if (power <= t->alpha)
		return pd_fail(err, PD_REFUSED, "a power of %g is not above "
		               "the level %g of the test: a coin would do",
		               power, t->alpha);
	return PD_OK;
}

/* The smallest multiple: one by one at first, where power need not rise at
 * every step, then by doubling and halving. */
static pd_status search(power_at *power_of, const pd_trial *t, double power,
                        pd_trial_size *out, pd_error *err)
{
	const struct kind *k = kind_of(t);
	double below = k->least - k->step, n = k->least, p = 0, before;

	for (int i = 0; i < TRIED_ONE_BY_ONE; i++) {
		p = power_of(t, n);
		if (!(p < power))
			break;
		below = n;
		n += k->step;
	}
	while (p < power) {
		n = 2 * below;
		if (n > MOST_N)
			return pd_fail(err, PD_REFUSED, "more than %.0f would "
			               "be needed for a power of %g",
			               MOST_N, power);
		p = power_of(t, n);
		if (p < power)
			below = n;
	}
	while (n - below > k->step) {
		double middle = below + k->step *
		                floor(0.5 * (n - below) / k->step);

		if (power_of(t, middle) < power)
			below = middle;
		else
			n = middle;
	}
	p = power_of(t, n);
	before = below < k->least ? NAN : power_of(t, below);
	if (isnan(p))
		return pd_fail(err, PD_NUMERIC, "power at size %g cannot be "
		               "computed", n);
	*out = (pd_trial_size){ n, p, isnan(before) ? NAN : below, before };
	return PD_OK;
}

pd_status pd_size_t(const pd_trial *trial, double power, pd_trial_size *out,
                    pd_error *err)
{
	pd_status st = check(trial, power, err);
	double distance = trial->effect - trial->null;

	if (st != PD_OK)
		return st;
	if (trial->sides != 1 && trial->sides != 2)
		return pd_fail(err, PD_DATA, "a test has 1 or 2 sides, got %d",
		               trial->sides);
	if (!(fabs(trial->null) <= MOST_EFFECT * trial->sd))
		return pd_fail(err, PD_DATA, "tested difference %g is not "
		               "within %g standard deviations of 0",
		               trial->null, MOST_EFFECT);
	if (distance == 0)
		return pd_fail(err, PD_REFUSED, "the true difference equals "
		               "the tested one (%g): at any size the chance of "
		               "a claim is %g", trial->null, trial->alpha);
	if (trial->sides == 1 && distance < 0)
		return pd_fail(err, PD_REFUSED, "the true difference %g is "
		               "below the tested one (%g): at any size the "
		               "chance of a claim is below %g", trial->effect,
		               trial->null, trial->alpha);
	return search(pd_power_t, trial, power, out, err);
}

pd_status pd_size_equivalence(const pd_trial *trial, double power,
                              pd_trial_size *out, pd_error *err)
{
	pd_status st = check(trial, power, err);

	if (st != PD_OK)
		return st;
	if (!(trial->low < trial->high) ||
	    !isfinite(trial->high - trial->low))
		return pd_fail(err, PD_DATA, "limits of equivalence must be "
		               "finite and in order, got %g to %g", trial->low,
		               trial->high);
	if (!(trial->effect > trial->low && trial->effect < trial->high))
		return pd_fail(err, PD_REFUSED, "the true difference %g is not "
		               "inside the limits %g to %g: at any size the "
		               "chance of a claim is at most %g",
		               trial->effect, trial->low, trial->high,
		               trial->alpha);
	return search(pd_power_equivalence, trial, power, out, err);
}

/* ---- what a size can find --------------------------------------------- */

struct finding {
	pd_trial trial;
	double n, power;
};

static double miss(double distance, const void *with)
{
	struct finding f = *(const struct finding *)with;

	f.trial.effect = f.trial.null + distance;
	return pd_power_t(&f.trial, f.n) - f.power;
}

pd_status pd_power_detectable(const pd_trial *trial, double n, double power,
                              double *distance, pd_error *err)
{
	struct finding f = { *trial, n, power };
	pd_status st;
	double high;

	f.trial.effect = 0;
	f.trial.null = 0;
	st = check(&f.trial, power, err);
	if (st != PD_OK)
		return st;
	if (!fits(&f.trial, n))
		return pd_fail(err, PD_DATA, "a trial of this kind has a size "
		               "of at least %g, got %g",
		               kind_of(&f.trial)->least, n);
	high = standard_error(&f.trial, n);
	while (miss(high, &f) < 0)
		high *= 2;
	*distance = pd_root(miss, &f, 0, high, 0);
	if (isnan(*distance))
		return pd_fail(err, PD_NUMERIC, "no difference with a power of "
		               "%g found at size %g", power, n);
	return PD_OK;
}
