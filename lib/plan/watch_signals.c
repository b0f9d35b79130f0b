/*
 * watch_signals.c - charts of all cases and of groups, and what they raise.
 * Groups are charted about the level all cases had at the time, so that one
 * shift of all is not a shift of every group as well.
 */
#include "plan/watch_own.h"
#include "stats/control.h"
#include "stats/summary.h"

#include <math.h>
#include <string.h>

enum { MOST_SIGNALS = 40, LEARN = 30, LEAST_AFTER = 10, MOST_CHARTS = 60 };

/*
 * The two kinds of chart of one group see the same cases: together they raise
 * more false signals than one, 1.2 to 1.5 times as many at the usual design;
 * charts that begin at 0 and are silent while a regime is young, fewer. So
 * many times remain (tests/check_watch_rate.c; docs/methods/watch.md).
 */
static const double KINDS = 1.15;
static const double NEARLY_ALL = 0.9;
static const double SHORTEST = 20, LONGEST = 1e5; /* control.h            */

struct work {
	const struct pd_watch_cases *c;
	pd_arena *arena, *scratch;
	pd_watch_answer *a;
	pd_watch_limits limits;
	double *level, *level_r; /* of all cases at the time of each: of z, r  */
	/* the group at hand */
	size_t *member, n, n_base;
	double *z;
	const char *group;
};

/* A choice of cases: all (code -1), those of an operator or of a version. */
static size_t gather(struct work *w, int operator_, int32_t code)
{
	const struct pd_watch_cases *c = w->c;

	w->n = w->n_base = 0;
	for (size_t i = 0; i < c->n; i++) {
		int32_t its = operator_ ? c->item[i].operator_
		                        : c->item[i].version;

		if (code >= 0 && its != code)
			continue;
		w->z[w->n] = c->z[i] - w->level[i];
		w->member[w->n++] = i;
		w->n_base += i < c->n_base;
	}
	if (w->n_base < LEARN)
		w->n_base = LEARN;
	if (w->n < w->n_base + LEAST_AFTER)
		return 0;
	/* one that did nearly all of its time is the chart of all cases */
	if (code >= 0 && (double)w->n > NEARLY_ALL *
	    (double)(w->member[w->n - 1] - w->member[0] + 1))
		return 0;
	return w->n - w->n_base;
}

/* ---- one chart ------------------------------------------------------------ */

static double mean_of(const struct work *w, size_t from, size_t to, double *r)
{
	for (size_t i = from; i < to; i++)
		r[i - from] = w->c->item[w->member[i]].r -
		              w->level_r[w->member[i]];
	return pd_summarise(r, to - from).mean;
}

/* Cases from..to-1 of the group against first..last-1, as if the parting were
 * known: that it was found by looking makes the interval somewhat short. */
static void compare(const struct work *w, size_t first, size_t last,
                    size_t from, size_t to, double *scratch, double out[3])
{
	double *before = scratch + w->n;
	double change = mean_of(w, from, to, scratch) -
	                mean_of(w, first, last, before);
	int ratio = w->a->scale == PD_RATIO;
	pd_estimate e;

	out[0] = ratio ? exp(change) : change;
	out[1] = out[2] = NAN;
	if (to - from >= 2 && last - first >= 2 &&
	    pd_welch(scratch, to - from, before, last - first, w->a->level, &e,
	             NULL) == PD_OK) {
		out[1] = ratio ? exp(e.low) : e.low;
		out[2] = ratio ? exp(e.high) : e.high;
	}
}

/* A method version that begins between the likely start (less a quarter of a
 * year, the start being only likely) and the signal. */
static const char *beside(const struct work *w, double since, double at)
{
	for (size_t k = 0; k < w->a->n_marks; k++)
		if (w->a->mark[k].time >= since - 0.25 &&
		    w->a->mark[k].time <= at)
			return w->a->mark[k].words;
	return NULL;
}

static pd_status put_signal(struct work *w, const pd_watch_found *f,
                            size_t first, size_t end, double *scratch,
                            pd_error *err)
{
	const struct pd_watch_case *start = &w->c->item[w->member[f->from]];
	const struct pd_watch_case *at = &w->c->item[w->member[f->at]];
	double change[3];

	if (w->a->n_signals == MOST_SIGNALS) {
		w->a->n_not_shown++;
		return PD_OK;
	}
	compare(w, first, f->from, f->from, end, scratch, change);
	pd_signal *s = &w->a->signal[w->a->n_signals++];

	*s = (pd_signal){
		.state = f->state,
		.chart = f->sums && f->average ? "both"
		         : f->sums             ? "cumulative sum"
		                               : "weighted average",
		.group = w->group,
		.time = at->time,
		.date = pd_watch_date(w->arena, at->time),
		.since = pd_watch_date(w->arena, start->time),
		.n_since = f->at - f->from + 1,
		.n_before = f->from - first, .n_after = end - f->from,
		.change = change[0], .low = change[1], .high = change[2],
		.beside = beside(w, start->time, at->time),
	};
	return s->date && s->since ? PD_OK : no_memory(err);
}

