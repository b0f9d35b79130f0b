/*
 * claim_trial.c - a fair trial in this clinic: one side of each patient drawn
 * with the device, the other as usual. The spread of the difference comes from
 * the clinic's own draws, the sizes from stats/power.h, the list of who gets
 * what on which side from seeded blocks.
 */
#include "plan/claim_own.h"
#include "plan/fit.h"
#include "stats/power.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_LIST = 400, COMBINATIONS = 4 };

/* --- the spread of a difference between two sides ------------------------ */

/* Below the side, what a mean over the trial's draws divides by. */
static double divisor(const struct claim *c, const char *level)
{
	double sites = (double)c->file->sites_per_side;
	double pulls = sites * (double)c->file->pulls_per_site;

	return strcmp(level, "side") == 0 ? 1
	       : strcmp(level, "site") == 0 ? sites
	                                    : pulls;
}

static size_t fitted(const pd_fit *fit, const pd_rows *r, const char *name)
{
	for (size_t k = 0; k < fit->depth; k++)
		if (strcmp(r->level_name[fit->level[k]], name) == 0)
			return k;
	return PD_ROWS_DEPTH;
}

static const char *part_words(const char *level)
{
	static const struct {
		const char *level, *words;
	} known[] = {
		{ "patient", "between patients" },
		{ "case", "between cases of a patient" },
		{ "side", "between sides of a case" },
		{ "site", "between sites of a side" },
		{ "pull", "between pulls of a site" },
	};

	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (strcmp(level, known[i].level) == 0)
			return known[i].words;
	return level;
}

/*
 * Variance of (mean of the device's side) - (mean of the other): twice the sum
 * of the parts below the case, each over what the trial averages. A part the
 * rows cannot tell apart lies in the next one inwards and is then divided by
 * no more than the outermost it holds.
 */
static double side_sd(struct claim *c, const pd_fit *fit, const pd_rows *r)
{
	static const char *const below[] = { "side", "site", "pull" };
	pd_claim_trial *t = &c->a->trial;
	double variance = 0, pending = 0;

	for (size_t k = 0; k < fit->depth; k++) {
		t->part[t->n_parts] = part_words(r->level_name[fit->level[k]]);
		t->part_sd[t->n_parts++] = pd_impute_level_sd(fit->model, k);
	}
	t->part[t->n_parts] = "what is left: assay, and what lies below";
	t->part_sd[t->n_parts++] = pd_impute_residual_sd(fit->model);
	for (size_t i = 0; i < 3; i++) {
		size_t k = fitted(fit, r, below[i]);
		double by = divisor(c, below[i]);

		if (pending > 0)
			by = pending;
		pending = by;
		if (k == PD_ROWS_DEPTH)
			continue;
		double sd = pd_impute_level_sd(fit->model, k);

		variance += sd * sd / by;
		pending = 0;
	}
	double rest = t->part_sd[t->n_parts - 1], all = 0;

	for (size_t k = 0; k < t->n_parts; k++)
		all += t->part_sd[k] * t->part_sd[k];
	t->sd_result = sqrt(all);

	variance += rest * rest / (pending > 0 ? pending : divisor(c, "pull"));
	return sqrt(2 * variance);
}

/* Sides of a case: their mean residuals from the fixed part. */
struct sides {
	int32_t first, second; /* side codes, -1: none */
	bool more;
};

