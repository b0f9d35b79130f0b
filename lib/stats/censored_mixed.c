/*
 * censored_mixed.c - the search for the maximum likelihood, the number of
 * nodes, contrasts. What the adjusted profile asks for is censored_adjust.c's.
 */
#include "stats/censored_mixed.h"
#include "stats/censored_mixed_own.h"
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

/* Rules tried in turn: nodes of Hermite's, then evenly spaced points; and the
 * change of log-likelihood that is none. */
static const struct {
	unsigned nodes;
	double part;
} ladder[] = { { 5, 0 }, { 9, 0 }, { 15, 0 }, { 25, 0 }, { 41, 0 },
	       { 0, 0.8 }, { 0, 0.6 } };
enum { MOST_CALLS = 300 }; /* of the likelihood by one search */
enum { RUNGS = sizeof ladder / sizeof *ladder, FIRST_RUNG = 2, EVEN = 5 };
static const double NO_CHANGE = 1e-9, GOOD_ENOUGH = 1e-3;
static const double LARGE_RATIO = 20; /* of sd to scale */
/* Ratios of sd to scale the search begins from, in turn. */
static const double starts[] = { 0.5, 0.1, 2 };
enum { STARTS = sizeof starts / sizeof *starts };

/* ---- setting up --------------------------------------------------------- */

static double plain_fit(const pd_censored_mixed_spec *spec,
                        const double *beta, size_t i)
{
	double sum = 0;

	for (size_t j = 0; j < spec->rows.p; j++)
		sum += spec->rows.x[i * spec->rows.p + j] * beta[j];
	return sum;
}

/* Limits on the model's scale, less x'beta, over scale. *constant: what the
 * exact rows add to the log-likelihood of the numbers made. */
static void standardise(const pd_censored_mixed_spec *spec,
                        const double *beta, double scale, double *low,
                        double *high, double *constant)
{
	const pd_censored_spec *r = &spec->rows;

	*constant = 0;
	for (size_t i = 0; i < r->n; i++) {
		double fit = plain_fit(spec, beta, i);
		double a = r->low[i], b = r->high[i];
		int same = a == b;

		if (r->log) {
			a = a > 0 ? log(a) : -INFINITY;
			b = log(b);
		}
		if (same)
			*constant -= log(scale) + (r->log ? a : 0);
		low[i] = (a - fit) / scale;
		high[i] = same ? low[i] : (b - fit) / scale;
	}
}

static pd_status check_groups(const pd_censored_groups *g, pd_error *err)
{
	if (g->n_groups < 2)
		return pd_fail(err, PD_REFUSED, "all rows belong to one group: "
		               "how groups differ cannot be told");
	if (g->longest < 2)
		return pd_fail(err, PD_REFUSED, "no group has 2 rows: groups "
		               "cannot be told from rows");
	return PD_OK;
}

static pd_status begin(struct pd_censored_search *s, pd_error *err)
{
	const pd_censored_spec *r = &s->spec->rows;
	size_t p = r->p, n = r->n;
	double *low = PD_NEW(s->arena, double, n);
	double *high = PD_NEW(s->arena, double, n);
	pd_status st = pd_censored_regression(s->arena, r, &s->plain, err);

	if (st == PD_OK)
		st = pd_basis_new(s->arena, r->x, n, p, &s->basis, err);
	s->par = PD_NEW(s->arena, double, p + 2);
	s->gradient = PD_NEW(s->arena, double, p + 2);
	s->hessian = PD_NEW(s->arena, double, (p + 2) * (p + 2));
	s->logs = PD_NEW(s->arena, double, p + 2);
	s->log_slope = PD_NEW(s->arena, double, p + 2);
	s->log_bend = PD_NEW(s->arena, double, (p + 2) * (p + 2));
	if (st == PD_OK && (!low || !high || !s->par || !s->gradient ||
	                    !s->hessian || !s->logs || !s->log_slope ||
	                    !s->log_bend))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st != PD_OK)
		return st;
	s->scale0 = s->plain.scale;
	standardise(s->spec, s->plain.beta, s->scale0, low, high,
	            &s->constant);
	st = pd_censored_groups_new(s->arena, n, p, s->basis.q, low, high,
	                            s->spec->group, &s->g, err);
	if (st == PD_OK)
		st = check_groups(&s->g, err);
	return st;
}

/* ---- the search --------------------------------------------------------- */

/* row <- row J, J the slopes of (d, h, ln w) by (gamma, ln h, ln w / h), in
 * steps of `step` numbers. */
static void turn(const struct pd_censored_search *s, double *row, size_t step)
{
	size_t p = s->g.p;
	double h = s->par[p], sum = h * row[p * step];

	for (size_t j = 0; j < p; j++) {
		sum += row[j * step] * s->par[j];
		row[j * step] *= h;
	}
	row[p * step] = sum + (s->g.free_sd ? row[(p + 1) * step] : 0);
}

