/*
 * curve_mixed.c - the profile of the deviance over the turn: its lowest
 * point and its limits. Formulas in curve_mixed.h.
 */
#include "stats/curve_mixed_own.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_NODES = 100, MOST_PLACES = 1024, MOST_STEPS = 30,
       GOLDEN_STEPS = 60, MOST_DOUBLINGS = 40 };
static const double STAY = 1e-9;   /* of a stretch: a step that is none     */
static const double SETTLED = 1e-4; /* of a stretch: a small step            */
static const double MARGIN = 4;    /* above the cut, low points still looked
                                      into                                  */
static const double NO_GAIN = 1e-7; /* over a straight line                 */

/* A turn at which the deviance is known. */
struct place {
	double turn, value;
};

struct scan {
	struct pd_curve_at *w;
	struct place at[MOST_PLACES]; /* ascending in turn                   */
	size_t n;
	double from, to;              /* where a best turn may lie           */
};

/* The least move of a turn from a to b that counts. */
static double least_move(double a, double b)
{
	return fmax(STAY * (b - a), 4e-16 * (fabs(a) + fabs(b)));
}

static void put(struct scan *s, double turn, double value)
{
	size_t i = s->n;

	if (s->n == MOST_PLACES)
		return;
	while (i > 0 && s->at[i - 1].turn > turn)
		i--;
	if (i > 0 && s->at[i - 1].turn == turn)
		return;
	memmove(s->at + i + 1, s->at + i, (s->n - i) * sizeof *s->at);
	s->at[i] = (struct place){ turn, value };
	s->n++;
}

static void try_turn(struct scan *s, double turn)
{
	put(s, turn, pd_curve_at_deviance(s->w, PD_WITH_CURVE, turn));
}

/* ---- where to look ------------------------------------------------------ */

/* Beyond the last but one dose the deviance changes only for a level. */
static void scan_bends(struct scan *s)
{
	const struct pd_curve_at *w = s->w;
	size_t m = w->n_distinct;
	size_t last = w->spec->shape == PD_CURVE_LEVEL ? m - 1 : m - 2;
	size_t every = (last - 1) / MOST_NODES + 1;

	s->from = w->distinct[1];
	s->to = w->distinct[m - 2];
	for (size_t i = 1;; i += every) {
		double here, next;

		if (i > last)
			i = last;
		here = w->distinct[i];
		try_turn(s, here);
		if (i == last)
			break;
		next = w->distinct[i + every < last ? i + every : last];
		try_turn(s, here + (next - here) / 2);
	}
	try_turn(s, s->to);
}

static void scan_paces(struct scan *s)
{
	double most = s->w->distinct[s->w->n_distinct - 1];

	s->from = most / 64;
	s->to = most * 16;
	for (int k = -24; k <= 16; k++)
		try_turn(s, most * exp2(k / 4.0));
}

/* ---- a low point -------------------------------------------------------- */

/* Golden section for what steps do not settle. */
static struct place golden(struct scan *s, double a, double b)
{
	const double part = 0.6180339887498949;
	double c = b - part * (b - a), d = a + part * (b - a);
	double at_c = pd_curve_at_deviance(s->w, PD_WITH_CURVE, c);
	double at_d = pd_curve_at_deviance(s->w, PD_WITH_CURVE, d);

	double stay = least_move(a, b);

	for (int k = 0; k < GOLDEN_STEPS && b - a > stay; k++) {
		if (at_c < at_d) {
			b = d;
			d = c;
			at_d = at_c;
			c = b - part * (b - a);
			at_c = pd_curve_at_deviance(s->w, PD_WITH_CURVE, c);
		} else {
			a = c;
			c = d;
			at_c = at_d;
			d = a + part * (b - a);
			at_d = pd_curve_at_deviance(s->w, PD_WITH_CURVE, d);
		}
	}
	return at_c < at_d ? (struct place){ c, at_c }
	                   : (struct place){ d, at_d };
}

/* Where a step ends up that leaves the stretch: most of the way to its edge.
 * False when that was done before and the edge, tried already, is as low. */
static bool back_inside(const struct place *end, const struct place *best,
                        double *turn, bool *at_edge)
{
	const struct place *edge = &end[*turn <= end[0].turn ? 0 : 1];
	double width = end[1].turn - end[0].turn;

	if (fabs(best->turn - edge->turn) < 1e-3 * width) {
		*at_edge = edge->value <= best->value;
		return false;
	}
	*turn = best->turn + 0.9 * (edge->turn - best->turn);
	return true;
}

/*
 * Gauss-Newton steps from the middle of a stretch, where the deviance is
 * smooth. Small steps that no longer shrink are down to the rounding of the
 * data: the place of the smallest one is the answer.
 */