/* Root mean square of the differences between the two sides of a case. */
static pd_status both_sides(struct claim *c, const pd_fit *fit,
                            const pd_rows *r, pd_arena *scratch, pd_error *err)
{
	size_t side = pd_rows_level(r, "side");
	pd_claim_trial *t = &c->a->trial;

	if (side == PD_ROWS_DEPTH)
		return PD_OK;
	size_t n_sides = r->n_groups[side], n_cases = r->n, p = fit->design.p;
	double *y = PD_NEW(scratch, double, r->n + 1);
	double *rest = PD_NEW(scratch, double, r->n + 1);
	double *beta = PD_NEW(scratch, double, p);
	double *sum = PD_NEW(scratch, double, n_sides + 1);
	double *count = PD_NEW(scratch, double, n_sides + 1);
	struct sides *of = PD_NEW(scratch, struct sides, n_cases + 1);
	double square = 0;

	if (!y || !rest || !beta || !sum || !count || !of)
		return pd_claim_no_memory(err);
	pd_status st = pd_impute_completed(fit->model, y, rest, err);

	if (st != PD_OK)
		return st;
	pd_impute_beta(fit->model, beta);
	for (size_t i = 0; i < n_cases; i++)
		of[i].first = of[i].second = -1;
	for (size_t i = 0; i < fit->n; i++) {
		int32_t s = r->group[side][fit->row[i]];
		struct sides *k = &of[r->case_code[fit->row[i]]];

		for (size_t j = 0; j < p; j++)
			y[i] -= beta[j] * fit->design.x[i * p + j];
		sum[s] += y[i];
		count[s] += 1;
		if (k->first < 0 || k->first == s)
			k->first = s;
		else if (k->second < 0 || k->second == s)
			k->second = s;
		else
			k->more = true;
	}
	for (size_t i = 0; i < n_cases; i++) {
		if (of[i].second < 0 || of[i].more)
			continue;
		double d = sum[of[i].first] / count[of[i].first] -
		           sum[of[i].second] / count[of[i].second];

		square += d * d;
		t->n_both++;
	}
	double n = (double)t->n_both;

	if (t->n_both > 1) {
		t->sd_both = sqrt(square / n);
		t->sd_both_low = sqrt(square / pd_chisq_quantile(
		                                   0.5 + c->a->level / 2, n));
		t->sd_both_high = sqrt(square / pd_chisq_quantile(
		                                    0.5 - c->a->level / 2, n));
	}
	return PD_OK;
}

static void settle_spread(struct claim *c, double sd)
{
	pd_claim_trial *t = &c->a->trial;

	if (t->n_both < c->file->plan.min_patients) {
		t->refusal = pd_arena_print(
		    c->arena, "%zu case%s had both sides drawn the usual way, at "
		    "least %zu are asked for: how far the two sides of a patient "
		    "lie apart is not known here", t->n_both,
		    t->n_both == 1 ? "" : "s", c->file->plan.min_patients);
		return;
	}
	if (!(sd > 0)) {
		t->refusal = "no spread between sides was seen in these rows";
		return;
	}
	t->sd = sd;
	t->sd_low = sd * t->sd_both_low / t->sd_both;
	t->sd_high = sd * t->sd_both_high / t->sd_both;
}

/* --- sizes --------------------------------------------------------------- */

static double smallest_n(pd_trial *t, bool same, double power, pd_trial_size *s,
                         const char **none, pd_arena *arena)
{
	pd_error inner = { 0 };
	pd_status st = same ? pd_size_equivalence(t, power, s, &inner)
	                    : pd_size_t(t, power, s, &inner);

	if (st == PD_OK)
		return s->n;
	*none = pd_arena_copy(arena, inner.text);
	*s = (pd_trial_size){ NAN, NAN, NAN, NAN };
	return NAN;
}

static void add_size(struct claim *c, const char *aim, pd_trial trial, bool same)
{
	pd_claim_trial *t = &c->a->trial;
	pd_claim_size *to = &t->size[t->n_sizes++];
	const char *ignored = NULL;
	pd_trial_size s;

	to->aim = aim;
	trial.sd = t->sd;
	to->n = smallest_n(&trial, same, t->power, &s, &to->none, c->arena);
	to->power = s.power;
	to->n_before = s.n_before;
	to->power_before = s.power_before;
	to->n_more = smallest_n(&trial, same, 0.9, &s, &ignored, c->arena);
	trial.sd = t->sd_high;
	to->n_wide = smallest_n(&trial, same, t->power, &s, &ignored, c->arena);
}

