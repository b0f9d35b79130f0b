/* risk.c - see risk.h. */
#include "stats/risk.h"
#include "stats/incomplete.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { GRID = 192, STEPS = 48, SCAN = 24, FINEST = 40, BEST = 3 };

static const double MOST_UNITS = 1e6;
static const double SMALL = 1e-18;   /* terms below it count for nothing   */
static const double ALIKE = 1e-9;    /* of Z: rounding, not another table  */
static const double LARGEST_RATIO = 1e12;
static const double LEFT_OUT = 1e-6; /* g of risk.h                        */

/* --- the statistic ----------------------------------------------------------- */

static double within(double x, double low, double high)
{
	return x < low ? low : x > high ? high : x;
}

/*
 * The share of the second group that is likeliest under p1 = p2 + d: the root
 * of l3 p^3 + l2 p^2 + l1 p + l0 (Miettinen & Nurminen 1985, appendix).
 */
static double share_difference(double x1, double n1, double x2, double n2,
                               double d)
{
	double l3 = n1 + n2, l2 = (n1 + 2 * n2) * d - l3 - x1 - x2;
	double l1 = (n2 * d - l3 - 2 * x2) * d + x1 + x2;
	double l0 = x2 * d * (1 - d);
	double b = l2 / (3 * l3);
	double q = b * b * b - l1 * l2 / (6 * l3 * l3) + l0 / (2 * l3);
	double p2 = b * b - l1 / (3 * l3);
	double p = p2 > 0 ? sqrt(p2) : 0;

	if (q < 0)
		p = -p;
	double a = p == 0 ? 0
	                  : (acos(-1.0) +
	                     acos(within(q / (p * p * p), -1, 1))) / 3;

	return within(2 * p * cos(a) - b, fmax(0, -d), fmin(1, 1 - d));
}

/* The same under p1 = f p2: the smaller root of a quadratic. */
static double share_ratio(double x1, double n1, double x2, double n2, double f)
{
	double a = (n1 + n2) * f, b = n1 * f + x1 + n2 + x2 * f, c = x1 + x2;
	double root = sqrt(fmax(0, b * b - 4 * a * c));

	return within(2 * c / (b + root), 0, fmin(1, 1 / f));
}

static double score(double x1, double n1, double x2, double n2,
                    pd_risk_kind kind, double null)
{
	bool ratio = kind == PD_RISK_RATIO;
	double q = ratio ? share_ratio(x1, n1, x2, n2, null)
	                 : share_difference(x1, n1, x2, n2, null);
	double p = within(ratio ? null * q : q + null, 0, 1);
	double off = ratio ? x1 / n1 - null * x2 / n2
	                   : x1 / n1 - x2 / n2 - null;
	double v = p * (1 - p) / n1 +
	           (ratio ? null * null : 1) * q * (1 - q) / n2;

	if (fabs(off) < 1e-14 * (1 + fabs(null)))
		return 0;
	return v > 0 ? off / sqrt(v) : off > 0 ? INFINITY : -INFINITY;
}

double pd_risk_score(const pd_two_shares *d, pd_risk_kind kind, double null)
{
	return score((double)d->x1, (double)d->n1, (double)d->x2,
	             (double)d->n2, kind, null);
}

/* --- a binomial law's terms that count -------------------------------------- */

struct law {
	size_t from, to;      /* terms from..to-1 stand in term[] at 0..      */
	double *term;         /* n + 1                                        */
};

static double log_choose(size_t n, size_t k)
{
	return pd_ln_gamma((double)n + 1) - pd_ln_gamma((double)k + 1) -
	       pd_ln_gamma((double)(n - k) + 1);
}

