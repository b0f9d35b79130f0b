/*
 * weighting.h - two arms that patients were not dealt into by lot, made alike
 * in what was known beforehand by weights from the chance of being in arm 1
 * (propensity.h), and the difference of their means under those weights. For
 * a ratio give logs and read exp().
 *
 * Weights cannot balance what was not recorded: see evalue.h.
 */
#ifndef PERDRAW_STATS_WEIGHTING_H
#define PERDRAW_STATS_WEIGHTING_H

#include "base/estimate.h"
#include "base/frame.h"
#include "stats/propensity.h"

/*
 * For whom the difference is asked, and the weight in arm 1 and in arm 0:
 *   OVERLAP  those who could well have been in either arm; 1 - e and e (Li,
 *            Morgan & Zaslavsky 2018, JASA 113, 390-400): bounded, and the
 *            means of all columns of a logistic model are equal in both arms
 *   ALL      everybody in the data; 1 / e and 1 / (1 - e)
 *   ARM_ONE  those in arm 1; 1 and e / (1 - e)
 */
typedef enum pd_target {
	PD_TARGET_OVERLAP, PD_TARGET_ALL, PD_TARGET_ARM_ONE
} pd_target;

/* Index 0 and 1: the arm. */
typedef struct pd_weights {
	size_t used[2];      /* rows with a weight above 0                    */
	double effective[2]; /* (sum w)^2 / sum w^2 (Kish 1965)               */
	double largest[2];   /* share of the heaviest row                     */
	size_t n_trimmed;
} pd_weights;

/*
 * weight[f->n], summing to 1 in each arm. Rows with e < trim or 1 - e < trim
 * get 0 (Crump et al. 2009, Biometrika 96, 187-199, use 0.1; 0: none): the
 * answer is then about the rows left; the chances are not fitted again.
 * PD_DATA: trim not in [0, 0.5); PD_REFUSED: fewer than 2 rows of an arm left.
 */
pd_status pd_weights_make(const pd_logistic *f, const int32_t *arm,
                          pd_target target, double trim, double *weight,
                          pd_weights *out, pd_error *err);

/*
 * One line of the balance table. A number: its means; a number with the
 * values 0 and 1 only, or a level of a factor: its shares. A factor of more
 * than two levels has a line of its own first (level NULL; means, sds and
 * after_same NaN); one of two levels is the line of its second. Arm 1 less
 * arm 0:
 *   number    d = (m1 - m0) / sqrt((s1^2 + s0^2) / 2)
 *   share     the same with s^2 = p (1 - p)
 *   factor    sqrt((p1 - p0)' S^- (p1 - p0)), S the mean of the two arms'
 *             multinomial covariances (Yang & Dalton 2012); never below 0
 * (Austin 2009, Stat. Med. 28, 3083-3107; a difference within 0.1 is taken as
 * balanced there.) Under weights s^2 = W / (W^2 - sum w^2) sum w (x - m)^2.
 * `after` divides by the weighted s, `after_same` by those before, so that a
 * change of it is one of the means alone. No spread in either arm: 0 when the
 * means are equal, else infinite. ratio: s1^2 / s0^2 of numbers, NaN else.
 */
typedef struct pd_balance {
	const char *name, *level;       /* the column's words                 */
	double mean[2], sd[2];          /* before                             */
	double weighted_mean[2], weighted_sd[2];
	double before, after, after_same;
	double ratio_before, ratio_after;
} pd_balance;

/*
 * column[n_columns] over n rows. *out[*n_out] is the caller's to free (NULL
 * after a failure). PD_DATA: a missing value (column and row named), an arm
 * not 0 or 1, a weight below 0; PD_REFUSED: an arm with fewer than 2 rows of
 * weight; PD_NO_MEMORY; PD_NUMERIC.
 */
pd_status pd_balance_table(const pd_column *const *column, size_t n_columns,
                           const int32_t *arm, const double *weight, size_t n,
                           pd_balance **out, size_t *n_out, pd_error *err);

/* y[n] as the rows of the propensity model; cluster[n]: codes 0 ..
 * n_clusters - 1 of the patients, NULL: every row its own. */
typedef struct pd_weighted_data {
	const pd_logistic_data *model;
	const pd_logistic *fit;
	const double *y;
	const int32_t *cluster;
	size_t n_clusters;
	pd_target target;
	double trim, level;
} pd_weighted_data;

/*
 * Difference of weighted means, m_a = sum w y (w summing to 1 in the arm).
 * With the equations of beta and of both means stacked, cluster c moves it by
 *   U_c = A_c1 / sqrt(1 - W_c1) - A_c0 / sqrt(1 - W_c0) + P_c
 *   A_ca = sum w (y - m_a), W_ca = sum w over the rows of c in arm a
 *   P_c  = sum_c (arm - e) x' I^-1 H,  H = sum_all +-w g (y - m_a) x
 * g = d ln w / d x'beta; I the information of beta; rows trimmed stay so.
 * estimate: se^2 = sum U^2. plain_se: the same without the roots. known: the
 * same without P, as if the chances were given. Without covariates and
 * clusters estimate is that of pd_welch, and of pd_paired_mean when every
 * cluster has one row in each arm.
 * df: Satterthwaite's for sum U^2 under independent rows with the arms' own
 * weighted variances, weights as given (Bell & McCaffrey 2002 has the idea).
 * Sources: Lunceford & Davidian 2004, Stat. Med. 23, 2937-2960 (stacking).
 * PD_DATA: y not finite, a code out of range, level; PD_REFUSED: an arm whose
 * weight lies in one cluster, or no variation; errors of pd_weights_make.
 */
typedef struct pd_weighted {
	pd_estimate estimate, known;
	double mean[2], plain_se;
	size_t clusters[2];             /* with a weight in the arm           */
	pd_weights weights;
} pd_weighted;
pd_status pd_weighted_contrast(const pd_weighted_data *d, pd_weighted *out,
                               pd_error *err);

#endif
