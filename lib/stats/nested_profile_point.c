/*
 * nested_profile_point.c - points of a profile and the search for its limits,
 * see nested_profile.c.
 */
#include "stats/nested_dense.h"
#include "stats/nested_profile_own.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { MOST_POINTS = 100 };
/* Up to these: look around. Points of a model with factors are dearer. */
enum { FEW_ROWS = 5000, FEW_ACROSS = 1000, FEW_GROUPS = 50 };
static const double far_off = 1e9; /* errors away: there is no limit       */

/* ---- two hollows ------------------------------------------------------ */

/* With few groups the deviance may have two hollows. */
static bool may_be_double(const struct pd_nested *m)
{
	size_t least = m->n;

	for (size_t k = 0; k < m->depth; k++)
		if (m->level[k].n_groups < least)
			least = m->level[k].n_groups;
	return m->depth > 0 && least <= FEW_GROUPS &&
	       m->n <= (m->border ? FEW_ACROSS : FEW_ROWS);
}

/* from[] times `by`, and `fill` for variances of 0 that may move. */
static void elsewhere(const struct pd_nested *m, const double *from,
                      double by, double fill, double *theta)
{
	for (size_t e = 0; e < m->n_elements; e++)
		theta[e] = by * from[e];
	for (size_t k = 0; k < m->depth; k++)
		for (size_t j = 0; j < m->level[k].q; j++) {
			size_t d = diagonal(&m->level[k], j);

			if (!(theta[d] > 0.0) &&
			    !kept_zero(m, &m->level[k], j))
				theta[d] = fill;
		}
}

/* Start k of those tried around f->theta: wider, narrower, the whole model's,
 * and without each level in turn. False when there is none such. */
static bool start_around(const struct pd_profiled *f, size_t k, double *theta)
{
	const struct pd_nested *m = f->m;
	const double *whole = f->least->theta[f->reml];

	if (k == 0) {
		elsewhere(m, f->theta, 4.0, 0.7, theta);
	} else if (k == 1) {
		elsewhere(m, f->theta, 0.2, 0.05, theta);
	} else if (k == 2) { /* a row kept at 0 is not 0 there */
		elsewhere(m, whole, 1.0, 0.3, theta);
		return m->held.kind != PD_HELD_ZERO;
	} else {
		const struct pd_level *lv = &m->level[k - 3];

		elsewhere(m, f->theta, 1.0, 0.3, theta);
		memset(theta + lv->first, 0, lv->n_elements * sizeof *theta);
		return m->held.kind != PD_HELD_SD || m->held.level != k - 3;
	}
	return true;
}

/* A lower point than *pt from other starts, if there is one. */
static void look_around(struct pd_profiled *f, struct pd_point *pt)
{
	double slope = f->m->held.slope, theta[PD_MAX_E];
	struct pd_point other;

	for (size_t k = 0; k < 3 + f->m->depth; k++)
		if (start_around(f, k, theta) &&
		    pd_fit_held(f->m, theta, &other, NULL) == PD_OK &&
		    other.value < pt->value - 1e-8 * (1.0 + fabs(pt->value))) {
			*pt = other;
			slope = f->m->held.slope;
		}
	f->m->held.slope = slope;
}

/* ---- borrowing the model ---------------------------------------------- */

pd_status pd_held_least(struct pd_profiled *f, const double *start,
                            pd_error *err)
{
	struct pd_point pt;
	pd_status st = pd_fit_held(f->m, start, &pt, err);

	if (st != PD_OK)
		return st;
	memcpy(f->theta, pt.theta, sizeof f->theta);
	if (may_be_double(f->m))
		look_around(f, &pt);
	f->least->made[f->reml] = true;
	f->least->deviance[f->reml] = pt.value;
	memcpy(f->least->theta[f->reml], pt.theta, sizeof pt.theta);
	return PD_OK;
}

pd_status pd_held_borrow(struct pd_profiled *f, struct pd_nested *m, bool reml,
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
	*f = (struct pd_profiled){ .m = m, .reml = reml, .own_reml = m->reml,
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
		st = pd_held_least(f, m->theta, err);
	return st;
}

void pd_held_return(struct pd_profiled *f)
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

void pd_held_stand(struct pd_profiled *f)
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

double *pd_held_own_t(const struct pd_profiled *f)
{
	const struct pd_held *h = &f->m->held;
	struct pd_level *lv = &f->m->level[h->level];

	return &lv->T[h->column * (lv->q + 1)];
}

/* From the last point to `x`, as the others would go were they unmoved. */
static void guess(struct pd_profiled *f, double x)
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
	if (*pd_held_own_t(f) > 0.0) {
		for (size_t b = 0; b < lv->q; b++) {
			t[own * lv->q + b] *= ratio;
			t[b * lv->q + own] *= ratio;
		}
	} else {
		*pd_held_own_t(f) = x * x / (f->s * f->s);
	}
	pd_bound_theta(lv, t, f->theta);
}

pd_status pd_held_measure(struct pd_profiled *f, bool around, double *rise,
                         pd_error *err)
{
	double least = f->least->deviance[f->reml];
	struct pd_point pt;
	pd_status st = pd_fit_held(f->m, f->theta, &pt, err);

	if (st != PD_OK)
		return st;
	if (around && may_be_double(f->m))
		look_around(f, &pt);
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

pd_status pd_held_reach(struct pd_profiled *f, double x, bool around,
                        double *rise, pd_error *err)
{
	guess(f, x);
	f->m->held.at = f->x = x;
	return pd_held_measure(f, around, rise, err);
}

/* Where the straight line through z(x) meets the height wanted. */
static double next_x(const struct pd_profiled *f, double x, double rise)
{
	double z = sqrt(rise);

	return x + (sqrt(f->want) - z) * 2.0 * z / f->m->held.slope;
}

pd_status pd_held_limit(struct pd_profiled *f, enum pd_holding kind,
                        double step, double edge, double *limit,
                        pd_error *err)
{
	double in = f->best, out = edge, x = in + step, rise, next;
	bool around = false;
	pd_status st;

	pd_held_stand(f);
	f->x = f->best;
	f->m->held.kind = kind;
	for (int k = 0; k < MOST_POINTS; k++) {
		st = pd_held_reach(f, x, around, &rise, err);
		if (st != PD_OK)
			return st;
		next = next_x(f, x, rise);
		if (fabs(next - x) <= 1e-6 * fabs(x - f->best)) {
			*limit = next;
			if (around || !may_be_double(f->m))
				return PD_OK;
			around = true; /* is there nothing lower here? */
			x = next;
			continue;
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
