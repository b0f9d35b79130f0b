/* depletion.c - see depletion.h. */
#include "plan/depletion.h"
#include "data/query.h"
#include "plan/completed.h"
#include "plan/words.h"
#include "stats/paired.h"

#include <math.h>
#include <string.h>

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory in the depletion");
}

static bool one_of(const char *name, const char *const *list)
{
	for (; *list; list++)
		if (strcmp(*list, name) == 0)
			return true;
	return false;
}

bool pd_depletion_asked(const pd_question *q)
{
	static const char *const by[] = { "aliquot_no", "site_in_side",
		                          "site_no", "ml_before_side", NULL };

	return one_of(q->parameter, by);
}

/* --- cells -------------------------------------------------------------- */

struct cells {
	const pd_rows *r;
	const double *y, *hole, *pull;
	size_t side;             /* level of the side in the tree; DEPTH: none */
	pd_arena *arena, *scratch;
	pd_depletion *to;
	/* sums and counts, a side's or a patient's */
	double *sum, *ref, *mean;
	size_t *n, *n_ref;
	int32_t *patient;        /* of each side                               */
};

static double shown(const pd_depletion *d, double y)
{
	return d->scale == PD_RATIO ? exp(y) : y;
}

static bool is_at(const struct cells *c, size_t i, size_t hole, size_t pull)
{
	return c->hole[i] == (double)(hole + 1) &&
	       c->pull[i] == (double)(pull + 1);
}

/* Mean of x[n] with its interval, as shown; alone where n is 1. */
static void summarise(const pd_depletion *d, const double *x, size_t n,
                      double *value, double *low, double *high)
{
	pd_estimate e;
	double total = 0;

	*value = *low = *high = NAN;
	if (n == 0)
		return;
	for (size_t i = 0; i < n; i++)
		total += x[i] / (double)n;
	*value = shown(d, total);
	if (pd_paired_mean(x, n, d->level, &e, NULL) == PD_OK) {
		*low = shown(d, e.low);
		*high = shown(d, e.high);
	}
}

static pd_status keep_points(struct cells *c, size_t n, pd_depletion_cell *k,
                             pd_error *err)
{
	double *point;

	if (n == 0 || n >= PD_DEPLETION_POINTS)
		return PD_OK;
	point = PD_NEW(c->arena, double, n);
	if (!point)
		return no_memory(err);
	for (size_t i = 0; i < n; i++)
		point[i] = shown(c->to, c->mean[i]);
	k->point = point;
	return PD_OK;
}

static pd_status centre_of(struct cells *c, size_t hole, size_t pull,
                           pd_error *err)
{
	pd_depletion_cell *k = &c->to->cell[hole][pull];
	size_t np = c->r->n_groups[0], n = 0;

	memset(c->sum, 0, np * sizeof *c->sum);
	memset(c->n, 0, np * sizeof *c->n);
	for (size_t i = 0; i < c->r->n; i++) {
		if (!is_at(c, i, hole, pull))
			continue;
		c->sum[c->r->group[0][i]] += c->y[i];
		c->n[c->r->group[0][i]]++;
		k->n_results++;
	}
	for (size_t p = 0; p < np; p++)
		if (c->n[p])
			c->mean[n++] = c->sum[p] / (double)c->n[p];
	k->n_patients = n;
	summarise(c->to, c->mean, n, &k->centre, &k->low, &k->high);
	return keep_points(c, n, k, err);
}

/* Sums at the first pull of the first hole of every side. */
static void take_reference(struct cells *c)
{
	for (size_t i = 0; i < c->r->n; i++) {
		int32_t s = c->r->group[c->side][i];

		c->patient[s] = c->r->group[0][i];
		if (!is_at(c, i, 0, 0))
			continue;
		c->ref[s] += c->y[i];
		c->n_ref[s]++;
	}
}

/* Side by side against the reference, then patient by patient. A patient's
 * sides follow each other, for rows come in the order of the tree. */
static void ratio_of(struct cells *c, size_t hole, size_t pull)
{
	pd_depletion_cell *k = &c->to->cell[hole][pull];
	size_t ns = c->r->n_groups[c->side], n = 0;
	size_t sides = 0;
	double sum = 0;

	memset(c->sum, 0, ns * sizeof *c->sum);
	memset(c->n, 0, ns * sizeof *c->n);
	for (size_t i = 0; i < c->r->n; i++) {
		if (!is_at(c, i, hole, pull))
			continue;
		c->sum[c->r->group[c->side][i]] += c->y[i];
		c->n[c->r->group[c->side][i]]++;
	}
	for (size_t s = 0; s < ns; s++) {
		if (c->n[s] && c->n_ref[s]) {
			sum += c->sum[s] / (double)c->n[s] -
			       c->ref[s] / (double)c->n_ref[s];
			sides++;
		}
		if (s + 1 < ns && c->patient[s + 1] == c->patient[s])
			continue;
		if (sides)
			c->mean[n++] = sum / (double)sides;
		sum = 0;
		sides = 0;
	}
	k->n_both = n;
	summarise(c->to, c->mean, n, &k->ratio, &k->ratio_low, &k->ratio_high);
}

