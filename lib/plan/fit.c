/* fit.c - rows into a model frame, the frame into a design, the fit. */
#include "plan/fit_own.h"
#include "plan/fit_count.h"
#include "plan/words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static pd_status choose_rows(struct build *b, pd_error *err)
{
	const pd_rows *r = b->r;
	pd_fit *f = b->fit;

	f->row = PD_NEW(b->scratch, size_t, r->n + 1);
	if (!f->row)
		return no_memory(err);
	for (size_t i = 0; i < r->n; i++) {
		if (b->ask->keep && !b->ask->keep[i])
			continue;
		if (b->ask->measured_only && r->low[i] < r->high[i])
			continue;
		f->row[f->n++] = i;
	}
	b->frame = pd_frame_new(f->n);
	return b->frame ? PD_OK : no_memory(err);
}

/* --- the tree --------------------------------------------------------------- */

/*
 * Levels worth a variance: more than one group, fewer groups than rows, and
 * not the same partition as the level above.
 */
static pd_status prune_tree(struct build *b, pd_error *err)
{
	pd_fit *f = b->fit;
	size_t above = 1;

	for (size_t k = 0; k < b->r->depth; k++) {
		int32_t *code = PD_NEW(b->scratch, int32_t, f->n + 1);

		if (!code)
			return no_memory(err);
		for (size_t i = 0; i < f->n; i++)
			code[i] = b->r->group[k][f->row[i]];
		size_t groups = pd_rows_dense(code, f->n, code);

		if (groups == (size_t)-1)
			return no_memory(err);
		if (groups <= above || groups >= f->n)
			continue;
		above = groups;
		b->group[f->depth] = code;
		f->level[f->depth] = k;
		f->n_groups[f->depth++] = groups;
	}
	return PD_OK;
}

/* --- fit and contrasts ------------------------------------------------------- */

static int constant(const double *x, size_t n)
{
	for (size_t i = 1; i < n; i++)
		if (x[i] != x[0])
			return 0;
	return 1;
}

/* Words for an effect that the design could not keep. */
static const char *lost_effect(const struct build *b, const pd_term *t)
{
	const pd_column *c = pd_frame_find(b->frame, t->column);

	if (constant(c->real, b->fit->n))
		return pd_arena_print(b->arena, "%s does not vary in these "
		                      "rows",
		                      pd_words_parameter(b->q->parameter));
	return pd_arena_print(b->arena, "%s cannot be told apart from what is "
	                      "adjusted for: it is a sum of those columns",
	                      pd_words_parameter(b->q->parameter));
}

/* What was left out of the design: an effect (no answer) or adjusters. */
static pd_status read_dropped(struct build *b, pd_error *err)
{
	pd_fit *f = b->fit;

	for (size_t t = b->first_effect; t < b->n_terms; t++)
		if (f->design.count[t] == 0) {
			f->refusal = lost_effect(b, &b->term[t]);
			return f->refusal ? PD_OK : no_memory(err);
		}
	for (size_t k = 0; k < f->design.n_dropped; k++) {
		/* every unit alike: nothing is between them to adjust for */
		if (strstr(f->design.dropped[k], pd_build_between))
			continue;
		f->aliased = f->aliased
		    ? pd_arena_print(b->arena, "%s; %s", f->aliased,
		                     f->design.dropped[k])
		    : pd_arena_copy(b->arena, f->design.dropped[k]);
		if (!f->aliased)
			return no_memory(err);
	}
	return PD_OK;
}

static size_t column_of(const struct build *b, size_t term)
{
	return b->fit->design.first[term];
}

/* The term that carries effect number k of the terms from first_effect on;
 * with `within` every effect is preceded by its unit means. */
static size_t effect_term(const struct build *b, size_t k)
{
	size_t stride = b->ask->within && b->q->within ? 2 : 1;

	return b->first_effect + stride * k;
}

