/* watch_signals.c - charts of all cases and of groups, and what they raise. */
#include "plan/watch_own.h"
#include "stats/control.h"
#include "stats/summary.h"

#include <math.h>
#include <string.h>

enum { MOST_SIGNALS = 40, LEAST_GROUP = 60, GROUP_BASE = 30, MOST_CHARTS = 12 };

struct work {
	const struct pd_watch_cases *c;
	pd_arena *arena, *scratch;
	pd_watch_answer *a;
	double h, limit;
	/* the group at hand */
	size_t *member, n, n_base;
	double *z;
	const char *group;
};

/* Change since the run began against the baseline, as if its start were
 * known: that it was found by looking makes the interval somewhat short. */
static void take_change(const struct work *w, size_t from, size_t to,
                        double *scratch, pd_signal *s)
{
	size_t n = 0, m = w->n_base;
	double *base = scratch + w->n;
	pd_estimate e;
	double (*shown)(double) = exp;

	for (size_t i = from; i <= to; i++)
		scratch[n++] = w->c->item[w->member[i]].r;
	for (size_t i = 0; i < m; i++)
		base[i] = w->c->item[w->member[i]].r;
	double change = pd_summarise(scratch, n).mean -
	                pd_summarise(base, m).mean;
	int ratio = w->a->scale == PD_RATIO;

	s->change = ratio ? shown(change) : change;
	s->low = s->high = NAN;
	if (n >= 2 && pd_welch(scratch, n, base, m, w->a->level, &e, NULL) ==
	                  PD_OK) {
		s->low = ratio ? exp(e.low) : e.low;
		s->high = ratio ? exp(e.high) : e.high;
	}
}

/* A method version that begins between the run's start (less a quarter of a
 * year, the start being only likely) and the signal. */
static const char *beside(const struct work *w, double since, double at)
{
	for (size_t k = 0; k < w->a->n_marks; k++)
		if (w->a->mark[k].time >= since - 0.25 &&
		    w->a->mark[k].time <= at)
			return w->a->mark[k].words;
	return NULL;
}

static pd_status put_signal(struct work *w, const char *chart, size_t from,
                            size_t at, double *scratch, pd_error *err)
{
	const struct pd_watch_case *first = &w->c->item[w->member[from]];
	const struct pd_watch_case *last = &w->c->item[w->member[at]];

	if (at < w->n_base)
		return PD_OK; /* of the baseline itself */
	if (w->a->n_signals == MOST_SIGNALS) {
		w->a->n_not_shown++;
		return PD_OK;
	}
	pd_signal *s = &w->a->signal[w->a->n_signals++];

	*s = (pd_signal){ .chart = chart, .group = w->group,
		          .time = last->time,
		          .date = pd_watch_date(w->arena, last->time),
		          .since = pd_watch_date(w->arena, first->time),
		          .n_since = at - from + 1,
		          .beside = beside(w, first->time, last->time) };
	take_change(w, from, at, scratch, s);
	return s->date && s->since ? PD_OK : no_memory(err);
}

/* Charts start after the baseline; what is drawn of it is 0. */
static pd_status chart_group(struct work *w, pd_error *err)
{
	size_t n = w->n, b = w->n_base, room = MOST_SIGNALS;
	pd_chart *c = &w->a->chart[w->a->n_charts++];
	double *time = PD_NEW(w->arena, double, n + 1);
	double *average = PD_NEW(w->arena, double, n + 1);
	double *half = PD_NEW(w->arena, double, n + 1);
	double *up = PD_NEW(w->arena, double, n + 1);
	double *down = PD_NEW(w->arena, double, n + 1);
	double *scratch = PD_NEW(w->scratch, double, 2 * n + 2);
	size_t at[MOST_SIGNALS], from[MOST_SIGNALS], k;
	pd_status st = PD_OK;

	if (!time || !average || !half || !up || !down || !scratch)
		return no_memory(err);
	for (size_t i = 0; i < n; i++)
		time[i] = w->c->item[w->member[i]].time;
	*c = (pd_chart){ w->group, n, b, w->h, w->limit, time, average, half,
		         up, down, 0 };
	k = pd_watch_sums(w->z + b, n - b, w->a->shift / 2, w->h, up + b,
	                  down + b, at, from, room);
	c->n_signals = k;
	for (size_t i = 0; st == PD_OK && i < k && i < room; i++)
		st = put_signal(w, "cumulative sum", b + from[i], b + at[i],
		                scratch, err);
	k = pd_watch_average(w->z + b, n - b, w->a->lambda, w->limit,
	                     average + b, half + b, at, from, room);
	c->n_signals += k;
	for (size_t i = 0; st == PD_OK && i < k && i < room; i++)
		st = put_signal(w, "weighted average", b + from[i], b + at[i],
		                scratch, err);
	return st;
}