static void descend(struct scan *s, const struct place *end)
{
	double a = end[0].turn, b = end[1].turn, stay = least_move(a, b);
	struct place best = { a + (b - a) / 2, INFINITY }, quiet = best;
	double turn = best.turn, value, least = INFINITY;
	bool at_edge = false;

	for (int k = 0; k < MOST_STEPS; k++) {
		double step = pd_curve_at_step(s->w, turn, &value);

		if (!isfinite(value))
			return;
		if (fabs(step) <= SETTLED * (b - a) && fabs(step) > stay &&
		    fabs(step) > 0.9 * least)
			break;
		if (value > best.value + 1e-9 * (1 + fabs(value))) {
			turn = best.turn + (turn - best.turn) / 2;
			if (fabs(turn - best.turn) <= stay)
				break;
			continue;
		}
		if (value < best.value || k == 0)
			best = (struct place){ turn, value };
		if (isnan(step))
			break;
		if (fabs(step) < least) {
			least = fabs(step);
			quiet = (struct place){ turn, value };
		}
		if (least <= stay)
			break;
		turn += step;
		if ((turn <= a || turn >= b) &&
		    !back_inside(end, &best, &turn, &at_edge))
			break;
	}
	if (at_edge)
		return;
	if (!(least <= SETTLED * (b - a)))
		quiet = golden(s, a, b);
	put(s, quiet.turn, quiet.value);
}

static double lowest(const struct scan *s, double from, double to,
                     size_t *where)
{
	double value = INFINITY;

	for (size_t i = 0; i < s->n; i++)
		if (s->at[i].turn >= from && s->at[i].turn <= to &&
		    s->at[i].value < value) {
			value = s->at[i].value;
			*where = i;
		}
	return value;
}

static bool is_low(const struct scan *s, size_t i)
{
	return isfinite(s->at[i].value) &&
	       (i == 0 || s->at[i].value <= s->at[i - 1].value) &&
	       (i + 1 == s->n || s->at[i].value <= s->at[i + 1].value);
}

/* Look into both stretches beside every low point that may matter. */
static pd_status find_lows(struct scan *s, double reach, pd_error *err)
{
	struct place (*low)[2] = malloc(2 * MOST_PLACES * sizeof *low);
	size_t n = 0, where = 0;
	double best = lowest(s, -INFINITY, INFINITY, &where);

	if (!low)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < s->n; i++) {
		if (!is_low(s, i) || s->at[i].value > best + reach)
			continue;
		if (i > 0)
			memcpy(low[n++], &s->at[i - 1], sizeof *low);
		if (i + 1 < s->n)
			memcpy(low[n++], &s->at[i], sizeof *low);
	}
	for (size_t i = 0; i < n; i++)
		descend(s, low[i]);
	free(low);
	return PD_OK;
}

/* ---- limits ------------------------------------------------------------- */

struct crossing {
	struct pd_curve_at *w;
	double cut;
};

static double above_cut(double turn, const void *with)
{
	const struct crossing *c = with;
	double value = pd_curve_at_deviance(c->w, PD_WITH_CURVE, turn);

	return isfinite(value) ? fmin(value - c->cut, 1e6) : 1e6;
}

/* Where the deviance crosses the cut, from the place inside to the next one
 * outside. */
static double cross(struct scan *s, size_t inside, size_t outside, double cut)
{
	struct crossing c = { s->w, cut };
	double a = s->at[inside].turn, b = s->at[outside].turn;

	if (s->at[inside].value == cut)
		return a;
	return pd_root(above_cut, &c, fmin(a, b), fmax(a, b),
	               least_move(fmin(a, b), fmax(a, b)));
}

/* An approach whose pace is within the cut at the end of the scan: on until it
 * is not. */
static void widen(struct scan *s, double cut, bool up)
{
	for (int k = 0; k < MOST_DOUBLINGS; k++) {
		const struct place *end = &s->at[up ? s->n - 1 : 0];

		if (!(end->value <= cut))
			return;
		try_turn(s, up ? end->turn * 2 : end->turn / 2);
	}
}

static void limits(struct scan *s, double cut, const pd_curve_mixed *o,
                   pd_estimate *e, size_t *pieces)
{
	const struct pd_curve_at *w = s->w;
	bool bend = w->spec->shape != PD_CURVE_APPROACH;
	double under = w->spec->shape == PD_CURVE_SLOPE ? o->straight : o->flat;
	size_t low, high = 0;
	bool open_low = under <= cut, open_high = o->straight <= cut;

	if (!bend && !open_low)
		widen(s, cut, false);
	if (!bend && !open_high)
		widen(s, cut, true);
	*pieces = 0;
	low = s->n;
	for (size_t i = 0; i < s->n; i++) {
		if (!(s->at[i].value <= cut))
			continue;
		low = low == s->n ? i : low;
		high = i;
		*pieces += !i || !(s->at[i - 1].value <= cut);
	}
	if (low > 0)
		e->low = cross(s, low, low - 1, cut);
	else
		e->low = bend ? w->distinct[0] : s->at[0].turn;
	if (high + 1 < s->n)
		e->high = cross(s, high, high + 1, cut);
	else
		e->high = bend ? w->distinct[w->n_distinct - 1]
		               : s->at[s->n - 1].turn;
	if (low == 0 && open_low)
		e->low = -INFINITY;
	if (high + 1 == s->n && open_high)
		e->high = INFINITY;
}

