/* components.c - see components.h. */
#include "plan/components.h"
#include "stats/icc.h"
#include "stats/nested_profile.h"

#include <math.h>

/* The answer's arrays, being filled. */
struct parts {
	const char **name;
	double *sd, *low, *high;       /* of the standard deviations           */
	double *icc, *icc_low, *icc_high;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

static pd_status make(struct parts *p, size_t n, pd_arena *arena,
                      pd_answer *a, pd_error *err)
{
	*p = (struct parts){
		PD_NEW(arena, const char *, n), PD_NEW(arena, double, n),
		PD_NEW(arena, double, n),       PD_NEW(arena, double, n),
		PD_NEW(arena, double, n),       PD_NEW(arena, double, n),
		PD_NEW(arena, double, n)
	};
	if (!p->name || !p->sd || !p->low || !p->high || !p->icc ||
	    !p->icc_low || !p->icc_high)
		return no_memory(err);
	for (size_t k = 0; k < n; k++)
		p->low[k] = p->high[k] = p->icc[k] = p->icc_low[k] =
		    p->icc_high[k] = NAN;
	a->n_components = n;
	a->component_name = p->name;
	a->component_sd = p->sd;
	a->component_low = p->low;
	a->component_high = p->high;
	a->component_icc = p->icc;
	a->component_icc_low = p->icc_low;
	a->component_icc_high = p->icc_high;
	return PD_OK;
}

/* --- mixed models -------------------------------------------------------- */

/* Share of the variance that level k and all above it make. */
static double shared(const double *sd, size_t n, size_t k)
{
	double sum = 0, of = 0;

	for (size_t i = 0; i < n; i++) {
		of += sd[i] * sd[i];
		sum += i <= k ? sd[i] * sd[i] : 0;
	}
	return k + 1 < n && of > 0 ? sum / of : (double)NAN;
}

static void fit_limits(pd_fit *fit, double level, bool alike,
                       struct parts *p, bool *missing)
{
	pd_nested *m = pd_impute_first(fit->model);

	for (size_t k = 0; k <= fit->depth; k++) {
		pd_error unused;
		pd_profile one;

		if (pd_nested_profile_sd(m, k, 0, true, level, &one,
		                         &unused) == PD_OK) {
			p->low[k] = one.e.low;
			p->high[k] = one.e.high;
		}
		if (k == fit->depth || !alike)
			continue;
		if (pd_nested_profile_share(m, k, true, level, &one,
		                            &unused) == PD_OK) {
			p->icc_low[k] = one.e.low;
			p->icc_high[k] = one.e.high;
		} else {
			*missing = true;
		}
	}
}

pd_status pd_components_fit(const pd_rows *rows, pd_fit *fit,
                            pd_arena *arena, pd_answer *answer,
                            pd_error *err)
{
	size_t n = fit->depth + 1;
	bool missing = false;
	struct parts p;
	pd_status st = make(&p, n, arena, answer, err);

	if (st != PD_OK)
		return st;
	for (size_t k = 0; k < fit->depth; k++) {
		p.name[k] = pd_arena_print(arena, "between %ss",
		                           rows->level_name[fit->level[k]]);
		p.sd[k] = pd_impute_level_sd(fit->model, k);
		if (!p.name[k])
			return no_memory(err);
	}
	p.name[n - 1] = "within, and laboratory";
	p.sd[n - 1] = pd_impute_residual_sd(fit->model);
	for (size_t k = 0; k < n; k++)
		p.icc[k] = shared(p.sd, n, k);
	if (pd_impute_censored(fit->model))
		answer->no_icc_limits =
		    "some results are known only between limits";
	else
		fit_limits(fit, answer->level, !answer->share, &p, &missing);
	if (answer->share && !answer->no_icc_limits)
		answer->no_icc_limits =
		    "what reaches a floor or does not has no normal law";
	if (missing)
		answer->no_icc_limits =
		    "the profile of the likelihood was not found";
	return PD_OK;
}

/* --- pairs --------------------------------------------------------------- */

/* "moderate" and the like are nobody's law: numbers alone. */
static const char *agreement_words(const pd_icc *g, const pd_pairs *p,
                                   const pd_answer *a, pd_arena *arena)
{
	return pd_arena_print(
	    arena, "Agreement: taken as repeats of one number, the two results "
	    "of a pair correlate %.3f (%g %% limits %.3f to %.3f; one-way "
	    "intraclass correlation of %zu patients' pairs, exact if %s are "
	    "normal); unlike in the table of the spread, a difference between "
	    "the two levels counts against it here.", g->value,
	    100 * a->level, g->low, g->high, p->n,
	    a->scale == PD_RATIO ? "the logs" : "results");
}

pd_status pd_components_pairs(const pd_pairs *pairs, pd_arena *arena,
                              pd_answer *answer, const char **agreement,
                              pd_error *err)
{
	double *v = PD_NEW(arena, double, 2 * pairs->n);
	struct parts p;
	pd_error unused;
	pd_icc g, one;

	*agreement = NULL;
	if (!v)
		return no_memory(err);
	for (size_t i = 0; i < pairs->n; i++) {
		v[2 * i] = pairs->first[i];
		v[2 * i + 1] = pairs->second[i];
	}
	if (pd_icc_of(v, pairs->n, 2, PD_ICC_CONSISTENT, answer->level, &g,
	              &unused) != PD_OK ||
	    pd_icc_of(v, pairs->n, 2, PD_ICC_ONE_WAY, answer->level, &one,
	              &unused) != PD_OK)
		return PD_OK;
	pd_status st = make(&p, 2, arena, answer, err);

	if (st != PD_OK)
		return st;
	p.name[0] = "between patients";
	p.name[1] = "within a patient's pair";
	p.sd[0] = g.between;
	p.sd[1] = g.within;
	p.icc[0] = g.value;
	p.icc_low[0] = g.low;
	p.icc_high[0] = g.high;
	*agreement = agreement_words(&one, pairs, answer, arena);
	return *agreement ? PD_OK : no_memory(err);
}
