/*
 * nested_conditional.c - variances of the conditional means of nested.c, by
 * the passes of crossed_pass.c with no crossed factor.
 */
#include "stats/crossed_border.h"

#include <stdlib.h>

pd_status pd_nested_conditional_variance(pd_nested *m, size_t level,
                                         bool with_fixed, double *out,
                                         pd_error *err)
{
	pd_arena *arena = pd_arena_new();
	struct pd_border *s = NULL;
	double s2 = m->sigma2 * m->y_scale * m->y_scale, log_det;
	size_t size = level < m->depth ?
	              m->level[level].n_groups * m->level[level].q : 1;
	double *mean = calloc(size, sizeof *mean);
	pd_status st;

	/* refuses what must be, and brings the model back to its solution */
	st = arena && mean ? pd_nested_conditional(m, level, mean, err) :
	     pd_fail(err, PD_NO_MEMORY, "no memory for variances");
	if (st == PD_OK)
		st = pd_border_new(m, arena, m->depth, 0, NULL, NULL, &s, err);
	if (st == PD_OK && !pd_border_tree_up(m, s, &log_det))
		st = pd_fail(err, PD_NUMERIC, "the covariance at the solution "
		             "is not positive definite");
	if (st == PD_OK)
		pd_border_tree_down(m, s);
	for (size_t k = 0; st == PD_OK && k < s->n_nodes; k++) {
		const struct pd_level *lv = &m->level[level];
		size_t q = lv->q;
		double *to = out + s->node[k].group * q * q;

		if (s->node[k].level != level)
			continue;
		pd_border_node_covariance(m, s, k, with_fixed ? m->phi : NULL,
		                          to);
		for (size_t a = 0; a < q * q; a++)
			to[a] *= s2 / (m->scale[lv->col[a / q]] *
			               m->scale[lv->col[a % q]]);
	}
	free(mean);
	pd_arena_free(arena);
	return st;
}
