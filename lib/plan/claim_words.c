/*
 * claim_words.c - claims that print no numbers of the arms: words, a ratio, a
 * P value; and what a study of the printed size could have shown.
 */
#include "plan/claim_own.h"
#include "stats/power.h"
#include "stats/quantile.h"

#include <math.h>

/* The spread behind a standard error, of a pair's difference or of a result. */
static double sd_of(const struct claim *c, double se)
{
	const pd_claim_file *f = c->file;
	double n = (double)f->arm[0].n, m = (double)f->arm[1].n;

	if (isnan(f->low) && f->p_below) /* a bound, not the spread */
		return NAN;
	if (f->paired)
		return f->n ? se * sqrt((double)f->n) : NAN;
	return n > 0 && m > 0 ? se / sqrt(1 / n + 1 / m) : NAN;
}

/* The interval that a P value implies for a ratio: se = |ln r| / t. */
static pd_estimate of_p(const struct claim *c, double ratio)
{
	const pd_claim_file *f = c->file;
	double level = f->plan.level, df = INFINITY;
	pd_estimate e = { log(ratio), NAN, INFINITY, NAN, NAN, level, NAN };

	if (f->paired && f->n > 1)
		df = (double)f->n - 1;
	else if (!f->paired && f->arm[0].n && f->arm[1].n)
		df = (double)(f->arm[0].n + f->arm[1].n - 2);
	if (isnan(f->p) || !isfinite(df) || ratio == 1)
		return e;
	e.df = df;
	e.se = fabs(e.value) / pd_t_quantile(1 - f->p / 2, df);
	double half = pd_t_quantile(0.5 + level / 2, df) * e.se;

	e.low = e.value - half;
	e.high = e.value + half;
	e.p = f->p;
	return e;
}

/* Ratio of the printed middles themselves, NaN where they are not both
 * printed: what the words beside them must have meant. */
static double printed_middles(const pd_claim_file *f)
{
	double x[2] = { NAN, NAN };

	for (int k = 0; k < 2; k++) {
		const pd_print_arm *a = &f->arm[k];

		if (!a->kind)
			continue;
		x[k] = a->kind == PD_PRINT_GEOMETRIC ? a->geometric_mean
		       : a->kind == PD_PRINT_COUNTS  ? a->colonies / a->cells
		       : isnan(a->mean)              ? a->median
		                                     : a->mean;
		x[k] *= a->times;
	}
	return isnan(f->ratio) ? x[0] / x[1] : f->ratio;
}

enum { NEAR = 20 }; /* a printed ratio within 1 part in 20 is the same */

/* Which meaning the printed numbers bear out; n: none. */
static size_t meant(double printed, const double *meaning, size_t n)
{
	size_t best = n;

	for (size_t i = 0; i < n; i++)
		if (NEAR * fabs(log(printed / meaning[i])) < 1 &&
		    (best == n || fabs(log(printed / meaning[i])) <
		                      fabs(log(printed / meaning[best]))))
			best = i;
	return best;
}

static pd_status say_wording(struct claim *c, const double *meaning, size_t n,
                             double printed, pd_error *err)
{
	const char *text = c->file->wording.text;
	size_t which = meant(printed, meaning, n);
	const char *can =
	    n == 1 ? pd_arena_print(c->arena, "\"%s\" is a ratio of %g.", text,
	                            meaning[0])
	           : pd_arena_print(c->arena, "\"%s\" can mean %g times as much "
	                            "or %g times as much.", text, meaning[0],
	                            meaning[1]);

	if (!can)
		return pd_claim_no_memory(err);
	c->a->wording =
	    isnan(printed)
	        ? n == 1 ? can
	                 : pd_arena_print(c->arena, "%s Both are followed below; "
	                                  "only printed numbers settle which.",
	                                  can)
	    : which < n
	        ? pd_arena_print(c->arena, "%s The printed numbers have a ratio "
	                         "of %.2f, so %g is meant.", can, printed,
	                         meaning[which])
	        : pd_arena_print(c->arena, "%s The printed numbers have a ratio "
	                         "of %.2f, which is none of these: ask how the "
	                         "words were come by.", can, printed);
	return c->a->wording ? PD_OK : pd_claim_no_memory(err);
}

