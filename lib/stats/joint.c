/*
 * joint.c - see joint.h: laws made, chances and limits asked of them.
 */
#include "stats/incomplete.h"
#include "stats/joint_own.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FEW = 10 };
static const double SHARE = 0.002;    /* of an adjusted chance           */
static const double SINGULAR = 1e-10; /* of a variance of 1              */

/* ---- the law taken apart ---------------------------------------------- */

static pd_status check(const double *v, size_t k, double df, int sides,
                       pd_error *err)
{
	if (k < 1 || k > PD_JOINT_MOST)
		return pd_fail(err, PD_USAGE, "%zu comparisons, expected 1 to "
		               "%d", k, PD_JOINT_MOST);
	if (!(df >= 0.1) || (sides != 1 && sides != 2))
		return pd_fail(err, PD_USAGE, "%g degrees of freedom and %d "
		               "sides, expected 0.1 or more and 1 or 2", df,
		               sides);
	for (size_t i = 0; i < k * k; i++)
		if (!isfinite(v[i]))
			return pd_fail(err, PD_DATA, "covariance of "
			               "comparisons %zu and %zu is not finite",
			               i / k + 1, i % k + 1);
	for (size_t i = 0; i < k; i++)
		if (!(v[i * k + i] > 0))
			return pd_fail(err, PD_REFUSED, "comparison %zu has "
			               "variance %g, expected above 0", i + 1,
			               v[i * k + i]);
	return PD_OK;
}

/* Correlations into r; PD_DATA when they are none. */
static pd_status correlate(const double *v, size_t k, double *r, pd_error *err)
{
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++) {
			double by = sqrt(v[i * k + i]) * sqrt(v[j * k + j]);
			double a = v[i * k + j] / by, b = v[j * k + i] / by;

			if (!(fabs(a - b) < 1e-8) || !(fabs(a) < 1 + 1e-8))
				return pd_fail(err, PD_DATA, "covariances of "
				               "comparisons %zu and %zu "
				               "contradict each other", i + 1,
				               j + 1);
			r[i * k + j] = 0.5 * (a + b);
		}
	return PD_OK;
}

/*
 * Pivoted factor: the row with most variance left next. l[k*k] row-major,
 * left[k] what remains of each variance. Returns the rank.
 */
static size_t factor(const double *r, size_t k, double *l, double *left)
{
	size_t j;

	for (size_t i = 0; i < k; i++)
		left[i] = 1;
	for (j = 0; j < k; j++) {
		size_t best = 0;

		for (size_t i = 1; i < k; i++)
			if (left[i] > left[best] + 1e-12)
				best = i;
		if (!(left[best] > SINGULAR))
			break;
		l[best * k + j] = sqrt(left[best]);
		for (size_t i = 0; i < k; i++) {
			double s = r[i * k + best];

			if (i == best || left[i] == -INFINITY)
				continue;
			for (size_t m = 0; m < j; m++)
				s -= l[i * k + m] * l[best * k + m];
			l[i * k + j] = s / l[best * k + j];
			left[i] -= l[i * k + j] * l[i * k + j];
		}
		left[best] = -INFINITY; /* used */
	}
	return j;
}

/* Column a row ends in; what is smaller than rounding is taken as 0. */
static size_t last_column(double *row, size_t rank)
{
	size_t j = rank;

	while (j > 1 && fabs(row[j - 1]) < 1e-7)
		row[--j] = 0;
	return j - 1;
}

static void add_row(pd_joint *j, size_t at, const double *l, size_t c)
{
	j->reach[at] = 1 / l[c];
	for (size_t m = 0; m <= c; m++)
		j->row[at * j->rank + m] = l[m] / l[c];
}

static pd_status take_apart(pd_joint *j, const double *v, double *work,
                            pd_error *err)
{
	size_t k = j->k, at = 0;
	double *r = work, *l = r + k * k, *left = l + k * k;
	pd_status st = correlate(v, k, r, err);

	if (st != PD_OK)
		return st;
	j->rank = factor(r, k, l, left);
	for (size_t i = 0; i < k; i++)
		if (left[i] < -1e-8 && isfinite(left[i]))
			return pd_fail(err, PD_DATA, "covariances of the %zu "
			               "comparisons contradict each other", k);
	for (size_t c = 0; c < j->rank; c++) {
		j->start[c] = at;
		for (size_t i = 0; i < k; i++)
			if (last_column(l + i * k, j->rank) == c)
				add_row(j, at++, l + i * k, c);
	}
	j->start[j->rank] = at;
	return PD_OK;
}

