/*
 * expect_model.c - the columns fitted with random patients, cases, sides,
 * sites and pulls: the law of a case's total, and what the reader is told of
 * the fit.
 */
#include "plan/expect_own.h"

#include <math.h>
#include <string.h>

/* --- the fit ------------------------------------------------------------- */

/* A subset of the rows, and the levels of the tree worth a variance. */
struct fitting {
	pd_impute_spec spec;
	size_t level[PD_ROWS_DEPTH]; /* in pd_rows                            */
	double *x, *low, *high;
	size_t n_censored;
};

static pd_status take_tree(struct pd_expect_work *w, const size_t *row,
                           struct fitting *f, pd_error *err)
{
	pd_nested_spec *s = &f->spec.model;
	size_t above = 1;

	for (size_t k = 0; k < w->rows.depth; k++) {
		int32_t *code = PD_NEW(w->scratch, int32_t, s->n + 1);

		if (!code)
			return no_memory(err);
		for (size_t i = 0; i < s->n; i++)
			code[i] = w->rows.group[k][row[i]];
		size_t groups = pd_rows_dense(code, s->n, code);

		if (groups == (size_t)-1)
			return no_memory(err);
		if (groups <= above || groups >= s->n)
			continue;
		above = groups;
		f->level[s->depth] = k;
		s->group[s->depth++] = code;
	}
	return PD_OK;
}

static pd_status take_rows(struct pd_expect_work *w, const unsigned char *keep,
                           struct fitting *f, pd_error *err)
{
	size_t n = w->rows.n, p = w->design.p, m = 0;
	size_t *row = PD_NEW(w->scratch, size_t, n + 1);

	f->x = PD_NEW(w->scratch, double, n * p + 1);
	f->low = PD_NEW(w->scratch, double, n + 1);
	f->high = PD_NEW(w->scratch, double, n + 1);
	if (!row || !f->x || !f->low || !f->high)
		return no_memory(err);
	for (size_t i = 0; i < n; i++) {
		if (keep && !keep[i])
			continue;
		row[m] = i;
		memcpy(f->x + m * p, w->design.x + i * p, p * sizeof *f->x);
		f->low[m] = w->rows.low[i];
		f->high[m] = w->rows.high[i];
		f->n_censored += f->low[m] < f->high[m];
		m++;
	}
	f->spec.low = f->low;
	f->spec.high = f->high;
	f->spec.seed = w->plan->seed;
	f->spec.model.n = m;
	f->spec.model.p = p;
	f->spec.model.x = f->x;
	return take_tree(w, row, f, err);
}

/* At least the percentage of rows completed (White, Royston & Wood 2011), 5 to
 * 50, unless a number is given. */
static pd_status fit(struct pd_expect_work *w, const unsigned char *keep,
                     unsigned draws, struct fitting *f, pd_impute **model,
                     pd_error *err)
{
	pd_status st = take_rows(w, keep, f, err);
	double wanted = ceil(100.0 * (double)f->n_censored /
	                     fmax((double)f->spec.model.n, 1));

	if (st != PD_OK)
		return st;
	if (f->spec.model.n < w->design.p + 3)
		return pd_fail(err, PD_REFUSED, "%zu results are too few for "
		               "a model of %zu columns", f->spec.model.n,
		               w->design.p);
	f->spec.draws = draws ? draws : (unsigned)fmin(fmax(wanted, 5), 50);
	return pd_impute_fit(&f->spec, model, err);
}

/* C_ij from the variances of sums: Var(b_i + b_j) = C_ii + 2 C_ij + C_jj. */
static pd_status take_covariance(struct pd_expect_work *w, pd_impute *m,
                                 double *cov, pd_error *err)
{
	size_t p = w->design.p;
	double *c = PD_NEW(w->scratch, double, p + 1);
	pd_estimate e;
	pd_status st = c ? PD_OK : no_memory(err);

	for (size_t i = 0; st == PD_OK && i < p; i++) {
		c[i] = 1;
		st = pd_impute_contrast(m, c, 0.95, PD_NORMAL, &e, err);
		cov[i * p + i] = e.se * e.se;
		for (size_t j = 0; st == PD_OK && j < i; j++) {
			c[j] = 1;
			st = pd_impute_contrast(m, c, 0.95, PD_NORMAL, &e, err);
			c[j] = 0;
			cov[i * p + j] = cov[j * p + i] =
			    (e.se * e.se - cov[i * p + i] - cov[j * p + j]) / 2;
		}
		c[i] = 0;
	}
	return st;
}