/* Where the next shift that did not pass begins, from found[k] on. */
static size_t next_start(const struct work *w, const pd_watch_found *found,
                         size_t k, size_t n)
{
	while (k < n && found[k].state == PD_SHIFT_PASSED)
		k++;
	return k < n ? found[k].from : w->n;
}

/* All cases are their own members. */
static void set_level(struct work *w, size_t from, size_t end, double *scratch)
{
	double level = pd_summarise(w->z + from, end - from).mean;

	for (size_t i = from; i < end; i++) {
		w->level[i] = level;
		scratch[i - from] = w->c->item[i].r;
	}
	level = pd_summarise(scratch, end - from).mean;
	for (size_t i = from; i < end; i++)
		w->level_r[i] = level;
}

/* A shift that passed and was found again from before its signal on is the
 * same one: the later stands for both, found when the first was. */
static size_t join(pd_watch_found *found, size_t n)
{
	size_t kept = 0;

	for (size_t k = 0; k < n; k++) {
		pd_watch_found f = found[k];

		while (kept && found[kept - 1].state == PD_SHIFT_PASSED &&
		       f.from <= found[kept - 1].at)
			f.at = found[--kept].at;
		found[kept++] = f;
	}
	return kept;
}

static void set_levels(struct work *w, const pd_watch_found *found, size_t n,
                       double *scratch)
{
	size_t first = 0;

	for (size_t k = 0; k <= n; k++) {
		if (k && found[k - 1].state == PD_SHIFT_PASSED)
			continue;
		first = k ? found[k - 1].from : 0;
		set_level(w, first, next_start(w, found, k, n), scratch);
	}
	for (size_t k = 0; k < n; k++)
		if (found[k].state == PD_SHIFT_PASSED)
			set_level(w, found[k].from, found[k].at + 1, scratch);
}

/* All cases since the last shift that held against the baseline. */
static void set_now(struct work *w, const pd_watch_found *found, size_t n,
                    double *scratch)
{
	size_t first = 0, base = w->n_base;
	double now[3];

	for (size_t k = n; k-- > 0;) {
		if (found[k].state != PD_SHIFT_HELD)
			continue;
		first = first ? first : found[k].from;
		base = found[k].from < base ? found[k].from : base;
	}
	if (!first)
		return;
	compare(w, 0, base, first, w->n, scratch, now);
	w->a->now = now[0];
	w->a->now_low = now[1];
	w->a->now_high = now[2];
}

/* Each shift against the regime before it. */
static pd_status put_signals(struct work *w, const pd_watch_found *found,
                             size_t n, double *scratch, pd_error *err)
{
	size_t first = 0;
	pd_status st = PD_OK;

	for (size_t k = 0; st == PD_OK && k < n; k++) {
		bool passed = found[k].state == PD_SHIFT_PASSED;

		st = put_signal(w, &found[k], first,
		                passed ? found[k].at + 1
		                       : next_start(w, found, k + 1, n),
		                scratch, err);
		if (!passed)
			first = found[k].from;
	}
	if (w->a->n_charts == 1) {
		set_now(w, found, n, scratch);
		set_levels(w, found, n, scratch);
	}
	return st;
}

