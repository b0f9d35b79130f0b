/*
 * censored_adjust.c - the profile over scale and sd, adjusted for the columns
 * that were fitted, and what intervals need of it. In the letters of
 * censored_mixed_own.h, psi = (ln h[, ln w]):
 *   A(psi) = l(d^, psi) - ln|J| / 2,   J = h^2 (-l_dd) of gamma, at d^(psi)
 *   slopes of l: h l_h and l_ln w; its curvature that of the profile,
 *   l_psi,psi - l_psi,d l_dd^-1 l_d,psi; those of ln|J| by differences.
 * Covariance of gamma: J^-1 + B V B', V = (-A'')^-1, B = d gamma^ / d psi.
 */
#include "stats/censored_mixed_own.h"
#include "stats/nested_dense.h"

#include <math.h>
#include <string.h>

static const double STEP = 3e-4; /* of ln h, ln w */
static const double starts[] = { 0.5, 0.1, 2 }; /* w */
enum { STARTS = sizeof starts / sizeof *starts, MOST_CALLS = 300 };
static const double HALF_LOG_TWO_PI = 0.918938533204672741780329736405618;

struct profile {
	struct pd_censored_search *s;
	bool adjusted;
	double *from;      /* p + 1: d and h a search for d begins from      */
	double *par, *gradient, *hessian; /* p + 2 and square: at the best d */
	double *all_gradient, *all_hessian; /* the same, scratch             */
	double *info, *chol, *inner, *inner_gradient, *inner_hessian;
	double log_det, likelihood;
	double furthest;   /* ln w beyond which there is no top              */
};

static pd_status profile_new(struct pd_censored_search *s,
                             struct profile *pr, pd_error *err)
{
	size_t p = s->g.p, m = p + 2;
	struct { double **at; size_t n; } want[] = {
		{ &pr->from, m }, { &pr->par, m }, { &pr->gradient, m },
		{ &pr->hessian, m * m }, { &pr->all_gradient, m },
		{ &pr->all_hessian, m * m }, { &pr->info, p * p },
		{ &pr->chol, p * p }, { &pr->inner, m },
		{ &pr->inner_gradient, p }, { &pr->inner_hessian, p * p },
	};

	pr->s = s;
	pr->adjusted = s->adjusted;
	pr->furthest = INFINITY;
	for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
		*want[i].at = PD_NEW(s->arena, double, want[i].n);
		if (!*want[i].at)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	memcpy(pr->from, s->par, (p + 1) * sizeof *pr->from);
	return PD_OK;
}

/* The likelihood over d alone. */
static void over_d(void *with, const double *d, double *value,
                   double *gradient, double *hessian)
{
	struct profile *pr = with;
	size_t p = pr->s->g.p, used = p + 1 + pr->s->g.free_sd;

	memcpy(pr->par, d, p * sizeof *d);
	pd_censored_groups_likelihood(&pr->s->g, pr->par, value,
	                              pr->all_gradient,
	                              hessian ? pr->all_hessian : NULL);
	memcpy(gradient, pr->all_gradient, p * sizeof *gradient);
	for (size_t j = 0; hessian && j < p; j++)
		memcpy(hessian + j * p, pr->all_hessian + j * used,
		       p * sizeof *hessian);
}

/* The best d at psi, everything there; false when there is none. */
static bool profile_at(struct profile *pr, const double *psi)
{
	struct pd_censored_search *s = pr->s;
	size_t p = s->g.p, used = p + 1 + s->g.free_sd;
	pd_newton_record record;
	pd_arena_mark mark = pd_arena_here(s->arena);
	double h = exp(psi[0]);
	pd_status st;

	pr->par[p] = h;
	pr->par[p + 1] = s->g.free_sd ? psi[1] : -INFINITY;
	for (size_t j = 0; j < p; j++)
		pr->inner[j] = pr->from[j] * h / pr->from[p];
	st = pd_newton_search(s->arena, over_d, pr, p, pr->inner,
	                      pr->inner_gradient, pr->inner_hessian, &record,
	                      NULL);
	pd_arena_rewind(s->arena, mark);
	if (st != PD_OK || record.end != PD_NEWTON_TOP)
		return false;
	memcpy(pr->par, pr->inner, p * sizeof *pr->par);
	memcpy(pr->gradient, pr->all_gradient, used * sizeof *pr->gradient);
	memcpy(pr->hessian, pr->all_hessian,
	       used * used * sizeof *pr->hessian);
	for (size_t j = 0; j < p * p; j++)
		pr->info[j] = -h * h * pr->inner_hessian[j];
	memcpy(pr->chol, pr->info, p * p * sizeof *pr->chol);
	if (!pd_chol(pr->chol, p, p))
		return false;
	pr->log_det = pd_chol_log_det(pr->chol, p, p);
	pr->likelihood = record.value;
	return true;
}

