/*
 * nested_refit.c - fitted again without one group, variances included. The
 * rows are those the model itself keeps (Q, scaled y, scaled random columns);
 * results go back to the user's units.
 */
#include "stats/nested_influence.h"
#include "stats/nested_tree.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct smaller {
	pd_nested_spec spec;
	double *x, *y, *z[PD_NESTED_LEVELS];
	int32_t *code[PD_NESTED_LEVELS];
};

static void smaller_clear(struct smaller *s)
{
	free(s->x);
	free(s->y);
	for (size_t k = 0; k < PD_NESTED_LEVELS; k++) {
		free(s->z[k]);
		free(s->code[k]);
	}
}

static bool smaller_room(const struct pd_nested *m, struct smaller *s)
{
	bool ok;

	s->x = calloc(m->n * m->p, sizeof *s->x);
	s->y = calloc(m->n, sizeof *s->y);
	ok = s->x && s->y;
	for (size_t k = 0; k < m->depth; k++) {
		s->z[k] = calloc(m->n * m->level[k].q, sizeof *s->z[k]);
		s->code[k] = calloc(m->n, sizeof *s->code[k]);
		ok = ok && s->z[k] && s->code[k];
	}
	return ok;
}

/* All rows but those of group `without`. */
static void smaller_fill(const struct pd_nested *m, size_t without,
                         struct smaller *s)
{
	size_t n = 0;

	for (size_t i = 0; i < m->n; i++) {
		const double *row = m->rows + i * m->ld;

		if (m->level[0].row_group[i] == without)
			continue;
		memcpy(s->x + n * m->p, row, m->p * sizeof *row);
		s->y[n] = row[m->p];
		for (size_t k = 0; k < m->depth; k++) {
			const struct pd_level *lv = &m->level[k];

			s->code[k][n] = (int32_t)lv->row_group[i];
			for (size_t a = 0; a < lv->q; a++)
				s->z[k][n * lv->q + a] =
					m->random[i * m->r + lv->col[a]];
		}
		n++;
	}
	s->spec = (pd_nested_spec){ .n = n, .p = m->p, .x = s->x, .y = s->y,
	                            .depth = m->depth, .ml = !m->reml };
	for (size_t k = 0; k < m->depth; k++) {
		s->spec.group[k] = s->code[k];
		s->spec.n_random[k] = m->level[k].q;
		s->spec.z[k] = s->z[k];
	}
}

/* The numbers of the smaller fit, in the user's units. */
static void take(const struct pd_nested *m, const pd_nested *f, pd_refit *out)
{
	size_t p = m->p, at = 0;
	double y2 = m->y_scale * m->y_scale, sd, cov[PD_MAX_BLOCK];

	for (size_t i = p; i-- > 0;) {
		double s = m->gamma[i] + m->y_scale * pd_nested_beta(f)[i];

		for (size_t k = i + 1; k < p; k++)
			s -= m->u[i * p + k] * out->beta[k];
		out->beta[i] = s / m->u[i * p + i];
	}
	for (size_t k = 0; k < m->depth; k++) {
		const struct pd_level *lv = &m->level[k];

		pd_nested_level_covariance(f, k, cov);
		for (size_t b = 0; b < lv->q; b++)
			for (size_t a = b; a < lv->q; a++)
				out->variance[at++] = y2 *
					cov[a * lv->q + b] /
					(m->scale[lv->col[a]] *
					 m->scale[lv->col[b]]);
	}
	sd = pd_nested_residual_sd(f);
	out->variance[at++] = y2 * sd * sd;
	out->n_variance = at;
	/* the density of y, not of scaled y; |X'V^-1X|, not |Q'V^-1Q| */
	out->deviance = pd_nested_record(f)->deviance +
		2.0 * log(m->y_scale) *
		(double)(m->reml ? pd_nested_rows(f) - p : pd_nested_rows(f));
	if (m->reml)
		out->deviance += m->log_det_u;
}

static pd_status refit_one(struct pd_nested *m, pd_arena *arena,
                           struct smaller *s, pd_refit *out, pd_error *err)
{
	pd_nested *f = NULL;
	pd_error own = { 0 };

	out->beta = PD_NEW(arena, double, m->p);
	out->variance = PD_NEW(arena, double, m->n_elements + 1);
	if (!out->beta || !out->variance)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a refit");
	smaller_fill(m, out->group, s);
	out->status = pd_nested_new(&s->spec, &f, &own);
	if (out->status == PD_OK)
		out->status = pd_nested_fit(f, &own);
	if (out->status == PD_OK)
		take(m, f, out);
	else
		memcpy(out->text, own.text, sizeof out->text);
	pd_nested_free(f);
	return out->status == PD_NO_MEMORY ?
	       pd_fail(err, PD_NO_MEMORY, "%s", own.text) : PD_OK;
}

pd_status pd_influence_refit(pd_nested *m, pd_influence *i,
                             const size_t *which, size_t count, pd_refit *out,
                             pd_error *err)
{
	struct smaller s = { .x = NULL };
	pd_status st = PD_OK;

	if (m->depth == 0 || i->n != m->n || i->p != m->p ||
	    i->groups != m->level[0].n_groups)
		return pd_fail(err, PD_USAGE, "refits need a model with "
		               "levels and its own influence");
	for (size_t k = 0; k < count; k++)
		if (which[k] >= i->groups)
			return pd_fail(err, PD_USAGE, "group %zu of %zu",
			               which[k] + 1, i->groups);
	if (!smaller_room(m, &s))
		st = pd_fail(err, PD_NO_MEMORY, "no memory for refits");
	for (size_t k = 0; st == PD_OK && k < count; k++) {
		out[k] = (pd_refit){ .group = which[k] };
		st = refit_one(m, i->arena, &s, &out[k], err);
	}
	smaller_clear(&s);
	return st;
}
