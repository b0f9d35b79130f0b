/*
 * propensity.c - see propensity.h.
 */
#include "stats/propensity.h"
#include "stats/basis.h"
#include "stats/summary.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_STEPS = 100, MOST_HALVINGS = 40, MOST_NAMES = 4 };
static const double STILL = 1e-9;   /* a step this small ends the search   */
static const double FAR = 12;       /* |x'beta| from which steps are tested */
static const double SIDE = 1e-6;    /* rounding allowed on the wrong side   */
static const double PART = 1e-3;    /* columns with less of d go unnamed    */

/* One search: what is fixed, where it stands, room. */
struct search {
	const pd_logistic_data *d;
	pd_basis basis;
	gsl_matrix *information;
	gsl_vector *step;
	double *gamma, *score, *linear, *way, *try;
	double *chance, *rest;
	double value;
	unsigned iterations;
};

/* ---- input ------------------------------------------------------------ */

static const char *name_of(const pd_logistic_data *d, size_t j, char *buf,
                           size_t size)
{
	if (d->name)
		snprintf(buf, size, "'%s'", d->name[j]);
	else
		snprintf(buf, size, "column %zu", j + 1);
	return buf;
}

static pd_status look(const pd_logistic_data *d, size_t *n_first,
                      pd_error *err)
{
	char buf[128];

	*n_first = 0;
	for (size_t i = 0; i < d->n; i++) {
		if (d->arm[i] != 0 && d->arm[i] != 1)
			return pd_fail(err, PD_DATA, "row %zu: the arm is %d, "
			               "expected 0 or 1", i + 1,
			               (int)d->arm[i]);
		*n_first += d->arm[i] == 1;
		for (size_t j = 0; j < d->p; j++)
			if (!isfinite(d->x[i * d->p + j]))
				return pd_fail(err, PD_DATA, "row %zu: %s is "
				               "%g, expected a finite number",
				               i + 1,
				               name_of(d, j, buf, sizeof buf),
				               d->x[i * d->p + j]);
	}
	if (d->p < 1 || d->p >= d->n)
		return pd_fail(err, PD_REFUSED, "%zu columns on %zu rows, "
		               "expected at least one and fewer than the rows",
		               d->p, d->n);
	if (*n_first == 0 || *n_first == d->n)
		return pd_fail(err, PD_REFUSED, "all %zu rows are in one arm",
		               d->n);
	return PD_OK;
}

/* Which column made the basis fail: the first that does so as the last. */
static pd_status name_column(pd_arena *arena, const pd_logistic_data *d,
                             pd_error *err)
{
	char buf[128];

	for (size_t p = 1; p <= d->p; p++) {
		pd_arena_mark mark = pd_arena_here(arena);
		double *x = PD_NEW(arena, double, d->n * p);
		pd_basis room;
		pd_status st;

		if (!x)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		for (size_t i = 0; i < d->n; i++)
			memcpy(x + i * p, d->x + i * d->p, p * sizeof *x);
		st = pd_basis_new(arena, x, d->n, p, &room, NULL);
		pd_arena_rewind(arena, mark);
		if (st == PD_REFUSED)
			return pd_fail(err, st, "%s adds nothing to the "
			               "columns before it",
			               name_of(d, p - 1, buf, sizeof buf));
	}
	return pd_fail(err, PD_NUMERIC, "the columns cannot be told apart");
}

/* ---- the search ------------------------------------------------------- */

/* Q v into out[n]. */
static void along(const pd_basis *b, const double *v, double *out)
{
	for (size_t i = 0; i < b->n; i++) {
		double sum = 0;

		for (size_t j = 0; j < b->p; j++)
			sum += b->q[i * b->p + j] * v[j];
		out[i] = sum;
	}
}

static double value_at(const pd_logistic_data *d, const double *linear)
{
	double sum = 0;

	for (size_t i = 0; i < d->n; i++) {
		double t = d->arm[i] ? -linear[i] : linear[i];

		sum -= t > 0 ? t + log1p(exp(-t)) : log1p(exp(t));
	}
	return sum;
}

/* Score and information at s->linear; the chances on the way. */
static void derive(struct search *s)
{
	size_t n = s->d->n, p = s->d->p;

	memset(s->score, 0, p * sizeof *s->score);
	gsl_matrix_set_zero(s->information);
	for (size_t i = 0; i < n; i++) {
		const double *q = s->basis.q + i * p;
		double e = 1 / (1 + exp(-s->linear[i]));
		double r = 1 / (1 + exp(s->linear[i]));
		double off = s->d->arm[i] ? r : -e;

		s->chance[i] = e;
		s->rest[i] = r;
		for (size_t j = 0; j < p; j++) {
			double *row = gsl_matrix_ptr(s->information, j, 0);

			s->score[j] += q[j] * off;
			for (size_t k = 0; k <= j; k++)
				row[k] += q[j] * q[k] * e * r;
		}
	}
}

/* The information's factor (lower triangle) and the step; 0 when it has
 * none. */
