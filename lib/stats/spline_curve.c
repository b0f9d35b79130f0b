/*
 * spline_curve.c - what a fitted spline says: contrasts, tests, the curve and
 * its band. Formulas in spline.h.
 */
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"
#include "stats/spline.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Steps of the path between two places of the grid, and in all. */
enum { LEAST_STEPS = 8, STEPS = 2048 };

void pd_spline_between(const pd_spline *s, size_t p, size_t first, double from,
                       double to, double *c)
{
	double there[PD_SPLINE_MOST], here[PD_SPLINE_MOST];

	memset(c, 0, p * sizeof *c);
	pd_spline_basis(s, to, there);
	pd_spline_basis(s, from, here);
	for (size_t j = 0; j + 1 < s->k; j++)
		c[first + j] = there[j] - here[j];
}

size_t pd_spline_rows(const pd_spline *s, size_t p, size_t first,
                      pd_spline_part part, double *c)
{
	size_t skip = part == PD_SPLINE_CURVED ? 1 : 0;
	size_t rows = s->k - 1 - skip;

	memset(c, 0, rows * p * sizeof *c);
	for (size_t j = 0; j < rows; j++)
		c[j * p + first + skip + j] = 1;
	return rows;
}

static pd_status check(const pd_spline *s, const pd_spline_fit *f,
                       double level, pd_error *err)
{
	if (f->first + s->k - 1 > f->p)
		return pd_fail(err, PD_USAGE, "the spline's columns %zu to "
		               "%zu are not among the %zu of the fit",
		               f->first + 1, f->first + s->k - 1, f->p);
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_USAGE, "level %g, expected above 0 and "
		               "below 1", level);
	if (!(f->df > 0))
		return pd_fail(err, PD_USAGE, "%g degrees of freedom, expected "
		               "above 0", f->df);
	return PD_OK;
}

static double product(const double *a, const double *b, size_t n)
{
	double sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += a[i] * b[i];
	return sum;
}

/* Variance of the contrast c over the spline's own columns, q of them. */
static double spline_variance(const pd_spline_fit *f, const double *c,
                              size_t q)
{
	return pd_form(c, f->covariance + f->first * f->p + f->first, f->p, c,
	               q);
}

pd_status pd_spline_contrast(const pd_spline *s, const pd_spline_fit *fit,
                             double from, double to, double level,
                             pd_estimate *out, pd_error *err)
{
	double c[PD_SPLINE_MOST], variance;
	pd_status st = check(s, fit, level, err);

	if (st != PD_OK)
		return st;
	if (!isfinite(from) || !isfinite(to) || from == to)
		return pd_fail(err, PD_USAGE, "a contrast of the doses %g and "
		               "%g, expected two different ones", to, from);
	pd_spline_between(s, s->k - 1, 0, from, to, c);
	variance = spline_variance(fit, c, s->k - 1);
	if (!(variance > 0))
		return pd_fail(err, PD_NUMERIC, "the contrast's variance is "
		               "%g", variance);
	return pd_df_estimate(product(c, fit->beta + fit->first, s->k - 1),
	                      variance, fit->df, level, out, err);
}

pd_status pd_spline_test(const pd_spline *s, const pd_spline_fit *fit,
                         pd_spline_part part, pd_f_test *out, pd_error *err)
{
	size_t skip = part == PD_SPLINE_CURVED ? 1 : 0;
	size_t q = s->k - 1 - skip, at = fit->first + skip;
	double c[PD_SPLINE_MOST * PD_SPLINE_MOST], b[PD_SPLINE_MOST];
	pd_status st = check(s, fit, 0.5, err);

	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < q; i++) {
		double unit = sqrt(fit->covariance[(at + i) * (fit->p + 1)]);

		b[i] = fit->beta[at + i] / unit;
		for (size_t j = 0; j < q; j++)
			c[i * q + j] =
			    fit->covariance[(at + i) * fit->p + at + j] / unit /
			    sqrt(fit->covariance[(at + j) * (fit->p + 1)]);
	}
	*out = (pd_f_test){ .df1 = (double)q, .df2 = fit->df, .scaling = 1 };
	if (!pd_chol(c, q, q))
		return pd_fail(err, PD_NUMERIC, "the covariance of the "
		               "spline's coefficients is not positive definite");
	for (size_t i = 0; i < q; i++) { /* b <- L^-1 b */
		for (size_t j = 0; j < i; j++)
			b[i] -= c[i * q + j] * b[j];
		b[i] /= c[i * q + i];
	}
	out->f = product(b, b, q) / out->df1;
	out->p = isinf(fit->df) ? pd_chisq_upper(out->f * out->df1, out->df1)
	                        : pd_f_upper(out->f, out->df1, fit->df);
	return PD_OK;
}

