/* rows_lay.c - the kept rows as arrays: tree, outcome, counts, arms, columns. */
#include "plan/rows_own.h"
#include "plan/notes.h"
#include "plan/words.h"

#include <math.h>
#include <string.h>

static int32_t *gather_codes(struct choice *c, const char *name)
{
	const pd_column *col = pd_frame_find(c->frame, name);
	int32_t *out = PD_NEW(c->scratch, int32_t, c->out->n);
	size_t to = 0;

	if (!col || !out)
		return NULL;
	for (size_t i = 0; i < c->n; i++)
		if (c->keep[i])
			out[to++] = col->code[i];
	return out;
}

/* One code a pull. */
static int32_t *gather_pulls(struct choice *c)
{
	int32_t *out = PD_NEW(c->scratch, int32_t, c->out->n);

	return out && pd_rows_pulls(c->frame, c->keep, out) ? out : NULL;
}

static pd_status lay_tree(struct choice *c, pd_error *err)
{
	static const char *const tree[] = { "patient", "case", "side", "site",
		                            "pull" };
	/* rows are sites at site grain and cases at case grain: those levels
	 * are the rows themselves */
	static const size_t depth_of[] = { 5, 3, 1 };
	pd_rows *r = c->out;

	r->depth = depth_of[c->q->grain];
	for (size_t k = 0; k < r->depth; k++) {
		int32_t *code = k == 4 ? gather_pulls(c)
		                       : gather_codes(c, tree[k]);

		if (!code)
			return no_memory(err);
		r->level_name[k] = tree[k];
		r->group[k] = code;
		r->n_groups[k] = pd_rows_dense(code, r->n, code);
		if (r->n_groups[k] == (size_t)-1)
			return no_memory(err);
	}
	r->case_code = gather_codes(c, "case");
	if (!r->case_code ||
	    pd_rows_dense(r->case_code, r->n, r->case_code) == (size_t)-1)
		return no_memory(err);
	return PD_OK;
}

static uint8_t row_state(const char *word)
{
	static const char *const words[] = { "measured", "zero",
		                             "below detection", "above range",
		                             "too many to count" };

	for (uint8_t k = 0; k < 5; k++)
		if (strcmp(word, words[k]) == 0)
			return k;
	return PD_ROW_MEASURED;
}

/* A measured 0 without a limit: below the smallest positive value seen. */
static void floor_zeros(struct choice *c, double smallest)
{
	pd_rows *r = c->out;
	size_t n_zero = 0;

	for (size_t i = 0; i < r->n; i++)
		if (r->high[i] <= 0) {
			r->high[i] = smallest;
			r->low[i] = 0;
			r->state[i] = PD_ROW_ZERO;
			n_zero++;
		}
	if (n_zero)
		r->zero_note = pd_arena_print(
		    c->arena, "Zeros: %zu results of 0 came without a detection "
		    "limit and are taken as below the smallest positive "
		    "result.", n_zero);
}

static pd_status lay_outcome(struct choice *c, pd_error *err)
{
	pd_rows *r = c->out;
	double smallest = INFINITY;
	size_t to = 0;

	r->low = PD_NEW(c->scratch, double, r->n);
	r->high = PD_NEW(c->scratch, double, r->n);
	r->state = PD_NEW(c->scratch, uint8_t, r->n);
	if (!r->low || !r->high || !r->state)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++) {
		if (!c->keep[i])
			continue;
		r->low[to] = c->low->real[i];
		r->high[to] = c->high->real[i];
		r->state[to] = row_state(c->state->level[c->state->code[i]]);
		if (r->low[to] > 0 && r->low[to] < smallest)
			smallest = r->low[to];
		to++;
	}
	if (!isnan(c->q->floor))
		for (size_t i = 0; i < r->n; i++)
			r->low[i] = r->high[i] =
			    r->low[i] >= c->q->floor ? 100 : 0;
	if (c->q->scale == PD_RATIO) {
		if (isfinite(smallest))
			floor_zeros(c, smallest);
		for (size_t i = 0; i < r->n; i++) {
			r->low[i] = log(r->low[i]);
			r->high[i] = log(r->high[i]);
		}
	}
	for (size_t i = 0; i < r->n; i++)
		r->n_censored += r->low[i] < r->high[i];
	return PD_OK;
}

/* The counts, where the outcome has them and is judged by a ratio. */
static pd_status lay_counts(struct choice *c, pd_error *err)
{
	const pd_column *counted = pd_frame_find(c->frame, "counted");
	const pd_column *worth = pd_frame_find(c->frame, "worth");
	pd_rows *r = c->out;
	size_t to = 0;

	if (!counted || !worth || c->q->scale != PD_RATIO)
		return PD_OK;
	r->counted = PD_NEW(c->scratch, double, r->n + 1);
	r->log_worth = PD_NEW(c->scratch, double, r->n + 1);
	if (!r->counted || !r->log_worth)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++)
		if (c->keep[i]) {
			r->counted[to] = counted->real[i];
			r->log_worth[to++] = log(worth->real[i]);
		}
	return PD_OK;
}

