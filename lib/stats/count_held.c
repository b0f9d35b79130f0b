/*
 * count_held.c - the likelihood of grouped counts with something held.
 */
#include "stats/count_held.h"
#include "stats/count_limit.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { FEWEST_SHARES = 5 };
static const double NO_SD = -20;   /* ln of an sd that is 0              */
static const double SMALL_SD = -7, FURTHEST_SD = 6, LEAST_THETA = -40; /* ln */
static const double FIRST_SD = 1e-3, START_SD = 0.1, FIRST_STEP = 0.5;
static const double FIRST_THETA = 100;
static const double FURTHEST_THETA = 1e6; /* over the largest count      */

/* ---- a search with some held -------------------------------------------- */

static size_t n_all(const pd_count_held *f)
{
	return f->p + f->sds + f->g->free_theta;
}

static int is_held(const pd_count_held *f, size_t j)
{
	return j >= f->p && f->held[j - f->p];
}

/* A pd_newton_function over the parameters that are not held. */
static void likelihood(void *with, const double *par, double *value,
                       double *gradient, double *hessian)
{
	pd_count_held *f = with;
	size_t m = n_all(f), r = 0, n = 0;

	for (size_t j = 0; j < m; j++)
		n += !is_held(f, j);
	for (size_t j = 0; j < m; j++)
		if (!is_held(f, j))
			f->par[j] = par[r++];
	f->likelihood(f->model, f->par, value, f->all_gradient,
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
static pd_status climb(pd_count_held *f, pd_newton_record *record,
                       size_t *furthest, pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(f->arena);
	size_t m = n_all(f), which[3] = { 0 }, n = 0;
	pd_status st;

	for (size_t j = 0; j < m; j++) {
		if (is_held(f, j))
			continue;
		if (j >= f->p)
			which[n - f->p] = j;
		f->part[n++] = f->par[j];
	}
	f->g->exact = f->g->rule.nodes < FEWEST_SHARES;
	st = pd_newton_search(f->arena, likelihood, f, n, f->part,
	                      f->gradient, f->hessian, record, err);
	if (st == PD_OK && record->end == PD_NEWTON_STUCK && !f->g->exact) {
		f->g->exact = true;
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

static void drop_theta(pd_count_held *f)
{
	f->g->free_theta = false;
	pd_count_table_set(&f->g->table, INFINITY);
}

/* An sd that has gone to 0, where the search may wander in rounding; sds when
 * there is none. */
static size_t sd_left(const pd_count_held *f, const pd_newton_record *record,
                      size_t far)
{
	for (size_t k = 0; k < f->sds; k++) {
		double at = f->par[f->p + k];

		if (f->held[k])
			continue;
		if ((record->end == PD_NEWTON_RUNAWAY && far == f->p + k &&
		     at < 0) ||
		    (record->end == PD_NEWTON_STUCK && at < SMALL_SD))
			return k;
	}
	return f->sds;
}

static int theta_left(const pd_count_held *f, const pd_newton_record *record,
                      size_t far)
{
	size_t t = f->p + f->sds;

	return f->g->free_theta && !f->held[f->sds] &&
	       (f->par[t] > f->furthest_theta ||
	        (record->end == PD_NEWTON_RUNAWAY && far == t &&
	         f->par[t] > 0));
}

/* One search; where something has run to its end it is put there, to be
 * searched again (*again). */
static pd_status one_climb(pd_count_held *f, const double *begin, double *value,
                           int *again, pd_error *err)
{
	size_t far = 0, p = f->p, k;
	pd_newton_record record = { 0 };
	pd_status st = climb(f, &record, &far, err);

	*again = 0;
	if (st != PD_OK)
		return st;
	*value = record.value;
	k = sd_left(f, &record, far);
	if (theta_left(f, &record, far)) {
		drop_theta(f);
		for (size_t j = 0; j < f->sds; j++)
			if (!f->held[j])
				f->par[p + j] = begin[j];
		*again = 1;
	} else if (k < f->sds) {
		f->held[k] = 1;
		f->par[p + k] = NO_SD;
		f->par[p + f->sds] = begin[f->sds];
		*again = 1;
	} else if (record.end != PD_NEWTON_TOP) {
		st = pd_fail(err, PD_NUMERIC, "no convergence on the way to a "
		             "profile limit");
	}
	return st;
}

/* The top with what is held. What was held on entry is held on return, and
 * what has run to its end begins inside the next time. */
static pd_status top(pd_count_held *f, double *value, pd_error *err)
{
	size_t p = f->p, n = f->sds + 1;
	double begin[PD_COUNT_MOST_SDS + 1];
	unsigned char held[PD_COUNT_MOST_SDS + 1];
	pd_status st = PD_OK;
	int again = 1;

	memcpy(begin, f->par + p, n * sizeof *begin);
	memcpy(held, f->held, n);
	f->g->free_theta = f->theta_free;
	for (size_t k = 0; k <= n && again && st == PD_OK; k++)
		st = one_climb(f, begin, value, &again, err);
	for (size_t k = 0; k < f->sds; k++)
		if (f->held[k] && !held[k])
			f->par[p + k] = begin[k];
	if (f->theta_free && !f->g->free_theta)
		f->par[p + f->sds] = begin[f->sds];
	memcpy(f->held, held, n);
	*value -= f->cut;
	return st;
}

/* ---- the three profiles ------------------------------------------------- */

static pd_status contrast_height(void *with, double at, double *out,
                                 pd_error *err)
{
	pd_count_held *f = with;

	for (size_t i = 0; i < f->g->n; i++)
		f->g->offset[i] = f->offset[i] + at * f->pivot[i];
	return top(f, out, err);
}

static pd_status sd_height(void *with, double at, double *out, pd_error *err)
{
	pd_count_held *f = with;

	f->held[f->which] = 1;
	f->par[f->p + f->which] = at;
	return top(f, out, err);
}

static pd_status theta_height(void *with, double at, double *out,
                              pd_error *err)
{
	pd_count_held *f = with;

	f->held[f->sds] = 1;
	f->par[f->p + f->sds] = at;
	return top(f, out, err);
}

/* ---- setting up --------------------------------------------------------- */

/*
 * c'beta = v says beta_k = (v - sum of the others' c_j beta_j) / c_k, k the
 * largest part: columns x_j - x_k c_j / c_k are left, and x_k / c_k times v
 * joins the offset.
 */
static pd_status without(pd_count_held *f, const pd_count_known *known,
                         const double *c, pd_error *err)
{
	size_t n = f->rows.n, p = f->rows.p, k = 0, w = 0;
	const double *from = known->rows->x;
	double *x = PD_NEW(f->arena, double, n * p);

	for (size_t j = 1; j < p; j++)
		if (fabs(c[j]) > fabs(c[k]))
			k = j;
	if (!(fabs(c[k]) > 0))
		return pd_fail(err, PD_USAGE, "the contrast is 0");
	f->pivot = PD_NEW(f->arena, double, n);
	f->offset = PD_NEW(f->arena, double, n);
	if (!x || !f->pivot || !f->offset)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++) {
		double part = from[i * p + k] / c[k];

		f->offset[i] = part; /* in the caller's order so far */
		for (size_t j = 0; j < p; j++)
			if (j != k)
				x[w++] = from[i * p + j] - part * c[j];
	}
	w = 0;
	for (size_t j = 0; j < p; j++)
		if (j != k)
			f->rest[w++] = known->beta[j];
	f->rows.x = x;
	f->rows.p = p - 1;
	return PD_OK;
}

pd_status pd_count_held_columns(pd_arena *arena, const pd_count_known *known,
                                const double *c, pd_count_held *f,
                                pd_error *err)
{
	size_t p = known->rows->p;
	pd_status st = PD_OK;

	*f = (pd_count_held){ .arena = arena, .rows = *known->rows,
	                      .sds = known->sds };
	f->cut = known->log_likelihood -
	         0.5 * pd_chisq_quantile(known->level, 1);
	f->rest = PD_NEW(arena, double, p);
	if (!f->rest)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	memcpy(f->rest, known->beta, p * sizeof *f->rest);
	if (c)
		st = without(f, known, c, err);
	f->p = f->rows.p;
	if (st == PD_OK && f->p)
		st = pd_basis_new(arena, f->rows.x, f->rows.n, f->p, &f->basis,
		                  err);
	return st;
}

static pd_status make_room(pd_count_held *f, pd_error *err)
{
	size_t m = f->p + f->sds + 1;
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

pd_status pd_count_held_start(pd_count_held *f, const pd_count_known *known,
                              pd_error *err)
{
	size_t p = f->p, n = f->g->n;
	pd_status st = make_room(f, err);

	if (st != PD_OK)
		return st;
	for (size_t i = 0; f->pivot && i < n; i++)
		f->pivot[i] = f->offset[f->g->from[i]];
	if (f->pivot)
		memcpy(f->offset, f->g->offset, n * sizeof *f->offset);
	for (size_t j = 0; j < p; j++)
		for (size_t k = j; k < p; k++)
			f->par[j] += f->basis.r[j * p + k] * f->rest[k];
	for (size_t k = 0; k < f->sds; k++)
		f->par[p + k] = log(known->sd[k] > 0 ? known->sd[k]
		                                     : START_SD);
	f->furthest_theta = log(FURTHEST_THETA *
	                        fmax(1, (double)f->g->table.most));
	f->theta_free = f->g->free_theta = f->rows.extra;
	f->par[p + f->sds] = log(isfinite(known->theta) ? known->theta
	                                                : FIRST_THETA);
	if (!f->theta_free)
		pd_count_table_set(&f->g->table, INFINITY);
	return PD_OK;
}

/* ---- limits ------------------------------------------------------------- */

/* Each limit from a fresh start, in an arena of its own. */
static pd_status one_limit(pd_count_held_begin *begin, void *with,
                           const double *c, size_t which,
                           pd_count_height *height, double at, double step,
                           double furthest, double *limit, pd_error *err)
{
	pd_arena *arena = pd_arena_new();
	pd_count_held f;
	pd_status st;

	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = begin(with, arena, c, &f, err);
	if (st == PD_OK) {
		f.which = which;
		if (isnan(furthest))
			furthest = f.furthest_theta;
		if (isnan(at))
			at = f.furthest_theta;
		st = pd_count_limit(height, &f, at, step, furthest, limit,
		                    err);
	}
	pd_arena_free(arena);
	return st;
}

pd_status pd_count_held_contrast(pd_count_held_begin *begin, void *with,
                                 const double *c, double value, double se,
                                 double *low, double *high, pd_error *err)
{
	pd_status st = one_limit(begin, with, c, 0, contrast_height, value,
	                         -se, -INFINITY, low, err);

	return st != PD_OK ? st
	                   : one_limit(begin, with, c, 0, contrast_height,
	                               value, se, INFINITY, high, err);
}

pd_status pd_count_held_sd(pd_count_held_begin *begin, void *with,
                           const pd_count_known *known, size_t which,
                           double *low, double *high, pd_error *err)
{
	int there = known->sd[which] > 0;
	double at = log(there ? known->sd[which] : FIRST_SD), limit;
	double step = there ? known->se_log_sd[which] : FIRST_STEP;
	double cut = known->log_likelihood -
	             0.5 * pd_chisq_quantile(known->level, 1);
	pd_status st = PD_OK;

	*low = 0;
	if (there && known->without[which] < cut) {
		st = one_limit(begin, with, NULL, which, sd_height, at, -step,
		               NO_SD, &limit, err);
		*low = exp(limit);
	}
	if (st == PD_OK)
		st = one_limit(begin, with, NULL, which, sd_height, at, step,
		               FURTHEST_SD, &limit, err);
	if (st == PD_OK)
		*high = exp(limit);
	return st;
}

/* The Poisson model's top, less the cut. */
static pd_status poisson(pd_count_held_begin *begin, void *with, double *out,
                         pd_error *err)
{
	pd_arena *arena = pd_arena_new();
	pd_count_held f;
	pd_status st;

	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = begin(with, arena, NULL, &f, err);
	if (st == PD_OK) {
		f.theta_free = false;
		drop_theta(&f);
		st = top(&f, out, err);
	}
	pd_arena_free(arena);
	return st;
}

pd_status pd_count_held_alpha(pd_count_held_begin *begin, void *with,
                              const pd_count_known *known, double *low,
                              double *high, pd_error *err)
{
	int there = isfinite(known->theta);
	double at = there ? log(known->theta) : NAN, limit = 0, height = 0;
	double step = there ? known->se_log_theta : FIRST_STEP;
	pd_status st = poisson(begin, with, &height, err);

	*low = 0;
	if (st == PD_OK && height < 0) {
		st = one_limit(begin, with, NULL, 0, theta_height, at, step,
		               NAN, &limit, err);
		*low = exp(-limit);
	}
	if (st == PD_OK)
		st = one_limit(begin, with, NULL, 0, theta_height, at, -step,
		               LEAST_THETA, &limit, err);
	if (st == PD_OK)
		*high = exp(-limit);
	return st;
}
