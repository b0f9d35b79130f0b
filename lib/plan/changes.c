/* changes.c - the ledger's last readings, the rate of patients, the charts. */
#include "plan/changes.h"
#include "data/claims.h"
#include "plan/looks.h"
#include "plan/rows.h"
#include "plan/verdict.h"
#include "plan/watch.h"

#include <math.h>
#include <string.h>

static const double FAR = 10;        /* years                              */
static const double LEAST_DAYS = 180; /* of history, to tell a rate from   */

struct work {
	pd_store *store;
	const pd_plan *plan;
	const pd_run_options *options;
	pd_arena *arena;
	pd_review *r;
	pd_changes *c;
	double a_year;           /* new patients of the clinic; NaN            */
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory in the review");
}

/* --- since the last reading ------------------------------------------------ */

static bool answered(const pd_answer *a)
{
	return !a->refusal && a->n_effects > 0;
}

static void printed(pd_scale scale, double log, double *out)
{
	*out = scale == PD_RATIO ? exp(log) : log;
}

static void set_today(const pd_answer *a, pd_moved *m)
{
	const pd_effect *e = &a->effect[m->effect];

	m->refused = !answered(a);
	if (m->refused) {
		m->now = PD_NO_ANSWER;
		return;
	}
	m->now = pd_verdict_alone(a->scale, a->margin, e->low, e->high);
	m->by_looks = a->looks_paid && !isnan(e->single_low) &&
	              pd_verdict_alone(a->scale, a->margin, e->single_low,
	                               e->single_high) != m->now;
	m->n_rows_now = a->flow[a->n_flow - 1].n_rows;
	m->n_patients_now = a->flow[a->n_flow - 1].n_patients;
}

static pd_status put_moved(struct work *w, size_t i, size_t k,
                           const pd_past_look *past, const pd_look_effect *e,
                           pd_error *err)
{
	const pd_answer *a = &w->r->answer[i];
	pd_moved *m = &w->c->moved[w->c->n_moved++];

	m->answer = i;
	m->effect = k;
	m->date = pd_arena_copy(w->arena, past->date);
	printed(a->scale, e->estimate, &m->value);
	printed(a->scale, e->low, &m->low);
	printed(a->scale, e->high, &m->high);
	m->then = pd_verdict_alone(a->scale, a->margin, m->low, m->high);
	m->n_rows = past->n_rows;
	m->n_patients = past->n_patients;
	m->n_loads = past->loads;
	m->n_corrections = past->corrections;
	set_today(a, m);
	return m->date ? PD_OK : no_memory(err);
}

/* Each effect against itself; of a reading before version 3 of the database
 * only the first is known. */
static pd_status compare(struct work *w, size_t i, pd_error *err)
{
	const pd_question *q = &w->plan->question[i];
	const pd_answer *a = &w->r->answer[i];
	pd_past_look past;
	pd_status st = pd_store_last_look(w->store, q->name, q->sha256, &past,
	                                  err);

	if (st != PD_OK)
		return st;
	if (!past.date[0]) {
		w->c->n_new++;
		w->c->n_reworded += past.reworded[0] != '\0';
		return PD_OK;
	}
	const pd_look_effect first = { "", past.estimate, past.se, past.low,
		                       past.high };

	if (!answered(a))
		return put_moved(w, i, 0, &past, &first, err);
	for (size_t k = 0; st == PD_OK && k < a->n_effects; k++) {
		const char *label = pd_looks_label(w->arena, &a->effect[k]);
		pd_look_effect then = { 0 };

		st = label ? pd_store_last_effect(w->store, q->sha256, label,
		                                  k, &then, err)
		           : no_memory(err);
		if (st == PD_OK && then.label)
			st = put_moved(w, i, k, &past, &then, err);
	}
	return st;
}

/* --- when what is open may be settled -------------------------------------- */

void pd_changes_when(double b, double h, double d, size_t n, double a_year,
                     pd_open *out)
{
	double size = fabs(b), room = isnan(d) ? -1 : d - size;
	double least = fmax(size, room);

	out->inside = room > size;
	out->n_patients = n;
	out->a_year = a_year;
	out->needed = (double)n * (h / least) * (h / least);
	out->years = (out->needed - (double)n) / a_year;
	if (h < least)
		out->state = PD_OPEN_BY_TESTS;
	else if (isnan(a_year) || !(a_year > 0))
		out->state = PD_OPEN_NO_RATE;
	else
		out->state = out->years <= FAR ? PD_OPEN_AT_RATE : PD_OPEN_FAR;
}

static pd_status set_rate(struct work *w, pd_error *err)
{
	size_t n;
	double days;
	pd_status st = pd_store_new_patients(w->store, &n, &days, err);

	w->a_year = days >= LEAST_DAYS ? (double)n / days * 365.25
	                               : (double)NAN;
	return st;
}

