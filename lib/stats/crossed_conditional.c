/*
 * crossed_conditional.c - conditional means of the effects of the tree and of
 * the crossed factors, their variances, and residuals. Letters:
 * crossed_border.h; v = (-b, 1), scaled units until the end:
 *   u = T (H P) v,   c = J v
 *   Var(u|y) = T - T (K - H_W N H_W') T,   Var(c|y) = N
 *   b not known adds T (H P)_X Phi (H P)_X' T and J_X Phi J_X'.
 */
#include "stats/crossed_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Row i of H P of a node into out[w]. */
static void row_hp(const struct pd_nested *m, const struct pd_border *s,
                   size_t node, size_t i, double *out)
{
	const struct pd_border_node *nd = &s->node[node];
	const struct pd_border_node *root = &s->node[nd->root];
	const uint32_t *column = s->column + root->touch;
	size_t w = m->w, full = w + root->n_touch;
	const double *h = s->h + nd->h + i * full;

	memcpy(out, h, w * sizeof *out);
	for (size_t c = w; c < full; c++)
		for (size_t k = 0; k < w; k++)
			out[k] -= h[c] * s->j[column[c - w] * w + k];
}

/* R_S'V^-1 R_S of a node: K - H_W N H_W'. */
static void whole_k(const struct pd_nested *m, const struct pd_border *s,
                    size_t node, double *out)
{
	const struct pd_border_node *nd = &s->node[node];
	const struct pd_border_node *root = &s->node[nd->root];
	const uint32_t *column = s->column + root->touch;
	size_t w = m->w, full = w + root->n_touch;
	size_t q = m->level[nd->level].q;

	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			const double *x = s->h + nd->h + a * full;
			const double *y = s->h + nd->h + b * full;
			double v = s->k[node * PD_MAX_BLOCK + a * q + b];

			for (size_t i = w; i < full; i++) {
				const double *n = s->n +
					column[i - w] * s->rc;
				double f = 0.0;

				for (size_t j = w; j < full; j++)
					f += n[column[j - w]] * y[j];
				v -= x[i] * f;
			}
			out[a * q + b] = v;
		}
}

/* out(q*q) = T k T */
static void between_t(const struct pd_level *lv, const double *k, double *out)
{
	size_t q = lv->q;

	for (size_t a = 0; a < q; a++)
		for (size_t b = 0; b < q; b++) {
			double v = 0.0;

			for (size_t i = 0; i < q; i++)
				for (size_t j = 0; j < q; j++)
					v += lv->T[a * q + i] * k[i * q + j] *
					     lv->T[j * q + b];
			out[a * q + b] = v;
		}
}

/* x'Phi y over the p fixed columns */
static double phi_form(const double *x, const double *phi, const double *y,
                       size_t p)
{
	double v = 0.0;

	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j < p; j++)
			v += x[i] * phi[i * p + j] * y[j];
	return v;
}

void pd_border_node_covariance(const struct pd_nested *m,
                               const struct pd_border *s, size_t node,
                               const double *phi, double *out)
{
	const struct pd_level *lv = &m->level[s->node[node].level];
	size_t q = lv->q, w = m->w;
	double k[PD_MAX_BLOCK], *x = s->wide; /* q * w */

	whole_k(m, s, node, k);
	for (size_t a = 0; phi && a < q; a++)
		row_hp(m, s, node, a, x + a * w);
	for (size_t a = 0; phi && a < q; a++)
		for (size_t b = 0; b < q; b++)
			k[a * q + b] -= phi_form(x + a * w, phi, x + b * w,
			                         m->p);
	between_t(lv, k, out);
	for (size_t a = 0; a < q * q; a++)
		out[a] = lv->T[a] - out[a];
	for (size_t a = 0; a < q; a++) /* rounding of T - T must not show */
		out[a * q + a] = fmax(out[a * q + a], 0.0);
}

/* The passes at the solution, H and J of the border with them. */
static pd_status at_fit(pd_crossed *c, pd_error *err)
{
	struct pd_nested *m = c->m;
	unsigned evaluations = m->record.evaluations;
	struct pd_point pt;

	if (!m->fitted)
		return pd_fail(err, PD_USAGE,
		               "the model has not been fitted");
	if (m->settled)
		return PD_OK;
	memcpy(pt.theta, m->theta, sizeof m->theta);
	pd_point_at(m, &pt, 1);
	m->record.evaluations = evaluations;
	return PD_OK;
}

