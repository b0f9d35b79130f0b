/*
 * impute_draw.h - inside impute: one chain of draws of what was not measured,
 * together with the effects and parameters it depends on.
 */
#ifndef PERDRAW_STATS_IMPUTE_DRAW_H
#define PERDRAW_STATS_IMPUTE_DRAW_H

#include "stats/nested_tree.h"
#include "stats/stream.h"

struct pd_chain {
	struct pd_nested *m;   /* borrowed; its outcome is replaced often    */
	const double *low, *high; /* n each, borrowed                        */
	pd_stream stream;
	size_t n_free;         /* rows not measured, and which               */
	uint32_t *free_row;
	double *y;             /* n: completed, data units                   */
	double *fixed;         /* n: X b                                     */
	double *fit;           /* n: X b + Z u                               */
	double *u[PD_NESTED_LEVELS]; /* n_groups * q: effects on R's columns */
	uint32_t *whole[PD_NESTED_LEVELS]; /* groups without a measured row  */
	size_t n_whole[PD_NESTED_LEVELS];
	double *room_low[PD_NESTED_LEVELS], *room_high[PD_NESTED_LEVELS];
	double sigma2;         /* residual variance, data units              */
	double t[PD_NESTED_LEVELS][PD_MAX_BLOCK]; /* T s^2, data units       */
};

/* From a fitted model of a first guess y[n]; memory from `arena`. */
pd_status pd_chain_new(struct pd_nested *m, const double *low,
                       const double *high, const double *y, uint64_t seed,
                       pd_arena *arena, struct pd_chain *out, pd_error *err);
/* One sweep over everything unknown. */
pd_status pd_chain_sweep(struct pd_chain *c, pd_error *err);
/* theta (internal scale) of the present variances. */
void pd_chain_theta(const struct pd_chain *c, double *theta);

#endif