/* ---- in all ------------------------------------------------------------- */

static double cut_of(const struct pd_curve_at *w, double df)
{
	double level = w->spec->level, q = (double)(w->p + w->q + 1);

	if (w->spec->cut == PD_CUT_LARGE)
		return pd_chisq_quantile(level, 1);
	return (df + q) * log1p(pd_f_quantile(level, 1, df) / df);
}

static pd_status find_turn(struct scan *s, pd_curve_mixed *o, pd_error *err)
{
	struct pd_curve_at *w = s->w;
	size_t where = 0;
	pd_status st;

	if (w->spec->shape == PD_CURVE_APPROACH)
		scan_paces(s);
	else
		scan_bends(s);
	if (!isfinite(lowest(s, s->from, s->to, &where))) {
		if (err)
			*err = w->why;
		return w->st;
	}
	st = find_lows(s, pd_chisq_quantile(w->spec->level, 1) + MARGIN, err);
	if (st != PD_OK)
		return st;
	o->deviance = lowest(s, s->from, s->to, &where);
	o->turn.value = s->at[where].turn;
	o->straight = pd_curve_at_deviance(w, PD_WITH_LINE, 0);
	o->flat = w->p ? pd_curve_at_deviance(w, PD_WITH_NOTHING, 0)
	               : INFINITY;
	if ((w->spec->shape != PD_CURVE_LEVEL &&
	     !(o->deviance < o->straight - NO_GAIN)) ||
	    !(o->deviance < o->flat - NO_GAIN))
		return pd_fail(err, PD_REFUSED, "no turn: %s is as good",
		               o->deviance < o->flat - NO_GAIN
		                   ? "a straight line" : "no curve at all");
	if (w->spec->shape == PD_CURVE_APPROACH &&
	    (o->turn.value <= s->from || o->turn.value >= s->to))
		return pd_fail(err, PD_REFUSED, "no turn within the doses: the "
		               "pace runs to %g", o->turn.value);
	return PD_OK;
}

pd_status pd_curve_mixed_fit(pd_arena *arena, const pd_curve_mixed_spec *spec,
                             pd_curve_mixed *out, pd_error *err)
{
	pd_arena *work = pd_arena_new();
	struct scan *s = work ? PD_NEW(work, struct scan, 1) : NULL;
	struct pd_curve_at w;
	pd_curve_mixed o = { .p = spec->model.p };
	pd_estimate ends = { 0 };
	double *b = NULL;
	pd_status st = s ? pd_curve_at_new(work, spec, &w, err)
	                 : pd_fail(err, PD_NO_MEMORY, "out of memory");

	if (st == PD_OK) {
		s->w = &w;
		b = PD_NEW(work, double, o.p + PD_CURVE_MOST_COLUMNS);
		o.other = PD_NEW(arena, pd_estimate, o.p + 1);
		if (!b || !o.other)
			st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	if (st == PD_OK)
		st = find_turn(s, &o, err);
	if (st == PD_OK)
		st = pd_curve_at_numbers(&w, b, &o, err);
	if (st == PD_OK) {
		o.cut = cut_of(&w, o.turn.df);
		limits(s, o.deviance + o.cut, &o, &ends, &o.pieces);
		o.turn.low = ends.low;
		o.turn.high = ends.high;
		o.fits = w.fits;
		if (isnan(ends.low) || isnan(ends.high))
			st = pd_fail(err, PD_NUMERIC, "no limits of the turn "
			             "found");
	}
	if (st == PD_OK)
		*out = o;
	pd_arena_free(work);
	return st;
}

pd_status pd_curve_mixed_deviance(const pd_curve_mixed_spec *spec, double turn,
                                  double *value, pd_error *err)
{
	pd_arena *work = pd_arena_new();
	struct pd_curve_at w = { 0 };
	pd_status st = work ? pd_curve_at_new(work, spec, &w, err)
	                    : pd_fail(err, PD_NO_MEMORY, "out of memory");

	if (st == PD_OK && (!isfinite(turn) ||
	                    (spec->shape == PD_CURVE_APPROACH && !(turn > 0))))
		st = pd_fail(err, PD_DATA, "a turn of %g", turn);
	if (st == PD_OK) {
		*value = pd_curve_at_deviance(&w, PD_WITH_CURVE, turn);
		if (!isfinite(*value)) {
			st = w.st;
			if (err)
				*err = w.why;
		}
	}
	pd_arena_free(work);
	return st;
}
