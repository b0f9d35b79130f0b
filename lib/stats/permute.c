/*
 * permute.c - see permute.h. Rows are first brought down to one value a unit;
 * for labels the units are put side by side by stratum, less its mean, so that
 * the sum of the units of arm 0 is the whole statistic.
 */
#include "stats/permute.h"
#include "stats/permute_own.h"
#include "stats/stream.h"
#include "stats/summary.h"
#include "stats/threads.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_FLIPPED = 30, USUAL_DRAWS = 9999, MOST_DRAWS = 10000000 };
static const double MOST_DEALS = 2e6;
static const double SAME = 1e-12; /* see paired.h */

/* Units of one stratum: places first .. first + n, n0 of them in arm 0. */
struct stratum {
	size_t first, n, n0;
};

struct work {
	const pd_permute_plan *plan;
	size_t n_units, n_strata;
	double *x, *rows, *sorted; /* a unit: value, rows, by stratum        */
	int32_t *arm, *home;       /* a unit: label, stratum; -1 no rows     */
	struct stratum *stratum;
	double *sum;               /* an arrangement                         */
	struct pd_permute_task task;
};

/* ---- rows to units ------------------------------------------------------ */

static size_t unit_of(const struct work *w, size_t row)
{
	return w->plan->unit ? (size_t)w->plan->unit[row] : row;
}

static pd_status check_code(const int32_t *code, size_t n, size_t below,
                            const char *what, pd_error *err)
{
	for (size_t i = 0; code && i < n; i++)
		if (code[i] < 0 || (size_t)code[i] >= below)
			return pd_fail(err, PD_DATA, "row %zu: %s %ld is not "
			               "below %zu", i + 1, what,
			               (long)code[i], below);
	return PD_OK;
}

static pd_status check(const pd_permute_plan *p, pd_error *err)
{
	pd_status st = pd_check_finite(p->value, p->n_rows, err);

	if (st == PD_OK)
		st = check_code(p->unit, p->n_rows, p->n_units, "unit", err);
	if (st == PD_OK)
		st = check_code(p->arm, p->n_rows, 2, "arm", err);
	if (st == PD_OK && p->arm)
		st = check_code(p->stratum, p->n_rows, p->n_strata, "stratum",
		                err);
	if (st == PD_OK && p->draws > MOST_DRAWS)
		st = pd_fail(err, PD_DATA, "at most %d arrangements are drawn, "
		             "got %zu", MOST_DRAWS, p->draws);
	if (st == PD_OK && !p->n_rows)
		st = pd_fail(err, PD_REFUSED, "no differences or results to "
		             "arrange anew");
	return st;
}

/* A unit's label or stratum from one of its rows: the first decides. */
static pd_status take(int32_t *of_unit, int32_t code, size_t row,
                      const char *what, pd_error *err)
{
	if (*of_unit < 0)
		*of_unit = code;
	if (*of_unit != code)
		return pd_fail(err, PD_DATA, "row %zu: the rows of one unit "
		               "must have the same %s, got %ld and %ld",
		               row + 1, what, (long)*of_unit, (long)code);
	return PD_OK;
}

static pd_status gather(struct work *w, pd_error *err)
{
	const pd_permute_plan *p = w->plan;
	pd_status st = PD_OK;

	for (size_t u = 0; u < w->n_units; u++)
		w->arm[u] = w->home[u] = -1;
	for (size_t i = 0; i < p->n_rows && st == PD_OK; i++) {
		size_t u = unit_of(w, i);

		w->x[u] += p->value[i];
		w->rows[u]++;
		if (p->arm)
			st = take(&w->arm[u], p->arm[i], i, "arm", err);
		if (st == PD_OK)
			st = take(&w->home[u], p->arm && p->stratum
			                           ? p->stratum[i] : 0,
			          i, "stratum", err);
	}
	for (size_t u = 0; p->arm && u < w->n_units; u++)
		if (w->rows[u] > 0)
			w->x[u] /= w->rows[u];
	return st;
}

/* ---- units to strata ---------------------------------------------------- */

/* Places of each stratum in `sorted`; those with one arm only get none. */
static void lay_out(struct work *w, pd_permutation *out)
{
	size_t at = 0;

	for (size_t u = 0; u < w->n_units; u++)
		if (w->home[u] >= 0) {
			w->stratum[w->home[u]].n++;
			w->stratum[w->home[u]].n0 += w->arm[u] == 0;
		}
	for (size_t s = 0; s < w->n_strata; s++) {
		struct stratum *one = &w->stratum[s];

		if (one->n0 == 0 || one->n0 == one->n)
			one->n = one->n0 = 0;
		else
			out->n_strata++;
		one->first = at;
		at += one->n;
	}
	w->task.n = at;
}

/* Values less their stratum's mean, arm 0 first; *varies when any stratum
 * does. */