static int newton(struct search *s)
{
	size_t p = s->d->p;

	for (size_t j = 0; j < p; j++)
		for (size_t k = 0; k < j; k++)
			gsl_matrix_set(s->information, k, j,
			               gsl_matrix_get(s->information, j, k));
	if (gsl_linalg_cholesky_decomp1(s->information))
		return 0;
	for (size_t j = 0; j < p; j++)
		gsl_vector_set(s->step, j, s->score[j]);
	if (gsl_linalg_cholesky_svx(s->information, s->step))
		return 0;
	for (size_t j = 0; j < p; j++)
		if (!isfinite(gsl_vector_get(s->step, j)))
			return 0;
	return 1;
}

/* Does the last step part the arms? */
static int parts(const struct search *s)
{
	double most = 0, worst = 0;

	for (size_t i = 0; i < s->d->n; i++) {
		double t = s->d->arm[i] ? s->way[i] : -s->way[i];

		most = fmax(most, t);
		worst = fmin(worst, t);
	}
	return most > 0 && worst >= -SIDE * most;
}

static double furthest(const double *linear, size_t n)
{
	double most = 0;

	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(linear[i]));
	return most;
}

/* Go the step, shortened until the value does not fall. The size of what was
 * gone, relative to 1 + |gamma|; negative when no part of it helps. */
static double go(struct search *s)
{
	size_t n = s->d->n, p = s->d->p;
	double part = 1, size = 0;

	for (int k = 0; k < MOST_HALVINGS; k++, part /= 2) {
		double value;

		for (size_t i = 0; i < n; i++)
			s->try[i] = s->linear[i] + part * s->way[i];
		value = value_at(s->d, s->try);
		if (!(value >= s->value - 1e-13 * fabs(s->value)))
			continue;
		memcpy(s->linear, s->try, n * sizeof *s->linear);
		s->value = value;
		for (size_t j = 0; j < p; j++) {
			double t = gsl_vector_get(s->step, j);

			s->gamma[j] += part * t;
			size = fmax(size, fabs(t) / (1 + fabs(s->gamma[j])));
		}
		return size;
	}
	return -1;
}

typedef enum search_end { TOP, PARTED, STUCK } search_end;

/* Chances run so far that the information is lost: is where they stand itself
 * what parts the arms? */
static search_end lost(struct search *s)
{
	memcpy(s->way, s->linear, s->d->n * sizeof *s->way);
	memcpy(s->step->data, s->gamma, s->d->p * sizeof *s->gamma);
	return parts(s) ? PARTED : STUCK;
}

static search_end climb(struct search *s)
{
	s->value = value_at(s->d, s->linear);
	for (s->iterations = 1; s->iterations <= MOST_STEPS; s->iterations++) {
		double size;

		derive(s);
		if (!newton(s))
			return lost(s);
		along(&s->basis, s->step->data, s->way);
		if (furthest(s->linear, s->d->n) > FAR && parts(s))
			return PARTED;
		size = go(s);
		if (size < 0)
			return lost(s);
		if (size <= STILL) {
			derive(s);
			return newton(s) ? TOP : lost(s);
		}
	}
	return lost(s);
}

/* ---- separation in words ---------------------------------------------- */

/* 2: no value of column j occurs beyond the other arm's; 1: only the value
 * they meet at (*at); 0: the arms overlap or the column does not vary. */
static int alone(const pd_logistic_data *d, size_t j, double *at)
{
	double low[2] = { INFINITY, INFINITY };
	double high[2] = { -INFINITY, -INFINITY };

	for (size_t i = 0; i < d->n; i++) {
		double v = d->x[i * d->p + j];

		low[d->arm[i]] = fmin(low[d->arm[i]], v);
		high[d->arm[i]] = fmax(high[d->arm[i]], v);
	}
	if (fmin(low[0], low[1]) == fmax(high[0], high[1]))
		return 0;
	for (int a = 0; a < 2; a++) {
		*at = low[a];
		if (high[1 - a] <= low[a])
			return high[1 - a] < low[a] ? 2 : 1;
	}
	return 0;
}

static double spread(const pd_logistic_data *d, size_t j)
{
	double low = INFINITY, high = -INFINITY;

	for (size_t i = 0; i < d->n; i++) {
		low = fmin(low, d->x[i * d->p + j]);
		high = fmax(high, d->x[i * d->p + j]);
	}
	return high - low;
}

/* The columns the step consists of, largest first, as "'a' and 'b'". */
static void name_parts(struct search *s, char *out, size_t size)
{
	const pd_logistic_data *d = s->d;
	double *part = s->score, most = 0;
	size_t used = 0;
	char buf[128];

	pd_basis_back(&s->basis, s->step->data, part);
	for (size_t j = 0; j < d->p; j++) {
		part[j] = fabs(part[j]) * spread(d, j);
		most = fmax(most, part[j]);
	}
	out[0] = '\0';
	for (int k = 0; k < MOST_NAMES; k++) {
		size_t at = 0;

		for (size_t j = 1; j < d->p; j++)
			if (part[j] > part[at])
				at = j;
		if (!(part[at] > PART * most) || used >= size)
			break;
		used += (size_t)snprintf(out + used, size - used, "%s%s",
		                         k ? " and " : "",
		                         name_of(d, at, buf, sizeof buf));
		part[at] = 0;
	}
}

