/* fit.c - rows into a model frame, the frame into a design, the fit. */
#include "plan/fit.h"
#include "plan/fit_count.h"
#include "plan/words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_TERMS = 96 };
static const char between_units[] = " between units";
#define NONE ((size_t)-1)

/* The model being put together. */
struct build {
	const pd_question *q;
	const pd_rows *r;
	const pd_fit_ask *ask;
	pd_arena *arena, *scratch;
	pd_fit *fit;
	pd_frame *frame;         /* the kept rows' columns                    */
	pd_term term[MOST_TERMS];
	size_t n_terms, first_effect; /* index of the first effect term       */
	int32_t *group[PD_ROWS_DEPTH];
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory fitting");
}

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

/* --- columns ------------------------------------------------------------- */

static pd_status add_term(struct build *b, const char *name, pd_error *err)
{
	if (b->n_terms == MOST_TERMS)
		return pd_fail(err, PD_PLAN, "more than %d model columns",
		               MOST_TERMS);
	b->term[b->n_terms++] = (pd_term){ .column = name };
	return PD_OK;
}

/* A column of rows->model, levels that still occur only. */
static pd_status take_column(struct build *b, const char *name, pd_error *err)
{
	const pd_column *s = pd_frame_find(b->r->model, name);
	size_t n = b->fit->n;

	if (!s)
		return pd_fail(err, PD_INTERNAL, "no column '%s'", name);
	pd_column *d = s->kind == PD_REAL
	                   ? pd_frame_add_real(b->frame, name)
	                   : pd_frame_add_factor(b->frame, name);

	if (!d)
		return no_memory(err);
	for (size_t i = 0; i < n; i++) {
		size_t at = b->fit->row[i];

		if (s->kind == PD_REAL)
			d->real[i] = s->real[at];
		else if ((d->code[i] = pd_frame_level(
		              b->frame, d, s->level[s->code[at]])) < 0)
			return no_memory(err);
	}
	if (s->kind == PD_FACTOR && pd_column_sort_levels(d, n) != PD_OK)
		return no_memory(err);
	return add_term(b, d->name, err);
}

static int is_adjuster(const pd_question *q, const char *name)
{
	for (size_t k = 0; k < q->n_adjust; k++)
		if (strcmp(q->adjust[k], name) == 0)
			return 1;
	return 0;
}

static int finite_column(const pd_column *c, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(c->real[i]))
			return 0;
	return 1;
}

/* Several laboratory method versions are always told apart. */
static int several_versions(const pd_question *q, const pd_rows *r)
{
	const pd_column *v = pd_frame_find(r->model, "method_version");

	return v && v->n_levels > 1 && !is_adjuster(q, "method_version") &&
	       strcmp(q->parameter, "method_version") != 0;
}

static pd_status add_adjusters(struct build *b, pd_error *err)
{
	const pd_question *q = b->q;
	pd_status st = PD_OK;
	const pd_column *date = pd_frame_find(b->r->model, "case_date");

	for (size_t k = 0; st == PD_OK && b->ask->adjust && k < q->n_adjust;
	     k++) {
		const char *name = pd_rows_adjuster(b->arena, q, k);

		st = name ? take_column(b, name, err) : no_memory(err);
	}
	if (st == PD_OK && b->ask->adjust && several_versions(q, b->r))
		st = take_column(b, "method_version", err);
	if (st == PD_OK && b->ask->calendar && date &&
	    finite_column(date, b->r->n) && !is_adjuster(q, "case_date") &&
	    strcmp(q->parameter, "case_date") != 0)
		st = take_column(b, "case_date", err);
	return st;
}

/* Splits `x` inside its unit; adds the unit means as an adjuster named
 * `between` and leaves the deviations in x. */
static pd_status split_within(struct build *b, double *x, const char *between,
                              pd_error *err)
{
	size_t unit = pd_rows_level(b->r, b->q->within), n = b->fit->n;
	double *whole = PD_NEW(b->scratch, double, n + 1);
	int32_t *group = PD_NEW(b->scratch, int32_t, n + 1);
	pd_column *mean = pd_frame_add_real(b->frame, between);

	if (!whole || !group || !mean)
		return no_memory(err);
	memcpy(whole, x, n * sizeof *x);
	for (size_t i = 0; i < n; i++)
		group[i] = b->r->group[unit][b->fit->row[i]];
	pd_status st = pd_split_within(whole, group, n, b->r->n_groups[unit],
	                               x, mean->real, err);

	return st == PD_OK ? add_term(b, mean->name, err) : st;
}