/* Conditional mean of a node's effects, scaled units. */
static void node_mean(const struct pd_nested *m, const struct pd_border *s,
                      size_t node, double *out)
{
	const struct pd_level *lv = &m->level[s->node[node].level];
	double h[PD_NESTED_BLOCK], *row = s->wide;
	size_t q = lv->q;

	for (size_t a = 0; a < q; a++) {
		row_hp(m, s, node, a, row);
		h[a] = 0.0;
		for (size_t k = 0; k < m->w; k++)
			h[a] += row[k] * m->vec[k];
	}
	for (size_t a = 0; a < q; a++) {
		out[a] = 0.0;
		for (size_t b = 0; b < q; b++)
			out[a] += lv->T[a * q + b] * h[b];
	}
}

pd_status pd_crossed_conditional(pd_crossed *c, size_t level, bool with_fixed,
                                 double *mean, double *variance,
                                 pd_error *err)
{
	struct pd_nested *m = c->m;
	struct pd_border *s = m->border;
	double s2 = m->sigma2 * m->y_scale * m->y_scale;
	pd_status st = at_fit(c, err);

	if (st == PD_OK && level >= s->n_tree)
		st = pd_fail(err, PD_USAGE, "level %zu of %zu", level + 1,
		             s->n_tree);
	for (size_t k = 0; st == PD_OK && k < s->n_nodes; k++) {
		const struct pd_level *lv = &m->level[level];
		size_t q = lv->q, g = s->node[k].group;

		if (s->node[k].level != level)
			continue;
		node_mean(m, s, k, mean + g * q);
		for (size_t a = 0; a < q; a++)
			mean[g * q + a] *= m->y_scale / m->scale[lv->col[a]];
		if (!variance)
			continue;
		pd_border_node_covariance(m, s, k, with_fixed ? m->phi : NULL,
		                          variance + g * q * q);
		for (size_t a = 0; a < q * q; a++)
			variance[g * q * q + a] *= s2 /
				(m->scale[lv->col[a / q]] *
				 m->scale[lv->col[a % q]]);
	}
	return st;
}

/* Conditional mean of column l of W, scaled units. */
static double column_mean(const struct pd_nested *m, const struct pd_border *s,
                          size_t l)
{
	double v = 0.0;

	for (size_t k = 0; k < m->w; k++)
		v += s->j[l * m->w + k] * m->vec[k];
	return v;
}

pd_status pd_crossed_factor_conditional(pd_crossed *c, size_t factor,
                                        bool with_fixed, double *mean,
                                        double *variance, pd_error *err)
{
	struct pd_nested *m = c->m;
	struct pd_border *s = m->border;
	double s2 = m->sigma2 * m->y_scale * m->y_scale;
	pd_status st = at_fit(c, err);

	if (st == PD_OK && factor >= c->n_factors)
		st = pd_fail(err, PD_USAGE, "crossed factor %zu of %zu",
		             factor + 1, c->n_factors);
	if (st != PD_OK)
		return st;
	for (size_t l = s->first[factor]; l < s->first[factor + 1]; l++) {
		const double *j = s->j + l * m->w;
		size_t to = l - s->first[factor];

		mean[to] = column_mean(m, s, l) * m->y_scale;
		if (!variance)
			continue;
		variance[to] = s->n[l * (s->rc + 1)];
		if (with_fixed)
			variance[to] += phi_form(j, m->phi, j, m->p);
		variance[to] *= s2;
	}
	return PD_OK;
}

pd_status pd_crossed_residuals(pd_crossed *c, double *residual, pd_error *err)
{
	struct pd_nested *m = c->m;
	struct pd_border *s = m->border;
	size_t most = 1;
	double *u;
	pd_status st = at_fit(c, err);

	if (st != PD_OK)
		return st;
	for (size_t k = 0; k < s->n_tree; k++)
		if (most < m->level[k].n_groups * m->level[k].q)
			most = m->level[k].n_groups * m->level[k].q;
	u = calloc(most, sizeof *u);
	if (!u)
		return pd_fail(err, PD_NO_MEMORY, "no memory for residuals");
	for (size_t i = 0; i < m->n; i++) {
		residual[i] = 0.0;
		for (size_t k = 0; k < m->w; k++)
			residual[i] += m->rows[i * m->ld + k] * m->vec[k];
		for (size_t j = 0; j < s->n_factors; j++)
			residual[i] -= column_mean(m, s, s->first[j] +
			                           s->code[j][i]);
	}
	for (size_t l = 0; l < s->n_tree; l++) {
		const struct pd_level *lv = &m->level[l];

		for (size_t k = 0; k < s->n_nodes; k++)
			if (s->node[k].level == l)
				node_mean(m, s, k, u + s->node[k].group *
				          lv->q);
		for (size_t i = 0; i < m->n; i++)
			for (size_t a = 0; a < lv->q; a++)
				residual[i] -= m->random[i * m->r +
				                         lv->col[a]] *
					u[lv->row_group[i] * lv->q + a];
	}
	for (size_t i = 0; i < m->n; i++)
		residual[i] *= m->y_scale;
	free(u);
	return PD_OK;
}