/* ---- from a mixed model ------------------------------------------------- */

/* cov(a, b) = (var(a + b) - var(a - b)) / 4, from contrasts in units of the
 * standard errors, so that nothing small is lost beside something large. */
static pd_status covariances(pd_nested *m, size_t p, pd_df_method method,
                             double *c, double *out, pd_error *err)
{
	pd_estimate e, other;
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < p; i++) {
		c[i] = 1;
		st = pd_nested_contrast(m, c, 0.5, method, &e, err);
		c[i] = 0;
		out[i * p + i] = st == PD_OK ? e.se : 0;
	}
	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; st == PD_OK && j < i; j++) {
			double a = out[i * p + i], b = out[j * p + j];

			c[i] = 1 / a;
			c[j] = 1 / b;
			st = pd_nested_contrast(m, c, 0.5, method, &e, err);
			c[j] = -c[j];
			if (st == PD_OK)
				st = pd_nested_contrast(m, c, 0.5, method,
				                        &other, err);
			c[i] = c[j] = 0;
			if (st == PD_OK)
				out[i * p + j] = out[j * p + i] = a * b *
				    (e.se * e.se - other.se * other.se) / 4;
		}
	for (size_t i = 0; i < p; i++)
		out[i * p + i] *= out[i * p + i];
	return st;
}

pd_status pd_spline_nested(const pd_spline *s, pd_nested *m, size_t p,
                           size_t first, pd_df_method method,
                           double *covariance, pd_spline_fit *out,
                           pd_error *err)
{
	double *c;
	pd_f_test f = { 0 };
	pd_status st;

	if (first + s->k - 1 > p)
		return pd_fail(err, PD_USAGE, "the spline's columns %zu to "
		               "%zu are not among %zu", first + 1,
		               first + s->k - 1, p);
	c = calloc(p * (s->k - 1), sizeof *c);
	if (!c)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = covariances(m, p, method, c, covariance, err);
	if (st == PD_OK) {
		size_t rows = pd_spline_rows(s, p, first, PD_SPLINE_ALL, c);

		st = pd_nested_f_test(m, c, rows, method, &f, err);
	}
	free(c);
	if (st == PD_OK)
		*out = (pd_spline_fit){ p, first, pd_nested_beta(m), covariance,
			                f.df2 };
	return st;
}

/* ---- the curve and its band --------------------------------------------- */

struct path {
	const pd_spline *s;
	const pd_spline_fit *fit;
	const double *base;
	double reference;
	double *c, *w, *last, *chol; /* p, p, p, p*p                         */
	bool started;
};

static pd_status path_new(struct path *w, pd_error *err)
{
	size_t p = w->fit->p;
	double *room = calloc(3 * p + p * p, sizeof *room);

	w->c = room;
	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	w->w = room + p;
	w->last = room + 2 * p;
	w->chol = room + 3 * p;
	memcpy(w->chol, w->fit->covariance, p * p * sizeof *room);
	if (!pd_chol(w->chol, p, p))
		return pd_fail(err, PD_NUMERIC, "the covariance of the "
		               "coefficients is not positive definite");
	return PD_OK;
}

/* The contrast c at v and w = L'c; returns |w|, the standard error. */
static double at_dose(struct path *w, double v)
{
	size_t p = w->fit->p;
	double square = 0;

	if (w->base) {
		memcpy(w->c, w->base, p * sizeof *w->c);
		pd_spline_basis(w->s, v, w->c + w->fit->first);
	} else {
		pd_spline_between(w->s, p, w->fit->first, w->reference, v,
		                  w->c);
	}
	for (size_t i = 0; i < p; i++) {
		w->w[i] = 0;
		for (size_t j = i; j < p; j++)
			w->w[i] += w->chol[j * p + i] * w->c[j];
		square += w->w[i] * w->w[i];
	}
	return sqrt(square);
}

/* Angle from the last place's direction (either sign) to this one's. */
static double angle_to(struct path *w, double v)
{
	size_t p = w->fit->p;
	double length = at_dose(w, v), sign, square = 0, angle = 0;

	if (!(length > 0)) /* the reference itself: no direction */
		return 0;
	for (size_t i = 0; i < p; i++)
		w->w[i] /= length;
	if (w->started) {
		sign = product(w->w, w->last, p) < 0 ? -1 : 1;
		for (size_t i = 0; i < p; i++) {
			double d = w->w[i] - sign * w->last[i];

			square += d * d;
		}
		angle = 2 * asin(fmin(1, sqrt(square) / 2));
	}
	memcpy(w->last, w->w, p * sizeof *w->w);
	w->started = true;
	return angle;
}

