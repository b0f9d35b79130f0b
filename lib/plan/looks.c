/* looks.c - critical values of the looks so far, then intervals and p. */
#include "plan/looks.h"
#include "plan/events.h"
#include "plan/verdict.h"
#include "stats/anytime.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"
#include "stats/sequential.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Information has to grow from look to look: a correction of the data may
 * have taken some away, which teaches nothing new. */
static const double LEAST_STEP = 1.001;
static const double SMALLEST_P = 1e-15;

/* The looks so far, this one too. */
struct looks {
	size_t k, planned;
	double *t, *fraction, *z;
	double r;           /* tuning information of the unplanned           */
};

static int is_planned(const pd_looks *l)
{
	return l->planned > l->n;
}

static pd_status prepare(const pd_looks *l, double se, struct looks *w,
                         pd_error *err)
{
	memset(w, 0, sizeof *w);
	w->k = l->n + 1;
	w->planned = l->planned;
	w->t = malloc(3 * w->k * sizeof *w->t);
	if (!w->t)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	w->fraction = w->t + w->k;
	w->z = w->fraction + w->k;
	for (size_t j = 0; j < w->k; j++) {
		double s = j < l->n ? l->earlier[j] : se;

		w->t[j] = 1 / (s * s);
		if (j && !(w->t[j] >= LEAST_STEP * w->t[j - 1]))
			w->t[j] = LEAST_STEP * w->t[j - 1];
		w->fraction[j] = (double)(j + 1) / (double)l->planned;
	}
	w->r = pd_anytime_tuning(w->t[0], 1 - l->level);
	return PD_OK;
}

/* Critical value of this look with error alpha, both sides together. */
static double critical(const struct looks *w, bool planned, double alpha)
{
	pd_spending_plan even = { PD_SPEND_POCOCK, 0, alpha / 2, 2 };

	if (!planned)
		return pd_anytime_width(w->t[w->k - 1], w->r, alpha);
	return pd_sequential_shares(&even, w->t, w->fraction, w->k, w->z,
	                            NULL) == PD_OK
	           ? w->z[w->k - 1]
	           : (double)NAN;
}

struct wanted {
	const struct looks *w;
	double z;
};

static double miss(double log_alpha, const void *with)
{
	const struct wanted *it = with;

	return critical(it->w, true, exp(log_alpha)) - it->z;
}

/* The error at which this look's critical value is z: the p of all looks. */
static double p_of(const struct looks *w, bool planned, double z)
{
	double v = w->t[w->k - 1];
	struct wanted it = { w, z };

	if (!planned)
		return fmin(1, sqrt((v + w->r) / w->r) *
		                   exp(-z * z * v / (2 * (v + w->r))));
	if (miss(log(SMALLEST_P), &it) < 0)
		return SMALLEST_P;
	if (miss(log(0.999), &it) > 0)
		return 1;
	return exp(pd_root(miss, &it, log(SMALLEST_P), log(0.999), 1e-9));
}

/* |t| on df as the normal value with the same tail chance, and back. */
static double as_normal(double t, double df)
{
	double tail = pd_t_upper(fabs(t), df);

	return tail > 0 ? -pd_normal_quantile(tail) : fabs(t);
}

static double as_t(double z, double df)
{
	return -pd_t_quantile(pd_normal_upper(z), df);
}

/* One-sided p of t, from the two-sided one of all looks. */
static double one_sided(const struct looks *w, bool planned, double t,
                        double df)
{
	double half = p_of(w, planned, as_normal(t, df)) / 2;

	return t > 0 ? half : 1 - half;
}

pd_status pd_looks_widen(const pd_looks *l, double d, pd_estimate *e,
                         double *p_margin, double *width, pd_error *err)
{
	struct looks w;
	bool planned = is_planned(l);

	*width = 1;
	*p_margin = NAN;
	if (!isnan(d))
		*p_margin = fmax(pd_t_upper((e->value + d) / e->se, e->df),
		                 pd_t_upper((d - e->value) / e->se, e->df));
	if (l->planned == 1 && l->n == 0)
		return PD_OK;
	pd_status st = prepare(l, e->se, &w, err);

	if (st != PD_OK)
		return st;
	double c = as_t(critical(&w, planned, 1 - l->level), e->df);

	if (!isfinite(c)) {
		free(w.t);
		return pd_fail(err, PD_NUMERIC, "no critical value for look "
		               "%zu", w.k);
	}
	*width = c * e->se / (e->high - e->value);
	e->low = e->value - c * e->se;
	e->high = e->value + c * e->se;
	e->p = p_of(&w, planned, as_normal(e->value / e->se, e->df));
	if (!isnan(d))
		*p_margin = fmax(one_sided(&w, planned, (e->value + d) / e->se,
		                           e->df),
		                 one_sided(&w, planned, (d - e->value) / e->se,
		                           e->df));
	free(w.t);
	return PD_OK;
}

