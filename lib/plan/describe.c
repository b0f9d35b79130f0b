/* describe.c - what each level holds, and what the figure draws. */
#include "plan/describe.h"
#include "plan/describe_slope.h"
#include "stats/paired.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
	MOST_BANDS = 6,      /* distinct values shown one by one              */
	BANDS = 4,           /* else quarters of the rows                     */
	MOST_PAIRS = 150, MOST_LEVEL_POINTS = 120
};

struct work {
	const pd_question *q;
	const pd_rows *r;
	const double *y;
	pd_arena *arena;
	pd_answer *a;
	double level;
	int32_t *band;           /* level of each row                         */
	/* one level's patients: mean of y, in order of code */
	double *mean, *count;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory describing");
}

static double shown(const struct work *w, double y)
{
	return w->q->scale == PD_RATIO ? exp(y) : y;
}

static int by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* --- bands of a slope's parameter ------------------------------------------- */

/* Upper ends of the bands into end[]; returns how many. */
static size_t band_ends(const double *sorted, size_t n, double *end)
{
	size_t k = 0;

	for (size_t i = 0; i < n; i++) {
		if (k && sorted[i] == end[k - 1])
			continue;
		if (k == MOST_BANDS) {
			k = 0;
			break;
		}
		end[k++] = sorted[i];
	}
	if (k)
		return k;
	for (size_t b = 1; b <= BANDS; b++) {
		double cut = sorted[(n * b + BANDS - 1) / BANDS - 1];

		if (k == 0 || cut > end[k - 1])
			end[k++] = cut;
	}
	return k;
}

static pd_status make_bands(struct work *w, pd_error *err)
{
	size_t n = w->r->n, k;
	double end[MOST_BANDS], low[MOST_BANDS], high[MOST_BANDS];
	double *sorted = malloc((n + 1) * sizeof *sorted);

	if (!sorted)
		return no_memory(err);
	memcpy(sorted, w->r->raw, n * sizeof *sorted);
	qsort(sorted, n, sizeof *sorted, by_number);
	k = band_ends(sorted, n, end);
	free(sorted);
	w->a->levels = PD_NEW(w->arena, pd_level, k);
	if (!w->a->levels)
		return no_memory(err);
	w->a->n_levels = k;
	for (size_t b = 0; b < k; b++)
		low[b] = INFINITY, high[b] = -INFINITY;
	for (size_t i = 0; i < n; i++) {
		int32_t b = 0;

		while (w->r->raw[i] > end[b])
			b++;
		w->band[i] = b;
		low[b] = fmin(low[b], w->r->raw[i]);
		high[b] = fmax(high[b], w->r->raw[i]);
	}
	for (size_t b = 0; b < k; b++) {
		w->a->levels[b].name =
		    low[b] == high[b]
		        ? pd_arena_print(w->arena, "%.6g", low[b])
		        : pd_arena_print(w->arena, "%.4g to %.4g", low[b],
		                         high[b]);
		if (!w->a->levels[b].name)
			return no_memory(err);
	}
	return PD_OK;
}

static pd_status take_arms(struct work *w, pd_error *err)
{
	w->a->levels = PD_NEW(w->arena, pd_level, w->r->n_arms);
	if (!w->a->levels)
		return no_memory(err);
	w->a->n_levels = w->r->n_arms;
	for (size_t a = 0; a < w->r->n_arms; a++) {
		w->a->levels[a].name = w->r->arm_name[a];
		w->a->levels[a].n_failed = w->r->arm_failed[a];
	}
	memcpy(w->band, w->r->arm, w->r->n * sizeof *w->band);
	return PD_OK;
}

/* --- one level ------------------------------------------------------------------ */

static size_t distinct_in(const struct work *w, const int32_t *code, int32_t b,
                          unsigned char *seen, size_t room)
{
	size_t n = 0;

	memset(seen, 0, room);
	for (size_t i = 0; i < w->r->n; i++)
		if (w->band[i] == b && !seen[code[i]]) {
			seen[code[i]] = 1;
			n++;
		}
	return n;
}

static void count_states(const struct work *w, int32_t b, pd_level *l)
{
	for (size_t i = 0; i < w->r->n; i++) {
		if (w->band[i] != b)
			continue;
		l->n_rows++;
		l->n_zero += w->r->state[i] == PD_ROW_ZERO;
		l->n_below += w->r->state[i] == PD_ROW_BELOW;
		l->n_above += w->r->state[i] == PD_ROW_ABOVE ||
		              w->r->state[i] == PD_ROW_UNCOUNTABLE;
	}
}

/* Means of the level's patients into w->mean[0..n-1]; returns n. */
static size_t patient_means(struct work *w, int32_t b)
{
	size_t np = w->r->n_groups[0], n = 0;

	memset(w->mean, 0, np * sizeof *w->mean);
	memset(w->count, 0, np * sizeof *w->count);
	for (size_t i = 0; i < w->r->n; i++)
		if (w->band[i] == b) {
			w->mean[w->r->group[0][i]] += w->y[i];
			w->count[w->r->group[0][i]] += 1;
		}
	for (size_t p = 0; p < np; p++)
		if (w->count[p] > 0)
			w->mean[n++] = w->mean[p] / w->count[p];
	return n;
}

