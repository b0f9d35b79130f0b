/* diagnose.c - checks of the fit and cautions of the question, in words. */
#include "plan/diagnose.h"
#include "plan/components.h"
#include "plan/words.h"
#include "stats/paired.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_WORDS = 24 };

/* Appends words to a list of at most MOST_WORDS; NULL words mean no memory. */
static pd_status say(const char **list, size_t *n, const char *words,
                     pd_error *err)
{
	if (!words)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (*n < MOST_WORDS)
		list[(*n)++] = words;
	return PD_OK;
}

struct work {
	const pd_plan *plan;
	const pd_question *q;
	const pd_rows *r;
	const pd_method *m;
	pd_arena *arena;
	pd_answer *a;
};

static pd_status note(struct work *w, const char *words, pd_error *err)
{
	return say(w->a->diagnostics, &w->a->n_diagnostics, words, err);
}

/* --- variance parts ------------------------------------------------------------ */

static pd_status components(struct work *w, pd_fit *fit, pd_error *err)
{
	pd_status st = pd_components_fit(w->r, fit, w->arena, w->a, err);

	for (size_t k = 0; st == PD_OK && k + 1 < w->a->n_components; k++)
		if (w->a->component_sd[k] == 0)
			st = note(w, pd_arena_print(
			    w->arena, "Variation %s could not be told from 0 "
			    "in these data; that is an ordinary result and "
			    "the intervals allow for it.",
			    w->a->component_name[k]), err);
	return st;
}

/* --- residuals --------------------------------------------------------------------- */

/*
 * Outliers: |residual| > 4 SD; 1 in 16,000 is expected under the normal law.
 */
static pd_status outliers(struct work *w, const double *residual, size_t n,
                          pd_error *err)
{
	double ss = 0;
	size_t far = 0;

	for (size_t i = 0; i < n; i++)
		ss += residual[i] * residual[i] / (double)n;
	for (size_t i = 0; i < n; i++)
		far += residual[i] * residual[i] > 16 * ss;
	if ((double)far <= 2 + (double)n / 4000)
		return note(w, pd_arena_print(
		    w->arena, "Outliers: %zu of %zu results lie beyond 4 "
		    "standard deviations from the fit, no more than chance "
		    "explains.", far, n), err);
	return note(w, pd_arena_print(
	    w->arena, "Outliers: %zu of %zu results lie beyond 4 standard "
	    "deviations from the fit, more than chance explains; see "
	    "whether the "
	    "rank-based line agrees and whether findings name these rows.",
	    far, n), err);
}

static pd_status spread_by_arm(struct work *w, const double *residual,
                               size_t n, pd_error *err)
{
	double ss[2] = { 0 }, count[2] = { 0 };

	if (!w->r->arm || w->r->n_arms != 2)
		return PD_OK;
	for (size_t i = 0; i < n; i++) {
		ss[w->r->arm[i]] += residual[i] * residual[i];
		count[w->r->arm[i]] += 1;
	}
	double ratio = sqrt(ss[0] / count[0]) / sqrt(ss[1] / count[1]);

	if (!(ratio > 1.5 || ratio < 1 / 1.5))
		return note(w, "Spread: the two levels scatter alike.", err);
	return note(w, pd_arena_print(
	    w->arena, "Spread: results scatter %.1f times as much at '%s' as "
	    "at '%s'; the interval assumes the same scatter.",
	    ratio > 1 ? ratio : 1 / ratio, w->r->arm_name[ratio > 1 ? 0 : 1],
	    w->r->arm_name[ratio > 1 ? 1 : 0]), err);
}

static double plain(double x)
{
	return x;
}

static int by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Values a tenth from either end, to the three digits they are named by. */
static pd_status tenths(struct work *w, const double *x, double *low,
                        double *high, pd_error *err)
{
	size_t n = w->r->n;
	double *sorted = malloc((n + 1) * sizeof *sorted);
	char text[32];

	if (!sorted)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	memcpy(sorted, x, n * sizeof *sorted);
	qsort(sorted, n, sizeof *sorted, by_number);
	snprintf(text, sizeof text, "%.3g", sorted[n / 10]);
	*low = strtod(text, NULL);
	snprintf(text, sizeof text, "%.3g", sorted[n - 1 - n / 10]);
	*high = strtod(text, NULL);
	free(sorted);
	return PD_OK;
}

