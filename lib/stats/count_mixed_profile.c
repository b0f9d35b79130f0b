/*
 * count_mixed_profile.c - profile likelihood limits of grouped counts.
 */
#include "stats/basis.h"
#include "stats/count_groups.h"
#include "stats/count_limit.h"
#include "stats/count_mixed.h"
#include "stats/newton.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { NODES_AT_ZERO = 15, FEWEST_SHARES = 5 };
static const double NOTHING = -20; /* ln of an sd that is 0              */
static const double SMALL_SD = -7; /* ln                                 */
static const double FURTHEST_SD = 6, LEAST_THETA = -40;
static const double FIRST_SD = 1e-3, FIRST_STEP = 0.5, FIRST_THETA = 100;
static const double FURTHEST_THETA = 1e6; /* over the largest count      */

/* The parameters of a group model of which some are held. */
struct profile {
	pd_arena *arena;
	pd_count_groups g;
	pd_basis basis;
	size_t p;              /* columns beside a held contrast             */
	double *pivot, *offset; /* n, in the order of g: column of a held
	                          contrast, offset without it; NULL: none    */
	double *par;           /* p + 2: all of them                         */
	unsigned char held[2]; /* ln sd, ln theta                            */
	bool theta_free;       /* as asked for; g.free_theta: as it stands   */
	double furthest_theta;
	double *part, *gradient, *hessian, *all_gradient, *all_hessian;
	double cut;
};

/* ---- a search with some held -------------------------------------------- */

static size_t n_all(const struct profile *f)
{
	return f->p + 1 + f->g.free_theta;
}

static int is_held(const struct profile *f, size_t j)
{
	return j >= f->p && f->held[j - f->p];
}

/* A pd_newton_function over the parameters that are not held. */
static void likelihood(void *with, const double *par, double *value,
                       double *gradient, double *hessian)
{
	struct profile *f = with;
	size_t m = n_all(f), r = 0, n = 0;

	for (size_t j = 0; j < m; j++)
		n += !is_held(f, j);
	for (size_t j = 0; j < m; j++)
		if (!is_held(f, j))
			f->par[j] = par[r++];
	pd_count_groups_likelihood(&f->g, f->par, value, f->all_gradient,
	                           hessian ? f->all_hessian : NULL);
	r = 0;
	for (size_t j = 0; j < m; j++) {
		size_t c = 0;

		if (is_held(f, j))
			continue;
		gradient[r] = f->all_gradient[j];
		for (size_t k = 0; hessian && k < m; k++)
			if (!is_held(f, k))
				hessian[r * n + c++] =
				    f->all_hessian[j * m + k];
		r++;
	}
}

/* *furthest: which of all parameters ran away. */
static pd_status climb(struct profile *f, pd_newton_record *record,
                       size_t *furthest, pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(f->arena);
	size_t m = n_all(f), which[2] = { 0 }, n = 0;
	pd_status st;

	for (size_t j = 0; j < m; j++) {
		if (is_held(f, j))
			continue;
		if (j >= f->p)
			which[n - f->p] = j;
		f->part[n++] = f->par[j];
	}
	f->g.exact = f->g.rule.nodes < FEWEST_SHARES;
	st = pd_newton_search(f->arena, likelihood, f, n, f->part,
	                      f->gradient, f->hessian, record, err);
	if (st == PD_OK && record->end == PD_NEWTON_STUCK && !f->g.exact) {
		f->g.exact = true;
		st = pd_newton_search(f->arena, likelihood, f, n, f->part,
		                      f->gradient, f->hessian, record, err);
	}
	for (size_t j = 0, r = 0; j < m; j++)
		if (!is_held(f, j))
			f->par[j] = f->part[r++];
	*furthest = record->furthest < f->p ? record->furthest
	                                    : which[record->furthest - f->p];
	pd_arena_rewind(f->arena, mark);
	return st;
}

static void drop_theta(struct profile *f)
{
	f->g.free_theta = false;
	pd_count_table_set(&f->g.table, INFINITY);
}

