/*
 * claim_usual.c - is the claim's comparator worse than what this clinic does
 * anyway? The clinic's draws with the comparator's technique, of the same mL
 * and number of sites, one laboratory method version at a time: geometric
 * mean from the model with patients as random intercepts and age, at the age
 * printed where one is, and how far patients lie apart.
 */
#include "plan/claim_own.h"
#include "data/query.h"
#include "plan/fit.h"
#include "plan/pairs.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { AGE_STEP = 10, MOST_CONDITIONS = 7 };

/* --- the rows ------------------------------------------------------------ */

static void set_is(pd_condition *c, const char *column, const char **value)
{
	*c = (pd_condition){ column, 1, value, -INFINITY, INFINITY };
}

/* One printed number is met by what lies within alike: x alike to x / alike;
 * a whole number of sites by itself alone. */
static bool set_range(const pd_claim_file *f, const char *column,
                      const pd_print_range *r, bool whole, pd_condition *c)
{
	pd_kind kind;

	if (isnan(r->low) || !pd_query_has(column, f->question->grain, &kind))
		return false;
	*c = (pd_condition){ column, 0, NULL, r->low, r->high };
	if (r->low == r->high && !whole) {
		c->low = r->low * f->alike;
		c->high = r->high / f->alike;
	}
	return true;
}

static size_t matched_rows(const pd_claim_file *f, pd_condition *to)
{
	const pd_print_arm *a = &f->arm[1];
	size_t n = 0;

	n += set_range(f, "volume_ml", &a->volume_ml, false, &to[n]);
	n += set_range(f, "site_ml", &a->site_ml, false, &to[n]);
	n += set_range(f, "total_ml", &a->total_ml, false, &to[n]);
	n += set_range(f, "n_sites", &a->n_sites, true, &to[n]);
	if (a->age_y.low < a->age_y.high)
		n += set_range(f, "age_y", &a->age_y, true, &to[n]);
	return n;
}

/* The claim's adjusters, less age (it is the slope). */
static void take_adjusters(pd_question *q, const pd_question *from)
{
	for (size_t i = 0; i < from->n_adjust; i++) {
		if (strcmp(from->adjust[i], "age_y") == 0)
			continue;
		q->adjust[q->n_adjust] = from->adjust[i];
		q->adjust_log[q->n_adjust++] = from->adjust_log[i];
	}
}

pd_status pd_claim_usual_question(struct claim *c, bool matched,
                                  pd_claim_beside beside, const char *version,
                                  pd_question **out, pd_error *err)
{
	const pd_question *from = c->file->question;
	pd_question *q = PD_NEW(c->arena, pd_question, 1);
	pd_condition *w = PD_NEW(c->arena, pd_condition,
	                         from->n_where + MOST_CONDITIONS);
	const char **word = PD_NEW(c->arena, const char *, 2);
	const char **names = PD_NEW(c->arena, const char *, from->n_adjust + 2);
	bool *logs = PD_NEW(c->arena, bool, from->n_adjust + 2);

	if (!q || !w || !word || !names || !logs)
		return pd_claim_no_memory(err);
	*q = *from;
	q->kind = PD_COMPARE_SLOPE;
	q->parameter = "age_y";
	q->step = AGE_STEP;
	q->first = q->second = q->within = NULL;
	q->n_adjust = 0;
	q->adjust = names;
	q->adjust_log = logs;
	if (beside == PD_CLAIM_ADJUSTERS)
		take_adjusters(q, from);
	if (beside == PD_CLAIM_TOTAL_ML) {
		names[q->n_adjust] = "total_ml";
		logs[q->n_adjust++] = true;
	}
	for (size_t i = 0; i < from->n_where; i++)
		w[i] = from->where[i];
	q->where = w;
	if (c->file->asks) {
		word[0] = from->second;
		set_is(&w[q->n_where++], from->parameter, &word[0]);
	}
	if (matched)
		q->n_where += matched_rows(c->file, w + q->n_where);
	if (version) {
		word[1] = version;
		set_is(&w[q->n_where++], "method_version", &word[1]);
	}
	*out = q;
	return PD_OK;
}

/* --- words about the rows ------------------------------------------------ */

static const char *join(pd_arena *a, const char *before, const char *more)
{
	return before ? pd_arena_print(a, "%s; %s", before, more) : more;
}

static const char *condition_words(pd_arena *a, const pd_condition *c)
{
	const char *words = NULL;

	if (c->n_values == 0)
		return c->low == c->high
		    ? pd_arena_print(a, "%s is %.4g", c->column, c->low)
		    : pd_arena_print(a, "%s from %.4g to %.4g", c->column,
		                     c->low, c->high);
	for (size_t i = 0; i < c->n_values; i++)
		words = words ? pd_arena_print(a, "%s or %s", words,
		                               c->value[i])
		              : c->value[i];
	return pd_arena_print(a, "%s is %s", c->column, words);
}