/* ln|J| at psi moved by a, b steps; NaN when it cannot be had. */
static double log_det_beside(struct profile *pr, const double *psi, double a,
                             double b)
{
	double moved[2] = { psi[0] + a * STEP, psi[1] + b * STEP };

	return profile_at(pr, moved) ? pr->log_det : NAN;
}

/* Slopes and curvature of -ln|J| / 2 added, by differences. */
static void add_adjustment(struct profile *pr, const double *psi,
                           double *gradient, double *hessian)
{
	size_t k = 1 + pr->s->g.free_sd;
	double here = pr->log_det, at[4], both, against;

	for (size_t i = 0; i < k; i++) {
		at[2 * i] = log_det_beside(pr, psi, i ? 0 : 1, i ? 1 : 0);
		at[2 * i + 1] = log_det_beside(pr, psi, i ? 0 : -1,
		                               i ? -1 : 0);
		gradient[i] -= (at[2 * i] - at[2 * i + 1]) / (4 * STEP);
		hessian[i * k + i] -= (at[2 * i] - 2 * here + at[2 * i + 1]) /
		                      (2 * STEP * STEP);
	}
	if (k == 1)
		return;
	both = log_det_beside(pr, psi, 1, 1);
	against = log_det_beside(pr, psi, -1, -1);
	both += against + 2 * here - at[0] - at[1] - at[2] - at[3];
	hessian[1] -= both / (4 * STEP * STEP);
	hessian[2] = hessian[1];
}

/* Column of l_d,psi: by ln h or ln w. */
static double cross(const struct profile *pr, size_t j, size_t i)
{
	size_t p = pr->s->g.p, used = p + 1 + pr->s->g.free_sd;

	return pr->hessian[j * used + p + i] * (i ? 1 : pr->par[p]);
}

/* out[p] = d d^ / d psi_i = (-l_dd)^-1 l_d,psi; at the last profile_at. */
static void path_of_d(const struct profile *pr, size_t i, double *out)
{
	size_t p = pr->s->g.p;
	double h = pr->par[p];

	for (size_t j = 0; j < p; j++)
		out[j] = h * h * cross(pr, j, i);
	pd_chol_solve(pr->chol, p, p, out);
}

/* Slopes and curvature of the profile of l at the last profile_at. */
static void profile_slopes(struct profile *pr, double *gradient,
                           double *hessian)
{
	size_t p = pr->s->g.p, k = 1 + pr->s->g.free_sd, used = p + k;
	double h = pr->par[p], *path = pr->inner;

	gradient[0] = h * pr->gradient[p];
	if (k == 2)
		gradient[1] = pr->gradient[p + 1];
	for (size_t i = 0; i < k; i++) {
		path_of_d(pr, i, path);
		for (size_t e = 0; e < k; e++) {
			double sum = pr->hessian[(p + i) * used + p + e] *
			             (i ? 1 : h) * (e ? 1 : h);

			for (size_t j = 0; j < p; j++)
				sum += path[j] * cross(pr, j, e);
			hessian[i * k + e] = sum;
		}
	}
	hessian[0] += gradient[0];
}

/* pd_newton_function over psi; without `hessian`, the value alone. */
static void over_psi(void *with, const double *psi, double *value,
                     double *gradient, double *hessian)
{
	struct profile *pr = with;

	*value = NAN;
	if (++pr->s->calls > MOST_CALLS)
		return;
	if ((pr->s->g.free_sd && psi[1] > pr->furthest) || !profile_at(pr, psi))
		return;
	*value = pr->likelihood - (pr->adjusted ? 0.5 * pr->log_det : 0);
	if (!hessian)
		return;
	profile_slopes(pr, gradient, hessian);
	if (pr->adjusted)
		add_adjustment(pr, psi, gradient, hessian);
}

/* ---- the search --------------------------------------------------------- */

struct top {
	double value, psi[2];
	bool found, at_zero;
	pd_newton_record record;
};

static pd_status climb_psi(struct profile *pr, double h, double w,
                           struct top *top, pd_error *err)
{
	struct pd_censored_search *s = pr->s;
	pd_arena_mark mark = pd_arena_here(s->arena);
	double psi[2] = { log(h), log(w) }, gradient[2], hessian[4];
	pd_newton_record *r = &top->record;
	pd_status st;

	s->calls = 0;
	s->g.free_sd = w > 0;
	*top = (struct top){ 0 };
	memset(s->g.mode, 0, s->g.n_groups * sizeof *s->g.mode);
	st = pd_newton_search(s->arena, over_psi, pr, 1 + s->g.free_sd, psi,
	                      gradient, hessian, r, err);
	pd_arena_rewind(s->arena, mark);
	top->found = st == PD_OK && r->end == PD_NEWTON_TOP;
	top->at_zero = st == PD_OK && r->end == PD_NEWTON_RUNAWAY &&
	               r->furthest == 1 && psi[1] < 0;
	top->value = r->value;
	memcpy(top->psi, psi, sizeof psi);
	return st;
}

