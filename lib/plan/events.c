/* events.c - see events.h: counting, limits, words; the ledger's price. */
#include "plan/events.h"
#include "plan/events_adjust.h"
#include "plan/verdict.h"
#include "plan/words.h"
#include "stats/quantile.h"
#include "stats/risk.h"

#include <math.h>
#include <string.h>

enum { MOST_WORDS = 12 };

struct work {
	const pd_plan *plan;
	const pd_question *q;
	const pd_rows *r;
	pd_arena *arena, *scratch;
	pd_answer *a;
	pd_events *e;
	unsigned char *first;    /* rows that stand for their patient         */
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory counting events");
}

static bool is_recorded(const pd_rows *r, size_t i)
{
	return !isnan(r->low[i]);
}

static bool is_event(const pd_rows *r, size_t i)
{
	return r->low[i] > 0;
}

/* --- one row a patient -------------------------------------------------------- */

/* Is row i to be preferred to row k of the same patient? Rows come by case
 * date; within a case the lower site number was first. */
static bool comes_before(const struct work *w, size_t i, size_t k)
{
	const pd_column *no = pd_frame_find(w->r->model, "site_no");

	if (is_recorded(w->r, i) != is_recorded(w->r, k))
		return is_recorded(w->r, i);
	return w->q->grain == PD_BY_SITE && no &&
	       w->r->case_code[i] == w->r->case_code[k] &&
	       no->real[i] < no->real[k];
}

static pd_status choose(struct work *w, pd_error *err)
{
	const pd_rows *r = w->r;
	size_t *of = PD_NEW(w->scratch, size_t, r->n_groups[0] + 1);

	w->first = PD_NEW(w->scratch, unsigned char, r->n + 1);
	if (!of || !w->first)
		return no_memory(err);
	for (size_t g = 0; g < r->n_groups[0]; g++)
		of[g] = (size_t)-1;
	for (size_t i = 0; i < r->n; i++) {
		size_t *k = &of[r->group[0][i]];

		if (*k == (size_t)-1 || comes_before(w, i, *k))
			*k = i;
	}
	for (size_t g = 0; g < r->n_groups[0]; g++)
		if (of[g] != (size_t)-1)
			w->first[of[g]] = 1;
	return PD_OK;
}

pd_status pd_events_keep(const pd_question *q, const pd_rows *rows,
                         pd_arena *scratch, unsigned char *keep,
                         pd_error *err)
{
	struct work w = { .q = q, .r = rows, .scratch = scratch };
	pd_status st = choose(&w, err);

	for (size_t i = 0; st == PD_OK && i < rows->n; i++)
		keep[i] = w.first[i] && is_recorded(rows, i);
	return st;
}

static void count(struct work *w)
{
	const pd_rows *r = w->r;
	const pd_column *part = pd_frame_find(r->model, "in_part");

	for (size_t i = 0; i < r->n; i++) {
		pd_event_level *l = &w->e->level[r->arm[i]];
		bool known = is_recorded(r, i);

		l->n_units += known;
		l->n_unit_events += known && is_event(r, i);
		if (!w->first[i])
			continue;
		l->n += known;
		l->n_events += known && is_event(r, i);
		l->n_blank += !known;
		l->n_in_part += known && !is_event(r, i) && part &&
		                part->real[i] > 0;
	}
}

static pd_two_shares shares(const pd_events *e)
{
	return (pd_two_shares){ e->level[0].n_events, e->level[0].n,
		                e->level[1].n_events, e->level[1].n };
}

/* --- limits --------------------------------------------------------------------- */

static void set_level(pd_event_level *l, double level)
{
	double n = (double)l->n, x = (double)l->n_events;
	double unknown = (double)(l->n_blank + l->n_in_part);

	pd_binomial_limits(x, n, level, &l->low, &l->high);
	l->share = 100 * x / n;
	l->low *= 100;
	l->high *= 100;
	l->most = l->n_events ? NAN : -100 * expm1(log1p(-level) / n);
	l->worst = 100 * (x + unknown) / (n + (double)l->n_blank);
}

/* Difference, in points, with the unknown of `bad` all events and of the other
 * level none. */
static double worst(const pd_events *e, int bad)
{
	double share[2];

	for (int k = 0; k < 2; k++) {
		const pd_event_level *l = &e->level[k];

		share[k] = k == bad ? l->worst
		                    : 100 * (double)l->n_events /
		                          (double)(l->n + l->n_blank);
	}
	return share[0] - share[1];
}

