/*
 * linear.c - least squares by Householder factors of 32 digits; formulas in
 * linear.h.
 */
#include "stats/linear.h"
#include "stats/quantile.h"
#include "stats/summary.h"
#include "stats/twofold.h"

#include <float.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/*
 * At work: column j of the factored matrix is a[j * n .. ], its reflector from
 * row j down, r[j * p + k] the entry of R in row j, column k. Columns are
 * scaled to length near 1 by the power of two `power[j]`.
 */
struct work {
	const pd_linear_data *d;
	size_t n, p;
	tf *a, *root, *r, *pivot, *inverse, *b, *rhs, *left;
	int *power;
	double *length; /* of the scaled columns */
	double *part;   /* a dependent column's combination of those before */
	size_t rank, *kept; /* columns of the design at the places of R */
};

static const double fine = 0x1p-100; /* rounding of numbers of two parts */

static const pd_regressor *regressor(const struct work *w, size_t j)
{
	size_t shift = w->d->intercept ? 1 : 0;

	return j < shift ? NULL : &w->d->column[j - shift];
}

static const char *name_of(const struct work *w, size_t j)
{
	return regressor(w, j) ? regressor(w, j)->name : "intercept";
}

/* Row i of column j as it was given. */
static tf number(const struct work *w, size_t i, size_t j)
{
	const pd_regressor *c = regressor(w, j);

	if (!c)
		return tf_of(1);
	return c->rest ? tf_settle(c->value[i], c->rest[i])
	               : tf_of(c->value[i]);
}

/* The same times the root of the row's weight, scaled. */
static tf element(const struct work *w, size_t i, size_t j)
{
	tf x = number(w, i, j);

	if (w->d->weight)
		x = tf_mul(x, w->root[i]);
	return tf_scale(x, -w->power[j]);
}

static tf outcome(const struct work *w, size_t i)
{
	tf y = tf_of(w->d->y[i]);

	return w->d->weight ? tf_mul(y, w->root[i]) : y;
}

/* ---- looking at the data ---------------------------------------------- */

static pd_status look_at_column(const struct work *w, size_t j, pd_error *err)
{
	const pd_regressor *c = regressor(w, j);

	for (size_t i = 0; c && i < w->n; i++)
		if (!isfinite(c->value[i]) || (c->rest && !isfinite(c->rest[i])))
			return pd_fail(err, PD_DATA, "row %zu of column '%s' "
			               "is %g, expected a finite number",
			               i + 1, c->name, c->value[i]);
	return PD_OK;
}

static pd_status look(const struct work *w, size_t *m, pd_error *err)
{
	const pd_linear_data *d = w->d;
	pd_status st = PD_OK;

	*m = 0;
	for (size_t i = 0; i < d->n; i++) {
		double g = d->weight ? d->weight[i] : 1;

		if (!isfinite(d->y[i]))
			return pd_fail(err, PD_DATA, "row %zu of the outcome "
			               "is %g, expected a finite number",
			               i + 1, d->y[i]);
		if (!(g >= 0) || isinf(g))
			return pd_fail(err, PD_DATA, "weight of row %zu is %g, "
			               "expected 0 or more", i + 1, g);
		*m += g > 0;
	}
	for (size_t j = 0; j < w->p && st == PD_OK; j++)
		st = look_at_column(w, j, err);
	if (st == PD_OK && !w->p)
		return pd_fail(err, PD_REFUSED, "no column to fit");
	if (st == PD_OK && *m <= w->p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu coefficients,"
		               " expected more rows than coefficients", *m,
		               w->p);
	return st;
}

/* ---- factoring -------------------------------------------------------- */

static double size_of(const tf *x, size_t n)
{
	double most = 0, sum = 0;

	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(x[i].hi));
	for (size_t i = 0; i < n && most > 0; i++)
		sum += x[i].hi / most * (x[i].hi / most);
	return most * sqrt(sum);
}

