/*
 * count_nested_profile.c - profile likelihood limits with two levels.
 */
#include "stats/count_held.h"
#include "stats/count_levels.h"
#include "stats/count_limit.h"

enum { NODES_AT_ZERO = 9 };

struct ask {
	const pd_count_nested_spec *spec;
	pd_count_known known;
	unsigned nodes;
	pd_count_levels l;
};

static pd_status begin(void *with, pd_arena *arena, const double *c,
                       pd_count_held *f, pd_error *err)
{
	struct ask *ask = with;
	pd_count_nested_spec rest = *ask->spec;
	pd_status st = pd_count_held_columns(arena, &ask->known, c, f, err);

	rest.rows = f->rows;
	if (st == PD_OK)
		st = pd_count_levels_new(arena, &rest, f->basis.q, &ask->l,
		                         err);
	if (st == PD_OK)
		st = pd_count_groups_nodes(&ask->l.g, ask->nodes, err);
	if (st != PD_OK)
		return st;
	f->likelihood = pd_count_levels_likelihood;
	f->model = &ask->l;
	f->g = &ask->l.g;
	return pd_count_held_start(f, &ask->known, err);
}

static void set_up(struct ask *ask, const pd_count_nested_spec *spec,
                   const pd_count_nested_fit *fit, double level)
{
	int inside = fit->sd_outer > 0 && fit->sd_inner > 0;

	*ask = (struct ask){ .spec = spec };
	ask->nodes = spec->nodes ? spec->nodes
	             : inside ? fit->nodes : NODES_AT_ZERO;
	ask->known = (pd_count_known){
		.rows = &spec->rows, .beta = fit->beta, .sds = 2,
		.sd = { fit->sd_outer, fit->sd_inner },
		.se_log_sd = { fit->se_log_outer, fit->se_log_inner },
		.without = { fit->log_likelihood_inner,
		             fit->log_likelihood_outer },
		.theta = fit->theta, .se_log_theta = fit->se_log_theta,
		.log_likelihood = fit->log_likelihood, .level = level,
	};
}

pd_status pd_count_nested_profile(const pd_count_nested_spec *spec,
                                  const pd_count_nested_fit *fit,
                                  const double *c, double level, double *low,
                                  double *high, pd_error *err)
{
	struct ask ask;
	pd_estimate e;
	pd_status st = pd_count_nested_contrast(fit, c, level, &e, err);

	if (st != PD_OK)
		return st;
	set_up(&ask, spec, fit, level);
	return pd_count_held_contrast(begin, &ask, c, e.value, e.se, low, high,
	                              err);
}

pd_status pd_count_nested_sd_limits(const pd_count_nested_spec *spec,
                                    const pd_count_nested_fit *fit, int outer,
                                    double level, double *low, double *high,
                                    pd_error *err)
{
	struct ask ask;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	set_up(&ask, spec, fit, level);
	return pd_count_held_sd(begin, &ask, &ask.known, outer ? 0 : 1, low,
	                        high, err);
}

pd_status pd_count_nested_alpha_limits(const pd_count_nested_spec *spec,
                                       const pd_count_nested_fit *fit,
                                       double level, double *low,
                                       double *high, pd_error *err)
{
	struct ask ask;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	if (!spec->rows.extra)
		return pd_fail(err, PD_USAGE, "a Poisson model has no alpha");
	set_up(&ask, spec, fit, level);
	return pd_count_held_alpha(begin, &ask, &ask.known, low, high, err);
}