/* The claim nearest to no effect among the readings: the cautious one. */
static double nearest_claim(const pd_claim_answer *a)
{
	double best = NAN;

	for (size_t i = 0; i < a->n_readings; i++) {
		double x = a->reading[i].claim.log.value;

		if (isnan(best) || fabs(x) < fabs(best))
			best = x;
	}
	return best;
}

static void add_sizes(struct claim *c)
{
	pd_claim_answer *a = c->a;
	double alpha = 1 - a->level, claim = nearest_claim(a);
	double d = fabs(log(a->margin));
	pd_trial base = { PD_TRIAL_PAIRS, 0, 1, alpha, 2, 0, 0, 0 };

	if (!isnan(claim) && claim != 0) {
		base.effect = claim;
		add_size(c, pd_arena_print(c->arena, "to find the claimed ratio "
		                           "of %.2f%s, if it is true",
		                           exp(claim), a->n_readings > 1
		                               ? " (the reading nearest to 1)"
		                               : ""), base, false);
	}
	if (isnan(a->margin))
		return;
	base.effect = d;
	add_size(c, pd_arena_print(c->arena, "to find the smallest ratio that "
	                           "matters, %.2f, if it is true", exp(d)),
	         base, false);
	base.effect = 0;
	base.alpha = alpha / 2;
	base.sides = 1;
	base.null = -d;
	add_size(c, pd_arena_print(c->arena, "to show that the device is not "
	                           "below %.2f of the usual, if the two are "
	                           "equal", exp(-d)), base, false);
	base.null = 0;
	base.low = -d;
	base.high = d;
	add_size(c, "to show that no difference matters, if the two are equal",
	         base, true);
}

/* --- the list ------------------------------------------------------------ */

/* One block: each of the four ways (device left or right, left or right
 * first) once or twice, in random order. */
static size_t deal(pd_stream *s, pd_claim_patient *to, size_t room,
                   unsigned block, unsigned from)
{
	unsigned char way[2 * COMBINATIONS];
	size_t size = COMBINATIONS * (1 + (size_t)pd_stream_below(s, 2));

	for (size_t i = 0; i < size; i++)
		way[i] = (unsigned char)(i % COMBINATIONS);
	for (size_t i = size - 1; i > 0; i--) {
		size_t j = (size_t)pd_stream_below(s, i + 1);
		unsigned char keep = way[i];

		way[i] = way[j];
		way[j] = keep;
	}
	for (size_t i = 0; i < size && i < room; i++)
		to[i] = (pd_claim_patient){ from + (unsigned)i, block,
			                    (way[i] & 1) != 0,
			                    (way[i] & 2) != 0 };
	return size < room ? size : room;
}

static pd_status allocate(struct claim *c, pd_error *err)
{
	pd_claim_trial *t = &c->a->trial;
	size_t wanted = c->file->patients, n = 0;
	pd_stream s;

	/* the smallest ratio that matters, else the claim */
	for (size_t i = 0; !wanted && i < t->n_sizes; i++)
		if (isfinite(t->size[i].n) && (i == 1 || t->n_sizes == 1))
			wanted = (size_t)fmin(t->size[i].n, 1e6);
	if (!wanted)
		return PD_OK;
	t->n_list = wanted < MOST_LIST ? wanted : MOST_LIST;
	t->list = PD_NEW(c->arena, pd_claim_patient, t->n_list);
	t->list_words = pd_arena_print(
	    c->arena, "%zu patients%s, in blocks of 4 or 8 that hold every "
	    "combination of side and order equally often; drawn with seed %llu",
	    t->n_list, wanted > MOST_LIST ? " (the list is cut there)" : "",
	    t->seed);
	if (!t->list || !t->list_words)
		return pd_claim_no_memory(err);
	pd_stream_init(&s, t->seed, 0xc1a1);
	for (unsigned block = 1; n < t->n_list; block++)
		n += deal(&s, t->list + n, t->n_list - n, block,
		          (unsigned)n + 1);
	return PD_OK;
}

