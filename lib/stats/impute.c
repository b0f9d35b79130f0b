/*
 * impute.c - completing unmeasured values many times and combining the fits.
 * Drawing them is impute_draw.c; one fit's inference is kenward.c.
 *
 * Rubin's rules for one contrast, m completed sets, Q_j and U_j its estimate
 * and variance in set j:
 *   Q = mean Q_j,  U = mean U_j,  B = sum (Q_j - Q)^2 / (m - 1)
 *   total T = U + (1 + 1/m) B,  g = (1 + 1/m) B / T
 *   df: 1/df = 1/df_m + 1/df_obs,  df_m = (m - 1) / g^2,
 *       df_obs = (df_c + 1)/(df_c + 3) df_c (1 - g), df_c with complete data
 * (Rubin 1987, ch. 3; Barnard & Rubin 1999). df_c is the harmonic mean over
 * the sets.
 *
 * Several contrasts (k): Li, Raghunathan & Rubin (1991), J. Am. Stat. Assoc.
 * 86, 1065-1073:
 *   r = (1 + 1/m) tr(B U^-1) / k,  D = Q'U^-1 Q / (k (1 + r)),
 *   t = k (m - 1),  df_m = 4 + (t - 4) (1 + (1 - 2/t)/r)^2      (t > 4)
 *                        = t (1 + 1/k) (1 + 1/r)^2 / 2           (else)
 * which takes the complete data as endless; the denominator is then brought
 * down as for one contrast with g = r / (1 + r). That last step is ours, not
 * the paper's. For k = 1, D is the square of the contrast over its error and
 * df_m is Rubin's, so that test and interval agree.
 */
#include "stats/impute.h"
#include "stats/impute_draw.h"
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The chain starts at the fit of a first guess: with few values to draw it is
 * there after BURN_IN_FEW sweeps. */
enum { DRAWS = 20, BURN_IN = 40, BURN_IN_FEW = 10, FEW = 20, SPACING = 5 };

struct pd_impute {
	pd_arena *arena;
	pd_nested *fit;        /* of the first completed set                */
	size_t n, p, depth, sets, censored;
	struct pd_df_parts *parts; /* by set                                 */
	double *beta, *level_sd, residual_sd; /* means over the sets         */
	double *first;         /* n: y of the first set                     */
};

static pd_status count_censored(const pd_impute_spec *s, size_t *censored,
                                pd_error *err)
{
	*censored = 0;
	for (size_t i = 0; i < s->model.n; i++) {
		if (!(s->low[i] <= s->high[i]) ||
		    (isinf(s->low[i]) && s->low[i] > 0.0) ||
		    (isinf(s->high[i]) && s->high[i] < 0.0))
			return pd_fail(err, PD_DATA, "row %zu: limits %g to "
			               "%g, expected the lower first", i + 1,
			               s->low[i], s->high[i]);
		*censored += s->low[i] < s->high[i];
	}
	if (2 * *censored > s->model.n)
		return pd_fail(err, PD_REFUSED, "%zu of %zu values were not "
		               "measured, expected at most half", *censored,
		               s->model.n);
	return PD_OK;
}

/* A first guess: the middle of two limits, else half a standard deviation of
 * the measured values beyond the one there is. */
static void guess(const pd_impute_spec *s, double *y)
{
	double n = 0.0, mean = 0.0, sum = 0.0, sd;

	for (size_t i = 0; i < s->model.n; i++)
		if (!(s->low[i] < s->high[i])) {
			double d = s->low[i] - mean;

			n += 1.0;
			mean += d / n;
			sum += d * (s->low[i] - mean);
		}
	sd = n > 1.0 ? sqrt(sum / (n - 1.0)) : 1.0;
	for (size_t i = 0; i < s->model.n; i++) {
		double a = s->low[i], b = s->high[i];

		y[i] = isfinite(a) && isfinite(b) ? 0.5 * (a + b) :
		       isfinite(b) ? b - 0.5 * sd :
		       isfinite(a) ? a + 0.5 * sd : mean;
	}
}

/*
 * Every fixed effect must be held by rows that are measured or lie between
 * two finite limits: an arm of non-detects alone has no finite mean. With Q
 * orthogonal over all rows, the cross-products of these rows over n must not
 * be singular.
 */
