/*
 * adjusted.h - adjusted means of a fit and comparisons of them: what the mean
 * at each level of a factor would be with everything else alike.
 *
 * Any fit will do that can tell value, standard error and df of a contrast
 * c'b: the nested model (with Kenward-Roger's or Satterthwaite's df for each
 * contrast), the model with crossed factors, or plain coefficients with a
 * covariance matrix. One-way layouts need none of this: contrast.h.
 */
#ifndef PERDRAW_STATS_ADJUSTED_H
#define PERDRAW_STATS_ADJUSTED_H

#include "stats/contrast.h"
#include "stats/crossed.h"
#include "stats/design.h"
#include "stats/nested.h"

/* ---- a fit, whatever it is --------------------------------------------- */

/* value, se, df of c'b, c[p], into *out (and limits at out->level). */
typedef pd_status pd_contrast_of(const void *fit, const double *c,
                                 pd_df_method method, pd_estimate *out,
                                 pd_error *err);

typedef struct pd_fitted {
	size_t p;
	pd_contrast_of *contrast;
	const void *fit;       /* borrowed                                   */
	pd_df_method method;   /* ignored by plain coefficients              */
} pd_fitted;

/* Coefficients b[p] with covariance[p*p] on one df (INFINITY: normal). */
typedef struct pd_plain {
	size_t p;
	const double *b, *covariance;
	double df;
} pd_plain;

pd_fitted pd_fitted_nested(pd_nested *m, size_t p, pd_df_method method);
pd_fitted pd_fitted_crossed(pd_crossed *c, size_t p, pd_df_method method);
pd_fitted pd_fitted_plain(const pd_plain *plain);

/* ---- adjusted means ----------------------------------------------------- */

/* A number of term `term` held at `value`, in the column's own unit. */
typedef struct pd_hold {
	size_t term;
	double value;
} pd_hold;

/*
 * Rows L with L b the adjusted means of factor terms[term]: one row for each
 * level that occurs, in order of code, rows[levels * p] and code[levels] (room
 * for all levels of the column); *n_rows of them.
 *   intercept 1; own factor: the level's indicator; other factors: equal
 *   weights over the levels that occur; numbers: at hold's value, put through
 *   the term's transform, step and centre, else at their mean in the design.
 * The design must come from frame and terms. PD_USAGE: no such term, or a
 * term held that is no number. PD_DATA: a held value is not finite, or not
 * above 0 for a log. PD_REFUSED: a column of the factor or of another was
 * left out of the design as a sum of others (its name is given): these means
 * are not in the data.
 */
pd_status pd_adjusted_rows(const pd_design *design, const pd_frame *frame,
                           const pd_term *terms, size_t term,
                           const pd_hold *hold, size_t n_hold, double *rows,
                           int32_t *code, size_t *n_rows, pd_error *err);

/* Each L b alone: out[k] with limits at `level`, t on the fit's df, p against
 * 0. Errors of the fit; PD_USAGE for the level. */
pd_status pd_adjusted_means(const pd_fitted *f, const double *rows, size_t k,
                            double level, pd_estimate *out, pd_error *err);

/* ---- comparisons -------------------------------------------------------- */

typedef enum pd_together {
	/*
	 * limits: Student's t at 1 - (1 - level) / m of m comparisons; p
	 * stepped down (Holm 1979): at least as sharp as the limits.
	 */
	PD_TOGETHER_HOLM,
	/* half-width q(level, k, df) se / sqrt(2), p = P(Q > sqrt(2) |t|), Q the
	 * studentized range of k means on the comparison's own df (Tukey 1953,
	 * Kramer 1956). All pairs, two sides. Exact for balanced layouts,
	 * close and mostly a little wide for others. */
	PD_TOGETHER_RANGE,
	/* the largest of correlated comparisons, joint.h, on the smallest df of
	 * the comparisons: exact but for that (Hothorn et al. 2008). */
	PD_TOGETHER_JOINT,
	PD_TOGETHER_NONE       /* each alone                                 */
} pd_together;

typedef struct pd_comparing {
	pd_together how;
	int sides;             /* 2, or 1: only "above"; high is INFINITY    */
	double level;
} pd_comparing;

/*
 * All k (k - 1) / 2 differences of the means rows[k * p], a > b, ordered by a
 * then b as in contrast.h: value = mean a less mean b. *critical (NULL is
 * welcome): t multiplier of the first comparison. PD_USAGE: fewer than 2 or
 * more than 30 means, sides, level, range with one side.
 */
pd_status pd_compare_pairs(const pd_fitted *f, const double *rows, size_t k,
                           const pd_comparing *how, pd_comparison *out,
                           double *critical, pd_error *err);

/* The k - 1 others, in order, less mean `control`. Not by the range. */
pd_status pd_compare_control(const pd_fitted *f, const double *rows, size_t k,
                             size_t control, const pd_comparing *how,
                             pd_comparison *out, double *critical,
                             pd_error *err);

/* Any contrasts c[m * p], m to 500: out[i].a = i, b = 0. Not by the range. */
pd_status pd_compare_rows(const pd_fitted *f, const double *c, size_t m,
                          const pd_comparing *how, pd_comparison *out,
                          double *critical, pd_error *err);

#endif
