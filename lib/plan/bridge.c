/* bridge.c - pulls counted twice, how far the counts agree. */
#include "plan/bridge.h"
#include "plan/question_own.h"
#include "base/near.h"
#include "data/query.h"
#include "plan/notes.h"
#include "plan/question.h"
#include "plan/rows.h"
#include "stats/agree_repeated.h"
#include "stats/bootstrap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_PULLS = 10, MOST_DOTS = 400, DRAWS = 4999 };
static const double TWO_SD = 1.96;

struct work {
	const pd_bridge_request *ask;
	pd_arena *arena;
	pd_bridge_answer *a;
	size_t n, n_patients;
	double *x, *y;           /* working scale, one a pull                  */
	int32_t *patient;        /* dense                                      */
	double *mx, *my;         /* patients' means                            */
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory comparing versions");
}

static double shown(const struct work *w, double d)
{
	return w->a->scale == PD_RATIO ? exp(d) : d;
}

/* --- pulls counted by both ---------------------------------------------------- */

struct pull {
	double sum[2];
	size_t n[2];
	bool limit;
	int32_t patient;
};

static void add_reading(struct work *w, struct pull *p, int which, double low,
                        double high)
{
	if (isnan(low) || isnan(high))
		return;
	if (low < high || (w->a->scale == PD_RATIO && low <= 0)) {
		p->limit = true;
		p->n[which]++;
		return;
	}
	p->sum[which] += w->a->scale == PD_RATIO ? log(low) : low;
	p->n[which]++;
}

static void keep_pull(struct work *w, const struct pull *p)
{
	if (!p->n[0] || !p->n[1])
		return;
	if (p->limit) {
		w->a->n_left_out++;
		return;
	}
	w->x[w->n] = p->sum[0] / (double)p->n[0];
	w->y[w->n] = p->sum[1] / (double)p->n[1];
	w->patient[w->n++] = p->patient;
}

static int version_of(const struct work *w, const pd_column *v, size_t i)
{
	if (v->code[i] < 0)
		return -1;
	return strcmp(v->level[v->code[i]], w->ask->first) == 0    ? 0
	       : strcmp(v->level[v->code[i]], w->ask->second) == 0 ? 1
	                                                           : -1;
}

/* A version that never counted the outcome is a slip, not too few pulls. */
static pd_status known_version(const pd_column *v, const char *given,
                               const char *option, pd_arena *arena,
                               pd_error *err)
{
	pd_near near = { .given = given };
	const char *all = "";

	for (size_t k = 0; k < v->n_levels; k++) {
		if (strcmp(v->level[k], given) == 0)
			return PD_OK;
		pd_near_try(&near, v->level[k]);
		all = pd_arena_print(arena, "%s%s'%s'", all, k ? ", " : "",
		                     v->level[k]);
		if (!all)
			return no_memory(err);
	}
	return pd_fail(err, PD_USAGE, "option '--%s': no method version '%s' of "
	               "this outcome; there are %s%s", option, given,
	               v->n_levels ? all : "none", pd_near_words(&near));
}

static pd_status collect(struct work *w, const pd_frame *f, pd_error *err)
{
	size_t n = pd_frame_rows(f);
	const pd_column *v = pd_frame_find(f, "method_version");
	const pd_column *patient = pd_frame_find(f, "patient");
	const pd_column *low = pd_frame_find(f, "low");
	const pd_column *high = pd_frame_find(f, "high");
	unsigned char *keep = PD_NEW(w->arena, unsigned char, n + 1);
	int32_t *pull = PD_NEW(w->arena, int32_t, n + 1);
	struct pull now = { .n = { 0 } };

	w->x = PD_NEW(w->arena, double, n + 1);
	w->y = PD_NEW(w->arena, double, n + 1);
	w->patient = PD_NEW(w->arena, int32_t, n + 1);
	if (!keep || !pull || !w->x || !w->y || !w->patient)
		return no_memory(err);
	memset(keep, 1, n);
	if (!v || !patient || !low || !high || !pd_rows_pulls(f, keep, pull))
		return pd_fail(err, PD_INTERNAL, "frame lacks a column");
	pd_status st = known_version(v, w->ask->first, "first", w->arena, err);

	if (st == PD_OK)
		st = known_version(v, w->ask->second, "second", w->arena, err);
	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < n; i++) {
		int which = version_of(w, v, i);

		if (i && pull[i] != pull[i - 1]) {
			keep_pull(w, &now);
			now = (struct pull){ .n = { 0 } };
		}
		now.patient = patient->code[i];
		if (which >= 0)
			add_reading(w, &now, which, low->real[i],
			            high->real[i]);
	}
	keep_pull(w, &now);
	w->n_patients = pd_rows_dense(w->patient, w->n, w->patient);
	return w->n_patients == (size_t)-1 ? no_memory(err) : PD_OK;
}