static pd_status held_by_data(const struct pd_nested *m,
                              const pd_impute_spec *s, pd_error *err)
{
	size_t p = m->p;
	double *sum = m->work;
	bool held;

	memset(sum, 0, p * p * sizeof *sum);
	for (size_t i = 0; i < m->n; i++)
		for (size_t a = 0; isfinite(s->low[i]) &&
		                   isfinite(s->high[i]) && a < p; a++)
			for (size_t b = 0; b < p; b++)
				sum[a * p + b] += m->rows[i * m->ld + a] *
				                  m->rows[i * m->ld + b] /
				                  (double)m->n;
	held = pd_chol(sum, p, p);
	for (size_t a = 0; held && a < p; a++)
		held = sum[a * p + a] > 1e-5;
	return held ? PD_OK :
	       pd_fail(err, PD_REFUSED, "a fixed effect rests on values that "
	               "were not measured alone (an arm without a measured "
	               "value)");
}

/* The fit of set j into the combined numbers. */
static pd_status take(struct pd_impute *o, size_t j, pd_error *err)
{
	const struct pd_nested *m = o->fit;
	double share = 1.0 / (double)o->sets, v[PD_MAX_BLOCK];
	pd_status st = pd_df_make(m, o->arena, &o->parts[j], err);

	for (size_t i = 0; st == PD_OK && i < o->p; i++)
		o->beta[i] += share * pd_nested_beta(m)[i];
	for (size_t k = 0; st == PD_OK && k < o->depth; k++) {
		pd_nested_level_covariance(m, k, v);
		o->level_sd[k] += share * sqrt(v[0]);
	}
	o->residual_sd += share * pd_nested_residual_sd(m);
	return st;
}

/* Where the search of the next set begins: at the last solution, or inside
 * (where the chain stands) when that lies on the boundary. */
static void next_start(const struct pd_impute *o, const struct pd_chain *chain,
                       double *theta)
{
	if (pd_nested_record(o->fit)->n_at_zero)
		pd_chain_theta(chain, theta);
	else
		memcpy(theta, o->fit->theta, sizeof o->fit->theta);
}

/* The chain: burn in, then `sets` completed sets, each fitted. */
static pd_status draw_sets(struct pd_impute *o, const pd_impute_spec *s,
                           pd_error *err)
{
	double theta[PD_MAX_E], first[PD_MAX_E];
	size_t burn_in = FEW * o->censored < o->n ? BURN_IN_FEW : BURN_IN;
	struct pd_chain chain;
	pd_status st = pd_chain_new(o->fit, s->low, s->high, o->first, s->seed,
	                            o->arena, &chain, err);

	for (size_t j = 0; st == PD_OK && j < o->sets; j++) {
		size_t sweeps = j == 0 ? burn_in : SPACING;

		for (size_t k = 0; st == PD_OK && k < sweeps; k++)
			st = pd_chain_sweep(&chain, err);
		if (st != PD_OK)
			break;
		next_start(o, &chain, theta);
		st = pd_nested_refit(o->fit, chain.y, theta, err);
		if (st == PD_OK)
			st = take(o, j, err);
		if (j == 0) {
			memcpy(o->first, chain.y, o->n * sizeof *o->first);
			memcpy(first, o->fit->theta, sizeof first);
		}
	}
	if (st == PD_OK)
		st = pd_nested_refit(o->fit, o->first, first, err);
	return st;
}

static struct pd_impute *start(const pd_impute_spec *s, size_t censored)
{
	struct pd_impute *o = calloc(1, sizeof *o);

	if (!o)
		return NULL;
	o->n = s->model.n;
	o->p = s->model.p;
	o->depth = s->model.depth;
	o->censored = censored;
	o->sets = censored == 0 ? 1 : s->draws ? s->draws : DRAWS;
	o->arena = pd_arena_new();
	if (o->arena) {
		o->parts = PD_NEW(o->arena, struct pd_df_parts, o->sets);
		o->beta = PD_NEW(o->arena, double, o->p);
		o->level_sd = PD_NEW(o->arena, double, PD_NESTED_LEVELS);
		o->first = PD_NEW(o->arena, double, o->n);
	}
	if (!o->arena || !o->parts || !o->beta || !o->level_sd || !o->first) {
		pd_impute_free(o);
		return NULL;
	}
	return o;
}