/* Height at `first` less height at `second`. */
static void set_curve(struct build *b)
{
	pd_fit *f = b->fit;
	double to[PD_SPLINE_MOST], from[PD_SPLINE_MOST];

	pd_spline_basis(f->curve, b->q->to, to);
	pd_spline_basis(f->curve, b->q->from, from);
	for (size_t j = 0; j + 1 < f->curve->k; j++) {
		f->curve_column[j] = column_of(b, b->first_effect + j);
		f->contrast[f->curve_column[j]] = to[j] - from[j];
	}
}

void pd_fit_place(const pd_fit *f, double x, double *c)
{
	double at[PD_SPLINE_MOST];

	if (!f->curve) {
		c[f->x_column] += x - f->x_mean;
		return;
	}
	pd_spline_basis(f->curve, x, at);
	for (size_t j = 0; j + 1 < f->curve->k; j++)
		c[f->curve_column[j]] += at[j] - f->curve_mean[j];
}

static pd_status set_contrasts(struct build *b, pd_error *err)
{
	pd_fit *f = b->fit;
	size_t p = f->design.p, k_arms = b->r->arm ? b->r->n_arms : 0;
	int each = b->q->kind == PD_COMPARE_EACH;

	/* one level alone: nothing to compare, the model only completes */
	if (each && k_arms < 2)
		return PD_OK;
	f->n_effects = each ? k_arms : 1;
	f->contrast = PD_NEW(b->scratch, double, f->n_effects * p);
	f->effect = PD_NEW(b->scratch, pd_estimate, f->n_effects);
	if (!f->contrast || !f->effect)
		return no_memory(err);
	f->x_column = column_of(b, effect_term(b, 0));
	if (f->curve) {
		set_curve(b);
		return PD_OK;
	}
	if (b->q->differs_by && !b->ask->curved) {
		f->differs_column = column_of(b, b->n_terms - 1);
		f->contrast[f->differs_column] = 1;
		return PD_OK;
	}
	if (!each) {
		f->contrast[f->x_column] = 1;
		return PD_OK;
	}
	/* level a less the equal-weight mean of all levels */
	for (size_t e = 0; e < k_arms; e++)
		for (size_t a = 1; a < k_arms; a++)
			f->contrast[e * p + column_of(b, effect_term(b, a - 1))] =
			    (double)(e == a) - 1.0 / (double)k_arms;
	return PD_OK;
}

static pd_status take_estimates(struct build *b, double level, pd_error *err)
{
	pd_fit *f = b->fit;
	size_t p = f->design.p;
	pd_status st = PD_OK;

	for (size_t e = 0; st == PD_OK && e < f->n_effects; e++)
		st = pd_impute_contrast(f->model, f->contrast + e * p, level,
		                        PD_KENWARD_ROGER, &f->effect[e], err);
	if (st == PD_OK && b->ask->curved && b->r->x) {
		double *c = PD_NEW(b->scratch, double, p);

		if (!c)
			return no_memory(err);
		c[column_of(b, b->n_terms - 1)] = 1;
		st = pd_impute_contrast(f->model, c, level, PD_KENWARD_ROGER,
		                        &f->curvature, err);
	}
	return st;
}

/*
 * Completed sets: at least the percentage of rows that are completed (White,
 * Royston & Wood 2011, Stat. Med. 30, 377-399), 5 to 50; a quarter of that
 * where only a second look is taken.
 */
static unsigned draws(const struct build *b)
{
	size_t n = b->fit->n, censored = 0;

	for (size_t i = 0; i < n; i++)
		censored += b->r->low[b->fit->row[i]] <
		            b->r->high[b->fit->row[i]];
	double wanted = ceil(100.0 * (double)censored / (double)n);

	if (b->ask->light)
		return (unsigned)fmin(fmax(wanted / 4, 3), 13);
	return (unsigned)fmin(fmax(wanted, 5), 50);
}

