/*
 * claim_rebuild.c - the print as ratios with intervals: every reading that
 * the print allows, none preferred by guess.
 */
#include "plan/claim_own.h"
#include "stats/colony.h"
#include "stats/printed.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

void pd_claim_measure(pd_claim_ratio *r, double margin)
{
	const pd_estimate *e = &r->log;
	double d = isnan(margin) ? 0 : fabs(log(margin));

	r->value = exp(e->value);
	r->low = exp(e->low);
	r->high = exp(e->high);
	r->verdict = isnan(e->low)                        ? PD_NOT_SETTLED
	             : d > 0 && e->low > -d && e->high < d ? PD_NO_MATTER
	             : e->low > 0                          ? PD_BETTER
	             : e->high < 0                         ? PD_WORSE
	                                                   : PD_NOT_SETTLED;
}

pd_estimate pd_claim_difference(const pd_estimate *a, const pd_estimate *b,
                                double level)
{
	double va = isnan(a->se) ? 0 : a->se * a->se;
	double vb = isnan(b->se) ? 0 : b->se * b->se, v = va + vb;
	pd_estimate e = { a->value - b->value, sqrt(v), INFINITY, NAN, NAN,
		          level, NAN };

	if (!(v > 0)) {
		e.se = NAN;
		return e;
	}
	double back = (isfinite(a->df) && va > 0 ? va * va / a->df : 0) +
	              (isfinite(b->df) && vb > 0 ? vb * vb / b->df : 0);

	e.df = back > 0 ? v * v / back : INFINITY;
	double half = pd_t_quantile(0.5 + level / 2, e.df) * e.se;

	e.low = e.value - half;
	e.high = e.value + half;
	e.p = pd_t_two_sided(e.value / e.se, e.df);
	return e;
}

/* --- one arm ------------------------------------------------------------- */

/* A middle further off the centre of its limits than this share of half their
 * distance is not that of a log-normal. */
static const double MOST_SKEW = 0.4;

/* Reading `as_se` of a print that does not say which. */
static pd_status arm_print(const pd_print_arm *a, double level, bool as_se,
                           pd_printed *out, pd_error *err)
{
	double t = a->times;

	switch (a->kind) {
	case PD_PRINT_MEAN_SD:
		return pd_printed_mean_sd(t * a->mean, t * a->sd, a->n, out,
		                          err);
	case PD_PRINT_MEAN_SE:
		return pd_printed_mean_sd(
		    t * a->mean, pd_printed_sd_of_se(t * a->se, a->n), a->n,
		    out, err);
	case PD_PRINT_MEAN_EITHER:
		return pd_printed_mean_sd(
		    t * a->mean,
		    as_se ? pd_printed_sd_of_se(t * a->plus_minus, a->n)
		          : t * a->plus_minus, a->n, out, err);
	case PD_PRINT_QUARTILES:
		return pd_printed_quartiles(t * a->median, t * a->lower,
		                            t * a->upper, a->n, out, err);
	case PD_PRINT_RANGE:
		return pd_printed_range(t * a->median, t * a->lowest,
		                        t * a->largest, a->n, out, err);
	case PD_PRINT_GEOMETRIC:
		return pd_printed_geometric(t * a->geometric_mean, t * a->low,
		                            t * a->high, level, a->n, 0, out,
		                            err);
	default:
		return pd_fail(err, PD_INTERNAL, "no numbers to rebuild");
	}
}

/* Colonies on cells plated: a rate per million. Counting error only. */
static pd_status arm_counts(const pd_print_arm *a, double level,
                            pd_claim_arm *to, pd_error *err)
{
	pd_colonies c;
	pd_status st = pd_colonies_of(&a->colonies, &a->cells, 1, NAN, NAN,
	                              level, &c, err);

	if (st != PD_OK)
		return st;
	to->n_centres = 1;
	to->centre_words[0] = "colonies over cells plated, counting error only";
	to->centre[0] = c.per_million.value;
	to->centre_low[0] = c.per_million.low;
	to->centre_high[0] = c.per_million.high;
	to->log_se[0] = 1 / sqrt(a->colonies);
	to->df[0] = INFINITY;
	return PD_OK;
}

static void add_centre(pd_claim_arm *to, const pd_printed *p,
                       const char *words, double level)
{
	size_t k = to->n_centres++;
	double half = pd_t_quantile(0.5 + level / 2, p->df) * p->log_se;

	to->centre_words[k] = words;
	to->centre[k] = exp(p->log_mean);
	to->centre_low[k] = exp(p->log_mean - half);
	to->centre_high[k] = exp(p->log_mean + half);
	to->log_se[k] = p->log_se;
	to->df[k] = p->df;
}

/* One arm read one way, into its list of centres. Numbers that no law fits
 * are an error at the arm's place. */
