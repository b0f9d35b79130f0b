/*
 * rows.c - chooses a question's rows and lays them out for the methods.
 */
#include "plan/rows.h"
#include "data/query.h"
#include "plan/notes.h"
#include "plan/question.h"
#include "plan/words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_COLUMNS = 64 };

/* The choosing in progress: the whole frame and which rows are still in. */
struct choice {
	const pd_question *q;
	pd_arena *arena, *scratch;
	pd_frame *frame;
	size_t n;
	unsigned char *keep;
	const pd_column *param, *low, *high, *state;
	pd_rows *out;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory choosing rows");
}

/* --- counting a step at every level --------------------------------------- */

/* Distinct codes among kept rows into *count; 0 for a column that is not
 * there. */
static pd_status distinct(const struct choice *c, const char *name,
                          size_t *count, pd_error *err)
{
	const pd_column *col = pd_frame_find(c->frame, name);
	unsigned char *seen = col ? calloc(col->n_levels + 1, 1) : NULL;

	*count = 0;
	if (!col)
		return PD_OK;
	if (!seen)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++) {
		if (!c->keep[i] || col->code[i] < 0 || seen[col->code[i]])
			continue;
		seen[col->code[i]] = 1;
		++*count;
	}
	free(seen);
	return PD_OK;
}

static pd_status add_step(struct choice *c, const char *words, pd_error *err)
{
	pd_flow *f = &c->out->flow[c->out->n_flow++];
	pd_status st;

	f->step = words;
	if (!words)
		return no_memory(err);
	for (size_t i = 0; i < c->n; i++)
		f->n_rows += c->keep[i];
	st = distinct(c, "site", &f->n_sites, err);
	if (st == PD_OK)
		st = distinct(c, "case", &f->n_cases, err);
	return st == PD_OK ? distinct(c, "patient", &f->n_patients, err) : st;
}

/* --- the frame -------------------------------------------------------------- */

static void want(const char **names, size_t *n, const char *name)
{
	for (size_t i = 0; i < *n; i++)
		if (strcmp(names[i], name) == 0)
			return;
	if (*n < MOST_COLUMNS)
		names[(*n)++] = name;
}

/* Beside what the question names: what the sensitivity set and the method
 * version rule need, where the grain has it. */
static const char *const always[] = { "operator", "method_version",
	                              "case_date", "repeat_case", "volume_ml" };

static pd_status query(pd_store *store, struct choice *c, pd_error *err)
{
	const pd_question *q = c->q;
	const char *names[MOST_COLUMNS];
	size_t n = 0;
	pd_kind kind;
	pd_query_flow flow = { 0 };

	want(names, &n, q->parameter);
	for (size_t i = 0; i < q->n_adjust; i++)
		want(names, &n, q->adjust[i]);
	for (size_t i = 0; i < q->n_where; i++)
		want(names, &n, q->where[i].column);
	for (size_t i = 0; i < sizeof always / sizeof *always; i++)
		if (pd_query_has(always[i], q->grain, &kind))
			want(names, &n, always[i]);
	if (q->grain == PD_BY_ALIQUOT)
		want(names, &n, "aliquot_no");
	if (n == MOST_COLUMNS)
		return pd_fail(err, PD_PLAN, "question '%s' names more than "
		               "%d columns", q->name, MOST_COLUMNS);
	pd_query_request request = { q->outcome, q->judge, q->grain, NULL,
		                     names, n };
	pd_status st = pd_query_frame(store, &request, &c->frame, &flow, err);

	if (st != PD_OK)
		return st;
	c->n = pd_frame_rows(c->frame);
	pd_column *param = pd_frame_find(c->frame, q->parameter);

	if (param && param->kind == PD_FACTOR &&
	    pd_column_sort_levels(param, c->n) != PD_OK)
		return no_memory(err);
	c->param = param;
	c->low = pd_frame_find(c->frame, "low");
	c->high = pd_frame_find(c->frame, "high");
	c->state = pd_frame_find(c->frame, "state");
	c->keep = PD_NEW(c->scratch, unsigned char, c->n);
	if (!c->keep)
		return no_memory(err);
	if (!c->param || !c->low || !c->high || !c->state)
		return pd_fail(err, PD_INTERNAL, "frame lacks a column");
	memset(c->keep, 1, c->n);
	pd_flow *f = &c->out->flow[c->out->n_flow++];

	*f = (pd_flow){ "recorded", flow.recorded_rows, flow.recorded_sites,
		        flow.recorded_cases, flow.recorded_patients };
	return pd_note_left_out(q, &flow, c->arena, c->out, err);
}

/* --- steps ------------------------------------------------------------------ */

static void keep_results(struct choice *c)
{
	for (size_t i = 0; i < c->n; i++)
		if (isnan(c->low->real[i]) || isnan(c->high->real[i]))
			c->keep[i] = 0;
}

int pd_rows_equal(double x, const char *word)
{
	double number;

	return pd_plan_number(word, &number) &&
	       fabs(x - number) <= 1e-9 * fabs(number);
}

static int meets(const pd_condition *w, const pd_column *col, size_t i)
{
	if (col->kind == PD_FACTOR) {
		if (col->code[i] < 0)
			return 0;
		for (size_t k = 0; k < w->n_values; k++)
			if (strcmp(col->level[col->code[i]], w->value[k]) == 0)
				return 1;
		return 0;
	}
	if (isnan(col->real[i]))
		return 0;
	for (size_t k = 0; k < w->n_values; k++)
		if (pd_rows_equal(col->real[i], w->value[k]))
			return 1;
	return w->n_values == 0 && col->real[i] >= w->low &&
	       col->real[i] <= w->high;
}

