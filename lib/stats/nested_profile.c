/*
 * nested_profile.c - see nested_profile.h.
 *
 * At each trial value the thetas are found anew by the search of nested_fit.c
 * with the value held (struct pd_held): the fixed effects and s^2 that go with
 * it follow from A by algebra, so no row is read. The outer root is sought on
 *   z(x) = +- sqrt(rise(x)),   dz/dx = rise'(x) / (2 z),
 * nearly a straight line, whose slope comes free with each point (the other
 * parameters are at their best, so only the direct derivative counts).
 */
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/nested_profile_own.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { MOST_RESTARTS = 3, STRIDES = 5 };

/* ---- contrasts -------------------------------------------------------- */

/* c'b = shift + scale * (what is held): a contrast of length 1 in Q and y~. */
struct outward { double shift, scale; };

static pd_status hold_contrast(struct pd_profiled *f, const double *c,
                               struct outward *o, pd_error *err)
{
	struct pd_nested *m = f->m;
	double *turned = m->held.c, length = 0.0;

	pd_df_turn(m, c, 1, turned);
	for (size_t i = 0; i < m->p; i++)
		length = hypot(length, turned[i]);
	if (!(length > 0.0) || !isfinite(length))
		return pd_fail(err, PD_USAGE, "a contrast is zero or not "
		               "finite");
	*o = (struct outward){ 0.0, m->y_scale * length };
	for (size_t i = 0; i < m->p; i++) {
		o->shift += turned[i] * m->gamma[i];
		turned[i] /= length;
	}
	return PD_OK;
}

/* Estimate into f->best; the ML error, both as held. */
static double best_contrast(struct pd_profiled *f)
{
	struct pd_nested *m = f->m;
	double bend = 0.0, *span = m->held.span;

	pd_held_stand(f);
	f->best = 0.0;
	memcpy(span, m->held.c, m->p * sizeof *span);
	pd_chol_solve(m->chol, m->p, m->p, span);
	for (size_t i = 0; i < m->p; i++) {
		f->best -= m->held.c[i] * m->vec[i];
		bend += m->held.c[i] * span[i];
	}
	return f->s * sqrt(bend);
}

static pd_status contrast_limits(struct pd_profiled *f, const double *c,
                                 pd_profile *out, pd_error *err)
{
	double se, z = sqrt(f->want), low = 0.0, high = 0.0;
	struct outward o;
	pd_status st = hold_contrast(f, c, &o, err);

	if (st != PD_OK)
		return st;
	se = best_contrast(f);
	st = pd_held_limit(f, PD_HELD_CONTRAST, -z * se, -INFINITY, &low, err);
	if (st == PD_OK)
		st = pd_held_limit(f, PD_HELD_CONTRAST, z * se, INFINITY, &high,
		                err);
	out->e.value = o.shift + o.scale * f->best;
	out->e.se = o.scale * se;
	out->e.low = o.shift + o.scale * low;
	out->e.high = o.shift + o.scale * high;
	out->e.p = NAN;
	return st;
}

/* ---- standard deviations ---------------------------------------------- */

/* rise at an SD of 0. */
static pd_status rise_at_zero(struct pd_profiled *f, double *rise,
                              pd_error *err)
{
	struct pd_nested *m = f->m;
	struct pd_level *lv = &m->level[m->held.level];

	pd_held_stand(f);
	m->held.kind = PD_HELD_ZERO;
	for (size_t b = 0; b < lv->q; b++)
		lv->T[m->held.column * lv->q + b] =
			lv->T[b * lv->q + m->held.column] = 0.0;
	pd_bound_theta(lv, lv->T, f->theta);
	return pd_held_measure(f, true, rise, err);
}

/* A first guess at how far the limits lie: by the spread of an estimated
 * variance, with the information of as many independent groups. */
static void first_steps(struct pd_profiled *f, double *down, double *up)
{
	struct pd_nested *m = f->m;
	size_t level = m->held.level;
	double z = sqrt(f->want);

	pd_held_stand(f);
	if (level == m->depth) {
		size_t groups = level ? m->level[level - 1].n_groups : m->p;
		double left = m->n > groups ? (double)(m->n - groups) : 1.0;

		f->best = f->s;
		*up = f->s * expm1(z / sqrt(2.0 * left));
		*down = f->s * expm1(-z / sqrt(2.0 * left));
	} else {
		const struct pd_level *lv = &m->level[level];
		double t = *pd_held_own_t(f), slope = m->d_log_det[diagonal(lv,
			m->held.column)];
		double by = z * sqrt(2.0 * (double)lv->n_groups) / slope;

		f->best = f->s * sqrt(t);
		*up = f->s * sqrt(t + by) - f->best;
		*down = f->s * sqrt(fmax(t - by, 0.2 * t)) - f->best;
	}
}

