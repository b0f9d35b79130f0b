/*
 * nested_profile_share.c - profile limits of a share of the variance, see
 * nested_profile.h.
 *
 * In t_j, the variance of level j over the residual's, a given share rho is a
 * linear condition:
 *   c't = rho,   c_j = 1 - rho for the levels shared, -rho for those below,
 * so at each trial value the least deviance on that plane, t >= 0, is found by
 * Newton steps along it from the exact gradient and Hessian by t. The fixed
 * effects and s^2 follow by algebra; no row is read.
 *
 * The outer root is sought in x = -ln(1 - rho), from 0 upwards, on
 * z = sqrt(rise); with l the multiplier of the plane the deviance along it has
 * the slope
 *   dd/dx = (1 - rho) l (1 + sum t).
 */
#include "stats/nested_dense.h"
#include "stats/nested_profile_own.h"

#include <math.h>
#include <string.h>

enum { MOST_STEPS = 200, MOST_HALVES = 60, MOST_POINTS = 100,
       MOST_RESTARTS = 3, STARTS = 3 };

struct plane {
	struct pd_profiled *f;
	size_t at, n;          /* levels 0 .. at are shared; n of them in all */
	double unit[PD_NESTED_LEVELS]; /* t_j of internal T_j: T_j / unit^2   */
	double t[PD_NESTED_LEVELS], c[PD_NESTED_LEVELS], rho;
	double d, g[PD_NESTED_LEVELS]; /* deviance and gradient by t          */
	double h[PD_NESTED_LEVELS * PD_NESTED_LEVELS];
	double slope;          /* dd/dx at the least point                    */
};

static double total(const struct plane *s, const double *t)
{
	double sum = 1;

	for (size_t j = 0; j < s->n; j++)
		sum += t[j];
	return sum;
}

static double share(const struct plane *s, const double *t)
{
	double sum = 0;

	for (size_t j = 0; j <= s->at; j++)
		sum += t[j];
	return sum / total(s, t);
}

/* Deviance at t; INFINITY where there is none. */
static double deviance(struct plane *s, const double *t, int order)
{
	struct pd_nested *m = s->f->m;
	struct pd_point pt;

	for (size_t j = 0; j < s->n; j++)
		pt.theta[j] = s->unit[j] * sqrt(t[j]);
	if (!pd_point_at(m, &pt, order))
		return INFINITY;
	for (size_t i = 0; order == 2 && i < s->n; i++) {
		double ui = s->unit[i] * s->unit[i];

		s->g[i] = ui * pt.grad_t[i];
		for (size_t j = 0; j < s->n; j++)
			s->h[i * s->n + j] = ui * s->unit[j] * s->unit[j] *
			                     pt.hess_t[i * m->n_elements + j];
	}
	return pt.value;
}

/* ---- the least point of a plane ---------------------------------------- */

/* Which t may move: not 0, or 0 and pulled upwards along the plane. The one
 * that takes up the others' steps is the largest by its weight. */
static size_t find_free(const struct plane *s, size_t *free_, size_t *pivot)
{
	size_t n = 0, r = 0;

	for (size_t j = 1; j < s->n; j++)
		if (fabs(s->c[j]) * s->t[j] > fabs(s->c[r]) * s->t[r])
			r = j;
	*pivot = r;
	for (size_t j = 0; j < s->n; j++) {
		double along = s->g[j] - s->g[r] * s->c[j] / s->c[r];

		if (j != r && !(s->rho == 0 && j <= s->at) &&
		    (s->t[j] > 0 || along < 0))
			free_[n++] = j;
	}
	return n;
}

/* Newton direction along the plane into p[]; with rho = 0 the plane is
 * t_0 .. t_at = 0, and those below it move freely. */