/* The question's patients a year: its share of the clinic's. */
static void forecast(struct work *w, size_t i, size_t k)
{
	const pd_answer *a = &w->r->answer[i];
	const pd_estimate *e = &a->effect[k].log;
	size_t n = a->flow[a->n_flow - 1].n_patients;
	double share = (double)n / (double)w->r->n_patients;
	double d = a->scale == PD_RATIO ? -log(a->margin) : a->margin;
	pd_open *o = &w->c->open[w->c->n_open++];

	o->answer = i;
	o->effect = k;
	pd_changes_when(e->value, (e->high - e->low) / 2, d, n,
	                w->a_year * share, o);
}

static void find_open(struct work *w)
{
	for (size_t i = 0; i < w->r->n_answers; i++) {
		const pd_answer *a = &w->r->answer[i];

		if (!answered(a) || a->role == PD_CONTROL)
			continue;
		for (size_t k = 0; k < a->n_effects; k++)
			if (a->effect[k].verdict == PD_NOT_SETTLED)
				forecast(w, i, k);
	}
}

/* --- drift ------------------------------------------------------------------- */

static void sum_up(const pd_watch_answer *a, pd_drift *d)
{
	d->outcome_words = a->outcome_words;
	d->judge_words = a->judge_words;
	d->refusal = a->refusal;
	d->scale = a->scale;
	d->level = a->level;
	d->base_until = a->base_until;
	d->quarters = a->quarters;
	if (a->refusal || a->n_charts == 0)
		return;
	d->n_signals = a->chart[0].n_signals;
	for (size_t k = 0; k < a->n_signals; k++) {
		const pd_signal *s = &a->signal[k];

		if (s->group != a->chart[0].group)
			continue;
		if (s->state == PD_SHIFT_PASSED)
			d->n_passed++;
		else
			d->latest = *s;
	}
}

static bool watched(const pd_changes *c, const char *words)
{
	for (size_t k = 0; k < c->n_drifts; k++)
		if (strcmp(c->drift[k].outcome_words, words) == 0)
			return true;
	return false;
}

static pd_status watch(struct work *w, const pd_question *q, pd_error *err)
{
	pd_watch_request ask = pd_watch_usual(
	    q->outcome,
	    q->scale == PD_DIFFERENCE ? "percent" : "concentration");
	pd_run_options read = { .date = w->options->date };
	pd_watch_answer answer = { 0 };
	pd_error inner = { 0 };
	pd_drift *d = &w->c->drift[w->c->n_drifts];
	ask.level = w->plan->level;
	ask.seed = w->plan->seed;
	pd_status st = pd_watch_run(w->store, &ask, &read, w->arena, &answer,
	                            &inner);

	if (st == PD_NO_MEMORY)
		return no_memory(err);
	w->c->n_drifts++;
	sum_up(&answer, d);
	if (st == PD_OK)
		return PD_OK;
	d->outcome_words = pd_query_words(q->outcome);
	d->refusal = pd_arena_copy(w->arena, inner.text);
	return d->refusal ? PD_OK : no_memory(err);
}

static pd_status find_drift(struct work *w, pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < w->plan->n_questions; i++) {
		const pd_question *q = &w->plan->question[i];

		if (q->role == PD_PRIMARY && !pd_rows_of_events(q) &&
		    w->c->n_drifts < PD_DRIFTS &&
		    !watched(w->c, pd_query_words(q->outcome)))
			st = watch(w, q, err);
	}
	return st;
}

/* --- claims ------------------------------------------------------------------ */

static const struct {
	const char *word;
	pd_kept_state state;
	pd_verdict verdict;
} stands[] = {
	{ "better", PD_KEPT_SETTLED, PD_BETTER },
	{ "worse", PD_KEPT_SETTLED, PD_WORSE },
	{ "no difference", PD_KEPT_SETTLED, PD_NO_MATTER },
	{ "not settled", PD_KEPT_OPEN, PD_NOT_SETTLED },
	{ "no answer", PD_KEPT_NO_ANSWER, PD_NO_ANSWER },
	{ "not asked", PD_KEPT_NOT_ASKED, PD_NO_ANSWER },
};

const char *pd_changes_claim_word(bool asked, pd_verdict v)
{
	if (!asked)
		return "not asked";
	for (size_t k = 0; k < sizeof stands / sizeof *stands; k++)
		if (stands[k].verdict == v)
			return stands[k].word;
	return "no answer";
}

