/*
 * expect_columns.c - log yield of a pull by age, sex, mL, order of the site on
 * its side, order of the pull at its site, method version and what the user
 * holds equal besides: the columns of the model, and the row of any pull.
 */
#include "plan/expect_own.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { CURVE_PATIENTS = 40, CURVE_KNOTS = 3 };

static const char curve_1[] = "curve 1", curve_2[] = "curve 2";

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

/* A curve of ln mL where the data bear one, else a straight line. */
static pd_status take_volume(struct pd_expect_work *w, bool curve,
                             pd_error *err)
{
	size_t n = w->rows.n;
	double *v = PD_NEW(w->scratch, double, n + 1);
	double *b = PD_NEW(w->scratch, double, 2 * n + 2);
	pd_error inner = { 0 };

	if (!v || !b)
		return no_memory(err);
	for (size_t i = 0; i < n; i++)
		v[i] = log(w->ml[i]);
	w->curved = curve && w->rows.n_groups[0] >= CURVE_PATIENTS &&
	            pd_spline_default(v, n, CURVE_KNOTS, &w->spline, &inner) ==
	                PD_OK;
	if (!w->curved)
		return take_real(w, "log volume", v, &w->t_volume, err);
	pd_spline_columns(&w->spline, v, n, b, 2, 0);
	for (size_t i = 0; i < n; i++)
		v[i] = b[2 * i];
	pd_status st = take_real(w, curve_1, v, &w->t_volume, err);

	for (size_t i = 0; i < n; i++)
		v[i] = b[2 * i + 1];
	return st == PD_OK ? take_real(w, curve_2, v, NULL, err) : st;
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
	pd_status st = take_real(w, "age_y", w->age, &w->t_age, err);

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
	double b[2];

	memset(x, 0, w->design.p * sizeof *x);
	x[0] = 1;
	set_number(w, w->t_age, w->a->age, x);
	set_word(w, w->t_sex, w->a->sex, x);
	if (w->curved) {
		pd_spline_basis(&w->spline, log(ml), b);
		set_number(w, w->t_volume, b[0], x);
		set_number(w, w->t_volume + 1, b[1], x);
	} else {
		set_number(w, w->t_volume, log(ml), x);
	}
	set_level(w, w->t_order, (order < w->top_order ? order
	                                               : w->top_order) - 1, x);
	set_level(w, w->t_pull, (pull < w->top_pull ? pull : w->top_pull) - 1,
	          x);
	if (w->t_version < PD_EXPECT_TERMS)
		set_word(w, w->t_version, w->a->version, x);
	set_more(w, x);
}