static void centre(struct work *w, int *varies)
{
	for (int arm = 0; arm < 2; arm++) {
		for (size_t u = 0; u < w->n_units; u++) {
			struct stratum *s = w->home[u] < 0
			    ? NULL : &w->stratum[w->home[u]];

			if (s && s->n && w->arm[u] == arm)
				w->sorted[s->first++] = w->x[u];
		}
	}
	for (size_t k = 0; k < w->n_strata; k++) {
		struct stratum *s = &w->stratum[k];
		pd_summary m;

		s->first -= s->n;
		m = pd_summarise(w->sorted + s->first, s->n);
		*varies |= s->n && m.high - m.low >
		           SAME * fmax(fabs(m.low), fabs(m.high));
		for (size_t i = 0; i < s->n; i++)
			w->sorted[s->first + i] -= m.mean;
	}
}

static void observe(struct work *w)
{
	for (size_t k = 0; k < w->n_strata; k++)
		for (size_t i = 0; i < w->stratum[k].n0; i++)
			w->task.observed +=
			    w->sorted[w->stratum[k].first + i];
}

/* ---- deals of labels ---------------------------------------------------- */

static double deals(const struct work *w)
{
	double all = 1;

	for (size_t k = 0; k < w->n_strata; k++) {
		const struct stratum *s = &w->stratum[k];

		for (size_t i = 1; i <= s->n0 && all <= MOST_DEALS; i++)
			all = all * (double)(s->n - s->n0 + i) / (double)i;
	}
	return all;
}

/* The next choice of n places out of `all`, in lexical order; 0 at the end. */
static int next_choice(size_t *at, size_t n, size_t all)
{
	size_t i = n;

	while (i > 0 && at[i - 1] == all - n + i - 1)
		i--;
	if (i == 0)
		return 0;
	at[i - 1]++;
	for (; i < n; i++)
		at[i] = at[i - 1] + 1;
	return 1;
}

static double chosen(const double *x, const size_t *at, size_t n)
{
	double part = 0;

	for (size_t i = 0; i < n; i++)
		part += x[at[i]];
	return part;
}

/* Every choice of s added to each of the `made` sums so far: one block of sums
 * a choice, the first block last, since all others start from it. */
static size_t add_choices(const struct work *w, const struct stratum *s,
                          size_t *at, size_t made)
{
	const double *x = w->sorted + s->first;
	size_t end = made;
	double part;

	for (size_t i = 0; i < s->n0; i++)
		at[i] = i;
	while (next_choice(at, s->n0, s->n)) {
		part = chosen(x, at, s->n0);
		for (size_t k = 0; k < made; k++)
			w->sum[end++] = w->sum[k] + part;
	}
	for (size_t i = 0; i < s->n0; i++)
		at[i] = i;
	part = chosen(x, at, s->n0);
	for (size_t k = 0; k < made; k++)
		w->sum[k] += part;
	return end;
}

static pd_status deal_all(struct work *w, pd_error *err)
{
	size_t *at = malloc((w->task.n + 1) * sizeof *at), made = 1;

	if (!at)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t k = 0; k < w->n_strata; k++)
		if (w->stratum[k].n)
			made = add_choices(w, &w->stratum[k], at, made);
	free(at);
	return PD_OK;
}

/* Sum of n0 values a stratum drawn without replacement: a partial shuffle of
 * `at`, which starts in order so that a draw depends on its stream alone. */
static double one_deal(const struct work *w, size_t *at, uint64_t draw)
{
	pd_stream s;
	double sum = 0;

	pd_stream_init(&s, w->task.seed, draw);
	for (size_t i = 0; i < w->task.n; i++)
		at[i] = i;
	for (size_t k = 0; k < w->n_strata; k++) {
		const struct stratum *one = &w->stratum[k];

		for (size_t i = 0; i < one->n0; i++) {
			size_t here = one->first + i;
			size_t j = here +
			           (size_t)pd_stream_below(&s, one->n - i);
			size_t swap = at[here];

			at[here] = at[j];
			at[j] = swap;
			sum += w->sorted[at[here]];
		}
	}
	return sum;
}

static void deal_part(void *with, void *room, size_t from, size_t to)
{
	const struct work *w = with;

	for (size_t k = from; k < to; k++)
		w->sum[k] = one_deal(w, room, k);
}

/* ---- the whole ---------------------------------------------------------- */

static void count_sums(const struct pd_permute_task *t, const double *sum,
                       size_t n, pd_flip_result *out)
{
	double far = fabs(t->observed);

	for (size_t k = 0; k < n; k++) {
		double off = fabs(sum[k]) - far, above = sum[k] - t->observed;

		out->hits += off >= -t->slack;
		out->equal += fabs(off) <= t->slack;
		out->hits_above += above >= -t->slack;
		out->equal_above += fabs(above) <= t->slack;
	}
	out->patterns = (double)n;
}

/* Shares; of drawn arrangements the observed one is one more, a tie. */
static void settle(pd_flip_result *r)
{
	double one = r->exact ? 0 : 1, all = r->patterns + one;

	r->p = (one + r->hits) / all;
	r->mid_p = (one + r->hits - 0.5 * (one + r->equal)) / all;
	r->p_above = (one + r->hits_above) / all;
	r->mid_above = (one + r->hits_above -
	                0.5 * (one + r->equal_above)) / all;
}

