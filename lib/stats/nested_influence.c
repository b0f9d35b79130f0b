/*
 * nested_influence.c - leaving groups out by closed form. Coordinates: with
 * A = L L' and x_r a row of Q, everything about coefficients is kept as
 * L^-1 x (A becomes I, A_i becomes M_i, a contrast c becomes
 * L^-1 U'^-1 c), so that
 *   L'(b - b_(i)) = (I - M_i)^-1 g_i,  leverage = tr M_i,
 *   cook = |(I - M_i)^-1 g_i|^2 / (p s^2),  cov_ratio = 1 / |I - M_i|.
 * An eigenvalue of M_i at 1 is a direction only group i knows.
 */
#include "stats/nested_influence.h"
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/nested_rows.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double lost_floor = 1e-8; /* 1 - eigenvalue of M_i           */

struct pd_influence_own {
	size_t p;
	double *u, *chol;      /* p*p: X = Q U, Q'V^-1 Q = chol chol'        */
	double *unit;          /* p*p: row j is L^-1 U'^-1 e_j               */
	double *x;             /* groups*p: L'(b - b_(i)), scaled y          */
	double **lost;         /* groups: NULL, or its lost directions       */
	size_t *n_lost;        /* groups                                     */
	double y_scale, s;     /* s: residual sd of the scaled y             */
};

/* Work for one group after the other. */
struct bench {
	double *m, *g, *eigen, *value, *vector, *t, *tv; /* p*p, p, ...      */
	size_t *start, *row;   /* rows by group: row[start[i]] ..            */
};

static bool bench_room(pd_arena *a, size_t n, size_t p, size_t groups,
                       struct bench *b)
{
	b->m = PD_NEW(a, double, p * p);
	b->g = PD_NEW(a, double, p);
	b->eigen = PD_NEW(a, double, p * p);
	b->value = PD_NEW(a, double, p);
	b->vector = PD_NEW(a, double, p * p);
	b->t = PD_NEW(a, double, p);
	b->tv = PD_NEW(a, double, p);
	b->start = PD_NEW(a, size_t, groups + 2);
	b->row = PD_NEW(a, size_t, n);
	return b->m && b->g && b->eigen && b->value && b->vector && b->t &&
	       b->tv && b->start && b->row;
}

static size_t group_of(const struct pd_nested *m, size_t i)
{
	return m->depth ? m->level[0].row_group[i] : i;
}

static void by_group(const struct pd_nested *m, size_t groups,
                     struct bench *b)
{
	for (size_t i = 0; i < m->n; i++)
		b->start[group_of(m, i) + 2]++;
	for (size_t g = 0; g < groups; g++)
		b->start[g + 2] += b->start[g + 1];
	for (size_t i = 0; i < m->n; i++)
		b->row[b->start[group_of(m, i) + 1]++] = i;
}

static double dot(const double *x, const double *y, size_t p)
{
	double s = 0.0;

	for (size_t j = 0; j < p; j++)
		s += x[j] * y[j];
	return s;
}

/* M_i and g_i; r'V^-1 r comes back. */
static double collect(const struct pd_nested *m, const struct pd_rows *rows,
                      size_t g, struct bench *b)
{
	size_t p = m->p;
	double square = 0.0;

	memset(b->m, 0, p * p * sizeof *b->m);
	memset(b->g, 0, p * sizeof *b->g);
	for (size_t k = b->start[g]; k < b->start[g + 1]; k++) {
		size_t i = b->row[k];

		memcpy(b->t, m->rows + i * m->ld, p * sizeof *b->t);
		memcpy(b->tv, rows->vw + i * m->ld, p * sizeof *b->tv);
		pd_rows_forward(rows->chol, p, b->t);
		pd_rows_forward(rows->chol, p, b->tv);
		for (size_t c = 0; c < p; c++) {
			b->g[c] += b->t[c] * rows->part[i];
			for (size_t d = 0; d < p; d++)
				b->m[c * p + d] += 0.5 *
					(b->t[c] * b->tv[d] +
					 b->t[d] * b->tv[c]);
		}
		square += rows->raw[i] * rows->part[i];
	}
	return square;
}

