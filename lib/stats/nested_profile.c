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
#include "stats/nested_profile.h"
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/nested_search.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { MOST_POINTS = 100, MOST_RESTARTS = 3 };
static const double far_off = 1e9; /* errors away: there is no limit       */

/* The least deviance over everything, by ML [0] and by REML [1]. */
struct pd_least {
	bool made[2];
	double deviance[2];
	double theta[2][PD_MAX_E];
};

struct profile {
	struct pd_nested *m;
	struct pd_least *least;
	bool reml;
	double theta[PD_MAX_E], x; /* the last point, and where it was       */
	double best, s;            /* x of the least deviance; s there       */
	double want;               /* rise at the limits                     */
	unsigned fits;
	bool lower;                /* a point below the least was met        */
	pd_arena_mark mark;
	/* the model's own, to be put back */
	bool own_reml;
	pd_nested_fit_record record;
	double own_theta[PD_MAX_E], hessian[PD_MAX_E * PD_MAX_E];
};

/* ---- borrowing the model ---------------------------------------------- */

/* theta and value of the least deviance, from `start`. */
static pd_status find_least(struct profile *f, const double *start,
                            pd_error *err)
{
	struct pd_nested *m = f->m;
	pd_status st = pd_fit_search(m, start, err);

	if (st != PD_OK)
		return st;
	f->least->made[f->reml] = true;
	f->least->deviance[f->reml] = m->record.deviance;
	memcpy(f->least->theta[f->reml], m->theta, sizeof m->theta);
	return PD_OK;
}

static pd_status borrow(struct profile *f, struct pd_nested *m, bool reml,
                        double level, pd_error *err)
{
	pd_status st = PD_OK;

	if (!m->fitted)
		return pd_fail(err, PD_USAGE, "the model has not been fitted");
	if (!(level > 0.0 && level < 1.0))
		return pd_fail(err, PD_USAGE, "level %g, expected above 0 and "
		               "below 1", level);
	if (!m->least)
		m->least = pd_arena_alloc(m->arena, 1, sizeof *m->least);
	*f = (struct profile){ .m = m, .reml = reml, .own_reml = m->reml,
	                       .least = m->least, .record = m->record,
	                       .want = pd_chisq_quantile(level, 1.0) };
	f->mark = pd_arena_here(m->arena);
	m->held = (struct pd_held){
		.c = PD_NEW(m->arena, double, m->p),
		.span = PD_NEW(m->arena, double, m->p),
	};
	if (!m->least || !m->held.span || !m->held.c)
		return pd_fail(err, PD_NO_MEMORY, "no memory for limits");
	memcpy(f->own_theta, m->theta, sizeof m->theta);
	memcpy(f->hessian, m->hessian, sizeof m->hessian);
	m->reml = reml;
	m->settled = false;
	if (!f->least->made[reml])
		st = find_least(f, m->theta, err);
	return st;
}

static void give_back(struct profile *f)
{
	struct pd_nested *m = f->m;

	if (!f->least)
		return;
	pd_arena_rewind(m->arena, f->mark);
	m->held = (struct pd_held){ 0 };
	m->reml = f->own_reml;
	m->record = f->record;
	memcpy(m->theta, f->own_theta, sizeof m->theta);
	memcpy(m->hessian, f->hessian, sizeof m->hessian);
	pd_levels_at(m, m->theta);
	m->settled = false;
}

/* The passes at the least deviance, nothing held; x and s of it. */
static void stand_at_least(struct profile *f)
{
	struct pd_nested *m = f->m;
	struct pd_point pt;

	memcpy(f->theta, f->least->theta[f->reml], sizeof f->theta);
	memcpy(pt.theta, f->theta, sizeof f->theta);
	m->held.kind = PD_HELD_NOTHING;
	pd_point_at(m, &pt, 1);
	f->s = sqrt(pd_point_sigma2(m));
}

/* ---- one point of the profile ----------------------------------------- */

/* T_aa of the effect whose SD is held, at the levels' present point. */
static double *own_t(const struct profile *f)
{
	const struct pd_held *h = &f->m->held;
	struct pd_level *lv = &f->m->level[h->level];

	return &lv->T[h->column * (lv->q + 1)];
}