/* False: no top. */
static bool find_top(struct profile *pr, double h, double w, struct top *out)
{
	struct top zero, try;
	bool settled = false;

	if (climb_psi(pr, 1, 0, &zero, NULL) != PD_OK || !zero.found)
		return false;
	for (size_t k = 0; k <= STARTS; k++) {
		double from = k ? starts[k - 1] : w;

		if (!(from > 0) ||
		    climb_psi(pr, k ? sqrt(1 + from * from) : h, from, &try,
		              NULL) != PD_OK)
			continue;
		settled = settled || try.found || try.at_zero;
		if (try.found && try.value > zero.value) {
			*out = try;
			return true;
		}
		if (!try.found && !try.at_zero)
			return false;
	}
	*out = zero;
	pr->s->g.free_sd = false;
	return settled;
}

pd_status pd_censored_adjust(struct pd_censored_search *s, pd_error *err)
{
	size_t p = s->g.p, before;
	struct profile pr;
	struct top top;
	bool ml_sd = s->g.free_sd;
	double h = s->par[p], w = ml_sd ? exp(s->par[p + 1]) : 0;
	pd_status st;

	s->adjusted = true;
	st = profile_new(s, &pr, err);
	if (st != PD_OK)
		return st;
	pr.furthest = log(3 + 3 * w);
	do {
		if (!find_top(&pr, h, w, &top) || !profile_at(&pr, top.psi)) {
			s->adjusted = false;
			s->g.free_sd = ml_sd;
			return ml_sd ? pd_censored_choose(s, err) : PD_OK;
		}
		memcpy(s->par, pr.par, (p + 2) * sizeof *s->par);
		s->record = top.record;
		before = s->rung;
		h = s->par[p];
		w = s->g.free_sd ? exp(top.psi[1]) : 0;
		if (s->g.free_sd)
			st = pd_censored_choose(s, err);
	} while (st == PD_OK && s->rung != before);
	return st;
}

/* ---- the answer --------------------------------------------------------- */