static pd_status read_pulls(struct work *w, pd_store *s, pd_error *err)
{
	static const char *const columns[] = { "method_version", "aliquot_no" };
	pd_query_request request = { .outcome = w->ask->outcome,
		                     .judge = w->ask->judge,
		                     .grain = PD_BY_ALIQUOT,
		                     .columns = columns, .n_columns = 2 };
	pd_query_flow flow;
	pd_frame *f = NULL;
	pd_status st = pd_query_frame(s, &request, &f, &flow, err);

	if (st == PD_OK)
		st = collect(w, f, err);
	pd_frame_free(f);
	return st;
}

/* Means of a patient's pulls, by each. */
static pd_status patient_means(struct work *w, pd_error *err)
{
	double *count = PD_NEW(w->arena, double, w->n_patients + 1);

	w->mx = PD_NEW(w->arena, double, w->n_patients + 1);
	w->my = PD_NEW(w->arena, double, w->n_patients + 1);
	if (!count || !w->mx || !w->my)
		return no_memory(err);
	for (size_t i = 0; i < w->n; i++) {
		w->mx[w->patient[i]] += w->x[i];
		w->my[w->patient[i]] += w->y[i];
		count[w->patient[i]]++;
	}
	for (size_t p = 0; p < w->n_patients; p++) {
		w->mx[p] /= count[p];
		w->my[p] /= count[p];
	}
	return PD_OK;
}

/* --- agreement ------------------------------------------------------------------ */

/* Second over first: the room takes x less y, so that it is given them so. */
static pd_status take_limits(struct work *w, pd_error *err)
{
	pd_bridge_answer *a = w->a;
	pd_limits_repeated r;
	pd_status st = pd_agree_linked(w->y, w->x, w->patient, w->n,
	                               w->n_patients, TWO_SD, a->level, &r,
	                               err);
	const pd_limits *l = &r.limits;

	if (st != PD_OK)
		return st;
	a->bias = shown(w, l->bias.value);
	a->bias_low = shown(w, l->bias.low);
	a->bias_high = shown(w, l->bias.high);
	a->bias_p = l->bias.p;
	a->limit_low = shown(w, l->low);
	a->limit_low_from = shown(w, l->low_from);
	a->limit_low_to = shown(w, l->low_to);
	a->limit_high = shown(w, l->high);
	a->limit_high_from = shown(w, l->high_from);
	a->limit_high_to = shown(w, l->high_to);
	a->trend_p = l->trend_p;
	return PD_OK;
}

static pd_status take_lines(struct work *w, pd_error *err)
{
	pd_bridge_answer *a = w->a;
	double ratio = w->ask->error_ratio > 0 ? w->ask->error_ratio : 1;
	pd_line line, ranks;
	pd_estimate same;
	pd_error inner = { 0 };
	pd_status st = pd_agree_deming(w->mx, w->my, w->n_patients, ratio,
	                               a->level, &line, err);

	if (st == PD_OK)
		st = pd_agree_concordance(w->mx, w->my, w->n_patients,
		                          a->level, &same, err);
	if (st != PD_OK)
		return st;
	a->slope = line.slope.value;
	a->slope_low = line.slope.low;
	a->slope_high = line.slope.high;
	a->same = same.value;
	a->same_low = same.low;
	a->same_high = same.high;
	a->ranks_slope = a->ranks_low = a->ranks_high = NAN;
	st = pd_agree_ranks(w->mx, w->my, w->n_patients, a->level, &ranks,
	                    &inner);
	st = pd_note_refusal(st, &inner, w->arena, &a->ranks_refusal, err);
	if (st == PD_OK && !a->ranks_refusal) {
		a->ranks_slope = ranks.slope.value;
		a->ranks_low = ranks.slope.low;
		a->ranks_high = ranks.slope.high;
	}
	return st;
}

/* --- the factor at a place -------------------------------------------------------- */

struct place {
	const double *x, *y;
	double ratio, at;
};

/* Deming's line of weighted points at `at`, less `at`. */
static double factor_at(const double *weight, size_t n, const void *data)
{
	const struct place *p = data;
	double sum = 0, mx = 0, my = 0, sxx = 0, syy = 0, sxy = 0;

	for (size_t i = 0; i < n; i++) {
		sum += weight[i];
		mx += weight[i] * p->x[i];
		my += weight[i] * p->y[i];
	}
	mx /= sum;
	my /= sum;
	for (size_t i = 0; i < n; i++) {
		double dx = p->x[i] - mx, dy = p->y[i] - my;

		sxx += weight[i] * dx * dx;
		syy += weight[i] * dy * dy;
		sxy += weight[i] * dx * dy;
	}
	double d = syy - p->ratio * sxx;
	double slope = (d + sqrt(d * d + 4 * p->ratio * sxy * sxy)) /
	               (2 * sxy);

	return my + slope * (p->at - mx) - p->at;
}