static pd_status say_rows(struct claim *c, const pd_question *q, pd_error *err)
{
	static const struct {
		const char *column, *words;
		size_t offset;
	} asked[] = {
		{ "volume_ml", "mL a pull",
		  offsetof(pd_print_arm, volume_ml) },
		{ "total_ml", "mL in all", offsetof(pd_print_arm, total_ml) },
		{ "n_sites", "number of sites",
		  offsetof(pd_print_arm, n_sites) },
		{ "age_y", "age", offsetof(pd_print_arm, age_y) },
	};
	const pd_print_arm *arm = &c->file->arm[1];
	const char *rows = NULL, *missing = NULL;
	pd_kind kind;

	for (size_t i = 0; i < q->n_where; i++)
		rows = join(c->arena, rows, condition_words(c->arena,
		                                            &q->where[i]));
	for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
		const pd_print_range *r =
		    (const void *)((const char *)arm + asked[i].offset);

		if (isnan(r->low))
			missing = missing ? pd_arena_print(c->arena, "%s, %s",
			                                   missing,
			                                   asked[i].words)
			                  : asked[i].words;
		else if (!pd_query_has(asked[i].column, q->grain, &kind))
			missing = join(c->arena, missing, pd_arena_print(
			    c->arena, "%s (rows here do not have it)",
			    asked[i].words));
	}
	c->a->usual_rows = rows ? rows : "all rows";
	c->a->unmatched = missing;
	c->a->usual_age = arm->age_y.low == arm->age_y.high ? arm->age_y.low
	                                                    : NAN;
	return c->a->usual_rows ? PD_OK : pd_claim_no_memory(err);
}

/* --- one method version -------------------------------------------------- */

static int by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Linear between the order statistics (n - 1) p apart. */
static double quantile_of(const double *sorted, size_t n, double p)
{
	double at = p * (double)(n - 1);
	size_t i = (size_t)at;

	return i + 1 < n ? sorted[i] + (at - (double)i) *
	                                   (sorted[i + 1] - sorted[i])
	                 : sorted[n - 1];
}

/* Patients' means, moved to the printed age, in ascending order. */
static pd_status patient_means(struct claim *c, const pd_rows *r,
                               const pd_fit *fit, pd_arena *scratch,
                               double **out, size_t *n_out, pd_error *err)
{
	size_t np = r->n_groups[0], n = 0;
	double *y = PD_NEW(scratch, double, r->n);
	double *rest = PD_NEW(scratch, double, r->n);
	double *sum = PD_NEW(scratch, double, np), *count = PD_NEW(scratch,
	                                                           double, np);
	double *beta = PD_NEW(scratch, double, fit->design.p);
	double age = c->a->usual_age;

	if (!y || !rest || !sum || !count || !beta)
		return pd_claim_no_memory(err);
	pd_status st = pd_impute_completed(fit->model, y, rest, err);

	if (st != PD_OK)
		return st;
	pd_impute_beta(fit->model, beta);
	for (size_t i = 0; i < fit->n; i++) {
		size_t at = fit->row[i];
		double move = isnan(age)
		    ? 0 : beta[fit->x_column] * (age / AGE_STEP - r->x[at]);

		sum[r->group[0][at]] += y[i] + move;
		count[r->group[0][at]] += 1;
	}
	for (size_t p = 0; p < np; p++)
		if (count[p] > 0)
			sum[n++] = sum[p] / count[p];
	qsort(sum, n, sizeof *sum, by_number);
	*out = sum;
	*n_out = n;
	return PD_OK;
}

static pd_claim_ratio over(const pd_claim_arm *arm, size_t k,
                           const pd_estimate *usual, double margin)
{
	pd_estimate printed = { log(arm->centre[k]), arm->log_se[k], arm->df[k],
		                NAN, NAN, usual->level, NAN };
	pd_claim_ratio r = { 0 };

	r.log = pd_claim_difference(&printed, usual, usual->level);
	pd_claim_measure(&r, margin);
	return r;
}

static pd_status compare(struct claim *c, const pd_rows *r, const pd_fit *fit,
                         pd_arena *scratch, pd_claim_usual *u, pd_error *err)
{
	double *mean = NULL;
	size_t n = 0;
	pd_status st = patient_means(c, r, fit, scratch, &mean, &n, err);

	if (st != PD_OK)
		return st;
	u->patient_low = exp(quantile_of(mean, n, 0.05));
	u->patient_high = exp(quantile_of(mean, n, 0.95));
	for (size_t k = 0; k < c->a->arm[1].n_centres; k++) {
		double at = log(c->a->arm[1].centre[k]);
		size_t below = 0;

		u->comparator[k] = over(&c->a->arm[1], k, &u->log,
		                        c->a->margin);
		if (k < c->a->arm[0].n_centres)
			u->device[k] = over(&c->a->arm[0], k, &u->log,
			                    c->a->margin);
		while (below < n && mean[below] < at)
			below++;
		u->share_below[k] = (double)below / (double)n;
	}
	return PD_OK;
}