static pd_status answer_room(struct pd_censored_search *s,
                             pd_censored_mixed_fit *fit, pd_error *err)
{
	size_t p = s->g.p, f = fit->n_free;

	fit->beta = PD_NEW(s->arena, double, p);
	fit->covariance = PD_NEW(s->arena, double, f * f);
	fit->fixed = PD_NEW(s->arena, double, p * p);
	fit->fixed_slope = PD_NEW(s->arena, double, 2 * p * p);
	fit->effect = PD_NEW(s->arena, double, s->g.n_groups);
	if (!fit->beta || !fit->covariance || !fit->fixed ||
	    !fit->fixed_slope || !fit->effect)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

/* scale0^2 R^-1 m R'^-1, m[p*p] of gamma. */
static void to_beta(const struct pd_censored_search *s, double *m)
{
	size_t p = s->g.p;

	for (size_t j = 0; j < p * p; j++)
		m[j] *= s->scale0 * s->scale0;
	pd_basis_back_covariance(&s->basis, m, p);
}

/* Slopes of J^-1 by ln h, ln w, turned into those by ln scale, ln sd. */
static bool slopes_of_fixed(struct profile *pr, const double *psi,
                            double *low, double *out)
{
	size_t p = pr->s->g.p, k = 1 + pr->s->g.free_sd, pp = p * p;

	for (size_t i = 0; i < k; i++) {
		double up[2] = { psi[0] + (i ? 0 : STEP),
			         psi[1] + (i ? STEP : 0) };
		double down[2] = { psi[0] - (i ? 0 : STEP),
			           psi[1] - (i ? STEP : 0) };

		if (!profile_at(pr, down))
			return false;
		pd_chol_inverse(pr->chol, p, p, low);
		if (!profile_at(pr, up))
			return false;
		pd_chol_inverse(pr->chol, p, p, out + i * pp);
		for (size_t j = 0; j < pp; j++)
			out[i * pp + j] = (out[i * pp + j] - low[j]) /
			                  (2 * STEP);
		to_beta(pr->s, out + i * pp);
	}
	for (size_t j = 0; j < pp; j++)
		out[j] = -out[j] - (k == 2 ? out[pp + j] : 0);
	return true;
}

/*
 * Covariance of (gamma, ln scale[, ln sd]) from V of psi: T = (-1 0; -1 1),
 * B's columns (d d^/d ln h - d^) / h and (d d^/d ln w) / h.
 */
static void join(const struct profile *pr, const double *v, double *path,
                 pd_censored_mixed_fit *fit)
{
	size_t p = fit->p, f = fit->n_free, k = f - p;
	double *c = fit->covariance, h = pr->par[p];
	const double turn[2][2] = { { -1, 0 }, { -1, 1 } };
	double *b[2] = { path, path + p };

	for (size_t i = 0; i < k; i++) {
		path_of_d(pr, i, b[i]);
		for (size_t j = 0; j < p; j++)
			b[i][j] = (b[i][j] - (i ? 0 : pr->par[j])) / h;
	}
	for (size_t j = 0; j < p; j++)
		for (size_t e = 0; e < p; e++)
			c[j * f + e] = fit->fixed[j * p + e];
	for (size_t a = 0; a < k; a++)
		for (size_t e = 0; e < k; e++) {
			double vae = v[a * k + e];

			for (size_t j = 0; j < p; j++)
				for (size_t i = 0; i < p; i++)
					c[j * f + i] += b[a][j] * vae * b[e][i];
			for (size_t i = 0; i < k; i++) {
				for (size_t j = 0; j < p; j++) {
					c[j * f + p + i] += b[a][j] * vae *
					                    turn[i][e];
					c[(p + i) * f + j] =
					    c[j * f + p + i];
				}
				for (size_t j = 0; j < k; j++)
					c[(p + i) * f + p + j] += vae *
					    turn[i][a] * turn[j][e];
			}
		}
}

static void numbers(const struct pd_censored_search *s,
                    const struct profile *pr, pd_censored_mixed_fit *fit)
{
	size_t p = fit->p;
	double h = pr->par[p], log_r = 0;

	for (size_t j = 0; j < p; j++) {
		fit->beta[j] = s->scale0 * pr->par[j] / h;
		log_r += log(s->basis.r[j * p + j]);
	}
	pd_basis_back(&s->basis, fit->beta, fit->beta);
	for (size_t j = 0; j < p; j++)
		fit->beta[j] += s->plain.beta[j];
	fit->scale = s->scale0 / h;
	fit->sd = s->g.free_sd ? exp(pr->par[p + 1]) * fit->scale : 0;
	fit->log_likelihood = pr->likelihood + s->constant;
	fit->criterion = fit->log_likelihood;
	fit->adjusted = pr->adjusted;
	if (pr->adjusted)
		fit->criterion += (double)p * (HALF_LOG_TWO_PI +
		                               log(s->scale0)) - log_r -
		                  0.5 * pr->log_det;
	fit->n_groups = s->g.n_groups;
	fit->code = s->g.code;
	for (size_t g = 0; g < fit->n_groups; g++)
		fit->effect[g] = fit->sd * s->g.mode[g];
	fit->nodes = s->g.points;
	fit->even = s->g.free_sd && !s->g.nodes;
	fit->node_change = s->g.free_sd ? s->node_change : 0;
	fit->iterations = s->record.iterations;
	fit->newton_step = s->record.step;
}

pd_status pd_censored_answer(struct pd_censored_search *s,
                             pd_censored_mixed_fit *fit, pd_error *err)
{
	size_t p = s->g.p, k = 1 + s->g.free_sd, f = p + k;
	double psi[2] = { log(s->par[p]), s->par[p + 1] };
	double gradient[2], curvature[4], v[4], value;
	double *work = PD_NEW(s->arena, double, p * p + 2 * p);
	struct profile pr;
	pd_status st = profile_new(s, &pr, err);

	fit->n_free = f;
	if (st == PD_OK)
		st = answer_room(s, fit, err);
	if (st == PD_OK && !work)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st != PD_OK)
		return st;
	s->calls = 0;
	over_psi(&pr, psi, &value, gradient, curvature);
	if (isfinite(value))
		st = pd_newton_covariance(s->arena, curvature, k, v, err);
	if (!isfinite(value) ||
	    !slopes_of_fixed(&pr, psi, work, fit->fixed_slope) ||
	    !profile_at(&pr, psi))
		st = pd_fail(err, PD_NUMERIC, "no fit beside the end of the "
		             "search");
	if (st != PD_OK)
		return st;
	numbers(s, &pr, fit);
	pd_chol_inverse(pr.chol, p, p, fit->fixed);
	join(&pr, v, work, fit);
	for (size_t j = 0; j < f; j++)
		for (size_t i = 0; i < f; i++)
			fit->covariance[j * f + i] *= (j < p ? s->scale0 : 1) *
			                              (i < p ? s->scale0 : 1);
	pd_basis_back_covariance(&s->basis, fit->covariance, f);
	to_beta(s, fit->fixed);
	fit->se_log_scale = sqrt(fit->covariance[p * f + p]);
	fit->se_log_sd = k == 2 ? sqrt(fit->covariance[f * f - 1]) : NAN;
	return PD_OK;
}
