/*
 * icc.h - how alike are results of one unit? The intraclass correlation of a
 * complete table, n units by k results each, with exact limits by the F law.
 *
 * Sums of squares of the two-way table, mean squares
 *   B = k sum (unit mean - grand mean)^2 / (n - 1)
 *   one way     W: deviations from the unit's mean,              n (k - 1) df
 *   consistent  W: the same with the k columns' means taken off too,
 *               (n - 1)(k - 1) df
 *   F = B / W,  icc = (B - W) / (B + (k - 1) W) = (F - 1) / (F + k - 1)
 * and the limits at `level`, a = (1 - level) / 2, the same function of
 *   F / f(1 - a; n - 1, df_W)   and   F f(1 - a; df_W, n - 1).
 * One way asks for the same number twice: a column that is always higher
 * counts as disagreement. Consistent asks for the same order: it does not.
 * The estimate may be negative, down to -1 / (k - 1); it is not cut at 0.
 * Exact where units' means and deviations are normal.
 * Sources: Shrout & Fleiss (1979), Psychol. Bull. 86, 420-428, ICC(1,1) and
 * ICC(3,1); McGraw & Wong (1996), Psychol. Methods 1, 30-46, ICC(1) and
 * ICC(C,1). From memory.
 */
#ifndef PERDRAW_STATS_ICC_H
#define PERDRAW_STATS_ICC_H

#include "base/status.h"
#include <stddef.h>

typedef enum pd_icc_kind { PD_ICC_ONE_WAY, PD_ICC_CONSISTENT } pd_icc_kind;

typedef struct pd_icc {
	double value, low, high, level;
	double f, df1, df2;
	double between, within;  /* SDs: sqrt(max(0, (B - W) / k)), sqrt(W)    */
} pd_icc;

/*
 * v[n * k], unit by unit. PD_DATA: a value that is not finite, level outside
 * (0, 1); PD_REFUSED: fewer than 2 units or 2 results each, or no deviation
 * inside units beyond rounding (W = 0: F has no law).
 */
pd_status pd_icc_of(const double *v, size_t n, size_t k, pd_icc_kind kind,
                    double level, pd_icc *out, pd_error *err);

#endif
