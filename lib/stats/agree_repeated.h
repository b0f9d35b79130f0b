/*
 * agree_repeated.h - agreement when a unit was measured more than once by
 * each way, and the repeatability of one way. Values in the unit of
 * measurement; logs give ratios. unit[n] are codes 0 .. n_units - 1; a code
 * that does not occur is not counted.
 * All: PD_DATA for values not finite, a code out of range or a level outside
 * (0, 1), PD_REFUSED where said, PD_NO_MEMORY.
 */
#ifndef PERDRAW_STATS_AGREE_REPEATED_H
#define PERDRAW_STATS_AGREE_REPEATED_H

#include "stats/agree.h"
#include <stdint.h>

/*
 * Limits of agreement of single measurements. n units; d_i the difference of
 * the means of unit i, S_d its sd over units; 1/h the mean over units of 1 /
 * (number of readings); s_w^2 the variance within units (one-way analysis).
 *   linked    readings are pairs taken at one time, what is measured may
 *             change between them: s_w that of the differences of pairs,
 *               sd^2 = S_d^2 + (1 - 1/h) s_w^2
 *   unlinked  what is measured stands still, readings of the two ways stand
 *             in no order: s_x, s_y within units by each way,
 *               sd^2 = S_d^2 + (1 - 1/h_x) s_x^2 + (1 - 1/h_y) s_y^2
 * (Bland & Altman 1999, Stat. Methods Med. Res. 8, 135-160; 2007, J.
 * Biopharm. Stat. 17, 571-582.) bias is the mean of the d_i, every unit with
 * the same voice, t on n - 1 df. Limits of sd^2 from those of its parts by
 * chi-square, those of the limits of agreement from both (Zou 2013, Stat.
 * Methods Med. Res. 22, 630-642). One reading a unit: as pd_agree_limits.
 * limits.se: sqrt(S_d^2 / n + k^2 var(sd)), var(sd) = sum of 2 part^2 / df
 * over 4 sd^2; limits.se_1986 is NaN; limits.trend: d_i with the middle of
 * unit i. PD_REFUSED: n < 3, k <= 0, no variation; (unlinked) PD_DATA for a
 * unit that was read by one way only.
 */
typedef struct pd_limits_repeated {
	pd_limits limits;        /* n: units                                  */
	size_t rows[2];          /* readings by x, y; linked: pairs, 0        */
	double sd_means;         /* S_d                                       */
	double sd_within[2];     /* s_x, s_y; linked: s_w, NaN; NaN: one      */
	                         /* reading a unit                            */
	double sd_between;       /* of the units' true differences: root of   */
	                         /* S_d^2 - sum s_w^2 / h, 0 where negative   */
} pd_limits_repeated;

pd_status pd_agree_linked(const double *x, const double *y,
                          const int32_t *unit, size_t n, size_t n_units,
                          double k, double level, pd_limits_repeated *out,
                          pd_error *err);

typedef struct pd_readings {
	const double *value;
	const int32_t *unit;
	size_t n;
} pd_readings;

pd_status pd_agree_unlinked(const pd_readings *x, const pd_readings *y,
                            size_t n_units, double k, double level,
                            pd_limits_repeated *out, pd_error *err);

/*
 * Repeatability from any number of readings a unit: one-way analysis of
 * variance with N readings of n units.
 *   sw    root of the mean square within, limits by chi-square on N - n df
 *   coefficient  1.96 sqrt(2) sw, with limits: two readings of one unit differ
 *                by no more in 95 of 100 cases
 *   sb    between units: root of (MSB - MSW) / m0, 0 where negative, m0 =
 *         (N - sum m^2 / N) / (n - 1)
 *   same  share of the variance that lies between units, (MSB - MSW) / (MSB +
 *         (m0 - 1) MSW); limits from F = MSB / MSW, exact for equal numbers
 *         (Shrout & Fleiss 1979, Psychol. Bull. 86, 420-428: their first
 *         form); se, df and p NaN
 * Two readings a unit: sw is that of pd_agree_repeat. PD_REFUSED: fewer than
 * 2 units, no unit with two readings, or no variation within units.
 */
typedef struct pd_repeat_many {
	size_t n_units, n;
	double df, sw, sw_low, sw_high;
	double coefficient, coefficient_low, coefficient_high;
	double sb;
	pd_estimate same;
} pd_repeat_many;
pd_status pd_agree_repeat_many(const double *x, const int32_t *unit, size_t n,
                               size_t n_units, double level,
                               pd_repeat_many *out, pd_error *err);

#endif