/* The likelihood by gamma, ln h and ln (w / h), nearly a parabola also where
 * sd is many times the scale. */
static void over_logs(void *with, const double *logs, double *value,
                      double *gradient, double *hessian)
{
	struct pd_censored_search *s = with;
	size_t p = s->g.p, used = p + 1 + s->g.free_sd;
	double *at = s->par, *slope = s->gradient, h = exp(logs[p]);

	*value = NAN;
	if (++s->calls > MOST_CALLS)
		return;
	for (size_t j = 0; j < p; j++)
		at[j] = logs[j] * h;
	at[p] = h;
	at[p + 1] = s->g.free_sd ? logs[p] + logs[p + 1] : -INFINITY;
	pd_censored_groups_likelihood(&s->g, at, value, slope,
	                              hessian ? s->hessian : NULL);
	if (!isfinite(*value))
		return;
	memcpy(gradient, slope, used * sizeof *slope);
	turn(s, gradient, 1);
	if (!hessian)
		return;
	memcpy(hessian, s->hessian, used * used * sizeof *hessian);
	for (size_t j = 0; j < used; j++)
		turn(s, hessian + j * used, 1);
	for (size_t j = 0; j < used; j++)
		turn(s, hessian + j, used);
	/* d and h bend by the logs themselves */
	hessian[p * used + p] += h * slope[p];
	for (size_t j = 0; j < p; j++) {
		hessian[j * used + p] += h * slope[j];
		hessian[p * used + j] += h * slope[j];
		hessian[p * used + p] += at[j] * slope[j];
	}
}

static pd_status climb(struct pd_censored_search *s, pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(s->arena);
	size_t p = s->g.p;
	double value;
	pd_status st;

	s->calls = 0;
	for (size_t j = 0; j < p; j++)
		s->logs[j] = s->par[j] / s->par[p];
	s->logs[p] = log(s->par[p]);
	s->logs[p + 1] = s->par[p + 1] - s->logs[p];
	st = pd_newton_search(s->arena, over_logs, s, p + 1 + s->g.free_sd,
	                      s->logs, s->log_slope, s->log_bend, &s->record,
	                      err);
	pd_arena_rewind(s->arena, mark);
	s->calls = 0;
	over_logs(s, s->logs, &value, s->log_slope, NULL); /* s->par there */
	return st;
}

static pd_status use_rule(struct pd_censored_search *s, size_t rung,
                          pd_error *err)
{
	if (ladder[rung].nodes)
		return pd_censored_groups_nodes(&s->g, ladder[rung].nodes,
		                                err);
	pd_censored_groups_even(&s->g, ladder[rung].part);
	return PD_OK;
}

static pd_status no_top(const struct pd_censored_search *s, pd_error *err)
{
	const pd_newton_record *r = &s->record;
	size_t p = s->g.p;

	if (r->end == PD_NEWTON_RUNAWAY && r->furthest >= p)
		return pd_fail(err, PD_REFUSED, "no largest likelihood: %s, "
		               "because too few rows of one group are known "
		               "within limits", r->furthest == p
		                   ? "the scale within groups runs to 0"
		                   : "the sd between groups runs to infinity");
	if (s->g.free_sd && s->par[p + 1] > log(LARGE_RATIO))
		return pd_fail(err, PD_REFUSED, "no largest likelihood found: "
		               "the sd between groups is %.3g times the scale "
		               "within them and rising, because too few rows "
		               "of one group are known within limits",
		               exp(s->par[p + 1]));
	return pd_fail(err, PD_NUMERIC, "the censored regression with groups "
	               "did not converge in %u steps (last step %g, %u nodes)",
	               s->record.iterations, s->record.step, s->g.points);
}

/* The fit without groups, again, by the same sums. */
static pd_status climb_plain(struct pd_censored_search *s, pd_error *err)
{
	pd_status st;

	s->g.free_sd = false;
	memset(s->par, 0, s->g.p * sizeof *s->par);
	s->par[s->g.p] = 1;
	s->par[s->g.p + 1] = -INFINITY;
	st = climb(s, err);
	if (st == PD_OK && s->record.end != PD_NEWTON_TOP)
		st = no_top(s, err);
	s->plain_value = s->record.value;
	return st;
}

static pd_status value_with(struct pd_censored_search *s, size_t rung,
                            double *value, pd_error *err)
{
	pd_status st = use_rule(s, rung, err);

	if (st == PD_OK)
		pd_censored_groups_likelihood(&s->g, s->par, value,
		                              s->gradient, NULL);
	if (st == PD_OK && !isfinite(*value))
		return pd_fail(err, PD_NUMERIC, "the likelihood cannot be "
		               "computed: the sd between groups is %g times "
		               "the scale", exp(s->par[s->g.p + 1]));
	return st;
}