static void direction(const struct plane *s, double *p, double *decrement)
{
	size_t n = s->n, fr[PD_NESTED_LEVELS], r, nf = find_free(s, fr, &r);
	double h[PD_MAX_BLOCK * 4], vec[PD_MAX_BLOCK * 4];
	double val[PD_NESTED_LEVELS], g[PD_NESTED_LEVELS];
	double unit[PD_NESTED_LEVELS], b[PD_NESTED_LEVELS];

	for (size_t i = 0; i < nf; i++) {
		b[i] = s->rho == 0 ? 0 : -s->c[fr[i]] / s->c[r];
		g[i] = s->g[fr[i]] + b[i] * s->g[r];
	}
	for (size_t i = 0; i < nf; i++)
		for (size_t j = 0; j < nf; j++)
			h[i * nf + j] = s->h[fr[i] * n + fr[j]] +
			                b[i] * s->h[r * n + fr[j]] +
			                b[j] * s->h[fr[i] * n + r] +
			                b[i] * b[j] * s->h[r * n + r];
	for (size_t i = 0; i < nf; i++)
		unit[i] = 1 / sqrt(fmax(fabs(h[i * (nf + 1)]), 1e-300));
	for (size_t i = 0; i < nf; i++)
		for (size_t j = 0; j < nf; j++)
			h[i * nf + j] *= unit[i] * unit[j];
	memset(p, 0, n * sizeof *p);
	*decrement = 0;
	if (nf)
		pd_eigen(h, nf, val, vec);
	for (size_t k = 0; k < nf; k++) {
		double along = 0, by = fmax(fabs(val[k]), 1e-9);

		for (size_t i = 0; i < nf; i++)
			along += vec[i * nf + k] * unit[i] * g[i];
		*decrement += along * along / by;
		for (size_t i = 0; i < nf; i++)
			p[fr[i]] -= vec[i * nf + k] * unit[i] * along / by;
	}
	for (size_t i = 0; i < nf; i++)
		p[r] += b[i] * p[fr[i]];
}

/* One step that lowers the deviance; false when there is none. */
static bool step(struct plane *s, const double *p)
{
	double by = 1, to[PD_NESTED_LEVELS], d;
	size_t wall = s->n;

	for (size_t j = 0; j < s->n; j++)
		if (p[j] < 0 && s->t[j] + by * p[j] < 0) {
			by = -s->t[j] / p[j];
			wall = j;
		}
	for (int k = 0; k < MOST_HALVES; k++, by *= 0.5, wall = s->n) {
		for (size_t j = 0; j < s->n; j++)
			to[j] = j == wall ? 0 : fmax(0, s->t[j] + by * p[j]);
		d = deviance(s, to, 0);
		if (d < s->d) {
			memcpy(s->t, to, sizeof to);
			return true;
		}
	}
	return false;
}

/* From s->t on the plane to its least point. */
static pd_status descend(struct plane *s, pd_error *err)
{
	double p[PD_NESTED_LEVELS], decrement;

	for (int k = 0; k < MOST_STEPS; k++) {
		s->d = deviance(s, s->t, 2);
		if (!isfinite(s->d))
			break;
		direction(s, p, &decrement);
		if (decrement < 1e-11 || !step(s, p)) {
			if (decrement > 1e-5)
				break;
			s->f->fits++;
			return PD_OK;
		}
	}
	return pd_fail(err, PD_NUMERIC, "no least deviance at a share of the "
	               "variance of %.4g", s->rho);
}

/* Onto the plane of rho: those shared keep their proportions (`way` 0), or
 * the outermost (1) or the innermost (2) of them takes all. */
static void land(struct plane *s, double rho, int way)
{
	double above = 0, below = 1;

	for (size_t j = 0; j < s->n; j++) {
		s->c[j] = j <= s->at ? 1 - rho : -rho;
		*(j <= s->at ? &above : &below) += s->t[j];
	}
	s->rho = rho;
	for (size_t j = 0; j <= s->at; j++) {
		double part = way == 0 && above > 0 ? s->t[j] / above
		              : way == 2 ? j == s->at : j == 0;

		s->t[j] = part * below * rho / (1 - rho);
	}
}

/* rise at rho, from s->t and, with few rows, from elsewhere too. */
static pd_status reach(struct plane *s, double rho, double *rise,
                       pd_error *err)
{
	double least = s->f->least->deviance[s->f->reml];
	int ways = s->f->m->n <= 5000 && s->at > 0 ? STARTS : 1;
	struct plane best = { .d = INFINITY };
	struct plane from = *s;
	pd_status st = PD_NUMERIC;

	for (int way = 0; way < ways; way++) {
		*s = from;
		land(s, rho, way);
		if (descend(s, err) == PD_OK && s->d < best.d) {
			best = *s;
			st = PD_OK;
		}
	}
	if (st != PD_OK)
		return st;
	*s = best;
	*rise = s->d - least;
	if (*rise < -1e-9 * (1 + fabs(least))) {
		s->f->lower = true;
		for (size_t j = 0; j < s->n; j++)
			s->f->theta[j] = s->unit[j] * sqrt(s->t[j]);
		return pd_fail(err, PD_NUMERIC, "a lower deviance was met on "
		               "the way to a profile limit");
	}
	*rise = fmax(*rise, 0);
	return PD_OK;
}