pd_status pd_impute_fit(const pd_impute_spec *spec, pd_impute **out,
                        pd_error *err)
{
	pd_nested_spec model = spec->model;
	struct pd_impute *o;
	size_t censored;
	pd_status st;

	*out = NULL;
	if (!spec->low || !spec->high || model.n == 0 || model.p == 0)
		return pd_fail(err, PD_USAGE, "no rows, columns or limits");
	if (spec->draws == 1)
		return pd_fail(err, PD_USAGE, "1 completed set, expected at "
		               "least 2");
	st = count_censored(spec, &censored, err);
	if (st != PD_OK)
		return st;
	o = start(spec, censored);
	if (!o)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows",
		               model.n);
	guess(spec, o->first);
	model.y = o->first;
	st = pd_nested_new(&model, &o->fit, err);
	if (st == PD_OK && censored > 0)
		st = held_by_data(o->fit, spec, err);
	if (st == PD_OK)
		st = pd_nested_fit(o->fit, err);
	if (st == PD_OK)
		st = censored > 0 ? draw_sets(o, spec, err) : take(o, 0, err);
	if (st != PD_OK) {
		pd_impute_free(o);
		return st;
	}
	*out = o;
	return PD_OK;
}

void pd_impute_free(pd_impute *m)
{
	if (!m)
		return;
	pd_nested_free(m->fit);
	pd_arena_free(m->arena);
	free(m);
}

size_t pd_impute_censored(const pd_impute *m)
{
	return m->censored;
}

/* df with complete data df_c brought down for what was drawn, g its share. */
static double lower_df(double df_m, double df_c, double g)
{
	double df_obs;

	if (isinf(df_c))
		return df_m;
	df_obs = (df_c + 1.0) / (df_c + 3.0) * df_c * (1.0 - g);
	return isinf(df_m) ? df_obs : 1.0 / (1.0 / df_m + 1.0 / df_obs);
}

pd_status pd_impute_contrast(pd_impute *m, const double *c, double level,
                             pd_df_method method, pd_estimate *out,
                             pd_error *err)
{
	double *turned = m->fit->work, sets = (double)m->sets;
	double mean = 0.0, within = 0.0, between = 0.0, inverse_df = 0.0;
	double extra, g, df;
	pd_status st = PD_OK;

	pd_df_turn(m->fit, c, 1, turned);
	for (size_t j = 0; st == PD_OK && j < m->sets; j++) {
		double value, variance, df_c, d;

		st = pd_df_one(&m->parts[j], turned, method, &value, &variance,
		               &df_c, err);
		if (st != PD_OK)
			return st;
		d = value - mean;
		mean += d / (double)(j + 1);
		between += d * (value - mean);
		within += variance / sets;
		inverse_df += 1.0 / df_c / sets;
	}
	if (m->sets == 1)
		return pd_df_estimate(mean, within, 1.0 / inverse_df, level,
		                      out, err);
	extra = (1.0 + 1.0 / sets) * between / (sets - 1.0);
	g = extra / (within + extra);
	df = lower_df((sets - 1.0) / (g * g), 1.0 / inverse_df, g);
	return pd_df_estimate(mean, within + extra, df, level, out, err);
}

/* Means over the sets: value[l], within[l*l], between[l*l] (about `value`). */
static void collect(const pd_impute *m, const double *c, size_t l,
                    pd_df_method method, double *value, double *within,
                    double *between, double *work)
{
	size_t p = m->p;
	double sets = (double)m->sets;

	for (size_t j = 0; j < m->sets; j++) {
		pd_df_covariance(&m->parts[j], c, l, method, work);
		for (size_t a = 0; a < l * l; a++)
			within[a] += work[a] / sets;
		for (size_t a = 0; a < l; a++)
			for (size_t i = 0; i < p; i++)
				value[a] += c[a * p + i] *
				            m->parts[j].beta[i] / sets;
	}
	for (size_t j = 0; j < m->sets; j++) {
		for (size_t a = 0; a < l; a++) {
			work[a] = -value[a];
			for (size_t i = 0; i < p; i++)
				work[a] += c[a * p + i] * m->parts[j].beta[i];
		}
		for (size_t a = 0; a < l; a++)
			for (size_t b = 0; b < l; b++)
				between[a * l + b] += work[a] * work[b] /
				                      (sets - 1.0);
	}
}