static pd_status prepare(struct cells *c, pd_error *err)
{
	size_t room = c->r->n + 1; /* no more sides or patients than rows */

	c->side = pd_rows_level(c->r, "side");
	c->sum = PD_NEW(c->scratch, double, room);
	c->ref = PD_NEW(c->scratch, double, room);
	c->mean = PD_NEW(c->scratch, double, room);
	c->n = PD_NEW(c->scratch, size_t, room);
	c->n_ref = PD_NEW(c->scratch, size_t, room);
	c->patient = PD_NEW(c->scratch, int32_t, room);
	return c->sum && c->ref && c->mean && c->n && c->n_ref && c->patient
	           ? PD_OK
	           : no_memory(err);
}

/* How far the table goes, and what lies past it. */
static void set_reach(const struct cells *c)
{
	for (size_t i = 0; i < c->r->n; i++) {
		if (c->hole[i] > PD_DEPLETION_HOLES ||
		    c->pull[i] > PD_DEPLETION_PULLS) {
			c->to->n_further++;
			continue;
		}
		if (c->hole[i] > (double)c->to->n_holes)
			c->to->n_holes = (size_t)c->hole[i];
		if (c->pull[i] > (double)c->to->n_pulls)
			c->to->n_pulls = (size_t)c->pull[i];
	}
}

pd_status pd_depletion_cells(const pd_rows *rows, const double *y,
                             const double *hole, const double *pull,
                             pd_arena *arena, pd_arena *scratch,
                             pd_depletion *out, pd_error *err)
{
	struct cells c = { .r = rows, .y = y, .hole = hole, .pull = pull,
		           .arena = arena, .scratch = scratch, .to = out };
	pd_status st = prepare(&c, err);

	if (st != PD_OK)
		return st;
	set_reach(&c);
	if (c.side < PD_ROWS_DEPTH)
		take_reference(&c);
	for (size_t h = 0; st == PD_OK && h < PD_DEPLETION_HOLES; h++)
		for (size_t k = 0; st == PD_OK && k < PD_DEPLETION_PULLS; k++) {
			pd_depletion_cell *cell = &out->cell[h][k];

			cell->ratio = cell->ratio_low = cell->ratio_high = NAN;
			st = centre_of(&c, h, k, err);
			if (c.side < PD_ROWS_DEPTH && h + k > 0)
				ratio_of(&c, h, k);
		}
	return st;
}

/* --- the question behind it --------------------------------------------- */

/* "landmark is posterior iliac crest; mL per pull from 2 to 20" */
static const char *condition_words(pd_arena *arena, const char *before,
                                   const pd_condition *w)
{
	const char *name = pd_words_parameter(w->column);
	const char *text = pd_arena_print(arena, "%s%s%s", before ? before : "",
	                                  before ? "; " : "", name);

	if (text && w->n_values == 0)
		return isfinite(w->low) && isfinite(w->high)
		           ? pd_arena_print(arena, "%s from %g to %g", text,
		                            w->low, w->high)
		       : isfinite(w->low)
		           ? pd_arena_print(arena, "%s from %g", text, w->low)
		           : pd_arena_print(arena, "%s to %g", text, w->high);
	for (size_t k = 0; text && k < w->n_values; k++)
		text = pd_arena_print(arena, "%s %s %s", text,
		                      k ? "or" : "is", w->value[k]);
	return text;
}

/* The source's conditions without those on pull, hole and move, and the
 * needle where it was. */
static pd_status set_where(const pd_question *from, pd_arena *arena,
                           pd_question *q, pd_depletion *d, pd_error *err)
{
	static const char *const off[] = { "aliquot_no", "site_in_side",
		                           "site_no", "ml_before_side",
		                           "n_aliquots", "move", "needle_moved",
		                           NULL };
	static const char *still[] = { "0" };
	pd_condition *w = PD_NEW(arena, pd_condition, from->n_where + 1);

	if (!w)
		return no_memory(err);
	for (size_t k = 0; k < from->n_where; k++) {
		if (one_of(from->where[k].column, off))
			continue;
		w[q->n_where++] = from->where[k];
		d->where_text = condition_words(arena, d->where_text,
		                                &from->where[k]);
		if (!d->where_text)
			return no_memory(err);
	}
	w[q->n_where++] = (pd_condition){ "needle_moved", 1, still, -INFINITY,
		                          INFINITY };
	q->where = w;
	q->where_text = d->where_text ? d->where_text : "";
	return PD_OK;
}