/* The cases with one code, about their own first ones. */
static pd_status chart_code(struct work *w, const char *kind,
                            const char *name, int operator_, int32_t code,
                            pd_error *err)
{
	const struct pd_watch_cases *c = w->c;

	w->n = 0;
	for (size_t i = 0; i < c->n; i++)
		if ((operator_ ? c->item[i].operator_
		               : c->item[i].version) == code) {
			w->z[w->n] = c->z[i];
			w->member[w->n++] = i;
		}
	if (w->n < LEAST_GROUP || w->a->n_charts == MOST_CHARTS)
		return PD_OK;
	w->n_base = GROUP_BASE;
	double mean = pd_summarise(w->z, w->n_base).mean;

	for (size_t i = 0; i < w->n; i++)
		w->z[i] -= mean;
	w->group = pd_arena_print(w->arena, "%s %s", kind, name);
	return w->group ? chart_group(w, err) : no_memory(err);
}

static pd_status all_charts(struct work *w, pd_error *err)
{
	const struct pd_watch_cases *c = w->c;
	pd_status st;

	w->n = c->n;
	w->n_base = c->n_base;
	w->group = "all cases";
	for (size_t i = 0; i < c->n; i++) {
		w->member[i] = i;
		w->z[i] = c->z[i];
	}
	st = chart_group(w, err);
	for (size_t k = 0; st == PD_OK && c->n_operators > 1 &&
	                   k < c->n_operators; k++)
		st = chart_code(w, "operator", c->operator_[k], 1, (int32_t)k,
		                err);
	for (size_t k = 0; st == PD_OK && c->n_versions > 1 &&
	                   k < c->n_versions; k++)
		st = chart_code(w, "method version", c->version[k], 0,
		                (int32_t)k, err);
	return st;
}

/* First case of each method version but the one the data begin with. */
static pd_status take_marks(struct work *w, pd_error *err)
{
	const struct pd_watch_cases *c = w->c;
	unsigned char *seen =
	    PD_NEW(w->scratch, unsigned char, c->n_versions + 1);

	w->a->mark = PD_NEW(w->arena, pd_mark_at, c->n_versions + 1);
	if (!seen || !w->a->mark)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++) {
		int32_t v = c->item[i].version;

		if (v < 0 || seen[v])
			continue;
		seen[v] = 1;
		if (i == 0)
			continue;
		pd_mark_at *m = &w->a->mark[w->a->n_marks++];

		m->time = c->item[i].time;
		m->words = pd_arena_print(w->arena,
		                          "method version '%s' begins",
		                          c->version[v]);
		if (!m->words)
			return no_memory(err);
	}
	return PD_OK;
}

pd_status pd_watch_signals(const struct pd_watch_cases *c, pd_arena *arena,
                           pd_arena *scratch, pd_watch_answer *a,
                           pd_error *err)
{
	struct work w = { .c = c, .arena = arena, .scratch = scratch, .a = a };

	w.member = PD_NEW(scratch, size_t, c->n + 1);
	w.z = PD_NEW(scratch, double, c->n + 1);
	a->chart = PD_NEW(arena, pd_chart, MOST_CHARTS);
	a->signal = PD_NEW(arena, pd_signal, MOST_SIGNALS);
	if (!w.member || !w.z || !a->chart || !a->signal)
		return no_memory(err);
	a->sd = c->sd;
	a->correlation = pd_lag_one(c->z, c->n_base);
	pd_status st = pd_control_sums_design(a->shift / 2, a->run_length,
	                                      &w.h, err);

	if (st == PD_OK)
		st = pd_control_average_design(a->lambda, a->run_length,
		                               &w.limit, err);
	if (st == PD_OK)
		st = take_marks(&w, err);
	return st == PD_OK ? all_charts(&w, err) : st;
}