static pd_status centre(struct claim *c, const pd_rows *r, pd_fit *fit,
                        pd_arena *scratch, pd_claim_usual *u, pd_error *err)
{
	double *at = PD_NEW(scratch, double, fit->design.p);
	pd_status st;

	if (!at)
		return pd_claim_no_memory(err);
	at[0] = 1;
	if (!isnan(c->a->usual_age))
		pd_fit_place(fit, c->a->usual_age / AGE_STEP, at);
	st = pd_impute_contrast(fit->model, at, c->a->level, PD_KENWARD_ROGER,
	                        &u->log, err);
	if (st != PD_OK)
		return st;
	u->centre = exp(u->log.value);
	u->low = exp(u->log.low);
	u->high = exp(u->log.high);
	return compare(c, r, fit, scratch, u, err);
}

static const char *too_few(struct claim *c, const pd_rows *r, size_t n)
{
	return r->n == 0 || n == 0
	    ? "no draw of this clinic was made like that, or none with a "
	      "recorded age"
	    : pd_arena_print(c->arena, "%zu patient%s, at least %zu are asked "
	                     "for", n, n == 1 ? "" : "s",
	                     c->file->plan.min_patients);
}

static bool age_outside(const pd_rows *r, double age)
{
	double low = INFINITY, high = -INFINITY;

	for (size_t i = 0; i < r->n; i++) {
		low = fmin(low, r->raw[i]);
		high = fmax(high, r->raw[i]);
	}
	return age < low || age > high;
}

static pd_status one_version(struct claim *c, const char *version,
                             pd_claim_usual *u, pd_error *err)
{
	pd_question *q = NULL;
	pd_arena *scratch = pd_arena_new();
	pd_rows rows = { 0 };
	pd_fit fit = { 0 };
	pd_fit_ask ask = { 0 };
	pd_status st = scratch ? pd_claim_usual_question(
	                             c, true, PD_CLAIM_AGE_ALONE, version, &q,
	                             err)
	                       : pd_claim_no_memory(err);

	if (st == PD_OK)
		st = pd_rows_take(c->store, q, c->arena, scratch, &rows, err);
	if (st == PD_OK) {
		u->n_patients = rows.n_groups[0];
		u->n_rows = rows.n;
		u->n_cases = rows.flow[rows.n_flow - 1].n_cases;
		u->n_censored = rows.n_censored;
		if (u->n_patients < c->file->plan.min_patients)
			u->refusal = too_few(c, &rows, u->n_patients);
		else if (!isnan(c->a->usual_age) &&
		         age_outside(&rows, c->a->usual_age))
			u->refusal = "the printed age lies outside the ages of "
			             "these patients";
	}
	if (st == PD_OK && !u->refusal) {
		st = pd_fit_run(&c->file->plan, q, &rows, &ask, c->arena,
		                scratch, &fit, err);
		u->refusal = fit.refusal;
		if (st == PD_OK && !u->refusal)
			st = centre(c, &rows, &fit, scratch, u, err);
	}
	pd_fit_clear(&fit);
	pd_rows_clear(&rows);
	pd_arena_free(scratch);
	return st;
}

/* --- all ----------------------------------------------------------------- */

/* The method versions that counted any of the matched rows. */
static pd_status versions(struct claim *c, const pd_question *q,
                          const char **name, size_t *n, pd_error *err)
{
	pd_arena *scratch = pd_arena_new();
	pd_rows rows = { 0 };
	pd_status st = scratch ? pd_rows_take(c->store, q, c->arena, scratch,
	                                      &rows, err)
	                       : pd_claim_no_memory(err);
	const pd_column *v = st == PD_OK ? pd_frame_find(rows.model,
	                                                 "method_version")
	                                 : NULL;

	*n = 0;
	for (size_t k = 0; v && k < v->n_levels && *n < PD_CLAIM_USUALS; k++)
		if (strcmp(v->level[k], "not recorded") != 0)
			name[(*n)++] = pd_arena_copy(c->arena, v->level[k]);
	pd_rows_clear(&rows);
	pd_arena_free(scratch);
	return st;
}

pd_status pd_claim_usual_all(struct claim *c, pd_error *err)
{
	const char *name[PD_CLAIM_USUALS] = { NULL };
	pd_question *q = NULL;
	size_t n = 0;
	pd_status st = pd_claim_usual_question(c, true, PD_CLAIM_AGE_ALONE, NULL,
	                                       &q, err);

	if (st == PD_OK)
		st = say_rows(c, q, err);
	if (st == PD_OK)
		st = versions(c, q, name, &n, err);
	for (size_t k = 0; st == PD_OK && k < (n > 1 ? n : 1); k++) {
		pd_claim_usual *u = &c->a->usual[c->a->n_usuals++];

		u->version = n ? name[k] : "not recorded";
		if (!u->version)
			return pd_claim_no_memory(err);
		st = one_version(c, n > 1 ? name[k] : NULL, u, err);
	}
	return st;
}