static int by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static pd_status take_places(struct work *w, pd_error *err)
{
	static const double share[PD_BRIDGE_PLACES] = { 0.1, 0.5, 0.9 };
	double *sorted = PD_NEW(w->arena, double, w->n + 1);
	double *ones = PD_NEW(w->arena, double, w->n_patients + 1);

	if (!sorted || !ones)
		return no_memory(err);
	memcpy(sorted, w->x, w->n * sizeof *sorted);
	qsort(sorted, w->n, sizeof *sorted, by_number);
	for (size_t i = 0; i < w->n_patients; i++)
		ones[i] = 1;
	for (size_t k = 0; k < PD_BRIDGE_PLACES; k++) {
		pd_bridge_place *out = &w->a->place[k];
		struct place p = { w->mx, w->my,
			           w->ask->error_ratio > 0
			               ? w->ask->error_ratio
			               : 1,
			           sorted[(size_t)(share[k] *
			                           (double)(w->n - 1))] };
		pd_boot_plan plan = { .n_rows = w->n_patients,
			              .statistic = factor_at, .data = &p,
			              .level = w->a->level, .draws = DRAWS,
			              .seed = w->ask->seed, .threads = 2 };
		pd_boot boot;
		pd_error inner = { 0 };
		const char *none;
		pd_status st = pd_bootstrap(&plan, &boot, &inner);

		st = pd_note_refusal(st, &inner, w->arena, &none, err);
		if (st != PD_OK)
			return st;
		out->first = shown(w, p.at);
		out->factor = shown(w, factor_at(ones, w->n_patients, &p));
		out->low = none ? (double)NAN : shown(w, boot.low);
		out->high = none ? (double)NAN : shown(w, boot.high);
	}
	return PD_OK;
}

/* Dots for the figure: across the middle of both, upwards the factor. */
static pd_status take_points(struct work *w, pd_error *err)
{
	size_t step = w->n / MOST_DOTS + 1, n = 0;
	double *x = PD_NEW(w->arena, double, w->n + 1);
	double *y = PD_NEW(w->arena, double, w->n + 1);

	if (!x || !y)
		return no_memory(err);
	for (size_t i = 0; i < w->n; i += step, n++) {
		x[n] = shown(w, (w->x[i] + w->y[i]) / 2);
		y[n] = shown(w, w->y[i] - w->x[i]);
	}
	w->a->points.n_xy = n;
	w->a->points.x = x;
	w->a->points.y = y;
	w->a->points.n_left_out = w->n - n;
	return PD_OK;
}

static pd_status compare(struct work *w, pd_error *err)
{
	pd_bridge_answer *a = w->a;
	pd_error inner = { 0 };

	a->n_pulls = w->n;
	a->n_patients = w->n_patients;
	if (w->n < LEAST_PULLS || w->n_patients < 5) {
		a->refusal = pd_arena_print(
		    w->arena, "%zu pulls of %zu patients were counted by both '%s' "
		    "and '%s' as numbers: at least %d pulls of 5 patients are "
		    "needed, 40 are advised", w->n, w->n_patients, a->first,
		    a->second, LEAST_PULLS);
		return a->refusal ? PD_OK : no_memory(err);
	}
	pd_status st = patient_means(w, err);

	if (st == PD_OK)
		st = take_limits(w, &inner);
	if (st == PD_OK)
		st = take_lines(w, &inner);
	if (st == PD_OK)
		st = take_places(w, &inner);
	st = pd_note_refusal(st, &inner, w->arena, &a->refusal, err);
	return st == PD_OK ? take_points(w, err) : st;
}

pd_status pd_bridge_run(pd_store *s, const pd_bridge_request *request,
                        const pd_run_options *options, pd_arena *arena,
                        pd_bridge_answer *out, pd_error *err)
{
	/* asked by options: no plan, no question, no look */
	pd_plan none = { .level = request->level, .seed = request->seed };
	struct work w = { .ask = request, .arena = arena, .a = out };

	memset(out, 0, sizeof *out);
	pd_status st = pd_key_judged(request->outcome, request->judge, "", NULL,
	                             0, err);

	if (st != PD_OK && err)
		err->status = PD_USAGE;
	if (st != PD_OK)
		return PD_USAGE;
	if (strcmp(request->first, request->second) == 0)
		return pd_fail(err, PD_USAGE, "'%s' is named twice: two method "
		               "versions are compared", request->first);
	out->outcome_words = pd_query_words(request->outcome);
	out->judge_words = request->judge;
	out->unit = pd_query_unit(request->outcome, request->judge);
	out->first = request->first;
	out->second = request->second;
	out->level = request->level;
	out->margin = request->margin;
	out->scale = strcmp(request->judge, "percent") == 0 ? PD_DIFFERENCE
	                                                    : PD_RATIO;
	st = pd_run_context(s, &none, options, arena, &out->context, err);

	if (st == PD_OK)
		st = read_pulls(&w, s, err);
	return st == PD_OK ? compare(&w, err) : st;
}
