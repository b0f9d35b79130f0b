/* verdict.c - intervals and families of p values into words. */
#include "plan/verdict.h"
#include "stats/detect.h"
#include "stats/multiple.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void pd_verdict_measure(pd_effect *e, pd_scale scale, double margin,
                        double level)
{
	const pd_estimate *b = &e->log;
	int ratio = scale == PD_RATIO;
	double d = ratio ? -log(margin) : margin;
	double shown = pd_detectable(b->se, b->df, 1 - level, 0.8);

	e->value = ratio ? exp(b->value) : b->value;
	e->low = ratio ? exp(b->low) : b->low;
	e->high = ratio ? exp(b->high) : b->high;
	e->detectable = ratio ? exp(shown) : shown;
	e->p_margin = NAN;
	if (!isnan(margin))
		e->p_margin =
		    fmax(pd_t_upper((b->value + d) / b->se, b->df),
		         pd_t_upper((d - b->value) / b->se, b->df));
}

/* Effects of one role, in plan order; returns how many. */
static size_t family(pd_review *r, pd_role role, pd_effect **out)
{
	size_t n = 0;

	for (size_t i = 0; i < r->n_answers; i++)
		if (r->answer[i].role == role)
			for (size_t k = 0; k < r->answer[i].n_effects; k++)
				out[n++] = &r->answer[i].effect[k];
	return n;
}

/* Adjusted p and adjusted margin p of n effects, the latter into margin[n]. */
static pd_status adjust(pd_effect **e, size_t n, pd_adjust how, double *margin,
                        double *scratch, pd_error *err)
{
	pd_status st;

	for (size_t i = 0; i < n; i++)
		scratch[i] = e[i]->p_margin;
	st = pd_adjust_p(scratch, n, how, margin, err);
	if (st != PD_OK)
		return st;
	for (size_t i = 0; i < n; i++)
		scratch[i] = e[i]->log.p;
	double *adjusted = malloc((n + 1) * sizeof *adjusted);

	if (!adjusted)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_adjust_p(scratch, n, how, adjusted, err);
	for (size_t i = 0; st == PD_OK && i < n; i++)
		e[i]->p_adjusted = adjusted[i];
	free(adjusted);
	return st;
}

pd_verdict pd_verdict_alone(pd_scale scale, double margin, double low,
                            double high)
{
	double none = scale == PD_RATIO ? 1 : 0;
	double bottom = scale == PD_RATIO ? margin : -margin;
	double top = scale == PD_RATIO ? 1 / margin : margin;

	if (!isnan(margin) && low >= bottom && high <= top)
		return PD_NO_MATTER;
	if (low > none)
		return PD_BETTER;
	return high < none ? PD_WORSE : PD_NOT_SETTLED;
}

static pd_verdict decide(const pd_effect *e, const pd_answer *a,
                         double p_margin_adjusted)
{
	double none = a->scale == PD_RATIO ? 1 : 0;
	double bottom = a->scale == PD_RATIO ? a->margin : -a->margin;
	double top = a->scale == PD_RATIO ? 1 / a->margin : a->margin;
	double alpha = 1 - a->level;

	if (!isnan(a->margin) && e->low >= bottom && e->high <= top &&
	    !(p_margin_adjusted > alpha / 2))
		return PD_NO_MATTER;
	if (e->p_adjusted > alpha)
		return PD_NOT_SETTLED;
	if (e->low > none)
		return PD_BETTER;
	return e->high < none ? PD_WORSE : PD_NOT_SETTLED;
}

/* What the interval says about the size, for better and worse. */
static const char *size_words(const pd_effect *e, const pd_answer *a)
{
	int ratio = a->scale == PD_RATIO;
	double top = ratio ? 1 / a->margin : a->margin;
	double bottom = ratio ? a->margin : -a->margin;

	if (isnan(a->margin))
		return "No margin was declared to say how much matters.";
	if (e->low >= top || e->high <= bottom)
		return "The whole interval lies beyond the margin.";
	return "The difference may be smaller than the margin.";
}

static const char *open_words(const pd_effect *e, const pd_answer *a)
{
	int ratio = a->scale == PD_RATIO;
	double none = ratio ? 1 : 0;
	double bottom = ratio ? a->margin : -a->margin;
	double top = ratio ? 1 / a->margin : a->margin;

	const char *less = a->events ? "Fewer events beyond the margin are "
	                               "excluded, more are not shown."
	                             : "A loss beyond the margin is excluded, a "
	                               "gain is not shown.";
	const char *more = a->events ? "More events beyond the margin are "
	                               "excluded, fewer are not shown."
	                             : "A gain beyond the margin is excluded, a "
	                               "loss is not shown.";

	if (e->low > none || e->high < none)
		return "Alone this interval would settle it, but not after "
		       "allowing for the other tests.";
	if (isnan(a->margin))
		return "No margin was declared to say how much matters.";
	if (e->low >= bottom && e->high <= top)
		return "Alone this interval lies inside the margin, but not "
		       "after allowing for the other tests.";
	if (e->low >= bottom)
		return less;
	if (e->high <= top)
		return more;
	return a->events ? "Both more and fewer events beyond the margin "
	                   "remain possible."
	                 : "Both a gain and a loss beyond the margin remain "
	                   "possible.";
}