/* From the last point to `x`, as the others would go were they unmoved. */
static void guess(struct profile *f, double x)
{
	struct pd_nested *m = f->m;
	size_t level = m->held.level, own = m->held.column;
	struct pd_level *lv = &m->level[level];
	double ratio = x / f->x, *t = lv->T;

	if (m->held.kind != PD_HELD_SD)
		return;
	if (level == m->depth) { /* the residual grows: T beside it shrinks */
		for (size_t e = 0; e < m->n_elements; e++)
			f->theta[e] /= ratio;
		return;
	}
	pd_levels_at(m, f->theta);
	if (*own_t(f) > 0.0) {
		for (size_t b = 0; b < lv->q; b++) {
			t[own * lv->q + b] *= ratio;
			t[b * lv->q + own] *= ratio;
		}
	} else {
		*own_t(f) = x * x / (f->s * f->s);
	}
	pd_bound_theta(lv, t, f->theta);
}

/* rise with what m->held says, from f->theta. */
static pd_status measure(struct profile *f, double *rise, pd_error *err)
{
	double least = f->least->deviance[f->reml];
	struct pd_point pt;
	pd_status st = pd_fit_held(f->m, f->theta, &pt, err);

	if (st != PD_OK)
		return st;
	f->fits++;
	memcpy(f->theta, pt.theta, sizeof f->theta);
	*rise = pt.value - least;
	if (*rise < -1e-9 * (1.0 + fabs(least))) {
		f->lower = true;
		return pd_fail(err, PD_NUMERIC, "a lower deviance was met on "
		               "the way to a profile limit");
	}
	*rise = fmax(*rise, 0.0);
	return PD_OK;
}

/* rise at x; m->held.slope is left. */
static pd_status reach(struct profile *f, double x, double *rise,
                       pd_error *err)
{
	guess(f, x);
	f->m->held.at = f->x = x;
	return measure(f, rise, err);
}

/* Where the straight line through z(x) meets the height wanted. */
static double next_x(const struct profile *f, double x, double rise)
{
	double z = sqrt(rise);

	return x + (sqrt(f->want) - z) * 2.0 * z / f->m->held.slope;
}

/*
 * The limit on one side: from the estimate by `step`, further until the rise
 * is passed, then within the two ends. edge: where the rise is known to be
 * passed already (0 for an SD), INFINITY when there is no such place.
 */
static pd_status find_limit(struct profile *f, enum pd_holding kind, double step,
                            double edge, double *limit, pd_error *err)
{
	double in = f->best, out = edge, x = in + step, rise, next;
	pd_status st;

	stand_at_least(f);
	f->x = f->best;
	f->m->held.kind = kind;
	for (int k = 0; k < MOST_POINTS; k++) {
		st = reach(f, x, &rise, err);
		if (st != PD_OK)
			return st;
		next = next_x(f, x, rise);
		if (fabs(next - x) <= 1e-6 * fabs(x - f->best)) {
			*limit = next;
			return PD_OK;
		}
		if (rise < f->want)
			in = x;
		else
			out = x;
		if (isinf(out)) {
			double most = f->best + 4.0 * (x - f->best);
			bool on = (next - x) * step > 0.0;

			x = on && fabs(next - in) < fabs(most - in) ? next :
			                                              most;
			if (!(fabs(x - f->best) < far_off * fabs(step)))
				break;
		} else if ((next - in) * (next - out) < 0.0) {
			x = next;
		} else if (fabs(out - in) <= 1e-12 * fabs(out - f->best)) {
			*limit = x;
			return PD_OK;
		} else {
			x = 0.5 * (in + out);
		}
	}
	return pd_fail(err, PD_NUMERIC, "no profile limit: the deviance does "
	               "not rise by %.4g", f->want);
}

/* ---- contrasts -------------------------------------------------------- */

/* c'b = shift + scale * (what is held): a contrast of length 1 in Q and y~. */
struct outward { double shift, scale; };