/* One effect column: its values, split when asked, added as the last terms. */
static pd_status add_effect(struct build *b, const char *name,
                            const double *value, pd_error *err)
{
	double *x = PD_NEW(b->scratch, double, b->fit->n);
	char *between = pd_arena_print(b->scratch, "%s%s", name, between_units);
	pd_status st = PD_OK;

	if (!x || !between)
		return no_memory(err);
	memcpy(x, value, b->fit->n * sizeof *x);
	if (b->ask->within && b->q->within)
		st = split_within(b, x, between, err);
	if (st != PD_OK)
		return st;
	pd_column *c = pd_frame_add_real(b->frame, name);

	if (!c)
		return no_memory(err);
	memcpy(c->real, x, b->fit->n * sizeof *x);
	if (b->first_effect == NONE)
		b->first_effect = b->n_terms;
	return add_term(b, c->name, err);
}

static pd_status add_effects(struct build *b, pd_error *err)
{
	const pd_rows *r = b->r;
	size_t n = b->fit->n;
	double *value = PD_NEW(b->scratch, double, n + 1);
	pd_status st = PD_OK;

	if (!value)
		return no_memory(err);
	b->first_effect = NONE;
	if (r->x) {
		double mean = 0;

		for (size_t i = 0; i < n; i++)
			mean += (value[i] = r->x[b->fit->row[i]]) / (double)n;
		b->fit->x_mean = mean;
		st = add_effect(b, "effect", value, err);
		if (st != PD_OK || !b->ask->curved)
			return st;
		for (size_t i = 0; i < n; i++)
			value[i] = (value[i] - mean) * (value[i] - mean);
		pd_column *c = pd_frame_add_real(b->frame, "effect squared");

		if (!c)
			return no_memory(err);
		memcpy(c->real, value, n * sizeof *value);
		return add_term(b, c->name, err);
	}
	/* two arms: one indicator of the first; more: of all but the first */
	for (size_t a = 0; st == PD_OK && a < r->n_arms; a++) {
		if ((r->n_arms == 2 && b->q->kind == PD_COMPARE_LEVELS)
		        ? a != 0
		        : a == 0)
			continue;
		for (size_t i = 0; i < n; i++)
			value[i] = (size_t)r->arm[b->fit->row[i]] == a;
		char *name = pd_arena_print(b->scratch, "effect of %s",
		                            r->arm_name[a]);

		st = name ? add_effect(b, name, value, err) : no_memory(err);
	}
	return st;
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
		if (strstr(f->design.dropped[k], between_units))
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

static pd_status set_contrasts(struct build *b, pd_error *err)
{
	pd_fit *f = b->fit;
	size_t p = f->design.p, k_arms = b->r->arm ? b->r->n_arms : 0;
	int each = b->q->kind == PD_COMPARE_EACH;

	f->n_effects = each ? k_arms : 1;
	f->contrast = PD_NEW(b->scratch, double, f->n_effects * p);
	f->effect = PD_NEW(b->scratch, pd_estimate, f->n_effects);
	if (!f->contrast || !f->effect)
		return no_memory(err);
	f->x_column = column_of(b, effect_term(b, 0));
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

	return st == PD_OK ? pd_fit_counts(b->r, b->fit->depth ? b->group[0]
	                                                       : NULL,
	                                   plan->level, b->arena, b->scratch,
	                                   b->fit, err)
	                   : st;
}

static pd_status run(struct build *b, const pd_plan *plan, pd_error *err)
{
	pd_fit *f = b->fit;
	pd_status st = choose_rows(b, err);

	if (st == PD_OK)
		st = add_adjusters(b, err);
	if (st == PD_OK)
		st = add_effects(b, err);
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
	if (several_versions(q, rows))
		words = words ? pd_arena_print(arena, "%s, laboratory method "
		                               "version", words)
		              : "laboratory method version";
	return words;
}