static double spread(const pd_event_level *l)
{
	double n = (double)l->n + 2, p = ((double)l->n_events + 1) / n;

	return 1e4 * p * (1 - p) / n;
}

/* p of two one-sided tests against the margin, exact. */
static pd_status against_margin(const pd_two_shares *d, double margin,
                                double *p, pd_error *err)
{
	double above, below, unused;
	pd_status st;

	*p = NAN;
	if (isnan(margin))
		return PD_OK;
	st = pd_risk_test(d, PD_RISK_DIFFERENCE, -margin / 100, &above, &unused,
	                  err);
	if (st == PD_OK)
		st = pd_risk_test(d, PD_RISK_DIFFERENCE, margin / 100, &unused,
		                  &below, err);
	if (st == PD_OK)
		*p = fmax(above, below);
	return st;
}

/* The exact difference at `level` as an estimate in points; its se is that of
 * one more event and one more non-event at each level (for the ledger). */
static pd_status difference(const pd_events *e, double level, pd_estimate *out,
                            pd_error *err)
{
	pd_two_shares d = shares(e);
	pd_risk r;
	pd_status st = pd_risk_compare(&d, PD_RISK_DIFFERENCE, level, &r, err);

	*out = (pd_estimate){ 100 * r.value,
		              sqrt(spread(&e->level[0]) + spread(&e->level[1])),
		              INFINITY, 100 * r.low, 100 * r.high, level, r.p };
	return st;
}

/* --- words ------------------------------------------------------------------------ */

static pd_status add(const char **list, size_t *n, const char *words,
                     pd_error *err)
{
	if (!words)
		return no_memory(err);
	if (*n < MOST_WORDS)
		list[(*n)++] = words;
	return PD_OK;
}

static pd_status note(struct work *w, const char *words, pd_error *err)
{
	return add(w->a->diagnostics, &w->a->n_diagnostics, words, err);
}

static pd_status caution(struct work *w, const char *words, pd_error *err)
{
	return add(w->a->cautions, &w->a->n_cautions, words, err);
}

static const char *unit(const struct work *w)
{
	return w->q->grain == PD_BY_SITE ? "site" : "case";
}

static pd_status refuse(struct work *w, const char *words, pd_error *err)
{
	w->a->refusal = words;
	return words ? PD_OK : no_memory(err);
}

/* NULL words in *refusal where there is something to compare. */
static pd_status find_refusal(struct work *w, pd_error *err)
{
	size_t n_units = w->e->level[0].n_units + w->e->level[1].n_units;

	if (w->r->n == 0)
		return refuse(w, w->r->empty_note ? pd_arena_print(
		    w->arena, "no row is left after the steps below. %s",
		    w->r->empty_note) : pd_arena_print(
		    w->arena, "no %s was drawn at either level with the same "
		    "level at all of it", unit(w)), err);
	if (n_units == 0)
		return refuse(w, pd_arena_print(
		    w->arena, "adverse_event is not recorded in any of the %zu "
		    "%ss at the compared levels: that says nothing about how "
		    "many there were", w->r->n, unit(w)), err);
	for (int k = 0; k < 2; k++) {
		const pd_event_level *l = &w->e->level[k];

		if (l->n < w->plan->min_patients)
			return refuse(w, pd_arena_print(
			    w->arena, "'%s': %zu patient%s count%s, each by the "
			    "first %s with adverse_event recorded; the plan asks "
			    "for at least %zu", l->name, l->n,
			    l->n == 1 ? "" : "s", l->n == 1 ? "s" : "", unit(w),
			    w->plan->min_patients), err);
	}
	return PD_OK;
}

static pd_status add_flow(struct work *w, const char *step, bool firsts,
                          pd_error *err)
{
	const pd_rows *r = w->r;
	pd_flow *f = &w->a->flow[w->a->n_flow++];
	unsigned char *p = PD_NEW(w->scratch, unsigned char,
	                          r->n_groups[0] + 1);
	unsigned char *c = PD_NEW(w->scratch, unsigned char, r->n + 1);

	if (!p || !c)
		return no_memory(err);
	f->step = step;
	for (size_t i = 0; i < r->n; i++) {
		if (!is_recorded(r, i) || (firsts && !w->first[i]))
			continue;
		f->n_rows++;
		f->n_sites += w->q->grain == PD_BY_SITE;
		f->n_patients += !p[r->group[0][i]];
		p[r->group[0][i]] = 1;
		f->n_cases += !c[r->case_code[i]];
		c[r->case_code[i]] = 1;
	}
	return PD_OK;
}

