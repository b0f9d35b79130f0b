/* events_adjust.c - see events_adjust.h. */
#include "plan/events_adjust.h"
#include "plan/words.h"
#include "stats/design.h"
#include "stats/propensity.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { EVENTS_A_COLUMN = 10 };

struct work {
	const pd_question *q;
	const pd_rows *r;
	pd_arena *arena, *scratch;
	unsigned char *keep;
	size_t n, n_events;
	int32_t *event, *arm;
	pd_frame *frame;
	pd_design design;
	double *x;               /* n * p: the design, the first level last   */
	size_t p;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory adjusting events");
}

const char *pd_events_adjusters(const pd_question *q, pd_arena *arena)
{
	const char *words = "";

	for (size_t k = 0; words && k < q->n_adjust; k++)
		words = pd_arena_print(arena, "%s%s%s%s", words, k ? ", " : "",
		                       q->adjust_log[k] ? "log of " : "",
		                       pd_words_parameter(q->adjust[k]));
	return words;
}

/* Is every adjuster of row i known? */
static bool is_complete(const struct work *w, size_t i)
{
	for (size_t k = 0; k < w->q->n_adjust; k++) {
		const char *name = pd_rows_adjuster(w->scratch, w->q, k);
		const pd_column *c = name ? pd_frame_find(w->r->model, name)
		                          : NULL;

		if (!c || (c->kind == PD_REAL
		               ? !isfinite(c->real[i])
		               : strcmp(c->level[c->code[i]],
		                        "not recorded") == 0))
			return false;
	}
	return true;
}

static pd_status choose(struct work *w, const unsigned char *first,
                        pd_error *err)
{
	const pd_rows *r = w->r;

	w->keep = PD_NEW(w->scratch, unsigned char, r->n + 1);
	w->event = PD_NEW(w->scratch, int32_t, r->n + 1);
	w->arm = PD_NEW(w->scratch, int32_t, r->n + 1);
	if (!w->keep || !w->event || !w->arm)
		return no_memory(err);
	for (size_t i = 0; i < r->n; i++) {
		if (!first[i] || isnan(r->low[i]) || !is_complete(w, i))
			continue;
		w->keep[i] = 1;
		w->event[w->n] = r->low[i] > 0;
		w->arm[w->n] = r->arm[i];
		w->n_events += r->low[i] > 0;
		w->n++;
	}
	return pd_frame_select(r->model, w->keep, &w->frame, err);
}

static pd_status lay_columns(struct work *w, pd_error *err)
{
	pd_term *term = PD_NEW(w->scratch, pd_term, w->q->n_adjust + 1);
	pd_status st;

	if (!term)
		return no_memory(err);
	for (size_t k = 0; k < w->q->n_adjust; k++) {
		term[k].column = pd_rows_adjuster(w->scratch, w->q, k);
		if (!term[k].column)
			return no_memory(err);
	}
	st = pd_design_build(w->scratch, w->frame, term, w->q->n_adjust,
	                     &w->design, err);
	if (st != PD_OK)
		return st;
	w->p = w->design.p + 1;
	w->x = PD_NEW(w->scratch, double, w->n * w->p + 1);
	if (!w->x)
		return no_memory(err);
	for (size_t i = 0; i < w->n; i++) {
		memcpy(w->x + i * w->p, w->design.x + i * w->design.p,
		       w->design.p * sizeof *w->x);
		w->x[i * w->p + w->p - 1] = w->arm[i] == 0;
	}
	return PD_OK;
}

static double chance(double eta)
{
	return 1 / (1 + exp(-eta));
}

/* The averaged difference and its gradient into g[p]. */
static double average(const struct work *w, const double *b, double *g)
{
	double sum = 0;

	memset(g, 0, w->p * sizeof *g);
	for (size_t i = 0; i < w->n; i++) {
		const double *x = w->x + i * w->p;
		double eta = 0;

		for (size_t j = 0; j + 1 < w->p; j++)
			eta += x[j] * b[j];
		double e1 = chance(eta + b[w->p - 1]), e0 = chance(eta);
		double d1 = e1 * (1 - e1), d0 = e0 * (1 - e0);

		sum += e1 - e0;
		for (size_t j = 0; j + 1 < w->p; j++)
			g[j] += (d1 - d0) * x[j] / (double)w->n;
		g[w->p - 1] += d1 / (double)w->n;
	}
	return sum / (double)w->n;
}

static pd_status estimate(struct work *w, const pd_logistic *fit, double level,
                          pd_estimate *out, pd_error *err)
{
	double *g = PD_NEW(w->scratch, double, w->p + 1), v = 0;
	double z = pd_normal_quantile((1 + level) / 2);

	if (!g)
		return no_memory(err);
	double value = average(w, fit->coef, g);

	for (size_t j = 0; j < w->p; j++)
		for (size_t k = 0; k < w->p; k++)
			v += g[j] * fit->covariance[j * w->p + k] * g[k];
	double se = 100 * sqrt(v);

	value *= 100;
	*out = (pd_estimate){ value, se, INFINITY, value - z * se,
		              value + z * se, level,
		              2 * pd_normal_upper(fabs(value / se)) };
	return PD_OK;
}

static pd_status fit(struct work *w, const pd_plan *plan, pd_events *e,
                     pd_estimate *used, pd_error *err)
{
	pd_logistic_data d = { w->n, w->p, w->x, w->event, NULL };
	pd_logistic *model = NULL;
	pd_error inner = { 0 };
	pd_status st = pd_logistic_fit(&d, &model, &inner);

	if (st == PD_REFUSED || st == PD_NUMERIC) {
		e->not_adjusted = pd_arena_print(
		    w->arena, "Not adjusted: the model of the event cannot be "
		    "fitted (%s).", inner.text);
		return e->not_adjusted ? PD_OK : no_memory(err);
	}
	if (st != PD_OK) {
		if (err)
			*err = inner;
		return st;
	}
	st = estimate(w, model, plan->level, used, err);
	e->adjusted = st == PD_OK;
	pd_logistic_free(model);
	return st;
}

pd_status pd_events_adjust(const pd_plan *plan, const pd_question *q,
                           const pd_rows *rows, const unsigned char *first,
                           pd_arena *arena, pd_arena *scratch, pd_events *e,
                           pd_estimate *used, pd_error *err)
{
	struct work w = { .q = q, .r = rows, .arena = arena,
		          .scratch = scratch };
	pd_status st = choose(&w, first, err);
	size_t fewer;

	if (st == PD_OK && w.n > 0)
		st = lay_columns(&w, err);
	fewer = w.n_events < w.n - w.n_events ? w.n_events : w.n - w.n_events;
	if (st == PD_OK && (w.n == 0 ||
	                    fewer < EVENTS_A_COLUMN * (w.p - 1))) {
		e->not_adjusted = pd_arena_print(
		    arena, "Not adjusted for %s, as the question asks: %zu "
		    "patients with an event bear %zu columns at most (ten "
		    "events a column), and %zu would be needed. Read the "
		    "difference as unadjusted.",
		    pd_events_adjusters(q, scratch), fewer,
		    fewer / EVENTS_A_COLUMN, w.n ? w.p - 1 : q->n_adjust + 1);
		st = e->not_adjusted ? PD_OK : no_memory(err);
	} else if (st == PD_OK) {
		st = fit(&w, plan, e, used, err);
	}
	pd_frame_free(w.frame);
	return st;
}