static void fill_law(struct law *l, size_t n, double p)
{
	size_t mode;
	double at;

	if (p <= 0 || p >= 1) {
		l->from = p <= 0 ? 0 : n;
		l->to = l->from + 1;
		l->term[0] = 1;
		return;
	}
	mode = (size_t)fmin((double)n, floor(((double)n + 1) * p));
	at = exp(log_choose(n, mode) + (double)mode * log(p) +
	         (double)(n - mode) * log1p(-p));
	double x = at;
	double odds = p / (1 - p);

	l->from = mode;
	while (l->from > 0 && x > SMALL) {
		x *= (double)l->from / ((double)(n - l->from + 1) * odds);
		l->from--;
	}
	l->term[0] = x;
	l->to = l->from + 1;
	while (l->to <= n && (l->to <= mode || x > SMALL)) {
		x *= (double)(n - l->to + 1) * odds / (double)l->to;
		l->term[l->to - l->from] = x;
		l->to++;
	}
}

/* --- the chance of the tables beyond ------------------------------------------ */

/* Tables with Z >= least: for x1 = i those with x2 < bound[i], which never
 * falls with i. The other tail is this one with the groups exchanged. */
struct tail {
	size_t n1, n2;
	size_t *bound;
	struct law one, two;
	pd_risk_kind kind;
	double null;
	double from, to;      /* where the second group's share is sought     */
};

static void find_bounds(struct tail *t, double least)
{
	size_t y = 0;

	for (size_t i = 0; i <= t->n1; i++) {
		while (y <= t->n2 &&
		       score((double)i, (double)t->n1, (double)y,
		             (double)t->n2, t->kind, t->null) >= least)
			y++;
		t->bound[i] = y;
	}
}

/* With the second group's share q, the first's as H0 says. */
static double tail_chance(struct tail *t, double q)
{
	double p = t->kind == PD_RISK_RATIO ? t->null * q : q + t->null;
	double sum = 0, below = 0;
	size_t y;

	fill_law(&t->one, t->n1, within(p, 0, 1));
	fill_law(&t->two, t->n2, q);
	y = t->two.from;
	for (size_t i = t->one.from; i < t->one.to; i++) {
		for (; y < t->bound[i] && y < t->two.to; y++)
			below += t->two.term[y - t->two.from];
		sum += t->one.term[i - t->one.from] * below;
	}
	return fmin(1, sum);
}

/* Golden section between low and high on the grid's scale; the best seen. */
static double refine(struct tail *t, double from, double width, double low,
                     double high, double best)
{
	const double g = (sqrt(5.0) - 1) / 2;
	double a = high - g * (high - low), b = low + g * (high - low);
	double fa = 0, fb = 0;

	for (int k = 0; k < FINEST; k++) {
		double s = sin(a), c = sin(b);

		fa = tail_chance(t, from + width * s * s);
		fb = tail_chance(t, from + width * c * c);
		best = fmax(best, fmax(fa, fb));
		if (fa > fb)
			high = b;
		else
			low = a;
		a = high - g * (high - low);
		b = low + g * (high - low);
		if (high - low < 1e-9)
			break;
	}
	return best;
}

/* The largest chance over the open share: an even grid in its arcsine, closer
 * at the ends, then the three highest points made finer. */
static double largest(struct tail *t)
{
	double from = t->from, width = t->to - from;
	double step = acos(-1.0) / 2 / GRID, best = 0;
	double f[GRID + 1];

	if (width < 0)
		return 0;
	for (size_t k = 0; k <= GRID; k++) {
		double s = sin((double)k * step);

		f[k] = tail_chance(t, from + width * s * s);
		best = fmax(best, f[k]);
	}
	for (int n = 0; n < BEST; n++) {
		size_t top = GRID + 1;

		for (size_t k = 0; k <= GRID; k++)
			if (f[k] > 0 && (top > GRID || f[k] > f[top]) &&
			    (k == 0 || f[k] >= f[k - 1]) &&
			    (k == GRID || f[k] >= f[k + 1]))
				top = k;
		if (top > GRID)
			break;
		best = refine(t, from, width, (top ? (double)top - 1 : 0) * step,
		              fmin((double)top + 1, GRID) * step, best);
		f[top] = 0;
	}
	return best;
}

struct room {
	size_t *bound;
	double *one, *two;
};