/* Load column j, scaled so that its length is between 1/2 and 1. */
static pd_status load(struct work *w, size_t j, pd_error *err)
{
	tf *a = w->a + j * w->n;
	double length;

	w->power[j] = 0;
	for (size_t i = 0; i < w->n; i++)
		a[i] = element(w, i, j);
	length = size_of(a, w->n);
	if (!isfinite(length))
		return pd_fail(err, PD_NUMERIC, "column '%s' is out of range",
		               name_of(w, j));
	frexp(length, &w->power[j]); /* power 0 for length 0 */
	for (size_t i = 0; i < w->n; i++)
		a[i] = tf_scale(a[i], -w->power[j]);
	w->length[j] = ldexp(length, -w->power[j]);
	return PD_OK;
}

/* x less its reflection at reflector k: rows k .. n - 1. */
static void reflect(const struct work *w, size_t k, tf *x)
{
	const tf *v = w->a + w->kept[k] * w->n;
	tf s = tf_of(0);

	for (size_t i = k; i < w->n; i++)
		s = tf_add(s, tf_mul(v[i], x[i]));
	s = tf_mul(s, w->pivot[k]);
	for (size_t i = k; i < w->n; i++)
		x[i] = tf_sub(x[i], tf_mul(s, v[i]));
}

/* Solve R z = x for the first `rank` places. */
static void back(const struct work *w, const tf *x, tf *z)
{
	for (size_t j = w->rank; j-- > 0;) {
		tf s = x[j];

		for (size_t k = j + 1; k < w->rank; k++)
			s = tf_sub(s, tf_mul(w->r[j * w->p + k], z[k]));
		z[j] = tf_div(s, w->r[j * w->p + j]);
	}
}

static double rounding(const struct work *w, size_t j)
{
	const pd_regressor *c = regressor(w, j);

	return c && !c->rest ? DBL_EPSILON : fine;
}

/*
 * Whether what is left of column j below row `rank` is explained by rounding
 * of column j and of the columns in its combination; leaves the combination's
 * coefficients, times the lengths, in w->part.
 */
static int dependent(struct work *w, size_t j, double left)
{
	double allowed = rounding(w, j) * w->length[j];

	back(w, w->a + j * w->n, w->left);
	for (size_t k = 0; k < w->rank; k++) {
		w->part[k] = fabs(w->left[k].hi) * w->length[w->kept[k]];
		allowed += rounding(w, w->kept[k]) * w->part[k];
	}
	return left <= 8 * allowed;
}

/* Turn the rest of column j into the reflector of the next place of R. */
static void take(struct work *w, size_t j)
{
	size_t k = w->rank++;
	tf *a = w->a + j * w->n, s = tf_of(0), length;

	w->kept[k] = j;
	for (size_t i = 0; i < k; i++)
		w->r[i * w->p + k] = a[i];
	for (size_t i = k; i < w->n; i++)
		s = tf_add(s, tf_mul(a[i], a[i]));
	length = tf_root(s);
	if (a[k].hi > 0)
		length = tf_neg(length);
	w->r[k * w->p + k] = length;
	/* v = a - length e, v'v = 2 (s - length a_k) */
	s = tf_sub(s, tf_mul(length, a[k]));
	a[k] = tf_sub(a[k], length);
	w->pivot[k] = tf_div(tf_of(1), s);
}

/* Add "'x3' (of 'x1', 'x2')" to the text. */
static void tell(const struct work *w, size_t j, char *text, size_t size)
{
	size_t used = strlen(text);
	int any = 0;

#define ADD(...)                                                               \
	(used += used < size ? (size_t)snprintf(text + used, size - used,      \
	                                        __VA_ARGS__)                   \
	                     : 0)
	ADD("%s'%s'", used ? ", " : "", name_of(w, j));
	for (size_t k = 0; k < w->rank; k++)
		if (w->part[k] > 1e-8 * w->length[j]) {
			ADD("%s'%s'", any ? ", " : " (of ",
			    name_of(w, w->kept[k]));
			any = 1;
		}
	ADD("%s", any ? ")" : " (all zero)");
#undef ADD
}

static pd_status factor(struct work *w, pd_error *err)
{
	char text[600] = "";

	for (size_t j = 0; j < w->p; j++) {
		pd_status st = load(w, j, err);
		double left;

		if (st != PD_OK)
			return st;
		for (size_t k = 0; k < w->rank; k++)
			reflect(w, k, w->a + j * w->n);
		left = size_of(w->a + j * w->n + w->rank, w->n - w->rank);
		if (dependent(w, j, left))
			tell(w, j, text, sizeof text);
		else
			take(w, j);
	}
	if (text[0])
		return pd_fail(err, PD_REFUSED, "columns that are combinations "
		               "of those before them: %s", text);
	return PD_OK;
}

