/*
 * curve.c - a line with one bend, its bend profiled in closed form; formulas
 * in curve.h.
 */
#include "stats/curve.h"
#include "stats/linear.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>

struct point {
	double v, y;
};

/* Sums over a stretch of points, v and y about their means. */
struct sums {
	long double n, v, vv, y, vy, yy;
};

/* Residual sum of squares between two neighbouring distinct v:
 * yy - (a + b c)^2 / (d + 2 e c + f c^2), c about the mean of v. */
struct piece {
	long double a, b, d, e, f, yy;
};

struct bend {
	pd_bend shape;
	size_t n, distinct;
	struct point *at;   /* n, ascending in v */
	size_t *upto;       /* points with v at or below distinct v number k */
	double mean_v, mean_y;
	struct sums all;
	struct sums *low;   /* distinct: of the points up to upto[k] */
};

static int by_v(const void *a, const void *b)
{
	const struct point *p = a, *q = b;

	if (p->v != q->v)
		return p->v < q->v ? -1 : 1;
	return (p->y > q->y) - (p->y < q->y);
}

static long double about(const struct bend *w, size_t k)
{
	return (long double)w->at[w->upto[k] - 1].v - w->mean_v;
}

/* Distinct v, their counts and running sums. */
static void prepare(struct bend *w)
{
	struct sums s = { 0 };
	long double v = 0, y = 0;

	qsort(w->at, w->n, sizeof *w->at, by_v);
	for (size_t i = 0; i < w->n; i++) {
		v += w->at[i].v;
		y += w->at[i].y;
	}
	w->mean_v = (double)(v / (long double)w->n);
	w->mean_y = (double)(y / (long double)w->n);
	for (size_t i = 0; i < w->n; i++) {
		v = (long double)w->at[i].v - w->mean_v;
		y = (long double)w->at[i].y - w->mean_y;
		s.n++;
		s.v += v;
		s.vv += v * v;
		s.y += y;
		s.vy += v * y;
		s.yy += y * y;
		if (i + 1 == w->n || w->at[i + 1].v > w->at[i].v) {
			w->low[w->distinct] = s;
			w->upto[w->distinct++] = i + 1;
		}
	}
	w->all = s;
}

/* Product of two vectors with what 1 (and v) explain taken out; *1, *v: their
 * products with 1 and v. */
static long double left(const struct bend *w, long double xy, long double x1,
                        long double y1, long double xv, long double yv)
{
	const struct sums *s = &w->all;
	long double vv = s->vv - s->v * s->v / s->n;
	long double r = xy - x1 * y1 / s->n;

	if (w->shape == PD_BEND_SLOPE)
		r -= (xv - x1 * s->v / s->n) * (yv - y1 * s->v / s->n) / vv;
	return r;
}

/*
 * The piece between distinct v number k and k + 1. The bent column is p + c q:
 * min(v, c) has p = v, q = 0 below and 0, 1 above; max(v - c, 0) has 0, 0
 * below and v, -1 above.
 */
static struct piece piece(const struct bend *w, size_t k)
{
	const struct sums *t = &w->all, *lo = &w->low[k];
	struct sums s = { t->n - lo->n, t->v - lo->v, t->vv - lo->vv,
		          t->y - lo->y, t->vy - lo->vy, t->yy - lo->yy };
	struct piece r = { .yy = left(w, t->yy, t->y, t->y, t->vy, t->vy) };

	if (w->shape == PD_BEND_LEVEL) {
		r.a = left(w, lo->vy, lo->v, t->y, 0, 0);
		r.b = left(w, s.y, s.n, t->y, 0, 0);
		r.d = left(w, lo->vv, lo->v, lo->v, 0, 0);
		r.e = left(w, 0, lo->v, s.n, 0, 0);
		r.f = left(w, s.n, s.n, s.n, 0, 0);
	} else {
		r.a = left(w, s.vy, s.v, t->y, s.vv, t->vy);
		r.b = left(w, -s.y, -s.n, t->y, -s.v, t->vy);
		r.d = left(w, s.vv, s.v, s.v, s.vv, s.vv);
		r.e = left(w, -s.v, s.v, -s.n, s.vv, -s.v);
		r.f = left(w, s.n, -s.n, -s.n, -s.v, -s.v);
	}
	return r;
}

static long double square_at(const struct piece *r, long double c)
{
	long double top = r->a + r->b * c;
	long double below = r->d + 2 * r->e * c + r->f * c * c;

	return below > 0 ? r->yy - top * top / below : r->yy;
}

/* The best bend from distinct v 1 to distinct - 2 (counted from 0). */
static long double best_bend(const struct bend *w, long double *square)
{
	long double best = about(w, 1);

	*square = INFINITY;
	for (size_t k = 1; k + 2 < w->distinct; k++) {
		struct piece r = piece(w, k);
		long double from = about(w, k), to = about(w, k + 1);
		long double below = r.b * r.e - r.a * r.f;
		long double try[3] = { from, to, from };

		if (below != 0)
			try[2] = (r.a * r.e - r.b * r.d) / below;
		for (size_t i = 0; i < 3; i++) {
			long double s;

			if (!(try[i] >= from && try[i] <= to))
				continue;
			s = square_at(&r, try[i]);
			if (s < *square) {
				*square = s;
				best = try[i];
			}
		}
	}
	return best;
}

