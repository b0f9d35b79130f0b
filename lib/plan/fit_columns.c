/* fit_columns.c - adjusters and effects as columns of the model. */
#include "plan/fit_own.h"

#include <math.h>
#include <string.h>

const char pd_build_between[] = " between units";

static pd_status add_term(struct build *b, const char *name, pd_error *err)
{
	if (b->n_terms == PD_BUILD_TERMS)
		return pd_fail(err, PD_PLAN, "more than %d model columns",
		               PD_BUILD_TERMS);
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

int pd_build_versions(const pd_question *q, const pd_rows *r)
{
	const pd_column *v = pd_frame_find(r->model, "method_version");

	return v && v->n_levels > 1 && !is_adjuster(q, "method_version") &&
	       strcmp(q->parameter, "method_version") != 0;
}

pd_status pd_build_adjusters(struct build *b, pd_error *err)
{
	const pd_question *q = b->q;
	pd_status st = PD_OK;
	const pd_column *date = pd_frame_find(b->r->model, "case_date");

	for (size_t k = 0; st == PD_OK && b->ask->adjust && k < q->n_adjust;
	     k++) {
		const char *name = pd_rows_adjuster(b->arena, q, k);

		st = name ? take_column(b, name, err) : no_memory(err);
	}
	if (st == PD_OK && b->ask->adjust && !b->ask->across_versions &&
	    pd_build_versions(q, b->r))
		st = take_column(b, "method_version", err);
	if (st == PD_OK && b->ask->calendar && date &&
	    finite_column(date, b->r->n) && !is_adjuster(q, "case_date") &&
	    strcmp(q->parameter, "case_date") != 0)
		st = take_column(b, "case_date", err);
	if (st == PD_OK && q->differs_by &&
	    !pd_frame_find(b->frame, q->differs_by))
		st = take_column(b, q->differs_by, err);
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

static pd_status add_plain(struct build *b, const char *name,
                           const double *value, pd_error *err)
{
	pd_column *c = pd_frame_add_real(b->frame, name);

	if (!c)
		return no_memory(err);
	memcpy(c->real, value, b->fit->n * sizeof *value);
	return add_term(b, c->name, err);
}

/* One effect column: its values, split when asked, added as the last terms. */
static pd_status add_effect(struct build *b, const char *name,
                            const double *value, pd_error *err)
{
	double *x = PD_NEW(b->scratch, double, b->fit->n);
	char *between = pd_arena_print(b->scratch, "%s%s", name, pd_build_between);
	pd_status st = PD_OK;

	if (!x || !between)
		return no_memory(err);
	memcpy(x, value, b->fit->n * sizeof *x);
	if (b->ask->within && b->q->within)
		st = split_within(b, x, between, err);
	if (st != PD_OK)
		return st;
	if (b->first_effect == PD_BUILD_NONE)
		b->first_effect = b->n_terms;
	return add_plain(b, name, x, err);
}

/* x itself, and the square of its distance from the mean when asked. */
static pd_status add_slope(struct build *b, double *value, pd_error *err)
{
	size_t n = b->fit->n;
	double mean = 0;

	for (size_t i = 0; i < n; i++)
		mean += (value[i] = b->r->x[b->fit->row[i]]) / (double)n;
	b->fit->x_mean = mean;
	pd_status st = add_effect(b, "effect", value, err);

	if (st != PD_OK || !b->ask->curved)
		return st;
	for (size_t i = 0; i < n; i++)
		value[i] = (value[i] - mean) * (value[i] - mean);
	return add_plain(b, "effect squared", value, err);
}

/* Two arms: one indicator of the first; more: of all but the first. */
static pd_status add_arms(struct build *b, double *value, pd_error *err)
{
	const pd_rows *r = b->r;
	int two = r->n_arms == 2 && b->q->kind == PD_COMPARE_LEVELS;
	pd_status st = PD_OK;

	for (size_t a = 0; st == PD_OK && a < r->n_arms; a++) {
		if (two ? a != 0 : a == 0)
			continue;
		for (size_t i = 0; i < b->fit->n; i++)
			value[i] = (size_t)r->arm[b->fit->row[i]] == a;
		char *name = pd_arena_print(b->scratch, "effect of %s",
		                            r->arm_name[a]);

		st = name ? add_effect(b, name, value, err) : no_memory(err);
	}
	return st;
}

/* Knots at quantiles: four, three where the values do not bear them. */
static pd_status choose_knots(struct build *b, const double *v, pd_error *err)
{
	pd_spline *s = PD_NEW(b->scratch, pd_spline, 1);
	pd_error inner = { 0 };
	pd_status st = PD_REFUSED;

	if (!s)
		return no_memory(err);
	for (size_t k = 4; st == PD_REFUSED && k >= 3; k--)
		st = pd_spline_default(v, b->fit->n, k, s, &inner);
	b->fit->curve = s;
	if (st == PD_REFUSED)
		b->fit->refusal = pd_arena_print(b->arena, "no curve can be "
		                                 "told from these values: %s",
		                                 inner.text);
	if (st == PD_REFUSED && b->fit->refusal)
		return PD_OK;
	return st == PD_OK ? PD_OK
	                   : pd_fail(err, st, "curve: %s", inner.text);
}

/* Curve columns stand last and together; their unit means before them. */
static pd_status add_curve(struct build *b, double *value, pd_error *err)
{
	size_t n = b->fit->n;
	double *x[PD_SPLINE_MOST];
	pd_status st = PD_OK;

	for (size_t i = 0; i < n; i++)
		value[i] = b->r->x[b->fit->row[i]];
	st = choose_knots(b, value, err);
	if (st != PD_OK || b->fit->refusal)
		return st;
	size_t k = b->fit->curve->k - 1;
	double *all = PD_NEW(b->scratch, double, n * k + 1);

	if (!all)
		return no_memory(err);
	pd_spline_columns(b->fit->curve, value, n, all, k, 0);
	for (size_t j = 0; st == PD_OK && j < k; j++) {
		char *mean = pd_arena_print(b->scratch, "curve %zu%s", j + 1,
		                            pd_build_between);

		x[j] = PD_NEW(b->scratch, double, n + 1);
		if (!x[j] || !mean)
			return no_memory(err);
		for (size_t i = 0; i < n; i++) {
			x[j][i] = all[i * k + j];
			b->fit->curve_mean[j] += x[j][i] / (double)n;
		}
		if (b->ask->within && b->q->within)
			st = split_within(b, x[j], mean, err);
	}
	b->first_effect = b->n_terms;
	for (size_t j = 0; st == PD_OK && j < k; j++) {
		char *name = pd_arena_print(b->scratch, "curve %zu", j + 1);

		st = name ? add_plain(b, name, x[j], err) : no_memory(err);
	}
	return st;
}

/* The effect times what it may differ by, the latter about its mean. */
static pd_status add_product(struct build *b, double *value, pd_error *err)
{
	const pd_question *q = b->q;
	const pd_column *m = pd_frame_find(b->r->model, q->differs_by);
	const pd_column *x = pd_frame_find(b->frame,
	                                   b->term[b->n_terms - 1].column);
	size_t n = b->fit->n;
	double mean = 0;

	for (size_t i = 0; i < n; i++) {
		size_t at = b->fit->row[i];

		value[i] = m->kind == PD_REAL
		               ? m->real[at] / q->differs_step
		               : strcmp(m->level[m->code[at]],
		                        q->differs_first) == 0;
		mean += value[i] / (double)n;
	}
	b->fit->differs_mean = mean;
	for (size_t i = 0; i < n; i++)
		value[i] = (value[i] - mean) * x->real[i];
	return add_plain(b, "effect by modifier", value, err);
}

pd_status pd_build_effects(struct build *b, pd_error *err)
{
	double *value = PD_NEW(b->scratch, double, b->fit->n + 1);
	pd_status st;

	if (!value)
		return no_memory(err);
	b->first_effect = PD_BUILD_NONE;
	st = b->q->kind == PD_COMPARE_CURVE ? add_curve(b, value, err)
	     : b->r->x                      ? add_slope(b, value, err)
	                                    : add_arms(b, value, err);
	return st == PD_OK && b->q->differs_by && !b->ask->curved
	           ? add_product(b, value, err)
	           : st;
}
