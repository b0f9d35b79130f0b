/*
 * nested_profile.h - profile likelihood limits of a nested mixed model: of any
 * contrast of the fixed effects and of every standard deviation.
 *
 * With d the deviance and psi the quantity asked for, all else moving freely,
 *   rise(x) = (least d with psi = x) - (least d)
 * and the limits at `level` are the x on either side of the estimate where
 *   rise(x) = chi-square quantile (level, 1 df).
 * The limits are those of the data, not of a normal law: unequal on both
 * sides, and a standard deviation's never cross 0.
 * Sources: Venzon & Moolgavkar (1988), Appl. Stat. 37, 87-94; Pinheiro & Bates
 * (2000), Mixed-Effects Models, section 1.1 (zeta); from memory.
 */
#ifndef PERDRAW_STATS_NESTED_PROFILE_H
#define PERDRAW_STATS_NESTED_PROFILE_H

#include "stats/nested.h"

typedef struct pd_profile {
	/*
	 * value: the estimate by the profiled likelihood; low, high, level;
	 * df INFINITY. Contrast: se its maximum likelihood standard error, p
	 * NaN (ask pd_nested_profile_test). SD: se NaN (no symmetric error
	 * means anything); p for "it is 0", NaN for the residual, see below.
	 */
	pd_estimate e;
	bool low_at_zero;    /* SD: 0 itself is within the limits: low is 0   */
	double deviance;     /* least one                                     */
	unsigned fits;       /* points of the profile worked out              */
} pd_profile;

/*
 * c'b, c[p], by maximum likelihood whatever the model was fitted by (REML
 * deviances with different fixed parts cannot be compared), so the value may
 * differ from pd_nested_beta's. The model must be fitted; what it answered
 * before it answers after. Cost: about ten Newton steps of the fit, no pass
 * over the rows.
 * PD_USAGE: not fitted, c zero or not finite, level outside 0 to 1.
 * PD_NUMERIC: no convergence on the way, or no limit within 1e9 errors.
 */
pd_status pd_nested_profile_contrast(pd_nested *m, const double *c,
                                     double level, pd_profile *out,
                                     pd_error *err);

/* Likelihood ratio test of c'b = x: *rise (>= 0) as above, *p its upper tail
 * on chi-square with 1 df. Errors as above. */
pd_status pd_nested_profile_test(pd_nested *m, const double *c, double x,
                                 double *rise, double *p, pd_error *err);

/*
 * Standard deviation of a random effect in the outcome's units (per unit of
 * its column): column `column` of level `at`; at = depth: the residual's,
 * column 0. reml: by the restricted likelihood, else maximum likelihood.
 * The lower limit is exactly 0, and low_at_zero says so, when rise(0) is
 * within the quantile. e.p tests SD = 0 with half the chance on either side of
 * the boundary: q the columns of the level,
 *   p = P(chisq_(q-1) > rise(0)) / 2 + P(chisq_q > rise(0)) / 2
 * (Self & Liang 1987, JASA 82, 605-610; Stram & Lee 1994, Biometrics 50,
 * 1171-1177; chisq_0 is 0). Errors as above; PD_USAGE also for no such level.
 */
pd_status pd_nested_profile_sd(pd_nested *m, size_t at, size_t column,
                               bool reml, double level, pd_profile *out,
                               pd_error *err);

/*
 * Intraclass correlation of two rows that share level `at` and all above it,
 * of a tree of intercepts (q = 1 at every level, no crossed factor):
 *   rho = (v_0 + .. + v_at) / (v_0 + .. + v_(depth - 1) + residual)
 * with v the variances. The lower limit is exactly 0, and low_at_zero says so,
 * when rise(0) is within the quantile; e.se and e.p NaN. Errors as above;
 * PD_REFUSED for another model, PD_USAGE for at >= depth.
 */
pd_status pd_nested_profile_share(pd_nested *m, size_t at, bool reml,
                                  double level, pd_profile *out,
                                  pd_error *err);

#endif