static double polygon(struct path *w, const double *grid, size_t m,
                      size_t steps)
{
	double length = 0;

	w->started = false;
	for (size_t i = 0; i + 1 < m; i++) {
		double width = grid[i + 1] - grid[i];

		for (size_t k = i ? 1 : 0; k <= steps; k++)
			length += angle_to(w, grid[i] + width *
			                   ((double)k / (double)steps));
	}
	return length;
}

/* The path's length: inscribed polygons fall short by O(step^2). */
static double path_length(struct path *w, const double *grid, size_t m)
{
	size_t steps = m > 1 ? STEPS / (m - 1) / 2 * 2 : 0;
	double fine, coarse;

	if (m < 2)
		return 0;
	if (steps < LEAST_STEPS)
		steps = LEAST_STEPS;
	fine = polygon(w, grid, m, steps);
	coarse = polygon(w, grid, m, steps / 2);
	return fine + fmax(0, fine - coarse) / 3;
}

struct tube {
	double length, df, tail;
};

static double tube_excess(double c, const void *with)
{
	const struct tube *t = with;
	double far = isinf(t->df) ? exp(-0.5 * c * c)
	                          : exp(-0.5 * t->df * log1p(c * c / t->df));

	return t->length / M_PI * far + pd_t_two_sided(c, t->df) - t->tail;
}

static double tube_critical(double length, double df, double level)
{
	struct tube t = { length, df, 1 - level };
	double high = 2;

	while (tube_excess(high, &t) > 0 && high < 1e100)
		high *= 2;
	return pd_root(tube_excess, &t, 0, high, 0);
}

static bool any(const double *base, const pd_spline *s, const pd_spline_fit *f)
{
	for (size_t j = 0; base && j < f->p; j++)
		if (base[j] != 0 &&
		    (j < f->first || j >= f->first + s->k - 1))
			return true;
	return false;
}

static pd_status find_band(struct path *w, const double *grid, size_t m,
                           double level, pd_spline_band *band, pd_error *err)
{
	double df = w->fit->df, d;

	band->rank = w->s->k - 1 + any(w->base, w->s, w->fit);
	band->length = path_length(w, grid, m);
	band->tube = tube_critical(band->length, df, level);
	d = (double)band->rank;
	band->scheffe = isinf(df) ? sqrt(pd_chisq_quantile(level, d))
	                          : sqrt(d * pd_f_quantile(level, d, df));
	band->critical = fmin(band->tube, band->scheffe);
	if (!(band->critical > 0) || !isfinite(band->critical))
		return pd_fail(err, PD_NUMERIC, "no band: %g degrees of "
		               "freedom, level %g", df, level);
	return PD_OK;
}

static pd_status check_grid(const double *grid, size_t m, const double *base,
                            double reference, pd_error *err)
{
	if (!m)
		return pd_fail(err, PD_USAGE, "no doses to show the curve at");
	for (size_t i = 0; i < m; i++)
		if (!isfinite(grid[i]) || (i && !(grid[i] > grid[i - 1])))
			return pd_fail(err, PD_DATA, "place %zu of the curve "
			               "is %g, expected finite doses in "
			               "ascending order", i + 1, grid[i]);
	if (!base && !isfinite(reference))
		return pd_fail(err, PD_USAGE, "the reference dose is %g, "
		               "expected a finite number", reference);
	return PD_OK;
}

static pd_status one_point(struct path *w, double v, double level,
                           double critical, pd_spline_point *o, pd_error *err)
{
	double se = at_dose(w, v);
	double value = product(w->c, w->fit->beta, w->fit->p);
	pd_status st = PD_OK;

	*o = (pd_spline_point){ .v = v };
	if (se > 0)
		st = pd_df_estimate(value, se * se, w->fit->df, level, &o->at,
		                    err);
	else
		o->at = (pd_estimate){ .value = value, .df = w->fit->df,
			               .low = value, .high = value,
			               .level = level, .p = 1 };
	o->low_all = value - critical * se;
	o->high_all = value + critical * se;
	return st;
}

pd_status pd_spline_curve(const pd_spline *s, const pd_spline_fit *fit,
                          const double *base, double reference,
                          const double *grid, size_t m, double level,
                          pd_spline_point *out, pd_spline_band *band,
                          pd_error *err)
{
	struct path w = { .s = s, .fit = fit, .base = base,
		          .reference = reference };
	pd_status st = check(s, fit, level, err);

	if (st == PD_OK)
		st = check_grid(grid, m, base, reference, err);
	if (st == PD_OK)
		st = path_new(&w, err);
	if (st == PD_OK)
		st = find_band(&w, grid, m, level, band, err);
	for (size_t i = 0; st == PD_OK && i < m; i++)
		st = one_point(&w, grid[i], level, band->critical, &out[i],
		               err);
	free(w.c);
	return st;
}