static pd_status say_flow(struct work *w, pd_error *err)
{
	pd_status st = add_flow(w, "with adverse_event recorded", false, err);

	return st == PD_OK ? add_flow(w, "the first of each patient", true, err)
	                   : st;
}

static pd_status say_notes(struct work *w, pd_error *err)
{
	const pd_event_level *l = w->e->level;
	pd_status st = note(w, pd_arena_print(
	    w->arena, "Once a patient: of %zu recorded %ss the first of each of "
	    "%zu patients counts, as a patient's %ss are not independent; all "
	    "recorded %ss stand beside.", l[0].n_units + l[1].n_units, unit(w),
	    l[0].n + l[1].n, unit(w), unit(w)), err);

	for (int k = 0; st == PD_OK && k < 2; k++)
		if (l[k].n_events == 0)
			st = note(w, pd_arena_print(
			    w->arena, "None seen at '%s': with %g%% confidence "
			    "the share is no more than %.2g%% (rule of three: "
			    "about 3 in %zu). None seen is not safe.",
			    l[k].name, 100 * w->plan->level, l[k].most, l[k].n),
			          err);
	size_t blank = l[0].n_blank + l[1].n_blank;
	size_t part = l[0].n_in_part + l[1].n_in_part;

	if (st == PD_OK && blank + part)
		st = note(w, pd_arena_print(
		    w->arena, "Not recorded: %zu patient%s no %s with the field "
		    "filled; of %zu counted without an event the field is "
		    "blank at some site. Had all of these been events at one "
		    "level and none at the other, the difference would lie "
		    "between %.1f and %.1f percentage points.", blank,
		    blank == 1 ? " has" : "s have", unit(w), part, w->e->worst_low, w->e->worst_high), err);
	if (st == PD_OK && w->e->not_adjusted)
		st = note(w, w->e->not_adjusted, err);
	return st;
}

static pd_status say_cautions(struct work *w, pd_error *err)
{
	pd_status st = caution(
	    w, "Who was drawn which way was chosen: patients at greater risk of "
	    "bleeding may stand at one level.", err);

	if (st == PD_OK)
		st = caution(w, "No event recorded is not the same as safe, and "
		             "patients with a bleeding risk are not cleared by "
		             "any number here.", err);
	return st == PD_OK ? caution(w, "Read the events beside the gain of the "
	                             "same technique.", err)
	                   : st;
}

/* --- the answer --------------------------------------------------------------------- */

static pd_status set_effect(struct work *w, const pd_estimate *exact,
                            double p_margin, pd_error *err)
{
	pd_answer *a = w->a;
	pd_effect *e = PD_NEW(w->arena, pd_effect, 1);

	a->effect = e;
	if (!e)
		return no_memory(err);
	e->log = *exact;
	e->first = w->r->arm_name[0];
	e->second = w->r->arm_name[1];
	e->label = pd_arena_print(w->arena, "%s against %s", e->first,
	                          e->second);
	pd_verdict_measure(e, PD_DIFFERENCE, a->margin, a->level);
	if (!w->e->adjusted)
		e->p_margin = p_margin;
	a->n_effects = 1;
	return e->label ? PD_OK : no_memory(err);
}

static pd_sensitivity line(pd_sense_way way, double value, double low,
                           double high, double p)
{
	bool exact = way == PD_SENSE_EXACT;

	return (pd_sensitivity){
		exact ? "unadjusted, exact" : "score limits", true, value, low,
		high, p,
		exact ? NULL : "unadjusted; good for many events, not exact for "
		               "few", way
	};
}

/* The ways not taken: the crude exact one of an adjusted answer, the score's. */
static pd_status say_other_ways(struct work *w, const pd_estimate *exact,
                                pd_error *err)
{
	pd_answer *a = w->a;
	pd_two_shares d = shares(w->e);
	pd_risk score;
	pd_status st = pd_risk_score_limits(&d, PD_RISK_DIFFERENCE, a->level,
	                                    &score, err);

	a->sensitivity = PD_NEW(w->arena, pd_sensitivity, 3);
	if (!a->sensitivity)
		return no_memory(err);
	if (w->e->adjusted)
		a->sensitivity[a->n_sensitivity++] =
		    line(PD_SENSE_EXACT, exact->value, exact->low, exact->high,
		         exact->p);
	if (st == PD_OK)
		a->sensitivity[a->n_sensitivity++] =
		    line(PD_SENSE_SCORE, 100 * score.value, 100 * score.low,
		         100 * score.high, score.p);
	return st;
}