/* Is the rule in use good enough for the way up? Evenly spaced points tell. */
static bool rule_holds(struct pd_censored_search *s, size_t rung,
                       pd_error *err)
{
	double here, exact;

	if (rung >= EVEN)
		return true;
	if (value_with(s, EVEN, &exact, NULL) != PD_OK ||
	    value_with(s, rung, &here, err) != PD_OK)
		return false;
	return fabs(here - exact) <= GOOD_ENOUGH;
}

/* From sd = w times scale. Too few nodes keep value and slopes apart, and a
 * search with them goes astray: it is made again with more. */
static pd_status climb_from(struct pd_censored_search *s, double w,
                            pd_error *err)
{
	size_t p = s->g.p;
	const size_t rungs[] = { FIRST_RUNG, EVEN };
	pd_status st = PD_OK;

	s->g.free_sd = true;
	for (size_t k = 0; st == PD_OK && k < 2; k++) {
		s->rung = rungs[k];
		memset(s->par, 0, p * sizeof *s->par);
		memset(s->g.mode, 0, s->g.n_groups * sizeof *s->g.mode);
		s->par[p] = sqrt(1 + w * w);
		s->par[p + 1] = log(w);
		st = use_rule(s, s->rung, err);
		if (st == PD_OK)
			st = climb(s, err);
		if (st == PD_OK && s->record.end != PD_NEWTON_STUCK &&
		    rule_holds(s, s->rung, err))
			break;
	}
	return st;
}

/* From each start in turn until a top above the plain fit is found; a search
 * that runs to sd 0 or ends lower leaves the plain fit as the answer. */
static pd_status climb_free(struct pd_censored_search *s, pd_error *err)
{
	size_t p = s->g.p;
	bool settled = false;
	pd_status st;

	for (size_t k = 0; k < STARTS; k++) {
		st = climb_from(s, starts[k], err);
		if (st != PD_OK)
			return st;
		if (s->record.end == PD_NEWTON_TOP &&
		    s->record.value > s->plain_value)
			return PD_OK;
		settled = settled || s->record.end == PD_NEWTON_TOP ||
		          (s->record.end == PD_NEWTON_RUNAWAY &&
		           s->record.furthest == p + 1 && s->par[p + 1] < 0);
	}
	if (!settled)
		return no_top(s, err);
	return climb_plain(s, err);
}

/* ---- how many nodes ----------------------------------------------------- */

/* s->rung: the first one from there on that the next one does not change. */
pd_status pd_censored_choose(struct pd_censored_search *s, pd_error *err)
{
	double here, next;
	pd_status st = value_with(s, s->rung, &here, err);

	for (; st == PD_OK && s->rung + 1 < RUNGS; s->rung++) {
		st = value_with(s, s->rung + 1, &next, err);
		if (st != PD_OK)
			return st;
		s->node_change = fabs(next - here);
		if (s->node_change <= NO_CHANGE + 1e-14 * fabs(here))
			return value_with(s, s->rung, &here, err);
		here = next;
	}
	if (st != PD_OK)
		return st;
	return pd_fail(err, PD_NUMERIC, "the integral over groups does not "
	               "settle: %u points still change the log-likelihood by "
	               "%g", s->g.points, s->node_change);
}

/* Nodes for the fit at hand and the fit again, until they agree. */
static pd_status settle(struct pd_censored_search *s, pd_error *err)
{
	size_t before = RUNGS;
	pd_status st;

	s->rung = 0;
	st = pd_censored_choose(s, err);
	while (st == PD_OK && s->rung != before) {
		before = s->rung;
		st = climb(s, err);
		if (st == PD_OK && s->record.end != PD_NEWTON_TOP)
			st = no_top(s, err);
		if (st == PD_OK)
			st = pd_censored_choose(s, err);
	}
	return st;
}

static pd_status climb_all(struct pd_censored_search *s, pd_error *err)
{
	pd_status st = use_rule(s, FIRST_RUNG, err);

	if (st == PD_OK)
		st = climb_plain(s, err);
	if (st == PD_OK)
		st = climb_free(s, err);
	if (st == PD_OK && s->g.free_sd)
		st = settle(s, err);
	else
		s->rung = FIRST_RUNG;
	s->ml_value = s->record.value;
	return st;
}

/* ---- calls -------------------------------------------------------------- */