static pd_status arm_of(struct claim *c, int k, bool as_se, const char *words,
                        pd_printed *p, pd_error *err)
{
	const pd_claim_file *f = c->file;
	pd_error inner = { 0 };
	pd_status st = arm_print(&f->arm[k], f->print_level, as_se, p, &inner);

	if (st == PD_OK && !(isfinite(p->log_mean) && p->log_se > 0 &&
	                     isfinite(p->log_se)))
		st = pd_fail(&inner, PD_NUMERIC, "out of the range of numbers");
	if (st != PD_OK)
		return pd_fail_at(err, st == PD_NO_MEMORY ? st : PD_PLAN,
		                  f->plan.name, f->arm[k].line, 1,
		                  "[%s]: %s", k ? "comparator" : "device",
		                  inner.text);
	add_centre(&c->a->arm[k], p, words, f->plan.level);
	if (fabs(p->skew) > MOST_SKEW)
		c->a->skewed = true;
	return PD_OK;
}

static const char *range_text(pd_arena *a, const char *words,
                              const pd_print_range *r, const char *before)
{
	if (isnan(r->low))
		return before;
	const char *one = r->low == r->high
	    ? pd_arena_print(a, words, pd_arena_print(a, "%g", r->low))
	    : pd_arena_print(a, words, pd_arena_print(a, "%g to %g", r->low,
	                                              r->high));

	return before ? pd_arena_print(a, "%s, %s", before, one) : one;
}

static void describe_arm(struct claim *c, int k)
{
	const pd_print_arm *a = &c->file->arm[k];
	pd_claim_arm *to = &c->a->arm[k];
	pd_arena *m = c->arena;
	const char *u = a->unit ? a->unit : "";

	to->name = a->name ? a->name : k ? "the comparator" : "the device";
	to->material = a->material;
	to->n = a->n;
	to->price = a->price;
	to->draw = range_text(m, "%s mL a pull", &a->volume_ml, NULL);
	to->draw = range_text(m, "%s mL a site", &a->site_ml, to->draw);
	to->draw = range_text(m, "%s mL in all", &a->total_ml, to->draw);
	to->draw = range_text(m, "%s sites", &a->n_sites, to->draw);
	to->draw = range_text(m, "age %s", &a->age_y, to->draw);
	switch (a->kind) {
	case PD_PRINT_NONE:
		break;
	case PD_PRINT_MEAN_SD:
		to->printed = pd_arena_print(m, "mean %g, SD %g %s", a->mean,
		                             a->sd, u);
		break;
	case PD_PRINT_MEAN_SE:
		to->printed = pd_arena_print(m, "mean %g, SE %g %s", a->mean,
		                             a->se, u);
		break;
	case PD_PRINT_MEAN_EITHER:
		to->printed = pd_arena_print(m, "%g \xc2\xb1 %g %s", a->mean,
		                             a->plus_minus, u);
		break;
	case PD_PRINT_QUARTILES:
		to->printed = pd_arena_print(m, "median %g, quartiles %g and %g "
		                             "%s", a->median, a->lower,
		                             a->upper, u);
		break;
	case PD_PRINT_RANGE:
		to->printed = pd_arena_print(m, "median %g, range %g to %g %s",
		                             a->median, a->lowest, a->largest,
		                             u);
		break;
	case PD_PRINT_GEOMETRIC:
		to->printed = pd_arena_print(m, "geometric mean %g (%g to %g) "
		                             "%s", a->geometric_mean, a->low,
		                             a->high, u);
		break;
	case PD_PRINT_COUNTS:
		to->printed = pd_arena_print(m, "%g colonies on %g cells",
		                             a->colonies, a->cells);
		break;
	}
}

/* --- readings ------------------------------------------------------------ */

pd_claim_reading *pd_claim_add_reading(struct claim *c, const char *words,
                                       const pd_estimate *e)
{
	pd_claim_answer *a = c->a;

	if (!words || a->n_readings == PD_CLAIM_READINGS)
		return NULL;
	pd_claim_reading *r = &a->reading[a->n_readings++];

	r->words = words;
	r->claim.log = *e;
	r->sd = r->detectable = r->power_margin = NAN;
	pd_claim_measure(&r->claim, a->margin);
	return r;
}

/* Correlations a paired print is read with: that printed, or a stated range. */
static size_t correlations(const pd_claim_file *f, double out[3])
{
	if (isnan(f->correlation.low)) {
		out[0] = 0;
		out[1] = 0.5;
		out[2] = 0.8;
		return 3;
	}
	out[0] = f->correlation.low;
	out[1] = f->correlation.high;
	return out[0] == out[1] ? 1 : 2;
}