static pd_status say_method(struct work *w, pd_error *err)
{
	pd_answer *a = w->a;

	a->used = w->e->adjusted ? PD_USED_LOGISTIC : PD_USED_EXACT;
	a->method = w->e->adjusted
	    ? "Each patient counts once and there are ten events for each "
	      "column held equal, so a logistic model gives the chance of an "
	      "event with every patient set to either level, and the "
	      "difference of the averages is shown, with normal limits"
	    : pd_arena_print(
	          w->arena, "Events are few and each patient counts once, by "
	          "the first %s at a compared level with the field filled: two "
	          "independent shares, their difference with exact limits "
	          "(tables ordered by the score, the largest chance over the "
	          "share that is left open)", unit(w));
	return a->method ? PD_OK : no_memory(err);
}

static pd_status compare(struct work *w, pd_error *err)
{
	pd_events *e = w->e;
	pd_two_shares d = shares(e);
	pd_estimate exact, used;
	double p_margin;
	pd_risk ratio;

	for (int k = 0; k < 2; k++)
		set_level(&e->level[k], w->plan->level);
	e->worst_low = worst(e, 1);
	e->worst_high = worst(e, 0);
	pd_status st = difference(e, w->plan->level, &exact, err);

	if (st == PD_OK)
		st = pd_risk_compare(&d, PD_RISK_RATIO, w->plan->level, &ratio,
		                     err);
	if (st == PD_OK)
		st = against_margin(&d, w->q->margin, &p_margin, err);
	used = exact;
	if (st == PD_OK && w->q->n_adjust)
		st = pd_events_adjust(w->plan, w->q, w->r, w->first, w->arena,
		                      w->scratch, e, &used, err);
	if (st != PD_OK)
		return st;
	e->ratio = ratio.value;
	e->ratio_low = ratio.low;
	e->ratio_high = ratio.high;
	st = set_effect(w, &used, p_margin, err);
	if (st == PD_OK)
		st = say_method(w, err);
	if (st == PD_OK && e->adjusted)
		w->a->adjusters = pd_events_adjusters(w->q, w->arena);
	if (st == PD_OK)
		st = say_other_ways(w, &exact, err);
	if (st == PD_OK)
		st = say_notes(w, err);
	return st == PD_OK ? say_cautions(w, err) : st;
}

static pd_status name_kinds(struct work *w, pd_error *err)
{
	const char *words = w->q->n_events ? "" : NULL;

	for (size_t k = 0; k < w->q->n_events; k++) {
		words = pd_arena_print(w->arena, "%s%s%s", words,
		                       k ? " or " : "", w->q->events[k]);
		if (!words)
			return no_memory(err);
	}
	w->e->kinds = words;
	if (words)
		w->a->outcome_words = pd_arena_print(w->arena, "%s at the site",
		                                     words);
	return w->a->outcome_words ? PD_OK : no_memory(err);
}

pd_status pd_events_answer(const pd_plan *plan, const pd_question *q,
                           const pd_rows *rows, pd_arena *arena,
                           pd_arena *scratch, pd_answer *answer, pd_error *err)
{
	struct work w = { .plan = plan, .q = q, .r = rows, .arena = arena,
		          .scratch = scratch, .a = answer };
	pd_status st;

	w.e = PD_NEW(arena, pd_events, 1);
	answer->diagnostics = PD_NEW(arena, const char *, MOST_WORDS);
	answer->cautions = PD_NEW(arena, const char *, MOST_WORDS);
	if (!w.e || !answer->diagnostics || !answer->cautions)
		return no_memory(err);
	w.e->units = q->grain == PD_BY_SITE ? "sites" : "cases";
	w.e->ratio = w.e->ratio_low = w.e->ratio_high = NAN;
	for (size_t k = 0; k < 2; k++)
		w.e->level[k].name = rows->arm_name[k];
	st = name_kinds(&w, err);
	if (st == PD_OK)
		st = choose(&w, err);
	if (st == PD_OK) {
		count(&w);
		st = say_flow(&w, err);
	}
	if (st == PD_OK)
		st = find_refusal(&w, err);
	if (st != PD_OK || answer->refusal)
		return st;
	answer->events = w.e;
	return compare(&w, err);
}