static double half_tails(double rise, size_t q)
{
	double p = 0.5 * pd_chisq_upper(rise, (double)q);

	if (!(rise > 0.0))
		return 1.0;
	return q > 1 ? p + 0.5 * pd_chisq_upper(rise, (double)q - 1.0) : p;
}

static pd_status sd_limits(struct pd_profiled *f, pd_profile *out,
                           pd_error *err)
{
	struct pd_nested *m = f->m;
	size_t level = m->held.level;
	bool effect = level < m->depth;
	double down, up, low = 0.0, high = 0.0, at_zero = INFINITY;
	double unit = effect ? m->scale[m->level[level].col[m->held.column]]
	                     : 1.0;
	pd_status st = PD_OK;

	first_steps(f, &down, &up);
	if (effect && f->best > 0.0)
		st = rise_at_zero(f, &at_zero, err);
	else if (effect)
		at_zero = 0.0;
	out->low_at_zero = at_zero <= f->want;
	if (st == PD_OK && !out->low_at_zero)
		st = pd_held_limit(f, PD_HELD_SD, down, 0.0, &low, err);
	if (st == PD_OK)
		st = pd_held_limit(f, PD_HELD_SD, up, INFINITY, &high, err);
	out->e.value = f->best * m->y_scale / unit;
	out->e.low = low * m->y_scale / unit;
	out->e.high = high * m->y_scale / unit;
	out->e.se = NAN;
	out->e.p = effect ? half_tails(at_zero, m->level[level].q) : NAN;
	return st;
}

/* ---- asked from outside ----------------------------------------------- */

/* `c` or an SD; once more from wherever a lower deviance turned up. */
static pd_status limits(struct pd_profiled *f, const double *c, double level,
                        pd_profile *out, pd_error *err)
{
	pd_status st = PD_OK;

	for (int k = 0; k < MOST_RESTARTS; k++) {
		memset(out, 0, sizeof *out);
		f->lower = false;
		st = c ? contrast_limits(f, c, out, err)
		       : sd_limits(f, out, err);
		f->m->held.kind = PD_HELD_NOTHING;
		if (!f->lower || pd_held_least(f, f->theta, err) != PD_OK)
			break;
	}
	out->e.df = INFINITY;
	out->e.level = level;
	out->deviance = f->least->deviance[f->reml];
	out->fits = f->fits;
	return st;
}

pd_status pd_nested_profile_contrast(pd_nested *m, const double *c,
                                     double level, pd_profile *out,
                                     pd_error *err)
{
	struct pd_profiled f = { 0 };
	pd_status st = pd_held_borrow(&f, m, false, level, err);

	if (st == PD_OK)
		st = limits(&f, c, level, out, err);
	pd_held_return(&f);
	return st;
}

pd_status pd_nested_profile_sd(pd_nested *m, size_t at, size_t column,
                               bool reml, double level, pd_profile *out,
                               pd_error *err)
{
	struct pd_profiled f = { 0 };
	pd_status st = pd_held_borrow(&f, m, reml, level, err);

	if (st == PD_OK && (at > m->depth ||
	    column >= (at < m->depth ? m->level[at].q : 1)))
		st = pd_fail(err, PD_USAGE, "column %zu of level %zu, expected "
		             "one of %zu levels or the residual", column + 1,
		             at + 1, m->depth);
	if (st == PD_OK) {
		m->held.level = at;
		m->held.column = column;
		st = limits(&f, NULL, level, out, err);
	}
	pd_held_return(&f);
	return st;
}

pd_status pd_nested_profile_test(pd_nested *m, const double *c, double x,
                                 double *rise, double *p, pd_error *err)
{
	struct pd_profiled f = { 0 };
	struct outward o;
	double x_held;
	pd_status st = pd_held_borrow(&f, m, false, 0.5, err);

	if (st == PD_OK && !isfinite(x))
		st = pd_fail(err, PD_USAGE, "a value to test is not finite");
	if (st == PD_OK)
		st = hold_contrast(&f, c, &o, err);
	for (int k = 0; st == PD_OK && k < MOST_RESTARTS; k++) {
		best_contrast(&f);
		f.lower = false;
		m->held.kind = PD_HELD_CONTRAST;
		x_held = (x - o.shift) / o.scale;
		for (int i = 1; st == PD_OK && i <= STRIDES; i++)
			st = pd_held_reach(&f, f.best + i * (x_held - f.best) /
			           STRIDES, i == STRIDES, rise, err);
		m->held.kind = PD_HELD_NOTHING;
		if (!f.lower)
			break;
		st = pd_held_least(&f, f.theta, err);
	}
	if (st == PD_OK)
		*p = pd_chisq_upper(*rise, 1.0);
	pd_held_return(&f);
	return st;
}