/* ln S and its slope by the normal score of its chance. */
static pd_status tabulate(pd_joint *j, pd_error *err)
{
	for (size_t i = 0; i < PD_JOINT_NODES; i++) {
		double z = pd_joint_score(i), shape = 0.5 * j->df;
		double g = pd_gamma_point(pd_normal_upper(fabs(z)), z > 0,
		                          shape);
		double slope = pd_gamma_tails(g, shape).slope;

		j->ln_s[i] = 0.5 * log(g / shape);
		j->slope[i] = 0.5 * exp(-0.5 * z * z) / sqrt(2 * M_PI) / slope;
		if (!isfinite(j->ln_s[i]) || !isfinite(j->slope[i]))
			return pd_fail(err, PD_NUMERIC, "law of the spread on "
			               "%g degrees of freedom", j->df);
	}
	return PD_OK;
}

pd_status pd_joint_new(const double *covariance, size_t k, double df,
                       int sides, pd_joint **out, pd_error *err)
{
	pd_status st = check(covariance, k, df, sides, err);
	double *work;
	pd_joint *j;

	*out = NULL;
	if (st != PD_OK)
		return st;
	if (df > 1e9)
		df = INFINITY; /* S differs from 1 by 2e-5 */
	j = calloc(1, sizeof *j);
	work = calloc(2 * k * k + k, sizeof *work);
	if (j) {
		j->k = k;
		j->df = df;
		j->sides = sides;
		j->row = calloc(k * k + k, sizeof *j->row);
		j->reach = j->row + k * k;
		j->start = calloc(k + 1, sizeof *j->start);
		j->ln_s = calloc(2 * PD_JOINT_NODES, sizeof *j->ln_s);
		j->slope = j->ln_s + PD_JOINT_NODES;
	}
	if (!j || !work || !j->row || !j->start || !j->ln_s)
		st = pd_fail(err, PD_NO_MEMORY, "no memory for %zu "
		             "comparisons", k);
	if (st == PD_OK)
		st = take_apart(j, covariance, work, err);
	if (st == PD_OK && isfinite(df))
		st = tabulate(j, err);
	free(work);
	if (st != PD_OK) {
		pd_joint_free(j);
		return st;
	}
	*out = j;
	return PD_OK;
}

void pd_joint_free(pd_joint *j)
{
	if (!j)
		return;
	free(j->row);
	free(j->start);
	free(j->ln_s);
	free(j);
}

/* ---- asked from outside ----------------------------------------------- */

static double one_upper(const pd_joint *j, double c)
{
	return j->sides == 2 ? pd_t_two_sided(c, j->df) : pd_t_upper(c, j->df);
}

/* From the smallest lattice up until one will do: to `tolerance`, or `share`
 * of the chance itself where that is more. */
static double upper_of(struct pd_cube *q, double c, double tolerance,
                       double share)
{
	double one = one_upper(q->j, c), p = NAN;

	for (q->lattice = 0; q->lattice < PD_JOINT_LATTICES; q->lattice++) {
		p = pd_cube_mean(q, c);
		if (q->error <= fmax(tolerance, share * p))
			break;
	}
	return fmin(fmax(p, one), fmin(1, (double)q->j->k * one));
}

static pd_status tolerable(const pd_joint *j, double *tolerance, pd_error *err)
{
	if (*tolerance == 0)
		*tolerance = j->k <= FEW ? 1e-5 : 5e-5;
	return *tolerance > 0 ? PD_OK :
	       pd_fail(err, PD_USAGE, "tolerance %g, expected above 0",
	               *tolerance);
}

static pd_status upper(const pd_joint *j, double c, double tolerance,
                       double share, pd_joint_value *out, pd_error *err)
{
	struct pd_cube q;
	pd_status st = tolerable(j, &tolerance, err);

	*out = (pd_joint_value){ 0 };
	if (st == PD_OK && (isnan(c) || (j->sides == 2 && c < 0)))
		st = pd_fail(err, PD_USAGE, "limit %g of comparisons, expected "
		             "0 or more", c);
	if (st != PD_OK)
		return st;
	if (j->k == 1 || isinf(c)) {
		out->value = one_upper(j, c);
		return PD_OK;
	}
	st = pd_cube_open(&q, j, err);
	if (st != PD_OK)
		return st;
	out->value = upper_of(&q, c, tolerance, share);
	out->error = q.error;
	out->points = q.points;
	pd_cube_close(&q);
	return PD_OK;
}

pd_status pd_joint_upper(const pd_joint *j, double c, double tolerance,
                         pd_joint_value *out, pd_error *err)
{
	return upper(j, c, tolerance, 0, out, err);
}

