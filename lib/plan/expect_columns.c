/*
 * expect_columns.c - log yield of a pull by age, sex, mL, order of the site on
 * its side, order of the pull at its site, method version and what the user
 * holds equal besides: the columns of the model, and the row of any pull.
 */
#include "plan/expect_own.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum {
	CURVE_PATIENTS = 40, CURVE_KNOTS = 3, /* of ln mL, and of age below   */
	MORE_PATIENTS = 150, MORE_KNOTS = 4   /* that many; from it on of age */
};

/* --- columns ------------------------------------------------------------- */

static pd_column *add_real(struct pd_expect_work *w, const char *name,
                           const double *from)
{
	pd_column *c = pd_frame_add_real(w->frame, name);

	if (c && from)
		memcpy(c->real, from, w->rows.n * sizeof *from);
	return c;
}

static pd_status add_term(struct pd_expect_work *w, const char *name,
                          size_t *at, pd_error *err)
{
	if (w->n_terms == PD_EXPECT_TERMS)
		return pd_fail(err, PD_USAGE, "more than %d model columns",
		               PD_EXPECT_TERMS);
	if (at)
		*at = w->n_terms;
	w->term[w->n_terms++] = (pd_term){ .column = name };
	return PD_OK;
}

static pd_status take_real(struct pd_expect_work *w, const char *name,
                           const double *from, size_t *at, pd_error *err)
{
	pd_column *c = add_real(w, name, from);

	return c ? add_term(w, c->name, at, err) : no_memory(err);
}

static pd_status take_factor(struct pd_expect_work *w, const char *name,
                             const pd_column *from, size_t *at, pd_error *err)
{
	pd_column *c = pd_frame_add_factor(w->frame, name);

	for (size_t i = 0; c && i < w->rows.n; i++)
		if ((c->code[i] = pd_frame_level(
		         w->frame, c, from->level[from->code[i]])) < 0)
			return no_memory(err);
	if (!c || pd_column_sort_levels(c, w->rows.n) != PD_OK)
		return no_memory(err);
	return add_term(w, c->name, at, err);
}

/* Order 1, 2, ... as levels; the last stands for all later ones. */
static pd_status take_order(struct pd_expect_work *w, const char *name,
                            const double *from, size_t top, size_t *at,
                            pd_error *err)
{
	pd_column *c = pd_frame_add_factor(w->frame, name);
	char word[32];

	for (size_t k = 1; c && k <= top; k++) {
		snprintf(word, sizeof word, "%zu", k);
		if (pd_frame_level(w->frame, c, word) < 0)
			return no_memory(err);
	}
	for (size_t i = 0; c && i < w->rows.n; i++) {
		size_t k = from[i] >= 1 ? (size_t)from[i] : 1;

		c->code[i] = (int32_t)((k < top ? k : top) - 1);
	}
	return c ? add_term(w, c->name, at, err) : no_memory(err);
}

/* The columns of a curve of v, one after the other from *t on. */
static pd_status take_curve(struct pd_expect_work *w, const char *of,
                            const double *v, const pd_spline *s, size_t *t,
                            pd_error *err)
{
	size_t n = w->rows.n, width = s->k - 1;
	double *b = PD_NEW(w->scratch, double, width * n + 1);
	double *one = PD_NEW(w->scratch, double, n + 1);
	pd_status st = b && one ? PD_OK : no_memory(err);

	*t = w->n_terms;
	if (st == PD_OK)
		pd_spline_columns(s, v, n, b, width, 0);
	for (size_t j = 0; st == PD_OK && j < width; j++) {
		const char *name = pd_arena_print(w->arena, "%s, curve %zu", of,
		                                  j + 1);

		for (size_t i = 0; i < n; i++)
			one[i] = b[width * i + j];
		st = name ? take_real(w, name, one, NULL, err)
		          : no_memory(err);
	}
	return st;
}

/* A curve of ln mL where the data bear one, else a straight line. */
static pd_status take_volume(struct pd_expect_work *w, bool curve,
                             pd_error *err)
{
	size_t n = w->rows.n;
	double *v = PD_NEW(w->scratch, double, n + 1);
	pd_error inner = { 0 };

	if (!v)
		return no_memory(err);
	for (size_t i = 0; i < n; i++)
		v[i] = log(w->ml[i]);
	w->curved = curve && w->rows.n_groups[0] >= CURVE_PATIENTS &&
	            pd_spline_default(v, n, CURVE_KNOTS, &w->spline, &inner) ==
	                PD_OK;
	return w->curved ? take_curve(w, "ln mL", v, &w->spline, &w->t_volume,
	                              err)
	                 : take_real(w, "log volume", v, &w->t_volume, err);
}

/* The same of age; its knots are quantiles of the cases' ages, a case counting
 * once however many pulls it has. */
static pd_status take_age(struct pd_expect_work *w, pd_error *err)
{
	double *v = PD_NEW(w->scratch, double, w->n_cases + 1);
	size_t patients = w->rows.n_groups[0];
	pd_error inner = { 0 };

	if (!v)
		return no_memory(err);
	for (size_t k = 0; k < w->n_cases; k++)
		v[k] = w->age[w->lead[w->by_case[k].first]];
	w->age_curved = patients >= CURVE_PATIENTS &&
	                pd_spline_default(v, w->n_cases,
	                                  patients >= MORE_PATIENTS
	                                      ? MORE_KNOTS : CURVE_KNOTS,
	                                  &w->age_spline, &inner) == PD_OK;
	return w->age_curved ? take_curve(w, "age", w->age, &w->age_spline,
	                                  &w->t_age, err)
	                     : take_real(w, "age_y", w->age, &w->t_age, err);
}

