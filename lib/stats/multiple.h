/*
 * multiple.h - adjusting a family of p values. p[n] in, adjusted[n] out, same
 * order; NaN entries are left out of the family and stay NaN.
 */
#ifndef PERDRAW_STATS_MULTIPLE_H
#define PERDRAW_STATS_MULTIPLE_H

#include "base/status.h"

typedef enum pd_adjust {
	PD_HOLM, PD_HOCHBERG, PD_BENJAMINI_HOCHBERG, PD_BENJAMINI_YEKUTIELI,
	PD_BONFERRONI, PD_SIDAK
} pd_adjust;

pd_status pd_adjust_p(const double *p, size_t n, pd_adjust how,
                      double *adjusted, pd_error *err);

#endif
