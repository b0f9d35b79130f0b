/*
 * events_look.c - what a share of events costs to read again and again, and
 * which answers of a review stand beside it. The price goes through looks.h as
 * a critical value: the exact limits are then those of the level it leaves.
 */
#include "plan/events.h"
#include "stats/quantile.h"
#include "stats/risk.h"

#include <math.h>
#include <string.h>

/* A normal value with the two-sided chance p, on the side of `toward`. */
static double as_normal(double p, double toward)
{
	double z = -pd_normal_quantile(fmin(fmax(p, 1e-300), 1) / 2);

	return toward < 0 ? -z : z;
}

/* e with its limits at `level`: exact, or normal where it is adjusted. */
static pd_status at_level(const pd_events *it, double level, pd_effect *e,
                          pd_error *err)
{
	pd_two_shares d = { it->level[0].n_events, it->level[0].n,
		            it->level[1].n_events, it->level[1].n };
	double z = pd_normal_quantile((1 + level) / 2);
	pd_risk r;
	pd_status st;

	if (it->adjusted) {
		e->low = e->log.low = e->log.value - z * e->log.se;
		e->high = e->log.high = e->log.value + z * e->log.se;
		return PD_OK;
	}
	st = pd_risk_compare(&d, PD_RISK_DIFFERENCE, level, &r, err);
	if (st != PD_OK)
		return st;
	e->low = e->log.low = 100 * r.low;
	e->high = e->log.high = 100 * r.high;
	return PD_OK;
}

pd_status pd_events_pay(const pd_looks *l, pd_answer *a, pd_error *err)
{
	pd_effect *e = &a->effect[0];
	double se = e->log.se, z = pd_normal_quantile((1 + l->level) / 2);
	double value = as_normal(e->log.p, e->log.value) * se;
	double d = isnan(e->p_margin)
	               ? (double)NAN
	               : -pd_normal_quantile(fmin(fmax(e->p_margin, 1e-300),
	                                          1 - 1e-16)) * se;
	pd_estimate stand_in = { value, se, INFINITY, value - z * se,
		                 value + z * se, l->level, e->log.p };
	pd_estimate none = { 0, se, INFINITY, -z * se, z * se, l->level, 1 };
	double width, unused, p_margin = NAN, low = e->low, high = e->high;
	pd_status st = pd_looks_widen(l, NAN, &stand_in, &unused, &width, err);

	if (st == PD_OK && !isnan(d))
		st = pd_looks_widen(l, d, &none, &p_margin, &unused, err);
	if (st != PD_OK || width <= 1)
		return st;
	st = at_level(a->events, 1 - 2 * pd_normal_upper(width * z), e, err);
	e->log.p = stand_in.p;
	e->p_margin = p_margin;
	e->single_low = low;
	e->single_high = high;
	a->looks_paid = true;
	a->looks_planned = l->planned > l->n ? (unsigned)l->planned : 0;
	a->looks_width = (e->high - e->low) / (high - low);
	return st;
}

/* --- beside each other ---------------------------------------------------------- */

static bool same_words(const char *a, const char *b)
{
	return a && b && strcmp(a, b) == 0;
}

/* Do two questions ask of the same levels, in either order? A slope of the same
 * column stands beside them too. */
static bool same_technique(const pd_question *a, const pd_question *b)
{
	if (strcmp(a->parameter, b->parameter) != 0 || b->differs_by)
		return false;
	if (b->kind == PD_COMPARE_SLOPE || b->kind == PD_COMPARE_EACH)
		return true;
	return (same_words(a->first, b->first) &&
	        same_words(a->second, b->second)) ||
	       (same_words(a->first, b->second) &&
	        same_words(a->second, b->first));
}

pd_status pd_events_beside(const pd_question *q, pd_review *r,
                           pd_arena *arena, pd_error *err)
{
	for (size_t i = 0; i < r->n_answers; i++) {
		pd_answer *a = &r->answer[i];
		bool event = pd_rows_of_events(&q[i]);

		a->n_beside = 0;
		a->beside = PD_NEW(arena, size_t, r->n_answers);
		if (!a->beside)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		for (size_t k = 0; k < r->n_answers; k++) {
			const pd_question *of = event ? &q[i] : &q[k];
			const pd_question *by = event ? &q[k] : &q[i];

			if (pd_rows_of_events(&q[k]) != event &&
			    same_technique(of, by))
				a->beside[a->n_beside++] = k;
		}
	}
	return PD_OK;
}