static pd_status chart_group(struct work *w, pd_error *err)
{
	size_t n = w->n, k;
	pd_chart *c = &w->a->chart[w->a->n_charts++];
	double *time = PD_NEW(w->arena, double, n + 1);
	double *average = PD_NEW(w->arena, double, n + 1);
	double *half = PD_NEW(w->arena, double, n + 1);
	double *up = PD_NEW(w->arena, double, n + 1);
	double *down = PD_NEW(w->arena, double, n + 1);
	double *scratch = PD_NEW(w->scratch, double, 2 * n + 2);
	pd_watch_limits l = w->limits;
	pd_watch_found found[MOST_SIGNALS];

	if (!time || !average || !half || !up || !down || !scratch)
		return no_memory(err);
	for (size_t i = 0; i < n; i++) {
		time[i] = w->c->item[w->member[i]].time;
		half[i] = l.limit * sqrt(l.lambda / (2 - l.lambda));
	}
	l.n_base = w->n_base;
	pd_status st = pd_watch_chart(w->z, n, &l, up, down, average, found,
	                              MOST_SIGNALS, &k, err);

	if (k > MOST_SIGNALS)
		w->a->n_not_shown += k - MOST_SIGNALS;
	k = join(found, k < MOST_SIGNALS ? k : MOST_SIGNALS);
	*c = (pd_chart){ w->group, n, w->n_base, l.h, l.limit, time, average,
		         half, up, down, k };
	return st == PD_OK ? put_signals(w, found, k, scratch, err) : st;
}

/* ---- which charts there are ------------------------------------------------ */

/* Calls `each` for every group that can be charted, all cases first. */
static pd_status every_group(struct work *w,
                             pd_status (*each)(struct work *, pd_error *),
                             pd_error *err)
{
	const struct pd_watch_cases *c = w->c;
	pd_status st = gather(w, 0, -1) ? PD_OK : PD_INTERNAL;

	w->group = "all cases";
	if (st == PD_OK)
		st = each(w, err);
	for (int op = 1; op >= 0; op--) {
		size_t n = op ? c->n_operators : c->n_versions;
		const char **name = op ? c->operator_ : c->version;

		for (size_t k = 0; st == PD_OK && n > 1 && k < n; k++) {
			if (!gather(w, op, (int32_t)k))
				continue;
			w->group = pd_arena_print(
			    w->arena, "%s %s", op ? "operator"
			                          : "method version", name[k]);
			st = w->group ? each(w, err) : no_memory(err);
		}
	}
	return st;
}

/* Cases the charts watch, all together. */
static pd_status count_watched(struct work *w, pd_error *err)
{
	(void)err;
	if (w->a->n_charts == MOST_CHARTS) {
		w->a->n_charts_left++;
		return PD_OK;
	}
	w->a->n_charts++;
	w->a->run_length += (double)(w->n - w->n_base);
	return PD_OK;
}

static pd_status keep_chart(struct work *w, pd_error *err)
{
	return w->a->n_charts < MOST_CHARTS ? chart_group(w, err) : PD_OK;
}

/*
 * Limits: with W cases a quarter watched by all charts together and each
 * charts' pair of kinds raising a false signal in KINDS / A of them, A = KINDS
 * W quarters. The answer says what came of it where A was out of reach.
 */
static pd_status design(struct work *w, pd_error *err)
{
	pd_watch_answer *a = w->a;
	const struct pd_watch_cases *c = w->c;
	double span = c->item[c->n - 1].time - c->item[c->n_base - 1].time;
	pd_status st = every_group(w, count_watched, err);
	double watched = a->run_length / fmax(4 * span, 1);
	double each = fmin(fmax(KINDS * watched * a->quarters, SHORTEST),
	                   LONGEST);

	a->n_charts = 0;
	a->run_length = each / KINDS;
	a->quarters = a->run_length / watched;
	w->limits = (pd_watch_limits){ .k = a->shift / 2, .lambda = a->lambda,
		                       .learn = LEARN };
	if (st == PD_OK)
		st = pd_control_sums_design(a->shift / 2, each, &w->limits.h,
		                            err);
	return st == PD_OK ? pd_control_average_design(a->lambda, each,
	                                               &w->limits.limit, err)
	                   : st;
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
	w.level = PD_NEW(scratch, double, c->n + 1);
	w.level_r = PD_NEW(scratch, double, c->n + 1);
	a->chart = PD_NEW(arena, pd_chart, MOST_CHARTS);
	a->signal = PD_NEW(arena, pd_signal, MOST_SIGNALS);
	if (!w.member || !w.z || !w.level || !w.level_r || !a->chart ||
	    !a->signal)
		return no_memory(err);
	memset(w.level, 0, (c->n + 1) * sizeof *w.level);
	memset(w.level_r, 0, (c->n + 1) * sizeof *w.level_r);
	a->sd = c->sd;
	a->correlation = c->correlation;
	a->freed = c->freed;
	a->n_returning = c->n_returning;
	a->now = a->now_low = a->now_high = NAN;
	pd_status st = design(&w, err);

	if (st == PD_OK)
		st = take_marks(&w, err);
	return st == PD_OK ? every_group(&w, keep_chart, err) : st;
}