pd_status pd_claim_word_readings(struct claim *c, pd_error *err)
{
	static const char *const how[2] = { "taken literally",
		                            "as often meant" };
	const pd_claim_file *f = c->file;
	double meaning[2], printed = printed_middles(f);
	size_t n = pd_claim_meanings(&f->wording, meaning);
	pd_status st = say_wording(c, meaning, n, printed, err);

	/* words that the numbers bear out say nothing more */
	if (st != PD_OK || meant(printed, meaning, n) < n)
		return st;
	for (size_t i = 0; i < n; i++) {
		pd_estimate e = of_p(c, meaning[i]);
		bool percent = f->wording.kind == PD_WORDING_PERCENT;
		const char *name =
		    n == 1 ? pd_arena_print(c->arena, "\"%s\"", f->wording.text)
		           : pd_arena_print(c->arena, "\"%s\" %s",
		                            f->wording.text,
		                            how[percent ? i : 1 - i]);
		pd_claim_reading *r = pd_claim_add_reading(c, name, &e);

		if (!r)
			return pd_claim_no_memory(err);
		r->doubt =
		    isnan(e.se) ? "nothing printed says how uncertain it is"
		    : f->p_below
		        ? "the widest interval that the printed P allows, if "
		          "it is of a t test of logs"
		        : "the interval that the printed P implies, if it is "
		          "of a t test of logs";
		r->sd = sd_of(c, e.se);
	}
	return PD_OK;
}

pd_status pd_claim_ratio_reading(struct claim *c, pd_error *err)
{
	const pd_claim_file *f = c->file;
	double level = f->plan.level;
	size_t n = f->paired ? f->n : f->arm[0].n + f->arm[1].n;
	size_t taken = f->paired ? 1 : 2;
	double df = n > taken ? (double)(n - taken) : INFINITY;
	pd_estimate e = of_p(c, f->ratio);

	if (!isnan(f->low)) {
		e.df = df;
		e.se = (log(f->high) - log(f->low)) /
		       (2 * pd_t_quantile(0.5 + f->print_level / 2, df));
		double half = pd_t_quantile(0.5 + level / 2, df) * e.se;

		/* at the printed level the limits are those printed */
		e.low = level == f->print_level ? log(f->low) : e.value - half;
		e.high = level == f->print_level ? log(f->high) : e.value + half;
		e.p = pd_t_two_sided(e.value / e.se, df);
	}
	pd_claim_reading *r = pd_claim_add_reading(c, "the ratio as printed", &e);

	if (!r)
		return pd_claim_no_memory(err);
	if (isnan(e.se))
		r->doubt = "nothing printed says how uncertain it is";
	else
		r->sd = sd_of(c, e.se);
	return PD_OK;
}

/* --- what the study could show ------------------------------------------- */

void pd_claim_power(struct claim *c)
{
	pd_claim_answer *a = c->a;
	double n = (double)a->n_patients[0], m = (double)a->n_patients[1];
	double borrowed = !a->paired        ? a->trial.sd_result
	                  : a->trial.refusal ? NAN
	                                     : a->trial.sd;

	if (!(n > 0) || (!a->paired && !(m > 0)))
		return;
	if (!a->paired)
		n = 2 * n * m / (n + m); /* the same standard error */
	for (size_t i = 0; i < a->n_readings; i++) {
		pd_claim_reading *r = &a->reading[i];

		if (isnan(r->sd) && borrowed > 0) {
			r->sd = borrowed;
			r->sd_borrowed = true;
		}
		pd_trial t = { a->paired ? PD_TRIAL_PAIRS : PD_TRIAL_GROUPS, 0,
			       r->sd, 1 - a->level, 2, 0, 0, 0 };
		double far = NAN;

		if (!(r->sd > 0) || n < 2)
			continue;
		/* a level that leaves no such power has no answer */
		if (pd_power_detectable(&t, n, 0.8, &far, NULL) != PD_OK)
			continue;
		r->detectable = exp(far);
		if (isnan(a->margin))
			continue;
		t.effect = fabs(log(a->margin));
		r->power_margin = pd_power_t(&t, n);
	}
}