/* The sd has gone to 0, where the search may wander in rounding. */
static int sd_left(const struct profile *f, const pd_newton_record *record,
                   size_t far)
{
	double at = f->par[f->p];

	return (record->end == PD_NEWTON_RUNAWAY && far == f->p && at < 0) ||
	       (record->end == PD_NEWTON_STUCK && at < SMALL_SD);
}

/* The top with what is held; sd and theta that run to their ends stand there.
 * What was held on entry is held on return. */
static pd_status top(struct profile *f, double *value, pd_error *err)
{
	size_t p = f->p, far = 0;
	double sd = f->par[p], theta = f->par[p + 1];
	int sd_held = f->held[0], done = 0;
	pd_newton_record record = { 0 };
	pd_status st = PD_OK;

	f->g.free_theta = f->theta_free;
	for (int k = 0; k < 3 && !done && st == PD_OK; k++) {
		st = climb(f, &record, &far, err);
		done = 1;
		if (st != PD_OK)
			break;
		if (f->g.free_theta && !f->held[1] &&
		    (f->par[p + 1] > f->furthest_theta ||
		     (record.end == PD_NEWTON_RUNAWAY && far == p + 1 &&
		      f->par[p + 1] > 0))) {
			drop_theta(f);
			f->par[p] = f->held[0] ? f->par[p] : sd;
			done = 0;
		} else if (!f->held[0] && sd_left(f, &record, far)) {
			f->held[0] = 1;
			f->par[p] = NOTHING;
			f->par[p + 1] = theta;
			done = 0;
		}
	}
	f->held[0] = (unsigned char)sd_held;
	if (!sd_held && f->par[p] <= NOTHING)
		f->par[p] = sd; /* the next search begins inside */
	if (f->theta_free && !f->g.free_theta)
		f->par[p + 1] = theta;
	if (st == PD_OK && record.end != PD_NEWTON_TOP)
		return pd_fail(err, PD_NUMERIC, "no convergence on the way to "
		               "a profile limit");
	*value = record.value;
	return st;
}

/* ---- the three profiles ------------------------------------------------- */

static pd_status contrast_height(void *with, double at, double *out,
                                 pd_error *err)
{
	struct profile *f = with;
	pd_status st;

	for (size_t i = 0; i < f->g.n; i++)
		f->g.offset[i] = f->offset[i] + at * f->pivot[i];
	st = top(f, out, err);
	*out -= f->cut;
	return st;
}

static pd_status sd_height(void *with, double at, double *out, pd_error *err)
{
	struct profile *f = with;
	pd_status st;

	f->held[0] = 1;
	f->par[f->p] = at;
	st = top(f, out, err);
	*out -= f->cut;
	return st;
}

static pd_status theta_height(void *with, double at, double *out,
                              pd_error *err)
{
	struct profile *f = with;
	pd_status st;

	f->held[1] = 1;
	f->par[f->p + 1] = at;
	st = top(f, out, err);
	*out -= f->cut;
	return st;
}

/* ---- setting up --------------------------------------------------------- */

/*
 * c'beta = v says beta_k = (v - sum of the others' c_j beta_j) / c_k, k the
 * largest part: columns x_j - x_k c_j / c_k are left, and x_k / c_k times v
 * joins the offset.
 */
static pd_status without(struct profile *f, const pd_mixed_spec *spec,
                         const pd_mixed_fit *fit, const double *c, double **x,
                         double *beta, pd_error *err)
{
	size_t n = spec->rows.n, p = spec->rows.p, k = 0, w = 0;
	const double *from = spec->rows.x;

	for (size_t j = 1; j < p; j++)
		if (fabs(c[j]) > fabs(c[k]))
			k = j;
	if (!(fabs(c[k]) > 0))
		return pd_fail(err, PD_USAGE, "the contrast is 0");
	*x = PD_NEW(f->arena, double, n * p);
	f->pivot = PD_NEW(f->arena, double, n);
	f->offset = PD_NEW(f->arena, double, n);
	if (!*x || !f->pivot || !f->offset)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			if (j != k)
				(*x)[w++] = from[i * p + j] -
				            from[i * p + k] * c[j] / c[k];
	for (size_t i = 0; i < n; i++)
		f->offset[i] = from[i * p + k] / c[k]; /* sorted below */
	w = 0;
	for (size_t j = 0; j < p; j++)
		if (j != k)
			beta[w++] = fit->beta[j];
	return PD_OK;
}

