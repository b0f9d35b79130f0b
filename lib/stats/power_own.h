/*
 * power_own.h - inside the simulated power: the layout of a trial's rows and
 * one trial's results.
 */
#ifndef PERDRAW_STATS_POWER_OWN_H
#define PERDRAW_STATS_POWER_OWN_H

#include "stats/power_simulate.h"
#include "stats/stream.h"

/* Fixed for all trials. */
struct pd_sim_layout {
	const pd_sim_plan *plan;
	size_t n, n_dishes;
	size_t n_units[PD_SIM_LEVELS]; /* in all, down to a level             */
	int32_t *unit[PD_SIM_LEVELS];  /* n codes each                        */
	unsigned char *arm;            /* n                                   */
	pd_sim_level fitted[PD_SIM_LEVELS]; /* levels with an intercept       */
	size_t depth;
};

/* One trial: the rows that have a result. */
struct pd_sim_rows {
	size_t n;
	double *y, *x, *offset;        /* n, 2 n (1, arm), n                  */
	int32_t *group[PD_SIM_LEVELS]; /* depth of n each                     */
};

pd_status pd_sim_layout_make(const pd_sim_plan *plan,
                             struct pd_sim_layout *out, pd_error *err);
void pd_sim_layout_clear(struct pd_sim_layout *l);

/* Bytes of room for the rows of one trial, and the rows laid into it. */
size_t pd_sim_rows_size(const struct pd_sim_layout *l);
void pd_sim_rows_place(const struct pd_sim_layout *l, void *room,
                       struct pd_sim_rows *out);

/* Results of trial k: logarithms, or counts. */
void pd_sim_draw(const struct pd_sim_layout *l, uint64_t k, int counts,
                 struct pd_sim_rows *out);

#endif