static const char *inside_words(const pd_effect *e, const pd_answer *a)
{
	double none = a->scale == PD_RATIO ? 1 : 0;

	return e->low > none || e->high < none
	    ? "The whole interval lies inside the margin; that there is a "
	      "small difference is shown."
	    : "The whole interval lies inside the margin.";
}

/* What the interval adds to the verdict word. */
static const char *sentence(const pd_effect *e, const pd_answer *a)
{
	switch (e->verdict) {
	case PD_BETTER:
	case PD_WORSE:
		return size_words(e, a);
	case PD_NO_MATTER:
		return inside_words(e, a);
	case PD_NOT_SETTLED:
		return open_words(e, a);
	case PD_NO_ANSWER:
		break;
	}
	return "";
}

static pd_status settle_family(pd_review *r, pd_role role, pd_adjust how,
                               double *margin, double *scratch,
                               pd_effect **list, pd_error *err)
{
	size_t n = family(r, role, list);

	return adjust(list, n, how, margin, scratch, err);
}

static void give_words(pd_answer *a, const double *margin)
{
	for (size_t k = 0; k < a->n_effects; k++) {
		pd_effect *e = &a->effect[k];

		e->verdict = decide(e, a, margin[k]);
		e->sentence = sentence(e, a);
	}
}

static void mark_unsupported(pd_review *r, const int *expect)
{
	size_t n_controls = 0, n_shown = 0;

	for (size_t i = 0; i < r->n_answers; i++) {
		pd_answer *a = &r->answer[i];

		if (a->role != PD_CONTROL)
			continue;
		int shown = a->n_effects == 1 &&
		            a->effect[0].verdict ==
		                (expect[i] > 0 ? PD_BETTER : PD_WORSE);

		a->control = shown ? PD_CONTROL_WORKED : PD_CONTROL_FAILED;
		n_controls++;
		n_shown += (size_t)shown;
	}
	if (n_shown == n_controls)
		return;
	for (size_t i = 0; i < r->n_answers; i++)
		for (size_t k = 0; k < r->answer[i].n_effects; k++)
			if (r->answer[i].role != PD_CONTROL &&
			    r->answer[i].effect[k].verdict == PD_NO_MATTER)
				r->answer[i].unsupported = true;
}

static const char *multiplicity_words(pd_arena *arena, const pd_review *r)
{
	size_t n[4] = { 0 };

	for (size_t i = 0; i < r->n_answers; i++)
		n[r->answer[i].role] += r->answer[i].n_effects;
	return pd_arena_print(
	    arena,
	    "%zu primary at the full level (Holm within a question of several "
	    "effects), %zu secondary adjusted together by Holm, %zu "
	    "exploratory adjusted together by Benjamini-Hochberg, %zu "
	    "control.",
	    n[PD_PRIMARY], n[PD_SECONDARY], n[PD_EXPLORATORY],
	    n[PD_CONTROL]);
}

/* Spread the family's adjusted margin p back to the answers' effects. */
static void spread(pd_review *r, pd_role role, const double *margin,
                   double *all)
{
	size_t at = 0, from = 0;

	for (size_t i = 0; i < r->n_answers; i++) {
		for (size_t k = 0; k < r->answer[i].n_effects; k++, at++)
			if (r->answer[i].role == role)
				all[at] = margin[from++];
	}
}

static pd_status settle_all(pd_review *r, double *all, double *margin,
                            double *scratch, pd_effect **list, pd_error *err)
{
	pd_status st = settle_family(r, PD_SECONDARY, PD_HOLM, margin, scratch,
	                             list, err);
	size_t at = 0;

	if (st != PD_OK)
		return st;
	spread(r, PD_SECONDARY, margin, all);
	st = settle_family(r, PD_EXPLORATORY, PD_BENJAMINI_HOCHBERG, margin,
	                   scratch, list, err);
	if (st != PD_OK)
		return st;
	spread(r, PD_EXPLORATORY, margin, all);
	for (size_t i = 0; st == PD_OK && i < r->n_answers; i++) {
		pd_answer *a = &r->answer[i];

		if (a->role == PD_PRIMARY || a->role == PD_CONTROL) {
			for (size_t k = 0; k < a->n_effects; k++)
				list[k] = &a->effect[k];
			st = adjust(list, a->n_effects, PD_HOLM, all + at,
			            scratch, err);
		}
		at += a->n_effects;
	}
	return st;
}

pd_status pd_verdict_settle(pd_review *review, const int *expect,
                            pd_arena *arena, pd_error *err)
{
	size_t n = 0, at = 0;
	pd_status st;

	for (size_t i = 0; i < review->n_answers; i++)
		n += review->answer[i].n_effects;
	double *all = calloc(n + 1, sizeof *all);
	double *margin = calloc(n + 1, sizeof *margin);
	double *scratch = calloc(n + 1, sizeof *scratch);
	pd_effect **list = calloc(n + 1, sizeof *list);

	review->n_tests = n;
	review->multiplicity = multiplicity_words(arena, review);
	st = all && margin && scratch && list && review->multiplicity
	         ? settle_all(review, all, margin, scratch, list, err)
	         : pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; st == PD_OK && i < review->n_answers; i++) {
		give_words(&review->answer[i], all + at);
		at += review->answer[i].n_effects;
	}
	if (st == PD_OK)
		mark_unsupported(review, expect);
	free(all);
	free(margin);
	free(scratch);
	free(list);
	return st;
}
