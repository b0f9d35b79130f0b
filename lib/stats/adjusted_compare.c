/*
 * adjusted_compare.c - comparisons of adjusted means, see adjusted.h.
 *
 * Covariances between contrasts are asked of the fit as well, so that any
 * small-sample adjustment is in them: for contrasts over their errors,
 *   corr = (var(a + b) - var(a - b)) / 4.
 */
#include "stats/adjusted.h"
#include "stats/joint.h"
#include "stats/multiple.h"
#include "stats/quantile.h"
#include "stats/range.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_MEANS = 30 };
static const double SQRT_TWO = 1.414213562373095048801688724209698079;

/* A family on its way. */
struct family {
	const pd_fitted *f;
	const pd_comparing *how;
	size_t m, k;           /* comparisons; means, 0: not all pairs       */
	const double *c;       /* m * p                                      */
	pd_comparison *out;
	double critical;
};

static pd_status check(const pd_comparing *how, pd_error *err)
{
	if (!(how->level > 0 && how->level < 1))
		return pd_fail(err, PD_USAGE, "level %g, expected above 0 and "
		               "below 1", how->level);
	if (how->sides != 1 && how->sides != 2)
		return pd_fail(err, PD_USAGE, "%d sides, expected 1 or 2",
		               how->sides);
	return PD_OK;
}

/* Every comparison by itself: value, se, df, t. */
static pd_status alone(struct family *y, pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < y->m; i++) {
		pd_comparison *o = &y->out[i];

		o->e = (pd_estimate){ .level = y->how->level };
		st = y->f->contrast(y->f->fit, y->c + i * y->f->p,
		                    y->f->method, &o->e, err);
		if (st == PD_OK && !(o->e.se > 0))
			st = pd_fail(err, PD_NUMERIC, "comparison %zu has "
			             "standard error %g", i + 1, o->e.se);
		o->t = o->e.value / o->e.se;
	}
	return st;
}

static void limit(struct family *y, size_t i, double critical, double p)
{
	pd_estimate *e = &y->out[i].e;

	e->low = e->value - critical * e->se;
	e->high = y->how->sides == 2 ? e->value + critical * e->se : INFINITY;
	e->p = p;
	e->level = y->how->level;
	if (i == 0)
		y->critical = critical;
}

/* Upper chance of a t, both tails on two sides, and its point. */
static double chance(const struct family *y, double t, double df)
{
	return y->how->sides == 2 ? pd_t_two_sided(t, df) : pd_t_upper(t, df);
}

static double point(const struct family *y, double p, double df)
{
	return -pd_t_quantile(y->how->sides == 2 ? 0.5 * p : p, df);
}

/* Limits that share the error among `share` comparisons; p of each alone. */
static void shared(struct family *y, size_t share)
{
	double p = (1 - y->how->level) / (double)share;

	for (size_t i = 0; i < y->m; i++) {
		const pd_comparison *o = &y->out[i];

		limit(y, i, point(y, p, o->e.df), chance(y, o->t, o->e.df));
	}
}

static pd_status by_holm(struct family *y, pd_error *err)
{
	double *p = calloc(y->m, sizeof *p);
	pd_status st;

	if (!p)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	shared(y, y->m);
	for (size_t i = 0; i < y->m; i++)
		p[i] = y->out[i].e.p;
	st = pd_adjust_p(p, y->m, PD_HOLM, p, err);
	for (size_t i = 0; st == PD_OK && i < y->m; i++)
		y->out[i].e.p = p[i];
	free(p);
	return st;
}

static pd_status by_range(struct family *y, pd_error *err)
{
	double last_df = NAN, q = NAN;

	if (y->k == 0 || y->how->sides != 2)
		return pd_fail(err, PD_USAGE, "the studentized range is for "
		               "all pairs and two sides");
	for (size_t i = 0; i < y->m; i++) {
		const pd_comparison *o = &y->out[i];
		double p = pd_range_upper(SQRT_TWO * fabs(o->t), y->k,
		                          o->e.df);

		if (o->e.df != last_df)
			q = pd_range_quantile(y->how->level, y->k, o->e.df);
		last_df = o->e.df;
		if (!isfinite(q) || isnan(p))
			return pd_fail(err, PD_NUMERIC, "studentized range of "
			               "%zu means on %g degrees of freedom",
			               y->k, o->e.df);
		limit(y, i, q / SQRT_TWO, p);
	}
	return PD_OK;
}

/* c / se of comparison i, plus or minus that of j; false when nothing is
 * left but rounding. */
static bool combine(const struct family *y, size_t i, size_t j, double sign,
                    double *c)
{
	size_t p = y->f->p;
	double most = 0, left = 0;

	for (size_t a = 0; a < p; a++) {
		double u = y->c[i * p + a] / y->out[i].e.se;
		double v = sign * y->c[j * p + a] / y->out[j].e.se;

		c[a] = u + v;
		most = fmax(most, fmax(fabs(u), fabs(v)));
		left = fmax(left, fabs(c[a]));
	}
	return left > 1e-12 * most;
}

