/*
 * printed.h - what a printed summary says on the log scale: from mean and sd,
 * median and quartiles or range, or geometric mean and interval to the mean
 * and sd of logs, and from two printed groups to a ratio with its interval.
 * Values are plain numbers above 0 in any unit; both groups in the same one.
 * All: PD_DATA for values not finite, not above 0 or out of order, a level
 * outside (0, 1), n below 2. Rounding of the print is not known to any of
 * these: three printed digits carry no more than three.
 */
#ifndef PERDRAW_STATS_PRINTED_H
#define PERDRAW_STATS_PRINTED_H

#include "base/estimate.h"
#include "base/status.h"
#include <stddef.h>

/*
 * exp(log_mean) is the geometric mean, exp(log_sd) the geometric sd; log_se
 * is the standard error of log_mean as found from this kind of summary. df:
 * n - 1, INFINITY where the normal law was asked for. skew: how far the
 * middle lies off the centre of the two limits it was printed with, on the log
 * scale, over half their distance: 0 for a log-normal, 0 where there are none.
 */
typedef struct pd_printed {
	double log_mean, log_sd, log_se, df, skew;
	size_t n;
} pd_printed;

/*
 * Mean m and sd s of a log-normal, c = (s / m)^2:
 *   log_sd^2 = ln(1 + c),  log_mean = ln m - log_sd^2 / 2
 * (method 1 of Higgins, White & Anzures-Cabrera 2008, Stat. Med. 27, 6072-
 * 6092). log_se is that of a mean of logs that went through m and s, by the
 * delta method with the moments of the log-normal, k = (1 + 2c) / (1 + c):
 *   n log_se^2 = k^2 c + (g2 + 2) c^2 / (4 (1 + c)^2) - k g1 c^1.5 / (1 + c)
 *   g1 = (c + 3) sqrt(c),  g2 = (1 + c)^4 + 2 (1 + c)^3 + 3 (1 + c)^2 - 6
 * It grows far above log_sd / sqrt(n) with c: a mean and an sd say little of
 * the middle of a skewed sample. A value off the law in truth is not seen.
 */
pd_status pd_printed_mean_sd(double mean, double sd, size_t n,
                             pd_printed *out, pd_error *err);
/* sd = se sqrt(n); sd = sqrt(n) (high - low) / (2 t), t on n - 1 df at
 * `level`. NaN unless n >= 2, se > 0, low < high, 0 < level < 1. */
double pd_printed_sd_of_se(double se, size_t n);
double pd_printed_sd_of_interval(double low, double high, double level,
                                 size_t n);

/*
 * Median with quartiles, or with the smallest and the largest value: log_mean
 * = ln median, log_sd = (ln upper - ln lower) / (2 z), z the normal quantile
 * at (0.75 n - 0.125) / (n + 0.25), or (n - 0.375) / (n + 0.25) (Wan et al.
 * 2014, BMC Med. Res. Methodol. 14, 135). log_se = log_sd sqrt(pi / (2 n)),
 * that of a median.
 */
pd_status pd_printed_quartiles(double median, double lower, double upper,
                               size_t n, pd_printed *out, pd_error *err);
pd_status pd_printed_range(double median, double lowest, double largest,
                           size_t n, pd_printed *out, pd_error *err);

/*
 * Geometric mean with limits at `level`: log_se = (ln high - ln low) / (2 q),
 * q of Student's t on n - 1 df or, with `normal`, of the normal law; log_sd =
 * log_se sqrt(n). PD_DATA also when the mean is outside its limits.
 */
pd_status pd_printed_geometric(double mean, double low, double high,
                               double level, size_t n, int normal,
                               pd_printed *out, pd_error *err);
/* Geometric mean and geometric sd (>= 1, a factor). */
pd_status pd_printed_geometric_sd(double mean, double sd, size_t n,
                                  pd_printed *out, pd_error *err);

/*
 * Log of the ratio of geometric means, a over b: value the difference of
 * log_mean, se^2 = se_a^2 + se_b^2, Satterthwaite's df. PD_REFUSED: no spread
 * in either group.
 */
pd_status pd_printed_ratio(const pd_printed *a, const pd_printed *b,
                           double level, pd_estimate *out, pd_error *err);
/*
 * The same patients in both groups, correlation r of their logs:
 *   se^2 = se_a^2 + se_b^2 - 2 r se_a se_b, n - 1 df.
 * Papers seldom print r: it must be stated, and r = 0 is the cautious end.
 * PD_DATA: r outside (-1, 1), unequal n.
 */
pd_status pd_printed_paired_ratio(const pd_printed *a, const pd_printed *b,
                                  double r, double level, pd_estimate *out,
                                  pd_error *err);

/*
 * Log of the ratio of arithmetic means straight from means and sds, no law
 * assumed: value ln(m_a / m_b), se^2 = c_a / n_a + c_b / n_b (Hedges,
 * Gurevitch & Curtis 1999, Ecology 80, 1150-1156), Satterthwaite's df; paired
 * with correlation r of the values: (c_a + c_b - 2 r sqrt(c_a c_b)) / n
 * (Lajeunesse 2011, Ecology 92, 2049-2055), n - 1 df. Not the ratio of
 * geometric means: the two differ when the spreads do.
 */
typedef struct pd_printed_mean {
	double mean, sd;
	size_t n;
} pd_printed_mean;
pd_status pd_printed_means_ratio(const pd_printed_mean *a,
                                 const pd_printed_mean *b, double level,
                                 pd_estimate *out, pd_error *err);
pd_status pd_printed_paired_means_ratio(const pd_printed_mean *a,
                                        const pd_printed_mean *b, double r,
                                        double level, pd_estimate *out,
                                        pd_error *err);

#endif
