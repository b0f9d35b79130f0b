/* nested_spread.c - see nested_spread.h; the search: nested_spread_fit.c. */
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/nested_spread_own.h"
#include "stats/nested_tree.h"
#include "stats/newton.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct pd_unequal_own {
	size_t p;
	double **by;           /* k matrices p*p: covariance of b by ln r     */
};

static pd_status check(const pd_nested_spec *s, const int32_t *class_of,
                       size_t classes, double level, struct pd_spread_task *t,
                       pd_error *err)
{
	if (classes < 2 || classes > PD_SPREAD_CLASSES)
		return pd_fail(err, PD_USAGE, "%zu classes of rows, expected "
		               "2 to %d", classes, PD_SPREAD_CLASSES);
	if (!(level > 0.0 && level < 1.0))
		return pd_fail(err, PD_USAGE, "interval level %g, expected "
		               "between 0 and 1", level);
	if (s->depth > PD_NESTED_LEVELS || !s->x || !s->y || s->n == 0 ||
	    s->p == 0)
		return pd_fail(err, PD_USAGE, "no rows, no columns, no "
		               "outcome or too many levels");
	for (size_t i = 0; i < s->n; i++) {
		if (class_of[i] < 0 || (size_t)class_of[i] >= classes)
			return pd_fail(err, PD_DATA, "row %zu: class %ld, "
			               "expected 0 to %zu", i + 1,
			               (long)class_of[i], classes - 1);
		t->rows[class_of[i]]++;
	}
	for (size_t g = 0; g < classes; g++)
		if (t->rows[g] == 0)
			return pd_fail(err, PD_REFUSED, "class %zu has no "
			               "rows", g);
	return PD_OK;
}

static pd_status task_room(struct pd_spread_task *t, pd_arena *a,
                           pd_error *err)
{
	const pd_nested_spec *s = t->spec;
	bool ok;

	t->x = PD_NEW(a, double, s->n * s->p);
	t->y = PD_NEW(a, double, 2 * s->n);
	ok = t->x && t->y;
	t->outcome = t->y + s->n;
	for (size_t k = 0; k < s->depth; k++) {
		t->z[k] = PD_NEW(a, double, s->n * (s->n_random[k] ?
		                                    s->n_random[k] : 1));
		ok = ok && t->z[k];
	}
	return ok ? PD_OK : pd_fail(err, PD_NO_MEMORY, "no memory for %zu "
	                            "rows", s->n);
}

/* What the columns leave of y: every fit of the search is made from it, so
 * that a far-off zero costs no digits there. */
static pd_status outcome(struct pd_spread_task *t, pd_error *err)
{
	pd_nested *m = NULL;
	pd_status st = pd_nested_new(t->spec, &m, err);

	for (size_t i = 0; st == PD_OK && i < m->n; i++)
		t->outcome[i] = m->rows[i * m->ld + m->p] * m->y_scale;
	pd_nested_free(m);
	return st;
}

/* The model of equal spreads: a class must have a degree of freedom there. */
static pd_status equal(struct pd_spread_task *t, double *deviance,
                       pd_error *err)
{
	double rho[PD_SPREAD_RATIOS] = { 0.0 };
	struct pd_spread_point p;

	pd_spread_at(t, rho, &p, NULL);
	if (!isfinite(p.value))
		return pd_fail(err, t->status, "%s", t->error.text);
	for (size_t g = 0; g <= t->k; g++)
		if (!(p.freedom[g] >= 1.0 - 1e-6) || t->rows[g] < 2)
			return pd_fail(err, PD_REFUSED, "class %zu: %zu row%s "
			               "leave %.2g degrees of freedom for its "
			               "spread, expected at least 1", g,
			               t->rows[g], t->rows[g] > 1 ? "s" : "",
			               fmax(p.freedom[g], 0.0));
	*deviance = p.value;
	return PD_OK;
}

static pd_status no_top(const struct pd_spread_task *t, pd_error *err)
{
	if (t->vanished)
		return pd_fail(err, PD_REFUSED, "class %zu scatters next to "
		               "nothing beside class %zu (ratio beyond "
		               "10,000): no ratio fits best",
		               t->upwards ? 0 : t->which + 1,
		               t->upwards ? t->which + 1 : 0);
	return pd_fail(err, PD_NUMERIC, "no ratios of residual spread fit "
	               "best%s%s", t->error.text[0] ? ": " : "",
	               t->error.text);
}

/* Interval by the profile, p by the likelihood ratio, of one ratio. */
static void one_ratio(struct pd_spread_task *t, const double *rho, size_t g,
                      double lowest, double se, double level,
                      pd_estimate *out)
{
	double rise = pd_chisq_quantile(level, 1.0), from[PD_SPREAD_RATIOS];
	struct pd_spread_point p;

	out->value = rho[g];
	out->se = se;
	out->df = INFINITY;
	out->level = level;
	out->low = pd_spread_limit(t, rho, g, lowest, rise, se, -1);
	out->high = pd_spread_limit(t, rho, g, lowest, rise, se, 1);
	memcpy(from, rho, t->k * sizeof *from);
	t->held = g;
	t->held_at = 0.0;
	out->p = pd_spread_search(t, from, &p) ?
		pd_chisq_upper(fmax(p.value - lowest, 0.0), 1.0) :
		2.0 * pd_normal_upper(fabs(rho[g] / se));
	t->held = t->k;
}