/* ---- solving ---------------------------------------------------------- */

/* left = outcome - X b with b of the scaled columns. */
static void leave(const struct work *w)
{
	for (size_t i = 0; i < w->n; i++) {
		tf s = outcome(w, i);

		for (size_t j = 0; j < w->p; j++)
			s = tf_sub(s, tf_mul(element(w, i, j), w->b[j]));
		w->left[i] = s;
	}
}

static tf square(const tf *x, size_t from, size_t to)
{
	tf s = tf_of(0);

	for (size_t i = from; i < to; i++)
		s = tf_add(s, tf_mul(x[i], x[i]));
	return s;
}

/* b, refined once; regression_ss from the rotated outcome. */
static void solve(struct work *w, pd_linear_fit *f)
{
	for (size_t i = 0; i < w->n; i++)
		w->rhs[i] = outcome(w, i);
	for (size_t k = 0; k < w->p; k++)
		reflect(w, k, w->rhs);
	back(w, w->rhs, w->b);
	f->regression_ss = tf_double(
	    square(w->rhs, w->d->intercept ? 1 : 0, w->p));
	leave(w);
	memcpy(w->rhs, w->left, w->n * sizeof *w->rhs);
	for (size_t k = 0; k < w->p; k++)
		reflect(w, k, w->rhs);
	back(w, w->rhs, w->left);
	for (size_t j = 0; j < w->p; j++)
		w->b[j] = tf_add(w->b[j], w->left[j]);
	leave(w);
}

/* inverse = inv(R), upper, and the condition number of unit columns. */
static void invert(struct work *w, pd_linear_fit *f)
{
	size_t p = w->p;
	double most = 0, most_inverse = 0;

	for (size_t k = 0; k < p; k++) {
		double r = 0, s = 0;

		for (size_t j = 0; j < p; j++)
			w->left[j] = tf_of(j == k);
		back(w, w->left, w->rhs);
		for (size_t j = 0; j < p; j++) {
			w->inverse[j * p + k] = w->rhs[j];
			r += fabs(w->r[j * p + k].hi) / w->length[k];
			s += fabs(w->rhs[j].hi) * w->length[j];
		}
		most = fmax(most, r);
		most_inverse = fmax(most_inverse, s);
	}
	f->condition = most * most_inverse;
}

static void spread(const struct work *w, pd_linear_fit *f)
{
	size_t p = w->p;
	double variance = f->residual_ss / f->residual_df;

	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j <= i; j++) {
			tf s = tf_of(0);

			for (size_t k = i; k < p; k++)
				s = tf_add(s, tf_mul(w->inverse[i * p + k],
				                     w->inverse[j * p + k]));
			s = tf_scale(s, -w->power[i] - w->power[j]);
			f->unscaled[i * p + j] = tf_double(s);
			f->unscaled[j * p + i] = tf_double(s);
		}
	for (size_t k = 0; k < p * p; k++)
		f->covariance[k] = variance * f->unscaled[k];
	for (size_t j = 0; j < p; j++)
		f->se[j] = f->residual_sd * sqrt(f->unscaled[j * p + j]);
}

/* |inv(R') x_i|^2 by rows. */
static void lever(const struct work *w, pd_linear_fit *f)
{
	for (size_t i = 0; i < w->n; i++) {
		double h = 0;

		for (size_t k = 0; k < w->p; k++) {
			tf s = tf_of(0);

			for (size_t j = 0; j <= k; j++)
				s = tf_add(s, tf_mul(w->inverse[j * w->p + k],
				                     element(w, i, j)));
			h += s.hi * s.hi;
		}
		f->leverage[i] = h;
	}
}

/* y - X b without the weights. */
static void free_residuals(const struct work *w, pd_linear_fit *f)
{
	for (size_t i = 0; i < w->n; i++) {
		tf s = tf_of(w->d->y[i]);

		for (size_t j = 0; j < w->p; j++)
			s = tf_sub(s, tf_mul(number(w, i, j),
			                     tf_scale(w->b[j], -w->power[j])));
		f->residual[i] = tf_double(s);
	}
}