/* Is the curve more than a straight line? */
static pd_status bends(struct work *w, pd_fit *fit, pd_error *err)
{
	size_t p = fit->design.p, rows = fit->curve->k - 2;
	double *c = PD_NEW(w->arena, double, rows * p);
	pd_f_test f;

	if (!c)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t j = 0; j < rows; j++)
		c[j * p + fit->curve_column[j + 1]] = 1;
	pd_status st = pd_impute_f_test(fit->model, c, rows, PD_KENWARD_ROGER,
	                                &f, err);

	if (st != PD_OK)
		return st;
	return note(w, pd_arena_print(
	    w->arena, f.p < 0.01
	        ? "Shape: the curve fits better than a straight line (P < "
	          ".01)."
	        : "Shape: these data do not tell the curve from a straight "
	          "line (P = %.2f).", f.p), err);
}

/* The effect itself at two places of what it may differ by. */
static pd_status parts(struct work *w, pd_fit *fit, pd_error *err)
{
	const pd_question *q = w->q;
	const pd_column *m = pd_frame_find(w->r->model, q->differs_by);
	double at[2] = { 1, 0 };
	pd_estimate e[2];
	pd_status st = PD_OK;

	if (m->kind == PD_REAL)
		st = tenths(w, m->real, &at[1], &at[0], err);
	for (int k = 0; st == PD_OK && k < 2; k++) {
		double *c = PD_NEW(w->arena, double, fit->design.p);
		double x = m->kind == PD_REAL ? at[k] / q->differs_step : at[k];

		if (!c)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		c[fit->x_column] = 1;
		c[fit->differs_column] = x - fit->differs_mean;
		st = pd_impute_contrast(fit->model, c, w->plan->level,
		                        PD_KENWARD_ROGER, &e[k], err);
	}
	if (st != PD_OK)
		return st;
	double (*shown)(double) = q->scale == PD_RATIO ? exp : plain;
	char name[2][24];

	for (int k = 0; k < 2; k++)
		snprintf(name[k], sizeof name[k], "%g", at[k]);
	const char *words[2] = {
		m->kind == PD_REAL ? name[0] : q->differs_first,
		m->kind == PD_REAL ? name[1] : q->differs_second,
	};

	return note(w, pd_arena_print(
	    w->arena, "Parts: the effect is %.3g (%.3g to %.3g) with %s and "
	    "%.3g (%.3g to %.3g) with %s.", shown(e[0].value), shown(e[0].low),
	    shown(e[0].high), pd_words_arm(w->arena, q->differs_by, words[0]),
	    shown(e[1].value), shown(e[1].low), shown(e[1].high),
	    pd_words_arm(w->arena, q->differs_by, words[1])), err);
}

static pd_status curvature(struct work *w, pd_error *err)
{
	pd_fit_ask ask = { .adjust = true, .curved = true, .light = true,
		           .calendar = !isnan(w->q->change),
		           .within = w->m->way != PD_WAY_BETWEEN };
	pd_fit fit;

	if (!w->r->x)
		return PD_OK;
	pd_arena *scratch = pd_arena_new();

	if (!scratch)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_status st = pd_fit_run(w->plan, w->q, w->r, &ask, w->arena, scratch,
	                          &fit, err);
	int told = st == PD_OK && !fit.refusal;
	int curved = told && fit.curvature.p < 0.01;

	if (st == PD_OK)
		pd_fit_clear(&fit);
	pd_arena_free(scratch);
	if (!told)
		return st; /* two values of x have no curve */
	return note(w, curved
	    ? "Shape: a curve fits better than a straight line (P < .01); "
	      "the slope is an average over the range seen."
	    : "Shape: no sign that a straight line is wrong.", err);
}

