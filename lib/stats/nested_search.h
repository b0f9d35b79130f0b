/*
 * nested_search.h - inside the nested model: the state of a search and the
 * part of it that deals with variances of 0.
 */
#ifndef PERDRAW_STATS_NESTED_SEARCH_H
#define PERDRAW_STATS_NESTED_SEARCH_H

#include "stats/nested_tree.h"

enum pd_ending { RUNNING, DONE, STUCK, FLAT, RUNAWAY };

struct pd_search {
	struct pd_nested *m;
	struct pd_point at, trial;
	bool known;            /* at's derivatives are those at its theta    */
	size_t free[PD_MAX_E], n_free;
	double step[PD_MAX_E]; /* of the free thetas                         */
	double relative;       /* largest relative Newton step               */
	bool curved;           /* Hessian of the free thetas is positive     */
	unsigned iterations;
	enum pd_ending end;
};

/* Place of L_jj among the elements of a level with q columns. */
static inline size_t diagonal(const struct pd_level *lv, size_t j)
{
	return lv->first + j * lv->q - j * (j - 1) / 2;
}

/* Is row `row` of a level's T kept at 0 from outside? */
static inline bool kept_zero(const struct pd_nested *m,
                             const struct pd_level *lv, size_t row)
{
	return m->held.kind == PD_HELD_ZERO &&
	       lv == &m->level[m->held.level] && row == m->held.column;
}

/* nested_start.c: a better start in place of theta, and how many steps it took;
 * 0: none, theta as it was. */
unsigned pd_start_scored(struct pd_nested *m, double *theta);

/* nested_bound.c */
/* theta of one level from its T; pivots of rounding's size become exact 0. */
void pd_bound_theta(const struct pd_level *lv, const double *t, double *theta);
/* Largest pivots first in every level's triangle (natural: as they come);
 * theta is rewritten, T stays. False: nothing changed. */
bool pd_bound_pivot(struct pd_nested *m, double *theta, bool natural);
/*
 * Diagonals that shrink past a tenth: to exactly 0 where the variance was a
 * trifle anyway (T kept otherwise), else a quarter of what they were. from:
 * where the step began.
 */
void pd_bound_clip(const struct pd_nested *m, const double *from,
                   double *theta);
/*
 * A variance that is next to nothing, and whose deviance still rises from 0
 * (slope N at t less curvature times t), goes to exactly 0 at once: theta
 * would only halve its way there. True when one went.
 */
bool pd_bound_settle(struct pd_search *s);
/* True when some held variance should not be 0 and was let go. */
bool pd_bound_release(struct pd_search *s);

#endif