static double row_sd(const struct work *w, int32_t b, size_t n)
{
	double mean = 0, ss = 0;

	for (size_t i = 0; i < w->r->n; i++)
		if (w->band[i] == b)
			mean += w->y[i] / (double)n;
	for (size_t i = 0; i < w->r->n; i++)
		if (w->band[i] == b)
			ss += (w->y[i] - mean) * (w->y[i] - mean);
	return n > 1 ? sqrt(ss / (double)(n - 1)) : NAN;
}

static pd_status describe_level(struct work *w, size_t k, pd_error *err)
{
	pd_level *l = &w->a->levels[k];
	int32_t b = (int32_t)k;
	size_t room = w->r->n + 1;
	unsigned char *seen = malloc(room);
	size_t site = pd_rows_level(w->r, "site");

	if (!seen)
		return no_memory(err);
	count_states(w, b, l);
	l->n_patients = distinct_in(w, w->r->group[0], b, seen, room);
	l->n_cases = distinct_in(w, w->r->case_code, b, seen, room);
	/* at site grain a row is a site */
	l->n_sites = site < w->r->depth
	    ? distinct_in(w, w->r->group[site], b, seen, room)
	    : (w->q->grain == PD_BY_SITE ? l->n_rows : 0);
	free(seen);
	size_t n = patient_means(w, b);
	pd_estimate e;
	double total = 0;

	for (size_t i = 0; i < n; i++)
		total += w->mean[i] / (double)n;
	l->centre = n ? shown(w, total) : NAN;
	l->centre_low = l->centre_high = l->spread = NAN;
	if (pd_paired_mean(w->mean, n, w->level, &e, NULL) == PD_OK) {
		l->centre_low = shown(w, e.low);
		l->centre_high = shown(w, e.high);
	}
	double sd = row_sd(w, b, l->n_rows);

	l->spread = w->q->scale == PD_RATIO ? exp(sd)
	            : isnan(w->q->floor)    ? sd
	                                    : (double)NAN; /* of a share: none */
	return PD_OK;
}

/* --- the figure's points ----------------------------------------------------------- */

static size_t every(size_t n, size_t most)
{
	return n > most ? (n + most - 1) / most : 1;
}

static pd_status pair_points(struct work *w, const pd_pairs *p, pd_error *err)
{
	size_t step = every(p->n, MOST_PAIRS), n = 0;
	double *first = PD_NEW(w->arena, double, p->n / step + 1);
	double *second = PD_NEW(w->arena, double, p->n / step + 1);

	if (!first || !second)
		return no_memory(err);
	for (size_t i = 0; i < p->n; i += step, n++) {
		first[n] = shown(w, p->first[i]);
		second[n] = shown(w, p->second[i]);
	}
	w->a->points.n_pairs = n;
	w->a->points.pair_first = first;
	w->a->points.pair_second = second;
	w->a->points.n_left_out = p->n - n;
	return PD_OK;
}

static pd_status level_points(struct work *w, pd_error *err)
{
	size_t room = w->a->n_levels * MOST_LEVEL_POINTS, n = 0;
	size_t *at = PD_NEW(w->arena, size_t, room);
	double *value = PD_NEW(w->arena, double, room);

	if (!at || !value)
		return no_memory(err);
	for (size_t k = 0; k < w->a->n_levels; k++) {
		size_t m = patient_means(w, (int32_t)k);
		size_t step = every(m, MOST_LEVEL_POINTS), taken = 0;

		for (size_t i = 0; i < m; i += step, taken++) {
			at[n] = k;
			value[n++] = shown(w, w->mean[i]);
		}
		w->a->points.n_left_out += m - taken;
	}
	w->a->points.n_points = n;
	w->a->points.point_level = at;
	w->a->points.point_value = value;
	return PD_OK;
}

pd_status pd_describe(const pd_question *q, const pd_rows *rows,
                      const double *y, pd_fit *fit, const pd_pairs *pairs,
                      double level, pd_arena *arena, pd_arena *scratch,
                      pd_answer *answer, pd_error *err)
{
	struct work w = { .q = q, .r = rows, .y = y, .arena = arena,
		          .a = answer, .level = level };
	pd_status st;

	w.band = PD_NEW(scratch, int32_t, rows->n + 1);
	w.mean = PD_NEW(scratch, double, rows->n_groups[0] + 1);
	w.count = PD_NEW(scratch, double, rows->n_groups[0] + 1);
	if (!w.band || !w.mean || !w.count)
		return no_memory(err);
	st = rows->x ? make_bands(&w, err) : take_arms(&w, err);
	for (size_t k = 0; st == PD_OK && k < answer->n_levels; k++)
		st = describe_level(&w, k, err);
	if (st != PD_OK)
		return st;
	if (pairs)
		return pair_points(&w, pairs, err);
	return rows->x ? pd_describe_slope(q, rows, y, fit, level, arena,
	                                   &answer->points, err)
	               : level_points(&w, err);
}
