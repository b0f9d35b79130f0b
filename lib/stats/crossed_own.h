/*
 * crossed_own.h - inside the model with crossed factors: the handle. Its
 * factors are the last levels of the tree's model, each one intercept.
 */
#ifndef PERDRAW_STATS_CROSSED_OWN_H
#define PERDRAW_STATS_CROSSED_OWN_H

#include "stats/crossed.h"
#include "stats/crossed_border.h"

/* Up to this many rows the search always starts from several places. */
enum { PD_CROSSED_WIDE = 1000 };

struct pd_crossed {
	struct pd_nested *m;   /* with border; its arena holds all            */
	size_t n_factors;
};

/* crossed_factor.c: codes numbered without gaps; what no data could tell
 * apart refused. lv: the pseudo level, its row_group and n_groups filled. */
pd_status pd_crossed_number(struct pd_nested *m, const int32_t *code,
                            size_t factor, struct pd_level *lv, pd_error *err);
pd_status pd_crossed_check(const struct pd_nested *m,
                           const pd_crossed_spec *spec, size_t factor,
                           pd_error *err);

#endif
