/*
 * nonlinear_search.h - the search under nonlinear.h (only for its files).
 */
#ifndef PERDRAW_STATS_NONLINEAR_SEARCH_H
#define PERDRAW_STATS_NONLINEAR_SEARCH_H

#include "stats/nonlinear.h"

/* Residuals y - m(theta) into r[n] (room), their sum of squares; INFINITY
 * outside the model's domain. */
double pd_nonlinear_square(const pd_nonlinear_data *d, const double *theta,
                           double *r);

/*
 * Search from theta[p], leaving the best point in it and its sum of squares in
 * *square; *settled says whether it converged. Only PD_NO_MEMORY fails.
 */
pd_status pd_nonlinear_search(const pd_nonlinear_data *d, double *theta,
                              double *square, int *settled, pd_error *err);

#endif