static pd_status pair_readings(struct claim *c, const pd_printed p[2],
                               const char *words, pd_error *err)
{
	const pd_claim_file *f = c->file;
	double r[3];
	size_t n = correlations(f, r);
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < n; i++) {
		pd_estimate e;
		const char *name = pd_arena_print(
		    c->arena, "%s, pairs with correlation %g", words, r[i]);

		st = pd_printed_paired_ratio(&p[0], &p[1], r[i], f->plan.level,
		                             &e, err);
		if (st != PD_OK)
			return st;
		pd_claim_reading *to = pd_claim_add_reading(c, name, &e);

		if (!to)
			return pd_claim_no_memory(err);
		to->sd = e.se * sqrt((double)p[0].n);
		if (isnan(f->correlation.low))
			to->doubt = "the correlation of the pairs is not "
			            "printed; 0 is the cautious end";
	}
	return st;
}

static pd_status number_readings(struct claim *c, pd_error *err)
{
	const pd_claim_file *f = c->file;
	bool either = f->arm[0].kind == PD_PRINT_MEAN_EITHER ||
	              f->arm[1].kind == PD_PRINT_MEAN_EITHER;
	pd_status st = PD_OK;

	for (int as_se = 0; st == PD_OK && as_se <= either; as_se++) {
		bool both = f->arm[0].kind && f->arm[1].kind;
		const char *words =
		    !either ? "printed numbers"
		    : as_se ? "\"\xc2\xb1\" read as SE"
		            : "\"\xc2\xb1\" read as SD";
		pd_printed p[2];
		pd_estimate e;

		for (int k = 0; st == PD_OK && k < 2; k++) {
			if (!f->arm[k].kind)
				continue;
			st = arm_of(c, k, as_se, words, &p[k], err);
		}
		if (st != PD_OK)
			return st;
		if (!both)
			continue;
		if (f->paired) {
			st = pair_readings(c, p, words, err);
			continue;
		}
		st = pd_printed_ratio(&p[0], &p[1], f->plan.level, &e, err);
		if (st != PD_OK)
			return st;
		pd_claim_reading *to = pd_claim_add_reading(c, words, &e);

		if (!to)
			return pd_claim_no_memory(err);
		to->sd = sqrt(((double)(p[0].n - 1) * p[0].log_sd * p[0].log_sd +
		               (double)(p[1].n - 1) * p[1].log_sd * p[1].log_sd) /
		              (double)(p[0].n + p[1].n - 2));
	}
	return st;
}

static pd_status count_readings(struct claim *c, pd_error *err)
{
	const pd_claim_file *f = c->file;
	const pd_print_arm *a = f->arm;
	double level = f->plan.level;
	pd_two_counts t = pd_compare_two_counts(
	    a[0].colonies, a[0].cells, a[1].colonies, a[1].cells, level);
	pd_estimate e = { log(t.ratio), NAN, INFINITY, log(t.low), log(t.high),
		          level, t.p };
	pd_status st = PD_OK;

	for (int k = 0; st == PD_OK && k < 2; k++)
		if (a[k].kind)
			st = arm_counts(&a[k], level, &c->a->arm[k], err);
	if (st != PD_OK || !a[0].kind || !a[1].kind)
		return st;
	e.se = sqrt(1 / a[0].colonies + 1 / a[1].colonies);
	pd_claim_reading *r = pd_claim_add_reading(c, "counts of colonies", &e);

	if (!r)
		return pd_claim_no_memory(err);
	r->doubt = "counting error alone: the spread between patients is not "
	           "printed, so the interval is too narrow";
	return PD_OK;
}

/* Two groups of n and m dealt out anew, or n pairs with signs flipped. */
static double smallest_p(const pd_claim_answer *a)
{
	double n = (double)a->n_patients[0], m = (double)a->n_patients[1];

	if (!(n > 0) || (!a->paired && !(m > 0)))
		return NAN;
	if (a->paired)
		return fmin(1, 2 * pow(2, -n));
	return fmin(1, 2 * exp(lgamma(n + 1) + lgamma(m + 1) -
	                       lgamma(n + m + 1)));
}

pd_status pd_claim_rebuild(struct claim *c, pd_error *err)
{
	const pd_claim_file *f = c->file;
	pd_status st = PD_OK;

	c->a->paired = f->paired;
	for (int k = 0; k < 2; k++) {
		describe_arm(c, k);
		c->a->n_patients[k] = f->paired ? f->n : f->arm[k].n;
	}
	c->a->exact_p = smallest_p(c->a);
	if (f->refusal)
		return PD_OK;
	if (f->arm[0].kind == PD_PRINT_COUNTS ||
	    f->arm[1].kind == PD_PRINT_COUNTS)
		st = count_readings(c, err);
	else if (f->arm[0].kind || f->arm[1].kind)
		st = number_readings(c, err);
	if (st == PD_OK && !isnan(f->ratio))
		st = pd_claim_ratio_reading(c, err);
	return st == PD_OK && f->wording.kind ? pd_claim_word_readings(c, err) : st;
}