/* Columns that differ mostly between patients, the intercept among them. */
static size_t between_columns(const struct pd_expect_work *w,
                              const struct fitting *f)
{
	size_t n = f->spec.model.n, p = f->spec.model.p, count = 1;
	const int32_t *g = f->spec.model.depth && f->level[0] == 0
	                       ? f->spec.model.group[0]
	                       : NULL;

	for (size_t j = 1; g && j < p; j++) {
		double all = 0, inside = 0, mean = 0;

		for (size_t i = 0; i < n; i++)
			mean += f->x[i * p + j] / (double)n;
		/* rows of a patient stand together */
		for (size_t i = 0, k; i < n; i = k) {
			double own = 0;

			for (k = i; k < n && g[k] == g[i]; k++)
				own += f->x[k * p + j];
			own /= (double)(k - i);
			for (size_t r = i; r < k; r++) {
				double x = f->x[r * p + j];

				all += (x - mean) * (x - mean);
				inside += (x - own) * (x - own);
			}
		}
		count += inside < all / 2;
	}
	(void)w;
	return count;
}

static void take_law(struct pd_expect_work *w, pd_impute *m,
                     const struct fitting *f, pd_total_law *law)
{
	const pd_nested_spec *s = &f->spec.model;
	double v[PD_ROWS_DEPTH] = { 0 }, rest = pd_impute_residual_sd(m);
	size_t patients = s->n;

	for (size_t k = 0; k < s->depth; k++) {
		double sd = pd_impute_level_sd(m, k);

		v[f->level[k]] = sd * sd;
	}
	if (s->depth && f->level[0] == 0) {
		patients = 0;
		for (size_t i = 0; i < s->n; i++)
			if ((size_t)s->group[0][i] >= patients)
				patients = (size_t)s->group[0][i] + 1;
	}
	size_t used = between_columns(w, f);

	law->p = s->p;
	law->case_sd = sqrt(v[0] + v[1]);
	law->side_sd = sqrt(v[2]);
	law->site_sd = sqrt(v[3]);
	law->pull_sd = sqrt(v[4] + rest * rest);
	law->df = patients > used + 1 ? (double)(patients - used) : 1;
}

pd_status pd_expect_fit(struct pd_expect_work *w, const unsigned char *keep,
                        unsigned draws, double *beta, double *covariance,
                        pd_total_law *law, pd_error *err)
{
	struct fitting f = { 0 };
	pd_impute *m = NULL;
	pd_status st = fit(w, keep, draws, &f, &m, err);

	if (st == PD_OK) {
		pd_impute_beta(m, beta);
		take_law(w, m, &f, law);
		law->beta = beta;
		law->covariance = covariance;
		st = take_covariance(w, m, covariance, err);
	}
	pd_impute_free(m);
	return st;
}

/* --- what the whole fit says --------------------------------------------- */

static size_t patients_at(const struct pd_expect_work *w, const pd_column *c,
                          size_t code)
{
	size_t n = 0;
	int32_t last = -1;

	for (size_t i = 0; i < w->rows.n; i++)
		if ((size_t)c->code[i] == code && w->rows.group[0][i] != last) {
			last = w->rows.group[0][i];
			n++;
		}
	return n;
}

static pd_status one_column(struct pd_expect_work *w, pd_impute *m, size_t at,
                            pd_estimate *out, pd_error *err)
{
	double *c = PD_NEW(w->scratch, double, w->design.p + 1);

	if (!c)
		return no_memory(err);
	c[at] = 1;
	return pd_impute_contrast(m, c, w->plan->level, PD_KENWARD_ROGER, out,
	                          err);
}

/* Later sites and pulls against the first. */
static pd_status take_orders(struct pd_expect_work *w, pd_impute *m, size_t t,
                             size_t top, const char *of, pd_error *err)
{
	const pd_column *c = pd_frame_find(w->frame, w->term[t].column);
	pd_expect_answer *a = w->a;
	pd_status st = PD_OK;

	for (size_t k = 1; st == PD_OK && k < top; k++) {
		size_t at = w->design.column[t][k];

		if (at == PD_NO_COLUMN || a->n_orders ==
		    sizeof a->order / sizeof *a->order)
			continue;
		pd_expect_order *o = &a->order[a->n_orders++];

		o->name = pd_arena_print(w->arena, "%s %zu%s", of, k + 1,
		                         k + 1 == top ? " or later" : "");
		o->n_patients = patients_at(w, c, k);
		st = o->name ? one_column(w, m, at, &o->log_ratio, err)
		             : no_memory(err);
	}
	return st;
}

static void take_components(struct pd_expect_work *w, pd_impute *m,
                            const struct fitting *f)
{
	static const char *const names[PD_ROWS_DEPTH] = {
		"between patients", "between cases of a patient",
		"between sides of a case", "between sites of a side",
		"between pulls of a site"
	};
	pd_expect_answer *a = w->a;

	for (size_t k = 0; k < f->spec.model.depth; k++) {
		a->component_name[a->n_components] = names[f->level[k]];
		a->component_sd[a->n_components++] = pd_impute_level_sd(m, k);
	}
	a->component_name[a->n_components] =
	    "the rest: what is not told apart above, and the laboratory";
	a->component_sd[a->n_components++] = pd_impute_residual_sd(m);
}

/* How the fit failed, in words, or on as an error. */
static pd_status settle(struct pd_expect_work *w, pd_status st,
                        const pd_error *inner, pd_error *err)
{
	if (st == PD_REFUSED || st == PD_NUMERIC) {
		w->a->refusal = pd_arena_print(w->arena, "the model could not "
		                               "be fitted: %s", inner->text);
		return w->a->refusal ? PD_OK : no_memory(err);
	}
	if (st != PD_OK && err)
		*err = *inner;
	return st;
}