/* *above of risk.h; the lower tail is the upper one of the exchanged table. */
static double chance(const pd_two_shares *d, pd_risk_kind kind, double null,
                     const struct room *room)
{
	double z = pd_risk_score(d, kind, null), low, high;
	bool ratio = kind == PD_RISK_RATIO;
	struct tail t = { .n1 = d->n1, .n2 = d->n2, .bound = room->bound,
		          .one.term = room->one, .two.term = room->two,
		          .kind = kind, .null = null };

	pd_binomial_limits((double)d->x2, (double)d->n2, 1 - LEFT_OUT, &low,
	                   &high);
	t.from = fmax(low, ratio ? 0 : -null);
	t.to = fmin(high, ratio ? 1 / null : 1 - null);
	find_bounds(&t, isinf(z) ? z : z - ALIKE * (1 + fabs(z)));
	return fmin(1, largest(&t) + LEFT_OUT);
}

static pd_two_shares exchanged(const pd_two_shares *d)
{
	return (pd_two_shares){ d->x2, d->n2, d->x1, d->n1 };
}

static double opposite(pd_risk_kind kind, double null)
{
	return kind == PD_RISK_RATIO ? 1 / null : -null;
}

static double no_effect(pd_risk_kind kind)
{
	return kind == PD_RISK_RATIO ? 1 : 0;
}

/* --- limits ----------------------------------------------------------------- */

/* A null from t in [0, 1): 0 the estimate, 1 the end of the scale. */
static double toward(pd_risk_kind kind, double value, double t)
{
	if (kind == PD_RISK_DIFFERENCE)
		return value - t * (value + 1);
	if (isinf(value))
		value = LARGEST_RATIO;
	return value * exp(-60 * t);
}

/*
 * The lower limit: the farthest null whose chance is still above `tail`. The
 * chance jumps where a table enters, so the way out is looked at first.
 */
static double lower(const pd_two_shares *d, pd_risk_kind kind, double value,
                    double tail, const struct room *room)
{
	double in = 0, out = 1;

	if (kind == PD_RISK_RATIO ? d->x1 == 0
	                          : d->x1 == 0 && d->x2 == d->n2)
		return kind == PD_RISK_RATIO ? 0 : -1;
	for (int k = 0; k < STEPS && out - in > 1e-11; k++) {
		double mid = (in + out) / 2;

		if (chance(d, kind, toward(kind, value, mid), room) > tail)
			in = mid;
		else
			out = mid;
	}
	for (int k = SCAN; k > 0; k--) {
		double at = in + (fmin(1, 2 * in + 0.05) - in) * k / SCAN;

		if (at < 1 &&
		    chance(d, kind, toward(kind, value, at), room) > tail) {
			in = at;
			break;
		}
	}
	return toward(kind, value, in);
}

static pd_status check(const pd_two_shares *d, double level, pd_error *err)
{
	if (d->n1 == 0 || d->n2 == 0 || (double)d->n1 > MOST_UNITS ||
	    (double)d->n2 > MOST_UNITS || d->x1 > d->n1 || d->x2 > d->n2)
		return pd_fail(err, PD_DATA, "%zu of %zu against %zu of %zu are "
		               "no two shares", d->x1, d->n1, d->x2, d->n2);
	return level > 0 && level < 1
	           ? PD_OK
	           : pd_fail(err, PD_DATA, "level %g is not between 0 and 1",
	                     level);
}

static double observed(const pd_two_shares *d, pd_risk_kind kind)
{
	double a = (double)d->x1 / (double)d->n1;
	double b = (double)d->x2 / (double)d->n2;

	return kind == PD_RISK_DIFFERENCE ? a - b : a / b; /* 0 / 0: NaN */
}

static pd_status make_room(const pd_two_shares *d, struct room *r,
                           pd_error *err)
{
	size_t n = (d->n1 > d->n2 ? d->n1 : d->n2) + 1;

	r->bound = malloc(n * sizeof *r->bound);
	r->one = malloc(2 * n * sizeof *r->one);
	r->two = r->one ? r->one + n : NULL;
	if (r->bound && r->one)
		return PD_OK;
	free(r->bound);
	free(r->one);
	return pd_fail(err, PD_NO_MEMORY, "out of memory comparing shares");
}