static pd_status shape(struct work *w, pd_fit *fit, pd_error *err)
{
	if (fit && fit->curve)
		return bends(w, fit, err);
	return fit && w->q->differs_by ? parts(w, fit, err)
	                               : curvature(w, err);
}

/* Few and lopsided differences: docs/coverage.md has 92.6 % for 12 skewed
 * pairs and 93.7 % for 30 where 95 % is asked. */
enum { MANY_PAIRS = 50 };

static pd_status lopsided(struct work *w, const pd_pairs *p, double mean,
                          double sd, pd_error *err)
{
	double cube = 0;

	for (size_t i = 0; i < p->n; i++)
		cube += pow((p->diff[i] - mean) / sd, 3) / (double)p->n;
	if (p->n >= MANY_PAIRS || !(fabs(cube) > 1))
		return PD_OK;
	return note(w, pd_arena_print(
	    w->arena, "Lopsided: the differences of the %zu pairs lean to one "
	    "side (skewness %.1f); with so few the interval covers somewhat "
	    "less than it says. Read the rank-based line beside it.", p->n,
	    cube), err);
}

/* How far one more patient may lie: t limits of a single normal difference. */
static const char *further(struct work *w, const pd_pairs *p, double mean,
                           double sd)
{
	double reach = pd_t_quantile(0.5 + w->plan->level / 2,
	                             (double)(p->n - 1)) *
	               sd * sqrt(1 + 1 / (double)p->n);

	return pd_arena_print(
	    w->arena, " For one more patient the ratio may lie between %.2f and "
	    "%.2f (%g %% limits, if the logs are normal).", exp(mean - reach),
	    exp(mean + reach), 100 * w->plan->level);
}

static pd_status pair_spread(struct work *w, const pd_pairs *p, pd_error *err)
{
	double mean = 0, ss = 0;
	size_t above = 0, half = 0, quarter = 0;
	bool ratio = w->q->scale == PD_RATIO;

	for (size_t i = 0; i < p->n; i++) {
		mean += p->diff[i] / (double)p->n;
		above += p->diff[i] > 0;
		half += p->diff[i] < -log(2);
		quarter += p->diff[i] < -log(4);
	}
	for (size_t i = 0; i < p->n; i++)
		ss += (p->diff[i] - mean) * (p->diff[i] - mean);
	double sd = sqrt(ss / (double)(p->n - 1));
	pd_status st = lopsided(w, p, mean, sd, err);
	const char *less = !ratio ? "" : pd_arena_print(
	    w->arena, ", %zu less than half and %zu of these less than a quarter",
	    half, quarter);
	const char *next = !ratio ? "" : further(w, p, mean, sd);

	if (st != PD_OK)
		return st;
	if (!less || !next)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return note(w, pd_arena_print(
	    w->arena, "Pairs: %zu of %zu patients have more at '%s'%s; the "
	    "standard deviation of the differences is %.2f%s.%s", above, p->n,
	    w->r->arm_name[0], less, sd,
	    ratio ? " on the natural-log scale" : "", next), err);
}

/* How alike the two of a pair are; shares of 0 and 100 have no such law. */
static pd_status pair_agreement(struct work *w, const pd_pairs *p,
                                pd_error *err)
{
	const char *words = NULL;
	pd_status st = isnan(w->q->floor)
	    ? pd_components_pairs(p, w->arena, w->a, &words, err) : PD_OK;

	return st == PD_OK && words ? note(w, words, err) : st;
}

/* The level table and the effect of a comparison inside units differ. */
static pd_status basis(struct work *w, pd_error *err)
{
	if (!w->r->arm || w->m->way == PD_WAY_BETWEEN)
		return PD_OK;
	return note(w, pd_arena_print(
	    w->arena, "Basis: the data table describes all results at each "
	    "level; the effect rests on the %zu patients with both levels "
	    "inside one %s, so the means of the table need not stand in its "
	    "ratio.", w->m->n_pair_patients, w->q->within), err);
}