/* Slope of the least deviance by x at s->t. */
static double slope_of(const struct plane *s)
{
	size_t free_[PD_NESTED_LEVELS], r;

	find_free(s, free_, &r);
	return (1 - s->rho) * s->g[r] / s->c[r] * total(s, s->t);
}

/* ---- limits ------------------------------------------------------------- */

static void stand(struct plane *s)
{
	const double *theta = s->f->least->theta[s->f->reml];

	for (size_t j = 0; j < s->n; j++)
		s->t[j] = pow(theta[j] / s->unit[j], 2);
}

/* The limit on one side (way -1 or 1) of the best x, as rho. */
static pd_status limit(struct plane *s, double best, int way, double *out,
                       pd_error *err)
{
	double in = best, edge = way < 0 ? 0 : INFINITY, rise;
	double want = s->f->want;
	double x = way < 0 ? 0.5 * best : best + fmax(0.1, 0.2 * best);

	stand(s);
	for (int k = 0; k < MOST_POINTS; k++) {
		pd_status st = reach(s, -expm1(-x), &rise, err);
		double next, z = sqrt(rise);

		if (st != PD_OK)
			return st;
		next = x + (sqrt(want) - z) * 2 * z / slope_of(s);
		if (fabs(next - x) <= 1e-8 * (1e-3 + fabs(x - best)) ||
		    fabs(edge - in) <= 1e-13 * (1 + x)) {
			*out = -expm1(-next);
			return PD_OK;
		}
		*(rise < want ? &in : &edge) = x;
		if ((next - in) * (next - edge) < 0)
			x = isinf(edge) ? fmin(next, in + 4 * (in - best) + 0.1)
			                : next;
		else
			x = isinf(edge) ? in + 2 * (in - best) + 0.1
			                : 0.5 * (in + edge);
		if (!(x < 30))
			break;
	}
	return pd_fail(err, PD_NUMERIC, "no profile limit: the deviance does "
	               "not rise by %.4g", want);
}

static pd_status limits(struct plane *s, pd_profile *out, pd_error *err)
{
	double best, at_zero;
	pd_status st;

	stand(s);
	out->e.value = share(s, s->t);
	best = -log1p(-out->e.value);
	st = best > 0 ? reach(s, 0, &at_zero, err) : PD_OK;
	out->low_at_zero = !(best > 0) || at_zero <= s->f->want;
	if (st == PD_OK && !out->low_at_zero)
		st = limit(s, best, -1, &out->e.low, err);
	if (st == PD_OK)
		st = limit(s, best, 1, &out->e.high, err);
	return st;
}

/* Intercepts alone, one after the other. */
static bool is_plain(const struct pd_nested *m)
{
	for (size_t k = 0; k < m->depth; k++)
		if (m->level[k].q != 1)
			return false;
	return !m->border;
}

pd_status pd_nested_profile_share(pd_nested *m, size_t at, bool reml,
                                  double level, pd_profile *out,
                                  pd_error *err)
{
	struct pd_profiled f = { 0 };
	struct plane s = { .f = &f, .at = at, .n = m->depth };
	pd_status st = pd_held_borrow(&f, m, reml, level, err);

	if (st == PD_OK && at >= m->depth)
		st = pd_fail(err, PD_USAGE, "level %zu, expected one of %zu",
		             at + 1, m->depth);
	if (st == PD_OK && !is_plain(m))
		st = pd_fail(err, PD_REFUSED, "a share of the variance is that "
		             "of a tree of intercepts alone");
	for (size_t k = 0; st == PD_OK && k < s.n; k++)
		s.unit[k] = m->scale[m->level[k].col[0]];
	for (int k = 0; st == PD_OK && k < MOST_RESTARTS; k++) {
		*out = (pd_profile){ .e = { .se = NAN, .p = NAN } };
		f.lower = false;
		st = limits(&s, out, err);
		if (!f.lower)
			break;
		st = pd_held_least(&f, f.theta, err);
	}
	if (st == PD_OK) {
		out->e.df = INFINITY;
		out->e.level = level;
		out->deviance = f.least->deviance[reml];
		out->fits = f.fits;
	}
	pd_held_return(&f);
	return st;
}
