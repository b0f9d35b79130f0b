/*
 * size.c - spread of the clinic's own draws, then trials of that spread.
 */
#include "plan/size_own.h"
#include "data/query.h"
#include "plan/notes.h"
#include "plan/rows.h"
#include "plan/words.h"
#include "stats/power.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"
#include "stats/sequential.h"

#include <math.h>
#include <string.h>

static const double MOST = 1e6;

struct work {
	const pd_plan *plan;
	const pd_question *q;
	const pd_size_request *ask;
	pd_arena *arena, *scratch;
	struct pd_size_spread spread;
	pd_size_answer *a;
};

/* --- the trial ------------------------------------------------------------ */

static double one_sided(const pd_size_answer *a)
{
	return (1 - a->level) / 2;
}

static double on_scale(const pd_size_answer *a, double x)
{
	return a->scale == PD_RATIO ? log(x) : x;
}

static pd_trial trial_of(const pd_size_answer *a, double truth, double sd)
{
	double d = a->scale == PD_RATIO ? -log(a->margin) : a->margin;
	pd_trial t = { .kind = a->paired ? PD_TRIAL_PAIRS : PD_TRIAL_GROUPS,
		       .effect = on_scale(a, truth), .sd = sd,
		       .alpha = one_sided(a), .sides = 1, .low = -d,
		       .high = d };

	if (a->aim == PD_AIM_DIFFERENCE) {
		t.sides = 2;
		t.alpha = 1 - a->level;
	}
	if (a->aim == PD_AIM_NOT_WORSE)
		t.null = -d;
	return t;
}

static double power_of(const pd_size_answer *a, double truth, double sd,
                       double n)
{
	pd_trial t = trial_of(a, truth, sd);

	return a->aim == PD_AIM_SAME ? pd_power_equivalence(&t, n)
	                             : pd_power_t(&t, n);
}

struct average {
	const pd_size_answer *a;
	double truth, n;
};

/* Shares beyond the range of the distribution are as good as certain. */
static double at_spread(double s, const void *with)
{
	const struct average *it = with;
	double p = power_of(it->a, it->truth, it->a->sd / s, it->n);

	return isnan(p) ? 1 : p;
}

double pd_size_assurance(const pd_size_answer *a, double truth, double n)
{
	struct average it = { a, truth, n };

	return pd_over_scale(at_spread, &it, a->sd_df, 1, 0);
}

/* Fewest with that assurance; NaN when a million is not enough. */
static double assured(const pd_size_answer *a, double truth, double from)
{
	double low = from - 1, high = from;

	while (pd_size_assurance(a, truth, high) < a->power) {
		low = high;
		high *= 2;
		if (high > MOST)
			return NAN;
	}
	while (high - low > 1) {
		double mid = floor((low + high) / 2);

		if (pd_size_assurance(a, truth, mid) < a->power)
			low = mid;
		else
			high = mid;
	}
	return high;
}

static pd_status size_line(struct work *w, double truth, pd_error *err)
{
	pd_size_answer *a = w->a;
	pd_size_line *l = &a->line[a->n_lines++];
	pd_trial t = trial_of(a, truth, a->sd);
	pd_trial_size size;
	pd_error inner = { 0 };
	pd_status st = a->aim == PD_AIM_SAME
	                   ? pd_size_equivalence(&t, a->power, &size, &inner)
	                   : pd_size_t(&t, a->power, &size, &inner);

	*l = (pd_size_line){ truth, NAN, NAN, NAN, NAN, NAN, NULL };
	st = pd_note_refusal(st, &inner, w->arena, &l->why_none, err);
	if (st != PD_OK || l->why_none)
		return st;
	l->n = size.n;
	l->power = size.power;
	l->power_before = size.power_before;
	l->assurance = pd_size_assurance(a, truth, l->n);
	l->n_assured = assured(a, truth, l->n);
	return PD_OK;
}

/* Truths worth a line: from no difference outwards, by the aim. */
static pd_status size_lines(struct work *w, pd_error *err)
{
	static const double ratios[2][PD_SIZE_TRUTHS] = {
		{ 1.15, 1.25, 1.5, 2, 3 }, { 0.95, 1, 1.05, 1.1, 1.25 },
	};
	static const double points[2][PD_SIZE_TRUTHS] = {
		{ 2, 5, 10, 15, 20 }, { -1, 0, 1, 2, 5 },
	};
	pd_size_answer *a = w->a;
	int away = a->aim == PD_AIM_DIFFERENCE;
	const double *row = a->scale == PD_RATIO ? ratios[!away]
	                                         : points[!away];
	pd_status st = PD_OK;

	if (!isnan(w->ask->truth)) {
		a->main_line = 0;
		return size_line(w, w->ask->truth, err);
	}
	for (size_t k = 0; st == PD_OK && k < PD_SIZE_TRUTHS; k++) {
		/* the margin itself is the smallest truth worth finding */
		double truth = away && k == 1 && !isnan(a->margin)
		                   ? a->scale == PD_RATIO ? 1 / a->margin
		                                          : a->margin
		                   : row[k];

		st = size_line(w, truth, err);
	}
	a->main_line = 1;
	return st;
}

/* --- more pulls, several looks ---------------------------------------------- */