/* x = (I - M)^-1 g the plain way; false when something may be lost. */
static bool solve(const struct bench *b, size_t p, double *x, double *log_det)
{
	for (size_t i = 0; i < p * p; i++)
		b->eigen[i] = -b->m[i];
	for (size_t j = 0; j < p; j++)
		b->eigen[j * p + j] += 1.0;
	if (!pd_chol(b->eigen, p, p))
		return false;
	for (size_t j = 0; j < p; j++)
		if (!(b->eigen[j * p + j] > 1e-3))
			return false;
	memcpy(x, b->g, p * sizeof *x);
	pd_chol_solve(b->eigen, p, p, x);
	*log_det = pd_chol_log_det(b->eigen, p, p);
	return true;
}

/* The same over the directions that are left; lost ones are kept. */
static pd_status solve_around(struct pd_influence *out, size_t g,
                              const struct bench *b, double *x,
                              double *log_det, pd_error *err)
{
	struct pd_influence_own *o = out->own;
	size_t p = o->p, n_lost = 0;

	for (size_t i = 0; i < p * p; i++)
		b->eigen[i] = -b->m[i];
	for (size_t j = 0; j < p; j++)
		b->eigen[j * p + j] += 1.0;
	pd_eigen(b->eigen, p, b->value, b->vector);
	*log_det = 0.0;
	memset(x, 0, p * sizeof *x);
	for (size_t k = 0; k < p; k++) {
		double s = 0.0;

		if (!(b->value[k] > lost_floor)) {
			n_lost++;
			continue;
		}
		*log_det += log(b->value[k]);
		for (size_t j = 0; j < p; j++)
			s += b->vector[j * p + k] * b->g[j];
		for (size_t j = 0; j < p; j++)
			x[j] += b->vector[j * p + k] * s / b->value[k];
	}
	o->n_lost[g] = n_lost;
	if (n_lost == 0)
		return PD_OK;
	o->lost[g] = PD_NEW(out->arena, double, n_lost * p);
	if (!o->lost[g])
		return pd_fail(err, PD_NO_MEMORY, "no memory for influence");
	n_lost = 0;
	for (size_t k = 0; k < p; k++)
		if (!(b->value[k] > lost_floor)) {
			for (size_t j = 0; j < p; j++)
				o->lost[g][n_lost * p + j] =
					b->vector[j * p + k];
			n_lost++;
		}
	return PD_OK;
}

/* Shift of the rotated contrast c without group g, scaled y; NaN: lost. */
static double shift_of(const struct pd_influence_own *o, size_t g,
                       const double *c)
{
	double size = sqrt(dot(c, c, o->p));

	for (size_t k = 0; k < o->n_lost[g]; k++)
		if (fabs(dot(c, o->lost[g] + k * o->p, o->p)) > 1e-6 * size)
			return NAN;
	return dot(c, o->x + g * o->p, o->p);
}

static void row_means(const struct pd_influence *out, const struct bench *b,
                      pd_left_out *w)
{
	double n = (double)w->rows, marginal = 0.0, conditional = 0.0;

	w->marginal_mean = 0.0;
	for (size_t k = b->start[w->group]; k < b->start[w->group + 1]; k++) {
		double r = out->marginal[b->row[k]];
		double e = out->conditional[b->row[k]];

		w->marginal_mean += r / n;
		marginal += r * (r / n);
		conditional += e * (e / n);
	}
	w->marginal_rms = sqrt(marginal);
	w->conditional_rms = sqrt(conditional);
}

static pd_status one_group(const struct pd_nested *m,
                           const struct pd_rows *rows, struct bench *b,
                           struct pd_influence *out, size_t g, pd_error *err)
{
	struct pd_influence_own *o = out->own;
	pd_left_out *w = &out->group[g];
	size_t p = o->p;
	double *x = o->x + g * p, s2 = m->sigma2, log_det;
	double square = collect(m, rows, g, b);
	pd_status st = PD_OK;

