/* pooled.c - which printed ratios go together, their pool, the clinic's own. */
#include "plan/pooled.h"
#include "base/near.h"
#include "base/version.h"
#include "data/query.h"
#include "plan/notes.h"
#include "plan/words.h"
#include "stats/pool.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct work {
	const pd_pooled_request *ask;
	pd_arena *arena;
	pd_pooled_file file;
	pd_pooled_answer *a;
	const char *outcome, *judge;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory pooling");
}

static const char *or(const char *asked, const char *otherwise)
{
	return asked ? asked : otherwise;
}

/* A word no row of the file has, in one of two of its columns. */
static pd_status in_file(const struct work *w, const char *given,
                         const char *option, const char *const *a,
                         const char *const *b, pd_error *err)
{
	pd_near near = { .given = given };

	for (size_t k = 0; given && k < w->file.n; k++) {
		if (strcmp(a[k], given) == 0 || strcmp(b[k], given) == 0)
			return PD_OK;
		pd_near_try(&near, a[k]);
		pd_near_try(&near, b[k]);
	}
	return given ? pd_fail(err, PD_USAGE, "option '--%s': no row of '%s' has "
	                       "'%s'%s", option, w->file.name, given,
	                       pd_near_words(&near))
	             : PD_OK;
}

static pd_status asked_is_there(const struct work *w, pd_error *err)
{
	const pd_pooled_file *f = &w->file;
	const pd_pooled_request *r = w->ask;
	pd_status st = in_file(w, r->outcome, "outcome", f->outcome, f->outcome,
	                       err);

	if (st == PD_OK)
		st = in_file(w, r->judge, "judge", f->judge, f->judge, err);
	if (st == PD_OK)
		st = in_file(w, r->first, "first", f->first, f->second, err);
	return st == PD_OK ? in_file(w, r->second, "second", f->first,
	                             f->second, err)
	                   : st;
}

/* What is pooled: as asked for, else what the first row compares. */
static void choose(struct work *w)
{
	const pd_pooled_file *f = &w->file;
	size_t k = 0;

	while (k + 1 < f->n &&
	       ((w->ask->outcome && strcmp(f->outcome[k], w->ask->outcome)) ||
	        (w->ask->first && strcmp(f->first[k], w->ask->first))))
		k++;
	w->outcome = or(w->ask->outcome, f->outcome[k]);
	w->judge = or(w->ask->judge, f->judge[k]);
	w->a->first = or(w->ask->first, f->first[k]);
	w->a->second = or(w->ask->second, f->second[k]);
	w->a->outcome_words = pd_query_words(w->outcome);
	w->a->judge_words = w->judge;
}

/* Why row k is another comparison, NULL when it is this one; turns it. */
static const char *unlike(struct work *w, size_t k)
{
	const pd_pooled_file *f = &w->file;
	pd_pooled_row *r = &f->row[k];
	double low = r->low;

	if (strcmp(f->outcome[k], w->outcome) != 0)
		return "another outcome";
	if (strcmp(f->judge[k], w->judge) != 0)
		return "judged another way";
	if (strcmp(f->first[k], w->a->first) == 0 &&
	    strcmp(f->second[k], w->a->second) == 0)
		return NULL;
	if (strcmp(f->first[k], w->a->second) != 0 ||
	    strcmp(f->second[k], w->a->first) != 0)
		return "other arms";
	r->turned = true;
	r->value = 1 / r->value;
	r->low = 1 / r->high;
	r->high = 1 / low;
	return NULL;
}

static pd_status take_rows(struct work *w, pd_error *err)
{
	pd_pooled_answer *a = w->a;

	a->row = PD_NEW(w->arena, pd_pooled_row, w->file.n + 1);
	if (!a->row)
		return no_memory(err);
	for (size_t k = 0; k < w->file.n; k++) {
		pd_pooled_row *r = &a->row[a->n_rows++];
		const char *why = unlike(w, k);

		*r = w->file.row[k];
		if (isnan(r->low))
			why = why ? why : "no interval was printed";
		else
			r->se = log(r->high / r->low) /
			        (2 * pd_normal_quantile((1 + r->level) / 2));
		r->left_out = why;
		a->n_pooled += !why;
	}
	return PD_OK;
}

/* --- the clinic's own --------------------------------------------------------- */