/* When it may be settled, as for a question of the plan. */
static void claim_when(struct work *w, const pd_claim_row *r, pd_open *out)
{
	double share = (double)r->n_patients / (double)w->r->n_patients;

	pd_changes_when(log(r->here), (log(r->here_high) - log(r->here_low)) / 2,
	                -log(r->margin), r->n_patients, w->a_year * share, out);
}

static pd_status count_claim(void *user, const pd_claim_row *row,
                             pd_error *err)
{
	(void)row;
	(void)err;
	++*(size_t *)user;
	return PD_OK;
}

static pd_status keep_claim(void *user, const pd_claim_row *r, pd_error *err)
{
	struct work *w = user;
	pd_claim_kept *c = &w->c->claim[w->c->n_claims++];

	*c = (pd_claim_kept){
		.name = pd_arena_copy(w->arena, r->name),
		.title = pd_arena_copy(w->arena, r->title),
		.date = pd_arena_copy(w->arena, r->date),
		.n_meanings = r->n_meanings, .printed = r->printed,
		.printed_low = r->printed_low, .printed_high = r->printed_high,
		.least = r->least, .most = r->most, .here = r->here,
		.here_low = r->here_low, .here_high = r->here_high,
		.n_patients = r->n_patients, .n_rows = r->n_rows,
		.n_loads = r->n_loads, .n_corrections = r->n_corrections,
	};
	for (size_t k = 0; k < sizeof stands / sizeof *stands; k++)
		if (strcmp(stands[k].word, r->verdict) == 0) {
			c->state = stands[k].state;
			c->verdict = stands[k].verdict;
		}
	if (c->state == PD_KEPT_OPEN)
		claim_when(w, r, &c->open);
	return c->name && c->title && c->date ? PD_OK : no_memory(err);
}

static pd_status find_claims(struct work *w, pd_error *err)
{
	size_t n = 0;
	pd_status st = pd_store_claims(w->store, count_claim, &n, err);

	w->c->claim = PD_NEW(w->arena, pd_claim_kept, n + 1);
	if (st == PD_OK && !w->c->claim)
		return no_memory(err);
	return st == PD_OK && n ? pd_store_claims(w->store, keep_claim, w, err)
	                        : st;
}

/* --- read outside this plan --------------------------------------------------- */

/* A visit: keeps what is no question of the plan, nor an earlier wording. */
static pd_status keep_outside(void *user, const pd_look_seen *look,
                              pd_error *err)
{
	struct work *w = user;
	pd_changes *c = w->c;

	for (size_t i = 0; i < w->plan->n_questions; i++)
		if (strcmp(w->plan->question[i].sha256,
		           look->question_sha256) == 0 ||
		    strcmp(w->plan->question[i].name, look->question) == 0)
			return PD_OK;
	if (c->n_outside_all++ >= PD_OUTSIDES)
		return PD_OK;
	pd_outside *o = &c->outside[c->n_outside++];

	o->name = pd_arena_copy(w->arena, look->question);
	o->date = pd_arena_copy(w->arena, look->date);
	o->n_readings = look->n_readings;
	o->n_patients = look->n_patients;
	o->state = isnan(look->low) || isnan(look->high) ? PD_OUTSIDE_NONE
	           : look->low > 0                       ? PD_OUTSIDE_MORE
	           : look->high < 0                      ? PD_OUTSIDE_LESS
	                                                 : PD_OUTSIDE_OPEN;
	return o->name && o->date ? PD_OK : no_memory(err);
}

pd_status pd_changes_find(pd_store *s, const pd_plan *plan,
                          const pd_run_options *options, pd_arena *arena,
                          pd_review *review, pd_error *err)
{
	struct work w = { .store = s, .plan = plan, .options = options,
		          .arena = arena, .r = review };
	size_t n = 0;

	for (size_t i = 0; i < review->n_answers; i++)
		n += review->answer[i].n_effects;
	w.c = PD_NEW(arena, pd_changes, 1);
	if (!w.c)
		return no_memory(err);
	memset(w.c, 0, sizeof *w.c);
	w.c->moved = PD_NEW(arena, pd_moved, n + review->n_answers + 1);
	w.c->open = PD_NEW(arena, pd_open, n + 1);
	if (!w.c->moved || !w.c->open)
		return no_memory(err);
	memset(w.c->open, 0, (n + 1) * sizeof *w.c->open);
	pd_status st = set_rate(&w, err);

	for (size_t i = 0; st == PD_OK && i < review->n_answers; i++)
		st = compare(&w, i, err);
	if (st == PD_OK) {
		find_open(&w);
		st = find_drift(&w, err);
	}
	if (st == PD_OK)
		st = find_claims(&w, err);
	if (st == PD_OK)
		st = pd_store_looks(s, keep_outside, &w, err);
	review->changes = w.c;
	return st;
}