static pd_status fit_model(struct build *b, const pd_plan *plan, pd_error *err)
{
	pd_fit *f = b->fit;
	double *low = PD_NEW(b->scratch, double, f->n + 1);
	double *high = PD_NEW(b->scratch, double, f->n + 1);
	pd_impute_spec spec = { .draws = draws(b), .seed = plan->seed };

	if (!low || !high)
		return no_memory(err);
	for (size_t i = 0; i < f->n; i++) {
		low[i] = b->r->low[f->row[i]];
		high[i] = b->r->high[f->row[i]];
	}
	spec.low = low;
	spec.high = high;
	spec.model.n = f->n;
	spec.model.p = f->design.p;
	spec.model.x = f->design.x;
	spec.model.depth = f->depth;
	for (size_t k = 0; k < f->depth; k++)
		spec.model.group[k] = b->group[k];
	pd_error inner = { 0 };
	pd_status st = pd_impute_fit(&spec, &f->model, &inner);

	if (st == PD_REFUSED || st == PD_NUMERIC) {
		f->refusal = pd_arena_print(b->arena, "the model could not be "
		                            "fitted: %s", inner.text);
		return f->refusal ? PD_OK : no_memory(err);
	}
	if (st != PD_OK) {
		if (err)
			*err = inner;
		return st;
	}
	st = set_contrasts(b, err);
	return st == PD_OK ? take_estimates(b, plan->level, err) : st;
}

static pd_status count_model(struct build *b, const pd_plan *plan,
                             pd_error *err)
{
	pd_status st = set_contrasts(b, err);

	size_t inner = b->ask->inner;

	return st == PD_OK
	           ? pd_fit_counts(b->r, b->fit->depth ? b->group[0] : NULL,
	                           inner && inner < b->fit->depth
	                               ? b->group[inner]
	                               : NULL,
	                           plan->level, b->arena, b->scratch, b->fit,
	                           err)
	           : st;
}

static pd_status run(struct build *b, const pd_plan *plan, pd_error *err)
{
	pd_fit *f = b->fit;
	pd_status st = choose_rows(b, err);

	if (st == PD_OK)
		st = pd_build_adjusters(b, err);
	if (st == PD_OK)
		st = pd_build_effects(b, err);
	if (st == PD_OK && f->refusal)
		return PD_OK;
	if (st == PD_OK)
		st = prune_tree(b, err);
	if (st == PD_OK && f->n < b->n_terms + 3) {
		f->refusal = "too few rows for the model";
		return PD_OK;
	}
	if (st == PD_OK)
		st = pd_design_build(b->scratch, b->frame, b->term, b->n_terms,
		                     &f->design, err);
	if (st == PD_OK)
		st = read_dropped(b, err);
	if (st != PD_OK || f->refusal)
		return st;
	return b->ask->counts ? count_model(b, plan, err)
	                      : fit_model(b, plan, err);
}

pd_status pd_fit_run(const pd_plan *plan, const pd_question *q,
                     const pd_rows *rows, const pd_fit_ask *ask,
                     pd_arena *arena, pd_arena *scratch, pd_fit *out,
                     pd_error *err)
{
	struct build b = { .q = q, .r = rows, .ask = ask, .arena = arena,
		           .scratch = scratch, .fit = out };

	memset(out, 0, sizeof *out);
	pd_status st = run(&b, plan, err);

	pd_frame_free(b.frame);
	if (st != PD_OK)
		pd_fit_clear(out);
	return st;
}

void pd_fit_clear(pd_fit *fit)
{
	pd_impute_free(fit->model);
	fit->model = NULL;
}

const char *pd_fit_adjusters(const pd_question *q, const pd_rows *rows,
                             pd_arena *arena)
{
	const char *words = NULL;

	for (size_t k = 0; k < q->n_adjust; k++) {
		const char *name = pd_rows_adjuster(arena, q, k);

		words = words ? pd_arena_print(arena, "%s, %s", words, name)
		              : name;
	}
	if (!isnan(q->change))
		words = words ? pd_arena_print(arena, "%s, calendar slope",
		                               words)
		              : "calendar slope";
	if (pd_build_versions(q, rows))
		words = words ? pd_arena_print(arena, "%s, laboratory method "
		                               "version", words)
		              : "laboratory method version";
	return words;
}
