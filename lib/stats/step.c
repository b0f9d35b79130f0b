/*
 * step.c - see step.h.
 */
#include "stats/step.h"
#include "base/arena.h"
#include "stats/quantile.h"
#include "stats/stream.h"
#include "stats/summary.h"

#include <math.h>
#include <string.h>

enum { DRAWS = 999, MOST_DRAWS = 1000000, MOST = 1000 };
static const double SAME = 1e-12; /* R this close, of the whole, is equal */

struct series {
	const pd_step_search *how;
	size_t n, draws;
	double *off;     /* n, from the mean                                */
	double *room;    /* n                                               */
	double *share;   /* n, n / (k (n - k)) at k - 1                     */
	double *r;       /* n, R_k at k - 1                                 */
	double *p;       /* n, p_k at k - 1, NaN within the edges           */
	double total;    /* sum of off^2                                    */
	size_t best;     /* k of the largest R                              */
};

static pd_status look(const double *x, size_t n, const pd_step_search *how,
                      size_t draws, pd_error *err)
{
	pd_status st = pd_check_finite(x, n, err);

	if (st != PD_OK)
		return st;
	if (!(how->level > 0 && how->level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", how->level);
	if (how->edge < 2)
		return pd_fail(err, PD_DATA, "a level needs 2 values or more "
		               "on each side of a change, got an edge of %zu",
		               how->edge);
	if (draws > MOST_DRAWS ||
	    0.5 * (1 - how->level) * (1 + (double)draws) < 1 - 1e-9)
		return pd_fail(err, PD_DATA, "%zu draws at level %g, expected "
		               "at least %.0f and at most %d", draws,
		               how->level,
		               ceil(2 / (1 - how->level) - 1 - 1e-9),
		               MOST_DRAWS);
	if (n < 2 * how->edge + 2 || n > MOST)
		return pd_fail(err, PD_REFUSED, "a change of level with %zu "
		               "values on each side takes %zu to %d values, "
		               "got %zu", how->edge, 2 * how->edge + 2, MOST,
		               n);
	return PD_OK;
}

/* The largest R of values whose sum is 0; all R into r unless NULL. */
static double largest(const struct series *s, const double *off, double *r)
{
	double sum = 0, most = 0;

	for (size_t k = 1; k <= s->n - s->how->edge; k++) {
		double at;

		sum += off[k - 1];
		if (k < s->how->edge)
			continue;
		at = sum * sum * s->share[k - 1];
		if (r)
			r[k - 1] = at;
		if (at > most)
			most = at;
	}
	return most;
}

static void shuffle(pd_stream *g, double *x, size_t n)
{
	for (size_t i = n; i > 1; i--) {
		size_t j = (size_t)pd_stream_below(g, i);
		double t = x[i - 1];

		x[i - 1] = x[j];
		x[j] = t;
	}
}

/* Share of random orders, drawn on each side of row k (0: of all), whose
 * largest R less R_k is at least `excess`. */
static double chance(struct series *s, size_t k, double excess)
{
	double own = k ? s->r[k - 1] : 0;
	size_t hits = 0;

	memcpy(s->room, s->off, s->n * sizeof *s->room);
	for (size_t d = 0; d < s->draws; d++) {
		pd_stream g;

		pd_stream_init(&g, s->how->seed, k * s->draws + d);
		shuffle(&g, s->room, k);
		shuffle(&g, s->room + k, s->n - k);
		hits += largest(s, s->room, NULL) - own >=
		        excess - SAME * s->total;
	}
	return (1 + (double)hits) / (1 + (double)s->draws);
}

/* ---- the answer ------------------------------------------------------- */

/* Mean after less mean before for a step after row k, time taken as known. */
static pd_estimate step_at(const struct series *s, size_t k, double level)
{
	double n = (double)s->n, a = (double)k, b = n - a, half;
	double before = pd_sum(s->off, k) / a;
	double later = pd_sum(s->off + k, s->n - k) / b;
	double left = 0;
	pd_estimate e = { .value = later - before, .df = n - 2,
	                  .level = level };

	for (size_t i = 0; i < s->n; i++) {
		double t = s->off[i] - (i < k ? before : later);

		left += t * t;
	}
	e.se = sqrt(left / (n - 2) * (1 / a + 1 / b));
	half = e.se * pd_t_quantile(0.5 + 0.5 * level, e.df);
	e.low = e.value - half;
	e.high = e.value + half;
	e.p = pd_t_two_sided(e.value / e.se, e.df);
	return e;
}

static void sets(const struct series *s, pd_step *out)
{
	double strict = 0.5 + 0.5 * s->how->level;

	out->low = INFINITY;
	out->high = -INFINITY;
	for (size_t k = s->how->edge; k <= s->n - s->how->edge; k++) {
		pd_estimate e;

		if (s->p[k - 1] > 1 - s->how->level) {
			if (!out->n_set++)
				out->set_first = k;
			out->set_last = k;
		}
		if (!(s->p[k - 1] > 1 - strict))
			continue;
		e = step_at(s, k, strict);
		out->low = fmin(out->low, e.low);
		out->high = fmax(out->high, e.high);
	}
}

static void neighbours(const struct series *s, pd_step *out, double before,
                       double later)
{
	double along = 0, square = 0, last = 0;

	for (size_t i = 0; i < s->n; i++) {
		double t = s->off[i] - (i < s->best ? before : later);

		along += i ? t * last : 0;
		square += t * t;
		last = t;
	}
	out->lag_one = along / square;
	out->lag_p = 2 * pd_normal_upper(fabs(out->lag_one) *
	                                 sqrt((double)s->n));
	out->stretch = out->lag_one > 0 ? sqrt((1 + out->lag_one) /
	                                       (1 - out->lag_one)) : 1;
}

static pd_status search(struct series *s, double mean, pd_step *out,
                        pd_error *err)
{
	double most = largest(s, s->off, s->r), before, later;
	size_t edge = s->how->edge, k;

	for (k = edge; s->r[k - 1] < most - SAME * s->total; k++)
		;
	s->best = k;
	*out = (pd_step){ .n = s->n, .after = k, .explained = most / s->total,
	                  .level = s->how->level };
	before = pd_sum(s->off, k) / (double)k;
	later = pd_sum(s->off + k, s->n - k) / (double)(s->n - k);
	out->mean_before = mean + before;
	out->mean_after = mean + later;
	out->step = step_at(s, k, s->how->level);
	out->sd = out->step.se / sqrt(1 / (double)k +
	                              1 / (double)(s->n - k));
	if (!(1 - out->explained > SAME))
		return pd_fail(err, PD_REFUSED, "no variation within the two "
		               "levels: all values before and all after row "
		               "%zu are equal", k);
	out->p = chance(s, 0, most);
	for (size_t i = 0; i < s->n; i++)
		s->p[i] = NAN;
	for (k = edge; k <= s->n - edge; k++)
		s->p[k - 1] = chance(s, k, most - s->r[k - 1]);
	sets(s, out);
	neighbours(s, out, before, later);
	return PD_OK;
}

/* Offsets from the mean by way of the first value, so that a large common
 * part costs no digits. */
static void prepare(struct series *s, const double *x)
{
	double m = (double)s->n, mean;

	for (size_t i = 0; i < s->n; i++)
		s->off[i] = x[i] - x[0];
	mean = pd_sum(s->off, s->n) / m;
	for (size_t i = 0; i < s->n; i++) {
		double k = (double)i + 1;

		s->off[i] -= mean;
		s->total += s->off[i] * s->off[i];
		s->share[i] = k < m ? m / (k * (m - k)) : 0;
	}
}

pd_status pd_step_find(const double *x, size_t n, const pd_step_search *how,
                       double *p_row, pd_step *out, pd_error *err)
{
	struct series s = { .how = how, .n = n,
	                    .draws = how->draws ? how->draws : DRAWS };
	pd_status st = look(x, n, how, s.draws, err);
	pd_summary sum;
	pd_arena *arena;
	double *a;

	if (st != PD_OK)
		return st;
	sum = pd_summarise(x, n);
	if (!(sum.high - sum.low > SAME * fmax(fabs(sum.low), fabs(sum.high))))
		return pd_fail(err, PD_REFUSED, "no variation: all %zu values "
		               "are equal", n);
	arena = pd_arena_new();
	a = arena ? PD_NEW(arena, double, 5 * n) : NULL;
	if (!a) {
		pd_arena_free(arena);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	s.off = a;
	s.room = a + n;
	s.share = a + 2 * n;
	s.r = a + 3 * n;
	s.p = a + 4 * n;
	prepare(&s, x);
	st = search(&s, sum.mean, out, err);
	if (st == PD_OK && p_row)
		memcpy(p_row, s.p, n * sizeof *p_row);
	pd_arena_free(arena);
	return st;
}