static pd_status make_room(struct profile *f, pd_error *err)
{
	size_t m = f->p + 2;
	double **new[] = { &f->par, &f->part, &f->gradient, &f->all_gradient };

	for (size_t k = 0; k < sizeof new / sizeof *new; k++) {
		*new[k] = PD_NEW(f->arena, double, m);
		if (!*new[k])
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	f->hessian = PD_NEW(f->arena, double, m * m);
	f->all_hessian = PD_NEW(f->arena, double, m * m);
	if (!f->hessian || !f->all_hessian)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

static void start(struct profile *f, const pd_mixed_fit *fit, bool extra,
                  const double *beta)
{
	size_t p = f->p;

	for (size_t j = 0; j < p; j++)
		for (size_t k = j; k < p; k++)
			f->par[j] += f->basis.r[j * p + k] * beta[k];
	f->par[p] = log(fit->sd > 0 ? fit->sd : 0.1);
	f->furthest_theta = log(FURTHEST_THETA *
	                        fmax(1, (double)f->g.table.most));
	f->theta_free = f->g.free_theta = extra;
	f->par[p + 1] = log(isfinite(fit->theta) ? fit->theta : FIRST_THETA);
	if (!extra)
		pd_count_table_set(&f->g.table, INFINITY);
}

/* c NULL: no contrast is held. */
static pd_status begin(pd_arena *arena, const pd_mixed_spec *spec,
                       const pd_mixed_fit *fit, const double *c, double level,
                       struct profile *f, pd_error *err)
{
	pd_mixed_spec rest = *spec;
	double *x = NULL, *beta = PD_NEW(arena, double, spec->rows.p);
	unsigned nodes = fit->sd > 0 || spec->nodes ? fit->nodes
	                                            : NODES_AT_ZERO;
	pd_status st = PD_OK;

	*f = (struct profile){ .arena = arena, .p = spec->rows.p - (c != NULL),
	                       .cut = fit->log_likelihood -
	                              0.5 * pd_chisq_quantile(level, 1) };
	if (!beta)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	memcpy(beta, fit->beta, spec->rows.p * sizeof *beta);
	if (c)
		st = without(f, spec, fit, c, &x, beta, err);
	rest.rows.x = c ? x : spec->rows.x;
	rest.rows.p = f->p;
	if (st == PD_OK && f->p)
		st = pd_basis_new(arena, rest.rows.x, spec->rows.n, f->p,
		                  &f->basis, err);
	if (st == PD_OK)
		st = pd_count_groups_new(arena, &rest, f->basis.q, &f->g, err);
	if (st == PD_OK)
		st = pd_count_groups_nodes(&f->g, spec->nodes > 1
		                           ? spec->nodes : nodes, err);
	if (st == PD_OK)
		st = make_room(f, err);
	if (st != PD_OK)
		return st;
	for (size_t i = 0; c && i < f->g.n; i++)
		f->pivot[i] = f->offset[f->g.from[i]];
	if (c)
		memcpy(f->offset, f->g.offset, f->g.n * sizeof *f->offset);
	start(f, fit, spec->rows.extra, beta);
	return PD_OK;
}

/* ---- limits ------------------------------------------------------------- */

static pd_status contrast_limits(pd_arena *arena, const pd_mixed_spec *spec,
                                 const pd_mixed_fit *fit, const double *c,
                                 double level, double *low, double *high,
                                 pd_error *err)
{
	struct profile f;
	pd_estimate e;
	pd_status st = pd_count_mixed_contrast(fit, c, level, &e, err);

	for (int up = 0; st == PD_OK && up < 2; up++) {
		st = begin(arena, spec, fit, c, level, &f, err);
		if (st == PD_OK)
			st = pd_count_limit(contrast_height, &f, e.value,
			                    up ? e.se : -e.se,
			                    up ? INFINITY : -INFINITY,
			                    up ? high : low, err);
	}
	return st;
}

static pd_status sd_limits(pd_arena *arena, const pd_mixed_spec *spec,
                           const pd_mixed_fit *fit, double level, double *low,
                           double *high, pd_error *err)
{
	struct profile f;
	double at = log(fit->sd > 0 ? fit->sd : FIRST_SD);
	double step = fit->sd > 0 ? fit->se_log_sd : FIRST_STEP;
	pd_status st = begin(arena, spec, fit, NULL, level, &f, err);

	*low = 0;
	if (st == PD_OK && fit->log_likelihood_fixed < f.cut) {
		st = pd_count_limit(sd_height, &f, at, -step, NOTHING, low,
		                    err);
		*low = exp(*low);
	}
	if (st == PD_OK)
		st = begin(arena, spec, fit, NULL, level, &f, err);
	if (st == PD_OK)
		st = pd_count_limit(sd_height, &f, at, step, FURTHEST_SD, high,
		                    err);
	*high = exp(*high);
	return st;
}

static pd_status alpha_limits(pd_arena *arena, const pd_mixed_spec *spec,
                              const pd_mixed_fit *fit, double level,
                              double *low, double *high, pd_error *err)
{
	struct profile f;
	double step = isfinite(fit->theta) ? fit->se_log_theta : FIRST_STEP;
	double at, poisson = 0, limit;
	pd_status st = begin(arena, spec, fit, NULL, level, &f, err);

	if (st == PD_OK) {
		f.theta_free = f.g.free_theta = false;
		pd_count_table_set(&f.g.table, INFINITY);
		st = top(&f, &poisson, err);
	}
	if (st == PD_OK)
		st = begin(arena, spec, fit, NULL, level, &f, err);
	if (st != PD_OK)
		return st;
	at = isfinite(fit->theta) ? log(fit->theta) : f.furthest_theta;
	*low = 0;
	if (poisson < f.cut) {
		st = pd_count_limit(theta_height, &f, at, step,
		                    f.furthest_theta, &limit, err);
		*low = exp(-limit);
	}
	if (st == PD_OK)
		st = begin(arena, spec, fit, NULL, level, &f, err);
	if (st == PD_OK)
		st = pd_count_limit(theta_height, &f, at, -step, LEAST_THETA,
		                    &limit, err);
	if (st == PD_OK)
		*high = exp(-limit);
	return st;
}

pd_status pd_count_mixed_profile(const pd_mixed_spec *spec,
                                 const pd_mixed_fit *fit, const double *c,
                                 double level, double *low, double *high,
                                 pd_error *err)
{
	pd_arena *arena;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	arena = pd_arena_new();
	st = arena ? contrast_limits(arena, spec, fit, c, level, low, high,
	                             err)
	           : pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_arena_free(arena);
	return st;
}

pd_status pd_count_mixed_sd_limits(const pd_mixed_spec *spec,
                                   const pd_mixed_fit *fit, double level,
                                   double *low, double *high, pd_error *err)
{
	pd_arena *arena;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	arena = pd_arena_new();
	st = arena ? sd_limits(arena, spec, fit, level, low, high, err)
	           : pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_arena_free(arena);
	return st;
}

pd_status pd_count_mixed_alpha_limits(const pd_mixed_spec *spec,
                                      const pd_mixed_fit *fit, double level,
                                      double *low, double *high,
                                      pd_error *err)
{
	pd_arena *arena;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	if (!spec->rows.extra)
		return pd_fail(err, PD_USAGE, "a Poisson model has no alpha");
	arena = pd_arena_new();
	st = arena ? alpha_limits(arena, spec, fit, level, low, high, err)
	           : pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_arena_free(arena);
	return st;
}