	w->group = g;
	w->rows = b->start[g + 1] - b->start[g];
	for (size_t j = 0; j < p; j++)
		w->leverage += b->m[j * p + j];
	if (!solve(b, p, x, &log_det))
		st = solve_around(out, g, b, x, &log_det, err);
	if (st != PD_OK)
		return st;
	w->determined = o->n_lost[g] == 0;
	w->cook = w->determined ? dot(x, x, p) / ((double)p * s2) : INFINITY;
	w->cov_ratio = w->determined ? exp(-log_det) : INFINITY;
	w->distance = fmax(0.0, square + dot(b->g, x, p)) / s2;
	w->distance_df = (double)w->rows - (double)o->n_lost[g];
	w->distance_p = w->distance_df > 0.5 ?
		pd_chisq_upper(w->distance, w->distance_df) : 1.0;
	for (size_t j = 0; j < p; j++) {
		const double *c = o->unit + j * p;
		double shift = shift_of(o, g, c);

		out->shift[g * p + j] = shift * o->y_scale;
		out->shift_se[g * p + j] = shift / (o->s *
		                                    sqrt(dot(c, c, p)));
	}
	row_means(out, b, w);
	return PD_OK;
}

static void row_numbers(const struct pd_nested *m, const struct pd_rows *rows,
                        struct pd_influence *out)
{
	double s = sqrt(m->sigma2);

	for (size_t i = 0; i < m->n; i++) {
		double total = rows->total[i] - rows->lean[i];
		double part = rows->inverse[i] - rows->fixed[i];

		out->marginal[i] = rows->raw[i] * m->y_scale;
		out->conditional[i] = rows->part[i] * m->y_scale;
		out->marginal_z[i] = total > 1e-10 * rows->total[i] ?
			rows->raw[i] / (s * sqrt(total)) : 0.0;
		out->conditional_z[i] = part > 1e-10 * rows->inverse[i] ?
			rows->part[i] / (s * sqrt(part)) : 0.0;
	}
}

static int falling(const void *a, const void *b)
{
	const pd_left_out *const *x = a, *const *y = b;

	if ((*x)->cook != (*y)->cook)
		return (*x)->cook < (*y)->cook ? 1 : -1;
	return ((*x)->group > (*y)->group) - ((*x)->group < (*y)->group);
}

static pd_status rank_groups(struct pd_influence *out, pd_error *err)
{
	const pd_left_out **at = calloc(out->groups, sizeof *at);

	if (!at)
		return pd_fail(err, PD_NO_MEMORY, "no memory for influence");
	for (size_t g = 0; g < out->groups; g++)
		at[g] = &out->group[g];
	qsort(at, out->groups, sizeof *at, falling);
	for (size_t g = 0; g < out->groups; g++)
		out->order[g] = at[g]->group;
	free(at);
	return PD_OK;
}

static bool out_room(struct pd_influence *o)
{
	pd_arena *a = o->arena;
	struct pd_influence_own *w = o->own;
	size_t n = o->n, p = o->p, g = o->groups;
	struct { double **at; size_t n; } want[] = {
		{ &o->shift, g * p }, { &o->shift_se, g * p },
		{ &o->marginal, n }, { &o->conditional, n },
		{ &o->marginal_z, n }, { &o->conditional_z, n },
		{ &o->independent, n }, { &w->u, p * p }, { &w->chol, p * p },
		{ &w->unit, p * p }, { &w->x, g * p },
	};

	for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
		*want[i].at = PD_NEW(a, double, want[i].n);
		if (!*want[i].at)
			return false;
	}
	o->group = PD_NEW(a, pd_left_out, g);
	o->order = PD_NEW(a, size_t, g);
	w->lost = PD_NEW(a, double *, g);
	w->n_lost = PD_NEW(a, size_t, g);
	return o->group && o->order && w->lost && w->n_lost;
}

