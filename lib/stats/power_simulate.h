/*
 * power_simulate.h - the power of a trial whose analysis is a mixed model or a
 * model of counts, by doing the trial many times: results are drawn from the
 * given components, fitted, judged and counted. Where a formula exists it is
 * better (power.h); this is for nested and unbalanced layouts and for counts.
 */
#ifndef PERDRAW_STATS_POWER_SIMULATE_H
#define PERDRAW_STATS_POWER_SIMULATE_H

#include "base/status.h"
#include "stats/equivalence.h"
#include "stats/nested.h"

#include <stdint.h>

/* Each inside one of the level before. */
typedef enum pd_sim_level {
	PD_SIM_PATIENT, PD_SIM_CASE, PD_SIM_SIDE, PD_SIM_SITE, PD_SIM_ALIQUOT,
	PD_SIM_LEVELS
} pd_sim_level;

typedef enum pd_sim_question {
	PD_SIM_SUPERIOR,    /* two-sided p <= alpha, in either direction      */
	PD_SIM_NOT_INFERIOR, /* pd_noninferiority_of(margin.low) below 1, or
	                       margin.high where margin.low is 0              */
	PD_SIM_EQUIVALENT   /* pd_equivalence_of(margin)                      */
} pd_sim_question;

/*
 * A row is an aliquot. Arms alternate along `alternate`: a row belongs to arm
 * 1 when the sum of its places (from 0) in the levels down to that one is odd.
 * PD_SIM_PATIENT: patients in two groups; PD_SIM_SIDE with two sides: one side
 * each; PD_SIM_ALIQUOT: both arms in every site.
 *   ln y = ln ratio [arm 1] + sum over levels sd[level] z_unit
 *          + sd_dish / sqrt(n_dishes) z
 */
typedef struct pd_sim_plan {
	size_t n[PD_SIM_LEVELS];  /* units inside one above; 0 is read as 1   */
	size_t n_dishes;          /* read together for an aliquot; 0: 1       */
	pd_sim_level alternate;
	double sd[PD_SIM_LEVELS]; /* of ln results, >= 0                      */
	double sd_dish;
	double ratio;             /* true, arm 1 over arm 0, > 0              */
	double lost;              /* chance that an aliquot has no result     */
	pd_sim_question question;
	double alpha;             /* of each one-sided test for the last two  */
	pd_margin margin;
	pd_df_method method;      /* of the mixed model                       */
	/* Counts: a row's count is Poisson or NB2 (theta, of the aliquot) about
	 * n_dishes colonies exp(...), with sd[PD_SIM_PATIENT] alone. */
	double colonies;          /* mean a dish, arm 0, middle patient      */
	double theta;             /* INFINITY: Poisson                        */
	size_t trials;            /* 0: 2000; at most 1 million               */
	uint64_t seed;            /* trial k is made from its stream k        */
	unsigned threads;         /* any number gives the same bytes          */
	double level;             /* of the interval of the power; 0: 0.95    */
} pd_sim_plan;

typedef struct pd_sim_power {
	size_t n_rows, trials, claims;
	size_t failed;            /* fits that gave no answer: no claim       */
	size_t at_zero;           /* fits with a variance of exactly 0        */
	double power;             /* claims / trials                          */
	double mc_se;             /* sqrt(power (1 - power) / trials)         */
	double low, high;         /* exact binomial limits of the power       */
	double mean, sd, mean_se; /* of the estimated ln ratios of the fits
	                             that answered; mean of their se          */
	char why[160];            /* of the first failed trial; "" without    */
} pd_sim_power;

/*
 * The mixed model has arms as its fixed columns and a random intercept for
 * every level (patient to site) that the layout can tell from those around it,
 * by REML; test by `method`. The count model is pd_count_mixed with patients
 * and log exposure, normal limits. A trial whose fit fails claims nothing and
 * is counted in `failed`, never left out.
 * PD_DATA: a number outside its domain, more than a million rows, a layout in
 * which an arm is empty; PD_REFUSED: every fit failed (the first reason is
 * given); PD_NO_MEMORY.
 */
pd_status pd_power_simulate_mixed(const pd_sim_plan *plan, pd_sim_power *out,
                                  pd_error *err);
pd_status pd_power_simulate_counts(const pd_sim_plan *plan, pd_sim_power *out,
                                   pd_error *err);

/*
 * The fewest patients whose simulated power reaches `power`, every size tried
 * with the same seed: from plan->n[PD_SIM_PATIENT] up by doubling (at most
 * `most`), then by halving; in steps of two where arms alternate along
 * patients. Simulated powers waver by their mc_se, so a size whose interval
 * holds `power` is as good; take trials enough. A size at which every fit
 * fails has power 0. Errors as above; PD_DATA: power not between
 * alpha and 1, most below the first size; PD_REFUSED: not reached at `most`
 * (the power there is given).
 */
typedef struct pd_sim_size {
	size_t patients, before;  /* before: largest tried that was short of
	                             it; 0 where the first size was enough    */
	pd_sim_power at;          /* at `patients`                            */
	double power_before;      /* NaN where before is 0                    */
	size_t tried;             /* sizes                                    */
} pd_sim_size;
typedef pd_status pd_simulate(const pd_sim_plan *plan, pd_sim_power *out,
                              pd_error *err);
pd_status pd_size_simulate(pd_simulate *simulate, const pd_sim_plan *plan,
                           double power, size_t most, pd_sim_size *out,
                           pd_error *err);

#endif