static pd_status room_for(struct work *w, size_t n, pd_error *err)
{
	w->sum = malloc(n * sizeof *w->sum);
	if (!w->sum)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu "
		               "arrangements", n);
	w->sum[0] = 0;
	return PD_OK;
}

/* The slack of comparisons from sum |x|, which bounds every sum. */
static pd_status set_slack(struct work *w, const double *x, pd_error *err)
{
	double size = 0;

	for (size_t i = 0; i < w->task.n; i++)
		size += fabs(x[i]);
	w->task.slack = SAME * size;
	return pd_check_results(&size, 1, err);
}

/* Units with rows, side by side. */
static void leave_out_idle(struct work *w)
{
	size_t n = 0;

	for (size_t u = 0; u < w->n_units; u++)
		if (w->rows[u] > 0)
			w->x[n++] = w->x[u];
	w->task.n = n;
	w->task.x = w->x;
}

static pd_status flip(struct work *w, pd_permutation *out, pd_error *err)
{
	struct pd_permute_task *t = &w->task;
	int any = 0;
	pd_status st;

	leave_out_idle(w);
	st = set_slack(w, t->x, err);
	for (size_t i = 0; i < t->n; i++)
		any |= fabs(t->x[i]) > 0;
	if (st == PD_OK && !any)
		st = pd_fail(err, PD_REFUSED, "no difference other than 0");
	if (st != PD_OK)
		return st;
	t->observed = pd_sum(t->x, t->n);
	if (t->n <= MOST_FLIPPED)
		return pd_flip_all(t, &out->flip, err);
	st = room_for(w, t->draws, err);
	if (st == PD_OK)
		st = pd_flip_sums(t, w->sum, err);
	if (st == PD_OK)
		count_sums(t, w->sum, t->draws, &out->flip);
	return st;
}

static pd_status deal(struct work *w, pd_permutation *out, pd_error *err)
{
	int varies = 0;
	double all;
	pd_status st;

	lay_out(w, out);
	out->n_idle = w->n_units - w->task.n;
	if (!out->n_strata)
		return pd_fail(err, PD_REFUSED, "two groups are needed%s",
		               w->n_strata > 1 ? " in at least one stratum"
		                               : "");
	centre(w, &varies);
	if (!varies)
		return pd_fail(err, PD_REFUSED, w->n_strata > 1
		               ? "all values of each stratum are equal"
		               : "all values are equal");
	st = set_slack(w, w->sorted, err);
	if (st != PD_OK)
		return st;
	observe(w);
	all = deals(w);
	out->flip.exact = all <= MOST_DEALS;
	st = room_for(w, out->flip.exact ? (size_t)(all + 0.5)
	                                 : w->task.draws, err);
	if (st == PD_OK && out->flip.exact)
		st = deal_all(w, err);
	else if (st == PD_OK)
		st = pd_share_out(w->task.draws, w->task.threads,
		                  w->task.n * sizeof(size_t), deal_part, w,
		                  err);
	if (st == PD_OK)
		count_sums(&w->task, w->sum, out->flip.exact
		           ? (size_t)(all + 0.5) : w->task.draws, &out->flip);
	return st;
}

static pd_status start(struct work *w, const pd_permute_plan *plan,
                       pd_error *err)
{
	size_t room;

	w->n_units = plan->unit ? plan->n_units : plan->n_rows;
	w->n_strata = plan->arm && plan->stratum ? plan->n_strata : 1;
	w->task.draws = plan->draws ? plan->draws : USUAL_DRAWS;
	w->task.seed = plan->seed;
	w->task.threads = plan->threads;
	room = w->n_units + 1;
	w->x = calloc(room, sizeof *w->x);
	w->rows = calloc(room, sizeof *w->rows);
	w->sorted = calloc(room, sizeof *w->sorted);
	w->arm = calloc(room, sizeof *w->arm);
	w->home = calloc(room, sizeof *w->home);
	w->stratum = calloc(w->n_strata + 1, sizeof *w->stratum);
	if (!w->x || !w->rows || !w->sorted || !w->arm || !w->home ||
	    !w->stratum)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

pd_status pd_permute(const pd_permute_plan *plan, pd_permutation *out,
                     pd_error *err)
{
	struct work w = { .plan = plan };
	pd_status st = check(plan, err);

	*out = (pd_permutation){ 0 };
	if (st != PD_OK)
		return st;
	st = start(&w, plan, err);
	if (st == PD_OK)
		st = gather(&w, err);
	if (st == PD_OK)
		for (size_t u = 0; u < w.n_units; u++)
			out->n_idle += w.rows[u] == 0;
	out->n_units = w.n_units;
	if (st == PD_OK)
		st = plan->arm ? deal(&w, out, err) : flip(&w, out, err);
	if (st == PD_OK)
		settle(&out->flip);
	out->statistic = w.task.observed;
	free(w.x);
	free(w.rows);
	free(w.sorted);
	free(w.arm);
	free(w.home);
	free(w.stratum);
	free(w.sum);
	return st;
}