static pd_status result_room(pd_unequal *u, size_t p, pd_error *err)
{
	size_t k = u->classes - 1;
	double *all = PD_NEW(u->arena, double, k * p * p + 1);

	u->by_class = PD_NEW(u->arena, pd_unequal_class, u->classes);
	u->covariance = PD_NEW(u->arena, double, 2 * k * k);
	u->own = PD_NEW(u->arena, struct pd_unequal_own, 1);
	if (u->own)
		u->own->by = PD_NEW(u->arena, double *, k);
	if (!all || !u->by_class || !u->covariance || !u->own || !u->own->by)
		return pd_fail(err, PD_NO_MEMORY, "no memory for classes");
	u->own->p = p;
	for (size_t g = 0; g < k; g++)
		u->own->by[g] = all + g * p * p;
	return PD_OK;
}

static pd_status curvature(struct pd_spread_task *t, const double *rho,
                           pd_unequal *u, pd_error *err)
{
	size_t k = t->k;
	double *h = u->covariance + k * k;

	if (!pd_spread_curve(t, rho, h, u->own->by))
		return pd_fail(err, PD_NUMERIC, "no fit beside the best "
		               "ratios: %s", t->error.text);
	memcpy(t->metric, h, k * k * sizeof *h);
	for (size_t i = 0; i < k * k; i++)
		h[i] *= -0.5;
	return pd_newton_covariance(u->arena, h, k, u->covariance, err);
}

/* The numbers of the lowest point p at rho. */
static void numbers(struct pd_spread_task *t, const double *rho,
                    const struct pd_spread_point *p, double level,
                    pd_unequal *u)
{
	size_t k = t->k;

	u->deviance = p->value;
	u->df = (double)k;
	u->chi_square = fmax(0.0, u->deviance_equal - u->deviance);
	u->p = pd_chisq_upper(u->chi_square, u->df);
	for (size_t g = 0; g <= k; g++) {
		pd_unequal_class *c = &u->by_class[g];

		c->rows = t->rows[g];
		c->freedom = p->freedom[g];
		c->ratio = g ? exp(rho[g - 1]) : 1.0;
		c->log_ratio = (pd_estimate){ .df = INFINITY, .level = level,
		                              .p = 1.0 };
		if (g == 0)
			continue;
		u->slope = fmax(u->slope, fabs(p->slope[g - 1]));
		one_ratio(t, rho, g - 1, u->deviance,
		          sqrt(u->covariance[(g - 1) * (k + 1)]), level,
		          &c->log_ratio);
	}
}

static pd_status fill(struct pd_spread_task *t, double level, pd_unequal *u,
                      pd_error *err)
{
	double rho[PD_SPREAD_RATIOS] = { 0.0 };
	struct pd_spread_point p;
	pd_status st = outcome(t, err);

	if (st == PD_OK)
		st = equal(t, &u->deviance_equal, err);
	if (st == PD_OK && !pd_spread_search(t, rho, &p))
		st = no_top(t, err);
	if (st == PD_OK)
		st = curvature(t, rho, u, err);
	if (st != PD_OK)
		return st;
	numbers(t, rho, &p, level, u);
	memcpy(t->outcome, t->spec->y, t->spec->n * sizeof *t->outcome);
	pd_spread_at(t, rho, &p, &u->model);
	if (!u->model)
		return pd_fail(err, PD_NUMERIC, "%s", t->error.text);
	for (size_t g = 0; g <= t->k; g++)
		u->by_class[g].sd = u->by_class[g].ratio *
		                    pd_nested_residual_sd(u->model);
	u->fits = t->fits;
	return PD_OK;
}

pd_status pd_nested_unequal(const pd_nested_spec *spec,
                            const int32_t *class_of, size_t classes,
                            double level, pd_unequal **out, pd_error *err)
{
	struct pd_spread_task t = { .spec = spec, .class_of = class_of,
	                            .k = classes - 1, .held = classes - 1 };
	pd_arena *work = pd_arena_new();
	pd_unequal *u = calloc(1, sizeof *u);
	pd_status st = check(spec, class_of, classes, level, &t, err);

	*out = NULL;
	if (u)
		u->arena = pd_arena_new();
	if (st == PD_OK && (!work || !u || !u->arena))
		st = pd_fail(err, PD_NO_MEMORY, "no memory for classes");
	if (st == PD_OK) {
		u->classes = classes;
		st = result_room(u, spec->p, err);
	}
	if (st == PD_OK)
		st = task_room(&t, work, err);
	if (st == PD_OK)
		st = fill(&t, level, u, err);
	pd_arena_free(work);
	if (st == PD_OK)
		*out = u;
	else
		pd_unequal_free(u);
	return st;
}

void pd_unequal_free(pd_unequal *u)
{
	if (!u)
		return;
	pd_nested_free(u->model);
	pd_arena_free(u->arena);
	free(u);
}

pd_status pd_unequal_contrast(pd_unequal *u, const double *c, double level,
                              pd_df_method method, pd_estimate *out,
                              pd_error *err)
{
	size_t k = u->classes - 1, p = u->own->p;
	double v, share = 0.0, g[PD_SPREAD_RATIOS];
	pd_status st = pd_nested_contrast(u->model, c, level, method, out,
	                                  err);

	if (st != PD_OK || method == PD_NORMAL)
		return st;
	v = pd_form(c, pd_nested_covariance(u->model), p, c, p);
	for (size_t i = 0; i < k; i++)
		g[i] = pd_form(c, u->own->by[i], p, c, p) / v;
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++)
			share += g[i] * g[j] * u->covariance[i * k + j];
	return pd_df_estimate(out->value, out->se * out->se,
	                      1.0 / (1.0 / out->df + 0.5 * share), level, out,
	                      err);
}