/* What the user holds equal besides. */
static pd_status take_more(struct pd_expect_work *w, pd_error *err)
{
	pd_status st = PD_OK;

	w->t_more = w->n_terms;
	for (size_t k = 0; st == PD_OK && k < w->q->n_adjust; k++) {
		const char *name = pd_rows_adjuster(w->arena, w->q, k);
		const pd_column *c = name ? pd_frame_find(w->rows.model, name)
		                          : NULL;

		if (!name)
			return no_memory(err);
		if (pd_expect_is_held(name))
			continue;
		if (!c)
			return pd_fail(err, PD_INTERNAL, "no column '%s'",
			               name);
		st = c->kind == PD_REAL
		         ? take_real(w, name, c->real, NULL, err)
		         : take_factor(w, name, c, NULL, err);
	}
	return st;
}

pd_status pd_expect_columns(struct pd_expect_work *w, bool curve, pd_error *err)
{
	pd_frame_free(w->frame);
	w->n_terms = 0;
	w->frame = pd_frame_new(w->rows.n);
	if (!w->frame)
		return no_memory(err);
	pd_status st = take_age(w, err);

	if (st == PD_OK)
		st = take_factor(w, "sex", w->sex, &w->t_sex, err);
	if (st == PD_OK)
		st = take_volume(w, curve, err);
	if (st == PD_OK)
		st = take_order(w, "site of the side", w->order, w->top_order,
		                &w->t_order, err);
	if (st == PD_OK)
		st = take_order(w, "pull of the site", w->pull, w->top_pull,
		                &w->t_pull, err);
	w->t_version = PD_EXPECT_TERMS;
	if (st == PD_OK && w->version && w->version->n_levels > 1)
		st = take_factor(w, "method_version", w->version,
		                 &w->t_version, err);
	if (st == PD_OK)
		st = take_more(w, err);
	return st == PD_OK ? pd_design_build(w->scratch, w->frame, w->term,
	                                     w->n_terms, &w->design, err)
	                   : st;
}

/* --- a pull's row -------------------------------------------------------- */

static void set_number(const struct pd_expect_work *w, size_t t, double value,
                       double *x)
{
	size_t c = w->design.column[t][0];

	if (c != PD_NO_COLUMN)
		x[c] = value - w->design.centre[t];
}

static void set_level(const struct pd_expect_work *w, size_t t, size_t code,
                      double *x)
{
	size_t c = w->design.column[t][code];

	if (c != PD_NO_COLUMN)
		x[c] = 1;
}

static void set_word(const struct pd_expect_work *w, size_t t,
                     const char *word, double *x)
{
	const pd_column *c = pd_frame_find(w->frame, w->term[t].column);

	for (size_t k = 0; k < c->n_levels; k++)
		if (strcmp(c->level[k], word) == 0)
			set_level(w, t, k, x);
}

static void set_curve(const struct pd_expect_work *w, size_t t, bool curved,
                      const pd_spline *s, double value, double *x)
{
	double b[PD_SPLINE_MOST];

	if (!curved) {
		set_number(w, t, value, x);
		return;
	}
	pd_spline_basis(s, value, b);
	for (size_t j = 0; j + 1 < s->k; j++)
		set_number(w, t + j, b[j], x);
}

/* Other adjusters: a number at its mean, but the calendar at the last case and
 * the syringe as asked; a factor by its shares among the rows. */
static void set_more(const struct pd_expect_work *w, double *x)
{
	size_t n = w->rows.n, p = w->design.p;

	for (size_t t = w->t_more; t < w->n_terms; t++) {
		const pd_column *c = pd_frame_find(w->frame, w->term[t].column);

		if (c->kind == PD_REAL) {
			if (strcmp(c->name, "case_date") == 0) {
				double last = c->real[0];

				for (size_t i = 1; i < n; i++)
					last = fmax(last, c->real[i]);
				set_number(w, t, last, x);
			}
			if (strcmp(c->name, "log syringe_ml") == 0)
				set_number(w, t, log(w->a->syringe_ml), x);
			continue;
		}
		for (size_t k = 0; k < c->n_levels; k++) {
			size_t at = w->design.column[t][k];

			if (at == PD_NO_COLUMN)
				continue;
			x[at] = 0;
			for (size_t i = 0; i < n; i++)
				x[at] += w->design.x[i * p + at] / (double)n;
		}
	}
}

void pd_expect_row(const struct pd_expect_work *w, size_t order, size_t pull,
                   double ml, double *x)
{
	memset(x, 0, w->design.p * sizeof *x);
	x[0] = 1;
	set_curve(w, w->t_age, w->age_curved, &w->age_spline, w->a->age, x);
	set_word(w, w->t_sex, w->a->sex, x);
	set_curve(w, w->t_volume, w->curved, &w->spline, log(ml), x);
	set_level(w, w->t_order, (order < w->top_order ? order
	                                               : w->top_order) - 1, x);
	set_level(w, w->t_pull, (pull < w->top_pull ? pull : w->top_pull) - 1,
	          x);
	if (w->t_version < PD_EXPECT_TERMS)
		set_word(w, w->t_version, w->a->version, x);
	set_more(w, x);
}