static pd_status hold_contrast(struct profile *f, const double *c,
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
static double best_contrast(struct profile *f)
{
	struct pd_nested *m = f->m;
	double bend = 0.0, *span = m->held.span;

	stand_at_least(f);
	f->best = 0.0;
	memcpy(span, m->held.c, m->p * sizeof *span);
	pd_chol_solve(m->chol, m->p, m->p, span);
	for (size_t i = 0; i < m->p; i++) {
		f->best -= m->held.c[i] * m->vec[i];
		bend += m->held.c[i] * span[i];
	}
	return f->s * sqrt(bend);
}

static pd_status contrast_limits(struct profile *f, const double *c,
                                 pd_profile *out, pd_error *err)
{
	double se, z = sqrt(f->want), low = 0.0, high = 0.0;
	struct outward o;
	pd_status st = hold_contrast(f, c, &o, err);

	if (st != PD_OK)
		return st;
	se = best_contrast(f);
	st = find_limit(f, PD_HELD_CONTRAST, -z * se, -INFINITY, &low, err);
	if (st == PD_OK)
		st = find_limit(f, PD_HELD_CONTRAST, z * se, INFINITY, &high,
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
static pd_status rise_at_zero(struct profile *f, double *rise, pd_error *err)
{
	struct pd_nested *m = f->m;
	struct pd_level *lv = &m->level[m->held.level];

	stand_at_least(f);
	m->held.kind = PD_HELD_ZERO;
	for (size_t b = 0; b < lv->q; b++)
		lv->T[m->held.column * lv->q + b] =
			lv->T[b * lv->q + m->held.column] = 0.0;
	pd_bound_theta(lv, lv->T, f->theta);
	return measure(f, rise, err);
}

/* A first guess at how far the limits lie: by the spread of an estimated
 * variance, with the information of as many independent groups. */
static void first_steps(struct profile *f, double *down, double *up)
{
	struct pd_nested *m = f->m;
	size_t level = m->held.level;
	double z = sqrt(f->want);

	stand_at_least(f);
	if (level == m->depth) {
		size_t groups = level ? m->level[level - 1].n_groups : m->p;
		double left = m->n > groups ? (double)(m->n - groups) : 1.0;

		f->best = f->s;
		*up = f->s * expm1(z / sqrt(2.0 * left));
		*down = f->s * expm1(-z / sqrt(2.0 * left));
	} else {
		const struct pd_level *lv = &m->level[level];
		double t = *own_t(f), slope = m->d_log_det[diagonal(lv,
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

static pd_status sd_limits(struct profile *f, pd_profile *out, pd_error *err)
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
		st = find_limit(f, PD_HELD_SD, down, 0.0, &low, err);
	if (st == PD_OK)
		st = find_limit(f, PD_HELD_SD, up, INFINITY, &high, err);
	out->e.value = f->best * m->y_scale / unit;
	out->e.low = low * m->y_scale / unit;
	out->e.high = high * m->y_scale / unit;
	out->e.se = NAN;
	out->e.p = effect ? half_tails(at_zero, m->level[level].q) : NAN;
	return st;
}

/* ---- asked from outside ----------------------------------------------- */

/* `c` or an SD; once more from wherever a lower deviance turned up. */
static pd_status limits(struct profile *f, const double *c, double level,
                        pd_profile *out, pd_error *err)
{
	pd_status st = PD_OK;

	for (int k = 0; k < MOST_RESTARTS; k++) {
		memset(out, 0, sizeof *out);
		f->lower = false;
		st = c ? contrast_limits(f, c, out, err)
		       : sd_limits(f, out, err);
		f->m->held.kind = PD_HELD_NOTHING;
		if (!f->lower || find_least(f, f->theta, err) != PD_OK)
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
	struct profile f = { 0 };
	pd_status st = borrow(&f, m, false, level, err);

	if (st == PD_OK)
		st = limits(&f, c, level, out, err);
	give_back(&f);
	return st;
}

pd_status pd_nested_profile_sd(pd_nested *m, size_t at, size_t column,
                               bool reml, double level, pd_profile *out,
                               pd_error *err)
{
	struct profile f = { 0 };
	pd_status st = borrow(&f, m, reml, level, err);

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
	give_back(&f);
	return st;
}

pd_status pd_nested_profile_test(pd_nested *m, const double *c, double x,
                                 double *rise, double *p, pd_error *err)
{
	struct profile f = { 0 };
	struct outward o;
	pd_status st = borrow(&f, m, false, 0.5, err);

	if (st == PD_OK && !isfinite(x))
		st = pd_fail(err, PD_USAGE, "a value to test is not finite");
	if (st == PD_OK)
		st = hold_contrast(&f, c, &o, err);
	for (int k = 0; st == PD_OK && k < MOST_RESTARTS; k++) {
		best_contrast(&f);
		f.lower = false;
		m->held.kind = PD_HELD_CONTRAST;
		st = reach(&f, (x - o.shift) / o.scale, rise, err);
		m->held.kind = PD_HELD_NOTHING;
		if (!f.lower)
			break;
		st = find_least(&f, f.theta, err);
	}
	if (st == PD_OK)
		*p = pd_chisq_upper(*rise, 1.0);
	give_back(&f);
	return st;
}