static void free_room(struct room *r)
{
	free(r->bound);
	free(r->one);
}

/* Both chances at a null. */
static void test(const pd_two_shares *d, pd_risk_kind kind, double null,
                 const struct room *room, double *above, double *below)
{
	pd_two_shares back = exchanged(d);

	*above = chance(d, kind, null, room);
	*below = chance(&back, kind, opposite(kind, null), room);
}

pd_status pd_risk_test(const pd_two_shares *d, pd_risk_kind kind, double null,
                       double *above, double *below, pd_error *err)
{
	struct room room;
	pd_status st = check(d, 0.95, err);
	bool fits = kind == PD_RISK_RATIO ? null > 0 && isfinite(null)
	                                  : null > -1 && null < 1;

	*above = *below = NAN;
	if (st == PD_OK && !fits)
		return pd_fail(err, PD_DATA, "null %g lies outside the scale",
		               null);
	if (st == PD_OK)
		st = make_room(d, &room, err);
	if (st != PD_OK)
		return st;
	test(d, kind, null, &room, above, below);
	free_room(&room);
	return PD_OK;
}

pd_status pd_risk_compare(const pd_two_shares *d, pd_risk_kind kind,
                          double level, pd_risk *out, pd_error *err)
{
	double above, below, none = no_effect(kind);
	pd_two_shares back = exchanged(d);
	struct room room;
	pd_status st = check(d, level, err);

	*out = (pd_risk){ NAN, NAN, NAN, level, NAN };
	if (st == PD_OK)
		st = make_room(d, &room, err);
	if (st != PD_OK)
		return st;
	out->value = observed(d, kind);
	if (isnan(out->value)) {
		out->low = 0;
		out->high = INFINITY;
		out->p = 1;
		free_room(&room);
		return PD_OK;
	}
	test(d, kind, none, &room, &above, &below);
	out->p = fmin(1, 2 * fmin(above, below));
	out->low = lower(d, kind, out->value, (1 - level) / 2, &room);
	out->high = opposite(kind, lower(&back, kind,
	                                 opposite(kind, out->value),
	                                 (1 - level) / 2, &room));
	free_room(&room);
	/* p and interval say the same of no effect */
	if (out->p > 1 - level) {
		out->low = fmin(out->low, none);
		out->high = fmax(out->high, none);
	}
	return PD_OK;
}

static double score_limit(const pd_two_shares *d, pd_risk_kind kind,
                          double value, double z)
{
	double n = (double)d->n1 + (double)d->n2, in = 0, out = 1;

	if (kind == PD_RISK_RATIO ? d->x1 == 0
	                          : d->x1 == 0 && d->x2 == d->n2)
		return kind == PD_RISK_RATIO ? 0 : -1;
	for (int k = 0; k < 60; k++) {
		double mid = (in + out) / 2;
		double at = pd_risk_score(d, kind, toward(kind, value, mid)) *
		            sqrt((n - 1) / n);

		if (at < z)
			in = mid;
		else
			out = mid;
	}
	return toward(kind, value, (in + out) / 2);
}

pd_status pd_risk_score_limits(const pd_two_shares *d, pd_risk_kind kind,
                               double level, pd_risk *out, pd_error *err)
{
	pd_status st = check(d, level, err);
	pd_two_shares back = exchanged(d);
	double z = pd_normal_quantile((1 + level) / 2);
	double n = (double)d->n1 + (double)d->n2;

	*out = (pd_risk){ NAN, NAN, NAN, level, NAN };
	if (st != PD_OK)
		return st;
	out->value = observed(d, kind);
	if (isnan(out->value)) {
		out->low = 0;
		out->high = INFINITY;
		out->p = 1;
		return PD_OK;
	}
	out->p = 2 * pd_normal_upper(
	                 fabs(pd_risk_score(d, kind, no_effect(kind))) *
	                 sqrt((n - 1) / n));
	out->low = score_limit(d, kind, out->value, z);
	out->high = opposite(kind, score_limit(&back, kind,
	                                       opposite(kind, out->value), z));
	return PD_OK;
}