static pd_status lay_slope(struct choice *c, pd_error *err)
{
	pd_rows *r = c->out;
	size_t to = 0;

	r->x = PD_NEW(c->scratch, double, r->n);
	r->raw = PD_NEW(c->scratch, double, r->n);
	if (!r->x || !r->raw)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++) {
		if (!c->keep[i])
			continue;
		r->raw[to] = c->param->real[i];
		r->x[to] = c->q->kind == PD_COMPARE_CURVE ? r->raw[to]
		           : isnan(c->q->step) ? log2(r->raw[to])
		                               : r->raw[to] / c->q->step;
		to++;
	}
	return PD_OK;
}

/* Arms dense over the levels that occur, named, in the order of the level
 * words for EACH, first then second for LEVELS. */
static pd_status lay_arms(struct choice *c, pd_error *err)
{
	pd_rows *r = c->out;
	size_t room = c->q->kind == PD_COMPARE_EACH ? c->param->n_levels : 2;
	size_t *seen = PD_NEW(c->scratch, size_t, room + 1);
	int32_t *to_arm = PD_NEW(c->scratch, int32_t, room + 1);
	size_t *failed = PD_NEW(c->scratch, size_t, room + 1);
	size_t to = 0;

	r->arm = PD_NEW(c->scratch, int32_t, r->n);
	r->arm_name = PD_NEW(c->scratch, const char *, room + 1);
	if (!seen || !to_arm || !failed || !r->arm || !r->arm_name)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++)
		if (c->keep[i])
			seen[r->arm[to++] = pd_choice_arm(c, i)]++;
	for (size_t k = 0; k < room; k++) {
		if (c->q->kind == PD_COMPARE_EACH && !seen[k])
			continue;
		to_arm[k] = (int32_t)r->n_arms;
		failed[r->n_arms] = r->arm_failed[k];
		r->arm_name[r->n_arms] = pd_words_arm(
		    c->arena, c->q->parameter,
		    c->q->kind == PD_COMPARE_EACH ? c->param->level[k]
		    : k == 0                      ? c->q->first
		                                  : c->q->second);
		if (!r->arm_name[r->n_arms++])
			return no_memory(err);
	}
	r->arm_failed = failed;
	for (size_t i = 0; i < r->n; i++)
		r->arm[i] = to_arm[r->arm[i]];
	return PD_OK;
}

const char *pd_rows_adjuster(pd_arena *arena, const pd_question *q, size_t i)
{
	return q->adjust_log[i] ? pd_arena_print(arena, "log %s", q->adjust[i])
	                        : q->adjust[i];
}

/* Copy one column's kept rows into the model frame. */
static pd_status copy_column(struct choice *c, const char *from,
                             const char *name, bool use_log, pd_error *err)
{
	const pd_column *s = pd_frame_find(c->frame, from);
	pd_frame *m = c->out->model;
	size_t to = 0;

	if (!s || pd_frame_find(m, name))
		return PD_OK;
	pd_column *d = s->kind == PD_REAL ? pd_frame_add_real(m, name)
	                                  : pd_frame_add_factor(m, name);

	if (!d)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++) {
		if (!c->keep[i])
			continue;
		if (s->kind == PD_REAL)
			d->real[to] = use_log ? log(s->real[i]) : s->real[i];
		else if ((d->code[to] = pd_frame_level(
		              m, d, s->code[i] < 0 ? "not recorded"
		                                   : s->level[s->code[i]])) < 0)
			return no_memory(err);
		to++;
	}
	if (s->kind == PD_FACTOR &&
	    pd_column_sort_levels(d, c->out->n) != PD_OK)
		return no_memory(err);
	return PD_OK;
}

static pd_status lay_model(struct choice *c, pd_error *err)
{
	static const char *const names[] = { "patient", "case", "site",
		                             "aliquot_no", NULL };
	const pd_question *q = c->q;
	pd_status st = PD_OK;

	c->out->model = pd_frame_new(c->out->n);
	if (!c->out->model)
		return no_memory(err);
	for (size_t i = 0; st == PD_OK && i < q->n_adjust; i++) {
		const char *name = pd_rows_adjuster(c->arena, q, i);

		st = name ? copy_column(c, q->adjust[i], name,
		                        q->adjust_log[i], err)
		          : no_memory(err);
	}
	if (st == PD_OK && q->differs_by)
		st = copy_column(c, q->differs_by, q->differs_by, false, err);
	if (st == PD_OK)
		st = copy_column(c, "in_part", "in_part", false, err);
	if (st == PD_OK && pd_rows_of_events(q))
		st = copy_column(c, "site_no", "site_no", false, err);
	for (const char *const *k = pd_choice_always; st == PD_OK && *k; k++)
		st = copy_column(c, *k, *k, false, err);
	for (const char *const *k = names; st == PD_OK && c->named && *k; k++)
		st = copy_column(c, *k, *k, false, err);
	return st;
}

pd_status pd_choice_lay_out(struct choice *c, pd_error *err)
{
	pd_status st;

	for (size_t i = 0; i < c->n; i++)
		c->out->n += c->keep[i];
	st = lay_tree(c, err);
	if (st == PD_OK)
		st = lay_outcome(c, err);
	if (st == PD_OK)
		st = lay_counts(c, err);
	if (st == PD_OK)
		st = c->q->kind == PD_COMPARE_SLOPE ||
		             c->q->kind == PD_COMPARE_CURVE
		         ? lay_slope(c, err)
		         : lay_arms(c, err);
	if (st == PD_OK)
		st = pd_note_dilution(c->q, c->frame, c->keep, c->arena, c->out,
		                      err);
	return st == PD_OK ? lay_model(c, err) : st;
}