static pd_status correlation(const struct family *y, size_t i, size_t j,
                             double *c, double *out, pd_error *err)
{
	pd_estimate e[2] = { { .level = 0.5 }, { .level = 0.5 } };
	pd_status st = PD_OK;

	for (int s = 0; st == PD_OK && s < 2; s++)
		if (combine(y, i, j, s ? -1 : 1, c))
			st = y->f->contrast(y->f->fit, c, y->f->method, &e[s],
			                    err);
	*out = 0.25 * (e[0].se * e[0].se - e[1].se * e[1].se);
	return st;
}

static pd_status correlations(const struct family *y, double *v, double *c,
                              pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < y->m; i++) {
		v[i * y->m + i] = 1;
		for (size_t j = 0; st == PD_OK && j < i; j++) {
			st = correlation(y, i, j, c, &v[i * y->m + j], err);
			v[j * y->m + i] = v[i * y->m + j];
		}
	}
	return st;
}

static pd_status by_joint(struct family *y, pd_error *err)
{
	size_t m = y->m;
	double *v = calloc(m * m + m + y->f->p, sizeof *v), df = INFINITY;
	pd_estimate *e = calloc(m, sizeof *e);
	double *t = v + m * m;
	pd_joint_value c = { 0 };
	pd_status st = PD_OK;

	if (!v || !e)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = correlations(y, v, t + m, err);
	for (size_t i = 0; st == PD_OK && i < m; i++) {
		t[i] = y->out[i].t;
		df = fmin(df, y->out[i].e.df);
	}
	if (st == PD_OK)
		st = pd_joint_limits(t, v, m, df, y->how->sides, y->how->level,
		                     e, &c, err);
	for (size_t i = 0; st == PD_OK && i < m; i++) {
		limit(y, i, c.value, e[i].p);
		y->out[i].e.df = df;
	}
	free(v);
	free(e);
	return st;
}

static pd_status compare(struct family *y, double *critical, pd_error *err)
{
	pd_status st = alone(y, err);

	if (st == PD_OK)
		switch (y->how->how) {
		case PD_TOGETHER_HOLM:
			st = by_holm(y, err);
			break;
		case PD_TOGETHER_RANGE:
			st = by_range(y, err);
			break;
		case PD_TOGETHER_JOINT:
			st = by_joint(y, err);
			break;
		default:
			shared(y, 1);
		}
	for (size_t i = 0; st == PD_OK && i < y->m; i++)
		if (isnan(y->out[i].e.low) || isnan(y->out[i].e.p))
			st = pd_fail(err, PD_NUMERIC, "comparison %zu has no "
			             "limits", i + 1);
	if (st == PD_OK && critical)
		*critical = y->critical;
	return st;
}

pd_status pd_compare_rows(const pd_fitted *f, const double *c, size_t m,
                          const pd_comparing *how, pd_comparison *out,
                          double *critical, pd_error *err)
{
	struct family y = { f, how, m, 0, c, out, NAN };
	pd_status st = check(how, err);

	if (st == PD_OK && (m < 1 || m > PD_JOINT_MOST))
		st = pd_fail(err, PD_USAGE, "%zu comparisons, expected 1 to %d",
		             m, PD_JOINT_MOST);
	for (size_t i = 0; st == PD_OK && i < m; i++) {
		out[i].a = i;
		out[i].b = 0;
	}
	return st == PD_OK ? compare(&y, critical, err) : st;
}

/* Differences named by out[].a and b. */
static pd_status differences(const pd_fitted *f, const double *rows, size_t m,
                             size_t k, const pd_comparing *how,
                             pd_comparison *out, double *critical,
                             pd_error *err)
{
	double *c = calloc(m * f->p + 1, sizeof *c);
	struct family y = { f, how, m, k, c, out, NAN };
	pd_status st;

	if (!c)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < m; i++)
		for (size_t j = 0; j < f->p; j++)
			c[i * f->p + j] = rows[out[i].a * f->p + j] -
			                  rows[out[i].b * f->p + j];
	st = compare(&y, critical, err);
	free(c);
	return st;
}

static pd_status check_means(size_t k, const pd_comparing *how, pd_error *err)
{
	if (k < 2 || k > MOST_MEANS)
		return pd_fail(err, PD_USAGE, "%zu means, expected 2 to %d", k,
		               MOST_MEANS);
	return check(how, err);
}

pd_status pd_compare_pairs(const pd_fitted *f, const double *rows, size_t k,
                           const pd_comparing *how, pd_comparison *out,
                           double *critical, pd_error *err)
{
	pd_status st = check_means(k, how, err);
	size_t m = 0;

	if (st != PD_OK)
		return st;
	for (size_t a = 1; a < k; a++)
		for (size_t b = 0; b < a; b++, m++) {
			out[m].a = a;
			out[m].b = b;
		}
	return differences(f, rows, m, k, how, out, critical, err);
}

pd_status pd_compare_control(const pd_fitted *f, const double *rows, size_t k,
                             size_t control, const pd_comparing *how,
                             pd_comparison *out, double *critical,
                             pd_error *err)
{
	pd_status st = check_means(k, how, err);
	size_t m = 0;

	if (st == PD_OK && control >= k)
		st = pd_fail(err, PD_USAGE, "control %zu of %zu means",
		             control + 1, k);
	if (st != PD_OK)
		return st;
	for (size_t a = 0; a < k; a++)
		if (a != control) {
			out[m].a = a;
			out[m++].b = control;
		}
	return differences(f, rows, m, 0, how, out, critical, err);
}