static void keep_conditions(struct choice *c)
{
	for (size_t k = 0; k < c->q->n_where; k++) {
		const pd_condition *w = &c->q->where[k];
		const pd_column *col = pd_frame_find(c->frame, w->column);

		for (size_t i = 0; i < c->n; i++)
			if (c->keep[i] && !(col && meets(w, col, i)))
				c->keep[i] = 0;
	}
}

/* Arm of row i of the whole frame, -1 when at no compared level. */
static int32_t arm_of(const struct choice *c, size_t i)
{
	const pd_question *q = c->q;
	const char *const word[2] = { q->first, q->second };

	if (c->param->kind == PD_FACTOR) {
		int32_t code = c->param->code[i];

		if (q->kind == PD_COMPARE_EACH || code < 0)
			return code;
		for (int32_t k = 0; k < 2; k++)
			if (strcmp(c->param->level[code], word[k]) == 0)
				return k;
		return -1;
	}
	for (int32_t k = 0; k < 2; k++)
		if (pd_rows_equal(c->param->real[i], word[k]))
			return k;
	return -1;
}

static void keep_parameter(struct choice *c)
{
	int doubling = c->q->kind == PD_COMPARE_SLOPE && isnan(c->q->step);

	for (size_t i = 0; i < c->n; i++) {
		if (!c->keep[i])
			continue;
		if (c->q->kind != PD_COMPARE_SLOPE)
			c->keep[i] = arm_of(c, i) >= 0;
		else
			c->keep[i] = isfinite(c->param->real[i]) &&
			             (!doubling || c->param->real[i] > 0);
	}
}

static void keep_adjusters(struct choice *c)
{
	for (size_t k = 0; k < c->q->n_adjust; k++) {
		const pd_column *col =
		    pd_frame_find(c->frame, c->q->adjust[k]);

		for (size_t i = 0; i < c->n; i++) {
			if (!c->keep[i])
				continue;
			if (col->kind == PD_FACTOR)
				c->keep[i] = col->code[i] >= 0;
			else
				c->keep[i] = isfinite(col->real[i]) &&
				             (!c->q->adjust_log[k] ||
				              col->real[i] > 0);
		}
	}
}

/* Failed cultures by arm, among rows that met the conditions. */
static pd_status count_failed(struct choice *c, pd_error *err)
{
	size_t room = c->param->kind == PD_FACTOR ? c->param->n_levels + 2 : 2;

	c->out->arm_failed = PD_NEW(c->scratch, size_t, room);
	if (!c->out->arm_failed)
		return no_memory(err);
	if (c->q->kind == PD_COMPARE_SLOPE)
		return PD_OK;
	for (size_t i = 0; i < c->n; i++) {
		int32_t code = c->state->code[i];
		int32_t arm;

		if (!c->keep[i] || code < 0 ||
		    strcmp(c->state->level[code], "failed culture") != 0)
			continue;
		arm = arm_of(c, i);
		if (arm >= 0)
			c->out->arm_failed[arm]++;
	}
	return PD_OK;
}

/* --- laying out --------------------------------------------------------------- */

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
		r->x[to] = isnan(c->q->step) ? log2(r->raw[to])
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
			seen[r->arm[to++] = arm_of(c, i)]++;
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
	for (size_t i = 0;
	     st == PD_OK && i < sizeof always / sizeof *always; i++)
		st = copy_column(c, always[i], always[i], false, err);
	return st;
}

static pd_status lay_out(struct choice *c, pd_error *err)
{
	pd_status st;

	for (size_t i = 0; i < c->n; i++)
		c->out->n += c->keep[i];
	st = lay_tree(c, err);
	if (st == PD_OK)
		st = lay_outcome(c, err);
	if (st == PD_OK)
		st = c->q->kind == PD_COMPARE_SLOPE ? lay_slope(c, err)
		                                    : lay_arms(c, err);
	if (st == PD_OK)
		st = pd_note_dilution(c->q, c->frame, c->keep, c->arena, c->out,
		                      err);
	return st == PD_OK ? lay_model(c, err) : st;
}

pd_status pd_rows_take(pd_store *store, const pd_question *question,
                       pd_arena *arena, pd_arena *scratch, pd_rows *out,
                       pd_error *err)
{
	struct choice c = { .q = question, .arena = arena,
		            .scratch = scratch, .out = out };
	pd_status st;

	memset(out, 0, sizeof *out);
	st = query(store, &c, err);
	if (st == PD_OK)
		st = pd_note_where(question, c.frame, arena, out, err);
	if (st == PD_OK && question->n_where) {
		keep_conditions(&c);
		st = add_step(&c, pd_arena_print(arena, "where %s",
		                                 question->where_text), err);
	}
	if (st == PD_OK)
		st = count_failed(&c, err);
	if (st == PD_OK) {
		keep_results(&c);
		st = add_step(&c, "with a result", err);
	}
	if (st == PD_OK) {
		keep_parameter(&c);
		st = add_step(&c, question->kind == PD_COMPARE_SLOPE
		                      ? "with the parameter recorded"
		                      : "at a compared level", err);
	}
	if (st == PD_OK && question->n_adjust) {
		keep_adjusters(&c);
		st = add_step(&c, "with every adjuster recorded", err);
	}
	if (st == PD_OK)
		st = lay_out(&c, err);
	pd_frame_free(c.frame);
	if (st != PD_OK)
		pd_rows_clear(out);
	return st;
}

void pd_rows_clear(pd_rows *rows)
{
	pd_frame_free(rows->model);
	rows->model = NULL;
}