static pd_status take_house(struct work *w, pd_error *err)
{
	const pd_pooled_request *ask = w->ask;
	pd_pooled_answer *a = w->a;
	pd_review *r = PD_NEW(w->arena, pd_review, 1);

	if (!r)
		return no_memory(err);
	pd_status st = pd_run_question(ask->store, ask->plan, ask->question,
	                               ask->options, w->arena, r, err);

	if (st != PD_OK)
		return st;
	a->context = *r;
	a->context.n_answers = 0;
	a->house_name = ask->question->name;
	const pd_answer *own = &r->answer[0];

	if (strcmp(ask->question->outcome, w->outcome) != 0 ||
	    strcmp(ask->question->judge, w->judge) != 0)
		a->house_refusal = pd_arena_print(
		    w->arena, "the question judges %s by %s, the printed ratios "
		    "%s by %s", ask->question->outcome, ask->question->judge,
		    w->outcome, w->judge);
	else if (own->refusal)
		a->house_refusal = own->refusal;
	else if (own->n_effects != 1 || own->scale != PD_RATIO ||
	         !own->effect[0].second)
		a->house_refusal = "the question is no ratio of two arms";
	if (a->house_refusal)
		return PD_OK;
	a->has_house = true;
	a->house = own->effect[0].log;
	a->house_words = pd_arena_print(w->arena, "%s against %s",
	                                own->effect[0].first,
	                                own->effect[0].second);
	return a->house_words ? PD_OK : no_memory(err);
}

/* --- the pool ------------------------------------------------------------------- */

static pd_status pool(struct work *w, const double *y, const double *v,
                      size_t n, pd_error *err)
{
	pd_pooled_answer *a = w->a;
	pd_pool p, common;
	pd_status st = pd_pool_fit(y, v, n, PD_POOL_REML, a->level, &p, err);
	double low, high;

	if (st == PD_OK)
		st = pd_pool_fit(y, v, n, PD_POOL_COMMON, a->level, &common,
		                 err);
	if (st == PD_OK)
		st = pd_pool_spread_limits(y, v, n, a->level, &low, &high, err);
	if (st != PD_OK)
		return st;
	a->pooled = isnan(p.knapp.low) ? p.normal : p.knapp;
	a->predict_low = isnan(p.knapp.low) ? p.predict_low
	                                    : p.knapp_predict_low;
	a->predict_high = isnan(p.knapp.low) ? p.predict_high
	                                     : p.knapp_predict_high;
	a->tau = sqrt(p.spread.tau2);
	a->tau_low = sqrt(low);
	a->tau_high = sqrt(high);
	a->i2 = p.spread.i2;
	a->q_p = p.spread.q_p;
	a->common = common.normal.value;
	a->common_low = common.normal.low;
	a->common_high = common.normal.high;
	double sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += 1 / (v[i] + p.spread.tau2);
	for (size_t i = 0, k = 0; k < a->n_rows; k++)
		if (!a->row[k].left_out)
			a->row[k].weight = 1 / (v[i++] + p.spread.tau2) / sum;
	return PD_OK;
}

static pd_status pool_rows(struct work *w, pd_error *err)
{
	pd_pooled_answer *a = w->a;
	double *y = PD_NEW(w->arena, double, 2 * (a->n_rows + 1)), *v;
	size_t n = 0;
	pd_error inner = { 0 };

	if (!y)
		return no_memory(err);
	v = y + a->n_rows + 1;
	for (size_t k = 0; k < a->n_rows; k++)
		if (!a->row[k].left_out) {
			y[n] = log(a->row[k].value);
			v[n++] = a->row[k].se * a->row[k].se;
		}
	if (w->ask->with_house && a->has_house) {
		a->house_pooled = true;
		y[n] = a->house.value;
		v[n++] = a->house.se * a->house.se;
	}
	if (n < 2) {
		a->refusal = pd_arena_print(
		    w->arena, "%zu ratio%s with an interval compare%s %s with "
		    "%s: a pool needs two", n, n == 1 ? "" : "s",
		    n == 1 ? "s" : "", a->first, a->second);
		return a->refusal ? PD_OK : no_memory(err);
	}
	pd_status st = pool(w, y, v, n, &inner);

	return pd_note_refusal(st, &inner, w->arena, &a->refusal, err);
}

pd_status pd_pooled_run(const pd_pooled_request *request, pd_arena *arena,
                        pd_pooled_answer *out, pd_error *err)
{
	struct work w = { .ask = request, .arena = arena, .a = out };
	pd_status st = pd_pooled_read(arena, request->path, &w.file, err);

	memset(out, 0, sizeof *out);
	if (st != PD_OK)
		return st;
	out->context.version = PD_VERSION;
	out->file = w.file.name;
	out->file_sha256 = w.file.sha256;
	out->level = request->level;
	out->tau = out->predict_low = out->predict_high = NAN;
	st = asked_is_there(&w, err);
	if (st != PD_OK)
		return st;
	choose(&w);
	st = take_rows(&w, err);
	if (st == PD_OK && request->store)
		st = take_house(&w, err);
	return st == PD_OK ? pool_rows(&w, err) : st;
}