/* L^-1 U'^-1 c into out */
static void rotate(const struct pd_influence_own *o, const double *c,
                   double *out)
{
	for (size_t i = 0; i < o->p; i++) {
		out[i] = c[i];
		for (size_t j = 0; j < i; j++)
			out[i] -= o->u[j * o->p + i] * out[j];
		out[i] /= o->u[i * o->p + i];
	}
	pd_rows_forward(o->chol, o->p, out);
}

static void keep(const struct pd_nested *m, const struct pd_rows *rows,
                 struct pd_influence_own *o, double *work)
{
	size_t p = o->p;

	memcpy(o->u, m->u, p * p * sizeof *o->u);
	memcpy(o->chol, rows->chol, p * p * sizeof *o->chol);
	o->y_scale = m->y_scale;
	o->s = sqrt(m->sigma2);
	for (size_t j = 0; j < p; j++) {
		memset(work, 0, p * sizeof *work);
		work[j] = 1.0;
		rotate(o, work, o->unit + j * p);
	}
}

static pd_status fill(struct pd_nested *m, struct pd_influence *out,
                      pd_arena *work, pd_error *err)
{
	struct pd_rows rows;
	struct bench b;
	pd_error shape = { 0 };
	pd_status st = pd_rows_make(m, work, &rows, err);

	if (st == PD_OK && !bench_room(work, out->n, out->p, out->groups, &b))
		st = pd_fail(err, PD_NO_MEMORY, "no memory for influence");
	if (st != PD_OK)
		return st;
	keep(m, &rows, out->own, b.t);
	row_numbers(m, &rows, out);
	by_group(m, out->groups, &b);
	for (size_t g = 0; st == PD_OK && g < out->groups; g++)
		st = one_group(m, &rows, &b, out, g, err);
	if (st == PD_OK)
		st = rank_groups(out, err);
	if (st == PD_OK)
		st = pd_rows_independent(m, rows.raw, out->independent, err);
	if (st == PD_OK)
		out->judged = pd_normality_test(out->independent, out->n,
		                                &out->shape, &shape) == PD_OK;
	return st;
}

pd_status pd_nested_influence(pd_nested *m, pd_influence **out, pd_error *err)
{
	struct pd_influence *o = calloc(1, sizeof *o);
	pd_arena *work = pd_arena_new();
	pd_status st = PD_OK;

	*out = NULL;
	if (o)
		o->own = calloc(1, sizeof *o->own);
	if (o)
		o->arena = pd_arena_new();
	if (!work || !o || !o->own || !o->arena) {
		st = pd_fail(err, PD_NO_MEMORY, "no memory for influence");
	} else {
		o->n = m->n;
		o->p = o->own->p = m->p;
		o->groups = m->depth ? m->level[0].n_groups : m->n;
		st = out_room(o) ? fill(m, o, work, err) :
		     pd_fail(err, PD_NO_MEMORY, "no memory for influence of "
		             "%zu groups", o->groups);
	}
	pd_arena_free(work);
	if (st == PD_OK)
		*out = o;
	else
		pd_influence_free(o);
	return st;
}

void pd_influence_free(pd_influence *i)
{
	if (!i)
		return;
	if (i->arena)
		pd_arena_free(i->arena);
	free(i->own);
	free(i);
}

pd_status pd_influence_contrast(const pd_influence *i, const double *c,
                                double *shift, double *se, pd_error *err)
{
	const struct pd_influence_own *o = i->own;
	double *r = calloc(o->p, sizeof *r), size;

	if (!r)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a contrast");
	rotate(o, c, r);
	size = sqrt(dot(r, r, o->p));
	for (size_t g = 0; g < i->groups; g++)
		shift[g] = shift_of(o, g, r) * o->y_scale;
	free(r);
	if (!(size > 0.0) || !isfinite(size))
		return pd_fail(err, PD_USAGE, "a contrast is zero or not "
		               "finite");
	if (se)
		*se = size * o->s * o->y_scale;
	return PD_OK;
}
