/*
 * count_mixed_profile.c - profile likelihood limits with one random intercept.
 */
#include "stats/count_held.h"
#include "stats/count_limit.h"

enum { NODES_AT_ZERO = 15 };

struct ask {
	const pd_mixed_spec *spec;
	pd_count_known known;
	unsigned nodes;
	pd_count_groups g;
};

static pd_status begin(void *with, pd_arena *arena, const double *c,
                       pd_count_held *f, pd_error *err)
{
	struct ask *ask = with;
	pd_mixed_spec rest = *ask->spec;
	pd_status st = pd_count_held_columns(arena, &ask->known, c, f, err);

	rest.rows = f->rows;
	if (st == PD_OK)
		st = pd_count_groups_new(arena, &rest, f->basis.q, &ask->g,
		                         err);
	if (st == PD_OK)
		st = pd_count_groups_nodes(&ask->g, ask->nodes, err);
	if (st != PD_OK)
		return st;
	f->likelihood = pd_count_groups_likelihood;
	f->model = f->g = &ask->g;
	return pd_count_held_start(f, &ask->known, err);
}

static void set_up(struct ask *ask, const pd_mixed_spec *spec,
                   const pd_mixed_fit *fit, double level)
{
	*ask = (struct ask){ .spec = spec };
	ask->nodes = spec->nodes  ? spec->nodes
	             : fit->sd > 0 ? fit->nodes : NODES_AT_ZERO;
	ask->known = (pd_count_known){
		.rows = &spec->rows, .beta = fit->beta, .sds = 1,
		.sd = { fit->sd }, .se_log_sd = { fit->se_log_sd },
		.without = { fit->log_likelihood_fixed },
		.theta = fit->theta, .se_log_theta = fit->se_log_theta,
		.log_likelihood = fit->log_likelihood, .level = level,
	};
}

pd_status pd_count_mixed_profile(const pd_mixed_spec *spec,
                                 const pd_mixed_fit *fit, const double *c,
                                 double level, double *low, double *high,
                                 pd_error *err)
{
	struct ask ask;
	pd_estimate e;
	pd_status st = pd_count_mixed_contrast(fit, c, level, &e, err);

	if (st != PD_OK)
		return st;
	set_up(&ask, spec, fit, level);
	return pd_count_held_contrast(begin, &ask, c, e.value, e.se, low, high,
	                              err);
}

pd_status pd_count_mixed_sd_limits(const pd_mixed_spec *spec,
                                   const pd_mixed_fit *fit, double level,
                                   double *low, double *high, pd_error *err)
{
	struct ask ask;
	pd_status st = pd_count_check_level(level, err);

	if (st != PD_OK)
		return st;
	set_up(&ask, spec, fit, level);
	return pd_count_held_sd(begin, &ask, &ask.known, 0, low, high, err);
}

pd_status pd_count_mixed_alpha_limits(const pd_mixed_spec *spec,
                                      const pd_mixed_fit *fit, double level,
                                      double *low, double *high,
                                      pd_error *err)
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