/* A slope along both orders: what completes results between limits. */
static pd_status take(pd_store *store, const pd_plan *plan,
                      const pd_question *from, pd_arena *arena,
                      pd_arena *scratch, pd_rows *rows, pd_depletion *d,
                      pd_error *err)
{
	static const char *beside[] = { "site_in_side" };
	static bool plain[] = { false };
	pd_question q = { .name = "depletion", .title = "",
		          .outcome = from->outcome, .grain = PD_BY_ALIQUOT,
		          .scale = from->scale, .kind = PD_COMPARE_SLOPE,
		          .parameter = "aliquot_no", .n_adjust = 1,
		          .adjust = beside, .adjust_log = plain, .margin = NAN,
		          .step = NAN, .change = NAN, .floor = NAN,
		          .differs_step = NAN, .role = PD_EXPLORATORY };
	bool told;

	q.judge = pd_query_unit(q.outcome, "concentration") ? "concentration"
	                                                    : "percent";
	q.scale = strcmp(q.judge, "percent") == 0 ? PD_DIFFERENCE : PD_RATIO;
	pd_status st = set_where(from, arena, &q, d, err);

	if (st == PD_OK)
		st = pd_rows_take(store, &q, arena, scratch, rows, err);
	if (st != PD_OK || rows->n == 0)
		return st;
	double *y = PD_NEW(scratch, double, rows->n);
	const pd_column *hole = pd_frame_find(rows->model, "site_in_side");

	if (!y || !hole)
		return no_memory(err);
	d->outcome_words = pd_query_words(q.outcome);
	d->judge_words = pd_words_judge(&q);
	d->unit = pd_query_unit(q.outcome, q.judge);
	d->scale = q.scale;
	d->level = plan->level;
	d->least = plan->min_patients;
	d->n_censored = rows->n_censored;
	st = pd_completed(plan, &q, rows, true, scratch, y, &told, err);
	return st == PD_OK && told
	           ? pd_depletion_cells(rows, y, hole->real, rows->raw, arena,
	                                scratch, d, err)
	           : st;
}

static pd_status make(pd_store *store, const pd_plan *plan,
                      const pd_question *from, pd_arena *arena,
                      pd_depletion *d, pd_error *err)
{
	pd_arena *scratch = pd_arena_new();
	pd_rows rows = { .n = 0 };

	if (!scratch)
		return no_memory(err);
	pd_error inner = { 0 };
	pd_status st = take(store, plan, from, arena, scratch, &rows, d,
	                    &inner);

	if (st == PD_REFUSED || st == PD_NUMERIC)
		st = PD_OK; /* no model to complete them: no cells */
	else if (st != PD_OK && err)
		*err = inner;
	pd_rows_clear(&rows);
	pd_arena_free(scratch);
	return st;
}

static bool seen_before(const pd_question *q, size_t i)
{
	for (size_t k = 0; k < i; k++)
		if (pd_depletion_asked(&q[k]) &&
		    strcmp(q[k].outcome, q[i].outcome) == 0)
			return true;
	return false;
}

/* Is the outcome judged by pull at all? */
static bool judged(const char *outcome)
{
	return pd_query_unit(outcome, "concentration") ||
	       pd_query_unit(outcome, "percent");
}

pd_status pd_depletion_find(pd_store *store, const pd_plan *plan,
                            const pd_question *q, size_t n, pd_arena *arena,
                            pd_review *out, pd_error *err)
{
	pd_depletion *list = PD_NEW(arena, pd_depletion, PD_DEPLETIONS);
	pd_status st = list ? PD_OK : no_memory(err);

	out->depletion = list;
	for (size_t i = 0; st == PD_OK && i < n &&
	                   out->n_depletions < PD_DEPLETIONS; i++) {
		pd_depletion d = { .where_text = NULL };

		if (!pd_depletion_asked(&q[i]) || seen_before(q, i) ||
		    !judged(q[i].outcome))
			continue;
		st = make(store, plan, &q[i], arena, &d, err);
		if (st == PD_OK && d.n_pulls)
			list[out->n_depletions++] = d;
	}
	return st;
}