static void test(pd_linear_fit *f)
{
	f->f_p = 1;
	if (!(f->regression_df > 0 && f->regression_ss > 0))
		return;
	f->f = f->regression_ss / f->regression_df /
	       (f->residual_ss / f->residual_df);
	f->f_p = isinf(f->f) ? 0 : pd_f_upper(f->f, f->regression_df,
	                                      f->residual_df);
}

static void report(struct work *w, pd_linear_fit *f, size_t m)
{
	size_t p = w->p;

	for (size_t j = 0; j < p; j++)
		f->coef[j] = tf_double(tf_scale(w->b[j], -w->power[j]));
	f->residual_ss = tf_double(square(w->left, 0, w->n));
	free_residuals(w, f);
	f->m = m;
	f->residual_df = (double)(m - p);
	f->residual_sd = sqrt(f->residual_ss / f->residual_df);
	f->total_ss = f->regression_ss + f->residual_ss;
	f->regression_df = (double)(p - (w->d->intercept ? 1 : 0));
	f->r_squared = f->total_ss > 0 ? f->regression_ss / f->total_ss : 0;
	test(f);
	invert(w, f);
	spread(w, f);
	lever(w, f);
}

/* ---- memory ----------------------------------------------------------- */

/* One block: pd_linear_free gives it back as such. */
static pd_linear_fit *fit_new(size_t n, size_t p)
{
	pd_linear_fit *f = calloc(1, sizeof *f + 2 * (p + p * p + n) *
	                                             sizeof *f->coef);

	if (!f)
		return NULL;
	f->n = n;
	f->p = p;
	f->coef = (double *)(f + 1);
	f->se = f->coef + p;
	f->covariance = f->se + p;
	f->unscaled = f->covariance + p * p;
	f->residual = f->unscaled + p * p;
	f->leverage = f->residual + n;
	return f;
}

static void work_free(struct work *w)
{
	free(w->a);
	free(w->power);
	free(w->length);
	free(w->kept);
}

static int work_new(struct work *w)
{
	size_t n = w->n, p = w->p, all;

	if (n > SIZE_MAX / 64 / (p + 4) || p > SIZE_MAX / 128 / (p + 4))
		return 0;
	all = n * (p + 3) + 2 * p * p + 2 * p;
	w->a = calloc(all, sizeof *w->a);
	w->power = calloc(p, sizeof *w->power);
	w->length = calloc(2 * p, sizeof *w->length);
	w->kept = calloc(p, sizeof *w->kept);
	if (!w->a || !w->power || !w->length || !w->kept)
		return 0;
	w->root = w->a + n * p;
	w->rhs = w->root + n;
	w->left = w->rhs + n;
	w->r = w->left + n;
	w->inverse = w->r + p * p;
	w->pivot = w->inverse + p * p;
	w->b = w->pivot + p;
	w->part = w->length + p;
	return 1;
}

pd_status pd_linear(const pd_linear_data *d, pd_linear_fit **out,
                    pd_error *err)
{
	struct work w = { .d = d, .n = d->n,
		          .p = d->n_columns + (d->intercept ? 1 : 0) };
	pd_linear_fit *f;
	size_t m;
	pd_status st = look(&w, &m, err);

	*out = NULL;
	if (st != PD_OK)
		return st;
	f = fit_new(w.n, w.p);
	if (!f || !work_new(&w)) {
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	} else {
		for (size_t i = 0; d->weight && i < w.n; i++)
			w.root[i] = tf_root(tf_of(d->weight[i]));
		st = factor(&w, err);
	}
	if (st == PD_OK) {
		solve(&w, f);
		report(&w, f, m);
		st = pd_check_results(f->se, f->p, err);
		if (!isfinite(f->total_ss) || !isfinite(f->condition))
			st = pd_fail(err, PD_NUMERIC, "sums of squares are out "
			             "of range");
	}
	work_free(&w);
	if (st == PD_OK)
		*out = f;
	else
		pd_linear_free(f);
	return st;
}