const char *pd_looks_label(pd_arena *arena, const pd_effect *e)
{
	return e->first && e->second
	           ? pd_arena_print(arena, "%s against %s", e->first, e->second)
	           : pd_arena_copy(arena, e->label && *e->label ? e->label
	                                                        : "effect");
}

static pd_status pay(const pd_looks *l, const pd_question *q, pd_effect *e,
                     pd_answer *a, pd_error *err)
{
	double low = e->low, high = e->high, p_margin, width;

	double d = a->scale == PD_RATIO ? -log(q->margin) : q->margin;
	pd_status st = pd_looks_widen(l, d, &e->log, &p_margin, &width, err);

	if (st != PD_OK || width <= 1)
		return st;
	pd_verdict_measure(e, a->scale, a->margin, a->level);
	e->p_margin = p_margin;
	e->single_low = low;
	e->single_high = high;
	/* the words are of the effect that paid most */
	if (!a->looks_paid || width > a->looks_width) {
		a->looks_planned = is_planned(l) ? (unsigned)l->planned : 0;
		a->looks_width = width;
	}
	a->looks_paid = true;
	return PD_OK;
}

/* Each effect pays for the readings it was in. */
static pd_status pay_all(pd_store *store, const pd_plan *plan,
                         const pd_question *q, pd_arena *arena, pd_answer *a,
                         pd_error *err)
{
	size_t n = a->events ? 1 : a->n_effects;
	pd_status st = PD_OK;

	for (size_t k = 0; st == PD_OK && k < n; k++) {
		pd_looks l = { .planned = plan->looks, .level = plan->level };
		const char *label = pd_looks_label(arena, &a->effect[k]);
		double *earlier = NULL;

		st = label ? pd_store_earlier_effects(store, q->sha256, label,
		                                      &earlier, &l.n, err)
		           : pd_fail(err, PD_NO_MEMORY, "out of memory");
		l.earlier = earlier;
		if (st == PD_OK)
			st = a->events ? pd_events_pay(&l, a, err)
			               : pay(&l, q, &a->effect[k], a, err);
		free(earlier);
	}
	return st;
}

static double as_printed(pd_scale scale, double x)
{
	return scale == PD_RATIO ? exp(x) : x;
}

static void take_reading(pd_scale scale, const pd_earlier_look *l,
                         pd_reading *r)
{
	r->n_patients = l->n_patients;
	r->value = as_printed(scale, l->estimate);
	r->low = as_printed(scale, l->low);
	r->high = as_printed(scale, l->high);
	r->information = 1 / (l->se * l->se);
	r->z = l->estimate / l->se;
	r->bound = (l->high - l->low) / (2 * l->se);
}

/* The first effect at every look, today's last. */
static pd_status keep_readings(const pd_earlier_look *earlier, size_t n,
                               const char *date, pd_arena *arena,
                               pd_answer *a, pd_error *err)
{
	const pd_estimate *e = &a->effect[0].log;
	pd_earlier_look now = { .estimate = e->value, .se = e->se,
		                .low = e->low, .high = e->high };

	if (a->n_flow)
		now.n_patients = a->flow[a->n_flow - 1].n_patients;
	a->reading = PD_NEW(arena, pd_reading, n + 1);
	if (!a->reading)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t k = 0; k <= n; k++) {
		pd_reading *r = &a->reading[a->n_readings++];

		take_reading(a->scale, k < n ? &earlier[k] : &now, r);
		r->date = k < n ? pd_arena_copy(arena, earlier[k].date) : date;
		if (!r->date)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	return PD_OK;
}

pd_status pd_looks_pay(pd_store *store, const pd_plan *plan,
                       const pd_question *q, const char *date,
                       pd_arena *arena, pd_answer *a, pd_error *err)
{
	pd_earlier_look *earlier = NULL;
	size_t n = 0;

	for (size_t k = 0; k < a->n_effects; k++)
		a->effect[k].single_low = a->effect[k].single_high = NAN;
	if (q->role != PD_PRIMARY || a->n_effects == 0)
		return PD_OK;
	pd_status st = pay_all(store, plan, q, arena, a, err);

	if (st == PD_OK)
		st = pd_store_earlier_looks(store, q->sha256, &earlier, &n,
		                            err);
	if (st == PD_OK)
		st = keep_readings(earlier, n, date, arena, a, err);
	free(earlier);
	return st;
}
