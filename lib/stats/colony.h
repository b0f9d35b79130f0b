/*
 * colony.h - colonies on dishes as a rate with its exact interval: raw counts
 * are kept, the rest is derived.
 *
 *   prevalence     sum of colonies / sum of cells plated
 *   per million    10^6 prevalence
 *   per mL         per million * TNC,  TNC in 10^6 nucleated cells a mL
 *   of the draw    per mL * mL
 *
 * The interval is that of the count (Garwood 1936; quantile.h): counting error
 * alone, the scatter between dishes, readers and patients comes on top. No
 * colonies at all are not missing: the rate is below a limit.
 */
#ifndef PERDRAW_STATS_COLONY_H
#define PERDRAW_STATS_COLONY_H

#include "base/status.h"
#include <stddef.h>

/* A number with its limits at `level`, and its upper limit when only that is
 * asked for (one-sided at `level`): the one to print beside 0. */
typedef struct pd_colony_rate {
	double value, low, high, below;
} pd_colony_rate;

typedef struct pd_colonies {
	double colonies, cells, level;     /* sums over the dishes            */
	pd_colony_rate per_million, per_ml, of_draw;
	double scatter, scatter_df, scatter_p;
} pd_colonies;

/*
 * count[n] (whole numbers) on cells[n] plated. tnc and ml may be NaN (not
 * known): the parts that need them are NaN. scatter: sum (k - e)^2 / e over
 * the dishes, e = cells * prevalence, chi-square on n - 1 df, upper tail: do
 * dishes differ more than counting explains? NaN for one dish or no colonies.
 * PD_DATA: a count that is negative or not whole, cells not above 0, tnc or
 * ml below 0 or infinite, level outside (0, 1); PD_REFUSED: no dish.
 */
pd_status pd_colonies_of(const double *count, const double *cells, size_t n,
                         double tnc, double ml, double level,
                         pd_colonies *out, pd_error *err);

#endif