static pd_status say_parted(struct search *s, pd_error *err)
{
	char buf[600];
	double at = 0;

	for (int whole = 2; whole >= 1; whole--)
		for (size_t j = 0; j < s->d->p; j++) {
			if (alone(s->d, j, &at) != whole)
				continue;
			name_of(s->d, j, buf, 128);
			if (whole == 2)
				return pd_fail(err, PD_REFUSED, "the arms are "
				               "perfectly separated by %s: its "
				               "values in one arm all lie "
				               "above those in the other",
				               buf);
			return pd_fail(err, PD_REFUSED, "the arms are "
			               "perfectly separated by %s: on one "
			               "side of %g there is one arm only, on "
			               "the other side the other or none",
			               buf, at);
		}
	name_parts(s, buf, sizeof buf);
	return pd_fail(err, PD_REFUSED, "the arms are perfectly separated by "
	               "%s taken together", buf);
}

/* ---- the fit ---------------------------------------------------------- */

static pd_logistic *new_fit(size_t n, size_t p)
{
	pd_logistic *f = malloc(sizeof *f);
	double *a = malloc((2 * p + 2 * p * p + (2 + p) * n) * sizeof *a);

	if (!f || !a) {
		free(f);
		free(a);
		return NULL;
	}
	*f = (pd_logistic){ .n = n, .p = p, .coef = a, .se = a + p,
	                    .covariance = a + 2 * p,
	                    .q_covariance = a + 2 * p + p * p };
	f->chance = f->q_covariance + p * p;
	f->rest = f->chance + n;
	f->q = f->rest + n;
	return f;
}

static pd_status finish(struct search *s, pd_logistic *f, pd_error *err)
{
	size_t p = f->p;

	if (gsl_linalg_cholesky_invert(s->information))
		return pd_fail(err, PD_NUMERIC, "the information of the "
		               "coefficients cannot be inverted");
	for (size_t j = 0; j < p; j++)
		for (size_t k = 0; k < p; k++)
			f->q_covariance[j * p + k] =
			    gsl_matrix_get(s->information, j, k);
	memcpy(f->covariance, f->q_covariance, p * p * sizeof *f->covariance);
	memcpy(f->q, s->basis.q, f->n * p * sizeof *f->q);
	pd_basis_back(&s->basis, s->gamma, f->coef);
	pd_basis_back_covariance(&s->basis, f->covariance, p);
	for (size_t j = 0; j < p; j++)
		f->se[j] = sqrt(f->covariance[j * p + j]);
	memcpy(f->chance, s->chance, f->n * sizeof *f->chance);
	memcpy(f->rest, s->rest, f->n * sizeof *f->rest);
	f->log_likelihood = s->value;
	f->iterations = s->iterations;
	return pd_check_results(f->coef, 2 * p, err); /* and se, behind it */
}

static pd_status run(pd_arena *arena, struct search *s, pd_logistic *f,
                     pd_error *err)
{
	size_t n = s->d->n, p = s->d->p;

	s->gamma = PD_NEW(arena, double, p);
	s->score = PD_NEW(arena, double, p);
	s->linear = PD_NEW(arena, double, n);
	s->way = PD_NEW(arena, double, n);
	s->try = PD_NEW(arena, double, n);
	s->chance = PD_NEW(arena, double, n);
	s->rest = PD_NEW(arena, double, n);
	if (!s->gamma || !s->score || !s->linear || !s->way || !s->try ||
	    !s->chance || !s->rest || !s->information || !s->step)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	switch (climb(s)) {
	case TOP:
		return finish(s, f, err);
	case PARTED:
		return say_parted(s, err);
	default:
		return pd_fail(err, PD_NUMERIC, "the logistic regression did "
		               "not settle in %u steps", s->iterations);
	}
}

pd_status pd_logistic_fit(const pd_logistic_data *d, pd_logistic **out,
                          pd_error *err)
{
	pd_arena *arena;
	struct search s = { .d = d };
	size_t n_first;
	pd_logistic *f;
	pd_status st;

	pd_base_init();
	*out = NULL;
	st = look(d, &n_first, err);
	if (st != PD_OK)
		return st;
	arena = pd_arena_new();
	f = new_fit(d->n, d->p);
	s.information = gsl_matrix_alloc(d->p, d->p);
	s.step = gsl_vector_alloc(d->p);
	if (!arena || !f)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = pd_basis_new(arena, d->x, d->n, d->p, &s.basis, NULL);
	if (st == PD_REFUSED)
		st = name_column(arena, d, err);
	else if (st == PD_OK)
		st = run(arena, &s, f, err);
	else
		pd_fail(err, st, "out of memory");
	gsl_vector_free(s.step);
	gsl_matrix_free(s.information);
	pd_arena_free(arena);
	if (st == PD_OK) {
		f->n_first = n_first;
		*out = f;
	} else {
		pd_logistic_free(f);
	}
	return st;
}

void pd_logistic_free(pd_logistic *f)
{
	if (!f)
		return;
	free(f->coef);
	free(f);
}