/* ---- limits ----------------------------------------------------------- */

/* Widen [*low, *high] by the c of a piece whose sum of squares is within
 * `cut`: where q2 c^2 + 2 q1 c + q0 >= 0. */
static void widen(const struct piece *r, long double from, long double to,
                  long double cut, long double *low, long double *high)
{
	long double k = r->yy - cut;
	long double q2 = r->b * r->b - k * r->f;
	long double q1 = r->a * r->b - k * r->e;
	long double q0 = r->a * r->a - k * r->d;
	long double inside = q1 * q1 - q2 * q0, sum;
	long double at[4] = { from, to, NAN, NAN };

	if (inside >= 0) {
		sum = -(q1 + copysignl(sqrtl(inside), q1));
		at[2] = q2 != 0 ? sum / q2 : NAN;
		at[3] = sum != 0 ? q0 / sum : NAN;
	}
	for (size_t i = 0; i < 4; i++) {
		if (!(at[i] >= from && at[i] <= to))
			continue;
		if (i < 2 && square_at(r, at[i]) > cut)
			continue;
		*low = fminl(*low, at[i]);
		*high = fmaxl(*high, at[i]);
	}
}

/* Sum of squares without a bend below (all after) or above (all before). */
static long double plain(const struct bend *w, int above)
{
	const struct sums *s = &w->all;
	long double yy = s->yy - s->y * s->y / s->n;
	long double vy = s->vy - s->v * s->y / s->n;

	if (w->shape == PD_BEND_LEVEL && !above)
		return yy;
	return yy - vy * vy / (s->vv - s->v * s->v / s->n);
}

static void limits(const struct bend *w, long double best, long double cut,
                   pd_estimate *e)
{
	size_t last = w->distinct - 1;
	long double low = best, high = best;
	size_t stop = w->shape == PD_BEND_LEVEL ? last : last - 1;

	for (size_t k = 1; k < stop; k++) {
		struct piece r = piece(w, k);

		widen(&r, about(w, k), about(w, k + 1), cut, &low, &high);
	}
	/* Beyond the second v, and for two slopes the last but one, the sum
	 * of squares no longer changes up to the outermost v. */
	if (low <= about(w, 1))
		low = about(w, 0);
	if (high >= about(w, stop))
		high = about(w, last);
	e->low = (double)(low + w->mean_v);
	e->high = (double)(high + w->mean_v);
	if (low <= about(w, 0))
		e->low = plain(w, 0) <= cut ? -INFINITY : w->at[0].v;
	if (high >= about(w, last))
		e->high = plain(w, 1) <= cut ? INFINITY : w->at[w->n - 1].v;
}

/* ---- the other parameters --------------------------------------------- */

static double bent(pd_bend shape, double v, double c)
{
	return shape == PD_BEND_LEVEL ? fmin(v, c) : fmax(v - c, 0);
}

/* Columns v (two slopes only), the bent one, and (`slope` not NULL) the
 * gradient by the bend; returns how many. */
static size_t columns(const struct bend *w, double c, const double *slope,
                      double *room, pd_regressor *column)
{
	size_t n = w->n, k = 0;

	if (w->shape == PD_BEND_SLOPE) {
		for (size_t i = 0; i < n; i++)
			room[i] = w->at[i].v;
		column[k++] = (pd_regressor){ "v", room, NULL };
	}
	for (size_t i = 0; i < n; i++)
		room[k * n + i] = bent(w->shape, w->at[i].v, c);
	column[k] = (pd_regressor){ "bent v", room + k * n, NULL };
	k++;
	if (!slope)
		return k;
	for (size_t i = 0; i < n; i++)
		room[k * n + i] = w->at[i].v > c ? *slope : 0;
	column[k] = (pd_regressor){ "bend", room + k * n, NULL };
	return k + 1;
}

static pd_estimate with_limits(double value, double variance, double df,
                               double level)
{
	pd_estimate e = { .value = value, .se = sqrt(fmax(0, variance)),
		          .df = df, .level = level };
	double t = pd_t_quantile(0.5 + level / 2, df);

	e.low = value - t * e.se;
	e.high = value + t * e.se;
	e.p = e.se > 0 ? pd_t_two_sided(value / e.se, df) : value == 0;
	return e;
}

/* c' b and its variance for the fit f and the errors of g. */
static pd_estimate combine(const pd_linear_fit *f, const pd_linear_fit *g,
                           const double *c, const double *gradient,
                           const pd_breakpoint *o, double level)
{
	double value = 0, variance = 0;

	for (size_t j = 0; j < f->p; j++)
		value += c[j] * f->coef[j];
	for (size_t i = 0; i < g->p; i++)
		for (size_t j = 0; j < g->p; j++)
			variance += gradient[i] * gradient[j] *
			            g->unscaled[i * g->p + j];
	return with_limits(value, variance * o->residual_sd * o->residual_sd,
	                   o->residual_df, level);
}