static pd_status limits(struct work *w, pd_error *err)
{
	const pd_rows *r = w->r;

	if (!r->n_censored)
		return PD_OK;
	return note(w, pd_arena_print(
	    w->arena, "Limits: %zu of %zu results (%.1f %%) are zero, below "
	    "detection or too many to count; they stay in the model between "
	    "their limits.", r->n_censored, r->n,
	    100.0 * (double)r->n_censored / (double)r->n), err);
}

/* A steady fall by steps: after how many of the parameter's units half is left,
 * ln 2 * step / -b, and its limits from those of b. */
static pd_status halves(struct work *w, pd_error *err)
{
	const pd_question *q = w->q;
	const pd_estimate *e = &w->a->effect[0].log;

	if (q->kind != PD_COMPARE_SLOPE || isnan(q->step) || q->differs_by ||
	    q->scale != PD_RATIO || !(e->high < 0))
		return PD_OK;
	double per = log(2) * q->step;

	return note(w, pd_arena_print(
	    w->arena, "Halves: half is left for every %.3g (%.3g to %.3g) by "
	    "which %s rises; a straight line on the log scale, not to be drawn "
	    "beyond the values seen.", per / -e->value, per / -e->low,
	    per / -e->high, pd_words_parameter(q->parameter)), err);
}

pd_status pd_diagnose(const pd_plan *plan, const pd_question *q,
                      const pd_rows *rows, const pd_method *method,
                      pd_fit *fit, const pd_pairs *pairs,
                      const double *residual, pd_arena *arena,
                      pd_answer *answer, pd_error *err)
{
	struct work w = { plan, q, rows, method, arena, answer };
	pd_status st;

	answer->diagnostics = PD_NEW(arena, const char *, MOST_WORDS);
	if (!answer->diagnostics)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = basis(&w, err);
	if (st == PD_OK)
		st = limits(&w, err);
	if (st == PD_OK && rows->zero_note)
		st = note(&w, rows->zero_note, err);
	if (st == PD_OK && rows->pool_note)
		st = note(&w, rows->pool_note, err);
	if (st == PD_OK && rows->incomplete_note)
		st = note(&w, rows->incomplete_note, err);
	if (st == PD_OK && rows->where_note)
		st = note(&w, rows->where_note, err);
	if (st == PD_OK && rows->dilution_note)
		st = note(&w, rows->dilution_note, err);
	for (size_t k = 0; st == PD_OK && k < rows->n_share_notes; k++)
		st = note(&w, rows->share_note[k], err);
	if (st == PD_OK && w.a->n_effects)
		st = halves(&w, err);
	if (st == PD_OK && pairs)
		st = pair_spread(&w, pairs, err);
	if (st == PD_OK && pairs)
		st = pair_agreement(&w, pairs, err);
	if (st == PD_OK && fit)
		st = components(&w, fit, err);
	if (st == PD_OK && fit && fit->aliased)
		st = note(&w, pd_arena_print(arena, "Left out of the "
		                             "adjustment: %s.", fit->aliased),
		          err);
	if (st == PD_OK && rows->floor_note)
		st = note(&w, rows->floor_note, err);
	if (!isnan(q->floor))
		residual = NULL; /* of shares they say nothing */
	if (st == PD_OK && residual)
		st = outliers(&w, residual, rows->n, err);
	if (st == PD_OK && residual)
		st = spread_by_arm(&w, residual, rows->n, err);
	return st == PD_OK ? shape(&w, fit, err) : st;
}

/* --- cautions -------------------------------------------------------------------------- */

static int judged(const pd_question *q, const char *name)
{
	return strcmp(q->parameter, name) == 0;
}

static int adjusted(const pd_question *q, const char *name)
{
	for (size_t k = 0; k < q->n_adjust; k++)
		if (strcmp(q->adjust[k], name) == 0)
			return 1;
	return 0;
}