/* One slope for all volumes, for the reader; the curve is what foretells. */
static pd_status straight(struct pd_expect_work *w, pd_error *err)
{
	struct fitting f = { 0 };
	pd_impute *m = NULL;
	pd_error inner = { 0 };
	pd_status st = pd_expect_columns(w, false, err);
	size_t at = st == PD_OK ? w->design.column[w->t_volume][0]
	                        : PD_NO_COLUMN;

	w->a->volume = (pd_estimate){ NAN, NAN, NAN, NAN, NAN, NAN, NAN };
	if (st != PD_OK || at == PD_NO_COLUMN)
		return st;
	st = fit(w, NULL, 0, &f, &m, &inner);
	if (st == PD_OK)
		st = one_column(w, m, at, &w->a->volume, &inner);
	pd_impute_free(m);
	return settle(w, st, &inner, err);
}

static pd_status dropped(struct pd_expect_work *w, pd_error *err)
{
	pd_expect_answer *a = w->a;

	for (size_t k = 0; k < w->design.n_dropped && a->n_notes < 9; k++) {
		/* one pull a site, one site a side: nothing to tell apart */
		if (strstr(w->design.dropped[k], "of the site: the same") ||
		    strstr(w->design.dropped[k], "of the side: the same"))
			continue;
		a->note[a->n_notes] = pd_arena_print(
		    w->arena, "Left out of the model: %s.",
		    w->design.dropped[k]);
		if (!a->note[a->n_notes++])
			return no_memory(err);
	}
	return PD_OK;
}

/* A curve for the reader: its knots, and whether it is one at all (its curved
 * columns together, an F test). */
static pd_status take_bend(struct pd_expect_work *w, pd_impute *m, bool curved,
                           size_t t, const pd_spline *s, pd_expect_curve *out,
                           pd_error *err)
{
	size_t p = w->design.p, rows = 0;
	double *c = PD_NEW(w->scratch, double, PD_SPLINE_MOST * p + 1);
	pd_f_test f;

	*out = (pd_expect_curve){ .bend_p = NAN };
	if (!c)
		return no_memory(err);
	if (!curved)
		return PD_OK;
	out->k = s->k;
	memcpy(out->knot, s->knot, s->k * sizeof *s->knot);
	for (size_t j = 1; j + 1 < s->k; j++) {
		size_t at = w->design.column[t + j][0];

		if (at != PD_NO_COLUMN)
			c[rows++ * p + at] = 1;
	}
	if (!rows)
		return PD_OK;
	pd_error inner;
	pd_status st = pd_impute_f_test(m, c, rows, PD_KENWARD_ROGER, &f,
	                                &inner);

	if (st == PD_OK)
		out->bend_p = f.p;
	return st == PD_NO_MEMORY ? no_memory(err) : PD_OK;
}

static pd_status main_fit(struct pd_expect_work *w, pd_error *err)
{
	size_t p = w->design.p;
	struct fitting f = { 0 };
	pd_impute *m = NULL;
	pd_expect_answer *a = w->a;

	w->beta = PD_NEW(w->scratch, double, p + 1);
	w->covariance = PD_NEW(w->scratch, double, p * p + 1);
	if (!w->beta || !w->covariance)
		return no_memory(err);
	pd_status st = fit(w, NULL, 0, &f, &m, err);

	if (st == PD_OK) {
		pd_impute_beta(m, w->beta);
		take_law(w, m, &f, &w->law);
		w->law.beta = w->beta;
		w->law.covariance = w->covariance;
		take_components(w, m, &f);
		st = take_covariance(w, m, w->covariance, err);
	}
	if (st == PD_OK)
		st = take_orders(w, m, w->t_order, w->top_order,
		                 "site", err);
	if (st == PD_OK)
		st = take_orders(w, m, w->t_pull, w->top_pull,
		                 "pull", err);
	if (st == PD_OK)
		st = take_bend(w, m, w->curved, w->t_volume, &w->spline,
		               &a->ml_curve, err);
	if (st == PD_OK)
		st = take_bend(w, m, w->age_curved, w->t_age, &w->age_spline,
		               &a->age_curve, err);
	for (size_t k = 0; k < a->ml_curve.k; k++)
		a->ml_curve.knot[k] = exp(a->ml_curve.knot[k]);
	pd_impute_free(m);
	return st;
}

pd_status pd_expect_model(struct pd_expect_work *w, pd_error *err)
{
	pd_error inner = { 0 };
	pd_status st = straight(w, err);

	if (st == PD_OK && !w->a->refusal)
		st = pd_expect_columns(w, true, err);
	if (st == PD_OK && !w->a->refusal)
		st = dropped(w, err);
	if (st != PD_OK || w->a->refusal)
		return st;
	st = main_fit(w, &inner);
	return settle(w, st, &inner, err);
}
