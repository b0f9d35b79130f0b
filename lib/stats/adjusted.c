/*
 * adjusted.c - see adjusted.h: rows of adjusted means, and fits of any kind.
 * Comparing is adjusted_compare.c's.
 */
#include "stats/adjusted.h"
#include "stats/kenward.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- fits --------------------------------------------------------------- */

static pd_status nested(const void *fit, const double *c, pd_df_method method,
                        pd_estimate *out, pd_error *err)
{
	/* asking moves the model's work space only */
	return pd_nested_contrast((pd_nested *)fit, c, out->level, method, out,
	                          err);
}

static pd_status crossed(const void *fit, const double *c, pd_df_method method,
                         pd_estimate *out, pd_error *err)
{
	return pd_crossed_contrast((pd_crossed *)fit, c, out->level, method,
	                           out, err);
}

static pd_status plain(const void *fit, const double *c, pd_df_method method,
                       pd_estimate *out, pd_error *err)
{
	const pd_plain *b = fit;
	double value = 0, variance = 0;

	(void)method;
	for (size_t i = 0; i < b->p; i++) {
		double s = 0;

		for (size_t j = 0; j < b->p; j++)
			s += b->covariance[i * b->p + j] * c[j];
		value += c[i] * b->b[i];
		variance += c[i] * s;
	}
	if (!(variance > 0) || !isfinite(variance) || !isfinite(value) ||
	    !(b->df > 0))
		return pd_fail(err, PD_USAGE, "a contrast has value %g, "
		               "variance %g and %g degrees of freedom", value,
		               variance, b->df);
	return pd_df_estimate(value, variance, b->df, out->level, out, err);
}

pd_fitted pd_fitted_nested(pd_nested *m, size_t p, pd_df_method method)
{
	return (pd_fitted){ p, nested, m, method };
}

pd_fitted pd_fitted_crossed(pd_crossed *c, size_t p, pd_df_method method)
{
	return (pd_fitted){ p, crossed, c, method };
}

pd_fitted pd_fitted_plain(const pd_plain *b)
{
	return (pd_fitted){ b->p, plain, b, PD_NORMAL };
}

pd_status pd_adjusted_means(const pd_fitted *f, const double *rows, size_t k,
                            double level, pd_estimate *out, pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < k; i++) {
		out[i] = (pd_estimate){ .level = level };
		st = f->contrast(f->fit, rows + i * f->p, f->method, &out[i],
		                 err);
	}
	return st;
}

/* ---- rows --------------------------------------------------------------- */

/* What the rows of a design are made from. */
struct parts {
	const pd_design *d;
	const pd_frame *frame;
	const pd_term *terms;
};

static const pd_column *column_of(const struct parts *s, size_t term)
{
	return pd_frame_find(s->frame, s->terms[term].column);
}

static double step_of(const pd_term *t)
{
	return t->step == 0 ? 1 : t->step;
}

/* Levels of a factor with at least a row, 1 each in seen. */
static size_t occurring(const pd_column *c, size_t n, unsigned char *seen)
{
	size_t k = 0;

	memset(seen, 0, c->n_levels);
	for (size_t i = 0; i < n; i++)
		if (c->code[i] >= 0 && (size_t)c->code[i] < c->n_levels &&
		    !seen[c->code[i]]) {
			seen[c->code[i]] = 1;
			k++;
		}
	return k;
}

/* One level without a column is what the others are held against; two mean
 * that one was dropped. */
static pd_status nothing_lost(const struct parts *s, size_t term,
                              const unsigned char *seen, pd_error *err)
{
	const pd_column *c = column_of(s, term);
	const char *reference = s->terms[term].reference, *first = NULL;

	for (size_t l = 0; l < c->n_levels; l++) {
		if (!seen[l] || s->d->column[term][l] != PD_NO_COLUMN)
			continue;
		if (!first && (!reference || !strcmp(reference, c->level[l]))) {
			first = c->level[l];
			continue;
		}
		return pd_fail(err, PD_REFUSED, "level '%s' of '%s' cannot be "
		               "told apart from other columns: its adjusted "
		               "mean is not in the data", c->level[l],
		               s->terms[term].column);
	}
	return PD_OK;
}