/* --- all ----------------------------------------------------------------- */

static int by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Median mL of a case among these rows, for what a case yields. */
static double median_ml(const pd_rows *r, pd_arena *scratch)
{
	const pd_column *ml = pd_frame_find(r->model, "log total_ml");
	unsigned char *seen = PD_NEW(scratch, unsigned char, r->n + 1);
	double *x = PD_NEW(scratch, double, r->n + 1);
	size_t n = 0;

	for (size_t i = 0; ml && seen && x && i < r->n; i++) {
		if (seen[r->case_code[i]])
			continue;
		seen[r->case_code[i]] = 1;
		x[n++] = exp(ml->real[i]);
	}
	if (!n)
		return NAN;
	qsort(x, n, sizeof *x, by_number);
	return (x[(n - 1) / 2] + x[n / 2]) / 2;
}

/* Rows without the mL of their case tell nothing here but of the spread, so
 * they are taken a second time. */
static pd_status case_ml(struct claim *c, pd_error *err)
{
	pd_question *q = NULL;
	pd_arena *scratch = pd_arena_new();
	pd_rows rows = { 0 };
	pd_status st = scratch ? pd_claim_usual_question(
	                             c, false, PD_CLAIM_TOTAL_ML, NULL, &q, err)
	                       : pd_claim_no_memory(err);

	if (st == PD_OK)
		st = pd_rows_take(c->store, q, c->arena, scratch, &rows, err);
	if (st == PD_OK)
		c->a->cost[0].ml = median_ml(&rows, scratch);
	pd_rows_clear(&rows);
	pd_arena_free(scratch);
	return st;
}

static pd_status spread(struct claim *c, pd_error *err)
{
	pd_question *q = NULL;
	pd_arena *scratch = pd_arena_new();
	pd_rows rows = { 0 };
	pd_fit fit = { 0 };
	pd_fit_ask ask = { .adjust = true };
	pd_claim_trial *t = &c->a->trial;
	pd_status st = scratch ? pd_claim_usual_question(
	                             c, false, PD_CLAIM_ADJUSTERS, NULL, &q, err)
	                       : pd_claim_no_memory(err);

	if (st == PD_OK)
		st = pd_rows_take(c->store, q, c->arena, scratch, &rows, err);
	if (st == PD_OK) {
		t->n_patients = rows.n ? rows.n_groups[0] : 0;
		t->n_rows = rows.n;
		if (t->n_patients < c->file->plan.min_patients)
			t->refusal = pd_arena_print(
			    c->arena, "%zu patients were drawn the usual way, at "
			    "least %zu are asked for", t->n_patients,
			    c->file->plan.min_patients);
		else if (q->grain == PD_BY_CASE)
			t->refusal = "the claim is judged by case, and two sides "
			             "share a case: judge it by concentration or "
			             "by site to pair by side";
	}
	if (st == PD_OK && !t->refusal) {
		st = pd_fit_run(&c->file->plan, q, &rows, &ask, c->arena,
		                scratch, &fit, err);
		t->refusal = fit.refusal;
		if (st == PD_OK && !t->refusal) {
			double sd = side_sd(c, &fit, &rows);

			st = both_sides(c, &fit, &rows, scratch, err);
			if (st == PD_OK)
				settle_spread(c, sd);
		}
	}
	pd_fit_clear(&fit);
	pd_rows_clear(&rows);
	pd_arena_free(scratch);
	return st;
}

pd_status pd_claim_trial_all(struct claim *c, pd_error *err)
{
	pd_claim_trial *t = &c->a->trial;

	t->power = c->file->power;
	t->sites_per_side = (unsigned)c->file->sites_per_side;
	t->pulls_per_site = (unsigned)c->file->pulls_per_site;
	t->seed = c->file->plan.seed;
	pd_status st = case_ml(c, err);

	if (st == PD_OK)
		st = spread(c, err);
	if (st != PD_OK || t->refusal)
		return st;
	add_sizes(c);
	return allocate(c, err);
}