/* D, r and df of Li, Raghunathan & Rubin from the collected means. */
static pd_status combine(const pd_impute *m, size_t l, double *value,
                         double *within, const double *between, double df_c,
                         double *work, pd_f_test *out, pd_error *err)
{
	double k = (double)l, sets = (double)m->sets, r = 0.0, d = 0.0;
	double t = k * (sets - 1.0), df_m;

	if (!pd_chol(within, l, l))
		return pd_fail(err, PD_USAGE, "the %zu contrasts of a test are "
		               "not independent", l);
	for (size_t b = 0; b < l; b++) {
		for (size_t a = 0; a < l; a++)
			work[a] = between[a * l + b];
		pd_chol_solve(within, l, l, work);
		r += (1.0 + 1.0 / sets) * work[b] / k;
	}
	memcpy(work, value, l * sizeof *work);
	pd_chol_solve(within, l, l, work);
	for (size_t a = 0; a < l; a++)
		d += value[a] * work[a];
	df_m = l == 1 ? (sets - 1.0) * pow(1.0 + 1.0 / r, 2.0) :
	       t > 4.0 ? 4.0 + (t - 4.0) * pow(1.0 + (1.0 - 2.0 / t) / r, 2.0)
	               : 0.5 * t * (1.0 + 1.0 / k) * pow(1.0 + 1.0 / r, 2.0);
	out->f = d / (k * (1.0 + r));
	out->df1 = k;
	out->df2 = lower_df(df_m, df_c, r / (1.0 + r));
	return PD_OK;
}

pd_status pd_impute_f_test(pd_impute *m, const double *c, size_t rows,
                           pd_df_method method, pd_f_test *out, pd_error *err)
{
	size_t l = rows, ll = l * l;
	double inverse_df = 0.0, scaling = 0.0, *turned, *room;
	pd_f_test one;
	pd_status st = PD_OK;

	if (l == 0 || l > m->p)
		return pd_fail(err, PD_USAGE, "%zu rows of contrasts, "
		               "expected 1 to %zu", l, m->p);
	turned = calloc(l * m->p + 3 * ll + 2 * l, sizeof *turned);
	if (!turned)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a test");
	room = turned + l * m->p;
	pd_df_turn(m->fit, c, l, turned);
	for (size_t j = 0; st == PD_OK && j < m->sets; j++) {
		st = pd_df_joint(&m->parts[j], turned, l, method, &one, err);
		inverse_df += 1.0 / one.df2 / (double)m->sets;
		scaling += one.scaling / (double)m->sets;
	}
	*out = one;
	if (st == PD_OK && m->sets > 1) {
		double *within = room + ll, *between = room + 2 * ll;
		double *value = room + 3 * ll;

		collect(m, turned, l, method, value, within, between, room);
		st = combine(m, l, value, within, between, 1.0 / inverse_df,
		             room, out, err);
		out->scaling = scaling;
		out->f *= scaling;
		out->p = isinf(out->df2) ?
			pd_chisq_upper(out->f * out->df1, out->df1) :
			pd_f_upper(out->f, out->df1, out->df2);
	}
	free(turned);
	return st;
}

void pd_impute_beta(const pd_impute *m, double *beta)
{
	memcpy(beta, m->beta, m->p * sizeof *beta);
}

double pd_impute_residual_sd(const pd_impute *m)
{
	return m->residual_sd;
}

double pd_impute_level_sd(const pd_impute *m, size_t level)
{
	return level < m->depth ? m->level_sd[level] : NAN;
}

pd_status pd_impute_completed(pd_impute *m, double *y, double *residual,
                              pd_error *err)
{
	memcpy(y, m->first, m->n * sizeof *y);
	return pd_nested_residuals(m->fit, residual, err);
}

pd_nested *pd_impute_first(pd_impute *m)
{
	return m->fit;
}