/* Equal weights over the levels of a factor that occur. */
static pd_status spread_factor(const struct parts *s, size_t term, double *row,
                               pd_error *err)
{
	const pd_column *c = column_of(s, term);
	unsigned char *seen = calloc(c->n_levels + 1, 1);
	size_t k;
	pd_status st;

	if (!seen)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	k = occurring(c, s->d->n, seen);
	st = nothing_lost(s, term, seen, err);
	for (size_t l = 0; st == PD_OK && l < c->n_levels; l++)
		if (seen[l] && s->d->column[term][l] != PD_NO_COLUMN)
			row[s->d->column[term][l]] = 1.0 / (double)k;
	free(seen);
	return st;
}

/* The value of a number's column for a value held. */
static pd_status hold_number(const struct parts *s, const pd_hold *h,
                             double *row, pd_error *err)
{
	const pd_term *t = &s->terms[h->term];
	bool log_scale = t->transform == PD_LOG ||
	                 t->transform == PD_LOG_CENTRED;
	size_t at = s->d->column[h->term][0];

	if (!isfinite(h->value) || (log_scale && !(h->value > 0)))
		return pd_fail(err, PD_DATA, "'%s' cannot be held at %g",
		               t->column, h->value);
	if (at != PD_NO_COLUMN)
		row[at] = ((log_scale ? log(h->value) : h->value) -
		           s->d->centre[h->term]) / step_of(t);
	return PD_OK;
}

static double mean_of(const pd_design *d, size_t column)
{
	double mean = 0;

	for (size_t i = 0; i < d->n; i++)
		mean += (d->x[i * d->p + column] - mean) / (double)(i + 1);
	return mean;
}

/* Everything but the factor itself, alike for all its levels. */
static pd_status common_row(const struct parts *s, size_t term,
                            const pd_hold *hold, size_t n_hold, double *row,
                            pd_error *err)
{
	pd_status st = PD_OK;

	memset(row, 0, s->d->p * sizeof *row);
	row[0] = 1;
	for (size_t t = 0; st == PD_OK && t < s->d->n_terms; t++) {
		size_t at;

		if (t == term)
			continue;
		if (column_of(s, t)->kind == PD_FACTOR) {
			st = spread_factor(s, t, row, err);
			continue;
		}
		at = s->d->column[t][0];
		if (at != PD_NO_COLUMN)
			row[at] = mean_of(s->d, at);
	}
	for (size_t i = 0; st == PD_OK && i < n_hold; i++)
		st = hold_number(s, &hold[i], row, err);
	return st;
}

static pd_status check(const struct parts *s, size_t term, const pd_hold *hold,
                       size_t n_hold, pd_error *err)
{
	for (size_t t = 0; t < s->d->n_terms; t++)
		if (!column_of(s, t))
			return pd_fail(err, PD_USAGE, "no column '%s'",
			               s->terms[t].column);
	if (term >= s->d->n_terms || column_of(s, term)->kind != PD_FACTOR)
		return pd_fail(err, PD_USAGE, "term %zu is not a factor: it "
		               "has no adjusted means", term + 1);
	for (size_t i = 0; i < n_hold; i++)
		if (hold[i].term >= s->d->n_terms ||
		    column_of(s, hold[i].term)->kind != PD_REAL)
			return pd_fail(err, PD_USAGE, "term %zu is not a "
			               "number: it cannot be held at a value",
			               hold[i].term + 1);
	return PD_OK;
}

pd_status pd_adjusted_rows(const pd_design *design, const pd_frame *frame,
                           const pd_term *terms, size_t term,
                           const pd_hold *hold, size_t n_hold, double *rows,
                           int32_t *code, size_t *n_rows, pd_error *err)
{
	struct parts s = { design, frame, terms };
	pd_status st = check(&s, term, hold, n_hold, err);
	unsigned char *seen = NULL;
	const pd_column *c;

	*n_rows = 0;
	if (st != PD_OK)
		return st;
	c = column_of(&s, term);
	seen = calloc(c->n_levels + 1, 1);
	if (!seen)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	occurring(c, design->n, seen);
	st = nothing_lost(&s, term, seen, err);
	for (size_t l = 0; st == PD_OK && l < c->n_levels; l++) {
		double *row = rows + *n_rows * design->p;

		if (!seen[l])
			continue;
		st = common_row(&s, term, hold, n_hold, row, err);
		if (design->column[term][l] != PD_NO_COLUMN)
			row[design->column[term][l]] = 1;
		code[(*n_rows)++] = (int32_t)l;
	}
	free(seen);
	return st;
}