static void describe(const struct bend *w, const pd_linear_fit *f,
                     const pd_linear_fit *g, double level, pd_breakpoint *o)
{
	double c = o->bend.value, low = o->bend.low, high = o->bend.high;
	int level_after = w->shape == PD_BEND_LEVEL;
	size_t last = g->p - 1;
	double one[4] = { 1 }, two[4] = { 0, 1 }, three[4] = { 0 };
	double height[4] = { 1, c }, moves[4] = { 1, c }, zero[4] = { 0 };
	double by_bend[4] = { 0 };

	by_bend[last] = 1;
	three[level_after ? 1 : 2] = level_after ? -1 : 1;
	moves[last] = f->coef[1];
	o->bend = combine(f, g, zero, by_bend, o, level);
	o->bend.value = c;
	o->bend.low = low;
	o->bend.high = high;
	o->bend.p = NAN; /* no test of a bend at 0 */
	o->intercept = combine(f, g, one, one, o, level);
	o->slope = combine(f, g, two, two, o, level);
	o->change = combine(f, g, three, three, o, level);
	o->level = combine(f, g, height, moves, o, level);
}

static pd_status finish(const struct bend *w, double level, pd_breakpoint *o,
                        pd_error *err)
{
	double *room = calloc(5 * w->n, sizeof *room), slope;
	pd_regressor column[3];
	pd_linear_fit *f = NULL, *g = NULL;
	pd_linear_data d = { .n = w->n, .intercept = 1, .column = column };
	pd_status st;

	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < w->n; i++)
		room[3 * w->n + i] = w->at[i].y;
	d.y = room + 3 * w->n;
	d.n_columns = columns(w, o->bend.value, NULL, room, column);
	st = pd_linear(&d, &f, err);
	if (st == PD_OK) {
		slope = f->coef[f->p - 1];
		if (w->shape == PD_BEND_SLOPE)
			slope = -slope;
		d.n_columns = columns(w, o->bend.value, &slope, room, column);
		if (pd_linear(&d, &g, NULL) != PD_OK)
			st = pd_fail(err, PD_REFUSED, "no change of slope");
	}
	if (st == PD_OK) {
		o->residual_ss = f->residual_ss;
		o->residual_df = (double)(w->n - g->p);
		o->residual_sd = sqrt(o->residual_ss / o->residual_df);
		describe(w, f, g, level, o);
	}
	pd_linear_free(f);
	pd_linear_free(g);
	free(room);
	return st;
}

static pd_status look(const double *v, const double *y, size_t n, double level,
                      size_t p, pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level is %g, expected between 0 "
		               "and 1", level);
	for (size_t i = 0; i < n; i++)
		if (!isfinite(v[i]) || !isfinite(y[i]))
			return pd_fail(err, PD_DATA, "row %zu is %g, %g, "
			               "expected finite numbers", i + 1, v[i],
			               y[i]);
	if (n <= p)
		return pd_fail(err, PD_REFUSED, "%zu rows for %zu parameters, "
		               "expected more rows than parameters", n, p);
	return PD_OK;
}

static pd_status solve(struct bend *w, double level, pd_breakpoint *out,
                       pd_error *err)
{
	double df = (double)w->n - (w->shape == PD_BEND_LEVEL ? 3 : 4);
	pd_breakpoint o = { 0 };
	long double best, square;
	pd_status st;

	prepare(w);
	if (w->distinct < 4)
		return pd_fail(err, PD_REFUSED, "%zu distinct values, expected "
		               "at least 4 to place a bend", w->distinct);
	best = best_bend(w, &square);
	o.bend.value = (double)(best + w->mean_v);
	limits(w, best, square * (1 + pd_f_quantile(level, 1, df) / df),
	       &o.bend);
	st = finish(w, level, &o, err);
	if (st == PD_OK)
		*out = o;
	return st;
}

pd_status pd_breakpoint_fit(const double *v, const double *y, size_t n,
                            pd_bend shape, double level, pd_breakpoint *out,
                            pd_error *err)
{
	struct bend w = { .shape = shape, .n = n };
	pd_status st = look(v, y, n, level, shape == PD_BEND_LEVEL ? 3 : 4,
	                    err);

	if (st != PD_OK)
		return st;
	w.at = calloc(n, sizeof *w.at);
	w.upto = calloc(n, sizeof *w.upto);
	w.low = calloc(n, sizeof *w.low);
	if (!w.at || !w.upto || !w.low) {
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	} else {
		for (size_t i = 0; i < n; i++)
			w.at[i] = (struct point){ v[i], y[i] };
		st = solve(&w, level, out, err);
	}
	free(w.at);
	free(w.upto);
	free(w.low);
	return st;
}