/* Unequal mL in the arms explains a concentration by itself. */
static const char *unequal_volume(const pd_question *q, const pd_rows *r,
                                  pd_arena *arena)
{
	const pd_column *v = pd_frame_find(r->model, "volume_ml");
	double sum[2] = { 0 }, count[2] = { 0 };

	if (!v || !r->arm || r->n_arms != 2 || judged(q, "volume_ml") ||
	    adjusted(q, "volume_ml"))
		return NULL;
	for (size_t i = 0; i < r->n; i++)
		if (v->real[i] > 0) {
			sum[r->arm[i]] += log(v->real[i]);
			count[r->arm[i]] += 1;
		}
	double a = exp(sum[0] / count[0]), b = exp(sum[1] / count[1]);

	if (!(a / b > 1.25 || b / a > 1.25))
		return NULL;
	return pd_arena_print(
	    arena, "The levels were drawn at different volumes (typically "
	    "%.1f mL at '%s', %.1f mL at '%s') and the model does not hold "
	    "volume equal: part of the difference may be the volume's.", a,
	    r->arm_name[0], b, r->arm_name[1]);
}

static const struct caution {
	const char *parameter; /* NULL: any */
	const char *words;
} by_parameter[] = {
	{ "site_ml", "More volume is not more cells: later mL are mostly "
	  "blood and cost haemoglobin." },
	{ "volume_ml", "More volume is not more cells: later mL are mostly "
	  "blood and cost haemoglobin." },
	{ "total_ml", "More volume is not more cells: later mL are mostly "
	  "blood and cost haemoglobin." },
	{ "n_sites", "More punctures mean more bleeding, pain and scarring; "
	  "read the harm line beside any gain." },
	{ "move", "How a needle was moved was the operator's choice on the "
	  "day; a weak first pull may have led to the move." },
	{ "aliquot_no", "Weak first pulls may have led to further pulls." },
	{ "age_y", "A group result: it does not predict a person and is no "
	  "reason to refuse or to promise." },
	{ "date", "Whatever else changed on or about that day is in this "
	  "difference; the calendar slope takes out a steady drift only." },
	{ "operator", "Operators' patients differ; read the intervals, make "
	  "no ranking." },
	{ "case_date", "A drift over the years can be the laboratory's, the "
	  "patients' or the technique's." },
	{ "needle_geometry", "The result speaks of this clinic's draws, not "
	  "of a device's merit elsewhere." },
	{ "needle", "The result speaks of this clinic's draws, not of a "
	  "device's merit elsewhere." },
	{ "landmark", "The choice of bone follows the patient and the "
	  "indication; compare only where both were open." },
};

static pd_status caution(pd_answer *a, const char *words, pd_error *err)
{
	return say(a->cautions, &a->n_cautions, words, err);
}

pd_status pd_cautions(const pd_question *q, const pd_rows *rows,
                      const pd_method *method, pd_arena *arena,
                      pd_answer *answer, pd_error *err)
{
	pd_status st = PD_OK;
	const char *volume = unequal_volume(q, rows, arena);

	answer->cautions = PD_NEW(arena, const char *, MOST_WORDS);
	if (!answer->cautions)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0;
	     st == PD_OK && i < sizeof by_parameter / sizeof *by_parameter; i++)
		if (judged(q, by_parameter[i].parameter))
			st = caution(answer, by_parameter[i].words, err);
	if (st == PD_OK && volume)
		st = caution(answer, volume, err);
	if (st == PD_OK && rows->dilution_caution)
		st = caution(answer, rows->dilution_caution, err);
	if (st == PD_OK && method->way == PD_WAY_BETWEEN)
		st = caution(answer,
		             "A comparison between patients, not a trial: "
		             "what was not recorded is not adjusted for.", err);
	if (st == PD_OK && strcmp(q->judge, "concentration") == 0)
		st = caution(answer,
		             "A technique can raise the concentration by "
		             "drawing less: read the yield beside it.", err);
	if (st == PD_OK && strcmp(q->outcome, "tnc") == 0)
		st = caution(answer,
		             "Nucleated cells do not stand in for colony-"
		             "forming cells.", err);
	return st;
}
