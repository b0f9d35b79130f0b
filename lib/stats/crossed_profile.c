/*
 * crossed_profile.c - profile limits of the model with crossed factors. They
 * are nested_profile.c's: it asks for deviances at points only, and those are
 * the border's.
 */
#include "stats/crossed_own.h"

pd_status pd_crossed_profile_contrast(pd_crossed *c, const double *contrast,
                                      double level, pd_profile *out,
                                      pd_error *err)
{
	return pd_nested_profile_contrast(c->m, contrast, level, out, err);
}

pd_status pd_crossed_profile_test(pd_crossed *c, const double *contrast,
                                  double x, double *rise, double *p,
                                  pd_error *err)
{
	return pd_nested_profile_test(c->m, contrast, x, rise, p, err);
}

pd_status pd_crossed_profile_sd(pd_crossed *c, size_t at, size_t column,
                                bool reml, double level, pd_profile *out,
                                pd_error *err)
{
	if (at > c->m->depth)
		return pd_fail(err, PD_USAGE, "effect %zu of %zu levels and "
		               "factors, then the residual", at + 1,
		               c->m->depth);
	return pd_nested_profile_sd(c->m, at, column, reml, level, out, err);
}
