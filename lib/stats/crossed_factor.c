/*
 * crossed_factor.c - the codes of crossed factors: numbered, and refused
 * where their variance could not be told from something else.
 */
#include "stats/crossed_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static int cmp_code(const void *a, const void *b)
{
	int32_t x = *(const int32_t *)a, y = *(const int32_t *)b;

	return (x > y) - (x < y);
}

/* Levels numbered 0.. in ascending order of code. */
pd_status pd_crossed_number(struct pd_nested *m, const int32_t *code,
                            size_t factor, struct pd_level *lv, pd_error *err)
{
	size_t n = m->n, k = 0;
	int32_t *sorted = calloc(n, sizeof *sorted);

	lv->row_group = PD_NEW(m->arena, uint32_t, n);
	if (!sorted || !lv->row_group) {
		free(sorted);
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows", n);
	}
	for (size_t i = 0; i < n; i++)
		if (code[i] < 0) {
			free(sorted);
			return pd_fail(err, PD_DATA, "crossed factor %zu, row "
			               "%zu: code %ld, expected 0 or more",
			               factor + 1, i + 1, (long)code[i]);
		}
	memcpy(sorted, code, n * sizeof *sorted);
	qsort(sorted, n, sizeof *sorted, cmp_code);
	for (size_t i = 0; i < n; i++)
		if (k == 0 || sorted[i] != sorted[k - 1])
			sorted[k++] = sorted[i];
	for (size_t i = 0; i < n; i++) {
		const int32_t *at = bsearch(&code[i], sorted, k,
		                            sizeof *sorted, cmp_code);

		lv->row_group[i] = (uint32_t)(at - sorted);
	}
	lv->n_groups = k;
	free(sorted);
	return PD_OK;
}

/* Do two numberings of the rows make the same groups? */
static bool same_groups(const struct pd_level *a, const struct pd_level *b,
                        size_t n)
{
	uint32_t *to;
	bool same = a->n_groups == b->n_groups;

	if (!same)
		return false;
	to = malloc(a->n_groups * sizeof *to);
	if (!to)
		return false;
	memset(to, 0xff, a->n_groups * sizeof *to);
	for (size_t i = 0; same && i < n; i++) {
		uint32_t *t = &to[a->row_group[i]];

		if (*t == UINT32_MAX)
			*t = b->row_group[i];
		same = *t == b->row_group[i];
	}
	free(to);
	return same;
}

/* A fixed column that is one number within every level and is not one number
 * in all; p when there is none. */
static size_t column_of(const struct pd_nested *m, const pd_crossed_spec *spec,
                        const struct pd_level *lv)
{
	const double *x = spec->tree.x;
	size_t p = m->p, c;
	double *value = malloc(lv->n_groups * sizeof *value);

	if (!value)
		return p;
	for (c = 0; c < p; c++) {
		bool within = true, varies = false;

		for (size_t g = 0; g < lv->n_groups; g++)
			value[g] = NAN;
		for (size_t i = 0; within && i < m->n; i++) {
			double *v = &value[lv->row_group[i]];

			if (isnan(*v))
				*v = x[i * p + c];
			within = fabs(*v - x[i * p + c]) <= 0.0;
			varies = varies || fabs(x[c] - x[i * p + c]) > 0.0;
		}
		if (within && varies)
			break;
	}
	free(value);
	return c;
}

/* Share of the factor's columns that X leaves: the largest over its levels. */
static pd_status left_by_fixed(const struct pd_nested *m,
                               const struct pd_level *lv, double *left,
                               pd_error *err)
{
	size_t p = m->p, g = lv->n_groups;
	double *sum = calloc(g * (p + 1), sizeof *sum);

	if (!sum)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu levels",
		               g);
	for (size_t i = 0; i < m->n; i++) {
		double *s = sum + lv->row_group[i] * (p + 1);

		for (size_t c = 0; c < p; c++)
			s[c] += m->rows[i * m->ld + c];
		s[p] += 1.0;
	}
	*left = 0.0;
	for (size_t l = 0; l < g; l++) {
		const double *s = sum + l * (p + 1);
		double in = 0.0;

		for (size_t c = 0; c < p; c++)
			in += s[c] * s[c] / (double)m->n;
		*left = fmax(*left, 1.0 - in / s[p]);
	}
	free(sum);
	return PD_OK;
}

pd_status pd_crossed_check(const struct pd_nested *m,
                           const pd_crossed_spec *spec, size_t factor,
                           pd_error *err)
{
	size_t tree = spec->tree.depth, c;
	const struct pd_level *lv = &m->level[tree + factor];
	double left = 0.0;
	pd_status st;

	if (lv->n_groups < 2)
		return pd_fail(err, PD_REFUSED, "crossed factor %zu has a "
		               "single level, expected at least 2",
		               factor + 1);
	if (lv->n_groups == m->n)
		return pd_fail(err, PD_REFUSED, "crossed factor %zu has one "
		               "row a level: its variance cannot be told from "
		               "the residual's", factor + 1);
	for (size_t k = 0; k < tree; k++)
		if (same_groups(lv, &m->level[k], m->n))
			return pd_fail(err, PD_REFUSED, "crossed factor %zu "
			               "and level %zu have the same groups: "
			               "their variances cannot be told apart",
			               factor + 1, k + 1);
	for (size_t j = 0; j < factor; j++)
		if (same_groups(lv, &m->level[tree + j], m->n))
			return pd_fail(err, PD_REFUSED, "crossed factors %zu "
			               "and %zu have the same groups: their "
			               "variances cannot be told apart", j + 1,
			               factor + 1);
	st = left_by_fixed(m, lv, &left, err);
	if (st != PD_OK || left > 1e-9)
		return st;
	c = column_of(m, spec, lv);
	if (c < m->p)
		return pd_fail(err, PD_REFUSED, "crossed factor %zu is "
		               "explained by the fixed columns (column %zu is "
		               "one number within each of its levels): its "
		               "variance cannot be estimated", factor + 1,
		               c + 1);
	return pd_fail(err, PD_REFUSED, "the fixed columns together explain "
	               "all of crossed factor %zu: its variance cannot be "
	               "estimated", factor + 1);
}