/* c of one comparison with upper chance p (both tails for two sides). */
static double one_point(const pd_joint *j, double p)
{
	return -pd_t_quantile(j->sides == 2 ? 0.5 * p : p, j->df);
}

/*
 * Root of ln P(M > c) - ln p on the present lattice, from c with the slope
 * last known (NaN: none); both are renewed. The smallest lattice is searched
 * to the end, which gives the slope; a larger one moves the root by little,
 * and one step of Newton's leaves of that the square.
 * False when it does not settle.
 */
static int root_here(struct pd_cube *q, double p, double *c, double *slope)
{
	double low = one_point(q->j, p);
	double high = one_point(q->j, p / (double)q->j->k);
	double last_c = NAN, last_g = NAN;

	for (int k = 0; k < 60; k++) {
		double g = log(pd_cube_mean(q, *c)) - log(p), next;
		double enough = q->lattice > 0 ? 3e-3 : 1e-6;

		if (fabs(*c - last_c) > 0 && (g - last_g) / (*c - last_c) < 0)
			*slope = (g - last_g) / (*c - last_c);
		last_c = *c;
		last_g = g;
		if (g > 0)
			low = fmax(low, *c);
		else
			high = fmin(high, *c);
		next = *c - g / *slope;
		if (!(next >= low && next <= high)) /* or no slope yet */
			next = 0.5 * (low + high);
		*c = next;
		if (fabs(next - last_c) <= enough * (1 + fabs(next)))
			return 1;
	}
	return 0;
}

static pd_status quantile_of(struct pd_cube *q, double p, double tolerance,
                             pd_joint_value *out, pd_error *err)
{
	double low = one_point(q->j, p);
	double high = one_point(q->j, p / (double)q->j->k);
	double c = 0.3 * low + 0.7 * high, slope = NAN;

	for (q->lattice = 0; q->lattice < PD_JOINT_LATTICES; q->lattice++) {
		if (!root_here(q, p, &c, &slope))
			return pd_fail(err, PD_NUMERIC, "no limit for %zu "
			               "comparisons at %g", q->j->k, 1 - p);
		if (q->error <= tolerance)
			break;
	}
	out->value = fmin(fmax(c, low), high);
	out->error = q->error / (p * fabs(slope));
	out->points = q->points;
	return PD_OK;
}

pd_status pd_joint_quantile(const pd_joint *j, double p, double tolerance,
                            pd_joint_value *out, pd_error *err)
{
	struct pd_cube q;
	pd_status st = tolerable(j, &tolerance, err);

	*out = (pd_joint_value){ 0 };
	if (st == PD_OK && !(p > 0 && p < 1))
		st = pd_fail(err, PD_USAGE, "level %g, expected above 0 and "
		             "below 1", p);
	if (st != PD_OK)
		return st;
	if (j->k == 1) {
		out->value = one_point(j, 1 - p);
		return PD_OK;
	}
	st = pd_cube_open(&q, j, err);
	if (st != PD_OK)
		return st;
	st = quantile_of(&q, 1 - p, tolerance, out, err);
	pd_cube_close(&q);
	return st;
}

static pd_status one_limit(const pd_joint *j, double variance, double c,
                           pd_estimate *e, pd_error *err)
{
	pd_joint_value p;
	double se = sqrt(variance), t = e->value / se;
	pd_status st;

	e->se = se;
	e->df = j->df;
	e->low = e->value - c * se;
	e->high = j->sides == 2 ? e->value + c * se : INFINITY;
	st = upper(j, j->sides == 2 ? fabs(t) : t, 0, SHARE, &p, err);
	e->p = p.value;
	return st;
}

pd_status pd_joint_limits(const double *value, const double *covariance,
                          size_t k, double df, int sides, double level,
                          pd_estimate *out, pd_joint_value *critical,
                          pd_error *err)
{
	pd_joint_value c;
	pd_joint *j;
	pd_status st = pd_joint_new(covariance, k, df, sides, &j, err);

	for (size_t i = 0; st == PD_OK && i < k; i++)
		if (!isfinite(value[i]))
			st = pd_fail(err, PD_DATA, "comparison %zu is not "
			             "finite", i + 1);
	if (st == PD_OK)
		st = pd_joint_quantile(j, level, 0, &c, err);
	for (size_t i = 0; st == PD_OK && i < k; i++) {
		out[i] = (pd_estimate){ .value = value[i], .level = level };
		st = one_limit(j, covariance[i * k + i], c.value, &out[i], err);
		out[i].df = df;
	}
	if (st == PD_OK && critical)
		*critical = c;
	pd_joint_free(j);
	return st;
}