static pd_status size_pulls(struct work *w, pd_error *err)
{
	pd_size_answer *a = w->a;

	for (size_t m = 1; m <= PD_SIZE_PULLS; m++) {
		pd_trial t = trial_of(a, a->line[a->main_line].truth,
		                      pd_size_spread(&w->spread, m));
		pd_trial_size size = { NAN, NAN, NAN, NAN };
		const char *none;
		pd_error inner = { 0 };
		pd_status st = a->aim == PD_AIM_SAME
		                   ? pd_size_equivalence(&t, a->power, &size,
		                                         &inner)
		                   : pd_size_t(&t, a->power, &size, &inner);

		st = pd_note_refusal(st, &inner, w->arena, &none, err);
		if (st != PD_OK)
			return st;
		a->pulls[a->n_pulls++] = (pd_size_pulls){
			m, t.sd, none ? (double)NAN : size.n };
	}
	return PD_OK;
}

/* Information of k equal looks, error spent evenly, over that of one look. */
static pd_status look_factor(size_t k, double alpha, double power,
                             double *factor, pd_error *err)
{
	pd_spending_plan even = { PD_SPEND_POCOCK, 0, alpha, 2 };
	double t[12], low[12], high[12], drift;

	for (size_t j = 0; j < k; j++)
		t[j] = (double)(j + 1) / (double)k;
	pd_status st = pd_sequential_bounds(&even, t, k, 1, 1, high, err);

	for (size_t j = 0; j < k; j++)
		low[j] = -high[j];
	if (st == PD_OK)
		st = pd_sequential_drift(t, low, high, k, power, &drift, err);
	if (st == PD_OK)
		*factor = pow(drift / (pd_normal_quantile(1 - alpha) +
		                       pd_normal_quantile(power)), 2);
	return st;
}

static pd_status size_looks(struct work *w, pd_error *err)
{
	static const size_t looks[PD_SIZE_LOOKS] = { 1, 4, 8, 12 };
	pd_size_answer *a = w->a;
	double n = a->line[a->main_line].n;
	pd_status st = PD_OK;

	if (isnan(n))
		return PD_OK;
	for (size_t k = 0; st == PD_OK && k < PD_SIZE_LOOKS; k++) {
		pd_size_looks *l = &a->looks[a->n_looks++];

		*l = (pd_size_looks){ looks[k], 1, n };
		if (looks[k] > 1)
			st = look_factor(looks[k], one_sided(a), a->power,
			                 &l->factor, err);
		l->n = ceil(n * l->factor);
	}
	return st;
}

/* --- all of it ----------------------------------------------------------------- */

static pd_status head(struct work *w, pd_error *err)
{
	const pd_question *q = w->q;
	pd_size_answer *a = w->a;

	a->name = q->name;
	a->title = q->title;
	a->outcome_words = pd_query_words(q->outcome);
	a->judge_words = isnan(q->floor) ? pd_words_judge(q)
	                                 : pd_words_share(w->arena, q);
	a->scale = q->scale;
	a->aim = w->ask->aim;
	a->margin = q->margin;
	a->level = w->plan->level;
	a->power = w->ask->power;
	a->paired = q->within != NULL;
	a->unit_words = q->within
	    ? pd_arena_print(w->arena, "patients with both levels inside one "
	                     "%s", q->within)
	    : "patients in each of two groups";
	if (!a->judge_words || !a->unit_words)
		return no_memory(err);
	if (pd_rows_of_events(q))
		return pd_size_refuse(w->a, "a share of adverse events is no "
		              "mean with a spread: sizes are worked out for "
		              "results of draws", err);
	if (q->kind != PD_COMPARE_LEVELS || !isnan(q->change))
		return pd_size_refuse(w->a, "a trial compares two levels: sizes are worked "
		              "out for 'compare = PARAMETER A against B'", err);
	a->first = pd_words_arm(w->arena, q->parameter, q->first);
	a->second = pd_words_arm(w->arena, q->parameter, q->second);
	if (!a->first || !a->second)
		return no_memory(err);
	if (a->aim != PD_AIM_DIFFERENCE && isnan(a->margin))
		return pd_size_refuse(w->a, "no margin is declared, so 'not worse' and 'no "
		              "difference that matters' have no meaning", err);
	return PD_OK;
}

static pd_status size_up(struct work *w, pd_store *s, pd_error *err)
{
	pd_status st = pd_size_measure(s, w->plan, w->q, w->ask->pulls,
	                               w->arena, w->scratch, &w->spread, w->a,
	                               err);

	if (st == PD_OK && !w->a->refusal)
		st = size_lines(w, err);
	if (st == PD_OK && !w->a->refusal)
		st = size_pulls(w, err);
	return st == PD_OK && !w->a->refusal ? size_looks(w, err) : st;
}

pd_status pd_size_run(pd_store *s, const pd_plan *plan, const pd_question *q,
                      const pd_size_request *request,
                      const pd_run_options *options, pd_arena *arena,
                      pd_size_answer *out, pd_error *err)
{
	pd_size_request ask = *request;
	struct work w = { .plan = plan, .q = q, .ask = &ask, .arena = arena,
		          .a = out };

	memset(out, 0, sizeof *out);
	if (ask.pulls == 0)
		ask.pulls = 1;
	w.scratch = pd_arena_new();
	if (!w.scratch)
		return no_memory(err);
	pd_status st = pd_run_context(s, plan, options, arena, &out->context,
	                              err);

	if (st == PD_OK)
		st = head(&w, err);
	if (st == PD_OK && !out->refusal)
		st = size_up(&w, s, err);
	pd_arena_free(w.scratch);
	return st;
}