pd_status pd_censored_mixed(pd_arena *arena, const pd_censored_mixed_spec *spec,
                            pd_censored_mixed_fit *out, pd_error *err)
{
	struct pd_censored_search s = { .arena = arena, .spec = spec };
	pd_censored_mixed_fit fit = { .n = spec->rows.n, .p = spec->rows.p };
	pd_status st = begin(&s, err);

	if (st == PD_OK)
		st = climb_all(&s, err);
	if (st != PD_OK)
		return st;
	fit.n_exact = s.plain.n_exact;
	fit.n_below = s.plain.n_below;
	fit.n_above = s.plain.n_above;
	fit.n_between = s.plain.n_between;
	fit.ml_log_likelihood = s.ml_value + s.constant;
	fit.log_likelihood_fixed = s.plain_value + s.constant;
	fit.ml_sd = s.g.free_sd ? exp(s.par[s.g.p + 1]) * s.scale0 /
	                          s.par[s.g.p] : 0;
	if (!spec->ml && 3 * (fit.n_below + fit.n_above) <= fit.n)
		st = pd_censored_adjust(&s, err);
	if (st == PD_OK)
		st = pd_censored_answer(&s, &fit, err);
	if (st == PD_OK)
		*out = fit;
	return st;
}

pd_status pd_censored_mixed_likelihood(const pd_censored_mixed_spec *spec,
                                       const double *beta, double scale,
                                       double sd, unsigned nodes,
                                       double *value, double *gradient,
                                       pd_error *err)
{
	const pd_censored_spec *r = &spec->rows;
	size_t n = r->n, p = r->p;
	pd_arena *arena;
	pd_censored_groups g;
	double *room, *par, constant;
	pd_status st;

	if (!(scale > 0) || !(sd >= 0) || !isfinite(scale) || !isfinite(sd))
		return pd_fail(err, PD_DATA, "scale %g and sd %g, expected "
		               "above 0 and not below 0", scale, sd);
	for (size_t i = 0; i < n; i++)
		if (!(r->low[i] <= r->high[i]) || (r->log && !(r->high[i] > 0)))
			return pd_fail(err, PD_DATA, "row %zu: limits %g to "
			               "%g", i + 1, r->low[i], r->high[i]);
	arena = pd_arena_new();
	room = arena ? PD_NEW(arena, double, 2 * n + 2 * p + 4) : NULL;
	if (!room) {
		pd_arena_free(arena);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	par = room + 2 * n;
	standardise(spec, beta, scale, room, room + n, &constant);
	st = pd_censored_groups_new(arena, n, p, r->x, room, room + n,
	                            spec->group, &g, err);
	if (st == PD_OK && nodes)
		st = pd_censored_groups_nodes(&g, nodes, err);
	if (st == PD_OK && !nodes)
		pd_censored_groups_even(&g, ladder[EVEN + 1].part);
	if (st == PD_OK) {
		double *slope = par + p + 2;

		par[p] = 1;
		par[p + 1] = log(sd / scale);
		g.free_sd = sd > 0;
		pd_censored_groups_likelihood(&g, par, value, slope, NULL);
		*value += constant;
		if (!isfinite(*value))
			st = pd_fail(err, PD_NUMERIC, "the likelihood cannot "
			             "be computed there");
		/* d = -x'beta is taken off: b = scale d, ln scale = -ln h */
		for (size_t j = 0; st == PD_OK && gradient && j < p; j++)
			gradient[j] = slope[j] / scale;
		if (st == PD_OK && gradient) {
			gradient[p + 1] = g.free_sd ? slope[p + 1] : 0;
			gradient[p] = -slope[p] - gradient[p + 1];
		}
	}
	pd_arena_free(arena);
	return st;
}

static double spread(const pd_censored_mixed_fit *fit, const double *c)
{
	size_t p = fit->p, k = fit->n_free - p;
	double g[2] = { 0 }, sum = 0;

	for (size_t i = 0; i < k; i++)
		g[i] = pd_form(c, fit->fixed_slope + i * p * p, p, c, p);
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++)
			sum += g[i] * g[j] *
			       fit->covariance[(p + i) * fit->n_free + p + j];
	return sum;
}

pd_status pd_censored_mixed_contrast(const pd_censored_mixed_fit *fit,
                                     const double *c, double level,
                                     pd_estimate *out, pd_error *err)
{
	size_t p = fit->p;
	double value = 0, variance, f;

	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "interval level %g is outside 0 "
		               "to 1", level);
	for (size_t j = 0; j < p; j++)
		value += c[j] * fit->beta[j];
	variance = pd_form(c, fit->covariance, fit->n_free, c, p);
	f = pd_form(c, fit->fixed, p, c, p);
	if (!(variance > 0) || !(f > 0))
		return pd_fail(err, PD_USAGE, "the contrast is 0");
	return pd_df_estimate(value, variance, 2 * f * f / spread(fit, c),
	                      level, out, err);
}

void pd_censored_mixed_test(const pd_censored_mixed_fit *fit, double *ratio,
                            double *p)
{
	*ratio = fmax(0, 2 * (fit->ml_log_likelihood -
	                      fit->log_likelihood_fixed));
	*p = fit->ml_sd > 0 ? 0.5 * pd_chisq_upper(*ratio, 1) : 1;
}
