/*
 * impute.h - the nested model when some y are known only to lie between
 * limits (non-detects, zero colonies, too many to count).
 * Censored values are drawn from the fitted model between their limits, with
 * random effects and parameters drawn too, `draws` times; the completed sets
 * are fitted and combined by Rubin's rules with Barnard-Rubin df.
 * Sources: Rubin (1987); Barnard & Rubin (1999) Biometrika 86, 948-955;
 * Lubin et al. (2004) Environ. Health Perspect. 112, 1691-1696.
 */
#ifndef PERDRAW_STATS_IMPUTE_H
#define PERDRAW_STATS_IMPUTE_H

#include "stats/nested.h"

typedef struct pd_impute_spec {
	pd_nested_spec model;     /* model.y is ignored                     */
	const double *low, *high; /* n each, working scale; -INFINITY and
	                             INFINITY allowed; equal where measured */
	unsigned draws;           /* completed sets, at least 2; 0: 20      */
	uint64_t seed;            /* same seed, same bytes                  */
} pd_impute_spec;

typedef struct pd_impute pd_impute;

/*
 * With no censored row this is one plain fit. PD_REFUSED when more than half
 * of the rows are censored, and when a fixed effect rests on rows with an
 * infinite limit alone (an arm without a measured value); PD_DATA for limits
 * in the wrong order (with the row); what pd_nested_new and _fit return.
 */
pd_status pd_impute_fit(const pd_impute_spec *spec, pd_impute **out,
                        pd_error *err);
void pd_impute_free(pd_impute *m);
size_t pd_impute_censored(const pd_impute *m);
/* Contrast combined over the completed sets. */
pd_status pd_impute_contrast(pd_impute *m, const double *c, double level,
                             pd_df_method method, pd_estimate *out,
                             pd_error *err);
/* Joint F test of C b = 0 (rows*p), combined (Li, Raghunathan & Rubin 1991). */
pd_status pd_impute_f_test(pd_impute *m, const double *c, size_t rows,
                           pd_df_method method, pd_f_test *out, pd_error *err);
/* Mean over the sets: beta[p]; residual SD; SD of level k's intercept. */
void pd_impute_beta(const pd_impute *m, double *beta);
double pd_impute_residual_sd(const pd_impute *m);
double pd_impute_level_sd(const pd_impute *m, size_t level);
/* First completed set, for figures and diagnostics: y[n], residual[n]. */
pd_status pd_impute_completed(pd_impute *m, double *y, double *residual,
                              pd_error *err);
/* The first completed set's fit, borrowed: records and conditional means. */
pd_nested *pd_impute_first(pd_impute *m);

#endif
