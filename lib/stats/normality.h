/*
 * normality.h - do numbers lean to one side, or have heavy tails, more than
 * normal ones would? Two tests by moments and the one that joins them.
 *
 *   m_k = mean (x - mean)^k,  skew = m_3 / m_2^(3/2),  tails = m_4 / m_2^2
 * (0 and 3 for the normal law). z_skew: D'Agostino (1970), Biometrika 57,
 * 679-681, a Johnson S_U curve; z_tails: Anscombe & Glynn (1983), Biometrika
 * 70, 227-234; joint = z_skew^2 + z_tails^2, chi-square with 2 df
 * (D'Agostino & Pearson 1973, Biometrika 60, 613-622). For independent x; the
 * residuals of a fit with few columns come near enough.
 */
#ifndef PERDRAW_STATS_NORMALITY_H
#define PERDRAW_STATS_NORMALITY_H

#include "base/status.h"
#include <stddef.h>

typedef struct pd_normality {
	size_t n;
	double skew, z_skew, p_skew;    /* p two-sided                       */
	double tails, z_tails, p_tails;
	double joint, p_joint;
} pd_normality;

/* x[n]. PD_REFUSED: fewer than 20 (the second law is too rough below) or no
 * variation; PD_DATA: not finite, with its place. */
pd_status pd_normality_test(const double *x, size_t n, pd_normality *out,
                            pd_error *err);
/* The same from skew and tails already at hand. n >= 20. */
void pd_normality_from(size_t n, double skew, double tails,
                       pd_normality *out);

#endif
